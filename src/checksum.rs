//! Checksums of files, to tell whether one is the file that was meant.

use sha2::{Digest, Sha256};

/// The SHA-256 of the bytes, in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

//! Which files are photos, and their bytes.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::Limits;

/// Endings that are taken for photos when a folder is given.
pub const ENDINGS: &[&str] = if cfg!(feature = "heic") {
    &[
        "jpg", "jpeg", "png", "webp", "tif", "tiff", "dcm", "dicom", "heic", "heif", "hif", "avif",
    ]
} else {
    &["jpg", "jpeg", "png", "webp", "tif", "tiff", "dcm", "dicom"]
};
/// Photos as phones save them. Also where they can't be read they are named, not passed over.
const HEIF: &[&str] = &["heic", "heif", "hif", "avif"];
/// How the names of drawn photos end, and of the DICOM files that are written; such a file is never
/// measured.
pub const DRAWN: &str = ".overlay.jpg";
pub const DRAWN_DICOM: &str = ".overlay.dcm";
pub const REPORT_DICOM: &str = ".sr.dcm";
const WRITTEN: [&str; 3] = [DRAWN, DRAWN_DICOM, REPORT_DICOM];

/// Whether a file is named like a photo, of a kind that is read or not.
pub fn is_photo_name(path: &Path) -> bool {
    // Files that start with a dot are what some systems leave beside the real ones.
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let hidden = name.starts_with('.') || WRITTEN.iter().any(|ending| name.ends_with(ending));
    path.extension().is_some_and(|ending| {
        let ending = ending.to_string_lossy().to_lowercase();
        let known = |endings: &[&str]| endings.contains(&ending.as_str());
        !hidden && (known(ENDINGS) || known(HEIF))
    })
}

/// The bytes of a file, unless it is larger than any photo that is read.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, String> {
    let limit = Limits::default().bytes;
    let file = File::open(path).map_err(|error| error.to_string())?;
    let mut bytes = Vec::new();
    // One byte more than the limit tells a file that is too large from one that just fits.
    file.take(limit + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| error.to_string())?;
    if bytes.len() as u64 > limit {
        return Err(format!(
            "it has more than the {} MB that are read",
            limit >> 20
        ));
    }
    Ok(bytes)
}

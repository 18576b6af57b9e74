//! Writing a file so that it is either the old one or the whole new one.

use std::io::{self, Write};
use std::path::Path;

use tempfile::Builder;

/// Writes beside the target, flushes to the disk, then renames into place. A full disk or a kill
/// half-way leaves whatever stood there before.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut new = Builder::new();
    // A temporary file is private to its owner; a report is as readable as any new file, which the
    // umask decides.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        new.permissions(std::fs::Permissions::from_mode(0o666));
    }
    write(&new, path, bytes)
}

/// The same, for a file that nobody but its owner is to read.
pub fn write_privately(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write(&Builder::new(), path, bytes)
}

fn write(new: &Builder, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = new.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_is_left_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.html");
        write_atomically(&path, b"old").unwrap();
        write_atomically(&path, b"new").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_missing_folder_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_atomically(&folder.path().join("no/such/file"), b"x").is_err());
    }
}

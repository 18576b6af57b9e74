//! Writing a file so that it is either the old one or the whole new one.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};

/// Writes beside the target, flushes to the disk, then renames into place. A full disk or a kill
/// half-way leaves whatever stood there before.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write_beside(path, bytes)?.put()
}

/// A new file, whole and on the disk, beside the place that it is for. Dropped, it is gone.
pub struct Beside {
    file: NamedTempFile,
    path: PathBuf,
}

impl Beside {
    /// Puts it into its place.
    pub fn put(self) -> io::Result<()> {
        self.file.persist(&self.path).map_err(|error| error.error)?;
        Ok(())
    }
}

/// Writes all of a file, and leaves what stands in its place.
pub fn write_beside(path: &Path, bytes: &[u8]) -> io::Result<Beside> {
    let mut new = Builder::new();
    // A temporary file is private to its owner; a report is as readable as any new file, which the
    // umask decides.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        new.permissions(std::fs::Permissions::from_mode(0o666));
    }
    beside(&new, path, bytes)
}

/// The same as [`write_atomically`], for a file that nobody but its owner is to read.
pub fn write_privately(path: &Path, bytes: &[u8]) -> io::Result<()> {
    beside(&Builder::new(), path, bytes)?.put()
}

fn beside(new: &Builder, path: &Path, bytes: &[u8]) -> io::Result<Beside> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = new.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(Beside {
        file,
        path: path.to_owned(),
    })
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

//! A case's folder held so that nothing outside of it is opened or removed by way of a link.

use std::fs::{File, OpenOptions};
use std::io;
use std::path::Path;

/// A folder whose files and folders are removed without following a link in the place of any part of
/// their path.
///
/// On Unix each folder on the way is opened from the one around it, and what is removed is named
/// within the last one: a link that is put there at any moment leads nowhere, and is at most removed
/// itself. Elsewhere the parts are looked at just before the removal, which leaves a moment in between.
pub struct Held(imp::Folder);

impl Held {
    pub fn open(folder: &Path) -> io::Result<Held> {
        imp::Folder::open(folder).map(Held)
    }

    pub fn remove_file(&self, file: &str) -> io::Result<()> {
        let (folder, name) = parted(file);
        self.0.within(folder)?.remove_file(name)
    }

    /// Removes a folder that is empty.
    pub fn remove_folder(&self, folder: &str) -> io::Result<()> {
        let (around, name) = parted(folder);
        self.0.within(around)?.remove_folder(name)
    }
}

/// Opens the file for a lock, or makes it. Neither a link nor anything else but a plain file is taken.
pub fn open_lock(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.create(true).truncate(false).write(true);
    imp::follow_no_link(&mut options, path)?;
    let file = options.open(path).map_err(imp::told)?;
    match file.metadata()?.is_file() {
        true => Ok(file),
        false => Err(not_plain()),
    }
}

/// The bytes of a file: a pipe or a device in its place would never end.
pub fn read_plain(path: &Path) -> io::Result<Vec<u8>> {
    match std::fs::metadata(path)?.is_file() {
        true => std::fs::read(path),
        false => Err(not_plain()),
    }
}

/// Whether it was refused because something else stands in the place of a plain file or folder.
pub fn is_not_plain(error: &io::Error) -> bool {
    error.get_ref().is_some_and(|error| error.is::<NotPlain>())
}

#[derive(Debug, thiserror::Error)]
#[error("a link, or something else that is no plain file or folder")]
struct NotPlain;

fn not_plain() -> io::Error {
    io::Error::other(NotPlain)
}

fn parted(file: &str) -> (&str, &str) {
    file.rsplit_once('/').unwrap_or(("", file))
}

fn parts(folder: &str) -> impl Iterator<Item = &str> {
    folder.split('/').filter(|part| !part.is_empty())
}

#[cfg(unix)]
mod imp {
    use std::fs::OpenOptions;
    use std::io;
    use std::os::fd::OwnedFd;
    use std::os::unix::fs::OpenOptionsExt;
    use std::path::Path;

    use rustix::fs::{AtFlags, CWD, FileType, Mode, OFlags, openat, statat, unlinkat};
    use rustix::io::Errno;

    use super::{not_plain, parts};

    pub struct Folder(OwnedFd);

    impl Folder {
        pub fn open(folder: &Path) -> io::Result<Folder> {
            opened(CWD, folder)
        }

        pub fn within(&self, folder: &str) -> io::Result<Folder> {
            let here = Folder(self.0.try_clone()?);
            parts(folder).try_fold(here, |around, part| opened(&around.0, part))
        }

        pub fn remove_file(&self, name: &str) -> io::Result<()> {
            let about = statat(&self.0, name, AtFlags::SYMLINK_NOFOLLOW)?;
            match FileType::from_raw_mode(about.st_mode) {
                FileType::RegularFile => Ok(unlinkat(&self.0, name, AtFlags::empty())?),
                _ => Err(not_plain()),
            }
        }

        pub fn remove_folder(&self, name: &str) -> io::Result<()> {
            unlinkat(&self.0, name, AtFlags::REMOVEDIR).map_err(|error| told(error.into()))
        }
    }

    fn opened(around: impl std::os::fd::AsFd, name: impl rustix::path::Arg) -> io::Result<Folder> {
        let flags = OFlags::DIRECTORY | OFlags::NOFOLLOW | OFlags::RDONLY | OFlags::CLOEXEC;
        let folder = openat(around, name, flags, Mode::empty());
        folder.map(Folder).map_err(|error| told(error.into()))
    }

    /// Nor does it wait for the other end of a pipe.
    pub fn follow_no_link(options: &mut OpenOptions, _: &Path) -> io::Result<()> {
        options.custom_flags((OFlags::NOFOLLOW | OFlags::NONBLOCK).bits().cast_signed());
        Ok(())
    }

    /// What the system says of a link or a pipe where it was to be none.
    pub fn told(error: io::Error) -> io::Error {
        let of_others = [Errno::LOOP, Errno::NOTDIR, Errno::NXIO, Errno::ISDIR];
        match of_others
            .iter()
            .any(|other| error.raw_os_error() == Some(other.raw_os_error()))
        {
            true => not_plain(),
            false => error,
        }
    }
}

#[cfg(not(unix))]
mod imp {
    use std::fs::{self, OpenOptions};
    use std::io;
    use std::path::{Path, PathBuf};

    use super::{not_plain, parts};

    pub struct Folder(PathBuf);

    impl Folder {
        pub fn open(folder: &Path) -> io::Result<Folder> {
            match fs::symlink_metadata(folder)?.is_dir() {
                true => Ok(Folder(folder.to_owned())),
                false => Err(not_plain()),
            }
        }

        pub fn within(&self, folder: &str) -> io::Result<Folder> {
            let here = Folder::open(&self.0)?;
            parts(folder).try_fold(here, |around, part| Folder::open(&around.0.join(part)))
        }

        pub fn remove_file(&self, name: &str) -> io::Result<()> {
            let path = self.0.join(name);
            match fs::symlink_metadata(&path)?.is_file() {
                true => fs::remove_file(path),
                false => Err(not_plain()),
            }
        }

        pub fn remove_folder(&self, name: &str) -> io::Result<()> {
            fs::remove_dir(Folder::open(&self.0.join(name))?.0)
        }
    }

    pub fn follow_no_link(_: &mut OpenOptions, path: &Path) -> io::Result<()> {
        match fs::symlink_metadata(path) {
            Ok(about) if !about.is_file() => Err(not_plain()),
            _ => Ok(()),
        }
    }

    pub fn told(error: io::Error) -> io::Error {
        error
    }
}

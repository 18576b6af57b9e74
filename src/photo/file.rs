//! Which files are photos, and their bytes.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

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
/// Endings that are taken for videos.
const VIDEOS: &[&str] = &["mp4", "mov", "m4v", "3gp", "avi", "mkv", "webm", "mts"];
/// What phones, cameras and systems write beside a photo: edits, notes, small pictures.
const SIDECARS: &[&str] = &["aae", "json", "xmp", "thm", "db", "ini", "sha256"];
/// How the names of drawn photos end, and of the DICOM files that are written; such a file is never
/// measured.
pub const DRAWN: &str = ".overlay.jpg";
pub const DRAWN_DICOM: &str = ".overlay.dcm";
pub const REPORT_DICOM: &str = ".sr.dcm";
const WRITTEN: [&str; 3] = [DRAWN, DRAWN_DICOM, REPORT_DICOM];

/// What a file is, by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Photo,
    Video,
    Drawn,
    Sidecar,
    Other,
}

fn kind(path: &Path) -> Kind {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let ending = ending(path);
    let is = |endings: &[&str]| endings.contains(&ending.as_str());
    // Files that start with a dot are what some systems leave beside the real ones.
    if name.starts_with('.') || is(SIDECARS) {
        Kind::Sidecar
    } else if WRITTEN.iter().any(|ending| name.ends_with(ending)) {
        Kind::Drawn
    } else if is(ENDINGS) || is(HEIF) {
        Kind::Photo
    } else if is(VIDEOS) {
        Kind::Video
    } else {
        Kind::Other
    }
}

fn ending(path: &Path) -> String {
    let ending = path.extension().unwrap_or_default();
    ending.to_string_lossy().to_lowercase()
}

/// Whether a file is named like a photo, of a kind that is read or not.
pub fn is_photo_name(path: &Path) -> bool {
    kind(path) == Kind::Photo
}

/// Whether a file is named like a video.
pub fn is_video_name(path: &Path) -> bool {
    kind(path) == Kind::Video
}

/// The files of a folder, as phones fill one.
#[derive(Debug, Default)]
pub struct Sorted {
    pub photos: Vec<PathBuf>,
    pub videos: Vec<PathBuf>,
    pub passed_over: PassedOver,
}

impl Sorted {
    pub fn of(files: impl IntoIterator<Item = PathBuf>) -> Sorted {
        let files: Vec<PathBuf> = files.into_iter().collect();
        // By folder and name without the ending, which the files of one shot share.
        let shots = |wanted: fn(&Path) -> bool| -> BTreeSet<(&Path, &OsStr)> {
            let wanted = files.iter().filter(|path| wanted(path));
            wanted.filter_map(|path| shot(path)).collect()
        };
        let photos = shots(is_photo_name);
        let common = shots(|path| is_photo_name(path) && !is_heif(path));
        let has = |shots: &BTreeSet<_>, path| shot(path).is_some_and(|shot| shots.contains(&shot));
        let mut sorted = Sorted::default();
        for path in &files {
            match kind(path) {
                Kind::Photo if is_heif(path) && has(&common, path) => {
                    sorted.passed_over.add(Passed::SameShot, path);
                }
                Kind::Photo => sorted.photos.push(path.clone()),
                Kind::Video if has(&photos, path) => {
                    sorted.passed_over.add(Passed::MovingPhoto, path);
                }
                Kind::Video => sorted.videos.push(path.clone()),
                Kind::Drawn => sorted.passed_over.add(Passed::Drawn, path),
                Kind::Sidecar => sorted.passed_over.add(Passed::Sidecar, path),
                Kind::Other => sorted.passed_over.add(Passed::Other, path),
            }
        }
        sorted
    }
}

fn shot(path: &Path) -> Option<(&Path, &OsStr)> {
    Some((path.parent()?, path.file_stem()?))
}

fn is_heif(path: &Path) -> bool {
    HEIF.contains(&ending(path).as_str())
}

/// Why a file of a folder was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Passed {
    SameShot,
    MovingPhoto,
    Video,
    Drawn,
    Sidecar,
    Other,
    Folder,
}

/// Files that were not taken, by kind.
#[derive(Debug, Default)]
pub struct PassedOver(BTreeMap<Passed, Vec<String>>);

impl PassedOver {
    pub fn add(&mut self, why: Passed, path: &Path) {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        self.0.entry(why).or_default().push(name.into_owned());
    }

    /// A line for each kind: how many, which, and what to do about them.
    pub fn lines(&self) -> Vec<String> {
        let line = |(why, names): (&Passed, &Vec<String>)| {
            let (one, many, advice) = match why {
                Passed::SameShot => ("photo", "photos", ", of which there is a JPEG too"),
                Passed::MovingPhoto => (
                    "short video",
                    "short videos",
                    ", saved beside the photo of the same name",
                ),
                Passed::Video => (
                    "video",
                    "videos",
                    ": export the picture of the greatest reach as JPEG, or measure the clip by itself",
                ),
                Passed::Drawn => ("drawn photo", "drawn photos", ""),
                Passed::Sidecar => (
                    "file",
                    "files",
                    " that devices and programs keep beside photos",
                ),
                Passed::Other => ("file", "files", ", no photo by its name"),
                Passed::Folder => ("folder", "folders", ": name it to measure what is in it"),
            };
            match names.as_slice() {
                [name] => format!("1 {one} ({name}){advice}"),
                names => format!("{} {many} ({} first){advice}", names.len(), names[0]),
            }
        };
        self.0.iter().map(line).collect()
    }
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
            "it has more than the {} MB that are read; saved at 12 megapixels or less it can be",
            limit >> 20
        ));
    }
    Ok(bytes)
}

/// The name, or the nearest one that Windows can hold too: it knows some names as devices, whatever
/// their ending, and drops dots and spaces at the end.
pub(super) fn portable(name: &str) -> String {
    let plain: String = name
        .trim_end_matches(['.', ' '])
        .chars()
        .map(|c| match c {
            '<' | '>' | ':' | '"' | '|' | '?' | '*' => '_',
            c => c,
        })
        .collect();
    let stem = plain.split('.').next().unwrap_or_default();
    match plain.is_empty() || is_device(stem.trim_end_matches(' ')) {
        true => format!("_{plain}"),
        false => plain,
    }
}

fn is_device(stem: &str) -> bool {
    const DEVICES: [&str; 6] = ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"];
    let stem = stem.to_uppercase();
    let port = stem
        .strip_prefix("COM")
        .or_else(|| stem.strip_prefix("LPT"));
    let mut number = port.unwrap_or_default().chars();
    let is_port = matches!(number.next(), Some('0'..='9' | '¹' | '²' | '³'));
    DEVICES.contains(&&*stem) || is_port && number.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(names: &[&str]) -> Sorted {
        Sorted::of(names.iter().map(|name| Path::new("visit").join(name)))
    }

    fn names(paths: &[PathBuf]) -> Vec<&str> {
        let names = paths.iter().filter_map(|path| path.file_name()?.to_str());
        names.collect()
    }

    #[test]
    fn of_a_phones_folder_each_shot_is_taken_once_and_the_rest_is_named() {
        let found = sorted(&[
            ".DS_Store",
            "._IMG_0001.JPG",
            "IMG_0001.JPG",
            "IMG_0001.HEIC",
            "IMG_0001.MOV",
            "IMG_0001.AAE",
            "IMG_0002.HEIC",
            "IMG_0002.MOV",
            "IMG_0003.MP4",
            "IMG_0001.JPG.json",
            "Thumbs.db",
            "front.jpg.overlay.jpg",
            "letter.pdf",
        ]);
        assert_eq!(names(&found.photos), ["IMG_0001.JPG", "IMG_0002.HEIC"]);
        assert_eq!(names(&found.videos), ["IMG_0003.MP4"]);
        assert_eq!(
            found.passed_over.lines(),
            [
                "1 photo (IMG_0001.HEIC), of which there is a JPEG too",
                "2 short videos (IMG_0001.MOV first), saved beside the photo of the same name",
                "1 drawn photo (front.jpg.overlay.jpg)",
                "5 files (.DS_Store first) that devices and programs keep beside photos",
                "1 file (letter.pdf), no photo by its name",
            ]
        );
    }

    #[test]
    fn only_files_of_one_folder_are_of_one_shot() {
        let found = Sorted::of(["a/1.jpg", "b/1.heic", "b/1.mov", "c/1.mov"].map(PathBuf::from));
        assert_eq!(found.photos.len(), 2);
        assert_eq!(found.videos, [PathBuf::from("c/1.mov")]);
    }

    /// Endings that some systems hide, names that others refuse.
    #[test]
    fn only_the_ending_makes_a_photo() {
        for name in [
            "front.JPG",
            "a b.jpeg",
            "📷.png",
            "‏تصوير.jpg",
            "CON.jpg",
            "a\\b.jpg",
        ] {
            assert!(is_photo_name(Path::new(name)), "{name}");
        }
        for name in [
            "front.jpg.",
            "front.jpg ",
            "jpg",
            ".jpg",
            "front.jpg.part",
            "",
        ] {
            assert!(!is_photo_name(Path::new(name)), "{name}");
        }
    }

    #[test]
    fn a_name_that_windows_can_not_hold_is_made_one_that_it_can() {
        for (name, held) in [
            ("CON.jpg", "_CON.jpg"),
            ("nul", "_nul"),
            ("Com1.tar.jpg", "_Com1.tar.jpg"),
            ("lpt³ .jpg", "_lpt³ .jpg"),
            ("front.jpg. .", "front.jpg"),
            ("10:30 <left>?.jpg", "10_30 _left__.jpg"),
            ("...", "_"),
        ] {
            assert_eq!(portable(name), held);
            assert_eq!(portable(held), held);
        }
        for name in [
            "console.jpg",
            "COM.jpg",
            "COM10.jpg",
            ".jpg",
            "צילום.jpg",
            "a b (2).jpg",
        ] {
            assert_eq!(portable(name), name);
        }
    }
}

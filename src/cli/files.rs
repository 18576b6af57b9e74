//! Finding the photos, the facts and the hand-placed landmarks of a visit on the disk.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tragus::locate::{ManualPoint, Wish};
use tragus::photo::Limits;
use tragus::pipeline::PhotoInput;
use tragus::record;
use tragus::visit::VisitFacts;

use super::{Stop, stop};

/// Endings that are taken for photos when a folder is given.
const PHOTO_ENDINGS: [&str; 6] = ["jpg", "jpeg", "png", "webp", "tif", "tiff"];
/// Photos as phones save them, which can't be read; they are named, not passed over.
const KNOWN_UNREADABLE: [&str; 2] = ["heic", "heif"];

/// A visit as it lies on the disk.
pub struct VisitFiles {
    pub facts: VisitFacts,
    pub photos: Vec<PathBuf>,
}

/// Reads what was named: one folder, or photos.
pub fn visit_files(paths: &[PathBuf]) -> Result<VisitFiles, Stop> {
    if let [folder] = paths
        && folder.is_dir()
    {
        return from_folder(folder);
    }
    for path in paths {
        if path.is_dir() {
            return Err(stop(
                "a folder among several paths",
                path,
                "name one folder, or photos; several visits are for tragus compare",
            ));
        }
        if !path.exists() {
            return Err(stop("no such file", path, "check the spelling of the name"));
        }
    }
    Ok(VisitFiles {
        facts: VisitFacts::default(),
        photos: paths.to_vec(),
    })
}

fn from_folder(folder: &Path) -> Result<VisitFiles, Stop> {
    let entries = std::fs::read_dir(folder)
        .map_err(|error| stop(error, folder, "is the folder yours to read?"))?;
    let mut photos: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.is_file() && has_ending(path, &PHOTO_ENDINGS, &KNOWN_UNREADABLE))
        .collect();
    photos.sort();
    if photos.is_empty() {
        return Err(stop(
            "no photo in this folder",
            folder,
            format!("photos end in {}", PHOTO_ENDINGS.join(", ")),
        ));
    }
    Ok(VisitFiles {
        facts: facts(&folder.join("visit.json"))?,
        photos,
    })
}

fn has_ending(path: &Path, photos: &[&str], others: &[&str]) -> bool {
    // Files that start with a dot are what some systems leave beside the real ones.
    let hidden = path
        .file_name()
        .is_some_and(|name| name.to_string_lossy().starts_with('.'));
    path.extension().is_some_and(|ending| {
        let ending = ending.to_string_lossy().to_lowercase();
        !hidden && (photos.contains(&ending.as_str()) || others.contains(&ending.as_str()))
    })
}

/// The facts in a `visit.json`, or none when there is no such file.
fn facts(path: &Path) -> Result<VisitFacts, Stop> {
    if !path.exists() {
        return Ok(VisitFacts::default());
    }
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, "is it text?"))?;
    record::facts_from_json(&text).map_err(|error| {
        stop(
            error,
            path,
            "all fields are optional: label, date, case, stature_cm, operated_side, arm_limit_deg",
        )
    })
}

/// Hand-placed landmarks by file name.
pub fn landmarks(path: &Path) -> Result<BTreeMap<String, Vec<ManualPoint>>, Stop> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| stop(error, path, "check the name of the landmark file"))?;
    record::landmarks_from_json(&text).map_err(|error| {
        stop(
            error,
            path,
            "the form is {\"photo.jpg\": {\"c7\": {\"x\": 312.5, \"y\": 204.0}}}, in pixels of \
             the upright photo",
        )
    })
}

/// The file name without folders.
pub fn name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// A photo for the pipeline. A file that can't be read, or is too large, becomes a reason.
pub fn photo(path: &Path, wish: Wish, manual: Vec<ManualPoint>) -> PhotoInput {
    PhotoInput {
        file: name(path),
        bytes: bytes(path),
        wish,
        manual,
    }
}

/// The bytes of a file, unless it is larger than any photo that is read.
pub fn bytes(path: &Path) -> Result<Vec<u8>, String> {
    let size = std::fs::metadata(path)
        .map_err(|error| error.to_string())?
        .len();
    let limit = Limits::default().bytes;
    if size > limit {
        return Err(format!(
            "it has {size} bytes, more than the {limit} that are read"
        ));
    }
    std::fs::read(path).map_err(|error| error.to_string())
}

//! Finding the photos, the facts and the hand-placed landmarks of a visit on the disk.

use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use image::RgbImage;
use jiff::civil::Date;

pub use tragus::case::{FACTS, RECORD};
use tragus::checksum;
use tragus::infer::Finder;
use tragus::locate::{ManualPoint, Wish};
use tragus::photo::{self, Bare, Days, Limits, Passed, PassedOver, Sorted};
use tragus::pipeline::{self, Aids, PhotoInput};
use tragus::record::{self, RecordError};
use tragus::video::{self, Frame, VideoError};
use tragus::visit::{Notice, PhotoRecord, Visit, VisitFacts};

use super::{Stop, stop};

/// A visit as it lies on the disk.
pub struct VisitFiles {
    pub facts: VisitFacts,
    pub photos: Vec<PathBuf>,
    /// Short clips of a reach.
    pub clips: Vec<PathBuf>,
    pub passed_over: PassedOver,
}

/// Refuses two files of a visit whose names can't be told apart.
fn refuse_same_names(paths: &[PathBuf]) -> Result<(), Stop> {
    let mut names: Vec<String> = paths.iter().map(|path| name(path)).collect();
    names.sort();
    match names.windows(2).find(|pair| pair[0] == pair[1]) {
        Some(pair) => Err(stop(
            "two photos have the same name",
            Path::new(&pair[0]),
            "measure them as two visits, or rename one",
        )),
        None => Ok(()),
    }
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
        if !path.is_file() {
            return Err(stop("no such file", path, "check the spelling of the name"));
        }
    }
    refuse_same_names(paths)?;
    let (clips, photos) = paths
        .iter()
        .cloned()
        .partition(|path| photo::is_video_name(path));
    Ok(VisitFiles {
        facts: VisitFacts::default(),
        photos,
        clips,
        passed_over: PassedOver::default(),
    })
}

fn from_folder(folder: &Path) -> Result<VisitFiles, Stop> {
    let entries = std::fs::read_dir(folder)
        .map_err(|error| stop(error, folder, "is the folder yours to read?"))?;
    let entries: std::io::Result<Vec<PathBuf>> = entries.map(|entry| Ok(entry?.path())).collect();
    let mut entries =
        entries.map_err(|error| stop(error, folder, "is what it lies on still there?"))?;
    entries.sort();
    let (folders, files): (Vec<PathBuf>, Vec<PathBuf>) =
        entries.into_iter().partition(|path| path.is_dir());
    // What tragus itself keeps there needs no word.
    let own = [FACTS, RECORD];
    let Sorted {
        photos,
        videos: clips,
        mut passed_over,
    } = Sorted::of(
        files
            .into_iter()
            .filter(|path| path.is_file() && !own.contains(&name(path).as_str())),
    );
    if photos.is_empty() && clips.is_empty() {
        let visits: Vec<String> = folders.iter().take(5).map(|path| name(path)).collect();
        return Err(stop(
            "no photo in this folder",
            folder,
            if visits.is_empty() {
                format!("photos end in {}", photo::ENDINGS.join(", "))
            } else {
                format!("name one of the folders in it: {}", visits.join(", "))
            },
        ));
    }
    refuse_same_names(&photos)?;
    for folder in &folders {
        passed_over.add(Passed::Folder, folder);
    }
    Ok(VisitFiles {
        facts: facts(&folder.join(FACTS))?,
        photos,
        clips,
        passed_over,
    })
}

/// Refuses to write where something would be lost: a name without one of these endings, a folder,
/// a missing folder, the facts of a visit, or one of the inputs.
pub fn refuse_target(path: &Path, endings: &[&str], inputs: &[PathBuf]) -> Result<(), Stop> {
    let example = format!("name a new file that ends in .{}", endings[0]);
    if path.is_dir() {
        return Err(stop("this is a folder, not a file to write", path, example));
    }
    let folder = folder_of(path);
    if !folder.is_dir() {
        return Err(stop(
            "there is no such folder to write into",
            folder,
            "make it first",
        ));
    }
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    let fits = ending.is_some_and(|ending| endings.contains(&ending.as_str()));
    if !fits {
        return Err(stop(
            "this ending does not say how to write the file",
            path,
            example,
        ));
    }
    if name(path) == FACTS || inputs.iter().any(|input| same_file(input, path)) {
        return Err(stop("this file is not overwritten", path, example));
    }
    Ok(())
}

/// Makes a folder to write files into, unless it is there; `hint` for when it is a file.
pub fn make_folder(folder: &Path, hint: &str) -> Result<(), Stop> {
    if folder.exists() && !folder.is_dir() {
        return Err(stop("this is a file, not a folder", folder, hint));
    }
    std::fs::create_dir_all(folder)
        .map_err(|error| stop(error, folder, "name a folder that can be written"))
}

/// What is wrong with a path that should lead to a folder.
pub fn no_folder(path: &Path) -> &'static str {
    match path.exists() {
        true => "this is a file, not a folder",
        false => "no such folder",
    }
}

/// The folder that a path lies in.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Whether two paths lead to one file or folder.
pub fn same_file(a: &Path, b: &Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

/// The facts in a `visit.json`, or none when there is no such file.
fn facts(path: &Path) -> Result<VisitFacts, Stop> {
    let text = match std::fs::read_to_string(path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(VisitFacts::default()),
        Err(error) => return Err(stop(error, path, "is it a text file of yours?")),
    };
    record::facts_from_json(&text).map_err(|error| {
        let hint = match &error {
            RecordError::Field { .. } => "mend that field, or leave it out: all are optional",
            _ => {
                "the fields, all optional, are label, date, case, stature_cm, operated_side, \
                 arm_limit_deg, board_offset_cm and sticker_mm; numbers stand without quotation \
                 marks"
            }
        };
        stop(error, path, hint)
    })
}

/// Hand-placed landmarks by file name.
pub fn landmarks(path: &Path) -> Result<BTreeMap<String, Vec<ManualPoint>>, Stop> {
    let hint = "check the name of the landmark file";
    if path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("csv"))
    {
        let bytes = std::fs::read(path).map_err(|error| stop(error, path, hint))?;
        return record::landmarks_from_csv(&bytes).map_err(|error| {
            stop(
                error,
                path,
                "the columns are photo, landmark, x, y and, where it is known, sigma_px, in pixels \
                 of the upright photo",
            )
        });
    }
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, hint))?;
    record::landmarks_from_json(&text).map_err(|error| {
        stop(
            error,
            path,
            "the form is {\"photo.jpg\": {\"c7\": {\"x\": 312.5, \"y\": 204.0}}}, in pixels of \
             the upright photo, or COCO keypoints",
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

/// The days that photos say they were taken on.
pub fn days(photos: &[PathBuf]) -> Days {
    let days: Vec<(String, Option<Date>)> = photos
        .iter()
        .map(|path| {
            let bytes = photo::read_bytes(path).ok();
            (name(path), bytes.and_then(|bytes| photo::day_taken(&bytes)))
        })
        .collect();
    Days::of(days.iter().map(|(name, day)| (name.as_str(), *day)))
}

/// One photo of a visit, by itself or out of a clip.
pub enum Shot {
    File(PathBuf),
    Frame(Frame),
    /// A clip that could not be read, and why.
    Unread(PathBuf, String),
}

impl Shot {
    pub fn name(&self) -> String {
        match self {
            Shot::File(path) | Shot::Unread(path, _) => name(path),
            Shot::Frame(frame) => frame.name.clone(),
        }
    }

    /// For the pipeline. What can't be read, or is too large, becomes a reason.
    pub fn input(&self, wish: Wish, manual: Vec<ManualPoint>) -> PhotoInput {
        PhotoInput {
            file: self.name(),
            bytes: match self {
                Shot::File(path) => photo::read_bytes(path),
                Shot::Frame(frame) => Ok(frame.jpeg.clone()),
                Shot::Unread(_, why) => Err(why.clone()),
            },
            wish,
            manual,
            aids: Aids::default(),
        }
    }

    /// Of its file, and of what of that is filed in a case: records are of either.
    pub fn checksums(&self) -> Vec<String> {
        let input = self.input(Wish::default(), Vec::new());
        let Ok(bytes) = input.bytes else {
            return Vec::new();
        };
        let bare = Bare::of(&bytes, Limits::default()).ok();
        let bare = bare.map(|bare| checksum::sha256(bare.bytes()));
        bare.into_iter().chain([checksum::sha256(&bytes)]).collect()
    }

    /// As it is filed in a case. One that can't be read is not filed: nobody can say what else its
    /// file holds.
    pub fn bare(&self) -> Result<Bare, Stop> {
        let (path, bytes) = match self {
            Shot::Frame(frame) => (Path::new(&frame.name), Ok(frame.jpeg.clone())),
            Shot::File(path) => (path.as_path(), photo::read_bytes(path)),
            Shot::Unread(path, why) => (path.as_path(), Err(why.clone())),
        };
        let bytes = bytes.map_err(|error| {
            let hint = "nothing was filed; leave this file out, or make one of it that can be read";
            stop(error, path, hint)
        })?;
        Bare::of(&bytes, Limits::default()).map_err(|error| {
            let hint = error.kind.hint();
            stop(
                &error,
                path,
                format!("{hint}; or leave this file out. Nothing was filed"),
            )
        })
    }

    /// As it is filed, for the pipeline.
    pub fn bare_input(&self, bare: &Bare, wish: Wish, manual: Vec<ManualPoint>) -> PhotoInput {
        PhotoInput {
            file: bare.name(&self.name()),
            bytes: Ok(bare.bytes().to_vec()),
            wish,
            manual,
            aids: Aids::default(),
        }
    }

    /// The upright picture that a record was made from; `None` when it is not there any more.
    pub fn picture(&self, record: &PhotoRecord) -> Option<RgbImage> {
        match self {
            Shot::File(path) => picture(path, record),
            Shot::Frame(frame) => photo::upright(&frame.jpeg, Limits::default()).ok(),
            Shot::Unread(..) => None,
        }
    }
}

/// The photos of a visit and the frames of its clips, with what is to be known of these.
pub fn shots(finder: &Finder, found: &VisitFiles) -> Result<(Vec<Shot>, Vec<Notice>), Stop> {
    let mut shots: Vec<Shot> = found.photos.iter().cloned().map(Shot::File).collect();
    let mut notices = Vec::new();
    for clip in &found.clips {
        match video::greatest_reach(finder, clip, found.facts.operated) {
            Ok(reach) => {
                shots.extend(reach.frames.into_iter().map(Shot::Frame));
                notices.push(reach.notice);
            }
            Err(VideoError::Nets(error)) => return Err(error.into()),
            Err(error) => {
                let why = format!("{error}. What helps: {}", error.hint());
                shots.push(Shot::Unread(clip.clone(), why));
            }
        }
    }
    Ok((shots, notices))
}

/// Measures a visit as it was found.
pub fn measure(
    finder: &Finder,
    facts: VisitFacts,
    shots: (&[Shot], Vec<Notice>),
    input: impl Fn(usize, &Shot) -> PhotoInput,
) -> Result<Visit, Stop> {
    let (shots, notices) = shots;
    let mut visit = {
        let inputs = shots.iter().enumerate();
        pipeline::measure_visit(
            finder,
            facts,
            inputs.map(|(index, shot)| input(index, shot)),
        )?
    };
    visit.notices.extend(notices);
    Ok(visit)
}

/// The upright picture that a record was made from, or the original of the one that it was made
/// from; `None` when it is not there any more.
pub fn picture(path: &Path, record: &PhotoRecord) -> Option<RgbImage> {
    let bytes = photo::read_bytes(path).ok()?;
    let is_measured = |bytes: &[u8]| record.sha256.as_deref() == Some(&checksum::sha256(bytes));
    // Another file of that name would be shown with the lines and the covered face of this one.
    let is_it = is_measured(&bytes)
        || Bare::of(&bytes, Limits::default()).is_ok_and(|bare| is_measured(bare.bytes()));
    if !is_it {
        return None;
    }
    photo::upright(&bytes, Limits::default()).ok()
}

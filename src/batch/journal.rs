//! What a batch has measured so far, beside its output, so that a run that was killed goes on
//! where it stopped.
//!
//! The first line says with what settings the run began; then comes a line of JSON for each photo,
//! in the order in which they were done. A line that was only half written when the run ended, or
//! was damaged since, is dropped and its photo measured again; so is a photo that has changed. The
//! output is made from the whole journal at the end and renamed into place.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::scores::{Format, Score, ScoresError, Writer};

/// Whatever changes the numbers: a run goes on only with the settings that it began with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    pub schema: String,
    pub tragus: String,
    /// Checksum of the list of nets, which holds their checksums.
    pub nets: String,
    pub runtime: String,
    pub pose_net: String,
    pub effort: String,
    pub folder: String,
    /// Checksum of the manifest's bytes; empty without one.
    pub manifest: String,
    pub shard: String,
}

pub const SCHEMA: &str = "tragus-batch/1";

impl Settings {
    /// The first setting that differs, by its name, before and now.
    fn difference<'a>(&'a self, now: &'a Settings) -> Option<(&'static str, &'a str, &'a str)> {
        [
            ("schema", &self.schema, &now.schema),
            ("version of tragus", &self.tragus, &now.tragus),
            ("nets", &self.nets, &now.nets),
            ("runtime", &self.runtime, &now.runtime),
            ("pose net", &self.pose_net, &now.pose_net),
            ("effort", &self.effort, &now.effort),
            ("folder", &self.folder, &now.folder),
            ("manifest", &self.manifest, &now.manifest),
            ("shard", &self.shard, &now.shard),
        ]
        .into_iter()
        .find_map(|(name, before, now)| (before != now).then_some((name, &**before, &**now)))
    }
}

#[derive(Debug, Error)]
#[non_exhaustive]
pub enum JournalError {
    #[error("{0}")]
    File(#[from] io::Error),
    #[error("another run is writing this output")]
    Locked,
    #[error("a run with this output was interrupted")]
    Interrupted,
    #[error("the interrupted run had another {what}{}", words(what, before, now))]
    OtherSettings {
        what: &'static str,
        before: String,
        now: String,
    },
    #[error("the journal of the interrupted run is damaged")]
    Damaged,
    #[error(transparent)]
    Scores(#[from] ScoresError),
}

/// The two settings, where they are more than checksums.
fn words(what: &str, before: &str, now: &str) -> String {
    match what {
        "manifest" | "nets" => String::new(),
        _ => format!(": {before:?}, now {now:?}"),
    }
}

/// What tells a photo's file from the one that it replaces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    bytes: u64,
    /// Nanoseconds from 1970 to its last change.
    changed: u64,
}

impl Stamp {
    pub fn of(path: &Path) -> Option<Stamp> {
        let file = path.metadata().ok()?;
        let changed = file.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
        Some(Stamp {
            bytes: file.len(),
            changed: u64::try_from(changed.as_nanos()).ok()?,
        })
    }
}

#[derive(Serialize, Deserialize)]
struct Line {
    photo: String,
    file: Option<Stamp>,
    rows: Vec<Score>,
}

/// Where the line of a photo stands, and of which file it is.
#[derive(Clone, Copy)]
struct Place {
    start: u64,
    length: u64,
    file: Option<Stamp>,
}

pub struct Journal {
    path: PathBuf,
    file: File,
    end: u64,
    lines: BTreeMap<String, Place>,
    passing: BTreeMap<String, Vec<Score>>,
    damaged: usize,
}

/// The journal that belongs to an output.
pub fn path_for(output: &Path) -> PathBuf {
    beside(output, ".journal")
}

fn beside(output: &Path, ending: &str) -> PathBuf {
    let mut name = output.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

impl Journal {
    /// Begins a journal, or with `resume` goes on with the one that is there.
    pub fn open(output: &Path, settings: &Settings, resume: bool) -> Result<Self, JournalError> {
        let path = path_for(output);
        let file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(&path)?;
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => return Err(JournalError::Locked),
            // Some network folders know no locks; a run there is as safe as it can be.
            Ok(()) | Err(TryLockError::Error(_)) => {}
        }
        let mut journal = Journal {
            path,
            file,
            end: 0,
            lines: BTreeMap::new(),
            passing: BTreeMap::new(),
            damaged: 0,
        };
        if !journal.is_still_there() {
            return Err(JournalError::Locked);
        }
        if journal.read_back(settings, resume)? {
            return Ok(journal);
        }
        journal.append(&serde_json::to_string(settings).map_err(io::Error::from)?)?;
        Ok(journal)
    }

    /// False when the run that held the lock before has just ended and removed the file.
    fn is_still_there(&self) -> bool {
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let inode = |file: io::Result<std::fs::Metadata>| file.map(|file| file.ino()).ok();
            inode(self.file.metadata()) == inode(self.path.metadata())
        }
        #[cfg(not(unix))]
        true
    }

    /// Reads what is there. False when there is nothing, not even the settings.
    fn read_back(&mut self, now: &Settings, resume: bool) -> Result<bool, JournalError> {
        let mut reader = BufReader::new(&self.file);
        let mut text = Vec::new();
        let mut begun = false;
        loop {
            text.clear();
            let length = reader.read_until(b'\n', &mut text)? as u64;
            if !text.ends_with(b"\n") {
                break;
            }
            if begun {
                match serde_json::from_slice::<Line>(&text) {
                    Ok(line) => {
                        let place = Place {
                            start: self.end,
                            length,
                            file: line.file,
                        };
                        self.lines.insert(line.photo, place);
                    }
                    Err(_) => self.damaged += 1,
                }
            } else {
                let before: Settings =
                    serde_json::from_slice(&text).map_err(|_| JournalError::Damaged)?;
                if !resume {
                    return Err(JournalError::Interrupted);
                }
                if let Some((what, before, now)) = before.difference(now) {
                    return Err(JournalError::OtherSettings {
                        what,
                        before: before.to_owned(),
                        now: now.to_owned(),
                    });
                }
                begun = true;
            }
            self.end += length;
        }
        // What was half written when the run ended.
        self.file.set_len(self.end)?;
        Ok(begun)
    }

    /// Whether it has the rows of a photo, and from this very file.
    pub fn holds(&self, photo: &str, file: Option<Stamp>) -> bool {
        self.lines
            .get(photo)
            .is_some_and(|place| place.file == file)
    }

    /// Lines that could not be read; their photos are measured again.
    pub fn damaged(&self) -> usize {
        self.damaged
    }

    /// Keeps the rows of a photo for this run alone: another may fare better with it.
    pub fn keep_for_now(&mut self, photo: &str, rows: Vec<Score>) {
        self.lines.remove(photo);
        self.passing.insert(photo.to_owned(), rows);
    }

    /// The photos that this run alone has rows of.
    pub fn kept_for_now(&self) -> impl Iterator<Item = &str> {
        self.passing.keys().map(String::as_str)
    }

    /// Keeps the rows of a photo.
    pub fn keep(
        &mut self,
        photo: &str,
        file: Option<Stamp>,
        rows: Vec<Score>,
    ) -> Result<(), JournalError> {
        let line = Line {
            photo: photo.to_owned(),
            file,
            rows,
        };
        let start = self.end;
        self.append(&serde_json::to_string(&line).map_err(io::Error::from)?)?;
        let place = Place {
            start,
            length: self.end - start,
            file,
        };
        self.passing.remove(photo);
        self.lines.insert(line.photo, place);
        Ok(())
    }

    fn append(&mut self, line: &str) -> io::Result<()> {
        // In one piece, so that a kill leaves at most one line unfinished.
        let line = format!("{line}\n");
        self.file.write_all(line.as_bytes())?;
        self.end += line.len() as u64;
        Ok(())
    }

    /// Writes the rows of these photos, in their order, to the output, and the journal is no more.
    /// Tells how many rows were measured and how many were not.
    pub fn finish<'a>(
        mut self,
        output: &Path,
        format: Format,
        photos: impl IntoIterator<Item = &'a str>,
    ) -> Result<Counts, JournalError> {
        let mut counts = Counts::default();
        // Always the same name beside the output: what a kill leaves there, the next run replaces.
        let part = beside(output, ".part");
        let mut writer = Writer::new(format, BufWriter::new(File::create(&part)?))?;
        for photo in photos {
            for score in self.rows(photo)? {
                counts.add(&score);
                writer.write(&score)?;
            }
        }
        let file = writer
            .finish()?
            .into_inner()
            .map_err(io::IntoInnerError::into_error)?;
        file.sync_all()?;
        std::fs::rename(&part, output)?;
        std::fs::remove_file(&self.path)?;
        Ok(counts)
    }

    fn rows(&mut self, photo: &str) -> Result<Vec<Score>, JournalError> {
        if let Some(rows) = self.passing.remove(photo) {
            return Ok(rows);
        }
        let Some(place) = self.lines.get(photo) else {
            return Ok(Vec::new());
        };
        self.file.seek(SeekFrom::Start(place.start))?;
        let text = (&self.file).take(place.length);
        let line: Line = serde_json::from_reader(BufReader::new(text)).map_err(io::Error::from)?;
        Ok(line.rows)
    }
}

/// How a run ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    pub measured: usize,
    pub unmeasured: usize,
    /// Photos from which nothing at all could be measured.
    pub empty_photos: usize,
}

impl Counts {
    fn add(&mut self, score: &Score) {
        if score.value.is_some() {
            self.measured += 1;
        } else {
            self.unmeasured += 1;
        }
        if score.measure.is_empty() {
            self.empty_photos += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> Settings {
        Settings {
            schema: SCHEMA.to_owned(),
            tragus: "1".to_owned(),
            nets: "n".to_owned(),
            folder: "photos".to_owned(),
            runtime: "built in".to_owned(),
            pose_net: "full".to_owned(),
            effort: "quick".to_owned(),
            manifest: String::new(),
            shard: "1/1".to_owned(),
        }
    }

    fn row(photo: &str, value: f64) -> Vec<Score> {
        vec![Score {
            photo: photo.to_owned(),
            measure: "trunk_lean".to_owned(),
            value: Some(value),
            ..Score::default()
        }]
    }

    fn photos(output: &Path) -> Vec<(String, f64)> {
        crate::scores::read(output)
            .unwrap()
            .into_iter()
            .map(|score| (score.photo, score.value.unwrap()))
            .collect()
    }

    #[test]
    fn a_line_cut_anywhere_costs_that_photo_alone() {
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("scores.csv");
        let mut journal = Journal::open(&output, &settings(), false).unwrap();
        let header = journal.end;
        journal.keep("b.jpg", None, row("b.jpg", 2.0)).unwrap();
        let first = journal.end;
        journal.keep("a.jpg", None, row("a.jpg", 1.0)).unwrap();
        drop(journal);
        let whole = std::fs::read(path_for(&output)).unwrap();
        for cut in 0..=whole.len() {
            std::fs::write(path_for(&output), &whole[..cut]).unwrap();
            let mut journal = Journal::open(&output, &settings(), true).unwrap();
            let (cut, end) = (cut as u64, whole.len() as u64);
            let place = format!("cut at {cut} of {end}");
            assert_eq!(journal.holds("b.jpg", None), cut >= first, "{place}");
            assert_eq!(journal.holds("a.jpg", None), cut == end, "{place}");
            assert!(journal.end >= header);
            for photo in ["a.jpg", "b.jpg"] {
                if !journal.holds(photo, None) {
                    journal
                        .keep(photo, None, row(photo, f64::from(photo.as_bytes()[0] - 96)))
                        .unwrap();
                }
            }
            let counts = journal
                .finish(&output, Format::Csv, ["a.jpg", "b.jpg"])
                .unwrap();
            assert_eq!((counts.measured, counts.unmeasured), (2, 0));
            assert_eq!(
                photos(&output),
                [("a.jpg".to_owned(), 1.0), ("b.jpg".to_owned(), 2.0)]
            );
            assert!(!path_for(&output).exists());
        }
    }

    #[test]
    fn an_interrupted_run_is_neither_overwritten_nor_mixed_with_another() {
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("scores.csv");
        let mut journal = Journal::open(&output, &settings(), false).unwrap();
        journal.keep("a.jpg", None, row("a.jpg", 1.0)).unwrap();
        assert!(matches!(
            Journal::open(&output, &settings(), true),
            Err(JournalError::Locked)
        ));
        drop(journal);
        assert!(matches!(
            Journal::open(&output, &settings(), false),
            Err(JournalError::Interrupted)
        ));
        let other = Settings {
            shard: "2/3".to_owned(),
            ..settings()
        };
        let error = Journal::open(&output, &other, true).err().unwrap();
        assert_eq!(
            error.to_string(),
            "the interrupted run had another shard: \"1/1\", now \"2/3\""
        );
        assert!(
            Journal::open(&output, &settings(), true)
                .unwrap()
                .holds("a.jpg", None)
        );
    }

    #[test]
    fn a_damaged_line_costs_that_photo_alone_and_is_counted() {
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("scores.csv");
        let mut journal = Journal::open(&output, &settings(), false).unwrap();
        journal.keep("a.jpg", None, row("a.jpg", 1.0)).unwrap();
        drop(journal);
        let mut text = std::fs::read_to_string(path_for(&output)).unwrap();
        text.push_str("{\"photo\": 3\n");
        std::fs::write(path_for(&output), text).unwrap();
        let mut journal = Journal::open(&output, &settings(), true).unwrap();
        assert_eq!(journal.damaged(), 1);
        journal.keep("b.jpg", None, row("b.jpg", 2.0)).unwrap();
        drop(journal);
        let journal = Journal::open(&output, &settings(), true).unwrap();
        assert!(journal.holds("a.jpg", None) && journal.holds("b.jpg", None));
        journal
            .finish(&output, Format::Csv, ["a.jpg", "b.jpg"])
            .unwrap();
        assert_eq!(photos(&output).len(), 2);
    }

    #[test]
    fn a_photo_that_has_changed_is_not_held() {
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("scores.csv");
        let photo = folder.path().join("a.jpg");
        std::fs::write(&photo, "one").unwrap();
        let before = Stamp::of(&photo);
        let mut journal = Journal::open(&output, &settings(), false).unwrap();
        journal.keep("a.jpg", before, row("a.jpg", 1.0)).unwrap();
        assert!(journal.holds("a.jpg", Stamp::of(&photo)));
        std::fs::write(&photo, "another").unwrap();
        assert!(!journal.holds("a.jpg", Stamp::of(&photo)));
        journal
            .keep("a.jpg", Stamp::of(&photo), row("a.jpg", 7.0))
            .unwrap();
        journal.finish(&output, Format::Csv, ["a.jpg"]).unwrap();
        assert_eq!(photos(&output), [("a.jpg".to_owned(), 7.0)]);
    }

    #[test]
    fn what_may_pass_is_in_the_table_and_not_in_the_journal() {
        let folder = tempfile::tempdir().unwrap();
        let output = folder.path().join("scores.csv");
        let mut journal = Journal::open(&output, &settings(), false).unwrap();
        journal.keep_for_now("a.jpg", row("a.jpg", 1.0));
        drop(journal);
        let mut journal = Journal::open(&output, &settings(), true).unwrap();
        assert!(!journal.holds("a.jpg", None));
        journal.keep_for_now("a.jpg", row("a.jpg", 2.0));
        journal.finish(&output, Format::Csv, ["a.jpg"]).unwrap();
        assert_eq!(photos(&output), [("a.jpg".to_owned(), 2.0)]);
    }
}

//! Thousands of photos into one table: every core works, memory stays bounded, one bad photo
//! never stops the run, and a run that was killed goes on where it stopped.

mod journal;
pub mod manifest;
mod shard;

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

use thiserror::Error;
use walkdir::WalkDir;

pub use journal::{
    Counts, Journal, JournalError, SCHEMA, Settings, Stamp, path_for as journal_path,
};
pub use manifest::Manifest;
pub use shard::Shard;

use crate::infer::{Effort, Finder};
use crate::photo::{self, Passed, PassedOver, Sorted};
use crate::pipeline::{self, Aids, PhotoInput};
use crate::scores::{self, Score};
use manifest::Entry;

/// The photos of a run, by the name they have in the table: the path below the folder, with
/// forward slashes.
#[derive(Debug, Default)]
pub struct Photos {
    pub found: BTreeMap<String, PathBuf>,
    /// Folders and files that could not be looked into, and why.
    pub unseen: Vec<String>,
    /// What is no photo.
    pub passed_over: PassedOver,
}

/// Looks for photos in a folder and the folders in it.
pub fn photos_in(folder: &Path) -> Photos {
    let mut photos = Photos::default();
    let mut files = Vec::new();
    // In one order everywhere, also where two names can't be told apart.
    for entry in WalkDir::new(folder).follow_links(true).sort_by_file_name() {
        match entry {
            Ok(entry) if entry.file_type().is_file() => files.push(entry.into_path()),
            Ok(_) => {}
            Err(error) => photos.unseen.push(error.to_string()),
        }
    }
    let sorted = Sorted::of(files);
    photos.passed_over = sorted.passed_over;
    for video in &sorted.videos {
        photos.passed_over.add(Passed::Video, video);
    }
    for path in sorted.photos {
        let below = path.strip_prefix(folder).unwrap_or(&path);
        let parts: Vec<_> = below.iter().map(|part| part.to_string_lossy()).collect();
        if let Some(other) = photos.found.insert(parts.join("/"), path) {
            photos.unseen.push(format!(
                "its name can't be told from another's: {}",
                other.display()
            ));
        }
    }
    photos
}

/// A batch could not go on.
#[derive(Debug, Error)]
pub enum BatchError {
    #[error(transparent)]
    Journal(#[from] JournalError),
    #[error("a worker could not be started: {0}")]
    Worker(String),
}

/// One photo to measure; `None` for a photo that only the manifest knows.
struct Job<'a> {
    photo: &'a str,
    path: Option<&'a Path>,
    entry: Entry,
}

/// Which photos are measured, and how.
pub struct Batch<'a> {
    pub photos: &'a Photos,
    pub manifest: &'a Manifest,
    pub shard: Shard,
    pub effort: Effort,
    pub workers: usize,
}

impl Batch<'_> {
    /// The names of this run's photos in their order, those that only the manifest knows among
    /// them.
    pub fn names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self
            .photos
            .found
            .keys()
            .chain(self.manifest.entries.keys())
            .map(String::as_str)
            .filter(|photo| self.shard.holds(photo))
            .collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Those of these photos that the journal does not hold.
    pub fn to_measure<'b>(&self, names: &[&'b str], journal: &Journal) -> Vec<&'b str> {
        let held = |photo: &str| {
            let path = self.photos.found.get(photo);
            journal.holds(photo, path.and_then(|path| Stamp::of(path)))
        };
        let names = names.iter().copied();
        names.filter(|photo| !held(photo)).collect()
    }

    /// Measures these photos into the journal. `done` hears of each.
    pub fn run(
        &self,
        finder: &Finder,
        names: &[&str],
        journal: &mut Journal,
        mut done: impl FnMut(),
    ) -> Result<(), BatchError> {
        let jobs: Vec<Job> = names
            .iter()
            .map(|&photo| Job {
                photo,
                path: self.photos.found.get(photo).map(PathBuf::as_path),
                entry: self
                    .manifest
                    .entries
                    .get(photo)
                    .cloned()
                    .unwrap_or_default(),
            })
            .collect();
        let next = AtomicUsize::new(0);
        std::thread::scope(|scope| {
            // A bounded queue: workers wait for a disk that can't keep up.
            let (sender, receiver) = mpsc::sync_channel(self.workers);
            for _ in 0..self.workers {
                let sender = sender.clone();
                let (jobs, next) = (&jobs, &next);
                // The photos are what runs side by side: a pool of one keeps each on its worker.
                let pool = rayon::ThreadPoolBuilder::new()
                    .num_threads(1)
                    .build()
                    .map_err(|error| BatchError::Worker(error.to_string()))?;
                scope.spawn(move || {
                    while let Some(job) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                        // Before it is read: a change meanwhile makes it another file.
                        let file = job.path.and_then(Stamp::of);
                        let measured = pool.install(|| self.measure(finder, job));
                        // Nobody listens any more once writing has failed.
                        if sender.send((job.photo, file, measured)).is_err() {
                            break;
                        }
                    }
                });
            }
            drop(sender);
            for (photo, file, measured) in receiver {
                match measured {
                    Measured::ForGood(rows) => journal.keep(photo, file, rows)?,
                    Measured::ForNow(rows) => journal.keep_for_now(photo, rows),
                }
                done();
            }
            Ok(())
        })
    }

    fn measure(&self, finder: &Finder, job: &Job) -> Measured {
        let person = job.entry.facts.case.as_deref().unwrap_or_default();
        let without = |why: String| vec![Score::without_measure(job.photo, person, why)];
        let Some(path) = job.path else {
            let why = "the manifest names this photo, but it is not there";
            return Measured::ForNow(without(why.to_owned()));
        };
        let input = PhotoInput {
            file: job.photo.to_owned(),
            bytes: photo::read_bytes(path),
            wish: job.entry.wish,
            manual: Vec::new(),
            aids: Aids::default(),
        };
        // A fault of a decoder or of ours in one photo must not cost the others.
        let measured = catch_unwind(AssertUnwindSafe(|| {
            pipeline::measure_photo(finder, &job.entry.facts, &input, self.effort)
        }));
        match measured {
            Ok(Ok((record, readings))) => {
                let rows = scores::rows(person, &[record], &readings);
                match input.bytes {
                    Ok(_) => Measured::ForGood(rows),
                    Err(_) => Measured::ForNow(rows),
                }
            }
            Ok(Err(error)) => Measured::ForNow(without(format!(
                "the nets could not look at this photo: {error}"
            ))),
            Err(_) => Measured::ForGood(without(
                "a fault of tragus kept this photo from being measured".to_owned(),
            )),
        }
    }
}

/// The rows of a photo.
enum Measured {
    ForGood(Vec<Score>),
    /// A file that could not be read or a net that failed: a later run may fare better.
    ForNow(Vec<Score>),
}

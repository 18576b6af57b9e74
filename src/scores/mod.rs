//! The table of measures that a batch of photos gives and that an agreement is worked out from:
//! one row for each measure of each photo, measured or not.
//!
//! The columns are the same in every format. CSV (RFC 4180), JSON lines and Parquet are told
//! apart by the file's ending.

mod csv;
mod jsonl;
mod parquet;

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::sheet::SheetError;
use crate::visit::{PhotoRecord, Reading};

/// One row.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Score {
    pub photo: String,
    pub person: String,
    pub view: String,
    pub task: String,
    pub measure: String,
    pub side: String,
    pub value: Option<f64>,
    pub sigma: Option<f64>,
    pub unit: String,
    pub status: String,
    pub reason: String,
}

/// A column of the table.
pub struct Column {
    pub name: &'static str,
    field: Field,
    pub description: &'static str,
}

/// Where a row keeps what stands in a column.
#[derive(Clone, Copy)]
enum Field {
    Text(fn(&Score) -> &str),
    Number(fn(&Score) -> Option<f64>),
}

const fn text(name: &'static str, field: fn(&Score) -> &str, description: &'static str) -> Column {
    Column {
        name,
        field: Field::Text(field),
        description,
    }
}

const fn number(
    name: &'static str,
    field: fn(&Score) -> Option<f64>,
    description: &'static str,
) -> Column {
    Column {
        name,
        field: Field::Number(field),
        description,
    }
}

/// The columns in their order.
pub const COLUMNS: [Column; 11] = [
    text(
        "photo",
        |score| &score.photo,
        "the photo's path below the folder that was measured, with forward slashes",
    ),
    text(
        "person",
        |score| &score.person,
        "code of the person, as the manifest gives it",
    ),
    text(
        "view",
        |score| &score.view,
        "where the photo was taken from: side, front, back or oblique; empty when unknown",
    ),
    text(
        "task",
        |score| &score.task,
        "what the person does: stand or reach; empty when unknown",
    ),
    text(
        "measure",
        |score| &score.measure,
        "id of the measure; empty where nothing was looked for in the photo",
    ),
    text(
        "side",
        |score| &score.side,
        "the subject's own side: left or right; empty for measures of both or of the middle",
    ),
    number(
        "value",
        |score| score.value,
        "the measured value, in the row's unit; empty when unmeasured",
    ),
    number(
        "sigma",
        |score| score.sigma,
        "standard uncertainty of the value (one sigma), in the row's unit",
    ),
    text(
        "unit",
        |score| &score.unit,
        "unit of value and sigma: deg (degrees), cm or %",
    ),
    text("status", |score| &score.status, "measured or unmeasured"),
    text(
        "reason",
        |score| &score.reason,
        "why there is no value, or what is doubtful about the photo of a value",
    ),
];

/// Columns that a table must have to be read; the others may be missing.
const NEEDED: [&str; 4] = ["photo", "measure", "side", "value"];

pub const MEASURED: &str = "measured";
pub const UNMEASURED: &str = "unmeasured";

impl Score {
    /// The row of a photo in which nothing was even looked for.
    pub fn without_measure(photo: &str, person: &str, reason: impl Into<String>) -> Score {
        Score {
            photo: photo.to_owned(),
            person: person.to_owned(),
            status: UNMEASURED.to_owned(),
            reason: reason.into(),
            ..Score::default()
        }
    }
}

/// The rows of photos and what was read from them. A photo from which nothing was even looked for
/// has a row of its own with an empty measure, so that no photo disappears.
pub fn rows(person: &str, photos: &[PhotoRecord], readings: &[Reading]) -> Vec<Score> {
    let pose = |photo: Option<&PhotoRecord>| {
        let view = photo.and_then(|photo| photo.view);
        let task = photo.and_then(|photo| photo.task);
        (
            view.map_or("", |view| view.name()).to_owned(),
            task.map_or("", |task| task.name()).to_owned(),
        )
    };
    // What is read from two photos names both.
    let is_of = |reading: &Reading, photo: &PhotoRecord| {
        reading.photo == photo.file || reading.photo.split(" + ").any(|file| file == photo.file)
    };
    let unread = photos
        .iter()
        .filter(|photo| !readings.iter().any(|reading| is_of(reading, photo)));
    let unread = unread.map(|photo| {
        let reason = match remarks([photo]) {
            none if none.is_empty() => "nothing to measure in this photo".to_owned(),
            some => some,
        };
        let (view, task) = pose(Some(photo));
        Score {
            view,
            task,
            ..Score::without_measure(&photo.file, person, reason)
        }
    });
    let read = readings.iter().map(|reading| {
        let (view, task) = pose(photos.iter().find(|photo| is_of(reading, photo)));
        let (value, sigma, status, reason) = match &reading.outcome {
            Ok(estimate) if !estimate.value.is_finite() || !estimate.sigma.is_finite() => (
                None,
                None,
                UNMEASURED,
                "the points gave no number".to_owned(),
            ),
            Ok(estimate) => (
                Some(rounded(estimate.value)),
                Some(rounded(estimate.sigma)),
                MEASURED,
                remarks(photos.iter().filter(|photo| is_of(reading, photo))),
            ),
            Err(unmeasured) => (None, None, UNMEASURED, unmeasured.reason.clone()),
        };
        Score {
            photo: reading.photo.clone(),
            person: person.to_owned(),
            view,
            task,
            measure: reading.measure.id().to_owned(),
            side: reading.side.map_or("", |side| side.name()).to_owned(),
            value,
            sigma,
            unit: reading.measure.unit().name().to_owned(),
            status: status.to_owned(),
            reason,
        }
    });
    unread.chain(read).collect()
}

/// What was remarked about photos, in one line.
fn remarks<'a>(photos: impl IntoIterator<Item = &'a PhotoRecord>) -> String {
    let notices = photos.into_iter().flat_map(|photo| &photo.notices);
    let texts: Vec<&str> = notices.map(|notice| notice.text.as_str()).collect();
    texts.join("; ")
}

/// To four decimals: more than the error warrants, so that nothing is rounded twice, and few enough
/// that the same photo gives the same row on any machine.
fn rounded(value: f64) -> f64 {
    // Adding zero turns a negative zero into a plain one.
    (value * 1e4).round() / 1e4 + 0.0
}

/// A table could not be read or written.
#[derive(Debug, Error)]
pub enum ScoresError {
    #[error("{0}")]
    File(#[from] io::Error),
    #[error(
        "the ending does not say which kind of table this is; expected .csv, .jsonl or .parquet"
    )]
    Ending,
    #[error("the table has no column {0}")]
    NoColumn(&'static str),
    #[error("{0}")]
    Sheet(#[from] SheetError),
    #[error("line {line}: {detail}")]
    Line { line: u64, detail: String },
    #[error("this is not a Parquet table that can be read ({0})")]
    Parquet(String),
}

/// A kind of table file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    Csv,
    JsonLines,
    Parquet,
}

impl Format {
    pub const ENDINGS: [&str; 3] = ["csv", "jsonl", "parquet"];

    pub fn of(path: &Path) -> Option<Format> {
        let ending = path.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "csv" => Some(Format::Csv),
            "jsonl" => Some(Format::JsonLines),
            "parquet" => Some(Format::Parquet),
            _ => None,
        }
    }
}

/// Reads a table by its file's ending. Columns other than photo, measure, side and value may be
/// missing.
pub fn read(path: &Path) -> Result<Vec<Score>, ScoresError> {
    let format = Format::of(path).ok_or(ScoresError::Ending)?;
    let file = File::open(path)?;
    match format {
        Format::Csv => csv::read(file),
        Format::JsonLines => jsonl::read(file),
        Format::Parquet => parquet::read(file),
    }
}

/// Writes a table row by row.
pub enum Writer<W: Write + Send> {
    Csv(csv::Writer<W>),
    JsonLines(jsonl::Writer<W>),
    Parquet(parquet::Writer<W>),
}

impl<W: Write + Send> Writer<W> {
    pub fn new(format: Format, to: W) -> Result<Writer<W>, ScoresError> {
        Ok(match format {
            Format::Csv => Writer::Csv(csv::Writer::new(to)?),
            Format::JsonLines => Writer::JsonLines(jsonl::Writer::new(to)),
            Format::Parquet => Writer::Parquet(parquet::Writer::new(to)?),
        })
    }

    pub fn write(&mut self, score: &Score) -> Result<(), ScoresError> {
        match self {
            Writer::Csv(writer) => writer.write(score),
            Writer::JsonLines(writer) => writer.write(score),
            Writer::Parquet(writer) => writer.write(score),
        }
    }

    /// Ends the table; without this it is not whole.
    pub fn finish(self) -> Result<W, ScoresError> {
        match self {
            Writer::Csv(writer) => writer.finish(),
            Writer::JsonLines(writer) => Ok(writer.finish()),
            Writer::Parquet(writer) => writer.finish(),
        }
    }
}

/// The whole table as CSV.
pub fn to_csv(scores: &[Score]) -> String {
    let write = || -> Result<String, ScoresError> {
        let mut writer = csv::Writer::new(Vec::new())?;
        for score in scores {
            writer.write(score)?;
        }
        Ok(String::from_utf8_lossy(&writer.finish()?).into_owned())
    };
    write().expect("writing to memory cannot fail")
}

/// A description of a CSV table's columns, as the standard "CSV on the Web" of the W3C has it: the
/// file of that name belongs beside `table`, a file name.
pub fn csv_description(table: &str) -> String {
    csv::description(table)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Side, Task, View};
    use crate::estimate::Estimate;
    use crate::measure::Measure;
    use crate::visit::{Notice, Unmeasured};

    fn photo(file: &str) -> PhotoRecord {
        PhotoRecord {
            file: file.to_owned(),
            sha256: None,
            size: Some((600, 800)),
            view: Some(View::Side(Side::Right)),
            task: Some(Task::Stand),
            landmarks: Default::default(),
            faces: Vec::new(),
            setup: None,
            notices: Vec::new(),
        }
    }

    fn table() -> Vec<Score> {
        let unseen = PhotoRecord {
            view: None,
            task: None,
            notices: vec![Notice::new("nobody found, or \"hidden\"")],
            ..photo("empty.jpg")
        };
        let reading = |measure, outcome| Reading {
            measure,
            side: Some(Side::Right),
            photo: "side.jpg".to_owned(),
            outcome,
        };
        rows(
            "p-01",
            &[photo("side.jpg"), unseen],
            &[
                reading(Measure::TrunkLean, Ok(Estimate::new(-0.00001, 1.6))),
                reading(
                    Measure::CraniovertebralAngle,
                    Err(Unmeasured::because("needs the C7")),
                ),
            ],
        )
    }

    #[test]
    fn csv_is_as_the_contract_says() {
        assert_eq!(
            to_csv(&table()),
            "photo,person,view,task,measure,side,value,sigma,unit,status,reason\r\n\
             empty.jpg,p-01,,,,,,,,unmeasured,\"nobody found, or \"\"hidden\"\"\"\r\n\
             side.jpg,p-01,side,stand,trunk_lean,right,0.0000,1.6000,deg,measured,\r\n\
             side.jpg,p-01,side,stand,craniovertebral_angle,right,,,deg,unmeasured,needs the C7\r\n"
        );
    }

    #[test]
    fn every_format_gives_back_what_was_written() {
        let folder = tempfile::tempdir().unwrap();
        for ending in Format::ENDINGS {
            let path = folder.path().join("scores").with_extension(ending);
            let format = Format::of(&path).unwrap();
            let mut writer = Writer::new(format, File::create(&path).unwrap()).unwrap();
            for score in table() {
                writer.write(&score).unwrap();
            }
            writer.finish().unwrap();
            assert_eq!(read(&path).unwrap(), table(), "{ending}");
        }
    }

    #[test]
    fn a_table_without_a_needed_column_is_refused_by_its_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scores.csv");
        std::fs::write(&path, "photo,side,value\na.jpg,,1\n").unwrap();
        assert_eq!(
            read(&path).unwrap_err().to_string(),
            "the table has no column measure"
        );
    }
}

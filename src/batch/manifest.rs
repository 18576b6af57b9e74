//! The table that says whom each photo shows.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use thiserror::Error;

use crate::body::{Operated, Task};
use crate::locate::{Wish, WishedView};
use crate::sheet::{Row, Sheet, SheetError};
use crate::visit::{BOARD_OFFSETS_CM, STATURES_CM, STICKERS_MM, VisitFacts};

/// What is known about one photo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Entry {
    pub facts: VisitFacts,
    pub wish: Wish,
}

/// The whole table.
#[derive(Clone, Debug, Default)]
pub struct Manifest {
    /// By photo: its path below the folder, with forward slashes.
    pub entries: BTreeMap<String, Entry>,
    /// Columns that mean nothing here; a misspelt one would silently leave out a stature.
    pub ignored: Vec<String>,
}

/// Columns of a manifest; all but the first may be missing.
pub const COLUMNS: [&str; 8] = [
    "photo",
    "person",
    "stature_cm",
    "operated_side",
    "view",
    "task",
    "board_offset_cm",
    "sticker_mm",
];

#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ManifestError {
    #[error(transparent)]
    Sheet(#[from] SheetError),
    #[error("the table has no column photo; its columns are {}", .0.join(", "))]
    NoPhoto(Vec<String>),
    #[error("line {line}: {column} is {got:?}, expected {expected}")]
    Field {
        line: u64,
        column: &'static str,
        got: String,
        expected: String,
    },
    #[error("lines {first} and {second} are for the same photo, {photo}")]
    Twice {
        first: u64,
        second: u64,
        photo: String,
    },
}

pub fn read(bytes: &[u8]) -> Result<Manifest, ManifestError> {
    let sheet = Sheet::read(bytes)?;
    if !sheet.has("photo") {
        return Err(ManifestError::NoPhoto(sheet.columns().to_vec()));
    }
    let unknown = |column: &&String| !COLUMNS.contains(&column.as_str());
    let mut manifest = Manifest {
        entries: BTreeMap::new(),
        ignored: sheet.columns().iter().filter(unknown).cloned().collect(),
    };
    let mut lines = BTreeMap::new();
    for row in sheet.rows() {
        let photo = plain_path(sheet.text(row, "photo"));
        if photo.is_empty() {
            return Err(wrong(row, "photo", "", "a file name"));
        }
        if let Some(first) = lines.insert(photo.clone(), row.line) {
            return Err(ManifestError::Twice {
                first,
                second: row.line,
                photo,
            });
        }
        manifest.entries.insert(photo, entry(&sheet, row)?);
    }
    Ok(manifest)
}

/// As the photos of a folder are named: forward slashes, no "./" before.
fn plain_path(path: &str) -> String {
    let path = path.replace('\\', "/");
    path.strip_prefix("./").unwrap_or(&path).to_owned()
}

fn entry(sheet: &Sheet, row: &Row) -> Result<Entry, ManifestError> {
    let field = |column| Some(sheet.text(row, column).trim()).filter(|text| !text.is_empty());
    let number = |column, range: &RangeInclusive<f64>, unit| match sheet.number(row, column)? {
        Some(number) if !range.contains(&number) => {
            let expected = format!("{} to {} {unit}", range.start(), range.end());
            Err(wrong(row, column, &number.to_string(), expected))
        }
        number => Ok(number),
    };
    let named = |column, expected, of: &dyn Fn(&str) -> bool| match field(column) {
        Some(text) if !of(&text.to_lowercase()) => Err(wrong(row, column, text, expected)),
        text => Ok(text.map(str::to_lowercase)),
    };
    let operated = named("operated_side", "left, right, both or none", &|text| {
        Operated::from_name(text).is_some()
    })?;
    let view = named(
        "view",
        "side, side-left, side-right, front or back",
        &|text| WishedView::from_name(text).is_some(),
    )?;
    let task = named("task", "stand or reach", &|text| {
        Task::from_name(text).is_some()
    })?;
    Ok(Entry {
        facts: VisitFacts {
            case: field("person").map(str::to_owned),
            stature_cm: number("stature_cm", &STATURES_CM, "cm")?,
            board_offset_cm: number("board_offset_cm", &BOARD_OFFSETS_CM, "cm")?,
            sticker_mm: number("sticker_mm", &STICKERS_MM, "mm")?,
            operated: operated.and_then(|name| Operated::from_name(&name)),
            ..VisitFacts::default()
        },
        wish: Wish {
            view: view.and_then(|name| WishedView::from_name(&name)),
            task: task.and_then(|name| Task::from_name(&name)),
        },
    })
}

fn wrong(row: &Row, column: &'static str, got: &str, expected: impl Into<String>) -> ManifestError {
    ManifestError::Field {
        line: row.line,
        column,
        got: got.to_owned(),
        expected: expected.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Side;

    #[test]
    fn every_column_is_read() {
        let manifest = read(
            b"photo,person,stature_cm,operated_side,view,task,board_offset_cm,sticker_mm\r\n\
              .\\p1\\side.jpg,p1,164.5,Right,side-left,stand,-5,12\r\n\
              p1/front.jpg,,,,,,,\r\n",
        )
        .unwrap();
        let entry = &manifest.entries["p1/side.jpg"];
        assert_eq!(entry.facts.case.as_deref(), Some("p1"));
        assert_eq!(entry.facts.stature_cm, Some(164.5));
        assert_eq!(entry.facts.operated, Some(Operated::One(Side::Right)));
        assert_eq!(entry.wish.view, Some(WishedView::Side(Some(Side::Left))));
        assert_eq!(entry.wish.task, Some(Task::Stand));
        assert_eq!(entry.facts.board_offset_cm, Some(-5.0));
        assert_eq!(entry.facts.sticker_mm, Some(12.0));
        assert_eq!(manifest.entries["p1/front.jpg"], Entry::default());
    }

    #[test]
    fn a_column_that_means_nothing_is_named() {
        let manifest = read(b"photo,stature,age\na.jpg,164,51\n").unwrap();
        assert_eq!(manifest.ignored, ["stature", "age"]);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        let error = |text: &str| read(text.as_bytes()).unwrap_err().to_string();
        assert_eq!(
            error("file\na.jpg\n"),
            "the table has no column photo; its columns are file"
        );
        assert_eq!(
            error("photo,stature_cm\na.jpg,1.64\n"),
            "line 2: stature_cm is \"1.64\", expected 80 to 230 cm"
        );
        assert_eq!(
            error("photo,sticker_mm\na.jpg,1.2\n"),
            "line 2: sticker_mm is \"1.2\", expected 8 to 20 mm"
        );
        assert_eq!(
            error("photo,view\na.jpg,top\n"),
            "line 2: view is \"top\", expected side, side-left, side-right, front or back"
        );
        assert_eq!(
            error("photo\na.jpg\n./a.jpg\n"),
            "lines 2 and 3 are for the same photo, a.jpg"
        );
    }
}

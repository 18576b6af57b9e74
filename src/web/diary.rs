//! The diary of the self-check: who the person is, as far as measuring needs it, and what each check
//! that was kept came to. Numbers, no photos.
//!
//! The file is read anew for each change, so that what another program wrote meanwhile is not lost.
//! One that can't be read is left as it is, and nothing is answered that its limit may forbid.

use std::io::ErrorKind;
use std::path::PathBuf;
use std::sync::Mutex;

use axum::http::StatusCode;
use serde::{Deserialize, Serialize};

use super::answer::Trouble;
use super::lock;
use crate::body::{Operated, Side};
use crate::measure::Measure;
use crate::record;
use crate::visit::{ARM_LIMITS_DEG, STATURES_CM, VisitFacts};

const SCHEMA: &str = "tragus-diary/1";

/// Where the diary lies.
pub struct Diary {
    path: PathBuf,
    /// One change at a time.
    turn: Mutex<()>,
}

/// What is in it.
#[derive(Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Pages {
    schema: String,
    pub person: Person,
    /// Oldest first.
    pub entries: Vec<Entry>,
}

/// What measuring needs to know of a person.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    pub stature_cm: Option<f64>,
    pub operated_side: Option<String>,
    pub arm_limit_deg: Option<f64>,
}

/// A check that was kept.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    pub id: String,
    /// Day and time as in 2026-05-04T10:12.
    pub date: String,
    pub arms: Vec<ArmEntry>,
    /// The limit that was set then and the side it was set for; older entries don't say.
    #[serde(default)]
    pub limit_deg: Option<f64>,
    #[serde(default)]
    pub operated_side: Option<String>,
    pub note: String,
}

#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct ArmEntry {
    pub side: String,
    #[serde(flatten)]
    pub elevation: Value,
    pub to_ear: Option<Value>,
    pub against_limit: Option<String>,
}

/// A measure with its number.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub struct Value {
    pub measure: String,
    pub value: f64,
    pub sigma: f64,
    pub unit: String,
}

impl Default for Pages {
    fn default() -> Self {
        Pages {
            schema: SCHEMA.to_owned(),
            person: Person::default(),
            entries: Vec::new(),
        }
    }
}

impl Pages {
    /// The last check that has this measure of this arm.
    pub fn last(&self, side: Side, measure: Measure) -> Option<(&Entry, &ArmEntry)> {
        self.entries.iter().rev().find_map(|entry| {
            let arm = entry
                .arms
                .iter()
                .find(|arm| arm.side == side.name() && arm.elevation.measure == measure.id())?;
            Some((entry, arm))
        })
    }
}

impl Person {
    /// The facts for a visit, if they are what they should be.
    pub fn facts(&self) -> Result<VisitFacts, Trouble> {
        if let Some(cm) = self.stature_cm.filter(|cm| !STATURES_CM.contains(cm)) {
            return Err(Trouble::unusable(
                format!("{cm} cm can't be the height of a person."),
                format!(
                    "Give it in centimetres, between {} and {}.",
                    STATURES_CM.start(),
                    STATURES_CM.end()
                ),
            ));
        }
        if let Some(limit) = self
            .arm_limit_deg
            .filter(|limit| !ARM_LIMITS_DEG.contains(limit))
        {
            return Err(Trouble::unusable(
                format!("{limit}° can't be a limit for an arm."),
                format!(
                    "Give it in degrees, between {} and {}: 90 is shoulder height.",
                    ARM_LIMITS_DEG.start(),
                    ARM_LIMITS_DEG.end()
                ),
            ));
        }
        let operated = self.operated_side.as_deref();
        let operated = operated.map(|name| {
            Operated::from_name(name).ok_or_else(|| {
                Trouble::unusable(
                    format!("{name:?} is no side of a surgery."),
                    "Choose left, right, both or none.",
                )
            })
        });
        Ok(VisitFacts {
            stature_cm: self.stature_cm,
            operated: operated.transpose()?,
            arm_limit_deg: self.arm_limit_deg,
            ..VisitFacts::default()
        })
    }
}

impl Diary {
    pub fn at(path: PathBuf) -> Diary {
        Diary {
            path,
            turn: Mutex::new(()),
        }
    }

    /// Where it lies, for whoever wants to keep or delete it.
    pub fn place(&self) -> String {
        self.path.display().to_string()
    }

    /// What is in it; empty pages where there is no such file so far.
    pub fn read(&self) -> Result<Pages, Trouble> {
        let text = match std::fs::read_to_string(&self.path) {
            Ok(text) => text,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Pages::default()),
            Err(error) => return Err(self.unreadable(&error.to_string())),
        };
        let pages: Pages =
            serde_json::from_str(&text).map_err(|error| self.unreadable(&error.to_string()))?;
        if pages.schema != SCHEMA {
            return Err(self.unreadable(&format!(
                "its schema is {:?}, expected {SCHEMA:?}",
                pages.schema
            )));
        }
        pages
            .person
            .facts()
            .map_err(|trouble| self.unreadable(trouble.error()))?;
        Ok(pages)
    }

    /// Changes it on the disk: wholly, or not at all.
    pub fn change(
        &self,
        change: impl FnOnce(&mut Pages) -> Result<(), Trouble>,
    ) -> Result<Pages, Trouble> {
        let _turn = lock(&self.turn);
        let mut pages = self.read()?;
        change(&mut pages)?;
        let mut text = serde_json::to_string_pretty(&pages).map_err(Trouble::fault)?;
        text.push('\n');
        self.write(&text).map_err(|error| {
            Trouble::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                format!("The diary could not be written: {error}."),
                format!(
                    "Is there room on the disk, and is it yours? {}",
                    self.place()
                ),
            )
        })?;
        Ok(pages)
    }

    fn write(&self, text: &str) -> std::io::Result<()> {
        if let Some(folder) = self.path.parent() {
            std::fs::create_dir_all(folder)?;
        }
        record::write_privately(&self.path, text.as_bytes())
    }

    fn unreadable(&self, why: &str) -> Trouble {
        Trouble::conflict(
            format!(
                "The diary could not be read, and with it the limit that may be set in it: {why}. \
                 It was left as it is."
            ),
            format!(
                "Move the file away, or start tragus with another diary: {}",
                self.place()
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(id: &str, side: &str, value: f64) -> Entry {
        Entry {
            id: id.to_owned(),
            date: "2026-05-04T10:12".to_owned(),
            arms: vec![ArmEntry {
                side: side.to_owned(),
                elevation: Value {
                    measure: "shoulder_flexion".to_owned(),
                    value,
                    sigma: 1.5,
                    unit: "deg".to_owned(),
                },
                to_ear: None,
                against_limit: None,
            }],
            limit_deg: Some(90.0),
            operated_side: Some(side.to_owned()),
            note: String::new(),
        }
    }

    #[test]
    fn what_was_kept_is_read_back_and_the_last_of_an_arm_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let diary = Diary::at(folder.path().join("new/diary.json"));
        assert_eq!(diary.read().unwrap(), Pages::default());
        for (id, side, value) in [
            ("a", "left", 80.0),
            ("b", "right", 90.0),
            ("c", "left", 85.0),
        ] {
            diary
                .change(|pages| {
                    pages.entries.push(entry(id, side, value));
                    Ok(())
                })
                .unwrap();
        }
        let pages = Diary::at(folder.path().join("new/diary.json"))
            .read()
            .unwrap();
        let last = |side| {
            pages
                .last(side, Measure::ShoulderFlexion)
                .unwrap()
                .0
                .id
                .clone()
        };
        assert_eq!(
            (last(Side::Left), last(Side::Right)),
            ("c".to_owned(), "b".to_owned())
        );
        assert!(pages.last(Side::Left, Measure::ShoulderAbduction).is_none());
    }

    #[test]
    fn an_entry_from_before_limits_were_kept_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("diary.json");
        let old = r#"{"schema":"tragus-diary/1","person":{"stature_cm":164.0,"operated_side":"right",
            "arm_limit_deg":90.0},"entries":[{"id":"a","date":"2026-05-04T10:12","arms":[{"side":
            "right","measure":"shoulder_flexion","value":80.0,"sigma":2.0,"unit":"deg","to_ear":null,
            "against_limit":"below"}],"note":""}]}"#;
        std::fs::write(&path, old).unwrap();
        let entry = Diary::at(path).read().unwrap().entries.remove(0);
        // Today's limit is not taken for that of then.
        assert_eq!((entry.limit_deg, entry.operated_side), (None, None));
        assert_eq!(entry.arms[0].elevation.value, 80.0);
    }

    #[test]
    fn a_diary_that_cant_be_read_is_never_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("diary.json");
        for bad in [
            "{\"schema\": \"tragus-di",
            "",
            r#"{"schema":"tragus-diary/9","person":{},"entries":[]}"#,
            r#"{"schema":"tragus-diary/1","person":{"arm_limit_deg":999},"entries":[]}"#,
            r#"{"schema":"tragus-diary/1","person":{},"entries":[],"more":1}"#,
        ] {
            std::fs::write(&path, bad).unwrap();
            let diary = Diary::at(path.clone());
            let trouble = diary.change(|_| Ok(())).unwrap_err();
            assert!(trouble.error().contains("could not be read"), "{bad}");
            assert_eq!(std::fs::read_to_string(&path).unwrap(), bad);
        }
    }

    #[cfg(unix)]
    #[test]
    fn the_diary_is_for_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("diary.json");
        Diary::at(path.clone()).change(|_| Ok(())).unwrap();
        let mode = std::fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0);
    }
}

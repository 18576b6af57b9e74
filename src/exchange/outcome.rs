//! What a visit says of each measure, however often it was photographed, and what that goes by in
//! the files of others.

use std::collections::BTreeSet;

use super::identity::uuid;
use crate::body::{Side, Task, View};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::repeats;
use crate::visit::{PhotoRecord, Reading, Visit};

pub const CONCLUSION: &str = "Measured from photos by a program, and confirmed by no clinician. Not a \
    diagnosis: the surgeon's and the therapist's limits come first.";

/// What one visit says of a measure on a side, as one view shows it.
pub struct Outcome {
    pub measure: Measure,
    pub side: Option<Side>,
    /// Empty where several photos or none gave it.
    pub view: &'static str,
    pub value: Result<Estimate, String>,
}

/// What the visit gives for each measure and side: a value for each view that shows it, repeats
/// joined, or one reason why there is none.
pub fn outcomes(visit: &Visit) -> Vec<Outcome> {
    const VIEWS: [&str; 4] = ["side", "front", "back", ""];
    let read: BTreeSet<(Measure, Option<Side>)> = visit
        .readings
        .iter()
        .map(|reading| (reading.measure, reading.side))
        .collect();
    let mut outcomes = Vec::new();
    for (measure, side) in read {
        let of = |view| repeats::reading(visit, measure, side, view);
        let shown = VIEWS.into_iter().filter_map(|view| {
            let value = Ok(of(view).ok()?);
            Some(Outcome {
                measure,
                side,
                view,
                value,
            })
        });
        let before = outcomes.len();
        outcomes.extend(shown);
        if outcomes.len() == before {
            outcomes.push(Outcome {
                measure,
                side,
                view: "",
                value: of(""),
            });
        }
    }
    outcomes
}

impl Outcome {
    /// The photos that it came from, or that should have shown it.
    pub fn photos<'a>(&self, visit: &'a Visit) -> Vec<&'a PhotoRecord> {
        let readings: Vec<&Reading> = visit
            .readings_of(self.measure, self.side)
            .filter(|reading| reading.outcome.is_ok() == self.value.is_ok())
            .collect();
        let shows = |photo: &&PhotoRecord| {
            let seen = photo.view.map_or("", View::name);
            let fits = self.view.is_empty() || self.view == seen;
            // What is read from two photos names both.
            let of = |reading: &&Reading| reading.photo.split(" + ").any(|file| file == photo.file);
            fits && readings.iter().any(of)
        };
        visit.photos.iter().filter(shows).collect()
    }

    /// What was remarked about these photos, each once.
    pub fn remarks<'a>(&self, visit: &'a Visit) -> Vec<&'a str> {
        let photos = self.photos(visit);
        let mut told = BTreeSet::new();
        let remarks = photos.iter().flat_map(|photo| &photo.notices);
        remarks
            .map(|notice| notice.text.as_str())
            .filter(|text| told.insert(*text))
            .collect()
    }
}

/// How a measure is taken, as one view shows it.
pub fn method(measure: Measure, view: &str) -> String {
    let reach = measure.of().is_some()
        || [View::Side(Side::Left), View::Front]
            .into_iter()
            .any(|view| measure.applies(view, Task::Reach));
    let pose = match reach {
        true => "an active overhead reach, standing",
        false => "relaxed standing",
    };
    let seen = match view {
        "" => String::new(),
        "side" => ", seen from the side".to_owned(),
        other => format!(", seen from the {other}"),
    };
    format!("landmarks in photos of {pose}{seen}; tilt and distance of the camera corrected")
}

pub fn case_code(visit: &Visit) -> Option<&str> {
    let code = visit.facts.case.as_deref()?.trim();
    (!code.is_empty()).then_some(code)
}

/// What tells a visit from others: whose it is, its day and name, and its photos.
pub fn key(visit: &Visit) -> String {
    let date = visit.facts.date.map(|date| date.to_string());
    let photos: Vec<&str> = visit
        .photos
        .iter()
        .map(|photo| photo.sha256.as_deref().unwrap_or(&photo.file))
        .collect();
    uuid(&[
        case_code(visit).unwrap_or_default(),
        &date.unwrap_or_default(),
        visit.facts.label.as_deref().unwrap_or_default(),
        &photos.join("\n"),
    ])
}

pub fn side_name(side: Option<Side>) -> &'static str {
    side.map_or("", Side::name)
}

/// File names may hold characters that the formats forbid in texts.
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\t' => c,
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect()
}

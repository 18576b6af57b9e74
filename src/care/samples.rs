//! Visits for tests, with the readings that a test is about.

use crate::body::{Operated, Side, Task, View};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::visit::{PhotoRecord, Reading, Unmeasured, Visit, VisitFacts};

pub const LEFT: Option<Side> = Some(Side::Left);
pub const RIGHT: Option<Side> = Some(Side::Right);

/// The day of surgery of every sample.
pub const SURGERY: &str = "2026-03-01";

/// A visit so many days after the surgery, of someone operated on the right side.
pub fn visit(day: i32, readings: &[(Measure, Option<Side>, f64, f64)]) -> Visit {
    let surgery: jiff::civil::Date = SURGERY.parse().expect("a date");
    let date = surgery + jiff::Span::new().days(day);
    let files = (0..readings.len()).map(|index| format!("{index}.jpg"));
    Visit {
        facts: VisitFacts {
            date: Some(date),
            operated: Some(Operated::One(Side::Right)),
            ..VisitFacts::default()
        },
        photos: files
            .clone()
            .zip(readings)
            .map(|(file, (measure, side, _, _))| photo(file, view(*measure, *side)))
            .collect(),
        readings: files
            .zip(readings)
            .map(|(photo, (measure, side, value, sigma))| Reading {
                measure: *measure,
                side: *side,
                photo,
                outcome: Ok(Estimate::new(*value, *sigma)),
            })
            .collect(),
        notices: Vec::new(),
    }
}

/// A visit with flexion and abduction of the right arm.
pub fn right_arm(day: i32, flexion: f64, abduction: f64, sigma: f64) -> Visit {
    visit(
        day,
        &[
            (Measure::ShoulderFlexion, RIGHT, flexion, sigma),
            (Measure::ShoulderAbduction, RIGHT, abduction, sigma),
        ],
    )
}

/// The same visit with one measure that could not be read.
pub fn unmeasured(mut visit: Visit, measure: Measure) -> Visit {
    let of_measure = |reading: &&mut Reading| reading.measure == measure;
    for reading in visit.readings.iter_mut().filter(of_measure) {
        reading.outcome = Err(Unmeasured::because("the elbow is hidden"));
    }
    visit
}

fn view(measure: Measure, side: Option<Side>) -> Option<View> {
    let near = side.map(View::Side)?;
    let seen = |view| [Task::Stand, Task::Reach].map(|task| measure.applies(view, task));
    Some(if seen(near).contains(&true) {
        near
    } else {
        View::Front
    })
}

fn photo(file: String, view: Option<View>) -> PhotoRecord {
    PhotoRecord {
        file,
        sha256: None,
        size: None,
        view,
        task: None,
        landmarks: Default::default(),
        faces: Vec::new(),
        setup: None,
        notices: Vec::new(),
    }
}

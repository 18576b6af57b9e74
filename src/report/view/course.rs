//! How high the arms went, visit by visit.

use crate::compare::{Comparison, Row};
use crate::measure::Measure;
use crate::report::number;
use crate::visit::Visit;

use super::facts::is_operated;
use super::limit::{Reached, reached};
use super::names::side_words;
use super::{Mark, VisitName};

/// The heights that the arms of a case reached.
#[derive(Clone, Debug)]
pub struct CourseView {
    pub arms: Vec<ArmView>,
    pub visits: Vec<CourseVisit>,
}

/// A movement of one arm.
#[derive(Clone, Debug)]
pub struct ArmView {
    pub name: &'static str,
    /// "left" or "right".
    pub side: &'static str,
    pub operated: bool,
}

#[derive(Clone, Debug)]
pub struct CourseVisit {
    pub name: VisitName,
    /// The limit of that day, in words.
    pub limit: String,
    /// One for each arm.
    pub reaches: Vec<ReachView>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReachView {
    pub mark: Option<Mark>,
    pub words: String,
    pub note: Option<&'static str>,
}

/// Visits oldest first, and what comparing them gave.
pub fn course(visits: &[Visit], comparison: &Comparison) -> CourseView {
    let raised = [Measure::ShoulderFlexion, Measure::ShoulderAbduction];
    let rows: Vec<&Row> = raised
        .into_iter()
        .flat_map(|measure| {
            comparison
                .rows
                .iter()
                .filter(move |row| row.measure == measure)
        })
        .filter(|row| row.side.is_some() && row.course.iter().any(Result::is_ok))
        .collect();
    CourseView {
        arms: rows
            .iter()
            .map(|row| ArmView {
                name: row.measure.words(),
                side: side_words(row.side),
                operated: is_operated(visits, row.side),
            })
            .collect(),
        visits: visits
            .iter()
            .zip(VisitName::all(visits))
            .enumerate()
            .map(|(index, (visit, name))| CourseVisit {
                name,
                limit: visit
                    .facts
                    .arm_limit_deg
                    .map_or_else(|| "none".to_owned(), |limit| format!("{limit}°")),
                reaches: rows.iter().map(|row| reach(visit, row, index)).collect(),
            })
            .collect(),
    }
}

fn reach(visit: &Visit, row: &Row, index: usize) -> ReachView {
    let Ok(value) = &row.course[index] else {
        return ReachView {
            words: "–".to_owned(),
            ..ReachView::default()
        };
    };
    let fell = row.setback.is_some_and(|(_, to)| to == index);
    let (mark, note) = match reached(visit, row) {
        Some(Reached::Past) => (Some(Mark::Caution), Some("past the limit, or may be")),
        Some(Reached::Maybe) => (Some(Mark::Caution), Some("may be at the limit")),
        None if fell => (Some(Mark::Worse), Some("fell beyond error")),
        None => (None, None),
    };
    ReachView {
        mark,
        words: number::with_error(*value, row.measure.unit()),
        note,
    }
}

//! The readings of an arm across visits, and the words for them.

use jiff::civil::Date;

use super::Aim;
use crate::body::{Operated, Side};
use crate::compare::mdc95;
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::repeats;
use crate::visit::Visit;

/// A movement of the shoulder that visits measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Movement {
    Flexion,
    Abduction,
}

impl Movement {
    pub const BOTH: [Movement; 2] = [Movement::Flexion, Movement::Abduction];

    pub const fn measure(self) -> Measure {
        match self {
            Movement::Flexion => Measure::ShoulderFlexion,
            Movement::Abduction => Measure::ShoulderAbduction,
        }
    }

    pub const fn aim(self) -> Aim {
        match self {
            Movement::Flexion => Aim::Flexion,
            Movement::Abduction => Aim::Abduction,
        }
    }

    /// "right shoulder flexion"
    pub(super) fn of(self, side: Side) -> String {
        format!("{side} {}", self.measure().words().to_lowercase())
    }
}

/// One entry per visit, in order: the value, or why there is none.
pub(super) fn course(
    visits: &[Visit],
    measure: Measure,
    side: Option<Side>,
) -> Vec<Result<Estimate, String>> {
    let view = repeats::common_view(visits, measure, side);
    let reading = |visit| repeats::reading(visit, measure, side, view);
    visits.iter().map(reading).collect()
}

/// The visits from the surgery on; all of them where its date is not known. A visit without a date
/// counts by its place among the others.
pub(super) fn after_surgery(visits: &[Visit], surgery: Option<Date>) -> &[Visit] {
    let before = |visit: &Visit| visit.facts.date < surgery && visit.facts.date.is_some();
    let first = visits.iter().rposition(before).map_or(0, |last| last + 1);
    &visits[first..]
}

/// What the latest visit says of the operated side that says anything.
pub(super) fn operated(visits: &[Visit]) -> Option<Operated> {
    visits.iter().rev().find_map(|visit| visit.facts.operated)
}

/// The arms that count as operated: both where nobody said.
pub(super) fn operated_arms(operated: Option<Operated>) -> Vec<Side> {
    let counts = |side: &Side| operated.is_none_or(|operated| operated.includes(*side));
    Side::BOTH.into_iter().filter(counts).collect()
}

/// Whether a reading is smaller than one before it, beyond what their errors explain.
pub(super) fn fell(before: Estimate, last: Estimate) -> bool {
    before.value - last.value > mdc95(before.sigma, last.sigma)
}

/// "118 ± 6°", with one standard error, as in reports.
pub(super) fn number(measure: Measure, reading: Estimate) -> String {
    let decimals = usize::from(reading.sigma < 3.0);
    format!(
        "{:.decimals$} ± {:.decimals$}{}",
        reading.value,
        reading.sigma,
        measure.unit().suffix()
    )
    .replace('-', "−")
}

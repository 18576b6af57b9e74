//! How to go on since the visit before: forward, stay, or back.
//!
//! A reach that fell beyond MDC95 steps back. One that gained beyond it goes forward, and so does one
//! that is above what daily tasks need beyond error. Anything else stays, an unclear reading too.

use jiff::civil::Date;

use super::course::{after_surgery, course, number, operated, operated_arms};
use super::goals::functional_need;
use super::{Findings, Movement, Pace, Signal, SignalKind};
use crate::compare::{Z95, mdc95};
use crate::estimate::Estimate;
use crate::visit::Visit;

/// The pace since the visit before, and why. Visits oldest first.
pub fn pace(
    visits: &[Visit],
    surgery: Option<Date>,
    signals: &[Signal],
    findings: &Findings,
) -> (Pace, String) {
    if let Some(hold) = findings.holds.first() {
        return (Pace::Stay, format!("A hold stands: {}", hold.words));
    }
    let arms = operated_arms(operated(visits));
    let of_operated = |signal: &&Signal| signal.side.is_none_or(|side| arms.contains(&side));
    let raised = |kinds: &[SignalKind]| {
        let signals = signals.iter().filter(of_operated);
        signals.clone().find(|signal| kinds.contains(&signal.kind))
    };
    let step_back = [
        SignalKind::AboveLimit,
        SignalKind::ReachFell,
        SignalKind::Cords,
    ];
    if let Some(signal) = raised(&step_back) {
        return (Pace::Back, format!("Step back: {}.", signal.words));
    }
    let after = after_surgery(visits, surgery);
    if after.len() < 2 {
        return (
            Pace::Begin,
            "There is no earlier visit since the surgery to hold this one against.".to_owned(),
        );
    }
    if let Some(signal) = raised(&[SignalKind::NewAsymmetry, SignalKind::SlowGain]) {
        return (Pace::Stay, format!("Ask first: {}.", signal.words));
    }
    let mut last_readings = Vec::new();
    for side in arms {
        for movement in Movement::BOTH {
            let mut readings = course(after, movement.measure(), Some(side));
            let Some(Ok(last)) = readings.pop() else {
                continue;
            };
            last_readings.push((movement, last));
            let Some(before) = readings.into_iter().rev().find_map(Result::ok) else {
                continue;
            };
            let gain = last.value - before.value;
            let error = mdc95(before.sigma, last.sigma);
            if gain > error {
                let why = format!(
                    "{} {}, {gain:.0}° more than before and beyond the error of {error:.0}°.",
                    movement.of(side),
                    number(movement.measure(), last)
                );
                return (Pace::Forward, why);
            }
        }
    }
    if last_readings.is_empty() {
        return (Pace::Stay, "The last visit measured no reach.".to_owned());
    }
    if last_readings
        .iter()
        .all(|&(movement, last)| above_need(movement, last))
    {
        return (
            Pace::Forward,
            "Every reach is above what daily tasks need, beyond error, and none fell.".to_owned(),
        );
    }
    (
        Pace::Stay,
        "No change beyond error since the visit before.".to_owned(),
    )
}

fn above_need(movement: Movement, last: Estimate) -> bool {
    last.value - Z95 * last.sigma > functional_need(movement).0
}

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Operated, Side};
    use crate::care::samples::{SURGERY, right_arm, unmeasured};
    use crate::care::{Finding, Known, signals};
    use crate::measure::Measure;

    fn of(visits: &[Visit], findings: &Findings) -> (Pace, String) {
        let surgery = Some(SURGERY.parse().expect("a date"));
        let signals = signals(visits, surgery, findings);
        pace(visits, surgery, &signals, findings)
    }

    /// Right arms with σ 3, where MDC95 is 1.96·√18 = 8.32: day, flexion, abduction.
    fn after(course: &[(i32, f64, f64)]) -> (Pace, String) {
        let visits: Vec<Visit> = course
            .iter()
            .map(|(day, flexion, abduction)| right_arm(*day, *flexion, *abduction, 3.0))
            .collect();
        of(&visits, &Findings::default())
    }

    #[test]
    fn the_first_visit_since_the_surgery_begins() {
        assert_eq!(after(&[]).0, Pace::Begin);
        assert_eq!(after(&[(12, 100.0, 90.0)]).0, Pace::Begin);
        assert_eq!(
            after(&[(-5, 160.0, 160.0), (12, 100.0, 90.0)]).0,
            Pace::Begin
        );
    }

    #[test]
    fn only_a_gain_beyond_the_mdc_goes_forward() {
        let (pace, why) = after(&[(12, 100.0, 90.0), (26, 108.4, 90.0)]);
        assert_eq!(pace, Pace::Forward);
        assert_eq!(
            why,
            "right shoulder flexion 108 ± 3°, 8° more than before and beyond the error of 8°."
        );
        assert_eq!(
            after(&[(12, 100.0, 90.0), (26, 100.0, 98.4)]).0,
            Pace::Forward
        );
        assert_eq!(after(&[(12, 100.0, 90.0), (26, 108.3, 98.3)]).0, Pace::Stay);
    }

    #[test]
    fn a_fall_beyond_the_mdc_steps_back_whatever_was_gained() {
        assert_eq!(
            after(&[(12, 110.0, 90.0), (26, 101.6, 110.0)]).0,
            Pace::Back
        );
        assert_eq!(
            after(&[(12, 110.0, 90.0), (26, 101.7, 110.0)]).0,
            Pace::Forward
        );
        let (pace, why) = after(&[(12, 110.0, 120.0), (26, 110.0, 111.6)]);
        assert_eq!(pace, Pace::Back);
        assert!(why.starts_with("Step back: right shoulder abduction 112 ± 3°, was 120"));
    }

    #[test]
    fn an_arm_above_what_daily_tasks_need_goes_forward() {
        // Namdari 2012 (read): 121° and 128°, and 1.96·3 = 5.88.
        assert_eq!(
            after(&[(40, 127.0, 134.0), (60, 127.0, 134.0)]).0,
            Pace::Forward
        );
        assert_eq!(
            after(&[(40, 126.8, 134.0), (60, 126.8, 134.0)]).0,
            Pace::Stay
        );
        assert_eq!(
            after(&[(40, 127.0, 133.8), (60, 127.0, 133.8)]).0,
            Pace::Stay
        );
    }

    #[test]
    fn a_slow_gain_is_asked_about_before_the_next_step() {
        // Abduction gained, flexion is far from what daily tasks need after three months.
        let (pace, why) = after(&[(70, 100.0, 120.0), (95, 100.0, 140.0)]);
        assert_eq!(pace, Pace::Stay);
        assert!(
            why.starts_with("Ask first: right shoulder flexion 100"),
            "{why}"
        );
    }

    #[test]
    fn a_hold_stops_everything_and_no_reading_moves_nothing() {
        let gained = [
            right_arm(12, 100.0, 90.0, 3.0),
            right_arm(26, 130.0, 90.0, 3.0),
        ];
        let hold = Findings {
            holds: vec![Finding {
                rule: "fever".to_owned(),
                words: "Fever.".to_owned(),
                at_home: None,
                source: "s".to_owned(),
                known: Known::Memory,
            }],
            ..Findings::default()
        };
        assert_eq!(of(&gained, &hold).0, Pace::Stay);
        assert_eq!(of(&gained, &Findings::default()).0, Pace::Forward);
        let unread = gained.clone().map(|visit| {
            unmeasured(
                unmeasured(visit, Measure::ShoulderFlexion),
                Measure::ShoulderAbduction,
            )
        });
        assert_eq!(of(&unread, &Findings::default()).0, Pace::Stay);
        // A gain of the arm that was not operated is none.
        let other = gained.map(|mut visit| {
            visit.facts.operated = Some(Operated::One(Side::Left));
            visit
        });
        assert_eq!(of(&other, &Findings::default()).0, Pace::Stay);
    }

    #[test]
    fn an_arm_above_its_limit_steps_back_at_the_first_visit_already() {
        let mut visit = right_arm(12, 100.0, 80.0, 3.0);
        visit.facts.arm_limit_deg = Some(90.0);
        assert_eq!(of(&[visit], &Findings::default()).0, Pace::Back);
    }
}

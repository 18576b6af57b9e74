//! What the visits give reason to ask about. A signal is a question, never a diagnosis.

use jiff::civil::Date;

use super::course::{after_surgery, course, fell, number, operated, operated_arms};
use super::goals::functional_need;
use super::{Findings, Known, Limit, LimitBy, Movement, days_from};
use crate::body::Side;
use crate::compare::{AgainstLimit, Z95, mdc95};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::visit::Visit;

#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    pub kind: SignalKind,
    pub side: Option<Side>,
    /// What was measured.
    pub words: String,
    /// What to ask and look at.
    pub ask: &'static str,
    pub source: &'static str,
    pub known: Known,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignalKind {
    /// The arm went above the limit that holds today.
    AboveLimit,
    /// An arm reaches less than at the visit before, or than at its best.
    ReachFell,
    /// Abduction fell and flexion did not, as with cords.
    Cords,
    NewAsymmetry,
    /// Less gain than usual by that day.
    SlowGain,
}

impl SignalKind {
    pub const fn id(self) -> &'static str {
        match self {
            SignalKind::AboveLimit => "above_limit",
            SignalKind::ReachFell => "reach_fell",
            SignalKind::Cords => "cords",
            SignalKind::NewAsymmetry => "new_asymmetry",
            SignalKind::SlowGain => "slow_gain",
        }
    }

    fn signal(self, side: Option<Side>, words: String) -> Signal {
        let (ask, source, known) = match self {
            SignalKind::AboveLimit => (
                "Was the limit explained? Ask for pain, swelling and the wound, and show how \
                 high the arm may go.",
                "The limit in force",
                Known::CommonPractice,
            ),
            SignalKind::ReachFell => (
                "Ask for pain, fever, swelling, a fall, radiotherapy since then. Look at wound, cords, \
                 and whether the shoulder blade stands off. Were \
                 camera and place the same, and what made reaching hard that day?",
                "Winged scapula in three cohorts: 8.0 % at day 15, 10.9 % before radiotherapy, 27.2 % \
                 within 24 h",
                Known::Read,
            ),
            SignalKind::Cords => (
                "Look and feel for cords in axilla, arm and chest wall, the arm raised sideways. Most \
                 begin two to eight weeks after the surgery, and they may come back.",
                "Koehler 2018, Breast Cancer Targets Ther 11:13–19, and Phys Ther 2015, 2018; Yeung 2015",
                Known::Read,
            ),
            SignalKind::NewAsymmetry => (
                "Ask for pain, guarding and swelling on the operated side, and what has changed in \
                 daily life. Healthy people are not level either.",
                "Ferreira 2011, J Manipulative Physiol Ther 34:371–80; Głowacka-Mrotek 2021, J Clin \
                 Med 10:1432",
                Known::Read,
            ),
            SignalKind::SlowGain => (
                "What made exercising hard: pain, fear, tiredness, cords, time? Full use is \
                 expected by three to four weeks, and most regain their reach by three months with \
                 physiotherapy. Does the surgeon or a specialist have to see the shoulder?",
                "ACS (three to four weeks); PMC2940708 (three months)",
                Known::Read,
            ),
        };
        Signal {
            kind: self,
            side,
            words,
            ask,
            source,
            known,
        }
    }
}

/// From this day on an arm in full use is expected (ACS: three to four weeks; the later is taken).
const USE_EXPECTED_FROM_DAY: i32 = 28;
/// By this day most have regained their reach (three months, PMC2940708).
const REGAINED_BY_DAY: i32 = 92;
/// Visits nearer to each other than this show no gain to speak of; our own choice.
const GAIN_TAKES_DAYS: i32 = 14;

/// What the last visit gives reason to ask about. Visits oldest first; those before the surgery are no
/// measure for what came after it.
pub fn signals(visits: &[Visit], surgery: Option<Date>, findings: &Findings) -> Vec<Signal> {
    let after = after_surgery(visits, surgery);
    let Some(last) = after.last() else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let operated_arms = operated_arms(operated(visits));
    for side in Side::BOTH {
        let arm = Arm {
            visits: after,
            side,
            limit: limit_of(last, side, operated_arms.contains(&side), findings),
        };
        found.extend(arm.above_limit());
        for movement in Movement::BOTH {
            found.extend(arm.fall(movement).map(|fall| {
                let words = arm.fallen(movement, &fall);
                SignalKind::ReachFell.signal(Some(side), words)
            }));
        }
        found.extend(arm.cords());
        if operated_arms.contains(&side) {
            found.extend(arm.slow_gain(surgery));
        }
    }
    found.extend(new_asymmetries(after));
    found
}

/// The lower of the limit that was told at the visit and the one that holds today, unless that one was
/// set after the visit: nobody could have kept it.
fn limit_of(visit: &Visit, side: Side, operated: bool, findings: &Findings) -> Option<f64> {
    let held = |limit: &&Limit| match (&limit.by, visit.facts.date) {
        (LimitBy::Set { on: Some(on) }, Some(date)) => *on <= date,
        _ => true,
    };
    let today = findings.arm_deg.as_ref().filter(|_| operated).filter(held);
    let limits = [visit.facts.arm_limit(side), today.map(|limit| limit.value)];
    limits.into_iter().flatten().reduce(f64::min)
}

/// One arm across the visits since the surgery.
struct Arm<'a> {
    visits: &'a [Visit],
    side: Side,
    limit: Option<f64>,
}

/// A reading that fell from an earlier one beyond their errors.
struct Fall {
    from: usize,
    before: Estimate,
    last: Estimate,
}

impl Arm<'_> {
    fn course(&self, movement: Movement) -> Vec<Option<Estimate>> {
        let course = course(self.visits, movement.measure(), Some(self.side));
        course.into_iter().map(Result::ok).collect()
    }

    fn title(&self, index: usize) -> String {
        self.visits[index].title(index + 1)
    }

    /// The last reading, and the one before it with the place of its visit.
    fn last_two(&self, movement: Movement) -> Option<(usize, Estimate, Estimate)> {
        let mut course = self.course(movement);
        let last = course.pop()??;
        let from = course.iter().rposition(Option::is_some)?;
        Some((from, course[from]?, last))
    }

    fn above_limit(&self) -> Option<Signal> {
        let limit = self.limit?;
        Movement::BOTH.into_iter().find_map(|movement| {
            let last = self.course(movement).pop()??;
            let against = AgainstLimit::of(last, limit);
            let above = match against {
                AgainstLimit::Above => "above",
                AgainstLimit::MayBeAbove => "may be above",
                AgainstLimit::Below | AgainstLimit::MayBeAt => return None,
            };
            let words = format!(
                "{} {}, {above} the limit of {limit:.0}°",
                movement.of(self.side),
                number(movement.measure(), last)
            );
            Some(SignalKind::AboveLimit.signal(Some(self.side), words))
        })
    }

    /// Since the visit before, else since the best before.
    fn fall(&self, movement: Movement) -> Option<Fall> {
        let (before, _, last) = self.last_two(movement)?;
        let course = self.course(movement);
        let earlier = course.iter().enumerate().take(before + 1);
        let read = earlier.filter_map(|(index, reading)| reading.map(|reading| (index, reading)));
        let best = read
            .max_by(|(_, a), (_, b)| a.value.total_cmp(&b.value))
            .map(|(index, _)| index)?;
        [before, best].into_iter().find_map(|from| {
            let before = course[from]?;
            fell(before, last).then_some(Fall { from, before, last })
        })
    }

    fn fallen(&self, movement: Movement, fall: &Fall) -> String {
        format!(
            "{} {}, was {} ({})",
            movement.of(self.side),
            number(movement.measure(), fall.last),
            number(movement.measure(), fall.before),
            self.title(fall.from)
        )
    }

    fn cords(&self) -> Option<Signal> {
        let fall = self.fall(Movement::Abduction)?;
        let flexion = self.course(Movement::Flexion);
        let (before, last) = (flexion[fall.from]?, (*flexion.last()?)?);
        (!fell(before, last)).then(|| {
            let words = format!(
                "{}, while flexion kept its height ({}, was {})",
                self.fallen(Movement::Abduction, &fall),
                number(Measure::ShoulderFlexion, last),
                number(Measure::ShoulderFlexion, before)
            );
            SignalKind::Cords.signal(Some(self.side), words)
        })
    }

    fn slow_gain(&self, surgery: Option<Date>) -> Option<Signal> {
        let on = self.visits.last()?.facts.date?;
        let day = days_from(surgery?, on);
        Movement::BOTH.into_iter().find_map(|movement| {
            let (need, _) = functional_need(movement);
            // An arm that may not go so high is not slow.
            if self.limit.is_some_and(|limit| limit < need) {
                return None;
            }
            // What fell is asked about as a fall.
            if self.fall(movement).is_some() {
                return None;
            }
            let last = self.course(movement).pop()??;
            if last.value + Z95 * last.sigma >= need {
                return None;
            }
            let arm = movement.of(self.side);
            let value = number(movement.measure(), last);
            let words = if day >= REGAINED_BY_DAY {
                format!("{arm} {value} {day} days after the surgery; daily tasks need {need:.0}°")
            } else if day >= USE_EXPECTED_FROM_DAY {
                let (from, before, last) = self.last_two(movement)?;
                let days = days_from(self.visits[from].facts.date?, on);
                let gained = last.value - before.value > mdc95(before.sigma, last.sigma);
                if gained || days < GAIN_TAKES_DAYS {
                    return None;
                }
                format!(
                    "{arm} {value}, no gain beyond error in {days} days; daily tasks need {need:.0}°"
                )
            } else {
                return None;
            };
            Some(SignalKind::SlowGain.signal(Some(self.side), words))
        })
    }
}

/// Sides that differ more than at the visit before, beyond error.
fn new_asymmetries(visits: &[Visit]) -> Vec<Signal> {
    let sides_agree = {
        let mut sides: Vec<_> = visits
            .iter()
            .filter_map(|visit| visit.facts.operated)
            .collect();
        sides.dedup();
        sides.len() <= 1
    };
    let measures = [
        Measure::FlexionAsymmetry,
        Measure::AbductionAsymmetry,
        Measure::ShoulderTilt,
    ];
    let grown = |measure: Measure| {
        // Operated minus other means nothing across different operated sides.
        if measure.of().is_some() && !sides_agree {
            return None;
        }
        let mut readings = course(visits, measure, None);
        let last = readings.pop()?.ok()?;
        let from = readings.iter().rposition(Result::is_ok)?;
        let before = readings[from].clone().ok()?;
        let more = last.value.abs() - before.value.abs();
        (more > mdc95(before.sigma, last.sigma)).then(|| {
            let words = format!(
                "{} {}, was {} ({})",
                measure.words(),
                number(measure, last),
                number(measure, before),
                visits[from].title(from + 1)
            );
            SignalKind::NewAsymmetry.signal(None, words)
        })
    };
    measures.into_iter().filter_map(grown).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Operated;
    use crate::care::samples::{RIGHT, SURGERY, right_arm, unmeasured, visit};
    use crate::care::{Limit, LimitBy};

    fn of(visits: &[Visit]) -> Vec<Signal> {
        let surgery = SURGERY.parse().expect("a date");
        signals(visits, Some(surgery), &Findings::default())
    }

    fn kinds(visits: &[Visit]) -> Vec<SignalKind> {
        of(visits).iter().map(|signal| signal.kind).collect()
    }

    /// Right arms with σ 3, where MDC95 is 1.96·√18 = 8.32: day, flexion, abduction.
    fn arms(course: &[(i32, f64, f64)]) -> Vec<Visit> {
        let arm = |(day, flexion, abduction): &(i32, f64, f64)| {
            right_arm(*day, *flexion, *abduction, 3.0)
        };
        course.iter().map(arm).collect()
    }

    #[test]
    fn reach_fell_since_the_visit_before_beyond_the_mdc() {
        let fell = arms(&[(30, 150.0, 140.0), (60, 141.6, 140.0)]);
        assert_eq!(kinds(&fell), [SignalKind::ReachFell]);
        let signal = &of(&fell)[0];
        assert_eq!(signal.side, RIGHT);
        assert_eq!(
            signal.words,
            "right shoulder flexion 142 ± 6°, was 150 ± 6° (2026-03-31)"
        );
        assert!(signal.ask.contains('?'));
        assert_eq!(kinds(&arms(&[(30, 150.0, 140.0), (60, 141.7, 140.0)])), []);
    }

    #[test]
    fn reach_fell_from_the_best_before() {
        let slid = |last| arms(&[(20, 150.0, 140.0), (40, 146.0, 140.0), (60, last, 140.0)]);
        assert_eq!(kinds(&slid(141.6)), [SignalKind::ReachFell]);
        assert!(of(&slid(141.6))[0].words.contains("was 150"));
        assert_eq!(kinds(&slid(141.7)), []);
    }

    #[test]
    fn what_the_surgery_itself_took_is_no_signal() {
        let visits = arms(&[(-5, 165.0, 165.0), (12, 90.0, 85.0)]);
        assert_eq!(kinds(&visits), []);
        // With the date unknown it can't be told apart, and is asked.
        let asked = signals(&visits, None, &Findings::default());
        assert_eq!(asked.len(), 2);
        assert_eq!(kinds(&visits[..1]), []);
        assert_eq!(kinds(&[]), []);
    }

    #[test]
    fn abduction_that_falls_alone_asks_for_cords() {
        // Koehler 2018 (read): abduction is held back more than flexion, mostly from week 2 to 8.
        let abduction = |last| arms(&[(20, 150.0, 150.0), (40, 150.0, last)]);
        assert_eq!(
            kinds(&abduction(141.6)),
            [SignalKind::ReachFell, SignalKind::Cords]
        );
        assert_eq!(kinds(&abduction(141.7)), []);
        // Flexion within its error kept its height; beyond it, it fell too.
        let both = |flexion| kinds(&arms(&[(20, 150.0, 150.0), (40, flexion, 135.0)]));
        assert!(both(141.7).contains(&SignalKind::Cords));
        assert_eq!(both(141.6), [SignalKind::ReachFell, SignalKind::ReachFell]);
        let mut unread = abduction(135.0);
        let last = unread.pop().expect("two visits");
        unread.push(unmeasured(last, Measure::ShoulderFlexion));
        assert_eq!(kinds(&unread), [SignalKind::ReachFell]);
    }

    #[test]
    fn sides_that_drift_apart_are_asked_about() {
        let drift = |measure, from, to| {
            [(30, from), (60, to)].map(|(day, value)| visit(day, &[(measure, None, value, 3.0)]))
        };
        for measure in [
            Measure::FlexionAsymmetry,
            Measure::AbductionAsymmetry,
            Measure::ShoulderTilt,
        ] {
            let grown = [SignalKind::NewAsymmetry];
            assert_eq!(kinds(&drift(measure, -2.0, -10.4)), grown);
            assert_eq!(kinds(&drift(measure, -2.0, 10.4)), grown);
            assert_eq!(kinds(&drift(measure, -2.0, -10.3)), []);
            assert_eq!(kinds(&drift(measure, -10.4, 2.0)), [], "it shrank");
            assert_eq!(
                kinds(&drift(measure, -6.0, 6.0)),
                [],
                "it is as large as before"
            );
        }
        let mut other_side = drift(Measure::FlexionAsymmetry, -2.0, -30.0);
        other_side[0].facts.operated = Some(Operated::One(Side::Left));
        assert_eq!(kinds(&other_side), []);
    }

    #[test]
    fn gain_slower_than_usual_from_week_four() {
        // Namdari 2012 (read): 121° of flexion; ACS (read): full use by 3 to 4 weeks.
        let slow = [SignalKind::SlowGain];
        let flexion = |days: [i32; 2], from, to| {
            kinds(&arms(&[(days[0], from, 140.0), (days[1], to, 140.0)]))
        };
        assert_eq!(flexion([14, 28], 100.0, 108.3), slow);
        assert_eq!(flexion([14, 28], 100.0, 108.4), [], "a gain beyond error");
        assert_eq!(flexion([13, 27], 100.0, 100.0), [], "too early");
        assert_eq!(
            flexion([27, 40], 100.0, 100.0),
            [],
            "too near to each other"
        );
        // 121 − 1.96·3 = 115.12.
        assert_eq!(flexion([14, 28], 112.0, 115.1), slow);
        assert_eq!(
            flexion([14, 28], 112.0, 115.2),
            [],
            "it may be what daily tasks need"
        );
        // PMC2940708 (read): most regain their reach by three months, whatever was gained lately.
        assert_eq!(flexion([70, 92], 80.0, 110.0), slow);
        assert_eq!(flexion([70, 91], 80.0, 110.0), []);
        assert_eq!(kinds(&arms(&[(92, 100.0, 140.0)])), slow);
        let mut limited = arms(&[(14, 88.0, 88.0), (28, 88.0, 88.0)]);
        limited[1].facts.arm_limit_deg = Some(90.0);
        assert_eq!(
            kinds(&limited),
            [],
            "an arm that may not go higher is not slow"
        );
    }

    #[test]
    fn what_fell_is_not_also_slow() {
        // Below what daily tasks need after three months, and lower than before beyond 8.32°.
        let fell = arms(&[(70, 110.0, 140.0), (95, 101.0, 140.0)]);
        assert_eq!(kinds(&fell), [SignalKind::ReachFell]);
        let kept = arms(&[(70, 110.0, 140.0), (95, 102.0, 140.0)]);
        assert_eq!(kinds(&kept), [SignalKind::SlowGain]);
        // The other movement may still be.
        let both = arms(&[(70, 110.0, 140.0), (95, 110.0, 125.0)]);
        assert!(kinds(&both).contains(&SignalKind::SlowGain));
    }

    #[test]
    fn no_question_blames() {
        for kind in [
            SignalKind::AboveLimit,
            SignalKind::ReachFell,
            SignalKind::Cords,
            SignalKind::NewAsymmetry,
            SignalKind::SlowGain,
        ] {
            let ask = kind.signal(None, String::new()).ask.to_lowercase();
            for blaming in [
                "does the person",
                "exercises done",
                "effort",
                "comply",
                "compliance",
            ] {
                assert!(!ask.contains(blaming), "{ask}");
            }
        }
    }

    #[test]
    fn an_arm_above_its_limit_is_asked_about() {
        let visits = arms(&[(20, 91.0, 80.0)]);
        let under = |limit| {
            let findings = Findings {
                arm_deg: Some(Limit {
                    value: limit,
                    until: None,
                    by: LimitBy::Set { on: None },
                }),
                ..Findings::default()
            };
            let found = signals(&visits, None, &findings);
            found.iter().map(|signal| signal.kind).collect::<Vec<_>>()
        };
        assert_eq!(under(90.9), [SignalKind::AboveLimit]);
        assert_eq!(under(91.0), [], "at the limit");
        let set_after = Findings {
            arm_deg: Some(Limit {
                value: 60.0,
                until: None,
                by: LimitBy::Set {
                    on: visits[0].facts.date.map(|day| day.tomorrow().unwrap()),
                },
            }),
            ..Findings::default()
        };
        assert_eq!(
            signals(&visits, None, &set_after),
            [],
            "set after the visit"
        );
        let mut told = visits.clone();
        told[0].facts.arm_limit_deg = Some(85.0);
        let words = &of(&told)[0].words;
        assert_eq!(
            words,
            "right shoulder flexion 91 ± 6°, above the limit of 85°"
        );
        told[0].facts.arm_limit_deg = Some(86.0);
        let words = &of(&told)[0].words;
        assert_eq!(
            words,
            "right shoulder flexion 91 ± 6°, may be above the limit of 86°"
        );
        // The limit is the operated arm's.
        told[0].facts.operated = Some(Operated::One(Side::Left));
        assert_eq!(kinds(&told), []);
    }
}

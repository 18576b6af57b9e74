//! What an operated arm could reach for, each goal with its basis, and what the last visit leaves to be
//! wished for.
//!
//! No cut-off for a "limited" shoulder is agreed on: 10 to 25° less than the other side or before are
//! all in use. So a goal is a named comparison, and a shortfall is one only beyond the error.

use jiff::civil::Date;

use super::course::{course, number, operated, operated_arms};
use super::{Aim, Known, Movement, Shortfall, days_from};
use crate::body::{Operated, Side};
use crate::compare::{Z95, mdc95};
use crate::estimate::Estimate;
use crate::measure::{Better, Measure};
use crate::repeats::{common_view, reading};
use crate::visit::Visit;

/// What is known of the person besides the visits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Person {
    pub surgery: Option<Date>,
    /// What the latest visit says, where this is not known.
    pub operated: Option<Operated>,
    pub sex: Option<Sex>,
    pub birth_year: Option<i16>,
}

impl Person {
    /// In the year of a date; at most one more than the true age.
    fn age(&self, on: Date) -> Option<i16> {
        self.birth_year.map(|born| on.year() - born)
    }
}

/// As in the tables of norms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sex {
    Female,
    Male,
}

impl Sex {
    pub const fn id(self) -> &'static str {
        match self {
            Sex::Female => "female",
            Sex::Male => "male",
        }
    }

    pub fn from_id(id: &str) -> Option<Sex> {
        [Sex::Female, Sex::Male]
            .into_iter()
            .find(|sex| sex.id() == id)
    }
}

/// What a goal is taken from. The person's own readings come first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Basis {
    OwnBaseline,
    OtherSide,
    FunctionalNeed,
    AgeNorm,
}

impl Basis {
    pub const ALL: [Basis; 4] = [
        Basis::OwnBaseline,
        Basis::OtherSide,
        Basis::FunctionalNeed,
        Basis::AgeNorm,
    ];

    pub const fn id(self) -> &'static str {
        match self {
            Basis::OwnBaseline => "own_baseline",
            Basis::OtherSide => "other_side",
            Basis::FunctionalNeed => "functional_need",
            Basis::AgeNorm => "age_norm",
        }
    }

    pub const fn words(self) -> &'static str {
        match self {
            Basis::OwnBaseline => "the same arm before the surgery",
            Basis::OtherSide => "the other arm",
            Basis::FunctionalNeed => "what daily tasks need",
            Basis::AgeNorm => "the mean of adults of the same sex",
        }
    }
}

/// One goal of one arm.
#[derive(Clone, Debug, PartialEq)]
pub struct Goal {
    pub side: Side,
    pub movement: Movement,
    pub basis: Basis,
    /// What there is to reach, or why nothing is.
    pub target: Result<Target, String>,
    /// The last visit's reading, or why there is none.
    pub last: Result<Estimate, String>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Degrees; a published mean has no error here.
    pub value: Estimate,
    /// Standard deviation between people, of a published mean.
    pub spread: Option<f64>,
    pub source: String,
    /// Of a published value; `None` for one that was measured.
    pub known: Option<Known>,
}

/// Where the last reading stands against a goal, beyond error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    Reached,
    NotReached,
    /// Within the error of the goal, or not measured.
    CannotTell,
    NoBasis,
}

impl Standing {
    pub const fn words(self) -> &'static str {
        match self {
            Standing::Reached => "reached",
            Standing::NotReached => "not reached",
            Standing::CannotTell => "can't tell",
            Standing::NoBasis => "no basis",
        }
    }
}

impl Goal {
    pub fn standing(&self) -> Standing {
        let Ok(target) = &self.target else {
            return Standing::NoBasis;
        };
        let Ok(last) = self.last else {
            return Standing::CannotTell;
        };
        let (short, error) = short_of(last, target.value);
        if short > error {
            Standing::NotReached
        } else if -short >= error {
            Standing::Reached
        } else {
            Standing::CannotTell
        }
    }
}

/// How far a reading is short of another value, and what of it may be error.
fn short_of(last: Estimate, goal: Estimate) -> (f64, f64) {
    (goal.value - last.value, mdc95(last.sigma, goal.sigma))
}

/// From this day after the surgery on the other arm is a measure for the operated one: it drops too,
/// and had recovered by day 10 (Min 2021, J Clin Med 10:3416, n = 32; read). Two weeks are more careful.
const OTHER_SIDE_FROM_DAY: i32 = 14;

/// The ages for which a mean of all adults is shown: the sample begins at 20, and reach falls by about
/// 40° from its youngest to its oldest (Gill 2020), so an older person is below it in good health. 65
/// is our own choice; no table by age was read.
const ADULTS: std::ops::Range<i16> = 20..65;

/// What daily tasks need, degrees, mean and standard deviation (Namdari 2012; read).
pub(super) const fn functional_need(movement: Movement) -> (f64, f64) {
    match movement {
        Movement::Flexion => (121.0, 6.7),
        Movement::Abduction => (128.0, 7.9),
    }
}

const NAMDARI: &str = "Namdari 2012, J Shoulder Elbow Surg 21:1177–83, 40 shoulders";

/// Active reach of the right arm, degrees, all ages from 20 (Gill 2020; read).
const fn adult_mean(sex: Sex, movement: Movement) -> f64 {
    match (sex, movement) {
        (Sex::Male, Movement::Flexion) => 161.5,
        (Sex::Female, Movement::Flexion) => 158.5,
        (Sex::Male, Movement::Abduction) => 151.5,
        (Sex::Female, Movement::Abduction) => 149.7,
    }
}

const GILL: &str =
    "Gill 2020, BMC Musculoskelet Disord 21:676, 2404 adults from 20 years on, active, right arm";

/// The goals of every operated arm: of both where nobody said which. Visits oldest first.
pub fn goals(visits: &[Visit], person: &Person, today: Date) -> Vec<Goal> {
    let Some(last) = visits.len().checked_sub(1) else {
        return Vec::new();
    };
    let person = &Person {
        operated: person.operated.or_else(|| operated(visits)),
        ..*person
    };
    let mut goals = Vec::new();
    for side in operated_arms(person.operated) {
        for movement in Movement::BOTH {
            let readings = course(visits, movement.measure(), Some(side));
            for basis in Basis::ALL {
                let target = match basis {
                    Basis::OwnBaseline => own_baseline(visits, person, &readings),
                    Basis::OtherSide => other_side(visits, person, side, movement),
                    Basis::FunctionalNeed => Ok(needed(movement)),
                    Basis::AgeNorm => age_norm(person, movement, today),
                };
                goals.push(Goal {
                    side,
                    movement,
                    basis,
                    target,
                    last: readings[last].clone(),
                });
            }
        }
    }
    goals
}

fn own_baseline(
    visits: &[Visit],
    person: &Person,
    readings: &[Result<Estimate, String>],
) -> Result<Target, String> {
    let surgery = person.surgery.ok_or("the date of surgery is not known")?;
    let before = |index: &usize| visits[*index].facts.date.is_some_and(|date| date < surgery);
    let mut reason = "there is no visit before the surgery".to_owned();
    for index in (0..visits.len()).rev().filter(before) {
        match &readings[index] {
            Ok(value) => return Ok(measured(*value, &visits[index], index)),
            Err(why) => reason = format!("not measured before the surgery: {why}"),
        }
    }
    Err(reason)
}

fn other_side(
    visits: &[Visit],
    person: &Person,
    side: Side,
    movement: Movement,
) -> Result<Target, String> {
    match person.operated {
        Some(Operated::Both) => return Err("both sides were operated".to_owned()),
        None => return Err("it is not known which side was operated".to_owned()),
        Some(Operated::One(_) | Operated::Neither) => {}
    }
    let surgery = person.surgery.ok_or("the date of surgery is not known")?;
    let readings = course(visits, movement.measure(), Some(side.other()));
    let mut reason = None;
    for (index, (visit, other)) in visits.iter().zip(readings).enumerate().rev() {
        let why = match (visit.facts.date, other) {
            (_, Err(why)) => format!("the other arm was not measured: {why}"),
            (None, Ok(_)) => "the visit has no date".to_owned(),
            (Some(date), Ok(_)) if (0..OTHER_SIDE_FROM_DAY).contains(&days_from(surgery, date)) => {
                format!(
                    "before day {OTHER_SIDE_FROM_DAY} the other arm reaches less too (Min 2021, J \
                     Clin Med 10:3416)"
                )
            }
            (Some(_), Ok(value)) => return Ok(measured(value, visit, index)),
        };
        // The latest visit's reason is the one that matters.
        reason.get_or_insert(why);
    }
    Err(reason.unwrap_or_default())
}

fn measured(value: Estimate, visit: &Visit, index: usize) -> Target {
    Target {
        value,
        spread: None,
        source: format!("measured: {}", visit.title(index + 1)),
        known: None,
    }
}

fn needed(movement: Movement) -> Target {
    let (mean, spread) = functional_need(movement);
    Target {
        value: Estimate::new(mean, 0.0),
        spread: Some(spread),
        source: NAMDARI.to_owned(),
        known: Some(Known::Read),
    }
}

fn age_norm(person: &Person, movement: Movement, today: Date) -> Result<Target, String> {
    let sex = person
        .sex
        .ok_or("the norms are by sex, which is not known")?;
    let age = person
        .age(today)
        .ok_or("the year of birth is not known, and reach falls with age")?;
    if !ADULTS.contains(&age) {
        return Err(format!(
            "no norm by age was read, and the mean of all adults does not fit at {age}"
        ));
    }
    Ok(Target {
        value: Estimate::new(adult_mean(sex, movement), 0.0),
        spread: None,
        source: GILL.to_owned(),
        known: Some(Known::Read),
    })
}

/// What the last visit leaves to be wished for, beyond error. Visits oldest first.
pub fn shortfalls(
    visits: &[Visit],
    person: &Person,
    goals: &[Goal],
    today: Date,
) -> Vec<Shortfall> {
    let operated = person.operated.or_else(|| operated(visits));
    let posture = Posture {
        visits,
        person,
        operated,
        today,
    };
    let mut found = Vec::new();
    for side in operated_arms(operated) {
        for movement in Movement::BOTH {
            found.extend(arm(goals, side, movement));
        }
        found.extend(posture.elbow(side));
        found.extend(posture.shoulder_forward(side));
    }
    found.extend(posture.head_forward());
    found.extend(posture.further_than_before(Aim::RoundedBack, Measure::ThoracicAngle, None));
    found.extend(posture.further_than_before(Aim::TrunkLean, Measure::TrunkLean, None));
    found
}

/// The first goal, of the person's own first, that an arm does not reach.
fn arm(goals: &[Goal], side: Side, movement: Movement) -> Option<Shortfall> {
    let of_arm = || {
        goals
            .iter()
            .filter(move |goal| goal.side == side && goal.movement == movement)
    };
    // Whoever reaches as far as their own other arm, or as before, is not short of strangers.
    let own = of_arm().any(|goal| {
        matches!(goal.basis, Basis::OwnBaseline | Basis::OtherSide) && goal.target.is_ok()
    });
    let goal = of_arm()
        .filter(|goal| !own || goal.basis != Basis::AgeNorm)
        .find(|goal| goal.standing() == Standing::NotReached)?;
    let (Ok(last), Ok(target)) = (&goal.last, &goal.target) else {
        return None;
    };
    let (short, _) = short_of(*last, target.value);
    Some(Shortfall {
        aim: movement.aim(),
        side: Some(side),
        words: format!(
            "{} {}, {short:.0}° short of {} ({:.0}°)",
            movement.of(side),
            number(movement.measure(), *last),
            goal.basis.words(),
            target.value.value
        ),
    })
}

/// The measures of standing, and the elbow, of which no goal is set: each is held against the person's
/// own earlier reading or other side, and the head against people of the same age.
struct Posture<'a> {
    visits: &'a [Visit],
    person: &'a Person,
    operated: Option<Operated>,
    today: Date,
}

/// Craniovertebral angle of pain-free people, degrees, mean and standard deviation: up to 50 years and
/// above (Silva 2009, n = 40; read).
const SILVA: [(f64, f64); 2] = [(51.8, 5.9), (45.1, 6.7)];
/// From this age on the head is carried further forward in health (means 41.2° from 75, 35.6° from 85:
/// Nemmers 2009, J Geriatr Phys Ther 32:10–14; read), and no range was read.
const OLD_FOR_SILVA: i16 = 75;

impl Posture<'_> {
    fn last(&self, measure: Measure, side: Option<Side>) -> Option<Estimate> {
        course(self.visits, measure, side).pop()?.ok()
    }

    /// The reading that the last one is held against, and its visit: the latest before the surgery,
    /// else the first there is.
    fn reference(&self, measure: Measure, side: Option<Side>) -> Option<(Estimate, String)> {
        let mut readings = course(self.visits, measure, side);
        readings.truncate(readings.len().checked_sub(1)?);
        let with_value = |index: &usize| readings[*index].is_ok();
        let before = |index: &usize| {
            let date = self.visits[*index].facts.date;
            self.person
                .surgery
                .zip(date)
                .is_some_and(|(surgery, date)| date < surgery)
        };
        let indices = 0..readings.len();
        let index = indices.clone().rev().filter(before).find(with_value);
        let index = index.or_else(|| indices.into_iter().find(with_value))?;
        let value = readings[index].clone().ok()?;
        Some((value, self.visits[index].title(index + 1)))
    }

    fn further_than_before(
        &self,
        aim: Aim,
        measure: Measure,
        side: Option<Side>,
    ) -> Option<Shortfall> {
        // Side photos know the near side; the trunk is the same from both.
        let sides = match side {
            Some(_) => vec![side],
            None => Side::BOTH.map(Some).to_vec(),
        };
        sides.into_iter().find_map(|near| {
            let last = self.last(measure, near)?;
            let (before, visit) = self.reference(measure, near)?;
            worse(measure.better(), before, last).then(|| Shortfall {
                aim,
                side,
                words: format!(
                    "{} {}, was {} ({visit})",
                    measure.words().to_lowercase(),
                    number(measure, last),
                    number(measure, before)
                ),
            })
        })
    }

    fn head_forward(&self) -> Option<Shortfall> {
        let measure = Measure::CraniovertebralAngle;
        let own = self.further_than_before(Aim::HeadForward, measure, None);
        own.or_else(|| {
            let age = self.person.age(self.today)?;
            let (group, (mean, sd)) = match age {
                20..=50 => ("up to 50", SILVA[0]),
                51..OLD_FOR_SILVA => ("over 50", SILVA[1]),
                _ => return None,
            };
            let last = Side::BOTH.map(|near| self.last(measure, Some(near)));
            let below = |last: &Estimate| last.value + Z95 * last.sigma < mean - sd;
            let last = last.into_iter().flatten().find(below)?;
            Some(Shortfall {
                aim: Aim::HeadForward,
                side: None,
                words: format!(
                    "craniovertebral angle {}, lower than in most pain-free people {group} ({mean} ± \
                     {sd}° between people, Silva 2009, n = 40): a description, no diagnosis",
                    number(measure, last)
                ),
            })
        })
    }

    fn shoulder_forward(&self, side: Side) -> Option<Shortfall> {
        let measure = Measure::SagittalShoulderAngle;
        let own = self.further_than_before(Aim::ShoulderForward, measure, Some(side));
        own.or_else(|| self.worse_than_other_side(Aim::ShoulderForward, measure, side))
    }

    fn elbow(&self, side: Side) -> Option<Shortfall> {
        let measure = Measure::ElbowExtensionDeficit;
        let own = self.further_than_before(Aim::ElbowExtension, measure, Some(side));
        own.or_else(|| self.worse_than_other_side(Aim::ElbowExtension, measure, side))
    }

    fn worse_than_other_side(&self, aim: Aim, measure: Measure, side: Side) -> Option<Shortfall> {
        if self.operated != Some(Operated::One(side)) {
            return None;
        }
        let visit = self.visits.last()?;
        // Only like is compared with like: an elbow from the front with an elbow from the front.
        let view = common_view(std::slice::from_ref(visit), measure, Some(side));
        let of = |side| reading(visit, measure, Some(side), view).ok();
        let (operated, other) = (of(side)?, of(side.other())?);
        worse(measure.better(), other, operated).then(|| Shortfall {
            aim,
            side: Some(side),
            words: format!(
                "{side} {} {}, the other side {}",
                measure.words().to_lowercase(),
                number(measure, operated),
                number(measure, other)
            ),
        })
    }
}

/// Whether the second of two readings is the worse one, beyond their errors.
fn worse(better: Better, first: Estimate, second: Estimate) -> bool {
    let by = match better {
        Better::Larger => first.value - second.value,
        Better::Smaller => second.value - first.value,
        Better::NearerZero => second.value.abs() - first.value.abs(),
        Better::Neither => return false,
    };
    by > mdc95(first.sigma, second.sigma)
}

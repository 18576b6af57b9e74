//! Proposes a few exercises: those that findings allow, that answer what falls short, at a level that
//! days, findings and pace give. A clinician approves them or does not.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use jiff::civil::Date;
use thiserror::Error;

use super::catalogue::{
    Amount, Catalogue, Dose, END_STRETCH, Exercise, Figure, HIGHEST_LEVEL, TAGS, unwatched,
};
use super::{Aim, Finding, Findings, Limit, Pace, Shortfall, is_initials};

/// More than a tired person does every day is done by nobody.
pub const MOST_EXERCISES: usize = 6;

/// The highest level that a first plan begins with, whatever the day: how an arm takes to it is not
/// known yet (common practice).
const FIRST_LEVEL: u8 = 1;
/// Exercises of this level build strength.
const STRENGTH_LEVEL: u8 = 2;

/// What is proposed, and everything that the clinician needs to judge it.
#[derive(Clone, Debug, PartialEq)]
pub struct Programme {
    /// While one stands there are no exercises.
    pub holds: Vec<Finding>,
    pub level: u8,
    pub level_because: String,
    pub arm_deg: Option<Limit>,
    pub load_kg: Option<Limit>,
    /// In the order of the sheet.
    pub exercises: Vec<Prescribed>,
    pub left_out: Vec<LeftOut>,
    /// For the clinician, beyond what is left out.
    pub notes: Vec<String>,
    /// What the person has to know, from the findings.
    pub at_home: Vec<String>,
    /// The last day before it has to be looked at anew, by the limits and the rules.
    pub stays_until: Option<Date>,
    /// Whether the surgery is still to come.
    pub is_before_surgery: bool,
}

/// An exercise as far as it may go.
#[derive(Clone, Debug, PartialEq)]
pub struct Prescribed {
    pub exercise: Exercise,
    /// Its own top or the limit, whichever is lower, degrees.
    pub top_deg: f64,
    /// Without a hold where no stretch may be held.
    pub dose: Dose,
    /// Its easier form, where that stays within the limit.
    pub easier: Option<String>,
    /// What was left of its harder form.
    pub harder: Option<String>,
    /// For the clinician.
    pub because: String,
}

/// Why an exercise is left out that the clinician did not want.
pub const BY_CHOICE: &str = "by the clinician's choice";

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Of the exercise.
    pub id: String,
    pub name: String,
    pub because: String,
}

/// How to go on, for the clinician, as [`pace`](super::pace) reads it. A reading is better or worse
/// only beyond MDC95, the change that error alone exceeds once in twenty times.
pub const GOING_ON: [(&str, &str); 3] = [
    (
        "Forward",
        "One level up where day and findings allow it: a reach rose by more than MDC95 since the \
         visit before, or every reach is above what daily tasks need, beyond its error, and nothing \
         is to be asked first.",
    ),
    (
        "Stay",
        "The same level, more repeats: the change is within MDC95, which alone is no standstill, \
         there is nothing to hold it against, or a question is open.",
    ),
    (
        "Back",
        "One level down, and look at the shoulder: a reach fell by more than MDC95, went above its \
         limit, or cords may be there. Sharp pain, new swelling or a change of the wound: stop, and \
         screen anew.",
    ),
];

impl Prescribed {
    /// Whether a limit ends it before its own top.
    pub fn is_cut(&self) -> bool {
        self.top_deg < self.exercise.arm_deg
    }

    /// Where the person stops, in words of the body; `None` where nothing is raised that far.
    pub fn stop_line(&self) -> Option<String> {
        let figure = &self.exercise.figure;
        let watch = self.exercise.watch?;
        watch.stop_at(self.top_deg, |height| figure.place_of(height))
    }

    /// As it is drawn: no higher than it may go.
    pub fn figure(&self) -> Figure {
        self.exercise.figure.up_to(self.top_deg)
    }
}

/// What a clinician put initials and a date to; there is no other way to make one.
#[derive(Clone, Debug, PartialEq)]
pub struct Approved<T> {
    what: T,
    initials: String,
    on: Date,
}

#[derive(Debug, Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum NotApproved {
    #[error("a programme is approved with initials: one to eight characters, a letter among them")]
    NoInitials,
    #[error("a hold stands ({rule}): nothing can be approved until it is settled")]
    Hold { rule: String },
    #[error("there is no exercise to approve")]
    Empty,
}

impl Approved<Programme> {
    pub fn by(programme: Programme, initials: &str, on: Date) -> Result<Self, NotApproved> {
        let initials = initials.trim();
        if !is_initials(initials) {
            return Err(NotApproved::NoInitials);
        }
        if let Some(hold) = programme.holds.first() {
            return Err(NotApproved::Hold {
                rule: hold.rule.clone(),
            });
        }
        if programme.exercises.is_empty() {
            return Err(NotApproved::Empty);
        }
        Ok(Approved {
            what: programme,
            initials: initials.to_owned(),
            on,
        })
    }
}

impl<T> Approved<T> {
    pub fn what(&self) -> &T {
        &self.what
    }

    pub fn initials(&self) -> &str {
        &self.initials
    }

    pub fn on(&self) -> Date {
        self.on
    }
}

/// The programme that these findings, shortfalls and pace come to.
pub fn propose(
    catalogue: &Catalogue,
    findings: &Findings,
    shortfalls: &[Shortfall],
    pace: Pace,
    previous_level: Option<u8>,
) -> Programme {
    let (level, level_because) = level(findings, pace, previous_level);
    let mut programme = Programme {
        holds: findings.holds.clone(),
        level,
        level_because,
        arm_deg: findings.arm_deg.clone(),
        load_kg: findings.load_kg.clone(),
        exercises: Vec::new(),
        left_out: Vec::new(),
        notes: unknown_tags(findings),
        at_home: at_home(findings),
        stays_until: stays_until(findings),
        is_before_surgery: findings.days_since_surgery.is_some_and(|day| day < 0),
    };
    if !findings.holds.is_empty() {
        return programme;
    }
    let mut choice = Choice::among(catalogue, findings, level);
    choice.take_for(&wishes(&findings.first, shortfalls, level));
    programme.exercises = choice.taken;
    // Breathing stays first; what loads comes when the body is warm.
    programme
        .exercises
        .sort_by_key(|prescribed| prescribed.exercise.load_kg > 0.0);
    programme.left_out = choice.barred;
    programme
        .left_out
        .extend(choice.open.iter().map(|exercise| {
            let because = if choice.full {
                format!("{MOST_EXERCISES} exercises are enough")
            } else {
                "another one does this work, or nothing it is for falls short".to_owned()
            };
            left_out(exercise, because)
        }));
    programme
}

/// The level, and why for the clinician.
fn level(findings: &Findings, pace: Pace, previous: Option<u8>) -> (u8, String) {
    let (wished, because) = match (previous, pace) {
        (None, Pace::Back) => (0, "the first plan, and something got worse".to_owned()),
        (None, _) => (
            FIRST_LEVEL,
            format!("the first plan begins no higher than level {FIRST_LEVEL}"),
        ),
        (Some(before), Pace::Forward) => (
            before.saturating_add(1).min(HIGHEST_LEVEL),
            format!("forward from level {before}"),
        ),
        (Some(before), Pace::Back) => (
            before.min(HIGHEST_LEVEL).saturating_sub(1),
            format!("back from level {before}"),
        ),
        (Some(before), Pace::Begin | Pace::Stay) => (
            before.min(HIGHEST_LEVEL),
            format!("as before, level {before}"),
        ),
    };
    match &findings.highest_level {
        Some(highest) if highest.level < wished => {
            let words = highest.by.iter().map(|finding| finding.words.as_str());
            let words = words.collect::<Vec<_>>().join(" ");
            (highest.level, format!("{because}, but: {words}"))
        }
        _ => (wished, because),
    }
}

/// A file of rules may forbid what no exercise is marked with: then a person has to look.
fn unknown_tags(findings: &Findings) -> Vec<String> {
    findings
        .avoid
        .iter()
        .filter(|(tag, _)| !TAGS.contains(&tag.as_str()))
        .flat_map(|(tag, by)| by.iter().map(move |finding| (tag, finding)))
        .map(|(tag, finding)| {
            format!(
                "The rule {} forbids {tag:?}, which no exercise is marked with: look through the \
                 sheet yourself.",
                finding.rule
            )
        })
        .collect()
}

fn stays_until(findings: &Findings) -> Option<Date> {
    let limits = [&findings.arm_deg, &findings.load_kg];
    let ends = limits.map(|limit| limit.as_ref().and_then(|limit| limit.until));
    ends.into_iter()
        .chain([findings.stays_until])
        .flatten()
        .min()
}

/// What every finding tells the person, each once. Of limits only those that decide: a looser one
/// beside them would speak against them.
fn at_home(findings: &Findings) -> Vec<String> {
    let limits = [&findings.arm_deg, &findings.load_kg].into_iter().flatten();
    let level = findings.highest_level.iter().flat_map(|level| &level.by);
    let mut all: Vec<String> = Vec::new();
    for words in findings
        .holds
        .iter()
        .chain(limits.flat_map(|limit| limit.by.rules()))
        .chain(&findings.cautions)
        .chain(findings.first.iter().map(|(_, finding)| finding))
        .chain(findings.avoid.values().flatten())
        .chain(level)
        .filter_map(|finding| finding.at_home.clone())
    {
        if !all.contains(&words) {
            all.push(words);
        }
    }
    all
}

/// What an exercise is wanted for, and why.
struct Wish {
    /// Any of these.
    aims: Vec<Aim>,
    because: String,
}

impl Wish {
    fn is_reach(&self) -> bool {
        matches!(self.aims[..], [Aim::Flexion | Aim::Abduction])
    }
}

const POSTURE: [Aim; 4] = [
    Aim::TrunkLean,
    Aim::HeadForward,
    Aim::ShoulderForward,
    Aim::RoundedBack,
];

/// In the order in which they are met: breathing with every plan, what a rule puts first, posture with
/// every plan, then what falls short, arms first, then what keeps an arm moving when nothing falls
/// short.
fn wishes(first: &[(Aim, Finding)], shortfalls: &[Shortfall], level: u8) -> Vec<Wish> {
    let comes_first = |aim: Aim| first.iter().any(|(of_rule, _)| *of_rule == aim);
    let words_of = |aim: Aim| {
        let of_aim = shortfalls
            .iter()
            .filter(move |shortfall| shortfall.aim == aim);
        of_aim.map(|shortfall| shortfall.words.as_str())
    };
    let short = |aim: Aim| {
        let words: Vec<&str> = words_of(aim).filter(|_| !comes_first(aim)).collect();
        (!words.is_empty()).then(|| Wish {
            aims: vec![aim],
            because: words.join("; "),
        })
    };
    let usual = |aims: &[Aim], because: &str| Wish {
        aims: aims.to_vec(),
        because: because.to_owned(),
    };
    let arms = [Aim::Flexion, Aim::Abduction, Aim::ElbowExtension];
    let mut posture = POSTURE.into_iter().filter_map(short);
    let mut wishes = vec![usual(&[Aim::Breathing], "with every plan")];
    wishes.extend(first.iter().map(|(aim, finding)| {
        let words = [finding.words.trim_end_matches('.')].into_iter();
        let because: Vec<&str> = words.chain(words_of(*aim)).collect();
        usual(&[*aim], &because.join("; "))
    }));
    wishes.push(
        posture
            .next()
            .unwrap_or_else(|| usual(&[Aim::TrunkLean], "posture, with every plan")),
    );
    wishes.extend(arms.into_iter().filter_map(short));
    if level >= STRENGTH_LEVEL {
        wishes.push(
            short(Aim::Strength)
                .unwrap_or_else(|| usual(&[Aim::Strength], "strength, from this level on")),
        );
    }
    wishes.extend(posture);
    wishes.push(usual(&[Aim::Flexion], "keeps the arm moving forward"));
    wishes.push(usual(&[Aim::Abduction], "keeps the arm moving sideways"));
    if level >= STRENGTH_LEVEL {
        wishes.push(usual(&[Aim::Strength], "strength, from this level on"));
    }
    wishes.push(usual(&[Aim::ShoulderForward], "draws the shoulders back"));
    wishes
}

/// What is open to be chosen, and what has been.
struct Choice<'a> {
    findings: &'a Findings,
    /// Allowed and not taken.
    open: Vec<&'a Exercise>,
    barred: Vec<LeftOut>,
    taken: Vec<Prescribed>,
    full: bool,
}

impl<'a> Choice<'a> {
    fn among(catalogue: &'a Catalogue, findings: &'a Findings, level: u8) -> Choice<'a> {
        let (mut open, mut barred) = (Vec::new(), Vec::new());
        for exercise in catalogue.exercises() {
            match bar(exercise, findings, level) {
                Some(because) => barred.push(left_out(exercise, because)),
                None => open.push(exercise),
            }
        }
        Choice {
            findings,
            open,
            barred,
            taken: Vec::new(),
            full: false,
        }
    }

    fn take_for(&mut self, wishes: &[Wish]) {
        for wish in wishes {
            if self.taken.len() == MOST_EXERCISES {
                self.full = true;
                return;
            }
            let is_met =
                |exercise: &Exercise| exercise.aims.iter().any(|aim| wish.aims.contains(aim));
            // What it is for above all; of these the highest level, for a reach the one that may go
            // highest, then the first of the file.
            let best = (0..self.open.len())
                .filter(|index| is_met(self.open[*index]))
                .max_by_key(|index| {
                    let exercise = self.open[*index];
                    let first = wish.aims.contains(&exercise.aims[0]);
                    let top = if wish.is_reach() {
                        top_deg(exercise, self.findings) as i32
                    } else {
                        0
                    };
                    (first, exercise.level, top, Reverse(*index))
                });
            if let Some(index) = best {
                let exercise = self.open.remove(index);
                self.taken
                    .push(prescribe(exercise, self.findings, &wish.because));
            }
        }
    }
}

fn left_out(exercise: &Exercise, because: String) -> LeftOut {
    LeftOut {
        id: exercise.id.clone(),
        name: exercise.name.clone(),
        because,
    }
}

/// What an exercise, or one form of it, asks for.
struct Asks<'a> {
    /// The lowest limit of the arm that it stays within.
    limit_deg: f64,
    load_kg: f64,
    tags: &'a BTreeSet<String>,
}

/// Why findings forbid what is asked; `None` where they don't.
fn forbidden(asks: &Asks, findings: &Findings) -> Option<String> {
    if let Some(limit) = &findings.arm_deg
        && !within(asks.limit_deg, limit)
    {
        return Some(format!(
            "it needs a limit of {:.0}° or more, this one is {:.0}°",
            asks.limit_deg, limit.value
        ));
    }
    if let Some(limit) = &findings.load_kg
        && !within(asks.load_kg, limit)
    {
        return Some(format!(
            "it loads the arm with {} kg, the limit is {} kg",
            asks.load_kg, limit.value
        ));
    }
    asks.tags.iter().find_map(|tag| {
        let by = findings.avoid.get(tag)?;
        let words: Vec<&str> = by.iter().map(|finding| finding.words.as_str()).collect();
        Some(format!("{tag} is to be avoided: {}", words.join(" ")))
    })
}

/// Only what is surely within: a limit that is no number allows nothing.
fn within(value: f64, limit: &Limit) -> bool {
    value <= limit.value
}

fn bar(exercise: &Exercise, findings: &Findings, level: u8) -> Option<String> {
    if exercise.level > level {
        return Some(format!(
            "level {}, this plan is of level {level}",
            exercise.level
        ));
    }
    let least = Asks {
        limit_deg: exercise.least_limit_deg(),
        load_kg: exercise.load_kg,
        tags: &exercise.tags,
    };
    forbidden(&least, findings)
}

/// Its own top or the limit, whichever is lower.
fn top_deg(exercise: &Exercise, findings: &Findings) -> f64 {
    let limit = findings.arm_deg.as_ref();
    limit.map_or(exercise.arm_deg, |limit| limit.value.min(exercise.arm_deg))
}

fn prescribe(exercise: &Exercise, findings: &Findings, because: &str) -> Prescribed {
    let top_deg = top_deg(exercise, findings);
    let harder = exercise.harder.as_ref().filter(|harder| {
        let asks = Asks {
            // The harder form of what is cut ends at the same stop line; where it goes higher, nothing
            // tells how high.
            limit_deg: if harder.arm_deg > exercise.arm_deg {
                unwatched(harder.arm_deg)
            } else {
                exercise.least_limit_deg()
            },
            load_kg: harder.load_kg,
            tags: &harder.tags,
        };
        forbidden(&asks, findings).is_none()
    });
    let easier = Some(&exercise.easier).filter(|easier| {
        let limit = findings.arm_deg.as_ref().zip(easier.arm_deg);
        limit.is_none_or(|(limit, arm_deg)| within(unwatched(arm_deg), limit))
    });
    Prescribed {
        exercise: exercise.clone(),
        top_deg,
        dose: dose(exercise, findings),
        easier: easier.map(|easier| easier.words.clone()),
        harder: harder.map(|harder| harder.words.clone()),
        because: because.to_owned(),
    }
}

fn dose(exercise: &Exercise, findings: &Findings) -> Dose {
    let mut dose = exercise.dose.clone();
    // What raises no arm holds no stretch.
    if findings.avoid.contains_key(END_STRETCH)
        && exercise.arm_deg > 0.0
        && let Amount::Repeats { hold_s, .. } = &mut dose.amount
    {
        *hold_s = 0;
    }
    dose
}

//! What is asked of a person before exercises are proposed, and what each answer means: the questions
//! and rules of `rules.toml`, or of a clinic's own file in its place.
//!
//! Where anything is not known, the more careful reading holds: a question that nobody answered counts
//! as the answer that limits most, and without a date of surgery every rule with days holds.

mod file;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;
use thiserror::Error;

pub use self::file::LOAD_KG;
use self::file::within;
use super::{
    Aim, Finding, Findings, HighestLevel, Known, Limit, LimitBy, Override, Screening, SetLimit,
    days_from, is_initials,
};
use crate::checksum::sha256;
use crate::visit::ARM_LIMITS_DEG;

/// How long a screening's answers are relied on, days: as long as the diary of a home sheet.
const ANSWERS_LAST_DAYS: i32 = 14;

/// The hold that answers are too old.
pub(crate) const ANSWERS_OLD: &str = "answers_old";

/// How ids begin that no rule of a file may have: the program's own findings.
const OWN_RULES: [&str; 5] = [
    "unanswered_",
    "surgery_date",
    "answers_",
    "set_limit_",
    "side_",
];

/// The questions, and the rules that their answers meet.
#[derive(Debug)]
pub struct Rules {
    /// What tells a clinic's own from others: the checksum of their file; `None` for those built in.
    own: Option<String>,
    /// By level, from 0.
    levels: Vec<Level>,
    tags: BTreeMap<String, String>,
    questions: Vec<Question>,
    rules: Vec<Rule>,
}

/// A question of the screening.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    pub id: String,
    /// For the clinician.
    pub ask: String,
    pub options: Vec<Choice>,
    pub unanswered: Unanswered,
}

impl Question {
    pub fn choice(&self, id: &str) -> Option<&Choice> {
        self.options.iter().find(|option| option.id == id)
    }

    fn ids(&self) -> String {
        let ids: Vec<&str> = self
            .options
            .iter()
            .map(|option| option.id.as_str())
            .collect();
        ids.join(", ")
    }
}

/// An answer that a question offers.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Choice {
    pub id: String,
    pub words: String,
}

/// What it means when nobody answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unanswered {
    Hold,
    Caution,
    Nothing,
}

#[derive(Debug)]
struct Level {
    from_day: i32,
    finding: Finding,
}

#[derive(Debug)]
struct Rule {
    /// Whether a clinician may take it away.
    is_removable: bool,
    when: BTreeMap<String, Vec<String>>,
    window: Option<Window>,
    effect: Effect,
    finding: Finding,
}

#[derive(Clone, Debug, PartialEq)]
enum Effect {
    Hold,
    Caution,
    Arm(f64),
    Load(f64),
    HighestLevel(u8),
    Avoid(Vec<String>),
    First(Aim),
}

impl Effect {
    /// Whether it takes something away without a word with anybody: then it also holds for an answer
    /// that is only possible.
    const fn limits(&self) -> bool {
        !matches!(self, Effect::Hold | Effect::Caution | Effect::First(_))
    }
}

/// Days since the surgery on which a rule holds.
#[derive(Clone, Copy, Debug)]
struct Window {
    first: i32,
    /// The first day on which it no longer holds.
    end: Option<i32>,
}

impl Window {
    /// Begins on the day of surgery unless it says otherwise or lies before it.
    fn new(first: Option<i32>, end: Option<i32>) -> Window {
        let before_surgery = end.is_some_and(|end| end <= 0);
        let default = if before_surgery { i32::MIN } else { 0 };
        Window {
            first: first.unwrap_or(default),
            end,
        }
    }

    fn is_empty(self) -> bool {
        self.end.is_some_and(|end| end <= self.first)
    }

    /// On an unknown day everything may hold but what ends before the surgery.
    fn holds(self, day: Option<i32>) -> bool {
        match day {
            Some(day) => day >= self.first && self.end.is_none_or(|end| day < end),
            None => self.end.is_none_or(|end| end > 0),
        }
    }
}

/// Why a file of rules is refused.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RulesError {
    #[error("no file of rules: {0}")]
    Unreadable(String),
    #[error("{entry}: {trouble}")]
    Entry { entry: String, trouble: String },
}

/// Why a screening is refused.
#[derive(Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum ScreeningError {
    #[error("{question} is no question of these rules")]
    UnknownQuestion { question: String },
    #[error("{question}: {option} is no answer, expected one of {expected}")]
    UnknownOption {
        question: String,
        option: String,
        expected: String,
    },
    #[error("{what}, {date}, is after today, {today}")]
    Ahead {
        what: &'static str,
        date: Date,
        today: Date,
    },
    #[error("{what} is {got}, expected {expected}")]
    Limit {
        what: &'static str,
        got: f64,
        expected: String,
    },
    #[error("{what} ends on {until}, before it was set on {set_on}")]
    LimitDays {
        what: &'static str,
        set_on: Date,
        until: Date,
    },
    #[error("{rule} is no rule that can be taken away; an open question is answered instead")]
    UnknownRule { rule: String },
    #[error("{rule} was taken away without initials")]
    NoInitials { rule: String },
    #[error("{rule} was taken away without a reason")]
    NoReason { rule: String },
}

impl Rules {
    /// The file that is built in.
    pub const BUILT_IN: &str = include_str!("../rules.toml");

    pub fn built_in() -> &'static Rules {
        static RULES: LazyLock<Rules> = LazyLock::new(|| {
            Rules::from_toml(Rules::BUILT_IN).expect("the tests read the built-in rules")
        });
        &RULES
    }

    pub fn from_toml(text: &str) -> Result<Rules, RulesError> {
        let own = (text != Rules::BUILT_IN).then(|| sha256(text.as_bytes()));
        Ok(Rules {
            own,
            ..file::read(text)?
        })
    }

    /// The checksum of a clinic's own file of rules; `None` for those built in.
    pub fn own(&self) -> Option<&str> {
        self.own.as_deref()
    }

    /// In the order in which they are asked.
    pub fn questions(&self) -> &[Question] {
        &self.questions
    }

    /// What an exercise may be marked with, and what each mark means.
    pub fn tags(&self) -> &BTreeMap<String, String> {
        &self.tags
    }

    /// What a clinician can take away, in the order of the file: the begins of levels, then the rules.
    pub fn removable(&self) -> impl Iterator<Item = &Finding> {
        let levels = self.levels.iter().skip(1).map(|level| &level.finding);
        let rules = self.rules.iter().filter(|rule| rule.is_removable);
        levels.chain(rules.map(|rule| &rule.finding))
    }

    /// Whether a screening can be read by these rules, and is whole.
    pub fn check(&self, screening: &Screening, today: Date) -> Result<(), ScreeningError> {
        not_ahead("the date of the screening", screening.date, today)?;
        for (id, option) in &screening.answers {
            let Some(question) = self.questions.iter().find(|question| question.id == *id) else {
                return Err(ScreeningError::UnknownQuestion {
                    question: id.clone(),
                });
            };
            if question.choice(option).is_none() {
                return Err(ScreeningError::UnknownOption {
                    question: id.clone(),
                    option: option.clone(),
                    expected: question.ids(),
                });
            }
        }
        for (kind, set) in set_limits(screening) {
            kind.check(set, today)?;
        }
        for Override {
            rule,
            initials,
            reason,
        } in &screening.overrides
        {
            let rule = rule.clone();
            if !self.removable().any(|finding| finding.rule == rule) {
                return Err(ScreeningError::UnknownRule { rule });
            }
            if !is_initials(initials) {
                return Err(ScreeningError::NoInitials { rule });
            }
            if reason.trim().is_empty() {
                return Err(ScreeningError::NoReason { rule });
            }
        }
        Ok(())
    }

    /// What a screening comes to today.
    pub fn findings(&self, screening: &Screening, today: Date) -> Findings {
        let day = screening.surgery.map(|surgery| days_from(surgery, today));
        let mut findings = Findings {
            days_since_surgery: day,
            stays_until: self.stays_until(screening, day),
            ..Findings::default()
        };
        self.tell_what_is_open(screening, today, &mut findings);
        let mut next_is_told = false;
        for level in self.levels_not_begun(day) {
            let finding = self.levels[usize::from(level)].finding.clone();
            // The next to begin says it for those above it; one that was taken away is listed.
            let stands = taken_away(screening, &finding).is_none();
            if stands && next_is_told {
                continue;
            }
            next_is_told |= stands;
            let effect = Effect::HighestLevel(level - 1);
            meet(&mut findings, screening, finding, &effect, None);
        }
        for rule in &self.rules {
            if rule.window.is_some_and(|window| !window.holds(day)) {
                continue;
            }
            if let Some(finding) = self.applies(rule, screening) {
                let last_day = rule.window.and_then(|window| window.end).map(|end| end - 1);
                let until = screening.surgery.zip(last_day);
                let until = until.and_then(|(surgery, day)| surgery.checked_add(day.days()).ok());
                meet(&mut findings, screening, finding, &rule.effect, until);
            }
        }
        for (kind, set) in set_limits(screening) {
            put_first(kind, set, today, &mut findings);
        }
        findings
    }

    /// The levels above 0 that it is too early for; on an unknown day all. Before the surgery there is
    /// nothing to heal.
    fn levels_not_begun(&self, day: Option<i32>) -> Vec<u8> {
        (0..)
            .zip(&self.levels)
            .skip(1)
            .filter(|(_, level)| day.is_none_or(|day| (0..level.from_day).contains(&day)))
            .map(|(number, _)| number)
            .collect()
    }

    /// The last day before a level or a rule begins or ends, where it changes what may be done.
    fn stays_until(&self, screening: &Screening, day: Option<i32>) -> Option<Date> {
        let (surgery, day) = (screening.surgery?, day?);
        let stands = |finding: &Finding| taken_away(screening, finding).is_none();
        let levels = self.levels.iter().filter(|level| stands(&level.finding));
        let matters = |rule: &&Rule| {
            rule.effect != Effect::Caution
                && stands(&rule.finding)
                && self.applies(rule, screening).is_some()
        };
        let windows = self
            .rules
            .iter()
            .filter(matters)
            .filter_map(|rule| rule.window);
        let days = windows.flat_map(|window| [Some(window.first), window.end]);
        let next = levels
            .map(|level| level.from_day)
            .chain(days.flatten())
            // The surgery itself changes everything.
            .chain([0])
            .filter(|change| *change > day)
            .min()?;
        surgery.checked_add((next - 1).days()).ok()
    }

    /// An answer of this file; one that the file does not know is none.
    fn answer<'a>(&self, screening: &'a Screening, question: &Question) -> Option<&'a str> {
        let answer = screening.answers.get(&question.id)?;
        question.choice(answer).map(|_| answer.as_str())
    }

    /// The rule's finding, where the answers meet it or, for a limit, may meet it.
    fn applies(&self, rule: &Rule, screening: &Screening) -> Option<Finding> {
        let mut open = Vec::new();
        for (id, options) in &rule.when {
            let question = self.questions.iter().find(|question| question.id == *id)?;
            match self.answer(screening, question) {
                Some(answer) if options.iter().any(|option| option == answer) => {}
                None if rule.effect.limits() && question.unanswered != Unanswered::Nothing => {
                    open.push(question.ask.as_str());
                }
                _ => return None,
            }
        }
        let mut finding = rule.finding.clone();
        if !open.is_empty() {
            finding.words = format!(
                "Taken as so until it is asked ({}) {}",
                open.join(" "),
                finding.words
            );
            // What is only possible would be untrue on the person's sheet.
            finding.at_home = None;
        }
        Some(finding)
    }

    /// Whether an answer to this question can limit anything.
    fn can_limit(&self, question: &Question) -> bool {
        let concerns = |rule: &Rule| rule.when.contains_key(&question.id);
        self.rules
            .iter()
            .any(|rule| rule.effect.limits() && concerns(rule))
    }

    fn tell_what_is_open(&self, screening: &Screening, today: Date, findings: &mut Findings) {
        for question in &self.questions {
            if self.answer(screening, question).is_some() {
                continue;
            }
            let rule = format!("unanswered_{}", question.id);
            match question.unanswered {
                Unanswered::Hold => findings.holds.push(own_hold(
                    &rule,
                    format!("Not answered: {} Ask before any exercise.", question.ask),
                )),
                Unanswered::Caution => {
                    let until = if self.can_limit(question) {
                        " Until it is, the answer that limits most is taken."
                    } else {
                        ""
                    };
                    let words = format!("Not answered: {}{until}", question.ask);
                    findings.cautions.push(own(&rule, words));
                }
                Unanswered::Nothing => {}
            }
        }
        if screening.surgery.is_none() {
            findings.cautions.push(own(
                "surgery_date",
                "No date of surgery: every limit of the first weeks is taken to hold still, and \
                 level 0 is the highest. Find out the date."
                    .to_owned(),
            ));
        }
        let happened_since = |surgery: &Date| screening.date < *surgery && *surgery <= today;
        if screening.surgery.as_ref().is_some_and(happened_since) {
            findings.holds.push(own_hold(
                "answers_before_surgery",
                "These answers are from before the surgery: ask anew before any exercise."
                    .to_owned(),
            ));
        }
        let age = days_from(screening.date, today);
        if age > ANSWERS_LAST_DAYS {
            findings.holds.push(own(
                ANSWERS_OLD,
                format!("These answers are {age} days old: ask again before any exercise."),
            ));
        }
    }
}

/// A finding of the program itself, not of a rule in a file.
pub(super) fn own(rule: &str, words: String) -> Finding {
    Finding {
        rule: rule.to_owned(),
        words,
        at_home: None,
        source: "What is not known is taken with care".to_owned(),
        known: Known::CommonPractice,
    }
}

/// The person can do nothing about it but wait to be asked.
fn own_hold(rule: &str, words: String) -> Finding {
    Finding {
        at_home: Some(
            "Your therapist has to ask you some more first. Do not exercise until then.".to_owned(),
        ),
        ..own(rule, words)
    }
}

fn taken_away<'a>(screening: &'a Screening, finding: &Finding) -> Option<&'a Override> {
    let of_finding = |taken: &&Override| taken.rule == finding.rule;
    screening.overrides.iter().find(of_finding)
}

/// Adds what a rule does, or lists it as taken away.
fn meet(
    findings: &mut Findings,
    screening: &Screening,
    finding: Finding,
    effect: &Effect,
    until: Option<Date>,
) {
    if let Some(taken) = taken_away(screening, &finding) {
        findings.overridden.push((finding, taken.clone()));
        return;
    }
    let Findings {
        arm_deg,
        load_kg,
        set_aside,
        ..
    } = findings;
    match effect {
        Effect::Hold => findings.holds.push(finding),
        Effect::Caution => findings.cautions.push(finding),
        Effect::Arm(value) => keep_strictest(arm_deg, *value, until, finding, set_aside),
        Effect::Load(value) => keep_strictest(load_kg, *value, until, finding, set_aside),
        Effect::HighestLevel(level) => bound_level(&mut findings.highest_level, *level, finding),
        Effect::Avoid(tags) => {
            for tag in tags {
                let avoid = findings.avoid.entry(tag.clone()).or_default();
                avoid.push(finding.clone());
            }
        }
        Effect::First(aim) => findings.first.push((*aim, finding)),
    }
}

fn bound_level(kept: &mut Option<HighestLevel>, level: u8, finding: Finding) {
    let highest = kept.get_or_insert_with(|| HighestLevel {
        level,
        by: Vec::new(),
    });
    if level < highest.level {
        highest.level = level;
        highest.by.insert(0, finding);
    } else {
        highest.by.push(finding);
    }
}

/// Of several limits the lowest holds; of those alike, as long as the longest of them.
fn keep_strictest(
    kept: &mut Option<Limit>,
    value: f64,
    until: Option<Date>,
    finding: Finding,
    set_aside: &mut Vec<Finding>,
) {
    match kept {
        Some(limit) if limit.value < value => set_aside.push(finding),
        Some(Limit {
            value: lowest,
            until: last,
            by: LimitBy::Rules(by),
        }) if *lowest == value => {
            // One without an end holds longest.
            let is_longer = last.is_some_and(|last| until.is_none_or(|until| until > last));
            if is_longer {
                *last = until;
                by.insert(0, finding);
            } else {
                by.push(finding);
            }
        }
        _ => {
            let looser = kept.replace(Limit {
                value,
                until,
                by: LimitBy::Rules(vec![finding]),
            });
            set_aside.extend(
                looser
                    .into_iter()
                    .flat_map(|limit| limit.by.rules().to_vec()),
            );
        }
    }
}

/// What a limit is of.
#[derive(Clone, Copy)]
enum LimitKind {
    Arm,
    Load,
}

impl LimitKind {
    const fn words(self) -> &'static str {
        match self {
            LimitKind::Arm => "the arm limit that was set",
            LimitKind::Load => "the load limit that was set",
        }
    }

    fn value(self, value: f64) -> String {
        match self {
            LimitKind::Arm => format!("{value:.0}°"),
            LimitKind::Load => format!("{value} kg"),
        }
    }

    fn check(self, set: SetLimit, today: Date) -> Result<(), ScreeningError> {
        let what = self.words();
        let range = match self {
            LimitKind::Arm => ARM_LIMITS_DEG,
            LimitKind::Load => LOAD_KG,
        };
        if !range.contains(&set.value) {
            return Err(ScreeningError::Limit {
                what,
                got: set.value,
                expected: within("a value", &range),
            });
        }
        if let Some(set_on) = set.set_on {
            not_ahead("the day on which a limit was set", set_on, today)?;
            if let Some(until) = set.until.filter(|until| *until < set_on) {
                return Err(ScreeningError::LimitDays {
                    what,
                    set_on,
                    until,
                });
            }
        }
        Ok(())
    }
}

fn set_limits(screening: &Screening) -> impl Iterator<Item = (LimitKind, SetLimit)> {
    [
        (LimitKind::Arm, screening.arm_deg),
        (LimitKind::Load, screening.load_kg),
    ]
    .into_iter()
    .filter_map(|(kind, set)| set.map(|set| (kind, set)))
}

/// Puts a limit that surgeon or therapist set before that of the rules, while it holds.
fn put_first(kind: LimitKind, set: SetLimit, today: Date, findings: &mut Findings) {
    let value = kind.value(set.value);
    if let Some(until) = set.until.filter(|until| *until < today) {
        findings.cautions.push(own(
            "set_limit_over",
            format!(
                "{} of {value} ended on {until} and no longer holds: ask whether a new one does.",
                sentence(kind.words())
            ),
        ));
        return;
    }
    let limit = match kind {
        LimitKind::Arm => &mut findings.arm_deg,
        LimitKind::Load => &mut findings.load_kg,
    };
    let before = limit.replace(Limit {
        value: set.value,
        until: set.until,
        by: LimitBy::Set { on: set.set_on },
    });
    let Some(before) = before else {
        return;
    };
    let rules = before.by.rules();
    if before.value < set.value {
        let words: Vec<&str> = rules.iter().map(|rule| rule.words.as_str()).collect();
        findings.cautions.push(own(
            "set_limit_higher",
            format!(
                "{} of {value} goes before the {} of a rule: {}",
                sentence(kind.words()),
                kind.value(before.value),
                words.join(" ")
            ),
        ));
    } else {
        findings.set_aside.extend(rules.to_vec());
    }
}

fn sentence(words: &str) -> String {
    words.replacen("the", "The", 1)
}

fn not_ahead(what: &'static str, date: Date, today: Date) -> Result<(), ScreeningError> {
    if date > today {
        return Err(ScreeningError::Ahead { what, date, today });
    }
    Ok(())
}

#[cfg(test)]
mod tests;

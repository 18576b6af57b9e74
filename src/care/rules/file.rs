//! The file of rules, read and held against itself: what does not fit together is refused, with the
//! name of the entry and what was expected.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use serde::Deserialize;
use serde::de::DeserializeOwned;
use toml::{Table, Value};

use super::{
    Choice, Effect, Level, OWN_RULES, Question, Rule, Rules, RulesError, Unanswered, Window,
};
use crate::care::{Aim, Finding, Known};

pub(super) const ARM_DEG: RangeInclusive<f64> = 0.0..=180.0;
pub const LOAD_KG: RangeInclusive<f64> = 0.0..=30.0;
const HIGHEST_LEVEL: u8 = 3;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Document {
    level: Vec<Table>,
    tags: BTreeMap<String, String>,
    question: Vec<Table>,
    rule: Vec<Table>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LevelEntry {
    id: String,
    level: u8,
    from_day: i32,
    words: String,
    source: String,
    known: Known,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct QuestionEntry {
    id: String,
    ask: String,
    options: Vec<Choice>,
    unanswered: Unanswered,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleEntry {
    id: String,
    when: BTreeMap<String, Vec<String>>,
    days_from: Option<i32>,
    days_before: Option<i32>,
    until_day: Option<i32>,
    hold: Option<bool>,
    #[serde(default = "yes")]
    removable: bool,
    caution: Option<bool>,
    arm_deg: Option<f64>,
    load_kg: Option<f64>,
    highest_level: Option<u8>,
    avoid: Option<Vec<String>>,
    first: Option<String>,
    words: String,
    at_home: Option<String>,
    source: String,
    known: Known,
}

const fn yes() -> bool {
    true
}

pub(super) fn read(text: &str) -> Result<Rules, RulesError> {
    let document: Document =
        toml::from_str(text).map_err(|error| RulesError::Unreadable(error.to_string()))?;
    let tags = document.tags;
    for (tag, meaning) in &tags {
        let entry = Entry::new("tag", tag);
        entry.has_id(tag)?;
        entry.has_text("a meaning", meaning)?;
    }
    let levels = levels(entries("level", document.level)?)?;
    let questions = questions(entries("question", document.question)?)?;
    let mut ids: BTreeSet<String> = levels
        .iter()
        .map(|level| level.finding.rule.clone())
        .collect();
    let mut rules = Vec::new();
    for entry in entries::<RuleEntry>("rule", document.rule)? {
        let name = Entry::new("rule", &entry.id);
        name.has_id(&entry.id)?;
        if !ids.insert(entry.id.clone()) {
            return Err(name.expected("an id of its own: another rule or level has it"));
        }
        rules.push(rule(entry, &questions, &tags)?);
    }
    Ok(Rules {
        own: None,
        levels,
        tags,
        questions,
        rules,
    })
}

/// One entry of the file, for what is said of it.
struct Entry(String);

impl Entry {
    fn new(kind: &str, id: &str) -> Entry {
        Entry(format!("{kind} {id}"))
    }

    fn expected(&self, what: impl Into<String>) -> RulesError {
        RulesError::Entry {
            entry: self.0.clone(),
            trouble: format!("expected {}", what.into()),
        }
    }

    fn has_text(&self, what: &str, text: &str) -> Result<(), RulesError> {
        if text.trim().is_empty() {
            return Err(self.expected(format!("{what}, found nothing")));
        }
        Ok(())
    }

    fn has_id(&self, id: &str) -> Result<(), RulesError> {
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        if id.is_empty() || !id.chars().all(plain) {
            return Err(self.expected("an id of a–z, 0–9 and _"));
        }
        if OWN_RULES.iter().any(|own| id.starts_with(own)) {
            return Err(self.expected("another id: this one is the program's own"));
        }
        Ok(())
    }
}

/// The entries of one kind. Each is read by itself, so that what is wrong with it names it.
fn entries<T: DeserializeOwned>(kind: &str, tables: Vec<Table>) -> Result<Vec<T>, RulesError> {
    let read = |(index, table): (usize, Table)| {
        let entry = match table.get("id").and_then(Value::as_str) {
            Some(id) => format!("{kind} {id}"),
            None => format!("{kind} number {}", index + 1),
        };
        Value::Table(table)
            .try_into()
            .map_err(|error: toml::de::Error| RulesError::Entry {
                entry,
                trouble: error.message().to_owned(),
            })
    };
    tables.into_iter().enumerate().map(read).collect()
}

fn levels(entries: Vec<LevelEntry>) -> Result<Vec<Level>, RulesError> {
    let mut levels: Vec<Level> = Vec::new();
    for entry in entries {
        let name = Entry::new("level", &entry.id);
        name.has_id(&entry.id)?;
        name.has_text("words", &entry.words)?;
        name.has_text("a source", &entry.source)?;
        if usize::from(entry.level) != levels.len() {
            return Err(name.expected(format!("level = {}: levels in order", levels.len())));
        }
        let fits = match levels.last() {
            None => entry.from_day == 0,
            Some(before) => entry.from_day >= before.from_day,
        };
        if !fits {
            return Err(name.expected("from_day 0 for level 0, and none before the level below"));
        }
        if levels.iter().any(|level| level.finding.rule == entry.id) {
            return Err(name.expected("an id of its own"));
        }
        levels.push(Level {
            from_day: entry.from_day,
            finding: Finding {
                rule: entry.id,
                words: entry.words,
                at_home: None,
                source: entry.source,
                known: entry.known,
            },
        });
    }
    if levels.len() != usize::from(HIGHEST_LEVEL) + 1 {
        return Err(Entry("levels".to_owned()).expected(format!("0 to {HIGHEST_LEVEL}")));
    }
    Ok(levels)
}

fn questions(entries: Vec<QuestionEntry>) -> Result<Vec<Question>, RulesError> {
    let mut questions: Vec<Question> = Vec::new();
    for entry in entries {
        let name = Entry::new("question", &entry.id);
        name.has_id(&entry.id)?;
        name.has_text("words to ask", &entry.ask)?;
        if questions.iter().any(|question| question.id == entry.id) {
            return Err(name.expected("an id of its own"));
        }
        if entry.options.len() < 2 {
            return Err(name.expected("two options or more"));
        }
        let mut seen = BTreeSet::new();
        for option in &entry.options {
            name.has_id(&option.id)?;
            name.has_text("words for each option", &option.words)?;
            if !seen.insert(&option.id) {
                return Err(name.expected(format!("option {} once", option.id)));
            }
        }
        questions.push(Question {
            id: entry.id,
            ask: entry.ask,
            options: entry.options,
            unanswered: entry.unanswered,
        });
    }
    Ok(questions)
}

fn rule(
    entry: RuleEntry,
    questions: &[Question],
    tags: &BTreeMap<String, String>,
) -> Result<Rule, RulesError> {
    let name = Entry::new("rule", &entry.id);
    name.has_text("words", &entry.words)?;
    name.has_text("a source", &entry.source)?;
    if let Some(at_home) = &entry.at_home {
        name.has_text("words at home, or no at_home", at_home)?;
    }
    let effect = effect(&entry, &name, tags)?;
    let window = window(&entry, &name, &effect)?;
    if entry.when.is_empty() && window.is_none() {
        return Err(name.expected("an answer in when, or days: without either it is no rule"));
    }
    for (id, options) in &entry.when {
        let Some(question) = questions.iter().find(|question| question.id == *id) else {
            return Err(name.expected(format!("a question of this file in when, found {id}")));
        };
        if options.is_empty() {
            return Err(name.expected(format!("an option of {id}, found none")));
        }
        if let Some(option) = options
            .iter()
            .find(|option| question.choice(option).is_none())
        {
            return Err(name.expected(format!(
                "{id} to be one of {}, found {option}",
                question.ids()
            )));
        }
        if effect == Effect::Hold && question.unanswered == Unanswered::Nothing {
            return Err(name.expected(format!(
                "question {id} to hold or caution when unanswered, since it can lead to this hold"
            )));
        }
    }
    if effect == Effect::Hold && entry.at_home.is_none() {
        return Err(name.expected("at_home: a hold tells the person what to do"));
    }
    Ok(Rule {
        is_removable: entry.removable,
        when: entry.when,
        window,
        effect,
        finding: Finding {
            rule: entry.id,
            words: entry.words,
            at_home: entry.at_home,
            source: entry.source,
            known: entry.known,
        },
    })
}

fn effect(
    entry: &RuleEntry,
    name: &Entry,
    tags: &BTreeMap<String, String>,
) -> Result<Effect, RulesError> {
    if entry.hold == Some(false) || entry.caution == Some(false) {
        return Err(name.expected("hold and caution to be true, or left out"));
    }
    let aim = |id: &String| {
        Aim::from_id(id)
            .ok_or_else(|| name.expected(format!("an aim of exercises in first, found {id}")))
    };
    let first = entry.first.as_ref().map(aim).transpose()?;
    let mut effects = [
        entry.hold.map(|_| Effect::Hold),
        entry.caution.map(|_| Effect::Caution),
        entry.arm_deg.map(Effect::Arm),
        entry.load_kg.map(Effect::Load),
        entry.highest_level.map(Effect::HighestLevel),
        entry.avoid.clone().map(Effect::Avoid),
        first.map(Effect::First),
    ]
    .into_iter()
    .flatten();
    let (Some(effect), None) = (effects.next(), effects.next()) else {
        return Err(name.expected(
            "exactly one of hold, caution, arm_deg, load_kg, highest_level, avoid and first",
        ));
    };
    match &effect {
        Effect::Arm(value) if !ARM_DEG.contains(value) => {
            return Err(name.expected(within("arm_deg", &ARM_DEG)));
        }
        Effect::Load(value) if !LOAD_KG.contains(value) => {
            return Err(name.expected(within("load_kg", &LOAD_KG)));
        }
        Effect::HighestLevel(level) if *level > HIGHEST_LEVEL => {
            return Err(name.expected(format!("highest_level from 0 to {HIGHEST_LEVEL}")));
        }
        Effect::Avoid(avoided) => {
            if avoided.is_empty() {
                return Err(name.expected("a tag in avoid"));
            }
            if let Some(tag) = avoided.iter().find(|tag| !tags.contains_key(*tag)) {
                return Err(name.expected(format!("a tag of [tags] in avoid, found {tag}")));
            }
        }
        _ => {}
    }
    Ok(effect)
}

fn window(entry: &RuleEntry, name: &Entry, effect: &Effect) -> Result<Option<Window>, RulesError> {
    let limit = matches!(effect, Effect::Arm(_) | Effect::Load(_));
    let before = match (limit, entry.days_before, entry.until_day) {
        (true, Some(_), _) => return Err(name.expected("until_day for a limit, not days_before")),
        (false, _, Some(_)) => {
            return Err(name.expected("days_before: until_day is for arm_deg and load_kg"));
        }
        (true, None, until) => until.map(|day| day.saturating_add(1)),
        (false, before, None) => before,
    };
    if entry.days_from.is_none() && before.is_none() {
        return Ok(None);
    }
    let window = Window::new(entry.days_from, before);
    if window.is_empty() {
        return Err(name.expected("a first day before the last one"));
    }
    Ok(Some(window))
}

pub(super) fn within(what: &str, range: &RangeInclusive<f64>) -> String {
    format!("{what} from {} to {}", range.start(), range.end())
}

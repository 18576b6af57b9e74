//! The case that is open: whom it is about, what was asked of them, and what that comes to today.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::{fs, io};

use axum::extract::State;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{self, Answer, Trouble};
use super::body::Sent;
use super::review::brief;
use super::{Shared, lock};
use crate::body::Operated;
use crate::care::{Question, Rules, Screening, SetLimit, Unanswered};
use crate::case::{self, Case};
use crate::checksum;
use crate::episode::{self, Sheet};
use crate::record;
use crate::report::plan::findings_json;
use crate::report::words::capitalised;

/// The case as a whole: where it stands, its visits, and what of it is damaged.
pub async fn case(State(shared): State<Arc<Shared>>) -> Answer {
    let work = |shared: &Shared| {
        let (mut told, folder) = {
            let visits = lock(&shared.visits);
            let case = visits.case()?;
            let mut told = standing(case, shared.today())?;
            told["visits"] = visits
                .of_case()
                .into_iter()
                .map(|(id, visit)| Value::Object(brief(id, visits.number(id), visit)))
                .collect();
            told["outside"] = json!(visits.outside_case());
            (told, case.folder().to_owned())
        };
        // Reading all its photos takes a moment, in which others are answered.
        let found = case::verify_by(&folder, &|path| shared.checksum_of(path))?;
        let unreadable = told["unreadable"].as_array().cloned().unwrap_or_default();
        let is_told = |file: &str| unreadable.iter().any(|told| told["file"] == file);
        told["damages"] = found
            .damages
            .iter()
            .filter(|damage| !is_told(&damage.file))
            .map(|damage| {
                json!({
                    "file": damage.file,
                    "words": format!("{} {}.", damage.file, damage.fault),
                    "advice": damage.advice,
                })
            })
            .collect();
        answer::json(told)
    };
    shared.work(work).await
}

/// Checksums of files by their size and the time of their last change: so long as both stay, a file is
/// not read for each look at the case. Whatever changes neither is seen once the program is started
/// anew, and by `tragus case verify`, which reads everything.
pub type ReadBefore = BTreeMap<PathBuf, ((u64, Timestamp), String)>;

impl Shared {
    fn checksum_of(&self, path: &Path) -> io::Result<String> {
        let about = fs::metadata(path)?;
        // Before it is read: what changes it meanwhile leaves a later time.
        let changed = about.modified().ok();
        let changed = changed.and_then(|changed| Timestamp::try_from(changed).ok());
        let state = changed.map(|changed| (about.len(), changed));
        if let Some((known, checksum)) = lock(&self.read_before).get(path)
            && state == Some(*known)
        {
            return Ok(checksum.clone());
        }
        let checksum = checksum::sha256(&case::read_plain(path)?);
        if let Some(state) = state {
            let entry = (state, checksum.clone());
            lock(&self.read_before).insert(path.to_owned(), entry);
        }
        Ok(checksum)
    }
}

/// Where a case stands today: its last screening and what that comes to, its last plan, its sheets.
pub(super) fn standing(case: &Case, today: Date) -> Result<Value, Trouble> {
    let screening = case.screening_on(today)?;
    let findings = screening
        .as_ref()
        .map(|screening| Rules::built_in().findings(screening, today));
    let is_of_today = |day: Date| day == today;
    let unreadable = case.unreadable_plans()?.into_iter().map(|plan| {
        json!({
            "file": plan.file,
            "words": format!("{} can't be read: {}.", plan.file, plan.why),
            "advice": UNREADABLE_PLAN,
        })
    });
    let mut plans = case.readable_plans()?.into_iter().rev();
    let plan = plans.find(|kept| kept.plan.date <= today);
    // One that is damaged is there too, and refused once it is asked for.
    let is_there = |sheet| !matches!(episode::sheet(case, today, sheet), Ok(None));
    let has_print = |sheet| !matches!(episode::print(case, today, sheet), Ok(None));
    Ok(json!({
        "code": case.about.code,
        "today": today,
        "surgery_date": screening.as_ref().and_then(|screening| screening.surgery),
        "days_since_surgery": findings.as_ref().and_then(|findings| findings.days_since_surgery),
        "screening": screening.as_ref().map(|screening| json!({
            "day": screening.date,
            "is_of_today": is_of_today(screening.date),
        })),
        "holds": findings.as_ref().map_or(0, |findings| findings.holds.len()),
        "findings": findings.as_ref().map(findings_json),
        "plan": plan.map(|kept| json!({
            "day": kept.plan.date,
            "is_of_today": is_of_today(kept.plan.date),
            "level": kept.plan.level,
            "approved": kept.approved.map(|approval| json!({
                "initials": approval.initials,
                "on": approval.on,
            })),
        })),
        "sheets": {
            "plan": is_there(Sheet::Plan),
            "home": is_there(Sheet::Home),
            "hold": is_there(Sheet::Hold),
        },
        "prints": {
            "home": has_print(Sheet::Home),
            "hold": has_print(Sheet::Hold),
        },
        "unreadable": unreadable.collect::<Value>(),
    }))
}

/// What an unreadable plan said is not to be guessed: who goes on without it does so knowingly.
pub(super) const UNREADABLE_PLAN: &str = "Don't hand its sheets out. Take the file from a backup, or move it \
    out of the case's folder; until then no plan is made that would go by it.";

/// The questions of a screening, with what is known from the last one.
pub async fn screening(State(shared): State<Arc<Shared>>) -> Answer {
    let work = |shared: &Shared| {
        let today = shared.today();
        let visits = lock(&shared.visits);
        let case = visits.case()?;
        let last = case.screening_on(today)?;
        let last = last.as_ref();
        let questions = Rules::built_in().questions().iter();
        let still = |set: Option<SetLimit>| set.filter(|set| !set.is_over_on(today));
        let limit = |set: Option<SetLimit>| {
            set.map(|set| json!({ "value": set.value, "set_on": set.set_on, "until": set.until }))
        };
        // What a visit was told since goes with what was said last time: the lower one is offered.
        let filed = visits.filed();
        let told = episode::told_since(filed.iter(), last.map(|last| last.date));
        let set = still(last.and_then(|last| last.arm_deg));
        let arm_limit = SetLimit::lowest(set.into_iter().chain(told));
        let overrides = last
            .map(|last| last.overrides.as_slice())
            .unwrap_or_default();
        answer::json(json!({
            "code": case.about.code,
            "day": today,
            "from": mark_of(last),
            "last": last.map(|last| last.date),
            "questions": questions.map(|question| asked(question, last)).collect::<Vec<_>>(),
            "surgery_date": last.and_then(|last| last.surgery),
            "operated_side": last.and_then(|last| last.operated).map(Operated::name),
            "arm_limit": limit(arm_limit),
            "load_limit": limit(still(last.and_then(|last| last.load_kg))),
            "overrides": overrides.iter().map(|taken| json!({
                "rule": taken.rule, "initials": taken.initials, "reason": taken.reason,
            })).collect::<Vec<_>>(),
        }))
    };
    shared.work(work).await
}

/// A question. What was said last time is offered again, but never where an answer can mean that
/// nothing may be done: that is asked anew each time.
fn asked(question: &Question, last: Option<&Screening>) -> Value {
    let can_hold = question.unanswered == Unanswered::Hold;
    let known = last.and_then(|last| last.answers.get(&question.id));
    let known = known.filter(|known| !can_hold && question.choice(known).is_some());
    let options = question.options.iter();
    json!({
        "id": question.id,
        "ask": question.ask,
        "can_hold": can_hold,
        "known": known,
        "options": options
            .map(|option| json!({ "id": option.id, "words": option.words }))
            .collect::<Vec<_>>(),
    })
}

/// What tells one screening from another.
fn mark_of(screening: Option<&Screening>) -> Option<String> {
    screening.map(|screening| checksum::sha256(record::screening_to_json(screening).as_bytes()))
}

/// A screening that was filled in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Filled {
    /// The day on which the questions were shown, and the last screening then.
    day: Date,
    from: Option<String>,
    surgery_date: Option<Date>,
    operated_side: Option<String>,
    answers: BTreeMap<String, String>,
    arm_limit: Option<Limit>,
    load_limit: Option<Limit>,
}

/// A limit that the surgeon or therapist set.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Limit {
    value: f64,
    set_on: Option<Date>,
    until: Option<Date>,
}

impl Limit {
    fn read(self, today: Date) -> Result<SetLimit, Trouble> {
        if let Some(until) = self.until.filter(|until| *until < today) {
            return Err(Trouble::unusable(
                format!("A limit that ended on {until} is over."),
                "Ask whether another one holds; leave the field empty where none is set.",
            ));
        }
        Ok(SetLimit {
            value: self.value,
            set_on: self.set_on.or(Some(today)),
            until: self.until,
        })
    }
}

impl Filled {
    fn read(self, today: Date) -> Result<Screening, Trouble> {
        if let Some(surgery) = self.surgery_date.filter(|surgery| *surgery > today) {
            return Err(Trouble::unusable(
                format!("The date of surgery, {surgery}, is still to come."),
                "Enter the day of the last operation, or leave it empty.",
            ));
        }
        let operated = self.operated_side.map(|name| {
            Operated::from_name(&name)
                .filter(|side| *side != Operated::Neither)
                .ok_or_else(|| {
                    Trouble::unusable(
                        format!("{name:?} is no operated side."),
                        "Choose left, right or both.",
                    )
                })
        });
        let limit = |limit: Option<Limit>| limit.map(|limit| limit.read(today)).transpose();
        let screening = Screening {
            date: today,
            surgery: self.surgery_date,
            operated: operated.transpose()?,
            answers: self.answers,
            arm_deg: limit(self.arm_limit)?,
            load_kg: limit(self.load_limit)?,
            overrides: Vec::new(),
        };
        Rules::built_in()
            .check(&screening, today)
            .map_err(|error| {
                Trouble::unusable(
                    format!("{}.", capitalised(&error.to_string())),
                    "Correct it, then keep the screening again.",
                )
            })?;
        Ok(screening)
    }
}

/// Keeps a screening of today. A plan of today is no plan any more.
pub async fn keep_screening(
    State(shared): State<Arc<Shared>>,
    Sent(filled): Sent<Filled>,
) -> Answer {
    let work = move |shared: &Shared| {
        let today = shared.today();
        let (day, from) = (filled.day, filled.from.clone());
        let screening = filled.read(today)?;
        let mut visits = lock(&shared.visits);
        let case = visits.case()?;
        if day != today {
            return Err(Trouble::conflict(
                format!("These questions were shown on {day}, and today is {today}."),
                "Open the screening again, and ask anew.",
            ));
        }
        if from != mark_of(case.screening_on(today)?.as_ref()) {
            return Err(Trouble::conflict(
                "Another screening was kept meanwhile.",
                "Go back to the case, look at what it says, and screen again if that is wrong.",
            ));
        }
        let before = case.plan_of(today)?;
        let before = before.and_then(|text| record::plan_from_json(&text).ok());
        episode::keep_screening(case, &screening)?;
        let mut told = standing(case, today)?;
        told["no_longer_approved"] = json!(
            before
                .and_then(|plan| plan.approved)
                .map(|approval| json!({ "initials": approval.initials, "on": approval.on }))
        );
        visits.settle()?;
        answer::json(told)
    };
    shared.work(work).await
}

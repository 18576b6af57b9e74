//! Where a case stands on the day of a document: what has to be settled first, and which limits hold.

use jiff::civil::Date;

use crate::care::plan::Plan;
use crate::care::{ANSWERS_OLD, Findings};
use crate::report::words::{calendar_day, capitalised};

/// What the last screening comes to on a day, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandingView {
    /// What has to be settled before any exercise.
    pub holds: Vec<String>,
    /// That the answers are too old to go by.
    pub outdated: Option<String>,
    /// How high the operated arm may go on the day: "90° until 16 June 2026".
    pub height: String,
    /// Which limits hold on the day, or that none is known.
    pub limits: String,
}

impl StandingView {
    pub fn of(plan: &Plan) -> StandingView {
        let findings = &plan.findings;
        let is_age = |rule: &str| rule == ANSWERS_OLD;
        let holds = findings.holds.iter().filter(|hold| !is_age(&hold.rule));
        StandingView {
            holds: holds.map(|hold| hold.words.clone()).collect(),
            outdated: findings
                .holds
                .iter()
                .any(|hold| is_age(&hold.rule))
                .then(|| {
                    format!(
                        "The last screening is of {}: ask again before any exercise.",
                        calendar_day(plan.screening.date)
                    )
                }),
            height: findings.arm_deg.as_ref().map_or_else(
                || "none entered or by the rules: ask the surgeon".to_owned(),
                |limit| format!("{:.0}°{}", limit.value, until(limit.until)),
            ),
            limits: limits(findings, plan.date),
        }
    }

    /// All that stands before an exercise, answers that are too old too.
    pub fn all_holds(&self) -> Vec<String> {
        self.holds.iter().chain(&self.outdated).cloned().collect()
    }
}

fn until(last: Option<Date>) -> String {
    last.map_or(String::new(), |last| {
        format!(" until {}", calendar_day(last))
    })
}

fn limits(findings: &Findings, day: Date) -> String {
    let day = calendar_day(day);
    let height = findings.arm_deg.as_ref().map(|limit| {
        let until = until(limit.until);
        format!("operated arm no higher than {:.0}°{until}", limit.value)
    });
    let load = findings.load_kg.as_ref().map(|limit| {
        let until = until(limit.until);
        format!("operated arm lifts no more than {} kg{until}", limit.value)
    });
    let missing = match (&height, &load) {
        (Some(_), Some(_)) => None,
        (None, Some(_)) => Some("height"),
        (Some(_), None) => Some("load"),
        (None, None) => Some("height or load"),
    };
    let known: Vec<String> = height.into_iter().chain(load).collect();
    let known = match known.is_empty() {
        true => None,
        false => Some(format!("In force on {day}: {}.", known.join("; "))),
    };
    // That nobody entered one is no leave to go further.
    let missing = missing.map(|of| {
        let on = if known.is_some() {
            String::new()
        } else {
            format!("on {day} ")
        };
        capitalised(&format!(
            "{on}no limit of {of} was entered or follows from the rules: ask the surgeon."
        ))
    });
    known
        .into_iter()
        .chain(missing)
        .collect::<Vec<_>>()
        .join(" ")
}

//! Where a case stands on the day of a document: what has to be settled first, and which limits hold.

use jiff::civil::Date;

use crate::care::ANSWERS_OLD;
use crate::care::plan::Plan;
use crate::report::words::calendar_day;

/// What the last screening comes to on a day, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandingView {
    /// What has to be settled before any exercise.
    pub holds: Vec<String>,
    /// How high the operated arm may go: "90° until 16 June 2026".
    pub height: String,
    /// Which limits hold, or that none is known.
    pub limits: String,
}

impl StandingView {
    pub fn of(plan: &Plan) -> StandingView {
        let findings = &plan.findings;
        let holds = findings.holds.iter().map(|hold| match &*hold.rule {
            // Read on another day than the plan, it says of which one the answers are.
            ANSWERS_OLD => format!(
                "The last screening is of {}: ask again before any exercise.",
                calendar_day(plan.screening.date)
            ),
            _ => hold.words.clone(),
        });
        let day = calendar_day(plan.date);
        StandingView {
            holds: holds.collect(),
            height: match &findings.arm_deg {
                Some(limit) => format!("{:.0}°{} (on {day})", limit.value, until(limit.until)),
                None => format!("none known on {day}: ask the surgeon"),
            },
            limits: limits(plan),
        }
    }

    /// Of a case whose screening is not read here, and why.
    pub fn unread(why: &str) -> StandingView {
        StandingView {
            holds: vec![format!(
                "{why}: what has to be settled first and which limits hold is not told here. Look it up \
                 before any exercise."
            )],
            height: "not told here".to_owned(),
            limits: "Which limits hold is not told here: look it up, or ask the surgeon."
                .to_owned(),
        }
    }
}

fn until(last: Option<Date>) -> String {
    last.map_or(String::new(), |last| {
        format!(" until {}", calendar_day(last))
    })
}

fn limits(plan: &Plan) -> String {
    let findings = &plan.findings;
    let day = calendar_day(plan.date);
    let height = findings.arm_deg.as_ref().map(|limit| {
        let until = until(limit.until);
        format!("operated arm no higher than {:.0}°{until}", limit.value)
    });
    let load = findings.load_kg.as_ref().map(|limit| {
        let until = until(limit.until);
        format!("operated arm lifts no more than {} kg{until}", limit.value)
    });
    // That nobody entered one, or that one is over, is no leave to go further.
    let missing = [
        ("height", height.is_none(), plan.screening.arm_deg, "°"),
        ("load", load.is_none(), plan.screening.load_kg, " kg"),
    ];
    let missing = missing
        .into_iter()
        .filter(|(_, is_missing, ..)| *is_missing);
    let missing = missing.map(|(what, _, set, unit)| {
        let over = set.filter(|set| set.is_over_on(plan.date));
        match over.and_then(|set| Some((set.value, set.until?))) {
            Some((value, last)) => format!(
                "The limit of {what}, {value}{unit}, was set until {}, and none is known since: ask the \
                 surgeon.",
                calendar_day(last)
            ),
            None => format!(
                "No limit of {what} for {day} was entered or follows from the rules: ask the surgeon."
            ),
        }
    });
    let missing: Vec<String> = missing.collect();
    let known: Vec<String> = height.into_iter().chain(load).collect();
    let known = match known.is_empty() {
        true => None,
        false => Some(format!("In force on {day}: {}.", known.join("; "))),
    };
    known
        .into_iter()
        .chain(missing)
        .collect::<Vec<_>>()
        .join(" ")
}

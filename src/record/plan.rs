//! The file of a day's plan. Written for whoever reads it; read back is what the next plan goes by.

use jiff::civil::Date;
use serde::Deserialize;
use serde_json::{Value, json};

use super::{RecordError, check_schema, parse, pretty, wrong};
use crate::care::plan::{Plan, Previous};
use crate::care::programme::{BY_CHOICE, Prescribed};
use crate::care::{Finding, Goal, Known, Limit, LimitBy, Pace, Signal};
use crate::checksum::sha256;

/// Version of the file format.
pub const PLAN_SCHEMA: &str = "tragus-plan/1";

/// What the next plan goes by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptPlan {
    pub plan: Previous,
    /// `None` while it is a proposal.
    pub approved: Option<KeptApproval>,
    /// The exercises that the clinician left out, by their ids.
    pub without: Vec<String>,
    /// The checksum of the clinic's own rules that it was made by; `None` for those built in.
    pub rules: Option<String>,
    /// Whether something has to be settled before any exercise.
    pub is_held: bool,
}

/// Who approved a plan, and when.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct KeptApproval {
    pub initials: String,
    #[serde(rename = "date")]
    pub on: Date,
}

/// Writes a plan, made by rules with this checksum where they are a clinic's own; approved by these
/// initials on that day, or not.
pub fn plan_to_json(plan: &Plan, rules: Option<&str>, approved: Option<(&str, Date)>) -> String {
    let findings = &plan.findings;
    let programme = &plan.programme;
    let mut written = json!({
        "schema": PLAN_SCHEMA,
        "date": plan.date,
        "case": plan.code,
        "screened": plan.screening.date,
        "visits": plan.visits,
        "days_since_surgery": findings.days_since_surgery,
        "approved": approved.map(|(initials, on)| json!({ "initials": initials, "date": on })),
        "holds": one_by_one(&findings.holds),
        "arm_limit_deg": findings.arm_deg.as_ref().map(limit),
        "load_limit_kg": findings.load_kg.as_ref().map(limit),
        "highest_level": findings.highest_level.as_ref().map(|highest| {
            json!({ "level": highest.level, "by": one_by_one(&highest.by) })
        }),
        "avoid": findings.avoid.iter().map(|(tag, by)| {
            json!({ "tag": tag, "by": one_by_one(by) })
        }).collect::<Vec<_>>(),
        "first": findings.first.iter().map(|(aim, why)| {
            json!({ "aim": aim.id(), "by": finding(why) })
        }).collect::<Vec<_>>(),
        "set_aside": one_by_one(&findings.set_aside),
        "stays_until": findings.stays_until,
        "cautions": one_by_one(&findings.cautions),
        "overrides": findings.overridden.iter().map(|(rule, by)| {
            json!({ "rule": rule.rule, "initials": by.initials, "reason": by.reason })
        }).collect::<Vec<_>>(),
        "signals": plan.signals.iter().map(signal).collect::<Vec<_>>(),
        "goals": plan.goals.iter().map(goal).collect::<Vec<_>>(),
        "shortfalls": plan.shortfalls.iter().map(|short| json!({
            "aim": short.aim.id(),
            "side": short.side.map_or("", |side| side.name()),
            "words": short.words,
        })).collect::<Vec<_>>(),
        "pace": {
            "step": pace(plan.pace),
            "because": plan.pace_because,
            "taken": pace(plan.taken),
        },
        // Whoever approves answers for every word of the sheet.
        "content": sha256(
            format!("{:?} {:?}", plan.screening.operated, programme).as_bytes(),
        ),
        "level": programme.level,
        "level_because": programme.level_because,
        "exercises": programme.exercises.iter().map(exercise).collect::<Vec<_>>(),
        "left_out": programme.left_out.iter().map(|left| json!({
            "exercise": left.id, "because": left.because,
        })).collect::<Vec<_>>(),
        "notes": programme.notes,
    });
    if let Some(rules) = rules {
        written["rules"] = rules.into();
    }
    pretty(&written)
}

/// Reads what the next plan goes by.
pub fn plan_from_json(text: &str) -> Result<KeptPlan, RecordError> {
    #[derive(Deserialize)]
    struct PlanFile {
        date: Date,
        level: u8,
        visits: Vec<String>,
        pace: PaceFile,
        approved: Option<KeptApproval>,
        #[serde(default)]
        left_out: Vec<LeftOutFile>,
        rules: Option<String>,
        #[serde(default)]
        holds: Vec<Value>,
    }
    #[derive(Deserialize)]
    struct LeftOutFile {
        exercise: String,
        because: String,
    }
    #[derive(Deserialize)]
    struct PaceFile {
        taken: String,
    }
    check_schema(text, PLAN_SCHEMA)?;
    let file: PlanFile = parse(text)?;
    Ok(KeptPlan {
        plan: Previous {
            date: file.date,
            level: file.level,
            last_visit: file.visits.last().cloned(),
            taken: [Pace::Begin, Pace::Forward, Pace::Stay, Pace::Back]
                .into_iter()
                .find(|step| pace(*step) == file.pace.taken)
                .ok_or_else(|| {
                    let got = format!("{:?}", file.pace.taken);
                    wrong("taken", got, "begin, forward, stay or back")
                })?,
        },
        approved: file.approved,
        rules: file.rules,
        is_held: !file.holds.is_empty(),
        without: file
            .left_out
            .into_iter()
            .filter(|left| left.because == BY_CHOICE)
            .map(|left| left.exercise)
            .collect(),
    })
}

fn one_by_one(findings: &[Finding]) -> Vec<Value> {
    findings.iter().map(finding).collect()
}

fn finding(finding: &Finding) -> Value {
    json!({
        "rule": finding.rule,
        "words": finding.words,
        "source": finding.source,
        "known": finding.known.id(),
    })
}

fn limit(limit: &Limit) -> Value {
    let by = match &limit.by {
        LimitBy::Set { on } => vec![json!({ "set_on": on })],
        LimitBy::Rules(rules) => one_by_one(rules),
    };
    json!({ "value": limit.value, "until": limit.until, "by": by })
}

const fn pace(pace: Pace) -> &'static str {
    match pace {
        Pace::Begin => "begin",
        Pace::Forward => "forward",
        Pace::Stay => "stay",
        Pace::Back => "back",
    }
}

fn signal(signal: &Signal) -> Value {
    json!({
        "signal": signal.kind.id(),
        "side": signal.side.map_or("", |side| side.name()),
        "words": signal.words,
        "ask": signal.ask,
        "source": signal.source,
        "known": signal.known.id(),
    })
}

fn goal(goal: &Goal) -> Value {
    let target = match &goal.target {
        Ok(target) => json!({
            "value": target.value.value,
            "sigma": target.value.sigma,
            "sd": target.spread,
            "source": target.source,
            "known": target.known.map(Known::id),
        }),
        Err(why) => json!({ "reason": why }),
    };
    let last = match &goal.last {
        Ok(last) => json!({ "value": last.value, "sigma": last.sigma }),
        Err(why) => json!({ "reason": why }),
    };
    json!({
        "side": goal.side.name(),
        "measure": goal.movement.measure().id(),
        "basis": goal.basis.id(),
        "target": target,
        "last": last,
        "standing": goal.standing().words(),
        "unit": "deg",
    })
}

fn exercise(prescribed: &Prescribed) -> Value {
    json!({
        "exercise": prescribed.exercise.id,
        "name": prescribed.exercise.name,
        "arm_up_to_deg": prescribed.top_deg,
        "load_kg": prescribed.exercise.load_kg,
        "easier": prescribed.easier,
        "harder": prescribed.harder,
        "because": prescribed.because,
    })
}

//! What a plan says, in the order of reading, without a word on how it looks.

use crate::care::catalogue::{Amount, Dose};
use crate::care::plan::Plan;
use crate::care::programme::{GOING_ON, Prescribed};
use crate::care::{Finding, Findings, Goal, Known, Limit, LimitBy, Pace, Signal, Standing};
use crate::report::number;
use crate::report::view::ASK_FIRST;
use crate::report::words::capitalised;

use super::PlanInput;

pub(super) struct PlanView {
    pub title: String,
    pub facts: Vec<(&'static str, String)>,
    pub sections: Vec<Section>,
}

pub(in crate::report) struct Section {
    pub title: &'static str,
    /// Before anything else can be done.
    pub is_stop: bool,
    pub lines: Vec<Line>,
    pub table: Option<Table>,
}

pub(in crate::report) struct Line {
    pub text: String,
    /// Where it is from, and how that is known.
    pub source: Option<String>,
}

pub(in crate::report) struct Table {
    pub head: Vec<&'static str>,
    pub rows: Vec<Vec<String>>,
}

pub(in crate::report) const CAUTIONS: &str = "Not a diagnosis. The program proposes from what was entered and \
    measured; a clinician examines, decides and approves. The surgeon's and the therapist's limits \
    come first, local rules and licensed practice decide. Stop on sharp pain, pinching, dizziness or \
    new swelling.";

pub(super) fn view(input: &PlanInput) -> PlanView {
    let plan = input.plan;
    let measured = |nothing| match plan.visits.is_empty() {
        true => "Not measured: no visit is filed.",
        false => nothing,
    };
    let mut sections = holds(&plan.findings);
    sections.push(limits(&plan.findings));
    let overridden = plan.findings.overridden.iter().map(|(rule, by)| Line {
        text: format!(
            "Taken away by {}, \"{}\": {}",
            by.initials, by.reason, rule.words
        ),
        source: Some(format!("rule {}", rule.rule)),
    });
    push(
        &mut sections,
        "Rules that a clinician took away",
        overridden.collect(),
    );
    sections.extend(cautions(&plan.findings));
    sections.push(or_none(
        "Questions that the course raises",
        plan.signals.iter().map(signal).collect(),
        measured("None: nothing in the measures calls for one."),
    ));
    sections.push(goals(plan));
    sections.push(or_none(
        "What falls short beyond error",
        plan.shortfalls
            .iter()
            .map(|shortfall| plain(capitalised(&shortfall.words) + "."))
            .collect(),
        measured("Nothing."),
    ));
    let mut pace = vec![plain(self::pace(plan)), plain(level(plan))];
    if all_reached(plan) {
        pace.push(plain(
            "Every goal that has a basis is reached beyond error: think of ending the exercises, and \
             say when to measure again."
                .to_owned(),
        ));
    }
    sections.push(lines("Pace", pace));
    sections.push(exercises(plan));
    push(
        &mut sections,
        "Notes on the choice",
        plan.programme.notes.iter().cloned().map(plain).collect(),
    );
    if plan.findings.holds.is_empty() {
        sections.push(left_out(plan));
    }
    sections.push(lines(
        "How to go on",
        GOING_ON
            .iter()
            .map(|(step, words)| plain(format!("{step}: {words}")))
            .collect(),
    ));
    sections.push(asked(input));
    PlanView {
        title: format!("Plan for {}", plan.code),
        facts: facts(input),
        sections,
    }
}

fn facts(input: &PlanInput) -> Vec<(&'static str, String)> {
    let plan = input.plan;
    let day = plan.findings.days_since_surgery;
    let surgery = plan.screening.surgery.map_or_else(
        || "date not known".to_owned(),
        |date| match day {
            Some(day) if day >= 14 => format!("{date}, {} weeks ago", day / 7),
            Some(1) => format!("{date}, yesterday"),
            Some(day) if day > 0 => format!("{date}, {day} days ago"),
            Some(0) => format!("{date}, today"),
            _ => format!("{date}, still to come"),
        },
    );
    let operated = plan
        .screening
        .operated
        .map_or("not known", |operated| operated.name());
    vec![
        ("Day", plan.date.to_string()),
        ("Surgery", surgery),
        ("Operated side", operated.to_owned()),
        ("Screened", plan.screening.date.to_string()),
        (
            "Last visit",
            plan.visits
                .last()
                .cloned()
                .unwrap_or_else(|| "none".to_owned()),
        ),
        (
            "State",
            match input.approved {
                Some(approval) => format!("approved by {} on {}", approval.initials, approval.on),
                None => "proposal, not approved".to_owned(),
            },
        ),
    ]
}

/// Where one stands, what has to be asked before anything else.
pub(in crate::report) fn holds(findings: &Findings) -> Vec<Section> {
    let mut sections = Vec::new();
    push(
        &mut sections,
        ASK_FIRST,
        findings.holds.iter().map(finding).collect(),
    );
    for section in &mut sections {
        section.is_stop = true;
    }
    sections
}

pub(in crate::report) fn cautions(findings: &Findings) -> Vec<Section> {
    let mut sections = Vec::new();
    let cautions = findings.cautions.iter().map(finding);
    push(&mut sections, "Keep in mind", cautions.collect());
    sections
}

pub(in crate::report) const LIMITS_TODAY: &str = "Limits today";

pub(in crate::report) fn limits(findings: &Findings) -> Section {
    let mut found = match &findings.arm_deg {
        Some(limit) => limited(
            format!("Operated arm no higher than {:.0}°", limit.value),
            limit,
        ),
        None => vec![plain(no_limit_of("height"))],
    };
    found.extend(match &findings.load_kg {
        Some(limit) => limited(
            format!("Operated arm lifts no more than {} kg", limit.value),
            limit,
        ),
        None => vec![plain(no_limit_of("load"))],
    });
    found.extend(findings.set_aside.iter().map(|rule| Line {
        text: format!("Applies too, beside a stricter limit: {}", rule.words),
        source: Some(source(rule)),
    }));
    if let Some(highest) = &findings.highest_level {
        let what = format!("No exercise above level {}.", highest.level);
        found.extend(said_by(&what, &highest.by));
    }
    // One rule may forbid several things.
    let mut rules: Vec<(&Finding, Vec<String>)> = Vec::new();
    for (tag, by) in &findings.avoid {
        let tag = tag.replace('_', " ");
        for finding in by {
            match rules
                .iter_mut()
                .find(|(known, _)| known.rule == finding.rule)
            {
                Some((_, tags)) => tags.push(tag.clone()),
                None => rules.push((finding, vec![tag.clone()])),
            }
        }
    }
    found.extend(rules.into_iter().map(|(finding, tags)| Line {
        text: format!("Left out: {}. {}", tags.join(", "), finding.words),
        source: Some(source(finding)),
    }));
    found.extend(findings.first.iter().map(|(_, why)| finding(why)));
    lines(LIMITS_TODAY, found)
}

/// That nobody entered one is no leave to go further.
fn no_limit_of(what: &str) -> String {
    format!("No limit of {what} was entered or follows from the rules: ask the surgeon.")
}

/// Each rule with its own words and source, the first with what they come to.
fn said_by(what: &str, rules: &[Finding]) -> Vec<Line> {
    let mut lines: Vec<Line> = rules.iter().map(finding).collect();
    if let Some(first) = lines.first_mut() {
        first.text = format!("{what} {}", first.text);
    }
    lines
}

fn limited(what: String, limit: &Limit) -> Vec<Line> {
    let until = limit
        .until
        .map_or(String::new(), |day| format!(", up to and with {day}"));
    match &limit.by {
        LimitBy::Set { on } => vec![Line {
            text: format!("{what}{until}."),
            source: Some(match on {
                Some(day) => format!("set by the surgeon or therapist on {day}"),
                None => "set by the surgeon or therapist".to_owned(),
            }),
        }],
        LimitBy::Rules(rules) => said_by(&format!("{what}{until}."), rules),
    }
}

fn finding(finding: &Finding) -> Line {
    Line {
        text: finding.words.clone(),
        source: Some(source(finding)),
    }
}

fn source(finding: &Finding) -> String {
    let known = match finding.known {
        // The source says it.
        Known::CommonPractice if finding.source == "Custom of the trade" => String::new(),
        how => format!(" ({})", known(how)),
    };
    format!("rule {}; {}{known}", finding.rule, finding.source)
}

const fn known(known: Known) -> &'static str {
    match known {
        Known::Read => "read",
        Known::Secondary => "read in a source that cites it",
        Known::Memory => "from memory",
        Known::CommonPractice => "common practice",
    }
}

/// What was measured, and what to ask.
pub(in crate::report) fn asked_of(signal: &Signal) -> String {
    format!("{}. {}", capitalised(&signal.words), signal.ask)
}

fn signal(signal: &Signal) -> Line {
    Line {
        text: asked_of(signal),
        source: Some(format!("{} ({})", signal.source, known(signal.known))),
    }
}

fn goals(plan: &Plan) -> Section {
    let rows: Vec<Vec<String>> = plan.goals.iter().map(goal).collect();
    let mut section = or_none(
        "Goals",
        Vec::new(),
        "None: no visit is filed, or no side was operated.",
    );
    if !rows.is_empty() {
        section.lines = vec![plain(number::PLUS_MINUS.to_owned())];
        section.table = Some(Table {
            head: vec!["Arm", "Goal", "Stands", "To reach", "Last visit"],
            rows,
        });
    }
    section
}

fn goal(goal: &Goal) -> Vec<String> {
    let unit = goal.movement.measure().unit();
    vec![
        format!(
            "{} {}",
            goal.side.name(),
            goal.movement.measure().words().to_lowercase()
        ),
        goal.basis.words().to_owned(),
        goal.standing().words().to_owned(),
        match &goal.target {
            Ok(target) => {
                let value = match target.spread {
                    Some(spread) => format!("{:.0}° (SD {spread}°)", target.value.value),
                    None if target.known.is_none() => number::with_error(target.value, unit),
                    None => format!("{:.0}°", target.value.value),
                };
                let known = target
                    .known
                    .map_or(String::new(), |how| format!(" ({})", known(how)));
                format!("{value}; {}{known}", target.source)
            }
            Err(why) => why.clone(),
        },
        match &goal.last {
            Ok(last) => number::with_error(*last, unit),
            Err(why) => why.clone(),
        },
    ]
}

pub(in crate::report) fn pace(plan: &Plan) -> String {
    let step = match plan.pace {
        Pace::Begin => "Begin",
        Pace::Forward => "Forward",
        Pace::Stay => "Stay",
        Pace::Back => "Back",
    };
    format!("{step}. {}", capitalised(&plan.pace_because))
}

pub(in crate::report) fn level(plan: &Plan) -> String {
    format!(
        "Level {} (of 0 to 3): {}.",
        plan.programme.level,
        plan.programme.level_because.trim_end_matches('.')
    )
}

fn all_reached(plan: &Plan) -> bool {
    let mut standings = plan
        .goals
        .iter()
        .map(Goal::standing)
        .filter(|standing| *standing != Standing::NoBasis)
        .peekable();
    standings.peek().is_some() && standings.all(|standing| standing == Standing::Reached)
}

fn exercises(plan: &Plan) -> Section {
    let rows: Vec<Vec<String>> = (1..)
        .zip(&plan.programme.exercises)
        .map(|(number, prescribed)| exercise(number, prescribed))
        .collect();
    let mut section = or_none("Proposed exercises", Vec::new(), "None.");
    if !rows.is_empty() {
        section.lines.clear();
        section.table = Some(Table {
            head: vec!["", "Exercise", "Arm up to", "Load", "Dose", "Why"],
            rows,
        });
    }
    section
}

fn exercise(number: usize, prescribed: &Prescribed) -> Vec<String> {
    let exercise = &prescribed.exercise;
    vec![
        number.to_string(),
        format!("{} (level {})", exercise.name, exercise.level),
        match prescribed.is_cut() {
            _ if prescribed.top_deg == 0.0 => "stays down".to_owned(),
            true => format!("{:.0}°, by the limit", prescribed.top_deg),
            false => format!("{:.0}°", prescribed.top_deg),
        },
        match exercise.load_kg {
            kg if kg > 0.0 => format!("{kg} kg"),
            _ => "none".to_owned(),
        },
        dose(&prescribed.dose),
        prescribed.because.clone(),
    ]
}

pub(in crate::report) fn dose(dose: &Dose) -> String {
    let amount = match dose.amount {
        Amount::Repeats {
            repeats,
            most,
            hold_s,
            most_sets,
        } => {
            let hold = match hold_s {
                0 => String::new(),
                seconds => format!(", held {seconds} s"),
            };
            let sets = match most_sets {
                0 | 1 => String::new(),
                sets => format!(", up to {sets} sets"),
            };
            format!("{repeats} to {most} times{hold}{sets}")
        }
        Amount::Minutes { minutes, most } => format!("{minutes} to {most} min"),
    };
    let daily = match dose.times_a_day {
        1 => "once a day".to_owned(),
        times => format!("{times} times a day"),
    };
    let weekly = match dose.days_a_week {
        7 => String::new(),
        days => format!(", {days} days a week"),
    };
    format!("{amount}; {daily}{weekly}")
}

fn left_out(plan: &Plan) -> Section {
    // Most are left out for one of few reasons.
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for left in &plan.programme.left_out {
        match reasons.iter_mut().find(|(known, _)| *known == left.because) {
            Some((_, names)) => names.push(&left.name),
            None => reasons.push((&left.because, vec![&left.name])),
        }
    }
    let lines = reasons
        .into_iter()
        .map(|(because, names)| plain(format!("{}: {}.", capitalised(because), names.join(", "))))
        .collect();
    or_none("Left out", lines, "Nothing.")
}

fn asked(input: &PlanInput) -> Section {
    let rows = input
        .rules
        .questions()
        .iter()
        .map(|question| {
            let answer = input.plan.screening.answers.get(&question.id);
            let words = answer.and_then(|answer| question.choice(answer));
            vec![
                question.ask.clone(),
                words.map_or("not answered".to_owned(), |choice| choice.words.clone()),
            ]
        })
        .collect();
    Section {
        title: "What was asked",
        is_stop: false,
        lines: Vec::new(),
        table: Some(Table {
            head: vec!["Question", "Answer"],
            rows,
        }),
    }
}

fn plain(text: String) -> Line {
    Line { text, source: None }
}

fn lines(title: &'static str, lines: Vec<Line>) -> Section {
    Section {
        title,
        is_stop: false,
        lines,
        table: None,
    }
}

fn or_none(title: &'static str, found: Vec<Line>, none: &str) -> Section {
    match found.is_empty() {
        true => lines(title, vec![plain(none.to_owned())]),
        false => lines(title, found),
    }
}

fn push(sections: &mut Vec<Section>, title: &'static str, found: Vec<Line>) {
    if !found.is_empty() {
        sections.push(lines(title, found));
    }
}

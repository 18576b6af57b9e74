//! The note of one visit for the clinician's file: what was measured and what was not, the limits and
//! the plan of that day, and room for what only the clinician knows.

use crate::report::plan::PlanInput;
use crate::report::plan::view::{self as plan_view, CAUTIONS, Section};
use crate::report::view::{self, Group, Mark, NoticeView, ReadingView, ReasonView, RepeatsView};
use crate::report::words::{calendar_day, capitalised};
use crate::visit::Visit;

use super::{Block, Cell, Column, Document, Line, Photos, Table, Tone, boxed, list, paragraph};

/// What a note is written from.
pub struct VisitNote<'a> {
    pub visit: &'a Visit,
    /// Of the visit's day; `None` where the person was not screened by then.
    pub plan: Option<&'a PlanInput<'a>>,
    /// With lines on them.
    pub photos: Vec<Photos>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole note.
pub fn visit_note(note: VisitNote) -> Document {
    let view = view::visit(note.visit);
    let facts = view
        .facts
        .iter()
        .map(|(name, value)| ((*name).to_owned(), value.clone()));
    let day = note.visit.facts.date;
    let day = day.map(|day| ("Visit".to_owned(), calendar_day(day)));
    let surgery = note.plan.and_then(|input| input.plan.screening.surgery);
    let surgery = surgery.map(|day| ("Day of surgery".to_owned(), calendar_day(day)));
    let code = note.visit.facts.case.as_deref().unwrap_or_default();

    let mut blocks = Vec::new();
    if let Some(input) = note.plan {
        blocks.extend(holds(input));
    }
    if !view.cautions.is_empty() {
        let cautions = view
            .cautions
            .iter()
            .map(|caution| signed(Mark::Caution, caution));
        let cautions = vec![Block::List(cautions.collect())];
        blocks.push(boxed(Tone::Caution, "Look at this first", cautions));
    }
    blocks.push(heading("Measured"));
    blocks.extend(measured(&view.readings));
    blocks.extend(repeats(&view.repeats));
    blocks.extend(unmeasured(&view.unmeasured));
    if !note.photos.is_empty() {
        blocks.push(heading("Photos"));
        blocks.push(paragraph(
            "The lines lie on the photo as it was taken; the values are corrected for where the camera \
             stood, so the two may differ a little.",
        ));
        blocks.extend(note.photos.into_iter().map(Block::Photos));
    }
    match note.plan {
        Some(input) => blocks.extend(plan(input)),
        None => blocks.push(paragraph(
            "No screening is filed up to this day, so no limits and no plan are known.",
        )),
    }
    blocks.extend(notices(&view.notices));
    blocks.push(heading("Seen and asked by the clinician"));
    blocks.push(Block::Room(
        "Findings, pain, what was done, what was agreed".to_owned(),
    ));
    blocks.push(Block::Blank("Name, signature and day".to_owned()));
    blocks.push(paragraph(CAUTIONS));
    Document {
        title: format!("Visit note: {}", view.title),
        facts: facts.chain(day).chain(surgery).collect(),
        blocks,
        foot: format!("{code} {}", view.title).trim().to_owned(),
        at_home: false,
        program: note.program.to_owned(),
    }
}

fn heading(words: &str) -> Block {
    Block::Heading(words.to_owned())
}

fn signed(mark: Mark, text: impl Into<String>) -> Line {
    Line {
        mark: Some(mark),
        ..Line::plain(text)
    }
}

fn column(head: &str, is_number: bool) -> Column {
    Column {
        head: head.to_owned(),
        is_number,
    }
}

fn cell(text: impl Into<String>) -> Cell {
    Cell {
        text: text.into(),
        ..Cell::default()
    }
}

fn side(side: &str, operated: bool) -> Cell {
    match (side, operated) {
        ("", _) => cell("–"),
        (side, true) => cell(format!("{side}, operated")),
        (side, false) => cell(side),
    }
}

/// Reach first, the sides of a measure together. What tells another row's movement on another scale is
/// left to the record.
fn measured(readings: &[ReadingView]) -> Vec<Block> {
    let mut readings: Vec<&ReadingView> = readings.iter().filter(|reading| !reading.twin).collect();
    readings.sort_by_key(|reading| {
        let is_posture = Group::of(reading.measure) != Group::Reach;
        (is_posture, reading.measure, reading.side)
    });
    let rows: Vec<Vec<Cell>> = readings
        .into_iter()
        .map(|reading| {
            vec![
                cell(reading.name),
                side(reading.side, reading.operated),
                cell(&reading.value),
                cell(&reading.photo),
            ]
        })
        .collect();
    if rows.is_empty() {
        return vec![paragraph("Nothing could be measured.")];
    }
    let table = Table {
        about: "Measures of this visit".to_owned(),
        columns: vec![
            column("Measure", false),
            column("Side", false),
            column("Value ± 95 %", true),
            column("Photo", false),
        ],
        rows,
    };
    vec![
        Block::Table(table),
        paragraph(format!("{} {}", view::PLUS_MINUS, view::NOT_IN_IT)),
    ]
}

fn repeats(repeats: &[RepeatsView]) -> Vec<Block> {
    if repeats.is_empty() {
        return Vec::new();
    }
    let rows = repeats
        .iter()
        .map(|of| {
            vec![
                cell(of.name),
                side(of.side, of.operated),
                cell(&of.mean),
                cell(&of.sem),
                cell(of.photos.to_string()),
            ]
        })
        .collect();
    let table = Table {
        about: "Means of several photos of one pose".to_owned(),
        columns: vec![
            column("Seen more than once", false),
            column("Side", false),
            column("Mean ± 95 %", true),
            column("SEM", true),
            column("Photos", true),
        ],
        rows,
    };
    vec![Block::Table(table)]
}

fn unmeasured(reasons: &[ReasonView]) -> Vec<Block> {
    if reasons.is_empty() {
        return Vec::new();
    }
    let lines = reasons.iter().map(|group| {
        let why = group.reasons.join(" / ");
        let why = (!why.is_empty()).then(|| format!("{}.", capitalised(why.trim_end_matches('.'))));
        let words = group.heading.iter().cloned().chain(why);
        let words = words.chain(group.action.map(str::to_owned));
        Line {
            mark: Some(Mark::Unknown),
            ..Line::led(
                format!("{}:", capitalised(&group.measures.join(", "))),
                words.collect::<Vec<_>>().join(" "),
            )
        }
    });
    vec![
        heading("Not measured, and why"),
        Block::List(lines.collect()),
    ]
}

fn holds(input: &PlanInput) -> Vec<Block> {
    let sections = plan_view::holds(&input.plan.findings);
    let lines = |section: &Section| vec![Block::List(lines(section))];
    sections
        .iter()
        .map(|section| boxed(Tone::Stop, section.title, lines(section)))
        .collect()
}

fn plan(input: &PlanInput) -> Vec<Block> {
    let plan = input.plan;
    let findings = &plan.findings;
    let mut sections = vec![plan_view::limits(findings)];
    sections.extend(plan_view::cautions(findings));
    let mut blocks: Vec<Block> = sections
        .iter()
        .flat_map(|section| [heading(section.title), Block::List(lines(section))])
        .collect();
    if !plan.signals.is_empty() {
        blocks.push(heading("Questions that the course raises"));
        blocks.push(list(plan.signals.iter().map(plan_view::asked_of)));
    }
    blocks.push(heading("Plan"));
    if !findings.holds.is_empty() {
        blocks.push(paragraph(
            "No exercise is proposed while a question above stands.",
        ));
        return blocks;
    }
    let state = match input.approved {
        Some(approval) => format!(
            "Approved by {} on {}.",
            approval.initials,
            calendar_day(approval.on)
        ),
        None => "A proposal that nobody has approved yet: not to be handed out.".to_owned(),
    };
    blocks.push(Block::Line(Line::led(
        state,
        format!("{} {}", plan_view::pace(plan), plan_view::level(plan)),
    )));
    let exercises = plan.programme.exercises.iter();
    blocks.push(list(exercises.map(|one| {
        format!("{}: {}", one.exercise.name, plan_view::dose(&one.dose))
    })));
    blocks
}

fn lines(section: &Section) -> Vec<Line> {
    let line = |line: &plan_view::Line| Line {
        source: line.source.as_ref().map(|source| format!("({source})")),
        ..Line::plain(&line.text)
    };
    section.lines.iter().map(line).collect()
}

fn notices(notices: &[NoticeView]) -> Vec<Block> {
    if notices.is_empty() {
        return Vec::new();
    }
    let lines = notices
        .iter()
        .map(|notice| Line::led(format!("{}:", notice.about), notice.texts.join(" ")));
    vec![heading("Notes on the photos"), Block::List(lines.collect())]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::Rules;
    use crate::report::document::{html, samples};
    use crate::report::samples::{HAND_REASON, visits};

    const DAY: jiff::civil::Date = jiff::civil::date(2026, 4, 28);

    fn written(visit: &Visit, answers: Option<&[(&str, &str)]>) -> String {
        let plan = answers.map(|answers| samples::plan(&visits(), DAY, answers));
        let input = plan.as_ref().map(|plan| PlanInput {
            plan,
            rules: Rules::built_in(),
            approved: None,
            program: "tragus 0.0.0",
        });
        html(&visit_note(VisitNote {
            visit,
            plan: input.as_ref(),
            photos: Vec::new(),
            program: "tragus 0.0.0",
        }))
        .replace('\u{a0}', " ")
    }

    #[test]
    fn it_holds_values_with_errors_reasons_limits_and_room() {
        let page = written(&visits()[1], Some(&[]));
        for words in [
            "Visit note: follow-up, 2026-04-28",
            "141 ± 7°",
            "right, operated",
            HAND_REASON.trim_start_matches("needs "),
            "Limits today",
            "A proposal that nobody has approved yet",
            "Findings, pain, what was done, what was agreed",
            "Name, signature and day",
            "Not a diagnosis.",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
        let without = written(&visits()[1], None);
        assert!(without.contains("No screening is filed") && !without.contains("Limits today"));
    }

    #[test]
    fn a_hold_stands_before_everything_and_no_exercise_is_named() {
        let page = written(&visits()[1], Some(&[("fever", "yes")]));
        let at = |words: &str| {
            page.find(words)
                .unwrap_or_else(|| panic!("{words} is missing"))
        };
        assert!(at("Ask or refer first") < at("Measured</h2>"));
        assert!(!page.contains("Calm breathing"));
    }

    #[test]
    fn nothing_measured_says_so() {
        let mut visit = visits()[1].clone();
        visit.readings.retain(|reading| reading.outcome.is_err());
        assert!(written(&visit, None).contains("Nothing could be measured."));
    }
}

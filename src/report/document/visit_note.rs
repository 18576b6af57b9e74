//! The note of one visit for the clinician's file: what was measured and what was not, the limits and
//! the plan of that day, and room for what only the clinician knows.

use image::RgbImage;

use crate::compare::compare;
use crate::report::html::ReportInput;
use crate::report::plan::PlanInput;
use crate::report::plan::view::{self as plan_view, CAUTIONS, Section};
use crate::report::view::{self, Group, ReadingView, RepeatsView, StandingView};
use crate::report::words::{calendar_day, lower_first};
use crate::visit::Visit;

use super::comparison::{cautions, cell, heading, notices, reasons, words};
use super::photos::{STROKES, photos};
use super::{Block, Cell, Column, Document, Line, Table, Tone, boxed, list, paragraph};

/// What a note is written from.
pub struct VisitNote<'a> {
    pub visit: &'a Visit,
    /// Of the visit's day; `None` where the person was not screened by then.
    pub plan: Option<&'a PlanInput<'a>>,
    /// Of the last screening after it, which goes before it.
    pub since: Option<&'a PlanInput<'a>>,
    /// The upright photo of this index; `None` when it isn't at hand.
    pub pictures: &'a dyn Fn(usize) -> Option<RgbImage>,
    pub show_faces: bool,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole note.
pub fn visit_note(note: &VisitNote) -> Document {
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
    blocks.extend(note.since.into_iter().flat_map(since));
    blocks.extend(note.plan.into_iter().flat_map(holds));
    blocks.extend(cautions(&view.cautions));
    blocks.push(heading("Measured"));
    blocks.extend(measured(&view.readings));
    blocks.extend(repeats(&view.repeats));
    blocks.extend(reasons("Not measured, and why", &view.unmeasured));
    blocks.extend(with_lines(note));
    match note.plan {
        Some(input) => blocks.extend(plan(input)),
        None => blocks.push(paragraph(
            "No screening is filed up to the day of the visit: of that day no limits and no plan are \
             known.",
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

fn number(head: &str) -> Column {
    Column {
        is_number: true,
        ..words(head)
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
            words("Measure"),
            words("Side"),
            number("Value ± 95 %"),
            words("Photo"),
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
            words("Seen more than once"),
            words("Side"),
            number("Mean ± 95 %"),
            number("SEM"),
            number("Photos"),
        ],
        rows,
    };
    vec![Block::Table(table)]
}

/// One of each pose, with lines on it.
fn with_lines(note: &VisitNote) -> Vec<Block> {
    let visits = std::slice::from_ref(note.visit);
    let comparison = compare(visits);
    let input = ReportInput {
        visits,
        comparison: &comparison,
        pictures: &|_, photo| (note.pictures)(photo),
        show_faces: note.show_faces,
        standing: None,
        program: note.program,
    };
    let photos = photos(&input, &view::comparison(visits, &comparison).pairs);
    if photos.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![
        heading("Photos"),
        paragraph(
            "The lines lie on the photo as it was taken; the values are corrected for where the camera \
             stood, so the two may differ a little.",
        ),
        paragraph(STROKES),
    ];
    blocks.extend(photos.into_iter().map(Block::Photos));
    blocks
}

fn holds(input: &PlanInput) -> Vec<Block> {
    let sections = plan_view::holds(&input.plan.findings);
    let day = calendar_day(input.plan.date);
    let told = |section: &Section| {
        let title = format!("On {day}: {}", lower_first(section.title));
        boxed(Tone::Stop, &title, vec![Block::List(lines(section))])
    };
    sections.iter().map(told).collect()
}

/// What was asked after the visit, before all that was known at it.
fn since(input: &PlanInput) -> Vec<Block> {
    let standing = StandingView::of(input.plan);
    let title = format!("Since the visit, on {}", calendar_day(input.plan.date));
    let held = match standing.holds {
        holds if holds.is_empty() => Vec::new(),
        holds => vec![
            Block::Line(Line::led(format!("{}:", view::ASK_FIRST), "")),
            list(holds),
        ],
    };
    let tone = match held.is_empty() {
        true => Tone::Caution,
        false => Tone::Stop,
    };
    let rest = [
        paragraph(standing.limits),
        paragraph("What stands below is of the day of the visit."),
    ];
    vec![boxed(tone, &title, held.into_iter().chain(rest).collect())]
}

fn plan(input: &PlanInput) -> Vec<Block> {
    let plan = input.plan;
    let findings = &plan.findings;
    let mut sections = vec![plan_view::limits(findings)];
    sections.extend(plan_view::cautions(findings));
    let mut blocks: Vec<Block> = sections
        .iter()
        .flat_map(|section| {
            // The note may be read on any day.
            let title = match section.title {
                plan_view::LIMITS_TODAY => format!("Limits on {}", calendar_day(plan.date)),
                title => title.to_owned(),
            };
            [heading(&title), Block::List(lines(section))]
        })
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

#[cfg(test)]
mod tests {
    use jiff::ToSpan;

    use super::*;
    use crate::care::Rules;
    use crate::report::document::{html, samples};
    use crate::report::samples::{HAND_REASON, visits};

    const DAY: jiff::civil::Date = jiff::civil::date(2026, 4, 28);

    fn written(visit: &Visit, answers: Option<&[(&str, &str)]>) -> String {
        written_later(visit, answers, None)
    }

    fn written_later(
        visit: &Visit,
        answers: Option<&[(&str, &str)]>,
        later: Option<&[(&str, &str)]>,
    ) -> String {
        let plan = |answers: Option<&[(&str, &str)]>, day| {
            answers.map(|answers| samples::plan(&visits(), day, answers))
        };
        let (plan, since) = (plan(answers, DAY), plan(later, DAY + 1.day()));
        let input = |plan| PlanInput {
            plan,
            rules: Rules::built_in(),
            approved: None,
            program: "tragus 0.0.0",
        };
        html(&visit_note(&VisitNote {
            visit,
            plan: plan.as_ref().map(input).as_ref(),
            since: since.as_ref().map(input).as_ref(),
            pictures: &|_| None,
            show_faces: false,
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
            "Limits on ",
            "A proposal that nobody has approved yet",
            "Findings, pain, what was done, what was agreed",
            "Name, signature and day",
            "Not a diagnosis.",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
        let without = written(&visits()[1], None);
        assert!(without.contains("No screening is filed") && !without.contains("Limits on "));
    }

    #[test]
    fn a_hold_stands_before_everything_and_no_exercise_is_named() {
        let page = written(&visits()[1], Some(&[("fever", "yes")]));
        let at = |words: &str| {
            page.find(words)
                .unwrap_or_else(|| panic!("{words} is missing"))
        };
        assert!(at("On 28 April 2026: ask or refer first") < at("Measured</h2>"));
        assert!(!page.contains("Calm breathing"));
    }

    #[test]
    fn what_was_asked_since_stands_before_what_the_visit_knew() {
        let visit = &visits()[1];
        let fever = Some(&[("fever", "yes")][..]);
        let at = |page: &str, words: &str| {
            page.find(words)
                .unwrap_or_else(|| panic!("{words} is missing: {page}"))
        };
        // A hold that is settled since, and one that came.
        let page = written_later(visit, fever, Some(&[]));
        let since = at(&page, "Since the visit, on 29 April 2026");
        assert!(since < at(&page, "On 28 April 2026: ask or refer first"));
        let page = written_later(visit, Some(&[]), fever);
        assert!(at(&page, "Fever") < at(&page, "What stands below is of the day of the visit"));
        assert!(!page.contains("On 28 April 2026: ask"));
        assert!(!written(visit, Some(&[])).contains("Since the visit"));
    }

    #[test]
    fn nothing_measured_says_so() {
        let mut visit = visits()[1].clone();
        visit.readings.retain(|reading| reading.outcome.is_err());
        assert!(written(&visit, None).contains("Nothing could be measured."));
    }
}

//! The course of a case to date, on two pages at most: how high the arms went at each visit, what fell
//! in between, the limits that held, and what comes next.

use crate::compare::Comparison;
use crate::report::plan::PlanInput;
use crate::report::plan::view as plan_view;
use crate::report::view::{
    self, ChartView, CourseView, Group, Mark, NOT_IN_IT, PLUS_MINUS, REASONS_BELOW, ReachView,
};
use crate::report::words::calendar_day;
use crate::visit::Visit;

use super::comparison::{before_acting, cautions, cell, charts, foot, heading, summary, words};
use super::{Block, Cell, Column, Document, Line, Table, Tone, boxed, paragraph};

/// What a course is written from.
pub struct Course<'a> {
    /// At least one, oldest first.
    pub visits: &'a [Visit],
    pub comparison: &'a Comparison,
    /// Of the last day that anything is known of; `None` where the person was never screened.
    pub plan: Option<&'a PlanInput<'a>>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole course.
pub fn course(course: &Course) -> Document {
    let mut view = view::comparison(course.visits, course.comparison);
    for line in &mut view.summary {
        let elsewhere = "; the comparison report has the reasons";
        line.text = line.text.replace(REASONS_BELOW, elsewhere);
    }
    let mut blocks: Vec<Block> = course.plan.into_iter().flat_map(holds).collect();
    blocks.extend(cautions(&view.cautions));
    blocks.push(heading("First to last"));
    blocks.push(summary(&view.summary));
    blocks.push(paragraph(format!("{PLUS_MINUS} {NOT_IN_IT}")));
    blocks.extend(visit_by_visit(&view::course(
        course.visits,
        course.comparison,
    )));
    let reaches: Vec<ChartView> = view
        .charts
        .iter()
        .filter(|chart| Group::of(chart.measure) == Group::Reach)
        .cloned()
        .collect();
    blocks.extend(charts(&reaches));
    blocks.extend(next(course.plan));
    blocks.push(before_acting(&view));
    let facts = view.facts.iter();
    let mut facts: Vec<(String, String)> = facts
        .map(|(name, value)| ((*name).to_owned(), value.clone()))
        .collect();
    let surgery = course.plan.and_then(|input| input.plan.screening.surgery);
    facts.extend(surgery.map(|day| ("Day of surgery".to_owned(), calendar_day(day))));
    facts.push(("Visits".to_owned(), view.visits.len().to_string()));
    Document {
        title: "Course to date".to_owned(),
        facts,
        blocks,
        foot: foot(&view),
        at_home: false,
        program: course.program.to_owned(),
    }
}

fn holds(input: &PlanInput) -> Vec<Block> {
    plan_view::holds(&input.plan.findings)
        .iter()
        .map(|section| {
            let lines = section.lines.iter().map(|line| Line::plain(&line.text));
            boxed(
                Tone::Stop,
                section.title,
                vec![Block::List(lines.collect())],
            )
        })
        .collect()
}

fn visit_by_visit(course: &CourseView) -> Vec<Block> {
    let mut blocks = vec![heading("How high the arms went, visit by visit")];
    if course.arms.is_empty() {
        blocks.push(paragraph("No visit has measured how high an arm went."));
        return blocks;
    }
    let mut columns = vec![words("Visit"), words("Arm limit that day")];
    columns.extend(course.arms.iter().map(|arm| Column {
        head: match arm.operated {
            true => format!("{}, {} (operated)", arm.name, arm.side),
            false => format!("{}, {}", arm.name, arm.side),
        },
        is_number: false,
    }));
    let rows = course
        .visits
        .iter()
        .map(|visit| {
            let (label, date) = match &visit.name.lines[..] {
                [label, rest @ ..] => (label.clone(), rest.join(", ")),
                [] => (String::new(), String::new()),
            };
            let name = Cell {
                note: (!date.is_empty()).then_some(date),
                ..cell(label)
            };
            let reaches = visit.reaches.iter().map(reach);
            [name, cell(&visit.limit)]
                .into_iter()
                .chain(reaches)
                .collect()
        })
        .collect();
    blocks.push(Block::Table(Table {
        about: "How high each arm went at each visit, and the limit of that day".to_owned(),
        columns,
        rows,
    }));
    blocks
}

fn reach(reach: &ReachView) -> Cell {
    Cell {
        mark: reach.mark,
        note: reach.note.map(str::to_owned),
        ..cell(&reach.words)
    }
}

fn next(plan: Option<&PlanInput>) -> Vec<Block> {
    let mut blocks = vec![heading("Next")];
    let Some(input) = plan else {
        blocks.push(paragraph(
            "No screening is filed, so no limits of today and no plan are known.",
        ));
        return blocks;
    };
    let plan = input.plan;
    let limits = plan_view::limits(&plan.findings);
    // Those of height and load stand first.
    let limits = limits
        .lines
        .iter()
        .take(2)
        .map(|line| Line::plain(&line.text));
    let asked = plan.signals.iter().map(|signal| Line {
        mark: Some(Mark::Unknown),
        ..Line::led("To be asked:", plan_view::asked_of(signal))
    });
    let mut lines: Vec<Line> = limits.chain(asked).collect();
    if plan.findings.holds.is_empty() {
        let names: Vec<&str> = plan
            .programme
            .exercises
            .iter()
            .map(|one| one.exercise.name.as_str())
            .collect();
        lines.push(Line::led("Pace:", plan_view::pace(plan)));
        lines.push(Line::led("Exercises:", plan_view::level(plan)));
        lines.push(Line::led(
            match input.approved {
                Some(_) => "Approved:",
                None => "Proposed, not approved:",
            },
            match names.is_empty() {
                true => "none.".to_owned(),
                false => format!("{}.", names.join("; ")),
            },
        ));
    } else {
        lines.push(Line::plain(
            "No exercise is proposed while a question above stands.",
        ));
    }
    blocks.push(Block::List(lines));
    blocks.push(Block::Blank("Next visit".to_owned()));
    blocks
}

//! The course of a case to date, on two pages at most: how high the arms went at each visit, what fell
//! in between, the limits that held, and what comes next.

use crate::compare::Comparison;
use crate::report::plan::PlanInput;
use crate::report::plan::view as plan_view;
use crate::report::view::{
    self, ChartView, CourseView, Group, Mark, NOT_IN_IT, PLUS_MINUS, REASONS_BELOW, ReachView,
    StandingView,
};
use crate::report::words::calendar_day;
use crate::visit::Visit;

use super::comparison::{
    before_acting, cautions, cell, charts, foot, heading, holds, summary, words,
};
use super::{AtHome, Block, Cell, Column, Document, Line, Table, paragraph};

/// What a course is written from.
pub struct Course<'a> {
    /// At least one, oldest first.
    pub visits: &'a [Visit],
    pub comparison: &'a Comparison,
    /// Of the day of the document; `None` where the person was never screened.
    pub plan: Option<&'a PlanInput<'a>>,
    pub at_home: AtHome<'a>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The whole course.
pub fn course(course: &Course) -> Document {
    let standing = course.plan.map(|input| StandingView::of(input.plan));
    let mut view = view::comparison(course.visits, course.comparison).standing(standing.as_ref());
    for line in &mut view.summary {
        let elsewhere = "; the comparison report has the reasons";
        line.text = line.text.replace(REASONS_BELOW, elsewhere);
    }
    let mut blocks: Vec<Block> = holds(&view).into_iter().collect();
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
    blocks.extend(next(course));
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

fn next(course: &Course) -> Vec<Block> {
    let Some(PlanInput { plan, .. }) = course.plan else {
        let nothing = "No screening is filed, so no limits and no plan are known.";
        return vec![heading("Next"), paragraph(nothing)];
    };
    let mut blocks = vec![heading(&format!(
        "Next, from {} on",
        calendar_day(plan.date)
    ))];
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
    let exercises = |words: String| Line::led("Exercises:", words);
    match &course.at_home {
        _ if !plan.findings.holds.is_empty() => lines.push(Line::plain(
            "No exercise is proposed while a question above stands.",
        )),
        AtHome::InForce(input, until) => {
            let names = input.plan.programme.exercises.iter();
            let names: Vec<&str> = names.map(|one| one.exercise.name.as_str()).collect();
            lines.push(Line::led("Pace:", plan_view::pace(input.plan)));
            lines.push(exercises(plan_view::level(input.plan)));
            lines.push(Line::led(
                format!("Approved, good until {}:", calendar_day(*until)),
                format!("{}.", names.join("; ")),
            ));
        }
        at_home => lines.extend(at_home.why_not().map(exercises)),
    }
    blocks.push(Block::List(lines));
    blocks.push(Block::Blank("Next visit".to_owned()));
    blocks
}

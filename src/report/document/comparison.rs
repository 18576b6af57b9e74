//! The comparison report as a document: the same words as on its page, from the same view.

use crate::report::chart;
use crate::report::html::{ReportInput, shown_columns};
use crate::report::photo;
use crate::report::view::prose::{self, METHOD_TITLE, Said};
use crate::report::view::{
    self, CASE, ChartView, ComparisonView, Group, Mark, NoticeView, ReasonView, RowView,
    SummaryLine, ValueView,
};
use crate::report::words::capitalised;

use super::photos::{STROKES, photos};
use super::{
    Block, Captioned, Cell, Column, Document, Key, Line, Picture, Table, Tone, boxed, list,
    paragraph,
};

/// The whole report.
pub fn comparison(input: &ReportInput) -> Document {
    let view = view::comparison(input.visits, input.comparison).standing(input.standing);
    let mut blocks = Vec::new();
    blocks.extend(holds(&view));
    blocks.extend(cautions(&view.cautions));
    blocks.push(heading("In short"));
    blocks.push(summary(&view.summary));
    blocks.push(paragraph(format!(
        "{} {}",
        view::PLUS_MINUS,
        view::NOT_IN_IT
    )));
    blocks.push(before_acting(&view));
    blocks.extend(numbers(&view));
    blocks.extend(reasons(
        "Not measured or not compared, and why",
        &view.uncompared,
    ));
    let photos = photos(input, &view.pairs);
    if !photos.is_empty() {
        blocks.push(heading("Side by side"));
        blocks.push(paragraph(prose::SIDE_BY_SIDE));
        blocks.push(paragraph(STROKES));
        blocks.extend(photos.into_iter().map(Block::Photos));
    }
    blocks.extend(charts(&view.charts));
    blocks.extend(notices(&view.notices));
    blocks.extend(meanings(&view));
    blocks.extend(method(&view));
    Document {
        title: view.title.clone(),
        facts: facts(&view),
        blocks,
        foot: foot(&view),
        at_home: false,
        program: input.program.to_owned(),
    }
}

pub(super) fn heading(words: &str) -> Block {
    Block::Heading(words.to_owned())
}

fn facts(view: &ComparisonView) -> Vec<(String, String)> {
    let facts = view.facts.iter();
    let facts = facts.map(|(name, value)| ((*name).to_owned(), value.clone()));
    let visits = ("Visits".to_owned(), view.visit_titles());
    facts.chain([visits]).collect()
}

/// The case, and the day of the last visit.
pub(super) fn foot(view: &ComparisonView) -> String {
    let case = view.facts.iter().find(|(name, _)| *name == CASE);
    let case = case.map(|(_, case)| case.as_str());
    let last = view.visits.last().map(|visit| visit.short());
    let words: Vec<&str> = case.into_iter().chain(last).collect();
    words.join(" ")
}

/// What has to be settled first.
pub(super) fn holds(view: &ComparisonView) -> Option<Block> {
    let holds = &view.standing.as_ref()?.holds;
    (!holds.is_empty()).then(|| boxed(Tone::Stop, view::ASK_FIRST, vec![list(holds)]))
}

/// What has to be seen before any number.
pub(super) fn cautions(cautions: &[String]) -> Option<Block> {
    let lines: Vec<Line> = cautions
        .iter()
        .map(|caution| Line {
            mark: Some(Mark::Caution),
            ..Line::plain(caution)
        })
        .collect();
    let title = "Look at this first";
    (!lines.is_empty()).then(|| boxed(Tone::Caution, title, vec![Block::List(lines)]))
}

pub(super) fn summary(lines: &[SummaryLine]) -> Block {
    let line = |line: &SummaryLine| Line {
        mark: Some(line.mark),
        ..Line::led(format!("{}:", line.lead), &line.text)
    };
    Block::List(lines.iter().map(line).collect())
}

pub(super) fn before_acting(view: &ComparisonView) -> Block {
    let line = |said: Said| Line {
        lead: said.lead,
        ..Line::plain(said.text)
    };
    let lines = prose::before_acting(view).into_iter().map(line).collect();
    boxed(
        Tone::Plain,
        "Before acting on this",
        vec![Block::List(lines)],
    )
}

fn numbers(view: &ComparisonView) -> Vec<Block> {
    let mut blocks = vec![heading("Numbers")];
    if view.groups.is_empty() {
        blocks.push(paragraph(
            "No measure has a value at both the first and the last visit.",
        ));
        return blocks;
    }
    blocks.push(paragraph(prose::CHANGE_COUNTS));
    let groups = view.groups.iter();
    blocks.extend(groups.map(|(group, rows)| Block::Table(table(view, *group, rows))));
    blocks.push(paragraph("Changes are computed before rounding."));
    blocks
}

fn table(view: &ComparisonView, group: Group, rows: &[RowView]) -> Table {
    let shown = shown_columns(view);
    let change = match view.has_course {
        true => "Change, first to last",
        false => "Change",
    };
    let visits = shown
        .iter()
        .map(|visit| view.visits[*visit].lines.join(" "));
    let numbers = visits.chain([change.to_owned(), "MDC95".to_owned()]);
    let mut columns = vec![words(group.title()), words("Side")];
    columns.extend(numbers.map(|head| Column {
        head,
        is_number: true,
    }));
    columns.push(words("Verdict"));
    let row = |(index, row): (usize, &RowView)| {
        let is_first = index == 0 || rows[index - 1].measure != row.measure;
        let mut cells = vec![name(row, is_first), side(row.side, row.operated)];
        cells.extend(shown.iter().map(|visit| value(&row.values[*visit])));
        cells.extend([cell(&row.change), cell(&row.mdc95)]);
        cells.push(Cell {
            mark: Some(row.verdict.mark),
            ..cell(row.verdict.words)
        });
        cells
    };
    Table {
        about: format!(
            "{}: each measure and side at each visit, its change, and what that amounts to",
            group.title()
        ),
        columns,
        rows: rows.iter().enumerate().map(row).collect(),
    }
}

pub(super) fn words(head: &str) -> Column {
    Column {
        head: head.to_owned(),
        is_number: false,
    }
}

pub(super) fn cell(text: impl Into<String>) -> Cell {
    Cell {
        text: text.into(),
        ..Cell::default()
    }
}

fn name(row: &RowView, is_first: bool) -> Cell {
    match row.twin {
        // The same movement on another scale stands there quietly.
        true => Cell {
            note: Some(row.name.to_owned()),
            ..Cell::default()
        },
        false => Cell {
            note: is_first.then(|| row.better.to_owned()),
            ..cell(row.name)
        },
    }
}

fn side(side: &str, operated: bool) -> Cell {
    Cell {
        note: operated.then(|| "operated".to_owned()),
        ..cell(if side.is_empty() { "–" } else { side })
    }
}

fn value(value: &ValueView) -> Cell {
    Cell {
        note: value.note(),
        ..cell(match value.words.is_empty() {
            true => "–",
            false => &value.words,
        })
    }
}

/// What has no number, under this title.
pub(super) fn reasons(title: &str, reasons: &[ReasonView]) -> Vec<Block> {
    let line = |group: &ReasonView| {
        let why = (!group.reasons.is_empty()).then(|| {
            format!(
                "Reason: {}.",
                group.reasons.join(" / ").trim_end_matches('.')
            )
        });
        let action = group.action.map(str::to_owned);
        let told: Vec<String> = group
            .heading
            .clone()
            .into_iter()
            .chain(why)
            .chain(action)
            .collect();
        Line {
            mark: Some(Mark::Unknown),
            ..Line::led(
                format!("{}:", capitalised(&group.measures.join(", "))),
                told.join(" "),
            )
        }
    };
    let lines: Vec<Line> = reasons.iter().map(line).collect();
    match lines.is_empty() {
        true => Vec::new(),
        false => vec![heading(title), Block::List(lines)],
    }
}

pub(super) fn charts(charts: &[ChartView]) -> Vec<Block> {
    if charts.is_empty() {
        return Vec::new();
    }
    vec![
        heading("Course"),
        paragraph(prose::WHISKERS),
        Block::Gallery(charts.iter().map(drawn).collect()),
    ]
}

fn drawn(view: &ChartView) -> Captioned {
    let picture =
        |svg: maud::Markup, alt: String| Picture::new(&svg.into_string(), photo::STYLE, alt);
    let named = view.series.iter().filter(|series| !series.side.is_empty());
    Captioned {
        title: view.name.to_owned(),
        about: format!(
            "{}; {}",
            view.unit.name().replace("deg", "degrees"),
            view.better
        ),
        keys: named
            .map(|series| Key {
                picture: picture(chart::key(series), String::new()),
                name: match series.operated {
                    true => format!("{} (operated)", series.side),
                    false => series.side.to_owned(),
                },
            })
            .collect(),
        picture: picture(chart::chart(view), chart::described(view)),
    }
}

pub(super) fn notices(notices: &[NoticeView]) -> Vec<Block> {
    let line =
        |notice: &NoticeView| Line::led(format!("{}:", notice.about), notice.texts.join(" "));
    let lines: Vec<Line> = notices.iter().map(line).collect();
    match lines.is_empty() {
        true => Vec::new(),
        false => vec![heading("Notes on the photos"), Block::List(lines)],
    }
}

/// What each measure is, which the tables have no room for.
fn meanings(view: &ComparisonView) -> Vec<Block> {
    let mut rows: Vec<&RowView> = view.groups.iter().flat_map(|(_, rows)| rows).collect();
    rows.dedup_by_key(|row| row.measure);
    let line = |row: &RowView| Line::led(format!("{}:", row.name), format!("{}.", row.meaning));
    let lines: Vec<Line> = rows.into_iter().map(line).collect();
    match lines.is_empty() {
        true => Vec::new(),
        false => vec![heading("What the measures are"), Block::List(lines)],
    }
}

fn method(view: &ComparisonView) -> Vec<Block> {
    let mut blocks = vec![heading(METHOD_TITLE)];
    for part in prose::method(view) {
        blocks.push(Block::Line(Line::led(
            format!("{}.", part.title),
            part.text,
        )));
        if !part.points.is_empty() {
            blocks.push(list(part.points.iter().copied()));
        }
    }
    blocks
}

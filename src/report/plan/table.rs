//! The plan for a terminal.

use super::PlanInput;
use super::view::{self, CAUTIONS, Line, Section, Table};

const WIDTH: usize = 100;

pub fn plan_table(input: &PlanInput) -> String {
    let view = view::view(input);
    let mut text = format!("{}\n", view.title);
    for (name, value) in &view.facts {
        text += &format!("  {name}: {value}\n");
    }
    for section in &view.sections {
        text += &section_text(section);
    }
    text + "\n" + &wrapped(CAUTIONS, "", "")
}

fn section_text(section: &Section) -> String {
    let mut text = match section.is_stop {
        true => format!("\n!! {}\n", section.title.to_uppercase()),
        false => format!("\n{}\n", section.title),
    };
    for Line { text: line, source } in &section.lines {
        text += &wrapped(line, "  - ", "    ");
        if let Some(source) = source {
            text += &wrapped(&format!("({source})"), "    ", "    ");
        }
    }
    if let Some(table) = &section.table {
        text += &rows(table);
    }
    text
}

/// A row a paragraph: cells hold sentences, which columns of a terminal would tear apart.
fn rows(table: &Table) -> String {
    let mut text = String::new();
    for row in &table.rows {
        let mut cells = table
            .head
            .iter()
            .zip(row)
            .filter(|(_, cell)| !cell.is_empty());
        let mut line = String::new();
        if let Some((_, first)) = cells.next() {
            line += first;
        }
        for (number, (head, cell)) in cells.enumerate() {
            line += &match (number, table.head[0].is_empty()) {
                // After a number comes the name that it counts.
                (0, true) => format!(". {cell}"),
                _ if table.head.len() == 2 => format!(" {cell}"),
                _ => format!("; {}: {cell}", head.to_lowercase()),
            };
        }
        text += &wrapped(&line, "  - ", "    ");
    }
    text
}

fn wrapped(text: &str, first: &str, rest: &str) -> String {
    let options = textwrap::Options::new(WIDTH)
        .initial_indent(first)
        .subsequent_indent(rest);
    textwrap::fill(text, options) + "\n"
}

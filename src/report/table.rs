//! Plain text for a terminal.

use std::fmt::Write;

use crate::compare::Comparison;
use crate::visit::Visit;

use super::view::{self, Mark, NoticeView, ReasonView, VisitName};

/// Widest line of running text.
const WIDTH: usize = 92;

/// One visit: values, then what could not be measured and why, then remarks.
pub fn visit_table(visit: &Visit) -> String {
    let view = view::visit(visit);
    let mut text = heading(&view.title, &view.facts);
    let mut rows = vec![
        ["Measure", "Side", "Value ± error", "Photo"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend(view.readings.iter().map(|reading| {
        vec![
            reading.name.to_owned(),
            side(reading.side, reading.operated),
            reading.value.clone(),
            reading.photo.clone(),
        ]
    }));
    if view.readings.is_empty() {
        text.push_str("\nNothing could be measured.\n");
    } else {
        text.push('\n');
        text.push_str(&columns(&rows));
        legend(
            &mut text,
            view.readings.iter().any(|reading| reading.operated),
        );
    }
    cautions(&mut text, &view.cautions);
    reasons(&mut text, "Could not be measured", &view.unmeasured);
    notices(&mut text, &view.notices);
    text
}

/// A comparison: first, last, change and verdict, then what could not be compared and why.
pub fn comparison_table(visits: &[Visit], comparison: &Comparison) -> String {
    let view = view::comparison(visits, comparison);
    let mut text = heading(&view.title, &view.facts);
    for line in &view.summary {
        let sentence = format!("{} {}: {}", sign(line.mark), line.lead, line.text);
        text.push_str(&wrapped(&sentence, "  "));
    }
    cautions(&mut text, &view.cautions);
    let name = |visit: Option<&VisitName>| visit.map_or(String::new(), |visit| visit.title.clone());
    for (group, rows) in &view.groups {
        let _ = write!(text, "\n{}\n", group.title());
        let mut head: Vec<String> = ["Measure", "Side"].map(str::to_owned).to_vec();
        head.push(name(view.visits.first()));
        head.push(name(view.visits.last()));
        head.extend(["Change ± error", "MDC95", "Verdict"].map(str::to_owned));
        if view.has_course {
            head.push("Trend".to_owned());
        }
        let mut table = vec![head];
        for row in rows {
            let mut cells = vec![
                row.name.to_owned(),
                side(row.side, row.operated),
                row.first.clone(),
                row.last.clone(),
                row.change.clone(),
                row.mdc95.clone(),
                format!("{} {}", sign(row.verdict.mark), row.verdict.words),
            ];
            if view.has_course {
                cells.push(row.trend.clone().unwrap_or_default());
            }
            table.push(cells);
        }
        text.push_str(&columns(&table));
    }
    if !view.groups.is_empty() {
        let operated = view
            .groups
            .iter()
            .flat_map(|(_, rows)| rows)
            .any(|row| row.operated);
        legend(&mut text, operated);
        text.push_str(
            "MDC95: the smallest change that can be told from error with 95 % confidence.\n",
        );
    }
    reasons(&mut text, "Not measured or not compared", &view.uncompared);
    notices(&mut text, &view.notices);
    text
}

fn heading(title: &str, facts: &[(&'static str, String)]) -> String {
    let mut text = format!("{title}\n");
    if !facts.is_empty() {
        let facts: Vec<String> = facts
            .iter()
            .map(|(name, value)| format!("{name}: {value}"))
            .collect();
        let _ = writeln!(text, "{}", facts.join("   "));
    }
    text
}

const fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Improved => "[+]",
        Mark::Worse => "[!]",
        Mark::Changed => "[~]",
        Mark::Same => "[=]",
        Mark::Unknown => "[?]",
        Mark::Caution => "[!!]",
    }
}

fn side(side: &str, operated: bool) -> String {
    format!("{side}{}", if operated { " *" } else { "" })
}

fn legend(text: &mut String, operated: bool) {
    text.push_str("±: one standard error.");
    text.push_str(if operated {
        " *: operated side.\n"
    } else {
        "\n"
    });
}

fn cautions(text: &mut String, cautions: &[String]) {
    if cautions.is_empty() {
        return;
    }
    text.push_str("\nCaution\n");
    for caution in cautions {
        text.push_str(&wrapped(&format!("[!!] {caution}"), "  "));
    }
}

fn reasons(text: &mut String, title: &str, groups: &[ReasonView]) {
    if groups.is_empty() {
        return;
    }
    let _ = write!(text, "\n{title}\n");
    for group in groups {
        text.push_str(&wrapped(&format!("- {}", group.measures.join(", ")), "  "));
        if let Some(heading) = group.heading {
            text.push_str(&wrapped(&format!("  {heading}"), "  "));
        }
        let why = format!("  why: {}", group.reasons.join(" / "));
        text.push_str(&wrapped(&why, "       "));
    }
}

fn notices(text: &mut String, notices: &[NoticeView]) {
    if notices.is_empty() {
        return;
    }
    text.push_str("\nNotes\n");
    for notice in notices {
        for remark in &notice.texts {
            text.push_str(&wrapped(&format!("- {}: {remark}", notice.about), "  "));
        }
    }
}

/// Left-aligned columns, two spaces apart, with a rule under the first row.
fn columns(rows: &[Vec<String>]) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut text = String::new();
    for (index, row) in rows.iter().enumerate() {
        let line: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(cell, &width)| format!("{cell:width$}"))
            .collect();
        let _ = writeln!(text, "{}", line.join("  ").trim_end());
        if index == 0 {
            let rule: Vec<String> = widths.iter().map(|&width| "-".repeat(width)).collect();
            let _ = writeln!(text, "{}", rule.join("  "));
        }
    }
    text
}

/// Words broken into lines; the second line and later ones start with `indent`.
fn wrapped(words: &str, indent: &str) -> String {
    let lead: String = words.chars().take_while(|c| *c == ' ').collect();
    let mut text = lead.clone();
    let mut length = lead.len();
    let mut start = true;
    for word in words.split_whitespace() {
        let more = word.chars().count() + usize::from(!start);
        if !start && length + more > WIDTH {
            text.push('\n');
            text.push_str(indent);
            length = indent.len();
            start = true;
        }
        if !start {
            text.push(' ');
            length += 1;
        }
        text.push_str(word);
        length += word.chars().count();
        start = false;
    }
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::report::samples;

    #[test]
    fn every_reason_of_a_visit_is_told() {
        let visit = &samples::visits()[0];
        let text = visit_table(visit);
        assert!(text.contains(samples::C7_REASON));
        assert!(text.contains(samples::HAND_REASON));
        assert!(text.contains("4.5 ± 1.6°"));
        assert!(text.contains("No lens data in the files."));
    }

    #[test]
    fn a_comparison_tells_its_verdicts() {
        let visits = samples::visits();
        let text = comparison_table(&visits, &compare(&visits));
        assert!(text.contains("[+] improved"));
        assert!(text.contains("[!] worse"));
        assert!(text.contains("[=] no change beyond error"));
        assert!(text.contains("−3.0 ± 2.3°"));
        assert!(text.contains(samples::HAND_REASON));
    }

    #[test]
    fn long_lines_are_broken() {
        let text = wrapped(&"word ".repeat(60), "  ");
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().nth(1).unwrap().starts_with("  word"));
    }
}

//! Plain text for a terminal.

use std::fmt::Write;

use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

use crate::compare::Comparison;
use crate::visit::Visit;

use super::view::{
    self, ComparisonView, Mark, NoticeView, ReasonView, RepeatsView, RowView, StandingView,
    ValueView,
};

/// Widest line of running text.
const WIDTH: usize = 80;
/// Widest line of a table.
const TABLE_WIDTH: usize = 100;
const LAST_WORD: &str = "\nNot a diagnosis. The surgeon's and the therapist's limits come first.\n";

/// One visit: values, then what could not be measured and why, then remarks.
pub fn visit_table(visit: &Visit) -> String {
    let view = view::visit(visit);
    let mut text = heading(&view.title, &view.facts);
    let mut rows = vec![
        ["Measure", "Side", "Value ± 95 %", "Photo"]
            .map(str::to_owned)
            .to_vec(),
    ];
    let readings = || view.readings.iter().filter(|reading| !reading.twin);
    rows.extend(readings().map(|reading| {
        vec![
            reading.name.to_owned(),
            side(reading.side, reading.operated),
            reading.value.clone(),
            reading.photo.clone(),
        ]
    }));
    cautions(&mut text, &view.cautions);
    if view.readings.is_empty() {
        text.push_str("\nNothing could be measured.\n");
    } else {
        text.push('\n');
        for line in columns(&rows) {
            let _ = writeln!(text, "{line}");
        }
        legend(&mut text, readings().any(|reading| reading.operated));
        let _ = writeln!(text, "{}", view::PLUS_MINUS);
    }
    repeats(&mut text, &view.repeats);
    reasons(&mut text, "Could not be measured", &view.unmeasured);
    notices(&mut text, &view.notices);
    text.push_str(LAST_WORD);
    text
}

/// What several photos of one pose give together.
fn repeats(text: &mut String, repeats: &[RepeatsView]) {
    if repeats.is_empty() {
        return;
    }
    let mut rows = vec![
        [
            "Seen more than once",
            "Side",
            "Mean ± 95 %",
            "SEM",
            "Photos",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    rows.extend(repeats.iter().map(|of| {
        vec![
            of.name.to_owned(),
            side(of.side, of.operated),
            of.mean.clone(),
            of.sem.clone(),
            of.photos.to_string(),
        ]
    }));
    text.push('\n');
    for line in columns(&rows) {
        let _ = writeln!(text, "{line}");
    }
    text.push_str(&wrapped(
        "SEM: how far a single photo of this visit is off their mean. What is alike in all of them \
         does not average out, so the error of the mean may stay larger.",
        "",
    ));
}

/// A comparison: first, last, change and verdict, then what could not be compared and why.
/// With it, what has to be settled first and which limits hold.
pub fn comparison_table(
    visits: &[Visit],
    comparison: &Comparison,
    standing: Option<&StandingView>,
) -> String {
    let view = view::comparison(visits, comparison).standing(standing);
    let mut text = heading(&view.title, &view.facts);
    text.push_str(&wrapped(&format!("Visits: {}", view.visit_titles()), "  "));
    if let Some(standing) = &view.standing {
        text.push_str(&wrapped(&standing.limits, "  "));
        look_first(&mut text, view::ASK_FIRST, &standing.holds);
    }
    cautions(&mut text, &view.cautions);
    text.push('\n');
    for line in &view.summary {
        let sentence = format!("{} {}: {}", sign(line.mark), line.lead, line.text);
        text.push_str(&wrapped(&sentence, "    "));
    }
    text.push_str(&wrapped(
        &format!("{} {}", view::PLUS_MINUS, view::NOT_IN_IT),
        "",
    ));
    let shown: Vec<&RowView> = view
        .groups
        .iter()
        .flat_map(|(_, rows)| rows)
        .filter(|row| !row.twin)
        .collect();
    for (group, rows) in &view.groups {
        let rows: Vec<&RowView> = rows.iter().filter(|row| !row.twin).collect();
        let _ = write!(text, "\n{}\n", group.title());
        group_table(&mut text, &view, &rows);
    }
    if !shown.is_empty() {
        legend(&mut text, shown.iter().any(|row| row.operated));
        let any = |of: fn(&ValueView) -> bool| shown.iter().flat_map(|row| &row.values).any(of);
        if any(|value| value.photos > 1) {
            text.push_str("(2): mean of 2 photos.\n");
        }
        if any(|value| value.by_hand) {
            text.push_str("(h): points placed by hand.\n");
        }
        if any(|value| value.by_sticker) {
            text.push_str("(s): with stickers.\n");
        }
        text.push_str(&wrapped(
            "MDC95: the smallest change beyond reading error, with 95 % confidence, which is the ± \
             of the change. Changes are computed before rounding.",
            "",
        ));
    }
    reasons(&mut text, "Not measured or not compared", &view.uncompared);
    notices(&mut text, &view.notices);
    text.push_str(LAST_WORD);
    text
}

/// A line for each measure, and under it one for each side. The verdict stands at its end, or
/// below it, after the trend, or where it would make the table too wide.
fn group_table(text: &mut String, view: &ComparisonView, rows: &[&RowView]) {
    let visit = |index: usize| view.visits.get(index).map_or("", |visit| visit.short());
    let last = view.visits.len().saturating_sub(1);
    let mut table = vec![
        [
            "",
            visit(0),
            visit(last),
            "Change ± 95 %",
            "MDC95",
            "Verdict",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    table.extend(rows.iter().map(|row| {
        vec![
            format!("  {}", side(row.side, row.operated)),
            value(row.values.first()),
            value(row.values.last()),
            row.change.clone(),
            row.mdc95.clone(),
            format!("{} {}", sign(row.verdict.mark), row.verdict.words),
        ]
    }));
    let wide = |lines: &[String]| lines.iter().any(|line| line.chars().count() > TABLE_WIDTH);
    let mut lines = columns(&table);
    let below = view.has_course || wide(&lines);
    if below {
        for row in &mut table {
            row.pop();
        }
        lines = columns(&table);
    }
    for line in &lines[..2] {
        let _ = writeln!(text, "{line}");
    }
    let mut measure = None;
    for (row, line) in rows.iter().zip(&lines[2..]) {
        if measure != Some(row.measure) {
            let _ = writeln!(text, "{}", row.name);
            measure = Some(row.measure);
        }
        let _ = writeln!(text, "{line}");
        if below {
            if view.has_course {
                let course: Vec<&str> = row
                    .values
                    .iter()
                    .map(|value| match value.words.as_str() {
                        "" => "not measured",
                        words => words,
                    })
                    .collect();
                let _ = writeln!(text, "      visit by visit: {}", course.join(", "));
            }
            let trend = row.trend.as_ref();
            let trend = trend.map_or(String::new(), |trend| {
                format!("straight-line trend {trend}; ")
            });
            let (sign, words) = (sign(row.verdict.mark), row.verdict.words);
            let _ = writeln!(text, "      {trend}{sign} {words}");
        }
    }
}

fn value(value: Option<&ValueView>) -> String {
    let Some(value) = value else {
        return String::new();
    };
    let mean = match value.photos {
        0 | 1 => String::new(),
        photos => format!(" ({photos})"),
    };
    format!(
        "{}{mean}{}{}",
        value.words,
        if value.by_hand { " (h)" } else { "" },
        if value.by_sticker { " (s)" } else { "" }
    )
}

fn heading(title: &str, facts: &[(&'static str, String)]) -> String {
    let mut text = wrapped(title, "  ");
    if !facts.is_empty() {
        let facts: Vec<String> = facts
            .iter()
            .map(|(name, value)| format!("{name}: {value}"))
            .collect();
        text.push_str(&wrapped(&facts.join("; "), "  "));
    }
    text
}

const fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Improved => "[+]",
        Mark::Worse => "[-]",
        Mark::Changed => "[~]",
        Mark::Same => "[=]",
        Mark::Unknown => "[?]",
        Mark::Caution => "[!]",
    }
}

fn side(side: &str, operated: bool) -> String {
    format!("{side}{}", if operated { " *" } else { "" })
}

fn legend(text: &mut String, operated: bool) {
    if operated {
        text.push_str("*: operated side.\n");
    }
}

fn cautions(text: &mut String, cautions: &[String]) {
    look_first(text, "Caution", cautions);
}

fn look_first(text: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = write!(text, "\n{title}\n");
    for line in lines {
        text.push_str(&wrapped(&format!("[!] {line}"), "    "));
    }
}

fn reasons(text: &mut String, title: &str, groups: &[ReasonView]) {
    if groups.is_empty() {
        return;
    }
    let _ = write!(text, "\n{title}\n");
    for group in groups {
        text.push_str(&wrapped(&format!("- {}", group.measures.join(", ")), "  "));
        if let Some(heading) = &group.heading {
            text.push_str(&wrapped(&format!("  {heading}"), "  "));
        }
        if !group.reasons.is_empty() {
            let why = format!("  why: {}", group.reasons.join(" / "));
            text.push_str(&wrapped(&why, "       "));
        }
        if let Some(action) = group.action {
            text.push_str(&wrapped(&format!("  {action}"), "  "));
        }
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
pub(super) fn columns(rows: &[Vec<String>]) -> Vec<String> {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut lines: Vec<String> = rows
        .iter()
        .map(|row| {
            let cells: Vec<String> = row
                .iter()
                .zip(&widths)
                .map(|(cell, &width)| format!("{cell:width$}"))
                .collect();
            cells.join("  ").trim_end().to_owned()
        })
        .collect();
    let rule: Vec<String> = widths.iter().map(|&width| "-".repeat(width)).collect();
    lines.insert(1, rule.join("  "));
    lines
}

/// Words broken into lines at spaces only, so that dates and file names stay whole; the second
/// line and later ones start with `indent`.
pub(super) fn wrapped(words: &str, indent: &str) -> String {
    let options = Options::new(WIDTH)
        .subsequent_indent(indent)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit)
        .break_words(false);
    format!("{}\n", textwrap::fill(words, options))
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
        assert!(text.contains("place the points by hand"));
        assert!(text.contains(samples::HAND_REASON));
        assert!(text.contains("4.5 ± 3.1°"));
        assert!(text.contains("No lens data in the files."));
    }

    #[test]
    fn a_comparison_tells_its_verdicts() {
        let visits = samples::visits();
        let text = comparison_table(&visits, &compare(&visits), None);
        assert!(text.contains("[+] improved"));
        assert!(text.contains("[-] worse"));
        assert!(text.contains("[=] no change beyond error"));
        assert!(text.contains("−3.0 ± 4.4°"));
        assert!(text.contains(samples::HAND_REASON));
    }

    #[test]
    fn what_plus_minus_means_is_said_once() {
        let visits = samples::visits();
        for text in [
            visit_table(&visits[0]),
            comparison_table(&visits, &compare(&visits), None),
        ] {
            assert_eq!(text.matches(view::PLUS_MINUS).count(), 1, "{text}");
        }
    }

    #[test]
    fn cautions_come_before_the_summary_and_the_limits_last() {
        let visits = samples::visits();
        let mut comparison = compare(&visits);
        comparison.cautions.push("Two people?".to_owned());
        let text = comparison_table(&visits, &comparison, None);
        assert!(text.find("Two people?") < text.find("[+] Improved"));
        assert!(text.ends_with(LAST_WORD));
    }

    #[test]
    fn tables_fit_a_terminal() {
        let mut visits = samples::visits();
        for visit in &mut visits {
            visit.facts.label = Some("a label that is far too long for a column".to_owned());
            visit.facts.arm_limit_deg = Some(90.0);
        }
        visits.push(visits[1].clone());
        for count in [2, 3] {
            let text = comparison_table(&visits[..count], &compare(&visits[..count]), None);
            assert!(text.lines().all(|line| line.chars().count() <= TABLE_WIDTH));
            assert_eq!(text.contains("straight-line trend"), count == 3);
        }
    }

    #[test]
    fn long_lines_are_broken() {
        let text = wrapped(&"word ".repeat(60), "  ");
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        assert!(text.lines().nth(1).unwrap().starts_with("  word"));
    }
}

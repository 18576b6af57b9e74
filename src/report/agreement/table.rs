//! Agreement as plain text for a terminal.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::agree::{
    Agreement, Bounded, Group, Icc, Interval, Pair, Quantity, Sem, Sides, Undefined,
};
use crate::report::number::plain;
use crate::report::table::{columns, wrapped};

use super::{decimals, difference_word, letter, notes, remarks, title};

/// Where a number is missing; why stands below the tables.
const NONE: &str = "–";
const ICC_DECIMALS: usize = 3;

/// Everything about the agreement of the raters, whose files are named in their order.
pub fn agreement_table(agreement: &Agreement, files: &[String]) -> String {
    let mut text = heading(agreement, files);
    left_out(&mut text, agreement);
    for remark in remarks(agreement) {
        text.push_str(&wrapped(&format!("[!] {remark}"), "    "));
    }
    section(&mut text, agreement, &differences(agreement));
    section(&mut text, agreement, &reliability());
    section(&mut text, agreement, &errors());
    if agreement
        .groups
        .iter()
        .flat_map(|group| &group.pairs)
        .any(|pair| pair.coverage.is_some())
    {
        section(&mut text, agreement, &coverage(agreement));
    }
    undefined(&mut text, agreement);
    text.push_str("\nHow these numbers are made\n");
    for note in notes(agreement) {
        text.push_str(&wrapped(&format!("- {note}"), "  "));
    }
    text
}

fn heading(agreement: &Agreement, files: &[String]) -> String {
    let mut text = String::from(if agreement.reference {
        "Agreement with a reference\n"
    } else {
        "Agreement\n"
    });
    for (index, (file, tally)) in files.iter().zip(&agreement.raters).enumerate() {
        let mut parts = vec![count(tally.rows, "row")];
        let without = tally.without_value + tally.without_measure;
        if without > 0 {
            parts.push(format!("{without} without a value"));
        }
        if tally.not_in_all > 0 {
            parts.push(format!("{} not in every file", tally.not_in_all));
        }
        let role = if agreement.reference && index == 0 {
            " (reference)"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "{}{role}: {file}: {}",
            letter(index),
            parts.join(", ")
        );
    }
    let compared = count(agreement.complete, "row");
    let of = match agreement.persons {
        Some(persons) => format!(", of {}", count(persons, "person")),
        None => String::new(),
    };
    text.push_str(&wrapped(
        &format!(
            "Compared: {compared} with a value in every file{of}. All other rows are left out."
        ),
        "",
    ));
    text
}

fn count(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// "Shoulder flexion (°), left".
fn subject(group: &Group) -> String {
    let title = title(&group.quantity);
    match group.sides {
        Sides::Without => title,
        sides => format!("{title}, {}", sides.name()),
    }
}

/// Rows that no number is of, by measure.
fn left_out(text: &mut String, agreement: &Agreement) {
    let mut rows = vec![
        ["Rows", "No value", "Not in all", "Compared"]
            .map(str::to_owned)
            .to_vec(),
    ];
    for group in &agreement.groups {
        if group.sides != Sides::Both && group.unmeasured + group.not_in_all > 0 {
            rows.push(vec![
                subject(group),
                group.unmeasured.to_string(),
                group.not_in_all.to_string(),
                group.rows.len().to_string(),
            ]);
        }
    }
    if rows.len() > 1 {
        text.push('\n');
        for line in columns(&rows) {
            let _ = writeln!(text, "{line}");
        }
    }
}

/// The lines of a group, whose statistics have this many decimals.
type Lines = Box<dyn Fn(&Group, usize) -> Vec<Vec<String>>>;

/// One table: its head, and the lines of a group under it.
struct Section {
    title: String,
    head: Vec<String>,
    lines: Lines,
}

/// A line for each measure that has rows in common, and under it those of its sides.
fn section(text: &mut String, agreement: &Agreement, section: &Section) {
    let mut table = vec![section.head.clone()];
    let mut groups = Vec::new();
    for group in agreement
        .groups
        .iter()
        .filter(|group| !group.rows.is_empty())
    {
        let decimals = decimals(agreement, &group.quantity);
        for mut line in (section.lines)(group, decimals) {
            line[0] = format!("  {}", line[0]);
            table.push(line);
            groups.push(group);
        }
    }
    if groups.is_empty() {
        return;
    }
    let _ = write!(text, "\n{}\n", section.title);
    let lines = columns(&table);
    for line in &lines[..2] {
        let _ = writeln!(text, "{line}");
    }
    let mut quantity = None;
    for (group, line) in groups.iter().zip(&lines[2..]) {
        if quantity != Some(&group.quantity) {
            let _ = writeln!(text, "{}", title(&group.quantity));
            quantity = Some(&group.quantity);
        }
        let _ = writeln!(text, "{line}");
    }
}

fn head(names: &[&str]) -> Vec<String> {
    names.iter().map(|&name| name.to_owned()).collect()
}

fn side(group: &Group) -> String {
    group.sides.name().to_owned()
}

fn differences(agreement: &Agreement) -> Section {
    let pairs = agreement.raters.len() > 2;
    let mut head = head(&[
        "",
        "n",
        "Bias [95 % CI]",
        "SD",
        "MAE",
        "Lower limit [95 % CI]",
        "Upper limit [95 % CI]",
    ]);
    if pairs {
        head.insert(1, "Pair".to_owned());
    }
    let what = match (agreement.reference, pairs) {
        (true, _) => "Errors, rater − reference",
        (false, true) => "Differences",
        (false, false) => "Differences, B − A",
    };
    Section {
        title: format!("{what}: bias and limits of agreement"),
        head,
        lines: Box::new(move |group, decimals| {
            let line = |pair: &Pair| {
                let mut line = vec![side(group), group.rows.len().to_string()];
                if pairs {
                    line.insert(1, name(pair));
                }
                line.extend(difference_cells(pair, decimals));
                line
            };
            group.pairs.iter().map(line).collect()
        }),
    }
}

/// "B − A".
fn name(pair: &Pair) -> String {
    format!("{} − {}", letter(pair.second), letter(pair.first))
}

fn difference_cells(pair: &Pair, decimals: usize) -> Vec<String> {
    let Ok(differences) = pair.differences else {
        return vec![NONE.to_owned(); 5];
    };
    let Ok(spread) = differences.spread else {
        return vec![
            plain(differences.mean, decimals),
            NONE.to_owned(),
            plain(differences.mean_absolute, decimals),
            NONE.to_owned(),
            NONE.to_owned(),
        ];
    };
    let bounded = |bounded: Bounded| with_interval(bounded.value, bounded.interval, decimals);
    vec![
        with_interval(differences.mean, spread.bias, decimals),
        plain(spread.sd, decimals),
        plain(differences.mean_absolute, decimals),
        bounded(spread.lower_limit),
        bounded(spread.upper_limit),
    ]
}

fn with_interval(value: f64, interval: Interval, decimals: usize) -> String {
    format!(
        "{} {}",
        plain(value, decimals),
        brackets(interval, decimals)
    )
}

fn brackets(interval: Interval, decimals: usize) -> String {
    let [low, high] = [interval.low, interval.high].map(|bound| plain(bound, decimals));
    format!("[{low}, {high}]")
}

fn reliability() -> Section {
    Section {
        title: "Reliability: intraclass correlation [95 % CI]".to_owned(),
        head: head(&[
            "",
            "n",
            "Of",
            "ICC(1)",
            "ICC(2), agreement",
            "ICC(3), consistency",
        ]),
        lines: Box::new(|group, _| {
            let of = |icc: Result<[Icc; 3], Undefined>| match icc {
                Ok(icc) => icc.map(icc_cell).to_vec(),
                Err(_) => vec![NONE.to_owned(); 3],
            };
            let raters = group.reliability.map_or(0, |r| r.mean_squares.k);
            let single = of(group.reliability.map(|r| r.icc.single));
            let mut lines = vec![line(
                [
                    side(group),
                    group.rows.len().to_string(),
                    "one rater".to_owned(),
                ],
                single,
            )];
            if group.reliability.is_ok() {
                let mean = of(group.reliability.map(|r| r.icc.mean));
                lines.push(line(
                    [String::new(), String::new(), format!("mean of {raters}")],
                    mean,
                ));
            }
            lines
        }),
    }
}

fn line<const N: usize>(first: [String; N], rest: Vec<String>) -> Vec<String> {
    first.into_iter().chain(rest).collect()
}

fn icc_cell(icc: Icc) -> String {
    match icc {
        Ok(icc) => match icc.interval {
            Ok(interval) => with_interval(icc.value, interval, ICC_DECIMALS),
            Err(_) => format!("{} [{NONE}]", plain(icc.value, ICC_DECIMALS)),
        },
        Err(_) => NONE.to_owned(),
    }
}

fn errors() -> Section {
    Section {
        title: "Standard error of measurement (SEM) and minimal detectable change (MDC95), by definition"
            .to_owned(),
        head: head(&[
            "",
            "",
            "Consistency",
            "Agreement",
            "Within-subject",
            "By ICC(1,1)",
            "By ICC(2,1)",
            "By ICC(3,1)",
        ]),
        lines: Box::new(|group, decimals| {
            let Ok(reliability) = &group.reliability else {
                let mut none = vec![NONE.to_owned(); 6];
                none.splice(0..0, [side(group), "SEM".to_owned()]);
                return vec![none];
            };
            let sems = &reliability.sem;
            let all: Vec<Option<Sem>> = [sems.consistency, sems.agreement, sems.within_subject]
                .into_iter()
                .map(Some)
                .chain(sems.by_icc.iter().map(|sem| sem.ok()))
                .collect();
            let cells = |of: &dyn Fn(Sem) -> Option<String>| -> Vec<String> {
                all.iter()
                    .map(|sem| sem.and_then(of).unwrap_or(NONE.to_owned()))
                    .collect()
            };
            vec![
                line(
                    [side(group), "SEM".to_owned()],
                    cells(&|sem| Some(plain(sem.value, decimals))),
                ),
                line(
                    [String::new(), "95 % CI".to_owned()],
                    cells(&|sem| sem.interval.map(|interval| brackets(interval, decimals))),
                ),
                line(
                    [String::new(), "MDC95".to_owned()],
                    cells(&|sem| Some(plain(sem.mdc95(), decimals))),
                ),
            ]
        }),
    }
}

fn coverage(agreement: &Agreement) -> Section {
    let pairs = agreement.raters.len() > 2;
    let mut head = head(&[
        "",
        "n with sigma",
        "without",
        "Within 1 sigma (68.3 %)",
        "Within 1.96 sigma (95.0 %)",
    ]);
    if pairs {
        head.insert(1, "Pair".to_owned());
    }
    Section {
        title: format!(
            "Stated sigmas: share of {}s within them (and the share expected)",
            difference_word(agreement)
        ),
        head,
        lines: Box::new(move |group, _| {
            let lines = group.pairs.iter().filter_map(|pair| {
                let coverage = pair.coverage?;
                let mut line = vec![
                    side(group),
                    coverage.n.to_string(),
                    coverage.without_sigma.to_string(),
                    share(coverage.within_1),
                    share(coverage.within_1_96),
                ];
                if pairs {
                    line.insert(1, name(pair));
                }
                Some(line)
            });
            lines.collect()
        }),
    }
}

fn share(share: Bounded) -> String {
    let percent = |part: f64| plain(100.0 * part, 1);
    let Interval { low, high } = share.interval;
    format!(
        "{} % [{}, {}]",
        percent(share.value),
        percent(low),
        percent(high)
    )
}

/// Why numbers are missing, and of which measures and sides.
fn undefined(text: &mut String, agreement: &Agreement) {
    let mut reasons: BTreeMap<Undefined, BTreeMap<(&Quantity, &str), Vec<&str>>> = BTreeMap::new();
    for group in &agreement.groups {
        for (what, why) in group.undefined() {
            let all = reasons.entry(why).or_default();
            let sides = all.entry((&group.quantity, what)).or_default();
            sides.push(group.sides.name());
        }
    }
    if reasons.is_empty() {
        return;
    }
    text.push_str("\nNot computed\n");
    for (why, all) in reasons {
        for ((quantity, what), sides) in all {
            let mut subject = vec![title(quantity)];
            subject.extend(
                sides
                    .iter()
                    .filter(|s| !s.is_empty())
                    .map(|&s| s.to_owned()),
            );
            let line = format!("- {}: {what}", subject.join(", "));
            text.push_str(&wrapped(&line, "  "));
        }
        text.push_str(&wrapped(&format!("  why: {why}"), "       "));
    }
}

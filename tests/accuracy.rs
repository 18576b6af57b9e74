//! README's accuracy table against the numbers, measured anew on the committed truth set.

#[path = "../scripts/accuracy/table.rs"]
mod table;

use crate::common::{finder, root};

/// The cells of a table's rows: text, and the numbers in it.
fn cells(markdown: &str) -> Vec<Vec<String>> {
    let rows: Vec<Vec<String>> = markdown
        .lines()
        .filter(|line| line.starts_with("| `") || line.contains(" photos; "))
        .map(|line| line.split('|').map(|cell| cell.trim().to_owned()).collect())
        .collect();
    assert!(!rows.is_empty(), "no row in the table");
    rows
}

/// Equal, but for the last digit and for one of `readings` that is carried over the edge of its
/// error, where another processor's arithmetic differs.
fn agree(shown: &str, measured: &str, readings: f64) -> bool {
    let number = |text: &str| text.trim_end_matches(" %").parse::<f64>().ok();
    match (number(shown), number(measured)) {
        (Some(a), Some(b)) if shown.ends_with('%') => (a - b).abs() <= 100.0 / readings + 1.0,
        (Some(a), Some(b)) => (a - b).abs() < 0.11,
        _ => shown == measured,
    }
}

/// The table between two marks of README and the measured one, row by row.
fn hold(begin: &str, end: &str, measured: &str) -> usize {
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let shown = readme
        .split_once(begin)
        .and_then(|(_, rest)| rest.split_once(end))
        .expect("a table in the README")
        .0;
    let (shown, measured) = (cells(shown), cells(measured));
    assert_eq!(shown.len(), measured.len());
    for (shown, measured) in shown.iter().zip(&measured) {
        let readings = shown
            .get(2)
            .and_then(|cell| cell.split(' ').next()?.parse().ok())
            .unwrap_or(1.0);
        let same = |(a, b): (&String, &String)| agree(a, b, readings);
        assert!(
            shown.len() == measured.len() && shown.iter().zip(measured).all(same),
            "README: {shown:?}\nmeasured: {measured:?}\nscripts/accuracy writes the table anew"
        );
    }
    shown.len()
}

#[test]
fn the_readme_shows_the_numbers_that_are_measured() {
    let measured = table::measure(finder(), &root().join("fixtures/truth"));
    assert!(measured.photos >= 60, "{} photos", measured.photos);
    let rows = hold(table::BEGIN, table::END, &table::markdown(&measured));
    assert_eq!(rows, tragus::measure::Measure::ALL.len() + 1);
}

#[test]
fn the_readme_shows_what_board_and_stickers_are_worth() {
    let measured = table::aids_markdown(finder(), &root().join("fixtures/aids"));
    let rows = hold(table::AIDS_BEGIN, table::AIDS_END, &measured);
    assert!(rows >= 8, "{rows} measures");
}

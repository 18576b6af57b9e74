//! README's accuracy table against the numbers, measured anew on the committed truth set.

#[path = "../scripts/accuracy/table.rs"]
mod table;

use crate::common::{finder, root};

/// The cells of a table's rows: text, and the numbers in it.
fn cells(markdown: &str) -> Vec<Vec<String>> {
    let rows: Vec<Vec<String>> = markdown
        .lines()
        .filter(|line| line.starts_with("| `"))
        .map(|line| line.split('|').map(|cell| cell.trim().to_owned()).collect())
        .collect();
    assert!(!rows.is_empty(), "no row in the table");
    rows
}

/// Equal, but for a last digit where the processor's arithmetic differs, and for the one reading
/// that this may carry over the edge of its error.
fn agree(shown: &str, measured: &str) -> bool {
    let number = |text: &str| text.trim_end_matches(" %").parse::<f64>().ok();
    match (number(shown), number(measured)) {
        (Some(a), Some(b)) => (a - b).abs() <= if shown.ends_with('%') { 7.5 } else { 0.15 },
        _ => shown == measured,
    }
}

#[test]
fn the_readme_shows_the_numbers_that_are_measured() {
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let shown = readme
        .split_once(table::BEGIN)
        .and_then(|(_, rest)| rest.split_once(table::END))
        .expect("a table in the README")
        .0;
    let measured = table::measure(finder(), &root().join("fixtures/truth"));
    assert!(measured.photos >= 60, "{} photos", measured.photos);
    let (shown, measured) = (cells(shown), cells(&table::markdown(&measured)));
    assert_eq!(shown.len(), tragus::measure::Measure::ALL.len());
    assert_eq!(shown.len(), measured.len());
    for (shown, measured) in shown.iter().zip(&measured) {
        assert!(
            shown.len() == measured.len() && shown.iter().zip(measured).all(|(a, b)| agree(a, b)),
            "README: {shown:?}\nmeasured: {measured:?}\nscripts/accuracy writes the table anew"
        );
    }
}

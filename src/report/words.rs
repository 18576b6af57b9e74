//! First letters as a sentence needs them, and days.

use jiff::civil::Date;

/// "Trunk lean" inside a sentence. Names begin with a word, never with a landmark's code.
pub(super) fn lower_first(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_lowercase);
    first.chain(letters).collect()
}

pub(crate) fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters).collect()
}

/// "10 March 2026"
pub(super) fn calendar_day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

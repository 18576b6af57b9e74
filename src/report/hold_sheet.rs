//! The sheet for a person who is not to exercise for now: what to do, whom to call, and nothing else.
//! One page, large. It only says stop, so nobody has to approve it.

use jiff::civil::Date;
use maud::{DOCTYPE, PreEscaped, html};

use crate::care::Finding;

use super::home_sheet::{STYLE, ambulance, calendar_day, not_a_diagnosis, page_footer, same_day};
use super::html::page_metas;

/// What a hold sheet is written from.
pub struct HoldSheet<'a> {
    /// Of the case; never a name.
    pub code: &'a str,
    pub day: Date,
    /// Those that stand on that day.
    pub holds: &'a [Finding],
    /// Name and version of the program.
    pub program: &'a str,
}

/// From so many things to do on, the type is smaller: they stay on one page.
const MANY: usize = 3;

/// The whole sheet.
pub fn hold_sheet_html(sheet: &HoldSheet) -> String {
    let to_do = what_to_do(sheet.holds);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (page_metas(sheet.program))
                title { "Do not exercise for now: " (sheet.code) }
                style { (PreEscaped(STYLE)) (PreEscaped(page_footer(sheet.code, sheet.day))) }
            }
            body.hold.many[to_do.len() >= MANY] {
                header {
                    h1 { "Do not exercise for now" }
                    dl.facts {
                        div { dt { "For" } dd { (sheet.code) } }
                        div { dt { "Date" } dd { (calendar_day(sheet.day)) } }
                    }
                }
                main {
                    section.limit aria-labelledby="do" {
                        h2 #do { "What to do" }
                        ul { @for words in &to_do { li { (words) } } }
                        p { b { "Call: " } span.blank {} }
                        p { b { "Phone: " } span.blank {} }
                    }
                    section.stop aria-labelledby="call" {
                        h2 #call { "While you wait" }
                        (same_day())
                        (ambulance())
                    }
                    section aria-labelledby="old" {
                        h2 #old { "Older sheets" }
                        p { "Put away any older sheet. Do not use it until you get a new one." }
                    }
                }
                footer {
                    (not_a_diagnosis())
                    p { "Written by " (sheet.program) "." }
                }
            }
        }
    };
    page.into_string()
}

/// What each hold tells, once; a call where none tells anything.
fn what_to_do(holds: &[Finding]) -> Vec<&str> {
    let mut all: Vec<&str> = Vec::new();
    for words in holds.iter().filter_map(|hold| hold.at_home.as_deref()) {
        if !all.contains(&words) {
            all.push(words);
        }
    }
    if all.is_empty() {
        all.push("Call your therapist before you do any exercise.");
    }
    all
}

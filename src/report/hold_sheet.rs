//! The sheet for a person who is not to exercise for now: what to do, whom to call, and nothing else.
//! One page, large. It only says stop, so nobody has to approve it.

use jiff::civil::Date;

use crate::care::Finding;

use super::document::{self, Block, Document, Tone, boxed, list, paragraph};
use super::home_sheet::{ambulance, foot, not_a_diagnosis, same_day};
use super::words::calendar_day;

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

/// The sheet as a page.
pub fn hold_sheet_html(sheet: &HoldSheet) -> String {
    document::html(&hold_sheet(sheet))
}

/// The whole sheet.
pub fn hold_sheet(sheet: &HoldSheet) -> Document {
    let to_do = what_to_do(sheet.holds);
    let is_short = to_do.len() < MANY;
    let blocks = vec![
        boxed(
            Tone::Caution,
            "What to do",
            vec![
                list(to_do),
                Block::Blank("Call".to_owned()),
                Block::Blank("Phone".to_owned()),
            ],
        ),
        boxed(Tone::Stop, "While you wait", vec![same_day(), ambulance()]),
        Block::Heading("Older sheets".to_owned()),
        paragraph("Put away any older sheet. Do not use it until you get a new one."),
        not_a_diagnosis(),
    ];
    Document {
        title: "Do not exercise for now".to_owned(),
        facts: vec![
            ("For".to_owned(), sheet.code.to_owned()),
            ("Date".to_owned(), calendar_day(sheet.day)),
        ],
        blocks: match is_short {
            true => vec![Block::Large(blocks)],
            false => blocks,
        },
        foot: foot(sheet.code, sheet.day),
        at_home: true,
        program: sheet.program.to_owned(),
    }
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

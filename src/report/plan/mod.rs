//! The clinician's plan of one day, for a terminal and as a sheet to print: one view, two writers.

mod sheet;
mod table;
pub(super) mod view;

pub use sheet::plan_sheet_html;
pub use table::plan_table;

use jiff::civil::Date;
use serde_json::{Value, json};

use crate::care::Findings;
use crate::care::plan::Plan;
use crate::care::rules::Rules;

/// What the plan is written from.
pub struct PlanInput<'a> {
    pub plan: &'a Plan,
    /// Those that it was made by, for the words of their questions.
    pub rules: &'a Rules,
    pub approved: Option<Approval<'a>>,
    /// Name and version of the program.
    pub program: &'a str,
}

#[derive(Clone, Copy)]
pub struct Approval<'a> {
    pub initials: &'a str,
    pub on: Date,
}

/// What a screening comes to, in the plan's words and order, for a page to show.
pub fn findings_json(findings: &Findings) -> Value {
    let mut sections = view::holds(findings);
    sections.push(view::limits(findings));
    sections.extend(view::cautions(findings));
    sections
        .iter()
        .map(|section| {
            let lines = section.lines.iter();
            json!({
                "title": section.title,
                "is_stop": section.is_stop,
                "lines": lines
                    .map(|line| json!({ "text": line.text, "source": line.source }))
                    .collect::<Vec<_>>(),
            })
        })
        .collect()
}

//! The clinician's plan of one day, for a terminal and as a sheet to print: one view, two writers.

mod sheet;
mod table;
mod view;

pub use sheet::plan_sheet_html;
pub use table::plan_table;

use jiff::civil::Date;

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

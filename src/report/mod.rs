//! Writes visits and comparisons for people and programs.
//!
//! One file per writer over one view model ([`view`]): the [`html`] report with its [`picture`]s,
//! [`lines`] and charts, plain text for a terminal ([`table`]), and JSON of a comparison
//! ([`comparison_json`]). [`agreement`] writes what raters' tables come to. [`overlay`] draws what
//! was found onto a photo. [`home_sheet`] is for the person: exercises with drawings ([`figure`]);
//! [`hold_sheet`] says that there are none for now.
//!
//! Nothing here measures. A writer takes readings, errors, verdicts and reasons as they are and
//! puts them into words; a value that is missing is printed with its reason.

pub mod agreement;
mod axis;
mod chart;
pub mod comparison_json;
pub mod document;
pub mod figure;
pub mod hold_sheet;
pub mod home_sheet;
pub mod html;
pub mod lines;
mod number;
pub mod overlay;
mod photo;
pub mod picture;
pub mod plan;
#[cfg(test)]
mod samples;
pub mod self_check;
mod sign;
pub mod table;
pub mod view;
pub(crate) mod words;

pub use agreement::{Plot, agreement_json, agreement_plots, agreement_table};
pub use comparison_json::comparison_json;
pub use hold_sheet::{HoldSheet, hold_sheet, hold_sheet_html};
pub use home_sheet::{HomeSheet, home_sheet, home_sheet_html, last_day};
pub use html::{ReportInput, comparison_html};
pub use overlay::overlay;
pub use table::{comparison_table, visit_table};
pub use view::StandingView;

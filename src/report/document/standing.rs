//! What the person does at home on the day of a document.

use jiff::civil::Date;

use crate::report::plan::PlanInput;
use crate::report::words::calendar_day;

/// The exercises at home on a day.
pub enum AtHome<'a> {
    /// Approved, not found against since, and not over; up to and with this day.
    InForce(PlanInput<'a>, Date),
    /// The sheet of the plan of a day was good until another one.
    Over { plan: Date, until: Date },
    /// Something was found, answered or changed after the plan of this day was approved; its sheet says
    /// that it is good until another day.
    Outdated(Date, Option<Date>),
    /// Nothing is approved.
    Nothing,
}

impl AtHome<'_> {
    /// Why nothing is done at home; `None` where something is.
    pub fn why_not(&self) -> Option<String> {
        match self {
            AtHome::InForce(..) => None,
            AtHome::Over { plan, until } => Some(format!(
                "None is in force: the sheet of {} was good until {}.",
                calendar_day(*plan),
                calendar_day(*until)
            )),
            AtHome::Outdated(plan, until) => {
                let until = until.map_or(String::new(), |last| {
                    format!(", good until {},", calendar_day(last))
                });
                Some(format!(
                    "None is in force: the sheet of {}{until} was written before what was found since. \
                     Have it put away.",
                    calendar_day(*plan)
                ))
            }
            AtHome::Nothing => Some("None is approved.".to_owned()),
        }
    }
}

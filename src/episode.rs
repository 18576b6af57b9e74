//! The episode of care for every shell: what a case's screenings say of a visit's day, the plan of a
//! day, and its sheets on the disk.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::care::catalogue::Catalogue;
use crate::care::plan::{Makings, Plan};
use crate::care::programme::{Approved, Programme};
use crate::care::{Rules, Screening, SetLimit};
use crate::case::{Case, CaseError};
use crate::record;
use crate::report::plan::{Approval, PlanInput, plan_sheet_html};
use crate::report::{HomeSheet, home_sheet_html};
use crate::visit::{Visit, VisitFacts};

/// Gives a visit the code of its case, and the side of the surgery and the limit of its day by the
/// screening that was the last one then. What the visit says itself goes before.
pub fn settle(facts: &mut VisitFacts, code: &str, screenings: &[Screening]) {
    facts.case = Some(code.to_owned());
    let Some(day) = facts.date else {
        return;
    };
    let mut before = screenings.iter().rev();
    if let Some(screening) = before.find(|screening| screening.date <= day) {
        facts.operated = facts.operated.or(screening.operated);
        let set = screening.arm_deg.filter(|limit| limit.holds_on(day));
        facts.arm_limit_deg = facts.arm_limit_deg.or(set.map(|limit| limit.value));
    }
}

/// A visit of a case.
pub struct Filed {
    /// Its facts settled.
    pub visit: Visit,
    /// The limit that the visit itself was told.
    pub own_limit: Option<f64>,
}

/// The plan of a day, from the visits up to it.
pub fn plan(
    case: &Case,
    rules: &Rules,
    catalogue: &Catalogue,
    screening: &Screening,
    visits: &[Filed],
    day: Date,
) -> Result<Plan, CaseError> {
    let up_to_now = |filed: &&Filed| filed.visit.facts.date.is_none_or(|date| date <= day);
    let filed: Vec<&Filed> = visits.iter().filter(up_to_now).collect();
    // A screening asks for the limit, so what was told before it is settled by it.
    let later_limit = filed.iter().rev().find_map(|filed| {
        let date = filed
            .visit
            .facts
            .date
            .filter(|date| *date > screening.date)?;
        Some(SetLimit {
            value: filed.own_limit?,
            set_on: Some(date),
            until: None,
        })
    });
    let visits: Vec<Visit> = filed.iter().map(|filed| filed.visit.clone()).collect();
    let makings = Makings {
        rules,
        catalogue,
        about: &case.about,
        screening,
        visits: &visits,
        later_limit,
        previous_level: case.level_before(day)?,
    };
    Ok(Plan::of(&makings, day))
}

/// What a plan is written with.
pub fn input<'a>(
    plan: &'a Plan,
    rules: &'a Rules,
    approved: Option<&'a Approved<Programme>>,
    program: &'a str,
) -> PlanInput<'a> {
    PlanInput {
        plan,
        rules,
        approved: approved.map(|approved| Approval {
            initials: approved.initials(),
            on: approved.on(),
        }),
        program,
    }
}

/// A sheet of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sheet {
    /// For the clinician's file.
    Plan,
    /// For the person, of an approved plan.
    Home,
}

impl Sheet {
    fn file(self, day: Date) -> String {
        match self {
            Sheet::Plan => format!("{day}.html"),
            Sheet::Home => format!("{day}-home.html"),
        }
    }
}

fn plan_file(day: Date) -> String {
    format!("{day}.json")
}

/// A sheet of the plan of a day, as it was written.
pub fn sheet(case: &Case, day: Date, sheet: Sheet) -> Result<Option<String>, CaseError> {
    case.plan_file(&sheet.file(day))
}

/// Keeps a screening. A plan of that day goes, approved or not, before the answers that it was made
/// by are gone: what they came to may hold no longer.
pub fn keep_screening(case: &Case, screening: &Screening) -> Result<(), CaseError> {
    let day = screening.date;
    let mut writing = case.write()?;
    for file in [Sheet::Home.file(day), Sheet::Plan.file(day), plan_file(day)] {
        writing.drop_plan(&file)?;
    }
    writing.keep_screening(screening)?;
    Ok(())
}

/// Where the sheets of a plan lie.
pub struct Sheets {
    pub plan: PathBuf,
    /// Of an approved one.
    pub home: Option<PathBuf>,
}

/// Writes the plan, its sheet and, once it is approved, the sheet for home into the case. The sheet
/// for home of an earlier plan of that day goes: nobody is to hand it out.
pub fn keep(
    case: &Case,
    input: &PlanInput,
    approved: Option<&Approved<Programme>>,
) -> Result<Sheets, CaseError> {
    let day = input.plan.date;
    let home = Sheet::Home.file(day);
    let mut writing = case.write()?;
    if approved.is_none() {
        writing.drop_plan(&home)?;
    }
    let json = json(input);
    writing.keep_plan(&plan_file(day), json.as_bytes())?;
    let plan = writing.keep_plan(&Sheet::Plan.file(day), plan_sheet_html(input).as_bytes())?;
    let home = match approved {
        Some(programme) => {
            let html = home_sheet_html(&HomeSheet {
                code: &case.about.code,
                programme,
                operated: input.plan.screening.operated,
                program: input.program,
            });
            Some(writing.keep_plan(&home, html.as_bytes())?)
        }
        None => None,
    };
    Ok(Sheets { plan, home })
}

/// The plan for programs.
pub fn json(input: &PlanInput) -> String {
    let approved = input
        .approved
        .map(|approval| (approval.initials, approval.on));
    record::plan_to_json(input.plan, approved)
}

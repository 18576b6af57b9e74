//! The episode of care for every shell: what a case's screenings say of a visit's day, the plan of a
//! day, and its sheets on the disk.

pub mod documents;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use thiserror::Error;

use crate::care::catalogue::Catalogue;
use crate::care::plan::{Makings, Plan};
use crate::care::programme::{Approved, BY_CHOICE, LeftOut, NotApproved, Programme};
use crate::care::{Rules, Screening, SetLimit};
use crate::case::{self, Case, CaseError, NewVisit, RECORD, Writing};
use crate::record;
use crate::report::document::{self, Document, Paper, PdfError};
use crate::report::plan::{Approval, PlanInput, plan_sheet_html};
use crate::report::{HoldSheet, HomeSheet, StandingView, hold_sheet, home_sheet, last_day};
use crate::visit::{Visit, VisitFacts};

/// Refuses a visit that is of another person.
pub fn refuse_of_another(visit: &str, facts: &VisitFacts, code: &str) -> Result<(), CaseError> {
    match facts.case.as_deref() {
        Some(other) if other != code => Err(CaseError::OfAnother {
            visit: visit.to_owned(),
            other: other.to_owned(),
            code: code.to_owned(),
        }),
        _ => Ok(()),
    }
}

/// Refuses two visits of one day and name: none is filed so, and one is a copy of the other.
pub fn refuse_twice<'a>(visits: impl IntoIterator<Item = &'a Visit>) -> Result<(), CaseError> {
    let mut before = BTreeSet::new();
    for facts in visits.into_iter().map(|visit| &visit.facts) {
        if let (Some(date), Some(label)) = (facts.date, &facts.label)
            && !before.insert((date, case::slug(label)))
        {
            return Err(CaseError::Twice(format!("{date}, {label}")));
        }
    }
    Ok(())
}

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

/// The lowest limit that visits were told since a day, and that day: what was told before is settled
/// by the screening, which asks for it.
pub fn told_since<'a>(
    visits: impl Iterator<Item = &'a Filed>,
    screened: Option<Date>,
) -> Option<SetLimit> {
    SetLimit::lowest(visits.filter_map(|filed| {
        let date = filed.visit.facts.date;
        let counts = screened.is_none_or(|screened| date.is_none_or(|date| date >= screened));
        Some(SetLimit {
            value: filed.own_limit.filter(|_| counts)?,
            set_on: date,
            until: None,
        })
    }))
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
    // One without a date may be later than it looks.
    let up_to_now = |filed: &&Filed| filed.visit.facts.date.is_some_and(|date| date <= day);
    let filed: Vec<&Filed> = visits.iter().filter(up_to_now).collect();
    let later_limit = told_since(filed.iter().copied(), Some(screening.date));
    let previous = case.plan_before(day)?;
    let visits: Vec<Visit> = filed.iter().map(|filed| filed.visit.clone()).collect();
    let makings = Makings {
        rules,
        catalogue,
        about: &case.about,
        screening,
        visits: &visits,
        later_limit,
        previous: previous.as_ref(),
    };
    Ok(Plan::of(&makings, day))
}

/// Whether the last plan that is kept up to a day was made by these rules; the day of one that was not.
pub fn made_by_others(case: &Case, rules: &Rules, day: Date) -> Result<Option<Date>, CaseError> {
    let plans = case.plans()?;
    let last = plans.iter().rev().find(|kept| kept.plan.date <= day);
    let others = last.filter(|kept| kept.rules.as_deref() != rules.own());
    Ok(others.map(|kept| kept.plan.date))
}

/// What has to be settled first on a day, and which limits hold then; `None` where the person was not
/// screened by then. What these rules can't tell, it says.
pub fn standing_on(
    case: &Case,
    rules: &Rules,
    filed: &[Filed],
    day: Date,
) -> Result<Option<StandingView>, CaseError> {
    let Some(screening) = case.screening_on(day)? else {
        return Ok(None);
    };
    if let Some(plan) = made_by_others(case, rules, day)? {
        let why = format!("The plan of {plan} was made by other rules than those used here");
        return Ok(Some(StandingView::unread(&why)));
    }
    if let Err(why) = rules.check(&screening, day) {
        let why = format!(
            "The screening of {} does not fit the rules used here ({why})",
            screening.date
        );
        return Ok(Some(StandingView::unread(&why)));
    }
    let plan = plan(case, rules, Catalogue::built_in(), &screening, filed, day)?;
    Ok(Some(StandingView::of(&plan)))
}

/// The same of visits that are looked at by themselves: where they lie in a case, that it was not read.
pub fn standing_without_case<'a>(
    mut visits: impl Iterator<Item = &'a Path>,
) -> Option<StandingView> {
    let is_in_case = |visit: &Path| {
        let path = visit.canonicalize().unwrap_or_else(|_| visit.to_owned());
        // The visit, the folder of visits, the case; or the record in the visit before these.
        path.ancestors().skip(1).take(3).any(Case::is_one)
    };
    let unread = || StandingView::unread("These visits were compared without their case");
    visits.any(is_in_case).then(unread)
}

/// Says of a plan which exercises it was made without, because the clinician did not want them.
pub fn leave_out(plan: &mut Plan, catalogue: &Catalogue, without: &[String]) {
    let left_out = catalogue.exercises().iter();
    let left_out = left_out.filter(|exercise| without.contains(&exercise.id));
    plan.programme
        .left_out
        .extend(left_out.map(|exercise| LeftOut {
            id: exercise.id.clone(),
            name: exercise.name.clone(),
            because: BY_CHOICE.to_owned(),
        }));
}

/// Why a plan is not approved.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Refused {
    #[error(transparent)]
    Programme(#[from] NotApproved),
    #[error("there is a later screening, of {0}: what it found goes before this plan")]
    LaterScreening(Date),
    #[error("the answers are of {0}, and a programme is approved on the day of its screening")]
    OldScreening(Date),
    #[error("the screening of this day is not the one that the plan was made by")]
    OtherScreening,
    #[error("there is a later visit, {0}: what it found goes before this plan")]
    LaterVisit(String),
    #[error("the sheet of this plan would have been good until {0}: it is over")]
    Over(Date),
    #[error(transparent)]
    Case(#[from] CaseError),
}

/// Approves the programme of a plan, unless something was found since.
pub fn approve(
    case: &Case,
    plan: &Plan,
    screening: &Screening,
    visits: &[Filed],
    initials: &str,
    today: Date,
) -> Result<Approved<Programme>, Refused> {
    let screenings = case.screenings()?;
    if let Some(later) = screenings.iter().find(|other| other.date > plan.date) {
        return Err(Refused::LaterScreening(later.date));
    }
    if screening.date != plan.date {
        return Err(Refused::OldScreening(screening.date));
    }
    if case.screening_on(plan.date)?.as_ref() != Some(screening) {
        return Err(Refused::OtherScreening);
    }
    let mut visits = (1..)
        .zip(visits)
        .map(|(number, filed)| (number, &filed.visit));
    if let Some((number, later)) =
        visits.find(|(_, visit)| visit.facts.date.is_some_and(|date| date > plan.date))
    {
        return Err(Refused::LaterVisit(later.title(number)));
    }
    let approved = Approved::by(plan.programme.clone(), initials, today)?;
    match last_day(plan.date, approved.what()) {
        last if last < today => Err(Refused::Over(last)),
        _ => Ok(approved),
    }
}

/// The approval that was given to this very plan before.
pub fn standing(
    case: &Case,
    plan: &Plan,
    rules: &Rules,
    program: &str,
) -> Result<Option<Approved<Programme>>, CaseError> {
    let Some(text) = case.plan_of(plan.date)? else {
        return Ok(None);
    };
    let kept = record::plan_from_json(&text)
        .ok()
        .and_then(|kept| kept.approved);
    let approved =
        kept.and_then(|by| Approved::by(plan.programme.clone(), &by.initials, by.on).ok());
    Ok(approved.filter(|approved| json(&input(plan, rules, Some(approved), program)) == text))
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
    /// For the person, while a hold stands.
    Hold,
}

impl Sheet {
    /// To be shown.
    fn page(self, day: Date) -> String {
        match self {
            Sheet::Plan => format!("{day}.html"),
            Sheet::Home => format!("{day}-home.html"),
            Sheet::Hold => format!("{day}-hold.html"),
        }
    }

    /// To be printed, of those that go home.
    fn print(self, day: Date) -> Option<String> {
        match self {
            Sheet::Plan => None,
            Sheet::Home => Some(format!("{day}-home.pdf")),
            Sheet::Hold => Some(format!("{day}-hold.pdf")),
        }
    }

    fn drop_from(self, writing: &mut Writing, day: Date) -> Result<(), CaseError> {
        let files = [Some(self.page(day)), self.print(day)];
        let mut files = files.into_iter().flatten();
        files.try_for_each(|file| writing.drop_plan(&file))
    }
}

/// A sheet of the plan of a day, as it was written.
pub fn sheet(case: &Case, day: Date, sheet: Sheet) -> Result<Option<Vec<u8>>, CaseError> {
    case.plan_file(&sheet.page(day))
}

/// The same to be printed, by the name of its file; of those that go home.
pub fn print(case: &Case, day: Date, sheet: Sheet) -> Result<Option<(String, Vec<u8>)>, CaseError> {
    let Some(name) = sheet.print(day) else {
        return Ok(None);
    };
    let bytes = case.plan_file(&name)?;
    Ok(bytes.map(|bytes| (name, bytes)))
}

/// Keeps a screening. A plan of that day goes, before the answers that it was made by are gone: what
/// they came to may hold no longer. One that was approved stays under another name.
pub fn keep_screening(case: &Case, screening: &Screening) -> Result<PathBuf, CaseError> {
    let day = screening.date;
    let mut writing = case.write()?;
    take_back(&mut writing, day)?;
    writing.keep_screening(screening)
}

/// Files a visit. Today's plan, made without it, goes right before; says whether there was one.
pub fn file(
    writing: &mut Writing,
    new: &NewVisit,
    today: Date,
) -> Result<(PathBuf, bool), CaseError> {
    let mut taken_back = false;
    let folder = writing.file(new, |writing| {
        taken_back = take_back(writing, today)?;
        Ok(())
    })?;
    Ok((folder, taken_back))
}

/// Writes the record of a visit, or any other file. Where it is the record of a case's visit, today's plan,
/// made by another, goes right before; says whether there was one.
pub fn keep_record(path: &Path, bytes: &[u8], today: Date) -> Result<bool, CaseError> {
    // Some systems take large and small letters for the same.
    let is_record = path
        .file_name()
        .is_some_and(|name| name.eq_ignore_ascii_case(RECORD));
    let mut taken_back = false;
    case::write(path, bytes, |writing| {
        if is_record {
            taken_back = take_back(writing, today)?;
        }
        Ok(())
    })?;
    Ok(taken_back)
}

/// Takes the plan of a day back, before what it was made by is written anew; says whether there was one.
fn take_back(writing: &mut Writing, day: Date) -> Result<bool, CaseError> {
    let there = writing.case().plan_of(day)?.is_some();
    for sheet in [Sheet::Home, Sheet::Hold, Sheet::Plan] {
        sheet.drop_from(writing, day)?;
    }
    drop_documents(writing, day)?;
    writing.drop_plan_of(day)?;
    Ok(there)
}

/// Sheets for home that were written by a day's plan: nobody is to hand out what another plan said.
fn drop_documents(writing: &mut Writing, day: Date) -> Result<(), CaseError> {
    documents::sheets_of(day).try_for_each(|name| writing.drop_document(&name))
}

/// Where the sheets of a plan lie.
pub struct Sheets {
    pub plan: PathBuf,
    /// For home, of an approved one.
    pub home: Option<ForHome>,
    /// For home too, while a hold stands.
    pub hold: Option<ForHome>,
}

/// The files of a sheet for home: to be shown, and to be printed.
pub struct ForHome {
    pub page: PathBuf,
    pub print: PathBuf,
}

/// Why the sheets of a plan are not kept.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NotKept {
    #[error(transparent)]
    Case(#[from] CaseError),
    #[error(transparent)]
    Pdf(#[from] PdfError),
}

/// Writes the plan, its sheet and, once it is approved, the sheet for home into the case; while a hold
/// stands, the sheet that says to wait. Those for home of an earlier plan of that day go: nobody is to
/// hand them out.
pub fn keep(
    case: &Case,
    input: &PlanInput,
    approved: Option<&Approved<Programme>>,
) -> Result<Sheets, NotKept> {
    let day = input.plan.date;
    let code = &case.about.code;
    let holds = &input.plan.findings.holds;
    let home = approved.map(|programme| {
        home_sheet(&HomeSheet {
            code,
            day,
            programme,
            operated: input.plan.screening.operated,
            program: input.program,
        })
    });
    let hold = (!holds.is_empty()).then(|| {
        hold_sheet(&HoldSheet {
            code,
            day,
            holds,
            program: input.program,
        })
    });
    // Nothing is written unless all of it can be.
    let set = |sheet: Option<Document>| {
        let sheet = sheet.map(|sheet| Set::of(&sheet, day));
        sheet.transpose()
    };
    let (home, hold) = (set(home)?, set(hold)?);
    let json = json(input);
    let mut writing = case.write()?;
    let is_another = case.plan_of(day)?.is_some_and(|kept| kept != json);
    // First of all: whoever is stopped half-way leaves no sheet beside a plan that says something else.
    if home.is_none() || is_another {
        Sheet::Home.drop_from(&mut writing, day)?;
    }
    if hold.is_none() || is_another {
        Sheet::Hold.drop_from(&mut writing, day)?;
    }
    if is_another {
        Sheet::Plan.drop_from(&mut writing, day)?;
        drop_documents(&mut writing, day)?;
    }
    writing.keep_plan_of(day, &json)?;
    let plan = writing.keep_plan(&Sheet::Plan.page(day), plan_sheet_html(input).as_bytes())?;
    let mut keep = |sheet: Sheet, set: Option<Set>| match (set, sheet.print(day)) {
        (Some(set), Some(print)) => Ok(Some(ForHome {
            page: writing.keep_plan(&sheet.page(day), set.page.as_bytes())?,
            print: writing.keep_plan(&print, &set.print)?,
        })),
        _ => Ok::<_, CaseError>(None),
    };
    Ok(Sheets {
        plan,
        home: keep(Sheet::Home, home)?,
        hold: keep(Sheet::Hold, hold)?,
    })
}

/// A sheet for home, ready to be written.
struct Set {
    page: String,
    print: Vec<u8>,
}

impl Set {
    /// The day that the print says it was written on is the plan's, so that a plan that is kept again
    /// leaves the same bytes.
    fn of(sheet: &Document, day: Date) -> Result<Set, PdfError> {
        Ok(Set {
            page: document::html(sheet),
            print: document::pdf(sheet, Paper::A4, day)?,
        })
    }
}

/// The plan for programs.
pub fn json(input: &PlanInput) -> String {
    let approved = input
        .approved
        .map(|approval| (approval.initials, approval.on));
    record::plan_to_json(input.plan, input.rules.own(), approved)
}

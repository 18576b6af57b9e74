//! The documents of a case, each from what the case knows on a day.

use image::RgbImage;
use jiff::civil::Date;
use thiserror::Error;

use super::Filed;
use crate::care::catalogue::Catalogue;
use crate::care::plan::Plan;
use crate::care::programme::{Approved, Programme};
use crate::care::{Rules, Screening};
use crate::case::{Case, CaseError};
use crate::compare::{Comparison, compare, compare_carrying};
use crate::record;
use crate::record::KeptPlan;
use crate::report::document::{self, AtHome, Course, Document, Letter, Paper, PdfError, VisitNote};
use crate::report::plan::PlanInput;
use crate::report::{
    HoldSheet, HomeSheet, ReportInput, StandingView, hold_sheet, home_sheet, last_day,
};
use crate::visit::Visit;

/// A case as it is known on a day.
pub struct Dossier<'a> {
    case: &'a Case,
    rules: &'a Rules,
    catalogue: &'a Catalogue,
    /// None later than the day, oldest first.
    filed: &'a [Filed],
    visits: Vec<Visit>,
    comparison: Comparison,
    day: Date,
    program: &'a str,
}

/// The photos of the visits.
pub struct Pictures<'a> {
    /// The upright photo of a visit, by the indices of visit and photo; `None` when it isn't at hand.
    pub of: &'a dyn Fn(usize, usize) -> Option<RgbImage>,
    pub show_faces: bool,
}

/// Between whom a letter goes.
#[derive(Clone, Copy, Debug)]
pub struct Address<'a> {
    pub to: Option<&'a str>,
    pub from: Option<&'a str>,
    /// Initials of the clinician who has read the letter.
    pub read_by: Option<&'a str>,
    pub today: Date,
}

/// A document and the name of its file, without an ending.
pub struct Titled {
    pub name: String,
    pub document: Document,
    /// Whether a clinician has read it, so that no other one is to be put in its place.
    pub is_read: bool,
    /// The day that it says it was written on.
    written: Date,
}

impl Titled {
    pub fn html(&self) -> String {
        document::html(&self.document)
    }

    pub fn pdf(&self, paper: Paper) -> Result<Vec<u8>, PdfError> {
        document::pdf(&self.document, paper, self.written)
    }
}

/// Why a document is not written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NotWritten {
    #[error("no visit is filed up to {0}")]
    NoVisit(Date),
    #[error("a comparison takes two visits, and {0} is filed up to {1}")]
    OneVisit(usize, Date),
    #[error("no plan is kept up to {0}: make one first")]
    NoPlan(Date),
    #[error("the plan of {0} is not approved")]
    NotApproved(Date),
    #[error(
        "the plan of {0} was approved, and what it is made from has changed since: make it anew"
    )]
    OtherPlan(Date),
    #[error("there is a later {what} than the plan of {plan}: make a plan of that day first")]
    Outdated { plan: Date, what: String },
    #[error("the sheet of the plan of {plan} was good until {last}: make a plan of today first")]
    Over { plan: Date, last: Date },
    #[error("the plan of {0} was made by other rules")]
    OtherRules(Date),
    #[error("the screening of {day} does not fit the rules: {why}")]
    Screening { day: Date, why: String },
    #[error(transparent)]
    Case(#[from] CaseError),
}

/// What a plan is written with, made anew for a day.
struct Made {
    plan: Plan,
    approved: Option<Approved<Programme>>,
}

impl<'a> Dossier<'a> {
    /// `filed` holds the visits up to the day, oldest first.
    pub fn of(
        case: &'a Case,
        rules: &'a Rules,
        catalogue: &'a Catalogue,
        filed: &'a [Filed],
        day: Date,
        program: &'a str,
    ) -> Result<Dossier<'a>, CaseError> {
        let mut visits: Vec<Visit> = filed.iter().map(|filed| filed.visit.clone()).collect();
        // Screenings say which limit held on each day; without one, the last that was told holds on.
        let comparison = match case.screenings()?.is_empty() {
            true => compare_carrying(&mut visits),
            false => compare(&visits),
        };
        Ok(Dossier {
            case,
            rules,
            catalogue,
            filed,
            visits,
            comparison,
            day,
            program,
        })
    }

    /// What changed from the first visit to the last.
    pub fn comparison(&self, pictures: &Pictures) -> Result<Titled, NotWritten> {
        self.refuse_without_visit()?;
        if self.visits.len() < 2 {
            return Err(NotWritten::OneVisit(self.visits.len(), self.day));
        }
        let made = self.made_for(self.day)?;
        let standing = made.as_ref().map(|made| StandingView::of(&made.plan));
        let document = document::comparison(&ReportInput {
            visits: &self.visits,
            comparison: &self.comparison,
            pictures: pictures.of,
            show_faces: pictures.show_faces,
            standing: standing.as_ref(),
            program: self.program,
        });
        Ok(self.titled(self.day, "comparison", document))
    }

    /// Where each reach stands over all visits.
    pub fn course(&self) -> Result<Titled, NotWritten> {
        self.refuse_without_visit()?;
        let made = self.made_for(self.day)?;
        let input = made.as_ref().map(|made| self.input(made));
        let in_force = self.in_force();
        let document = document::course(&Course {
            visits: &self.visits,
            comparison: &self.comparison,
            plan: input.as_ref(),
            at_home: self.at_home(&in_force)?,
            program: self.program,
        });
        Ok(self.titled(self.day, "course", document))
    }

    /// The note of the visit of this index.
    pub fn visit_note(&self, index: usize, pictures: &Pictures) -> Result<Titled, NotWritten> {
        let visit = self
            .visits
            .get(index)
            .ok_or(NotWritten::NoVisit(self.day))?;
        let day = visit.facts.date.unwrap_or(self.day);
        let made = self.made_for(day)?;
        let input = made.as_ref().map(|made| self.input(made));
        // What was answered since, up to the next visit, goes before what held on the visit's day.
        let next = self
            .visits
            .get(index + 1)
            .and_then(|visit| visit.facts.date);
        let up_to = next.and_then(|next| next.yesterday().ok());
        let screened = self.case.screening_on(up_to.unwrap_or(self.day))?;
        let later = screened.filter(|screening| screening.date > day);
        let later = later.map(|screening| self.made_for(screening.date));
        let later = later.transpose()?.flatten();
        let since = later.as_ref().map(|made| self.input(made));
        let document = document::visit_note(&VisitNote {
            visit,
            plan: input.as_ref(),
            since: since.as_ref(),
            pictures: &|photo| (pictures.of)(index, photo),
            show_faces: pictures.show_faces,
            program: self.program,
        });
        Ok(self.titled(day, "visit-note", document))
    }

    /// The letter to whoever referred the person.
    pub fn letter(&self, address: Address) -> Result<Titled, NotWritten> {
        self.refuse_without_visit()?;
        let made = self.made_for(self.day)?;
        let input = made.as_ref().map(|made| self.input(made));
        let in_force = self.in_force();
        let document = document::letter(&Letter {
            code: &self.case.about.code,
            visits: &self.visits,
            comparison: &self.comparison,
            plan: input.as_ref(),
            at_home: self.at_home(&in_force)?,
            date: self.day,
            today: address.today,
            to: address.to,
            from: address.from,
            read_by: address.read_by,
            program: self.program,
        });
        Ok(match address.read_by {
            // Under a name of its own: no later draft takes its place.
            Some(_) => Titled {
                is_read: true,
                ..self.titled(self.day, "letter-read", document)
            },
            None => self.titled(self.day, "letter", document),
        })
    }

    /// The sheet that goes home with the last plan: the exercises that were approved, or while a hold
    /// stands, that there are none.
    pub fn home_sheet(&self) -> Result<Titled, NotWritten> {
        let code = &self.case.about.code;
        let made = self.in_force()?;
        let day = made.plan.date;
        let document = match &made.approved {
            Some(programme) => home_sheet(&HomeSheet {
                code,
                day,
                programme,
                operated: made.plan.screening.operated,
                program: self.program,
            }),
            None => hold_sheet(&HoldSheet {
                code,
                day,
                holds: &made.plan.findings.holds,
                program: self.program,
            }),
        };
        let what = match made.approved {
            Some(_) => HOME_SHEET,
            None => HOLD_SHEET,
        };
        Ok(self.titled(day, what, document))
    }

    /// The last plan, where it still counts on the day: it is approved and not over, or it holds.
    fn in_force(&self) -> Result<Made, NotWritten> {
        let plans = self.case.plans()?;
        let plans = plans.iter().rev();
        let known: Vec<&KeptPlan> = plans.filter(|kept| kept.plan.date <= self.day).collect();
        // A proposal that was only looked at takes nothing back.
        let counts = |kept: &&&KeptPlan| kept.is_held || self.is_approved(kept);
        let kept = known.iter().find(counts).or(known.first());
        let kept = kept.ok_or(NotWritten::NoPlan(self.day))?;
        let day = kept.plan.date;
        self.refuse_outdated(day)?;
        let made = self.made_for(day)?.ok_or(NotWritten::NoPlan(self.day))?;
        if !made.plan.findings.holds.is_empty() {
            return Ok(made);
        }
        let programme = made.approved.as_ref().ok_or(match self.is_approved(kept) {
            true => NotWritten::OtherPlan(day),
            false => NotWritten::NotApproved(day),
        })?;
        match last_day(day, programme.what()) {
            last if last < self.day => Err(NotWritten::Over { plan: day, last }),
            _ => Ok(made),
        }
    }

    /// Whether it was by the day.
    fn is_approved(&self, kept: &KeptPlan) -> bool {
        let by = kept.approved.as_ref();
        by.is_some_and(|by| by.on <= self.day)
    }

    /// What the person does at home, or has there and should not do.
    fn at_home<'b>(
        &'b self,
        in_force: &'b Result<Made, NotWritten>,
    ) -> Result<AtHome<'b>, NotWritten> {
        Ok(match in_force {
            Ok(made) => match &made.approved {
                Some(approved) => {
                    let last = last_day(made.plan.date, approved.what());
                    AtHome::InForce(self.input(made), last)
                }
                // A hold.
                None => self.left_at_home()?,
            },
            Err(NotWritten::Over { plan, last }) => AtHome::Over {
                plan: *plan,
                until: *last,
            },
            Err(_) => self.left_at_home()?,
        })
    }

    /// The last sheet that was handed out, where what was found since goes before it.
    fn left_at_home(&self) -> Result<AtHome<'_>, NotWritten> {
        let plans = self.case.plans()?;
        let mut plans = plans.iter().rev();
        let last = plans.find(|kept| kept.plan.date <= self.day && self.is_approved(kept));
        let Some(plan) = last.map(|kept| kept.plan.date) else {
            return Ok(AtHome::Nothing);
        };
        let made = self.made_for(plan)?;
        let until = made.and_then(|made| Some(last_day(plan, made.approved?.what())));
        Ok(match until {
            Some(until) if until < self.day => AtHome::Over { plan, until },
            until => AtHome::Outdated(plan, until),
        })
    }

    fn refuse_without_visit(&self) -> Result<(), NotWritten> {
        match self.visits.is_empty() {
            true => Err(NotWritten::NoVisit(self.day)),
            false => Ok(()),
        }
    }

    /// What was found after a plan goes before it.
    fn refuse_outdated(&self, plan: Date) -> Result<(), NotWritten> {
        let later = |what: String| NotWritten::Outdated { plan, what };
        let visits = self.visits.iter().filter_map(|visit| visit.facts.date);
        if let Some(day) = visits.max().filter(|day| *day > plan) {
            return Err(later(format!("visit, of {day},")));
        }
        let screening = self.case.screening_on(self.day)?;
        match screening.filter(|screening| screening.date > plan) {
            Some(screening) => Err(later(format!("screening, of {},", screening.date))),
            None => Ok(()),
        }
    }

    /// The plan of a day, made anew as it was kept, with the approval that was given to this very plan;
    /// none where the person was not screened by then.
    fn made_for(&self, day: Date) -> Result<Option<Made>, NotWritten> {
        let Some(screening) = self.case.screening_on(day)? else {
            return Ok(None);
        };
        if let Some(plan) = super::made_by_others(self.case, self.rules, self.day)? {
            return Err(NotWritten::OtherRules(plan));
        }
        self.check(&screening, day)?;
        let kept = self.case.plan_of(day)?;
        let kept = kept.and_then(|text| record::plan_from_json(&text).ok());
        let without = kept.map(|kept| kept.without).unwrap_or_default();
        // One that these exercises don't hold was chosen from others: what is made is another plan.
        let chosen = self.catalogue.without(&without);
        let chosen = chosen.as_ref().unwrap_or(self.catalogue);
        let mut plan = super::plan(self.case, self.rules, chosen, &screening, self.filed, day)?;
        super::leave_out(&mut plan, self.catalogue, &without);
        let approved = super::standing(self.case, &plan, self.rules, self.program)?;
        // An approval that was given later was not known on the day.
        let approved = approved.filter(|approved| approved.on() <= self.day);
        Ok(Some(Made { plan, approved }))
    }

    fn check(&self, screening: &Screening, day: Date) -> Result<(), NotWritten> {
        let checked = self.rules.check(screening, day);
        checked.map_err(|why| NotWritten::Screening {
            day: screening.date,
            why: why.to_string(),
        })
    }

    fn input<'b>(&'b self, made: &'b Made) -> PlanInput<'b> {
        super::input(&made.plan, self.rules, made.approved.as_ref(), self.program)
    }

    fn titled(&self, day: Date, what: &str, document: Document) -> Titled {
        Titled {
            name: format!("{day}-{what}"),
            document,
            is_read: false,
            written: self.day,
        }
    }
}

const HOME_SHEET: &str = "home-sheet";
const HOLD_SHEET: &str = "hold-sheet";

/// The sheets for home of a day, as they may lie among the documents.
pub(super) fn sheets_of(day: Date) -> impl Iterator<Item = String> {
    [HOME_SHEET, HOLD_SHEET]
        .into_iter()
        .flat_map(move |sheet| ["pdf", "html"].map(|ending| format!("{day}-{sheet}.{ending}")))
}

//! The plan of today: made as a proposal, approved by a clinician, given out as sheets.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::IntoResponse;
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::json;

use super::answer::{self, Answer, Trouble};
use super::body::Sent;
use super::case::{UNREADABLE_PLAN, standing};
use super::guard::REPORT_POLICY;
use super::visits::Visits;
use super::{Shared, lock};
use crate::care::Rules;
use crate::care::catalogue::Catalogue;
use crate::care::programme::NotApproved;
use crate::case::Case;
use crate::checksum;
use crate::episode::{self, Refused, Sheet};
use crate::record;
use crate::report::words::capitalised;

const PROGRAM: &str = concat!("tragus ", env!("CARGO_PKG_VERSION"));

/// Where the case stands, without a look at its visits.
pub async fn plan(State(shared): State<Arc<Shared>>) -> Answer {
    let work = |shared: &Shared| {
        let visits = lock(&shared.visits);
        answer::json(standing(visits.case()?, shared.today())?)
    };
    shared.work(work).await
}

/// What is to become of today's plan.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    /// Initials of whoever approves it.
    approve: Option<String>,
    /// The mark of the proposal that was looked at.
    seen: Option<String>,
    /// Whether an approved plan may become a proposal.
    #[serde(default)]
    anew: bool,
}

/// Makes the plan of today, from the case's visits as they are reviewed now; approved or as a
/// proposal.
pub async fn make(State(shared): State<Arc<Shared>>, Sent(wish): Sent<Wish>) -> Answer {
    let work = move |shared: &Shared| {
        let today = shared.today();
        let unseen = {
            let visits = lock(&shared.visits);
            may_make(&visits, &wish, today)?;
            visits.to_look_at(today)
        };
        for id in &unseen {
            shared.see(id)?;
        }
        let visits = lock(&shared.visits);
        // Something may have happened while the nets looked.
        let case = may_make(&visits, &wish, today)?;
        let rules = Rules::built_in();
        let screening = case.screening_on(today)?.ok_or_else(|| {
            Trouble::conflict(
                "This case has no screening so far.",
                "Screen the person first: without answers nothing is proposed.",
            )
        })?;
        rules.check(&screening, today).map_err(|error| {
            Trouble::conflict(
                format!("The last screening can't be read by the rules: {error}."),
                "Screen the person again.",
            )
        })?;
        let filed = visits.filed();
        let catalogue = Catalogue::built_in();
        let plan = episode::plan(case, rules, catalogue, &screening, &filed, today)?;
        let proposal = episode::json(&episode::input(&plan, rules, None, PROGRAM));
        let mark = checksum::sha256(proposal.as_bytes());
        let approved = match &wish.approve {
            None => None,
            Some(initials) => {
                if wish.seen.as_ref() != Some(&mark) {
                    return Err(Trouble::conflict(
                        "The plan is not the one that was looked at: a visit or an answer changed \
                         meanwhile.",
                        "Nothing was approved. Read the plan as it is now, then approve it.",
                    ));
                }
                let approved = episode::approve(case, &plan, &screening, &filed, initials, today);
                let approved = approved.map_err(refused)?;
                Some(approved)
            }
        };
        let input = episode::input(&plan, rules, approved.as_ref(), PROGRAM);
        episode::keep(case, &input, approved.as_ref())?;
        let mut told = standing(case, today)?;
        told["mark"] = json!(mark);
        told["exercises"] = json!(plan.programme.exercises.len());
        told["outside"] = json!(visits.outside_case());
        answer::json(told)
    };
    shared.work(work).await
}

/// Refuses a plan that would pass over what is not saved, or take an approval back unasked.
fn may_make<'a>(visits: &'a Visits, wish: &Wish, today: Date) -> Result<&'a Case, Trouble> {
    let case = visits.case()?;
    let unsaved = visits.unsaved();
    if !unsaved.is_empty() {
        return Err(Trouble::conflict(
            format!("Not saved so far: {}.", unsaved.join("; ")),
            "Save it in its review, or file it in the case, then make the plan.",
        ));
    }
    if !visits.knows_all_of_case()? {
        return Err(Trouble::conflict(
            "Another program filed a visit in this case since the page was opened.",
            "Stop tragus and start it anew, so that the plan looks at that visit too.",
        ));
    }
    visits.refuse_changed()?;
    if let Some(visit) = visits.written_by_another()? {
        return Err(Trouble::conflict(
            format!("Another program wrote the record of {visit} since the page was opened."),
            "Stop tragus and start it anew, so that the plan goes by what stands there now.",
        ));
    }
    let kept = case.plan_of(today)?;
    let kept = kept.map(|text| record::plan_from_json(&text)).transpose();
    let kept = kept.map_err(|error| {
        Trouble::conflict(
            format!("The plan of today is there and can't be read: {error}."),
            UNREADABLE_PLAN,
        )
    })?;
    match kept.and_then(|kept| kept.approved) {
        Some(approval) if !wish.anew => Err(Trouble::conflict(
            format!(
                "The plan of today is approved by {} on {}.",
                approval.initials, approval.on
            ),
            "It stays as it is. To change it, make it anew; it is then a proposal again.",
        )),
        _ => Ok(case),
    }
}

fn refused(why: Refused) -> Trouble {
    match why {
        Refused::Programme(why) => not_approved(why),
        Refused::Case(error) => error.into(),
        other => Trouble::conflict(
            format!("{}.", capitalised(&other.to_string())),
            "Nothing was approved. Screen the person today, then approve.",
        ),
    }
}

fn not_approved(why: NotApproved) -> Trouble {
    let words = format!("{}.", capitalised(&why.to_string()));
    match why {
        NotApproved::Hold { .. } | NotApproved::Empty => Trouble::conflict(
            words,
            "Nothing was approved. The plan says what stands in the way.",
        ),
        NotApproved::NoInitials => Trouble::unusable(
            words,
            "Nothing was approved. Write your initials, such as AB.",
        ),
    }
}

/// A sheet of today's plan: a page of its own, with styles and without scripts; or, with `.pdf` after its
/// name, the file to be printed.
pub async fn sheet(State(shared): State<Arc<Shared>>, Path(name): Path<String>) -> Answer {
    let work = move |shared: &Shared| {
        let (name, is_print) = match name.strip_suffix(".pdf") {
            Some(name) => (name, true),
            None => (name.as_str(), false),
        };
        let sheet = match name {
            "plan" => Sheet::Plan,
            "home" => Sheet::Home,
            "hold" => Sheet::Hold,
            _ => return Err(Trouble::gone("sheet")),
        };
        let visits = lock(&shared.visits);
        if is_print {
            let print = episode::print(visits.case()?, shared.today(), sheet)?;
            let (file, pdf) = print.ok_or_else(|| Trouble::gone("sheet"))?;
            let file = format!("attachment; filename=\"{file}\"");
            let headers = [
                (header::CONTENT_TYPE, "application/pdf"),
                (header::CONTENT_DISPOSITION, &file),
            ];
            return Ok((headers, pdf).into_response());
        }
        let html = episode::sheet(visits.case()?, shared.today(), sheet)?;
        let html = html.ok_or_else(|| Trouble::gone("sheet"))?;
        let headers = [
            (header::CONTENT_TYPE, "text/html; charset=utf-8"),
            (header::CONTENT_SECURITY_POLICY, REPORT_POLICY),
        ];
        Ok((headers, html).into_response())
    };
    shared.work(work).await
}

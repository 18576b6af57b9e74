//! Comparing visits that are open: the same report as on the command line.

use std::collections::VecDeque;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::IntoResponse;
use image::RgbImage;
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::json;

use super::answer::{self, Answer, Trouble};
use super::body::Sent;
use super::guard::REPORT_POLICY;
use super::picture::upright;
use super::visits::{Source, Visits};
use super::{Shared, lock};
use crate::care::Rules;
use crate::checksum;
use crate::compare::compare_carrying;
use crate::episode;
use crate::report::{self, StandingView};
use crate::visit::{PhotoRecord, Visit};

/// The reports that were written last.
#[derive(Default)]
pub struct Reports {
    written: usize,
    kept: VecDeque<(String, String)>,
}

const MOST_REPORTS: usize = 4;

impl Reports {
    fn keep(&mut self, html: String) -> String {
        self.written += 1;
        let id = format!("k{}", self.written);
        self.kept.push_back((id.clone(), html));
        if self.kept.len() > MOST_REPORTS {
            self.kept.pop_front();
        }
        id
    }

    fn get(&self, id: &str) -> Option<String> {
        let kept = self.kept.iter().find(|(known, _)| known == id);
        kept.map(|(_, html)| html.clone())
    }
}

/// Which visits are compared, oldest first.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chosen {
    visits: Vec<String>,
}

/// Writes the report of a comparison.
pub async fn compare(State(shared): State<Arc<Shared>>, Sent(chosen): Sent<Chosen>) -> Answer {
    let work = move |shared: &Shared| {
        let ids = chosen.visits;
        let twice = ids.iter().enumerate().any(|(i, id)| ids[..i].contains(id));
        if ids.len() < 2 || twice {
            return Err(Trouble::unusable(
                "A comparison takes two or more visits.",
                "Choose at least two, each once.",
            ));
        }
        for id in &ids {
            shared.see(id)?;
        }
        let (mut visits, sources, standing) = {
            let open = lock(&shared.visits);
            let (visits, sources) = measured(&open, &ids)?;
            (visits, sources, standing(&open, &ids, shared.today())?)
        };
        let html = write(&mut visits, &sources, standing.as_ref());
        let id = lock(&shared.reports).keep(html);
        answer::json(json!({ "report": format!("/api/comparisons/{id}"), "id": id }))
    };
    shared.work(work).await
}

/// The report of a comparison. It is a page of its own, with styles and without scripts.
pub async fn report(State(shared): State<Arc<Shared>>, Path(id): Path<String>) -> Answer {
    let html = lock(&shared.reports).get(&id);
    let html = html.ok_or_else(|| Trouble::gone("report"))?;
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_SECURITY_POLICY, REPORT_POLICY),
    ];
    Ok((headers, html).into_response())
}

/// The visits and where their photos are. The operated side of the visit before holds where one
/// names none, as without it there is no asymmetry to measure.
fn measured(open: &Visits, ids: &[String]) -> Result<(Vec<Visit>, Vec<Vec<Source>>), Trouble> {
    let mut visits: Vec<Visit> = Vec::new();
    let mut sources = Vec::new();
    for id in ids {
        let visit = open.get(id)?;
        let mut facts = visit.facts.clone();
        let before = visits.last().and_then(|visit| visit.facts.operated);
        facts.operated = facts.operated.or(before);
        visits.push(visit.visit_with(&facts));
        let photos = visit.photos().iter();
        sources.push(photos.map(|photo| photo.source().clone()).collect());
    }
    Ok((visits, sources))
}

/// Holds and limits of today by the built-in rules, where the visits are those of the case.
fn standing(open: &Visits, ids: &[String], today: Date) -> Result<Option<StandingView>, Trouble> {
    let of_case = |id: &String| open.get(id).is_ok_and(|visit| visit.in_case);
    match open.case().ok().filter(|_| ids.iter().all(of_case)) {
        Some(case) => {
            let filed = open.filed();
            Ok(episode::standing_on(
                case,
                Rules::built_in(),
                &filed,
                today,
            )?)
        }
        None => {
            let visits: Vec<_> = ids.iter().filter_map(|id| open.get(id).ok()).collect();
            let folders = visits.iter().filter_map(|visit| visit.path());
            Ok(episode::standing_without_case(folders))
        }
    }
}

fn write(visits: &mut [Visit], sources: &[Vec<Source>], standing: Option<&StandingView>) -> String {
    let comparison = compare_carrying(visits);
    let pictures =
        |visit: usize, photo: usize| picture(&sources[visit][photo], &visits[visit].photos[photo]);
    report::comparison_html(&report::ReportInput {
        visits,
        comparison: &comparison,
        pictures: &pictures,
        show_faces: false,
        standing,
        program: concat!("tragus ", env!("CARGO_PKG_VERSION")),
    })
}

/// The upright picture that a record was made from; `None` when it is not there any more.
fn picture(source: &Source, record: &PhotoRecord) -> Option<RgbImage> {
    let bytes = source.bytes().ok()?;
    // Another file of that name would be shown with the lines and the covered face of this one.
    if record.sha256.as_deref() != Some(&checksum::sha256(&bytes)) {
        return None;
    }
    upright(&bytes).ok()
}

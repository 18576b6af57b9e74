//! Remarks about photos and visits.

use crate::visit::{Notice, Visit};

use super::limit::{Reached, elevations};
use super::{NoticeView, VisitName};

/// How the visit's own notice of a reach past the limit begins; the caution says the same.
pub(super) const LIMIT_NOTICE: &str = "Beyond the set limit:";

/// What to know of photos and visits; named by visit where `names` are given.
pub(super) fn notices(visits: &[Visit], names: &[VisitName]) -> Vec<NoticeView> {
    let mut notices = Vec::new();
    for (index, visit) in visits.iter().enumerate() {
        let cautioned = !elevations(visit, Reached::Past).is_empty();
        let mut add = |what: &str, of: &[Notice]| {
            let texts: Vec<String> = of
                .iter()
                .map(|notice| notice.text.clone())
                .filter(|text| !(cautioned && text.starts_with(LIMIT_NOTICE)))
                .collect();
            if !texts.is_empty() {
                let about = match names.get(index) {
                    Some(name) => format!("{}: {what}", name.title),
                    None => what.to_owned(),
                };
                notices.push(NoticeView { about, texts });
            }
        };
        add("the whole visit", &visit.notices);
        for photo in &visit.photos {
            add(&photo.file, &photo.notices);
        }
    }
    notices
}

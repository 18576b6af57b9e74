//! Remarks about photos and visits.

use crate::visit::{Notice, NoticeKind, Visit};

use super::limit::{Reached, elevations};
use super::{NoticeView, VisitName};

/// What to know of photos and visits; named by visit where `names` are given. What the cautions
/// say of a limit is not said again.
pub(super) fn notices(visits: &[Visit], names: &[VisitName]) -> Vec<NoticeView> {
    let mut notices = Vec::new();
    for (index, visit) in visits.iter().enumerate() {
        let is_last = index + 1 == visits.len();
        let any = |wanted| !elevations(visit, wanted).is_empty();
        let (past, near) = (any(Reached::Past), is_last && any(Reached::Maybe));
        let cautioned = |notice: &&Notice| match notice.kind {
            NoticeKind::AboveLimit | NoticeKind::MayBeAboveLimit => past,
            NoticeKind::MayBeAtLimit => near,
            _ => false,
        };
        let mut add = |what: &str, of: &[Notice]| {
            let untold = of.iter().filter(|notice| !cautioned(notice));
            let texts: Vec<String> = untold.map(|notice| notice.text.clone()).collect();
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

//! What is known about the person and the visits, apart from any photo.

use crate::body::{Operated, Side};
use crate::visit::Visit;

use super::{ARM_LIMIT, CASE};

pub(super) fn facts(visits: &[Visit]) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let latest = |of: &dyn Fn(&Visit) -> Option<String>| visits.iter().rev().find_map(of);
    if let Some(case) = latest(&|visit| visit.facts.case.clone()) {
        facts.push((CASE, case));
    }
    if let Some(operated) = latest(&|visit| visit.facts.operated.map(operated_words)) {
        facts.push(("Surgery", operated));
    }
    if let Some(stature) = latest(&|visit| visit.facts.stature_cm.map(|cm| format!("{cm:.1} cm"))) {
        facts.push(("Stature", stature));
    }
    if let Some(limit) = latest(&|visit| visit.facts.arm_limit_deg.map(|deg| format!("{deg}°"))) {
        facts.push((ARM_LIMIT, limit));
    }
    if let Some(apart) = apart(visits) {
        facts.push(("Apart", apart));
    }
    facts
}

fn operated_words(operated: Operated) -> String {
    match operated {
        Operated::One(side) => format!("{side} side"),
        Operated::Both => "both sides".to_owned(),
        Operated::Neither => "none".to_owned(),
    }
}

fn apart(visits: &[Visit]) -> Option<String> {
    let (first, last) = (visits.first()?.facts.date?, visits.last()?.facts.date?);
    let days = (last - first).get_days();
    match days {
        ..=0 => None,
        1 => Some("1 day".to_owned()),
        2..=13 => Some(format!("{days} days")),
        _ if days % 7 == 0 => Some(format!("{} weeks", days / 7)),
        _ => Some(format!(
            "{} weeks and {} {}",
            days / 7,
            days % 7,
            if days % 7 == 1 { "day" } else { "days" }
        )),
    }
}

/// Whether the side is operated on, as the last visit tells.
pub(super) fn is_operated(visits: &[Visit], side: Option<Side>) -> bool {
    match (visits.last().and_then(|visit| visit.facts.operated), side) {
        (Some(operated), Some(side)) => operated.includes(side),
        _ => false,
    }
}

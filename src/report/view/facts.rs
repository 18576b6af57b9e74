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
    if let Some(limit) = limits(visits) {
        facts.push((ARM_LIMIT, limit));
    }
    if let Some(apart) = apart(visits) {
        facts.push(("Apart", apart));
    }
    facts
}

/// "120°", or "120° at intake, none from week 10 on"; `None` where there never was one.
fn limits(visits: &[Visit]) -> Option<String> {
    let limit = |visit: &Visit| visit.facts.arm_limit_deg;
    visits.iter().find_map(limit)?;
    let words = |visit: &Visit| limit(visit).map_or("none".to_owned(), |deg| format!("{deg}°"));
    let name = |index: usize| {
        let label = visits[index].facts.label.clone();
        label.unwrap_or_else(|| visits[index].title(index + 1))
    };
    let mut steps = vec![words(visits.first()?)];
    for (index, pair) in (1..).zip(visits.windows(2)) {
        if limit(&pair[0]) != limit(&pair[1]) {
            if let [first] = &mut steps[..] {
                *first = match index {
                    1 => format!("{first} at {}", name(0)),
                    _ => format!("{first} from {} on", name(0)),
                };
            }
            steps.push(format!("{} from {} on", words(&pair[1]), name(index)));
        }
    }
    Some(steps.join(", "))
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

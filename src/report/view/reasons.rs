//! Why measures have no number or can't be compared, those with the same reason together.

use std::collections::BTreeSet;

use crate::body::{Landmark, Side};
use crate::compare::{Row, Verdict};
use crate::measure::Measure;
use crate::report::number;

use super::movement::{is_twin, told_by};
use super::names::merged_names;
use super::{ReasonView, VisitName};

/// Why a row has no value at some visit, or can't be compared; `None` when it is whole.
pub(super) fn reason(names: &[VisitName], row: &Row) -> Option<String> {
    let errors: Vec<(&VisitName, &String)> = names
        .iter()
        .zip(&row.course)
        .filter_map(|(name, value)| Some((name, value.as_ref().err()?)))
        .collect();
    let Some((_, one)) = errors.first() else {
        return match &row.verdict {
            Verdict::CannotCompare { reason } => Some(reason.clone()),
            _ => None,
        };
    };
    // One reason is enough when every visit has the same.
    if errors.len() == names.len() && errors.iter().all(|(_, reason)| reason == one) {
        return Some((*one).clone());
    }
    let told: Vec<String> = errors
        .iter()
        .map(|(name, reason)| format!("{}: {reason}", name.title))
        .collect();
    Some(told.join("; "))
}

/// What is known of a row that has a value at only one end.
pub(super) fn lone_value(names: &[VisitName], row: &Row) -> Option<String> {
    let known: Vec<String> = row
        .course
        .iter()
        .zip(names)
        .filter_map(|(value, name)| {
            let estimate = value.as_ref().ok()?;
            Some(format!(
                "{}: {}",
                name.title,
                number::with_error(*estimate, row.measure.unit())
            ))
        })
        .collect();
    (!known.is_empty()).then(|| known.join("; "))
}

/// Collects measures without a number under their reasons.
#[derive(Default)]
pub(super) struct Reasons {
    entries: Vec<ReasonEntry>,
}

struct ReasonEntry {
    /// Bony points that its measures lack; empty where other things are the reason.
    bones: BTreeSet<Landmark>,
    /// As given, under the reason without its side.
    reasons: Vec<(String, Vec<String>)>,
    measures: Vec<(Measure, Option<Side>)>,
    /// Values that stand alone, told with their measure.
    lone: Vec<(Measure, Option<Side>, String)>,
}

const SHOW_OR_PLACE_BONE: &str = "Take the photo again with ear, neck and back in view, where that \
                                  suits the person; or place the points by hand, save each visit, \
                                  and compare them anew.";

/// The bony points that a measure lacks by this reason, which a person can place.
fn lacking_bones(measure: Measure, side: Option<Side>, reason: &str) -> BTreeSet<Landmark> {
    use Landmark::{Acromion, C7, T4, T8, T12};
    let bone = |landmark: &Landmark| matches!(landmark, C7 | T4 | T8 | T12 | Acromion(_));
    let lacking = |landmark: &Landmark| {
        reason
            .split("; ")
            .any(|part| part.contains("needs") && part.contains(&landmark.words()))
    };
    let needs = measure.needs(side).into_iter();
    needs.filter(bone).filter(lacking).collect()
}

fn needs_words(bones: &BTreeSet<Landmark>) -> String {
    let names: Vec<String> = bones
        .iter()
        .map(|bone| match bone {
            Landmark::C7 => "C7 (at the base of the neck)".to_owned(),
            other => other.in_words(),
        })
        .collect();
    format!(
        "These need bony points that were not found: {}.",
        names.join(", ")
    )
}

impl Reasons {
    pub(super) fn add(
        &mut self,
        measure: Measure,
        side: Option<Side>,
        reason: &str,
        lone: Option<String>,
    ) {
        let bones = lacking_bones(measure, side, reason);
        // The side stands beside the measure, so left and right may share a reason.
        let plain = match side {
            Some(side) => reason.replace(&format!("{side} "), ""),
            None => reason.to_owned(),
        };
        let place = self.entries.iter().position(|entry| {
            entry.bones.is_empty() == bones.is_empty()
                && (!bones.is_empty() || entry.reasons[0].0 == plain)
        });
        let index = place.unwrap_or_else(|| {
            self.entries.push(ReasonEntry {
                bones: BTreeSet::new(),
                reasons: Vec::new(),
                measures: Vec::new(),
                lone: Vec::new(),
            });
            self.entries.len() - 1
        });
        let entry = &mut self.entries[index];
        entry.bones.extend(bones);
        let known = entry.reasons.iter().position(|(known, _)| *known == plain);
        let index = known.unwrap_or_else(|| {
            entry.reasons.push((plain, Vec::new()));
            entry.reasons.len() - 1
        });
        let given = &mut entry.reasons[index].1;
        if !given.iter().any(|known| known == reason) {
            given.push(reason.to_owned());
        }
        match lone {
            Some(value) => entry.lone.push((measure, side, value)),
            None => entry.measures.push((measure, side)),
        }
    }

    pub(super) fn finish(self) -> Vec<ReasonView> {
        self.entries
            .into_iter()
            .map(|entry| {
                // A twin that shares its measure's reason adds nothing.
                let known: Vec<(Measure, Option<Side>)> = entry
                    .measures
                    .iter()
                    .copied()
                    .chain(
                        entry
                            .lone
                            .iter()
                            .map(|(measure, side, _)| (*measure, *side)),
                    )
                    .collect();
                let told = |measure: Measure, side: Option<Side>| {
                    is_twin(measure) && told_by(measure).any(|other| known.contains(&(other, side)))
                };
                let own = |(measure, side): &(Measure, Option<Side>)| !told(*measure, *side);
                let mut measures = merged_names(entry.measures.into_iter().filter(own));
                for (measure, side, value) in entry.lone {
                    if !told(measure, side) {
                        measures.push(format!(
                            "{} [{value}]",
                            merged_names([(measure, side)]).concat()
                        ));
                    }
                }
                let reasons = entry
                    .reasons
                    .into_iter()
                    .map(|(plain, given)| match &given[..] {
                        [one] => one.clone(),
                        _ => plain,
                    });
                let of_bone = !entry.bones.is_empty();
                ReasonView {
                    heading: of_bone.then(|| needs_words(&entry.bones)),
                    reasons: match of_bone {
                        true => Vec::new(),
                        false => reasons.collect(),
                    },
                    action: of_bone.then_some(SHOW_OR_PLACE_BONE),
                    measures,
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::Reasons;
    use crate::body::Side;
    use crate::compare::compare;
    use crate::measure::Measure;
    use crate::report::samples;
    use crate::report::view::{comparison, visit};

    #[test]
    fn measures_that_need_bony_points_share_one_entry_and_its_action() {
        let visits = samples::visits();
        let view = visit(&visits[0]);
        let entry = view
            .unmeasured
            .iter()
            .find(|entry| entry.heading.is_some())
            .unwrap();
        assert_eq!(entry.measures.len(), 2);
        assert!(entry.reasons.is_empty());
        assert!(entry.action.unwrap().contains("place the points by hand"));
        assert!(entry.action.unwrap().contains("neck and back in view"));
    }

    #[test]
    fn only_bony_points_that_are_missing_are_named() {
        let mut reasons = Reasons::default();
        let side = Some(Side::Left);
        for (measure, reason) in [
            (Measure::CraniovertebralAngle, "needs C7, which is hidden"),
            (
                Measure::SagittalShoulderAngle,
                "needs the left acromion, which is hidden; needs C7, which is hidden",
            ),
            (
                Measure::KyphosisIndex,
                "needs T12, which is outside the photo",
            ),
        ] {
            reasons.add(measure, side, reason, None);
        }
        let entries = reasons.finish();
        assert_eq!(entries.len(), 1);
        assert_eq!(
            entries[0].heading.as_deref().unwrap(),
            "These need bony points that were not found: C7 (at the base of the neck), T12, the left \
             acromion."
        );
    }

    #[test]
    fn left_and_right_share_a_reason() {
        let mut reasons = Reasons::default();
        for side in Side::BOTH {
            let reason = format!("needs the {side} wrist, which is hidden");
            reasons.add(Measure::ElbowExtensionDeficit, Some(side), &reason, None);
        }
        let entries = reasons.finish();
        assert_eq!(entries.len(), 1);
        assert_eq!(entries[0].reasons, ["needs the wrist, which is hidden"]);
        assert_eq!(
            entries[0].measures,
            ["elbow extension deficit (left, right)"]
        );
    }

    #[test]
    fn a_gap_between_first_and_last_is_told() {
        let mut visits = samples::visits();
        let mut between = visits[0].clone();
        between.facts.label = Some("week 3".to_owned());
        for reading in &mut between.readings {
            reading.outcome = Err(crate::visit::Unmeasured::because("the photo is too dark"));
        }
        visits.insert(1, between);
        let view = comparison(&visits, &compare(&visits));
        assert!(view.uncompared.iter().any(|entry| {
            entry.reasons == ["week 3, 2026-03-10: the photo is too dark"]
                && entry.measures.contains(&"trunk lean (right)".to_owned())
        }));
    }
}

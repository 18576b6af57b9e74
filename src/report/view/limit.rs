//! The arm limit: which reaches were, or may have been, past it, the verdicts that this withholds,
//! and the cautions.

use crate::body::Side;
use crate::compare::{AgainstLimit, Row, Verdict};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::report::number;
use crate::report::words::{capitalised, lower_first};
use crate::visit::Visit;

use super::movement::told_by;
use super::{Mark, VerdictView};

/// How the arm of a reach stood to the limit set for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reached {
    Past,
    /// The limit lies within the error.
    Maybe,
}

/// The comparison's verdict, unless it would praise a reach at or past the arm limit.
pub(super) fn verdict_view(visits: &[Visit], row: &Row) -> VerdictView {
    let at = |visit: Option<&Visit>| visit.and_then(|visit| reached(visit, row));
    let (first, last) = (at(visits.first()), at(visits.last()));
    let (mark, words) = match (&row.verdict, last) {
        // To come back within the limit is no loss.
        (Verdict::Worse, None | Some(Reached::Maybe)) if first == Some(Reached::Past) => (
            Mark::Caution,
            "not judged: the first was past the arm limit",
        ),
        (Verdict::Improved, Some(Reached::Past)) => {
            (Mark::Caution, "not judged: past the arm limit")
        }
        (Verdict::Improved, Some(Reached::Maybe)) => (Mark::Caution, "may be at the arm limit"),
        (Verdict::NoChangeBeyondError, Some(Reached::Past)) => {
            (Mark::Caution, "unchanged, past the arm limit")
        }
        (Verdict::Worse, Some(Reached::Past)) => (Mark::Worse, "worse, past the arm limit"),
        (verdict, _) => (mark(verdict), verdict.words()),
    };
    VerdictView { mark, words }
}

pub(super) const fn mark(verdict: &Verdict) -> Mark {
    match verdict {
        Verdict::Improved => Mark::Improved,
        Verdict::Worse => Mark::Worse,
        Verdict::Changed => Mark::Changed,
        Verdict::NoChangeBeyondError => Mark::Same,
        Verdict::CannotCompare { .. } => Mark::Unknown,
    }
}

/// Elevations of a visit that were, or may have been, past its arm limit.
pub(super) fn elevations(visit: &Visit, wanted: Reached) -> Vec<(Measure, Side, Estimate)> {
    visit
        .measured()
        .filter_map(|(reading, estimate)| {
            let side = reading.side?;
            let limit = visit.facts.arm_limit(side)?;
            let reached = match AgainstLimit::of(estimate, limit) {
                AgainstLimit::Above | AgainstLimit::MayBeAbove => Reached::Past,
                AgainstLimit::MayBeAt => Reached::Maybe,
                AgainstLimit::Below => return None,
            };
            // A limit holds for the arm against the vertical.
            let raised = [Measure::ShoulderFlexion, Measure::ShoulderAbduction];
            (reached == wanted && raised.contains(&reading.measure)).then_some((
                reading.measure,
                side,
                estimate,
            ))
        })
        .collect()
}

/// How the movement that a row tells of stood to the limit at a visit.
pub(super) fn reached(visit: &Visit, row: &Row) -> Option<Reached> {
    let movement = |measure| told_by(measure).last().unwrap_or(measure);
    // An elbow is straight for the sake of the reach, whichever it was.
    let in_any_reach = row.measure == Measure::ElbowExtensionDeficit;
    let concerns = |(measure, side, _): &(Measure, Side, Estimate)| {
        (in_any_reach || movement(*measure) == movement(row.measure))
            && row.side.is_none_or(|of| of == *side)
    };
    [Reached::Past, Reached::Maybe]
        .into_iter()
        .find(|wanted| elevations(visit, *wanted).iter().any(concerns))
}

/// "right shoulder flexion 145 ± 12°", …; one measure for each movement.
fn elevation_words(elevations: &[(Measure, Side, Estimate)]) -> Vec<String> {
    elevations
        .iter()
        .filter(|(measure, side, _)| {
            !told_by(*measure).any(|other| {
                elevations
                    .iter()
                    .any(|(known, of, _)| *known == other && of == side)
            })
        })
        .map(|(measure, side, estimate)| {
            format!(
                "{side} {} {}",
                lower_first(measure.words()),
                number::with_error(*estimate, measure.unit())
            )
        })
        .collect()
}

pub(super) fn past_caution(visit: &Visit, name: &str) -> Option<String> {
    let limit = visit.facts.arm_limit_deg?;
    let past = elevations(visit, Reached::Past);
    let surely = |(_, _, estimate): &(Measure, Side, Estimate)| {
        AgainstLimit::of(*estimate, limit) == AgainstLimit::Above
    };
    let lead = match past.iter().any(surely) {
        true => "Past",
        false => "May have been past",
    };
    (!past.is_empty()).then(|| {
        format!(
            "{lead} the arm limit of {limit}° at {name}: {}. Don't count this as progress. Clear it \
             with whoever set the limit before the next overhead reach.",
            elevation_words(&past).join(", ")
        )
    })
}

/// Whether the limits of the arm were kept, as far as photos tell; nothing where none was set.
pub(in crate::report) fn limits_kept(visits: &[Visit]) -> Vec<String> {
    let mut told = Vec::new();
    let mut kept = false;
    for (number, visit) in (1..).zip(visits) {
        let Some(limit) = visit.facts.arm_limit_deg else {
            continue;
        };
        let name = visit.title(number);
        let near = elevation_words(&elevations(visit, Reached::Maybe));
        if let Some(past) = past_caution(visit, &name) {
            told.push(past);
        } else if !near.is_empty() {
            told.push(format!(
                "May have been at the arm limit of {limit}° at {name}: {}.",
                near.join(", ")
            ));
        } else if is_measured(visit) {
            kept = true;
        } else {
            told.push(format!(
                "No reach under the arm limit of {limit}° was measured at {name}: whether it was kept \
                 is not known."
            ));
        }
    }
    if kept {
        let but = if told.is_empty() { "" } else { "Otherwise: " };
        told.push(capitalised(&format!(
            "{but}every reach measured under a limit stayed below it, its error counted in."
        )));
    }
    told
}

/// Whether any arm that has a limit was measured while it was raised.
fn is_measured(visit: &Visit) -> bool {
    visit.measured().any(|(reading, _)| {
        let raised = [Measure::ShoulderFlexion, Measure::ShoulderAbduction];
        let side = reading.side.filter(|_| raised.contains(&reading.measure));
        side.is_some_and(|side| visit.facts.arm_limit(side).is_some())
    })
}

pub(super) fn near_caution(visit: &Visit) -> Option<String> {
    let limit = visit.facts.arm_limit_deg?;
    let near = elevation_words(&elevations(visit, Reached::Maybe));
    (!near.is_empty()).then(|| {
        capitalised(&format!(
            "{} may have reached the arm limit of {limit}°: one photo can't tell. Don't ask for \
             more.",
            near.join(", ")
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::{Reached, elevations};
    use crate::body::{Operated, Side};
    use crate::report::samples;
    use crate::report::view::Mark;
    use crate::visit::{Notice, NoticeKind};

    #[test]
    fn a_reach_past_the_limit_is_a_caution_and_no_praise() {
        let (view, flexion) = samples::with_limit(&mut samples::visits(), 120.0);
        assert!(view.cautions[0].starts_with("Past the arm limit of 120° at follow-up"));
        assert_eq!(flexion.verdict.words, "not judged: past the arm limit");
        assert_eq!(flexion.verdict.mark, Mark::Caution);
        assert!(
            samples::told(&view, "Improved").starts_with("nothing that may be called progress")
        );
        assert!(
            samples::told(
                &view,
                "Not called improved, because the arm went past its limit"
            )
            .contains("flexion")
        );
    }

    #[test]
    fn a_reach_within_error_of_the_limit_is_not_praised() {
        let (view, flexion) = samples::with_limit(&mut samples::visits(), 144.0);
        assert_eq!(
            view.cautions,
            [
                "Right shoulder flexion 141 ± 7° may have reached the arm limit of 144°: one \
                 photo can't tell. Don't ask for more."
            ]
        );
        assert_eq!(flexion.verdict.words, "may be at the arm limit");
        let (view, flexion) = samples::with_limit(&mut samples::visits(), 150.0);
        assert!(view.cautions.is_empty());
        assert_eq!(flexion.verdict.mark, Mark::Improved);
    }

    #[test]
    fn a_reach_read_past_the_limit_within_its_error_may_have_been_past_it() {
        let (view, flexion) = samples::with_limit(&mut samples::visits(), 138.0);
        assert!(
            view.cautions[0].starts_with("May have been past the arm limit of 138° at follow-up"),
            "{:?}",
            view.cautions
        );
        assert_eq!(flexion.verdict.mark, Mark::Caution);
    }

    #[test]
    fn to_come_back_within_the_limit_is_no_loss() {
        let mut visits = samples::visits();
        visits.reverse();
        let (view, flexion) = samples::with_limit(&mut visits, 120.0);
        assert_eq!(
            flexion.verdict.words,
            "not judged: the first was past the arm limit"
        );
        assert!(!samples::told(&view, "Worse").contains("shoulder flexion"));
    }

    #[test]
    fn a_reach_that_stays_past_the_limit_shows_it() {
        let mut visits = samples::visits();
        visits[0] = visits[1].clone();
        visits[0].notices = vec![
            Notice::about_limit(NoticeKind::AboveLimit, "the right arm."),
            Notice::about_limit(NoticeKind::MayBeAtLimit, "the right arm."),
        ];
        let (view, flexion) = samples::with_limit(&mut visits, 120.0);
        assert_eq!(flexion.verdict.words, "unchanged, past the arm limit");
        // No caution tells what may have been at its limit before the last visit.
        let texts: Vec<&str> = view
            .notices
            .iter()
            .flat_map(|notice| notice.texts.iter().map(String::as_str))
            .filter(|text| text.contains("limit"))
            .collect();
        assert_eq!(texts, ["May be at the set limit: the right arm."]);
    }

    #[test]
    fn the_arm_that_was_not_operated_has_no_limit() {
        let mut visits = samples::visits();
        visits[1].facts.arm_limit_deg = Some(90.0);
        visits[1].facts.operated = Some(Operated::One(Side::Left));
        assert!(elevations(&visits[1], Reached::Past).is_empty());
    }
}

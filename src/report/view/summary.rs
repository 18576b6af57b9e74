//! The summary: what improved, what got worse, what is error, in a sentence each.

use crate::compare::{Comparison, Row, Verdict};
use crate::measure::Measure;
use crate::report::number;
use crate::report::words::lower_first;
use crate::visit::Visit;

use super::facts::is_operated;
use super::limit::{Reached, mark, reached, verdict_view};
use super::movement::{is_twin, told_by};
use super::names::merged_names;
use super::{Group, Mark, SummaryLine};

/// How many measures a sentence of a report's summary names.
pub(super) const NAMED: usize = 4;

/// After what could not be compared, in a report that has the reasons.
pub(in crate::report) const REASONS_BELOW: &str = "; the reasons stand below the numbers";

/// Each sentence names so many measures before it counts.
pub(in crate::report) fn summary(
    visits: &[Visit],
    comparison: &Comparison,
    most: usize,
) -> Vec<SummaryLine> {
    let with = |wanted: &dyn Fn(&Row) -> bool| -> Vec<&Row> {
        let mut rows: Vec<&Row> = comparison.rows.iter().filter(|row| wanted(row)).collect();
        // Reach on the operated side is what most readers look for first, the elbow last.
        rows.sort_by_key(|row| {
            let operated = is_operated(visits, row.side);
            (
                Group::of(row.measure) != Group::Reach,
                !operated,
                row.measure == Measure::ElbowExtensionDeficit,
            )
        });
        rows
    };
    let withheld = |row: &Row| match row.verdict {
        Verdict::Improved => visits.last().and_then(|visit| reached(visit, row)),
        _ => None,
    };
    let improved = with(&|row| row.verdict == Verdict::Improved && withheld(row).is_none());
    let past = with(&|row| withheld(row) == Some(Reached::Past));
    let near = with(&|row| withheld(row) == Some(Reached::Maybe));
    let none = match past.is_empty() && near.is_empty() {
        true => "nothing beyond error",
        false => "nothing that may be called progress; see the arm limit",
    };
    let moved = |rows: &[&Row]| moved(visits, rows, most);
    let named = |rows: &[&Row]| {
        let names = merged_names(heads(rows).map(|row| (row.measure, row.side)));
        let count = names.len();
        and_more(names.into_iter().take(most).collect(), count)
    };
    let worse = with(&|row| verdict_view(visits, row).mark == Mark::Worse);
    let changed = with(&|row| row.verdict == Verdict::Changed);
    // On another scale the same change may just miss its bound: that is no second finding.
    let told_elsewhere = |row: &Row| {
        let twin = told_by(row.measure).next().filter(|_| is_twin(row.measure));
        comparison.rows.iter().any(|lead| {
            Some(lead.measure) == twin
                && lead.side == row.side
                && mark(&lead.verdict) != Mark::Unknown
        })
    };
    let same = with(&|row| row.verdict == Verdict::NoChangeBeyondError && !told_elsewhere(row));
    let unknown = with(&|row| mark(&row.verdict) == Mark::Unknown);
    let or = |rows: &[&Row], mark, none: &str| match rows.is_empty() {
        true => (Mark::Same, none.to_owned()),
        false => (mark, moved(rows)),
    };
    let (better_mark, better) = or(&improved, Mark::Improved, none);
    let nothing = match visits.len() {
        ..=2 => "nothing beyond error",
        _ => "nothing beyond error from first to last",
    };
    let (worse_mark, worse) = or(&worse, Mark::Worse, nothing);
    // To come back within the limit is no loss.
    let between = with(&|row| {
        row.setback
            .is_some_and(|(from, _)| reached(&visits[from], row) != Some(Reached::Past))
            && mark(&row.verdict) != Mark::Worse
    });
    let unknown = match unknown.is_empty() {
        true => String::new(),
        false => format!("{}{REASONS_BELOW}", named(&unknown)),
    };
    let better = (better_mark, "Improved", better);
    let fell = fell(visits, &between, most);
    let worse = (worse_mark, "Worse", worse);
    let fell = (Mark::Worse, "Worse in between", fell);
    // A loss is read first, and then what was gained in spite of it.
    let first = if worse.0 == Mark::Worse {
        [worse, fell, better]
    } else if !fell.2.is_empty() {
        [fell, better, worse]
    } else {
        [better, worse, fell]
    };
    let rest = [
        (
            Mark::Caution,
            "Not called improved, because the arm went past its limit",
            moved(&past),
        ),
        (
            Mark::Caution,
            "Not called improved, because the arm may be at its limit",
            moved(&near),
        ),
        (
            Mark::Changed,
            "Changed, neither better nor worse",
            moved(&changed),
        ),
        (Mark::Same, "No change beyond error", named(&same)),
        (Mark::Unknown, "Could not be compared", unknown),
    ];
    let lines = first.into_iter().chain(rest);
    lines
        .filter(|(_, _, text)| !text.is_empty())
        .map(|(mark, lead, text)| SummaryLine {
            mark,
            lead,
            text: format!("{text}."),
        })
        .collect()
}

/// Whether `lead` tells the movement of `row` already.
fn follows(row: &Row, lead: &Row) -> bool {
    told_by(row.measure).any(|other| other == lead.measure)
        && (row.side.is_none() || row.side == lead.side)
}

/// Rows that no other of them tells already.
fn heads<'a>(rows: &'a [&'a Row]) -> impl Iterator<Item = &'a Row> {
    rows.iter()
        .copied()
        .filter(|row| !rows.iter().any(|lead| follows(row, lead)))
}

fn moved(visits: &[Visit], rows: &[&Row], most: usize) -> String {
    let leads: Vec<&Row> = heads(rows).collect();
    let words = |(index, row): (usize, &&Row)| {
        // What both arms move is told once, with the first of them.
        let told = |other: &Row| leads[..index].iter().any(|lead| follows(other, lead));
        let with_it = merged_names(
            rows.iter()
                .filter(|other| follows(other, row) && !is_twin(other.measure) && !told(other))
                .map(|other| (other.measure, None)),
        );
        let moved = moved_words(visits, row);
        match with_it.is_empty() {
            true => moved,
            false => format!("{moved}, and {} with it", with_it.join(" and ")),
        }
    };
    let named: Vec<String> = leads.iter().enumerate().take(most).map(words).collect();
    and_more(named, leads.len())
}

/// Steps back between the first and the last visit.
fn fell(visits: &[Visit], rows: &[&Row], most: usize) -> String {
    let leads: Vec<&Row> = heads(rows).collect();
    let words = |row: &&Row| {
        let (from, to) = row.setback?;
        let at = |index: usize| {
            let value = row.course[index].as_ref().ok()?;
            let value = number::with_error(*value, row.measure.unit());
            Some(format!("{value} ({})", visits[index].title(index + 1)))
        };
        Some(format!(
            "{} from {} to {}",
            row_words(visits, row),
            at(from)?,
            at(to)?
        ))
    };
    let named: Vec<String> = leads.iter().take(most).filter_map(words).collect();
    and_more(named, leads.len())
}

/// "right shoulder flexion (operated)".
fn row_words(visits: &[Visit], row: &Row) -> String {
    let words = lower_first(row.measure.words());
    match row.side {
        None => words,
        Some(side) if is_operated(visits, row.side) => format!("{side} {words} (operated)"),
        Some(side) => format!("{side} {words}"),
    }
}

/// "right shoulder flexion (operated) from 104 ± 7° to 141 ± 7°"; and where it stood before it fell to
/// that.
fn moved_words(visits: &[Visit], row: &Row) -> String {
    let mut words = row_words(visits, row);
    if let (Some(Ok(first)), Some(Ok(last))) = (row.course.first(), row.course.last()) {
        let unit = row.measure.unit();
        words.push_str(&format!(
            " from {} to {}",
            number::with_error(*first, unit),
            number::with_error(*last, unit)
        ));
        let fell_last = row.setback.filter(|(_, to)| to + 1 == row.course.len());
        if let Some(Ok(before)) = fell_last.map(|(from, _)| &row.course[from])
            && row.verdict != Verdict::Worse
        {
            let before = number::with_error(*before, unit);
            words.push_str(&format!(" ({before} in between)"));
        }
    }
    words
}

fn and_more(named: Vec<String>, of: usize) -> String {
    let more = of - named.len();
    let list = named.join("; ");
    match more {
        0 => list,
        _ => format!("{list}; and {more} more"),
    }
}

#[cfg(test)]
mod tests {
    use crate::body::Side;
    use crate::compare::compare;
    use crate::estimate::Estimate;
    use crate::measure::Measure;
    use crate::report::samples;
    use crate::report::view::{Mark, comparison};
    use crate::visit::{Reading, Visit};

    #[test]
    fn the_summary_tells_what_improved_what_got_worse_and_what_is_error() {
        let visits = samples::visits();
        let view = comparison(&visits, &compare(&visits));
        let text = |mark: Mark| {
            view.summary
                .iter()
                .find(|line| line.mark == mark)
                .map(|line| line.text.clone())
                .unwrap_or_default()
        };
        assert!(
            text(Mark::Improved).contains("shoulder flexion (operated) from 104 ± 7° to 141 ± 7°")
        );
        assert!(text(Mark::Worse).contains("arm to ear"));
        assert!(text(Mark::Same).contains("trunk lean"));
        assert!(text(Mark::Unknown).contains("craniovertebral angle"));
    }

    #[test]
    fn a_setback_between_the_visits_is_told() {
        let mut visits = samples::visits();
        let mut fallen = visits[1].clone();
        fallen.facts.label = Some("setback".to_owned());
        for reading in &mut fallen.readings {
            if reading.measure == Measure::ShoulderFlexion {
                reading.outcome = Ok(Estimate::new(110.0, 3.4));
            }
        }
        visits.insert(2, fallen);
        visits.push(visits[1].clone());
        let view = comparison(&visits, &compare(&visits));
        let told = samples::told(&view, "Worse in between");
        assert!(
            told.starts_with("right shoulder flexion (operated) from 141 ± 7° ("),
            "{told}"
        );
        assert!(told.contains("to 110 ± 7° (setback"), "{told}");
        // The very step within its error is none: 1.96·√2·3.4 is 9.4.
        for reading in &mut visits[2].readings {
            if reading.measure == Measure::ShoulderFlexion {
                reading.outcome = Ok(Estimate::new(132.0, 3.4));
            }
        }
        let view = comparison(&visits, &compare(&visits));
        assert!(
            view.summary
                .iter()
                .all(|line| line.lead != "Worse in between")
        );
    }

    #[test]
    fn the_summary_counts_one_movement_once() {
        let mut visits = samples::visits();
        visits[1].readings[4].outcome = Ok(Estimate::new(2.0, 1.1));
        let view = comparison(&visits, &compare(&visits));
        assert_eq!(
            samples::told(&view, "Improved"),
            "right shoulder flexion (operated) from 104 ± 7° to 141 ± 7°, and arm to ear with it."
        );
        assert_eq!(samples::told(&view, "Worse"), "nothing beyond error.");
    }

    #[test]
    fn what_both_arms_move_is_told_with_the_operated_one() {
        let mut visits = samples::visits();
        for (visit, [left, asymmetry]) in visits.iter_mut().zip([[140.0, -36.0], [160.0, -19.0]]) {
            let flexion = visit.readings[3].clone();
            visit.readings.push(Reading {
                side: Some(Side::Left),
                outcome: Ok(Estimate::new(left, 3.4)),
                ..flexion.clone()
            });
            visit.readings.push(Reading {
                measure: Measure::FlexionAsymmetry,
                side: None,
                outcome: Ok(Estimate::new(asymmetry, 4.8)),
                ..flexion
            });
        }
        let told = samples::told(&comparison(&visits, &compare(&visits)), "Improved");
        assert!(
            told.contains("141 ± 7°, and reach asymmetry (flexion) with it"),
            "{told}"
        );
        assert!(told.contains("left shoulder flexion"), "{told}");
        assert_eq!(told.matches("asymmetry").count(), 1, "{told}");
    }

    #[test]
    fn a_change_is_not_told_again_on_another_scale() {
        let mut visits = samples::visits();
        for (visit, part) in visits.iter_mut().zip([30.0, 40.0]) {
            let ear = visit.readings[4].clone();
            visit.readings.push(Reading {
                measure: Measure::ArmToEarRelative,
                outcome: Ok(Estimate::new(part, 7.0)),
                ..ear
            });
        }
        let same = |visits: &[Visit]| {
            samples::told(
                &comparison(visits, &compare(visits)),
                "No change beyond error",
            )
        };
        assert!(!same(&visits).contains("upper-arm"), "{}", same(&visits));
        // Without the other scale it is all there is.
        for visit in &mut visits {
            visit.readings.remove(4);
        }
        assert!(same(&visits).contains("upper-arm"), "{}", same(&visits));
    }
}

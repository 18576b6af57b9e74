//! Rows of the table: values, change and trend in words, and points that were placed by hand.

use crate::body::Side;
use crate::compare::{Row, Verdict};
use crate::estimate::Estimate;
use crate::report::number;
use crate::visit::{Evidence, PhotoRecord, Reading, Visit};

use super::facts::is_operated;
use super::limit::verdict_view;
use super::movement::is_twin;
use super::names::{better_words, merged_names, side_words};
use super::{Group, RowView, ValueView, VisitName};

pub(super) fn row_view(visits: &[Visit], row: &Row) -> Option<RowView> {
    let change = row.change?;
    if matches!(row.verdict, Verdict::CannotCompare { .. }) {
        return None;
    }
    let unit = row.measure.unit();
    let mut decimals = number::decimals(unit, change.amount.sigma);
    // Rounding must not make a change look equal to the limit that it was held against.
    if decimals == 0
        && number::plain(change.amount.value.abs(), 0) == number::plain(change.mdc95, 0)
    {
        decimals = 1;
    }
    Some(RowView {
        measure: row.measure,
        name: row.measure.words(),
        meaning: row.measure.meaning(),
        side: side_words(row.side),
        operated: is_operated(visits, row.side),
        better: better_words(row.measure),
        twin: is_twin(row.measure),
        values: visits
            .iter()
            .zip(&row.course)
            .map(|(visit, value)| value_view(visit, row, value.as_ref().ok()))
            .collect(),
        change: number::signed_with_error(change.amount, decimals, unit),
        mdc95: format!("{}{}", number::plain(change.mdc95, decimals), unit.suffix()),
        verdict: verdict_view(visits, row),
        trend: row.trend.map(|trend| {
            let decimals = number::decimals(unit, trend.slope.sigma);
            let slope = number::signed_with_error(trend.slope, decimals, unit);
            let per = if trend.per_week { "week" } else { "visit" };
            format!("{slope} per {per}")
        }),
    })
}

fn value_view(visit: &Visit, row: &Row, value: Option<&Estimate>) -> ValueView {
    let Some(value) = value else {
        return ValueView::default();
    };
    let read: Vec<&Reading> = visit
        .readings_of(row.measure, row.side)
        .filter(|reading| reading.outcome.is_ok())
        .collect();
    let photos = || read.iter().flat_map(|reading| photos_of(visit, reading));
    let mut views: Vec<_> = photos().map(|photo| photo.view).collect();
    views.dedup();
    let rests_on = |evidence: Evidence| {
        photos().any(|photo| {
            row.measure.needs(row.side).iter().any(|landmark| {
                photo
                    .landmarks
                    .get(landmark)
                    .is_some_and(|located| located.evidence == evidence)
            })
        })
    };
    ValueView {
        words: number::with_error(*value, row.measure.unit()),
        // Only photos of one view are averaged.
        photos: if views.len() == 1 { read.len() } else { 1 },
        by_hand: rests_on(Evidence::Manual),
        by_sticker: rests_on(Evidence::Sticker),
    }
}

/// The photos that a reading names.
fn photos_of<'a>(visit: &'a Visit, reading: &'a Reading) -> impl Iterator<Item = &'a PhotoRecord> {
    visit
        .photos
        .iter()
        .filter(|photo| reading.photo.split(" + ").any(|file| file == photo.file))
}

/// Points placed or stuck on at one visit and found by the program at another differ by more than
/// their error.
pub(super) fn evidence_cautions(
    names: &[VisitName],
    groups: &[(Group, Vec<RowView>)],
) -> Vec<String> {
    let hand = caution(names, groups, |value| value.by_hand).map(|(with, without, measures)| {
        format!(
            "Points were placed by hand at {with} and found by the program at {without}: part of \
             a change may come from that alone ({measures}). Place the same points at both visits."
        )
    });
    let stickers = caution(names, groups, |value| value.by_sticker);
    let stickers = stickers.map(|(with, without, measures)| {
        format!(
            "Stickers were seen at {with} and not at {without}: part of a change may come from \
             that alone ({measures}). Stick them on at both visits."
        )
    });
    hand.into_iter().chain(stickers).collect()
}

/// The visit with such evidence, that without, and the measures that rest on it at one of them only.
fn caution(
    names: &[VisitName],
    groups: &[(Group, Vec<RowView>)],
    rests: impl Fn(&ValueView) -> bool,
) -> Option<(String, String, String)> {
    let differs = |row: &&RowView| row.values.first().map(&rests) != row.values.last().map(&rests);
    let rows: Vec<&RowView> = groups
        .iter()
        .flat_map(|(_, rows)| rows)
        .filter(|row| !row.twin)
        .filter(differs)
        .collect();
    let (with, without) = if rests(rows.first()?.values.first()?) {
        (names.first()?, names.last()?)
    } else {
        (names.last()?, names.first()?)
    };
    let measures = merged_names(
        rows.iter()
            .map(|row| (row.measure, Side::from_name(row.side))),
    );
    Some((
        with.title.clone(),
        without.title.clone(),
        measures.join(", "),
    ))
}

#[cfg(test)]
mod tests {
    use crate::body::{Landmark, Side};
    use crate::report::samples;
    use crate::visit::Evidence;

    #[test]
    fn values_by_hand_or_of_several_photos_say_so() {
        let mut visits = samples::visits();
        let again = visits[1].readings[3].clone();
        visits[1].readings.push(again);
        let elbow = Landmark::Elbow(Side::Right);
        let placed = visits[1].photos[1].landmarks.get_mut(&elbow).unwrap();
        placed.evidence = Evidence::Manual;
        let (view, flexion) = samples::with_limit(&mut visits, 180.0);
        assert_eq!(flexion.values[0].note(), None);
        let note = flexion.values[1].note();
        assert_eq!(note.as_deref(), Some("mean of 2 photos, placed by hand"));
        assert!(view.cautions[0].starts_with("Points were placed by hand at follow-up"));
    }

    #[test]
    fn values_with_stickers_say_so() {
        let mut visits = samples::visits();
        let elbow = Landmark::Elbow(Side::Right);
        let worn = visits[1].photos[1].landmarks.get_mut(&elbow).unwrap();
        worn.evidence = Evidence::Sticker;
        let (view, flexion) = samples::with_limit(&mut visits, 180.0);
        assert_eq!(flexion.values[1].note().as_deref(), Some("with stickers"));
        assert!(
            view.cautions[0].starts_with("Stickers were seen at follow-up, 2026-04-28 and not")
        );
    }
}

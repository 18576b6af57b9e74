//! Several photos of one pose at one visit: repeats.

use crate::body::{Side, View};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::visit::{Reading, Visit};

/// What several photos of one pose gave together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeats {
    pub count: usize,
    /// Their mean, with the error that is left.
    pub mean: Estimate,
    /// Standard error of measurement within the visit: how far a single reading is off their mean,
    /// by their standard deviation.
    pub sem: f64,
    /// Whether the readings lie farther apart than their errors explain.
    pub disagree: bool,
}

/// Readings farther apart than this many times what they state are of different things.
const DISAGREEING: f64 = 2.0;

impl Repeats {
    /// Of two or more readings: their mean, weighted by their errors.
    ///
    /// What is alike in all of them, such as the nets' own leaning or the scale, no mean takes away:
    /// of the stated variance only that part shrinks which the repeats show. Readings that disagree
    /// keep their whole spread as error.
    pub fn of(values: &[Estimate]) -> Option<Repeats> {
        let count = values.len();
        if count < 2 {
            return None;
        }
        let n = count as f64;
        let fused = values.iter().copied().reduce(Estimate::fused)?;
        let stated = n * fused.sigma.powi(2);
        let middle = values.iter().map(|v| v.value).sum::<f64>() / n;
        let squares: f64 = values.iter().map(|v| (v.value - middle).powi(2)).sum();
        let within = squares / (n - 1.0);
        let disagree = within > DISAGREEING.powi(2) * stated;
        let variance = if disagree {
            within
        } else {
            (stated - within * (1.0 - n.recip())).max(within / n)
        };
        Some(Repeats {
            count,
            mean: Estimate::new(fused.value, variance.sqrt()),
            sem: within.sqrt(),
            disagree,
        })
    }
}

/// The visit's value: that of one photo, or the mean of several of one view; or why there is none.
pub fn reading(
    visit: &Visit,
    measure: Measure,
    side: Option<Side>,
    view: &str,
) -> Result<Estimate, String> {
    let values = values(visit, measure, side, view);
    if let Some(repeats) = Repeats::of(&values) {
        return Ok(repeats.mean);
    }
    values.first().copied().ok_or_else(|| {
        visit
            .readings_of(measure, side)
            .find_map(|reading| reading.outcome.as_ref().err())
            .map_or_else(
                || "no usable photo of this pose".to_owned(),
                |unmeasured| unmeasured.reason.clone(),
            )
    })
}

/// Everything that a visit shows more than once.
pub fn all(visit: &Visit) -> Vec<(Measure, Option<Side>, Repeats)> {
    let mut found = Vec::new();
    for measure in Measure::ALL {
        for side in [None, Some(Side::Left), Some(Side::Right)] {
            let view = common_view(std::slice::from_ref(visit), measure, side);
            let repeats = Repeats::of(&values(visit, measure, side, view));
            found.extend(repeats.map(|repeats| (measure, side, repeats)));
        }
    }
    found
}

/// The photos that are the same file as one before: each of them with that one. They show nothing more.
pub fn copies(visit: &Visit) -> impl Iterator<Item = (&str, &str)> {
    let photos = visit.photos.iter().enumerate();
    photos.filter_map(|(index, photo)| {
        let mut before = visit.photos[..index].iter();
        let same = before.find(|other| photo.sha256.is_some() && other.sha256 == photo.sha256)?;
        Some((&*photo.file, &*same.file))
    })
}

fn values(visit: &Visit, measure: Measure, side: Option<Side>, view: &str) -> Vec<Estimate> {
    let is_copy = |reading: &&Reading| copies(visit).any(|(copy, _)| copy == reading.photo);
    visit
        .readings_of(measure, side)
        .filter(|reading| view_of(visit, reading) == view)
        .filter(|reading| !is_copy(reading))
        .filter_map(|reading| reading.outcome.as_ref().ok().copied())
        .collect()
}

/// The view of the photo that a reading came from; empty for a reading of several photos.
fn view_of<'a>(visit: &'a Visit, reading: &Reading) -> &'a str {
    visit
        .photos
        .iter()
        .find(|photo| photo.file == reading.photo)
        .and_then(|photo| photo.view)
        .map_or("", View::name)
}

/// The view in which most visits have the measure. An elbow seen from the front and one seen from
/// the side are two projections, and only like is compared with like.
pub fn common_view(visits: &[Visit], measure: Measure, side: Option<Side>) -> &'static str {
    let count = |view: &str| {
        visits
            .iter()
            .filter(|visit| !values(visit, measure, side, view).is_empty())
            .count()
    };
    // The later of equals wins: the side shows most.
    ["", "back", "front", "side"]
        .into_iter()
        .max_by_key(|view| count(view))
        .unwrap_or("")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[(f64, f64)]) -> Repeats {
        let values: Vec<Estimate> = values
            .iter()
            .map(|(value, sigma)| Estimate::new(*value, *sigma))
            .collect();
        Repeats::of(&values).expect("two or more")
    }

    #[test]
    fn a_photo_that_is_there_twice_counts_once() {
        use crate::visit::PhotoRecord;

        let photo = |file: &str, sha256: &str| PhotoRecord {
            sha256: Some(sha256.to_owned()),
            view: Some(View::Front),
            ..PhotoRecord::of(file)
        };
        let reading = |photo: &str, value| Reading {
            measure: Measure::HeadTilt,
            side: None,
            photo: photo.to_owned(),
            outcome: Ok(Estimate::new(value, 1.0)),
        };
        let mut visit = Visit {
            photos: vec![
                photo("a.jpg", "1"),
                photo("b.jpg", "2"),
                photo("c.jpg", "1"),
            ],
            readings: vec![
                reading("a.jpg", 4.0),
                reading("b.jpg", 6.0),
                reading("c.jpg", 4.0),
            ],
            facts: crate::visit::VisitFacts::default(),
            notices: Vec::new(),
        };
        assert_eq!(copies(&visit).collect::<Vec<_>>(), [("c.jpg", "a.jpg")]);
        let found = all(&visit);
        assert_eq!(
            (found.len(), found[0].2.count, found[0].2.mean.value),
            (1, 2, 5.0)
        );
        visit.photos[1].sha256 = Some("1".to_owned());
        assert_eq!(all(&visit), []);
    }

    #[test]
    fn only_what_the_repeats_show_averages_out() {
        // Alike to the last digit: all of the error may be the same in each.
        assert_eq!(of(&[(50.0, 2.0); 3]).mean, Estimate::new(50.0, 2.0));
        // Apart by as much as they state: all of it is chance, and the mean of three has σ/√3.
        let apart = of(&[(48.0, 2.0), (50.0, 2.0), (52.0, 2.0)]);
        assert!((apart.sem - 2.0).abs() < 1e-12);
        assert!((apart.mean.sigma - 2.0 / 3f64.sqrt()).abs() < 1e-12);
        // Half of the variance within: σ² − ½σ²·⅔ is left.
        let off = 2f64.sqrt();
        let half = of(&[(50.0 - off, 2.0), (50.0, 2.0), (50.0 + off, 2.0)]);
        assert!((half.mean.sigma - (4.0 - 2.0 * 2.0 / 3.0f64).sqrt()).abs() < 1e-12);
        assert!(!apart.disagree && !half.disagree);
    }

    #[test]
    fn what_disagrees_keeps_its_spread() {
        let two = of(&[(101.0, 5.0), (145.0, 6.0)]);
        assert!((two.mean.sigma - 44.0 / 2f64.sqrt()).abs() < 1e-9);
        assert!(two.disagree);
    }

    #[test]
    fn a_surer_reading_weighs_more() {
        let mean = of(&[(50.0, 1.0), (52.0, 2.0)]).mean;
        assert!((mean.value - 50.4).abs() < 1e-12, "{mean:?}");
    }
}

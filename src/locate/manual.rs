//! Landmarks that a person placed.

use nalgebra::Matrix2;

use super::plausible::{self, Odd};
use super::{Landmarks, fuse};
use crate::body::{Landmark, View};
use crate::geometry::{Photo, Point};
use crate::visit::{Evidence, Located, Notice};

/// A landmark placed by hand in the upright photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ManualPoint {
    pub landmark: Landmark,
    pub at: Point<Photo>,
    /// One-sigma error in pixels, when whoever placed it says so.
    pub sigma_px: Option<f64>,
}

/// Error of a palpated or clicked point as a part of stature: 6 mm of 1.65 m. Common practice,
/// no source: a fingertip on a spinous process is hardly better.
const SIGMA: f64 = 0.0036;

/// Puts the points in; each replaces whatever was seen there. `stature` is that of the person in
/// pixels. A sticker that lies elsewhere is told.
pub fn place(landmarks: &mut Landmarks, points: &[ManualPoint], stature: f64) -> Vec<Notice> {
    let mut notices = Vec::new();
    for point in points {
        let sigma = point.sigma_px.unwrap_or(SIGMA * stature);
        let placed = Located {
            at: point.at,
            covariance: Matrix2::identity() * sigma.powi(2),
            evidence: Evidence::Manual,
            covered: false,
        };
        let before = landmarks.found.insert(point.landmark, placed);
        landmarks.missing.remove(&point.landmark);
        let off = before.is_some_and(|before| {
            let (hand, sticker) = (
                (placed.at, placed.covariance),
                (before.at, before.covariance),
            );
            before.evidence == Evidence::Sticker && fuse::apart(hand, sticker) > fuse::DISPUTED
        });
        if off {
            notices.push(Notice::new(format!(
                "The point placed by hand for {} and the sticker seen there lie farther apart than \
                 their errors explain. The point placed by hand was taken.",
                point.landmark.in_words()
            )));
        }
    }
    notices
}

/// What is odd about the points that were placed, once for each.
pub fn odd_by_hand(landmarks: &Landmarks, view: View, stature: f64) -> Vec<Odd> {
    let places = landmarks
        .found
        .iter()
        .map(|(landmark, located)| (*landmark, located.at))
        .collect();
    let by_hand = |landmark: Landmark| {
        let located = landmarks.found.get(&landmark);
        located.is_some_and(|located| located.evidence == Evidence::Manual)
    };
    let mut told: Vec<Odd> = Vec::new();
    for odd in plausible::odd(&places, view, stature) {
        let involved = [odd.landmark, odd.from];
        let known = told.iter().any(|known| {
            let known = [known.landmark, known.from];
            involved
                .iter()
                .any(|one| by_hand(*one) && known.contains(one))
        });
        if !known && involved.into_iter().any(by_hand) {
            told.push(odd);
        }
    }
    told
}

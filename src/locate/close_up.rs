//! Where the landmark net is to look, and what several of its looks say together.

use nalgebra::{Matrix2, Vector2};

use super::landmark_accuracy::{self, Calibration, TurnFactors};
use super::{accuracy, stature_px};
use crate::body::{Landmark, Side, Task, View};
use crate::estimate::Estimate;
use crate::geometry::{Photo, Point, Vector};
use crate::infer::{LandmarkLook, LandmarkSeen, Part, Sample, Square, Squares};

/// The trunk's square against the longer side of the box around its joints, and how far its
/// centre lies above the box's, in parts of the square's side.
const TRUNK: (f64, f64) = (1.36, 0.02);
/// Side of the head's square in parts of stature.
const HEAD: f64 = 0.32;

/// The squares in which the landmark net was taught to see a person, from what the pose net saw.
/// `size` is that of the photo in pixels.
pub fn squares(samples: &[Sample], size: (u32, u32)) -> Option<Squares> {
    use Landmark::{Elbow, HipJoint, ShoulderJoint, Tragus, Wrist};
    let stature = stature_px(samples, size)?;
    let at = |landmark| {
        let seen: Vec<Point<Photo>> = samples
            .iter()
            .filter_map(|sample| sample.points.get(&landmark))
            .map(|point| point.at)
            .collect();
        mean(&seen)
    };
    let of_both =
        |kind: fn(Side) -> Landmark| Some([at(kind(Side::Left))?, at(kind(Side::Right))?]);
    let (tragi, shoulders) = (of_both(Tragus)?, of_both(ShoulderJoint)?);
    let raised = Side::BOTH.into_iter().filter_map(|side| {
        let (wrist, shoulder) = (at(Wrist(side))?, at(ShoulderJoint(side))?);
        (wrist.y < shoulder.y).then_some(wrist)
    });
    let inside: Vec<Point<Photo>> = [tragi, shoulders, of_both(Elbow)?, of_both(HipJoint)?]
        .into_iter()
        .flatten()
        .chain(raised)
        .collect();
    let (low, high) = corners(&inside);
    let side = TRUNK.0 * (high.x - low.x).max(high.y - low.y);
    let neck = tragi[0]
        .midpoint(tragi[1])
        .midpoint(shoulders[0].midpoint(shoulders[1]));
    Some(Squares {
        trunk: Square {
            centre: low.midpoint(high) + Vector::new(0.0, -TRUNK.1 * side),
            side,
        },
        head: Square {
            centre: neck,
            side: HEAD * stature,
        },
    })
}

fn mean(points: &[Point<Photo>]) -> Option<Point<Photo>> {
    let count = points.len() as f64;
    let of = |axis: fn(&Point<Photo>) -> f64| points.iter().map(axis).sum::<f64>() / count;
    (!points.is_empty()).then(|| Point::new(of(|p| p.x), of(|p| p.y)))
}

fn corners(points: &[Point<Photo>]) -> (Point<Photo>, Point<Photo>) {
    let fold = |axis: fn(&Point<Photo>) -> f64, start: f64, take: fn(f64, f64) -> f64| {
        points.iter().map(axis).fold(start, take)
    };
    let least = |axis| fold(axis, f64::INFINITY, f64::min);
    let most = |axis| fold(axis, f64::NEG_INFINITY, f64::max);
    (
        Point::new(least(|p| p.x), least(|p| p.y)),
        Point::new(most(|p| p.x), most(|p| p.y)),
    )
}

/// A landmark as all looks of the landmark net see it together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    pub at: Point<Photo>,
    /// Pixels squared.
    pub covariance: Matrix2<f64>,
    pub visibility: f64,
}

/// Nearer to the edge of its square than the first part of its side, a look says nothing of a
/// landmark, and beyond the second all it knows; in between it counts in part, so that no landmark
/// jumps.
const EDGE: (f64, f64) = (0.03, 0.05);

/// Combines the looks; `None` when none of them holds the landmark. `stature` is in pixels.
///
/// The looks see one photo with one net, so their errors go together: the mean of several is taken
/// to be no better than each, and how much they wander comes on top. The surer look counts more;
/// in the head's square that is by its finer pixels.
pub fn combine(
    looks: &[LandmarkLook],
    landmark: Landmark,
    (view, task): (View, Task),
    stature: f64,
) -> Option<Seen> {
    let known = landmark_accuracy::of(landmark, view, task);
    let away = accuracy::away_sign(view, landmark.side());
    combine_as(looks, landmark, known, away, stature)
}

/// The same with another calibration than the measured one; `away` is [`accuracy::away_sign`].
pub fn combine_as(
    looks: &[LandmarkLook],
    landmark: Landmark,
    known: Calibration,
    away: f64,
    stature: f64,
) -> Option<Seen> {
    let holding = holding(looks, landmark);
    let weights = weights(holding.iter().map(|(share, seen)| {
        let variance = seen.covariance.determinant().max(f64::MIN_POSITIVE).sqrt();
        variance / share
    }));
    let each = || {
        let seen = holding.iter().map(|(_, seen)| seen);
        weights.iter().zip(seen)
    };
    let sum = |of: &dyn Fn(&LandmarkSeen) -> f64| -> f64 {
        each().map(|(weight, seen)| weight * of(seen)).sum()
    };
    let at = Point::<Photo>::new(sum(&|seen| seen.at.x), sum(&|seen| seen.at.y));
    let own: Matrix2<f64> = each().map(|(weight, seen)| seen.covariance * *weight).sum();
    let squares: Matrix2<f64> = each()
        .map(|(weight, seen)| {
            let off = Vector2::new(seen.at.x - at.x, seen.at.y - at.y);
            off * off.transpose() * weight.powi(2)
        })
        .sum();
    let offset = known.offset.map(|part| part * stature);
    let remaining = Vector2::from(offset.map(|pixels| (pixels / 2.0).powi(2)));
    let shares = || holding.iter().map(|(share, _)| *share);
    let count = shares().sum::<f64>() / shares().fold(0.0, f64::max);
    (!holding.is_empty()).then(|| Seen {
        at: Point::new(at.x - away * offset[0], at.y - offset[1]),
        covariance: own * known.factor.powi(2)
            + squares * unbiased(count)
            + Matrix2::from_diagonal(&remaining),
        visibility: sum(&|seen| seen.visibility),
    })
}

/// What the looks say of the landmark that have it well inside their squares, and how much of it
/// counts. Where the landmark is, the looks at the trunk tell: one at the head places everything in
/// its own square.
fn holding(looks: &[LandmarkLook], landmark: Landmark) -> Vec<(f64, &LandmarkSeen)> {
    let of_trunk: Vec<Point<Photo>> = looks
        .iter()
        .filter(|look| look.part == Part::Trunk)
        .filter_map(|look| look.points.get(&landmark))
        .map(|seen| seen.at)
        .collect();
    let Some(about) = mean(&of_trunk) else {
        return Vec::new();
    };
    let share = |look: &LandmarkLook| {
        let margin = look.square.margin(about);
        ((margin - EDGE.0) / (EDGE.1 - EDGE.0)).clamp(0.0, 1.0)
    };
    looks
        .iter()
        .filter_map(|look| Some((share(look), look.points.get(&landmark)?)))
        .filter(|&(share, _)| share > 0.0)
        .collect()
}

/// Weights that sum to 1, by the inverse of these variances.
fn weights(variances: impl Iterator<Item = f64>) -> Vec<f64> {
    let inverse: Vec<f64> = variances.map(f64::recip).collect();
    let total: f64 = inverse.iter().sum();
    inverse.into_iter().map(|weight| weight / total).collect()
}

/// Makes the weighted squares around a mean of so many the square of that mean's error; one look
/// can't tell how much it wanders.
fn unbiased(count: f64) -> f64 {
    if count > 1.0 {
        count / (count - 1.0)
    } else {
        0.0
    }
}

/// How far trunk and head are turned from the exact view, radians: as the camera sees it along the
/// ray to the middle of the body, positive when the end of the body's plane that points to the
/// photo's right is turned away from the camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turns {
    pub trunk: Estimate,
    pub head: Estimate,
}

/// The turns as all looks of the landmark net see them together; `None` when there is none.
pub fn turns(looks: &[LandmarkLook], view: View) -> Option<Turns> {
    turns_as(looks, landmark_accuracy::turn_factors(view))
}

/// The same with other factors than the measured ones.
pub fn turns_as(looks: &[LandmarkLook], factors: TurnFactors) -> Option<Turns> {
    let together = |of: fn(&LandmarkLook) -> Estimate, factor: f64| {
        let weights = weights(looks.iter().map(|look| of(look).sigma.powi(2)));
        let sum = |term: &dyn Fn(f64, Estimate) -> f64| -> f64 {
            weights
                .iter()
                .zip(looks)
                .map(|(w, look)| term(*w, of(look)))
                .sum()
        };
        let value = sum(&|weight, turn| weight * turn.value);
        let own = sum(&|weight, turn| weight * turn.sigma.powi(2));
        let squares = sum(&|weight, turn| (weight * (turn.value - value)).powi(2));
        let variance = own * factor.powi(2) + squares * unbiased(looks.len() as f64);
        Estimate::new(value, variance.sqrt())
    };
    (!looks.is_empty()).then(|| Turns {
        trunk: together(|look| look.trunk_turn, factors.trunk),
        head: together(|look| look.head_turn, factors.head),
    })
}

#[cfg(test)]
pub(super) mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::infer::SeenPoint;

    const SCENE: (View, Task) = (View::Side(Side::Right), Task::Stand);

    /// The factor on the variance that the net claims for C7.
    fn factor() -> f64 {
        landmark_accuracy::of(Landmark::C7, SCENE.0, SCENE.1)
            .factor
            .powi(2)
    }

    pub fn look_at(part: Part, points: &[(Landmark, LandmarkSeen)]) -> LandmarkLook {
        LandmarkLook {
            part,
            square: Square {
                centre: Point::new(100.0, 100.0),
                side: if part == Part::Trunk { 200.0 } else { 50.0 },
            },
            points: points.iter().copied().collect(),
            trunk_turn: Estimate::new(0.1, 0.03),
            head_turn: Estimate::new(0.2, 0.03),
        }
    }

    pub fn seen(x: f64, y: f64, sigma: f64) -> LandmarkSeen {
        LandmarkSeen {
            at: Point::new(x, y),
            covariance: Matrix2::identity() * sigma.powi(2),
            visibility: 0.8,
        }
    }

    fn c7(part: Part, x: f64, sigma: f64) -> LandmarkLook {
        look_at(part, &[(Landmark::C7, seen(x, 100.0, sigma))])
    }

    #[test]
    fn looks_that_agree_are_no_better_than_one() {
        let looks = [c7(Part::Trunk, 100.0, 2.0), c7(Part::Trunk, 100.0, 2.0)];
        let all = combine(&looks, Landmark::C7, SCENE, 800.0).unwrap();
        assert_eq!(all.at, Point::new(100.0, 100.0));
        assert!((all.covariance - Matrix2::identity() * 4.0 * factor()).norm() < 1e-12);
        assert_eq!(all.visibility, 0.8);
    }

    #[test]
    fn the_wander_between_looks_comes_on_top() {
        // Three equal looks at 98, 100, 102: squared error of their mean 8 / (3·2).
        let looks = [98.0, 100.0, 102.0].map(|x| c7(Part::Trunk, x, 2.0));
        let all = combine(&looks, Landmark::C7, SCENE, 800.0).unwrap();
        assert!((all.covariance[(0, 0)] - (4.0 * factor() + 8.0 / 6.0)).abs() < 1e-12);
        assert!((all.covariance[(1, 1)] - 4.0 * factor()).abs() < 1e-12);
    }

    #[test]
    fn the_surer_look_counts_by_its_variance() {
        // Weights 1/16 and 1/1 over 17/16.
        let looks = [c7(Part::Trunk, 100.0, 4.0), c7(Part::Head, 101.7, 1.0)];
        let all = combine(&looks, Landmark::C7, SCENE, 800.0).unwrap();
        assert!((all.at.x - (100.0 + 1.7 * 16.0 / 17.0)).abs() < 1e-12);
        assert!((all.covariance[(1, 1)] - (16.0 + 16.0) / 17.0 * factor()).abs() < 1e-12);
    }

    #[test]
    fn a_look_tells_nothing_beyond_its_square() {
        // The head's square ends at x 75; the trunk's looks see the landmark at 60.
        let looks = [c7(Part::Trunk, 60.0, 3.0), c7(Part::Head, 80.0, 1.0)];
        let all = combine(&looks, Landmark::C7, SCENE, 800.0).unwrap();
        assert_eq!(all.at.x, 60.0);
        let outside = [c7(Part::Trunk, 3.0, 3.0)];
        assert_eq!(combine(&outside, Landmark::C7, SCENE, 800.0), None);
        assert_eq!(combine(&looks, Landmark::Chin, SCENE, 800.0), None);
    }

    #[test]
    fn a_landmark_glides_out_of_a_square() {
        // The head's square fades out from x 77.5 to 76.5; its looks see the landmark at 80.
        let at = |x: f64| {
            let looks = [c7(Part::Trunk, x, 3.0), c7(Part::Head, 80.0, 1.0)];
            combine(&looks, Landmark::C7, SCENE, 800.0).unwrap()
        };
        let places: Vec<Seen> = (760..=780).map(|x| at(f64::from(x) / 10.0)).collect();
        assert_eq!(places[0].at.x, 76.0);
        assert!((places[20].at.x - (78.0 / 9.0 + 80.0) / (1.0 + 1.0 / 9.0)).abs() < 1e-12);
        for pair in places.windows(2) {
            assert!((pair[1].at.x - pair[0].at.x).abs() < 2.0);
        }
    }

    #[test]
    fn turns_are_the_looks_together() {
        let mut looks = [c7(Part::Trunk, 100.0, 2.0), c7(Part::Trunk, 100.0, 2.0)];
        looks[1].trunk_turn.value = 0.14;
        let both = turns(&looks, SCENE.0).unwrap();
        assert!((both.trunk.value - 0.12).abs() < 1e-12);
        // Own variance, and that of the mean of two values 0.04 apart.
        let factors = landmark_accuracy::turn_factors(SCENE.0);
        let sigma = (factors.trunk * 0.03).hypot(0.02);
        assert!((both.trunk.sigma - sigma).abs() < 1e-12);
        assert!((both.head.value - 0.2).abs() < 1e-12);
        assert!((both.head.sigma - factors.head * 0.03).abs() < 1e-12);
        assert_eq!(turns(&[], SCENE.0), None);
    }

    /// A person of 800 pixels who stands sideways, the right arm raised or not.
    fn sample(raised: bool) -> Sample {
        let mut points = BTreeMap::new();
        for side in Side::BOTH {
            let wrist = if raised && side == Side::Right {
                80.0
            } else {
                520.0
            };
            for (landmark, x, y) in [
                (Landmark::Tragus(side), 520.0, 150.0),
                (Landmark::ShoulderJoint(side), 500.0, 250.0),
                (Landmark::Elbow(side), 490.0, 400.0),
                (Landmark::Wrist(side), 510.0, wrist),
                (Landmark::HipJoint(side), 500.0, 250.0 + 0.288 * 800.0),
                (Landmark::Knee(side), 500.0, 250.0 + 0.533 * 800.0),
                (Landmark::Ankle(side), 500.0, 250.0 + 0.779 * 800.0),
            ] {
                let point = SeenPoint {
                    at: Point::new(x, y),
                    visibility: 1.0,
                    presence: 1.0,
                    metric: [0.0; 3],
                };
                points.insert(landmark, point);
            }
        }
        Sample { points }
    }

    #[test]
    fn the_squares_lie_around_trunk_and_head() {
        let standing = squares(&[sample(false)], (1000, 1200)).unwrap();
        // From the ears at 150 to the hips at 480.4.
        let side = 1.36 * 330.4;
        assert!((standing.trunk.side - side).abs() < 1e-9);
        assert!((standing.trunk.centre.x - 505.0).abs() < 1e-9);
        assert!((standing.trunk.centre.y - (315.2 - 0.02 * side)).abs() < 1e-9);
        assert!((standing.head.side - 0.32 * 800.0).abs() < 1e-9);
        assert!(standing.head.centre.distance(Point::new(510.0, 200.0)) < 1e-9);
        let reaching = squares(&[sample(true)], (1000, 1200)).unwrap();
        assert!((reaching.trunk.side - 1.36 * 400.4).abs() < 1e-9);
        assert_eq!(reaching.head, standing.head);
        assert_eq!(squares(&[], (1000, 1200)), None);
    }
}

//! From several looks at a person to landmarks with an error, a view and a task.
//!
//! [`combine`] gives what the pose net sees; [`refine`] joins it with what the landmark net sees in
//! the [`squares`] around trunk and head; [`place_stickers`] what dots on the skin tell, [`place`]
//! what a hand does.
//!
//! # Honest scope
//! A landmark's covariance holds how much a net's points wander between looks and the net's
//! measured accuracy ([`accuracy`], [`landmark_accuracy`]). It can't know what clothes hide, nor
//! that a whole arm was taken for the other one; [`recognise`] and [`refine`] look for signs of
//! that and say so.

pub mod accuracy;
mod close_up;
mod fuse;
pub mod landmark_accuracy;
mod manual;
mod plausible;
mod recognise;
mod refine;
mod sticker;

use std::collections::BTreeMap;

use nalgebra::{Matrix2, Vector2};

pub use close_up::{
    Seen, Turns, combine as combine_close_ups, combine_as as combine_close_ups_as, squares, turns,
    turns_as,
};
pub use manual::{ManualPoint, odd_by_hand, place};
pub use plausible::Odd;
pub use recognise::{Doubt, Recognised, TURNED, Wish, WishedView, recognise};
pub use refine::{Shown, refine};
pub use sticker::{
    Sticker, find as find_stickers, may_wear as may_wear_stickers, place as place_stickers,
    wanted_scale as sticker_scale,
};

use crate::body::{Landmark, Side, Task, View};
use crate::geometry::{Angle, Photo, Point, Vector};
use crate::infer::{LandmarkLook, Sample, SeenPoint};
use crate::visit::{Evidence, FaceCircle, Located};

/// A landmark that the looks did not show well enough.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    OutsidePhoto,
    Hidden,
    /// Seen, but its place has too large an error.
    Unsure,
    /// The two nets see it in different places.
    Disputed,
    /// It lies where no body has it.
    Implausible,
}

impl Missing {
    pub const fn words(self) -> &'static str {
        match self {
            Missing::OutsidePhoto => "outside the photo",
            Missing::Hidden => "hidden",
            Missing::Unsure => "too unclear to place",
            Missing::Disputed => "placed differently by the two nets",
            Missing::Implausible => "not where a body has it",
        }
    }
}

/// The landmarks of one photo, found and not.
#[derive(Clone, Debug, Default)]
pub struct Landmarks {
    pub found: BTreeMap<Landmark, Located>,
    pub missing: BTreeMap<Landmark, Missing>,
}

impl Landmarks {
    fn put(&mut self, landmark: Landmark, outcome: Result<Located, Missing>) {
        match outcome {
            Ok(located) => {
                self.missing.remove(&landmark);
                self.found.insert(landmark, located);
            }
            Err(missing) => {
                self.found.remove(&landmark);
                self.missing.insert(landmark, missing);
            }
        }
    }
}

/// Below this mean probability a landmark counts as not seen.
const LEAST_PRESENCE: f64 = 0.5;
const LEAST_VISIBILITY: f64 = 0.4;
/// The net draws a joint that is cut off to the edge of the photo: nearer to it than this part of
/// the photo's longer side, a landmark counts as outside.
const OUTSIDE: f64 = 0.01;
/// And nearer than this it may be cut off.
const AT_EDGE: f64 = 0.015;

/// Combines the looks. `size` is that of the photo in pixels.
pub fn combine(samples: &[Sample], view: View, task: Task, size: (u32, u32)) -> Landmarks {
    let mut landmarks = Landmarks::default();
    let Some(stature) = stature_px(samples, size) else {
        return landmarks;
    };
    let names: Vec<Landmark> = samples[0].points.keys().copied().collect();
    for landmark in names {
        let outcome = one(samples, landmark, (view, task), size, stature);
        landmarks.put(landmark, outcome);
    }
    landmarks
}

/// Whether what lies there may be cut off by the edge of a photo of that size.
pub fn is_at_edge(at: Point<Photo>, size: (u32, u32)) -> bool {
    !is_clear_of_edge(at, size, AT_EDGE)
}

/// Whether a point lies in a photo of that size, clear of its edge.
fn is_inside(at: Point<Photo>, size: (u32, u32)) -> bool {
    is_clear_of_edge(at, size, OUTSIDE)
}

/// Whether a point lies in a photo of that size, farther from its edge than this part of the longer
/// side.
fn is_clear_of_edge(at: Point<Photo>, (width, height): (u32, u32), part: f64) -> bool {
    let (width, height) = (f64::from(width), f64::from(height));
    let margin = part * width.max(height);
    (margin..=width - margin).contains(&at.x) && (margin..=height - margin).contains(&at.y)
}

/// Mean position over the looks, if they show the landmark inside the photo.
fn mean_position(
    samples: &[Sample],
    landmark: Landmark,
    size: (u32, u32),
) -> Result<Point<Photo>, Missing> {
    let seen: Vec<_> = samples
        .iter()
        .filter_map(|sample| sample.points.get(&landmark))
        .collect();
    let mean_of = |of: fn(&SeenPoint) -> f64| {
        seen.iter().map(|point| of(point)).sum::<f64>() / seen.len() as f64
    };
    let at = Point::<Photo>::new(mean_of(|p| p.at.x), mean_of(|p| p.at.y));
    if !is_inside(at, size) || mean_of(|p| p.presence) < LEAST_PRESENCE {
        return Err(Missing::OutsidePhoto);
    }
    if mean_of(|p| p.visibility) < LEAST_VISIBILITY {
        return Err(Missing::Hidden);
    }
    Ok(at)
}

fn one(
    samples: &[Sample],
    landmark: Landmark,
    (view, task): (View, Task),
    size: (u32, u32),
    stature: f64,
) -> Result<Located, Missing> {
    let at = mean_position(samples, landmark, size)?;
    let seen: Vec<_> = samples
        .iter()
        .filter_map(|sample| sample.points.get(&landmark))
        .collect();
    let count = seen.len() as f64;
    let mut scatter = Matrix2::zeros();
    for point in &seen {
        let off = Vector2::new(point.at.x - at.x, point.at.y - at.y);
        scatter += off * off.transpose();
    }
    // Error of the mean of the looks. If one look of n takes the wrong point, it moves the mean
    // by an n-th of its distance, which is what this gives.
    let wander = if seen.len() > 1 {
        scatter / (count * (count - 1.0))
    } else {
        // A single look can't tell how much it wanders: then it is what looks usually do.
        Matrix2::identity() * (accuracy::look_wander(landmark, view, task) * stature).powi(2)
    };
    let known = accuracy::of(landmark, view, task);
    let away = accuracy::away_sign(view, landmark.side());
    let [sigma_x, sigma_y] = known.sigma().map(|part| part * stature);
    Ok(Located {
        at: Point::new(
            at.x - away * known.offset[0] * stature,
            at.y - known.offset[1] * stature,
        ),
        covariance: wander + Matrix2::from_diagonal(&Vector2::new(sigma_x, sigma_y).map(|s| s * s)),
        evidence: Evidence::PoseNet,
        covered: false,
    })
}

/// A body that leans farther than this does not stand; the photo lies on its side.
const LYING: Angle = Angle::from_degrees(35.0);

/// Whether the person stands upright in the photo: hips to shoulders points up.
pub fn is_upright(samples: &[Sample]) -> bool {
    use Landmark::{HipJoint, ShoulderJoint};
    let up = samples
        .iter()
        .flat_map(|sample| {
            Side::BOTH.map(|side| {
                let at = |landmark| sample.points.get(&landmark).map(|p| p.at);
                Some(at(ShoulderJoint(side))? - at(HipJoint(side))?)
            })
        })
        .flatten()
        .fold(Vector::new(0.0, 0.0), |sum, trunk| sum + trunk);
    up.angle_to(Vector::new(0.0, -1.0)) <= LYING
}

/// How many pixels tall the person would stand upright: lengths of limbs and trunk, which a raised
/// arm or a bent back hardly changes, over their part of stature (Drillis & Contini 1966: ankle
/// 0.039, knee 0.285, hip 0.530, shoulder 0.818). Only joints inside the photo count: the net
/// invents those that are cut off.
pub fn stature_px(samples: &[Sample], size: (u32, u32)) -> Option<f64> {
    use Landmark::{Ankle, HipJoint, Knee, ShoulderJoint};
    type Segment = (fn(Side) -> Landmark, fn(Side) -> Landmark, f64);
    const SEGMENTS: [Segment; 3] = [
        (ShoulderJoint, HipJoint, 0.288),
        (HipJoint, Knee, 0.245),
        (Knee, Ankle, 0.246),
    ];
    let seen = |landmark| mean_position(samples, landmark, size).ok();
    let (mut length, mut part) = (0.0, 0.0);
    for side in Side::BOTH {
        for (from, to, of_stature) in SEGMENTS {
            if let (Some(from), Some(to)) = (seen(from(side)), seen(to(side))) {
                length += from.distance(to);
                part += of_stature;
            }
        }
    }
    (length > 1.0).then(|| length / part)
}

/// A circle over a face as several looks saw it: it holds the circle of each.
pub fn face_circle(samples: &[Sample]) -> Option<FaceCircle> {
    let circles: Vec<FaceCircle> = samples.iter().filter_map(face_in_one_look).collect();
    let count = circles.len() as f64;
    let mean = |of: fn(&FaceCircle) -> f64| circles.iter().map(of).sum::<f64>() / count;
    let centre = Point::new(mean(|c| c.centre.x), mean(|c| c.centre.y));
    circles
        .iter()
        .map(|circle| circle.radius + circle.centre.distance(centre))
        .reduce(f64::max)
        .map(|radius| FaceCircle { centre, radius })
}

/// The circle, widened to hold the eyes and the chin where closer looks saw them, or guess them to be: the
/// general net misses a face behind a raised arm. A look that went astray widens it so far at most.
pub fn with_features_of(face: FaceCircle, looks: &[LandmarkLook]) -> FaceCircle {
    const MOST: f64 = 1.6;
    let features = Side::BOTH.map(Landmark::EyeOuter);
    let features = features.into_iter().chain([Landmark::Chin]);
    let farthest = features
        .flat_map(|feature| {
            looks
                .iter()
                .filter_map(move |look| look.points.get(&feature))
        })
        .map(|seen| 1.1 * seen.at.distance(face.centre))
        .fold(0.0, f64::max);
    FaceCircle {
        radius: face.radius.max(farthest.min(MOST * face.radius)),
        ..face
    }
}

/// From brow to chin and cheek to cheek, short of the ears: those are measured.
fn face_in_one_look(sample: &Sample) -> Option<FaceCircle> {
    use Landmark::*;
    let at = |landmark: Landmark| sample.points.get(&landmark).map(|point| point.at);
    let middle =
        |of: fn(Side) -> Landmark| Some(at(of(Side::Left))?.midpoint(at(of(Side::Right))?));
    let (eyes, mouth, nose) = (middle(EyeOuter)?, middle(Mouth)?, at(Nose)?);
    let features = Side::BOTH.map(|side| [at(EyeOuter(side)), at(Mouth(side))]);
    let centre = eyes.midpoint(mouth).midpoint(nose);
    let farthest = |points: &mut dyn Iterator<Item = Point<Photo>>| {
        points.map(|p| p.distance(centre)).fold(0.0, f64::max)
    };
    let to_features = farthest(&mut features.into_iter().flatten().flatten());
    // In profile the features lie close together; the ear tells how large the head is.
    let to_ear = farthest(&mut Side::BOTH.into_iter().filter_map(|side| at(Tragus(side))));
    Some(FaceCircle {
        centre,
        radius: (1.7 * to_features).max(0.9 * to_ear).max(4.0),
    })
}

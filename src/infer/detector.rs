//! What the person detector's numbers mean.
//!
//! The net scores 2254 anchors: the cells of three grids laid over its 224-pixel picture, with
//! two anchors a cell on the finest, two on the next, six on the coarsest. For each it gives a
//! box and four points, as offsets from the centre of the cell.

use ndarray::ArrayView2;

use crate::geometry::{Angle, Crop, Point};

/// Stride of each grid in pixels, and anchors a cell.
const GRIDS: [(usize, usize); 3] = [(8, 2), (16, 2), (32, 6)];
const PICTURE: usize = 224;
/// Boxes that share more than this part of their union show the same person.
const SAME_PERSON: f64 = 0.3;
/// The net's authors' own region: one and a quarter times the circle around the body.
const REGION: f64 = 1.25;

/// A person in the detector's picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Detection {
    /// Probability that it is a person.
    pub score: f64,
    pub centre: Point<Crop>,
    pub width: f64,
    pub height: f64,
    /// Between the hip joints: the centre of the body's circle.
    pub mid_hip: Point<Crop>,
    /// On the rim of that circle, above the head of an upright body.
    pub rim: Point<Crop>,
}

/// Side of the square in which the pose net should look, and how far the body is turned clockwise
/// from upright, from the middle of the body's circle and the point on its rim.
pub(super) fn square_around<S>(mid_hip: Point<S>, rim: Point<S>) -> (f64, Angle) {
    let up = rim - mid_hip;
    (
        2.0 * REGION * up.length(),
        Angle::from_radians(up.x.atan2(-up.y)),
    )
}

impl Detection {
    /// Side of the square in which the pose net should look.
    pub fn region_side(&self) -> f64 {
        square_around(self.mid_hip, self.rim).0
    }

    /// How far the body is turned clockwise from upright.
    pub fn turn(&self) -> Angle {
        square_around(self.mid_hip, self.rim).1
    }

    /// Shared area over joint area of two boxes; 0 for boxes that don't touch.
    fn overlap(&self, other: &Detection) -> f64 {
        let shared = |a: f64, a_size: f64, b: f64, b_size: f64| {
            let low = (a - a_size / 2.0).max(b - b_size / 2.0);
            let high = (a + a_size / 2.0).min(b + b_size / 2.0);
            (high - low).max(0.0)
        };
        let intersection = shared(self.centre.x, self.width, other.centre.x, other.width)
            * shared(self.centre.y, self.height, other.centre.y, other.height);
        let union = self.width * self.height + other.width * other.height - intersection;
        if union > 0.0 {
            intersection / union
        } else {
            0.0
        }
    }
}

/// The anchors that look like a person with at least `least` probability.
pub fn decode(
    boxes: ArrayView2<'_, f32>,
    scores: ArrayView2<'_, f32>,
    least: f64,
) -> Vec<Detection> {
    anchors()
        .zip(boxes.outer_iter().zip(scores.outer_iter()))
        .filter_map(|(anchor, (values, score))| {
            let score = super::pose_net::sigmoid(score[0]);
            let at = |i: usize| f64::from(values[i]);
            let point = |i: usize| Point::new(anchor.x + at(i), anchor.y + at(i + 1));
            (score >= least).then(|| Detection {
                score,
                centre: point(0),
                width: at(2),
                height: at(3),
                mid_hip: point(4),
                rim: point(6),
            })
        })
        .collect()
}

/// Centres of the anchors' cells, in the net's order.
fn anchors() -> impl Iterator<Item = Point<Crop>> {
    GRIDS.into_iter().flat_map(|(stride, per_cell)| {
        let cells = PICTURE / stride;
        (0..cells * cells * per_cell).map(move |index| {
            let cell = index / per_cell;
            let centre = |i: usize| (i as f64 + 0.5) * stride as f64;
            Point::new(centre(cell % cells), centre(cell / cells))
        })
    })
}

/// Merges the detections of one person into one: every group of overlapping boxes becomes its
/// mean, weighted by score. Best first.
pub fn merge(mut detections: Vec<Detection>) -> Vec<Detection> {
    detections.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut merged = Vec::new();
    while let Some(best) = detections.first().copied() {
        let (same, rest): (Vec<_>, Vec<_>) = detections
            .into_iter()
            .partition(|other| *other == best || best.overlap(other) > SAME_PERSON);
        merged.push(mean(best.score, &same));
        detections = rest;
    }
    merged
}

fn mean(score: f64, group: &[Detection]) -> Detection {
    let total: f64 = group.iter().map(|d| d.score).sum();
    let of = |value: fn(&Detection) -> f64| {
        group.iter().map(|d| d.score * value(d)).sum::<f64>() / total
    };
    Detection {
        score,
        centre: Point::new(of(|d| d.centre.x), of(|d| d.centre.y)),
        width: of(|d| d.width),
        height: of(|d| d.height),
        mid_hip: Point::new(of(|d| d.mid_hip.x), of(|d| d.mid_hip.y)),
        rim: Point::new(of(|d| d.rim.x), of(|d| d.rim.y)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(x: f64, y: f64, score: f64) -> Detection {
        Detection {
            score,
            centre: Point::new(x, y),
            width: 1.0,
            height: 1.0,
            mid_hip: Point::new(x, y),
            rim: Point::new(x, y - 1.0),
        }
    }

    #[test]
    fn there_are_as_many_anchors_as_the_net_has_rows() {
        assert_eq!(anchors().count(), 2254);
        let first: Vec<_> = anchors().take(3).map(|p| (p.x, p.y)).collect();
        assert_eq!(first, [(4.0, 4.0), (4.0, 4.0), (12.0, 4.0)]);
        let last = anchors().last().unwrap();
        assert_eq!((last.x, last.y), (208.0, 208.0));
    }

    #[test]
    fn boxes_apart_in_both_axes_do_not_overlap() {
        assert_eq!(person(0.5, 0.5, 1.0).overlap(&person(2.5, 2.5, 1.0)), 0.0);
        assert_eq!(person(0.0, 0.0, 1.0).overlap(&person(0.0, 0.0, 1.0)), 1.0);
    }

    #[test]
    fn one_person_seen_twice_becomes_one_nearer_the_surer_box() {
        let merged = merge(vec![
            person(0.0, 0.0, 0.9),
            person(0.2, 0.0, 0.3),
            person(5.0, 0.0, 0.6),
        ]);
        assert_eq!(merged.len(), 2);
        assert!((merged[0].centre.x - 0.05).abs() < 1e-12);
        assert_eq!(merged[0].score, 0.9);
        assert_eq!(merged[1].centre.x, 5.0);
    }

    #[test]
    fn the_turn_is_clockwise_from_upright() {
        let mut lying = person(0.0, 0.0, 1.0);
        lying.rim = Point::new(1.0, 0.0);
        assert!((lying.turn().degrees() - 90.0).abs() < 1e-12);
        assert_eq!(lying.region_side(), 2.5);
    }
}

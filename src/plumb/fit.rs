//! The vertical that most uprights agree on, and how sure that is.

use nalgebra::{Matrix2, Vector2};

use super::Plumb;
use super::uprights::Line;
use crate::estimate::Estimate;
use crate::geometry::{Crop, Point};

/// An upright as the fit takes it, lengths in units of the focal length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Upright {
    /// x where it crosses the row through the middle of the picture, from that middle.
    pub at: f64,
    /// dx/dy.
    pub slope: f64,
    /// Error of the slope as seen.
    pub sigma: f64,
    pub length: f64,
}

impl Upright {
    /// An edge of a picture with its optical axis at `centre`.
    pub fn seen(line: &Line, centre: Point<Crop>, focal: f64) -> Upright {
        let middle = (line.middle - centre.y) / focal;
        let at = (line.at - centre.x) / focal - line.slope * middle;
        Upright {
            at,
            slope: line.slope,
            sigma: line.slope_sigma.hypot(2.0 * BENT * at * middle),
            length: line.length / focal,
        }
    }

    /// How far it leans from a vertical.
    fn off(&self, vertical: Vector2<f64>) -> f64 {
        self.slope - vertical.dot(&self.row())
    }

    /// The error of how it stands, were it the only edge of its thing.
    fn alone(&self) -> f64 {
        self.sigma.hypot(self.lean())
    }

    fn lean(&self) -> f64 {
        LEAN.hypot(TAPER / self.length)
    }

    fn row(&self) -> Vector2<f64> {
        Vector2::new(1.0, self.at)
    }
}

/// A lens bends the picture by this part at one focal length from the middle, and elsewhere with
/// the square of the distance: 1 % in the corners of what a phone has already straightened. An
/// edge to the side of the middle and above or below it leans by that. Common practice.
const BENT: f64 = 0.02;
/// How far the uprights of a room are from the vertical: 4 mm in a metre, the tolerances of
/// builders. Common practice.
const LEAN: f64 = 0.004;
/// Legs of furniture taper, and shadows of them fall askew: an edge leans by this part of the
/// focal length, 3 mm at 3 m, over its length. Found on rendered rooms.
const TAPER: f64 = 0.001;
/// Edges nearer to each other than this part of the focal length, 15 cm at 3 m, may belong to one
/// thing and lean together.
const ONE_THING: f64 = 0.05;
/// What no upright tells: how straight the sensor sits behind the lens, a house that leans as a
/// whole, an optical axis beside the middle of the picture. Common practice.
const ROLL_FLOOR: f64 = 0.15_f64.to_radians();
const PITCH_FLOOR: f64 = 0.3_f64.to_radians();

/// The verticals that are tried: farthest and step, of tan roll and of tan pitch / cos roll.
const ROLLS: (f64, f64) = (0.216, 0.006);
const PITCHES: (f64, f64) = (0.4, 0.02);
/// An upright is near a vertical that is tried if it leans from it by less than this.
const NEAR: f64 = 0.015;
/// So many sigmas from the vertical, an edge is another thing's.
const OUTSIDE: f64 = 3.0;
/// Where Tukey's weight ends, in sigmas: 95 % as good as least squares without any outlier.
const TUKEY: f64 = 4.685;

/// Least part of all edges, by length, that must stand near the vertical. Leaves, folds and crowds
/// leave less than a quarter for the best of all directions.
const LEAST_PART: f64 = 0.3;
/// Another vertical that has more than this part of the support of the best makes it doubtful.
const RIVAL: f64 = 0.5;
/// Least length of uprights in all, each thing counted with no more than half of it: two of a metre
/// at 4 m.
const LEAST_LENGTH: f64 = 0.5;
/// Beyond this roll the uprights of so many things at least must say so: two sides of one picture
/// that hangs askew are easily that far off, and nobody holds a camera so without noticing.
const ASKEW: [(f64, usize); 3] = [
    (3.5_f64.to_radians(), 3),
    (5.0_f64.to_radians(), 4),
    (8.0_f64.to_radians(), 6),
];
/// From the last of these on, so much of all edges must stand near the vertical.
const STRONG_PART: f64 = 0.6;
/// A less certain roll says no more than that people hold cameras level.
const WORST_ROLL: f64 = 1.2_f64.to_radians();

/// The vertical of these uprights; the focal length they are measured in has a relative error.
pub fn fit(uprights: &[Upright], focal_error: f64) -> Option<Plumb> {
    let (support, first) = best(uprights.iter())?;
    let all: f64 = uprights.iter().map(|upright| upright.length).sum();
    let part = support / all;
    let vertical = settle(uprights, first)?;
    let is_outside = |upright: &&Upright| upright.off(vertical).abs() > OUTSIDE * upright.alone();
    let rival = best(uprights.iter().filter(is_outside)).map_or(0.0, |(support, _)| support);
    let inside: Vec<Upright> = uprights
        .iter()
        .filter(|upright| !is_outside(upright))
        .copied()
        .collect();
    let things = things(&inside);
    let length: f64 = things
        .iter()
        .map(|length| length.min(LEAST_LENGTH / 2.0))
        .sum();
    let roll = vertical[0].atan();
    let askew = ASKEW
        .iter()
        .any(|&(limit, least)| roll.abs() > limit && things.len() < least);
    let far_askew = roll.abs() > ASKEW[2].0 && part < STRONG_PART;
    if part < LEAST_PART || rival > RIVAL * support || length < LEAST_LENGTH {
        return None;
    }
    if askew || far_askew {
        return Some(Plumb {
            roll: Estimate::new(roll / 2.0, roll.abs() / 2.0),
            pitch: None,
            correlation: 0.0,
        });
    }

    let weights = weights(uprights, vertical);
    // How far the uprights stray, against what was expected of each.
    let stray = |upright: &Upright| (upright.off(vertical) / upright.alone()).powi(2);
    let stray = inside.iter().map(|u| u.length * stray(u)).sum::<f64>()
        / inside.iter().map(|u| u.length).sum::<f64>();
    // Two unknowns: of two things none checks the other, and of a few more each less than fully.
    let count = things.len() as f64;
    let inflation = if things.len() > 2 {
        (stray * count / (count - 2.0)).max(1.0)
    } else {
        4.0 * stray.max(1.0)
    };
    let covariance = information(uprights, &weights).try_inverse()? * inflation;
    let pitch = (vertical[1] * roll.cos()).atan();
    let roll_variance = covariance[(0, 0)] + ROLL_FLOOR.powi(2);
    let pitch_variance = covariance[(1, 1)] + PITCH_FLOOR.powi(2) + (pitch * focal_error).powi(2);
    let plumb = Plumb {
        roll: Estimate::new(roll, roll_variance.sqrt()),
        pitch: Some(Estimate::new(pitch, pitch_variance.sqrt())),
        correlation: covariance[(0, 1)] / (roll_variance * pitch_variance).sqrt(),
    };
    (plumb.roll.sigma <= WORST_ROLL).then_some(plumb)
}

/// The length of uprights of each thing.
fn things(uprights: &[Upright]) -> Vec<f64> {
    let mut sorted = uprights.to_vec();
    sorted.sort_by(|a, b| a.at.total_cmp(&b.at));
    let mut things: Vec<(f64, f64)> = Vec::new();
    for upright in sorted {
        match things.last_mut() {
            Some((start, length)) if upright.at - *start < ONE_THING => *length += upright.length,
            _ => things.push((upright.at, upright.length)),
        }
    }
    things.into_iter().map(|(_, length)| length).collect()
}

/// The vertical near which most length of uprights stands, of all that are tried, and that length.
fn best<'a>(uprights: impl Iterator<Item = &'a Upright>) -> Option<(f64, Vector2<f64>)> {
    let near: Vec<(&Upright, f64)> = uprights
        .map(|upright| (upright, NEAR.hypot(upright.alone()).powi(-2)))
        .collect();
    let support = |vertical: Vector2<f64>| -> f64 {
        near.iter()
            .map(|(upright, narrow)| {
                let off = upright.off(vertical);
                upright.length * (1.0 - off * off * narrow).max(0.0)
            })
            .sum()
    };
    steps(ROLLS)
        .flat_map(|roll| steps(PITCHES).map(move |pitch| Vector2::new(roll, pitch)))
        .map(|vertical| (support(vertical), vertical))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(support, _)| *support > 0.0)
}

fn steps((farthest, step): (f64, f64)) -> impl Iterator<Item = f64> {
    let count = (farthest / step).round() as i32;
    (-count..=count).map(move |i| f64::from(i) * step)
}

/// Least squares again and again, with less and less weight for what lies far off.
fn settle(uprights: &[Upright], start: Vector2<f64>) -> Option<Vector2<f64>> {
    let mut vertical = start;
    for _ in 0..20 {
        let weights = weights(uprights, vertical);
        let right = uprights
            .iter()
            .zip(&weights)
            .fold(Vector2::zeros(), |sum, (upright, weight)| {
                sum + upright.row() * upright.slope * *weight
            });
        vertical = information(uprights, &weights).cholesky()?.solve(&right);
    }
    Some(vertical)
}

/// The weight of each upright: of its error, shared with the other edges of its thing, and of how
/// far it lies off the vertical.
fn weights(uprights: &[Upright], vertical: Vector2<f64>) -> Vec<f64> {
    let by_distance = |upright: &Upright| {
        let off = upright.off(vertical) / (TUKEY * upright.alone());
        (1.0 - off * off).max(0.0).powi(2)
    };
    uprights
        .iter()
        .map(|upright| {
            let together: f64 = uprights
                .iter()
                .filter(|other| (other.at - upright.at).abs() < ONE_THING)
                .map(|other| other.length * by_distance(other))
                .sum();
            let share = upright.length / together.max(upright.length);
            by_distance(upright) / (upright.sigma.powi(2) + upright.lean().powi(2) / share)
        })
        .collect()
}

fn information(uprights: &[Upright], weights: &[f64]) -> Matrix2<f64> {
    uprights
        .iter()
        .zip(weights)
        .fold(Matrix2::zeros(), |sum, (upright, weight)| {
            sum + upright.row() * upright.row().transpose() * *weight
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of a standard normal distribution.
    fn normal(seed: u32) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            let mut sum = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                sum += f64::from(state >> 8) / f64::from(1 << 24);
            }
            sum
        }
    }

    /// In rooms whose things lean as is assumed, and cameras off as is assumed, the errors have
    /// the size that is said: rather smaller, since few things are not trusted to check each other.
    #[test]
    fn errors_have_the_size_that_is_said() {
        let mut normal = normal(1);
        for places in [
            &[-0.4, -0.2, 0.1, 0.35][..],
            &[-0.45, -0.3, -0.2, -0.05, 0.1, 0.2, 0.3, 0.42],
        ] {
            let (mut rolls, mut pitches, mut products, mut correlations) = (0.0, 0.0, 0.0, 0.0);
            let rooms = 500;
            for _ in 0..rooms {
                let (roll, pitch) = (0.02 * normal(), 0.06 * normal());
                let (floor_roll, floor_pitch) = (ROLL_FLOOR * normal(), PITCH_FLOOR * normal());
                let vertical = Vector2::new(
                    (roll + floor_roll).tan(),
                    (pitch + floor_pitch).tan() / (roll + floor_roll).cos(),
                );
                let mut uprights = Vec::new();
                for &at in places {
                    let mut upright = Upright {
                        at,
                        slope: 0.0,
                        sigma: 0.001,
                        length: 0.3,
                    };
                    // Two edges of one thing lean together.
                    let lean = upright.lean() * normal();
                    for aside in [0.0, 0.02] {
                        upright.at = at + aside;
                        upright.slope =
                            vertical.dot(&upright.row()) + lean + upright.sigma * normal();
                        uprights.push(upright);
                    }
                }
                let plumb = fit(&uprights, 0.0).expect("uprights that agree");
                let off_roll = (plumb.roll.value - roll) / plumb.roll.sigma;
                let seen = plumb.pitch.expect("several things");
                let off_pitch = (seen.value - pitch) / seen.sigma;
                rolls += off_roll * off_roll;
                pitches += off_pitch * off_pitch;
                products += off_roll * off_pitch;
                correlations += plumb.correlation;
            }
            let rooms = f64::from(rooms);
            for spread in [rolls, pitches].map(|squares| (squares / rooms).sqrt()) {
                assert!((0.75..1.1).contains(&spread), "{spread}");
            }
            assert!((products / rooms - correlations / rooms).abs() < 0.2);
        }
    }

    /// Seen on one side of the picture only, roll and pitch can't be told apart well.
    #[test]
    fn uprights_on_one_side_say_how_little_they_know() {
        let seen = |places: [f64; 3]| {
            let uprights = places.map(|at| Upright {
                at,
                slope: 0.03 - 0.1 * at,
                sigma: 0.001,
                length: 0.4,
            });
            fit(&uprights, 0.04).expect("uprights that agree")
        };
        let (around, aside) = (seen([-0.35, 0.0, 0.35]), seen([0.2, 0.3, 0.4]));
        assert!(aside.roll.sigma > 2.0 * around.roll.sigma);
        assert!(aside.correlation < -0.8 && around.correlation.abs() < 0.1);
    }
}

//! Which dot is which landmark: the names of all dots together, as they fit best.

use std::f64::consts::TAU;

use nalgebra::{Matrix2, Vector2};

use super::Expected;
use super::dots::Dot;
use crate::estimate::Estimate;

/// False dots, prints and buttons, in a square metre around the landmarks. A guess: ten.
const FALSE_PER_MM2: f64 = 10e-6;
/// Twice the logarithm of how much likelier a name must be than the next best: ten times.
const MARGIN: f64 = 4.6;
/// Squared distance beyond which no dot is the landmark's, in units of the errors: once in a
/// thousand times.
const FARTHEST: f64 = 13.8;
/// Dots of a set have one hue within this angle (radians, 25°), and one diameter within this part
/// beside the error of both: no part of a body is farther from the camera than another by more.
const HUE: f64 = 25.0 / 360.0 * TAU;
const SIZE: f64 = 0.1;
/// More dots than anyone wears: a print.
const MOST: usize = 24;

/// The dots that have a name. All are of one colour and one size; a set is taken only where it
/// has at least two named dots, or a known diameter, and no more dots without a name than with.
pub(super) fn name(
    dots: &[Dot],
    expected: &[Expected],
    mm_per_px: f64,
    diameter_mm: Option<f64>,
) -> Vec<(Dot, Expected)> {
    let known = diameter_mm.map(|mm| Estimate::new(mm / mm_per_px, KNOWN * mm / mm_per_px));
    let fits = |dot: &Dot| known.is_none_or(|known| same_size(known, dot.diameter));
    let dots: Vec<Dot> = dots.iter().filter(|dot| fits(dot)).copied().collect();
    let scale = mm_per_px.powi(2);
    let mut sets: Vec<Set> = dots
        .iter()
        .map(|first| {
            let members: Vec<Dot> = dots
                .iter()
                .filter(|dot| alike(first, dot))
                .copied()
                .collect();
            Set::new(members, expected, scale)
        })
        .filter(|set| set.gain > 0.0)
        .collect();
    sets.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let Some(best) = sets.first() else {
        return Vec::new();
    };
    let shares = |set: &Set| {
        set.dots
            .iter()
            .any(|dot| best.dots.iter().any(|b| b.at == dot.at))
    };
    let rival = sets.iter().find(|set| !shares(set));
    if rival.is_some_and(|set| set.gain > best.gain - MARGIN) {
        return Vec::new();
    }
    let named = best.named();
    let strangers = best.dots.len() - best.names.iter().flatten().count();
    let least = if known.is_some() { 1 } else { 2 };
    if named.len() < least || strangers > named.len() {
        return Vec::new();
    }
    named
        .into_iter()
        .map(|(dot, place)| (best.dots[dot], expected[place]))
        .collect()
}

/// Minor over major axis from which on a dot may be a ball; one of which the back hides more would be
/// read too far out.
const BALL: f64 = 0.75;
/// How far the scale of the person may be off where a dot is, in parts: stature, distance, depth.
const KNOWN: f64 = 0.12;

fn alike(a: &Dot, b: &Dot) -> bool {
    let turn = (a.chroma.x * b.chroma.y - a.chroma.y * b.chroma.x)
        .atan2(a.chroma.dot(&b.chroma))
        .abs();
    turn <= HUE && same_size(a.diameter, b.diameter)
}

fn same_size(a: Estimate, b: Estimate) -> bool {
    let room = SIZE * a.value.max(b.value) + a.sigma.hypot(b.sigma);
    (a.value - b.value).abs() <= room
}

/// Dots of one kind, and the best names for all of them together.
struct Set {
    dots: Vec<Dot>,
    /// For each dot and landmark, by how much a name beats none; `None` where it can't be.
    gains: Vec<Vec<Option<f64>>>,
    names: Vec<Option<usize>>,
    gain: f64,
}

impl Set {
    fn new(dots: Vec<Dot>, expected: &[Expected], mm2_per_px2: f64) -> Set {
        if dots.len() > MOST {
            return Set {
                dots: Vec::new(),
                gains: Vec::new(),
                names: Vec::new(),
                gain: 0.0,
            };
        }
        let gains: Vec<Vec<Option<f64>>> = dots
            .iter()
            .map(|dot| {
                expected
                    .iter()
                    .map(|place| gain(dot, place, mm2_per_px2))
                    .collect()
            })
            .collect();
        let (gain, names) = best(&gains, None);
        Set {
            dots,
            gains,
            names,
            gain,
        }
    }

    /// Dots and places whose name is clearly better than every other for the dot, and than every
    /// other dot for the place.
    fn named(&self) -> Vec<(usize, usize)> {
        let named = self
            .names
            .iter()
            .enumerate()
            .filter_map(|(dot, name)| Some((dot, (*name)?)));
        named
            .filter(|&(dot, place)| {
                let others = self.gains.iter().enumerate().flat_map(|(i, row)| {
                    (0..row.len())
                        .filter(move |&j| (i == dot) != (j == place) && row[j].is_some())
                        .map(move |j| (i, j))
                });
                others
                    .map(|other| best(&self.gains, Some(other)).0)
                    .all(|rival| rival <= self.gain - MARGIN)
            })
            .collect()
    }
}

/// By how much a dot's being the landmark is likelier than its being a false one (twice the
/// logarithm), if it may be.
fn gain(dot: &Dot, place: &Expected, mm2_per_px2: f64) -> Option<f64> {
    let covariance = place.covariance + Matrix2::identity() * dot.centre_sigma.powi(2);
    if place.outward.is_some() && dot.flatness < BALL {
        return None;
    }
    let off = Vector2::new(dot.at.x - place.at.x, dot.at.y - place.at.y) - place.standing_off(dot);
    let apart = off.dot(&(covariance.try_inverse()? * off));
    let density = (TAU.powi(2) * (covariance * mm2_per_px2).determinant()).ln();
    let gain = -2.0 * FALSE_PER_MM2.ln() - density - apart;
    (apart <= FARTHEST && gain > 0.0).then_some(gain)
}

/// The names of the dots, each landmark given once, with the largest sum of gains; with one name
/// fixed where asked. Dot after dot, for every set of landmarks already given: exact, and with so
/// few landmarks quicker than a general algorithm is to set up.
fn best(gains: &[Vec<Option<f64>>], fixed: Option<(usize, usize)>) -> (f64, Vec<Option<usize>>) {
    let places = gains.first().map_or(0, Vec::len);
    // What may be given at all; most landmarks have no dot near.
    let useful: Vec<usize> = (0..places)
        .filter(|&place| gains.iter().any(|row| row[place].is_some()))
        .collect();
    let states = 1usize << useful.len();
    let mut sums = vec![f64::NEG_INFINITY; states];
    sums[0] = 0.0;
    let mut steps: Vec<Vec<Option<usize>>> = Vec::with_capacity(gains.len());
    for (dot, row) in gains.iter().enumerate() {
        let forced = fixed
            .filter(|(fixed, _)| *fixed == dot)
            .map(|(_, place)| place);
        let mut next = match forced {
            Some(_) => vec![f64::NEG_INFINITY; states],
            None => sums.clone(),
        };
        let mut step = vec![None; states];
        for (bit, &place) in useful.iter().enumerate() {
            let Some(gain) = row[place].filter(|_| forced.is_none_or(|forced| forced == place))
            else {
                continue;
            };
            for given in (0..states).filter(|given| given & (1 << bit) == 0) {
                let with = given | (1 << bit);
                if sums[given] + gain > next[with] {
                    next[with] = sums[given] + gain;
                    step[with] = Some(bit);
                }
            }
        }
        sums = next;
        steps.push(step);
    }
    let mut at = (0..states)
        .max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
        .unwrap_or(0);
    let gain = sums[at];
    let mut names = vec![None; gains.len()];
    for (dot, step) in steps.iter().enumerate().rev() {
        if let Some(bit) = step[at] {
            names[dot] = Some(useful[bit]);
            at &= !(1 << bit);
        }
    }
    (gain, names)
}

#[cfg(test)]
mod tests {
    use super::super::drawn::*;
    use super::super::{dots, of_dot, strangeness};
    use super::*;
    use crate::body::Landmark;
    use crate::body::Side;
    use crate::geometry::Point;
    use crate::photo::{CameraTags, Photo};
    use Landmark::*;
    use proptest::prelude::*;

    const NEAR: Side = Side::Right;
    const MM_PER_PX: f64 = 1.5;
    /// A side view, pixels of 1.5 mm.
    const BODY: [(Landmark, [f64; 2]); 6] = [
        (Tragus(NEAR), [300.0, 120.0]),
        (C7, [240.0, 200.0]),
        (Acromion(NEAR), [285.0, 225.0]),
        (T4, [215.0, 280.0]),
        (T8, [210.0, 350.0]),
        (T12, [225.0, 430.0]),
    ];

    fn expected() -> Vec<Expected> {
        BODY.into_iter()
            .map(|(landmark, [x, y])| {
                let sigma = 5f64.hypot(strangeness(landmark)) / MM_PER_PX;
                Expected {
                    landmark,
                    at: Point::new(x, y),
                    covariance: Matrix2::identity() * sigma.powi(2) + of_dot(landmark, MM_PER_PX),
                    outward: None,
                }
            })
            .collect()
    }

    fn dot(x: f64, y: f64, diameter: f64) -> Dot {
        Dot {
            at: Point::new(x, y),
            centre_sigma: 0.15,
            diameter: Estimate::new(diameter, 0.5),
            flatness: 1.0,
            chroma: Vector2::new(150.0, 10.0),
        }
    }

    /// Dots of 12 mm on the body's landmarks, all set off.
    fn worn(on: &[Landmark], [right, down]: [f64; 2]) -> Vec<Dot> {
        BODY.into_iter()
            .filter(|(landmark, _)| on.contains(landmark))
            .map(|(_, [x, y])| dot(x + right, y + down, 8.0))
            .collect()
    }

    fn names(dots: &[Dot]) -> Vec<Landmark> {
        let mut names: Vec<Landmark> = name(dots, &expected(), MM_PER_PX, None)
            .into_iter()
            .map(|(_, place)| place.landmark)
            .collect();
        names.sort();
        names
    }

    #[test]
    fn dots_get_the_names_that_fit_all_of_them() {
        let on = [C7, T4, Tragus(NEAR), Acromion(NEAR)];
        let named = name(&worn(&on, [4.0, -5.0]), &expected(), MM_PER_PX, None);
        assert_eq!(named.len(), 4);
        for (dot, Expected { landmark, .. }) in named {
            let (_, [x, y]) = BODY.into_iter().find(|(own, _)| *own == landmark).unwrap();
            assert!(
                dot.at.distance(Point::new(x + 4.0, y - 5.0)) < 1e-9,
                "{landmark}"
            );
        }
    }

    /// Both dots are nearest to the first landmark; only together each has its name.
    #[test]
    fn the_nearest_name_is_not_taken_where_all_fit_better_otherwise() {
        let place = |landmark, y| Expected {
            landmark,
            at: Point::new(0.0, y),
            covariance: Matrix2::identity() * 100.0,
            outward: None,
        };
        let expected = [place(T4, 0.0), place(T8, 34.0)];
        let dots = [dot(0.0, -14.0, 8.0), dot(0.0, 16.0, 8.0)];
        let middle = dots[1].at;
        assert!(middle.distance(expected[0].at) < middle.distance(expected[1].at));
        let named = name(&dots, &expected, MM_PER_PX, None);
        let of = |landmark| {
            named
                .iter()
                .find(|(_, own)| own.landmark == landmark)
                .map(|(dot, _)| dot.at.y)
        };
        assert_eq!((of(T4), of(T8)), (Some(-14.0), Some(16.0)));
    }

    #[test]
    fn what_may_be_either_is_neither() {
        // Two dots alike, as near to C7 as each other: a distractor, and nobody can tell which.
        let others = [Tragus(NEAR), Acromion(NEAR), T8];
        let mut dots = worn(&others, [0.0, 0.0]);
        let clear = names(&dots);
        assert_eq!(clear.len(), 3);
        dots.extend([dot(234.0, 195.0, 8.0), dot(246.0, 205.0, 8.0)]);
        assert_eq!(names(&dots), clear);
    }

    #[test]
    fn a_dot_of_another_size_or_colour_is_left_out() {
        let on = [Tragus(NEAR), Acromion(NEAR)];
        let both: Vec<Landmark> = names(&worn(&on, [0.0, 0.0]));
        assert_eq!(both.len(), 2);
        let mut other_size = worn(&on, [0.0, 0.0]);
        other_size.push(dot(240.0, 200.0, 14.0));
        assert_eq!(names(&other_size), both);
        let mut other_colour = worn(&on, [0.0, 0.0]);
        other_colour.push(Dot {
            chroma: Vector2::new(-100.0, 90.0),
            ..dot(240.0, 200.0, 8.0)
        });
        assert_eq!(names(&other_colour), both);
    }

    #[test]
    fn a_lone_dot_counts_only_where_its_diameter_is_known() {
        let lone = worn(&[C7], [2.0, 2.0]);
        assert_eq!(names(&lone), []);
        let with = |mm| name(&lone, &expected(), MM_PER_PX, Some(mm)).len();
        assert_eq!((with(12.0), with(18.0)), (1, 0));
    }

    #[test]
    fn a_row_of_buttons_and_a_dotted_shirt_are_no_stickers() {
        // Down the front, a hand's breadth before the spine.
        let front: Vec<Dot> = (0..8)
            .map(|i| dot(330.0, 220.0 + 45.0 * f64::from(i), 8.0))
            .collect();
        assert_eq!(names(&front), []);
        // Down the back, closer than vertebrae that are worn.
        let back: Vec<Dot> = (0..16)
            .map(|i| dot(222.0, 190.0 + 18.0 * f64::from(i), 8.0))
            .collect();
        assert_eq!(names(&back), []);
        let shirt: Vec<Dot> = (0..40)
            .map(|i| {
                dot(
                    180.0 + 25.0 * f64::from(i % 5),
                    200.0 + 30.0 * f64::from(i / 5),
                    8.0,
                )
            })
            .collect();
        assert_eq!(names(&shirt), []);
    }

    #[test]
    fn on_the_spine_from_the_side_only_a_ball_is_named_and_its_middle_stands_off() {
        let backward = Vector2::new(-1.0, 0.0);
        let place = |landmark, y| Expected {
            landmark,
            at: Point::new(100.0, y),
            covariance: Matrix2::identity() * 4.0,
            outward: Some(backward),
        };
        let expected = [place(T4, 0.0), place(T8, 60.0)];
        let balls = [dot(96.0, 0.0, 8.0), dot(96.0, 60.0, 8.0)];
        assert_eq!(name(&balls, &expected, MM_PER_PX, None).len(), 2);
        assert_eq!(expected[0].standing_off(&balls[0]), backward * 4.0);
        let flat = balls.map(|ball| Dot {
            flatness: 0.4,
            ..ball
        });
        assert_eq!(name(&flat, &expected, MM_PER_PX, None).len(), 0);
    }

    /// From pixels: stickers on five landmarks among an earring, a red nose, a lipstick's red and
    /// two buttons; how often a name goes to the wrong thing.
    #[test]
    fn in_a_picture_no_other_thing_gets_a_name() {
        let (mut right, mut wrong, mut drawn_dots) = (0, 0, 0);
        for seed in 0..40 {
            let mut dice = Dice(seed);
            let colour = [RED, GREEN, BLUE, YELLOW][(seed % 4) as usize];
            let worn: Vec<(Landmark, Drawn)> = BODY
                .into_iter()
                .filter(|(landmark, _)| *landmark != T8)
                .map(|(landmark, [x, y])| {
                    let spread = if landmark == Tragus(NEAR) { 3.0 } else { 6.0 };
                    let (x, y) = (x + spread * dice.normal(), y + spread * dice.normal());
                    (landmark, Drawn::round(x, y, dice.between(7.6, 8.4), colour))
                })
                .collect();
            let (_, c7) = worn.iter().find(|(own, _)| *own == C7).expect("on C7");
            let (c7, side) = (c7.at, if dice.even() < 0.5 { -1.0 } else { 1.0 });
            let others = [
                Drawn::round(296.0, 141.0, 4.5, YELLOW),
                Drawn::round(372.0, 122.0, 12.0, RED),
                // Beside the sticker, 2 cm off, as often nearer to where C7 is expected as not.
                Drawn::round(c7.x + side * 12.0, c7.y - 8.0, 5.5, RED),
                Drawn::round(330.0, 262.0, 8.0, colour),
                Drawn::round(334.0, 310.0, 8.0, colour),
            ];
            let all: Vec<Drawn> = worn.iter().map(|(_, dot)| *dot).chain(others).collect();
            let ground = |x: f64, y: f64| {
                if y < 240.0 + 0.1 * x {
                    PALE_SKIN
                } else {
                    GREY_CLOTH
                }
            };
            let picture = picture((440, 520), ground, &all, (0.7, 4.0), &mut dice);
            let photo = Photo::new(through_jpeg(&picture), CameraTags::default());
            let expected = expected();
            let dots = dots::find(&photo, &expected, MM_PER_PX);
            drawn_dots += worn.len();
            for (dot, Expected { landmark, .. }) in name(&dots, &expected, MM_PER_PX, None) {
                let own = worn.iter().find(|(own, _)| *own == landmark);
                let hit = own.is_some_and(|(_, own)| {
                    dot.at.distance(Point::new(own.at.x, own.at.y)) < own.half_axes[0] / 2.0
                });
                if hit { right += 1 } else { wrong += 1 }
            }
        }
        println!("{right} of {drawn_dots} stickers named, {wrong} other things");
        assert_eq!(wrong, 0);
        assert!(right * 10 >= drawn_dots * 9, "{right} of {drawn_dots}");
    }

    /// The same pictures without stickers.
    #[test]
    fn in_a_picture_without_stickers_nothing_gets_a_name() {
        for seed in 0..20 {
            let mut dice = Dice(seed);
            let others = [
                Drawn::round(296.0, 141.0, 4.5, YELLOW),
                Drawn::round(372.0, 122.0, 12.0, RED),
                Drawn::round(258.0 + dice.between(-8.0, 8.0), 188.0, 8.0, RED),
                Drawn::round(330.0, 262.0, 8.0, BLUE),
                Drawn::round(334.0, 310.0, 8.0, BLUE),
            ];
            let picture = picture((440, 520), |_, _| PALE_SKIN, &others, (0.7, 4.0), &mut dice);
            let photo = Photo::new(through_jpeg(&picture), CameraTags::default());
            let dots = dots::find(&photo, &expected(), MM_PER_PX);
            assert_eq!(names(&dots), [], "seed {seed}");
        }
    }

    proptest! {
        /// Against trying every assignment.
        #[test]
        fn the_best_names_are_the_best_of_all(
            gains in prop::collection::vec(
                prop::collection::vec(prop::option::of(0.0f64..20.0), 4), 1..5),
        ) {
            fn every(gains: &[Vec<Option<f64>>], given: &mut Vec<usize>) -> f64 {
                let Some((row, rest)) = gains.split_first() else { return 0.0 };
                let mut best = every(rest, given);
                for (place, gain) in row.iter().enumerate() {
                    if let (Some(gain), false) = (gain, given.contains(&place)) {
                        given.push(place);
                        best = best.max(gain + every(rest, given));
                        given.pop();
                    }
                }
                best
            }
            let (gain, names) = best(&gains, None);
            let sum: f64 = names.iter().enumerate().filter_map(|(i, n)| gains[i][(*n)?]).sum();
            prop_assert!((gain - every(&gains, &mut Vec::new())).abs() < 1e-9);
            prop_assert!((gain - sum).abs() < 1e-9);
        }
    }
}

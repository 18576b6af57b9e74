//! Which dot is which landmark: the names of all dots together, as they fit best.

use std::f64::consts::TAU;

use nalgebra::{Matrix2, Vector2};

use super::Expected;
use super::dots::Dot;
use crate::body::Landmark;
use crate::estimate::Estimate;

/// False dots, prints and buttons, in a square metre around the landmarks. A guess: ten.
const FALSE_PER_MM2: f64 = 10e-6;
/// Twice the logarithm of how much likelier a name must be than the next best: ten times.
const MARGIN: f64 = 4.6;
/// Squared distance beyond which no dot is the landmark's, in units of the errors: once in a
/// thousand times.
const FARTHEST: f64 = 13.8;
/// Dots of a set have one hue within this angle (radians, 25°), and one diameter within this part
/// beside the error of both.
const HUE: f64 = 25.0 / 360.0 * TAU;
const SIZE: f64 = 0.2;
/// More dots than anyone wears: a print.
const MOST: usize = 24;

/// The dots that have a name. All are of one colour and one size; a set is taken only where it
/// has at least two named dots, or a known diameter, and no more dots without a name than with.
pub(super) fn name(
    dots: &[Dot],
    expected: &[Expected],
    mm_per_px: f64,
    diameter_mm: Option<f64>,
) -> Vec<(Dot, Landmark)> {
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
        .map(|(dot, place)| (best.dots[dot], expected[place].landmark))
        .collect()
}

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
    let off = Vector2::new(dot.at.x - place.at.x, dot.at.y - place.at.y);
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

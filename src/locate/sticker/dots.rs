//! Round, saturated dots in a photo, with centres to parts of a pixel.

use std::f64::consts::{PI, TAU};

use image::{GrayImage, Luma, RgbImage};
use imageproc::integral_image::{integral_image, sum_image_pixels};
use imageproc::region_labelling::{Connectivity, connected_components};
use nalgebra::{Matrix2, Matrix5, Vector2, Vector5};

use super::{Expected, wanted_scale};
use crate::estimate::Estimate;
use crate::geometry::{self, Angle, Crop, Map, Point};
use crate::photo::Photo;

/// A dot in the photo; lengths in photo pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Dot {
    pub at: Point<geometry::Photo>,
    pub centre_sigma: f64,
    pub diameter: Estimate,
    /// Minor over major axis.
    pub flatness: f64,
    pub chroma: Chroma,
}

/// Colour without brightness: how far a pixel is from grey, and towards which hue.
pub(super) type Chroma = Vector2<f64>;

/// Dots of 8 to 20 mm are looked for, mm, with room for what a person's distance and stature do.
const DIAMETERS: [f64; 2] = [6.0, 25.0];
/// Minor over major axis of a dot seen at 75° from straight ahead.
const FLATTEST: f64 = 0.26;
/// So many sigmas around the expected place are searched, and so much more for what is around a
/// dot there, mm.
const SIGMAS: f64 = 3.8;
const AROUND: f64 = 30.0;
/// Half the side of the square whose mean colour is what a pixel stands out from, mm.
const BACKGROUND: f64 = 20.0;
/// A pixel is of a dot when its chroma (grey levels) differs from the background's by this much,
/// and is this much, and this part of its brightness.
const LEAST_CONTRAST: f64 = 35.0;
const LEAST_CHROMA: f64 = 40.0;
const LEAST_PART: f64 = 0.3;
/// The same for the dot as a whole, in its middle.
const DOT_CONTRAST: f64 = 60.0;
const DOT_PART: f64 = 0.4;
/// Pixels that a dot must have at least, and the least width in pixels from which an ellipse is
/// fitted to its edge. The centre and axes of a narrower one are those of its weighted moments.
const LEAST_PIXELS: usize = 4;
const EDGE_FITTED: f64 = 6.0;
/// Part of the ring around a dot that may have the dot's colour.
const MOST_RING: f64 = 0.1;
/// Rays along which an edge is looked for; how far their edges may lie from the ellipse, in parts
/// of its smaller half-axis and in pixels.
const RAYS: usize = 36;
const MOST_ROUGH: f64 = 0.04;
const MOST_ROUGH_PX: f64 = 0.4;
/// What blur adds to a dot's second moment at least, pixels squared.
const BLUR: f64 = 0.3;
/// Errors of centre and diameter in crop pixels, and of the diameter in parts of it: measured on
/// drawn dots, with noise, blur and JPEG.
const CENTRE_SIGMA: f64 = 0.15;
const DIAMETER_SIGMA: (f64, f64) = (0.5, 0.05);

/// The dots around the expected places.
pub(super) fn find(photo: &Photo, expected: &[Expected], mm_per_px: f64) -> Vec<Dot> {
    let mut scale = wanted_scale(mm_per_px);
    // No finer than the photo is held.
    while !photo.has_detail(scale) {
        scale *= 2.0;
    }
    let mut dots: Vec<Dot> = Vec::new();
    for place in expected {
        let reach = SIGMAS * longest(&place.covariance) + AROUND / mm_per_px;
        let size = (2.0 * reach / scale).ceil();
        // On the grid of the copy that is looked at, so that its pixels are taken as they are.
        let corner = |at: f64| ((at - reach) / scale).floor() * scale;
        let half = size * scale / 2.0;
        let centre = Point::new(corner(place.at.x) + half, corner(place.at.y) + half);
        let map =
            Map::<Crop, geometry::Photo>::square(size, centre, size * scale, Angle::ZERO, false);
        let Some(map) = map.filter(|_| size <= MOST_SIDE) else {
            continue;
        };
        let crop = photo.crop(&map, size as u32);
        for dot in in_picture(&crop, mm_per_px * scale) {
            let dot = Dot {
                at: map.apply(Point::new(dot.centre.x, dot.centre.y)),
                centre_sigma: CENTRE_SIGMA * scale,
                diameter: Estimate::new(
                    dot.diameter * scale,
                    (DIAMETER_SIGMA.0 + DIAMETER_SIGMA.1 * dot.diameter) * scale,
                ),
                flatness: dot.flatness,
                chroma: dot.chroma,
            };
            // Squares overlap.
            let known = |other: &Dot| other.at.distance(dot.at) < 0.4 * dot.diameter.value;
            if !dots.iter().any(known) {
                dots.push(dot);
            }
        }
    }
    dots
}

/// A place is never so unsure that a larger square would have to be searched, crop pixels.
const MOST_SIDE: f64 = 600.0;

fn longest(covariance: &Matrix2<f64>) -> f64 {
    covariance.symmetric_eigenvalues().max().max(0.0).sqrt()
}

/// A dot in a crop, crop pixels.
#[derive(Clone, Copy, Debug)]
struct Seen {
    centre: Vector2<f64>,
    diameter: f64,
    flatness: f64,
    area: f64,
    chroma: Chroma,
}

/// The place of a colour on the hexagon of hues, and how far out; linear in the colour.
fn chroma([r, g, b]: [f64; 3]) -> Chroma {
    Chroma::new(r - (g + b) / 2.0, (g - b) * 3f64.sqrt() / 2.0)
}

/// A crop as chroma.
struct Field {
    width: i32,
    height: i32,
    chroma: Vec<Chroma>,
}

impl Field {
    fn of(picture: &RgbImage) -> Field {
        Field {
            width: picture.width() as i32,
            height: picture.height() as i32,
            chroma: picture
                .pixels()
                .map(|pixel| chroma(pixel.0.map(f64::from)))
                .collect(),
        }
    }

    fn at(&self, x: i32, y: i32) -> Option<Chroma> {
        ((0..self.width).contains(&x) && (0..self.height).contains(&y))
            .then(|| self.chroma[(y * self.width + x) as usize])
    }

    /// Between the pixels; beyond the crop that of its edge.
    fn between(&self, at: Vector2<f64>) -> Chroma {
        let (x, y) = (at.x - 0.5, at.y - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let pixel = |x: f64, y: f64| {
            let x = (x as i32).clamp(0, self.width - 1);
            let y = (y as i32).clamp(0, self.height - 1);
            self.chroma[(y * self.width + x) as usize]
        };
        let (along, down) = (x - left, y - top);
        let upper = pixel(left, top).lerp(&pixel(left + 1.0, top), along);
        let lower = pixel(left, top + 1.0).lerp(&pixel(left + 1.0, top + 1.0), along);
        upper.lerp(&lower, down)
    }

    /// Pixels whose centres lie between two distances from a place.
    fn ring(&self, centre: Vector2<f64>, from: f64, to: f64) -> Vec<(Vector2<f64>, Chroma)> {
        let (x0, x1) = (
            (centre.x - to).floor() as i32,
            (centre.x + to).ceil() as i32,
        );
        let (y0, y1) = (
            (centre.y - to).floor() as i32,
            (centre.y + to).ceil() as i32,
        );
        (y0..=y1)
            .flat_map(|y| (x0..=x1).map(move |x| (x, y)))
            .filter_map(|(x, y)| {
                let place = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                let away = (place - centre).norm();
                let chroma = self.at(x, y).filter(|_| away >= from && away <= to)?;
                Some((place, chroma))
            })
            .collect()
    }
}

fn in_picture(picture: &RgbImage, mm_per_px: f64) -> Vec<Seen> {
    let field = Field::of(picture);
    // Hues in quarters, and again with the bounds between: a dot lies within one or the other.
    let mut all: Vec<Seen> = [0.0, 0.5]
        .into_iter()
        .flat_map(|shift| blobs(&quarters(picture, &field, mm_per_px, shift), mm_per_px))
        .filter_map(|blob| {
            let first = measured(&field, picture, &blob, mm_per_px)?;
            // Again about its own middle: bounds of hue may have cut the blob.
            let whole = Blob {
                centre: first.centre,
                reach: first.diameter / 2.0 + 0.75,
            };
            measured(&field, picture, &whole, mm_per_px)
        })
        .collect();
    // Where bounds of hue cut one, the whole dot is the largest of its pieces.
    all.sort_by(|a, b| b.area.total_cmp(&a.area));
    let mut seen: Vec<Seen> = Vec::new();
    for dot in all {
        let known = |other: &Seen| (other.centre - dot.centre).norm() < 0.6 * other.diameter;
        if !seen.iter().any(known) {
            seen.push(dot);
        }
    }
    seen
}

/// For each pixel that stands out, from 1 to 4 by the hue that it has more of than what is around.
fn quarters(picture: &RgbImage, field: &Field, mm_per_px: f64, shift: f64) -> GrayImage {
    let sums = integral_image::<_, u32>(picture);
    let (width, height) = picture.dimensions();
    let reach = (BACKGROUND / mm_per_px).ceil() as u32;
    GrayImage::from_fn(width, height, |x, y| {
        let own = field.chroma[(y * width + x) as usize];
        let brightness = picture.get_pixel(x, y).0.into_iter().max().unwrap_or(0);
        if own.norm() < LEAST_CHROMA.max(LEAST_PART * f64::from(brightness)) {
            return Luma([0]);
        }
        let (left, top) = (x.saturating_sub(reach), y.saturating_sub(reach));
        let (right, bottom) = ((x + reach).min(width - 1), (y + reach).min(height - 1));
        let sum = sum_image_pixels(&sums, left, top, right, bottom);
        let count = f64::from((right - left + 1) * (bottom - top + 1));
        let off = own - chroma(sum.map(|channel| f64::from(channel) / count));
        if off.norm() < LEAST_CONTRAST {
            return Luma([0]);
        }
        let turn = off.y.atan2(off.x).rem_euclid(TAU) / TAU * 4.0 + shift;
        Luma([1 + (turn.floor() as i64).rem_euclid(4) as u8])
    })
}

/// Middle and extent of the pixels that hang together, of those that are no larger than a dot and
/// lie within the picture.
struct Blob {
    centre: Vector2<f64>,
    reach: f64,
}

fn blobs(labels: &GrayImage, mm_per_px: f64) -> Vec<Blob> {
    // The library has room for as many components as there are pixels, less one: a picture in which
    // every pixel is one by itself takes a row more.
    let mut roomy = GrayImage::new(labels.width(), labels.height() + 1);
    image::imageops::replace(&mut roomy, labels, 0, 0);
    let components = connected_components(&roomy, Connectivity::Eight, Luma([0]));
    let count = components.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
    let mut members: Vec<Vec<Vector2<f64>>> = vec![Vec::new(); count + 1];
    for (x, y, component) in components.enumerate_pixels() {
        if component.0[0] > 0 {
            members[component.0[0] as usize]
                .push(Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5));
        }
    }
    let most_reach = DIAMETERS[1] / mm_per_px / 2.0 + 3.0;
    let (width, height) = (f64::from(labels.width()), f64::from(labels.height()));
    members
        .into_iter()
        .filter(|pixels| pixels.len() >= LEAST_PIXELS)
        .filter_map(|pixels| {
            let centre = pixels.iter().sum::<Vector2<f64>>() / pixels.len() as f64;
            let reach = pixels
                .iter()
                .map(|pixel| (pixel - centre).norm())
                .fold(0.0, f64::max)
                + 0.5;
            let inside = pixels
                .iter()
                .all(|p| p.x > 1.0 && p.y > 1.0 && p.x < width - 1.0 && p.y < height - 1.0);
            (inside && reach <= most_reach).then_some(Blob { centre, reach })
        })
        .collect()
}

/// A blob as a dot, if it is one: evenly coloured, alone in its colour, an ellipse of a dot's size.
fn measured(field: &Field, picture: &RgbImage, blob: &Blob, mm_per_px: f64) -> Option<Seen> {
    let outer = blob.reach + 1.5;
    let ring = field.ring(blob.centre, outer, outer + (8.0 / mm_per_px).max(2.5));
    let around = median(ring.iter().map(|(_, chroma)| *chroma))?;
    let inner = field.ring(blob.centre, 0.0, outer);
    // The quarter that differs most, which blur has left nearly as it is.
    let mut by_contrast: Vec<Vector2<f64>> =
        inner.iter().map(|(_, chroma)| chroma - around).collect();
    by_contrast.sort_by(|a, b| b.norm_squared().total_cmp(&a.norm_squared()));
    let core = PI * blob.reach.powi(2) / 6.0;
    let core = (core.ceil() as usize).clamp(1, by_contrast.len());
    let contrast = median(by_contrast[..core].iter().copied())?;
    let middle = picture.get_pixel(
        (blob.centre.x as u32).min(picture.width() - 1),
        (blob.centre.y as u32).min(picture.height() - 1),
    );
    let brightness = f64::from(middle.0.into_iter().max().unwrap_or(0));
    let own = contrast + around;
    if contrast.norm() < DOT_CONTRAST || own.norm() < DOT_PART * brightness {
        return None;
    }
    let part = |chroma: Chroma| (chroma - around).dot(&contrast) / contrast.norm_squared();
    let alike = ring
        .iter()
        .filter(|(_, chroma)| part(*chroma) > 0.5)
        .count();
    if alike as f64 > MOST_RING * ring.len() as f64 {
        return None;
    }
    // What noise leaves of the background counts as none.
    let weights: Vec<(Vector2<f64>, f64)> = inner
        .iter()
        .map(|(place, chroma)| (*place, part(*chroma)))
        .filter(|(_, part)| *part > 0.15)
        .map(|(place, part)| (place, part.min(1.0)))
        .collect();
    let area: f64 = weights.iter().map(|(_, weight)| weight).sum();
    if area < LEAST_PIXELS as f64 {
        return None;
    }
    let centre = weights.iter().map(|(p, w)| p * *w).sum::<Vector2<f64>>() / area;
    let spread = weights
        .iter()
        .map(|(p, w)| (p - centre) * (p - centre).transpose() * *w)
        .sum::<Matrix2<f64>>()
        / area;
    let moments = spread.symmetric_eigenvalues();
    let axes = [moments.max(), moments.min()].map(|moment| (moment - BLUR).max(0.02).sqrt());
    let of_area = area / (4.0 * PI * axes[0] * axes[1]);
    let flatness = axes[1] / axes[0];
    let half = (area / (PI * flatness)).sqrt();
    let (centre, half, flatness) = if 2.0 * half * flatness >= EDGE_FITTED {
        let ellipse = Ellipse::fit(&edge(field, centre, outer, part)?)?;
        let small = ellipse.axes[1];
        if ellipse.rough > (MOST_ROUGH * small).max(MOST_ROUGH_PX) {
            return None;
        }
        (ellipse.centre, ellipse.axes[0], small / ellipse.axes[0])
    } else {
        if !(0.6..=1.6).contains(&of_area) {
            return None;
        }
        (centre, half, flatness)
    };
    let right_size =
        (DIAMETERS[0] - 0.7 * mm_per_px..=DIAMETERS[1]).contains(&(2.0 * half * mm_per_px));
    let in_blob = (centre - blob.centre).norm() <= blob.reach;
    (right_size && flatness >= FLATTEST && in_blob).then_some(Seen {
        centre,
        diameter: 2.0 * half,
        flatness,
        area,
        chroma: own,
    })
}

/// The middle in each direction of the chroma plane.
fn median(all: impl Iterator<Item = Chroma>) -> Option<Chroma> {
    let (mut x, mut y): (Vec<f64>, Vec<f64>) = all.map(|chroma| (chroma.x, chroma.y)).unzip();
    let middle = |values: &mut Vec<f64>| {
        let at = values.len() / 2;
        (!values.is_empty()).then(|| *values.select_nth_unstable_by(at, f64::total_cmp).1)
    };
    Some(Chroma::new(middle(&mut x)?, middle(&mut y)?))
}

/// Where the dot's colour falls to a half along rays from its middle; `None` when it does not
/// along some of them.
fn edge(
    field: &Field,
    centre: Vector2<f64>,
    reach: f64,
    part: impl Fn(Chroma) -> f64,
) -> Option<Vec<Vector2<f64>>> {
    const STEP: f64 = 0.25;
    (0..RAYS)
        .map(|ray| {
            let (sin, cos) = (ray as f64 / RAYS as f64 * TAU).sin_cos();
            let along = |away: f64| centre + Vector2::new(cos, sin) * away;
            let at = |away: f64| part(field.between(along(away)));
            let steps = ((reach + 1.0) / STEP).ceil() as usize;
            let mut before = at(0.0);
            for step in 1..=steps {
                let away = step as f64 * STEP;
                let now = at(away);
                if before >= 0.5 && now < 0.5 {
                    return Some(along(away - STEP * (0.5 - now) / (before - now)));
                }
                before = now;
            }
            None
        })
        .collect()
}

/// An ellipse through edge points.
struct Ellipse {
    centre: Vector2<f64>,
    /// Half-axes, the longer first.
    axes: [f64; 2],
    /// Root mean square distance of the points from it.
    rough: f64,
}

impl Ellipse {
    /// The conic `a x² + b xy + c y² + d x + e y = 1` of least squares, if it is an ellipse. About
    /// their mean and at their size the points make that well-posed.
    fn fit(points: &[Vector2<f64>]) -> Option<Ellipse> {
        let mean = points.iter().sum::<Vector2<f64>>() / points.len() as f64;
        let size = (points
            .iter()
            .map(|p| (p - mean).norm_squared())
            .sum::<f64>()
            / points.len() as f64)
            .sqrt();
        if size < 1e-6 {
            return None;
        }
        let (mut normal, mut right) = (Matrix5::zeros(), Vector5::zeros());
        for point in points {
            let p = (point - mean) / size;
            let row = Vector5::new(p.x * p.x, p.x * p.y, p.y * p.y, p.x, p.y);
            normal += row * row.transpose();
            right += row;
        }
        let conic = normal.cholesky()?.solve(&right);
        let form = Matrix2::new(conic[0], conic[1] / 2.0, conic[1] / 2.0, conic[2]);
        let linear = Vector2::new(conic[3], conic[4]);
        let centre = form.try_inverse()? * linear * -0.5;
        let level = 1.0 + centre.dot(&(form * centre));
        let eigen = (form / level).symmetric_eigen();
        if eigen.eigenvalues.min() <= 0.0 {
            return None;
        }
        let axes =
            [eigen.eigenvalues.min(), eigen.eigenvalues.max()].map(|value| size / value.sqrt());
        let off = |point: &Vector2<f64>| {
            let p = (point - mean) / size - centre;
            let stretch = p.dot(&(form / level * p)).max(0.0).sqrt();
            // To first order along the ray from the centre.
            p.norm() * size * (1.0 - 1.0 / stretch.max(1e-9))
        };
        let rough =
            (points.iter().map(|p| off(p).powi(2)).sum::<f64>() / points.len() as f64).sqrt();
        Some(Ellipse {
            centre: centre * size + mean,
            axes,
            rough,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawn::*;
    use super::*;
    use proptest::prelude::*;

    const GROUNDS: [[f64; 3]; 5] = [PALE_SKIN, DARK_SKIN, GREY_CLOTH, NAVY_CLOTH, WOOD];
    const COLOURS: [[f64; 3]; 4] = [RED, GREEN, BLUE, YELLOW];

    /// What came of many drawn dots of one width.
    struct Found {
        /// Parts of them found, and pictures with another thing taken for a dot.
        part: f64,
        false_dots: usize,
        /// Root mean square errors of the centre along an axis, and of the diameter; pixels.
        centre: f64,
        diameter: f64,
    }

    fn drawn_and_found(diameter: f64, oblique_deg: f64) -> Found {
        let mut dice = Dice(7);
        let mm_per_px = 12.0 / diameter;
        let side = (60.0 / mm_per_px).max(48.0);
        let (mut hits, mut tries, mut false_dots) = (0.0, 0.0, 0);
        let (mut squares, mut wide) = (0.0, 0.0);
        for ground in GROUNDS {
            for colour in COLOURS {
                for _ in 0..10 {
                    let middle = Vector2::new(
                        side / 2.0 + dice.between(-2.0, 2.0),
                        side / 2.0 + dice.between(-2.0, 2.0),
                    );
                    let dot = Drawn {
                        at: middle,
                        half_axes: [
                            diameter / 2.0,
                            diameter / 2.0 * oblique_deg.to_radians().cos(),
                        ],
                        turn: dice.between(0.0, PI),
                        colour,
                    };
                    let size = (side as u32, side as u32);
                    let faults = (dice.between(0.5, 1.0), 4.0);
                    let picture = picture(size, |_, _| ground, &[dot], faults, &mut dice);
                    let seen = in_picture(&through_jpeg(&picture), mm_per_px);
                    tries += 1.0;
                    let hit = seen
                        .iter()
                        .find(|seen| (seen.centre - middle).norm() < diameter / 2.0);
                    false_dots += seen.len() - usize::from(hit.is_some());
                    if let Some(hit) = hit {
                        hits += 1.0;
                        squares += (hit.centre - middle).norm_squared() / 2.0;
                        wide += (hit.diameter - diameter).powi(2);
                    }
                }
            }
        }
        Found {
            part: hits / tries,
            false_dots,
            centre: (squares / hits).sqrt(),
            diameter: (wide / hits).sqrt(),
        }
    }

    /// From six pixels across on, or eight at 60°, a dot is found.
    #[test]
    fn dots_are_found_and_their_centres_read_as_well_as_stated() {
        for (diameter, oblique, least) in [
            (4.0, 0.0, 0.95),
            (6.0, 0.0, 0.99),
            (6.0, 45.0, 0.99),
            (8.0, 60.0, 0.95),
            (8.0, 70.0, 0.9),
            (12.0, 0.0, 0.99),
            (20.0, 60.0, 0.99),
        ] {
            let found = drawn_and_found(diameter, oblique);
            let said = format!(
                "{diameter} px at {oblique}°: found {:.2}, centre {:.3} px, diameter {:.2} px",
                found.part, found.centre, found.diameter
            );
            println!("{said}");
            assert!(found.part >= least, "{said}");
            assert_eq!(found.false_dots, 0, "{said}");
            assert!(found.centre <= CENTRE_SIGMA, "{said}");
            let stated = DIAMETER_SIGMA.0 + DIAMETER_SIGMA.1 * diameter;
            assert!(found.diameter <= stated, "{said}");
        }
    }

    #[test]
    fn what_is_no_dot_is_not_taken_for_one() {
        const MM_PER_PX: f64 = 1.5;
        let mut dice = Dice(3);
        let stripe = |x: f64, _: f64| {
            if (36.0..44.0).contains(&x) {
                RED
            } else {
                GREY_CLOTH
            }
        };
        let shirt = |x: f64, y: f64| if x + 0.5 * y < 60.0 { BLUE } else { PALE_SKIN };
        let square = |x: f64, y: f64| {
            let inside = (34.0..44.0).contains(&x) && (30.0..40.0).contains(&y);
            if inside { RED } else { PALE_SKIN }
        };
        type Ground<'a> = &'a dyn Fn(f64, f64) -> [f64; 3];
        let grounds: [Ground; 3] = [&stripe, &shirt, &square];
        for (index, ground) in grounds.into_iter().enumerate() {
            let drawn = picture((80, 80), ground, &[], (0.7, 4.0), &mut dice);
            assert_eq!(
                in_picture(&through_jpeg(&drawn), MM_PER_PX).len(),
                0,
                "ground {index}"
            );
        }
        // A pale button, one of skin's own hue, and a large print.
        for (diameter, colour) in [
            (8.0, [236.0, 230.0, 220.0]),
            (8.0, [196.0, 150.0, 124.0]),
            (30.0, RED),
        ] {
            let button = Drawn::round(40.0, 40.0, diameter, colour);
            let drawn = picture((80, 80), |_, _| PALE_SKIN, &[button], (0.7, 4.0), &mut dice);
            assert_eq!(
                in_picture(&through_jpeg(&drawn), MM_PER_PX).len(),
                0,
                "{colour:?}"
            );
        }
    }

    #[test]
    fn a_picture_in_which_no_two_pixels_hang_together_has_no_dots() {
        for (width, height) in [(1, 2), (2, 2), (7, 5), (1, 1)] {
            let labels = GrayImage::from_fn(width, height, |x, y| {
                Luma([1 + (x % 2) as u8 + 2 * (y % 2) as u8])
            });
            assert_eq!(blobs(&labels, 1.0).len(), 0);
        }
    }

    proptest! {
        #[test]
        fn any_picture_is_searched_without_a_panic(
            seed in any::<u64>(),
            width in 1u32..80,
            height in 1u32..80,
            mm_per_px in 0.2f64..8.0,
            coarse in 1u32..9,
        ) {
            let picture = RgbImage::from_fn(width, height, |x, y| {
                let cell = u64::from(x / coarse) * 7919 + u64::from(y / coarse);
                let mut dice = Dice(seed.wrapping_add(cell.wrapping_mul(0x9e37_79b9_7f4a_7c15)));
                dice.even();
                image::Rgb(std::array::from_fn(|_| (dice.even() * 255.0) as u8))
            });
            for seen in in_picture(&picture, mm_per_px) {
                prop_assert!(seen.centre.iter().all(|v| v.is_finite()));
                prop_assert!(seen.diameter.is_finite() && seen.diameter > 0.0);
            }
        }
    }
}

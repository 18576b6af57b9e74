//! Where the edges of the tags lie in the photo, to a fraction of a pixel.
//!
//! Light is added up by lens and sensor before the camera bends its grey levels, so edges are
//! looked for in linear light: in the file's own levels every black square would look smaller.

use std::sync::LazyLock;

use image::RgbImage;

use super::homography::Homography;
use super::layout::{Corners, Face, IDS, MODULE, MODULES, Pattern, TAG, tag};
use crate::geometry::{Crop, Point, Vector};

/// A piece of an edge, one square long, as it was measured.
#[derive(Clone, Copy, Debug)]
pub struct Piece {
    /// Its middle on the board.
    pub face: Point<Face>,
    /// Where its edge was seen.
    pub at: Point<Crop>,
    /// From black to white, of length one.
    pub outward: Vector<Crop>,
    /// Spread of the edge across, one sigma, pixels.
    pub blur: f64,
}

/// Linear light of a grey level of sRGB (IEC 61966-2-1).
static LIGHT: LazyLock<[f64; 256]> = LazyLock::new(|| {
    std::array::from_fn(|level| {
        let level = level as f64 / 255.0;
        if level <= 0.04045 {
            level / 12.92
        } else {
            ((level + 0.055) / 1.055).powf(2.4)
        }
    })
});

/// Linear light at a place of the picture; `None` outside of it.
fn light(picture: &RgbImage, at: Point<Crop>) -> Option<f64> {
    let (x, y) = (at.x - 0.5, at.y - 0.5);
    let inside = |value: f64, size: u32| value >= 0.0 && value <= f64::from(size) - 1.0;
    if !inside(x, picture.width()) || !inside(y, picture.height()) {
        return None;
    }
    let of = |x: u32, y: u32| {
        let [r, g, b] = picture
            .get_pixel(x.min(picture.width() - 1), y.min(picture.height() - 1))
            .0
            .map(|level| LIGHT[usize::from(level)]);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (left, top) = (x.floor(), y.floor());
    let (right, below) = (x - left, y - top);
    let (left, top) = (left as u32, top as u32);
    let row = |y| of(left, y) * (1.0 - right) + of(left + 1, y) * right;
    Some(row(top) * (1.0 - below) + row(top + 1) * below)
}

/// Measures the tags' edges around where a first map expects them. Only pieces with a black square
/// behind the black border count: where the next square is white, the two edges blur into each
/// other.
pub fn measure(
    picture: &RgbImage,
    picture_from_face: &Homography<Crop>,
    patterns: &[Pattern; IDS.len()],
) -> Vec<Piece> {
    clear(patterns)
        .filter_map(|(index, side, square)| {
            piece(picture, picture_from_face, &tag(index), side, square)
        })
        .collect()
}

/// How many pieces a board has that is seen well.
pub fn count(patterns: &[Pattern; IDS.len()]) -> usize {
    clear(patterns).count()
}

/// The pieces that count: tag, side and square.
fn clear(patterns: &[Pattern; IDS.len()]) -> impl Iterator<Item = (usize, usize, usize)> {
    patterns.iter().enumerate().flat_map(|(index, pattern)| {
        (0..4)
            .flat_map(|side| (1..MODULES - 1).map(move |square| (side, square)))
            .filter(|(side, square)| !inner(pattern, *side, *square))
            .map(move |(side, square)| (index, side, square))
    })
}

/// Whether the square behind the border is white; sides and squares go clockwise from the top left.
fn inner(pattern: &Pattern, side: usize, square: usize) -> bool {
    let last = MODULES - 1;
    match side {
        0 => pattern[1][square],
        1 => pattern[square][last - 1],
        2 => pattern[last - 1][last - square],
        _ => pattern[last - square][1],
    }
}

fn piece(
    picture: &RgbImage,
    picture_from_face: &Homography<Crop>,
    corners: &Corners<Face>,
    side: usize,
    square: usize,
) -> Option<Piece> {
    let (from, to) = (corners[side], corners[(side + 1) % 4]);
    let along = (to - from) * TAG.recip();
    let outward = Vector::new(-along.y, along.x);
    let face = from + along * ((square as f64 + 0.5) * MODULE);
    let middle = picture_from_face.apply(face)?;
    let seen = |step: Vector<Face>| Some(picture_from_face.apply(face + step)? - middle);
    let along_edge = seen(along * (MODULE / 2.0))?;
    let across = seen(outward * (MODULE / 2.0))?;
    // Across the edge as it lies in the picture, not as the board's own square lies there.
    let length = along_edge.length();
    let normal = Vector::new(along_edge.y, -along_edge.x) * length.recip();
    let half_square = across.dot(normal).abs();
    let normal = if across.dot(normal) < 0.0 {
        -normal
    } else {
        normal
    };
    // Up to the middles of the squares on both sides, and a little beyond.
    let reach = (1.2 * half_square).min(6.0);
    if !(reach >= 1.0 && length >= 1.0) {
        return None;
    }
    let rows = (2.0 * length * 0.8).ceil().clamp(2.0, 40.0) as usize;
    let steps = (reach * 8.0).ceil() as usize;
    let mut profile = vec![0.0; 2 * steps + 1];
    for row in 0..rows {
        let shift = 0.8 * ((row as f64 + 0.5) / rows as f64 * 2.0 - 1.0);
        for (index, sum) in profile.iter_mut().enumerate() {
            let off = reach * (index as f64 / steps as f64 - 1.0);
            *sum += light(picture, middle + along_edge * shift + normal * off)?;
        }
    }
    let (off, blur) = edge(&profile, reach)?;
    Some(Piece {
        face,
        at: middle + normal * off,
        outward: normal,
        blur,
    })
}

/// Where a profile steps from dark to light, and how gradually: a step that goes on for as long on
/// both sides as the profile lies at its ends has the profile's area.
fn edge(profile: &[f64], reach: f64) -> Option<(f64, f64)> {
    let ends = (profile.len() / 8).max(1);
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let dark = mean(&profile[..ends]);
    let light = mean(&profile[profile.len() - ends..]);
    if light - dark < 0.02 || light < 1.5 * dark {
        return None;
    }
    let step = 2.0 * reach / (profile.len() - 1) as f64;
    let part = |value: f64| (value - dark) / (light - dark);
    let area: f64 = profile
        .windows(2)
        .map(|pair| step * (part(pair[0]) + part(pair[1])) / 2.0)
        .sum();
    let off = reach - area;
    // The steepest rise of an edge that is blurred by a bell of one sigma is 1 / (σ √2π).
    let steepest = profile
        .windows(3)
        .map(|three| (part(three[2]) - part(three[0])) / (2.0 * step))
        .fold(0.0, f64::max);
    let blur = (steepest * (2.0 * std::f64::consts::PI).sqrt()).recip();
    (off.abs() < reach / 2.0 && blur.is_finite()).then_some((off, blur))
}

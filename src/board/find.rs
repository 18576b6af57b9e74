//! The board in a photo.

use image::imageops::{self, grayscale};
use image::{GrayImage, RgbImage};
use kornia_apriltag::errors::AprilTagError;
use kornia_apriltag::family::TagFamilyKind;
use kornia_apriltag::{AprilTagDecoder, DecodeTagsConfig};
use kornia_image::{Image, ImageSize};
use nalgebra::{DVector, SMatrix, SVector};

use super::edges::{self, Piece};
use super::homography::{Homography, pixels, unknowns};
use super::layout::{self, Corners, Face, GAP, HEIGHT, IDS, MODULE, WIDTH};
use super::solve::{Solved, least_squares};
use crate::geometry::{self, Crop, Map, Point, Vector};
use crate::photo::Photo;

/// A whole, flat board.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundBoard {
    /// Corners of all that is black, as one looks at the board: top left, then clockwise.
    pub outline: Corners<geometry::Photo>,
    /// Of their x and y in turn, square pixels.
    pub covariance: SMatrix<f64, 8, 8>,
}

/// Why a board that is in the photo is not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    #[error("the board is bent; glue or clip it to something stiff and flat")]
    Bent,
    #[error("the board reaches beyond the photo; have all of it in the picture")]
    CutOff,
    #[error("a part of the board is hidden; keep fingers, cloth and glare off the black squares")]
    Covered,
    #[error("the board is blurred; hold camera and board still, and let there be more light")]
    Blurred,
    #[error("the photo is mirrored; turn off the camera's mirroring")]
    Mirrored,
    #[error("the board is too small in the photo; come closer or take a larger picture")]
    TooSmall,
    #[error("there are two boards in the photo; leave only the one beside the person")]
    Several,
    #[error("the board hangs on its side or upside down; hang it by the edge marked TOP")]
    NotUpright,
}

/// Longer side of the picture in which the tags are looked for, pixels; their edges are then
/// measured in the most detailed one.
const LONG_SIDE: u32 = 2048;
/// That of the picture in which a mirrored board is looked for, which is seldom there: enough for
/// one that a person who fills the photo stands beside.
const MIRROR_LONG_SIDE: u32 = 700;
/// In a picture with a longer side than this, squares are looked for in every other pixel, which
/// takes a quarter of the time, and read in all.
const EVERY_OTHER: u32 = 1600;
/// The library finds corners to within a pixel of that picture; one that is farther off the plane of
/// the others is not in it.
const OFF_PLANE: f64 = 2.0;
/// Below so many pixels, a square of a tag is not told from its neighbours for certain.
const SMALLEST_SQUARE: f64 = 2.6;

/// A point of the board, and where it was seen.
type Pair = (Point<Face>, Point<Crop>);

/// Looks for the board: none, a whole and flat one, or why the one that is there is of no use.
pub fn find(photo: &Photo) -> Result<Option<FoundBoard>, Refusal> {
    let (picture, photo_from_picture) = photo.at_most(LONG_SIDE);
    let seen = tags(grayscale(picture)).unwrap_or_default();
    if seen.is_empty() {
        let (small, _) = photo.at_most(MIRROR_LONG_SIDE);
        let mirrored = tags(imageops::flip_horizontal(&grayscale(small))).unwrap_or_default();
        return if mirrored.is_empty() {
            Ok(None)
        } else {
            Err(Refusal::Mirrored)
        };
    }
    let pairs = whole(&seen, picture)?;
    let rough = Homography::fit(&pairs).ok_or(Refusal::Covered)?;
    if !is_upright(&rough) {
        return Err(Refusal::NotUpright);
    }
    let off = |(face, at): &Pair| rough.apply(*face).map(|flat| flat.distance(*at));
    if pairs
        .iter()
        .any(|pair| off(pair).is_none_or(|off| off > OFF_PLANE))
    {
        return Err(Refusal::Bent);
    }
    let (detailed, photo_from_detailed) = photo.at_most(u32::MAX);
    let detailed_from_photo = photo_from_detailed.inverse();
    let outline = rough.outline().ok_or(Refusal::Covered)?;
    let outline = outline.map(|at| detailed_from_photo.apply(photo_from_picture.apply(at)));
    let rough = Homography::of_outline(&outline).ok_or(Refusal::Covered)?;
    refined(detailed, &photo_from_detailed, rough).map(Some)
}

/// Whether the board's upper edge is above the lower one, leaning by less than half a right angle.
fn is_upright(map: &Homography<Crop>) -> bool {
    map.outline().is_some_and(|[a, b, c, d]| {
        let up = a.midpoint(b) - c.midpoint(d);
        -up.y > up.x.abs()
    })
}

/// The tags' corners on the board and in the picture, when each tag is there once.
fn whole(seen: &[Tag], picture: &RgbImage) -> Result<Vec<Pair>, Refusal> {
    let of = |index: usize| seen.iter().filter(move |tag| tag.index == index);
    if (0..IDS.len()).any(|index| of(index).count() > 1) {
        return Err(Refusal::Several);
    }
    let pairs: Vec<_> = seen
        .iter()
        .flat_map(|tag| layout::tag(tag.index).into_iter().zip(tag.corners))
        .collect();
    if seen.len() == IDS.len() {
        return Ok(pairs);
    }
    // One tag tells where the other should be.
    let map = Homography::fit(&pairs).ok_or(Refusal::Covered)?;
    let inside = |at: Point<Crop>| {
        let within = |value: f64, size: u32| (0.0..=f64::from(size)).contains(&value);
        within(at.x, picture.width()) && within(at.y, picture.height())
    };
    Err(match map.corners(&EXTENT) {
        Some(extent) if extent.into_iter().all(inside) => {
            let pieces = edges::measure(picture, &map, &layout::patterns());
            unclear(&pieces, &map, UNREAD)
        }
        _ => Refusal::CutOff,
    })
}

/// All that is black and the white that a tag needs around it.
const EXTENT: Corners<Face> = {
    let (x, y) = (WIDTH / 2.0 + GAP, HEIGHT / 2.0 + GAP);
    [
        Point::new(-x, y),
        Point::new(x, y),
        Point::new(x, -y),
        Point::new(-x, -y),
    ]
};

/// Noise of a piece of an edge, pixels, at best: what sampling leaves of a sharp, bright board.
const NOISE: f64 = 0.05;
/// What a corner is off besides, pixels, where a square is only so many pixels wide that its edges
/// blur into each other; measured on rendered boards, where it falls off steeply with larger squares.
const COARSE: f64 = 0.09;
const COARSE_SQUARE: f64 = 2.8;
/// How far black spreads beyond its edge, pixels: ink that runs, and cameras that favour dark or
/// light.
const SPREAD_SIGMA: f64 = 0.15;
/// A piece farther off than this many times the usual is something else's edge.
const STRAY: f64 = 5.0;
/// With fewer of the pieces than this part, something lies over the board.
const ENOUGH: f64 = 0.7;
/// Edges that are spread so far, in squares, one sigma.
const BLURRED: f64 = 0.45;
/// The least that may keep a tag from being read.
const UNREAD: f64 = 0.3;
/// A bend is told where it moves the ends of the board by so many millimetres of its face, and not
/// by chance.
const BULGE: f64 = 0.7;
const BENT_RATIO: f64 = 10.0;

/// Unknowns: the outline, how far black spreads, and how a bend moves what is seen.
const SPREAD: usize = 8;
const FLAT: usize = 9;
const CURVED: usize = 12;

/// The outline by all edges of the tags.
fn refined(
    picture: &RgbImage,
    photo_from_picture: &Map<Crop, geometry::Photo>,
    rough: Homography<Crop>,
) -> Result<FoundBoard, Refusal> {
    let patterns = layout::patterns();
    let possible = edges::count(&patterns) as f64;
    let mut map = rough;
    let mut found = None;
    for _ in 0..3 {
        let mut pieces = edges::measure(picture, &map, &patterns);
        drop_strays(&mut pieces, &map);
        if (pieces.len() as f64) < ENOUGH * possible {
            return Err(unclear(&pieces, &map, BLURRED));
        }
        let flat = fit::<FLAT>(&pieces, &map).ok_or(Refusal::Covered)?;
        map = Homography::of_outline(&pixels(flat.at.as_slice())).ok_or(Refusal::Covered)?;
        found = Some((pieces, flat));
    }
    let (pieces, flat) = found.expect("it was measured three times");
    let square = square(&map).ok_or(Refusal::TooSmall)?;
    if square < SMALLEST_SQUARE {
        return Err(Refusal::TooSmall);
    }
    if blur(&pieces) > BLURRED * square {
        return Err(Refusal::Blurred);
    }
    let curved = fit::<CURVED>(&pieces, &map).ok_or(Refusal::Covered)?;
    if is_bent(&flat, &curved, pieces.len(), square) {
        return Err(Refusal::Bent);
    }
    let free = (pieces.len() - FLAT) as f64;
    let scale = photo_from_picture.scale();
    let coarse = COARSE * (COARSE_SQUARE / square).powi(3);
    let covariance = flat.covariance.fixed_view::<8, 8>(0, 0) * (flat.squares / free).max(1.0)
        + SMatrix::identity() * coarse * coarse;
    let outline: Corners<Crop> = pixels(flat.at.as_slice());
    Ok(FoundBoard {
        outline: outline.map(|corner| photo_from_picture.apply(corner)),
        covariance: covariance * scale.powi(2),
    })
}

/// The best outline, and with more unknowns also spread and bend.
fn fit<const N: usize>(pieces: &[Piece], start: &Homography<Crop>) -> Option<Solved<N>> {
    let mut at = SVector::<f64, N>::zeros();
    at.fixed_rows_mut::<8>(0)
        .copy_from(&unknowns(&start.outline()?));
    least_squares(at, &SVector::repeat(1e-2), |at| {
        let map = Homography::of_outline(&pixels(at.as_slice()))?;
        let mut off = Vec::with_capacity(pieces.len() + 1);
        for piece in pieces {
            let bend = match at.as_slice().get(FLAT..) {
                Some([aside, along, down]) => bend(piece.face, *aside, *along, *down),
                _ => Vector::new(0.0, 0.0),
            };
            let expected = map.apply(piece.face)? + bend;
            let off_edge = (piece.at - expected).dot(piece.outward);
            off.push((off_edge - at[SPREAD]) / NOISE);
        }
        off.push(at[SPREAD] / SPREAD_SIGMA);
        Some(DVector::from_vec(off))
    })
}

/// What a bend does to the picture, up to what a flat board in another place would do: pixels at
/// the ends of the face. The terms are those of second order that the tags' edges show.
fn bend(at: Point<Face>, aside: f64, along: f64, down: f64) -> Vector<Crop> {
    let (x, y) = (
        (at.x / (HEIGHT / 2.0)).powi(2),
        (at.y / (HEIGHT / 2.0)).powi(2),
    );
    Vector::new(aside * y, along * x + down * y)
}

fn is_bent(flat: &Solved<FLAT>, curved: &Solved<CURVED>, pieces: usize, square: f64) -> bool {
    let bulge = (FLAT..CURVED)
        .map(|i| curved.at[i].abs())
        .fold(0.0, f64::max);
    let unexplained = curved.squares.max(f64::MIN_POSITIVE) / (pieces - CURVED) as f64;
    let explained = (flat.squares - curved.squares) / (CURVED - FLAT) as f64;
    bulge / square * MODULE > BULGE && explained > BENT_RATIO * unexplained
}

/// Side of a square in the middle of the board, pixels.
fn square(map: &Homography<Crop>) -> Option<f64> {
    Some(MODULE / map.millimetres_per_pixel()?)
}

fn blur(pieces: &[Piece]) -> f64 {
    median(pieces.iter().map(|piece| piece.blur))
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn drop_strays(pieces: &mut Vec<Piece>, map: &Homography<Crop>) {
    let off = |piece: &Piece| {
        map.apply(piece.face).map_or(f64::NAN, |expected| {
            (piece.at - expected).dot(piece.outward)
        })
    };
    let middle = median(pieces.iter().map(off));
    let usual = 1.5 * median(pieces.iter().map(|piece| (off(piece) - middle).abs()));
    let limit = STRAY * usual.max(NOISE);
    pieces.retain(|piece| (off(piece) - middle).abs() <= limit);
}

/// Why a tag or too many edges are not where they should be; `blurred` in squares.
fn unclear(pieces: &[Piece], map: &Homography<Crop>, blurred: f64) -> Refusal {
    match square(map) {
        Some(square) if square < SMALLEST_SQUARE => Refusal::TooSmall,
        Some(square) if blur(pieces) > blurred * square => Refusal::Blurred,
        _ => Refusal::Covered,
    }
}

/// A tag of the board, by its place on it, and its corners as on [`layout::tag`].
struct Tag {
    index: usize,
    corners: Corners<Crop>,
}

/// The board's tags in a picture. One that is too small for the library holds none.
fn tags(grey: GrayImage) -> Result<Vec<Tag>, AprilTagError> {
    let size = ImageSize {
        width: grey.width() as usize,
        height: grey.height() as usize,
    };
    let mut config = DecodeTagsConfig::new(vec![TagFamilyKind::Tag36H11])?;
    if grey.width().max(grey.height()) <= EVERY_OTHER {
        config.downscale_factor = 1;
    }
    let image = Image::new(size, grey.into_raw())?;
    let detections = AprilTagDecoder::new(config, size)?.decode(&image)?;
    let tags = detections.iter().filter_map(|detection| {
        let index = IDS.iter().position(|id| *id == detection.id)?;
        // The quad's own corners begin anywhere; its map knows which way the tag is turned.
        let corner = |x, y| {
            let at = detection.quad.homography_project(x, y);
            Point::new(f64::from(at.x), f64::from(at.y))
        };
        let corners = [
            corner(-1.0, -1.0),
            corner(1.0, -1.0),
            corner(1.0, 1.0),
            corner(-1.0, 1.0),
        ];
        let finite = corners.iter().all(|at| at.is_finite());
        finite.then_some(Tag { index, corners })
    });
    Ok(tags.collect())
}

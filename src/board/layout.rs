//! What is printed: the one layout of the board, the same on every paper.
//!
//! Two AprilTags of the family 36h11 (Olson 2011, Wang & Olson 2016), one above the other, as large
//! as A4 and Letter both hold with room for a clip. Few and large: in 60 rendered photos each, with a
//! blur of 0.6 pixels and noise, all tags of a board were found where a pixel spans
//!
//! | tags | side | 3 mm | 4 mm | 5 mm | 6 mm |
//! |---|---|---|---|---|---|
//! | 1 × 2 | 112 mm | 60 | 60 | 60 | 21 |
//! | 2 × 2 | 80 mm | 60 | 52 | 0 | 0 |
//! | 2 × 3 | 72 mm | 60 | 5 | 0 | 0 |
//!
//! A person who fills a photo of 600×800 has 3 to 5 mm a pixel, one in 12 megapixels about 1 mm.

use kornia_apriltag::family::TagFamily;

use crate::geometry::Point;

/// The board's face: millimetres from its middle, x right, y up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Face {}

/// Side of one of the squares that a tag is made of, mm.
pub const MODULE: f64 = 14.0;
/// Squares along a tag's side, black border included.
pub const MODULES: usize = 8;
/// Side of a tag, mm.
pub const TAG: f64 = MODULE * MODULES as f64;
/// White between the tags, which each of them needs around it, mm.
pub const GAP: f64 = MODULE;
/// The tags, from the top. The numbers are the project's own choice: off the low ones that most
/// boards use, and with black for at least four of the six squares behind each border, which lets
/// the border's edge be measured there ([`super::edges`]).
pub const IDS: [u16; 2] = [572, 289];

/// Width and height of everything that is black, mm.
pub const WIDTH: f64 = TAG;
pub const HEIGHT: f64 = IDS.len() as f64 * TAG + (IDS.len() - 1) as f64 * GAP;

/// Corners of a rectangle as one looks at the board: top left, then clockwise.
pub type Corners<S> = [Point<S>; 4];

const fn corners(left: f64, top: f64, width: f64, height: f64) -> Corners<Face> {
    [
        Point::new(left, top),
        Point::new(left + width, top),
        Point::new(left + width, top - height),
        Point::new(left, top - height),
    ]
}

/// The corners of all that is black.
pub const OUTLINE: Corners<Face> = corners(-WIDTH / 2.0, HEIGHT / 2.0, WIDTH, HEIGHT);

/// The corners of a tag, counted from the top.
pub const fn tag(index: usize) -> Corners<Face> {
    let top = HEIGHT / 2.0 - index as f64 * (TAG + GAP);
    corners(-WIDTH / 2.0, top, TAG, TAG)
}

/// What is white in a tag: rows from the top, squares from the left.
pub type Pattern = [[bool; MODULES]; MODULES];

/// The patterns of the tags, from the top.
pub fn patterns() -> [Pattern; IDS.len()] {
    let family = TagFamily::tag36_h11().expect("the library's own family");
    let pattern = |id: u16| {
        let code = family.code_data[usize::from(id)];
        let mut white = [[false; MODULES]; MODULES];
        let places = family.bit_x.iter().zip(&family.bit_y);
        for (place, (&x, &y)) in places.enumerate() {
            white[y as usize][x as usize] = code >> (family.nbits - 1 - place) & 1 == 1;
        }
        white
    };
    IDS.map(pattern)
}

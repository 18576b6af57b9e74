//! Which way is down: roll and pitch of the camera, read from the straight uprights of the room.
//!
//! Door frames, corners of walls, cupboards and pictures stand upright, and the lines of all of
//! them meet in one point of the picture, the vanishing point of the vertical. A line crosses the
//! row through the middle of the picture at u and leans there by b = dx/dy. With u and b in units
//! of the focal length and the camera as in [`crate::scale`], every upright has
//!
//! b = tan roll + u · tan pitch / cos roll
//!
//! so that a straight line through (u, b) of all uprights tells both. Roll is what they lean in
//! the middle of the picture, and hardly depends on the focal length.
//!
//! Level edges are not used: how far they lean in the picture depends on where they lead to,
//! which a wall seen at an unknown angle does not tell.

mod fit;
mod uprights;

use crate::estimate::Estimate;
use crate::geometry;
use crate::geometry::Point;
use crate::photo::Photo;

/// How the camera was held against the vertical.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plumb {
    /// Radians; positive when the camera is turned clockwise, seen from behind it.
    pub roll: Estimate,
    /// Radians; positive when the camera looks upwards.
    pub pitch: Estimate,
    /// Between the errors of the two: near ±1 where all uprights stand on one side of the picture.
    pub correlation: f64,
}

/// A part of the photo along its sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    /// Upper left corner.
    pub low: Point<geometry::Photo>,
    /// Lower right corner.
    pub high: Point<geometry::Photo>,
}

impl Area {
    fn holds(&self, point: Point<geometry::Photo>) -> bool {
        (self.low.x..self.high.x).contains(&point.x) && (self.low.y..self.high.y).contains(&point.y)
    }
}

/// Longest side of the picture in which edges are looked for, pixels. Where a line lies is told to
/// a tenth of a pixel, so a door's edge leans right to a few hundredths of a degree also in a
/// picture half as large.
const LONG_SIDE: u32 = 1024;

/// Reads roll and pitch. Edges of the person tell nothing and are left out, as is what lies below:
/// that is floor, whose boards lead away from the camera and look upright in the middle of the
/// picture. `None` where too few uprights are seen, or where they do not agree on one vertical.
pub fn read(photo: &Photo, focal_px: Estimate, person: &Area) -> Option<Plumb> {
    let (picture, photo_from_picture) = photo.at_most(LONG_SIDE)?;
    let lines = uprights::find(picture, |x, y| {
        let at = photo_from_picture.apply(Point::new(x, y));
        at.y >= person.high.y || person.holds(at)
    });
    let centre = photo_from_picture.inverse().apply(photo.centre());
    let focal = focal_px.scaled(photo_from_picture.scale().recip());
    let uprights: Vec<_> = lines
        .iter()
        .map(|line| fit::Upright::seen(line, centre, focal.value))
        .collect();
    fit::fit(&uprights, focal.sigma / focal.value)
}

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
    /// Radians; positive when the camera looks upwards. `None` where edges that agree lean far, but
    /// too few things have them: then either the camera or those things lean, and the roll lies
    /// halfway, with an error that holds both.
    pub pitch: Option<Estimate>,
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
    let (picture, photo_from_picture) = photo.at_most(LONG_SIDE);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Angle, BodyPlane};
    use crate::photo::CameraTags;
    use crate::scale::Camera;
    use image::{Rgb, RgbImage};
    use proptest::prelude::*;

    const FOCAL: f64 = 560.0;
    const NOBODY: Area = Area {
        low: Point::new(0.0, 1e9),
        high: Point::new(0.0, 1e9),
    };

    fn camera(roll: f64, pitch: f64) -> Camera {
        Camera {
            focal: FOCAL,
            centre: Point::new(300.0, 400.0),
            distance: 4000.0,
            height: 1200.0,
            pitch: Angle::from_degrees(pitch),
            roll: Angle::from_degrees(roll),
            turn: Angle::ZERO,
        }
    }

    /// A wall, the brightness at each place of it, seen by a camera; `noise` grey levels at most to
    /// each side are added.
    fn picture(
        camera: &Camera,
        noise: i32,
        wall: impl Fn(Point<BodyPlane>) -> f64,
    ) -> (Photo, Estimate) {
        const PARTS: u32 = 4;
        let (width, height) = (
            (2.0 * camera.centre.x) as u32,
            (2.0 * camera.centre.y) as u32,
        );
        let mut random = random(7);
        let picture = RgbImage::from_fn(width, height, |x, y| {
            let mut sum = 0.0;
            for part in 0..PARTS * PARTS {
                let within = |part: u32| (f64::from(part) + 0.5) / f64::from(PARTS);
                let at = Point::new(
                    f64::from(x) + within(part % PARTS),
                    f64::from(y) + within(part / PARTS),
                );
                sum += camera.plane_from_photo(at, 0.0).map_or(0.0, &wall);
            }
            let grey = sum / f64::from(PARTS * PARTS);
            let off = f64::from(noise) * (2.0 * random() - 1.0);
            Rgb([(grey + off).round().clamp(0.0, 255.0) as u8; 3])
        });
        let focal = Estimate::new(camera.focal, 0.04 * camera.focal);
        (Photo::new(picture, CameraTags::default()), focal)
    }

    /// Numbers from 0 to 1.
    fn random(seed: u32) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24)
        }
    }

    /// A board on the wall, leaning to the right by so many degrees about its lower left corner:
    /// left edge, width, lower and upper end, mm.
    struct Board(f64, f64, f64, f64, f64);

    fn on_wall(boards: &[Board]) -> impl Fn(Point<BodyPlane>) -> f64 {
        move |at| {
            let covered = boards.iter().any(|Board(left, width, low, high, lean)| {
                let (sin, cos) = Angle::from_degrees(*lean).radians().sin_cos();
                let (x, y) = (at.x - left, at.y - low);
                let (x, y) = (x * cos - y * sin, x * sin + y * cos);
                (0.0..*width).contains(&x) && (0.0..high - low).contains(&y)
            });
            if covered { 120.0 } else { 180.0 }
        }
    }

    const ROOM: [Board; 3] = [
        Board(-1700.0, 860.0, 0.0, 2030.0, 0.0),
        Board(300.0, 500.0, 1300.0, 1900.0, 0.0),
        Board(1100.0, 600.0, 0.0, 1800.0, 0.0),
    ];

    fn degrees(of: Estimate) -> (f64, f64) {
        let degrees = |radians| Angle::from_radians(radians).degrees();
        (degrees(of.value), degrees(of.sigma))
    }

    #[track_caller]
    fn assert_near(got: Option<Plumb>, camera: &Camera, roll: f64, pitch: f64) {
        let got = got.expect("uprights that agree");
        let off = |of: Estimate, want: Angle| (degrees(of).0 - want.degrees()).abs();
        assert!(off(got.roll, camera.roll) < roll, "{got:?}");
        let seen = got.pitch.expect("uprights of several things");
        assert!(off(seen, camera.pitch) < pitch, "{got:?}");
        assert!(degrees(got.roll).1 < 0.6, "{got:?}");
    }

    /// Edges that lean so far in the picture, degrees, with nothing to say whether the camera does.
    fn assert_undecided(got: Option<Plumb>, lean: f64) {
        let got = got.expect("edges that agree");
        let (roll, sigma) = degrees(got.roll);
        assert_eq!(got.pitch, None);
        assert!((roll - lean / 2.0).abs() < 0.2 && (sigma - roll.abs()).abs() < 1e-9);
    }

    proptest! {
        /// In closed form: two points of any vertical line, seen by the camera of `scale`.
        #[test]
        fn every_vertical_line_follows_roll_and_pitch(
            roll in -12.0f64..12.0,
            pitch in -20.0f64..20.0,
            focal in 300.0f64..4000.0,
            turn in -40.0f64..40.0,
            x in -1500.0f64..1500.0,
            depth in -500.0f64..500.0,
        ) {
            let camera = Camera { focal, turn: Angle::from_degrees(turn), ..camera(roll, pitch) };
            let low = camera.photo_from_plane(Point::new(x, 300.0), depth).unwrap();
            let high = camera.photo_from_plane(Point::new(x, 1900.0), depth).unwrap();
            let slope = (low.x - high.x) / (low.y - high.y);
            let middle = low.midpoint(high);
            let line = uprights::Line {
                at: middle.x,
                middle: middle.y,
                slope,
                slope_sigma: 0.0,
                length: low.y - high.y,
            };
            let centre = Point::new(camera.centre.x, camera.centre.y);
            let upright = fit::Upright::seen(&line, centre, focal);
            let (roll, pitch) = (camera.roll.radians(), camera.pitch.radians());
            let want = roll.tan() + upright.at * pitch.tan() / roll.cos();
            prop_assert!((upright.slope - want).abs() < 1e-9);
        }
    }

    #[test]
    fn roll_and_pitch_come_back_from_a_drawn_room() {
        for (roll, pitch) in [
            (0.0, 0.0),
            (2.5, -6.0),
            (-3.0, 4.0),
            (1.0, -12.0),
            (-0.7, 1.5),
        ] {
            let camera = camera(roll, pitch);
            let (photo, focal) = picture(&camera, 0, on_wall(&ROOM));
            assert_near(read(&photo, focal, &NOBODY), &camera, 0.06, 0.2);
        }
    }

    #[test]
    fn noise_is_borne() {
        let camera = camera(-1.8, -5.0);
        let (photo, focal) = picture(&camera, 20, on_wall(&ROOM));
        assert_near(read(&photo, focal, &NOBODY), &camera, 0.15, 0.5);
    }

    #[test]
    fn a_large_photo_is_read_from_a_smaller_copy() {
        let camera = Camera {
            focal: 1400.0,
            centre: Point::new(750.0, 1000.5),
            ..camera(2.0, -4.0)
        };
        let (photo, focal) = picture(&camera, 0, on_wall(&ROOM));
        assert_near(read(&photo, focal, &NOBODY), &camera, 0.06, 0.2);
    }

    #[test]
    fn an_unknown_focal_length_costs_the_pitch_not_the_roll() {
        let camera = camera(2.0, -8.0);
        let (photo, focal) = picture(&camera, 0, on_wall(&ROOM));
        let wrong = Estimate::new(1.2 * focal.value, 0.25 * 1.2 * focal.value);
        let got = read(&photo, wrong, &NOBODY).unwrap();
        let (roll, pitch) = (degrees(got.roll), degrees(got.pitch.unwrap()));
        assert!((roll.0 - 2.0).abs() < 0.06);
        assert!((pitch.0 + 8.0).abs() < pitch.1 && pitch.1 > 2.0);
    }

    #[test]
    fn a_wall_without_uprights_tells_nothing() {
        let camera = camera(2.0, -4.0);
        for wall in [
            |_: Point<BodyPlane>| 150.0,
            |at: Point<BodyPlane>| 120.0 + at.y / 40.0,
            |at: Point<BodyPlane>| if at.y > 1000.0 { 180.0 } else { 90.0 },
        ] {
            for noise in [0, 40] {
                let (photo, focal) = picture(&camera, noise, wall);
                assert_eq!(read(&photo, focal, &NOBODY), None);
            }
        }
    }

    #[test]
    fn uprights_that_contradict_each_other_tell_nothing() {
        let boards = [
            Board(-1700.0, 500.0, 0.0, 2000.0, 0.0),
            Board(-1000.0, 500.0, 0.0, 2000.0, 5.0),
            Board(200.0, 500.0, 0.0, 2000.0, 0.0),
            Board(1000.0, 500.0, 0.0, 2000.0, 5.0),
        ];
        let (photo, focal) = picture(&camera(0.5, -3.0), 0, on_wall(&boards));
        assert_eq!(read(&photo, focal, &NOBODY), None);
    }

    #[test]
    fn one_thing_that_leans_among_uprights_does_no_harm() {
        let boards = [
            Board(-1700.0, 500.0, 0.0, 2000.0, 0.0),
            Board(-1000.0, 400.0, 0.0, 900.0, 6.0),
            Board(200.0, 500.0, 0.0, 2000.0, 0.0),
            Board(1200.0, 500.0, 0.0, 2000.0, 0.0),
        ];
        let camera = camera(0.5, -3.0);
        let (photo, focal) = picture(&camera, 0, on_wall(&boards));
        assert_near(read(&photo, focal, &NOBODY), &camera, 0.06, 0.2);
    }

    #[test]
    fn one_picture_that_hangs_askew_is_not_believed() {
        let boards = [Board(-400.0, 800.0, 600.0, 1900.0, 6.0)];
        let (photo, focal) = picture(&camera(0.0, 0.0), 0, on_wall(&boards));
        assert_undecided(read(&photo, focal, &NOBODY), -6.0);
    }

    #[test]
    fn a_far_roll_needs_much_to_be_believed() {
        let camera = camera(9.0, -3.0);
        let many: Vec<Board> = (-3..3)
            .map(|i| Board(600.0 * f64::from(i), 350.0, 200.0, 2000.0, 0.0))
            .collect();
        let (photo, focal) = picture(&camera, 0, on_wall(&many));
        assert_near(read(&photo, focal, &NOBODY), &camera, 0.1, 0.3);
        let (photo, focal) = picture(&camera, 0, on_wall(&many[2..4]));
        assert_undecided(read(&photo, focal, &NOBODY), 9.0);
    }

    #[test]
    fn the_person_and_the_floor_before_them_are_left_out() {
        let camera = camera(1.0, -3.0);
        let (photo, focal) = picture(&camera, 0, on_wall(&ROOM));
        let everything = Area {
            low: Point::new(0.0, 0.0),
            high: Point::new(600.0, 800.0),
        };
        assert_eq!(read(&photo, focal, &everything), None);
        let all_below = Area {
            low: Point::new(290.0, 0.0),
            high: Point::new(310.0, 20.0),
        };
        assert_eq!(read(&photo, focal, &all_below), None);
    }
}

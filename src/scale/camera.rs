//! The pinhole camera and the body's plane.

use crate::geometry::{Angle, BodyPlane, Photo, Point};

/// A camera and how the body's plane stands before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Focal length in pixels.
    pub focal: f64,
    /// The optical axis in the photo.
    pub centre: Point<Photo>,
    /// From the lens to the body's plane along the floor, mm.
    pub distance: f64,
    /// Lens above the floor, mm.
    pub height: f64,
    /// Positive when the camera looks upwards.
    pub pitch: Angle,
    /// Positive when the camera is turned clockwise, seen from behind it.
    pub roll: Angle,
    /// The body's plane against the photo's, about the vertical: positive when the end that
    /// points to the photo's right is turned away from the camera.
    pub turn: Angle,
}

impl Camera {
    /// The direction in which a pixel is seen: right, away and up.
    fn ray(&self, pixel: Point<Photo>) -> [f64; 3] {
        let (u, v) = (
            (pixel.x - self.centre.x) / self.focal,
            (pixel.y - self.centre.y) / self.focal,
        );
        let (roll_sin, roll_cos) = self.roll.radians().sin_cos();
        let (x, y) = (u * roll_cos - v * roll_sin, u * roll_sin + v * roll_cos);
        let (pitch_sin, pitch_cos) = self.pitch.radians().sin_cos();
        [x, pitch_cos + y * pitch_sin, pitch_sin - y * pitch_cos]
    }

    /// How far to the right of straight ahead a pixel is seen, on the floor.
    ///
    /// Someone who stands there square to straight ahead looks turned by as much: a turn that is
    /// read off the person's looks is [`Self::turn`] plus this.
    pub fn azimuth(&self, pixel: Point<Photo>) -> Angle {
        let [right, away, _] = self.ray(pixel);
        Angle::from_radians(right.atan2(away))
    }

    /// Where the ray through a pixel meets the plane at `depth` mm before the body's own plane
    /// (towards the camera): along that plane to the photo's right, and up from the floor.
    ///
    /// `None` when the ray misses the plane: behind the camera, or a plane seen edge-on.
    pub fn plane_from_photo(&self, pixel: Point<Photo>, depth: f64) -> Option<Point<BodyPlane>> {
        let [right, away, up] = self.ray(pixel);
        // Along the ray a, along the plane s:
        //   a·right = s·cos ψ + depth·sin ψ
        //   a·away  = distance + s·sin ψ − depth·cos ψ
        let (turn_sin, turn_cos) = self.turn.radians().sin_cos();
        let facing = away * turn_cos - right * turn_sin;
        if facing <= 1e-9 {
            return None;
        }
        let a = (self.distance * turn_cos - depth) / facing;
        if a <= 0.0 {
            return None;
        }
        let s = (right * (self.distance - depth * turn_cos) - away * depth * turn_sin) / facing;
        Some(Point::new(s, self.height + a * up))
    }

    /// The pixel of a point of the plane at `depth`; the inverse of [`Self::plane_from_photo`].
    pub fn photo_from_plane(&self, point: Point<BodyPlane>, depth: f64) -> Option<Point<Photo>> {
        let (turn_sin, turn_cos) = self.turn.radians().sin_cos();
        let right = point.x * turn_cos + depth * turn_sin;
        let away = self.distance + point.x * turn_sin - depth * turn_cos;
        let up = point.y - self.height;
        let (pitch_sin, pitch_cos) = self.pitch.radians().sin_cos();
        let along_axis = away * pitch_cos + up * pitch_sin;
        if along_axis <= 0.0 {
            return None;
        }
        let (x, y) = (
            right / along_axis,
            (away * pitch_sin - up * pitch_cos) / along_axis,
        );
        let (roll_sin, roll_cos) = self.roll.radians().sin_cos();
        let (u, v) = (x * roll_cos + y * roll_sin, y * roll_cos - x * roll_sin);
        Some(Point::new(
            self.centre.x + u * self.focal,
            self.centre.y + v * self.focal,
        ))
    }
}

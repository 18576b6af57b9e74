//! How the person stands before the camera, and where that puts a pixel's landmark.

use super::camera::Camera;
use super::depth;
use crate::body::{Landmark, Task, View};
use crate::geometry::{Angle, BodyPlane, Photo, Point};

/// A camera and who stands before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stance {
    pub camera: Camera,
    /// Millimetres.
    pub stature: f64,
    /// The head against the trunk, signed as [`Camera::turn`].
    pub head_turn: Angle,
}

impl Stance {
    /// Where a landmark that is seen at a pixel lies: along the body's plane to the photo's
    /// right, and up from the floor. `nearer` (mm) is added to its usual depth.
    ///
    /// A point of the head is put where it would be if the head were not turned on the trunk: an
    /// ear that a turned head carries forward or back says nothing about posture.
    pub fn place(
        &self,
        landmark: Landmark,
        pixel: Point<Photo>,
        view: View,
        task: Task,
        nearer: f64,
    ) -> Option<Point<BodyPlane>> {
        let depth = depth::of(landmark, view, task, self.stature)?.value + nearer;
        let (sin, cos) = self.head_turn.radians().sin_cos();
        let (depth, carried) = match depth::from_head_axis(landmark, view, self.stature) {
            None => (depth, 0.0),
            Some(from_axis) if view.near_side().is_some() => {
                (depth - from_axis * (1.0 - cos), from_axis * sin)
            }
            Some(from_axis) => (depth - from_axis * sin, -from_axis * (1.0 - cos)),
        };
        let at = self.camera.plane_from_photo(pixel, depth)?;
        Some(Point::new(at.x - carried, at.y))
    }
}

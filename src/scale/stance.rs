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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Side;

    const TURN: f64 = 6.0;
    const HEAD: f64 = 10.0;

    fn stance(head_turn: f64) -> Stance {
        Stance {
            camera: Camera {
                focal: 900.0,
                centre: Point::new(360.0, 480.0),
                distance: 2500.0,
                height: 1000.0,
                pitch: Angle::from_degrees(3.0),
                roll: Angle::from_degrees(-1.0),
                turn: Angle::from_degrees(TURN),
            },
            stature: 1650.0,
            head_turn: Angle::from_degrees(head_turn),
        }
    }

    /// The pixel of an ear on a turned head, from its place in the room: `nearer` is the depth of
    /// the head's axis in the body's frame, `across` and `before` the ear's own along the head's
    /// plane and towards the camera.
    fn ear(nearer: f64, across: f64, before: f64, up: f64) -> Point<Photo> {
        let (sin, cos) = TURN.to_radians().sin_cos();
        let (head_sin, head_cos) = (TURN + HEAD).to_radians().sin_cos();
        let right = nearer * sin + across * head_cos + before * head_sin;
        let away = -nearer * cos + across * head_sin - before * head_cos;
        // A camera to which nothing is turned sees the room as it is.
        let square = Camera {
            turn: Angle::ZERO,
            ..stance(0.0).camera
        };
        square
            .photo_from_plane(Point::new(right, up), -away)
            .unwrap()
    }

    fn placed(stance: &Stance, landmark: Landmark, view: View, pixel: Point<Photo>) -> [f64; 2] {
        let at = stance.place(landmark, pixel, view, Task::Stand, 0.0);
        let at = at.expect("a plane");
        [at.x, at.y]
    }

    #[test]
    fn the_near_ear_of_a_turned_head_is_put_back() {
        for near in Side::BOTH {
            let (view, ear_of) = (View::Side(near), Landmark::Tragus(near));
            let half_width = depth::of(ear_of, view, Task::Stand, 1650.0).unwrap().value;
            let pixel = ear(0.0, 0.0, half_width, 1500.0);
            let [x, up] = placed(&stance(HEAD), ear_of, view, pixel);
            assert!(x.abs() < 1e-6 && (up - 1500.0).abs() < 1e-6, "{x} {up}");
            let [ignored, _] = placed(&stance(0.0), ear_of, view, pixel);
            let [wrong, _] = placed(&stance(-HEAD), ear_of, view, pixel);
            assert!((ignored - 12.0).abs() < 1.0, "{ignored}");
            assert!((wrong / ignored - 2.0).abs() < 0.1, "{wrong}");
        }
    }

    #[test]
    fn the_ears_of_a_turned_head_stay_level_from_the_front_and_back() {
        for view in [View::Front, View::Back] {
            let ears = |stance: &Stance| {
                Side::BOTH.map(|side| {
                    let ear_of = Landmark::Tragus(side);
                    let forward = depth::of(ear_of, view, Task::Stand, 1650.0).unwrap().value;
                    let across = depth::from_head_axis(ear_of, view, 1650.0).unwrap();
                    let pixel = ear(forward, across, 0.0, 1500.0);
                    let [x, up] = placed(stance, ear_of, view, pixel);
                    [x - across, up]
                })
            };
            for [off, up] in ears(&stance(HEAD)) {
                assert!(off.abs() < 1e-6 && (up - 1500.0).abs() < 1e-6, "{off} {up}");
            }
            let tilt = |head: f64| {
                let [left, right] = ears(&stance(head));
                left[1] - right[1]
            };
            let (ignored, wrong) = (tilt(0.0), tilt(-HEAD));
            assert!(ignored.abs() > 4.0, "{ignored}");
            assert!((wrong / ignored - 2.0).abs() < 0.1, "{wrong}");
        }
    }
}

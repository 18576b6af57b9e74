//! Looks closer at a person who was found, with the landmark net.
//!
//! Where to look and from which side the person is seen is for the caller to say: it takes what
//! the pose net saw to tell.

use std::collections::BTreeMap;

use nalgebra::{Matrix2, Vector2};
use ndarray::Ix2;
use rayon::prelude::*;

use super::finder::{Effort, Finder};
use super::landmark_net::{self, NetLandmarks, Part, SETTINGS};
use super::net::{InferError, Tensors};
use crate::body::{Landmark, Side, View};
use crate::estimate::Estimate;
use crate::geometry::{Angle, Crop, Map, Photo, Point, Vector};
use crate::photo;

/// An upright square of the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Square {
    pub centre: Point<Photo>,
    pub side: f64,
}

impl Square {
    /// How far inside of the square's edges a point lies, in parts of its side.
    pub fn margin(&self, point: Point<Photo>) -> f64 {
        let off = point - self.centre;
        0.5 - off.x.abs().max(off.y.abs()) / self.side
    }
}

/// Where the parts of the person are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Squares {
    pub trunk: Square,
    pub head: Square,
}

/// The landmark net's answer for one look, in the photo's pixels and with the subject's sides.
#[derive(Clone, Debug)]
pub struct LandmarkLook {
    pub part: Part,
    pub square: Square,
    pub points: BTreeMap<Landmark, LandmarkSeen>,
    /// Turn of the trunk against the exact view, seen along the ray to the middle of the body,
    /// radians: positive when the end of the body's plane that points to the photo's right is
    /// turned away from the camera.
    pub trunk_turn: Estimate,
    /// The same of the head.
    pub head_turn: Estimate,
}

/// A landmark in the upright photo as one look of the landmark net saw it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LandmarkSeen {
    pub at: Point<Photo>,
    /// What the net itself takes for its error, pixels squared.
    pub covariance: Matrix2<f64>,
    pub visibility: f64,
}

/// One way to look at a square: shift and scale in parts of its side, as the net sees them.
struct Look {
    part: Part,
    shift: (f64, f64),
    scale: f64,
    /// Mirrored, where the view allows it.
    mirrored: bool,
}

const fn look(part: Part, shift: (f64, f64), scale: f64, mirrored: bool) -> Look {
    Look {
        part,
        shift,
        scale,
        mirrored,
    }
}

/// The plain squares.
const FIRST_LOOKS: [Look; 2] = [
    look(Part::Trunk, (0.0, 0.0), 1.0, false),
    look(Part::Head, (0.0, 0.0), 1.0, false),
];

/// The looks after those, within what the net was taught.
const LATER_LOOKS: [Look; 4] = [
    look(Part::Trunk, (0.025, -0.02), 0.94, true),
    look(Part::Trunk, (-0.025, 0.02), 1.07, false),
    look(Part::Head, (-0.03, -0.02), 0.94, true),
    look(Part::Head, (0.03, 0.02), 1.07, false),
];

/// Looks that are to be taken.
pub struct CloseUps {
    looks: Vec<Planned>,
}

struct Planned {
    part: Part,
    square: Square,
    setting: [f32; SETTINGS],
    photo_from_crop: Map<Crop, Photo>,
    mirrored: bool,
}

impl CloseUps {
    /// Looks at these squares of a photo with that view, in pictures of `size` pixels a side; none
    /// in an oblique view, which the net was not taught.
    fn plan(squares: &Squares, view: View, effort: Effort, size: u32) -> CloseUps {
        let later: &[Look] = match effort {
            Effort::Quick => &[],
            Effort::Thorough => &LATER_LOOKS,
        };
        let planned = |look: &Look| {
            let whole = match look.part {
                Part::Trunk => squares.trunk,
                Part::Head => squares.head,
            };
            // Whoever is seen from the side has to face the picture's right.
            let mirrored = match view {
                View::Side(near) => near == Side::Left,
                View::Front | View::Back | View::Oblique(_) => look.mirrored,
            };
            // In the picture itself the shift is the same, mirrored or not.
            let flip = if mirrored { -1.0 } else { 1.0 };
            let shift = Vector::new(flip * look.shift.0, look.shift.1) * whole.side;
            let square = Square {
                centre: whole.centre + shift,
                side: whole.side * look.scale,
            };
            Some(Planned {
                part: look.part,
                square,
                setting: landmark_net::setting(view, look.part)?,
                photo_from_crop: Map::square(
                    f64::from(size),
                    square.centre,
                    square.side,
                    Angle::ZERO,
                    mirrored,
                )?,
                mirrored,
            })
        };
        CloseUps {
            looks: FIRST_LOOKS
                .iter()
                .chain(later)
                .filter_map(planned)
                .collect(),
        }
    }

    /// Photo pixels for a pixel of the closest of the looks.
    pub fn closest_look(&self) -> f64 {
        self.looks
            .iter()
            .map(|look| look.photo_from_crop.scale())
            .fold(f64::INFINITY, f64::min)
    }
}

impl Planned {
    /// The net's answer in the photo's pixels. In a mirrored picture left is right, and the end of
    /// the body's plane that is turned away is the other one.
    fn read(&self, net: NetLandmarks) -> LandmarkLook {
        let flip = if self.mirrored { -1.0 } else { 1.0 };
        let stretch =
            Matrix2::from_diagonal(&Vector2::new(flip, 1.0)) * self.photo_from_crop.scale();
        let points = net
            .points
            .into_iter()
            .map(|(landmark, point)| {
                let seen = LandmarkSeen {
                    at: self.photo_from_crop.apply(point.at),
                    covariance: stretch * point.covariance * stretch,
                    visibility: point.visibility,
                };
                let landmark = if self.mirrored {
                    landmark.mirrored()
                } else {
                    landmark
                };
                (landmark, seen)
            })
            .collect();
        LandmarkLook {
            part: self.part,
            square: self.square,
            points,
            trunk_turn: Estimate::new(flip * net.trunk_turn.value, net.trunk_turn.sigma),
            head_turn: Estimate::new(flip * net.head_turn.value, net.head_turn.sigma),
        }
    }
}

impl Finder {
    /// The looks that the landmark net should take at a person in that view.
    pub fn plan_close_ups(&self, squares: &Squares, view: View, effort: Effort) -> CloseUps {
        CloseUps::plan(squares, view, effort, self.landmarks.size())
    }

    /// Takes them, side by side.
    pub fn look_closer(
        &self,
        photo: &photo::Photo,
        close_ups: &CloseUps,
    ) -> Result<Vec<LandmarkLook>, InferError> {
        let size = self.landmarks.size();
        close_ups
            .looks
            .par_iter()
            .map(|look| {
                let picture = photo.crop(&look.photo_from_crop, size);
                let net = self.landmarks.run(&picture, &[&look.setting], decoded)?;
                Ok(look.read(net))
            })
            .collect()
    }
}

fn decoded(tensors: &Tensors<'_>) -> NetLandmarks {
    let table = |name: &str| {
        let tensor = &tensors[name];
        tensor
            .view()
            .into_shape_with_order((tensor.shape()[1], tensor.shape()[2]))
            .expect("the contract fixes the shape")
            .into_dimensionality::<Ix2>()
            .expect("rows and columns")
    };
    landmark_net::decode(table("landmarks"), table("turns"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::infer::landmark_net::NetLandmark;

    const SQUARES: Squares = Squares {
        trunk: Square {
            centre: Point::new(500.0, 400.0),
            side: 512.0,
        },
        head: Square {
            centre: Point::new(510.0, 250.0),
            side: 192.0,
        },
    };

    fn plan(view: View, effort: Effort) -> CloseUps {
        CloseUps::plan(&SQUARES, view, effort, 256)
    }

    /// A net that sees the photo's landmarks in their places and says so in its own picture.
    fn seen_through(look: &Planned, photo: &[(Landmark, Point<Photo>)]) -> NetLandmarks {
        let crop_from_photo = look.photo_from_crop.inverse();
        let points = photo.iter().map(|&(landmark, at)| {
            let landmark = if look.mirrored {
                landmark.mirrored()
            } else {
                landmark
            };
            let point = NetLandmark {
                at: crop_from_photo.apply(at),
                covariance: Matrix2::new(4.0, 1.5, 1.5, 9.0),
                visibility: 0.75,
            };
            (landmark, point)
        });
        NetLandmarks {
            points: points.collect(),
            trunk_turn: Estimate::new(0.1, 0.02),
            head_turn: Estimate::new(-0.2, 0.03),
        }
    }

    /// What lies in a place of the photo is told in that place, whatever the look.
    #[test]
    fn every_look_tells_places_of_the_photo() {
        let photo = [
            (Landmark::Tragus(Side::Left), Point::new(520.0, 260.0)),
            (Landmark::Tragus(Side::Right), Point::new(480.0, 262.0)),
            (Landmark::C7, Point::new(540.0, 330.0)),
        ];
        for view in [
            View::Side(Side::Left),
            View::Side(Side::Right),
            View::Front,
            View::Back,
        ] {
            let looks = plan(view, Effort::Thorough).looks;
            assert_eq!(looks.len(), 6);
            for look in &looks {
                let told = look.read(seen_through(look, &photo));
                for (landmark, at) in photo {
                    let seen = told.points[&landmark];
                    assert!(seen.at.distance(at) < 1e-9, "{view:?} {landmark}");
                    let scale = look.square.side / 256.0;
                    let flip = if look.mirrored { -1.0 } else { 1.0 };
                    let expected = Matrix2::new(4.0, 1.5 * flip, 1.5 * flip, 9.0) * scale * scale;
                    assert!((seen.covariance - expected).norm() < 1e-9);
                    assert_eq!(seen.visibility, 0.75);
                }
                let flip = if look.mirrored { -1.0 } else { 1.0 };
                assert_eq!(told.trunk_turn, Estimate::new(0.1 * flip, 0.02));
                assert_eq!(told.head_turn, Estimate::new(-0.2 * flip, 0.03));
            }
        }
    }

    #[test]
    fn whoever_shows_a_side_faces_the_pictures_right() {
        // Facing the photo's left: the eye has smaller x than the ear.
        let look = &plan(View::Side(Side::Left), Effort::Quick).looks[0];
        let crop_from_photo = look.photo_from_crop.inverse();
        let (eye, ear) = (Point::new(480.0, 250.0), Point::new(520.0, 250.0));
        assert!(crop_from_photo.apply(eye).x > crop_from_photo.apply(ear).x);
        for view in [View::Side(Side::Right), View::Front, View::Back] {
            assert!(!plan(view, Effort::Quick).looks[0].mirrored);
        }
        let mirrored = |view| {
            let looks = plan(view, Effort::Thorough).looks;
            looks.iter().filter(|look| look.mirrored).count()
        };
        assert_eq!(mirrored(View::Side(Side::Left)), 6);
        assert_eq!(mirrored(View::Side(Side::Right)), 0);
        assert_eq!(mirrored(View::Front), 2);
    }

    #[test]
    fn a_quick_look_is_one_at_each_part() {
        let parts = |effort| -> Vec<Part> {
            let looks = plan(View::Front, effort).looks;
            looks.iter().map(|look| look.part).collect()
        };
        assert_eq!(parts(Effort::Quick), [Part::Trunk, Part::Head]);
        let all = parts(Effort::Thorough);
        for part in [Part::Trunk, Part::Head] {
            assert_eq!(all.iter().filter(|&&p| p == part).count(), 3);
        }
        assert!(
            plan(View::Oblique(Side::Left), Effort::Thorough)
                .looks
                .is_empty()
        );
    }

    #[test]
    fn the_closest_look_is_at_the_head() {
        let quick = plan(View::Front, Effort::Quick);
        assert!((quick.closest_look() - 192.0 / 256.0).abs() < 1e-12);
        let thorough = plan(View::Front, Effort::Thorough);
        assert!((thorough.closest_look() - 0.94 * 192.0 / 256.0).abs() < 1e-12);
    }

    #[test]
    fn a_margin_is_in_parts_of_the_side() {
        let square = SQUARES.head;
        let at = |part: f64| Point::new(510.0, 250.0 - part * square.side);
        for (off, margin) in [(0.44, 0.06), (-0.5, 0.0), (0.6, -0.1)] {
            assert!((square.margin(at(off)) - margin).abs() < 1e-12);
        }
    }
}

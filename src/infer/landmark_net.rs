//! What the landmark net's numbers mean. This file alone knows the order of its points.
//!
//! The net sees an upright square of the photo, and is told from which side the person is seen in
//! it and whether it holds the trunk or the head. Whoever is seen from the side faces the
//! picture's right, so that the side nearer the camera is always the right one.

use std::collections::BTreeMap;

use nalgebra::Matrix2;
use ndarray::ArrayView2;

use crate::body::{Landmark, Side, View};
use crate::estimate::Estimate;
use crate::geometry::{Crop, Point};

/// What part of the person the square holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// From the ears to the hips, with the arms that are raised.
    Trunk,
    /// Head, neck and shoulders.
    Head,
}

/// One landmark as the net gives it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetLandmark {
    pub at: Point<Crop>,
    /// What the net itself takes for its error, pixels squared.
    pub covariance: Matrix2<f64>,
    /// Probability that it is in the picture and not hidden.
    pub visibility: f64,
}

/// The net's answer for one picture.
#[derive(Clone, Debug, PartialEq)]
pub struct NetLandmarks {
    pub points: BTreeMap<Landmark, NetLandmark>,
    /// Turn against the exact view, radians, as [`crate::infer::LandmarkLook::trunk_turn`].
    pub trunk_turn: Estimate,
    pub head_turn: Estimate,
}

/// Where each landmark stands in the net's list.
const ORDER: [Landmark; 23] = {
    use Landmark::*;
    use Side::*;
    [
        Tragus(Left),
        Tragus(Right),
        EyeOuter(Left),
        EyeOuter(Right),
        C7,
        Acromion(Left),
        Acromion(Right),
        SternalNotch,
        T4,
        T8,
        T12,
        L3,
        Trochanter(Left),
        Trochanter(Right),
        Chin,
        Elbow(Left),
        Elbow(Right),
        Wrist(Left),
        Wrist(Right),
        ShoulderJoint(Left),
        ShoulderJoint(Right),
        HipJoint(Left),
        HipJoint(Right),
    ]
};

/// Numbers in the net's second input: views of the trunk, then views of the head.
pub const SETTINGS: usize = 6;

/// The net's second input; `None` in a view that it was not taught.
pub fn setting(view: View, part: Part) -> Option<[f32; SETTINGS]> {
    let of_view = match view {
        View::Side(_) => 0,
        View::Front => 1,
        View::Back => 2,
        View::Oblique(_) => return None,
    };
    let of_part = match part {
        Part::Trunk => 0,
        Part::Head => 3,
    };
    let mut setting = [0.0; SETTINGS];
    setting[of_part + of_view] = 1.0;
    Some(setting)
}

/// Decodes the raw outputs: `landmarks` with a row of x, y, their sigmas, the correlation of their
/// errors and the visibility for each landmark, and `turns` with a row for trunk and head.
pub fn decode(landmarks: ArrayView2<'_, f32>, turns: ArrayView2<'_, f32>) -> NetLandmarks {
    let points = ORDER
        .into_iter()
        .zip(landmarks.outer_iter())
        .map(|(landmark, row)| {
            let [x, y, sigma_x, sigma_y, correlation, visibility] =
                std::array::from_fn(|i| f64::from(row[i]));
            let shared = correlation * sigma_x * sigma_y;
            let covariance = Matrix2::new(sigma_x.powi(2), shared, shared, sigma_y.powi(2));
            let point = NetLandmark {
                at: Point::new(x, y),
                covariance,
                visibility,
            };
            (landmark, point)
        })
        .collect();
    let turn = |row: usize| Estimate::new(turns[(row, 0)].into(), turns[(row, 1)].into());
    NetLandmarks {
        points,
        trunk_turn: turn(0),
        head_turn: turn(1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::Array2;

    #[test]
    fn every_row_becomes_its_landmark_with_its_ellipse() {
        let rows = Array2::from_shape_fn((23, 6), |(row, column)| match column {
            0 => row as f32,
            1 => 100.0 + row as f32,
            2 => 2.0,
            3 => 3.0,
            4 => 0.5,
            _ => 0.25,
        });
        let turns = ndarray::arr2(&[[0.1, 0.02], [-0.3, 0.04]]);
        let decoded = decode(rows.view(), turns.view());
        assert_eq!(decoded.points.len(), 23);
        let of = |name| decoded.points[&Landmark::from_name(name).unwrap()];
        // Numbers from the list in models/manifest.json.
        for (name, row) in [
            ("tragus_left", 0.0),
            ("c7", 4.0),
            ("acromion_right", 6.0),
            ("sternal_notch", 7.0),
            ("chin", 14.0),
            ("wrist_left", 17.0),
            ("hip_joint_right", 22.0),
        ] {
            assert_eq!(of(name).at, Point::new(row, 100.0 + row), "{name}");
        }
        assert_eq!(of("c7").covariance, Matrix2::new(4.0, 3.0, 3.0, 9.0));
        assert_eq!(of("c7").visibility, 0.25);
        let close = |got: Estimate, value: f64, sigma: f64| {
            (got.value - value).abs() < 1e-7 && (got.sigma - sigma).abs() < 1e-7
        };
        assert!(close(decoded.trunk_turn, 0.1, 0.02));
        assert!(close(decoded.head_turn, -0.3, 0.04));
    }

    #[test]
    fn the_order_is_the_manifests() {
        let names: Vec<String> = ORDER.into_iter().map(Landmark::name).collect();
        let manifest = include_str!("../../models/manifest.json");
        assert!(manifest.contains(&names.join(", ")));
    }

    #[test]
    fn one_setting_is_on_for_each_view_and_part() {
        let on = |view, part| setting(view, part).map(|all| all.iter().position(|&s| s == 1.0));
        for (at, view) in [View::Side(Side::Left), View::Front, View::Back]
            .into_iter()
            .enumerate()
        {
            assert_eq!(on(view, Part::Trunk), Some(Some(at)));
            assert_eq!(on(view, Part::Head), Some(Some(3 + at)));
        }
        let sum: f32 = setting(View::Back, Part::Head).unwrap().iter().sum();
        assert_eq!(sum, 1.0);
        assert_eq!(setting(View::Oblique(Side::Left), Part::Trunk), None);
    }
}

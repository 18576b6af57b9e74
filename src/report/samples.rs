//! Invented visits for the tests of the writers.

use std::collections::BTreeMap;

use jiff::civil::date;
use nalgebra::Matrix2;

use crate::body::{Landmark, Operated, Side, Task, View};
use crate::compare::compare;
use crate::estimate::Estimate;
use crate::geometry::Point;
use crate::measure::Measure;
use crate::visit::{
    Evidence, FaceCircle, Located, Notice, PhotoRecord, Reading, Unmeasured, Visit, VisitFacts,
};

use super::view::{self, ComparisonView, RowView};

fn record(file: &str, near: Side, task: Task, points: &[(Landmark, f64, f64)]) -> PhotoRecord {
    let landmarks: BTreeMap<Landmark, Located> = points
        .iter()
        .map(|&(landmark, x, y)| {
            let located = Located {
                at: Point::new(x, y),
                covariance: Matrix2::identity() * 16.0,
                evidence: Evidence::PoseNet,
                covered: false,
            };
            (landmark, located)
        })
        .collect();
    PhotoRecord {
        file: file.to_owned(),
        sha256: None,
        size: Some((600, 800)),
        view: Some(View::Side(near)),
        task: Some(task),
        landmarks,
        faces: vec![FaceCircle {
            centre: Point::new(300.0, 200.0),
            radius: 28.0,
        }],
        setup: None,
        notices: Vec::new(),
    }
}

pub(crate) fn side_stand(near: Side) -> PhotoRecord {
    use Landmark::*;
    record(
        "side.jpg",
        near,
        Task::Stand,
        &[
            (Tragus(near), 300.0, 205.0),
            (C7, 322.0, 232.0),
            (ShoulderJoint(near), 310.0, 260.0),
            (Elbow(near), 312.0, 330.0),
            (Wrist(near), 300.0, 390.0),
            (HipJoint(near), 315.0, 400.0),
            (Knee(near), 308.0, 500.0),
            (Ankle(near), 315.0, 610.0),
        ],
    )
}

pub(crate) fn side_reach(near: Side) -> PhotoRecord {
    use Landmark::*;
    let mut photo = record(
        "reach.jpg",
        near,
        Task::Reach,
        &[
            (Tragus(near), 300.0, 205.0),
            (ShoulderJoint(near), 310.0, 260.0),
            (Elbow(near), 345.0, 195.0),
            (Wrist(near), 370.0, 135.0),
            (HipJoint(near), 315.0, 400.0),
            (Knee(near), 308.0, 500.0),
            (Ankle(near), 315.0, 610.0),
        ],
    );
    let far = photo.landmarks[&Elbow(near)];
    photo.landmarks.insert(
        Elbow(near.other()),
        Located {
            at: Point::new(far.at.x - 30.0, far.at.y),
            ..far
        },
    );
    photo
}

fn reading(measure: Measure, side: Option<Side>, photo: &str, value: f64, sigma: f64) -> Reading {
    Reading {
        measure,
        side,
        photo: photo.to_owned(),
        outcome: Ok(Estimate::new(value, sigma)),
    }
}

fn without(measure: Measure, side: Option<Side>, photo: &str, reason: &str) -> Reading {
    Reading {
        measure,
        side,
        photo: photo.to_owned(),
        outcome: Err(Unmeasured::because(reason)),
    }
}

pub(crate) const C7_REASON: &str = "needs C7: not found by the nets";
pub(crate) const HAND_REASON: &str = "needs the right wrist, which is outside the photo";
pub(crate) const HOSTILE: &str = "<script>alert(\"x\")</script>";

/// Two visits: one improvement, one setback, one change that is error, and two reasons.
pub(crate) fn visits() -> Vec<Visit> {
    let right = Some(Side::Right);
    let visit = |label: &str, day, flexion, lean, ear: f64| Visit {
        facts: VisitFacts {
            label: Some(label.to_owned()),
            date: Some(day),
            case: Some("demo-01".to_owned()),
            stature_cm: Some(164.0),
            operated: Some(Operated::One(Side::Right)),
            arm_limit_deg: None,
            board_offset_cm: None,
            sticker_mm: None,
        },
        photos: vec![side_stand(Side::Right), side_reach(Side::Right)],
        readings: vec![
            without(Measure::CraniovertebralAngle, right, "side.jpg", C7_REASON),
            without(Measure::HeadForwardOfC7, right, "side.jpg", C7_REASON),
            reading(Measure::TrunkLean, right, "side.jpg", lean, 1.6),
            reading(Measure::ShoulderFlexion, right, "reach.jpg", flexion, 3.4),
            reading(Measure::ArmToEar, right, "reach.jpg", ear, 1.1),
            without(
                Measure::ElbowExtensionDeficit,
                right,
                "reach.jpg",
                HAND_REASON,
            ),
        ],
        notices: vec![Notice::new("No lens data in the files.")],
    };
    vec![
        visit("intake", date(2026, 3, 10), 104.0, 4.5, 9.2),
        visit("follow-up", date(2026, 4, 28), 141.0, 1.5, 14.6),
    ]
}

/// The comparison and the flexion's row in it, with this arm limit at every visit.
pub(crate) fn with_limit(visits: &mut [Visit], limit: f64) -> (ComparisonView, RowView) {
    for visit in visits.iter_mut() {
        visit.facts.arm_limit_deg = Some(limit);
    }
    let view = view::comparison(visits, &compare(visits));
    let row = view
        .groups
        .iter()
        .flat_map(|(_, rows)| rows)
        .find(|row| row.measure == Measure::ShoulderFlexion)
        .unwrap()
        .clone();
    (view, row)
}

/// The text of the summary line with this lead; empty where there is none.
pub(crate) fn told(view: &ComparisonView, lead: &str) -> String {
    let line = view.summary.iter().find(|line| line.lead == lead);
    line.map_or(String::new(), |line| line.text.clone())
}

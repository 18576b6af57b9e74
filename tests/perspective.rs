//! What the camera and the body's turn are worth on the truth set's side views, with true
//! landmarks.

#[path = "../scripts/accuracy/perspective.rs"]
mod gain;

use gain::{Errors, SideView, mean_absolute};
use tragus::body::Landmark;
use tragus::geometry::Angle;
use tragus::measure::{Measure, Unit};
use tragus::scale::{Stance, depth};

use crate::common::root;
use crate::{rendered, truth};

fn side_views() -> Vec<SideView> {
    let views = gain::side_views(&root().join("fixtures/truth"));
    assert!(views.len() >= 40);
    views
}

/// Errors of who sees each photo through some stance, at the usual depths.
fn through(views: &[SideView], stance: impl Fn(&SideView) -> Stance) -> Errors {
    gain::errors(views, |view| vec![view.through(&stance(view), |_| 0.0)])
}

fn with_turn(view: &SideView, factor: f64) -> Stance {
    let mut stance = view.stance();
    stance.camera.turn = stance.camera.turn * factor;
    stance
}

/// With camera, turn and the depth of each landmark known nothing is left to err: pixels are
/// written to a thousandth.
#[test]
fn nothing_is_left_when_camera_and_depths_are_known() {
    let views = side_views();
    let errors = gain::errors(&views, |view| {
        let body = rendered::body(&view.truth);
        let (task, stance) = (truth::task(&view.truth), view.stance());
        let figure = view.through(&stance, |landmark| {
            let at = match landmark {
                Landmark::T8 => rendered::in_space(&view.truth["body"][truth::APEX]),
                _ => body.iter().find(|(other, _)| *other == landmark).unwrap().1,
            };
            let (_, nearer) = rendered::along_and_nearer(&view.truth, at);
            nearer
                - depth::of(landmark, view.view(), task, stance.stature)
                    .unwrap()
                    .value
        });
        vec![figure]
    });
    assert!(errors.len() >= 13);
    for (measure, errors) in errors {
        let worst = errors.iter().fold(0.0f64, |worst, e| worst.max(e.abs()));
        assert!(worst < 0.02, "{measure}: {worst}");
    }
}

/// With usual depths instead, what is left is how differently people are built: 0.2° and 0.1 cm,
/// but for the acromion, which lies only some 10 cm from C7 (a centimetre of depth at 10° of turn is
/// 1.0°), and for the arm, whose elbow is held in or out.
#[test]
fn little_is_left_when_the_camera_is_known() {
    use Measure::*;
    let errors = through(&side_views(), SideView::stance);
    for (measure, errors) in errors {
        let bound = match (measure, measure.unit()) {
            (SagittalShoulderAngle | ElbowExtensionDeficit, _) => 0.5,
            (ShoulderFlexionToTrunk, _) => 0.3,
            (ArmToEar, _) => 0.2,
            (ArmToEarRelative, _) => 0.8,
            (_, Unit::Degree | Unit::Percent) => 0.2,
            (_, Unit::Centimetre) => 0.1,
        };
        let mean = mean_absolute(&errors);
        assert!(mean < bound, "{measure}: {mean}");
    }
}

/// The wrong sign of the turn doubles the error that ignoring it leaves.
#[test]
fn the_wrong_sign_of_turn_doubles_the_error() {
    let views = side_views();
    let [ignored, wrong] = [0.0, -1.0].map(|of| through(&views, |view| with_turn(view, of)));
    for measure in [
        Measure::CraniovertebralAngle,
        Measure::HeadForwardOfC7,
        Measure::SagittalShoulderAngle,
        Measure::ShoulderForwardOfC7,
        Measure::ArmToEar,
    ] {
        let ratio = mean_absolute(&wrong[&measure]) / mean_absolute(&ignored[&measure]);
        assert!((1.7..2.3).contains(&ratio), "{measure}: {ratio}");
    }
}

/// As for the turn of the body, for its roll: angles against the vertical err by twice as much.
#[test]
fn the_wrong_sign_of_roll_doubles_the_error() {
    let views = side_views();
    let [ignored, wrong] = [0.0, -1.0].map(|of| {
        through(&views, |view| {
            let mut stance = view.stance();
            stance.camera.roll = stance.camera.roll * of;
            stance
        })
    });
    for measure in [Measure::TrunkLean, Measure::ShoulderFlexion] {
        let ratio = mean_absolute(&wrong[&measure]) / mean_absolute(&ignored[&measure]);
        assert!((1.8..2.2).contains(&ratio), "{measure}: {ratio}");
    }
}

/// README's table, to the last digit but one.
#[test]
fn the_readme_shows_what_is_gained() {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let shown = readme
        .split_once(gain::BEGIN)
        .and_then(|(_, rest)| rest.split_once(gain::END))
        .expect("a table in the README")
        .0;
    let numbers = |text: &str| -> Vec<Vec<f64>> {
        text.lines()
            .filter(|line| line.starts_with("| `"))
            .map(|line| {
                line.split('|')
                    .filter_map(|cell| cell.trim().parse().ok())
                    .collect()
            })
            .collect()
    };
    let (shown, measured) = (numbers(shown), numbers(&gain::markdown(&side_views())));
    assert!(measured.len() >= 13);
    assert_eq!(shown.len(), measured.len());
    for (shown, measured) in shown.iter().zip(&measured) {
        assert_eq!((shown.len(), measured.len()), (5, 5));
        let near = shown
            .iter()
            .zip(measured)
            .all(|(a, b)| (a - b).abs() < 0.02);
        assert!(near, "README: {shown:?}, measured: {measured:?}");
    }
}

/// The more is known, the less the measures of standing err; and no correction errs the most.
#[test]
fn each_step_of_knowledge_takes_error_away() {
    let columns = gain::by_knowledge(&side_views());
    for measure in [
        Measure::CraniovertebralAngle,
        Measure::SagittalShoulderAngle,
        Measure::TrunkLean,
        Measure::ShoulderFlexion,
    ] {
        let left: Vec<f64> = columns
            .iter()
            .map(|(_, errors)| mean_absolute(&errors[&measure]))
            .collect();
        assert!(
            left.is_sorted_by(|more, less| less < more),
            "{measure}: {left:?}"
        );
    }
}

/// A head turned on the trunk carries the near ear forward or back; known, it changes nothing.
/// Taken the wrong way round it doubles the error.
#[test]
fn a_turned_head_does_no_harm_when_it_is_known() {
    let views = side_views();
    let turn = Angle::from_degrees(8.0);
    let errors = |assumed: Angle| {
        gain::errors(&views, |view| {
            let straight = view.stance();
            let turned = Stance {
                head_turn: turn,
                ..straight
            };
            // Where the renderer's ear would be drawn, were the head turned.
            let (ear, task) = (Landmark::Tragus(view.near), truth::task(&view.truth));
            let half_width = depth::from_head_axis(ear, view.view(), straight.stature).unwrap();
            let at = straight
                .place(ear, view.pixels[&ear], view.view(), task, 0.0)
                .unwrap();
            let (sin, cos) = turn.radians().sin_cos();
            let carried = tragus::geometry::Point::new(at.x + half_width * sin, at.y);
            let moved = straight
                .camera
                .photo_from_plane(carried, half_width * cos)
                .unwrap();
            let mut seen = view.clone();
            seen.pixels.insert(ear, moved);
            vec![seen.through(
                &Stance {
                    head_turn: assumed,
                    ..turned
                },
                |_| 0.0,
            )]
        })
    };
    let of = |assumed: Angle| mean_absolute(&errors(assumed)[&Measure::HeadForwardOfC7]);
    assert!(of(turn) < 0.1);
    let (ignored, wrong) = (of(Angle::ZERO), of(-turn));
    assert!(ignored > 0.8, "{ignored}");
    assert!((1.9..2.1).contains(&(wrong / ignored)), "{wrong} {ignored}");
}

//! What it is worth to know the camera and the body's turn: true landmarks of a truth set's side
//! views, read as if the photo were a drawing, and through the camera as well as it is known.
//!
//! The point of the back that stands farthest behind the chord takes the place of T4 and T8, so
//! that nothing but the camera is left to err.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use nalgebra::Matrix2;
use serde_json::Value;
use tragus::body::{Landmark, Side, View};
use tragus::estimate::Estimate;
use tragus::geometry::{Angle, Photo, Point};
use tragus::measure::{Figure, Measure};
use tragus::scale::{self, Stance};
use tragus::visit::{self, Located};

use crate::truth;

/// Error of a turn that is seen, and of the roll and pitch that a room's uprights give.
const TURN_ERROR: Angle = Angle::from_degrees(1.5);
const TILT_ERROR: Angle = Angle::from_degrees(0.5);

/// What is known of camera and body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Known {
    /// The photo is taken for a drawing of true scale.
    Nothing,
    /// The camera is fitted, the body taken to stand square.
    NoTurn,
    /// The turn is seen with an error of 1.5°, once to each side.
    Turn,
    /// Roll and pitch too, with one of 0.5°.
    TurnAndTilt,
    /// The camera, the body's turn and its stature.
    Everything,
}

impl Known {
    pub const ALL: [Known; 5] = [
        Known::Nothing,
        Known::NoTurn,
        Known::Turn,
        Known::TurnAndTilt,
        Known::Everything,
    ];

    const fn words(self) -> &'static str {
        match self {
            Known::Nothing => "no correction",
            Known::NoTurn => "camera fitted, turn ignored",
            Known::Turn => "turn known to 1.5°",
            Known::TurnAndTilt => "roll and pitch to 0.5° too",
            Known::Everything => "all known",
        }
    }
}

/// A side view of a truth set: its true landmarks of the near side and the midline.
#[derive(Clone)]
pub struct SideView {
    pub file: String,
    pub truth: Value,
    pub near: Side,
    pub pixels: BTreeMap<Landmark, Point<Photo>>,
}

/// The side views of a truth set.
pub fn side_views(set: &Path) -> Vec<SideView> {
    let views: Vec<SideView> = truth::folders(set)
        .iter()
        .flat_map(|folder| truth::photos(folder))
        .filter_map(|(file, truth)| {
            let near = truth::view(&truth)?.near_side()?;
            let mut pixels = truth::pixels(&truth);
            pixels.retain(|landmark, _| {
                *landmark != Landmark::T4 && landmark.side().is_none_or(|side| side == near)
            });
            pixels.insert(Landmark::T8, truth::pixel(&truth, truth::APEX)?);
            Some(SideView {
                file,
                truth,
                near,
                pixels,
            })
        })
        .collect();
    assert!(!views.is_empty(), "no side view in {}", set.display());
    views
}

impl SideView {
    pub fn view(&self) -> View {
        View::Side(self.near)
    }

    /// The stance as it is.
    pub fn stance(&self) -> Stance {
        Stance {
            camera: truth::camera(&self.truth),
            stature: truth::number(&self.truth["stature_mm"]),
            head_turn: Angle::ZERO,
        }
    }

    /// The body's plane, seen through a stance by someone to whom each landmark lies by so much
    /// nearer than usual, mm.
    pub fn through(&self, stance: &Stance, nearer: impl Fn(Landmark) -> f64) -> Figure {
        let task = truth::task(&self.truth);
        self.figure(|landmark, at| {
            let at = stance
                .place(landmark, at, self.view(), task, nearer(landmark))
                .expect("a plane before the camera");
            (at.x, at.y)
        })
    }

    /// The photo as a drawing whose scale is that of the body's middle.
    pub fn drawn(&self) -> Figure {
        let camera = truth::camera(&self.truth);
        let scale = camera.distance / camera.focal;
        self.figure(|_, at| (scale * at.x, -scale * at.y))
    }

    fn figure(&self, place: impl Fn(Landmark, Point<Photo>) -> (f64, f64)) -> Figure {
        let facing = self.view().forward_sign();
        self.pixels
            .iter()
            .map(|(&landmark, &at)| {
                let (along, up) = place(landmark, at);
                (landmark, Point::new(facing * along, up))
            })
            .collect()
    }

    /// The fitted stance, with the turn off by `turn` and the tilts by `tilt` times their errors;
    /// `None` where they are not seen.
    fn fitted(&self, turn: Option<f64>, tilt: Option<f64>) -> Stance {
        let landmarks = self
            .pixels
            .iter()
            .map(|(&landmark, &at)| {
                let located = Located {
                    at,
                    covariance: Matrix2::identity() * 1e-4,
                    evidence: visit::Evidence::Manual,
                    covered: false,
                };
                (landmark, located)
            })
            .collect();
        let camera = self.stance().camera;
        let middle = self.pixels[&Landmark::ShoulderJoint(self.near)]
            .midpoint(self.pixels[&Landmark::HipJoint(self.near)]);
        let seen = |angle: Angle, error: Angle, off: f64| {
            Estimate::new((angle + error * off).radians(), error.radians())
        };
        let trunk_turn = match turn {
            Some(off) => seen(camera.turn + camera.azimuth(middle), TURN_ERROR, off),
            None => Estimate::new(0.0, 1e-3),
        };
        let size = |name: &str| truth::number(&self.truth[name]) as u32;
        let fit = scale::fit(&scale::Evidence {
            view: self.view(),
            task: truth::task(&self.truth),
            width: size("width"),
            height: size("height"),
            focal_35mm: Some(
                camera.focal * scale::FRAME_DIAGONAL / camera.centre.x.hypot(camera.centre.y) / 2.0,
            ),
            stature: Some(self.stance().stature),
            trunk_turn: Some(trunk_turn),
            head_turn: turn.map(|_| trunk_turn),
            roll: tilt.map(|off| seen(camera.roll, TILT_ERROR, off)),
            pitch: tilt.map(|off| seen(camera.pitch, TILT_ERROR, off)),
            correlation: 0.0,
            hung: None,
            landmarks: &landmarks,
        })
        .expect("a fit");
        fit.stance(fit.unknowns().0)
    }

    /// What is read by someone who knows this much: once, or once with an error to each side.
    fn read(&self, known: Known) -> Vec<Figure> {
        let stances = match known {
            Known::Nothing => return vec![self.drawn()],
            Known::NoTurn => vec![self.fitted(None, None)],
            Known::Turn => [-1.0, 1.0].map(|off| self.fitted(Some(off), None)).to_vec(),
            Known::TurnAndTilt => [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)]
                .map(|(turn, tilt)| self.fitted(Some(turn), Some(tilt)))
                .to_vec(),
            Known::Everything => vec![self.stance()],
        };
        stances
            .iter()
            .map(|stance| self.through(stance, |_| 0.0))
            .collect()
    }

    /// Errors of a figure, measure by measure, in the outer unit.
    pub fn errors(&self, figure: &Figure) -> Vec<(Measure, f64)> {
        truth::measures(&self.truth)
            .into_iter()
            .map(|truth| {
                let read = truth.measure.read(figure, truth.side);
                let read = read.unwrap_or_else(|| panic!("{}: no {}", self.file, truth.measure));
                (truth.measure, truth.measure.to_outer(read) - truth.value)
            })
            .collect()
    }
}

/// Errors of all views by measure.
pub type Errors = BTreeMap<Measure, Vec<f64>>;

pub fn errors(views: &[SideView], read: impl Fn(&SideView) -> Vec<Figure>) -> Errors {
    let mut all = Errors::new();
    for view in views {
        for figure in read(view) {
            for (measure, error) in view.errors(&figure) {
                all.entry(measure).or_default().push(error);
            }
        }
    }
    all
}

/// Errors at each state of knowledge.
pub fn by_knowledge(views: &[SideView]) -> Vec<(Known, Errors)> {
    Known::ALL
        .into_iter()
        .map(|known| (known, errors(views, |view| view.read(known))))
        .collect()
}

pub fn mean_absolute(errors: &[f64]) -> f64 {
    errors.iter().map(|error| error.abs()).sum::<f64>() / errors.len() as f64
}

pub const BEGIN: &str = "<!-- perspective: made by scripts/accuracy -->";
pub const END: &str = "<!-- end of perspective -->";

/// The mean absolute error of every side measure, a column for each state of knowledge.
pub fn markdown(views: &[SideView]) -> String {
    let columns = by_knowledge(views);
    let mut text = format!("{BEGIN}\n| measure |");
    for (known, _) in &columns {
        text.push_str(&format!(" {} |", known.words()));
    }
    text.push_str(&format!("\n|---|{}\n", "---|".repeat(columns.len())));
    let measures: BTreeSet<Measure> = columns
        .iter()
        .flat_map(|(_, errors)| errors.keys().copied())
        .collect();
    for measure in measures {
        text.push_str(&format!(
            "| `{}`, {} |",
            measure.id(),
            measure.unit().name()
        ));
        for (_, errors) in &columns {
            text.push_str(&format!(" {:.2} |", mean_absolute(&errors[&measure])));
        }
        text.push('\n');
    }
    text + END
}

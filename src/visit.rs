//! A visit: what was photographed on one day, what could be measured, and what not and why.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use jiff::civil::Date;
use nalgebra::Matrix2;

use crate::body::{Landmark, Operated, Side, Task, View};
use crate::estimate::Estimate;
use crate::geometry::{Photo, Point};
use crate::measure::Measure;

/// Statures that are taken for one, cm, and limits that are taken for one, degrees: what lies
/// outside was meant in another unit.
pub const STATURES_CM: RangeInclusive<f64> = 80.0..=230.0;
pub const ARM_LIMITS_DEG: RangeInclusive<f64> = 0.0..=200.0;
/// How far from the body's middle a board may hang, cm: farther off it is no measure of a body.
pub const BOARD_OFFSETS_CM: RangeInclusive<f64> = -60.0..=60.0;
/// Diameters of the dots that are looked for, mm.
pub const STICKERS_MM: RangeInclusive<f64> = 8.0..=20.0;

/// What is known about a visit besides its photos; all of it optional.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct VisitFacts {
    /// "intake", "week 10", …
    pub label: Option<String>,
    pub date: Option<Date>,
    /// A code for the person, never a name.
    pub case: Option<String>,
    pub stature_cm: Option<f64>,
    pub operated: Option<Operated>,
    /// The surgeon's or therapist's limit of arm elevation, degrees.
    pub arm_limit_deg: Option<f64>,
    /// How much nearer to the camera than the body's middle the printed board hangs, cm.
    pub board_offset_cm: Option<f64>,
    /// Diameter of the stickers worn, mm.
    pub sticker_mm: Option<f64>,
}

impl VisitFacts {
    /// The limit of arm elevation for one side, degrees: the set one holds for the operated side,
    /// and for both where it is not known which was operated.
    pub fn arm_limit(&self, side: Side) -> Option<f64> {
        let concerns = match self.operated {
            Some(Operated::One(operated)) => operated == side,
            Some(Operated::Both | Operated::Neither) | None => true,
        };
        self.arm_limit_deg.filter(|_| concerns)
    }

    /// "intake, 2026-03-10", as much of it as is known; a visit that says nothing of itself is
    /// called by its number in the order of visits, counted from 1.
    pub fn title(&self, number: usize) -> String {
        let date = self.date.map(|date| date.to_string());
        let parts: Vec<String> = self.label.clone().into_iter().chain(date).collect();
        match parts.is_empty() {
            true => format!("visit {number}"),
            false => parts.join(", "),
        }
    }
}

/// One visit, measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    pub facts: VisitFacts,
    pub photos: Vec<PhotoRecord>,
    pub readings: Vec<Reading>,
    /// What concerns the visit as a whole.
    pub notices: Vec<Notice>,
}

/// What was seen in one photo.
#[derive(Clone, Debug, PartialEq)]
pub struct PhotoRecord {
    /// File name, without folders.
    pub file: String,
    /// Checksum of the file, hexadecimal, so that another file of the same name is not taken for
    /// it; `None` when it could not be read.
    pub sha256: Option<String>,
    /// Size of the upright photo; `None` when it could not be read.
    pub size: Option<(u32, u32)>,
    /// `None` when nobody was found.
    pub view: Option<View>,
    pub task: Option<Task>,
    pub landmarks: BTreeMap<Landmark, Located>,
    /// Circles that cover every face in the photo.
    pub faces: Vec<FaceCircle>,
    /// How the camera stood to the person, as far as it could be worked out.
    pub setup: Option<CameraSetup>,
    pub notices: Vec<Notice>,
}

impl PhotoRecord {
    /// The landmarks that a hand placed.
    pub fn by_hand(&self) -> impl Iterator<Item = (Landmark, &Located)> {
        let landmarks = self.landmarks.iter();
        landmarks
            .filter(|(_, located)| located.evidence == Evidence::Manual)
            .map(|(landmark, located)| (*landmark, located))
    }

    pub fn has_by_hand(&self) -> bool {
        self.by_hand().next().is_some()
    }

    /// The record of a photo of which nothing is known but its name.
    pub fn of(file: &str) -> PhotoRecord {
        PhotoRecord {
            file: file.to_owned(),
            sha256: None,
            size: None,
            view: None,
            task: None,
            landmarks: BTreeMap::new(),
            faces: Vec::new(),
            setup: None,
            notices: Vec::new(),
        }
    }
}

/// How the camera stood to the person, with what is unknown about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameraSetup {
    /// Lens to the middle of the body along the floor, cm.
    pub distance_cm: Estimate,
    /// Lens above the floor, cm.
    pub lens_height_cm: Estimate,
    /// Body against the exact view, degrees; + = the end to the photo's right is turned away.
    pub turn_deg: Estimate,
    /// Camera against the vertical, degrees, where something upright in the room tells it; + =
    /// turned clockwise seen from behind it, and looking upwards.
    pub roll_deg: Option<Estimate>,
    pub pitch_deg: Option<Estimate>,
    /// Millimetres of the body's plane in one pixel; `None` without a stature or a board.
    pub mm_per_px: Option<Estimate>,
    /// Whether a printed board beside the person told scale and plumb line.
    pub by_board: bool,
}

/// A landmark in the upright photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Located {
    pub at: Point<Photo>,
    /// Pixels squared.
    pub covariance: Matrix2<f64>,
    pub evidence: Evidence,
    /// Something lies over it: it was placed by what shows around it.
    pub covered: bool,
}

impl Located {
    /// One-sigma radius of a circle with the same area as the one-sigma ellipse, pixels.
    pub fn sigma_px(&self) -> f64 {
        self.covariance.determinant().max(0.0).powf(0.25)
    }
}

/// Who says where a landmark is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Evidence {
    /// The general pose net.
    PoseNet,
    /// The net of the trade's landmarks.
    LandmarkNet,
    /// Both nets, each as far as it is sure.
    BothNets,
    /// A sticker on it, joined with what the nets see.
    Sticker,
    /// A person placed it.
    Manual,
}

impl Evidence {
    pub const ALL: [Evidence; 5] = [
        Evidence::PoseNet,
        Evidence::LandmarkNet,
        Evidence::BothNets,
        Evidence::Sticker,
        Evidence::Manual,
    ];

    pub const fn name(self) -> &'static str {
        match self {
            Evidence::PoseNet => "pose_net",
            Evidence::LandmarkNet => "landmark_net",
            Evidence::BothNets => "both_nets",
            Evidence::Sticker => "sticker",
            Evidence::Manual => "manual",
        }
    }

    pub fn from_name(name: &str) -> Option<Evidence> {
        Evidence::ALL
            .into_iter()
            .find(|evidence| evidence.name() == name)
    }
}

/// A face to cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaceCircle {
    pub centre: Point<Photo>,
    pub radius: f64,
}

/// A measure as one visit's photos gave it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub measure: Measure,
    pub side: Option<Side>,
    /// The photo it was read from; for a comparison of two photos, both, joined by " + ".
    pub photo: String,
    /// In the measure's outer unit, or why there is no number.
    pub outcome: Result<Estimate, Unmeasured>,
}

/// Why a measure has no value, in words for the person who reads the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unmeasured {
    pub reason: String,
}

impl Unmeasured {
    pub fn because(reason: impl Into<String>) -> Self {
        Unmeasured {
            reason: reason.into(),
        }
    }
}

/// Something the reader should know about a photo or a visit; it never stops the work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    pub kind: NoticeKind,
    pub text: String,
    /// For the person at home, where that takes other words; records don't keep them.
    at_home: Option<String>,
}

/// What a notice is about, for those who treat some of them in their own way. A record keeps the
/// text alone, so the kinds that are to be known again are told by how the text begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoticeKind {
    Other,
    /// An arm was above the limit set for it.
    AboveLimit,
    /// An arm was read above its limit, within the error.
    MayBeAboveLimit,
    /// An arm was read below its limit, within the error.
    MayBeAtLimit,
    /// From where the photo was taken is in doubt.
    View,
    /// Whether the arms hang or reach is in doubt.
    Task,
    /// Nobody gave a stature.
    Stature,
    /// Text is part of the picture, by what its file says.
    TextInPicture,
}

impl NoticeKind {
    pub const ALL: [NoticeKind; 8] = [
        NoticeKind::Other,
        NoticeKind::AboveLimit,
        NoticeKind::MayBeAboveLimit,
        NoticeKind::MayBeAtLimit,
        NoticeKind::View,
        NoticeKind::Task,
        NoticeKind::Stature,
        NoticeKind::TextInPicture,
    ];

    pub const fn id(self) -> &'static str {
        match self {
            NoticeKind::Other => "other",
            NoticeKind::AboveLimit => "above_limit",
            NoticeKind::MayBeAboveLimit => "may_be_above_limit",
            NoticeKind::MayBeAtLimit => "may_be_at_limit",
            NoticeKind::View => "view",
            NoticeKind::Task => "task",
            NoticeKind::Stature => "stature",
            NoticeKind::TextInPicture => "text_in_picture",
        }
    }

    pub fn from_id(id: &str) -> Option<NoticeKind> {
        NoticeKind::ALL.into_iter().find(|kind| kind.id() == id)
    }

    const fn opening(self) -> &'static str {
        match self {
            NoticeKind::AboveLimit => "Above the set limit: ",
            NoticeKind::MayBeAboveLimit => "May be above the set limit: ",
            NoticeKind::MayBeAtLimit => "May be at the set limit: ",
            NoticeKind::Other
            | NoticeKind::View
            | NoticeKind::Task
            | NoticeKind::Stature
            | NoticeKind::TextInPicture => "",
        }
    }
}

impl Notice {
    pub fn new(text: impl Into<String>) -> Self {
        Notice::about(NoticeKind::Other, text)
    }

    pub fn about(kind: NoticeKind, text: impl Into<String>) -> Self {
        Notice {
            kind,
            text: text.into(),
            at_home: None,
        }
    }

    /// One about an arm and its limit: `kind` says how it stands, `text` the rest of it.
    pub fn about_limit(kind: NoticeKind, text: impl std::fmt::Display) -> Self {
        Notice::about(kind, format!("{}{text}", kind.opening()))
    }

    /// The same, said in other words to the person at home.
    pub fn at_home_as(self, words: impl Into<String>) -> Self {
        Notice {
            at_home: Some(words.into()),
            ..self
        }
    }

    /// What the person at home is told.
    pub fn at_home(&self) -> &str {
        self.at_home.as_deref().unwrap_or(&self.text)
    }
}

impl Visit {
    /// Readings that have a number.
    pub fn measured(&self) -> impl Iterator<Item = (&Reading, Estimate)> {
        self.readings
            .iter()
            .filter_map(|reading| reading.outcome.as_ref().ok().map(|value| (reading, *value)))
    }

    /// All readings of one measure on one side. More than one when several photos show it.
    pub fn readings_of(
        &self,
        measure: Measure,
        side: Option<Side>,
    ) -> impl Iterator<Item = &Reading> {
        self.readings
            .iter()
            .filter(move |reading| reading.measure == measure && reading.side == side)
    }

    /// Whether anything that was looked for could not be measured.
    pub fn is_complete(&self) -> bool {
        self.photos.iter().all(|photo| {
            photo
                .view
                .is_some_and(|view| !matches!(view, View::Oblique(_)))
        }) && self.readings.iter().all(|reading| reading.outcome.is_ok())
    }

    /// What it is called, by its number where it says nothing of itself.
    pub fn title(&self, number: usize) -> String {
        self.facts.title(number)
    }
}

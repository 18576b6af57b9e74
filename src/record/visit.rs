//! The record of a measured visit: what `measure` prints as JSON and saves.

use std::collections::BTreeMap;

use nalgebra::Matrix2;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::facts::FactsFile;
use super::{RecordError, migrate, pretty, wrong};
use crate::body::{Landmark, Side, Task, View};
use crate::estimate::Estimate;
use crate::geometry::Point;
use crate::measure::Measure;
use crate::repeats;
use crate::visit::{
    CameraSetup, Evidence, FaceCircle, Located, Notice, NoticeKind, PhotoRecord, Reading,
    Unmeasured, Visit, VisitFacts,
};

/// Version of the file format.
pub const SCHEMA: &str = "tragus-visit/2";

#[derive(Deserialize, JsonSchema, Serialize)]
pub(super) struct VisitFile {
    #[schemars(extend("const" = SCHEMA))]
    schema: String,
    visit: FactsFile,
    photos: Vec<PhotoFile>,
    measures: Vec<MeasureFile>,
    unmeasured: Vec<UnmeasuredFile>,
    /// Told by the measures: written for whoever reads the file, and not read back.
    #[serde(default, skip_deserializing, skip_serializing_if = "Vec::is_empty")]
    repeats: Vec<RepeatsFile>,
    notices: Vec<String>,
    /// What each notice is about, where one of them is about something that is acted on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    notice_kinds: Vec<String>,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct PhotoFile {
    file: String,
    sha256: Option<String>,
    size: Option<Size>,
    view: Option<String>,
    task: Option<String>,
    side: String,
    landmarks: BTreeMap<String, LandmarkFile>,
    faces: Vec<Circle>,
    #[serde(skip_serializing_if = "Option::is_none")]
    camera: Option<CameraFile>,
    notices: Vec<String>,
    /// What each notice is about, where one of them is about something that is acted on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    notice_kinds: Vec<String>,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct CameraFile {
    distance_cm: EstimateFile,
    lens_height_cm: EstimateFile,
    turn_deg: EstimateFile,
    #[serde(skip_serializing_if = "Option::is_none")]
    roll_deg: Option<EstimateFile>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pitch_deg: Option<EstimateFile>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mm_per_px: Option<EstimateFile>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    by_board: bool,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct EstimateFile {
    value: f64,
    sigma: f64,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct Size {
    width: u32,
    height: u32,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct LandmarkFile {
    x: f64,
    y: f64,
    sigma_px: f64,
    /// xx, xy, yy in pixels squared.
    covariance: [f64; 3],
    #[schemars(extend("enum" = Evidence::ALL.map(Evidence::name)))]
    evidence: String,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    covered: bool,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct Circle {
    x: f64,
    y: f64,
    radius: f64,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct MeasureFile {
    measure: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    of: Option<String>,
    side: String,
    photo: String,
    value: f64,
    #[schemars(extend("exclusiveMinimum" = 0))]
    sigma: f64,
    unit: String,
}

#[derive(JsonSchema, Serialize)]
struct RepeatsFile {
    measure: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    of: Option<String>,
    side: String,
    photos: usize,
    value: f64,
    sigma: f64,
    /// Of a single photo, by the spread within the visit.
    sem: f64,
    unit: String,
}

#[derive(Deserialize, JsonSchema, Serialize)]
struct UnmeasuredFile {
    measure: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    of: Option<String>,
    side: String,
    photo: String,
    unit: String,
    reason: String,
}

/// No photo that is read is larger than this, pixels.
const LARGEST_PIXEL: f64 = 1e5;

/// Writes a visit as its record.
pub fn visit_to_json(visit: &Visit) -> String {
    let file = VisitFile::from(visit);
    pretty(&file)
}

/// Reads a record back, also one of an earlier version of the format.
pub fn visit_from_json(text: &str) -> Result<Visit, RecordError> {
    migrate::visit(text)?.try_into()
}

/// Positions to a hundredth of a pixel and values to a thousandth: finer digits are noise, and
/// they differ between machines.
fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}

impl From<&Visit> for VisitFile {
    fn from(visit: &Visit) -> Self {
        let side = |side: Option<Side>| side.map_or("", Side::name).to_owned();
        let of = |measure: Measure| measure.of().map(|of| of.id().to_owned());
        let mut measures = Vec::new();
        let mut unmeasured = Vec::new();
        for reading in &visit.readings {
            match &reading.outcome {
                Ok(estimate) => measures.push(MeasureFile {
                    measure: reading.measure.id().to_owned(),
                    of: of(reading.measure),
                    side: side(reading.side),
                    photo: reading.photo.clone(),
                    value: rounded(estimate.value, 3),
                    sigma: rounded(estimate.sigma, 3).max(0.001),
                    unit: reading.measure.unit().name().to_owned(),
                }),
                Err(why) => unmeasured.push(UnmeasuredFile {
                    measure: reading.measure.id().to_owned(),
                    of: of(reading.measure),
                    side: side(reading.side),
                    photo: reading.photo.clone(),
                    unit: reading.measure.unit().name().to_owned(),
                    reason: why.reason.clone(),
                }),
            }
        }
        let repeats = repeats::all(visit)
            .into_iter()
            .map(|(measure, on, repeats)| RepeatsFile {
                measure: measure.id().to_owned(),
                of: of(measure),
                side: side(on),
                photos: repeats.count,
                value: rounded(repeats.mean.value, 3),
                sigma: rounded(repeats.mean.sigma, 3).max(0.001),
                sem: rounded(repeats.sem, 3),
                unit: measure.unit().name().to_owned(),
            })
            .collect();
        VisitFile {
            schema: SCHEMA.to_owned(),
            visit: FactsFile::from(&visit.facts),
            photos: visit.photos.iter().map(PhotoFile::from).collect(),
            measures,
            unmeasured,
            repeats,
            notices: texts(&visit.notices),
            notice_kinds: kinds(&visit.notices),
        }
    }
}

fn texts(notices: &[Notice]) -> Vec<String> {
    notices.iter().map(|notice| notice.text.clone()).collect()
}

fn kinds(notices: &[Notice]) -> Vec<String> {
    match notices
        .iter()
        .all(|notice| notice.kind == NoticeKind::Other)
    {
        true => Vec::new(),
        false => notices
            .iter()
            .map(|notice| notice.kind.id().to_owned())
            .collect(),
    }
}

fn notices(texts: Vec<String>, kinds: &[String]) -> Result<Vec<Notice>, RecordError> {
    if !kinds.is_empty() && kinds.len() != texts.len() {
        let got = format!("{} for {} notices", kinds.len(), texts.len());
        return Err(wrong("notice_kinds", got, "one for each notice"));
    }
    let kind = |index: usize| match kinds.get(index) {
        None => Ok(NoticeKind::Other),
        Some(id) => NoticeKind::from_id(id).ok_or_else(|| {
            let known = NoticeKind::ALL.map(NoticeKind::id).join(", ");
            wrong("notice_kinds", format!("{id:?}"), format!("one of {known}"))
        }),
    };
    texts
        .into_iter()
        .enumerate()
        .map(|(index, text)| Ok(Notice::about(kind(index)?, text)))
        .collect()
}

impl From<&PhotoRecord> for PhotoFile {
    fn from(photo: &PhotoRecord) -> Self {
        PhotoFile {
            file: photo.file.clone(),
            sha256: photo.sha256.clone(),
            size: photo.size.map(|(width, height)| Size { width, height }),
            view: photo.view.map(|view| view.name().to_owned()),
            task: photo.task.map(|task| task.name().to_owned()),
            side: photo
                .view
                .and_then(View::near_side)
                .map_or("", Side::name)
                .to_owned(),
            landmarks: photo
                .landmarks
                .iter()
                .map(|(landmark, located)| {
                    // What is read back has to be written as the same again.
                    let located = Located {
                        covariance: located.covariance.map(|v| rounded(v, 3)),
                        ..*located
                    };
                    let c = &located.covariance;
                    let file = LandmarkFile {
                        x: rounded(located.at.x, 2),
                        y: rounded(located.at.y, 2),
                        sigma_px: rounded(located.sigma_px(), 2),
                        covariance: [c[(0, 0)], c[(0, 1)], c[(1, 1)]],
                        evidence: located.evidence.name().to_owned(),
                        covered: located.covered,
                    };
                    (landmark.name(), file)
                })
                .collect(),
            faces: photo
                .faces
                .iter()
                .map(|face| Circle {
                    x: rounded(face.centre.x, 1),
                    y: rounded(face.centre.y, 1),
                    radius: rounded(face.radius, 1),
                })
                .collect(),
            camera: photo.setup.as_ref().map(CameraFile::from),
            notices: texts(&photo.notices),
            notice_kinds: kinds(&photo.notices),
        }
    }
}

impl From<&CameraSetup> for CameraFile {
    fn from(setup: &CameraSetup) -> Self {
        let file = |estimate: Estimate| EstimateFile {
            value: rounded(estimate.value, 3),
            sigma: rounded(estimate.sigma, 3),
        };
        CameraFile {
            distance_cm: file(setup.distance_cm),
            lens_height_cm: file(setup.lens_height_cm),
            turn_deg: file(setup.turn_deg),
            roll_deg: setup.roll_deg.map(file),
            pitch_deg: setup.pitch_deg.map(file),
            mm_per_px: setup.mm_per_px.map(file),
            by_board: setup.by_board,
        }
    }
}

impl From<CameraFile> for CameraSetup {
    fn from(file: CameraFile) -> Self {
        let estimate = |file: EstimateFile| Estimate::new(file.value, file.sigma);
        CameraSetup {
            distance_cm: estimate(file.distance_cm),
            lens_height_cm: estimate(file.lens_height_cm),
            turn_deg: estimate(file.turn_deg),
            roll_deg: file.roll_deg.map(estimate),
            pitch_deg: file.pitch_deg.map(estimate),
            mm_per_px: file.mm_per_px.map(estimate),
            by_board: file.by_board,
        }
    }
}

impl TryFrom<VisitFile> for Visit {
    type Error = RecordError;

    fn try_from(file: VisitFile) -> Result<Self, RecordError> {
        let mut readings = Vec::new();
        for m in file.measures {
            if !(m.value.is_finite() && m.sigma.is_finite() && m.sigma > 0.0) {
                let got = format!("{} ± {}", m.value, m.sigma);
                return Err(wrong(&m.measure, got, "a number with an error above 0"));
            }
            readings.push(Reading {
                measure: measure(&m.measure, &m.unit, m.of.as_deref())?,
                side: side(&m.side)?,
                photo: m.photo,
                outcome: Ok(Estimate::new(m.value, m.sigma)),
            });
        }
        for u in file.unmeasured {
            readings.push(Reading {
                measure: measure(&u.measure, &u.unit, u.of.as_deref())?,
                side: side(&u.side)?,
                photo: u.photo,
                outcome: Err(Unmeasured::because(u.reason)),
            });
        }
        Ok(Visit {
            facts: VisitFacts::try_from(file.visit)?,
            photos: file
                .photos
                .into_iter()
                .map(PhotoRecord::try_from)
                .collect::<Result<_, _>>()?,
            readings,
            notices: notices(file.notices, &file.notice_kinds)?,
        })
    }
}

impl TryFrom<PhotoFile> for PhotoRecord {
    type Error = RecordError;

    fn try_from(file: PhotoFile) -> Result<Self, RecordError> {
        let near = side(&file.side)?;
        // A record names photos beside it, and nothing else on the disk.
        if file.file.contains(['/', '\\']) || file.file == ".." {
            return Err(wrong(
                "file",
                format!("{:?}", file.file),
                "a file name without folders",
            ));
        }
        let view = file
            .view
            .map(|name| match (name.as_str(), near) {
                ("side", Some(near)) => Ok(View::Side(near)),
                ("front", None) => Ok(View::Front),
                ("back", None) => Ok(View::Back),
                ("oblique", Some(near)) => Ok(View::Oblique(near)),
                _ => Err(wrong(
                    "view",
                    format!("{name:?} with side {:?}", file.side),
                    "side or oblique with left or right, or front or back without",
                )),
            })
            .transpose()?;
        let task = file
            .task
            .map(|name| match name.as_str() {
                "stand" => Ok(Task::Stand),
                "reach" => Ok(Task::Reach),
                other => Err(wrong("task", format!("{other:?}"), "stand or reach")),
            })
            .transpose()?;
        let landmarks = file
            .landmarks
            .into_iter()
            .map(|(name, l)| {
                let landmark = Landmark::from_name(&name)
                    .ok_or_else(|| wrong("landmark", format!("{name:?}"), "a known landmark"))?;
                let evidence = Evidence::from_name(&l.evidence).ok_or_else(|| {
                    wrong(
                        "evidence",
                        format!("{:?}", l.evidence),
                        Evidence::ALL.map(Evidence::name).join(" or "),
                    )
                })?;
                let [xx, xy, yy] = l.covariance;
                let possible = [l.x, l.y].iter().all(|v| v.abs() <= LARGEST_PIXEL)
                    && [xx, xy, yy].iter().all(|v| v.is_finite());
                if !possible {
                    return Err(wrong(
                        &name,
                        format!("({}, {})", l.x, l.y),
                        "a place in the photo",
                    ));
                }
                let located = Located {
                    at: Point::new(l.x, l.y),
                    covariance: Matrix2::new(xx, xy, xy, yy),
                    evidence,
                    covered: l.covered,
                };
                Ok((landmark, located))
            })
            .collect::<Result<_, RecordError>>()?;
        Ok(PhotoRecord {
            file: file.file,
            sha256: file.sha256,
            size: file.size.map(|size| (size.width, size.height)),
            view,
            task,
            landmarks,
            faces: file
                .faces
                .into_iter()
                .filter(|circle| circle.radius > 0.0)
                .map(|circle| FaceCircle {
                    centre: Point::new(circle.x, circle.y),
                    radius: circle.radius,
                })
                .collect(),
            setup: file.camera.map(CameraSetup::from),
            notices: notices(file.notices, &file.notice_kinds)?,
        })
    }
}

fn measure(id: &str, unit: &str, of: Option<&str>) -> Result<Measure, RecordError> {
    Measure::from_file(id, unit, of).ok_or_else(|| {
        wrong(
            "measure",
            format!("{id:?} in {unit:?}"),
            "one of the catalogue",
        )
    })
}

fn side(name: &str) -> Result<Option<Side>, RecordError> {
    if name.is_empty() {
        return Ok(None);
    }
    Side::from_name(name)
        .map(Some)
        .ok_or_else(|| wrong("side", format!("{name:?}"), "left, right or empty"))
}

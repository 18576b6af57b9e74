//! Real people with joints placed by hand (COCO keypoints, CC BY 4.0), where the photos are at
//! hand; elsewhere each test says that it skipped.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use image::RgbImage;
use image::imageops::crop_imm;
use serde_json::Value;
use tragus::body::{Landmark, Side, View};
use tragus::geometry::{Angle, Point};
use tragus::infer::{Effort, Sample};
use tragus::locate::{self, Landmarks, Missing, Shown, Wish};
use tragus::photo::{CameraTags, Photo};
use tragus::plumb::{self, Area};
use tragus::scale;

use crate::common;

/// COCO's per-keypoint constants: the spread of human annotators as a part of √area
/// (cocodataset.org, keypoint evaluation).
const HUMAN_SIGMAS: [f64; 17] = [
    0.026, 0.025, 0.025, 0.035, 0.035, 0.079, 0.079, 0.072, 0.072, 0.062, 0.062, 0.107, 0.107,
    0.087, 0.087, 0.089, 0.089,
];

/// Where our landmarks stand in COCO's list; the eyes are left out, since ours is the outer corner.
fn keypoints() -> Vec<(usize, Landmark)> {
    use Landmark::{Ankle, Elbow, HipJoint, Knee, Nose, ShoulderJoint, Tragus, Wrist};
    let pairs = [
        Side::BOTH.map(Tragus),
        Side::BOTH.map(ShoulderJoint),
        Side::BOTH.map(Elbow),
        Side::BOTH.map(Wrist),
        Side::BOTH.map(HipJoint),
        Side::BOTH.map(Knee),
        Side::BOTH.map(Ankle),
    ];
    // Nose, then the two eyes, then the pairs, left first.
    [(0, Nose)]
        .into_iter()
        .chain((3..).zip(pairs.into_iter().flatten()))
        .collect()
}

struct Annotated {
    photo: PathBuf,
    bbox: [f64; 4],
    area: f64,
    points: Vec<Option<(f64, f64)>>,
    view: String,
    posture: String,
    grade: String,
}

fn annotated(folder: &Path) -> Vec<Annotated> {
    let text = std::fs::read_to_string(folder.join("annotations.json")).expect("annotations");
    let json: Value = serde_json::from_str(&text).expect("annotations");
    let files: BTreeMap<i64, &str> = json["images"]
        .as_array()
        .expect("images")
        .iter()
        .map(|i| {
            (
                i["id"].as_i64().expect("id"),
                i["file_name"].as_str().expect("name"),
            )
        })
        .collect();
    json["annotations"]
        .as_array()
        .expect("annotations")
        .iter()
        .filter(|a| a["view"].is_string() && a["keypoints"].is_array())
        .map(|a| {
            let numbers = |v: &Value| -> Vec<f64> {
                v.as_array()
                    .expect("list")
                    .iter()
                    .filter_map(Value::as_f64)
                    .collect()
            };
            let text = |v: &Value| v.as_str().unwrap_or("").to_owned();
            let bbox: [f64; 4] = numbers(&a["bbox"]).try_into().expect("a box");
            Annotated {
                photo: folder
                    .join("images")
                    .join(files[&a["image_id"].as_i64().expect("id")]),
                bbox,
                area: a["area"].as_f64().unwrap_or(0.53 * bbox[2] * bbox[3]),
                points: numbers(&a["keypoints"])
                    .chunks(3)
                    .map(|p| (p[2] > 0.0).then_some((p[0] + 0.5, p[1] + 0.5)))
                    .collect(),
                view: text(&a["view"]),
                posture: text(&a["posture"]),
                grade: text(&a["grade"]),
            }
        })
        .collect()
}

/// The person with some room around them, so that they are the largest central one.
fn cut_out(person: &Annotated) -> (RgbImage, f64, f64) {
    let whole = image::open(&person.photo).expect("a photo").into_rgb8();
    let [x, y, w, h] = person.bbox;
    let room = 0.2 * w.max(h);
    let (left, top) = ((x - room).max(0.0), (y - room).max(0.0));
    let right = (x + w + room).min(f64::from(whole.width()));
    let bottom = (y + h + room).min(f64::from(whole.height()));
    let (left, top) = (left.floor(), top.floor());
    let cut = crop_imm(
        &whole,
        left as u32,
        top as u32,
        (right - left) as u32,
        (bottom - top) as u32,
    )
    .to_image();
    (cut, left, top)
}

struct Found {
    person: Annotated,
    samples: Vec<Sample>,
    recognised: locate::Recognised,
    /// Position of each landmark in the whole photo.
    at: BTreeMap<Landmark, (f64, f64)>,
    /// The same as the general pose net alone has it.
    by_general_net: BTreeMap<Landmark, (f64, f64)>,
    missing: BTreeMap<Landmark, Missing>,
}

fn found() -> Option<&'static [Found]> {
    static FOUND: OnceLock<Option<Vec<Found>>> = OnceLock::new();
    FOUND.get_or_init(find_all).as_deref()
}

fn find_all() -> Option<Vec<Found>> {
    let folder = common::real_photos()?;
    let people = annotated(&folder);
    assert!(people.len() >= 20, "only {} annotated people", people.len());
    let all = people
        .into_iter()
        .filter_map(|person| {
            let (cut, left, top) = cut_out(&person);
            let photo = Photo::new(cut, CameraTags::default());
            let search = common::finder()
                .search(&photo, Effort::Thorough)
                .expect("the nets");
            let samples = search.person?.samples;
            let recognised = locate::recognise(&samples, Wish::default())?;
            let samples: Vec<Sample> = if recognised.swapped {
                samples.iter().map(Sample::with_sides_exchanged).collect()
            } else {
                samples
            };
            // What the tool itself would report: corrected, and only where it is sure enough.
            let size = (photo.width(), photo.height());
            let (view, task) = (recognised.view, recognised.task);
            let general = locate::combine(&samples, view, task, size);
            let mut landmarks = general.clone();
            if let (Some(squares), Some(stature)) = (
                locate::squares(&samples, size),
                locate::stature_px(&samples, size),
            ) {
                let close_ups = common::finder().plan_close_ups(&squares, view, Effort::Thorough);
                let looks = common::finder()
                    .look_closer(&photo, &close_ups)
                    .expect("the nets");
                let shown = Shown {
                    view,
                    task,
                    size,
                    stature,
                };
                locate::refine(&mut landmarks, &looks, shown);
            }
            let places = |landmarks: &Landmarks| {
                landmarks
                    .found
                    .iter()
                    .map(|(&landmark, located)| {
                        (landmark, (located.at.x + left, located.at.y + top))
                    })
                    .collect()
            };
            Some(Found {
                person,
                samples,
                recognised,
                at: places(&landmarks),
                by_general_net: places(&general),
                missing: landmarks.missing,
            })
        })
        .collect();
    Some(all)
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn joints_of_real_people_lie_within_the_spread_of_human_annotators() {
    let Some(found) = found() else {
        eprintln!("SKIPPED: the photos of real people are not on this machine");
        return;
    };
    assert!(found.len() >= 20, "only {} people were found", found.len());
    let mut all = Vec::new();
    for (index, landmark) in keypoints() {
        let errors_of = |places: fn(&Found) -> &BTreeMap<Landmark, (f64, f64)>| -> Vec<f64> {
            found
                .iter()
                .filter_map(|f| {
                    let (x, y) = f.person.points[index]?;
                    let (u, v) = *places(f).get(&landmark)?;
                    let unit = HUMAN_SIGMAS[index] * f.person.area.sqrt();
                    Some((u - x).hypot(v - y) / unit)
                })
                .collect()
        };
        let mut errors = errors_of(|f| &f.at);
        if errors.is_empty() {
            continue;
        }
        all.extend(errors.iter().copied());
        let missing: Vec<&str> = found
            .iter()
            .filter(|f| f.by_general_net.contains_key(&landmark))
            .filter_map(|f| f.missing.get(&landmark))
            .map(|missing| missing.words())
            .collect();
        println!(
            "{landmark:24} n {:2}  median {:.2}, general net {:.2}; taken away: {missing:?}",
            errors.len(),
            median(&mut errors),
            median(&mut errors_of(|f| &f.by_general_net)),
        );
    }
    let overall = median(&mut all);
    println!(
        "{} people, {} joints, median {overall:.2}",
        found.len(),
        all.len()
    );
    assert!(
        overall < 1.0,
        "median error {overall:.2} of the annotators' spread"
    );
}

#[test]
fn left_and_right_are_never_exchanged_on_upright_people() {
    let Some(found) = found() else {
        eprintln!("SKIPPED: the photos of real people are not on this machine");
        return;
    };
    let mut checked = 0;
    for f in found {
        let upright = f.person.posture.starts_with("standing") && f.person.grade != "C";
        let (Some(left), Some(right)) = (f.person.points[5], f.person.points[6]) else {
            continue;
        };
        let across = left.0 - right.0;
        // From the side the shoulders lie over one another and have no order.
        if !upright || across.abs() < 0.1 * f.person.bbox[3] {
            continue;
        }
        let ours = |side| f.at.get(&Landmark::ShoulderJoint(side));
        let (Some(ours_left), Some(ours_right)) = (ours(Side::Left), ours(Side::Right)) else {
            continue;
        };
        checked += 1;
        let ours = ours_left.0 - ours_right.0;
        assert!(
            across * ours > 0.0,
            "sides exchanged: {} ({}), {:?}",
            f.person.photo.display(),
            f.person.posture,
            f.recognised
        );
    }
    assert!(checked >= 8, "only {checked} people to check");
}

#[test]
fn front_and_back_of_upright_people_are_told_apart() {
    let Some(found) = found() else {
        eprintln!("SKIPPED: the photos of real people are not on this machine");
        return;
    };
    let mut checked = 0;
    for f in found {
        if !f.person.posture.starts_with("standing") || f.person.grade == "C" {
            continue;
        }
        let wrong = match f.person.view.as_str() {
            "front" => View::Back,
            "back" => View::Front,
            _ => continue,
        };
        checked += 1;
        println!(
            "{} is {}: {:?}, {} looks",
            f.person.photo.display(),
            f.person.view,
            f.recognised,
            f.samples.len()
        );
        assert_ne!(f.recognised.view, wrong, "{}", f.person.photo.display());
    }
    assert!(checked >= 8, "only {checked} people to check");
}

/// Nobody held these cameras far askew, whatever leans in their pictures.
#[test]
fn no_wild_vertical_is_read_from_real_photos() {
    let Some(folder) = common::real_photos() else {
        eprintln!("SKIPPED: the photos of real people are not on this machine");
        return;
    };
    let mut told = 0;
    for person in annotated(&folder) {
        let picture = image::open(&person.photo).expect("a photo").into_rgb8();
        let photo = Photo::new(picture, CameraTags::default());
        let [x, y, width, height] = person.bbox;
        let area = Area {
            low: Point::new(x, y),
            high: Point::new(x + width, y + height),
        };
        let focal = scale::focal_px(None, photo.width(), photo.height());
        let Some(plumb) = plumb::read(&photo, focal, &area) else {
            continue;
        };
        told += 1;
        let roll = Angle::from_radians(plumb.roll.value).degrees();
        assert!(roll.abs() < 4.0, "{}: {plumb:?}", person.photo.display());
    }
    assert!(told >= 10, "only {told} people stand among uprights");
}

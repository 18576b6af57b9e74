//! Reads what `scripts/people/` writes about its photos.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tragus::body::{Landmark, Side, Task, View};
use tragus::geometry::{Angle, Photo, Point};
use tragus::measure::Measure;
use tragus::scale::Camera;

/// The folder itself, or those in it, that hold a truth.
pub fn folders(folder: &Path) -> Vec<PathBuf> {
    if folder.join("truth.json").is_file() {
        return vec![folder.to_owned()];
    }
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap_or_else(|error| panic!("{error}: {}", folder.display()))
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.join("truth.json").is_file())
        .collect();
    found.sort();
    found
}

/// The photos of a folder that holds a `truth.json`, with what is true of them.
pub fn photos(folder: &Path) -> Vec<(String, Value)> {
    let path = folder.join("truth.json");
    let text = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{error}: {}", path.display()));
    let mut truth: Value = serde_json::from_str(&text).expect("truth.json");
    let shared_stature = truth["stature_mm"].take();
    let Value::Object(photos) = truth["photos"].take() else {
        panic!("no photos in {}", path.display());
    };
    photos
        .into_iter()
        .map(|(file, mut photo)| {
            // People who share a folder carry their statures with their photos.
            if photo["stature_mm"].is_null() {
                photo["stature_mm"] = shared_stature.clone();
            }
            (file, photo)
        })
        .collect()
}

pub fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

pub fn word(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

/// `None` in an oblique view and in an empty room.
pub fn view(photo: &Value) -> Option<View> {
    match (word(&photo["view"]), Side::from_name(word(&photo["side"]))) {
        ("side", Some(near)) => Some(View::Side(near)),
        ("front", _) => Some(View::Front),
        ("back", _) => Some(View::Back),
        _ => None,
    }
}

pub fn task(photo: &Value) -> Task {
    Task::from_name(word(&photo["task"])).expect("a task")
}

pub fn camera(photo: &Value) -> Camera {
    let of = |name: &str| number(&photo["camera"][name]);
    Camera {
        focal: of("focal_px"),
        centre: Point::new(
            number(&photo["width"]) / 2.0,
            number(&photo["height"]) / 2.0,
        ),
        distance: 1000.0 * of("distance_m"),
        height: 1000.0 * of("height_m"),
        pitch: Angle::from_degrees(of("pitch_deg")),
        roll: Angle::from_degrees(of("roll_deg")),
        turn: Angle::from_degrees(of("turn_deg")),
    }
}

/// Pixels of a point, where it lies in the photo.
pub fn pixel(photo: &Value, name: &str) -> Option<Point<Photo>> {
    let at = &photo["landmarks"][name];
    Some(Point::new(at["x"].as_f64()?, at["y"].as_f64()?))
}

/// Pixels of the landmarks that lie in the photo, hidden ones too.
pub fn pixels(photo: &Value) -> BTreeMap<Landmark, Point<Photo>> {
    Landmark::all()
        .filter_map(|landmark| Some((landmark, pixel(photo, &landmark.name())?)))
        .collect()
}

/// The point of the back that stands farthest behind the chord. The catalogue makes do with a curve
/// through what can be palpated, and so reads a round back somewhat flat.
pub const APEX: &str = "thoracic_apex";

/// A true measure, in its outer unit.
pub struct TrueMeasure {
    pub measure: Measure,
    pub side: Option<Side>,
    pub value: f64,
}

pub fn measures(photo: &Value) -> Vec<TrueMeasure> {
    let of = |truth: &Value| {
        let (id, unit) = (word(&truth["measure"]), word(&truth["unit"]));
        TrueMeasure {
            measure: Measure::from_file(id, unit, truth["of"].as_str())
                .unwrap_or_else(|| panic!("no measure for {truth}")),
            side: Side::from_name(word(&truth["side"])),
            value: number(&truth["value"]),
        }
    };
    let all = photo["measures"].as_array().expect("measures");
    all.iter().map(of).collect()
}

//! How far tragus is from the truth on rendered people.
//!
//! `cargo run --release --example accuracy -- FOLDER...` measures every folder that holds a
//! `visit.json` and a `truth.json` (made by `scripts/people/`) and prints, for each landmark and
//! measure, the error against the truth, its bias, and how often it lies within the stated error.
//! `--readme FILE` measures one truth set of two cameras instead, and puts its table into FILE.
//! `--each` also prints every reading, `--heavy` uses the heavy pose net, `--quick` looks as often as
//! a batch does. `--table` prints nothing of that, but each net by itself: the rows of
//! `locate::accuracy` and `locate::landmark_accuracy`. With `ORT_DYLIB_PATH` set, that ONNX Runtime
//! runs the nets. The figures in `locate`, `scale::stature` and README come from here.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tragus::body::{Landmark, View};
use tragus::infer::{Effort, Finder, PoseNetKind, Runtime, RuntimeChoice};
use tragus::locate::{Wish, accuracy};
use tragus::pipeline::{self, PhotoInput};
use tragus::record;
use tragus::visit::VisitFacts;

#[derive(Default)]
struct Errors {
    /// Error, and stated sigma, of each case.
    cases: Vec<(f64, f64)>,
}

impl Errors {
    fn push(&mut self, error: f64, sigma: f64) {
        self.cases.push((error, sigma));
    }

    fn line(&self) -> String {
        let n = self.cases.len() as f64;
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| self.cases.iter().map(of).sum::<f64>() / n;
        let within = |k: f64| 100.0 * mean(&|c| f64::from(u8::from(c.0.abs() <= k * c.1)));
        let worst = self.cases.iter().map(|c| c.0.abs()).fold(0.0, f64::max);
        format!(
            "n {n:3}  mean |e| {:6.2}  bias {:6.2}  rms {:6.2}  worst {worst:6.2}  sigma {:6.2}  \
             within 1s {:3.0} %  2s {:3.0} %",
            mean(&|c| c.0.abs()),
            mean(&|c| c.0),
            mean(&|c| c.0 * c.0).sqrt(),
            mean(&|c| c.1),
            within(1.0),
            within(2.0),
        )
    }
}

mod nets;
mod perspective;
mod table;
mod truth;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let [set, flag, readme] = &arguments[..]
        && flag == "--readme"
    {
        return write_table(Path::new(set), Path::new(readme));
    }
    if let [command, set] = &arguments[..]
        && command == "perspective"
    {
        println!(
            "{}",
            perspective::markdown(&perspective::side_views(Path::new(set)))
        );
        return;
    }
    let (verbose, rest): (Vec<_>, Vec<_>) = arguments.into_iter().partition(|a| a == "--each");
    let (heavy, rest): (Vec<_>, Vec<_>) = rest.into_iter().partition(|a| a == "--heavy");
    let (quick, rest): (Vec<_>, Vec<_>) = rest.into_iter().partition(|a| a == "--quick");
    let effort = if quick.is_empty() {
        Effort::Thorough
    } else {
        Effort::Quick
    };
    let (table, folders): (Vec<_>, Vec<_>) = rest.into_iter().partition(|a| a == "--table");
    let kind = if heavy.is_empty() {
        PoseNetKind::Full
    } else {
        PoseNetKind::Heavy
    };
    let folders: Vec<PathBuf> = folders
        .into_iter()
        .flat_map(|f| truth_folders(Path::new(&f)))
        .collect();
    assert!(!folders.is_empty(), "no folder with a truth.json was given");
    let runtime = Runtime::start(&RuntimeChoice::settle(
        "auto",
        std::env::var_os("ORT_DYLIB_PATH").map(PathBuf::from),
        None,
    ))
    .expect("a runtime");
    let finder = Finder::load(runtime, kind, 1, 2).expect("the nets");
    if !table.is_empty() {
        return nets::print(&finder, &folders);
    }

    let mut landmarks: BTreeMap<String, Errors> = BTreeMap::new();
    let mut measures: BTreeMap<String, Errors> = BTreeMap::new();
    let mut camera: BTreeMap<&str, Errors> = BTreeMap::new();
    let mut pixels: Vec<f64> = Vec::new();
    let (mut photos, mut unfound, mut confused, mut lacking) = (0, 0, 0, 0);
    for folder in folders {
        let truth: Value = json(&folder.join("truth.json"));
        let facts = std::fs::read_to_string(folder.join("visit.json")).expect("visit.json");
        let facts = record::facts_from_json(&facts).expect("visit.json");
        let shared_stature = truth["stature_mm"].as_f64();
        for (file, truth) in truth["photos"].as_object().expect("photos") {
            // An empty room has no truth to compare with.
            if text(&truth["view"]).is_empty() {
                continue;
            }
            photos += 1;
            // People who share a folder carry their statures with their photos.
            let stature = truth["stature_mm"]
                .as_f64()
                .or(shared_stature)
                .expect("a stature");
            let facts = VisitFacts {
                stature_cm: facts.stature_cm.or(Some(stature / 10.0)),
                ..facts.clone()
            };
            let name = format!("{}/{file}", folder.display());
            let input = PhotoInput {
                file: file.clone(),
                bytes: Ok(std::fs::read(folder.join(file)).expect("a photo")),
                wish: Wish::default(),
                manual: Vec::new(),
            };
            let (record, readings) =
                pipeline::measure_photo(&finder, &facts, &input, effort).expect("nets");
            let Some(view) = record.view else {
                unfound += 1;
                println!("{name}: nobody found");
                continue;
            };
            let near = view.near_side().map_or("", tragus::body::Side::name);
            let task = record.task.expect("a task").name();
            if (view.name(), near, task)
                != (
                    text(&truth["view"]),
                    text(&truth["side"]),
                    text(&truth["task"]),
                )
            {
                confused += 1;
                println!(
                    "{name}: taken for {} {near} {task}, is {} {} {}",
                    view.name(),
                    truth["view"],
                    truth["side"],
                    truth["task"]
                );
            }
            for notice in &record.notices {
                if !verbose.is_empty() {
                    println!("{name}: {}", notice.text);
                }
            }
            if let Some(setup) = record.setup {
                let of = |name: &str| truth["camera"][name].as_f64().expect("a camera");
                let mut push = |what, got: tragus::estimate::Estimate, want: f64| {
                    camera
                        .entry(what)
                        .or_default()
                        .push(got.value - want, got.sigma);
                };
                push("distance, cm", setup.distance_cm, 100.0 * of("distance_m"));
                push(
                    "lens height, cm",
                    setup.lens_height_cm,
                    100.0 * of("height_m"),
                );
                push("turn, deg", setup.turn_deg, of("turn_deg"));
                if let Some(roll) = setup.roll_deg {
                    push("roll, deg, seen", roll, of("roll_deg"));
                }
                if let Some(pitch) = setup.pitch_deg {
                    push("pitch, deg, seen", pitch, of("pitch_deg"));
                }
                if let Some(scale) = setup.mm_per_px {
                    let want = 1000.0 * of("distance_m") / of("focal_px");
                    push("scale, %", scale.scaled(100.0 / want), 100.0);
                }
                if !verbose.is_empty() {
                    println!(
                        "{name}: turn {:.1} ± {:.1}, is {:.1}; distance {:.0} ± {:.0}, is {:.0}; height {:.0} is {:.0}",
                        setup.turn_deg.value,
                        setup.turn_deg.sigma,
                        of("turn_deg"),
                        setup.distance_cm.value,
                        setup.distance_cm.sigma,
                        100.0 * of("distance_m"),
                        setup.lens_height_cm.value,
                        100.0 * of("height_m"),
                    );
                }
            }
            // Errors in thousandths of stature: forward or outward, and down.
            let per_mille = 1000.0 * 1000.0 * truth["camera"]["distance_m"].as_f64().unwrap()
                / (truth["camera"]["focal_px"].as_f64().unwrap() * stature);
            for (landmark, located) in &record.landmarks {
                let want = &truth["landmarks"][landmark.name()];
                let (Some(x), Some(y)) = (want["x"].as_f64(), want["y"].as_f64()) else {
                    continue;
                };
                let which = match (view.near_side(), landmark.side()) {
                    (Some(near), Some(side)) if near == side => "near",
                    (Some(_), Some(_)) => "far",
                    _ => "",
                };
                let stem = landmark.name().replace("_left", "").replace("_right", "");
                let away = away(view, *landmark);
                let key = format!("{:5} {task:5} {stem} {which}", view.name());
                let sigma = located.sigma_px() * per_mille;
                let errors = [
                    ("away", away * (located.at.x - x) * per_mille),
                    ("down", (located.at.y - y) * per_mille),
                ];
                pixels.push((located.at.x - x).hypot(located.at.y - y));
                for (axis, error) in errors {
                    landmarks
                        .entry(format!("{key} {axis}"))
                        .or_default()
                        .push(error, sigma);
                }
            }
            for truth in truth["measures"].as_array().expect("measures") {
                let of = truth["of"].as_str();
                let found = readings.iter().find(|r| {
                    r.measure.id() == text(&truth["measure"])
                        && r.measure.unit().name() == text(&truth["unit"])
                        && r.measure.of().map(|m| m.id()) == of
                        && (r.side.map_or("", tragus::body::Side::name) == text(&truth["side"])
                            || r.side.is_none())
                });
                let key = format!("{} [{}]", text(&truth["measure"]), text(&truth["unit"]));
                match found.map(|r| &r.outcome) {
                    Some(Ok(got)) => {
                        let want = truth["value"].as_f64().expect("a value");
                        measures
                            .entry(key.clone())
                            .or_default()
                            .push(got.value - want, got.sigma);
                        if !verbose.is_empty() {
                            println!(
                                "{name}: {key} {} {:.1} ± {:.1}, is {want:.1}",
                                truth["side"], got.value, got.sigma
                            );
                        }
                    }
                    _ => lacking += 1,
                }
            }
        }
    }
    println!(
        "\n{photos} photos, {unfound} without a person, {confused} with view or task confused, {lacking} measures without a value"
    );
    println!(
        "landmarks lie {:.2} pixels from the truth on average ({} landmarks)",
        pixels.iter().sum::<f64>() / pixels.len() as f64,
        pixels.len()
    );
    println!("\nlandmarks, thousandths of stature");
    for (key, errors) in &landmarks {
        println!("{key:44} {}", errors.line());
    }
    println!("\ncamera");
    for (key, errors) in &camera {
        println!("{key:44} {}", errors.line());
    }
    println!("\nmeasures");
    for (key, errors) in &measures {
        println!("{key:44} {}", errors.line());
    }
}

/// Measures a truth set on the built-in runtime, as the test that holds README to it does.
fn write_table(set: &Path, readme: &Path) {
    let runtime = Runtime::start(&RuntimeChoice::Embedded).expect("the built-in runtime");
    let workers = rayon::current_num_threads();
    let finder = Finder::load(runtime, PoseNetKind::Full, workers, workers).expect("the nets");
    let accuracy = table::markdown(&table::measure(&finder, set));
    let perspective = perspective::markdown(&perspective::side_views(set));
    println!("{accuracy}\n\n{perspective}");
    let text = std::fs::read_to_string(readme).expect("a README");
    let text = put(&text, &accuracy, table::BEGIN, table::END)
        .and_then(|text| put(&text, &perspective, perspective::BEGIN, perspective::END))
        .expect("places for the tables in the README");
    record::write_atomically(readme, text.as_bytes()).expect("a README that can be written");
}

/// `readme` with the table between two marks replaced; `None` when it has no place for it.
fn put(readme: &str, new: &str, begin: &str, end: &str) -> Option<String> {
    let begin = readme.find(begin)?;
    let end = begin + readme[begin..].find(end)? + end.len();
    Some(format!("{}{new}{}", &readme[..begin], &readme[end..]))
}

/// The sign of "forward" (side view) or "outward" (front and back) along the photo's x.
fn away(view: View, landmark: Landmark) -> f64 {
    accuracy::away_sign(view, landmark.side())
}

/// The folder itself, or those in it, that hold a truth.
fn truth_folders(folder: &Path) -> Vec<PathBuf> {
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

fn json(path: &Path) -> Value {
    let text = std::fs::read_to_string(path).expect("truth.json");
    serde_json::from_str(&text).expect("truth.json")
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

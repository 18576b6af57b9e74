//! What is measured in photos whose truth is known: errors of landmarks, camera and measures.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tragus::body::{Side, View};
use tragus::estimate::Estimate;
use tragus::infer::{Effort, Finder};
use tragus::locate::{Wish, accuracy};
use tragus::pipeline::{self, Aids, PhotoInput};
use tragus::record;
use tragus::visit::{CameraSetup, PhotoRecord, Reading, VisitFacts};

use crate::truth::{self, number, word};

/// Error and stated sigma of each case.
#[derive(Default)]
struct Errors(Vec<(f64, f64)>);

impl Errors {
    fn line(&self) -> String {
        let n = self.0.len() as f64;
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| self.0.iter().map(of).sum::<f64>() / n;
        let within = |k: f64| 100.0 * mean(&|c| f64::from(u8::from(c.0.abs() <= k * c.1)));
        let worst = self.0.iter().map(|c| c.0.abs()).fold(0.0, f64::max);
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

/// Errors by what they are of.
#[derive(Default)]
struct Group(BTreeMap<String, Errors>);

impl Group {
    fn push(&mut self, of: impl Into<String>, error: f64, sigma: f64) {
        self.0.entry(of.into()).or_default().0.push((error, sigma));
    }

    fn print(&self, title: &str) {
        println!("\n{title}");
        for (of, errors) in &self.0 {
            println!("{of:44} {}", errors.line());
        }
    }
}

#[derive(Default)]
struct Findings {
    /// Print every reading and notice.
    each: bool,
    photos: usize,
    nobody: usize,
    confused: usize,
    lacking: usize,
    /// Pixels from the truth.
    misses: Vec<f64>,
    landmarks: Group,
    camera: Group,
    measures: Group,
}

/// Measures every photo that shows somebody, and prints how far all of it is from the truth.
pub fn print(finder: &Finder, folders: &[PathBuf], effort: Effort, each: bool) {
    let mut findings = Findings {
        each,
        ..Findings::default()
    };
    for folder in folders {
        let facts = std::fs::read_to_string(folder.join("visit.json")).expect("visit.json");
        let facts = record::facts_from_json(&facts).expect("visit.json");
        for (file, truth) in truth::photos(folder) {
            if word(&truth["view"]).is_empty() {
                continue;
            }
            let (record, readings) = measured(finder, folder, &file, &facts, &truth, effort);
            let name = format!("{}/{file}", folder.display());
            findings.add(&name, &record, &readings, &truth);
        }
    }
    findings.print();
}

/// One photo, measured by the nets; of the truth only the stature is told.
pub fn measured(
    finder: &Finder,
    folder: &Path,
    file: &str,
    facts: &VisitFacts,
    truth: &Value,
    effort: Effort,
) -> (PhotoRecord, Vec<Reading>) {
    let input = PhotoInput {
        file: file.to_owned(),
        bytes: Ok(std::fs::read(folder.join(file)).expect("a photo")),
        wish: Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    let stature = number(&truth["stature_mm"]) / 10.0;
    let facts = VisitFacts {
        stature_cm: facts.stature_cm.or(Some(stature)),
        ..facts.clone()
    };
    pipeline::measure_photo(finder, &facts, &input, effort).expect("the nets")
}

/// Thousandths of stature that a pixel spans at the body's middle.
pub fn per_mille(truth: &Value) -> f64 {
    let camera = truth::camera(truth);
    1000.0 * camera.distance / (camera.focal * number(&truth["stature_mm"]))
}

impl Findings {
    fn add(&mut self, name: &str, record: &PhotoRecord, readings: &[Reading], truth: &Value) {
        self.photos += 1;
        let (Some(view), Some(task)) = (record.view, record.task) else {
            self.nobody += 1;
            println!("{name}: nobody found");
            return;
        };
        let taken_for = [
            view.name(),
            view.near_side().map_or("", Side::name),
            task.name(),
        ];
        let is = ["view", "side", "task"].map(|of| word(&truth[of]));
        if taken_for != is {
            self.confused += 1;
            println!("{name}: taken for {taken_for:?}, is {is:?}");
        }
        if self.each {
            for notice in &record.notices {
                println!("{name}: {}", notice.text);
            }
        }
        if let Some(setup) = &record.setup {
            self.add_camera(name, setup, truth);
        }
        self.add_landmarks(record, view, truth);
        self.add_measures(name, readings, truth);
    }

    fn add_camera(&mut self, name: &str, setup: &CameraSetup, truth: &Value) {
        let of = |name: &str| number(&truth["camera"][name]);
        let found = [
            (
                "distance, cm",
                Some(setup.distance_cm),
                100.0 * of("distance_m"),
            ),
            (
                "lens height, cm",
                Some(setup.lens_height_cm),
                100.0 * of("height_m"),
            ),
            ("turn, deg", Some(setup.turn_deg), of("turn_deg")),
            ("roll, deg, seen", setup.roll_deg, of("roll_deg")),
            ("pitch, deg, seen", setup.pitch_deg, of("pitch_deg")),
        ];
        for (what, got, want) in found {
            let Some(Estimate { value, sigma }) = got else {
                continue;
            };
            self.camera.push(what, value - want, sigma);
            if self.each {
                println!("{name}: {what} {value:.1} ± {sigma:.1}, is {want:.1}");
            }
        }
        if let Some(scale) = setup.mm_per_px {
            let percent = scale.scaled(100.0 * of("focal_px") / (1000.0 * of("distance_m")));
            self.camera
                .push("scale, %", percent.value - 100.0, percent.sigma);
        }
    }

    /// In thousandths of stature: forward or outward, and down.
    fn add_landmarks(&mut self, record: &PhotoRecord, view: View, truth: &Value) {
        let per_mille = per_mille(truth);
        for (landmark, located) in &record.landmarks {
            let Some(is) = truth::pixel(truth, &landmark.name()) else {
                continue;
            };
            let which = match (view.near_side(), landmark.side()) {
                (Some(near), Some(side)) if near == side => "near",
                (Some(_), Some(_)) => "far",
                _ => "",
            };
            let key = format!(
                "{:5} {:5} {} {which}",
                view.name(),
                word(&truth["task"]),
                landmark.stem()
            );
            let sigma = located.sigma_px() * per_mille;
            let off = located.at - is;
            let away = accuracy::away_sign(view, landmark.side()) * off.x;
            self.misses.push(off.length());
            self.landmarks
                .push(format!("{key} away"), away * per_mille, sigma);
            self.landmarks
                .push(format!("{key} down"), off.y * per_mille, sigma);
        }
    }

    fn add_measures(&mut self, name: &str, readings: &[Reading], truth: &Value) {
        for truth in truth::measures(truth) {
            let found = readings
                .iter()
                .find(|r| r.measure == truth.measure && (r.side == truth.side || r.side.is_none()));
            let Some(Ok(got)) = found.map(|reading| &reading.outcome) else {
                self.lacking += 1;
                continue;
            };
            let key = format!("{} [{}]", truth.measure.id(), truth.measure.unit().name());
            if self.each {
                let side = truth.side.map_or("", Side::name);
                let (value, sigma, is) = (got.value, got.sigma, truth.value);
                println!("{name}: {key} {side} {value:.1} ± {sigma:.1}, is {is:.1}");
            }
            self.measures.push(key, got.value - truth.value, got.sigma);
        }
    }

    fn print(&self) {
        println!(
            "\n{} photos, {} without a person, {} with view or task confused, {} measures without a \
             value",
            self.photos, self.nobody, self.confused, self.lacking
        );
        println!(
            "landmarks lie {:.2} pixels from the truth on average ({} landmarks)",
            self.misses.iter().sum::<f64>() / self.misses.len() as f64,
            self.misses.len()
        );
        self.landmarks.print("landmarks, thousandths of stature");
        self.camera.print("camera");
        self.measures.print("measures");
    }
}

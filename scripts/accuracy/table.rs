//! The accuracy table of README: every measure of the catalogue on a truth set of two cameras,
//! against the truth and camera against camera.

use std::path::Path;

use rayon::prelude::*;
use tragus::agree::{Group, Sides, agreement};
use tragus::batch::manifest;
use tragus::infer::{Effort, Finder};
use tragus::measure::Measure;
use tragus::pipeline::{self, PhotoInput};
use tragus::scores::{self, Score};

pub const BEGIN: &str = "<!-- accuracy: made by scripts/accuracy -->";
pub const END: &str = "<!-- end of accuracy -->";
const CAMERAS: [&str; 2] = ["camera-a", "camera-b"];

/// What a truth set says of one measure.
pub struct Row {
    pub measure: Measure,
    /// Why there are no readings, where there are none.
    pub reason: String,
    pub readings: usize,
    /// Places where a truth is known, read or not.
    pub truths: usize,
    pub bias: f64,
    pub mean_absolute: f64,
    pub stated_sigma: f64,
    /// Shares of the errors within 1 and 1.96 stated sigma.
    pub within: [f64; 2],
    /// Test-retest SEM and MDC95, from the same poses seen by two cameras; `None` without pairs.
    pub retest: Option<[f64; 2]>,
}

/// A truth set, measured.
pub struct Table {
    pub photos: usize,
    /// Photos whose view, side or task was taken for another.
    pub confused: usize,
    pub rows: Vec<Row>,
}

/// Measures a truth set without telling what its photos show, but for person and stature.
pub fn measure(finder: &Finder, set: &Path) -> Table {
    let cameras = CAMERAS.map(|camera| measured(finder, &set.join(camera)));
    let truths = CAMERAS.map(|camera| {
        scores::read(&set.join(camera).join("truth.csv")).expect("the truth of a camera")
    });
    let confused = cameras
        .iter()
        .zip(&truths)
        .map(|(scores, truth)| confused(scores, truth))
        .sum();
    let both = |of: &[Vec<Score>; 2]| -> Vec<Score> {
        let mark = |(camera, scores): (&str, &Vec<Score>)| -> Vec<Score> {
            let mark = |score: &Score| Score {
                photo: format!("{camera}/{}", score.photo),
                ..score.clone()
            };
            scores.iter().map(mark).collect()
        };
        CAMERAS.into_iter().zip(of).flat_map(mark).collect()
    };
    let (all, truth) = (both(&cameras), both(&truths));
    let against_truth = agreement(&[&truth, &all], true).expect("rows in common");
    let retest = agreement(&[&cameras[0], &cameras[1]], false).expect("rows in common");
    let rows = Measure::ALL
        .into_iter()
        .map(|measure| row(measure, &truth, &all, &against_truth.groups, &retest.groups))
        .collect();
    Table {
        photos: photos(&cameras[0]).len() + photos(&cameras[1]).len(),
        confused,
        rows,
    }
}

fn measured(finder: &Finder, folder: &Path) -> Vec<Score> {
    let read = |file: &str| std::fs::read(folder.join(file)).expect("a file of the truth set");
    let manifest = manifest::read(&read("photos.csv")).expect("a manifest");
    assert!(
        !manifest.entries.is_empty(),
        "no photo in {}",
        folder.display()
    );
    let photos: Vec<_> = manifest.entries.into_iter().collect();
    photos
        .into_par_iter()
        .flat_map_iter(|(photo, entry)| {
            let input = PhotoInput {
                file: photo.clone(),
                bytes: Ok(read(&photo)),
                wish: entry.wish,
                manual: Vec::new(),
            };
            let (record, readings) =
                pipeline::measure_photo(finder, &entry.facts, &input, Effort::Thorough)
                    .expect("the nets");
            let person = entry.facts.case.unwrap_or_default();
            scores::rows(&person, &[record], &readings)
        })
        .collect()
}

fn photos(scores: &[Score]) -> Vec<&str> {
    let mut photos: Vec<&str> = scores.iter().map(|score| score.photo.as_str()).collect();
    photos.sort_unstable();
    photos.dedup();
    photos
}

/// Photos in which other measures were looked for than the photo shows.
fn confused(scores: &[Score], truth: &[Score]) -> usize {
    let of = |scores: &[Score], photo: &str| {
        let mut found: Vec<(String, String)> = scores
            .iter()
            .filter(|score| score.photo == photo)
            .map(|score| (score.measure.clone(), score.side.clone()))
            .collect();
        found.sort();
        found.dedup();
        found
    };
    photos(truth)
        .into_iter()
        .filter(|photo| {
            let found = of(scores, photo);
            !of(truth, photo).iter().all(|key| found.contains(key))
        })
        .count()
}

fn row(
    measure: Measure,
    truth: &[Score],
    all: &[Score],
    against_truth: &[Group],
    retest: &[Group],
) -> Row {
    let is_of =
        |score: &&Score| score.measure == measure.id() && score.unit == measure.unit().name();
    let empty = Row {
        measure,
        reason: String::new(),
        readings: 0,
        truths: truth.iter().filter(is_of).count(),
        bias: f64::NAN,
        mean_absolute: f64::NAN,
        stated_sigma: f64::NAN,
        within: [f64::NAN; 2],
        retest: None,
    };
    let whole = |groups: &'_ [Group]| -> Option<usize> {
        let of = |sides: fn(&Sides) -> bool| {
            groups.iter().position(|group| {
                group.quantity.id() == measure.id()
                    && group.quantity.unit() == measure.unit().name()
                    && sides(&group.sides)
                    && !group.rows.is_empty()
            })
        };
        of(|sides| matches!(sides, Sides::Both | Sides::Without)).or_else(|| of(|_| true))
    };
    // The set has a reach of both arms from the front alone.
    if measure == Measure::FlexionAsymmetry {
        return Row {
            truths: 0,
            reason: "takes a reach from both sides; the set has one side of each person".to_owned(),
            ..empty
        };
    }
    let Some(group) = whole(against_truth).map(|index| &against_truth[index]) else {
        let reason = all
            .iter()
            .find(|score| is_of(score) && score.value.is_none())
            .map_or("no photo of the set shows it".to_owned(), |score| {
                score.reason.clone()
            });
        return Row { reason, ..empty };
    };
    let pair = &group.pairs[0];
    let differences = pair.differences.expect("rows in common");
    let coverage = pair.coverage.expect("a stated sigma");
    let sigmas: Vec<f64> = all
        .iter()
        .filter(is_of)
        .filter_map(|score| score.sigma)
        .collect();
    Row {
        readings: differences.n,
        bias: differences.mean,
        mean_absolute: differences.mean_absolute,
        stated_sigma: sigmas.iter().sum::<f64>() / sigmas.len() as f64,
        within: [coverage.within_1.value, coverage.within_1_96.value],
        retest: whole(retest).and_then(|index| {
            let reliability = retest[index].reliability.as_ref().ok()?;
            let sem = reliability.sem.within_subject;
            Some([sem.value, sem.mdc95()])
        }),
        ..empty
    }
}

/// The table as README shows it.
pub fn markdown(table: &Table) -> String {
    let mut text = format!(
        "{BEGIN}\n\
         | measure | readings | bias | mean absolute error | stated error | within 1σ | within 1.96σ \
         | two cameras: SEM | MDC95 |\n|---|---|---|---|---|---|---|---|---|\n"
    );
    for row in &table.rows {
        let name = match row.measure.of() {
            Some(of) => format!("{}, {}", row.measure.id(), of.id()),
            None => row.measure.id().to_owned(),
        };
        let unit = row.measure.unit().name();
        if row.readings == 0 {
            text.push_str(&format!(
                "| `{name}`, {unit} | 0 of {} | not measured yet: {} | | | | | | |\n",
                row.truths, row.reason
            ));
            continue;
        }
        let retest = row.retest.map_or(["–", "–"].map(str::to_owned), |both| {
            both.map(|value| format!("{value:.1}"))
        });
        text.push_str(&format!(
            "| `{name}`, {unit} | {} of {} | {:+.1} | {:.1} | {:.1} | {:.0} % | {:.0} % | {} | {} |\n",
            row.readings,
            row.truths,
            row.bias,
            row.mean_absolute,
            row.stated_sigma,
            100.0 * row.within[0],
            100.0 * row.within[1],
            retest[0],
            retest[1],
        ));
    }
    text.push_str(&format!(
        "\n{} photos; in {} of them view or task was taken for another.\n{END}",
        table.photos, table.confused
    ));
    text
}

//! The accuracy table of README: every measure of the catalogue on a truth set of two cameras,
//! against the truth and camera against camera.

use std::path::Path;

use rayon::prelude::*;
use tragus::agree::{Group, Sides, agreement};
use tragus::batch::manifest;
use tragus::infer::{Effort, Finder};
use tragus::measure::Measure;
use tragus::pipeline::{self, Aids, PhotoInput};
use tragus::scores::{self, Score};

pub const BEGIN: &str = "<!-- accuracy: made by scripts/accuracy -->";
pub const END: &str = "<!-- end of accuracy -->";
const CAMERAS: [&str; 2] = ["camera-a", "camera-b"];

/// What a truth set says of one measure.
pub struct Row {
    pub measure: Measure,
    /// Why there are no readings, where there are none.
    pub reason: String,
    /// Places where a truth is known, read or not.
    pub truths: usize,
    /// `None` when nothing was read.
    pub thorough: Option<Figures>,
    pub quick: Option<Figures>,
    /// Test-retest SEM and MDC95, from the same poses seen by two cameras; `None` without pairs.
    pub retest: Option<[f64; 2]>,
}

/// Readings against their truth.
pub struct Figures {
    pub readings: usize,
    pub bias: f64,
    pub mean_absolute: f64,
    pub stated_sigma: f64,
    /// Shares of the errors within 1 and 1.96 stated sigma.
    pub within: [f64; 2],
}

/// A truth set, measured.
pub struct Table {
    pub photos: usize,
    /// Photos whose view, side or task was taken for another.
    pub confused: usize,
    pub rows: Vec<Row>,
}

/// Measures a truth set. Of what its photos show only person, stature and operated side are told.
pub fn measure(finder: &Finder, set: &Path) -> Table {
    let of_both =
        |effort| CAMERAS.map(|camera| measured(finder, &set.join(camera), effort, Aids::default()));
    let (cameras, quick) = (of_both(Effort::Thorough), of_both(Effort::Quick));
    let truths = CAMERAS.map(|camera| {
        scores::read(&set.join(camera).join("truth.csv")).expect("the truth of a camera")
    });
    let confused = cameras
        .iter()
        .zip(&truths)
        .map(|(scores, truth)| confused(scores, truth))
        .sum();
    let (all, quick, truth) = (joined(&cameras), joined(&quick), joined(&truths));
    let against_truth = |scores: &[Score]| agreement(&[&truth, scores], true).expect("common rows");
    let (thorough_groups, quick_groups) = (against_truth(&all), against_truth(&quick));
    let retest = agreement(&[&cameras[0], &cameras[1]], false).expect("common rows");
    let rows = Measure::ALL
        .into_iter()
        .map(|measure| Row {
            measure,
            reason: reason(measure, &truth, &all),
            truths: truth.iter().filter(|score| is_of(score, measure)).count(),
            thorough: figures(measure, &all, &thorough_groups.groups),
            quick: figures(measure, &quick, &quick_groups.groups),
            retest: whole(measure, &retest.groups).and_then(|group| {
                let sem = group.reliability.as_ref().ok()?.sem.within_subject;
                Some([sem.value, sem.mdc95()])
            }),
        })
        .collect();
    Table {
        photos: photos(&cameras[0]).len() + photos(&cameras[1]).len(),
        confused,
        rows,
    }
}

/// The tables of both cameras as one.
fn joined(cameras: &[Vec<Score>; 2]) -> Vec<Score> {
    let marked = |(camera, scores): (&str, &Vec<Score>)| -> Vec<Score> {
        let mark = |score: &Score| Score {
            photo: format!("{camera}/{}", score.photo),
            ..score.clone()
        };
        scores.iter().map(mark).collect()
    };
    CAMERAS.into_iter().zip(cameras).flat_map(marked).collect()
}

fn measured(finder: &Finder, folder: &Path, effort: Effort, aids: Aids) -> Vec<Score> {
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
                aids,
            };
            let (record, readings) =
                pipeline::measure_photo(finder, &entry.facts, &input, effort).expect("the nets");
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

fn is_of(score: &Score, measure: Measure) -> bool {
    // What tables call reach_asymmetry is that of one photo: of abduction.
    measure != Measure::FlexionAsymmetry
        && score.measure == measure.id()
        && score.unit == measure.unit().name()
}

/// Why a measure was not read.
fn reason(measure: Measure, truth: &[Score], all: &[Score]) -> String {
    if !truth.iter().any(|score| is_of(score, measure)) {
        return "no photo of the set shows it by itself".to_owned();
    }
    all.iter()
        .find(|score| is_of(score, measure) && score.value.is_none())
        .map_or_else(String::new, |score| score.reason.clone())
}

/// The group of both sides together, where there are rows in common.
fn whole(measure: Measure, groups: &[Group]) -> Option<&Group> {
    let of = |wanted: fn(&Sides) -> bool| {
        groups.iter().find(|group| {
            measure != Measure::FlexionAsymmetry
                && group.quantity.id() == measure.id()
                && group.quantity.unit() == measure.unit().name()
                && wanted(&group.sides)
                && !group.rows.is_empty()
        })
    };
    of(|sides| matches!(sides, Sides::Both | Sides::Without)).or_else(|| of(|_| true))
}

fn figures(measure: Measure, scores: &[Score], against_truth: &[Group]) -> Option<Figures> {
    let pair = &whole(measure, against_truth)?.pairs[0];
    let differences = pair.differences.ok()?;
    let coverage = pair.coverage?;
    let sigmas: Vec<f64> = scores
        .iter()
        .filter(|score| is_of(score, measure))
        .filter_map(|score| score.sigma)
        .collect();
    Some(Figures {
        readings: differences.n,
        bias: differences.mean,
        mean_absolute: differences.mean_absolute,
        stated_sigma: sigmas.iter().sum::<f64>() / sigmas.len() as f64,
        within: [coverage.within_1.value, coverage.within_1_96.value],
    })
}

pub const AIDS_BEGIN: &str = "<!-- aids: made by scripts/accuracy -->";
pub const AIDS_END: &str = "<!-- end of aids -->";

/// What board and stickers are worth: the same photos read without them, with the board, with both.
pub fn aids_markdown(finder: &Finder, set: &Path) -> String {
    let truths = CAMERAS.map(|camera| {
        scores::read(&set.join(camera).join("truth.csv")).expect("the truth of a camera")
    });
    let truth = joined(&truths);
    let read = [(false, false), (true, false), (true, true)].map(|(board, stickers)| {
        let aids = Aids { board, stickers };
        let of = |camera| measured(finder, &set.join(camera), Effort::Thorough, aids);
        let all = joined(&CAMERAS.map(of));
        let groups = agreement(&[&truth, &all], true)
            .expect("common rows")
            .groups;
        (all, groups)
    });
    let mut text = format!(
        "{AIDS_BEGIN}\n\
         | measure | readings | without: mean absolute error | stated error | with board | stated \
         error | with board and stickers | stated error | within 1σ |\n\
         |---|---|---|---|---|---|---|---|---|\n"
    );
    for measure in Measure::ALL {
        let figures = |(all, groups): &(Vec<Score>, Vec<Group>)| figures(measure, all, groups);
        let [Some(none), Some(board), Some(both)] = read.each_ref().map(figures) else {
            continue;
        };
        let cell = |of: &Figures| format!("{:.2} | {:.2}", of.mean_absolute, of.stated_sigma);
        text.push_str(&format!(
            "| `{}`, {} | {} | {} | {} | {} | {:.0} % |\n",
            measure.id(),
            measure.unit().name(),
            both.readings,
            cell(&none),
            cell(&board),
            cell(&both),
            100.0 * both.within[0],
        ));
    }
    text + AIDS_END
}

/// The table as README shows it.
pub fn markdown(table: &Table) -> String {
    let mut text = format!(
        "{BEGIN}\n\
         | measure | readings | bias | mean absolute error | stated error | within 1σ | within 1.96σ \
         | two cameras: SEM | MDC95 | one look: mean absolute error | within 1σ |\n\
         |---|---|---|---|---|---|---|---|---|---|---|\n"
    );
    for row in &table.rows {
        let name = match row.measure.of() {
            Some(of) => format!("{}, {}", row.measure.id(), of.id()),
            None => row.measure.id().to_owned(),
        };
        let unit = row.measure.unit().name();
        let (Some(thorough), Some(quick)) = (&row.thorough, &row.quick) else {
            text.push_str(&format!(
                "| `{name}`, {unit} | 0 of {} | not measured: {} | | | | | | | | |\n",
                row.truths, row.reason
            ));
            continue;
        };
        let retest = row.retest.map_or(["–", "–"].map(str::to_owned), |both| {
            both.map(|value| format!("{value:.1}"))
        });
        text.push_str(&format!(
            "| `{name}`, {unit} | {} of {} | {:+.1} | {:.1} | {:.1} | {:.0} % | {:.0} % | {} | {} \
             | {:.1} | {:.0} % |\n",
            thorough.readings,
            row.truths,
            thorough.bias,
            thorough.mean_absolute,
            thorough.stated_sigma,
            100.0 * thorough.within[0],
            100.0 * thorough.within[1],
            retest[0],
            retest[1],
            quick.mean_absolute,
            100.0 * quick.within[0],
        ));
    }
    text.push_str(&format!(
        "\n{} photos; in {} of them view or task was taken for another.\n{END}",
        table.photos, table.confused
    ));
    text
}

//! What each net says by itself, against the truth: the figures of `locate::accuracy` and
//! `locate::landmark_accuracy`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use nalgebra::Matrix2;
use rayon::prelude::*;
use serde_json::Value;
use tragus::body::Landmark;
use tragus::estimate::Estimate;
use tragus::geometry::Point;
use tragus::infer::{Effort, Finder, Sample};
use tragus::locate::landmark_accuracy::{Calibration, TurnFactors};
use tragus::locate::{self, Wish, accuracy};
use tragus::photo::{Limits, Photo};

use crate::readings;
use crate::truth::{self, word};

/// One landmark of one photo: net minus truth in thousandths of stature, forward or outward and
/// down, before any offset is taken away; and how unsure of it the net was.
struct Miss {
    off: [f64; 2],
    unsure: [Unsure; 2],
}

/// What a stated error is made of: the net's own word, on which the factor is, and the wander
/// between its looks, which comes on top without one.
#[derive(Clone, Copy)]
struct Unsure {
    own: f64,
    /// Variance.
    wander: f64,
}

impl Unsure {
    fn sigma(self, factor: f64) -> f64 {
        (self.own * factor).hypot(self.wander.sqrt())
    }
}

/// View, task and landmark without its side.
type Key = String;

struct Turned {
    error: f64,
    unsure: Unsure,
}

#[derive(Default)]
struct Found {
    pose: Vec<(Key, Miss)>,
    /// How far one look of the pose net lies from all of them.
    wander: Vec<(Key, [f64; 2])>,
    landmarks: Vec<(Key, Miss)>,
    turns: Vec<(Key, Turned)>,
}

/// Prints, for each net, landmark, view and task, the offset, what is left of the error, and the
/// factor that makes the stated sigma hold; how one look of the pose net wanders; and the same of
/// the landmark net's turns.
pub fn print(finder: &Finder, folders: &[PathBuf]) {
    let photos: Vec<(PathBuf, Value)> = folders
        .iter()
        .flat_map(|folder| {
            let photos = truth::photos(folder).into_iter();
            photos.map(|(file, truth)| (folder.join(file), truth))
        })
        .filter(|(_, truth)| !word(&truth["view"]).is_empty())
        .collect();
    let found: Vec<Found> = photos
        .par_iter()
        .map(|(path, truth)| of_photo(finder, path, truth).unwrap_or_default())
        .collect();
    let (mut pose, mut wander) = (BTreeMap::new(), BTreeMap::new());
    let (mut landmarks, mut turns) = (BTreeMap::new(), BTreeMap::new());
    for photo in found {
        gather(&mut pose, photo.pose);
        gather(&mut wander, photo.wander);
        gather(&mut landmarks, photo.landmarks);
        gather(&mut turns, photo.turns);
    }
    println!("\nthe pose net by itself, thousandths of stature: away and down");
    for (key, misses) in &pose {
        println!("{key:32} {}", line(misses));
    }
    println!("\none look of the pose net minus six, thousandths of stature in each coordinate");
    for (key, offs) in &wander {
        println!("{key:32} {:.1}", root_mean_square(offs.as_flattened()));
    }
    println!("\nthe landmark net by itself, thousandths of stature: away and down");
    for (key, misses) in &landmarks {
        println!("{key:32} {}", line(misses));
    }
    println!("\nturns, degrees");
    for (key, all) in &turns {
        let errors: Vec<f64> = all.iter().map(|turned| turned.error.to_degrees()).collect();
        let misses: Vec<(f64, Unsure)> = all
            .iter()
            .map(|turned| (turned.error, turned.unsure))
            .collect();
        let said: Vec<f64> = all
            .iter()
            .map(|turned| turned.unsure.sigma(1.0).to_degrees())
            .collect();
        println!(
            "{key:32} n {:3}  bias {:+.2}  mean |e| {:.2}  sigma {:.2}  factor {:.2}",
            all.len(),
            mean(&errors),
            mean(&errors.iter().map(|e| e.abs()).collect::<Vec<_>>()),
            mean(&said),
            factor(&misses, root_mean_square),
        );
    }
}

fn gather<T>(groups: &mut BTreeMap<Key, Vec<T>>, found: Vec<(Key, T)>) {
    for (key, one) in found {
        groups.entry(key).or_default().push(one);
    }
}

/// Nothing where nobody was found or the view was taken for another.
fn of_photo(finder: &Finder, path: &Path, truth: &Value) -> Option<Found> {
    let bytes = std::fs::read(path).expect("a photo");
    let photo = Photo::decode(&bytes, Limits::default()).ok()?;
    let size = (photo.width(), photo.height());
    let search = finder.search(&photo, Effort::Thorough).expect("nets");
    let mut samples = search.person?.samples;
    let recognised = locate::recognise(&samples, Wish::default())?;
    let (view, task) = (recognised.view, recognised.task);
    let near = view.near_side().map_or("", tragus::body::Side::name);
    if (view.name(), near) != (word(&truth["view"]), word(&truth["side"])) {
        return None;
    }
    if recognised.swapped {
        samples = samples.iter().map(Sample::with_sides_exchanged).collect();
    }
    let stature = locate::stature_px(&samples, size)?;
    let squares = locate::squares(&samples, size)?;
    let close_ups = finder.plan_close_ups(&squares, view, Effort::Thorough);
    let looks = finder.look_closer(&photo, &close_ups).expect("nets");
    let pose = locate::combine(&samples, view, task, size);
    let one_look = locate::combine(&samples[..1], view, task, size);

    let per_mille = readings::per_mille(truth);
    let mut found = Found::default();
    for landmark in Landmark::all() {
        let want = &truth["landmarks"][landmark.name()];
        let (Some(x), Some(y)) = (want["x"].as_f64(), want["y"].as_f64()) else {
            continue;
        };
        if !view.shows_side_of(landmark) {
            continue;
        }
        let key = format!("{:5} {:5} {}", view.name(), task.name(), landmark.stem());
        let away = accuracy::away_sign(view, landmark.side());
        let miss = |at: Point<_>, offset: [f64; 2], own: Matrix2<f64>, wander: Matrix2<f64>| Miss {
            off: [
                away * (at.x - x) * per_mille + 1000.0 * offset[0],
                (at.y - y) * per_mille + 1000.0 * offset[1],
            ],
            unsure: [0, 1].map(|axis| Unsure {
                own: own[(axis, axis)].max(0.0).sqrt() * per_mille,
                wander: wander[(axis, axis)] * per_mille.powi(2),
            }),
        };
        if let Some(located) = pose.found.get(&landmark) {
            let given = accuracy::of(landmark, view, task).offset;
            let miss = miss(located.at, given, located.covariance, Matrix2::zeros());
            found.pose.push((key.clone(), miss));
            if let Some(one) = one_look.found.get(&landmark) {
                let off = one.at - located.at;
                let off = [off.x * per_mille, off.y * per_mille];
                found.wander.push((key.clone(), off));
            }
        }
        let seen = |factor: f64| {
            let offset = [0.0, 0.0];
            let as_it_is = Calibration { factor, offset };
            locate::combine_close_ups_as(&looks, landmark, as_it_is, away, stature)
        };
        if let (Some(whole), Some(wander)) = (seen(1.0), seen(0.0)) {
            let own = whole.covariance - wander.covariance;
            let miss = miss(whole.at, [0.0, 0.0], own, wander.covariance);
            found.landmarks.push((key, miss));
        }
    }
    let turns = |factor: f64| {
        let both = TurnFactors {
            trunk: factor,
            head: factor,
        };
        locate::turns_as(&looks, both)
    };
    if let (Some(whole), Some(wander), Some((trunk, head))) =
        (turns(1.0), turns(0.0), true_turns(truth))
    {
        let mut push = |name: &str, got: Estimate, wander: Estimate, want: f64| {
            let wander = wander.sigma.powi(2);
            found.turns.push((
                format!("{:5} {:5} {name}", view.name(), task.name()),
                Turned {
                    error: got.value - want,
                    unsure: Unsure {
                        own: (got.sigma.powi(2) - wander).max(0.0).sqrt(),
                        wander,
                    },
                },
            ));
        };
        push("trunk", whole.trunk, wander.trunk, trunk);
        push("head", whole.head, wander.head, head);
    }
    Some(found)
}

/// The turns of trunk and head as they appear along the ray to the middle of the body, radians.
fn true_turns(truth: &Value) -> Option<(f64, f64)> {
    let (camera, body) = (truth::camera(truth), &truth["body"]);
    let turn = camera.turn.radians();
    let between = |joint: &str| {
        let of = |side: &str| truth::pixel(truth, &format!("{joint}_{side}"));
        Some(of("left")?.midpoint(of("right")?))
    };
    let middle = between("shoulder_joint")?.midpoint(between("hip_joint")?);
    let azimuth = camera.azimuth(middle).radians();
    let across = |axis: usize| {
        Some(body["tragus_left"][axis].as_f64()? - body["tragus_right"][axis].as_f64()?)
    };
    // Forward and left: whoever turns the head to the left has the left ear farther back.
    let of_head = (-across(0)?).atan2(across(1)?);
    Some((turn + azimuth, turn + of_head + azimuth))
}

fn line(misses: &[Miss]) -> String {
    let of = |axis: usize| -> Vec<f64> { misses.iter().map(|miss| miss.off[axis]).collect() };
    let offset = [mean(&of(0)), mean(&of(1))];
    let left: Vec<[f64; 2]> = misses
        .iter()
        .map(|miss| std::array::from_fn(|axis| miss.off[axis] - offset[axis]))
        .collect();
    let spread =
        |axis: usize| root_mean_square(&left.iter().map(|off| off[axis]).collect::<Vec<_>>());
    let each: Vec<(f64, Unsure)> = left
        .iter()
        .zip(misses)
        .flat_map(|(off, miss)| [0, 1].map(|axis| (off[axis], miss.unsure[axis])))
        .collect();
    let said = |axis: usize| -> Vec<f64> {
        misses
            .iter()
            .map(|miss| miss.unsure[axis].sigma(1.0))
            .collect()
    };
    format!(
        "[{:+.1}, {:+.1}], [{:.1}, {:.1}]  said [{:.1}, {:.1}]  factor {:.2}, by the median {:.2}  n {}",
        offset[0],
        offset[1],
        spread(0),
        spread(1),
        mean(&said(0)),
        mean(&said(1)),
        factor(&each, root_mean_square),
        factor(&each, by_median),
        misses.len(),
    )
}

/// The factor on the net's own word with which errors in stated sigmas have the size 1; nought where
/// the wander alone holds them. As in `locate`, the wander is added without it.
fn factor(misses: &[(f64, Unsure)], size: fn(&[f64]) -> f64) -> f64 {
    let too_sure = |factor: f64| {
        let ratios: Vec<f64> = misses
            .iter()
            .map(|(error, unsure)| error / unsure.sigma(factor))
            .collect();
        size(&ratios) > 1.0
    };
    let (mut low, mut high) = (0.0, 100.0);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        match too_sure(middle) {
            true => low = middle,
            false => high = middle,
        }
    }
    high
}

/// The sigma that the median of the sizes tells: half of a normal distribution lies within 0.674.
fn by_median(values: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes[sizes.len() / 2] / 0.674
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn root_mean_square(values: &[f64]) -> f64 {
    mean(&values.iter().map(|value| value * value).collect::<Vec<_>>()).sqrt()
}

//! A batch as researchers run it: every format, bad files among good ones, kills and shards.

use std::collections::BTreeMap;
use std::fs;
use std::hash::{BuildHasher, RandomState};
use std::path::Path;
use std::process::{Child, Command as Process, Stdio};
use std::time::{Duration, Instant};

use assert_cmd::Command;
use assert_cmd::cargo::cargo_bin;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;
use tempfile::TempDir;

use tragus::body::Landmark;
use tragus::geometry::Point;
use tragus::infer::Effort;
use tragus::photo::{Limits, Photo};
use tragus::scores::{self, Score};

use crate::common::{demo, finder, kill_rounds, names_in, root};

fn batch() -> Command {
    let mut command = Command::cargo_bin("tragus").expect("the program");
    command.env_remove("ORT_DYLIB_PATH").arg("batch");
    command
}

/// A folder with the demo's photos, one folder a visit, and a manifest.
fn archive() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let mut manifest = "photo,person,stature_cm,operated_side\n".to_owned();
    for visit in ["intake", "follow-up"] {
        let to = folder.path().join("photos").join(visit);
        fs::create_dir_all(&to).expect("a folder");
        for entry in fs::read_dir(demo(visit)).expect("the demo") {
            let from = entry.expect("a file").path();
            if from.extension().is_some_and(|ending| ending == "jpg") {
                let name = from.file_name().expect("a name").to_owned();
                fs::copy(&from, to.join(&name)).expect("a copy");
                let name = name.to_string_lossy();
                manifest.push_str(&format!("{visit}/{name},demo-01,164,right\n"));
            }
        }
    }
    fs::write(folder.path().join("photos.csv"), manifest).expect("a manifest");
    folder
}

fn run(archive: &TempDir, out: &str, more: &[&str]) -> Vec<Score> {
    let out = archive.path().join(out);
    let ended = batch()
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(&out)
        .arg("--manifest")
        .arg(archive.path().join("photos.csv"))
        .args(more)
        .assert()
        .stdout("")
        .stderr(contains("a second"));
    let table = scores::read(&out).expect("a table");
    let all_measured = table.iter().all(|score| score.status == "measured");
    ended.code(if all_measured { 0 } else { 1 });
    table
}

fn photos_of(scores: &[Score]) -> Vec<&str> {
    let mut photos: Vec<&str> = scores.iter().map(|score| score.photo.as_str()).collect();
    photos.dedup();
    photos
}

#[test]
fn every_format_holds_the_same_rows_on_any_number_of_cores() {
    let archive = archive();
    let csv = run(&archive, "scores.csv", &["--jobs", "1"]);
    assert_eq!(csv, run(&archive, "scores.jsonl", &["--jobs", "2"]));
    assert_eq!(csv, run(&archive, "scores.parquet", &["--jobs", "3"]));
    let bytes = |name: &str| fs::read(archive.path().join(name)).expect("a table");
    for jobs in ["2", "5"] {
        run(&archive, "again.csv", &["--jobs", jobs]);
        assert!(bytes("again.csv") == bytes("scores.csv"), "{jobs} jobs");
        for name in ["again.csv", "again.csv-metadata.json"] {
            fs::remove_file(archive.path().join(name)).expect("removed");
        }
    }

    let photos = photos_of(&csv);
    assert_eq!(photos.len(), 10);
    assert!(photos.is_sorted(), "{photos:?}");
    assert!(csv.iter().all(|score| score.person == "demo-01"));
    let find = |photo: &str, measure: &str, unit: &str| {
        csv.iter()
            .find(|s| (&*s.photo, &*s.measure, &*s.unit) == (photo, measure, unit))
            .unwrap_or_else(|| panic!("{photo} {measure} {unit}"))
    };
    let flexion = find("intake/side-reach.jpg", "shoulder_flexion", "deg");
    assert_eq!(flexion.status, "measured");
    assert!(flexion.sigma.is_some_and(|sigma| sigma > 0.5));
    // The manifest's stature gives lengths, its operated side the asymmetry.
    assert!(
        find("intake/side-reach.jpg", "arm_to_ear", "cm")
            .value
            .is_some()
    );
    assert!(
        find("intake/front-reach.jpg", "reach_asymmetry", "deg")
            .value
            .is_some()
    );
    let c7 = find("intake/side-right.jpg", "craniovertebral_angle", "deg");
    // The truth is 43.1°.
    assert_eq!(c7.status.as_str(), "measured");
    let off = c7.value.expect("a value") - 43.126;
    assert!(off.abs() <= 1.96 * c7.sigma.expect("a sigma"), "{off}");
    let lowered: Vec<_> = csv
        .iter()
        .filter(|score| score.status == "unmeasured")
        .collect();
    assert!(!lowered.is_empty());
    for score in lowered {
        assert!(score.reason.contains("not raised high enough"), "{score:?}");
    }

    // What the columns hold stands beside the CSV, and nothing else is left behind.
    let description = fs::read_to_string(archive.path().join("scores.csv-metadata.json"));
    let description: Value =
        serde_json::from_str(&description.expect("a description")).expect("JSON");
    assert_eq!(description["url"], "scores.csv");
    let columns = description["tableSchema"]["columns"]
        .as_array()
        .expect("columns");
    assert_eq!(columns.len(), scores::COLUMNS.len());
    let expected = [
        "photos",
        "photos.csv",
        "scores.csv",
        "scores.csv-metadata.json",
        "scores.jsonl",
        "scores.parquet",
    ];
    assert_eq!(names_in(archive.path()), expected.map(str::to_owned).into());
}

#[test]
fn parts_make_up_the_whole() {
    let archive = archive();
    let whole = run(&archive, "whole.csv", &[]);
    let mut parts: Vec<Score> = (1..=3)
        .flat_map(|part| {
            let shard = format!("{part}/3");
            run(&archive, &format!("{part}.csv"), &["--shard", &shard])
        })
        .collect();
    parts.sort_by(|a, b| a.photo.cmp(&b.photo));
    assert_eq!(parts, whole);
}

/// Starts the program and waits until some photos are done.
fn begun(archive: &TempDir, out: &Path, photos: usize, jobs: usize) -> Child {
    let journal = tragus::batch::journal_path(out);
    let mut child = Process::new(cargo_bin("tragus"))
        .env_remove("ORT_DYLIB_PATH")
        .arg("batch")
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(out)
        .arg("--manifest")
        .arg(archive.path().join("photos.csv"))
        .args(["--jobs", &jobs.to_string(), "--resume"])
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program");
    let begun = Instant::now();
    loop {
        let lines = fs::read(&journal).map_or(0, |text| text.split(|&b| b == b'\n').count() - 1);
        // A line of settings, then one for each photo.
        if lines > photos {
            break;
        }
        assert!(
            begun.elapsed() < Duration::from_secs(120),
            "no photo was measured"
        );
        assert!(
            child.try_wait().expect("a child").is_none(),
            "it ended by itself"
        );
        std::thread::sleep(Duration::from_millis(2));
    }
    child
}

/// Ends the program as a crash or a full queue does, at a moment when some photos are done.
fn killed_after(archive: &TempDir, out: &Path, photos: usize, jobs: usize) {
    let mut child = begun(archive, out, photos, jobs);
    child.kill().expect("a running program");
    child.wait().expect("a child");
}

#[test]
fn a_run_killed_again_and_again_equals_an_unbroken_one() {
    let archive = archive();
    let unbroken = run(&archive, "unbroken.csv", &[]);
    let out = archive.path().join("broken.csv");
    // Each time after a random number of the ten photos more, on one core or two; near the end, anew.
    let mut photos = 0;
    for round in 0..kill_rounds(3) {
        let random = RandomState::new().hash_one(round) as usize;
        photos += 1 + random % 2;
        if photos > 8 {
            assert_eq!(run(&archive, "broken.csv", &["--resume"]), unbroken);
            fs::remove_file(&out).expect("the table");
            photos = 1;
        }
        let jobs = 1 + random / 2 % 2;
        println!("killed after {photos} photos, {jobs} at a time");
        killed_after(&archive, &out, photos, jobs);
        assert!(!out.exists(), "nothing half done passes for the table");
    }
    // Without --resume what was measured is not thrown away.
    batch()
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(&out)
        .assert()
        .code(2)
        .stderr(contains("was interrupted").and(contains("add --resume")));
    let resumed = run(&archive, "broken.csv", &["--resume"]);
    assert_eq!(resumed, unbroken);
    let bytes = |file: &str| fs::read(archive.path().join(file)).expect("a table");
    assert_eq!(bytes("broken.csv"), bytes("unbroken.csv"));
    // Asked once more, a whole table is left as it is.
    batch()
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(&out)
        .arg("--resume")
        .assert()
        .code(1)
        .stderr(contains("nothing to resume"));
    assert_eq!(bytes("broken.csv"), bytes("unbroken.csv"));
}

#[test]
fn a_resumed_run_keeps_to_the_settings_it_began_with() {
    let archive = archive();
    let out = archive.path().join("scores.csv");
    killed_after(&archive, &out, 1, 1);
    batch()
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(&out)
        .args(["--resume", "--thorough"])
        .arg("--manifest")
        .arg(archive.path().join("photos.csv"))
        .assert()
        .code(2)
        .stderr(contains("another effort: \"quick\", now \"thorough\""));
}

/// Another folder with the same names, a replaced photo, one that is gone: nothing of another run's
/// photos may end in the table.
#[test]
fn a_resumed_run_measures_what_is_there_now() {
    let archive = archive();
    let out = archive.path().join("scores.csv");
    killed_after(&archive, &out, 3, 1);
    let elsewhere = archive.path().join("elsewhere");
    fs::rename(archive.path().join("photos"), &elsewhere).expect("a folder");
    batch()
        .arg(&elsewhere)
        .arg("--out")
        .arg(&out)
        .arg("--resume")
        .arg("--manifest")
        .arg(archive.path().join("photos.csv"))
        .assert()
        .code(2)
        .stderr(contains("another folder"));
    let photos = archive.path().join("photos");
    fs::rename(&elsewhere, &photos).expect("a folder");
    // The first two in the order of a run are done.
    fs::copy(
        photos.join("intake/front.jpg"),
        photos.join("follow-up/front.jpg"),
    )
    .expect("a copy");
    fs::remove_file(photos.join("follow-up/front-reach.jpg")).expect("a photo");
    let resumed = run(&archive, "scores.csv", &["--resume"]);
    let unbroken = run(&archive, "again.csv", &[]);
    assert_eq!(resumed, unbroken);
    let gone: Vec<&Score> = resumed
        .iter()
        .filter(|score| score.photo == "follow-up/front-reach.jpg")
        .collect();
    assert!(
        gone.len() == 1 && gone[0].reason.contains("not there"),
        "{gone:?}"
    );
}

/// A share that goes away ends the run, and what was measured is there when it comes back.
#[test]
fn photos_that_vanish_are_not_called_unreadable() {
    let archive = archive();
    let unbroken = run(&archive, "unbroken.csv", &[]);
    let photos = archive.path().join("photos");
    let away = archive.path().join("away");
    // A folder that a share was mounted on is left behind, empty.
    for (table, leaves_folder) in [("folder.csv", true), ("nothing.csv", false)] {
        let out = archive.path().join(table);
        let child = begun(&archive, &out, 2, 1);
        fs::rename(&photos, &away).expect("renamed");
        if leaves_folder {
            fs::create_dir(&photos).expect("a folder");
        }
        let ended = child.wait_with_output().expect("an end");
        let said = String::from_utf8(ended.stderr).expect("text");
        assert_eq!(ended.status.code(), Some(2), "{said}");
        assert!(said.contains("photos that were there are gone"), "{said}");
        assert!(
            said.contains("hint: bring them back and add --resume"),
            "{said}"
        );
        assert!(!out.exists());
        if leaves_folder {
            fs::remove_dir(&photos).expect("removed");
        }
        fs::rename(&away, &photos).expect("renamed");
        assert_eq!(run(&archive, table, &["--resume"]), unbroken);
    }
}

/// A share that is back before the end costs no photo.
#[test]
fn a_photo_that_was_away_for_a_while_is_measured_after_all() {
    let archive = archive();
    let unbroken = run(&archive, "unbroken.csv", &[]);
    let photos = photos_of(&unbroken);
    let photo = archive.path().join("photos").join(photos[5]);
    let away = archive.path().join("away.jpg");
    let out = archive.path().join("scores.csv");
    let mut child = begun(&archive, &out, 2, 1);
    fs::rename(&photo, &away).expect("renamed");
    let next = format!("\"photo\":\"{}\"", photos[6]);
    let journal = tragus::batch::journal_path(&out);
    while !fs::read_to_string(&journal).expect("a run").contains(&next) {
        assert!(
            child.try_wait().expect("a child").is_none(),
            "it ended by itself"
        );
        std::thread::sleep(Duration::from_millis(2));
    }
    fs::rename(&away, &photo).expect("renamed");
    let said = child.wait_with_output().expect("an end").stderr;
    let said = String::from_utf8(said).expect("text");
    assert!(said.contains("1 photo could not be read"), "{said}");
    assert_eq!(scores::read(&out).expect("a table"), unbroken);
}

#[test]
fn of_two_runs_with_one_output_the_second_is_refused() {
    let archive = archive();
    let out = archive.path().join("scores.csv");
    let mut first = begun(&archive, &out, 1, 1);
    batch()
        .arg(archive.path().join("photos"))
        .arg("--out")
        .arg(&out)
        .arg("--resume")
        .assert()
        .code(2)
        .stderr(contains("another run is writing this output").and(contains("hint: wait for it")));
    assert_eq!(first.wait().expect("an end").code(), Some(1));
    assert_eq!(photos_of(&scores::read(&out).expect("a table")).len(), 10);
}

/// With more parts than photos some are empty: a table all the same.
#[test]
fn a_part_without_photos_is_an_empty_table() {
    let folder = tempfile::tempdir().expect("a folder");
    let photos = folder.path().join("photos");
    fs::create_dir(&photos).expect("a folder");
    fs::copy(demo("intake").join("front.jpg"), photos.join("front.jpg")).expect("a copy");
    let rows: usize = (1..=3)
        .map(|part| {
            let out = folder.path().join(format!("{part}.parquet"));
            batch()
                .arg(&photos)
                .arg("--out")
                .arg(&out)
                .args(["--shard", &format!("{part}/3")])
                .assert()
                .stdout("");
            scores::read(&out).expect("a table").len()
        })
        .sum();
    assert!(rows > 0);
}

#[test]
fn bad_files_have_rows_and_do_not_stop_the_run() {
    let folder = tempfile::tempdir().expect("a folder");
    let photos = folder.path().join("photos");
    fs::create_dir_all(photos.join("deep/er")).expect("a folder");
    let good = fs::read(demo("intake").join("front.jpg")).expect("a photo");
    let write = |name: &str, bytes: &[u8]| fs::write(photos.join(name), bytes).expect("a file");
    write("deep/er/good one, \"quoted\".JPG", &good);
    write("plus + plus.jpg", &good);
    write("cut.jpg", &good[..good.len() / 2]);
    write("empty.jpg", b"");
    write("text.jpg", b"this is no photo");
    write("phone.heic", b"ftypheic");
    write("notes.txt", b"not looked at");
    write(".hidden.jpg", &good);
    fs::copy(
        root().join("fixtures/cases/empty-room.jpg"),
        photos.join("room.jpg"),
    )
    .expect("a copy");
    fs::write(
        folder.path().join("photos.csv"),
        "\u{feff}photo;person;stature_cm;group\nplus + plus.jpg;p7;164,5;a\ngone.jpg;p8;;b\n",
    )
    .expect("a manifest");
    let out = folder.path().join("scores.csv");
    batch()
        .arg(&photos)
        .arg("--out")
        .arg(&out)
        .arg("--manifest")
        .arg(folder.path().join("photos.csv"))
        .assert()
        .code(1)
        .stderr(
            contains("Columns of the manifest that are not used: group.")
                .and(contains(
                    "In the manifest but not in the folder: 1, gone.jpg",
                ))
                .and(contains("In the folder but not in the manifest: 6"))
                .and(contains("nothing could be measured in 6 photos")),
        );
    let scores = scores::read(&out).expect("a table");
    assert_eq!(
        photos_of(&scores),
        [
            "cut.jpg",
            "deep/er/good one, \"quoted\".JPG",
            "empty.jpg",
            "gone.jpg",
            "phone.heic",
            "plus + plus.jpg",
            "room.jpg",
            "text.jpg",
        ]
    );
    let why = |photo: &str| {
        let rows: Vec<&Score> = scores.iter().filter(|score| score.photo == photo).collect();
        assert_eq!(rows.len(), 1, "{photo}");
        assert_eq!((&*rows[0].measure, &*rows[0].status), ("", "unmeasured"));
        rows[0].reason.clone()
    };
    assert!(why("cut.jpg").contains("damaged or cut short"));
    assert!(why("empty.jpg").contains("empty"));
    assert!(why("text.jpg").contains("not a photo"));
    assert!(why("phone.heic").contains("JPEG"));
    assert!(why("room.jpg").contains("Nobody was found"));
    assert!(why("gone.jpg").contains("not there"));
    let shift = scores
        .iter()
        .find(|score| score.photo == "plus + plus.jpg" && score.measure == "trunk_shift");
    assert!(shift.is_some_and(|score| score.person == "p7" && score.value.is_some()));
}

#[test]
fn what_can_not_run_says_what_to_do() {
    let archive = archive();
    let photos = archive.path().join("photos");
    let refused = |arguments: &[&str], words: &str| {
        batch()
            .arg(&photos)
            .args(arguments)
            .assert()
            .code(2)
            .stdout("")
            .stderr(contains(words));
    };
    refused(&["--out", "scores.xlsx"], "ends in .csv");
    let there = archive.path().join("photos.csv");
    refused(
        &["--out", there.to_str().expect("a path")],
        "there is such a file already",
    );
    refused(&["--out", "scores.csv", "--shard", "3/2"], "K/N");
    refused(&["--out", "no/such/folder/scores.csv"], "no such folder");
    refused(
        &["--out", "scores.csv", "--manifest", "no.csv"],
        "no.csv\nhint: ",
    );
    batch()
        .args(["no-photos", "--out", "scores.csv"])
        .assert()
        .code(2)
        .stderr(contains("no such folder: no-photos"));
    let empty = tempfile::tempdir().expect("a folder");
    batch()
        .arg(empty.path())
        .args(["--out", "scores.csv"])
        .assert()
        .code(2)
        .stderr(contains("no photo in this folder"));
}

/// A demo photo at twelve megapixels, and where its landmarks truly are.
fn twelve_megapixels(visit: &str, file: &str) -> (Vec<u8>, BTreeMap<Landmark, (f64, f64)>) {
    let small = image::open(demo(visit).join(file))
        .expect("a demo photo")
        .into_rgb8();
    let scale = 4000.0 / f64::from(small.height());
    let large = resize(&small, 3000, 4000, FilterType::CatmullRom);
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 92)
        .encode_image(&large)
        .expect("a JPEG");
    let truth = fs::read_to_string(demo(visit).join("truth.json")).expect("a truth");
    let truth: Value = serde_json::from_str(&truth).expect("JSON");
    let points = truth["photos"][file]["landmarks"]
        .as_object()
        .expect("landmarks");
    let points = points.iter().filter_map(|(name, point)| {
        let at = |axis: &str| Some(point[axis].as_f64()? * scale);
        Some((Landmark::from_name(name)?, (at("x")?, at("y")?)))
    });
    (jpeg, points.collect())
}

/// The smaller decoding must give the net the same picture: at twelve megapixels the error of the
/// landmarks grows by less than half a pixel, and they move to no side.
#[test]
fn reduced_decoding_leaves_the_landmarks_where_they_are() {
    let mut moved = Vec::new();
    let (mut with_reduced, mut with_whole) = (Vec::new(), Vec::new());
    let photos = [
        ("intake", "side-reach.jpg"),
        ("intake", "side-left.jpg"),
        ("follow-up", "front.jpg"),
        ("follow-up", "front-reach.jpg"),
    ];
    for (visit, file) in photos {
        let (bytes, truth) = twelve_megapixels(visit, file);
        let reduced = Photo::decode_reduced(&bytes, Limits::default()).expect("a photo");
        assert_eq!(reduced.upright().dimensions(), (750, 1000));
        assert_eq!((reduced.width(), reduced.height()), (3000, 4000));
        let whole = Photo::decode(&bytes, Limits::default()).expect("a photo");
        let points = |photo: &Photo| {
            let search = finder().search(photo, Effort::Quick).expect("the nets");
            search.person.expect("a person").samples.remove(0).points
        };
        let (from_reduced, from_whole) = (points(&reduced), points(&whole));
        for (landmark, (x, y)) in truth {
            let Some((a, b)) = from_reduced.get(&landmark).zip(from_whole.get(&landmark)) else {
                continue;
            };
            let error = |at: Point<_>| (at.x - x).hypot(at.y - y);
            with_reduced.push(error(a.at));
            with_whole.push(error(b.at));
            moved.push((a.at.x - b.at.x, a.at.y - b.at.y));
        }
    }
    let count = moved.len() as f64;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / count;
    let (x, y): (Vec<f64>, Vec<f64>) = moved.iter().copied().unzip();
    let distance: Vec<f64> = moved.iter().map(|(x, y)| x.hypot(*y)).collect();
    println!(
        "{count} landmarks: mean error {:.2} px reduced, {:.2} px whole; moved by {:.2} px, \
         ({:+.2}, {:+.2}) on average",
        mean(&with_reduced),
        mean(&with_whole),
        mean(&distance),
        mean(&x),
        mean(&y)
    );
    assert!(count > 60.0);
    assert!(mean(&with_reduced) < mean(&with_whole) + 0.5);
    assert!(mean(&x).abs() < 0.5 && mean(&y).abs() < 0.5);
    // A tenth of the net's pixel, 14 of these.
    assert!(mean(&distance) < 2.0);
}

//! Cases on the disk, through the program: filing, comparing, and what is left after damage.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use serde_json::Value;

use crate::common::demo;

fn tragus() -> Command {
    Command::cargo_bin("tragus").expect("the program")
}

/// A folder with one demo photo, which takes the nets a second.
fn one_photo(into: &Path, visit: &str) -> PathBuf {
    let folder = into.join(visit);
    fs::create_dir(&folder).expect("a folder");
    fs::copy(demo(visit).join("side-reach.jpg"), folder.join("side-reach.jpg")).expect("a copy");
    folder
}

fn file(case: &Path, photos: &Path, label: &str, date: &str) -> Command {
    let mut command = tragus();
    command
        .arg("measure")
        .arg(photos)
        .arg("--case")
        .arg(case)
        .args(["--label", label, "--date", date]);
    command
}

#[test]
fn visits_are_filed_compared_and_verified() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = scratch.path().join("demo-07");
    let (first, second) = (
        one_photo(scratch.path(), "intake"),
        one_photo(scratch.path(), "follow-up"),
    );
    file(&case, &first, "Intake", "2026-03-10")
        .args(["--stature", "164", "--operated-side", "right"])
        .assert()
        .stderr(contains("filed: ").and(contains("2026-03-10-intake")));
    // Stature and side are those of the visit before.
    file(&case, &second, "week 10", "2026-04-28")
        .assert()
        .stderr(contains("2026-04-28-week-10"));

    let record = fs::read_to_string(case.join("visits/2026-04-28-week-10/record.json")).unwrap();
    let record: Value = serde_json::from_str(&record).unwrap();
    assert_eq!(record["visit"]["stature_cm"], 164.0);
    assert_eq!(record["visit"]["operated_side"], "right");
    assert_eq!(record["visit"]["case"], "demo-07");
    let photo = "visits/2026-03-10-intake/side-reach.jpg";
    assert_eq!(
        fs::read(case.join(photo)).unwrap(),
        fs::read(first.join("side-reach.jpg")).unwrap()
    );

    // coreutils agree with the list.
    let checked = std::process::Command::new("sha256sum")
        .args(["--check", "--strict", "--quiet", "checksums.sha256"])
        .current_dir(&case)
        .status();
    match checked {
        Ok(status) => assert!(status.success()),
        Err(_) => eprintln!("skipped: no sha256sum on this machine"),
    }
    tragus()
        .args(["case", "verify"])
        .arg(&case)
        .assert()
        .code(0)
        .stdout("7 files are whole.\n");

    let compared = tragus()
        .arg("compare")
        .arg(&case)
        .args(["--format", "json"])
        .output()
        .expect("it runs");
    let compared: Value = serde_json::from_slice(&compared.stdout).expect("JSON");
    let visits = compared["visits"].as_array().expect("visits");
    assert_eq!(visits.len(), 2);

    // The same day and label again.
    file(&case, &second, "Week 10!", "2026-04-28")
        .assert()
        .code(2)
        .stderr(contains("filed already").and(contains("hint: give this visit another label")));

    let damaged = case.join("visits/2026-03-10-intake/record.json");
    fs::write(&damaged, "{").unwrap();
    tragus()
        .args(["case", "verify"])
        .arg(&case)
        .assert()
        .code(1)
        .stdout(contains("record.json is not as it was written. The photos of this visit are whole"));
    tragus()
        .arg("compare")
        .arg(&case)
        .assert()
        .code(2)
        .stderr(contains("record.json\nhint: "));
}

#[test]
fn what_can_not_be_filed_is_refused_before_the_work() {
    let scratch = tempfile::tempdir().expect("a folder");
    let photos = one_photo(scratch.path(), "intake");
    let case = scratch.path().join("case");
    let refused = |command: &mut Command, why: &'static str| {
        command.assert().code(2).stderr(contains(why).and(contains("\nhint: ")));
        assert!(!case.exists(), "{why}");
    };
    refused(
        tragus().arg("measure").arg(&photos).arg("--case").arg(&case),
        "a visit is filed under its day and a label",
    );
    refused(
        &mut file(&case, &photos, "intake", "2226-03-10"),
        "2226-03-10 is still to come",
    );
    fs::create_dir(&case).unwrap();
    fs::write(case.join("letter.txt"), "kept").unwrap();
    file(&case, &photos, "intake", "2026-03-10")
        .assert()
        .code(2)
        .stderr(contains("there are files in this one"));
    assert_eq!(fs::read_dir(&case).unwrap().count(), 1);
    tragus()
        .args(["case", "verify"])
        .arg(&case)
        .assert()
        .code(2)
        .stderr(contains("this folder is no case").and(contains("hint: ")));
    tragus()
        .arg("compare")
        .arg(&case)
        .assert()
        .code(2)
        .stderr(contains("one visit alone can't be compared"));
}

/// Killed at any moment, a visit is filed whole or not at all, and the case is as it was.
#[cfg(unix)]
#[test]
fn a_kill_while_filing_leaves_the_case_whole() {
    let scratch = tempfile::tempdir().expect("a folder");
    let photos = one_photo(scratch.path(), "intake");
    let case = scratch.path().join("case");
    file(&case, &photos, "first", "2026-03-10").assert().stderr(contains("filed"));
    let list = || fs::read_to_string(case.join("checksums.sha256")).expect("a list");
    let before = list().lines().count();
    let mut killed = 0;
    for round in 0..6u64 {
        let label = format!("round {round}");
        let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("tragus"))
            .arg("measure")
            .arg(&photos)
            .arg("--case")
            .arg(&case)
            .args(["--label", &label, "--date", "2026-03-11"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        // The list is written first; the rest follows within milliseconds.
        let started = std::time::Instant::now();
        while list().lines().count() == before + killed && child.try_wait().unwrap().is_none() {
            assert!(started.elapsed() < Duration::from_secs(120));
            std::thread::sleep(Duration::from_micros(100 + 150 * round));
        }
        let _ = child.kill();
        child.wait().expect("it ended");
        tragus().args(["case", "verify"]).arg(&case).assert().code(0);
        // The next writer ends what this one began.
        let visit = case.join(format!("visits/2026-03-11-round-{round}"));
        if visit.exists() {
            for name in ["record.json", "visit.json", "side-reach.jpg"] {
                assert!(visit.join(name).is_file(), "{name} of a filed visit");
            }
        }
        killed = list().lines().count() - before;
    }
}

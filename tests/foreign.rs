//! What a hand, or a program that keeps folders alike, made of a case: edited, copied, half arrived, of
//! another person. None of it is planned or written by as if tragus had filed it.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;

use crate::common::demo;
use crate::write::{case_until, plan, tragus, write};

const DAY: &str = "2026-05-27";
const SCREENING: &str = "screenings/2026-05-27.json";
const VISIT: &str = "visits/2026-05-26-setback";

/// A case with a list of its files.
fn case(scratch: &Path) -> PathBuf {
    let case = case_until(scratch, DAY);
    tragus::case::accept(&case).expect("a case");
    case
}

fn compare(case: &Path) -> Command {
    let mut command = tragus();
    command.arg("compare").arg(case).env("TRAGUS_TODAY", DAY);
    command
}

/// Every command that goes by the visits and answers of a case refuses it, and says why.
fn refused(case: &Path, why: &str) {
    for mut command in [plan(case, DAY), compare(case), write(case, DAY)] {
        command
            .assert()
            .code(2)
            .stderr(contains(why).and(contains("\nhint: ")));
    }
    assert!(!case.join("plans").exists() && !case.join("documents").exists());
}

#[test]
fn answers_that_are_not_as_they_were_kept_are_not_planned_by() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case(scratch.path());
    let screening = case.join(SCREENING);
    let kept = fs::read_to_string(&screening).expect("answers");
    // The last one has a name, and holds the answers of another day.
    for name in [
        "2026-05-27.sync-conflict-1.json",
        "copy of 2026-04-28.json",
        "2026-05-25.json",
    ] {
        let copy = screening.with_file_name(name);
        fs::write(&copy, &kept).expect("a file");
        refused(&case, "no screening or plan is kept under this name");
        // Neither taken in by mistake nor missed afterwards.
        if name.contains(' ') {
            tragus::case::accept(&case).expect("a case");
        }
        fs::remove_file(copy).expect("removed");
    }
    fs::write(&screening, format!("{kept}\n")).expect("a file");
    refused(&case, "this is not as it was filed");
    fs::remove_file(&screening).expect("removed");
    refused(&case, "this is not as it was filed");
    fs::write(&screening, format!("{kept}\n")).expect("a file");
    tragus()
        .args(["case", "verify", "--accept"])
        .arg(&case)
        .assert()
        .code(0);
    plan(&case, DAY).assert().code(0);
}

#[test]
fn visits_that_are_not_as_they_were_filed_are_not_gone_by() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case(scratch.path());
    let visit = case.join(VISIT);
    let record = visit.join("record.json");
    let kept = fs::read_to_string(&record).expect("a record");
    fs::write(&record, kept.replace("95.0", "115.0")).expect("a file");
    refused(&case, "this is not as it was filed");
    fs::remove_file(&record).expect("removed");
    refused(&case, "this is not as it was filed");
    fs::remove_dir(&visit).expect("removed");
    refused(&case, "this is not as it was filed");

    fs::create_dir(&visit).expect("a folder");
    fs::write(&record, &kept).expect("a file");
    let copy = case.join(format!("{VISIT} (conflicted copy)"));
    fs::create_dir(&copy).expect("a folder");
    fs::write(copy.join("record.json"), &kept).expect("a file");
    refused(&case, "two visits of this case are of one day and name");
    fs::remove_dir_all(copy).expect("removed");

    let of_another = kept.replacen("\"label\"", "\"case\": \"other-77\", \"label\"", 1);
    assert_ne!(of_another, kept);
    fs::write(&record, of_another).expect("a file");
    tragus::case::accept(&case).expect("a case");
    let why = "2026-05-26-setback says that it belongs to case other-77, and this case is demo-01";
    refused(&case, why);
    tragus()
        .args(["serve", "--no-open"])
        .arg(&case)
        .timeout(Duration::from_secs(60))
        .assert()
        .code(2)
        .stderr(contains(why).and(contains("hint: is this the right person?")));
}

#[test]
fn a_record_of_other_photos_is_not_written_over() {
    let scratch = tempfile::tempdir().expect("a folder");
    let record = scratch.path().join("record.json");
    let save = |visit: &str| {
        let photo = demo(visit).join("side-right.jpg");
        let mut command = tragus();
        command.arg("measure").arg(photo).arg("--save").arg(&record);
        command.assert()
    };
    save("intake").stderr(contains("another photo").not());
    let kept = fs::read(&record).expect("a record");
    save("intake").stderr(contains("another photo").not());
    assert!(fs::read(&record).expect("a record") == kept);
    // As it would be filed, it is still the same photo.
    let case = scratch.path().join("case");
    let mut filed = tragus();
    filed
        .arg("measure")
        .arg(demo("intake").join("side-right.jpg"));
    filed.arg("--save").arg(&record).arg("--case").arg(&case);
    filed.args(["--date", "2026-03-10", "--label", "intake"]);
    filed.assert().stderr(contains("filed: "));
    let kept = fs::read(&record).expect("a record");
    save("intake").stderr(contains("another photo").not());
    assert!(fs::read(&record).expect("a record") != kept);
    let kept = fs::read(&record).expect("a record");
    save("follow-up")
        .code(2)
        .stderr(contains("of another photo too, side-right.jpg"));
    assert!(fs::read(&record).expect("a record") == kept);
}

#[cfg(unix)]
#[test]
fn a_pipe_in_a_case_does_not_hang() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case(scratch.path());
    for file in [format!("{VISIT}/x.jpg"), format!("{VISIT}/record.json")] {
        let pipe = case.join(file);
        let _ = fs::remove_file(&pipe);
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        assert!(made.expect("it runs").success());
        for accept in [None, Some("--accept")] {
            tragus()
                .args(["case", "verify"])
                .args(accept)
                .arg(&case)
                .timeout(Duration::from_secs(60))
                .assert()
                .code(if accept.is_some() { 2 } else { 1 });
        }
        fs::remove_file(&pipe).expect("removed");
    }
}

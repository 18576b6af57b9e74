//! Cases on the disk, through the program: filing, comparing, and what is left after damage.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use assert_cmd::Command;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use serde_json::Value;
use tragus::photo::{Bare, Limits};

use crate::common::{demo, kill_rounds};

fn tragus() -> Command {
    Command::cargo_bin("tragus").expect("the program")
}

/// A folder with one demo photo, which takes the nets a second.
fn one_photo(into: &Path, visit: &str) -> PathBuf {
    let folder = into.join(visit);
    fs::create_dir(&folder).expect("a folder");
    fs::copy(
        demo(visit).join("side-reach.jpg"),
        folder.join("side-reach.jpg"),
    )
    .expect("a copy");
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
        Bare::of(
            &fs::read(first.join("side-reach.jpg")).unwrap(),
            Limits::default()
        )
        .unwrap()
        .bytes()
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
        .stdout(contains(
            "record.json is not as it was written. The photos of this visit are whole",
        ));
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
        command
            .assert()
            .code(2)
            .stderr(contains(why).and(contains("\nhint: ")));
        assert!(!case.exists(), "{why}");
    };
    refused(
        tragus()
            .arg("measure")
            .arg(&photos)
            .arg("--case")
            .arg(&case),
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
    file(&case, &photos, "first", "2026-03-10")
        .assert()
        .stderr(contains("filed"));
    let list = || fs::read_to_string(case.join("checksums.sha256")).expect("a list");
    let before = list().lines().count();
    let mut killed = 0;
    for round in 0..kill_rounds(6) as u64 {
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
            std::thread::sleep(Duration::from_micros(100 + 150 * (round % 20)));
        }
        let _ = child.kill();
        child.wait().expect("it ended");
        tragus()
            .args(["case", "verify"])
            .arg(&case)
            .assert()
            .code(0);
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

/// The demo case as it was on a day, with some photos of each visit, as a folder of its own.
fn demo_until(case: &Path, day: &str) {
    for kind in ["visits", "screenings"] {
        fs::create_dir_all(case.join(kind)).expect("a folder");
    }
    let from = crate::common::demo_case();
    fs::copy(from.join("case.json"), case.join("case.json")).expect("a copy");
    for visit in ["intake", "follow-up", "setback", "discharge"] {
        let from = demo(visit);
        let to = case.join("visits").join(from.file_name().expect("a name"));
        if *from.file_name().unwrap() > *format!("{day}-z") || to.exists() {
            continue;
        }
        fs::create_dir(&to).expect("a folder");
        for file in [
            "side-reach.jpg",
            "front-reach.jpg",
            "side-right.jpg",
            "visit.json",
        ] {
            fs::copy(from.join(file), to.join(file)).expect("a copy");
        }
        // What it measures does not change, and a record takes no nets.
        tragus()
            .arg("measure")
            .arg(&to)
            .arg("--save")
            .arg(to.join("record.json"))
            .output()
            .expect("it runs");
    }
    for entry in fs::read_dir(from.join("screenings")).expect("screenings") {
        let path = entry.expect("an entry").path();
        if *path.file_stem().unwrap().to_string_lossy() <= *day {
            let to = case.join("screenings").join(path.file_name().unwrap());
            fs::copy(&path, to).expect("a copy");
        }
    }
}

/// A case in which nothing is filed.
fn bare_case(into: &Path) -> PathBuf {
    let case = into.join("case");
    fs::create_dir(&case).expect("a folder");
    let about = r#"{"schema":"tragus-case/1","code":"x"}"#;
    fs::write(case.join("case.json"), about).expect("a file");
    case
}

fn plan(case: &Path, day: &str) -> Command {
    let mut command = tragus();
    command.arg("plan").arg(case).env("TRAGUS_TODAY", day);
    command
}

fn planned(case: &Path, day: &str, code: i32, more: &[&str]) -> Value {
    let output = plan(case, day)
        .args(["--format", "json"])
        .args(more)
        .assert()
        .code(code)
        .get_output()
        .stdout
        .clone();
    serde_json::from_slice(&output).expect("JSON")
}

const APPROVED: [&str; 2] = ["--approve", "AB"];

/// From screening to discharge: a limit, a hold with no programme, a step back, and the way out.
#[test]
fn the_demo_goes_from_intake_to_discharge() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = scratch.path().join("demo");
    let on = |day: &str, code: i32, more: &[&str]| {
        demo_until(&case, day);
        planned(&case, day, code, more)
    };

    let intake = on("2026-03-10", 0, &APPROVED);
    assert_eq!(intake["arm_limit_deg"]["value"], 120.0);
    assert_eq!(intake["arm_limit_deg"]["until"], "2026-03-31");
    assert_eq!(intake["days_since_surgery"], 21);
    assert_eq!(intake["pace"]["step"], "begin");
    assert_eq!(intake["approved"]["initials"], "AB");
    let home = fs::read_to_string(case.join("plans/2026-03-10-home.html")).expect("a sheet");
    assert!(home.contains("demo-01") && !home.contains("<script"));

    let follow_up = on("2026-04-28", 0, &APPROVED);
    assert_eq!(follow_up["arm_limit_deg"], Value::Null);
    assert_eq!(follow_up["pace"]["step"], "forward");
    assert!(follow_up["level"].as_u64() > intake["level"].as_u64());
    // The same gain is not spent twice, not even with answers of the day.
    let screened = case.join("screenings/2026-04-28.json");
    let text = fs::read_to_string(&screened).unwrap();
    plan(&case, "2026-05-05")
        .args(APPROVED)
        .assert()
        .code(2)
        .stderr(contains("the answers are of 2026-04-28"));
    fs::write(
        case.join("screenings/2026-05-05.json"),
        text.replace("\"date\": \"2026-04-28\"", "\"date\": \"2026-05-05\""),
    )
    .unwrap();
    let again = planned(&case, "2026-05-05", 0, &APPROVED);
    assert_eq!(again["pace"]["step"], "stay");
    assert_eq!(again["level"], follow_up["level"]);
    // What was approved on a day stays approved when it is looked at again.
    let looked = planned(&case, "2026-05-05", 0, &[]);
    assert_eq!(looked["approved"]["initials"], "AB");
    assert!(case.join("plans/2026-05-05-home.html").exists());

    // The reach sideways fell, and there is new swelling: ask first.
    let setback = on("2026-05-26", 1, &[]);
    assert_eq!(setback["holds"][0]["rule"], "swelling_new");
    assert_eq!(setback["exercises"], Value::Array(Vec::new()));
    let signals: Vec<&str> = setback["signals"]
        .as_array()
        .expect("signals")
        .iter()
        .filter_map(|signal| signal["signal"].as_str())
        .collect();
    // Sideways it fell, forward it held.
    assert!(
        signals.contains(&"reach_fell") && signals.contains(&"cords"),
        "{signals:?}"
    );
    plan(&case, "2026-05-26")
        .args(APPROVED)
        .assert()
        .code(2)
        .stderr(contains("a hold stands (swelling_new)"));
    assert!(!case.join("plans/2026-05-26-home.html").exists());
    let wait = fs::read_to_string(case.join("plans/2026-05-26-hold.html")).expect("a sheet");
    assert!(wait.contains("Do not exercise for now") && wait.contains("swelling"));
    // Nobody goes around the hold by way of an earlier day.
    plan(&case, "2026-05-20")
        .args(APPROVED)
        .assert()
        .code(2)
        .stderr(contains("there is a later screening, of 2026-05-26"));

    // The surgeon has looked and set a limit again.
    let after = on("2026-05-27", 0, &APPROVED);
    assert_eq!(after["arm_limit_deg"]["value"], 90.0);
    assert_eq!(after["pace"]["step"], "back");
    assert!(after["level"].as_u64() < follow_up["level"].as_u64());
    for exercise in after["exercises"].as_array().expect("exercises") {
        assert!(
            exercise["arm_up_to_deg"].as_f64().unwrap() <= 90.0,
            "{exercise}"
        );
    }

    let discharge = on("2026-08-11", 0, &APPROVED);
    assert_eq!(discharge["arm_limit_deg"], Value::Null);
    assert_eq!(discharge["pace"]["step"], "forward");
    let reached = discharge["goals"]
        .as_array()
        .expect("goals")
        .iter()
        .filter(|goal| goal["basis"] == "functional_need")
        .all(|goal| goal["standing"] == "reached");
    assert!(reached, "{:#}", discharge["goals"]);

    // The limit of each day is that of its screening: none is carried on to the later visits.
    let compared = tragus()
        .arg("compare")
        .arg(&case)
        .args(["--format", "json"])
        .output()
        .expect("it runs");
    let compared: Value = serde_json::from_slice(&compared.stdout).expect("JSON");
    assert_eq!(compared["visits"].as_array().expect("visits").len(), 4);
    let cautions = compared["cautions"].to_string();
    assert!(!cautions.contains("still valid"), "{cautions}");
}

/// A hold that comes on the day of an approved plan takes its sheet away and keeps what was approved.
#[test]
fn a_new_answer_takes_an_approval_away() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = scratch.path().join("demo");
    demo_until(&case, "2026-03-10");
    planned(&case, "2026-03-10", 0, &APPROVED);
    let home = case.join("plans/2026-03-10-home.html");
    assert!(home.exists());
    let kept = case.join("screenings/2026-03-10.json");
    let mut answers: Value = serde_json::from_slice(&fs::read(&kept).unwrap()).expect("JSON");
    answers["answers"]["fever"] = "yes".into();
    let file = scratch.path().join("answers.json");
    fs::write(&file, answers.to_string()).unwrap();
    plan(&case, "2026-03-10")
        .arg("--answers")
        .arg(&file)
        .args(APPROVED)
        .assert()
        .code(2)
        .stderr(contains("a hold stands (fever)"));
    assert!(!home.exists());
    let text = |name: &str| fs::read_to_string(case.join(name)).expect(name);
    let plan_of_day: Value = serde_json::from_str(&text("plans/2026-03-10.json")).unwrap();
    assert_eq!(plan_of_day["approved"], Value::Null);
    let before: Value = serde_json::from_str(&text("plans/2026-03-10-superseded-1.json")).unwrap();
    assert_eq!(before["approved"]["initials"], "AB");
    assert!(text("screenings/2026-03-10-superseded-1.json").contains("\"fever\": \"no\""));
    assert!(text("screenings/2026-03-10.json").contains("\"fever\": \"yes\""));

    // Chest pain is nobody's to take away; another hold is, with initials and a reason.
    let mut refused = |rule: &str, initials: &str, why: &'static str| {
        answers["overrides"] = serde_json::json!([
            { "rule": rule, "initials": initials, "reason": "agreed with the surgeon" }
        ]);
        fs::write(&file, answers.to_string()).unwrap();
        plan(&case, "2026-03-10")
            .arg("--answers")
            .arg(&file)
            .assert()
            .code(2)
            .stderr(contains(why));
    };
    refused(
        "emergency",
        "AB",
        "emergency is no rule that can be taken away",
    );
    refused("fever", "-", "fever was taken away without initials");
    answers["overrides"][0]["initials"] = "AB".into();
    fs::write(&file, answers.to_string()).unwrap();
    let taken = planned(
        &case,
        "2026-03-10",
        0,
        &["--answers", file.to_str().unwrap()],
    );
    assert_eq!(taken["overrides"][0]["rule"], "fever");
    // An exercise that the clinician leaves out is left out, and told.
    let fewer = planned(&case, "2026-03-10", 0, &["--without", "stand_tall"]);
    let left_out = fewer["left_out"].as_array().expect("left out");
    assert!(
        left_out
            .iter()
            .any(|left| left["because"] == "by the clinician's choice")
    );
}

/// What a visit was told on the day of the screening or later holds as well.
#[test]
fn a_limit_that_a_visit_was_told_is_not_lost() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = scratch.path().join("demo");
    demo_until(&case, "2026-04-28");
    let folder = case.join("visits/2026-04-28-follow-up");
    tragus()
        .arg("measure")
        .arg(&folder)
        .args(["--arm-limit", "60", "--save"])
        .arg(folder.join("record.json"))
        .output()
        .expect("it runs");
    let plan = planned(&case, "2026-04-28", 0, &[]);
    assert_eq!(plan["arm_limit_deg"]["value"], 60.0);
    for exercise in plan["exercises"].as_array().expect("exercises") {
        assert!(
            exercise["arm_up_to_deg"].as_f64().unwrap() <= 60.0,
            "{exercise}"
        );
    }
    // Another side than the visits have is a doubt that stops everything.
    let kept = case.join("screenings/2026-04-28.json");
    let text = fs::read_to_string(&kept).unwrap();
    let change = |text: &str| {
        fs::write(&kept, text).unwrap();
        tragus::case::accept(&case).expect("a case");
    };
    change(&text.replace("\"right\"", "\"left\""));
    let doubt = planned(&case, "2026-04-28", 1, &[]);
    assert_eq!(doubt["holds"][0]["rule"], "side_doubt");
    // Answers that are old are asked again first.
    change(&text);
    let old = planned(&case, "2026-05-13", 1, &[]);
    assert_eq!(old["holds"][0]["rule"], "answers_old");
}

#[test]
fn the_demo_is_as_it_was_filed() {
    tragus()
        .args(["case", "verify"])
        .arg(crate::common::demo_case())
        .assert()
        .code(0)
        .stdout(contains("files are whole.").and(contains("not in the list").not()));
}

#[test]
fn a_plan_needs_a_screening_that_its_rules_can_read() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = bare_case(scratch.path());
    plan(&case, "2026-03-10")
        .assert()
        .code(2)
        .stderr(contains("this case has no screening").and(contains("hint: ")));
    let template = tragus()
        .args(["plan", "--built-in", "answers"])
        .output()
        .expect("it runs");
    let template = String::from_utf8(template.stdout).expect("text");
    assert!(template.contains("\"drains\": \"in | out | never\""));
    let answers = scratch.path().join("answers.json");
    let mut filled: Value = serde_json::from_str(&template).expect("JSON");
    filled["date"] = "2026-03-10".into();
    filled["surgery_date"] = "2026-02-17".into();
    filled.as_object_mut().unwrap().remove("arm_limit");
    filled.as_object_mut().unwrap().remove("load_limit");
    fs::write(&answers, filled.to_string()).unwrap();
    plan(&case, "2026-03-10")
        .arg("--answers")
        .arg(&answers)
        .assert()
        .code(2)
        .stderr(contains("expected one of"));
    assert!(!case.join("screenings").exists());
    let rules = scratch.path().join("rules.toml");
    fs::write(&rules, "[[rule]]\nid = \"a\"\n").unwrap();
    plan(&case, "2026-03-10")
        .arg("--rules")
        .arg(&rules)
        .assert()
        .code(2)
        .stderr(contains("rules.toml\nhint: "));
    plan(&case, "2026-03-10")
        .args(["--date", "2226-03-10"])
        .assert()
        .code(2)
        .stderr(contains("still to come"));
}

/// The terminal's questions, answered by a file of lines.
#[test]
fn a_screening_is_asked_and_kept() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = bare_case(scratch.path());
    let questions = tragus::care::Rules::built_in().questions().len();
    // Day, side, each question's first answer, a limit with its days, no load.
    let typed = format!(
        "17.2.2026\n2026-02-17\nright\n{}90\n\n\n-\n\n",
        "1\n".repeat(questions)
    );
    plan(&case, "2026-03-10")
        .arg("--ask")
        .write_stdin(typed.as_str())
        .assert()
        .stderr(contains("17.2.2026: that can't be read").and(contains("screening: ")));
    let kept = fs::read_to_string(case.join("screenings/2026-03-10.json")).expect("kept");
    let kept: Value = serde_json::from_str(&kept).expect("JSON");
    assert_eq!(kept["surgery_date"], "2026-02-17");
    assert_eq!(kept["answers"].as_object().unwrap().len(), questions);
    assert_eq!(kept["arm_limit"]["set_on"], "2026-03-10");
    // An end in the middle keeps nothing.
    plan(&case, "2026-03-11")
        .arg("--ask")
        .write_stdin("2026-02-17\nright\n1\n")
        .assert()
        .code(2)
        .stderr(contains("ended before its last question"));
    assert!(!case.join("screenings/2026-03-11.json").exists());
}

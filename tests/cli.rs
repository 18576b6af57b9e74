//! The program as its users meet it: exit codes, what goes where, and what the messages say.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;

use crate::common::{demo, root};

fn tragus() -> Command {
    let mut command = Command::cargo_bin("tragus").expect("the program");
    // A library on this machine must not decide what these tests see.
    command.env_remove("ORT_DYLIB_PATH");
    command
}

fn photo(name: &str) -> PathBuf {
    demo("intake").join(name)
}

fn json(output: &[u8]) -> Value {
    serde_json::from_slice(output).expect("JSON on standard output")
}

#[test]
fn help_and_version_succeed_and_a_wrong_command_could_not_run() {
    tragus()
        .arg("--help")
        .assert()
        .code(0)
        .stdout(contains("measure"))
        .stderr("");
    tragus()
        .arg("--version")
        .assert()
        .code(0)
        .stdout(contains("tragus"));
    tragus()
        .arg("mesure")
        .assert()
        .code(2)
        .stdout("")
        .stderr(contains("measure"));
    tragus().arg("measure").assert().code(2).stdout("");
    tragus()
        .args(["measure", "x.jpg", "--stature", "1.65"])
        .assert()
        .code(2)
        .stderr(contains("expected 80 to 230 cm"));
}

#[test]
fn a_missing_path_is_named_last_with_a_hint() {
    for arguments in [vec!["measure", "no-such.jpg"], vec!["check", "no-such.jpg"]] {
        tragus()
            .args(arguments)
            .assert()
            .code(2)
            .stdout("")
            .stderr(contains("no-such.jpg\nhint: "));
    }
    tragus()
        .args(["compare", "no-a", "no-b"])
        .assert()
        .code(2)
        .stderr(contains("no such visit: no-a\nhint: "));
    tragus().args(["compare", "only-one"]).assert().code(2);
}

#[test]
fn a_folder_without_photos_could_not_run() {
    let folder = tempfile::tempdir().expect("a folder");
    tragus()
        .arg("measure")
        .arg(folder.path())
        .assert()
        .code(2)
        .stderr(contains("no photo in this folder"));
}

#[test]
fn a_wrong_visit_json_names_the_field_and_stops_before_the_work() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(photo("front.jpg"), folder.path().join("front.jpg")).expect("a copy");
    std::fs::write(
        folder.path().join("visit.json"),
        r#"{"operated_side":"rigth"}"#,
    )
    .expect("a file");
    tragus()
        .arg("measure")
        .arg(folder.path())
        .assert()
        .code(2)
        .stderr(contains(
            "operated_side is \"rigth\", expected left, right, both or none",
        ));
}

#[test]
fn measure_prints_the_contract_as_json() {
    let output = tragus()
        .arg("measure")
        .arg(demo("intake"))
        .args(["--format", "json"])
        .assert()
        .code(1)
        .get_output()
        .clone();
    let json = json(&output.stdout);
    assert_eq!(json["schema"], "tragus-visit/2");
    let photos = json["photos"].as_array().expect("photos");
    assert_eq!(photos.len(), 5);
    for photo in photos {
        for field in [
            "file",
            "view",
            "task",
            "side",
            "size",
            "landmarks",
            "notices",
        ] {
            assert!(!photo[field].is_null(), "no {field}");
        }
        let (name, landmark) = photo["landmarks"]
            .as_object()
            .expect("landmarks")
            .iter()
            .next()
            .expect("one");
        for field in ["x", "y", "sigma_px"] {
            assert!(landmark[field].is_f64(), "{name} has no {field}");
        }
        let evidence = landmark["evidence"].as_str().expect("a name");
        assert!(["pose_net", "landmark_net", "both_nets"].contains(&evidence));
    }
    for measure in json["measures"].as_array().expect("measures") {
        assert!(measure["value"].is_number() && measure["sigma"].as_f64().expect("sigma") > 0.0);
        for field in ["measure", "side", "photo", "unit"] {
            assert!(measure[field].is_string(), "no {field}");
        }
    }
    let unmeasured = json["unmeasured"].as_array().expect("unmeasured");
    assert!(unmeasured.iter().any(|u| {
        u["measure"] == "arm_to_ear_front"
            && u["side"] == "right"
            && u["reason"]
                .as_str()
                .is_some_and(|r| r.contains("not raised high enough"))
    }));
}

#[test]
fn what_options_would_settle_is_hinted_beside_the_result_and_no_text_names_one() {
    let run = |arguments: &[&str]| {
        tragus()
            .arg("measure")
            .arg(root().join("fixtures/cases/low-reach.jpg"))
            .args(arguments)
            .assert()
            .code(1)
    };
    // The rules of a table are dashes too.
    run(&[])
        .stdout(
            contains("--s")
                .not()
                .and(contains("--t").not())
                .and(contains("--o").not()),
        )
        .stderr(
            contains("hint: --stature")
                .and(contains("hint: --task"))
                .and(contains("hint: --operated-side")),
        );
    run(&["--stature", "164", "--operated-side", "left"]).stderr(contains("--stature").not());
    // Programs are not hinted.
    run(&["--format", "json"])
        .stdout(contains("--").not())
        .stderr("");
}

#[test]
fn the_same_photos_give_the_same_bytes() {
    let run = || {
        tragus()
            .arg("measure")
            .arg(photo("front-reach.jpg"))
            .args([
                "--format",
                "json",
                "--stature",
                "164",
                "--operated-side",
                "right",
            ])
            .assert()
            .get_output()
            .stdout
            .clone()
    };
    assert_eq!(run(), run());
}

#[test]
fn one_bad_photo_does_not_stop_the_others() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::copy(
        photo("side-reach.jpg"),
        folder.path().join("a reach (1) ä.jpg"),
    )
    .expect("a copy");
    std::fs::write(folder.path().join("broken.jpg"), b"\xff\xd8\xff\xe0 broken").expect("a file");
    std::fs::write(folder.path().join("empty.png"), b"").expect("a file");
    std::fs::write(folder.path().join("phone.heic"), b"\0\0\0\x18ftypheic").expect("a file");
    std::fs::write(folder.path().join("notes.txt"), b"not a photo").expect("a file");
    let output = tragus()
        .arg("measure")
        .arg(folder.path())
        .args(["--format", "json", "--stature", "164"])
        .assert()
        .code(1)
        .get_output()
        .clone();
    let json = json(&output.stdout);
    let notice = |file: &str| {
        let photos = json["photos"].as_array().expect("photos");
        let photo = photos
            .iter()
            .find(|p| p["file"] == file)
            .expect("the photo is listed");
        photo["notices"][0].as_str().unwrap_or("").to_owned()
    };
    assert!(
        notice("broken.jpg").contains("damaged"),
        "{}",
        notice("broken.jpg")
    );
    assert!(
        notice("empty.png").contains("empty"),
        "{}",
        notice("empty.png")
    );
    assert!(
        notice("phone.heic").contains("JPEG"),
        "{}",
        notice("phone.heic")
    );
    let measures = json["measures"].as_array().expect("measures");
    assert!(measures.iter().any(|m| m["photo"] == "a reach (1) ä.jpg"));
}

#[test]
fn a_saved_record_compares_like_its_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    let record = folder.path().join("intake.json");
    tragus()
        .arg("measure")
        .arg(demo("intake"))
        .arg("--save")
        .arg(&record)
        .assert()
        .code(1);
    let compare = |first: &Path| {
        let output = tragus()
            .arg("compare")
            .arg(first)
            .arg(demo("follow-up"))
            .args(["--format", "json"])
            .assert()
            .code(1)
            .get_output()
            .clone();
        json(&output.stdout)["rows"].clone()
    };
    let (from_record, from_folder) = (compare(&record), compare(&demo("intake")));
    let verdicts = |rows: &Value| -> Vec<String> {
        let rows = rows.as_array().expect("rows");
        assert!(!rows.is_empty());
        rows.iter()
            .map(|row| format!("{}{}{}", row["measure"], row["side"], row["verdict"]))
            .collect()
    };
    let sorted = |rows| {
        let mut verdicts = verdicts(rows);
        verdicts.sort();
        verdicts
    };
    assert_eq!(sorted(&from_record), sorted(&from_folder));
}

#[test]
fn the_report_is_one_file_that_asks_for_nothing_outside() {
    let folder = tempfile::tempdir().expect("a folder");
    let report = folder.path().join("report.html");
    tragus()
        .arg("compare")
        .args([demo("intake"), demo("follow-up")])
        .arg("--report")
        .arg(&report)
        .assert()
        .code(1)
        .stderr(contains("report written"));
    let html = std::fs::read_to_string(&report).expect("a report");
    assert!(html.starts_with("<!DOCTYPE html>"));
    assert!(html.contains("demo-01") && html.contains("Shoulder flexion"));
    for outside in [
        "<script",
        "src=\"http",
        "href=\"http",
        "url(http",
        "@import",
    ] {
        assert!(!html.contains(outside), "the report holds {outside}");
    }
    assert!(
        html.matches("data:image/jpeg;base64,").count() >= 10,
        "five pairs of pictures"
    );
    assert!(html.contains("not a diagnosis") || html.contains("Not a diagnosis"));
    assert_eq!(
        std::fs::read_dir(folder.path()).expect("a folder").count(),
        1
    );
}

#[test]
fn a_report_that_cannot_be_written_says_so() {
    tragus()
        .arg("compare")
        .args([demo("intake"), demo("follow-up")])
        .args(["--report", "no/such/folder/report.html"])
        .assert()
        .code(2)
        .stderr(contains("no/such/folder\nhint: "));
}

#[test]
fn check_answers_in_plain_words_and_always_cautions() {
    tragus()
        .arg("check")
        .arg(photo("side-reach.jpg"))
        .args(["--stature", "164"])
        .assert()
        .code(0)
        .stdout(contains("Stop at once"))
        .stdout(contains("Your right arm is raised"))
        .stdout(contains("in front of your ear"))
        .stdout(contains("not a diagnosis"));
    tragus()
        .arg("check")
        .arg(photo("side-reach.jpg"))
        .args(["--arm-limit", "90"])
        .assert()
        .code(0)
        .stdout(contains("your limit of 90°"));
    tragus()
        .arg("check")
        .arg(photo("front.jpg"))
        .assert()
        .code(1)
        .stdout(contains("No raised arm"))
        .stdout(contains("Stop at once"));
    // Whoever is at home types no options.
    let doubtful = root().join("fixtures/cases/low-reach.jpg");
    tragus()
        .arg("check")
        .arg(doubtful)
        .assert()
        .stdout(contains("neither hanging nor clearly raised"))
        .stdout(contains("how tall you are"))
        .stdout(contains("--").not());
}

#[test]
fn overlays_are_written_with_faces_covered_and_without_the_files_metadata() {
    let folder = tempfile::tempdir().expect("a folder");
    tragus()
        .arg("measure")
        .arg(photo("front.jpg"))
        .arg("--overlay")
        .arg(folder.path())
        .assert()
        .code(predicate::in_iter([0, 1]))
        .stderr(contains("Faces that were found are covered"))
        .stderr(contains("may have been missed"));
    let bytes = std::fs::read(folder.path().join("front.jpg.overlay.jpg")).expect("an overlay");
    assert!(image::load_from_memory(&bytes).is_ok());
    assert!(
        !bytes.windows(4).any(|w| w == b"Exif"),
        "metadata was copied"
    );
    tragus()
        .arg("measure")
        .arg(photo("front.jpg"))
        .arg("--overlay")
        .arg(folder.path())
        .arg("--show-faces")
        .assert()
        .code(predicate::in_iter([0, 1]))
        .stderr(contains("Faces show"));
}

#[test]
fn landmarks_for_a_stranger_or_of_a_wrong_name_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("landmarks.json");
    let run = |text: &str| {
        std::fs::write(&file, text).expect("a file");
        tragus()
            .arg("measure")
            .arg(photo("side-right.jpg"))
            .arg("--landmarks")
            .arg(&file)
            .assert()
            .code(2)
    };
    run(r#"{"other.jpg":{"c7":{"x":1,"y":2}}}"#).stderr(contains("not a photo of this visit"));
    run(r#"{"side-right.jpg":{"acromion":{"x":1,"y":2}}}"#)
        .stderr(contains("expected one of acromion_left, acromion_right"));
    run("nonsense").stderr(contains("JSON"));
}

/// To the byte: whoever compares two visits compares the people, not two moods of a machine.
#[test]
fn a_photo_gives_the_same_bytes_on_any_number_of_threads_and_in_any_order() {
    let measured = |photos: [&str; 3], threads: &str| {
        let output = tragus()
            .env("RAYON_NUM_THREADS", threads)
            .arg("measure")
            .args(photos.map(photo))
            .args([
                "--stature",
                "164",
                "--operated-side",
                "right",
                "--format",
                "json",
            ])
            .output()
            .expect("it runs");
        String::from_utf8(output.stdout).expect("text")
    };
    let order = ["side-right.jpg", "front-reach.jpg", "side-reach.jpg"];
    let one = measured(order, "1");
    assert!(one.contains("craniovertebral_angle"));
    for threads in ["2", "5"] {
        assert_eq!(measured(order, threads), one, "{threads} threads");
    }
    let turned = measured(["front-reach.jpg", "side-reach.jpg", "side-right.jpg"], "3");
    let of = |text: &str, kind: &str| {
        let record: Value = serde_json::from_str(text).expect("JSON");
        let parts = record[kind].as_array().expect("a list");
        let mut parts: Vec<String> = parts.iter().map(|part| part.to_string()).collect();
        parts.sort();
        assert!(parts.len() >= 3, "{kind}");
        parts
    };
    for kind in ["photos", "measures"] {
        assert_eq!(of(&turned, kind), of(&one, kind), "{kind}");
    }
}

/// What a review placed by hand is not lost to a command that measures anew.
#[test]
fn points_placed_by_hand_are_not_written_over() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    std::fs::write(
        at("c7.json"),
        r#"{"side-right.jpg":{"c7":{"x":200,"y":210}}}"#,
    )
    .expect("a file");
    std::fs::write(
        at("chin.json"),
        r#"{"side-right.jpg":{"chin":{"x":250,"y":190}}}"#,
    )
    .expect("a file");
    let save = |landmarks: Option<&str>| {
        let mut command = tragus();
        command.arg("measure").arg(photo("side-right.jpg"));
        if let Some(name) = landmarks {
            command.arg("--landmarks").arg(at(name));
        }
        command.arg("--save").arg(at("record.json")).assert()
    };
    save(Some("c7.json")).code(predicate::in_iter([0, 1]));
    let kept = std::fs::read(at("record.json")).expect("a record");
    for landmarks in [None, Some("chin.json")] {
        save(landmarks)
            .code(2)
            .stderr(contains("points placed by hand, C7 in side-right.jpg"))
            .stderr(contains("hint: give --save another name"));
    }
    assert_eq!(std::fs::read(at("record.json")).expect("a record"), kept);
    save(Some("c7.json")).code(predicate::in_iter([0, 1]));
    // Nor passed over without a word.
    std::fs::copy(photo("side-right.jpg"), at("side-right.jpg")).expect("a copy");
    let compare = |visit: &Path| {
        let mut command = tragus();
        command.arg("compare").arg(visit).arg(at("record.json"));
        command.assert().code(predicate::in_iter([0, 1]))
    };
    let not_used = "The points that were placed by hand are not used";
    compare(folder.path()).stderr(contains(not_used));
    compare(&at("record.json")).stderr(contains(not_used).not());
}

#[test]
fn a_runtime_that_is_no_library_is_refused_with_a_way_out() {
    tragus()
        .arg("measure")
        .arg(photo("front.jpg"))
        .arg("--runtime")
        .arg(photo("front.jpg"))
        .assert()
        .code(2)
        .stderr(contains("--runtime embedded"));
}

#[test]
fn a_library_that_was_only_found_and_is_broken_is_passed_over() {
    let environment = tempfile::tempdir().expect("a folder");
    let bin = environment.path().join("bin");
    let packages = environment.path().join("lib/python3.11/site-packages");
    let capi = packages.join("onnxruntime/capi");
    std::fs::create_dir_all(&bin).expect("a folder");
    std::fs::create_dir_all(&capi).expect("a folder");
    let library = capi.join(format!(
        "{}onnxruntime{}",
        std::env::consts::DLL_PREFIX,
        std::env::consts::DLL_SUFFIX
    ));
    std::fs::write(&library, "no library").expect("a file");
    let program = bin.join(format!("tragus{}", std::env::consts::EXE_SUFFIX));
    std::fs::copy(env!("CARGO_BIN_EXE_tragus"), &program).expect("a copy");
    let run = |named: Option<&Path>| {
        let mut command = Command::new(&program);
        command
            .env_remove("ORT_DYLIB_PATH")
            .envs(named.map(|path| ("ORT_DYLIB_PATH", path)))
            .args(["measure", "--format", "csv"])
            .arg(photo("front.jpg"))
            .assert()
    };
    let found = run(None)
        .code(1)
        .stderr(contains("passed over").and(contains("the runtime used: built in")));
    let mut embedded = tragus();
    embedded
        .args(["measure", "--format", "csv", "--runtime", "embedded"])
        .arg(photo("front.jpg"));
    assert_eq!(
        found.get_output().stdout,
        embedded.assert().code(1).stderr("").get_output().stdout
    );
    // Somebody who names that very file wants it, and is told.
    run(Some(&library))
        .code(2)
        .stdout("")
        .stderr(contains("--runtime embedded"));
}

#[test]
fn nothing_that_is_needed_is_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("reach.jpg");
    std::fs::copy(photo("side-reach.jpg"), &own).expect("a copy");
    let before = std::fs::read(&own).expect("the photo");
    for target in [
        own.clone(),
        folder.path().join("visit.json"),
        folder.path().to_owned(),
    ] {
        tragus()
            .arg("measure")
            .arg(&own)
            .arg("--save")
            .arg(&target)
            .assert()
            .code(2)
            .stderr(contains("hint: name a new file"));
    }
    tragus()
        .arg("measure")
        .arg(&own)
        .arg("--overlay")
        .arg(folder.path())
        .assert()
        .code(2)
        .stderr(contains("another folder"));
    tragus()
        .arg("compare")
        .args([demo("intake"), demo("follow-up")])
        .arg("--report")
        .arg(&own)
        .assert()
        .code(2);
    assert_eq!(std::fs::read(&own).expect("the photo"), before);
    assert_eq!(
        std::fs::read_dir(folder.path()).expect("a folder").count(),
        1
    );
}

#[test]
fn a_record_beside_other_photos_shows_none_of_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let record = folder.path().join("intake.json");
    tragus()
        .arg("measure")
        .arg(demo("intake"))
        .arg("--save")
        .arg(&record)
        .assert()
        .code(1);
    // The follow-up's photos have the same names and another face under the circle.
    for file in [
        "front.jpg",
        "front-reach.jpg",
        "side-left.jpg",
        "side-right.jpg",
        "side-reach.jpg",
    ] {
        std::fs::copy(demo("follow-up").join(file), folder.path().join(file)).expect("a copy");
    }
    let report = folder.path().join("report.html");
    tragus()
        .arg("compare")
        .arg(&record)
        .arg(demo("follow-up"))
        .arg("--report")
        .arg(&report)
        .assert()
        .code(1);
    let html = std::fs::read_to_string(&report).expect("a report");
    assert_eq!(
        html.matches("data:image/jpeg;base64,").count(),
        5,
        "only the follow-up's own"
    );
}

#[test]
fn a_limit_set_at_intake_still_holds_at_follow_up() {
    let folder = tempfile::tempdir().expect("a folder");
    for visit in ["intake", "follow-up"] {
        let own = folder.path().join(visit);
        std::fs::create_dir(&own).expect("a folder");
        std::fs::copy(
            demo(visit).join("side-reach.jpg"),
            own.join("side-reach.jpg"),
        )
        .expect("a copy");
    }
    let facts = r#"{"label":"intake","operated_side":"right","arm_limit_deg":120}"#;
    std::fs::write(folder.path().join("intake/visit.json"), facts).expect("a file");
    let output = tragus()
        .arg("compare")
        .args([
            folder.path().join("intake"),
            folder.path().join("follow-up"),
        ])
        .assert()
        .code(1)
        .get_output()
        .clone();
    let text = String::from_utf8(output.stdout).expect("text");
    let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flowing.contains("is taken as still valid"), "{text}");
    assert!(text.contains("Shoulder flexion"));
    assert!(
        !text.contains("[+] improved"),
        "praised beyond the limit: {text}"
    );
}

#[test]
fn two_photos_of_one_name_in_one_visit_are_refused() {
    tragus()
        .arg("measure")
        .args([photo("front.jpg"), demo("follow-up").join("front.jpg")])
        .assert()
        .code(2)
        .stderr(contains("two photos have the same name: front.jpg\nhint: "));
}

/// Two tables of raters in a folder of their own, and that folder.
fn raters(first: &str, second: &str) -> (tempfile::TempDir, PathBuf, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let paths = ["first.csv", "second.csv"].map(|name| folder.path().join(name));
    for (path, rows) in paths.iter().zip([first, second]) {
        let table = format!("photo,measure,side,value\n{rows}");
        std::fs::write(path, table).expect("a table");
    }
    let [first, second] = paths;
    (folder, first, second)
}

const ROWS: &str = "a.jpg,shoulder_flexion,left,101\nb.jpg,shoulder_flexion,left,122\n\
                    c.jpg,shoulder_flexion,right,143\nd.jpg,shoulder_flexion,right,150\n";
const OTHER_ROWS: &str = "d.jpg,shoulder_flexion,right,149\na.jpg,shoulder_flexion,left,103\n\
                          b.jpg,shoulder_flexion,left,121\nc.jpg,shoulder_flexion,right,147\n";

#[test]
fn agree_prints_a_table_or_json_and_writes_plots() {
    let (folder, first, second) = raters(ROWS, OTHER_ROWS);
    tragus()
        .arg("agree")
        .args([&first, &second])
        .assert()
        .code(0)
        .stdout(contains("Shoulder flexion (°)").and(contains("limits of agreement")))
        .stderr("");
    let plots = folder.path().join("new/plots");
    let output = tragus()
        .arg("agree")
        .args([&first, &second])
        .args(["--format", "json", "--reference", "--plots"])
        .arg(&plots)
        .assert()
        .code(0)
        .get_output()
        .clone();
    let json = json(&output.stdout);
    assert_eq!(json["schema"], "tragus-agreement/1");
    assert_eq!(json["files"][0]["is_reference"], true);
    let sides: Vec<&Value> = json["groups"]
        .as_array()
        .expect("groups")
        .iter()
        .map(|group| &group["side"])
        .collect();
    assert_eq!(sides, ["left", "right", "both"]);
    let bias = &json["groups"][2]["differences"][0]["bias"]["value"];
    assert!((bias.as_f64().expect("a bias") - 1.0).abs() < 1e-9);
    let svg = std::fs::read_to_string(plots.join("shoulder_flexion.svg")).expect("a plot");
    assert!(svg.contains("Error B − A (°)"));
    assert_eq!(std::fs::read_dir(&plots).expect("a folder").count(), 1);
}

#[test]
fn agree_tells_what_it_could_not_compute() {
    let (_folder, first, second) = raters(
        &format!("{ROWS}a.jpg,trunk_lean,left,4\n"),
        &format!("{OTHER_ROWS}a.jpg,trunk_lean,left,5\n"),
    );
    tragus()
        .arg("agree")
        .args([&first, &second])
        .assert()
        .code(1)
        .stdout(
            contains("Trunk lean (°), left: limits of agreement")
                .and(contains("why: needs two rows")),
        );
}

#[test]
fn agree_refuses_tables_that_cannot_be_joined() {
    let (_folder, first, second) = raters(ROWS, &ROWS.replace(".jpg", ".png"));
    tragus()
        .arg("agree")
        .args([&first, &second])
        .assert()
        .code(2)
        .stdout("")
        .stderr(
            contains("no row is in all files\nhint: ")
                .and(contains("photo a.jpg, shoulder_flexion, left, deg: "))
                .and(contains("photo a.png, shoulder_flexion, left, deg: ")),
        );
    let (_folder, first, second) = raters(ROWS, &format!("{ROWS}{ROWS}"));
    tragus()
        .arg("agree")
        .args([&first, &second])
        .assert()
        .code(2)
        .stderr(
            contains("row 5 measures again what row 1 did: photo a.jpg")
                .and(contains("second.csv\nhint: ")),
        );
    tragus()
        .arg("agree")
        .args([&first, &first])
        .assert()
        .code(2)
        .stderr(contains("named twice").and(contains("first.csv\nhint: ")));
    tragus().arg("agree").arg(&first).assert().code(2);
    tragus()
        .arg("agree")
        .args([&first, &second])
        .arg("--plots")
        .arg(&first)
        .assert()
        .code(2);
}

#[test]
fn board_writes_a_pdf_for_each_paper() {
    let folder = tempfile::tempdir().expect("a folder");
    tragus()
        .arg("board")
        .current_dir(folder.path())
        .assert()
        .code(0)
        .stdout("")
        .stderr(contains("print it at 100 %").and(contains("board.pdf")));
    let letter = folder.path().join("letter.pdf");
    tragus()
        .args(["board", "--paper", "letter", "--out"])
        .arg(&letter)
        .assert()
        .code(0);
    let a4 = std::fs::read(folder.path().join("board.pdf")).expect("the board");
    let letter = std::fs::read(letter).expect("the board");
    assert!(a4.starts_with(b"%PDF") && letter.starts_with(b"%PDF"));
    assert_ne!(a4, letter);
}

#[test]
fn board_refuses_what_it_cannot_write() {
    let folder = tempfile::tempdir().expect("a folder");
    for out in ["board.svg", "no/such/board.pdf", "."] {
        tragus()
            .args(["board", "--out", out])
            .current_dir(folder.path())
            .assert()
            .code(2)
            .stderr(contains("hint: "));
    }
    tragus()
        .args(["board", "--paper", "a3"])
        .assert()
        .code(2)
        .stderr(contains("letter"));
}

/// Commands of the program, as its help lists them.
fn commands() -> Vec<String> {
    let help = tragus().arg("--help").output().expect("it runs").stdout;
    let help = String::from_utf8(help).expect("text");
    help.lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next().map(str::to_owned))
        .filter(|command| command != "help")
        .collect()
}

#[test]
fn every_command_teaches_with_two_examples_that_it_can_read() {
    let commands = commands();
    assert!(commands.len() >= 11, "{commands:?}");
    for command in commands {
        let help = tragus()
            .args([&command, "--help"])
            .output()
            .expect("it runs")
            .stdout;
        let help = String::from_utf8(help).expect("text");
        let examples: Vec<&str> = help
            .lines()
            .skip_while(|line| *line != "Examples:")
            .skip(1)
            .map(str::trim)
            .collect();
        assert_eq!(examples.len(), 2, "{command}");
        for example in examples {
            let words = example.split(" > ").next().unwrap_or_default();
            let mut words = words.split_whitespace();
            assert_eq!(words.next(), Some("tragus"));
            let output = tragus()
                .args(words)
                .arg("--help")
                .output()
                .expect("it runs");
            assert!(output.status.success(), "{example}");
        }
    }
}

#[test]
fn the_version_names_the_nets_and_what_runs_them() {
    tragus()
        .arg("-V")
        .assert()
        .stdout(concat!("tragus ", env!("CARGO_PKG_VERSION"), "\n"));
    tragus().arg("--version").assert().stdout(
        contains("net landmarks: ")
            .and(contains("runtime: tract"))
            .and(contains("SHA-256")),
    );
}

#[test]
fn completions_and_manual_pages_know_every_command() {
    let folder = tempfile::tempdir().expect("a folder");
    tragus()
        .args(["man", "--out"])
        .arg(folder.path())
        .assert()
        .code(0);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = tragus()
            .args(["completions", shell])
            .output()
            .expect("it runs")
            .stdout;
        let script = String::from_utf8(script).expect("text");
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
    }
    for command in commands() {
        let page = folder.path().join(format!("tragus-{command}.1"));
        let page = std::fs::read_to_string(page).expect("a page");
        assert!(page.contains("Examples"), "{command}");
    }
    tragus()
        .arg("man")
        .assert()
        .stdout(contains(".TH tragus 1"));
}

#[test]
fn colours_keep_to_no_color() {
    let help = |no_color: bool| {
        let mut command = tragus();
        command.env("CLICOLOR_FORCE", "1").env_remove("NO_COLOR");
        if no_color {
            command.env_remove("CLICOLOR_FORCE").env("NO_COLOR", "1");
        }
        command.arg("--help").output().expect("it runs").stdout
    };
    assert!(
        help(false).contains(&0x1b),
        "forced, so that the test can fail"
    );
    assert!(!help(true).contains(&0x1b));
}

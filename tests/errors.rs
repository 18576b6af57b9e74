//! Wrong commands, as somebody new types them: each says what happened and what to do next.

use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::common::{demo, demo_case};

/// What was typed, the exit code, what happened, and what to do next.
type Case = (&'static str, i32, &'static str, &'static str);

/// `PORT` stands for one that is taken.
const CASES: [Case; 81] = [
    // Typed wrong.
    (
        "mesure photos",
        2,
        "unrecognized subcommand 'mesure'",
        "'measure'",
    ),
    (
        "case verfy case",
        2,
        "unrecognized subcommand 'verfy'",
        "'verify'",
    ),
    (
        "measure photos --statur 164",
        2,
        "unexpected argument '--statur'",
        "'--stature'",
    ),
    ("measure", 2, "were not provided", "<PATH>"),
    ("batch photos", 2, "were not provided", "--out <FILE>"),
    (
        "measure photos --format xml",
        2,
        "invalid value 'xml'",
        "table, json, csv, fhir, coco",
    ),
    ("schema visits", 2, "invalid value 'visits'", "'visit'"),
    ("board --paper a5", 2, "invalid value 'a5'", "a4, letter"),
    ("completions cmd", 2, "invalid value 'cmd'", "bash"),
    // Values.
    (
        "measure photos --stature 1.64",
        2,
        "expected 80 to 230 cm",
        "in cm this may be 164",
    ),
    (
        "measure photos --stature -164",
        2,
        "invalid value '-164'",
        "expected 80 to 230 cm",
    ),
    (
        "measure photos --stature tall",
        2,
        "invalid value 'tall'",
        "expected a number of cm",
    ),
    (
        "measure photos --arm-limit 400",
        2,
        "invalid value '400'",
        "expected 0 to 200 degrees",
    ),
    (
        "measure photos --operated-side middle",
        2,
        "invalid value 'middle'",
        "left, right, both, none",
    ),
    (
        "measure photos --date 10.03.2026",
        2,
        "expected a day as year-month-day",
        "such as 2026-03-10",
    ),
    (
        "measure photos --pose-net heavy",
        2,
        "built without the model pose_heavy",
        "without --pose-net",
    ),
    (
        "measure photos --runtime note.txt",
        2,
        "not an ONNX Runtime library",
        "--runtime embedded",
    ),
    (
        "batch photos --out s.csv --shard 3/2",
        2,
        "expected K/N",
        "such as 2/8",
    ),
    (
        "serve --port 99999",
        2,
        "invalid value '99999'",
        "0..=65535",
    ),
    // Files and folders.
    (
        "measure nowhere.jpg",
        2,
        "no such file: nowhere.jpg",
        "check the spelling",
    ),
    (
        "measure empty",
        2,
        "no photo in this folder: empty",
        "photos end in jpg",
    ),
    (
        "measure case",
        2,
        "no photo in this folder: case",
        "name one of the folders in it",
    ),
    (
        "measure photos/front.jpg empty",
        2,
        "a folder among several paths",
        "name one folder, or photos",
    ),
    (
        "measure report.html",
        1,
        "not a photo that can be read",
        "export the photo as JPEG",
    ),
    (
        "measure photos photos/front.jpg",
        2,
        "a folder among several paths",
        "tragus compare",
    ),
    (
        "check photos",
        2,
        "this is a folder: photos",
        "name one photo in it",
    ),
    (
        "check note.txt",
        1,
        "not a photo that can be read",
        "export the photo as JPEG",
    ),
    ("check nowhere.jpg", 2, "nowhere.jpg", "hint: "),
    ("check grey.png", 1, "person", "."),
    (
        "batch nowhere --out s.csv",
        2,
        "no such folder: nowhere",
        "name the folder that holds",
    ),
    (
        "batch empty --out s.csv",
        2,
        "no photo in this folder or the folders in it",
        "photos end in",
    ),
    (
        "serve nowhere",
        2,
        "no such folder: nowhere",
        "name each visit's folder",
    ),
    // Where results go.
    (
        "measure photos --save nowhere/r.json",
        2,
        "no such folder to write into",
        "make it first",
    ),
    (
        "measure photos --save r.txt",
        2,
        "does not say how to write the file",
        "ends in .json",
    ),
    (
        "measure photos --save photos",
        2,
        "this is a folder, not a file",
        "ends in .json",
    ),
    (
        "measure photos --overlay photos",
        2,
        "the photos themselves lie in this folder",
        "another folder",
    ),
    (
        "measure photos --overlay note.txt",
        2,
        "this is a file, not a folder",
        "name a folder",
    ),
    (
        "compare case --report r.docx",
        2,
        "does not say how to write the file",
        "ends in .html",
    ),
    (
        "compare case --report nowhere/r.html",
        2,
        "no such folder to write into",
        "make it first",
    ),
    (
        "batch photos --out s.xlsx",
        2,
        "does not say how to write the file",
        "ends in .csv",
    ),
    (
        "board --out photos",
        2,
        "this is a folder, not a file",
        "ends in .pdf",
    ),
    // What stands in files.
    (
        "measure photos --landmarks bad.json",
        2,
        "not readable as JSON",
        "the form is",
    ),
    (
        "measure photos --landmarks columns.csv",
        2,
        "expected a column photo",
        "the columns are photo, landmark, x, y",
    ),
    (
        "batch photos --out s.csv --manifest columns.csv",
        2,
        "no column photo",
        "the columns are photo, person",
    ),
    (
        "agree columns.csv note.txt",
        2,
        "no column photo",
        "name a table with the columns",
    ),
    (
        "agree columns.csv columns.csv",
        2,
        "named twice",
        "a table of each rater",
    ),
    ("agree columns.csv", 2, "2 values required", "agree"),
    (
        "compare bad.json note.txt",
        2,
        "not readable as JSON",
        "name a folder of photos, or a record",
    ),
    (
        "compare report.html case/visits/a",
        2,
        "report.html",
        "a record made by tragus measure --save",
    ),
    // Visits and cases.
    (
        "compare photos",
        2,
        "one visit alone can't be compared",
        "name two visits or more",
    ),
    (
        "compare case other",
        2,
        "this is a whole case",
        "compare one case by itself",
    ),
    (
        "compare case",
        2,
        "a comparison takes two visits",
        "tragus measure --case",
    ),
    (
        "measure photos --case new",
        2,
        "filed under its day and a label",
        "--date 2026-03-10 takes it; --label intake names the visit",
    ),
    (
        "measure photos --case new --label x --date 2226-01-01",
        2,
        "is still to come",
        "check the date",
    ),
    (
        "measure photos --case other --label x --date 2026-03-10",
        2,
        "belongs to case demo-07",
        "is this the right person?",
    ),
    (
        "case verify photos",
        2,
        "this folder is no case",
        "tragus measure --case makes one",
    ),
    (
        "plan photos",
        2,
        "this folder is no case",
        "tragus measure --case makes one",
    ),
    (
        "plan case --answers bad.json",
        2,
        "not readable as JSON",
        "--built-in answers",
    ),
    (
        "plan case --rules bad.json",
        2,
        "no file of rules",
        "--built-in rules",
    ),
    (
        "plan case --date 2231-01-01",
        2,
        "is still to come",
        "today",
    ),
    (
        "serve case other",
        2,
        "this is a second case",
        "one person at a time",
    ),
    (
        "serve --no-open --port PORT",
        2,
        "is in use by another program",
        "leave it out to take any that is free",
    ),
    (
        "forget photos",
        2,
        "this folder is no case",
        "tragus measure --case makes one",
    ),
    (
        "forget lost",
        2,
        "the case.json of this case is lost: lost",
        "tragus case verify says how to write it anew",
    ),
    (
        "measure photos --save bad.json",
        2,
        "there is a file already that is no record of a visit",
        "give --save another name",
    ),
    (
        "measure photos --save case/case.json",
        2,
        "there is a file already that is no record of a visit",
        "give --save another name",
    ),
    (
        "batch photos --out t.csv",
        2,
        "what the columns hold would be written here",
        "give --out another name",
    ),
    (
        "batch photos --out s.csv --manifest twice.csv",
        2,
        "two columns are named stature_cm",
        "the columns are photo",
    ),
    (
        "forget nowhere",
        2,
        "no such folder: nowhere",
        "check the spelling",
    ),
    (
        "forget case/case.json",
        2,
        "this is a file, not the folder of a case",
        "name the folder that case.json lies in",
    ),
    ("forget case", 2, "no code was typed", "--yes demo-01"),
    (
        "write case letter --date 2020-01-01",
        1,
        "no visit is filed up to 2020-01-01",
        "tragus measure --case files a visit",
    ),
    (
        "write case home-sheet",
        1,
        "no plan is kept",
        "make one first with tragus plan",
    ),
    (
        "write case course --out new.docx",
        2,
        "this name ends like a file's",
        "name a folder",
    ),
    (
        "write case/visits/a letter",
        2,
        "this folder is no case",
        "tragus measure --case makes one",
    ),
    (
        "measure photos --dicom drawn",
        2,
        "does not say its day",
        "add --date",
    ),
    (
        "compare clip.mp4 photos",
        2,
        "a clip is not compared by itself",
        "put it into a folder",
    ),
    (
        "batch clip.mp4 --out s.csv",
        2,
        "this is a file, not a folder: clip.mp4",
        "name the folder that holds",
    ),
    (
        "serve case case",
        2,
        "this case is named twice",
        "name it once",
    ),
    ("licences --text", 2, "unexpected argument", "'--texts'"),
    (
        "forget case --yes demo",
        2,
        "\"demo\" is not the code of this case",
        "--yes demo-01",
    ),
];

/// What the commands find: photos, an empty folder, two cases, and files that are something else.
fn lay_out(folder: &Path) {
    let at = |name: &str| folder.join(name);
    for name in ["photos", "empty", "case/visits/a", "other", "lost"] {
        fs::create_dir_all(at(name)).expect("a folder");
    }
    fs::copy(demo("intake").join("front.jpg"), at("photos/front.jpg")).expect("a copy");
    fs::copy(demo_case().join("case.json"), at("case/case.json")).expect("a copy");
    let front = at("case/visits/a/front.jpg");
    fs::copy(demo("intake").join("front.jpg"), front).expect("a copy");
    for (name, text) in [
        ("photos/visit.json", r#"{"case": "demo-07"}"#),
        ("case/visits/a/visit.json", r#"{"date": "2026-03-10"}"#),
        (
            "other/case.json",
            r#"{"schema": "tragus-case/1", "code": "x"}"#,
        ),
        ("lost/checksums.sha256", ""),
        (
            "twice.csv",
            "photo,stature_cm,stature_cm\nfront.jpg,164,171\n",
        ),
        ("t.csv-metadata.json", "mine"),
        ("note.txt", "a note"),
        ("bad.json", "{"),
        ("columns.csv", "a,b\n1,2\n"),
        ("report.html", "<!doctype html><title>a report</title>"),
    ] {
        fs::write(at(name), text).expect("a file");
    }
    fs::write(at("clip.mp4"), b"\0\0\0\x18ftypmp42\xff").expect("a file");
    image::RgbImage::from_pixel(200, 300, [120; 3].into())
        .save(at("grey.png"))
        .expect("a picture");
}

#[test]
fn a_wrong_command_says_what_happened_and_what_to_do() {
    let scratch = tempfile::tempdir().expect("a folder");
    lay_out(scratch.path());
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("an address").port().to_string();
    let mut wrong = Vec::new();
    for (typed, code, what, next) in CASES {
        let output = Command::new(assert_cmd::cargo::cargo_bin("tragus"))
            .current_dir(scratch.path())
            .env_remove("ORT_DYLIB_PATH")
            .env("HOME", scratch.path())
            .args(typed.split(' ').map(|word| word.replace("PORT", &port)))
            .stdin(Stdio::null())
            .output()
            .expect("it runs");
        let told = [output.stdout, output.stderr].concat();
        let told = String::from_utf8_lossy(&told);
        // Lines are broken where a terminal is wide.
        let flat = told.split_whitespace().collect::<Vec<_>>().join(" ");
        if output.status.code() != Some(code) || !flat.contains(what) || !flat.contains(next) {
            let came = output.status.code();
            wrong.push(format!(
                "{typed}\n  {came:?}, wanted {code}, {what:?}, {next:?}\n{told}"
            ));
        }
        assert!(!flat.contains("panicked"), "{typed}: {told}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    // Nothing of all that wrote anything.
    assert!(!scratch.path().join("new").exists() && !scratch.path().join("s.csv").exists());
}

/// A result that finds no room is no success.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told() {
    let full = fs::OpenOptions::new().write(true).open("/dev/full");
    let output = Command::new(assert_cmd::cargo::cargo_bin("tragus"))
        .args(["licences", "--texts"])
        .stdout(full.expect("a full device"))
        .stderr(Stdio::piped())
        .output()
        .expect("it runs");
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        told.contains("could not be printed") && told.contains("hint: is there room"),
        "{told}"
    );
}

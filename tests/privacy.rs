//! What a camera wrote into a photo, and faces, go nowhere; nothing leaves the machine.

use std::fs;
use std::io::Cursor;
use std::path::Path;

use assert_cmd::Command;
use image::metadata::Orientation;
use image::{DynamicImage, ImageFormat};
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;
use tragus::locate::Wish;
use tragus::photo::{self, Bare, Limits, Photo};
use tragus::pipeline::{Aids, PhotoInput, measure_visit};
use tragus::record;
use tragus::visit::VisitFacts;

use crate::common::planted::{self, packed, shows};
use crate::common::{demo, demo_case, finder, root};

fn tragus() -> Command {
    Command::cargo_bin("tragus").expect("the program")
}

fn reach(visit: &str) -> Vec<u8> {
    fs::read(demo(visit).join("side-reach.jpg")).expect("a photo")
}

fn bare(bytes: &[u8]) -> Bare {
    Bare::of(bytes, Limits::default()).expect("a photo")
}

/// A demo photo, stored so that this orientation brings it upright again.
fn stored(orientation: Orientation) -> DynamicImage {
    let undo = match orientation {
        Orientation::Rotate90 => Orientation::Rotate270,
        Orientation::Rotate270 => Orientation::Rotate90,
        same => same,
    };
    let mut picture = image::load_from_memory(&reach("intake")).expect("a photo");
    picture.apply_orientation(undo);
    picture
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).expect("a photo");
    bytes.into_inner()
}

/// A photo of every kind that is read, with words planted in it, and the name it is filed under.
fn planted_photos() -> Vec<(Vec<u8>, &'static str, &'static str)> {
    let upright = Orientation::NoTransforms;
    let turned = Orientation::Rotate90;
    let size = |of: &DynamicImage| (of.width(), of.height());
    let webp = encoded(&stored(turned), ImageFormat::WebP);
    let tiff = encoded(&stored(upright), ImageFormat::Tiff);
    vec![
        (planted::jpeg(&reach("intake"), 1), "a.jpg", "a.jpg"),
        (
            planted::jpeg(&encoded(&stored(turned), ImageFormat::Jpeg), 6),
            "a.jpg",
            "a.jpg",
        ),
        (
            planted::png(&encoded(&stored(turned), ImageFormat::Png), 6),
            "a.png",
            "a.png",
        ),
        (
            planted::webp(&webp, size(&stored(turned)), 6),
            "a.webp",
            "a.webp",
        ),
        ([tiff, b"PLANTED".to_vec()].concat(), "a.tif", "a.tif.png"),
    ]
}

#[test]
fn planted_words_are_found_where_they_are() {
    for (photo, name, _) in planted_photos() {
        assert!(shows(&photo), "{name}");
        let text = base64::Engine::encode(&base64::engine::general_purpose::STANDARD, &photo);
        assert!(shows(
            format!("<img src=\"data:;base64,{text}\">").as_bytes()
        ));
        assert!(shows(&[&b"%PDF stream\n"[..], &packed(&photo)].concat()));
    }
    assert!(!shows(&reach("intake")));
}

#[test]
fn a_bare_photo_holds_the_same_picture_and_lens_and_nothing_else() {
    for (photo, name, filed_as) in planted_photos() {
        let bare = bare(&photo);
        assert!(!shows(bare.bytes()), "{name}");
        assert_eq!(bare.name(name), filed_as);
        let decoded = |bytes: &[u8]| Photo::decode(bytes, Limits::default()).expect("a photo");
        let (before, after) = (decoded(&photo), decoded(bare.bytes()));
        assert!(before.upright() == after.upright(), "{name}: other pixels");
        assert_eq!(before.tags(), after.tags(), "{name}");
        if name != "a.tif" {
            assert_eq!(after.tags().focal_35mm, Some(26.0), "{name}");
        }
        let again = self::bare(bare.bytes());
        assert_eq!(again.bytes(), bare.bytes(), "{name}: made bare twice");
    }
}

/// The pixels of a JPEG are not compressed anew: its scan is the same to the byte.
#[test]
fn the_scan_of_a_jpeg_is_copied() {
    let original = reach("intake");
    let bare = bare(&planted::jpeg(&original, 1));
    let scan = original.len() / 2;
    assert!(bare.bytes().ends_with(&original[scan..]));
}

#[test]
fn a_bare_photo_measures_as_the_original_does() {
    let measured = |bytes: Vec<u8>| {
        let input = PhotoInput {
            file: "reach.jpg".to_owned(),
            bytes: Ok(bytes),
            wish: Wish::default(),
            manual: Vec::new(),
            aids: Aids::default(),
        };
        let facts = VisitFacts {
            stature_cm: Some(164.0),
            ..VisitFacts::default()
        };
        let mut visit = measure_visit(finder(), facts, [input]).expect("the nets");
        assert!(visit.photos[0].sha256.take().is_some());
        record::visit_to_json(&visit)
    };
    let (photo, ..) = planted_photos().swap_remove(1);
    let bare = bare(&photo).bytes().to_vec();
    assert_eq!(measured(bare), measured(photo));
}

/// What only a DICOM file says, identity, orientation and size of a pixel, has no place in a PNG.
#[test]
fn a_dicom_photo_is_filed_as_a_png_that_holds_the_same_picture() {
    for name in ["rgb.dcm", "jpeg.dcm", "rle.dcm"] {
        let path = root().join("fixtures/formats/dicom").join(name);
        let bytes = fs::read(path).expect("a file");
        let bare = Bare::of(&bytes, Limits::default()).expect("a photo");
        assert_eq!(bare.name(name), format!("{name}.png"));
        assert_eq!(
            photo::upright(bare.bytes(), Limits::default()).expect("a photo"),
            photo::upright(&bytes, Limits::default()).expect("a photo"),
        );
    }
}

#[test]
fn what_can_not_be_read_is_not_filed() {
    let scratch = tempfile::tempdir().expect("a folder");
    let photos = scratch.path().join("photos");
    fs::create_dir(&photos).unwrap();
    fs::write(photos.join("a.jpg"), reach("intake")).unwrap();
    fs::write(photos.join("b.heic"), "PLANTED").unwrap();
    let case = scratch.path().join("case");
    tragus()
        .arg("measure")
        .arg(&photos)
        .arg("--case")
        .arg(&case)
        .args(["--label", "intake", "--date", "2026-03-10"])
        .assert()
        .code(2)
        .stderr(contains("b.heic\nhint: ").and(contains("Nothing was filed")));
    assert!(!case.exists());
}

/// A folder with one demo photo in which words are planted.
fn planted_visit(folder: &Path, visit: &str) {
    fs::create_dir_all(folder).expect("a folder");
    let photo = planted::jpeg(&reach(visit), 1);
    fs::write(folder.join("side-reach.jpg"), photo).expect("a photo");
    fs::copy(demo(visit).join("visit.json"), folder.join("visit.json")).expect("a copy");
}

/// Every command that writes, on photos with planted words: none shows in any byte that comes out.
#[test]
fn nothing_that_a_camera_wrote_comes_out_of_any_command() {
    let scratch = tempfile::tempdir().expect("a folder");
    let at = |path: &str| scratch.path().join(path);
    for visit in ["intake", "follow-up"] {
        planted_visit(&at("photos").join(visit), visit);
    }
    fs::create_dir(at("out")).unwrap();
    let originals = fs::read(at("photos/intake/side-reach.jpg")).unwrap();
    let run = |words: &str| {
        let mut command = tragus();
        let output = command
            .current_dir(scratch.path())
            .env("TRAGUS_TODAY", "2026-04-28")
            .args(words.split(' '))
            .output()
            .expect("it runs");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() < Some(2), "{words}: {told}");
        for said in [&output.stdout, &output.stderr] {
            assert!(!shows(said), "{words}");
        }
        (
            String::from_utf8_lossy(&output.stdout).into_owned(),
            told.into_owned(),
        )
    };

    let (_, told) = run(
        "measure photos/intake --case demo-01 --save out/record.json --overlay out/drawn --format json",
    );
    assert!(told.contains("are still in photos/intake."), "{told}");
    run("measure photos/follow-up --case demo-01 --format fhir");
    run("measure photos/intake --format table");
    run("measure photos/intake --format csv");
    run("measure photos/intake --format coco");
    run("check photos/intake/side-reach.jpg");
    for ending in ["csv", "jsonl", "parquet"] {
        run(&format!("batch photos --out out/scores.{ending}"));
    }
    run("agree out/scores.csv out/scores.jsonl --plots out/plots");
    run("agree out/scores.csv out/scores.parquet --format json");
    run("board --out out/board.pdf");
    run("compare demo-01 --report out/report.html");
    run("compare out/record.json demo-01/visits/2026-04-28-follow-up --report out/other.html");
    run("compare demo-01 --format fhir");
    fs::create_dir(at("demo-01/screenings")).unwrap();
    fs::copy(
        demo_case().join("screenings/2026-04-28.json"),
        at("demo-01/screenings/2026-04-28.json"),
    )
    .unwrap();
    // Laid there by hand.
    run("case verify demo-01 --accept");
    run("plan demo-01 --approve AB");

    let mut searched = 0;
    for folder in ["demo-01", "out"] {
        for entry in walkdir::WalkDir::new(at(folder)) {
            let entry = entry.expect("an entry");
            if entry.file_type().is_file() {
                let bytes = fs::read(entry.path()).expect("a file");
                assert!(!shows(&bytes), "{}", entry.path().display());
                searched += 1;
            }
        }
    }
    // Two visits of three files, the case's three, plan and sheets, records, tables, pictures.
    assert!(searched >= 20, "{searched} files");
    assert!(
        fs::read_to_string(at("out/report.html"))
            .unwrap()
            .contains("data:image/")
    );
    // Nobody touched the originals.
    assert_eq!(
        fs::read(at("photos/intake/side-reach.jpg")).unwrap(),
        originals
    );
    // What is filed is what was measured.
    tragus()
        .current_dir(scratch.path())
        .args(["forget", "demo-01", "--yes", "demo-1"])
        .assert()
        .code(2)
        .stderr(contains("nothing was removed").and(contains("--yes demo-01")));
    tragus()
        .current_dir(scratch.path())
        .args(["forget", "demo-01"])
        .write_stdin("demo-01\n")
        .assert()
        .code(0)
        .stderr(
            contains("  2 photos, ")
                .and(contains("local rules"))
                .and(contains("diary.json")),
        )
        .stdout(contains("Removed: case demo-01, "));
    assert!(!at("demo-01").exists());
}

/// Killed at any moment, a removal is ended by the next one.
#[cfg(unix)]
#[test]
fn a_kill_while_forgetting_leaves_what_the_next_one_removes() {
    for round in 0..8u64 {
        let scratch = tempfile::tempdir().expect("a folder");
        let case = scratch.path().join("case");
        fs::create_dir_all(case.join("visits/2026-03-10-intake")).unwrap();
        let about = r#"{"schema":"tragus-case/1","code":"x"}"#;
        fs::write(case.join("case.json"), about).unwrap();
        for number in 0..400 {
            fs::write(
                case.join(format!("visits/2026-03-10-intake/{number}.jpg")),
                "x",
            )
            .unwrap();
        }
        let forget = || {
            let mut command = std::process::Command::new(assert_cmd::cargo::cargo_bin("tragus"));
            command.arg("forget").arg(&case).args(["--yes", "x"]);
            command.stdout(std::process::Stdio::null());
            command.stderr(std::process::Stdio::null());
            command
        };
        let mut child = forget().spawn().expect("it starts");
        let first = case.join("visits/2026-03-10-intake/0.jpg");
        while first.exists() && child.try_wait().unwrap().is_none() {}
        std::thread::sleep(std::time::Duration::from_micros(400 * round));
        let _ = child.kill();
        child.wait().expect("it ended");
        if case.join("case.json").exists() {
            assert!(forget().status().expect("it runs").success());
        }
        // Stopped between the case's own file and its folder, nothing of anybody is left in it.
        assert!(!case.exists() || fs::read_dir(&case).unwrap().count() == 0);
    }
}

/// The command that lists what a program asks the system for, or why it can't be used here.
#[cfg(target_os = "linux")]
fn strace() -> Result<std::process::Command, String> {
    let tried = std::process::Command::new("strace")
        .args(["-f", "-e", "trace=network", "true"])
        .output();
    match tried {
        Ok(output) if output.status.success() => Ok(std::process::Command::new("strace")),
        Ok(output) => Err(String::from_utf8_lossy(&output.stderr).into_owned()),
        Err(error) => Err(error.to_string()),
    }
}

/// No command opens a socket but `serve`, and that listens to this machine alone.
#[cfg(target_os = "linux")]
#[test]
fn no_command_but_serve_opens_a_socket() {
    if let Err(why) = strace() {
        let required = std::env::var_os("TRAGUS_STRACE_REQUIRED").is_some();
        assert!(!required, "strace is required and can't be used: {why}");
        eprintln!("skipped: strace can't be used here: {why}");
        return;
    }
    let scratch = tempfile::tempdir().expect("a folder");
    let at = |path: &str| scratch.path().join(path);
    fs::create_dir(at("photos")).unwrap();
    fs::write(at("photos/side-reach.jpg"), reach("intake")).unwrap();
    let calls = |words: &str| {
        let listed = at("calls");
        let mut command = strace().expect("strace");
        let output = command
            .current_dir(scratch.path())
            .args(["-f", "-e", "trace=network", "-o"])
            .arg(&listed)
            .arg(assert_cmd::cargo::cargo_bin("tragus"))
            .args(words.split(' '))
            .output()
            .expect("it runs");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() < Some(2), "{words}: {told}");
        let text = fs::read_to_string(&listed).expect("a list");
        // Ends of threads and signals are listed too.
        let is_call = |line: &&str| !line.contains("+++") && !line.contains("---");
        text.lines()
            .filter(is_call)
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    for words in [
        "--version",
        "measure photos --case demo --label intake --date 2026-03-10 --stature 164 --overlay drawn",
        "check photos/side-reach.jpg",
        "batch photos --out scores.csv",
        "batch photos --out again.csv",
        "compare demo/visits/2026-03-10-intake demo/visits/2026-03-10-intake --report report.html",
        "agree scores.csv again.csv --plots plots",
        "board --out board.pdf",
        "plan --built-in rules",
        "case verify demo",
        "schema visit",
        "completions bash",
        "man",
        "forget demo --yes demo",
    ] {
        assert_eq!(calls(words), Vec::<String>::new(), "{words}");
    }

    let listed = at("served");
    let mut served = strace()
        .expect("strace")
        .args(["-f", "-e", "trace=network", "-o"])
        .arg(&listed)
        .arg(assert_cmd::cargo::cargo_bin("tragus"))
        .args(["serve", "--no-open", "--diary"])
        .arg(at("diary.json"))
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("it starts");
    let started = std::time::Instant::now();
    let text = loop {
        let text = fs::read_to_string(&listed).unwrap_or_default();
        if text.contains("listen(") || started.elapsed().as_secs() > 60 {
            break text;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    };
    // The program first: strace ends with it.
    let program = text
        .split_whitespace()
        .next()
        .expect("a process")
        .to_owned();
    let _ = std::process::Command::new("kill").arg(program).status();
    let _ = served.wait();
    let bound: Vec<&str> = text.lines().filter(|line| line.contains("bind(")).collect();
    assert!(!bound.is_empty(), "{text}");
    for line in &bound {
        assert!(line.contains("inet_addr(\"127.0.0.1\")"), "{line}");
    }
    assert!(!text.contains("connect("), "{text}");
}

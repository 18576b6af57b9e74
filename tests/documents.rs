//! Every document of the demo case as PDF, through the program: pages as they were reviewed, fonts and
//! tags in the file. The visits are records kept in `fixtures/documents`, so no net runs.
//!
//! The pages are drawn by poppler. Where it is missing the test says that it skipped; with
//! `TRAGUS_POPPLER_REQUIRED=1` that fails. `TRAGUS_REVIEWED=1` keeps the pages as they are now, for
//! whoever has looked at each of them.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use image::GrayImage;

use crate::common::{demo_case, names_in, root};

const DAY: &str = "2026-08-11";
const PAPERS: [&str; 2] = ["a4", "letter"];
const DPI: &str = "50";
/// How far two pages may be apart on average, of 255 grey levels; other versions of poppler included.
const MEAN_APART: f64 = 1.0;
/// Pixels farther apart than this many levels are counted.
const FAR_APART: u8 = 64;
/// The share of them that may be. A paragraph that moves by a line is several times that.
const SHARE_FAR_APART: f64 = 0.004;

fn pages() -> PathBuf {
    root().join("fixtures/documents/pages")
}

/// The demo case, each visit with its record.
fn case(scratch: &Path) -> PathBuf {
    let case = scratch.join("demo");
    for folder in ["", "screenings"] {
        copy_files(&demo_case().join(folder), &case.join(folder));
    }
    fs::remove_file(case.join("checksums.sha256")).expect("a list without the records");
    let visits = fs::read_dir(demo_case().join("visits")).expect("visits");
    for visit in visits.map(|visit| visit.expect("a visit").path()) {
        let name = visit.file_name().expect("a name");
        let to = case.join("visits").join(name);
        copy_files(&visit, &to);
        let record = root()
            .join("fixtures/documents/records")
            .join(name)
            .with_extension("json");
        fs::copy(record, to.join("record.json")).expect("a record");
    }
    case
}

fn copy_files(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_file() {
            fs::copy(&path, to.join(path.file_name().expect("a name"))).expect("a copy");
        }
    }
}

fn tragus(arguments: &[&str], case: &Path) -> Output {
    Command::cargo_bin("tragus")
        .expect("the program")
        .arg(arguments[0])
        .arg(case)
        .env("TRAGUS_TODAY", DAY)
        .args(&arguments[1..])
        .output()
        .expect("a run")
}

/// The documents by name, without the day.
fn written(scratch: &Path, paper: &str) -> BTreeMap<String, PathBuf> {
    let case = case(scratch);
    let plan = tragus(&["plan", "--approve", "AB"], &case);
    assert!(plan.status.code() < Some(2), "{plan:?}");
    let out = scratch.join("out");
    let out_words = out.to_string_lossy();
    let write = ["write", "--paper", paper, "--out", &out_words];
    let write = tragus(&write, &case);
    assert!(write.status.code() < Some(2), "{write:?}");
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(&out).expect("documents") {
        let path = entry.expect("an entry").path();
        let stem = path.file_stem().expect("a name").to_string_lossy();
        let (_, name) = stem.split_once(&format!("{DAY}-")).expect("a day");
        found.insert(name.to_owned(), path.clone());
    }
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        ["comparison", "course", "home-sheet", "letter", "visit-note"]
    );
    found
}

/// Runs a program of poppler; `None` where it is missing.
fn poppler(program: &str, arguments: &[&str]) -> Option<String> {
    match std::process::Command::new(program).args(arguments).output() {
        Ok(output) => {
            assert!(output.status.success(), "{program}: {output:?}");
            Some(String::from_utf8_lossy(&output.stdout).into_owned())
        }
        Err(error) => {
            let is_required = std::env::var_os("TRAGUS_POPPLER_REQUIRED").is_some();
            assert!(!is_required, "{program}: {error}");
            eprintln!("SKIPPED: {program} is not on this machine");
            None
        }
    }
}

/// What is unlike between two pages; `None` when they are alike.
fn unlike(page: &GrayImage, reviewed: &GrayImage) -> Option<String> {
    if page.dimensions() != reviewed.dimensions() {
        let (now, then) = (page.dimensions(), reviewed.dimensions());
        return Some(format!("is {now:?} pixels large, was {then:?}"));
    }
    let apart = || {
        page.iter()
            .zip(reviewed.iter())
            .map(|(a, b)| a.abs_diff(*b))
    };
    let count = page.len() as f64;
    let mean = apart().map(f64::from).sum::<f64>() / count;
    let share = apart().filter(|levels| *levels > FAR_APART).count() as f64 / count;
    (mean > MEAN_APART || share > SHARE_FAR_APART).then(|| {
        format!(
            "differs by {mean:.2} levels on average, {:.2} % far",
            100.0 * share
        )
    })
}

fn gray(path: &Path) -> GrayImage {
    let page = image::open(path);
    let page = page.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    page.into_luma8()
}

/// The pages of a document, by name.
fn drawn(name: &str, document: &Path, scratch: &Path) -> Option<BTreeMap<String, PathBuf>> {
    let folder = scratch.join(format!("pages-{name}"));
    fs::create_dir_all(&folder).expect("a folder");
    let (document, start) = (document.to_string_lossy(), folder.join(name));
    let start = start.to_string_lossy();
    poppler("pdftoppm", &["-r", DPI, "-gray", "-png", &document, &start])?;
    let page = |entry: std::io::Result<fs::DirEntry>| {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy();
        (name.into_owned(), path.clone())
    };
    Some(fs::read_dir(folder).expect("pages").map(page).collect())
}

#[test]
fn every_page_is_as_it_was_reviewed() {
    let scratch = tempfile::tempdir().expect("a folder");
    let mut now = BTreeMap::new();
    for paper in PAPERS {
        for (name, document) in written(&scratch.path().join(paper), paper) {
            match drawn(&format!("{paper}-{name}"), &document, scratch.path()) {
                Some(pages) => now.extend(pages),
                None => return,
            }
        }
    }
    if std::env::var_os("TRAGUS_REVIEWED").is_some() {
        let _ = fs::remove_dir_all(pages());
        fs::create_dir_all(pages()).expect("a folder");
        for (name, page) in &now {
            fs::copy(page, pages().join(name)).expect("a copy");
        }
        panic!("the pages are kept: look at each, then run the test without TRAGUS_REVIEWED");
    }
    let names: BTreeSet<String> = now.keys().cloned().collect();
    assert_eq!(names, names_in(&pages()));
    let trouble: Vec<String> = now
        .iter()
        .filter_map(|(name, page)| {
            let unlike = unlike(&gray(page), &gray(&pages().join(name)))?;
            Some(format!("{name} {unlike}"))
        })
        .collect();
    assert!(trouble.is_empty(), "{}", trouble.join("\n"));
}

#[test]
fn a_block_that_moved_by_a_line_is_found() {
    // A line of text at 50 dots per inch; on every page, the lower half of it.
    const LINE: u32 = 8;
    let mut seen = 0;
    for entry in fs::read_dir(pages()).expect("reviewed pages") {
        let reviewed = gray(&entry.expect("an entry").path());
        let mut moved = reviewed.clone();
        let (width, height) = reviewed.dimensions();
        for y in height / 4..height - LINE {
            for x in 0..width {
                moved.put_pixel(x, y + LINE, *reviewed.get_pixel(x, y));
            }
        }
        assert_eq!(unlike(&reviewed, &reviewed), None);
        assert!(unlike(&moved, &reviewed).is_some());
        seen += 1;
    }
    assert!(seen > 5, "only {seen} pages");
}

#[test]
fn fonts_are_in_the_file_and_pages_are_tagged_on_both_papers() {
    for (paper, size) in [("a4", "595.276 x 841.89 pts"), ("letter", "612 x 792 pts")] {
        let scratch = tempfile::tempdir().expect("a folder");
        let documents = written(scratch.path(), paper);
        for (name, document) in documents {
            let path = document.to_string_lossy();
            let Some(fonts) = poppler("pdffonts", &[&path]) else {
                return;
            };
            let fonts: Vec<&str> = fonts.lines().skip(2).collect();
            assert!(!fonts.is_empty(), "{name}");
            for font in fonts {
                assert!(font.contains(" yes yes yes "), "{name}: {font}");
            }
            let about = poppler("pdfinfo", &[&path]).expect("poppler");
            assert!(about.contains(size), "{name}: {about}");
            for (field, value) in [("Tagged:", "yes"), ("JavaScript:", "no")] {
                let line = about.lines().find(|line| line.starts_with(field));
                assert!(
                    line.is_some_and(|line| line.ends_with(value)),
                    "{name}: {about}"
                );
            }
            let title = about.lines().find(|line| line.starts_with("Title:"));
            assert!(
                title.is_some_and(|title| title.contains("demo-01")),
                "{name}: {about}"
            );
            if name == "letter" {
                assert!(
                    about
                        .lines()
                        .any(|line| line.split_whitespace().eq(["Pages:", "1"]))
                );
            }
        }
    }
}

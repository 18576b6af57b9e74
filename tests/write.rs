//! The documents of a case, through the program: which can be written, which can't and why, and what
//! becomes of them. The visits are invented records without photos, so no net runs.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use jiff::civil::Date;
use predicates::prelude::PredicateBooleanExt;
use predicates::str::contains;

use tragus::body::{Operated, Side};
use tragus::estimate::Estimate;
use tragus::measure::Measure;
use tragus::record;
use tragus::visit::{Reading, Visit, VisitFacts};

pub fn tragus() -> Command {
    Command::cargo_bin("tragus").expect("the program")
}

fn reading(measure: Measure, side: Side, value: f64) -> Reading {
    Reading {
        measure,
        side: Some(side),
        photo: "reach.jpg".to_owned(),
        outcome: Ok(Estimate::new(value, 2.0)),
    }
}

fn visit(label: &str, date: &str, flexion: f64, abduction: f64) -> Visit {
    Visit {
        facts: VisitFacts {
            label: Some(label.to_owned()),
            date: Some(date.parse().expect("a day")),
            operated: Some(Operated::One(Side::Right)),
            ..VisitFacts::default()
        },
        photos: Vec::new(),
        readings: vec![
            reading(Measure::ShoulderFlexion, Side::Right, flexion),
            reading(Measure::ShoulderFlexion, Side::Left, 170.0),
            reading(Measure::ShoulderAbduction, Side::Right, abduction),
            reading(Measure::ShoulderAbduction, Side::Left, 165.0),
        ],
        notices: Vec::new(),
    }
}

/// The demo case up to a day, with the screenings of the demo and visits that take no nets.
pub fn case_until(scratch: &Path, day: &str) -> PathBuf {
    let case = scratch.join("demo");
    let demo = crate::common::demo_case();
    fs::create_dir_all(case.join("screenings")).expect("a folder");
    fs::copy(demo.join("case.json"), case.join("case.json")).expect("a copy");
    add_visits(&case, day);
    add_screenings(&case, day);
    case
}

fn course() -> [Visit; 4] {
    [
        visit("intake", "2026-03-10", 103.0, 89.0),
        visit("follow-up", "2026-04-28", 150.0, 140.0),
        visit("setback", "2026-05-26", 146.0, 95.0),
        visit("discharge", "2026-08-11", 158.0, 155.0),
    ]
}

fn add_visits(case: &Path, day: &str) {
    let last: Date = day.parse().expect("a day");
    let visits = course();
    let known = visits.iter().filter(|visit| visit.facts.date <= Some(last));
    known.for_each(|visit| keep(case, visit));
}

fn keep(case: &Path, visit: &Visit) {
    let facts = &visit.facts;
    let date = facts.date.expect("a day");
    let label = facts.label.clone().expect("a label");
    let folder = case.join(format!("visits/{date}-{label}"));
    fs::create_dir_all(&folder).expect("a folder");
    fs::write(folder.join("record.json"), record::visit_to_json(visit)).expect("a record");
}

fn add_screenings(case: &Path, day: &str) {
    for entry in fs::read_dir(crate::common::demo_case().join("screenings")).expect("screenings") {
        let path = entry.expect("an entry").path();
        if *path.file_stem().expect("a day").to_string_lossy() <= *day {
            let to = case
                .join("screenings")
                .join(path.file_name().expect("a name"));
            fs::copy(&path, to).expect("a copy");
        }
    }
}

pub fn plan(case: &Path, day: &str) -> Command {
    let mut command = tragus();
    command.arg("plan").arg(case).env("TRAGUS_TODAY", day);
    command
}

pub fn write(case: &Path, day: &str) -> Command {
    let mut command = tragus();
    command.arg("write").arg(case).env("TRAGUS_TODAY", day);
    command
}

fn documents(case: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(case.join("documents")) else {
        return Vec::new();
    };
    let name = |entry: std::io::Result<fs::DirEntry>| {
        entry
            .expect("an entry")
            .file_name()
            .to_string_lossy()
            .into_owned()
    };
    let mut names: Vec<String> = entries.map(name).collect();
    names.sort();
    names
}

#[test]
fn all_documents_of_a_case_are_written_and_listed() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-08-11");
    // What is not approved is not written, and says so in one line.
    write(&case, "2026-08-11")
        .args(["home-sheet", "letter", "--format", "html"])
        .assert()
        .code(1)
        .stdout(contains("2026-08-11-letter.html"))
        .stderr(contains(
            "home-sheet not written: no plan is kept up to 2026-08-11: make one first with tragus plan\n",
        ));
    plan(&case, "2026-08-11").assert().code(0);
    write(&case, "2026-08-11")
        .arg("home-sheet")
        .assert()
        .code(1)
        .stdout("")
        .stderr(contains(
            "home-sheet not written: the plan of 2026-08-11 is not approved; tragus plan --approve",
        ));
    // A choice of the clinician is part of what was approved.
    plan(&case, "2026-08-11")
        .args(["--approve", "AB", "--without", "stand_tall"])
        .assert()
        .code(0);
    write(&case, "2026-08-11")
        .args(["--format", "html"])
        .assert()
        .code(0)
        .stderr(contains("not written").not());
    let page =
        fs::read_to_string(case.join("documents/2026-08-11-home-sheet.html")).expect("a sheet");
    assert!(page.contains("Calm breathing") && !page.contains("Stand tall"));
    tragus()
        .args(["case", "verify"])
        .arg(&case)
        .assert()
        .stdout(contains("documents/").not());
    assert!(documents(&case).contains(&"2026-08-11-visit-note.html".to_owned()));

    // What was found later goes before an older sheet, and a sheet is not good for ever.
    write(&case, "2026-08-26")
        .arg("home-sheet")
        .assert()
        .code(1)
        .stderr(contains("was good until 2026-08-25"));
    // Another plan of that day takes the sheet away, from the documents too.
    plan(&case, "2026-08-11")
        .args(["--without", "breathing"])
        .assert()
        .code(2);
    plan(&case, "2026-08-11")
        .args(["--without", "chin_tuck"])
        .assert()
        .code(0);
    assert!(!documents(&case).contains(&"2026-08-11-home-sheet.html".to_owned()));
    assert!(!case.join("plans/2026-08-11-home.pdf").exists());
    assert!(documents(&case).contains(&"2026-08-11-letter.html".to_owned()));
}

#[test]
fn a_day_is_told_as_it_was_known_on_it() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-08-11");
    let out = scratch.path().join("out");
    let text = |name: &str| {
        fs::read_to_string(out.join(format!("demo-01-{name}")))
            .expect(name)
            .replace('\u{a0}', " ")
    };
    write(&case, "2026-05-27")
        .args([
            "letter",
            "visit-note",
            "--format",
            "html",
            "--to",
            "Breast unit",
            "--from",
            "AB",
        ])
        .arg("--out")
        .arg(&out)
        .assert()
        .code(0);
    let letter = text("2026-05-27-letter.html");
    for words in [
        "<dd>Breast unit</dd>",
        "surgery on the right side on 17 February 2026 (mastectomy; axilla: clearance",
        "at 3 visits, from intake on 10 March 2026 to setback on 26 May 2026",
        "in abduction 89.0 ± 3.9° at the first visit and 95.0 ± 3.9° at the last",
        "Worse in between:",
        "operated arm no higher than 90° until 16 June 2026",
        "Look and feel for cords",
        "None is approved.",
    ] {
        assert!(letter.contains(words), "{words}: {letter}");
    }
    assert!(!letter.contains("discharge"));
    let note = text("2026-05-26-visit-note.html");
    assert!(note.contains("Visit note: setback"));
    // Set on the day after the visit.
    for words in [
        "Since the visit, on 27 May 2026",
        "no higher than 90° until 16 June 2026",
        "On 26 May 2026: ask or refer first",
        "Limits on 26 May 2026",
    ] {
        assert!(note.contains(words), "{words}: {note}");
    }
    assert!(documents(&case).is_empty());

    for wished in ["Intake", "2026-03-10"] {
        write(&case, "2026-05-27")
            .args(["visit-note", "--format", "html", "--visit", wished])
            .arg("--out")
            .arg(&out)
            .assert()
            .code(0)
            .stdout(contains("2026-03-10-visit-note.html"));
    }
    // The note of a visit knows nothing of what came after it.
    let note = text("2026-03-10-visit-note.html");
    assert!(note.contains("Operated arm no higher than 120°") && !note.contains("150"));
}

/// Pages of a PDF: each is an object of its own.
fn pages(pdf: &Path) -> usize {
    let bytes = fs::read(pdf).expect("a PDF");
    assert!(bytes.starts_with(b"%PDF-"), "{}", pdf.display());
    let page = b"/Type/Page";
    let is_page = |at: &[u8]| at.starts_with(page) && at[page.len()] != b's';
    bytes
        .windows(page.len() + 1)
        .filter(|at| is_page(at))
        .count()
}

/// Also where every line of it is full: past the limit twice, several things to be settled, all that
/// can change has changed.
#[test]
fn the_letter_is_one_page() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-05-26");
    let out = scratch.path().join("out");
    let letter = |paper: &str, long: &str| {
        write(&case, "2026-05-26")
            .args(["letter", "--paper", paper, "--to", long, "--from", long])
            .arg("--out")
            .arg(&out)
            .assert()
            .code(0);
        pages(&out.join("demo-01-2026-05-26-letter.pdf"))
    };
    let long =
        "The breast surgeon in charge, Department of Surgery, Hospital of the Town, 1 Long Road";
    assert_eq!((letter("a4", ""), letter("letter", "")), (1, 1));

    for (index, visit) in course().into_iter().take(3).enumerate() {
        let mut visit = visit;
        visit.facts.arm_limit_deg = Some(60.0);
        visit.readings = Measure::ALL
            .into_iter()
            .flat_map(|measure| Side::BOTH.map(|side| (measure, side)))
            .map(|(measure, side)| {
                let value = [40.0, 150.0, 90.0][index] + f64::from(measure as u8);
                reading(measure, side, value)
            })
            .collect();
        keep(&case, &visit);
    }
    let screening = case.join("screenings/2026-05-26.json");
    let text = fs::read_to_string(&screening).expect("answers");
    let worse = [
        ("\"fever\": \"no\"", "\"fever\": \"yes\""),
        ("\"settling\"", "\"rising\""),
    ];
    let text = worse
        .iter()
        .fold(text, |text, (from, to)| text.replace(from, to));
    fs::write(&screening, text).expect("answers");
    assert_eq!((letter("a4", long), letter("letter", long)), (1, 1));
}

#[test]
fn a_hold_writes_the_sheet_that_says_to_wait() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-05-26");
    plan(&case, "2026-05-26").assert().code(1);
    assert_eq!(pages(&case.join("plans/2026-05-26-hold.pdf")), 1);
    write(&case, "2026-05-26")
        .args(["home-sheet", "--format", "html"])
        .assert()
        .code(0)
        .stdout(contains("2026-05-26-hold-sheet.html"));
    add_screenings(&case, "2026-05-27");
    write(&case, "2026-05-27")
        .arg("home-sheet")
        .assert()
        .code(1)
        .stderr(contains(
            "there is a later screening, of 2026-05-27, than the plan of 2026-05-26",
        ));
}

#[test]
fn what_can_not_be_meant_is_refused_with_a_hint() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-04-28");
    let refused = |command: &mut Command, why: &'static str| {
        command
            .assert()
            .code(2)
            .stdout("")
            .stderr(contains(why).and(contains("\nhint: ")));
    };
    refused(
        write(&case, "2026-04-28").args(["--date", "2226-01-01"]),
        "2226-01-01 is still to come",
    );
    refused(
        write(&case, "2026-04-28").args(["--visit", "discharge"]),
        "no visit is called \"discharge\" or is of that day",
    );
    refused(
        write(&case, "2026-04-28").args(["letter", "--read-by", "12"]),
        "are no initials",
    );
    refused(
        &mut write(scratch.path(), "2026-04-28"),
        "this folder is no case",
    );
    write(&case, "2026-03-01")
        .args(["letter", "visit-note", "--format", "html"])
        .assert()
        .code(1)
        .stderr(contains("no visit is filed up to 2026-03-01"));
}

/// Long after the last plan nothing of it is told as if it still held.
#[test]
fn a_plan_that_is_over_is_told_as_ended() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-08-11");
    plan(&case, "2026-08-11")
        .args(["--approve", "AB"])
        .assert()
        .code(0);
    let out = scratch.path().join("out");
    let written = |day: &str, document: &str| {
        write(&case, day)
            .args([document, "--format", "html", "--out"])
            .arg(&out)
            .assert()
            .code(0);
        let page = fs::read_to_string(out.join(format!("demo-01-{day}-{document}.html")));
        page.expect("a page").replace('\u{a0}', " ")
    };
    let soon = written("2026-08-20", "letter");
    assert!(
        soon.contains("good until 25 August 2026: calm breathing"),
        "{soon}"
    );
    assert!(written("2026-08-20", "course").contains("Approved, good until 25 August 2026:"));
    for document in ["letter", "course", "comparison"] {
        let late = written("2026-11-27", document);
        let old = "The last screening is of 11 August 2026: ask again before any exercise.";
        let held = late
            .find(old)
            .unwrap_or_else(|| panic!("{document}: {late}"));
        assert!(
            held < late
                .find("intake on")
                .or(late.find("Improved"))
                .expect("text"),
            "{document}"
        );
        assert!(
            !late.to_lowercase().contains("calm breathing"),
            "{document}"
        );
    }
    assert!(written("2026-11-27", "letter").contains("was good until 25 August 2026."));
    // And nothing is approved that would be over on the day of its approval.
    tragus()
        .arg("plan")
        .arg(&case)
        .env("TRAGUS_TODAY", "2026-11-27")
        .args(["--date", "2026-08-11", "--approve", "AB"])
        .assert()
        .code(2)
        .stderr(contains("would have been good until 2026-08-25").and(contains("\nhint: ")));
}

/// Today's plan goes with what it was made by, and only then: what is refused leaves it as it is.
#[cfg(target_os = "linux")]
#[test]
fn a_plan_is_taken_back_by_what_is_written_and_by_nothing_else() {
    const DAY: &str = "2026-04-28";
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), DAY);
    let visit = case.join("visits/2026-04-28-follow-up");
    let photo = crate::common::demo("follow-up").join("side-reach.jpg");
    // For the nets to look at.
    fs::copy(&photo, visit.join("side-reach.jpg")).expect("a photo");
    let approve = || plan(&case, DAY).args(["--approve", "AB"]).assert().code(0);
    let plans = || -> Vec<(String, Vec<u8>)> {
        let names = crate::common::names_in(&case.join("plans")).into_iter();
        names
            .map(|name| {
                let bytes = fs::read(case.join("plans").join(&name)).expect("a file");
                (name, bytes)
            })
            .collect()
    };
    let is_approved = || case.join(format!("plans/{DAY}-home.html")).exists();
    let measure = |photos: &Path| {
        let mut command = tragus();
        command.arg("measure").arg(photos).env("TRAGUS_TODAY", DAY);
        command
    };
    let taken_back = contains("is taken back: make it anew");

    approve();
    let before = plans();
    let save = |name: &str| {
        let mut command = measure(&visit);
        command.arg("--save").arg(visit.join(name)).assert()
    };
    save("other.json").stderr(taken_back.clone().not());
    assert!(plans() == before && visit.join("other.json").exists());
    save("record.json").stderr(taken_back.clone());
    assert!(!is_approved());
    // From inside of the visit it is the same record.
    approve();
    let mut within = measure(Path::new("."));
    within.current_dir(&visit).args(["--save", "record.json"]);
    within.assert().stderr(taken_back.clone());
    assert!(!is_approved());
    let verified = tragus::case::verify(&case).expect("a case");
    assert_eq!(verified.damages, []);

    // Two photos that some systems take for one.
    let photos = scratch.path().join("photos");
    fs::create_dir(&photos).expect("a folder");
    for name in ["a.jpg", "A.jpg"] {
        fs::copy(&photo, photos.join(name)).expect("a photo");
    }
    approve();
    let before = plans();
    let file = || {
        let mut command = measure(&photos);
        command.arg("--case").arg(&case);
        command.args(["--label", "again", "--date", DAY]).assert()
    };
    file()
        .code(2)
        .stderr(contains("two photos would have this name in the case"))
        .stderr(contains("nothing was written"));
    assert!(plans() == before);
    fs::remove_file(photos.join("A.jpg")).expect("removed");
    file().stderr(contains("filed: ").and(taken_back));
    assert!(!is_approved());
}

#[test]
fn a_letter_that_was_read_is_not_written_over() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-05-26");
    let letter = |more: &[&str]| {
        let mut command = write(&case, "2026-05-26");
        command.args(["letter", "--format", "html"]).args(more);
        command
    };
    letter(&["--read-by", "AB"]).assert().code(0);
    let read = case.join("documents/2026-05-26-letter-read.html");
    let first = fs::read(&read).expect("a letter");
    letter(&[]).assert().code(0);
    assert!(documents(&case).contains(&"2026-05-26-letter.html".to_owned()));
    letter(&["--read-by", "AB"]).assert().code(0);
    assert_eq!(documents(&case).len(), 2);
    letter(&["--read-by", "CD"]).assert().code(0);
    let aside = documents(&case);
    assert_eq!(aside.len(), 3, "{aside:?}");
    let kept = aside
        .iter()
        .map(|name| fs::read(case.join("documents").join(name)));
    assert!(
        kept.into_iter()
            .any(|kept| kept.expect("a letter") == first)
    );
    let verified = tragus().args(["case", "verify"]).arg(&case).assert();
    verified.stdout(contains("documents/").not());

    let out = scratch.path().join("out");
    let elsewhere = |initials: &str| {
        let mut command = letter(&["--read-by", initials, "--out"]);
        command.arg(&out);
        command
    };
    elsewhere("AB").assert().code(0);
    elsewhere("AB").assert().code(0);
    elsewhere("CD")
        .assert()
        .code(2)
        .stderr(contains("a letter that was read lies there"));
}

/// On the day after the setback a limit holds that no visit knows, and on its day there was a hold.
#[test]
fn a_comparison_knows_what_was_answered_after_the_last_visit() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-05-26");
    let report = scratch.path().join("report.html");
    let compared = |day: &str| {
        let output = tragus()
            .arg("compare")
            .arg(&case)
            .arg("--report")
            .arg(&report)
            .env("TRAGUS_TODAY", day)
            .output()
            .expect("it runs");
        let told = String::from_utf8_lossy(&output.stdout).replace('\u{a0}', " ");
        // As it is wrapped for a terminal.
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        let page = fs::read_to_string(&report).expect("a report");
        (told, page.replace('\u{a0}', " "))
    };
    let (told, page) = compared("2026-05-26");
    for text in [&told, &page] {
        let hold = text
            .find("New or growing swelling")
            .unwrap_or_else(|| panic!("{text}"));
        assert!(
            hold < text.find("Worse in between").expect("a summary"),
            "{text}"
        );
    }
    add_screenings(&case, "2026-05-27");
    let (told, page) = compared("2026-05-27");
    for text in [&told, &page] {
        assert!(!text.contains("New or growing swelling"));
        let limit = "In force on 27 May 2026: operated arm no higher than 90° until 16 June 2026";
        assert!(text.contains(limit), "{text}");
        let at = |words: &str| {
            text.find(words)
                .unwrap_or_else(|| panic!("{words}: {text}"))
        };
        assert!(at("Worse in between") < at("Improved"), "{text}");
    }
    assert!(
        page.contains("from 89.0 ± 3.9° to 95.0 ± 3.9° (140.0 ± 3.9° in between)"),
        "{page}"
    );
    write(&case, "2026-05-27")
        .args(["comparison", "--format", "html"])
        .assert()
        .code(0);
    let page = fs::read_to_string(case.join("documents/2026-05-27-comparison.html"));
    assert!(page.expect("a page").contains("no higher than 90°"));
}

/// A clinic's own rules limit the arm to 60° before level 1, where those built in know no such limit.
#[test]
fn what_other_rules_hold_is_not_passed_over() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-08-11");
    let rules = scratch.path().join("own.toml");
    let own = "\n[[rule]]\nid = \"own\"\nwords = \"Our own limit for everybody.\"\nsource = \"Ours\"\nknown = \
               \"common_practice\"\nwhen = { surgery = [\"mastectomy\"] }\narm_deg = 60\n";
    let built_in = tragus().args(["plan", "--built-in", "rules"]).output();
    let built_in = String::from_utf8(built_in.expect("rules").stdout).expect("text");
    fs::write(&rules, built_in + own).expect("rules");
    plan(&case, "2026-08-11")
        .args(["--approve", "AB", "--rules"])
        .arg(&rules)
        .assert()
        .code(0);
    write(&case, "2026-08-11")
        .assert()
        .code(1)
        .stdout("")
        .stderr(contains(
            "the plan of 2026-08-11 was made by other rules; --rules names those",
        ));
    let report = scratch.path().join("report.html");
    let compared = |more: &[&std::ffi::OsStr]| {
        let mut compare = tragus();
        compare.arg("compare").arg(&case).args(more);
        compare.arg("--report").arg(&report);
        let output = compare.env("TRAGUS_TODAY", "2026-08-11").output();
        let told = String::from_utf8(output.expect("it runs").stdout).expect("text");
        let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
        [told, fs::read_to_string(&report).expect("a report")]
            .map(|text| text.replace('\u{a0}', " "))
    };
    for text in compared(&[]) {
        assert!(
            text.contains("was made by other rules than those used here"),
            "{text}"
        );
        assert!(!text.contains("No limit of height"), "{text}");
    }
    for text in compared(&["--rules".as_ref(), rules.as_os_str()]) {
        assert!(text.contains("operated arm no higher than 60°"), "{text}");
    }
    write(&case, "2026-08-11")
        .args(["letter", "home-sheet", "--format", "html", "--rules"])
        .arg(&rules)
        .assert()
        .code(0);
    let letter = fs::read_to_string(case.join("documents/2026-08-11-letter.html"));
    let letter = letter.expect("a letter").replace('\u{a0}', " ");
    assert!(
        letter.contains("no higher than 60°") && letter.contains("approved by AB"),
        "{letter}"
    );

    // Its visits by themselves know no screening, and say so.
    let visits = case.join("visits");
    let output = tragus()
        .arg("compare")
        .arg(visits.join("2026-03-10-intake/record.json"))
        .arg(visits.join("2026-08-11-discharge/record.json"))
        .output()
        .expect("it runs");
    let told = String::from_utf8_lossy(&output.stdout).replace('\n', " ");
    assert!(told.contains("compared without their case"), "{told}");
}

/// A plan that was only looked at takes nothing back; a hold does, and says which sheet is at home.
#[test]
fn a_letter_knows_the_sheet_that_is_at_home() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-04-28");
    plan(&case, "2026-04-28")
        .args(["--approve", "AB"])
        .assert()
        .code(0);
    let letter = |day: &str, more: &[&str]| {
        write(&case, day)
            .args(["letter", "--format", "html"])
            .args(more)
            .assert()
            .code(0);
        let page = fs::read_to_string(case.join(format!("documents/{day}-letter.html")));
        page.expect("a letter").replace('\u{a0}', " ")
    };
    plan(&case, "2026-05-04").assert().code(0);
    assert!(
        letter("2026-05-04", &[]).contains("approved by AB on 28 April 2026, good until 11 May")
    );
    write(&case, "2026-05-04")
        .arg("home-sheet")
        .assert()
        .code(0)
        .stdout(contains("2026-04-28-home-sheet.pdf"));

    let screened = fs::read_to_string(case.join("screenings/2026-04-28.json")).expect("answers");
    let held = screened
        .replace("\"date\": \"2026-04-28\"", "\"date\": \"2026-05-05\"")
        .replace("\"fever\": \"no\"", "\"fever\": \"yes\"");
    fs::write(case.join("screenings/2026-05-05.json"), held).expect("answers");
    let at_home = "the sheet of 28 April 2026, good until 11 May 2026, was written before what was \
                   found since. Have it put away.";
    assert!(letter("2026-05-05", &[]).contains(at_home));
    plan(&case, "2026-05-05").assert().code(1);
    let page = letter("2026-05-05", &[]);
    assert!(page.contains(at_home), "{page}");
    // And no sheet is handed out by what was known before.
    write(&case, "2026-05-05")
        .args(["home-sheet", "--date", "2026-05-04"])
        .assert()
        .code(1)
        .stdout("")
        .stderr(contains("it is handed out today"));
}

#[test]
fn an_approval_that_came_later_is_not_told_of_the_days_before() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-04-28");
    plan(&case, "2026-04-30")
        .args(["--date", "2026-04-28", "--approve", "AB"])
        .assert()
        .code(0);
    for (day, approved) in [("2026-04-29", false), ("2026-04-30", true)] {
        write(&case, "2026-04-30")
            .args(["letter", "--format", "html", "--date", day])
            .assert()
            .code(0);
        let page = fs::read_to_string(case.join(format!("documents/{day}-letter.html")));
        assert_eq!(
            page.expect("a letter").contains("approved by AB"),
            approved,
            "{day}"
        );
    }
}

/// The note of an earlier visit keeps what was asked between it and the next one.
#[test]
fn a_note_that_is_written_anew_keeps_what_was_asked_since() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-08-11");
    write(&case, "2026-08-11")
        .args(["visit-note", "--visit", "setback", "--format", "html"])
        .assert()
        .code(0);
    let note = fs::read_to_string(case.join("documents/2026-05-26-visit-note.html"));
    let note = note.expect("a note");
    assert!(
        note.contains("Since the visit, on 27 May 2026") && note.contains("no higher than 90°")
    );
}

#[test]
fn a_visit_without_a_day_is_left_out_of_the_documents() {
    let scratch = tempfile::tempdir().expect("a folder");
    let case = case_until(scratch.path(), "2026-05-26");
    let mut undated = visit("discharge", "2026-08-11", 158.0, 155.0);
    keep(&case, &undated);
    undated.facts.date = None;
    let record = case.join("visits/2026-08-11-discharge/record.json");
    fs::write(record, record::visit_to_json(&undated)).expect("a record");
    write(&case, "2026-05-26")
        .args(["letter", "--format", "html"])
        .assert()
        .code(0)
        .stderr(contains(
            "discharge has no date, so the documents leave it out.",
        ));
    let letter = fs::read_to_string(case.join("documents/2026-05-26-letter.html"));
    assert!(!letter.expect("a letter").contains("discharge"));
}

//! Which room may know of which, and what belongs in one room only.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::common::root;

/// Where a fault ends the program at once, one bad photo would end a batch and the page.
#[test]
fn a_build_that_does_not_unwind_is_refused() {
    let built = |strategy: &str| {
        let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
        let output = std::process::Command::new(rustc)
            .args([
                "--edition",
                "2024",
                "--crate-type",
                "lib",
                "--emit",
                "metadata",
            ])
            .args(["-C", &format!("panic={strategy}"), "-o"])
            .arg(std::env::temp_dir().join("tragus-not-built"))
            .arg(root().join("src/lib.rs"))
            .output()
            .expect("a compiler");
        // Without the libraries nothing is built: only this is looked for among what it complains of.
        String::from_utf8_lossy(&output.stderr).contains("has to be built with panic")
    };
    assert!(built("abort") && !built("unwind"));
}

/// Every room of `src`, and the rooms that it may import: those it imports today. A room stands
/// below all that import it, so the list has no circles. `scale` knows `visit` for the camera's
/// setup that it reports, `locate` for the landmarks that it fills in.
const ROOMS: [(&str, &[&str]); 30] = [
    ("geometry", &[]),
    ("body", &[]),
    ("estimate", &[]),
    ("measure", &["body", "geometry"]),
    ("visit", &["body", "estimate", "geometry", "measure"]),
    ("photo", &["geometry"]),
    ("checksum", &[]),
    ("plumb", &["estimate", "geometry", "photo"]),
    (
        "infer",
        &["body", "checksum", "estimate", "geometry", "photo"],
    ),
    ("video", &["body", "infer", "photo", "visit"]),
    (
        "locate",
        &["body", "estimate", "geometry", "infer", "photo", "visit"],
    ),
    ("scale", &["body", "estimate", "geometry", "visit"]),
    ("board", &["estimate", "geometry", "photo", "scale"]),
    ("repeats", &["body", "estimate", "measure", "visit"]),
    (
        "compare",
        &["body", "estimate", "measure", "repeats", "visit"],
    ),
    (
        "care",
        &[
            "body", "checksum", "compare", "estimate", "measure", "repeats", "visit",
        ],
    ),
    ("sheet", &[]),
    ("scores", &["sheet", "visit"]),
    ("agree", &["body", "compare", "measure", "scores"]),
    (
        "survey",
        &[
            "body", "estimate", "geometry", "locate", "measure", "repeats", "scale", "visit",
        ],
    ),
    (
        "record",
        &[
            "body", "care", "checksum", "estimate", "geometry", "locate", "measure", "repeats",
            "sheet", "visit",
        ],
    ),
    ("case", &["care", "checksum", "photo", "record", "visit"]),
    (
        "report",
        &[
            "agree", "body", "care", "compare", "estimate", "geometry", "measure", "repeats",
            "visit",
        ],
    ),
    (
        "episode",
        &["care", "case", "compare", "record", "report", "visit"],
    ),
    (
        "exchange",
        &[
            "body", "checksum", "compare", "estimate", "measure", "repeats", "report", "visit",
        ],
    ),
    (
        "pipeline",
        &[
            "board", "body", "checksum", "compare", "estimate", "geometry", "infer", "locate",
            "measure", "photo", "plumb", "repeats", "scale", "survey", "visit",
        ],
    ),
    (
        "batch",
        &[
            "body", "checksum", "infer", "locate", "photo", "pipeline", "record", "scores",
            "sheet", "visit",
        ],
    ),
    (
        "web",
        &[
            "body", "care", "case", "checksum", "compare", "episode", "estimate", "geometry",
            "infer", "locate", "measure", "photo", "pipeline", "record", "report", "visit",
        ],
    ),
    (
        "cli",
        &[
            "agree", "batch", "board", "body", "care", "case", "checksum", "compare", "episode",
            "exchange", "infer", "locate", "measure", "photo", "pipeline", "record", "report",
            "scores", "video", "visit", "web",
        ],
    ),
    ("main", &["cli"]),
];

/// What the code may name in some rooms only.
const ONLY_IN: [(&str, &[&str]); 38] = [
    ("ort::", &["infer"]),
    ("ort_tract", &["infer"]),
    ("clap", &["cli"]),
    ("statrs", &["agree"]),
    ("toml::", &["care"]),
    ("schemars", &["record"]),
    ("mozjpeg", &["photo"]),
    ("dicom_core", &["exchange", "photo"]),
    ("dicom_dictionary_std", &["exchange", "photo"]),
    ("dicom_encoding", &["photo"]),
    ("dicom_object", &["exchange"]),
    ("dicom_parser", &["photo"]),
    ("dicom_transfer_syntax_registry", &["exchange", "photo"]),
    ("jpeg_encoder", &["exchange"]),
    ("libheif_rs", &["photo"]),
    ("process::Command", &["video"]),
    ("kornia_apriltag", &["board"]),
    ("kornia_image", &["board"]),
    ("pdf_writer", &["board"]),
    ("typst", &["report"]),
    ("::parquet", &["scores"]),
    ("indicatif", &["cli"]),
    ("walkdir", &["batch"]),
    ("axum", &["web"]),
    ("tokio", &["web"]),
    ("include_dir", &["web"]),
    ("getrandom", &["web"]),
    ("open::", &["cli"]),
    ("dirs::", &["main"]),
    ("print!", &["cli", "main"]),
    ("println!", &["cli", "main"]),
    ("eprint!", &["cli", "main"]),
    ("eprintln!", &["cli", "main"]),
    ("dbg!", &[]),
    ("SystemTime", &["main"]),
    ("ZonedDateTime::now", &["main"]),
    ("Timestamp::now", &["main"]),
    ("current_dir", &["main"]),
];

/// What rooms of plain numbers may not name: pictures, runtimes, files.
const PURE: [&str; 6] = [
    "geometry", "estimate", "measure", "compare", "agree", "care",
];
const IMPURE: [&str; 5] = ["image::", "imageproc", "ort::", "std::fs", "fs::"];

/// The files that know in which order the nets give their points.
const ORDERS: [&str; 2] = ["infer/pose_net.rs", "infer/landmark_net.rs"];

const TOP_LEVEL: [&str; 9] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "src",
    "models",
    "tests",
    "fixtures",
    "scripts",
];

/// A source file without its comments, the contents of its strings, and its test code.
struct Source {
    path: PathBuf,
    room: String,
    /// The file that declares the room's modules, where `super` is the crate.
    is_room_root: bool,
    code: String,
}

/// Blanks comments, strings and character literals, keeping everything else in place.
fn bare(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut bare = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let rest = &chars[at..];
        let length = match rest {
            ['/', '/', ..] => rest.iter().position(|&c| c == '\n').unwrap_or(rest.len()),
            ['/', '*', ..] => block_comment(rest),
            ['r', '"' | '#', ..] if !follows_word(&chars, at) => raw_string(rest).unwrap_or(0),
            ['"', ..] => quoted(rest, '"'),
            ['\'', '\\', ..] | ['\'', _, '\'', ..] => quoted(rest, '\''),
            _ => 0,
        };
        if length == 0 {
            bare.push(chars[at]);
            at += 1;
        } else {
            bare.extend(
                rest[..length]
                    .iter()
                    .map(|&c| if c == '\n' { c } else { ' ' }),
            );
            at += length;
        }
    }
    bare
}

fn follows_word(chars: &[char], at: usize) -> bool {
    // The b of a raw byte string is no word.
    at > 0
        && is_word(chars[at - 1])
        && !(chars[at - 1] == 'b' && (at < 2 || !is_word(chars[at - 2])))
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn block_comment(rest: &[char]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match rest[at..] {
            ['/', '*', ..] => {
                depth += 1;
                at += 2;
            }
            ['*', '/', ..] => {
                depth -= 1;
                at += 2;
                if depth == 0 {
                    return at;
                }
            }
            _ => at += 1,
        }
    }
    at
}

fn raw_string(rest: &[char]) -> Option<usize> {
    let hashes = rest[1..].iter().take_while(|&&c| c == '#').count();
    let open = 1 + hashes;
    if rest.get(open) != Some(&'"') {
        return None;
    }
    let mut end: Vec<char> = vec!['"'];
    end.resize(1 + hashes, '#');
    let close = rest[open + 1..]
        .windows(end.len())
        .position(|window| window == end)?;
    Some(open + 1 + close + end.len())
}

fn quoted(rest: &[char], quote: char) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != quote {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(rest.len())
}

/// Cuts every item marked as test code out of bare code, and tells the names of those that are
/// modules in files of their own.
fn without_tests(code: &str) -> (String, Vec<String>) {
    const MARK: &str = "#[cfg(test)]";
    let (mut kept, mut modules) = (String::new(), Vec::new());
    let mut rest = code;
    while let Some(start) = rest.find(MARK) {
        kept.push_str(&rest[..start]);
        let item = &rest[start + MARK.len()..];
        let end = item.find([';', '{']).map_or(item.len(), |at| {
            if item[at..].starts_with(';') {
                modules.extend(item[..at].trim().strip_prefix("mod ").map(str::to_owned));
                at + 1
            } else {
                at + block(&item[at..])
            }
        });
        rest = &item[end..];
    }
    kept.push_str(rest);
    (kept, modules)
}

/// Length of a block in braces.
fn block(code: &str) -> usize {
    let mut depth = 0;
    for (at, c) in code.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return at + 1;
        }
    }
    code.len()
}

/// Where a name stands in bare code as a whole word, or as the start of a path.
fn names<'a>(code: &'a str, name: &'a str) -> impl Iterator<Item = usize> + 'a {
    code.match_indices(name)
        .map(|(at, _)| at)
        .filter(move |&at| {
            let before = code[..at].chars().next_back();
            let after = code[at + name.len()..].chars().next();
            let open_end = name.ends_with("::");
            !before.is_some_and(is_word) && (open_end || !after.is_some_and(is_word))
        })
}

/// The rooms that a file names behind `crate::` (or the library's name) and, where `super` is
/// the crate, behind `super::`.
fn imports(source: &Source) -> BTreeSet<String> {
    let mut rooms = BTreeSet::new();
    let mut starts = vec!["crate::", "tragus::"];
    if source.is_room_root {
        starts.push("super::");
    }
    for start in starts {
        for at in names(&source.code, start) {
            let path = source.code[at + start.len()..].trim_start();
            if let Some(group) = path.strip_prefix('{') {
                rooms.extend(heads_of_group(group));
            } else {
                rooms.extend(head(path));
            }
        }
    }
    rooms
}

fn head(path: &str) -> Option<String> {
    let word: String = path.chars().take_while(|&c| is_word(c)).collect();
    (!word.is_empty()).then_some(word)
}

/// The first words of the members of a group of imports.
fn heads_of_group(group: &str) -> Vec<String> {
    let (mut depth, mut members) = (1, vec![String::new()]);
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 1 => members.push(String::new()),
            _ => {}
        }
        if depth == 0 {
            break;
        }
        if let Some(last) = members.last_mut().filter(|_| c != ',') {
            last.push(c);
        }
    }
    members
        .iter()
        .filter_map(|member| head(member.trim()))
        .collect()
}

fn room_of(inside_src: &Path) -> String {
    let first = inside_src.iter().next().expect("a file").to_string_lossy();
    first.strip_suffix(".rs").unwrap_or(&first).to_owned()
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of the sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// All sources of the program; files that only tests include are left out.
fn sources() -> Vec<Source> {
    let src = root().join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    files.sort();
    let mut tests_only = BTreeSet::new();
    let mut sources = Vec::new();
    for path in files {
        let inside = path.strip_prefix(&src).expect("a file of src").to_owned();
        let text = fs::read_to_string(&path).expect("a source file");
        let (code, test_modules) = without_tests(&bare(&text));
        let folder = inside.parent().expect("a folder");
        tests_only.extend(
            test_modules
                .iter()
                .map(|module| folder.join(format!("{module}.rs"))),
        );
        let depth = inside.iter().count();
        sources.push(Source {
            room: room_of(&inside),
            is_room_root: depth == 1 || (depth == 2 && inside.ends_with("mod.rs")),
            path: inside,
            code,
        });
    }
    sources.retain(|source| !tests_only.contains(&source.path));
    assert!(
        sources.len() >= 20,
        "only {} sources were found",
        sources.len()
    );
    sources
}

fn allowed(room: &str) -> Option<&'static [&'static str]> {
    ROOMS
        .iter()
        .find(|(name, _)| *name == room)
        .map(|(_, allowed)| *allowed)
}

/// What a source does against the table of rooms.
fn forbidden_imports(source: &Source) -> Vec<String> {
    let at = source.path.display();
    let Some(allowed) = allowed(&source.room) else {
        return vec![format!(
            "{at}: the room {} is not in the table",
            source.room
        )];
    };
    imports(source)
        .into_iter()
        .filter(|room| *room != source.room && !allowed.contains(&room.as_str()))
        .map(|room| format!("{at}: {} may not import {room}", source.room))
        .collect()
}

/// What a source names that is not for its room.
fn forbidden_names(source: &Source) -> Vec<String> {
    let at = source.path.display();
    let mut trouble = Vec::new();
    for (name, rooms) in ONLY_IN {
        if !rooms.contains(&source.room.as_str()) && names(&source.code, name).next().is_some() {
            trouble.push(format!("{at}: {name} is for {rooms:?} only"));
        }
    }
    if PURE.contains(&source.room.as_str()) {
        for name in IMPURE {
            if names(&source.code, name).next().is_some() {
                trouble.push(format!("{at}: {} has no business with {name}", source.room));
            }
        }
    }
    // The system's constants, such as the ending of a library's name, are no surroundings.
    let surroundings = names(&source.code, "std::env")
        .any(|found| !source.code[found..].starts_with("std::env::consts"));
    if surroundings && source.room != "main" {
        trouble.push(format!("{at}: std::env is for main only"));
    }
    if names(&source.code, "ORDER").next().is_some()
        && !ORDERS.map(Path::new).contains(&source.path.as_path())
    {
        trouble.push(format!(
            "{at}: the order of a net's points is for {ORDERS:?} only"
        ));
    }
    if source.code.contains(".unwrap()") {
        trouble.push(format!(
            "{at}: unwrap() outside of tests; say with expect why it holds"
        ));
    }
    trouble
}

fn assert_none(trouble: &[String]) {
    assert!(trouble.is_empty(), "{}", trouble.join("\n"));
}

#[test]
fn no_room_imports_a_higher_one() {
    let sources = sources();
    let trouble: Vec<String> = sources
        .iter()
        // The library's front page only declares its rooms.
        .filter(|source| source.room != "lib")
        .flat_map(forbidden_imports)
        .collect();
    assert_none(&trouble);
}

#[test]
fn the_table_of_rooms_has_no_circles() {
    for (index, (room, allowed)) in ROOMS.iter().enumerate() {
        for other in *allowed {
            let below = ROOMS.iter().position(|(name, _)| name == other);
            assert!(
                below.is_some_and(|below| below < index),
                "{room} imports {other}"
            );
        }
    }
}

#[test]
fn nothing_is_named_outside_of_its_room() {
    let trouble: Vec<String> = sources().iter().flat_map(forbidden_names).collect();
    assert_none(&trouble);
    for order in ORDERS {
        let decoder = sources()
            .into_iter()
            .find(|source| source.path == Path::new(order))
            .expect("a net's decoder");
        assert!(
            names(&decoder.code, "ORDER").next().is_some(),
            "the order of points has moved from {order}"
        );
    }
}

#[test]
fn the_top_level_holds_what_it_should() {
    // What is kept, not what lies about: README's first command writes a report there.
    let kept = std::process::Command::new("git")
        .args(["ls-files", "-z"])
        .current_dir(root())
        .output();
    let Ok(kept) = kept.map(|output| output.stdout) else {
        eprintln!("SKIPPED: git is not on this machine");
        return;
    };
    if kept.is_empty() {
        eprintln!("SKIPPED: this is no git checkout");
        return;
    }
    let top: BTreeSet<String> = String::from_utf8_lossy(&kept)
        .split_terminator('\0')
        .filter_map(|path| path.split('/').next().map(str::to_owned))
        .collect();
    assert!(top.contains("Cargo.toml"), "{top:?}");
    let unknown: Vec<String> = top
        .into_iter()
        .filter(|name| !name.starts_with('.') && !TOP_LEVEL.contains(&name.as_str()))
        .collect();
    assert_none(&unknown);
}

// The rules must be able to fail.

fn source(path: &str, text: &str) -> Source {
    let path = PathBuf::from(path);
    let (code, _) = without_tests(&bare(text));
    Source {
        room: room_of(&path),
        is_room_root: path.iter().count() == 1 || path.ends_with("mod.rs"),
        path,
        code,
    }
}

#[test]
fn a_breach_of_the_table_is_found_however_it_is_written() {
    for (path, text) in [
        ("measure/standing.rs", "use crate::photo::Photo;"),
        (
            "measure/standing.rs",
            "use crate::{body::Side, visit::{Visit, Notice}};",
        ),
        (
            "measure/standing.rs",
            "fn f() -> crate::visit::Visit { todo() }",
        ),
        ("measure/mod.rs", "use super::visit::Visit;"),
        ("estimate.rs", "use super::measure::Measure;"),
        ("geometry/point.rs", "pub use crate::body::Side;"),
        ("compare.rs", "use tragus::report::html;"),
        ("attic.rs", ""),
    ] {
        assert_eq!(
            forbidden_imports(&source(path, text)).len(),
            1,
            "{path}: {text}"
        );
    }
    for (path, text) in [
        (
            "measure/standing.rs",
            "use super::Figure; use crate::{body::{Landmark, Side}, geometry};",
        ),
        (
            "measure/standing.rs",
            "// use crate::photo::Photo;\n/* crate::visit */ /// [`crate::visit`]",
        ),
        (
            "measure/standing.rs",
            r##"fn f() { g("crate::visit::x", r#"crate::"photo""#, '"', '\'') }"##,
        ),
        (
            "estimate.rs",
            "#[cfg(test)]\nmod tests { use super::*; use crate::visit::Visit; }",
        ),
    ] {
        assert_none(&forbidden_imports(&source(path, text)));
    }
}

#[test]
fn a_name_outside_of_its_room_is_found() {
    for (path, text) in [
        ("photo/mod.rs", "use ort::session::Session;"),
        ("measure/mod.rs", "use image::RgbImage;"),
        ("compare.rs", "fn f() { std::fs::read(p); }"),
        ("report/html.rs", "fn f() { println!(\"x\"); }"),
        ("record/mod.rs", "use toml::Table;"),
        ("pipeline.rs", "fn f() { eprintln!(\"x\"); }"),
        ("pipeline.rs", "use clap::Parser;"),
        ("batch/mod.rs", "use tokio::sync::Mutex;"),
        ("web/mod.rs", "fn f() { open::that(address); }"),
        ("report/html.rs", "fn f() { std::env::var(\"HOME\"); }"),
        (
            "report/html.rs",
            "fn f() { let today = jiff::ZonedDateTime::now(); }",
        ),
        ("locate/mod.rs", "const ORDER: [u8; 1] = [1];"),
        (
            "photo/mod.rs",
            "fn f<'a>(x: &'a str) { let c = '\"'; y.unwrap(); }",
        ),
        (
            "photo/mod.rs",
            "#[cfg(test)]\nmod samples;\nfn f() { y.unwrap(); }",
        ),
    ] {
        let found = forbidden_names(&source(path, text));
        // `std::fs` is also an `fs::`.
        assert!((1..=2).contains(&found.len()), "{path}: {text}: {found:?}");
    }
    for (path, text) in [
        (
            "infer/net.rs",
            "use ort::session::Session; fn f() { std::env::consts::DLL_PREFIX; }",
        ),
        (
            "cli/mod.rs",
            "use clap::Parser; fn f() { println!(\"x\"); }",
        ),
        (
            "report/html.rs",
            "fn f() { import::x(); sort::y(); z.unwrap_or(1); w(\"a.unwrap()\"); }",
        ),
        (
            "photo/mod.rs",
            "#[cfg(test)]\nmod tests { fn f() { if x { y.unwrap(); } } }",
        ),
    ] {
        assert_none(&forbidden_names(&source(path, text)));
    }
}

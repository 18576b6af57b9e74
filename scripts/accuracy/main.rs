//! How far tragus is from the truth on rendered people.
//!
//! `cargo run --release --example accuracy -- FOLDER...` measures every folder that holds a
//! `visit.json` and a `truth.json` (made by `scripts/people/`) and prints, for each landmark and
//! measure, the error against the truth, its bias, and how often it lies within the stated error.
//! `perspective FOLDER` shows what it is worth to know the camera, with true landmarks, and with those
//! of the nets if `--nets` follows; `FOLDER --readme FILE` measures one truth set of two cameras and
//! puts both tables into FILE; `aids FOLDER --readme FILE` does so for what board and stickers are
//! worth.
//! `--each` also prints every reading, `--heavy` uses the heavy pose net, `--quick` looks as often as
//! a batch does. `--table` prints nothing of that, but each net by itself: the rows of
//! `locate::accuracy` and `locate::landmark_accuracy`. With `ORT_DYLIB_PATH` set, that ONNX Runtime
//! runs the nets. The figures in `locate`, `scale::stature` and README come from here.

use std::path::{Path, PathBuf};

use tragus::infer::{Effort, Finder, PoseNetKind, Runtime, RuntimeChoice};
use tragus::record;

mod nets;
mod perspective;
mod readings;
mod table;
mod truth;
mod with_nets;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        ["perspective", set] => {
            let views = perspective::side_views(Path::new(set));
            println!("{}", perspective::markdown(&views));
        }
        ["perspective", set, "--nets"] => {
            with_nets::read(&finder(PoseNetKind::Full), Path::new(set)).print();
        }
        ["aids", set, "--readme", readme] => write_aids(Path::new(set), Path::new(readme)),
        [set, "--readme", readme] => write_tables(Path::new(set), Path::new(readme)),
        _ => measure_folders(&words),
    }
}

fn measure_folders(words: &[&str]) {
    let (flags, folders): (Vec<&str>, Vec<&str>) =
        words.iter().partition(|word| word.starts_with("--"));
    let unknown = flags
        .iter()
        .find(|flag| !["--each", "--heavy", "--quick", "--table"].contains(flag));
    assert!(unknown.is_none(), "no such flag: {unknown:?}");
    let has = |flag: &str| flags.contains(&flag);
    let folders: Vec<PathBuf> = folders
        .into_iter()
        .flat_map(|folder| truth::folders(Path::new(folder)))
        .collect();
    assert!(!folders.is_empty(), "no folder with a truth.json was given");
    let kind = if has("--heavy") {
        PoseNetKind::Heavy
    } else {
        PoseNetKind::Full
    };
    let finder = finder(kind);
    if has("--table") {
        return nets::print(&finder, &folders);
    }
    let effort = if has("--quick") {
        Effort::Quick
    } else {
        Effort::Thorough
    };
    readings::print(&finder, &folders, effort, has("--each"));
}

/// The nets on the best runtime at hand.
fn finder(kind: PoseNetKind) -> Finder {
    let runtime = Runtime::start(&RuntimeChoice::settle(
        "auto",
        std::env::var_os("ORT_DYLIB_PATH").map(PathBuf::from),
        None,
    ))
    .expect("a runtime");
    Finder::load(runtime, kind, 1, 2).expect("the nets")
}

/// The nets on the built-in runtime, as the tests that hold README to its tables run them.
fn embedded() -> Finder {
    let runtime = Runtime::start(&RuntimeChoice::Embedded).expect("the built-in runtime");
    let workers = rayon::current_num_threads();
    Finder::load(runtime, PoseNetKind::Full, workers, workers).expect("the nets")
}

/// Measures a truth set.
fn write_tables(set: &Path, readme: &Path) {
    let accuracy = table::markdown(&table::measure(&embedded(), set));
    let perspective = perspective::markdown(&perspective::side_views(set));
    println!("{accuracy}\n\n{perspective}");
    let text = std::fs::read_to_string(readme).expect("a README");
    let text = put(&text, &accuracy, table::BEGIN, table::END)
        .and_then(|text| put(&text, &perspective, perspective::BEGIN, perspective::END))
        .expect("places for the tables in the README");
    record::write_atomically(readme, text.as_bytes()).expect("a README that can be written");
}

/// Measures a truth set with board and stickers.
fn write_aids(set: &Path, readme: &Path) {
    let aids = table::aids_markdown(&embedded(), set);
    println!("{aids}");
    let text = std::fs::read_to_string(readme).expect("a README");
    let text =
        put(&text, &aids, table::AIDS_BEGIN, table::AIDS_END).expect("a place for the table");
    record::write_atomically(readme, text.as_bytes()).expect("a README that can be written");
}

/// `readme` with the table between two marks replaced; `None` when it has no place for it.
fn put(readme: &str, new: &str, begin: &str, end: &str) -> Option<String> {
    let begin = readme.find(begin)?;
    let end = begin + readme[begin..].find(end)? + end.len();
    Some(format!("{}{new}{}", &readme[..begin], &readme[end..]))
}

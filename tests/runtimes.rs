//! The built-in runtime and ONNX Runtime see the same: each landmark of the truth set on both.

use std::collections::BTreeMap;
use std::ffi::OsStr;

use assert_cmd::Command;
use tragus::body::Landmark;
use tragus::record;

use crate::common::root;

/// How far apart the two may put a landmark, pixels of photos of 600×800.
const APART: f64 = 0.2;

/// Where each landmark of each photo lies, of those that are told; pixels.
fn landmarks(runtime: &OsStr) -> BTreeMap<(String, Landmark), (f64, f64)> {
    let scratch = tempfile::tempdir().expect("a folder");
    let save = scratch.path().join("record.json");
    let mut found = BTreeMap::new();
    for camera in ["camera-a", "camera-b"] {
        Command::cargo_bin("tragus")
            .expect("the program")
            .arg("measure")
            .arg(root().join("fixtures/truth").join(camera))
            .arg("--save")
            .arg(&save)
            .arg("--runtime")
            .arg(runtime)
            .assert()
            .code(1);
        let text = std::fs::read_to_string(&save).expect("a record");
        let visit = record::visit_from_json(&text).expect("a record of its own");
        for photo in visit.photos {
            for (landmark, point) in photo.landmarks {
                let name = format!("{camera}/{}", photo.file);
                found.insert((name, landmark), (point.at.x, point.at.y));
            }
        }
    }
    found
}

#[test]
fn the_two_runtimes_agree() {
    let Some(library) = std::env::var_os("ORT_DYLIB_PATH").filter(|path| !path.is_empty()) else {
        println!("SKIPPED: ORT_DYLIB_PATH names no ONNX Runtime library");
        return;
    };
    let built_in = landmarks(OsStr::new("embedded"));
    let library = landmarks(&library);
    assert!(
        built_in.keys().eq(library.keys()),
        "one sees what the other does not"
    );
    let mut apart: Vec<_> = built_in
        .iter()
        .map(|(of, at)| {
            let other = library[of];
            ((at.0 - other.0).hypot(at.1 - other.1), of)
        })
        .collect();
    apart.sort_by(|a, b| a.0.total_cmp(&b.0));
    let part = |part: f64| apart[(part * (apart.len() - 1) as f64) as usize].0;
    println!(
        "{} landmarks: half of them within {:.2} px, 99 % within {:.2}, all within {:.2}",
        apart.len(),
        part(0.5),
        part(0.99),
        part(1.0)
    );
    assert!(apart.len() > 1000);
    let (most, of) = apart[apart.len() - 1];
    assert!(most <= APART, "{of:?} {most:.2} px apart");
}

//! What several test rooms share.

pub mod planted;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
#[cfg(unix)]
use std::process::Command;
use std::sync::{Arc, OnceLock};

use image::RgbImage;
use serde_json::Value;
use tragus::body::View;
use tragus::infer::{Finder, PoseNetKind, Runtime, RuntimeChoice};
use tragus::visit::{FaceCircle, PhotoRecord};

/// The nets on the built-in runtime, loaded once for all tests of this process.
pub fn finder() -> &'static Finder {
    shared_finder()
}

/// The same, for who keeps them.
pub fn shared_finder() -> &'static Arc<Finder> {
    static FINDER: OnceLock<Arc<Finder>> = OnceLock::new();
    FINDER.get_or_init(|| {
        let runtime = Runtime::start(&RuntimeChoice::Embedded).expect("the built-in runtime");
        Arc::new(Finder::load(runtime, PoseNetKind::Full, 2, 2).expect("the built-in nets"))
    })
}

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A visit of the demo case by its label.
pub fn demo(visit: &str) -> PathBuf {
    let date = match visit {
        "intake" => "2026-03-10",
        "follow-up" => "2026-04-28",
        "setback" => "2026-05-26",
        "discharge" => "2026-08-11",
        other => panic!("the demo has no visit {other}"),
    };
    demo_case().join(format!("visits/{date}-{visit}"))
}

pub fn demo_case() -> PathBuf {
    root().join("fixtures/demo")
}

/// The annotated photos of real people, where this machine has them. They can't be part of the
/// project: the people in them are identifiable.
pub fn real_photos() -> Option<PathBuf> {
    let folder = root().join("../shared/real-photos");
    folder.join("annotations.json").is_file().then_some(folder)
}

/// Numbers that look random and are the same in every run.
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        let (factor, step) = (6_364_136_223_846_793_005, 1_442_695_040_888_963_407);
        self.0 = self.0.wrapping_mul(factor).wrapping_add(step);
        self.0 >> 33
    }

    pub fn below(&mut self, end: usize) -> usize {
        self.next() as usize % end
    }
}

/// How often a test kills the program: so often, or as `TRAGUS_KILL_ROUNDS` says.
pub fn kill_rounds(usual: usize) -> usize {
    match std::env::var("TRAGUS_KILL_ROUNDS") {
        Ok(rounds) => rounds.parse().expect("TRAGUS_KILL_ROUNDS is a number"),
        Err(_) => usual,
    }
}

/// Starts what follows as somebody who may not write wherever root may. `None`, aloud, where this
/// account is root and can't become somebody else.
#[cfg(unix)]
pub fn as_somebody() -> Option<Command> {
    use std::os::unix::fs::MetadataExt;
    let folder = tempfile::tempdir().expect("a folder");
    if folder.path().metadata().expect("a folder").uid() != 0 {
        return Some(Command::new("env"));
    }
    let somebody = || {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups", "--"]);
        command
    };
    let program = assert_cmd::cargo::cargo_bin("tragus");
    let started = somebody().arg(program).arg("--version").output();
    if started.is_ok_and(|output| output.status.success()) {
        return Some(somebody());
    }
    println!("SKIPPED: root may write everywhere, and setpriv can't start the program as nobody");
    None
}

/// Lets everybody write into a folder, or nobody but root.
#[cfg(unix)]
pub fn let_write(folder: &Path, may: bool) {
    use std::os::unix::fs::PermissionsExt;
    let mode = if may { 0o777 } else { 0o555 };
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(mode)).expect("permissions");
}

/// How far two pictures of one size are apart on average, grey levels.
pub fn mean_apart(one: &RgbImage, other: &RgbImage) -> f64 {
    let sum: f64 = apart(one, other).map(f64::from).sum();
    sum / one.as_raw().len() as f64
}

/// How far they are apart at most.
pub fn most_apart(one: &RgbImage, other: &RgbImage) -> u8 {
    apart(one, other).max().unwrap_or(0)
}

fn apart(one: &RgbImage, other: &RgbImage) -> impl Iterator<Item = u8> {
    assert_eq!(one.dimensions(), other.dimensions());
    let levels = one.as_raw().iter().zip(other.as_raw());
    levels.map(|(a, b)| a.abs_diff(*b))
}

/// The names in a folder, in order.
pub fn names_in(folder: &Path) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    entries
        .map(|entry| entry.expect("an entry").file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .collect()
}

/// Eyes and chin where they truly are, as far as they are on the side that the camera sees: how many, and
/// which of them no cover of a face lies over.
pub fn face_points(record: &PhotoRecord, truth: &Value) -> (usize, Vec<&'static str>) {
    let near = record.view.and_then(View::near_side);
    let (mut seen, mut shown) = (0, Vec::new());
    for name in ["eye_outer_left", "eye_outer_right", "chin"] {
        let is_far = near.is_some_and(|near| name.ends_with(near.other().name()));
        let at = &truth["landmarks"][name];
        let (Some(x), Some(y), false) = (at["x"].as_f64(), at["y"].as_f64(), is_far) else {
            continue;
        };
        seen += 1;
        let covers = |face: &FaceCircle| (face.centre.x - x).hypot(face.centre.y - y) < face.radius;
        if !record.faces.iter().any(covers) {
            shown.push(name);
        }
    }
    (seen, shown)
}

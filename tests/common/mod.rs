//! What several test rooms share.

pub mod planted;

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use tragus::infer::{Finder, PoseNetKind, Runtime, RuntimeChoice};

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

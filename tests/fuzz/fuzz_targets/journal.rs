//! The journal of a batch that was interrupted, damaged in between: what is resumed comes to an end and
//! gives a table.

#![no_main]

use std::fs;

use libfuzzer_sys::fuzz_target;
use tragus::batch::{Journal, SCHEMA, Settings, journal_path};
use tragus::scores::{self, Format, Score};

fuzz_target!(|lines: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("scores.csv");
    let settings = Settings {
        schema: SCHEMA.to_owned(),
        tragus: "0".to_owned(),
        nets: String::new(),
        runtime: String::new(),
        pose_net: String::new(),
        effort: String::new(),
        folder: String::new(),
        manifest: String::new(),
        shard: String::new(),
    };
    // Lines alone, as a run leaves them behind its settings, or the whole file.
    let file = match lines.strip_prefix(b"!") {
        Some(whole) => whole.to_owned(),
        None => {
            drop(Journal::open(&out, &settings, false).expect("a new journal"));
            [&fs::read(journal_path(&out)).expect("its settings"), lines].concat()
        }
    };
    fs::write(journal_path(&out), &file).expect("a journal");
    let Ok(mut journal) = Journal::open(&out, &settings, true) else {
        let kept = fs::read(journal_path(&out)).expect("still there");
        assert!(kept == file, "a journal that is refused is left as it is");
        return;
    };
    let row = Score::without_measure("c.jpg", "", "measured now");
    journal.keep("c.jpg", None, vec![row]).expect("a line");
    journal
        .finish(&out, Format::Csv, ["a.jpg", "b.jpg", "c.jpg"])
        .expect("a table");
    let table = scores::read(&out).expect("its own table");
    assert!(table.iter().any(|score| score.reason == "measured now"));
});

//! Tables: the manifest of a batch, and scores of two raters in every format, agreed upon.

#![no_main]

use std::fs;

use libfuzzer_sys::fuzz_target;
use tragus::batch::manifest;
use tragus::report::{agreement_json, agreement_table};
use tragus::visit::STATURES_CM;
use tragus::{agree, scores};

fuzz_target!(init: let_parquet_panic(), |input: (u8, &[u8], &[u8])| {
    let (kind, first, second) = input;
    if let Ok(manifest) = manifest::read(first) {
        for entry in manifest.entries.values() {
            let stature = entry.facts.stature_cm;
            assert!(stature.is_none_or(|cm| STATURES_CM.contains(&cm)));
        }
    }
    let ending = ["csv", "jsonl", "parquet"][usize::from(kind) % 3];
    let folder = tempfile::tempdir().expect("a folder");
    let raters: Vec<_> = [first, second]
        .into_iter()
        .enumerate()
        .filter_map(|(rater, bytes)| {
            let path = folder.path().join(format!("{rater}.{ending}"));
            fs::write(&path, bytes).expect("a table");
            scores::read(&path).ok()
        })
        .collect();
    let Some(rater) = raters.first() else {
        return;
    };
    let raters = [rater, raters.last().unwrap_or(rater)].map(Vec::as_slice);
    if let Ok(agreement) = agree::agreement(&raters, kind > 127) {
        let files = ["a".to_owned(), "b".to_owned()];
        let _ = agreement_table(&agreement, &files);
        let json = agreement_json(&agreement, &files).to_string();
        assert!(!json.contains("NaN"));
    }
});

/// The library's panics are caught by who calls it; libFuzzer's hook would end the run before.
fn let_parquet_panic() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        let within = panic.location().is_some_and(|at| at.file().contains("/parquet-"));
        if !within {
            usual(panic);
        }
    }));
}

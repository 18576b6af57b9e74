//! Photos of people without stickers: none may be seen.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tragus::infer::Effort;
use tragus::locate::Wish;
use tragus::pipeline::{Aids, PhotoInput, measure_photo};
use tragus::visit::{Evidence, VisitFacts};

use crate::common::{finder, root};

fn photos(folder: &Path) -> Vec<PathBuf> {
    let mut photos: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "jpg"))
        .collect();
    photos.sort();
    photos
}

#[test]
fn nobody_without_stickers_wears_one() {
    let folders = [
        "demo/visits/2026-03-10-intake",
        "demo/visits/2026-04-28-follow-up",
        "cases",
        "truth/camera-a",
        "truth/camera-b",
    ];
    let all: Vec<PathBuf> = folders
        .iter()
        .flat_map(|folder| photos(&root().join("fixtures").join(folder)))
        .collect();
    assert_eq!(all.len(), 84, "photos");
    let worn: Vec<String> = all
        .par_iter()
        .flat_map_iter(|path| {
            let input = PhotoInput {
                file: path.display().to_string(),
                bytes: Ok(std::fs::read(path).expect("a photo")),
                wish: Wish::default(),
                manual: Vec::new(),
                aids: Aids::default(),
            };
            let (record, _) =
                measure_photo(finder(), &VisitFacts::default(), &input, Effort::Thorough)
                    .expect("the nets");
            record
                .landmarks
                .into_iter()
                .filter(|(_, located)| located.evidence == Evidence::Sticker)
                .map(move |(landmark, _)| format!("{}: {landmark}", record.file))
        })
        .collect();
    assert_eq!(worn, Vec::<String>::new());
}

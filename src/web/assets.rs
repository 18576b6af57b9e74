//! The files of the page, built into the program.

use axum::extract::Path;
use include_dir::{Dir, File, include_dir};

use super::answer::{self, Answer, Trouble};

static PAGE: Dir = include_dir!("$CARGO_MANIFEST_DIR/src/web/page");

const FRONT: &str = "index.html";

pub async fn front() -> Answer {
    give(PAGE.get_file(FRONT))
}

pub async fn file(Path(name): Path<String>) -> Answer {
    give(PAGE.get_file(name))
}

fn give(file: Option<&File>) -> Answer {
    let file = file.ok_or_else(|| Trouble::gone("file"))?;
    answer::bytes(kind(file), file.contents().to_vec())
}

fn kind(file: &File) -> &'static str {
    match file.path().extension().and_then(|ending| ending.to_str()) {
        Some("html") => "text/html; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        _ => "application/octet-stream",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_the_page_has_a_kind_that_browsers_take() {
        assert!(PAGE.get_file(FRONT).is_some());
        for file in PAGE.files() {
            assert_ne!(kind(file), "application/octet-stream", "{:?}", file.path());
        }
    }
}

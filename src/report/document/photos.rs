//! The photos of a comparison or a visit as pieces of a document, with lines on them.

use crate::report::html::{ReportInput, unbroken};
use crate::report::photo::{self, STYLE, Shown};
use crate::report::view::PairView;

use super::{Photos, Picture, Shot};

/// Beside a small picture the values stand below it, not in it.
const WITHOUT_VALUES: &str = ".tags { display: none; }";

/// What the lines mean, also without colour.
pub(super) const STROKES: &str = "Solid lines run from landmark to landmark. Long dashes are a vertical, \
    a horizontal or a line carried on; short dashes are a distance to the ear or to the plumb line. A \
    point in a dashed ring was covered, and placed by what shows around it.";

/// Each pair with the values that its lines show and how the camera stood.
pub(super) fn photos(input: &ReportInput, pairs: &[PairView]) -> Vec<Photos> {
    pairs
        .iter()
        .map(|pair| Photos {
            title: pair.title.clone(),
            aside: photo::aside(input, pair).map(str::to_owned),
            shots: photo::show_pair(input, pair)
                .into_iter()
                .map(|(name, shown)| Shot {
                    caption: name.title.clone(),
                    notes: shown.as_ref().map_or_else(|_| Vec::new(), notes),
                    picture: shown.map(|shown| picture(&shown, &pair.title, &name.title)),
                })
                .collect(),
        })
        .collect()
}

fn picture(shown: &Shown, pose: &str, visit: &str) -> Picture {
    let svg = photo::photo(shown, pose, visit).into_string();
    let style = format!("{STYLE}{WITHOUT_VALUES}");
    Picture::new(&svg, &style, shown.words(pose, visit))
}

fn notes(shown: &Shown) -> Vec<String> {
    let values = shown.values.iter();
    let values = values.map(|value| format!("{}: {}", value.short, value.value));
    let setup = shown.setup.iter().map(|setup| unbroken(&setup.join(", ")));
    values.chain(setup).collect()
}

//! The signs of what a line amounts to. They differ in shape, not only in colour.

use maud::{Markup, PreEscaped, html};

use super::view::Mark;

/// Of the signs' shapes.
pub(super) const STYLE: &str = include_str!("sign.css");

pub(super) const fn class(mark: Mark) -> &'static str {
    match mark {
        Mark::Improved => "improved",
        Mark::Worse => "worse",
        Mark::Changed => "changed",
        Mark::Same => "same",
        Mark::Unknown => "unknown",
        Mark::Caution => "caution",
    }
}

/// A sign that differs in shape, not only in colour. The words stand beside it.
pub(super) fn sign(mark: Mark) -> Markup {
    html! {
        svg class=(format!("sign {}", class(mark))) viewBox="0 0 20 20" aria-hidden="true" {
            use href=(format!("#sign-{}", class(mark))) {}
        }
    }
}

/// A sign by itself, with all that it is drawn by.
pub(super) fn sign_svg(mark: Mark) -> String {
    let colour = match mark {
        Mark::Improved => "#0b4f8a",
        Mark::Worse | Mark::Caution => "#a84600",
        Mark::Changed | Mark::Same | Mark::Unknown => "#1c2126",
    };
    let svg = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox="-0.5 -0.5 21 21" {
            style { (PreEscaped(STYLE)) }
            g color=(colour) { (shape(mark)) }
        }
    };
    svg.into_string()
}

/// The shapes of the signs, once.
pub(super) fn signs() -> Markup {
    html! {
        svg.defs aria-hidden="true" width="0" height="0" {
            defs {
                @for mark in Mark::ALL {
                    g id=(format!("sign-{}", class(mark))) { (shape(mark)) }
                }
            }
        }
    }
}

fn shape(mark: Mark) -> Markup {
    html! {
        @match mark {
            Mark::Improved => {
                circle.full cx="10" cy="10" r="9" {}
                path.on d="M5.5 10.5l3 3l6-7" {}
            }
            Mark::Worse => {
                path.full d="M1 2.5H19L10 18.5Z" {}
                path.on d="M10 5.5v6" {}
            }
            Mark::Changed => {
                path.outline d="M10 1.5L18.5 10L10 18.5L1.5 10Z" {}
                path.ink d="M6.5 10h7" {}
            }
            Mark::Same => {
                circle.outline cx="10" cy="10" r="8.5" {}
                path.ink d="M6 8h8M6 12h8" {}
            }
            Mark::Unknown => circle.outline.dashed cx="10" cy="10" r="8.5" {},
            Mark::Caution => {
                path.full d="M10 1L19.5 18.5H0.5Z" {}
                path.on d="M10 7v5.5M10 15v1" {}
            }
        }
    }
}

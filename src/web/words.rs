//! Words for a page: those of the pipeline, without what only the command line has.

/// What texts say of options and files, and what stands in its place here.
const OPTIONS: [(&str, &str); 5] = [
    (
        " (--stature, or stature_cm in visit.json or the manifest)",
        "",
    ),
    (
        " (--operated-side, or operated_side in visit.json or the manifest)",
        "",
    ),
    (" (--stature)", ""),
    ("; --view settles it.", "."),
    (" --task settles it.", ""),
];

/// A notice or a reason without options of the command line.
pub fn without_options(text: &str) -> String {
    OPTIONS
        .iter()
        .fold(text.to_owned(), |text, (option, instead)| {
            text.replace(option, instead)
        })
}

/// Words with a capital letter first.
pub fn sentence_start(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn options_are_left_out_and_the_rest_stays_a_sentence() {
        for (text, plain) in [
            (
                "No stature is given (--stature), so.",
                "No stature is given, so.",
            ),
            (
                "Check the picture; --view settles it.",
                "Check the picture.",
            ),
            (
                "It was taken as \"reach\". --task settles it.",
                "It was taken as \"reach\".",
            ),
            ("needs C7", "needs C7"),
        ] {
            assert_eq!(without_options(text), plain);
        }
    }

    /// Texts of options that are written anew have to be left out anew.
    #[test]
    fn each_option_stands_in_a_text_of_the_pipeline() {
        let sources = [include_str!("../pipeline.rs"), include_str!("../survey.rs")].concat();
        // Long texts are broken at a space of their own.
        let texts = sources.replace("\\\n", "");
        let texts = texts.split_whitespace().collect::<Vec<_>>().join(" ");
        for (option, _) in OPTIONS {
            assert!(texts.contains(option.trim()), "{option}");
        }
    }
}

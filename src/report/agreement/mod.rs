//! Agreement of raters as a [`table`] for a terminal, as [`json`] and as a [`plot`] of each
//! measure.

mod json;
mod plot;
mod table;

use crate::agree::{Agreement, Quantity};

use super::number::decimals_of;

pub use json::agreement_json;
pub use plot::{Plot, agreement_plots};
pub use table::agreement_table;

/// What raters are called: A, B, … and after Z by number.
fn letter(rater: usize) -> String {
    match u8::try_from(rater) {
        Ok(index) if index < 26 => char::from(b'A' + index).to_string(),
        _ => format!("#{}", rater + 1),
    }
}

/// "Shoulder flexion (°)".
fn title(quantity: &Quantity) -> String {
    let (words, unit) = (quantity.words(), unit(quantity));
    if unit.is_empty() || words.contains(unit) {
        words.to_owned()
    } else {
        format!("{words} ({unit})")
    }
}

fn unit(quantity: &Quantity) -> &str {
    match quantity {
        Quantity::Known(measure) => measure.unit().suffix().trim_start(),
        Quantity::Other { unit, .. } => unit,
    }
}

/// Decimals of a quantity's statistics, the same for all sides and pairs: what the least certain
/// bias warrants.
fn decimals(agreement: &Agreement, quantity: &Quantity) -> usize {
    let groups = agreement.groups.iter();
    let pairs = groups
        .filter(|group| group.quantity == *quantity)
        .flat_map(|group| &group.pairs);
    let warranted = pairs.filter_map(|pair| {
        let differences = pair.differences.ok()?;
        let spread = differences.spread.ok()?;
        Some(decimals_of(spread.sd / (differences.n as f64).sqrt()))
    });
    warranted.min().unwrap_or(1)
}

/// "difference" or, against a reference, "error".
fn difference_word(agreement: &Agreement) -> &'static str {
    if agreement.reference {
        "error"
    } else {
        "difference"
    }
}

/// How the numbers were made: what a reader must know to use or repeat them.
fn notes(agreement: &Agreement) -> Vec<String> {
    let word = difference_word(agreement);
    let mut notes = vec![
        "Complete cases: every number is of rows with a value in every file. Brackets hold 95 % \
         confidence intervals. Rows count as independent; with several rows of one person, or \
         both sides pooled, true intervals are wider."
            .to_owned(),
        format!(
            "MAE: mean of |{word}|. Limits of agreement: bias ± 1.96 SD of the {word}s; interval of \
             the bias ± t·SD/√n, of a limit ± t·√(3·SD²/n) (Bland & Altman 1986). They hold for {word}s that are \
             about normal and don't grow with what is measured: look at the plot."
        ),
        "ICC: forms of Shrout & Fleiss 1979. Form 1: other raters for each row; form 2: raters \
         sampled from many, absolute agreement; form 3: these raters only, consistency. One rater: \
         ICC(·,1); mean of k: ICC(·,k). ICCs are given as computed, even below zero."
            .to_owned(),
        "SEM: consistency = √MSE; agreement = √(rater variance + MSE), with a negative estimate \
         of the rater variance taken as 0; within-subject SD = √MSW, raters taken as plain repeats; \
         by ICC = SD·√(1 − ICC) with the SD of all values. MDC95 = 1.96·√2·SEM, each from the SEM \
         above it."
            .to_owned(),
    ];
    if agreement.reference {
        notes.push("In ICC, SEM and MDC95 the reference counts as one of the raters.".to_owned());
    }
    if agreement.raters.iter().any(|rater| rater.states_sigma) {
        notes.push(format!(
            "Stated sigmas: shares of |{word}| within 1 and 1.96 sigma, Wilson intervals. Sigmas \
             of two files are combined in quadrature, as for independent errors; a file that \
             states none is taken as the truth."
        ));
    }
    notes
}

/// What a reader should be warned of.
fn remarks(agreement: &Agreement) -> Vec<String> {
    let clash = |(measure, units): &(String, Vec<String>)| {
        let units: Vec<&str> = units
            .iter()
            .map(|unit| if unit.is_empty() { "none" } else { unit })
            .collect();
        format!(
            "{measure}: the same photo and side stands in different units in different files \
             ({}); these rows are not compared.",
            units.join(", ")
        )
    };
    agreement.unit_clashes.iter().map(clash).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agree::agreement;
    use crate::scores::Score;

    const WIDEST: usize = 100;

    fn row(photo: usize, measure: &str, side: &str, unit: &str, value: f64) -> Score {
        Score {
            photo: format!("{photo}.jpg"),
            measure: measure.to_owned(),
            side: side.to_owned(),
            unit: unit.to_owned(),
            value: Some(value),
            sigma: Some(3.0),
            ..Score::default()
        }
    }

    /// Flexion of both sides, an arm-to-ear in two units, and a measure that nobody knows.
    fn rater(shift: f64) -> Vec<Score> {
        let mut rows = Vec::new();
        for photo in 0..12 {
            let size = f64::from(photo as u32);
            let wobble = shift * (1.0 + (size * 1.7).sin());
            for side in ["left", "right"] {
                rows.push(row(
                    photo,
                    "shoulder_flexion",
                    side,
                    "deg",
                    -104.25 - 7.0 * size - wobble,
                ));
            }
            rows.push(row(photo, "arm_to_ear", "left", "cm", 4.0 + size + wobble));
            rows.push(row(
                photo,
                "arm_to_ear",
                "left",
                "%",
                14.0 + 3.0 * size + wobble,
            ));
            rows.push(row(photo, "../up", "", "kg", 20.0 + size + wobble));
        }
        rows.push(row(0, "trunk_lean", "left", "deg", 3.0 + shift));
        // Each rater has one that the others lack.
        let lone = 100 + shift as usize;
        rows.push(row(lone, "arm_to_ear_front", "right", "%", 3.0));
        rows
    }

    fn agreed(raters: usize, reference: bool) -> (Agreement, Vec<String>) {
        let tables: Vec<Vec<Score>> = (0..raters).map(|rater_of| rater(rater_of as f64)).collect();
        let tables: Vec<&[Score]> = tables.iter().map(Vec::as_slice).collect();
        let files = (0..raters)
            .map(|index| format!("rater-{index}.csv"))
            .collect();
        (agreement(&tables, reference).unwrap(), files)
    }

    #[test]
    fn the_table_fits_a_terminal_and_names_its_statistics() {
        for (raters, reference) in [(2, false), (2, true), (3, false)] {
            let (agreement, files) = agreed(raters, reference);
            let text = agreement_table(&agreement, &files);
            for line in text.lines() {
                assert!(line.chars().count() <= WIDEST, "{line}");
            }
            assert!(
                !text.contains("Arm to ear from the front, % of upper-arm length\n"),
                "{text}"
            );
            for needed in [
                "ICC(2), agreement",
                "MDC95",
                "Within-subject",
                "B: rater-1.csv",
                "Not computed",
            ] {
                assert!(text.contains(needed), "{needed} is not in\n{text}");
            }
            assert_eq!(text.contains("rater − reference"), reference);
            assert_eq!(text.contains("C − A"), raters == 3);
            assert!(!text.contains("NaN") && !text.contains("inf"));
        }
    }

    #[test]
    fn measures_stand_in_the_catalogues_order_and_others_after() {
        let (agreement, files) = agreed(2, false);
        let text = agreement_table(&agreement, &files);
        let at = |name: &str| text.find(name).unwrap();
        assert!(at("Trunk lean (°)") < at("Shoulder flexion (°)"));
        assert!(at("Shoulder flexion (°)") < at("Arm to ear (cm)"));
        assert!(at("Arm to ear (cm)") < at("../up (kg)"));
    }

    #[test]
    fn json_has_every_number_or_its_reason() {
        let (agreement, files) = agreed(2, false);
        let json = agreement_json(&agreement, &files);
        assert_eq!(json["schema"], "tragus-agreement/1");
        assert_eq!(json["files"][1]["file"], "rater-1.csv");
        let groups = json["groups"].as_array().unwrap();
        let of = |measure: &str, side: &str| {
            groups
                .iter()
                .find(|group| group["measure"] == measure && group["side"] == side)
                .unwrap()
        };
        let both = of("shoulder_flexion", "both");
        assert_eq!(both["n"], 24);
        for bound in ["value", "low", "high"] {
            assert!(both["differences"][0]["bias"][bound].is_f64());
            assert!(both["differences"][0]["limits"]["upper"][bound].is_f64());
            assert!(both["differences"][0]["coverage"]["within_1_sigma"][bound].is_f64());
            assert!(both["icc"]["ICC(2,k)"][bound].is_f64());
            assert!(both["sem"]["consistency"][bound].is_f64());
        }
        assert!(both["sem"]["agreement"]["mdc95"].is_f64());
        let lone = of("trunk_lean", "left");
        assert_eq!(lone["n"], 1);
        assert!(lone["differences"][0]["bias"]["value"].is_f64());
        for statistic in ["icc", "sem", "mean_squares"] {
            assert!(lone[statistic]["reason"].is_string(), "{statistic}");
        }
    }

    #[test]
    fn plots_have_names_of_their_own_that_stay_in_their_folder() {
        let (agreement, files) = agreed(2, false);
        let names = |agreement: &Agreement, files: &[String]| -> Vec<String> {
            let plots = agreement_plots(agreement, files);
            plots.into_iter().map(|plot| plot.name).collect()
        };
        // One row of trunk lean makes no plot.
        assert_eq!(
            names(&agreement, &files),
            [
                "shoulder_flexion",
                "arm_to_ear",
                "arm_to_ear_percent",
                "___up_kg"
            ]
        );
        let (agreement, files) = agreed(3, true);
        assert_eq!(
            names(&agreement, &files)[..2],
            ["shoulder_flexion.b-a", "shoulder_flexion.c-a"]
        );
    }

    #[test]
    fn a_plot_says_in_words_what_it_shows() {
        let (agreement, mut files) = agreed(2, false);
        files[0] = "a <b> & c.csv".to_owned();
        let plots = agreement_plots(&agreement, &files);
        let svg = &plots[0].svg;
        assert!(svg.starts_with("<?xml"));
        assert!(svg.contains("role=\"img\""));
        assert!(svg.contains(
            "<title id=\"title\">Bland–Altman plot: Shoulder flexion (°), n = 24</title>"
        ));
        assert!(svg.contains("Difference B minus A against the mean of both, n = 24. In °"));
        assert!(svg.contains("a &lt;b&gt; &amp; c.csv"));
        assert_eq!(
            svg.matches("class=\"of-left\"").count(),
            12 + 1,
            "points and legend"
        );
        assert_eq!(svg.matches("class=\"of-right\"").count(), 12 + 1);
        let (agreement, files) = agreed(2, true);
        let svg = &agreement_plots(&agreement, &files)[0].svg;
        assert!(svg.contains("Reference A (°)") && svg.contains("Error B − A (°)"));
    }

    #[test]
    fn raters_have_letters() {
        assert_eq!([0, 25, 26].map(letter), ["A", "Z", "#27"]);
    }
}

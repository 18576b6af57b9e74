//! Agreement of raters as a [`table`] for a terminal, as [`json`] and as a [`plot`] of each
//! measure.

mod json;
mod plot;
mod table;

use crate::agree::{Agreement, Group, Quantity, Sides};

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
    match unit(quantity) {
        "" => quantity.words().to_owned(),
        unit => format!("{} ({unit})", quantity.words()),
    }
}

fn unit(quantity: &Quantity) -> &str {
    match quantity {
        Quantity::Known(measure) => measure.unit().suffix().trim_start(),
        Quantity::Other { unit, .. } => unit,
    }
}

/// "Shoulder flexion (°), left".
fn full_title(group: &Group) -> String {
    let title = title(&group.quantity);
    match group.sides {
        Sides::Without => title,
        Sides::One(side) => format!("{title}, {side}"),
        Sides::Both => format!("{title}, both sides"),
    }
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
            "Limits of agreement: bias ± 1.96 SD of the {word}s; interval of the bias ± t·SD/√n, \
             of a limit ± t·√(3·SD²/n) (Bland & Altman 1986). They hold for {word}s that are \
             about normal and don't grow with what is measured: look at the plot."
        ),
        "ICC: forms of Shrout & Fleiss 1979. Form 1: other raters for each row; form 2: raters \
         sampled from many, absolute agreement; form 3: these raters only, consistency; k: mean \
         of all raters. ICCs are given as computed, even below zero."
            .to_owned(),
        "SEM: consistency = √MSE; agreement = √(rater variance + MSE), with a negative estimate \
         of the rater variance taken as 0; within-subject = √MSW, raters taken as plain repeats; \
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

//! The answer to a person at home who photographed their own reach: plain words, nothing that
//! urges them on.

use std::fmt::Write;

use crate::body::{Side, Task, View};
use crate::compare::Z95;
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::visit::{PhotoRecord, Visit};

/// Shown with every answer.
pub const CAUTIONS: &str = "\
Stop at once, and lower your arm slowly, if you feel sharp pain, pinching, dizziness or new
swelling. Tell your therapist or the clinic. Never go beyond the limit that your surgeon or
therapist gave you, and do not push to get a better picture. This is not a diagnosis.";

/// What one arm does in the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Arm {
    pub side: Side,
    /// One or two sentences.
    pub words: String,
    /// The numbers behind them, for the therapist.
    pub numbers: String,
    pub beyond_limit: bool,
}

/// What can be said of each arm that was measured.
pub fn arms(visit: &Visit) -> Vec<Arm> {
    Side::BOTH
        .into_iter()
        .filter_map(|side| arm(visit, side))
        .collect()
}

/// The whole answer.
pub fn self_check(visit: &Visit) -> String {
    let mut text = format!("{CAUTIONS}\n\n");
    let arms = arms(visit);
    for arm in &arms {
        let _ = writeln!(text, "{}\n", arm.words);
    }
    for photo in &visit.photos {
        if arms.is_empty() {
            let _ = writeln!(text, "{}\n", nothing(photo));
        }
        if !photo.notices.is_empty() {
            text.push_str("About the photo:\n");
            for notice in &photo.notices {
                let _ = writeln!(text, "- {}", notice.text);
            }
            text.push('\n');
        }
    }
    if !arms.is_empty() {
        text.push_str("Numbers for your therapist:\n");
        for arm in &arms {
            let _ = writeln!(text, "- {}", arm.numbers);
        }
    }
    text
}

fn arm(visit: &Visit, side: Side) -> Option<Arm> {
    let value = |measure: Measure| {
        visit
            .readings_of(measure, Some(side))
            .find_map(|reading| reading.outcome.as_ref().ok().copied())
    };
    let (elevation, name) = value(Measure::ShoulderFlexion)
        .map(|e| (e, "flexion"))
        .or_else(|| value(Measure::ShoulderAbduction).map(|e| (e, "abduction")))?;
    let from_side = name == "flexion";
    let (to_ear, to_ear_cm) = if from_side {
        (value(Measure::ArmToEarRelative), value(Measure::ArmToEar))
    } else {
        (
            value(Measure::ArmToEarFrontRelative),
            value(Measure::ArmToEarFront),
        )
    };
    let limit = visit.facts.arm_limit(side);
    let beyond_limit = limit.is_some_and(|limit| elevation.value > limit);
    let mut words = format!("Your {side} arm is {}.", height_words(elevation.value));
    match (to_ear, from_side) {
        (Some(part), true) => words.push_str(&ear_words_side(part, to_ear_cm)),
        (Some(part), false) => words.push_str(&ear_words_front(part, to_ear_cm)),
        (None, _) => {}
    }
    match limit {
        Some(limit) if beyond_limit => {
            let _ = write!(
                words,
                " STOP: this is higher than your limit of {limit:.0}°. Lower your arm and do not \
                 raise it that far again until your surgeon or therapist allows it."
            );
        }
        Some(limit) if elevation.value + Z95 * elevation.sigma > limit => {
            let _ = write!(
                words,
                " This is close to your limit of {limit:.0}°: stay below it, no higher than now."
            );
        }
        _ => {}
    }
    let mut numbers = format!("{side} {name} {}", with_error(elevation, "°"));
    if let Some(cm) = to_ear_cm {
        let _ = write!(numbers, ", arm to ear {}", with_error(cm, " cm"));
    } else if let Some(part) = to_ear {
        let _ = write!(
            numbers,
            ", arm to ear {} of the upper arm",
            with_error(part, " %")
        );
    }
    Some(Arm {
        side,
        words,
        numbers,
        beyond_limit,
    })
}

fn height_words(degrees: f64) -> &'static str {
    match degrees {
        d if d < 75.0 => "raised, below shoulder height",
        d if d < 105.0 => "raised to about shoulder height",
        d if d < 150.0 => "raised above shoulder height",
        _ => "raised overhead",
    }
}

fn ear_words_side(part: Estimate, cm: Option<Estimate>) -> String {
    let error = Z95 * part.sigma;
    if part.value > error {
        format!(" It is still in front of your ear{}.", by(cm))
    } else if part.value < -error {
        format!(" It reaches behind your ear{}.", by(cm))
    } else {
        " It is beside your ear, as far as one photo can tell.".to_owned()
    }
}

fn ear_words_front(part: Estimate, cm: Option<Estimate>) -> String {
    if part.value > Z95 * part.sigma {
        format!(" It is out to the side of your ear{}.", by(cm))
    } else {
        " It is close to your ear, as far as one photo can tell.".to_owned()
    }
}

fn by(cm: Option<Estimate>) -> String {
    cm.map_or_else(String::new, |cm| {
        format!(
            ", by about {:.0} cm (give or take {:.0})",
            cm.value.abs(),
            (Z95 * cm.sigma).ceil()
        )
    })
}

fn with_error(value: Estimate, unit: &str) -> String {
    format!(
        "{:.0} ± {:.0}{unit}",
        value.value,
        (Z95 * value.sigma).ceil()
    )
    .replace('-', "−")
}

/// Why there is nothing to say, and what to do about it.
fn nothing(photo: &PhotoRecord) -> String {
    match (photo.view, photo.task) {
        (None, _) => "This photo could not be checked.".to_owned(),
        (Some(View::Oblique(_)), _) => {
            "This photo could not be checked: stand exactly sideways to the camera, or face it."
                .to_owned()
        }
        (_, Some(Task::Stand)) => {
            "No raised arm was found in this photo. If your arm is as high as it may go, that is \
             all right: say so with --task reach."
                .to_owned()
        }
        _ => "The arm could not be made out well enough in this photo. Take it again with the \
              whole arm, the shoulder and the ear in view."
            .to_owned(),
    }
}

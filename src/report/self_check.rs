//! The answer to a person at home who photographed their own reach: plain words, nothing that
//! urges them on.

use std::fmt::Write;

use serde_json::{Value, json};

use crate::body::{Side, Task, View};
use crate::compare::{AgainstLimit, Z95};
use crate::estimate::Estimate;
use crate::measure::Measure;
use crate::visit::{Notice, PhotoRecord, Visit};

/// Shown with every answer.
pub const CAUTIONS: &str = "\
Stop at once, and lower your arm slowly, if you feel sharp pain, pinching, dizziness or new \
swelling. Tell your therapist or the clinic. Never go beyond the limit that your surgeon or \
therapist gave you, and do not push to get a better picture. This is not a diagnosis.";

/// Shown wherever an arm is named: nothing in a photo tells that it was mirrored.
pub const MIRRORED: &str = "\
A selfie camera may swap left and right. If it did, or if the wrong arm is named here, do not use \
this answer.";

/// Characters a line.
const WIDTH: usize = 80;

/// What one arm does in the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Arm {
    pub side: Side,
    /// How it stands to its limit, to be said before all else; empty where there is none, or where
    /// the arm is surely below it.
    pub limit_head: String,
    /// What follows from that; empty as well.
    pub limit_words: String,
    /// How high it is and how near to the ear, in one or two sentences.
    pub words: String,
    /// The numbers behind them, for the therapist.
    pub numbers: String,
    pub limit: Option<AgainstLimit>,
    /// Flexion or abduction.
    pub elevation: (Measure, Estimate),
    /// Arm to ear, in cm where a stature is known, else in % of the upper arm.
    pub to_ear: Option<(Measure, Estimate)>,
}

impl Arm {
    /// All that is said of it in one paragraph.
    fn paragraph(&self) -> String {
        let parts = [&self.limit_head, &self.limit_words, &self.words];
        let said: Vec<&str> = parts.into_iter().map(String::as_str).collect();
        paragraph(said.join(" ").trim_start())
    }
}

/// What can be said of each arm that was measured.
pub fn arms(visit: &Visit) -> Vec<Arm> {
    Side::BOTH
        .into_iter()
        .filter_map(|side| arm(visit, side))
        .collect()
}

/// The whole answer, for a screen of 80 columns.
pub fn self_check(visit: &Visit) -> String {
    let mut text = paragraph(CAUTIONS);
    let arms = arms(visit);
    for arm in &arms {
        text.push_str(&arm.paragraph());
    }
    if !arms.is_empty() {
        text.push_str(&paragraph(MIRRORED));
    }
    for words in about_the_limit(visit, &arms) {
        text.push_str(&paragraph(&words));
    }
    for photo in &visit.photos {
        if arms.is_empty() {
            text.push_str(&paragraph(nothing(photo)));
        }
        let notices: Vec<&str> = photo.notices.iter().map(Notice::at_home).collect();
        text.push_str(&list("About the photo:", &notices));
    }
    if !arms.is_empty() {
        let numbers: Vec<&str> = arms.iter().map(|arm| arm.numbers.as_str()).collect();
        text.push_str(&list(
            "Numbers for your therapist (± is the 95 % range):",
            &numbers,
        ));
    }
    text.truncate(text.trim_end().len());
    text.push('\n');
    text
}

/// The same answer for a program; `record` is the record of the photo.
pub fn self_check_json(visit: &Visit, record: Value) -> Value {
    let arms = arms(visit);
    let limit = about_the_limit(visit, &arms);
    json!({
        "schema": "tragus-check/1",
        "cautions": CAUTIONS,
        "arms": arms.iter().map(|arm| json!({
            "side": arm.side.name(),
            "limit_head": arm.limit_head,
            "limit_words": arm.limit_words,
            "words": arm.words,
            "against_limit": arm.limit.map(AgainstLimit::id),
        })).collect::<Vec<_>>(),
        "about_the_sides": (!arms.is_empty()).then_some(MIRRORED),
        "about_the_limit": limit,
        "visit": record,
    })
}

fn arm(visit: &Visit, side: Side) -> Option<Arm> {
    let value = |measure: Measure| {
        visit
            .readings_of(measure, Some(side))
            .find_map(|reading| reading.outcome.as_ref().ok().copied())
    };
    let (elevated, elevation, name) = value(Measure::ShoulderFlexion)
        .map(|e| (Measure::ShoulderFlexion, e, "flexion"))
        .or_else(|| {
            value(Measure::ShoulderAbduction).map(|e| (Measure::ShoulderAbduction, e, "abduction"))
        })?;
    let from_side = elevated == Measure::ShoulderFlexion;
    let (relative, absolute) = if from_side {
        (Measure::ArmToEarRelative, Measure::ArmToEar)
    } else {
        (Measure::ArmToEarFrontRelative, Measure::ArmToEarFront)
    };
    let (to_ear, to_ear_cm) = (value(relative), value(absolute));
    let mut words = height_words(side, elevation);
    // A low arm is far from the ear by itself; to say so would only sound like a fault.
    if let Some(part) = to_ear.filter(|_| elevation.value >= NEAR_SHOULDER_HEIGHT) {
        words.push_str(&if from_side {
            ear_words_side(part, to_ear_cm)
        } else {
            ear_words_front(part, to_ear_cm)
        });
    }
    let set = visit.facts.arm_limit(side);
    let limit = set.map(|limit| AgainstLimit::of(elevation, limit));
    let (limit_head, limit_words) = match (set, limit) {
        (Some(set), Some(limit)) => about_its_limit(side, elevation, set, limit),
        _ => Default::default(),
    };
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
        limit_head,
        limit_words,
        words,
        numbers,
        limit,
        elevation: (elevated, elevation),
        to_ear: to_ear_cm
            .map(|cm| (absolute, cm))
            .or(to_ear.map(|part| (relative, part))),
    })
}

/// An upper arm below this hangs, as far as a photo tells, degrees.
const HANGING: f64 = 20.0;
const NEAR_SHOULDER_HEIGHT: f64 = 75.0;
const OVERHEAD: f64 = 150.0;

fn height_words(side: Side, elevation: Estimate) -> String {
    let degrees = elevation.value;
    let level = (degrees - 90.0).abs() <= Z95 * elevation.sigma;
    let how = if degrees < HANGING {
        "hangs beside your body, as far as this photo tells"
    } else if level {
        "is raised to about shoulder height"
    } else if degrees < 90.0 {
        "is raised, below shoulder height"
    } else if degrees < OVERHEAD {
        "is raised above shoulder height"
    } else {
        "is raised overhead"
    };
    format!("Your {side} arm {how}.")
}

fn ear_words_side(part: Estimate, cm: Option<Estimate>) -> String {
    let error = Z95 * part.sigma;
    if part.value > error {
        format!(" It is in front of your ear{}.", by(cm))
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

/// Head and words of an arm that has a limit.
fn about_its_limit(
    side: Side,
    elevation: Estimate,
    set: f64,
    limit: AgainstLimit,
) -> (String, String) {
    match limit {
        AgainstLimit::Above => (
            format!("Stop here. Your {side} arm was above your limit of {set}°."),
            "Don't raise it that high again before your surgeon or therapist allows it. If it \
             hurts or swells, call them."
                .to_owned(),
        ),
        AgainstLimit::MayBeAbove => (
            format!("Stop here. Your {side} arm may have been above your limit of {set}°."),
            format!(
                "One photo can't tell for sure ({}). Stay clearly lower than this.",
                with_error(elevation, "°")
            ),
        ),
        AgainstLimit::MayBeAt => (
            format!("Your {side} arm may be at your limit of {set}°."),
            format!(
                "The photo is only good to {:.0}°. Stay lower than this.",
                (Z95 * elevation.sigma).ceil()
            ),
        ),
        AgainstLimit::Below => Default::default(),
    }
}

/// What must be said when there is a limit: for which arm it was not checked, and that it was
/// applied to both where nobody said which was operated.
pub fn about_the_limit(visit: &Visit, arms: &[Arm]) -> Vec<String> {
    let Some(limit) = visit.facts.arm_limit_deg else {
        return Vec::new();
    };
    let mut words = Vec::new();
    let unchecked: Vec<&str> = Side::BOTH
        .into_iter()
        .filter(|side| visit.facts.arm_limit(*side).is_some())
        .filter(|side| arms.iter().all(|arm| arm.side != *side))
        .map(Side::name)
        .collect();
    if !unchecked.is_empty() {
        words.push(format!(
            "Your limit of {limit}° could not be checked for your {} arm, which was not measured \
             in this photo.",
            unchecked.join(" and your ")
        ));
    }
    if visit.facts.operated.is_none() {
        words.push(
            "The side of the surgery was not given, so the limit is taken to hold for both arms."
                .to_owned(),
        );
    }
    words
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
pub fn nothing(photo: &PhotoRecord) -> &'static str {
    match (photo.view, photo.task) {
        (None, _) => "This photo could not be checked.",
        (Some(View::Oblique(_)), _) => {
            "This photo could not be checked: stand exactly sideways to the camera, or face it."
        }
        (_, Some(Task::Stand)) => {
            "No raised arm was found in this photo. If this is as high as you may or can go, that \
             is all right: your therapist can have it measured all the same."
        }
        _ => {
            "The arm could not be made out well enough in this photo. If you like, and only if it \
             is comfortable, take another one later, with the whole arm, the shoulder and the ear \
             in view."
        }
    }
}

fn paragraph(words: &str) -> String {
    format!("{}\n\n", textwrap::fill(words, WIDTH))
}

fn list(heading: &str, items: &[&str]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let options = textwrap::Options::new(WIDTH)
        .initial_indent("- ")
        .subsequent_indent("  ");
    let lines: Vec<String> = items
        .iter()
        .map(|item| textwrap::fill(item, &options))
        .collect();
    format!("{heading}\n{}\n\n", lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Operated;
    use crate::visit::{Reading, VisitFacts};

    fn visit(side: Side, flexion: f64, facts: VisitFacts) -> Visit {
        let reading = |measure, value, sigma| Reading {
            measure,
            side: Some(side),
            photo: "reach.jpg".to_owned(),
            outcome: Ok(Estimate::new(value, sigma)),
        };
        Visit {
            facts,
            photos: Vec::new(),
            readings: vec![
                reading(Measure::ShoulderFlexion, flexion, 5.0),
                reading(Measure::ArmToEarRelative, 60.0, 10.0),
            ],
            notices: Vec::new(),
        }
    }

    fn limited(limit: f64, operated: Option<Operated>) -> VisitFacts {
        VisitFacts {
            arm_limit_deg: Some(limit),
            operated,
            ..VisitFacts::default()
        }
    }

    #[test]
    fn cautions_open_every_answer_and_lines_fit_the_screen() {
        let text = self_check(&visit(Side::Right, 120.0, limited(90.0, None)));
        assert!(text.starts_with("Stop at once"));
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
    }

    #[test]
    fn the_limit_is_told_in_steps_that_follow_the_error() {
        let against = |flexion: f64| {
            let visit = visit(Side::Right, flexion, limited(100.0, None));
            arms(&visit)[0].limit
        };
        assert_eq!(against(89.0), Some(AgainstLimit::Below));
        assert_eq!(against(95.0), Some(AgainstLimit::MayBeAt));
        assert_eq!(against(105.0), Some(AgainstLimit::MayBeAbove));
        assert_eq!(against(111.0), Some(AgainstLimit::Above));
    }

    #[test]
    fn stop_stands_once_and_the_limit_apart_from_the_rest() {
        for (flexion, heads, stops) in [
            (89.0, ["", ""], 0),
            (
                95.0,
                [
                    "Your right arm may be at your limit of 100°.",
                    "The photo is only good to 10°. Stay lower than this.",
                ],
                0,
            ),
            (
                105.0,
                [
                    "Stop here. Your right arm may have been above your limit of 100°.",
                    "One photo can't tell for sure (105 ± 10°). Stay clearly lower than this.",
                ],
                1,
            ),
            (
                111.0,
                [
                    "Stop here. Your right arm was above your limit of 100°.",
                    "Don't raise it that high again before your surgeon or therapist allows it. If it hurts or swells, call them.",
                ],
                1,
            ),
        ] {
            let visit = visit(Side::Right, flexion, limited(100.0, None));
            let arm = &arms(&visit)[0];
            assert_eq!([&arm.limit_head, &arm.limit_words], heads);
            assert!(arm.words.starts_with("Your right arm is raised"));
            assert!(!arm.words.contains("limit"));
            let text = self_check(&visit);
            assert_eq!(text.matches("Stop here").count(), stops, "{text}");
            assert!(
                stops == 0 || text.find("Stop here") < text.find("shoulder height"),
                "{text}"
            );
        }
    }

    #[test]
    fn a_limit_that_was_not_checked_is_said_to_be_so() {
        let facts = limited(90.0, Some(Operated::One(Side::Right)));
        let text = self_check(&visit(Side::Left, 120.0, facts));
        assert!(text.contains("could not be checked"), "{text}");
    }

    #[test]
    fn a_mirrored_picture_is_spoken_of_wherever_an_arm_is_named() {
        for facts in [
            VisitFacts::default(),
            limited(90.0, Some(Operated::One(Side::Left))),
            limited(90.0, None),
        ] {
            let visit = visit(Side::Left, 120.0, facts);
            assert_eq!(self_check(&visit).matches("selfie").count(), 1);
            let json = self_check_json(&visit, Value::Null);
            assert_eq!(json["about_the_sides"], MIRRORED);
        }
        let nobody = Visit {
            readings: Vec::new(),
            ..visit(Side::Left, 120.0, VisitFacts::default())
        };
        assert!(!self_check(&nobody).contains("selfie"));
    }

    #[test]
    fn no_answer_urges() {
        for flexion in [3.0, 50.0, 88.0, 95.0, 105.0, 120.0, 170.0] {
            for facts in [VisitFacts::default(), limited(100.0, None)] {
                let text = self_check(&visit(Side::Left, flexion, facts)).to_lowercase();
                let mut words = text.split(|letter: char| !letter.is_alphabetic());
                let urging = ["still", "yet", "further", "higher", "try", "more", "almost"];
                let found = words.find(|word| urging.contains(word));
                assert_eq!(found, None, "{text}");
            }
        }
    }

    #[test]
    fn with_both_sides_operated_the_arm_that_was_not_seen_is_told() {
        let facts = limited(90.0, Some(Operated::Both));
        let text = self_check(&visit(Side::Left, 60.0, facts));
        assert!(text.contains("for your right arm"), "{text}");
        assert!(!text.contains("for your left"), "{text}");
    }

    #[test]
    fn a_limit_is_told_as_it_was_set_and_what_may_be_above_it_says_stop() {
        let text = self_check(&visit(Side::Left, 96.0, limited(92.5, None)));
        assert!(
            text.contains("Stop here") && text.contains("92.5°"),
            "{text}"
        );
    }

    #[test]
    fn a_hanging_arm_is_not_called_raised() {
        let visit = visit(Side::Left, 3.0, VisitFacts::default());
        let arm = &arms(&visit)[0];
        assert!(arm.words.starts_with("Your left arm hangs"));
        assert!(!arm.words.contains("ear"));
    }
}

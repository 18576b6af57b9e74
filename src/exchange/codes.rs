//! What measures are called in a clinic's record: the project's own code system, and the codes of
//! LOINC and SNOMED CT that mean the same.

use crate::body::Side;
use crate::compare::Verdict;
use crate::measure::Measure;

/// The canonical name of the project's own code system: it needs nobody's register.
pub const OWN: &str = "urn:uuid:1ed674f0-270f-8c25-899c-5b75c33d7365";
pub const LOINC: &str = "http://loinc.org";
pub const SNOMED: &str = "http://snomed.info/sct";
pub const UCUM: &str = "http://unitsofmeasure.org";

/// What LOINC's licence asks for beside its codes, as published guides and terminology servers
/// have it.
pub const LOINC_NOTICE: &str = "This material contains content from LOINC (http://loinc.org). \
    LOINC is copyright © Regenstrief Institute, Inc. and the Logical Observation Identifiers Names \
    and Codes (LOINC) Committee and is available at no cost under the license at \
    http://loinc.org/license. LOINC® is a registered United States trademark of Regenstrief \
    Institute, Inc.";
pub const SNOMED_NOTICE: &str = "The body sites of shoulders are also given as codes of SNOMED CT, \
    whose use takes a licence in many countries.";

/// What the code system is called.
pub const TITLE: &str = "Measures of posture and overhead reach from photos";
pub const VISIT_REPORT: &str = "visit_report";
pub const COMPARISON_REPORT: &str = "comparison_report";
pub const STANDARD_ERROR: &str = "standard_error";
pub const MDC95: &str = "mdc95";
pub const VERDICT: &str = "verdict";
pub const PHOTO_METHOD: &str = "photo_landmarks";

/// A code of the project's own, with its meaning.
pub struct Concept {
    pub code: String,
    pub display: String,
    pub definition: String,
}

/// The code of a measure: its id, and what sets it apart where two share one.
pub fn measure_code(measure: Measure) -> String {
    let id = measure.id();
    match (measure, measure.of()) {
        (_, Some(of)) => format!("{id}.{}", of.id()),
        (Measure::ArmToEarRelative | Measure::ArmToEarFrontRelative, None) => {
            format!("{id}.percent")
        }
        (_, None) => id.to_owned(),
    }
}

/// The code of a measure's change between two visits: a change must never be read as a value.
pub fn change_code(measure: Measure) -> String {
    format!("change.{}", measure_code(measure))
}

pub fn change_display(measure: Measure) -> String {
    format!("Change: {}", measure.words())
}

/// Every concept of the code system.
pub fn concepts() -> Vec<Concept> {
    let measures = Measure::ALL.map(|measure| Concept {
        code: measure_code(measure),
        display: measure.words().to_owned(),
        definition: definition(measure).to_owned(),
    });
    let changes = Measure::ALL.map(|measure| Concept {
        code: change_code(measure),
        display: change_display(measure),
        definition: format!(
            "The last visit's value minus the first visit's, in the same unit, of: {}",
            definition(measure)
        ),
    });
    let others = OTHERS.map(|(code, display, definition)| Concept {
        code: code.to_owned(),
        display: display.to_owned(),
        definition: definition.to_owned(),
    });
    others.into_iter().chain(measures).chain(changes).collect()
}

/// What a code other than a measure's is displayed as.
pub fn display(code: &str) -> &'static str {
    OTHERS
        .iter()
        .find(|(known, _, _)| *known == code)
        .map_or("", |(_, display, _)| display)
}

/// Code, display and definition; the last four are the ids of [`Verdict`]s.
const OTHERS: [(&str, &str, &str); 10] = [
    (
        VISIT_REPORT,
        "Posture and overhead reach, measured from photos",
        "What the photos of one visit gave: measures of standing posture and of the active overhead \
         reach, each with its error or the reason why it is missing.",
    ),
    (
        COMPARISON_REPORT,
        "Posture and overhead reach, visits compared",
        "Changes from the first to the last visit, each held against its error.",
    ),
    (
        STANDARD_ERROR,
        "Standard error",
        "Standard error (one sigma) of the value beside it, in the same unit; 1.96 times it to each \
         side is the 95 % range.",
    ),
    (
        MDC95,
        "Minimal detectable change, 95 %",
        "The smallest change between the two visits that can be told from error with 95 % \
         confidence: 1.96 times the root of the sum of both squared standard errors.",
    ),
    (
        VERDICT,
        "What the change amounts to",
        "The change held against the minimal detectable change.",
    ),
    (
        PHOTO_METHOD,
        "Landmarks in photos, tilt and distance corrected",
        "Landmarks found in photos, or placed there by hand; tilt and distance of the camera and turn \
         of the body are taken into account, as far as the photo tells them.",
    ),
    (
        "improved",
        "Improved",
        "Changed beyond the minimal detectable change, to the better.",
    ),
    (
        "worse",
        "Worse",
        "Changed beyond the minimal detectable change, to the worse.",
    ),
    (
        "changed",
        "Changed",
        "Changed beyond the minimal detectable change, where neither way is the better one.",
    ),
    (
        "no_change_beyond_error",
        "No change beyond error",
        "The change is within the minimal detectable change.",
    ),
];

/// A verdict's code and display; none where nothing could be compared.
pub fn verdict(verdict: &Verdict) -> Option<(&'static str, &'static str)> {
    match verdict {
        Verdict::CannotCompare { .. } => None,
        known => Some((known.id(), display(known.id()))),
    }
}

/// What is measured between which points; it stands alone, unlike [`Measure::meaning`].
pub const fn definition(measure: Measure) -> &'static str {
    use Measure::*;
    match measure {
        CraniovertebralAngle => {
            "Angle at C7 between the forward horizontal and the line to the tragus, standing, seen \
             from the side. Smaller is head further forward."
        }
        HeadForwardOfC7 => {
            "Horizontal distance of the tragus in front of C7, standing, seen from the side."
        }
        HeadForwardOfShoulder => {
            "Horizontal distance of the tragus in front of the acromion, standing, seen from the \
             side."
        }
        SagittalShoulderAngle => {
            "Angle at the acromion between the backward horizontal and the line to C7, standing, \
             seen from the side. Smaller is shoulder further forward."
        }
        ShoulderForwardOfC7 => {
            "Horizontal distance of the acromion in front of C7, standing, seen from the side."
        }
        ThoracicAngle => {
            "180 degrees minus the angle at the apex of the back between C7 and T12, on the skin, \
             standing, seen from the side. Larger is rounder. A surface angle, not a Cobb angle."
        }
        KyphosisIndex => {
            "Height of the apex of the back behind the chord from C7 to T12, as a part of that \
             chord, on the skin, standing, seen from the side. Larger is rounder."
        }
        TrunkLean => {
            "Angle of the line from hip joint to shoulder joint against the vertical, standing, \
             seen from the side. Positive is forward."
        }
        HeadTilt => {
            "Angle of the line between both tragi against level, standing, seen from front or back. \
             Positive is the subject's left side higher."
        }
        ShoulderTilt => {
            "Angle of the line between both acromia (both shoulder joints where these are not \
             known) against level, standing, seen from front or back. Positive is the subject's \
             left side higher."
        }
        HeadShift => {
            "Horizontal distance of the middle of both tragi from the plumb line through the middle \
             of the ankles, standing, seen from front or back. Positive is to the subject's left."
        }
        TrunkShift => {
            "Horizontal distance of the middle of both shoulder joints from the plumb line through \
             the middle of the ankles, standing, seen from front or back. Positive is to the \
             subject's left."
        }
        ShoulderFlexion => {
            "Active elevation of the upper arm forward, from hanging straight down, against the \
             vertical, standing, seen from the side. It holds what the trunk adds to it."
        }
        ShoulderFlexionToTrunk => {
            "Active elevation of the upper arm forward, against the line from shoulder joint to hip \
             joint, standing, seen from the side."
        }
        ShoulderAbduction => {
            "Active elevation of the upper arm to the side, from hanging straight down, against the \
             vertical, standing, seen from front or back."
        }
        ElbowExtensionDeficit => {
            "180 degrees minus the angle between upper arm and forearm in an active overhead reach. \
             0 is a straight elbow."
        }
        ArmToEar => {
            "Distance of the upper arm's line in front of the tragus in an active overhead reach, \
             seen from the side. 0 is beside the ear, negative behind it. A measure of this program \
             without a published norm."
        }
        ArmToEarRelative => {
            "Distance of the upper arm's line in front of the tragus in an active overhead reach, \
             seen from the side, as a part of the upper arm's length. A measure of this program \
             without a published norm."
        }
        ArmToEarFront => {
            "Horizontal distance from the tragus out to the upper arm's line in an active overhead \
             reach, seen from the front. A measure of this program without a published norm."
        }
        ArmToEarFrontRelative => {
            "Horizontal distance from the tragus out to the upper arm's line in an active overhead \
             reach, seen from the front, as a part of the upper arm's length. A measure of this \
             program without a published norm."
        }
        FlexionAsymmetry => {
            "Active shoulder flexion of the operated side minus that of the other. Negative is less \
             reach on the operated side."
        }
        AbductionAsymmetry => {
            "Active shoulder abduction of the operated side minus that of the other. Negative is \
             less reach on the operated side."
        }
    }
}

/// LOINC's code for an active range of motion, and its name there. Of flexion LOINC says neither
/// against what it is measured; that to the vertical is what an inclinometer on the arm reads.
/// A sided code of abduction was not found: the body site tells the side.
pub const fn loinc(measure: Measure, side: Option<Side>) -> Option<(&'static str, &'static str)> {
    match (measure, side) {
        (Measure::ShoulderFlexion, Some(Side::Left)) => Some((
            "41295-7",
            "Shoulder - left Flexion Active Range of Motion Quantitative",
        )),
        (Measure::ShoulderFlexion, Some(Side::Right)) => Some((
            "41307-0",
            "Shoulder - right Flexion Active Range of Motion Quantitative",
        )),
        (Measure::ShoulderAbduction, Some(_)) => Some((
            "41381-5",
            "Shoulder Abduction Active Range of Motion Quantitative",
        )),
        _ => None,
    }
}

/// SNOMED CT's code for the body site of a measure of one shoulder.
pub const fn snomed(measure: Measure, side: Option<Side>) -> Option<&'static str> {
    use Measure::*;
    match (measure, side) {
        (
            ShoulderFlexion
            | ShoulderFlexionToTrunk
            | ShoulderAbduction
            | SagittalShoulderAngle
            | ShoulderForwardOfC7,
            Some(side),
        ) => Some(match side {
            Side::Left => "91775009",
            Side::Right => "91774008",
        }),
        _ => None,
    }
}

/// The body site in words: "left shoulder", "thoracic spine".
pub fn body_site(measure: Measure, side: Option<Side>) -> String {
    use Measure::*;
    let site = match measure {
        CraniovertebralAngle | HeadForwardOfC7 | HeadForwardOfShoulder => "head and neck",
        ThoracicAngle | KyphosisIndex => "thoracic spine",
        TrunkLean | TrunkShift => "trunk",
        HeadTilt | HeadShift => "head",
        ShoulderTilt | FlexionAsymmetry | AbductionAsymmetry => "both shoulders",
        SagittalShoulderAngle
        | ShoulderForwardOfC7
        | ShoulderFlexion
        | ShoulderFlexionToTrunk
        | ShoulderAbduction => "shoulder",
        ElbowExtensionDeficit => "elbow",
        ArmToEar | ArmToEarRelative | ArmToEarFront | ArmToEarFrontRelative => "arm",
    };
    match (site, side) {
        (_, None) => site.to_owned(),
        ("shoulder" | "elbow" | "arm", Some(side)) => format!("{side} {site}"),
        (_, Some(side)) => format!("{site}, seen from the {side} side"),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::exchange::identity::uuid;

    #[test]
    fn every_measure_and_verdict_has_one_code_with_a_meaning() {
        let concepts = concepts();
        let codes: BTreeSet<&str> = concepts.iter().map(|c| c.code.as_str()).collect();
        assert_eq!(codes.len(), concepts.len(), "a code stands twice");
        for measure in Measure::ALL {
            assert!(codes.contains(measure_code(measure).as_str()));
            assert!(codes.contains(change_code(measure).as_str()));
        }
        for one in [
            Verdict::Improved,
            Verdict::Worse,
            Verdict::Changed,
            Verdict::NoChangeBeyondError,
        ] {
            let (code, display) = verdict(&one).unwrap();
            assert!(codes.contains(code) && !display.is_empty());
        }
        for concept in &concepts {
            assert!(
                concept.definition.ends_with('.'),
                "{}: {}",
                concept.code,
                concept.definition
            );
        }
    }

    #[test]
    fn the_code_system_goes_by_its_uuid() {
        assert_eq!(OWN, format!("urn:uuid:{}", uuid(&["codes"])));
    }

    #[test]
    fn only_what_loinc_means_has_its_code() {
        let coded: Vec<_> = Measure::ALL
            .into_iter()
            .filter(|measure| loinc(*measure, Some(Side::Left)).is_some())
            .collect();
        assert_eq!(
            coded,
            [Measure::ShoulderFlexion, Measure::ShoulderAbduction]
        );
        assert_eq!(loinc(Measure::ShoulderFlexion, None), None);
    }
}

//! What a comparison says around its numbers, for every page that shows one.

use super::{ARM_LIMIT, ComparisonView};

pub(in crate::report) const CHANGE_COUNTS: &str = "A change counts only when it is larger than the \
    smallest change that can be told from error with 95\u{a0}% confidence (MDC95), which is its ±.";

pub(in crate::report) const SIDE_BY_SIDE: &str = "Both photos of a pair are scaled so that the body is \
    equally large, with the feet on one line. The lines lie on the photo as it was taken; the values \
    are corrected for where the camera stood, so the two may differ a little.";

pub(in crate::report) const WHISKERS: &str = "The whiskers are the 95\u{a0}% ranges; on patients they \
    have not been tested yet. Where they overlap widely, don't read a change into the line.";

/// A sentence that may begin in bold.
pub(in crate::report) struct Said {
    pub lead: Option<String>,
    pub text: String,
}

pub(in crate::report) fn before_acting(view: &ComparisonView) -> Vec<Said> {
    let plain = |text: &str| Said {
        lead: None,
        text: text.to_owned(),
    };
    let led = |lead: String, text: &str| Said {
        lead: Some(lead),
        text: text.to_owned(),
    };
    let limit = view.facts.iter().find(|(name, _)| *name == ARM_LIMIT);
    let mut said = vec![plain(
        "The limits set by the surgeon and the therapist come first.",
    )];
    let past = "Don't raise the arm past it, whatever this report shows.";
    match (&view.standing, limit) {
        (Some(standing), _) => said.push(led(
            standing.limits.clone(),
            "Don't raise the arm past any limit, whatever this report shows.",
        )),
        (None, Some((_, limit))) => said.push(led(format!("Arm limit: {limit}."), past)),
        (None, None) => {}
    }
    said.extend([
        led(
            "Stop".to_owned(),
            "a reach at sharp pain, pinching, dizziness or new swelling, and tell the clinician.",
        ),
        plain(
            "Not a diagnosis: it describes photos. Local rules and licensed practice decide; the tool \
             proposes, a clinician approves.",
        ),
    ]);
    said
}

/// A part of what is said of the method.
pub(in crate::report) struct Method {
    pub title: &'static str,
    pub text: String,
    pub points: &'static [&'static str],
}

pub(in crate::report) const METHOD_TITLE: &str = "How it was measured, and what it can't know";

pub(in crate::report) fn method(view: &ComparisonView) -> [Method; 3] {
    let by_hand = match view.manual {
        true => {
            "Some points were placed by a person; they are taken as placed, with the error given for \
             them. "
        }
        false => "",
    };
    let held = match view.compared {
        ..=1 => String::new(),
        compared => format!("; this report holds {compared}"),
    };
    [
        Method {
            title: "From photo to number",
            text: format!(
                "In each photo the program finds the person, locates joints with a general \
                 pose-estimation network, and with a second one, taught on rendered people, ear, C7, \
                 acromion and the line of the back. From the size of the body in the photo, the \
                 written stature, the lens, upright edges of the room and the turn of the body it \
                 works out how the camera stood, and reads every value after correcting for that. \
                 {by_hand}In side views only the side nearest the camera is measured."
            ),
            points: &[],
        },
        Method {
            title: "What the error (±) holds",
            text: format!(
                "How far the located points may be off, and what a photo leaves open about the \
                 camera: its distance, height, tilt and lens, the turn of the body, the stature. A \
                 change is held against the errors of both visits: MDC95 = 1.96 · √(s₁² + s₂²). Even \
                 so, about one comparison in twenty passes this limit by chance{held}."
            ),
            points: &[],
        },
        Method {
            title: "What it can't know",
            text: String::new(),
            points: &[
                "What clothes and hair hide. Bony points such as C7 and the acromion are estimated \
                 from what shows; nobody has yet held that against a palpating finger; stickers on \
                 them are joined with it, and points placed by hand go before both.",
                "Errors of the network on people like this one: its accuracy was measured on rendered \
                 people and on everyday photos, not on people after breast surgery.",
                "Whether the person stood as usual and reached as far as they could; what differs from \
                 hour to hour within one day.",
                "Arm to ear is the project's own measure. No norm is published for it: compare a \
                 person with their own earlier visits.",
                "Thoracic angle and kyphosis index describe the curve of the skin. They are not Cobb \
                 angles.",
                "Reaching up while standing includes a lean and stretch of the upper back. Don't \
                 compare these angles with those of a goniometer taken lying down.",
                "Tilts and shifts are described, not judged: healthy people are asymmetric too.",
            ],
        },
    ]
}

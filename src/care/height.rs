//! How high an arm may go, in words of the body instead of degrees.
//!
//! Heights are parts of the stature after Drillis and Contini 1966 as given by Winter (secondary).
//! The waist is taken to be where the elbow hangs (memory). Nobody at home knows whether fingers or
//! wrist were meant: a word is used only where the arm of an average body stays within the limit
//! whichever part of the hand is watched.

use serde::Deserialize;

const SHOULDER: f64 = 0.818;
const UPPER_ARM: f64 = 0.186;
const TO_WRIST: f64 = UPPER_ARM + 0.146;
const TO_FINGER_TIPS: f64 = TO_WRIST + HAND;
const HAND: f64 = 0.108;

/// What of the arm the person keeps an eye on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Watch {
    /// And the elbows: of arms that bend, they may go higher than the hands.
    Hands,
    /// And its elbow.
    Hand,
    /// Of hands that rest on the body.
    Elbows,
}

/// A height that has a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Height {
    Hips,
    Waist,
    Chest,
    Shoulders,
    Chin,
    Eyes,
    Crown,
    HandAboveCrown,
}

impl Height {
    const ALL: [Height; 8] = [
        Height::Hips,
        Height::Waist,
        Height::Chest,
        Height::Shoulders,
        Height::Chin,
        Height::Eyes,
        Height::Crown,
        Height::HandAboveCrown,
    ];

    /// Above the ground, as a part of the stature.
    const fn of_stature(self) -> f64 {
        match self {
            Height::Hips => 0.530,
            Height::Waist => 0.630,
            Height::Chest => 0.720,
            Height::Shoulders => SHOULDER,
            Height::Chin => 0.870,
            Height::Eyes => 0.936,
            Height::Crown => 1.0,
            Height::HandAboveCrown => 1.0 + HAND,
        }
    }

    /// The highest of these heights that stays within `deg` of elevation; `None` where even the
    /// lowest does not.
    pub fn within(deg: f64, watch: Watch) -> Option<Height> {
        Height::ALL
            .into_iter()
            .rev()
            .find(|height| height.deg(watch).is_some_and(|at| at <= deg))
    }

    /// The elevation at which what is watched is this high, degrees: the highest one that the words
    /// can be taken for. `None` where it never is.
    pub fn deg(self, watch: Watch) -> Option<f64> {
        let above = self.of_stature() - SHOULDER;
        let reach = match watch {
            Watch::Elbows => UPPER_ARM,
            // Below the shoulder the finger tips are this high last, above it the wrist is.
            Watch::Hands | Watch::Hand if above < 0.0 => TO_FINGER_TIPS,
            Watch::Hands | Watch::Hand => TO_WRIST,
        };
        let cosine = -above / reach;
        // Elbows hang at the waist or above the hips: no elevation brings them there.
        (cosine.abs() <= 1.0).then(|| cosine.acos().to_degrees())
    }

    /// "at chin height"
    pub const fn standing(self) -> &'static str {
        match self {
            Height::Hips => "at hip height",
            Height::Waist => "at waist height",
            Height::Chest => "at chest height",
            Height::Shoulders => "at shoulder height",
            Height::Chin => "at chin height",
            Height::Eyes => "at eye height",
            Height::Crown => "level with the top of your head",
            Height::HandAboveCrown => "one hand above the top of your head",
        }
    }

    /// For someone who lies on the back.
    pub const fn lying(self) -> &'static str {
        match self {
            Height::Hips => "over your hips",
            Height::Waist => "over your waist",
            Height::Chest => "over your chest",
            Height::Shoulders => "over your shoulders",
            Height::Chin => "over your chin",
            Height::Eyes => "over your eyes",
            Height::Crown => "over the top of your head",
            Height::HandAboveCrown => "one hand past the top of your head",
        }
    }

    /// "your chin"
    pub const fn of_body(self) -> &'static str {
        match self {
            Height::Hips => "your hips",
            Height::Waist => "your waist",
            Height::Chest => "your chest",
            Height::Shoulders => "your shoulders",
            Height::Chin => "your chin",
            Height::Eyes => "your eyes",
            Height::Crown => "the top of your head",
            Height::HandAboveCrown => "one hand above the top of your head",
        }
    }
}

impl Watch {
    /// The least limit that this tells in words, degrees: those of the elbows begin later.
    pub fn lowest_deg(self) -> f64 {
        let lowest = |watch| {
            let heights = Height::ALL.into_iter();
            heights
                .filter_map(|height| height.deg(watch))
                .fold(180.0, f64::min)
        };
        lowest(self).max(lowest(Watch::Elbows))
    }

    /// "your hands or your elbows are at shoulder height": what tells somebody to stop, each part of
    /// the arm within the limit whatever the other does.
    pub fn stop_at(self, deg: f64, place: impl Fn(Height) -> String) -> Option<String> {
        let hands = Height::within(deg, self)?;
        let elbows = Height::within(deg, Watch::Elbows)?;
        let (hand, elbow, are) = match self {
            Watch::Hands => ("your hands", "your elbows", "are"),
            Watch::Hand => ("your hand", "your elbow", "is"),
            Watch::Elbows => return Some(format!("your elbows are {}", place(elbows))),
        };
        Some(if hands == elbows {
            format!("{hand} or {elbow} {are} {}", place(hands))
        } else {
            format!(
                "{hand} {are} {}, or {elbow} {}",
                place(hands),
                place(elbows)
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shoulder_height_is_a_right_angle_and_words_never_go_above_the_limit() {
        for watch in [Watch::Hands, Watch::Hand, Watch::Elbows] {
            assert!((Height::Shoulders.deg(watch).unwrap() - 90.0).abs() < 1e-9);
            assert_eq!(Height::within(90.0, watch), Some(Height::Shoulders));
            assert_eq!(Height::within(89.0, watch), Some(Height::Chest));
            let lowest = watch.lowest_deg();
            let told = |deg| watch.stop_at(deg, |height| height.standing().to_owned());
            assert!(told(lowest).is_some() && told(lowest - 0.1).is_none());
        }
    }

    #[test]
    fn an_elbow_at_its_height_is_within_the_limit_too() {
        for limit in 59..=180 {
            let limit = f64::from(limit);
            let height = Height::within(limit, Watch::Elbows).expect("59° have a word");
            // An upper arm that is at the limit has its elbow this high, or higher.
            let elbow = SHOULDER - UPPER_ARM * limit.to_radians().cos();
            let reachable = height.of_stature() <= SHOULDER + UPPER_ARM;
            assert!(
                !reachable || elbow >= height.of_stature() - 1e-9,
                "{limit} {height:?}"
            );
        }
        let told = |deg| Watch::Hands.stop_at(deg, |height| height.standing().to_owned());
        let told = |deg: f64| told(deg).expect("a height");
        assert_eq!(
            told(90.0),
            "your hands or your elbows are at shoulder height"
        );
        // Hands at the chin are straight arms at 99°; elbows there are at 106°.
        assert_eq!(
            told(100.0),
            "your hands are at chin height, or your elbows at shoulder height"
        );
    }

    /// A reach of any part of the hand between wrist and finger tips, worked out the other way
    /// round: from the elevation to the height.
    #[test]
    fn whichever_part_of_the_hand_is_watched_the_arm_is_within_the_limit() {
        for limit in 50..=180 {
            let limit = f64::from(limit);
            let height = Height::within(limit, Watch::Hands).expect("50° have a word");
            for part in 0..=10 {
                let reach = TO_WRIST + HAND * f64::from(part) / 10.0;
                let at = |deg: f64| SHOULDER - reach * deg.to_radians().cos();
                // At the limit this part is as high as the word says, or higher: at the word's
                // height the arm has not passed the limit.
                assert!(
                    at(limit) >= height.of_stature() - 1e-9,
                    "{limit} {height:?} {reach}"
                );
            }
        }
    }

    #[test]
    fn higher_limits_have_higher_words() {
        let words: Vec<Option<Height>> = (0..=180)
            .map(|deg| Height::within(f64::from(deg), Watch::Hands))
            .collect();
        assert!(words.is_sorted());
        assert_eq!(words[45], None);
        assert_eq!(words[120], Some(Height::Eyes));
        assert_eq!(words[180], Some(Height::HandAboveCrown));
    }
}

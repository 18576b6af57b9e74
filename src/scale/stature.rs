//! Heights of landmarks as parts of stature.
//!
//! Measured on 200 adults of a parametric body who stand relaxed, slouched ones among them
//! (`scripts/people/proportions.py --people 200 --seed 401`): eye 0.919, tragus 0.904, C7 0.849,
//! shoulder 0.783, hip 0.523, knee 0.298, ankle 0.048. Drillis & Contini 1966 (as tabled by
//! Winter, Biomechanics and Motor Control of Human Movement) give 0.936 for the eye, 0.818 for the
//! shoulder, 0.530 for the hip, 0.285 for the knee and 0.039 for the ankle, of people held
//! upright; a head that is carried 15 mm lower makes a scale read 1 % too large. Each fraction
//! here leans from the first towards the second, and its error holds both.

use crate::body::{Landmark, Task};
use crate::estimate::Estimate;

/// Stature of an adult when nobody has measured it, mm: the middle of the tables for women and
/// men in British and Hong Kong surveys (155 to 174 cm), with an error that holds both ends.
pub const UNKNOWN: Estimate = Estimate::new(1640.0, 80.0);

/// Error of a stature that was written down, mm. Self-reported heights are about 25 mm too tall
/// (City University of Hong Kong anthropometry pages); a measured one is better.
pub const WRITTEN_DOWN_SIGMA: f64 = 15.0;

/// Difference of height between the two sides of one person.
const ASYMMETRY: f64 = 0.003;

/// Height of a landmark above the floor as a part of stature, and what makes it differ between
/// people.
#[derive(Clone, Copy, Debug)]
pub struct Proportion {
    pub fraction: f64,
    /// Long or short legs, which lift all that is above them.
    legs: f64,
    /// Upright or slouched bearing, which moves head, neck and shoulders together.
    bearing: f64,
    /// What is the landmark's own.
    own: f64,
}

impl Proportion {
    const fn of_thousandths(fraction: f64, legs: f64, bearing: f64, own: f64) -> Self {
        Proportion {
            fraction: fraction / 1e3,
            legs: legs / 1e3,
            bearing: bearing / 1e3,
            own: own / 1e3,
        }
    }

    pub fn sigma(&self) -> f64 {
        self.legs.hypot(self.bearing).hypot(self.own)
    }
}

/// Height of a landmark; `None` where posture or task moves it too much to tell.
pub fn height(landmark: Landmark, task: Task) -> Option<Proportion> {
    use Landmark::*;
    let [fraction, legs, bearing, own] = match landmark {
        EyeOuter(_) => [921.5, 3.0, 14.5, 2.0],
        Tragus(_) => [907.0, 3.0, 14.5, 2.0],
        C7 => [852.0, 6.0, 5.0, 9.0],
        ShoulderJoint(_) if task == Task::Stand => [795.0, 7.0, 7.0, 22.0],
        HipJoint(_) => [524.0, 10.0, 0.0, 4.0],
        Knee(_) => [294.0, 0.0, 0.0, 9.5],
        Ankle(_) => [45.5, 0.0, 0.0, 6.8],
        _ => return None,
    };
    Some(Proportion::of_thousandths(fraction, legs, bearing, own))
}

/// The covariance between the heights of two landmarks of one person.
pub fn covariance(a: (Landmark, Proportion), b: (Landmark, Proportion)) -> f64 {
    let shared = a.1.legs * b.1.legs + a.1.bearing * b.1.bearing;
    if a.0 == b.0 {
        shared + a.1.own.powi(2) + ASYMMETRY.powi(2)
    } else if a.0 == b.0.mirrored() {
        shared + a.1.own.powi(2)
    } else {
        shared
    }
}

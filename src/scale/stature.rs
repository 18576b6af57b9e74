//! Heights of joints as parts of stature.
//!
//! Fractions: Drillis & Contini 1966, as tabled by Winter (Biomechanics and Motor Control of
//! Human Movement). The tables give no spread. The errors here hold the fractions of a parametric
//! body over eight adults, forward-bent ones among them, whose joints' centres lie up to 0.012
//! (shoulder: 0.03) from the tables'.

use crate::body::{Landmark, Task};
use crate::estimate::Estimate;

/// Stature of an adult when nobody has measured it, mm: the middle of the tables for women and
/// men in British and Hong Kong surveys (155 to 174 cm), with an error that holds both ends.
pub const UNKNOWN: Estimate = Estimate::new(1640.0, 80.0);

/// Error of a stature that was written down, mm. Self-reported heights are about 25 mm too tall
/// (City University of Hong Kong anthropometry pages); a measured one is better.
pub const WRITTEN_DOWN_SIGMA: f64 = 15.0;

/// Height of a landmark above the floor as a part of stature; `None` where posture or task moves
/// it too much to tell.
pub fn height_fraction(landmark: Landmark, task: Task) -> Option<Estimate> {
    use Landmark::*;
    match landmark {
        EyeOuter(_) => Some(Estimate::new(0.936, 0.014)),
        ShoulderJoint(_) if task == Task::Stand => Some(Estimate::new(0.818, 0.03)),
        HipJoint(_) => Some(Estimate::new(0.530, 0.015)),
        Knee(_) => Some(Estimate::new(0.285, 0.015)),
        Ankle(_) => Some(Estimate::new(0.039, 0.012)),
        _ => None,
    }
}

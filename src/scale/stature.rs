//! Heights of joints as parts of stature.
//!
//! Each fraction is the middle between Drillis & Contini 1966 (as tabled by Winter, Biomechanics
//! and Motor Control of Human Movement: eye 0.936, shoulder 0.818, hip 0.530, knee 0.285, ankle
//! 0.039) and the joint centres of eight standing adults of a parametric body, forward-bent ones
//! among them (eye 0.929, shoulder 0.788, hip 0.522, knee 0.297, ankle 0.049). The error holds
//! both, and the spread between people.

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
        EyeOuter(_) => Some(Estimate::new(0.932, 0.014)),
        ShoulderJoint(_) if task == Task::Stand => Some(Estimate::new(0.803, 0.025)),
        HipJoint(_) => Some(Estimate::new(0.526, 0.012)),
        Knee(_) => Some(Estimate::new(0.291, 0.014)),
        Ankle(_) => Some(Estimate::new(0.044, 0.010)),
        _ => None,
    }
}

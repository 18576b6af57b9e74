//! The printed board: two AprilTags of known size that hang beside the person.
//!
//! [`pdf`] prints it, [`find`] finds it in a photo and says why one that is there is not used,
//! [`pose`] tells from it how the camera stood. The corners of the board come with their covariance,
//! and everything told from them with its error.
//!
//! What the errors can't hold: lens distortion, a print stretched in one direction, a board that hangs
//! against a wall or something else that keeps it from being plumb, and a curl about the upright that
//! leaves its edges straight in the photo.

mod edges;
mod find;
mod homography;
mod layout;
mod pose;
mod print;
mod solve;

pub use find::{FoundBoard, Refusal, find};
pub use homography::Homography;
pub use layout::{Corners, Face, OUTLINE};
pub use pose::{
    ASIDE, AWAY, BESIDE_THE_HIP, BoardPose, HUNG_FREELY, LENS_ABOVE, LN_FOCAL, Lean, PITCH, ROLL,
    TURN, parallax, pose,
};
pub use print::{CHECK_LINE, Ink, Paper, ink, pdf};

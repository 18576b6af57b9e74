//! The printed board: two AprilTags of known size that hang beside the person.
//!
//! [`pdf`] prints it, [`find`] finds it in a photo and says why one that is there is not used,
//! [`pose`] tells from it how the camera stood. The corners of the board come with their covariance,
//! and everything told from them with its error.

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
    TURN, focal_from_board, parallax, pose,
};
pub use print::{CHECK_LINE, Ink, Paper, ink, pdf};

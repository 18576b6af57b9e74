//! From pixels to the body's own plane: the camera, how it stands to the person, and what is
//! not known about either.
//!
//! # Conventions
//! The world has its origin on the floor below the lens: right, away from the camera, up.
//! Lengths are millimetres. The body's plane stands upright; seen from the side it is the
//! sagittal plane, from the front or back the frontal plane. Landmarks lie in planes parallel to
//! it, each at its own depth towards the camera.
//!
//! # Honest scope
//! The turn of trunk and head is seen, not worked out here; roll and pitch too, where the room has
//! uprights. A photo with a person alone tells lens height and pitch hardly better than what is
//! usual. The fit's covariance is conditional on the person standing upright on the floor that the
//! ankles touch, on the proportions of [`stature`], and on the priors for what the photo does
//! not tell. It cannot see a lens distortion, a bent picture or a person on a step.

pub mod camera;
pub mod depth;
pub mod fit;
pub mod stance;
pub mod stature;

pub use camera::Camera;
pub use fit::{CameraFit, Evidence, FRAME_DIAGONAL, Hung, Scale, fit, focal_px};
pub use stance::Stance;

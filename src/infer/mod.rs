//! The nets: which runtime runs them, what they must look like, and what their numbers mean.
//!
//! `detector`, `pose_net` and `landmark_net` only decode tensors, so they are tested without a
//! runtime; `finder` puts them to work on a photo, `close_up` the last of them on a person who was
//! found. The order of a net's points is known in `pose_net` and `landmark_net` alone.

mod close_up;
mod contract;
mod detector;
mod finder;
mod found;
mod landmark_net;
mod net;
mod pose_net;
mod runtime;

pub use close_up::{CloseUps, LandmarkLook, LandmarkSeen, Square, Squares};
pub use contract::{ContractError, Manifest, ModelSpec, PoseNetKind, nets_checksum};
pub use detector::{Detection, decode as decode_detections, merge as merge_detections};
pub use finder::{Effort, Finder, Person, Sample, Search, SeenPoint};
pub use landmark_net::{NetLandmark, NetLandmarks, Part, decode as decode_landmarks};
pub use net::InferError;
pub use pose_net::{NetPoint, NetPose, decode as decode_pose};
pub use runtime::{Runtime, RuntimeChoice, RuntimeError};

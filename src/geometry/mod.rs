//! Plane geometry: points typed by the space they live in, angles, and maps between spaces.
//!
//! A point of a photo and a point of the body's plane are different types, so that a pixel can
//! never be added to a millimetre. Degrees exist only in [`Angle`].

mod angle;
mod map;
mod point;

pub use angle::Angle;
pub use map::Map;
pub use point::{BodyPlane, Crop, Photo, Point, Vector};

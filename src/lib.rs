//! Measures standing posture and overhead reach from photos, with the error of every number.
//!
//! Bytes become an upright photo ([`photo`]), the photo a person and a pose ([`infer`]), the pose
//! landmarks ([`locate`]), the landmarks points of the body's plane ([`scale`]), the points
//! measures ([`measure`], [`survey`]), and the measures a [`visit`]. Visits are compared
//! ([`compare`]), kept ([`record`]), written up ([`report`]) and handed on in the formats of others
//! ([`exchange`]). [`pipeline`] strings the stages together for every shell; [`batch`] and [`web`] are two, the command line is the third.
//!
//! A side is always the subject's own. A missing value is a value: it says why.

// One place only: the JPEG library tells of garbled pixels by a callback alone (photo/jpeg.rs).
#![deny(unsafe_code)]

// The JPEG library stops at a garbled photo by unwinding, and a batch goes on after a photo that the program
// fails at: with `abort` one bad file would end it all.
#[cfg(panic = "abort")]
compile_error!("tragus has to be built with panic = \"unwind\"");

pub mod agree;
pub mod batch;
pub mod board;
pub mod body;
pub mod care;
pub mod case;
pub mod checksum;
pub mod compare;
pub mod episode;
pub mod estimate;
pub mod exchange;
pub mod geometry;
pub mod infer;
pub mod locate;
pub mod measure;
pub mod photo;
pub mod pipeline;
pub mod plumb;
pub mod record;
pub mod repeats;
pub mod report;
pub mod scale;
pub mod scores;
pub mod sheet;
pub mod survey;
pub mod video;
pub mod visit;
pub mod web;

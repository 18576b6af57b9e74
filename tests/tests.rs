//! The integration tests, one binary: each module is a room of its own.

#![forbid(unsafe_code)]

mod accuracy;
mod agreement;
mod aids;
mod architecture;
mod batch;
mod board;
mod cases;
mod cli;
mod close_ups;
mod common;
mod decoding;
mod demo;
mod dicom;
mod disk;
mod documents;
mod episode;
mod errors;
mod exchange;
mod faces;
mod figures;
mod foreign;
mod formats;
mod home_sheet;
mod hostile;
mod invariances;
mod perspective;
mod phone_folders;
mod photos;
mod privacy;
mod published;
mod readability;
mod real_photos;
mod rendered;
mod runtimes;
mod stickers;
mod supply;
#[path = "../scripts/accuracy/truth.rs"]
mod truth;
mod web;
mod write;

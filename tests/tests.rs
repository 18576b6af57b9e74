//! The integration tests, one binary: each module is a room of its own.

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
mod episode;
mod exchange;
mod figures;
mod formats;
mod home_sheet;
mod invariances;
mod perspective;
mod phone_folders;
mod photos;
mod published;
mod readability;
mod real_photos;
mod rendered;
mod stickers;
#[path = "../scripts/accuracy/truth.rs"]
mod truth;
mod web;

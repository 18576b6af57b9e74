//! `tragus check`: one photo of a reach, answered in plain words.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use tragus::infer::Finder;
use tragus::photo::is_video_name;
use tragus::pipeline;
use tragus::record;
use tragus::report::self_check::{arms, self_check, self_check_json};
use tragus::video::{self, VideoError};
use tragus::visit::{Notice, VisitFacts};

use super::files::Shot;
use super::person::PersonArgs;
use super::{LookArgs, Outcome, Stop, Surroundings, load, print, stop};

#[derive(Args)]
pub struct CheckArgs {
    /// A photo of the reach, taken from the side or from the front; or a short clip of it, where ffmpeg is
    /// installed
    photo: PathBuf,
    /// How to print the answer
    #[arg(long, value_enum, default_value = "text")]
    format: CheckFormat,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    look: LookArgs,
}

#[derive(Clone, Copy, ValueEnum)]
enum CheckFormat {
    Text,
    Json,
}

pub fn run(args: &CheckArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    if args.photo.is_dir() {
        return Err(stop(
            "this is a folder",
            &args.photo,
            "name one photo in it; a whole visit is for tragus measure",
        ));
    }
    if !args.photo.is_file() {
        return Err(stop(
            "no such photo",
            &args.photo,
            "name one photo of the reach; a whole visit is for tragus measure",
        ));
    }
    let finder = load(&args.look, surroundings)?;
    let mut facts = VisitFacts::default();
    args.person.settle(&mut facts);
    let (shot, taken) = shot(&finder, &args.photo, &facts)?;
    let photo = shot.input(args.person.wish(), Vec::new());
    let mut visit = pipeline::measure_visit(&finder, facts, [photo])?;
    for photo in &mut visit.photos {
        photo.notices.extend(taken.clone());
    }
    print(&match args.format {
        CheckFormat::Text => self_check(&visit),
        CheckFormat::Json => {
            let record = serde_json::from_str(&record::visit_to_json(&visit))?;
            format!("{:#}\n", self_check_json(&visit, record))
        }
    })?;
    let seen = !arms(&visit).is_empty();
    Ok(Outcome::of(seen))
}

/// The photo; of a clip the frame of the greatest reach, with words that say so.
fn shot(finder: &Finder, path: &Path, facts: &VisitFacts) -> Result<(Shot, Option<Notice>), Stop> {
    if !is_video_name(path) {
        return Ok((Shot::File(path.to_owned()), None));
    }
    let mut reach = video::greatest_reach(finder, path, facts.operated).map_err(|error| {
        let hint = error.hint();
        match error {
            VideoError::Nets(error) => error.into(),
            error => stop(error, path, hint),
        }
    })?;
    let frame = reach.frames.swap_remove(reach.greatest);
    let taken = Notice::new(format!(
        "This is the frame of the greatest reach: {}.",
        frame.name
    ));
    Ok((Shot::Frame(frame), Some(taken)))
}

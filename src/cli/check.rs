//! `tragus check`: one photo of a reach, answered in plain words.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use tragus::pipeline;
use tragus::record;
use tragus::report::self_check::{arms, self_check, self_check_json};
use tragus::visit::VisitFacts;

use super::person::PersonArgs;
use super::{LookArgs, Outcome, Stop, Surroundings, files, load, print, stop};

#[derive(Args)]
pub struct CheckArgs {
    /// A photo of the reach, taken from the side or from the front
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
    let photo = files::photo(&args.photo, args.person.wish(), Vec::new());
    let visit = pipeline::measure_visit(&finder, facts, [photo])?;
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

//! `tragus check`: one photo of a reach, answered in plain words.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use tragus::pipeline;
use tragus::record;
use tragus::report::self_check::{arms, self_check, self_check_json};
use tragus::visit::VisitFacts;

use super::measure::{arm_limit, stature};
use super::{
    LookArgs, OperatedArg, Outcome, Stop, Surroundings, TaskArg, ViewArg, files, load, print, stop,
    wish,
};

#[derive(Args)]
pub struct CheckArgs {
    /// A photo of the reach, taken from the side or from the front
    photo: PathBuf,
    /// Body height in cm; with it, distances are told in cm
    #[arg(long, value_name = "CM", value_parser = stature)]
    stature: Option<f64>,
    /// The limit that the surgeon or therapist gave for raising the arm, in degrees
    #[arg(long, value_name = "DEG", value_parser = arm_limit)]
    arm_limit: Option<f64>,
    /// The side of the surgery; the limit holds for it, and for both sides when it is not said
    #[arg(long, value_enum, ignore_case = true)]
    operated_side: Option<OperatedArg>,
    /// How the photo was taken, when it is not recognised
    #[arg(long, value_enum, ignore_case = true)]
    view: Option<ViewArg>,
    /// What the photo shows, when it is not recognised
    #[arg(long, value_enum, ignore_case = true)]
    task: Option<TaskArg>,
    /// How to print the answer
    #[arg(long, value_enum, default_value = "text")]
    format: CheckFormat,
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
    let facts = VisitFacts {
        stature_cm: args.stature,
        arm_limit_deg: args.arm_limit,
        operated: args.operated_side.map(OperatedArg::operated),
        ..VisitFacts::default()
    };
    let photo = files::photo(&args.photo, wish(args.view, args.task), Vec::new());
    let visit = pipeline::measure_visit(&finder, facts, [photo])?;
    print(&match args.format {
        CheckFormat::Text => self_check(&visit),
        CheckFormat::Json => {
            let record = serde_json::from_str(&record::visit_to_json(&visit))?;
            format!("{:#}\n", self_check_json(&visit, record))
        }
    })?;
    let seen = !arms(&visit).is_empty();
    Ok(if seen {
        Outcome::Complete
    } else {
        Outcome::Partial
    })
}

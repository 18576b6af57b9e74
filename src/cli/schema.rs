//! `tragus schema`: the JSON Schema of a file that tragus keeps or reads.

use clap::{Args, ValueEnum};

use tragus::record;

use super::{Outcome, Stop, print};

#[derive(Args)]
pub struct SchemaArgs {
    /// Which file
    #[arg(value_enum)]
    of: FileKind,
}

#[derive(Clone, Copy, ValueEnum)]
enum FileKind {
    /// The record of a visit, as tragus measure saves it
    Visit,
    /// case.json
    Case,
    /// What was asked on a day
    Screening,
    /// Landmarks placed by hand
    Landmarks,
}

pub fn run(args: &SchemaArgs) -> Result<Outcome, Stop> {
    print(&match args.of {
        FileKind::Visit => record::visit_schema(),
        FileKind::Case => record::case_schema(),
        FileKind::Screening => record::screening_schema(),
        FileKind::Landmarks => record::landmarks_schema(),
    })?;
    Ok(Outcome::Complete)
}

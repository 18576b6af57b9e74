//! `tragus board`: the printable board.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use tragus::board::{self, Paper};
use tragus::record;

use super::{Outcome, Stop, files, stop, tell};

#[derive(Args)]
pub struct BoardArgs {
    /// The paper in the printer
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,
    /// The file to write
    #[arg(long, value_name = "FILE.pdf", default_value = "board.pdf")]
    out: PathBuf,
}

#[derive(Clone, Copy, ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

impl PaperArg {
    const fn paper(self) -> Paper {
        match self {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        }
    }
}

pub fn run(args: &BoardArgs) -> Result<Outcome, Stop> {
    files::refuse_target(&args.out, &["pdf"], &[])?;
    let pdf = board::pdf(args.paper.paper());
    record::write_atomically(&args.out, &pdf)
        .map_err(|error| stop(error, &args.out, "the folder must be writable"))?;
    tell(&format!(
        "print it at 100 %, then hold a ruler to the line of {} mm; how to hang it is on its second \
         page: {}",
        board::CHECK_LINE,
        args.out.display()
    ));
    Ok(Outcome::Complete)
}

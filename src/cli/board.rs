//! `tragus board`: the printable board.

use std::path::PathBuf;

use clap::Args;

use tragus::board::{self, Paper};
use tragus::record;

use super::{Outcome, PaperArg, Stop, files, stop, tell};

#[derive(Args)]
pub struct BoardArgs {
    /// The paper in the printer
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,
    /// The file to write
    #[arg(long, value_name = "FILE.pdf", default_value = "board.pdf")]
    out: PathBuf,
}

pub fn run(args: &BoardArgs) -> Result<Outcome, Stop> {
    files::refuse_target(&args.out, &["pdf"], &[])?;
    let pdf = board::pdf(match args.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
    });
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

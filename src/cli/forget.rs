//! `tragus forget`: removing a case for good.

use std::io::BufRead;
use std::path::PathBuf;

use clap::Args;

use tragus::case::{Kind, Removal};

use super::{Outcome, Stop, Surroundings, print, serve, stop, tell};

#[derive(Args)]
pub struct ForgetArgs {
    /// The case's folder
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// The code of the case, so that nothing is asked
    #[arg(long, value_name = "CODE")]
    yes: Option<String>,
}

pub fn run(args: &ForgetArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let removal = Removal::prepare(&args.case)?;
    tell(&what_would_go(&removal));
    let typed = match &args.yes {
        Some(code) => code.clone(),
        None => asked(&removal.code)?,
    };
    if typed.trim() != removal.code.trim() {
        return Err(stop(
            match typed.trim() {
                "" => "nothing was removed: no code was typed".to_owned(),
                typed => format!("nothing was removed: {typed:?} is not the code of this case"),
            },
            removal.folder(),
            format!(
                "type the code as it stands there, or give it with --yes {}",
                removal.code
            ),
        ));
    }
    let (code, foreign) = (removal.code.clone(), removal.foreign.clone());
    let removed = removal.carry_out()?;
    print(&format!("Removed: case {code}, {removed} files.\n"))?;
    tell(&what_is_left(surroundings));
    Ok(Outcome::of(foreign.is_empty()))
}

fn asked(code: &str) -> Result<String, Stop> {
    tell(&format!(
        "\nType the code of the case, {code}, to remove all of this for good. Enter alone keeps it."
    ));
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line)?;
    Ok(line)
}

fn what_would_go(removal: &Removal) -> String {
    let mut text = format!("Case {} in {}:\n", removal.code, removal.folder().display());
    for (kind, (files, bytes)) in removal.kinds() {
        let (one, many) = match kind {
            Kind::Photo => ("photo", "photos"),
            Kind::Record => ("record or facts of a visit", "records and facts of visits"),
            Kind::Screening => ("screening", "screenings"),
            Kind::Plan => ("plan or sheet", "plans and sheets"),
            Kind::Document => ("document", "documents"),
            Kind::Other => ("file of the case itself", "files of the case itself"),
        };
        let noun = if files == 1 { one } else { many };
        text += &format!("  {files} {noun}, {} kB\n", bytes.div_ceil(1000));
    }
    for file in &removal.foreign {
        text += &format!("Not of the case, and left where it is: {file}\n");
    }
    text + "How long records of a treatment have to be kept, and who may remove them, is told by local \
            rules: settle that before."
}

fn what_is_left(surroundings: &Surroundings) -> String {
    let diary = serve::usual_diary(surroundings).map_or_else(
        || "wherever --diary put it".to_owned(),
        |path| {
            let there = if path.exists() {
                "there is one"
            } else {
                "none is there now"
            };
            format!("{} ({there}), or wherever --diary put it", path.display())
        },
    );
    format!(
        "\nWhat is left elsewhere, and not looked for:\n\
         - the originals of the photos, on this machine, in the camera or phone, and wherever it sends copies\n\
         - records, reports, tables, drawn photos and sheets that were written outside of the case, printed \
         or handed on\n\
         - the diary of tragus serve, which belongs to no case: {diary}\n\
         - what a browser downloaded from the page, and what a page that is still open holds: stop tragus serve\n\
         - beside a report or a record, a hidden file .tmp..., where its writing was cut short\n\
         - backups, and other copies of the folder\n\
         - the disk itself: a removed file can often be brought back until something else is written over \
         it, unless the disk is encrypted"
    )
}

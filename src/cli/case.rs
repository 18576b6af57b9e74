//! `tragus case`: the folder of one person's episode; and reading its visits for other commands.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use tragus::case::{self, Case};
use tragus::episode::{self, Filed};
use tragus::infer::Finder;
use tragus::locate::Wish;
use tragus::photo;
use tragus::record;
use tragus::visit::{PhotoRecord, Visit, VisitFacts};

use super::files::VisitFiles;
use super::{LookArgs, Outcome, Stop, Surroundings, files, load, print, stop, tell};

#[derive(Args)]
pub struct CaseArgs {
    #[command(subcommand)]
    command: CaseCommand,
}

#[derive(Subcommand)]
enum CaseCommand {
    /// Hold every file of a case against its checksums: what is damaged, and what is whole
    Verify(VerifyArgs),
}

#[derive(Args)]
struct VerifyArgs {
    /// The case's folder
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// Take every file as it is now for right, because you changed it on purpose
    #[arg(long)]
    accept: bool,
}

pub fn run(args: &CaseArgs) -> Result<Outcome, Stop> {
    let CaseCommand::Verify(args) = &args.command;
    verify(args)
}

fn verify(args: &VerifyArgs) -> Result<Outcome, Stop> {
    if args.accept {
        let changed = case::accept(&args.case)?;
        print(&format!(
            "{}\n",
            counted(changed, "entry", "entries", "of the list changed")
        ))?;
        return Ok(Outcome::Complete);
    }
    let found = case::verify(&args.case)?;
    let mut text = String::new();
    for damage in &found.damages {
        text += &format!("{} {}. {}\n", damage.file, damage.fault, damage.advice);
    }
    // Without a list every file would be named here.
    for file in found.unlisted.iter().filter(|_| found.has_list) {
        text += &format!("{file} is not in the list: it was not filed by tragus.\n");
    }
    for folder in &found.half_filed {
        text += &format!(
            "{folder} was left by a program that was stopped while it filed a visit. File that \
             visit again; nothing that was kept is lost.\n"
        );
    }
    if !found.has_list {
        text += "There is no list of checksums, so nothing can be said of any file.\n";
    }
    text += &counted(found.whole, "file is", "files are", "whole");
    text += &match found.damages.len() {
        0 => ".\n".to_owned(),
        damaged => format!(", {}.\n", counted(damaged, "is", "are", "damaged")),
    };
    print(&text)?;
    if !found.is_whole() {
        tell(
            "hint: where a file was changed on purpose, tragus case verify --accept takes all of \
             them as they are now",
        );
    }
    Ok(Outcome::of(found.is_whole()))
}

/// "1 file is whole", "3 files are whole".
fn counted(number: usize, one: &str, many: &str, what: &str) -> String {
    let noun = if number == 1 { one } else { many };
    format!("{number} {noun} {what}")
}

/// A visit and the folder where its photos lie.
pub struct Read {
    pub visit: Visit,
    pub folder: PathBuf,
}

/// The nets, loaded when the first photo has to be looked at.
pub struct Nets<'a> {
    look: &'a LookArgs,
    surroundings: &'a Surroundings,
    finder: Option<Finder>,
}

impl<'a> Nets<'a> {
    pub fn new(look: &'a LookArgs, surroundings: &'a Surroundings) -> Self {
        Nets {
            look,
            surroundings,
            finder: None,
        }
    }

    pub fn get(&mut self) -> Result<&Finder, Stop> {
        if self.finder.is_none() {
            self.finder = Some(load(self.look, self.surroundings)?);
        }
        Ok(self.finder.as_ref().expect("just loaded"))
    }
}

/// A visit of a case and the folder where its photos lie.
pub struct FiledIn {
    pub filed: Filed,
    pub folder: PathBuf,
}

/// All visits of a case, oldest first: as recorded, or measured where there is no record.
pub fn visits(case: &Case, nets: &mut Nets) -> Result<Vec<FiledIn>, Stop> {
    let screenings = case.screenings()?;
    let code = &case.about.code;
    let settle = |folder: &Path, facts: &mut VisitFacts| {
        episode::refuse_of_another(&files::name(folder), facts, code)?;
        let own_limit = facts.arm_limit_deg;
        episode::settle(facts, code, &screenings);
        Ok::<_, Stop>(own_limit)
    };
    let mut filed: Vec<FiledIn> = Vec::new();
    case.refuse_changed(|_| false)?;
    for folder in case.visits()? {
        let record = folder.join(case::RECORD);
        let (visit, own_limit) = if record.is_file() {
            let mut visit = recorded(&record)?.visit;
            let own_limit = settle(&folder, &mut visit.facts)?;
            (visit, own_limit)
        } else {
            let mut found = files::visit_files(std::slice::from_ref(&folder))?;
            let before = filed
                .last()
                .and_then(|last| last.filed.visit.facts.operated);
            found.facts.operated = found.facts.operated.or(before);
            let own_limit = settle(&folder, &mut found.facts)?;
            (measure(nets.get()?, found)?, own_limit)
        };
        let filed_visit = Filed { visit, own_limit };
        filed.push(FiledIn {
            filed: filed_visit,
            folder,
        });
    }
    episode::refuse_twice(filed.iter().map(|filed| &filed.filed.visit))?;
    // A folder that was named by hand need not begin with its date.
    filed.sort_by_key(|filed| filed.filed.visit.facts.date);
    Ok(filed)
}

/// Measures a folder. The operated side of the visit before holds where this one names none, as
/// without it there is no asymmetry to measure.
pub fn measured(finder: &Finder, folder: &Path, before: Option<&Visit>) -> Result<Read, Stop> {
    let mut found = files::visit_files(&[folder.to_owned()])?;
    let known = before.and_then(|visit| visit.facts.operated);
    found.facts.operated = found.facts.operated.or(known);
    let record = folder.join(case::RECORD);
    let kept = recorded(&record).ok();
    if kept.is_some_and(|kept| kept.visit.photos.iter().any(PhotoRecord::has_by_hand)) {
        tell(&format!(
            "The points that were placed by hand are not used, as the photos are looked at anew. Name {} \
             in place of its folder to use them.",
            record.display()
        ));
    }
    Ok(Read {
        visit: measure(finder, found)?,
        folder: folder.to_owned(),
    })
}

fn measure(finder: &Finder, found: VisitFiles) -> Result<Visit, Stop> {
    let (shots, notices) = files::shots(finder, &found)?;
    files::measure(finder, found.facts, (&shots, notices), |_, shot| {
        shot.input(Wish::default(), Vec::new())
    })
}

pub fn recorded(path: &Path) -> Result<Read, Stop> {
    let hint = "name a folder of photos, or a record made by tragus measure --save";
    if photo::is_video_name(path) {
        return Err(stop(
            "a clip is not compared by itself",
            path,
            "put it into a folder and name that, or file it with tragus measure --case",
        ));
    }
    let bytes = std::fs::read(path).map_err(|error| stop(error, path, hint))?;
    let text =
        String::from_utf8(bytes).map_err(|_| stop("this is no record of a visit", path, hint))?;
    let visit = record::visit_from_json(&text).map_err(|error| stop(error, path, hint))?;
    Ok(Read {
        visit,
        // A record made in a visit's folder finds its photos beside it.
        folder: path.parent().map(Path::to_owned).unwrap_or_default(),
    })
}

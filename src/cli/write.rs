//! `tragus write`: the documents of a case, to be handed on or filed.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use tragus::care::catalogue::Catalogue;
use tragus::care::{Rules, is_initials};
use tragus::case::{Case, DOCUMENTS, slug};
use tragus::episode::Filed;
use tragus::episode::documents::{Address, Dossier, NotWritten, Pictures, Titled};
use tragus::record;
use tragus::visit::Visit;

use super::case::{self, Nets};
use super::{LookArgs, Outcome, PaperArg, Stop, Surroundings, files, plan, print, stop, tell};

const PROGRAM: &str = concat!("tragus ", env!("CARGO_PKG_VERSION"));

#[derive(Args)]
pub struct WriteArgs {
    /// The case's folder
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// What to write; without any, all that can be written
    #[arg(value_enum, value_name = "DOCUMENT")]
    documents: Vec<DocumentArg>,
    /// The folder to write into, instead of documents/ in the case
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// The paper in the printer
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,
    /// The kind of file; may be given several times
    #[arg(long, value_enum, default_value = "pdf")]
    format: Vec<Format>,
    /// The visit that the note is of, by its label or its day, instead of the last one
    #[arg(long, value_name = "LABEL|DATE")]
    visit: Option<String>,
    /// Leave faces uncovered in photos
    #[arg(long)]
    show_faces: bool,
    /// The day that the documents are of, instead of today: nothing later goes in
    #[arg(long, value_name = "DATE")]
    date: Option<Date>,
    /// To whom the letter goes
    #[arg(long, value_name = "TEXT")]
    to: Option<String>,
    /// From whom the letter comes
    #[arg(long, value_name = "TEXT")]
    from: Option<String>,
    /// Initials of the clinician who has read the letter, to be signed by hand; without, it says that it
    /// is a draft
    #[arg(long, value_name = "INITIALS")]
    read_by: Option<String>,
    /// The clinic's own rules (TOML), by which the plan was made
    #[arg(long, value_name = "FILE")]
    rules: Option<PathBuf>,
    /// The clinic's own exercises (TOML), by which the plan was made
    #[arg(long, value_name = "FILE")]
    exercises: Option<PathBuf>,
    #[command(flatten)]
    look: LookArgs,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum DocumentArg {
    /// What changed from the first visit to the last, with photos
    Comparison,
    /// Where each reach stands over all visits
    Course,
    /// One visit for the clinician's file
    VisitNote,
    /// One page to whoever referred the person
    Letter,
    /// The exercises that were approved; while a hold stands, that there are none
    HomeSheet,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, ValueEnum)]
enum Format {
    Pdf,
    Html,
}

impl Format {
    const fn ending(self) -> &'static str {
        match self {
            Format::Pdf => "pdf",
            Format::Html => "html",
        }
    }
}

/// Endings of what may be meant by a file to write.
const LIKE_A_FILE: [&str; 5] = ["pdf", "html", "docx", "doc", "odt"];

pub fn run(args: &WriteArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let today = (surroundings.now)().date();
    let day = args.date.unwrap_or(today);
    if day > today {
        return Err(Stop {
            error: anyhow::anyhow!("{day} is still to come"),
            hint: Some("a document tells what is known on its day".to_owned()),
        });
    }
    if let Some(initials) = args.read_by.as_ref().filter(|text| !is_initials(text)) {
        return Err(Stop {
            error: anyhow::anyhow!("{initials:?} are no initials"),
            hint: Some("one to eight characters, a letter among them, such as AB".to_owned()),
        });
    }
    let case = Case::open(&args.case)?;
    if let Some(folder) = &args.out {
        let ending = folder.extension().unwrap_or_default();
        if !folder.is_dir() && LIKE_A_FILE.iter().any(|like| ending == *like) {
            return Err(stop(
                "documents are written into a folder, and this name ends like a file's",
                folder,
                "name a folder; --format says which kind of file",
            ));
        }
        files::make_folder(folder, "name another folder to write into")?;
    }
    let own_rules = args.rules.as_deref().map(plan::own_rules).transpose()?;
    let own_exercises = args
        .exercises
        .as_deref()
        .map(plan::own_exercises)
        .transpose()?;
    let rules = own_rules.as_ref().unwrap_or_else(|| Rules::built_in());
    let catalogue = own_exercises
        .as_ref()
        .unwrap_or_else(|| Catalogue::built_in());

    let mut nets = Nets::new(&args.look, surroundings);
    let (filed, folders): (Vec<Filed>, Vec<PathBuf>) = case::visits(&case, &mut nets)?
        .into_iter()
        .filter(|visit| is_of_before(&visit.filed.visit, day))
        .map(|visit| (visit.filed, visit.folder))
        .unzip();
    let index = wished(args.visit.as_deref(), &filed, &args.case)?;
    let picture = |visit: usize, photo: usize| {
        let record = &filed[visit].visit.photos[photo];
        files::picture(&folders[visit].join(&record.file), record)
    };
    let pictures = Pictures {
        of: &picture,
        show_faces: args.show_faces,
    };
    let address = Address {
        to: args.to.as_deref(),
        from: args.from.as_deref(),
        read_by: args.read_by.as_deref().map(str::trim),
        today,
    };
    let dossier = Dossier::of(&case, rules, catalogue, &filed, day, PROGRAM)?;

    let all = DocumentArg::value_variants();
    let wished = match args.documents.is_empty() {
        true => all,
        false => &args.documents[..],
    };
    let mut everything = true;
    for document in wished {
        let built = match document {
            DocumentArg::Comparison => dossier.comparison(&pictures),
            DocumentArg::Course => dossier.course(),
            DocumentArg::VisitNote => dossier.visit_note(index, &pictures),
            DocumentArg::Letter => dossier.letter(address),
            DocumentArg::HomeSheet if day != today => {
                everything = false;
                tell(
                    "home-sheet not written: it is handed out today, by what is known today; leave out \
                     --date",
                );
                continue;
            }
            DocumentArg::HomeSheet => dossier.home_sheet(),
        };
        match built {
            Ok(built) => write(args, &case, &built)?,
            // A case that can't be read is no reason that belongs to one document.
            Err(NotWritten::Case(error)) => return Err(error.into()),
            Err(why) => {
                everything = false;
                let hint = match why {
                    NotWritten::Screening { .. } | NotWritten::OtherRules(_) => {
                        "; --rules names those that it was made by"
                    }
                    // Other exercises may be the cause, too.
                    NotWritten::OtherPlan(_) => ", or name its --exercises",
                    NotWritten::NoVisit(_) | NotWritten::OneVisit(..) => {
                        "; tragus measure --case files a visit, --date names another day"
                    }
                    NotWritten::NoPlan(_) => " with tragus plan",
                    NotWritten::NotApproved(_) => {
                        "; tragus plan --approve does that, with the initials of the clinician who has \
                         read it"
                    }
                    _ => "",
                };
                tell(&format!("{} not written: {why}{hint}", name(*document)));
            }
        }
    }
    Ok(Outcome::of(everything))
}

/// One without a date may be later than it looks.
fn is_of_before(visit: &Visit, day: Date) -> bool {
    if visit.facts.date.is_none() {
        tell(&format!(
            "{} has no date, so the documents leave it out.",
            visit.title(1)
        ));
    }
    visit.facts.date.is_some_and(|of| of <= day)
}

fn name(document: DocumentArg) -> String {
    let value = document.to_possible_value().expect("none is hidden");
    value.get_name().to_owned()
}

/// The visit that was asked for, or the last one.
fn wished(visit: Option<&str>, filed: &[Filed], case: &Path) -> Result<usize, Stop> {
    let Some(wished) = visit else {
        return Ok(filed.len().saturating_sub(1));
    };
    let is_it = |filed: &Filed| {
        let facts = &filed.visit.facts;
        let day = facts.date.map(|date| date.to_string());
        let label = facts.label.as_ref();
        day.as_deref() == Some(wished)
            || label.is_some_and(|label| label.eq_ignore_ascii_case(wished))
    };
    filed.iter().rposition(is_it).ok_or_else(|| {
        let known: Vec<String> = (1..)
            .zip(filed)
            .map(|(number, filed)| filed.visit.title(number))
            .collect();
        stop(
            format!("no visit is called {wished:?} or is of that day"),
            case,
            match known.is_empty() {
                true => "file one with tragus measure --case".to_owned(),
                false => format!("there are: {}", known.join("; ")),
            },
        )
    })
}

fn write(args: &WriteArgs, case: &Case, titled: &Titled) -> Result<(), Stop> {
    let mut formats = args.format.clone();
    formats.sort();
    formats.dedup();
    for format in formats {
        let bytes = match format {
            Format::Html => titled.html().into_bytes(),
            Format::Pdf => titled.pdf(args.paper.of_document())?,
        };
        let file = format!("{}.{}", titled.name, format.ending());
        let path = match &args.out {
            Some(folder) if !files::same_file(folder, &case.folder().join(DOCUMENTS)) => {
                // The sheets of several people may lie there.
                let path = folder.join(format!("{}-{file}", slug(&case.about.code)));
                if titled.is_read {
                    refuse_other(&path, &bytes)?;
                }
                record::write_atomically(&path, &bytes)
                    .map_err(|error| stop(error, &path, "the folder must be writable"))?;
                path
            }
            _ if titled.is_read => {
                let mut writing = case.write()?;
                writing.keep_read_document(&titled.name, format.ending(), &bytes)?
            }
            _ => case.write()?.keep_document(&file, &bytes)?,
        };
        print(&format!("{}\n", path.display()))?;
    }
    Ok(())
}

/// Outside of a case nothing is set aside, and what a clinician has read is not written over.
fn refuse_other(path: &Path, bytes: &[u8]) -> Result<(), Stop> {
    match std::fs::read(path) {
        Ok(there) if there == bytes => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Ok(_) => Err(stop(
            "a letter that was read lies there, and says something else",
            path,
            "name another folder, or move it away",
        )),
        Err(error) => Err(stop(error, path, "name another folder")),
    }
}

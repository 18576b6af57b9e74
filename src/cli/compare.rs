//! `tragus compare`: visits in, what changed beyond error out.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use tragus::care::Rules;
use tragus::case::Case;
use tragus::compare::{Comparison, Verdict, compare, compare_carrying};
use tragus::episode::{self, Filed};
use tragus::exchange::fhir;
use tragus::photo;
use tragus::record;
use tragus::report::document;
use tragus::report::{self, StandingView};
use tragus::visit::Visit;

use super::case::{self, Nets, Read};
use super::{LookArgs, Outcome, PaperArg, Stop, Surroundings, files, plan, print, stop, tell};

#[derive(Args)]
pub struct CompareArgs {
    /// Two or more visits, oldest first: folders of photos, or saved records; or one case with all
    /// its visits
    #[arg(required = true, value_name = "VISIT")]
    visits: Vec<PathBuf>,
    /// Write the report here, everything in one file: a page (.html) or a document to print and to file
    /// (.pdf)
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// The paper of a report that is a PDF
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperArg,
    /// Leave faces uncovered in the report
    #[arg(long)]
    show_faces: bool,
    /// The clinic's own rules (TOML), by which a case was screened
    #[arg(long, value_name = "FILE")]
    rules: Option<PathBuf>,
    /// How to print the comparison
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    look: LookArgs,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
    /// HL7 FHIR R4: a Bundle for a clinic's record
    Fhir,
}

pub fn run(args: &CompareArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    // Everything that can be refused is refused before the nets are loaded.
    for path in &args.visits {
        refuse_no_visit(path)?;
    }
    if let Some(path) = &args.report {
        files::refuse_target(path, &["html", "htm", "pdf"], &args.visits)?;
    }
    let mut nets = Nets::new(&args.look, surroundings);
    let today = (surroundings.now)().date();
    let own_rules = args.rules.as_deref().map(plan::own_rules).transpose()?;
    let rules = own_rules.as_ref().unwrap_or_else(|| Rules::built_in());
    let chosen = read(&args.visits, &mut nets, rules, today)?;
    let (mut visits, folders): (Vec<Visit>, Vec<PathBuf>) = chosen
        .visits
        .into_iter()
        .map(|read| (read.visit, read.folder))
        .unzip();
    let comparison = match chosen.is_screened {
        true => compare(&visits),
        false => compare_carrying(&mut visits),
    };
    let standing = chosen.standing.as_ref();
    if let Some(hold) = standing.and_then(|standing| standing.holds.first()) {
        tell(&format!("First: {hold}"));
    }
    if let Some(path) = &args.report {
        let pictures = |visit: usize, photo: usize| {
            let record = &visits[visit].photos[photo];
            files::picture(&folders[visit].join(&record.file), record)
        };
        let input = report::ReportInput {
            visits: &visits,
            comparison: &comparison,
            pictures: &pictures,
            show_faces: args.show_faces,
            standing,
            program: concat!("tragus ", env!("CARGO_PKG_VERSION")),
        };
        let report = match path.extension() {
            Some(ending) if ending.eq_ignore_ascii_case("pdf") => document::pdf(
                &document::comparison(&input),
                args.paper.of_document(),
                today,
            )?,
            _ => report::comparison_html(&input).into_bytes(),
        };
        record::write_atomically(path, &report)
            .map_err(|error| stop(error, path, "the folder must exist and be writable"))?;
        tell(&format!("report written: {}", path.display()));
    }
    print(&match args.format {
        Format::Table => report::comparison_table(&visits, &comparison, standing),
        Format::Json => format!("{:#}\n", report::comparison_json(&visits, &comparison)),
        Format::Fhir => bundle(&visits, &comparison)?,
    })?;
    let complete = comparison
        .rows
        .iter()
        .all(|row| !matches!(row.verdict, Verdict::CannotCompare { .. }));
    Ok(Outcome::of(complete))
}

fn bundle(visits: &[Visit], comparison: &Comparison) -> Result<String, Stop> {
    let bundle = fhir::comparison_bundle(visits, comparison).map_err(|error| Stop {
        error: error.into(),
        hint: Some("a Bundle is one person's: name the visits of one case".to_owned()),
    })?;
    Ok(format!("{bundle:#}\n"))
}

/// What is compared.
struct Chosen {
    visits: Vec<Read>,
    /// Whether screenings say which limit held on each day, so that none is carried on.
    is_screened: bool,
    /// What the last screening of a case comes to today.
    standing: Option<StandingView>,
}

/// One case with all its visits, or the visits that were named.
fn read(paths: &[PathBuf], nets: &mut Nets, rules: &Rules, today: Date) -> Result<Chosen, Stop> {
    if let [path] = paths {
        if !Case::is_one(path) {
            return Err(stop(
                "one visit alone can't be compared",
                path,
                "name two visits or more, oldest first, or a case",
            ));
        }
        let case = Case::open(path)?;
        let (filed, folders): (Vec<Filed>, Vec<PathBuf>) = case::visits(&case, nets)?
            .into_iter()
            .map(|visit| (visit.filed, visit.folder))
            .unzip();
        if filed.len() < 2 {
            return Err(stop(
                format!(
                    "a comparison takes two visits, and of this case so many are filed: {}",
                    filed.len()
                ),
                path,
                "file one with tragus measure --case",
            ));
        }
        let standing = episode::standing_on(&case, rules, &filed, today)?;
        let visits = filed.into_iter().zip(folders);
        return Ok(Chosen {
            visits: visits
                .map(|(filed, folder)| Read {
                    visit: filed.visit,
                    folder,
                })
                .collect(),
            is_screened: !case.screenings()?.is_empty(),
            standing,
        });
    }
    if let Some(case) = paths.iter().find(|path| Case::is_one(path)) {
        return Err(stop(
            "this is a whole case, and no visit",
            case,
            "compare one case by itself, or name folders in its visits",
        ));
    }
    let mut read: Vec<Read> = Vec::new();
    for path in paths {
        read.push(if path.is_dir() {
            case::measured(nets.get()?, path, read.last().map(|read| &read.visit))?
        } else {
            case::recorded(path)?
        });
    }
    Ok(Chosen {
        visits: read,
        is_screened: false,
        standing: episode::standing_without_case(paths.iter().map(PathBuf::as_path)),
    })
}

fn refuse_no_visit(path: &Path) -> Result<(), Stop> {
    let hint = "name each visit's folder of photos, or a record made by tragus measure --save";
    if !path.exists() {
        return Err(stop("no such visit", path, hint));
    }
    if photo::is_photo_name(path) {
        return Err(stop("this is a photo, not a visit", path, hint));
    }
    if path.file_name().is_some_and(|name| name == files::FACTS) {
        return Err(stop(
            "these are the facts of a visit, not the visit",
            path,
            hint,
        ));
    }
    Ok(())
}

//! `tragus compare`: visits in, what changed beyond error out.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use tragus::compare::{Verdict, compare_carrying};
use tragus::infer::Finder;
use tragus::locate::Wish;
use tragus::photo;
use tragus::pipeline;
use tragus::record;
use tragus::report;
use tragus::visit::Visit;

use super::{LookArgs, Outcome, Stop, Surroundings, files, load, print, stop, tell};

#[derive(Args)]
pub struct CompareArgs {
    /// Two or more visits, oldest first: folders of photos, or saved records
    #[arg(required = true, num_args = 2.., value_name = "VISIT")]
    visits: Vec<PathBuf>,
    /// Write the report here: one HTML file with everything in it
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Leave faces uncovered in the report
    #[arg(long)]
    show_faces: bool,
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
}

/// A visit and the folder where its photos lie.
struct Read {
    visit: Visit,
    folder: PathBuf,
}

pub fn run(args: &CompareArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    // Everything that can be refused is refused before the nets are loaded.
    for path in &args.visits {
        refuse_no_visit(path)?;
    }
    if let Some(path) = &args.report {
        files::refuse_target(path, &["html", "htm"], &args.visits)?;
    }
    let mut finder = None;
    let mut visits = Vec::new();
    let mut folders = Vec::new();
    for path in &args.visits {
        let read = if path.is_dir() {
            if finder.is_none() {
                finder = Some(load(&args.look, surroundings)?);
            }
            measured(finder.as_ref().expect("just loaded"), path, visits.last())?
        } else {
            recorded(path)?
        };
        visits.push(read.visit);
        folders.push(read.folder);
    }
    let comparison = compare_carrying(&mut visits);
    if let Some(path) = &args.report {
        let pictures = |visit: usize, photo: usize| {
            let record = &visits[visit].photos[photo];
            files::picture(&folders[visit].join(&record.file), record)
        };
        let html = report::comparison_html(&report::ReportInput {
            visits: &visits,
            comparison: &comparison,
            pictures: &pictures,
            show_faces: args.show_faces,
            program: concat!("tragus ", env!("CARGO_PKG_VERSION")),
        });
        record::write_atomically(path, html.as_bytes())
            .map_err(|error| stop(error, path, "the folder must exist and be writable"))?;
        tell(&format!("report written: {}", path.display()));
    }
    print(&match args.format {
        Format::Table => report::comparison_table(&visits, &comparison),
        Format::Json => format!("{:#}\n", report::comparison_json(&visits, &comparison)),
    })?;
    let complete = comparison
        .rows
        .iter()
        .all(|row| !matches!(row.verdict, Verdict::CannotCompare { .. }));
    Ok(Outcome::of(complete))
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

/// Measures a folder. The operated side of the visit before holds where this one names none, as
/// without it there is no asymmetry to measure.
fn measured(finder: &Finder, folder: &Path, before: Option<&Visit>) -> Result<Read, Stop> {
    let mut found = files::visit_files(&[folder.to_owned()])?;
    let known = before.and_then(|visit| visit.facts.operated);
    found.facts.operated = found.facts.operated.or(known);
    let photos = found
        .photos
        .iter()
        .map(|path| files::photo(path, Wish::default(), Vec::new()));
    let visit = pipeline::measure_visit(finder, found.facts, photos)?;
    Ok(Read {
        visit,
        folder: folder.to_owned(),
    })
}

fn recorded(path: &Path) -> Result<Read, Stop> {
    let hint = "name a folder of photos, or a record made by tragus measure --save";
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, hint))?;
    let visit = record::visit_from_json(&text).map_err(|error| stop(error, path, hint))?;
    Ok(Read {
        visit,
        // A record made in a visit's folder finds its photos beside it.
        folder: path.parent().map(Path::to_owned).unwrap_or_default(),
    })
}

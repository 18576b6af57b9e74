//! `tragus agree`: tables of two or more raters in, their agreement out.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use tragus::agree::{AgreeError, Agreement, agreement};
use tragus::record;
use tragus::report;
use tragus::scores::{self, Score};

use super::{Outcome, Stop, files, print, stop};

const EXAMPLES: &str = "\
Examples:
  Two raters, with plots:
    tragus agree rater-1.csv rater-2.csv --plots plots
  Measured values against a reference, for a program:
    tragus agree goniometer.csv scores.parquet --reference --format json";

#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct AgreeArgs {
    /// Tables of two or more raters, cameras or days, ending in .csv, .jsonl or .parquet, as tragus
    /// batch writes them, or with just the columns photo, measure, side and value. Rows are the
    /// same where photo, measure, side and unit are
    #[arg(required = true, num_args = 2.., value_name = "FILE")]
    tables: Vec<PathBuf>,
    /// The first table is the reference: the others' errors against it
    #[arg(long)]
    reference: bool,
    /// How to print the agreement
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    /// Also write a Bland–Altman plot (SVG) of each measure into this folder
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

pub fn run(args: &AgreeArgs) -> Result<Outcome, Stop> {
    refuse_twice(&args.tables)?;
    let tables: Vec<Vec<Score>> = args
        .tables
        .iter()
        .map(|path| {
            scores::read(path).map_err(|error| {
                stop(
                    error,
                    path,
                    "name a table with the columns photo, measure, side and value",
                )
            })
        })
        .collect::<Result<_, Stop>>()?;
    let raters: Vec<&[Score]> = tables.iter().map(Vec::as_slice).collect();
    let agreement =
        agreement(&raters, args.reference).map_err(|error| explained(&error, &args.tables))?;
    let names = names(&args.tables);
    if let Some(folder) = &args.plots {
        plot(&agreement, &names, folder)?;
    }
    print(&match args.format {
        Format::Table => report::agreement_table(&agreement, &names),
        Format::Json => format!("{:#}\n", report::agreement_json(&agreement, &names)),
    })?;
    Ok(Outcome::of(agreement.is_complete()))
}

/// A table would agree with itself perfectly.
fn refuse_twice(tables: &[PathBuf]) -> Result<(), Stop> {
    for (index, path) in tables.iter().enumerate() {
        if tables[..index]
            .iter()
            .any(|other| files::same_file(other, path))
        {
            return Err(stop(
                "this table is named twice",
                path,
                "name a table of each rater, camera or day",
            ));
        }
    }
    Ok(())
}

/// File names, with their folders where they would be the same without.
fn names(tables: &[PathBuf]) -> Vec<String> {
    let short: Vec<String> = tables.iter().map(|path| files::name(path)).collect();
    let unique = |name: &String| short.iter().filter(|other| *other == name).count() == 1;
    if short.iter().all(unique) {
        return short;
    }
    tables
        .iter()
        .map(|path| path.display().to_string())
        .collect()
}

fn explained(error: &AgreeError, tables: &[PathBuf]) -> Stop {
    match error {
        AgreeError::Duplicate { rater, .. } => stop(
            error,
            &tables[*rater],
            "photo, measure, side and unit together must differ from row to row; where photos of \
             several people have one name, put their folder before it",
        ),
        AgreeError::Side { rater, .. } => stop(
            error,
            &tables[*rater],
            "a side is the subject's own; leave it empty for measures that have none",
        ),
        AgreeError::NothingInCommon { examples } => {
            let firsts = examples.iter().zip(tables).map(|(example, path)| {
                let row = match example {
                    Some(key) => key.to_string(),
                    None => "no row of a measure".to_owned(),
                };
                format!("\n  {row}: {}", path.display())
            });
            Stop {
                error: anyhow::anyhow!("{error}"),
                hint: Some(format!(
                    "rows are told by photo, measure, side and unit, and photos' names must be \
                     spelt the same, with the same folders; the first rows are{}",
                    firsts.collect::<String>()
                )),
            }
        }
    }
}

fn plot(agreement: &Agreement, names: &[String], folder: &Path) -> Result<(), Stop> {
    files::make_folder(folder, "name a folder for the plots")?;
    for plot in report::agreement_plots(agreement, names) {
        let target = folder.join(format!("{}.svg", plot.name));
        record::write_atomically(&target, plot.svg.as_bytes())
            .map_err(|error| stop(error, &target, "the folder must be writable"))?;
    }
    Ok(())
}

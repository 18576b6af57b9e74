//! `tragus licences`: what the program is made of, and under which licences.
//!
//! Both files are written by `scripts/supply`; a test holds the list to `Cargo.lock`.

use clap::Args;

use super::{Outcome, Stop, print};

/// Kind, name, version, licence and source, parted by tabs.
const LIST: &str = include_str!("list.tsv");
const TEXTS: &str = include_str!("texts.txt");

#[derive(Args)]
pub struct LicencesArgs {
    /// Print the texts of the licences, each once, with who goes by it
    #[arg(long)]
    texts: bool,
}

pub fn run(args: &LicencesArgs) -> Result<Outcome, Stop> {
    match args.texts {
        true => print(TEXTS)?,
        false => print(&table())?,
    }
    Ok(Outcome::Complete)
}

fn table() -> String {
    let rows: Vec<Vec<&str>> = LIST
        .lines()
        .map(|line| line.split('\t').collect())
        .collect();
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or_default()
    };
    let widths: Vec<usize> = (0..4).map(width).collect();
    let line = |row: &Vec<&str>| {
        let cells = row.iter().enumerate().map(|(column, cell)| {
            let width = widths.get(column).copied().unwrap_or_default();
            format!("{cell:width$}")
        });
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

//! CSV as of RFC 4180.

use std::io::{Read, Write};

use ::csv::{Terminator, WriterBuilder};
use serde_json::{Value, json};

use super::{COLUMNS, Field, NEEDED, Score, ScoresError};
use crate::sheet::Sheet;

pub struct Writer<W: Write> {
    rows: ::csv::Writer<W>,
}

impl<W: Write> Writer<W> {
    pub fn new(to: W) -> Result<Self, ScoresError> {
        let mut rows = WriterBuilder::new()
            .terminator(Terminator::CRLF)
            .from_writer(to);
        rows.write_record(COLUMNS.iter().map(|column| column.name))
            .map_err(trouble)?;
        Ok(Writer { rows })
    }

    pub fn write(&mut self, score: &Score) -> Result<(), ScoresError> {
        let fields = COLUMNS.iter().map(|column| match column.field {
            Field::Text(of) => of(score).to_owned(),
            Field::Number(of) => of(score).map_or(String::new(), |value| format!("{value:.4}")),
        });
        self.rows.write_record(fields).map_err(trouble)
    }

    pub fn finish(self) -> Result<W, ScoresError> {
        self.rows
            .into_inner()
            .map_err(|error| error.into_error().into())
    }
}

pub fn read(mut from: impl Read) -> Result<Vec<Score>, ScoresError> {
    let mut bytes = Vec::new();
    from.read_to_end(&mut bytes)?;
    let sheet = Sheet::read(&bytes)?;
    for needed in NEEDED {
        if !sheet.has(needed) {
            return Err(ScoresError::NoColumn(needed));
        }
    }
    sheet
        .rows()
        .iter()
        .map(|row| {
            let text = |name: &str| sheet.text(row, name).to_owned();
            Ok(Score {
                photo: text("photo"),
                person: text("person"),
                view: text("view"),
                task: text("task"),
                measure: text("measure"),
                side: text("side"),
                value: sheet.number(row, "value")?,
                sigma: sheet.number(row, "sigma")?,
                unit: text("unit"),
                status: text("status"),
                reason: text("reason"),
            })
        })
        .collect()
}

fn trouble(error: ::csv::Error) -> ScoresError {
    std::io::Error::from(error).into()
}

/// "Metadata Vocabulary for Tabular Data", W3C Recommendation of 17 December 2015.
pub fn description(table: &str) -> String {
    let columns: Vec<Value> = COLUMNS
        .iter()
        .map(|column| {
            json!({
                "name": column.name,
                "titles": column.name,
                "dc:description": column.description,
                "datatype": match column.field {
                    Field::Text(_) => "string",
                    Field::Number(_) => "double",
                },
                "null": "",
            })
        })
        .collect();
    let whole = json!({
        "@context": "http://www.w3.org/ns/csvw",
        "url": table,
        "tableSchema": { "columns": columns },
    });
    format!("{whole:#}\n")
}

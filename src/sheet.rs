//! CSV as people's programs write it: with or without a byte order mark, separated by commas or,
//! where the decimal mark is a comma, by semicolons.

use std::collections::BTreeSet;

use thiserror::Error;

/// A table of text with a header.
#[derive(Debug)]
pub struct Sheet {
    header: Vec<String>,
    rows: Vec<Row>,
    decimal_comma: bool,
}

/// One row, and the line it begins on.
#[derive(Debug)]
pub struct Row {
    pub line: u64,
    fields: Vec<String>,
}

#[derive(Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum SheetError {
    #[error("this is not UTF-8 text: save the table as CSV in UTF-8")]
    NotText,
    #[error("the table is empty")]
    Empty,
    #[error("two columns are named {0}")]
    Twice(String),
    #[error("line {line} has {got} fields, where the header has {expected}")]
    Fields { line: u64, got: u64, expected: u64 },
    #[error("line {line}: {column} is {got:?}, expected a number")]
    Number {
        line: u64,
        column: String,
        got: String,
    },
    #[error("{0}")]
    Other(String),
}

impl Sheet {
    pub fn read(bytes: &[u8]) -> Result<Sheet, SheetError> {
        let text = std::str::from_utf8(bytes).map_err(|_| SheetError::NotText)?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let first = text.lines().next().unwrap_or_default();
        let semicolons = first.contains(';') && !first.contains(',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if semicolons { b';' } else { b',' })
            .trim(csv::Trim::Headers)
            .from_reader(text.as_bytes());
        let header: Vec<String> = reader
            .headers()
            .map_err(trouble)?
            .iter()
            .map(str::to_owned)
            .collect();
        if header.iter().all(String::is_empty) {
            return Err(SheetError::Empty);
        }
        // Which of them is meant, nobody can tell.
        let mut named = header.iter().filter(|name| !name.is_empty());
        let mut before = BTreeSet::new();
        if let Some(twice) = named.find(|name| !before.insert(*name)) {
            return Err(SheetError::Twice(twice.clone()));
        }
        let rows = reader
            .records()
            .map(|record| {
                let record = record.map_err(trouble)?;
                Ok(Row {
                    line: record.position().map_or(0, |position| position.line()),
                    fields: record.iter().map(str::to_owned).collect(),
                })
            })
            .collect::<Result<_, SheetError>>()?;
        Ok(Sheet {
            header,
            rows,
            decimal_comma: semicolons,
        })
    }

    pub fn columns(&self) -> &[String] {
        &self.header
    }

    pub fn has(&self, column: &str) -> bool {
        self.header.iter().any(|name| name == column)
    }

    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// A field of a row as it stands; empty where the table has no such column.
    pub fn text<'a>(&self, row: &'a Row, column: &str) -> &'a str {
        self.header
            .iter()
            .position(|name| name == column)
            .and_then(|index| row.fields.get(index))
            .map_or("", String::as_str)
    }

    /// A number; `None` where the field is empty.
    pub fn number(&self, row: &Row, column: &str) -> Result<Option<f64>, SheetError> {
        let text = self.text(row, column).trim();
        if text.is_empty() {
            return Ok(None);
        }
        let plain = match self.decimal_comma {
            true => text.replace(',', "."),
            false => text.to_owned(),
        };
        match plain.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => Err(SheetError::Number {
                line: row.line,
                column: column.to_owned(),
                got: text.to_owned(),
            }),
        }
    }
}

fn trouble(error: csv::Error) -> SheetError {
    let line = error.position().map_or(0, |position| position.line());
    match error.into_kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => SheetError::Fields {
            line,
            got: len,
            expected: expected_len,
        },
        _ => SheetError::Other(format!("line {line} can't be read as CSV")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stature(text: &str) -> Result<Option<f64>, SheetError> {
        let sheet = Sheet::read(text.as_bytes()).unwrap();
        sheet.number(&sheet.rows()[0], "stature_cm")
    }

    #[test]
    fn what_spreadsheets_write_is_read() {
        assert_eq!(stature("photo,stature_cm\na.jpg,164.5\n"), Ok(Some(164.5)));
        assert_eq!(
            stature("\u{feff}photo;stature_cm\r\na.jpg;164,5\r\n"),
            Ok(Some(164.5))
        );
        assert_eq!(stature("photo, stature_cm\na.jpg,\n"), Ok(None));
        assert_eq!(stature("photo\na.jpg\n"), Ok(None));
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        assert_eq!(
            stature("photo,stature_cm\na.jpg,tall\n")
                .unwrap_err()
                .to_string(),
            "line 2: stature_cm is \"tall\", expected a number"
        );
        let error = |bytes: &[u8]| Sheet::read(bytes).unwrap_err().to_string();
        assert_eq!(
            error(b"photo,person\na.jpg\n"),
            "line 2 has 1 fields, where the header has 2"
        );
        assert_eq!(error(b""), "the table is empty");
        assert_eq!(
            error(b"photo\n\xff\xfe"),
            "this is not UTF-8 text: save the table as CSV in UTF-8"
        );
        assert_eq!(
            error(b"photo,person,person\na.jpg,p1,p2\n"),
            "two columns are named person"
        );
    }
}

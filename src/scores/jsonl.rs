//! JSON lines: an object a row, text in UTF-8, `null` for a number that is not there.

use std::io::{BufRead, BufReader, Read, Write};

use serde_json::{Map, Value};

use super::{NEEDED, Score, ScoresError};

pub struct Writer<W> {
    to: W,
}

impl<W: Write> Writer<W> {
    pub fn new(to: W) -> Self {
        Writer { to }
    }

    pub fn write(&mut self, score: &Score) -> Result<(), ScoresError> {
        serde_json::to_writer(&mut self.to, score).map_err(std::io::Error::from)?;
        Ok(self.to.write_all(b"\n")?)
    }

    pub fn finish(self) -> W {
        self.to
    }
}

pub fn read(from: impl Read) -> Result<Vec<Score>, ScoresError> {
    let mut scores = Vec::new();
    for (index, line) in BufReader::new(from).lines().enumerate() {
        let line = line?;
        if line.trim().is_empty() {
            continue;
        }
        let wrong = |error: serde_json::Error| ScoresError::Line {
            line: index as u64 + 1,
            detail: error.to_string(),
        };
        let fields: Map<String, Value> = serde_json::from_str(&line).map_err(wrong)?;
        if let Some(missing) = NEEDED.into_iter().find(|name| !fields.contains_key(*name)) {
            return Err(ScoresError::NoColumn(missing));
        }
        scores.push(serde_json::from_value(Value::Object(fields)).map_err(wrong)?);
    }
    Ok(scores)
}

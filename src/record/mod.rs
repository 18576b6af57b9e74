//! The files that tragus keeps: the record of a visit, the facts beside its photos, landmarks
//! placed by hand. The only place where visits meet a file format.

mod facts;
mod landmarks;
mod visit;
mod write;

pub use facts::{FactsFile, facts_from_json};
pub use landmarks::landmarks_from_json;
pub use visit::{SCHEMA, visit_from_json, visit_to_json};
pub use write::{write_atomically, write_privately};

use thiserror::Error;

/// Parses JSON; the mark that some editors put before the text is passed over.
fn parse<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, RecordError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim().is_empty() {
        return Err(RecordError::Empty);
    }
    Ok(serde_json::from_str(text)?)
}

/// A file that is not what it should be.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RecordError {
    #[error("the file is empty")]
    Empty,
    #[error("not readable as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error("the schema is {got:?}, expected {expected:?}")]
    Schema { expected: &'static str, got: String },
    #[error("{field} is {got}, expected {expected}")]
    Field {
        field: String,
        expected: String,
        got: String,
    },
}

fn wrong(field: &str, got: impl std::fmt::Display, expected: impl Into<String>) -> RecordError {
    RecordError::Field {
        field: field.to_owned(),
        expected: expected.into(),
        got: got.to_string(),
    }
}

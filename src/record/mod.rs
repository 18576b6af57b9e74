//! The files that tragus keeps: the record of a visit, the facts beside its photos, landmarks
//! placed by hand; whom a case is about, what was asked, what was planned. The only place where
//! these meet a file format.

mod about;
mod facts;
mod landmarks;
mod migrate;
mod plan;
mod schema;
mod screening;
mod visit;
mod write;

pub use about::{CASE_SCHEMA, about_from_json, about_to_json};
pub use facts::{FactsFile, facts_from_json, facts_to_json};
pub use landmarks::{landmarks_from_csv, landmarks_from_json};
pub use plan::{KeptApproval, KeptPlan, PLAN_SCHEMA, plan_from_json, plan_to_json};
pub use schema::{case_schema, landmarks_schema, screening_schema, visit_schema};
pub use screening::{SCREENING_SCHEMA, screening_from_json, screening_to_json};
pub use visit::{SCHEMA, visit_from_json, visit_to_json};
pub use write::{write_atomically, write_beside, write_privately};

use thiserror::Error;

use crate::sheet::SheetError;

/// Parses JSON; the mark that some editors put before the text is passed over.
fn parse<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, RecordError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim().is_empty() {
        return Err(RecordError::Empty);
    }
    Ok(serde_json::from_str(text)?)
}

/// The text of a file that is read by people too.
fn pretty(file: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(file).expect("plain strings and numbers");
    text.push('\n');
    text
}

/// The schema first, so that another version is named instead of its first unknown field.
fn check_schema(text: &str, expected: &'static str) -> Result<(), RecordError> {
    #[derive(serde::Deserialize)]
    struct Head {
        #[serde(default)]
        schema: String,
    }
    let head: Head = parse(text)?;
    if head.schema == expected {
        Ok(())
    } else {
        Err(RecordError::Schema {
            expected,
            got: head.schema,
        })
    }
}

/// A file that is not what it should be.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RecordError {
    #[error("the file is empty")]
    Empty,
    #[error("not readable as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error("{0}")]
    Sheet(#[from] SheetError),
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

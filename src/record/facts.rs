//! `visit.json`: what is known about a visit besides its photos.

use std::ops::RangeInclusive;

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordError, parse, pretty, wrong};
use crate::body::Operated;
use crate::visit::{ARM_LIMITS_DEG, BOARD_OFFSETS_CM, STATURES_CM, STICKERS_MM, VisitFacts};

/// The fields as they stand in files; all optional.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
pub struct FactsFile {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date"))]
    pub date: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stature_cm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operated_side: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arm_limit_deg: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub board_offset_cm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sticker_mm: Option<f64>,
}

/// Reads a `visit.json`.
pub fn facts_from_json(text: &str) -> Result<VisitFacts, RecordError> {
    let file: FactsFile = parse(text)?;
    VisitFacts::try_from(file)
}

/// Writes a `visit.json`.
pub fn facts_to_json(facts: &VisitFacts) -> String {
    pretty(&FactsFile::from(facts))
}

impl TryFrom<FactsFile> for VisitFacts {
    type Error = RecordError;

    fn try_from(file: FactsFile) -> Result<Self, RecordError> {
        // What a terminal or a page would obey instead of showing.
        for (field, text) in [("label", &file.label), ("case", &file.case)] {
            if let Some(text) = text
                .as_deref()
                .filter(|text| text.contains(char::is_control))
            {
                return Err(wrong(field, format!("{text:?}"), "text on one line"));
            }
        }
        let date = file
            .date
            .map(|text| {
                text.parse::<Date>()
                    .map_err(|_| wrong("date", format!("{text:?}"), "a day such as 2026-03-10"))
            })
            .transpose()?;
        let operated = file
            .operated_side
            .map(|text| {
                Operated::from_name(&text.to_lowercase()).ok_or_else(|| {
                    wrong(
                        "operated_side",
                        format!("{text:?}"),
                        "left, right, both or none",
                    )
                })
            })
            .transpose()?;
        let within = |field: &str, value: Option<f64>, range: RangeInclusive<f64>| match value {
            Some(v) if !range.contains(&v) => {
                let expected = format!("between {} and {}", range.start(), range.end());
                Err(wrong(field, v, expected))
            }
            other => Ok(other),
        };
        Ok(VisitFacts {
            label: file.label,
            date,
            case: file.case,
            stature_cm: within("stature_cm", file.stature_cm, STATURES_CM)?,
            operated,
            arm_limit_deg: within("arm_limit_deg", file.arm_limit_deg, ARM_LIMITS_DEG)?,
            board_offset_cm: within("board_offset_cm", file.board_offset_cm, BOARD_OFFSETS_CM)?,
            sticker_mm: within("sticker_mm", file.sticker_mm, STICKERS_MM)?,
        })
    }
}

impl From<&VisitFacts> for FactsFile {
    fn from(facts: &VisitFacts) -> Self {
        FactsFile {
            label: facts.label.clone(),
            date: facts.date.map(|date| date.to_string()),
            case: facts.case.clone(),
            stature_cm: facts.stature_cm,
            operated_side: facts.operated.map(|operated| operated.name().to_owned()),
            arm_limit_deg: facts.arm_limit_deg,
            board_offset_cm: facts.board_offset_cm,
            sticker_mm: facts.sticker_mm,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_is_named_with_what_was_expected() {
        let message = |text: &str| facts_from_json(text).unwrap_err().to_string();
        assert_eq!(
            message(r#"{"operated_side":"rigth"}"#),
            "operated_side is \"rigth\", expected left, right, both or none"
        );
        assert_eq!(
            message(r#"{"date":"10.3.2026"}"#),
            "date is \"10.3.2026\", expected a day such as 2026-03-10"
        );
        assert_eq!(
            message(r#"{"stature_cm":1.65}"#),
            "stature_cm is 1.65, expected between 80 and 230"
        );
        assert!(message(r#"{"stature":165}"#).contains("unknown field `stature`"));
        assert!(message("{").contains("EOF"));
    }

    #[test]
    fn everything_is_optional() {
        assert_eq!(facts_from_json("{}").unwrap(), VisitFacts::default());
    }
}

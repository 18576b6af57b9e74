//! The file of one screening.
//!
//! ```json
//! {
//!   "schema": "tragus-screening/1",
//!   "date": "2026-03-10",
//!   "surgery_date": "2026-02-17",
//!   "operated_side": "right",
//!   "answers": { "surgery": "mastectomy", "drains": "out" },
//!   "arm_limit": { "deg": 120, "set_on": "2026-02-17", "until": "2026-03-31" },
//!   "load_limit": { "kg": 2 },
//!   "overrides": [ { "rule": "drains_in", "initials": "AB", "reason": "agreed with the surgeon" } ]
//! }
//! ```

use std::collections::BTreeMap;

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordError, check_schema, parse, pretty, wrong};
use crate::body::Operated;
use crate::care::{LOAD_KG, Override, Screening, SetLimit};
use crate::visit::ARM_LIMITS_DEG;

/// Version of the file format.
pub const SCREENING_SCHEMA: &str = "tragus-screening/1";

#[derive(Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ScreeningFile {
    #[schemars(extend("const" = SCREENING_SCHEMA))]
    schema: String,
    #[schemars(with = "String", extend("format" = "date"))]
    date: Date,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    surgery_date: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    operated_side: Option<String>,
    #[serde(default)]
    answers: BTreeMap<String, String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    arm_limit: Option<ArmLimitFile>,
    #[serde(skip_serializing_if = "Option::is_none")]
    load_limit: Option<LoadLimitFile>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    overrides: Vec<OverrideFile>,
}

#[derive(Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
struct ArmLimitFile {
    deg: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    set_on: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    until: Option<Date>,
}

#[derive(Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
struct LoadLimitFile {
    kg: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    set_on: Option<Date>,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    until: Option<Date>,
}

#[derive(Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
struct OverrideFile {
    rule: String,
    initials: String,
    reason: String,
}

pub fn screening_to_json(screening: &Screening) -> String {
    pretty(&ScreeningFile {
        schema: SCREENING_SCHEMA.to_owned(),
        date: screening.date,
        surgery_date: screening.surgery,
        operated_side: screening.operated.map(|side| side.name().to_owned()),
        answers: screening.answers.clone(),
        arm_limit: screening.arm_deg.map(|limit| ArmLimitFile {
            deg: limit.value,
            set_on: limit.set_on,
            until: limit.until,
        }),
        load_limit: screening.load_kg.map(|limit| LoadLimitFile {
            kg: limit.value,
            set_on: limit.set_on,
            until: limit.until,
        }),
        overrides: screening
            .overrides
            .iter()
            .map(|one| OverrideFile {
                rule: one.rule.clone(),
                initials: one.initials.clone(),
                reason: one.reason.clone(),
            })
            .collect(),
    })
}

/// Reads a screening. Whether its questions and rules are known is for the rules to say.
pub fn screening_from_json(text: &str) -> Result<Screening, RecordError> {
    check_schema(text, SCREENING_SCHEMA)?;
    let file: ScreeningFile = parse(text)?;
    let operated = file
        .operated_side
        .map(|name| {
            Operated::from_name(&name).ok_or_else(|| {
                wrong(
                    "operated_side",
                    format!("{name:?}"),
                    "left, right, both or none",
                )
            })
        })
        .transpose()?;
    if let Some(limit) = file
        .arm_limit
        .as_ref()
        .filter(|limit| !ARM_LIMITS_DEG.contains(&limit.deg))
    {
        return Err(wrong("deg of arm_limit", limit.deg, "between 0 and 200"));
    }
    if let Some(limit) = file
        .load_limit
        .as_ref()
        .filter(|limit| !LOAD_KG.contains(&limit.kg))
    {
        return Err(wrong("kg of load_limit", limit.kg, "between 0 and 30"));
    }
    Ok(Screening {
        date: file.date,
        surgery: file.surgery_date,
        operated,
        answers: file.answers,
        arm_deg: file.arm_limit.map(|limit| SetLimit {
            value: limit.deg,
            set_on: limit.set_on,
            until: limit.until,
        }),
        load_kg: file.load_limit.map(|limit| SetLimit {
            value: limit.kg,
            set_on: limit.set_on,
            until: limit.until,
        }),
        overrides: file
            .overrides
            .into_iter()
            .map(|one| Override {
                rule: one.rule,
                initials: one.initials,
                reason: one.reason,
            })
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = r#"{
        "schema": "tragus-screening/1", "date": "2026-03-10", "surgery_date": "2026-02-17",
        "operated_side": "right", "answers": { "drains": "out" },
        "arm_limit": { "deg": 120, "set_on": "2026-02-17", "until": "2026-03-31" },
        "load_limit": { "kg": 2 },
        "overrides": [ { "rule": "drains_in", "initials": "AB", "reason": "agreed" } ]
    }"#;

    #[test]
    fn what_is_written_is_read_back() {
        let screening = screening_from_json(FILE).unwrap();
        assert_eq!(screening.answers["drains"], "out");
        assert_eq!(screening.arm_deg.unwrap().value, 120.0);
        let again = screening_from_json(&screening_to_json(&screening)).unwrap();
        assert_eq!(again, screening);
    }

    #[test]
    fn what_is_wrong_is_named() {
        let message = |from: &str, to: &str| {
            let text = FILE.replacen(from, to, 1);
            screening_from_json(&text).unwrap_err().to_string()
        };
        assert_eq!(
            message("\"deg\": 120", "\"deg\": 1200"),
            "deg of arm_limit is 1200, expected between 0 and 200"
        );
        assert_eq!(
            message("\"right\"", "\"rihgt\""),
            "operated_side is \"rihgt\", expected left, right, both or none"
        );
        assert!(message("2026-02-17", "17.2.2026").contains("JSON"));
        assert!(message("answers", "answer").contains("unknown field `answer`"));
    }
}

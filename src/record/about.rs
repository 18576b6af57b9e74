//! `case.json`: whom a case is about.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{RecordError, check_schema, parse, wrong};
use crate::care::{About, Sex};

/// Version of the file format.
pub const CASE_SCHEMA: &str = "tragus-case/1";

/// Years of birth that are taken for one.
const BIRTH_YEARS: std::ops::RangeInclusive<i16> = 1900..=2100;

#[derive(Deserialize, JsonSchema, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AboutFile {
    #[schemars(extend("const" = CASE_SCHEMA))]
    schema: String,
    code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    birth_year: Option<i16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sex: Option<String>,
}

pub fn about_to_json(about: &About) -> String {
    super::pretty(&AboutFile {
        schema: CASE_SCHEMA.to_owned(),
        code: about.code.clone(),
        birth_year: about.birth_year,
        sex: about.sex.map(|sex| sex.id().to_owned()),
    })
}

pub fn about_from_json(text: &str) -> Result<About, RecordError> {
    check_schema(text, CASE_SCHEMA)?;
    let file: AboutFile = parse(text)?;
    if file.code.trim().is_empty() || file.code.contains(char::is_control) {
        return Err(wrong(
            "code",
            format!("{:?}", file.code),
            "a code on one line",
        ));
    }
    if let Some(year) = file.birth_year.filter(|year| !BIRTH_YEARS.contains(year)) {
        return Err(wrong("birth_year", year, "a year such as 1968"));
    }
    let sex = file
        .sex
        .map(|name| {
            Sex::from_id(&name).ok_or_else(|| wrong("sex", format!("{name:?}"), "female or male"))
        })
        .transpose()?;
    Ok(About {
        code: file.code,
        birth_year: file.birth_year,
        sex,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let about = About {
            code: "demo-01".to_owned(),
            birth_year: Some(1968),
            sex: Some(Sex::Female),
        };
        assert_eq!(about_from_json(&about_to_json(&about)).unwrap(), about);
    }

    #[test]
    fn what_is_wrong_is_named() {
        let message = |text: &str| about_from_json(text).unwrap_err().to_string();
        assert_eq!(
            message(r#"{"schema":"tragus-case/9","code":"a"}"#),
            r#"the schema is "tragus-case/9", expected "tragus-case/1""#
        );
        assert_eq!(
            message(r#"{"schema":"tragus-case/1","code":"a","sex":"f"}"#),
            "sex is \"f\", expected female or male"
        );
        assert!(message(r#"{"schema":"tragus-case/1","code":" "}"#).starts_with("code is"));
    }
}

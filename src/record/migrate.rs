//! Records of earlier versions of the format, brought up to the present one, a version at a time.
//!
//! A step changes JSON and knows nothing of the program's types, which move on. Reading migrates;
//! writing is always of the present version, and nothing on the disk changes before somebody saves.

use serde_json::Value;

use super::visit::VisitFile;
use super::{RecordError, SCHEMA, parse, wrong};

/// From which version, and how to the next.
type Step = (&'static str, fn(&mut Value));

const STEPS: [Step; 1] = [("tragus-visit/1", kinds_of_notices)];

/// Reads the file of a visit of any version.
pub(super) fn visit(text: &str) -> Result<VisitFile, RecordError> {
    // The schema first, so that another version is named instead of its first unknown field.
    let mut file: Value = parse(text)?;
    let schema = file["schema"].as_str().unwrap_or_default().to_owned();
    check_numbers(&file)?;
    if schema == SCHEMA {
        // Not by way of the value, so that an error names its line.
        return parse(text);
    }
    let first = STEPS
        .iter()
        .position(|(from, _)| *from == schema)
        .ok_or(RecordError::Schema {
            expected: SCHEMA,
            got: schema,
        })?;
    for (_, step) in &STEPS[first..] {
        step(&mut file);
    }
    file["schema"] = SCHEMA.into();
    Ok(serde_json::from_value(file)?)
}

/// No number of a record comes near; a thousandth of a larger one may be lost when it is read, and what
/// is read would be written as another.
const LARGEST: f64 = 1e12;

fn check_numbers(file: &Value) -> Result<(), RecordError> {
    match file {
        Value::Number(number) if number.as_f64().is_none_or(|n| n.abs() >= LARGEST) => Err(wrong(
            "a number",
            number,
            format!("one of less than {LARGEST:e}"),
        )),
        Value::Array(values) => values.iter().try_for_each(check_numbers),
        Value::Object(fields) => fields.values().try_for_each(check_numbers),
        _ => Ok(()),
    }
}

/// Version 1 told what a notice is about by its first words alone.
fn kinds_of_notices(file: &mut Value) {
    const OPENINGS: [(&str, &str); 4] = [
        // Said of every value above the limit, its error not considered.
        ("Beyond the set limit:", "may_be_above_limit"),
        ("Above the set limit:", "above_limit"),
        ("May be above the set limit:", "may_be_above_limit"),
        ("May be at the set limit:", "may_be_at_limit"),
    ];
    let kind = |notice: &Value| {
        let text = notice.as_str().unwrap_or_default();
        let opening = OPENINGS
            .iter()
            .find(|(opening, _)| text.starts_with(opening));
        opening.map_or("other", |(_, kind)| kind)
    };
    let tell = |of: &mut Value| {
        if let Some(notices) = of["notices"].as_array() {
            of["notice_kinds"] = notices.iter().map(kind).collect();
        }
    };
    tell(file);
    for photo in file["photos"].as_array_mut().into_iter().flatten() {
        tell(photo);
    }
}

#[cfg(test)]
mod tests {
    use crate::record::{RecordError, SCHEMA, visit_from_json, visit_to_json};
    use crate::visit::NoticeKind;

    /// Written by the program as it was when the format was version 1.
    const FIRST: &str = include_str!("../../fixtures/records/visit-1.json");

    /// Found by fuzzing: each reading and writing made 1.0888888888888887e117 the next larger number.
    #[test]
    fn a_number_that_would_not_be_kept_is_refused() {
        let with_sigma = |sigma: &str| {
            let text = FIRST.replacen("10.135", sigma, 1);
            assert_ne!(text, FIRST);
            visit_from_json(&text)
        };
        for sigma in ["1.0888888888888887e117", "-1e12", "1000000000000"] {
            let refused = with_sigma(sigma).unwrap_err().to_string();
            assert!(refused.contains("a number is"), "{refused}");
        }
        let kept = visit_to_json(&with_sigma("999999999999.123").unwrap());
        assert!(kept.contains("999999999999.123"));
        assert_eq!(visit_to_json(&visit_from_json(&kept).unwrap()), kept);
    }

    #[test]
    fn a_record_of_the_first_version_is_read_and_written_as_of_this_one() {
        let visit = visit_from_json(FIRST).unwrap();
        assert_eq!(visit.notices[0].kind, NoticeKind::MayBeAboveLimit);
        assert!(visit.photos[0].landmarks.len() > 10);
        let written = visit_to_json(&visit);
        assert!(written.contains(SCHEMA));
        assert_eq!(visit_from_json(&written).unwrap(), visit);
        // Nothing of the first is lost on the way.
        let mut first: serde_json::Value = serde_json::from_str(FIRST).unwrap();
        let mut now: serde_json::Value = serde_json::from_str(&written).unwrap();
        for file in [&mut first, &mut now] {
            file["schema"].take();
            file["notice_kinds"].take();
        }
        assert_eq!(now, first);
    }

    #[test]
    fn a_version_to_come_is_named() {
        let later = FIRST.replace("tragus-visit/1", "tragus-visit/99");
        assert!(matches!(
            visit_from_json(&later),
            Err(RecordError::Schema { got, .. }) if got == "tragus-visit/99"
        ));
    }
}

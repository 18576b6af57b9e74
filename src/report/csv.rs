//! A visit as CSV (RFC 4180), one row per measure, for programs and spreadsheets.

use crate::measure::Measure;
use crate::visit::{PhotoRecord, Reading, Visit};

/// The header, without a line end.
pub const CSV_HEADER: &str = "photo,person,view,task,measure,side,value,sigma,unit,status,reason";

/// The whole file of one visit.
pub fn visit_csv(visit: &Visit) -> String {
    format!("{CSV_HEADER}\r\n{}", csv_rows(visit))
}

/// The rows of one visit without the header, each with its line end.
///
/// A photo from which nothing was even looked for has a row of its own with an empty measure, so
/// that no photo disappears.
pub fn csv_rows(visit: &Visit) -> String {
    let person = visit.facts.case.as_deref().unwrap_or_default();
    let mut rows = String::new();
    for photo in &visit.photos {
        let named = |reading: &&Reading| reading.photo.split(" + ").any(|file| file == photo.file);
        if !visit.readings.iter().any(|reading| named(&reading)) {
            let why: Vec<&str> = photo
                .notices
                .iter()
                .map(|notice| notice.text.as_str())
                .collect();
            let reason = match why.is_empty() {
                true => "nothing to measure in this photo".to_owned(),
                false => why.join("; "),
            };
            let (view, task) = pose(Some(photo));
            push(
                &mut rows,
                &[
                    &photo.file,
                    person,
                    view,
                    task,
                    "",
                    "",
                    "",
                    "",
                    "",
                    "unmeasured",
                    &reason,
                ],
            );
        }
    }
    for reading in &visit.readings {
        let photo = visit
            .photos
            .iter()
            .find(|photo| reading.photo.split(" + ").next() == Some(&photo.file));
        let (view, task) = pose(photo);
        let (value, sigma, status, reason) = match &reading.outcome {
            Ok(estimate) => (
                number(estimate.value),
                number(estimate.sigma),
                "measured",
                "",
            ),
            Err(unmeasured) => (
                String::new(),
                String::new(),
                "unmeasured",
                unmeasured.reason.as_str(),
            ),
        };
        let Reading { measure, side, .. } = reading;
        push(
            &mut rows,
            &[
                &reading.photo,
                person,
                view,
                task,
                Measure::id(*measure),
                side.map_or("", |side| side.name()),
                &value,
                &sigma,
                measure.unit().name(),
                status,
                reason,
            ],
        );
    }
    rows
}

fn pose(photo: Option<&PhotoRecord>) -> (&'static str, &'static str) {
    let view = photo.and_then(|photo| photo.view);
    let task = photo.and_then(|photo| photo.task);
    (
        view.map_or("", |view| view.name()),
        task.map_or("", |task| task.name()),
    )
}

/// More decimals than the error warrants, so that nothing is rounded twice.
fn number(value: f64) -> String {
    format!("{value:.4}")
}

fn push(rows: &mut String, fields: &[&str]) {
    let quoted: Vec<String> = fields.iter().map(|field| quote(field)).collect();
    rows.push_str(&quoted.join(","));
    rows.push_str("\r\n");
}

fn quote(field: &str) -> String {
    if field.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn fields_are_quoted_where_they_must_be() {
        assert_eq!(quote("plain"), "plain");
        assert_eq!(quote("a,b"), "\"a,b\"");
        assert_eq!(quote("say \"no\"\n"), "\"say \"\"no\"\"\n\"");
    }

    #[test]
    fn every_reading_has_a_row_of_eleven_fields() {
        let visit = &samples::visits()[0];
        let csv = visit_csv(visit);
        let lines: Vec<&str> = csv.lines().collect();
        assert_eq!(lines[0], CSV_HEADER);
        assert_eq!(lines.len(), 1 + visit.readings.len());
        assert_eq!(
            lines[3],
            "side.jpg,demo-01,side,stand,trunk_lean,right,4.5000,1.6000,deg,measured,"
        );
        assert!(lines[1].ends_with(&format!(",deg,unmeasured,{}", samples::C7_REASON)));
    }

    #[test]
    fn a_photo_without_readings_is_not_lost() {
        let mut visit = samples::visits().remove(0);
        visit.readings.clear();
        visit.photos[0].view = None;
        visit.photos[0].notices = vec![crate::visit::Notice::new("nobody found, or hidden")];
        let csv = csv_rows(&visit);
        assert!(csv.starts_with(
            "side.jpg,demo-01,,stand,,,,,,unmeasured,\"nobody found, or hidden\"\r\n"
        ));
    }
}

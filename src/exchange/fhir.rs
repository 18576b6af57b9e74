//! Visits and comparisons as HL7 FHIR R4 (4.0.1): a Bundle that a clinic's record can take in.
//!
//! One Patient, known by the case code alone; the program as Device; the project's code system; for
//! each visit a DiagnosticReport, and an Observation for each measure, side and view. A comparison
//! adds a report with an Observation for each change. Nothing here was confirmed by a clinician, so
//! all of it is preliminary. Photos stay out.

use std::collections::BTreeMap;

use maud::html;
use serde_json::{Value, json};
use thiserror::Error;

use super::codes::{self, LOINC, OWN, SNOMED, UCUM};
use super::identity::uuid;
use super::outcome::{CONCLUSION, Outcome, case_code, key, method, outcomes, plain, side_name};
use crate::body::Side;
use crate::compare::{Comparison, Row, Verdict};
use crate::estimate::Estimate;
use crate::measure::{Measure, Unit};
use crate::repeats::common_view;
use crate::report;
use crate::visit::Visit;

const STATUS: &str = "preliminary";

/// What can't be written as one patient's record.
#[derive(Debug, Error)]
pub enum FhirError {
    #[error("the visits are of different cases, {0} and {1}")]
    Cases(String, String),
}

/// One visit.
pub fn visit_bundle(visit: &Visit) -> Result<Value, FhirError> {
    let mut bundle = Bundle::of(std::slice::from_ref(visit))?;
    bundle.visit(visit);
    Ok(bundle.finish())
}

/// Visits, oldest first, and what comparing them gave.
pub fn comparison_bundle(visits: &[Visit], comparison: &Comparison) -> Result<Value, FhirError> {
    let mut bundle = Bundle::of(visits)?;
    let written: Vec<Written> = visits.iter().map(|visit| bundle.visit(visit)).collect();
    bundle.comparison(visits, &written, comparison);
    Ok(bundle.finish())
}

/// A Bundle in the making.
struct Bundle {
    entries: Vec<Value>,
    patient: String,
    device: String,
    /// What visits went by so far, to tell two that are alike apart.
    visits: Vec<String>,
}

/// What a visit's Observations go by: measure, side and view.
struct Written {
    key: String,
    observations: BTreeMap<(Measure, Option<Side>, &'static str), String>,
}

impl Bundle {
    fn of(visits: &[Visit]) -> Result<Bundle, FhirError> {
        let mut codes: Vec<&str> = visits.iter().filter_map(case_code).collect();
        codes.dedup();
        if let [one, other, ..] = codes[..] {
            return Err(FhirError::Cases(plain(one), plain(other)));
        }
        let code = codes.first().copied();
        let mut bundle = Bundle {
            entries: Vec::new(),
            // Without a code, whoever the first visit shows.
            patient: match (code, visits.first()) {
                (Some(code), _) => uuid(&["patient", code]),
                (None, first) => uuid(&["patient of", &first.map(key).unwrap_or_default()]),
            },
            device: uuid(&["device", VERSION]),
            visits: Vec::new(),
        };
        bundle.add(
            bundle.patient.clone(),
            json!({
                "resourceType": "Patient",
                "identifier": code.map(|code| json!([{
                    "type": { "text": "case code" },
                    "value": plain(code),
                }])),
            }),
        );
        bundle.add(
            bundle.device.clone(),
            json!({
                "resourceType": "Device",
                "deviceName": [{ "name": "tragus", "type": "user-friendly-name" }],
                "type": { "text": "software that measures posture and reach from photos" },
                "version": [{ "value": VERSION }],
            }),
        );
        bundle.add(uuid(&["code system", VERSION]), code_system());
        Ok(bundle)
    }

    fn add(&mut self, id: String, mut resource: Value) {
        resource["id"] = id.as_str().into();
        self.entries.push(json!({
            "fullUrl": urn(&id),
            "resource": resource,
        }));
    }

    /// The report of a visit, and its Observations.
    fn visit(&mut self, visit: &Visit) -> Written {
        let key = key(visit);
        let alike = self.visits.iter().filter(|other| **other == key).count();
        self.visits.push(key.clone());
        let key = format!("{key}{alike}");
        let outcomes = outcomes(visit);
        let mut written = Written {
            key,
            observations: BTreeMap::new(),
        };
        let mut observations = Vec::new();
        for outcome in &outcomes {
            let code = codes::measure_code(outcome.measure);
            let side = side_name(outcome.side);
            let id = uuid(&["observation", &written.key, &code, side, outcome.view]);
            let at = (outcome.measure, outcome.side, outcome.view);
            written.observations.insert(at, id.clone());
            observations.push((id, self.observation(visit, outcome)));
        }
        let stature = self.stature(visit);
        let has_stature = stature.is_some();
        let id = uuid(&["observation", &written.key, "stature"]);
        observations.extend(stature.map(|stature| (id, stature)));
        let notices = [
            (
                codes::LOINC_NOTICE,
                has_stature || outcomes.iter().any(has_loinc),
            ),
            (codes::SNOMED_NOTICE, outcomes.iter().any(has_snomed)),
        ];
        let notices: Vec<&str> = notices
            .into_iter()
            .filter_map(|(notice, applies)| applies.then_some(notice))
            .collect();
        let remarks = visit.notices.iter().map(|notice| notice.text.as_str());
        self.add(
            uuid(&["report", &written.key]),
            json!({
                "resourceType": "DiagnosticReport",
                "text": narrative(&report::visit_table(visit), &notices),
                "status": STATUS,
                "code": own(codes::VISIT_REPORT, codes::display(codes::VISIT_REPORT)),
                "subject": reference(&self.patient),
                "effectiveDateTime": visit.facts.date.map(|date| date.to_string()),
                "result": observations.iter().map(|(id, _)| reference(id)).collect::<Vec<_>>(),
                "conclusion": conclusion(remarks),
            }),
        );
        for (id, observation) in observations {
            self.add(id, observation);
        }
        written
    }

    fn observation(&self, visit: &Visit, outcome: &Outcome) -> Value {
        let Outcome {
            measure,
            side,
            view,
            ..
        } = *outcome;
        let mut coding = vec![coding(
            OWN,
            &codes::measure_code(measure),
            Some(measure.words()),
        )];
        // The code that other programs know stands first.
        if let Some((code, display)) = codes::loinc(measure, side) {
            coding.insert(0, self::coding(LOINC, code, Some(display)));
        }
        let notes = outcome
            .remarks(visit)
            .into_iter()
            .map(|remark| json!({ "text": plain(remark) }));
        let mut observation = json!({
            "resourceType": "Observation",
            "status": STATUS,
            "category": category("exam", "Exam"),
            "code": { "coding": coding, "text": measure.words() },
            "subject": reference(&self.patient),
            "effectiveDateTime": visit.facts.date.map(|date| date.to_string()),
            "bodySite": body_site(measure, side),
            "method": { "text": method(measure, view) },
            "device": reference(&self.device),
            "note": notes.collect::<Vec<_>>(),
        });
        match &outcome.value {
            Ok(estimate) => {
                observation["valueQuantity"] = quantity(estimate.value, measure.unit());
                observation["component"] = json!([standard_error(*estimate, measure.unit())]);
            }
            Err(reason) => observation["dataAbsentReason"] = absent(reason),
        }
        observation
    }

    /// The body height that was told, which gave the scale. By FHIR's own profile it belongs to a day, and
    /// goes by this code (hl7.org/fhir/R4/bodyheight.html).
    fn stature(&self, visit: &Visit) -> Option<Value> {
        const BODY_HEIGHT: &str = "8302-2";
        const VITAL_SIGNS: &str = "vital-signs";
        let told = json!({ "text": "told to the program, not measured by it" });
        Some(json!({
            "resourceType": "Observation",
            "status": STATUS,
            "category": category(VITAL_SIGNS, "Vital Signs"),
            "code": {
                "coding": [coding(LOINC, BODY_HEIGHT, Some("Body height"))],
                "text": "stature",
            },
            "subject": reference(&self.patient),
            "effectiveDateTime": visit.facts.date?.to_string(),
            "valueQuantity": quantity(visit.facts.stature_cm?, Unit::Centimetre),
            "method": told,
        }))
    }

    /// The report of a comparison, and an Observation for each change.
    fn comparison(&mut self, visits: &[Visit], written: &[Written], comparison: &Comparison) {
        let keys: Vec<&str> = written.iter().map(|one| one.key.as_str()).collect();
        let key = keys.join("\n");
        let period = json!({
            "start": visits.first().and_then(|visit| visit.facts.date).map(|date| date.to_string()),
            "end": visits.last().and_then(|visit| visit.facts.date).map(|date| date.to_string()),
        });
        let changes: Vec<(String, Value)> = comparison
            .rows
            .iter()
            .map(|row| {
                let code = codes::change_code(row.measure);
                let id = uuid(&["change", &key, &code, side_name(row.side)]);
                (id, self.change(visits, written, row, &period))
            })
            .collect();
        let cautions = comparison.cautions.iter().map(String::as_str);
        self.add(
            uuid(&["comparison", &key]),
            json!({
                "resourceType": "DiagnosticReport",
                "text": narrative(&report::comparison_table(visits, comparison, None), &[]),
                "status": STATUS,
                "code": own(codes::COMPARISON_REPORT, codes::display(codes::COMPARISON_REPORT)),
                "subject": reference(&self.patient),
                "effectivePeriod": period,
                "result": changes.iter().map(|(id, _)| reference(id)).collect::<Vec<_>>(),
                "conclusion": conclusion(cautions),
            }),
        );
        for (id, change) in changes {
            self.add(id, change);
        }
    }

    fn change(&self, visits: &[Visit], written: &[Written], row: &Row, period: &Value) -> Value {
        let view = common_view(visits, row.measure, row.side);
        let ends = [written.first(), written.last()];
        let derived: Vec<Value> = ends
            .into_iter()
            .flatten()
            .filter_map(|one| {
                // What could not be measured belongs to no view.
                let of = |view| one.observations.get(&(row.measure, row.side, view));
                of(view).or_else(|| of("")).map(|id| reference(id))
            })
            .collect();
        let unit = row.measure.unit();
        let display = codes::change_display(row.measure);
        let mut observation = json!({
            "resourceType": "Observation",
            "status": STATUS,
            "category": category("exam", "Exam"),
            "code": own(&codes::change_code(row.measure), &display),
            "subject": reference(&self.patient),
            "effectivePeriod": period,
            "bodySite": body_site(row.measure, row.side),
            "method": { "text": method(row.measure, view) },
            "device": reference(&self.device),
            "derivedFrom": derived,
        });
        // A verdict that can't be given withholds the number too.
        match (&row.verdict, &row.change) {
            (Verdict::CannotCompare { reason }, _) => {
                observation["dataAbsentReason"] = absent(reason);
            }
            (verdict, Some(change)) => {
                observation["valueQuantity"] = quantity(change.amount.value, unit);
                let mut component = vec![
                    standard_error(change.amount, unit),
                    json!({
                        "code": own(codes::MDC95, codes::display(codes::MDC95)),
                        "valueQuantity": quantity(change.mdc95, unit),
                    }),
                ];
                component.extend(codes::verdict(verdict).map(|(code, display)| {
                    json!({
                        "code": own(codes::VERDICT, codes::display(codes::VERDICT)),
                        "valueCodeableConcept": own(code, display),
                    })
                }));
                observation["component"] = component.into();
            }
            (_, None) => observation["dataAbsentReason"] = absent("no value to compare"),
        }
        observation
    }

    fn finish(self) -> Value {
        without_empty(json!({
            "resourceType": "Bundle",
            "type": "collection",
            "entry": self.entries,
        }))
        .unwrap_or_default()
    }
}

const VERSION: &str = env!("CARGO_PKG_VERSION");

fn has_loinc(outcome: &Outcome) -> bool {
    codes::loinc(outcome.measure, outcome.side).is_some()
}

fn has_snomed(outcome: &Outcome) -> bool {
    codes::snomed(outcome.measure, outcome.side).is_some()
}

fn code_system() -> Value {
    let concepts: Vec<Value> = codes::concepts()
        .into_iter()
        .map(|concept| {
            json!({
                "code": concept.code,
                "display": concept.display,
                "definition": concept.definition,
            })
        })
        .collect();
    json!({
        "resourceType": "CodeSystem",
        "url": OWN,
        "version": VERSION,
        "name": "TragusCodes",
        "title": codes::TITLE,
        "status": "active",
        "experimental": false,
        "caseSensitive": true,
        "content": "complete",
        "count": concepts.len(),
        "concept": concepts,
    })
}

/// The report as a person reads it, with the notices that its codes ask for.
fn narrative(text: &str, notices: &[&str]) -> Value {
    let div = html! {
        div xmlns="http://www.w3.org/1999/xhtml" {
            pre { (plain(text)) }
            @for notice in notices { p { (notice) } }
        }
    };
    json!({ "status": "generated", "div": div.into_string() })
}

fn conclusion<'a>(remarks: impl Iterator<Item = &'a str>) -> String {
    let texts: Vec<&str> = std::iter::once(CONCLUSION).chain(remarks).collect();
    plain(&texts.join("\n"))
}

fn category(code: &str, display: &str) -> Value {
    const SYSTEM: &str = "http://terminology.hl7.org/CodeSystem/observation-category";
    json!([{ "coding": [coding(SYSTEM, code, Some(display))] }])
}

/// That there should be a value and is none, and in words why.
fn absent(reason: &str) -> Value {
    json!({
        "coding": [coding(
            "http://terminology.hl7.org/CodeSystem/data-absent-reason",
            "unknown",
            Some("Unknown"),
        )],
        "text": plain(reason),
    })
}

fn body_site(measure: Measure, side: Option<Side>) -> Value {
    let coded = codes::snomed(measure, side).map(|code| json!([coding(SNOMED, code, None)]));
    json!({ "coding": coded, "text": codes::body_site(measure, side) })
}

fn standard_error(of: Estimate, unit: Unit) -> Value {
    json!({
        "code": own(codes::STANDARD_ERROR, codes::display(codes::STANDARD_ERROR)),
        "valueQuantity": quantity(of.sigma, unit),
    })
}

/// To three decimals, as in records. The names of the units are UCUM's codes.
fn quantity(value: f64, unit: Unit) -> Value {
    // Adding zero turns a negative zero into a plain one.
    let value = (value * 1e3).round() / 1e3 + 0.0;
    json!({ "value": value, "unit": unit.name(), "system": UCUM, "code": unit.name() })
}

fn own(code: &str, display: &str) -> Value {
    json!({ "coding": [coding(OWN, code, Some(display))], "text": display })
}

fn coding(system: &str, code: &str, display: Option<&str>) -> Value {
    json!({ "system": system, "code": code, "display": display })
}

fn reference(id: &str) -> Value {
    json!({ "reference": urn(id) })
}

fn urn(id: &str) -> String {
    format!("urn:uuid:{id}")
}

/// FHIR knows no null and no empty text, list or object: what is not known is left out.
fn without_empty(value: Value) -> Option<Value> {
    match value {
        Value::Null => None,
        Value::String(text) => (!text.trim().is_empty()).then_some(Value::String(text)),
        Value::Array(items) => {
            let items: Vec<Value> = items.into_iter().filter_map(without_empty).collect();
            (!items.is_empty()).then_some(Value::Array(items))
        }
        Value::Object(fields) => {
            let fields: serde_json::Map<String, Value> = fields
                .into_iter()
                .filter_map(|(name, value)| Some((name, without_empty(value)?)))
                .collect();
            (!fields.is_empty()).then_some(Value::Object(fields))
        }
        other => Some(other),
    }
}

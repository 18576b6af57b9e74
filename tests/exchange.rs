//! What is handed on to other programs, held against the rules of the formats.

use std::collections::BTreeSet;

use assert_cmd::Command;
use jiff::civil::date;
use predicates::str::contains;
use serde_json::Value;
use tragus::body::{Landmark, Side};
use tragus::compare::{Comparison, Verdict, compare};
use tragus::estimate::Estimate;
use tragus::exchange::{coco, fhir};
use tragus::measure::Measure;
use tragus::record;
use tragus::visit::{Reading, Unmeasured, Visit};

use crate::common::root;

fn tragus() -> Command {
    let mut command = Command::cargo_bin("tragus").expect("the program");
    command.env_remove("ORT_DYLIB_PATH");
    command
}

/// A visit with a measure of every kind, on the photo of a record that the program once wrote.
pub fn visit(label: &str, day: i8, shift: f64) -> Visit {
    let path = root().join("fixtures/records/visit-1.json");
    let text = std::fs::read_to_string(path).expect("a record");
    let mut visit = record::visit_from_json(&text).expect("a visit");
    visit.facts.label = Some(label.to_owned());
    visit.facts.date = Some(date(2026, 3, day));
    visit.facts.case = Some("demo-01".to_owned());
    let photo = visit.photos[0].file.clone();
    visit.readings = Measure::ALL
        .into_iter()
        .flat_map(|measure| {
            let sides = match measure.sides(tragus::body::View::Front)[..] {
                [None] => vec![None],
                _ => Side::BOTH.map(Some).to_vec(),
            };
            sides.into_iter().map(move |side| (measure, side))
        })
        .enumerate()
        .map(|(index, (measure, side))| Reading {
            measure,
            side,
            photo: photo.clone(),
            outcome: match index % 5 {
                4 => Err(Unmeasured::because("needs C7: hidden")),
                _ => Ok(Estimate::new(index as f64 + shift, 1.0)),
            },
        })
        .collect();
    visit
}

fn visits() -> (Vec<Visit>, Comparison) {
    let visits = vec![visit("intake", 10, 0.0), visit("follow-up", 28, 2.0)];
    let comparison = compare(&visits);
    (visits, comparison)
}

fn resources<'a>(bundle: &'a Value, kind: &str) -> Vec<&'a Value> {
    let entries = bundle["entry"].as_array().expect("entries");
    entries
        .iter()
        .map(|entry| &entry["resource"])
        .filter(|resource| resource["resourceType"] == kind)
        .collect()
}

/// Everything that a value holds, itself first.
fn all(value: &Value) -> Vec<&Value> {
    let inner: Vec<&Value> = match value {
        Value::Array(items) => items.iter().collect(),
        Value::Object(fields) => fields.values().collect(),
        _ => Vec::new(),
    };
    std::iter::once(value)
        .chain(inner.into_iter().flat_map(all))
        .collect()
}

/// What FHIR R4 asks of a Bundle and its Observations, as far as it concerns what is written here.
fn trouble(bundle: &Value) -> Vec<String> {
    let mut trouble = Vec::new();
    let mut urls = BTreeSet::new();
    for entry in bundle["entry"].as_array().into_iter().flatten() {
        let url = entry["fullUrl"].as_str().unwrap_or_default();
        if !urls.insert(url) {
            trouble.push(format!("{url} stands twice"));
        }
        if Some(url)
            != entry["resource"]["id"]
                .as_str()
                .map(|id| format!("urn:uuid:{id}"))
                .as_deref()
        {
            trouble.push(format!("{url} is not of its resource"));
        }
    }
    for value in all(bundle) {
        if let Some(target) = value["reference"].as_str()
            && !urls.contains(target)
        {
            trouble.push(format!("{target} is not in the Bundle"));
        }
        let empty = match value {
            Value::Null => true,
            Value::String(text) => text.trim().is_empty(),
            Value::Array(items) => items.is_empty(),
            Value::Object(fields) => fields.is_empty(),
            _ => false,
        };
        if empty {
            trouble.push(format!("{value} is empty"));
        }
    }
    let systems = resources(bundle, "CodeSystem");
    let concepts: Vec<&Value> = systems
        .iter()
        .flat_map(|system| system["concept"].as_array().into_iter().flatten())
        .map(|concept| &concept["code"])
        .collect();
    for value in all(bundle) {
        if value["system"] == systems[0]["url"] && !concepts.contains(&&value["code"]) {
            trouble.push(format!("{} is not in the code system", value["code"]));
        }
    }
    for observation in resources(bundle, "Observation") {
        let told = [
            &observation["valueQuantity"],
            &observation["dataAbsentReason"],
        ];
        if told.iter().filter(|value| !value.is_null()).count() != 1 {
            trouble.push(format!("a value or a reason: {observation}"));
        }
        for component in observation["component"].as_array().into_iter().flatten() {
            if component["code"] == observation["code"] {
                trouble.push(format!("a component with its own code: {observation}"));
            }
        }
    }
    trouble
}

fn visit_bundle(visit: &Visit) -> Value {
    fhir::visit_bundle(visit).expect("one case")
}

#[test]
fn a_bundle_keeps_the_rules_and_a_breach_is_found() {
    let (visits, comparison) = visits();
    let bundle = fhir::comparison_bundle(&visits, &comparison).expect("one case");
    for whole in [&visit_bundle(&visits[0]), &bundle] {
        assert_eq!(trouble(whole), Vec::<String>::new());
    }
    type Breach = fn(&mut Value);
    let breaches: [Breach; 6] = [
        |entry| entry["fullUrl"] = "urn:uuid:0".into(),
        |entry| entry["resource"]["subject"]["reference"] = "urn:uuid:0".into(),
        |entry| entry["resource"]["note"] = Value::Null,
        |entry| entry["resource"]["code"]["coding"][0]["code"] = "unknown".into(),
        |entry| {
            let observation = &mut entry["resource"];
            observation["valueQuantity"] = serde_json::json!({ "value": 1 });
            observation["dataAbsentReason"] = serde_json::json!({ "text": "both" });
        },
        |entry| {
            let code = entry["resource"]["code"].clone();
            entry["resource"]["component"] = serde_json::json!([{ "code": code }]);
        },
    ];
    for breach in breaches {
        let mut broken = bundle.clone();
        breach(
            broken["entry"]
                .as_array_mut()
                .expect("entries")
                .last_mut()
                .expect("one"),
        );
        assert!(!trouble(&broken).is_empty());
    }
}

#[test]
fn a_visit_is_one_patient_one_report_and_an_observation_for_each_measure() {
    let mut visit = visit("intake", 10, 0.0);
    visit.facts.stature_cm = None;
    let bundle = visit_bundle(&visit);
    assert_eq!(bundle["type"], "collection");
    let patient = resources(&bundle, "Patient")[0];
    assert_eq!(patient["identifier"][0]["value"], "demo-01");
    let known: Vec<&String> = patient.as_object().expect("fields").keys().collect();
    assert_eq!(known, ["id", "identifier", "resourceType"]);
    let observations = resources(&bundle, "Observation");
    assert_eq!(observations.len(), visit.readings.len());
    let reports = resources(&bundle, "DiagnosticReport");
    assert_eq!(reports.len(), 1);
    assert_eq!(
        reports[0]["result"].as_array().expect("results").len(),
        observations.len()
    );
    for observation in &observations {
        assert_eq!(observation["status"], "preliminary");
        assert_eq!(observation["effectiveDateTime"], "2026-03-10");
        assert_eq!(observation["category"][0]["coding"][0]["code"], "exam");
        assert!(observation["derivedFrom"].is_null());
    }
    for (reading, observation) in visit.readings.iter().zip(&observations) {
        assert_eq!(observation["code"]["text"], reading.measure.words());
        match &reading.outcome {
            Ok(estimate) => {
                let quantity = &observation["valueQuantity"];
                assert_eq!(quantity["value"], estimate.value);
                assert_eq!(quantity["code"], reading.measure.unit().name());
                assert_eq!(quantity["system"], "http://unitsofmeasure.org");
                let error = &observation["component"][0];
                assert_eq!(error["code"]["coding"][0]["code"], "standard_error");
                assert_eq!(error["valueQuantity"]["value"], estimate.sigma);
            }
            Err(why) => assert_eq!(observation["dataAbsentReason"]["text"], why.reason),
        }
    }
}

#[test]
fn codes_of_others_stand_where_they_mean_the_same_with_their_notice() {
    let mut visit = visit("intake", 10, 0.0);
    let bundle = visit_bundle(&visit);
    let of = |words: &str, site: &str| {
        resources(&bundle, "Observation")
            .into_iter()
            .find(|one| one["code"]["text"] == words && one["bodySite"]["text"] == site)
            .unwrap_or_else(|| panic!("{words} of {site}"))
            .clone()
    };
    // The codes as two public FHIR guides have them.
    for (words, site, loinc, snomed) in [
        ("Shoulder flexion", "left shoulder", "41295-7", "91775009"),
        ("Shoulder flexion", "right shoulder", "41307-0", "91774008"),
        ("Shoulder abduction", "left shoulder", "41381-5", "91775009"),
        (
            "Shoulder abduction",
            "right shoulder",
            "41381-5",
            "91774008",
        ),
    ] {
        let observation = of(words, site);
        let coding = &observation["code"]["coding"];
        assert_eq!(coding[0]["system"], "http://loinc.org");
        assert_eq!(coding[0]["code"], loinc);
        assert_eq!(
            coding[1]["system"],
            "urn:uuid:1ed674f0-270f-8c25-899c-5b75c33d7365"
        );
        assert_eq!(observation["bodySite"]["coding"][0]["code"], snomed);
    }
    let trunk = of("Trunk lean", "trunk, seen from the left side");
    assert_eq!(trunk["code"]["coding"].as_array().map(Vec::len), Some(1));
    let text = |bundle: &Value| resources(bundle, "DiagnosticReport")[0]["text"]["div"].to_string();
    assert!(text(&bundle).contains("LOINC is copyright"));
    visit
        .readings
        .retain(|reading| reading.measure == Measure::TrunkLean);
    visit.facts.stature_cm = None;
    let without = visit_bundle(&visit);
    assert!(!without.to_string().contains("loinc.org"));
    assert!(!text(&without).contains("LOINC"));
}

/// By hl7.org/fhir/R4/bodyheight.html: a vital sign of a day, under this code, in centimetres.
#[test]
fn the_body_height_that_was_told_is_a_vital_sign() {
    let height = |visit: &Visit| {
        let bundle = visit_bundle(visit);
        assert_eq!(trouble(&bundle), Vec::<String>::new());
        let height = resources(&bundle, "Observation")
            .into_iter()
            .find(|one| one["code"]["coding"][0]["code"] == "8302-2");
        let report = resources(&bundle, "DiagnosticReport")[0];
        assert_eq!(
            report["result"].as_array().expect("results").len(),
            visit.readings.len() + usize::from(height.is_some())
        );
        height.cloned()
    };
    let mut visit = visit("intake", 10, 0.0);
    visit.facts.stature_cm = Some(164.0);
    let told = height(&visit).expect("an observation");
    assert_eq!(told["category"][0]["coding"][0]["code"], "vital-signs");
    assert_eq!(told["effectiveDateTime"], "2026-03-10");
    assert_eq!(told["valueQuantity"]["value"], 164.0);
    assert_eq!(told["valueQuantity"]["code"], "cm");
    // A vital sign has a day.
    visit.facts.date = None;
    assert_eq!(height(&visit), None);
    visit.facts.date = Some(jiff::civil::date(2026, 3, 10));
    visit.facts.stature_cm = None;
    assert_eq!(height(&visit), None);
}

#[test]
fn a_change_carries_its_error_its_limit_and_what_it_is_derived_from() {
    let (visits, comparison) = visits();
    let bundle = fhir::comparison_bundle(&visits, &comparison).expect("one case");
    let changes: Vec<&Value> = resources(&bundle, "Observation")
        .into_iter()
        .filter(|one| !one["effectivePeriod"].is_null())
        .collect();
    assert_eq!(changes.len(), comparison.rows.len());
    for (row, change) in comparison.rows.iter().zip(changes) {
        assert_eq!(change["effectivePeriod"]["start"], "2026-03-10");
        assert_eq!(change["effectivePeriod"]["end"], "2026-03-28");
        assert_eq!(change["derivedFrom"].as_array().map(Vec::len), Some(2));
        let component = |code: &str| {
            change["component"]
                .as_array()
                .into_iter()
                .flatten()
                .find(|one| one["code"]["coding"][0]["code"] == code)
        };
        match (&row.change, &row.verdict) {
            (_, Verdict::CannotCompare { reason }) => {
                assert_eq!(
                    change["dataAbsentReason"]["text"].as_str(),
                    Some(reason.as_str())
                );
            }
            (Some(expected), verdict) => {
                assert_eq!(change["valueQuantity"]["value"], expected.amount.value);
                let mdc95 = component("mdc95").expect("a limit")["valueQuantity"]["value"]
                    .as_f64()
                    .expect("a number");
                assert!((mdc95 - expected.mdc95).abs() <= 5e-4);
                assert!(component("standard_error").is_some());
                let told = component("verdict").expect("a verdict");
                assert_eq!(
                    told["valueCodeableConcept"]["coding"][0]["code"],
                    verdict.id()
                );
            }
            (None, _) => panic!("a verdict without a change"),
        }
    }
}

#[test]
fn the_same_visit_goes_by_the_same_names_wherever_it_is_written() {
    let (visits, comparison) = visits();
    let bundle = fhir::comparison_bundle(&visits, &comparison).expect("one case");
    let urls = |bundle: &Value| -> BTreeSet<String> {
        let entries = bundle["entry"].as_array().expect("entries");
        entries
            .iter()
            .map(|entry| entry["fullUrl"].to_string())
            .collect()
    };
    for visit in &visits {
        assert_eq!(visit_bundle(visit), visit_bundle(visit));
        assert!(urls(&visit_bundle(visit)).is_subset(&urls(&bundle)));
    }
    // A visit compared with itself is two all the same.
    let twice = [visits[0].clone(), visits[0].clone()];
    let bundle = fhir::comparison_bundle(&twice, &compare(&twice)).expect("one case");
    assert_eq!(trouble(&bundle), Vec::<String>::new());
}

#[test]
fn without_a_code_a_patient_has_no_identifier_and_two_codes_are_no_patient() {
    let mut visit = visit("intake", 10, 0.0);
    visit.facts.case = None;
    let bundle = visit_bundle(&visit);
    assert!(resources(&bundle, "Patient")[0]["identifier"].is_null());
    assert_eq!(trouble(&bundle), Vec::<String>::new());
    let (mut visits, comparison) = visits();
    visits[1].facts.case = Some("demo-02".to_owned());
    let error = fhir::comparison_bundle(&visits, &comparison).expect_err("two people");
    assert_eq!(
        error.to_string(),
        "the visits are of different cases, demo-01 and demo-02"
    );
}

#[test]
fn a_hostile_file_name_stays_text() {
    let mut visit = visit("intake", 10, 0.0);
    visit.facts.label = Some("<b>\u{1b}[31m & so on".to_owned());
    let bundle = visit_bundle(&visit);
    let div = resources(&bundle, "DiagnosticReport")[0]["text"]["div"]
        .as_str()
        .expect("a text")
        .to_owned();
    assert!(div.contains("&lt;b&gt;") && div.contains("&amp;"));
    assert!(!bundle.to_string().contains("\\u001b"));
}

#[test]
fn the_command_line_prints_a_bundle_or_says_why_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut visits, _) = visits();
    let save = |name: &str, visit: &Visit| {
        let path = folder.path().join(name);
        std::fs::write(&path, record::visit_to_json(visit)).expect("a record");
        path
    };
    let (first, last) = (save("a.json", &visits[0]), save("b.json", &visits[1]));
    let output = tragus()
        .arg("compare")
        .args([&first, &last])
        .args(["--format", "fhir"])
        .assert()
        .code(1)
        .get_output()
        .clone();
    let bundle: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(trouble(&bundle), Vec::<String>::new());
    visits[1].facts.case = Some("demo-02".to_owned());
    let other = save("c.json", &visits[1]);
    tragus()
        .arg("compare")
        .args([&first, &other])
        .args(["--format", "fhir"])
        .assert()
        .code(2)
        .stdout("")
        .stderr(contains("different cases, demo-01 and demo-02\nhint: "));
}

/// The files of `fixtures/schemas`; `tragus schema NAME` writes them anew.
#[test]
fn the_kept_schemas_are_those_of_the_types() {
    for (name, schema) in [
        ("visit", record::visit_schema()),
        ("case", record::case_schema()),
        ("screening", record::screening_schema()),
        ("landmarks", record::landmarks_schema()),
    ] {
        let path = root().join(format!("fixtures/schemas/{name}.schema.json"));
        let kept = std::fs::read_to_string(&path).expect("a kept schema");
        assert_eq!(kept, schema, "{name}");
        tragus()
            .args(["schema", name])
            .assert()
            .code(0)
            .stdout(schema);
    }
}

#[test]
fn a_table_says_the_same() {
    let json = r#"{"a.jpg":{"c7":{"x":1.5,"y":2},"tragus_left":{"x":3,"y":4,"sigma_px":2}}}"#;
    let table = "photo,landmark,x,y,sigma_px\na.jpg,c7,1.5,2,\na.jpg,tragus_left,3,4,2\n";
    let read = record::landmarks_from_csv(table.as_bytes()).unwrap();
    assert_eq!(read, record::landmarks_from_json(json).unwrap());
    let message = |table: &str| {
        record::landmarks_from_csv(table.as_bytes())
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        message("photo,landmark,x\na.jpg,c7,1\n"),
        "the header is photo, landmark, x, expected a column y"
    );
    assert_eq!(
        message("photo,landmark,x,y\na.jpg,c7,1,\n"),
        "y in line 2 is empty, expected pixels of the upright photo"
    );
    assert_eq!(
        message("photo,landmark,x,y\na.jpg,c7,1,2\na.jpg,C7,1,3\n"),
        "C7 of a.jpg is given twice, expected one place"
    );
    assert!(message("photo,landmark,x,y\na.jpg,c7,x,2\n").contains("line 2"));
}

fn coco(names: &str, keypoints: &str) -> String {
    format!(
        r#"{{"images":[{{"id":7,"file_name":"day/a.jpg"}}],
            "annotations":[{{"image_id":7,"category_id":1,"keypoints":{keypoints}}}],
            "categories":[{{"id":1,"keypoints":{names}}}]}}"#
    )
}

#[test]
fn keypoints_of_coco_are_read_where_they_are_the_same_points() {
    let names = r#"["nose","left_ear","right_shoulder","left_hip","c7"]"#;
    let text = coco(names, "[9,8,2, 5,5,2, 10,20,1, 0,0,0, 11,12,2]");
    let read = &record::landmarks_from_json(&text).unwrap()["a.jpg"];
    let got: Vec<_> = read.iter().map(|p| (p.landmark, p.at.x, p.at.y)).collect();
    // The middle of COCO's pixel 9 lies at 9.5.
    assert_eq!(
        got,
        [
            (Landmark::Nose, 9.5, 8.5),
            (Landmark::ShoulderJoint(Side::Right), 10.5, 20.5),
            (Landmark::C7, 11.5, 12.5),
        ]
    );
}

#[test]
fn keypoints_that_make_no_sense_are_named() {
    let message = |text: &str| record::landmarks_from_json(text).unwrap_err().to_string();
    assert_eq!(
        message(&coco(r#"["nose"]"#, "[1,2]")),
        "keypoints of a.jpg is a list of 2, expected x, y and visibility of 1 points"
    );
    assert!(message(&coco(r#"["tail"]"#, "[1,2,2]")).contains("\"tail\", expected one of nose"));
    let strange = coco(r#"["nose"]"#, "[1,2,2]").replace(r#""image_id":7"#, r#""image_id":8"#);
    assert_eq!(
        message(&strange),
        "image_id is 8, expected the id of an image"
    );
    let one = r#"{"image_id":7,"category_id":1,"keypoints":[1,2,2]}"#;
    let two = coco(r#"["nose"]"#, "[1,2,2]").replace(one, &format!("{one},{one}"));
    assert!(message(&two).contains("one person to a photo"));
}

#[test]
fn keypoints_that_are_written_are_read_back() {
    let visit = visit("intake", 10, 0.0);
    let file = coco::visit_keypoints(&visit);
    let photo = &visit.photos[0];
    let annotation = &file["annotations"][0];
    assert_eq!(annotation["num_keypoints"], photo.landmarks.len());
    let category = &file["categories"][0];
    let names = category["keypoints"].as_array().expect("names").len();
    assert_eq!(
        annotation["keypoints"].as_array().map(Vec::len),
        Some(3 * names)
    );
    for line in category["skeleton"].as_array().expect("lines") {
        for end in line.as_array().expect("two ends") {
            assert!((1..=names as u64).contains(&end.as_u64().expect("a number")));
        }
    }
    let read = record::landmarks_from_json(&file.to_string()).expect("COCO");
    let points = &read[&photo.file];
    assert_eq!(points.len(), photo.landmarks.len());
    for point in points {
        let located = &photo.landmarks[&point.landmark];
        assert!((point.at.x - located.at.x).abs() <= 0.0051);
        assert!((point.at.y - located.at.y).abs() <= 0.0051);
    }
}

/// The columns that README names are those of a table and of its description.
#[test]
fn the_columns_of_scores_are_those_that_are_described() {
    let columns: Vec<&str> = tragus::scores::COLUMNS
        .iter()
        .map(|column| column.name)
        .collect();
    let header = tragus::scores::to_csv(&[]);
    assert_eq!(header.trim_end().split(',').collect::<Vec<_>>(), columns);
    let description: Value =
        serde_json::from_str(&tragus::scores::csv_description("scores.csv")).expect("JSON");
    let described: Vec<&str> = description["tableSchema"]["columns"]
        .as_array()
        .expect("columns")
        .iter()
        .map(|column| column["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(described, columns);
    let readme = std::fs::read_to_string(root().join("README.md")).expect("README.md");
    let (_, after) = readme
        .split_once("a row for each measure of each photo:")
        .expect("the list");
    let (list, _) = after.split_once('.').expect("its end");
    let named: Vec<&str> = list.split('`').skip(1).step_by(2).collect();
    assert_eq!(named, columns);
}

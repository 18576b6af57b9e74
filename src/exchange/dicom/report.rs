//! The measures of a visit as Comprehensive SR, after TID 1500 "Measurement Report" with a group
//! (TID 1501) for each measure, side and view (PS3.16, from memory; see the module above).

use std::collections::BTreeMap;

use dicom_dictionary_std::{tags, uids};
use dicom_object::InMemDicomObject;

use super::attributes::{common, put_empty, put_items, put_text};
use super::content::{Code, Item, OWN_SCHEME, Relation, reference};
use super::{PROGRAM, Study, VERSION, uid};
use crate::body::Side;
use crate::exchange::codes;
use crate::exchange::outcome::{CONCLUSION, Outcome, method, outcomes, side_name};
use crate::measure::Measure;

const IMAGE_CLASS: &str = uids::SECONDARY_CAPTURE_IMAGE_STORAGE;

pub fn object(study: &Study, series: &str) -> InMemDicomObject {
    let mut object = common(study, uids::COMPREHENSIVE_SR_STORAGE, series);
    let o = &mut object;
    // SR Document Series: modality and number 1, procedure step 2, description 3.
    put_text(o, tags::MODALITY, "SR");
    put_text(o, tags::SERIES_NUMBER, "2");
    put_text(o, tags::SERIES_DESCRIPTION, "Measures from photos");
    put_empty(o, tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE);
    // SR Document General: number, flags, date and time 1; procedure code 2; evidence 1C; preliminary
    // flag and description 3. The day is the visit's. Its time is not kept: the start of the day
    // stands for it, so that one visit is one document.
    put_text(o, tags::INSTANCE_NUMBER, "1");
    let (completion, described) = match study.visit.is_complete() {
        true => ("COMPLETE", "All that was looked for was measured"),
        false => (
            "PARTIAL",
            "Some measures could not be read, each with its reason",
        ),
    };
    put_text(o, tags::COMPLETION_FLAG, completion);
    put_text(o, tags::COMPLETION_FLAG_DESCRIPTION, described);
    put_text(o, tags::VERIFICATION_FLAG, "UNVERIFIED");
    put_text(o, tags::PRELIMINARY_FLAG, "PRELIMINARY");
    put_text(o, tags::CONTENT_DATE, &study.date());
    put_text(o, tags::CONTENT_TIME, "000000");
    put_empty(o, tags::PERFORMED_PROCEDURE_CODE_SEQUENCE);
    if !study.images.is_empty() {
        put_items(
            o,
            tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE,
            vec![evidence(study)],
        );
    }
    // SOP Common: 1C, for codes of a scheme that the standard does not know.
    put_items(
        o,
        tags::CODING_SCHEME_IDENTIFICATION_SEQUENCE,
        vec![own_scheme()],
    );
    // SR Document Content: the document's title and what it holds, 1.
    for element in document(study).into_object() {
        o.put(element);
    }
    let mut template = InMemDicomObject::new_empty();
    put_text(&mut template, tags::MAPPING_RESOURCE, "DCMR");
    put_text(&mut template, tags::TEMPLATE_IDENTIFIER, "1500");
    put_items(o, tags::CONTENT_TEMPLATE_SEQUENCE, vec![template]);
    object
}

/// The images that the report refers to, by study and series.
fn evidence(study: &Study) -> InMemDicomObject {
    let mut series: BTreeMap<&str, Vec<InMemDicomObject>> = BTreeMap::new();
    for image in &study.images {
        series
            .entry(&image.series)
            .or_default()
            .push(reference(IMAGE_CLASS, &image.instance));
    }
    let series = series.into_iter().map(|(uid, images)| {
        let mut item = InMemDicomObject::new_empty();
        put_text(&mut item, tags::SERIES_INSTANCE_UID, uid);
        put_items(&mut item, tags::REFERENCED_SOP_SEQUENCE, images);
        item
    });
    let mut item = InMemDicomObject::new_empty();
    put_text(&mut item, tags::STUDY_INSTANCE_UID, &study.uid());
    put_items(
        &mut item,
        tags::REFERENCED_SERIES_SEQUENCE,
        series.collect(),
    );
    item
}

fn own_scheme() -> InMemDicomObject {
    let mut item = InMemDicomObject::new_empty();
    put_text(&mut item, tags::CODING_SCHEME_DESIGNATOR, OWN_SCHEME);
    put_text(&mut item, tags::CODING_SCHEME_UID, &uid(&["codes"]));
    put_text(&mut item, tags::CODING_SCHEME_NAME, codes::TITLE);
    put_text(&mut item, tags::CODING_SCHEME_VERSION, VERSION);
    item
}

fn comment() -> Code {
    Code::dcm("121106", "Comment")
}

fn document(study: &Study) -> Item {
    let outcomes = outcomes(study.visit);
    let groups = outcomes.iter().map(|outcome| group(study, outcome));
    let remarks = study
        .visit
        .notices
        .iter()
        .map(|notice| notice.text.as_str());
    let remarks = std::iter::once(CONCLUSION).chain(remarks);
    Item::container(
        None,
        &Code::dcm("126000", "Imaging Measurement Report"),
        vec![
            Item::code(
                Relation::HasConceptMod,
                &Code::dcm("121049", "Language of Content Item and Descendants"),
                &Code::of("RFC5646", "en", "English"),
            ),
            Item::code(
                Relation::HasObsContext,
                &Code::dcm("121005", "Observer Type"),
                &Code::dcm("121007", "Device"),
            ),
            Item::identifier(
                Relation::HasObsContext,
                &Code::dcm("121012", "Device Observer UID"),
                &uid(&["device", VERSION]),
            ),
            Item::text(
                Relation::HasObsContext,
                &Code::dcm("121013", "Device Observer Name"),
                &format!("{PROGRAM} {VERSION}"),
            ),
            Item::code(
                Relation::HasConceptMod,
                &Code::dcm("121058", "Procedure reported"),
                &Code::own(codes::VISIT_REPORT, codes::display(codes::VISIT_REPORT)),
            ),
            Item::container(
                Some(Relation::Contains),
                &Code::dcm("126010", "Imaging Measurements"),
                groups.collect(),
            ),
            Item::container(
                Some(Relation::Contains),
                &Code::of("UMLS", "C0034375", "Qualitative Evaluations"),
                remarks
                    .map(|text| Item::text(Relation::Contains, &comment(), text))
                    .collect(),
            ),
        ],
    )
}

/// One measure of one side, as one view shows it.
fn group(study: &Study, outcome: &Outcome) -> Item {
    let Outcome {
        measure,
        side,
        view,
        ..
    } = *outcome;
    let code = codes::measure_code(measure);
    let side_name = side_name(side);
    let tracked: Vec<&str> = [code.as_str(), side_name, view]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    let texts = [
        codes::definition(measure).to_owned(),
        method(measure, view),
        format!("Of: {}", codes::body_site(measure, side)),
    ];
    let remarks = outcome.remarks(study.visit).into_iter().map(str::to_owned);
    let comments = texts
        .into_iter()
        .chain(remarks)
        .map(|text| Item::text(Relation::Contains, &comment(), &text));
    Item::container(
        Some(Relation::Contains),
        &Code::dcm("125007", "Measurement Group"),
        vec![
            Item::text(
                Relation::HasObsContext,
                &Code::dcm("112039", "Tracking Identifier"),
                &tracked.join(" "),
            ),
            Item::identifier(
                Relation::HasObsContext,
                &Code::dcm("112040", "Tracking Unique Identifier"),
                &uid(&["observation", &study.key, &code, side_name, view]),
            ),
            finding_site(measure, side),
            number(study, outcome, &code),
        ],
    )
    .with(comments)
}

/// The number with its standard error, or the reason why there is none, and the images it is from.
fn number(study: &Study, outcome: &Outcome, code: &str) -> Item {
    let measure = outcome.measure;
    let concept = Code::own(code, measure.words());
    let sources = outcome.photos(study.visit).into_iter().filter_map(|photo| {
        let mut images = study.images.iter();
        let image = images.find(|image| image.photo == photo.file)?;
        Some(Item::image(
            Relation::InferredFrom,
            &Code::dcm("121112", "Source of Measurement"),
            IMAGE_CLASS,
            &image.instance,
        ))
    });
    let method = Item::code(
        Relation::HasConceptMod,
        &Code::snomed("370129005", "Measurement Method"),
        &Code::own(codes::PHOTO_METHOD, codes::display(codes::PHOTO_METHOD)),
    );
    let item = match &outcome.value {
        Ok(estimate) => Item::number(Relation::Contains, &concept, estimate.value, measure.unit())
            .with([
                method,
                Item::number(
                    Relation::HasProperties,
                    &Code::own(codes::STANDARD_ERROR, codes::display(codes::STANDARD_ERROR)),
                    estimate.sigma,
                    measure.unit(),
                ),
            ]),
        Err(reason) => Item::missing_number(
            Relation::Contains,
            &concept,
            &Code::dcm("114006", "Measurement failure"),
        )
        .with([
            method,
            Item::text(Relation::HasProperties, &comment(), reason),
        ]),
    };
    item.with(sources)
}

/// The part of the body, and of paired ones which; of others the side is that of the view, which
/// the group's comments say.
fn finding_site(measure: Measure, side: Option<Side>) -> Item {
    use Measure::*;
    let (site, meaning, paired) = match measure {
        CraniovertebralAngle | HeadForwardOfC7 | HeadForwardOfShoulder => {
            ("774007", "Head and Neck", false)
        }
        ThoracicAngle | KyphosisIndex => ("122495006", "Thoracic spine", false),
        TrunkLean | TrunkShift => ("22943007", "Trunk", false),
        HeadTilt | HeadShift => ("69536005", "Head", false),
        ShoulderTilt
        | FlexionAsymmetry
        | AbductionAsymmetry
        | SagittalShoulderAngle
        | ShoulderForwardOfC7
        | ShoulderFlexion
        | ShoulderFlexionToTrunk
        | ShoulderAbduction => ("16982005", "Shoulder", true),
        ElbowExtensionDeficit => ("16953009", "Elbow joint", true),
        ArmToEar | ArmToEarRelative | ArmToEarFront | ArmToEarFrontRelative => {
            ("40983000", "Upper arm", true)
        }
    };
    let laterality = paired.then(|| {
        let value = match side {
            Some(Side::Left) => Code::snomed("7771000", "Left"),
            Some(Side::Right) => Code::snomed("24028007", "Right"),
            None => Code::snomed("51440002", "Bilateral"),
        };
        Item::code(
            Relation::HasConceptMod,
            &Code::snomed("272741003", "Laterality"),
            &value,
        )
    });
    Item::code(
        Relation::HasConceptMod,
        &Code::snomed("363698007", "Finding Site"),
        &Code::snomed(site, meaning),
    )
    .with(laterality)
}

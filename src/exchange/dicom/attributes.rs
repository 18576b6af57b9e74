//! Attributes, and those that every file of a visit has.

use dicom_core::dictionary::DataDictionaryEntry;
use dicom_core::value::DataSetSequence;
use dicom_core::{DataDictionary, DataElement, PrimitiveValue, Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, tags};
use dicom_object::InMemDicomObject;

use super::{PROGRAM, Study, VERSION, plain};

/// Characters of a name (LO) and of a code (SH).
pub const LONGEST_NAME: usize = 64;
pub const LONGEST_CODE: usize = 16;

/// Text, numbers as text or an identifier, by the kind that the standard gives the attribute.
pub fn put_text(object: &mut InMemDicomObject, tag: Tag, text: &str) {
    object.put(DataElement::new(tag, kind(tag), text));
}

/// Text that a person wrote, as far as a name may hold it.
pub fn put_name(object: &mut InMemDicomObject, tag: Tag, text: &str) {
    put_text(object, tag, &name(text));
}

pub fn put_number(object: &mut InMemDicomObject, tag: Tag, number: u16) {
    object.put(DataElement::new(tag, VR::US, PrimitiveValue::from(number)));
}

/// There, and without a value.
pub fn put_empty(object: &mut InMemDicomObject, tag: Tag) {
    match kind(tag) {
        VR::SQ => put_items(object, tag, Vec::new()),
        kind => {
            object.put(DataElement::empty(tag, kind));
        }
    }
}

pub fn put_items(object: &mut InMemDicomObject, tag: Tag, items: Vec<InMemDicomObject>) {
    object.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(items)));
}

fn kind(tag: Tag) -> VR {
    StandardDataDictionary
        .by_tag(tag)
        .map_or(VR::UN, |entry| entry.vr().relaxed())
}

/// One line, without what parts values, no longer than a name may be.
pub fn name(text: &str) -> String {
    let line: String = plain(text)
        .chars()
        .map(|c| match c {
            '\\' => '/',
            '\n' | '\t' => ' ',
            c => c,
        })
        .take(LONGEST_NAME)
        .collect();
    line.trim().to_owned()
}

/// What the images and the report of a visit have in common.
pub fn common(study: &Study, class: &str, series: &str) -> InMemDicomObject {
    let mut object = InMemDicomObject::new_empty();
    let o = &mut object;
    // SOP Common: 1; character set 1C. The instance's identifier comes last, in `sealed`.
    put_text(o, tags::SPECIFIC_CHARACTER_SET, "ISO_IR 192");
    put_text(o, tags::SOP_CLASS_UID, class);
    // Patient: all 2.
    put_empty(o, tags::PATIENT_NAME);
    put_text(o, tags::PATIENT_ID, study.case_code());
    put_empty(o, tags::PATIENT_BIRTH_DATE);
    put_empty(o, tags::PATIENT_SEX);
    // General Study: identifier 1, description 3, others 2.
    put_text(o, tags::STUDY_INSTANCE_UID, &study.uid());
    put_text(o, tags::STUDY_DATE, &study.date());
    put_empty(o, tags::STUDY_TIME);
    put_empty(o, tags::REFERRING_PHYSICIAN_NAME);
    put_empty(o, tags::STUDY_ID);
    put_empty(o, tags::ACCESSION_NUMBER);
    if let Some(label) = &study.visit.facts.label {
        put_name(o, tags::STUDY_DESCRIPTION, label);
    }
    // General Series, SR Document Series: identifier 1.
    put_text(o, tags::SERIES_INSTANCE_UID, series);
    // General Equipment: manufacturer 2, others 3.
    put_text(o, tags::MANUFACTURER, PROGRAM);
    put_text(o, tags::MANUFACTURER_MODEL_NAME, PROGRAM);
    put_text(o, tags::SOFTWARE_VERSIONS, VERSION);
    object
}

//! A visit as DICOM files: each photo as a Secondary Capture with its lines drawn in, and the
//! measures as a Comprehensive Structured Report after the template for measurements (TID 1500).
//!
//! The person goes by the case code alone: no name, no birth date, and nothing out of the files that
//! the photos came in. Identifiers are made from what a file holds, so the same visit gives the same
//! bytes, and another content another identifier. Modules and types of attributes (1: must have a
//! value, 2: must be there) stand beside the code, by PS3.3 from memory; `scripts/exchange` has the
//! files checked by programs that know it.

mod attributes;
mod content;
mod image;
mod report;

use ::image::RgbImage;
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use dicom_transfer_syntax_registry::entries::EXPLICIT_VR_LITTLE_ENDIAN;
use thiserror::Error;

use super::identity::uid;
use super::outcome::{case_code, key, plain};
use crate::checksum;
use crate::visit::{PhotoRecord, Visit, VisitFacts};
use attributes::{LONGEST_NAME, put_text};

const PROGRAM: &str = "tragus";
const VERSION: &str = env!("CARGO_PKG_VERSION");

/// What can't be written as DICOM.
#[derive(Debug, Error)]
pub enum DicomError {
    #[error("a report in DICOM says of which day it is, and the visit does not say its day")]
    NoDate,
    #[error("the case code {0} can't be a Patient ID in DICOM")]
    CaseCode(String),
}

/// The files of one visit in the making: they belong to one study.
pub struct Study<'a> {
    visit: &'a Visit,
    key: String,
    images: Vec<Reference>,
}

/// An image that the report can refer to.
struct Reference {
    /// The photo's file name.
    photo: String,
    series: String,
    instance: String,
}

/// Says before any work is done whether a visit of these facts can be written.
pub fn check(facts: &VisitFacts) -> Result<(), DicomError> {
    if facts.date.is_none() {
        return Err(DicomError::NoDate);
    }
    // A code that is cut short could be another person's.
    let code = facts.case.as_deref().unwrap_or_default().trim();
    let is_fit = code.chars().count() <= LONGEST_NAME
        && !code.contains(|c: char| c == '\\' || c.is_control());
    match is_fit {
        true => Ok(()),
        false => Err(DicomError::CaseCode(plain(code))),
    }
}

impl<'a> Study<'a> {
    pub fn of(visit: &'a Visit) -> Result<Study<'a>, DicomError> {
        check(&visit.facts)?;
        Ok(Study {
            visit,
            key: key(visit),
            images: Vec::new(),
        })
    }

    /// A photo of the visit, as it was drawn on.
    pub fn photo(&mut self, photo: &PhotoRecord, drawn: &RgbImage, shows_faces: bool) -> Vec<u8> {
        let series = self.series(match shows_faces {
            true => "photos, faces shown",
            false => "photos",
        });
        let object = image::object(self, &series, photo, drawn, shows_faces);
        let (file, instance) = sealed(object, uids::JPEG_BASELINE8_BIT);
        self.images.push(Reference {
            photo: photo.file.clone(),
            series,
            instance,
        });
        file
    }

    /// The measures, with references to the photos written so far.
    pub fn report(self) -> Vec<u8> {
        let object = report::object(&self, &self.series("measures"));
        sealed(object, uids::EXPLICIT_VR_LITTLE_ENDIAN).0
    }

    fn series(&self, name: &str) -> String {
        uid(&["series", &self.key, name])
    }

    fn uid(&self) -> String {
        uid(&["study", &self.key])
    }

    /// YYYYMMDD.
    fn date(&self) -> String {
        let date = self.visit.facts.date.unwrap_or_default();
        date.strftime("%Y%m%d").to_string()
    }

    fn case_code(&self) -> &str {
        case_code(self.visit).unwrap_or_default()
    }
}

/// The file of an object, whose identifier is made from all that it holds besides.
fn sealed(mut object: InMemDicomObject, coding: &'static str) -> (Vec<u8>, String) {
    let mut content = Vec::new();
    object
        .write_dataset_with_ts(&mut content, &EXPLICIT_VR_LITTLE_ENDIAN.erased())
        .expect("writing into memory cannot fail");
    let instance = uid(&["instance", &checksum::sha256(&content)]);
    put_text(&mut object, tags::SOP_INSTANCE_UID, &instance);
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(coding)
        .implementation_class_uid(uid(&["program"]))
        .implementation_version_name("TRAGUS");
    let mut bytes = Vec::new();
    object
        .with_meta(meta)
        .expect("class and identifier are set")
        .write_all(&mut bytes)
        .expect("writing into memory cannot fail");
    (bytes, instance)
}

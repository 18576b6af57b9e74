//! Visits and landmarks in the open formats of others: [`fhir`] for records of a clinic,
//! [`dicom`] for its archive of pictures, [`coco`] for programs that learn or judge landmarks.

pub mod coco;
mod codes;
pub mod dicom;
pub mod fhir;
mod identity;
mod outcome;

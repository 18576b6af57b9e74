//! Visits and landmarks in the open formats of others: [`fhir`] for records of a clinic,
//! [`coco`] for programs that learn or judge landmarks.

pub mod coco;
mod codes;
pub mod fhir;
mod identity;

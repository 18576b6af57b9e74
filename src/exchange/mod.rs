//! Visits and landmarks in the open formats of others: [`fhir`] for records of a clinic.

mod codes;
pub mod fhir;
mod identity;

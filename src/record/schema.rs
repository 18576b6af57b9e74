//! JSON Schemas (draft 2020-12) of the files, made from the types that read and write them.

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;

use super::about::AboutFile;
use super::landmarks::LandmarksFile;
use super::pretty;
use super::screening::ScreeningFile;
use super::visit::VisitFile;

/// Of a visit's record, as it is written.
pub fn visit_schema() -> String {
    schema::<VisitFile>(
        "record of a visit",
        SchemaSettings::draft2020_12().for_serialize(),
    )
}

/// Of `case.json`, as it is read.
pub fn case_schema() -> String {
    schema::<AboutFile>("case", SchemaSettings::draft2020_12())
}

/// Of a screening, as it is read.
pub fn screening_schema() -> String {
    schema::<ScreeningFile>("screening", SchemaSettings::draft2020_12())
}

/// Of landmarks placed by hand, as they are read.
pub fn landmarks_schema() -> String {
    schema::<LandmarksFile>("landmarks placed by hand", SchemaSettings::draft2020_12())
}

fn schema<T: JsonSchema>(title: &str, settings: SchemaSettings) -> String {
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
    schema.insert("title".to_owned(), title.into());
    pretty(&schema)
}

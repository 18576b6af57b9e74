//! Content items of structured reports (PS3.3, C.17.3), and the codes in them.

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::attributes::{LONGEST_CODE, name, put_empty, put_items, put_text};
use crate::exchange::outcome::plain;
use crate::measure::Unit;

/// How a content item stands to the one that it is in.
#[derive(Clone, Copy)]
pub enum Relation {
    Contains,
    HasConceptMod,
    HasObsContext,
    HasProperties,
    InferredFrom,
}

impl Relation {
    const fn name(self) -> &'static str {
        match self {
            Relation::Contains => "CONTAINS",
            Relation::HasConceptMod => "HAS CONCEPT MOD",
            Relation::HasObsContext => "HAS OBS CONTEXT",
            Relation::HasProperties => "HAS PROPERTIES",
            Relation::InferredFrom => "INFERRED FROM",
        }
    }
}

/// A code with its scheme and meaning.
#[derive(Clone)]
pub struct Code {
    value: String,
    scheme: &'static str,
    meaning: String,
}

/// The designator of the project's own codes: those that begin with 99 are free to use.
pub const OWN_SCHEME: &str = "99TRAGUS";

impl Code {
    /// Of the standard's own terms (PS3.16, annex D).
    pub fn dcm(value: &str, meaning: &str) -> Code {
        Code::of("DCM", value, meaning)
    }

    /// Of SNOMED CT, as far as the standard's context groups take it in.
    pub fn snomed(value: &str, meaning: &str) -> Code {
        Code::of("SCT", value, meaning)
    }

    pub fn own(value: &str, meaning: &str) -> Code {
        Code::of(OWN_SCHEME, value, meaning)
    }

    pub fn unit(unit: Unit) -> Code {
        let meaning = match unit {
            Unit::Degree => "degree",
            Unit::Centimetre => "centimeter",
            Unit::Percent => "percent",
        };
        Code::of("UCUM", unit.name(), meaning)
    }

    pub fn of(scheme: &'static str, value: &str, meaning: &str) -> Code {
        Code {
            value: value.to_owned(),
            scheme,
            meaning: name(meaning),
        }
    }

    pub fn item(&self) -> InMemDicomObject {
        let mut item = InMemDicomObject::new_empty();
        let tag = match self.value.chars().count() <= LONGEST_CODE {
            true => tags::CODE_VALUE,
            false => tags::LONG_CODE_VALUE,
        };
        put_text(&mut item, tag, &self.value);
        put_text(&mut item, tags::CODING_SCHEME_DESIGNATOR, self.scheme);
        put_text(&mut item, tags::CODE_MEANING, &self.meaning);
        item
    }
}

/// A content item with those in it.
pub struct Item {
    object: InMemDicomObject,
    children: Vec<Item>,
}

impl Item {
    fn new(relation: Option<Relation>, kind: &str, concept: &Code) -> Item {
        let mut object = InMemDicomObject::new_empty();
        if let Some(relation) = relation {
            put_text(&mut object, tags::RELATIONSHIP_TYPE, relation.name());
        }
        put_text(&mut object, tags::VALUE_TYPE, kind);
        put_code(&mut object, tags::CONCEPT_NAME_CODE_SEQUENCE, concept);
        Item {
            object,
            children: Vec::new(),
        }
    }

    /// The document itself has no relation.
    pub fn container(relation: Option<Relation>, concept: &Code, children: Vec<Item>) -> Item {
        let mut item = Item::new(relation, "CONTAINER", concept);
        put_text(&mut item.object, tags::CONTINUITY_OF_CONTENT, "SEPARATE");
        item.with(children)
    }

    pub fn text(relation: Relation, concept: &Code, text: &str) -> Item {
        let mut item = Item::new(Some(relation), "TEXT", concept);
        put_text(&mut item.object, tags::TEXT_VALUE, &plain(text));
        item
    }

    pub fn code(relation: Relation, concept: &Code, value: &Code) -> Item {
        let mut item = Item::new(Some(relation), "CODE", concept);
        put_code(&mut item.object, tags::CONCEPT_CODE_SEQUENCE, value);
        item
    }

    pub fn identifier(relation: Relation, concept: &Code, uid: &str) -> Item {
        let mut item = Item::new(Some(relation), "UIDREF", concept);
        put_text(&mut item.object, tags::UID, uid);
        item
    }

    /// A number to three decimals, as in records.
    pub fn number(relation: Relation, concept: &Code, value: f64, unit: Unit) -> Item {
        let mut item = Item::new(Some(relation), "NUM", concept);
        let mut measured = InMemDicomObject::new_empty();
        // Adding zero turns a negative zero into a plain one.
        let value = (value * 1e3).round() / 1e3 + 0.0;
        put_text(&mut measured, tags::NUMERIC_VALUE, &value.to_string());
        put_code(
            &mut measured,
            tags::MEASUREMENT_UNITS_CODE_SEQUENCE,
            &Code::unit(unit),
        );
        put_items(
            &mut item.object,
            tags::MEASURED_VALUE_SEQUENCE,
            vec![measured],
        );
        item
    }

    /// A number that should be there and is not.
    pub fn missing_number(relation: Relation, concept: &Code, why: &Code) -> Item {
        let mut item = Item::new(Some(relation), "NUM", concept);
        put_empty(&mut item.object, tags::MEASURED_VALUE_SEQUENCE);
        put_code(
            &mut item.object,
            tags::NUMERIC_VALUE_QUALIFIER_CODE_SEQUENCE,
            why,
        );
        item
    }

    pub fn image(relation: Relation, concept: &Code, class: &str, instance: &str) -> Item {
        let mut item = Item::new(Some(relation), "IMAGE", concept);
        put_items(
            &mut item.object,
            tags::REFERENCED_SOP_SEQUENCE,
            vec![reference(class, instance)],
        );
        item
    }

    pub fn with(mut self, children: impl IntoIterator<Item = Item>) -> Item {
        self.children.extend(children);
        self
    }

    /// As the standard has it: those inside in a sequence.
    pub fn into_object(self) -> InMemDicomObject {
        let mut object = self.object;
        if !self.children.is_empty() {
            let children = self.children.into_iter().map(Item::into_object).collect();
            put_items(&mut object, tags::CONTENT_SEQUENCE, children);
        }
        object
    }
}

pub fn put_code(object: &mut InMemDicomObject, tag: Tag, code: &Code) {
    put_items(object, tag, vec![code.item()]);
}

/// An instance by class and identifier.
pub fn reference(class: &str, instance: &str) -> InMemDicomObject {
    let mut item = InMemDicomObject::new_empty();
    put_text(&mut item, tags::REFERENCED_SOP_CLASS_UID, class);
    put_text(&mut item, tags::REFERENCED_SOP_INSTANCE_UID, instance);
    item
}

//! Photographs in DICOM files, and what is written as DICOM. The files of `fixtures/formats/dicom`
//! come from pydicom (`scripts/exchange/dicom_photos.py`).

use assert_cmd::Command;
use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, PrimitiveValue, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject, from_reader};
use image::{Rgb, RgbImage};
use predicates::str::contains;
use tragus::compare::compare;
use tragus::exchange::dicom::{DicomError, Study};
use tragus::exchange::{coco, fhir};
use tragus::photo::{self, Bare, BodyDirection, Limits, Photo, PhotoErrorKind};
use tragus::pipeline::{self, Aids, PhotoInput};
use tragus::record;
use tragus::report::{self, ReportInput};
use tragus::scores;
use tragus::visit::{Visit, VisitFacts};

use crate::common::{demo, finder, mean_apart, most_apart, root};
use crate::exchange::visit;

fn file(name: &str) -> Vec<u8> {
    let path = root().join("fixtures/formats/dicom").join(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn picture(bytes: &[u8]) -> RgbImage {
    photo::upright(bytes, Limits::default()).expect("a picture")
}

fn refusal(bytes: &[u8]) -> PhotoErrorKind {
    match photo::upright(bytes, Limits::default()) {
        Ok(_) => panic!("it was read"),
        Err(error) => error.kind,
    }
}

// What is read.

/// Against the picture that Pillow wrote as PNG; what may differ is what the way of keeping it loses.
#[test]
fn a_photo_is_the_same_however_it_is_kept() {
    let whole = picture(&file("photo.png"));
    for (name, most, mean) in [
        ("rgb", 0, 0.0),
        ("rgb_implicit_planes", 0, 0.0),
        ("rle", 0, 0.0),
        ("lying", 0, 0.0),
        // Rounded twice, on the way there and back.
        ("ybr_full", 2, 0.6),
        ("rle_ybr_full", 2, 0.6),
        // Two neighbours share a colour.
        ("ybr_full_422", 60, 1.5),
        ("jpeg", 70, 3.0),
    ] {
        let read = picture(&file(&format!("{name}.dcm")));
        let (largest, on_average) = (most_apart(&whole, &read), mean_apart(&whole, &read));
        assert!(
            largest <= most && on_average <= mean,
            "{name}: {largest} at most, {on_average} on average"
        );
    }
}

#[test]
fn the_colours_of_a_palette_are_those_in_it() {
    let largest = most_apart(
        &picture(&file("palette.png")),
        &picture(&file("palette.dcm")),
    );
    assert_eq!(largest, 0);
}

#[test]
fn a_grey_photo_is_the_same_however_it_is_kept() {
    // Pillow's weights of the colours, to a rounding.
    let whole = image::DynamicImage::ImageRgb8(picture(&file("photo.png")));
    let grey = RgbImage::from_fn(whole.width(), whole.height(), |x, y| {
        let Rgb([r, g, b]) = whole.as_rgb8().expect("a colour picture")[(x, y)];
        let level = 0.299 * f64::from(r) + 0.587 * f64::from(g) + 0.114 * f64::from(b);
        Rgb([level.round() as u8; 3])
    });
    for (name, most) in [
        ("grey_12_bits", 1),
        ("grey_16_bits_rle", 1),
        ("grey_signed", 1),
        ("grey_inverted", 1),
        ("jpeg_grey", 12),
    ] {
        let read = picture(&file(&format!("{name}.dcm")));
        let (largest, on_average) = (most_apart(&grey, &read), mean_apart(&grey, &read));
        assert!(
            largest <= most && on_average <= 1.5,
            "{name}: {largest} at most, {on_average} on average"
        );
    }
}

#[test]
fn a_photo_that_lies_is_turned_and_says_which_way_it_shows_the_person() {
    let photo = Photo::decode(&file("lying.dcm"), Limits::default()).expect("a photo");
    assert_eq!((photo.width(), photo.height()), (72, 96));
    let tags = photo.tags();
    assert_eq!(tags.right, Some(BodyDirection::Left));
    assert_eq!(tags.focal_35mm, Some(26.0));
    assert!(tags.pixel_size);
    let plain = Photo::decode(&file("rgb.dcm"), Limits::default()).expect("a photo");
    assert_eq!(plain.tags(), &photo::CameraTags::default());
}

#[test]
fn what_is_not_read_says_why() {
    use PhotoErrorKind::*;
    type Expected = fn(&PhotoErrorKind) -> bool;
    let cases: [(&str, Expected); 5] = [
        ("two_frames", |kind| matches!(kind, SeveralPictures)),
        ("radiograph", |kind| matches!(kind, NoPhotograph)),
        ("jpeg_lossless", |kind| matches!(kind, DicomCoding)),
        ("deflated", |kind| matches!(kind, DicomCoding)),
        ("big_endian", |kind| matches!(kind, DicomCoding)),
    ];
    for (name, expected) in cases {
        let kind = refusal(&file(&format!("{name}.dcm")));
        assert!(expected(&kind), "{name}: {kind:?}");
        assert!(!kind.hint().is_empty());
    }
}

#[test]
fn limits_hold_before_anything_is_decoded() {
    let few = Limits {
        pixels: 72 * 96 - 1,
        ..Limits::default()
    };
    for name in ["rgb.dcm", "rle.dcm", "jpeg.dcm"] {
        let error = photo::upright(&file(name), few).expect_err("too many pixels");
        assert!(
            matches!(error.kind, PhotoErrorKind::TooManyPixels { .. }),
            "{name}: {:?}",
            error.kind
        );
    }
}

/// Where a value begins, by the eight bytes of an explicit header before it.
fn value_of(bytes: &[u8], header: [u8; 8]) -> usize {
    let at = bytes.windows(8).position(|window| window == header);
    at.expect("the attribute") + 8
}

/// A file that claims more than it holds takes neither the memory for it nor the time.
#[test]
fn a_claim_is_not_believed() {
    const ROWS: [u8; 8] = [0x28, 0, 0x10, 0, b'U', b'S', 2, 0];
    const COLUMNS: [u8; 8] = [0x28, 0, 0x11, 0, b'U', b'S', 2, 0];
    for name in ["rgb.dcm", "rle.dcm"] {
        let mut bytes = file(name);
        for header in [ROWS, COLUMNS] {
            let at = value_of(&bytes, header);
            bytes[at..at + 2].copy_from_slice(&9999u16.to_le_bytes());
        }
        assert!(matches!(refusal(&bytes), PhotoErrorKind::Damaged), "{name}");
    }
    // Pixels of almost four gigabytes.
    let mut bytes = file("rgb.dcm");
    let at = value_of(&bytes, [0xe0, 0x7f, 0x10, 0, b'O', b'B', 0, 0]);
    bytes[at..at + 4].copy_from_slice(&0xffff_fff0u32.to_le_bytes());
    assert!(matches!(refusal(&bytes), PhotoErrorKind::Damaged));
    // A table of run lengths that is larger than any file.
    let mut bytes = file("rle.dcm");
    let table = bytes
        .windows(8)
        .position(|window| window == [3, 0, 0, 0, 64, 0, 0, 0])
        .expect("three planes");
    for count in [0, 2, 4, 16, u32::MAX] {
        bytes[table..table + 4].copy_from_slice(&count.to_le_bytes());
        assert!(
            matches!(refusal(&bytes), PhotoErrorKind::Damaged),
            "{count}"
        );
    }
}

/// Nothing that a file holds stops the program.
#[test]
fn a_damaged_file_is_refused_or_read_and_stops_nothing() {
    for name in ["rgb_implicit_planes", "rle", "jpeg", "palette", "lying"] {
        let whole = file(&format!("{name}.dcm"));
        let try_it = |bytes: &[u8]| {
            let _ = photo::upright(bytes, Limits::default());
        };
        for length in (0..whole.len()).step_by(53) {
            try_it(&whole[..length]);
        }
        for at in (128..whole.len().min(1600)).step_by(3) {
            for value in [0x00, 0xff, whole[at] ^ 0x01] {
                let mut bytes = whole.clone();
                bytes[at] = value;
                try_it(&bytes);
            }
        }
    }
    // An end without a beginning, before anything else.
    let mut bytes = file("rgb.dcm");
    let start = value_of(&bytes, [8, 0, 0x16, 0, b'U', b'I', 30, 0]) - 8;
    for end in [0x0d, 0xdd] {
        bytes[start..start + 8].copy_from_slice(&[0xfe, 0xff, end, 0xe0, 0, 0, 0, 0]);
        let kind = refusal(&bytes);
        // What the second one ends is passed over, and with it what kind of picture this is.
        assert!(
            matches!(kind, PhotoErrorKind::Damaged | PhotoErrorKind::NoPhotograph),
            "{kind:?}"
        );
    }
}

// Whose photo it is.

const MARK: &str = "MARKED";

/// Everything by which the standard lets a file say whom it shows, where, by whom and for whom.
const IDENTIFYING: [(Tag, VR); 40] = [
    (tags::PATIENT_NAME, VR::PN),
    (tags::PATIENT_ID, VR::LO),
    (tags::ISSUER_OF_PATIENT_ID, VR::LO),
    (tags::OTHER_PATIENT_NAMES, VR::PN),
    (tags::PATIENT_BIRTH_NAME, VR::PN),
    (tags::PATIENT_MOTHER_BIRTH_NAME, VR::PN),
    (tags::PATIENT_ADDRESS, VR::LO),
    (tags::PATIENT_TELEPHONE_NUMBERS, VR::SH),
    (tags::PATIENT_COMMENTS, VR::LT),
    (tags::ADDITIONAL_PATIENT_HISTORY, VR::LT),
    (tags::OCCUPATION, VR::SH),
    (tags::PATIENT_RELIGIOUS_PREFERENCE, VR::LO),
    (tags::MILITARY_RANK, VR::LO),
    (tags::RESPONSIBLE_PERSON, VR::PN),
    (tags::REFERRING_PHYSICIAN_NAME, VR::PN),
    (tags::PERFORMING_PHYSICIAN_NAME, VR::PN),
    (tags::OPERATORS_NAME, VR::PN),
    (tags::PHYSICIANS_OF_RECORD, VR::PN),
    (tags::NAME_OF_PHYSICIANS_READING_STUDY, VR::PN),
    (tags::REQUESTING_PHYSICIAN, VR::PN),
    (tags::INSTITUTION_NAME, VR::LO),
    (tags::INSTITUTION_ADDRESS, VR::ST),
    (tags::INSTITUTIONAL_DEPARTMENT_NAME, VR::LO),
    (tags::STATION_NAME, VR::SH),
    (tags::DEVICE_SERIAL_NUMBER, VR::LO),
    (tags::MANUFACTURER, VR::LO),
    (tags::MANUFACTURER_MODEL_NAME, VR::LO),
    (tags::ACCESSION_NUMBER, VR::SH),
    (tags::STUDY_ID, VR::SH),
    (tags::STUDY_DESCRIPTION, VR::LO),
    (tags::SERIES_DESCRIPTION, VR::LO),
    (tags::PROTOCOL_NAME, VR::LO),
    (tags::ADMISSION_ID, VR::LO),
    (tags::CURRENT_PATIENT_LOCATION, VR::LO),
    (tags::REQUEST_ATTRIBUTES_SEQUENCE, VR::SQ),
    (tags::IMAGE_COMMENTS, VR::LT),
    (tags::DERIVATION_DESCRIPTION, VR::ST),
    (tags::CAMERA_OWNER_NAME, VR::LO),
    (tags::GPS_LATITUDE_REF, VR::CS),
    (tags::INSTITUTION_CODE_SEQUENCE, VR::SQ),
];
/// Dates and identifiers can hold no letters.
const MARKED_DATE: &str = "19010203";
const MARKED_UID: &str = "1.2.3.9876543210";

fn marked(jpeg: Vec<u8>, (width, height): (u16, u16), focal: &str) -> Vec<u8> {
    let mut object = InMemDicomObject::new_empty();
    let o = &mut object;
    for (tag, vr) in IDENTIFYING {
        match vr {
            VR::SQ => {
                let mut item = InMemDicomObject::new_empty();
                item.put(DataElement::new(
                    tags::REQUESTED_PROCEDURE_COMMENTS,
                    VR::LT,
                    MARK,
                ));
                let items = dicom_core::value::DataSetSequence::from(vec![item]);
                o.put(DataElement::new(tag, vr, items))
            }
            vr => o.put(DataElement::new(tag, vr, MARK)),
        };
    }
    for tag in [
        tags::PATIENT_BIRTH_DATE,
        tags::STUDY_DATE,
        tags::SERIES_DATE,
        tags::ACQUISITION_DATE,
        tags::CONTENT_DATE,
    ] {
        o.put(DataElement::new(tag, VR::DA, MARKED_DATE));
    }
    for tag in [
        tags::SOP_INSTANCE_UID,
        tags::STUDY_INSTANCE_UID,
        tags::SERIES_INSTANCE_UID,
        tags::FRAME_OF_REFERENCE_UID,
        tags::DEVICE_UID,
    ] {
        o.put(DataElement::new(tag, VR::UI, MARKED_UID));
    }
    for (tag, vr, text) in [
        (
            tags::SOP_CLASS_UID,
            VR::UI,
            uids::VL_PHOTOGRAPHIC_IMAGE_STORAGE,
        ),
        (tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "YBR_FULL_422"),
        (tags::FOCAL_LENGTH_IN35MM_FILM, VR::IS, focal),
        (tags::PIXEL_SPACING, VR::DS, "1.5\\1.5"),
        // Of a front photo: in one from the side, a hint that something is wrong.
        (tags::PATIENT_ORIENTATION, VR::CS, "L\\F"),
        (tags::BURNED_IN_ANNOTATION, VR::CS, "YES"),
    ] {
        o.put(DataElement::new(tag, vr, text));
    }
    for (tag, number) in [
        (tags::SAMPLES_PER_PIXEL, 3),
        (tags::PLANAR_CONFIGURATION, 0),
        (tags::ROWS, height),
        (tags::COLUMNS, width),
        (tags::BITS_ALLOCATED, 8),
        (tags::BITS_STORED, 8),
        (tags::HIGH_BIT, 7),
        (tags::PIXEL_REPRESENTATION, 0),
    ] {
        o.put(DataElement::new(tag, VR::US, PrimitiveValue::from(number)));
    }
    let fragments = PixelFragmentSequence::new_fragments(vec![jpeg]);
    o.put(DataElement::new(tags::PIXEL_DATA, VR::OB, fragments));
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(uids::JPEG_BASELINE8_BIT)
        .source_application_entity_title(MARK);
    let mut bytes = Vec::new();
    let file = object.with_meta(meta).expect("a head");
    file.write_all(&mut bytes).expect("a file");
    bytes
}

fn measured(name: &str, bytes: Vec<u8>) -> Visit {
    let facts = VisitFacts {
        label: Some("intake".to_owned()),
        date: Some(jiff::civil::date(2026, 3, 10)),
        case: Some("demo-01".to_owned()),
        stature_cm: Some(164.0),
        ..VisitFacts::default()
    };
    let input = PhotoInput {
        file: name.to_owned(),
        bytes: Ok(bytes),
        wish: tragus::locate::Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    pipeline::measure_visit(finder(), facts, [input]).expect("a visit")
}

/// The same photo as a JPEG and in a DICOM file that is full of names: the same measures, and none of
/// the names anywhere.
#[test]
fn nothing_that_says_whom_a_file_shows_goes_any_further() {
    let jpeg = std::fs::read(demo("intake").join("side-reach.jpg")).expect("a photo");
    let bytes = marked(jpeg.clone(), (720, 960), "28");
    let holds = |bytes: &[u8], what: &str| {
        bytes
            .windows(what.len())
            .any(|window| window == what.as_bytes())
    };
    let marks = [MARK, MARKED_DATE, MARKED_UID];
    assert!(marks.iter().all(|mark| holds(&bytes, mark)));

    let whole = picture(&bytes);
    let from_jpeg = measured("reach", jpeg.clone());
    let visit = measured("reach", bytes);
    assert!(visit.measured().count() > 0);
    assert_eq!(visit.readings, from_jpeg.readings);
    let told: Vec<&str> = visit.photos[0]
        .notices
        .iter()
        .map(|notice| notice.text.as_str())
        .collect();
    assert!(told.iter().any(|text| text.contains("it was not used")));
    assert!(told.iter().any(|text| text.contains("may be mirrored")));
    assert!(
        told.iter()
            .any(|text| text.contains("text is part of this picture"))
    );

    // As it is filed in a case, and filed from there once more, the same is said of it.
    let mut filed = Bare::of(&marked(jpeg, (720, 960), "28"), Limits::default()).expect("a photo");
    for _ in 0..2 {
        for mark in marks {
            assert!(!holds(filed.bytes(), mark), "{mark} is in the filed photo");
        }
        let of_filed = measured("reach", filed.bytes().to_vec());
        assert_eq!(of_filed.readings, visit.readings);
        let notices = of_filed.photos[0].notices.iter();
        let of_filed: Vec<&str> = notices.map(|notice| notice.text.as_str()).collect();
        let but_pixel_size: Vec<&str> = told
            .iter()
            .copied()
            .filter(|text| !text.contains("how large a pixel is"))
            .collect();
        assert_eq!(of_filed, but_pixel_size);
        filed = Bare::of(filed.bytes(), Limits::default()).expect("a photo");
    }

    let visits = [visit.clone(), visit.clone()];
    let comparison = compare(&visits);
    let html = report::comparison_html(&ReportInput {
        visits: &visits,
        comparison: &comparison,
        pictures: &|_, _| Some(whole.clone()),
        show_faces: false,
        standing: None,
        program: "tragus",
    });
    let mut study = Study::of(&visit).expect("a day");
    let drawn = report::overlay(&whole, &visit.photos[0], false);
    let outputs: Vec<(&str, Vec<u8>)> = vec![
        ("record", record::visit_to_json(&visit).into_bytes()),
        ("table", report::visit_table(&visit).into_bytes()),
        (
            "scores",
            scores::to_csv(&scores::rows("", &visit.photos, &visit.readings)).into_bytes(),
        ),
        (
            "COCO",
            coco::visit_keypoints(&visit).to_string().into_bytes(),
        ),
        (
            "FHIR",
            fhir::comparison_bundle(&visits, &comparison)
                .expect("one case")
                .to_string()
                .into_bytes(),
        ),
        ("report", html.into_bytes()),
        ("image", study.photo(&visit.photos[0], &drawn, false)),
        ("measures", study.report()),
    ];
    for (what, output) in outputs {
        assert!(!output.is_empty());
        for mark in marks {
            assert!(!holds(&output, mark), "{mark} is in the {what}");
        }
    }
}

// What is written.

const WALL: Rgb<u8> = Rgb([200, 60, 40]);

fn written(visit: &Visit) -> (Vec<u8>, Vec<u8>) {
    let mut study = Study::of(visit).expect("a day");
    let photo = &visit.photos[0];
    let (width, height) = photo.size.expect("a size");
    let drawn = RgbImage::from_pixel(width, height, WALL);
    let image = study.photo(photo, &drawn, false);
    (image, study.report())
}

type Object = dicom_object::DefaultDicomObject;

fn object(bytes: &[u8]) -> Object {
    from_reader(bytes).expect("a DICOM file")
}

fn text(object: &InMemDicomObject, tag: Tag) -> String {
    let value = object.element(tag).unwrap_or_else(|_| panic!("no {tag}"));
    value.to_str().expect("text").into_owned()
}

fn items(object: &InMemDicomObject, tag: Tag) -> Vec<InMemDicomObject> {
    let element = object.element(tag).unwrap_or_else(|_| panic!("no {tag}"));
    element.items().unwrap_or_default().to_vec()
}

fn meaning(object: &InMemDicomObject, tag: Tag) -> String {
    text(&items(object, tag)[0], tags::CODE_MEANING)
}

/// The content items of a kind, wherever they are.
fn content(object: &InMemDicomObject, kind: &str) -> Vec<InMemDicomObject> {
    let children = match object.element(tags::CONTENT_SEQUENCE) {
        Ok(sequence) => sequence.items().unwrap_or_default().to_vec(),
        Err(_) => Vec::new(),
    };
    let mut found = Vec::new();
    for child in children {
        if text(&child, tags::VALUE_TYPE) == kind {
            found.push(child.clone());
        }
        found.extend(content(&child, kind));
    }
    found
}

#[test]
fn an_image_is_read_back_and_names_nobody_but_the_code() {
    let mut visit = visit("intake, früh \\ 1", 10, 0.0);
    let (image, _) = written(&visit);
    let read = object(&image);
    assert_eq!(text(&read, tags::PATIENT_ID), "demo-01");
    for empty in [
        tags::PATIENT_NAME,
        tags::PATIENT_BIRTH_DATE,
        tags::PATIENT_SEX,
        tags::REFERRING_PHYSICIAN_NAME,
        tags::ACCESSION_NUMBER,
    ] {
        assert_eq!(text(&read, empty), "");
    }
    assert_eq!(text(&read, tags::STUDY_DATE), "20260310");
    assert_eq!(text(&read, tags::STUDY_DESCRIPTION), "intake, früh / 1");
    assert_eq!(text(&read, tags::IMAGE_TYPE), "DERIVED\\SECONDARY");
    // The photo of the record shows the person's left or right side.
    let row = text(&read, tags::PATIENT_ORIENTATION);
    assert!(row == "A\\F" || row == "P\\F", "{row}");
    let largest = most_apart(
        &picture(&image),
        &RgbImage::from_pixel(
            visit.photos[0].size.expect("a size").0,
            visit.photos[0].size.expect("a size").1,
            WALL,
        ),
    );
    assert!(largest <= 3, "{largest}");
    visit.photos[0].view = None;
    assert_eq!(
        text(&object(&written(&visit).0), tags::PATIENT_ORIENTATION),
        ""
    );
}

#[test]
fn a_report_holds_every_measure_with_its_error_or_the_reason_why_there_is_none() {
    let visit = visit("intake", 10, 0.0);
    let (image, report) = written(&visit);
    let read = object(&report);
    assert_eq!(text(&read, tags::VERIFICATION_FLAG), "UNVERIFIED");
    assert_eq!(text(&read, tags::PRELIMINARY_FLAG), "PRELIMINARY");
    assert_eq!(text(&read, tags::COMPLETION_FLAG), "PARTIAL");
    assert_eq!(text(&read, tags::PATIENT_ID), "demo-01");
    assert_eq!(text(&read, tags::PATIENT_NAME), "");
    let instance = text(&object(&image), tags::SOP_INSTANCE_UID);
    let numbers: Vec<InMemDicomObject> = content(&read, "NUM")
        .into_iter()
        .filter(|one| text(one, tags::RELATIONSHIP_TYPE) == "CONTAINS")
        .collect();
    assert_eq!(numbers.len(), visit.readings.len());
    let groups: Vec<InMemDicomObject> = content(&read, "CONTAINER")
        .into_iter()
        .filter(|one| meaning(one, tags::CONCEPT_NAME_CODE_SEQUENCE) == "Measurement Group")
        .collect();
    assert_eq!(groups.len(), numbers.len());
    for reading in &visit.readings {
        let group = groups
            .iter()
            .find(|group| {
                let number = &content(group, "NUM")[0];
                let tracked = &content(group, "TEXT")[0];
                let side = reading.side.map_or("", tragus::body::Side::name);
                meaning(number, tags::CONCEPT_NAME_CODE_SEQUENCE) == reading.measure.words()
                    && text(tracked, tags::TEXT_VALUE).contains(side)
                    && unit(number).is_none_or(|unit| unit == reading.measure.unit().name())
            })
            .unwrap_or_else(|| panic!("no {} {:?}", reading.measure, reading.side));
        let numbers = content(group, "NUM");
        match &reading.outcome {
            Ok(estimate) => {
                assert_eq!(value(&numbers[0]), estimate.value);
                assert_eq!(value(&numbers[1]), estimate.sigma);
                assert_eq!(
                    meaning(&numbers[1], tags::CONCEPT_NAME_CODE_SEQUENCE),
                    "Standard error"
                );
            }
            Err(why) => {
                assert!(items(&numbers[0], tags::MEASURED_VALUE_SEQUENCE).is_empty());
                assert_eq!(
                    meaning(&numbers[0], tags::NUMERIC_VALUE_QUALIFIER_CODE_SEQUENCE),
                    "Measurement failure"
                );
                let reason = &content(&numbers[0], "TEXT")[0];
                assert_eq!(text(reason, tags::TEXT_VALUE), why.reason);
            }
        }
        let source = &content(&numbers[0], "IMAGE")[0];
        let source = &items(source, tags::REFERENCED_SOP_SEQUENCE)[0];
        assert_eq!(text(source, tags::REFERENCED_SOP_INSTANCE_UID), instance);
    }
}

fn unit(number: &InMemDicomObject) -> Option<String> {
    let measured = items(number, tags::MEASURED_VALUE_SEQUENCE);
    let units = items(measured.first()?, tags::MEASUREMENT_UNITS_CODE_SEQUENCE);
    Some(text(&units[0], tags::CODE_VALUE))
}

fn value(number: &InMemDicomObject) -> f64 {
    let measured = &items(number, tags::MEASURED_VALUE_SEQUENCE)[0];
    let text = text(measured, tags::NUMERIC_VALUE);
    assert!(text.len() <= 16, "{text}");
    text.parse().expect("a number")
}

/// A name longer than the standard allows would be cut.
#[test]
fn every_code_has_a_meaning_that_fits() {
    let (_, report) = written(&visit("intake", 10, 0.0));
    let read = object(&report);
    let numbers = content(&read, "NUM");
    for number in &numbers {
        let meaning = meaning(number, tags::CONCEPT_NAME_CODE_SEQUENCE);
        assert!(meaning.len() < 64, "{meaning}");
    }
    assert!(!numbers.is_empty());
}

#[test]
fn the_same_visit_is_the_same_files_and_another_is_others() {
    let first = visit("intake", 10, 0.0);
    assert_eq!(written(&first), written(&first));
    let named = |bytes: &[u8]| text(&object(bytes), tags::SOP_INSTANCE_UID);
    let (image, report) = written(&first);
    let (other_image, other_report) = written(&visit("intake", 10, 1.0));
    // The same photo, other measures.
    assert_eq!(image, other_image);
    assert_ne!(named(&report), named(&other_report));
    let (image, report) = (object(&image), object(&report));
    assert_eq!(
        text(&image, tags::STUDY_INSTANCE_UID),
        text(&report, tags::STUDY_INSTANCE_UID)
    );
    for uid in [
        text(&image, tags::SOP_INSTANCE_UID),
        text(&image, tags::SERIES_INSTANCE_UID),
    ] {
        assert!(uid.starts_with("2.25.") && uid.len() <= 64, "{uid}");
    }
}

#[test]
fn without_a_day_or_with_a_code_that_does_not_fit_nothing_is_written() {
    let mut visit = visit("intake", 10, 0.0);
    visit.facts.case = Some("a\\b".to_owned());
    assert!(matches!(Study::of(&visit), Err(DicomError::CaseCode(_))));
    visit.facts.case = Some("a".repeat(65));
    assert!(matches!(Study::of(&visit), Err(DicomError::CaseCode(_))));
    visit.facts.case = None;
    let (image, _) = written(&visit);
    assert_eq!(text(&object(&image), tags::PATIENT_ID), "");
    visit.facts.date = None;
    assert!(matches!(Study::of(&visit), Err(DicomError::NoDate)));
}

#[test]
fn the_command_line_writes_the_files_of_a_visit() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("tragus").expect("the program");
        command
            .env_remove("ORT_DYLIB_PATH")
            .arg("measure")
            .arg(root().join("fixtures/formats/dicom/rgb.dcm"))
            .arg("--dicom")
            .arg(folder.path())
            .args(arguments)
            .assert()
    };
    run(&[]).code(2).stderr(contains("hint: add --date"));
    let written = || std::fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(written(), 0);
    run(&["--date", "2026-03-10"])
        .code(1)
        .stderr(contains("may have been missed"));
    for name in ["rgb.dcm.overlay.dcm", "measures.sr.dcm"] {
        let path = folder.path().join(name);
        object(&std::fs::read(&path).expect("a file"));
        assert!(!photo::is_photo_name(&path), "{name} would be measured");
    }
    assert_eq!(written(), 2);
}

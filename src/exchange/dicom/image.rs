//! A drawn photo as Secondary Capture Image Storage, compressed as baseline JPEG.

use ::image::RgbImage;
use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::InMemDicomObject;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

use super::Study;
use super::attributes::{common, put_empty, put_number, put_text};
use crate::body::{Side, View};
use crate::visit::{NoticeKind, PhotoRecord};

const QUALITY: u8 = 88;

pub fn object(
    study: &Study,
    series: &str,
    photo: &PhotoRecord,
    drawn: &RgbImage,
    shows_faces: bool,
) -> InMemDicomObject {
    let photos = &study.visit.photos;
    let number = photos.iter().position(|other| other.file == photo.file);
    let mut object = common(study, uids::SECONDARY_CAPTURE_IMAGE_STORAGE, series);
    let o = &mut object;
    // General Series: modality 1, number 2, laterality 2C, description 3. What took the picture was a
    // camera.
    put_text(o, tags::MODALITY, "XC");
    put_text(o, tags::SERIES_NUMBER, "1");
    put_empty(o, tags::LATERALITY);
    put_text(
        o,
        tags::SERIES_DESCRIPTION,
        "Photos with the lines of measures",
    );
    // SC Equipment: 1. Made by a program out of another picture.
    put_text(o, tags::CONVERSION_TYPE, "WSD");
    // General Image: number 2, orientation 2C, others 3.
    put_text(
        o,
        tags::INSTANCE_NUMBER,
        &number.map_or(0, |at| at + 1).to_string(),
    );
    match orientation(photo.view) {
        Some([row, column]) => {
            put_text(o, tags::PATIENT_ORIENTATION, &format!("{row}\\{column}"));
        }
        None => put_empty(o, tags::PATIENT_ORIENTATION),
    }
    put_text(o, tags::IMAGE_TYPE, "DERIVED\\SECONDARY");
    put_text(
        o,
        tags::DERIVATION_DESCRIPTION,
        match shows_faces {
            true => "Landmarks and lines of measures drawn in",
            false => "Landmarks and lines of measures drawn in, faces covered where found",
        },
    );
    // No text was drawn in, and whether the photo had some is left open unless its file said so. So is
    // whether a person can still be recognised where faces are covered: one may have been missed.
    if photo
        .notices
        .iter()
        .any(|notice| notice.kind == NoticeKind::TextInPicture)
    {
        put_text(o, tags::BURNED_IN_ANNOTATION, "YES");
    }
    if shows_faces {
        put_text(o, tags::RECOGNIZABLE_VISUAL_FEATURES, "YES");
    }
    // Image Pixel: 1; planar configuration 1C.
    put_number(o, tags::SAMPLES_PER_PIXEL, 3);
    put_text(o, tags::PHOTOMETRIC_INTERPRETATION, "YBR_FULL_422");
    put_number(o, tags::PLANAR_CONFIGURATION, 0);
    put_number(o, tags::ROWS, drawn.height() as u16);
    put_number(o, tags::COLUMNS, drawn.width() as u16);
    put_number(o, tags::BITS_ALLOCATED, 8);
    put_number(o, tags::BITS_STORED, 8);
    put_number(o, tags::HIGH_BIT, 7);
    put_number(o, tags::PIXEL_REPRESENTATION, 0);
    let jpeg = jpeg(drawn);
    // General Image: 3, and 1C where an image was compressed with a loss.
    let ratio = drawn.as_raw().len() as f64 / jpeg.len() as f64;
    put_text(o, tags::LOSSY_IMAGE_COMPRESSION, "01");
    put_text(
        o,
        tags::LOSSY_IMAGE_COMPRESSION_RATIO,
        &format!("{ratio:.2}"),
    );
    put_text(o, tags::LOSSY_IMAGE_COMPRESSION_METHOD, "ISO_10918_1");
    let fragments = PixelFragmentSequence::new_fragments(vec![jpeg]);
    o.put(DataElement::new(tags::PIXEL_DATA, VR::OB, fragments));
    object
}

/// Where the photo's rows run to on the body, and its columns.
fn orientation(view: Option<View>) -> Option<[&'static str; 2]> {
    let row = match view? {
        View::Front => "L",
        View::Back => "R",
        View::Side(Side::Left) => "P",
        View::Side(Side::Right) => "A",
        View::Oblique(_) => return None,
    };
    Some([row, "F"])
}

/// Of even length, as fragments are.
fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, QUALITY);
    encoder.set_sampling_factor(SamplingFactor::F_2_1);
    let (width, height) = (picture.width() as u16, picture.height() as u16);
    encoder
        .encode(picture.as_raw(), width, height, ColorType::Rgb)
        .expect("the sides of a photo fit into 16 bits");
    if !bytes.len().is_multiple_of(2) {
        bytes.push(0);
    }
    bytes
}

//! Landmarks placed by hand: photo → name → position in pixels of the upright photo.
//!
//! ```json
//! { "side-right.jpg": { "c7": { "x": 312.5, "y": 204.0 } } }
//! ```
//! `sigma_px` may be added to say how sure the point is. A table says the same (`photo`, `landmark`,
//! `x`, `y` and, where it is known, `sigma_px`), and so do COCO keypoints, under the names used here
//! or under those of COCO's own people.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Value;

use super::{RecordError, parse, wrong};
use crate::body::{Landmark, Side};
use crate::geometry::Point;
use crate::locate::ManualPoint;
use crate::sheet::Sheet;

/// Photo → name of the landmark → where it is.
pub(super) type LandmarksFile = BTreeMap<String, BTreeMap<String, Placed>>;

/// Pixels of the upright photo.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Placed {
    x: f64,
    y: f64,
    /// How sure the point is: one sigma.
    #[schemars(extend("exclusiveMinimum" = 0))]
    sigma_px: Option<f64>,
}

type Points = BTreeMap<String, Vec<ManualPoint>>;

/// A file of COCO keypoints, as far as it is read.
#[derive(Deserialize)]
struct CocoFile {
    images: Vec<CocoImage>,
    annotations: Vec<CocoAnnotation>,
    categories: Vec<CocoCategory>,
}

#[derive(Deserialize)]
struct CocoImage {
    id: u64,
    file_name: String,
}

#[derive(Deserialize)]
struct CocoAnnotation {
    image_id: u64,
    category_id: u64,
    /// x, y and visibility of each point of the category; 0 is not there.
    #[serde(default)]
    keypoints: Vec<f64>,
}

#[derive(Deserialize)]
struct CocoCategory {
    id: u64,
    #[serde(default)]
    keypoints: Vec<String>,
}

/// COCO counts pixels, where positions of the program are those of their corners.
const HALF_PIXEL: f64 = 0.5;

/// Reads a landmark file, the project's own or COCO keypoints: the points of each photo by file
/// name.
pub fn landmarks_from_json(text: &str) -> Result<Points, RecordError> {
    let file: Value = parse(text)?;
    // A photo holds landmarks by name, never a list.
    if file["annotations"].is_array() {
        return from_coco(&serde_json::from_value(file)?);
    }
    let photos: LandmarksFile = parse(text)?;
    photos
        .into_iter()
        .map(|(photo, points)| {
            let points = points
                .into_iter()
                .map(|(name, placed)| point(&photo, &name, &placed))
                .collect::<Result<Vec<_>, _>>()?;
            Ok((photo, points))
        })
        .collect()
}

/// Reads a table with the columns `photo`, `landmark`, `x`, `y` and, where it is known, `sigma_px`.
pub fn landmarks_from_csv(bytes: &[u8]) -> Result<Points, RecordError> {
    let sheet = Sheet::read(bytes)?;
    for column in ["photo", "landmark", "x", "y"] {
        if !sheet.has(column) {
            let got = sheet.columns().join(", ");
            return Err(wrong("the header", got, format!("a column {column}")));
        }
    }
    let mut photos = Points::new();
    for row in sheet.rows() {
        let (photo, name) = (sheet.text(row, "photo"), sheet.text(row, "landmark"));
        let place = |column: &str| {
            sheet.number(row, column)?.ok_or_else(|| {
                let field = format!("{column} in line {}", row.line);
                wrong(&field, "empty", "pixels of the upright photo")
            })
        };
        let placed = Placed {
            x: place("x")?,
            y: place("y")?,
            sigma_px: sheet.number(row, "sigma_px")?,
        };
        let point = point(photo, name, &placed)?;
        let points = photos.entry(photo.to_owned()).or_default();
        if points.iter().any(|other| other.landmark == point.landmark) {
            let field = format!("{name} of {photo}");
            return Err(wrong(&field, "given twice", "one place"));
        }
        points.push(point);
    }
    Ok(photos)
}

fn from_coco(file: &CocoFile) -> Result<Points, RecordError> {
    let mut photos = Points::new();
    for annotation in &file.annotations {
        let image = file
            .images
            .iter()
            .find(|image| image.id == annotation.image_id)
            .ok_or_else(|| wrong("image_id", annotation.image_id, "the id of an image"))?;
        let names = file
            .categories
            .iter()
            .find(|category| category.id == annotation.category_id)
            .map(|category| &category.keypoints)
            .ok_or_else(|| wrong("category_id", annotation.category_id, "that of a category"))?;
        let photo = image
            .file_name
            .rsplit(['/', '\\'])
            .next()
            .unwrap_or_default();
        if annotation.keypoints.is_empty() {
            continue;
        }
        if annotation.keypoints.len() != 3 * names.len() {
            let got = format!("a list of {}", annotation.keypoints.len());
            let expected = format!("x, y and visibility of {} points", names.len());
            return Err(wrong(&format!("keypoints of {photo}"), got, expected));
        }
        let mut points = Vec::new();
        for (name, values) in names.iter().zip(annotation.keypoints.chunks_exact(3)) {
            let ours = match of_coco(name) {
                Known::As(landmark) => landmark.name(),
                Known::Elsewhere => continue,
                Known::Not => name.clone(),
            };
            let placed = Placed {
                x: values[0] + HALF_PIXEL,
                y: values[1] + HALF_PIXEL,
                sigma_px: None,
            };
            let point = point(photo, &ours, &placed)?;
            if values[2] != 0.0 {
                points.push(point);
            }
        }
        if photos.insert(photo.to_owned(), points).is_some() {
            let expected = "one person to a photo";
            return Err(wrong(photo, "annotated more than once", expected));
        }
    }
    Ok(photos)
}

/// What a name of COCO's people is here.
enum Known {
    As(Landmark),
    /// A point that no landmark here is: an ear is not its tragus, nor an eye its outer corner.
    Elsewhere,
    Not,
}

fn of_coco(name: &str) -> Known {
    let Some((side, point)) = name.split_once('_') else {
        return Known::Not;
    };
    let Some(side) = Side::from_name(side) else {
        return Known::Not;
    };
    Known::As(match point {
        "shoulder" => Landmark::ShoulderJoint(side),
        "elbow" => Landmark::Elbow(side),
        "wrist" => Landmark::Wrist(side),
        "hip" => Landmark::HipJoint(side),
        "knee" => Landmark::Knee(side),
        "ankle" => Landmark::Ankle(side),
        "eye" | "ear" => return Known::Elsewhere,
        _ => return Known::Not,
    })
}

fn point(photo: &str, name: &str, placed: &Placed) -> Result<ManualPoint, RecordError> {
    let lower = name.to_lowercase();
    let landmark = Landmark::from_name(&lower).ok_or_else(|| {
        let all = || Landmark::all().map(Landmark::name);
        let mut known: Vec<String> = all().filter(|other| other.starts_with(&lower)).collect();
        if known.is_empty() {
            known = all().collect();
        }
        wrong(
            &format!("landmark of {photo}"),
            format!("{name:?}"),
            format!("one of {}", known.join(", ")),
        )
    })?;
    if !(placed.x.is_finite() && placed.y.is_finite()) {
        let got = format!("({}, {})", placed.x, placed.y);
        return Err(wrong(
            &format!("{name} in {photo}"),
            got,
            "pixels of the upright photo",
        ));
    }
    if let Some(sigma) = placed.sigma_px.filter(|sigma| *sigma <= 0.0) {
        return Err(wrong(
            &format!("sigma_px of {name} in {photo}"),
            sigma,
            "more than 0",
        ));
    }
    Ok(ManualPoint {
        landmark,
        at: Point::new(placed.x, placed.y),
        sigma_px: placed.sigma_px,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_are_read_by_photo_and_name() {
        let read = landmarks_from_json(
            r#"{"a.jpg":{"c7":{"x":1.5,"y":2},"tragus_left":{"x":3,"y":4,"sigma_px":2}}}"#,
        )
        .unwrap();
        assert_eq!(read["a.jpg"].len(), 2);
        assert_eq!(read["a.jpg"][0].landmark, Landmark::C7);
        assert_eq!(read["a.jpg"][1].sigma_px, Some(2.0));
    }

    #[test]
    fn an_unknown_name_is_answered_with_the_known_ones() {
        let error = landmarks_from_json(r#"{"a.jpg":{"C-7":{"x":1,"y":2}}}"#).unwrap_err();
        let message = error.to_string();
        assert!(
            message.starts_with("landmark of a.jpg is \"C-7\", expected one of nose, chin, c7")
        );
    }
}

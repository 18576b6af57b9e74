//! Landmarks placed by hand: photo → name → position in pixels of the upright photo.
//!
//! ```json
//! { "side-right.jpg": { "c7": { "x": 312.5, "y": 204.0 } } }
//! ```
//! `sigma_px` may be added to say how sure the point is.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Deserialize;

use super::{RecordError, parse, wrong};
use crate::body::Landmark;
use crate::geometry::Point;
use crate::locate::ManualPoint;

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

/// Reads a landmark file: the points of each photo by file name.
pub fn landmarks_from_json(text: &str) -> Result<BTreeMap<String, Vec<ManualPoint>>, RecordError> {
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

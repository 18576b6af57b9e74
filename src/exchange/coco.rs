//! Landmarks of a visit as COCO keypoints: images, one annotation for each person seen, and a
//! category that names the points and the lines between them.

use serde_json::{Value, json};

use crate::body::{Landmark, Side};
use crate::visit::{Located, PhotoRecord, Visit};

/// COCO counts pixels, where positions of the program are those of their corners: the middle of the
/// first pixel is 0 there and 0.5 here.
const HALF_PIXEL: f64 = 0.5;
const CATEGORY: u32 = 1;
/// Visibility of a point: not in the photo, there but covered, seen.
const ABSENT: u8 = 0;
const COVERED: u8 = 1;
const SEEN: u8 = 2;

/// A visit's photos and the landmarks found in them. A photo that could not be read is left out.
pub fn visit_keypoints(visit: &Visit) -> Value {
    let mut images = Vec::new();
    let mut annotations = Vec::new();
    for (id, photo) in (1..).zip(&visit.photos) {
        let Some((width, height)) = photo.size else {
            continue;
        };
        images.push(json!({
            "id": id,
            "file_name": photo.file,
            "width": width,
            "height": height,
        }));
        annotations.extend(annotation(id, photo));
    }
    json!({
        "info": {
            "description": "landmarks of one visit",
            "version": concat!("tragus ", env!("CARGO_PKG_VERSION")),
        },
        "licenses": [],
        "images": images,
        "annotations": annotations,
        "categories": [{
            "id": CATEGORY,
            "name": "person",
            "supercategory": "person",
            "keypoints": Landmark::all().map(Landmark::name).collect::<Vec<_>>(),
            "skeleton": skeleton(),
        }],
    })
}

/// The one person of a photo; `None` where nobody was found.
fn annotation(image: u32, photo: &PhotoRecord) -> Option<Value> {
    let places = || photo.landmarks.values().map(coco);
    let least = places().reduce(|a, b| [a[0].min(b[0]), a[1].min(b[1])])?;
    let most = places().reduce(|a, b| [a[0].max(b[0]), a[1].max(b[1])])?;
    let (width, height) = (rounded(most[0] - least[0]), rounded(most[1] - least[1]));
    let keypoints: Vec<Value> = Landmark::all()
        .flat_map(|landmark| match photo.landmarks.get(&landmark) {
            None => [json!(0), json!(0), json!(ABSENT)],
            Some(located) => {
                let [x, y] = coco(located);
                let visibility = if located.covered { COVERED } else { SEEN };
                [json!(x), json!(y), json!(visibility)]
            }
        })
        .collect();
    Some(json!({
        "id": image,
        "image_id": image,
        "category_id": CATEGORY,
        "iscrowd": 0,
        "keypoints": keypoints,
        "num_keypoints": photo.landmarks.len(),
        // Around the landmarks, not the outline, which nobody knows.
        "bbox": [least[0], least[1], width, height],
        "area": rounded(width * height),
    }))
}

fn coco(located: &Located) -> [f64; 2] {
    [located.at.x, located.at.y].map(|place| rounded(place - HALF_PIXEL))
}

/// To a hundredth of a pixel, as in records.
fn rounded(value: f64) -> f64 {
    (value * 1e2).round() / 1e2
}

/// Lines between points, by their numbers counted from 1.
fn skeleton() -> Vec<[usize; 2]> {
    use Landmark::*;
    let number = |landmark| {
        let place = Landmark::all().position(|other| other == landmark);
        place.expect("one of all") + 1
    };
    let spine = [C7, T4, T8, T12, L3];
    let middle = spine.windows(2).map(|pair| (pair[0], pair[1]));
    let limbs = Side::BOTH.into_iter().flat_map(|side| {
        [
            (Tragus(side), C7),
            (C7, Acromion(side)),
            (ShoulderJoint(side), Elbow(side)),
            (Elbow(side), Wrist(side)),
            (ShoulderJoint(side), HipJoint(side)),
            (HipJoint(side), Knee(side)),
            (Knee(side), Ankle(side)),
            (Ankle(side), Heel(side)),
            (Heel(side), Toe(side)),
        ]
    });
    let across = [ShoulderJoint as fn(Side) -> Landmark, HipJoint]
        .map(|of| (of(Side::Left), of(Side::Right)));
    middle
        .chain(limbs)
        .chain(across)
        .map(|(from, to)| [number(from), number(to)])
        .collect()
}

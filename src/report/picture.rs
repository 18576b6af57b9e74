//! Pictures for the report: the person cut out of the photo, the face covered, and two photos of
//! one pose scaled so that the body is equally large and stands on one line.

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{Rgb, RgbImage};

use crate::body::{Landmark, Side};
use crate::geometry::{Angle, Map, Photo, Point};
use crate::visit::{FaceCircle, PhotoRecord};

/// The picture in the report: pixels, as in [`Photo`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Picture {}

const QUALITY: u8 = 82;
/// Where the picture reaches past the photo's edge.
const PAPER: Rgb<u8> = Rgb([238, 238, 236]);
const COVER: [f64; 3] = [176.0, 180.0, 184.0];
/// Beyond the face, over this part of its radius, the cover fades out.
const SOFT_EDGE: f64 = 0.15;
/// Room around the landmarks, as a part of the length from shoulder to ankle.
const MARGIN: f64 = 0.09;
/// From the ear to the crown, likewise.
const CROWN: f64 = 0.13;
/// From the wrist to the finger tips, as a part of the forearm.
const HAND: f64 = 0.85;
/// Least width of a picture as a part of its height: room for the values beside the person.
const LEAST_WIDTH: f64 = 0.68;
const MOST_WIDTH: f64 = 1.3;

/// How a photo becomes a picture.
#[derive(Clone, Copy, Debug)]
pub struct Framing {
    pub width: u32,
    pub height: u32,
    pub picture_from_photo: Map<Photo, Picture>,
}

/// A picture ready to be embedded.
#[derive(Clone, Debug)]
pub struct Encoded {
    pub jpeg: Vec<u8>,
    pub framing: Framing,
}

/// Frames photos of one pose alike, `height` pixels high: the same size on paper, the same length
/// from shoulder to ankle, the ankles on one line. `None` for a photo whose person can't be
/// framed; photos without ankles are framed each for itself.
pub fn frame_alike(photos: &[&PhotoRecord], height: u32) -> Vec<Option<Framing>> {
    let stances: Option<Vec<Stance>> = photos.iter().map(|photo| Stance::of(photo)).collect();
    match stances {
        Some(stances) => {
            let room = stances.iter().map(Stance::room).reduce(Room::union);
            stances
                .iter()
                .map(|stance| room.and_then(|room| stance.framing(room, height)))
                .collect()
        }
        None => photos
            .iter()
            .map(|photo| frame_alone(photo, height))
            .collect(),
    }
}

/// Whether these photos can be shown with equally large bodies.
pub fn comparable(photos: &[&PhotoRecord]) -> bool {
    photos.iter().all(|photo| Stance::of(photo).is_some())
}

/// Cuts, scales, covers faces unless told not to, and encodes without metadata.
///
/// `None` when the face must be covered but nothing tells where it is, or when encoding fails.
pub fn encode(
    image: &RgbImage,
    photo: &PhotoRecord,
    framing: Framing,
    show_faces: bool,
) -> Option<Encoded> {
    let mut picture = cut(image, &framing);
    if !show_faces {
        let faces = faces(photo)?;
        for face in faces {
            let centre = framing.picture_from_photo.apply(face.centre);
            cover(
                &mut picture,
                centre.x,
                centre.y,
                face.radius * framing.picture_from_photo.scale(),
            );
        }
    }
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(&picture)
        .ok()?;
    Some(Encoded { jpeg, framing })
}

/// The circles to cover; from the head's landmarks where the photo carries none of its own.
/// `None` when neither tells where the face is.
pub(super) fn faces(photo: &PhotoRecord) -> Option<Vec<FaceCircle>> {
    if !photo.faces.is_empty() {
        return Some(photo.faces.clone());
    }
    let head = [Landmark::Nose, Landmark::Chin]
        .into_iter()
        .chain(Side::BOTH.into_iter().flat_map(|side| {
            [
                Landmark::EyeOuter(side),
                Landmark::Mouth(side),
                Landmark::Tragus(side),
            ]
        }));
    let points: Vec<Point<Photo>> = head
        .filter_map(|landmark| Some(photo.landmarks.get(&landmark)?.at))
        .collect();
    let bounds = Bounds::around(points.iter().copied())?;
    let length = Stance::length(photo).or_else(|| {
        let all = Bounds::around(photo.landmarks.values().map(|located| located.at))?;
        Some(all.bottom - all.top)
    })?;
    let centre = Point::new(
        (bounds.left + bounds.right) / 2.0,
        (bounds.top + bounds.bottom) / 2.0,
    );
    let spread = points
        .iter()
        .map(|p| p.distance(centre))
        .fold(0.0, f64::max);
    // Half a head's height and more, wherever on the head the known points lie.
    Some(vec![FaceCircle {
        centre,
        radius: spread + 0.1 * length,
    }])
}

/// Paints a solid disc whose edge fades outward.
pub(super) fn cover(picture: &mut RgbImage, x: f64, y: f64, radius: f64) {
    let outer = radius * (1.0 + SOFT_EDGE);
    let span = |centre: f64, size: u32| {
        let from = (centre - outer).floor().clamp(0.0, f64::from(size)) as u32;
        let to = (centre + outer).ceil().clamp(0.0, f64::from(size)) as u32;
        from..to
    };
    for row in span(y, picture.height()) {
        for column in span(x, picture.width()) {
            let away = (f64::from(column) + 0.5 - x).hypot(f64::from(row) + 0.5 - y);
            let opacity = ((outer - away) / (outer - radius)).clamp(0.0, 1.0);
            let pixel = picture.get_pixel_mut(column, row);
            for (channel, cover) in pixel.0.iter_mut().zip(COVER) {
                let mixed = f64::from(*channel) * (1.0 - opacity) + cover * opacity;
                *channel = mixed.round() as u8;
            }
        }
    }
}

fn cut(image: &RgbImage, framing: &Framing) -> RgbImage {
    let mut picture = RgbImage::from_pixel(framing.width, framing.height, PAPER);
    let photo_from_picture = framing.picture_from_photo.inverse();
    let corner = photo_from_picture.apply(Point::new(0.0, 0.0));
    let far = photo_from_picture.apply(Point::new(
        f64::from(framing.width),
        f64::from(framing.height),
    ));
    let inside = |value: f64, size: u32| value.clamp(0.0, f64::from(size));
    let (left, top) = (
        inside(corner.x.floor(), image.width()),
        inside(corner.y.floor(), image.height()),
    );
    let (right, bottom) = (
        inside(far.x.ceil(), image.width()),
        inside(far.y.ceil(), image.height()),
    );
    let scale = framing.picture_from_photo.scale();
    let scaled = |length: f64| (length * scale).round() as u32;
    let (width, height) = (scaled(right - left), scaled(bottom - top));
    if width == 0 || height == 0 {
        return picture;
    }
    let part = imageops::crop_imm(
        image,
        left as u32,
        top as u32,
        (right - left) as u32,
        (bottom - top) as u32,
    )
    .to_image();
    let small = imageops::resize(&part, width, height, FilterType::CatmullRom);
    let at = framing.picture_from_photo.apply(Point::new(left, top));
    imageops::replace(
        &mut picture,
        &small,
        at.x.round() as i64,
        at.y.round() as i64,
    );
    picture
}

/// Frames a person without known ankles: all that was found, with room around it.
fn frame_alone(photo: &PhotoRecord, height: u32) -> Option<Framing> {
    let points = reach_of(photo);
    let bounds = Bounds::around(points.iter().copied())?;
    let tall = bounds.bottom - bounds.top;
    let wide = bounds.right - bounds.left;
    let size = tall.max(wide);
    if size <= 0.0 {
        return None;
    }
    let middle = (bounds.left + bounds.right) / 2.0;
    let side = tall + 0.3 * size;
    let half = (wide / 2.0 + 0.15 * size).max(side * LEAST_WIDTH / 2.0);
    framing(
        Point::new(middle - half, bounds.top - 0.15 * size),
        side,
        2.0 * half,
        height,
    )
}

/// The framing whose picture shows, from `corner` on, `tall` by `wide` photo pixels.
fn framing(corner: Point<Photo>, tall: f64, wide: f64, height: u32) -> Option<Framing> {
    let pixels = f64::from(height);
    let middle = Point::new(corner.x + tall / 2.0, corner.y + tall / 2.0);
    let photo_from_picture =
        Map::<Picture, Photo>::square(pixels, middle, tall, Angle::ZERO, false)?;
    Some(Framing {
        width: (wide / tall * pixels).round().max(1.0) as u32,
        height,
        picture_from_photo: photo_from_picture.inverse(),
    })
}

/// Where the person stands in the photo and how large they are there.
struct Stance {
    /// Middle of the ankles.
    foot: Point<Photo>,
    /// Pixels from shoulder to hip to knee to ankle.
    length: f64,
    bounds: Bounds,
}

/// What must fit in a picture, in shoulder-to-ankle lengths from the foot point.
#[derive(Clone, Copy)]
struct Room {
    above: f64,
    below: f64,
    half: f64,
}

impl Room {
    fn union(self, other: Room) -> Room {
        Room {
            above: self.above.max(other.above),
            below: self.below.max(other.below),
            half: self.half.max(other.half),
        }
    }
}

impl Stance {
    fn of(photo: &PhotoRecord) -> Option<Stance> {
        let ankles: Vec<Point<Photo>> = sides(photo)
            .into_iter()
            .filter_map(|side| Some(photo.landmarks.get(&Landmark::Ankle(side))?.at))
            .collect();
        let foot = match ankles[..] {
            [one] => one,
            [left, right] => left.midpoint(right),
            _ => return None,
        };
        Some(Stance {
            foot,
            length: Stance::length(photo)?,
            bounds: Bounds::around(reach_of(photo))?,
        })
    }

    fn length(photo: &PhotoRecord) -> Option<f64> {
        let lengths: Vec<f64> = sides(photo)
            .into_iter()
            .filter_map(|side| {
                let at = |landmark: Landmark| Some(photo.landmarks.get(&landmark)?.at);
                let shoulder = at(Landmark::ShoulderJoint(side))?;
                let hip = at(Landmark::HipJoint(side))?;
                let ankle = at(Landmark::Ankle(side))?;
                let leg = match at(Landmark::Knee(side)) {
                    Some(knee) => hip.distance(knee) + knee.distance(ankle),
                    None => hip.distance(ankle),
                };
                Some(shoulder.distance(hip) + leg)
            })
            .collect();
        let mean = lengths.iter().sum::<f64>() / lengths.len() as f64;
        (mean > 1.0).then_some(mean)
    }

    fn room(&self) -> Room {
        let part = |pixels: f64| pixels / self.length + MARGIN;
        Room {
            above: part(self.foot.y - self.bounds.top),
            below: part(self.bounds.bottom - self.foot.y),
            half: part((self.foot.x - self.bounds.left).max(self.bounds.right - self.foot.x)),
        }
    }

    fn framing(&self, room: Room, height: u32) -> Option<Framing> {
        let tall = room.above + room.below;
        let half = room
            .half
            .clamp(tall * LEAST_WIDTH / 2.0, tall * MOST_WIDTH / 2.0);
        let corner = Point::new(
            self.foot.x - half * self.length,
            self.foot.y - room.above * self.length,
        );
        framing(corner, tall * self.length, 2.0 * half * self.length, height)
    }
}

/// Sides whose size and feet count: the near one of a side view, else both.
fn sides(photo: &PhotoRecord) -> Vec<Side> {
    match photo.view.and_then(|view| view.near_side()) {
        Some(near) => vec![near],
        None => Side::BOTH.to_vec(),
    }
}

/// Every landmark, and finger tips, crown and soles, which are none.
fn reach_of(photo: &PhotoRecord) -> Vec<Point<Photo>> {
    let at = |landmark: Landmark| Some(photo.landmarks.get(&landmark)?.at);
    let mut points: Vec<Point<Photo>> =
        photo.landmarks.values().map(|located| located.at).collect();
    let length = Stance::length(photo).unwrap_or(0.0);
    for side in Side::BOTH {
        if let (Some(elbow), Some(wrist)) = (at(Landmark::Elbow(side)), at(Landmark::Wrist(side))) {
            points.push(wrist + (wrist - elbow) * HAND);
        }
        if let Some(tragus) = at(Landmark::Tragus(side)) {
            points.push(Point::new(tragus.x, tragus.y - CROWN * length));
        }
        if let Some(ankle) = at(Landmark::Ankle(side)) {
            points.push(Point::new(ankle.x, ankle.y + 0.05 * length));
        }
    }
    points
}

struct Bounds {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Bounds {
    fn around(points: impl IntoIterator<Item = Point<Photo>>) -> Option<Bounds> {
        points.into_iter().fold(None, |bounds, point| {
            let bounds = bounds.unwrap_or(Bounds {
                left: point.x,
                right: point.x,
                top: point.y,
                bottom: point.y,
            });
            Some(Bounds {
                left: bounds.left.min(point.x),
                right: bounds.right.max(point.x),
                top: bounds.top.min(point.y),
                bottom: bounds.bottom.max(point.y),
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    /// A photo in which every pixel is bright red, so that whatever is covered shows.
    fn red(photo: &PhotoRecord) -> RgbImage {
        let (width, height) = photo.size.unwrap();
        RgbImage::from_pixel(width, height, Rgb([230, 20, 20]))
    }

    fn picture(photo: &PhotoRecord, show_faces: bool) -> (RgbImage, Framing) {
        let framing = frame_alike(&[photo], 480)[0].unwrap();
        let encoded = encode(&red(photo), photo, framing, show_faces).unwrap();
        let decoded = image::load_from_memory(&encoded.jpeg).unwrap().to_rgb8();
        (decoded, framing)
    }

    #[test]
    fn the_face_is_covered_after_decoding() {
        let photo = samples::side_stand(Side::Left);
        let (decoded, framing) = picture(&photo, false);
        let face = photo.faces[0];
        let centre = framing.picture_from_photo.apply(face.centre);
        let radius = face.radius * framing.picture_from_photo.scale();
        let mut seen = 0;
        for (x, y, pixel) in decoded.enumerate_pixels() {
            let away = (f64::from(x) + 0.5 - centre.x).hypot(f64::from(y) + 0.5 - centre.y);
            if away < radius - 2.0 {
                seen += 1;
                let spread = pixel.0.iter().max().unwrap() - pixel.0.iter().min().unwrap();
                assert!(spread < 60, "a pixel of the face shows: {pixel:?}");
            }
        }
        assert!(seen > 100);
    }

    #[test]
    fn faces_stay_when_asked_for() {
        let photo = samples::side_stand(Side::Left);
        let (decoded, framing) = picture(&photo, true);
        let centre = framing.picture_from_photo.apply(photo.faces[0].centre);
        let pixel = decoded.get_pixel(centre.x as u32, centre.y as u32);
        assert!(pixel.0[0] > 200 && pixel.0[1] < 60);
    }

    #[test]
    fn a_photo_without_circles_is_covered_by_its_landmarks() {
        let mut photo = samples::side_stand(Side::Left);
        let nose = photo.landmarks[&Landmark::Tragus(Side::Left)].at;
        photo.faces.clear();
        let circles = faces(&photo).unwrap();
        assert!(circles[0].centre.distance(nose) < circles[0].radius);
    }

    #[test]
    fn a_face_that_nothing_locates_is_not_shown() {
        let mut photo = samples::side_stand(Side::Left);
        let framing = frame_alike(&[&photo], 480)[0].unwrap();
        photo.faces.clear();
        photo.landmarks.clear();
        assert!(
            encode(
                &red(&samples::side_stand(Side::Left)),
                &photo,
                framing,
                false
            )
            .is_none()
        );
    }

    #[test]
    fn a_nearer_camera_does_not_make_the_person_larger() {
        let near = samples::side_stand(Side::Left);
        let mut far = near.clone();
        for located in far.landmarks.values_mut() {
            located.at = Point::new(100.0 + 0.7 * located.at.x, 30.0 + 0.7 * located.at.y);
        }
        let framings: Vec<Framing> = frame_alike(&[&near, &far], 480)
            .into_iter()
            .flatten()
            .collect();
        for landmark in [Landmark::Ankle(Side::Left), Landmark::HipJoint(Side::Left)] {
            let a = framings[0]
                .picture_from_photo
                .apply(near.landmarks[&landmark].at);
            let b = framings[1]
                .picture_from_photo
                .apply(far.landmarks[&landmark].at);
            assert!(a.distance(b) < 1e-6);
        }
        assert_eq!(framings[0].width, framings[1].width);
    }

    #[test]
    fn raised_hands_are_inside_the_picture() {
        let photo = samples::side_reach(Side::Right);
        let framing = frame_alike(&[&photo], 480)[0].unwrap();
        let wrist = framing
            .picture_from_photo
            .apply(photo.landmarks[&Landmark::Wrist(Side::Right)].at);
        assert!(wrist.x > 0.0 && wrist.x < f64::from(framing.width));
        assert!(wrist.y > 30.0);
    }
}

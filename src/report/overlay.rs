//! Burns what was found into a photo: the lines that measures are read along, and around each
//! landmark they use the circle that holds it with 95 % confidence.

use image::{Rgb, RgbImage};
use imageproc::drawing::{draw_filled_circle_mut, draw_polygon_mut};
use imageproc::point::Point as Corner;

use crate::geometry::{Photo, Point, Vector};
use crate::visit::{Located, PhotoRecord};

use super::lines::{self, Stroke};
use super::picture;

/// √χ²₀.₉₅ with two degrees of freedom: radius of the 95 % circle in sigmas.
const CIRCLE_95: f64 = 2.448;
const CASING: Rgb<u8> = Rgb([255, 255, 255]);
const BODY: Rgb<u8> = Rgb([11, 79, 138]);
const REFERENCE: Rgb<u8> = Rgb([25, 25, 25]);
const DISTANCE: Rgb<u8> = Rgb([196, 92, 0]);

/// A copy of the upright photo with everything drawn on it. Faces are covered unless asked for;
/// where they must be covered but nothing tells where they are, the photo is left blank.
pub fn overlay(image: &RgbImage, photo: &PhotoRecord, show_faces: bool) -> RgbImage {
    let mut canvas = image.clone();
    if !show_faces {
        match picture::faces(photo) {
            Some(faces) => {
                for face in faces {
                    picture::cover(&mut canvas, face.centre.x, face.centre.y, face.radius);
                }
            }
            None => canvas.fill(200),
        }
    }
    // Three pixels on a photo of 1000 pixels, twelve on one of 4000.
    let width = (0.003 * f64::from(image.width().max(image.height()))).max(2.0);
    let drawing = lines::drawing(photo);
    let strokes = drawing.lines.iter().map(|line| {
        let colour = match line.stroke {
            Stroke::Body => BODY,
            Stroke::Reference => REFERENCE,
            Stroke::Distance => DISTANCE,
        };
        (line, colour)
    });
    for (line, colour) in strokes {
        for (from, to) in dashes(line.stroke, line.from, line.to, width) {
            segment(&mut canvas, from, to, 2.0 * width, CASING);
            segment(&mut canvas, from, to, width, colour);
        }
    }
    for arc in &drawing.arcs {
        for pair in arc.windows(2) {
            segment(&mut canvas, pair[0], pair[1], 0.7 * width, BODY);
        }
    }
    for located in drawing
        .landmarks
        .iter()
        .filter_map(|landmark| photo.landmarks.get(landmark))
    {
        let radius = CIRCLE_95 * located.sigma_px();
        ring(&mut canvas, located, radius, 0.5 * width, BODY);
        let (around, inside) = match located.covered {
            true => (BODY, CASING),
            false => (CASING, BODY),
        };
        dot(&mut canvas, located.at, 1.3 * width, around);
        dot(&mut canvas, located.at, 0.8 * width, inside);
    }
    canvas
}

/// A body line whole; other lines in dashes, those of distances in short ones.
fn dashes(
    stroke: Stroke,
    from: Point<Photo>,
    to: Point<Photo>,
    width: f64,
) -> Vec<(Point<Photo>, Point<Photo>)> {
    let (on, off) = match stroke {
        Stroke::Body => return vec![(from, to)],
        Stroke::Reference => (5.0 * width, 4.0 * width),
        Stroke::Distance => (2.0 * width, 2.0 * width),
    };
    let length = from.distance(to);
    if length <= 0.0 {
        return Vec::new();
    }
    let at = |distance: f64| from + (to - from) * (distance.min(length) / length);
    let count = (length / (on + off)).ceil() as usize;
    (0..count)
        .map(|index| {
            let start = index as f64 * (on + off);
            (at(start), at(start + on))
        })
        .collect()
}

/// A straight stroke as a filled rectangle, since lines of one pixel vanish on a large photo.
fn segment(
    canvas: &mut RgbImage,
    from: Point<Photo>,
    to: Point<Photo>,
    width: f64,
    colour: Rgb<u8>,
) {
    let length = from.distance(to);
    if length < 0.5 {
        return;
    }
    let along = (to - from) * (width / 2.0 / length);
    let corner = |end: Point<Photo>, side: f64| {
        Corner::new(
            (end.x - side * along.y).round() as i32,
            (end.y + side * along.x).round() as i32,
        )
    };
    let mut corners = vec![
        corner(from, 1.0),
        corner(to, 1.0),
        corner(to, -1.0),
        corner(from, -1.0),
    ];
    // The drawing wants neither equal neighbours nor an equal end and start.
    corners.dedup();
    if corners.first() == corners.last() {
        corners.pop();
    }
    if corners.len() > 2 {
        draw_polygon_mut(canvas, &corners, colour);
    }
}

/// In dashes around what was not seen itself.
fn ring(canvas: &mut RgbImage, around: &Located, radius: f64, width: f64, colour: Rgb<u8>) {
    const PARTS: usize = 72;
    const DASH: usize = 6;
    let at = |part: usize| {
        let turn = std::f64::consts::TAU * part as f64 / PARTS as f64;
        around.at + Vector::new(turn.cos(), turn.sin()) * radius
    };
    for part in (0..PARTS).filter(|part| !around.covered || (part / DASH).is_multiple_of(2)) {
        segment(canvas, at(part), at(part + 1), width, colour);
    }
}

fn dot(canvas: &mut RgbImage, centre: Point<Photo>, radius: f64, colour: Rgb<u8>) {
    draw_filled_circle_mut(
        canvas,
        (centre.x as i32, centre.y as i32),
        radius.round() as i32,
        colour,
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Landmark, Side};
    use crate::report::samples;

    const WALL: Rgb<u8> = Rgb([230, 20, 20]);

    fn drawn(show_faces: bool) -> RgbImage {
        let photo = samples::side_stand(Side::Left);
        let (width, height) = photo.size.unwrap();
        overlay(
            &RgbImage::from_pixel(width, height, WALL),
            &photo,
            show_faces,
        )
    }

    #[test]
    fn the_face_is_covered_unless_asked_for() {
        let face = samples::side_stand(Side::Left).faces[0];
        // Above the landmarks of the face, where no line runs.
        let at = |image: &RgbImage| {
            *image.get_pixel(
                face.centre.x as u32,
                (face.centre.y - 0.8 * face.radius) as u32,
            )
        };
        assert_ne!(at(&drawn(false)), WALL);
        assert_eq!(at(&drawn(true)), WALL);
    }

    #[test]
    fn the_trunk_line_is_drawn() {
        let photo = samples::side_stand(Side::Left);
        let at = |landmark| photo.landmarks[&landmark].at;
        let (hip, shoulder) = (
            at(Landmark::HipJoint(Side::Left)),
            at(Landmark::ShoulderJoint(Side::Left)),
        );
        // Off the middle, where the hanging elbow is.
        let on_it = hip + (shoulder - hip) * 0.3;
        assert_eq!(
            *drawn(false).get_pixel(on_it.x as u32, on_it.y as u32),
            BODY
        );
    }

    #[test]
    fn what_is_covered_is_hollow_in_a_dashed_ring() {
        let mut photo = samples::side_stand(Side::Left);
        let (width, height) = photo.size.unwrap();
        // The neck, which no cover lies over; far from the other points.
        let c7 = Landmark::C7;
        let neck = photo.landmarks[&c7];
        let ring_and_middle = |photo: &PhotoRecord| {
            let drawn = overlay(&RgbImage::from_pixel(width, height, WALL), photo, true);
            let radius = CIRCLE_95 * neck.sigma_px();
            let on_ring = (0..360)
                .filter(|degrees| {
                    let turn = f64::from(*degrees).to_radians();
                    let at = neck.at + Vector::new(turn.cos(), turn.sin()) * radius;
                    *drawn.get_pixel(at.x as u32, at.y as u32) == BODY
                })
                .count();
            let middle = *drawn.get_pixel(neck.at.x as u32, neck.at.y as u32);
            (on_ring, middle)
        };
        let (whole, filled) = ring_and_middle(&photo);
        photo.landmarks.get_mut(&c7).unwrap().covered = true;
        let (dashed, hollow) = ring_and_middle(&photo);
        assert_eq!((filled, hollow), (BODY, CASING));
        assert!(whole > 270, "{whole}");
        assert!((120..240).contains(&dashed), "{dashed}");
    }

    #[test]
    fn an_unlocated_face_leaves_no_picture() {
        let mut photo = samples::side_stand(Side::Left);
        photo.faces.clear();
        photo.landmarks.clear();
        let image = overlay(&RgbImage::from_pixel(60, 80, WALL), &photo, false);
        assert!(image.pixels().all(|pixel| *pixel != WALL));
    }

    #[test]
    fn landmarks_far_outside_do_no_harm() {
        let mut photo = samples::side_stand(Side::Left);
        for located in photo.landmarks.values_mut() {
            located.at = Point::new(located.at.x - 5000.0, located.at.y);
        }
        overlay(&RgbImage::from_pixel(60, 80, WALL), &photo, true);
    }
}

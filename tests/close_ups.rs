//! What holds for any landmark net that keeps the contract: how it is shown a person, and how its
//! answers come back. Where its points lie is for the accuracy tables.

use image::RgbImage;
use image::imageops::flip_horizontal;
use tragus::body::{Side, View};
use tragus::geometry::Point;
use tragus::infer::{Effort, LandmarkLook, Part, Square, Squares};
use tragus::photo::Photo;

use crate::common::{demo, finder};

fn picture(file: &str) -> RgbImage {
    image::open(demo("intake").join(file))
        .expect("the demo photo")
        .into_rgb8()
}

/// About where trunk and head of the demo's person are.
fn squares(width: f64) -> Squares {
    Squares {
        trunk: Square {
            centre: Point::new(0.48 * width, 0.35 * 4.0 / 3.0 * width),
            side: 0.55 * width,
        },
        head: Square {
            centre: Point::new(0.48 * width, 0.2 * 4.0 / 3.0 * width),
            side: 0.3 * width,
        },
    }
}

fn mirrored(squares: &Squares, width: f64) -> Squares {
    let flip = |square: Square| Square {
        centre: Point::new(width - square.centre.x, square.centre.y),
        ..square
    };
    Squares {
        trunk: flip(squares.trunk),
        head: flip(squares.head),
    }
}

fn looks(picture: RgbImage, squares: &Squares, view: View, effort: Effort) -> Vec<LandmarkLook> {
    let photo = Photo::new(picture, Default::default());
    let close_ups = finder().plan_close_ups(squares, view, effort);
    finder().look_closer(&photo, &close_ups).expect("the nets")
}

#[test]
fn every_look_tells_all_of_the_nets_landmarks_with_an_error() {
    let photo = picture("front.jpg");
    let squares = squares(f64::from(photo.width()));
    let looks = looks(photo, &squares, View::Front, Effort::Thorough);
    assert_eq!(looks.len(), 6);
    for look in &looks {
        assert_eq!(look.points.len(), 23);
        for (landmark, seen) in &look.points {
            assert!(
                look.square.margin(seen.at) >= 0.0,
                "{landmark} at {:?}",
                seen.at
            );
            assert!(seen.covariance.cholesky().is_some(), "{landmark}");
            assert!((0.0..=1.0).contains(&seen.visibility), "{landmark}");
        }
        for turn in [look.trunk_turn, look.head_turn] {
            assert!(turn.value.abs() < std::f64::consts::PI && turn.sigma > 0.0);
        }
    }
}

/// A person from the left is shown to the net as one from the right in a mirror: the mirrored
/// photo gives the mirrored answer, with the sides exchanged and the turns reversed.
#[test]
fn the_left_side_is_the_right_side_in_a_mirror() {
    let photo = picture("side-right.jpg");
    let width = f64::from(photo.width());
    let squares = squares(width);
    let right = looks(
        photo.clone(),
        &squares,
        View::Side(Side::Right),
        Effort::Thorough,
    );
    let left = looks(
        flip_horizontal(&photo),
        &mirrored(&squares, width),
        View::Side(Side::Left),
        Effort::Thorough,
    );
    for (right, left) in right.iter().zip(&left) {
        // A grey level of a pixel may round the other way, which moves a point a little.
        let slack = 0.005 * right.square.side;
        for (landmark, seen) in &right.points {
            let other = left.points[&landmark.mirrored()];
            let back = Point::new(width - other.at.x, other.at.y);
            assert!(back.distance(seen.at) < slack, "{landmark}");
            assert!(
                (other.visibility - seen.visibility).abs() < 0.02,
                "{landmark}"
            );
        }
        assert!((right.trunk_turn.value + left.trunk_turn.value).abs() < 0.01);
        assert!((right.head_turn.value + left.head_turn.value).abs() < 0.01);
    }
}

/// What the net is told of view and part reaches it.
#[test]
fn the_setting_matters() {
    let photo = picture("front.jpg");
    let squares = squares(f64::from(photo.width()));
    let of = |view| looks(photo.clone(), &squares, view, Effort::Quick);
    let (front, back) = (of(View::Front), of(View::Back));
    assert_eq!(front[0].part, Part::Trunk);
    assert_eq!(front[0].square, back[0].square);
    assert!(front[0].points != back[0].points);
}

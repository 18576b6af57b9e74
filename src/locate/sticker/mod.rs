//! Stickers: round adhesive dots of one saturated colour on palpated landmarks; on the spine, in a
//! photo from the side, balls.
//!
//! [`find`] looks for dots where the nets expect landmarks that may wear one, and names those that
//! can have one name only; [`place`] joins them with what the nets see.
//!
//! # Honest scope
//! A dot is on the skin, or on the cloth over it. Of the tragus, the spine, the acromion and the
//! trochanter that is the landmark. At elbow, wrist and ankle it lies over a knob of bone beside
//! the joint that the measures mean, so there a dot counts only from the side, where the knob is
//! seen before the joint, and with a further error. A flat dot on the spine shows a camera at the side
//! its edge: what is seen round there is a ball, whose middle stands off the skin by half its
//! diameter. The covariance holds how well a finger finds a
//! landmark and how well a dot's centre is read; not a dot on the wrong vertebra, nor one that came
//! off with the cloth.

mod dots;
#[cfg(test)]
mod drawn;
mod name;

use nalgebra::{Matrix2, Vector2};

use dots::Dot;

use super::close_up;
use super::fuse::{self, Placed};
use super::refine::Shown;
use super::{Landmarks, ManualPoint, Missing};
use crate::body::{Landmark, Side, View};
use crate::estimate::Estimate;
use crate::geometry::{self, Point};
use crate::infer::LandmarkLook;
use crate::photo::Photo;
use crate::visit::{Evidence, Located, Notice};

/// A dot with its name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sticker {
    pub landmark: Landmark,
    /// Where in the whole photo the dot says the landmark is: its centre, or under it.
    pub at: Point<geometry::Photo>,
    /// Of the landmark about that place: finger, reading and, over a joint, the knob; pixels
    /// squared.
    pub covariance: Matrix2<f64>,
    /// The dot across, along the longer axis of the ellipse that it is seen as, pixels.
    pub diameter_px: Estimate,
}

impl Sticker {
    /// Millimetres in a pixel of the photo where the dot is, when its diameter is known.
    pub fn mm_per_px(&self, diameter_mm: f64) -> Estimate {
        let px = self.diameter_px;
        let scale = diameter_mm / px.value;
        Estimate::new(scale, scale * px.sigma / px.value)
    }
}

/// Where a landmark that may wear a dot is expected.
#[derive(Clone, Copy, Debug)]
struct Expected {
    landmark: Landmark,
    at: Point<geometry::Photo>,
    /// Of a dot about that place, pixels squared.
    covariance: Matrix2<f64>,
    /// Where only a ball shows round: the way its middle stands off the landmark, of length 1.
    outward: Option<Vector2<f64>>,
}

/// How far the skin over the spine may face from where the line along its neighbours does, one
/// sigma, as a tangent: within 1 to 8° on drawn people (`scripts/people/proportions.py`), of whom none
/// is scarred or swollen: 10°.
const FACING: f64 = 0.18;

impl Expected {
    /// How far from the landmark a dot's middle lies.
    fn standing_off(&self, dot: &Dot) -> Vector2<f64> {
        self.outward
            .map_or_else(Vector2::zeros, |way| way * dot.diameter.value / 2.0)
    }

    /// What is unknown of that, pixels squared.
    fn standing_off_covariance(&self, dot: &Dot) -> Matrix2<f64> {
        self.outward.map_or_else(Matrix2::zeros, |way| {
            let along = Vector2::new(-way.y, way.x);
            way * way.transpose() * (dot.diameter.sigma / 2.0).powi(2)
                + along * along.transpose() * (FACING * dot.diameter.value / 2.0).powi(2)
        })
    }
}

/// Pixels of a crop in which dots are looked for are at least this small, mm, where the photo has
/// the detail: a dot of 8 mm is then five of them wide.
const FINEST_MM: f64 = 1.5;

/// The scale at which a photo is looked at for dots, photo pixels in a crop's pixel, for a person
/// with so many millimetres in a photo pixel.
pub fn wanted_scale(mm_per_px: f64) -> f64 {
    f64::exp2((FINEST_MM / mm_per_px).log2().round().max(0.0))
}

/// How far off a finger puts a dot, one sigma across and down, mm.
///
/// One rater finds the distance of C2 and C7 again to 3.4 mm (standard error of measurement;
/// doi:10.1186/s13104-019-4299-8), which is 2.4 mm for each end. The tragus is seen rather than felt:
/// 1.5 mm, a guess.
/// Lower down the spine two examiners differ by 13 mm at T3, 18 mm at T9 and 19 mm at L2 (means;
/// Hart & Neely, J Chiropr Educ 25:182), which is 12 to 17 mm for one, along the spine; across it
/// the skin tells.
const fn finger(landmark: Landmark) -> [f64; 2] {
    match landmark {
        Landmark::Tragus(_) => [1.5, 1.5],
        Landmark::T4 => [2.4, 12.0],
        Landmark::T8 | Landmark::T12 | Landmark::L3 => [2.4, 16.5],
        _ => [2.4, 2.4],
    }
}

/// How far a joint's centre lies from where the knob of bone over it is seen from the side, one
/// sigma, mm. From memory of the bones, no source: the knobs of elbow and ankle are within a finger
/// of the axis; that of the wrist turns about it with the forearm.
const fn knob(landmark: Landmark) -> Option<f64> {
    match landmark {
        Landmark::Elbow(_) | Landmark::Ankle(_) => Some(12.0),
        Landmark::Wrist(_) => Some(20.0),
        _ => None,
    }
}

/// By how much more than they say the nets may be off on a living person, one sigma, mm: nobody has
/// measured it. An ear is plain to see; bones under the skin are not.
/// The joints under a knob the general net knows on living people.
const fn strangeness(landmark: Landmark) -> f64 {
    match landmark {
        Landmark::Elbow(_) | Landmark::Wrist(_) | Landmark::Ankle(_) => 0.0,
        Landmark::Tragus(_) => 6.0,
        _ => 10.0,
    }
}

/// Whether a dot on the landmark faces the camera.
fn shows_dot(landmark: Landmark, view: View) -> bool {
    use Landmark::*;
    match view {
        View::Side(near) => match landmark {
            C7 | T4 | T8 | T12 | L3 => true,
            Tragus(side) | Acromion(side) | Trochanter(side) | Elbow(side) | Wrist(side)
            | Ankle(side) => side == near,
            _ => false,
        },
        View::Front => matches!(landmark, Tragus(_) | Acromion(_) | Trochanter(_)),
        View::Back => matches!(landmark, C7 | T4 | T8 | T12 | L3 | Acromion(_)),
        View::Oblique(_) => false,
    }
}

/// The landmarks that may wear a dot. One that the landmark net is too unsure of, or that it takes
/// to be hidden, is expected where it says: there a dot helps most.
fn expected(
    landmarks: &Landmarks,
    looks: &[LandmarkLook],
    shown: Shown,
    mm_per_px: f64,
) -> Vec<Expected> {
    let mut expected: Vec<Expected> = Landmark::all()
        .filter(|landmark| shows_dot(*landmark, shown.view))
        .filter_map(|landmark| {
            let (at, of_net) = match (
                landmarks.found.get(&landmark),
                landmarks.missing.get(&landmark),
            ) {
                (Some(found), _) => (found.at, found.covariance),
                (None, Some(Missing::Unsure | Missing::Hidden)) if knob(landmark).is_none() => {
                    let scene = (shown.view, shown.task);
                    let seen = close_up::combine(looks, landmark, scene, shown.stature)?;
                    (seen.at, seen.covariance)
                }
                (None, _) => return None,
            };
            let off = Matrix2::identity() * (strangeness(landmark) / mm_per_px).powi(2);
            let covariance = of_net + off + of_dot(landmark, mm_per_px);
            Some(Expected {
                landmark,
                at,
                covariance,
                outward: None,
            })
        })
        .collect();
    if let View::Side(near) = shown.view {
        let spine = expected
            .iter()
            .filter(|place| SPINE.contains(&place.landmark));
        let spine: Vec<(Landmark, Point<geometry::Photo>)> =
            spine.map(|place| (place.landmark, place.at)).collect();
        for place in &mut expected {
            place.outward = outward(place.landmark, &spine, near);
        }
    }
    expected
}

const SPINE: [Landmark; 5] = [
    Landmark::C7,
    Landmark::T4,
    Landmark::T8,
    Landmark::T12,
    Landmark::L3,
];

/// Which way the skin over a vertebra faces in a photo from the side: square to the line between its
/// neighbours. `spine` is what is known of it, from above.
fn outward(
    landmark: Landmark,
    spine: &[(Landmark, Point<geometry::Photo>)],
    near: Side,
) -> Option<Vector2<f64>> {
    let own = spine.iter().position(|(known, _)| *known == landmark)?;
    let above = spine[own.saturating_sub(1)].1;
    let below = spine[(own + 1).min(spine.len() - 1)].1;
    // Whoever shows the right side looks to the right of the photo.
    let backward = match near {
        Side::Right => Vector2::new(-1.0, 0.0),
        Side::Left => Vector2::new(1.0, 0.0),
    };
    let down = Vector2::new(below.x - above.x, below.y - above.y);
    let square = Vector2::new(-down.y, down.x).try_normalize(f64::EPSILON);
    Some(square.map_or(backward, |square| square * square.dot(&backward).signum()))
}

/// Covariance of a landmark about the dot on it, without the reading of its centre.
fn of_dot(landmark: Landmark, mm_per_px: f64) -> Matrix2<f64> {
    let knob = knob(landmark).unwrap_or(0.0);
    let variances = finger(landmark).map(|mm| (mm.powi(2) + knob.powi(2)) / mm_per_px.powi(2));
    Matrix2::from_diagonal(&Vector2::from(variances))
}

/// Whether anything on the person may be a dot, even where the photo is held with little detail.
pub fn may_wear(
    photo: &Photo,
    landmarks: &Landmarks,
    looks: &[LandmarkLook],
    shown: Shown,
    mm_per_px: f64,
) -> bool {
    let expected = expected(landmarks, looks, shown, mm_per_px);
    !dots::find(photo, &expected, mm_per_px).is_empty()
}

/// The stickers of a photo. `mm_per_px` is about the person; `diameter_mm` that of the dots, where
/// it is known.
pub fn find(
    photo: &Photo,
    landmarks: &Landmarks,
    looks: &[LandmarkLook],
    shown: Shown,
    mm_per_px: f64,
    diameter_mm: Option<f64>,
) -> Vec<Sticker> {
    let expected = expected(landmarks, looks, shown, mm_per_px);
    let dots = dots::find(photo, &expected, mm_per_px);
    name::name(&dots, &expected, mm_per_px, diameter_mm)
        .into_iter()
        .map(|(dot, place)| {
            let off = place.standing_off(&dot);
            Sticker {
                landmark: place.landmark,
                at: Point::new(dot.at.x - off.x, dot.at.y - off.y),
                covariance: of_dot(place.landmark, mm_per_px)
                    + place.standing_off_covariance(&dot)
                    + Matrix2::identity() * dot.centre_sigma.powi(2),
                diameter_px: dot.diameter,
            }
        })
        .collect()
}

/// Puts the stickers among what the nets see: joined where both agree; where they don't, a finger
/// knows better, and the notice says so, unless a hand places the landmark anyway.
pub fn place(
    landmarks: &mut Landmarks,
    stickers: &[Sticker],
    by_hand: &[ManualPoint],
    mm_per_px: f64,
) -> Vec<Notice> {
    let mut notices = Vec::new();
    for sticker in stickers {
        let landmark = sticker.landmark;
        let dot: Placed = (sticker.at, sticker.covariance);
        let (at, covariance) = match landmarks.found.get(&landmark) {
            None => dot,
            Some(net) => {
                // On a living person a net may be off by more than it says: so much the less of it
                // is taken. What it may be off by is told as it is everywhere.
                let strange = Matrix2::identity() * (strangeness(landmark) / mm_per_px).powi(2);
                let of_net = net.covariance + strange;
                if fuse::apart((net.at, of_net), dot) <= fuse::DISPUTED {
                    let to_net = fuse::shares(of_net, dot.1, fuse::APART);
                    fuse::mean((net.at, net.covariance), dot, to_net, fuse::APART)
                } else if by_hand.iter().any(|point| point.landmark == landmark) {
                    dot
                } else {
                    let off = net.at.distance(sticker.at) * mm_per_px / 10.0;
                    notices.push(Notice::new(format!(
                        "The sticker on {} lies {off:.1} cm from where the program expected it, \
                         more than their errors explain. The sticker was taken: is it in its place?",
                        landmark.in_words(),
                    )));
                    dot
                }
            }
        };
        landmarks.put(
            landmark,
            Ok(Located {
                at,
                covariance,
                evidence: Evidence::Sticker,
                covered: false,
            }),
        );
    }
    notices
}

#[cfg(test)]
mod tests {
    use super::super::{Landmarks, ManualPoint, place as place_by_hand};
    use super::*;

    const MM_PER_PX: f64 = 2.0;
    const NET_SIGMA: f64 = 2.0;

    fn seen_by_nets() -> Landmarks {
        let mut landmarks = Landmarks::default();
        let located = Located {
            at: Point::new(100.0, 100.0),
            covariance: Matrix2::identity() * NET_SIGMA.powi(2),
            evidence: Evidence::LandmarkNet,
            covered: false,
        };
        landmarks.put(Landmark::C7, Ok(located));
        landmarks.put(Landmark::T4, Err(Missing::Unsure));
        landmarks
    }

    fn sticker(landmark: Landmark, x: f64) -> Sticker {
        Sticker {
            landmark,
            at: Point::new(x, 100.0),
            covariance: of_dot(landmark, MM_PER_PX),
            diameter_px: Estimate::new(6.0, 0.3),
        }
    }

    #[test]
    fn a_sticker_that_agrees_is_joined_by_the_errors() {
        let mut landmarks = seen_by_nets();
        let notices = place(
            &mut landmarks,
            &[sticker(Landmark::C7, 103.0)],
            &[],
            MM_PER_PX,
        );
        assert_eq!(notices, []);
        let c7 = landmarks.found[&Landmark::C7];
        assert_eq!(c7.evidence, Evidence::Sticker);
        // The net's 2 pixels and 10 mm, that is 5, make a variance of 29; the dot's 1.2 one of 1.44.
        let to_net = 1.44 / 30.44;
        assert!((c7.at.x - (103.0 - 3.0 * to_net)).abs() < 1e-9);
        let variance = to_net.powi(2) * 4.0 + (1.0 - to_net).powi(2) * 1.44;
        assert!((c7.covariance[(0, 0)] - variance).abs() < 1e-9);
    }

    #[test]
    fn a_sticker_that_contradicts_the_nets_wins_and_is_told() {
        let mut landmarks = seen_by_nets();
        let dot = sticker(Landmark::C7, 130.0);
        let notices = place(&mut landmarks, &[dot], &[], MM_PER_PX);
        assert!(
            notices[0]
                .text
                .contains("The sticker on C7 lies 6.0 cm from")
        );
        assert_eq!(landmarks.found[&Landmark::C7].at, dot.at);
        assert_eq!(landmarks.found[&Landmark::C7].covariance, dot.covariance);
    }

    #[test]
    fn a_sticker_finds_what_the_nets_miss() {
        let mut landmarks = seen_by_nets();
        place(
            &mut landmarks,
            &[sticker(Landmark::T4, 90.0)],
            &[],
            MM_PER_PX,
        );
        assert_eq!(landmarks.found[&Landmark::T4].evidence, Evidence::Sticker);
        assert!(!landmarks.missing.contains_key(&Landmark::T4));
    }

    #[test]
    fn a_hand_beats_a_sticker_and_tells_of_one_elsewhere() {
        let by_hand = |x: f64| ManualPoint {
            landmark: Landmark::C7,
            at: Point::new(x, 100.0),
            sigma_px: Some(1.0),
        };
        for (x, told) in [(112.0, 0), (130.0, 1)] {
            let mut landmarks = seen_by_nets();
            let hand = [by_hand(x)];
            let dot = sticker(Landmark::C7, 112.0);
            assert_eq!(place(&mut landmarks, &[dot], &hand, MM_PER_PX), []);
            let notices = place_by_hand(&mut landmarks, &hand, 800.0);
            assert_eq!(notices.len(), told, "{x}");
            let c7 = landmarks.found[&Landmark::C7];
            assert_eq!((c7.evidence, c7.at.x), (Evidence::Manual, x));
        }
    }

    /// A back that leans: its skin faces backward, and upward where it leans forward.
    #[test]
    fn a_ball_on_the_spine_stands_off_square_to_the_back() {
        let at = |x: f64, y: f64| Point::new(x, y);
        let spine = [
            (Landmark::C7, at(30.0, 0.0)),
            (Landmark::T4, at(10.0, 40.0)),
            (Landmark::T8, at(0.0, 80.0)),
        ];
        let way = outward(Landmark::T4, &spine, Side::Right).unwrap();
        let expected = Vector2::new(-80.0, -30.0).normalize();
        assert!((way - expected).norm() < 1e-12, "{way}");
        let mirrored = spine.map(|(name, place)| (name, at(-place.x, place.y)));
        let other = outward(Landmark::T4, &mirrored, Side::Left).unwrap();
        assert!((other - Vector2::new(-expected.x, expected.y)).norm() < 1e-12);
        assert_eq!(
            outward(Landmark::T4, &spine[1..2], Side::Left),
            Some(Vector2::new(1.0, 0.0))
        );
        assert_eq!(
            outward(Landmark::Tragus(Side::Left), &spine, Side::Left),
            None
        );
    }

    /// A dot of 12 mm seen 6 ± 0.3 pixels wide.
    #[test]
    fn a_known_diameter_gives_the_scale() {
        let scale = sticker(Landmark::C7, 100.0).mm_per_px(12.0);
        assert!((scale.value - 2.0).abs() < 1e-12);
        assert!((scale.sigma - 0.1).abs() < 1e-12);
    }
}

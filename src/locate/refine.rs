//! Puts what the landmark net sees beside what the pose net sees, and holds both against each
//! other and against a body.
//!
//! What fails here is missing with a reason, not guessed: a measure without a number is better
//! than one with a wrong number.

use std::collections::BTreeMap;

use nalgebra::{Matrix2, Vector2};

use super::close_up::{self, Seen, Turns};
use super::fuse::{self, Placed};
use super::{Landmarks, Missing, is_inside, plausible};
use crate::body::{Landmark, Side, Task, View};
use crate::infer::LandmarkLook;
use crate::visit::{Evidence, Located};

/// Below this probability a landmark that the landmark net alone knows counts as hidden.
///
/// The bar is lower for neck and back, whose line tells where they are when hair or the arm lies
/// over them: on the 118 rendered photos of `landmark_accuracy` none of them to which the net gave
/// less than 0.3 was off by more than three of its sigmas, nor was a C7 painted over in 30 of those.
/// A bar at 0.3 would take T4 from every fifth photo from the side, and C7 from every twentieth.
/// Tried once, by hand.
const fn least_visibility(landmark: Landmark) -> f64 {
    use Landmark::{C7, L3, T4, T8, T12};
    match landmark {
        C7 | T4 | T8 | T12 | L3 => 0.1,
        _ => 0.3,
    }
}

/// Below this probability something lies over a landmark. On the rendered photos of
/// `landmark_accuracy` such an ear is placed with five times the error of one that shows; tried
/// once, by hand.
const COVERED: f64 = 0.3;
/// A net that can't tell where the head faces by more than this, radians (10°), did not see a head.
/// On the rendered photos, with small, blurred or turned ones made of them and with ear, neck or
/// shoulder covered, it is unsure by 8° at most; with the head covered, or blurred beyond
/// recognition, by 10.5° at least, and then C7 was off by up to 10 of its sigmas. Tried once, by
/// hand.
const MOST_HEAD_SIGMA: f64 = 10.0 * std::f64::consts::PI / 180.0;
/// Below this probability the landmark net is sure not to see what the pose net says it sees.
const SURELY_HIDDEN: f64 = 0.05;
/// With more of the anchors in dispute than this part, the landmark net looked at something else.
const MOST_DISPUTED: f64 = 1.0 / 3.0;

/// Points that both nets know well enough to be held against each other: the general net knows
/// them on real people, who may differ from those that the landmark net learnt from.
const fn is_anchor(landmark: Landmark) -> bool {
    use Landmark::{EyeOuter, ShoulderJoint, Tragus};
    matches!(landmark, Tragus(_) | EyeOuter(_) | ShoulderJoint(_))
}

/// Joints that the general net knows too. Where the landmark net disagrees the general one is
/// taken, with the distance as a further error.
const fn is_joint(landmark: Landmark) -> bool {
    use Landmark::{Elbow, HipJoint, ShoulderJoint, Wrist};
    matches!(
        landmark,
        ShoulderJoint(_) | Elbow(_) | Wrist(_) | HipJoint(_)
    )
}

/// Landmarks of head and neck, and T4, which is counted down from there.
const fn is_placed_by_head(landmark: Landmark) -> bool {
    use Landmark::{C7, Chin, EyeOuter, T4, Tragus};
    matches!(landmark, Tragus(_) | EyeOuter(_) | Chin | C7 | T4)
}

/// The largest error, in parts of stature along its longest axis, with which a landmark still
/// counts as found; `None` for joints, whose error goes into the measure as it is.
const fn most_sigma(landmark: Landmark) -> Option<f64> {
    use Landmark::*;
    match landmark {
        // 2 cm of 1.65 m: then the craniovertebral angle is off by 8°.
        Tragus(_) | EyeOuter(_) | C7 | Chin | SternalNotch => Some(0.012),
        Acromion(_) => Some(0.015),
        T4 | T8 | T12 | L3 => Some(0.020),
        Trochanter(_) => Some(0.025),
        Nose | Mouth(_) | ShoulderJoint(_) | Elbow(_) | Wrist(_) | HipJoint(_) | Knee(_)
        | Ankle(_) | Heel(_) | Toe(_) => None,
    }
}

/// Whether a landmark can be seen from there at all. The landmark net gives each a place in every
/// view, the hidden ones by guess.
fn is_shown(landmark: Landmark, view: View) -> bool {
    use Landmark::*;
    match view {
        View::Side(near) => landmark.side().is_none_or(|side| side == near),
        View::Front => !matches!(landmark, C7 | T4 | T8 | T12 | L3),
        View::Back => !matches!(landmark, EyeOuter(_) | Chin | SternalNotch),
        View::Oblique(_) => false,
    }
}

/// The photo as far as it matters here.
#[derive(Clone, Copy)]
pub struct Shown {
    pub view: View,
    pub task: Task,
    /// Size of the photo, and of the person upright in it, pixels.
    pub size: (u32, u32),
    pub stature: f64,
}

/// Refines the general net's landmarks by the landmark net's looks, and adds those that only that
/// net knows. Gives the turns that net sees, unless it did not look at the person at all: then they
/// mean nothing either.
pub fn refine(landmarks: &mut Landmarks, looks: &[LandmarkLook], shown: Shown) -> Option<Turns> {
    hide_far_face(landmarks, shown.view);
    let seen: BTreeMap<Landmark, Seen> = Landmark::all()
        .filter(|landmark| is_shown(*landmark, shown.view))
        .filter_map(|landmark| {
            let scene = (shown.view, shown.task);
            let seen = close_up::combine(looks, landmark, scene, shown.stature)?;
            Some((landmark, seen))
        })
        .collect();
    let anchors: Vec<(Landmark, bool)> = seen
        .iter()
        .filter(|(landmark, _)| is_anchor(**landmark))
        .filter_map(|(landmark, seen)| {
            let general = landmarks.found.get(landmark)?;
            Some((*landmark, agree(general, seen)))
        })
        .collect();
    let disputed: Vec<Landmark> = anchors
        .iter()
        .filter(|(_, agreed)| !agreed)
        .map(|(landmark, _)| *landmark)
        .collect();
    let looked_elsewhere = disputed.len() as f64 > MOST_DISPUTED * anchors.len() as f64;
    let turns = close_up::turns(looks, shown.view);
    let saw_head = turns.is_some_and(|turns| turns.head.sigma <= MOST_HEAD_SIGMA);
    for (landmark, seen) in &seen {
        let general = landmarks.found.get(landmark);
        let outcome = if is_placed_by_head(*landmark) && !saw_head {
            Err(Missing::Unsure)
        } else if disputed.contains(landmark) && !is_joint(*landmark) {
            Err(Missing::Disputed)
        } else if looked_elsewhere {
            general.copied().ok_or(Missing::Disputed)
        } else {
            match (general, landmarks.missing.get(landmark)) {
                (Some(_), _) if is_behind_head(*landmark, seen, shown.view) => Err(Missing::Hidden),
                (Some(general), _) => Ok(both(*landmark, general, seen)),
                (None, Some(Missing::OutsidePhoto)) => Err(Missing::OutsidePhoto),
                (None, _) => alone(*landmark, seen, shown.size),
            }
        };
        let refined = outcome.and_then(|located| {
            let covered = seen.visibility < COVERED;
            let located = Located { covered, ..located };
            sure_enough(*landmark, located, shown.stature)
        });
        landmarks.put(*landmark, refined);
    }
    let places = landmarks
        .found
        .iter()
        .map(|(landmark, located)| (*landmark, located.at))
        .collect();
    for landmark in plausible::misplaced(&places, shown.view, shown.stature) {
        // What the general net alone says was never held against a body.
        if seen.contains_key(&landmark) {
            landmarks.put(landmark, Err(Missing::Implausible));
        }
    }
    turns.filter(|_| saw_head && !looked_elsewhere)
}

/// The pose net gives a face to everybody, also where only the back of the head shows. What of it
/// the view hides can't be seen, whatever a net says.
fn hide_far_face(landmarks: &mut Landmarks, view: View) {
    use Landmark::{EyeOuter, Mouth, Nose, Tragus};
    let far: Vec<Landmark> = match view {
        View::Side(near) => [Tragus, EyeOuter, Mouth].map(|of| of(near.other())).into(),
        View::Back => [EyeOuter, Mouth]
            .into_iter()
            .flat_map(|of| Side::BOTH.map(of))
            .chain([Nose])
            .collect(),
        View::Front | View::Oblique(_) => Vec::new(),
    };
    for landmark in far {
        if landmarks.found.contains_key(&landmark) {
            landmarks.put(landmark, Err(Missing::Hidden));
        }
    }
}

/// Whether the head, turned aside, hides its own ear, as it can from the front. From other sides
/// hair or a raised arm may lie over the ear; that it is there both nets know, and how unsure they
/// are of its place they say.
fn is_behind_head(landmark: Landmark, seen: &Seen, view: View) -> bool {
    matches!(landmark, Landmark::Tragus(_))
        && view == View::Front
        && seen.visibility < SURELY_HIDDEN
}

fn placed(located: &Located) -> Placed {
    (located.at, located.covariance)
}

fn agree(general: &Located, seen: &Seen) -> bool {
    fuse::apart(placed(general), (seen.at, seen.covariance)) <= fuse::DISPUTED
}

/// A landmark that both nets know.
fn both(landmark: Landmark, general: &Located, seen: &Seen) -> Located {
    if is_joint(landmark) && !agree(general, seen) {
        let off = Vector2::new(seen.at.x - general.at.x, seen.at.y - general.at.y);
        return Located {
            covariance: general.covariance + off * off.transpose(),
            ..*general
        };
    }
    let (at, covariance) =
        fuse::fused(placed(general), (seen.at, seen.covariance), fuse::BOTH_NETS);
    Located {
        at,
        covariance,
        evidence: Evidence::BothNets,
        covered: false,
    }
}

/// A landmark that the general net does not know, or does not see.
fn alone(landmark: Landmark, seen: &Seen, size: (u32, u32)) -> Result<Located, Missing> {
    if !is_inside(seen.at, size) {
        return Err(Missing::OutsidePhoto);
    }
    if seen.visibility < least_visibility(landmark) {
        return Err(Missing::Hidden);
    }
    Ok(Located {
        at: seen.at,
        covariance: seen.covariance,
        evidence: Evidence::LandmarkNet,
        covered: false,
    })
}

fn sure_enough(landmark: Landmark, located: Located, stature: f64) -> Result<Located, Missing> {
    let longest = longest_axis(&located.covariance);
    let sure = most_sigma(landmark).is_none_or(|most| longest <= most * stature);
    if sure {
        Ok(located)
    } else {
        Err(Missing::Unsure)
    }
}

/// One sigma along the longest axis of an ellipse.
fn longest_axis(covariance: &Matrix2<f64>) -> f64 {
    let half = covariance.trace() / 2.0;
    let spread = (half * half - covariance.determinant()).max(0.0).sqrt();
    (half + spread).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::close_up::tests::{look_at, seen};
    use super::super::landmark_accuracy;
    use super::*;
    use crate::geometry::Point;
    use crate::infer::{LandmarkSeen, Part};
    use Landmark::*;

    const NEAR: Side = Side::Right;
    /// A person of 100 pixels: a part of stature is a hundredth of that many pixels.
    const SHOWN: Shown = Shown {
        view: View::Side(NEAR),
        task: Task::Stand,
        size: (200, 200),
        stature: 100.0,
    };

    /// What both nets see of someone who stands sideways and faces right.
    const SHARED: [(Landmark, [f64; 2]); 5] = [
        (ShoulderJoint(NEAR), [100.0, 100.0]),
        (Tragus(NEAR), [103.0, 86.0]),
        (EyeOuter(NEAR), [107.0, 84.5]),
        (Elbow(NEAR), [99.0, 118.0]),
        (HipJoint(NEAR), [100.0, 129.0]),
    ];
    const OWN: [(Landmark, [f64; 2]); 3] = [
        (C7, [96.0, 93.0]),
        (Acromion(NEAR), [100.7, 96.7]),
        (Chin, [108.5, 91.0]),
    ];

    /// A landmark as the net sees it whose error, the calibration's factor included, is this.
    fn seen_with(landmark: Landmark, [x, y]: [f64; 2], sigma: f64) -> LandmarkSeen {
        let factor = landmark_accuracy::of(landmark, SHOWN.view, SHOWN.task).factor;
        seen(x, y, sigma / factor)
    }

    fn general() -> Landmarks {
        let found = SHARED.into_iter().map(|(landmark, [x, y])| {
            let located = Located {
                at: Point::new(x, y),
                covariance: Matrix2::identity(),
                evidence: Evidence::PoseNet,
                covered: false,
            };
            (landmark, located)
        });
        Landmarks {
            found: found.collect(),
            ..Landmarks::default()
        }
    }

    /// Two equal looks at the trunk, with one landmark changed.
    fn looks(changed: Option<(Landmark, LandmarkSeen)>) -> Vec<LandmarkLook> {
        let mut points: BTreeMap<Landmark, LandmarkSeen> = SHARED
            .into_iter()
            .chain(OWN)
            .map(|(landmark, at)| (landmark, seen_with(landmark, at, 0.4)))
            .collect();
        points.extend(changed);
        let points: Vec<_> = points.into_iter().collect();
        vec![look_at(Part::Trunk, &points), look_at(Part::Trunk, &points)]
    }

    fn refined(changed: Option<(Landmark, LandmarkSeen)>) -> Landmarks {
        let mut landmarks = general();
        refine(&mut landmarks, &looks(changed), SHOWN);
        landmarks
    }

    fn reason(changed: (Landmark, LandmarkSeen)) -> Option<Missing> {
        refined(Some(changed)).missing.get(&changed.0).copied()
    }

    #[test]
    fn what_both_nets_see_is_fused_and_the_rest_added() {
        let all = refined(None);
        assert_eq!(all.missing, BTreeMap::new());
        let evidence = |landmark| all.found[&landmark].evidence;
        for (landmark, _) in SHARED {
            assert_eq!(evidence(landmark), Evidence::BothNets, "{landmark}");
        }
        for (landmark, _) in OWN {
            assert_eq!(evidence(landmark), Evidence::LandmarkNet, "{landmark}");
        }
        // The general net is more than twice as unsure.
        assert!((all.found[&Tragus(NEAR)].sigma_px() - 0.4).abs() < 1e-12);
    }

    #[test]
    fn an_unsure_landmark_is_missing() {
        for (landmark, most) in [(C7, 1.2), (Acromion(NEAR), 1.5), (Chin, 1.2)] {
            let at = refined(None).found[&landmark].at;
            let with = |sigma| reason((landmark, seen_with(landmark, [at.x, at.y], sigma)));
            assert_eq!(with(most - 0.01), None, "{landmark}");
            assert_eq!(with(most + 0.01), Some(Missing::Unsure), "{landmark}");
        }
    }

    #[test]
    fn a_hidden_landmark_is_missing() {
        for (landmark, least) in [(C7, 0.1), (Acromion(NEAR), 0.3)] {
            let at = refined(None).found[&landmark].at;
            let with = |visibility| {
                let point = LandmarkSeen {
                    visibility,
                    ..seen(at.x, at.y, 0.4)
                };
                reason((landmark, point))
            };
            assert_eq!(with(least + 0.01), None, "{landmark}");
            assert_eq!(with(least - 0.01), Some(Missing::Hidden), "{landmark}");
        }
    }

    #[test]
    fn without_a_head_there_is_no_neck() {
        // What the net says of the turn is taken times a factor.
        let factor = landmark_accuracy::turn_factors(SHOWN.view).head;
        let refined = |degrees: f64| {
            let mut looks = looks(None);
            for look in &mut looks {
                look.head_turn.sigma = degrees.to_radians() / factor;
            }
            let mut landmarks = general();
            refine(&mut landmarks, &looks, SHOWN);
            landmarks
        };
        assert_eq!(refined(9.9).missing, BTreeMap::new());
        let headless = refined(10.1);
        for landmark in [Tragus(NEAR), EyeOuter(NEAR), Chin, C7] {
            assert_eq!(
                headless.missing.get(&landmark),
                Some(&Missing::Unsure),
                "{landmark}"
            );
        }
        assert!(headless.found.contains_key(&Acromion(NEAR)));
    }

    #[test]
    fn an_ear_under_hair_is_found_and_said_to_be_covered() {
        let with = |visibility| {
            let point = LandmarkSeen {
                visibility,
                ..seen(103.0, 86.0, 0.4)
            };
            refined(Some((Tragus(NEAR), point))).found[&Tragus(NEAR)].covered
        };
        assert!(!with(0.31));
        assert!(with(0.29));
    }

    #[test]
    fn an_ear_in_two_places_is_missing() {
        // Sigmas 1 and 0.4: beyond sqrt(13.8 · 1.16) = 4.001 pixels they do not agree.
        let tragus = Tragus(NEAR);
        let with = |off| reason((tragus, seen_with(tragus, [103.0, 86.0 - off], 0.4)));
        assert_eq!(with(3.99), None);
        assert_eq!(with(4.01), Some(Missing::Disputed));
        let all = refined(Some((tragus, seen_with(tragus, [103.0, 81.9], 0.4))));
        assert!(all.found.contains_key(&C7), "one anchor alone tells little");
    }

    #[test]
    fn a_net_that_disputes_two_anchors_is_not_believed_at_all() {
        let mut all = looks(Some((Tragus(NEAR), seen(103.0, 81.0, 0.4))));
        for look in &mut all {
            look.points
                .insert(ShoulderJoint(NEAR), seen(95.0, 100.0, 0.4));
        }
        let mut landmarks = general();
        assert_eq!(refine(&mut landmarks, &all, SHOWN), None);
        for landmark in [Tragus(NEAR), C7, Acromion(NEAR), Chin] {
            assert_eq!(
                landmarks.missing[&landmark],
                Missing::Disputed,
                "{landmark}"
            );
        }
        for joint in [ShoulderJoint(NEAR), Elbow(NEAR)] {
            assert_eq!(landmarks.found[&joint], general().found[&joint], "{joint}");
        }
    }

    #[test]
    fn an_elbow_in_two_places_is_the_general_nets_and_less_sure() {
        let all = refined(Some((Elbow(NEAR), seen(109.0, 118.0, 0.4))));
        let elbow = all.found[&Elbow(NEAR)];
        assert_eq!(elbow.at, Point::new(99.0, 118.0));
        assert_eq!(elbow.evidence, Evidence::PoseNet);
        assert!((elbow.covariance - Matrix2::new(101.0, 0.0, 0.0, 1.0)).norm() < 1e-9);
    }

    #[test]
    fn a_landmark_where_no_body_has_it_is_missing() {
        // C7 no nearer to the tragus than 0.005 of stature behind it.
        let with = |x| reason((C7, seen(x, 93.0, 0.4)));
        assert_eq!(with(102.4), None);
        assert_eq!(with(102.6), Some(Missing::Implausible));
    }

    #[test]
    fn a_landmark_outside_the_photo_is_missing() {
        let mut narrow = SHOWN;
        narrow.size = (95, 200);
        let mut landmarks = Landmarks::default();
        refine(&mut landmarks, &looks(None), narrow);
        assert_eq!(landmarks.missing[&C7], Missing::OutsidePhoto);
        let mut wide = SHOWN;
        wide.size = (99, 200);
        let mut landmarks = Landmarks::default();
        refine(&mut landmarks, &looks(None), wide);
        assert!(landmarks.found.contains_key(&C7));
    }

    #[test]
    fn what_a_view_hides_is_never_seen() {
        let everything: Vec<_> = Landmark::all()
            .map(|landmark| (landmark, seen(100.0, 100.0, 0.4)))
            .collect();
        let look = [look_at(Part::Trunk, &everything)];
        let mut from_the_side = general();
        let far = Located {
            at: Point::new(101.0, 86.0),
            covariance: Matrix2::identity(),
            evidence: Evidence::PoseNet,
            covered: false,
        };
        from_the_side.found.insert(Tragus(NEAR.other()), far);
        refine(&mut from_the_side, &look, SHOWN);
        for landmark in [Tragus(NEAR.other()), Acromion(NEAR.other())] {
            assert!(!from_the_side.found.contains_key(&landmark), "{landmark}");
        }
        let seen_from = |view| {
            let mut landmarks = Landmarks::default();
            refine(&mut landmarks, &look, Shown { view, ..SHOWN });
            landmarks.found
        };
        for landmark in [C7, T4, T8, T12, L3] {
            assert!(!seen_from(View::Front).contains_key(&landmark));
        }
        for landmark in [Chin, SternalNotch, EyeOuter(NEAR)] {
            assert!(!seen_from(View::Back).contains_key(&landmark));
        }
        assert!(seen_from(View::Oblique(NEAR)).is_empty());
    }

    #[test]
    fn from_behind_there_is_no_face() {
        let mut landmarks = general();
        let located = landmarks.found[&Tragus(NEAR)];
        let face = [Nose, EyeOuter(NEAR), Mouth(NEAR), Mouth(NEAR.other())];
        landmarks
            .found
            .extend(face.map(|landmark| (landmark, located)));
        let view = View::Back;
        refine(&mut landmarks, &[], Shown { view, ..SHOWN });
        for landmark in face {
            assert_eq!(landmarks.missing[&landmark], Missing::Hidden, "{landmark}");
        }
        assert!(landmarks.found.contains_key(&Tragus(NEAR)));
    }

    #[test]
    fn an_ear_behind_the_turned_head_is_hidden() {
        let tragus = Tragus(NEAR);
        let found = |visibility, view| {
            let point = LandmarkSeen {
                visibility,
                ..seen(103.0, 86.0, 0.4)
            };
            let look = [look_at(Part::Trunk, &[(tragus, point)])];
            let mut landmarks = Landmarks::default();
            landmarks.found.insert(tragus, general().found[&tragus]);
            refine(&mut landmarks, &look, Shown { view, ..SHOWN });
            landmarks.missing.get(&tragus).copied()
        };
        assert_eq!(found(0.04, View::Front), Some(Missing::Hidden));
        assert_eq!(found(0.06, View::Front), None);
        assert_eq!(found(0.04, View::Back), None, "hair may lie over it");
        assert_eq!(found(0.04, SHOWN.view), None, "an arm may lie over it");
    }

    #[test]
    fn without_looks_nothing_but_the_far_side_changes() {
        let mut landmarks = general();
        refine(&mut landmarks, &[], SHOWN);
        assert_eq!(landmarks.found, general().found);
        assert_eq!(landmarks.missing, BTreeMap::new());
    }
}

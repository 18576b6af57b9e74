//! Which lines are drawn on a photo to show what was measured, from its landmarks alone.
//!
//! The lines lie on the photo as it is. The values are read after the camera has been corrected
//! for, so a line and its value may differ by a little.

use crate::body::{Landmark, Side, Task, View};
use crate::geometry::{Photo, Point, Vector};
use crate::measure::Measure;
use crate::visit::PhotoRecord;

/// What a line stands for, in the order of drawing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stroke {
    /// A vertical or horizontal of the photo, or a body line carried on.
    Reference,
    /// The distance that a measure in centimetres tells.
    Distance,
    /// From landmark to landmark.
    Body,
}

/// A straight line in photo pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    pub stroke: Stroke,
    pub from: Point<Photo>,
    pub to: Point<Photo>,
}

/// The value of a measure that a photo shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tag {
    pub measure: Measure,
    pub side: Option<Side>,
    /// The place it speaks of.
    pub at: Point<Photo>,
    /// Where it is best written; `None` where it would hide more than it tells.
    pub beside: Option<Beside>,
}

/// A place at the edge of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// Height in the photo, pixels.
    pub y: f64,
    pub to_right: bool,
}

/// Everything drawn on one photo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    pub lines: Vec<Line>,
    /// Angles between the hanging and the raised arm, point by point.
    pub arcs: Vec<Vec<Point<Photo>>>,
    /// Landmarks that the lines start or end at.
    pub landmarks: Vec<Landmark>,
    pub tags: Vec<Tag>,
}

/// Lines, marks and places for values; empty when the photo shows no standard view or task.
pub fn drawing(photo: &PhotoRecord) -> Drawing {
    let mut pen = Pen {
        photo,
        drawing: Drawing::default(),
    };
    match (photo.view, photo.task) {
        (Some(View::Side(near)), Some(Task::Stand)) => side_stand(&mut pen, near),
        (Some(View::Side(near)), Some(Task::Reach)) => side_reach(&mut pen, near),
        (Some(view @ (View::Front | View::Back)), Some(Task::Stand)) => {
            front_stand(&mut pen, view);
        }
        (Some(view @ (View::Front | View::Back)), Some(Task::Reach)) => {
            front_reach(&mut pen, view);
        }
        _ => {}
    }
    pen.drawing.lines.sort_by_key(|line| line.stroke);
    pen.drawing
}

struct Pen<'a> {
    photo: &'a PhotoRecord,
    drawing: Drawing,
}

impl Pen<'_> {
    fn at(&self, landmark: Landmark) -> Option<Point<Photo>> {
        self.photo
            .landmarks
            .get(&landmark)
            .map(|located| located.at)
    }

    fn mark(&mut self, landmark: Landmark) {
        if !self.drawing.landmarks.contains(&landmark) {
            self.drawing.landmarks.push(landmark);
        }
    }

    fn line(&mut self, stroke: Stroke, from: Point<Photo>, to: Point<Photo>) {
        self.drawing.lines.push(Line { stroke, from, to });
    }

    /// A body line, when both its ends are known.
    fn join(&mut self, from: Landmark, to: Landmark) -> Option<(Point<Photo>, Point<Photo>)> {
        let ends = (self.at(from)?, self.at(to)?);
        self.mark(from);
        self.mark(to);
        self.line(Stroke::Body, ends.0, ends.1);
        Some(ends)
    }

    /// The angle from straight down to the raised arm, opened to the right or left of the photo.
    fn arc(&mut self, shoulder: Point<Photo>, elbow: Point<Photo>, to_right: bool) {
        use std::f64::consts::{FRAC_PI_2, TAU};
        const PARTS: usize = 24;
        let arm = elbow - shoulder;
        let open = if to_right { -1.0 } else { 1.0 };
        // From down, positive the way the arm rises; a little the other way for an arm behind.
        let raised = (open * (arm.y.atan2(arm.x) - FRAC_PI_2)).rem_euclid(TAU);
        let raised = if raised > 0.75 * TAU {
            raised - TAU
        } else {
            raised
        };
        let at = |part: usize| {
            let angle = FRAC_PI_2 + open * raised * part as f64 / PARTS as f64;
            shoulder + Vector::new(angle.cos(), angle.sin()) * (0.4 * arm.length())
        };
        self.drawing.arcs.push((0..=PARTS).map(at).collect());
    }

    /// A value written at the height of the place it speaks of.
    fn tag(&mut self, measure: Measure, side: Option<Side>, at: Point<Photo>, to_right: bool) {
        let beside = Beside { y: at.y, to_right };
        self.tag_at(measure, side, at, Some(beside));
    }

    fn tag_at(
        &mut self,
        measure: Measure,
        side: Option<Side>,
        at: Point<Photo>,
        beside: Option<Beside>,
    ) {
        self.drawing.tags.push(Tag {
            measure,
            side,
            at,
            beside,
        });
    }
}

/// Whether the person faces the right edge of the picture: whoever shows their right side does.
fn faces_right(near: Side) -> bool {
    near == Side::Right
}

fn side_stand(pen: &mut Pen, near: Side) {
    let right = faces_right(near);
    let forward = if right { 1.0 } else { -1.0 };
    if let Some((hip, shoulder)) = pen.join(Landmark::HipJoint(near), Landmark::ShoulderJoint(near))
    {
        let up = Vector::new(0.0, -hip.distance(shoulder));
        pen.line(Stroke::Reference, hip, hip + up);
        // Behind the back, where neither the arm nor the face is.
        let middle = hip.midpoint(shoulder);
        pen.tag(Measure::TrunkLean, Some(near), middle, !right);
    }
    if let Some((c7, tragus)) = pen.join(Landmark::C7, Landmark::Tragus(near)) {
        let ahead = Vector::new(forward * 1.2 * c7.distance(tragus), 0.0);
        pen.line(Stroke::Reference, c7, c7 + ahead);
        pen.tag(Measure::CraniovertebralAngle, Some(near), c7, !right);
    }
    if let Some((acromion, c7)) = pen.join(Landmark::Acromion(near), Landmark::C7) {
        let back = Vector::new(-forward * acromion.distance(c7), 0.0);
        pen.line(Stroke::Reference, acromion, acromion + back);
        pen.tag(Measure::SagittalShoulderAngle, Some(near), acromion, !right);
    }
    if let (Some(acromion), Some(tragus)) = (
        pen.at(Landmark::Acromion(near)),
        pen.at(Landmark::Tragus(near)),
    ) {
        pen.mark(Landmark::Acromion(near));
        pen.mark(Landmark::Tragus(near));
        let above = Point::new(acromion.x, tragus.y);
        pen.line(Stroke::Reference, acromion, above);
        pen.line(Stroke::Distance, above, tragus);
        pen.tag(Measure::HeadForwardOfShoulder, Some(near), tragus, !right);
    }
    let back = [Landmark::C7, Landmark::T4, Landmark::T8, Landmark::T12];
    if back.iter().all(|&landmark| pen.at(landmark).is_some()) {
        for pair in back.windows(2) {
            pen.join(pair[0], pair[1]);
        }
        if let (Some(top), Some(apex), Some(bottom)) = (
            pen.at(Landmark::C7),
            pen.at(Landmark::T8),
            pen.at(Landmark::T12),
        ) {
            pen.line(Stroke::Reference, top, bottom);
            pen.tag(Measure::ThoracicAngle, Some(near), apex, !right);
        }
    }
}

fn side_reach(pen: &mut Pen, near: Side) {
    let right = faces_right(near);
    let arm = pen.join(Landmark::ShoulderJoint(near), Landmark::Elbow(near));
    if pen
        .join(Landmark::Elbow(near), Landmark::Wrist(near))
        .is_some()
        && let Some(elbow) = pen.at(Landmark::Elbow(near))
    {
        // Before the face and the raised arm there is no room for words.
        pen.tag_at(Measure::ElbowExtensionDeficit, Some(near), elbow, None);
    }
    let Some((shoulder, elbow)) = arm else {
        return;
    };
    let half = Vector::new(0.0, shoulder.distance(elbow));
    pen.line(Stroke::Reference, shoulder + half, shoulder + -half);
    pen.arc(shoulder, elbow, right);
    let below = Beside {
        y: shoulder.y + 0.5 * half.y,
        to_right: !right,
    };
    pen.tag_at(Measure::ShoulderFlexion, Some(near), shoulder, Some(below));
    let Some(tragus) = pen.at(Landmark::Tragus(near)) else {
        return;
    };
    if let Some(foot) = foot_of_perpendicular(tragus, shoulder, elbow) {
        pen.mark(Landmark::Tragus(near));
        if beyond(foot, shoulder, elbow) {
            pen.line(Stroke::Reference, shoulder, foot);
        }
        pen.line(Stroke::Distance, tragus, foot);
        pen.tag(Measure::ArmToEar, Some(near), tragus, !right);
    }
}

fn front_stand(pen: &mut Pen, view: View) {
    let lefts_right = lefts_right(view);
    let tragi = pen.join(Landmark::Tragus(Side::Right), Landmark::Tragus(Side::Left));
    let shoulders = pen
        .join(
            Landmark::Acromion(Side::Right),
            Landmark::Acromion(Side::Left),
        )
        .or_else(|| {
            pen.join(
                Landmark::ShoulderJoint(Side::Right),
                Landmark::ShoulderJoint(Side::Left),
            )
        });
    let end = |ends: (Point<Photo>, Point<Photo>)| if lefts_right { ends.1 } else { ends.0 };
    let other_end = |ends: (Point<Photo>, Point<Photo>)| if lefts_right { ends.0 } else { ends.1 };
    if let Some(ends) = tragi {
        pen.tag(Measure::HeadTilt, None, end(ends), true);
    }
    if let Some(ends) = shoulders {
        pen.tag(Measure::ShoulderTilt, None, end(ends), true);
    }
    let ankles = Side::BOTH.map(|side| pen.at(Landmark::Ankle(side)));
    let [Some(left), Some(right)] = ankles else {
        return;
    };
    for side in Side::BOTH {
        pen.mark(Landmark::Ankle(side));
    }
    let foot = left.midpoint(right);
    let heads = [
        (tragi, Measure::HeadShift),
        (shoulders, Measure::TrunkShift),
    ];
    let Some(top) = heads
        .iter()
        .filter_map(|(ends, _)| *ends)
        .map(|(a, b)| a.midpoint(b).y)
        .reduce(f64::min)
    else {
        return;
    };
    let rise = 0.08 * (foot.y - top);
    pen.line(Stroke::Reference, foot, Point::new(foot.x, top - rise));
    for (ends, measure) in heads {
        if let Some(ends) = ends {
            let middle = ends.0.midpoint(ends.1);
            pen.line(Stroke::Distance, Point::new(foot.x, middle.y), middle);
            pen.tag(measure, None, other_end(ends), false);
        }
    }
}

fn front_reach(pen: &mut Pen, view: View) {
    for side in Side::BOTH {
        // The subject's left arm is at the right of a picture taken from the front.
        let right = (side == Side::Left) == lefts_right(view);
        let arm = pen.join(Landmark::ShoulderJoint(side), Landmark::Elbow(side));
        pen.join(Landmark::Elbow(side), Landmark::Wrist(side));
        let Some((shoulder, elbow)) = arm else {
            continue;
        };
        let half = Vector::new(0.0, shoulder.distance(elbow));
        pen.line(
            Stroke::Reference,
            shoulder + half * 0.6,
            shoulder + -half * 0.6,
        );
        pen.arc(shoulder, elbow, right);
        // A raised arm leaves the room beside the trunk free.
        let below = |arms: f64| {
            let y = shoulder.y + arms * shoulder.distance(elbow);
            Some(Beside { y, to_right: right })
        };
        pen.tag_at(Measure::ShoulderAbduction, Some(side), shoulder, below(0.8));
        let (Some(tragus), true) = (pen.at(Landmark::Tragus(side)), view == View::Front) else {
            continue;
        };
        pen.mark(Landmark::Tragus(side));
        if let Some(there) = at_height(tragus.y, shoulder, elbow) {
            if beyond(there, shoulder, elbow) {
                pen.line(Stroke::Reference, elbow, there);
            }
            pen.line(Stroke::Distance, tragus, there);
            pen.tag_at(Measure::ArmToEarFront, Some(side), there, below(1.4));
        }
    }
}

/// Whether the subject's left is at the right of the picture.
fn lefts_right(view: View) -> bool {
    view != View::Back
}

fn foot_of_perpendicular(
    from: Point<Photo>,
    a: Point<Photo>,
    b: Point<Photo>,
) -> Option<Point<Photo>> {
    let along = b - a;
    let squared = along.dot(along);
    (squared > 0.0).then(|| a + along * ((from - a).dot(along) / squared))
}

/// Where the raised arm's line passes a height of the photo; `None` for an arm that is not well
/// above the shoulder, whose line passes it far away.
fn at_height(y: f64, shoulder: Point<Photo>, elbow: Point<Photo>) -> Option<Point<Photo>> {
    let arm = elbow - shoulder;
    let raised = -arm.y > 0.17 * arm.length();
    raised.then(|| shoulder + arm * ((y - shoulder.y) / arm.y))
}

/// Whether a point of the line through `a` and `b` lies outside of the stretch between them.
fn beyond(point: Point<Photo>, a: Point<Photo>, b: Point<Photo>) -> bool {
    (point - a).dot(b - a) < 0.0 || (point - b).dot(a - b) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn a_side_view_draws_the_near_side_only() {
        let photo = samples::side_reach(Side::Right);
        let drawing = drawing(&photo);
        assert!(!drawing.lines.is_empty());
        assert!(
            drawing
                .landmarks
                .iter()
                .all(|landmark| landmark.side() != Some(Side::Left))
        );
    }

    #[test]
    fn the_arm_to_ear_line_is_square_to_the_arm() {
        let photo = samples::side_reach(Side::Right);
        let at = |landmark| photo.landmarks[&landmark].at;
        let arm = at(Landmark::Elbow(Side::Right)) - at(Landmark::ShoulderJoint(Side::Right));
        let drawing = drawing(&photo);
        let distance = drawing
            .lines
            .iter()
            .find(|line| line.stroke == Stroke::Distance)
            .unwrap();
        assert_eq!(distance.from, at(Landmark::Tragus(Side::Right)));
        assert!((distance.to - distance.from).dot(arm).abs() < 1e-6);
    }

    #[test]
    fn the_arc_runs_from_straight_down_to_the_arm() {
        let photo = samples::side_reach(Side::Right);
        let at = |landmark| photo.landmarks[&landmark].at;
        let shoulder = at(Landmark::ShoulderJoint(Side::Right));
        let arm = at(Landmark::Elbow(Side::Right)) - shoulder;
        let arc = &drawing(&photo).arcs[0];
        let (first, last) = (arc[0] - shoulder, arc[arc.len() - 1] - shoulder);
        assert!(first.x.abs() < 1e-9 && first.y > 0.0);
        assert!((last * arm.length() + -arm * last.length()).length() < 1e-6);
        // In front of the body, which faces right.
        assert!(arc[arc.len() / 2].x > shoulder.x);
    }

    #[test]
    fn without_c7_the_trunk_is_still_drawn() {
        let mut photo = samples::side_stand(Side::Left);
        photo.landmarks.remove(&Landmark::C7);
        let tags: Vec<Measure> = drawing(&photo).tags.iter().map(|tag| tag.measure).collect();
        assert!(tags.contains(&Measure::TrunkLean));
        assert!(!tags.contains(&Measure::CraniovertebralAngle));
    }

    #[test]
    fn a_photo_without_a_view_has_no_lines() {
        let mut photo = samples::side_stand(Side::Left);
        photo.view = None;
        assert_eq!(drawing(&photo), Drawing::default());
    }
}

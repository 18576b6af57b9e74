//! Line drawings of exercises: a person from joint angles, the start light, the end dark, and an
//! arrow along the way.
//!
//! A side view shows the operated side, a front view looks at the person. Whoever lies is seen from
//! the side, or in a front view from above. Lengths are parts of the stature after Drillis and
//! Contini 1966 as given by Winter (secondary), the stature being 1000; the shoulders are 0.104 from
//! the middle, since half of biacromial breadth is 0.11 and the joint lies within it.

use maud::{Markup, html};

use crate::body::Side;
use crate::care::catalogue::{Figure, FigureView, Follow, Held, Pose, Support};
use crate::geometry::{Angle, BodyPlane, Point, Vector};

use super::axis::at;
use super::document::Picture;

const STYLE: &str = include_str!("figure.css");

type Place = Point<BodyPlane>;
type Step = Vector<BodyPlane>;

const TRUNK: f64 = 288.0;
const SHOULDERS: f64 = 104.0;
const HIPS: f64 = 50.0;
const COLLAR_BONE: f64 = 89.0;
const UPPER_ARM: f64 = 186.0;
const FOREARM: f64 = 146.0;
/// To the middle of a loosely closed hand.
const HAND: f64 = 50.0;
const THIGH: f64 = 245.0;
const SHIN: f64 = 246.0;
const FOOT: f64 = 105.0;
const SOLE: f64 = 39.0;
/// From the base of the neck to the middle of the head.
const NECK: f64 = 113.0;
const NECK_BASE: f64 = 292.0;

/// Width of the outline.
const EDGE: f64 = 7.0;
/// Around the drawing.
const MARGIN: f64 = 14.0;
/// Room for a drawing beside its words, millimetres.
const WIDEST: f64 = 64.0;
const TALLEST: f64 = 66.0;
/// Of 1000 of the drawing, where there is room.
const MILLIMETRES: f64 = 72.0;
/// An arrow shorter than this would not be seen.
const LEAST_ARROW: f64 = 85.0;

/// The joints of a pose in the plane of the drawing; those of the operated side come first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Skeleton {
    pub hips: [Place; 2],
    pub shoulders: [Place; 2],
    pub elbows: [Place; 2],
    pub wrists: [Place; 2],
    pub hands: [Place; 2],
    pub knees: [Place; 2],
    pub ankles: [Place; 2],
    pub toes: [Place; 2],
    pub neck: Place,
    pub head: Place,
    /// Along the trunk.
    up: Step,
    /// Where the crown points.
    crown: Step,
}

/// A step that is turned from straight down by so much: forward, or outward in a front view.
fn down_turned(degrees: f64, length: f64) -> Step {
    let (sin, cos) = Angle::from_degrees(degrees).radians().sin_cos();
    Step::new(sin * length, -cos * length)
}

fn up_turned(degrees: f64, length: f64) -> Step {
    -down_turned(-degrees, length)
}

/// As seen in a mirror that stands upright.
fn mirrored(step: Step) -> Step {
    Step::new(-step.x, step.y)
}

/// From two limbs of three joints to three joints of two limbs.
fn by_joint([first, second]: [[Place; 3]; 2]) -> [[Place; 2]; 3] {
    std::array::from_fn(|joint| [first[joint], second[joint]])
}

impl Skeleton {
    /// x is forward in a side view and towards the operated side in a front view, y up; the middle of
    /// the hips is the origin.
    pub fn of(pose: &Pose, view: FigureView) -> Skeleton {
        match view {
            FigureView::Side => Skeleton::from_side(pose),
            FigureView::Front => Skeleton::from_front(pose),
        }
    }

    fn from_side(pose: &Pose) -> Skeleton {
        let origin = Place::new(0.0, 0.0);
        let lean = pose.trunk;
        let lift = COLLAR_BONE * Angle::from_degrees(pose.shrug).radians().sin();
        let shoulder = origin + up_turned(lean, TRUNK + lift);
        let neck = origin + up_turned(lean, NECK_BASE);
        let arm = |index: usize| {
            let arm = pose.arms[index];
            let bent = arm.shoulder + arm.elbow - lean;
            let elbow = shoulder + down_turned(arm.shoulder - lean, UPPER_ARM);
            let wrist = elbow + down_turned(bent, FOREARM);
            [elbow, wrist, wrist + down_turned(bent, HAND)]
        };
        let leg = |index: usize| {
            let leg = pose.legs[index];
            let shin = leg.hip - lean - leg.knee;
            let knee = origin + down_turned(leg.hip - lean, THIGH);
            let ankle = knee + down_turned(shin, SHIN);
            let sole = ankle + down_turned(shin - leg.ankle, SOLE / 2.0);
            [
                knee,
                ankle,
                sole + down_turned(shin + 90.0 - leg.ankle, FOOT),
            ]
        };
        let [elbows, wrists, hands] = by_joint([arm(0), arm(1)]);
        let [knees, ankles, toes] = by_joint([leg(0), leg(1)]);
        Skeleton {
            hips: [origin; 2],
            shoulders: [shoulder; 2],
            elbows,
            wrists,
            hands,
            knees,
            ankles,
            toes,
            neck,
            head: neck + up_turned(lean + pose.neck, NECK),
            up: up_turned(lean, 1.0),
            // Whoever pokes the head forward still looks ahead.
            crown: up_turned(lean + 0.3 * pose.neck, 1.0),
        }
    }

    fn from_front(pose: &Pose) -> Skeleton {
        let lean = pose.trunk;
        let up = up_turned(lean, 1.0);
        let across = Step::new(up.y, -up.x);
        let middle = Place::new(0.0, 0.0);
        let shrug = Angle::from_degrees(pose.shrug).radians();
        let shoulder = |outward: f64| {
            let aside = SHOULDERS - COLLAR_BONE + COLLAR_BONE * shrug.cos();
            middle + up * (TRUNK + COLLAR_BONE * shrug.sin()) + across * (outward * aside)
        };
        let arm = |index: usize, outward: f64| {
            let arm = pose.arms[index];
            let seen = |step: Step| if outward > 0.0 { step } else { mirrored(step) };
            let raised = arm.shoulder - outward * lean;
            let elbow = shoulder(outward) + seen(down_turned(raised, UPPER_ARM));
            let wrist = elbow + seen(down_turned(raised + arm.elbow, FOREARM));
            let hand = wrist + seen(down_turned(raised + arm.elbow, HAND));
            [elbow, wrist, hand]
        };
        // Thighs that point at the viewer are seen end on; knees stand a little apart.
        let leg = |index: usize, outward: f64| {
            let leg = pose.legs[index];
            let seen = |degrees: f64| Angle::from_degrees(degrees).radians().cos();
            let apart = outward * 0.45 * HIPS * (1.0 - seen(leg.hip));
            let knee = Place::new(outward * HIPS + apart, -THIGH * seen(leg.hip));
            let ankle = knee + Step::new(0.0, -SHIN * seen(leg.hip - leg.knee));
            [knee, ankle, ankle + Step::new(outward * 14.0, -SOLE * 0.6)]
        };
        let neck = middle + up * NECK_BASE;
        let [elbows, wrists, hands] = by_joint([arm(0, 1.0), arm(1, -1.0)]);
        let [knees, ankles, toes] = by_joint([leg(0, 1.0), leg(1, -1.0)]);
        Skeleton {
            hips: [Place::new(HIPS, 0.0), Place::new(-HIPS, 0.0)],
            shoulders: [shoulder(1.0), shoulder(-1.0)],
            elbows,
            wrists,
            hands,
            knees,
            ankles,
            toes,
            neck,
            head: neck + up_turned(lean + pose.neck, NECK),
            up,
            crown: up_turned(lean + pose.neck, 1.0),
        }
    }

    /// Square to the trunk: forward, or to the operated side.
    fn across(&self) -> Step {
        Step::new(self.up.y, -self.up.x)
    }

    /// A place on the trunk: so far up from the hips and so far across.
    fn on_trunk(&self, across: f64, up: f64) -> Place {
        self.hips[0].midpoint(self.hips[1]) + self.across() * across + self.up * up
    }

    fn of_follow(&self, follow: Follow) -> Place {
        match follow {
            Follow::Hand => self.hands[0],
            Follow::Elbow => self.elbows[0],
            Follow::Shoulder => self.shoulders[0],
            Follow::Head => self.head,
            Follow::Foot => self.toes[0],
        }
    }

    fn points(&self) -> impl Iterator<Item = (Place, f64)> {
        let limbs = [
            self.shoulders,
            self.elbows,
            self.hands,
            self.hips,
            self.knees,
            self.ankles,
            self.toes,
        ];
        limbs
            .into_iter()
            .flatten()
            .map(|place| (place, 34.0))
            .chain([(self.head, 74.0)])
    }
}

/// The whole drawing; `side` is the operated one, told by `words`.
pub fn figure(figure: &Figure, side: Side, words: &str) -> Markup {
    let sheet = Sheet::of(figure, side);
    let [width, height] = sheet.size();
    html! {
        svg class="figure" role="img" aria-label=(words) viewBox=(sheet.view_box())
            width=(width) height=(height) {
            (sheet.support())
            (sheet.body(&sheet.start, "start"))
            (sheet.head(&sheet.start, "start"))
            (sheet.body(&sheet.end, "end"))
            // Arms pass in front of a head that is seen from the side, and behind one from the front.
            @if sheet.side_view() { (sheet.head(&sheet.end, "end")) }
            (sheet.near_arms(&sheet.start, "start"))
            (sheet.held(&sheet.start, "start"))
            (sheet.near_arms(&sheet.end, "end"))
            @if !sheet.side_view() { (sheet.head(&sheet.end, "end")) }
            (sheet.held(&sheet.end, "end"))
            (sheet.arrow())
        }
    }
}

/// The drawing as a picture of a document.
pub fn picture(figure: &Figure, side: Side, words: &str) -> Picture {
    let svg = self::figure(figure, side, words).into_string();
    Picture::new(&svg, STYLE, words)
}

struct Sheet<'a> {
    figure: &'a Figure,
    /// Whether x of the drawing runs against x of the paper.
    flipped: bool,
    start: Skeleton,
    end: Skeleton,
    floor: f64,
    arrow: Vec<Place>,
    bounds: Bounds,
}

/// One bone with flesh around it.
struct Limb {
    name: &'static str,
    from: Place,
    to: Place,
    width: f64,
}

impl<'a> Sheet<'a> {
    fn of(figure: &'a Figure, side: Side) -> Sheet<'a> {
        let start = Skeleton::of(&figure.start, figure.view);
        let end = Skeleton::of(&figure.end, figure.view);
        // Left side in front of the viewer: the person looks to the left of the paper. From the
        // front, the person's left is on the right of the paper.
        let flipped = match figure.view {
            FigureView::Side => side == Side::Left,
            FigureView::Front => side == Side::Right,
        };
        let lowest = |skeleton: &Skeleton| {
            let [first, second] = skeleton.ankles.map(|ankle| ankle.y);
            first.min(second) - SOLE
        };
        let mut sheet = Sheet {
            figure,
            flipped,
            floor: lowest(&start).min(lowest(&end)),
            arrow: Vec::new(),
            bounds: Bounds::none(),
            start,
            end,
        };
        sheet.arrow = sheet.way();
        sheet.bounds = sheet.all_bounds();
        sheet
    }

    fn side_view(&self) -> bool {
        self.figure.view == FigureView::Side
    }

    fn all_bounds(&self) -> Bounds {
        let mut bounds = Bounds::none();
        for skeleton in [&self.start, &self.end] {
            for (place, around) in skeleton.points() {
                bounds.hold(place, around);
            }
        }
        for place in &self.arrow {
            bounds.hold(*place, 24.0);
        }
        for place in self.support_corners() {
            bounds.hold(place, EDGE);
        }
        bounds
    }

    // ---- from the drawing to the paper ----

    fn x(&self, place: Place) -> String {
        at(if self.flipped { -place.x } else { place.x })
    }

    fn y(&self, place: Place) -> String {
        at(-place.y)
    }

    fn point(&self, place: Place) -> String {
        format!("{} {}", self.x(place), self.y(place))
    }

    fn line(&self, places: &[Place]) -> String {
        let points: Vec<String> = places.iter().map(|place| self.point(*place)).collect();
        format!("M{}", points.join("L"))
    }

    fn closed(&self, places: &[Place]) -> String {
        format!("{}Z", self.line(places))
    }

    /// A smooth closed curve through places (Catmull and Rom 1974, as Bézier curves).
    fn smooth(&self, places: &[Place]) -> String {
        let count = places.len();
        let place = |index: usize| places[index % count];
        let mut path = format!("M{}", self.point(places[0]));
        for index in 0..count {
            let (before, from) = (place(index + count - 1), place(index));
            let (to, after) = (place(index + 1), place(index + 2));
            let leave = from + (to - before) * (1.0 / 6.0);
            let arrive = to + -((after - from) * (1.0 / 6.0));
            path.push_str(&format!(
                "C{} {} {}",
                self.point(leave),
                self.point(arrive),
                self.point(to)
            ));
        }
        path.push('Z');
        path
    }

    fn view_box(&self) -> String {
        let (left, right) = match self.flipped {
            true => (-self.bounds.right, -self.bounds.left),
            false => (self.bounds.left, self.bounds.right),
        };
        format!(
            "{} {} {} {}",
            at(left - MARGIN),
            at(-self.bounds.top - MARGIN),
            at(right - left + 2.0 * MARGIN),
            at(self.bounds.top - self.bounds.bottom + 2.0 * MARGIN)
        )
    }

    /// Width and height on paper.
    fn size(&self) -> [String; 2] {
        let width = self.bounds.right - self.bounds.left + 2.0 * MARGIN;
        let height = self.bounds.top - self.bounds.bottom + 2.0 * MARGIN;
        let scale = (WIDEST / width)
            .min(TALLEST / height)
            .min(MILLIMETRES / 1000.0);
        [width, height].map(|length| format!("{}mm", at(length * scale)))
    }

    // ---- the person ----

    /// All but the head and the arms that the viewer sees whole.
    fn body(&self, skeleton: &Skeleton, when: &str) -> Markup {
        let legs = |index: usize| self.leg(skeleton, index);
        html! {
            @if self.side_view() {
                (self.limbs(&arm(skeleton, 1), when, "far"))
                (self.limbs(&legs(1), when, "far"))
            } @else {
                (self.limbs(&legs(1), when, "near"))
            }
            (self.limbs(&legs(0), when, "near"))
            (self.limbs(&[neck(skeleton)], when, "near"))
            path class=(format!("flesh outlined {when} near")) d=(self.trunk(skeleton)) {}
        }
    }

    fn near_arms(&self, skeleton: &Skeleton, when: &str) -> Markup {
        let shown: &[usize] = if self.side_view() { &[0] } else { &[1, 0] };
        html! {
            @for index in shown {
                @let moves = self.moves(*index);
                (self.limbs(&arm(skeleton, *index), when, if moves { "near moved" } else { "near" }))
            }
        }
    }

    /// Whether the exercise is about this arm; arms also move to stay where they are.
    fn moves(&self, arm: usize) -> bool {
        let (start, end) = (&self.figure.start, &self.figure.end);
        matches!(self.figure.follow, Follow::Hand | Follow::Elbow)
            && start.arms[arm] != end.arms[arm]
    }

    fn leg(&self, skeleton: &Skeleton, index: usize) -> Vec<Limb> {
        let (knee, ankle) = (skeleton.knees[index], skeleton.ankles[index]);
        let toes = skeleton.toes[index];
        // The heel sticks out behind the ankle.
        let heel = match self.side_view() {
            true => ankle + (toes - ankle) * 0.1,
            false => ankle,
        };
        vec![
            Limb::new("foot", heel, toes, 40.0),
            Limb::new("shin", knee, ankle, 50.0),
            Limb::new("thigh", skeleton.hips[index], knee, 76.0),
        ]
    }

    /// Outlines first, so that one limb's bones grow together.
    fn limbs(&self, limbs: &[Limb], when: &str, tone: &str) -> Markup {
        html! {
            @for limb in limbs {
                path class=(format!("edge {when} {tone}")) d=(self.line(&[limb.from, limb.to]))
                    stroke-width=(at(limb.width + 2.0 * EDGE)) {}
            }
            @for limb in limbs {
                path class=(format!("flesh {when} {tone} {}", limb.name))
                    d=(self.line(&[limb.from, limb.to])) stroke-width=(at(limb.width)) {}
            }
        }
    }

    fn trunk(&self, skeleton: &Skeleton) -> String {
        let on = |(across, up): (f64, f64)| skeleton.on_trunk(across, up);
        if self.side_view() {
            let outline = [
                (-46.0, -34.0),
                (6.0, -44.0),
                (44.0, -22.0),
                (43.0, 60.0),
                (38.0, 120.0),
                (52.0, 200.0),
                (46.0, 262.0),
                (16.0, 306.0),
                (-20.0, 310.0),
                (-50.0, 262.0),
                (-52.0, 190.0),
                (-34.0, 100.0),
                (-48.0, 30.0),
            ];
            return self.smooth(&outline.map(on));
        }
        let half = [
            (26.0, 320.0),
            (66.0, 306.0),
            (102.0, 282.0),
            (96.0, 210.0),
            (74.0, 110.0),
            (88.0, 20.0),
            (80.0, -34.0),
            (36.0, -44.0),
        ];
        // The slope from neck to shoulder follows a shrug.
        let lift = (skeleton.shoulders[0] - skeleton.on_trunk(0.0, TRUNK)).dot(skeleton.up);
        let lifted = |(across, up): (f64, f64)| match across > 50.0 && up > 250.0 {
            true => (across, up + lift),
            false => (across, up),
        };
        let right = half.into_iter().map(lifted);
        let left = half.into_iter().rev().map(|(across, up)| {
            let (across, up) = lifted((across, up));
            (-across, up)
        });
        let outline: Vec<Place> = right.chain(left).map(on).collect();
        self.smooth(&outline)
    }

    fn head(&self, skeleton: &Skeleton, when: &str) -> Markup {
        let crown = skeleton.crown;
        let ahead = Step::new(crown.y, -crown.x);
        let on = |(ahead_by, up): (f64, f64)| skeleton.head + ahead * ahead_by + crown * up;
        if self.side_view() {
            let outline = [
                (-4.0, 66.0),
                (36.0, 52.0),
                (52.0, 18.0),
                (53.0, 2.0),
                (69.0, -17.0),
                (53.0, -25.0),
                (51.0, -45.0),
                (36.0, -62.0),
                (4.0, -54.0),
                (-30.0, -44.0),
                (-56.0, -8.0),
                (-46.0, 42.0),
            ];
            let ear = [(-6.0, 6.0), (-14.0, -6.0), (-6.0, -18.0)].map(on);
            return html! {
                path class=(format!("flesh outlined {when} near")) d=(self.smooth(&outline.map(on))) {}
                path class=(format!("trait {when}")) d=(format!(
                    "M{}Q{} {}", self.point(ear[0]), self.point(ear[1]), self.point(ear[2])
                )) {}
            };
        }
        let outline = [
            (0.0, 66.0),
            (36.0, 50.0),
            (49.0, 8.0),
            (38.0, -40.0),
            (0.0, -64.0),
            (-38.0, -40.0),
            (-49.0, 8.0),
            (-36.0, 50.0),
        ];
        let mouth = [(-15.0, -33.0), (0.0, -41.0), (15.0, -33.0)].map(on);
        html! {
            path class=(format!("flesh outlined {when} near")) d=(self.smooth(&outline.map(on))) {}
            @for eye in [(-17.0, 4.0), (17.0, 4.0)].map(on) {
                circle class=(format!("eye {when}")) cx=(self.x(eye)) cy=(self.y(eye)) r="4.5" {}
            }
            path class=(format!("trait {when}")) d=(format!(
                "M{}Q{} {}", self.point(mouth[0]), self.point(mouth[1]), self.point(mouth[2])
            )) {}
        }
    }

    // ---- what the person holds ----

    fn held(&self, skeleton: &Skeleton, when: &str) -> Markup {
        let [first, second] = skeleton.hands;
        match self.figure.holds {
            None => html! {},
            // Seen end on.
            Some(Held::Stick) if self.side_view() => html! {
                circle class=(format!("stick-end {when}")) cx=(self.x(first)) cy=(self.y(first)) r="15" {}
            },
            Some(Held::Stick) => {
                let along = second - first;
                let beyond = along * (60.0 / along.length().max(1.0));
                html! {
                    path class=(format!("stick {when}"))
                        d=(self.line(&[first + -beyond, second + beyond])) {}
                }
            }
            Some(Held::Weight) => {
                let corners = |half: f64, low: f64, high: f64| {
                    [(-half, low), (half, low), (half, high), (-half, high)]
                        .map(|(x, y)| first + Step::new(x, y))
                };
                html! {
                    path class=(format!("bottle {when}")) d=(self.closed(&corners(17.0, -44.0, 30.0))) {}
                    path class=(format!("bottle {when}")) d=(self.closed(&corners(7.0, 30.0, 48.0))) {}
                }
            }
            // One band is drawn, where the movement ends.
            Some(_) if when == "start" => html! {},
            Some(Held::BandAhead) => html! {
                path class="band" d=(self.line(&[first, self.anchor()])) {}
                path class="support" d=(self.line(&self.post())) {}
            },
            Some(Held::BandUnderFoot) => html! {
                path class="band" d=(self.line(&[first, skeleton.toes[0]])) {}
            },
            Some(Held::BandBehind) => {
                let around =
                    [(54.0, 214.0), (-54.0, 204.0)].map(|(ahead, up)| skeleton.on_trunk(ahead, up));
                html! { path class="band" d=(self.line(&[first, around[0], around[1]])) {} }
            }
        }
    }

    /// Where a band is fixed, well ahead of the hands and as high.
    fn anchor(&self) -> Place {
        let [start, end] = [self.start.hands[0], self.end.hands[0]];
        Place::new(start.x.max(end.x) + 150.0, start.y)
    }

    fn post(&self) -> [Place; 2] {
        let anchor = self.anchor();
        [
            Place::new(anchor.x, self.floor),
            Place::new(anchor.x, anchor.y + 170.0),
        ]
    }

    // ---- what carries the person ----

    fn support(&self) -> Markup {
        match (self.figure.support, self.side_view()) {
            (Support::Couch, true) => self.couch_from_side(),
            (Support::Couch, false) => self.couch_from_above(),
            (Support::Chair, true) => html! { (self.ground()) (self.chair_from_side()) },
            (Support::Chair, false) => html! { (self.ground()) (self.chair_from_front()) },
            (Support::Table, _) => html! {
                (self.ground()) (self.chair_from_side()) (self.table())
            },
            (Support::Wall, _) => html! { (self.ground()) (self.wall()) },
            (Support::Floor, _) => self.ground(),
        }
    }

    /// Room that the support takes beyond the person.
    fn support_corners(&self) -> Vec<Place> {
        let floor = |x: f64| Place::new(x, self.floor);
        let mut corners = match (self.figure.support, self.side_view()) {
            (Support::Couch, true) => {
                let top = couch_top();
                let (head, foot) = self.couch_ends();
                vec![Place::new(head, top - 150.0), Place::new(foot, top)]
            }
            (Support::Couch, false) => self.bed().to_vec(),
            (Support::Chair, true) => vec![floor(-110.0), floor(190.0)],
            (Support::Chair, _) => vec![floor(-170.0), floor(170.0)],
            (Support::Floor, _) => {
                let toes = [self.start, self.end].into_iter().flat_map(|s| s.toes);
                let aside = toes.map(|toe| toe.x.abs()).fold(110.0, f64::max) + 60.0;
                vec![floor(-aside), floor(aside)]
            }
            (Support::Table, _) => vec![floor(-110.0), floor(self.table_ends().1 + 20.0)],
            (Support::Wall, _) => vec![
                floor(-120.0),
                Place::new(self.wall_at() + 40.0, self.end.hands[0].y + 90.0),
            ],
        };
        if self.figure.holds == Some(Held::BandAhead) {
            corners.extend(self.post());
        }
        corners
    }

    fn ground(&self) -> Markup {
        let corners = self.support_corners();
        let ends = corners.iter().map(|corner| corner.x);
        let (left, right) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(x), high.max(x))
        });
        html! {
            path class="support" d=(self.line(&[
                Place::new(left, self.floor), Place::new(right, self.floor),
            ])) {}
        }
    }

    fn chair_from_side(&self) -> Markup {
        let seat = -46.0;
        let place = Place::new;
        html! {
            path class="support" d=(self.line(&[place(-84.0, 210.0), place(-78.0, seat), place(140.0, seat)])) {}
            path class="support" d=(self.line(&[place(-78.0, seat), place(-88.0, self.floor)])) {}
            path class="support" d=(self.line(&[place(132.0, seat), place(138.0, self.floor)])) {}
        }
    }

    fn chair_from_front(&self) -> Markup {
        let seat = -46.0;
        let place = Place::new;
        html! {
            path class="support" d=(self.line(&[
                place(-126.0, seat), place(-126.0, 190.0), place(126.0, 190.0), place(126.0, seat),
            ])) {}
            path class="support" d=(self.line(&[place(-142.0, seat), place(142.0, seat)])) {}
            @for side in [-1.0, 1.0] {
                path class="support" d=(self.line(&[place(side * 132.0, seat), place(side * 138.0, self.floor)])) {}
            }
        }
    }

    /// From the person's to its far end.
    fn table_ends(&self) -> (f64, f64) {
        let [start, end] = [self.start.hands[0].x, self.end.hands[0].x];
        (start.min(end) - 130.0, start.max(end) + 90.0)
    }

    fn table(&self) -> Markup {
        let top = self.start.hands[0].y.min(self.end.hands[0].y) - 28.0;
        let (near, far) = self.table_ends();
        html! {
            path class="support thick" d=(self.line(&[Place::new(near, top), Place::new(far, top)])) {}
            path class="support" d=(self.line(&[
                Place::new(far - 24.0, top), Place::new(far - 24.0, self.floor),
            ])) {}
        }
    }

    fn wall_at(&self) -> f64 {
        let [start, end] = [self.start.hands[0].x, self.end.hands[0].x];
        start.max(end) + 26.0
    }

    fn wall(&self) -> Markup {
        let x = self.wall_at();
        let top = self.end.hands[0].y + 90.0;
        let strokes = ((top - self.floor) / 90.0).ceil() as usize;
        html! {
            path class="support" d=(self.line(&[Place::new(x, self.floor), Place::new(x, top)])) {}
            @for stroke in 1..strokes {
                @let y = self.floor + 90.0 * stroke as f64;
                path class="support thin" d=(self.line(&[Place::new(x, y), Place::new(x + 34.0, y + 34.0)])) {}
            }
        }
    }

    fn couch_ends(&self) -> (f64, f64) {
        let far = self.end.toes[0].x.max(self.end.ankles[0].x);
        (self.end.head.x.min(self.start.head.x) - 120.0, far + 60.0)
    }

    fn couch_from_side(&self) -> Markup {
        let top = couch_top();
        let (head, foot) = self.couch_ends();
        let place = Place::new;
        let under_head = self.end.head + Step::new(0.0, -62.0);
        let pillow = [
            place(under_head.x - 84.0, top + 2.0),
            place(under_head.x - 70.0, under_head.y + 6.0),
            place(under_head.x + 44.0, under_head.y + 2.0),
            place(under_head.x + 78.0, top + 2.0),
        ];
        html! {
            path class="cushion" d=(self.smooth(&pillow)) {}
            path class="cushion" d=(self.closed(&[
                place(head, top), place(foot, top), place(foot, top - 46.0), place(head, top - 46.0),
            ])) {}
            @for leg in [head + 50.0, foot - 50.0] {
                path class="support" d=(self.line(&[place(leg, top - 50.0), place(leg, top - 150.0)])) {}
            }
        }
    }

    fn bed(&self) -> [Place; 4] {
        let hands = [self.start, self.end].into_iter().flat_map(|s| s.hands);
        let aside = hands.map(|hand| hand.x.abs()).fold(190.0, f64::max) + 50.0;
        let (top, foot) = (self.end.head.y + 120.0, self.floor - 10.0);
        [(-aside, top), (aside, top), (aside, foot), (-aside, foot)].map(|(x, y)| Place::new(x, y))
    }

    fn couch_from_above(&self) -> Markup {
        let head = self.end.head;
        let pillow = [
            (-120.0, -70.0),
            (120.0, -70.0),
            (120.0, 88.0),
            (-120.0, 88.0),
        ]
        .map(|(x, y)| head + Step::new(x, y));
        html! {
            path class="bed" d=(self.closed(&self.bed())) {}
            path class="cushion" d=(self.closed(&pillow)) {}
        }
    }

    // ---- the arrow ----

    /// The way that the followed part takes, beside it.
    fn way(&self) -> Vec<Place> {
        const STEPS: usize = 24;
        let (start, end) = (&self.figure.start, &self.figure.end);
        let on_the_way = (0..=STEPS).map(|step| {
            let part = 0.04 + 0.9 * step as f64 / STEPS as f64;
            Skeleton::of(&start.towards(end, part), self.figure.view)
        });
        let places: Vec<Place> = on_the_way.map(|skeleton| self.beside(&skeleton)).collect();
        let length: f64 = places
            .windows(2)
            .map(|pair| pair[0].distance(pair[1]))
            .sum();
        let stretch = (LEAST_ARROW / length.max(1.0)).max(1.0);
        let middle = places[STEPS / 2];
        places
            .into_iter()
            .map(|place| middle + (place - middle) * stretch)
            .collect()
    }

    fn beside(&self, skeleton: &Skeleton) -> Place {
        let follow = self.figure.follow;
        let place = skeleton.of_follow(follow);
        match follow {
            Follow::Hand | Follow::Elbow if self.runs_along_the_arm() => {
                place + Step::new(0.0, 72.0)
            }
            Follow::Hand | Follow::Elbow => {
                let away = place - skeleton.shoulders[0];
                place + away * (70.0 / away.length().max(1.0))
            }
            Follow::Shoulder => place + Step::new(84.0, 10.0),
            Follow::Head => place + skeleton.crown * 104.0,
            Follow::Foot => place + Step::new(0.0, 40.0),
        }
    }

    /// An arrow further out would lie on the hand.
    fn runs_along_the_arm(&self) -> bool {
        let [start, end] = [&self.start, &self.end];
        let follow = self.figure.follow;
        let way = end.of_follow(follow) - start.of_follow(follow);
        let arm = end.of_follow(follow) - end.shoulders[0];
        way.dot(arm) > 0.75 * way.length() * arm.length()
    }

    fn arrow(&self) -> Markup {
        let Some(&tip) = self.arrow.last() else {
            return html! {};
        };
        let before = self.arrow[self.arrow.len() - 4];
        let along = tip - before;
        let along = along * (1.0 / along.length().max(1e-9));
        let aside = Step::new(-along.y, along.x);
        let head = [
            tip + along * 30.0,
            tip + -(along * 14.0) + aside * 24.0,
            tip + -(along * 14.0) + -(aside * 24.0),
        ];
        html! {
            path class="way casing" d=(self.line(&self.arrow)) {}
            path class="way" d=(self.line(&self.arrow)) {}
            path class="tip" d=(self.closed(&head)) {}
        }
    }
}

fn couch_top() -> f64 {
    -56.0
}

fn arm(skeleton: &Skeleton, index: usize) -> [Limb; 3] {
    let (elbow, wrist) = (skeleton.elbows[index], skeleton.wrists[index]);
    [
        Limb::new("upper-arm", skeleton.shoulders[index], elbow, 46.0),
        Limb::new("forearm", elbow, wrist, 36.0),
        Limb::new(
            "hand",
            wrist + (skeleton.hands[index] - wrist) * 0.4,
            skeleton.hands[index],
            34.0,
        ),
    ]
}

fn neck(skeleton: &Skeleton) -> Limb {
    Limb::new("neck", skeleton.neck, skeleton.head, 46.0)
}

impl Limb {
    const fn new(name: &'static str, from: Place, to: Place, width: f64) -> Limb {
        Limb {
            name,
            from,
            to,
            width,
        }
    }
}

#[derive(Clone, Copy)]
struct Bounds {
    left: f64,
    right: f64,
    bottom: f64,
    top: f64,
}

impl Bounds {
    const fn none() -> Bounds {
        Bounds {
            left: f64::INFINITY,
            right: f64::NEG_INFINITY,
            bottom: f64::INFINITY,
            top: f64::NEG_INFINITY,
        }
    }

    fn hold(&mut self, place: Place, around: f64) {
        self.left = self.left.min(place.x - around);
        self.right = self.right.max(place.x + around);
        self.bottom = self.bottom.min(place.y - around);
        self.top = self.top.max(place.y + around);
    }
}

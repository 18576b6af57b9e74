//! The words for a body in a photo: sides, landmarks, views, tasks. A side is always the
//! subject's own.

use std::fmt;

/// The subject's left or right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    Left,
    Right,
}

impl Side {
    pub const BOTH: [Side; 2] = [Side::Left, Side::Right];

    pub const fn other(self) -> Side {
        match self {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
        }
    }

    pub const fn name(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }

    pub fn from_name(name: &str) -> Option<Side> {
        Side::BOTH.into_iter().find(|side| side.name() == name)
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A point of the body that a measure or the person finder uses.
///
/// Joints are joint centres; the others are palpable or visible surface points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Landmark {
    Tragus(Side),
    EyeOuter(Side),
    Nose,
    Mouth(Side),
    Chin,
    C7,
    T4,
    T8,
    T12,
    L3,
    SternalNotch,
    Acromion(Side),
    ShoulderJoint(Side),
    Elbow(Side),
    Wrist(Side),
    HipJoint(Side),
    Trochanter(Side),
    Knee(Side),
    Ankle(Side),
    Heel(Side),
    Toe(Side),
}

impl Landmark {
    /// Every landmark, in the order used by files.
    pub fn all() -> impl Iterator<Item = Landmark> {
        use Landmark::*;
        let paired: [fn(Side) -> Landmark; 13] = [
            Tragus,
            EyeOuter,
            Mouth,
            Acromion,
            ShoulderJoint,
            Elbow,
            Wrist,
            HipJoint,
            Trochanter,
            Knee,
            Ankle,
            Heel,
            Toe,
        ];
        [Nose, Chin, C7, T4, T8, T12, L3, SternalNotch]
            .into_iter()
            .chain(paired.into_iter().flat_map(|of| Side::BOTH.map(of)))
    }

    /// The side the landmark belongs to; `None` on the midline.
    pub const fn side(self) -> Option<Side> {
        use Landmark::*;
        match self {
            Nose | Chin | C7 | T4 | T8 | T12 | L3 | SternalNotch => None,
            Tragus(s) | EyeOuter(s) | Mouth(s) | Acromion(s) | ShoulderJoint(s) | Elbow(s)
            | Wrist(s) | HipJoint(s) | Trochanter(s) | Knee(s) | Ankle(s) | Heel(s) | Toe(s) => {
                Some(s)
            }
        }
    }

    /// The same point of the other side; a midline landmark is its own twin.
    pub const fn mirrored(self) -> Landmark {
        use Landmark::*;
        match self {
            Nose | Chin | C7 | T4 | T8 | T12 | L3 | SternalNotch => self,
            Tragus(s) => Tragus(s.other()),
            EyeOuter(s) => EyeOuter(s.other()),
            Mouth(s) => Mouth(s.other()),
            Acromion(s) => Acromion(s.other()),
            ShoulderJoint(s) => ShoulderJoint(s.other()),
            Elbow(s) => Elbow(s.other()),
            Wrist(s) => Wrist(s.other()),
            HipJoint(s) => HipJoint(s.other()),
            Trochanter(s) => Trochanter(s.other()),
            Knee(s) => Knee(s.other()),
            Ankle(s) => Ankle(s.other()),
            Heel(s) => Heel(s.other()),
            Toe(s) => Toe(s.other()),
        }
    }

    /// The name in files, e.g. `shoulder_joint_left`.
    pub fn name(self) -> String {
        match self.side() {
            Some(side) => format!("{}_{side}", self.stem()),
            None => self.stem().to_owned(),
        }
    }

    pub fn from_name(name: &str) -> Option<Landmark> {
        Landmark::all().find(|landmark| landmark.name() == name)
    }

    /// The name in files without the side, e.g. `shoulder_joint`.
    pub const fn stem(self) -> &'static str {
        use Landmark::*;
        match self {
            Nose => "nose",
            Chin => "chin",
            C7 => "c7",
            T4 => "t4",
            T8 => "t8",
            T12 => "t12",
            L3 => "l3",
            SternalNotch => "sternal_notch",
            Tragus(_) => "tragus",
            EyeOuter(_) => "eye_outer",
            Mouth(_) => "mouth",
            Acromion(_) => "acromion",
            ShoulderJoint(_) => "shoulder_joint",
            Elbow(_) => "elbow",
            Wrist(_) => "wrist",
            HipJoint(_) => "hip_joint",
            Trochanter(_) => "trochanter",
            Knee(_) => "knee",
            Ankle(_) => "ankle",
            Heel(_) => "heel",
            Toe(_) => "toe",
        }
    }

    /// The words a clinician would use, e.g. "left shoulder joint".
    pub fn words(self) -> String {
        let stem = match self {
            Landmark::C7 | Landmark::T4 | Landmark::T8 | Landmark::T12 | Landmark::L3 => {
                self.stem().to_uppercase()
            }
            _ => self.stem().replace('_', " "),
        };
        match self.side() {
            Some(side) => format!("{side} {stem}"),
            None => stem,
        }
    }

    /// The same within a sentence, e.g. "the left shoulder joint"; a vertebra goes by its name.
    pub fn in_words(self) -> String {
        match self {
            Landmark::C7 | Landmark::T4 | Landmark::T8 | Landmark::T12 | Landmark::L3 => {
                self.words()
            }
            _ => format!("the {}", self.words()),
        }
    }
}

impl fmt::Display for Landmark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words())
    }
}

/// Where the camera stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum View {
    /// The camera looks at this side of the person.
    Side(Side),
    Front,
    Back,
    /// Turned too far from every standard view to measure; this side is nearer the camera.
    Oblique(Side),
}

impl View {
    pub const fn name(self) -> &'static str {
        match self {
            View::Side(_) => "side",
            View::Front => "front",
            View::Back => "back",
            View::Oblique(_) => "oblique",
        }
    }

    /// The side nearest the camera; none in front and back views.
    pub const fn near_side(self) -> Option<Side> {
        match self {
            View::Side(side) | View::Oblique(side) => Some(side),
            View::Front | View::Back => None,
        }
    }

    /// Whether a landmark lies on the midline or on a side that is not turned away.
    pub fn shows_side_of(self, landmark: Landmark) -> bool {
        match (self.near_side(), landmark.side()) {
            (Some(near), Some(side)) => near == side,
            _ => true,
        }
    }

    /// +1 when the body's x (forward, or the subject's left) points to the photo's right, else -1.
    pub const fn forward_sign(self) -> f64 {
        match self {
            View::Side(Side::Right) | View::Front | View::Oblique(_) => 1.0,
            View::Side(Side::Left) | View::Back => -1.0,
        }
    }

    /// "left side", "front", …
    pub fn words(self) -> String {
        match self {
            View::Side(side) => format!("{side} side"),
            other => other.name().to_owned(),
        }
    }
}

/// What the person was asked to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Task {
    /// Stand relaxed, arms hanging.
    Stand,
    /// Raise one or both arms as far as they go.
    Reach,
}

impl Task {
    pub const fn name(self) -> &'static str {
        match self {
            Task::Stand => "stand",
            Task::Reach => "reach",
        }
    }

    pub fn from_name(name: &str) -> Option<Task> {
        [Task::Stand, Task::Reach]
            .into_iter()
            .find(|task| task.name() == name)
    }
}

/// The side or sides of the surgery.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Operated {
    One(Side),
    Both,
    Neither,
}

impl Operated {
    pub const fn name(self) -> &'static str {
        match self {
            Operated::One(side) => side.name(),
            Operated::Both => "both",
            Operated::Neither => "none",
        }
    }

    pub fn from_name(name: &str) -> Option<Operated> {
        match name {
            "both" => Some(Operated::Both),
            "none" => Some(Operated::Neither),
            side => Side::from_name(side).map(Operated::One),
        }
    }

    pub fn includes(self, side: Side) -> bool {
        match self {
            Operated::One(one) => one == side,
            Operated::Both => true,
            Operated::Neither => false,
        }
    }
}

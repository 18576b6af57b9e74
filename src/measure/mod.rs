//! The catalogue of measures: what each is called, when it applies, which landmarks it needs,
//! which way is better, and how it is read off points of the body's plane.
//!
//! Nothing here knows of photos. [`Measure::read`] takes a [`Figure`], landmarks in millimetres
//! of the body's plane, and gives a bare number; errors travel through it from outside.

mod reach;
mod standing;

use std::collections::BTreeMap;
use std::fmt;

use crate::body::{Landmark, Side, Task, View};
use crate::geometry::{BodyPlane, Point};

/// Landmarks in the body's plane: x forward (side view) or to the subject's left (front and back
/// view), y up, millimetres.
#[derive(Clone, Debug, Default)]
pub struct Figure {
    points: BTreeMap<Landmark, Point<BodyPlane>>,
}

impl Figure {
    pub fn place(&mut self, landmark: Landmark, at: Point<BodyPlane>) {
        self.points.insert(landmark, at);
    }

    pub fn get(&self, landmark: Landmark) -> Option<Point<BodyPlane>> {
        self.points.get(&landmark).copied()
    }
}

impl FromIterator<(Landmark, Point<BodyPlane>)> for Figure {
    fn from_iter<I: IntoIterator<Item = (Landmark, Point<BodyPlane>)>>(points: I) -> Self {
        Figure {
            points: points.into_iter().collect(),
        }
    }
}

/// A measure of the catalogue. Two that share an id differ in unit (`arm_to_ear` in cm and in %
/// of the upper arm) or in what they compare (`reach_asymmetry` of flexion or of abduction).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Measure {
    CraniovertebralAngle,
    HeadForwardOfC7,
    HeadForwardOfShoulder,
    SagittalShoulderAngle,
    ShoulderForwardOfC7,
    ThoracicAngle,
    KyphosisIndex,
    TrunkLean,
    HeadTilt,
    ShoulderTilt,
    HeadShift,
    TrunkShift,
    ShoulderFlexion,
    ShoulderFlexionToTrunk,
    ShoulderAbduction,
    ElbowExtensionDeficit,
    ArmToEar,
    ArmToEarRelative,
    ArmToEarFront,
    ArmToEarFrontRelative,
    FlexionAsymmetry,
    AbductionAsymmetry,
}

/// Unit outside of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    Degree,
    Centimetre,
    Percent,
}

impl Unit {
    pub const fn name(self) -> &'static str {
        match self {
            Unit::Degree => "deg",
            Unit::Centimetre => "cm",
            Unit::Percent => "%",
        }
    }

    /// As printed after a number.
    pub const fn suffix(self) -> &'static str {
        match self {
            Unit::Degree => "°",
            Unit::Centimetre => " cm",
            Unit::Percent => " %",
        }
    }
}

/// Which way of a change is the better one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Better {
    Larger,
    Smaller,
    NearerZero,
    /// Described, not judged.
    Neither,
}

impl Measure {
    pub const ALL: [Measure; 22] = {
        use Measure::*;
        [
            CraniovertebralAngle,
            HeadForwardOfC7,
            HeadForwardOfShoulder,
            SagittalShoulderAngle,
            ShoulderForwardOfC7,
            ThoracicAngle,
            KyphosisIndex,
            TrunkLean,
            HeadTilt,
            ShoulderTilt,
            HeadShift,
            TrunkShift,
            ShoulderFlexion,
            ShoulderFlexionToTrunk,
            ShoulderAbduction,
            ElbowExtensionDeficit,
            ArmToEar,
            ArmToEarRelative,
            ArmToEarFront,
            ArmToEarFrontRelative,
            FlexionAsymmetry,
            AbductionAsymmetry,
        ]
    };

    pub const fn id(self) -> &'static str {
        use Measure::*;
        match self {
            CraniovertebralAngle => "craniovertebral_angle",
            HeadForwardOfC7 => "head_forward_of_c7",
            HeadForwardOfShoulder => "head_forward_of_shoulder",
            SagittalShoulderAngle => "sagittal_shoulder_angle",
            ShoulderForwardOfC7 => "shoulder_forward_of_c7",
            ThoracicAngle => "thoracic_angle",
            KyphosisIndex => "kyphosis_index",
            TrunkLean => "trunk_lean",
            HeadTilt => "head_tilt",
            ShoulderTilt => "shoulder_tilt",
            HeadShift => "head_shift",
            TrunkShift => "trunk_shift",
            ShoulderFlexion => "shoulder_flexion",
            ShoulderFlexionToTrunk => "shoulder_flexion_to_trunk",
            ShoulderAbduction => "shoulder_abduction",
            ElbowExtensionDeficit => "elbow_extension_deficit",
            ArmToEar | ArmToEarRelative => "arm_to_ear",
            ArmToEarFront | ArmToEarFrontRelative => "arm_to_ear_front",
            FlexionAsymmetry | AbductionAsymmetry => "reach_asymmetry",
        }
    }

    pub const fn unit(self) -> Unit {
        use Measure::*;
        match self {
            CraniovertebralAngle
            | SagittalShoulderAngle
            | ThoracicAngle
            | TrunkLean
            | HeadTilt
            | ShoulderTilt
            | ShoulderFlexion
            | ShoulderFlexionToTrunk
            | ShoulderAbduction
            | ElbowExtensionDeficit
            | FlexionAsymmetry
            | AbductionAsymmetry => Unit::Degree,
            HeadForwardOfC7
            | HeadForwardOfShoulder
            | ShoulderForwardOfC7
            | HeadShift
            | TrunkShift
            | ArmToEar
            | ArmToEarFront => Unit::Centimetre,
            KyphosisIndex | ArmToEarRelative | ArmToEarFrontRelative => Unit::Percent,
        }
    }

    /// What an asymmetry compares.
    pub const fn of(self) -> Option<Measure> {
        match self {
            Measure::FlexionAsymmetry => Some(Measure::ShoulderFlexion),
            Measure::AbductionAsymmetry => Some(Measure::ShoulderAbduction),
            _ => None,
        }
    }

    /// Finds a measure by what files say of it.
    pub fn from_file(id: &str, unit: &str, of: Option<&str>) -> Option<Measure> {
        Measure::ALL.into_iter().find(|measure| {
            measure.id() == id
                && measure.unit().name() == unit
                && measure.of().map(Measure::id) == of
        })
    }

    /// The plain name.
    pub const fn words(self) -> &'static str {
        use Measure::*;
        match self {
            CraniovertebralAngle => "Craniovertebral angle",
            HeadForwardOfC7 => "Head forward of C7",
            HeadForwardOfShoulder => "Head forward of shoulder",
            SagittalShoulderAngle => "Sagittal shoulder angle",
            ShoulderForwardOfC7 => "Shoulder forward of C7",
            ThoracicAngle => "Thoracic angle (surface)",
            KyphosisIndex => "Kyphosis index (surface)",
            TrunkLean => "Trunk lean",
            HeadTilt => "Head tilt",
            ShoulderTilt => "Shoulder tilt",
            HeadShift => "Head shift",
            TrunkShift => "Trunk shift",
            ShoulderFlexion => "Shoulder flexion",
            ShoulderFlexionToTrunk => "Shoulder flexion to the trunk",
            ShoulderAbduction => "Shoulder abduction",
            ElbowExtensionDeficit => "Elbow extension deficit",
            ArmToEar => "Arm to ear",
            ArmToEarRelative => "Arm to ear, % of upper-arm length",
            ArmToEarFront => "Arm to ear from the front",
            ArmToEarFrontRelative => "Arm to ear from the front, % of upper-arm length",
            FlexionAsymmetry => "Reach asymmetry (flexion)",
            AbductionAsymmetry => "Reach asymmetry (abduction)",
        }
    }

    /// What it means, in one line for someone who never saw it.
    pub const fn meaning(self) -> &'static str {
        use Measure::*;
        match self {
            CraniovertebralAngle => {
                "how upright the neck carries the head; smaller is further forward"
            }
            HeadForwardOfC7 => "how far the ear is in front of the base of the neck",
            HeadForwardOfShoulder => "how far the ear is in front of the tip of the shoulder",
            SagittalShoulderAngle => {
                "how far the shoulder is drawn forward; smaller is further forward"
            }
            ShoulderForwardOfC7 => "how far the shoulder is in front of the base of the neck",
            ThoracicAngle | KyphosisIndex => {
                "how round the upper back is, on the skin; not a Cobb angle"
            }
            TrunkLean => "how far the trunk leans; + is forward",
            HeadTilt => "how the ears stand against level; + is the left one higher",
            ShoulderTilt => "how the shoulders stand against level; + is the left one higher",
            HeadShift => "how far the head is off the line above the ankles; + is to the left",
            TrunkShift => {
                "how far the shoulders are off the line above the ankles; + is to the left"
            }
            ShoulderFlexion => "how far the arm is raised forward; 0 hangs, 180 is overhead",
            ShoulderFlexionToTrunk => "the same, against the trunk instead of the vertical",
            ShoulderAbduction => "how far the arm is raised sideways; 0 hangs, 180 is overhead",
            ElbowExtensionDeficit => "how much the elbow is bent; 0 is straight",
            ArmToEar => "how far the arm is in front of the ear; 0 is beside it, − is behind it",
            ArmToEarRelative => "the same, as a part of the upper arm's length",
            ArmToEarFront => "how far the arm is out from the ear; smaller is nearer",
            ArmToEarFrontRelative => "the same, as a part of the upper arm's length",
            FlexionAsymmetry | AbductionAsymmetry => {
                "operated side minus the other; − means that the operated side reaches less"
            }
        }
    }

    /// Deviations from level and plumb are described, not judged: asymmetry is normal in healthy
    /// people (Ferreira 2011, J Manipulative Physiol Ther 34:371–80), and the ideal plumb line
    /// does not match the line of gravity (Barra-López, J Rehabil Med).
    pub const fn better(self) -> Better {
        use Measure::*;
        match self {
            CraniovertebralAngle
            | SagittalShoulderAngle
            | ShoulderFlexion
            | ShoulderFlexionToTrunk
            | ShoulderAbduction => Better::Larger,
            HeadForwardOfC7
            | HeadForwardOfShoulder
            | ShoulderForwardOfC7
            | ThoracicAngle
            | KyphosisIndex
            | ElbowExtensionDeficit
            | ArmToEar
            | ArmToEarRelative
            | ArmToEarFront
            | ArmToEarFrontRelative => Better::Smaller,
            TrunkLean | FlexionAsymmetry | AbductionAsymmetry => Better::NearerZero,
            HeadTilt | ShoulderTilt | HeadShift | TrunkShift => Better::Neither,
        }
    }

    /// Whether a photo of this view and task is meant to show the measure. Asymmetries are
    /// compared elsewhere, from what was read.
    pub const fn applies(self, view: View, task: Task) -> bool {
        use Measure::*;
        match self {
            CraniovertebralAngle
            | HeadForwardOfC7
            | HeadForwardOfShoulder
            | SagittalShoulderAngle
            | ShoulderForwardOfC7
            | ThoracicAngle
            | KyphosisIndex
            | TrunkLean => matches!((view, task), (View::Side(_), Task::Stand)),
            HeadTilt | ShoulderTilt | HeadShift | TrunkShift => {
                matches!((view, task), (View::Front | View::Back, Task::Stand))
            }
            ShoulderFlexion | ShoulderFlexionToTrunk | ArmToEar | ArmToEarRelative => {
                matches!((view, task), (View::Side(_), Task::Reach))
            }
            ShoulderAbduction => matches!((view, task), (View::Front | View::Back, Task::Reach)),
            ElbowExtensionDeficit => {
                !matches!(view, View::Oblique(_)) && matches!(task, Task::Reach)
            }
            ArmToEarFront | ArmToEarFrontRelative => {
                matches!((view, task), (View::Front, Task::Reach))
            }
            FlexionAsymmetry | AbductionAsymmetry => false,
        }
    }

    /// The sides on which a photo of this view shows the measure: the near one, both, or none in
    /// particular.
    pub fn sides(self, view: View) -> Vec<Option<Side>> {
        use Measure::*;
        match self {
            HeadTilt | ShoulderTilt | HeadShift | TrunkShift | FlexionAsymmetry
            | AbductionAsymmetry => vec![None],
            _ => match view {
                View::Side(near) => vec![Some(near)],
                _ => Side::BOTH.map(Some).to_vec(),
            },
        }
    }

    /// Landmarks without which the measure can't be read. For the shoulder tilt the shoulder
    /// joints stand in where the acromia are not known; see [`Self::stand_in`].
    pub fn needs(self, side: Option<Side>) -> Vec<Landmark> {
        use Landmark::*;
        let near = side.unwrap_or(Side::Left);
        match self {
            Measure::CraniovertebralAngle | Measure::HeadForwardOfC7 => vec![Tragus(near), C7],
            Measure::HeadForwardOfShoulder => vec![Tragus(near), Acromion(near)],
            Measure::SagittalShoulderAngle | Measure::ShoulderForwardOfC7 => {
                vec![Acromion(near), C7]
            }
            Measure::ThoracicAngle | Measure::KyphosisIndex => vec![C7, T4, T8, T12],
            Measure::TrunkLean => vec![ShoulderJoint(near), HipJoint(near)],
            Measure::HeadTilt => Side::BOTH.map(Tragus).to_vec(),
            Measure::ShoulderTilt => Side::BOTH.map(Acromion).to_vec(),
            Measure::HeadShift => paired([Tragus, Ankle]),
            Measure::TrunkShift => paired([ShoulderJoint, Ankle]),
            Measure::ShoulderFlexion | Measure::ShoulderAbduction => {
                vec![ShoulderJoint(near), Elbow(near)]
            }
            Measure::ShoulderFlexionToTrunk => {
                vec![ShoulderJoint(near), Elbow(near), HipJoint(near)]
            }
            Measure::ElbowExtensionDeficit => vec![ShoulderJoint(near), Elbow(near), Wrist(near)],
            Measure::ArmToEar
            | Measure::ArmToEarRelative
            | Measure::ArmToEarFront
            | Measure::ArmToEarFrontRelative => {
                vec![Tragus(near), ShoulderJoint(near), Elbow(near)]
            }
            Measure::FlexionAsymmetry | Measure::AbductionAsymmetry => {
                paired([ShoulderJoint, Elbow])
            }
        }
    }

    /// A landmark that may stand in for a missing one in this measure.
    pub const fn stand_in(self, missing: Landmark) -> Option<Landmark> {
        match (self, missing) {
            (Measure::ShoulderTilt, Landmark::Acromion(side)) => {
                Some(Landmark::ShoulderJoint(side))
            }
            _ => None,
        }
    }

    /// Reads the measure off a figure, in radians, millimetres or parts of one.
    ///
    /// `None` when a landmark is missing or the measure has no meaning for this figure (two
    /// points in one place, an arm that never comes near the ear).
    pub fn read(self, figure: &Figure, side: Option<Side>) -> Option<f64> {
        let near = side.unwrap_or(Side::Left);
        let value = match self {
            Measure::CraniovertebralAngle => standing::craniovertebral_angle(figure, near)?,
            Measure::HeadForwardOfC7 => standing::head_forward_of_c7(figure, near)?,
            Measure::HeadForwardOfShoulder => standing::head_forward_of_shoulder(figure, near)?,
            Measure::SagittalShoulderAngle => standing::sagittal_shoulder_angle(figure, near)?,
            Measure::ShoulderForwardOfC7 => standing::shoulder_forward_of_c7(figure, near)?,
            Measure::ThoracicAngle => standing::thoracic_angle(figure)?,
            Measure::KyphosisIndex => standing::kyphosis_index(figure)?,
            Measure::TrunkLean => standing::trunk_lean(figure, near)?,
            Measure::HeadTilt => standing::tilt(figure, Landmark::Tragus)?,
            Measure::ShoulderTilt => standing::shoulder_tilt(figure)?,
            Measure::HeadShift => standing::shift(figure, Landmark::Tragus)?,
            Measure::TrunkShift => standing::shift(figure, Landmark::ShoulderJoint)?,
            Measure::ShoulderFlexion => reach::shoulder_flexion(figure, near)?,
            Measure::ShoulderFlexionToTrunk => reach::shoulder_flexion_to_trunk(figure, near)?,
            Measure::ShoulderAbduction => reach::shoulder_abduction(figure, near)?,
            Measure::ElbowExtensionDeficit => reach::elbow_extension_deficit(figure, near)?,
            Measure::ArmToEar => reach::arm_to_ear(figure, near)?,
            Measure::ArmToEarRelative => {
                reach::arm_to_ear(figure, near)? / reach::upper_arm(figure, near)?
            }
            Measure::ArmToEarFront => reach::arm_to_ear_front(figure, near)?,
            Measure::ArmToEarFrontRelative => {
                reach::arm_to_ear_front(figure, near)? / reach::upper_arm(figure, near)?
            }
            Measure::AbductionAsymmetry => {
                let operated = side?;
                reach::shoulder_abduction(figure, operated)?
                    - reach::shoulder_abduction(figure, operated.other())?
            }
            // Its two sides are seen in two photos, so no single figure holds it.
            Measure::FlexionAsymmetry => return None,
        };
        value.is_finite().then_some(value)
    }

    /// From the inner unit (radians, mm, part of one) to the outer.
    pub fn to_outer(self, inner: f64) -> f64 {
        match self.unit() {
            Unit::Degree => crate::geometry::Angle::from_radians(inner).degrees(),
            Unit::Centimetre => inner / 10.0,
            Unit::Percent => inner * 100.0,
        }
    }
}

fn paired(kinds: [fn(Side) -> Landmark; 2]) -> Vec<Landmark> {
    kinds
        .into_iter()
        .flat_map(|of| Side::BOTH.map(of))
        .collect()
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

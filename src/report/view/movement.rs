//! Which measures tell the same movement, so that it is told once.

use crate::measure::Measure;

/// Measures that tell the same movement of the same photo, nearest first; the summary names the
/// last of them, and the others with it.
pub(super) fn told_by(measure: Measure) -> impl Iterator<Item = Measure> {
    use Measure::*;
    let next = |measure: &Measure| match measure {
        ArmToEarRelative => Some(ArmToEar),
        ArmToEarFrontRelative => Some(ArmToEarFront),
        ArmToEar | ShoulderFlexionToTrunk | FlexionAsymmetry => Some(ShoulderFlexion),
        ArmToEarFront | AbductionAsymmetry => Some(ShoulderAbduction),
        KyphosisIndex => Some(ThoracicAngle),
        HeadForwardOfC7 => Some(CraniovertebralAngle),
        ShoulderForwardOfC7 => Some(SagittalShoulderAngle),
        _ => None,
    };
    std::iter::successors(next(&measure), next)
}

/// The same quantity as another measure's, on another scale.
pub(super) const fn is_twin(measure: Measure) -> bool {
    matches!(
        measure,
        Measure::ArmToEarRelative
            | Measure::ArmToEarFrontRelative
            | Measure::ShoulderFlexionToTrunk
            | Measure::KyphosisIndex
    )
}

//! What must hold for every figure, camera, map and covariance, tried on random ones.

use nalgebra::DMatrix;
use proptest::prelude::*;

use tragus::body::{Landmark, Side};
use tragus::estimate::{Estimate, Inputs};
use tragus::geometry::{Angle, BodyPlane, Crop, Map, Photo, Point};
use tragus::measure::{Figure, Measure, Unit};
use tragus::scale::Camera;

fn side() -> impl Strategy<Value = Side> {
    prop_oneof![Just(Side::Left), Just(Side::Right)]
}

/// Every landmark somewhere within a metre, in tenths of a millimetre: nearly everywhere apart.
fn scattered() -> impl Strategy<Value = Figure> {
    let one = (-10_000i32..=10_000, 0i32..=20_000);
    prop::collection::vec(one, Landmark::all().count()).prop_map(|places| {
        let at = |(x, y)| Point::new(f64::from(x) / 10.0, f64::from(y) / 10.0);
        Landmark::all().zip(places.into_iter().map(at)).collect()
    })
}

/// Landmarks on three by three places, some of them missing: many in one place.
fn crowded() -> impl Strategy<Value = Figure> {
    let one = prop::option::weighted(0.9, (-1i32..=1, -1i32..=1));
    prop::collection::vec(one, Landmark::all().count()).prop_map(|places| {
        Landmark::all()
            .zip(places)
            .filter_map(|(landmark, place)| {
                let (x, y) = place?;
                Some((landmark, Point::new(f64::from(x), f64::from(y))))
            })
            .collect()
    })
}

fn moved(figure: &Figure, by: impl Fn(Point<BodyPlane>) -> Point<BodyPlane>) -> Figure {
    Landmark::all()
        .filter_map(|landmark| Some((landmark, by(figure.get(landmark)?))))
        .collect()
}

/// Anticlockwise, y up.
fn rotated(figure: &Figure, angle: Angle) -> Figure {
    let (sin, cos) = angle.radians().sin_cos();
    moved(figure, |p| {
        Point::new(p.x * cos - p.y * sin, p.x * sin + p.y * cos)
    })
}

fn sides_exchanged(figure: &Figure) -> Figure {
    Landmark::all()
        .filter_map(|landmark| Some((landmark.mirrored(), figure.get(landmark)?)))
        .collect()
}

/// Equal within rounding; angles may differ by a whole turn.
fn same(measure: Measure, a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) if measure.unit() == Unit::Degree => {
            Angle::from_radians(a - b).wrapped().abs().radians() < 1e-7
        }
        (Some(a), Some(b)) => (a - b).abs() < 1e-7 * a.abs().max(b.abs()).max(1.0),
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// Whether a figure sits so close to where a measure stops having a value that rounding decides.
fn on_the_brink(measure: Measure, figure: &Figure, side: Side) -> bool {
    let nudged = |by: f64| measure.read(&rotated(figure, Angle::from_radians(by)), Some(side));
    nudged(1e-9).is_some() != nudged(-1e-9).is_some()
}

/// How a measure of the right or left side follows an anticlockwise turn of the figure: by this
/// part of it. `None` for those that depend on the vertical in another way.
fn follows_rotation(measure: Measure, side: Side) -> Option<f64> {
    use Measure::*;
    match measure {
        CraniovertebralAngle | HeadTilt | ShoulderTilt | ShoulderFlexion => Some(1.0),
        SagittalShoulderAngle | TrunkLean => Some(-1.0),
        ShoulderAbduction => Some(match side {
            Side::Left => 1.0,
            Side::Right => -1.0,
        }),
        // Outward is the other way on the other side, so both arms count.
        AbductionAsymmetry => Some(match side {
            Side::Left => 2.0,
            Side::Right => -2.0,
        }),
        ThoracicAngle
        | KyphosisIndex
        | ShoulderFlexionToTrunk
        | ElbowExtensionDeficit
        | ArmToEar
        | ArmToEarRelative => Some(0.0),
        HeadForwardOfC7
        | HeadForwardOfShoulder
        | ShoulderForwardOfC7
        | HeadShift
        | TrunkShift
        | ArmToEarFront
        | ArmToEarFrontRelative
        | FlexionAsymmetry => None,
    }
}

fn camera() -> impl Strategy<Value = Camera> {
    (
        300.0..6000.0f64,
        (200.0..2000.0f64, 200.0..2500.0f64),
        600.0..9000.0f64,
        0.0..2500.0f64,
        (-35.0..35.0f64, -60.0..60.0f64, -80.0..80.0f64),
    )
        .prop_map(
            |(focal, centre, distance, height, (pitch, roll, turn))| Camera {
                focal,
                centre: Point::new(centre.0, centre.1),
                distance,
                height,
                pitch: Angle::from_degrees(pitch),
                roll: Angle::from_degrees(roll),
                turn: Angle::from_degrees(turn),
            },
        )
}

/// A symmetric covariance of `size` values, with correlations.
fn covariance(size: usize) -> impl Strategy<Value = DMatrix<f64>> {
    prop::collection::vec(-2.0..2.0f64, size * size).prop_map(move |entries| {
        let root = DMatrix::from_vec(size, size, entries);
        &root * root.transpose()
    })
}

proptest! {
    #[test]
    fn a_shifted_figure_keeps_every_measure(
        figure in scattered(), side in side(), x in -500.0..500.0f64, y in -500.0..500.0f64,
    ) {
        let there = moved(&figure, |p| Point::new(p.x + x, p.y + y));
        for measure in Measure::ALL {
            let (before, after) = (measure.read(&figure, Some(side)), measure.read(&there, Some(side)));
            prop_assert!(
                same(measure, before, after) || on_the_brink(measure, &figure, side),
                "{measure}: {before:?} {after:?}"
            );
        }
    }

    #[test]
    fn a_larger_figure_has_larger_lengths_and_the_same_angles(
        figure in scattered(), side in side(), factor in 0.2..5.0f64,
    ) {
        let large = moved(&figure, |p| Point::new(factor * p.x, factor * p.y));
        for measure in Measure::ALL {
            let grows = if measure.unit() == Unit::Centimetre { factor } else { 1.0 };
            let expected = measure.read(&figure, Some(side)).map(|value| grows * value);
            let got = measure.read(&large, Some(side));
            prop_assert!(
                same(measure, expected, got) || on_the_brink(measure, &figure, side),
                "{measure}: {expected:?} {got:?}"
            );
        }
    }

    #[test]
    fn a_turned_figure_turns_plumb_angles_and_leaves_those_between_three_points(
        figure in scattered(), side in side(), degrees in -180.0..180.0f64,
    ) {
        let angle = Angle::from_degrees(degrees);
        let turned = rotated(&figure, angle);
        for measure in Measure::ALL {
            let Some(part) = follows_rotation(measure, side) else { continue };
            let expected = measure
                .read(&figure, Some(side))
                .map(|value| value + part * angle.radians());
            let got = measure.read(&turned, Some(side));
            prop_assert!(
                same(measure, expected, got) || on_the_brink(measure, &figure, side),
                "{measure}: {expected:?} {got:?}"
            );
        }
    }

    /// From the side, the left side of a person reads as the right side of one whose sides are
    /// exchanged.
    #[test]
    fn exchanging_the_sides_exchanges_the_values(figure in scattered(), side in side()) {
        use Measure::*;
        let exchanged = sides_exchanged(&figure);
        for measure in Measure::ALL {
            // From the front, outward is told by the side: see the mirror below.
            let from_the_side = !matches!(measure, HeadTilt | ShoulderTilt | HeadShift | TrunkShift
                | ShoulderAbduction | ArmToEarFront | ArmToEarFrontRelative | AbductionAsymmetry);
            if from_the_side {
                let here = measure.read(&figure, Some(side));
                let there = measure.read(&exchanged, Some(side.other()));
                prop_assert!(same(measure, here, there), "{measure}: {here:?} {there:?}");
            }
        }
    }

    /// From the front, a mirrored person has the same reach on the other side, and tilts and
    /// shifts to the other side.
    #[test]
    fn a_mirrored_figure_exchanges_sides_and_turns_tilts_around(figure in scattered(), side in side()) {
        use Measure::*;
        let mirrored = sides_exchanged(&moved(&figure, |p| Point::new(-p.x, p.y)));
        for (measure, sign) in [
            (HeadTilt, -1.0),
            (ShoulderTilt, -1.0),
            (HeadShift, -1.0),
            (TrunkShift, -1.0),
            (ShoulderAbduction, 1.0),
            (ElbowExtensionDeficit, 1.0),
            (ArmToEarFront, 1.0),
            (ArmToEarFrontRelative, 1.0),
            (AbductionAsymmetry, 1.0),
        ] {
            let expected = measure.read(&figure, Some(side)).map(|value| sign * value);
            let got = measure.read(&mirrored, Some(side.other()));
            prop_assert!(
                same(measure, expected, got) || on_the_brink(measure, &figure, side),
                "{measure}: {expected:?} {got:?}"
            );
        }
    }

    #[test]
    fn points_in_one_place_give_no_number_rather_than_a_wrong_one(figure in crowded()) {
        for measure in Measure::ALL {
            for side in [None, Some(Side::Left), Some(Side::Right)] {
                if let Some(value) = measure.read(&figure, side) {
                    prop_assert!(value.is_finite(), "{measure}: {value}");
                    let outer = measure.to_outer(value);
                    prop_assert!(outer.is_finite(), "{measure}: {outer}");
                }
            }
        }
    }

    #[test]
    fn a_missing_landmark_means_no_value(figure in scattered(), side in side()) {
        for measure in Measure::ALL {
            for lacking in measure.needs(Some(side)) {
                let without: Figure = Landmark::all()
                    .filter(|landmark| *landmark != lacking)
                    .filter_map(|landmark| Some((landmark, figure.get(landmark)?)))
                    .collect();
                let replaceable = measure.stand_in(lacking).is_some()
                    // One of the two is the apex, and does alone.
                    || matches!(lacking, Landmark::T4 | Landmark::T8);
                if !replaceable {
                    prop_assert_eq!(measure.read(&without, Some(side)), None, "{}", measure);
                }
            }
        }
    }

    /// There and back through any camera. A plane whose back faces the lens has no reading.
    #[test]
    fn the_plane_comes_back_through_the_photo(
        camera in camera(), x in -1000.0..1000.0f64, y in 0.0..2200.0f64, depth in -250.0..250.0f64,
    ) {
        let point = Point::new(x, y);
        let Some(pixel) = camera.photo_from_plane(point, depth) else { return Ok(()) };
        prop_assert!(pixel.is_finite());
        // How far the lens stands before the plane, and the point before the lens.
        let before = camera.distance * camera.turn.radians().cos() - depth;
        if before < -1e-3 {
            prop_assert_eq!(camera.plane_from_photo(pixel, depth), None);
        } else if before > 1.0 {
            let back = camera.plane_from_photo(pixel, depth);
            prop_assert!(back.is_some(), "lost, {} mm before the plane", before);
            let off = back.unwrap().distance(point);
            // Rounding of a pixel grows with the square of how obliquely its ray meets the plane.
            let steep = (camera.distance + 2200.0) / before;
            prop_assert!(off < 1e-9 * steep * steep + 1e-8, "{} mm off, steepness {}", off, steep);
        }
    }

    #[test]
    fn the_photo_comes_back_through_the_plane(
        camera in camera(), u in -0.5..0.5f64, v in -0.5..0.5f64, depth in -250.0..250.0f64,
    ) {
        let pixel = Point::new(
            camera.centre.x + u * camera.focal,
            camera.centre.y + v * camera.focal,
        );
        let Some(point) = camera.plane_from_photo(pixel, depth) else { return Ok(()) };
        prop_assert!(point.is_finite());
        let again = camera.photo_from_plane(point, depth);
        prop_assert!(again.is_some());
        let off = again.unwrap().distance(pixel);
        // A ray that meets the plane far away rounds there by the distance.
        let far = (point.x.hypot(point.y) + camera.distance) / camera.distance;
        prop_assert!(off < 1e-8 * far * far, "{} px off, {} times as far", off, far);
    }

    #[test]
    fn maps_come_back_and_keep_lengths_in_scale(
        size in 1.0..1000.0f64, cx in -5000.0..5000.0f64, cy in -5000.0..5000.0f64,
        side in 0.5..8000.0f64, turn in -360.0..360.0f64, mirrored: bool,
        (ax, ay, bx, by) in (-1.5..1.5f64, -1.5..1.5f64, -1.5..1.5f64, -1.5..1.5f64),
    ) {
        let centre = Point::<Photo>::new(cx, cy);
        let map = Map::<Crop, Photo>::square(size, centre, side, Angle::from_degrees(turn), mirrored)
            .expect("it has an area");
        let (a, b) = (Point::new(ax * size, ay * size), Point::new(bx * size, by * size));
        prop_assert!(map.inverse().apply(map.apply(a)).distance(a) < 1e-8 * size * (1.0 + 10_000.0 / side));
        prop_assert!(map.apply(Point::new(size / 2.0, size / 2.0)).distance(centre) < 1e-8);
        prop_assert!((map.scale() - side / size).abs() < 1e-9 * map.scale());
        prop_assert!((map.inverse().scale() * map.scale() - 1.0).abs() < 1e-9);
        let (short, long) = (a.distance(b), map.apply(a).distance(map.apply(b)));
        prop_assert!((long - map.scale() * short).abs() < 1e-7);
    }

    /// A mirrored map shows at x what the plain one shows at size − x.
    #[test]
    fn a_mirrored_map_is_the_plain_one_seen_in_a_mirror(
        cx in -500.0..500.0f64, cy in -500.0..500.0f64, side in 1.0..2000.0f64,
        turn in -180.0..180.0f64, x in 0.0..256.0f64, y in 0.0..256.0f64,
    ) {
        let map = |mirrored| {
            let turn = Angle::from_degrees(turn);
            Map::<Crop, Photo>::square(256.0, Point::new(cx, cy), side, turn, mirrored).unwrap()
        };
        let seen = map(true).apply(Point::new(x, y));
        prop_assert!(seen.distance(map(false).apply(Point::new(256.0 - x, y))) < 1e-8);
        prop_assert!(map(true).inverse().apply(seen).distance(Point::new(x, y)) < 1e-6);
    }

    /// `J·Σ·Jᵀ` for linear calculations, over blocks with correlations and independent values.
    #[test]
    fn errors_travel_through_a_linear_calculation_exactly(
        three in covariance(3), two in covariance(2), alone in 0.0..3.0f64,
        means in prop::collection::vec(-100.0..100.0f64, 6),
        gains in prop::collection::vec(-4.0..4.0f64, 6), offset in -10.0..10.0f64,
    ) {
        let mut inputs = Inputs::new();
        prop_assert_eq!(inputs.push_block(&means[..3], three.clone()), 0);
        prop_assert_eq!(inputs.push(Estimate::new(means[3], alone)), 3);
        prop_assert_eq!(inputs.push_block(&means[4..], two.clone()), 4);
        let linear = |x: &[f64]| x.iter().zip(&gains).map(|(x, gain)| x * gain).sum::<f64>() + offset;
        let got = inputs.propagate(|x| Some(linear(x))).expect("a linear calculation has an answer");

        let mut sigma = DMatrix::zeros(6, 6);
        sigma.view_mut((0, 0), (3, 3)).copy_from(&three);
        sigma[(3, 3)] = alone * alone;
        sigma.view_mut((4, 4), (2, 2)).copy_from(&two);
        let row = DMatrix::from_row_slice(1, 6, &gains);
        let variance = (&row * sigma * row.transpose())[(0, 0)];
        prop_assert!((got.value - linear(&means)).abs() < 1e-9);
        prop_assert!((got.sigma.powi(2) - variance).abs() < 1e-8 * (1.0 + variance));
    }
}

#[test]
fn a_square_without_area_has_no_map() {
    for (side, x) in [
        (0.0, 1.0),
        (-3.0, 1.0),
        (f64::NAN, 1.0),
        (f64::INFINITY, 1.0),
        (2.0, f64::NAN),
    ] {
        let map = Map::<Crop, Photo>::square(256.0, Point::new(x, 1.0), side, Angle::ZERO, false);
        assert!(map.is_none(), "side {side}, centre {x}");
    }
}

/// Every angle needs two points apart.
#[test]
fn angles_between_points_in_one_place_do_not_exist() {
    let heap: Figure = Landmark::all()
        .map(|landmark| (landmark, Point::new(3.0, 4.0)))
        .collect();
    for measure in Measure::ALL {
        for side in Side::BOTH {
            let value = measure.read(&heap, Some(side));
            match measure {
                Measure::HeadForwardOfC7
                | Measure::HeadForwardOfShoulder
                | Measure::ShoulderForwardOfC7
                | Measure::HeadShift
                | Measure::TrunkShift => assert_eq!(value, Some(0.0), "{measure}"),
                _ => assert_eq!(value, None, "{measure}"),
            }
        }
    }
}

//! The photos of one pose side by side, how the camera stood, and why a frame is empty.

use crate::body::{Side, Task, View};
use crate::estimate::Estimate;
use crate::measure::Unit;
use crate::report::number;
use crate::report::words::capitalised;
use crate::visit::{PhotoRecord, Visit};

use super::{PairView, Shot, VisitName};

/// Poses in the order of the report.
const POSES: [(View, Task); 8] = [
    (View::Side(Side::Left), Task::Stand),
    (View::Side(Side::Right), Task::Stand),
    (View::Front, Task::Stand),
    (View::Back, Task::Stand),
    (View::Side(Side::Left), Task::Reach),
    (View::Side(Side::Right), Task::Reach),
    (View::Front, Task::Reach),
    (View::Back, Task::Reach),
];

pub(super) fn pairs(visits: &[Visit], names: &[VisitName]) -> Vec<PairView> {
    let Some(last) = visits.len().checked_sub(1) else {
        return Vec::new();
    };
    let ends = if last == 0 { vec![0] } else { vec![0, last] };
    POSES
        .into_iter()
        .filter_map(|(view, task)| {
            let shots: Vec<(VisitName, Shot)> = ends
                .iter()
                .map(|&visit| (names[visit].clone(), shot(visits, visit, view, task)))
                .collect();
            shots
                .iter()
                .any(|(_, shot)| matches!(shot, Shot::Photo { .. }))
                .then(|| PairView {
                    title: pose_words(view, task),
                    shots,
                })
        })
        .collect()
}

fn shot(visits: &[Visit], index: usize, view: View, task: Task) -> Shot {
    let photos = &visits[index].photos;
    let fits = |photo: &PhotoRecord| photo.view == Some(view) && photo.task == Some(task);
    if let Some(photo) = photos.iter().position(fits) {
        return Shot::Photo {
            visit: index,
            photo,
        };
    }
    let maybe: Vec<String> = photos
        .iter()
        .filter(|photo| could_be(photo, view, task))
        .map(|photo| {
            let why = photo.notices.first().map(|notice| notice.text.as_str());
            let why = why.unwrap_or("its view could not be told.");
            format!(" {}: {why}", photo.file)
        })
        .collect();
    Shot::Missing(format!("No usable photo of this pose.{}", maybe.concat()))
}

/// Whether a photo that shows no standard pose may have been meant for this one.
fn could_be(photo: &PhotoRecord, view: View, task: Task) -> bool {
    let meant = match photo.view {
        None => true,
        Some(View::Oblique(near)) => view.near_side().is_none_or(|side| side == near),
        Some(_) => false,
    };
    meant && photo.task.is_none_or(|of| of == task)
}

/// "Left side, reaching up".
pub fn pose_words(view: View, task: Task) -> String {
    let task = match task {
        Task::Stand => "standing",
        Task::Reach => "reaching up",
    };
    capitalised(&format!("{}, {task}", view.words()))
}

/// How the camera stood, for whoever takes the next photo.
pub fn setup_words(photo: &PhotoRecord) -> Option<Vec<String>> {
    let setup = photo.setup?;
    let metres = |cm: Estimate| {
        let m = cm.scaled(0.01);
        format!(
            "{}{} m",
            number::plain(m.value, 2),
            number::plus_minus(m.sigma, 2)
        )
    };
    let mut words = vec![
        format!("Camera {} away", metres(setup.distance_cm)),
        format!("lens {} high", metres(setup.lens_height_cm)),
        format!(
            "body turned by {}",
            number::with_error(setup.turn_deg, Unit::Degree)
        ),
    ];
    words.extend(setup.roll_deg.map(|roll| {
        let way = if roll.value < 0.0 {
            "anticlockwise"
        } else {
            "clockwise"
        };
        let by = Estimate::new(roll.value.abs(), roll.sigma);
        format!(
            "camera tilted {way} by {} (corrected)",
            number::with_error(by, Unit::Degree)
        )
    }));
    if setup.by_board {
        words.push("scale and plumb line by the board".to_owned());
    }
    Some(words)
}

#[cfg(test)]
mod tests {
    use crate::body::{Side, View};
    use crate::compare::compare;
    use crate::report::samples;
    use crate::report::view::{Shot, comparison};
    use crate::visit::Notice;

    #[test]
    fn a_missing_partner_says_so() {
        let mut visits = samples::visits();
        visits[0].photos.remove(1);
        let view = comparison(&visits, &compare(&visits));
        let pair = view
            .pairs
            .iter()
            .find(|pair| pair.title == "Right side, reaching up")
            .unwrap();
        assert!(matches!(pair.shots[0].1, Shot::Missing(_)));
        assert!(matches!(pair.shots[1].1, Shot::Photo { .. }));
    }

    #[test]
    fn only_a_photo_that_could_be_the_pose_is_named_in_its_place() {
        let mut visits = samples::visits();
        let reach = &mut visits[0].photos[1];
        reach.view = Some(View::Oblique(Side::Right));
        reach.notices = vec![Notice::new("Turned too far.")];
        let view = comparison(&visits, &compare(&visits));
        let missing =
            Shot::Missing("No usable photo of this pose. reach.jpg: Turned too far.".to_owned());
        assert_eq!(view.pairs[1].shots[0].1, missing);
        assert!(matches!(view.pairs[0].shots[0].1, Shot::Photo { .. }));
    }
}

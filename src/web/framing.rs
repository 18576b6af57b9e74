//! What stands in the way of a good photo, told while the camera runs: whether the person is seen,
//! whole, near enough, turned as they should be and lit. One look, and not a word about the arm.

use std::sync::{Arc, PoisonError, TryLockError};

use axum::extract::{Query, State};
use serde_json::json;

use super::Shared;
use super::answer::{self, Answer, Trouble};
use super::body::{Glimpse, LARGEST_GLIMPSE};
use super::home::Seen;
use crate::body::{Landmark, Side, View};
use crate::infer::{Effort, Finder, Sample};
use crate::locate::{self, Wish, WishedView};
use crate::photo::{self, Limits, Photo, PhotoFault};

/// Someone who stands smaller in the picture than this part of its height is too far away: with
/// raised hands there is room for twice as much.
const SMALL: f64 = 0.4;
/// A running camera gives pictures of half a megapixel; much larger ones are not decoded for a hint.
const LIMITS: Limits = Limits {
    bytes: LARGEST_GLIMPSE as u64,
    pixels: 4_000_000,
};

/// Says what is wrong with a picture of the running camera; nothing while the nets look at a photo.
pub async fn framing(
    State(shared): State<Arc<Shared>>,
    Query(seen): Query<Seen>,
    Glimpse(bytes): Glimpse,
) -> Answer {
    let work = move |shared: &Shared| {
        let wish = seen.wish()?;
        // First of all, so that nothing is decoded for an answer that there is no time for.
        let finder = match shared.finder.try_lock() {
            Ok(finder) => finder,
            Err(TryLockError::Poisoned(finder)) => PoisonError::into_inner(finder),
            Err(TryLockError::WouldBlock) => return answer::json(json!({ "hints": [] })),
        };
        let photo = Photo::decode(&bytes, LIMITS).map_err(|error| {
            Trouble::unusable(
                format!("This picture could not be read: {error}."),
                "Take the photo as usual: it is looked at by itself.",
            )
        })?;
        answer::json(json!({ "hints": hints(&finder, &photo, wish)? }))
    };
    shared.work(work).await
}

fn hints(finder: &Finder, photo: &Photo, wish: Wish) -> Result<Vec<&'static str>, Trouble> {
    let search = finder
        .search(photo, Effort::Quick)
        .map_err(Trouble::fault)?;
    let Some(person) = search.person else {
        let side = f64::from(photo.width().min(photo.height()));
        let mut hints = light(photo::judge(photo, photo.centre(), side));
        hints.push("Nobody is seen. Step into the picture, about three metres from the camera.");
        return Ok(hints);
    };
    let mut hints = light(photo::judge(photo, person.centre, person.side));
    if !locate::is_upright(&person.samples) {
        hints.push("The picture lies on its side. Turn the camera upright.");
        return Ok(hints);
    }
    let cut = cut_off(&person.samples, photo);
    hints.extend(cut);
    let size = (photo.width(), photo.height());
    let small = locate::stature_px(&person.samples, size)
        .is_some_and(|stature| stature < SMALL * f64::from(photo.height()));
    if small && cut.is_none() {
        hints.push("You are small in the picture. Come nearer to the camera.");
    }
    hints.extend(turned(&person.samples, wish));
    Ok(hints)
}

fn light(faults: Vec<PhotoFault>) -> Vec<&'static str> {
    let words = |fault| match fault {
        PhotoFault::TooDark => Some("It is dark. Turn on a light in front of you."),
        PhotoFault::TooBright => Some("It is very bright. Turn away from the window."),
        // A person who moves is blurred in a running picture, and stands for the photo.
        PhotoFault::Blurred => None,
    };
    faults.into_iter().filter_map(words).collect()
}

/// What the picture does not show whole, the first of it.
fn cut_off(samples: &[Sample], photo: &Photo) -> Option<&'static str> {
    use Landmark::{Ankle, Heel, Nose, Toe, Wrist};
    let size = (photo.width(), photo.height());
    let at_edge = |landmark: Landmark| {
        let mut seen = samples
            .iter()
            .filter_map(|sample| sample.points.get(&landmark));
        seen.any(|point| locate::is_at_edge(point.at, size))
    };
    let either = |of: fn(Side) -> Landmark| Side::BOTH.into_iter().any(|side| at_edge(of(side)));
    if at_edge(Nose) {
        Some("Your head is not whole in the picture. Step back, or tilt the camera up a little.")
    } else if either(Wrist) {
        Some("Your hands are not whole in the picture. Step back a little.")
    } else if either(Ankle) || either(Heel) || either(Toe) {
        Some("Your feet are not in the picture. Step back a little.")
    } else {
        None
    }
}

fn turned(samples: &[Sample], wish: Wish) -> Option<&'static str> {
    let view = locate::recognise(samples, Wish::default())?.view;
    match (wish.view, view) {
        (Some(WishedView::Side(_)), View::Side(_)) | (Some(WishedView::Front), View::Front) => None,
        (Some(WishedView::Side(_)), _) => Some("Turn exactly sideways to the camera."),
        (Some(WishedView::Front), _) => Some("Face the camera."),
        _ => None,
    }
}

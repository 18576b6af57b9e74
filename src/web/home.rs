//! The self-check: one photo of a reach, answered in plain words, and the diary of such answers.

use std::collections::VecDeque;
use std::sync::Arc;

use axum::extract::{Path, Query, State};
use jiff::civil::DateTime;
use serde::Deserialize;
use serde_json::{Value as Json, json};

use super::answer::{self, Answer, Trouble};
use super::body::{Sent, Upload};
use super::diary::{ArmEntry, Entry, Pages, Person, Value};
use super::{Shared, guard, lock, picture as pictures};
use crate::body::Side;
use crate::compare::{AgainstLimit, mdc95};
use crate::estimate::Estimate;
use crate::locate::{Wish, WishedView};
use crate::measure::Measure;
use crate::pipeline::{self, Aids, PhotoInput};
use crate::report;
use crate::report::self_check::{self, Arm, CAUTIONS};
use crate::visit::{Notice, Visit};

/// The checks that were made last, with their pictures and no photos.
#[derive(Default)]
pub struct Checks {
    made: usize,
    last: VecDeque<Check>,
}

struct Check {
    id: String,
    at: DateTime,
    arms: Vec<ArmEntry>,
    /// As they were known when the photo was checked.
    person: Person,
    picture: Vec<u8>,
    /// The entry in the diary, once it is kept there.
    entry: Option<String>,
}

const MOST_CHECKS: usize = 8;

impl Checks {
    fn put(
        &mut self,
        at: DateTime,
        arms: Vec<ArmEntry>,
        person: Person,
        picture: Vec<u8>,
    ) -> String {
        self.made += 1;
        let id = format!("c{}", self.made);
        self.last.push_back(Check {
            id: id.clone(),
            at,
            arms,
            person,
            picture,
            entry: None,
        });
        if self.last.len() > MOST_CHECKS {
            self.last.pop_front();
        }
        id
    }

    fn get_mut(&mut self, id: &str) -> Result<&mut Check, Trouble> {
        self.last
            .iter_mut()
            .find(|check| check.id == id)
            .ok_or_else(|| {
                Trouble::new(
                    axum::http::StatusCode::NOT_FOUND,
                    "This check is no longer here.",
                    format!("Only the last {MOST_CHECKS} are held, and none after tragus ends."),
                )
            })
    }
}

/// Who the page is for, and the cautions.
pub async fn home(State(shared): State<Arc<Shared>>) -> Answer {
    shared.work(|shared| about(&shared.diary.read()?)).await
}

/// What is to be known of the person, and what the window that says so showed before.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewPerson {
    to: Person,
    from: Person,
}

/// Keeps who the person is, as far as measuring needs it. A window that was left open since before a
/// limit was kept does not take that limit away.
pub async fn keep_person(
    State(shared): State<Arc<Shared>>,
    Sent(NewPerson { to, from }): Sent<NewPerson>,
) -> Answer {
    let work = move |shared: &Shared| {
        to.facts()?;
        let pages = shared.diary.change(|pages| {
            if pages.person != from {
                return Err(Trouble::conflict(
                    "This was changed in another window meanwhile.",
                    "Open this page again to see it as it is now, then change it.",
                ));
            }
            pages.person = to;
            Ok(())
        })?;
        about(&pages)
    };
    shared.work(work).await
}

fn about(pages: &Pages) -> Answer {
    answer::json(json!({
        "person": pages.person,
        "cautions": CAUTIONS,
    }))
}

/// From where the photo was said to be taken.
#[derive(Deserialize)]
pub struct Seen {
    view: Option<String>,
}

impl Seen {
    pub(super) fn wish(&self) -> Result<Wish, Trouble> {
        let view = match self.view.as_deref() {
            None => None,
            Some("side") => Some(WishedView::Side(None)),
            Some("front") => Some(WishedView::Front),
            Some(_) => {
                return Err(Trouble::unusable(
                    "A reach is checked from the side or from the front.",
                    "Choose one of them.",
                ));
            }
        };
        Ok(Wish { view, task: None })
    }
}

/// Checks the reach in a photo.
pub async fn check(
    State(shared): State<Arc<Shared>>,
    Query(seen): Query<Seen>,
    upload: Upload,
) -> Answer {
    let work = move |shared: &Shared| {
        let wish = seen.wish()?;
        // Without the diary nobody knows the limit: then there is no answer either.
        shared.diary.read()?;
        // All of it, so that its place stays taken until the nets are done.
        let upload = upload;
        let picture = pictures::upright(&upload.bytes)?;
        let photo = PhotoInput {
            file: upload.file,
            bytes: Ok(upload.bytes),
            wish,
            manual: Vec::new(),
            aids: Aids::default(),
        };
        let finder = lock(&shared.finder);
        // The wait for the nets may have been long: a limit that was kept meanwhile holds.
        let pages = shared.diary.read()?;
        let visit = pipeline::measure_visit(&finder, pages.person.facts()?, [photo])
            .map_err(Trouble::fault)?;
        drop(finder);
        let drawn = report::overlay(&picture, &visit.photos[0], false);
        let drawn = pictures::around_person(&drawn, &visit.photos[0]);
        let arms = self_check::arms(&visit);
        let jpeg = pictures::for_screen(&drawn, pictures::TO_LOOK_AT)?;
        let kept = arms.iter().map(entry).collect();
        let id = lock(&shared.checks).put((shared.now)(), kept, pages.person.clone(), jpeg);
        answer::json(told(&id, &visit, &arms, &pages))
    };
    shared.work(work).await
}

fn told(id: &str, visit: &Visit, arms: &[Arm], pages: &Pages) -> Json {
    let photo = &visit.photos[0];
    let notices: Vec<&str> = photo.notices.iter().map(Notice::at_home).collect();
    let told: Vec<Json> = arms
        .iter()
        .zip(since_last(arms, pages))
        .map(|(arm, since)| {
            json!({
                "side": arm.side.name(),
                "limit_head": arm.limit_head,
                "limit_words": arm.limit_words,
                "words": arm.words,
                "numbers": arm.numbers,
                "against_limit": arm.limit.map(AgainstLimit::id),
                "since_last": since.map(|words| json!({ "words": words })),
            })
        })
        .collect();
    json!({
        "id": id,
        "arms": told,
        "about_the_sides": (!arms.is_empty()).then_some(self_check::MIRRORED),
        "about_the_limit": self_check::about_the_limit(visit, arms),
        "nothing": arms.is_empty().then(|| self_check::nothing(photo)),
        "about_the_photo": notices,
        "picture": format!("/api/checks/{id}/picture"),
    })
}

/// What the diary keeps of an arm.
fn entry(arm: &Arm) -> ArmEntry {
    ArmEntry {
        side: arm.side.name().to_owned(),
        elevation: value(arm.elevation),
        to_ear: arm.to_ear.map(value),
        against_limit: arm.limit.map(|limit| limit.id().to_owned()),
    }
}

fn value((measure, estimate): (Measure, Estimate)) -> Value {
    let rounded = |value: f64| (value * 1e3).round() / 1e3;
    Value {
        measure: measure.id().to_owned(),
        value: rounded(estimate.value),
        sigma: rounded(estimate.sigma),
        unit: measure.unit().name().to_owned(),
    }
}

/// How each arm stands against the last check that was kept. Nothing is said where one of them is at
/// its limit or may be above: there no arm's rise is anything to speak well of.
fn since_last(arms: &[Arm], pages: &Pages) -> Vec<Option<String>> {
    let below = |arm: &Arm| arm.limit.is_none_or(|limit| limit == AgainstLimit::Below);
    let calm = arms.iter().all(below);
    let since = arms.iter().map(|arm| change(arm, pages).filter(|_| calm));
    since.collect()
}

/// Nothing is said where the last check was at the limit or may have been above: whoever keeps lower
/// since does as told, and is not to wonder why.
fn change(arm: &Arm, pages: &Pages) -> Option<String> {
    let (measure, now) = arm.elevation;
    let (entry, then) = pages.last(arm.side, measure)?;
    if then
        .against_limit
        .as_deref()
        .is_some_and(|id| id != AgainstLimit::Below.id())
    {
        return None;
    }
    let when = entry.date.parse::<DateTime>().ok()?;
    Some(change_words(
        arm.side,
        Estimate::new(then.elevation.value, then.elevation.sigma),
        now,
        &when.strftime("%-d %B %Y").to_string(),
    ))
}

fn change_words(side: Side, then: Estimate, now: Estimate, when: &str) -> String {
    let (by, error) = (now.value - then.value, mdc95(then.sigma, now.sigma));
    let amount = format!(
        "by about {:.0}° (give or take {:.0})",
        by.abs(),
        error.ceil()
    );
    if by > error {
        format!("Your {side} arm is higher than on {when}, {amount}.")
    } else if by < -error {
        format!(
            "Your {side} arm is lower than on {when}, {amount}. That can have many reasons; your \
             therapist can tell you more."
        )
    } else {
        format!("Your {side} arm is about as high as on {when}, as far as two photos can tell.")
    }
}

/// The picture of a check, with the lines drawn in and the face covered.
pub async fn picture(State(shared): State<Arc<Shared>>, Path(id): Path<String>) -> Answer {
    let work = move |shared: &Shared| {
        let picture = lock(&shared.checks).get_mut(&id)?.picture.clone();
        answer::bytes("image/jpeg", picture)
    };
    shared.work(work).await
}

/// The diary.
pub async fn diary(State(shared): State<Arc<Shared>>) -> Answer {
    let work = |shared: &Shared| listed(shared, &shared.diary.read()?);
    shared.work(work).await
}

fn listed(shared: &Shared, pages: &Pages) -> Answer {
    answer::json(json!({ "entries": pages.entries, "file": shared.diary.place() }))
}

/// A check to keep.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keep {
    check: String,
    #[serde(default)]
    note: String,
}

const LONGEST_NOTE: usize = 1000;

/// Keeps a check in the diary; kept again, it gets the new note.
pub async fn keep_check(State(shared): State<Arc<Shared>>, Sent(keep): Sent<Keep>) -> Answer {
    let work = move |shared: &Shared| {
        if keep.note.chars().count() > LONGEST_NOTE {
            return Err(Trouble::unusable(
                "This note is too long.",
                format!("It may have up to {LONGEST_NOTE} letters."),
            ));
        }
        let mut checks = lock(&shared.checks);
        let check = checks.get_mut(&keep.check)?;
        if check.arms.is_empty() {
            return Err(Trouble::unusable(
                "In this photo no arm was measured, so there is nothing to keep.",
                "Your therapist can have the photo measured all the same.",
            ));
        }
        let id = match &check.entry {
            Some(id) => id.clone(),
            None => guard::unguessable().map_err(Trouble::fault)?,
        };
        let pages = shared.diary.change(|pages| {
            match pages.entries.iter_mut().find(|entry| entry.id == id) {
                Some(entry) => entry.note = keep.note,
                None => pages.entries.push(Entry {
                    id: id.clone(),
                    date: check.at.strftime("%Y-%m-%dT%H:%M").to_string(),
                    arms: check.arms.clone(),
                    limit_deg: check.person.arm_limit_deg,
                    operated_side: check.person.operated_side.clone(),
                    note: keep.note,
                }),
            }
            Ok(())
        })?;
        check.entry = Some(id);
        listed(shared, &pages)
    };
    shared.work(work).await
}

/// Takes an entry out of the diary. One that is gone already is gone.
pub async fn forget(State(shared): State<Arc<Shared>>, Path(id): Path<String>) -> Answer {
    let work = move |shared: &Shared| {
        let pages = shared.diary.change(|pages| {
            pages.entries.retain(|entry| entry.id != id);
            Ok(())
        })?;
        listed(shared, &pages)
    };
    shared.work(work).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arm(degrees: f64, limit: Option<f64>) -> Arm {
        let elevation = Estimate::new(degrees, 2.0);
        Arm {
            side: Side::Left,
            limit_head: String::new(),
            limit_words: String::new(),
            words: String::new(),
            numbers: String::new(),
            limit: limit.map(|limit| AgainstLimit::of(elevation, limit)),
            elevation: (Measure::ShoulderFlexion, elevation),
            to_ear: None,
        }
    }

    fn since(then: f64, now: f64, limit: Option<f64>) -> Option<String> {
        since_last(&[arm(now, limit)], &after(arm(then, None))).remove(0)
    }

    fn after(last: Arm) -> Pages {
        let mut pages = Pages::default();
        pages.entries.push(Entry {
            id: "x".to_owned(),
            date: "2026-05-04T10:12".to_owned(),
            arms: vec![entry(&last)],
            limit_deg: None,
            operated_side: None,
            note: String::new(),
        });
        pages
    }

    #[test]
    fn a_change_is_told_only_beyond_the_error_of_two_photos() {
        // Two sigmas of 2: MDC95 = 1.96·√8 = 5.5.
        let words = |now| since(100.0, now, None).unwrap();
        assert!(words(106.0).contains("higher than on 4 May 2026, by about 6° (give or take 6)"));
        assert!(words(94.0).contains("lower than on 4 May 2026"));
        for now in [94.6, 100.0, 105.4] {
            assert!(
                words(now).contains("about as high as on 4 May 2026"),
                "{now}"
            );
        }
    }

    #[test]
    fn no_rise_is_spoken_of_where_the_arm_may_be_at_its_limit() {
        for now in [97.0, 101.0, 120.0] {
            assert_eq!(since(60.0, now, Some(100.0)), None, "{now}");
        }
        assert!(since(60.0, 90.0, Some(100.0)).is_some());
        let other = Arm {
            side: Side::Right,
            ..arm(120.0, Some(100.0))
        };
        assert_eq!(
            since_last(&[arm(90.0, None), other], &after(arm(60.0, None))),
            [None, None]
        );
    }

    #[test]
    fn a_lower_arm_after_one_above_the_limit_is_not_told_as_a_loss() {
        let above = after(arm(120.0, Some(100.0)));
        assert_eq!(since_last(&[arm(85.0, Some(100.0))], &above), [None]);
    }

    #[test]
    fn no_word_urges() {
        for now in [60.0, 100.0, 140.0] {
            let words = since(100.0, now, None).unwrap();
            for word in [
                "still",
                "yet",
                "further",
                "try",
                "well done",
                "great",
                "good",
            ] {
                assert!(!words.contains(word), "{word}: {words}");
            }
        }
    }

    #[test]
    fn only_the_last_checks_are_held() {
        let mut checks = Checks::default();
        for _ in 0..=MOST_CHECKS {
            checks.put(
                DateTime::default(),
                Vec::new(),
                Person::default(),
                Vec::new(),
            );
        }
        assert!(checks.get_mut("c1").is_err());
        assert!(checks.get_mut("c2").is_ok());
        assert!(checks.get_mut("../c2").is_err());
    }
}

//! Reviewing visits: their photos, what was found in them, and what a hand moves.

use std::sync::Arc;
use std::time::Instant;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::IntoResponse;
use jiff::civil::Date;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::answer::{self, Answer, Trouble};
use super::body::{Sent, Upload};
use super::diary::Person;
use super::visits::{Move, OpenPhoto, OpenVisit, Source, Visits};
use super::{Shared, lock, picture as pictures};
use crate::body::Landmark;
use crate::case::RECORD;
use crate::compare::mdc95;
use crate::geometry::Point;
use crate::infer::Finder;
use crate::measure::Measure;
use crate::photo::{self, Bare, Days, Limits};
use crate::record;
use crate::report::lines::{self, Line, Stroke};
use crate::visit::{Evidence, PhotoRecord, Visit, VisitFacts};

/// The visits that are open.
pub async fn visits(State(shared): State<Arc<Shared>>) -> Answer {
    let work = |shared: &Shared| {
        let visits = lock(&shared.visits);
        let list: Vec<Value> = visits
            .iter()
            .map(|(id, visit)| Value::Object(brief(id, visits.number(id), visit)))
            .collect();
        answer::json(json!({ "visits": list }))
    };
    shared.work(work).await
}

/// What is told of a visit.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Facts {
    label: Option<String>,
    date: Option<String>,
    stature_cm: Option<f64>,
    operated_side: Option<String>,
    arm_limit_deg: Option<f64>,
}

const LONGEST_LABEL: usize = 80;

impl Facts {
    /// These facts over those that are known; what a page does not ask for stays.
    fn over(self, known: &VisitFacts) -> Result<VisitFacts, Trouble> {
        let person = Person {
            stature_cm: self.stature_cm,
            operated_side: self.operated_side,
            arm_limit_deg: self.arm_limit_deg,
        };
        let label = self.label.filter(|label| !label.trim().is_empty());
        if label.as_ref().is_some_and(|label| {
            label.contains(char::is_control) || label.chars().count() > LONGEST_LABEL
        }) {
            return Err(Trouble::unusable(
                "This label can't be used.",
                format!("Write it on one line, in at most {LONGEST_LABEL} letters."),
            ));
        }
        let date = self.date.filter(|date| !date.is_empty());
        let date = date.map(|date| {
            date.parse().map_err(|_| {
                Trouble::unusable(
                    format!("{date:?} is no day of the calendar."),
                    "Write it as 2026-03-10.",
                )
            })
        });
        let VisitFacts {
            stature_cm,
            operated,
            arm_limit_deg,
            ..
        } = person.facts()?;
        Ok(VisitFacts {
            label,
            date: date.transpose()?,
            stature_cm,
            operated,
            arm_limit_deg,
            ..known.clone()
        })
    }
}

/// Begins a visit that has no folder.
pub async fn begin(State(shared): State<Arc<Shared>>, Sent(facts): Sent<Facts>) -> Answer {
    let work = move |shared: &Shared| {
        let facts = facts.over(&VisitFacts::default())?;
        let mut visits = lock(&shared.visits);
        let id = visits.begin(facts)?;
        answer::json(shared.whole(&visits, &id)?)
    };
    shared.work(work).await
}

/// What whoever asks again has already.
#[derive(Deserialize)]
pub struct Known {
    since: Option<u64>,
    saved: Option<bool>,
}

/// A visit with everything that was found; or nothing, where nothing changed.
pub async fn visit(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    Query(known): Query<Known>,
) -> Answer {
    let work = move |shared: &Shared| {
        shared.see(&id)?;
        let visits = lock(&shared.visits);
        let visit = visits.get(&id)?;
        let is_known = known.since == Some(visit.revision)
            && known.saved.is_none_or(|saved| saved == visit.saved);
        match is_known {
            true => Ok(StatusCode::NO_CONTENT.into_response()),
            false => answer::json(shared.whole(&visits, &id)?),
        }
    };
    shared.work(work).await
}

/// Other facts for a visit, and those that whoever changes them has seen.
#[derive(Deserialize)]
pub struct NewFacts {
    #[serde(flatten)]
    to: Facts,
    from: Facts,
}

/// Takes other facts for a visit. With another stature the photos are looked at again, since a sticker
/// is told by its size.
pub async fn learn(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    Sent(NewFacts { to, from }): Sent<NewFacts>,
) -> Answer {
    let work = move |shared: &Shared| {
        shared.see(&id)?;
        // Whoever has the nets has the facts to itself too.
        let finder = lock(&shared.finder);
        let (known, sources) = {
            let visits = lock(&shared.visits);
            let visit = visits.get(&id)?;
            (visit.facts.clone(), visit.sources())
        };
        let facts = to.over(&known)?;
        if from.over(&known)? != known {
            return answer::json(shared.change(&id, |_| {
                Err(Trouble::conflict(
                    "These facts were changed in another window meanwhile.",
                    "The page shows them as they are now. Change them again if they are wrong.",
                ))
            })?);
        }
        let looked = match facts.stature_cm == known.stature_cm {
            true => Vec::new(),
            false => look_again(&finder, &facts, sources)?,
        };
        answer::json(shared.change_any(&id, |visits| {
            visits.get_mut(&id)?.learn(facts, looked)?;
            // Of another day other screenings are the last.
            Ok(visits.settle()?)
        })?)
    };
    shared.work(work).await
}

fn look_again(
    finder: &Finder,
    facts: &VisitFacts,
    sources: Vec<(String, Source)>,
) -> Result<Vec<OpenPhoto>, Trouble> {
    sources
        .into_iter()
        .map(|(file, source)| OpenPhoto::look(finder, facts, file, source))
        .collect::<Result<_, _>>()
        .map_err(Trouble::fault)
}

/// Adds a photo to a visit.
pub async fn add_photo(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    upload: Upload,
) -> Answer {
    let work = move |shared: &Shared| {
        // All of it, so that its place stays taken until the nets are done.
        let upload = upload;
        // A photo that can't be read is told before the nets look.
        let (file, bytes) = taken_in(shared, &upload)?;
        // Whoever has the nets adds its photo before the next, so names stay told apart.
        let finder = lock(&shared.finder);
        let (facts, name) = {
            let visits = lock(&shared.visits);
            let visit = visits.get(&id)?;
            visit.may_add()?;
            if !visits.have_room(bytes.len()) {
                return Err(Trouble::conflict(
                    "There is no more room for photos in memory.",
                    "Save what is to be kept, then stop tragus and start it anew.",
                ));
            }
            (visit.facts.clone(), visit.name_for(&file))
        };
        let source = Source::Memory(bytes.into());
        let mut photo = OpenPhoto::look(&finder, &facts, name, source).map_err(Trouble::fault)?;
        // What is filed does not tell it any more.
        photo.day = photo::day_taken(&upload.bytes);
        answer::json(shared.change(&id, |visit| {
            visit.add(photo);
            Ok(())
        })?)
    };
    shared.work(work).await
}

/// The name and the bytes that a photo is looked at by. Where it may be filed in a case they are what
/// will be filed: what the camera wrote into it besides the picture goes no further.
fn taken_in(shared: &Shared, upload: &Upload) -> Result<(String, Vec<u8>), Trouble> {
    if lock(&shared.visits).has_case() {
        let bare = Bare::of(&upload.bytes, Limits::default())?;
        return Ok((bare.name(&upload.file), bare.bytes().to_vec()));
    }
    pictures::upright(&upload.bytes)?;
    Ok((upload.file.clone(), upload.bytes.clone()))
}

/// The upright photo, for the screen.
pub async fn picture(
    State(shared): State<Arc<Shared>>,
    Path((id, index)): Path<(String, String)>,
) -> Answer {
    let work = move |shared: &Shared| {
        shared.see(&id)?;
        let visits = lock(&shared.visits);
        let photo = index
            .parse()
            .ok()
            .and_then(|index| visits.get(&id).ok()?.photo(index));
        let shown = photo.and_then(OpenPhoto::shown);
        drop(visits);
        let shown = shown.ok_or_else(|| Trouble::gone("photo"))?;
        answer::bytes("image/jpeg", shown.to_vec())
    };
    shared.work(work).await
}

/// A landmark that was moved.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edit {
    photo: usize,
    landmark: String,
    from: Option<Place>,
    to: Option<Place>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct Place {
    x: f64,
    y: f64,
}

impl Edit {
    fn read(&self) -> Result<Move, Trouble> {
        let point = |place: Place| Point::new(place.x, place.y);
        let landmark = Landmark::from_name(&self.landmark).ok_or_else(|| {
            Trouble::unusable("There is no landmark of this name.", "Reload the page.")
        })?;
        Ok(Move {
            photo: self.photo,
            landmark,
            from: self.from.map(point),
            to: self.to.map(point),
        })
    }
}

/// Moves a landmark; the measures come back with it.
pub async fn edit(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    Sent(edit): Sent<Edit>,
) -> Answer {
    let work = move |shared: &Shared| {
        let hand = edit.read()?;
        shared.see(&id)?;
        let started = Instant::now();
        let mut visit = shared.change(&id, |visit| visit.place(&hand))?;
        visit["took_ms"] = json!(1e3 * started.elapsed().as_secs_f64());
        answer::json(visit)
    };
    shared.work(work).await
}

/// What whoever saves has seen.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Save {
    revision: u64,
}

/// Saves the record into the visit's folder, or hands it over where there is none.
pub async fn save(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    Sent(save): Sent<Save>,
) -> Answer {
    let work = move |shared: &Shared| {
        shared.see(&id)?;
        let mut record = None;
        let mut visit = shared.change(&id, |visit| {
            if visit.revision != save.revision {
                return Err(Trouble::conflict(
                    "This visit was changed in another window meanwhile, so it was not saved.",
                    "The page shows it as it is now. Look at it, then save again.",
                ));
            }
            if !visit.save(shared.today())? {
                record = Some(record_of(&visit.visit())?);
            }
            Ok(())
        })?;
        visit["file"] = json!(RECORD);
        if let Some(record) = record {
            visit["record"] = record;
        }
        answer::json(visit)
    };
    shared.work(work).await
}

/// Files a visit that was begun here, photos and all, in the case.
pub async fn file(
    State(shared): State<Arc<Shared>>,
    Path(id): Path<String>,
    Sent(save): Sent<Save>,
) -> Answer {
    let work = move |shared: &Shared| {
        let today = shared.today();
        // Whoever has the nets adds photos and has the facts to itself too.
        let finder = lock(&shared.finder);
        let (filing, known, sources) = {
            let visits = lock(&shared.visits);
            let filing = visits.filing(&id, today)?;
            let visit = visits.get(&id)?;
            (filing, visit.facts.clone(), visit.sources())
        };
        // Decoding takes a moment a photo, in which others are answered.
        let bare = sources
            .iter()
            .map(|(_, source)| source.bare())
            .collect::<Result<Vec<Bare>, Trouble>>()?;
        let looked = match filing.facts.stature_cm == known.stature_cm {
            true => Vec::new(),
            false => look_again(&finder, &filing.facts, sources)?,
        };
        let visit = shared.change_any(&id, |visits| {
            if visits.get(&id)?.revision != save.revision {
                return Err(Trouble::conflict(
                    "This visit was changed in another window meanwhile, so it was not filed.",
                    "The page shows it as it is now. Look at it, then file it again.",
                ));
            }
            visits.file(&id, filing, looked, &bare, today)
        })?;
        answer::json(visit)
    };
    shared.work(work).await
}

impl Shared {
    /// Changes a visit and tells everything about it then. Whoever is refused because something else
    /// happened meanwhile is told how the visit is now.
    fn change(
        &self,
        id: &str,
        change: impl FnOnce(&mut OpenVisit) -> Result<(), Trouble>,
    ) -> Result<Value, Trouble> {
        self.change_any(id, |visits| change(visits.get_mut(id)?))
    }

    /// The same where other visits change with this one.
    fn change_any(
        &self,
        id: &str,
        change: impl FnOnce(&mut Visits) -> Result<(), Trouble>,
    ) -> Result<Value, Trouble> {
        let mut visits = lock(&self.visits);
        let changed = change(&mut visits);
        let visit = self.whole(&visits, id)?;
        match changed {
            Ok(()) => Ok(visit),
            Err(trouble) if trouble.status() == StatusCode::CONFLICT => {
                Err(trouble.with_visit(visit))
            }
            Err(trouble) => Err(trouble),
        }
    }

    /// Everything about a visit, as it stands today.
    fn whole(&self, visits: &Visits, id: &str) -> Result<Value, Trouble> {
        let mut told = whole(visits, id)?;
        told["photos_say"] = photos_say(visits.get(id)?, self.today());
        Ok(told)
    }

    /// Has the nets look at the photos of a visit's folder that they have not seen so far.
    pub(super) fn see(&self, id: &str) -> Result<(), Trouble> {
        let unseen = || -> Result<_, Trouble> {
            let visits = lock(&self.visits);
            let visit = visits.get(id)?;
            Ok(visit.next_unseen().map(|path| (visit.facts.clone(), path)))
        };
        if unseen()?.is_none() {
            return Ok(());
        }
        // Whoever waited for the nets asks again: another may have had them look meanwhile.
        let finder = lock(&self.finder);
        while let Some((facts, path)) = unseen()? {
            let file = path.file_name().unwrap_or_default();
            let file = file.to_string_lossy().into_owned();
            let photo = OpenPhoto::look(&finder, &facts, file, Source::File(path))
                .map_err(Trouble::fault)?;
            lock(&self.visits).get_mut(id)?.see(photo);
        }
        Ok(())
    }
}

/// What the list of visits tells of one.
pub(super) fn brief(id: &str, number: usize, visit: &OpenVisit) -> Map<String, Value> {
    let fields = [
        ("id", json!(id)),
        ("title", json!(visit.facts.title(number))),
        ("date", json!(visit.facts.date.map(|date| date.to_string()))),
        ("photos", json!(visit.photo_count())),
        ("revision", json!(visit.revision)),
        ("folder", json!(visit.folder_name())),
        ("saved", json!(visit.saved)),
        ("in_case", json!(visit.in_case)),
    ];
    fields
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect()
}

fn record_of(visit: &Visit) -> Result<Value, Trouble> {
    serde_json::from_str(&record::visit_to_json(visit)).map_err(Trouble::fault)
}

/// Everything about a visit: its record, with what a page needs to show and change it.
fn whole(visits: &Visits, id: &str) -> Result<Value, Trouble> {
    let open = visits.get(id)?;
    let visit = open.visit();
    let mut record = record_of(&visit)?;
    let mut whole = brief(id, visits.number(id), open);
    whole.insert("facts".to_owned(), record["visit"].take());
    whole.insert("may_file".to_owned(), json!(visits.may_file(open)));
    for list in ["measures", "unmeasured"] {
        for row in record[list].as_array_mut().into_iter().flatten() {
            complete_row(row);
        }
        whole.insert(list.to_owned(), record[list].take());
    }
    whole.insert("notices".to_owned(), record["notices"].take());
    let photos = record["photos"].as_array_mut().into_iter().flatten();
    let photos: Vec<Value> = photos
        .zip(visit.photos.iter().zip(open.photos()))
        .enumerate()
        .map(|(index, (photo, (record, seen)))| {
            let picture = seen
                .shown()
                .map(|_| format!("/api/visits/{id}/photos/{index}/picture"));
            let mut photo = photo.take();
            photo["index"] = json!(index);
            photo["width"] = json!(record.size.map(|(width, _)| width));
            photo["height"] = json!(record.size.map(|(_, height)| height));
            photo["picture"] = json!(picture);
            tell_originals(&mut photo["landmarks"], record, seen);
            let placeable = seen.placeable();
            photo["placeable"] = placeable.into_iter().map(Landmark::name).collect();
            photo["lines"] = lines::drawing(record).lines.iter().map(line).collect();
            photo
        })
        .collect();
    whole.insert("photos".to_owned(), Value::Array(photos));
    Ok(Value::Object(whole))
}

/// The day that the photos say, where the visit has none: offered, never taken for true by itself. And
/// what is odd about their days.
fn photos_say(visit: &OpenVisit, today: Date) -> Value {
    let days = Days::of(visit.days());
    let told = visit.facts.date;
    let offered = days.offered(today).filter(|_| told.is_none());
    json!({
        "day": offered,
        "words": offered.map(|day| format!("The photos say {}.", photo::day_in_words(day))),
        "doubts": days.doubts(told, today),
    })
}

/// Says of each landmark whether something covers it, and where the program has one that a hand
/// placed.
fn tell_originals(landmarks: &mut Value, record: &PhotoRecord, seen: &OpenPhoto) {
    for (landmark, located) in &record.landmarks {
        let original = (located.evidence == Evidence::Manual)
            .then(|| seen.own(*landmark))
            .flatten()
            .map(|at| json!({ "x": at.x, "y": at.y }));
        let told = &mut landmarks[landmark.name()];
        told["covered"] = json!(located.covered);
        told["original"] = json!(original);
    }
}

/// Adds to a row of the record what its measure is called, and how large a change has to be.
fn complete_row(row: &mut Value) {
    let text = |field: &str| row[field].as_str();
    let known = text("measure").zip(text("unit"));
    let measure = known.and_then(|(id, unit)| Measure::from_file(id, unit, text("of")));
    row["name"] = json!(measure.map(Measure::words));
    if let Some(sigma) = row["sigma"].as_f64() {
        row["mdc95"] = json!(mdc95(sigma, sigma));
    }
}

fn line(line: &Line) -> Value {
    let kind = match line.stroke {
        Stroke::Body => "body",
        Stroke::Reference => "reference",
        Stroke::Distance => "distance",
    };
    json!({
        "kind": kind,
        "from": [line.from.x, line.from.y],
        "to": [line.to.x, line.to.y],
    })
}

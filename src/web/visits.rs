//! The visits that are open for review: what was seen in their photos, and what a hand placed.

use std::collections::{BTreeMap, VecDeque};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::civil::Date;

use super::answer::Trouble;
use super::picture;
use crate::body::Landmark;
use crate::case::{self, Case, CaseError, NewVisit, RECORD};
use crate::checksum;
use crate::episode::{self, Filed};
use crate::geometry::{Photo, Point};
use crate::infer::{Finder, InferError};
use crate::locate::{ManualPoint, Wish};
use crate::measure::Measure;
use crate::photo::{self, Bare, Limits};
use crate::pipeline::{self, Aids, Looked, PhotoInput};
use crate::record;
use crate::report::words::capitalised;
use crate::visit::{Located, PhotoRecord, Reading, Visit, VisitFacts};

/// A visit as it lies on the disk.
pub struct VisitFolder {
    pub path: PathBuf,
    pub facts: VisitFacts,
    pub photos: Vec<PathBuf>,
}

/// All visits that are open, each by its id, and the case that some lie in. Whoever writes into the
/// case has the visits meanwhile, so that nothing of this program writes there at once.
pub struct Visits {
    open: Vec<(String, OpenVisit)>,
    case: Option<Case>,
}

/// No day in a clinic has more.
const MOST_VISITS: usize = 64;
const MOST_PHOTOS: usize = 40;
/// Bytes of sent photos that are held in memory, all visits together.
const MOST_BYTES: usize = 1 << 30;

impl Visits {
    pub fn of_folders(folders: Vec<VisitFolder>, case: Option<Case>) -> Result<Visits, CaseError> {
        let mut visits = Visits {
            open: Vec::new(),
            case,
        };
        for folder in folders {
            let in_case = visits.holds(&folder.path);
            visits.put(OpenVisit {
                in_case,
                ..OpenVisit::of_folder(folder)
            });
        }
        visits.settle()?;
        Ok(visits)
    }

    /// Whether a folder is that of one of the case's visits.
    fn holds(&self, folder: &Path) -> bool {
        let case = self.case.as_ref();
        case.and_then(|case| case.folder().canonicalize().ok())
            .is_some_and(|case| Case::around(folder) == Some(case))
    }

    /// The case that is open.
    pub fn case(&self) -> Result<&Case, Trouble> {
        self.case.as_ref().ok_or_else(|| {
            Trouble::new(
                axum::http::StatusCode::NOT_FOUND,
                "No case is open.",
                "Stop tragus, and start it anew with the folder of a case: tragus serve CASE.",
            )
        })
    }

    /// Tells the case's visits what its screenings say of their days.
    pub fn settle(&mut self) -> Result<(), CaseError> {
        let Some(case) = &self.case else {
            return Ok(());
        };
        let screenings = case.screenings()?;
        let code = &case.about.code;
        let mut of_case: Vec<&mut OpenVisit> = self
            .open
            .iter_mut()
            .map(|(_, visit)| visit)
            .filter(|visit| visit.in_case)
            .collect();
        of_case.sort_by_key(|visit| visit.path().map(Path::to_owned));
        let mut before = None;
        for visit in of_case {
            let mut facts = visit.told.clone();
            let name = visit.folder_name().unwrap_or_default();
            episode::refuse_of_another(&name, &facts, code)?;
            episode::settle(&mut facts, code, &screenings);
            facts.operated = facts.operated.or(before);
            before = facts.operated;
            visit.settle(facts);
        }
        Ok(())
    }

    /// The case's visits, oldest first.
    pub fn of_case(&self) -> Vec<(&str, &OpenVisit)> {
        let mut of_case: Vec<(&str, &OpenVisit)> =
            self.iter().filter(|(_, visit)| visit.in_case).collect();
        of_case.sort_by_key(|(_, visit)| visit.path());
        of_case
    }

    /// The case's visits up to a day that the nets have to look at before a plan is made.
    pub fn to_look_at(&self, day: Date) -> Vec<String> {
        let of_case = self.of_case().into_iter();
        of_case
            .filter(|(_, visit)| visit.facts.date.is_none_or(|date| date <= day))
            .filter(|(_, visit)| visit.recorded().is_none())
            .map(|(id, _)| id.to_owned())
            .collect()
    }

    /// The case's visits as they are reviewed now, or as they were recorded where nobody looked at
    /// them so far, oldest first.
    pub fn filed(&self) -> Vec<Filed> {
        let of_case = self.of_case().into_iter();
        of_case
            .map(|(_, visit)| Filed {
                visit: visit.recorded().unwrap_or_else(|| visit.visit()),
                own_limit: visit.told.arm_limit_deg,
            })
            .collect()
    }

    /// The record of a visit of the case that another program wrote since it was read here.
    pub fn written_by_another(&self) -> Result<Option<String>, Trouble> {
        for (_, visit) in self.of_case() {
            let Some(folder) = &visit.folder else {
                continue;
            };
            let there = Kept::read(&folder.path).map_err(Trouble::fault)?;
            if there.checksum != folder.kept.checksum {
                return Ok(visit.folder_name());
            }
        }
        Ok(None)
    }

    /// Refuses visits of the case that are not as they were filed, or there twice.
    pub fn refuse_changed(&self) -> Result<(), Trouble> {
        let of_case = self.of_case();
        let is_anew = |folder: &str| {
            let mut anew = of_case
                .iter()
                .filter(|(_, visit)| visit.recorded().is_none());
            anew.any(|(_, visit)| visit.folder_name().as_deref() == Some(folder))
        };
        self.case()?.refuse_changed(is_anew)?;
        let filed = self.filed();
        Ok(episode::refuse_twice(
            filed.iter().map(|filed| &filed.visit),
        )?)
    }

    /// Whether every visit that is filed in the case is open here.
    pub fn knows_all_of_case(&self) -> Result<bool, Trouble> {
        let open: Vec<_> = self
            .of_case()
            .iter()
            .filter_map(|(_, visit)| visit.path()?.file_name())
            .collect();
        let filed = self.case()?.visits()?;
        Ok(filed
            .iter()
            .all(|folder| folder.file_name().is_some_and(|name| open.contains(&name))))
    }

    /// What the visits with photos are called that are not in the case.
    pub fn outside_case(&self) -> Vec<String> {
        let numbered = self.open.iter().map(|(_, visit)| visit).zip(1..);
        numbered
            .filter(|(visit, _)| !visit.in_case && visit.photo_count() > 0)
            .map(|(visit, number)| visit.facts.title(number))
            .collect()
    }

    /// Whether what is sent may be filed in a case.
    pub fn has_case(&self) -> bool {
        self.case.is_some()
    }

    /// Whether a visit was begun here and can be filed in the case.
    pub fn may_file(&self, visit: &OpenVisit) -> bool {
        self.case.is_some() && visit.folder.is_none()
    }

    /// How a visit that was begun here is filed in the case, where it can be.
    pub fn filing(&self, id: &str, today: Date) -> Result<Filing, Trouble> {
        let case = self.case()?;
        let visit = self.get(id)?;
        if visit.folder.is_some() {
            return Err(Trouble::conflict(
                "This visit lies in a folder already.",
                "Save it there; only a visit that was begun on this page is filed.",
            ));
        }
        if visit.photos.is_empty() {
            return Err(Trouble::unusable(
                "This visit has no photos so far.",
                "Add its photos, then file it.",
            ));
        }
        let (Some(label), Some(date)) = (&visit.facts.label, visit.facts.date) else {
            return Err(Trouble::unusable(
                "A visit is filed under its day and a name, and one of them is missing.",
                "Enter both under “Facts”, then file it.",
            ));
        };
        if date > today {
            return Err(Trouble::unusable(
                format!("{date} is still to come."),
                "Correct the date under “Facts”, or the clock of this machine.",
            ));
        }
        let mut photos = visit.photos.iter().map(|photo| &photo.record.file);
        if let Some(file) = photos.find(|file| !photo::is_photo_name(Path::new(file))) {
            return Err(Trouble::unusable(
                format!("{file} would not be known for a photo in the folder."),
                format!(
                    "Begin a visit anew with photos whose names end in {}.",
                    photo::ENDINGS.join(", ")
                ),
            ));
        }
        case.refuse_filed(date, label)?;
        let earlier = case.facts_before(date)?;
        let told = VisitFacts {
            stature_cm: visit.facts.stature_cm.or(earlier.stature_cm),
            operated: visit.facts.operated.or(earlier.operated),
            ..visit.facts.clone()
        };
        let mut facts = told.clone();
        episode::settle(&mut facts, &case.about.code, &case.screenings()?);
        Ok(Filing {
            date,
            label: label.clone(),
            told,
            facts,
        })
    }

    /// Files a visit in the case: its photos bare, and as they were looked at with its facts there, where
    /// they had to be.
    pub fn file(
        &mut self,
        id: &str,
        filing: Filing,
        looked: Vec<OpenPhoto>,
        photos: &[Bare],
        today: Date,
    ) -> Result<(), Trouble> {
        let case = self.case()?.clone();
        // Before anything changes here.
        let mut writing = case.write()?;
        let open = self.get_mut(id)?;
        open.learn(filing.facts, looked)?;
        let mut visit = open.visit();
        // What a screening set is the screening's, and may change with it.
        visit.facts.arm_limit_deg = filing.told.arm_limit_deg;
        let new = NewVisit {
            date: filing.date,
            label: &filing.label,
            visit: &visit,
            photos,
        };
        let (folder, _) = episode::file(&mut writing, &new, today)?;
        open.told = filing.told;
        open.lies_in(folder);
        self.settle()?;
        Ok(())
    }

    /// Opens a visit that has no folder and no photos so far.
    pub fn begin(&mut self, facts: VisitFacts) -> Result<String, Trouble> {
        if self.open.len() >= MOST_VISITS {
            return Err(Trouble::conflict(
                format!("{MOST_VISITS} visits are open already."),
                "Save what is to be kept, then stop tragus and start it anew.",
            ));
        }
        Ok(self.put(OpenVisit::new(facts)))
    }

    fn put(&mut self, visit: OpenVisit) -> String {
        let id = format!("v{}", self.open.len() + 1);
        self.open.push((id.clone(), visit));
        id
    }

    pub fn iter(&self) -> impl Iterator<Item = (&str, &OpenVisit)> {
        self.open.iter().map(|(id, visit)| (id.as_str(), visit))
    }

    pub fn get(&self, id: &str) -> Result<&OpenVisit, Trouble> {
        let known = self.open.iter().find(|(known, _)| known == id);
        known
            .map(|(_, visit)| visit)
            .ok_or_else(|| Trouble::gone("visit"))
    }

    pub fn get_mut(&mut self, id: &str) -> Result<&mut OpenVisit, Trouble> {
        let known = self.open.iter_mut().find(|(known, _)| known == id);
        known
            .map(|(_, visit)| visit)
            .ok_or_else(|| Trouble::gone("visit"))
    }

    /// What a visit that says nothing of itself is called by: its number, counted from 1.
    pub fn number(&self, id: &str) -> usize {
        let place = self.open.iter().position(|(known, _)| known == id);
        place.unwrap_or_default() + 1
    }

    /// What the visits are called that would lose something if the program ended now.
    pub fn unsaved(&self) -> Vec<String> {
        let numbered = self.open.iter().map(|(_, visit)| visit).zip(1..);
        numbered
            .filter(|(visit, _)| !visit.saved && visit.photo_count() > 0)
            .map(|(visit, number)| visit.facts.title(number))
            .collect()
    }

    /// Whether so many more bytes of photos fit into memory.
    pub fn have_room(&self, bytes: usize) -> bool {
        let held: usize = self.open.iter().map(|(_, visit)| visit.held()).sum();
        held + bytes <= MOST_BYTES
    }
}

/// A visit on its way into the case.
pub struct Filing {
    date: Date,
    label: String,
    /// Its own facts, and the stature and side that earlier visits tell.
    told: VisitFacts,
    /// With what the case's screenings say of its day.
    pub facts: VisitFacts,
}

/// A visit that is open.
pub struct OpenVisit {
    /// With what the case's screenings say of its day.
    pub facts: VisitFacts,
    /// What was told of the visit itself.
    told: VisitFacts,
    pub in_case: bool,
    folder: Option<Folder>,
    /// Photos of the folder that nobody asked for so far.
    unseen: VecDeque<PathBuf>,
    photos: Vec<OpenPhoto>,
    /// One more with each change.
    pub revision: u64,
    /// Whether everything that a hand did is on the disk, or was handed over.
    pub saved: bool,
}

/// Where a visit is saved.
struct Folder {
    path: PathBuf,
    kept: Kept,
}

/// The record that lay in the folder when it was last read or written.
#[derive(Default)]
struct Kept {
    checksum: Option<String>,
    visit: Option<Visit>,
}

/// A photo that the nets have looked at.
pub struct OpenPhoto {
    source: Source,
    looked: Looked,
    /// Where the program itself has the landmarks.
    own: BTreeMap<Landmark, Located>,
    /// In the order of their names, as in a file of landmarks.
    by_hand: BTreeMap<String, ManualPoint>,
    record: PhotoRecord,
    readings: Vec<Reading>,
    /// A JPEG for the screen, where the photo can be read.
    shown: Option<Arc<[u8]>>,
    /// The day that the photo says, as it came.
    pub day: Option<Date>,
}

/// Where the bytes of a photo are.
#[derive(Clone)]
pub enum Source {
    Memory(Arc<[u8]>),
    File(PathBuf),
}

impl Source {
    pub fn bytes(&self) -> Result<Vec<u8>, String> {
        match self {
            Source::Memory(bytes) => Ok(bytes.to_vec()),
            Source::File(path) => photo::read_bytes(path),
        }
    }

    /// The photo as it is filed: it was bare when it was looked at.
    pub fn bare(&self) -> Result<Bare, Trouble> {
        let bytes = self.bytes().map_err(Trouble::fault)?;
        Ok(Bare::of(&bytes, Limits::default())?)
    }
}

/// A landmark that a hand moves, places or gives back.
pub struct Move {
    pub photo: usize,
    pub landmark: Landmark,
    /// Where whoever moves it saw it placed by hand.
    pub from: Option<Point<Photo>>,
    pub to: Option<Point<Photo>>,
}

/// Positions go out to a hundredth of a pixel.
const SAME_PLACE: f64 = 0.01;

impl OpenVisit {
    fn new(facts: VisitFacts) -> OpenVisit {
        OpenVisit {
            told: facts.clone(),
            facts,
            in_case: false,
            folder: None,
            unseen: VecDeque::new(),
            photos: Vec::new(),
            revision: 1,
            saved: true,
        }
    }

    fn of_folder(folder: VisitFolder) -> OpenVisit {
        // One that can't be read now is not written over later either.
        let kept = Kept::read(&folder.path).unwrap_or_default();
        let facts = match &kept.visit {
            Some(visit) => reviewed(visit.facts.clone(), &folder.facts),
            None => folder.facts,
        };
        OpenVisit {
            unseen: folder.photos.into(),
            folder: Some(Folder {
                path: folder.path,
                kept,
            }),
            ..OpenVisit::new(facts)
        }
    }

    pub fn photo_count(&self) -> usize {
        self.photos.len() + self.unseen.len()
    }

    pub fn path(&self) -> Option<&Path> {
        Some(&self.folder.as_ref()?.path)
    }

    /// The visit by its record, where nobody looked at its photos so far.
    fn recorded(&self) -> Option<Visit> {
        let kept = self.folder.as_ref()?.kept.visit.as_ref()?;
        let is_looked_at = self.unseen.is_empty() && !self.photos.is_empty();
        (!is_looked_at).then(|| Visit {
            facts: self.facts.clone(),
            ..kept.clone()
        })
    }

    /// Takes facts that its case knows; no hand did anything.
    fn settle(&mut self, facts: VisitFacts) {
        if facts == self.facts {
            return;
        }
        for photo in &mut self.photos {
            photo.reckon(&facts);
        }
        self.facts = facts;
        self.revision += 1;
    }

    /// From now on the visit lies in this folder of the case, where it was filed.
    fn lies_in(&mut self, path: PathBuf) {
        for photo in &mut self.photos {
            photo.source = Source::File(path.join(&photo.record.file));
        }
        let kept = Kept::read(&path).unwrap_or_default();
        self.folder = Some(Folder { path, kept });
        self.in_case = true;
        self.saved = true;
        self.revision += 1;
    }

    /// The folder's own name, without where it lies.
    pub fn folder_name(&self) -> Option<String> {
        let path = &self.folder.as_ref()?.path;
        // A folder such as `.` has its name where it leads.
        let path = path.canonicalize().unwrap_or_else(|_| path.clone());
        Some(path.file_name()?.to_string_lossy().into_owned())
    }

    /// A photo of the folder that the nets are to look at.
    pub fn next_unseen(&self) -> Option<PathBuf> {
        self.unseen.front().cloned()
    }

    /// Takes in the photo that was looked at in place of the next unseen one, with the points that
    /// an earlier review placed in it.
    pub fn see(&mut self, mut photo: OpenPhoto) {
        self.unseen.pop_front();
        let kept = self.folder.as_ref().and_then(|folder| {
            let kept = folder.kept.visit.as_ref()?;
            kept.photos
                .iter()
                .find(|kept| kept.file == photo.record.file && kept.sha256 == photo.record.sha256)
        });
        if let Some(kept) = kept {
            photo.by_hand = points_by_hand(kept);
            photo.reckon(&self.facts);
        }
        self.photos.push(photo);
    }

    /// What it takes to look at the photos again: their names and where they are.
    pub fn sources(&self) -> Vec<(String, Source)> {
        let photos = self.photos.iter();
        photos
            .map(|photo| (photo.record.file.clone(), photo.source.clone()))
            .collect()
    }

    /// Takes other facts, and the photos as they were looked at with these, where they had to be. What a
    /// hand placed stays.
    pub fn learn(&mut self, facts: VisitFacts, looked: Vec<OpenPhoto>) -> Result<(), Trouble> {
        let mut pairs = self.photos.iter().zip(&looked);
        if let Some((photo, _)) =
            pairs.find(|(photo, anew)| photo.record.sha256 != anew.record.sha256)
        {
            return Err(Trouble::conflict(
                format!(
                    "{} was changed on the disk since this visit was opened.",
                    photo.record.file
                ),
                "Stop tragus and start it anew: points placed by hand would lie on another picture.",
            ));
        }
        for (photo, anew) in self.photos.iter_mut().zip(looked) {
            *photo = OpenPhoto {
                by_hand: std::mem::take(&mut photo.by_hand),
                day: photo.day,
                ..anew
            };
        }
        for photo in &mut self.photos {
            photo.reckon(&facts);
        }
        self.told = told(&self.told, &self.facts, &facts);
        self.facts = facts;
        self.changed();
        Ok(())
    }

    /// Whether a photo may be added.
    pub fn may_add(&self) -> Result<(), Trouble> {
        if self.folder.is_some() {
            return Err(Trouble::conflict(
                "The photos of this visit lie in a folder.",
                "Put the photo into that folder, then stop tragus and start it anew.",
            ));
        }
        if self.photos.len() >= MOST_PHOTOS {
            return Err(Trouble::conflict(
                format!("This visit has {MOST_PHOTOS} photos already."),
                "Begin another visit for more.",
            ));
        }
        Ok(())
    }

    /// The name for a photo that is added: two of one name are told apart.
    pub fn name_for(&self, said: &str) -> String {
        // Filed under names that some systems take for the same.
        let same = |one: &str, other: &str| one.to_lowercase() == other.to_lowercase();
        let photos = self.photos.iter().map(|photo| &*photo.record.file);
        free_name(said, |name| photos.clone().any(|file| same(file, name)))
    }

    /// Takes in a photo that was sent.
    pub fn add(&mut self, photo: OpenPhoto) {
        self.photos.push(photo);
        self.changed();
    }

    fn changed(&mut self) {
        self.revision += 1;
        self.saved = false;
    }

    pub fn photo(&self, index: usize) -> Option<&OpenPhoto> {
        self.photos.get(index)
    }

    /// Its photos with the days that they say.
    pub fn days(&self) -> impl Iterator<Item = (&str, Option<Date>)> {
        let photos = self.photos.iter();
        photos.map(|photo| (photo.record.file.as_str(), photo.day))
    }

    pub fn photos(&self) -> &[OpenPhoto] {
        &self.photos
    }

    /// The visit as it is now.
    pub fn visit(&self) -> Visit {
        let measured = self
            .photos
            .iter()
            .map(|photo| (photo.record.clone(), photo.readings.clone()));
        pipeline::visit_of(self.facts.clone(), measured)
    }

    /// The visit with other facts, such as an operated side that an earlier visit names.
    pub fn visit_with(&self, facts: &VisitFacts) -> Visit {
        let measured = self.photos.iter().map(|photo| photo.reckoned(facts));
        pipeline::visit_of(facts.clone(), measured)
    }

    /// Moves a landmark by hand, if it lies where whoever moves it saw it.
    pub fn place(&mut self, hand: &Move) -> Result<(), Trouble> {
        let photo = self
            .photos
            .get_mut(hand.photo)
            .ok_or_else(|| Trouble::gone("photo"))?;
        let name = hand.landmark.name();
        photo.may_place(hand)?;
        let now = photo.by_hand.get(&name).map(|point| point.at);
        let same = match (hand.from, now) {
            (None, None) => true,
            (Some(seen), Some(now)) => {
                (seen.x - now.x).abs() <= SAME_PLACE && (seen.y - now.y).abs() <= SAME_PLACE
            }
            _ => false,
        };
        if !same {
            return Err(Trouble::conflict(
                format!(
                    "{} was moved in another window meanwhile.",
                    capitalised(&hand.landmark.in_words())
                ),
                "The page shows where it is now. Move it again if that is wrong.",
            ));
        }
        match hand.to {
            Some(at) => {
                let point = ManualPoint {
                    landmark: hand.landmark,
                    at,
                    sigma_px: None,
                };
                photo.by_hand.insert(name, point);
            }
            None => {
                photo.by_hand.remove(&name);
            }
        }
        photo.reckon(&self.facts);
        self.changed();
        Ok(())
    }

    /// Writes the record into the visit's folder; `false` where it has none.
    pub fn save(&mut self, today: Date) -> Result<bool, Trouble> {
        if let Some(lost) = self.lost() {
            return Err(Trouble::conflict(
                format!(
                    "The {RECORD} that lies there holds points placed by hand in {lost}, and that photo \
                     is not here as it was."
                ),
                format!("Put the photo back, or move {RECORD} away, then start tragus anew."),
            ));
        }
        if let Some(kept) = self.recorded().filter(|kept| !kept.photos.is_empty()) {
            return Err(Trouble::conflict(
                format!(
                    "The {RECORD} that lies there tells of {} photos, and none is here.",
                    kept.photos.len()
                ),
                format!("Put the photos back, or move {RECORD} away, then start tragus anew."),
            ));
        }
        let mut visit = self.visit();
        // As in filing.
        visit.facts.arm_limit_deg = self.told.arm_limit_deg;
        let text = record::visit_to_json(&visit);
        if let Some(folder) = &mut self.folder {
            // A visit's folder may outlast its case, where something lies in it that is not the case's.
            if self.in_case && folder.path.is_dir() && Case::around(&folder.path).is_none() {
                return Err(Trouble::conflict(
                    "This visit's case is not there any more: nothing was written.",
                    "Was it removed, or moved? Stop tragus, and start it anew with the folder of a case.",
                ));
            }
            folder.write(&text, today)?;
        }
        self.saved = true;
        Ok(self.folder.is_some())
    }

    /// A photo of the kept record with points placed by hand that is not among those here.
    fn lost(&self) -> Option<&str> {
        let kept = self.folder.as_ref()?.kept.visit.as_ref()?;
        let here = |kept: &PhotoRecord| {
            self.photos
                .iter()
                .any(|photo| photo.record.file == kept.file && photo.record.sha256 == kept.sha256)
        };
        let mut photos = kept.photos.iter();
        let lost = photos.find(|photo| photo.has_by_hand() && !here(photo))?;
        Some(&lost.file)
    }

    /// Bytes of photos that lie in memory.
    fn held(&self) -> usize {
        let of = |photo: &OpenPhoto| match &photo.source {
            Source::Memory(bytes) => bytes.len(),
            Source::File(_) => 0,
        };
        self.photos.iter().map(of).sum()
    }
}

impl Folder {
    /// What another program wrote since is not written over, nor what is no record.
    fn write(&mut self, text: &str, today: Date) -> Result<(), Trouble> {
        let path = self.path.join(RECORD);
        let there = Kept::read(&self.path).map_err(|error| {
            Trouble::conflict(
                format!(
                    "The {RECORD} in the folder can't be read, so it is not written over: {error}."
                ),
                "Is the file yours? Move it away if it is not wanted, then save again.",
            )
        })?;
        if there.checksum.is_some() && there.visit.is_none() {
            return Err(Trouble::conflict(
                format!("In the folder lies a {RECORD} that is no record of a visit."),
                "Move that file away, then save again.",
            ));
        }
        // One that says the same was written before, and what follows a writing failed.
        let is_same = there.checksum.as_ref() == Some(&checksum::sha256(text.as_bytes()));
        if there.checksum.is_some() && there.checksum != self.kept.checksum && !is_same {
            return Err(Trouble::conflict(
                format!("{RECORD} was changed by another program since this visit was opened."),
                "Move that file away if it is not wanted, then save again.",
            ));
        }
        let written = episode::keep_record(&path, text.as_bytes(), today);
        written.map_err(|error| match error {
            CaseError::Io { error, path } if path.ends_with(RECORD) => Trouble::conflict(
                format!("{RECORD} could not be written: {error}."),
                "Is there room on the disk, and is the folder yours?",
            ),
            error => error.into(),
        })?;
        self.kept.checksum = Some(checksum::sha256(text.as_bytes()));
        Ok(())
    }
}

impl Kept {
    fn read(folder: &Path) -> io::Result<Kept> {
        let bytes = match case::read_plain(&folder.join(RECORD)) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => None,
            bytes => Some(bytes?),
        };
        let text = bytes
            .as_deref()
            .and_then(|bytes| str::from_utf8(bytes).ok());
        Ok(Kept {
            checksum: bytes.as_deref().map(checksum::sha256),
            visit: text.and_then(|text| record::visit_from_json(text).ok()),
        })
    }
}

/// The facts as an earlier review was told them, and what it left open as the folder has it. Of two
/// limits the lower one holds: nobody can tell here which was set last.
fn reviewed(kept: VisitFacts, folder: &VisitFacts) -> VisitFacts {
    let limits = [kept.arm_limit_deg, folder.arm_limit_deg];
    VisitFacts {
        label: kept.label.or_else(|| folder.label.clone()),
        date: kept.date.or(folder.date),
        case: kept.case.or_else(|| folder.case.clone()),
        stature_cm: kept.stature_cm.or(folder.stature_cm),
        operated: kept.operated.or(folder.operated),
        arm_limit_deg: limits.into_iter().flatten().reduce(f64::min),
        board_offset_cm: kept.board_offset_cm.or(folder.board_offset_cm),
        sticker_mm: kept.sticker_mm.or(folder.sticker_mm),
    }
}

/// What a visit itself says after somebody changed its facts: what stands there by the case's
/// screenings, and was left as it stood, is not told by the visit.
fn told(told: &VisitFacts, before: &VisitFacts, now: &VisitFacts) -> VisitFacts {
    let mut facts = now.clone();
    facts.case = told.case.clone();
    if now.operated == before.operated {
        facts.operated = told.operated;
    }
    if now.arm_limit_deg == before.arm_limit_deg {
        facts.arm_limit_deg = told.arm_limit_deg;
    }
    facts
}

/// The points that a hand placed, with the error that was stated.
fn points_by_hand(photo: &PhotoRecord) -> BTreeMap<String, ManualPoint> {
    photo
        .by_hand()
        .map(|(landmark, located)| {
            let point = ManualPoint {
                landmark,
                at: located.at,
                sigma_px: Some(located.sigma_px()),
            };
            (landmark.name(), point)
        })
        .collect()
}

/// "front.jpg", or "front (2).jpg" where that is taken.
fn free_name(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let (stem, ending) = match name.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() => (stem, format!(".{ending}")),
        _ => (name, String::new()),
    };
    let mut free = name.to_owned();
    let mut number = 2;
    while taken(&free) {
        free = format!("{stem} ({number}){ending}");
        number += 1;
    }
    free
}

impl OpenPhoto {
    /// Lets the nets look at a photo, which takes its time.
    pub fn look(
        finder: &Finder,
        facts: &VisitFacts,
        file: String,
        source: Source,
    ) -> Result<OpenPhoto, InferError> {
        let input = PhotoInput {
            file,
            bytes: source.bytes(),
            wish: Wish::default(),
            manual: Vec::new(),
            aids: Aids::default(),
        };
        let looked = pipeline::look(finder, facts, &input)?;
        let day = input.bytes.as_ref().ok();
        let day = day.and_then(|bytes| photo::day_taken(bytes));
        let shown = input.bytes.ok().and_then(|bytes| {
            let upright = picture::upright(&bytes).ok()?;
            picture::for_screen(&upright, picture::TO_PLACE).ok()
        });
        let (record, readings) = looked.reckon(facts, &[]);
        Ok(OpenPhoto {
            source,
            looked,
            own: record.landmarks.clone(),
            by_hand: BTreeMap::new(),
            record,
            readings,
            shown: shown.map(Arc::from),
            day,
        })
    }

    fn reckoned(&self, facts: &VisitFacts) -> (PhotoRecord, Vec<Reading>) {
        let by_hand: Vec<ManualPoint> = self.by_hand.values().copied().collect();
        self.looked.reckon(facts, &by_hand)
    }

    fn reckon(&mut self, facts: &VisitFacts) {
        (self.record, self.readings) = self.reckoned(facts);
    }

    pub fn shown(&self) -> Option<Arc<[u8]>> {
        self.shown.clone()
    }

    pub fn source(&self) -> &Source {
        &self.source
    }

    /// Where the program itself has a landmark.
    pub fn own(&self, landmark: Landmark) -> Option<Point<Photo>> {
        self.own.get(&landmark).map(|located| located.at)
    }

    /// The landmarks that a measure of this photo is read from, in the order of files.
    pub fn placeable(&self) -> Vec<Landmark> {
        let (Some(view), Some(task)) = (self.record.view, self.record.task) else {
            return Vec::new();
        };
        let needed: Vec<Landmark> = Measure::ALL
            .into_iter()
            .filter(|measure| measure.applies(view, task))
            .flat_map(|measure| {
                let sides = measure.sides(view);
                sides.into_iter().flat_map(move |side| measure.needs(side))
            })
            .collect();
        Landmark::all()
            .filter(|landmark| needed.contains(landmark))
            .collect()
    }

    fn may_place(&self, hand: &Move) -> Result<(), Trouble> {
        // What an earlier review or a file of landmarks placed may be taken away everywhere.
        let Some(to) = hand.to else {
            return Ok(());
        };
        if !self.placeable().contains(&hand.landmark) {
            return Err(Trouble::unusable(
                format!(
                    "No measure of this photo is read from {}.",
                    hand.landmark.in_words()
                ),
                "Place it in a photo that shows it.",
            ));
        }
        let inside = self.record.size.is_some_and(|(width, height)| {
            (0.0..=f64::from(width)).contains(&to.x) && (0.0..=f64::from(height)).contains(&to.y)
        });
        if !inside {
            return Err(Trouble::unusable(
                "This place lies outside of the photo.",
                "Place the landmark within the photo.",
            ));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_photos_of_one_name_are_told_apart() {
        let taken = |name: &str| ["a.jpg", "a (2).jpg", "b"].contains(&name);
        assert_eq!(free_name("a.jpg", taken), "a (3).jpg");
        assert_eq!(free_name("b", taken), "b (2)");
        assert_eq!(free_name("c.jpg", taken), "c.jpg");
    }

    #[test]
    fn a_strange_record_is_not_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(RECORD);
        std::fs::write(&path, "notes").unwrap();
        let lone = VisitFolder {
            path: folder.path().to_owned(),
            facts: VisitFacts::default(),
            photos: Vec::new(),
        };
        let mut visits = Visits::of_folders(vec![lone], None).unwrap();
        let today = "2026-03-10".parse().unwrap();
        assert!(visits.get_mut("v1").unwrap().save(today).is_err());
        assert_eq!(std::fs::read(&path).unwrap(), b"notes");
        std::fs::remove_file(&path).unwrap();
        assert!(visits.get_mut("v1").unwrap().save(today).is_ok());
        // What another program makes of it is not written over either.
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, text.replace("[]", "[ ]")).unwrap();
        assert!(visits.get_mut("v1").unwrap().save(today).is_err());
    }
}

//! One person's episode of care as a folder of plain files, under a code.
//!
//! ```text
//! CASE/case.json                         the code, and what norms go by
//! CASE/visits/2026-03-10-intake/         photos, visit.json, record.json
//! CASE/screenings/2026-03-10.json        what was asked on that day
//! CASE/plans/2026-03-10.json             what was proposed and approved, and its sheets
//! CASE/documents/2026-08-11-letter.pdf   what was written of it, to be handed on or filed
//! CASE/checksums.sha256                  of every file, for `sha256sum --check`
//! ```
//!
//! Reading takes no lock. [`Writing`] holds the case against a second writer; each file it writes is
//! either the old one or the whole new one, and the list of checksums knows both ([`checksums`]).

pub mod checksums;
mod forget;
mod held;
mod verify;

use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::civil::Date;
use thiserror::Error;

pub use self::forget::{Kind, Removal};
pub use self::held::read_plain;
pub use self::verify::{Damage, Fault, Verification, accept, verify, verify_by};

use self::checksums::{CHECKSUMS, Checksums, Standing};
use crate::care::plan::Previous;
use crate::care::{About, Screening};
use crate::checksum::sha256;
use crate::photo::{self, Bare};
use crate::record::{self, KeptPlan, RecordError};
use crate::visit::{Visit, VisitFacts};

const CASE: &str = "case.json";
const LOCK: &str = ".lock";
const VISITS: &str = "visits";
const SCREENINGS: &str = "screenings";
const PLANS: &str = "plans";
/// Where documents are written, unless another folder is named.
pub const DOCUMENTS: &str = "documents";
/// After the day in the name of a file that another has replaced.
const SUPERSEDED: &str = "-superseded-";
/// Before the name of a visit's folder while it is filled.
const FILLING: &str = ".new-";
/// The file in a visit's folder that its record is saved to.
pub const RECORD: &str = "record.json";
/// What is known about a visit besides its photos.
pub const FACTS: &str = "visit.json";

/// A case that can be read.
#[derive(Clone)]
pub struct Case {
    folder: PathBuf,
    pub about: About,
}

/// A visit to be filed.
pub struct NewVisit<'a> {
    pub date: Date,
    pub label: &'a str,
    /// With a record of every photo, in the same order.
    pub visit: &'a Visit,
    /// What was measured, and nothing else of what a camera writes.
    pub photos: &'a [Bare],
}

impl NewVisit<'_> {
    /// Refuses photos that no case can hold, or not these measures of them.
    pub fn check(&self) -> Result<(), CaseError> {
        Case::refuse_label(self.label)?;
        // Some systems take large and small letters for the same.
        let mut names = BTreeSet::new();
        for (photo, bare) in self.visit.photos.iter().zip(self.photos) {
            if !names.insert(photo.file.to_lowercase()) {
                return Err(CaseError::SameName(photo.file.clone().into()));
            }
            if !checksums::is_inside(&photo.file) {
                return Err(CaseError::Name(photo.file.clone().into()));
            }
            if photo.sha256.as_deref() != Some(&sha256(bare.bytes())) {
                return Err(CaseError::Moved(photo.file.clone().into()));
            }
        }
        Ok(())
    }
}

/// A file that is there and can't be read.
pub struct Unreadable {
    pub file: String,
    pub why: String,
}

impl Case {
    /// Whether a folder is a case.
    pub fn is_one(folder: &Path) -> bool {
        folder.join(CASE).is_file()
    }

    /// The case that a visit's folder lies in.
    pub fn around(visit: &Path) -> Option<PathBuf> {
        let visit = visit.canonicalize().ok()?;
        let visits = visit.parent()?;
        let case = visits.parent()?;
        (visits.file_name()? == VISITS && Case::is_one(case)).then(|| case.to_owned())
    }

    pub fn open(folder: &Path) -> Result<Case, CaseError> {
        let path = folder.join(CASE);
        let text = match fs::read_to_string(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Err(CaseError::none(folder));
            }
            Err(_) if folder.is_file() => return Err(CaseError::none(folder)),
            text => text.map_err(|error| CaseError::io(&path, error))?,
        };
        let about =
            record::about_from_json(&text).map_err(|error| CaseError::record(&path, error))?;
        Ok(Case {
            folder: folder.to_owned(),
            about,
        })
    }

    /// Makes a case in a folder that is empty or not there.
    pub fn begin(folder: &Path, about: About) -> Result<Case, CaseError> {
        Case::refuse_begun(folder)?;
        fs::create_dir_all(folder).map_err(|error| CaseError::io(folder, error))?;
        let case = Case {
            folder: folder.to_owned(),
            about,
        };
        let text = record::about_to_json(&case.about);
        let mut writing = case.hold()?;
        // Another program has begun one meanwhile.
        Case::refuse_begun(folder).map_err(|_| CaseError::Locked(folder.to_owned()))?;
        writing.keep(CASE, text.as_bytes())?;
        drop(writing);
        Ok(case)
    }

    /// Refuses a folder that a case can't begin in. What a beginning that was stopped left does no harm: a
    /// list without a file. One with files is what is left of another case.
    pub fn refuse_begun(folder: &Path) -> Result<(), CaseError> {
        let lists_nothing =
            || read_checksums(folder).is_ok_and(|list| list.files().next().is_none());
        match names(folder)?.as_slice() {
            [] => Ok(()),
            [only] if only == CHECKSUMS && lists_nothing() => Ok(()),
            _ => Err(CaseError::NotEmpty(folder.to_owned())),
        }
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The folders of its visits, oldest first.
    pub fn visits(&self) -> Result<Vec<PathBuf>, CaseError> {
        let folder = self.folder.join(VISITS);
        Ok(names(&folder)?
            .into_iter()
            .map(|name| folder.join(name))
            .filter(|path| path.is_dir())
            .collect())
    }

    /// Refuses a label that can't be part of a folder's name.
    pub fn refuse_label(label: &str) -> Result<(), CaseError> {
        const MOST_BYTES: usize = 150;
        match slug(label).len() > MOST_BYTES {
            true => Err(CaseError::Label(label.into())),
            false => Ok(()),
        }
    }

    /// Refuses a visit of the same day and label as one that is there.
    pub fn refuse_filed(&self, date: Date, label: &str) -> Result<(), CaseError> {
        let folder = self.visit_folder(date, label);
        match folder.exists() {
            true => Err(CaseError::Filed(folder)),
            false => Ok(()),
        }
    }

    fn visit_folder(&self, date: Date, label: &str) -> PathBuf {
        self.folder
            .join(VISITS)
            .join(format!("{date}-{}", slug(label)))
    }

    /// Refuses a case in which facts or the record of a visit are not as they were written, or the photos of
    /// a visit that is measured anew, as one without a record always is. What became of a photo beside a
    /// record is for the report to say; what somebody put into the case by hand, the list does not know.
    pub fn refuse_changed(&self, is_anew: impl Fn(&str) -> bool) -> Result<(), CaseError> {
        let list = read_checksums(&self.folder)?;
        for file in list.files() {
            let parts: Vec<&str> = file.split('/').collect();
            let is_used = match parts[..] {
                [VISITS, _, FACTS | RECORD] => true,
                [VISITS, visit, name] if photo::is_photo_name(Path::new(name)) => {
                    is_anew(visit) || !list.is_listed(&format!("{VISITS}/{visit}/{RECORD}"))
                }
                _ => false,
            };
            if is_used {
                self.as_filed(file)?;
            }
        }
        Ok(())
    }

    /// The bytes of a file, unless the list knows others; `None` where it is gone and not missed.
    fn as_filed(&self, file: &str) -> Result<Option<Vec<u8>>, CaseError> {
        let path = self.folder.join(file);
        let look = || {
            let changed = || CaseError::Changed(path.clone());
            let bytes = match held::read_plain(&path) {
                Err(error) if error.kind() == io::ErrorKind::NotFound => None,
                bytes => Some(bytes.map_err(|error| CaseError::io(&path, error))?),
            };
            // After the file: what another program took away meanwhile is off the list by now.
            let list = read_checksums(&self.folder)?;
            match &bytes {
                None if list.is_listed(file) && !list.is_removing(file) => Err(changed()),
                Some(bytes) if list.standing(file, &sha256(bytes)) == Standing::Changed => {
                    Err(changed())
                }
                _ => Ok(bytes),
            }
        };
        // Another program may be writing at this moment: then the list has gone on meanwhile.
        look().or_else(|_| look())
    }

    /// What earlier visits know of the person: the latest word on each.
    pub fn facts_before(&self, date: Date) -> Result<VisitFacts, CaseError> {
        let mut known = VisitFacts::default();
        for folder in self.visits()? {
            let path = folder.join(FACTS);
            let name = folder.file_name().unwrap_or_default().to_string_lossy();
            let Some(bytes) = self.as_filed(&format!("{VISITS}/{name}/{FACTS}"))? else {
                continue;
            };
            let text = as_text(&path, bytes)?;
            let facts =
                record::facts_from_json(&text).map_err(|error| CaseError::record(&path, error))?;
            if facts.date.is_none_or(|of| of <= date) {
                known.stature_cm = facts.stature_cm.or(known.stature_cm);
                known.operated = facts.operated.or(known.operated);
            }
        }
        Ok(known)
    }

    /// The lowest limit that visits were told since a day, as their records or facts have it.
    pub fn limit_told_since(&self, day: Option<Date>) -> Result<Option<f64>, CaseError> {
        let mut lowest: Option<f64> = None;
        self.refuse_changed(|_| false)?;
        for folder in self.visits()? {
            let text = |name: &str| fs::read_to_string(folder.join(name)).ok();
            let recorded = text(RECORD).and_then(|text| record::visit_from_json(&text).ok());
            let facts = recorded
                .map(|visit| visit.facts)
                .or_else(|| text(FACTS).and_then(|text| record::facts_from_json(&text).ok()));
            let Some(facts) = facts else { continue };
            if day.is_none_or(|day| facts.date.is_none_or(|of| of >= day)) {
                lowest = [lowest, facts.arm_limit_deg]
                    .into_iter()
                    .flatten()
                    .reduce(f64::min);
            }
        }
        Ok(lowest)
    }

    /// What was asked, oldest first.
    pub fn screenings(&self) -> Result<Vec<Screening>, CaseError> {
        self.read_all(SCREENINGS, is_in_force, record::screening_from_json)
    }

    /// The last screening up to a day.
    pub fn screening_on(&self, day: Date) -> Result<Option<Screening>, CaseError> {
        let screenings = self.screenings()?;
        Ok(screenings
            .into_iter()
            .rev()
            .find(|screening| screening.date <= day))
    }

    /// What was planned, oldest first.
    pub fn plans(&self) -> Result<Vec<KeptPlan>, CaseError> {
        self.read_all(PLANS, is_in_force, record::plan_from_json)
    }

    /// The last plan that was approved before a day, also one that another has replaced: its exercises
    /// were done.
    pub fn plan_before(&self, day: Date) -> Result<Option<Previous>, CaseError> {
        let all = self.read_all(PLANS, |_| true, record::plan_from_json)?;
        let mut plans = all.into_iter().rev();
        Ok(plans
            .find(|kept| kept.approved.is_some() && kept.plan.date < day)
            .map(|kept| kept.plan))
    }

    /// The plan of a day as it was kept.
    pub fn plan_of(&self, day: Date) -> Result<Option<String>, CaseError> {
        let path = self.folder.join(PLANS).join(format!("{day}.json"));
        match fs::read_to_string(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            text => Ok(Some(text.map_err(|error| CaseError::io(&path, error))?)),
        }
    }

    /// A file of a plan as it was written, where there is one: what became of it since is not to be
    /// handed out.
    pub fn plan_file(&self, name: &str) -> Result<Option<Vec<u8>>, CaseError> {
        let file = format!("{PLANS}/{name}");
        let path = self.folder.join(&file);
        let bytes = match held::read_plain(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            bytes => bytes.map_err(|error| CaseError::io(&path, error))?,
        };
        let checksums = read_checksums(&self.folder)?;
        match checksums.standing(&file, &sha256(&bytes)) {
            Standing::Whole => Ok(Some(bytes)),
            Standing::Changed | Standing::Unlisted => Err(CaseError::Damaged(path)),
        }
    }

    /// Those of its plans that can't be read.
    pub fn unreadable_plans(&self) -> Result<Vec<Unreadable>, CaseError> {
        let each = self.read_each(PLANS, |_| true, record::plan_from_json)?;
        let unreadable = each.filter_map(|(name, read)| {
            let why = match read.err()? {
                CaseError::Record { error, .. } => error.to_string(),
                CaseError::Io { error, .. } => error.to_string(),
                other => other.to_string(),
            };
            let file = format!("{PLANS}/{name}");
            Some(Unreadable { file, why })
        });
        Ok(unreadable.collect())
    }

    /// What was planned, oldest first, as far as it can be read.
    pub fn readable_plans(&self) -> Result<Vec<KeptPlan>, CaseError> {
        let each = self.read_each(PLANS, is_in_force, record::plan_from_json)?;
        Ok(each.filter_map(|(_, read)| read.ok()).collect())
    }

    fn read_all<T: OfADay>(
        &self,
        kind: &str,
        wanted: impl Fn(&str) -> bool,
        read: impl Fn(&str) -> Result<T, RecordError>,
    ) -> Result<Vec<T>, CaseError> {
        let each = self.read_each(kind, wanted, read)?;
        each.map(|(_, read)| read).collect()
    }

    /// Each file of a kind by its name.
    fn read_each<T: OfADay>(
        &self,
        kind: &str,
        wanted: impl Fn(&str) -> bool,
        read: impl Fn(&str) -> Result<T, RecordError>,
    ) -> Result<impl Iterator<Item = (String, Result<T, CaseError>)>, CaseError> {
        let folder = self.folder.join(kind);
        let mut names: BTreeSet<String> = names(&folder)?.into_iter().collect();
        // Answers that are gone are missed: earlier ones would pass for the last. A plan is made anew.
        if kind == SCREENINGS {
            let list = read_checksums(&self.folder)?;
            let listed = list.files().filter_map(|file| file.strip_prefix(kind));
            let listed = listed.filter_map(|file| file.strip_prefix('/'));
            names.extend(
                listed
                    .filter(|name| day_in(name).is_some())
                    .map(str::to_owned),
            );
        }
        let names = names.into_iter();
        let names = names.filter(move |name| name.ends_with(".json") && wanted(name));
        Ok(names.filter_map(move |name| {
            let path = folder.join(&name);
            let read = || {
                let day = day_in(&name).ok_or_else(|| CaseError::Stray(path.clone()))?;
                let Some(bytes) = self.as_filed(&format!("{kind}/{name}"))? else {
                    return Ok(None);
                };
                let text = as_text(&path, bytes)?;
                let kept = read(&text).map_err(|error| CaseError::record(&path, error))?;
                match kept.day() == day {
                    true => Ok(Some(kept)),
                    false => Err(CaseError::Stray(path.clone())),
                }
            };
            let read = read().transpose()?;
            Some((name, read))
        }))
    }

    /// Holds the case for writing, unless another program does, or has removed it.
    pub fn write(&self) -> Result<Writing<'_>, CaseError> {
        let refuse_gone = || match Case::is_one(&self.folder) {
            true => Ok(()),
            false => Err(CaseError::none(&self.folder)),
        };
        refuse_gone()?;
        let writing = self.hold()?;
        refuse_gone()?;
        Ok(writing)
    }

    fn hold(&self) -> Result<Writing<'_>, CaseError> {
        let lock = lock(&self.folder)?;
        let mut writing = Writing {
            case: self,
            checksums: read_checksums(&self.folder)?,
            _lock: lock,
        };
        writing.tidy()?;
        Ok(writing)
    }
}

/// A folder that is held. It is let go of in so many words: a program that is being started at this moment
/// has a copy of every open file, and would hold it a little longer.
struct Lock(File);

impl Drop for Lock {
    fn drop(&mut self) {
        // The system does it anyway, once nobody has the file open.
        let _ = self.0.unlock();
    }
}

/// Holds a case's folder against other programs that write.
fn lock(folder: &Path) -> Result<Lock, CaseError> {
    let path = folder.join(LOCK);
    // Whoever may write into the folder could have put a link there.
    let lock = held::open_lock(&path).map_err(|error| CaseError::io(&path, error))?;
    match lock.try_lock() {
        Ok(()) => Ok(Lock(lock)),
        Err(TryLockError::WouldBlock) => Err(CaseError::Locked(folder.to_owned())),
        Err(TryLockError::Error(error)) => Err(CaseError::io(&path, error)),
    }
}

/// A case that no other program writes into meanwhile. The system lets go of it when the program
/// ends, however it ends.
pub struct Writing<'a> {
    case: &'a Case,
    checksums: Checksums,
    _lock: Lock,
}

impl Writing<'_> {
    pub fn case(&self) -> &Case {
        self.case
    }

    /// Ends what a program that was stopped had begun. Where a link leads, nothing is the case's.
    fn tidy(&mut self) -> Result<(), CaseError> {
        let mut folders = vec![self.case.folder.clone()];
        let visits = self.case.folder.join(VISITS);
        if is_folder(&visits) {
            for name in all_names(&visits)? {
                if name.starts_with(FILLING) {
                    let half = visits.join(name);
                    fs::remove_dir_all(&half).map_err(|error| CaseError::io(&half, error))?;
                }
            }
            folders.extend(self.case.visits()?);
        }
        if self.checksums.is_unsettled() {
            self.settle()?;
        }
        folders.extend([SCREENINGS, PLANS, DOCUMENTS].map(|kind| self.case.folder.join(kind)));
        let folders = folders.iter().filter(|folder| is_folder(folder));
        folders.for_each(|folder| clear_temporary(folder));
        Ok(())
    }

    /// Writes a file, in place of what stood there.
    pub fn keep(&mut self, file: &str, bytes: &[u8]) -> Result<PathBuf, CaseError> {
        self.keep_after(file, bytes, |_| Ok(()))
    }

    /// The same; what is to come before is done once the file is on the disk, and before it is in its
    /// place.
    fn keep_after(
        &mut self,
        file: &str,
        bytes: &[u8],
        before: impl FnOnce(&mut Self) -> Result<(), CaseError>,
    ) -> Result<PathBuf, CaseError> {
        let path = self.case.folder.join(file);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(|error| CaseError::io(folder, error))?;
        }
        let io = |error| CaseError::io(&path, error);
        let new = record::write_beside(&path, bytes).map_err(io)?;
        before(self)?;
        self.announced(&[(file.to_owned(), sha256(bytes))], || {
            new.put().map_err(io)
        })?;
        Ok(path)
    }

    /// Keeps what was asked on a day.
    pub fn keep_screening(&mut self, screening: &Screening) -> Result<PathBuf, CaseError> {
        let text = record::screening_to_json(screening);
        let day = screening.date.to_string();
        self.set_aside(SCREENINGS, &day, "json", text.as_bytes())?;
        self.keep(
            &format!("{SCREENINGS}/{}.json", screening.date),
            text.as_bytes(),
        )
    }

    /// Keeps a file of the plan of a day: its JSON or one of its sheets.
    pub fn keep_plan(&mut self, name: &str, bytes: &[u8]) -> Result<PathBuf, CaseError> {
        self.keep(&format!("{PLANS}/{name}"), bytes)
    }

    /// Keeps a day's plan, JSON. One that was approved and said something else stays beside it.
    pub fn keep_plan_of(&mut self, day: Date, text: &str) -> Result<PathBuf, CaseError> {
        if self.is_approved(day)? {
            self.set_aside(PLANS, &day.to_string(), "json", text.as_bytes())?;
        }
        self.keep_plan(&format!("{day}.json"), text.as_bytes())
    }

    /// Takes a day's plan away; one that was approved stays under another name.
    pub fn drop_plan_of(&mut self, day: Date) -> Result<(), CaseError> {
        if self.is_approved(day)? {
            self.set_aside(PLANS, &day.to_string(), "json", b"")?;
        }
        self.drop_plan(&format!("{day}.json"))
    }

    fn is_approved(&self, day: Date) -> Result<bool, CaseError> {
        let kept = self.case.plan_of(day)?;
        let kept = kept.and_then(|text| record::plan_from_json(&text).ok());
        Ok(kept.is_some_and(|kept| kept.approved.is_some()))
    }

    /// What was kept, and is about to be replaced by something else, gets another name. In the order of
    /// names it comes before the one that replaces it.
    fn set_aside(
        &mut self,
        kind: &str,
        stem: &str,
        ending: &str,
        new: &[u8],
    ) -> Result<(), CaseError> {
        let path = self.case.folder.join(kind).join(format!("{stem}.{ending}"));
        let old = match fs::read(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            old => old.map_err(|error| CaseError::io(&path, error))?,
        };
        if old == new {
            return Ok(());
        }
        let file = (1..)
            .map(|number| format!("{kind}/{stem}{SUPERSEDED}{number}.{ending}"))
            .find(|file| !self.case.folder.join(file).exists())
            .expect("a number that is free");
        self.keep(&file, &old).map(drop)
    }

    /// Keeps a document, in place of an earlier one of that name.
    pub fn keep_document(&mut self, name: &str, bytes: &[u8]) -> Result<PathBuf, CaseError> {
        self.keep(&format!("{DOCUMENTS}/{name}"), bytes)
    }

    /// Keeps a document that a clinician has read. An earlier one of that name that says something else
    /// stays beside it.
    pub fn keep_read_document(
        &mut self,
        stem: &str,
        ending: &str,
        bytes: &[u8],
    ) -> Result<PathBuf, CaseError> {
        self.set_aside(DOCUMENTS, stem, ending, bytes)?;
        self.keep_document(&format!("{stem}.{ending}"), bytes)
    }

    /// Takes a file of a day's plan away, where there is one.
    pub fn drop_plan(&mut self, name: &str) -> Result<(), CaseError> {
        self.drop(&format!("{PLANS}/{name}"))
    }

    /// Takes a document away, where there is one.
    pub fn drop_document(&mut self, name: &str) -> Result<(), CaseError> {
        self.drop(&format!("{DOCUMENTS}/{name}"))
    }

    fn drop(&mut self, file: &str) -> Result<(), CaseError> {
        let path = self.case.folder.join(file);
        if !path.exists() && !self.checksums.knows(file) {
            return Ok(());
        }
        self.checksums.announce_removal(file);
        self.write_list()?;
        let outcome = match fs::remove_file(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            removed => removed.map_err(|error| CaseError::io(&path, error)),
        };
        self.settle()?;
        outcome
    }

    /// Files a visit: all of it, or nothing. What is to come before is done once everything is written
    /// that could be refused, and before the visit is there.
    pub fn file(
        &mut self,
        new: &NewVisit,
        before: impl FnOnce(&mut Self) -> Result<(), CaseError>,
    ) -> Result<PathBuf, CaseError> {
        new.check()?;
        self.case.refuse_filed(new.date, new.label)?;
        let visits = self.case.folder.join(VISITS);
        let folder = self.case.visit_folder(new.date, new.label);
        let name = folder
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        fs::create_dir_all(&visits).map_err(|error| CaseError::io(&visits, error))?;
        let filling = filling_in(&visits).map_err(|error| CaseError::io(&visits, error))?;
        let mut announced = Vec::new();
        let mut put = |file: &str, bytes: &[u8]| -> Result<(), CaseError> {
            let path = filling.path().join(file);
            let written = File::create_new(&path)
                .and_then(|mut copy| copy.write_all(bytes).and_then(|()| copy.sync_all()));
            written.map_err(|error| CaseError::io(&path, error))?;
            announced.push((format!("{VISITS}/{name}/{file}"), sha256(bytes)));
            Ok(())
        };
        for (photo, bare) in new.visit.photos.iter().zip(new.photos) {
            put(&photo.file, bare.bytes())?;
        }
        put(FACTS, record::facts_to_json(&new.visit.facts).as_bytes())?;
        put(RECORD, record::visit_to_json(new.visit).as_bytes())?;
        before(self)?;
        self.announced(&announced, || {
            fs::rename(filling.path(), &folder).map_err(|error| CaseError::io(&folder, error))
        })?;
        // It has moved, so there is nothing left to clear away.
        let _ = filling.keep();
        Ok(folder)
    }

    /// Writes between two states of the list that both know what is written.
    fn announced(
        &mut self,
        files: &[(String, String)],
        write: impl FnOnce() -> Result<(), CaseError>,
    ) -> Result<(), CaseError> {
        for (file, checksum) in files {
            self.checksums.announce(file.clone(), checksum.clone());
        }
        self.write_list()?;
        let outcome = write();
        self.settle()?;
        outcome
    }

    fn settle(&mut self) -> Result<(), CaseError> {
        let folder = &self.case.folder;
        self.checksums
            .settle(|file| Some(sha256(&fs::read(folder.join(file)).ok()?)));
        self.write_list()
    }

    fn write_list(&self) -> Result<(), CaseError> {
        let path = self.case.folder.join(CHECKSUMS);
        record::write_atomically(&path, self.checksums.to_text().as_bytes())
            .map_err(|error| CaseError::io(&path, error))
    }
}

/// Writes a file, through the case where it belongs to a visit of one; there what is to come before is
/// done by the same writer.
pub fn write(
    path: &Path,
    bytes: &[u8],
    before: impl FnOnce(&mut Writing) -> Result<(), CaseError>,
) -> Result<(), CaseError> {
    let whole =
        || record::write_atomically(path, bytes).map_err(|error| CaseError::io(path, error));
    let (Some(folder), Some(name)) = (path.parent(), path.file_name()) else {
        return whole();
    };
    let folder = match folder.as_os_str().is_empty() {
        true => Path::new("."),
        false => folder,
    };
    let Some(case) = Case::around(folder) else {
        return whole();
    };
    let visit = folder
        .canonicalize()
        .map_err(|error| CaseError::io(folder, error))?;
    let visit = visit.file_name().unwrap_or_default().to_string_lossy();
    let file = format!("{VISITS}/{visit}/{}", name.to_string_lossy());
    let case = Case::open(&case)?;
    let mut writing = case.write()?;
    writing.keep_after(&file, bytes, before).map(drop)
}

fn as_text(path: &Path, bytes: Vec<u8>) -> Result<String, CaseError> {
    String::from_utf8(bytes)
        .map_err(|error| CaseError::io(path, io::Error::new(io::ErrorKind::InvalidData, error)))
}

fn read_checksums(case: &Path) -> Result<Checksums, CaseError> {
    let path = case.join(CHECKSUMS);
    match fs::read_to_string(&path) {
        Ok(text) => Checksums::parse(&text).map_err(|line| CaseError::List { path, line }),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Checksums::default()),
        Err(error) => Err(CaseError::io(&path, error)),
    }
}

/// What is kept under its day.
trait OfADay {
    fn day(&self) -> Date;
}

impl OfADay for Screening {
    fn day(&self) -> Date {
        self.date
    }
}

impl OfADay for KeptPlan {
    fn day(&self) -> Date {
        self.plan.date
    }
}

/// The day in the name of a screening or a plan, also of one that another replaced. Programs that keep
/// folders alike leave other names, which would pass for answers of their own.
fn day_in(name: &str) -> Option<Date> {
    let stem = name.strip_suffix(".json")?;
    let (day, number) = stem.split_once(SUPERSEDED).unwrap_or((stem, "1"));
    let date: Date = day.parse().ok()?;
    (date.to_string() == day && number.parse::<u32>().is_ok()).then_some(date)
}

fn is_in_force(name: &str) -> bool {
    !name.contains(SUPERSEDED)
}

/// Whether a file is named as one that is being written.
fn is_temporary(name: &str) -> bool {
    name.strip_prefix(".tmp").is_some_and(|random| {
        random.len() == "123456".len() && random.bytes().all(|b| b.is_ascii_alphanumeric())
    })
}

/// A folder that is there itself, and not a link to one.
fn is_folder(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|about| about.is_dir())
}

/// Removes what a program left that was stopped while it wrote here. Whoever began within the hour may
/// still be writing: not every document is written through the case. What can't be cleared away stops no
/// work.
fn clear_temporary(folder: &Path) {
    const LONG_AGO: Duration = Duration::from_secs(60 * 60);
    let names = all_names(folder).unwrap_or_default();
    for name in names.iter().filter(|name| is_temporary(name)) {
        let path = folder.join(name);
        let is_old = |about: fs::Metadata| {
            let changed = about.modified().ok();
            let age = changed.and_then(|changed| changed.elapsed().ok());
            about.is_file() && age.is_some_and(|age| age > LONG_AGO)
        };
        if fs::symlink_metadata(&path).is_ok_and(is_old) {
            let _ = fs::remove_file(&path);
        }
    }
}

/// What lies in a folder, in order, but for what is hidden; nothing where there is none.
fn names(folder: &Path) -> Result<Vec<String>, CaseError> {
    let mut names = all_names(folder)?;
    names.retain(|name| !name.starts_with('.'));
    Ok(names)
}

fn all_names(folder: &Path) -> Result<Vec<String>, CaseError> {
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries.map_err(|error| CaseError::io(folder, error))?,
    };
    let names = entries.map(|entry| Ok(entry?.file_name().to_string_lossy().into_owned()));
    // A listing that breaks off is none: what it leaves out would pass for what is not there.
    let names: io::Result<Vec<String>> = names.collect();
    let mut names = names.map_err(|error| CaseError::io(folder, error))?;
    names.sort();
    Ok(names)
}

/// A label or a code as part of a name on any system: "week-10-left" of "Week 10, left".
pub fn slug(label: &str) -> String {
    let words: Vec<String> = label
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    if words.is_empty() {
        "visit".to_owned()
    } else {
        words.join("-")
    }
}

/// A folder beside the others, with the permissions of any new folder, that is gone again unless it
/// is moved.
fn filling_in(visits: &Path) -> io::Result<tempfile::TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(FILLING);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // A temporary folder is its owner's alone; the umask decides on a visit's.
        builder.permissions(fs::Permissions::from_mode(0o777));
    }
    builder.tempdir_in(visits)
}

/// Why a case can't be read or written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CaseError {
    #[error("this folder is no case: {}", .0.display())]
    None(PathBuf),
    #[error("no such folder: {}", .0.display())]
    Nowhere(PathBuf),
    #[error("this is a file, not the folder of a case: {}", .0.display())]
    File(PathBuf),
    #[error("a case begins in an empty folder, and there are files in this one: {}", .0.display())]
    NotEmpty(PathBuf),
    #[error("another program is writing into this case: {}", .0.display())]
    Locked(PathBuf),
    #[error("the case.json of this case is lost: {}", .0.display())]
    Lost(PathBuf),
    #[error("this label is too long: {}", .0.display())]
    Label(PathBuf),
    #[error("a visit of this day and label is filed already: {}", .0.display())]
    Filed(PathBuf),
    #[error("the file's name holds a backslash, or what is no text: {}", .0.display())]
    Name(PathBuf),
    #[error("two photos would have this name in the case: {}", .0.display())]
    SameName(PathBuf),
    #[error("this photo is not the one that was measured: {}", .0.display())]
    Moved(PathBuf),
    #[error("the file is not as it was written: {}", .0.display())]
    Damaged(PathBuf),
    #[error("this is not as it was filed: {}", .0.display())]
    Changed(PathBuf),
    #[error("no screening or plan is kept under this name: {}", .0.display())]
    Stray(PathBuf),
    #[error("two visits of this case are of one day and name: {0}")]
    Twice(String),
    #[error("{visit} says that it belongs to case {other}, and this case is {code}")]
    OfAnother {
        visit: String,
        other: String,
        code: String,
    },
    #[error("a link, or something else that no case holds, is in the place of this: {}", .0.display())]
    NotPlain(PathBuf),
    #[error("line {line} is no checksum with the name of a file: {}", path.display())]
    List { path: PathBuf, line: usize },
    #[error("{error}: {}", path.display())]
    Record { path: PathBuf, error: RecordError },
    #[error("{error}: {}", path.display())]
    Io { path: PathBuf, error: io::Error },
}

impl CaseError {
    fn io(path: &Path, error: io::Error) -> CaseError {
        if held::is_not_plain(&error) {
            return CaseError::NotPlain(path.to_owned());
        }
        CaseError::Io {
            path: path.to_owned(),
            error,
        }
    }

    /// What is there in place of a case.
    fn none(folder: &Path) -> CaseError {
        let of = match (folder.exists(), folder.is_dir()) {
            (false, _) => CaseError::Nowhere,
            (true, false) => CaseError::File,
            (true, true) if folder.join(CHECKSUMS).is_file() => CaseError::Lost,
            (true, true) => CaseError::None,
        };
        of(folder.to_owned())
    }

    fn record(path: &Path, error: RecordError) -> CaseError {
        CaseError::Record {
            path: path.to_owned(),
            error,
        }
    }

    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            CaseError::None(_) => {
                "a case is a folder with a case.json; tragus measure --case makes one"
            }
            CaseError::Nowhere(_) => {
                "check the spelling of the name; tragus measure --case makes a case"
            }
            CaseError::File(_) => "name the folder that case.json lies in",
            CaseError::NotEmpty(_) => "name a new folder for the case",
            CaseError::Locked(_) => "wait until it is done, or end it; nothing was written",
            CaseError::Lost(_) => "tragus case verify says how to write it anew, and what is whole",
            CaseError::Label(_) => "give the visit one of a few words; nothing was written",
            CaseError::Filed(_) => "give this visit another label; nothing was written",
            CaseError::Name(_) => "rename the file; nothing was written",
            CaseError::SameName(_) => {
                "rename one of them, in letters and digits; nothing was written"
            }
            CaseError::Moved(_) => "run the command again; nothing was written",
            CaseError::Damaged(_) => "don't hand it out; make the plan anew",
            CaseError::Changed(_) => {
                "tragus case verify says what is damaged and what is whole; where it was changed on \
                 purpose, --accept takes it as it is now"
            }
            CaseError::Stray(_) | CaseError::Twice(_) => {
                "a program that keeps folders alike may have left a copy: look which one is right, and \
                 move the other out of the case"
            }
            CaseError::OfAnother { .. } => {
                "is this the right person? If so, write the case's code into the visit.json and the \
                 record.json of that visit, then run tragus case verify --accept"
            }
            CaseError::NotPlain(_) => {
                "nothing was touched where it leads; ask who put it there, take it away, then run the \
                 command again"
            }
            CaseError::List { .. } => {
                "the list is damaged: take it from a backup, or move it away and have tragus case \
                 verify --accept make it anew"
            }
            CaseError::Record { .. } => "tragus case verify says what is damaged and what is whole",
            CaseError::Io { error, .. } if error.kind() == io::ErrorKind::InvalidData => {
                "tragus case verify says what is damaged and what is whole"
            }
            CaseError::Io { .. } => "is there room on the disk, and is the folder yours?",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn about() -> About {
        About {
            code: "demo-02".to_owned(),
            birth_year: None,
            sex: None,
        }
    }

    #[test]
    fn what_a_stopped_beginning_left_is_no_hindrance_and_a_file_is() {
        let folder = tempfile::tempdir().unwrap();
        for left in [LOCK, CHECKSUMS, ".tmpA1b2C3"] {
            fs::write(folder.path().join(left), "").unwrap();
        }
        Case::begin(folder.path(), about()).unwrap();
        assert!(verify(folder.path()).unwrap().is_whole());
        let refused = Case::begin(folder.path(), about());
        assert!(matches!(refused, Err(CaseError::NotEmpty(_))));
        // What is left of a case is not the beginning of another.
        fs::remove_file(folder.path().join(CASE)).unwrap();
        let refused = Case::begin(folder.path(), about());
        assert!(matches!(refused, Err(CaseError::NotEmpty(_))));
    }

    #[test]
    fn nothing_is_written_into_a_case_that_was_removed() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        let case = Case::begin(&folder, about()).unwrap();
        fs::write(folder.join("note.txt"), "somebody's").unwrap();
        Removal::prepare(&folder).unwrap().carry_out().unwrap();
        assert!(matches!(case.write(), Err(CaseError::None(_))));
        assert_eq!(all_names(&folder).unwrap(), ["note.txt"]);
    }

    #[test]
    fn what_was_being_written_is_cleared_away_once_nobody_can_be_at_it() {
        let folder = tempfile::tempdir().unwrap();
        let case = Case::begin(folder.path(), about()).unwrap();
        let elsewhere = tempfile::tempdir().unwrap();
        let names = [".tmpA1b2C3", ".tmp-notes", ".tmpD4e5F6"];
        let [old, foreign, young] = names.map(|name| folder.path().join(name));
        let linked = elsewhere.path().join(names[0]);
        #[cfg(unix)]
        std::os::unix::fs::symlink(elsewhere.path(), folder.path().join(PLANS)).unwrap();
        let long_ago = std::time::SystemTime::now() - Duration::from_secs(2 * 60 * 60);
        for path in [&old, &foreign, &young, &linked] {
            fs::write(path, "half").unwrap();
            if path != &young {
                let file = File::options().write(true).open(path).unwrap();
                file.set_modified(long_ago).unwrap();
            }
        }
        drop(case.write().unwrap());
        assert!(!old.exists() && foreign.exists() && young.exists() && linked.exists());
    }

    /// Stopped between the removal of a file and the list that is without it.
    #[test]
    fn a_removal_that_was_stopped_leaves_no_file_missing() {
        let folder = tempfile::tempdir().unwrap();
        let case = Case::begin(folder.path(), about()).unwrap();
        let mut writing = case.write().unwrap();
        let sheet = writing.keep_plan("2026-03-10-home.html", b"x").unwrap();
        writing
            .checksums
            .announce_removal("plans/2026-03-10-home.html");
        writing.write_list().unwrap();
        drop(writing);
        assert!(verify(folder.path()).unwrap().is_whole());
        fs::remove_file(sheet).unwrap();
        assert!(verify(folder.path()).unwrap().is_whole());
        drop(case.write().unwrap());
        let list = fs::read_to_string(folder.path().join(CHECKSUMS)).unwrap();
        assert!(!list.contains("home.html"), "{list}");
    }
}

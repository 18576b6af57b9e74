//! Whether a case is as it was written, and what of it is whole where it is not.

use std::collections::BTreeSet;
use std::fmt;
use std::fs;
use std::io;
use std::path::Path;

use super::checksums::{CHECKSUMS, Checksums, Standing, is_inside};
use super::{CASE, Case, CaseError, FACTS, FILLING, PLANS, RECORD, SCREENINGS, VISITS};
use super::{all_names, held, read_checksums};
use crate::checksum::sha256;
use crate::photo;

/// What became of a case's files.
#[derive(Debug, PartialEq, Eq)]
pub struct Verification {
    pub whole: usize,
    pub damages: Vec<Damage>,
    /// Files that the list does not know, which is no damage: somebody put them there.
    pub unlisted: Vec<String>,
    /// Without it nothing can be said of any file.
    pub has_list: bool,
    /// What a program that was stopped left behind; the next one that writes clears it away.
    pub half_filed: Vec<String>,
}

/// A file that is not as it was written.
#[derive(Debug, PartialEq, Eq)]
pub struct Damage {
    pub file: String,
    pub fault: Fault,
    /// What is whole all the same, and what to do.
    pub advice: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    Missing,
    Changed,
    Unreadable,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            Fault::Missing => "is missing",
            Fault::Changed => "is not as it was written",
            Fault::Unreadable => "can't be read",
        })
    }
}

impl Verification {
    /// A file of a visit, a screening or a plan that the list does not know may be anything.
    pub fn is_whole(&self) -> bool {
        let of_the_case = |file: &String| {
            let kinds = [VISITS, SCREENINGS, PLANS];
            kinds
                .iter()
                .any(|kind| file.starts_with(&format!("{kind}/")))
        };
        self.has_list && self.damages.is_empty() && !self.unlisted.iter().any(of_the_case)
    }
}

/// Holds every file of a case against the list. A damaged `case.json` stops nothing.
pub fn verify(case: &Path) -> Result<Verification, CaseError> {
    verify_by(case, &|path| Ok(sha256(&held::read_plain(path)?)))
}

/// The same by whoever tells the checksum of a file.
pub fn verify_by(
    case: &Path,
    checksum: &dyn Fn(&Path) -> io::Result<String>,
) -> Result<Verification, CaseError> {
    if !Case::is_one(case) && !case.join(CHECKSUMS).is_file() {
        return Err(CaseError::none(case));
    }
    let checksums = read_checksums(case)?;
    let there = files(case)?;
    let mut faults = Vec::new();
    for file in checksums.files() {
        if let Some(fault) = fault(&checksums, file, checksum(&case.join(file))) {
            faults.push((file.to_owned(), fault));
        }
    }
    if !checksums.is_listed(CASE) && !there.contains(CASE) {
        faults.push((CASE.to_owned(), Fault::Missing));
    }
    let is_whole =
        |file: &str| checksums.is_listed(file) && faults.iter().all(|(damaged, _)| damaged != file);
    let damages = faults
        .iter()
        .map(|(file, fault)| Damage {
            file: file.clone(),
            fault: *fault,
            advice: match fault {
                Fault::Unreadable => UNREAD.to_owned(),
                _ => advice(file, &checksums, &is_whole),
            },
        })
        .collect();
    let unlisted = there
        .iter()
        .filter(|file| !checksums.knows(file))
        .cloned()
        .collect();
    let half_filed = all_names(&case.join(VISITS))?
        .into_iter()
        .filter(|name| name.starts_with(FILLING))
        .collect();
    Ok(Verification {
        whole: checksums.files().filter(|file| is_whole(file)).count(),
        damages,
        unlisted,
        has_list: case.join(CHECKSUMS).is_file(),
        half_filed,
    })
}

/// Takes every file as it is now for right: somebody changed them on purpose. Says how many entries
/// of the list that changed.
pub fn accept(folder: &Path) -> Result<usize, CaseError> {
    let case = Case::open(folder)?;
    let mut writing = case.write()?;
    let there = files(folder)?;
    let before = writing.checksums.clone();
    for file in &there {
        let path = folder.join(file);
        // A name that is no text is not found by what stands for it here.
        if !is_inside(file) || file.contains(char::REPLACEMENT_CHARACTER) {
            return Err(CaseError::Name(path));
        }
        let bytes = held::read_plain(&path).map_err(|error| CaseError::io(&path, error))?;
        writing.checksums.accept(file.clone(), sha256(&bytes));
    }
    writing.checksums.keep_only(&there);
    writing.write_list()?;
    Ok(before.differences(&writing.checksums))
}

fn fault(checksums: &Checksums, file: &str, checksum: io::Result<String>) -> Option<Fault> {
    match checksum {
        Ok(checksum) => match checksums.standing(file, &checksum) {
            Standing::Whole => None,
            Standing::Changed | Standing::Unlisted => Some(Fault::Changed),
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            (!checksums.is_removing(file)).then_some(Fault::Missing)
        }
        Err(_) => Some(Fault::Unreadable),
    }
}

/// All files of a case but for the list itself and what is hidden.
fn files(case: &Path) -> Result<BTreeSet<String>, CaseError> {
    let mut files = BTreeSet::new();
    let mut folders = vec![String::new()];
    while let Some(folder) = folders.pop() {
        for name in super::names(&case.join(&folder))? {
            let file = match folder.as_str() {
                "" => name,
                folder => format!("{folder}/{name}"),
            };
            // A link may lead in circles, or out of the case.
            let is_folder = fs::symlink_metadata(case.join(&file)).is_ok_and(|of| of.is_dir());
            if is_folder {
                folders.push(file);
            } else if case.join(&file).is_dir() {
                continue;
            } else if file != CHECKSUMS {
                files.insert(file);
            }
        }
    }
    Ok(files)
}

const UNREAD: &str = "Nothing says that it is damaged: get the right to read it, or bring the disk back, then \
                      verify once more.";

fn advice(file: &str, checksums: &Checksums, is_whole: &dyn Fn(&str) -> bool) -> String {
    let parts: Vec<&str> = file.split('/').collect();
    match parts[..] {
        [VISITS, visit, name] => {
            let beside = |name: &str| is_whole(&format!("{VISITS}/{visit}/{name}"));
            let prefix = format!("{VISITS}/{visit}/");
            let photos_whole = checksums
                .files()
                .filter(|file| file.starts_with(&prefix) && photo::is_photo_name(Path::new(file)))
                .all(is_whole);
            match name {
                RECORD if photos_whole => {
                    "The photos of this visit are whole, so its record can be made anew: move it away, \
                     then tragus measure on the folder, with --save. Points placed by hand are lost."
                }
                RECORD => "Take it from a backup: some of the photos are damaged too.",
                FACTS if beside(RECORD) => {
                    "What it said of the visit stands in record.json too, which is whole."
                }
                FACTS => "Write it anew, or take it from a backup.",
                _ if beside(RECORD) => {
                    "What was measured in it stands in record.json, which is whole. Take the file \
                     from a backup."
                }
                _ => "Take it from a backup.",
            }
        }
        [SCREENINGS, _] => {
            "Visits and the screenings of other days are not touched. Take it from a backup; or move \
             it away, run tragus case verify --accept, and ask anew before any exercise."
        }
        [PLANS, _] => {
            "Don't hand it out. Move it away: tragus plan makes the plan anew from visits and screening."
        }
        [CASE] => {
            "Visits and screenings are not touched. Write it anew, with the code that the visits' \
             record.json hold: {\"schema\": \"tragus-case/1\", \"code\": \"...\"}."
        }
        _ => "Take it from a backup.",
    }
    .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::tests::about;
    use crate::case::{NewVisit, Writing};
    use crate::photo::{Bare, Limits};
    use crate::visit::{PhotoRecord, Visit, VisitFacts};

    /// A photo of one grey.
    fn photo(grey: u8) -> Bare {
        let mut bytes = std::io::Cursor::new(Vec::new());
        image::GrayImage::from_pixel(64, 64, [grey].into())
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        Bare::of(bytes.get_ref(), Limits::default()).unwrap()
    }

    #[test]
    fn two_photos_that_would_be_one_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let case = Case::begin(folder.path(), about()).unwrap();
        let photos = [photo(1), photo(2)];
        let mut visit = self::visit("a_b.png", &photos[0]);
        visit
            .photos
            .extend(self::visit("A_B.png", &photos[1]).photos);
        let new = NewVisit {
            date: "2026-03-10".parse().unwrap(),
            label: "intake",
            visit: &visit,
            photos: &photos,
        };
        let refused = case.write().unwrap().file(&new, too_early);
        assert!(matches!(refused, Err(CaseError::SameName(_))));
        assert_eq!(case.visits().unwrap(), Vec::<std::path::PathBuf>::new());
    }

    /// For what is refused: nothing else is to change.
    fn too_early(_: &mut Writing) -> Result<(), CaseError> {
        panic!("before it is known that the visit can be filed")
    }

    fn visit(name: &str, photo: &Bare) -> Visit {
        Visit {
            facts: VisitFacts::default(),
            photos: vec![PhotoRecord {
                file: name.to_owned(),
                sha256: Some(sha256(photo.bytes())),
                size: None,
                view: None,
                task: None,
                landmarks: Default::default(),
                faces: Vec::new(),
                setup: None,
                notices: Vec::new(),
            }],
            readings: Vec::new(),
            notices: Vec::new(),
        }
    }

    /// A case with one visit of one photo, and the name of the visit's folder.
    fn filed() -> (tempfile::TempDir, &'static str) {
        let scratch = tempfile::tempdir().unwrap();
        let photo = photo(100);
        let case = Case::begin(&scratch.path().join("case"), about()).unwrap();
        let visit = visit("front.png", &photo);
        let new = NewVisit {
            date: "2026-03-10".parse().unwrap(),
            label: "Intake, left",
            visit: &visit,
            photos: &[photo],
        };
        let folder = case.write().unwrap().file(&new, |_| Ok(())).unwrap();
        assert!(folder.ends_with("visits/2026-03-10-intake-left"));
        (scratch, "visits/2026-03-10-intake-left")
    }

    #[test]
    fn a_filed_visit_is_whole() {
        let (scratch, _) = filed();
        let found = verify(&scratch.path().join("case")).unwrap();
        assert_eq!((found.whole, found.damages.len()), (4, 0));
        assert!(found.unlisted.is_empty() && found.half_filed.is_empty());
    }

    #[test]
    fn what_is_damaged_is_named_with_what_is_whole() {
        let (scratch, visit) = filed();
        let case = scratch.path().join("case");
        let at = |name: &str| case.join(visit).join(name);
        fs::write(at(RECORD), b"{}").unwrap();
        let found = verify(&case).unwrap();
        assert_eq!(found.whole, 3);
        assert_eq!(found.damages[0].fault, Fault::Changed);
        assert!(found.damages[0].advice.contains("can be made anew"));

        fs::remove_file(at("front.png")).unwrap();
        let found = verify(&case).unwrap();
        let faults: Vec<Fault> = found.damages.iter().map(|damage| damage.fault).collect();
        assert_eq!(faults, [Fault::Missing, Fault::Changed]);
        assert!(found.damages.iter().all(|d| d.advice.contains("backup")));
    }

    #[test]
    fn a_lost_case_file_hides_nothing() {
        let (scratch, _) = filed();
        let case = scratch.path().join("case");
        fs::remove_file(case.join(CASE)).unwrap();
        let found = verify(&case).unwrap();
        assert_eq!(found.damages.len(), 1);
        assert_eq!(found.damages[0].fault, Fault::Missing);
        assert!(matches!(verify(scratch.path()), Err(CaseError::None(_))));
    }

    #[test]
    fn what_was_changed_on_purpose_can_be_accepted() {
        let (scratch, visit) = filed();
        let case = scratch.path().join("case");
        fs::write(case.join(visit).join(FACTS), b"{\"stature_cm\": 170}").unwrap();
        fs::write(case.join("letter.txt"), b"a letter").unwrap();
        let found = verify(&case).unwrap();
        assert_eq!(
            (found.damages.len(), found.unlisted),
            (1, vec!["letter.txt".to_owned()])
        );
        assert_eq!(accept(&case).unwrap(), 2);
        let found = verify(&case).unwrap();
        assert_eq!(
            (found.whole, found.damages.len(), found.unlisted.len()),
            (5, 0, 0)
        );
    }

    #[test]
    fn two_writers_are_kept_apart_and_a_visit_is_filed_once() {
        let (scratch, visit_name) = filed();
        let case = Case::open(&scratch.path().join("case")).unwrap();
        let held = case.write().unwrap();
        assert!(matches!(case.write(), Err(CaseError::Locked(_))));
        drop(held);
        let visit = visit("front.png", &photo(100));
        let other = [photo(101)];
        let mut new = NewVisit {
            date: "2026-03-10".parse().unwrap(),
            label: "intake LEFT",
            visit: &visit,
            photos: &[photo(100)],
        };
        let mut writing = case.write().unwrap();
        let refused = writing.file(&new, too_early);
        assert!(matches!(refused, Err(CaseError::Filed(_))));
        // Another photo is not filed under the measures of this one.
        new.label = "again";
        new.photos = &other;
        let refused = writing.file(&new, too_early);
        assert!(matches!(refused, Err(CaseError::Moved(_))));
        drop(writing);
        assert_eq!(case.visits().unwrap().len(), 1);
        let folder = case.folder().join(visit_name);
        super::super::write(&folder.join(RECORD), b"{}", |_| Ok(())).unwrap();
        assert!(verify(case.folder()).unwrap().is_whole());
    }

    #[test]
    fn what_a_stopped_program_left_is_told_and_cleared_away() {
        let (scratch, visit) = filed();
        let folder = scratch.path().join("case");
        fs::create_dir(folder.join("visits/.new-x")).unwrap();
        // Stopped after the announcement, before the record was written.
        let mut list = read_checksums(&folder).unwrap();
        list.announce(format!("{visit}/{RECORD}"), sha256(b"new"));
        list.announce("plans/2026-03-10.json".to_owned(), sha256(b"plan"));
        fs::write(folder.join(CHECKSUMS), list.to_text()).unwrap();
        let found = verify(&folder).unwrap();
        assert!(found.is_whole());
        assert_eq!(found.half_filed, [".new-x"]);
        let case = Case::open(&folder).unwrap();
        assert_eq!(case.visits().unwrap().len(), 1);
        drop(case.write().unwrap());
        assert!(!read_checksums(&folder).unwrap().is_unsettled());
        assert!(verify(&folder).unwrap().half_filed.is_empty());
    }
}

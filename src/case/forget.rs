//! Removing a case: what belongs to it goes, and nothing else.
//!
//! A file belongs to a case that its list of checksums knows. Where there is no list that can be read,
//! what lies where a case has a file of that kind does. Links are never followed: what they lead to is
//! not the case's, also where one is put in the place of a folder while the person is asked ([`Held`]).
//! The case's own file goes last, so that whoever is stopped half-way runs it again.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::checksums::{CHECKSUMS, Checksums};
use super::held::Held;
use super::{
    CASE, Case, CaseError, DOCUMENTS, FACTS, FILLING, LOCK, PLANS, RECORD, SCREENINGS, VISITS,
};
use super::{Lock, all_names, is_temporary, lock, read_checksums};
use crate::photo;

/// A case that is about to be removed. No other program writes into it meanwhile.
pub struct Removal {
    folder: PathBuf,
    pub code: String,
    files: BTreeMap<String, u64>,
    folders: Vec<String>,
    /// What lies in the folder, is none of the case's, and stays.
    pub foreign: Vec<String>,
    held: Held,
    lock: Lock,
}

/// What a file of a case is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Photo,
    Record,
    Screening,
    Plan,
    Document,
    Other,
}

impl Removal {
    /// Looks for what would go; nothing is removed so far.
    pub fn prepare(folder: &Path) -> Result<Removal, CaseError> {
        let case = Case::open(folder)?;
        // The folder itself, also where a link to it was named.
        let folder = folder
            .canonicalize()
            .map_err(|error| CaseError::io(folder, error))?;
        let held = Held::open(&folder).map_err(|error| CaseError::io(&folder, error))?;
        let lock = lock(&folder)?;
        let mut removal = Removal {
            code: case.about.code,
            files: BTreeMap::new(),
            folders: Vec::new(),
            foreign: Vec::new(),
            held,
            lock,
            folder,
        };
        // A damaged list is no reason to keep anything.
        let known = read_checksums(&removal.folder).ok();
        removal.look(
            "",
            known
                .filter(|known| known.files().next().is_some())
                .as_ref(),
        )?;
        Ok(removal)
    }

    fn look(&mut self, folder: &str, known: Option<&Checksums>) -> Result<(), CaseError> {
        let names = all_names(&self.folder.join(folder))?;
        if names.is_empty() && !is_folder_of_case(folder) {
            self.foreign.push(format!("{folder}/"));
        }
        for name in names {
            let file = match folder {
                "" => name,
                folder => format!("{folder}/{name}"),
            };
            let path = self.folder.join(&file);
            let about = match fs::symlink_metadata(&path) {
                // A name that is no text is not found by what stands for it here. No case has such a file.
                Err(error)
                    if error.kind() == io::ErrorKind::NotFound
                        && file.contains(char::REPLACEMENT_CHARACTER) =>
                {
                    self.foreign.push(file);
                    continue;
                }
                about => about.map_err(|error| CaseError::io(&path, error))?,
            };
            if about.is_dir() {
                self.look(&file, known)?;
                self.folders.push(file);
            } else if about.is_file()
                && (is_of_every_case(&file)
                    || known.map_or_else(|| is_file_of_case(&file), |known| known.knows(&file)))
            {
                self.files.insert(file, about.len());
            } else {
                self.foreign.push(file);
            }
        }
        Ok(())
    }

    /// How many files of each kind would go, and their bytes.
    pub fn kinds(&self) -> BTreeMap<Kind, (usize, u64)> {
        let mut kinds = BTreeMap::new();
        for (file, bytes) in &self.files {
            let (files, all) = kinds.entry(kind_of(file)).or_insert((0, 0));
            *files += 1;
            *all += bytes;
        }
        kinds
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Removes it all; how many files that were.
    pub fn carry_out(self) -> Result<usize, CaseError> {
        const LAST: [&str; 3] = [CHECKSUMS, LOCK, CASE];
        let first = self.files.keys().map(String::as_str);
        for file in first.filter(|file| !LAST.contains(file)) {
            self.remove(file)?;
        }
        // Those inside come before those around; one that holds something foreign stays.
        for folder in &self.folders {
            let holds_foreign = |file: &String| file.starts_with(&format!("{folder}/"));
            if !self.foreign.iter().any(holds_foreign) {
                let removed = self.held.remove_folder(folder);
                removed.map_err(|error| CaseError::io(&self.folder.join(folder), error))?;
            }
        }
        for file in LAST.iter().filter(|file| self.files.contains_key(**file)) {
            self.remove(file)?;
        }
        drop(self.lock);
        if self.foreign.is_empty() {
            fs::remove_dir(&self.folder).map_err(|error| CaseError::io(&self.folder, error))?;
        }
        Ok(self.files.len())
    }

    fn remove(&self, file: &str) -> Result<(), CaseError> {
        match self.held.remove_file(file) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(CaseError::io(&self.folder.join(file), error))
            }
            _ => Ok(()),
        }
    }
}

fn is_folder_of_case(folder: &str) -> bool {
    let parts: Vec<&str> = folder.split('/').collect();
    matches!(
        parts[..],
        [""] | [VISITS | SCREENINGS | PLANS | DOCUMENTS] | [VISITS, _]
    )
}

/// What no list knows, and what was being written when a program was stopped.
fn is_of_every_case(file: &str) -> bool {
    let parts: Vec<&str> = file.split('/').collect();
    match parts[..] {
        [CASE | CHECKSUMS | LOCK] => true,
        [VISITS, visit, ..] if visit.starts_with(FILLING) => true,
        [.., name] if is_temporary(name) => {
            parts.len() == 1 || is_folder_of_case(&parts[..parts.len() - 1].join("/"))
        }
        _ => false,
    }
}

/// By where it lies.
fn is_file_of_case(file: &str) -> bool {
    let parts: Vec<&str> = file.split('/').collect();
    let ends = |name: &str, endings: &[&str]| {
        let ending = Path::new(name).extension().unwrap_or_default();
        endings.iter().any(|known| ending == *known)
    };
    match parts[..] {
        [VISITS, _, name] => {
            matches!(name, RECORD | FACTS) || photo::is_photo_name(Path::new(name))
        }
        [SCREENINGS, name] => ends(name, &["json"]),
        [PLANS, name] => ends(name, &["json", "html", "pdf"]),
        [DOCUMENTS, name] => ends(name, &["html", "pdf"]),
        _ => false,
    }
}

fn kind_of(file: &str) -> Kind {
    let parts: Vec<&str> = file.split('/').collect();
    match parts[..] {
        [VISITS, _, name] if photo::is_photo_name(Path::new(name)) => Kind::Photo,
        [VISITS, _, RECORD | FACTS] => Kind::Record,
        [SCREENINGS, _] => Kind::Screening,
        [PLANS, _] => Kind::Plan,
        [DOCUMENTS, _] => Kind::Document,
        _ => Kind::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Writing;
    use crate::case::tests::about;

    fn filled(folder: &Path) -> Case {
        let case = Case::begin(folder, about()).unwrap();
        let keep = |writing: &mut Writing, file: &str| writing.keep(file, b"x").map(drop).unwrap();
        let mut writing = case.write().unwrap();
        for file in [
            "visits/2026-03-10-intake/front.jpg",
            "visits/2026-03-10-intake/record.json",
            "screenings/2026-03-10.json",
            "plans/2026-03-10-home.html",
            "documents/2026-03-10-letter.pdf",
        ] {
            keep(&mut writing, file);
        }
        drop(writing);
        case
    }

    #[test]
    fn nothing_is_left_of_a_case() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        filled(&folder);
        fs::create_dir(folder.join("visits/.new-abc")).unwrap();
        fs::write(folder.join("visits/.new-abc/front.jpg"), b"half").unwrap();
        fs::write(folder.join("plans/.tmpA1b2C3"), b"half").unwrap();
        let removal = Removal::prepare(&folder).unwrap();
        assert_eq!(removal.code, "demo-02");
        assert_eq!(removal.kinds()[&Kind::Photo], (1 + 1, 1 + 4));
        assert!(removal.foreign.is_empty());
        assert_eq!(removal.carry_out().unwrap(), 5 + 3 + 2);
        assert!(!folder.exists());
    }

    /// Linux holds names that are no text.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_name_that_is_no_text_stays_and_stops_nothing() {
        use std::os::unix::ffi::OsStrExt;
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        filled(&folder);
        let strange = folder.join(std::ffi::OsStr::from_bytes(b"visits/a\xff.jpg"));
        fs::write(&strange, b"x").unwrap();
        let removal = Removal::prepare(&folder).unwrap();
        assert_eq!(removal.foreign, ["visits/a\u{fffd}.jpg"]);
        removal.carry_out().unwrap();
        assert!(strange.is_file() && !folder.join(CASE).exists());
    }

    #[test]
    fn without_its_list_a_case_goes_by_its_layout() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        filled(&folder);
        for list in ["no list", ""] {
            fs::write(folder.join(CHECKSUMS), list).unwrap();
            assert!(Removal::prepare(&folder).unwrap().foreign.is_empty());
        }
        Removal::prepare(&folder).unwrap().carry_out().unwrap();
        assert!(!folder.exists());
    }

    #[cfg(unix)]
    #[test]
    fn what_is_foreign_and_what_links_lead_to_stays() {
        use std::os::unix::fs::symlink;
        let scratch = tempfile::tempdir().unwrap();
        let (folder, outside) = (scratch.path().join("case"), scratch.path().join("outside"));
        let case = filled(&folder);
        fs::create_dir(&outside).unwrap();
        fs::write(outside.join("record.json"), b"outside").unwrap();
        symlink(&outside, folder.join("visits/2026-04-28-linked")).unwrap();
        let linked = folder.join("visits/2026-03-10-intake/side.jpg");
        symlink(outside.join("record.json"), linked).unwrap();
        fs::write(folder.join("visits/2026-03-10-intake/letter.txt"), b"x").unwrap();
        // Perhaps the only original: nobody filed it.
        fs::write(folder.join("visits/2026-03-10-intake/holiday.jpg"), b"x").unwrap();
        fs::create_dir(folder.join("empty")).unwrap();
        // Somebody put a link in the place of a file and of a folder that the list knows.
        drop(case.write().unwrap().keep("plans/2026-03-10.json", b"x"));
        fs::rename(folder.join("plans"), outside.join("plans")).unwrap();
        symlink(outside.join("plans"), folder.join("plans")).unwrap();

        let removal = Removal::prepare(&folder).unwrap();
        let left = [
            "empty/",
            "plans",
            "visits/2026-03-10-intake/holiday.jpg",
            "visits/2026-03-10-intake/letter.txt",
            "visits/2026-03-10-intake/side.jpg",
            "visits/2026-04-28-linked",
        ];
        assert_eq!(removal.foreign, left);
        removal.carry_out().unwrap();
        assert!(
            left.iter()
                .all(|file| folder.join(file).symlink_metadata().is_ok())
        );
        assert!(!folder.join("visits/2026-03-10-intake/front.jpg").exists());
        assert!(!folder.join(CASE).exists() && !folder.join("screenings").exists());
        assert_eq!(fs::read_dir(outside.join("plans")).unwrap().count(), 2);
        assert_eq!(fs::read(outside.join("record.json")).unwrap(), b"outside");
    }

    /// Somebody who may write into the folder swaps it between the question and the answer.
    #[cfg(unix)]
    #[test]
    fn what_a_link_leads_to_that_came_after_the_question_stays() {
        use std::os::unix::fs::symlink;
        for swapped in ["visits", "visits/2026-03-10-intake", "plans"] {
            let scratch = tempfile::tempdir().unwrap();
            let (folder, aside) = (scratch.path().join("case"), scratch.path().join("aside"));
            filled(&folder);
            let removal = Removal::prepare(&folder).unwrap();
            fs::rename(folder.join(swapped), &aside).unwrap();
            let before = count(&aside);
            symlink(&aside, folder.join(swapped)).unwrap();
            let stopped = removal.carry_out();
            assert!(
                matches!(stopped, Err(CaseError::NotPlain(_))),
                "{stopped:?}"
            );
            assert_eq!(count(&aside), before, "{swapped}");
            // The next one tells of the link and leaves it.
            let removal = Removal::prepare(&folder).unwrap();
            assert_eq!(removal.foreign, [swapped]);
            removal.carry_out().unwrap();
            assert_eq!(count(&aside), before, "{swapped}");
        }
    }

    #[cfg(unix)]
    fn count(folder: &Path) -> usize {
        let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap());
        entries
            .map(|entry| match entry.file_type().unwrap().is_dir() {
                true => count(&entry.path()),
                false => 1,
            })
            .sum()
    }

    /// A lock that leads elsewhere would be made, or held, there.
    #[cfg(unix)]
    #[test]
    fn a_lock_that_is_a_link_or_a_pipe_is_refused() {
        use std::os::unix::fs::symlink;
        let scratch = tempfile::tempdir().unwrap();
        let (folder, outside) = (scratch.path().join("case"), scratch.path().join("outside"));
        let case = filled(&folder);
        let lock = folder.join(LOCK);
        let refused = |what: &str| {
            assert!(
                matches!(case.write(), Err(CaseError::NotPlain(_))),
                "{what}"
            );
            let prepared = Removal::prepare(&folder);
            assert!(matches!(prepared, Err(CaseError::NotPlain(_))), "{what}");
        };
        fs::remove_file(&lock).unwrap();
        symlink(&outside, &lock).unwrap();
        refused("a link to nothing");
        assert!(!outside.exists());
        fs::write(&outside, b"x").unwrap();
        refused("a link to a file");
        fs::remove_file(&lock).unwrap();
        let made = std::process::Command::new("mkfifo").arg(&lock).status();
        assert!(made.unwrap().success());
        refused("a pipe");
        fs::remove_file(&lock).unwrap();
        assert!(case.write().is_ok());
    }

    #[test]
    fn what_a_stopped_removal_left_is_removed_by_the_next() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        // Stopped after each file in turn, in the order in which they go.
        for stopped_after in 0..8 {
            filled(&folder);
            let removal = Removal::prepare(&folder).unwrap();
            let mut order: Vec<&String> = removal.files.keys().collect();
            order.sort_by_key(|file| match file.as_str() {
                CHECKSUMS => 1,
                LOCK => 2,
                CASE => 3,
                _ => 0,
            });
            for file in order.into_iter().take(stopped_after) {
                removal.remove(file).unwrap();
            }
            drop(removal);
            if stopped_after == 5 {
                // Its files gone, the folder still there.
                assert!(folder.join("documents").is_dir());
            }
            Removal::prepare(&folder).unwrap().carry_out().unwrap();
            assert!(!folder.exists(), "stopped after {stopped_after}");
        }
    }

    #[test]
    fn a_folder_that_is_no_case_and_a_case_that_is_written_are_refused() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("case");
        let prepare = |folder: &Path| Removal::prepare(folder).map(drop);
        assert!(matches!(prepare(scratch.path()), Err(CaseError::None(_))));
        let case = filled(&folder);
        let held = case.write().unwrap();
        assert!(matches!(prepare(&folder), Err(CaseError::Locked(_))));
        drop(held);
        let removal = Removal::prepare(&folder).unwrap();
        assert!(matches!(case.write(), Err(CaseError::Locked(_))));
        drop(removal);
        // Another program's file of that name makes no case.
        fs::write(folder.join(CASE), "{\"cases\": []}").unwrap();
        assert!(matches!(prepare(&folder), Err(CaseError::Record { .. })));
    }
}

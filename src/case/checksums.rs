//! The list of a case's files with their checksums, as `sha256sum` writes and checks it.
//!
//! What is about to be written stands in it first, in lines that `sha256sum` takes for comments. A
//! program that is killed between that and the end leaves a file that is either the old one or the
//! new one, and both are known: nothing half-written passes for whole, and nothing whole for damaged.

use std::collections::{BTreeMap, BTreeSet};

/// The file in the case's folder.
pub const CHECKSUMS: &str = "checksums.sha256";

/// Before a line for a file that is being written.
const WRITING: &str = "# writing ";
/// Before the name of a file that is being removed.
const REMOVING: &str = "# removing ";

/// Checksums by the file's path in the case, with `/` between its parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checksums {
    listed: BTreeMap<String, String>,
    writing: BTreeMap<String, String>,
    removing: BTreeSet<String>,
}

/// How a file stands to the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    Whole,
    Changed,
    Unlisted,
}

impl Checksums {
    /// Reads a list; the number of a line that is none, counted from 1.
    pub fn parse(text: &str) -> Result<Checksums, usize> {
        let mut checksums = Checksums::default();
        for (number, line) in text.lines().enumerate() {
            if let Some(file) = line.strip_prefix(REMOVING) {
                if !is_inside(file) {
                    return Err(number + 1);
                }
                checksums.removing.insert(file.to_owned());
                continue;
            }
            let (of, line) = match line.strip_prefix(WRITING) {
                Some(line) => (&mut checksums.writing, line),
                None if line.trim().is_empty() || line.starts_with('#') => continue,
                None => (&mut checksums.listed, line),
            };
            let (checksum, file) = line.split_once("  ").ok_or(number + 1)?;
            let possible = checksum.len() == 64
                && checksum.bytes().all(|byte| byte.is_ascii_hexdigit())
                && is_inside(file);
            if !possible {
                return Err(number + 1);
            }
            of.insert(file.to_owned(), checksum.to_lowercase());
        }
        Ok(checksums)
    }

    pub fn to_text(&self) -> String {
        let line = |(file, checksum): (&String, &String)| format!("{checksum}  {file}\n");
        let listed = self.listed.iter().map(line);
        let writing = self
            .writing
            .iter()
            .map(|entry| WRITING.to_owned() + &line(entry));
        let removing = self.removing.iter();
        let removing = removing.map(|file| format!("{REMOVING}{file}\n"));
        listed.chain(writing).chain(removing).collect()
    }

    pub fn files(&self) -> impl Iterator<Item = &str> {
        self.listed.keys().map(String::as_str)
    }

    pub fn is_listed(&self, file: &str) -> bool {
        self.listed.contains_key(file)
    }

    /// Whether a file stands in it, also one that is being written.
    pub fn knows(&self, file: &str) -> bool {
        self.listed.contains_key(file) || self.writing.contains_key(file)
    }

    pub fn standing(&self, file: &str, checksum: &str) -> Standing {
        let known = [self.listed.get(file), self.writing.get(file)];
        if known.iter().flatten().any(|known| *known == checksum) {
            Standing::Whole
        } else if known.iter().any(Option::is_some) {
            Standing::Changed
        } else {
            Standing::Unlisted
        }
    }

    /// Announces that a file is about to be removed.
    pub fn announce_removal(&mut self, file: &str) {
        self.removing.insert(file.to_owned());
    }

    /// Whether a file is about to be removed, so that it may be there or not.
    pub fn is_removing(&self, file: &str) -> bool {
        self.removing.contains(file)
    }

    /// Announces that a file is about to be written.
    pub fn announce(&mut self, file: String, checksum: String) {
        self.writing.insert(file, checksum);
    }

    /// Takes every file that was announced for written, if `written` says that it is, and for removed, if
    /// there is none.
    pub fn settle(&mut self, written: impl Fn(&str) -> Option<String>) {
        for file in std::mem::take(&mut self.removing) {
            if written(&file).is_none() {
                self.forget(&file);
            }
        }
        for (file, checksum) in std::mem::take(&mut self.writing) {
            if written(&file).as_ref() == Some(&checksum) {
                self.listed.insert(file, checksum);
            }
        }
    }

    /// Whether something was announced and not settled: a program was stopped in between.
    pub fn is_unsettled(&self) -> bool {
        !self.writing.is_empty() || !self.removing.is_empty()
    }

    /// Lists a file as it is now.
    pub fn accept(&mut self, file: String, checksum: String) {
        self.writing.remove(&file);
        self.listed.insert(file, checksum);
    }

    /// How many files the two lists tell differently.
    pub fn differences(&self, other: &Checksums) -> usize {
        let files: BTreeSet<&str> = self.files().chain(other.files()).collect();
        let differs = |file: &&str| self.listed.get(*file) != other.listed.get(*file);
        files.iter().filter(|file| differs(file)).count()
    }

    /// Takes a file off the list.
    pub fn forget(&mut self, file: &str) {
        self.listed.remove(file);
        self.writing.remove(file);
    }

    /// Takes files that are gone off the list.
    pub fn keep_only(&mut self, there: &BTreeSet<String>) {
        self.listed.retain(|file, _| there.contains(file));
        self.writing.retain(|file, _| there.contains(file));
    }
}

/// Whether a path stays inside the case.
pub(super) fn is_inside(file: &str) -> bool {
    !file.is_empty()
        && !file.contains(['\\', '\0'])
        && file
            .split('/')
            .all(|part| !matches!(part, "" | "." | "..") && !part.contains(char::is_control))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(of: &str) -> String {
        crate::checksum::sha256(of.as_bytes())
    }

    #[test]
    fn a_list_is_written_as_it_is_read() {
        let mut checksums = Checksums::default();
        checksums.accept("case.json".to_owned(), sum("a"));
        checksums.announce("visits/a b/front.jpg".to_owned(), sum("b"));
        let text = checksums.to_text();
        assert_eq!(Checksums::parse(&text), Ok(checksums));
        // As coreutils' sha256sum writes the file "case.json" that holds "a".
        let line = "ca978112ca1bbdcafac231b39a23dc4da786eff8147c4e72b9807785afee48bb  case.json";
        assert_eq!(text.lines().next(), Some(line));
    }

    #[test]
    fn a_line_that_is_none_or_leads_out_of_the_case_is_told_by_its_number() {
        let good = format!("{}  case.json\n", sum("a"));
        assert_eq!(Checksums::parse(&format!("{good}x  y\n")), Err(2));
        for path in ["../x", "/etc/x", "a//b", "a\\b", ""] {
            let line = format!("{good}{}  {path}\n", sum("b"));
            assert_eq!(Checksums::parse(&line), Err(2), "{path}");
            let line = format!("{good}{REMOVING}{path}\n");
            assert_eq!(Checksums::parse(&line), Err(2), "{path}");
        }
    }

    #[test]
    fn a_file_that_is_being_removed_may_be_there_or_not() {
        let mut checksums = Checksums::default();
        checksums.accept("plans/a.html".to_owned(), sum("a"));
        checksums.announce_removal("plans/a.html");
        let mut read = Checksums::parse(&checksums.to_text()).unwrap();
        assert_eq!(read, checksums);
        assert!(read.is_unsettled() && read.is_removing("plans/a.html"));
        read.settle(|_| Some(sum("a")));
        assert!(read.is_listed("plans/a.html") && !read.is_unsettled());
        checksums.settle(|_| None);
        assert_eq!(checksums, Checksums::default());
    }

    #[test]
    fn until_it_is_settled_the_old_file_and_the_new_one_are_both_whole() {
        let mut checksums = Checksums::default();
        checksums.accept("record.json".to_owned(), sum("old"));
        checksums.announce("record.json".to_owned(), sum("new"));
        let standing = |checksums: &Checksums, of| checksums.standing("record.json", &sum(of));
        assert_eq!(standing(&checksums, "old"), Standing::Whole);
        assert_eq!(standing(&checksums, "new"), Standing::Whole);
        assert_eq!(standing(&checksums, "half"), Standing::Changed);

        let mut killed = checksums.clone();
        killed.settle(|_| Some(sum("old")));
        assert_eq!(standing(&killed, "old"), Standing::Whole);
        assert_eq!(standing(&killed, "new"), Standing::Changed);

        checksums.settle(|_| Some(sum("new")));
        assert_eq!(standing(&checksums, "new"), Standing::Whole);
        assert_eq!(standing(&checksums, "old"), Standing::Changed);
    }
}

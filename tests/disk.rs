//! Disks that are full, closed or shared, and programs that end in the middle: nothing that was kept is
//! lost, and nothing half written is taken for whole.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use tragus::record;

use crate::common::{Dice, as_somebody, demo, demo_case, kill_rounds, let_write};

const PROGRAM: &str = env!("CARGO_BIN_EXE_tragus");
const DAY: &str = "2026-04-28";

/// A case of two visits of one photo each, with the answers of a day, a report and a photo to file.
struct Desk {
    folder: PathBuf,
    photos: PathBuf,
    case: PathBuf,
}

impl Desk {
    fn in_folder(folder: &Path) -> Desk {
        let desk = Desk {
            folder: folder.to_owned(),
            photos: folder.join("photos"),
            case: folder.join("case"),
        };
        fs::create_dir(&desk.photos).expect("a folder");
        let photo = |visit: &str| {
            let to = desk.photos.join("side-reach.jpg");
            fs::copy(demo(visit).join("side-reach.jpg"), to).expect("a copy");
        };
        photo("intake");
        desk.file("intake", "2026-03-10");
        photo("follow-up");
        desk.file("follow-up", DAY);
        let answers = format!("screenings/{DAY}.json");
        fs::create_dir(desk.case.join("screenings")).expect("a folder");
        fs::copy(demo_case().join(&answers), desk.case.join(&answers)).expect("a copy");
        let accept = ["case", "verify", "--accept"];
        let accepted = program().args(accept).arg(&desk.case).output();
        assert!(accepted.expect("it runs").status.success());
        fs::write(folder.join("report.html"), "the report before").expect("a report");
        desk
    }

    fn file(&self, label: &str, date: &str) {
        let filed = self.filing(label, date).output().expect("it runs");
        assert!(self.visit(date, label).is_dir(), "{}", said(&filed));
    }

    fn visit(&self, date: &str, label: &str) -> PathBuf {
        self.case.join(format!("visits/{date}-{label}"))
    }

    fn filing(&self, label: &str, date: &str) -> Command {
        let mut command = program();
        command.arg("measure").arg(&self.photos);
        command.arg("--case").arg(&self.case);
        command.args(["--label", label, "--date", date]);
        command.args(["--stature", "164", "--operated-side", "right"]);
        command
    }

    fn plan(&self, more: &[&str]) -> Command {
        let mut command = program();
        command.arg("plan").arg(&self.case).env("TRAGUS_TODAY", DAY);
        command.args(["--approve", "AB"]).args(more);
        command
    }

    fn report(&self) -> Command {
        let mut command = program();
        command.arg("compare").arg(&self.case);
        command.arg("--report").arg(self.folder.join("report.html"));
        command
    }

    /// Everything that writes, by its name.
    fn writers(&self) -> Vec<(&'static str, Command)> {
        let visit = self.visit(DAY, "follow-up");
        let mut save = program();
        save.arg("measure").arg(&visit).args(["--arm-limit", "80"]);
        save.arg("--save").arg(visit.join("record.json"));
        let mut batch = program();
        batch.arg("batch").arg(&self.photos);
        batch.arg("--out").arg(self.folder.join("scores.csv"));
        vec![
            // Before another visit is filed, which a plan of an earlier day could not know.
            ("planning", self.plan(&[])),
            ("filing", self.filing("next", "2026-05-05")),
            ("saving", save),
            ("reporting", self.report()),
            ("a batch", batch),
        ]
    }

    /// All files and what is in them, but for locks and what fills the disk.
    fn files(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let entries = walkdir::WalkDir::new(&self.folder);
        let files = entries.into_iter().map(|entry| entry.expect("an entry"));
        files
            .filter(|entry| entry.file_type().is_file())
            .filter(|entry| ![".lock", "filler"].contains(&&*entry.file_name().to_string_lossy()))
            .map(|entry| {
                (
                    entry.path().to_owned(),
                    fs::read(entry.path()).expect("a file"),
                )
            })
            // A batch that could not write a line has nothing to go on with.
            .filter(|(path, bytes)| {
                path.extension().is_none_or(|e| e != "journal") || !bytes.is_empty()
            })
            .collect()
    }

    fn is_whole(&self) -> bool {
        let verified = program().args(["case", "verify"]).arg(&self.case).output();
        let verified = verified.expect("it runs");
        if !verified.status.success() {
            println!(
                "{}{}",
                String::from_utf8_lossy(&verified.stdout),
                said(&verified)
            );
        }
        verified.status.success()
    }

    /// Each writer fails in words, and leaves everything as it was.
    fn refuses(&self, how: &str, wrap: impl Fn(&Command) -> Command) {
        let before = self.files();
        for (what, writer) in self.writers() {
            let output = wrap(&writer).output().expect("it runs");
            let said = said(&output);
            assert_eq!(output.status.code(), Some(2), "{what}, {how}: {said}");
            assert!(said.contains("\nhint: "), "{what}, {how}: {said}");
            let after = self.files();
            for (path, bytes) in &before {
                assert!(
                    after.get(path) == Some(bytes),
                    "{what}, {how}: {}",
                    path.display()
                );
            }
            let new: Vec<_> = after
                .keys()
                .filter(|path| !before.contains_key(*path))
                .collect();
            assert!(new.is_empty(), "{what}, {how}: {new:?} are left");
            assert!(self.is_whole(), "{what}, {how}");
        }
    }
}

fn program() -> Command {
    let mut command = Command::new(PROGRAM);
    command.env_remove("ORT_DYLIB_PATH");
    command
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A command that another one starts.
fn through(outer: &Command, inner: &Command) -> Command {
    let mut command = Command::new(outer.get_program());
    command.args(outer.get_args()).arg(inner.get_program());
    command.args(inner.get_args()).env_remove("ORT_DYLIB_PATH");
    command
}

fn desk() -> (TempDir, Desk) {
    let folder = tempfile::tempdir().expect("a folder");
    let desk = Desk::in_folder(folder.path());
    (folder, desk)
}

/// Not a byte more may be written into any file: what the system says then is what it says of a disk
/// that has no room, and every account may try it.
#[test]
fn where_no_file_may_grow_everything_stays_as_it_is() {
    let (_folder, desk) = desk();
    desk.refuses("no file may grow", |writer| {
        let script = "trap '' XFSZ; ulimit -f 0; exec \"$@\"";
        through(Command::new("bash").args(["-c", script, "-"]), writer)
    });
}

/// A disk of four megabytes, filled to the last byte.
#[test]
fn on_a_full_disk_everything_stays_as_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let Some(_disk) = Disk::of(folder.path(), "4m") else {
        println!("SKIPPED: this account can't make a small disk");
        return;
    };
    let desk = Desk::in_folder(folder.path());
    let filler = folder.path().join("filler");
    fs::write(&filler, vec![0; 8 << 20]).expect_err("a full disk");
    desk.refuses("a full disk", |writer| {
        through(&Command::new("env"), writer)
    });
    // With room again everything goes on.
    fs::remove_file(&filler).expect("removed");
    for (what, mut writer) in desk.writers() {
        let output = writer.output().expect("it runs");
        assert_ne!(output.status.code(), Some(2), "{what}: {}", said(&output));
    }
    assert!(desk.is_whole());
}

/// A disk in memory; unmounted when dropped.
struct Disk(PathBuf);

impl Disk {
    fn of(folder: &Path, size: &str) -> Option<Disk> {
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"]);
        let mounted = mount.arg(folder).stderr(Stdio::null()).status();
        mounted
            .is_ok_and(|status| status.success())
            .then(|| Disk(folder.to_owned()))
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("--lazy").arg(&self.0).status();
    }
}

#[test]
fn where_nothing_may_be_written_everything_stays_as_it_is() {
    let Some(somebody) = as_somebody() else {
        return;
    };
    let (_folder, desk) = desk();
    let folders = || {
        let entries = walkdir::WalkDir::new(&desk.folder);
        let paths = entries
            .into_iter()
            .map(|entry| entry.expect("an entry").into_path());
        paths.filter(|path| path.is_dir()).collect::<Vec<_>>()
    };
    folders().iter().for_each(|folder| let_write(folder, false));
    desk.refuses("nothing may be written", |writer| {
        through(&somebody, writer)
    });
    folders().iter().for_each(|folder| let_write(folder, true));
}

/// Of two programs that file at once each files its visit or says why not.
#[test]
fn two_writers_lose_nothing_of_each_other() {
    let (_folder, desk) = desk();
    let mut filed = 2;
    for round in 0..3 {
        let start = |label: &str| {
            let mut command = desk.filing(&format!("{label}-{round}"), "2026-05-05");
            command.stderr(Stdio::piped()).stdout(Stdio::null());
            command.spawn().expect("it starts")
        };
        for child in [start("one"), start("other")] {
            let output = child.wait_with_output().expect("it ends");
            match output.status.code() {
                Some(2) => {
                    let said = said(&output);
                    assert!(
                        said.contains("another program is writing into this case"),
                        "{said}"
                    );
                    assert!(said.contains("\nhint: "), "{said}");
                }
                _ => filed += 1,
            }
        }
        assert!(desk.is_whole());
        let visits = fs::read_dir(desk.case.join("visits"))
            .expect("visits")
            .count();
        assert_eq!(visits, filed);
    }
    assert!(filed > 4, "in each round one files at least");
}

/// Starts a command and kills it at some moment of the time that it takes. Whether it was killed.
fn killed_within(command: &mut Command, usual: Duration, dice: &mut Dice) -> bool {
    let mut child = command
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let moment = dice.below(usual.as_micros() as usize);
    std::thread::sleep(Duration::from_micros(moment as u64));
    child.kill().expect("a kill");
    child.wait().expect("an end").code().is_none()
}

fn time_of(command: &mut Command) -> Duration {
    let begun = Instant::now();
    let output = command.output().expect("it runs");
    assert_ne!(output.status.code(), Some(2), "{}", said(&output));
    begun.elapsed()
}

#[test]
fn a_kill_while_reporting_leaves_a_whole_report() {
    let (_folder, desk) = desk();
    let report = desk.folder.join("report.html");
    let read = || fs::read_to_string(&report).expect("a report");
    let usual = time_of(&mut desk.report());
    let (old, new) = ("the report before", read());
    let mut dice = Dice(5);
    let (mut kept, mut killed) = (0, 0);
    let rounds = kill_rounds(12);
    for _ in 0..rounds {
        fs::write(&report, old).expect("a report");
        killed += u32::from(killed_within(&mut desk.report(), usual, &mut dice));
        let now = read();
        assert!(now == old || now == new, "{} bytes", now.len());
        kept += u32::from(now == old);
    }
    println!("{rounds} reports, {killed} killed, in {kept} the old one was left");
}

/// What was approved and then replaced is kept under another name, whenever the program ends, and no
/// sheet for home lies beside a plan that says something else.
#[test]
fn a_kill_while_planning_loses_no_approval() {
    let (_folder, desk) = desk();
    let plans = desk.case.join("plans");
    let kept = || -> Vec<String> {
        let entries = fs::read_dir(&plans).expect("plans");
        let paths = entries.map(|entry| entry.expect("an entry").path());
        let is_plan = |path: &PathBuf| {
            let hidden = path
                .file_name()
                .is_some_and(|name| name.as_encoded_bytes()[0] == b'.');
            !hidden && path.extension().is_some_and(|ending| ending == "json")
        };
        let texts = paths
            .filter(is_plan)
            .map(|path| fs::read_to_string(path).expect("a plan"));
        texts.collect()
    };
    // Two plans that replace each other.
    let plan = |round: usize| {
        desk.plan(if round.is_multiple_of(2) {
            &[]
        } else {
            &["--without", "stand_tall"]
        })
    };
    let usual = time_of(&mut plan(1));
    let (mut dice, mut killed, mut replaced) = (Dice(6), 0, 0);
    let rounds = kill_rounds(12);
    for round in 0..rounds {
        let before = kept();
        killed += u32::from(killed_within(&mut plan(round), usual, &mut dice));
        let after = kept();
        for text in &before {
            assert!(after.contains(text), "a plan is lost in round {round}");
        }
        for text in &after {
            record::plan_from_json(text).expect("a whole plan");
        }
        replaced += usize::from(after != before);
        if let Ok(sheet) = fs::read_to_string(plans.join(format!("{DAY}-home.html"))) {
            let plan = fs::read_to_string(plans.join(format!("{DAY}.json"))).expect("a plan");
            let plan = record::plan_from_json(&plan).expect("a whole plan");
            let tells = sheet.contains("Stand tall");
            assert_eq!(tells, plan.without.is_empty(), "round {round}");
        }
        assert!(desk.is_whole(), "round {round}");
    }
    println!("{rounds} plans, {killed} killed, {replaced} had begun to write");
    time_of(&mut plan(0));
}

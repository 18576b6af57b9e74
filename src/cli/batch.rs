//! `tragus batch`: a folder of photos into one table.

use std::collections::BTreeSet;
use std::io::{ErrorKind, IsTerminal};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use tragus::batch::{self, Batch, BatchError, Journal, JournalError, Manifest, Settings, Shard};
use tragus::checksum;
use tragus::infer::{self, Effort};
use tragus::record;
use tragus::scores::{self, Format};

use super::files::{name, no_folder, refuse_target};
use super::{LookArgs, Outcome, PoseNetArg, Stop, Surroundings, load_for, stop, tell};

/// Measures every photo of a folder, and of the folders in it, into one table: a row for each
/// measure of each photo, with its error, or with the reason why it could not be measured.
#[derive(Args)]
#[command(after_help = "\
Examples:
  tragus batch photos --out scores.csv --manifest photos.csv
  tragus batch photos --out scores.parquet --resume

The manifest is a CSV table with a column photo (the path below FOLDER) and any of person,
stature_cm, operated_side, view, task, board_offset_cm and sticker_mm. Without a stature or a board,
lengths in cm are not measured.")]
pub struct BatchArgs {
    /// The folder with the photos
    folder: PathBuf,
    /// The table to write: its ending, .csv, .jsonl or .parquet, says how
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Whom each photo shows: a CSV table, by photo
    #[arg(long, value_name = "FILE")]
    manifest: Option<PathBuf>,
    /// So many photos are measured side by side [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Go on with a run of this output that was interrupted
    #[arg(long)]
    resume: bool,
    /// Measure only the K-th of N parts, for several machines
    #[arg(long, value_name = "K/N")]
    shard: Option<Shard>,
    /// Give each photo as much work as tragus measure does: slower, with smaller errors
    #[arg(long)]
    thorough: bool,
    #[command(flatten)]
    look: LookArgs,
}

pub fn run(args: &BatchArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let inputs: Vec<PathBuf> = args.manifest.iter().cloned().collect();
    refuse_target(&args.out, &Format::ENDINGS, &inputs)?;
    let format = Format::of(&args.out).expect("the ending was just checked");
    if !args.resume && args.out.exists() {
        return Err(stop(
            "there is such a file already",
            &args.out,
            "give --out another name, or delete it first",
        ));
    }
    if format == Format::Csv && !args.resume {
        refuse_described(&args.out)?;
    }
    if !args.folder.is_dir() {
        return Err(stop(
            no_folder(&args.folder),
            &args.folder,
            "name the folder that holds the photos",
        ));
    }
    let (manifest, checksum) = match &args.manifest {
        Some(path) => manifest(path)?,
        None => (Manifest::default(), String::new()),
    };
    let photos = batch::photos_in(&args.folder);
    for unseen in &photos.unseen {
        tell(&format!("Left out: {unseen}"));
    }
    for line in photos.passed_over.lines() {
        tell(&format!("Passed over: {line}."));
    }
    let cores = || std::thread::available_parallelism().map_or(1, usize::from);
    // Each worker holds nets of its own: more of them than photos would only cost memory.
    let workers = args
        .jobs
        .map_or_else(cores, usize::from)
        .min(photos.found.len())
        .max(1);
    let batch = Batch {
        photos: &photos,
        manifest: &manifest,
        shard: args.shard.unwrap_or(Shard::WHOLE),
        effort: match args.thorough {
            true => Effort::Thorough,
            false => Effort::Quick,
        },
        workers,
    };
    let names = batch.names();
    if photos.found.is_empty() {
        return Err(stop(
            "no photo in this folder or the folders in it",
            &args.folder,
            format!("photos end in {}", tragus::photo::ENDINGS.join(", ")),
        ));
    }
    warn_of_manifest(args, &photos, &manifest);
    if args.out.exists() && !batch::journal_path(&args.out).exists() {
        return already_done(&args.out, &names);
    }
    let (finder, runtime) = load_for(&args.look, surroundings, workers, workers)?;
    let settings = Settings {
        schema: batch::SCHEMA.to_owned(),
        tragus: env!("CARGO_PKG_VERSION").to_owned(),
        nets: infer::nets_checksum(),
        folder: args
            .folder
            .canonicalize()
            .unwrap_or_else(|_| args.folder.clone())
            .display()
            .to_string(),
        runtime: runtime.words(),
        pose_net: match args.look.pose_net {
            PoseNetArg::Full => "full",
            PoseNetArg::Heavy => "heavy",
        }
        .to_owned(),
        effort: match batch.effort {
            Effort::Quick => "quick",
            Effort::Thorough => "thorough",
        }
        .to_owned(),
        manifest: checksum,
        shard: batch.shard.to_string(),
    };
    let mut journal = Journal::open(&args.out, &settings, args.resume)
        .map_err(|error| refused(error, &args.out))?;
    let left = batch.to_measure(&names, &journal);
    let kept = names.len() - left.len();
    if journal.damaged() > 0 {
        tell(&format!(
            "{} of the interrupted run can't be read back: measured again.",
            photo_count(journal.damaged())
        ));
    }
    tell(&format!(
        "{}{}; nets on the {} runtime, {workers} at a time.",
        photo_count(names.len()),
        match kept {
            0 => String::new(),
            kept => format!(", {kept} of them measured before the interruption"),
        },
        runtime.words(),
    ));
    // A folder that may be listed and not entered: its photos are there, and stay unread.
    let is_closed = |path: &Path| {
        let denied = |error: std::io::Error| error.kind() == ErrorKind::PermissionDenied;
        path.try_exists().is_err_and(denied)
    };
    let found = |photo: &&str| photos.found.get(*photo);
    let closed: BTreeSet<&str> = left
        .iter()
        .copied()
        .filter(|photo| found(photo).is_some_and(|path| is_closed(path)))
        .collect();
    let begun = Instant::now();
    let measure = |photos: &[&str], journal: &mut Journal| {
        let mut progress = Progress::new(names.len(), names.len() - photos.len());
        let done = batch.run(&finder, photos, journal, || progress.step());
        progress.end();
        done.map_err(|error| match error {
            BatchError::Journal(error) => refused(error, &args.out),
            error => error.into(),
        })
    };
    measure(&left, &mut journal)?;
    // A share that was away for a while is back, maybe.
    let unread = journal.kept_for_now().map(str::to_owned);
    let unread: Vec<String> = unread
        .filter(|photo| found(&&**photo).is_some_and(|path| path.exists()))
        .collect();
    if !unread.is_empty() {
        tell(&format!(
            "{} could not be read, or not be looked at: trying once more.",
            photo_count(unread.len())
        ));
        let again: Vec<&str> = unread.iter().map(String::as_str).collect();
        measure(&again, &mut journal)?;
    }
    // A share that went away, maybe with its folder left behind, empty: a table would take every photo
    // left for unreadable, and end the run.
    let is_gone = |photo: &&str| {
        let gone = found(photo).is_some_and(|path| !path.exists());
        gone && !closed.contains(photo)
    };
    if let Some(first) = journal.kept_for_now().find(is_gone) {
        return Err(stop(
            format!("photos that were there are gone, {first} first"),
            &args.folder,
            "bring them back and add --resume: what was measured is kept. Without them, --resume goes on \
             with what is there",
        ));
    }
    // Before the table: a run that is killed in between is resumed, one with a table is not.
    if format == Format::Csv {
        describe(&args.out)?;
    }
    let counts = journal
        .finish(&args.out, format, names.iter().copied())
        .map_err(|error| refused(error, &args.out))?;
    let seconds = begun.elapsed().as_secs_f64();
    tell(&format!(
        "{} in {}, {:.1} a second. {} values, {} unmeasured; nothing could be measured in {}.",
        photo_count(left.len()),
        duration(seconds),
        left.len() as f64 / seconds.max(1e-3),
        counts.measured,
        counts.unmeasured,
        photo_count(counts.empty_photos),
    ));
    Ok(Outcome::of(
        counts.unmeasured == 0 && photos.unseen.is_empty(),
    ))
}

/// What there is to say of a run that was whole before: how it ended, if its table is of these
/// photos.
fn already_done(out: &Path, names: &[&str]) -> Result<Outcome, Stop> {
    let again = "give --out another name to measure again";
    let rows = scores::read(out).map_err(|error| stop(error, out, again))?;
    let there: BTreeSet<&str> = rows.iter().map(|row| row.photo.as_str()).collect();
    if !there.iter().eq(names) {
        return Err(stop("this table is of other photos", out, again));
    }
    tell(&format!(
        "There is nothing to resume: {} has every photo. To measure again, give --out another name.",
        out.display()
    ));
    Ok(Outcome::of(rows.iter().all(|row| row.value.is_some())))
}

fn photo_count(count: usize) -> String {
    match count {
        1 => "1 photo".to_owned(),
        count => format!("{count} photos"),
    }
}

fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match whole {
        0..60 => format!("{seconds:.1} s"),
        60..3600 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

fn manifest(path: &Path) -> Result<(Manifest, String), Stop> {
    let bytes =
        std::fs::read(path).map_err(|error| stop(error, path, "check the name of the manifest"))?;
    let manifest = batch::manifest::read(&bytes).map_err(|error| {
        stop(
            error,
            path,
            format!(
                "the columns are {}; all but photo may be left out",
                batch::manifest::COLUMNS.join(", ")
            ),
        )
    })?;
    Ok((manifest, checksum::sha256(&bytes)))
}

/// Says what in the manifest has no effect.
fn warn_of_manifest(args: &BatchArgs, photos: &batch::Photos, manifest: &Manifest) {
    if args.manifest.is_none() {
        return;
    }
    if !manifest.ignored.is_empty() {
        tell(&format!(
            "Columns of the manifest that are not used: {}.",
            manifest.ignored.join(", ")
        ));
    }
    let examples = |names: &[&String]| match names {
        [one] => format!("1, {one}"),
        [first, ..] => format!("{}, {first} first", names.len()),
        [] => "none".to_owned(),
    };
    let missing: Vec<&String> = manifest
        .entries
        .keys()
        .filter(|photo| !photos.found.contains_key(*photo))
        .collect();
    if !missing.is_empty() {
        tell(&format!(
            "In the manifest but not in the folder: {}. Each has a row that says so.",
            examples(&missing)
        ));
    }
    let unlisted: Vec<&String> = photos
        .found
        .keys()
        .filter(|photo| !manifest.entries.contains_key(*photo))
        .collect();
    if !unlisted.is_empty() {
        tell(&format!(
            "In the folder but not in the manifest: {}. Measured without person and stature.",
            examples(&unlisted)
        ));
    }
}

fn refused(error: JournalError, out: &Path) -> Stop {
    let journal = batch::journal_path(out);
    let hint = match &error {
        JournalError::Locked => "wait for it, or give this run another --out".to_owned(),
        JournalError::Interrupted => format!(
            "add --resume to go on with it; to begin anew, delete {}",
            journal.display()
        ),
        JournalError::OtherSettings { .. } => format!(
            "resume it as it was begun; to begin anew, delete {}",
            journal.display()
        ),
        JournalError::Damaged => {
            format!("to begin anew, delete {}", journal.display())
        }
        _ => "make room or give the right to write there, then add --resume: what was measured is \
              kept"
            .to_owned(),
    };
    stop(error, out, hint)
}

/// Where the standard looks for what the columns of a CSV table hold.
fn description_of(out: &Path) -> PathBuf {
    let mut path = out.as_os_str().to_owned();
    path.push("-metadata.json");
    PathBuf::from(path)
}

/// Refuses to write over something else there.
fn refuse_described(out: &Path) -> Result<(), Stop> {
    let path = description_of(out);
    match std::fs::read_to_string(&path) {
        Ok(text) if text == scores::csv_description(&name(out)) => Ok(()),
        _ if !path.exists() => Ok(()),
        _ => Err(stop(
            "what the columns hold would be written here, and there is such a file already",
            &path,
            "give --out another name, or move that file away first",
        )),
    }
}

/// Writes what the columns hold beside a CSV table.
fn describe(out: &Path) -> Result<(), Stop> {
    let path = description_of(out);
    record::write_atomically(&path, scores::csv_description(&name(out)).as_bytes())
        .map_err(|error| stop(error, &path, "the folder must be writable"))
}

/// A bar on a terminal; in a log, a line now and then.
struct Progress {
    bar: ProgressBar,
    lines: Option<Lines>,
}

struct Lines {
    begun: Instant,
    told: Instant,
    first: usize,
    done: usize,
    all: usize,
}

const BETWEEN_LINES: Duration = Duration::from_secs(60);

impl Progress {
    fn new(all: usize, kept: usize) -> Progress {
        let on_terminal = std::io::stderr().is_terminal();
        let bar = match on_terminal {
            true => ProgressBar::new(all as u64).with_position(kept as u64),
            false => ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden()),
        };
        let style = ProgressStyle::with_template(
            "{wide_bar} {pos} of {len} photos, {per_sec:1}, {eta} left",
        );
        bar.set_style(style.expect("the template is well formed"));
        bar.reset_eta();
        let now = Instant::now();
        Progress {
            bar,
            lines: (!on_terminal).then_some(Lines {
                begun: now,
                told: now,
                first: kept,
                done: kept,
                all,
            }),
        }
    }

    fn step(&mut self) {
        self.bar.inc(1);
        let Some(lines) = &mut self.lines else { return };
        lines.done += 1;
        if lines.told.elapsed() < BETWEEN_LINES {
            return;
        }
        lines.told = Instant::now();
        let rate = (lines.done - lines.first) as f64 / lines.begun.elapsed().as_secs_f64();
        let left = (lines.all - lines.done) as f64 / rate;
        tell(&format!(
            "{} of {}, {rate:.1} a second, {} left",
            lines.done,
            photo_count(lines.all),
            duration(left)
        ));
    }

    fn end(&self) {
        self.bar.finish_and_clear();
    }
}

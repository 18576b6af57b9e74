//! The command line: what was typed, checked, and handed to the pipeline. Results go to standard
//! output, everything else to standard error.

mod agree;
mod ask;
mod batch;
mod board;
mod case;
mod check;
mod compare;
mod files;
mod forget;
mod licences;
mod measure;
mod person;
mod plan;
mod schema;
mod serve;
mod shell;
mod write;

use std::ffi::OsString;
use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand, ValueEnum};

use tragus::case::CaseError;
use tragus::episode::NotKept;
use tragus::infer::{Finder, PoseNetKind, Runtime, RuntimeChoice};
use tragus::report::document::Paper;

/// Measures standing posture and overhead reach from photos, with the error of every number.
///
/// Not a diagnosis. The surgeon's and the therapist's limits come first.
#[derive(Parser)]
#[command(
    name = "tragus",
    version,
    long_version = shell::VERSIONS.as_str(),
    max_term_width = 100,
    after_help = "Exit codes: 0 done; 1 done, but something could not be measured, or something stands in \
                  the way; 2 could not run.\nResults go to standard output, everything else to standard \
                  error. Colours keep to NO_COLOR."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Measure one visit: photos, or a folder with a visit.json
    #[command(
        after_help = "Examples:\n  tragus measure visit --stature 164 --operated-side right\n  tragus measure photos --case demo-07 --label intake --date 2026-03-10"
    )]
    Measure(measure::MeasureArgs),
    /// Compare visits, oldest first: what changed beyond error, and what did not
    #[command(
        after_help = "Examples:\n  tragus compare demo-07 --report report.pdf --paper a4\n  tragus compare intake/record.json follow-up --format json"
    )]
    Compare(compare::CompareArgs),
    /// Measure a folder of photos into one table, as many as there are
    #[command(
        after_help = "Examples:\n  tragus batch photos --out scores.csv --manifest photos.csv\n  tragus batch photos --out scores.parquet --resume"
    )]
    Batch(batch::BatchArgs),
    /// Check one photo of an overhead reach, in plain words
    #[command(
        after_help = "Examples:\n  tragus check reach.jpg\n  tragus check reach.jpg --arm-limit 90 --operated-side left"
    )]
    Check(check::CheckArgs),
    /// Agreement of two or more raters, cameras or days: bias, limits, ICC, SEM, MDC95
    #[command(
        after_help = "Examples:\n  tragus agree rater-a.csv rater-b.csv\n  tragus agree truth.csv scores.csv --reference --plots plots"
    )]
    Agree(agree::AgreeArgs),
    /// Write the printable board that tells scale, plumb line and camera (PDF)
    #[command(
        after_help = "Examples:\n  tragus board --paper a4\n  tragus board --paper letter --out board.pdf"
    )]
    Board(board::BoardArgs),
    /// The folder of one person's episode of care: is it as it was written?
    #[command(
        after_help = "Examples:\n  tragus case verify demo-07\n  tragus case verify demo-07 --accept"
    )]
    Case(case::CaseArgs),
    /// Screening, limits and a programme of exercises for a clinician to approve
    #[command(
        after_help = "Examples:\n  tragus plan demo-07\n  tragus plan demo-07 --answers answers.json --approve AB"
    )]
    Plan(plan::PlanArgs),
    /// Write a case's documents: comparison, course, visit note, letter, sheet for home (PDF, HTML)
    #[command(
        after_help = "Examples:\n  tragus write demo-07\n  tragus write demo-07 letter --to Referrer --paper letter --out outbox"
    )]
    Write(write::WriteArgs),
    /// Remove a case for good, and hear what of it is left elsewhere
    #[command(
        after_help = "Examples:\n  tragus forget demo-07\n  tragus forget cases/demo-07 --yes demo-07"
    )]
    Forget(forget::ForgetArgs),
    /// The JSON Schema of a file that tragus keeps or reads
    #[command(
        after_help = "Examples:\n  tragus schema visit\n  tragus schema landmarks > landmarks.schema.json"
    )]
    Schema(schema::SchemaArgs),
    /// Self-check, review and comparison on a web page of this machine
    #[command(
        after_help = "Examples:\n  tragus serve\n  tragus serve visits/2026-03-10-intake visits/2026-04-28-follow-up"
    )]
    Serve(serve::ServeArgs),
    /// What the program is made of, and under which licences
    #[command(
        after_help = "Examples:\n  tragus licences\n  tragus licences --texts > licences.txt"
    )]
    Licences(licences::LicencesArgs),
    /// Print what lets a shell complete commands and options
    #[command(
        after_help = "Examples:\n  tragus completions bash > ~/.local/share/bash-completion/completions/tragus\n  \
                      tragus completions zsh > _tragus"
    )]
    Completions(shell::CompletionsArgs),
    /// Print the manual page
    #[command(after_help = "Examples:\n  tragus man > tragus.1\n  tragus man --out man1")]
    Man(shell::ManArgs),
}

/// Options of every command that looks at photos.
#[derive(Args)]
struct LookArgs {
    /// What runs the nets: auto, embedded, or the file of an ONNX Runtime library
    #[arg(long, value_name = "auto|embedded|FILE", default_value = "auto")]
    runtime: String,
    /// Which pose net looks for the joints; heavy is slower, better on difficult photos, and only in
    /// a program that was built with it
    #[arg(long, value_enum, default_value = "full")]
    pose_net: PoseNetArg,
}

#[derive(Clone, Copy, ValueEnum)]
enum PoseNetArg {
    Full,
    Heavy,
}

impl PoseNetArg {
    const fn kind(self) -> PoseNetKind {
        match self {
            PoseNetArg::Full => PoseNetKind::Full,
            PoseNetArg::Heavy => PoseNetKind::Heavy,
        }
    }
}

/// The paper in the printer.
#[derive(Clone, Copy, ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

impl PaperArg {
    const fn of_document(self) -> Paper {
        match self {
            PaperArg::A4 => Paper::A4,
            PaperArg::Letter => Paper::Letter,
        }
    }
}

/// How a run ended, when it could run.
enum Outcome {
    Complete,
    /// Something could not be measured.
    Partial,
}

impl Outcome {
    fn of(everything_measured: bool) -> Outcome {
        match everything_measured {
            true => Outcome::Complete,
            false => Outcome::Partial,
        }
    }
}

/// The surroundings that the program was started in, looked up once.
pub struct Surroundings {
    pub ort_dylib_path: Option<OsString>,
    pub program_folder: Option<PathBuf>,
    /// Where programs keep the data of this user.
    pub data_folder: Option<PathBuf>,
    /// The day and time on this machine's clock.
    pub now: fn() -> jiff::civil::DateTime,
}

/// Runs the program: 0 done, 1 done but something could not be measured, 2 could not run.
pub fn run(arguments: impl Iterator<Item = OsString>, surroundings: &Surroundings) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are results; a wrong command could not run. Nobody is left to
            // tell when even printing fails.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let outcome = match &cli.command {
        Command::Measure(args) => measure::run(args, surroundings),
        Command::Compare(args) => compare::run(args, surroundings),
        Command::Batch(args) => batch::run(args, surroundings),
        Command::Check(args) => check::run(args, surroundings),
        Command::Agree(args) => agree::run(args),
        Command::Board(args) => board::run(args),
        Command::Case(args) => case::run(args),
        Command::Plan(args) => plan::run(args, surroundings),
        Command::Write(args) => write::run(args, surroundings),
        Command::Forget(args) => forget::run(args, surroundings),
        Command::Licences(args) => licences::run(args),
        Command::Schema(args) => schema::run(args),
        Command::Serve(args) => serve::run(args, surroundings),
        Command::Completions(args) => shell::completions(args),
        Command::Man(args) => shell::man(args),
    };
    match outcome {
        Ok(Outcome::Complete) => ExitCode::SUCCESS,
        Ok(Outcome::Partial) => ExitCode::from(1),
        Err(error) => {
            let hint = error.hint.as_deref();
            refuse(&format!("{:#}", error.error), hint)
        }
    }
}

/// Says why the program could not run, and what to do about it.
pub fn refuse(why: &str, hint: Option<&str>) -> ExitCode {
    tell(&format!("tragus: {why}"));
    if let Some(hint) = hint {
        tell(&format!("hint: {hint}"));
    }
    ExitCode::from(2)
}

/// An error that stops the run, with what to do about it on a line of its own.
struct Stop {
    error: anyhow::Error,
    hint: Option<String>,
}

impl<E: Into<anyhow::Error>> From<E> for Stop {
    fn from(error: E) -> Self {
        let error = error.into();
        // Errors of a case know what to do.
        let of_case = match error.downcast_ref() {
            Some(NotKept::Case(error)) => Some(error),
            _ => error.downcast_ref::<CaseError>(),
        };
        let hint = of_case.map(|error| error.hint().to_owned());
        Stop { error, hint }
    }
}

/// Adds what went wrong in words, with the path last, and a hint.
fn stop(what: impl Display, path: &Path, hint: impl Into<String>) -> Stop {
    Stop {
        error: anyhow::anyhow!("{what}: {}", path.display()),
        hint: Some(hint.into()),
    }
}

/// Loads the nets for the photos of one visit.
fn load(look: &LookArgs, surroundings: &Surroundings) -> Result<Finder, Stop> {
    load_for(look, surroundings, 1, rayon::current_num_threads()).map(|(finder, _)| finder)
}

/// Loads the nets for so many photos and looks side by side, tells where they run, and says which ONNX Runtime libraries
/// were found but can't run them.
fn load_for(
    look: &LookArgs,
    surroundings: &Surroundings,
    photos: usize,
    looks: usize,
) -> Result<(Finder, &'static Runtime), Stop> {
    let choice = RuntimeChoice::settle(
        &look.runtime,
        surroundings.ort_dylib_path.clone().map(PathBuf::from),
        surroundings.program_folder.as_deref(),
    );
    let runtime = Runtime::start(&choice).map_err(|error| Stop {
        error: error.into(),
        hint: Some("--runtime embedded needs no library and always works".to_owned()),
    })?;
    for error in runtime.passed_over() {
        tell(&format!("passed over: {error}"));
    }
    if !runtime.passed_over().is_empty() {
        tell(&format!("the runtime used: {}", runtime.words()));
    }
    let finder =
        Finder::load(runtime, look.pose_net.kind(), photos, looks).map_err(|error| Stop {
            error: error.into(),
            hint: Some("without --pose-net and --runtime the built-in nets are used".to_owned()),
        })?;
    Ok((finder, runtime))
}

/// Says something to the user beside the results. When even that fails, nobody is left to tell.
pub fn tell(words: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "{}", plain(words));
}

/// Text without what a terminal would obey: the name of a file may hold it.
fn plain(text: &str) -> String {
    let text = text.replace(
        |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t'),
        "\u{fffd}",
    );
    // Lines may end with it; elsewhere it writes over what stands before.
    let lines = text
        .split("\r\n")
        .map(|line| line.replace('\r', "\u{fffd}"));
    lines.collect::<Vec<_>>().join("\r\n")
}

/// Prints to standard output; a reader that stopped listening is not an error.
fn print(text: &str) -> Result<(), Stop> {
    use std::io::Write;
    match std::io::stdout().lock().write_all(plain(text).as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(Stop {
            error: anyhow::Error::new(error).context("the result could not be printed"),
            hint: Some("is there room where it goes to?".to_owned()),
        }),
        _ => Ok(()),
    }
}

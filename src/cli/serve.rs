//! `tragus serve`: the same on a local web page.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use tragus::case::{self, Case};
use tragus::visit::VisitFacts;
use tragus::web::{BindError, Server, Setup, VisitFolder};

use super::{LookArgs, Outcome, Stop, Surroundings, files, load, stop, tell};

#[derive(Args)]
pub struct ServeArgs {
    /// Folders of photos to review, each with a visit.json if there is one, or the folder of one
    /// case; none for the self-check alone
    #[arg(value_name = "VISIT|CASE")]
    paths: Vec<PathBuf>,
    /// Where the self-check keeps its diary, instead of the usual place for a program's data
    #[arg(long, value_name = "FILE")]
    diary: Option<PathBuf>,
    /// The port to listen on, on this machine alone; 0 takes any that is free
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,
    /// Print the address and open no browser
    #[arg(long)]
    no_open: bool,
    #[command(flatten)]
    look: LookArgs,
}

pub fn run(args: &ServeArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let (cases, named): (Vec<&PathBuf>, Vec<&PathBuf>) =
        args.paths.iter().partition(|path| Case::is_one(path));
    let case = match cases[..] {
        [] => None,
        [case] => Some(Case::open(case)?),
        [case, other, ..] if files::same_file(case, other) => {
            return Err(stop("this case is named twice", other, "name it once"));
        }
        [_, other, ..] => {
            return Err(stop(
                "this is a second case",
                other,
                "name one: the page is for one person at a time",
            ));
        }
    };
    let of_case = match &case {
        Some(case) => {
            // A limit may stand in a screening that can't be read.
            case.screenings()?;
            case.visits()?
        }
        None => Vec::new(),
    };
    let paths: Vec<&PathBuf> = named.iter().copied().chain(&of_case).collect();
    refuse_twice(&paths)?;
    let named = named.into_iter().map(|path| folder(path));
    let of_case = of_case.iter().map(|path| filed(path));
    let visits = named.chain(of_case).collect::<Result<Vec<_>, _>>()?;
    let diary = diary(args, surroundings)?;
    let finder = Arc::new(load(&args.look, surroundings)?);
    let server = Server::bind(Setup {
        finder,
        visits,
        case: case.map(|case| case.folder().to_owned()),
        diary,
        port: args.port,
        now: surroundings.now,
    })
    .map_err(|error| match error {
        BindError::Port(error) => no_port(args.port, error),
        BindError::Case(error) => error.into(),
        error => error.into(),
    })?;
    if let Some(trouble) = server.diary_trouble() {
        tell(&trouble);
    }
    let address = server.address()?;
    tell(&format!(
        "The page is at {address}\nThe address works once, on this machine alone. Ctrl-C ends it."
    ));
    if !args.no_open && open::that_detached(&address).is_err() {
        tell("No browser could be opened: copy the address into one.");
    }
    server.run(tell)?;
    Ok(Outcome::Complete)
}

/// Two reviews of one folder would each find its record changed by the other.
fn refuse_twice(folders: &[&PathBuf]) -> Result<(), Stop> {
    let twice = folders.iter().enumerate().find(|(index, folder)| {
        let before = &folders[..*index];
        before.iter().any(|other| files::same_file(other, folder))
    });
    match twice {
        Some((_, folder)) => Err(stop(
            "this folder is named twice",
            folder,
            "name each visit's folder once",
        )),
        None => Ok(()),
    }
}

fn no_port(port: u16, error: io::Error) -> Stop {
    let (what, hint) = match (port, error.kind()) {
        (0, _) => (
            "this machine gave no port to serve the page on".to_owned(),
            "does the system forbid programs to listen on 127.0.0.1?",
        ),
        (_, ErrorKind::AddrInUse) => (
            format!("port {port} is in use by another program"),
            "name another --port, or leave it out to take any that is free",
        ),
        (_, ErrorKind::PermissionDenied) => (
            format!("port {port} is not for programs of this account"),
            "name a --port from 1024 on, or leave it out to take any that is free",
        ),
        _ => (
            format!("port {port} can't be listened on"),
            "leave out --port to take any that is free",
        ),
    };
    Stop {
        error: anyhow::Error::new(error).context(what),
        hint: Some(hint.to_owned()),
    }
}

fn folder(path: &Path) -> Result<VisitFolder, Stop> {
    if !path.is_dir() {
        return Err(stop(
            files::no_folder(path),
            path,
            "name each visit's folder of photos",
        ));
    }
    let found = files::visit_files(&[path.to_owned()])?;
    for clip in &found.clips {
        tell(&format!(
            "Not on the page: {}. Measure a clip with tragus measure, which files its frames with --case.",
            clip.display()
        ));
    }
    Ok(VisitFolder {
        path: path.to_owned(),
        facts: found.facts,
        photos: found.photos,
    })
}

/// A visit of a case. What is damaged in it hides nothing else: one whose photos are lost stands there
/// with its record.
fn filed(path: &Path) -> Result<VisitFolder, Stop> {
    match folder(path) {
        Err(_) if path.join(case::RECORD).is_file() => Ok(VisitFolder {
            path: path.to_owned(),
            facts: VisitFacts::default(),
            photos: Vec::new(),
        }),
        found => found,
    }
}

/// Where the diary lies. A photo, a record or a visit's facts named by mistake is not taken for one.
fn diary(args: &ServeArgs, surroundings: &Surroundings) -> Result<PathBuf, Stop> {
    match &args.diary {
        Some(path) => {
            files::refuse_target(path, &["json"], &[])?;
            Ok(path.clone())
        }
        None => usual_diary(surroundings).ok_or_else(|| Stop {
            error: anyhow::anyhow!("this system tells no place for a program's data"),
            hint: Some("name one with --diary".to_owned()),
        }),
    }
}

/// Where the diary lies unless another place is named.
pub fn usual_diary(surroundings: &Surroundings) -> Option<PathBuf> {
    let folder = surroundings.data_folder.as_ref()?;
    Some(folder.join("tragus").join("diary.json"))
}

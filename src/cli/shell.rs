//! What belongs to the command line itself: completions, manual pages, versions.

use std::path::PathBuf;
use std::sync::LazyLock;

use clap::{Args, CommandFactory};
use clap_complete::Shell;

use tragus::infer::Manifest;

use super::{Cli, Outcome, Stop, files, print, stop, tell};

const ONNX_RUNTIME_API: &str = "24";

/// Version of the program, of its nets and of what runs them, for whoever has to say what measured.
pub static VERSIONS: LazyLock<String> = LazyLock::new(|| {
    let mut text = env!("CARGO_PKG_VERSION").to_owned();
    let manifest = Manifest::built_in().expect("a test reads the manifest that is built in");
    for model in manifest.models {
        text += &format!(
            "\nnet {}: {} {}, SHA-256 {}",
            model.name,
            model.source.package,
            model.source.version,
            &model.sha256[..16]
        );
    }
    text += &format!(
        "\nruntime: tract, built in; or an ONNX Runtime library with API {ONNX_RUNTIME_API}, as the \
         package onnxruntime for Python has it"
    );
    text
});

#[derive(Args)]
pub struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

pub fn completions(args: &CompletionsArgs) -> Result<Outcome, Stop> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "tragus", &mut script);
    print(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Complete)
}

#[derive(Args)]
pub struct ManArgs {
    /// Write a page for each command into this folder, instead of printing the first one
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub fn man(args: &ManArgs) -> Result<Outcome, Stop> {
    match &args.out {
        None => {
            let mut page = Vec::new();
            clap_mangen::Man::new(Cli::command()).render(&mut page)?;
            print(&String::from_utf8_lossy(&page))?;
        }
        Some(folder) => {
            files::make_folder(folder, "name a folder for the pages")?;
            clap_mangen::generate_to(Cli::command(), folder)
                .map_err(|error| stop(error, folder, "the folder must be writable"))?;
            tell(&format!("manual pages: {}", folder.display()));
        }
    }
    Ok(Outcome::Complete)
}

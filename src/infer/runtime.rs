//! Which library runs the nets: the one built in, or an ONNX Runtime that was named or found.
//!
//! The choice is made once for the whole process, as the underlying interface demands.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use ort::environment::{Environment, EnvironmentBuilder};
use thiserror::Error;

use super::found;

/// What to run the nets on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RuntimeChoice {
    /// The pure-Rust one that is always there.
    Embedded,
    /// This library file, and nothing else: somebody named it.
    Library(PathBuf),
    /// The first of these library files that works, else the built-in one: nobody named them, so
    /// nobody has to mend them.
    Found(Vec<PathBuf>),
}

impl RuntimeChoice {
    /// Settles the choice. `asked` is what the user wrote (`auto`, `embedded` or a file);
    /// `named` the value of `ORT_DYLIB_PATH`; `beside` the folder of the program.
    pub fn settle(asked: &str, named: Option<PathBuf>, beside: Option<&Path>) -> RuntimeChoice {
        match asked {
            "embedded" => RuntimeChoice::Embedded,
            "auto" => {
                let named = named.filter(|path| !path.as_os_str().is_empty());
                match (named, beside.map(found::libraries)) {
                    (Some(path), _) => RuntimeChoice::Library(path),
                    (None, Some(found)) if !found.is_empty() => RuntimeChoice::Found(found),
                    _ => RuntimeChoice::Embedded,
                }
            }
            file => RuntimeChoice::Library(PathBuf::from(file)),
        }
    }
}

/// The runtime of this process.
pub struct Runtime {
    environment: Environment,
    choice: RuntimeChoice,
    /// The library that is at work; none: the built-in one.
    library: Option<PathBuf>,
    passed_over: Vec<RuntimeError>,
}

#[derive(Clone, Debug, Error)]
pub enum RuntimeError {
    #[error("this is not an ONNX Runtime library that can be loaded ({detail}): {}", .path.display())]
    Library { path: PathBuf, detail: String },
    #[error("the runtime did not start: {0}")]
    Start(String),
    #[error("another runtime is already at work in this process: {0:?}")]
    AlreadyChosen(RuntimeChoice),
}

static RUNTIME: OnceLock<Result<Runtime, RuntimeError>> = OnceLock::new();

impl Runtime {
    /// Starts the runtime, or returns the one already started if it is the one asked for.
    pub fn start(choice: &RuntimeChoice) -> Result<&'static Runtime, RuntimeError> {
        match RUNTIME.get_or_init(|| start(choice)) {
            Ok(runtime) if runtime.choice == *choice => Ok(runtime),
            Ok(runtime) => Err(RuntimeError::AlreadyChosen(runtime.choice.clone())),
            Err(error) => Err(error.clone()),
        }
    }

    pub(super) fn is_built_in(&self) -> bool {
        self.library.is_none()
    }

    /// "built in", or the library's file.
    pub fn words(&self) -> String {
        match &self.library {
            None => "built in".to_owned(),
            Some(path) => path.display().to_string(),
        }
    }

    /// Why libraries that were found before this one were not used.
    pub fn passed_over(&self) -> &[RuntimeError] {
        &self.passed_over
    }

    pub(super) fn environment(&self) -> &Environment {
        &self.environment
    }
}

fn start(choice: &RuntimeChoice) -> Result<Runtime, RuntimeError> {
    let mut passed_over = Vec::new();
    let (builder, library) = match choice {
        RuntimeChoice::Embedded => (built_in(), None),
        RuntimeChoice::Library(path) => (load(path)?, Some(path)),
        RuntimeChoice::Found(paths) => paths
            .iter()
            .find_map(|path| match load(path) {
                Ok(builder) => Some((builder, Some(path))),
                Err(error) => {
                    passed_over.push(error);
                    None
                }
            })
            .unwrap_or_else(|| (built_in(), None)),
    };
    let environment = builder
        .with_name("tragus")
        .with_telemetry(false)
        .build()
        .map_err(|error| RuntimeError::Start(error.to_string()))?;
    Ok(Runtime {
        environment,
        choice: choice.clone(),
        library: library.cloned(),
        passed_over,
    })
}

fn built_in() -> EnvironmentBuilder {
    ort::set_api(ort_tract::api());
    ort::init()
}

/// Loads a library and checks its version. Nothing of one that fails stays behind, so another may
/// be tried.
fn load(path: &Path) -> Result<EnvironmentBuilder, RuntimeError> {
    ort::init_from(path).map_err(|error| RuntimeError::Library {
        path: path.to_owned(),
        detail: error.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_choice_prefers_what_was_asked_then_named_then_found() {
        let named = Some(PathBuf::from("named.so"));
        let settle = RuntimeChoice::settle;
        assert_eq!(
            settle("embedded", named.clone(), None),
            RuntimeChoice::Embedded
        );
        assert_eq!(
            settle("asked.so", named.clone(), None),
            RuntimeChoice::Library("asked.so".into())
        );
        assert_eq!(
            settle("auto", named, None),
            RuntimeChoice::Library("named.so".into())
        );
        assert_eq!(settle("auto", None, None), RuntimeChoice::Embedded);
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(
            settle("auto", None, Some(folder.path())),
            RuntimeChoice::Embedded
        );
        let library = folder.path().join(format!(
            "{}onnxruntime{}",
            std::env::consts::DLL_PREFIX,
            std::env::consts::DLL_SUFFIX
        ));
        std::fs::write(&library, "").unwrap();
        assert_eq!(
            settle("auto", Some("".into()), Some(folder.path())),
            RuntimeChoice::Found(vec![library]),
            "an empty name is no name"
        );
        assert_eq!(
            settle("auto", Some("named.so".into()), Some(folder.path())),
            RuntimeChoice::Library("named.so".into())
        );
    }
}

//! Which library runs the nets: the one built in, or an ONNX Runtime that was named or found.
//!
//! The choice is made once for the whole process, as the underlying interface demands.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use ort::environment::Environment;
use thiserror::Error;

/// Where to look for an ONNX Runtime library.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RuntimeChoice {
    /// The pure-Rust one that is always there.
    Embedded,
    /// This library file.
    Library(PathBuf),
}

impl RuntimeChoice {
    /// Settles the choice. `asked` is what the user wrote (`auto`, `embedded` or a file);
    /// `named` the value of `ORT_DYLIB_PATH`; `beside` the folder of the program.
    pub fn settle(asked: &str, named: Option<PathBuf>, beside: Option<&Path>) -> RuntimeChoice {
        match asked {
            "embedded" => RuntimeChoice::Embedded,
            "auto" => {
                let file = format!(
                    "{}onnxruntime{}",
                    std::env::consts::DLL_PREFIX,
                    std::env::consts::DLL_SUFFIX
                );
                named
                    .filter(|path| !path.as_os_str().is_empty())
                    .or_else(|| {
                        beside
                            .map(|folder| folder.join(file))
                            .filter(|path| path.is_file())
                    })
                    .map_or(RuntimeChoice::Embedded, RuntimeChoice::Library)
            }
            file => RuntimeChoice::Library(PathBuf::from(file)),
        }
    }
}

/// The runtime of this process.
pub struct Runtime {
    environment: Environment,
    choice: RuntimeChoice,
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

    /// "built in", or the library's file.
    pub fn words(&self) -> String {
        match &self.choice {
            RuntimeChoice::Embedded => "built in".to_owned(),
            RuntimeChoice::Library(path) => path.display().to_string(),
        }
    }

    pub(super) fn environment(&self) -> &Environment {
        &self.environment
    }
}

fn start(choice: &RuntimeChoice) -> Result<Runtime, RuntimeError> {
    let builder = match choice {
        RuntimeChoice::Embedded => {
            ort::set_api(ort_tract::api());
            ort::init()
        }
        RuntimeChoice::Library(path) => {
            ort::init_from(path).map_err(|error| RuntimeError::Library {
                path: path.clone(),
                detail: error.to_string(),
            })?
        }
    };
    let environment = builder
        .with_name("tragus")
        .with_telemetry(false)
        .build()
        .map_err(|error| RuntimeError::Start(error.to_string()))?;
    Ok(Runtime {
        environment,
        choice: choice.clone(),
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
    }
}

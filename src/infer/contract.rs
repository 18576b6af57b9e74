//! The models that travel in the program, and the contract each is checked against before use.

use serde::Deserialize;
use thiserror::Error;

use crate::checksum;

const MANIFEST: &str = include_str!("../../models/manifest.json");
const PERSON_DETECTOR: &[u8] = include_bytes!("../../models/person_detector.onnx");
const POSE_FULL: &[u8] = include_bytes!("../../models/pose_full.onnx");
#[cfg(feature = "heavy")]
const POSE_HEAVY: &[u8] = include_bytes!("../../models/pose_heavy.onnx");
const LANDMARKS: &[u8] = include_bytes!("../../models/landmarks.onnx");

/// Which pose net looks for the joints.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PoseNetKind {
    #[default]
    Full,
    /// Slower, and better on photos that are not as they should be; `models/README.md` has the
    /// figures.
    Heavy,
}

/// The manifest beside the model files.
#[derive(Debug, Deserialize)]
pub struct Manifest {
    pub schema: String,
    pub models: Vec<ModelSpec>,
}

/// What a model file is and what it takes and gives.
#[derive(Clone, Debug, Deserialize)]
pub struct ModelSpec {
    pub name: String,
    pub file: String,
    pub sha256: String,
    pub licence: String,
    pub source: Source,
    pub input: Input,
    /// What it takes besides the picture, in this order.
    #[serde(default)]
    pub further_inputs: Vec<Numbers>,
    pub outputs: Vec<Numbers>,
}

#[derive(Clone, Debug, Deserialize)]
pub struct Source {
    pub package: String,
    pub version: String,
    pub member: String,
}

/// A picture, rows first, channels last, RGB, each value between `low` and `high`.
#[derive(Clone, Debug, Deserialize)]
pub struct Input {
    pub name: String,
    pub shape: Vec<usize>,
    pub low: f32,
    pub high: f32,
}

impl Input {
    /// Pixels a side; the pictures are square.
    pub fn size(&self) -> u32 {
        self.shape[1] as u32
    }
}

/// Plain numbers that a net takes or gives.
#[derive(Clone, Debug, Deserialize)]
pub struct Numbers {
    pub name: String,
    pub shape: Vec<usize>,
}

/// The program was built with a model that is not what its manifest says.
#[derive(Debug, Error)]
pub enum ContractError {
    #[error("the model manifest can't be read: {0}")]
    Manifest(#[from] serde_json::Error),
    #[error("the model manifest has schema {0:?}, expected \"tragus-models/1\"")]
    Schema(String),
    #[error("the model manifest has no model {0}")]
    Missing(&'static str),
    #[error(
        "this program was built without the model {0}: build it with `cargo build --release \
         --features heavy`"
    )]
    NotBuiltIn(&'static str),
    #[error("model {name} is damaged: its SHA-256 is {got}, expected {expected}")]
    Checksum {
        name: String,
        expected: String,
        got: String,
    },
    #[error("model {name} has {part} {got}, expected {expected}")]
    Shape {
        name: String,
        part: String,
        expected: String,
        got: String,
    },
}

/// Checksum of the manifest, and with it of every net.
pub fn nets_checksum() -> String {
    checksum::sha256(MANIFEST.as_bytes())
}

impl Manifest {
    /// The manifest that the program was built with.
    pub fn built_in() -> Result<Manifest, ContractError> {
        let manifest: Manifest = serde_json::from_str(MANIFEST)?;
        if manifest.schema != "tragus-models/1" {
            return Err(ContractError::Schema(manifest.schema));
        }
        Ok(manifest)
    }

    /// The person detector, its bytes checked against its checksum.
    pub fn person_detector(&self) -> Result<(&ModelSpec, &'static [u8]), ContractError> {
        self.checked("person_detector", PERSON_DETECTOR)
    }

    /// The pose net of that kind, its bytes checked against their checksum.
    pub fn pose_net(
        &self,
        kind: PoseNetKind,
    ) -> Result<(&ModelSpec, &'static [u8]), ContractError> {
        match kind {
            PoseNetKind::Full => self.checked("pose_full", POSE_FULL),
            #[cfg(feature = "heavy")]
            PoseNetKind::Heavy => self.checked("pose_heavy", POSE_HEAVY),
            #[cfg(not(feature = "heavy"))]
            PoseNetKind::Heavy => Err(ContractError::NotBuiltIn("pose_heavy")),
        }
    }

    /// The landmark net, its bytes checked against its checksum.
    pub fn landmark_net(&self) -> Result<(&ModelSpec, &'static [u8]), ContractError> {
        self.checked("landmarks", LANDMARKS)
    }

    fn checked(
        &self,
        name: &'static str,
        bytes: &'static [u8],
    ) -> Result<(&ModelSpec, &'static [u8]), ContractError> {
        let spec = self
            .models
            .iter()
            .find(|model| model.name == name)
            .ok_or(ContractError::Missing(name))?;
        let got = checksum::sha256(bytes);
        if got != spec.sha256 {
            return Err(ContractError::Checksum {
                name: name.to_owned(),
                expected: spec.sha256.clone(),
                got,
            });
        }
        Ok((spec, bytes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_model_matches_its_checksum() {
        let manifest = Manifest::built_in().unwrap();
        manifest.person_detector().unwrap();
        manifest.pose_net(PoseNetKind::Full).unwrap();
        manifest.landmark_net().unwrap();
        let heavy = manifest.pose_net(PoseNetKind::Heavy);
        assert_eq!(heavy.is_ok(), cfg!(feature = "heavy"));
    }

    #[test]
    fn every_model_file_matches_its_checksum() {
        let manifest = Manifest::built_in().unwrap();
        assert_eq!(manifest.models.len(), 4);
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("models");
        for model in manifest.models {
            let bytes = std::fs::read(folder.join(&model.file)).unwrap();
            assert_eq!(checksum::sha256(&bytes), model.sha256, "{}", model.file);
        }
    }

    #[test]
    fn the_program_carries_less_than_25_mb_of_weights() {
        let carried = [PERSON_DETECTOR, POSE_FULL, LANDMARKS].map(<[u8]>::len);
        assert!(carried.iter().sum::<usize>() < 25_000_000, "{carried:?}");
    }

    #[test]
    fn a_changed_model_is_refused_by_name() {
        let manifest = Manifest::built_in().unwrap();
        let error = manifest
            .checked("pose_full", b"something else")
            .unwrap_err();
        assert!(error.to_string().starts_with("model pose_full is damaged"));
    }
}

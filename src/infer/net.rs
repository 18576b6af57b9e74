//! A net ready to run: one session per worker, so that pictures run side by side.

use std::collections::BTreeMap;
use std::sync::{Mutex, TryLockError};

use image::RgbImage;
use ndarray::{Array4, ArrayViewD};
use ort::session::builder::GraphOptimizationLevel;
use ort::session::{HasSelectedOutputs, OutputSelector, RunOptions, Session};
use ort::value::{Tensor, TensorRef};
use rayon::prelude::*;
use thiserror::Error;

use super::contract::{ContractError, ModelSpec, Numbers};
use super::runtime::{Runtime, RuntimeError};

/// A net could not be loaded or run.
#[derive(Debug, Error)]
pub enum InferError {
    #[error(transparent)]
    Contract(#[from] ContractError),
    #[error(transparent)]
    Runtime(#[from] RuntimeError),
    #[error("the nets gave no usable region of the photo to look at")]
    NoRegion,
    #[error("model {name} could not be {doing}: {detail}")]
    Session {
        name: String,
        doing: &'static str,
        detail: String,
    },
}

pub(super) struct Net {
    spec: ModelSpec,
    workers: Vec<Mutex<Worker>>,
}

struct Worker {
    session: Session,
    /// Tensors that an ONNX Runtime writes its outputs into, each time the same. ort 2.0.0-rc.14 never frees
    /// what it learns of an output that it did not make itself; over 20,000 photos that comes to 70 MB. The
    /// built-in runtime can't write into ours, and keeps a quarter of that. rc.15 mends it, once ort-tract goes
    /// with it.
    outputs: Option<RunOptions<HasSelectedOutputs>>,
}

/// The outputs of one run by name.
pub(super) type Tensors<'a> = BTreeMap<&'a str, ArrayViewD<'a, f32>>;

impl Net {
    /// Loads `workers` sessions of the model and checks them against its contract.
    pub fn load(
        runtime: &Runtime,
        spec: &ModelSpec,
        bytes: &[u8],
        workers: usize,
    ) -> Result<Net, InferError> {
        let workers = (0..workers.max(1))
            .into_par_iter()
            .map(|_| {
                let loaded = |error: ort::Error| failed(spec, "loaded", &error);
                let session = open(runtime, bytes).map_err(loaded)?;
                check_names(spec, &session)?;
                let outputs = match runtime.is_built_in() {
                    true => None,
                    false => Some(tensors_for(&spec.outputs).map_err(loaded)?),
                };
                Ok(Mutex::new(Worker { session, outputs }))
            })
            .collect::<Result<_, InferError>>()?;
        Ok(Net {
            spec: spec.clone(),
            workers,
        })
    }

    /// Pixels a side of the pictures it takes.
    pub fn size(&self) -> u32 {
        self.spec.input.size()
    }

    /// Runs one picture, with the further inputs that the net's contract names, and hands the
    /// outputs to `read`. Waits for a free worker when all are busy.
    pub fn run<T>(
        &self,
        picture: &RgbImage,
        further: &[&[f32]],
        read: impl FnOnce(&Tensors<'_>) -> T,
    ) -> Result<T, InferError> {
        let input = self.tensor(picture);
        let fed = |error: ort::Error| failed(&self.spec, "fed", &error);
        let mut inputs = ort::inputs![
            self.spec.input.name.as_str() => TensorRef::from_array_view(&input).map_err(fed)?
        ];
        assert_eq!(further.len(), self.spec.further_inputs.len());
        for (numbers, values) in self.spec.further_inputs.iter().zip(further) {
            let tensor = TensorRef::from_array_view((numbers.shape.clone(), *values));
            inputs.push((numbers.name.as_str().into(), tensor.map_err(fed)?.into()));
        }
        let mut worker = self.free_worker();
        let Worker { session, outputs } = &mut *worker;
        let outputs = match outputs {
            Some(tensors) => session.run_with_options(inputs, tensors),
            None => session.run(inputs),
        }
        .map_err(|error| failed(&self.spec, "run", &error))?;
        let tensors = self
            .spec
            .outputs
            .iter()
            .map(|expected| {
                let array = outputs[expected.name.as_str()]
                    .try_extract_array::<f32>()
                    .map_err(|error| failed(&self.spec, "read", &error))?;
                if array.shape() != expected.shape {
                    return Err(ContractError::Shape {
                        name: self.spec.name.clone(),
                        part: format!("output {} of shape", expected.name),
                        expected: format!("{:?}", expected.shape),
                        got: format!("{:?}", array.shape()),
                    }
                    .into());
                }
                Ok((expected.name.as_str(), array))
            })
            .collect::<Result<Tensors, InferError>>()?;
        Ok(read(&tensors))
    }

    fn free_worker(&self) -> std::sync::MutexGuard<'_, Worker> {
        for worker in &self.workers {
            match worker.try_lock() {
                Ok(guard) => return guard,
                Err(TryLockError::Poisoned(poisoned)) => return poisoned.into_inner(),
                Err(TryLockError::WouldBlock) => {}
            }
        }
        let mine = rayon::current_thread_index().unwrap_or(0) % self.workers.len();
        self.workers[mine]
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn tensor(&self, picture: &RgbImage) -> Array4<f32> {
        let input = &self.spec.input;
        let step = (input.high - input.low) / 255.0;
        let values = picture
            .as_raw()
            .iter()
            .map(|&p| input.low + f32::from(p) * step)
            .collect();
        let (height, width) = (picture.height() as usize, picture.width() as usize);
        Array4::from_shape_vec((1, height, width, 3), values)
            .expect("an RGB picture has three values a pixel")
    }
}

fn open(runtime: &Runtime, bytes: &[u8]) -> ort::Result<Session> {
    // One thread a session: the sessions themselves run side by side. Without the highest
    // optimisation level the built-in runtime is five times slower.
    Session::builder(runtime.environment())?
        .with_intra_threads(1)?
        .with_optimization_level(GraphOptimizationLevel::Level3)?
        .commit_from_memory(bytes)
}

fn tensors_for(outputs: &[Numbers]) -> ort::Result<RunOptions<HasSelectedOutputs>> {
    let mut selected = OutputSelector::no_default();
    for output in outputs {
        let zeros = vec![0_f32; output.shape.iter().product()];
        let tensor = Tensor::from_array((output.shape.clone(), zeros))?;
        selected = selected
            .with(&output.name)
            .preallocate(&output.name, tensor);
    }
    Ok(RunOptions::new()?.with_outputs(selected))
}

fn check_names(spec: &ModelSpec, session: &Session) -> Result<(), InferError> {
    let names = |outlets: &[ort::value::Outlet]| -> Vec<String> {
        outlets
            .iter()
            .map(|outlet| outlet.name().to_owned())
            .collect()
    };
    let inputs = names(session.inputs());
    let further = spec.further_inputs.iter().map(|numbers| &numbers.name);
    let expected: Vec<&String> = std::iter::once(&spec.input.name).chain(further).collect();
    if !inputs.iter().eq(expected.iter().copied()) {
        return Err(ContractError::Shape {
            name: spec.name.clone(),
            part: "inputs".to_owned(),
            expected: expected.into_iter().cloned().collect::<Vec<_>>().join(", "),
            got: inputs.join(", "),
        }
        .into());
    }
    let outputs = names(session.outputs());
    match spec
        .outputs
        .iter()
        .find(|output| !outputs.contains(&output.name))
    {
        Some(missing) => Err(ContractError::Shape {
            name: spec.name.clone(),
            part: "outputs".to_owned(),
            expected: missing.name.clone(),
            got: outputs.join(", "),
        }
        .into()),
        None => Ok(()),
    }
}

fn failed(spec: &ModelSpec, doing: &'static str, error: &dyn std::fmt::Display) -> InferError {
    InferError::Session {
        name: spec.name.clone(),
        doing,
        detail: error.to_string(),
    }
}

//! What camera and turn are worth with the landmarks that the nets find: read as if the photo were a
//! drawing, and as they are measured.

use std::path::Path;

use tragus::body::View;
use tragus::infer::{Effort, Finder};
use tragus::visit::VisitFacts;

use crate::perspective::{Errors, SideView, mean_absolute};
use crate::{readings, truth};

#[derive(Default)]
pub struct WithNets {
    drawn: Errors,
    measured: Errors,
}

/// Reads the side views of a truth set.
pub fn read(finder: &Finder, set: &Path) -> WithNets {
    let mut all = WithNets::default();
    for folder in truth::folders(set) {
        for (file, truth) in truth::photos(&folder) {
            let Some(near) = truth::view(&truth).and_then(View::near_side) else {
                continue;
            };
            let (facts, effort) = (VisitFacts::default(), Effort::Thorough);
            let (record, readings) =
                readings::measured(finder, &folder, &file, &facts, &truth, effort);
            let pixels = record.landmarks.iter().map(|(of, at)| (*of, at.at));
            let view = SideView {
                file,
                near,
                pixels: pixels.collect(),
                truth,
            };
            let drawn = view.drawn();
            for true_measure in truth::measures(&view.truth) {
                let (measure, side) = (true_measure.measure, true_measure.side);
                let reading = readings
                    .iter()
                    .find(|reading| reading.measure == measure && reading.side == side);
                let (Some(drawn), Some(Ok(read))) = (
                    measure.read(&drawn, side),
                    reading.map(|reading| &reading.outcome),
                ) else {
                    continue;
                };
                let error = measure.to_outer(drawn) - true_measure.value;
                all.drawn.entry(measure).or_default().push(error);
                let error = read.value - true_measure.value;
                all.measured.entry(measure).or_default().push(error);
            }
        }
    }
    all
}

impl WithNets {
    pub fn print(&self) {
        println!("mean absolute error with the landmarks of the nets: no correction, as measured");
        for (measure, measured) in &self.measured {
            println!(
                "{:28} {:4} n {:3}  {:6.2}  {:6.2}",
                measure.id(),
                measure.unit().name(),
                measured.len(),
                mean_absolute(&self.drawn[measure]),
                mean_absolute(measured),
            );
        }
    }
}

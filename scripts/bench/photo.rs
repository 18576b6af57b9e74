//! Times one photo of 12 megapixels from the bytes of its file to its measures.
//!
//! `cargo bench --bench photo` uses the built-in runtime; with `ORT_DYLIB_PATH` set to an ONNX
//! Runtime library, that one. The photo is a demo photo enlarged to 3000×4000 pixels, with the
//! grain of a phone's sensor, without which it would decode much faster than a real one.

use std::hint::black_box;
use std::path::PathBuf;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use tragus::infer::{Effort, Finder, PoseNetKind, Runtime, RuntimeChoice};
use tragus::locate::Wish;
use tragus::photo::{Limits, Photo};
use tragus::pipeline::{Aids, PhotoInput, measure_photo};
use tragus::visit::VisitFacts;

fn twelve_megapixels() -> Vec<u8> {
    let demo = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/fixtures/demo/visits/2026-03-10-intake/side-reach.jpg"
    );
    let small = image::open(demo).expect("the demo photo").into_rgb8();
    let mut large = resize(&small, 3000, 4000, FilterType::CatmullRom);
    // A fixed sequence, so that every run times the same file.
    let mut state = 1u32;
    for value in large.iter_mut() {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let grain = (state >> 24) as i16 % 17 - 8;
        *value = (i16::from(*value) + grain).clamp(0, 255) as u8;
    }
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 92)
        .encode_image(&large)
        .expect("a JPEG");
    println!("the photo has {} kB", jpeg.len() / 1000);
    jpeg
}

fn photo_to_measures(criterion: &mut Criterion) {
    let library = std::env::var_os("ORT_DYLIB_PATH").map(PathBuf::from);
    let choice = RuntimeChoice::settle("auto", library, None);
    let runtime = Runtime::start(&choice).expect("a runtime");
    let jpeg = twelve_megapixels();
    let facts = VisitFacts {
        stature_cm: Some(164.0),
        ..VisitFacts::default()
    };
    let mut group = criterion.benchmark_group("12 megapixels");
    group
        .sample_size(20)
        .measurement_time(Duration::from_secs(15));
    group.bench_function("decode, reduced", |b| {
        b.iter(|| Photo::decode_reduced(black_box(&jpeg), Limits::default()).expect("a photo"));
    });
    let kinds: &[_] = if cfg!(feature = "heavy") {
        &[("full", PoseNetKind::Full), ("heavy", PoseNetKind::Heavy)]
    } else {
        &[("full", PoseNetKind::Full)]
    };
    for &(name, kind) in kinds {
        let finder =
            Finder::load(runtime, kind, 1, rayon::current_num_threads()).expect("the nets");
        group.bench_function(format!("to measures, pose net {name}"), |b| {
            b.iter(|| {
                let input = PhotoInput {
                    file: "photo.jpg".to_owned(),
                    bytes: Ok(jpeg.clone()),
                    wish: Wish::default(),
                    manual: Vec::new(),
                    aids: Aids::default(),
                };
                let (_, readings) =
                    measure_photo(&finder, &facts, &input, Effort::Thorough).expect("the nets");
                assert!(readings.iter().any(|reading| reading.outcome.is_ok()));
                readings
            });
        });
    }
    group.finish();
}

criterion_group!(benches, photo_to_measures);
criterion_main!(benches);

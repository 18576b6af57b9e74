//! The printed board: its drawing, the board in rendered photos, and what it tells about the camera,
//! against closed forms, OpenCV (`scripts/board`), and what must hold always.

use std::fs;

use image::{Rgb, RgbImage};
use nalgebra::{SMatrix, SVector};
use proptest::prelude::*;
use serde_json::Value;
use tragus::board::{
    self, ASIDE, AWAY, BoardPose, Corners, FoundBoard, HUNG_FREELY, Homography, LENS_ABOVE,
    LN_FOCAL, Lean, OUTLINE, PITCH, Paper, ROLL, Refusal, TURN, parallax,
};
use tragus::estimate::Estimate;
use tragus::geometry::{self, Angle, BodyPlane, Point};
use tragus::photo::{CameraTags, Limits, Photo};
use tragus::scale::Camera;

use crate::common::root;

type Pixel = Point<geometry::Photo>;

/// Numbers drawn at random, the same in every run.
struct Random(u64);

impl Random {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + (high - low) * (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Of standard deviation one (Box & Muller 1958).
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform(1e-12, 1.0).ln()).sqrt();
        radius * self.uniform(0.0, std::f64::consts::TAU).cos()
    }
}

// The drawing.

/// The printed sheet as a picture: rows from the bottom, ten squares in a millimetre.
struct Sheet {
    columns: usize,
    black: Vec<bool>,
}

const FINE: f64 = 10.0;

impl Sheet {
    fn printed(paper: Paper) -> Sheet {
        let (width, height) = paper.size();
        let columns = (FINE * width).round() as usize;
        let mut black = vec![false; columns * (FINE * height).round() as usize];
        for ink in board::ink(paper) {
            let to = |at: f64| (FINE * at).round() as usize;
            for row in to(ink.bottom)..to(ink.bottom + ink.height) {
                let start = row * columns;
                black[start + to(ink.left)..start + to(ink.left + ink.width)].fill(true);
            }
        }
        Sheet { columns, black }
    }

    /// Light that it gives back, by millimetres from its middle, y up; `None` beside it.
    fn light(&self, x: f64, y: f64) -> Option<f64> {
        let rows = self.black.len() / self.columns;
        let column = (FINE * x + self.columns as f64 / 2.0).floor();
        let row = (FINE * y + rows as f64 / 2.0).floor();
        let inside = |at: f64, size: usize| (0.0..size as f64).contains(&at);
        if !inside(column, self.columns) || !inside(row, rows) {
            return None;
        }
        let black = self.black[row as usize * self.columns + column as usize];
        Some(if black { 0.04 } else { 0.85 })
    }
}

fn opencv() -> Value {
    let path = root().join("fixtures/board/opencv.json");
    serde_json::from_str(&fs::read_to_string(path).expect("OpenCV's answers")).expect("JSON")
}

fn cases<'a>(whole: &'a Value, kind: &str) -> &'a [Value] {
    let cases = whole[kind].as_array().expect("cases");
    assert!(cases.len() >= 50, "only {} {kind}", cases.len());
    cases
}

fn points<S>(of: &Value) -> Vec<Point<S>> {
    let number = |value: &Value| value.as_f64().expect("a number");
    let pairs = of.as_array().expect("points").iter();
    pairs
        .map(|pair| Point::new(number(&pair[0]), number(&pair[1])))
        .collect()
}

fn corners<S>(of: &Value) -> Corners<S> {
    points(of).try_into().ok().expect("four corners")
}

#[test]
fn the_printed_squares_are_those_of_opencv() {
    let whole = opencv();
    let patterns = whole["patterns"].as_object().expect("patterns");
    assert_eq!(patterns.len(), 2);
    for paper in [Paper::A4, Paper::Letter] {
        let sheet = Sheet::printed(paper);
        for (id, top) in [("572", 119.0), ("289", -7.0)] {
            for row in 0..8 {
                for column in 0..8 {
                    let at = |index: usize| 14.0 * (index as f64 + 0.5);
                    let light = sheet.light(at(column) - 56.0, top - at(row)).unwrap();
                    // OpenCV keeps the family upside down.
                    let white = &patterns[id][7 - row][7 - column];
                    let white = white.as_bool().expect("a square");
                    assert_eq!(light > 0.5, white, "tag {id}, row {row}, column {column}");
                }
            }
        }
    }
}

#[test]
fn all_that_is_black_fits_the_paper_and_leaves_white_around_the_tags() {
    for paper in [Paper::A4, Paper::Letter] {
        let (width, height) = paper.size();
        let ink = board::ink(paper);
        for ink in &ink {
            // Printers leave 6 mm of the paper empty.
            assert!(
                ink.left >= 6.0 && ink.left + ink.width <= width - 6.0,
                "{ink:?}"
            );
            assert!(ink.bottom >= 6.0 && ink.bottom + ink.height <= height - 6.0);
        }
        let [line, low, high] = &ink[ink.len() - 3..] else {
            panic!("a check line");
        };
        assert!((high.bottom + high.height - low.bottom - 100.0).abs() < 1e-9);
        assert!((line.height - 100.0).abs() < 1e-9);
        let white = (width + 112.0) / 2.0 + 14.0;
        assert!(low.left >= white, "{low:?} is nearer than {white}");
    }
}

#[test]
fn the_pdf_has_two_pages_of_the_paper() {
    for (paper, size) in [
        (Paper::A4, [595.28, 841.89]),
        (Paper::Letter, [612.0, 792.0]),
    ] {
        let pdf = board::pdf(paper);
        assert!(pdf.starts_with(b"%PDF-") && pdf.trim_ascii_end().ends_with(b"%%EOF"));
        let text = String::from_utf8_lossy(&pdf);
        let boxes: Vec<Vec<f64>> = text
            .match_indices("/MediaBox [")
            .map(|(at, word)| {
                let rest = &text[at + word.len()..];
                let numbers = &rest[..rest.find(']').expect("an end")];
                numbers
                    .split(' ')
                    .map(|number| number.parse().unwrap())
                    .collect()
            })
            .collect();
        assert_eq!(boxes.len(), 2);
        for found in boxes {
            assert_eq!(found[..2], [0.0, 0.0]);
            assert!((found[2] - size[0]).abs() < 0.01 && (found[3] - size[1]).abs() < 0.01);
        }
    }
}

// Planes and poses.

#[test]
fn maps_are_those_of_opencv() {
    let whole = opencv();
    for case in cases(&whole, "homographies") {
        let pairs: Vec<_> = points(&case["face"])
            .into_iter()
            .zip(points(&case["seen"]))
            .collect();
        let map = Homography::<geometry::Photo>::fit(&pairs).unwrap();
        let theirs = Homography::of_outline(&corners(&case["outline"])).unwrap();
        let squares = |map: &Homography<geometry::Photo>| -> f64 {
            let off = |(face, seen): &(_, Pixel)| map.apply(*face).unwrap().distance(*seen);
            pairs.iter().map(|pair| off(pair).powi(2)).sum()
        };
        // OpenCV stops a little before the least squares, which ours must reach.
        assert!(squares(&map) < squares(&theirs) + 1e-9);
        let outline = map.outline().unwrap();
        for (found, want) in outline.iter().zip(corners(&case["outline"])) {
            assert!(found.distance(want) < 2e-3, "{found:?} {want:?}");
        }
    }
}

/// A hanging that is known to be plumb.
const PLUMB: Lean = Lean {
    aside: Angle::from_radians(1e-7),
    ahead: Angle::from_radians(1e-7),
};

#[test]
fn poses_are_those_of_opencv() {
    let whole = opencv();
    for case in cases(&whole, "poses") {
        let number = |value: &Value| value.as_f64().expect("a number");
        let focal = number(&case["focal"]);
        let centre = Point::new(
            number(&case["size"][0]) / 2.0,
            number(&case["size"][1]) / 2.0,
        );
        let sigma = 0.002;
        let found = FoundBoard {
            outline: corners(&case["seen"]),
            covariance: SMatrix::identity() * sigma * sigma,
        };
        let pose = board::pose(&found, Estimate::new(focal, 1e-6 * focal), centre, &PLUMB).unwrap();
        let want = |name: &str| number(&case["stance"][name]);
        let names = ["away", "aside", "lens_above", "pitch", "roll", "turn"];
        for (name, index) in names
            .into_iter()
            .zip([AWAY, ASIDE, LENS_ABOVE, PITCH, ROLL, TURN])
        {
            // Both minimise the same squares; only the wide priors differ.
            let off = (pose.mean[index] - want(name)) / pose.covariance[(index, index)].sqrt();
            assert!(off.abs() < 0.1, "{name}: {off} sigmas off {}", want(name));
        }
    }
}

const CENTRE: Pixel = Point::new(1512.0, 2016.0);

fn camera() -> Camera {
    Camera {
        focal: 2900.0,
        centre: CENTRE,
        distance: 3000.0,
        height: 300.0,
        pitch: Angle::ZERO,
        roll: Angle::ZERO,
        turn: Angle::ZERO,
    }
}

/// The outline of a board whose middle lies at the plane's height zero, `along` to the right in it.
fn outline(camera: &Camera, along: f64) -> Corners<geometry::Photo> {
    OUTLINE.map(|at| {
        let at = Point::<BodyPlane>::new(along + at.x, at.y);
        camera.photo_from_plane(at, 0.0).expect("before the camera")
    })
}

fn board_at(outline: Corners<geometry::Photo>, sigma: f64) -> FoundBoard {
    FoundBoard {
        outline,
        covariance: SMatrix::identity() * sigma * sigma,
    }
}

#[test]
fn a_board_square_to_the_camera_has_the_scale_of_its_distance() {
    let found = board_at(outline(&camera(), -200.0), 0.05);
    let pose = board::pose(&found, Estimate::new(2900.0, 1.0), CENTRE, &HUNG_FREELY).unwrap();
    assert!((pose.mm_per_px.value - 3000.0 / 2900.0).abs() < 1e-9);
    // Half a percent of print, and a corner's 0.05 px over the outline's 108 and 230.
    assert!((0.005..0.0055).contains(&(pose.mm_per_px.sigma / pose.mm_per_px.value)));
    assert!((pose.distance().value - 3000.0).abs() < 5.0, "{pose:?}");
}

/// Sourced values: the table of parallax, in percent, computed from similar triangles.
#[test]
fn parallax_is_that_of_the_table() {
    for (distance, depth, near, far) in [
        (2000.0, 100.0, 5.26, -4.76),
        (3000.0, 100.0, 3.45, -3.23),
        (4000.0, 100.0, 2.56, -2.44),
        (2000.0, 200.0, 11.11, -9.09),
        (3000.0, 200.0, 7.14, -6.25),
        (4000.0, 200.0, 5.26, -4.76),
    ] {
        let percent = |nearer: f64| 100.0 * parallax(nearer, distance).unwrap();
        assert!((percent(depth) - near).abs() < 0.005, "{}", percent(depth));
        assert!((percent(-depth) - far).abs() < 0.005, "{}", percent(-depth));
    }
    // 3 m away, 0.2 m nearer, 0.6 m off the axis: 4.29 cm.
    assert!((600.0 * parallax(200.0, 3000.0).unwrap() - 42.9).abs() < 0.05);
    assert_eq!(parallax(3000.0, 3000.0), None);
}

#[test]
fn the_scale_behind_the_board_is_that_of_the_camera_there() {
    let found = board_at(outline(&camera(), -200.0), 0.01);
    let pose = board::pose(&found, Estimate::new(2900.0, 1.0), CENTRE, &HUNG_FREELY).unwrap();
    for behind in [-150.0, 0.0, 120.0] {
        let offset = Estimate::new(behind, 40.0);
        let scale = pose.mm_per_px_behind(offset).unwrap();
        let want = (3000.0 + behind) / 2900.0;
        assert!((scale.value / want - 1.0).abs() < 1e-3, "{scale:?} {want}");
        // An offset that is unsure by 40 mm makes the scale unsure by 40 mm of the distance.
        let least = 40.0 / 3000.0 * pose.mm_per_px.value;
        assert!(scale.sigma > 0.98 * least && scale.sigma < 1.3 * least);
        let distance = pose.distance_behind(offset);
        assert!((distance.value - pose.distance().value - behind).abs() < 1e-9);
        assert!((distance.sigma - pose.distance().sigma.hypot(40.0)).abs() < 1e-9);
    }
}

#[test]
fn a_tilted_board_near_by_tells_the_focal_length_and_one_square_to_the_camera_does_not() {
    let near = Camera {
        distance: 900.0,
        height: 150.0,
        ..camera()
    };
    let tilted = Camera {
        pitch: Angle::from_degrees(-9.0),
        turn: Angle::from_degrees(35.0),
        ..near
    };
    let unknown = Estimate::new(3500.0, 0.25 * 3500.0);
    let told = |camera: &Camera| {
        let found = board_at(outline(camera, 50.0), 0.05);
        let pose = board::pose(&found, unknown, CENTRE, &HUNG_FREELY).unwrap();
        (pose.focal(), pose.distance())
    };
    let (focal, distance) = told(&tilted);
    assert!(focal.sigma < 0.01 * focal.value, "{focal:?}");
    assert!(
        (focal.value - 2900.0).abs() < 2.0 * focal.sigma,
        "{focal:?}"
    );
    let want = 900.0 + 50.0 * tilted.turn.radians().sin();
    assert!((distance.value - want).abs() < 2.0 * distance.sigma && distance.sigma < 15.0);
    // Square to the camera: as unsure as before, and so is the distance.
    let (focal, distance) = told(&camera());
    assert!(focal.sigma > 0.2 * focal.value, "{focal:?}");
    assert!(distance.sigma > 0.2 * distance.value, "{distance:?}");
}

/// Cameras and hangings drawn from what is taken for usual: the errors come out as stated.
#[test]
fn stated_errors_hold_what_they_say() {
    const CASES: usize = 600;
    let mut random = Random(2011);
    let mut off = vec![Vec::new(); 7];
    let mut scales = Vec::new();
    for _ in 0..CASES {
        let focal = 2900.0;
        let degrees = |of: f64| Angle::from_degrees(of);
        let camera = Camera {
            focal: focal * (0.04 * random.normal()).exp(),
            distance: random.uniform(2000.0, 4000.0),
            height: random.uniform(-300.0, 600.0),
            pitch: degrees(10.0 * random.normal()),
            roll: degrees(3.0 * random.normal()),
            turn: degrees((20.0 * random.normal()).clamp(-55.0, 55.0)),
            ..camera()
        };
        let (aside, ahead) = (degrees(0.5 * random.normal()), degrees(random.normal()));
        let size = (0.005 * random.normal()).exp();
        let along = random.uniform(-500.0, 500.0);
        let sigma = random.uniform(0.05, 0.5);
        let exact = OUTLINE.map(|at| {
            let (x, y) = (size * at.x, size * at.y);
            let (sin, cos) = aside.radians().sin_cos();
            let (x, y) = (x * cos - y * sin, x * sin + y * cos);
            let (sin, cos) = ahead.radians().sin_cos();
            camera
                .photo_from_plane(Point::new(along + x, y * cos), y * sin)
                .unwrap()
        });
        let outline = exact.map(|seen| {
            Point::new(
                seen.x + sigma * random.normal(),
                seen.y + sigma * random.normal(),
            )
        });
        let found = board_at(outline, sigma);
        let pose = board::pose(
            &found,
            Estimate::new(focal, 0.04 * focal),
            CENTRE,
            &HUNG_FREELY,
        );
        let pose = pose.expect("a pose");
        let (sin, cos) = camera.turn.radians().sin_cos();
        let mut want = SVector::<f64, 7>::zeros();
        want[LN_FOCAL] = camera.focal.ln();
        want[AWAY] = camera.distance + along * sin;
        want[ASIDE] = along * cos;
        want[LENS_ABOVE] = camera.height;
        want[PITCH] = camera.pitch.radians();
        want[ROLL] = camera.roll.radians();
        want[TURN] = camera.turn.radians();
        for (index, off) in off.iter_mut().enumerate() {
            let sigma = pose.covariance[(index, index)].sqrt();
            off.push((pose.mean[index] - want[index]) / sigma);
        }
        let true_scale = size
            * Homography::of_outline(&exact)
                .unwrap()
                .millimetres_per_pixel()
                .unwrap();
        scales.push((pose.mm_per_px.value - true_scale).abs() / pose.mm_per_px.sigma);
    }
    for (index, off) in off.iter().enumerate() {
        let squares = off.iter().map(|z| z * z).sum::<f64>() / CASES as f64;
        let two = off.iter().filter(|z| z.abs() < 1.96).count() as f64 / CASES as f64;
        assert!((0.8..1.25).contains(&squares), "{index}: {squares}");
        assert!((0.92..0.98).contains(&two), "{index}: {two}");
    }
    assert!(scales.iter().filter(|z| **z < 1.96).count() as f64 > 0.93 * CASES as f64);
}

// The board in rendered photos.

/// A board before a plain wall.
struct Scene {
    camera: Camera,
    size: (u32, u32),
    /// Where the board's middle lies in its plane, mm to the right of straight ahead.
    along: f64,
    /// One sigma of the lens's blur, pixels.
    blur: f64,
    /// One sigma, grey levels.
    noise: f64,
    /// Of the light at the wall and the board, a part.
    light: f64,
    wall: f64,
    /// How far a place of the board comes towards the camera, mm.
    bulge: fn(f64, f64) -> f64,
    /// What lies over the board.
    cover: fn(f64, f64) -> bool,
    seed: u64,
}

impl Scene {
    /// The board seen from so far that a pixel spans so many millimetres, a little askew.
    fn at(mm_per_px: f64, seed: u64) -> Scene {
        let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            random.uniform(0.0, 1.0);
        }
        let distance = random.uniform(2500.0, 4000.0);
        let pitch = Angle::from_degrees(random.uniform(-3.0, 3.0));
        Scene {
            camera: Camera {
                focal: distance / mm_per_px,
                centre: Point::new(250.0, 320.0),
                distance,
                height: random.uniform(-40.0, 40.0) * mm_per_px - distance * pitch.radians().tan(),
                pitch,
                roll: Angle::from_degrees(random.uniform(-4.0, 4.0)),
                turn: Angle::from_degrees(random.uniform(-20.0, 20.0)),
            },
            size: (500, 640),
            along: random.uniform(-60.0, 60.0) * mm_per_px,
            blur: 0.6,
            noise: 3.0,
            light: random.uniform(0.35, 0.8),
            wall: random.uniform(0.1, 0.5),
            bulge: |_, _| 0.0,
            cover: |_, _| false,
            seed,
        }
    }

    fn picture(&self) -> RgbImage {
        const PARTS: u32 = 4;
        let sheet = Sheet::printed(Paper::A4);
        let (width, height) = self.size;
        let mut light = image::ImageBuffer::<image::Luma<f32>, _>::from_pixel(
            width,
            height,
            image::Luma([self.wall as f32]),
        );
        // Elsewhere there is wall.
        let middle = self.outline()[0].midpoint(self.outline()[2]);
        let near = 240.0 / (self.camera.distance / self.camera.focal);
        for (x, y, pixel) in light.enumerate_pixels_mut() {
            if middle.distance(Point::new(f64::from(x), f64::from(y))) > near {
                continue;
            }
            let mut sum = 0.0;
            for part in 0..PARTS * PARTS {
                let within = |part: u32| (f64::from(part) + 0.5) / f64::from(PARTS);
                let at = Point::new(
                    f64::from(x) + within(part % PARTS),
                    f64::from(y) + within(part / PARTS),
                );
                sum += self.light_at(&sheet, at);
            }
            pixel.0[0] = (sum / f64::from(PARTS * PARTS)) as f32;
        }
        if self.blur > 0.0 {
            light = imageproc::filter::gaussian_blur_f32(&light, self.blur as f32);
        }
        let mut random = Random(self.seed + 77);
        RgbImage::from_fn(width, height, |x, y| {
            let light = f64::from(light.get_pixel(x, y).0[0]);
            let level = if light <= 0.003_130_8 {
                12.92 * light
            } else {
                1.055 * light.powf(1.0 / 2.4) - 0.055
            };
            let level = 255.0 * level + self.noise * random.normal();
            Rgb([level.round().clamp(0.0, 255.0) as u8; 3])
        })
    }

    fn light_at(&self, sheet: &Sheet, at: Pixel) -> f64 {
        let place = |depth: f64| {
            let at = self.camera.plane_from_photo(at, depth)?;
            Some((at.x - self.along, at.y))
        };
        let Some((mut x, mut y)) = place(0.0) else {
            return self.wall;
        };
        if x.abs() < 200.0 && y.abs() < 250.0 {
            for _ in 0..4 {
                let Some(nearer) = place((self.bulge)(x, y)) else {
                    return self.wall;
                };
                (x, y) = nearer;
            }
        }
        match sheet.light(x, y) {
            Some(_) if (self.cover)(x, y) => 0.4 * self.light,
            Some(light) => light * self.light,
            None => self.wall,
        }
    }

    fn photo(&self) -> Photo {
        Photo::new(self.picture(), CameraTags::default())
    }

    fn outline(&self) -> Corners<geometry::Photo> {
        outline(&self.camera, self.along)
    }
}

#[test]
fn boards_are_found_where_they_are_within_the_stated_error() {
    const BOARDS: u64 = 8;
    for mm_per_px in [1.0, 2.0, 3.0, 4.0, 5.0] {
        let (mut squares, mut whole) = (0.0, 0.0);
        for seed in 1..=BOARDS {
            let scene = Scene::at(mm_per_px, seed);
            let found = board::find(&scene.photo()).unwrap();
            let found = found.unwrap_or_else(|| panic!("no board at {mm_per_px} mm, {seed}"));
            let step = SVector::<f64, 8>::from_fn(|i, _| {
                let (found, want) = (found.outline[i / 2], scene.outline()[i / 2]);
                match i % 2 {
                    0 => found.x - want.x,
                    _ => found.y - want.y,
                }
            });
            squares += step.norm_squared();
            whole += step.dot(&found.covariance.cholesky().unwrap().solve(&step));
        }
        let numbers = 8.0 * BOARDS as f64;
        // A hundredth of a square at best, a twenty-fifth where a pixel spans 5 mm.
        let off = (squares / numbers).sqrt();
        assert!(
            off < 0.06 || (mm_per_px > 3.0 && off < 0.13),
            "{mm_per_px}: {off} px"
        );
        // As far off as stated: the mean square is one, give or take, of independent numbers, 0.18.
        let ratio = whole / numbers;
        assert!((0.4..1.6).contains(&ratio), "{mm_per_px}: {ratio}");
    }
}

#[track_caller]
fn assert_refused(scene: &Scene, reason: Refusal) {
    assert_eq!(board::find(&scene.photo()), Err(reason));
}

#[test]
fn a_mirrored_board_is_refused() {
    let mut picture = Scene::at(2.0, 3).picture();
    image::imageops::flip_horizontal_in_place(&mut picture);
    let photo = Photo::new(picture, CameraTags::default());
    assert_eq!(board::find(&photo), Err(Refusal::Mirrored));
}

#[test]
fn a_board_that_is_cut_off_or_covered_is_refused() {
    let whole = Scene::at(2.0, 3);
    let low = Scene {
        camera: Camera {
            height: whole.camera.height - 2.0 * 320.0,
            ..whole.camera
        },
        ..Scene::at(2.0, 3)
    };
    let high = Scene {
        camera: Camera {
            height: whole.camera.height + 2.0 * 320.0,
            ..whole.camera
        },
        ..Scene::at(2.0, 3)
    };
    assert_refused(&low, Refusal::CutOff);
    assert_refused(&high, Refusal::CutOff);
    for cover in [
        |_: f64, y: f64| y > 20.0,
        |x: f64, y: f64| x.abs() < 20.0 && y < -20.0,
    ] {
        let scene = Scene {
            cover,
            ..Scene::at(2.0, 3)
        };
        assert_refused(&scene, Refusal::Covered);
    }
}

#[test]
fn a_bent_board_is_refused() {
    // Seen from above: a curl about the upright, and bows to both sides about the level axis.
    let from_above = |seed: u64, bulge: fn(f64, f64) -> f64| {
        let level = Scene::at(1.0, seed);
        let pitch = Angle::from_degrees(-16.0);
        let lower = level.camera.pitch.radians().tan() - pitch.radians().tan();
        Scene {
            bulge,
            camera: Camera {
                pitch,
                height: level.camera.height + lower * level.camera.distance,
                ..level.camera
            },
            ..level
        }
    };
    for seed in 1..=2 {
        let flat = from_above(seed, |_, _| 0.0);
        assert!(matches!(board::find(&flat.photo()), Ok(Some(_))));
        for bulge in [
            |x: f64, _: f64| 10.0 * (1.0 - (x / 56.0).powi(2)),
            |_: f64, y: f64| 12.0 * (1.0 - (y / 119.0).powi(2)),
            |_: f64, y: f64| -12.0 * (1.0 - (y / 119.0).powi(2)),
        ] {
            assert_refused(&from_above(seed, bulge), Refusal::Bent);
        }
    }
}

#[test]
fn a_blurred_or_tiny_board_is_refused_or_not_seen() {
    for seed in 1..=4 {
        let mut refused = 0;
        for blur in [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0] {
            let scene = Scene {
                blur,
                ..Scene::at(3.0, seed)
            };
            match board::find(&scene.photo()) {
                Ok(Some(_)) => assert_eq!(refused, 0, "a blur of {blur} px is used again"),
                Err(reason) => {
                    assert_eq!(reason, Refusal::Blurred);
                    refused += 1
                }
                Ok(None) => refused += 1,
            }
        }
        assert!(refused >= 3);
    }
    for seed in 1..=6 {
        let small = board::find(&Scene::at(6.2, seed).photo());
        assert!(
            matches!(small, Ok(None) | Err(Refusal::TooSmall)),
            "{small:?}"
        );
    }
    assert_eq!(board::find(&Scene::at(9.0, 1).photo()), Ok(None));
}

#[test]
fn two_boards_and_one_upside_down_are_refused() {
    let picture = Scene::at(2.0, 3).picture();
    let (width, height) = picture.dimensions();
    let mut two = RgbImage::new(2 * width, height);
    image::imageops::replace(&mut two, &picture, 0, 0);
    image::imageops::replace(&mut two, &picture, i64::from(width), 0);
    let found = |picture: RgbImage| board::find(&Photo::new(picture, CameraTags::default()));
    assert_eq!(found(two), Err(Refusal::Several));
    assert_eq!(
        found(image::imageops::rotate180(&picture)),
        Err(Refusal::NotUpright)
    );
    assert_eq!(
        found(image::imageops::rotate90(&picture)),
        Err(Refusal::NotUpright)
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]
    /// Whatever the picture holds, the answer is an answer.
    #[test]
    fn no_picture_is_too_odd(width in 1u32..90, height in 1u32..90, seed in 1u64.., coarse in 1u32..20) {
        let mut random = Random(seed);
        let levels: Vec<u8> = (0..64).map(|_| random.uniform(0.0, 256.0) as u8).collect();
        let picture = RgbImage::from_fn(width, height, |x, y| {
            Rgb([levels[((x / coarse) * 7 + (y / coarse) * 13) as usize % 64]; 3])
        });
        prop_assert_eq!(board::find(&Photo::new(picture, CameraTags::default())), Ok(None));
    }
}

#[test]
fn the_camera_comes_back_from_a_rendered_board() {
    let mut inside = 0;
    let mut all = 0;
    for seed in 11..=20 {
        let scene = Scene::at(1.0, seed);
        let found = board::find(&scene.photo()).unwrap().expect("a board");
        let focal = Estimate::new(scene.camera.focal, 0.001 * scene.camera.focal);
        let pose: BoardPose = board::pose(&found, focal, scene.camera.centre, &PLUMB).unwrap();
        for (told, want) in [
            (pose.roll(), scene.camera.roll.radians()),
            (pose.pitch(), scene.camera.pitch.radians()),
            (pose.turn(), scene.camera.turn.radians()),
            (pose.lens_above(), scene.camera.height),
        ] {
            all += 1;
            inside += u32::from((told.value - want).abs() < 1.96 * told.sigma);
        }
    }
    assert!(10 * inside >= 9 * all, "{inside} of {all}");
}

/// A photo of twelve megapixels with the scene in it, its upper left corner at `AT`.
fn large(scene: &Scene) -> RgbImage {
    let mut random = Random(5);
    let mut whole = RgbImage::from_fn(3024, 4032, |x, y| {
        let wave = (f64::from(x) / 37.0).sin() * (f64::from(y) / 53.0).cos();
        Rgb([(120.0 + 40.0 * wave + random.uniform(-8.0, 8.0)) as u8; 3])
    });
    let picture = scene.picture();
    image::imageops::replace(&mut whole, &picture, i64::from(AT.0), i64::from(AT.1));
    whole
}

const AT: (u32, u32) = (1703, 2111);

#[test]
fn in_a_large_photo_edges_are_measured_in_all_the_detail_that_is_held() {
    let scene = Scene::at(1.3, 21);
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 92)
        .encode_image(&large(&scene))
        .unwrap();
    let limits = Limits::default();
    // A reduced photo is a quarter as large, 5 mm to its pixel.
    for (photo, finest) in [
        (Photo::decode(&bytes, limits).unwrap(), 0.08),
        (Photo::decode_reduced(&bytes, limits).unwrap(), 0.6),
    ] {
        let found = board::find(&photo).unwrap().expect("a board");
        let sigma = (found.covariance.trace() / 8.0).sqrt();
        assert!(sigma < finest, "{sigma}");
        for (found, want) in found.outline.iter().zip(scene.outline()) {
            let want = Point::new(want.x + f64::from(AT.0), want.y + f64::from(AT.1));
            assert!(
                found.distance(want) < 4.0 * sigma,
                "{found:?} {want:?} {sigma}"
            );
        }
    }
}

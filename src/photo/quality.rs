//! Is the picture of the person sharp and lit well enough to measure?

use image::GrayImage;
use imageproc::filter::laplacian_filter;

use super::Photo;
use crate::geometry::{self, Angle, Crop, Map, Point};

/// Something about the photo that makes its landmarks less sure. Shown, never hidden.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoFault {
    Blurred,
    TooDark,
    TooBright,
}

/// The square that is judged, pixels.
const SIZE: u32 = 256;
/// Sharp renders and photos of people have Laplacian variances of some hundreds on the judged
/// square, and a blur of 2 pixels brings them below 15; the limit lies between.
const SHARP: f64 = 25.0;
/// Mean grey level at which that limit holds. Less light makes edges fainter without blurring them:
/// the variance falls with its square.
const USUAL_LIGHT: f64 = 150.0;
/// Common practice: a mean grey level outside of this is hard to see detail in.
const DARK: f64 = 40.0;
const BRIGHT: f64 = 225.0;

/// Judges the square of side `side` pixels around the person.
pub fn judge(photo: &Photo, centre: Point<geometry::Photo>, side: f64) -> Vec<PhotoFault> {
    let Some(map) =
        Map::<Crop, geometry::Photo>::square(f64::from(SIZE), centre, side, Angle::ZERO, false)
    else {
        return Vec::new();
    };
    let grey: GrayImage = image::DynamicImage::ImageRgb8(photo.crop(&map, SIZE)).into_luma8();
    let lit: Vec<f64> = grey
        .iter()
        .map(|&p| f64::from(p))
        .filter(|&p| p > 0.0)
        .collect();
    if lit.is_empty() {
        return vec![PhotoFault::TooDark];
    }
    let mean = lit.iter().sum::<f64>() / lit.len() as f64;
    let sharpness = variance(laplacian_filter(&grey).iter().map(|&p| f64::from(p)));
    let mut faults = Vec::new();
    if mean < DARK {
        faults.push(PhotoFault::TooDark);
    } else if mean > BRIGHT {
        faults.push(PhotoFault::TooBright);
    }
    let light = (mean / USUAL_LIGHT).min(1.0);
    if sharpness < SHARP * light.powi(2) {
        faults.push(PhotoFault::Blurred);
    }
    faults
}

fn variance(values: impl Iterator<Item = f64>) -> f64 {
    let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
    for value in values {
        n += 1.0;
        sum += value;
        squares += value * value;
    }
    if n == 0.0 {
        return 0.0;
    }
    squares / n - (sum / n).powi(2)
}

//! Looking up a picture through an affine map.

use image::RgbImage;

/// A square of `size` pixels a side from `picture`, each pixel between the four around its place,
/// black outside. `from_square` gives the place of a pixel: x from the first three coefficients,
/// y from the others, pixel centres at half-integers.
///
/// `imageproc::geometric_transformations::warp_into_with` does the same and is its check; it takes
/// five times as long, which was an eighth of the time of a photo in a batch.
pub fn square(picture: &RgbImage, from_square: [f64; 6], size: u32) -> RgbImage {
    let [a, b, c, d, e, f] = from_square;
    let mut square = RgbImage::new(size, size);
    for (row, pixels) in square.chunks_exact_mut(3 * size as usize).enumerate() {
        let y = row as f64 + 0.5;
        // The place of the first pixel, then a step for each of the others.
        let (mut at_x, mut at_y) = (0.5 * a + b * y + c - 0.5, 0.5 * d + e * y + f - 0.5);
        for pixel in pixels.chunks_exact_mut(3) {
            pixel.copy_from_slice(&between(picture, at_x as f32, at_y as f32));
            at_x += a;
            at_y += d;
        }
    }
    square
}

/// The colour at a place whose pixel centres are at integers.
fn between(picture: &RgbImage, x: f32, y: f32) -> [u8; 3] {
    let (left, top) = (floor(x), floor(y));
    let (along, down) = (x - left as f32, y - top as f32);
    let (width, height) = (picture.width() as i32, picture.height() as i32);
    let pixels = picture.as_raw();
    let at = |x: i32, y: i32| -> [u8; 3] {
        if !(0..width).contains(&x) || !(0..height).contains(&y) {
            return [0; 3];
        }
        let first = 3 * (y as usize * width as usize + x as usize);
        [pixels[first], pixels[first + 1], pixels[first + 2]]
    };
    let corners = [
        at(left, top),
        at(left + 1, top),
        at(left, top + 1),
        at(left + 1, top + 1),
    ];
    let mix = |from: f32, to: f32, part: f32| from + (to - from) * part;
    std::array::from_fn(|channel| {
        let [a, b, c, d] = corners.map(|corner| f32::from(corner[channel]));
        // The nearest whole grey level; a call of `round` would take longer than all the rest.
        (mix(mix(a, b, along), mix(c, d, along), down) + 0.5) as u8
    })
}

fn floor(value: f32) -> i32 {
    let whole = value as i32;
    whole - i32::from(value < whole as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;
    use imageproc::geometric_transformations::{Border, Interpolation, warp_into_with};
    use proptest::prelude::*;

    proptest! {
        /// Against imageproc: equal but for rounding, inside and beyond the picture.
        #[test]
        fn is_what_imageproc_gives(
            seed in any::<u32>(),
            scale in 0.3f64..3.0,
            turn in -3.2f64..3.2,
            x in -40.0f64..90.0,
            y in -40.0f64..90.0,
        ) {
            let mut state = seed;
            let picture = RgbImage::from_fn(61, 47, |_, _| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                Rgb([(state >> 24) as u8, (state >> 16) as u8, (state >> 8) as u8])
            });
            let (sin, cos) = turn.sin_cos();
            let map = [scale * cos, -scale * sin, x, scale * sin, scale * cos, y];
            let got = square(&picture, map, 40);
            let mut expected = RgbImage::new(40, 40);
            let at = |px: f32, py: f32| {
                let (px, py) = (f64::from(px) + 0.5, f64::from(py) + 0.5);
                (
                    (map[0] * px + map[1] * py + map[2] - 0.5) as f32,
                    (map[3] * px + map[4] * py + map[5] - 0.5) as f32,
                )
            };
            let black = Border::Constant(Rgb([0, 0, 0]));
            warp_into_with(&picture, at, Interpolation::Bilinear, black, &mut expected);
            // imageproc rounds down, twice.
            for (px, py, pixel) in got.enumerate_pixels() {
                for (a, b) in pixel.0.into_iter().zip(expected.get_pixel(px, py).0) {
                    prop_assert!((b..=b.saturating_add(2)).contains(&a), "{a} {b} at {px} {py}");
                }
            }
        }
    }
}

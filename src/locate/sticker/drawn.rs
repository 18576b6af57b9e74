//! Pictures of dots, drawn for tests: edges to parts of a pixel, skin or cloth, blur, noise, JPEG.

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};
use nalgebra::Vector2;

/// Numbers that look random and are the same at every run.
pub struct Dice(pub u64);

impl Dice {
    /// Evenly from 0 to 1.
    pub fn even(&mut self) -> f64 {
        // Knuth's MMIX generator.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Nearly normal, sigma 1.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

pub const PALE_SKIN: [f64; 3] = [214.0, 170.0, 148.0];
pub const DARK_SKIN: [f64; 3] = [112.0, 74.0, 56.0];
pub const GREY_CLOTH: [f64; 3] = [120.0, 122.0, 126.0];
pub const NAVY_CLOTH: [f64; 3] = [40.0, 48.0, 84.0];
pub const WOOD: [f64; 3] = [170.0, 128.0, 86.0];

pub const RED: [f64; 3] = [214.0, 24.0, 36.0];
pub const GREEN: [f64; 3] = [20.0, 168.0, 60.0];
pub const BLUE: [f64; 3] = [24.0, 84.0, 214.0];
pub const YELLOW: [f64; 3] = [240.0, 214.0, 20.0];

/// An ellipse of one colour, pixels.
#[derive(Clone, Copy)]
pub struct Drawn {
    pub at: Vector2<f64>,
    pub half_axes: [f64; 2],
    pub turn: f64,
    pub colour: [f64; 3],
}

impl Drawn {
    pub fn round(x: f64, y: f64, diameter: f64, colour: [f64; 3]) -> Drawn {
        Drawn {
            at: Vector2::new(x, y),
            half_axes: [diameter / 2.0; 2],
            turn: 0.0,
            colour,
        }
    }

    fn covers(&self, at: Vector2<f64>) -> bool {
        let (sin, cos) = self.turn.sin_cos();
        let off = at - self.at;
        let along = (off.x * cos + off.y * sin) / self.half_axes[0];
        let across = (off.y * cos - off.x * sin) / self.half_axes[1];
        along * along + across * across <= 1.0
    }

    /// The part of a pixel that it covers.
    fn share(&self, x: u32, y: u32) -> f64 {
        const FINE: u32 = 8;
        let corner = Vector2::new(f64::from(x), f64::from(y));
        let reach = self.half_axes[0].max(self.half_axes[1]) + 1.0;
        if (corner - self.at).norm() > reach + 1.0 {
            return 0.0;
        }
        let covered = (0..FINE * FINE)
            .filter(|i| {
                let within = Vector2::new(f64::from(i % FINE), f64::from(i / FINE));
                self.covers(corner + within.add_scalar(0.5) / f64::from(FINE))
            })
            .count();
        covered as f64 / f64::from(FINE * FINE)
    }
}

/// Draws over a ground whose colour is given for each place, with light from the left, weave or
/// pores, blur (sigma, pixels) and noise (grey levels).
pub fn picture(
    size: (u32, u32),
    ground: impl Fn(f64, f64) -> [f64; 3],
    drawn: &[Drawn],
    (blur, noise): (f64, f64),
    dice: &mut Dice,
) -> RgbImage {
    let mut channels: [Vec<f64>; 3] = Default::default();
    for y in 0..size.1 {
        for x in 0..size.0 {
            let light = 1.08 - 0.25 * f64::from(x) / f64::from(size.0) + 0.02 * dice.normal();
            let mut colour = ground(f64::from(x) + 0.5, f64::from(y) + 0.5);
            for dot in drawn {
                let share = dot.share(x, y);
                for (mixed, own) in colour.iter_mut().zip(dot.colour) {
                    *mixed += (own - *mixed) * share;
                }
            }
            for (channel, value) in channels.iter_mut().zip(colour) {
                channel.push(value * light);
            }
        }
    }
    let blurred = channels.map(|channel| blurred(&channel, size, blur));
    RgbImage::from_fn(size.0, size.1, |x, y| {
        let at = (y * size.0 + x) as usize;
        Rgb(std::array::from_fn(|channel| {
            (blurred[channel][at] + noise * dice.normal())
                .round()
                .clamp(0.0, 255.0) as u8
        }))
    })
}

/// Blurred along and then down, with the edge carried on.
fn blurred(channel: &[f64], (width, height): (u32, u32), sigma: f64) -> Vec<f64> {
    let reach = (3.0 * sigma).ceil() as i64;
    let kernel: Vec<f64> = (-reach..=reach)
        .map(|off| (-0.5 * (off as f64 / sigma.max(1e-6)).powi(2)).exp())
        .collect();
    let sum: f64 = kernel.iter().sum();
    let (width, height) = (i64::from(width), i64::from(height));
    let pass = |from: &[f64], step: (i64, i64)| -> Vec<f64> {
        (0..width * height)
            .map(|i| {
                let (x, y) = (i % width, i / width);
                let part = |(k, weight): (usize, &f64)| {
                    let off = k as i64 - reach;
                    let x = (x + off * step.0).clamp(0, width - 1);
                    let y = (y + off * step.1).clamp(0, height - 1);
                    weight * from[(y * width + x) as usize]
                };
                kernel.iter().enumerate().map(part).sum::<f64>() / sum
            })
            .collect()
    };
    pass(&pass(channel, (1, 0)), (0, 1))
}

/// Through a JPEG as phones write it: quality 85, the colour of four pixels at a time their mean.
pub fn through_jpeg(picture: &RgbImage) -> RgbImage {
    let (width, height) = picture.dimensions();
    let grey = |pixel: &Rgb<u8>| {
        let [r, g, b] = pixel.0.map(f64::from);
        0.299 * r + 0.587 * g + 0.114 * b
    };
    let halved = RgbImage::from_fn(width, height, |x, y| {
        let four = [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(right, down)| {
            picture.get_pixel(
                ((x & !1) + right).min(width - 1),
                ((y & !1) + down).min(height - 1),
            )
        });
        let mean_grey = four.map(grey).iter().sum::<f64>() / 4.0;
        let own = grey(picture.get_pixel(x, y));
        Rgb(std::array::from_fn(|channel| {
            let mean = four.iter().map(|p| f64::from(p.0[channel])).sum::<f64>() / 4.0;
            (own + mean - mean_grey).round().clamp(0.0, 255.0) as u8
        }))
    });
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 85)
        .encode_image(&halved)
        .expect("a JPEG");
    image::load_from_memory(&bytes)
        .expect("the same JPEG")
        .into_rgb8()
}

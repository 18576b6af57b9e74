//! Straight, nearly upright edges of a picture, each to a fraction of a pixel.
//!
//! The brightness changes fastest along x where an upright edge crosses a row. Such places of
//! neighbouring rows are linked to chains, chains are cut into straight pieces, and a line is
//! fitted through each piece.

use image::RgbImage;

/// A straight edge in the picture: x = `at` + `slope` · (y − `middle`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// x at the middle of the edge.
    pub at: f64,
    /// Middle row of the edge.
    pub middle: f64,
    /// dx/dy.
    pub slope: f64,
    /// Error of the slope, from how far the edge wanders about the line.
    pub slope_sigma: f64,
    /// Rows in which the edge is seen.
    pub length: f64,
}

/// Least step of brightness across an edge, grey levels of 255.
const LEAST_STEP: i32 = 3;
/// Steeper than this is taken for upright: 15 degrees from the vertical.
const MOST_SLOPE: f64 = 0.268;
/// A shorter edge than this part of the picture's longer side says too little.
const LEAST_LENGTH: f64 = 0.04;
/// Rows that an edge may be lost for.
const GAP: usize = 2;
/// A chain that leaves a straight line by more than this many pixels is cut in two.
const BEND: f64 = 0.8;
/// An edge that wanders about its line by more than this many pixels (root mean square) is none.
const ROUGH: f64 = 0.35;
/// The least error of an edge's place in one row, pixels, and the rows over which such errors
/// hang together: the picture is smoothed over five, and steps of pixels come and go slowly.
const PLACE_SIGMA: f64 = 0.1;
const TOGETHER: f64 = 5.0;

/// Weights along a column that smooth the picture, and their sum; then the weights of columns to
/// either side whose difference is the change across a row. A step of one grey level gives
/// `STEP`.
const SMOOTH: [i32; 5] = [1, 4, 6, 4, 1];
const STEP: i32 = 16 * 3;

/// A place where brightness changes fastest along its row.
#[derive(Clone, Copy)]
struct Place {
    x: f64,
    y: f64,
}

/// Places of neighbouring rows that belong together.
struct Chain {
    places: Vec<Place>,
    row: usize,
    brightens: bool,
}

/// A straight piece of an edge.
struct Piece {
    places: Vec<Place>,
    brightens: bool,
    line: Line,
}

/// So many pieces of edges at most are looked at, the longest first.
const MOST_PIECES: usize = 300;

/// The edges of a picture, outside of what `hidden` holds (by pixel centres, x and y).
pub fn find(picture: &RgbImage, hidden: impl Fn(f64, f64) -> bool) -> Vec<Line> {
    let least = LEAST_LENGTH * f64::from(picture.width().max(picture.height()));
    let mut pieces = Vec::new();
    for chain in chains(picture, hidden) {
        cut(&chain.places, chain.brightens, least, &mut pieces);
    }
    pieces.sort_by(|a, b| b.line.length.total_cmp(&a.line.length));
    pieces.truncate(MOST_PIECES);
    joined(pieces)
}

/// Joins the pieces of one edge that something interrupts.
fn joined(mut pieces: Vec<Piece>) -> Vec<Line> {
    let mut lines = Vec::new();
    while !pieces.is_empty() {
        let mut edge = pieces.remove(0);
        let mut index = 0;
        while index < pieces.len() {
            match edge.with(&pieces[index]) {
                Some(longer) => {
                    edge = longer;
                    pieces.remove(index);
                    index = 0;
                }
                None => index += 1,
            }
        }
        lines.push(edge.line);
    }
    lines
}

impl Piece {
    fn through(places: Vec<Place>, brightens: bool) -> Option<Piece> {
        let line = line_through(&places)?;
        Some(Piece {
            places,
            brightens,
            line,
        })
    }

    /// Both pieces as one, if they are pieces of one edge.
    fn with(&self, other: &Piece) -> Option<Piece> {
        let (a, b) = (&self.line, &other.line);
        let apart = b.middle - a.middle;
        let aside = b.at - a.at - a.slope * apart;
        let follows = (a.length + b.length) / 2.0..2.0 * a.length;
        if self.brightens != other.brightens
            || aside.abs() > 2.0 * BEND
            || !follows.contains(&apart.abs())
        {
            return None;
        }
        Piece::through([&self.places[..], &other.places].concat(), self.brightens)
    }
}

/// Grey levels, row by row.
fn grey(picture: &RgbImage) -> Vec<i32> {
    picture
        .as_raw()
        .chunks_exact(3)
        .map(|p| (77 * i32::from(p[0]) + 150 * i32::from(p[1]) + 29 * i32::from(p[2]) + 128) >> 8)
        .collect()
}

fn chains(picture: &RgbImage, hidden: impl Fn(f64, f64) -> bool) -> Vec<Chain> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let grey = grey(picture);
    let mut chains: Vec<Chain> = Vec::new();
    // The chain that last passed through each column.
    let mut latest: Vec<Option<usize>> = vec![None; width];
    let mut smooth = vec![0; width];
    let mut change = vec![0; width];
    for y in 2..height.saturating_sub(2) {
        let rows: [&[i32]; 5] = std::array::from_fn(|i| &grey[(y + i - 2) * width..][..width]);
        for (x, value) in smooth.iter_mut().enumerate() {
            *value = (0..5).map(|i| SMOOTH[i] * rows[i][x]).sum();
        }
        for (value, window) in change[2..].iter_mut().zip(smooth.windows(5)) {
            *value = window[4] - window[0] + 2 * (window[3] - window[1]);
        }
        for x in 3..width - 3 {
            let [before, here, after] = [change[x - 1], change[x], change[x + 1]].map(i32::abs);
            if here < LEAST_STEP * STEP || here <= before || here < after {
                continue;
            }
            let bend = f64::from(2 * here - before - after);
            let offset = f64::from(after - before) / (2.0 * bend);
            let place = Place {
                x: x as f64 + 0.5 + offset,
                y: y as f64 + 0.5,
            };
            if hidden(place.x, place.y) {
                continue;
            }
            let brightens = change[x] > 0;
            let near = [x, x - 1, x + 1]
                .into_iter()
                .filter_map(|column| latest[column])
                .filter(|&chain| {
                    let chain = &chains[chain];
                    chain.brightens == brightens && chain.row < y && chain.row + 1 + GAP >= y
                })
                .min_by(|&a, &b| {
                    let apart = |chain: usize| {
                        let last = chains[chain].places.last().expect("no chain is empty");
                        (last.x - place.x).abs()
                    };
                    apart(a).total_cmp(&apart(b))
                });
            let chain = near.unwrap_or_else(|| {
                chains.push(Chain {
                    places: Vec::new(),
                    row: y,
                    brightens,
                });
                chains.len() - 1
            });
            chains[chain].places.push(place);
            chains[chain].row = y;
            latest[x] = Some(chain);
        }
    }
    chains
}

/// Cuts a chain into straight pieces and keeps those that are long, smooth and upright enough.
fn cut(places: &[Place], brightens: bool, least: f64, pieces: &mut Vec<Piece>) {
    let (Some(first), Some(last)) = (places.first(), places.last()) else {
        return;
    };
    if (places.len() as f64) < least {
        return;
    }
    let chord = (last.x - first.x) / (last.y - first.y);
    let off = |place: &Place| (place.x - first.x - chord * (place.y - first.y)).abs();
    let (farthest, most) = places
        .iter()
        .enumerate()
        .map(|(index, place)| (index, off(place)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .expect("a chain has places");
    if most > BEND {
        cut(&places[..farthest], brightens, least, pieces);
        cut(&places[farthest..], brightens, least, pieces);
        return;
    }
    pieces.extend(Piece::through(places.to_vec(), brightens));
}

/// The line of least squares; `None` where the places wander too much about it or it is not
/// upright.
fn line_through(places: &[Place]) -> Option<Line> {
    let count = places.len() as f64;
    let mean = |of: &dyn Fn(&Place) -> f64| places.iter().map(of).sum::<f64>() / count;
    let (at, middle) = (mean(&|p| p.x), mean(&|p| p.y));
    let spread = mean(&|p| (p.y - middle).powi(2));
    let slope = mean(&|p| (p.x - at) * (p.y - middle)) / spread;
    let wander = mean(&|p| (p.x - at - slope * (p.y - middle)).powi(2)).sqrt();
    let independent = (count / TOGETHER).max(1.0);
    (wander <= ROUGH && slope.abs() <= MOST_SLOPE).then(|| Line {
        at,
        middle,
        slope,
        slope_sigma: wander.max(PLACE_SIGMA) / (spread * independent).sqrt(),
        length: count,
    })
}

//! Bland–Altman plots as SVG files that stand alone: readable in black and white and by a screen
//! reader.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};

use crate::agree::{Agreement, Bounded, Differences, Group, Interval, Pair, Quantity, Spread};
use crate::measure::Unit;
use crate::report::axis::{Axis, at};
use crate::report::chart::marker;
use crate::report::number::plain;

use super::{decimals, difference_word, letter, title, unit};

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 500.0;
const LEFT: f64 = 76.0;
/// Room for the words beside the lines.
const RIGHT: f64 = 168.0;
const TOP: f64 = 74.0;
const BOTTOM: f64 = 78.0;
/// Least distance between the words of two lines.
const APART: f64 = 32.0;
/// Longest file name that is printed whole.
const LONG: usize = 48;

/// Greys and shapes carry the meaning; colour only helps.
const STYLE: &str = "text{font:13px sans-serif;fill:#222}.title{font-size:17px;font-weight:600}\
    .small{font-size:11.5px;fill:#444}.frame{fill:none;stroke:#777}.tick{stroke:#777}\
    .whisker{stroke:#444;stroke-width:1.3;fill:none}.zero{stroke:#222;stroke-dasharray:1.5 4;stroke-width:1.5}\
    .bias{stroke:#222;stroke-width:2}.limit{stroke:#222;stroke-width:1.5;stroke-dasharray:9 5}\
    .marker{stroke-width:1.5;fill:#fff;fill-opacity:.6;stroke:#222}\
    .of-left .marker{fill:#1c4f82;stroke:#fff;stroke-width:.8;fill-opacity:.85}\
    .of-right .marker{stroke:#a03c14}";

/// One plot, and what its file is called, without the ending.
pub struct Plot {
    pub name: String,
    pub svg: String,
}

/// One plot per measure and pair of raters with two complete rows or more.
pub fn agreement_plots(agreement: &Agreement, files: &[String]) -> Vec<Plot> {
    let mut plots = Vec::new();
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    for (index, group) in agreement.groups.iter().enumerate() {
        // Both sides together stand last; they make the sides' own plots needless.
        let next = agreement.groups.get(index + 1);
        if next.is_some_and(|next| next.quantity == group.quantity) {
            continue;
        }
        for pair in &group.pairs {
            let Ok(differences) = pair.differences else {
                continue;
            };
            let Ok(spread) = differences.spread else {
                continue;
            };
            let mut name = stem(&group.quantity);
            if group.pairs.len() > 1 {
                let letters = [letter(pair.second), letter(pair.first)].map(|l| l.to_lowercase());
                name = format!("{name}.{}", safe(&letters.join("-")));
            }
            // Names of measures that others brought may differ only in what a file can't be named.
            let times = taken.entry(name.clone()).or_default();
            *times += 1;
            if *times > 1 {
                name = format!("{name}.{times}");
            }
            let figure = Figure::of(agreement, files, group, pair, differences, spread);
            plots.push(Plot {
                name,
                svg: figure.draw().into_string(),
            });
        }
    }
    plots
}

/// `shoulder_flexion`, `arm_to_ear_percent`, `reach_asymmetry_of_shoulder_flexion`.
fn stem(quantity: &Quantity) -> String {
    let mut stem = quantity.id().to_owned();
    match quantity {
        Quantity::Known(measure) => {
            if let Some(of) = measure.of() {
                stem = format!("{stem}_of_{}", of.id());
            }
            if measure.unit() == Unit::Percent && !stem.contains("index") {
                stem.push_str("_percent");
            }
        }
        Quantity::Other { unit, .. } if !unit.is_empty() => stem = format!("{stem}_{unit}"),
        Quantity::Other { .. } => {}
    }
    safe(&stem)
}

/// Only what every file system takes in a name, and nothing that leads out of a folder.
fn safe(name: &str) -> String {
    let kept = |c: char| {
        if c.is_ascii_alphanumeric() || "_-".contains(c) {
            c
        } else {
            '_'
        }
    };
    name.chars().map(kept).collect()
}

struct Figure<'a> {
    agreement: &'a Agreement,
    files: &'a [String],
    group: &'a Group,
    pair: &'a Pair,
    differences: Differences,
    spread: Spread,
    decimals: usize,
    x: Axis,
    y: Axis,
}

impl<'a> Figure<'a> {
    fn of(
        agreement: &'a Agreement,
        files: &'a [String],
        group: &'a Group,
        pair: &'a Pair,
        differences: Differences,
        spread: Spread,
    ) -> Figure<'a> {
        let points = points(agreement, group, pair);
        let bounds = [
            0.0,
            spread.lower_limit.interval.low,
            spread.upper_limit.interval.high,
        ];
        let heights = points.iter().map(|(_, _, y)| *y).chain(bounds);
        // What is measured to a millionth of its size hardly needs closer ticks.
        let size = points
            .iter()
            .fold(1.0, |size: f64, (_, x, _)| size.max(x.abs()));
        Figure {
            x: Axis::over(
                points.iter().map(|(_, x, _)| *x),
                1e-6 * size,
                LEFT..WIDTH - RIGHT,
            ),
            y: Axis::over(heights, 1e-6 * size, HEIGHT - BOTTOM..TOP),
            decimals: decimals(agreement, &group.quantity),
            agreement,
            files,
            group,
            pair,
            differences,
            spread,
        }
    }

    fn draw(&self) -> Markup {
        let unit = match unit(&self.group.quantity) {
            "" => String::new(),
            unit => format!(" ({unit})"),
        };
        let (first, second) = (letter(self.pair.first), letter(self.pair.second));
        let across = if self.agreement.reference {
            format!("Reference {first}{unit}")
        } else {
            format!("Mean of {first} and {second}{unit}")
        };
        let word = difference_word(self.agreement);
        let up = format!("{} {second} − {first}{unit}", capital(word));
        let heading = format!("Bland–Altman plot: {}", title(&self.group.quantity));
        html! {
            (PreEscaped("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"))
            svg xmlns="http://www.w3.org/2000/svg" width=(WIDTH) height=(HEIGHT)
                viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-labelledby="title desc" {
                title id="title" { (heading) ", n = " (self.differences.n) }
                desc id="desc" { (self.described()) }
                style { (PreEscaped(STYLE)) }
                rect width=(WIDTH) height=(HEIGHT) fill="#fff" {}
                g aria-hidden="true" {
                    text class="title" x="16" y="28" { (heading) }
                    (self.legend())
                    (self.levels())
                    (self.ticks())
                    @for (side, x, y) in points(self.agreement, self.group, self.pair) {
                        g class=(class(side)) { (marker(side, self.x.pixel(x), self.y.pixel(y))) }
                    }
                    (self.words_beside())
                    text x=(at((LEFT + WIDTH - RIGHT) / 2.0)) y=(HEIGHT - BOTTOM + 40.0)
                        text-anchor="middle" { (across) }
                    @let middle = (TOP + HEIGHT - BOTTOM) / 2.0;
                    text x="20" y=(at(middle)) text-anchor="middle"
                        transform=(format!("rotate(-90 20 {})", at(middle))) { (up) }
                    text class="small" x="16" y=(HEIGHT - 12.0) {
                        (first) ": " (short(&self.files[self.pair.first])) "; "
                        (second) ": " (short(&self.files[self.pair.second]))
                    }
                }
            }
        }
    }

    /// Each sign at a place of its own, whether or not there is a row of that side.
    fn legend(&self) -> Markup {
        let n = |side: &str| {
            self.group
                .rows
                .iter()
                .filter(|row| name(row.side) == side)
                .count()
        };
        html! {
            text x="16" y="54" { "n = " (self.differences.n) }
            @for (side, x) in [("left", 120.0), ("right", 224.0)] {
                @if n(side) > 0 {
                    g class=(class(side)) { (marker(side, x, 49.5)) }
                    text x=(x + 12.0) y="54" { (side) " (" (n(side)) ")" }
                }
            }
            path class="zero" d="M344 49.5h28" {}
            text x="378" y="54" { "no " (difference_word(self.agreement)) }
            path class="whisker" d="M503,42h10m-5,0v15m-5,0h10" {}
            text x="528" y="54" { "95 % CI" }
        }
    }

    /// Zero, bias and limits with their intervals, under the points.
    fn levels(&self) -> Markup {
        let line = |class: &str, y: f64| {
            html! { line class=(class) x1=(LEFT) x2=(WIDTH - RIGHT)
            y1=(at(self.y.pixel(y))) y2=(at(self.y.pixel(y))) {} }
        };
        // Beside one another: with few readings the intervals of the three overlap.
        let whisker = |place: f64, interval: Interval| {
            let (top, bottom) = (self.y.pixel(interval.high), self.y.pixel(interval.low));
            let (x, height) = (WIDTH - RIGHT - 12.0 * place, bottom - top);
            html! { path class="whisker" d=(format!("M{},{}h10m-5,0v{}m-5,0h10", at(x - 5.0), at(top), at(height))) {} }
        };
        html! {
            (whisker(1.0, self.spread.lower_limit.interval))
            (whisker(2.0, self.spread.bias))
            (whisker(3.0, self.spread.upper_limit.interval))
            (line("zero", 0.0))
            (line("bias", self.differences.mean))
            (line("limit", self.spread.lower_limit.value))
            (line("limit", self.spread.upper_limit.value))
        }
    }

    fn ticks(&self) -> Markup {
        let floor = HEIGHT - BOTTOM;
        html! {
            rect class="frame" x=(LEFT) y=(TOP) width=(WIDTH - RIGHT - LEFT) height=(floor - TOP) {}
            @for tick in &self.x.ticks {
                @let x = at(self.x.pixel(*tick));
                line class="tick" x1=(x) x2=(x) y1=(floor) y2=(floor + 5.0) {}
                text x=(x) y=(floor + 19.0) text-anchor="middle" {
                    (plain(*tick, self.x.decimals))
                }
            }
            @for tick in &self.y.ticks {
                @let y = self.y.pixel(*tick);
                line class="tick" x1=(LEFT - 5.0) x2=(LEFT) y1=(at(y)) y2=(at(y)) {}
                text x=(LEFT - 9.0) y=(at(y + 4.5)) text-anchor="end" {
                    (plain(*tick, self.y.decimals))
                }
            }
        }
    }

    /// What each line is, with its number and interval, moved apart where they would overlap.
    fn words_beside(&self) -> Markup {
        let lines = self.lines();
        let middle = self.y.pixel(lines[1].1.value);
        let high = self.y.pixel(lines[0].1.value).min(middle - APART);
        let low = self.y.pixel(lines[2].1.value).max(middle + APART);
        html! {
            @for ((name, bounded), y) in lines.iter().zip([high, middle, low]) {
                text x=(WIDTH - RIGHT + 8.0) y=(at(y - 1.0)) {
                    (name) " " (plain(bounded.value, self.decimals))
                }
                text class="small" x=(WIDTH - RIGHT + 8.0) y=(at(y + 13.0)) {
                    (self.interval(bounded.interval))
                }
            }
        }
    }

    fn lines(&self) -> [(&'static str, Bounded); 3] {
        let bias = Bounded {
            value: self.differences.mean,
            interval: self.spread.bias,
        };
        [
            ("Upper limit", self.spread.upper_limit),
            ("Bias", bias),
            ("Lower limit", self.spread.lower_limit),
        ]
    }

    fn interval(&self, interval: Interval) -> String {
        let [low, high] = [interval.low, interval.high].map(|bound| plain(bound, self.decimals));
        format!("[{low}, {high}]")
    }

    /// The plot in words.
    fn described(&self) -> String {
        let unit = unit(&self.group.quantity);
        let (first, second) = (letter(self.pair.first), letter(self.pair.second));
        let lines = self.lines().map(|(name, bounded)| {
            let value = plain(bounded.value, self.decimals);
            format!(
                "{} {value} {}",
                name.to_lowercase(),
                self.interval(bounded.interval)
            )
        });
        format!(
            "{} {second} minus {first} against {}, n = {}. In {}, with 95 % confidence intervals: \
             {}. {first} is {}, {second} is {}.",
            capital(difference_word(self.agreement)),
            if self.agreement.reference {
                "the reference"
            } else {
                "the mean of both"
            },
            self.differences.n,
            if unit.is_empty() {
                "the files' unit"
            } else {
                unit
            },
            lines.join(", "),
            self.files[self.pair.first],
            self.files[self.pair.second],
        )
    }
}

/// Side, what is measured, and the difference, of each row.
fn points(agreement: &Agreement, group: &Group, pair: &Pair) -> Vec<(&'static str, f64, f64)> {
    group
        .rows
        .iter()
        .map(|row| {
            let (first, second) = (row.values[pair.first], row.values[pair.second]);
            let x = if agreement.reference {
                first
            } else {
                (first + second) / 2.0
            };
            (name(row.side), x, second - first)
        })
        .collect()
}

fn name(side: Option<crate::body::Side>) -> &'static str {
    side.map_or("", |side| side.name())
}

fn class(side: &str) -> &'static str {
    match side {
        "left" => "of-left",
        "right" => "of-right",
        _ => "of-none",
    }
}

fn capital(word: &str) -> String {
    crate::report::words::capitalised(word)
}

fn short(file: &str) -> String {
    let letters = file.chars().count();
    if letters <= LONG {
        return file.to_owned();
    }
    format!("…{}", file.chars().skip(letters - LONG).collect::<String>())
}

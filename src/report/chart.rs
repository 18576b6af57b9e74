//! The course of one measure as an inline SVG: points with 95 % whiskers over time.

use std::fmt::Write;

use maud::{Markup, html};

use super::axis::{Axis, at};
use super::number;
use super::view::{ChartSeries, ChartView};

const WIDTH: f64 = 240.0;
const HEIGHT: f64 = 145.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 4.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 34.0;
/// Series of one visit stand beside each other, so that whiskers don't hide each other.
const APART: f64 = 9.0;
/// Ticks of degrees and centimetres need not be closer.
const FINEST: f64 = 0.1;

pub(super) fn chart(view: &ChartView) -> Markup {
    let axes = Axes::of(view);
    let words = described(view);
    html! {
        svg class="chart" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(words) {
            @for tick in &axes.values.ticks {
                line class=(if *tick == 0.0 { "grid zero" } else { "grid" })
                    x1=(LEFT) x2=(WIDTH - RIGHT) y1=(at(axes.y(*tick))) y2=(at(axes.y(*tick))) {}
                text class="tick" x=(LEFT - 6.0) y=(at(axes.y(*tick) + 4.5)) text-anchor="end" {
                    (number::plain(*tick, axes.values.decimals))
                }
            }
            @for (index, (when, name)) in view.visits.iter().enumerate() {
                line class="grid" x1=(at(axes.x(*when))) x2=(at(axes.x(*when)))
                    y1=(HEIGHT - BOTTOM) y2=(HEIGHT - BOTTOM + 5.0) {}
                @if let Some((anchor, x)) = anchor(&axes, view, index) {
                    text class="tick" x=(at(x)) y=(HEIGHT - BOTTOM + 20.0)
                        text-anchor=(anchor) { (name) }
                }
            }
            @for (index, series) in view.series.iter().enumerate() {
                (course(&axes, series, view.series.len(), index))
            }
        }
    }
}

/// First and last visit are always named, at the corners; one between them where there is room.
fn anchor(axes: &Axes, view: &ChartView, index: usize) -> Option<(&'static str, f64)> {
    let last = view.visits.len() - 1;
    if index == 0 {
        return Some(("start", LEFT - 10.0));
    }
    if index == last {
        return Some(("end", WIDTH));
    }
    let letters: usize = view
        .visits
        .iter()
        .map(|(_, name)| name.chars().count())
        .sum();
    let x = axes.x(view.visits[index].0);
    let middle = (LEFT + WIDTH) / 2.0;
    (last == 2 && letters < 24 && (x - middle).abs() < 25.0).then_some(("middle", x))
}

/// The marker tells the side even without colour: a disc and a solid line for the left, a square
/// and dashes for the right, a diamond where there are no sides.
fn course(axes: &Axes, series: &ChartSeries, of: usize, index: usize) -> Markup {
    let shift = APART * (index as f64 - (of as f64 - 1.0) / 2.0);
    let mut path = String::new();
    for (index, point) in series.points.iter().enumerate() {
        let command = if index == 0 { 'M' } else { 'L' };
        let _ = write!(
            path,
            "{command}{} {} ",
            at(axes.x(point.when) + shift),
            at(axes.y(point.value))
        );
    }
    html! {
        g class=(format!("series {}", class(series))) {
            path class="course" d=(path.trim_end()) {}
            @for point in &series.points {
                @let x = axes.x(point.when) + shift;
                path class="whisker" d=(format!(
                    "M{x0} {low}H{x1}M{x} {low}V{high}M{x0} {high}H{x1}",
                    x = at(x), x0 = at(x - 4.0), x1 = at(x + 4.0),
                    low = at(axes.y(point.low)), high = at(axes.y(point.high)),
                )) {}
                (marker(series.side, x, axes.y(point.value)))
            }
        }
    }
}

pub(super) fn class(series: &ChartSeries) -> &'static str {
    match series.side {
        "left" => "of-left",
        "right" => "of-right",
        _ => "of-none",
    }
}

/// A disc for the left, a square for the right, a diamond where there are no sides.
pub(super) fn marker(side: &str, x: f64, y: f64) -> Markup {
    html! {
        @match side {
            "left" => circle class="marker" cx=(at(x)) cy=(at(y)) r="5" {},
            "right" => rect class="marker" x=(at(x - 4.8)) y=(at(y - 4.8)) width="9.6" height="9.6" {},
            _ => path class="marker" d=(format!("M{} {}l6 6l-6 6l-6 -6z", at(x), at(y - 6.0))) {},
        }
    }
}

/// The key of a chart's series.
pub(super) fn key(series: &ChartSeries) -> Markup {
    html! {
        svg class=(format!("key series {}", class(series))) viewBox="0 0 34 14" aria-hidden="true" {
            path class="course" d="M1 7H33" {}
            (marker(series.side, 17.0, 7.0))
        }
    }
}

/// What the chart shows, in words, for those who can't see it.
pub(super) fn described(view: &ChartView) -> String {
    let mut words = format!("{}, {}.", view.name, view.better);
    for series in &view.series {
        let points: Vec<&str> = series
            .points
            .iter()
            .map(|point| point.words.as_str())
            .collect();
        let side = match series.side {
            "" => String::new(),
            side => format!("{side} side: "),
        };
        let _ = write!(words, " {side}{}.", points.join("; "));
    }
    words
}

struct Axes {
    first: f64,
    last: f64,
    values: Axis,
}

impl Axes {
    fn of(view: &ChartView) -> Axes {
        let points = view.series.iter().flat_map(|series| &series.points);
        let bounds = points.flat_map(|point| [point.low, point.high]);
        Axes {
            first: view
                .visits
                .iter()
                .map(|(when, _)| *when)
                .fold(f64::INFINITY, f64::min),
            last: view
                .visits
                .iter()
                .map(|(when, _)| *when)
                .fold(f64::NEG_INFINITY, f64::max),
            values: Axis::over(bounds, FINEST, HEIGHT - BOTTOM..TOP),
        }
    }

    fn x(&self, when: f64) -> f64 {
        let inset = 22.0;
        let width = WIDTH - LEFT - RIGHT - 2.0 * inset;
        let span = self.last - self.first;
        let part = if span > 0.0 {
            (when - self.first) / span
        } else {
            0.5
        };
        LEFT + inset + part * width
    }

    fn y(&self, value: f64) -> f64 {
        self.values.pixel(value)
    }
}

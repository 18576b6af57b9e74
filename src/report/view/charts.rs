//! The course of each measure over the visits.

use crate::compare::{Comparison, Row, Z95};
use crate::measure::Measure;
use crate::report::number;
use crate::visit::Visit;

use super::facts::is_operated;
use super::movement::is_twin;
use super::names::{better_words, side_words};
use super::{ChartPoint, ChartSeries, ChartView, VisitName};

pub(super) fn charts(
    visits: &[Visit],
    names: &[VisitName],
    comparison: &Comparison,
) -> Vec<ChartView> {
    let dates: Option<Vec<_>> = visits.iter().map(|visit| visit.facts.date).collect();
    let when = |index: usize| match &dates {
        Some(dates) => f64::from((dates[index] - dates[0]).get_days()),
        None => index as f64,
    };
    let named: Vec<(f64, String)> = names
        .iter()
        .enumerate()
        .map(|(index, name)| (when(index), name.short().to_owned()))
        .collect();
    let mut charts: Vec<ChartView> = Vec::new();
    for measure in Measure::ALL
        .into_iter()
        .filter(|measure| !is_twin(*measure))
    {
        let series: Vec<ChartSeries> = comparison
            .rows
            .iter()
            .filter(|row| row.measure == measure)
            .map(|row| ChartSeries {
                side: side_words(row.side),
                operated: is_operated(visits, row.side),
                points: chart_points(row, &named),
            })
            .filter(|series| series.points.len() > 1)
            .collect();
        if !series.is_empty() {
            charts.push(ChartView {
                measure,
                name: measure.words(),
                unit: measure.unit(),
                better: better_words(measure),
                series,
                visits: named.clone(),
            });
        }
    }
    charts
}

fn chart_points(row: &Row, visits: &[(f64, String)]) -> Vec<ChartPoint> {
    row.course
        .iter()
        .zip(visits)
        .filter_map(|(value, (when, name))| {
            let estimate = value.as_ref().ok()?;
            let half = Z95 * estimate.sigma;
            Some(ChartPoint {
                when: *when,
                value: estimate.value,
                low: estimate.value - half,
                high: estimate.value + half,
                words: format!(
                    "{name}: {}",
                    number::with_error(*estimate, row.measure.unit())
                ),
            })
        })
        .collect()
}

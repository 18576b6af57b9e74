//! What visits, sides and measures are called.

use crate::body::Side;
use crate::measure::{Better, Measure};
use crate::report::words::lower_first;
use crate::visit::Visit;

use super::VisitName;

impl VisitName {
    /// Visits without a label and date, or with the same ones, are told apart by their number.
    pub(super) fn all(visits: &[Visit]) -> Vec<VisitName> {
        let lines = |visit: &Visit| -> Vec<String> {
            let date = visit.facts.date.map(|date| date.to_string());
            visit.facts.label.clone().into_iter().chain(date).collect()
        };
        let name = |(index, visit): (usize, &Visit)| {
            let mut own = lines(visit);
            let alike = visits.iter().filter(|other| lines(other) == own).count();
            if own.is_empty() || alike > 1 {
                own.push(format!("visit {}", index + 1));
            }
            VisitName {
                title: own.join(", "),
                lines: own,
            }
        };
        visits.iter().enumerate().map(name).collect()
    }

    /// For narrow columns: the date, or what there is instead.
    pub fn short(&self) -> &str {
        self.lines.last().map_or("", String::as_str)
    }
}

pub(super) fn title(visits: &[VisitName]) -> String {
    match visits {
        [first, .., last] => format!(
            "Posture and overhead reach: {} to {}",
            first.lines[0], last.lines[0]
        ),
        _ => "Posture and overhead reach".to_owned(),
    }
}

pub(super) const fn side_words(side: Option<Side>) -> &'static str {
    match side {
        Some(side) => side.name(),
        None => "",
    }
}

pub(super) const fn better_words(measure: Measure) -> &'static str {
    match measure.better() {
        Better::Larger => "larger is better",
        Better::Smaller => "smaller is better",
        Better::NearerZero => "nearer zero is better",
        Better::Neither => "described, not judged",
    }
}

/// "trunk lean (left, right)": one entry per measure, its sides together.
pub(super) fn merged_names(rows: impl IntoIterator<Item = (Measure, Option<Side>)>) -> Vec<String> {
    let mut merged: Vec<(Measure, Vec<&'static str>)> = Vec::new();
    for (measure, side) in rows {
        let place = merged.iter().position(|(known, _)| *known == measure);
        let index = place.unwrap_or_else(|| {
            merged.push((measure, Vec::new()));
            merged.len() - 1
        });
        let sides = &mut merged[index].1;
        let side = side_words(side);
        if !side.is_empty() && !sides.contains(&side) {
            sides.push(side);
        }
    }
    merged
        .into_iter()
        .map(|(measure, sides)| {
            let name = lower_first(measure.words());
            match sides.is_empty() {
                true => name,
                false => format!("{name} ({})", sides.join(", ")),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::compare::compare;
    use crate::report::samples;
    use crate::report::view::comparison;

    #[test]
    fn visits_without_a_name_are_told_apart() {
        let mut visits = samples::visits();
        for visit in &mut visits {
            visit.facts.label = None;
            visit.facts.date = None;
        }
        let view = comparison(&visits, &compare(&visits));
        assert_eq!(view.title, "Posture and overhead reach: visit 1 to visit 2");
    }
}

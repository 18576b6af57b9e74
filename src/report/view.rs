//! The view model that every writer shares: finished words and numbers, no layout.

use crate::body::{Landmark, Operated, Side, Task, View};
use crate::compare::{Comparison, Row, Verdict, Z95};
use crate::estimate::Estimate;
use crate::measure::{Better, Measure, Unit};
use crate::visit::{Evidence, Notice, PhotoRecord, Visit};

use super::number;

/// What a line of the report amounts to; every writer has its own sign for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    Improved,
    Worse,
    Changed,
    Same,
    Unknown,
    Caution,
}

/// A verdict in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VerdictView {
    pub mark: Mark,
    pub words: &'static str,
}

/// The three parts of the report's numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    PostureSide,
    PostureFront,
    Reach,
}

impl Group {
    pub const ALL: [Group; 3] = [Group::PostureSide, Group::PostureFront, Group::Reach];

    pub const fn title(self) -> &'static str {
        match self {
            Group::PostureSide => "Posture from the side",
            Group::PostureFront => "Posture from the front",
            Group::Reach => "Overhead reach",
        }
    }

    pub fn of(measure: Measure) -> Group {
        if measure.applies(View::Side(Side::Left), Task::Stand) {
            Group::PostureSide
        } else if measure.applies(View::Front, Task::Stand) {
            Group::PostureFront
        } else {
            Group::Reach
        }
    }
}

/// One measure on one side, compared.
#[derive(Clone, Debug)]
pub struct RowView {
    pub measure: Measure,
    pub name: &'static str,
    pub meaning: &'static str,
    /// "left", "right" or empty.
    pub side: &'static str,
    pub operated: bool,
    pub better: &'static str,
    pub first: String,
    pub last: String,
    pub change: String,
    pub mdc95: String,
    pub verdict: VerdictView,
    /// From three readings on.
    pub trend: Option<String>,
}

/// Measures that share a reason for having no number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReasonView {
    /// In plain words before the reasons, where a whole family of measures is concerned.
    pub heading: Option<&'static str>,
    pub reasons: Vec<String>,
    /// "trunk lean (left, right)", …
    pub measures: Vec<String>,
}

/// A sentence of the summary.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SummaryLine {
    pub mark: Mark,
    pub lead: &'static str,
    pub text: String,
}

/// A value in a chart, with its 95 % interval.
#[derive(Clone, Debug)]
pub struct ChartPoint {
    /// Days after the first visit, or number of the visit.
    pub when: f64,
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub words: String,
}

#[derive(Clone, Debug)]
pub struct ChartSeries {
    pub side: &'static str,
    pub operated: bool,
    pub points: Vec<ChartPoint>,
}

/// The course of one measure over all visits.
#[derive(Clone, Debug)]
pub struct ChartView {
    pub name: &'static str,
    pub unit: Unit,
    pub better: &'static str,
    pub series: Vec<ChartSeries>,
    /// Place and name of every visit on the time axis.
    pub visits: Vec<(f64, String)>,
}

/// Remarks about one photo, or about a visit as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoticeView {
    pub about: String,
    pub texts: Vec<String>,
}

/// One of the two pictures of a pair.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shot {
    /// Indices of the visit and of the photo in it.
    Photo { visit: usize, photo: usize },
    /// Why there is none.
    Missing(String),
}

/// The same pose at the first and at the last visit.
#[derive(Clone, Debug)]
pub struct PairView {
    pub title: String,
    pub shots: Vec<(VisitName, Shot)>,
}

/// What a visit is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VisitName {
    /// In one line.
    pub title: String,
    /// The same, broken for narrow columns.
    pub lines: Vec<String>,
}

impl VisitName {
    fn of(visit: &Visit) -> VisitName {
        let label = visit.facts.label.clone();
        let date = visit.facts.date.map(|date| date.to_string());
        let mut lines: Vec<String> = label.into_iter().chain(date).collect();
        if lines.is_empty() {
            lines.push(visit.title());
        }
        VisitName {
            title: visit.title(),
            lines,
        }
    }
}

/// A comparison, ready to be laid out.
#[derive(Clone, Debug)]
pub struct ComparisonView {
    pub title: String,
    /// Names and values of what is known about the person.
    pub facts: Vec<(&'static str, String)>,
    /// Oldest first.
    pub visits: Vec<VisitName>,
    pub summary: Vec<SummaryLine>,
    /// What to look at before any number.
    pub cautions: Vec<String>,
    pub pairs: Vec<PairView>,
    /// Rows with a change, in the order of [`Group::ALL`]; empty groups are left out.
    pub groups: Vec<(Group, Vec<RowView>)>,
    pub compared: usize,
    pub uncompared: Vec<ReasonView>,
    pub charts: Vec<ChartView>,
    pub notices: Vec<NoticeView>,
    /// Whether a person placed any of the landmarks.
    pub manual: bool,
    /// Whether there is something between the first and the last visit.
    pub has_course: bool,
}

/// A reading of one visit.
#[derive(Clone, Debug)]
pub struct ReadingView {
    pub name: &'static str,
    pub side: &'static str,
    pub operated: bool,
    pub value: String,
    pub photo: String,
}

/// One visit, ready to be laid out.
#[derive(Clone, Debug)]
pub struct VisitView {
    pub title: String,
    pub facts: Vec<(&'static str, String)>,
    pub readings: Vec<ReadingView>,
    pub unmeasured: Vec<ReasonView>,
    pub cautions: Vec<String>,
    pub notices: Vec<NoticeView>,
}

pub fn visit(visit: &Visit) -> VisitView {
    let readings = visit
        .measured()
        .map(|(reading, estimate)| ReadingView {
            name: reading.measure.words(),
            side: side_words(reading.side),
            operated: is_operated(visit, reading.side),
            value: number::with_error(estimate, reading.measure.unit()),
            photo: reading.photo.clone(),
        })
        .collect();
    let mut reasons = Reasons::default();
    for reading in &visit.readings {
        if let Err(unmeasured) = &reading.outcome {
            reasons.add(reading.measure, reading.side, &unmeasured.reason, None);
        }
    }
    VisitView {
        title: visit.title(),
        facts: facts(std::slice::from_ref(visit)),
        readings,
        unmeasured: reasons.finish(),
        cautions: limit_cautions(visit),
        notices: notices(std::slice::from_ref(visit)),
    }
}

/// Visits oldest first, and what comparing them gave.
pub fn comparison(visits: &[Visit], comparison: &Comparison) -> ComparisonView {
    let names: Vec<String> = visits.iter().map(Visit::title).collect();
    let mut groups: Vec<(Group, Vec<RowView>)> =
        Group::ALL.map(|group| (group, Vec::new())).to_vec();
    let mut reasons = Reasons::default();
    for row in &comparison.rows {
        match (&row.verdict, row_view(visits, row)) {
            (Verdict::CannotCompare { reason }, _) => {
                reasons.add(row.measure, row.side, reason, lone_value(&names, row));
            }
            (_, Some(view)) => {
                for (value, name) in row.course.iter().zip(&names) {
                    if let Err(reason) = value {
                        let reason = format!("{name}: {reason}");
                        reasons.add(row.measure, row.side, &reason, None);
                    }
                }
                let place = Group::of(row.measure);
                for (group, rows) in &mut groups {
                    if *group == place {
                        rows.push(view.clone());
                    }
                }
            }
            (_, None) => {}
        }
    }
    groups.retain(|(_, rows)| !rows.is_empty());
    let cautions = comparison
        .cautions
        .iter()
        .cloned()
        .chain(visits.iter().flat_map(limit_cautions))
        .collect();
    ComparisonView {
        title: title(visits),
        facts: facts(visits),
        summary: summary(visits, comparison),
        cautions,
        pairs: pairs(visits),
        compared: groups.iter().map(|(_, rows)| rows.len()).sum(),
        groups,
        uncompared: reasons.finish(),
        charts: charts(visits, comparison),
        notices: notices(visits),
        manual: visits
            .iter()
            .flat_map(|visit| &visit.photos)
            .flat_map(|photo| photo.landmarks.values())
            .any(|located| located.evidence == Evidence::Manual),
        has_course: visits.len() > 2,
        visits: visits.iter().map(VisitName::of).collect(),
    }
}

/// The name of the arm limit among the facts.
pub(super) const ARM_LIMIT: &str = "Arm limit";

/// "Left side, reaching up".
pub fn pose_words(view: View, task: Task) -> String {
    let task = match task {
        Task::Stand => "standing",
        Task::Reach => "reaching up",
    };
    capitalised(&format!("{}, {task}", view.words()))
}

/// How the camera stood, for whoever takes the next photo.
pub fn setup_words(photo: &PhotoRecord) -> Option<String> {
    let setup = photo.setup?;
    let metres = |cm: Estimate| {
        format!(
            "{} ± {} m",
            number::plain(cm.value / 100.0, 1),
            number::plain(cm.sigma / 100.0, 1)
        )
    };
    Some(format!(
        "Camera {} away, lens {} high, body turned by {}",
        metres(setup.distance_cm),
        metres(setup.lens_height_cm),
        number::with_error(setup.turn_deg, Unit::Degree)
    ))
}

fn title(visits: &[Visit]) -> String {
    let name = |visit: &Visit| {
        visit
            .facts
            .label
            .clone()
            .or_else(|| visit.facts.date.map(|date| date.to_string()))
    };
    match (visits.first().and_then(name), visits.last().and_then(name)) {
        (Some(first), Some(last)) if visits.len() > 1 => {
            format!("Posture and overhead reach: {first} to {last}")
        }
        _ => "Posture and overhead reach".to_owned(),
    }
}

fn facts(visits: &[Visit]) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let latest = |of: &dyn Fn(&Visit) -> Option<String>| visits.iter().rev().find_map(of);
    if let Some(case) = latest(&|visit| visit.facts.case.clone()) {
        facts.push(("Case", case));
    }
    if let Some(operated) = latest(&|visit| visit.facts.operated.map(operated_words)) {
        facts.push(("Surgery", operated));
    }
    if let Some(stature) = latest(&|visit| visit.facts.stature_cm.map(|cm| format!("{cm:.1} cm"))) {
        facts.push(("Stature", stature));
    }
    if let Some(limit) = latest(&|visit| visit.facts.arm_limit_deg.map(|deg| format!("{deg:.0}°")))
    {
        facts.push((ARM_LIMIT, limit));
    }
    if let Some(apart) = apart(visits) {
        facts.push(("Apart", apart));
    }
    facts
}

fn operated_words(operated: Operated) -> String {
    match operated {
        Operated::One(side) => format!("{side} side"),
        Operated::Both => "both sides".to_owned(),
        Operated::Neither => "none".to_owned(),
    }
}

fn apart(visits: &[Visit]) -> Option<String> {
    let (first, last) = (visits.first()?.facts.date?, visits.last()?.facts.date?);
    let days = (last - first).get_days();
    match days {
        ..=0 => None,
        1 => Some("1 day".to_owned()),
        2..=13 => Some(format!("{days} days")),
        _ if days % 7 == 0 => Some(format!("{} weeks", days / 7)),
        _ => Some(format!("{} weeks and {} days", days / 7, days % 7)),
    }
}

const fn side_words(side: Option<Side>) -> &'static str {
    match side {
        Some(side) => side.name(),
        None => "",
    }
}

fn is_operated(visit: &Visit, side: Option<Side>) -> bool {
    match (visit.facts.operated, side) {
        (Some(operated), Some(side)) => operated.includes(side),
        _ => false,
    }
}

const fn better_words(measure: Measure) -> &'static str {
    match measure.better() {
        Better::Larger => "larger is better",
        Better::Smaller => "smaller is better",
        Better::NearerZero => "nearer zero is better",
        Better::Neither => "described, not judged",
    }
}

fn row_view(visits: &[Visit], row: &Row) -> Option<RowView> {
    let change = row.change?;
    let (Some(Ok(first)), Some(Ok(last))) = (row.course.first(), row.course.last()) else {
        return None;
    };
    let unit = row.measure.unit();
    let mut decimals = number::decimals(unit, change.amount.sigma);
    // Rounding must not make a change look equal to the limit that it was held against.
    if decimals == 0
        && number::plain(change.amount.value.abs(), 0) == number::plain(change.mdc95, 0)
    {
        decimals = 1;
    }
    Some(RowView {
        measure: row.measure,
        name: row.measure.words(),
        meaning: row.measure.meaning(),
        side: side_words(row.side),
        operated: visits
            .last()
            .is_some_and(|visit| is_operated(visit, row.side)),
        better: better_words(row.measure),
        first: number::with_error(*first, unit),
        last: number::with_error(*last, unit),
        change: format!(
            "{} ± {}{}",
            number::signed(change.amount.value, decimals),
            number::plain(change.amount.sigma, decimals),
            unit.suffix()
        ),
        mdc95: format!("{}{}", number::plain(change.mdc95, decimals), unit.suffix()),
        verdict: verdict_view(visits, row),
        trend: row.trend.map(|trend| {
            let decimals = number::decimals(unit, trend.slope.sigma);
            format!(
                "{} ± {}{} {}",
                number::signed(trend.slope.value, decimals),
                number::plain(trend.slope.sigma, decimals),
                unit.suffix(),
                if trend.per_week {
                    "per week"
                } else {
                    "per visit"
                }
            )
        }),
    })
}

/// The comparison's verdict, unless it would praise a reach past the arm limit.
fn verdict_view(visits: &[Visit], row: &Row) -> VerdictView {
    if row.verdict == Verdict::Improved && past_limit(visits, row) {
        return VerdictView {
            mark: Mark::Caution,
            words: "past the arm limit",
        };
    }
    let mark = match row.verdict {
        Verdict::Improved => Mark::Improved,
        Verdict::Worse => Mark::Worse,
        Verdict::Changed => Mark::Changed,
        Verdict::NoChangeBeyondError => Mark::Same,
        Verdict::CannotCompare { .. } => Mark::Unknown,
    };
    VerdictView {
        mark,
        words: row.verdict.words(),
    }
}

const ELEVATIONS: [Measure; 3] = [
    Measure::ShoulderFlexion,
    Measure::ShoulderFlexionToTrunk,
    Measure::ShoulderAbduction,
];

/// Whether the limit speaks of this side: of the operated one where that is known.
fn limited(visit: &Visit, side: Side) -> bool {
    match visit.facts.operated {
        Some(operated @ (Operated::One(_) | Operated::Both)) => operated.includes(side),
        Some(Operated::Neither) | None => true,
    }
}

/// Elevations of a visit that were measured past its arm limit.
fn elevations_past_limit(visit: &Visit) -> Vec<(Measure, Side, Estimate)> {
    let Some(limit) = visit.facts.arm_limit_deg else {
        return Vec::new();
    };
    visit
        .measured()
        .filter(|(reading, _)| ELEVATIONS.contains(&reading.measure))
        .filter_map(|(reading, estimate)| {
            let side = reading.side?;
            (limited(visit, side) && estimate.value > limit).then_some((
                reading.measure,
                side,
                estimate,
            ))
        })
        .collect()
}

fn past_limit(visits: &[Visit], row: &Row) -> bool {
    let Some(last) = visits.last() else {
        return false;
    };
    Group::of(row.measure) == Group::Reach
        && row.measure != Measure::ElbowExtensionDeficit
        && elevations_past_limit(last)
            .iter()
            .any(|(_, side, _)| row.side.is_none_or(|of| of == *side))
}

fn limit_cautions(visit: &Visit) -> Vec<String> {
    let Some(limit) = visit.facts.arm_limit_deg else {
        return Vec::new();
    };
    let past = elevations_past_limit(visit);
    if past.is_empty() {
        return Vec::new();
    }
    let list: Vec<String> = past
        .iter()
        .map(|(measure, side, estimate)| {
            format!(
                "{side} {} {}",
                lower_first(measure.words()),
                number::with_error(*estimate, measure.unit())
            )
        })
        .collect();
    vec![format!(
        "Past the arm limit of {limit:.0}° at {}: {}. This isn't progress: settle it with the \
         surgeon or therapist before the next reach.",
        visit.title(),
        list.join(", ")
    )]
}

/// A measure that tells the same movement in another way; the summary names only the first.
const fn told_by(measure: Measure) -> Option<Measure> {
    match measure {
        Measure::ArmToEarRelative => Some(Measure::ArmToEar),
        Measure::ArmToEarFrontRelative => Some(Measure::ArmToEarFront),
        Measure::ShoulderFlexionToTrunk => Some(Measure::ShoulderFlexion),
        Measure::KyphosisIndex => Some(Measure::ThoracicAngle),
        Measure::HeadForwardOfC7 => Some(Measure::CraniovertebralAngle),
        Measure::ShoulderForwardOfC7 => Some(Measure::SagittalShoulderAngle),
        _ => None,
    }
}

/// How many measures a sentence of the summary names before it counts.
const NAMED: usize = 4;

fn summary(visits: &[Visit], comparison: &Comparison) -> Vec<SummaryLine> {
    let with = |mark: Mark| -> Vec<&Row> {
        let of_mark: Vec<&Row> = comparison
            .rows
            .iter()
            .filter(|row| verdict_view(visits, row).mark == mark)
            .collect();
        let mut rows: Vec<&Row> = of_mark
            .iter()
            .copied()
            .filter(|row| {
                told_by(row.measure).is_none_or(|other| {
                    !of_mark
                        .iter()
                        .any(|twin| twin.measure == other && twin.side == row.side)
                })
            })
            .collect();
        // Reach on the operated side is what most readers look for first, the elbow last.
        rows.sort_by_key(|row| {
            let operated = visits
                .last()
                .is_some_and(|visit| is_operated(visit, row.side));
            (
                Group::of(row.measure) != Group::Reach,
                !operated,
                row.measure == Measure::ElbowExtensionDeficit,
            )
        });
        rows
    };
    let moved = |rows: &[&Row]| {
        let named: Vec<String> = rows
            .iter()
            .take(NAMED)
            .map(|row| moved_words(visits, row))
            .collect();
        and_more(named, rows.len())
    };
    let mut lines = Vec::new();
    let mut line = |mark, lead, text| lines.push(SummaryLine { mark, lead, text });

    let improved = with(Mark::Improved);
    match improved.is_empty() {
        true => line(
            Mark::Improved,
            "Improved",
            "nothing, beyond error.".to_owned(),
        ),
        false => line(Mark::Improved, "Improved", format!("{}.", moved(&improved))),
    }
    let worse = with(Mark::Worse);
    match worse.is_empty() {
        true => line(Mark::Worse, "Worse", "nothing, beyond error.".to_owned()),
        false => line(Mark::Worse, "Worse", format!("{}.", moved(&worse))),
    }
    let past = with(Mark::Caution);
    if !past.is_empty() {
        line(
            Mark::Caution,
            "Past the arm limit",
            format!("{}.", moved(&past)),
        );
    }
    let changed = with(Mark::Changed);
    if !changed.is_empty() {
        line(
            Mark::Changed,
            "Changed, neither better nor worse",
            format!("{}.", moved(&changed)),
        );
    }
    let named = |rows: &[&Row]| {
        let names = merged_names(rows.iter().map(|row| (row.measure, row.side)));
        let count = names.len();
        and_more(names.into_iter().take(NAMED).collect(), count)
    };
    let same = with(Mark::Same);
    if !same.is_empty() {
        line(
            Mark::Same,
            "No change beyond error",
            format!("{}.", named(&same)),
        );
    }
    let unknown = with(Mark::Unknown);
    if !unknown.is_empty() {
        line(
            Mark::Unknown,
            "Could not be compared",
            format!("{}; the reasons stand below the numbers.", named(&unknown)),
        );
    }
    lines
}

/// "shoulder flexion, right (operated), from 104 ± 3° to 141 ± 3°".
fn moved_words(visits: &[Visit], row: &Row) -> String {
    let mut words = lower_first(row.measure.words());
    if let Some(side) = row.side {
        words = format!("{side} {words}");
        if visits
            .last()
            .is_some_and(|visit| is_operated(visit, row.side))
        {
            words.push_str(" (operated)");
        }
    }
    if let (Some(Ok(first)), Some(Ok(last))) = (row.course.first(), row.course.last()) {
        let unit = row.measure.unit();
        words.push_str(&format!(
            " from {} to {}",
            number::with_error(*first, unit),
            number::with_error(*last, unit)
        ));
    }
    words
}

fn and_more(named: Vec<String>, of: usize) -> String {
    let more = of - named.len();
    let list = named.join("; ");
    match more {
        0 => list,
        _ => format!("{list}; and {more} more"),
    }
}

/// "trunk lean (left, right)": one entry per measure, its sides together.
fn merged_names(rows: impl IntoIterator<Item = (Measure, Option<Side>)>) -> Vec<String> {
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

/// What is known of a row that has a value at only one end.
fn lone_value(names: &[String], row: &Row) -> Option<String> {
    let known: Vec<String> = row
        .course
        .iter()
        .zip(names)
        .filter_map(|(value, name)| {
            let estimate = value.as_ref().ok()?;
            Some(format!(
                "{name}: {}",
                number::with_error(*estimate, row.measure.unit())
            ))
        })
        .collect();
    (!known.is_empty()).then(|| known.join("; "))
}

/// Collects measures without a number under their reasons.
#[derive(Default)]
struct Reasons {
    entries: Vec<ReasonEntry>,
}

struct ReasonEntry {
    heading: Option<&'static str>,
    /// As given, under the reason without its side.
    reasons: Vec<(String, Vec<String>)>,
    measures: Vec<(Measure, Option<Side>)>,
    /// Values that stand alone, told with their measure.
    lone: Vec<(Measure, Option<Side>, String)>,
}

const NEEDS_C7: &str = "These need C7, the bony point at the base of the neck, and it is not \
                        known in these photos.";

impl Reasons {
    fn add(&mut self, measure: Measure, side: Option<Side>, reason: &str, lone: Option<String>) {
        let c7 = reason.contains("C7") && measure.needs(side).contains(&Landmark::C7);
        let heading = c7.then_some(NEEDS_C7);
        // The side stands beside the measure, so left and right may share a reason.
        let plain = match side {
            Some(side) => reason.replace(&format!("{side} "), ""),
            None => reason.to_owned(),
        };
        let place = self.entries.iter().position(|entry| match heading {
            Some(_) => entry.heading == heading,
            None => entry.heading.is_none() && entry.reasons[0].0 == plain,
        });
        let index = place.unwrap_or_else(|| {
            self.entries.push(ReasonEntry {
                heading,
                reasons: Vec::new(),
                measures: Vec::new(),
                lone: Vec::new(),
            });
            self.entries.len() - 1
        });
        let entry = &mut self.entries[index];
        let known = entry.reasons.iter().position(|(known, _)| *known == plain);
        let index = known.unwrap_or_else(|| {
            entry.reasons.push((plain, Vec::new()));
            entry.reasons.len() - 1
        });
        let given = &mut entry.reasons[index].1;
        if !given.iter().any(|known| known == reason) {
            given.push(reason.to_owned());
        }
        match lone {
            Some(value) => entry.lone.push((measure, side, value)),
            None => entry.measures.push((measure, side)),
        }
    }

    fn finish(self) -> Vec<ReasonView> {
        self.entries
            .into_iter()
            .map(|entry| {
                let mut measures = merged_names(entry.measures);
                measures.extend(entry.lone.into_iter().map(|(measure, side, value)| {
                    let name = merged_names([(measure, side)]).concat();
                    format!("{name} [{value}]")
                }));
                ReasonView {
                    heading: entry.heading,
                    reasons: entry
                        .reasons
                        .into_iter()
                        .map(|(plain, given)| match &given[..] {
                            [one] => one.clone(),
                            _ => plain,
                        })
                        .collect(),
                    measures,
                }
            })
            .collect()
    }
}

fn charts(visits: &[Visit], comparison: &Comparison) -> Vec<ChartView> {
    let dates: Option<Vec<_>> = visits.iter().map(|visit| visit.facts.date).collect();
    let when = |index: usize| match &dates {
        Some(dates) => f64::from((dates[index] - dates[0]).get_days()),
        None => index as f64,
    };
    let named: Vec<(f64, String)> = visits
        .iter()
        .enumerate()
        .map(|(index, visit)| {
            let name = match (visit.facts.date, &visit.facts.label) {
                (Some(date), _) if dates.is_some() => date.to_string(),
                (_, Some(label)) => label.clone(),
                _ => format!("visit {}", index + 1),
            };
            (when(index), name)
        })
        .collect();
    let mut charts: Vec<ChartView> = Vec::new();
    for measure in Measure::ALL {
        let series: Vec<ChartSeries> = comparison
            .rows
            .iter()
            .filter(|row| row.measure == measure)
            .map(|row| ChartSeries {
                side: side_words(row.side),
                operated: visits
                    .last()
                    .is_some_and(|visit| is_operated(visit, row.side)),
                points: chart_points(row, &named),
            })
            .filter(|series| series.points.len() > 1)
            .collect();
        if !series.is_empty() {
            charts.push(ChartView {
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

/// Poses in the order of the report.
const POSES: [(View, Task); 8] = [
    (View::Side(Side::Left), Task::Stand),
    (View::Side(Side::Right), Task::Stand),
    (View::Front, Task::Stand),
    (View::Back, Task::Stand),
    (View::Side(Side::Left), Task::Reach),
    (View::Side(Side::Right), Task::Reach),
    (View::Front, Task::Reach),
    (View::Back, Task::Reach),
];

fn pairs(visits: &[Visit]) -> Vec<PairView> {
    let Some(last) = visits.len().checked_sub(1) else {
        return Vec::new();
    };
    let ends = if last == 0 { vec![0] } else { vec![0, last] };
    POSES
        .into_iter()
        .filter_map(|(view, task)| {
            let shots: Vec<(VisitName, Shot)> = ends
                .iter()
                .map(|&visit| {
                    (
                        VisitName::of(&visits[visit]),
                        shot(visits, visit, view, task),
                    )
                })
                .collect();
            shots
                .iter()
                .any(|(_, shot)| matches!(shot, Shot::Photo { .. }))
                .then(|| PairView {
                    title: pose_words(view, task),
                    shots,
                })
        })
        .collect()
}

fn shot(visits: &[Visit], index: usize, view: View, task: Task) -> Shot {
    let photos = &visits[index].photos;
    let fits = |photo: &PhotoRecord| photo.view == Some(view) && photo.task == Some(task);
    if let Some(photo) = photos.iter().position(fits) {
        return Shot::Photo {
            visit: index,
            photo,
        };
    }
    let unused = photos
        .iter()
        .filter(|photo| matches!(photo.view, None | Some(View::Oblique(_))))
        .count();
    Shot::Missing(match unused {
        0 => "No photo of this pose was taken at this visit.".to_owned(),
        1 => "No usable photo of this pose: one photo of this visit could not be assigned to a \
              pose; see the notes on the photos."
            .to_owned(),
        _ => format!(
            "No usable photo of this pose: {unused} photos of this visit could not be assigned \
             to a pose; see the notes on the photos."
        ),
    })
}

fn notices(visits: &[Visit]) -> Vec<NoticeView> {
    let several = visits.len() > 1;
    let mut notices = Vec::new();
    for visit in visits {
        let about = |what: &str| {
            if several {
                format!("{}: {what}", visit.title())
            } else {
                what.to_owned()
            }
        };
        let mut add = |what: &str, of: &[Notice]| {
            if !of.is_empty() {
                notices.push(NoticeView {
                    about: about(what),
                    texts: of.iter().map(|notice| notice.text.clone()).collect(),
                });
            }
        };
        add("the whole visit", &visit.notices);
        for photo in &visit.photos {
            add(&photo.file, &photo.notices);
        }
    }
    notices
}

/// "Trunk lean" inside a sentence. Names begin with a word, never with a landmark's code.
pub(super) fn lower_first(words: &str) -> String {
    let mut characters = words.chars();
    match characters.next() {
        Some(first) => first.to_lowercase().chain(characters).collect(),
        None => String::new(),
    }
}

fn capitalised(words: &str) -> String {
    let mut characters = words.chars();
    match characters.next() {
        Some(first) => first.to_uppercase().chain(characters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::report::samples;

    #[test]
    fn the_summary_tells_what_improved_what_got_worse_and_what_is_error() {
        let visits = samples::visits();
        let view = comparison(&visits, &compare(&visits));
        let text = |mark: Mark| {
            view.summary
                .iter()
                .find(|line| line.mark == mark)
                .map(|line| line.text.clone())
                .unwrap_or_default()
        };
        assert!(
            text(Mark::Improved).contains("shoulder flexion (operated) from 104 ± 3° to 141 ± 3°")
        );
        assert!(text(Mark::Worse).contains("arm to ear"));
        assert!(text(Mark::Same).contains("trunk lean"));
        assert!(text(Mark::Unknown).contains("craniovertebral angle"));
    }

    #[test]
    fn measures_that_need_c7_share_one_entry() {
        let visits = samples::visits();
        let view = visit(&visits[0]);
        let entry = view
            .unmeasured
            .iter()
            .find(|entry| entry.heading.is_some())
            .unwrap();
        assert_eq!(entry.measures.len(), 2);
        assert_eq!(entry.reasons, [samples::C7_REASON]);
    }

    #[test]
    fn left_and_right_share_a_reason() {
        let mut reasons = Reasons::default();
        for side in Side::BOTH {
            let reason = format!("needs the {side} wrist, which is hidden");
            reasons.add(Measure::ElbowExtensionDeficit, Some(side), &reason, None);
        }
        let entries = reasons.finish();
        assert_eq!(entries.len(), 1);
        assert_eq!(entries[0].reasons, ["needs the wrist, which is hidden"]);
        assert_eq!(
            entries[0].measures,
            ["elbow extension deficit (left, right)"]
        );
    }

    #[test]
    fn a_reach_past_the_limit_is_a_caution_and_no_praise() {
        let mut visits = samples::visits();
        visits[1].facts.arm_limit_deg = Some(90.0);
        let view = comparison(&visits, &compare(&visits));
        assert!(view.cautions.iter().any(|text| text.contains("90°")));
        let flexion = view
            .groups
            .iter()
            .flat_map(|(_, rows)| rows)
            .find(|row| row.measure == Measure::ShoulderFlexion)
            .unwrap();
        assert_eq!(flexion.verdict.mark, Mark::Caution);
        assert!(
            view.summary
                .iter()
                .filter(|line| line.mark == Mark::Improved)
                .all(|line| !line.text.contains("flexion"))
        );
    }

    #[test]
    fn the_arm_that_was_not_operated_has_no_limit() {
        let mut visits = samples::visits();
        visits[1].facts.arm_limit_deg = Some(90.0);
        visits[1].facts.operated = Some(Operated::One(Side::Left));
        assert!(limit_cautions(&visits[1]).is_empty());
    }

    #[test]
    fn a_gap_between_first_and_last_is_told() {
        let mut visits = samples::visits();
        let mut between = visits[0].clone();
        between.facts.label = Some("week 3".to_owned());
        for reading in &mut between.readings {
            reading.outcome = Err(crate::visit::Unmeasured::because("the photo is too dark"));
        }
        visits.insert(1, between);
        let view = comparison(&visits, &compare(&visits));
        assert!(view.uncompared.iter().any(|entry| {
            entry.reasons == ["week 3, 2026-03-10: the photo is too dark"]
                && entry.measures.contains(&"trunk lean (right)".to_owned())
        }));
    }

    #[test]
    fn a_missing_partner_says_so() {
        let mut visits = samples::visits();
        visits[0].photos.remove(1);
        let view = comparison(&visits, &compare(&visits));
        let pair = view
            .pairs
            .iter()
            .find(|pair| pair.title == "Right side, reaching up")
            .unwrap();
        assert!(matches!(pair.shots[0].1, Shot::Missing(_)));
        assert!(matches!(pair.shots[1].1, Shot::Photo { .. }));
    }
}

//! The view model that every writer shares: finished words and numbers, no layout.

use crate::body::{Landmark, Operated, Side, Task, View};
use crate::compare::{AgainstLimit, Comparison, Row, Verdict, Z95};
use crate::estimate::Estimate;
use crate::measure::{Better, Measure, Unit};
use crate::visit::{Evidence, Notice, PhotoRecord, Reading, Visit};

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
    /// It tells another row's movement in another way and stands last, quietly.
    pub twin: bool,
    /// One per visit.
    pub values: Vec<ValueView>,
    pub change: String,
    pub mdc95: String,
    pub verdict: VerdictView,
    /// From three readings on.
    pub trend: Option<String>,
}

/// The value of one visit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ValueView {
    /// Empty where there is none.
    pub words: String,
    /// How many photos it is the mean of.
    pub photos: usize,
    /// Whether a person placed any of its landmarks.
    pub by_hand: bool,
}

impl ValueView {
    /// What to know about it, in words; mostly nothing.
    pub fn note(&self) -> Option<String> {
        let mean = (self.photos > 1).then(|| format!("mean of {} photos", self.photos));
        let hand = self.by_hand.then(|| "placed by hand".to_owned());
        let notes: Vec<String> = mean.into_iter().chain(hand).collect();
        (!notes.is_empty()).then(|| notes.join(", "))
    }
}

/// Measures that share a reason for having no number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReasonView {
    /// In plain words before the reasons, where a whole family of measures is concerned.
    pub heading: Option<&'static str>,
    /// Empty where the heading says it all.
    pub reasons: Vec<String>,
    /// What to do about it.
    pub action: Option<&'static str>,
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
    /// Visits without a label and date, or with the same ones, are told apart by their number.
    fn all(visits: &[Visit]) -> Vec<VisitName> {
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
    /// Whether a person placed any of the landmarks in the photos.
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
    pub twin: bool,
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
            twin: is_twin(reading.measure),
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
        title: visit.title(1),
        facts: facts(std::slice::from_ref(visit)),
        readings,
        unmeasured: reasons.finish(),
        cautions: past_caution(visit, &visit.title(1))
            .into_iter()
            .chain(near_caution(visit))
            .collect(),
        notices: notices(std::slice::from_ref(visit), &[]),
    }
}

/// Visits oldest first, and what comparing them gave.
pub fn comparison(visits: &[Visit], comparison: &Comparison) -> ComparisonView {
    let names = VisitName::all(visits);
    let mut groups: Vec<(Group, Vec<RowView>)> =
        Group::ALL.map(|group| (group, Vec::new())).to_vec();
    let mut reasons = Reasons::default();
    for row in &comparison.rows {
        let compared = row_view(visits, row);
        if let Some(reason) = reason(&names, row) {
            let lone = compared
                .is_none()
                .then(|| lone_value(&names, row))
                .flatten();
            reasons.add(row.measure, row.side, &reason, lone);
        }
        let place = Group::of(row.measure);
        for (_, rows) in groups.iter_mut().filter(|(group, _)| *group == place) {
            rows.extend(compared.clone());
        }
    }
    for (_, rows) in &mut groups {
        rows.sort_by_key(|row| row.twin);
    }
    groups.retain(|(_, rows)| !rows.is_empty());
    let cautions = comparison
        .cautions
        .iter()
        .cloned()
        .chain(
            visits
                .iter()
                .zip(&names)
                .filter_map(|(visit, name)| past_caution(visit, &name.title)),
        )
        .chain(visits.last().and_then(near_caution))
        .chain(hand_caution(&names, &groups))
        .collect();
    ComparisonView {
        title: title(&names),
        facts: facts(visits),
        summary: summary(visits, comparison),
        cautions,
        pairs: pairs(visits, &names),
        compared: groups.iter().map(|(_, rows)| rows.len()).sum(),
        groups,
        uncompared: reasons.finish(),
        charts: charts(visits, &names, comparison),
        notices: notices(visits, &names),
        manual: visits
            .iter()
            .flat_map(|visit| &visit.photos)
            .flat_map(|photo| photo.landmarks.values())
            .any(|located| located.evidence == Evidence::Manual),
        has_course: visits.len() > 2,
        visits: names,
    }
}

/// What the errors of a comparison leave out.
pub(super) const NOT_IN_IT: &str =
    "Effort, warm-up and the day's form are not in the errors: they change a reach too.";

/// Names among the facts.
pub(super) const CASE: &str = "Case";
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
pub fn setup_words(photo: &PhotoRecord) -> Option<Vec<String>> {
    let setup = photo.setup?;
    let metres = |cm: Estimate| {
        format!(
            "{} ± {} m",
            number::plain(cm.value / 100.0, 1),
            number::plain(cm.sigma / 100.0, 1)
        )
    };
    Some(vec![
        format!("Camera {} away", metres(setup.distance_cm)),
        format!("lens {} high", metres(setup.lens_height_cm)),
        format!(
            "body turned by {}",
            number::with_error(setup.turn_deg, Unit::Degree)
        ),
    ])
}

fn title(visits: &[VisitName]) -> String {
    match visits {
        [first, .., last] => format!(
            "Posture and overhead reach: {} to {}",
            first.lines[0], last.lines[0]
        ),
        _ => "Posture and overhead reach".to_owned(),
    }
}

fn facts(visits: &[Visit]) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    let latest = |of: &dyn Fn(&Visit) -> Option<String>| visits.iter().rev().find_map(of);
    if let Some(case) = latest(&|visit| visit.facts.case.clone()) {
        facts.push((CASE, case));
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
    if matches!(row.verdict, Verdict::CannotCompare { .. }) {
        return None;
    }
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
        twin: is_twin(row.measure),
        values: visits
            .iter()
            .zip(&row.course)
            .map(|(visit, value)| value_view(visit, row, value.as_ref().ok()))
            .collect(),
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

fn value_view(visit: &Visit, row: &Row, value: Option<&Estimate>) -> ValueView {
    let Some(value) = value else {
        return ValueView::default();
    };
    let read: Vec<&Reading> = visit
        .readings_of(row.measure, row.side)
        .filter(|reading| reading.outcome.is_ok())
        .collect();
    let photos = || read.iter().flat_map(|reading| photos_of(visit, reading));
    let mut views: Vec<_> = photos().map(|photo| photo.view).collect();
    views.dedup();
    ValueView {
        words: number::with_error(*value, row.measure.unit()),
        // Only photos of one view are averaged.
        photos: if views.len() == 1 { read.len() } else { 1 },
        by_hand: photos().any(|photo| {
            row.measure.needs(row.side).iter().any(|landmark| {
                photo
                    .landmarks
                    .get(landmark)
                    .is_some_and(|located| located.evidence == Evidence::Manual)
            })
        }),
    }
}

/// The photos that a reading names.
fn photos_of<'a>(visit: &'a Visit, reading: &'a Reading) -> impl Iterator<Item = &'a PhotoRecord> {
    visit
        .photos
        .iter()
        .filter(|photo| reading.photo.split(" + ").any(|file| file == photo.file))
}

/// Points placed at one visit and found by the program at another differ by more than their error.
fn hand_caution(names: &[VisitName], groups: &[(Group, Vec<RowView>)]) -> Option<String> {
    let differs = |row: &&RowView| {
        row.values.first().map(|value| value.by_hand)
            != row.values.last().map(|value| value.by_hand)
    };
    let rows: Vec<&RowView> = groups
        .iter()
        .flat_map(|(_, rows)| rows)
        .filter(|row| !row.twin)
        .filter(differs)
        .collect();
    let first = rows.first()?.values.first()?.by_hand;
    let (hand, other) = if first {
        (names.first()?, names.last()?)
    } else {
        (names.last()?, names.first()?)
    };
    let measures = merged_names(
        rows.iter()
            .map(|row| (row.measure, Side::from_name(row.side))),
    );
    Some(format!(
        "Points were placed by hand at {} and found by the program at {}: part of a change may \
         come from that alone ({}). Place the same points at both visits.",
        hand.title,
        other.title,
        measures.join(", ")
    ))
}

/// How the arm of a reach stood to the limit set for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reached {
    Past,
    /// The limit lies within the error.
    Maybe,
}

/// The comparison's verdict, unless it would praise a reach at or past the arm limit.
fn verdict_view(visits: &[Visit], row: &Row) -> VerdictView {
    let at = |visit: Option<&Visit>| visit.and_then(|visit| reached(visit, row));
    let (first, last) = (at(visits.first()), at(visits.last()));
    let (mark, words) = match (&row.verdict, last) {
        // To come back within the limit is no loss.
        (Verdict::Worse, None | Some(Reached::Maybe)) if first == Some(Reached::Past) => (
            Mark::Caution,
            "not judged: the first was past the arm limit",
        ),
        (Verdict::Improved, Some(Reached::Past)) => {
            (Mark::Caution, "not judged: past the arm limit")
        }
        (Verdict::Improved, Some(Reached::Maybe)) => (Mark::Caution, "may be at the arm limit"),
        (Verdict::NoChangeBeyondError, Some(Reached::Past)) => {
            (Mark::Caution, "unchanged, past the arm limit")
        }
        (Verdict::Worse, Some(Reached::Past)) => (Mark::Worse, "worse, past the arm limit"),
        (verdict, _) => (mark(verdict), verdict.words()),
    };
    VerdictView { mark, words }
}

const fn mark(verdict: &Verdict) -> Mark {
    match verdict {
        Verdict::Improved => Mark::Improved,
        Verdict::Worse => Mark::Worse,
        Verdict::Changed => Mark::Changed,
        Verdict::NoChangeBeyondError => Mark::Same,
        Verdict::CannotCompare { .. } => Mark::Unknown,
    }
}

/// Elevations of a visit that were, or may have been, past its arm limit.
fn elevations(visit: &Visit, wanted: Reached) -> Vec<(Measure, Side, Estimate)> {
    visit
        .measured()
        .filter_map(|(reading, estimate)| {
            let side = reading.side?;
            let limit = visit.facts.arm_limit(side)?;
            let reached = match AgainstLimit::of(estimate, limit) {
                AgainstLimit::Above | AgainstLimit::MayBeAbove => Reached::Past,
                AgainstLimit::MayBeAt => Reached::Maybe,
                AgainstLimit::Below => return None,
            };
            // A limit holds for the arm against the vertical.
            let raised = [Measure::ShoulderFlexion, Measure::ShoulderAbduction];
            (reached == wanted && raised.contains(&reading.measure)).then_some((
                reading.measure,
                side,
                estimate,
            ))
        })
        .collect()
}

/// How the movement that a row tells of stood to the limit at a visit.
fn reached(visit: &Visit, row: &Row) -> Option<Reached> {
    let movement = |measure| told_by(measure).last().unwrap_or(measure);
    let concerns = |(measure, side, _): &(Measure, Side, Estimate)| {
        movement(*measure) == movement(row.measure) && row.side.is_none_or(|of| of == *side)
    };
    [Reached::Past, Reached::Maybe]
        .into_iter()
        .find(|wanted| elevations(visit, *wanted).iter().any(concerns))
}

/// "right shoulder flexion 145 ± 6°", …; one measure for each movement.
fn elevation_words(elevations: &[(Measure, Side, Estimate)]) -> Vec<String> {
    elevations
        .iter()
        .filter(|(measure, side, _)| {
            !told_by(*measure).any(|other| {
                elevations
                    .iter()
                    .any(|(known, of, _)| *known == other && of == side)
            })
        })
        .map(|(measure, side, estimate)| {
            format!(
                "{side} {} {}",
                lower_first(measure.words()),
                number::with_error(*estimate, measure.unit())
            )
        })
        .collect()
}

fn past_caution(visit: &Visit, name: &str) -> Option<String> {
    let limit = visit.facts.arm_limit_deg?;
    let past = elevation_words(&elevations(visit, Reached::Past));
    (!past.is_empty()).then(|| {
        format!(
            "Past the arm limit of {limit:.0}° at {name}: {}. Don't count this as progress. Clear \
             it with whoever set the limit before the next overhead reach.",
            past.join(", ")
        )
    })
}

fn near_caution(visit: &Visit) -> Option<String> {
    let limit = visit.facts.arm_limit_deg?;
    let near = elevation_words(&elevations(visit, Reached::Maybe));
    (!near.is_empty()).then(|| {
        capitalised(&format!(
            "{} may have reached the arm limit of {limit:.0}°: one photo can't tell. Don't ask for \
             more.",
            near.join(", ")
        ))
    })
}

/// Measures that tell the same movement of the same photo, nearest first; the summary names the
/// last of them, and the others with it.
fn told_by(measure: Measure) -> impl Iterator<Item = Measure> {
    use Measure::*;
    let next = |measure: &Measure| match measure {
        ArmToEarRelative => Some(ArmToEar),
        ArmToEarFrontRelative => Some(ArmToEarFront),
        ArmToEar | ShoulderFlexionToTrunk | FlexionAsymmetry => Some(ShoulderFlexion),
        ArmToEarFront | AbductionAsymmetry => Some(ShoulderAbduction),
        KyphosisIndex => Some(ThoracicAngle),
        HeadForwardOfC7 => Some(CraniovertebralAngle),
        ShoulderForwardOfC7 => Some(SagittalShoulderAngle),
        _ => None,
    };
    std::iter::successors(next(&measure), next)
}

/// The same quantity as another measure's, on another scale.
const fn is_twin(measure: Measure) -> bool {
    matches!(
        measure,
        Measure::ArmToEarRelative
            | Measure::ArmToEarFrontRelative
            | Measure::ShoulderFlexionToTrunk
            | Measure::KyphosisIndex
    )
}

/// How many measures a sentence of the summary names before it counts.
const NAMED: usize = 4;

fn summary(visits: &[Visit], comparison: &Comparison) -> Vec<SummaryLine> {
    let with = |wanted: &dyn Fn(&Row) -> bool| -> Vec<&Row> {
        let mut rows: Vec<&Row> = comparison.rows.iter().filter(|row| wanted(row)).collect();
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
    let withheld = |row: &Row| match row.verdict {
        Verdict::Improved => visits.last().and_then(|visit| reached(visit, row)),
        _ => None,
    };
    let improved = with(&|row| row.verdict == Verdict::Improved && withheld(row).is_none());
    let past = with(&|row| withheld(row) == Some(Reached::Past));
    let near = with(&|row| withheld(row) == Some(Reached::Maybe));
    let none = match past.is_empty() && near.is_empty() {
        true => "nothing beyond error",
        false => "nothing that may be called progress; see the arm limit",
    };
    let moved = |rows: &[&Row]| moved(visits, rows);
    let named = |rows: &[&Row]| {
        let names = merged_names(heads(rows).map(|row| (row.measure, row.side)));
        let count = names.len();
        and_more(names.into_iter().take(NAMED).collect(), count)
    };
    let worse = with(&|row| verdict_view(visits, row).mark == Mark::Worse);
    let changed = with(&|row| row.verdict == Verdict::Changed);
    let same = with(&|row| row.verdict == Verdict::NoChangeBeyondError);
    let unknown = with(&|row| mark(&row.verdict) == Mark::Unknown);
    let or = |rows: &[&Row], mark, none: &str| match rows.is_empty() {
        true => (Mark::Same, none.to_owned()),
        false => (mark, moved(rows)),
    };
    let (better_mark, better) = or(&improved, Mark::Improved, none);
    let (worse_mark, worse) = or(&worse, Mark::Worse, "nothing beyond error");
    let unknown = match unknown.is_empty() {
        true => String::new(),
        false => format!("{}; the reasons stand below the numbers", named(&unknown)),
    };
    [
        (better_mark, "Improved", better),
        (worse_mark, "Worse", worse),
        (
            Mark::Caution,
            "Not called improved, because the arm went past its limit",
            moved(&past),
        ),
        (
            Mark::Caution,
            "Not called improved, because the arm may be at its limit",
            moved(&near),
        ),
        (
            Mark::Changed,
            "Changed, neither better nor worse",
            moved(&changed),
        ),
        (Mark::Same, "No change beyond error", named(&same)),
        (Mark::Unknown, "Could not be compared", unknown),
    ]
    .into_iter()
    .filter(|(_, _, text)| !text.is_empty())
    .map(|(mark, lead, text)| SummaryLine {
        mark,
        lead,
        text: format!("{text}."),
    })
    .collect()
}

/// Whether `lead` tells the movement of `row` already.
fn follows(row: &Row, lead: &Row) -> bool {
    told_by(row.measure).any(|other| other == lead.measure)
        && (row.side.is_none() || row.side == lead.side)
}

/// Rows that no other of them tells already.
fn heads<'a>(rows: &'a [&'a Row]) -> impl Iterator<Item = &'a Row> {
    rows.iter()
        .copied()
        .filter(|row| !rows.iter().any(|lead| follows(row, lead)))
}

fn moved(visits: &[Visit], rows: &[&Row]) -> String {
    let words = |row: &Row| {
        let with_it = merged_names(
            rows.iter()
                .filter(|other| follows(other, row) && !is_twin(other.measure))
                .map(|other| (other.measure, None)),
        );
        let moved = moved_words(visits, row);
        match with_it.is_empty() {
            true => moved,
            false => format!("{moved}, and {} with it", with_it.join(" and ")),
        }
    };
    let named: Vec<String> = heads(rows).take(NAMED).map(words).collect();
    and_more(named, heads(rows).count())
}

/// "right shoulder flexion (operated) from 104 ± 3° to 141 ± 3°".
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

/// Why a row has no value at some visit, or can't be compared; `None` when it is whole.
fn reason(names: &[VisitName], row: &Row) -> Option<String> {
    let errors: Vec<(&VisitName, &String)> = names
        .iter()
        .zip(&row.course)
        .filter_map(|(name, value)| Some((name, value.as_ref().err()?)))
        .collect();
    let Some((_, one)) = errors.first() else {
        return match &row.verdict {
            Verdict::CannotCompare { reason } => Some(reason.clone()),
            _ => None,
        };
    };
    // One reason is enough when every visit has the same.
    if errors.len() == names.len() && errors.iter().all(|(_, reason)| reason == one) {
        return Some((*one).clone());
    }
    let told: Vec<String> = errors
        .iter()
        .map(|(name, reason)| format!("{}: {reason}", name.title))
        .collect();
    Some(told.join("; "))
}

/// What is known of a row that has a value at only one end.
fn lone_value(names: &[VisitName], row: &Row) -> Option<String> {
    let known: Vec<String> = row
        .course
        .iter()
        .zip(names)
        .filter_map(|(value, name)| {
            let estimate = value.as_ref().ok()?;
            Some(format!(
                "{}: {}",
                name.title,
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

const NEEDS_BONE: &str = "These need bony points that the program does not find by itself: C7 \
                          (at the base of the neck), the acromion, T4, T8 or T12.";
const PLACE_BONE: &str = "Place the points by hand and save each visit: tragus measure VISIT \
                          --landmarks POINTS.json --save VISIT/record.json; then compare the \
                          records.";

/// Whether nothing but bony points is missing that only a person can place.
fn needs_bone(measure: Measure, side: Option<Side>, reason: &str) -> bool {
    use Landmark::{Acromion, C7, T4, T8, T12};
    let bone = |landmark: &Landmark| matches!(landmark, C7 | T4 | T8 | T12 | Acromion(_));
    let needs = measure.needs(side);
    reason.split("; ").any(|part| part.contains("needs"))
        && needs
            .iter()
            .any(|landmark| bone(landmark) && reason.contains(&landmark.words()))
}

impl Reasons {
    fn add(&mut self, measure: Measure, side: Option<Side>, reason: &str, lone: Option<String>) {
        let heading = needs_bone(measure, side, reason).then_some(NEEDS_BONE);
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
                // A twin that shares its measure's reason adds nothing.
                let known: Vec<(Measure, Option<Side>)> = entry
                    .measures
                    .iter()
                    .copied()
                    .chain(
                        entry
                            .lone
                            .iter()
                            .map(|(measure, side, _)| (*measure, *side)),
                    )
                    .collect();
                let told = |measure: Measure, side: Option<Side>| {
                    is_twin(measure) && told_by(measure).any(|other| known.contains(&(other, side)))
                };
                let own = |(measure, side): &(Measure, Option<Side>)| !told(*measure, *side);
                let mut measures = merged_names(entry.measures.into_iter().filter(own));
                for (measure, side, value) in entry.lone {
                    if !told(measure, side) {
                        measures.push(format!(
                            "{} [{value}]",
                            merged_names([(measure, side)]).concat()
                        ));
                    }
                }
                let reasons = entry
                    .reasons
                    .into_iter()
                    .map(|(plain, given)| match &given[..] {
                        [one] => one.clone(),
                        _ => plain,
                    });
                ReasonView {
                    heading: entry.heading,
                    reasons: match entry.heading {
                        Some(_) => Vec::new(),
                        None => reasons.collect(),
                    },
                    action: entry.heading.map(|_| PLACE_BONE),
                    measures,
                }
            })
            .collect()
    }
}

fn charts(visits: &[Visit], names: &[VisitName], comparison: &Comparison) -> Vec<ChartView> {
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

fn pairs(visits: &[Visit], names: &[VisitName]) -> Vec<PairView> {
    let Some(last) = visits.len().checked_sub(1) else {
        return Vec::new();
    };
    let ends = if last == 0 { vec![0] } else { vec![0, last] };
    POSES
        .into_iter()
        .filter_map(|(view, task)| {
            let shots: Vec<(VisitName, Shot)> = ends
                .iter()
                .map(|&visit| (names[visit].clone(), shot(visits, visit, view, task)))
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
    let maybe: Vec<String> = photos
        .iter()
        .filter(|photo| could_be(photo, view, task))
        .map(|photo| {
            let why = photo.notices.first().map(|notice| notice.text.as_str());
            let why = why.unwrap_or("its view could not be told.");
            format!(" {}: {why}", photo.file)
        })
        .collect();
    Shot::Missing(format!("No usable photo of this pose.{}", maybe.concat()))
}

/// Whether a photo that shows no standard pose may have been meant for this one.
fn could_be(photo: &PhotoRecord, view: View, task: Task) -> bool {
    let meant = match photo.view {
        None => true,
        Some(View::Oblique(near)) => view.near_side().is_none_or(|side| side == near),
        Some(_) => false,
    };
    meant && photo.task.is_none_or(|of| of == task)
}

/// How the visit's own notice of a reach past the limit begins; the caution says the same.
const LIMIT_NOTICE: &str = "Beyond the set limit:";

/// What to know of photos and visits; named by visit where `names` are given.
fn notices(visits: &[Visit], names: &[VisitName]) -> Vec<NoticeView> {
    let mut notices = Vec::new();
    for (index, visit) in visits.iter().enumerate() {
        let cautioned = !elevations(visit, Reached::Past).is_empty();
        let mut add = |what: &str, of: &[Notice]| {
            let texts: Vec<String> = of
                .iter()
                .map(|notice| notice.text.clone())
                .filter(|text| !(cautioned && text.starts_with(LIMIT_NOTICE)))
                .collect();
            if !texts.is_empty() {
                let about = match names.get(index) {
                    Some(name) => format!("{}: {what}", name.title),
                    None => what.to_owned(),
                };
                notices.push(NoticeView { about, texts });
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

pub(super) fn capitalised(words: &str) -> String {
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
    fn measures_that_need_bony_points_share_one_entry_and_its_action() {
        let visits = samples::visits();
        let view = visit(&visits[0]);
        let entry = view
            .unmeasured
            .iter()
            .find(|entry| entry.heading.is_some())
            .unwrap();
        assert_eq!(entry.measures.len(), 2);
        assert!(entry.reasons.is_empty());
        assert!(entry.action.unwrap().contains("--landmarks"));
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

    /// The flexion's row and the summary, with this arm limit at both visits.
    fn with_limit(visits: &mut [Visit], limit: f64) -> (ComparisonView, RowView) {
        for visit in visits.iter_mut() {
            visit.facts.arm_limit_deg = Some(limit);
        }
        let view = comparison(visits, &compare(visits));
        let row = view
            .groups
            .iter()
            .flat_map(|(_, rows)| rows)
            .find(|row| row.measure == Measure::ShoulderFlexion)
            .unwrap()
            .clone();
        (view, row)
    }

    fn told(view: &ComparisonView, lead: &str) -> String {
        let line = view.summary.iter().find(|line| line.lead == lead);
        line.map_or(String::new(), |line| line.text.clone())
    }

    #[test]
    fn a_reach_past_the_limit_is_a_caution_and_no_praise() {
        let (view, flexion) = with_limit(&mut samples::visits(), 120.0);
        assert!(view.cautions[0].starts_with("Past the arm limit of 120° at follow-up"));
        assert_eq!(flexion.verdict.words, "not judged: past the arm limit");
        assert_eq!(flexion.verdict.mark, Mark::Caution);
        assert!(told(&view, "Improved").starts_with("nothing that may be called progress"));
        assert!(
            told(
                &view,
                "Not called improved, because the arm went past its limit"
            )
            .contains("flexion")
        );
    }

    #[test]
    fn a_reach_within_error_of_the_limit_is_not_praised() {
        let (view, flexion) = with_limit(&mut samples::visits(), 144.0);
        assert_eq!(
            view.cautions,
            [
                "Right shoulder flexion 141 ± 3° may have reached the arm limit of 144°: one \
                 photo can't tell. Don't ask for more."
            ]
        );
        assert_eq!(flexion.verdict.words, "may be at the arm limit");
        let (view, flexion) = with_limit(&mut samples::visits(), 150.0);
        assert!(view.cautions.is_empty());
        assert_eq!(flexion.verdict.mark, Mark::Improved);
    }

    #[test]
    fn to_come_back_within_the_limit_is_no_loss() {
        let mut visits = samples::visits();
        visits.reverse();
        let (view, flexion) = with_limit(&mut visits, 120.0);
        assert_eq!(
            flexion.verdict.words,
            "not judged: the first was past the arm limit"
        );
        assert!(!told(&view, "Worse").contains("shoulder flexion"));
    }

    #[test]
    fn a_reach_that_stays_past_the_limit_shows_it() {
        let mut visits = samples::visits();
        visits[0] = visits[1].clone();
        visits[0].notices = vec![Notice::new(format!("{LIMIT_NOTICE} the right arm."))];
        let (view, flexion) = with_limit(&mut visits, 120.0);
        assert_eq!(flexion.verdict.words, "unchanged, past the arm limit");
        let texts = |notice: &NoticeView| notice.texts.concat();
        assert!(
            !view
                .notices
                .iter()
                .map(texts)
                .any(|text| text.contains(LIMIT_NOTICE))
        );
    }

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

    #[test]
    fn values_by_hand_or_of_several_photos_say_so() {
        let mut visits = samples::visits();
        let again = visits[1].readings[3].clone();
        visits[1].readings.push(again);
        let elbow = Landmark::Elbow(Side::Right);
        let placed = visits[1].photos[1].landmarks.get_mut(&elbow).unwrap();
        placed.evidence = Evidence::Manual;
        let (view, flexion) = with_limit(&mut visits, 180.0);
        assert_eq!(flexion.values[0].note(), None);
        let note = flexion.values[1].note();
        assert_eq!(note.as_deref(), Some("mean of 2 photos, placed by hand"));
        assert!(view.cautions[0].starts_with("Points were placed by hand at follow-up"));
    }

    #[test]
    fn the_summary_counts_one_movement_once() {
        let mut visits = samples::visits();
        visits[1].readings[4].outcome = Ok(Estimate::new(2.0, 1.1));
        let view = comparison(&visits, &compare(&visits));
        assert_eq!(
            told(&view, "Improved"),
            "right shoulder flexion (operated) from 104 ± 3° to 141 ± 3°, and arm to ear with it."
        );
        assert_eq!(told(&view, "Worse"), "nothing beyond error.");
    }

    #[test]
    fn the_arm_that_was_not_operated_has_no_limit() {
        let mut visits = samples::visits();
        visits[1].facts.arm_limit_deg = Some(90.0);
        visits[1].facts.operated = Some(Operated::One(Side::Left));
        assert!(elevations(&visits[1], Reached::Past).is_empty());
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

    #[test]
    fn only_a_photo_that_could_be_the_pose_is_named_in_its_place() {
        let mut visits = samples::visits();
        let reach = &mut visits[0].photos[1];
        reach.view = Some(View::Oblique(Side::Right));
        reach.notices = vec![Notice::new("Turned too far.")];
        let view = comparison(&visits, &compare(&visits));
        let missing =
            Shot::Missing("No usable photo of this pose. reach.jpg: Turned too far.".to_owned());
        assert_eq!(view.pairs[1].shots[0].1, missing);
        assert!(matches!(view.pairs[0].shots[0].1, Shot::Photo { .. }));
    }
}

//! The view model that every writer shares: finished words and numbers, no layout.
//!
//! Its parts stand here; how each is filled in stands in a file of its own.

mod charts;
mod course;
mod facts;
mod limit;
mod movement;
mod names;
mod notices;
mod pairs;
pub(super) mod prose;
mod reasons;
mod rows;
mod standing;
mod summary;

use serde::Serialize;

use crate::body::{Side, Task, View};
use crate::compare::Comparison;
use crate::measure::{Measure, Unit};
use crate::repeats;
use crate::visit::{Evidence, Visit};

use super::number;

use charts::charts;
use facts::{facts, is_operated};
use limit::{near_caution, past_caution};
use movement::is_twin;
use names::{side_words, title};
use notices::notices;
use pairs::pairs;
use reasons::{Reasons, lone_value, reason};
use rows::{evidence_cautions, row_view};

pub(super) use limit::limits_kept;
pub(super) use summary::{REASONS_BELOW, summary};

pub use course::{ArmView, CourseView, CourseVisit, ReachView, course};
pub use pairs::{pose_words, setup_words};
pub use standing::StandingView;

pub(super) use super::number::PLUS_MINUS;

/// What the errors of a comparison leave out.
pub(super) const NOT_IN_IT: &str =
    "Effort, warm-up and the day's form are not in the errors: they change a reach too.";

/// Over what has to be settled first.
pub(super) const ASK_FIRST: &str = "Ask or refer first: no exercise is proposed";

/// Names among the facts.
pub(super) const CASE: &str = "Case";
pub(super) const ARM_LIMIT: &str = "Arm limit";

/// What a line of the report amounts to; every writer has its own sign for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    Improved,
    Worse,
    Changed,
    Same,
    Unknown,
    Caution,
}

impl Mark {
    pub const ALL: [Mark; 6] = [
        Mark::Improved,
        Mark::Worse,
        Mark::Changed,
        Mark::Same,
        Mark::Unknown,
        Mark::Caution,
    ];
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
    /// Whether a sticker was worn on any of them.
    pub by_sticker: bool,
}

impl ValueView {
    /// What to know about it, in words; mostly nothing.
    pub fn note(&self) -> Option<String> {
        let mean = (self.photos > 1).then(|| format!("mean of {} photos", self.photos));
        let hand = self.by_hand.then(|| "placed by hand".to_owned());
        let worn = self.by_sticker.then(|| "with stickers".to_owned());
        let notes: Vec<String> = mean.into_iter().chain(hand).chain(worn).collect();
        (!notes.is_empty()).then(|| notes.join(", "))
    }
}

/// Measures that share a reason for having no number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReasonView {
    /// In plain words before the reasons, where a whole family of measures is concerned.
    pub heading: Option<String>,
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
    pub measure: Measure,
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

/// A comparison, ready to be laid out.
#[derive(Clone, Debug)]
pub struct ComparisonView {
    pub title: String,
    /// Names and values of what is known about the person.
    pub facts: Vec<(&'static str, String)>,
    /// Oldest first.
    pub visits: Vec<VisitName>,
    pub summary: Vec<SummaryLine>,
    /// By the last screening; `None` where it is not known.
    pub standing: Option<StandingView>,
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

impl ComparisonView {
    /// With what the last screening comes to.
    pub fn standing(mut self, standing: Option<&StandingView>) -> ComparisonView {
        self.standing = standing.cloned();
        let now = self.standing.iter();
        let now = now.map(|standing| ("Arm limit now", standing.height.clone()));
        self.facts.extend(now);
        self
    }

    pub fn visit_titles(&self) -> String {
        let titles: Vec<&str> = self
            .visits
            .iter()
            .map(|visit| visit.title.as_str())
            .collect();
        titles.join(" → ")
    }
}

/// A reading of one visit.
#[derive(Clone, Debug)]
pub struct ReadingView {
    pub measure: Measure,
    pub name: &'static str,
    pub side: &'static str,
    pub operated: bool,
    pub twin: bool,
    pub value: String,
    pub photo: String,
}

/// What several photos of one pose show together.
#[derive(Clone, Debug)]
pub struct RepeatsView {
    pub name: &'static str,
    pub side: &'static str,
    pub operated: bool,
    pub mean: String,
    /// Standard error of measurement within the visit.
    pub sem: String,
    pub photos: usize,
}

/// One visit, ready to be laid out.
#[derive(Clone, Debug)]
pub struct VisitView {
    pub title: String,
    pub facts: Vec<(&'static str, String)>,
    pub readings: Vec<ReadingView>,
    /// What several photos show, together.
    pub repeats: Vec<RepeatsView>,
    pub unmeasured: Vec<ReasonView>,
    pub cautions: Vec<String>,
    pub notices: Vec<NoticeView>,
}

pub fn visit(visit: &Visit) -> VisitView {
    let alone = std::slice::from_ref(visit);
    let readings = visit
        .measured()
        .map(|(reading, estimate)| ReadingView {
            measure: reading.measure,
            name: reading.measure.words(),
            side: side_words(reading.side),
            operated: is_operated(alone, reading.side),
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
        facts: facts(alone),
        readings,
        repeats: repeats::all(visit)
            .into_iter()
            .filter(|(measure, _, _)| !is_twin(*measure))
            .map(|(measure, side, repeats)| RepeatsView {
                name: measure.words(),
                side: side_words(side),
                operated: is_operated(alone, side),
                mean: number::with_error(repeats.mean, measure.unit()),
                sem: number::error(repeats.sem, measure.unit()),
                photos: repeats.count,
            })
            .collect(),
        unmeasured: reasons.finish(),
        cautions: past_caution(visit, &visit.title(1))
            .into_iter()
            .chain(near_caution(visit))
            .collect(),
        notices: notices(alone, &[]),
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
        .chain(evidence_cautions(&names, &groups))
        .collect();
    ComparisonView {
        title: title(&names),
        facts: facts(visits),
        summary: summary(visits, comparison, summary::NAMED),
        standing: None,
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

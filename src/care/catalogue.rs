//! The exercises: what each is for, how it is told and drawn, and what it asks of the body.
//!
//! They stand in `exercises.toml`, which says how to read it. A [`Catalogue`] only holds exercises
//! that passed [`Exercise::check`]: none is drawn higher than it says it goes.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use super::height::{Height, Watch};
use super::{Aim, Known};

pub const HIGHEST_LEVEL: u8 = 3;

/// What a rule may forbid an exercise to ask for.
pub const TAGS: [&str; 10] = [
    "neck_extension",
    "standing",
    "lying_prone",
    "abdominal",
    "chest_strength",
    "trunk_bend_loaded",
    "stretch_over_chest",
    "weight_on_arm",
    END_STRETCH,
    LOADED,
];
/// Nothing is held at its end, either, where it is forbidden.
pub(super) const END_STRETCH: &str = "end_stretch";
/// A weight or a band.
const LOADED: &str = "loaded";
const STANDING: &str = "standing";

/// Exercises in the order of the file, which is that of choosing.
#[derive(Clone, Debug, PartialEq)]
pub struct Catalogue {
    exercises: Vec<Exercise>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Exercise {
    pub id: String,
    /// For the person, like all words here but `source`.
    pub name: String,
    /// From 0, safe in the first days, to [`HIGHEST_LEVEL`].
    pub level: u8,
    pub aims: Vec<Aim>,
    pub tags: BTreeSet<String>,
    /// The highest that its full form takes an upper arm off the trunk, in any direction, degrees.
    pub arm_deg: f64,
    /// Below this limit it makes no sense, degrees.
    pub from_deg: f64,
    pub load_kg: f64,
    /// What tells the person how high the arm is; every exercise that a limit may cut has it.
    pub watch: Option<Watch>,
    pub purpose: String,
    pub start: String,
    pub steps: Vec<String>,
    pub feel: String,
    pub stop: String,
    pub easier: Easier,
    pub harder: Option<Harder>,
    pub dose: Dose,
    pub figure: Figure,
    pub source: String,
    pub known: Known,
}

/// What to try when an exercise is too hard.
#[derive(Clone, Debug, PartialEq)]
pub struct Easier {
    pub words: String,
    /// How high this form takes an arm by itself, degrees; `None` where it ends at the exercise's own
    /// stop line, or before it.
    pub arm_deg: Option<f64>,
}

/// What to try when an exercise has become easy, and all that this form asks for.
#[derive(Clone, Debug, PartialEq)]
pub struct Harder {
    pub words: String,
    pub arm_deg: f64,
    pub load_kg: f64,
    /// Those of the exercise among them.
    pub tags: BTreeSet<String>,
}

/// How much, at first.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    pub amount: Amount,
    pub times_a_day: u8,
    pub days_a_week: u8,
    pub source: String,
    pub known: Known,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// So often, each held for so long, up to so often, in up to so many sets.
    Repeats {
        repeats: u8,
        most: u8,
        hold_s: u8,
        most_sets: u8,
    },
    Minutes {
        minutes: u8,
        most: u8,
    },
}

/// A drawing: two poses, and what is around the person.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    pub view: FigureView,
    pub support: Support,
    pub holds: Option<Held>,
    /// Whose way the arrow shows.
    pub follow: Follow,
    pub start: Pose,
    pub end: Pose,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FigureView {
    Side,
    Front,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Support {
    Chair,
    /// A chair at a table.
    Table,
    Couch,
    /// In front of the person, who stands.
    Wall,
    /// The person stands free.
    Floor,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Held {
    /// In both hands.
    Stick,
    /// From the hands to something firm in front of the person.
    BandAhead,
    /// Around the back, its ends in the hands.
    BandBehind,
    /// From the hand to under the foot.
    BandUnderFoot,
    /// In the hand of the arm that is exercised.
    Weight,
}

impl Held {
    const fn is_load(self) -> bool {
        !matches!(self, Held::Stick)
    }

    pub const fn is_band(self) -> bool {
        matches!(
            self,
            Held::BandAhead | Held::BandBehind | Held::BandUnderFoot
        )
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Follow {
    Hand,
    Elbow,
    Shoulder,
    Head,
    Foot,
}

/// Joint angles, degrees. The first arm and leg are those of the operated side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Lean of the trunk off the vertical: forward in a side view, to the operated side in a front
    /// view. −90 in a side view lies on the back.
    pub trunk: f64,
    /// Of neck and head against the trunk, likewise.
    pub neck: f64,
    /// How far the shoulder girdle is drawn up.
    pub shrug: f64,
    pub arms: [Arm; 2],
    pub legs: [Leg; 2],
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Arm {
    /// The upper arm off the trunk: forward in a side view, outward in a front view; negative
    /// behind the trunk.
    pub shoulder: f64,
    /// 0 is straight.
    pub elbow: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Leg {
    /// 0 is in line with the trunk, forward positive.
    pub hip: f64,
    /// 0 is straight.
    pub knee: f64,
    /// Toes down from a right angle.
    #[serde(default)]
    pub ankle: f64,
}

impl Pose {
    /// The most that an upper arm is off the trunk.
    pub fn arm_deg(&self) -> f64 {
        let [first, second] = self.arms.map(|arm| arm.shoulder.abs());
        first.max(second)
    }

    /// The pose on the way from this one to another.
    pub fn towards(&self, end: &Pose, part: f64) -> Pose {
        let mix = |from: f64, to: f64| from + part * (to - from);
        let arm = |index: usize| Arm {
            shoulder: mix(self.arms[index].shoulder, end.arms[index].shoulder),
            elbow: mix(self.arms[index].elbow, end.arms[index].elbow),
        };
        let leg = |index: usize| Leg {
            hip: mix(self.legs[index].hip, end.legs[index].hip),
            knee: mix(self.legs[index].knee, end.legs[index].knee),
            ankle: mix(self.legs[index].ankle, end.legs[index].ankle),
        };
        Pose {
            trunk: mix(self.trunk, end.trunk),
            neck: mix(self.neck, end.neck),
            shrug: mix(self.shrug, end.shrug),
            arms: [arm(0), arm(1)],
            legs: [leg(0), leg(1)],
        }
    }

    fn with_arms_within(mut self, top_deg: f64) -> Pose {
        for arm in &mut self.arms {
            arm.shoulder = arm.shoulder.clamp(-top_deg, top_deg);
        }
        self
    }
}

impl Figure {
    /// The same movement, ended where the first arm reaches `top_deg`.
    pub fn up_to(&self, top_deg: f64) -> Figure {
        let top_deg = top_deg.max(0.0);
        let part = (0..2)
            .map(|arm| {
                let (from, to) = (self.start.arms[arm].shoulder, self.end.arms[arm].shoulder);
                let top = top_deg.copysign(to);
                match to.abs() > top_deg {
                    true => ((top - from) / (to - from)).clamp(0.0, 1.0),
                    false => 1.0,
                }
            })
            .fold(1.0, f64::min);
        Figure {
            // A start that is too high already has no part that is low enough.
            start: self.start.with_arms_within(top_deg),
            end: self
                .start
                .towards(&self.end, part)
                .with_arms_within(top_deg),
            ..self.clone()
        }
    }

    /// A height, for someone in this pose: who lies sees hands over the chin, or on the bed beside it.
    pub fn place_of(&self, height: Height) -> String {
        match (self.support, self.view) {
            (Support::Couch, FigureView::Side) => height.lying().to_owned(),
            (Support::Couch, FigureView::Front) => format!("level with {}", height.of_body()),
            _ => height.standing().to_owned(),
        }
    }
}

/// What is wrong with a file of exercises.
#[derive(Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum CatalogueError {
    #[error("the exercises can't be read: {0}")]
    Syntax(String),
    #[error("exercise {id}: {trouble}")]
    Exercise { id: String, trouble: String },
    #[error("the exercises as a whole: {0}")]
    Whole(String),
}

impl Catalogue {
    /// The file that is built in.
    pub const BUILT_IN: &str = include_str!("exercises.toml");

    pub fn built_in() -> &'static Catalogue {
        static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
            Catalogue::from_toml(Catalogue::BUILT_IN)
                .expect("a test reads the exercises that are built in")
        });
        &CATALOGUE
    }

    pub fn from_toml(text: &str) -> Result<Catalogue, CatalogueError> {
        let file: FileText =
            toml::from_str(text).map_err(|error| CatalogueError::Syntax(error.to_string()))?;
        let mut exercises: Vec<Exercise> = Vec::with_capacity(file.exercise.len());
        for text in file.exercise {
            let id = text.id.clone();
            let exercise = text
                .read()
                .and_then(|exercise| exercise.check().map(|()| exercise))
                .map_err(|trouble| CatalogueError::Exercise {
                    id: id.clone(),
                    trouble,
                })?;
            if exercises.iter().any(|other| other.id == id) {
                return Err(CatalogueError::Whole(format!("two are called {id}")));
            }
            exercises.push(exercise);
        }
        let catalogue = Catalogue { exercises };
        catalogue.check().map_err(CatalogueError::Whole)?;
        Ok(catalogue)
    }

    /// The same without some of them, by their ids.
    pub fn without(&self, ids: &[String]) -> Result<Catalogue, CatalogueError> {
        let is_known = |id: &&String| self.exercises.iter().any(|exercise| exercise.id == **id);
        if let Some(id) = ids.iter().find(|id| !is_known(id)) {
            return Err(CatalogueError::Whole(format!("none is called {id}")));
        }
        let exercises = self
            .exercises
            .iter()
            .filter(|exercise| !ids.contains(&exercise.id));
        let catalogue = Catalogue {
            exercises: exercises.cloned().collect(),
        };
        catalogue.check().map_err(CatalogueError::Whole)?;
        Ok(catalogue)
    }

    pub fn exercises(&self) -> &[Exercise] {
        &self.exercises
    }

    /// Whoever may do the least must still find something on the sheet.
    fn check(&self) -> Result<(), String> {
        let always = self.exercises.iter().any(|exercise| {
            exercise.aims.contains(&Aim::Breathing)
                && exercise.level == 0
                && exercise.arm_deg == 0.0
                && exercise.tags.is_empty()
        });
        if !always {
            return Err(
                "one for breathing is missing that everybody may do: level 0, arm_deg 0, no tags"
                    .to_owned(),
            );
        }
        match (0..=HIGHEST_LEVEL)
            .find(|level| !self.exercises.iter().any(|one| one.level == *level))
        {
            Some(level) => Err(format!("none is of level {level}")),
            None => Ok(()),
        }
    }
}

fn require(holds: bool, trouble: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(trouble()) }
}

/// How far an arm that nothing watches has to stay below a limit, degrees: nobody stops on the degree
/// (our own choice).
const MARGIN_DEG: f64 = 10.0;

/// The lowest limit that such an arm is within.
pub(super) fn unwatched(arm_deg: f64) -> f64 {
    match arm_deg > 0.0 {
        true => arm_deg + MARGIN_DEG,
        false => 0.0,
    }
}

impl Exercise {
    /// The lowest limit under which it may be done, degrees.
    pub fn least_limit_deg(&self) -> f64 {
        match self.watch {
            Some(_) => self.from_deg,
            None => unwatched(self.arm_deg),
        }
    }

    fn check(&self) -> Result<(), String> {
        require(self.level <= HIGHEST_LEVEL, || {
            format!("level {} is not 0 to {HIGHEST_LEVEL}", self.level)
        })?;
        require(!self.aims.is_empty(), || "it has no aim".to_owned())?;
        require((0.0..=180.0).contains(&self.arm_deg), || {
            format!("arm_deg {} is not 0 to 180", self.arm_deg)
        })?;
        require((0.0..=self.arm_deg).contains(&self.from_deg), || {
            format!(
                "from_deg {} is not 0 to its arm_deg {}",
                self.from_deg, self.arm_deg
            )
        })?;
        self.check_words()?;
        self.check_cut()?;
        self.check_load()?;
        self.check_easier()?;
        self.check_harder()?;
        self.dose.check()?;
        self.check_figure()
    }

    fn check_words(&self) -> Result<(), String> {
        let words = [
            ("id", &self.id),
            ("name", &self.name),
            ("purpose", &self.purpose),
            ("start", &self.start),
            ("feel", &self.feel),
            ("stop", &self.stop),
            ("easier", &self.easier.words),
            ("source", &self.source),
            ("dose.source", &self.dose.source),
        ];
        for (field, words) in words {
            require(!words.trim().is_empty(), || format!("{field} is empty"))?;
        }
        require(!self.steps.is_empty(), || "it has no steps".to_owned())?;
        require(self.stop.to_lowercase().contains("stop"), || {
            "stop does not say when to stop".to_owned()
        })
    }

    /// Only what can be told can be cut: the person sees how high a hand or elbow is.
    fn check_cut(&self) -> Result<(), String> {
        match self.watch {
            Some(watch) => require(self.from_deg >= watch.lowest_deg(), || {
                format!(
                    "from_deg {} is below {:.0}, the lowest height that has a word",
                    self.from_deg,
                    watch.lowest_deg().ceil()
                )
            }),
            None => require(self.from_deg == self.arm_deg, || {
                "without watch nothing tells where a limit cuts it: from_deg must be its arm_deg"
                    .to_owned()
            }),
        }
    }

    fn check_load(&self) -> Result<(), String> {
        let drawn = self.figure.holds.is_some_and(Held::is_load);
        let tagged = self.tags.contains(LOADED);
        require(self.load_kg >= 0.0 && self.load_kg.is_finite(), || {
            format!("load_kg {} is no load", self.load_kg)
        })?;
        require(tagged == (self.load_kg > 0.0), || {
            format!("load_kg {} and the tag loaded go together", self.load_kg)
        })?;
        require(tagged == drawn, || {
            "the tag loaded and a band or weight in the figure go together".to_owned()
        })
    }

    fn check_easier(&self) -> Result<(), String> {
        let allowed = |deg: f64| (0.0..=180.0).contains(&deg);
        require(self.easier.arm_deg.is_none_or(allowed), || {
            "easier_arm_deg is not 0 to 180".to_owned()
        })
    }

    fn check_harder(&self) -> Result<(), String> {
        let Some(harder) = &self.harder else {
            return Ok(());
        };
        require(!harder.words.trim().is_empty(), || {
            "harder is empty".to_owned()
        })?;
        require((self.arm_deg..=180.0).contains(&harder.arm_deg), || {
            format!(
                "harder_arm_deg {} is not from its arm_deg {} to 180",
                harder.arm_deg, self.arm_deg
            )
        })?;
        require(
            harder.load_kg >= self.load_kg && harder.load_kg.is_finite(),
            || format!("harder_load_kg {} is less than its load", harder.load_kg),
        )?;
        require(
            harder.tags.contains(LOADED) == (harder.load_kg > 0.0),
            || {
                format!(
                    "harder_load_kg {} and the tag loaded go together",
                    harder.load_kg
                )
            },
        )
    }

    fn check_figure(&self) -> Result<(), String> {
        let figure = &self.figure;
        for (name, pose) in [("start", &figure.start), ("end", &figure.end)] {
            require(pose.arm_deg() <= self.arm_deg, || {
                format!(
                    "the figure's {name} has an arm at {}, above its arm_deg {}",
                    pose.arm_deg(),
                    self.arm_deg
                )
            })?;
            for arm in pose.arms {
                require((0.0..=160.0).contains(&arm.elbow), || {
                    format!("the figure's {name} has an elbow at {}", arm.elbow)
                })?;
            }
            for leg in pose.legs {
                require((0.0..=150.0).contains(&leg.knee), || {
                    format!("the figure's {name} has a knee at {}", leg.knee)
                })?;
            }
        }
        require(figure.start.arm_deg() <= self.from_deg, || {
            format!(
                "the figure starts with an arm at {}, above its from_deg {}",
                figure.start.arm_deg(),
                self.from_deg
            )
        })?;
        require(figure.start != figure.end, || {
            "the figure does not move".to_owned()
        })?;
        let stands = matches!(figure.support, Support::Wall | Support::Floor);
        require(!stands || self.tags.contains(STANDING), || {
            "the figure stands, and the tag standing is missing".to_owned()
        })
    }
}

impl Dose {
    fn check(&self) -> Result<(), String> {
        require((1..=6).contains(&self.times_a_day), || {
            format!("dose.times_a_day {} is not 1 to 6", self.times_a_day)
        })?;
        require((1..=7).contains(&self.days_a_week), || {
            format!("dose.days_a_week {} is not 1 to 7", self.days_a_week)
        })?;
        match self.amount {
            Amount::Repeats {
                repeats,
                most,
                hold_s,
                most_sets,
            } => {
                require(repeats >= 1 && repeats <= most && most <= 20, || {
                    format!("dose: {repeats} repeats, most_repeats {most} (20 at most)")
                })?;
                require(hold_s <= 60 && (1..=3).contains(&most_sets), || {
                    format!("dose: {hold_s} s held (60 at most), {most_sets} sets (3 at most)")
                })
            }
            Amount::Minutes { minutes, most } => {
                require(minutes >= 1 && minutes <= most && most <= 60, || {
                    format!("dose: {minutes} minutes, most_minutes {most} (60 at most)")
                })
            }
        }
    }
}

// The file as it is written.

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    exercise: Vec<ExerciseText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExerciseText {
    id: String,
    name: String,
    level: u8,
    aims: Vec<String>,
    #[serde(default)]
    tags: Vec<String>,
    arm_deg: f64,
    from_deg: Option<f64>,
    #[serde(default)]
    load_kg: f64,
    watch: Option<Watch>,
    purpose: String,
    start: String,
    steps: Vec<String>,
    feel: String,
    stop: String,
    easier: String,
    easier_arm_deg: Option<f64>,
    harder: Option<String>,
    harder_arm_deg: Option<f64>,
    harder_load_kg: Option<f64>,
    harder_tags: Option<Vec<String>>,
    dose: DoseText,
    figure: FigureText,
    source: String,
    known: Known,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DoseText {
    repeats: Option<u8>,
    most_repeats: Option<u8>,
    #[serde(default)]
    hold_s: u8,
    #[serde(default = "one")]
    most_sets: u8,
    minutes: Option<u8>,
    most_minutes: Option<u8>,
    times_a_day: u8,
    days_a_week: u8,
    source: String,
    known: Known,
}

const fn one() -> u8 {
    1
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FigureText {
    view: FigureView,
    support: Support,
    holds: Option<Held>,
    follow: Follow,
    start: PoseText,
    end: PoseText,
}

/// What is not said of the end is as at the start; at the start, the person stands upright with the
/// arms down, and an `other` limb does what the first does.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PoseText {
    trunk: Option<f64>,
    neck: Option<f64>,
    shrug: Option<f64>,
    arm: Option<Arm>,
    other_arm: Option<Arm>,
    leg: Option<Leg>,
    other_leg: Option<Leg>,
}

impl PoseText {
    fn start(&self) -> Pose {
        let arm = self.arm.unwrap_or(Arm {
            shoulder: 0.0,
            elbow: 0.0,
        });
        let leg = self.leg.unwrap_or(Leg {
            hip: 0.0,
            knee: 0.0,
            ankle: 0.0,
        });
        Pose {
            trunk: self.trunk.unwrap_or(0.0),
            neck: self.neck.unwrap_or(0.0),
            shrug: self.shrug.unwrap_or(0.0),
            arms: [arm, self.other_arm.unwrap_or(arm)],
            legs: [leg, self.other_leg.unwrap_or(leg)],
        }
    }

    /// `alike` tells whether the arms and the legs moved as one at the start.
    fn end(&self, start: &Pose, alike: (bool, bool)) -> Pose {
        let first_arm = self.arm.unwrap_or(start.arms[0]);
        let first_leg = self.leg.unwrap_or(start.legs[0]);
        let second_arm = if alike.0 { first_arm } else { start.arms[1] };
        let second_leg = if alike.1 { first_leg } else { start.legs[1] };
        Pose {
            trunk: self.trunk.unwrap_or(start.trunk),
            neck: self.neck.unwrap_or(start.neck),
            shrug: self.shrug.unwrap_or(start.shrug),
            arms: [first_arm, self.other_arm.unwrap_or(second_arm)],
            legs: [first_leg, self.other_leg.unwrap_or(second_leg)],
        }
    }
}

impl FigureText {
    fn read(self) -> Figure {
        let alike = (
            self.start.other_arm.is_none(),
            self.start.other_leg.is_none(),
        );
        let start = self.start.start();
        Figure {
            view: self.view,
            support: self.support,
            holds: self.holds,
            follow: self.follow,
            start,
            end: self.end.end(&start, alike),
        }
    }
}

impl DoseText {
    fn read(self) -> Result<Dose, String> {
        let amount = match (self.repeats, self.minutes) {
            (Some(repeats), None) => Amount::Repeats {
                repeats,
                most: self.most_repeats.unwrap_or(repeats),
                hold_s: self.hold_s,
                most_sets: self.most_sets,
            },
            (None, Some(minutes)) => Amount::Minutes {
                minutes,
                most: self.most_minutes.unwrap_or(minutes),
            },
            _ => return Err("dose needs either repeats or minutes".to_owned()),
        };
        Ok(Dose {
            amount,
            times_a_day: self.times_a_day,
            days_a_week: self.days_a_week,
            source: self.source,
            known: self.known,
        })
    }
}

impl ExerciseText {
    fn read(self) -> Result<Exercise, String> {
        let tags = tags(self.tags)?;
        let extra = self.harder_arm_deg.is_some()
            || self.harder_load_kg.is_some()
            || self.harder_tags.is_some();
        let harder = match self.harder {
            Some(words) => {
                let mut all = tags.clone();
                all.extend(self::tags(self.harder_tags.unwrap_or_default())?);
                Some(Harder {
                    words,
                    arm_deg: self.harder_arm_deg.unwrap_or(self.arm_deg),
                    load_kg: self.harder_load_kg.unwrap_or(self.load_kg),
                    tags: all,
                })
            }
            None if extra => return Err("it says what harder asks for, but not harder".to_owned()),
            None => None,
        };
        Ok(Exercise {
            id: self.id,
            name: self.name,
            level: self.level,
            aims: self
                .aims
                .into_iter()
                .map(|id| Aim::from_id(&id).ok_or_else(|| format!("there is no aim {id}")))
                .collect::<Result<_, String>>()?,
            tags,
            arm_deg: self.arm_deg,
            from_deg: self.from_deg.unwrap_or(self.arm_deg),
            load_kg: self.load_kg,
            watch: self.watch,
            purpose: self.purpose,
            start: self.start,
            steps: self.steps,
            feel: self.feel,
            stop: self.stop,
            easier: Easier {
                words: self.easier,
                arm_deg: self.easier_arm_deg,
            },
            harder,
            dose: self.dose.read()?,
            figure: self.figure.read(),
            source: self.source,
            known: self.known,
        })
    }
}

fn tags(names: Vec<String>) -> Result<BTreeSet<String>, String> {
    names
        .into_iter()
        .map(|name| match TAGS.contains(&name.as_str()) {
            true => Ok(name),
            false => Err(format!("there is no tag {name}")),
        })
        .collect()
}

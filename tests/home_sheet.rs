//! From findings to the sheet that a person takes home: nothing on it, drawn or told, goes beyond
//! what findings allow, and it can be read by somebody tired.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::f64::consts::PI;

use jiff::ToSpan;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;

use tragus::body::{Operated, Side};
use tragus::care::catalogue::{
    Arm, Catalogue, Exercise, Figure, FigureView, HIGHEST_LEVEL, Leg, Pose, TAGS,
};
use tragus::care::height::{Height, Watch};
use tragus::care::plan::{Makings, Plan};
use tragus::care::programme::{
    Approved, MOST_EXERCISES, NotApproved, Prescribed, Programme, propose,
};
use tragus::care::{
    About, Aim, Finding, Findings, HighestLevel, Known, Limit, LimitBy, Override, Pace, Rules,
    Screening, SetLimit, Shortfall,
};
use tragus::report::plan::{PlanInput, plan_table};
use tragus::report::{HoldSheet, HomeSheet, figure, hold_sheet_html, home_sheet_html};

use crate::readability::{grade, sentences};

const TODAY: Date = date(2026, 3, 10);

fn finding(rule: &str) -> Finding {
    Finding {
        rule: rule.to_owned(),
        words: format!("{rule} says so."),
        at_home: None,
        source: "a test".to_owned(),
        known: Known::CommonPractice,
    }
}

fn limit(value: f64) -> Option<Limit> {
    Some(Limit {
        value,
        until: Some(date(2026, 4, 7)),
        by: LimitBy::Set { on: Some(TODAY) },
    })
}

fn highest_level(level: u8) -> HighestLevel {
    HighestLevel {
        level,
        by: vec![finding("level")],
    }
}

fn shortfall(aim: Aim) -> Shortfall {
    Shortfall {
        aim,
        side: Some(Side::Left),
        words: format!("{} falls short", aim.id()),
    }
}

fn all_shortfalls() -> Vec<Shortfall> {
    Aim::ALL.into_iter().map(shortfall).collect()
}

fn proposed(findings: &Findings, level: u8) -> Programme {
    propose(
        Catalogue::built_in(),
        findings,
        &all_shortfalls(),
        Pace::Stay,
        Some(level),
    )
}

/// Every exercise of the catalogue as it is prescribed under a limit.
fn every_prescribed(arm_deg: Option<f64>) -> Vec<Prescribed> {
    let findings = Findings {
        arm_deg: arm_deg.and_then(limit),
        ..Findings::default()
    };
    let all = Catalogue::built_in();
    all.exercises()
        .iter()
        .filter(|exercise| arm_deg.is_none_or(|deg| exercise.least_limit_deg() <= deg))
        .map(|exercise| Prescribed {
            exercise: exercise.clone(),
            top_deg: exercise
                .arm_deg
                .min(findings.arm_deg.as_ref().map_or(180.0, |l| l.value)),
            dose: exercise.dose.clone(),
            easier: Some(exercise.easier.words.clone()),
            harder: exercise.harder.as_ref().map(|harder| harder.words.clone()),
            because: String::new(),
        })
        .collect()
}

fn sheet_of(programme: Programme, operated: Option<Operated>) -> String {
    let approved = Approved::by(programme, "MK", TODAY).expect("a programme to approve");
    home_sheet_html(&HomeSheet {
        code: "P-07",
        day: TODAY,
        programme: &approved,
        operated,
        program: "tragus 0.1.0",
    })
}

/// A sheet with every exercise there is.
fn whole_catalogue_sheet(arm_deg: Option<f64>) -> String {
    let mut programme = proposed(&Findings::default(), 0);
    programme.exercises = every_prescribed(arm_deg);
    programme.arm_deg = arm_deg.and_then(limit);
    programme.load_kg = limit(2.0);
    // All that any rule ever tells the person.
    programme.at_home = Rules::built_in()
        .removable()
        .filter_map(|rule| rule.at_home.clone())
        .collect();
    sheet_of(programme, Some(Operated::One(Side::Left)))
}

// ---- the drawn geometry ----

type Spot = (f64, f64);

/// The two ends of every line of a class, as they are drawn.
fn drawn(svg: &str, class: &str) -> Vec<(Spot, Spot)> {
    svg.split("<path ")
        .filter(|path| {
            let classes = attribute(path, "class");
            classes
                .split(' ')
                .collect::<Vec<_>>()
                .starts_with(&["flesh"])
                && class
                    .split(' ')
                    .all(|one| classes.split(' ').any(|c| c == one))
        })
        .map(|path| {
            let numbers: Vec<f64> = attribute(path, "d")
                .trim_start_matches('M')
                .split(['L', ' '])
                .map(|number| number.parse().expect("a coordinate"))
                .collect();
            let [x0, y0, x1, y1] = numbers[..] else {
                panic!("{class} is no line: {path}")
            };
            ((x0, y0), (x1, y1))
        })
        .collect()
}

fn attribute<'a>(tag: &'a str, name: &str) -> &'a str {
    let start = tag.find(&format!("{name}=\"")).expect("the attribute") + name.len() + 2;
    &tag[start..start + tag[start..].find('"').expect("its end")]
}

fn middle(spots: &[Spot]) -> Spot {
    let n = spots.len() as f64;
    (
        spots.iter().map(|spot| spot.0).sum::<f64>() / n,
        spots.iter().map(|spot| spot.1).sum::<f64>() / n,
    )
}

/// The unsigned angle between two directions, degrees.
fn between(a: Spot, b: Spot) -> f64 {
    let turn = (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1);
    turn.abs() * 180.0 / PI
}

fn along((from, to): (Spot, Spot)) -> Spot {
    (to.0 - from.0, to.1 - from.1)
}

/// The angle of every drawn upper arm off the drawn trunk, degrees.
fn arms_off_trunk(svg: &str, when: &str) -> Vec<f64> {
    let arms = drawn(svg, &format!("{when} upper-arm"));
    let hips: Vec<Spot> = drawn(svg, &format!("{when} thigh"))
        .iter()
        .map(|l| l.0)
        .collect();
    assert_eq!((arms.len(), hips.len()), (2, 2), "{when}");
    let shoulders: Vec<Spot> = arms.iter().map(|arm| arm.0).collect();
    let down = along((middle(&shoulders), middle(&hips)));
    arms.into_iter()
        .map(|arm| between(down, along(arm)))
        .collect()
}

/// Coordinates are rounded to a tenth of a thousandth of the stature: over an upper arm and a trunk
/// that is at most so many degrees.
const ROUNDED_DEG: f64 = 0.06;

fn svg_of(figure: &Figure, side: Side) -> String {
    figure::figure(figure, side, "a drawing").into_string()
}

fn assert_drawn_within(figure: &Figure, top_deg: f64, name: &str) {
    for side in Side::BOTH {
        let svg = svg_of(figure, side);
        for when in ["start", "end"] {
            for deg in arms_off_trunk(&svg, when) {
                assert!(
                    deg <= top_deg + ROUNDED_DEG,
                    "{name} {when}: {deg} above {top_deg}"
                );
            }
        }
    }
}

#[test]
fn joint_angles_are_those_of_the_drawn_points() {
    let near = |deg: f64, expected: f64, what: &str| {
        // A hand is short: its direction is the forearm's.
        assert!(
            (deg - expected).abs() < 2.0 * ROUNDED_DEG,
            "{what}: {deg}, expected {expected}"
        );
    };
    for exercise in Catalogue::built_in().exercises() {
        let figure = &exercise.figure;
        for side in Side::BOTH {
            let svg = svg_of(figure, side);
            for (when, pose) in [("start", &figure.start), ("end", &figure.end)] {
                let what = format!("{} {when} {side}", exercise.id);
                let mut shoulders = arms_off_trunk(&svg, when);
                // The far arm is drawn first.
                shoulders.reverse();
                let lines = |name: &str| {
                    let mut lines = drawn(&svg, &format!("{when} {name}"));
                    lines.reverse();
                    lines
                };
                let (upper, lower) = (lines("upper-arm"), lines("forearm"));
                for index in 0..2 {
                    let arm = pose.arms[index];
                    near(
                        shoulders[index],
                        arm.shoulder.abs(),
                        &format!("{what} shoulder {index}"),
                    );
                    let elbow = between(along(upper[index]), along(lower[index]));
                    near(elbow, arm.elbow, &format!("{what} elbow {index}"));
                    assert_eq!(
                        upper[index].1, lower[index].0,
                        "{what}: the elbow is one point"
                    );
                }
                if figure.view == FigureView::Side {
                    let (thigh, shin) = (lines("thigh"), lines("shin"));
                    for index in 0..2 {
                        let knee = between(along(thigh[index]), along(shin[index]));
                        near(knee, pose.legs[index].knee, &format!("{what} knee {index}"));
                    }
                }
            }
        }
    }
}

#[test]
fn side_and_direction_are_told_apart() {
    let pose = |shoulder: f64, lean: f64| Pose {
        trunk: lean,
        neck: 0.0,
        shrug: 0.0,
        arms: [
            Arm {
                shoulder,
                elbow: 0.0,
            },
            Arm {
                shoulder: 0.0,
                elbow: 0.0,
            },
        ],
        legs: [Leg {
            hip: 0.0,
            knee: 0.0,
            ankle: 0.0,
        }; 2],
    };
    // Forward, and outward from the body, is +x; up is +y.
    let side = figure::Skeleton::of(&pose(90.0, 0.0), FigureView::Side);
    assert!(
        side.elbows[0].x > 100.0 && side.elbows[0].y > 280.0,
        "{side:?}"
    );
    assert!(side.elbows[1].y < 110.0, "{side:?}");
    let leaning = figure::Skeleton::of(&pose(90.0, 20.0), FigureView::Side);
    assert!(leaning.head.x > side.head.x && leaning.elbows[0].y < side.elbows[0].y);
    let front = figure::Skeleton::of(&pose(90.0, 0.0), FigureView::Front);
    assert!(front.elbows[0].x > front.shoulders[0].x && front.elbows[1].x < 0.0);
    // On paper: from the front the person's left is on the right.
    let raised = every_prescribed(None)
        .into_iter()
        .find(|one| one.exercise.id == "band_side")
        .expect("a raise of one arm");
    let highest = |side: Side| {
        let svg = svg_of(&raised.figure(), side);
        drawn(&svg, "end moved hand")[0].1.0
    };
    assert!(highest(Side::Left) > 300.0 && highest(Side::Right) < -300.0);
}

#[test]
fn a_cut_exercise_is_drawn_and_told_up_to_its_limit_and_no_further() {
    for degrees in (0..=180).step_by(5).map(f64::from) {
        for prescribed in every_prescribed(Some(degrees)) {
            let name = &prescribed.exercise.id;
            assert!(prescribed.top_deg <= degrees, "{name}");
            assert_drawn_within(&prescribed.figure(), prescribed.top_deg, name);
            assert_eq!(
                prescribed.stop_line().is_some(),
                prescribed.exercise.watch.is_some(),
                "{name} at {degrees}"
            );
            // A cut exercise still moves, and comes as high as it may.
            let end = prescribed.figure().end;
            let full = prescribed.exercise.figure.end.arm_deg();
            if prescribed.is_cut() {
                assert_ne!(prescribed.figure().start, end, "{name} at {degrees}");
                assert!(
                    end.arm_deg() > prescribed.top_deg.min(full) - 1e-9,
                    "{name}"
                );
            }
        }
    }
}

#[test]
fn heights_at_home_are_words_of_the_body() {
    let line = |id: &str, degrees: f64| {
        let all = every_prescribed(Some(degrees));
        let one = all.iter().find(|one| one.exercise.id == id).expect(id);
        one.stop_line().expect(id)
    };
    assert_eq!(
        line("clasped_lift", 90.0),
        "your hands or your elbows are at shoulder height"
    );
    assert_eq!(
        line("clasped_lift", 89.9),
        "your hands or your elbows are at chest height"
    );
    assert_eq!(
        line("clasped_lift", 180.0),
        "your hands are at eye height, or your elbows at chin height"
    );
    assert_eq!(
        line("elbows_out", 90.0),
        "your elbows are at shoulder height"
    );
    assert_eq!(
        line("stick_lift_lying", 100.0),
        "your hands are over your chin, or your elbows over your shoulders"
    );
    assert_eq!(
        line("chest_opener", 90.0),
        "your hands or your elbows are level with your shoulders"
    );
    let html = whole_catalogue_sheet(Some(90.0));
    assert!(html.contains("Lift neither your hands nor your elbows higher than your shoulders."));
    assert!(html.contains("It holds until 7 April 2026."));
    assert!(
        html.contains("Stop when your hands or your elbows are at shoulder height. No higher.")
    );
    // Degrees are the clinician's; a fever is told in degrees too.
    assert_eq!(html.matches('°').count(), html.matches("°C").count());
    assert!(!html.to_lowercase().contains("degree"));
}

/// Steps that named a height would speak against a stop line that a limit has lowered.
#[test]
fn an_exercise_that_can_be_cut_leaves_the_height_to_its_stop_line() {
    for exercise in Catalogue::built_in().exercises() {
        let steps = exercise.steps.join(" ").to_lowercase();
        assert_eq!(
            steps.contains("stop line"),
            exercise.watch.is_some(),
            "{}",
            exercise.id
        );
        if exercise.watch.is_some() {
            for height in [
                "overhead",
                "over your head",
                "above your head",
                "as high as you can",
            ] {
                assert!(!steps.contains(height), "{}: {height}", exercise.id);
            }
        }
    }
}

/// Words that name a height, and the lowest elevation that they ask of an arm.
fn names_of_heights() -> Vec<(&'static str, f64)> {
    let of = |height: Height| height.deg(Watch::Hands).expect("hands reach it");
    vec![
        ("chest height", of(Height::Chest)),
        ("shoulder height", of(Height::Shoulders)),
        ("chin height", of(Height::Chin)),
        ("eye height", of(Height::Eyes)),
        ("behind your head", of(Height::Eyes)),
        ("above your head", of(Height::Crown)),
        ("over your head", of(Height::Crown)),
        ("past your head", of(Height::Crown)),
        ("top of your head", of(Height::Crown)),
        ("overhead", of(Height::Crown)),
        ("between your arms", 130.0),
        ("high shel", of(Height::Crown)),
        ("ceiling", of(Height::HandAboveCrown)),
        ("as high as you can", 180.0),
    ]
}

/// Names of heights above `deg` in a text.
fn heights_above(text: &str, deg: f64) -> Vec<&'static str> {
    let text = text.to_lowercase();
    let named = names_of_heights().into_iter();
    named
        .filter(|(words, at)| *at > deg && text.contains(words))
        .map(|(words, _)| words)
        .collect()
}

/// In every part that is told of an exercise; a harder form may have a height of its own.
fn assert_names_no_height_above(prescribed: &Prescribed, top_deg: f64) {
    let exercise = &prescribed.exercise;
    let easier_deg = exercise.easier.arm_deg.unwrap_or(top_deg);
    let harder_deg = exercise
        .harder
        .as_ref()
        .map_or(0.0, |harder| harder.arm_deg);
    let harder_deg = match harder_deg > exercise.arm_deg {
        true => harder_deg,
        false => top_deg,
    };
    let whole = [&exercise.name, &exercise.purpose, &exercise.start];
    let whole = whole.into_iter().chain(&exercise.steps);
    let whole = whole.chain([&exercise.feel, &exercise.stop]);
    let told = whole
        .map(|words| (words, top_deg))
        .chain(prescribed.easier.iter().map(|words| (words, easier_deg)))
        .chain(prescribed.harder.iter().map(|words| (words, harder_deg)));
    for (words, deg) in told {
        let above = heights_above(words, deg);
        assert!(above.is_empty(), "{} at {deg}: {above:?}", exercise.id);
    }
}

#[test]
fn no_words_of_an_exercise_name_a_height_above_its_cut() {
    let pillow = "Put a pillow above your head for your arms to rest on.";
    assert_eq!(heights_above(pillow, 110.0), ["above your head"]);
    assert!(heights_above(pillow, 150.0).is_empty());
    for degrees in (0..=180).map(f64::from) {
        for prescribed in every_prescribed(Some(degrees)) {
            assert_names_no_height_above(&prescribed, prescribed.top_deg);
        }
    }
}

/// Without a height that is told, an arm stays ten degrees below the limit.
#[test]
fn what_tells_no_height_keeps_off_the_limit() {
    let on_sheet = |id: &str, degrees: f64| {
        let all = every_prescribed(Some(degrees));
        all.iter().any(|one| one.exercise.id == id)
    };
    for (id, top_deg) in [("table_slide", 70.0), ("hands_behind_head", 120.0)] {
        assert!(!on_sheet(id, top_deg + 9.9), "{id}");
        assert!(on_sheet(id, top_deg + 10.0), "{id}");
    }
    assert!(on_sheet("breathing", 0.0), "it raises no arm");
    // A pillow under the arm lifts it a little.
    let eased = |degrees| {
        let findings = Findings {
            arm_deg: limit(degrees),
            ..Findings::default()
        };
        let programme = proposed(&findings, 0);
        let mut all = programme.exercises.into_iter();
        let one = all.find(|one| one.exercise.id == "elbow_bend");
        one.expect("proposed").easier.is_some()
    };
    assert_eq!((eased(34.0), eased(35.0)), (false, true));
}

/// An exercise for reaching raises the arm.
#[test]
fn what_is_chosen_for_a_reach_reaches() {
    for exercise in Catalogue::built_in().exercises() {
        let reaches = matches!(exercise.aims[0], Aim::Flexion | Aim::Abduction);
        assert!(!reaches || exercise.arm_deg >= 60.0, "{}", exercise.id);
    }
}

// ---- what may stand on a sheet ----

/// The whole of the promise: what stands on the sheet is allowed, in its harder form too.
fn assert_allowed(programme: &Programme, findings: &Findings) {
    if !findings.holds.is_empty() {
        assert!(programme.exercises.is_empty());
        assert_eq!(programme.holds, findings.holds);
        assert!(matches!(
            Approved::by(programme.clone(), "MK", TODAY),
            Err(NotApproved::Hold { .. })
        ));
        return;
    }
    assert!(programme.exercises.len() <= MOST_EXERCISES);
    let arm = findings
        .arm_deg
        .as_ref()
        .map_or(f64::INFINITY, |limit| limit.value);
    let load = findings
        .load_kg
        .as_ref()
        .map_or(f64::INFINITY, |limit| limit.value);
    for prescribed in &programme.exercises {
        let exercise = &prescribed.exercise;
        let id = &exercise.id;
        assert!(
            prescribed.top_deg <= arm && prescribed.top_deg <= exercise.arm_deg,
            "{id}"
        );
        assert!(exercise.load_kg <= load, "{id}");
        assert!(exercise.level <= programme.level, "{id}");
        if let Some(highest) = &findings.highest_level {
            assert!(exercise.level <= highest.level, "{id}");
        }
        // Nobody stops on the degree where nothing tells which it is.
        let is_told = |deg: f64| deg == 0.0 || deg + 10.0 <= arm;
        assert!(
            exercise.watch.is_some() || is_told(exercise.arm_deg),
            "{id}"
        );
        if let (Some(words), Some(deg)) = (&prescribed.easier, exercise.easier.arm_deg) {
            assert_eq!(*words, exercise.easier.words);
            assert!(is_told(deg), "{id}: easier goes to {deg}");
        }
        assert_names_no_height_above(prescribed, prescribed.top_deg);
        if findings.avoid.contains_key("end_stretch") && exercise.arm_deg > 0.0 {
            assert!(
                !format!("{:?}", prescribed.dose).contains("hold_s: 3"),
                "{id}"
            );
        }
        for tag in findings.avoid.keys() {
            assert!(!exercise.tags.contains(tag), "{id}: {tag}");
        }
        if let (Some(words), Some(harder)) = (&prescribed.harder, &exercise.harder) {
            assert_eq!(*words, harder.words);
            assert!(harder.load_kg <= load, "{id}");
            assert!(
                harder.arm_deg == exercise.arm_deg || is_told(harder.arm_deg),
                "{id}: harder goes to {}",
                harder.arm_deg
            );
            for tag in findings.avoid.keys() {
                assert!(!harder.tags.contains(tag), "{id}, harder: {tag}");
            }
        }
        assert_drawn_within(&prescribed.figure(), prescribed.top_deg, id);
    }
    // Everything is either on the sheet or left out with a reason.
    let told = programme.exercises.len() + programme.left_out.len();
    assert_eq!(told, Catalogue::built_in().exercises().len());
    assert!(programme.left_out.iter().all(|one| !one.because.is_empty()));
}

fn any_limit(range: std::ops::Range<f64>) -> impl Strategy<Value = Option<Limit>> {
    proptest::option::of(range.prop_map(|value| limit(value).expect("a limit")))
}

prop_compose! {
    fn any_findings()(
        holds in proptest::collection::vec(Just(finding("hold")), 0..2),
        arm_deg in any_limit(0.0..190.0),
        load_kg in any_limit(0.0..6.0),
        avoid in proptest::sample::subsequence(TAGS.to_vec(), 0..=TAGS.len()),
        highest in proptest::option::of(0..=HIGHEST_LEVEL),
    ) -> Findings {
        Findings {
            holds,
            arm_deg,
            load_kg,
            avoid: avoid.into_iter().map(|tag| (tag.to_owned(), vec![finding(tag)])).collect(),
            highest_level: highest.map(highest_level),
            ..Findings::default()
        }
    }
}

fn any_pace() -> impl Strategy<Value = Pace> {
    proptest::sample::select(vec![Pace::Begin, Pace::Forward, Pace::Stay, Pace::Back])
}

fn any_shortfalls() -> impl Strategy<Value = Vec<Shortfall>> {
    proptest::sample::subsequence(Aim::ALL.to_vec(), 0..=Aim::ALL.len())
        .prop_map(|aims| aims.into_iter().map(shortfall).collect())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn nothing_on_the_sheet_goes_beyond_the_findings(
        findings in any_findings(),
        shortfalls in any_shortfalls(),
        pace in any_pace(),
        previous in proptest::option::of(0u8..6),
    ) {
        let programme = propose(Catalogue::built_in(), &findings, &shortfalls, pace, previous);
        assert_allowed(&programme, &findings);
        // Whatever is forbidden, breathing is left.
        if findings.holds.is_empty() {
            prop_assert_eq!(&programme.exercises[0].exercise.id, "breathing");
        }
    }
}

#[test]
fn a_limit_that_is_no_number_allows_no_raised_arm() {
    let findings = Findings {
        arm_deg: limit(f64::NAN),
        ..Findings::default()
    };
    assert!(proposed(&findings, 3).exercises.is_empty());
}

#[test]
fn what_is_left_out_says_why() {
    let findings = Findings {
        arm_deg: limit(80.0),
        load_kg: limit(1.0),
        avoid: BTreeMap::from([("standing".to_owned(), vec![finding("falls")])]),
        ..Findings::default()
    };
    let programme = proposed(&findings, 2);
    let because = |id: &str| {
        let one = programme.left_out.iter().find(|one| one.id == id);
        one.unwrap_or_else(|| panic!("{id} is not left out"))
            .because
            .as_str()
    };
    assert_eq!(
        because("stick_lift_lying"),
        "it needs a limit of 90° or more, this one is 80°"
    );
    assert_eq!(
        because("band_row"),
        "it loads the arm with 2 kg, the limit is 1 kg"
    );
    assert_eq!(
        because("stand_tall"),
        "standing is to be avoided: falls says so."
    );
    assert_eq!(because("weight_lift"), "level 3, this plan is of level 2");
}

#[test]
fn a_harder_form_is_on_the_sheet_only_where_it_is_allowed() {
    let harder = |findings: &Findings, id: &str| {
        let programme = proposed(findings, 0);
        let one = programme.exercises.iter().find(|one| one.exercise.id == id);
        one.unwrap_or_else(|| panic!("{id} is not proposed"))
            .harder
            .is_some()
    };
    assert!(harder(&Findings::default(), "sit_tall"));
    let no_standing = Findings {
        avoid: BTreeMap::from([("standing".to_owned(), vec![finding("falls")])]),
        ..Findings::default()
    };
    assert!(!harder(&no_standing, "sit_tall"));

    let slide = |degrees: f64| {
        let findings = Findings {
            arm_deg: limit(degrees),
            ..Findings::default()
        };
        // Those that go higher are chosen before it.
        let few = without(&["clasped_lift", "stick_lift_lying"]);
        let programme = propose(&few, &findings, &all_shortfalls(), Pace::Stay, Some(1));
        let one = programme
            .exercises
            .into_iter()
            .find(|one| one.exercise.id == "table_slide");
        one.map(|one| (one.top_deg, one.harder.is_some()))
    };
    // Nothing tells the person where 70° or 130° is: ten degrees are left.
    assert_eq!(slide(79.0), None);
    assert_eq!(slide(80.0), Some((70.0, false)));
    assert_eq!(slide(139.0), Some((70.0, false)));
    assert_eq!(slide(140.0), Some((70.0, true)));
}

#[test]
fn the_level_follows_pace_and_findings() {
    let level = |findings: &Findings, pace, previous| {
        propose(Catalogue::built_in(), findings, &[], pace, previous).level
    };
    let free = Findings::default();
    assert_eq!(level(&free, Pace::Begin, None), 1);
    assert_eq!(level(&free, Pace::Back, None), 0);
    assert_eq!(level(&free, Pace::Forward, Some(1)), 2);
    assert_eq!(level(&free, Pace::Forward, Some(3)), 3);
    assert_eq!(level(&free, Pace::Stay, Some(2)), 2);
    assert_eq!(level(&free, Pace::Back, Some(2)), 1);
    assert_eq!(level(&free, Pace::Back, Some(0)), 0);
    let early = Findings {
        highest_level: Some(highest_level(0)),
        ..Findings::default()
    };
    assert_eq!(level(&early, Pace::Forward, Some(1)), 0);
}

#[test]
fn exercises_answer_what_falls_short() {
    let programme = propose(
        Catalogue::built_in(),
        &Findings::default(),
        &[shortfall(Aim::Abduction), shortfall(Aim::HeadForward)],
        Pace::Stay,
        Some(1),
    );
    let chosen: Vec<(&str, &str)> = programme
        .exercises
        .iter()
        .map(|one| (one.exercise.id.as_str(), one.because.as_str()))
        .collect();
    assert_eq!(
        chosen[..3],
        [
            ("breathing", "with every plan"),
            ("chin_tuck", "head_forward falls short"),
            ("stick_side_raise", "abduction falls short"),
        ]
    );
    assert!(chosen.len() <= MOST_EXERCISES);
}

/// The built-in exercises but for some.
fn without(ids: &[&str]) -> Catalogue {
    let mut blocks = Catalogue::BUILT_IN.split("[[exercise]]");
    let head = blocks.next().expect("a head").to_owned();
    let is_kept = |block: &&str| {
        !ids.iter()
            .any(|id| block.contains(&format!("id = \"{id}\"")))
    };
    let text = blocks
        .filter(is_kept)
        .fold(head, |text, block| text + "[[exercise]]" + block);
    Catalogue::from_toml(&text).expect("fewer exercises")
}

#[test]
fn with_cords_slow_reach_sideways_comes_first_and_nothing_is_held() {
    for (day, level) in [(6, 0), (30, 1), (60, 2)] {
        let findings = Rules::built_in().findings(&answered(day, &[("cording", "yes")]), TODAY);
        let programme = proposed(&findings, level);
        let [breathing, first, ..] = &programme.exercises[..] else {
            panic!("two exercises")
        };
        assert_eq!(breathing.exercise.id, "breathing");
        assert_eq!(first.exercise.aims[0], Aim::Abduction, "level {level}");
        assert!(
            first.because.contains("Cords hold abduction back"),
            "{}",
            first.because
        );
        assert_eq!(first.exercise.load_kg, 0.0);
        for one in &programme.exercises {
            assert!(
                !one.exercise.tags.contains("end_stretch"),
                "{}",
                one.exercise.id
            );
        }
        assert_allowed(&programme, &findings);
        assert!(
            programme
                .at_home
                .iter()
                .any(|words| words.contains("do not stay where it pulls"))
        );
        let pushed = programme
            .left_out
            .iter()
            .find(|one| one.id == "stick_side_raise");
        assert!(level == 0 || pushed.expect("left out").because.contains("Cords:"));
    }
}

#[test]
fn every_word_for_home_reaches_the_sheet() {
    let answers = [
        ("wound", "healing"),
        ("drains", "in"),
        ("skin", "irritated"),
    ];
    let findings = Rules::built_in().findings(&answered(20, &answers), TODAY);
    let told = proposed(&findings, 1).at_home;
    for part in [
        "Stop where the scar begins to pull.",
        "while a drain is in",
        "2 kg",
        "sore skin",
    ] {
        assert!(
            told.iter().any(|words| words.contains(part)),
            "{part}: {told:?}"
        );
    }
    // A looser limit would speak against the one that holds.
    let answers = [("reconstruction", "expander"), ("drains", "in")];
    let findings = Rules::built_in().findings(&answered(20, &answers), TODAY);
    let told = proposed(&findings, 1).at_home.join(" ");
    assert!(told.contains("2 kg") && !told.contains("5 kg"), "{told}");
}

#[test]
fn a_mark_that_no_exercise_has_is_told_to_the_clinician() {
    let findings = Findings {
        avoid: BTreeMap::from([("swimming".to_owned(), vec![finding("pool")])]),
        ..Findings::default()
    };
    let notes = proposed(&findings, 0).notes;
    assert_eq!(notes.len(), 1);
    assert!(notes[0].contains("\"swimming\""), "{notes:?}");
}

// ---- from answers to the sheet ----

/// Operated so many days ago, with nothing to say but this.
fn answered(day: i32, answers: &[(&str, &str)]) -> Screening {
    let calm = Rules::built_in().questions().iter().map(|question| {
        let calm = match question.id.as_str() {
            "drains" => "never",
            "surgery" => "mastectomy",
            _ => &question.options[0].id,
        };
        (question.id.clone(), calm.to_owned())
    });
    let told = answers
        .iter()
        .map(|(id, option)| ((*id).to_owned(), (*option).to_owned()));
    Screening {
        date: TODAY,
        surgery: Some(TODAY - day.days()),
        operated: Some(Operated::One(Side::Left)),
        answers: calm.chain(told).collect(),
        arm_deg: None,
        load_kg: None,
        overrides: Vec::new(),
    }
}

/// Answers of every kind: some left open or none, any day of surgery or none, limits that hold or are
/// over, rules taken away; and whether a clinician settled every hold that came of it.
fn any_screening() -> impl Strategy<Value = (Screening, bool)> {
    let rules = Rules::built_in();
    let answers = |answered: f64| {
        let each: Vec<_> = rules
            .questions()
            .iter()
            .map(|question| {
                let options: Vec<String> = question.options.iter().map(|o| o.id.clone()).collect();
                let id = question.id.clone();
                proptest::option::weighted(answered, proptest::sample::select(options))
                    .prop_map(move |option| Some((id.clone(), option?)))
            })
            .collect();
        each
    };
    // As often as not where a limit cuts something.
    let set = || {
        let value = prop_oneof![0.0..200.0, 55.0..130.0];
        (value, proptest::option::of(-20i32..60)).prop_map(|(value, until)| SetLimit {
            value,
            set_on: None,
            until: until.map(|days| TODAY + days.days()),
        })
    };
    let removable: Vec<String> = rules.removable().map(|one| one.rule.clone()).collect();
    (
        prop_oneof![3 => answers(0.9999), 1 => answers(0.85)],
        proptest::option::weighted(0.9, -40i32..500),
        proptest::option::of(set()),
        proptest::option::of(set().prop_map(|limit| SetLimit {
            value: limit.value / 20.0,
            ..limit
        })),
        proptest::sample::subsequence(removable, 0..=4),
        proptest::bool::weighted(0.8),
    )
        .prop_map(|(answers, days, arm_deg, load_kg, taken_away, settled)| {
            let screening = Screening {
                date: TODAY,
                surgery: days.map(|days| TODAY - days.days()),
                operated: Some(Operated::One(Side::Left)),
                answers: answers.into_iter().flatten().collect(),
                arm_deg,
                load_kg,
                overrides: taken_away.into_iter().map(taken_by_clinician).collect(),
            };
            (screening, settled)
        })
}

fn taken_by_clinician(rule: String) -> Override {
    Override {
        rule,
        initials: "MK".to_owned(),
        reason: "asked the surgeon".to_owned(),
    }
}

fn holds_today(limit: Option<SetLimit>) -> Option<f64> {
    let limit = limit?;
    limit
        .until
        .is_none_or(|until| until >= TODAY)
        .then_some(limit.value)
}

#[test]
fn whatever_is_answered_nothing_on_the_sheet_goes_beyond_it() {
    let rules = Rules::built_in();
    let (with_exercises, cut, held) = (Cell::new(0), Cell::new(0), Cell::new(0));
    let config = ProptestConfig {
        cases: 800,
        failure_persistence: None,
        ..ProptestConfig::default()
    };
    let cases = (
        any_screening(),
        any_shortfalls(),
        any_pace(),
        proptest::option::of(0..=HIGHEST_LEVEL),
    );
    TestRunner::new(config)
        .run(
            &cases,
            |((mut screening, settled), shortfalls, pace, previous)| {
                if settled {
                    // Nobody can take these away: they are over, or nothing is proposed.
                    for question in ["legs_or_chest", "flap_change"] {
                        screening
                            .answers
                            .insert(question.to_owned(), "no".to_owned());
                    }
                    for hold in rules.findings(&screening, TODAY).holds {
                        if rules.removable().any(|one| one.rule == hold.rule) {
                            screening.overrides.push(taken_by_clinician(hold.rule));
                        }
                    }
                }
                prop_assert_eq!(rules.check(&screening, TODAY), Ok(()));
                let findings = rules.findings(&screening, TODAY);
                let all = Catalogue::built_in();
                let programme = propose(all, &findings, &shortfalls, pace, previous);
                assert_allowed(&programme, &findings);
                prop_assert!(programme.notes.is_empty(), "{:?}", programme.notes);
                // Straight from the entry, past the rules.
                for one in &programme.exercises {
                    if let Some(arm_deg) = holds_today(screening.arm_deg) {
                        prop_assert!(one.top_deg <= arm_deg, "{}", one.exercise.id);
                        assert_drawn_within(&one.figure(), arm_deg, &one.exercise.id);
                    }
                    if let Some(load_kg) = holds_today(screening.load_kg) {
                        prop_assert!(one.exercise.load_kg <= load_kg, "{}", one.exercise.id);
                    }
                }
                let count = |cell: &Cell<u32>, holds: bool| cell.set(cell.get() + u32::from(holds));
                count(&held, !findings.holds.is_empty());
                count(&with_exercises, !programme.exercises.is_empty());
                count(&cut, programme.exercises.iter().any(Prescribed::is_cut));
                Ok(())
            },
        )
        .expect("no answers lead beyond a limit");
    // The cases are worth something: many come to a sheet, and many of those to a limit.
    let counts = (with_exercises.get(), cut.get(), held.get());
    println!(
        "of 800: {} sheets, {} of them cut, {} held",
        counts.0, counts.1, counts.2
    );
    assert!(
        counts.0 > 200 && counts.1 > 40 && counts.2 > 100,
        "{counts:?}"
    );
}

#[test]
fn rules_and_exercises_speak_of_the_same_marks() {
    let of_rules: Vec<&str> = Rules::built_in()
        .tags()
        .keys()
        .map(String::as_str)
        .collect();
    let mut of_exercises = TAGS.to_vec();
    of_exercises.sort_unstable();
    assert_eq!(of_rules, of_exercises);
}

// ---- approving ----

#[test]
fn nothing_prints_without_initials() {
    let programme = proposed(&Findings::default(), 0);
    for initials in ["", "  ", "123", "-", "far too long"] {
        assert_eq!(
            Approved::by(programme.clone(), initials, TODAY),
            Err(NotApproved::NoInitials),
            "{initials:?}"
        );
    }
    let approved = Approved::by(programme.clone(), " MK ", TODAY).expect("approved");
    assert_eq!((approved.initials(), approved.on()), ("MK", TODAY));
    assert_eq!(approved.what(), &programme);
    let empty = Programme {
        exercises: Vec::new(),
        ..programme
    };
    assert_eq!(Approved::by(empty, "MK", TODAY), Err(NotApproved::Empty));
}

// ---- the sheet ----

#[test]
fn the_sheet_needs_nothing_from_outside_and_runs_nothing() {
    let html = whole_catalogue_sheet(Some(120.0));
    let lower = html.to_lowercase();
    for forbidden in [
        "<script",
        "javascript:",
        "http:",
        "https:",
        "url(",
        "@import",
        "<link",
        "<img",
        "<iframe",
        " src=",
        " href=",
        " onload",
        " onclick",
        "//cdn",
    ] {
        assert!(!lower.contains(forbidden), "{forbidden}");
    }
    assert!(html.starts_with("<!DOCTYPE html>"));
}

#[test]
fn text_is_escaped() {
    let mut programme = proposed(&Findings::default(), 0);
    programme.at_home = vec!["<b>&".to_owned()];
    programme.exercises[0].exercise.name = "\"><script>x".to_owned();
    let approved = Approved::by(programme, "<i>M", TODAY).expect("approved");
    let html = home_sheet_html(&HomeSheet {
        code: "</style><script>",
        day: TODAY,
        programme: &approved,
        operated: None,
        program: "tragus",
    });
    for raw in ["<script", "<b>&", "<i>M", "</style><s"] {
        assert!(!html.contains(raw), "{raw}");
    }
    assert!(html.contains("&lt;b&gt;&amp;") && html.contains("&lt;i&gt;M"));
}

#[test]
fn the_sheet_says_first_whose_it_is_and_when_to_stop() {
    let html = whole_catalogue_sheet(Some(90.0));
    let at = |words: &str| {
        html.find(words)
            .unwrap_or_else(|| panic!("{words} is missing"))
    };
    let order = [
        "P-07",
        "10 March 2026",
        "Approved by",
        "Next visit",
        "This sheet is from your therapist",
        "comes first",
        "Stop at once if",
        "sharp pain",
        "pinches",
        "dizzy",
        "new swelling",
        "How far you may go",
        "is your left arm",
        "Calm breathing",
        "As the days go by",
        "Your diary",
    ];
    let places: Vec<usize> = order.iter().map(|words| at(words)).collect();
    assert!(places.is_sorted(), "{places:?}");
    for exercise in every_prescribed(Some(90.0)) {
        assert!(html.contains(&format!(". {}</h2>", exercise.exercise.name)));
    }
}

#[test]
fn a_sheet_says_from_when_and_until_when() {
    let sheet = |screening: &Screening| {
        let findings = Rules::built_in().findings(screening, TODAY);
        let programme = proposed(&findings, 0);
        let approved = Approved::by(programme, "MK", TODAY + 1.day()).expect("approved");
        home_sheet_html(&HomeSheet {
            code: "P-07",
            day: TODAY,
            programme: &approved,
            operated: None,
            program: "tragus",
        })
    };
    let on_day = |day| sheet(&answered(day, &[]));
    let until = |html: &str, last: &str| {
        assert!(
            html.contains(&format!(
                "Use this sheet until {last}. Then ask for a new one."
            )),
            "{last}"
        );
    };
    let two_weeks = on_day(100);
    until(&two_weeks, "24 March 2026");
    assert!(two_weeks.contains("<dt>From</dt><dd>10 March 2026</dd>"));
    assert!(two_weeks.contains("MK, 11 March 2026"));
    assert!(!two_weeks.contains("day of your surgery"));
    // Level 2 begins on day 42.
    until(&on_day(40), "11 March 2026");
    let mut limited = answered(100, &[]);
    limited.arm_deg = Some(SetLimit {
        value: 90.0,
        set_on: None,
        until: Some(date(2026, 3, 17)),
    });
    until(&sheet(&limited), "17 March 2026");
    let before = on_day(-20);
    until(&before, "24 March 2026");
    assert!(before.contains("Stop using this sheet on the day of your surgery."));
    until(&on_day(-4), "13 March 2026");
}

#[test]
fn loads_and_bands_are_told_in_plain_words() {
    let mut programme = proposed(&Findings::default(), 0);
    programme.exercises = every_prescribed(None);
    let of_band = |one: &&Prescribed| one.exercise.id.starts_with("band_");
    let bands = programme.exercises.iter().filter(of_band).count();
    let html = sheet_of(programme.clone(), None);
    assert!(html.contains("Ask before you lift anything heavy."));
    assert_eq!(html.matches("A light band is").count(), bands);
    programme.load_kg = limit(2.0);
    let html = sheet_of(programme, None);
    assert!(html.contains("Lift no more than 2 kg") && !html.contains("anything heavy"));
}

/// What makes somebody stop in one place is nothing to go on with in another.
#[test]
fn the_sheet_does_not_contradict_itself() {
    let html = whole_catalogue_sheet(Some(90.0));
    assert!(html.contains("you feel sharp pain, or the pain grows."));
    for paragraph in html.split("<p>").filter(|one| one.contains("half as much")) {
        let paragraph = paragraph.split("</p>").next().expect("a paragraph");
        assert!(paragraph.contains("it does not hurt more"), "{paragraph}");
    }
    assert!(html.contains("It hurts more, or it still hurts the next morning:</b> Stop all"));
    assert!(!html.contains("two days"));
    // A gentle pull is fine in a muscle; what must not pull at all is skin, scar or cord.
    assert!(html.contains("A gentle pull in a muscle is fine."));
    assert!(html.contains("Stop if sore skin burns or pulls."));
    assert!(!html.contains("your skin burns or pulls") && !html.contains("A gentle pull is fine"));
}

#[test]
fn elbows_have_a_limit_too() {
    let told = |degrees: f64| {
        let mut programme = proposed(&Findings::default(), 0);
        programme.arm_deg = limit(degrees);
        sheet_of(programme, None)
    };
    for (degrees, words) in [
        (40.0, "Keep your arm and your elbow close to your side."),
        (
            55.0,
            "Lift your hands no higher than your hips. Keep your elbows close to your sides.",
        ),
        (
            90.0,
            "Lift neither your hands nor your elbows higher than your shoulders.",
        ),
        (
            100.0,
            "Lift your hands no higher than your chin, and your elbows no higher than your shoulders.",
        ),
    ] {
        assert!(told(degrees).contains(words), "{degrees}");
    }
}

// ---- the sheet of a hold ----

fn holds(answers: &[(&str, &str)]) -> Vec<Finding> {
    Rules::built_in()
        .findings(&answered(20, answers), TODAY)
        .holds
}

fn hold_sheet(holds: &[Finding]) -> String {
    hold_sheet_html(&HoldSheet {
        code: "P-07",
        day: TODAY,
        holds,
        program: "tragus 0.1.0",
    })
}

#[test]
fn a_hold_has_a_sheet_that_says_what_to_do() {
    let html = hold_sheet(&holds(&[("fever", "yes"), ("swelling", "new")]));
    for words in [
        "<h1>Do not exercise for now</h1>",
        "P-07",
        "10 March 2026",
        "Call your surgery or cancer team today. Do not exercise.",
        "Call your surgery team about the swelling.",
        "Call: ",
        "Call for an ambulance",
        "Put away any older sheet.",
        "It is not a diagnosis.",
    ] {
        assert!(html.contains(words), "{words}");
    }
    assert!(!html.contains("<svg") && !html.contains("Your diary"));
    let lower = html.to_lowercase();
    for forbidden in ["<script", "http:", "https:", "url(", "<link", "<img"] {
        assert!(!lower.contains(forbidden), "{forbidden}");
    }
    let large = "<div class=\"large\">";
    assert!(html.contains(large), "two things to do stand large");
    let many = [("fever", "yes"), ("swelling", "new"), ("pain", "rising")];
    assert!(!hold_sheet(&holds(&many)).contains(large));
    // One that waits for an answer says so, once.
    let mut open = answered(20, &[]);
    open.answers.remove("fever");
    open.answers.remove("pain");
    let findings = Rules::built_in().findings(&open, TODAY);
    assert_eq!(findings.holds.len(), 2);
    let html = hold_sheet(&findings.holds);
    assert_eq!(html.matches("has to ask you some more first").count(), 1);
    // A hold without words for home is none to be silent about.
    assert!(hold_sheet(&[finding("hold")]).contains("Call your therapist before"));
    let escaped = Finding {
        at_home: Some("<b>&".to_owned()),
        ..finding("hold")
    };
    assert!(hold_sheet(&[escaped]).contains("&lt;b&gt;&amp;"));
}

#[test]
fn the_sheet_of_a_hold_reads_at_the_age_of_twelve() {
    let every: Vec<(String, String)> = Rules::built_in()
        .questions()
        .iter()
        .flat_map(|question| {
            let of = |option: &tragus::care::Choice| (question.id.clone(), option.id.clone());
            question.options.iter().map(of).collect::<Vec<_>>()
        })
        .collect();
    let each = every.iter().flat_map(|(id, option)| holds(&[(id, option)]));
    let mut all: Vec<Finding> = each.collect();
    all.dedup();
    assert_eq!(all.len(), 9);
    let grade = grade(&prose(&hold_sheet(&all)));
    assert!(grade <= 6.0, "grade {grade:.1}");
}

#[test]
fn a_plan_without_a_visit_says_that_nothing_was_measured() {
    let screening = answered(20, &[]);
    let plan = Plan::of(
        &Makings {
            rules: Rules::built_in(),
            catalogue: Catalogue::built_in(),
            about: &About {
                code: "P-07".to_owned(),
                birth_year: None,
                sex: None,
            },
            screening: &screening,
            visits: &[],
            later_limit: None,
            previous: None,
        },
        TODAY,
    );
    let text = plan_table(&PlanInput {
        plan: &plan,
        rules: Rules::built_in(),
        approved: None,
        program: "tragus",
    });
    assert_eq!(
        text.matches("Not measured: no visit is filed.").count(),
        2,
        "{text}"
    );
    assert!(!text.contains("nothing in the measures"));
}

#[test]
fn nobody_is_told_to_push_on() {
    let html = whole_catalogue_sheet(None).to_lowercase();
    for words in [
        "no pain, no gain",
        "through the pain",
        "as far as you can",
        "as high as you can",
        "push harder",
        "force it",
    ] {
        assert!(!html.contains(words), "{words}");
    }
}

/// The sentences of the sheet's paragraphs and list items; headings and the table would only make
/// the grade look lower.
fn prose(html: &str) -> Vec<String> {
    let mut all = Vec::new();
    for tag in ["p", "li"] {
        for part in html.split(&format!("<{tag}")).skip(1) {
            if !part.starts_with(['>', ' ']) {
                continue;
            }
            let end = part.find(&format!("</{tag}>")).expect("the end of a tag");
            let inside = &part[part.find('>').expect("a tag") + 1..end];
            let mut text = String::new();
            let mut within_tag = false;
            for c in inside.chars() {
                match c {
                    '<' => within_tag = true,
                    '>' => within_tag = false,
                    c if !within_tag => text.push(c),
                    _ => {}
                }
            }
            all.extend(sentences(&text));
        }
    }
    all
}

#[test]
fn the_sheet_reads_at_the_age_of_twelve() {
    let html = whole_catalogue_sheet(Some(90.0));
    let whole = grade(&prose(&html));
    assert!(prose(&html).len() > 150, "{}", prose(&html).len());
    assert!(whole <= 6.0, "the whole sheet: grade {whole:.1}");
    let (mut worst, mut which) = (f64::MIN, "");
    for exercise in Catalogue::built_in().exercises() {
        let grade = grade(&sentences(&words_of(exercise)));
        assert!(grade <= 7.0, "{}: grade {grade:.1}", exercise.id);
        if grade > worst {
            (worst, which) = (grade, &exercise.id);
        }
    }
    println!("the whole: {whole:.2}; the hardest exercise: {which}, {worst:.2}");
}

fn words_of(exercise: &Exercise) -> String {
    let harder = exercise.harder.as_ref().map_or("", |harder| &harder.words);
    [
        exercise.purpose.as_str(),
        &exercise.start,
        &exercise.steps.join(" "),
        &exercise.feel,
        &exercise.stop,
        &exercise.easier.words,
        harder,
    ]
    .join(" ")
}

// ---- the file of exercises ----

/// The built-in file with one text put for another.
fn changed(from: &str, to: &str) -> String {
    let text = include_str!("../src/care/exercises.toml");
    assert!(text.contains(from), "{from} is not in the file");
    Catalogue::from_toml(&text.replacen(from, to, 1))
        .expect_err("the file should be refused")
        .to_string()
}

#[test]
fn the_built_in_exercises_are_read() {
    let exercises = Catalogue::built_in().exercises();
    assert!((18..=26).contains(&exercises.len()), "{}", exercises.len());
    for aim in Aim::ALL {
        assert!(
            exercises.iter().any(|one| one.aims.contains(&aim)),
            "{aim:?}"
        );
    }
    // Each movement has something in the first days, whatever was operated.
    for aim in [
        Aim::Flexion,
        Aim::Abduction,
        Aim::ElbowExtension,
        Aim::HeadForward,
    ] {
        assert!(
            exercises
                .iter()
                .any(|one| one.level == 0 && one.aims.contains(&aim) && one.arm_deg <= 90.0),
            "{aim:?}"
        );
    }
}

#[test]
fn a_broken_file_of_exercises_is_refused_with_words_that_help() {
    for (from, to, expected) in [
        (
            "level = 0\n",
            "level = 7\n",
            "exercise breathing: level 7 is not 0 to 3",
        ),
        (
            "aims = [\"breathing\"]",
            "aims = [\"joy\"]",
            "exercise breathing: there is no aim joy",
        ),
        (
            "aims = [\"breathing\"]",
            "aims = []",
            "exercise breathing: it has no aim",
        ),
        (
            "harder_tags = [\"standing\"]",
            "harder_tags = [\"floating\"]",
            "exercise sit_tall: there is no tag floating",
        ),
        (
            "harder_arm_deg = 130",
            "harder_arm_deg = 60",
            "exercise table_slide: harder_arm_deg 60 is not from its arm_deg 70 to 180",
        ),
        (
            "arm_deg = 90\nfrom_deg = 65\nwatch = \"hands\"\npurpose = \"It keeps",
            "arm_deg = 90\nfrom_deg = 30\nwatch = \"hands\"\npurpose = \"It keeps",
            "exercise supported_lift: from_deg 30 is below 59, the lowest height that has a word",
        ),
        (
            "arm_deg = 120\nfrom_deg = 65\nwatch = \"hands\"",
            "arm_deg = 110\nfrom_deg = 65\nwatch = \"hands\"",
            "exercise clasped_lift: the figure's end has an arm at 120, above its arm_deg 110",
        ),
        (
            "arm_deg = 120\nfrom_deg = 65\nwatch = \"hands\"",
            "arm_deg = 120\nfrom_deg = 65",
            "exercise clasped_lift: without watch nothing tells where a limit cuts it: \
             from_deg must be its arm_deg",
        ),
        (
            "easier_arm_deg = 25",
            "easier_arm_deg = 250",
            "exercise elbow_bend: easier_arm_deg is not 0 to 180",
        ),
        (
            "load_kg = 2\n",
            "load_kg = 0\n",
            "exercise band_row: load_kg 0 and the tag loaded go together",
        ),
        (
            "stop = \"Stop if the scar pulls sharply.\"",
            "stop = \"\"",
            "exercise sit_tall: stop is empty",
        ),
        (
            "tags = [\"standing\"]\narm_deg = 0",
            "arm_deg = 0",
            "exercise stand_tall: the figure stands, and the tag standing is missing",
        ),
        (
            "repeats = 5, most_repeats = 10",
            "repeats = 50, most_repeats = 90",
            "exercise breathing: dose: 50 repeats, most_repeats 90 (20 at most)",
        ),
        (
            "id = \"sit_tall\"",
            "id = \"breathing\"",
            "the exercises as a whole: two are called breathing",
        ),
        (
            "aims = [\"breathing\"]",
            "aims = [\"strength\"]",
            "the exercises as a whole: one for breathing is missing that everybody may do: \
             level 0, arm_deg 0, no tags",
        ),
    ] {
        assert_eq!(changed(from, to), expected);
    }
    let syntax = changed("known = \"common_practice\"", "known = \"hearsay\"");
    assert!(
        syntax.contains("hearsay") && syntax.contains("line"),
        "{syntax}"
    );
    let unknown = changed("feel = \"", "fell = \"");
    assert!(unknown.contains("fell"), "{unknown}");
}

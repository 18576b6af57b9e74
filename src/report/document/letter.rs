//! The letter to whoever referred the person: one page of finished sentences. What the clinician alone
//! can say is left to be filled in, and until a clinician has read it, it says that it is a draft. It is
//! signed by hand.

use jiff::civil::Date;

use crate::body::{Operated, Side};
use crate::care::Movement;
use crate::compare::{Comparison, Row};
use crate::report::number;
use crate::report::plan::PlanInput;
use crate::report::plan::view as plan_view;
use crate::report::view::{self, ARM_LIMIT, ComparisonView, Mark, REASONS_BELOW, StandingView};
use crate::report::words::{calendar_day, capitalised, lower_first};
use crate::visit::Visit;

use super::comparison::holds;
use super::{AtHome, Block, Document, Line, Tone, boxed, list, paragraph};

/// What a letter is written from.
pub struct Letter<'a> {
    pub code: &'a str,
    /// At least one, oldest first.
    pub visits: &'a [Visit],
    pub comparison: &'a Comparison,
    /// Of the day of the letter; `None` where the person was never screened.
    pub plan: Option<&'a PlanInput<'a>>,
    pub at_home: AtHome<'a>,
    /// The letter tells what was known on this day.
    pub date: Date,
    pub today: Date,
    pub to: Option<&'a str>,
    pub from: Option<&'a str>,
    /// Initials of the clinician who has read it.
    pub read_by: Option<&'a str>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// So many questions stand in the letter, and as much about limits; the plan and the comparison have
/// them all.
const NAMED: usize = 3;
/// So many measures a sentence on changes names before it counts.
const MEASURES: usize = 2;

/// Answers of the screening that a referrer looks for, by the question's id.
const TREATMENT: [(&str, &str); 4] = [
    ("surgery", ""),
    ("axilla", "axilla: "),
    ("reconstruction", "reconstruction: "),
    ("radiotherapy", "radiotherapy: "),
];

/// The whole letter.
pub fn letter(letter: &Letter) -> Document {
    let standing = letter.plan.map(|input| StandingView::of(input.plan));
    let view = view::comparison(letter.visits, letter.comparison).standing(standing.as_ref());
    let fact =
        |name: &str, value: Option<&str>| (name.to_owned(), value.unwrap_or_default().to_owned());
    let (date, today) = (calendar_day(letter.date), calendar_day(letter.today));
    let mut blocks = vec![Block::OnePage];
    if letter.read_by.is_none() {
        let draft = "A program wrote this from photos and answers. Read it, complete it and sign it \
                     before it is sent.";
        let draft = vec![paragraph(draft)];
        blocks.push(boxed(
            Tone::Caution,
            "Draft: not yet read by a clinician",
            draft,
        ));
    }
    blocks.extend(holds(&view));
    blocks.push(paragraph(why_seen(letter)));
    blocks.push(paragraph(found(letter)));
    blocks.push(Block::List(changes(letter)));
    blocks.push(limits(letter, &view));
    blocks.extend(questions(letter.plan));
    blocks.push(programme(letter));
    blocks.push(Block::Room("Next step".to_owned()));
    blocks.push(paragraph(CAUTIONS));
    blocks.extend(
        letter
            .read_by
            .map(|initials| paragraph(format!("Read by {initials} on {today}."))),
    );
    blocks.push(Block::Blank("Name, role, signature and day".to_owned()));
    Document {
        title: format!("Physiotherapy letter on case {}", letter.code),
        facts: vec![
            fact("To", letter.to),
            fact("From", letter.from),
            fact(
                if letter.date == letter.today {
                    "Date"
                } else {
                    "As known on"
                },
                Some(&date),
            ),
        ],
        blocks,
        foot: format!("{} {}", letter.code, letter.date),
        at_home: false,
        program: letter.program.to_owned(),
    }
}

const CAUTIONS: &str = "± is the 95 % range of the photos' reading, 1.96 standard errors to each side; a \
    change is called one only where it is larger than its own. Effort and the day's form are not in it. \
    This is not a diagnosis: it describes photos and answers. The surgeon's and the therapist's limits \
    come first; local rules and licensed practice decide. A reach or an exercise ends at sharp pain, \
    pinching, dizziness or new swelling.";

/// The side of the surgery, as the last visit that was told it says.
fn operated(letter: &Letter) -> Option<Operated> {
    let mut told = letter.visits.iter().rev();
    told.find_map(|visit| visit.facts.operated)
}

fn why_seen(letter: &Letter) -> String {
    let operated = operated(letter);
    let side = match operated {
        Some(Operated::One(side)) => format!("surgery on the {side} side"),
        Some(Operated::Both) => "surgery on both sides".to_owned(),
        Some(Operated::Neither) => "no surgery by what was entered".to_owned(),
        None => "surgery on a side that was not entered".to_owned(),
    };
    let screening = letter.plan.map(|input| &input.plan.screening);
    let surgery = match screening.and_then(|screening| screening.surgery) {
        Some(day) => format!(" on {}", calendar_day(day)),
        None => ", on a day that is not known here".to_owned(),
    };
    let treatment = letter.plan.map(treatment).filter(|known| !known.is_empty());
    let treatment = treatment.map_or(String::new(), |known| format!(" ({})", known.join("; ")));
    let seen = match letter.visits {
        [only] => format!("was seen here once, at {}", called(only, 1)),
        [first, .., last] => format!(
            "was seen here at {} visits, from {} to {}",
            letter.visits.len(),
            called(first, 1),
            called(last, letter.visits.len()),
        ),
        [] => "has no visit filed".to_owned(),
    };
    format!(
        "The person with the code {} had {side}{surgery}{treatment}, and {seen}, to follow posture and \
         overhead reach.",
        letter.code
    )
}

/// What the last screening says of the treatment: "mastectomy", "axilla: clearance".
fn treatment(input: &PlanInput) -> Vec<String> {
    let answer = |(id, before): &(&str, &str)| {
        let question = input
            .rules
            .questions()
            .iter()
            .find(|question| question.id == *id)?;
        let choice = question.choice(input.plan.screening.answers.get(*id)?)?;
        Some(format!("{before}{}", lower_first(&choice.words)))
    };
    TREATMENT.iter().filter_map(answer).collect()
}

/// "intake on 10 March 2026"
fn called(visit: &Visit, number: usize) -> String {
    let label = visit.facts.label.clone();
    match visit.facts.date {
        Some(day) => format!(
            "{} on {}",
            label.unwrap_or_else(|| format!("visit {number}")),
            calendar_day(day)
        ),
        None => visit.title(number),
    }
}

/// The reach of both arms, first and last, the operated one first.
fn found(letter: &Letter) -> String {
    let operated = operated(letter);
    let is_operated = |side: Side| operated.is_some_and(|operated| operated.includes(side));
    let mut sides = Side::BOTH;
    sides.sort_by_key(|side| !is_operated(*side));
    let arms = sides.map(|side| arm(letter, side, is_operated(side)));
    arms.join(" ")
}

fn arm(letter: &Letter, side: Side, operated: bool) -> String {
    let mark = if operated { " (operated side)" } else { "" };
    let (mut reached, mut missing) = (Vec::new(), Vec::new());
    for movement in Movement::BOTH {
        let measure = movement.measure();
        let name = match movement {
            Movement::Flexion => "flexion",
            Movement::Abduction => "abduction",
        };
        let rows = letter.comparison.rows.iter();
        let course = rows
            .filter(|row| row.measure == measure && row.side == Some(side))
            .map(|row: &Row| &row.course)
            .next();
        let ends = course.and_then(|course| Some((course.first()?, course.last()?)));
        let value = |reading: &Result<_, String>| match reading {
            Ok(reading) => number::with_error(*reading, measure.unit()),
            Err(_) => "not measured".to_owned(),
        };
        match ends {
            Some((first, last)) if first.is_ok() || last.is_ok() => {
                let values = match letter.visits.len() {
                    1 => value(last),
                    _ => format!(
                        "{} at the first visit and {} at the last",
                        value(first),
                        value(last)
                    ),
                };
                reached.push(format!("in {name} {values}"));
            }
            _ => missing.push(name),
        }
    }
    let mut sentences = Vec::new();
    if !reached.is_empty() {
        sentences.push(format!(
            "The {side} arm{mark} reached {}.",
            reached.join(", and ")
        ));
    }
    if !missing.is_empty() {
        let end = match letter.visits.len() {
            1 => "",
            _ => " at either end of the course",
        };
        sentences.push(capitalised(&format!(
            "{} of the {side} arm{mark} was not measured{end}.",
            missing.join(" and ")
        )));
    }
    sentences.join(" ")
}

/// What changed beyond error, and what can't be told.
fn changes(letter: &Letter) -> Vec<Line> {
    if letter.visits.len() < 2 {
        return vec![Line {
            mark: Some(Mark::Unknown),
            ..Line::led("Change:", "one visit tells none.")
        }];
    }
    let summary = view::summary(letter.visits, letter.comparison, MEASURES);
    let lines = summary.into_iter().map(|line| Line {
        mark: Some(line.mark),
        ..Line::led(
            format!("{}:", line.lead),
            line.text
                .replace(REASONS_BELOW, "; the comparison report has the reasons"),
        )
    });
    lines.collect()
}

fn limits(letter: &Letter, view: &ComparisonView) -> Block {
    let in_force = view.standing.iter().map(|standing| standing.limits.clone());
    let mut words: Vec<String> = in_force.collect();
    let set = view.facts.iter().find(|(name, _)| *name == ARM_LIMIT);
    words.push(match set {
        Some((_, limit)) => format!("At the visits, for the arm: {limit}."),
        None => "None was set for the arm at any visit.".to_owned(),
    });
    let kept = view::limits_kept(letter.visits);
    let more = kept.len().saturating_sub(NAMED);
    words.extend(kept.into_iter().skip(more));
    if more > 0 {
        words.push("The comparison report has what was before.".to_owned());
    }
    Block::Line(Line::led("Limits.", words.join(" ")))
}

/// What the measures give reason to ask.
fn questions(plan: Option<&PlanInput>) -> Vec<Block> {
    let Some(input) = plan else {
        return Vec::new();
    };
    let signals: Vec<String> = input.plan.signals.iter().map(plan_view::asked_of).collect();
    match signals.is_empty() {
        true => vec![Block::Line(Line::led(
            "Questions.",
            "Nothing in the measures raises one.",
        ))],
        false => vec![
            Block::Line(Line::led("Questions that the measures raise:", "")),
            list(first_of(signals)),
        ],
    }
}

fn first_of(mut sentences: Vec<String>) -> Vec<String> {
    let more = sentences.len().saturating_sub(NAMED);
    sentences.truncate(NAMED);
    if more > 0 {
        sentences.push(format!("The plan has {more} more."));
    }
    sentences
}

fn programme(letter: &Letter) -> Block {
    let is_held = |input: &PlanInput| !input.plan.findings.holds.is_empty();
    let words = match (letter.plan, &letter.at_home) {
        (None, _) => {
            "No screening is filed, so there are no limits, questions or exercises to tell of."
                .to_owned()
        }
        (Some(input), at_home) if is_held(input) => {
            let why = at_home.why_not().unwrap_or_default();
            format!("No exercise until what stands on top is settled. {why}")
        }
        (_, AtHome::InForce(PlanInput { plan, approved, .. }, until)) => {
            let exercises = plan.programme.exercises.iter();
            let names: Vec<String> = exercises
                .map(|one| lower_first(&one.exercise.name))
                .collect();
            let by = approved.map_or(String::new(), |by| {
                format!(", approved by {} on {}", by.initials, calendar_day(by.on))
            });
            format!(
                "Level {} of 0 to 3{by}, good until {}: {}.",
                plan.programme.level,
                calendar_day(*until),
                names.join("; ")
            )
        }
        (_, at_home) => at_home.why_not().unwrap_or_default(),
    };
    Block::Line(Line::led("Programme at home.", words.trim_end()))
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;

    use super::*;
    use crate::care::programme::Approved;
    use crate::care::{Rules, SetLimit};
    use crate::compare::compare;
    use crate::report::document::{html, samples};
    use crate::report::plan::Approval;
    use crate::report::samples::{HOSTILE, visits};

    const DAY: Date = jiff::civil::date(2026, 4, 28);

    fn written_with(
        visits: &[Visit],
        plan: Option<&PlanInput>,
        at_home: AtHome,
        read_by: Option<&str>,
    ) -> String {
        let comparison = compare(visits);
        html(&letter(&Letter {
            code: "demo-01",
            visits,
            comparison: &comparison,
            plan,
            at_home,
            date: DAY,
            today: DAY + 1.day(),
            to: Some(HOSTILE),
            from: None,
            read_by,
            program: "tragus 0.0.0",
        }))
        .replace('\u{a0}', " ")
    }

    fn written(visits: &[Visit], plan: Option<&PlanInput>) -> String {
        written_with(visits, plan, AtHome::Nothing, None)
    }

    fn input<'a>(
        plan: &'a crate::care::plan::Plan,
        approved: Option<Approval<'a>>,
    ) -> PlanInput<'a> {
        PlanInput {
            plan,
            rules: Rules::built_in(),
            approved,
            program: "tragus 0.0.0",
        }
    }

    #[test]
    fn it_says_what_was_found_with_its_error_and_what_was_not() {
        let page = written(&visits(), None);
        for words in [
            "The right arm (operated side) reached in flexion 104 ± 7° at the first visit and 141 ± 7° \
             at the last.",
            "Abduction of the right arm (operated side) was not measured at either end of the course.",
            "Flexion and abduction of the left arm was not measured",
            "right shoulder flexion (operated) from 104 ± 7° to 141 ± 7°",
            "the comparison report has the reasons",
            "on a day that is not known here",
        ] {
            assert!(page.contains(words), "{words}: {page}");
        }
        assert!(!page.contains("stand below"));
        let alone = written(&visits()[..1], None);
        assert!(
            alone.contains("reached in flexion 104 ± 7°.")
                && alone.contains("one visit tells none")
        );
    }

    #[test]
    fn it_is_a_draft_until_a_clinician_has_read_it_and_is_signed_by_hand() {
        let to_sign = "Name, role, signature and day";
        let page = written(&visits(), None);
        assert!(page.contains("Draft: not yet read by a clinician") && page.contains(to_sign));
        let page = written_with(&visits(), None, AtHome::Nothing, Some("AB"));
        // Of the day before, and read on the day itself.
        assert!(page.contains("As known on") && page.contains("Read by AB on 29 April 2026."));
        assert!(!page.contains("Draft") && !page.contains("signed by") && page.contains(to_sign));
        assert!(!page.contains("<script") && page.contains("&lt;script&gt;"));
    }

    #[test]
    fn a_reach_past_its_limit_is_told_and_not_praised() {
        let mut visits = visits();
        visits[1].facts.arm_limit_deg = Some(120.0);
        let page = written(&visits, None);
        assert!(
            page.contains("Past the arm limit of 120° at follow-up"),
            "{page}"
        );
        assert!(page.contains("nothing that may be called progress"));
        assert!(!page.contains("stayed below"));
        visits[1].facts.arm_limit_deg = Some(170.0);
        let page = written(&visits, None);
        assert!(page.contains("Every reach measured under a limit stayed below it"));
    }

    #[test]
    fn every_hold_stands_before_all_else_and_no_exercise() {
        let visits = visits();
        let held = [
            ("swelling", "new"),
            ("fever", "yes"),
            ("pain", "rising"),
            ("flap_change", "yes"),
        ];
        let plan = samples::plan(&visits, DAY, &held);
        let holds = &plan.findings.holds;
        assert!(holds.len() > NAMED, "{holds:?}");
        let input = input(&plan, None);
        let over = AtHome::Over {
            plan: DAY - 20.days(),
            until: DAY - 6.days(),
        };
        let page = written_with(&visits, Some(&input), over, None);
        let seen_why = page
            .find("The person with the code")
            .expect("a first sentence");
        for hold in holds {
            let words = crate::report::html::unbroken(&hold.words).replace('\u{a0}', " ");
            let at = page
                .find(&words)
                .unwrap_or_else(|| panic!("{words}: {page}"));
            assert!(at < seen_why, "{words}");
        }
        assert!(page.contains("No exercise until what stands on top is settled."));
        assert!(page.contains("the sheet of 8 April 2026 was good until 22 April 2026."));
        assert!(page.contains("mastectomy; axilla: "), "{page}");
    }

    #[test]
    fn no_limit_is_no_leave_to_go_further() {
        let visits = visits();
        let plan = samples::plan(&visits, DAY, &[]);
        assert_eq!(plan.findings.arm_deg, None);
        let page = written(&visits, Some(&input(&plan, None)));
        for what in ["height", "load"] {
            let words = format!("No limit of {what} for 28 April 2026 was entered or follows from");
            assert!(page.contains(&words), "{page}");
        }
        // Nor is one that is over.
        let mut over = plan.clone();
        over.screening.arm_deg = Some(SetLimit {
            value: 90.0,
            set_on: None,
            until: Some(DAY - 1.day()),
        });
        let page = written(&visits, Some(&input(&over, None)));
        let words =
            "The limit of height, 90°, was set until 27 April 2026, and none is known since";
        assert!(page.contains(words), "{page}");
    }

    #[test]
    fn exercises_are_named_once_they_are_approved() {
        let visits = visits();
        let plan = samples::plan(&visits, DAY, &[]);
        let page = written(&visits, Some(&input(&plan, None)));
        assert!(page.contains("None is approved.") && !page.contains("calm breathing"));
        let approved = Approved::by(plan.programme.clone(), "AB", DAY).expect("approved");
        let approval = Approval {
            initials: approved.initials(),
            on: approved.on(),
        };
        let in_force = AtHome::InForce(input(&plan, Some(approval)), DAY + 14.days());
        let input = input(&plan, None);
        let page = written_with(&visits, Some(&input), in_force, None);
        let words = "approved by AB on 28 April 2026, good until 12 May 2026: calm breathing; ";
        assert!(page.contains(words), "{page}");
        let page = written_with(
            &visits,
            Some(&input),
            AtHome::Outdated(DAY, Some(DAY + 14.days())),
            None,
        );
        assert!(
            page.contains("good until 12 May 2026, was written before") && !page.contains("calm")
        );
    }
}

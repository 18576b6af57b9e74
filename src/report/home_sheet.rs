//! The sheet that a person takes home: a few exercises with drawings, when to stop, how far to go,
//! and a diary. It prints on paper without colour and reads on a phone.
//!
//! The words are for somebody tired and afraid: short sentences, common words, heights of the body
//! instead of degrees. A test holds them to a school grade.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::body::{Operated, Side};
use crate::care::catalogue::{Amount, Dose, Held};
use crate::care::height::{Height, Watch};
use crate::care::programme::{Approved, Prescribed, Programme};
use crate::care::{Limit, LimitBy};

use super::document::{self, Block, Diary, DiaryRow, Document, Line, Tone, boxed, list, paragraph};
use super::figure;
use super::words::calendar_day;

/// How long a sheet is good for, as long as its diary: then somebody looks again.
const DIARY_WEEKS: usize = 2;
const DAYS: usize = 7;

/// What a home sheet is written from.
pub struct HomeSheet<'a> {
    /// Of the case; never a name.
    pub code: &'a str,
    /// The day that the plan is of.
    pub day: Date,
    pub programme: &'a Approved<Programme>,
    pub operated: Option<Operated>,
    /// Name and version of the program.
    pub program: &'a str,
}

/// The sheet as a page.
pub fn home_sheet_html(sheet: &HomeSheet) -> String {
    document::html(&home_sheet(sheet))
}

/// The whole sheet.
pub fn home_sheet(sheet: &HomeSheet) -> Document {
    let approved = sheet.programme;
    let programme = approved.what();
    let mut blocks = vec![
        Block::Framed(Line::led(good_until(sheet), "")),
        not_a_diagnosis(),
        stop_signs(),
        limits(programme),
    ];
    blocks.extend(how_to(sheet));
    let exercises = (1..).zip(&programme.exercises);
    blocks.extend(exercises.map(|(number, one)| exercise(number, one, sheet.operated)));
    blocks.push(Block::NewPage);
    blocks.extend(going_on());
    blocks.extend(diary(programme));
    Document {
        title: "Your exercises at home".to_owned(),
        facts: vec![
            ("For".to_owned(), sheet.code.to_owned()),
            ("From".to_owned(), calendar_day(sheet.day)),
            (
                "Approved by".to_owned(),
                format!("{}, {}", approved.initials(), calendar_day(approved.on())),
            ),
            ("Next visit".to_owned(), String::new()),
        ],
        blocks,
        foot: foot(sheet.code, sheet.day),
        at_home: true,
        program: sheet.program.to_owned(),
    }
}

/// At the foot of every page: whose sheet it is, of which day.
pub(super) fn foot(code: &str, day: Date) -> String {
    format!("{code} {day}")
}

fn good_until(sheet: &HomeSheet) -> String {
    let last = calendar_day(last_day(sheet.day, sheet.programme.what()));
    let mut words = format!("Use this sheet until {last}. Then ask for a new one.");
    if sheet.programme.what().is_before_surgery {
        words += " Stop using this sheet on the day of your surgery.";
    }
    words
}

/// Two weeks on, or earlier where a limit ends or a rule changes what may be done.
pub fn last_day(day: Date, programme: &Programme) -> Date {
    let by_diary = day.saturating_add((DIARY_WEEKS as i64).weeks());
    let by_rules = programme.stays_until;
    by_rules.map_or(by_diary, |last| last.min(by_diary))
}

pub(super) fn not_a_diagnosis() -> Block {
    paragraph(
        "This sheet is from your therapist. It is not a diagnosis. What your surgeon and your \
         therapist say comes first.",
    )
}

fn stop_signs() -> Block {
    let signs = [
        "you feel sharp pain, or the pain grows.",
        "your shoulder pinches.",
        "you feel dizzy or faint.",
        "you see new swelling in your arm, hand or chest.",
        "the wound opens, bleeds or leaks.",
    ];
    boxed(
        Tone::Stop,
        "Stop at once if",
        vec![
            list(signs),
            Block::Line(Line::led(
                "Then:",
                "Lower your arm slowly. Sit down. Do no more today.",
            )),
            Block::Blank("Call your therapist or your clinic".to_owned()),
            same_day(),
            ambulance(),
        ],
    )
}

pub(super) fn same_day() -> Block {
    Block::Line(Line::led(
        "Call the same day",
        "if you have a fever (38 °C or more), if the skin gets red or hot, or if your breast or flap \
         feels tight or looks a new colour.",
    ))
}

pub(super) fn ambulance() -> Block {
    Block::Line(Line::led(
        "Call for an ambulance",
        "if you can't get your breath, if your chest hurts, or if a leg or an arm swells fast.",
    ))
}

fn limits(programme: &Programme) -> Block {
    let mut blocks = vec![
        match &programme.arm_deg {
            Some(limit) => Block::Line(Line::led(arm_limit(limit), until(limit))),
            None => paragraph(
                "No limit of height is written here for your arm. Each exercise has its own stop line. Go \
                 no further than to a gentle pull in a muscle.",
            ),
        },
        match &programme.load_kg {
            Some(limit) => Block::Line(Line::led(load_limit(limit), until(limit))),
            None => paragraph("Ask before you lift anything heavy."),
        },
    ];
    if !programme.at_home.is_empty() {
        blocks.push(list(&programme.at_home));
    }
    boxed(Tone::Caution, "How far you may go", blocks)
}

fn arm_limit(limit: &Limit) -> String {
    let height = |watch| Height::within(limit.value, watch);
    match (height(Watch::Hands), height(Watch::Elbows)) {
        (Some(hands), Some(elbows)) if hands == elbows => format!(
            "Lift neither your hands nor your elbows higher than {}.",
            hands.of_body()
        ),
        (Some(hands), Some(elbows)) => format!(
            "Lift your hands no higher than {}, and your elbows no higher than {}.",
            hands.of_body(),
            elbows.of_body()
        ),
        (Some(hands), None) => format!(
            "Lift your hands no higher than {}. Keep your elbows close to your sides.",
            hands.of_body()
        ),
        (None, _) => {
            "Keep your arm and your elbow close to your side. Do not lift your hand as high \
                      as your hips."
                .to_owned()
        }
    }
}

fn load_limit(limit: &Limit) -> String {
    if limit.value > 0.0 {
        format!(
            "Lift no more than {} kg with your arm. A full one-litre bottle weighs about 1 kg.",
            limit.value
        )
    } else {
        "Lift and carry nothing with your arm.".to_owned()
    }
}

fn until(limit: &Limit) -> String {
    let by = match limit.by {
        LimitBy::Set { .. } => "Your surgeon or therapist set this.",
        LimitBy::Rules(_) => "This keeps you safe while you heal.",
    };
    match limit.until {
        Some(last) => format!(
            "{by} It holds until {}. Ask before you go further.",
            calendar_day(last)
        ),
        None => format!("{by} It holds until your therapist tells you."),
    }
}

fn how_to(sheet: &HomeSheet) -> [Block; 3] {
    let arm = match sheet.operated {
        Some(Operated::One(side)) => {
            format!("“Your arm” on this sheet is your {side} arm, the side of your surgery. ")
        }
        Some(Operated::Both) => {
            "You had surgery on both sides. Where the sheet says “your arm”, do \
                                 it with one arm, then with the other. "
                .to_owned()
        }
        Some(Operated::Neither) | None => String::new(),
    };
    [
        Block::Heading("How to do them".to_owned()),
        paragraph(format!(
            "{arm}Go slowly and keep breathing. A gentle pull in a muscle is fine. Pain is not. \
             Rest when you are tired."
        )),
        paragraph(
            "In the pictures, the light body is the start and the dark lines are the end. The arrow \
             shows the way.",
        ),
    ]
}

fn exercise(number: usize, prescribed: &Prescribed, operated: Option<Operated>) -> Block {
    let exercise = &prescribed.exercise;
    let side = match operated {
        Some(Operated::One(side)) => side,
        // A drawing needs one to begin with.
        Some(Operated::Both | Operated::Neither) | None => Side::Right,
    };
    let described = format!("Drawing of {}: start and end", exercise.name);
    let led = |lead: &str, text: &str| Block::Line(Line::led(lead, text));
    let mut told = vec![
        Block::Heading(numbered(number, prescribed)),
        paragraph(&exercise.purpose),
        led("Start:", &exercise.start),
        Block::Steps(exercise.steps.clone()),
    ];
    if let Some(line) = prescribed.stop_line() {
        let words = format!("Stop when {line}. No higher.");
        told.push(Block::Framed(Line::led("Your stop line:", words)));
    }
    if exercise.figure.holds.is_some_and(Held::is_band) {
        told.push(paragraph(LIGHT_BAND));
    }
    told.push(led("How much:", &how_much(&prescribed.dose)));
    told.push(led("What you feel:", &exercise.feel));
    told.push(led(&exercise.stop, ""));
    let forms = [
        ("Too hard?", &prescribed.easier),
        ("Too easy?", &prescribed.harder),
    ];
    told.extend(
        forms
            .into_iter()
            .filter_map(|(lead, words)| Some(led(lead, words.as_ref()?))),
    );
    Block::Beside(
        figure::picture(&prescribed.figure(), side, &described),
        told,
    )
}

/// As it is called in the diary too.
fn numbered(number: usize, prescribed: &Prescribed) -> String {
    format!("{number}. {}", prescribed.exercise.name)
}

/// Common practice; the effort is that of PROSPER (Bruce 2021, BMJ 375:e066542: 5–6 of 10; read).
const LIGHT_BAND: &str = "A light band is easy to pull to twice its length, 10 times in a row. Makers \
    use their own colours, so ask which one is light.";

fn how_much(dose: &Dose) -> String {
    let when = match (dose.times_a_day, dose.days_a_week) {
        (1, 7) => "once a day".to_owned(),
        (2, 7) => "twice a day".to_owned(),
        (times, 7) => format!("{times} times a day"),
        (1, days) => format!("on {days} days a week"),
        (times, days) => format!("{times} times a day, on {days} days a week"),
    };
    match dose.amount {
        Amount::Repeats {
            repeats,
            most,
            hold_s,
            most_sets,
        } => {
            let mut words = format!("{repeats} times, {when}.");
            if hold_s > 0 {
                words.push_str(&format!(" Hold each for {hold_s} seconds."));
            }
            if most > repeats {
                words.push_str(&format!(
                    " When that is easy, add one at a time, up to {most}."
                ));
            }
            if most_sets > 1 {
                words.push_str(&format!(
                    " Then rest and do them again, up to {most_sets} rounds."
                ));
            }
            words
        }
        Amount::Minutes { minutes, most } if most > minutes => format!(
            "{minutes} minutes, {when}. When that is easy, add one minute at a time, up to {most}."
        ),
        Amount::Minutes { minutes, .. } => format!("{minutes} minutes, {when}."),
    }
}

fn going_on() -> Vec<Block> {
    let days = [
        (
            "It gets easier:",
            "Good. Add a few more, as it says at each one. Do not lift higher than your limit, even if \
             you could. Tell your therapist at the next visit.",
        ),
        (
            "It stays the same:",
            "Keep going. Healing takes weeks, and some days are slow.",
        ),
        (
            "It feels harder, but it does not hurt more:",
            "You may just be tired. Do half as much, the easy way.",
        ),
        (
            "It hurts more, or it still hurts the next morning:",
            "Stop all of them and call your therapist.",
        ),
        (
            "You missed a day:",
            "That is fine. Go on the next day. Do not do twice as much.",
        ),
    ];
    let heading = Block::Heading("As the days go by".to_owned());
    let days = days.map(|(day, words)| Block::Line(Line::led(day, words)));
    [heading].into_iter().chain(days).collect()
}

fn diary(programme: &Programme) -> Vec<Block> {
    let mut blocks = vec![
        Block::Heading("Your diary".to_owned()),
        paragraph(
            "Tick a box each time. Give your pain a number from 0 (none) to 10 (the worst). Bring this \
             page to your next visit.",
        ),
    ];
    blocks.extend((0..DIARY_WEEKS).map(|week| {
        let exercises = (1..).zip(&programme.exercises);
        let ticked = exercises.map(|(number, prescribed)| DiaryRow {
            name: numbered(number, prescribed),
            boxes: prescribed.dose.times_a_day,
        });
        let written = ["Pain, 0 to 10", "A stop sign?"].map(|name| DiaryRow {
            name: name.to_owned(),
            boxes: 0,
        });
        Block::Diary(Diary {
            title: format!("Week {}, from", week + 1),
            days: (1..=DAYS)
                .map(|day| (week * DAYS + day).to_string())
                .collect(),
            rows: ticked.chain(written).collect(),
        })
    }));
    blocks
}

//! The sheet that a person takes home: a few exercises with drawings, when to stop, how far to go,
//! and a diary. One HTML file, no script, nothing fetched; it prints on A4 without colour and reads
//! on a phone.
//!
//! The words are for somebody tired and afraid: short sentences, common words, heights of the body
//! instead of degrees. A test holds them to a school grade.

use jiff::ToSpan;
use jiff::civil::Date;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::body::{Operated, Side};
use crate::care::catalogue::{Amount, Dose, Held};
use crate::care::height::{Height, Watch};
use crate::care::programme::{Approved, Prescribed, Programme};
use crate::care::{Limit, LimitBy};

use super::figure;
use super::html::{css_string, page_metas};

pub(super) const STYLE: &str = include_str!("home_sheet.css");

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

/// The whole sheet.
pub fn home_sheet_html(sheet: &HomeSheet) -> String {
    let programme = sheet.programme.what();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                (page_metas(sheet.program))
                title { "Exercises at home: " (sheet.code) }
                style {
                    (PreEscaped(STYLE)) (PreEscaped(figure::STYLE))
                    (PreEscaped(page_footer(sheet.code, sheet.day)))
                }
            }
            body {
                header {
                    h1 { "Your exercises at home" }
                    (whose(sheet))
                }
                main {
                    (stop_signs())
                    (limits(programme))
                    (how_to(sheet))
                    @for (number, prescribed) in (1..).zip(&programme.exercises) {
                        (exercise(number, prescribed, sheet.operated))
                    }
                    (going_on())
                    (diary(programme))
                }
                footer {
                    p { "Written by " (sheet.program) ", approved by " (sheet.programme.initials()) "." }
                }
            }
        }
    };
    page.into_string()
}

/// The foot of every printed page: whose sheet it is, of which day, and which page.
pub(super) fn page_footer(code: &str, day: Date) -> String {
    let words = format!("{code} {day}");
    format!(
        "@page {{ @bottom-left {{ content: {}; font: 9pt sans-serif; }} \
         @bottom-right {{ content: counter(page) \"/\" counter(pages); font: 9pt sans-serif; }} }}",
        css_string(&words)
    )
}

fn whose(sheet: &HomeSheet) -> Markup {
    let approved = sheet.programme;
    html! {
        dl.facts {
            div { dt { "For" } dd { (sheet.code) } }
            div { dt { "From" } dd { (calendar_day(sheet.day)) } }
            div {
                dt { "Approved by" }
                dd { (approved.initials()) ", " (calendar_day(approved.on())) }
            }
            div { dt { "Next visit" } dd.blank {} }
        }
        p.line {
            b { "Use this sheet until " (calendar_day(last_day(sheet))) ". Then ask for a new one." }
            @if approved.what().is_before_surgery {
                b { " Stop using this sheet on the day of your surgery." }
            }
        }
        (not_a_diagnosis())
    }
}

/// Two weeks on, or earlier where a limit ends or a rule changes what may be done.
fn last_day(sheet: &HomeSheet) -> Date {
    let by_diary = sheet.day.saturating_add((DIARY_WEEKS as i64).weeks());
    let by_rules = sheet.programme.what().stays_until;
    by_rules.map_or(by_diary, |last| last.min(by_diary))
}

pub(super) fn not_a_diagnosis() -> Markup {
    html! {
        p {
            "This sheet is from your therapist. It is not a diagnosis. "
            "What your surgeon and your therapist say comes first."
        }
    }
}

/// "10 March 2026"
pub(super) fn calendar_day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

fn stop_signs() -> Markup {
    html! {
        section.stop aria-labelledby="stop" {
            h2 #stop { "Stop at once if" }
            ul {
                li { "you feel sharp pain, or the pain grows." }
                li { "your shoulder pinches." }
                li { "you feel dizzy or faint." }
                li { "you see new swelling in your arm, hand or chest." }
                li { "the wound opens, bleeds or leaks." }
            }
            p {
                b { "Then: " }
                "Lower your arm slowly. Sit down. Do no more today. Call your therapist or your clinic: "
                span.blank {}
            }
            (same_day())
            (ambulance())
        }
    }
}

pub(super) fn same_day() -> Markup {
    html! {
        p {
            b { "Call the same day " }
            "if you have a fever (38 °C or more), if the skin gets red or hot, or if your breast or "
            "flap feels tight or looks a new colour."
        }
    }
}

pub(super) fn ambulance() -> Markup {
    html! {
        p {
            b { "Call for an ambulance " }
            "if you can't get your breath, if your chest hurts, or if a leg or an arm swells fast."
        }
    }
}

fn limits(programme: &Programme) -> Markup {
    html! {
        section.limit aria-labelledby="limit" {
            h2 #limit { "How far you may go" }
            @match &programme.arm_deg {
                Some(limit) => p { b { (arm_limit(limit)) } " " (until(limit)) },
                None => p {
                    "No height is set for your arm. Go no further than to a gentle pull in a muscle."
                }
            }
            @match &programme.load_kg {
                Some(limit) => p { b { (load_limit(limit)) } " " (until(limit)) },
                None => p { "Ask before you lift anything heavy." }
            }
            @if !programme.at_home.is_empty() {
                ul { @for words in &programme.at_home { li { (words) } } }
            }
        }
    }
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

fn how_to(sheet: &HomeSheet) -> Markup {
    let arm = match sheet.operated {
        Some(Operated::One(side)) => Some(format!(
            "“Your arm” on this sheet is your {side} arm, the side of your surgery."
        )),
        Some(Operated::Both) => Some(
            "You had surgery on both sides. Where the sheet says “your arm”, do it with one arm, \
             then with the other."
                .to_owned(),
        ),
        Some(Operated::Neither) | None => None,
    };
    html! {
        section.how aria-labelledby="how" {
            h2 #how { "How to do them" }
            p {
                @if let Some(arm) = arm { (arm) " " }
                "Go slowly and keep breathing. A gentle pull in a muscle is fine. Pain is not. "
                "Rest when you are tired."
            }
            p {
                "In the pictures, the light body is the start and the dark lines are the end. "
                "The arrow shows the way."
            }
        }
    }
}

fn exercise(number: usize, prescribed: &Prescribed, operated: Option<Operated>) -> Markup {
    let exercise = &prescribed.exercise;
    let side = match operated {
        Some(Operated::One(side)) => side,
        // A drawing needs one to begin with.
        Some(Operated::Both | Operated::Neither) | None => Side::Right,
    };
    let described = format!("Drawing of {}: start and end", exercise.name);
    html! {
        section.exercise id=(format!("exercise-{}", exercise.id)) {
            h2 { span.number { (number) } " " (exercise.name) }
            div.drawing { (figure::figure(&prescribed.figure(), side, &described)) }
            div.told {
                p.purpose { (exercise.purpose) }
                p { b { "Start: " } (exercise.start) }
                ol { @for step in &exercise.steps { li { (step) } } }
                @if let Some(line) = prescribed.stop_line() {
                    p.line { b { "Your stop line: " } "Stop when " (line) ". No higher." }
                }
                @if exercise.figure.holds.is_some_and(Held::is_band) { p { (LIGHT_BAND) } }
                p { b { "How much: " } (how_much(&prescribed.dose)) }
                p { b { "What you feel: " } (exercise.feel) }
                p.halt { (exercise.stop) }
                @if let Some(easier) = &prescribed.easier {
                    p { b { "Too hard? " } (easier) }
                }
                @if let Some(harder) = &prescribed.harder {
                    p { b { "Too easy? " } (harder) }
                }
            }
        }
    }
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

fn going_on() -> Markup {
    html! {
        section.going-on aria-labelledby="going-on" {
            h2 #going-on { "As the days go by" }
            p {
                b { "It gets easier: " }
                "Good. Add a few more, as it says at each one. Do not lift higher than your limit, "
                "even if you could. Tell your therapist at the next visit."
            }
            p {
                b { "It stays the same: " }
                "Keep going. Healing takes weeks, and some days are slow."
            }
            p {
                b { "It feels harder, but it does not hurt more: " }
                "You may just be tired. Do half as much, the easy way."
            }
            p {
                b { "It hurts more, or it still hurts the next morning: " }
                "Stop all of them and call your therapist."
            }
            p {
                b { "You missed a day: " }
                "That is fine. Go on the next day. Do not do twice as much."
            }
        }
    }
}

fn diary(programme: &Programme) -> Markup {
    html! {
        section.diary aria-labelledby="diary" {
            h2 #diary { "Your diary" }
            p {
                "Tick a box each time. Give your pain a number from 0 (none) to 10 (the worst). "
                "Bring this page to your next visit."
            }
            @for week in 0..DIARY_WEEKS {
                table {
                    caption { "Week " (week + 1) ", from " span.blank {} }
                    thead {
                        tr {
                            th scope="col" { "Day" }
                            @for of_week in 1..=DAYS { th scope="col" { (week * DAYS + of_week) } }
                        }
                    }
                    tbody {
                        @for (number, prescribed) in (1..).zip(&programme.exercises) {
                            tr {
                                th scope="row" { (number) ". " (prescribed.exercise.name) }
                                @for _ in 0..DAYS { td { (boxes(prescribed.dose.times_a_day)) } }
                            }
                        }
                        tr.pain {
                            th scope="row" { "Pain, 0 to 10" }
                            @for _ in 0..DAYS { td {} }
                        }
                        tr.pain {
                            th scope="row" { "A stop sign?" }
                            @for _ in 0..DAYS { td {} }
                        }
                    }
                }
            }
        }
    }
}

fn boxes(count: u8) -> Markup {
    html! { @for _ in 0..count { span.box {} } }
}

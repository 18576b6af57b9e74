//! Options that say what the photos do not: about the person, and how the photos were taken.

use std::ops::RangeInclusive;

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use tragus::body::{Operated, Side, Task};
use tragus::locate::{Wish, WishedView};
use tragus::visit::{ARM_LIMITS_DEG, BOARD_OFFSETS_CM, STATURES_CM, STICKERS_MM, VisitFacts};

#[derive(Args)]
pub struct PersonArgs {
    /// Body height in cm; it gives the scale for lengths
    #[arg(long, value_name = "CM", value_parser = stature, allow_negative_numbers = true)]
    stature: Option<f64>,
    /// The limit that the surgeon or therapist set for raising the arm, in degrees
    #[arg(long, value_name = "DEG", value_parser = arm_limit, allow_negative_numbers = true)]
    arm_limit: Option<f64>,
    /// The side of the surgery; a limit holds for it, and for both sides when it is not said
    #[arg(long, value_enum, ignore_case = true)]
    operated_side: Option<OperatedArg>,
    /// How much nearer to the camera than the middle of the body the printed board hangs, in cm
    #[arg(long, value_name = "CM", value_parser = board_offset, allow_negative_numbers = true)]
    board_offset: Option<f64>,
    /// Diameter of the stickers that are worn, in mm: then a single one is found too
    #[arg(long, value_name = "MM", value_parser = sticker, allow_negative_numbers = true)]
    sticker_mm: Option<f64>,
    /// Take every photo as seen from here, instead of recognising it
    #[arg(long, value_enum, ignore_case = true)]
    view: Option<ViewArg>,
    /// Take every photo as this, instead of recognising it
    #[arg(long, value_enum, ignore_case = true)]
    task: Option<TaskArg>,
}

#[derive(Clone, Copy, ValueEnum)]
enum ViewArg {
    Side,
    SideLeft,
    SideRight,
    Front,
    Back,
}

#[derive(Clone, Copy, ValueEnum)]
enum TaskArg {
    Stand,
    Reach,
}

#[derive(Clone, Copy, ValueEnum)]
enum OperatedArg {
    Left,
    Right,
    Both,
    None,
}

impl PersonArgs {
    /// Puts what was typed over what is known; the rest stays.
    pub fn settle(&self, facts: &mut VisitFacts) {
        let operated = self.operated_side.map(|side| match side {
            OperatedArg::Left => Operated::One(Side::Left),
            OperatedArg::Right => Operated::One(Side::Right),
            OperatedArg::Both => Operated::Both,
            OperatedArg::None => Operated::Neither,
        });
        facts.stature_cm = self.stature.or(facts.stature_cm);
        facts.arm_limit_deg = self.arm_limit.or(facts.arm_limit_deg);
        facts.sticker_mm = self.sticker_mm.or(facts.sticker_mm);
        facts.operated = operated.or(facts.operated);
        facts.board_offset_cm = self.board_offset.or(facts.board_offset_cm);
    }

    pub fn wish(&self) -> Wish {
        Wish {
            view: self.view.map(|view| match view {
                ViewArg::Side => WishedView::Side(None),
                ViewArg::SideLeft => WishedView::Side(Some(Side::Left)),
                ViewArg::SideRight => WishedView::Side(Some(Side::Right)),
                ViewArg::Front => WishedView::Front,
                ViewArg::Back => WishedView::Back,
            }),
            task: self.task.map(|task| match task {
                TaskArg::Stand => Task::Stand,
                TaskArg::Reach => Task::Reach,
            }),
        }
    }
}

fn stature(text: &str) -> Result<f64, String> {
    within(text, &STATURES_CM, "cm").map_err(|why| match text.replace(',', ".").parse::<f64>() {
        Ok(metres) if STATURES_CM.contains(&(100.0 * metres)) => {
            format!("{why}; in cm this may be {:.0}", 100.0 * metres)
        }
        _ => why,
    })
}

/// A day, as an option of any command has it.
pub fn day(text: &str) -> Result<Date, String> {
    text.parse()
        .map_err(|_| "expected a day as year-month-day, such as 2026-03-10".to_owned())
}

fn arm_limit(text: &str) -> Result<f64, String> {
    within(text, &ARM_LIMITS_DEG, "degrees")
}

fn board_offset(text: &str) -> Result<f64, String> {
    within(text, &BOARD_OFFSETS_CM, "cm")
}

fn sticker(text: &str) -> Result<f64, String> {
    within(text, &STICKERS_MM, "mm")
}

fn within(text: &str, range: &RangeInclusive<f64>, unit: &str) -> Result<f64, String> {
    let value: f64 = text
        .replace(',', ".")
        .parse()
        .map_err(|_| format!("expected a number of {unit}"))?;
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(format!(
            "expected {} to {} {unit}",
            range.start(),
            range.end()
        ))
    }
}

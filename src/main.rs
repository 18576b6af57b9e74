//! The program: hands the command line and the surroundings to [`cli`].

#![forbid(unsafe_code)]

mod cli;

use std::process::ExitCode;
use std::sync::OnceLock;

use jiff::civil::{Date, DateTime};

/// Names the day that is taken for today, to try the program on a case of the past, and in tests.
const TODAY: &str = "TRAGUS_TODAY";

static STANDS_FOR_TODAY: OnceLock<Date> = OnceLock::new();

fn main() -> ExitCode {
    if let Some(day) = std::env::var_os(TODAY) {
        let day = day.to_string_lossy();
        let Ok(day) = day.parse() else {
            return cli::refuse(
                &format!("{TODAY} is no day: {day}"),
                Some("2026-03-10 is one"),
            );
        };
        cli::tell(&format!("{TODAY} is set: {day} is taken for today."));
        STANDS_FOR_TODAY.get_or_init(|| day);
    }
    let surroundings = cli::Surroundings {
        ort_dylib_path: std::env::var_os("ORT_DYLIB_PATH"),
        program_folder: std::env::current_exe()
            .ok()
            .and_then(|program| program.parent().map(std::path::Path::to_owned)),
        data_folder: dirs::data_local_dir(),
        now,
    };
    cli::run(std::env::args_os(), &surroundings)
}

fn now() -> DateTime {
    let now = jiff::ZonedDateTime::now().datetime();
    let day = STANDS_FOR_TODAY.get();
    day.map_or(now, |day| day.to_datetime(now.time()))
}

//! The program: hands the command line and the surroundings to [`cli`].

#![forbid(unsafe_code)]

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    let surroundings = cli::Surroundings {
        ort_dylib_path: std::env::var_os("ORT_DYLIB_PATH"),
        program_folder: std::env::current_exe()
            .ok()
            .and_then(|program| program.parent().map(std::path::Path::to_owned)),
        data_folder: dirs::data_local_dir(),
        now: || jiff::ZonedDateTime::now().datetime(),
    };
    cli::run(std::env::args_os(), &surroundings)
}

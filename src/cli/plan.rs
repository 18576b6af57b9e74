//! `tragus plan`: screening, limits, and a programme for a clinician to approve.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use tragus::body::Operated;
use tragus::care::catalogue::Catalogue;
use tragus::care::{Question, Rules, Screening, SetLimit};
use tragus::case::Case;
use tragus::episode::{self, Filed, Refused};
use tragus::record;
use tragus::report::plan::plan_table;

use super::case::{self, Nets};
use super::{LookArgs, Outcome, Stop, Surroundings, ask, person, print, stop, tell};

const PROGRAM: &str = concat!("tragus ", env!("CARGO_PKG_VERSION"));

#[derive(Args)]
pub struct PlanArgs {
    /// The case's folder
    #[arg(value_name = "CASE", required_unless_present = "built_in")]
    case: Option<PathBuf>,
    /// Answers of the screening (JSON), instead of questions on the terminal; they are kept in the case
    #[arg(long, value_name = "FILE")]
    answers: Option<PathBuf>,
    /// Ask all questions again, also where the case has a screening of this day
    #[arg(long, conflicts_with = "answers")]
    ask: bool,
    /// The day that the plan is for, instead of today
    #[arg(long, value_name = "DATE", value_parser = person::day)]
    date: Option<Date>,
    /// Approve the programme, with these initials, and write the sheet for home
    #[arg(long, value_name = "INITIALS")]
    approve: Option<String>,
    /// Leave out an exercise, by its id; may be given several times
    #[arg(long, value_name = "EXERCISE")]
    without: Vec<String>,
    /// The clinic's own rules (TOML), instead of those built in
    #[arg(long, value_name = "FILE")]
    rules: Option<PathBuf>,
    /// The clinic's own exercises (TOML), instead of those built in
    #[arg(long, value_name = "FILE")]
    exercises: Option<PathBuf>,
    /// Print the answers, the rules or the exercises that are built in, to be edited, and end
    #[arg(long, value_enum, value_name = "WHAT", exclusive = true)]
    built_in: Option<BuiltIn>,
    /// How to print the plan
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    look: LookArgs,
}

#[derive(Clone, Copy, ValueEnum)]
enum BuiltIn {
    /// A screening without answers, with all that may be answered
    Answers,
    Rules,
    Exercises,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

pub fn run(args: &PlanArgs, surroundings: &Surroundings) -> Result<Outcome, Stop> {
    let today = (surroundings.now)().date();
    let day = args.date.unwrap_or(today);
    if day > today {
        return Err(Stop {
            error: anyhow::anyhow!("{day} is still to come"),
            hint: Some(
                "a plan is made for a day that a clinician can answer for: today".to_owned(),
            ),
        });
    }
    if let Some(what) = args.built_in {
        print(&built_in(what, day))?;
        return Ok(Outcome::Complete);
    }
    let path = args.case.as_ref().expect("clap asks for it");
    let case = Case::open(path)?;
    let own_rules = args.rules.as_deref().map(own_rules).transpose()?;
    let rules = own_rules.as_ref().unwrap_or_else(|| Rules::built_in());
    let own_exercises = args.exercises.as_deref().map(own_exercises).transpose()?;
    let catalogue = own_exercises
        .as_ref()
        .unwrap_or_else(|| Catalogue::built_in());
    let chosen = catalogue.without(&args.without).map_err(|error| Stop {
        error: error.into(),
        hint: Some("tragus plan --built-in exercises prints them with their ids".to_owned()),
    })?;
    let screening = screening(args, &case, rules, day)?;
    let mut nets = Nets::new(&args.look, surroundings);
    let visits: Vec<Filed> = case::visits(&case, &mut nets)?
        .into_iter()
        .map(|filed| filed.filed)
        .collect();
    for filed in visits
        .iter()
        .filter(|filed| filed.visit.facts.date.is_none())
    {
        tell(&format!(
            "{} has no date, so the plan does not look at it.",
            filed.visit.title(1)
        ));
    }
    let mut plan = episode::plan(&case, rules, &chosen, &screening, &visits, day)?;
    episode::leave_out(&mut plan, catalogue, &args.without);
    let standing = episode::standing(&case, &plan, rules, PROGRAM)?;
    let approved = match &args.approve {
        None => standing,
        Some(initials) => {
            match episode::approve(&case, &plan, &screening, &visits, initials, today) {
                Ok(approved) => Some(approved),
                Err(refused) => {
                    // A sheet that an earlier plan of the day had is not to be handed out any more.
                    if standing.is_none() {
                        episode::keep(&case, &episode::input(&plan, rules, None, PROGRAM), None)?;
                    }
                    let hint = match refused {
                        Refused::Over(_) => {
                            "screen the person again, and approve the plan of today"
                        }
                        _ => "without --approve the plan says what stands in the way",
                    };
                    return Err(Stop {
                        error: refused.into(),
                        hint: Some(hint.to_owned()),
                    });
                }
            }
        }
    };
    let input = episode::input(&plan, rules, approved.as_ref(), PROGRAM);
    let sheets = episode::keep(&case, &input, approved.as_ref())?;
    tell(&format!("plan: {}", sheets.plan.display()));
    match sheets.home {
        Some(home) => tell(&format!(
            "sheet for home: {}\nto print: {}",
            home.page.display(),
            home.print.display()
        )),
        None if plan.findings.holds.is_empty() => tell(
            "Not approved: no sheet for home is written. Read the plan, then add --approve INITIALS.",
        ),
        None => {}
    }
    if let Some(hold) = sheets.hold {
        tell(&format!(
            "sheet for home, to wait: {}\nto print: {}",
            hold.page.display(),
            hold.print.display()
        ));
    }
    print(&match args.format {
        Format::Table => plan_table(&input),
        Format::Json => episode::json(&input),
    })?;
    Ok(Outcome::of(plan.findings.holds.is_empty()))
}

/// What is built in, as a file to edit.
fn built_in(what: BuiltIn, day: Date) -> String {
    match what {
        BuiltIn::Rules => Rules::BUILT_IN.to_owned(),
        BuiltIn::Exercises => Catalogue::BUILT_IN.to_owned(),
        BuiltIn::Answers => {
            let options = |question: &Question| {
                let ids: Vec<&str> = question
                    .options
                    .iter()
                    .map(|option| option.id.as_str())
                    .collect();
                ids.join(" | ")
            };
            let questions = Rules::built_in().questions();
            record::screening_to_json(&Screening {
                date: day,
                surgery: Some(day),
                operated: Some(Operated::Both),
                answers: questions
                    .iter()
                    .map(|question| (question.id.clone(), options(question)))
                    .collect(),
                arm_deg: Some(SetLimit {
                    value: 90.0,
                    set_on: Some(day),
                    until: Some(day),
                }),
                load_kg: Some(SetLimit {
                    value: 2.0,
                    set_on: Some(day),
                    until: None,
                }),
                overrides: Vec::new(),
            })
        }
    }
}

/// The screening of this day: from a file, asked, or as it was kept.
fn screening(args: &PlanArgs, case: &Case, rules: &Rules, day: Date) -> Result<Screening, Stop> {
    let kept = case.screening_on(day)?;
    let screening = if let Some(path) = &args.answers {
        from_file(path, rules, day)?
    } else if let Some(kept) = kept.clone().filter(|kept| kept.date == day && !args.ask) {
        return checked(kept, rules, day, case.folder());
    } else if std::io::stdin().is_terminal() || args.ask {
        let code = &case.about.code;
        let told = case.limit_told_since(kept.as_ref().map(|kept| kept.date))?;
        let asked = ask::screening(
            rules,
            code,
            ask::Known {
                before: kept.as_ref(),
                told_limit: told,
            },
            day,
            &mut std::io::stdin().lock(),
        )?;
        checked(asked, rules, day, case.folder())?
    } else if let Some(kept) = kept {
        tell(&format!(
            "The last screening is of {}: ask again before anything is handed out.",
            kept.date
        ));
        return checked(kept, rules, day, case.folder());
    } else {
        return Err(stop(
            "this case has no screening",
            case.folder(),
            "run the command on a terminal to be asked, or name a file with --answers; --built-in \
             answers prints one to fill in",
        ));
    };
    let path = episode::keep_screening(case, &screening)?;
    tell(&format!("screening: {}", path.display()));
    Ok(screening)
}

fn from_file(path: &Path, rules: &Rules, day: Date) -> Result<Screening, Stop> {
    let hint = "tragus plan --built-in answers prints all questions with their answers";
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, hint))?;
    let screening = record::screening_from_json(&text).map_err(|error| stop(error, path, hint))?;
    checked(screening, rules, day, path)
}

pub fn checked(
    screening: Screening,
    rules: &Rules,
    day: Date,
    path: &Path,
) -> Result<Screening, Stop> {
    rules.check(&screening, day).map_err(|error| {
        stop(
            error,
            path,
            "tragus plan --built-in answers prints all questions with their answers",
        )
    })?;
    Ok(screening)
}

pub fn own_rules(path: &Path) -> Result<Rules, Stop> {
    let hint = "tragus plan --built-in rules prints the rules that are built in";
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, hint))?;
    Rules::from_toml(&text).map_err(|error| stop(error, path, hint))
}

pub fn own_exercises(path: &Path) -> Result<Catalogue, Stop> {
    let hint = "tragus plan --built-in exercises prints the exercises that are built in";
    let text = std::fs::read_to_string(path).map_err(|error| stop(error, path, hint))?;
    Catalogue::from_toml(&text).map_err(|error| stop(error, path, hint))
}

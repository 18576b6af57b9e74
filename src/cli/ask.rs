//! The screening, asked on a terminal, one question after the other.

use std::fmt::Display;
use std::io::BufRead;
use std::str::FromStr;

use jiff::civil::Date;

use tragus::body::Operated;
use tragus::care::{
    LOAD_KG, Override, Question, Rules, Screening, SetLimit, Unanswered, is_initials,
};
use tragus::visit::ARM_LIMITS_DEG;

use super::{Stop, tell};

/// Asks everything. What was said last time is offered again, but never where an answer can mean that
/// nothing may be done: that is asked anew each time.
pub fn screening(
    rules: &Rules,
    code: &str,
    known: Known,
    today: Date,
    input: &mut dyn BufRead,
) -> Result<Screening, Stop> {
    let before = known.before;
    let mut asking = Asking { input };
    tell(&format!(
        "Screening of {code} on {today}. Type the number of the answer. Enter alone takes the answer \
         in [brackets], or leaves the question open where there is none. Ctrl-C ends without keeping \
         anything.\n"
    ));
    let surgery = asking.of::<Date>(
        "Date of the last operation, or of the one to come, such as 2026-02-17",
        before.and_then(|before| before.surgery),
        |_| Ok(()),
    )?;
    let operated = asking.of::<OperatedName>(
        "Operated side: left, right or both",
        before.and_then(|before| before.operated).map(OperatedName),
        |_| Ok(()),
    )?;
    let mut screening = Screening {
        date: today,
        surgery,
        operated: operated.map(|side| side.0),
        answers: Default::default(),
        arm_deg: None,
        load_kg: None,
        overrides: Vec::new(),
    };
    let questions = rules.questions();
    for (number, question) in questions.iter().enumerate() {
        let known = before.and_then(|before| before.answers.get(&question.id));
        let known = known.filter(|_| question.unanswered != Unanswered::Hold);
        tell(&format!(
            "\n{} of {}. {}",
            number + 1,
            questions.len(),
            question.ask
        ));
        if let Some(answer) = asking.choice(question, known.map(String::as_str))? {
            screening.answers.insert(question.id.clone(), answer);
        }
    }
    tell("\nLimits that the surgeon or therapist set. They go before those of the rules.");
    let still = |limit: Option<SetLimit>| limit.filter(|limit| !limit.is_over_on(today));
    let told = known.told_limit.map(|value| SetLimit {
        value,
        set_on: None,
        until: None,
    });
    let set = still(before.and_then(|before| before.arm_deg));
    screening.arm_deg = asking.limit(
        "The highest that the operated arm may be raised, degrees (90 = shoulder height)",
        SetLimit::lowest(set.into_iter().chain(told)),
        ARM_LIMITS_DEG,
        today,
    )?;
    screening.load_kg = asking.limit(
        "The most that the operated arm may lift, kg",
        still(before.and_then(|before| before.load_kg)),
        LOAD_KG,
        today,
    )?;
    screening.overrides = asking.overrides(rules, &screening, today)?;
    Ok(screening)
}

/// What is known before anything is asked.
pub struct Known<'a> {
    pub before: Option<&'a Screening>,
    /// The lowest limit that visits were told since, degrees.
    pub told_limit: Option<f64>,
}

struct Asking<'a> {
    input: &'a mut dyn BufRead,
}

impl Asking<'_> {
    /// A line without the spaces around it; an end of input is an end of the screening.
    fn line(&mut self) -> Result<String, Stop> {
        let mut line = String::new();
        if self.input.read_line(&mut line)? == 0 {
            return Err(Stop {
                error: anyhow::anyhow!("the screening ended before its last question"),
                hint: Some("nothing was kept; start again".to_owned()),
            });
        }
        Ok(line.trim().to_owned())
    }

    fn of<T: FromStr + Display>(
        &mut self,
        ask: &str,
        known: Option<T>,
        check: impl Fn(&T) -> Result<(), &'static str>,
    ) -> Result<Option<T>, Stop> {
        let offered = known
            .as_ref()
            .map_or(String::new(), |known| format!(" [{known}]"));
        tell(&format!("{ask}{offered}:"));
        loop {
            let line = self.line()?;
            if line.is_empty() {
                return Ok(known);
            }
            match line.parse::<T>().map_err(|_| "that can't be read") {
                Ok(value) => match check(&value) {
                    Ok(()) => return Ok(Some(value)),
                    Err(why) => tell(&format!("{line}: {why}. Once more:")),
                },
                Err(why) => tell(&format!("{line}: {why}. Once more:")),
            }
        }
    }

    fn choice(&mut self, question: &Question, known: Option<&str>) -> Result<Option<String>, Stop> {
        for (number, option) in question.options.iter().enumerate() {
            let mark = if known == Some(&option.id) { "[" } else { " " };
            let end = if known == Some(&option.id) { "]" } else { "" };
            tell(&format!("  {mark}{} {}{end}", number + 1, option.words));
        }
        loop {
            let line = self.line()?;
            if line.is_empty() {
                return Ok(known.map(str::to_owned));
            }
            let chosen = line
                .parse::<usize>()
                .ok()
                .and_then(|number| question.options.get(number.checked_sub(1)?));
            match chosen {
                Some(option) => return Ok(Some(option.id.clone())),
                None => tell(&format!(
                    "{line} is none of them. A number from 1 to {}, or Enter:",
                    question.options.len()
                )),
            }
        }
    }

    /// Rules that the clinician takes away, each with initials and a reason. None is offered again from
    /// last time: whoever takes one away answers for it each time.
    fn overrides(
        &mut self,
        rules: &Rules,
        screening: &Screening,
        today: Date,
    ) -> Result<Vec<Override>, Stop> {
        let findings = rules.findings(screening, today);
        if !findings.holds.is_empty() {
            tell("\nAs it stands no exercise is proposed:");
            for hold in &findings.holds {
                tell(&format!("  {} ({})", hold.words, hold.rule));
            }
        }
        let mut overrides = Vec::new();
        loop {
            tell("\nTake a rule away? Its id, or Enter for none:");
            let rule = self.line()?;
            if rule.is_empty() {
                return Ok(overrides);
            }
            if !rules.removable().any(|finding| finding.rule == rule) {
                tell(&format!("{rule} is no rule that can be taken away."));
                continue;
            }
            tell("  Initials of who answers for it:");
            let initials = self.line()?;
            tell("  The reason, which the plan shows:");
            let reason = self.line()?;
            if !is_initials(&initials) || reason.is_empty() {
                tell("It takes initials and a reason: the rule stays.");
                continue;
            }
            overrides.push(Override {
                rule,
                initials,
                reason,
            });
        }
    }

    fn limit(
        &mut self,
        ask: &str,
        known: Option<SetLimit>,
        range: std::ops::RangeInclusive<f64>,
        today: Date,
    ) -> Result<Option<SetLimit>, Stop> {
        let words = format!("{ask}; a dash where none is set");
        let known_value = known.map(|limit| Answer::Number(limit.value));
        let answer = self.of::<Answer>(&words, known_value, |answer| match answer {
            Answer::None => Ok(()),
            Answer::Number(value) if range.contains(value) => Ok(()),
            Answer::Number(_) => Err("that is outside of what an arm does"),
        })?;
        let Some(Answer::Number(value)) = answer else {
            return Ok(None);
        };
        // The same limit again is the one that was set before.
        let same = known.filter(|limit| limit.value == value);
        let set_on = self.of::<Date>(
            "  Set on",
            same.and_then(|limit| limit.set_on).or(Some(today)),
            |date| (*date <= today).then_some(()).ok_or("it is still to come"),
        )?;
        let until = self.of::<Date>(
            "  Its last day; Enter where nobody said",
            same.and_then(|limit| limit.until),
            |date| (*date >= today).then_some(()).ok_or("it is over"),
        )?;
        Ok(Some(SetLimit {
            value,
            set_on,
            until,
        }))
    }
}

struct OperatedName(Operated);

impl FromStr for OperatedName {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        match Operated::from_name(&text.to_lowercase()) {
            Some(side) if side != Operated::Neither => Ok(OperatedName(side)),
            _ => Err(()),
        }
    }
}

impl Display for OperatedName {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(self.0.name())
    }
}

/// A number, or that there is none.
enum Answer {
    Number(f64),
    None,
}

impl FromStr for Answer {
    type Err = std::num::ParseFloatError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "-" | "–" => Ok(Answer::None),
            number => number.replace(',', ".").parse().map(Answer::Number),
        }
    }
}

impl Display for Answer {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            Answer::Number(value) => write!(f, "{value}"),
            Answer::None => f.write_str("-"),
        }
    }
}

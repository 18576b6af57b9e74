//! Agreement as JSON, for programs: every number in full.

use serde_json::{Map, Value, json};

use crate::agree::{
    Agreement, Bounded, Coverage, Differences, Group, ICC_NAMES, Icc, Interval, Pair, Quantity,
    Reliability, Sem, Undefined,
};

use super::{letter, notes, remarks};

const SCHEMA: &str = "tragus-agreement/1";

/// A statistic without a value is `{"reason": …}` in the place of its number or object.
///
/// - `files[]`: `name` (A, B, …), `file`, `rows`, `without_measure`, `without_value`,
///   `not_in_all`, `states_sigma`, `is_reference`
/// - `complete_rows`: rows with a value in every file; `persons`: whose they are, null when not told
/// - `groups[]`: one per `measure`, `of` (what an asymmetry compares, or null), `unit` and `side`
///   (left, right, both or empty), with `n`, `persons` (null when not told), `unmeasured` and
///   `not_in_all` rows
///   - `differences[]`: one per pair, `second` minus `first`: `bias`, `sd`, `mean_absolute`,
///     `root_mean_square`, `limits` (`lower`, `upper`), `coverage` (null without sigmas)
///   - `mean_squares`, `icc` by form, `sem` by definition, each with its `mdc95`
/// - `remarks`, `notes`: what to be warned of, and how the numbers are made
///
/// An object with `value`, `low` and `high` holds a value and its 95 % interval.
pub fn agreement_json(agreement: &Agreement, files: &[String]) -> Value {
    let raters = agreement.raters.iter().zip(files).enumerate();
    json!({
        "schema": SCHEMA,
        "files": raters.map(|(index, (tally, file))| json!({
            "name": letter(index),
            "file": file,
            "is_reference": agreement.reference && index == 0,
            "rows": tally.rows,
            "without_measure": tally.without_measure,
            "without_value": tally.without_value,
            "not_in_all": tally.not_in_all,
            "states_sigma": tally.states_sigma,
        })).collect::<Vec<_>>(),
        "complete_rows": agreement.complete,
        "persons": agreement.persons,
        "groups": agreement.groups.iter().map(group).collect::<Vec<_>>(),
        "remarks": remarks(agreement),
        "notes": notes(agreement),
    })
}

fn group(group: &Group) -> Value {
    let mut value = json!({
        "measure": group.quantity.id(),
        "of": match &group.quantity {
            Quantity::Known(measure) => measure.of().map(|of| of.id()),
            Quantity::Other { .. } => None,
        },
        "unit": group.quantity.unit(),
        "side": group.sides.name(),
        "n": group.rows.len(),
        "persons": group.persons,
        "unmeasured": group.unmeasured,
        "not_in_all": group.not_in_all,
        "differences": group.pairs.iter().map(pair).collect::<Vec<_>>(),
    });
    let of = |part: fn(&Reliability) -> Value| match &group.reliability {
        Ok(reliability) => part(reliability),
        Err(why) => reason(*why),
    };
    value["mean_squares"] = of(mean_squares);
    value["icc"] = of(correlations);
    value["sem"] = of(errors);
    value
}

fn reason(why: Undefined) -> Value {
    json!({ "reason": why.to_string() })
}

fn pair(pair: &Pair) -> Value {
    let mut value = match pair.differences {
        Ok(differences) => differences_value(differences),
        Err(why) => reason(why),
    };
    value["first"] = json!(letter(pair.first));
    value["second"] = json!(letter(pair.second));
    value["coverage"] = pair.coverage.map_or(Value::Null, coverage);
    value
}

fn differences_value(differences: Differences) -> Value {
    let mut value = json!({
        "n": differences.n,
        "mean_absolute": differences.mean_absolute,
        "root_mean_square": differences.root_mean_square,
    });
    match differences.spread {
        Ok(spread) => {
            value["bias"] = with_interval(differences.mean, spread.bias);
            value["sd"] = json!(spread.sd);
            value["limits"] = json!({
                "lower": bounded(spread.lower_limit),
                "upper": bounded(spread.upper_limit),
            });
        }
        Err(why) => {
            value["bias"] = json!({ "value": differences.mean, "reason": why.to_string() });
            value["sd"] = reason(why);
            value["limits"] = reason(why);
        }
    }
    value
}

fn with_interval(value: f64, interval: Interval) -> Value {
    json!({ "value": value, "low": interval.low, "high": interval.high })
}

fn bounded(bounded: Bounded) -> Value {
    with_interval(bounded.value, bounded.interval)
}

fn coverage(coverage: Coverage) -> Value {
    json!({
        "n": coverage.n,
        "without_sigma": coverage.without_sigma,
        "within_1_sigma": bounded(coverage.within_1),
        "within_1_96_sigma": bounded(coverage.within_1_96),
    })
}

fn mean_squares(reliability: &Reliability) -> Value {
    let squares = &reliability.mean_squares;
    json!({
        "raters_k": squares.k,
        "between_rows": squares.rows,
        "between_raters": squares.raters,
        "error": squares.error,
        "within_rows": squares.within,
        "sd_of_all_values": squares.sd,
    })
}

fn correlations(reliability: &Reliability) -> Value {
    let icc = &reliability.icc;
    let named = ICC_NAMES
        .into_iter()
        .zip(icc.single.iter().chain(&icc.mean));
    let named: Map<String, Value> = named
        .map(|(name, icc)| (name.to_owned(), correlation(icc)))
        .collect();
    Value::Object(named)
}

fn correlation(icc: &Icc) -> Value {
    match icc {
        Ok(icc) => match icc.interval {
            Ok(interval) => with_interval(icc.value, interval),
            Err(why) => json!({ "value": icc.value, "reason": why.to_string() }),
        },
        Err(why) => reason(*why),
    }
}

fn errors(reliability: &Reliability) -> Value {
    let sems = &reliability.sem;
    let by_icc = |form: usize| match sems.by_icc[form] {
        Ok(error) => sem(error),
        Err(why) => reason(why),
    };
    json!({
        "consistency": sem(sems.consistency),
        "agreement": sem(sems.agreement),
        "within_subject": sem(sems.within_subject),
        "by_icc_1_1": by_icc(0),
        "by_icc_2_1": by_icc(1),
        "by_icc_3_1": by_icc(2),
    })
}

fn sem(sem: Sem) -> Value {
    let mut value = match sem.interval {
        Some(interval) => with_interval(sem.value, interval),
        None => json!({ "value": sem.value }),
    };
    value["mdc95"] = json!(sem.mdc95());
    value
}

//! A comparison as JSON, for programs.

use serde_json::{Value, json};

use crate::compare::{Comparison, Row, Verdict};
use crate::measure::{Better, Measure};
use crate::visit::Visit;

const SCHEMA: &str = "tragus-comparison/1";

/// Visits oldest first, and what comparing them gave.
pub fn comparison_json(visits: &[Visit], comparison: &Comparison) -> Value {
    json!({
        "schema": SCHEMA,
        "visits": visits.iter().map(visit).collect::<Vec<_>>(),
        "rows": comparison.rows.iter().map(row).collect::<Vec<_>>(),
        "cautions": comparison.cautions,
    })
}

fn visit(visit: &Visit) -> Value {
    let facts = &visit.facts;
    json!({
        "label": facts.label,
        "date": facts.date.map(|date| date.to_string()),
        "case": facts.case,
        "stature_cm": facts.stature_cm,
        "operated_side": facts.operated.map(|operated| operated.name()),
        "arm_limit_deg": facts.arm_limit_deg,
        "board_offset_cm": facts.board_offset_cm,
        "sticker_mm": facts.sticker_mm,
    })
}

fn row(row: &Row) -> Value {
    let course: Vec<Value> = row
        .course
        .iter()
        .map(|value| match value {
            Ok(estimate) => json!({ "value": estimate.value, "sigma": estimate.sigma }),
            Err(reason) => json!({ "reason": reason }),
        })
        .collect();
    json!({
        "measure": row.measure.id(),
        "of": row.measure.of().map(Measure::id),
        "side": row.side.map_or("", |side| side.name()),
        "unit": row.measure.unit().name(),
        "better": better(row.measure.better()),
        "course": course,
        "change": row.change.map(|change| json!({
            "value": change.amount.value,
            "sigma": change.amount.sigma,
            "mdc95": change.mdc95,
        })),
        "verdict": row.verdict.id(),
        "reason": match &row.verdict {
            Verdict::CannotCompare { reason } => Some(reason),
            _ => None,
        },
        "trend": row.trend.map(|trend| json!({
            "slope": trend.slope.value,
            "sigma": trend.slope.sigma,
            "per": if trend.per_week { "week" } else { "visit" },
        })),
    })
}

const fn better(better: Better) -> &'static str {
    match better {
        Better::Larger => "larger",
        Better::Smaller => "smaller",
        Better::NearerZero => "nearer_zero",
        Better::Neither => "neither",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::compare;
    use crate::report::samples;

    #[test]
    fn rows_carry_course_change_and_verdict_or_a_reason() {
        let visits = samples::visits();
        let json = comparison_json(&visits, &compare(&visits));
        assert_eq!(json["schema"], SCHEMA);
        assert_eq!(json["visits"][1]["date"], "2026-04-28");
        let rows = json["rows"].as_array().unwrap();
        let of = |id: &str| rows.iter().find(|row| row["measure"] == id).unwrap();
        let flexion = of("shoulder_flexion");
        assert_eq!(flexion["course"][0]["value"], 104.0);
        assert_eq!(flexion["change"]["value"], 37.0);
        assert_eq!(flexion["verdict"], "improved");
        assert!(flexion["reason"].is_null());
        let neck = of("craniovertebral_angle");
        assert!(neck["change"].is_null());
        assert_eq!(neck["verdict"], "cannot_compare");
        assert_eq!(neck["course"][0]["reason"], samples::C7_REASON);
        assert_eq!(neck["reason"], samples::C7_REASON);
    }
}

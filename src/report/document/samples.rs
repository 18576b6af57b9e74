//! A plan for the tests of documents.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::body::{Operated, Side};
use crate::care::catalogue::Catalogue;
use crate::care::plan::{Makings, Plan};
use crate::care::{About, Rules, Screening};
use crate::visit::Visit;

/// Sixty days after a mastectomy on the right side, with nothing to say but this.
pub fn plan(visits: &[Visit], day: Date, answers: &[(&str, &str)]) -> Plan {
    let rules = Rules::built_in();
    let calm = rules.questions().iter().map(|question| {
        let calm = match question.id.as_str() {
            "drains" => "never",
            "surgery" => "mastectomy",
            _ => &question.options[0].id,
        };
        (question.id.clone(), calm.to_owned())
    });
    let told = answers
        .iter()
        .map(|(id, option)| ((*id).to_owned(), (*option).to_owned()));
    let screening = Screening {
        date: day,
        surgery: Some(day - 60.days()),
        operated: Some(Operated::One(Side::Right)),
        answers: calm.chain(told).collect(),
        arm_deg: None,
        load_kg: None,
        overrides: Vec::new(),
    };
    let makings = Makings {
        rules,
        catalogue: Catalogue::built_in(),
        about: &About {
            code: "demo-01".to_owned(),
            birth_year: None,
            sex: None,
        },
        screening: &screening,
        visits,
        later_limit: None,
        previous: None,
    };
    Plan::of(&makings, day)
}

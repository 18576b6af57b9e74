//! A clinic's own rules and exercises. Whatever they say, nothing is proposed while a hold stands, and
//! no exercise goes above a limit that was set.

#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use tragus::care::catalogue::Catalogue;
use tragus::care::programme::propose;
use tragus::care::{Pace, Rules, Screening};
use tragus::record::screening_from_json;

static SCREENINGS: LazyLock<Vec<Screening>> = LazyLock::new(|| {
    [
        include_str!("../../../fixtures/demo/screenings/2026-03-10.json"),
        include_str!("../../../fixtures/demo/screenings/2026-04-28.json"),
        include_str!("../../../fixtures/demo/screenings/2026-05-26.json"),
        include_str!("../../../fixtures/demo/screenings/2026-05-27.json"),
    ]
    .map(|text| screening_from_json(text).expect("a screening of the demo"))
    .into()
});

fuzz_target!(|text: &str| {
    if let Ok(rules) = Rules::from_toml(text) {
        hold(&rules, Catalogue::built_in());
    }
    if let Ok(catalogue) = Catalogue::from_toml(text) {
        hold(Rules::built_in(), &catalogue);
    }
});

fn hold(rules: &Rules, catalogue: &Catalogue) {
    for screening in SCREENINGS.iter() {
        let _ = rules.check(screening, screening.date);
        let findings = rules.findings(screening, screening.date);
        for pace in [Pace::Begin, Pace::Forward, Pace::Back] {
            let programme = propose(catalogue, &findings, &[], pace, Some(2));
            assert!(findings.holds.is_empty() || programme.exercises.is_empty());
            let set = screening.arm_deg.filter(|limit| limit.holds_on(screening.date));
            for prescribed in &programme.exercises {
                let top = prescribed.top_deg;
                assert!(set.is_none_or(|limit| top <= limit.value), "raised to {top}°");
                assert!(findings.arm_deg.as_ref().is_none_or(|limit| top <= limit.value));
                let _ = (prescribed.stop_line(), prescribed.figure());
            }
        }
    }
}

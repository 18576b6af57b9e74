//! Texts taken for each file that a case or a visit holds. What is read and written again is read as
//! the same.

#![no_main]

use libfuzzer_sys::fuzz_target;
use tragus::case::checksums::Checksums;
use tragus::record;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        let _ = record::landmarks_from_csv(bytes);
        return;
    };
    if let Ok(visit) = record::visit_from_json(text) {
        let kept = record::visit_to_json(&visit);
        let again = record::visit_from_json(&kept).expect("a record of its own");
        assert_eq!(record::visit_to_json(&again), kept);
    }
    if let Ok(facts) = record::facts_from_json(text) {
        let kept = record::facts_to_json(&facts);
        assert_eq!(record::facts_from_json(&kept).expect("facts of its own"), facts);
    }
    if let Ok(screening) = record::screening_from_json(text) {
        let kept = record::screening_to_json(&screening);
        let again = record::screening_from_json(&kept).expect("a screening of its own");
        assert_eq!(record::screening_to_json(&again), kept);
    }
    if let Ok(about) = record::about_from_json(text) {
        let kept = record::about_to_json(&about);
        record::about_from_json(&kept).expect("a case of its own");
    }
    if let Ok(checksums) = Checksums::parse(text) {
        assert_eq!(Checksums::parse(&checksums.to_text()), Ok(checksums));
    }
    let _ = record::plan_from_json(text);
    for points in [
        record::landmarks_from_json(text),
        record::landmarks_from_csv(bytes),
    ] {
        for point in points.into_iter().flatten().flat_map(|(_, points)| points) {
            assert!(point.at.x.is_finite() && point.at.y.is_finite());
            assert!(point.sigma_px.is_none_or(|sigma| sigma > 0.0 && sigma.is_finite()));
        }
    }
});

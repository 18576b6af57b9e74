use super::*;

const SURGERY: Date = jiff::civil::date(2026, 3, 1);

/// Answers that no rule has anything to say to.
const CALM: [(&str, &str); 20] = [
    ("legs_or_chest", "no"),
    ("fever", "no"),
    ("wound", "healed"),
    ("flap_change", "no"),
    ("swelling", "none"),
    ("pain", "settling"),
    ("spine_pain", "no"),
    ("metastases", "none"),
    ("surgery", "mastectomy"),
    ("axilla", "none"),
    ("reconstruction", "none"),
    ("drains", "never"),
    ("radiotherapy", "none"),
    ("skin", "sound"),
    ("cording", "no"),
    ("winging", "no"),
    ("numbness", "no"),
    ("bone", "normal"),
    ("dizziness", "no"),
    ("falls", "no"),
];

fn on_day(day: i32) -> Date {
    SURGERY + day.days()
}

/// Calm but for some answers, asked and read on one day after the surgery.
fn screening(day: i32, answers: &[(&str, &str)]) -> Screening {
    let pairs = CALM.iter().chain(answers);
    Screening {
        date: on_day(day),
        surgery: Some(SURGERY),
        operated: None,
        answers: pairs
            .map(|(question, option)| ((*question).to_owned(), (*option).to_owned()))
            .collect(),
        arm_deg: None,
        load_kg: None,
        overrides: Vec::new(),
    }
}

fn findings(day: i32, answers: &[(&str, &str)]) -> Findings {
    let screening = screening(day, answers);
    Rules::built_in()
        .check(&screening, on_day(day))
        .expect("a sound screening");
    Rules::built_in().findings(&screening, on_day(day))
}

fn ids(findings: &[Finding]) -> Vec<&str> {
    findings
        .iter()
        .map(|finding| finding.rule.as_str())
        .collect()
}

fn avoided(findings: &Findings) -> Vec<&str> {
    findings.avoid.keys().map(String::as_str).collect()
}

fn level(findings: &Findings) -> Option<(u8, &str)> {
    let highest = findings.highest_level.as_ref();
    highest.map(|highest| (highest.level, highest.by[0].rule.as_str()))
}

fn take_away(rule: &str) -> Override {
    Override {
        rule: rule.to_owned(),
        initials: "AB".to_owned(),
        reason: "agreed with the surgeon".to_owned(),
    }
}

/// Whether a rule applies: taken away, it is listed, even where a stricter one would hide it.
fn applies(rule: &str, mut screening: Screening, day: i32) -> bool {
    screening.overrides = vec![take_away(rule)];
    let findings = Rules::built_in().findings(&screening, on_day(day));
    ids(&findings
        .overridden
        .iter()
        .map(|(finding, _)| finding.clone())
        .collect::<Vec<_>>())
        == [rule]
}

#[test]
fn calm_answers_find_nothing_once_everything_has_healed() {
    let mut nothing = findings(100, &[]);
    nothing.days_since_surgery = None;
    assert_eq!(nothing, Findings::default());
}

#[test]
fn every_question_is_calm_in_the_tests_and_used_by_a_rule() {
    let rules = Rules::built_in();
    let asked: Vec<&str> = rules
        .questions
        .iter()
        .map(|question| question.id.as_str())
        .collect();
    assert_eq!(asked, CALM.map(|(question, _)| question));
    for question in asked {
        assert!(
            rules
                .rules
                .iter()
                .any(|rule| rule.when.contains_key(question)),
            "{question} is asked for nothing"
        );
    }
    for tag in rules.tags.keys() {
        let forbids =
            |rule: &Rule| matches!(&rule.effect, Effect::Avoid(tags) if tags.contains(tag));
        assert!(rules.rules.iter().any(forbids), "nothing forbids {tag}");
    }
}

#[test]
fn each_rule_applies_on_its_answers_and_not_one_option_beside() {
    let rules = Rules::built_in();
    for rule in &rules.rules {
        let id = rule.finding.rule.as_str();
        let day = rule
            .window
            .map_or(100, |window| window.end.expect("an end") - 1);
        let met: Vec<(&str, &str)> = rule
            .when
            .iter()
            .map(|(question, options)| (question.as_str(), options[0].as_str()))
            .collect();
        assert!(applies(id, screening(day, &met), day), "{id}");
        for (name, options) in &rule.when {
            let question = rules.questions.iter().find(|question| question.id == *name);
            for option in &question.expect("checked on reading").options {
                let mut answers = met.clone();
                answers.push((name, &option.id));
                assert_eq!(
                    applies(id, screening(day, &answers), day),
                    options.contains(&option.id),
                    "{id}: {name} = {}",
                    option.id
                );
            }
        }
        if let Some(window) = rule.window {
            assert!(
                !applies(id, screening(day + 1, &met), day + 1),
                "{id} after its last day"
            );
            let early = window.first.max(-1000);
            assert!(
                applies(id, screening(early, &met), early),
                "{id} on its first day"
            );
            if window.first > i32::MIN {
                assert!(
                    !applies(id, screening(early - 1, &met), early - 1),
                    "{id} too early"
                );
            }
        }
    }
}

#[test]
fn what_can_be_dangerous_holds_and_says_whom_to_ask() {
    // The stop list: fever from 38 °C, wound, swelling, rising pain, flap or implant, clot signs from
    // memory and leaflets (read); bone metastases: Campbell 2022 (read); spine: Finucane 2020 (title
    // read, list from memory).
    for (question, option, rule, whom) in [
        ("legs_or_chest", "yes", "emergency", "emergency service"),
        ("fever", "yes", "fever", "surgical team"),
        ("wound", "infected", "wound_infected", "surgical team"),
        ("wound", "open", "wound_open", "surgical team"),
        ("flap_change", "yes", "flap_change", "surgeon"),
        ("swelling", "new", "swelling_new", "surgical team"),
        ("pain", "rising", "pain_rising", "surgical team"),
        (
            "spine_pain",
            "night_or_severe",
            "spine_pain",
            "oncology team",
        ),
        ("metastases", "bone", "bone_metastases", "oncologist"),
    ] {
        let found = findings(100, &[(question, option)]);
        assert_eq!(ids(&found.holds), [rule]);
        assert!(found.holds[0].words.contains(whom), "{rule}");
        assert!(found.holds[0].at_home.is_some(), "{rule}");
    }
    // Whatever day it is; besides them there is the date of surgery that can't be right.
    let holding = Rules::built_in()
        .rules
        .iter()
        .filter(|rule| rule.effect == Effect::Hold && rule.window.is_none());
    assert_eq!(holding.count(), 9);
    let drained = findings(-5, &[("drains", "out")]);
    assert_eq!(ids(&drained.holds), ["surgery_to_come"]);
    assert!(findings(-5, &[("drains", "never")]).holds.is_empty());
}

#[test]
fn arms_stay_at_shoulder_height_as_long_as_the_most_careful_source_says() {
    let arm =
        |day, answers: &[(&str, &str)]| findings(day, answers).arm_deg.map(|limit| limit.value);
    // First week: NHS trust leaflet 2015 (read); PROSPER began on day 7 to 10 (read).
    assert_eq!(
        (arm(0, &[]), arm(9, &[]), arm(10, &[])),
        (Some(90.0), Some(90.0), None)
    );
    // Drains in: the same leaflet (read); no day ends it.
    assert_eq!(arm(60, &[("drains", "in")]), Some(90.0));
    let limit = findings(60, &[("drains", "in")]).arm_deg.expect("a limit");
    assert_eq!(limit.until, None);
    for (reconstruction, last_day) in [
        // Kim 2019 (read): four weeks against two. Implants: taken over from expanders.
        ("expander", 28),
        ("implant", 28),
        ("flap_back_implant", 28),
        // A hospital's DIEP protocol (read): 90° until week 6; UHN (read): two weeks.
        ("flap_abdomen", 42),
        // Cancer Research UK and UHN (read): two weeks, overhead from week 3.
        ("flap_back", 21),
    ] {
        let answers = [("reconstruction", reconstruction)];
        assert_eq!(arm(last_day, &answers), Some(90.0), "{reconstruction}");
        assert_eq!(arm(last_day + 1, &answers), None, "{reconstruction}");
        let until = findings(12, &answers).arm_deg.expect("a limit").until;
        assert_eq!(until, Some(on_day(last_day)), "{reconstruction}");
    }
}

#[test]
fn loads_stay_low_as_long_as_the_most_careful_source_says() {
    let load =
        |day, answers: &[(&str, &str)]| findings(day, answers).load_kg.map(|limit| limit.value);
    // NYU Langone (read): 5 lb = 2.27 kg with drains in, rounded down.
    assert_eq!(load(60, &[("drains", "in")]), Some(2.0));
    for (reconstruction, last_day) in [
        // UHN (read): 5 kg for 4 to 6 weeks after LD flap or expander, until week 12 after DIEP.
        ("expander", 42),
        ("implant", 42),
        ("flap_back", 42),
        ("flap_back_implant", 42),
        ("flap_abdomen", 84),
    ] {
        let answers = [("reconstruction", reconstruction)];
        assert_eq!(load(last_day, &answers), Some(5.0), "{reconstruction}");
        assert_eq!(load(last_day + 1, &answers), None, "{reconstruction}");
        let mut with_drain = answers.to_vec();
        with_drain.push(("drains", "in"));
        assert_eq!(
            load(last_day, &with_drain),
            Some(2.0),
            "the lower of two limits"
        );
    }
}

#[test]
fn levels_begin_on_the_later_of_two_days() {
    // PROSPER (read): day 7 to 10, strength from 4 weeks; a national booklet (read): 6 weeks; no
    // general restriction from week 12 (read).
    for (day, highest) in [
        (0, Some((0, "level_1"))),
        (9, Some((0, "level_1"))),
        (10, Some((1, "level_2"))),
        (41, Some((1, "level_2"))),
        (42, Some((2, "level_3"))),
        (83, Some((2, "level_3"))),
        (84, None),
    ] {
        assert_eq!(level(&findings(day, &[])), highest, "day {day}");
    }
    assert_eq!(
        level(&findings(60, &[("drains", "in")])),
        Some((0, "drains_level"))
    );
    // NYU Langone (read): 4 to 6 weeks after drains that stay 1 to 2 weeks.
    let expander = [("reconstruction", "expander")];
    assert_eq!(
        level(&findings(55, &expander)),
        Some((1, "reconstruction_level"))
    );
    assert_eq!(level(&findings(56, &expander)), Some((2, "level_3")));
    assert_eq!(
        level(&findings(100, &[("wound", "healing")])),
        Some((1, "wound_healing_level"))
    );
}

#[test]
fn before_the_surgery_nothing_has_to_heal() {
    let before = findings(-7, &[("reconstruction", "flap_abdomen")]);
    assert_eq!(
        (before.arm_deg.clone(), before.load_kg.clone()),
        (None, None)
    );
    assert_eq!(level(&before), Some((1, "before_surgery")));
    assert_eq!(before.days_since_surgery, Some(-7));
    assert!(before.cautions.is_empty() && before.avoid.is_empty());
}

#[test]
fn each_answer_forbids_what_it_should() {
    for (question, option, day, expected) in [
        // UHN (read): no chest strengthening in the expansion phase, whatever the day.
        ("reconstruction", "expander", 200, vec!["chest_strength"]),
        // A hospital's protocol (read): no abdominal strengthening for three months.
        (
            "reconstruction",
            "flap_abdomen",
            91,
            vec!["abdominal", "trunk_bend_loaded"],
        ),
        ("reconstruction", "flap_abdomen", 92, vec![]),
        // From memory: no stretch over skin that radiotherapy broke.
        (
            "skin",
            "broken",
            100,
            vec!["lying_prone", "stretch_over_chest"],
        ),
        ("skin", "irritated", 100, vec![]),
        // Giangregorio 2014, 2015; Brooke-Wavell 2022 (read): nothing weighted or end-range in
        // flexion and twist.
        (
            "bone",
            "osteoporosis",
            100,
            vec!["abdominal", "trunk_bend_loaded"],
        ),
        (
            "bone",
            "vertebral_fracture",
            100,
            vec!["abdominal", "loaded", "lying_prone", "trunk_bend_loaded"],
        ),
        // From memory: overhead reach with the neck bent back can provoke dizziness.
        ("dizziness", "yes", 100, vec!["neck_extension", "standing"]),
        (
            "metastases",
            "bone_cleared",
            100,
            vec!["abdominal", "loaded", "trunk_bend_loaded", "weight_on_arm"],
        ),
        ("winging", "yes", 100, vec!["loaded", "weight_on_arm"]),
        (
            "wound",
            "healing",
            100,
            vec!["lying_prone", "weight_on_arm"],
        ),
        ("drains", "in", 100, vec!["lying_prone"]),
        ("cording", "yes", 100, vec!["end_stretch"]),
    ] {
        let found = findings(day, &[(question, option)]);
        assert_eq!(
            avoided(&found),
            expected,
            "{question} {option} on day {day}"
        );
    }
    let early = findings(40, &[("reconstruction", "implant")]);
    assert_eq!(
        avoided(&early),
        [
            "chest_strength",
            "lying_prone",
            "stretch_over_chest",
            "weight_on_arm"
        ]
    );
}

#[test]
fn cautions_say_what_the_person_has_to_know() {
    for (question, option, rule, at_home) in [
        ("numbness", "yes", "numbness", Some("no heat")),
        ("falls", "yes", "falls", Some("close enough to hold")),
        (
            "skin",
            "irritated",
            "skin_irritated",
            Some("burns or pulls"),
        ),
        ("swelling", "known", "swelling_known", Some("sleeve")),
        (
            "axilla",
            "clearance",
            "axilla_clearance",
            Some("heavy or tight"),
        ),
        ("radiotherapy", "planned", "radiotherapy_planned", None),
        (
            "radiotherapy",
            "under_way",
            "radiotherapy_under_way",
            Some("skin"),
        ),
        ("radiotherapy", "finished", "radiotherapy_finished", None),
        ("metastases", "elsewhere", "metastases_elsewhere", None),
        ("surgery", "other", "surgery_other", None),
    ] {
        let found = findings(100, &[(question, option)]);
        assert_eq!(ids(&found.cautions), [rule]);
        let told = found.cautions[0].at_home.as_deref();
        match at_home {
            Some(part) => assert!(told.is_some_and(|words| words.contains(part)), "{rule}"),
            None => assert_eq!(told, None, "{rule}"),
        }
    }
}

#[test]
fn the_limit_that_was_set_wins_in_both_directions() {
    let rules = Rules::built_in();
    let with_drain = screening(20, &[("drains", "in"), ("fever", "yes")]);
    for (value, looser) in [(120.0, true), (60.0, false), (90.0, false)] {
        let set = SetLimit {
            value,
            set_on: Some(on_day(18)),
            until: Some(on_day(20)),
        };
        let set = Screening {
            arm_deg: Some(set),
            ..with_drain.clone()
        };
        let found = rules.findings(&set, on_day(20));
        let expected = Limit {
            value,
            until: Some(on_day(20)),
            by: LimitBy::Set {
                on: Some(on_day(18)),
            },
        };
        assert_eq!(found.arm_deg, Some(expected));
        assert_eq!(found.load_kg.expect("the rule's").value, 2.0);
        assert_eq!(ids(&found.holds), ["fever"], "holds stay");
        assert_eq!(
            level(&rules.findings(&set, on_day(20))),
            Some((0, "drains_level"))
        );
        let told = ids(&found.cautions);
        assert_eq!(told.contains(&"set_limit_higher"), looser, "{told:?}");
        if looser {
            assert!(found.cautions[0].words.contains("120° goes before the 90°"));
        }
        // The day after it is over the rule's holds again, and that is told.
        let over = rules.findings(&set, on_day(21));
        assert_eq!(over.arm_deg.expect("the rule's").value, 90.0);
        assert_eq!(ids(&over.cautions), ["set_limit_over"]);
    }
    let loads = Screening {
        load_kg: Some(SetLimit {
            value: 1.0,
            set_on: None,
            until: None,
        }),
        ..screening(300, &[])
    };
    let found = rules.findings(&loads, on_day(305));
    assert_eq!(found.load_kg.map(|limit| limit.value), Some(1.0));
}

fn at_home(findings: &[Finding]) -> Vec<&str> {
    let told = findings
        .iter()
        .filter_map(|finding| finding.at_home.as_deref());
    told.collect()
}

#[test]
fn of_rules_that_say_the_same_every_word_is_kept() {
    // Both end at level 1 before week 6; the wound's also tells the person where to stop.
    let healing = findings(20, &[("wound", "healing")]);
    let highest = healing.highest_level.expect("a bound");
    assert_eq!(highest.level, 1);
    assert_eq!(ids(&highest.by), ["level_2", "wound_healing_level"]);
    assert_eq!(
        at_home(&highest.by),
        ["Stop where the scar begins to pull."]
    );
    // A stricter one decides and hides nothing.
    let with_drain = findings(20, &[("wound", "healing"), ("drains", "in")]);
    let highest = with_drain.highest_level.expect("a bound");
    assert_eq!(highest.level, 0);
    assert_eq!(highest.by[0].rule, "drains_level");
    assert!(ids(&highest.by).contains(&"wound_healing_level"));
    let lying = &with_drain.avoid["lying_prone"];
    assert_eq!(ids(lying), ["drains_lying", "wound_healing_lying"]);

    let answers = [("reconstruction", "flap_abdomen"), ("drains", "in")];
    let found = findings(5, &answers);
    let arm = found.arm_deg.expect("a limit");
    assert_eq!((arm.value, arm.until), (90.0, None));
    assert_eq!(
        ids(arm.by.rules()),
        ["drains_arm", "first_days_arm", "flap_abdomen_arm"],
        "the drain's holds longest"
    );
    let load = found.load_kg.expect("a limit");
    assert_eq!(load.value, 2.0);
    assert_eq!(ids(load.by.rules()), ["drains_load"]);
    assert_eq!(ids(&found.set_aside), ["flap_abdomen_load"], "5 kg");
    // A limit that was set goes before them: the looser ones are told in a caution, others set aside.
    let mut set = screening(5, &answers);
    let told = |set: &Screening| Rules::built_in().findings(set, on_day(5));
    for (value, aside) in [(60.0, true), (120.0, false)] {
        set.arm_deg = Some(SetLimit {
            value,
            set_on: None,
            until: None,
        });
        let found = told(&set);
        assert_eq!(ids(&found.set_aside).contains(&"drains_arm"), aside);
        let caution = found
            .cautions
            .iter()
            .find(|one| one.rule == "set_limit_higher");
        let words = caution.map(|one| one.words.as_str());
        assert_eq!(
            words.is_some_and(|words| words.contains("Drains in: the elbows")),
            !aside
        );
        assert_eq!(
            words.is_some_and(|words| words.contains("six weeks")),
            !aside
        );
    }
}

#[test]
fn the_next_day_of_the_rules_is_known() {
    let last_day = |day, answers: &[(&str, &str)]| findings(day, answers).stays_until;
    assert_eq!(
        last_day(5, &[]),
        Some(on_day(9)),
        "level 1 begins on day 10"
    );
    assert_eq!(last_day(30, &[]), Some(on_day(41)), "level 2 on day 42");
    let implant = [("reconstruction", "implant")];
    assert_eq!(
        last_day(20, &implant),
        Some(on_day(28)),
        "its arm limit ends"
    );
    assert_eq!(last_day(100, &[]), None);
    assert_eq!(last_day(-5, &[]), Some(on_day(-1)), "the surgery");
    let mut taken = screening(30, &[]);
    taken.overrides = vec![take_away("level_2")];
    let found = Rules::built_in().findings(&taken, on_day(30));
    assert_eq!(found.stays_until, Some(on_day(83)), "level 3 on day 84");
    taken.surgery = None;
    assert_eq!(
        Rules::built_in().findings(&taken, on_day(30)).stays_until,
        None
    );
}

#[test]
fn cords_ask_for_reach_sideways_first() {
    let found = findings(40, &[("cording", "yes")]);
    let first = found
        .first
        .iter()
        .map(|(aim, why)| (*aim, why.rule.as_str()));
    assert_eq!(
        first.collect::<Vec<_>>(),
        [(Aim::Abduction, "cording_sideways")]
    );
    assert!(at_home(&found.avoid["end_stretch"])[0].contains("Never force or snap"));
    // What is only possible puts nothing first.
    let mut open = screening(40, &[]);
    open.answers.remove("cording");
    let found = Rules::built_in().findings(&open, on_day(40));
    assert!(found.first.is_empty() && found.avoid.contains_key("end_stretch"));
}

#[test]
fn a_rule_taken_away_is_listed_and_only_it_is_gone() {
    let rules = Rules::built_in();
    let mut drain = screening(20, &[("drains", "in")]);
    drain.overrides = vec![take_away("drains_arm")];
    assert_eq!(rules.check(&drain, on_day(20)), Ok(()));
    let found = rules.findings(&drain, on_day(20));
    assert_eq!(found.arm_deg, None);
    assert_eq!(level(&found), Some((0, "drains_level")));
    assert_eq!(found.overridden.len(), 1);
    assert_eq!(found.overridden[0].0.rule, "drains_arm");
    assert_eq!(found.overridden[0].1, take_away("drains_arm"));
    // What would not have applied is not listed.
    drain.answers.insert("drains".to_owned(), "out".to_owned());
    assert_eq!(rules.findings(&drain, on_day(20)).overridden, []);
    // It does not touch what the surgeon set.
    let mut set = screening(5, &[]);
    set.arm_deg = Some(SetLimit {
        value: 45.0,
        set_on: None,
        until: None,
    });
    set.overrides = vec![take_away("first_days_arm")];
    let arm = rules.findings(&set, on_day(5)).arm_deg;
    assert_eq!(arm.map(|limit| limit.value), Some(45.0));
    // A level may be let begin earlier, one at a time.
    let mut early = screening(30, &[]);
    early.overrides = vec![take_away("level_2")];
    assert_eq!(
        level(&rules.findings(&early, on_day(30))),
        Some((2, "level_3"))
    );
    early.overrides = vec![take_away("level_3")];
    assert_eq!(
        level(&rules.findings(&early, on_day(30))),
        Some((1, "level_2"))
    );
}

#[test]
fn what_nobody_answered_does_not_pass_silently() {
    let rules = Rules::built_in();
    for question in &rules.questions {
        let mut screening = screening(100, &[]);
        screening.answers.remove(&question.id);
        let found = rules.findings(&screening, on_day(100));
        let expected = format!("unanswered_{}", question.id);
        let can_hold = rules
            .rules
            .iter()
            .filter(|rule| rule.effect == Effect::Hold && rule.window.is_none())
            .any(|rule| rule.when.contains_key(&question.id));
        let told = if can_hold {
            &found.holds
        } else {
            &found.cautions
        };
        assert_eq!(ids(told), [expected.as_str()]);
        assert!(told[0].words.contains(&question.ask));
        let limits = [
            "reconstruction",
            "drains",
            "skin",
            "cording",
            "winging",
            "bone",
            "dizziness",
        ];
        assert_eq!(
            told[0]
                .words
                .ends_with("the answer that limits most is taken."),
            limits.contains(&question.id.as_str()),
        );
    }
    // The limits of the strictest answer hold, and say why; nothing of it goes home.
    let mut open = screening(20, &[]);
    open.answers.remove("drains");
    open.answers.remove("dizziness");
    let found = rules.findings(&open, on_day(20));
    assert_eq!(found.arm_deg.as_ref().map(|limit| limit.value), Some(90.0));
    assert_eq!(level(&found), Some((0, "drains_level")));
    assert_eq!(
        avoided(&found),
        ["lying_prone", "neck_extension", "standing"]
    );
    let reach_up = &found.avoid["neck_extension"][0];
    assert!(
        reach_up
            .words
            .starts_with("Taken as so until it is asked (Dizzy,")
    );
    assert_eq!(reach_up.at_home, None);
    // An answer of another file of rules is none.
    open.answers
        .insert("drains".to_owned(), "perhaps".to_owned());
    assert_eq!(rules.findings(&open, on_day(20)), found);
}

#[test]
fn without_a_date_every_rule_with_days_holds() {
    let rules = Rules::built_in();
    let mut undated = screening(300, &[("reconstruction", "flap_abdomen")]);
    undated.surgery = None;
    let found = rules.findings(&undated, on_day(300));
    let arm = found.arm_deg.clone().expect("a limit");
    assert_eq!((arm.value, arm.until), (90.0, None));
    assert_eq!(found.load_kg.clone().expect("a limit").value, 5.0);
    assert_eq!(level(&found), Some((0, "level_1")));
    assert!(avoided(&found).contains(&"abdominal"));
    assert_eq!(found.days_since_surgery, None);
    assert_eq!(
        ids(&found.cautions),
        ["surgery_date", "reconstruction_confirm"]
    );
    assert!(!applies("before_surgery", undated, 300));
}

#[test]
fn old_answers_are_to_be_asked_again() {
    let screening = screening(100, &[]);
    let told = |day| {
        let found = Rules::built_in().findings(&screening, on_day(day));
        ids(&found.holds) == ["answers_old"]
    };
    assert_eq!((told(100), told(114), told(115)), (false, false, true));
}

#[test]
fn answers_from_before_the_surgery_hold_after_it() {
    let mut screening = screening(-3, &[]);
    let held = |screening: &Screening, day| {
        let found = Rules::built_in().findings(screening, on_day(day));
        ids(&found.holds) == ["answers_before_surgery"]
    };
    assert_eq!(
        (
            held(&screening, -1),
            held(&screening, 0),
            held(&screening, 9)
        ),
        (false, true, true)
    );
    screening.date = on_day(0);
    assert!(!held(&screening, 9));
}

#[test]
fn a_screening_that_can_not_be_read_is_refused() {
    let rules = Rules::built_in();
    let refused = |change: &dyn Fn(&mut Screening)| {
        let mut screening = screening(20, &[]);
        change(&mut screening);
        let refusal = rules.check(&screening, on_day(20));
        refusal.expect_err("a refusal").to_string()
    };
    let set = |value, set_on, until| {
        Some(SetLimit {
            value,
            set_on,
            until,
        })
    };
    for (refusal, part) in [
        (
            refused(&|s| {
                s.answers.insert("mood".to_owned(), "good".to_owned());
            }),
            "mood is no question",
        ),
        (
            refused(&|s| {
                s.answers.insert("drains".to_owned(), "maybe".to_owned());
            }),
            "drains: maybe is no answer, expected one of in, out, never",
        ),
        (
            refused(&|s| s.date = on_day(21)),
            "the date of the screening, 2026-03-22, is after today, 2026-03-21",
        ),
        (
            refused(&|s| s.arm_deg = set(90.0, Some(on_day(21)), None)),
            "the day on which a limit was set, 2026-03-22, is after today",
        ),
        (
            refused(&|s| s.arm_deg = set(210.0, None, None)),
            "the arm limit that was set is 210, expected a value from 0 to 200",
        ),
        (
            refused(&|s| s.load_kg = set(f64::NAN, None, None)),
            "the load limit that was set is NaN",
        ),
        (
            refused(&|s| s.load_kg = set(2.0, Some(on_day(3)), Some(on_day(2)))),
            "ends on 2026-03-03, before it was set on 2026-03-04",
        ),
        (
            refused(&|s| s.overrides = vec![take_away("unanswered_drains")]),
            "an open question is answered instead",
        ),
        (
            refused(&|s| {
                s.overrides = vec![Override {
                    initials: " ".to_owned(),
                    ..take_away("fever")
                }];
            }),
            "fever was taken away without initials",
        ),
        (
            refused(&|s| {
                s.overrides = vec![Override {
                    reason: String::new(),
                    ..take_away("level_2")
                }];
            }),
            "level_2 was taken away without a reason",
        ),
    ] {
        assert!(refusal.contains(part), "{refusal}");
    }
    let mut planned = screening(20, &[]);
    planned.surgery = Some(on_day(40));
    assert_eq!(
        rules.check(&planned, on_day(20)),
        Ok(()),
        "a surgery may be planned"
    );
}

/// A whole file with one question and one rule.
const SMALL: &str = r#"
[[level]]
id = "level_0"
level = 0
from_day = 0
words = "w"
source = "s"
known = "read"
[[level]]
id = "level_1"
level = 1
from_day = 7
words = "w"
source = "s"
known = "read"
[[level]]
id = "level_2"
level = 2
from_day = 28
words = "w"
source = "s"
known = "read"
[[level]]
id = "level_3"
level = 3
from_day = 84
words = "w"
source = "s"
known = "read"

[tags]
standing = "Standing"

[[question]]
id = "drains"
ask = "Drains?"
options = [{ id = "in", words = "In" }, { id = "out", words = "Out" }]
unanswered = "nothing"

[[rule]]
id = "low"
when = { drains = ["in"] }
arm_deg = 90
until_day = 14
words = "Stay low."
source = "s"
known = "memory"
"#;

#[test]
fn a_clinic_may_bring_its_own_rules() {
    let rules = Rules::from_toml(SMALL).expect("a whole file");
    let mut screening = screening(8, &[]);
    screening.answers = [("drains".to_owned(), "in".to_owned())].into();
    let found = rules.findings(&screening, on_day(8));
    let arm = found.arm_deg.clone().expect("a limit");
    assert_eq!((arm.value, arm.until), (90.0, Some(on_day(14))));
    assert_eq!(level(&found), Some((1, "level_2")));
    // "nothing": an open question neither asks nor limits.
    screening.answers.clear();
    let found = rules.findings(&screening, on_day(8));
    assert_eq!(found.arm_deg, None);
    assert!(found.holds.is_empty() && found.cautions.is_empty());
}

#[test]
fn a_broken_file_is_refused_and_the_message_names_the_entry() {
    for (from, to, message) in [
        (
            "drains = [\"in\"]",
            "drain = [\"in\"]",
            "rule low: expected a question of this file in when, found drain",
        ),
        (
            "drains = [\"in\"]",
            "drains = [\"inside\"]",
            "rule low: expected drains to be one of in, out, found inside",
        ),
        (
            "drains = [\"in\"]",
            "drains = []",
            "rule low: expected an option of drains, found none",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "",
            "rule low: expected exactly one of hold, caution, arm_deg, load_kg, highest_level, avoid and \
             first",
        ),
        (
            "arm_deg = 90",
            "arm_deg = 90\nload_kg = 5",
            "rule low: expected exactly one of",
        ),
        (
            "arm_deg = 90",
            "arm_deg = 9000",
            "rule low: expected arm_deg from 0 to 180",
        ),
        (
            "arm_deg = 90",
            "load_kg = -1",
            "rule low: expected load_kg from 0 to 30",
        ),
        (
            "arm_deg = 90",
            "arm_deg = nan",
            "rule low: expected arm_deg from 0 to 180",
        ),
        (
            "arm_deg",
            "arm_degrees",
            "rule low: unknown field `arm_degrees`, expected one of",
        ),
        (
            "arm_deg = 90",
            "arm_deg = \"low\"",
            "rule low: invalid type",
        ),
        (
            "until_day = 14",
            "days_before = 14",
            "rule low: expected until_day for a limit, not days_before",
        ),
        (
            "arm_deg = 90",
            "caution = true",
            "rule low: expected days_before: until_day is for arm_deg and load_kg",
        ),
        (
            "until_day = 14",
            "until_day = 14\ndays_from = 15",
            "rule low: expected a first day before the last one",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "hold = true",
            "rule low: expected question drains to hold or caution when unanswered",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "hold = false",
            "rule low: expected hold and caution to be true, or left out",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "avoid = [\"swimming\"]",
            "rule low: expected a tag of [tags] in avoid, found swimming",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "first = \"joy\"",
            "rule low: expected an aim of exercises in first, found joy",
        ),
        (
            "unanswered = \"nothing\"\n\n[[rule]]\nid = \"low\"\nwhen = { drains = [\"in\"] }\narm_deg = \
             90\nuntil_day = 14",
            "unanswered = \"hold\"\n\n[[rule]]\nid = \"low\"\nwhen = { drains = [\"in\"] }\nhold = true",
            "rule low: expected at_home: a hold tells the person what to do",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "avoid = []",
            "rule low: expected a tag in avoid",
        ),
        (
            "arm_deg = 90\nuntil_day = 14",
            "highest_level = 4",
            "rule low: expected highest_level from 0 to 3",
        ),
        (
            "when = { drains = [\"in\"] }\narm_deg = 90\nuntil_day = 14",
            "when = {}\ncaution = true",
            "rule low: expected an answer in when, or days",
        ),
        ("Stay low.", " ", "rule low: expected words, found nothing"),
        (
            "known = \"memory\"",
            "known = \"hearsay\"",
            "rule low: unknown variant `hearsay`",
        ),
        ("id = \"low\"\n", "", "rule number 1: missing field `id`"),
        (
            "id = \"low\"",
            "id = \"level_2\"",
            "rule level_2: expected an id of its own",
        ),
        (
            "id = \"low\"",
            "id = \"unanswered_low\"",
            "rule unanswered_low: expected another id",
        ),
        (
            "id = \"low\"",
            "id = \"So low\"",
            "rule So low: expected an id of a–z, 0–9 and _",
        ),
        (
            "unanswered = \"nothing\"",
            "unanswered = \"shrug\"",
            "question drains: unknown variant `shrug`",
        ),
        (
            ", { id = \"out\", words = \"Out\" }",
            "",
            "question drains: expected two options or more",
        ),
        (
            "id = \"out\"",
            "id = \"in\"",
            "question drains: expected option in once",
        ),
        (
            "level = 3",
            "level = 4",
            "level level_3: expected level = 3",
        ),
        (
            "from_day = 28",
            "from_day = 5",
            "level level_2: expected from_day 0 for level 0",
        ),
        ("[tags]", "[[tags]]", "no file of rules"),
        (
            "standing = \"Standing\"",
            "standing = \"\"",
            "tag standing: expected a meaning",
        ),
    ] {
        assert!(SMALL.contains(from), "{from}");
        let broken = SMALL.replacen(from, to, 1);
        let refusal = Rules::from_toml(&broken).expect_err(message).to_string();
        assert!(refusal.starts_with(message), "{refusal}");
    }
    let without_levels = &SMALL[SMALL.find("[tags]").expect("tags")..];
    assert!(Rules::from_toml(without_levels).is_err());
}

#[test]
fn the_built_in_file_marks_what_was_not_looked_up() {
    for finding in Rules::built_in().removable() {
        let from_memory = finding.source.contains("from memory");
        assert_eq!(
            from_memory,
            finding.known == Known::Memory,
            "{}",
            finding.rule
        );
        if finding.source.starts_with("Custom of the trade") {
            assert_eq!(finding.known, Known::CommonPractice, "{}", finding.rule);
        }
    }
}

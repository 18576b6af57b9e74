//! What the program is made of: the list that it carries is that of what it is built from.

use std::collections::BTreeSet;
use std::fs;

use assert_cmd::Command;
use predicates::str::contains;
use serde_json::Value;

use crate::common::root;

type Package = (String, String);

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).expect(path)
}

/// Names and versions of every package in Cargo.lock but our own.
fn locked() -> BTreeSet<Package> {
    let lock = read("Cargo.lock");
    let field = |block: &str, name: &str| {
        let line = block
            .lines()
            .find_map(|line| line.strip_prefix(&format!("{name} = ")));
        line.map(|value| value.trim_matches('"').to_owned())
            .expect("a field of Cargo.lock")
    };
    let blocks = lock.split("[[package]]").skip(1);
    blocks
        .map(|block| (field(block, "name"), field(block, "version")))
        .filter(|(name, _)| name != "tragus")
        .collect()
}

fn listed(kind: &str) -> BTreeSet<Package> {
    let list = read("src/cli/licences/list.tsv");
    list.lines()
        .map(|line| line.split('\t').collect::<Vec<_>>())
        .inspect(|row| assert!(row.len() == 5 && row.iter().all(|cell| !cell.is_empty())))
        .filter(|row| row[0] == kind)
        .map(|row| (row[1].to_owned(), row[2].to_owned()))
        .collect()
}

#[test]
fn the_list_of_licences_is_that_of_the_lock_file() {
    let shipped: BTreeSet<Package> = listed("crate")
        .into_iter()
        .filter(|(name, _)| name != "std")
        .collect();
    let rest: BTreeSet<Package> = read("scripts/supply/not_shipped.txt")
        .lines()
        .map(|line| line.split_once(' ').expect("name and version"))
        .map(|(name, version)| (name.to_owned(), version.to_owned()))
        .collect();
    let both: BTreeSet<Package> = shipped.union(&rest).cloned().collect();
    assert!(shipped.is_disjoint(&rest));
    let locked = locked();
    let missing: Vec<_> = locked.difference(&both).collect();
    let gone: Vec<_> = both.difference(&locked).collect();
    assert!(
        missing.is_empty() && gone.is_empty(),
        "run scripts/supply/supply.py: new {missing:?}, gone {gone:?}"
    );
}

#[test]
fn every_net_and_font_is_listed() {
    let manifest: Value = serde_json::from_str(&read("models/manifest.json")).expect("JSON");
    let models = manifest["models"].as_array().expect("models");
    let nets: BTreeSet<String> = models
        .iter()
        .map(|model| model["name"].as_str().expect("a name").to_owned())
        .collect();
    let listed_nets: BTreeSet<String> = listed("net").into_iter().map(|(name, _)| name).collect();
    assert_eq!(listed_nets, nets);
    assert!(
        listed("font")
            .iter()
            .any(|(name, _)| name.starts_with("Libertinus"))
    );
}

#[test]
fn licences_are_listed_with_their_texts() {
    let tragus = || Command::cargo_bin("tragus").expect("the program");
    tragus()
        .arg("licences")
        .assert()
        .code(0)
        .stdout(contains("pose_full"))
        .stdout(contains("MPL-2.0"));
    tragus()
        .args(["licences", "--texts"])
        .assert()
        .code(0)
        .stdout(contains("END OF TERMS AND CONDITIONS"))
        .stdout(contains("THE SOFTWARE IS PROVIDED \"AS IS\""))
        .stdout(contains("SIL Open Font License"));
}

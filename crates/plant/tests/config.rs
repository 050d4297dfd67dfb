//! Every example plant file in `config/` is a good one, as it stands and with its commented lines in use.

use std::path::{Path, PathBuf};

use plant::{BrokerUrl, Sensor, parse_plant};

fn config_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config")
}

fn read(name: &str) -> String {
    std::fs::read_to_string(config_folder().join(name)).expect("config/ holds the example plant files")
}

#[test]
fn every_file_in_config_is_without_fault() {
    let mut checked = 0;
    for entry in std::fs::read_dir(config_folder()).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            let plant = parse_plant(&std::fs::read_to_string(&path).unwrap());
            assert!(plant.is_ok(), "{}: {:?}", path.display(), plant.err());
            checked += 1;
        }
    }
    assert!(2 <= checked, "config/ holds the demo's plant and a workshop at least");
}

#[test]
fn the_demo_has_six_machines_of_three_styles_and_a_broker_inside() {
    let plant = parse_plant(&read("tern-street.toml")).unwrap();
    let names: Vec<&str> = plant.machines.iter().map(|machine| machine.name.as_str()).collect();
    assert_eq!(names, ["Alder", "Birch", "Cedar", "Dogwood", "Elm", "Fir bench"]);
    assert_eq!(plant.mqtt.url, BrokerUrl::Embedded);
    assert_eq!(plant.couvertures.len(), 3);
}

#[test]
fn the_workshop_file_holds_with_its_commented_keys_in_use() {
    let text = read("workshop.toml").replace("mqtt://127.0.0.1:1883", "mqtts://broker:8883");
    let text: String = text.lines().map(|line| in_use(line) + "\n").collect();
    // One channel has one sensor: the thermocouple takes the place of the Pt100.
    let text = text.replace("sensor = \"pt100\"", "");
    let plant = parse_plant(&text).unwrap();
    assert!(plant.mqtt.client_certificate.is_some());
    assert_eq!(plant.sources.len(), 1);
    let chocolate = plant.machines[0].settings(model::Channel::Chocolate);
    assert!(matches!(chocolate.sensor, Some(Sensor::TypeK(_))));
}

#[test]
fn the_demo_file_holds_with_people_to_tell() {
    let text = read("tern-street.toml");
    let (plant, people) = text.split_once("# --- Telling people").unwrap();
    let in_use = |line: &str| match line.strip_prefix("# ") {
        Some(rest) if rest.starts_with('[') || rest.contains(" = ") => format!("{rest}\n"),
        _ => "\n".to_owned(),
    };
    let people: String = people.lines().map(in_use).collect();
    let reach = parse_plant(&format!("{plant}{people}")).unwrap().reach;
    assert_eq!((reach.contacts.len(), reach.rules.len(), reach.rules[0].steps.len()), (2, 1, 2));
    assert!(reach.mail.is_some_and(|mail| mail.login.is_some()));
}

/// The line without its `# `, if it then reads as a key or a table.
fn in_use(line: &str) -> String {
    match line.strip_prefix("# ") {
        Some(rest)
            if rest.starts_with("[[") || rest.split_once(" = ").is_some_and(|(key, _)| is_key(key)) =>
        {
            rest.into()
        }
        _ => line.to_owned(),
    }
}

fn is_key(word: &str) -> bool {
    word.chars().all(|c| c.is_ascii_lowercase() || c == '_')
}

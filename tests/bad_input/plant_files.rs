//! A plant file is refused with every fault at once, each with its line.

use std::fs;

use expect_test::{Expect, expect};

use super::{PLANT, check_args, folder_with, told_in};

/// What `halfdegree check` says of the good plant file with these words changed.
#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check_plant(changes: &[(&str, &str)], expected: Expect) {
    let changed = changes.iter().fold(PLANT.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    expected.assert_eq(&told_in(folder_with(&changed).path(), &["check", "plant.toml"]));
}

#[test]
fn a_plant_file_without_fault() {
    check_plant(
        &[],
        expect![[r#"
        exit 0
        plant.toml: all is well. Tern Street works has 1 machine and 1 couverture.
    "#]],
    );
}

#[test]
fn a_plant_file_with_one_fault() {
    check_plant(
        &[("time_zone =", "timezone =")],
        expect![[r#"
        exit 1
        plant.toml: line 1: `time_zone` is missing in [plant]
        plant.toml: line 3: `timezone` is not known in [plant]; did you mean `time_zone`? What can stand there: name, time_zone and lateness_seconds
    "#]],
    );
    check_plant(
        &[("[[machine]]", "[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n[[machine]]")],
        expect![[r#"
        exit 1
        plant.toml: line 10: the couverture `dark-64` is there twice; it first stands in line 7
    "#]],
    );
    check_plant(
        &[("[[machine]]", "working = [32.0, 31.0]\n[[machine]]")],
        expect![[r#"
        exit 1
        plant.toml: line 9: `working = [32, 31]` is upside down; write [31, 32]
    "#]],
    );
    check_plant(
        &[("Europe/Lisbon", "Europe/Lisbom")],
        expect![[r#"
        exit 1
        plant.toml: line 3: `Europe/Lisbom` is not a time zone of the IANA list, such as Europe/Lisbon; did you mean `Europe/Lisbon`?
    "#]],
    );
    check_plant(
        &[("couverture = \"dark-64\"", "couverture = \"dark-46\"")],
        expect![[r#"
        exit 1
        plant.toml: line 12: there is no couverture `dark-46`; a [[couverture]] with that id is needed; did you mean `dark-64`?
    "#]],
    );
    check_plant(
        &[("\"kettle\"", "\"ketle\"")],
        expect![[r#"
        exit 1
        plant.toml: line 11: `ketle` is not a style (one of kettle, wheel, continuous and bench); did you mean `kettle`?
    "#]],
    );
    check_plant(
        &[("name = \"Tern", "name = Tern")],
        expect![[r#"
        exit 1
        plant.toml: line 2: this line cannot be read as TOML (missing opening quote, expected `"`)
    "#]],
    );
}

#[test]
fn a_rule_for_what_is_no_alarm() {
    let people = "[[contact]]\nid = \"lead\"\nwebhook = \"https://hooks.tern.example/alarms\"\nsecret_file = \"none\"\n\
                  [[reach]]\nalarms = [\"scorch\", \"test-due\"]\nfirst = [\"lead\"]\n[[machine]]";
    check_plant(
        &[("[[machine]]", people)],
        expect![[r#"
        exit 1
        plant.toml: line 12: `secret_file`: none cannot be read: No such file or directory (os error 2)
        plant.toml: line 13: `alarms`: nobody is ever told of `test-due`, which is a prompt or for the weekly review and no alarm; leave it out
    "#]],
    );
}

#[test]
fn a_rule_that_can_never_reach_anybody() {
    let people = "[[contact]]\nid = \"lead\"\nwebhook = \"https://hooks.tern.example/alarms\"\nsecret_env = \"TERN\"\n\
                  [[reach]]\nalarms = [\"hot-room\", \"damp-room\", \"scorch\"]\nfirst = [\"lead\"]\n\
                  [[reach]]\nalarms = [\"warm-hold\", \"silent\"]\npriority = \"high\"\nfirst = [\"lead\"]\n\
                  [[reach]]\nmachines = [\"alder\"]\nalarms = [\"common-cause\"]\nfirst = [\"lead\"]\n[[machine]]";
    check_plant(
        &[("[[machine]]", people)],
        expect![[r#"
        exit 1
        plant.toml: line 13: `alarms`: nobody is ever told of `hot-room` or `damp-room`, which is low at the most, and this rule is for medium and above (medium where `priority` is left out); write `priority = "low"`, or leave it out
        plant.toml: line 16: `alarms`: nobody is ever told of `warm-hold`, which is medium at the most, and this rule is for high and above (medium where `priority` is left out); write `priority = "medium"`, or leave it out
        plant.toml: line 20: `alarms`: nobody is ever told of `common-cause`, which is of the whole works, and this rule is for some machines; leave `machines` out, or give it a rule of its own
    "#]],
    );
}

#[test]
fn a_contact_whom_no_rule_names() {
    let people = "[[contact]]\nid = \"lead\"\nwebhook = \"https://hooks.tern.example/alarms\"\nsecret_env = \"TERN\"\n[[machine]]";
    check_plant(
        &[("[[machine]]", people)],
        expect![[r#"
            exit 0
            plant.toml: note: line 10: the contact `lead` is never told anything: no [[reach]] names it in its `first` or in a [[reach.next]]; name it there, or leave the contact out
            plant.toml: all is well. Tern Street works has 1 machine and 1 couverture.
        "#]],
    );
}

#[test]
fn a_plant_file_with_several_faults_tells_all_of_them() {
    check_plant(
        &[
            ("Europe/Lisbon", "Lisbon"),
            ("family = \"dark\"", "family = \"ruby\"\nmelt = [50, 45]"),
            ("style = \"kettle\"", "style = \"kettle\"\ncolour = \"brown\""),
        ],
        expect![[r#"
            exit 1
            plant.toml: line 3: `Lisbon` is not a time zone of the IANA list, such as Europe/Lisbon
            plant.toml: line 8: `ruby` is not a family (one of dark, milk and white)
            plant.toml: line 9: `melt = [50, 45]` is upside down; write [45, 50]
            plant.toml: line 13: `colour` is not known in [[machine]]; what can stand there: id, name, style, capacity_kg, couverture, method, cooling_minutes, channel, melt, scorch, floor, working, temper_loss, seed_share and max_hold
        "#]],
    );
}

#[test]
fn a_bad_plant_file_starts_nothing() {
    let folder = folder_with(&PLANT.replace("Europe/Lisbon", "Lisbon"));
    fs::write(folder.path().join("stream.ndjson"), "").unwrap();
    for args in [
        ["analyse", "stream.ndjson", "--plant", "plant.toml"].as_slice(),
        &["serve", "--plant", "plant.toml", "--data", "data"],
        &["simulate", "--plant", "plant.toml", "--out", "out"],
    ] {
        let told = told_in(folder.path(), args);
        let expected = "exit 2\nhalfdegree: the plant file has faults\n\
                        plant.toml: line 3: `Lisbon` is not a time zone of the IANA list, such as Europe/Lisbon\n";
        assert_eq!(told, expected, "{args:?}");
    }
    assert!(!folder.path().join("data").exists());
    assert!(!folder.path().join("out").exists());
}

#[test]
fn a_plant_file_that_is_not_there() {
    check_args(
        &["check", "other.toml"],
        expect![[r#"
        exit 2
        halfdegree: cannot read the plant file other.toml: No such file or directory (os error 2)
    "#]],
    );
    check_args(
        &["analyse", "stream.ndjson", "--plant", "other.toml"],
        expect![[r#"
        exit 2
        halfdegree: cannot read the plant file other.toml: No such file or directory (os error 2)
    "#]],
    );
}

//! The meant step: from what was written to what it means.
//!
//! Here words become enums, ids are looked up and ranges are compared. Every function returns what it could make sense
//! of and adds the rest to the faults, so that one fault never hides another.

mod couverture;
mod limits;
mod machine;
mod mqtt;
mod practice;
mod reach;
mod source;
mod words;

use model::Span;
use toml::de::DeTable;

use crate::fault::{At, Faults};
use crate::nearest::did_you_mean;
use crate::raw::RawPlant;
use crate::time_zone::all_names;
use crate::{Plant, PlantFault, TimeZone};

/// How long the watch waits for late readings where the file says nothing (contract, section 6).
const USUAL_LATENESS: Span = Span::from_secs(15);
/// Readings that come later than this are history: waiting longer would make every finding useless.
const LONGEST_LATENESS_SECONDS: f64 = 600.0;

/// Reads a plant file.
///
/// # Errors
/// Every fault of the file, in the order of its lines.
pub fn parse_plant(text: &str) -> Result<Plant, Vec<PlantFault>> {
    let mut faults = Faults::of(text);
    let (document, broken) = DeTable::parse_recoverable(text);
    for error in &broken {
        let line = error.span().map_or(1, |span| faults.line_of(&span));
        faults.add_broken(line, broken_sentence(error.message()));
    }
    let raw = RawPlant::read(document.get_ref(), &mut faults);
    let plant = mean(&raw, &mut faults);
    faults.unless_any(plant)
}

/// What the TOML parser says, with what to do where its words do not tell.
fn broken_sentence(message: &str) -> String {
    match message {
        "duplicate key" => "this key or table is there twice; leave one of them out".to_owned(),
        message
            if message.starts_with("invalid boolean")
                || message.starts_with("string values must be quoted") =>
        {
            format!("this line cannot be read as TOML ({message}); a text stands between quotes")
        }
        message => format!("this line cannot be read as TOML ({message})"),
    }
}

fn mean(raw: &RawPlant, faults: &mut Faults<'_>) -> Option<Plant> {
    let name = words::not_blank(raw.name.as_ref(), "name", faults);
    let time_zone = mean_time_zone(raw.time_zone.as_ref(), faults);
    let lateness = mean_lateness(raw.lateness_seconds.as_ref(), faults);
    let mqtt = mqtt::mean(&raw.mqtt, faults);
    let (couverture_ids, couvertures) = couverture::mean_all(&raw.couvertures, faults);
    let (machine_ids, machines) = machine::mean_all(&raw.machines, &couverture_ids, &couvertures, faults);
    let root = mqtt.as_ref().map(|mqtt| mqtt.root.as_str());
    let sources = source::mean_all(&raw.sources, &machine_ids, root, faults);
    let temper_test = practice::mean_temper_test(&raw.temper_test, faults);
    let probe_checks = practice::mean_probe_checks(&raw.probe_checks, faults);
    let reach = reach::mean(&raw.reach, &machine_ids, faults);
    let places = machines.iter().enumerate().map(|(place, machine)| (machine.id.clone(), place)).collect();
    Some(Plant {
        places,
        name: name?,
        time_zone: time_zone?,
        mqtt: mqtt?,
        couvertures,
        machines,
        sources,
        lateness: lateness?,
        temper_test,
        probe_checks,
        reach: reach?,
    })
}

fn mean_time_zone(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<TimeZone> {
    let name = raw?;
    let zone = TimeZone::named(&name.value);
    if zone.is_none() {
        let names = all_names();
        let hint = did_you_mean(&name.value, names.iter().map(String::as_str));
        let says =
            format!("`{}` is not a time zone of the IANA list, such as Europe/Lisbon{hint}", name.value);
        faults.add(name.line, says);
    }
    zone
}

fn mean_lateness(raw: Option<&At<f64>>, faults: &mut Faults<'_>) -> Option<Span> {
    let Some(seconds) = raw else { return Some(USUAL_LATENESS) };
    if (0.0..=LONGEST_LATENESS_SECONDS).contains(&seconds.value) {
        return Some(Span::from_millis((seconds.value * 1000.0).round() as i64));
    }
    let says = format!(
        "`lateness_seconds = {}` cannot be; it is between 0 and {LONGEST_LATENESS_SECONDS}",
        seconds.value
    );
    faults.add(seconds.line, says);
    None
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use proptest::prelude::*;

    use super::*;

    /// The smallest whole plant file; `{}` in a test's text stands for nothing, what is added comes after it.
    pub(crate) const SMALLEST: &str = r#"
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"
[[couverture]]
id = "dark-64"
family = "dark"
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
"#;

    /// Text in, faults out, one a line.
    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    pub(crate) fn check(text: &str, expected: Expect) {
        let said: Vec<String> = match parse_plant(text) {
            Ok(_) => vec!["no fault".to_owned()],
            Err(faults) => faults.iter().map(PlantFault::to_string).collect(),
        };
        expected.assert_eq(&said.join("\n"));
    }

    /// The smallest plant file with more lines at its end (the first of them is line 12).
    pub(crate) fn check_with(more: &str, expected: Expect) {
        check(&format!("{SMALLEST}{more}"), expected);
    }

    #[test]
    fn the_smallest_file_has_a_meaning() {
        let plant = parse_plant(SMALLEST).unwrap();
        assert_eq!((plant.name.as_str(), plant.time_zone.name()), ("Tern Street works", "Europe/Lisbon"));
        assert_eq!(plant.lateness, Span::from_secs(15));
        assert_eq!(plant.mqtt.url.to_string(), "mqtt://127.0.0.1:1883");
        assert_eq!(plant.mqtt.root, "works");
    }

    #[test]
    fn an_empty_file_is_told_what_it_needs() {
        check(
            "",
            expect![[r#"
            line 1: there is no [[machine]]; describe at least one
            line 1: there is no [plant]; it holds `name` and `time_zone`"#]],
        );
    }

    #[test]
    fn what_is_not_toml_is_told_with_its_line() {
        check(
            "[plant]\nname = Tern\ntime_zone = \"Europe/Lisbon\"\n[[machine]\n",
            expect![[r#"
                line 2: this line cannot be read as TOML (invalid boolean, expected `true`); a text stands between quotes
                line 4: this line cannot be read as TOML (unclosed array table, expected `]`)"#]],
        );
        check(
            "[plant]\nname = \"a\n[[couverture]]\nid = \"a b\"\nworking = [32, 31]\n",
            expect![[r#"
            line 2: this line cannot be read as TOML (invalid basic string, expected `"`)
            line 4: the id `a b` holds ` `; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit
            line 5: `working = [32, 31]` is upside down; write [31, 32]"#]],
        );
        check(
            "[plant]\nname = \"a\"\nname = \"b\"\n",
            expect!["line 3: this key or table is there twice; leave one of them out"],
        );
    }

    #[test]
    fn all_faults_come_at_once_in_the_order_of_the_file() {
        check(
            r#"
[plant]
name = ""
time_zone = "Europe/Lisbom"
lateness_seconds = -1
[mqt]
[mqtt]
url = "tcp://broker"
[[couverture]]
id = "dark-64"
family = "drak"
working = [32.0, 31.0]
[[machine]]
id = "alder"
style = 5
couverture = "dark-65"
colour = "brown"
"#,
            expect![[r#"
                line 3: `name` cannot be empty
                line 4: `Europe/Lisbom` is not a time zone of the IANA list, such as Europe/Lisbon; did you mean `Europe/Lisbon`?
                line 5: `lateness_seconds = -1` cannot be; it is between 0 and 600
                line 6: `mqt` is not known in the plant file; did you mean `mqtt`? What can stand there: plant, mqtt, couverture, machine, source, temper_test, probe_checks, mail, contact and reach
                line 8: `tcp://` is not a way to a broker that we know; write mqtt://host:1883, mqtts://host:8883 for TLS, or embedded
                line 11: `drak` is not a family (one of dark, milk and white); did you mean `dark`?
                line 12: `working = [32, 31]` is upside down; write [31, 32]
                line 15: `style` takes a text between quotes, not a number
                line 16: there is no couverture `dark-65`; a [[couverture]] with that id is needed; did you mean `dark-64`?
                line 17: `colour` is not known in [[machine]]; what can stand there: id, name, style, capacity_kg, couverture, method, cooling_minutes, channel, melt, scorch, floor, working, temper_loss, seed_share and max_hold"#]],
        );
    }

    #[test]
    fn tables_of_the_wrong_shape_are_told() {
        check(
            "plant = 5\nmqtt = []\nmachine = [1]\n[couverture]\nid = \"dark-64\"\n",
            expect![[r#"
            line 1: `plant` takes a table, not a number
            line 2: `mqtt` takes a table, not a list
            line 3: `machine` takes tables that begin with two brackets, not a number
            line 4: write [[couverture]] with two brackets on each side, once for each couverture"#]],
        );
    }

    #[test]
    fn windows_line_ends_do_not_move_the_lines() {
        check(
            "[plant]\r\nname = \"a\"\r\ntime_zone = 5\r\n[[machine]]\r\n",
            expect![[r#"
            line 3: `time_zone` takes a text between quotes, not a number
            line 4: `couverture` is missing in [[machine]]
            line 4: `id` is missing in [[machine]]
            line 4: `style` is missing in [[machine]]"#]],
        );
    }

    #[test]
    fn the_wait_for_late_readings_can_be_set_within_reason() {
        let with = |seconds: &str| {
            let text =
                SMALLEST.replace("[[couverture]]", &format!("lateness_seconds = {seconds}\n[[couverture]]"));
            parse_plant(&text).map(|plant| plant.lateness)
        };
        assert_eq!(with("2.5"), Ok(Span::from_millis(2500)));
        assert!(with("86400").unwrap_err()[0].says.contains("between 0 and 600"));
        assert!(with("nan").unwrap_err()[0].says.contains("finite"));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_told(text in "(\\[\\[?(plant|machine|couverture|source|mqtt|mail|contact|reach|reach.next)\\]\\]?\n|[a-z_]{1,9} = [\\[\\]0-9a-z\".,{}-]{0,9}\n|.{0,9}\n){0,12}") {
            if let Err(faults) = parse_plant(&text) {
                prop_assert!(!faults.is_empty());
                prop_assert!(faults.iter().all(|fault| 0 < fault.line && fault.line <= text.lines().count().max(1) + 1));
            }
        }
    }
}

//! What a `[[machine]]` and its channels mean.

use std::collections::BTreeMap;

use model::{Channel, CouvertureId, MachineId, Method};

use crate::fault::{At, Faults};
use crate::meaning::words::{self, Ids};
use crate::meaning::{limits, practice};
use crate::nearest::did_you_mean;
use crate::raw::{RawChannel, RawMachine};
use crate::table::NumberOrText;
use crate::{ChannelSettings, ColdJunction, Couverture, Machine, Sensor, Style};

/// Finding ids say `plant` where a finding is about all machines, so no machine can have that id.
const WHOLE_PLANT: &str = "plant";

/// From a bowl to a tank.
const CAPACITY_KG: [f64; 2] = [0.01, crate::MOST_KG];
/// A day at most.
const COOLING_MINUTES: [f64; 2] = [1.0, 1_440.0];
/// A probe that is off by more, in °C or %RH, is replaced and not corrected.
const OFFSET: [f64; 2] = [-20.0, 20.0];
/// In A or 1/min.
const OTHER_OFFSET: [f64; 2] = [-1_000.0, 1_000.0];
/// Where terminals are, °C.
const COLD_JUNCTION_C: [f64; 2] = [-40.0, 80.0];

/// All ids that stand there, and the machines without a fault.
pub(crate) fn mean_all(
    raw: &[RawMachine],
    couverture_ids: &Ids,
    couvertures: &[Couverture],
    faults: &mut Faults<'_>,
) -> (Ids, Vec<Machine>) {
    let mut ids = Ids::of("machine");
    let machines =
        raw.iter().filter_map(|raw| mean(raw, &mut ids, couverture_ids, couvertures, faults)).collect();
    (ids, machines)
}

fn mean(
    raw: &RawMachine,
    ids: &mut Ids,
    couverture_ids: &Ids,
    couvertures: &[Couverture],
    faults: &mut Faults<'_>,
) -> Option<Machine> {
    let id = mean_id(raw.id.as_ref(), ids, faults);
    let name = words::not_blank(raw.name.as_ref(), "name", faults);
    let style = words::one_of(raw.style.as_ref(), "style", &Style::ALL, Style::as_str, faults);
    let capacity_kg = words::within(raw.capacity_kg.as_ref(), "capacity_kg", CAPACITY_KG, faults);
    let couverture: Option<CouvertureId> = couverture_ids.point(raw.couverture.as_ref(), faults);
    let method = words::one_of(raw.method.as_ref(), "method", &Method::ALL, Method::as_str, faults);
    let cooling_minutes =
        words::within(raw.cooling_minutes.as_ref(), "cooling_minutes", COOLING_MINUTES, faults);
    let channels = mean_channels(&raw.channels, faults);
    let overrides = limits::mean(&raw.limits, faults);
    if let Some(usual) = couvertures.iter().find(|known| Some(&known.id) == couverture.as_ref()) {
        limits::check_ladder(&raw.limits, &overrides.over(usual.limits()), faults);
    }
    let (id, style) = (id?, style?);
    Some(Machine {
        name: name.unwrap_or_else(|| capitalised(id.as_str())),
        id,
        style,
        capacity_kg,
        couverture: couverture?,
        method: method.unwrap_or(style.usual_method()),
        cooling_minutes,
        channels,
        overrides,
    })
}

fn mean_id(raw: Option<&At<String>>, ids: &mut Ids, faults: &mut Faults<'_>) -> Option<MachineId> {
    let raw = raw?;
    if raw.value == WHOLE_PLANT {
        faults.add(raw.line, "no machine can have the id `plant`; findings about all machines go by it");
        return None;
    }
    ids.take(Some(raw), faults)
}

fn capitalised(id: &str) -> String {
    let mut letters = id.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn mean_channels(raw: &[RawChannel], faults: &mut Faults<'_>) -> BTreeMap<Channel, ChannelSettings> {
    raw.iter().filter_map(|raw| mean_channel(raw, faults)).collect()
}

fn mean_channel(raw: &RawChannel, faults: &mut Faults<'_>) -> Option<(Channel, ChannelSettings)> {
    let channel = match raw.name.value.parse::<Channel>() {
        Ok(channel) => channel,
        Err(error) => {
            let hint = did_you_mean(&raw.name.value, Channel::ALL.map(Channel::as_str));
            faults.add(raw.name.line, format!("{error}{hint}"));
            return None;
        }
    };
    let sensor = mean_sensor(channel, raw, faults);
    let settings = ChannelSettings {
        sensor,
        offset: mean_offset(channel, raw.offset.as_ref(), faults),
        tolerance: practice::mean_tolerance(channel, sensor, raw.tolerance.as_ref(), faults),
    };
    Some((channel, settings))
}

fn mean_offset(channel: Channel, raw: Option<&At<f64>>, faults: &mut Faults<'_>) -> f64 {
    let bounds = match channel {
        Channel::Stirrer | Channel::Motor => OTHER_OFFSET,
        Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint | Channel::Humidity => {
            OFFSET
        }
    };
    words::within(raw, "offset", bounds, faults).unwrap_or(0.0)
}

/// The word of `sensor`, before its cold junction is known.
#[derive(Clone, Copy)]
enum SensorWord {
    Pt100,
    TypeK,
    TypeT,
    TypeJ,
}

impl SensorWord {
    const ALL: [SensorWord; 4] = [SensorWord::Pt100, SensorWord::TypeK, SensorWord::TypeT, SensorWord::TypeJ];

    fn as_str(self) -> &'static str {
        match self {
            SensorWord::Pt100 => "pt100",
            SensorWord::TypeK => "type-k",
            SensorWord::TypeT => "type-t",
            SensorWord::TypeJ => "type-j",
        }
    }
}

fn mean_sensor(channel: Channel, raw: &RawChannel, faults: &mut Faults<'_>) -> Option<Sensor> {
    let word = words::one_of(raw.sensor.as_ref(), "sensor", &SensorWord::ALL, SensorWord::as_str, faults);
    let junction = mean_cold_junction(channel, raw.cold_junction.as_ref(), faults);
    let thermocouple: fn(ColdJunction) -> Sensor = match word {
        None | Some(SensorWord::Pt100) => {
            // A sensor that could not be read may well be a thermocouple: then its cold junction is no fault.
            if let (true, Some(junction)) = (word.is_some() || raw.sensor.is_none(), &raw.cold_junction) {
                faults.add(
                    junction.line,
                    "`cold_junction` is for thermocouples: it goes with sensor type-k, type-t or type-j",
                );
            }
            return word.map(|_| Sensor::Pt100).filter(|_| is_temperature(channel, raw, faults));
        }
        Some(SensorWord::TypeK) => Sensor::TypeK,
        Some(SensorWord::TypeT) => Sensor::TypeT,
        Some(SensorWord::TypeJ) => Sensor::TypeJ,
    };
    if !is_temperature(channel, raw, faults) {
        return None;
    }
    if let (None, Some(sensor)) = (&raw.cold_junction, &raw.sensor) {
        let says = "a thermocouple needs `cold_junction`: a temperature in °C, or \"room\" for the machine's room channel";
        faults.add_absence(sensor.line, says);
    }
    junction.map(thermocouple)
}

fn is_temperature(channel: Channel, raw: &RawChannel, faults: &mut Faults<'_>) -> bool {
    if !channel.is_temperature() {
        let line = raw.sensor.as_ref().map_or(raw.name.line, |sensor| sensor.line);
        faults.add(line, format!("`sensor` is for temperatures, and {channel} is none"));
    }
    channel.is_temperature()
}

fn mean_cold_junction(
    channel: Channel,
    raw: Option<&At<NumberOrText>>,
    faults: &mut Faults<'_>,
) -> Option<ColdJunction> {
    let raw = raw?;
    match &raw.value {
        NumberOrText::Number(celsius) => {
            let celsius = At { line: raw.line, value: *celsius };
            words::within(Some(&celsius), "cold_junction", COLD_JUNCTION_C, faults).map(ColdJunction::Fixed)
        }
        NumberOrText::Text(word) if word == Channel::Room.as_str() && channel == Channel::Room => {
            faults.add(
                raw.line,
                "the room channel cannot be its own cold junction; write its temperature in °C",
            );
            None
        }
        NumberOrText::Text(word) if word == Channel::Room.as_str() => Some(ColdJunction::Room),
        NumberOrText::Text(word) => {
            faults.add(
                raw.line,
                format!("`{word}` is not a cold junction; write a temperature in °C, or \"room\""),
            );
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;
    use model::Channel;

    use crate::meaning::tests::{SMALLEST, check, check_with};
    use crate::{ColdJunction, Sensor, parse_plant};

    #[test]
    fn a_machine_says_what_it_is_and_what_is_in_it() {
        check_with(
            "[[machine]]\nname = \" \"\n",
            expect![[r#"
            line 12: `couverture` is missing in [[machine]]
            line 12: `id` is missing in [[machine]]
            line 12: `style` is missing in [[machine]]
            line 13: `name` cannot be empty"#]],
        );
        check_with(
            "[[machine]]\nid = \"plant\"\nstyle = \"bowl\"\ncouverture = \"dark-46\"\nmethod = \"seeding\"\n",
            expect![[r#"
            line 13: no machine can have the id `plant`; findings about all machines go by it
            line 14: `bowl` is not a style (one of kettle, wheel, continuous and bench)
            line 15: there is no couverture `dark-46`; a [[couverture]] with that id is needed; did you mean `dark-64`?
            line 16: `seeding` is not a method (one of seed, butter-seed, partial-melt, tabling and continuous)"#]],
        );
        check_with(
            "[[machine]]\nid = \"alder\"\nstyle = \"wheel\"\ncouverture = \"dark-64\"\n",
            expect!["line 13: the machine `alder` is there twice; it first stands in line 9"],
        );
    }

    #[test]
    fn sizes_are_such_as_machines_have() {
        check_with(
            "capacity_kg = 0\ncooling_minutes = 99999999\n[machine.channel.chocolate]\noffset = 310\n\
             [machine.channel.motor]\noffset = -20.5\n[machine.channel.jacket]\nsensor = \"type-k\"\ncold_junction = 295\n",
            expect![[r#"
            line 12: `capacity_kg = 0` cannot be; it is between 0.01 and 20000
            line 13: `cooling_minutes = 99999999` cannot be; it is between 1 and 1440
            line 15: `offset = 310` cannot be; it is between -20 and 20
            line 20: `cold_junction = 295` cannot be; it is between -40 and 80"#]],
        );
    }

    #[test]
    fn one_fault_of_a_couverture_is_not_told_again_for_its_machines() {
        check(
            &SMALLEST.replace("\"dark-64\"", "\"dark 64\""),
            expect![
                "line 6: the id `dark 64` holds ` `; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit"
            ],
        );
    }

    #[test]
    fn channels_and_their_keys_are_known_ones() {
        check_with(
            "[machine.channel.choclate]\noffset = 1\n[machine.channel.room]\nofset = 1\n",
            expect![[r#"
            line 12: `choclate` is not a channel; the channels are chocolate, jacket, room, humidity, setpoint, stirrer and motor; did you mean `chocolate`?
            line 15: `ofset` is not known in [machine.channel.room]; did you mean `offset`? What can stand there: sensor, offset, cold_junction and tolerance"#]],
        );
        check_with("channel = 3\n", expect!["line 12: `channel` takes a table, not a number"]);
        check_with(
            "[machine.channel]\nchocolate = 3\n",
            expect!["line 13: `chocolate` takes a table, not a number"],
        );
    }

    #[test]
    fn sensors_and_cold_junctions_fit_together() {
        check_with(
            "[machine.channel.chocolate]\nsensor = \"pt1000\"\ncold_junction = 20\n",
            expect![
                "line 13: `pt1000` is not a sensor (one of pt100, type-k, type-t and type-j); did you mean `pt100`?"
            ],
        );
        check_with(
            "[machine.channel.chocolate]\nsensor = \"pt100\"\ncold_junction = 20\n",
            expect![
                "line 14: `cold_junction` is for thermocouples: it goes with sensor type-k, type-t or type-j"
            ],
        );
        check_with(
            "[machine.channel.chocolate]\ncold_junction = 20\n",
            expect![
                "line 13: `cold_junction` is for thermocouples: it goes with sensor type-k, type-t or type-j"
            ],
        );
        check_with(
            "[machine.channel.chocolate]\nsensor = \"type-k\"\n",
            expect![[
                r#"line 13: a thermocouple needs `cold_junction`: a temperature in °C, or "room" for the machine's room channel"#
            ]],
        );
        check_with(
            "[machine.channel.humidity]\nsensor = \"type-k\"\ncold_junction = 20\n",
            expect!["line 13: `sensor` is for temperatures, and humidity is none"],
        );
        check_with(
            "[machine.channel.room]\nsensor = \"type-t\"\ncold_junction = \"room\"\n",
            expect!["line 14: the room channel cannot be its own cold junction; write its temperature in °C"],
        );
        check_with(
            "[machine.channel.jacket]\nsensor = \"type-j\"\ncold_junction = \"jacket\"\n",
            expect![[r#"line 14: `jacket` is not a cold junction; write a temperature in °C, or "room""#]],
        );
    }

    #[test]
    fn what_is_left_out_has_its_usual_meaning() {
        let more = "[machine.channel.chocolate]\nsensor = \"type-k\"\noffset = -0.2\ncold_junction = \"room\"\n\
                    [[machine]]\nid = \"elm-2\"\nname = \"The elm\"\nstyle = \"continuous\"\ncouverture = \"dark-64\"\n";
        let plant = parse_plant(&format!("{SMALLEST}{more}")).unwrap();
        let names: Vec<&str> = plant.machines.iter().map(|machine| machine.name.as_str()).collect();
        assert_eq!(names, ["Alder", "The elm"]);
        let methods: Vec<&str> = plant.machines.iter().map(|machine| machine.method.as_str()).collect();
        assert_eq!(methods, ["seed", "continuous"]);
        let alder = &plant.machines[0];
        assert_eq!(alder.settings(Channel::Chocolate).sensor, Some(Sensor::TypeK(ColdJunction::Room)));
        assert_eq!(alder.settings(Channel::Chocolate).offset, -0.2);
        assert_eq!(alder.settings(Channel::Room).sensor, None);
    }
}

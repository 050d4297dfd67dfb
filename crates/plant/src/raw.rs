//! The typed step: the plant file as it was written, each value with its line.
//!
//! Nothing is judged here beyond shape: a word may be unknown, an id may point nowhere, a range may be upside down.

mod reach;

use toml::de::DeTable;

use crate::fault::{At, Faults};
use crate::table::{NumberOrText, Table};

pub(crate) use self::reach::{RawContact, RawMail, RawReach, RawRule, RawStep};

/// The whole file.
#[derive(Debug, Default)]
pub(crate) struct RawPlant {
    pub(crate) name: Option<At<String>>,
    pub(crate) time_zone: Option<At<String>>,
    pub(crate) lateness_seconds: Option<At<f64>>,
    pub(crate) mqtt: RawMqtt,
    pub(crate) couvertures: Vec<RawCouverture>,
    pub(crate) machines: Vec<RawMachine>,
    pub(crate) sources: Vec<RawSource>,
    pub(crate) temper_test: RawTemperTest,
    pub(crate) probe_checks: RawProbeChecks,
    pub(crate) reach: RawReach,
}

/// `[mqtt]`.
#[derive(Debug, Default)]
pub(crate) struct RawMqtt {
    pub(crate) url: Option<At<String>>,
    pub(crate) root: Option<At<String>>,
    pub(crate) client_id: Option<At<String>>,
    pub(crate) user: Option<At<String>>,
    pub(crate) password_file: Option<At<String>>,
    pub(crate) password_env: Option<At<String>>,
    pub(crate) ca_file: Option<At<String>>,
    pub(crate) certificate_file: Option<At<String>>,
    pub(crate) key_file: Option<At<String>>,
    pub(crate) listen: Option<At<String>>,
}

/// The limit keys, which can stand in a `[[couverture]]` and in a `[[machine]]`.
#[derive(Debug, Default)]
pub(crate) struct RawLimits {
    pub(crate) melt: Option<At<(f64, f64)>>,
    pub(crate) scorch: Option<At<f64>>,
    pub(crate) floor: Option<At<f64>>,
    pub(crate) working: Option<At<(f64, f64)>>,
    pub(crate) temper_loss: Option<At<f64>>,
    pub(crate) seed_share: Option<At<(f64, f64)>>,
    pub(crate) max_hold: Option<At<f64>>,
}

/// One `[[couverture]]`.
#[derive(Debug)]
pub(crate) struct RawCouverture {
    pub(crate) id: Option<At<String>>,
    pub(crate) name: Option<At<String>>,
    pub(crate) family: Option<At<String>>,
    pub(crate) limits: RawLimits,
}

/// One `[[machine]]`.
#[derive(Debug)]
pub(crate) struct RawMachine {
    pub(crate) id: Option<At<String>>,
    pub(crate) name: Option<At<String>>,
    pub(crate) style: Option<At<String>>,
    pub(crate) capacity_kg: Option<At<f64>>,
    pub(crate) couverture: Option<At<String>>,
    pub(crate) method: Option<At<String>>,
    pub(crate) cooling_minutes: Option<At<f64>>,
    pub(crate) channels: Vec<RawChannel>,
    pub(crate) limits: RawLimits,
}

/// One `[machine.channel.<name>]`.
#[derive(Debug)]
pub(crate) struct RawChannel {
    pub(crate) name: At<String>,
    pub(crate) sensor: Option<At<String>>,
    pub(crate) offset: Option<At<f64>>,
    pub(crate) cold_junction: Option<At<NumberOrText>>,
    pub(crate) tolerance: Option<At<String>>,
}

/// `[temper_test]`; what follows from the grades a to e stands in `[temper_test.follows]`.
#[derive(Debug, Default)]
pub(crate) struct RawTemperTest {
    pub(crate) cool_minutes: Option<At<f64>>,
    pub(crate) every_minutes: Option<At<f64>>,
    pub(crate) set_good_minutes: Option<At<f64>>,
    pub(crate) set_slow_minutes: Option<At<f64>>,
    pub(crate) set_thick_minutes: Option<At<f64>>,
    pub(crate) milk_and_white_later_minutes: Option<At<f64>>,
    pub(crate) curve_under_above: Option<At<f64>>,
    pub(crate) curve_over_below: Option<At<f64>>,
    pub(crate) curve_smooth_seconds: Option<At<f64>>,
    pub(crate) curve_slope_seconds: Option<At<f64>>,
    pub(crate) follows: [Option<At<String>>; 5],
}

/// `[probe_checks]`.
#[derive(Debug, Default)]
pub(crate) struct RawProbeChecks {
    pub(crate) every_days: Option<At<f64>>,
    pub(crate) accept_c: Option<At<f64>>,
    pub(crate) replace_c: Option<At<f64>>,
}

/// One `[[source]]`.
#[derive(Debug)]
pub(crate) struct RawSource {
    pub(crate) line: usize,
    pub(crate) filter: Option<At<String>>,
    pub(crate) machine: Option<At<String>>,
    pub(crate) channel: Option<At<String>>,
    pub(crate) value: Option<At<String>>,
    pub(crate) time: Option<At<String>>,
    pub(crate) time_format: Option<At<String>>,
}

impl RawPlant {
    /// Reads what can be read; the rest goes to `faults`.
    pub(crate) fn read(document: &DeTable<'_>, faults: &mut Faults<'_>) -> RawPlant {
        let mut file = Table::new("the plant file", 1, document);
        let mut raw = RawPlant::default();
        if !file.has("plant") {
            faults.add_absence(1, "there is no [plant]; it holds `name` and `time_zone`");
        }
        if !file.has("machine") {
            faults.add_absence(1, "there is no [[machine]]; describe at least one");
        }
        if let Some(mut plant) = file.table("plant", faults) {
            raw.name = plant.required_text("name", faults);
            raw.time_zone = plant.required_text("time_zone", faults);
            raw.lateness_seconds = plant.number("lateness_seconds", faults);
            plant.finish(faults);
        }
        raw.mqtt = file.table("mqtt", faults).map(|table| RawMqtt::read(table, faults)).unwrap_or_default();
        raw.couvertures = file
            .tables("couverture", faults)
            .into_iter()
            .map(|table| RawCouverture::read(table, faults))
            .collect();
        raw.machines =
            file.tables("machine", faults).into_iter().map(|table| RawMachine::read(table, faults)).collect();
        raw.sources =
            file.tables("source", faults).into_iter().map(|table| RawSource::read(table, faults)).collect();
        raw.temper_test = file
            .table("temper_test", faults)
            .map(|table| RawTemperTest::read(table, faults))
            .unwrap_or_default();
        raw.probe_checks = file
            .table("probe_checks", faults)
            .map(|table| RawProbeChecks::read(table, faults))
            .unwrap_or_default();
        raw.reach = RawReach::read(&mut file, faults);
        file.finish(faults);
        raw
    }
}

impl RawTemperTest {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawTemperTest {
        let raw = RawTemperTest {
            cool_minutes: table.number("cool_minutes", faults),
            every_minutes: table.number("every_minutes", faults),
            set_good_minutes: table.number("set_good_minutes", faults),
            set_slow_minutes: table.number("set_slow_minutes", faults),
            set_thick_minutes: table.number("set_thick_minutes", faults),
            milk_and_white_later_minutes: table.number("milk_and_white_later_minutes", faults),
            curve_under_above: table.number("curve_under_above", faults),
            curve_over_below: table.number("curve_over_below", faults),
            curve_smooth_seconds: table.number("curve_smooth_seconds", faults),
            curve_slope_seconds: table.number("curve_slope_seconds", faults),
            follows: table
                .table("follows", faults)
                .map(|table| read_follows(table, faults))
                .unwrap_or_default(),
        };
        table.finish(faults);
        raw
    }
}

fn read_follows(mut table: Table<'_>, faults: &mut Faults<'_>) -> [Option<At<String>>; 5] {
    let follows = ["a", "b", "c", "d", "e"].map(|grade| table.text(grade, faults));
    table.finish(faults);
    follows
}

impl RawProbeChecks {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawProbeChecks {
        let raw = RawProbeChecks {
            every_days: table.number("every_days", faults),
            accept_c: table.number("accept_c", faults),
            replace_c: table.number("replace_c", faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawMqtt {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawMqtt {
        let raw = RawMqtt {
            url: table.text("url", faults),
            root: table.text("root", faults),
            client_id: table.text("client_id", faults),
            user: table.text("user", faults),
            password_file: table.text("password_file", faults),
            password_env: table.text("password_env", faults),
            ca_file: table.text("ca_file", faults),
            certificate_file: table.text("certificate_file", faults),
            key_file: table.text("key_file", faults),
            listen: table.text("listen", faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawLimits {
    fn read(table: &mut Table<'_>, faults: &mut Faults<'_>) -> RawLimits {
        RawLimits {
            melt: table.pair("melt", faults),
            scorch: table.number("scorch", faults),
            floor: table.number("floor", faults),
            working: table.pair("working", faults),
            temper_loss: table.number("temper_loss", faults),
            seed_share: table.pair("seed_share", faults),
            max_hold: table.number("max_hold", faults),
        }
    }
}

impl RawCouverture {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawCouverture {
        let raw = RawCouverture {
            id: table.required_text("id", faults),
            name: table.text("name", faults),
            family: table.required_text("family", faults),
            limits: RawLimits::read(&mut table, faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawMachine {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawMachine {
        let raw = RawMachine {
            id: table.required_text("id", faults),
            name: table.text("name", faults),
            style: table.required_text("style", faults),
            capacity_kg: table.number("capacity_kg", faults),
            couverture: table.required_text("couverture", faults),
            method: table.text("method", faults),
            cooling_minutes: table.number("cooling_minutes", faults),
            channels: table
                .table("channel", faults)
                .map_or_else(Vec::new, |table| read_channels(&table, faults)),
            limits: RawLimits::read(&mut table, faults),
        };
        table.finish(faults);
        raw
    }
}

fn read_channels(table: &Table<'_>, faults: &mut Faults<'_>) -> Vec<RawChannel> {
    let named = table.named_tables(faults);
    named.into_iter().map(|(name, table)| RawChannel::read(name, table, faults)).collect()
}

impl RawChannel {
    fn read(name: At<String>, mut table: Table<'_>, faults: &mut Faults<'_>) -> RawChannel {
        let raw = RawChannel {
            name,
            sensor: table.text("sensor", faults),
            offset: table.number("offset", faults),
            cold_junction: table.number_or_text("cold_junction", faults),
            tolerance: table.text("tolerance", faults),
        };
        table.finish(faults);
        raw
    }
}

impl RawSource {
    fn read(mut table: Table<'_>, faults: &mut Faults<'_>) -> RawSource {
        let raw = RawSource {
            line: table.line(),
            filter: table.required_text("filter", faults),
            machine: table.text("machine", faults),
            channel: table.text("channel", faults),
            value: table.text("value", faults),
            time: table.text("time", faults),
            time_format: table.text("time_format", faults),
        };
        table.finish(faults);
        raw
    }
}

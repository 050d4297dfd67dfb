//! The meant step: from what was written to what it means.
//!
//! Here words become enums, ids are looked up and ranges are compared. Every function returns what it could make sense
//! of and adds the rest to the faults, so that one fault never hides another.

mod couverture;
mod limits;
mod machine;
mod mqtt;
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
        faults.add(line, format!("this cannot be read as TOML: {}", error.message()));
    }
    // After a syntax error the rest is guesswork: what seems missing may only have been swallowed by it.
    let plant = broken.is_empty().then(|| RawPlant::read(document.get_ref(), &mut faults));
    let plant = plant.and_then(|raw| mean(&raw, &mut faults));
    faults.unless_any(plant)
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
    Some(Plant {
        name: name?,
        time_zone: time_zone?,
        mqtt: mqtt?,
        couvertures,
        machines,
        sources,
        lateness: lateness?,
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

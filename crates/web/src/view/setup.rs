//! The plant file as a page says it, and the probes with their checks.

use model::{Channel, CheckKind, MachineId, ProbeCheck, Span};
use plant::{Couverture, Family, Limits, Machine, Sensor};
use records::Entry;
use serde::Serialize;

use super::{Chip, HistoryView, Link, Moment, Scene, channel_word, error_says};
use crate::handlers::setup::CHECKED;
use crate::words;

/// Checks on the page; all of them are there for programs.
const MOST_CHECKS: usize = 50;

/// The page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SetupView {
    machines: Vec<MachineRow>,
    couvertures: Vec<CouvertureRow>,
    probes: Vec<ProbeRow>,
    checks: Vec<CheckRow>,
    /// How often, and what passes.
    rules: String,
    /// `alder/chocolate`, `Alder, chocolate`
    choices: Vec<(String, String)>,
    pub entered: bool,
    pub fault: Option<String>,
    /// Of checks of probes.
    history: HistoryView,
}

#[derive(Debug, Clone, Serialize)]
struct MachineRow {
    link: Link,
    style: &'static str,
    capacity: String,
    couverture: String,
    method: &'static str,
    cooling: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct CouvertureRow {
    name: String,
    family: &'static str,
    melt: String,
    scorch: String,
    floor: String,
    working: String,
    temper_loss: String,
    max_hold: String,
}

#[derive(Debug, Clone, Serialize)]
struct ProbeRow {
    machine: String,
    channel: &'static str,
    sensor: String,
    offset: String,
    last: String,
    chip: Chip,
    due: String,
}

#[derive(Debug, Clone, Serialize)]
struct CheckRow {
    at: Moment,
    probe: String,
    kind: &'static str,
    found: String,
    left: String,
    chip: Chip,
    says: String,
    by: String,
}

impl SetupView {
    /// `checks` with the oldest first.
    pub(crate) fn new(scene: Scene<'_>, checks: &[ProbeCheck], changes: &[Entry]) -> SetupView {
        let machines = &scene.plant.machines;
        let rules = &scene.plant.probe_checks;
        let days = rules.every.as_mins_f64() / (24.0 * 60.0);
        let probes = machines.iter().flat_map(|machine| {
            let known = CHECKED.into_iter().filter(|channel| {
                *channel == Channel::Chocolate
                    || machine.channels.contains_key(channel)
                    || checks.iter().any(|check| check.machine == machine.id && check.channel == *channel)
            });
            known.map(|channel| ProbeRow::new(scene, machine, channel, checks))
        });
        let choice = |machine: &Machine, channel: Channel| {
            (format!("{}/{channel}", machine.id), format!("{}, {}", machine.name, channel_word(channel)))
        };
        SetupView {
            history: HistoryView::new(scene, changes),
            machines: machines.iter().map(|machine| MachineRow::new(scene, machine)).collect(),
            couvertures: CouvertureRow::all(scene),
            probes: probes.collect(),
            checks: checks.iter().rev().take(MOST_CHECKS).map(|check| CheckRow::new(scene, check)).collect(),
            rules: format!(
                "A check is due every {days:.0} days. A probe passes when it is off by at most {}; one that is off by more than {} is replaced and not corrected.",
                difference(scene, rules.accept_c),
                difference(scene, rules.replace_c)
            ),
            choices: machines
                .iter()
                .flat_map(|machine| CHECKED.map(|channel| choice(machine, channel)))
                .collect(),
            entered: false,
            fault: None,
        }
    }
}

impl MachineRow {
    fn new(scene: Scene<'_>, machine: &Machine) -> MachineRow {
        let couverture = scene.plant.couverture(&machine.couverture);
        MachineRow {
            link: Link { href: format!("/machines/{}", machine.id), says: machine.name.clone() },
            style: machine.style.as_str(),
            capacity: machine.capacity_kg.map_or_else(|| "–".to_owned(), words::kilograms),
            couverture: couverture
                .map_or_else(|| machine.couverture.to_string(), |known| words::tied(known.display_name())),
            method: machine.method.as_str(),
            cooling: machine
                .cooling_minutes
                .map_or_else(|| "–".to_owned(), |minutes| words::length(Span::from_mins_f64(minutes))),
        }
    }
}

impl CouvertureRow {
    /// Those of the plant file.
    pub(crate) fn all(scene: Scene<'_>) -> Vec<CouvertureRow> {
        let row = |couverture: &Couverture| {
            CouvertureRow::new(scene, couverture.display_name(), couverture.family, &couverture.limits())
        };
        scene.plant.couvertures.iter().map(row).collect()
    }

    fn new(scene: Scene<'_>, name: &str, family: Family, limits: &Limits) -> CouvertureRow {
        let band = |band: model::Band| {
            let (low, high) = (scene.degrees.of(band.low()), scene.degrees.of(band.high()));
            format!("{low:.1} to {high:.1}\u{a0}{}", scene.degrees.unit())
        };
        CouvertureRow {
            name: words::tied(name),
            family: family.as_str(),
            melt: band(limits.melt),
            scorch: scene.temperature(limits.scorch),
            floor: scene.temperature(limits.floor),
            working: band(limits.working),
            temper_loss: scene.temperature(limits.temper_loss),
            max_hold: words::length(limits.max_hold),
        }
    }
}

impl ProbeRow {
    fn new(scene: Scene<'_>, machine: &Machine, channel: Channel, checks: &[ProbeCheck]) -> ProbeRow {
        let settings = machine.settings(channel);
        let sensor = match settings.sensor {
            None => "sends °C",
            Some(Sensor::Pt100) => "Pt100, sends ohms",
            Some(Sensor::TypeK(_)) => "thermocouple K",
            Some(Sensor::TypeT(_)) => "thermocouple T",
            Some(Sensor::TypeJ(_)) => "thermocouple J",
        };
        let couverture = scene.plant.limits(machine, &machine.couverture);
        let class = settings.tolerance.map(|class| {
            let at_use = (couverture.working.low() + couverture.working.high()) / 2.0;
            let allowed = difference(scene, class.allows_c(at_use));
            format!(", class {}: ±\u{a0}{allowed} at {}", class.as_str(), scene.temperature(at_use))
        });
        let last = newest(checks, &machine.id, channel);
        let due_at = last.map(|check| check.at + scene.plant.probe_checks.every);
        let overdue = due_at.is_none_or(|due| due <= scene.now);
        let chip = match last {
            None => Chip { class: "open", word: "never checked" },
            Some(check) if !check.is_left_right() => Chip { class: "now", word: "wrong" },
            Some(_) if overdue => Chip { class: "soon", word: "check due" },
            Some(_) => Chip { class: "good", word: "checked" },
        };
        ProbeRow {
            machine: machine.name.clone(),
            channel: channel_word(channel),
            sensor: format!("{sensor}{}", class.unwrap_or_default()),
            offset: if settings.offset == 0.0 { "none".to_owned() } else { signed(scene, settings.offset) },
            last: last.map_or_else(|| "–".to_owned(), |check| scene.local.moment(check.at, scene.now)),
            chip,
            due: due_at.map_or_else(|| "now".to_owned(), |due| scene.local.moment(due, scene.now)),
        }
    }
}

fn newest<'a>(checks: &'a [ProbeCheck], machine: &MachineId, channel: Channel) -> Option<&'a ProbeCheck> {
    checks.iter().rev().find(|check| check.machine == *machine && check.channel == channel)
}

impl CheckRow {
    fn new(scene: Scene<'_>, check: &ProbeCheck) -> CheckRow {
        let machine = scene.plant.machine(&check.machine);
        let name = machine.map_or(check.machine.as_str(), |machine| &machine.name);
        let exact = |celsius: f64| format!("{:.2}\u{a0}{}", scene.degrees.of(celsius), scene.degrees.unit());
        let (chip, says) = if check.is_passed() {
            (Chip { class: "good", word: "passed" }, String::new())
        } else {
            let replace = scene.plant.probe_checks.replace_c < check.error_c().abs();
            let next = match (check.is_left_right(), replace) {
                (true, _) => "put right",
                (false, true) => "replace it",
                (false, false) => "correct it: enter an offset in the plant file",
            };
            let says = format!(
                "{}; {next}. Batches back to the last good check are measured in doubt.",
                error_says(check.error_c(), scene.degrees)
            );
            (Chip { class: "now", word: "failed" }, says)
        };
        CheckRow {
            at: scene.moment(check.at),
            probe: format!("{name}, {}", channel_word(check.channel)),
            kind: match check.kind {
                CheckKind::IcePoint => "ice point",
                CheckKind::Comparison => "comparison",
            },
            found: format!("{} beside {}", exact(check.as_found_c), exact(check.reference_c)),
            left: check.as_left_c.map_or_else(|| "–".to_owned(), exact),
            chip,
            says,
            by: match &check.reference {
                Some(reference) => format!("{}, with {reference}", check.by),
                None => check.by.clone(),
            },
        }
    }
}

/// `0.30 °C`, a difference to the hundredth.
fn difference(scene: Scene<'_>, celsius: f64) -> String {
    format!("{:.2}\u{a0}{}", scene.degrees.of_difference(celsius), scene.degrees.unit())
}

fn signed(scene: Scene<'_>, celsius: f64) -> String {
    format!("{:+.2}\u{a0}{}", scene.degrees.of_difference(celsius), scene.degrees.unit())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{moment, with_scene};

    fn check(clock: &str, as_found_c: f64, as_left_c: Option<f64>) -> ProbeCheck {
        ProbeCheck {
            machine: "alder".parse().unwrap(),
            channel: Channel::Chocolate,
            kind: CheckKind::IcePoint,
            reference_c: 0.0,
            as_found_c,
            as_left_c,
            reference: Some("T-4".to_owned()),
            accept_c: 0.3,
            by: "rui".to_owned(),
            at: moment(clock),
        }
    }

    fn alder(checks: &[ProbeCheck]) -> ProbeRow {
        with_scene(moment("12:00"), |scene| SetupView::new(scene, checks, &[]).probes[0].clone())
    }

    #[test]
    fn a_probe_says_whether_it_was_right_and_when_it_is_due() {
        assert_eq!((alder(&[]).chip.word, alder(&[]).due.as_str()), ("never checked", "now"));
        let checked = alder(&[check("08:00", 0.1, None)]);
        assert_eq!((checked.chip.word, checked.due.as_str()), ("checked", "Wed 1 Apr, 08:00"));
        assert_eq!(alder(&[check("08:00", 0.1, None), check("09:00", 0.8, None)]).chip.word, "wrong");
        assert_eq!(alder(&[check("09:00", 0.8, Some(0.0))]).chip.word, "checked");
    }

    #[test]
    fn a_failed_check_says_by_how_much_and_what_to_do() {
        let row = with_scene(moment("12:00"), |scene| CheckRow::new(scene, &check("09:00", 1.2, None)));
        assert_eq!(row.found, "1.20\u{a0}°C beside 0.00\u{a0}°C");
        assert!(row.says.starts_with("1.20\u{a0}°C too much; replace it."), "{}", row.says);
    }
}

//! A finding as it stands on a page: a sentence, what convinced the detector, what to do.

use alarms::Listing;
use charts::Degrees;
use model::{Evidence, EvidenceValue, Finding, Priority, Span};
use serde::Serialize;

use super::{AlarmMark, Chip, Moment, Scene};
use crate::words;

/// A finding as it stands on a page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FindingView {
    pub id: String,
    pub chip: Chip,
    /// `temper-loss`: its place in the handbook.
    pub kind: &'static str,
    /// In the trade's words.
    pub title: &'static str,
    /// What it means and why it matters.
    pub meaning: &'static str,
    /// What to do, in the order of doing.
    pub to_do: &'static str,
    /// The name of the machine; `The works` for a finding of the plant.
    pub place: String,
    pub batch_href: Option<String>,
    pub says: String,
    pub advice: String,
    pub raised: Moment,
    /// `open for 25 min`, `over after 12 min`
    pub lasted: String,
    pub open: bool,
    pub superseded: bool,
    pub evidence: Vec<EvidenceRow>,
    /// What people said of the alarm, if it is one that is not over.
    pub alarm: Option<AlarmMark>,
}

/// One fact.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct EvidenceRow {
    pub name: String,
    pub value: String,
}

/// The chip of a priority: a word and a shape, and colour only for what needs a person.
pub(crate) fn priority_chip(priority: Priority) -> Chip {
    let class = match priority {
        Priority::High => "now",
        Priority::Medium => "soon",
        Priority::Low => "later",
    };
    Chip { class, word: words::priority(priority) }
}

impl FindingView {
    pub(crate) fn new(scene: Scene<'_>, finding: &Finding) -> FindingView {
        let name =
            |id| scene.plant.machine(id).map_or_else(|| id.to_string(), |machine| machine.name.clone());
        let help = report::help(finding.kind);
        FindingView {
            id: finding.id.to_string(),
            chip: priority_chip(finding.priority),
            kind: finding.kind.as_str(),
            title: finding.kind.title(),
            meaning: help.meaning,
            to_do: help.to_do,
            place: finding.machine.as_ref().map_or_else(|| "The works".to_owned(), name),
            batch_href: finding.batch.as_ref().map(|batch| format!("/batches/{batch}")),
            says: told(scene, finding),
            advice: scene.sentence(&finding.advice),
            raised: scene.moment(finding.raised_at),
            lasted: match finding.to {
                None => format!("open for {}", words::length(scene.now.since(finding.from))),
                Some(to) if to.since(finding.from) < Span::from_secs(1) => "over at once".to_owned(),
                Some(to) => format!("over after {}", words::length(to.since(finding.from))),
            },
            open: finding.is_open(),
            superseded: finding.superseded_by.is_some(),
            evidence: finding.evidence.iter().map(|fact| EvidenceRow::new(scene, fact)).collect(),
            alarm: None,
        }
    }

    /// The same, with what people said of the alarm.
    pub(crate) fn with_alarm(scene: Scene<'_>, finding: &Finding, alarms: &Listing) -> FindingView {
        let alarm = alarms.of(&finding.id).map(|alarm| AlarmMark::new(scene, alarm));
        FindingView { alarm, ..FindingView::new(scene, finding) }
    }
}

/// What a finding says. Its sentence is of the moment at which it was raised, and once it is over nobody should read it as of now.
pub(crate) fn told(scene: Scene<'_>, finding: &Finding) -> String {
    let says = scene.sentence(&with_names(scene, finding));
    if finding.is_open() { says } else { format!("When it was raised: “{says}”") }
}

/// Names told in a sentence; of more only how many.
const NAMED: usize = 6;

/// What a finding says, with machines by their names instead of their ids, and not all of many.
fn with_names(scene: Scene<'_>, finding: &Finding) -> String {
    let ids = finding.evidence.iter().find(|fact| fact.name == "machine_ids");
    let Some(Evidence { value: EvidenceValue::Text(ids), .. }) = ids else { return finding.says.clone() };
    let Some(begin) = finding.says.strip_suffix(&format!("{ids}.")) else { return finding.says.clone() };
    let name = |id: &str| {
        let machine = id.parse().ok().and_then(|id| scene.plant.machine(&id));
        machine.map_or_else(|| id.to_owned(), |machine| machine.name.clone())
    };
    let names: Vec<String> = ids.split(", ").map(name).collect();
    match names.len().saturating_sub(NAMED) {
        0 => format!("{begin}{}.", names.join(", ")),
        more => format!("{begin}{} and {more} more.", names[..NAMED].join(", ")),
    }
}

impl EvidenceRow {
    fn new(scene: Scene<'_>, fact: &Evidence) -> EvidenceRow {
        let (name, unit) = name_and_unit(&fact.name);
        let value = match &fact.value {
            EvidenceValue::Number(number) => lasting(unit, *number).unwrap_or_else(|| {
                let read = as_read(&fact.name, unit, *number, scene.degrees);
                format!("{}{}", rounded(read, decimals(unit)), unit.replace("°C", scene.degrees.unit()))
            }),
            EvidenceValue::Text(text) => scene.sentence(text),
            EvidenceValue::Time(at) => scene.local.moment(*at, scene.now),
        };
        EvidenceRow { name, value }
    }
}

/// `area_c_min` is an area in °C·min. Longer endings first, so that `_c_per_min` is not taken for minutes.
const UNITS: &[(&str, &str)] = &[
    ("_c_per_min", "\u{a0}°C/min"),
    ("_c_per_h", "\u{a0}°C/h"),
    ("_c_min", "\u{a0}°C·min"),
    ("_minutes", "\u{a0}min"),
    ("_min", "\u{a0}min"),
    ("_seconds", "\u{a0}s"),
    ("_s", "\u{a0}s"),
    ("_percent", "\u{a0}%"),
    ("_rh", "\u{a0}%RH"),
    ("_c", "\u{a0}°C"),
    ("_a", "\u{a0}A"),
    ("_kg", "\u{a0}kg"),
];

fn name_and_unit(name: &str) -> (String, &'static str) {
    let (stem, unit) = UNITS
        .iter()
        .find_map(|(ending, unit)| name.strip_suffix(ending).map(|stem| (stem, *unit)))
        .unwrap_or((name, ""));
    let mut said = stem.replace('_', " ");
    if let Some(first) = said.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    (said, unit)
}

/// Parts of names that make a figure a difference.
const OF_A_DIFFERENCE: [&str; 12] =
    ["moved", "offset", "cusum", "dip", "rise", "drop", "fall", "sd", "scatter", "swing", "above", "below"];

/// A figure in the reader's degrees, where it is one of temperature.
fn as_read(name: &str, unit: &str, value: f64, degrees: Degrees) -> f64 {
    let is_difference = name.split('_').any(|part| OF_A_DIFFERENCE.contains(&part));
    match unit.trim_start() {
        "°C" if !is_difference => degrees.of(value),
        unit if unit.starts_with("°C") => degrees.of_difference(value),
        _ => value,
    }
}

/// A length as everywhere on the pages, in whole minutes from a minute on; `None` for what is none, is shorter, or would be told wrongly by
/// more than a twentieth.
fn lasting(unit: &str, number: f64) -> Option<String> {
    let seconds = match unit.trim_start() {
        "min" => number * 60.0,
        "s" => number,
        _ => return None,
    };
    let minutes = (seconds / 60.0).round();
    let is_near = (minutes * 60.0 - seconds).abs() <= seconds / 20.0;
    (seconds >= 59.5 && is_near).then(|| words::length(Span::from_mins_f64(minutes)))
}

/// As many as mean something: a hundredth of a degree, of a slope a tenth of that.
fn decimals(unit: &str) -> usize {
    match unit.trim_start() {
        "°C" => 2,
        "min" | "s" => 1,
        _ => 3,
    }
}

/// At most so many decimals, and none that say nothing.
fn rounded(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use model::FindingKind;

    #[test]
    fn evidence_is_said_with_its_unit() {
        let said = |name: &str| {
            let (name, unit) = name_and_unit(name);
            format!("{name}|{}", unit.replace('\u{a0}', " "))
        };
        assert_eq!(said("area_c_min"), "Area| °C·min");
        assert_eq!(said("slope_c_per_min"), "Slope| °C/min");
        assert_eq!(said("usual_cooling_minutes"), "Usual cooling| min");
        assert_eq!(said("against"), "Against|");
        assert_eq!(
            [1.0, 0.25, 33.5004, -0.0001].map(|number| rounded(number, 3)),
            ["1", "0.25", "33.5", "0"]
        );
    }

    #[test]
    fn machines_are_called_by_their_names_and_of_many_not_all() {
        let fact = |ids: &str| Evidence {
            name: "machine_ids".to_owned(),
            value: EvidenceValue::Text(ids.to_owned()),
        };
        let said = |ids: &str| {
            let finding = Finding {
                says: format!("They have gone silent at the same time: {ids}."),
                evidence: vec![fact(ids)],
                ..made_up::finding(
                    &"alder".parse().unwrap(),
                    FindingKind::CommonCause,
                    Priority::High,
                    "11:00",
                )
            };
            made_up::with_scene(made_up::moment("12:00"), |scene| with_names(scene, &finding))
        };
        assert_eq!(said("alder, birch, x"), "They have gone silent at the same time: Alder, Birch, x.");
        let many = said("alder, b1, b2, b3, b4, b5, b6, b7");
        assert_eq!(many, "They have gone silent at the same time: Alder, b1, b2, b3, b4, b5 and 2 more.");
    }

    #[test]
    fn lengths_are_whole_minutes() {
        let said = |name: &str, number| {
            let (_, unit) = name_and_unit(name);
            lasting(unit, number).map(|said| said.replace('\u{a0}', " "))
        };
        assert_eq!(said("held_min", 120.033).as_deref(), Some("2 h"));
        assert_eq!(said("usual_cooling_minutes", 71.6).as_deref(), Some("1 h 12 min"));
        assert_eq!(said("limit_seconds", 60.0).as_deref(), Some("1 min"));
        assert_eq!(said("interval_s", 0.5), None, "a short one keeps its decimal");
        assert_eq!(said("period_min", 9.8).as_deref(), Some("10 min"));
        assert_eq!((said("limit_s", 90.0), said("period_min", 2.4)), (None, None), "not 2 min");
        assert_eq!(said("area_c_min", 120.0), None);
    }
}

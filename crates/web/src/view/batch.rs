//! A batch as a page shows it: one row in a list, or the head of its report.

use charts::Degrees;
use model::{Batch, Confidence, Event, EventKind, Method, Phase, TemperTest, Timestamp};
use report::MeasureRow;
use serde::Serialize;

use super::lane::standing_chip;
use super::{Chip, GradeView, Moment, Scene};
use crate::judged::couverture_of;
use crate::{curve, words};

/// As wide as the list of events.
const SAMPLE_SIZE: (u32, u32) = (760, 260);

/// A batch in a list.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BatchRow {
    pub href: String,
    pub start: Moment,
    pub couverture: String,
    pub standing: Chip,
    pub reasons: String,
    pub cooling: String,
    pub settled: String,
    pub working: String,
    pub open: bool,
}

/// The head of a batch report.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BatchView {
    pub id: String,
    pub href: String,
    pub machine: String,
    pub machine_href: String,
    pub couverture: String,
    pub lot: Option<String>,
    pub mass: Option<String>,
    pub method: &'static str,
    pub start: Moment,
    /// `None` while it goes on.
    pub end: Option<Moment>,
    /// Until its end, or as far as it is known.
    pub lasted: String,
    /// The last good reading of one that has no end, although none has come for long.
    pub last_good: Option<Moment>,
    pub standing: Chip,
    pub reasons: Vec<String>,
    pub phases: Vec<PhaseRow>,
}

/// A phase of a batch.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct PhaseRow {
    pub name: &'static str,
    pub class: &'static str,
    pub from: Moment,
    pub length: String,
    pub open: bool,
    /// How much speaks for it, where it is not the usual much.
    pub doubt: Option<&'static str>,
}

/// An event of a batch.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct EventRow {
    pub at: Moment,
    pub says: String,
    pub by: Option<String>,
    /// Of a temper test.
    pub grade: Option<GradeView>,
    /// Where a smear cooled, and how the room was.
    pub further: Vec<String>,
    /// The cooling curve of a sample: a drawing, and what it says.
    pub curve: Option<(String, String)>,
    /// Where the photo of a smear is.
    pub photo: Option<String>,
}

/// A measure of a batch.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct MeasureView {
    pub name: String,
    pub value: String,
    pub usual: String,
    pub help: &'static str,
}

impl MeasureView {
    pub(crate) fn new(scene: Scene<'_>, row: &MeasureRow) -> MeasureView {
        let mut name = row.label.to_owned();
        if let Some(first) = name.get_mut(..1) {
            first.make_ascii_uppercase();
        }
        let row = measure_as_read(*row, scene.degrees);
        MeasureView { name, value: row.says(), usual: row.usual_says(), help: row.meaning }
    }
}

impl BatchRow {
    pub(crate) fn new(scene: Scene<'_>, batch: &Batch) -> BatchRow {
        let measures = &batch.measures;
        let minutes = |value: Option<f64>| {
            value.map_or_else(|| "–".to_owned(), |minutes| words::length(model::Span::from_mins_f64(minutes)))
        };
        BatchRow {
            href: format!("/batches/{}", batch.id),
            start: scene.moment(batch.start),
            couverture: couverture_name(scene, batch),
            standing: standing_chip(batch.standing),
            reasons: batch.reasons.join("; "),
            cooling: minutes(measures.cooling_minutes),
            settled: measures.settled_c.map_or_else(|| "–".to_owned(), |celsius| scene.temperature(celsius)),
            working: minutes(measures.working_minutes),
            open: batch.end.is_none(),
        }
    }
}

impl BatchView {
    /// The machine's readings have been worked through up to `seen_to`.
    pub(crate) fn new(scene: Scene<'_>, batch: &Batch, seen_to: Timestamp) -> BatchView {
        let machine = scene.plant.machine(&batch.machine);
        let seen_to = seen_to.max(batch.start);
        let is_left = batch.end.is_none() && curve::known_until(seen_to, scene.now) < scene.now;
        let known_to = if is_left { seen_to } else { scene.now };
        BatchView {
            id: batch.id.to_string(),
            href: format!("/batches/{}", batch.id),
            machine: machine.map_or_else(|| batch.machine.to_string(), |machine| machine.name.clone()),
            machine_href: format!("/machines/{}", batch.machine),
            couverture: couverture_name(scene, batch),
            lot: batch.lot.clone(),
            mass: batch.mass_kg.map(words::kilograms),
            method: method(batch.method),
            start: Moment {
                says: scene.local.full(batch.start),
                exact: scene.local.machine_readable(batch.start),
            },
            end: batch.end.map(|end| scene.moment(end)),
            lasted: words::length(batch.end.unwrap_or(known_to).since(batch.start)),
            last_good: is_left.then(|| Moment {
                says: scene.local.full(seen_to),
                exact: scene.local.machine_readable(seen_to),
            }),
            standing: standing_chip(batch.standing),
            reasons: batch.reasons.clone(),
            phases: PhaseRow::all(scene, batch),
        }
    }
}

impl EventRow {
    pub(crate) fn new(scene: Scene<'_>, event: &Event) -> EventRow {
        EventRow {
            at: scene.moment(event.at),
            says: words::event(event, scene.degrees),
            by: event.by.clone(),
            grade: None,
            further: Vec::new(),
            curve: None,
            photo: None,
        }
    }

    /// The same with everything that is told of a temper test.
    pub(crate) fn of_batch(scene: Scene<'_>, batch: &Batch, event: &Event, photos: &[Timestamp]) -> EventRow {
        let row = EventRow::new(scene, event);
        let EventKind::TemperTest(test) = &event.kind else {
            return EventRow { further: of_material(scene, event), ..row };
        };
        let known = couverture_of(scene.plant, batch);
        let told = wire::further(event);
        let of_curve_alone = told.has_curve && !told.has_smear;
        let grade = known.filter(|_| !of_curve_alone).map(|known| GradeView::new(scene, known.family, test));
        let curve = wire::sample_curve(&event.raw, &scene.plant.temper_test.curve)
            .filter(|_| told.has_curve)
            .map(|curve| sample_drawing(scene, batch, event, &curve));
        let photo =
            photos.contains(&event.at).then(|| format!("/photos/{}/{}", event.machine, event.at.as_millis()));
        EventRow { grade, further: further(scene, test, &told), curve, photo, ..row }
    }
}

/// Set time, where it cooled, how the room was, and from which channel a sample's curve was taken.
fn further(scene: Scene<'_>, test: &TemperTest, told: &wire::Further) -> Vec<String> {
    let cooled = told.cooled.as_deref().map(|place| match place {
        "refrigerator" => "cooled in a refrigerator".to_owned(),
        _ => "cooled in the room".to_owned(),
    });
    let set = test.minutes.map(|minutes| format!("set after {minutes}\u{a0}min"));
    let room = told.room_c.map(|celsius| format!("room {}", scene.temperature(celsius)));
    let damp = told.room_rh.map(|humidity| format!("{humidity:.0}\u{a0}%RH"));
    let channel = told.curve_channel.as_deref().map(|key| format!("taken from {}", channel_name(scene, key)));
    [set, cooled, room, damp, channel].into_iter().flatten().collect()
}

/// `fir/room` as `Fir bench, room`.
fn channel_name(scene: Scene<'_>, key: &str) -> String {
    let named = key.split_once('/').and_then(|(machine, channel)| {
        let machine = scene.plant.machine(&machine.parse().ok()?)?;
        Some(format!("{}, {}", machine.name, super::channel_word(channel.parse().ok()?)))
    });
    named.unwrap_or_else(|| key.to_owned())
}

/// Another couverture than the machine's, rework, a signed clean.
fn of_material(scene: Scene<'_>, event: &Event) -> Vec<String> {
    let told = wire::further(event);
    let couverture = match &event.kind {
        // It stands in the line already.
        EventKind::Charge { .. } => None,
        EventKind::Seed { .. }
        | EventKind::TopUp { .. }
        | EventKind::TemperTest(_)
        | EventKind::Reference { .. }
        | EventKind::Note { .. }
        | EventKind::End => told.couverture.as_ref(),
    };
    let named = |id| {
        scene.plant.couverture(id).map_or_else(|| id.to_string(), |known| words::tied(known.display_name()))
    };
    let rework = told.is_rework.then(|| "rework".to_owned());
    let clean = told.is_clean.then(|| "the machine was cleaned".to_owned());
    [couverture.map(named), rework, clean].into_iter().flatten().collect()
}

fn sample_drawing(
    scene: Scene<'_>,
    batch: &Batch,
    event: &Event,
    curve: &wire::SampleCurve,
) -> (String, String) {
    let machine = scene.plant.machine(&batch.machine).map_or(batch.machine.as_str(), |machine| &machine.name);
    let title = format!("Sample of {machine}, {}", scene.local.moment(event.at, scene.now));
    let drawing = charts::SampleCurve {
        title: &title,
        points: &curve.points,
        inflection: curve.inflection.map(|found| (found.seconds, found.celsius)),
        degrees: scene.degrees,
        size: SAMPLE_SIZE,
    };
    (drawing.svg(), scene.sentence(&curve.says))
}

/// The figure in the reader's degrees.
pub(crate) fn measure_as_read(row: MeasureRow, degrees: Degrees) -> MeasureRow {
    let is_difference = row.unit != "°C" || matches!(row.key, "seed_dip_c" | "working_sd_c");
    let unit = match (row.unit, degrees) {
        (unit, Degrees::Celsius) => unit,
        ("°C", Degrees::Fahrenheit) => "°F",
        ("°C/h", Degrees::Fahrenheit) => "°F/h",
        ("°C·min", Degrees::Fahrenheit) => "°F·min",
        // Minutes and kilograms are the same to everybody.
        (_, Degrees::Fahrenheit) => return row,
    };
    let read = |value: f64| if is_difference { degrees.of_difference(value) } else { degrees.of(value) };
    MeasureRow { unit, value: row.value.map(read), usual: row.usual.map(read), ..row }
}

fn couverture_name(scene: Scene<'_>, batch: &Batch) -> String {
    let known = scene.plant.couverture(&batch.couverture);
    known.map_or_else(|| batch.couverture.to_string(), |couverture| words::tied(couverture.display_name()))
}

fn method(method: Method) -> &'static str {
    match method {
        Method::Seed => "with seed",
        Method::ButterSeed => "with cocoa-butter seed",
        Method::PartialMelt => "by partial melt",
        Method::Tabling => "on the slab",
        Method::Continuous => "continuous",
    }
}

impl PhaseRow {
    pub(super) fn all(scene: Scene<'_>, batch: &Batch) -> Vec<PhaseRow> {
        let row = |span: &model::PhaseSpan| PhaseRow {
            name: words::phase(span.phase),
            class: match span.phase {
                Phase::Working => "working",
                Phase::Idle
                | Phase::Melting
                | Phase::Soak
                | Phase::Cooling
                | Phase::Settling
                | Phase::Rewarming => "other",
            },
            from: scene.moment(span.from),
            length: words::length(span.to.or(batch.end).unwrap_or(scene.now).since(span.from)),
            open: span.to.is_none() && batch.end.is_none(),
            doubt: match span.confidence {
                Confidence::High | Confidence::Medium => None,
                Confidence::Low => Some("uncertain"),
            },
        };
        batch.phases.iter().map(row).collect()
    }
}

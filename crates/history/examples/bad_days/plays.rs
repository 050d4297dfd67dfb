//! Simulated bad days: eight ordinary days of the Tern Street works, and a ninth on which one thing goes wrong.
//!
//! The eight days are played and analysed once a seed; the works is then copied for each bad day, so that the ninth day
//! follows from the very week that it is compared with.

#![expect(clippy::wildcard_enum_match_arm, reason = "most faults are drawn alike")]

use std::collections::BTreeMap;
use std::sync::Arc;

use engine::{Analysis, Analyst};
use history::day::{Cause, Courses, DayRecord, MachineDay};
use model::{Channel, Content, MachineId, Span, Timestamp};
use plant::{Plant, parse_plant};
use simulator::{Fault, FaultKind, Fitting, Onset, Settings, Works};
use wire::Decoder;

const PLANT: &str = include_str!("../../../../config/tern-street.toml");
const PAST_DAYS: i64 = 8;

/// As many earlier batches as the pages look at.
const MOST_PAST: usize = 10;

/// The works is copied so long before the bad day's midnight: before the evening's charge.
const EARLIER: Span = Span::from_hours(10);

/// A week behind it.
pub(crate) struct Week {
    pub(crate) plant: Arc<Plant>,
    works: Works,
    midnight: Timestamp,
    past: BTreeMap<MachineId, Vec<DayRecord>>,
}

/// What is switched on, and what should be found.
pub(crate) struct Play {
    pub(crate) kind: Option<FaultKind>,
    pub(crate) cause: Option<Cause>,
    pub(crate) machine: Option<MachineId>,
    faults: Vec<Fault>,
}

/// Dice of a linear congruential kind (Knuth's constants): a scorer needs no better ones.
pub(crate) struct Rolls(u64);

impl Rolls {
    pub(crate) fn new(seed: u64) -> Rolls {
        let mut rolls = Rolls(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) + 1);
        for _ in 0..3 {
            rolls.even();
        }
        rolls
    }

    pub(crate) fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.even() * (high - low)
    }

    fn one_of<'a>(&mut self, names: &[&'a str]) -> &'a str {
        names[(self.even() * names.len() as f64) as usize]
    }
}

fn id(name: &str) -> MachineId {
    name.parse().expect("machines of the works are named with letters")
}

impl Week {
    pub(crate) fn play(seed: u64) -> Week {
        let plant = Arc::new(parse_plant(PLANT).expect("the works' plant file is checked by a test"));
        let midnight: Timestamp = "2026-03-02T00:00:00Z".parse().expect("a time");
        let start = midnight - Span::from_hours(24) * PAST_DAYS - Span::from_hours(4);
        let fitting = |machine: &plant::Machine| {
            let fitting = Fitting { sample_s: Some(10.0), slow_sample_s: Some(60.0), ..Fitting::default() };
            (machine.id.clone(), fitting)
        };
        let settings = Settings {
            fittings: plant.machines.iter().map(fitting).collect(),
            midnight: Some(midnight),
            ..Settings::new(seed, start)
        };
        let mut works = Works::new(&plant, &settings).without_truth();
        let (analysis, courses) = watch(&plant, &mut works, midnight - EARLIER);
        let past = records(&analysis, &courses);
        Week { plant, works, midnight, past }
    }

    /// The ninth day with the faults of `play`.
    pub(crate) fn day(&self, play: &Play) -> Vec<MachineDay> {
        let mut works = self.works.clone();
        play.faults.iter().for_each(|fault| works.add_fault(fault));
        self.diagnosed(works, self.midnight)
    }

    /// The day that begins at `midnight`, as it is brought to the diagnosis.
    fn diagnosed(&self, mut works: Works, midnight: Timestamp) -> Vec<MachineDay> {
        let (analysis, courses) = watch(&self.plant, &mut works, midnight + Span::from_hours(22));
        let today = records(&analysis, &courses);
        let machine_day = |(machine, mut today): (MachineId, Vec<DayRecord>)| {
            let to = midnight + Span::from_hours(24);
            today.retain(|record| history::gather::is_of_the_day(&record.batch, midnight, to));
            let earlier = self.past.get(&machine).cloned().unwrap_or_default();
            MachineDay::new(machine, today, earlier, MOST_PAST)
        };
        today.into_iter().map(machine_day).collect()
    }

    /// An ordinary day, the `number`th after the week.
    pub(crate) fn good_day(&self, number: usize) -> Vec<MachineDay> {
        let mut later = self.works.clone();
        let days = Span::from_hours(24) * number as i64;
        if 0 < number {
            later.advance_to(self.midnight + days - EARLIER);
        }
        self.diagnosed(later, self.midnight + days)
    }

    /// A day on which `kind` goes wrong (nothing, if there is none), somewhere, at some time, more or less.
    pub(crate) fn draw(&self, kind: Option<FaultKind>, rolls: &mut Rolls) -> Play {
        let Some(kind) = kind else {
            return Play { kind: None, cause: None, machine: None, faults: Vec::new() };
        };
        let kettles = ["alder", "birch", "cedar", "dogwood"];
        let machine = match kind {
            FaultKind::WarmWater | FaultKind::HotRoom | FaultKind::DampRoom | FaultKind::PowerCut => None,
            FaultKind::Thickening => Some(rolls.one_of(&["alder", "cedar"])),
            FaultKind::SeedMissed | FaultKind::LateSeed | FaultKind::LittleSeed => {
                Some(rolls.one_of(&["alder", "birch", "cedar"]))
            }
            // Bare numbers carry no time of their own; these two send theirs.
            FaultKind::ClockOff => Some(rolls.one_of(&["birch", "cedar"])),
            FaultKind::CoolingWeak => Some(rolls.one_of(&["alder", "birch", "cedar", "dogwood", "elm"])),
            _ => Some(rolls.one_of(&kettles)),
        };
        let strength = kind.usual_strength()
            * match kind {
                FaultKind::FouledJacket => rolls.between(0.5, 1.3),
                FaultKind::ProbeAgeing => rolls.between(8.0, 14.0),
                // What takes weeks, in a night.
                FaultKind::Fouling => rolls.between(20.0, 30.0),
                FaultKind::ProbeOpen => 1.0,
                _ => rolls.between(0.9, 1.3),
            };
        let (from_min, lasts_min) = hours_of(kind, rolls);
        let at = self.midnight + Span::from_mins_f64(from_min);
        let fault = |machine: Option<&str>| Fault {
            machine: machine.map(id),
            kind,
            onset: Onset::At(at),
            lasts: Some(Span::from_mins_f64(lasts_min)),
            strength,
        };
        let faults = match (kind, machine) {
            // A lot goes into both kettles of its couverture.
            (FaultKind::Thickening, Some("alder")) => vec![fault(Some("alder")), fault(Some("birch"))],
            (FaultKind::Thickening, _) => vec![fault(Some("cedar")), fault(Some("dogwood"))],
            (_, machine) => vec![fault(machine)],
        };
        Play { kind: Some(kind), cause: Some(cause_of(kind)), machine: machine.map(id), faults }
    }
}

/// When a cause is switched on, minutes after midnight, and for how long. Shifts begin to cool from six to seven, and
/// work from about half past seven to half past three.
fn hours_of(kind: FaultKind, rolls: &mut Rolls) -> (f64, f64) {
    match kind {
        FaultKind::WarmWater
        | FaultKind::FouledJacket
        | FaultKind::CoolingWeak
        | FaultKind::SeedMissed
        | FaultKind::LateSeed
        | FaultKind::LittleSeed => (300.0, 600.0),
        FaultKind::Overfilled => (-590.0, 900.0),
        FaultKind::Scorch => (rolls.between(300.0, 420.0), 90.0),
        FaultKind::HotRoom | FaultKind::DampRoom => (rolls.between(330.0, 480.0), 600.0),
        FaultKind::Thickening => (-120.0, 1_200.0),
        FaultKind::Undershoot => (rolls.between(300.0, 400.0), rolls.between(200.0, 300.0)),
        FaultKind::ProbeAgeing => (-230.0, 1_500.0),
        FaultKind::Fouling => (-590.0, 1_500.0),
        FaultKind::ClockOff => (rolls.between(240.0, 600.0), 400.0),
        FaultKind::Silent | FaultKind::LateUpload | FaultKind::PowerCut => {
            (rolls.between(420.0, 720.0), rolls.between(25.0, 90.0))
        }
        FaultKind::ProbeOpen
        | FaultKind::ProbeMissing
        | FaultKind::ProbeStuck
        | FaultKind::Spikes
        | FaultKind::ProbeOut => (rolls.between(420.0, 720.0), rolls.between(30.0, 120.0)),
        FaultKind::HoldDrift => (rolls.between(540.0, 600.0), 360.0),
        // A kettle of 50 kg holds its heat: it takes hours to show.
        FaultKind::HeaterDead => (rolls.between(500.0, 600.0), rolls.between(300.0, 420.0)),
        FaultKind::StirrerStopped => (rolls.between(420.0, 700.0), rolls.between(10.0, 40.0)),
        FaultKind::HeaterStuck => (rolls.between(540.0, 700.0), rolls.between(20.0, 45.0)),
        FaultKind::OverheatedHold | FaultKind::WarmHold | FaultKind::ColdHold | FaultKind::Hunting => {
            (rolls.between(540.0, 640.0), rolls.between(90.0, 240.0))
        }
    }
}

/// What a person who knows the simulator would call it.
pub(crate) fn cause_of(kind: FaultKind) -> Cause {
    match kind {
        FaultKind::HotRoom | FaultKind::DampRoom => Cause::Room,
        FaultKind::WarmWater => Cause::CoolingWater,
        FaultKind::Thickening => Cause::Material,
        FaultKind::FouledJacket | FaultKind::CoolingWeak | FaultKind::Fouling => Cause::HeatTransfer,
        FaultKind::Overfilled => Cause::Fill,
        FaultKind::Scorch
        | FaultKind::OverheatedHold
        | FaultKind::WarmHold
        | FaultKind::ColdHold
        | FaultKind::HoldDrift
        | FaultKind::HeaterStuck
        | FaultKind::HeaterDead
        | FaultKind::Undershoot
        | FaultKind::Hunting => Cause::Control,
        FaultKind::StirrerStopped => Cause::Stirring,
        FaultKind::ProbeOpen
        | FaultKind::ProbeMissing
        | FaultKind::ProbeStuck
        | FaultKind::Spikes
        | FaultKind::ProbeOut
        | FaultKind::ProbeAgeing => Cause::Instrument,
        FaultKind::SeedMissed | FaultKind::LateSeed | FaultKind::LittleSeed => Cause::People,
        FaultKind::ClockOff => Cause::Clock,
        FaultKind::Silent | FaultKind::LateUpload | FaultKind::PowerCut => Cause::Gap,
    }
}

type Readings = BTreeMap<MachineId, BTreeMap<Channel, BTreeMap<Timestamp, Option<f64>>>>;

/// Plays on to `until`, through the decoder and the engine, as the program would.
fn watch(plant: &Arc<Plant>, works: &mut Works, until: Timestamp) -> (Analysis, Readings) {
    let mut decoder = Decoder::new(plant);
    let mut analyst = Analyst::new(plant.clone());
    let mut readings = Readings::new();
    for message in works.messages(until) {
        for arrival in &decoder.decode(&message).arrivals {
            analyst.push(arrival);
            if let Content::Reading(reading) = &arrival.content {
                let channels = readings.entry(reading.machine.clone()).or_default();
                channels.entry(reading.channel).or_default().insert(reading.at, reading.value);
            }
        }
    }
    (analyst.finish().expect("a few days fit into memory"), readings)
}

/// Batches with everything that belongs to them.
fn records(analysis: &Analysis, readings: &Readings) -> BTreeMap<MachineId, Vec<DayRecord>> {
    let mut all = BTreeMap::new();
    for machine in &analysis.machines {
        let of = |batch: &model::Batch| {
            let to = batch.end.unwrap_or(Timestamp::from_millis(i64::MAX));
            let mut courses = Courses::default();
            for (channel, series) in readings.get(&machine.id).into_iter().flatten() {
                let series: Vec<_> = series.range(batch.start..to).map(|(at, value)| (*at, *value)).collect();
                courses = courses.with(*channel, &series);
            }
            let mine = |finding: &&model::Finding| finding.batch.as_ref() == Some(&batch.id);
            let mut events: Vec<_> = machine
                .events
                .iter()
                .filter(|event| batch.start <= event.at && event.at < to)
                .cloned()
                .collect();
            events.sort_by_key(|event| event.at);
            DayRecord {
                batch: batch.clone(),
                findings: machine.findings.iter().filter(mine).cloned().collect(),
                events,
                courses,
            }
        };
        all.insert(machine.id.clone(), machine.batches.iter().map(of).collect());
    }
    all
}

/// For the reader of a dump.
pub(crate) fn clock(at: Timestamp) -> String {
    at.to_jiff().strftime("%d %H:%M").to_string()
}

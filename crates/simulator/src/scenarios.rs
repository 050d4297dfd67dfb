//! Short plays, each with a plant file of its own: the raw material of the sample streams.

use std::fs;
use std::path::Path;

use model::{Channel, MachineId, Span, Timestamp};
use plant::{Plant, parse_plant};

use crate::faults::{Fault, FaultKind, Onset, Stage};
use crate::rig::Begin;
use crate::works::{Fitting, Settings, Works};
use crate::write::{SMALLEST, Stream, WriteError, failed, write_truth};

/// A play: who, when, for how long, and what goes wrong.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Also the name of its files.
    pub name: &'static str,
    /// What it shows, in a sentence.
    pub about: &'static str,
    /// The plant file.
    pub plant: &'static str,
    /// Seed, start, faults and instruments.
    pub settings: Settings,
    /// Its length.
    pub lasts: Span,
}

impl Scenario {
    /// The plant that its file describes.
    pub fn plant(&self) -> Plant {
        parse_plant(self.plant).expect("each scenario's plant file is read by a test")
    }

    /// The works at its beginning.
    pub fn works(&self) -> Works {
        Works::new(&self.plant(), &self.settings)
    }

    /// Writes `<name>.plant.toml`, `<name>.ndjson.zst` and `<name>.truth.json` to `folder`.
    pub fn write(&self, folder: &Path) -> Result<(), WriteError> {
        let file = |ending: &str| folder.join(format!("{}.{ending}", self.name));
        let plant = file("plant.toml");
        fs::create_dir_all(folder).map_err(failed(folder))?;
        fs::write(&plant, self.plant).map_err(failed(&plant))?;
        let mut works = self.works();
        let mut stream = Stream::create(&file("ndjson.zst"), SMALLEST)?;
        stream.write(&works.advance_to(self.settings.start + self.lasts))?;
        stream.finish()?;
        write_truth(&works.truth(), &file("truth.json"))
    }
}

/// Every scenario: a good day, an overheated hold, a slow cooling, a drifting hold and a bench bowl.
pub fn all() -> Vec<Scenario> {
    vec![good_day(), overheated_hold(), slow_cooling(), drifting_hold(), bench_bowl()]
}

/// All plays begin on the Sunday evening of 2026-03-01 at ten, with cold machines and the timer about to heat.
const START_MILLIS: i64 = 1_772_402_400_000;
const TIMER_MIN: i64 = 30;
const DAY_HOURS: i64 = 19;

fn start() -> Timestamp {
    Timestamp::from_millis(START_MILLIS)
}

fn id(name: &str) -> MachineId {
    name.parse().expect("scenarios name their machines with letters")
}

/// Chocolate and jacket every five seconds, the rest once a minute: small files that still carry every channel.
fn settings(seed: u64, machines: &[&str]) -> Settings {
    let fitting = |name: &&str| {
        let fitting = Fitting {
            sample_s: Some(5.0),
            slow_sample_s: Some(60.0),
            begin: Some(Begin::Cold(Span::from_mins(TIMER_MIN))),
            ..Fitting::default()
        };
        (id(name), fitting)
    };
    Settings { fittings: machines.iter().map(fitting).collect(), ..Settings::new(seed, start()) }
}

/// Three machines fill a file three times as fast.
fn sampled_every(seconds: f64, mut settings: Settings) -> Settings {
    for (_, fitting) in &mut settings.fittings {
        fitting.sample_s = Some(seconds);
    }
    settings
}

fn with(mut settings: Settings, fault: Fault) -> Settings {
    settings.faults.push(fault);
    settings
}

fn day(name: &'static str, about: &'static str, plant: &'static str, settings: Settings) -> Scenario {
    Scenario { name, about, plant, settings, lasts: Span::from_hours(DAY_HOURS) }
}

fn good_day() -> Scenario {
    day(
        "good-day",
        "a kettle of dark, a kettle of milk and a wheel of white, from cold to the end of an ordinary day",
        GOOD_DAY,
        sampled_every(10.0, settings(11, &["alder", "cedar", "elm"])),
    )
}

fn overheated_hold() -> Scenario {
    let onset = Onset::In { stage: Stage::Working, nth: 0, after: Span::from_mins(90) };
    let fault = Fault::new(&id("alder"), FaultKind::OverheatedHold, onset, Span::from_mins(45));
    day(
        "overheated-hold",
        "ninety minutes into working the controller's sensor begins to read 3 °C low, for three quarters of an hour",
        ONE_KETTLE,
        with(settings(12, &["alder"]), fault),
    )
}

fn slow_cooling() -> Scenario {
    let onset = Onset::In { stage: Stage::Cooling, nth: 0, after: Span::from_mins(1) };
    let fault = Fault::new(&id("birch"), FaultKind::FouledJacket, onset, Span::from_hours(5));
    day(
        "slow-cooling",
        "the jacket passes on a quarter of the heat that it should",
        SLOW_KETTLE,
        with(settings(13, &["birch"]), fault),
    )
}

/// The controller of this kettle tells nobody its set-point, so that a trim does not start a new level.
fn drifting_hold() -> Scenario {
    let onset = Onset::In { stage: Stage::Working, nth: 0, after: Span::from_mins(60) };
    let fault =
        Fault::new(&id("cedar"), FaultKind::HoldDrift, onset, Span::from_hours(4)).with_strength(0.25);
    let mut settings = settings(14, &["cedar"]);
    for (_, fitting) in &mut settings.fittings {
        fitting.channels = Some(vec![Channel::Chocolate, Channel::Jacket, Channel::Room, Channel::Motor]);
    }
    day(
        "drifting-hold",
        "an hour into working the controller's sensor begins to wander by a quarter of a degree an hour",
        MILK_KETTLE,
        with(settings, fault),
    )
}

fn bench_bowl() -> Scenario {
    let fitting =
        Fitting { channels: Some(vec![Channel::Chocolate]), sample_s: Some(30.0), ..Fitting::default() };
    let settings = Settings { fittings: vec![(id("fir"), fitting)], ..Settings::new(15, start()) };
    day(
        "bench-bowl",
        "two bowls of milk melted in part, by bursts, with readings typed by hand",
        BOWL,
        settings,
    )
}

const GOOD_DAY: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "dark-64"
family = "dark"

[[couverture]]
id = "milk-38"
family = "milk"

[[couverture]]
id = "white-31"
family = "white"

[[machine]]
id = "alder"
style = "kettle"
capacity_kg = 60
couverture = "dark-64"
method = "seed"
cooling_minutes = 75

[[machine]]
id = "cedar"
style = "kettle"
capacity_kg = 60
couverture = "milk-38"
method = "seed"
cooling_minutes = 90

[[machine]]
id = "elm"
style = "wheel"
capacity_kg = 24
couverture = "white-31"
method = "seed"
cooling_minutes = 40
"#;

const ONE_KETTLE: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "dark-64"
family = "dark"

[[machine]]
id = "alder"
style = "kettle"
capacity_kg = 60
couverture = "dark-64"
method = "seed"
cooling_minutes = 75
"#;

const SLOW_KETTLE: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "dark-64"
family = "dark"

[[machine]]
id = "birch"
style = "kettle"
capacity_kg = 60
couverture = "dark-64"
method = "seed"
cooling_minutes = 75
"#;

const MILK_KETTLE: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "milk-38"
family = "milk"

[[machine]]
id = "cedar"
style = "kettle"
capacity_kg = 60
couverture = "milk-38"
method = "seed"
cooling_minutes = 90

[machine.channel.chocolate]
offset = -0.2
"#;

const BOWL: &str = r#"[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "milk-38"
family = "milk"

[[machine]]
id = "fir"
style = "bench"
capacity_kg = 1.5
couverture = "milk-38"
method = "partial-melt"
"#;

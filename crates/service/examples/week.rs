//! How long it takes to analyse a week of twenty machines in full from the store, and of what that time is made.
//!
//! `cargo run -p service --example week [MACHINES DAYS [FOLDER]]`. Made-up days, five channels at 1 Hz, go through the journal into parts; then
//! the same columns are only decoded, and then everything is read again day by day and worked through by the engine: all phases, findings
//! and measures. Times are those of the one thread that works. It prints figures and judges nothing. With FOLDER the data stay there, for
//! `tests/rolling/run` to be compared with, and are not made again where they are already.

mod large_works;
mod made_up_days;

use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use engine::Engine;
use journal::Journal;
use model::{Arrival, Channel, Content, MachineId, Reading, Span, Timestamp};
use plant::{Machine, Plant};
use store::Store;

use self::large_works::plant;
use self::made_up_days::{DAY, START, read_at, thousandths};

type Outcome<T> = Result<T, Box<dyn Error>>;

const CHANNELS: [Channel; 5] =
    [Channel::Chocolate, Channel::Jacket, Channel::Room, Channel::Humidity, Channel::Motor];
const BLOCK: usize = 10_000;

fn main() -> Outcome<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let machines: usize = args.first().map_or(Ok(20), |text| text.parse())?;
    let days: i64 = args.get(1).map_or(Ok(7), |text| text.parse())?;
    let temporary = tempfile::tempdir()?;
    let folder = args.get(2).map_or(temporary.path().to_owned(), PathBuf::from);
    let plant = plant(machines)?;
    fs::create_dir_all(&folder)?;
    if !folder.join("readings").exists() {
        write(&folder, &plant, days)?;
    }

    let (store, _) = Store::open(&folder)?;
    let (from, to) = (at(0), at(days * DAY));
    let began = Clock::start();
    let mut readings = 0;
    for machine in &plant.machines {
        readings += store.read_readings(&machine.id, &CHANNELS, from, to)?.height() * CHANNELS.len();
    }
    let decoded = began.elapsed();
    // What writing took is no part of the peak.
    fs::write("/proc/self/clear_refs", "5")?;
    let stages = Stages::of(&store, &plant, from, to)?;
    let millions = readings as f64 / 1e6;
    println!("{millions:.1} M readings; load {}", fs::read_to_string("/proc/loadavg")?.trim());
    for (what, took) in [
        ("only decode the same columns", decoded),
        ("analyse in full from the store", stages.all()),
        ("  read", stages.read),
        ("  engine: ticks, phases, findings", stages.engine),
        ("  engine: measures at the end", stages.measures),
    ] {
        let seconds = took.as_secs_f64();
        println!(
            "{what:42} {seconds:8.2} s {:8.2} M readings/s {:6.1} x",
            millions / seconds,
            seconds / decoded.as_secs_f64()
        );
    }
    println!("{} batches, {} findings; {}", stages.batches, stages.findings, memory()?);
    Ok(())
}

/// What took how long.
#[derive(Debug, Default)]
struct Stages {
    read: Duration,
    engine: Duration,
    measures: Duration,
    batches: usize,
    findings: usize,
}

impl Stages {
    fn of(store: &Store, plant: &Arc<Plant>, from: Timestamp, to: Timestamp) -> Outcome<Stages> {
        let (mut stages, mut engine) = (Stages::default(), Engine::new(plant.clone()));
        let mut day = from;
        while day < to {
            let next = day + Span::from_hours(24);
            let began = Clock::start();
            let read = |machine: &Machine| {
                Ok((machine.id.clone(), store.read_rows(&machine.id, &CHANNELS, day, next)?))
            };
            let rows = plant.machines.iter().map(read).collect::<Outcome<BTreeMap<_, _>>>()?;
            stages.read += began.elapsed();
            let began = Clock::start();
            engine.apply_rows(&rows);
            stages.note(&engine.take_changes());
            stages.engine += began.elapsed();
            day = next;
        }
        let began = Clock::start();
        engine.finish();
        stages.note(&engine.take_changes());
        stages.batches += engine.open_batches().len();
        stages.measures = began.elapsed();
        Ok(stages)
    }

    fn note(&mut self, changes: &engine::Changes) {
        self.batches += changes.ended.len();
        self.findings += changes.findings.len();
    }

    fn all(&self) -> Duration {
        self.read + self.engine + self.measures
    }
}

/// Time that this thread has had a core: what others do on the machine counts less than by the wall's clock.
struct Clock(Duration);

impl Clock {
    fn start() -> Clock {
        Clock(Clock::now())
    }

    fn elapsed(&self) -> Duration {
        Clock::now() - self.0
    }

    /// Nanoseconds on a core stand first in the kernel's `schedstat`.
    fn now() -> Duration {
        let told = fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
        let nanoseconds = told.split(' ').next().and_then(|text| text.parse().ok()).unwrap_or(0);
        Duration::from_nanos(nanoseconds)
    }
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_millis(START + second * 1000)
}

/// The days go through the journal into parts, hour by hour.
fn write(folder: &Path, plant: &Plant, days: i64) -> Outcome<()> {
    let (mut journal, _) = Journal::open(folder.join(journal::FILE_NAME))?;
    let (store, _) = Store::open(folder)?;
    for hour in 0..days * 24 {
        let mut block = Vec::with_capacity(BLOCK + CHANNELS.len());
        for second in hour * 3600..(hour + 1) * 3600 {
            for (n, machine) in (0i64..).zip(&plant.machines) {
                for channel in CHANNELS {
                    block.push(arrival(&machine.id, channel, second, n));
                }
                if BLOCK <= block.len() {
                    let _durable = journal.append(&block)?;
                    block.clear();
                }
            }
        }
        if !block.is_empty() {
            let _durable = journal.append(&block)?;
        }
        if hour % 24 == 23 {
            store.move_blocks(journal.newest(), |_| Ok(()))?;
        }
    }
    Ok(())
}

fn arrival(machine: &MachineId, channel: Channel, second: i64, n: i64) -> Arrival {
    let at = Timestamp::from_millis(read_at(second, n));
    let value = Some(f64::from(thousandths(channel, second, n)) / 1000.0);
    let content = Content::Reading(Reading { machine: machine.clone(), channel, at, value });
    Arrival { arrived: at, retained: false, content }
}

fn memory() -> Outcome<String> {
    let status = fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap_or_default();
    Ok(peak.split_whitespace().collect::<Vec<_>>().join(" "))
}

//! To which moment a phase is dated, through the whole engine (contract, section 5).

mod falls;
mod holds;
mod rises;

use std::sync::Arc;

use engine::Analyst;
use model::{Arrival, Batch, Channel, Content, FindingKind, Phase, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"continuous\"\ncouverture = \"dark-64\"\nmethod = \"continuous\"\n";

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

/// Every half minute what each channel shows at a minute; when each phase of the last batch begins, minutes.
fn begins(
    minutes: i64,
    channels: &[(Channel, &dyn Fn(f64) -> f64)],
    hears: impl Fn(f64) -> bool,
) -> Vec<(Phase, f64)> {
    begins_read_every(30, minutes, channels, hears)
}

/// The same every so many seconds.
fn begins_read_every(
    seconds: usize,
    minutes: i64,
    channels: &[(Channel, &dyn Fn(f64) -> f64)],
    hears: impl Fn(f64) -> bool,
) -> Vec<(Phase, f64)> {
    let batch = last_batch(seconds, minutes, channels, hears);
    batch.phases.iter().map(|span| (span.phase, (span.from - at(0)).as_mins_f64())).collect()
}

fn last_batch(
    seconds: usize,
    minutes: i64,
    channels: &[(Channel, &dyn Fn(f64) -> f64)],
    hears: impl Fn(f64) -> bool,
) -> Batch {
    let heard = |second: i64| {
        let minute = second as f64 / 60.0;
        let told = channels.iter().filter(|(channel, _)| *channel != Channel::Chocolate || hears(minute));
        told.map(|(channel, shows)| (second, *channel, shows(minute))).collect::<Vec<_>>()
    };
    last_batch_of((0..minutes * 60).step_by(seconds).flat_map(heard))
}

/// The last batch of readings: in which second, of what, and its value.
fn last_batch_of(readings: impl IntoIterator<Item = (i64, Channel, f64)>) -> Batch {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    for (second, channel, value) in readings {
        let machine = "alder".parse().expect("an id");
        let content = Content::Reading(Reading { machine, channel, at: at(second), value: Some(value) });
        analyst.push(&Arrival { arrived: at(second), retained: false, content });
    }
    let mut machine = analyst.finish().expect("fits into memory").machines.swap_remove(0);
    machine.batches.pop().expect("a batch")
}

/// When a phase of a batch begins, minutes.
fn begin_in(batch: &Batch, phase: Phase) -> f64 {
    (batch.first(phase).unwrap_or_else(|| panic!("no {phase}")).from - at(0)).as_mins_f64()
}

/// When a phase of it begins, where nothing but the chocolate is known, read every five seconds.
fn begins_by_chocolate(phase: Phase, minutes: i64, chocolate: impl Fn(f64) -> f64) -> f64 {
    begin_of(phase, &begins_read_every(5, minutes, &[(Channel::Chocolate, &chocolate)], |_| true))
}

fn begin_of(phase: Phase, begins: &[(Phase, f64)]) -> f64 {
    begins.iter().find(|(begun, _)| *begun == phase).unwrap_or_else(|| panic!("no {phase}: {begins:?}")).1
}

/// Noise of a probe on the day of that seed, as a share of its deviation.
fn flicker(seed: u64, minute: f64) -> f64 {
    normal(seed * 100_003 + (minute * 60.0) as u64)
}

/// Near enough normal: twelve even numbers less six (of a generator after Knuth's MMIX, from memory).
fn normal(seed: u64) -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut even = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..12).map(|_| even()).sum::<f64>() - 6.0
}

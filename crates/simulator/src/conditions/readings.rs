//! The instruments' own trouble, read off what arrived: definitions that speak of readings need the readings.

use model::{Arrival, Channel, Content, FindingKind, Phase, Span, Timestamp};

use super::{Condition, Excuse, median};
use crate::faults::FaultKind;
use crate::sampler::HEARTBEAT_S;
use crate::truth::MachineTruth;

/// The usual allowance (contract, section 6).
const LATENESS: Span = Span::from_secs(15);
const FAULT_S: i64 = 10;
const PROBE_RANGE: std::ops::RangeInclusive<f64> = -10.0..=120.0;
const JUMP_C: f64 = 2.0;
const BACK_C: f64 = 1.0;
const JUMP_READINGS: usize = 2;
const JUMP_S: i64 = 5;
const JUMPS: usize = 3;
const JUMPS_IN: Span = Span::from_mins(10);
const SILENT_S: f64 = 60.0;
const SILENT_INTERVALS: f64 = 5.0;
const STUCK: Span = Span::from_mins(10);
const QUIET_RUN: Span = Span::from_mins(2);
const QUIET_SHARE: f64 = 0.95;
const LOOKED_AT_EVERY: Span = Span::from_mins(1);
/// From so much quiet time on nobody doubts what a probe usually does.
const HABIT_KNOWN: Span = Span::from_mins(60);
const JACKET_MOVED_C: f64 = 2.0;
const CLOCK: Span = Span::from_secs(60);
const CLOCK_STEADY: Span = Span::from_secs(10);
const CLOCK_MESSAGES: usize = 5;
/// Of whom nobody knows how often he usually speaks, so many limits are silence.
const IRREGULAR: f64 = 6.0;
/// Who reports on change is missed after so many heartbeats.
const HEARTBEATS: f64 = 2.0;
/// What a definition is met by must be this much more than asked, or it says nothing.
const CLEARLY: f64 = 1.15;

#[derive(Debug, Clone, Copy)]
struct Read {
    at: Timestamp,
    arrived: Timestamp,
    value: Option<f64>,
}

/// `probe-fault`, `spikes`, `silent`, `probe-stuck` and `clock-off` of one machine, from its arrivals in the order in which
/// they came. `newest` is the last arrival of the whole recording: the clock by which silence is measured.
pub fn instrument_conditions(
    truth: &MachineTruth,
    arrivals: &[Arrival],
    newest: Timestamp,
) -> Vec<Condition> {
    let came = readings(arrivals, Channel::Chocolate);
    let mut read = came.clone();
    read.sort_by_key(|r| r.at);
    read.dedup_by(|later, earlier| {
        let same = later.at == earlier.at;
        if same {
            earlier.value = later.value;
        }
        same
    });
    let mut found = probe_fault(&read);
    found.extend(spikes_in_time(&read));
    let on_change = truth.instruments.deadband_c.is_some();
    found.extend(silent(on_change, |at| truth.phase_at(at) == Phase::Idle, &came, newest));
    found.extend(probe_stuck(truth, &read, &readings(arrivals, Channel::Jacket)));
    found.extend(clock_off(&came));
    found
}

fn readings(arrivals: &[Arrival], channel: Channel) -> Vec<Read> {
    let one = |arrival: &Arrival| match &arrival.content {
        Content::Reading(r) if r.channel == channel => {
            Some(Read { at: r.at, arrived: arrival.arrived, value: r.value })
        }
        Content::Reading(_) | Content::Event(_) => None,
    };
    arrivals.iter().filter_map(one).collect()
}

fn usable(value: Option<f64>) -> Option<f64> {
    value.filter(|v| PROBE_RANGE.contains(v))
}

fn probe_fault(read: &[Read]) -> Vec<Condition> {
    let mut found = Vec::new();
    for run in read.chunk_by(|a, b| usable(a.value).is_none() == usable(b.value).is_none()) {
        if usable(run[0].value).is_some() {
            continue;
        }
        let due = run.iter().skip(1).find(|r| r.at.since(run[0].at) >= Span::from_secs(FAULT_S));
        if let Some(due) = due {
            let to = run[run.len() - 1].at;
            found.push(Condition::new(FindingKind::ProbeFault, (run[0].at, to), due.at, run.len() as f64));
        }
    }
    found
}

/// Lone jumps past `jump_c`: when they were seen to be over.
fn jumps(read: &[Read], jump_c: f64) -> Vec<Timestamp> {
    let values: Vec<(Timestamp, f64)> = read.iter().filter_map(|r| Some((r.at, usable(r.value)?))).collect();
    let mut found = Vec::new();
    let mut place = 1;
    while place + 1 < values.len() {
        let before = values[place - 1].1;
        if (values[place].1 - before).abs() <= jump_c {
            place += 1;
            continue;
        }
        let sign = (values[place].1 - before).signum();
        let back = (place + 1..values.len()).find(|i| (values[*i].1 - before) * sign <= BACK_C);
        let lone = back.filter(|b| {
            let long = values[*b].0.since(values[place].0);
            let back_near = (values[*b].1 - before).abs() <= BACK_C;
            back_near && (b - place <= JUMP_READINGS || long <= Span::from_secs(JUMP_S))
        });
        match lone {
            Some(back) => {
                found.push(values[back].0);
                place = back + 1;
            }
            None => place += 1,
        }
    }
    found
}

/// What comes later than the allowance is stored, and no finding is made of it (contract, section 6); what a clock that is ahead dates stands among
/// the readings of another hour. Jumps of such readings are nobody's to find.
fn spikes_in_time(read: &[Read]) -> Vec<Condition> {
    let is_in_time = |r: &&Read| r.arrived - r.at <= LATENESS && r.at - r.arrived <= CLOCK;
    let in_time: Vec<Read> = read.iter().filter(is_in_time).copied().collect();
    let to_find = spikes(&in_time);
    let mut found = spikes(read);
    let is_to_find = |c: &Condition| to_find.iter().any(|other| other.from <= c.to && c.from <= other.to);
    found.iter_mut().filter(|c| !is_to_find(c)).for_each(|c| c.excuse(Excuse::InstrumentsInTrouble));
    found
}

fn spikes(read: &[Read]) -> Vec<Condition> {
    let clusters = |jump_c: f64| {
        let at = jumps(read, jump_c);
        let mut found: Vec<Condition> = Vec::new();
        for three in at.windows(JUMPS) {
            let (first, last) = (three[0], three[JUMPS - 1]);
            if last.since(first) > JUMPS_IN {
                continue;
            }
            match found.last_mut() {
                Some(open) if first <= open.to + JUMPS_IN => open.to = last,
                _ => found.push(Condition::new(FindingKind::Spikes, (first, last), last, JUMPS as f64)),
            }
        }
        found
    };
    let mut plain = clusters(JUMP_C);
    let hard = clusters(JUMP_C * CLEARLY);
    let overlaps = |a: &Condition, b: &Condition| a.from <= b.to && b.from <= a.to;
    for c in &mut plain {
        if !hard.iter().any(|h| overlaps(h, c)) {
            c.excuse(Excuse::NearTheLimit);
        }
    }
    let easy: Vec<Condition> = clusters(JUMP_C / CLEARLY)
        .into_iter()
        .filter(|e| !plain.iter().any(|p| overlaps(p, e)))
        .map(|e| e.unless(Some(Excuse::NearTheLimit)))
        .collect();
    plain.extend(easy);
    plain
}

/// `on_change`: it reports what has moved, and else its signs of life.
fn silent(
    on_change: bool,
    idle_at: impl Fn(Timestamp) -> bool,
    came: &[Read],
    newest: Timestamp,
) -> Vec<Condition> {
    let gaps: Vec<f64> = came.windows(2).map(|w| w[1].arrived.since(w[0].arrived).as_secs_f64()).collect();
    let usual = median(gaps.iter().copied().filter(|g| *g > 0.2)).unwrap_or(0.0);
    let limit = SILENT_S.max(SILENT_INTERVALS * usual);
    // Who reports on change, or by hand, has no usual interval to speak of.
    let long = gaps.iter().filter(|g| **g > 3.0 * usual).count() as f64 / gaps.len().max(1) as f64;
    let irregular = long > 0.02 || on_change;
    let ends = came.iter().skip(1).map(|r| r.arrived).chain([newest]);
    came.iter()
        .zip(ends)
        .filter_map(|(last, next)| {
            let gap = next.since(last.arrived).as_secs_f64();
            let after = |seconds: f64| last.arrived + Span::from_millis((seconds * 1000.0) as i64);
            let due = after(limit);
            let why = match gap / limit {
                share if share < 1.0 / CLEARLY => return None,
                share if share < CLEARLY => Some(Excuse::NearTheLimit),
                share if irregular && share < IRREGULAR => Some(Excuse::NoUsualInterval),
                // It is alive as long as its heartbeat comes, and that is not often.
                _ if on_change && gap < HEARTBEATS * HEARTBEAT_S as f64 => Some(Excuse::NoUsualInterval),
                _ => idle_at(due).then_some(Excuse::Idle),
            };
            let mut one = Condition::new(FindingKind::Silent, (last.arrived, next), due, gap).unless(why);
            // Where a shorter gap is not asked for, nobody can know sooner that this one is longer.
            let alive_for = if on_change { HEARTBEATS * HEARTBEAT_S as f64 } else { 0.0 };
            let usual_for = if irregular { IRREGULAR * limit } else { limit };
            one.latest = after(usual_for.max(alive_for));
            Some(one)
        })
        .collect()
}

/// Runs of one value, by reading time; what is missing between two readings ends a run.
fn runs(read: &[Read], longest_gap: Span) -> Vec<(Timestamp, Timestamp, f64)> {
    let values: Vec<(Timestamp, f64)> = read.iter().filter_map(|r| Some((r.at, usable(r.value)?))).collect();
    values
        .chunk_by(|a, b| a.1 == b.1 && b.0.since(a.0) <= longest_gap)
        .map(|run| (run[0].0, run[run.len() - 1].0, run[0].1))
        .collect()
}

fn probe_stuck(truth: &MachineTruth, read: &[Read], jacket: &[Read]) -> Vec<Condition> {
    let gap = Span::from_millis((5_000.0 * truth.instruments.sample_s.max(12.0)) as i64);
    let all = runs(read, gap);
    let planted = |at: Timestamp| {
        let stuck = truth.faults.iter().filter(|f| f.kind == FaultKind::ProbeStuck);
        stuck.into_iter().any(|f| f.was_at_work(at, Span::ZERO))
    };
    // Soak and hold are quiet; how a probe flickers at one level says little of another, where its display is coarse.
    let holds = |at: Timestamp| matches!(truth.phase_at(at), Phase::Soak | Phase::Working);
    let (mut short_s, mut all_s) = (0.0, 0.0);
    let mut found = Vec::new();
    for (from, to, value) in all {
        let length = to.since(from);
        // By what it had done before: a watch knows no more.
        let share = if all_s > 0.0 { short_s / all_s } else { 0.0 };
        let habit_known = all_s >= HABIT_KNOWN.as_secs_f64();
        if !planted(from) && !planted(to) && holds(from) {
            let seconds = length.as_secs_f64() + truth.instruments.sample_s;
            all_s += seconds;
            short_s += if length < QUIET_RUN { seconds } else { 0.0 };
        }
        if length < STUCK {
            continue;
        }
        let due = from + STUCK;
        let clearly_moved =
            moved(jacket, from, due).abs() > JACKET_MOVED_C * 1.5 && moved_one_way(jacket, from, due);
        // Nearly so, or later in the run, is not to be counted on.
        let clear = length.as_secs_f64() >= CLEARLY * STUCK.as_secs_f64()
            && (habit_known && share > QUIET_SHARE + 0.02 || clearly_moved);
        let why = (!clear).then_some(Excuse::NearTheLimit);
        // Any ten minutes of it are minutes in which it did not change.
        let starts = std::iter::successors(Some(from), |at| Some(*at + LOOKED_AT_EVERY));
        let mut inside = starts.take_while(|at| *at + STUCK <= to);
        let nearly = JACKET_MOVED_C / CLEARLY;
        let possible =
            share > QUIET_SHARE - 0.07 || inside.any(|at| moved(jacket, at, at + STUCK).abs() > nearly);
        if possible {
            found.push(Condition::new(FindingKind::ProbeStuck, (from, to), due, value).unless(why));
        }
    }
    found
}

/// How far the jacket's mean moved between the first two and the last two minutes of a stretch, °C.
fn moved(jacket: &[Read], from: Timestamp, to: Timestamp) -> f64 {
    match (mean_of(jacket, from, from + QUIET_RUN), mean_of(jacket, to - QUIET_RUN, to)) {
        (Some(first), Some(last)) => last - first,
        _ => 0.0,
    }
}

/// Did it do so one way, and not there and back?
fn moved_one_way(jacket: &[Read], from: Timestamp, to: Timestamp) -> bool {
    let middle = from + to.since(from) / 2;
    let (early, late) = (moved(jacket, from, middle), moved(jacket, middle, to));
    early * late >= 0.0
}

fn mean_of(read: &[Read], from: Timestamp, to: Timestamp) -> Option<f64> {
    let inside = read.iter().filter(|r| from <= r.at && r.at <= to);
    let inside: Vec<f64> = inside.filter_map(|r| r.value).collect();
    (!inside.is_empty()).then(|| inside.iter().sum::<f64>() / inside.len() as f64)
}

fn clock_off(came: &[Read]) -> Vec<Condition> {
    let off = |r: &Read| r.at.since(r.arrived);
    let wrong = |r: &Read| off(r).as_millis().abs() > CLOCK.as_millis();
    let mut found: Vec<Condition> = Vec::new();
    for run in came.chunk_by(|a, b| wrong(a) == wrong(b)) {
        if !wrong(&run[0]) {
            continue;
        }
        let steady = |five: &[Read]| {
            let offsets = five.iter().map(|r| off(r).as_millis());
            offsets.clone().max().zip(offsets.min()).is_some_and(|(a, b)| a - b <= CLOCK_STEADY.as_millis())
        };
        // Not [`Excuse::Burst`].
        let live = |five: &[Read]| {
            let (first, last) = (&five[0], &five[five.len() - 1]);
            let (arrivals, times) = (last.arrived.since(first.arrived), last.at.since(first.at));
            arrivals * 2 >= times && times * 2 >= arrivals
        };
        let five = |asked: &dyn Fn(&[Read]) -> bool| run.windows(CLOCK_MESSAGES).find(|five| asked(five));
        let sure = five(&|five| steady(five) && live(five));
        if let Some(first) = sure.or_else(|| five(&steady)) {
            let due = first[CLOCK_MESSAGES - 1].arrived;
            let offset_s = off(&first[0]).as_secs_f64();
            let span = (run[0].arrived, run[run.len() - 1].arrived);
            let one = Condition::new(FindingKind::ClockOff, span, due, offset_s);
            found.push(one.unless(sure.is_none().then_some(Excuse::Burst)));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conditions::condition::Weight;

    /// Three lone jumps within a minute, by a clock that is off by so many seconds.
    fn jumps_by_a_clock_off_by(seconds: i64) -> Vec<Condition> {
        let read = |i: i64| {
            let at = Timestamp::default() + Span::from_secs(10_000 + 5 * i);
            let value = Some(if i % 4 == 2 { 35.0 } else { 31.5 });
            Read { at, arrived: at - Span::from_secs(seconds), value }
        };
        spikes_in_time(&(0..14).map(read).collect::<Vec<_>>())
    }

    #[test]
    fn jumps_that_come_in_time_are_to_be_found_and_those_of_another_hour_are_not() {
        let excused = Weight::Borderline(Excuse::InstrumentsInTrouble);
        for (seconds, weight) in [(0, Weight::Sure), (-14, Weight::Sure), (-3_600, excused), (3_600, excused)]
        {
            let found = jumps_by_a_clock_off_by(seconds);
            assert_eq!(found.iter().map(|c| c.weight).collect::<Vec<_>>(), [weight], "{seconds}");
        }
    }

    /// An hour of readings every five seconds, then nothing for an hour.
    fn falls_silent(on_change: bool) -> Vec<Condition> {
        let at = |seconds| Timestamp::default() + Span::from_secs(seconds);
        let read = |i: i64| Read { at: at(5 * i), arrived: at(5 * i), value: Some(31.5) };
        silent(on_change, |_| false, &(0..=720).map(read).collect::<Vec<_>>(), at(7_200))
    }

    #[test]
    fn who_reports_on_change_is_missed_after_two_signs_of_life() {
        let after = |at: Timestamp| at.since(Timestamp::default()).as_secs_f64() - 3_600.0;
        for (on_change, latest) in [(false, 60.0), (true, 1_200.0)] {
            let found = falls_silent(on_change);
            let told: Vec<_> = found.iter().map(|c| (c.weight, after(c.due), after(c.latest))).collect();
            assert_eq!(told, [(Weight::Sure, 60.0, latest)], "on change: {on_change}");
        }
    }
}

//! Law of the quick way: readings that are taken by the column leave the very same state, findings and batches behind as the same readings one
//! by one, whatever is wrong with them.
//!
//! Streams are drawn: days of several machines with channels at their own rates, and with gaps, spikes, missing and impossible values, probes
//! that stand still, holds too warm and rooms too hot. Between the slices messages come as in a live works: late, doubled, with a clock that
//! is wrong, and events.

#![expect(clippy::unwrap_used, reason = "the helpers of a test are test code, too")]

use std::collections::BTreeMap;
use std::sync::Arc;

use engine::{Changes, Engine};
use frames::{ABSENT, Rows};
use model::{
    Arrival, Batch, Channel, Content, Event, EventKind, FindingKind, MachineId, Reading, Span, Timestamp,
};
use plant::{Plant, parse_plant};
use proptest::prelude::*;

const PLANT: &str = r#"[plant]
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
couverture = "dark-64"
method = "seed"
cooling_minutes = 60
[[machine]]
id = "alder"
style = "kettle"
couverture = "dark-64"
method = "seed"
[[machine]]
id = "cedar"
style = "wheel"
couverture = "dark-64"
method = "continuous"
cooling_minutes = 20
[[machine]]
id = "elm"
style = "kettle"
couverture = "dark-64"
method = "seed"
cooling_minutes = 60
"#;

const MACHINES: [&str; 4] = ["birch", "alder", "cedar", "elm"];
/// 2026-03-01T00:00:00Z.
const START: i64 = 1_772_323_200_000;
/// Days are as short as they can be with all phases in them.
const MINUTES: i64 = 420;

/// Moment in milliseconds, place of machine and channel, thousandths or nothing.
type Drawn = (i64, usize, usize, Option<i32>);

/// One channel's sender.
#[derive(Debug, Clone)]
struct Sender {
    every_ms: i64,
    /// Late or early by up to so much.
    jitter_ms: i64,
    /// Of a hundred readings so many get lost.
    lost: u64,
    /// The step of its display, thousandths.
    grain: i32,
}

/// What is wrong for a while, from a minute on and for so many seconds.
#[derive(Debug, Clone)]
struct Trouble {
    machine: usize,
    channel: usize,
    minute: i64,
    seconds: i64,
    what: Wrong,
}

#[derive(Debug, Clone)]
enum Wrong {
    Gone,
    Missing,
    Stuck,
    By(i32),
    At(i32),
}

/// What comes between two slices as it does in a live works.
#[derive(Debug, Clone)]
enum Live {
    Reading { machine: usize, channel: usize, late_s: i64, thousandths: Option<i32>, retained: bool },
    Wrong { machine: usize, by_s: i64, times: i64 },
    Seed { machine: usize, in_s: i64 },
    End { machine: usize, in_s: i64 },
    Nothing { for_s: i64 },
}

#[derive(Debug, Clone)]
struct Works {
    senders: Vec<Vec<Option<Sender>>>,
    troubles: Vec<Trouble>,
    /// Where a slice ends, minutes, and what comes then.
    cuts: Vec<(i64, Vec<Live>)>,
    seed: u64,
}

fn sender() -> impl Strategy<Value = Sender> {
    let every = prop_oneof![4 => Just(1_000), 2 => Just(5_000), 1 => Just(2_000), 1 => Just(400), 1 => 700..20_000_i64];
    let grain = prop_oneof![4 => Just(10), 1 => Just(1), 1 => Just(100), 1 => Just(500)];
    let jitter = prop_oneof![2 => Just(0), 2 => 1..400_i64];
    (every, jitter, prop_oneof![3 => Just(0), 1 => 0..10_u64], grain)
        .prop_map(|(every_ms, jitter_ms, lost, grain)| Sender { every_ms, jitter_ms, lost, grain })
}

fn trouble() -> impl Strategy<Value = Trouble> {
    let what = prop_oneof![
        3 => Just(Wrong::Gone),
        2 => Just(Wrong::Missing),
        2 => Just(Wrong::Stuck),
        4 => (-9_000..9_000).prop_map(Wrong::By),
        1 => prop_oneof![Just(-200_000), Just(850_000), Just(0), Just(61_000)].prop_map(Wrong::At),
    ];
    let seconds = prop_oneof![3 => 1..8_i64, 2 => 30..200_i64, 2 => 200..2_400_i64];
    let channel = prop_oneof![4 => Just(0), 2 => 0..7_usize];
    (0..4_usize, channel, 0..MINUTES, seconds, what).prop_map(|(machine, channel, minute, seconds, what)| {
        Trouble { machine, channel, minute, seconds, what }
    })
}

fn live() -> impl Strategy<Value = Live> {
    let machine = || 0..4_usize;
    prop_oneof![
        3 => (machine(), 0..7_usize, -30..1_000_i64, prop::option::of(20_000..40_000), any::<bool>()).prop_map(
            |(machine, channel, late_s, thousandths, retained)| {
                Live::Reading { machine, channel, late_s, thousandths, retained }
            },
        ),
        1 => (machine(), -4_000..4_000_i64, 1..8_i64).prop_map(|(machine, by_s, times)| Live::Wrong { machine, by_s, times }),
        1 => (machine(), -60..60_i64).prop_map(|(machine, in_s)| Live::Seed { machine, in_s }),
        1 => (machine(), -60..60_i64).prop_map(|(machine, in_s)| Live::End { machine, in_s }),
        1 => (1..200_i64).prop_map(|for_s| Live::Nothing { for_s }),
    ]
}

fn works() -> impl Strategy<Value = Works> {
    let machine =
        (sender(), prop::collection::vec(prop::option::of(sender()), 6)).prop_map(|(chocolate, others)| {
            let mut senders = vec![Some(chocolate)];
            senders.extend(others);
            senders
        });
    let all_at_once = (0..MINUTES, 30..400_i64).prop_map(|(minute, seconds)| {
        let gone = |machine| Trouble { machine, channel: 0, minute, seconds, what: Wrong::Gone };
        (0..4).map(gone).collect::<Vec<_>>()
    });
    let cut = (1..MINUTES, prop::collection::vec(live(), 0..4));
    (
        prop::collection::vec(machine, 4),
        prop::collection::vec(trouble(), 0..14),
        prop::option::of(all_at_once),
        prop::collection::vec(cut, 0..5),
        any::<u64>(),
    )
        .prop_map(|(senders, mut troubles, all, mut cuts, seed)| {
            troubles.extend(all.into_iter().flatten());
            cuts.sort_by_key(|(minute, _)| *minute);
            cuts.dedup_by_key(|(minute, _)| *minute);
            Works { senders, troubles, cuts, seed }
        })
}

/// Between 0 and 1, the same each time.
fn chance(seed: u64, n: i64) -> f64 {
    let mixed = (n as u64 ^ seed).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mixed = (mixed ^ mixed >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (mixed >> 40) as f64 / (1u64 << 24) as f64
}

/// A short day: heat on, soak, cooling, working, and the next rise.
fn chocolate(minute: f64) -> f64 {
    match minute {
        _ if minute < 60.0 => 24.0 + 0.37 * minute,
        _ if minute < 90.0 => 46.0,
        _ if minute < 360.0 => (22.0 + 24.0 * (-(minute - 90.0) / 55.0).exp()).max(31.5),
        _ => (31.5 + 0.35 * (minute - 360.0)).min(46.0),
    }
}

fn true_value(channel: usize, minute: f64) -> f64 {
    match Channel::ALL[channel] {
        Channel::Chocolate => chocolate(minute),
        Channel::Jacket => chocolate(minute + 3.0) + 1.0,
        Channel::Room => 21.0,
        Channel::Humidity => 50.0,
        Channel::Setpoint => chocolate(minute + 10.0).round(),
        Channel::Stirrer => 1.0,
        Channel::Motor => 4.2,
    }
}

impl Works {
    fn readings(&self) -> Vec<Drawn> {
        let mut drawn = Vec::new();
        for (machine, channels) in self.senders.iter().enumerate() {
            for (channel, sender) in channels.iter().enumerate() {
                let Some(sender) = sender else { continue };
                self.send(machine, channel, sender, &mut drawn);
            }
        }
        drawn.sort_unstable();
        drawn.dedup_by_key(|(at, machine, channel, _)| (*at, *machine, *channel));
        drawn
    }

    fn send(&self, machine: usize, channel: usize, sender: &Sender, drawn: &mut Vec<Drawn>) {
        let seed = self.seed ^ (machine as u64) << 20 ^ (channel as u64) << 10;
        let mut stuck = None;
        for n in 0..MINUTES * 60_000 / sender.every_ms {
            let roll = |what: i64| chance(seed, n * 8 + what);
            let ms = n * sender.every_ms + (roll(0) * sender.jitter_ms as f64) as i64;
            if roll(1) * 100.0 < sender.lost as f64 {
                continue;
            }
            let honest = true_value(channel, ms as f64 / 60_000.0) * 1000.0 + 60.0 * (roll(2) - 0.5);
            let mut value = Some((honest / f64::from(sender.grain)).round() as i32 * sender.grain);
            let mut is_stuck = false;
            let mut is_gone = false;
            for trouble in self.troubles.iter().filter(|trouble| {
                let from = trouble.minute * 60_000;
                trouble.machine == machine
                    && trouble.channel == channel
                    && (from..from + trouble.seconds * 1000).contains(&ms)
            }) {
                match trouble.what {
                    Wrong::Gone => is_gone = true,
                    Wrong::Missing => value = None,
                    Wrong::Stuck => is_stuck = true,
                    Wrong::By(thousandths) => value = value.map(|value| value + thousandths),
                    Wrong::At(thousandths) => value = Some(thousandths),
                }
            }
            stuck = if is_stuck { stuck.or(value) } else { None };
            if !is_gone {
                drawn.push((START + ms, machine, channel, stuck.or(value)));
            }
        }
    }
}

fn id(machine: usize) -> MachineId {
    MACHINES[machine].parse().unwrap()
}

fn reading(&(at, machine, channel, thousandths): &Drawn) -> Arrival {
    let at = Timestamp::from_millis(at);
    let value = thousandths.map(|thousandths| f64::from(thousandths) / 1000.0);
    let reading = Reading { machine: id(machine), channel: Channel::ALL[channel], at, value };
    Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
}

fn rows(drawn: &[Drawn]) -> BTreeMap<MachineId, Rows> {
    let of = |machine: usize| {
        let mine: Vec<_> = drawn.iter().filter(|drawn| drawn.1 == machine).collect();
        let mut t: Vec<i64> = mine.iter().map(|drawn| drawn.0).collect();
        t.dedup();
        let (mut missing, mut columns) = (vec![0; t.len()], [(); 7].map(|()| vec![ABSENT; t.len()]));
        for (at, _, channel, value) in mine {
            let row = t.binary_search(at).unwrap();
            match value {
                Some(value) => columns[*channel][row] = *value,
                None => missing[row] |= 1 << channel,
            }
        }
        (id(machine), Rows::new(t, missing, columns).unwrap())
    };
    (0..4).map(of).collect()
}

/// The same messages for both engines.
fn messages(live: &Live, now: Timestamp) -> Vec<Arrival> {
    let reading = |machine, channel, at, arrived, thousandths: Option<i32>, retained| {
        let value = thousandths.map(|thousandths| f64::from(thousandths) / 1000.0);
        let reading = Reading { machine: id(machine), channel: Channel::ALL[channel], at, value };
        Arrival { arrived, retained, content: Content::Reading(reading) }
    };
    let event = |machine, in_s, kind| Arrival {
        arrived: now,
        retained: false,
        content: Content::Event(Event {
            machine: id(machine),
            at: now + Span::from_secs(in_s),
            by: None,
            kind,
            raw: String::new(),
        }),
    };
    match *live {
        Live::Reading { machine, channel, late_s, thousandths, retained } => {
            vec![reading(machine, channel, now - Span::from_secs(late_s), now, thousandths, retained)]
        }
        Live::Wrong { machine, by_s, times } => (0..times)
            .map(|n| now + Span::from_millis(n * 20))
            .map(|at| reading(machine, 1, at + Span::from_secs(by_s), at, Some(31_500), false))
            .collect(),
        Live::Seed { machine, in_s } => {
            vec![event(machine, in_s, EventKind::Seed { mass_kg: Some(1.0), temperature: None, lot: None })]
        }
        Live::End { machine, in_s } => vec![event(machine, in_s, EventKind::End)],
        Live::Nothing { .. } => Vec::new(),
    }
}

/// Both ways side by side.
struct Both {
    one_by_one: Engine,
    by_rows: Engine,
    findings: Vec<FindingKind>,
}

impl Both {
    fn new() -> Both {
        let plant: Arc<Plant> = Arc::new(parse_plant(PLANT).unwrap());
        Both { one_by_one: Engine::new(plant.clone()), by_rows: Engine::new(plant), findings: Vec::new() }
    }

    fn take(&mut self, drawn: &[Drawn]) -> Result<(), TestCaseError> {
        drawn.iter().for_each(|drawn| self.one_by_one.apply(&reading(drawn)));
        self.by_rows.apply_rows(&rows(drawn));
        self.are_the_same()
    }

    fn hear(&mut self, live: &[Live]) -> Result<(), TestCaseError> {
        for live in live {
            let now = self.one_by_one.clock().unwrap_or(Timestamp::from_millis(START));
            for arrival in messages(live, now) {
                self.one_by_one.apply(&arrival);
                self.by_rows.apply(&arrival);
            }
            if let Live::Nothing { for_s } = live {
                self.one_by_one.advance_clock(now + Span::from_secs(*for_s));
                self.by_rows.advance_clock(now + Span::from_secs(*for_s));
            }
        }
        self.are_the_same()
    }

    fn are_the_same(&mut self) -> Result<(), TestCaseError> {
        let (one_by_one, by_rows) = (self.one_by_one.take_changes(), self.by_rows.take_changes());
        let Changes { ended, findings, late, told } = &one_by_one;
        prop_assert_eq!(&by_rows.findings, findings);
        prop_assert_eq!(&by_rows.ended, ended);
        prop_assert_eq!(&by_rows.late, late);
        prop_assert_eq!(&by_rows.told, told);
        self.findings.extend(findings.iter().map(|finding| finding.kind));
        prop_assert_eq!(self.by_rows.clock(), self.one_by_one.clock());
        prop_assert_eq!(self.by_rows.open_batches(), self.one_by_one.open_batches());
        for (machine, numbers) in self.one_by_one.pieces() {
            let pieces = self.one_by_one.pieces_of(machine, numbers.clone());
            prop_assert_eq!(self.by_rows.pieces_of(machine, numbers), pieces);
        }
        prop_assert!(self.by_rows.save().unwrap() == self.one_by_one.save().unwrap(), "the states differ");
        Ok(())
    }

    fn finish(&mut self) -> Result<Vec<Batch>, TestCaseError> {
        self.one_by_one.finish();
        self.by_rows.finish();
        self.are_the_same()?;
        Ok(self.one_by_one.open_batches())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn by_the_column_is_the_same_as_one_by_one(works in works()) {
        let (drawn, mut both, mut done) = (works.readings(), Both::new(), 0);
        for (minute, live) in &works.cuts {
            let end = drawn.partition_point(|(at, ..)| *at < START + minute * 60_000);
            both.take(&drawn[done..end])?;
            both.hear(live)?;
            done = end;
        }
        both.take(&drawn[done..])?;
        let _batches = both.finish()?;
    }
}

/// The law above says little if nothing happens in what is drawn.
#[test]
fn something_happens_in_such_a_day() {
    let steady = Sender { every_ms: 1_000, jitter_ms: 200, lost: 1, grain: 10 };
    let gone = |machine| Trouble { machine, channel: 0, minute: 200, seconds: 300, what: Wrong::Gone };
    let works = Works {
        senders: vec![vec![Some(steady); 5]; 4],
        troubles: (0..4).map(gone).collect(),
        cuts: Vec::new(),
        seed: 7,
    };
    let mut both = Both::new();
    both.take(&works.readings()).unwrap();
    let batches = both.finish().unwrap();
    assert_eq!(batches.len(), 4);
    assert!(both.findings.contains(&FindingKind::CommonCause), "{:?}", both.findings);
    assert!(both.findings.contains(&FindingKind::TestDue), "{:?}", both.findings);
}

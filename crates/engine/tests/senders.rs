//! What comes between the probe and the watch: clocks that are wrong, channels that come by another way, outages, loggers that keep what they measure.
//!
//! One day of one kettle: melted, soaked from minute 14 to 60, cooled to 31.5 °C by minute 89, and worked. At minute 300 it is heated to 35 °C for
//! ten minutes, which is a `temper-loss` whatever else is sent, and by whom.

use std::sync::Arc;

use engine::{Analyst, Engine, MachineAnalysis};
use model::{Arrival, Channel, Content, FindingKind, Reading, Span, Timestamp};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\ncooling_minutes = 29\n";

const HOUR: i64 = 3_600;
const DAY: i64 = 24 * HOUR;
/// By the chocolate alone it is told when the rise has stopped, at minute 307; beside a set-point with the area, a degree for a minute above 33.5 °C.
const DUE: i64 = 309;
const DUE_BESIDE_A_SETPOINT: i64 = 306;

fn at(seconds: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_secs(seconds)
}

fn chocolate(minute: f64) -> f64 {
    match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m if m < 300.0 => (46.0 - 0.5 * (m - 60.0).max(0.0)).max(31.5),
        m if m < 317.0 => (31.5 + 0.5 * (m - 300.0)).min(35.0),
        m => (35.0 - 0.5 * (m - 317.0)).max(31.5),
    }
}

fn flickers(second: i64) -> f64 {
    [0.02, -0.03, 0.01, 0.03, -0.01, -0.02, 0.0][(second / 5 % 7) as usize]
}

/// One message: when it came and what it says, the time in it included; seconds since the day began.
type Message = (i64, Channel, i64, f64);

/// `channel` every `every` seconds, `ahead` by its own clock, and so long on its way.
fn sent(
    channel: Channel,
    every: usize,
    value: impl Fn(i64) -> f64,
    ahead: impl Fn(i64) -> i64,
    way: i64,
) -> Vec<Message> {
    let message = |second: i64| (second + way, channel, second + ahead(second), value(second));
    (0..400 * 60).step_by(every).map(message).collect()
}

/// The chocolate every five seconds.
fn probe(ahead: impl Fn(i64) -> i64, way: i64) -> Vec<Message> {
    sent(Channel::Chocolate, 5, |second| chocolate(second as f64 / 60.0) + flickers(second), ahead, way)
}

fn on_time(channel: Channel, value: f64) -> Vec<Message> {
    sent(channel, 10, |_| value, |_| 0, 0)
}

fn arrival((came, channel, measured, value): Message) -> Arrival {
    let machine = "alder".parse().expect("an id");
    let content = Content::Reading(Reading { machine, channel, at: at(measured), value: Some(value) });
    Arrival { arrived: at(came), retained: false, content }
}

fn analysed(messages: impl IntoIterator<Item = Vec<Message>>) -> MachineAnalysis {
    let mut messages: Vec<Message> = messages.into_iter().flatten().collect();
    messages.sort_by_key(|(came, ..)| *came);
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    messages.into_iter().for_each(|message| analyst.push(&arrival(message)));
    analyst.finish().expect("fits into memory").machines.swap_remove(0)
}

/// When a kind was raised, minutes.
fn raised(machine: &MachineAnalysis, kind: FindingKind) -> Vec<i64> {
    let of_kind = machine.findings.iter().filter(|finding| finding.kind == kind);
    of_kind.map(|finding| (finding.raised_at - at(0)).as_millis() / 60_000).collect()
}

fn told(machine: &MachineAnalysis) -> Vec<i64> {
    raised(machine, FindingKind::TemperLoss)
}

#[test]
fn another_channels_clock_takes_nothing_away() {
    assert_eq!(told(&analysed([probe(|_| 0, 0)])), [DUE]);
    for ahead in [20, 30, 60, 600, 2 * HOUR] {
        let jacket = sent(Channel::Jacket, 10, |_| 32.0, |_| ahead, 0);
        assert_eq!(told(&analysed([probe(|_| 0, 0), jacket])), [DUE], "{ahead} s ahead");
    }
}

#[test]
fn a_gateway_that_holds_the_chocolate_takes_nothing_away() {
    for late in [20, 40] {
        let channels = [probe(|_| 0, late), on_time(Channel::Jacket, 32.0), on_time(Channel::Stirrer, 1.0)];
        assert_eq!(told(&analysed(channels)), [DUE], "{late} s late");
    }
}

#[test]
fn a_clock_that_is_set_right_is_followed() {
    for wrong in [600, HOUR, 2 * HOUR, 3_650 * DAY] {
        let ahead = |second: i64| if (100 * 60..280 * 60).contains(&second) { wrong } else { 0 };
        let machine = analysed([probe(ahead, 0)]);
        assert!(told(&machine).contains(&DUE), "{wrong} s: {:?}", told(&machine));
        assert_eq!(machine.batches.len(), 1, "{wrong} s");
    }
}

/// From right to an hour behind, and from two hours ahead to one: no less wrong than before, it is followed once it has been so for five minutes.
#[test]
fn a_clock_that_is_set_wrong_is_followed_too() {
    for (before, then) in [(0, -HOUR), (2 * HOUR, HOUR)] {
        let ahead = |second: i64| if second < 250 * 60 { before } else { then };
        let machine = analysed([probe(ahead, 0), on_time(Channel::Jacket, 32.0)]);
        assert!(told(&machine).contains(&(DUE + then / 60)), "{before} s: {:?}", told(&machine));
    }
}

/// Of a gateway, too, that is a minute and a half late as a rule.
#[test]
fn a_few_times_of_tomorrow_are_nothing() {
    for (copies, way) in [(1, 0), (2, 0), (1, 90)] {
        let ahead = |second: i64| if (200 * 60..200 * 60 + 60).contains(&second) { DAY } else { 0 };
        let machine = analysed(vec![probe(ahead, way); copies]);
        assert_eq!(told(&machine), [DUE], "sent {copies} times");
        assert_eq!(machine.batches.len(), 1);
        let mut watch = Engine::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
        let until = |message: &Message| message.0 < 210 * 60 + way;
        probe(ahead, way).into_iter().filter(until).for_each(|message| watch.apply(&arrival(message)));
        let shown = watch.board().lanes.swap_remove(0).latest(Channel::Chocolate);
        assert_eq!(shown.map(|latest| latest.at), Some(at(210 * 60 - 5)), "the board shows what is");
    }
}

#[test]
fn a_clock_that_nobody_had_set_makes_no_batch() {
    let ahead = |second: i64| if (200 * 60..205 * 60).contains(&second) { -26 * 365 * DAY } else { 0 };
    let machine = analysed([probe(ahead, 0)]);
    assert_eq!(told(&machine), [DUE]);
    assert_eq!(machine.batches.len(), 1);
    assert!(machine.coverage[0].1 > 0.95, "{:?}", machine.coverage);
    let mut watch = Engine::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    probe(ahead, 0).into_iter().for_each(|message| watch.apply(&arrival(message)));
    assert_eq!(watch.take_changes().late, [], "there is nothing to be worked out of the year 2000");
}

/// Three others whose clocks are half a day ahead have more to wait than may wait.
#[test]
fn what_is_far_ahead_does_not_crowd_out_the_chocolate() {
    let ahead = |channel: Channel| sent(channel, 1, |_| 21.0, |_| 12 * HOUR, 0);
    let others = [Channel::Room, Channel::Humidity].map(ahead);
    assert_eq!(told(&analysed([probe(|_| 0, 0)].into_iter().chain(others))), [DUE]);
}

/// What its controller was asked for in the night comes in the morning, all at once.
#[test]
fn a_set_point_that_was_kept_over_night_ends_nothing() {
    let asked = |second: i64| if second < 60 * 60 { 20.0 } else { 31.5 };
    let kept = sent(Channel::Setpoint, 10, asked, |_| 0, 0).into_iter().map(|(came, channel, at, value)| {
        if came < 250 * 60 {
            (250 * 60 + came / 1000, channel, at, value)
        } else {
            (came, channel, at, value)
        }
    });
    let machine = analysed([probe(|_| 0, 0), kept.collect()]);
    assert_eq!(told(&machine), [DUE_BESIDE_A_SETPOINT]);
}

/// The chocolate's logger was never set, the jacket's was.
#[test]
fn a_chocolate_by_a_clock_that_was_never_set_is_analysed_by_that() {
    let machine = analysed([probe(|_| -26 * 365 * DAY, 0), on_time(Channel::Jacket, 32.0)]);
    assert_eq!(machine.batches.len(), 1);
}

/// Twenty degrees in the evening, and 31.5 from then on: what is late is known from then on all the same.
#[test]
fn a_set_point_that_is_late_is_known() {
    let asked = |second: i64| if second < 300 { 20.0 } else { 31.5 };
    let late = sent(Channel::Setpoint, 10, asked, |second| if second < 300 { 0 } else { -30 }, 0);
    assert_eq!(told(&analysed([probe(|_| 0, 0), late])), [DUE_BESIDE_A_SETPOINT]);
}

#[test]
fn a_stirrer_that_is_late_turns() {
    let turns = |second: i64| if second < 300 { 0.0 } else { 1.0 };
    let late = sent(Channel::Stirrer, 10, turns, |second| if second < 300 { 0 } else { -30 }, 0);
    let machine = analysed([probe(|_| 0, 0), late]);
    assert_eq!(raised(&machine, FindingKind::StirrerStopped), [0; 0]);
}

/// Three channels, one after the other, every two minutes; the stirrer stands for eight.
#[test]
fn a_stirrer_that_is_read_every_two_minutes_is_seen_to_stand() {
    let stands = |second: i64| if (200 * 60..208 * 60).contains(&second) { 0.0 } else { 1.0 };
    let channels = [
        sent(Channel::Chocolate, 120, |second| chocolate(second as f64 / 60.0), |_| 0, 0),
        sent(Channel::Jacket, 120, |_| 32.0, |_| 7, 7),
        sent(Channel::Stirrer, 120, stands, |_| 14, 14),
    ];
    assert_eq!(raised(&analysed(channels), FindingKind::StirrerStopped), [202]);
}

fn heard(hidden: std::ops::Range<i64>) -> MachineAnalysis {
    heard_but(&[hidden])
}

fn heard_but(hidden: &[std::ops::Range<i64>]) -> MachineAnalysis {
    let is_heard = |message: &Message| !hidden.iter().any(|hidden| hidden.contains(&(message.0 / 60)));
    analysed([probe(|_| 0, 0).into_iter().filter(is_heard).collect()])
}

#[test]
fn what_an_outage_hides_of_a_cooling_is_not_known() {
    for hidden in [40..64, 40..75, 50..80, 55..85, 59..70, 20..62, 62..125, 40..125] {
        let machine = heard(hidden.clone());
        assert_eq!(raised(&machine, FindingKind::SlowCooling), [0; 0], "{hidden:?}");
        assert_eq!(raised(&machine, FindingKind::SeedMissed), [0; 0], "{hidden:?}");
        assert_eq!(machine.batches[0].measures.cooling_minutes, None, "{hidden:?}");
    }
    assert_eq!(raised(&heard_but(&[40..64, 70..72]), FindingKind::SlowCooling), [0; 0], "two of them");
    assert!(heard(70..72).batches[0].measures.cooling_minutes.is_some(), "both ends were seen");
    assert_eq!(raised(&heard(0..0), FindingKind::SeedMissed).len(), 1, "all of it was seen");
}

/// A logger on change, which gives a sign of life every half minute: it flickers, and stands still from half a minute before minute 200 on.
#[test]
fn a_logger_on_change_that_gives_signs_of_life_is_seen_to_be_stuck() {
    let shows = |second: i64| {
        let swings = 0.1 * ((second.min(200 * 60) / 45) % 3) as f64;
        if second < 290 * 60 { chocolate(second as f64 / 60.0) + swings } else { 31.5 }
    };
    let mut sent: Vec<Message> = Vec::new();
    for second in 0..290 * 60 {
        let (value, last) = (shows(second), sent.last().copied());
        let is_due =
            last.is_none_or(|(came, _, _, before)| (value - before).abs() >= 0.1 || second - came >= 30);
        if is_due {
            sent.push((second, Channel::Chocolate, second, value));
        }
    }
    assert_eq!(raised(&analysed([sent]), FindingKind::ProbeStuck), [209]);
}

/// First heard of while it passes its range on the way to the melt, by the chocolate alone.
#[test]
fn a_melt_that_is_first_heard_of_in_the_range_is_no_hold() {
    for first in [30.5, 31.0, 32.0] {
        let rises = |second: i64| (first + 0.3 * second as f64 / 60.0).min(46.0) + flickers(second);
        let machine = analysed([sent(Channel::Chocolate, 5, rises, |_| 0, 0)]);
        assert_eq!(told(&machine), [0; 0], "from {first} °C");
        assert_eq!(raised(&machine, FindingKind::TestDue), [0; 0], "from {first} °C");
    }
}

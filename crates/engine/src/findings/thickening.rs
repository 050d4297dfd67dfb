//! `thickening`, medium: in working, motor current 15 % above its base (median of minutes 5–15 of working at the same stirrer speed; a
//! top-up starts a new one) for 10 min, temperature within 0.5 °C of that at the base (contract, section 6).
//!
//! At equal speed, mass and temperature the current follows the viscosity; a fifth more is roughly a few per cent more of the fat
//! crystallised (common practice, no source). The current is looked at as the mean of two minutes, since a stirrer cycles by some per cent; such
//! a mean passes a limit later by half of what its values span, which is taken off the ten. Each speed of the stirrer (a twentieth apart, as the
//! median of two minutes) has a base of its own, which counts its minutes from when it was set first. Deadband 3 % of the base.

use frames::Tick;
use model::{Channel, FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::around::Pace;
use super::watch::{Condition, Watch};
use super::{Moment, Report, Verdict, number};
use crate::bounded::remember;
use crate::history::mean;
use crate::phases::soak_from;

const BASE_FROM: Span = Span::from_mins(5);
const BASE_TO: Span = Span::from_mins(15);
/// A median of fewer values is none; a motor that is read every four minutes has no more of them.
const BASE_READINGS: usize = 2;
const MORE: f64 = 1.15;
const DEADBAND: f64 = 0.03;
const FOR: Span = Span::from_mins(10);
const SAME_TEMPERATURE: f64 = 0.5;
/// Beyond that it takes so much more until what was told is over, °C (start value).
const TEMPERATURE_DEADBAND: f64 = 0.3;
const SAME_SPEED: f64 = 0.05;
/// Bases of so many speeds are remembered.
const SPEEDS: usize = 6;
/// The current is averaged over this ...
const SMOOTH: Span = Span::from_mins(2);
/// ... and looked at this often.
const EVERY: Span = Span::from_secs(30);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Thickening {
    /// What the base counts its minutes from.
    origin: Option<Timestamp>,
    speed: Option<f64>,
    speed_since: Option<Timestamp>,
    base: Option<Base>,
    /// Of other speeds, since the hold began or was topped up.
    others: Vec<(f64, Base)>,
    next_look: Option<Timestamp>,
    /// How often the motor reports.
    pace: Pace,
    /// It has paused since the last look.
    paused: bool,
    watch: Watch,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Base {
    current_a: f64,
    chocolate_c: f64,
}

impl Thickening {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        if m.phase != Phase::Working {
            let was_open = std::mem::take(self).watch.is_open();
            return if was_open { Verdict::Over(m.at) } else { Verdict::Quiet };
        }
        self.note_speed(m);
        self.note_pause(m);
        let filled = m.topped_up_at.map_or(m.phase_since, |topped_up| topped_up.max(m.phase_since));
        let origin = Some(self.speed_since.map_or(filled, |set| set.max(filled)));
        if self.origin != origin {
            let was_open = self.watch.is_open();
            self.watch = Watch::default();
            if self.origin.is_none_or(|before| before < filled) {
                self.others.clear();
            }
            let known =
                self.others.iter().find(|(speed, _)| self.speed.is_some_and(|now| is_same(now, *speed)));
            (self.origin, self.base, self.next_look) = (origin, known.map(|(_, base)| *base), None);
            return if was_open { Verdict::Over(m.at) } else { Verdict::Quiet };
        }
        if self.next_look.is_some_and(|next| m.at < next) {
            return Verdict::Quiet;
        }
        self.next_look = Some(m.at + EVERY);
        let Some(base) = self.base.or_else(|| base_of(m, origin?)) else { return Verdict::Quiet };
        self.base = Some(base);
        let told = |tick: &Tick| Some((tick.at, tick.other(Channel::Motor)?));
        let mut times = None;
        let motor = m.history.values(m.at - SMOOTH, m.known, told).map(|(at, current)| {
            times = Some((times.map_or(at, |(first, _)| first), at));
            current
        });
        let Some(current) = mean(motor) else { return Verdict::Quiet };
        let late = times.map_or(Span::ZERO, |(first, last)| (last - first) / 2);
        let condition = match Condition::above(current / base.current_a, MORE, DEADBAND) {
            Condition::Clear => Condition::Clear,
            Condition::Bad | Condition::Between if melts(m) => Condition::Clear,
            Condition::Between => Condition::Between,
            Condition::Bad => {
                // Too warm or too cold to be compared says neither that it thickens nor that it does not, as long as it is not by much.
                let off = (m.level - base.chocolate_c).abs();
                Condition::below(off, SAME_TEMPERATURE, TEMPERATURE_DEADBAND)
            }
        };
        let gap = m.gap || std::mem::take(&mut self.paused);
        let edge = self.watch.step(m.at, m.known, condition, gap, FOR - late);
        edge.told(|from| report(m, from, base, current))
    }

    /// While the motor's own channel pauses, nothing is known of it.
    fn note_pause(&mut self, m: &Moment<'_>) {
        if m.motor.is_some() {
            self.paused |= self.pace.gap(m.at);
        }
    }

    /// A stirrer that only says on or off has one speed.
    fn note_speed(&mut self, m: &Moment<'_>) {
        let Some(newest) = m.stirrer.filter(|&speed| speed > 0.0) else { return };
        let Some(before) = self.speed else {
            self.speed = Some(newest);
            return;
        };
        if is_same(newest, before) {
            return;
        }
        let median = |from| {
            let turning = m.history.values(from, m.known, |tick| tick.other(Channel::Stirrer));
            maths::statistics::median(&turning.filter(|speed| *speed > 0.0).collect::<Vec<_>>())
        };
        if median(m.known - SMOOTH).is_none_or(|speed| is_same(speed, before)) {
            return;
        }
        // The newer half of the two minutes is of the new speed now.
        let set = m.known - SMOOTH / 2;
        let Some(speed) = median(set) else { return };
        if let Some(base) = self.base {
            self.others.retain(|(speed, _)| !is_same(*speed, before));
            remember(&mut self.others, (before, base), SPEEDS);
        }
        self.speed_since = Some(set.max(m.phase_since));
        self.speed = Some(speed);
    }
}

fn is_same(speed: f64, before: f64) -> bool {
    (speed - before).abs() <= SAME_SPEED * before
}

fn base_of(m: &Moment<'_>, origin: Timestamp) -> Option<Base> {
    if m.known - origin < BASE_TO {
        return None;
    }
    let (from, to) = (origin + BASE_FROM, origin + BASE_TO);
    let motor: Vec<f64> = m.history.values(from, to, |tick| tick.other(Channel::Motor)).collect();
    let current_a = maths::statistics::median(&motor).filter(|&a| motor.len() >= BASE_READINGS && a > 0.0)?;
    let chocolate_c = mean(m.history.values(from, to, Tick::chocolate))?;
    Some(Base { current_a, chocolate_c })
}

/// A wall as hot as a melt, or a set-point that asks for one: cold pieces in what was left are heavy to stir, and no temper.
fn melts(m: &Moment<'_>) -> bool {
    let wall = || mean(m.history.values(m.at - SMOOTH, m.known, |tick| tick.other(Channel::Jacket)));
    m.is_asked_to_melt() || wall().is_some_and(|wall| wall >= soak_from(m.limits))
}

fn report(m: &Moment<'_>, from: Timestamp, base: Base, current: f64) -> Report {
    let more = 100.0 * (current / base.current_a - 1.0);
    Report {
        kind: FindingKind::Thickening,
        priority: Priority::Medium,
        from,
        raised_at: m.known,
        says: format!(
            "The stirrer's motor takes {more:.0} % more current than when the hold began, at the same temperature."
        ),
        evidence: vec![
            number("motor_a", current),
            number("motor_base_a", base.current_a),
            number("chocolate_c", m.level),
            number("chocolate_base_c", base.chocolate_c),
        ],
        advice: "Look at it: if it only thickens, raise the set-point by a few tenths within the working range or add a little warm \
                 couverture, then test; if it went stiff within minutes, stop, look for water, keep the lot apart and tell quality.",
    }
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use plant::Family;

    use super::super::testing::{moment, shown};
    use super::*;
    use crate::history::History;
    use crate::timeline::Timeline;

    /// Four hours of a hold with a motor whose current, where it reports, is `current(minute)`; what is told of it.
    fn run(
        current: impl Fn(f64) -> f64,
        chocolate: impl Fn(f64) -> f64,
        change: impl Fn(&mut Moment<'_>),
    ) -> Vec<String> {
        run_with(current, chocolate, |_| [f64::NAN; 2], change)
    }

    /// The same with jacket and stirrer, where they report.
    fn run_with(
        current: impl Fn(f64) -> f64,
        chocolate: impl Fn(f64) -> f64,
        others: impl Fn(f64) -> [f64; 2],
        change: impl Fn(&mut Moment<'_>),
    ) -> Vec<String> {
        let limits = Family::Dark.default_limits();
        let (mut detector, mut history, mut timeline) =
            (Thickening::default(), History::default(), Timeline::default());
        timeline.change(Phase::Working, Timestamp::from_millis(0));
        let mut told = Vec::new();
        for i in 0..240 * 12 {
            let (at, minute) = (Timestamp::from_millis(i * 5_000), i as f64 / 12.0);
            let mut ticker = Ticker::new(Span::from_secs(5));
            if current(minute).is_finite() {
                ticker.insert(Channel::Motor, at, current(minute) * (1.0 + 0.04 * (minute * 9.0).sin()));
            }
            for (channel, value) in [Channel::Jacket, Channel::Stirrer].into_iter().zip(others(minute)) {
                if value.is_finite() {
                    ticker.insert(channel, at, value);
                }
            }
            ticker.insert(Channel::Chocolate, at, chocolate(minute));
            let tick = ticker.finish().expect("two readings make a tick");
            history.push(tick);
            let mut m = moment(Phase::Working, at, chocolate(minute), &history, &timeline, &limits);
            (m.stirrer, m.motor) = (tick.other(Channel::Stirrer), tick.other(Channel::Motor));
            change(&mut m);
            match detector.step(&m) {
                Verdict::Raise(report) => {
                    told.push(format!("raise at {} from {}", shown(m.known), shown(report.from)))
                }
                Verdict::Over(at) => told.push(format!("over at {}", shown(at))),
                Verdict::Quiet | Verdict::Worse { .. } => {}
            }
        }
        told
    }

    #[test]
    fn a_fifth_more_for_ten_minutes() {
        let told = run(|t| if t < 60.0 { 2.0 } else { 2.4 }, |_| 31.5, |_| {});
        assert_eq!(told, ["raise at 70:40 from 61:35"]);
    }

    #[test]
    fn a_motor_that_is_read_every_four_minutes_has_a_base() {
        let told = run(
            |t| {
                if t % 4.0 > 0.04 {
                    f64::NAN
                } else if t < 60.0 {
                    2.0
                } else {
                    2.6
                }
            },
            |_| 31.5,
            |_| {},
        );
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].starts_with("raise at 7"), "{told:?}");
    }

    #[test]
    fn a_tenth_more_or_a_colder_charge_is_none() {
        assert!(run(|t| if t < 60.0 { 2.0 } else { 2.2 }, |_| 31.5, |_| {}).is_empty());
        let colder = |t| if t < 60.0 { 31.5 } else { 30.8 };
        assert!(run(|t| if t < 60.0 { 2.0 } else { 2.4 }, colder, |_| {}).is_empty());
    }

    /// Its control swings it by a little more than half a degree from minute 80 on: what was told goes on.
    #[test]
    fn a_charge_that_swings_does_not_end_it() {
        let swings =
            |t: f64| 31.5 + if t < 80.0 { 0.0 } else { 0.58 * (t * std::f64::consts::TAU / 8.0).sin() };
        let told = run(|t| if t < 60.0 { 2.0 } else { 2.6 }, swings, |_| {});
        assert_eq!(told.len(), 1, "{told:?}");
    }

    #[test]
    fn cold_pieces_on_a_hot_wall_are_none() {
        let more = |t: f64| if t < 60.0 { 2.0 } else { 2.4 };
        let jacket = |t: f64| [if t < 60.0 { 33.0 } else { 55.0 }, f64::NAN];
        assert!(run_with(more, |_| 31.5, jacket, |_| {}).is_empty());
        assert_eq!(run_with(more, |_| 31.5, |_| [36.0, f64::NAN], |_| {}).len(), 1);
    }

    #[test]
    fn a_motor_that_says_nothing_in_between_is_not_known_to_labour() {
        let pauses = |t: f64| match t {
            ..60.0 => 2.0,
            65.0..74.0 => f64::NAN,
            60.0..80.0 => 2.4,
            _ => 2.0,
        };
        assert!(run(pauses, |_| 31.5, |_| {}).is_empty());
    }

    #[test]
    fn a_top_up_or_another_speed_starts_a_new_base() {
        let hour = Timestamp::from_millis(3_600_000);
        let more = |t: f64| if t < 60.0 { 2.0 } else { 2.4 };
        assert!(run(more, |_| 31.5, |m| m.topped_up_at = (m.at >= hour).then_some(hour)).is_empty());
        let faster = |t: f64| [f64::NAN, if t < 60.0 { 30.0 } else { 40.0 }];
        assert!(run_with(more, |_| 31.5, faster, |_| {}).is_empty());
    }

    /// Half an hour at another speed and back: what it took at this one before is still known. The speed is measured, and flickers by a twentieth.
    #[test]
    fn a_speed_that_comes_back_has_its_base() {
        let current = |t: f64| {
            if (60.0..90.0).contains(&t) {
                3.0
            } else if t < 60.0 {
                2.0
            } else {
                2.4
            }
        };
        let stirrer = |t: f64| {
            let flicker = 1.0 + 0.05 * (t * 40.0).sin();
            [f64::NAN, flicker * if (60.0..90.0).contains(&t) { 30.0 } else { 20.0 }]
        };
        let told = run_with(current, |_| 31.5, stirrer, |_| {});
        assert_eq!(told.len(), 1);
        assert!(told[0].starts_with("raise at 100:"), "{told:?}");
    }
}

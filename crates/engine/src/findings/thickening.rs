//! `thickening`, medium: in working, motor current 15 % above its base (median of minutes 5–15 of working at the same stirrer speed; a
//! top-up starts a new one) for 10 min, temperature within 0.5 °C of that at the base (contract, section 6).
//!
//! At equal speed, mass and temperature the current follows the viscosity; a fifth more is roughly a few per cent more of the fat
//! crystallised (common practice, no source). The current is looked at as the mean of two minutes, since a stirrer cycles by some per cent.
//! Another speed of the stirrer (by a twentieth) starts a new base like a top-up. Deadband 3 % of the base.

use model::{Channel, FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::around::Pace;
use super::watch::{Condition, Watch};
use super::{Moment, Report, Verdict, number};
use crate::history::mean;
use crate::phases::soak_from;

const BASE_FROM: Span = Span::from_mins(5);
const BASE_TO: Span = Span::from_mins(15);
/// A median of fewer values is none.
const BASE_READINGS: usize = 8;
const MORE: f64 = 1.15;
const DEADBAND: f64 = 0.03;
const FOR: Span = Span::from_mins(10);
const SAME_TEMPERATURE: f64 = 0.5;
const SAME_SPEED: f64 = 0.05;
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
        let origin = [Some(m.phase_since), m.topped_up_at, self.speed_since].into_iter().flatten().max();
        if self.origin != origin {
            let was_open = self.watch.is_open();
            self.watch = Watch::default();
            (self.origin, self.base, self.next_look) = (origin, None, None);
            return if was_open { Verdict::Over(m.at) } else { Verdict::Quiet };
        }
        if self.next_look.is_some_and(|next| m.at < next) {
            return Verdict::Quiet;
        }
        self.next_look = Some(m.at + EVERY);
        let Some(base) = self.base.or_else(|| base_of(m, origin?)) else { return Verdict::Quiet };
        self.base = Some(base);
        let motor = m.history.between(m.at - SMOOTH, m.known).filter_map(|tick| tick.other(Channel::Motor));
        let Some(current) = mean(motor) else { return Verdict::Quiet };
        let condition = if (m.level - base.chocolate_c).abs() > SAME_TEMPERATURE || melts(m) {
            Condition::Clear
        } else {
            Condition::above(current / base.current_a, MORE, DEADBAND)
        };
        let gap = m.gap || std::mem::take(&mut self.paused);
        let edge = self.watch.step(m.at, m.known, condition, gap, FOR);
        edge.told(|from| report(m, from, base, current))
    }

    /// While the motor's own channel pauses, nothing is known of it.
    fn note_pause(&mut self, m: &Moment<'_>) {
        if m.history.between(m.at, m.known).any(|tick| tick.other(Channel::Motor).is_some()) {
            self.paused |= self.pace.gap(m.at);
        }
    }

    /// A stirrer that only says on or off has one speed.
    fn note_speed(&mut self, m: &Moment<'_>) {
        let Some(speed) = m.stirrer.filter(|&speed| speed > 0.0) else { return };
        let same = self.speed.is_some_and(|before| (speed - before).abs() <= SAME_SPEED * before);
        if !same {
            self.speed_since = self.speed.map(|_| m.at);
            self.speed = Some(speed);
        }
    }
}

fn base_of(m: &Moment<'_>, origin: Timestamp) -> Option<Base> {
    if m.known - origin < BASE_TO {
        return None;
    }
    let ticks = || m.history.between(origin + BASE_FROM, origin + BASE_TO);
    let motor: Vec<f64> = ticks().filter_map(|tick| tick.other(Channel::Motor)).collect();
    let current_a = maths::statistics::median(&motor).filter(|&a| motor.len() >= BASE_READINGS && a > 0.0)?;
    let chocolate_c = mean(ticks().filter_map(|tick| tick.chocolate()))?;
    Some(Base { current_a, chocolate_c })
}

/// A wall as hot as a melt, or a set-point that asks for one: cold pieces in what was left are heavy to stir, and no temper.
fn melts(m: &Moment<'_>) -> bool {
    let wall = m.history.between(m.at - SMOOTH, m.known).filter_map(|tick| tick.other(Channel::Jacket));
    m.is_asked_to_melt() || mean(wall).is_some_and(|wall| wall >= soak_from(m.limits))
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
        run_with(current, chocolate, |_| f64::NAN, change)
    }

    /// The same with a jacket, where it reports.
    fn run_with(
        current: impl Fn(f64) -> f64,
        chocolate: impl Fn(f64) -> f64,
        jacket: impl Fn(f64) -> f64,
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
            if jacket(minute).is_finite() {
                ticker.insert(Channel::Jacket, at, jacket(minute));
            }
            ticker.insert(Channel::Chocolate, at, chocolate(minute));
            history.push(ticker.finish().expect("two readings make a tick"));
            let mut m = moment(Phase::Working, at, chocolate(minute), &history, &timeline, &limits);
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
        assert_eq!(told, ["raise at 71:40 from 61:35"]);
    }

    #[test]
    fn a_tenth_more_or_a_colder_charge_is_none() {
        assert!(run(|t| if t < 60.0 { 2.0 } else { 2.2 }, |_| 31.5, |_| {}).is_empty());
        let colder = |t| if t < 60.0 { 31.5 } else { 30.8 };
        assert!(run(|t| if t < 60.0 { 2.0 } else { 2.4 }, colder, |_| {}).is_empty());
    }

    #[test]
    fn cold_pieces_on_a_hot_wall_are_none() {
        let more = |t: f64| if t < 60.0 { 2.0 } else { 2.4 };
        let jacket = |t: f64| if t < 60.0 { 33.0 } else { 55.0 };
        assert!(run_with(more, |_| 31.5, jacket, |_| {}).is_empty());
        assert_eq!(run_with(more, |_| 31.5, |_| 36.0, |_| {}).len(), 1);
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
        assert!(run(more, |_| 31.5, |m| m.stirrer = Some(if m.at >= hour { 40.0 } else { 30.0 })).is_empty());
    }
}

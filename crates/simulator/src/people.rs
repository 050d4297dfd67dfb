//! The people at kettles, wheels and continuous machines: one of them a machine, with a day's plan, a watch that is not
//! exact, and other things to do.
//!
//! They act on the machine's own display. They are late, weigh a little more or less, forget to type, take lumps out when
//! they see them, and go for lunch.

use model::{Span, Timestamp};

use crate::calendar::Calendar;
use crate::deeds::{Deed, Mark, Report, Seen, written};
use crate::dice::Dice;
use crate::faults::Stage;
use crate::spec::Spec;
use crate::working::Work;

/// Set-point of a machine that is switched off, °C.
pub(crate) const OFF_SETPOINT: f64 = 20.0;
/// Solids from the store, °C.
pub(crate) const STORE_C: f64 = 20.0;
/// Reports that are never typed (assumed).
const FORGETS: f64 = 0.1;
/// Lumps are taken out this long after the last portion (common practice: seed mixes in within 5–20 min).
const LUMPS_OUT_MIN: f64 = 15.0;
/// People start to work at the latest so long after seeding.
const LANDING_MOST_MIN: f64 = 75.0;
/// Machines are off on so many nights (assumed).
const OFF_NIGHTS: f64 = 0.25;
/// After an off night the timer heats from about here on, minutes after midnight.
const TIMER_MIN: (f64, f64) = (30.0, 120.0);
/// After a night's set-back it is hot again so long before it is cooled, minutes.
const UP_AGAIN_MIN: i64 = 75;
/// A charge that is melted again by day is not cooled before, minutes.
const SECOND_MELT_MIN: i64 = 80;

mod tempering;

/// Invented names that people sign with.
const NAMES: [&str; 5] = ["ana", "rui", "joana", "tiago", "marta"];

#[derive(Debug, Clone)]
enum State {
    Off { heat_at: Timestamp },
    Melt { cool_at: Timestamp },
    Cool,
    Fetch { seed_at: Timestamp },
    Seed { left: Vec<f64>, next_at: Timestamp },
    LowPoint { until: Option<Timestamp>, there: bool },
    Table { back_at: Timestamp },
    Land { since: Timestamp, in_range_since: Option<Timestamp> },
    Work(Work),
}

/// The person at one machine.
#[derive(Debug, Clone)]
pub(crate) struct Person {
    state: State,
    dice: Dice,
    calendar: Calendar,
    name: &'static str,
    /// How this person likes to set the hold, off the middle of the range, °C.
    preference_c: f64,
    seed_point_c: f64,
    seed_share: f64,
    lots: u32,
    stirring: bool,
    /// Set back for the night.
    set_back: bool,
    /// The day of the last second batch.
    second_on: Option<i64>,
}

impl Person {
    /// Comes in with the machine hot and molten, to be cooled at the next start of its shift.
    pub(crate) fn new(spec: &Spec, calendar: Calendar, start: Timestamp, mut dice: Dice) -> Person {
        let day = calendar.day_of(start);
        let in_shift = calendar.is_workday(day)
            && calendar.moment(day, spec.shift.cool_at_min) <= start
            && start < calendar.moment(day, spec.shift.end_at_min - 120.0);
        let name = NAMES[(dice.even() * NAMES.len() as f64) as usize];
        let preference_c = dice.between(-0.12, 0.1);
        let mut person = Person {
            state: State::Off { heat_at: start },
            dice,
            calendar,
            name,
            preference_c,
            seed_point_c: 0.0,
            seed_share: spec.usual_seed_share(),
            lots: 2200,
            stirring: true,
            set_back: false,
            second_on: None,
        };
        let cool_at = if in_shift { start + Span::from_mins(5) } else { person.next_cooling(spec, start) };
        person.state = State::Melt { cool_at };
        person
    }

    /// Comes in with the machine cold; heat goes on at `heat_at`.
    pub(crate) fn wait_cold(&mut self, heat_at: Timestamp) {
        self.state = State::Off { heat_at };
        self.stirring = false;
    }

    pub(crate) fn first_setpoint(&self, spec: &Spec) -> f64 {
        match self.state {
            State::Off { .. } => OFF_SETPOINT,
            State::Melt { .. }
            | State::Cool
            | State::Fetch { .. }
            | State::Seed { .. }
            | State::LowPoint { .. }
            | State::Table { .. }
            | State::Land { .. }
            | State::Work(_) => melt_target(spec),
        }
    }

    pub(crate) fn stage(&self) -> Stage {
        match self.state {
            State::Off { .. } => Stage::Off,
            State::Melt { .. } => Stage::Melting,
            State::Cool | State::Fetch { .. } => Stage::Cooling,
            State::Seed { .. } | State::LowPoint { .. } | State::Table { .. } | State::Land { .. } => {
                Stage::Landing
            }
            State::Work(_) => Stage::Working,
        }
    }

    fn next_cooling(&mut self, spec: &Spec, now: Timestamp) -> Timestamp {
        let today = self.calendar.day_of(now);
        let minutes = spec.shift.cool_at_min + 6.0 * self.dice.normal();
        let day = if self.calendar.is_workday(today) && now < self.calendar.moment(today, minutes) {
            today
        } else {
            self.calendar.next_workday(today)
        };
        self.calendar.moment(day, minutes)
    }

    pub(crate) fn hold_target(&self, spec: &Spec) -> f64 {
        spec.limits.working.middle() + self.preference_c
    }

    /// A report that happened now, typed within minutes, or never.
    fn tell(
        &mut self,
        seen: &Seen,
        event: &'static str,
        fields: Vec<(&'static str, serde_json::Value)>,
        out: &mut Vec<Deed>,
    ) {
        if self.dice.chance(FORGETS) {
            return;
        }
        let sent = seen.now + Span::from_mins_f64(self.dice.wait(1.0).min(8.0));
        let at = self.dice.chance(0.8).then_some(seen.now);
        out.push(Deed::Tell(Report { event, at, sent, by: self.name, fields }));
    }

    /// One look at the machine.
    pub(crate) fn act(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        self.mind_the_stirrer(spec, seen, out);
        let before = self.stage();
        match self.state.clone() {
            State::Off { heat_at } if seen.now >= heat_at => {
                out.push(Deed::SetPoint(melt_target(spec)));
                out.push(Deed::Mark(Mark::Heat));
                let cool_at = self.next_cooling(spec, seen.now);
                self.state = State::Melt { cool_at };
            }
            State::Melt { cool_at }
                if seen.now >= cool_at && seen.shown_c >= spec.limits.melt.low() - 0.7 =>
            {
                self.begin_cooling(spec, seen, out);
            }
            State::Melt { cool_at } => self.mind_the_night(spec, cool_at, seen, out),
            State::Cool => self.mind_the_cooling(spec, seen, out),
            State::Fetch { seed_at } if seen.now >= seed_at => self.begin_seeding(spec, seen, out),
            State::Seed { left, next_at } if seen.now >= next_at => self.seed(left, seen, out),
            State::LowPoint { until, there } => self.mind_the_low_point(spec, until, there, seen, out),
            State::Table { back_at } if seen.now >= back_at => {
                out.push(Deed::FromTable);
                out.push(Deed::SetPoint(self.hold_target(spec)));
                self.land(seen);
            }
            State::Land { since, in_range_since } => {
                self.mind_the_landing(spec, since, in_range_since, seen, out)
            }
            State::Work(mut work) => {
                if seen.now >= work.ends_at() {
                    self.end_the_day(spec, seen, out);
                } else if self.second_batch_is_due(spec, seen) {
                    self.melt_again(spec, seen, out);
                } else if work.act(spec, seen, self.name, &mut self.dice, out) {
                    out.push(Deed::SetPoint(melt_target(spec)));
                    out.push(Deed::Mark(Mark::Heat));
                    self.state = State::Melt { cool_at: seen.now + Span::from_mins(70) };
                } else {
                    self.state = State::Work(work);
                }
            }
            State::Off { .. } | State::Fetch { .. } | State::Seed { .. } | State::Table { .. } => {}
        }
        if self.stage() != before {
            out.push(Deed::Enter(self.stage()));
        }
    }

    /// Stirs what is molten, and nothing else.
    fn mind_the_stirrer(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let molten = seen.shown_c > spec.limits.working.low();
        let off = matches!(self.state, State::Off { .. });
        let wanted = if off { false } else { self.stirring || molten };
        if wanted != self.stirring {
            self.stirring = wanted;
            out.push(Deed::Stir(wanted));
        }
    }

    fn land(&mut self, seen: &Seen) {
        self.state = State::Land { since: seen.now, in_range_since: None };
    }

    fn mind_the_landing(
        &mut self,
        spec: &Spec,
        since: Timestamp,
        in_range_since: Option<Timestamp>,
        seen: &Seen,
        out: &mut Vec<Deed>,
    ) {
        let landed_min = seen.now.since(since).as_mins_f64();
        if landed_min > LUMPS_OUT_MIN && seen.lumps_kg > 0.002 * seen.kg {
            out.push(Deed::Lumps);
            out.push(Deed::Mark(Mark::Lumps));
        }
        let in_range = spec.limits.working.holds(seen.shown_c, 0.5);
        let since_range = in_range.then(|| in_range_since.unwrap_or(seen.now));
        let steady = since_range.is_some_and(|at| seen.now.since(at) >= Span::from_mins(6));
        if (steady && landed_min > 8.0) || landed_min > LANDING_MOST_MIN {
            let day = self.calendar.day_of(seen.now);
            let ends = self.calendar.moment(day, spec.shift.end_at_min + 10.0 * self.dice.normal());
            let ends = ends.max(seen.now + Span::from_mins(45));
            self.state = State::Work(Work::new(spec, seen, ends, self.hold_target(spec), &mut self.dice));
        } else {
            self.state = State::Land { since, in_range_since: since_range };
        }
    }

    /// Lower at night, up again in time.
    fn mind_the_night(&mut self, spec: &Spec, cool_at: Timestamp, seen: &Seen, out: &mut Vec<Deed>) {
        let lower_c = spec.manner.set_back_c;
        let long = cool_at.since(seen.now) > Span::from_mins(UP_AGAIN_MIN);
        let molten = seen.shown_c >= spec.limits.melt.low() + 0.3;
        let wanted = lower_c > 0.0 && long && (self.set_back || molten);
        if wanted != self.set_back {
            self.set_back = wanted;
            out.push(Deed::SetPoint(melt_target(spec) - if wanted { lower_c } else { 0.0 }));
        }
    }

    fn second_batch_is_due(&self, spec: &Spec, seen: &Seen) -> bool {
        let today = self.calendar.day_of(seen.now);
        let due = |minutes| self.calendar.moment(today, minutes) <= seen.now;
        self.second_on != Some(today) && spec.manner.second_batch_at_min.is_some_and(due)
    }

    /// Fills up, and melts for another batch on the same day.
    fn melt_again(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        self.second_on = Some(self.calendar.day_of(seen.now));
        self.fill_up(spec, seen, out);
        out.push(Deed::SetPoint(melt_target(spec)));
        out.push(Deed::Mark(Mark::Heat));
        self.state = State::Melt { cool_at: seen.now + Span::from_mins(SECOND_MELT_MIN) };
    }

    /// Fills up and heats for the night, or switches off.
    fn end_the_day(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        self.fill_up(spec, seen, out);
        let today = self.calendar.day_of(seen.now);
        let next = self.calendar.next_workday(today);
        let long_pause = next > today + 1;
        if long_pause || self.dice.chance(OFF_NIGHTS) {
            let timer = self.dice.between(TIMER_MIN.0, TIMER_MIN.1);
            let early = (spec.shift.cool_at_min - 360.0).max(0.0);
            let heat_at = self.calendar.moment(next, timer + early);
            self.tell(seen, "end", Vec::new(), out);
            out.push(Deed::SetPoint(OFF_SETPOINT));
            out.push(Deed::Mark(Mark::Off));
            self.state = State::Off { heat_at };
        } else {
            out.push(Deed::SetPoint(melt_target(spec)));
            out.push(Deed::Mark(Mark::Heat));
            let cool_at = self.next_cooling(spec, seen.now);
            self.state = State::Melt { cool_at };
        }
    }

    /// Up to the usual filling with solids; what a day of seeding left above it is ladled out, or the next seed would not fit.
    fn fill_up(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let full = spec.usual_kg() * self.dice.between(0.96, 1.04) * seen.filling;
        if full < seen.kg {
            out.push(Deed::Draw { kg: seen.kg - full });
        }
        let kg = (full - seen.kg).max(0.0);
        if kg > 0.0 {
            if self.dice.chance(0.2) {
                self.lots += 1;
            }
            let lot = format!("L{}", self.lots);
            out.push(Deed::Charge { kg, celsius: STORE_C });
            out.push(Deed::Mark(Mark::Charge { kg, total_kg: full, lot: lot.clone() }));
            let fields = vec![
                ("couverture", spec.couverture.as_str().into()),
                ("lot", lot.into()),
                ("mass_kg", written(full)),
                ("method", spec.method.as_str().into()),
            ];
            self.tell(seen, "charge", fields, out);
        }
    }
}

/// What machines are set to for the night: a little above the lower end of the melt range.
pub(crate) fn melt_target(spec: &Spec) -> f64 {
    spec.limits.melt.low() + 1.0
}

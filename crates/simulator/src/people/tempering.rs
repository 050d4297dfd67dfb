//! From the melt to the first landing, by each of the methods.

use model::{Method, Span, Timestamp};

use super::{Person, STORE_C, State};
use crate::controller::OFF_BELOW;
use crate::deeds::{Deed, Mark, Seen, written};
use crate::faults::Stage;
use crate::spec::Spec;
use crate::trouble::SeedTrouble;

/// Minutes between seeing the seeding point and having the seed at hand (assumed mean).
const FETCHING_MIN: f64 = 2.5;
/// Low point: so far above the lowest point wanted, and for how long (tables: 27–28.5 for dark).
const LOW_POINT_ABOVE_FLOOR: f64 = 0.4;
/// It is asked for this much lower, so that it is reached against the heat of the crystals; never so low that the
/// controller takes it for off.
const LOW_POINT_ASKED_BELOW: f64 = 1.0;
const LOW_POINT_LEAST: f64 = 26.4;
/// Nobody waits longer for it, minutes.
const LOW_POINT_MOST_MIN: i64 = 40;
const LOW_POINT_MIN: (f64, f64) = (6.0, 10.0);
/// Tabling: two thirds on the marble, five to nine minutes.
const TABLE_SHARE: f64 = 0.66;
const TABLE_MIN: (f64, f64) = (5.0, 9.0);
/// Ready crystals, a share of the charge (common practice 0.5–2 %).
const BUTTER_SHARE: f64 = 0.01;

impl Person {
    pub(super) fn begin_cooling(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        let target = match spec.method {
            Method::Continuous => (low_point(spec) - LOW_POINT_ASKED_BELOW).max(OFF_BELOW + 0.1),
            // The bowl stays warm while most of it is on the marble.
            Method::Tabling => spec.limits.melt.low() - 4.0,
            Method::Seed | Method::ButterSeed | Method::PartialMelt => self.hold_target(spec),
        };
        self.seed_share = spec.usual_seed_share() * self.dice.between(0.94, 1.06);
        self.seed_point_c = spec.seed_point(seen.kg, self.seed_share, STORE_C) + self.dice.between(-0.3, 0.3);
        out.push(Deed::SetPoint(target));
        out.push(Deed::Mark(Mark::Lower));
        self.state = match spec.method {
            Method::Continuous => State::LowPoint { until: None, there: false },
            Method::Seed | Method::ButterSeed | Method::PartialMelt | Method::Tabling => State::Cool,
        };
        // The low point is part of cooling until it is reached; people call it so.
        if matches!(self.state, State::LowPoint { .. }) {
            out.push(Deed::Enter(Stage::Cooling));
        }
    }

    pub(super) fn mind_the_cooling(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        match spec.method {
            Method::Seed if seen.shown_c <= self.seed_point_c => match seen.seed_trouble {
                SeedTrouble::Missed => self.land(seen),
                SeedTrouble::Fine | SeedTrouble::Little(_) => self.fetch(seen, 0.0),
                SeedTrouble::Late(minutes) => self.fetch(seen, minutes),
            },
            Method::ButterSeed if seen.shown_c <= spec.limits.working.high() + 1.8 => {
                let kg = seen.kg * BUTTER_SHARE;
                out.push(Deed::ButterCrystals { kg, celsius: 24.0 });
                out.push(Deed::Mark(Mark::Seed { kg }));
                let fields = vec![("mass_kg", written(kg)), ("temperature", written(24.0))];
                self.tell(seen, "seed", fields, out);
                self.land(seen);
            }
            Method::Tabling if seen.shown_c <= spec.limits.melt.low() - 3.0 => {
                out.push(Deed::ToTable { share: TABLE_SHARE });
                let minutes = self.dice.between(TABLE_MIN.0, TABLE_MIN.1);
                self.state = State::Table { back_at: seen.now + Span::from_mins_f64(minutes) };
            }
            Method::Seed
            | Method::ButterSeed
            | Method::Tabling
            | Method::PartialMelt
            | Method::Continuous => {}
        }
    }

    fn fetch(&mut self, seen: &Seen, late_min: f64) {
        let minutes = self.dice.wait(FETCHING_MIN).min(12.0) + late_min;
        self.state = State::Fetch { seed_at: seen.now + Span::from_mins_f64(minutes) };
    }

    pub(super) fn begin_seeding(&mut self, spec: &Spec, seen: &Seen, out: &mut Vec<Deed>) {
        // Who is late has a colder charge and takes less.
        let fitting = self.fitting_share(spec, seen);
        let share = match seen.seed_trouble {
            SeedTrouble::Little(part) => fitting * part,
            SeedTrouble::Fine | SeedTrouble::Missed | SeedTrouble::Late(_) => fitting,
        };
        let kg = seen.kg * share;
        let portions = 1 + (self.dice.even() * 3.0) as usize;
        let left = vec![kg / portions as f64; portions];
        let fields = vec![("mass_kg", written(kg)), ("temperature", written(STORE_C))];
        self.tell(seen, "seed", fields, out);
        out.push(Deed::LidOff { minutes: 2.0 });
        self.state = State::Seed { left, next_at: seen.now };
    }

    /// The planned share, or what the chocolate's temperature still asks for if it has fallen below the seeding point.
    fn fitting_share(&self, spec: &Spec, seen: &Seen) -> f64 {
        let late_c = (self.seed_point_c - seen.shown_c).max(0.0);
        let room_c = (self.seed_point_c - spec.limits.working.high()).max(0.5);
        self.seed_share * (1.0 - 0.8 * (late_c / room_c).min(1.0))
    }

    pub(super) fn seed(&mut self, mut left: Vec<f64>, seen: &Seen, out: &mut Vec<Deed>) {
        match left.pop() {
            Some(kg) => {
                out.push(Deed::Pieces { kg, celsius: STORE_C });
                out.push(Deed::Mark(Mark::Seed { kg }));
                let pause = if left.is_empty() { 0.5 } else { self.dice.between(2.0, 4.0) };
                self.state = State::Seed { left, next_at: seen.now + Span::from_mins_f64(pause) };
            }
            None => self.land(seen),
        }
    }

    pub(super) fn mind_the_low_point(
        &mut self,
        spec: &Spec,
        until: Option<Timestamp>,
        there: bool,
        seen: &Seen,
        out: &mut Vec<Deed>,
    ) {
        let near = seen.shown_c <= spec.limits.working.low() - 1.5;
        match until {
            None if near => {
                // On the way; given up if it does not come.
                let until = seen.now + Span::from_mins(LOW_POINT_MOST_MIN);
                self.state = State::LowPoint { until: Some(until), there: false };
            }
            Some(_) if !there && seen.shown_c <= low_point(spec) + 0.3 => {
                let minutes = self.dice.between(LOW_POINT_MIN.0, LOW_POINT_MIN.1);
                self.state =
                    State::LowPoint { until: Some(seen.now + Span::from_mins_f64(minutes)), there: true };
            }
            Some(until) if seen.now >= until => {
                out.push(Deed::SetPoint(self.hold_target(spec)));
                out.push(Deed::Mark(Mark::Rewarm));
                self.land(seen);
            }
            None | Some(_) => {}
        }
    }
}

/// The low point of a machine that makes its own crystals.
fn low_point(spec: &Spec) -> f64 {
    (spec.limits.floor + LOW_POINT_ABOVE_FLOOR).max(LOW_POINT_LEAST)
}

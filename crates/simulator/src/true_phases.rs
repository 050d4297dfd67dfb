//! Batches and phases as they really were, from the noiseless temperature and the turning points that people made.
//!
//! The contract's definitions (section 5), with the freedom that they leave settled so:
//! - A charge *leaves its level* at the last moment within 0.1 °C of it: of the lowest point between heat on and the melt
//!   for `melting`, of the highest since the machine was set down for `cooling` (what still rises then, out of a hot wall, does not fall away),
//!   of the lowest point for `rewarming`.
//! - `soak` begins at the lower end of the melt range less 2 °C; `settling` where the range's upper end plus 0.5 °C is
//!   first reached; `working` at the end of the first five minutes within the range ± 0.5 °C whose fitted line is flatter
//!   than 0.05 °C/min.
//! - `rewarming`: the lowest point between settling and working lies more than 1 °C below the range, and was either
//!   meant (a low point) or is followed by a rise of 2 °C or more; it lasts to the range's lower end less 0.5 °C.
//! - A bowl that is melted in part is `working` from the first moment of the first two minutes in the range ± 0.5 °C.
//! - `idle` begins where people switched off or finished and somebody could know it, or where the charge fell below 26 °C for an hour or more.
//! - A cooled charge that is heated to the soak by a fault is a new batch, as by the contract.
//! - A heat that never reached the soak is no batch. The history's first batch starts with the history.

mod moved;

use model::{Method, Phase, PhaseSpan, Timestamp};
use plant::Limits;

use crate::deeds::Mark;
use crate::recorder::{KEPT_EVERY_S, Recorder};
pub(crate) use moved::{Courses, Rest};

const LEVEL_C: f64 = 0.1;
const SOAK_BELOW_MELT_C: f64 = 2.0;
const AROUND_RANGE_C: f64 = 0.5;
const STEADY_S: i64 = 300;
const STEADY_C_PER_MIN: f64 = 0.05;
const BOWL_S: i64 = 120;
const REWARM_BELOW_C: f64 = 1.0;
const REWARM_RISE_C: f64 = 2.0;
const FELL_FROM_S: i64 = 3_600;
const IDLE_C: f64 = 26.0;
const IDLE_S: i64 = 3_600;

/// One true batch, as places in the record.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Course {
    pub(crate) start: Timestamp,
    pub(crate) end: Option<Timestamp>,
    pub(crate) phases: Vec<PhaseSpan>,
    /// The place after the last that surely belongs to it: a heat may be on whose end the record does not hold.
    pub(crate) sure_to: usize,
    /// Where it is only by the clock that it turned out to be `idle`, the place up to which it still counted as `working` (contract, section 5:
    /// until the hour is over, what is said of a cold charge applies).
    pub(crate) cold_to: Option<usize>,
}

/// All true batches of a record, oldest first.
/// `offs` are the moments at which somebody could know that a charge was given up.
pub(crate) fn courses(
    record: &Recorder,
    limits: &Limits,
    method: Method,
    offs: &[Timestamp],
    rest: Rest,
) -> Vec<Course> {
    let mut heats: Vec<Timestamp> = moments(record, |m| *m == Mark::Heat);
    heats.extend(unasked(record, limits, &heats, method));
    heats.sort_unstable();
    let mut found: Vec<Course> = Vec::new();
    for (place, heat) in heats.iter().enumerate() {
        let next = heats.get(place + 1).copied();
        if let Some(course) = Walk::new(record, limits, *heat, next, offs, rest).course(method) {
            found.push(course);
        }
    }
    // A batch that was not switched off ends where the next begins.
    for place in 1..found.len() {
        let start = found[place].start;
        let earlier = &mut found[place - 1];
        if earlier.end.is_none_or(|end| end > start) {
            earlier.end = Some(start);
        }
        if let Some(last) = earlier.phases.last_mut() {
            last.to = earlier.end;
        }
    }
    found
}

/// Rises to the soak that nobody asked for, out of a charge that had been cooled: by the contract a new batch each.
fn unasked(record: &Recorder, limits: &Limits, heats: &[Timestamp], method: Method) -> Vec<Timestamp> {
    if method == Method::PartialMelt {
        return Vec::new();
    }
    let hot = limits.melt.low() - SOAK_BELOW_MELT_C;
    let cooled = limits.working.high() + AROUND_RANGE_C;
    let c = |place: usize| f64::from(record.celsius[place]);
    let mut found = Vec::new();
    for (place, heat) in heats.iter().enumerate() {
        let end = heats.get(place + 1).map_or(record.celsius.len(), |at| record.place(*at));
        let mut left: Option<usize> = None;
        let mut was_hot = false;
        for i in record.place(*heat)..end {
            if c(i) >= hot {
                if let (true, Some(left)) = (was_hot, left.take()) {
                    found.push(record.moment(left));
                }
                was_hot = true;
            } else if c(i) <= cooled {
                left = Some(i);
            }
        }
    }
    found
}

pub(crate) fn moments(record: &Recorder, wanted: impl Fn(&Mark) -> bool) -> Vec<Timestamp> {
    record.marks.iter().filter(|(_, m)| wanted(m)).map(|(at, _)| *at).collect()
}

/// The record of one charge.
struct Walk<'a> {
    record: &'a Recorder,
    limits: &'a Limits,
    /// Heat on, next heat on (or the end of the record), as places.
    from: usize,
    to: usize,
    off: Option<usize>,
    rest: Rest,
}

impl<'a> Walk<'a> {
    fn new(
        record: &'a Recorder,
        limits: &'a Limits,
        heat: Timestamp,
        next: Option<Timestamp>,
        offs: &[Timestamp],
        rest: Rest,
    ) -> Walk<'a> {
        let from = record.place(heat);
        let to = next.map_or(record.celsius.len(), |at| record.place(at));
        let off = offs.iter().copied().find(|at| heat < *at && next.is_none_or(|n| *at <= n));
        Walk { record, limits, from, to, off: off.map(|at| record.place(at)), rest }
    }

    fn c(&self, place: usize) -> f64 {
        f64::from(self.record.celsius[place])
    }

    fn first(&self, from: usize, fits: impl Fn(f64) -> bool) -> Option<usize> {
        (from..self.stop()).find(|i| fits(self.c(*i)))
    }

    /// Nothing after it belongs to the charge.
    fn stop(&self) -> usize {
        self.off.unwrap_or(self.to).min(self.to)
    }

    fn lowest(&self, from: usize, to: usize) -> usize {
        (from..to.max(from + 1)).min_by(|a, b| self.c(*a).total_cmp(&self.c(*b))).unwrap_or(from)
    }

    /// The last place in `from..=to` within [`LEVEL_C`] of `level`.
    fn leaves(&self, from: usize, to: usize, fits: impl Fn(f64) -> bool) -> usize {
        (from..=to).rev().find(|i| fits(self.c(*i))).unwrap_or(from)
    }

    fn mark_after(&self, place: usize, wanted: &Mark) -> Option<usize> {
        let at = moments(self.record, |m| m == wanted).into_iter().map(|at| self.record.place(at));
        at.into_iter().find(|p| *p >= place && *p < self.stop())
    }

    /// The highest point from which a soak that nobody ended fell all the same: of the last hour before it left the soak for good.
    fn highest(&self, soak: usize) -> Option<usize> {
        let top = self.limits.working.high() + AROUND_RANGE_C;
        let cooled = self.first(soak, |c| c <= top)?;
        let left = self.leaves(soak, cooled, |c| c >= self.limits.melt.low() - SOAK_BELOW_MELT_C);
        let from = soak.max(left.saturating_sub((FELL_FROM_S / KEPT_EVERY_S) as usize));
        (from..=left).max_by(|a, b| self.c(*a).total_cmp(&self.c(*b)))
    }

    fn course(&self, method: Method) -> Option<Course> {
        if self.from >= self.record.celsius.len() {
            return None;
        }
        let mut steps = match method {
            Method::PartialMelt => self.bowl_steps()?,
            Method::Seed | Method::ButterSeed | Method::Tabling | Method::Continuous => {
                self.machine_steps()?
            }
        };
        let left = self.left_to_set(&steps);
        let end = left.or(self.off);
        let cold_to = left.map(|left| (left + (IDLE_S / KEPT_EVERY_S) as usize).min(self.stop()));
        if let Some(end) = end {
            steps.retain(|(_, at)| *at < end);
        }
        let moment = |place: usize| self.record.moment(place);
        let mut phases: Vec<PhaseSpan> = Vec::new();
        for (place, (phase, at)) in steps.iter().enumerate() {
            let to = steps.get(place + 1).map(|next| next.1).or(end);
            if to.is_none_or(|to| to > *at) {
                phases.push(PhaseSpan {
                    phase: *phase,
                    from: moment(*at),
                    to: to.map(moment),
                    confidence: model::Confidence::High,
                });
            }
        }
        Some(Course {
            start: moment(steps.first()?.1),
            end: end.map(moment),
            phases,
            sure_to: self.stop(),
            cold_to,
        })
    }

    fn machine_steps(&self) -> Option<Vec<(Phase, usize)>> {
        let soak = self.first(self.from, |c| c >= self.limits.melt.low() - SOAK_BELOW_MELT_C)?;
        let lowest = self.c(self.lowest(self.from, soak));
        let start = self.leaves(self.from, soak, |c| c <= lowest + LEVEL_C);
        let mut steps = vec![(Phase::Melting, start), (Phase::Soak, soak)];
        let Some(lower) = self.mark_after(soak, &Mark::Lower).or_else(|| self.highest(soak)) else {
            return Some(steps);
        };
        let reached = self.limits.working.high() + AROUND_RANGE_C;
        let settling = self.first(lower, |c| c <= reached);
        let until = settling.unwrap_or(self.stop() - 1);
        let level = (lower..=until).map(|place| self.c(place)).fold(f64::NEG_INFINITY, f64::max);
        let cooling = self.leaves(lower, until, |c| c >= level - LEVEL_C);
        steps.push((Phase::Cooling, cooling));
        let Some(settling) = settling else { return Some(steps) };
        steps.push((Phase::Settling, settling));
        let working = self.steady(settling);
        self.rewarming(settling, working.unwrap_or(self.stop()), &mut steps);
        if let Some(working) = working {
            steps.push((Phase::Working, working));
        }
        Some(steps)
    }

    fn bowl_steps(&self) -> Option<Vec<(Phase, usize)>> {
        let stay = (BOWL_S / KEPT_EVERY_S) as usize;
        let inside = |i: usize| self.limits.working.holds(self.c(i), self.rest.around_c);
        let mut run = 0;
        let mut working = None;
        for place in self.from..self.stop() {
            run = if inside(place) { run + 1 } else { 0 };
            if run > stay {
                working = Some(place - stay);
                break;
            }
        }
        let until = working.unwrap_or(self.stop().checked_sub(1)?);
        let lowest = self.c(self.lowest(self.from, until));
        let start = self.leaves(self.from, until, |c| c <= lowest + LEVEL_C);
        let mut steps = vec![(Phase::Melting, start)];
        steps.extend(working.map(|at| (Phase::Working, at)));
        Some(steps)
    }

    /// The end of the first five steady minutes.
    fn steady(&self, from: usize) -> Option<usize> {
        let long = (STEADY_S / KEPT_EVERY_S) as usize;
        let mut inside = 0;
        for place in from..self.stop() {
            inside =
                if self.limits.working.holds(self.c(place), self.rest.around_c) { inside + 1 } else { 0 };
            if inside > long && self.slope(place - long, place).abs() < self.rest.c_per_min {
                return Some(place);
            }
        }
        None
    }

    /// Least-squares slope, °C/min.
    fn slope(&self, from: usize, to: usize) -> f64 {
        let n = (to - from + 1) as f64;
        let middle = (n - 1.0) / 2.0;
        let (mut top, mut bottom) = (0.0, 0.0);
        for (k, place) in (from..=to).enumerate() {
            let x = k as f64 - middle;
            top += x * self.c(place);
            bottom += x * x;
        }
        top / bottom * 60.0 / KEPT_EVERY_S as f64
    }

    fn rewarming(&self, from: usize, to: usize, steps: &mut Vec<(Phase, usize)>) {
        if from >= to {
            return;
        }
        let low = self.limits.working.low();
        let lowest = self.lowest(from, to);
        let highest_after = (lowest..to).map(|i| self.c(i)).fold(f64::NEG_INFINITY, f64::max);
        let meant = self.mark_after(from.saturating_sub(1), &Mark::Rewarm).is_some_and(|at| at <= to);
        let deep = self.c(lowest) < low - REWARM_BELOW_C;
        if !deep || !(meant || highest_after - self.c(lowest) >= REWARM_RISE_C) {
            return;
        }
        let level = self.c(lowest);
        let back = self.first(lowest, |c| c >= low - AROUND_RANGE_C).unwrap_or(to).min(to);
        let begins = self.leaves(lowest, back.saturating_sub(1).max(lowest), |c| c <= level + LEVEL_C);
        steps.push((Phase::Rewarming, begins));
        if back < to {
            steps.push((Phase::Settling, back));
        }
    }

    /// Where it fell below 26 °C for an hour, after it had been worked with or had begun to settle.
    fn left_to_set(&self, steps: &[(Phase, usize)]) -> Option<usize> {
        let from = steps.iter().find(|s| s.0 == Phase::Working || s.0 == Phase::Settling)?.1;
        let long = (IDLE_S / KEPT_EVERY_S) as usize;
        let mut below = 0;
        for place in from..self.stop() {
            below = if self.c(place) < IDLE_C { below + 1 } else { 0 };
            if below > long {
                return Some(place - long);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use model::Span;
    use plant::Family;

    use super::*;
    use crate::conditions::Ease;
    use crate::recorder::Sight;

    /// A record drawn from `minute:°C` corners, and marks at minutes.
    fn record(corners: &[(f64, f64)], marks: &[(i64, Mark)]) -> Recorder {
        let start = Timestamp::from_millis(0);
        let mut recorder = Recorder::new(start);
        let last = corners[corners.len() - 1].0;
        for second in 0..(last * 60.0) as usize {
            let minute = second as f64 / 60.0;
            let pair = corners.windows(2).find(|w| minute < w[1].0).expect("corners go on to the end");
            let share = (minute - pair[0].0) / (pair[1].0 - pair[0].0);
            let chocolate = pair[0].1 + share * (pair[1].1 - pair[0].1);
            recorder.note(|| Sight { chocolate, ..Sight::default() });
        }
        for (minute, mark) in marks {
            recorder.mark(start + Span::from_mins(*minute), mark.clone());
        }
        recorder
    }

    fn told(record: &Recorder, method: Method) -> String {
        let limits = Family::Dark.default_limits();
        let minute = |at: Timestamp| (at.since(record.start).as_mins_f64() * 10.0).round() / 10.0;
        let line = |c: &Course| {
            let phases: Vec<String> =
                c.phases.iter().map(|p| format!("{} {}", p.phase.as_str(), minute(p.from))).collect();
            format!("{} to {:?}", phases.join(" | "), c.end.map(minute))
        };
        courses(record, &limits, method, &moments(record, |m| *m == Mark::Off), Rest::LETTER)
            .iter()
            .map(line)
            .collect::<Vec<_>>()
            .join("\n")
    }

    #[test]
    fn a_plain_day() {
        let corners = [
            (0.0, 21.0),
            (30.0, 21.0),
            (150.0, 45.0),
            (300.0, 45.0),
            (360.0, 31.5),
            (480.0, 31.5),
            (600.0, 21.0),
        ];
        let marks = [(30, Mark::Heat), (300, Mark::Lower), (480, Mark::Off)];
        // 0.2 °C/min up, so the level is left 0.5 min after heat on; 0.225 °C/min down.
        let told = told(&record(&corners, &marks), Method::Seed);
        assert!(told.starts_with("melting 30.4 | soak 140"), "{told}");
        assert!(told.contains("| cooling 300.4 | settling 355.6 | working 363.5"), "{told}");
        assert!(told.ends_with("to Some(480.0)"), "{told}");
    }

    /// Set down at minute 160 at 45 °C, it rises to 46 °C until minute 170 and is back at 45 °C at minute 180.
    #[test]
    fn what_still_rises_when_it_is_set_down_cools_from_its_top() {
        let corners = [
            (0.0, 21.0),
            (30.0, 21.0),
            (160.0, 45.0),
            (170.0, 46.0),
            (180.0, 45.0),
            (315.0, 31.5),
            (480.0, 31.5),
        ];
        let marks = [(30, Mark::Heat), (160, Mark::Lower), (479, Mark::Off)];
        let told = told(&record(&corners, &marks), Method::Seed);
        // A tenth of a degree a minute down.
        assert!(told.contains("| cooling 171 |"), "{told}");
    }

    /// The power goes at minute 300, and a tenth of a degree is gone within a minute; the highest of the soak was hours before.
    #[test]
    fn a_soak_that_nobody_ended_falls_from_its_last_high() {
        let corners = [
            (0.0, 21.0),
            (30.0, 21.0),
            (150.0, 46.0),
            (240.0, 45.0),
            (300.0, 45.2),
            (420.0, 31.5),
            (480.0, 31.5),
        ];
        let told = told(&record(&corners, &[(30, Mark::Heat), (479, Mark::Off)]), Method::Seed);
        assert!(told.contains("| cooling 300.9 |"), "{told}");
    }

    /// Twelve minutes at 0.045 °C/min, which by the letter is a rest, then quiet.
    #[test]
    fn a_rest_that_is_hardly_one_comes_later_where_it_has_to_be_a_clear_one() {
        let corners = [(0.0, 45.0), (10.0, 45.0), (60.0, 31.5), (72.0, 30.96), (120.0, 30.96)];
        let record = record(&corners, &[(0, Mark::Heat), (10, Mark::Lower)]);
        let courses = Courses::of(0.0, |rest| {
            courses(&record, &Family::Dark.default_limits(), Method::Seed, &[], rest)
        });
        let works = |ease| {
            let working =
                courses.by(ease)[0].phases.iter().find(|p| p.phase == Phase::Working).expect("a hold");
            (working.from.since(record.start).as_mins_f64() * 10.0).round() / 10.0
        };
        // Five minutes flatter than 0.05 °C/min, of which the first few seconds may still fall as before.
        assert!((64.5..65.0).contains(&works(Ease::NONE)));
        // 0.0385 °C/min has to wait for the quiet.
        assert!((72.0..77.0).contains(&works(Ease::by(1.0, 0.0, 0.0))));
        // 0.046 °C/min has not.
        assert!((64.5..65.1).contains(&works(Ease::told(0.0, 0.0))));
    }

    #[test]
    fn a_low_point_is_rewarmed() {
        let corners = [(0.0, 45.0), (10.0, 45.0), (60.0, 27.4), (70.0, 27.4), (80.0, 31.4), (120.0, 31.4)];
        let marks = [(0, Mark::Heat), (10, Mark::Lower), (70, Mark::Rewarm)];
        let told = told(&record(&corners, &marks), Method::Continuous);
        assert!(told.contains("| rewarming 70.2 | settling 77.8 | working 84"), "{told}");
    }

    #[test]
    fn a_bowl_works_from_its_first_two_minutes_in_range() {
        let corners = [(0.0, 20.0), (5.0, 20.0), (25.0, 31.4), (60.0, 31.4)];
        let marks = [(5, Mark::Heat), (55, Mark::Off)];
        let told = told(&record(&corners, &marks), Method::PartialMelt);
        assert!(told.starts_with("melting 5.2 | working 23.5"), "{told}");
    }

    #[test]
    fn a_heat_that_never_melts_is_no_batch() {
        let corners = [(0.0, 31.5), (60.0, 36.0), (120.0, 31.5)];
        assert_eq!(told(&record(&corners, &[(0, Mark::Heat)]), Method::Seed), "");
    }
}

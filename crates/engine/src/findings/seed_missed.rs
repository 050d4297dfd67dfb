//! `seed-missed`, medium: method `seed`, cooling seen from its start, working reached 5 min ago, and neither a seed event nor a seeding dip
//! on the way (contract, section 6).
//!
//! Without seed the curve is smooth and the temperature right, and still nothing sets (common practice, no source). The dip is the one of the
//! measure `seed_dip_c`. Where readings are far apart, or some are missing on the way, a dip may have passed unseen, and nothing is said; a logger on
//! change has told whatever moved. Nor is anything said where the way down is not smooth enough to say that there was no dip.
//! Over when somebody reports the seed, when a temper test passes, or when the charge leaves its working phase.

use model::{FindingKind, Phase, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Moment, Report, Verdict, number};
use crate::measures::Measured;

const AFTER: Span = Span::from_mins(5);
/// A dip is a matter of three minutes; it takes readings that are usually closer than this to see one ...
const DIP_SEEN: Span = Span::from_secs(90);
/// ... and never farther apart than this (start values).
const FARTHEST: Span = Span::from_secs(150);

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct SeedMissed {
    /// The start of the working phase that has been judged.
    judged: Option<Timestamp>,
    open: bool,
}

impl SeedMissed {
    pub(crate) fn step(&mut self, m: &Moment<'_>) -> Verdict {
        if m.phase != Phase::Working {
            return if std::mem::take(self).open { Verdict::Over(m.at) } else { Verdict::Quiet };
        }
        if self.open {
            let proved = m.tests.passed_at.filter(|&passed| passed >= m.phase_since);
            let over = m.seeded_at.map(|_| m.at).or(proved);
            self.open = over.is_none();
            return over.map_or(Verdict::Quiet, Verdict::Over);
        }
        if self.judged == Some(m.phase_since) || m.known - m.phase_since < AFTER {
            return Verdict::Quiet;
        }
        self.judged = Some(m.phase_since);
        if !(m.seeded && m.cooling_seen_whole) || m.seeded_at.is_some() {
            return Verdict::Quiet;
        }
        match cooled_without_dip(m) {
            Some(minutes) => self.report(m, minutes).raise(),
            None => Verdict::Quiet,
        }
    }

    fn report(&mut self, m: &Moment<'_>, minutes: f64) -> Report {
        self.open = true;
        Report {
            kind: FindingKind::SeedMissed,
            priority: Priority::Medium,
            from: m.phase_since,
            raised_at: m.known,
            says: "It came down to its working range without a dip from seed, and nobody reported seed."
                .to_owned(),
            evidence: vec![number("way_down_min", minutes)],
            advice: "Ask whether seed went in and weigh what is left of it; if not, seed at the upper end of the working range or a degree \
                     or two above it, stir, and make a temper test before the first piece.",
        }
    }
}

/// Minutes of the way down, if it was seen well enough to say that there was no dip in it.
fn cooled_without_dip(m: &Moment<'_>) -> Option<f64> {
    let batch = Measured {
        history: m.history,
        phases: m.timeline.spans(),
        limits: m.limits,
        seeded_at: None,
        now: m.known,
        longest_gap: m.longest_gap,
    };
    let (from, _) = batch.span(Phase::Cooling)?;
    let to = m.phase_since;
    let times: Vec<Timestamp> = m.history.chocolate(from - FARTHEST, to).map(|(at, _)| at).collect();
    let is_often = m.spacing <= DIP_SEEN;
    let begins_seen = times.first().is_some_and(|first| *first < from);
    let often_enough = begins_seen && times.windows(2).all(|pair| pair[1] - pair[0] <= FARTHEST);
    let seen = m.on_change || is_often && often_enough;
    (seen && times.len() > 2 && batch.way_down(from, to).is_smooth(m.grain))
        .then(|| (to - from).as_mins_f64())
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::super::testing::check_with;
    use super::*;

    const SMOOTH: &str = "soak 0:00 46 | ~5:00 46 | cooling ~35:00 40 | ~70:00 33.2 | settling ~80:00 31.6 | working ~90:00 31.5 | \
                          ~120:00 31.5";

    fn judged(script: &str, change: impl Fn(&mut Moment<'_>), expected: &Expect) {
        let seeded = |m: &mut Moment<'_>| {
            m.seeded = true;
            change(m);
        };
        check_with(&mut SeedMissed::default(), SeedMissed::step, script, seeded, expected);
    }

    #[test]
    fn a_smooth_way_down_is_told_five_minutes_into_working() {
        judged(SMOOTH, |_| {}, &expect!["85:05 raise seed-missed from 80:05"]);
    }

    #[test]
    fn a_dip_or_a_report_or_another_method_is_none() {
        let dip = "soak 0:00 46 | ~5:00 46 | cooling ~35:00 40 | ~50:00 37 | ~51:00 35 | ~70:00 33.2 | settling ~80:00 31.6 | \
                   working ~90:00 31.5 | ~120:00 31.5";
        judged(dip, |_| {}, &expect![""]);
        let reported = Some(Timestamp::from_millis(30 * 60_000));
        judged(SMOOTH, |m| m.seeded_at = reported, &expect![""]);
        judged(SMOOTH, |m| m.seeded = false, &expect![""]);
    }

    /// Read once a minute by a probe that flickers: by some tenths two of its readings differ by as much as a dip, and nobody can tell.
    #[test]
    fn a_flickering_probe_shows_no_dip_and_one_that_flickers_much_shows_nothing() {
        judged(&flickering(0.25), |_| {}, &expect!["85:05 raise seed-missed from 80:00"]);
        judged(&flickering(1.0), |_| {}, &expect![""]);
    }

    #[test]
    fn two_minutes_without_a_reading_hide_no_dip_and_three_may() {
        let without = |unheard: std::ops::Range<usize>| {
            let whole = flickering(0.25);
            let heard =
                |(minute, entry): (usize, &str)| (!unheard.contains(&minute)).then(|| entry.to_owned());
            whole.split(" | ").enumerate().filter_map(heard).collect::<Vec<_>>().join(" | ")
        };
        judged(&without(40..41), |_| {}, &expect!["85:05 raise seed-missed from 80:00"]);
        judged(&without(40..42), |_| {}, &expect![""]);
    }

    /// A small charge falls by nine tenths of a degree a minute, read twice in each; one of the readings was a jump, and went no further.
    #[test]
    fn a_reading_that_is_missing_makes_no_dip() {
        let entry = |half: i32| {
            let minute = f64::from(half) / 2.0;
            let phase = match minute {
                ..5.0 => "soak",
                5.0..20.0 => "cooling",
                20.0..26.0 => "settling",
                _ => "working",
            };
            let celsius = (46.0 - 0.9 * (minute - 5.0).max(0.0)).max(31.5);
            format!("{phase} {}:{:02} {celsius:.2}", half / 2, half % 2 * 30)
        };
        let script = |missing: i32| {
            (0..100).filter(|half| *half != missing).map(entry).collect::<Vec<_>>().join(" | ")
        };
        let expected = expect!["31:05 raise seed-missed from 26:00"];
        for missing in [-1, 20, 27, 33] {
            judged(&script(missing), |m| m.spacing = Span::from_secs(30), &expected);
        }
    }

    /// Once it is down nothing comes for three minutes at a time: of a logger on change, which tells of two tenths, that says enough; of another it
    /// does not.
    #[test]
    fn a_logger_on_change_has_seen_the_whole_way() {
        let phase = |minute: i32| match minute {
            ..5 => "soak",
            5..70 => "cooling",
            70..80 => "settling",
            _ => "working",
        };
        // A fifth of a degree every minute on the way down, and what it is every three minutes otherwise.
        let celsius = |minute: i32| 46.0 - 0.2 * f64::from((minute - 5).clamp(0, 70));
        let told: Vec<String> = (0..120)
            .filter(|minute| (5..76).contains(minute) || minute % 3 == 0)
            .map(|minute| format!("{} {minute}:00 {:.1}", phase(minute), celsius(minute)))
            .collect();
        let script = told.join(" | ");
        judged(&script, |m| m.on_change = true, &expect!["87:05 raise seed-missed from 81:00"]);
        judged(&script, |_| {}, &expect![""]);
    }

    fn flickering(share: f64) -> String {
        let flicker = [0.3, -0.1, 0.2, -0.4, 0.1, -0.2, 0.3, -0.3].map(|by| by * share);
        let entry = |minute: usize| {
            let (phase, celsius) = match minute {
                0..5 => ("soak", 46.0),
                5..70 => ("cooling", 46.0 - 0.19 * (minute - 5) as f64),
                70..80 => ("settling", 33.65 - 0.2 * (minute - 70) as f64),
                _ => ("working", 31.65),
            };
            format!("{phase} {minute}:00 {:.2}", celsius + flicker[minute % 8])
        };
        let noisy: Vec<String> = (0..120).map(entry).collect();
        noisy.join(" | ")
    }

    #[test]
    fn a_late_report_ends_it() {
        let at = Timestamp::from_millis(100 * 60_000);
        judged(
            SMOOTH,
            |m| m.seeded_at = (m.at >= at).then_some(at),
            &expect![[r#"
                85:05 raise seed-missed from 80:05
                100:05 over at 100:00"#]],
        );
    }
}

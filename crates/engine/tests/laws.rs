//! Laws of the engine over made-up days: a lone spike changes nothing, a gap is unknown and never good, and another time gives the same
//! answer then.
//!
//! The days are drawn, not simulated, so that proptest can make a broken law small. What holds on sample streams is tried by the whole-program
//! tests.

#![expect(clippy::unwrap_used, reason = "the helpers of a test are test code, too")]

use std::sync::Arc;

use engine::{Analyst, MachineAnalysis};
use model::{Arrival, Batch, Channel, Content, FindingKind, Phase, Reading, Span, Timestamp};
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
id = "alder"
style = "kettle"
couverture = "dark-64"
method = "seed"
cooling_minutes = 60
"#;

/// A reading every so often, seconds: one a tick.
const EVERY: i64 = 5;
/// Minutes at which a day turns: heat on, soak, set to cool, and its end.
const HEAT: f64 = 30.0;
const SOAK: f64 = 120.0;
const COOL: f64 = 165.0;
const END: i64 = 330;

/// A day as it is drawn.
#[derive(Debug, Clone)]
struct Day {
    start: Timestamp,
    tau_min: f64,
    dip_c: f64,
    hold_c: f64,
    /// Minutes after a time constant of cooling at which it is too warm, for how long, and by how much, °C.
    warm: (f64, f64, f64),
}

impl Day {
    fn celsius(&self, minute: f64) -> f64 {
        let flutter = 0.03 * (minute * 7.0).sin() + 0.02 * (minute * 31.0).cos();
        let way = if minute < HEAT {
            21.0
        } else if minute < SOAK {
            21.0 + 25.0 * (minute - HEAT) / (SOAK - HEAT)
        } else if minute < COOL {
            46.0
        } else {
            let cooled = 18.0 + 28.0 * (-(minute - COOL) / self.tau_min).exp();
            let seeded = if cooled < 35.0 { cooled - self.dip_c } else { cooled };
            seeded.max(self.hold_c + self.warmer(minute))
        };
        way + flutter
    }

    fn warmer(&self, minute: f64) -> f64 {
        let (after, lasts, by) = self.warm;
        let reached = COOL + self.tau_min;
        if (reached + after..reached + after + lasts).contains(&minute) { by } else { 0.0 }
    }

    fn readings(&self) -> Vec<(Timestamp, f64)> {
        let at = |i: i64| (self.start + Span::from_secs(i * EVERY), self.celsius((i * EVERY) as f64 / 60.0));
        (0..END * 60 / EVERY).map(at).collect()
    }
}

prop_compose! {
    fn days()(
        tick in 0_i64..400 * 17_280, tau_min in 30.0..60.0_f64, dip_c in 0.0..3.0_f64, hold_c in 31.2..31.8_f64,
        after in 10.0..40.0_f64, lasts in 1.0..20.0_f64, by in 0.0..4.0_f64,
    ) -> Day {
        // 2026-01-01T00:00Z and four hundred days: over both changes of the clocks.
        let start = Timestamp::from_millis(1_767_225_600_000) + Span::from_secs(tick * EVERY);
        Day { start, tau_min, dip_c, hold_c, warm: (after, lasts, by) }
    }
}

fn analysed(readings: &[(Timestamp, f64)]) -> MachineAnalysis {
    let plant: Arc<Plant> = Arc::new(parse_plant(PLANT).unwrap());
    let mut analyst = Analyst::new(plant);
    for &(at, value) in readings {
        let machine = "alder".parse().unwrap();
        let reading = Reading { machine, channel: Channel::Chocolate, at, value: Some(value) };
        analyst.push(&Arrival { arrived: at, retained: false, content: Content::Reading(reading) });
    }
    analyst.finish().unwrap().machines.remove(0)
}

/// Everything that a temperature says: batches, and findings without those of the probe itself.
fn told(analysis: &MachineAnalysis, by: Span) -> (Vec<Batch>, Vec<(FindingKind, Timestamp, Timestamp)>) {
    let kept = analysis.findings.iter().filter(|finding| finding.kind != FindingKind::Spikes);
    let findings = kept.map(|finding| (finding.kind, finding.from + by, finding.raised_at + by)).collect();
    (analysis.batches.iter().map(|batch| moved(batch, by)).collect(), findings)
}

/// The batch at another time; its id, which names the time, is left as it is.
fn moved(batch: &Batch, by: Span) -> Batch {
    let mut batch = batch.clone();
    batch.start += by;
    batch.end = batch.end.map(|end| end + by);
    for span in &mut batch.phases {
        span.from += by;
        span.to = span.to.map(|to| to + by);
    }
    batch
}

fn first(analysis: &MachineAnalysis, phase: Phase) -> Option<Timestamp> {
    analysis.batches.iter().find_map(|batch| batch.first(phase)).map(|span| span.from)
}

/// Area above the temper-loss limit of dark couverture that was seen before a moment, °C·min.
fn area_before(readings: &[(Timestamp, f64)], to: Timestamp) -> f64 {
    let above =
        readings.iter().filter(|(at, value)| *at < to && *value > 33.5 && to - *at < Span::from_mins(60));
    above.map(|(_, value)| (value - 33.5) * EVERY as f64 / 60.0).sum()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn a_drawn_day_is_one_batch_with_every_phase(day in days()) {
        let analysis = analysed(&day.readings());
        prop_assert_eq!(analysis.batches.len(), 1);
        let phases: Vec<Phase> = analysis.batches[0].phases.iter().map(|span| span.phase).collect();
        prop_assert_eq!(&phases[..3], [Phase::Melting, Phase::Soak, Phase::Cooling]);
        prop_assert_eq!(phases.last(), Some(&Phase::Working));
    }

    #[test]
    fn lone_spikes_change_nothing(
        day in days(), spikes in prop::collection::vec((20_usize..3_900, 3.0..30.0_f64, any::<bool>()), 1..12),
    ) {
        let readings = day.readings();
        let mut spiky = readings.clone();
        for (place, by, up) in spikes {
            let (at, value) = readings[place];
            // Where the chocolate itself steps, a jump does not come back to where it was, or comes to where it had been, and is none.
            if readings[place - 3..place + 4].windows(2).any(|pair| (pair[1].1 - pair[0].1).abs() > 0.5) {
                continue;
            }
            // Between two readings, and no two spikes side by side.
            let between = (at + Span::from_millis(2_500), if up { value + by } else { value - by });
            let near = |reading: &&(Timestamp, f64)| (reading.0 - between.0).as_secs_f64().abs() < 40.0;
            if spiky.iter().filter(near).all(|(at, _)| at.as_millis() % 1_000 == 0) {
                spiky.push(between);
            }
        }
        spiky.sort_by_key(|reading| reading.0);
        prop_assert_eq!(told(&analysed(&spiky), Span::ZERO), told(&analysed(&readings), Span::ZERO));
    }

    #[test]
    fn a_gap_is_unknown_and_never_good(day in days(), from in 200_i64..300, lasts in 2_i64..25) {
        let whole = day.readings();
        let gap = day.start + Span::from_mins(from)..day.start + Span::from_mins(from + lasts);
        let torn: Vec<_> = whole.iter().copied().filter(|(at, _)| !gap.contains(at)).collect();
        let (seen, torn) = (analysed(&whole), analysed(&torn));
        let ready = first(&seen, Phase::Working);
        if let (Some(torn), Some(whole)) = (first(&torn, Phase::Working), ready) {
            prop_assert!(torn >= whole, "a gap makes nothing ready earlier: {torn} {whole}");
            prop_assert!(!gap.contains(&torn), "nor in the middle of it: {torn}");
        }
        let raised_blind = torn.findings.iter().find(|finding| {
            let seen_until = finding.raised_at - Span::from_secs(2 * EVERY);
            // These count time, and it passes unseen too.
            let counts_time = matches!(
                finding.kind,
                FindingKind::Silent | FindingKind::TestDue | FindingKind::LongHold | FindingKind::SeedMissed
            );
            // The rise was held back, and enough of it seen: the first reading behind the gap says that it has stopped.
            let held = finding.kind == FindingKind::TemperLoss && area_before(&whole, gap.start) >= 1.0;
            !counts_time && !held && gap.contains(&seen_until)
        });
        prop_assert_eq!(raised_blind, None, "nothing is raised of what was not seen");
        let (before, after) = (&seen.batches[0].measures, &torn.batches[0].measures);
        let (above, torn_above) = (before.above_loss_c_min.unwrap(), after.above_loss_c_min.unwrap());
        prop_assert!(torn_above <= above + 0.05, "no area is made up: {torn_above} of {above}");
        if ready.is_some_and(|ready| ready <= gap.start) {
            let unknown = after.unknown_minutes.unwrap() - before.unknown_minutes.unwrap();
            prop_assert!((unknown - lasts as f64).abs() < 0.2, "{unknown} of {lasts} min are owned up to");
        }
    }

    #[test]
    fn another_time_gives_the_same_answer_then(day in days(), ticks in -3_000_000_i64..3_000_000) {
        let later = Span::from_secs(ticks * EVERY);
        let then = Day { start: day.start + later, ..day.clone() };
        let mut there = told(&analysed(&then.readings()), Span::ZERO);
        let here = told(&analysed(&day.readings()), later);
        for (there, here) in there.0.iter_mut().zip(&here.0) {
            there.id = here.id.clone();
        }
        prop_assert_eq!(there, here);
    }
}

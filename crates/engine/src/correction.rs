//! A person's word on the phases of a batch overrides the program's: on the spans that they name, the phase is what they say, the
//! neighbours are cut, and the figures are worked out again from the readings.
//!
//! Where a batch begins and ends, its findings and its standing stay as they are: a finding says when it was raised, and a standing rests on
//! tests. The program's own phases are the caller's to keep.

use frames::{Tick, TidyReadings};
use model::{Batch, Channel, Confidence, Event, EventKind, PhaseCorrection, PhaseSpan, Span, Timestamp};
use plant::{Machine, Plant};

use crate::findings::silent::Silent;
use crate::history::History;
use crate::measures::{Measured, measure};
use crate::phases::Pace;
use crate::sieve::Sieve;

/// Far behind everything.
fn never() -> Timestamp {
    Timestamp::from_millis(i64::MAX)
}

/// `batch` as `corrections` say it was, in the order in which they were made, with figures from its readings.
pub fn correct(
    plant: &Plant,
    machine: &Machine,
    batch: &Batch,
    tidy: &TidyReadings,
    events: &[Event],
    corrections: &[PhaseCorrection],
) -> Batch {
    let phases = corrected_phases(batch, corrections);
    let Kept { history, pace, known_to } = kept_of(machine, tidy, batch.end);
    let during = |event: &&Event| event.at >= batch.start && batch.end.is_none_or(|end| event.at < end);
    let is_seed = |event: &&Event| matches!(event.kind, EventKind::Seed { .. });
    let measures = measure(&Measured {
        history: &history,
        phases: &phases,
        limits: &plant.limits(machine, &batch.couverture),
        seeded_at: events.iter().filter(during).filter(is_seed).map(|event| event.at).min(),
        now: batch.end.or(known_to).unwrap_or(batch.start),
        longest_gap: pace.longest_gap(),
    });
    Batch { phases, measures, ..batch.clone() }
}

/// The phases of `batch` as `corrections` say they were. What lies outside the batch is left out; what people say has high confidence.
pub fn corrected_phases(batch: &Batch, corrections: &[PhaseCorrection]) -> Vec<PhaseSpan> {
    let mut corrections: Vec<&PhaseCorrection> = corrections.iter().collect();
    corrections.sort_by_key(|correction| correction.at);
    corrections
        .into_iter()
        .fold(batch.phases.clone(), |phases, correction| laid_over(batch, phases, correction))
}

fn laid_over(batch: &Batch, phases: Vec<PhaseSpan>, correction: &PhaseCorrection) -> Vec<PhaseSpan> {
    let end = batch.end.unwrap_or(never());
    let (from, to) = (correction.from.max(batch.start), correction.to.unwrap_or(never()).min(end));
    if to <= from {
        return phases;
    }
    let open = |moment: Timestamp| (moment < never()).then_some(moment);
    let said = PhaseSpan { phase: correction.phase, from, to: open(to), confidence: Confidence::High };
    let before = phases
        .iter()
        .filter(|span| span.from < from)
        .map(|span| PhaseSpan { to: open(span.to.unwrap_or(never()).min(from)), ..*span });
    let after = phases
        .iter()
        .filter(|span| span.to.unwrap_or(never()) > to)
        .map(|span| PhaseSpan { from: span.from.max(to), ..*span });
    joined(before.chain([said]).chain(after))
}

/// Neighbours of the same phase are one.
fn joined(spans: impl Iterator<Item = PhaseSpan>) -> Vec<PhaseSpan> {
    let mut joined: Vec<PhaseSpan> = Vec::new();
    for span in spans {
        match joined.last_mut() {
            Some(last) if last.phase == span.phase => {
                last.to = span.to;
                last.confidence = last.confidence.min(span.confidence);
            }
            Some(_) | None => joined.push(span),
        }
    }
    joined
}

/// What the watch would have kept of a machine's readings.
#[derive(Default)]
struct Kept {
    history: History,
    pace: Pace,
    /// How far the chocolate is known.
    known_to: Option<Timestamp>,
}

impl Kept {
    fn push(&mut self, tick: Tick, step: Span) {
        if tick.chocolate().is_some() {
            self.pace.step(tick.at);
            self.known_to = Some(tick.at + step);
        }
        self.history.push(tick);
    }
}

/// Takes the readings the way on which the watch took them. How often the probe reports is told from the readings' own times: when they
/// arrived is not stored.
fn kept_of(machine: &Machine, tidy: &TidyReadings, end: Option<Timestamp>) -> Kept {
    let (mut sieve, mut silent, mut kept) = (Sieve::new(machine.style), Silent::default(), Kept::default());
    let step = sieve.step();
    // The last tick is whole.
    let wanted = |at: Timestamp| end.is_none_or(|end| at < end + step);
    for &(at, channel, value) in tidy.rows.iter().take_while(|(at, _, _)| wanted(*at)) {
        let passes = if channel == Channel::Chocolate {
            silent.arrived(at, Span::ZERO, true);
            if kept.pace.is_surely_on_change() {
                silent.note_on_change(at);
            }
            sieve.look(at, value, &kept.history, silent.unchanged_limit()).and_then(|(_, value)| value)
        } else {
            value
        };
        let Some(value) = passes else { continue };
        if channel == Channel::Chocolate {
            kept.pace.note_reading(at, value);
        }
        sieve.let_on((at, channel, value), silent.limit()).ticks().for_each(|tick| kept.push(tick, step));
    }
    let (passed, last) = sieve.finish();
    passed.ticks().chain(last).for_each(|tick| kept.push(tick, step));
    kept
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use model::{BatchId, MachineId, Measures, Method, Phase, Standing};

    use super::*;

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    /// Soak from 0, cooling from 60, settling from 130, working from 140 on.
    fn batch(end: Option<i64>) -> Batch {
        let alder: MachineId = "alder".parse().unwrap();
        let phases = [
            (Phase::Soak, 0, Some(60)),
            (Phase::Cooling, 60, Some(130)),
            (Phase::Settling, 130, Some(140)),
            (Phase::Working, 140, end),
        ];
        Batch {
            id: BatchId::new(&alder, minute(0)),
            machine: alder,
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg: None,
            start: minute(0),
            end: end.map(minute),
            phases: phases
                .map(|(phase, from, to)| PhaseSpan {
                    phase,
                    from: minute(from),
                    to: to.map(minute),
                    confidence: Confidence::Medium,
                })
                .to_vec(),
            measures: Measures::default(),
            standing: Standing::Unproven,
            reasons: Vec::new(),
        }
    }

    fn said(batch: &Batch, phase: Phase, from: i64, to: Option<i64>, at: i64) -> PhaseCorrection {
        PhaseCorrection {
            batch: batch.id.clone(),
            phase,
            from: minute(from),
            to: to.map(minute),
            by: "ana".to_owned(),
            at: minute(at),
            reason: "the probe hung in the air".to_owned(),
        }
    }

    fn check(batch: &Batch, corrections: &[PhaseCorrection], expected: &Expect) {
        let shown = |span: &PhaseSpan| {
            let to = span.to.map_or("…".to_owned(), |to| (to.as_millis() / 60_000).to_string());
            format!("{} {}-{to} {}", span.phase, span.from.as_millis() / 60_000, span.confidence.as_str())
        };
        let phases = corrected_phases(batch, corrections);
        expected.assert_eq(&phases.iter().map(shown).collect::<Vec<_>>().join(" | "));
    }

    #[test]
    fn neighbours_are_cut_and_a_later_word_overrides_an_earlier_one() {
        let open = batch(None);
        check(
            &open,
            &[],
            &expect![
                "soak 0-60 medium | cooling 60-130 medium | settling 130-140 medium | working 140-… medium"
            ],
        );
        let earlier = said(&open, Phase::Cooling, 50, Some(135), 200);
        check(
            &open,
            std::slice::from_ref(&earlier),
            &expect![
                "soak 0-50 medium | cooling 50-135 high | settling 135-140 medium | working 140-… medium"
            ],
        );
        let later = said(&open, Phase::Working, 120, Some(150), 300);
        check(
            &open,
            &[later, earlier],
            &expect!["soak 0-50 medium | cooling 50-120 high | working 120-… medium"],
        );
    }

    #[test]
    fn the_rest_of_a_batch_ends_with_it_and_what_lies_outside_is_left_out() {
        let ended = batch(Some(400));
        check(
            &ended,
            &[said(&ended, Phase::Rewarming, 300, None, 500)],
            &expect![
                "soak 0-60 medium | cooling 60-130 medium | settling 130-140 medium | working 140-300 medium | rewarming 300-400 high"
            ],
        );
        check(
            &ended,
            &[said(&ended, Phase::Idle, 400, None, 500), said(&ended, Phase::Melting, -30, Some(0), 501)],
            &expect![
                "soak 0-60 medium | cooling 60-130 medium | settling 130-140 medium | working 140-400 medium"
            ],
        );
    }

    fn plant() -> Plant {
        let text = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
                    [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
                    [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";
        plant::parse_plant(text).unwrap()
    }

    #[test]
    fn figures_are_those_of_the_corrected_phases() {
        let plant = plant();
        let celsius = |minute: i64| if minute < 60 { 46.0 } else { 31.5 };
        let rows = (0..400 * 6)
            .map(|i| (Timestamp::from_millis(i * 10_000), Channel::Chocolate, Some(celsius(i / 6))));
        let tidy = TidyReadings { rows: rows.collect(), duplicates: 0 };
        let ended = batch(Some(400));
        let measured = |corrections: &[PhaseCorrection]| {
            correct(&plant, &plant.machines[0], &ended, &tidy, &[], corrections).measures
        };
        let own = measured(&[]);
        assert_eq!((own.cooling_minutes, own.working_minutes), (Some(70.0), Some(260.0)));
        let said = measured(&[said(&ended, Phase::Working, 100, Some(140), 500)]);
        assert_eq!((said.working_minutes, said.working_mean_c), (Some(300.0), Some(31.5)));
        assert_eq!(said.cooling_minutes, None, "no settling shows that the range was reached");
    }

    /// Two days of soak, cooling and hold; on each the probe sticks for half an hour in the hold, as a jacket that goes on shows.
    fn days_with_a_stuck_probe() -> TidyReadings {
        let celsius = |minute: f64| {
            let cooled = 18.0 + 28.0 * (-(minute - 165.0) / 45.0).exp();
            let way = match minute {
                m if m < 30.0 => 24.0,
                m if m < 120.0 => 24.0 + 22.0 * (m - 30.0) / 90.0,
                m if m < 165.0 => 46.0,
                _ => cooled.max(31.4),
            };
            way + 0.03 * (minute * 7.0).sin()
        };
        let stuck = 290.0..320.0;
        let one = |i: i64| {
            let (at, minute) = (Timestamp::from_millis(i * 10_000), (i % 2_160) as f64 / 6.0);
            let shown = if stuck.contains(&minute) { 34.0 } else { celsius(minute) };
            let jacket = celsius(minute) + if stuck.contains(&minute) { (minute - 290.0) / 3.0 } else { 0.0 };
            [(at, Channel::Chocolate, Some(shown)), (at, Channel::Jacket, Some(jacket))]
        };
        TidyReadings { rows: (0..2 * 2_160).flat_map(one).collect(), duplicates: 0 }
    }

    #[test]
    fn a_batch_that_nobody_corrects_keeps_its_figures() {
        let (plant, tidy) = (plant(), days_with_a_stuck_probe());
        let machine = &plant.machines[0];
        let own = crate::analyse::rework_tidy(&plant, machine, &tidy, &[]);
        assert_eq!(own.iter().map(|batch| batch.end.is_none()).collect::<Vec<_>>(), [false, true]);
        for batch in own {
            assert!(batch.measures.unknown_minutes.is_some_and(|m| m > 15.0), "stuck for half an hour");
            assert_eq!(correct(&plant, machine, &batch, &tidy, &[], &[]), batch);
        }
    }
}

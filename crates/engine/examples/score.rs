//! Plays simulated days and compares what the engine says with what was true: phases, batch ends, measures, findings.
//!
//! `cargo run -p engine --example score -- [scenarios|days N SEED]`

use std::sync::Arc;

use engine::{Analysis, Analyst};
use model::{Channel, Phase, Timestamp};
use plant::{Plant, parse_plant};
use simulator::{MachineTruth, Settings, Truth, Works, scenarios};
use wire::{Decoder, Message};

const PLANT: &str = include_str!("../../../config/tern-street.toml");

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.first().map(String::as_str) {
        Some("days") => {
            let days: i64 = args[1].parse().expect("days");
            let seed: u64 = args[2].parse().expect("seed");
            let plant = Arc::new(parse_plant(PLANT).expect("plant"));
            let start: Timestamp = "2026-03-02T00:00:00Z".parse().expect("time");
            let mut works = Works::new(&plant, &Settings::new(seed, start));
            let until = start + model::Span::from_hours(24) * days;
            score("days", &plant, &mut works, until);
        }
        Some("demo") => {
            let plant = Arc::new(parse_plant(PLANT).expect("plant"));
            let now: Timestamp = "2026-03-12T14:00:00Z".parse().expect("time");
            let mut works = simulator::demo_works(&plant, now);
            score("demo", &plant, &mut works, now);
        }
        _ => {
            for scenario in scenarios::all() {
                let plant = Arc::new(scenario.plant());
                let mut works = scenario.works();
                score(scenario.name, &plant, &mut works, scenario.settings.start + scenario.lasts);
            }
        }
    }
}

fn score(name: &str, plant: &Arc<Plant>, works: &mut Works, until: Timestamp) {
    println!("== {name}");
    let decoder = Decoder::new(plant);
    let mut analyst = Analyst::new(plant.clone());
    let messages: Vec<simulator::Message> = works.messages(until).collect();
    let began = std::time::Instant::now();
    for m in messages {
        let message =
            Message { topic: m.topic, payload: m.payload, arrived: m.arrived, retained: m.retained };
        let decoded = decoder.decode(&message);
        for reject in &decoded.rejects {
            println!("  REJECT {}", reject.reason);
        }
        decoded.arrivals.iter().for_each(|a| analyst.push(a));
    }
    let analysis = analyst.finish().expect("memory");
    println!(
        "  {} readings, {} doubled, {:.2} s",
        analysis.readings,
        analysis.duplicates,
        began.elapsed().as_secs_f64()
    );
    let truth: Truth = works.truth();
    for machine in &truth.machines {
        compare(machine, &analysis);
    }
}

fn phase_at(phases: &[model::PhaseSpan], t: Timestamp) -> Option<Phase> {
    phases.iter().find(|s| s.from <= t && s.to.is_none_or(|to| t < to)).map(|s| s.phase)
}

fn hm(t: Timestamp) -> String {
    t.to_jiff().strftime("%d %H:%M:%S").to_string()
}

fn compare(truth: &MachineTruth, analysis: &Analysis) {
    let Some(found) = analysis.machines.iter().find(|m| m.id == truth.id) else { return };
    let chocolate = found.coverage.iter().find(|(c, _)| *c == Channel::Chocolate).map_or(0.0, |(_, v)| *v);
    println!(
        "-- {} coverage {chocolate:.3}: {} true batches, {} found",
        truth.id,
        truth.batches.len(),
        found.batches.len()
    );
    for fault in &truth.faults {
        println!(
            "   fault {:?} {} - {} strength {}",
            fault.kind,
            hm(fault.from),
            fault.to.map_or("…".into(), hm),
            fault.strength
        );
    }
    for tb in &truth.batches {
        let fb = found.batches.iter().min_by_key(|b| (b.start - tb.start).as_millis().abs());
        let Some(fb) = fb else {
            println!("   MISSED batch {}", hm(tb.start));
            continue;
        };
        let delta = |a: Timestamp, b: Timestamp| (b - a).as_mins_f64();
        let end = match (tb.end, fb.end) {
            (Some(a), Some(b)) => format!("{:+.1}", delta(a, b)),
            (None, None) => "open".into(),
            (a, b) => format!("true {:?} found {:?}", a.map(hm), b.map(hm)),
        };
        let (from, to) = (
            tb.start,
            tb.end.unwrap_or(tb.phases.last().map_or(tb.start, |p| p.from) + model::Span::from_hours(1)),
        );
        let (mut n, mut right) = (0, 0);
        let mut t = from;
        while t < to {
            n += 1;
            if phase_at(&tb.phases, t) == phase_at(&fb.phases, t) {
                right += 1;
            }
            t += model::Span::from_secs(10);
        }
        println!(
            "   batch {} {} start {:+.1} min, end {end} min, phases right {:.1} %",
            hm(tb.start),
            tb.method,
            delta(tb.start, fb.start),
            100.0 * right as f64 / n.max(1) as f64
        );
        if right as f64 / (n.max(1) as f64) < 0.985 {
            println!(
                "     true  {}",
                tb.phases
                    .iter()
                    .map(|p| format!("{} {}", p.phase, hm(p.from)))
                    .collect::<Vec<_>>()
                    .join(" | ")
            );
            println!(
                "     found {}",
                fb.phases
                    .iter()
                    .map(|p| format!("{} {}", p.phase, hm(p.from)))
                    .collect::<Vec<_>>()
                    .join(" | ")
            );
        }
        let (a, b) = (&tb.measures, &fb.measures);
        for (name, a, b) in [
            ("soak_max", a.soak_max_c, b.soak_max_c),
            ("cooling", a.cooling_minutes, b.cooling_minutes),
            ("lowest", a.lowest_c, b.lowest_c),
            ("settled", a.settled_c, b.settled_c),
            ("working", a.working_minutes, b.working_minutes),
            ("mean", a.working_mean_c, b.working_mean_c),
            ("sd", a.working_sd_c, b.working_sd_c),
            ("loss", a.above_loss_c_min, b.above_loss_c_min),
            ("dip", a.seed_dip_c, b.seed_dip_c),
            ("tau", a.cooling_tau_min, b.cooling_tau_min),
        ] {
            let bad = match (a, b) {
                (Some(a), Some(b)) => (a - b).abs() > 0.01 * a.abs().max(0.5),
                (None, None) => false,
                _ => true,
            };
            if bad {
                println!("     {name}: true {a:?} found {b:?}");
            }
        }
        for c in &tb.conditions {
            println!("     true {} {} - {} worst {:.2}", c.kind, hm(c.from), hm(c.to), c.worst);
        }
    }
    for extra in found
        .batches
        .iter()
        .filter(|b| !truth.batches.iter().any(|t| (t.start - b.start).as_mins_f64().abs() < 30.0))
    {
        println!(
            "   EXTRA batch {} {:?}",
            hm(extra.start),
            extra.phases.iter().map(|p| format!("{} {}", p.phase, hm(p.from))).collect::<Vec<_>>()
        );
    }
    for f in &found.findings {
        println!(
            "   found {} {} from {} raised {} to {}",
            f.kind,
            f.priority.as_str(),
            hm(f.from),
            hm(f.raised_at),
            f.to.map_or("…".into(), hm)
        );
    }
}

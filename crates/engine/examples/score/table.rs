//! The table.

use model::{Confidence, FindingKind, Phase};

use crate::tally::{OfKind, Tally};

pub(crate) fn print(tally: &Tally, worst: usize) {
    println!(
        "{} cases, {:.0} machine-days: {:.0} of ordinary work, {:.0} with faults; {:.1} M readings, {:.0} k readings/s",
        tally.cases,
        tally.days(),
        tally.ordinary_days,
        tally.faulty_days,
        tally.readings as f64 / 1e6,
        tally.readings as f64 / 1e3 / tally.engine_s.max(1e-9),
    );
    findings(tally);
    tally.early.print();
    excused(tally);
    phases(tally);
    batches(tally);
    changes(tally);
    measures(tally);
    mistakes(tally, worst);
}

fn share(part: usize, of: usize) -> String {
    if of == 0 { "–".to_owned() } else { format!("{:.1} %", 100.0 * part as f64 / of as f64) }
}

fn findings(tally: &Tally) {
    println!(
        "\n{:<16} {:>6} {:>8} {:>8} {:>9} {:>9} {:>7} {:>8} {:>8}",
        "finding", "true", "found", "in time", "median s", "worst s", "edge", "false/o", "false/f"
    );
    let mut sum = OfKind::default();
    for kind in FindingKind::ALL {
        let none = OfKind::default();
        let one = tally.kinds.get(kind).unwrap_or(&none);
        line(kind.as_str(), one);
        sum.sure += one.sure;
        sum.found += one.found;
        sum.in_time += one.in_time;
        sum.borderline += one.borderline;
        sum.false_ordinary += one.false_ordinary;
        sum.false_faulty += one.false_faulty;
    }
    line("all", &sum);
    println!(
        "false findings a machine-day: {:.3} in ordinary work, {:.3} on days with faults (aim: at most 0.143)",
        sum.false_ordinary as f64 / tally.ordinary_days.max(1e-9),
        sum.false_faulty as f64 / tally.faulty_days.max(1e-9),
    );
}

fn line(name: &str, one: &OfKind) {
    let mut delays = one.delays_s.clone();
    delays.sort_by(f64::total_cmp);
    let figure = |value: Option<&f64>| value.map_or("–".to_owned(), |v| format!("{v:.0}"));
    println!(
        "{name:<16} {:>6} {:>8} {:>8} {:>9} {:>9} {:>7} {:>8} {:>8}",
        one.sure,
        share(one.found, one.sure),
        share(one.in_time, one.sure),
        figure(delays.get(delays.len() / 2)),
        figure(delays.last()),
        one.borderline,
        one.false_ordinary,
        one.false_faulty,
    );
}

fn excused(tally: &Tally) {
    println!("\nnot asked for (edge), by reason:");
    for (why, kinds) in &tally.excused {
        let mut kinds: Vec<_> = kinds.iter().collect();
        kinds.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
        let total: usize = kinds.iter().map(|(_, n)| **n).sum();
        let most: Vec<String> = kinds.iter().take(5).map(|(kind, n)| format!("{kind} {n}")).collect();
        println!("{why:<26} {total:>6}  {}", most.join(", "));
    }
}

fn phases(tally: &Tally) {
    let all: usize = tally.phases.values().sum();
    let right: usize = tally.phases.iter().filter(|((t, f), _)| t == f).map(|(_, n)| n).sum();
    println!("\nphases right: {} of the time (aim: 97 %)", share(right, all));
    println!("{:<10} {:>8} {:>8}  taken for", "true", "of all", "right");
    for truth in Phase::ALL {
        let of_it = || tally.phases.iter().filter(|((t, _), _)| *t == truth);
        let total: usize = of_it().map(|(_, n)| n).sum();
        let right = tally.phases.get(&(truth, truth)).copied().unwrap_or(0);
        let mut taken: Vec<(Phase, usize)> =
            of_it().filter(|((_, f), _)| *f != truth).map(|((_, f), n)| (*f, *n)).collect();
        taken.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        let taken: Vec<String> =
            taken.iter().take(4).map(|(p, n)| format!("{p} {}", share(*n, total))).collect();
        println!("{truth:<10} {:>8} {:>8}  {}", share(total, all), share(right, total), taken.join(", "));
    }
    for level in [Confidence::High, Confidence::Medium, Confidence::Low] {
        let (n, right) = tally.confidence.get(&level).copied().unwrap_or_default();
        println!(
            "confidence {:<7} {:>8} of the time, right in {}",
            level.as_str(),
            share(n, all),
            share(right, n)
        );
    }
}

fn batches(tally: &Tally) {
    println!(
        "\nbatches: {} true, {} missed, {} out of nothing",
        tally.batches_true, tally.batches_missed, tally.batches_extra
    );
    for (name, minutes) in [
        ("starts", &tally.starts_min),
        ("  of which at quick, fine, often read probes", &tally.fine_starts_min),
        ("ends", &tally.ends_min),
    ] {
        let near = minutes.iter().filter(|m| m.abs() <= 2.0).count();
        let worst = minutes.iter().copied().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
        println!(
            "{name}: {} of {} within two minutes, worst {worst:+.1} min",
            share(near, minutes.len()),
            minutes.len()
        );
    }
}

fn changes(tally: &Tally) {
    println!(
        "\n{:<10} {:<22} {:>6} {:>14} {:>8} {:>8} {:>8}  (minutes too late)",
        "begins", "instruments", "n", "within 2 min", "10 %", "median", "90 %"
    );
    for ((phase, fine), minutes) in &tally.changes_min {
        let mut minutes = minutes.clone();
        minutes.sort_by(f64::total_cmp);
        let near = minutes.iter().filter(|m| m.abs() <= 2.0).count();
        let at = |tenths: usize| minutes[(minutes.len() - 1) * tenths / 10];
        let instruments = if *fine { "quick, fine, often" } else { "others" };
        println!(
            "{phase:<10} {instruments:<22} {:>6} {:>14} {:>+8.2} {:>+8.2} {:>+8.2}",
            minutes.len(),
            share(near, minutes.len()),
            at(1),
            at(5),
            at(9),
        );
    }
}

fn measures(tally: &Tally) {
    println!("\n{:<18} {:>6} {:>12} {:>9} {:>9}", "measure", "n", "within 1 %", "median", "worst");
    for (name, errors) in &tally.measures {
        let mut errors = errors.clone();
        errors.sort_by(f64::total_cmp);
        let near = errors.iter().filter(|e| **e <= 0.01).count();
        let percent = |e: Option<&f64>| e.map_or("–".to_owned(), |e| format!("{:.2} %", 100.0 * e));
        println!(
            "{name:<18} {:>6} {:>12} {:>9} {:>9}",
            errors.len(),
            share(near, errors.len()),
            percent(errors.get(errors.len() / 2)),
            percent(errors.last()),
        );
    }
}

fn mistakes(tally: &Tally, worst: usize) {
    let mut all: Vec<_> = tally.mistakes.iter().collect();
    all.sort_by(|a, b| b.badness.total_cmp(&a.badness));
    println!("\nworst of {} mistakes (play one again with --one SCENARIO SEED):", all.len());
    for mistake in all.into_iter().take(worst) {
        println!("  {:>5.1}  --one {} {}  {}", mistake.badness, mistake.scenario, mistake.seed, mistake.says);
    }
}

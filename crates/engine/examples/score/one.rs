//! One case in full: what was true beside what was found.

use model::{Confidence, PhaseSpan, Timestamp};

use crate::play::{Played, Watched};
use crate::{batches, judge, measures};

pub(crate) fn print(played: &Played) {
    println!("{}", played.case.file);
    println!(
        "from {} to {}, heard from {}, seed {}",
        played.case.settings.start,
        played.case.until(),
        played.case.heard_from,
        played.case.seed
    );
    for watched in &played.machines {
        machine(played, watched);
    }
    for c in &played.plant_wide {
        println!("true  {} due {} {:?}", c.kind, hm(c.due), c.weight);
    }
    for f in &played.analysis.plant_findings {
        println!("found {} raised {}", f.kind, hm(f.raised_at));
    }
}

fn hm(at: Timestamp) -> String {
    at.to_jiff().strftime("%d %H:%M:%S").to_string()
}

fn line(phases: &[PhaseSpan]) -> String {
    let sure = |c: Confidence| match c {
        Confidence::High => "",
        Confidence::Medium => "?",
        Confidence::Low => "??",
    };
    let one = |p: &PhaseSpan| format!("{}{} {}", p.phase, sure(p.confidence), hm(p.from));
    phases.iter().map(one).collect::<Vec<_>>().join(" | ")
}

fn machine(played: &Played, watched: &Watched) {
    let (truth, found) = (played.truth_of(&watched.id), played.found(&watched.id));
    println!("== {} {:?}", watched.id, truth.instruments);
    for fault in &truth.faults {
        let to = fault.to.map_or("…".into(), hm);
        println!("fault {} {} – {to} strength {:.2}", fault.kind, hm(fault.from), fault.strength);
    }
    for told in &truth.told {
        println!("told  {} at {} sent {}", told.event, told.at.map_or("–".into(), hm), hm(told.sent));
    }
    for pair in batches::pairs(played, &truth.batches, &found.batches) {
        let t = pair.truth;
        println!(
            "true  batch {} to {}\n      {}",
            hm(t.start),
            t.end.map_or("…".into(), hm),
            line(&t.phases)
        );
        let Some(f) = pair.found else {
            println!("found nothing");
            continue;
        };
        println!(
            "found batch {} to {}\n      {}",
            hm(f.start),
            f.end.map_or("…".into(), hm),
            line(&f.phases)
        );
        for c in measures::compare(&measures::true_measures(t, watched), &f.measures)
            .iter()
            .filter(|c| c.error > 0.01)
        {
            println!("      {}: true {:.3} found {:?}", c.name, c.truth, c.found);
        }
    }
    for extra in batches::extra(&batches::pairs(played, &truth.batches, &found.batches), &found.batches) {
        println!("extra batch {}\n      {}", hm(extra.start), line(&extra.phases));
    }
    for c in &watched.conditions {
        let edge = c.excused().map_or(String::new(), |why| format!(" (edge: {why})"));
        println!(
            "true  {}{edge} {} – {}, due {}, worst {:.2}",
            c.kind,
            hm(c.from),
            hm(c.to),
            hm(c.due),
            c.worst
        );
    }
    for f in &found.findings {
        let (priority, to) = (f.priority.as_str(), f.to.map_or("…".into(), hm));
        println!("found {} {priority} from {} raised {} to {to}", f.kind, hm(f.from), hm(f.raised_at));
    }
    let judged = judge::judge(truth, played.heard_from(), &watched.conditions, &found.findings);
    for outcome in judged.outcomes.iter().filter(|o| !o.in_time) {
        let how = outcome.delay_s.map_or("missed".to_owned(), |d| format!("late by {d:+.0} s"));
        println!("WRONG {} due {} {how}", outcome.condition.kind, hm(outcome.condition.due));
    }
    for f in judged.falses {
        println!("WRONG {} raised {} for nothing: {}", f.kind, hm(f.raised_at), f.says);
    }
}

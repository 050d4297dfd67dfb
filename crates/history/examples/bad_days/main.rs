//! Scores the day's diagnosis on simulated bad days whose cause is known.
//!
//! `cargo run -p history --example bad_days -- [tune|held-out|dump KIND] [DAYS A CAUSE] [GOOD DAYS]`
//!
//! Rules and weights were chosen on the tuning seeds alone; the held-out seeds are for judging them.

mod plays;

use std::collections::BTreeMap;

use history::day::{Deviation, Diagnosis, Figure, MachineDay, diagnose};
use plays::{Rolls, Week, clock};
use simulator::FaultKind;

/// Rules and weights were chosen on these; those from 901 on judged earlier states of them.
const TUNING: [u64; 20] = [
    101, 102, 103, 104, 105, 106, 107, 108, 901, 905, 907, 1301, 1302, 1306, 1401, 1501, 1506, 1508, 1601,
    1603,
];

/// And judged on these.
const HELD_OUT: [u64; 12] = [1701, 1702, 1703, 1704, 1705, 1706, 1707, 1708, 1709, 1710, 1711, 1712];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number =
        |place: usize, otherwise: usize| args.get(place).and_then(|n| n.parse().ok()).unwrap_or(otherwise);
    match args.first().map(String::as_str) {
        Some("dump") => dump(args.get(1).map_or("good", String::as_str), number(2, 101) as u64),
        Some("held-out") => score(&HELD_OUT, number(1, 1), number(2, 3)),
        _ => score(&TUNING, number(1, 1), number(2, 3)),
    }
}

/// How often the right cause came where.
#[derive(Default)]
struct Places {
    first: usize,
    first_three: usize,
    all: usize,
}

fn score(seeds: &[u64], days_a_cause: usize, good_days: usize) {
    let began = std::time::Instant::now();
    let mut places: BTreeMap<&str, Places> = BTreeMap::new();
    let (mut quiet, mut good) = (0, 0);
    let mut heaviest = Vec::new();
    let days: Vec<FaultKind> = (0..days_a_cause).flat_map(|_| FaultKind::ALL.iter().copied()).collect();
    for (turn, seed) in seeds.iter().enumerate() {
        let week = Week::play(*seed);
        let mut rolls = Rolls::new(*seed);
        for number in 0..good_days {
            let days = week.good_day(number);
            let found = diagnose(&days).expect("memory");
            good += 1;
            heaviest.push(found.cases.first().map_or(0.0, |case| case.points));
            quiet += usize::from(!found.is_unusual);
            if found.is_unusual {
                let first = &found.cases[0];
                println!(
                    "seed {seed}: a good day was called {:?} on {:?} ({:.1})",
                    first.cause, first.machines, first.points
                );
                tell(&found, &days);
            }
        }
        // Each week takes every so many-th day, so that no week weighs more than another.
        for kind in days.iter().skip(turn).step_by(seeds.len()) {
            let play = week.draw(Some(*kind), &mut rolls);
            let days = week.day(&play);
            let found = diagnose(&days).expect("memory");
            let wanted = play.cause.expect("a bad day has a cause");
            let place = found.cases.iter().position(|case| case.cause == wanted && found.is_unusual);
            let counted = places.entry(kind.as_str()).or_default();
            counted.all += 1;
            counted.first += usize::from(place == Some(0));
            counted.first_three += usize::from(place.is_some_and(|place| place < 3));
            if place != Some(0) {
                let named: Vec<String> = found
                    .cases
                    .iter()
                    .take(4)
                    .map(|case| format!("{:?} {:.1}", case.cause, case.points))
                    .collect();
                println!(
                    "seed {seed}: {kind} on {:?} is {wanted:?}, named {}",
                    play.machine,
                    named.join(", ")
                );
                tell(&found, &days);
            }
        }
    }
    let sum = |of: fn(&Places) -> usize| places.values().map(of).sum::<usize>();
    for (kind, counted) in &places {
        println!(
            "{kind:16} first {:2}, first three {:2} of {:2}",
            counted.first, counted.first_three, counted.all
        );
    }
    let all = sum(|counted| counted.all);
    let share = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
    println!(
        "right cause first in {:.1} %, in the first three in {:.1} % of {all} bad days",
        share(sum(|c| c.first), all),
        share(sum(|c| c.first_three), all)
    );
    heaviest.sort_by(f64::total_cmp);
    println!("the heaviest cause on good days: {heaviest:.1?} (unusual from {} on)", history::day::UNUSUAL);
    println!("nothing unusual on {quiet} of {good} good days ({:.1} %)", share(quiet, good));
    println!("{:.0} s", began.elapsed().as_secs_f64());
}

fn dump(kinds: &str, seed: u64) {
    let began = std::time::Instant::now();
    let week = Week::play(seed);
    println!("week {:.1} s", began.elapsed().as_secs_f64());
    let kinds: Vec<Option<FaultKind>> = match kinds {
        "all" => std::iter::once(None).chain(FaultKind::ALL.iter().map(|k| Some(*k))).collect(),
        kinds => kinds.split(',').map(|k| k.parse().ok()).collect(),
    };
    for kind in kinds {
        let play = week.draw(kind, &mut Rolls::new(seed));
        println!("\n== {:?} {:?} on {:?}", play.kind, play.cause, play.machine);
        let days = week.day(&play);
        let found = diagnose(&days).expect("memory");
        tell(&found, &days);
    }
    println!("{:.1} s", began.elapsed().as_secs_f64());
}

/// Everything that bears on the answer.
fn tell(found: &Diagnosis, days: &[MachineDay]) {
    for case in &found.cases {
        let signs: Vec<String> =
            case.supports.iter().map(|c| format!("{:?} {:?} {:.1}", c.machine, c.sign, c.points)).collect();
        let against: Vec<String> =
            case.opposes.iter().map(|c| format!("{:?} {:.1}", c.sign, c.points)).collect();
        println!(
            "  {:?} {:.1} {:?} for {} AGAINST {}",
            case.cause,
            case.points,
            case.likelihood,
            signs.join("; "),
            against.join("; ")
        );
    }
    println!("  moved {:?}", found.moved.first());
    for day in days {
        for record in &day.today {
            let past: Vec<_> =
                day.past.iter().filter(|p| p.batch.couverture == record.batch.couverture).collect();
            let off: Vec<String> = Figure::ALL
                .iter()
                .filter_map(|figure| Deviation::of(*figure, record, &past))
                .filter(|d| d.z.abs() > 2.5)
                .map(|d| format!("{:?} {:.2}/{:.2} z {:.1}", d.figure, d.value, d.usual, d.z))
                .collect();
            let found: Vec<String> = record
                .findings
                .iter()
                .filter(|f| f.superseded_by.is_none())
                .map(|f| format!("{} {}", f.kind, clock(f.from)))
                .collect();
            let tests: Vec<String> = record
                .events
                .iter()
                .filter_map(|e| {
                    let model::EventKind::TemperTest(test) = &e.kind else { return None };
                    Some(format!("{} {}", clock(e.at), test.worst().as_str()))
                })
                .collect();
            println!(
                "{} n={} anchor {} off [{}] found [{}] tests [{}] phases {}",
                day.machine,
                past.len(),
                clock(record.anchor()),
                off.join("; "),
                found.join(", "),
                tests.join(", "),
                record
                    .batch
                    .phases
                    .iter()
                    .map(|p| format!("{} {}", p.phase, clock(p.from)))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
    }
}

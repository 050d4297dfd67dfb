//! How long the review of a week of twenty machines takes from their measures, and what paper adds to it.
//!
//! `cargo run -p halfdegree --features pdf --example weekly_review`
//!
//! The works is made up: six batches a machine and week for eleven weeks, six temper tests and three findings a batch.
//! Reading records and store is no part of it; courses are as long as a page draws them.

use std::time::Instant;

use history::gather::CourseSet;
use history::week::{IsoWeek, WeekData, anchor, review};
use history::{BandPoint, ReferenceBand};
use model::{
    Batch, BatchId, Confidence, Event, EventKind, Finding, FindingId, FindingKind, Grade, MachineId,
    Measures, Method, Phase, PhaseSpan, Priority, Span, Standing, TemperTest, Timestamp,
};
use plant::{Plant, parse_plant};
use report::{Gallery, Names, Reviewed, review_html, review_sheet, review_source, review_xlsx};

const MACHINES: i64 = 20;
const WEEKS: i64 = 11;
const BATCHES_A_WEEK: i64 = 6;
const TESTS_A_BATCH: i64 = 6;
const ROUNDS: usize = 5;

fn main() {
    let plant = made_up_plant();
    let week: IsoWeek = "2026-W48".parse().expect("a week");
    let (from, to) = week.span(&plant);
    let batches: Vec<Batch> = (0..MACHINES * WEEKS * BATCHES_A_WEEK).map(|n| batch(n, from)).collect();
    let events: Vec<Event> = batches.iter().flat_map(tests).collect();
    let findings: Vec<Finding> = batches.iter().flat_map(findings).collect();
    let galleries = galleries(&plant, &batches, (from, to));
    println!("{} batches, {} tests, {} findings", batches.len(), events.len(), findings.len());
    let mut times = [const { Vec::new() }; 4];
    for _ in 0..ROUNDS {
        let began = Instant::now();
        let data = WeekData {
            week,
            plant: &plant,
            batches: batches.clone(),
            findings: findings.clone(),
            events: events.clone(),
            rooms: Vec::new(),
            seen: Vec::new(),
            asides: Vec::new(),
            actions: Vec::new(),
            seen_to: to,
        };
        let review = review(data).expect("memory");
        let sheet = review_sheet(&Reviewed {
            review: &review,
            names: &Names::default(),
            zone: plant.time_zone.rules(),
            plant: &plant.name,
            galleries: &galleries,
            signed: None,
        });
        let worked_out = began.elapsed();
        let html = review_html(&sheet, plant.time_zone.rules());
        let page = began.elapsed();
        let book = review_xlsx(&sheet, plant.time_zone.rules(), to).expect("a workbook");
        let with_book = began.elapsed();
        let source = review_source(&sheet, plant.time_zone.rules());
        let pictures: Vec<(String, Vec<u8>)> = sheet
            .sections
            .iter()
            .flat_map(|section| &section.pictures)
            .map(|picture| (format!("{}.svg", picture.name), picture.svg.clone().into_bytes()))
            .collect();
        let files: Vec<(&str, Vec<u8>)> =
            pictures.iter().map(|(name, file)| (name.as_str(), file.clone())).collect();
        let paper = paper::pdf(&source, &files).expect("a PDF");
        assert!(!html.is_empty() && !book.is_empty() && paper.starts_with(b"%PDF"));
        for (times, time) in times.iter_mut().zip([worked_out, page, with_book, began.elapsed()]) {
            times.push(time);
        }
    }
    let names = ["worked out", "as a page", "and as a workbook", "and as a PDF"];
    for (name, mut times) in names.into_iter().zip(times) {
        let ms = |time: std::time::Duration| time.as_secs_f64() * 1000.0;
        // The typesetter remembers what it has set, so that the first time is the honest one for paper.
        let first = ms(times[0]);
        times.sort();
        println!("{name}: {first:.0} ms the first time, {:.0} ms median of {ROUNDS}", ms(times[ROUNDS / 2]));
    }
}

fn made_up_plant() -> Plant {
    let mut text =
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
                    [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n"
            .to_owned();
    for machine in 0..MACHINES {
        text += &format!(
            "[[machine]]\nid = \"kettle-{machine}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n"
        );
    }
    parse_plant(&text).expect("a plant")
}

/// Scatter without dice: it goes round in no simple rhythm.
fn scatter(n: i64) -> f64 {
    (n as f64 * 0.754_877_67).fract() - 0.5
}

fn batch(n: i64, from: Timestamp) -> Batch {
    let machine: MachineId = format!("kettle-{}", n % MACHINES).parse().expect("an id");
    let day = n / MACHINES;
    let days_before = (WEEKS - 1 - day / BATCHES_A_WEEK) * 7 - day % BATCHES_A_WEEK;
    let start = from - Span::from_hours(24) * days_before + Span::from_mins(60 + n % 17);
    let phase = |phase, hours: (i64, i64)| PhaseSpan {
        phase,
        from: start + Span::from_hours(hours.0),
        to: Some(start + Span::from_hours(hours.1)),
        confidence: Confidence::High,
    };
    let by = scatter(n);
    Batch {
        id: BatchId::new(&machine, start),
        machine,
        couverture: "dark-64".parse().expect("an id"),
        lot: Some(format!("L{}", day / 4)),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start,
        end: Some(start + Span::from_hours(16)),
        phases: vec![
            phase(Phase::Melting, (0, 2)),
            phase(Phase::Soak, (2, 6)),
            phase(Phase::Cooling, (6, 7)),
            phase(Phase::Working, (7, 16)),
        ],
        measures: Measures {
            soak_max_c: Some(46.0 + by),
            cooling_minutes: Some(75.0 + 6.0 * by),
            cooling_tau_min: Some(45.0 + 4.0 * by),
            settled_c: Some(31.5 + 0.2 * by),
            working_minutes: Some(540.0),
            working_mean_c: Some(31.5 + 0.2 * by),
            working_sd_c: Some(0.1),
            drift_c_per_h: Some(0.02 * by),
            above_loss_c_min: Some(0.0),
            unknown_minutes: Some(0.0),
            ..Measures::default()
        },
        standing: if n % 11 == 0 { Standing::OffTemper } else { Standing::InTemper },
        reasons: Vec::new(),
    }
}

fn tests(batch: &Batch) -> Vec<Event> {
    let grade = if batch.standing == Standing::OffTemper { Grade::Poor } else { Grade::Good };
    let test = |hour: i64| Event {
        machine: batch.machine.clone(),
        at: batch.start + Span::from_hours(7 + hour),
        by: Some("ana".to_owned()),
        raw: "{}".to_owned(),
        kind: EventKind::TemperTest(TemperTest {
            gloss: grade,
            contraction: Grade::Good,
            snap: Grade::Good,
            minutes: Some(5.0),
        }),
    };
    (0..TESTS_A_BATCH).map(test).collect()
}

fn findings(batch: &Batch) -> Vec<Finding> {
    let finding = |(kind, hour): (FindingKind, i64)| {
        let from = batch.start + Span::from_hours(hour);
        Finding {
            id: FindingId::new(batch.machine.as_str(), kind.as_str(), from),
            machine: Some(batch.machine.clone()),
            batch: Some(batch.id.clone()),
            kind,
            priority: Priority::Low,
            from,
            to: Some(from + Span::from_mins(20)),
            raised_at: from,
            says: "A temper test is due.".to_owned(),
            evidence: Vec::new(),
            advice: "Make a temper test.".to_owned(),
            superseded_by: None,
        }
    };
    [(FindingKind::TestDue, 8), (FindingKind::TestDue, 11), (FindingKind::Thickening, 13)].map(finding).into()
}

/// As many points as a page draws.
fn galleries(plant: &Plant, batches: &[Batch], (from, to): (Timestamp, Timestamp)) -> Vec<Gallery> {
    let course = || {
        (0..240).map(|n| (f64::from(n) * 2.0 - 30.0, 31.5 + 13.0 * (-f64::from(n) / 30.0).exp())).collect()
    };
    let point = |n: i64| BandPoint {
        after: Span::from_mins(5 * n - 30),
        low: 31.2,
        median: 31.5,
        high: 31.8,
        batches: 10,
    };
    let of = |machine: &plant::Machine| {
        let mine =
            |batch: &&Batch| batch.machine == machine.id && from <= anchor(batch) && anchor(batch) < to;
        let set = CourseSet {
            machine: machine.id.clone(),
            couverture: machine.couverture.clone(),
            courses: batches.iter().filter(mine).map(|batch| (batch.clone(), course())).collect(),
            band: Some(ReferenceBand {
                batches: 10,
                step: Span::from_mins(5),
                points: (0..100).map(point).collect(),
            }),
        };
        Gallery::of(&set, None, plant.time_zone.rules())
    };
    plant.machines.iter().map(of).collect()
}

//! The laws of the engine over sample streams: what it says does not depend on cuts, restarts, doubled messages, order within the
//! lateness allowance, or the date.

use engine::{Analyst, Changes, Engine, Piece};
use model::{Arrival, Batch, Channel, Content, Finding, FindingKind, Reading, Span, Timestamp};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::streams::Sample;

/// What a watch says in the end: findings as they ended, batches as they ended or stand.
#[derive(Debug, Default, PartialEq)]
struct Said {
    findings: Vec<Finding>,
    batches: Vec<Batch>,
}

impl Said {
    fn note(&mut self, changes: Changes) {
        self.batches.extend(changes.ended);
        for finding in changes.findings {
            match self.findings.iter_mut().find(|known| known.id == finding.id) {
                Some(known) => *known = finding,
                None => self.findings.push(finding),
            }
        }
    }

    fn sorted(mut self) -> Said {
        self.findings.sort_by(|a, b| (a.raised_at, &a.id).cmp(&(b.raised_at, &b.id)));
        self.batches.sort_by(|a, b| (a.start, &a.id).cmp(&(b.start, &b.id)));
        self
    }
}

/// Runs the engine over the arrivals, saving and restoring it at each of `restarts`.
fn watch(sample: &Sample, arrivals: &[Arrival], restarts: &[usize]) -> Said {
    let mut engine = Engine::new(sample.plant.clone());
    let mut said = Said::default();
    for (i, arrival) in arrivals.iter().enumerate() {
        if restarts.contains(&i) {
            said.note(engine.take_changes());
            let pieces: Vec<Piece> =
                engine.pieces().flat_map(|(machine, numbers)| engine.pieces_of(machine, numbers)).collect();
            engine = Engine::restore(sample.plant.clone(), &engine.save().unwrap(), pieces).unwrap();
        }
        engine.apply(arrival);
    }
    engine.finish();
    said.note(engine.take_changes());
    said.batches.extend(engine.open_batches());
    said.sorted()
}

fn analysed_said(sample: &Sample, arrivals: &[Arrival]) -> Said {
    let mut analyst = Analyst::new(sample.plant.clone());
    arrivals.iter().for_each(|arrival| analyst.push(arrival));
    let analysis = analyst.finish().unwrap();
    let mut said = Said { findings: analysis.plant_findings, ..Said::default() };
    for machine in analysis.machines {
        said.findings.extend(machine.findings);
        said.batches.extend(machine.batches);
    }
    said.sorted()
}

/// Samples with findings, so that the laws have something to say.
const SAMPLES: [&str; 3] = ["overheated-hold", "slow-cooling", "drifting-hold"];

#[test]
fn the_watch_says_what_the_analysis_says_wherever_it_is_cut() {
    for (seed, name) in SAMPLES.into_iter().enumerate() {
        let sample = Sample::read(name);
        let analysis = analysed_said(&sample, &sample.arrivals);
        assert!(!analysis.findings.is_empty(), "{name} has findings");
        let mut dice = ChaCha8Rng::seed_from_u64(seed as u64);
        for cuts in [0, 1, 7, 40] {
            let restarts: Vec<usize> =
                (0..cuts).map(|_| dice.random_range(0..sample.arrivals.len())).collect();
            assert_eq!(watch(&sample, &sample.arrivals, &restarts), analysis, "{name} cut at {restarts:?}");
        }
    }
}

/// Three machines in one room that becomes warm, each noticing it five minutes after the one before, and cools again.
fn warm_room() -> Sample {
    let machine =
        |id: &str| format!("[[machine]]\nid = \"{id}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\n");
    let machines = ["alder", "birch", "cedar"];
    let plant_text = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n{}",
        machines.map(machine).concat()
    );
    let start: Timestamp = "2026-03-02T06:00:00Z".parse().unwrap();
    let reading = |place: i64, half_minutes: i64| {
        let at = start + Span::from_secs(30 * half_minutes + place);
        let warm = (20 + 10 * place..120).contains(&half_minutes);
        let value = Some(if warm { 26.5 } else { 21.0 });
        let machine = machines[place as usize].parse().unwrap();
        let reading = Reading { machine, channel: Channel::Room, at, value };
        Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
    };
    let arrivals = (0..200).flat_map(|time| (0..3).map(move |place| reading(place, time))).collect();
    Sample { plant: plant::parse_plant(&plant_text).unwrap().into(), plant_text, arrivals }
}

#[test]
fn a_common_cause_is_the_same_live_and_offline() {
    let sample = warm_room();
    let analysis = analysed_said(&sample, &sample.arrivals);
    let of_the_plant: Vec<&Finding> = analysis.findings.iter().filter(|f| f.machine.is_none()).collect();
    let [common] = of_the_plant.as_slice() else { panic!("one finding of the plant: {of_the_plant:?}") };
    let last = analysis.findings.iter().filter(|f| f.kind == FindingKind::HotRoom).map(|f| f.raised_at).max();
    assert_eq!((common.kind, Some(common.raised_at)), (FindingKind::CommonCause, last));
    assert!(common.says.contains("alder, birch, cedar") && common.to.is_some(), "{common:?}");
    for restarts in [vec![], vec![70, 71, 150, 151, 400], (0..600).collect()] {
        assert_eq!(watch(&sample, &sample.arrivals, &restarts), analysis);
    }
}

#[test]
fn doubled_messages_change_nothing() {
    for name in SAMPLES {
        let sample = Sample::read(name);
        let doubled: Vec<Arrival> =
            sample.arrivals.iter().flat_map(|arrival| [arrival.clone(), arrival.clone()]).collect();
        assert_eq!(
            analysed_said(&sample, &doubled).findings,
            analysed_said(&sample, &sample.arrivals).findings
        );
    }
}

#[test]
fn order_within_the_allowance_changes_nothing() {
    let sample = Sample::read("overheated-hold");
    let mut dice = ChaCha8Rng::seed_from_u64(5);
    // The allowance is 15 s: two readings that are up to 10 s apart may come in either order.
    let mut shuffled = sample.arrivals.clone();
    for i in 1..shuffled.len() {
        let near = (shuffled[i].at() - shuffled[i - 1].at()).as_secs_f64().abs() <= 10.0;
        let readings =
            [&shuffled[i - 1], &shuffled[i]].iter().all(|a| matches!(a.content, Content::Reading(_)));
        if near && readings && dice.random_bool(0.3) {
            let (a, b) = (shuffled[i - 1].content.clone(), shuffled[i].content.clone());
            (shuffled[i - 1].content, shuffled[i].content) = (b, a);
        }
    }
    assert_ne!(shuffled, sample.arrivals);
    let (a, b) = (analysed_said(&sample, &shuffled), analysed_said(&sample, &sample.arrivals));
    assert_eq!(a.findings, b.findings);
    assert_eq!(a.batches, b.batches);
}

#[test]
fn another_date_moves_the_answer_and_changes_nothing_else() {
    let sample = Sample::read("slow-cooling");
    let later = Span::from_hours(24 * 100);
    let moved: Vec<Arrival> = sample.arrivals.iter().map(|arrival| moved(arrival, later)).collect();
    let times = |said: &Said, by: Span| -> Vec<(FindingKind, Timestamp, Timestamp)> {
        said.findings.iter().map(|f| (f.kind, f.from + by, f.raised_at + by)).collect()
    };
    let (before, after) = (analysed_said(&sample, &sample.arrivals), analysed_said(&sample, &moved));
    assert_eq!(times(&after, Span::ZERO), times(&before, later));
    let measures = |said: &Said| said.batches.iter().map(|batch| batch.measures.clone()).collect::<Vec<_>>();
    assert_eq!(measures(&after), measures(&before));
}

fn moved(arrival: &Arrival, by: Span) -> Arrival {
    let mut arrival = arrival.clone();
    arrival.arrived += by;
    match &mut arrival.content {
        Content::Reading(reading) => reading.at += by,
        Content::Event(event) => event.at += by,
    }
    arrival
}

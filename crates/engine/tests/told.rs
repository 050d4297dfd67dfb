//! What people tell of a batch counts for it whenever they tell it, and what befalls the next charge does not count for it.

use std::sync::Arc;

use engine::{Analyst, Engine, MachineAnalysis};
use model::{
    Arrival, Channel, Content, Event, EventKind, FindingKind, Grade, Reading, Span, Standing, TemperTest,
    Timestamp,
};

const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
     [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n[[couverture]]\nid = \"milk-35\"\nfamily = \"milk\"\n\
     [[machine]]\nid = \"alder\"\nstyle = \"wheel\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

/// In working from here on, minutes.
const WORKS: i64 = 100;

fn minute(minute: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000) + Span::from_mins(minute)
}

/// Melted, cooled and worked with.
fn day(minute: f64) -> f64 {
    match minute {
        m if m < 14.0 => 39.0 + 0.5 * m,
        m => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
    }
}

fn tested(grade: Grade) -> EventKind {
    EventKind::TemperTest(TemperTest { gloss: grade, contraction: grade, snap: grade, minutes: None })
}

fn lot(lot: &str) -> EventKind {
    EventKind::Charge { couverture: None, lot: Some(lot.to_owned()), mass_kg: None, method: None }
}

/// A chocolate reading every ten seconds, with what is told: when, of which moment, what, minutes.
fn arrivals(minutes: i64, charge: impl Fn(f64) -> f64, told: &[(i64, i64, EventKind)]) -> Vec<Arrival> {
    let reading = |second: i64| {
        let at = minute(0) + Span::from_secs(second);
        let (machine, value) = ("alder".parse().expect("an id"), Some(charge(second as f64 / 60.0)));
        let content = Content::Reading(Reading { machine, channel: Channel::Chocolate, at, value });
        Arrival { arrived: at, retained: false, content }
    };
    let event = |(arrived, at, kind): &(i64, i64, EventKind)| {
        let (machine, kind) = ("alder".parse().expect("an id"), kind.clone());
        let event = Event { machine, at: minute(*at), by: None, kind, raw: String::new() };
        Arrival { arrived: minute(*arrived), retained: false, content: Content::Event(event) }
    };
    let mut all: Vec<Arrival> =
        (0..minutes * 60).step_by(10).map(reading).chain(told.iter().map(event)).collect();
    all.sort_by_key(|arrival| arrival.arrived);
    all
}

fn analysed(minutes: i64, charge: impl Fn(f64) -> f64, told: &[(i64, i64, EventKind)]) -> MachineAnalysis {
    let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
    arrivals(minutes, charge, told).iter().for_each(|arrival| analyst.push(arrival));
    analyst.finish().expect("fits into memory").machines.swap_remove(0)
}

fn standings(told: &[(i64, i64, EventKind)]) -> Vec<Standing> {
    analysed(220, day, told).batches.iter().map(|batch| batch.standing).collect()
}

#[test]
fn what_is_told_of_a_batch_after_its_end_counts() {
    let (good, end) = ((WORKS, WORKS, tested(Grade::Good)), (150, 150, EventKind::End));
    let top_up = EventKind::TopUp { mass_kg: Some(3.0), temperature: None, lot: None };
    let with = |late: (i64, i64, EventKind)| standings(&[good.clone(), end.clone(), late]);
    assert_eq!(standings(&[good.clone(), end.clone()]), [Standing::InTemper]);
    assert_eq!(with((170, 140, tested(Grade::Poor))), [Standing::OffTemper]);
    assert_eq!(with((170, 140, top_up.clone())), [Standing::Doubtful]);
    assert_eq!(with((170, 160, top_up)), [Standing::InTemper], "of what was filled in afterwards");
    assert_eq!(with((170, 170, tested(Grade::Poor))), [Standing::OffTemper], "the smear was taken from it");
    assert_eq!(standings(&[end, (170, 140, tested(Grade::Good))]), [Standing::InTemper]);
}

/// Its probe shows the same for ten minutes while its jacket warms, and no reading of it counts any more; somebody ends it before it has been ready for
/// a quarter of an hour.
#[test]
fn an_ended_charge_needs_no_test_also_where_no_reading_counts() {
    let raised = |end: &[(i64, i64, EventKind)]| {
        let jacket = |arrival: &Arrival| {
            let (machine, at) = ("alder".parse().expect("an id"), arrival.arrived);
            let value = Some(28.0 + 0.4 * ((at - minute(65)).as_mins_f64()).max(0.0));
            let content = Content::Reading(Reading { machine, channel: Channel::Jacket, at, value });
            Arrival { content, ..arrival.clone() }
        };
        let mut analyst = Analyst::new(Arc::new(plant::parse_plant(PLANT).expect("a plant")));
        for arrival in arrivals(130, day, end) {
            analyst.push(&arrival);
            analyst.push(&jacket(&arrival));
        }
        let found = analyst.finish().expect("fits into memory").machines.swap_remove(0).findings;
        assert!(found.iter().any(|finding| finding.kind == FindingKind::ProbeStuck));
        found.iter().filter(|finding| finding.kind == FindingKind::TestDue).count()
    };
    assert_eq!((raised(&[]), raised(&[(85, 85, EventKind::End)])), (1, 0));
}

/// Ready at minute 73 and worked until somebody ends it at minute 300; a good test of minute 110 is told when that is over.
#[test]
fn a_prompt_is_over_with_the_test_whenever_that_is_told() {
    let over = |told: i64, grade: Grade| {
        let told = [(300, 300, EventKind::End), (told, 110, tested(grade))];
        let found = analysed(330, day, &told).findings;
        let to = |kind: FindingKind| {
            let finding = found.iter().find(|finding| finding.kind == kind);
            finding.and_then(|finding| finding.to).map(|to| (to - minute(0)).as_millis() / 60_000)
        };
        (to(FindingKind::TestDue), to(FindingKind::LongHold))
    };
    assert_eq!(over(320, Grade::Good), (Some(110), Some(193)), "not before it was raised");
    assert_eq!(over(320, Grade::Fair), (Some(110), Some(300)));
    assert_eq!(over(110, Grade::Good).0, Some(110));
}

/// The live watch says which batches have to be judged again, and which worked out.
#[test]
fn the_watch_says_what_was_told_too_late() {
    let plant = Arc::new(plant::parse_plant(PLANT).expect("a plant"));
    let changes = |told: &[(i64, i64, EventKind)]| {
        let mut engine = Engine::new(plant.clone());
        arrivals(220, day, told).iter().for_each(|arrival| engine.apply(arrival));
        let changes = engine.take_changes();
        let times = |of: Vec<(_, Timestamp)>| of.into_iter().map(|(_, at)| at).collect::<Vec<_>>();
        (times(changes.late), times(changes.told))
    };
    let end = (150, 150, EventKind::End);
    assert_eq!(changes(&[(WORKS, WORKS, tested(Grade::Good)), end.clone()]), (vec![], vec![]));
    let late = [end.clone(), (170, 140, tested(Grade::Poor))];
    assert_eq!(changes(&late), (vec![], vec![minute(80)]), "an hour before the test");
    assert_eq!(changes(&[end, (170, 30, lot("L1"))]), (vec![minute(30)], vec![]));
}

#[test]
fn a_batch_ends_where_somebody_says_so_afterwards() {
    let melts_again = |minute: f64| day(minute).max(46.0_f64.min(31.5 + 0.6 * (minute - 160.0)));
    let ends = |told: &[(i64, i64, EventKind)]| {
        let batches = analysed(230, melts_again, told).batches;
        batches.iter().map(|batch| batch.end.map(|end| (end - minute(0)).as_mins_f64())).collect::<Vec<_>>()
    };
    let [Some(unsaid), None] = ends(&[])[..] else { panic!("two batches") };
    assert!((157.0..161.0).contains(&unsaid), "{unsaid}");
    assert_eq!(ends(&[(200, 140, EventKind::End)]), [Some(140.0), None]);
}

/// A charge that is told of late, as of the moment at which it was filled in, is that of the batch that was melted then.
#[test]
fn a_charge_told_of_late_is_the_one_that_was_filled_in_then() {
    let lots = |told: &[(i64, i64, EventKind)]| {
        analysed(220, day, told).batches.into_iter().map(|batch| batch.lot).collect::<Vec<_>>()
    };
    assert_eq!(lots(&[(170, 5, lot("L1"))]), [Some("L1".to_owned())]);
    assert_eq!(lots(&[(170, 5, lot("L1")), (150, 150, EventKind::End)]), [Some("L1".to_owned())]);
    assert_eq!(lots(&[(5, 5, lot("L1")), (170, 170, lot("L2"))]), [Some("L1".to_owned())], "the next one");
}

/// On a machine that tells, a rise of which nobody told is taken for damage until the soak is reached.
#[test]
fn what_befalls_the_next_charge_is_the_next_batchs() {
    let melts_again = |minute: f64| day(minute).max(46.0_f64.min(31.5 + 0.6 * (minute - 160.0)));
    let machine = analysed(230, melts_again, &[(WORKS, WORKS, tested(Grade::Good))]);
    let [first, second] = &machine.batches[..] else { panic!("two batches: {:?}", machine.batches) };
    let lost = machine.findings.iter().find(|finding| finding.kind == FindingKind::TemperLoss);
    let lost = lost.expect("33.5 °C were passed");
    assert_eq!(lost.batch.as_ref(), Some(&second.id));
    assert_eq!((first.standing, second.standing), (Standing::InTemper, Standing::Unproven));
}

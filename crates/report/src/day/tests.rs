//! Made-up days in words.

use history::day::Reach;
use model::FindingKind;

use super::*;

fn names() -> Names {
    Names { machines: [("alder".parse().unwrap(), "Alder".to_owned())].into(), ..Names::default() }
}

fn found(compared: usize, ran: usize) -> Diagnosis {
    Diagnosis {
        cases: Vec::new(),
        is_unusual: false,
        odd: Vec::new(),
        unexplained: Vec::new(),
        moved: Vec::new(),
        reach: Reach { odd: 0, compared, ran },
        too_new: Vec::new(),
        not_only_good: Vec::new(),
    }
}

fn case(cause: Cause, likelihood: Likelihood) -> Case {
    Case {
        cause,
        machines: vec!["alder".parse().unwrap()],
        points: 5.0,
        likelihood,
        supports: Vec::new(),
        opposes: Vec::new(),
        missing: Vec::new(),
    }
}

fn words(found: &Diagnosis) -> DayWords {
    day_words(found, &names(), &TimeZone::UTC)
}

#[test]
fn a_quiet_day_says_no_more_than_was_compared() {
    let nothing = words(&found(0, 2));
    assert_eq!(nothing.headline, "There is no past to compare this day with yet.");
    assert!(nothing.lead[0].starts_with("No machine that ran has enough earlier batches"), "{nothing:?}");
    let some = words(&found(1, 3));
    assert!(some.lead[0].starts_with("One of three machines could be compared"), "{some:?}");
    assert!(words(&found(3, 3)).lead[0].starts_with("Every figure of the day lies where it usually does"));
    let mut odd = found(1, 1);
    odd.odd.push(Odd {
        machine: "alder".parse().unwrap(),
        batch: model::BatchId::from_lookup("alder-2026-03-02T09:00"),
        since: None,
        sign: history::day::Sign::Found(FindingKind::Hunting),
    });
    odd.reach.odd = 1;
    let odd = words(&odd);
    assert!(odd.lead[0].starts_with("What stands out explains no bad batch by itself: "), "{odd:?}");
    assert!(!odd.lead[0].contains("Every figure"), "{odd:?}");
}

#[test]
fn no_cause_is_skipped_and_a_likely_one_is_not_called_unlikely() {
    use Likelihood::{Likely, MostLikely, Possible, Unlikely};
    let mut day = found(1, 2);
    day.is_unusual = true;
    day.reach.odd = 1;
    let weighed = [
        (Cause::Room, MostLikely),
        (Cause::CoolingWater, Likely),
        (Cause::Control, Likely),
        (Cause::Stirring, Possible),
        (Cause::People, Possible),
        (Cause::Clock, Unlikely),
    ];
    day.cases = weighed.map(|(cause, likelihood)| case(cause, likelihood)).into();
    let told = words(&day);
    assert_eq!((told.causes.len(), told.further.len(), told.others.len()), (4, 1, 1), "{told:?}");
    assert_eq!(told.others, ["Time, the clock"]);
    assert!(!told.lead[0].contains("the others ran as usual"), "{told:?}");
    day.cases.drain(1..5);
    assert_eq!(words(&day).others, ["Time, the clock"]);
    day.not_only_good = vec!["alder".parse().unwrap()];
    assert!(words(&day).basis.contains("Alder had too few good ones"));
}

#[test]
fn a_day_with_a_failed_test_is_not_called_harmless() {
    let mut day = found(1, 1);
    let odd = |sign| Odd {
        machine: "alder".parse().unwrap(),
        batch: model::BatchId::from_lookup("alder-2026-03-02T09:00"),
        since: None,
        sign,
    };
    day.odd = vec![odd(Sign::Found(FindingKind::Hunting)), odd(Sign::TestFailed)];
    day.reach.odd = 1;
    let lead = words(&day).lead.remove(0);
    assert!(
        lead.starts_with("Nothing stands out enough to name a cause; what was different: Alder: "),
        "{lead}"
    );
    assert!(!lead.contains("explains no bad batch"), "{lead}");
}

#[test]
fn other_causes_come_near_only_where_there_are_any() {
    use Likelihood::{Likely, Possible};
    let headline = |next: Option<f64>| {
        let mut day = found(1, 1);
        day.is_unusual = true;
        day.cases = vec![case(Cause::Control, Likely)];
        day.cases.extend(next.map(|points| Case { points, ..case(Cause::Stirring, Possible) }));
        words(&day).headline
    };
    assert_eq!(headline(None), "Probably the control on Alder.");
    assert_eq!(headline(Some(1.9)), "Probably the control on Alder.");
    assert_eq!(headline(Some(4.0)), "Probably the control on Alder, but other causes come near.");
}

#[test]
fn the_headline_says_what_was_seen() {
    let told = |cause, sign| {
        let clue = Clue { machine: None, batch: None, since: None, sign, points: 5.0 };
        let mut day = found(1, 1);
        day.is_unusual = true;
        day.cases = vec![Case { supports: vec![clue], ..case(cause, Likelihood::MostLikely) }];
        let words = words(&day);
        format!("{} {}", words.headline, words.causes[0].supports[0])
    };
    let top_up = Sign::TopUp { mass_kg: Some(10.0), temperature: Some(20.0), is_large: true };
    assert_eq!(
        told(Cause::People, top_up),
        "Most likely a top-up on Alder. A large top-up shortly before the hold was out: 10.0 kg at 20 °C"
    );
    assert_eq!(
        told(Cause::People, Sign::OnePerson { failed: 2, passed: 1 }),
        "Most likely the way it was worked on Alder. All that failed were worked by the same person, all that passed \
         by others: 2 batches failed, one passed"
    );
    assert!(told(Cause::Material, Sign::NewLot { failed: 2, of: 2, passed: 1 }).ends_with(
        "Two of two machines with a lot that is new to them failed their tests, and one without it passed"
    ));
}

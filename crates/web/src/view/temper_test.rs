//! The temper test of a machine as a page says it: the newest result, its grade and what follows, when the next is due, and a smear that
//! still cools. All of it counts on the server's clock, so that it is true without a script and moves with one.

use model::{Event, EventKind, Grade, Lane, Phase, Smear, Span, TemperTest, Timestamp};
use plant::{Family, TestGrade};
use serde::Serialize;

use super::Scene;
use crate::words;

/// A smear that has cooled and is not judged within this time has stood too long: it sets further, and says nothing of the kettle any more.
/// Common practice, no source.
const JUDGED_WITHIN: Span = Span::from_mins(20);
/// One that was never judged is told for so long.
const TOLD_FOR: Span = Span::from_hours(2);

/// The newest temper test, and what comes next.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct TestView {
    pub class: &'static str,
    pub says: String,
    /// Where the newest test gave one.
    pub grade: Option<GradeView>,
    pub due: Option<DueView>,
    pub smear: Option<SmearView>,
}

/// The grade of a test on the trade's scale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct GradeView {
    /// `A`
    pub letter: &'static str,
    pub meaning: &'static str,
    /// By the site's own rules.
    pub follows: String,
}

/// When the next test is due.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct DueView {
    /// `next due in 25 min`, `overdue by 5 min`
    pub says: String,
    pub why: String,
    pub overdue: bool,
}

/// A smear that somebody has taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct SmearView {
    /// `cooling`, `ready` or `expired`
    pub state: &'static str,
    pub class: &'static str,
    pub says: String,
    pub by: Option<String>,
}

impl TestView {
    pub(super) fn none() -> TestView {
        TestView { class: "none", says: "not yet".to_owned(), ..TestView::default() }
    }

    pub(super) fn new(scene: Scene<'_>, lane: &Lane, smear: Option<&Smear>) -> TestView {
        let newest = lane.last_test.as_ref().and_then(|event| Some((event, test_of(event)?)));
        let due = due(scene, lane);
        let is_expired = due.as_ref().is_some_and(|due| due.overdue);
        let smear = smear.and_then(|smear| SmearView::new(scene, lane, smear));
        let (class, says) = match (newest, lane.phase) {
            (Some((event, test)), _) => {
                let passed = test.worst() == Grade::Good;
                let expired = if passed && is_expired { ", expired" } else { "" };
                let age = words::ago(scene.now.since(event.at));
                let class = match test.worst() {
                    Grade::Good if is_expired => "open",
                    Grade::Good => "good",
                    Grade::Fair => "soon",
                    Grade::Poor => "now",
                };
                (class, format!("{}, {age}{expired}", words::grade(test.worst())))
            }
            (None, Phase::Working) => ("open", "none yet".to_owned()),
            (
                None,
                Phase::Idle
                | Phase::Melting
                | Phase::Soak
                | Phase::Cooling
                | Phase::Settling
                | Phase::Rewarming,
            ) => ("none", "not yet".to_owned()),
        };
        let smeared = newest.filter(|(event, _)| !words::is_by_curve(event));
        let grade = smeared.map(|(_, test)| GradeView::new(scene, family(scene, lane), test));
        TestView { class, says, grade, due, smear }
    }
}

impl GradeView {
    pub(crate) fn new(scene: Scene<'_>, family: Family, test: &TemperTest) -> GradeView {
        let rules = &scene.plant.temper_test;
        let grade: TestGrade = rules.grade(family, test);
        GradeView {
            letter: grade.letter(),
            meaning: grade.meaning(),
            follows: words::tied(&scene.sentence(&rules.follows(grade))),
        }
    }
}

impl SmearView {
    /// `None` for one that has been judged, was of an earlier batch, or was forgotten long ago.
    fn new(scene: Scene<'_>, lane: &Lane, smear: &Smear) -> Option<SmearView> {
        let is_judged = lane.last_test.as_ref().is_some_and(|test| smear.at <= test.at);
        let is_of_batch = lane.batch.as_ref().is_none_or(|batch| batch.start <= smear.at);
        let age = scene.now.since(smear.at);
        if is_judged || !is_of_batch || TOLD_FOR < age {
            return None;
        }
        let ready_at = smear.at + scene.plant.temper_test.cool;
        let clock = |at: Timestamp| scene.local.clock(at);
        let (state, class, says) = if scene.now < ready_at {
            let left = words::length(ready_at.since(scene.now));
            ("cooling", "open", format!("The smear cools: ready at {}, in {left}.", clock(ready_at)))
        } else if scene.now < ready_at + JUDGED_WITHIN {
            let says =
                format!("The smear is ready since {}: judge it and enter the result.", clock(ready_at));
            ("ready", "soon", says)
        } else {
            let says = format!(
                "The smear of {} was not judged in time and says nothing now: take a new one.",
                clock(smear.at)
            );
            ("expired", "now", says)
        };
        Some(SmearView { state, class, says, by: smear.by.clone() })
    }
}

/// The couverture's family; that of the machine where a charge named one that the plant file does not know.
pub(crate) fn family(scene: Scene<'_>, lane: &Lane) -> Family {
    let batch = lane.batch.as_ref().map(|batch| &batch.couverture);
    let of_machine = scene.plant.machine(&lane.machine).map(|machine| &machine.couverture);
    let known = [batch, of_machine].into_iter().flatten().find_map(|id| scene.plant.couverture(id));
    known.map_or(Family::Dark, |couverture| couverture.family)
}

fn test_of(event: &Event) -> Option<&TemperTest> {
    match &event.kind {
        EventKind::TemperTest(test) => Some(test),
        EventKind::Charge { .. }
        | EventKind::Seed { .. }
        | EventKind::TopUp { .. }
        | EventKind::Reference { .. }
        | EventKind::Note { .. }
        | EventKind::End => None,
    }
}

fn due(scene: Scene<'_>, lane: &Lane) -> Option<DueView> {
    let due = lane.test_due.as_ref()?;
    let left = due.at.since(scene.now);
    let overdue = left <= Span::ZERO;
    let says = if !overdue {
        format!("next due in {}", words::length(left))
    } else if left <= Span::from_mins(-1) {
        format!("overdue by {}", words::length(-left))
    } else {
        "due now".to_owned()
    };
    Some(DueView { says, why: due.why.clone(), overdue })
}

#[cfg(test)]
mod tests {
    use model::TestDue;

    use super::*;
    use crate::made_up::{self, lane, moment};

    fn test(clock: &str, snap: Grade, minutes: Option<f64>) -> Event {
        Event {
            machine: "alder".parse().unwrap(),
            at: moment(clock),
            by: None,
            kind: EventKind::TemperTest(TemperTest {
                gloss: Grade::Good,
                contraction: Grade::Good,
                snap,
                minutes,
            }),
            raw: "{}".to_owned(),
        }
    }

    fn seen(lane: &Lane, smear: Option<&str>, now: &str) -> TestView {
        let smear = smear.map(|clock| Smear { machine: lane.machine.clone(), by: None, at: moment(clock) });
        made_up::with_scene(moment(now), |scene| TestView::new(scene, lane, smear.as_ref()))
    }

    fn smear_says(lane: &Lane, smear: &str, now: &str) -> Option<String> {
        seen(lane, Some(smear), now).smear.map(|smear| smear.says.replace('\u{a0}', " "))
    }

    #[test]
    fn a_smear_cools_is_ready_and_expires() {
        let working = lane("alder", Phase::Working);
        let says = |now: &str| smear_says(&working, "12:02", now);
        assert_eq!(says("12:06").as_deref(), Some("The smear cools: ready at 12:12, in 6 min."));
        assert_eq!(
            says("12:13").as_deref(),
            Some("The smear is ready since 12:12: judge it and enter the result.")
        );
        assert!(says("12:33").unwrap().contains("was not judged in time"));
        assert_eq!(says("14:30"), None);
    }

    #[test]
    fn a_judged_smear_and_one_of_an_earlier_batch_are_over() {
        let mut working = lane("alder", Phase::Working);
        assert_eq!(smear_says(&working, "08:59", "09:01"), None);
        working.last_test = Some(test("12:12", Grade::Good, None));
        assert_eq!(smear_says(&working, "12:02", "12:13"), None);
    }

    #[test]
    fn a_test_has_its_grade_and_expires_when_the_next_is_due() {
        let mut working = lane("alder", Phase::Working);
        working.last_test = Some(test("11:00", Grade::Good, Some(6.0)));
        working.test_due =
            Some(TestDue { at: moment("12:00"), why: "the last one will be too old".to_owned() });
        let fresh = seen(&working, None, "11:35");
        assert_eq!((fresh.says.as_str(), fresh.class), ("passed, 35\u{a0}min ago", "good"));
        assert_eq!(fresh.due.unwrap().says, "next due in 25\u{a0}min");
        assert_eq!(fresh.grade.unwrap().letter, "B");
        let old = seen(&working, None, "12:05");
        assert_eq!((old.says.as_str(), old.class), ("passed, 1\u{a0}h 5\u{a0}min ago, expired", "open"));
        assert_eq!(old.due.unwrap().says, "overdue by 5\u{a0}min");
    }
}

//! The whole works: the line in words at the top, and the lanes in the order in which they need someone.

use model::{Board, MachineId};
use serde::Serialize;

use super::{Chip, FindingView, LaneView, Scene};
use crate::state::Health;
use crate::urgency::{Urgency, by_urgency, urgency};
use crate::words;

/// The whole works.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FloorView {
    pub headline: Headline,
    pub lanes: Vec<LaneView>,
    /// Open findings of the plant.
    pub plant_open: Vec<FindingView>,
    /// What is wrong with the service itself, in sentences.
    pub troubles: Vec<String>,
}

/// How the works stands, in one line.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Headline {
    pub chip: Chip,
    pub says: String,
    /// What else there is to know, in a shorter line.
    pub also: String,
}

impl FloorView {
    /// The lanes of `only` (all, if it is empty) as they stand.
    pub(crate) fn new(scene: Scene<'_>, board: &Board, health: &Health, only: &[MachineId]) -> FloorView {
        let wanted = |id: &MachineId| only.is_empty() || only.contains(id);
        let ordered: Vec<_> =
            by_urgency(board, scene.now).into_iter().filter(|lane| wanted(&lane.machine)).collect();
        let urgencies: Vec<_> = ordered.iter().map(|lane| urgency(lane, scene.now)).collect();
        let lanes: Vec<_> = ordered.iter().filter_map(|lane| LaneView::new(scene, lane)).collect();
        FloorView {
            headline: headline(&lanes, &urgencies),
            plant_open: board.plant_open.iter().map(|finding| FindingView::new(scene, finding)).collect(),
            troubles: health.says(),
            lanes,
        }
    }
}

fn headline(lanes: &[LaneView], urgencies: &[Urgency]) -> Headline {
    let count = |wanted: fn(&Urgency) -> bool| urgencies.iter().filter(|urgency| wanted(urgency)).count();
    let now = count(|urgency| matches!(urgency, Urgency::Now(_)));
    let soon = count(|urgency| matches!(urgency, Urgency::Soon(_)));
    let old: Vec<&str> = lanes.iter().filter(|lane| !lane.live).map(|lane| lane.name.as_str()).collect();
    let first_says = lanes.first().and_then(|lane| lane.first.as_ref()).map_or("", |finding| &finding.says);
    let first_name = lanes.first().map_or("", |lane| &lane.name);
    let (chip, says) = if lanes.is_empty() {
        (Chip { class: "open", word: "Nothing yet" }, "No machine has reported yet.".to_owned())
    } else if now > 0 {
        (Chip { class: "now", word: "Now" }, format!("{first_name} needs someone now: {first_says}"))
    } else if soon > 0 {
        (Chip { class: "soon", word: "Soon" }, format!("{first_name} needs someone soon: {first_says}"))
    } else if old.len() == lanes.len() {
        (Chip { class: "soon", word: "Not live" }, "Nothing arrives from any machine.".to_owned())
    } else {
        (Chip { class: "good", word: "Quiet" }, quiet(lanes, urgencies))
    };
    Headline { chip, says, also: also(now, soon, &old, lanes) }
}

/// Nobody is needed: then what matters is who is ready and who is next.
fn quiet(lanes: &[LaneView], urgencies: &[Urgency]) -> String {
    let next = lanes.iter().zip(urgencies).find_map(|(lane, urgency)| match urgency {
        Urgency::NearlyReady(_) | Urgency::UnderWay(_) => lane.ready.as_ref().map(|ready| (lane, ready)),
        Urgency::Now(_)
        | Urgency::Soon(_)
        | Urgency::Later(_)
        | Urgency::Working
        | Urgency::UnderWayWithoutForecast
        | Urgency::Idle => None,
    });
    match next {
        Some((lane, ready)) => {
            format!(
                "Nobody is needed. {} should be ready at {}, {}.",
                lane.name, ready.at.says, ready.give_or_take
            )
        }
        None => "Nobody is needed.".to_owned(),
    }
}

fn also(now: usize, soon: usize, old: &[&str], lanes: &[LaneView]) -> String {
    /// More names than this are not read but counted.
    const NAMED: usize = 3;
    let mut parts = Vec::new();
    if now > 1 {
        parts.push(format!("{} more now", now - 1));
    }
    let soon_besides = if now > 0 { soon } else { soon.saturating_sub(1) };
    if soon_besides > 0 {
        parts.push(format!("{soon_besides} more soon"));
    }
    let working = lanes.iter().filter(|lane| lane.phase == words::phase(model::Phase::Working)).count();
    if working > 0 {
        parts.push(format!("{working} of {} working", lanes.len()));
    }
    match old.len() {
        0 => {}
        1..=NAMED => parts.push(format!("nothing arrives from {}", old.join(", "))),
        many => parts.push(format!("nothing arrives from {many} machines")),
    }
    let mut says = parts.join(" · ");
    if let Some(first) = says.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{finding, healthy, lane, moment, with_scene};
    use model::{FindingKind, Forecast, Lane, Phase, Priority, Span};

    fn headline_of(lanes: Vec<Lane>, now: &str) -> String {
        let board = Board { at: moment(now), lanes, plant_open: Vec::new(), baselines: Vec::new() };
        let head = with_scene(moment(now), |scene| FloorView::new(scene, &board, &healthy(), &[]).headline);
        format!("{} | {} | {}", head.chip.word, head.says, head.also).replace('\u{a0}', " ")
    }

    fn warm(machine: &str, priority: Priority) -> Lane {
        let mut warm = lane(machine, Phase::Working);
        warm.open.push(finding(&warm.machine, FindingKind::WarmHold, priority, "11:50"));
        warm
    }

    #[test]
    fn the_headline_names_the_machine_that_needs_someone() {
        let lanes = vec![
            lane("alder", Phase::Working),
            warm("birch", Priority::Medium),
            warm("cedar", Priority::High),
        ];
        assert_eq!(
            headline_of(lanes, "12:00"),
            "Now | Cedar needs someone now: The chocolate has been above its working range for 5 min. | \
             1 more soon · 3 of 3 working"
        );
    }

    #[test]
    fn when_nobody_is_needed_it_says_who_is_next() {
        let mut cooling = lane("birch", Phase::Cooling);
        cooling.forecast = Some(Forecast { at: moment("12:20"), give_or_take: Span::from_mins(4) });
        assert_eq!(
            headline_of(vec![lane("alder", Phase::Idle), cooling], "12:00"),
            "Quiet | Nobody is needed. Birch should be ready at 12:20, ± 4 min. | "
        );
    }

    #[test]
    fn silence_is_not_quiet() {
        let lanes = vec![lane("alder", Phase::Idle), lane("birch", Phase::Idle)];
        assert_eq!(
            headline_of(lanes, "12:30"),
            "Not live | Nothing arrives from any machine. | Nothing arrives from Alder, Birch"
        );
        assert_eq!(headline_of(Vec::new(), "12:00"), "Nothing yet | No machine has reported yet. | ");
    }
}

//! The whole works: the line in words at the top, and the lanes in the order in which they need someone.

use alarms::Listing;
use model::Board;
use serde::Serialize;

use super::{Chip, FindingView, LaneView, Room, Scene};
use crate::page_file::PageFile;
use crate::smears::ByMachine;
use crate::state::Health;
use crate::urgency::{Urgency, by_urgency, urgency};
use crate::words;

/// From more lanes than this on, each is a card and not a row: a wall screen shows them all.
const ROWS: usize = 12;

/// The whole works.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FloorView {
    pub headline: Headline,
    pub areas: Vec<AreaView>,
    /// All lanes, the one that needs someone first on top.
    pub order: Vec<String>,
    /// Are there so many that each is a card?
    pub is_many: bool,
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

/// A part of the works that people go to as one.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AreaView {
    /// `None` where the page names no areas.
    pub name: Option<String>,
    pub lanes: Vec<LaneView>,
}

impl FloorView {
    /// The lanes of `page` as they stand.
    pub(crate) fn new(
        scene: Scene<'_>,
        board: &Board,
        smears: &ByMachine,
        alarms: &Listing,
        health: &Health,
        page: &PageFile,
    ) -> FloorView {
        let ordered: Vec<_> =
            by_urgency(board, scene.now).into_iter().filter(|lane| page.has(&lane.machine)).collect();
        let urgencies: Vec<_> = ordered.iter().map(|lane| urgency(lane, scene.now)).collect();
        let room = if ordered.len() <= ROWS { Room::Row } else { Room::Card };
        let lanes: Vec<_> =
            ordered.iter().filter_map(|lane| LaneView::new(scene, lane, smears, alarms, room)).collect();
        // What has just come over all of them is told first: after a power cut the silence, not what was open before.
        let mut plant_open: Vec<_> = board.plant_open.iter().collect();
        plant_open.sort_by_key(|finding| std::cmp::Reverse((finding.priority, finding.raised_at)));
        let plant_open: Vec<_> =
            plant_open.into_iter().map(|finding| FindingView::new(scene, finding)).collect();
        FloorView {
            headline: headline(&lanes, &urgencies, plant_open.first()),
            plant_open,
            troubles: health.says(),
            order: lanes.iter().map(|lane| lane.id.clone()).collect(),
            is_many: room == Room::Card,
            areas: by_area(lanes, page),
        }
    }

    /// The lanes, area by area.
    pub(crate) fn lanes(&self) -> impl Iterator<Item = &LaneView> {
        self.areas.iter().flat_map(|area| &area.lanes)
    }
}

/// Lanes in the areas of the page, each in their own order; those that stand in none come last.
fn by_area(mut lanes: Vec<LaneView>, page: &PageFile) -> Vec<AreaView> {
    let mut areas = Vec::new();
    for area in &page.areas {
        let (here, elsewhere): (Vec<_>, Vec<_>) =
            lanes.into_iter().partition(|lane| area.machines.iter().any(|id| id.as_str() == lane.id));
        lanes = elsewhere;
        if !here.is_empty() {
            areas.push(AreaView { name: Some(area.name.clone()), lanes: here });
        }
    }
    if !lanes.is_empty() {
        let name = (!areas.is_empty()).then(|| "Elsewhere".to_owned());
        areas.push(AreaView { name, lanes });
    }
    areas
}

fn headline(lanes: &[LaneView], urgencies: &[Urgency], of_the_plant: Option<&FindingView>) -> Headline {
    let count = |wanted: fn(&Urgency) -> bool| urgencies.iter().filter(|urgency| wanted(urgency)).count();
    let now = count(|urgency| matches!(urgency, Urgency::Now(_)));
    let soon = count(|urgency| matches!(urgency, Urgency::Soon(_)));
    let old: Vec<&str> = lanes.iter().filter(|lane| !lane.live).map(|lane| lane.name.as_str()).collect();
    let first_says = lanes.first().and_then(|lane| lane.first.as_ref()).map_or("", |finding| &finding.says);
    let first_name = lanes.first().map_or("", |lane| &lane.name);
    let (chip, says) = if let Some(finding) = of_the_plant {
        // What several machines share comes before any one of them.
        (finding.chip, format!("{}: {}", finding.title, finding.says))
    } else if lanes.is_empty() {
        (Chip { class: "open", word: "Nothing yet" }, "No machine has reported yet.".to_owned())
    } else if now > 0 {
        (Chip { class: "now", word: "Now" }, format!("{first_name} needs someone now: {first_says}"))
    } else if soon > 0 {
        (Chip { class: "soon", word: "Soon" }, format!("{first_name} needs someone soon: {first_says}"))
    } else if old.len() == lanes.len() {
        (Chip { class: "soon", word: "Not live" }, "Nothing arrives from any machine.".to_owned())
    } else if let Some(missed) = missed(lanes) {
        (Chip { class: "soon", word: "Not live" }, missed)
    } else {
        (Chip { class: "good", word: "Quiet" }, quiet(lanes, urgencies))
    };
    Headline { chip, says, also: also(now, soon, &old, lanes) }
}

/// A machine with chocolate in it from which nothing arrives is not known to be well. An idle one may be switched off.
fn missed(lanes: &[LaneView]) -> Option<String> {
    let idle = words::phase(model::Phase::Idle);
    let missed: Vec<&LaneView> = lanes.iter().filter(|lane| !lane.live && lane.phase != idle).collect();
    match missed.as_slice() {
        [] => None,
        [one] => Some(format!("Nothing arrives from {}: how it stands is not known.", one.name)),
        many => Some(format!(
            "Nothing arrives from {} of {} machines: how they stand is not known.",
            many.len(),
            lanes.len()
        )),
    }
}

/// Nobody is needed: then what matters is who is ready and who is next.
fn quiet(lanes: &[LaneView], urgencies: &[Urgency]) -> String {
    let next = lanes.iter().zip(urgencies).find_map(|(lane, urgency)| match urgency {
        Urgency::NearlyReady(_) | Urgency::UnderWay(_) => {
            lane.ready.as_ref().and_then(|ready| Some((lane, ready, ready.at.as_ref()?)))
        }
        Urgency::Now(_)
        | Urgency::Soon(_)
        | Urgency::Later(_)
        | Urgency::Working
        | Urgency::UnderWayWithoutForecast
        | Urgency::Idle => None,
    });
    match next {
        Some((lane, ready, at)) => {
            let margin = ready.give_or_take.as_ref().map_or_else(String::new, |margin| format!(", {margin}"));
            format!("Nobody is needed. {} should be ready at {}{margin}.", lane.name, at.says)
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
    use crate::page_file::parse_page_file;
    use model::{FindingKind, Forecast, Lane, Phase, Priority, Span};

    fn floor(scene: Scene<'_>, board: &Board, areas: &str) -> FloorView {
        let page = format!("title = \"Floor\"\nshows = \"works\"\nparts = []\n{areas}");
        FloorView::new(
            scene,
            board,
            &ByMachine::new(),
            &Listing::default(),
            &healthy(),
            &parse_page_file("floor.toml", &page).unwrap(),
        )
    }

    fn headline_of(lanes: Vec<Lane>, now: &str) -> String {
        let board = Board { at: moment(now), lanes, plant_open: Vec::new(), baselines: Vec::new() };
        let head = with_scene(moment(now), |scene| floor(scene, &board, "").headline);
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
    fn what_machines_share_comes_before_any_of_them() {
        let mut shared =
            finding(&"alder".parse().unwrap(), FindingKind::CommonCause, Priority::High, "11:55");
        shared.machine = None;
        let board = Board {
            at: moment("12:00"),
            lanes: vec![warm("alder", Priority::High)],
            plant_open: vec![shared],
            baselines: Vec::new(),
        };
        let head = with_scene(moment("12:00"), |scene| floor(scene, &board, "").headline);
        assert!(head.says.starts_with("The same trouble on several machines: "), "{}", head.says);
    }

    #[test]
    fn lanes_stand_in_their_areas_the_most_urgent_first() {
        let lanes = vec![
            lane("alder", Phase::Idle),
            lane("birch", Phase::Working),
            warm("cedar", Priority::High),
            warm("ash", Priority::Medium),
        ];
        let board = Board { at: moment("12:00"), lanes, plant_open: Vec::new(), baselines: Vec::new() };
        let areas = "[[area]]\nname = \"Moulding\"\nmachines = [\"alder\", \"ash\"]\n";
        let seen = with_scene(moment("12:00"), |scene| floor(scene, &board, areas));
        let said: Vec<String> = seen
            .areas
            .iter()
            .map(|area| {
                let ids: Vec<_> = area.lanes.iter().map(|lane| lane.id.as_str()).collect();
                format!("{}: {}", area.name.as_deref().unwrap_or_default(), ids.join(" "))
            })
            .collect();
        assert_eq!(said, ["Moulding: ash alder", "Elsewhere: cedar birch"]);
        assert_eq!(seen.order.join(" "), "cedar ash birch alder");
    }

    #[test]
    fn silence_is_not_quiet() {
        let lanes = vec![lane("alder", Phase::Idle), lane("birch", Phase::Idle)];
        assert_eq!(
            headline_of(lanes, "12:30"),
            "Not live | Nothing arrives from any machine. | Nothing arrives from Alder, Birch"
        );
        let mut silent = lane("cedar", Phase::Working);
        silent.latest = [None; model::Channel::ALL.len()];
        assert_eq!(
            headline_of(vec![lane("alder", Phase::Working), silent], "12:00"),
            "Not live | Nothing arrives from Cedar: how it stands is not known. | \
             2 of 2 working · nothing arrives from Cedar"
        );
        assert_eq!(headline_of(Vec::new(), "12:00"), "Nothing yet | No machine has reported yet. | ");
    }
}

//! Who is needed first: the order of the lanes on the floor page.
//!
//! A person reads from the top, so the top is where a hand is needed. The order is:
//!
//! 1. an open finding of high priority, the one that has waited longest first;
//! 2. an open finding of medium priority, likewise;
//! 3. ready within half an hour, the earliest first: somebody must be there with seed, moulds or a temper test;
//! 4. an open finding of low priority, likewise by age;
//! 5. working: chocolate that may be waiting to be used;
//! 6. under way, the one to be ready first on top, those without a forecast last;
//! 7. idle.
//!
//! Where two are equal the plant file's order stands, so that lanes do not change places for nothing.

use model::{Board, Lane, Phase, Priority, Span, Timestamp};

/// Long enough to finish a tray and fetch seed, short enough to mean something.
const SOON_READY: Span = Span::from_mins(30);

/// How urgently a lane needs a person, the most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Urgency {
    /// An open finding of high priority, raised then.
    Now(Timestamp),
    /// An open finding of medium priority, raised then.
    Soon(Timestamp),
    /// Ready within half an hour, then.
    NearlyReady(Timestamp),
    /// An open finding of low priority, raised then.
    Later(Timestamp),
    /// Working, nothing open.
    Working,
    /// On its way, to be ready then.
    UnderWay(Timestamp),
    /// On its way, nobody can say for how long.
    UnderWayWithoutForecast,
    /// Nothing in it.
    Idle,
}

/// How urgently `lane` needs a person.
pub(crate) fn urgency(lane: &Lane, now: Timestamp) -> Urgency {
    let oldest = |priority: Priority| {
        lane.open.iter().filter(|finding| finding.priority == priority).map(|finding| finding.raised_at).min()
    };
    if let Some(raised_at) = oldest(Priority::High) {
        return Urgency::Now(raised_at);
    }
    if let Some(raised_at) = oldest(Priority::Medium) {
        return Urgency::Soon(raised_at);
    }
    let ready_at = lane.forecast.map(|forecast| forecast.at);
    if let Some(at) = ready_at.filter(|&at| at.since(now) <= SOON_READY) {
        return Urgency::NearlyReady(at);
    }
    if let Some(raised_at) = oldest(Priority::Low) {
        return Urgency::Later(raised_at);
    }
    match (lane.phase, ready_at) {
        (Phase::Idle, _) => Urgency::Idle,
        (Phase::Working, _) => Urgency::Working,
        (Phase::Melting | Phase::Soak | Phase::Cooling | Phase::Settling | Phase::Rewarming, Some(at)) => {
            Urgency::UnderWay(at)
        }
        (Phase::Melting | Phase::Soak | Phase::Cooling | Phase::Settling | Phase::Rewarming, None) => {
            Urgency::UnderWayWithoutForecast
        }
    }
}

/// The lanes, the one that needs someone first on top.
pub(crate) fn by_urgency(board: &Board, now: Timestamp) -> Vec<&Lane> {
    let mut lanes: Vec<&Lane> = board.lanes.iter().collect();
    lanes.sort_by_key(|lane| urgency(lane, now));
    lanes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{finding, lane, moment};
    use model::{FindingKind, Forecast};

    fn order(lanes: Vec<Lane>) -> String {
        let board = Board { at: moment("12:00"), lanes, plant_open: Vec::new(), baselines: Vec::new() };
        let ids: Vec<_> = by_urgency(&board, moment("12:00")).iter().map(|l| l.machine.to_string()).collect();
        ids.join(" ")
    }

    fn with(mut lane: Lane, priority: Priority, raised: &str) -> Lane {
        lane.open.push(finding(&lane.machine, FindingKind::WarmHold, priority, raised));
        lane
    }

    fn ready(mut lane: Lane, at: &str) -> Lane {
        lane.forecast = Some(Forecast { at: moment(at), give_or_take: Span::from_mins(5) });
        lane
    }

    #[test]
    fn the_one_that_needs_someone_first_is_on_top() {
        let lanes = vec![
            lane("idle", Phase::Idle),
            lane("melting", Phase::Melting),
            ready(lane("cooling-late", Phase::Cooling), "13:30"),
            lane("working", Phase::Working),
            with(lane("low", Phase::Working), Priority::Low, "11:00"),
            ready(lane("nearly", Phase::Cooling), "12:20"),
            with(lane("medium", Phase::Working), Priority::Medium, "11:50"),
            with(lane("high", Phase::Working), Priority::High, "11:58"),
        ];
        assert_eq!(order(lanes), "high medium nearly low working cooling-late melting idle");
    }

    #[test]
    fn among_equals_the_longest_wait_comes_first_and_then_the_plant_files_order() {
        let lanes = vec![
            with(lane("later", Phase::Working), Priority::High, "11:58"),
            with(with(lane("earlier", Phase::Working), Priority::Low, "09:00"), Priority::High, "11:40"),
            lane("first", Phase::Working),
            lane("second", Phase::Working),
        ];
        assert_eq!(order(lanes), "earlier later first second");
    }

    #[test]
    fn a_finding_outweighs_readiness_and_an_overdue_forecast_is_still_near() {
        let lanes = vec![
            ready(lane("overdue", Phase::Settling), "11:45"),
            with(ready(lane("ready-but-low", Phase::Cooling), "12:10"), Priority::Low, "11:00"),
            with(ready(lane("ready-but-medium", Phase::Cooling), "12:10"), Priority::Medium, "11:59"),
        ];
        assert_eq!(order(lanes), "ready-but-medium overdue ready-but-low");
    }
}

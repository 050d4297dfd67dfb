//! One machine as it stands: the lane of the floor page and the head of the machine page.

use alarms::Listing;
use charts::{Ruler, Width};
use model::{Channel, Lane, Phase, Span, Standing, Timestamp};
use plant::{Limits, Machine};
use serde::Serialize;

use super::temper_test::TestView;
use super::{Chip, FindingView, Moment, Scene};
use crate::smears::ByMachine;
use crate::urgency::{Urgency, urgency};
use crate::words::{self, Trend};

/// The contract's limit for `silent`: a value older than this is not the temperature of now.
const STALE_AFTER: Span = Span::from_secs(60);

/// Somebody has to be at hand anyway when a charge may be ready within this time.
const SOON: Span = Span::from_mins(10);

/// One machine as it stands.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct LaneView {
    pub id: String,
    pub name: String,
    pub href: String,
    pub couverture: String,
    pub chip: Chip,
    /// `31.4`; `None` without a usable value.
    pub temperature: Option<String>,
    /// `°C`
    pub unit: &'static str,
    pub trend: Option<TrendView>,
    /// The band ruler, an SVG drawing.
    pub ruler: String,
    pub phase: &'static str,
    pub phase_for: Option<String>,
    pub phase_since: Option<Moment>,
    pub ready: Option<Ready>,
    pub test: TestView,
    pub standing: Option<Chip>,
    pub batch_href: Option<String>,
    /// The most urgent finding.
    pub first: Option<FindingView>,
    /// How many more are open.
    pub more: usize,
    /// What to do where no finding says so.
    pub prompt: Option<&'static str>,
    /// Is the temperature that of now?
    pub live: bool,
    /// How old it is, in words.
    pub age: String,
    /// Is it one of many, and said in few words?
    pub is_small: bool,
    /// Other channels with a value: name and value with its unit.
    pub others: Vec<(&'static str, String)>,
}

/// Which way it goes.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct TrendView {
    pub word: &'static str,
    pub rate: String,
}

/// When it will be ready.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Ready {
    /// `in 25 min`, `4 min overdue`, `too early to say`
    pub within: String,
    /// `± 6 min`; `None` where it is as wide as the time itself.
    pub give_or_take: Option<String>,
    /// `None` where it is too early to say.
    pub at: Option<Moment>,
}

/// How much room a lane has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Room {
    /// A row of its own.
    Row,
    /// A card among many.
    Card,
}

impl LaneView {
    /// A machine from which nothing has come yet.
    pub(crate) fn unseen(scene: Scene<'_>, machine: &Machine, room: Room) -> LaneView {
        let limits = scene.plant.limits(machine, &machine.couverture);
        LaneView {
            id: machine.id.to_string(),
            name: machine.name.clone(),
            href: format!("/machines/{}", machine.id),
            couverture: couverture_name(scene, &machine.couverture),
            chip: Chip { class: "open", word: "Nothing yet" },
            temperature: None,
            unit: scene.degrees.unit(),
            trend: None,
            ruler: ruler(scene, &limits, None, None, room),
            phase: "–",
            phase_for: None,
            phase_since: None,
            ready: None,
            test: TestView::none(),
            standing: None,
            batch_href: None,
            first: None,
            more: 0,
            prompt: None,
            live: false,
            age: "no reading yet".to_owned(),
            others: Vec::new(),
            is_small: room == Room::Card,
        }
    }

    /// `None` if the plant file does not know the machine.
    pub(crate) fn new(
        scene: Scene<'_>,
        lane: &Lane,
        smears: &ByMachine,
        alarms: &Listing,
        room: Room,
    ) -> Option<LaneView> {
        let machine = scene.plant.machine(&lane.machine)?;
        let couverture = lane.batch.as_ref().map_or(&machine.couverture, |batch| &batch.couverture);
        let limits = scene.plant.limits(machine, couverture);
        let latest = lane.latest(Channel::Chocolate);
        let value = latest.and_then(|latest| latest.value);
        let age = latest.map(|latest| scene.now.since(latest.at));
        // A machine from which nothing has come is idle since the beginning of time, which is nothing to tell.
        let phase_since = Some(lane.phase_since).filter(|since| Timestamp::default() < *since);
        let live = age.is_some_and(|age| age <= STALE_AFTER);
        // What goes on while nothing arrives is not known.
        let known_to = latest.map_or(scene.now, |latest| if live { scene.now } else { latest.at });
        Some(LaneView {
            id: lane.machine.to_string(),
            name: machine.name.clone(),
            href: format!("/machines/{}", lane.machine),
            couverture: couverture_name(scene, couverture),
            chip: chip(urgency(lane, scene.now)),
            temperature: value.map(|celsius| words::bare_temperature(celsius, scene.degrees)),
            unit: scene.degrees.unit(),
            trend: lane.slope_c_per_min.filter(|_| live && value.is_some()).map(|slope| TrendView {
                word: Trend::of(slope).word(),
                rate: words::rate(slope.abs(), scene.degrees),
            }),
            ruler: ruler(scene, &limits, value, lane.ten_minutes_ago_c, room),
            phase: words::phase(lane.phase),
            phase_for: phase_since.map(|since| words::length(known_to.since(since))),
            phase_since: phase_since.map(|since| scene.moment(since)),
            ready: ready(scene, lane),
            test: TestView::new(scene, lane, smears.get(&lane.machine)),
            standing: lane.batch.as_ref().map(|batch| standing_chip(batch.standing)),
            batch_href: lane.batch.as_ref().map(|batch| format!("/batches/{}", batch.id)),
            first: lane.open.first().map(|finding| FindingView::with_alarm(scene, finding, alarms)),
            more: lane.open.len().saturating_sub(1),
            prompt: prompt(lane).filter(|_| live),
            live,
            age: match age {
                None => "no reading yet".to_owned(),
                Some(age) if live => words::ago(age),
                Some(age) => format!("no reading for {}", words::length(age)),
            },
            others: others(scene, lane, live),
            is_small: room == Room::Card,
        })
    }
}

fn ruler(
    scene: Scene<'_>,
    limits: &Limits,
    chocolate_c: Option<f64>,
    ten_minutes_ago_c: Option<f64>,
    room: Room,
) -> String {
    let ruler = Ruler {
        chocolate_c,
        ten_minutes_ago_c,
        floor_c: limits.floor,
        working: limits.working,
        temper_loss_c: limits.temper_loss,
        melt: limits.melt,
        scorch_c: limits.scorch,
        width: Width::Narrow,
        degrees: scene.degrees,
    };
    match room {
        Room::Row => ruler.svg(),
        Room::Card => ruler.strip(),
    }
}

fn couverture_name(scene: Scene<'_>, id: &model::CouvertureId) -> String {
    scene.plant.couverture(id).map_or_else(|| id.to_string(), |known| words::tied(known.display_name()))
}

fn chip(urgency: Urgency) -> Chip {
    let (class, word) = match urgency {
        Urgency::Now(_) => ("now", "Now"),
        Urgency::Soon(_) => ("soon", "Soon"),
        Urgency::NearlyReady(_) => ("ready", "Nearly ready"),
        Urgency::Later(_) => ("later", "Later"),
        Urgency::Working => ("quiet", "Working"),
        Urgency::UnderWay(_) | Urgency::UnderWayWithoutForecast => ("quiet", "Under way"),
        Urgency::Idle => ("quiet", "Idle"),
    };
    Chip { class, word }
}

/// The chip of a standing.
pub(super) fn standing_chip(standing: Standing) -> Chip {
    let class = match standing {
        Standing::InTemper => "good",
        Standing::Doubtful => "soon",
        Standing::OffTemper => "now",
        Standing::Unproven => "open",
    };
    Chip { class, word: words::standing(standing) }
}

fn ready(scene: Scene<'_>, lane: &Lane) -> Option<Ready> {
    let forecast = lane.forecast?;
    let left = forecast.at.since(scene.now);
    let margin = forecast.give_or_take;
    let is_wide = left.max(-left) <= margin;
    let is_early = is_wide && Span::ZERO < left && SOON < left + margin;
    Some(Ready {
        within: if is_early {
            "too early to say".to_owned()
        } else if left < Span::ZERO {
            format!("{} overdue", words::length(-left))
        } else if left < Span::from_mins(1) {
            "any moment".to_owned()
        } else {
            format!("in {}", words::length(left))
        },
        give_or_take: (!is_wide).then(|| format!("±\u{a0}{}", words::length(margin))),
        at: (!is_early).then(|| scene.moment(forecast.at)),
    })
}

/// What to do where no finding says so: working chocolate that nobody has tested is not known to be in temper.
fn prompt(lane: &Lane) -> Option<&'static str> {
    let untested = lane.open.is_empty() && lane.phase == Phase::Working && lane.last_test.is_none();
    untested.then_some("Make a temper test: temperature alone never proves temper.")
}

/// The other channels; of a machine that is not heard with the age of each, so that nobody takes them for now.
fn others(scene: Scene<'_>, lane: &Lane, live: bool) -> Vec<(&'static str, String)> {
    let value = |channel: Channel| {
        let latest = lane.latest(channel)?;
        let value = latest.value?;
        let says = match channel {
            Channel::Stirrer if value == 0.0 => "stopped".to_owned(),
            Channel::Stirrer if value == 1.0 => "running".to_owned(),
            Channel::Stirrer => format!("{value:.0}\u{a0}turns/min"),
            Channel::Humidity => format!("{value:.0}\u{a0}%RH"),
            Channel::Chocolate | Channel::Jacket | Channel::Room | Channel::Setpoint => {
                scene.temperature(value)
            }
            Channel::Motor => format!("{value:.1}\u{a0}{}", channel.unit()),
        };
        Some(if live { says } else { format!("{says}, {}", words::ago(scene.now.since(latest.at))) })
    };
    let name = |channel: Channel| match channel {
        Channel::Chocolate => "Chocolate",
        Channel::Jacket => "Jacket",
        Channel::Room => "Room",
        Channel::Humidity => "Humidity",
        Channel::Setpoint => "Set-point",
        Channel::Stirrer => "Stirrer",
        Channel::Motor => "Motor",
    };
    Channel::ALL
        .into_iter()
        .filter(|channel| *channel != Channel::Chocolate)
        .filter_map(|channel| Some((name(channel), value(channel)?)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{self, lane, moment};
    use model::{FindingKind, Forecast, Priority};

    fn view(lane: &Lane, now: &str) -> LaneView {
        made_up::with_scene(moment(now), |scene| {
            LaneView::new(scene, lane, &ByMachine::new(), &Listing::default(), Room::Row).unwrap()
        })
    }

    #[test]
    fn a_quiet_lane_says_how_it_stands() {
        let seen = view(&lane("alder", Phase::Working), "12:00");
        assert_eq!(
            (seen.name.as_str(), seen.temperature.as_deref(), seen.chip.word),
            ("Alder", Some("31.5"), "Working")
        );
        assert_eq!((seen.phase, seen.phase_for.as_deref()), ("Working", Some("1\u{a0}h")));
        assert_eq!(seen.prompt, Some("Make a temper test: temperature alone never proves temper."));
        assert!(seen.live);
    }

    #[test]
    fn an_old_value_is_said_to_be_old_and_has_no_direction() {
        let seen = view(&lane("alder", Phase::Working), "12:05");
        assert!(!seen.live);
        assert_eq!(seen.age, "no reading for 5\u{a0}min");
        assert!(seen.trend.is_none());
    }

    #[test]
    fn readiness_has_its_margin_and_an_overdue_one_says_so() {
        let mut cooling = lane("alder", Phase::Cooling);
        cooling.forecast = Some(Forecast { at: moment("12:25"), give_or_take: Span::from_mins(6) });
        let ready = view(&cooling, "12:00").ready.unwrap();
        assert_eq!(
            (ready.within.as_str(), ready.give_or_take.as_deref()),
            ("in 25\u{a0}min", Some("±\u{a0}6\u{a0}min"))
        );
        assert_eq!(view(&cooling, "12:29").ready.unwrap().within, "4\u{a0}min overdue");
    }

    #[test]
    fn a_margin_as_wide_as_the_time_is_no_forecast() {
        let mut cooling = lane("alder", Phase::Cooling);
        let mut ready = |give_or_take| {
            cooling.forecast =
                Some(Forecast { at: moment("12:25"), give_or_take: Span::from_mins(give_or_take) });
            let ready = view(&cooling, "12:00").ready.unwrap();
            (ready.within, ready.give_or_take.is_some(), ready.at.is_some())
        };
        assert_eq!(ready(24), ("in 25\u{a0}min".to_owned(), true, true));
        assert_eq!(ready(25), ("too early to say".to_owned(), false, false));
        cooling.forecast = Some(Forecast { at: moment("12:25"), give_or_take: Span::from_mins(4) });
        let ready = view(&cooling, "12:22").ready.unwrap();
        assert_eq!((ready.within.as_str(), ready.give_or_take), ("in 3\u{a0}min", None));
    }

    #[test]
    fn a_rate_is_told_by_the_minute() {
        let mut rising = lane("alder", Phase::Melting);
        rising.slope_c_per_min = Some(8.7);
        assert_eq!(view(&rising, "12:00").trend.unwrap().rate.replace('\u{a0}', " "), "8.7 °C/min");
        rising.slope_c_per_min = Some(-0.45);
        assert_eq!(view(&rising, "12:00").trend.unwrap().rate.replace('\u{a0}', " "), "0.45 °C/min");
    }

    #[test]
    fn the_most_urgent_finding_stands_in_the_lane_and_the_rest_are_counted() {
        let mut warm = lane("alder", Phase::Working);
        for (priority, raised) in [(Priority::High, "11:50"), (Priority::Low, "11:40")] {
            warm.open.push(made_up::finding(&warm.machine, FindingKind::WarmHold, priority, raised));
        }
        let seen = view(&warm, "12:00");
        assert_eq!((seen.first.unwrap().chip.word, seen.more, seen.prompt), ("Now", 1, None));
    }
}

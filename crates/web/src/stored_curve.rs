//! The cooling curve of a sample whose probe reports to a channel of its own: taken from the stored readings, and judged like one that is sent
//! along or comes as a table.

use jiff::civil::DateTime;
use model::{Board, Channel, MachineId, Span, Timestamp};
use plant::Plant;
use serde_json::{Value, json};

use crate::app::App;
use crate::problem::Problem;
use crate::query::Params;
use crate::words::LocalTime;

/// Channels that a sample's probe can report to.
const SAMPLED: [Channel; 3] = [Channel::Chocolate, Channel::Jacket, Channel::Room];
/// A sample has set long before (common practice, no source).
const LONGEST: Span = Span::from_hours(3);

/// What the form offers.
#[derive(Debug, Clone, serde::Serialize)]
pub(crate) struct Offer {
    /// `fir/chocolate`, `Fir bench, chocolate`
    channels: Vec<(String, String)>,
}

impl Offer {
    /// Every channel that reports, but the chocolate of `machine` itself: a charge is no sample.
    pub(crate) fn new(plant: &Plant, board: &Board, machine: &MachineId) -> Offer {
        let mut channels = Vec::new();
        for lane in &board.lanes {
            let Some(known) = plant.machine(&lane.machine) else { continue };
            for channel in SAMPLED {
                let is_charge = lane.machine == *machine && channel == Channel::Chocolate;
                if !is_charge && lane.latest(channel).is_some() {
                    let key = format!("{}/{}", lane.machine, channel);
                    channels.push((key, format!("{}, {}", known.name, crate::view::channel_word(channel))));
                }
            }
        }
        Offer { channels }
    }
}

/// Takes `channel`, `from` and `to` out of the fields of a form; the rest stays. `None` if it names no channel.
pub(crate) fn asked(fields: &mut Vec<(String, String)>) -> Option<Params> {
    let of_curve = |name: &str| ["channel", "from", "to"].contains(&name);
    let (own, rest): (Vec<_>, Vec<_>) =
        std::mem::take(fields).into_iter().partition(|(name, _)| of_curve(name));
    *fields = rest;
    own.iter().any(|(name, _)| name == "channel").then(|| Params::of(own))
}

/// Adds the curve that is asked for to `event`, a temper test of `machine`. The sample is of the moment at which its curve begins.
pub(crate) async fn add(
    app: &App,
    machine: &MachineId,
    asked: &Params,
    event: &mut Value,
) -> Result<(), Problem> {
    let refused = |says: String| Problem::refused("bad-curve", says);
    let name = asked.text("channel").unwrap_or_default();
    let (of, channel) = name.split_once('/').unwrap_or((name, ""));
    let of = app.machine(of)?.id.clone();
    let channel: Option<Channel> = channel.parse().ok().filter(|channel| SAMPLED.contains(channel));
    let channel =
        channel.filter(|channel| of != *machine || *channel != Channel::Chocolate).ok_or_else(|| {
            refused(
                "`channel` is that of the charge; a sample has a probe of its own: choose the channel to which that reports."
                    .to_owned(),
            )
        })?;
    let from = moment(app.local(), asked, "from")?;
    let to = moment(app.local(), asked, "to")?;
    if to <= from || LONGEST < to - from {
        let longest = crate::words::length(LONGEST);
        return Err(refused(format!(
            "`to` should be after the beginning of the curve, and within {longest} of it."
        )));
    }
    let series = app.series(&of, channel, from, to + Span::from_millis(1)).await?;
    let points: Vec<(Timestamp, f64)> =
        series.into_iter().filter_map(|(at, value)| Some((at, value?))).collect();
    let Some(&(first, _)) = points.first() else {
        return Err(refused(format!("`channel`: there is no reading of {name} in that time.")));
    };
    let every = points.len().div_ceil(wire::MOST_CURVE_POINTS);
    event["curve"] = points
        .iter()
        .step_by(every.max(1))
        .map(|(at, celsius)| json!([(*at - first).as_secs_f64(), celsius]))
        .collect();
    event["curve_channel"] = json!(name);
    event["at"] = json!(first.to_string());
    Ok(())
}

/// A moment on the reader's clock, as a form writes it.
fn moment(local: &LocalTime, asked: &Params, name: &str) -> Result<Timestamp, Problem> {
    let text = asked.text(name).unwrap_or_default();
    let told = text.parse::<DateTime>().ok().and_then(|at| local.rules().to_timestamp(at).ok());
    told.map(Timestamp::from).ok_or_else(|| {
        let shown: String = text.chars().take(40).collect();
        Problem::refused(
            "bad-curve",
            format!("`{name}` is `{shown}`, which is not a day and a time such as 2026-03-02T07:05:10."),
        )
    })
}

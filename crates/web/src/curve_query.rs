//! Which part of a curve is asked for: the span, the channels, the room.
//!
//! A span is either one of the usual ones, which move on with the time, or from one moment to another, as somebody has
//! zoomed. All of it stands in the address, so that a view can be sent to a colleague and comes back after a reload.

use charts::Width;
use model::{Channel, Lane, Span, Timestamp};

use crate::problem::Problem;
use crate::query::{Params, wrong};

/// The parameters that this reads.
pub(crate) const CURVE_PARAMETERS: [&str; 7] = ["span", "from", "to", "channels", "width", "at", "batch"];

/// Narrower than this there is nothing between two readings to see.
const SHORTEST: Span = Span::from_mins(2);

/// A month: more is for exports.
const LONGEST: Span = Span::from_hours(31 * 24);

/// Curves that a sheet shows unless others are asked for.
const USUAL_CHANNELS: [Channel; 3] = [Channel::Jacket, Channel::Setpoint, Channel::Chocolate];

/// A part of a curve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct CurveQuery {
    pub span: CurveSpan,
    /// In the order in which they are drawn: the chocolate last, over everything else.
    pub channels: Vec<Channel>,
    pub width: Width,
}

/// How much of the curve is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CurveSpan {
    /// The last hours, moving on.
    Last(u8),
    /// The batch as a whole.
    Batch,
    /// From one moment to another.
    Zoomed(Timestamp, Timestamp),
}

impl CurveSpan {
    /// Those that a page offers.
    pub(crate) const OFFERED: [CurveSpan; 4] =
        [CurveSpan::Last(3), CurveSpan::Last(12), CurveSpan::Last(24), CurveSpan::Batch];

    /// As the address says it.
    pub(crate) fn query(self) -> String {
        match self {
            CurveSpan::Last(hours) => format!("span={hours}h"),
            CurveSpan::Batch => "span=batch".to_owned(),
            CurveSpan::Zoomed(from, to) => format!("from={from}&to={to}"),
        }
    }

    pub(crate) fn word(self) -> String {
        match self {
            CurveSpan::Last(hours) => format!("{hours}\u{a0}h"),
            CurveSpan::Batch => "Whole batch".to_owned(),
            CurveSpan::Zoomed(..) => "Zoomed".to_owned(),
        }
    }

    fn read(params: &Params, usual: CurveSpan) -> Result<CurveSpan, Problem> {
        if let (Some(from), Some(to)) = (params.moment("from")?, params.moment("to")?) {
            if to - from < SHORTEST || LONGEST < to - from {
                return Err(wrong("to", &to.to_string(), "2 minutes to 31 days after `from`"));
            }
            return Ok(CurveSpan::Zoomed(from, to));
        }
        let Some(text) = params.text("span") else { return Ok(usual) };
        let offered = |span: &CurveSpan| span.query().strip_prefix("span=") == Some(text);
        let known = CurveSpan::OFFERED.into_iter().find(offered);
        known.ok_or_else(|| wrong("span", text, "3h, 12h, 24h or batch"))
    }

    /// The time that it covers; `whole` is what the batch covers.
    pub(crate) fn covers(
        self,
        whole: Option<(Timestamp, Timestamp)>,
        now: Timestamp,
    ) -> (Timestamp, Timestamp) {
        let back = |hours: u8| (now - Span::from_hours(i64::from(hours)), now);
        match self {
            CurveSpan::Last(hours) => back(hours),
            CurveSpan::Batch => whole.unwrap_or_else(|| back(12)),
            CurveSpan::Zoomed(from, to) => (from, to),
        }
    }
}

impl CurveQuery {
    pub(crate) fn of(span: CurveSpan) -> CurveQuery {
        CurveQuery { span, channels: USUAL_CHANNELS.to_vec(), width: Width::Wide }
    }

    /// What `params` ask for, and `usual` where they say nothing of the span.
    pub(crate) fn read(params: &Params, usual: CurveSpan) -> Result<CurveQuery, Problem> {
        let span = CurveSpan::read(params, usual)?;
        let channels = match params.text("channels") {
            None => USUAL_CHANNELS.to_vec(),
            Some(list) => channels(list)?,
        };
        Ok(CurveQuery { span, channels, width: width(params)? })
    }

    pub(crate) fn shows(&self, channel: Channel) -> bool {
        self.channels.contains(&channel)
    }

    /// The same as an address says it, without the room.
    pub(crate) fn query(&self) -> String {
        if self.channels == USUAL_CHANNELS {
            return self.span.query();
        }
        let names: Vec<_> = self.channels.iter().map(|channel| channel.as_str()).collect();
        format!("{}&channels={}", self.span.query(), names.join(","))
    }

    /// The same with one channel more or less. One that shows nothing at all is not offered.
    pub(crate) fn with_toggled(&self, channel: Channel) -> Option<CurveQuery> {
        let wanted = |other: &Channel| (*other == channel) != self.shows(*other);
        let channels: Vec<Channel> = drawing_order().filter(wanted).collect();
        (!channels.is_empty()).then(|| CurveQuery { channels, ..self.clone() })
    }

    /// The same at another span.
    pub(crate) fn at(&self, span: CurveSpan) -> CurveQuery {
        CurveQuery { span, ..self.clone() }
    }
}

/// Shows another part of `from` to `to`: `zoom` of the length about its middle, moved on by `shift` of it.
pub(crate) fn moved((from, to): (Timestamp, Timestamp), zoom: f64, shift: f64) -> CurveSpan {
    let length = (to - from).as_mins_f64();
    let wanted = (length * zoom).clamp(SHORTEST.as_mins_f64(), LONGEST.as_mins_f64());
    let middle = from + Span::from_mins_f64(length * (0.5 + shift));
    let half = Span::from_mins_f64(wanted / 2.0);
    let second = Span::from_secs(1);
    CurveSpan::Zoomed((middle - half).floor(second), (middle + half).floor(second))
}

/// The span of the lane's batch with a margin, if there is one.
pub(crate) fn whole_batch(lane: Option<&Lane>, now: Timestamp) -> Option<(Timestamp, Timestamp)> {
    let lane = lane?;
    lane.batch.as_ref().map(|batch| crate::curve::span_of(batch, lane.seen_to, now))
}

/// The room that a request names.
pub(crate) fn width(params: &Params) -> Result<Width, Problem> {
    let should_be = format!("wide, narrow or {} to {} pixels", Width::LEAST, Width::MOST);
    match params.text("width") {
        None | Some("wide") => Ok(Width::Wide),
        Some("narrow") => Ok(Width::Narrow),
        Some(text) => match text.parse::<u16>() {
            Ok(pixels) if (Width::LEAST..=Width::MOST).contains(&pixels) => Ok(Width::Pixels(pixels)),
            Ok(_) | Err(_) => Err(wrong("width", text, should_be)),
        },
    }
}

fn channels(list: &str) -> Result<Vec<Channel>, Problem> {
    let mut named = Vec::new();
    for name in list.split(',') {
        let channel: Channel = name.trim().parse().map_err(|_| {
            wrong("channels", list, "names of channels with commas, such as chocolate,jacket")
        })?;
        named.push(channel);
    }
    Ok(drawing_order().filter(|channel| named.contains(channel)).collect())
}

/// Every channel once, the chocolate last.
pub(crate) fn drawing_order() -> impl Iterator<Item = Channel> {
    let others = Channel::ALL.into_iter().filter(|channel| !USUAL_CHANNELS.contains(channel));
    others.chain(USUAL_CHANNELS)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(query: &str) -> Result<CurveQuery, String> {
        CurveQuery::read(&Params::parse(query), CurveSpan::Last(3)).map_err(|problem| problem.sentence)
    }

    #[test]
    fn a_view_stands_in_its_address() {
        for query in [
            "span=3h",
            "span=batch",
            "from=2026-03-02T05:00:00Z&to=2026-03-02T06:00:00Z",
            "span=24h&channels=room,chocolate",
        ] {
            assert_eq!(read(query).unwrap().query(), query);
        }
        assert_eq!(read("").unwrap(), CurveQuery::of(CurveSpan::Last(3)));
        assert_eq!(read("width=1440").unwrap().width, Width::Pixels(1440));
    }

    #[test]
    fn each_mistake_has_its_sentence() {
        for (query, should_be) in [
            ("span=1w", "3h, 12h, 24h or batch"),
            ("width=99999", "wide, narrow or 280 to 3840 pixels"),
            ("channels=chocolate,smell", "names of channels with commas, such as chocolate,jacket"),
            ("from=2026-03-02T05:00:00Z&to=2026-03-02T05:00:01Z", "2 minutes to 31 days after `from`"),
        ] {
            let sentence = read(query).unwrap_err();
            assert!(sentence.ends_with(&format!("it should be {should_be}.")), "{sentence}");
        }
    }

    #[test]
    fn zooming_keeps_the_middle_and_stops_at_the_ends() {
        let [from, to] = ["2026-03-02T05:00:00Z", "2026-03-02T07:00:00Z"].map(|at| at.parse().unwrap());
        let closer = "from=2026-03-02T05:30:00Z&to=2026-03-02T06:30:00Z";
        assert_eq!(moved((from, to), 0.5, 0.0).query(), closer);
        assert_eq!(moved((from, to), 1.0, -0.5).query(), "from=2026-03-02T04:00:00Z&to=2026-03-02T06:00:00Z");
        let closest = moved((from, to), 0.0001, 0.0);
        assert_eq!(closest.query(), "from=2026-03-02T05:59:00Z&to=2026-03-02T06:01:00Z");
    }

    #[test]
    fn channels_go_on_and_off_but_never_all_off() {
        let usual = CurveQuery::of(CurveSpan::Batch);
        let with_room = usual.with_toggled(Channel::Room).unwrap();
        assert!(with_room.shows(Channel::Room) && with_room.channels.last() == Some(&Channel::Chocolate));
        assert_eq!(with_room.with_toggled(Channel::Room).unwrap(), usual);
        let alone = read("channels=chocolate").unwrap();
        assert_eq!(alone.with_toggled(Channel::Chocolate), None);
    }
}

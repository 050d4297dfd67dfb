//! A curve with what can be done to it: other spans, closer and wider, channels on and off.
//!
//! Every control is a link that the server worked out, so that the page does all of it without a script; the script
//! only saves the way through a whole page.

use model::{Channel, Lane, Timestamp};
use serde::Serialize;

use crate::curve_query::{CurveQuery, CurveSpan, drawing_order, moved};
use crate::curve_values::channel_word;

/// A curve with its controls.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CurveView {
    /// The SVG drawing.
    pub drawing: String,
    /// Where the values for the cross-hair come from.
    pub values_href: String,
    /// Does the right edge move on with the time?
    pub follows: bool,
    pub spans: Vec<Choice>,
    pub moves: Vec<Choice>,
    pub channels: Vec<Choice>,
    /// Under the drawing.
    pub caption: String,
    /// The same drawing as files.
    pub files: Vec<Choice>,
}

/// A link.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Choice {
    pub key: String,
    pub word: String,
    pub href: String,
    pub chosen: bool,
}

/// What a curve and its controls are made from.
pub(crate) struct CurveParts<'a> {
    /// Address of the page that it stands on.
    pub page: String,
    pub query: &'a CurveQuery,
    /// The time that it covers.
    pub span: (Timestamp, Timestamp),
    /// Spans to choose from.
    pub offered: &'a [CurveSpan],
    pub lane: Option<&'a Lane>,
    pub drawing: String,
    pub values_href: String,
    pub caption: String,
    pub files: Vec<Choice>,
}

impl CurveView {
    pub(crate) fn new(parts: CurveParts<'_>) -> CurveView {
        let CurveParts { page, query, span, offered, lane, drawing, values_href, caption, files } = parts;
        let link = |wanted: &CurveQuery| format!("{page}?{}#curve-title", wanted.query());
        let follows = match query.span {
            CurveSpan::Last(_) => true,
            CurveSpan::Batch => lane.is_some(),
            CurveSpan::Zoomed(..) => false,
        };
        let spans = offered.iter().map(|one| Choice {
            key: one.query(),
            word: one.word(),
            href: link(&query.at(*one)),
            chosen: *one == query.span,
        });
        let moves = [
            ("earlier", "Earlier", 1.0, -0.5),
            ("later", "Later", 1.0, 0.5),
            ("closer", "Closer", 0.5, 0.0),
            ("wider", "Wider", 2.0, 0.0),
        ];
        let moves = moves.map(|(key, word, zoom, shift)| Choice {
            key: key.to_owned(),
            word: word.to_owned(),
            href: link(&query.at(moved(span, zoom, shift))),
            chosen: false,
        });
        let is_there = |channel: Channel| {
            query.shows(channel) || lane.is_some_and(|lane| lane.latest(channel).is_some())
        };
        let channels = drawing_order().filter(|channel| is_there(*channel)).filter_map(|channel| {
            Some(Choice {
                key: channel.as_str().to_owned(),
                word: capital(channel_word(channel)),
                href: link(&query.with_toggled(channel)?),
                chosen: query.shows(channel),
            })
        });
        let mut channels: Vec<Choice> = channels.collect();
        channels.reverse();
        CurveView {
            drawing,
            values_href,
            follows,
            spans: spans.collect(),
            moves: moves.into(),
            channels,
            caption,
            files,
        }
    }
}

fn capital(word: &str) -> String {
    let mut word = word.to_owned();
    if let Some(first) = word.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    word
}

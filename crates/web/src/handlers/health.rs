//! How the service itself is: the page for people, and the figures for a monitoring program.

use std::sync::Arc;

use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{Html, IntoResponse, Response};
use serde::Serialize;

use crate::accept;
use crate::app::App;
use crate::page_file::Shows;
use crate::problem::Problem;
use crate::query::Params;
use crate::state::{Exposition, Health};

const PROMETHEUS_TEXT: &str = "text/plain; version=0.0.4; charset=utf-8";
const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

#[derive(Serialize)]
struct Shown {
    view: HealthView,
}

/// The page's words.
#[derive(Debug, Serialize)]
struct HealthView {
    /// The whole in a sentence.
    headline: &'static str,
    says: Vec<String>,
    figures: Vec<Figure>,
    lists: Vec<List>,
}

/// A figure with its name and what it means.
#[derive(Debug, Serialize)]
struct Figure {
    name: &'static str,
    value: String,
    help: &'static str,
}

/// Things that have happened, and what to do about them.
#[derive(Debug, Serialize)]
struct List {
    title: &'static str,
    help: &'static str,
    none: &'static str,
    entries: Vec<String>,
}

pub(crate) async fn page(State(app): State<Arc<App>>, params: Params) -> Result<Html<String>, Problem> {
    params.only(&[])?;
    let page = app.page("health", Shows::Health)?;
    let shown = Shown { view: HealthView::new((app.state.health)()) };
    app.render_page(&page, &app.frame("health", ""), &page.title, shown).map(Html)
}

/// OpenMetrics for who asks for it, Prometheus text for everybody else.
pub(crate) async fn metrics(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    let open = accept::wish(&headers, "application/openmetrics-text");
    let (exposition, media_type) = if 0.0 < open && accept::wish(&headers, "text/plain") <= open {
        (Exposition::OpenMetrics, OPEN_METRICS)
    } else {
        (Exposition::Prometheus, PROMETHEUS_TEXT)
    };
    ([(header::CONTENT_TYPE, media_type)], (app.state.metrics)(exposition)).into_response()
}

impl HealthView {
    fn new(health: Health) -> HealthView {
        let headline = if health.is_well() {
            "Everything that comes is taken and stored."
        } else {
            "Something needs a person."
        };
        HealthView { headline, says: health.says(), figures: figures(&health), lists: lists(health) }
    }
}

fn figures(health: &Health) -> Vec<Figure> {
    let figure = |name, value, help| Figure { name, value, help };
    let unknown = || "not known".to_owned();
    vec![
        figure("Messages", grouped(health.messages), "taken from the broker since the service was started"),
        figure("Readings", grouped(health.readings), "on disk since then"),
        figure("Came again", grouped(health.duplicates), "the same machine, channel and time; kept once"),
        figure("Could not be read", grouped(health.rejected), "kept out, and listed below"),
        figure("Behind by", seconds(health.lag_ms), "how far findings and pages are behind what has come"),
        figure(
            "Waiting in the journal",
            grouped(health.journal_backlog),
            "blocks on disk that are not yet in the store; they are read all the same",
        ),
        figure("Connected again", grouped(health.reconnects), "times since the service was started"),
        figure(
            "Dropped by the broker",
            health.broker_dropped.map_or_else(unknown, grouped),
            "messages for any of its subscribers since we began to watch; if it grows, raise its limit on queued messages",
        ),
        figure(
            "Room on the disk",
            health.disk_free_bytes.map_or_else(unknown, gigabytes),
            "when it is used up, the broker keeps what comes until there is room",
        ),
    ]
}

fn lists(health: Health) -> Vec<List> {
    vec![
        List {
            title: "Possible gaps",
            help: "Times in which messages may have been lost before they reached us. Batches of that time may lack readings.",
            none: "None are known.",
            entries: health.possible_gaps,
        },
        List {
            title: "Missing from the store",
            help: "Stored readings that can no longer be read. The files stand aside; a backup may still have them whole.",
            none: "Nothing is missing.",
            entries: health.missing_spans,
        },
        List {
            title: "Messages that could not be read",
            help: "The newest of them, with the topic and the reason.",
            none: "There are none.",
            entries: health.latest_rejects,
        },
    ]
}

/// `12 345 678`, in groups of three that stay together.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    text
}

fn seconds(ms: u64) -> String {
    format!("{:.1}\u{a0}s", ms as f64 / 1000.0)
}

fn gigabytes(bytes: u64) -> String {
    format!("{:.1}\u{a0}GB", bytes as f64 / 1e9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_for_people() {
        assert_eq!(
            [0, 999, 1_000, 1_234_567].map(grouped),
            ["0", "999", "1\u{202f}000", "1\u{202f}234\u{202f}567"]
        );
        assert_eq!(seconds(1_250), "1.2\u{a0}s");
        assert_eq!(gigabytes(12_345_678_901), "12.3\u{a0}GB");
    }

    #[test]
    fn what_is_not_known_is_said_so() {
        let view = HealthView::new(crate::made_up::healthy());
        assert_eq!(view.headline, "Everything that comes is taken and stored.");
        let unknown: Vec<&str> = view
            .figures
            .iter()
            .filter(|figure| figure.value == "not known")
            .map(|figure| figure.name)
            .collect();
        assert_eq!(unknown, ["Dropped by the broker", "Room on the disk"]);
        assert_eq!(HealthView::new(Health::default()).headline, "Something needs a person.");
    }
}

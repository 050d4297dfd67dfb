//! The figures for a monitoring program, made anew at each asking: as OpenMetrics 1.0, or as the older Prometheus text, version 0.0.4.
//!
//! | name | kind | what |
//! | --- | --- | --- |
//! | `halfdegree_messages_total` | counter | messages taken from the broker |
//! | `halfdegree_readings_total` | counter | readings on disk |
//! | `halfdegree_events_total` | counter | events on disk |
//! | `halfdegree_duplicates_total` | counter | readings that came again: the same machine, channel and time; told when they are moved into the store |
//! | `halfdegree_rejects_total` | counter | messages, or parts of them, that could not be read |
//! | `halfdegree_maybe_twice_total` | counter | messages without a time of their own that came again; if the first copy was stored, their readings are there twice |
//! | `halfdegree_crowded_total` | counter | messages without a time of their own that had to share a moment, because more than ten thousand came at once; the last value counts |
//! | `halfdegree_reconnects_total` | counter | connections to the broker after the first |
//! | `halfdegree_broker_dropped_total` | counter | messages that the broker says it has thrown away since we began to watch, for all its subscribers; absent if it does not say |
//! | `halfdegree_connected` | gauge | 1 while connected and storing, else 0 |
//! | `halfdegree_backlog_blocks` | gauge | blocks in the journal that are not yet in the store |
//! | `halfdegree_lag_seconds` | gauge | how far the watch is behind what has come |
//! | `halfdegree_disk_free_bytes` | gauge | room left on the disk of the data folder; absent if the system does not say |
//! | `halfdegree_open_findings` | gauge | findings that are open now |
//! | `halfdegree_people_told_total` | counter | messages about alarms that got there |
//! | `halfdegree_people_not_told_total` | counter | messages about alarms that were given up, or for which there was no room |
//! | `halfdegree_people_waiting` | gauge | messages about alarms that are on their way |
//! | `halfdegree_possible_gaps` | gauge | times on record in which messages may have been lost |
//! | `halfdegree_missing_spans` | gauge | parts of the store that can no longer be read |
//! | `halfdegree_publish_to_durable_seconds` | histogram | from a reading's own time until it was on disk |
//! | `halfdegree_commit_seconds` | histogram | how long it took to put a block on disk |
//!
//! Counters begin at zero with each start of the service. Names stay; new ones may come.

use std::fmt;

use intake::Spread;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::text::encode;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric, NoLabelSet};
use prometheus_client::metrics::MetricType;
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::{Registry, Unit};
use web::{Exposition, Health, IntakeState};

/// Everything that is told, as it was at one moment.
#[derive(Debug)]
pub(crate) struct Figures {
    pub(crate) health: Health,
    pub(crate) events: u64,
    pub(crate) maybe_twice: u64,
    pub(crate) crowded: u64,
    pub(crate) open_findings: u64,
    /// Messages to people: got there, lost, on their way.
    pub(crate) messages: [u64; 3],
    pub(crate) possible_gaps: u64,
    pub(crate) missing_spans: u64,
    pub(crate) commits: Spread,
    pub(crate) delays: Spread,
}

impl Figures {
    /// The text.
    pub(crate) fn text(self, exposition: Exposition) -> String {
        match exposition {
            Exposition::OpenMetrics => self.open_metrics(),
            Exposition::Prometheus => prometheus_text(&self.open_metrics()),
        }
    }

    fn open_metrics(self) -> String {
        let mut registry = Registry::default();
        registry.register_collector(Box::new(self));
        let mut text = String::new();
        encode(&mut text, &registry).expect("a text takes whatever is written to it");
        text
    }

    fn counters(&self, told: &mut Told<'_>) -> fmt::Result {
        let health = &self.health;
        told.counter("messages", "Messages taken from the broker", health.messages)?;
        told.counter("readings", "Readings on disk", health.readings)?;
        told.counter("events", "Events on disk", self.events)?;
        told.counter("duplicates", "Readings that came again", health.duplicates)?;
        told.counter("rejects", "Messages that could not be read", health.rejected)?;
        told.counter("people_told", "Messages about alarms that got there", self.messages[0])?;
        told.counter("people_not_told", "Messages about alarms that did not", self.messages[1])?;
        told.counter("maybe_twice", "Messages whose readings may be there twice", self.maybe_twice)?;
        told.counter("crowded", "Messages that had to share a moment", self.crowded)?;
        told.counter("reconnects", "Connections to the broker after the first", health.reconnects)?;
        match health.broker_dropped {
            Some(dropped) => told.counter("broker_dropped", "Messages that the broker threw away", dropped),
            None => Ok(()),
        }
    }

    fn gauges(&self, told: &mut Told<'_>) -> fmt::Result {
        let health = &self.health;
        let connected = f64::from(u8::from(health.intake == IntakeState::Connected));
        told.gauge("connected", "Connected to the broker and storing", None, connected)?;
        let blocks = Unit::Other("blocks".to_owned());
        told.gauge(
            "backlog",
            "Blocks that wait in the journal",
            Some(&blocks),
            health.journal_backlog as f64,
        )?;
        let lag = health.lag_ms as f64 / 1000.0;
        told.gauge("lag", "How far the watch is behind what has come", Some(&Unit::Seconds), lag)?;
        told.gauge("open_findings", "Findings that are open now", None, self.open_findings as f64)?;
        let waiting = self.messages[2] as f64;
        told.gauge("people_waiting", "Messages about alarms that are on their way", None, waiting)?;
        let gaps = self.possible_gaps as f64;
        told.gauge("possible_gaps", "Times in which messages may have been lost", None, gaps)?;
        let missing = self.missing_spans as f64;
        told.gauge("missing_spans", "Parts of the store that can no longer be read", None, missing)?;
        match health.disk_free_bytes {
            Some(free) => told.gauge("disk_free", "Room left on the disk", Some(&Unit::Bytes), free as f64),
            None => Ok(()),
        }
    }
}

/// The older text has no units and no end, and names a counter in the lines about it as in the line of its value: with `_total`.
fn prometheus_text(open_metrics: &str) -> String {
    let mut text = String::with_capacity(open_metrics.len());
    let is_counter = |name: &str| {
        let declared = format!("# TYPE {name} counter");
        open_metrics.lines().any(|line| line == declared)
    };
    for line in open_metrics.lines().filter(|line| !line.starts_with("# UNIT ") && *line != "# EOF") {
        let mut words = line.splitn(4, ' ');
        match (words.next(), words.next(), words.next(), words.next()) {
            (Some("#"), Some(about @ ("HELP" | "TYPE")), Some(name), Some(says)) if is_counter(name) => {
                text.push_str(&format!("# {about} {name}_total {says}\n"));
            }
            _ => {
                text.push_str(line);
                text.push('\n');
            }
        }
    }
    text
}

impl Collector for Figures {
    fn encode(&self, encoder: DescriptorEncoder<'_>) -> fmt::Result {
        let mut told = Told(encoder);
        self.counters(&mut told)?;
        self.gauges(&mut told)?;
        told.histogram("publish_to_durable", "From a reading's own time until it was on disk", &self.delays)?;
        told.histogram("commit", "How long it took to put a block on disk", &self.commits)
    }
}

/// Writes one figure after the other, each under the program's name.
struct Told<'a>(DescriptorEncoder<'a>);

impl Told<'_> {
    fn counter(&mut self, name: &str, help: &str, value: u64) -> fmt::Result {
        let name = named(name);
        let metric = self.0.encode_descriptor(&name, help, None, MetricType::Counter)?;
        ConstCounter::new(value).encode(metric)
    }

    fn gauge(&mut self, name: &str, help: &str, unit: Option<&Unit>, value: f64) -> fmt::Result {
        let name = named(name);
        let metric = self.0.encode_descriptor(&name, help, unit, MetricType::Gauge)?;
        ConstGauge::new(value).encode(metric)
    }

    fn histogram(&mut self, name: &str, help: &str, spread: &Spread) -> fmt::Result {
        let name = named(name);
        let mut metric =
            self.0.encode_descriptor(&name, help, Some(&Unit::Seconds), MetricType::Histogram)?;
        metric.encode_histogram::<NoLabelSet>(spread.sum_s, spread.count(), &spread.buckets, None)
    }
}

fn named(name: &str) -> String {
    format!("halfdegree_{name}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figures() -> Figures {
        let health = Health {
            intake: IntakeState::Connected,
            messages: 12,
            readings: 34,
            lag_ms: 1_500,
            disk_free_bytes: Some(5_000),
            ..Health::default()
        };
        let spread = Spread { buckets: vec![(0.01, 3), (0.03, 2), (f64::INFINITY, 1)], sum_s: 0.25 };
        Figures {
            health,
            events: 2,
            maybe_twice: 3,
            crowded: 4,
            open_findings: 1,
            messages: [3, 0, 1],
            possible_gaps: 1,
            missing_spans: 0,
            commits: spread.clone(),
            delays: spread,
        }
    }

    #[test]
    fn every_name_of_the_table_is_told_and_no_other() {
        let mut told = figures();
        told.health.broker_dropped = Some(4);
        let text = told.text(Exposition::OpenMetrics);
        let table: Vec<&str> = include_str!("metrics.rs")
            .lines()
            .filter_map(|line| line.strip_prefix("//! | `")?.split_once('`').map(|(name, _)| name))
            .collect();
        assert_eq!(table.len(), 21);
        for name in &table {
            assert!(
                text.contains(&format!("\n{name}")) || text.starts_with(name),
                "{name} is not told:\n{text}"
            );
        }
        let types = text.lines().filter(|line| line.starts_with("# TYPE")).count();
        assert_eq!(types, table.len(), "{text}");
    }

    #[test]
    fn the_readme_has_the_same_table() {
        let readme = include_str!("../../../README.md");
        let rows = include_str!("metrics.rs").lines().filter_map(|line| line.strip_prefix("//! "));
        for row in rows.filter(|row| row.starts_with("| `halfdegree_")) {
            assert!(readme.lines().any(|line| line == row), "not in the README: {row}");
        }
        let rows = readme.lines().filter(|line| line.starts_with("| `halfdegree_")).count();
        assert_eq!(rows, 21, "no other row stands in the README");
    }

    #[test]
    fn buckets_count_what_is_at_or_below_their_end() {
        let text = figures().text(Exposition::OpenMetrics);
        for line in [
            "halfdegree_messages_total 12",
            "halfdegree_lag_seconds 1.5",
            "halfdegree_disk_free_bytes 5000.0",
            "halfdegree_commit_seconds_sum 0.25",
            "halfdegree_commit_seconds_count 6",
            "halfdegree_commit_seconds_bucket{le=\"0.03\"} 5",
            "halfdegree_commit_seconds_bucket{le=\"+Inf\"} 6",
        ] {
            assert!(text.lines().any(|found| found == line), "{line} is not in\n{text}");
        }
        assert!(!text.contains("broker_dropped"), "what is not known is not told");
        assert!(text.ends_with("# EOF\n"));
    }

    /// As its format has it: each name stands in a TYPE line, and the lines of a histogram below that of its base name.
    #[test]
    fn the_older_text_says_the_same_in_its_own_way() {
        let (old, new) = (figures().text(Exposition::Prometheus), figures().text(Exposition::OpenMetrics));
        let values = |text: &str| -> Vec<String> {
            text.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect()
        };
        assert_eq!(values(&old), values(&new));
        assert!(!old.contains("# EOF") && !old.contains("# UNIT"), "{old}");
        let declared: Vec<(&str, &str)> =
            old.lines().filter_map(|line| line.strip_prefix("# TYPE ")?.split_once(' ')).collect();
        for line in values(&old) {
            let name = line.split(['{', ' ']).next().unwrap();
            let is_declared = declared.iter().any(|(base, kind)| match *kind {
                "histogram" => {
                    ["_bucket", "_sum", "_count"].map(|end| format!("{base}{end}")).contains(&name.to_owned())
                }
                "counter" => *base == name && name.ends_with("_total"),
                _ => *base == name,
            });
            assert!(is_declared, "{name} in\n{old}");
        }
        assert!(old.lines().any(|line| line.starts_with("# HELP halfdegree_messages_total ")), "{old}");
    }
}

//! A made-up works behind the routes, and a caller.

use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, Mutex, OnceLock};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Request, StatusCode};
use journal::Journal;
use model::{
    Arrival, Batch, BatchId, Board, Channel, Content, Finding, FindingId, FindingKind, Lane, Latest,
    MachineId, Measures, Method, Phase, PhaseSpan, Priority, Reading, Span, Standing, Timestamp,
};
use records::{Records, Update};
use store::StoreReader;
use tempfile::TempDir;
use tokio::sync::watch;
use tower::ServiceExt;
use web::{Entries, EventSink, Health, IntakeState, LivePace, NotDurable, WebConfig, WebState, router};

/// Live pages hear from the service at once, so that no test waits for the time of day.
const FAST: LivePace = LivePace {
    at_most_every: Duration::ZERO,
    findings_at_most_every: Duration::ZERO,
    at_least_every: Duration::from_millis(50),
};

/// More than any page of this works.
const LARGEST_ANSWER: usize = 4 << 20;

/// What browsers say that they take.
pub(crate) const BROWSER: &str = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8";

pub(crate) struct Works {
    pub(crate) routes: Router,
    pub(crate) config: WebConfig,
    pub(crate) state: WebState,
    pub(crate) board: watch::Sender<Arc<Board>>,
    pub(crate) sink: Arc<Sink>,
    folder: TempDir,
}

pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) text: String,
}

/// Keeps what it is given, and puts it on record as the service does; or refuses.
#[derive(Default)]
pub(crate) struct Sink {
    pub(crate) taken: Mutex<Vec<Arrival>>,
    pub(crate) refuses: bool,
    pub(crate) records: OnceLock<Arc<Records>>,
}

impl EventSink for Sink {
    fn take(&self, arrival: Arrival) -> Pin<Box<dyn Future<Output = Result<(), NotDurable>> + Send + '_>> {
        Box::pin(async move {
            if self.refuses {
                return Err(NotDurable("the disk is full".to_owned()));
            }
            if let (Some(records), Content::Event(event)) = (self.records.get(), &arrival.content) {
                records.commit(&Update { events: vec![event.clone()], ..Update::default() }).unwrap();
            }
            self.taken.lock().unwrap().push(arrival);
            Ok(())
        })
    }
}

pub(crate) fn moment(clock: &str) -> Timestamp {
    format!("2026-03-02T{clock}:00Z").parse().unwrap()
}

const PLANT: &str = r#"
[plant]
name = "Tern Street works"
time_zone = "Europe/Lisbon"

[mqtt]
url = "embedded"

[[couverture]]
id = "dark-64"
name = "Dark 64"
family = "dark"

[[machine]]
id = "alder"
name = "Alder"
style = "kettle"
capacity_kg = 60
couverture = "dark-64"

[[machine]]
id = "birch"
name = "Birch <b>&\"s"
style = "kettle"
couverture = "dark-64"
"#;

/// Alder works and is too warm; nothing has come from Birch yet. It is noon.
pub(crate) fn works(entries: Entries) -> Works {
    works_with(WebConfig { entries, pace: FAST, ..WebConfig::default() }, Sink::default())
}

pub(crate) fn works_with(config: WebConfig, sink: Sink) -> Works {
    let folder = tempfile::tempdir().unwrap();
    let records = Records::open(folder.path().join("records.db")).unwrap();
    let alder: MachineId = "alder".parse().unwrap();
    let finding = warm_hold(&alder);
    let batch = batch(&alder);
    let update =
        Update { batches: vec![batch.clone()], findings: vec![finding.clone()], ..Update::default() };
    records.commit(&update).unwrap();
    let (mut journal, _) = Journal::open(folder.path().join(journal::FILE_NAME)).unwrap();
    let _ = journal.append(&readings(&alder)).unwrap();
    let store = StoreReader::open(folder.path()).unwrap();
    let (board, watcher) = watch::channel(Arc::new(Board {
        at: moment("12:00"),
        lanes: vec![lane(&alder, batch, finding)],
        plant_open: Vec::new(),
        baselines: Vec::new(),
    }));
    let sink = Arc::new(sink);
    let records = Arc::new(records);
    sink.records.get_or_init(|| records.clone());
    let state = WebState {
        plant: Arc::new(plant::parse_plant(PLANT).unwrap()),
        board: watcher,
        alarms: Arc::new(alarms::Desk::open(records.clone(), moment("12:00")).unwrap()),
        records,
        store: Arc::new(store),
        events: sink.clone(),
        health: Arc::new(health),
        metrics: Arc::new(|exposition| format!("{exposition:?}\n")),
        clock: Arc::new(|| moment("12:00")),
    };
    Works { routes: router(&config, state.clone()).unwrap(), config, state, board, sink, folder }
}

fn health() -> Health {
    Health {
        intake: IntakeState::Connected,
        messages: 7_200,
        readings: 7_200,
        lag_ms: 1_250,
        broker_dropped: Some(3),
        disk_free_bytes: Some(12_345_678_901),
        possible_gaps: vec![
            "2026-03-02T05:00:00Z to 2026-03-02T05:10:00Z: the broker had no session for us".into(),
        ],
        ..Health::default()
    }
}

fn lane(machine: &MachineId, batch: Batch, finding: Finding) -> Lane {
    let mut latest = [None; Channel::ALL.len()];
    latest[Channel::Chocolate.index()] = Some(Latest { at: moment("12:00"), value: Some(32.84) });
    Lane {
        machine: machine.clone(),
        seen_to: moment("12:00"),
        latest,
        slope_c_per_min: Some(0.04),
        ten_minutes_ago_c: Some(32.4),
        phase: Phase::Working,
        phase_since: moment("11:00"),
        batch: Some(batch),
        forecast: None,
        open: vec![finding],
        last_test: None,
        test_due: None,
    }
}

fn batch(machine: &MachineId) -> Batch {
    Batch {
        id: BatchId::new(machine, moment("09:00")),
        machine: machine.clone(),
        couverture: "dark-64".parse().unwrap(),
        lot: Some("<script>alert(1)</script>".to_owned()),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start: moment("09:00"),
        end: None,
        phases: vec![
            PhaseSpan {
                phase: Phase::Melting,
                from: moment("09:00"),
                to: Some(moment("11:00")),
                confidence: model::Confidence::Medium,
            },
            PhaseSpan {
                phase: Phase::Working,
                from: moment("11:00"),
                to: None,
                confidence: model::Confidence::Medium,
            },
        ],
        measures: Measures { soak_max_c: Some(46.1), ..Measures::default() },
        standing: Standing::Unproven,
        reasons: vec!["no temper test".to_owned()],
    }
}

fn warm_hold(machine: &MachineId) -> Finding {
    Finding {
        id: FindingId::new(machine.as_str(), FindingKind::WarmHold.as_str(), moment("11:50")),
        machine: Some(machine.clone()),
        batch: Some(BatchId::new(machine, moment("09:00"))),
        kind: FindingKind::WarmHold,
        priority: Priority::Medium,
        from: moment("11:45"),
        to: None,
        raised_at: moment("11:50"),
        says: "It has been above its working range for 5 min.".to_owned(),
        evidence: Vec::new(),
        advice: "Lower the set-point and make a temper test.".to_owned(),
        superseded_by: None,
    }
}

/// One reading a second from 11:50 to 12:00.
fn readings(machine: &MachineId) -> Vec<Arrival> {
    let reading = |second: i64| {
        let at = moment("11:50") + Span::from_secs(second);
        let value = if second == 300 { None } else { Some(31.0 + second as f64 / 600.0) };
        let reading = Reading { machine: machine.clone(), channel: Channel::Chocolate, at, value };
        Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
    };
    (0..600).map(reading).collect()
}

impl Works {
    /// Puts batches and readings behind the pages, as the service does.
    pub(crate) fn fill(&self, batches: Vec<Batch>, readings: &[Arrival]) {
        self.state.records.commit(&Update { batches, ..Update::default() }).unwrap();
        let (mut journal, _) = Journal::open(self.folder.path().join(journal::FILE_NAME)).unwrap();
        let _ = journal.append(readings).unwrap();
    }

    /// As a browser asks.
    pub(crate) async fn get(&self, address: &str) -> Answer {
        self.get_accepting(address, BROWSER).await
    }

    pub(crate) async fn get_accepting(&self, address: &str, accept: &str) -> Answer {
        self.send(Request::get(address).header("accept", accept).body(Body::empty()).unwrap()).await
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> Answer {
        let response = self.routes.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let bytes = to_bytes(body, LARGEST_ANSWER).await.unwrap();
        // Pictures and columns are looked at by their first bytes alone.
        let text = String::from_utf8_lossy(&bytes).into_owned();
        Answer { status: parts.status, headers: parts.headers, text }
    }
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.text).unwrap_or_else(|fault| panic!("{fault}: {}", self.text))
    }

    /// The answer without markup's line breaks and no-break spaces, so that sentences can be looked for.
    pub(crate) fn says(&self, sentence: &str) -> bool {
        let flat = self.text.replace("&#x2f;", "/").replace(['\u{a0}', '\n'], " ");
        let words: Vec<_> = flat.split_whitespace().collect();
        words.join(" ").contains(sentence)
    }
}

//! A kettle as people work it: charged, seeded, tested, topped up, tested again with a bad result, and decided about. Readings, charge and
//! seed came by messages; the rest is entered over HTTP, and all of it stands in the document of the batch and on its pages.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::Duration;

use intake::BrokerAddress;
use model::{Arrival, Content, Event, Timestamp};
use serde_json::{Value, json};
use service::{Broker, DataFolder, Keep, ServiceConfig, serve};
use testkit::wait_until;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use web::{Entries, WebConfig};

use crate::streams::Sample;

const BATCH: &str = "alder-2026-03-01T22:39";

fn at(clock: &str) -> Timestamp {
    format!("2026-03-02T{clock}:00Z").parse().unwrap()
}

/// Alder's readings of the good day up to ten o'clock, with a charge and seed of known lots.
fn morning(sample: &Sample) -> Vec<Arrival> {
    let alder = "alder".parse().unwrap();
    let rules = &sample.plant.temper_test.curve;
    let told = |json: Value| {
        let event: Event =
            wire::parse_event(&alder, json.to_string().as_bytes(), Timestamp::default(), rules).unwrap();
        Arrival { arrived: event.at, retained: false, content: Content::Event(event) }
    };
    let readings = sample.arrivals.iter().filter(|arrival| {
        matches!(&arrival.content, Content::Reading(reading) if reading.machine == alder)
            && arrival.arrived < at("10:00")
    });
    let mut arrivals: Vec<Arrival> = readings.cloned().collect();
    arrivals.push(told(
        json!({"event": "charge", "at": "2026-03-01T22:30:00Z", "couverture": "dark-64", "lot": "L2207", "mass_kg": 40}),
    ));
    arrivals.push(told(json!({"event": "seed", "at": "2026-03-02T07:06:40Z", "lot": "S31", "mass_kg": 10})));
    arrivals.sort_by_key(|arrival| arrival.arrived);
    arrivals
}

/// A service in this process; nobody is at its broker.
struct Kettle {
    address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    runtime: tokio::runtime::Runtime,
    serving: Option<tokio::task::JoinHandle<()>>,
}

impl Kettle {
    fn start(sample: &Sample, data: &DataFolder) -> Kettle {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0")).unwrap();
        let address = listener.local_addr().unwrap();
        let config = ServiceConfig {
            plant: sample.plant.clone(),
            plant_text: sample.plant_text.clone(),
            data: data.clone(),
            broker: Broker {
                address: BrokerAddress::new("127.0.0.1", 1),
                client_id: "people".to_owned(),
                credentials: None,
                is_embedded: false,
                is_new: false,
            },
            clock: Arc::new(|| at("10:00")),
            web: WebConfig { entries: Entries::OpenOnLoopback, ..WebConfig::default() },
            keep: Keep::Everything,
            reach: reach::ReachConfig::default(),
            ready: Box::new(|| ()),
        };
        let (stop, stopped) = oneshot::channel();
        let serving = runtime.spawn(async move {
            let stopped = async move { drop(stopped.await) };
            serve(config, listener, stopped).await.unwrap();
        });
        Kettle { address, stop: Some(stop), runtime, serving: Some(serving) }
    }

    /// Status and body.
    fn ask(&self, method: &str, path: &str, body: Option<&Value>) -> (u16, String) {
        let body = body.map(Value::to_string).unwrap_or_default();
        let mut stream = TcpStream::connect(self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.address,
            body.len()
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        (head.split(' ').nth(1).unwrap().parse().unwrap(), body.to_owned())
    }

    fn get(&self, path: &str) -> Value {
        let (status, body) = self.ask("GET", path, None);
        assert_eq!(status, 200, "{path}: {body}");
        serde_json::from_str(&body).unwrap()
    }

    fn post(&self, path: &str, body: &Value) {
        let (status, answer) = self.ask("POST", path, Some(body));
        assert_eq!(status, 201, "{path}: {answer}");
    }

    /// What a person reads.
    fn page(&self, path: &str) -> String {
        let (status, page) = self.ask("GET", path, None);
        assert_eq!(status, 200, "{path}: {page}");
        page.replace('\u{a0}', " ").split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn stop(mut self) {
        self.stop.take().unwrap().send(()).unwrap();
        self.runtime.block_on(self.serving.take().unwrap()).unwrap();
    }
}

#[test]
fn what_people_did_stands_in_the_batch() {
    let sample = Sample::read("good-day");
    let folder = tempfile::tempdir().unwrap();
    let data = DataFolder::new(folder.path().join("data"));
    service::fill(&data, &sample.plant, morning(&sample).into_iter()).unwrap();
    let kettle = Kettle::start(&sample, &data);
    let batch = format!("/api/v1/batches/{BATCH}");
    let standing = || kettle.get(&batch)["standing"].as_str().unwrap().to_owned();
    wait_until("the batch is known", || kettle.ask("GET", &batch, None).0 == 200);
    assert_eq!(standing(), "unproven");

    let test = |clock: &str, snap: &str, minutes: f64| {
        json!({"machine": "alder", "event": "temper-test", "at": at(clock).to_string(), "by": "ana",
            "gloss": "good", "contraction": "good", "snap": snap, "minutes": minutes, "cooled": "room", "room_c": 20.5})
    };
    kettle.post("/api/v1/smears", &json!({"machine": "alder", "by": "ana"}));
    wait_until("the smear is counted down", || {
        kettle.page("/machines/alder").contains("The smear cools: ready at 10:10, in 10 min.")
    });
    kettle.post("/api/v1/events", &test("08:00", "good", 4.0));
    wait_until("a passed test counts", || standing() == "in-temper");
    kettle.post(
        "/api/v1/events",
        &json!({"machine": "alder", "event": "top-up", "at": at("08:30").to_string(), "lot": "L2208", "mass_kg": 5,
            "couverture": "milk-38", "by": "ana"}),
    );
    wait_until("a top-up leaves doubt", || standing() == "doubtful");
    kettle.post("/api/v1/events", &test("09:30", "poor", 12.0));
    wait_until("a failed test counts", || standing() == "off-temper");
    let decision =
        |verdict: &str, reason: &str| json!({"decision": verdict, "reason": reason, "by": "joana"});
    kettle.post(&format!("{batch}/decisions"), &decision("hold", "kept apart until it is tested again"));
    kettle.post(&format!("{batch}/decisions"), &decision("re-temper", "too few crystals"));

    let told = kettle.get(&batch);
    assert_eq!(told["standing"], "off-temper", "a decision does not change what was worked out");
    assert_eq!(
        (&told["decision"]["decision"], &told["decision"]["by"]),
        (&json!("re-temper"), &json!("joana"))
    );
    assert_eq!(told["decisions"][0]["reason"], "kept apart until it is tested again");
    assert_eq!(
        told["concerned"],
        json!([{"from": at("08:00").to_string(), "to": null, "failed_at": at("09:30").to_string(),
            "last_good_at": at("08:00").to_string()}])
    );
    let lots = &told["contents"].as_array().unwrap().last().unwrap()["lots"];
    let share = |place: usize| (lots[place]["lot"].as_str().unwrap(), lots[place]["share"].as_f64().unwrap());
    // 40, 10 and 5 of 55 kg.
    assert_eq!([share(0), share(1), share(2)], [("L2207", 0.727), ("S31", 0.182), ("L2208", 0.091)]);
    assert_eq!(told["changeover"]["kind"], "milk-added");
    let of_events: Vec<&str> =
        told["events"].as_array().unwrap().iter().map(|event| event["event"].as_str().unwrap()).collect();
    assert_eq!(of_events, ["charge", "seed", "temper-test", "top-up", "temper-test"]);

    let report = kettle.page(&format!("/batches/{BATCH}"));
    for words in [
        "Decision: to be tempered anew",
        "off temper",
        "The temper test at 09:30 failed. What was made from 08:00, when the last good test was made",
        "Holds milk",
        "Grade D, failed, too few crystals",
        "kept apart until it is tested again",
        "set after 12 min, cooled in the room, room 20.5 °C",
    ] {
        assert!(report.contains(words), "{words}: {report}");
    }
    assert!(kettle.page("/machines/alder").contains("Product in question"));
    let uses = kettle.get("/api/v1/lots/L2208")["uses"].clone();
    assert_eq!((&uses[0]["batch"], &uses[0]["from"]), (&json!(BATCH), &json!(at("08:30").to_string())));

    kettle.post(
        "/api/v1/probe-checks",
        &json!({"machine": "alder", "channel": "chocolate", "kind": "comparison", "reference_c": 31.0,
            "as_found_c": 31.8, "by": "rui"}),
    );
    assert_eq!(kettle.get(&batch)["measured_in_doubt"][0]["error_c"], 0.8);
    kettle.stop();

    let kettle = Kettle::start(&sample, &data);
    assert_eq!(
        kettle.get(&batch)["decisions"].as_array().unwrap().len(),
        2,
        "and all of it is there after a restart"
    );
    assert_eq!(kettle.get(&batch)["concerned"], told["concerned"]);
    kettle.stop();
}

//! Somebody who looks: a works page kept alive, pages loaded now and then, and the list of findings asked for.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use model::{Span, Timestamp};
use serde_json::Value;

use crate::crowd::{self, Fault};
use crate::process::now;
use crate::{Outcome, http};

/// Pages are loaded so often.
const LOAD_EVERY: Duration = Duration::from_secs(10);
/// The list of findings is asked for so often: what it adds to the time to a finding.
const ASK_EVERY: Duration = Duration::from_millis(250);
/// Findings asked for at once.
const ASKED: usize = 100;

/// What was seen.
#[derive(Debug, Default)]
pub(crate) struct Seen {
    /// By machine and kind: when the live page first said it.
    on_page: BTreeMap<(String, &'static str), Timestamp>,
    /// By machine and kind: when it was raised, and when the list of findings first had it.
    on_list: BTreeMap<(String, String), (Timestamp, Timestamp)>,
    /// How long pages took to load, by path, ms.
    pub(crate) loads: BTreeMap<String, Vec<f64>>,
    /// Messages of the live page, and bytes of them.
    pub(crate) live: (u64, u64),
    pub(crate) troubles: Vec<String>,
    pub(crate) faults: Vec<Fault>,
}

/// From the moment at which a finding is due until it was seen, seconds.
pub(crate) struct Lag {
    pub(crate) kind: &'static str,
    pub(crate) page: Option<f64>,
    pub(crate) list: Option<f64>,
}

impl Seen {
    /// One for each fault of which the service told at all; how many it did not tell of.
    pub(crate) fn lags(&self) -> (Vec<Lag>, usize) {
        let lag = |fault: &Fault| {
            let machine = crowd::name(fault.machine);
            let (raised, listed) = self.on_list.get(&(machine.clone(), fault.kind.to_owned()))?;
            let since = |seen: Timestamp| (seen - *raised).as_secs_f64();
            let page = self.on_page.get(&(machine, fault.kind)).map(|seen| since(*seen));
            Some(Lag { kind: fault.kind, page, list: Some(since(*listed)) })
        };
        let lags: Vec<Lag> = self.faults.iter().filter_map(lag).collect();
        let untold = self.faults.len() - lags.len();
        (lags, untold)
    }
}

pub(crate) struct Looker {
    seen: Arc<Mutex<Seen>>,
    stop: Arc<AtomicBool>,
    running: Vec<JoinHandle<()>>,
}

impl Looker {
    pub(crate) fn start(address: &str, faults: &[Fault], machine: &str) -> Outcome<Looker> {
        let seen = Arc::new(Mutex::new(Seen { faults: faults.to_vec(), ..Seen::default() }));
        let stop = Arc::new(AtomicBool::new(false));
        let mut running = Vec::new();
        let mut run = |work: fn(&Task) -> Outcome<()>| -> Outcome<()> {
            let task = Task {
                address: address.to_owned(),
                machine: machine.to_owned(),
                faults: faults.to_vec(),
                seen: seen.clone(),
                stop: stop.clone(),
                began: now(),
            };
            running.push(thread::Builder::new().spawn(move || {
                if let Err(error) = work(&task) {
                    task.seen().troubles.push(error.to_string());
                }
            })?);
            Ok(())
        };
        run(watch_page)?;
        run(load_pages)?;
        run(ask_list)?;
        Ok(Looker { seen, stop, running })
    }

    pub(crate) fn stop(self) -> Seen {
        self.stop.store(true, Ordering::Relaxed);
        self.running.into_iter().for_each(|thread| {
            let _ = thread.join();
        });
        std::mem::take(&mut *self.seen.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

struct Task {
    address: String,
    machine: String,
    faults: Vec<Fault>,
    seen: Arc<Mutex<Seen>>,
    stop: Arc<AtomicBool>,
    began: Timestamp,
}

impl Task {
    fn goes_on(&self) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }

    fn seen(&self) -> std::sync::MutexGuard<'_, Seen> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What the works page says of a finding of that kind.
fn words_of(kind: &str) -> &'static str {
    match kind {
        "scorch" => "above its scorch limit",
        "probe-fault" => "chocolate probe",
        _ => "no reading has come",
    }
}

/// Keeps the works page alive and notes when a lane first speaks of its fault.
fn watch_page(task: &Task) -> Outcome<()> {
    let by_lane: BTreeMap<String, Vec<Fault>> = task.faults.iter().fold(BTreeMap::new(), |mut by, fault| {
        by.entry(format!("lane-{}", crowd::name(fault.machine))).or_insert_with(Vec::new).push(*fault);
        by
    });
    for data in http::events(&task.address, "/api/v1/live?page=floor")? {
        let at = now();
        let news: Value = serde_json::from_str(&data)?;
        let mut seen = task.seen();
        seen.live.0 += 1;
        seen.live.1 += data.len() as u64;
        for (lane, text) in news["parts"].as_object().into_iter().flatten() {
            let Some(faults) = by_lane.get(lane) else { continue };
            let text = text.as_str().unwrap_or_default().to_lowercase();
            for fault in faults {
                let is_on = task.began + Span::from_secs(fault.from as i64) <= at;
                if is_on && says(&text, fault.kind) {
                    seen.on_page.entry((crowd::name(fault.machine), fault.kind)).or_insert(at);
                }
            }
        }
        drop(seen);
        if !task.goes_on() {
            break;
        }
    }
    Ok(())
}

/// Does the sentence of a lane's first finding speak of this kind?
fn says(lane: &str, kind: &str) -> bool {
    let action = lane.split_once("lane-action").map_or("", |(_, action)| action);
    action.contains(words_of(kind))
}

fn load_pages(task: &Task) -> Outcome<()> {
    let paths = ["/".to_owned(), format!("/machines/{}", task.machine), "/findings".to_owned()];
    while task.goes_on() {
        for path in &paths {
            let began = Instant::now();
            http::get(&task.address, path)?;
            let took = began.elapsed().as_secs_f64() * 1000.0;
            task.seen().loads.entry(path.clone()).or_default().push(took);
        }
        sleep_while(task, LOAD_EVERY);
    }
    Ok(())
}

fn ask_list(task: &Task) -> Outcome<()> {
    while task.goes_on() {
        for kind in ["scorch", "probe-fault", "silent"] {
            let path = format!("/api/v1/findings?kind={kind}&limit={ASKED}");
            let listed: Value = serde_json::from_str(&http::get(&task.address, &path)?)?;
            let at = now();
            for finding in listed["findings"].as_array().into_iter().flatten() {
                let (Some(machine), Some(raised)) =
                    (finding["machine"].as_str(), finding["raised_at"].as_str())
                else {
                    continue;
                };
                let key = (machine.to_owned(), kind.to_owned());
                let raised: Timestamp = raised.parse()?;
                task.seen().on_list.entry(key).or_insert((raised, at));
            }
        }
        sleep_while(task, ASK_EVERY);
    }
    Ok(())
}

fn sleep_while(task: &Task, length: Duration) {
    let until = Instant::now() + length;
    while task.goes_on() && Instant::now() < until {
        thread::sleep(Duration::from_millis(50));
    }
}

//! The machines: one connection on which a thousand of them speak, each channel in its own message with a time of its own.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

use intake::{BrokerAddress, Pace, ReplayConfig};
use model::{Span, Timestamp};
use wire::Message;

use crate::course::{self, Course, FALLS, SOAKS, noise};
use crate::{Outcome, process};

/// Channels a machine, and what they are called.
pub(crate) const CHANNELS: [&str; 3] = ["chocolate", "jacket", "setpoint"];
/// A fault of each kind begins so often, each on a machine of its own.
const FAULT_EVERY: u64 = 30;
/// The first ones: after some five minutes the watch knows what a machine is at.
const FIRST_FAULT: u64 = 330;
/// A fault is over after so long.
const FAULT_LASTS: u64 = 90;
/// How fast a scorching charge rises, °C/s: slow enough to be no lone jump.
const SCORCH_RISE: f64 = 0.8;

/// What is wrong with a machine, and from which second of the run on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) kind: &'static str,
    pub(crate) machine: usize,
    pub(crate) from: u64,
}

/// Those who publish.
pub(crate) struct Crowd {
    running: JoinHandle<Outcome<u64>>,
    done: Arc<AtomicBool>,
    faults: Vec<Fault>,
}

impl Crowd {
    pub(crate) fn start(url: &str, machines: usize, seconds: u64) -> Outcome<Crowd> {
        let broker: BrokerAddress = url.parse()?;
        let faults = faults(machines, seconds);
        let done = Arc::new(AtomicBool::new(false));
        let (told, wrong) = (done.clone(), faults.clone());
        let running = thread::Builder::new().name("crowd".to_owned()).spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            let config = ReplayConfig::new(broker, Pace::REAL_TIME);
            let sent = runtime.block_on(intake::replay(config, messages(machines, seconds, &wrong), |_| {}));
            told.store(true, Ordering::Relaxed);
            let sent = sent?;
            assert_eq!(sent.refused, 0, "the broker takes everything");
            Ok(sent.published)
        })?;
        Ok(Crowd { running, done, faults })
    }

    pub(crate) fn faults(&self) -> &[Fault] {
        &self.faults
    }

    pub(crate) fn is_done(&self) -> bool {
        self.done.load(Ordering::Relaxed)
    }

    /// How many messages the broker has acknowledged.
    pub(crate) fn join(self) -> Outcome<u64> {
        self.running.join().map_err(|_| "the crowd has panicked")?
    }
}

pub(crate) fn name(n: usize) -> String {
    format!("kettle-{n:04}")
}

/// The plant file of so many kettles.
pub(crate) fn plant_text(machines: usize, url: &str) -> String {
    let mut text = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"{url}\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n"
    );
    for n in 0..machines {
        text += &format!(
            "[[machine]]\nid = \"{}\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n",
            name(n)
        );
    }
    text
}

/// One of each kind at a time, each machine once, and each where its kind is told of: a charge scorches from the soak, and an idle
/// machine is not silent.
fn faults(machines: usize, seconds: u64) -> Vec<Fault> {
    let rounds = (FIRST_FAULT..seconds.saturating_sub(FAULT_LASTS + 30)).step_by(FAULT_EVERY as usize);
    let mut free: BTreeSet<usize> = (0..machines).collect();
    let mut faults = Vec::new();
    for from in rounds {
        for (kind, place) in [("scorch", SOAKS), ("probe-fault", FALLS), ("silent", FALLS)] {
            let is_there =
                |&&machine: &&usize| place.contains(&course::place(machine, machines, from as usize));
            if let Some(machine) = free.iter().find(is_there).copied() {
                free.remove(&machine);
                faults.push(Fault { kind, machine, from });
            }
        }
    }
    faults
}

/// Message after message, evenly spread over each second, due when its `arrived` says.
fn messages(machines: usize, seconds: u64, faults: &[Fault]) -> impl Iterator<Item = Message> {
    let (course, began) = (Course::new(), process::now());
    let mut wrong: Vec<Vec<Fault>> = vec![Vec::new(); machines];
    faults.iter().for_each(|fault| wrong[fault.machine].push(*fault));
    let topics: Vec<String> = (0..machines).map(|n| format!("works/{}", name(n))).collect();
    let steps = machines * CHANNELS.len();
    (0..seconds as usize * steps).filter_map(move |n| {
        let (second, step) = (n / steps, n % steps);
        let (machine, channel) = (step / CHANNELS.len(), step % CHANNELS.len());
        let at = began + Span::from_millis((n as u64 * 1_000 / steps as u64) as i64);
        let fault = wrong[machine]
            .iter()
            .find(|fault| (fault.from..fault.from + FAULT_LASTS).contains(&(second as u64)));
        let usual = course.chocolate(machine, machines, second);
        let value = match (CHANNELS[channel], fault) {
            ("chocolate", Some(fault)) => faulty(fault, second as u64, usual)?,
            ("chocolate", None) => usual,
            ("jacket", _) => usual + 1.5 + noise(machine + 7, second) * 0.1,
            _ => course::set_point(machine, machines, second),
        };
        let payload = payload(CHANNELS[channel], at, value);
        Some(Message { topic: topics[machine].clone(), payload, arrived: at, retained: false })
    })
}

/// The chocolate's value; `None` where nothing is sent.
fn faulty(fault: &Fault, second: u64, usual: f64) -> Option<f64> {
    let since = (second - fault.from) as f64;
    match fault.kind {
        "scorch" => Some((usual + SCORCH_RISE * since).min(58.0)),
        "probe-fault" => Some(200.0),
        _ => None,
    }
}

fn payload(channel: &str, at: Timestamp, value: f64) -> Vec<u8> {
    let millis = at.as_millis();
    let (seconds, rest) = (millis / 1_000, millis % 1_000);
    format!(r#"[{{"n":"{channel}","u":"Cel","t":{seconds}.{rest:03},"v":{value:.2}}}]"#).into_bytes()
}

//! One file a command: what the user typed becomes what is meant.

pub(crate) mod analyse;
pub(crate) mod audit;
pub(crate) mod backup;
pub(crate) mod check;
pub(crate) mod demo;
pub(crate) mod doctor;
pub(crate) mod export;
pub(crate) mod import;
pub(crate) mod key;
pub(crate) mod message_trial;
pub(crate) mod named;
pub(crate) mod replay;
pub(crate) mod restore;
pub(crate) mod review;
pub(crate) mod seed;
pub(crate) mod serve;
pub(crate) mod simulate;
pub(crate) mod streams;
pub(crate) mod user;

use std::fs::File;
use std::future::Future;
use std::io::Read;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::{Credentials, EmbeddedBroker, EmbeddedListen};
use plant::{Mqtt, Plant, parse_plant};
use tracing::warn;

/// A plant of a thousand machines with everything said about them has half a megabyte.
const LARGEST_PLANT_FILE: u64 = 8 << 20;

/// The text of a plant file.
pub(crate) fn plant_text(path: &Path) -> anyhow::Result<String> {
    let mut text = String::new();
    File::open(path)
        .and_then(|file| file.take(LARGEST_PLANT_FILE + 1).read_to_string(&mut text))
        .with_context(|| format!("cannot read the plant file {}", path.display()))?;
    if LARGEST_PLANT_FILE < text.len() as u64 {
        bail!("{} is larger than {LARGEST_PLANT_FILE} bytes, and no plant file", path.display());
    }
    Ok(text)
}

/// Reads a plant file and refuses it with every fault at once.
pub(crate) fn read_plant(path: &Path) -> anyhow::Result<Arc<Plant>> {
    parse_plant_text(path, &plant_text(path)?)
}

/// The plant of a text that stood at `path`.
pub(crate) fn parse_plant_text(path: &Path, text: &str) -> anyhow::Result<Arc<Plant>> {
    match parse_plant(text) {
        Ok(plant) => Ok(Arc::new(plant)),
        Err(faults) => {
            let lines: Vec<String> =
                faults.iter().map(|fault| format!("{}: {fault}", path.display())).collect();
            bail!("the plant file has faults\n{}", lines.join("\n"))
        }
    }
}

/// Where the broker inside the service listens: to senders of MQTT 3.1.1 on the port of the plant file, to those of MQTT 5.0 on the one behind it.
pub(crate) fn embedded_listen(mqtt: &Mqtt) -> EmbeddedListen {
    let on = |port| SocketAddr::new(mqtt.listen.ip(), port);
    EmbeddedListen { v311: on(mqtt.listen.port()), v5: on(mqtt.listen.port() + 1) }
}

/// Starts the broker inside the service.
pub(crate) fn embedded_broker(mqtt: &Mqtt, login: Option<&Credentials>) -> anyhow::Result<EmbeddedBroker> {
    if !mqtt.listen.ip().is_loopback() {
        warn!(
            listen = %mqtt.listen,
            "the broker inside the service has no TLS: user and password go over the network in the clear; keep it on one that you trust"
        );
    }
    Ok(EmbeddedBroker::start(embedded_listen(mqtt), login)?)
}

/// What sets reports as PDF, if the program was built with it.
#[cfg(feature = "pdf")]
pub(crate) fn paper() -> Option<web::Paper> {
    Some(web::Paper::new(|source, files| paper::pdf(source, files).map_err(|fault| fault.to_string())))
}

/// What sets reports as PDF: this program was built without it.
#[cfg(not(feature = "pdf"))]
pub(crate) fn paper() -> Option<web::Paper> {
    None
}

/// Runs `work` on a runtime of its own.
pub(crate) fn block_on<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("cannot start the runtime")?
        .block_on(work)
}

/// Resolves when the program is told to stop: SIGTERM, or ctrl-c at a terminal. It listens from this call on, so that a SIGTERM that
/// comes while the service starts is heard, too.
pub(crate) fn told_to_stop() -> impl Future<Output = ()> {
    let term = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate());
    async move {
        let Ok(mut term) = term else { return std::future::pending().await };
        tokio::select! {
            _ = term.recv() => {}
            _ = tokio::signal::ctrl_c() => {}
        }
    }
}

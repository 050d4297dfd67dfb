//! One file a command: what the user typed becomes what is meant.

pub(crate) mod analyse;
pub(crate) mod backup;
pub(crate) mod check;
pub(crate) mod demo;
pub(crate) mod export;
pub(crate) mod replay;
pub(crate) mod restore;
pub(crate) mod serve;
pub(crate) mod simulate;
pub(crate) mod streams;

use std::fs;
use std::future::Future;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::{BrokerAddress, EmbeddedBroker, EmbeddedListen};
use plant::{BrokerUrl, Plant, parse_plant};
use tracing::warn;

/// Reads a plant file and refuses it with every fault at once.
pub(crate) fn read_plant(path: &Path) -> anyhow::Result<Arc<Plant>> {
    let text =
        fs::read_to_string(path).with_context(|| format!("cannot read the plant file {}", path.display()))?;
    match parse_plant(&text) {
        Ok(plant) => Ok(Arc::new(plant)),
        Err(faults) => {
            let lines: Vec<String> =
                faults.iter().map(|fault| format!("{}: {fault}", path.display())).collect();
            bail!("the plant file has faults\n{}", lines.join("\n"))
        }
    }
}

/// Where a broker's address points.
pub(crate) fn broker_address(url: &BrokerUrl) -> anyhow::Result<BrokerAddress> {
    match url {
        BrokerUrl::Tcp { host, port } => Ok(BrokerAddress::new(host, *port)),
        BrokerUrl::Tls { .. } => {
            bail!("mqtts:// comes with a later version; use mqtt:// on a network that you trust")
        }
        BrokerUrl::Embedded => bail!(
            "`embedded` starts a broker inside the service; this needs one that runs, such as mqtt://127.0.0.1:1883"
        ),
    }
}

/// Starts the broker inside the service: sensors of MQTT 3.1.1 on the usual port, those of MQTT 5.0 on the one behind it.
pub(crate) fn embedded_broker() -> anyhow::Result<EmbeddedBroker> {
    warn!(
        "the broker inside the service takes messages from anybody on this network; keep it on one that you trust"
    );
    let anywhere = |port| SocketAddr::from(([0, 0, 0, 0], port));
    let listen = EmbeddedListen { v311: anywhere(EMBEDDED_PORT), v5: anywhere(EMBEDDED_PORT + 1) };
    Ok(EmbeddedBroker::start(listen)?)
}

/// The port that is registered for MQTT (IANA).
const EMBEDDED_PORT: u16 = 1883;

/// Runs `work` on a runtime of its own.
pub(crate) fn block_on<T>(work: impl Future<Output = anyhow::Result<T>>) -> anyhow::Result<T> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("cannot start the runtime")?
        .block_on(work)
}

/// Resolves when the program is told to stop: SIGTERM, or ctrl-c at a terminal.
pub(crate) async fn told_to_stop() {
    let mut term = match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(term) => term,
        Err(_) => return std::future::pending().await,
    };
    tokio::select! {
        _ = term.recv() => {}
        _ = tokio::signal::ctrl_c() => {}
    }
}

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
pub(crate) mod replay;
pub(crate) mod restore;
pub(crate) mod review;
pub(crate) mod seed;
pub(crate) mod serve;
pub(crate) mod simulate;
pub(crate) mod streams;
pub(crate) mod user;

use std::collections::BTreeMap;
use std::fs::File;
use std::future::Future;
use std::io::Read;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::{Credentials, EmbeddedBroker, EmbeddedListen, IdentityFault, read_secret};
use plant::{ContactWay, Mqtt, PasswordFrom, Plant, parse_plant};
use reach::{MailLogin, ReachConfig, Secret};
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

/// Who is told of alarms, with what it takes to reach them; what cannot be used is told with its line.
pub(crate) fn reach_config(
    plant: &Plant,
    path: &Path,
    origin: Option<String>,
) -> Result<ReachConfig, Vec<IdentityFault>> {
    let reach = plant.reach.clone().with_files_in(path.parent().unwrap_or(Path::new(".")));
    let mut faults = Vec::new();
    let login = reach.mail.as_ref().and_then(|mail| mail.login.as_ref());
    let login = login.and_then(|login| {
        Some(MailLogin {
            user: login.user.clone(),
            password: read_secret(&login.password).map_err(|fault| faults.push(fault)).ok()?,
        })
    });
    let mut secrets = BTreeMap::new();
    for contact in &reach.contacts {
        let ContactWay::Webhook { secret: from, .. } = &contact.way else { continue };
        let Some(text) = read_secret(from).map_err(|fault| faults.push(fault)).ok() else { continue };
        match Secret::new(&text) {
            Ok(secret) => drop(secrets.insert(contact.id.clone(), secret)),
            Err(says) => {
                let (key, line) = match from {
                    PasswordFrom::File(file) => (file.key, file.line),
                    PasswordFrom::Environment { key, line, .. } => (*key, *line),
                };
                let says = format!(
                    "`{key}`: what stands there signs no webhook: {says}; take the one that the receiver gives out, or a long random text"
                );
                faults.push(IdentityFault { line, says });
            }
        }
    }
    if faults.is_empty() { Ok(ReachConfig { reach, login, secrets, origin }) } else { Err(faults) }
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

/// A fault in what the plant file names, told like one in the file itself.
pub(crate) fn in_plant_file(path: &Path, fault: &IdentityFault) -> anyhow::Error {
    anyhow::anyhow!("the plant file names something that cannot be used\n{}", fault_line(path, fault))
}

/// File, line and sentence.
pub(crate) fn fault_line(path: &Path, fault: &IdentityFault) -> String {
    format!("{}: line {}: {fault}", path.display(), fault.line)
}

/// Starts the broker inside the service: sensors of MQTT 3.1.1 on the port of the plant file, those of MQTT 5.0 on the one behind it.
pub(crate) fn embedded_broker(mqtt: &Mqtt, login: Option<&Credentials>) -> anyhow::Result<EmbeddedBroker> {
    let on = |port| SocketAddr::new(mqtt.listen.ip(), port);
    let listen = EmbeddedListen { v311: on(mqtt.listen.port()), v5: on(mqtt.listen.port() + 1) };
    if !mqtt.listen.ip().is_loopback() {
        warn!(
            listen = %mqtt.listen,
            "the broker inside the service has no TLS: user and password go over the network in the clear; keep it on one that you trust"
        );
    }
    Ok(EmbeddedBroker::start(listen, login)?)
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

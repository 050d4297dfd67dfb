//! `halfdegree serve`: the service for a plant of one's own.

use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::{BrokerAddress, Credentials};
use model::Timestamp;
use plant::BrokerUrl;
use service::{Broker, DataFolder, Keep, ServiceConfig};
use tokio::net::TcpListener;
use tracing::warn;
use web::{Entries, Reading, WebConfig};

use super::{block_on, embedded_broker, told_to_stop};
use crate::args::{ReadingArg, ServeArgs};

/// What people should know where nothing is encrypted.
const IN_THE_CLEAR: &str =
    "Nothing is encrypted between your device and this service: keep it on a network that you trust.";

pub(crate) fn run(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    let plant_text = super::plant_text(&args.plant)?;
    let plant = super::parse_plant_text(&args.plant, &plant_text)?;
    let data = DataFolder::new(&args.data);
    let is_for_others = !args.listen.ip().is_loopback() || args.origin.is_some();
    if is_for_others && !data.has_users()? {
        bail!(
            "cannot listen on {}: nobody could sign in, because there are no users. Add the first one with `halfdegree user add --data {} NAME --role quality`, or listen on 127.0.0.1 for this computer alone",
            args.listen,
            args.data.display()
        );
    }
    let mut notes = Vec::new();
    if !args.listen.ip().is_loopback() && args.origin.is_none() {
        warn!(listen = %args.listen, "pages and passwords go over the network in the clear; keep it on one that you trust, or put TLS before it");
        notes.push(IN_THE_CLEAR.to_owned());
    }
    let folder = args.plant.parent().unwrap_or(std::path::Path::new("."));
    let mqtt = plant.mqtt.clone().with_files_in(folder);
    let is_embedded = mqtt.url == BrokerUrl::Embedded;
    let named = |fault: intake::IdentityFault| super::in_plant_file(&args.plant, &fault);
    let credentials = Credentials::read(&mqtt).map_err(named)?;
    let address = if is_embedded {
        embedded_broker(&mqtt, credentials.as_ref())?.address()
    } else {
        BrokerAddress::read(&mqtt).map_err(|error| {
            if let intake::IntakeError::Identity(fault) = error { named(fault) } else { error.into() }
        })?
    };
    let reach = super::reach_config(&plant, &args.plant, args.origin.clone())
        .map_err(|faults| super::in_plant_file(&args.plant, &faults[0]))?;
    let config = ServiceConfig {
        plant,
        plant_text,
        data,
        broker: Broker { address, client_id: mqtt.client_id, credentials, is_embedded, is_new: false },
        clock: Arc::new(|| Timestamp::from(jiff::Timestamp::now())),
        web: WebConfig {
            dashboards: args.dashboards.clone(),
            entries: Entries::Closed,
            reading: reading(args.reading, is_for_others),
            origin: args.origin.clone(),
            notes,
            paper: super::paper(),
            ..WebConfig::default()
        },
        keep: args.keep_days.map_or(Keep::Everything, Keep::Days),
        reach,
    };
    block_on(async {
        let stop = told_to_stop();
        let listener = TcpListener::bind(args.listen).await.with_context(|| {
            format!("cannot listen on {}; is another service running there?", args.listen)
        })?;
        println!("Pages at http://{}/", listener.local_addr()?);
        service::serve(config, listener, stop).await?;
        Ok(())
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Whoever listens to others shows them nothing before they have signed in, unless told to.
fn reading(asked: Option<ReadingArg>, is_for_others: bool) -> Reading {
    match asked {
        Some(ReadingArg::Open) => Reading::Open,
        Some(ReadingArg::SignedIn) => Reading::SignedIn,
        None if is_for_others => Reading::SignedIn,
        None => Reading::Open,
    }
}

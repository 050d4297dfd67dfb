//! `halfdegree serve`: the service for a plant of one's own.

use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::{BrokerAddress, Credentials};
use model::Timestamp;
use plant::BrokerUrl;
use service::{Broker, DataFolder, Keep, ServiceConfig};
use tokio::net::TcpListener;
use web::{Entries, WebConfig};

use super::{block_on, embedded_broker, told_to_stop};
use crate::args::ServeArgs;

pub(crate) fn run(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    let plant_text = super::plant_text(&args.plant)?;
    let plant = super::parse_plant_text(&args.plant, &plant_text)?;
    if !args.listen.ip().is_loopback() {
        bail!(
            "cannot listen on {}: signing in comes with a later version, so the pages are for this computer alone; use 127.0.0.1",
            args.listen
        );
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
    let config = ServiceConfig {
        plant,
        plant_text,
        data: DataFolder::new(&args.data),
        broker: Broker { address, client_id: mqtt.client_id, credentials, is_embedded, is_new: false },
        clock: Arc::new(|| Timestamp::from(jiff::Timestamp::now())),
        web: WebConfig {
            dashboards: args.dashboards.clone(),
            entries: Entries::Closed,
            paper: super::paper(),
            ..WebConfig::default()
        },
        keep: args.keep_days.map_or(Keep::Everything, Keep::Days),
    };
    block_on(async {
        let listener = TcpListener::bind(args.listen).await.with_context(|| {
            format!("cannot listen on {}; is another service running there?", args.listen)
        })?;
        println!("Pages at http://{}/", listener.local_addr()?);
        service::serve(config, listener, told_to_stop()).await?;
        Ok(())
    })?;
    Ok(ExitCode::SUCCESS)
}

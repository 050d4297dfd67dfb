//! `halfdegree serve`: the service for a plant of one's own.
//!
//! SIGHUP reads the plant file again. A good one takes the old one's place by an orderly stop and start inside the program, behind a
//! listener that stays open: the state is saved and taken up again as at any start, and the broker keeps what comes meanwhile. So there
//! is one way into a running service, and it is the one that every start proves.

mod manager;
mod site;

use std::net::{SocketAddr, TcpListener};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use intake::EmbeddedBroker;
use model::Timestamp;
use service::{Broker, DataFolder, Keep, ServiceConfig};
use tracing::{error, info, warn};
use web::{Entries, Reading, WebConfig};

use self::manager::{Order, Signals};
use self::site::Site;
use super::block_on;
use crate::args::{ReadingArg, ServeArgs};
use crate::say::announce;

/// What people should know where nothing is encrypted.
const IN_THE_CLEAR: &str =
    "Nothing is encrypted between your device and this service: keep it on a network that you trust.";

pub(crate) fn run(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    let mut site = Site::read(&args.plant, args.origin.clone())?;
    let web = pages(args)?;
    let inside = site.start_inside()?;
    block_on(async {
        // Before anything else: a SIGTERM that comes while the service starts is heard, too.
        let mut signals = Signals::listen()?;
        let listener = TcpListener::bind(args.listen).with_context(|| {
            format!("cannot listen on {}; is another service running there?", args.listen)
        })?;
        listener.set_nonblocking(true)?;
        let mut first_time = Some(listener.local_addr()?);
        let _watchdog = manager::keep_alive();
        loop {
            let mut order = None;
            let listener = tokio::net::TcpListener::from_std(listener.try_clone()?)?;
            let config = ServiceConfig {
                ready: ready(first_time.take()),
                ..config(args, &site, inside.as_ref(), web.clone())?
            };
            let told = async { order = Some(next(&mut signals, args, &site, &web).await) };
            service::serve(config, listener, told).await?;
            match order {
                Some(Order::Reload(new)) => site = *new,
                Some(Order::Stop) | None => return Ok(()),
            }
        }
    })?;
    Ok(ExitCode::SUCCESS)
}

/// What people are shown, and who may look.
fn pages(args: &ServeArgs) -> anyhow::Result<WebConfig> {
    let is_for_others = !args.listen.ip().is_loopback() || args.origin.is_some();
    if is_for_others && !DataFolder::new(&args.data).has_users()? {
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
    Ok(WebConfig {
        dashboards: args.dashboards.clone(),
        entries: Entries::Closed,
        reading: reading(args.reading, is_for_others),
        origin: args.origin.clone(),
        notes,
        paper: super::paper(),
        ..WebConfig::default()
    })
}

/// What is said once everything has been opened: to the service manager, and the first time to people where the pages are.
fn ready(pages: Option<SocketAddr>) -> Box<dyn FnOnce() + Send> {
    Box::new(move || {
        if let Some(address) = pages {
            announce!("Pages at http://{address}/");
        }
        manager::say_ready();
    })
}

fn config(
    args: &ServeArgs,
    site: &Site,
    inside: Option<&EmbeddedBroker>,
    web: WebConfig,
) -> anyhow::Result<ServiceConfig> {
    let address = match (inside, &site.named.broker) {
        (Some(inside), _) => inside.address(),
        (None, Some(outside)) => outside.clone(),
        (None, None) => bail!("there is no broker"),
    };
    Ok(ServiceConfig {
        plant: site.plant.clone(),
        plant_text: site.text.clone(),
        data: DataFolder::new(&args.data),
        broker: Broker {
            address,
            client_id: site.plant.mqtt.client_id.clone(),
            credentials: site.named.credentials.clone(),
            is_embedded: inside.is_some(),
            is_new: false,
        },
        clock: Arc::new(|| Timestamp::from(jiff::Timestamp::now())),
        web,
        keep: args.keep_days.map_or(Keep::Everything, Keep::Days),
        reach: site.named.reach.clone(),
        ready: Box::new(|| ()),
    })
}

/// Waits for an order that can be carried out. A plant file with faults is told and changes nothing.
async fn next(signals: &mut Signals, args: &ServeArgs, running: &Site, web: &WebConfig) -> Order {
    loop {
        match signals.next().await {
            manager::Signal::Stop => {
                manager::say_stopping();
                return Order::Stop;
            }
            manager::Signal::ReadAgain => {}
        }
        manager::say_reloading();
        let read = Site::read(&args.plant, args.origin.clone()).and_then(|new| {
            new.may_follow(running)?;
            web::check_dashboards(web)?;
            Ok(new)
        });
        match read {
            Ok(new) => {
                let changes = new.changes_since(running);
                info!(
                    plant = %args.plant.display(),
                    changes = %if changes.is_empty() { "none".to_owned() } else { changes.join("; ") },
                    "the plant file is read again and takes the old one's place; arguments such as --listen need a restart"
                );
                return Order::Reload(Box::new(new));
            }
            Err(refused) => {
                error!(
                    "the plant file is not taken over, and the service goes on with the old one: {refused:#}"
                );
                manager::say_ready();
            }
        }
    }
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

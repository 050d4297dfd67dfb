//! `halfdegree demo`: the Tern Street works at faster than real time, with more than a week behind it.
//!
//! Nothing of it touches the network: broker and pages listen on loopback, the data lies in a temporary folder that goes with the
//! program. The past goes straight into journal and store; from now on the works publishes over MQTT like anybody else.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context, bail};
use intake::{Clock, EmbeddedBroker, EmbeddedListen, Pace, ReplayConfig, replay};
use model::{Arrival, Span, Timestamp};
use reach::ReachConfig;
use service::{Broker, DataFolder, Keep, ServiceConfig};
use simulator::{Works, demo_works};
use tracing::warn;
use web::{Entries, WebConfig};
use wire::{Decoder, Message};

use super::simulate::{TERN_STREET, tern_street};
use super::{block_on, told_to_stop};
use crate::args::DemoArgs;
use crate::say::{announce, note};

/// Faster than this the works would run away from its own network.
const FASTEST: f64 = 120.0;
/// The works is played on in such steps.
const STEP: Span = Span::from_secs(2);

pub(crate) fn run(args: &DemoArgs) -> anyhow::Result<ExitCode> {
    if !(1.0..=FASTEST).contains(&args.speed) {
        bail!("the demo runs 1 to {FASTEST} times as fast as real time, not {}", args.speed);
    }
    // Before the past is played, which takes a while.
    let listener = TcpListener::bind(args.listen)
        .with_context(|| format!("cannot listen on {}; is another service running there?", args.listen))?;
    listener.set_nonblocking(true)?;
    let plant = tern_street();
    let folder = tempfile::Builder::new()
        .prefix("halfdegree-demo-")
        .tempdir()
        .context("cannot make a temporary folder")?;
    let data = DataFolder::new(folder.path());
    let began = Instant::now();
    let now = Timestamp::from(jiff::Timestamp::now()).floor(Span::from_secs(1));
    let mut works = demo_works(&plant, now).without_truth();
    note!("Playing the Tern Street works' last week ...");
    let mut decoder = Decoder::new(&plant);
    let readings = service::fill(&data, &plant, past(&mut works, &mut decoder, now))?;
    note!("{readings} readings and events in {:.1} s.", began.elapsed().as_secs_f64());

    let anywhere = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let broker = EmbeddedBroker::start(EmbeddedListen { v311: anywhere, v5: anywhere }, None)?;
    let clock = clock(now, args.speed);
    let config = ServiceConfig {
        plant,
        plant_text: TERN_STREET.to_owned(),
        data,
        broker: Broker {
            address: broker.address(),
            client_id: "halfdegree-demo".to_owned(),
            credentials: None,
            is_embedded: true,
            is_new: true,
        },
        clock,
        web: WebConfig {
            dashboards: args.dashboards.clone(),
            entries: Entries::OpenOnLoopback,
            paper: super::paper(),
            ..WebConfig::default()
        },
        keep: Keep::Everything,
        reach: ReachConfig::default(),
        ready: Box::new(|| ()),
    };
    let pace = Pace::times(args.speed).context("the speed is checked above")?;
    block_on(async {
        let stop = told_to_stop();
        let listener = tokio::net::TcpListener::from_std(listener)?;
        announce!(
            "The Tern Street works is at http://{}/ ({} times as fast as real time; ctrl-c ends it)",
            listener.local_addr()?,
            args.speed
        );
        let publishing = tokio::spawn(async move {
            if let Err(error) = replay(ReplayConfig::new(broker.address(), pace), live(works), |_| {}).await {
                warn!(error = &error as &dyn std::error::Error, "the works has stopped publishing");
            }
        });
        let served = service::serve(config, listener, stop).await;
        publishing.abort();
        Ok(served?)
    })?;
    Ok(ExitCode::SUCCESS)
}

/// What has arrived up to now.
fn past<'a>(
    works: &'a mut Works,
    decoder: &'a mut Decoder,
    now: Timestamp,
) -> impl Iterator<Item = Arrival> + 'a {
    works.messages(now).flat_map(|message| decoder.decode(&message).arrivals)
}

/// What will be published from now on, without end.
fn live(mut works: Works) -> impl Iterator<Item = Message> + Send {
    std::iter::from_fn(move || {
        let next = works.now() + STEP;
        Some(works.advance_to(next))
    })
    .flatten()
}

/// A clock that starts at the works' now and runs as fast as the works.
fn clock(now: Timestamp, speed: f64) -> Clock {
    let began = Instant::now();
    Arc::new(move || now + Span::from_millis((began.elapsed().as_secs_f64() * speed * 1000.0) as i64))
}

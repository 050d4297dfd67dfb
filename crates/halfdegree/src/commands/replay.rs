//! `halfdegree replay`: publishes a recorded stream again, with its own timing or faster.

use std::io::IsTerminal;
use std::process::ExitCode;

use anyhow::{Context, bail};
use intake::{BrokerAddress, Credentials, Pace, Progress, ReplayConfig, replay};
use plant::{BrokerUrl, Mqtt};
use wire::Message;
use wire::recording::Pipe;

use super::named::{folder_of, refused};
use super::streams::{Streams, Unread};
use super::{block_on, read_plant};
use crate::args::ReplayArgs;
use crate::say::{aside, note};

/// Messages between two words about progress at a terminal.
const TOLD_EVERY: u64 = 1_000;

pub(crate) fn run(args: &ReplayArgs) -> anyhow::Result<ExitCode> {
    let (broker, credentials) = broker(args)?;
    let pace = match args.speed {
        0.0 => Pace::UNPACED,
        speed => Pace::times(speed).with_context(|| {
            format!("`{speed}` is not a speed; a number above 0, or 0 for as fast as the broker takes it")
        })?,
    };
    let streams = Streams::open(&args.streams, Pipe::IsPassedOn)?;
    let (mut unread, mut messages) = (Unread::default(), 0_u64);
    let mut left_out = LeftOut::default();
    let readable = streams.filter_map(|line| match line {
        Ok(message) => {
            messages += 1;
            left_out.or_publish(message)
        }
        Err(fault) => {
            unread.line(&fault);
            None
        }
    });
    let at_terminal = std::io::stderr().is_terminal();
    let told = |progress: Progress| {
        if at_terminal && progress.published.is_multiple_of(TOLD_EVERY) {
            aside(format_args!("\r{} messages acknowledged", progress.published));
        }
    };
    let done = block_on(async {
        let config = ReplayConfig { credentials, ..ReplayConfig::new(broker, pace) };
        Ok(replay(config, readable, told).await?)
    })?;
    unread.tell();
    unread.refuse(messages)?;
    left_out.tell();
    note!(
        "{}{} messages published, each acknowledged by the broker",
        if at_terminal { "\r" } else { "" },
        done.published
    );
    if 0 < unread.lines() {
        bail!("{} lines could not be read and were left out", unread.lines());
    }
    Ok(ExitCode::SUCCESS)
}

/// Messages that a broker would make into something else than they were.
#[derive(Debug, Default)]
struct LeftOut {
    kept: u64,
    standings: u64,
}

impl LeftOut {
    /// A broker hands on whatever is published as new, so that a message which it had only kept would count as measured or done now, unless
    /// it names its moment. And what the service told displays is for the service to say.
    fn or_publish(&mut self, message: Message) -> Option<Message> {
        if message.is_standing() {
            self.standings += 1;
            return None;
        }
        if message.retained && !message.names_a_moment() {
            self.kept += 1;
            return None;
        }
        Some(message)
    }

    fn tell(&self) {
        if 0 < self.kept {
            note!(
                "halfdegree: {} left out: the broker had kept them from earlier, and they do not say from when, so that they are no readings",
                self.kept
            );
        }
        if 0 < self.standings {
            note!(
                "halfdegree: {} left out: they tell displays of standings, which the service does itself",
                self.standings
            );
        }
    }
}

/// Where to, and who we are there: user, password and certificates come from the plant file, if one is given.
fn broker(args: &ReplayArgs) -> anyhow::Result<(BrokerAddress, Option<Credentials>)> {
    let url = BrokerUrl::parse(&args.to).map_err(anyhow::Error::msg)?;
    const EMBEDDED: &str = "`embedded` starts a broker inside the service; this needs one that runs, such as mqtt://127.0.0.1:1883";
    let path = match (&url, &args.plant) {
        (BrokerUrl::Embedded, _) => bail!(EMBEDDED),
        (BrokerUrl::Tls { .. }, None) => {
            bail!("for mqtts:// name the plant file, too (`--plant FILE`): it knows whom to trust")
        }
        (BrokerUrl::Tcp { host, port }, None) => return Ok((BrokerAddress::new(host, *port), None)),
        (BrokerUrl::Tcp { .. } | BrokerUrl::Tls { .. }, Some(path)) => path,
    };
    let plant = read_plant(path)?;
    let mqtt = Mqtt { url, ..plant.mqtt.clone().with_files_in(folder_of(path)) };
    let credentials = Credentials::read(&mqtt).map_err(|fault| refused(path, &[fault]))?;
    let address = BrokerAddress::read(&mqtt).map_err(|fault| refused(path, &[fault]))?;
    Ok((address.context(EMBEDDED)?, credentials))
}

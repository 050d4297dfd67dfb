//! What the system asks of a service and wants to hear from it: signals, and the messages of `sd_notify(3)`.
//!
//! Without a service manager (no `NOTIFY_SOCKET`) nothing is said to anybody.

use anyhow::Context;
use sd_notify::NotifyState;
use tokio::signal::unix::{self, SignalKind};
use tokio::task::JoinSet;
use tracing::warn;

use super::site::Site;

/// What a signal asks for.
pub(super) enum Signal {
    /// SIGTERM, or ctrl-c at a terminal.
    Stop,
    /// SIGHUP: read the plant file again.
    ReadAgain,
}

/// What the service is to do.
pub(super) enum Order {
    /// End.
    Stop,
    /// Go on with this.
    Reload(Box<Site>),
}

/// The signals, listened to from the start on, so that none is lost while the service is between two plant files.
pub(super) struct Signals {
    term: unix::Signal,
    interrupt: unix::Signal,
    hang_up: unix::Signal,
}

impl Signals {
    pub(super) fn listen() -> anyhow::Result<Signals> {
        let listen = |kind| unix::signal(kind).context("cannot listen to signals");
        Ok(Signals {
            term: listen(SignalKind::terminate())?,
            interrupt: listen(SignalKind::interrupt())?,
            hang_up: listen(SignalKind::hangup())?,
        })
    }

    pub(super) async fn next(&mut self) -> Signal {
        tokio::select! {
            biased;
            _ = self.term.recv() => Signal::Stop,
            _ = self.interrupt.recv() => Signal::Stop,
            _ = self.hang_up.recv() => Signal::ReadAgain,
        }
    }
}

pub(super) fn say_ready() {
    say(&[NotifyState::Ready]);
}

pub(super) fn say_stopping() {
    say(&[NotifyState::Stopping]);
}

/// With the moment, which a manager of the type `notify-reload` asks for.
pub(super) fn say_reloading() {
    match NotifyState::monotonic_usec_now() {
        Ok(moment) => say(&[NotifyState::Reloading, moment]),
        Err(_) => say(&[NotifyState::Reloading]),
    }
}

/// Tells a manager that asks for it that the program still runs, twice as often as it asks. Ends with what it returns.
pub(super) fn keep_alive() -> JoinSet<()> {
    let mut beside = JoinSet::new();
    if let Some(asked) = sd_notify::watchdog_enabled() {
        let mut beat = tokio::time::interval(asked / 2);
        beside.spawn(async move {
            loop {
                beat.tick().await;
                say(&[NotifyState::Watchdog]);
            }
        });
    }
    beside
}

fn say(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        warn!(%error, "the service manager cannot be told how the service is");
    }
}

//! A broker inside the process, for the demo and a small workshop without a broker of its own.
//!
//! MQTT 3.1.1 and 5.0 each have a port of their own, because the broker cannot tell them apart on one. What it cannot do:
//!
//! - Its queue lives in memory and is gone with the process. Sessions survive a lost connection, not a restart.
//! - A topic filter keeps the newest [`KEPT_BYTES_A_FILTER`] bytes; a subscriber that is away for longer loses the oldest.
//! - A hundred messages are on their way to one subscriber at a time, so blocks stay small.
//! - No TLS: it listens where it is told, and that should be this machine or the workshop's own network. With a login, every
//!   client has to show it; the plant file asks for one beyond this machine.
//! - It cannot be stopped on its own; it ends with the process.
//!
//! Never used by a plant that has a broker.

use std::collections::HashMap;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::thread;
use std::time::{Duration, Instant};

use rumqttd::{Broker, Config, ConnectionSettings, RouterConfig, ServerSettings};
use tracing::error;

use crate::IntakeError;
use crate::address::BrokerAddress;
use crate::identity::Credentials;

/// Clients at a time: a workshop's probes, panels and light towers many times over.
const CONNECTIONS: usize = 1_000;
/// What the decoder takes.
const LARGEST_PAYLOAD: usize = 4 << 20;
/// A message log of a filter is kept in pieces; the oldest piece goes when there are too many.
const SEGMENT_BYTES: usize = 1 << 20;
const SEGMENTS: usize = 16;
/// What a filter keeps for a subscriber that is away.
pub const KEPT_BYTES_A_FILTER: usize = SEGMENT_BYTES * SEGMENTS;
/// What the broker library itself takes as a maximum for one client.
const IN_FLIGHT: usize = 100;
/// A client that has connected has this long to say so.
const CONNECT_TIMEOUT_MS: u16 = 5_000;
/// Binding two ports takes microseconds; this only bounds the wait on an overloaded machine.
const STARTS_WITHIN: Duration = Duration::from_secs(5);

/// Where the embedded broker listens. Port 0 takes a free one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EmbeddedListen {
    /// For clients of MQTT 3.1.1: most sensors.
    pub v311: SocketAddr,
    /// For clients of MQTT 5.0, ourselves among them.
    pub v5: SocketAddr,
}

/// A running embedded broker.
#[derive(Debug)]
pub struct EmbeddedBroker {
    listen: EmbeddedListen,
}

impl EmbeddedBroker {
    /// Starts the broker and waits until it takes connections. With a `login`, nobody gets in without it.
    ///
    /// # Errors
    /// [`IntakeError::Embedded`] if a port is taken or cannot be listened on.
    pub fn start(listen: EmbeddedListen, login: Option<&Credentials>) -> Result<EmbeddedBroker, IntakeError> {
        let listen = EmbeddedListen { v311: settle(listen.v311)?, v5: settle(listen.v5)? };
        let mut broker = Broker::new(config(listen, login));
        thread::Builder::new()
            .name("embedded broker".to_owned())
            .spawn(move || {
                if let Err(cause) = broker.start() {
                    error!(error = %cause, "the embedded broker has stopped");
                }
            })
            .map_err(|cause| refused(listen.v311, &cause))?;
        wait_for(listen.v311)?;
        wait_for(listen.v5)?;
        Ok(EmbeddedBroker { listen })
    }

    /// Where our own intake connects: MQTT 5.0.
    pub fn address(&self) -> BrokerAddress {
        BrokerAddress::new(self.listen.v5.ip().to_string(), self.listen.v5.port())
    }

    /// Where it listens, with the ports that it got.
    pub fn listen(&self) -> EmbeddedListen {
        self.listen
    }
}

fn refused(listen: SocketAddr, cause: &dyn std::fmt::Display) -> IntakeError {
    IntakeError::Embedded { listen, why: cause.to_string() }
}

/// Finds out whether the address can be listened on, and which port stands behind 0. The broker library only logs a failure.
fn settle(listen: SocketAddr) -> Result<SocketAddr, IntakeError> {
    TcpListener::bind(listen)
        .and_then(|listener| listener.local_addr())
        .map_err(|cause| refused(listen, &cause))
}

fn wait_for(listen: SocketAddr) -> Result<(), IntakeError> {
    let started = Instant::now();
    loop {
        match TcpStream::connect_timeout(&listen, STARTS_WITHIN) {
            Ok(_) => return Ok(()),
            Err(cause) if started.elapsed() > STARTS_WITHIN => return Err(refused(listen, &cause)),
            Err(_) => thread::yield_now(),
        }
    }
}

fn config(listen: EmbeddedListen, login: Option<&Credentials>) -> Config {
    let server = |name: &str, listen| {
        let mut settings = ServerSettings {
            name: name.to_owned(),
            listen,
            tls: None,
            next_connection_delay_ms: 1,
            connections: ConnectionSettings {
                connection_timeout_ms: CONNECT_TIMEOUT_MS,
                max_payload_size: LARGEST_PAYLOAD,
                max_inflight_count: IN_FLIGHT,
                auth: None,
                external_auth: None,
                dynamic_filters: true,
            },
        };
        if let Some(login) = login.cloned() {
            // Not by the library's own table of users, which its `Debug` shows with their passwords.
            settings
                .set_auth_handler(move |_, user, password| std::future::ready(login.are(&user, &password)));
        }
        Some(HashMap::from([(name.to_owned(), settings)]))
    };
    Config {
        id: 0,
        router: RouterConfig {
            max_connections: CONNECTIONS,
            max_outgoing_packet_count: 200,
            max_segment_size: SEGMENT_BYTES,
            max_segment_count: SEGMENTS,
            ..RouterConfig::default()
        },
        v4: server("mqtt 3.1.1", listen.v311),
        v5: server("mqtt 5.0", listen.v5),
        ws: None,
        cluster: None,
        console: None,
        bridge: None,
        prometheus: None,
        metrics: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_that_is_taken_is_told() {
        let taken = TcpListener::bind("127.0.0.1:0").unwrap();
        let listen = EmbeddedListen { v311: taken.local_addr().unwrap(), v5: "127.0.0.1:0".parse().unwrap() };
        let error = EmbeddedBroker::start(listen, None).unwrap_err().to_string();
        assert!(
            error.starts_with(&format!("cannot start the embedded broker on {}", listen.v311)),
            "{error}"
        );
    }
}

//! Where the broker is, and whether the way there is TLS. `plant` reads the address; what cannot be used is told here.
//!
//! Never resolves a name and never connects.

use std::fmt;
use std::str::FromStr;

use plant::{BrokerUrl, Mqtt};

use crate::identity::Tls;
use crate::{IdentityFault, IntakeError};

/// Host and port of a broker, and how the connection is made safe, if it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerAddress {
    host: String,
    port: u16,
    tls: Option<Tls>,
}

impl BrokerAddress {
    /// A broker at `host` (a name or an IP address) and `port`, over plain TCP.
    pub fn new(host: impl Into<String>, port: u16) -> BrokerAddress {
        BrokerAddress { host: host.into(), port, tls: None }
    }

    /// The broker that `[mqtt]` names, with its certificate files read; `None` for the one inside the service, which has an address only once
    /// it has started.
    ///
    /// # Errors
    /// If a file cannot be used.
    pub fn read(mqtt: &Mqtt) -> Result<Option<BrokerAddress>, IdentityFault> {
        Ok(match &mqtt.url {
            BrokerUrl::Tcp { host, port } => Some(BrokerAddress::new(host, *port)),
            BrokerUrl::Tls { host, port } => {
                let tls = Tls::read(mqtt.ca.as_ref(), mqtt.client_certificate.as_ref())?;
                Some(BrokerAddress { host: host.clone(), port: *port, tls: Some(tls) })
            }
            BrokerUrl::Embedded => None,
        })
    }

    /// The host as rumqttc wants it: an IPv6 address in brackets, because it appends `:port`.
    pub(crate) fn host(&self) -> String {
        if self.host.contains(':') { format!("[{}]", self.host) } else { self.host.clone() }
    }

    /// The port.
    pub fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn transport(&self) -> rumqttc::Transport {
        match &self.tls {
            None => rumqttc::Transport::Tcp,
            Some(tls) => rumqttc::Transport::tls_with_config(rumqttc::TlsConfiguration::Rustls(tls.config())),
        }
    }
}

impl fmt::Display for BrokerAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scheme = if self.tls.is_some() { "mqtts" } else { "mqtt" };
        write!(f, "{scheme}://{}:{}", self.host(), self.port)
    }
}

impl FromStr for BrokerAddress {
    type Err = IntakeError;

    /// `mqtt://` alone: what TLS needs besides the address stands in `[mqtt]`.
    fn from_str(url: &str) -> Result<BrokerAddress, IntakeError> {
        let refuse = |why: String| IntakeError::Address { url: url.to_owned(), why };
        match BrokerUrl::parse(url).map_err(refuse)? {
            BrokerUrl::Tcp { host, port } => Ok(BrokerAddress::new(host, port)),
            BrokerUrl::Tls { .. } => Err(refuse("TLS needs more than an address".to_owned())),
            BrokerUrl::Embedded => {
                Err(refuse("the embedded broker has its address only once it has started".to_owned()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(url: &str) -> String {
        match url.parse::<BrokerAddress>() {
            Ok(address) => address.to_string(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn addresses_are_read() {
        assert_eq!(parse("mqtt://127.0.0.1:1884"), "mqtt://127.0.0.1:1884");
        assert_eq!(parse("mqtt://broker.tern/"), "mqtt://broker.tern:1883");
        assert_eq!(parse("mqtt://[::1]:1999"), "mqtt://[::1]:1999");
        assert_eq!(parse("mqtt://[::1]"), "mqtt://[::1]:1883");
    }

    #[test]
    fn what_cannot_be_used_is_told() {
        for (url, says) in [
            ("mqtts://broker", "TLS needs more than an address"),
            ("embedded", "only once it has started"),
            ("http://broker", "cannot use the broker address `http://broker`"),
        ] {
            let said = parse(url);
            assert!(said.contains(says), "{url}: {said}");
        }
    }
}

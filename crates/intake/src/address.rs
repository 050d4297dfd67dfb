//! Where the broker is, and who we are to it. `plant` reads the address; what this version cannot use is told here.
//!
//! Never resolves a name and never connects.

use std::fmt;
use std::str::FromStr;

use plant::BrokerUrl;

use crate::IntakeError;

/// Host and port of a broker that is spoken to over plain TCP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerAddress {
    host: String,
    port: u16,
}

/// Name and password for the broker.
#[derive(Clone, PartialEq, Eq)]
pub struct Credentials {
    /// The user's name.
    pub user: String,
    /// The password, which is never shown.
    pub password: String,
}

impl BrokerAddress {
    /// A broker at `host` (a name or an IP address) and `port`.
    pub fn new(host: impl Into<String>, port: u16) -> BrokerAddress {
        BrokerAddress { host: host.into(), port }
    }

    /// The host as rumqttc wants it: an IPv6 address in brackets, because it appends `:port`.
    pub(crate) fn host(&self) -> String {
        if self.host.contains(':') { format!("[{}]", self.host) } else { self.host.clone() }
    }

    /// The port.
    pub fn port(&self) -> u16 {
        self.port
    }
}

impl fmt::Display for BrokerAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "mqtt://{}:{}", self.host(), self.port)
    }
}

impl fmt::Debug for Credentials {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Credentials({}, …)", self.user)
    }
}

impl TryFrom<&BrokerUrl> for BrokerAddress {
    type Error = IntakeError;

    fn try_from(url: &BrokerUrl) -> Result<BrokerAddress, IntakeError> {
        let refuse = |why: &str| IntakeError::Address { url: url.to_string(), why: why.to_owned() };
        match url {
            BrokerUrl::Tcp { host, port } => Ok(BrokerAddress::new(host, *port)),
            BrokerUrl::Tls { .. } => {
                Err(refuse("TLS comes in a later version; use mqtt:// inside the plant's own network"))
            }
            BrokerUrl::Embedded => {
                Err(refuse("the embedded broker has its address only once it has started"))
            }
        }
    }
}

impl FromStr for BrokerAddress {
    type Err = IntakeError;

    fn from_str(url: &str) -> Result<BrokerAddress, IntakeError> {
        let parsed =
            BrokerUrl::parse(url).map_err(|why| IntakeError::Address { url: url.to_owned(), why })?;
        BrokerAddress::try_from(&parsed)
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
            ("mqtts://broker", "TLS comes in a later version"),
            ("embedded", "only once it has started"),
            ("http://broker", "cannot use the broker address `http://broker`"),
        ] {
            let said = parse(url);
            assert!(said.contains(says), "{url}: {said}");
        }
    }

    #[test]
    fn a_password_is_not_shown() {
        let credentials = Credentials { user: "ana".into(), password: "secret".into() };
        assert!(!format!("{credentials:?}").contains("secret"));
    }
}

//! What the plant file says about reaching people, with its secrets read.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use model::ContactId;
use plant::{Contact, ContactWay, Reach};
use rustls::{ClientConfig, RootCertStore};

use crate::mail::Mailer;
use crate::message::Message;
use crate::webhook::{Caller, Secret};

/// Name and password at the mail server.
#[derive(Clone, PartialEq, Eq)]
pub struct MailLogin {
    /// The user's name.
    pub user: String,
    /// The password, which is never shown.
    pub password: String,
}

impl fmt::Debug for MailLogin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "MailLogin({}, …)", self.user)
    }
}

/// Why somebody could not be reached, or never can be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReachError {
    /// Trying again can help.
    #[error("{0}")]
    Now(String),
    /// It was refused for good.
    #[error("{0}")]
    Never(String),
    /// A secret that signs nothing.
    #[error("the secret of {contact} is not one: {says}")]
    Secret {
        /// Whose.
        contact: String,
        /// Why.
        says: &'static str,
    },
    /// The means to call somebody cannot be made.
    #[error("cannot prepare to reach people: {0}")]
    Prepare(String),
}

/// Who can be reached, and how.
#[derive(Debug, Clone, Default)]
pub struct ReachConfig {
    /// What the plant file says.
    pub reach: Reach,
    /// Who we are at the mail server.
    pub login: Option<MailLogin>,
    /// What signs the webhooks of each contact.
    pub secrets: BTreeMap<ContactId, Secret>,
    /// How browsers call this service, for a link in the message.
    pub origin: Option<String>,
}

/// The ways out, ready to be used.
#[derive(Debug, Clone)]
pub(crate) struct Ways {
    mailer: Option<Mailer>,
    caller: Caller,
    secrets: BTreeMap<ContactId, Secret>,
}

impl Ways {
    pub(crate) fn new(config: &ReachConfig) -> Result<Ways, ReachError> {
        let tls = Arc::new(tls()?);
        let mail = config.reach.mail.clone();
        Ok(Ways {
            mailer: mail.map(|server| Mailer { server, login: config.login.clone(), tls }),
            caller: Caller::new()?,
            secrets: config.secrets.clone(),
        })
    }

    /// Tells `contact`; answered when whoever takes the message has it.
    pub(crate) async fn tell(&self, contact: &Contact, message: &Message) -> Result<(), ReachError> {
        match &contact.way {
            ContactWay::Mail(to) => match &self.mailer {
                Some(mailer) => mailer.send(to, message).await,
                None => Err(ReachError::Never("there is no [mail] in the plant file".to_owned())),
            },
            ContactWay::Webhook { url, .. } => match self.secrets.get(&contact.id) {
                Some(secret) => self.caller.call(url, secret, message).await,
                None => Err(ReachError::Never("its secret is not known".to_owned())),
            },
        }
    }
}

/// TLS by the authorities of this computer.
fn tls() -> Result<ClientConfig, ReachError> {
    let mut roots = RootCertStore::empty();
    roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    Ok(ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| ReachError::Prepare(error.to_string()))?
        .with_root_certificates(roots)
        .with_no_client_auth())
}

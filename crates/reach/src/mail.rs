//! Mail by SMTP (RFC 5321), as plain text, over TLS unless the server is on this computer.

use std::sync::Arc;
use std::time::Duration;

use async_smtp::authentication::{Credentials, Mechanism};
use async_smtp::error::Error;
use async_smtp::extension::ClientId;
use async_smtp::{EmailAddress, Envelope, SendableEmail, SmtpClient, SmtpTransport};
use mail_builder::MessageBuilder;
use plant::{MailSecurity, MailServer};
use rustls::ClientConfig;
use rustls::pki_types::ServerName;
use tokio::io::{AsyncRead, AsyncWrite, BufStream};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;

use crate::config::{MailLogin, ReachError};
use crate::message::Message;

/// The whole conversation; RFC 5321 would wait for minutes, and whoever comes next waits with us.
const PATIENCE: Duration = Duration::from_secs(30);

/// Hands mail in.
#[derive(Debug, Clone)]
pub(crate) struct Mailer {
    pub(crate) server: MailServer,
    pub(crate) login: Option<MailLogin>,
    pub(crate) tls: Arc<ClientConfig>,
}

impl Mailer {
    pub(crate) async fn send(&self, to: &str, message: &Message) -> Result<(), ReachError> {
        let slow = |_| {
            let says = format!("the mail server did not finish within {} s", PATIENCE.as_secs());
            Err(ReachError::Now(says))
        };
        timeout(PATIENCE, self.converse(to, message)).await.unwrap_or_else(slow)
    }

    async fn converse(&self, to: &str, message: &Message) -> Result<(), ReachError> {
        let MailServer { host, port, security, .. } = &self.server;
        let tcp = TcpStream::connect((host.as_str(), *port)).await.map_err(|error| {
            ReachError::Now(format!("the mail server {host}:{port} cannot be connected to: {error}"))
        })?;
        match security {
            MailSecurity::Clear => self.hand_in(BufStream::new(tcp), client(), to, message).await,
            MailSecurity::Tls => {
                self.hand_in(BufStream::new(self.protect(tcp).await?), client(), to, message).await
            }
            MailSecurity::StartTls => {
                let opened = SmtpTransport::new(client(), BufStream::new(tcp)).await.map_err(told)?;
                let tcp = opened.starttls().await.map_err(told)?.into_inner();
                let protected = BufStream::new(self.protect(tcp).await?);
                self.hand_in(protected, client().without_greeting(), to, message).await
            }
        }
    }

    async fn protect(
        &self,
        tcp: TcpStream,
    ) -> Result<tokio_rustls::client::TlsStream<TcpStream>, ReachError> {
        let name = ServerName::try_from(self.server.host.clone()).map_err(|_| {
            ReachError::Never(format!("`{}` is no name that a certificate has", self.server.host))
        })?;
        TlsConnector::from(self.tls.clone()).connect(name, tcp).await.map_err(|error| {
            ReachError::Now(format!("no TLS with the mail server {}: {error}", self.server.host))
        })
    }

    async fn hand_in<S>(
        &self,
        stream: BufStream<S>,
        client: SmtpClient,
        to: &str,
        message: &Message,
    ) -> Result<(), ReachError>
    where
        S: AsyncRead + AsyncWrite + Unpin,
    {
        let mut transport = SmtpTransport::new(client, stream).await.map_err(told)?;
        if let Some(MailLogin { user, password }) = &self.login {
            let credentials = Credentials::new(user.clone(), password.clone());
            let plain = transport.auth(Mechanism::Plain, &credentials).await;
            // 504: this mechanism is not known there (RFC 4954, section 6).
            match plain {
                Err(Error::Permanent(response)) if response.has_code(504) => {
                    transport.auth(Mechanism::Login, &credentials).await.map_err(told)?
                }
                other => other.map_err(told)?,
            };
        }
        let address = |text: &str| {
            EmailAddress::new(text.to_owned()).map_err(|error| ReachError::Never(error.to_string()))
        };
        let envelope = Envelope::new(Some(address(&self.server.from)?), vec![address(to)?]);
        let envelope = envelope.map_err(|error| ReachError::Never(error.to_string()))?;
        let letter = self.letter(to, message)?;
        transport.send(SendableEmail::new(envelope, letter)).await.map_err(told)?;
        // It has been taken; whether the server says good-bye makes no difference.
        let _ = transport.quit().await;
        Ok(())
    }

    /// The message as RFC 5322 has it.
    fn letter(&self, to: &str, message: &Message) -> Result<Vec<u8>, ReachError> {
        let domain = self.server.from.rsplit('@').next().unwrap_or("localhost");
        MessageBuilder::new()
            .from(("Halfdegree", self.server.from.as_str()))
            .to(to)
            .subject(message.subject.as_str())
            .date(message.at.as_millis().div_euclid(1000))
            .message_id(format!("{}@{domain}", message.id))
            .header("Auto-Submitted", mail_builder::headers::raw::Raw::new("auto-generated"))
            .text_body(message.text.as_str())
            .write_to_vec()
            .map_err(|error| ReachError::Never(format!("the mail cannot be written: {error}")))
    }
}

fn client() -> SmtpClient {
    SmtpClient::new().hello_name(ClientId::new("halfdegree.localhost".to_owned()))
}

/// A refusal for good (5yz) is not tried again (RFC 5321, section 4.2.1).
fn told(error: Error) -> ReachError {
    match error {
        Error::Permanent(response) => {
            ReachError::Never(format!("the mail server refuses it: {}", response.message.join(" ")))
        }
        Error::Io(error) => ReachError::Now(format!("the mail server has gone: {error}")),
        Error::Transient(_)
        | Error::ResponseParsing(_)
        | Error::ChallengeParsing(_)
        | Error::Utf8Parsing(_)
        | Error::Client(_)
        | Error::Resolution
        | Error::Parsing(_)
        | Error::Timeout(_)
        | Error::AddrParseError(_) => ReachError::Now(format!("the mail server: {error}")),
    }
}

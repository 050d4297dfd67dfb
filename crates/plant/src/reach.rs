//! Who is told of alarms when nobody looks at a page: by mail or webhook, in which order, and when not to disturb them.

use std::path::Path;

use model::{ContactId, FindingKind, MachineId, Priority, Span, Timestamp};

use crate::{Login, PasswordFrom, TimeZone};

/// `[mail]`, `[[contact]]` and `[[reach]]` of the plant file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reach {
    /// Where mail is handed in.
    pub mail: Option<MailServer>,
    /// In the order of the file.
    pub contacts: Vec<Contact>,
    /// In the order of the file. Every rule that fits an alarm counts.
    pub rules: Vec<ReachRule>,
}

/// Where mail is handed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailServer {
    /// How the way there is protected.
    pub security: MailSecurity,
    /// Name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// The sender's address.
    pub from: String,
    /// Who we are there, if it asks.
    pub login: Option<Login>,
}

/// How the way to the mail server is protected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailSecurity {
    /// `smtp://`, in the clear: for a server on this computer.
    Clear,
    /// `smtp+starttls://`, TLS before anything is said (RFC 3207).
    StartTls,
    /// `smtps://`, TLS from the first byte (RFC 8314).
    Tls,
}

/// Somebody who can be reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contact {
    /// Where it stands in the file.
    pub line: usize,
    /// As rules name them.
    pub id: ContactId,
    /// As people call them.
    pub name: String,
    /// How.
    pub way: ContactWay,
    /// When only what is urgent is told.
    pub quiet: Option<QuietHours>,
}

/// How somebody is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ContactWay {
    /// By mail to this address.
    Mail(String),
    /// By a request to this address.
    Webhook {
        /// The address.
        url: String,
        /// Where the secret is that signs it.
        secret: PasswordFrom,
    },
}

/// Hours of a day on the plant's clock; they may go over midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuietHours {
    /// The first minute of the day.
    pub from: u16,
    /// The minute after the last.
    pub to: u16,
}

/// Who is told of which alarms.
#[derive(Debug, Clone, PartialEq)]
pub struct ReachRule {
    /// The line of the plant file in which it begins.
    pub line: usize,
    /// Of these machines; of all, and of the plant itself, where there is none.
    pub machines: Vec<MachineId>,
    /// Of these kinds; of all where there is none.
    pub kinds: Vec<FindingKind>,
    /// From this priority on.
    pub priority: Priority,
    /// One after the other, as long as nobody has acknowledged it.
    pub steps: Vec<ReachStep>,
}

/// Who is told after so long.
#[derive(Debug, Clone, PartialEq)]
pub struct ReachStep {
    /// Since it began to ring.
    pub after: Span,
    /// Who.
    pub contacts: Vec<ContactId>,
}

impl Reach {
    /// The contact of that id.
    pub fn contact(&self, id: &ContactId) -> Option<&Contact> {
        self.contacts.iter().find(|contact| contact.id == *id)
    }

    /// Contacts whom no rule names: they are never told anything. One that is not needed yet may stand there all the same.
    pub fn never_named(&self) -> impl Iterator<Item = &Contact> {
        let is_named = |contact: &Contact| {
            self.rules.iter().flat_map(|rule| &rule.steps).any(|step| step.contacts.contains(&contact.id))
        };
        self.contacts.iter().filter(move |contact| !is_named(contact))
    }

    /// The same, with relative files looked for in `folder` (that of the plant file).
    pub fn with_files_in(self, folder: &Path) -> Reach {
        let contact = |contact: Contact| Contact {
            way: match contact.way {
                ContactWay::Webhook { url, secret } => {
                    ContactWay::Webhook { url, secret: secret.with_file_in(folder) }
                }
                mail @ ContactWay::Mail(_) => mail,
            },
            ..contact
        };
        Reach {
            mail: self
                .mail
                .map(|mail| MailServer { login: mail.login.map(|login| login.with_file_in(folder)), ..mail }),
            contacts: self.contacts.into_iter().map(contact).collect(),
            ..self
        }
    }
}

impl Contact {
    /// What to know of a contact whom no rule names.
    pub fn says_never_named(&self) -> String {
        format!(
            "the contact `{}` is never told anything: no [[reach]] names it in its `first` or in a [[reach.next]]; name it there, or leave the contact out",
            self.id
        )
    }
}

impl QuietHours {
    /// Are they at that moment?
    pub fn hold(self, at: Timestamp, zone: &TimeZone) -> bool {
        let local = zone.local(at);
        let minute = u16::try_from(i32::from(local.hour()) * 60 + i32::from(local.minute())).unwrap_or(0);
        if self.from < self.to {
            self.from <= minute && minute < self.to
        } else {
            self.from <= minute || minute < self.to
        }
    }
}

//! Who we are to the broker and whom we take it for: files and variables that the plant file names, read once at start.
//!
//! What cannot be used is told before anything starts, with the line of the plant file that names it. Secrets are held in
//! memory and shown to nobody: neither [`Credentials`] nor [`Tls`] has a `Debug` that tells more than that it is there.

mod dates;
mod tls;
mod trouble;

use std::fmt;
use std::fs::File;
use std::io::Read;

use plant::{Mqtt, NamedFile, PasswordFrom};

pub use crate::identity::dates::{CertificateDates, certificate_dates};
pub use crate::identity::tls::Tls;
pub(crate) use crate::identity::trouble::{hung_up, sentence};

/// What MQTT can carry as a password (5.0, section 3.1.3.6).
const LONGEST_PASSWORD: u64 = 65_535;

/// A bundle with every CA there is has some 250 kB.
const LARGEST_PEM: u64 = 4 << 20;

/// A file or a variable that the plant file names cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{says}")]
pub struct IdentityFault {
    /// The line of the plant file that names it.
    pub line: usize,
    /// What is wrong, and what to do.
    pub says: String,
}

/// Name and password for the broker.
#[derive(Clone, PartialEq, Eq)]
pub struct Credentials {
    /// The user's name.
    pub user: String,
    /// The password, which is never shown.
    pub password: String,
}

impl fmt::Debug for Credentials {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Credentials({}, …)", self.user)
    }
}

impl Credentials {
    /// Reads the password that `[mqtt]` points to; `None` where it names no user.
    ///
    /// # Errors
    /// If the password is not where the plant file says, or there is nothing in it.
    pub fn read(mqtt: &Mqtt) -> Result<Option<Credentials>, IdentityFault> {
        let Some(login) = &mqtt.login else { return Ok(None) };
        Ok(Some(Credentials { user: login.user.clone(), password: read_secret(&login.password)? }))
    }

    /// Whether these are the same name and password. Takes as long for a near miss as for a wild guess.
    pub(crate) fn are(&self, user: &str, password: &str) -> bool {
        let differences = |a: &str, b: &str| a.bytes().zip(b.bytes()).fold(0, |all, (x, y)| all | (x ^ y));
        let same = |a: &str, b: &str| a.len() == b.len() && differences(a, b) == 0;
        same(&self.user, user) & same(&self.password, password)
    }
}

/// The password or secret that the plant file points to.
///
/// # Errors
/// If it is not where the plant file says, or there is nothing in it.
pub fn read_secret(from: &PasswordFrom) -> Result<String, IdentityFault> {
    match from {
        PasswordFrom::File(file) => password_of(file),
        PasswordFrom::Environment { key, variable, line } => {
            password_in(key, variable, std::env::var_os(variable), *line)
        }
    }
}

fn password_of(file: &NamedFile) -> Result<String, IdentityFault> {
    let text = read(file, LONGEST_PASSWORD)?;
    let text = String::from_utf8(text).map_err(|_| fault(file, "is not text in UTF-8"))?;
    let password = text.trim_end_matches(['\r', '\n']);
    if password.is_empty() {
        return Err(fault(file, "is empty; it holds the password and nothing else"));
    }
    Ok(password.to_owned())
}

fn password_in(
    key: &str,
    variable: &str,
    value: Option<std::ffi::OsString>,
    line: usize,
) -> Result<String, IdentityFault> {
    let fault = |what: &str| {
        let says = format!("`{key}`: the variable {variable} {what}; set it where the service is started");
        IdentityFault { line, says }
    };
    let value = value.ok_or_else(|| fault("is not set"))?;
    let password = value.into_string().map_err(|_| fault("is not text in UTF-8"))?;
    if password.is_empty() { Err(fault("is empty")) } else { Ok(password) }
}

/// What is in the file, up to `most` bytes.
fn read(file: &NamedFile, most: u64) -> Result<Vec<u8>, IdentityFault> {
    let mut bytes = Vec::new();
    File::open(&file.path)
        .and_then(|opened| opened.take(most + 1).read_to_end(&mut bytes))
        .map_err(|error| fault(file, &format!("cannot be read: {error}")))?;
    if most < bytes.len() as u64 {
        return Err(fault(file, &format!("is larger than {most} bytes; is it the right file?")));
    }
    Ok(bytes)
}

fn fault(file: &NamedFile, what: &str) -> IdentityFault {
    IdentityFault { line: file.line, says: format!("`{}`: {} {what}", file.key, file.path.display()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn password(text: &[u8]) -> Result<String, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("password");
        std::fs::write(&path, text).unwrap();
        let read = password_of(&NamedFile { key: "password_file", line: 7, path: path.clone() });
        read.map_err(|fault| {
            assert_eq!(fault.line, 7);
            fault.to_string().replace(&path.display().to_string(), "FILE")
        })
    }

    #[test]
    fn a_password_is_what_is_in_the_file_less_the_end_of_the_line() {
        assert_eq!(password(b"two words\r\n"), Ok("two words".to_owned()));
        assert_eq!(password(b" kept "), Ok(" kept ".to_owned()));
        assert_eq!(
            password(b"\n").unwrap_err(),
            "`password_file`: FILE is empty; it holds the password and nothing else"
        );
        assert_eq!(password(&[0xff]).unwrap_err(), "`password_file`: FILE is not text in UTF-8");
        assert!(password(&vec![b'x'; 70_000]).unwrap_err().contains("is larger than 65535 bytes"));
    }

    #[test]
    fn a_password_from_the_environment_has_to_be_there() {
        assert_eq!(password_in("password_env", "TERN", Some("hush".into()), 3), Ok("hush".to_owned()));
        let fault = password_in("password_env", "TERN", None, 3).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "`password_env`: the variable TERN is not set; set it where the service is started"
        );
        assert_eq!(fault.line, 3);
        assert!(password_in("password_env", "TERN", Some("".into()), 3).is_err());
    }

    #[test]
    fn a_password_is_not_shown() {
        let credentials = Credentials { user: "ana".into(), password: "secret".into() };
        assert!(!format!("{credentials:?}").contains("secret"));
    }

    #[test]
    fn only_the_same_name_and_password_are_the_same() {
        let credentials = Credentials { user: "ana".into(), password: "secret".into() };
        assert!(credentials.are("ana", "secret"));
        for (user, password) in [("ana", "secre"), ("ana", "secreT"), ("an", "secret"), ("", ""), ("ana", "")]
        {
            assert!(!credentials.are(user, password), "{user} {password}");
        }
    }
}

//! Trouble with TLS in words of ours: what is wrong, with whose certificate, and what to do.

#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "these enums are the library's and grow with it; what has no sentence of its own gets the library's words"
)]

use std::error::Error;
use std::io;

use model::Timestamp;
use rustls::pki_types::UnixTime;
use rustls::{AlertDescription, CertificateError};

/// A sentence about the TLS error among `error` and all that caused it; `None` if there is none.
pub(crate) fn sentence(error: &(dyn Error + 'static)) -> Option<String> {
    find(error, &|cause| cause.downcast_ref::<rustls::Error>().map(says))
}

/// Whether the other side hung up in the middle.
pub(crate) fn hung_up(error: &(dyn Error + 'static)) -> bool {
    let is_end = |cause: &(dyn Error + 'static)| {
        let kind = cause.downcast_ref::<io::Error>()?.kind();
        matches!(
            kind,
            io::ErrorKind::UnexpectedEof | io::ErrorKind::ConnectionReset | io::ErrorKind::BrokenPipe
        )
        .then_some(())
    };
    find(error, &is_end).is_some()
}

/// Looks through the causes, those inside an I/O error among them, which do not count as its source.
fn find<T>(error: &(dyn Error + 'static), look: &impl Fn(&(dyn Error + 'static)) -> Option<T>) -> Option<T> {
    let inside = || {
        let inner: &(dyn Error + 'static) = error.downcast_ref::<io::Error>()?.get_ref()?;
        find(inner, look)
    };
    look(error).or_else(inside).or_else(|| find(error.source()?, look))
}

fn says(error: &rustls::Error) -> String {
    match error {
        rustls::Error::InvalidCertificate(error) => of_certificate(error),
        rustls::Error::AlertReceived(alert) => of_alert(*alert),
        rustls::Error::InvalidMessage(_) => {
            "what answers there does not speak TLS; see to the port in `url` (8883 is usual for mqtts://, and 1883 for \
             mqtt://)"
                .to_owned()
        }
        other => format!("{other}"),
    }
}

/// The broker's certificate is not good for us.
fn of_certificate(error: &CertificateError) -> String {
    match error {
        CertificateError::ExpiredContext { not_after, .. } => expired(&format!(" at {}", moment(*not_after))),
        CertificateError::Expired => expired(""),
        CertificateError::NotValidYet | CertificateError::NotValidYetContext { .. } => {
            "the broker's certificate is not good yet; set this computer's clock if it is behind, or wait".to_owned()
        }
        CertificateError::NotValidForNameContext { expected, presented } => format!(
            "the broker's certificate is for {}, and the plant file looks for the broker at {}; write the certificate's name \
             into `url`, or have the broker's certificate made for this name",
            names(presented),
            expected.to_str()
        ),
        CertificateError::NotValidForName => {
            "the broker's certificate is for another name than the one in `url`; write the certificate's name into `url`"
                .to_owned()
        }
        CertificateError::UnknownIssuer | CertificateError::BadSignature => {
            "nobody whom we trust vouches for the broker's certificate; put the certificate of the CA that signed it into \
             `ca_file`"
                .to_owned()
        }
        CertificateError::InvalidPurpose | CertificateError::InvalidPurposeContext { .. } => {
            "the broker's certificate is not made for a server; have one made that is".to_owned()
        }
        other => format!("the broker's certificate cannot be used: {other}; have a new one made for the broker"),
    }
}

fn expired(when: &str) -> String {
    format!(
        "the broker's certificate has expired{when}; renew it at the broker, or set this computer's clock if that is wrong"
    )
}

fn moment(at: UnixTime) -> Timestamp {
    Timestamp::from_millis(i64::try_from(at.as_secs()).unwrap_or(i64::MAX / 1000) * 1000)
}

fn names(presented: &[String]) -> String {
    // As the library names them: DnsName("broker"), IpAddress(127.0.0.1).
    let plain = |name: &String| name.split(['(', ')']).nth(1).unwrap_or(name).trim_matches('"').to_owned();
    match presented {
        [] => "no name at all".to_owned(),
        some => some.iter().map(plain).collect::<Vec<String>>().join(", "),
    }
}

/// The broker does not like what we showed it.
fn of_alert(alert: AlertDescription) -> String {
    match alert {
        AlertDescription::CertificateRequired | AlertDescription::NoCertificate => {
            "the broker asks for a certificate of ours; name one by `certificate_file` and `key_file`".to_owned()
        }
        AlertDescription::CertificateExpired => {
            "the broker says that our certificate (`certificate_file`) has expired; have a new one made".to_owned()
        }
        AlertDescription::UnknownCA
        | AlertDescription::BadCertificate
        | AlertDescription::CertificateUnknown
        | AlertDescription::CertificateRevoked
        | AlertDescription::UnsupportedCertificate => format!(
            "the broker does not accept our certificate ({alert:?}); `certificate_file` has to be signed by a CA that the \
             broker knows"
        ),
        AlertDescription::HandshakeFailure => {
            "the broker broke off the TLS handshake; it may ask for a certificate of ours (`certificate_file` and `key_file`)"
                .to_owned()
        }
        other => format!("the broker broke off the TLS connection ({other:?})"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn inside_io(error: rustls::Error) -> io::Error {
        io::Error::new(io::ErrorKind::InvalidData, error)
    }

    #[test]
    fn a_tls_error_is_found_inside_an_io_error() {
        let alert = inside_io(rustls::Error::AlertReceived(AlertDescription::CertificateRequired));
        assert!(sentence(&alert).unwrap().starts_with("the broker asks for a certificate of ours"));
        assert_eq!(sentence(&io::Error::other("anything else")), None);
        assert!(hung_up(&io::Error::from(io::ErrorKind::UnexpectedEof)));
        assert!(!hung_up(&io::Error::from(io::ErrorKind::ConnectionRefused)));
    }

    #[test]
    fn names_are_shown_without_the_librarys_dressing() {
        let presented = ["DnsName(\"broker.tern.example\")".to_owned(), "IpAddress(10.0.0.4)".to_owned()];
        assert_eq!(names(&presented), "broker.tern.example, 10.0.0.4");
        assert_eq!(names(&[]), "no name at all");
    }

    #[test]
    fn an_expired_certificate_says_when() {
        let error = CertificateError::ExpiredContext {
            time: UnixTime::since_unix_epoch(std::time::Duration::from_secs(1_772_427_600)),
            not_after: UnixTime::since_unix_epoch(std::time::Duration::from_secs(1_772_400_000)),
        };
        assert!(
            of_certificate(&error).contains("has expired at 2026-03-01T21:20:00"),
            "{}",
            of_certificate(&error)
        );
    }
}

//! From when and until when the certificates are good that the plant file names, so that a person hears of it before the broker does.

use model::Timestamp;
use plant::{Mqtt, NamedFile};
use x509_cert::Certificate;
use x509_cert::der::Decode;
use x509_cert::time::Time;

use super::tls::certificates;
use super::{IdentityFault, fault};

/// One certificate of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CertificateDates {
    /// The file, and the line of the plant file that names it.
    pub file: NamedFile,
    /// For whom it is made, as it says itself.
    pub subject: String,
    /// When it begins to be good.
    pub from: Timestamp,
    /// When it expires.
    pub until: Timestamp,
}

/// The dates of every certificate in `ca_file` and `certificate_file`; none where neither is named.
///
/// # Errors
/// If a file cannot be read, or holds no certificate.
pub fn certificate_dates(mqtt: &Mqtt) -> Result<Vec<CertificateDates>, IdentityFault> {
    let own = mqtt.client_certificate.as_ref().map(|own| &own.certificate);
    let mut all = Vec::new();
    for file in mqtt.ca.iter().chain(own) {
        for certificate in certificates(file)? {
            let read = Certificate::from_der(&certificate)
                .map_err(|error| fault(file, &format!("holds a certificate that cannot be read: {error}")))?
                .tbs_certificate;
            all.push(CertificateDates {
                file: file.clone(),
                subject: read.subject.to_string(),
                from: moment(read.validity.not_before),
                until: moment(read.validity.not_after),
            });
        }
    }
    Ok(all)
}

fn moment(time: Time) -> Timestamp {
    Timestamp::from_millis(i64::try_from(time.to_unix_duration().as_millis()).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use plant::parse_plant;
    use testkit::Authority;

    use super::*;

    #[test]
    fn every_certificate_tells_its_dates() {
        let folder = tempfile::tempdir().unwrap();
        let works = Authority::new(folder.path(), "works");
        let (good, expired) = (works.client("ana"), works.expired_client("ben"));
        let dates = |own: &testkit::Signed| {
            let text = format!(
                "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"mqtts://broker\"\n\
                 ca_file = {:?}\ncertificate_file = {:?}\nkey_file = {:?}\n\
                 [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n[[machine]]\nid = \"alder\"\nstyle = \"kettle\"\n\
                 couverture = \"dark-64\"\n",
                works.certificate(),
                own.certificate,
                own.key
            );
            let told = certificate_dates(&parse_plant(&text).unwrap().mqtt).unwrap();
            told.iter().map(|dates| format!("{} {}", dates.file.key, dates.until)).collect::<Vec<_>>()
        };
        // As `testkit` had them made.
        assert_eq!(dates(&good), ["ca_file 2090-01-01T00:00:00Z", "certificate_file 2090-01-01T00:00:00Z"]);
        assert_eq!(dates(&expired)[1], "certificate_file 2024-02-29T00:00:00Z");
    }
}

//! TLS as the plant file wants it: a private CA or the system's, and a certificate of ours if the broker asks for one.
//!
//! TLS 1.2 and 1.3 by rustls with the `ring` provider, chosen here and not process-wide. The broker's certificate is always
//! checked, name and dates included: there is no switch to turn that off.

use std::fmt;
use std::sync::Arc;

use plant::{ClientCertificate, NamedFile};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ClientConfig, Error, RootCertStore};

use super::{IdentityFault, LARGEST_PEM, fault, read};

/// How a connection is made safe. Clones share it.
#[derive(Clone)]
pub struct Tls {
    config: Arc<ClientConfig>,
}

impl fmt::Debug for Tls {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Tls(…)")
    }
}

impl PartialEq for Tls {
    fn eq(&self, other: &Tls) -> bool {
        Arc::ptr_eq(&self.config, &other.config)
    }
}

impl Eq for Tls {}

impl Tls {
    /// Trusts those in `ca`, or whom this computer trusts; shows `own` to a broker that asks.
    ///
    /// # Errors
    /// If a file cannot be read, holds something else than it should, or key and certificate do not belong together.
    pub fn read(ca: Option<&NamedFile>, own: Option<&ClientCertificate>) -> Result<Tls, IdentityFault> {
        let roots = match ca {
            Some(file) => roots_in(file)?,
            None => roots_of_this_computer()?,
        };
        let builder = ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .with_safe_default_protocol_versions()
            .expect("ring has cipher suites for both versions of TLS")
            .with_root_certificates(roots);
        let config = match own {
            None => builder.with_no_client_auth(),
            Some(own) => builder
                .with_client_auth_cert(certificates(&own.certificate)?, key(&own.key)?)
                .map_err(|error| does_not_fit(own, &error))?,
        };
        Ok(Tls { config: Arc::new(config) })
    }

    pub(crate) fn config(&self) -> Arc<ClientConfig> {
        Arc::clone(&self.config)
    }
}

fn roots_in(file: &NamedFile) -> Result<RootCertStore, IdentityFault> {
    let mut roots = RootCertStore::empty();
    for certificate in certificates(file)? {
        roots.add(certificate).map_err(|error| {
            fault(file, &format!("holds a certificate that cannot vouch for anybody: {error}"))
        })?;
    }
    Ok(roots)
}

fn roots_of_this_computer() -> Result<RootCertStore, IdentityFault> {
    let mut roots = RootCertStore::empty();
    roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    if roots.is_empty() {
        let says = "this computer trusts nobody's certificates; install them (on Debian: ca-certificates), or name those \
                    who may vouch for the broker by `ca_file`";
        return Err(IdentityFault { line: 1, says: says.to_owned() });
    }
    Ok(roots)
}

pub(super) fn certificates(file: &NamedFile) -> Result<Vec<CertificateDer<'static>>, IdentityFault> {
    let pem = read(file, LARGEST_PEM)?;
    let found: Vec<CertificateDer<'static>> = CertificateDer::pem_slice_iter(&pem)
        .collect::<Result<_, _>>()
        .map_err(|error| fault(file, &format!("is not PEM as it should be: {error}")))?;
    if found.is_empty() {
        return Err(fault(file, "holds no certificate; it should be PEM, with `BEGIN CERTIFICATE` in it"));
    }
    Ok(found)
}

fn key(file: &NamedFile) -> Result<PrivateKeyDer<'static>, IdentityFault> {
    // What the library says of a key that it cannot read is left out: no part of a key gets into a log.
    PrivateKeyDer::from_pem_slice(&read(file, LARGEST_PEM)?).map_err(|_| {
        fault(file, "holds no private key that can be read; it should be PEM, with `PRIVATE KEY` in it, and without a passphrase")
    })
}

fn does_not_fit(own: &ClientCertificate, error: &Error) -> IdentityFault {
    if matches!(error, Error::InconsistentKeys(_)) {
        let other = own.certificate.path.display();
        return fault(
            &own.key,
            &format!("is not the key of the certificate in {other}; name the two that belong together"),
        );
    }
    fault(&own.key, &format!("cannot be used with its certificate: {error}"))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use testkit::Authority;

    use super::*;

    fn named(key: &'static str, path: &Path) -> NamedFile {
        NamedFile { key, line: 4, path: path.to_owned() }
    }

    fn says(ca: &Path, own: Option<(&Path, &Path)>) -> String {
        let own = own.map(|(certificate, key)| ClientCertificate {
            certificate: named("certificate_file", certificate),
            key: named("key_file", key),
        });
        match Tls::read(Some(&named("ca_file", ca)), own.as_ref()) {
            Ok(tls) => format!("{tls:?}"),
            Err(fault) => fault.to_string(),
        }
    }

    #[test]
    fn files_that_cannot_be_used_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let works = Authority::new(folder.path(), "works");
        let (ana, ben) = (works.client("ana"), works.client("ben"));
        let ca = works.certificate();
        assert_eq!(says(ca, None), "Tls(…)");
        assert_eq!(says(ca, Some((&ana.certificate, &ana.key))), "Tls(…)");
        let has = |said: String, part: &str| assert!(said.contains(part), "{said}");
        has(says(Path::new("no-such.pem"), None), "`ca_file`: no-such.pem cannot be read: No such file");
        has(says(&ana.key, None), "holds no certificate; it should be PEM");
        has(says(ca, Some((&ana.certificate, &ana.certificate))), "holds no private key that can be read");
        has(says(ca, Some((&ana.certificate, &ben.key))), "is not the key of the certificate in ");
    }
}

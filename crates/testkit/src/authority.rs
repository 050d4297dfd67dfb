//! A certificate authority of a test's own, and certificates that it signs: good ones, expired ones, for whom one likes.

use std::fs;
use std::path::{Path, PathBuf};

use rcgen::{
    BasicConstraints, CertificateParams, DnType, ExtendedKeyUsagePurpose, IsCa, Issuer, KeyPair,
    KeyUsagePurpose, date_time_ymd,
};

/// An authority, with its files in one folder.
pub struct Authority {
    folder: PathBuf,
    name: String,
    issuer: Issuer<'static, KeyPair>,
    certificate: PathBuf,
}

/// A certificate and its key, both PEM files.
#[derive(Debug, Clone)]
pub struct Signed {
    /// The certificate.
    pub certificate: PathBuf,
    /// Its key.
    pub key: PathBuf,
}

/// What a certificate is for.
enum Use<'n> {
    Server(&'n [&'n str]),
    Client(&'n str),
}

/// Until when a certificate is good.
#[derive(Clone, Copy)]
enum Until {
    LongAfter,
    LongAgo,
}

impl Authority {
    /// An authority called `name`, whose files are written into `folder`.
    ///
    /// # Panics
    /// If the folder cannot be written to.
    pub fn new(folder: &Path, name: &str) -> Authority {
        let mut params = params(&[], name, Until::LongAfter);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
        let key = KeyPair::generate().expect("a key can be made");
        let signed = params.self_signed(&key).expect("what we ask for can be signed");
        let certificate = folder.join(format!("{name}.pem"));
        fs::write(&certificate, signed.pem()).expect("the folder can be written to");
        Authority {
            folder: folder.to_owned(),
            name: name.to_owned(),
            issuer: Issuer::new(params, key),
            certificate,
        }
    }

    /// The authority's own certificate.
    pub fn certificate(&self) -> &Path {
        &self.certificate
    }

    /// A server's certificate for these names and addresses.
    pub fn server(&self, names: &[&str]) -> Signed {
        self.sign(&Use::Server(names), Until::LongAfter)
    }

    /// The same, but no longer good.
    pub fn expired_server(&self, names: &[&str]) -> Signed {
        self.sign(&Use::Server(names), Until::LongAgo)
    }

    /// A client's certificate.
    pub fn client(&self, name: &str) -> Signed {
        self.sign(&Use::Client(name), Until::LongAfter)
    }

    /// The same, but no longer good.
    pub fn expired_client(&self, name: &str) -> Signed {
        self.sign(&Use::Client(name), Until::LongAgo)
    }

    fn sign(&self, used_as: &Use<'_>, until: Until) -> Signed {
        let (mut params, name) = match used_as {
            Use::Server(names) => (params(names, "server", until), names.join("-")),
            Use::Client(name) => (params(&[], name, until), (*name).to_owned()),
        };
        params.extended_key_usages = vec![match used_as {
            Use::Server(_) => ExtendedKeyUsagePurpose::ServerAuth,
            Use::Client(_) => ExtendedKeyUsagePurpose::ClientAuth,
        }];
        let age = match until {
            Until::LongAfter => "good",
            Until::LongAgo => "expired",
        };
        let file = self.folder.join(format!("{}-{name}-{age}", self.name));
        let key = KeyPair::generate().expect("a key can be made");
        let signed = params.signed_by(&key, &self.issuer).expect("what we ask for can be signed");
        let signed_as = Signed { certificate: file.with_extension("pem"), key: file.with_extension("key") };
        fs::write(&signed_as.certificate, signed.pem()).expect("the folder can be written to");
        fs::write(&signed_as.key, key.serialize_pem()).expect("the folder can be written to");
        signed_as
    }
}

fn params(names: &[&str], common_name: &str, until: Until) -> CertificateParams {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    let mut params = CertificateParams::new(names).expect("names and addresses can stand in a certificate");
    params.distinguished_name.push(DnType::CommonName, common_name);
    params.not_before = date_time_ymd(2020, 1, 1);
    params.not_after = match until {
        Until::LongAfter => date_time_ymd(2090, 1, 1),
        Until::LongAgo => date_time_ymd(2024, 2, 29),
    };
    params
}

//! Brokers that ask who we are, and that we ask who they are: a Mosquitto for each demand, with certificates made here.

use std::fs;
use std::path::Path;
use std::process::Command;

use intake::{BrokerAddress, Credentials, IntakeState};
use plant::Mqtt;
use tempfile::{TempDir, tempdir};
use testkit::{Authority, Mosquitto, Signed, eventually};

use crate::rig::{Rig, publish_as, readings, v311};

const PASSWORD: &str = "tern-4-street";

/// The certificates of a works, and a broker that wants this and that.
struct Site {
    folder: TempDir,
    works: Authority,
    broker: Mosquitto,
}

impl Site {
    /// A broker that shows the certificate that `server` chooses, and has these further lines of configuration.
    fn start(server: impl FnOnce(&Authority) -> Signed, demands: &[&str]) -> Site {
        let folder = tempdir().unwrap();
        let works = Authority::new(folder.path(), "works");
        let server = server(&works);
        let lines = [
            format!("cafile {}", works.certificate().display()),
            format!("certfile {}", server.certificate.display()),
            format!("keyfile {}", server.key.display()),
        ];
        let lines: Vec<&str> = lines.iter().map(String::as_str).chain(demands.iter().copied()).collect();
        let broker = Mosquitto::start(folder.path(), &lines);
        Site { folder, works, broker }
    }

    /// `[mqtt]` for this broker, with these further lines.
    fn mqtt(&self, lines: &str) -> Mqtt {
        let mqtt = format!("url = \"mqtts://localhost:{}\"\n{lines}", self.broker.port());
        meant(&mqtt).with_files_in(self.folder.path())
    }

    fn trusting_the_works(&self, lines: &str) -> Mqtt {
        self.mqtt(&format!("ca_file = \"{}\"\n{lines}", self.works.certificate().display()))
    }
}

fn meant(mqtt: &str) -> Mqtt {
    let text = crate::rig::PLANT.replace("url = \"mqtt://127.0.0.1:1883\"\n", mqtt);
    assert_ne!(text, crate::rig::PLANT);
    plant::parse_plant(&text).unwrap().mqtt
}

fn shows(signed: &Signed) -> String {
    format!(
        "certificate_file = \"{}\"\nkey_file = \"{}\"\n",
        signed.certificate.display(),
        signed.key.display()
    )
}

fn localhost(works: &Authority) -> Signed {
    works.server(&["localhost"])
}

fn intake(site: &Site, mqtt: &Mqtt) -> Rig {
    let credentials = Credentials::read(mqtt).unwrap();
    Rig::start_with(site.folder.path(), BrokerAddress::read(mqtt).unwrap().unwrap(), |config| {
        config.credentials = credentials
    })
}

/// It is let in, and messages come through.
async fn works(site: &Site, mqtt: &Mqtt) {
    let rig = intake(site, mqtt);
    eventually("connected", || rig.is_connected()).await;
    publish_as(
        BrokerAddress::read(mqtt).unwrap().unwrap(),
        Credentials::read(mqtt).unwrap(),
        readings("alder", 200),
    )
    .await;
    eventually("handed on", || rig.distinct() == 200).await;
    rig.stop().await.unwrap();
}

/// It is not let in, or does not want to be, and says so in these words.
async fn says(site: &Site, mqtt: &Mqtt, expected: &str) {
    let rig = intake(site, mqtt);
    let stats = std::sync::Arc::clone(&rig.stats);
    let mut said = String::new();
    let mut told = || {
        if let IntakeState::Reconnecting { why } = stats.state() {
            said = why;
        }
        said.contains(expected)
    };
    let told_at_last = tokio::time::timeout(std::time::Duration::from_secs(10), async {
        while !told() {
            tokio::task::yield_now().await;
        }
    });
    assert!(told_at_last.await.is_ok(), "wanted: {expected}\nsaid: {said}");
    assert_eq!(rig.stats.counts().connections, 0);
    assert!(!said.contains(PASSWORD));
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_of_a_private_ca_is_trusted_by_its_ca_file() {
    let site = Site::start(localhost, &[]);
    works(&site, &site.trusting_the_works("")).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_of_a_private_ca_is_trusted_over_mqtt_3_1_1() {
    let site = Site::start(localhost, &[]);
    let address = BrokerAddress::read(&site.trusting_the_works("")).unwrap().unwrap();
    let rig = Rig::start_with(site.folder.path(), address, v311);
    eventually("connected", || rig.is_connected()).await;
    rig.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_nobody_vouches_for_is_not_trusted() {
    let site = Site::start(localhost, &[]);
    let others = Authority::new(site.folder.path(), "others");
    let says_so = "nobody whom we trust vouches for the broker's certificate; put the certificate of the CA that signed it into";
    says(&site, &site.mqtt(&format!("ca_file = \"{}\"\n", others.certificate().display())), says_so).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_under_another_name_is_not_trusted() {
    let site = Site::start(|works| works.server(&["broker.tern.example"]), &[]);
    let says_so = "the broker's certificate is for broker.tern.example, and the plant file looks for the broker at localhost";
    says(&site, &site.trusting_the_works(""), says_so).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_whose_certificate_has_expired_is_not_trusted() {
    let site = Site::start(|works| works.expired_server(&["localhost"]), &[]);
    says(&site, &site.trusting_the_works(""), "the broker's certificate has expired at 2024-02-29").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_does_not_speak_tls_is_told() {
    let folder = tempdir().unwrap();
    let works = Authority::new(folder.path(), "works");
    let broker = Mosquitto::start(folder.path(), &[]);
    let site = Site { folder, works, broker };
    says(&site, &site.trusting_the_works(""), "see to the port in `url`").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_wants_a_certificate_gets_ours() {
    let site = Site::start(localhost, &["require_certificate true"]);
    works(&site, &site.trusting_the_works(&shows(&site.works.client("halfdegree")))).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_wants_a_certificate_and_does_not_like_ours_is_told() {
    let site = Site::start(localhost, &["require_certificate true"]);
    says(
        &site,
        &site.trusting_the_works(""),
        "the broker asks for a certificate of ours; name one by `certificate_file`",
    )
    .await;
    let others = Authority::new(site.folder.path(), "others");
    let strangers = site.trusting_the_works(&shows(&others.client("halfdegree")));
    says(&site, &strangers, "the broker does not accept our certificate").await;
    let expired = site.trusting_the_works(&shows(&site.works.expired_client("halfdegree")));
    says(&site, &expired, "the broker says that our certificate (`certificate_file`) has expired").await;
}

/// A broker that knows one user, without TLS and with it.
fn password_file(folder: &Path) -> String {
    let file = folder.join("users");
    let made =
        Command::new("mosquitto_passwd").args(["-b", "-c"]).arg(&file).args(["kettles", PASSWORD]).status();
    assert!(made.unwrap().success());
    format!("password_file {}", file.display())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_wants_a_password_gets_it_from_its_file() {
    let users = tempdir().unwrap();
    let demands = [password_file(users.path()), "allow_anonymous false".to_owned()];
    let site = Site::start(localhost, &demands.each_ref().map(String::as_str));
    let with = |password: &str| {
        fs::write(site.folder.path().join("password"), format!("{password}\n")).unwrap();
        site.trusting_the_works("user = \"kettles\"\npassword_file = \"password\"\n")
    };
    works(&site, &with(PASSWORD)).await;
    says(
        &site,
        &with("guess"),
        "does not let the user `kettles` in (NotAuthorized): the password is not the right one",
    )
    .await;
    says(
        &site,
        &site.trusting_the_works(""),
        "asks who we are (NotAuthorized); give `user` and `password_file`",
    )
    .await;
}

#[test]
fn neither_password_nor_key_is_shown() {
    let site = Site::start(localhost, &[]);
    fs::write(site.folder.path().join("password"), PASSWORD).unwrap();
    let ours = site.works.client("halfdegree");
    let mqtt = site
        .trusting_the_works(&format!("user = \"kettles\"\npassword_file = \"password\"\n{}", shows(&ours)));
    let shown = format!("{:?} {:?}", Credentials::read(&mqtt).unwrap(), BrokerAddress::read(&mqtt).unwrap());
    assert!(shown.contains("kettles") && shown.contains("Tls(…)"), "{shown}");
    let key = fs::read_to_string(&ours.key).unwrap();
    let secrets = [PASSWORD, key.lines().nth(1).unwrap()];
    assert!(secrets.iter().all(|secret| !shown.contains(secret)), "{shown}");
}

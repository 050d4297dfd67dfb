//! `doctor` with a broker that is there, one that is not, one with TLS, a wrong password, a damaged folder, a service that runs.

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use tempfile::TempDir;
use testkit::{Authority, Mosquitto};

use crate::program::{Service, program, text};

fn plant(mqtt: &str) -> String {
    format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\n{mqtt}\n[[couverture]]\nid = \"dark-64\"\n\
         family = \"dark\"\n[[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n"
    )
}

fn site(mqtt: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("plant.toml"), plant(mqtt)).unwrap();
    folder
}

/// Exit code and lines.
fn doctor(folder: &Path) -> (i32, String) {
    let args = ["doctor", "--plant", "plant.toml", "--data", "data", "--seconds", "1"];
    let output = program().current_dir(folder).args(args).output().unwrap();
    assert_eq!(text(&output.stderr), "");
    (output.status.code().unwrap(), text(&output.stdout).to_owned())
}

fn has(told: &str, line: &str) {
    assert!(told.lines().any(|found| found.contains(line)), "{line:?} is not in\n{told}");
}

#[test]
fn a_plant_that_is_well_ends_with_0_and_leaves_the_service_in_peace() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    fs::write(folder.path().join("plant.toml"), plant(&format!("url = {:?}", broker.url()))).unwrap();
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 0, "{told}");
    has(&told, "note  data is not there yet; the first start makes it");
    let service = Service::start(&folder.path().join("plant.toml"), &folder.path().join("data"));
    testkit::wait_until("the service is connected", || service.get("/healthz").0 == 200);
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 0, "{told}");
    for line in [
        "plant        ok    Tern Street works, machines: 1",
        "broker       note  mqtt://127.0.0.1:",
        "lets us in by MQTT 5.0, and no message came within 1 s",
        "clock        ok    ",
        "lock         ok    a service is running on this folder",
        "journal      ok    0 blocks wait to be moved, and all can be read",
        "store        ok    0 parts, all there, nothing set aside",
        "records      ok    batches, findings and entries can be read",
        "certificates ok    none are needed: the way to the broker has no TLS",
    ] {
        has(&told, line);
    }
    assert_eq!(service.get("/healthz").0, 200, "it was not thrown out");
    assert!(!service.get("/metrics").1.contains("halfdegree_reconnects_total 1"));
    service.stop();
}

#[test]
fn what_is_wrong_ends_with_1_and_says_what_to_do() {
    let folder = site("url = \"mqtt://127.0.0.1:1\"");
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 1, "{told}");
    has(&told, "broker       FAULT cannot reach the broker at mqtt://127.0.0.1:1");
    has(&told, "Faults to mend: 1; notes to read: 1.");
    fs::write(folder.path().join("plant.toml"), plant("url = \"mqtt://127.0.0.1:1\"\nrot = \"works\""))
        .unwrap();
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 1, "{told}");
    has(&told, "plant        FAULT the plant file has faults");
    has(&told, "plant.toml: line 6: ");
    has(&told, "broker       note  not looked at: the plant file has to be right first");
}

#[test]
fn what_the_plant_file_names_is_told_as_check_tells_it() {
    let login = "url = \"mqtt://127.0.0.1:1\"\nuser = \"ana\"\n";
    let folder = site(&format!("{login}password_file = \"password\""));
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 1, "{told}");
    let fault = "plant.toml: line 7: `password_file`: password cannot be read: No such file";
    has(&told, &format!("plant        FAULT {fault}"));
    has(&told, "broker       note  not looked at: what the plant file names for it has to be there first");
    let checked = program().current_dir(folder.path()).args(["check", "plant.toml"]).output().unwrap();
    assert_eq!(checked.status.code(), Some(1));
    has(text(&checked.stdout), fault);

    // The service may have the variable, so that this is no fault.
    let variable = "password_env = \"TERN_STREET_BROKER\"";
    fs::write(folder.path().join("plant.toml"), plant(&format!("{login}{variable}"))).unwrap();
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 0, "{told}");
    has(
        &told,
        "plant        note  plant.toml: line 7: `password_env`: the variable TERN_STREET_BROKER is not set",
    );
}

/// Retained messages say nothing of whether machines send.
#[test]
fn what_machines_send_is_counted_and_their_clocks_are_compared() {
    let folder = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start(folder.path(), &[]);
    fs::write(folder.path().join("plant.toml"), plant(&format!("url = {:?}", broker.url()))).unwrap();
    let options = rumqttc::MqttOptions::new("kettles", "127.0.0.1", broker.port());
    let (client, mut connection) = rumqttc::Client::new(options, 10);
    let kettles = std::thread::spawn(move || connection.iter().take_while(Result::is_ok).count());
    let send = |retain| {
        let reading = r#"[{"n":"chocolate","u":"Cel","v":31.5,"t":1772427600}]"#;
        client.publish("works/alder", rumqttc::QoS::AtLeastOnce, retain, reading).unwrap();
    };
    send(true);
    let (_, told) = doctor(folder.path());
    has(&told, "lets us in by MQTT 5.0, and no message came within 1 s");
    let sending = AtomicBool::new(true);
    let told = std::thread::scope(|scope| {
        scope.spawn(|| {
            while sending.load(Ordering::Relaxed) {
                send(false);
            }
        });
        let (_, told) = doctor(folder.path());
        sending.store(false, Ordering::Relaxed);
        told
    });
    let count = told.lines().find_map(|line| line.split_once("messages within 1 s: ")).unwrap().1;
    assert!(count.parse::<u64>().unwrap() > 0, "{told}");
    has(&told, "clock        note  what alder sends is ");
    has(&told, " s behind this computer's clock; see which of the two is wrong, and set it");
    client.disconnect().unwrap();
    kettles.join().unwrap();
}

#[test]
fn a_broker_that_asks_who_we_are() {
    let folder = tempfile::tempdir().unwrap();
    let authority = Authority::new(folder.path(), "works");
    let server = authority.server(&["localhost"]);
    let lines = [
        format!("cafile {}", authority.certificate().display()),
        format!("certfile {}", server.certificate.display()),
        format!("keyfile {}", server.key.display()),
        "require_certificate true".to_owned(),
    ];
    let broker = Mosquitto::start(folder.path(), &lines.iter().map(String::as_str).collect::<Vec<_>>());
    let with = |own: &testkit::Signed| {
        let mqtt = format!(
            "url = \"mqtts://localhost:{}\"\nca_file = {:?}\ncertificate_file = {:?}\nkey_file = {:?}",
            broker.port(),
            authority.certificate(),
            own.certificate,
            own.key
        );
        fs::write(folder.path().join("plant.toml"), plant(&mqtt)).unwrap();
        doctor(folder.path())
    };
    let (code, told) = with(&authority.client("halfdegree"));
    assert_eq!(code, 0, "{told}");
    has(&told, "certificates ok    `certificate_file`: the certificate of CN=halfdegree");
    has(&told, "lets us in by MQTT 5.0");
    let (code, told) = with(&authority.expired_client("halfdegree"));
    assert_eq!(code, 1, "{told}");
    has(&told, "expired at 2024-02-29T00:00:00Z; have a new one made and put it there");
    has(&told, "broker       FAULT ");
}

#[test]
fn a_part_that_is_cut_short_is_told() {
    let folder = site("url = \"mqtt://127.0.0.1:1\"");
    let data = crate::formats::copied("data-1", folder.path());
    let (_, told) = doctor(folder.path());
    has(&told, "store        ok    ");
    let part = data.join("readings/machine=fir/date=2026-11-25/part-1.parquet");
    let bytes = fs::read(&part).unwrap();
    fs::write(&part, &bytes[..bytes.len() - 7]).unwrap();
    let (code, told) = doctor(folder.path());
    assert_eq!(code, 1, "{told}");
    has(
        &told,
        "store        FAULT readings/machine=fir/date=2026-11-25/part-1.parquet is not there or has another length than it was written with",
    );
    assert_eq!(fs::read(&part).unwrap().len(), bytes.len() - 7, "it is left where it is");
}

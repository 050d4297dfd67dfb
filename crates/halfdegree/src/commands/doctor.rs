//! `halfdegree doctor`: plant file, broker, clock, disk, data folder and certificates, a line each: well, or what to do.
//!
//! A service may be running: the broker is asked under a name of its own, and the data folder is only read.

use std::collections::BTreeMap;
use std::net::TcpListener;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use intake::{Answer, BrokerAddress, CertificateDates, Clock, Credentials, Dialect, EmbeddedListen};
use model::{Content, MachineId, Span, Timestamp};
use plant::{BrokerUrl, Mqtt, Plant};
use service::{Check, DataFolder, Verdict, check_folder};
use wire::Decoder;

use super::named::{Named, fault_line, folder_of, names_a_variable};
use super::{block_on, embedded_listen};
use crate::NO;
use crate::args::DoctorArgs;
use crate::say::say;

/// A computer whose clock stands before this has lost the time: the program is younger.
const PROGRAM_IS_YOUNGER_THAN: &str = "2026-01-01T00:00:00Z";
/// As for the finding `clock-off`.
const CLOCKS_APART: Span = Span::from_secs(60);
/// A certificate takes some days to get.
const EXPIRES_SOON: Span = Span::from_secs(30 * 24 * 3600);

pub(crate) fn run(args: &DoctorArgs) -> anyhow::Result<ExitCode> {
    let clock: Clock = Arc::new(|| Timestamp::from(jiff::Timestamp::now()));
    let now = clock();
    let (folder, newest) = check_folder(&DataFolder::new(&args.data));
    let mut checks = Vec::new();
    let mut heard = None;
    match super::read_plant(&args.plant) {
        Err(error) => {
            checks.push(Check::fault("plant", format!("{error:#}")));
            checks.push(Check::note("broker", "not looked at: the plant file has to be right first"));
        }
        Ok(plant) => {
            let machines = plant.machines.len();
            let named = named(&plant, &args.plant);
            if named.is_empty() {
                checks.push(Check::well("plant", format!("{}, machines: {machines}", plant.name)));
            }
            checks.extend(named);
            let mqtt = plant.mqtt.clone().with_files_in(folder_of(&args.plant));
            match (Credentials::read(&mqtt), BrokerAddress::read(&mqtt)) {
                (Ok(_), Ok(None)) => checks.push(embedded(&mqtt)),
                (Ok(credentials), Ok(Some(address))) => {
                    checks.extend(certificates(&mqtt, now));
                    let listen = Duration::from_secs(args.seconds);
                    let (check, answer) = broker(&plant, address, credentials, listen, &clock)?;
                    checks.push(check);
                    heard = answer.map(|answer| (plant, answer));
                }
                (Err(_), _) | (_, Err(_)) => checks.push(Check::note(
                    "broker",
                    "not looked at: what the plant file names for it has to be there first",
                )),
            }
        }
    }
    checks.extend(clocks(now, newest, heard.as_ref().map(|(plant, answer)| (plant.as_ref(), answer))));
    checks.extend(folder);
    Ok(tell(&checks))
}

fn tell(checks: &[Check]) -> ExitCode {
    for Check { subject, verdict, says } in checks {
        let word = match verdict {
            Verdict::Well => "ok",
            Verdict::Note => "note",
            Verdict::Fault => "FAULT",
        };
        say!("{subject:<12} {word:<5} {}", says.replace('\n', "\n                   "));
    }
    let count = |verdict| checks.iter().filter(|check| check.verdict == verdict).count();
    match (count(Verdict::Fault), count(Verdict::Note)) {
        (0, 0) => say!("\nAll is well."),
        (0, notes) => say!("\nNo faults; notes to read: {notes}."),
        (faults, notes) => say!("\nFaults to mend: {faults}; notes to read: {notes}."),
    }
    if count(Verdict::Fault) == 0 { ExitCode::SUCCESS } else { ExitCode::from(NO) }
}

/// What is wrong with what the plant file names. A variable of the environment may be there for the service and not for whoever looks.
fn named(plant: &Plant, path: &Path) -> Vec<Check> {
    let faults = Named::read(plant, path, None).err().unwrap_or_default();
    let told =
        faults.iter().map(|fault| match (fault_line(path, fault), names_a_variable(plant, fault.line)) {
            (says, true) => Check::note(
                "plant",
                format!("{says} (the service may have another environment than this terminal)"),
            ),
            (says, false) => Check::fault("plant", says),
        });
    told.collect()
}

/// Does the broker let us in, may we read, and does anything come?
fn broker(
    plant: &Plant,
    address: BrokerAddress,
    credentials: Option<Credentials>,
    listen: Duration,
    clock: &Clock,
) -> anyhow::Result<(Check, Option<Answer>)> {
    let filters = Decoder::new(plant).subscriptions();
    let name = address.to_string();
    let mqtt = &plant.mqtt;
    let answered = block_on(async {
        Ok(intake::examine(address, &mqtt.client_id, credentials, &filters, listen, clock).await)
    })?;
    Ok(match answered {
        Err(says) => (Check::fault("broker", says), None),
        Ok(answer) => (judged(&name, &answer, listen, &mqtt.root), Some(answer)),
    })
}

fn judged(broker: &str, answer: &Answer, listen: Duration, root: &str) -> Check {
    let version = match answer.dialect {
        Dialect::V5 => "5.0",
        Dialect::V311 => "3.1.1",
    };
    if let Some((filter, why)) = answer.refused.first() {
        return Check::fault(
            "broker",
            format!(
                "{broker} lets us in but does not let us read `{filter}` ({why}); give our user the right to read it"
            ),
        );
    }
    let seconds = listen.as_secs();
    if answer.live == 0 {
        return Check::note(
            "broker",
            format!(
                "{broker} lets us in by MQTT {version}, and no message came within {seconds} s; if machines are on, see whether they publish to this broker below `{root}/`"
            ),
        );
    }
    Check::well(
        "broker",
        format!("{broker} lets us in by MQTT {version}; messages within {seconds} s: {}", answer.live),
    )
}

/// The broker inside the service runs only when the service does; then its ports are taken.
fn embedded(mqtt: &Mqtt) -> Check {
    let EmbeddedListen { v311, v5 } = embedded_listen(mqtt);
    let taken = |listen| TcpListener::bind(listen).err().map(|error| (listen, error));
    match taken(v311).or_else(|| taken(v5)) {
        None => Check::well(
            "broker",
            format!("it is inside the service, and {v311} and port {} are free for it", v5.port()),
        ),
        Some((listen, error)) => Check::note(
            "broker",
            format!(
                "it is inside the service, and {listen} is taken ({error}); as it should be while the service runs, else another program has the port: stop that, or name another by `listen`"
            ),
        ),
    }
}

fn certificates(mqtt: &Mqtt, now: Timestamp) -> Vec<Check> {
    if !matches!(mqtt.url, BrokerUrl::Tls { .. }) {
        return vec![Check::well("certificates", "none are needed: the way to the broker has no TLS")];
    }
    match intake::certificate_dates(mqtt) {
        Err(fault) => {
            vec![Check::fault("certificates", format!("line {} of the plant file: {fault}", fault.line))]
        }
        Ok(dates) if dates.is_empty() => {
            vec![Check::well(
                "certificates",
                "none of ours; this computer's own list says who may vouch for the broker",
            )]
        }
        Ok(dates) => dates.iter().map(|dates| dated(dates, now)).collect(),
    }
}

fn dated(dates: &CertificateDates, now: Timestamp) -> Check {
    let CertificateDates { file, subject, from, until } = dates;
    let which = format!("`{}`: the certificate of {subject} in {}", file.key, file.path.display());
    let says = |what: String| format!("{which} {what}");
    if *until <= now {
        Check::fault(
            "certificates",
            says(format!("expired at {until}; have a new one made and put it there")),
        )
    } else if now < *from {
        Check::fault(
            "certificates",
            says(format!("is good from {from} only; see whether this computer's clock is right")),
        )
    } else if *until <= now + EXPIRES_SOON {
        Check::note("certificates", says(format!("expires at {until}; have a new one made before that")))
    } else {
        Check::well("certificates", says(format!("is good until {until}")))
    }
}

/// Our clock against the program's age, against what has been stored, and against senders that tell the time.
fn clocks(now: Timestamp, newest: Option<Timestamp>, heard: Option<(&Plant, &Answer)>) -> Vec<Check> {
    let long_ago: Timestamp = PROGRAM_IS_YOUNGER_THAN.parse().expect("the constant is a time");
    let set = "set it, and let the system keep it (NTP)";
    let mut checks = Vec::new();
    if now < long_ago {
        checks.push(Check::fault(
            "clock",
            format!("this computer says that it is {now}, which is long past; {set}"),
        ));
    }
    match newest {
        Some(newest) if now + CLOCKS_APART < newest => checks.push(Check::fault(
            "clock",
            format!("this computer says that it is {now}, and readings of {newest} are stored; if it is behind, {set}; else the clock of a sender was ahead"),
        )),
        Some(_) | None => {}
    }
    let apart = heard.map(|(plant, answer)| times_apart(plant, answer)).unwrap_or_default();
    for (machine, behind) in &apart {
        if CLOCKS_APART < *behind || *behind < -CLOCKS_APART {
            let seconds = behind.as_millis().abs() / 1000;
            let way = if Span::from_millis(0) < *behind { "behind" } else { "ahead of" };
            checks.push(Check::note(
                "clock",
                format!("what {machine} sends is {seconds} s {way} this computer's clock; see which of the two is wrong, and set it"),
            ));
        }
    }
    if checks.is_empty() {
        let told = match apart.len() {
            0 => String::new(),
            n => format!(
                ", and the senders that tell the time agree within {} s (machines: {n})",
                CLOCKS_APART.as_millis() / 1000
            ),
        };
        checks.push(Check::well("clock", format!("{now}{told}")));
    }
    checks
}

/// By machine, how far the times of what has just been sent lie behind our clock; of senders that tell the time. The middle one.
fn times_apart(plant: &Plant, answer: &Answer) -> BTreeMap<MachineId, Span> {
    let mut decoder = Decoder::new(plant);
    let mut all: BTreeMap<MachineId, Vec<Span>> = BTreeMap::new();
    for message in &answer.messages {
        for arrival in decoder.decode(message).arrivals {
            match arrival.content {
                Content::Reading(reading) if reading.at != arrival.arrived => {
                    all.entry(reading.machine).or_default().push(arrival.arrived - reading.at);
                }
                Content::Reading(_) | Content::Event(_) => {}
            }
        }
    }
    let middle = |mut spans: Vec<Span>| {
        spans.sort_unstable();
        spans[spans.len() / 2]
    };
    all.into_iter().map(|(machine, spans)| (machine, middle(spans))).collect()
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use plant::NamedFile;

    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_certificate_is_told_thirty_days_before_it_ends() {
        let dates = CertificateDates {
            file: NamedFile { key: "ca_file", line: 7, path: PathBuf::from("ca.pem") },
            subject: "CN=works".to_owned(),
            from: at("2026-01-01T00:00:00Z"),
            until: at("2026-12-31T00:00:00Z"),
        };
        let verdict = |now: &str| dated(&dates, at(now)).verdict;
        assert_eq!(verdict("2025-12-31T00:00:00Z"), Verdict::Fault);
        assert_eq!(verdict("2026-11-30T00:00:00Z"), Verdict::Well);
        assert_eq!(verdict("2026-12-01T00:00:00Z"), Verdict::Note);
        assert_eq!(verdict("2026-12-31T00:00:00Z"), Verdict::Fault);
        assert!(dated(&dates, at("2027-01-01T00:00:00Z")).says.contains("expired at 2026-12-31T00:00:00Z"));
    }

    #[test]
    fn a_clock_behind_what_is_stored_is_wrong() {
        let now = at("2026-11-29T08:00:00Z");
        let verdict = |newest: Option<&str>| clocks(now, newest.map(at), None)[0].verdict;
        assert_eq!(verdict(None), Verdict::Well);
        assert_eq!(verdict(Some("2026-11-29T08:00:30Z")), Verdict::Well);
        assert_eq!(verdict(Some("2026-11-30T08:00:00Z")), Verdict::Fault);
        assert_eq!(clocks(at("1970-01-01T00:03:00Z"), None, None)[0].verdict, Verdict::Fault);
    }
}

//! Measures how long a service takes to serve again after it was killed with ten million readings in its journal.
//!
//! `cargo run -p service --example restart [READINGS]`. A process of its own writes the journal of a large plant (1,000
//! machines, three channels at 1 Hz), saves the watch's state half a minute before the end, as a service does, and aborts,
//! so that the files are as a kill leaves them. Then the service is started on the folder, and the time to the first
//! answer of its pages is taken. It prints figures and judges nothing.

mod large_works;

use std::error::Error;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use engine::Engine;
use intake::BrokerAddress;
use journal::Journal;
use model::{Arrival, Channel, Content, MachineId, Reading, Timestamp};
use records::{Records, SavedState, Update};
use service::{Broker, DataFolder, Keep, ServiceConfig};
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use web::WebConfig;

use self::large_works::{plant, plant_text};

const READINGS: usize = 10_000_000;
const MACHINES: usize = 1_000;
const CHANNELS: [Channel; 3] = [Channel::Chocolate, Channel::Jacket, Channel::Motor];
/// What a group commit gathers from such a plant.
const BLOCK: usize = 500;
/// Half a minute, the time between two savings of the watch's state, and what was committed late.
const BEHIND_STATE: usize = 35 * MACHINES * CHANNELS.len();
/// 2026-03-01T00:00:00Z.
const START: i64 = 1_772_323_200_000;

type Outcome<T> = Result<T, Box<dyn Error>>;

fn main() -> Outcome<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let [word, folder, readings] = args.as_slice()
        && word == "write"
    {
        return write_and_die(Path::new(folder), readings.parse()?);
    }
    let readings: usize = args.first().map_or(Ok(READINGS), |text| text.parse())?;
    let folder = tempfile::tempdir()?;
    let began = Instant::now();
    let ended = Command::new(std::env::current_exe()?)
        .arg("write")
        .arg(folder.path())
        .arg(readings.to_string())
        .status()?;
    assert!(!ended.success(), "the writer is to die");
    println!("written in {:.1} s, and killed", began.elapsed().as_secs_f64());
    for file in ["journal.db", "journal.db-wal", "records.db", "records.db-wal"] {
        let bytes = std::fs::metadata(folder.path().join(file)).map_or(0, |found| found.len());
        println!("  {file}: {:.1} MB", bytes as f64 / 1e6);
    }
    for start in ["first start", "second start"] {
        let took = start_and_stop(folder.path())?;
        println!(
            "{start}: serving {:.2} s after it began, {readings} readings in the journal",
            took.as_secs_f64()
        );
    }
    Ok(())
}

fn write_and_die(folder: &Path, readings: usize) -> Outcome<()> {
    let (mut journal, _) = Journal::open(folder.join(journal::FILE_NAME))?;
    let records = Records::open(folder.join(records::FILE_NAME))?;
    let machines: Vec<MachineId> =
        (0..MACHINES).map(|n| format!("kettle-{n}").parse()).collect::<Result<_, _>>()?;
    let mut block = Vec::with_capacity(BLOCK);
    for n in 0..readings {
        let (second, place) = (n / (MACHINES * CHANNELS.len()), n % (MACHINES * CHANNELS.len()));
        let machine = machines[place / CHANNELS.len()].clone();
        let channel = CHANNELS[place % CHANNELS.len()];
        let at = Timestamp::from_millis(START + 1000 * second as i64 + (place % 997) as i64);
        let value = Some(31.0 + ((n * 7) % 23) as f64 / 100.0);
        let content = Content::Reading(Reading { machine, channel, at, value });
        block.push(Arrival { arrived: at, retained: false, content });
        if block.len() == BLOCK || n + 1 == readings {
            let durable = journal.append(&block)?;
            block.clear();
            if n < readings.saturating_sub(BEHIND_STATE) && readings <= n + BEHIND_STATE + BLOCK {
                let bytes = Engine::new(plant(MACHINES)?).save()?;
                let state =
                    Some(SavedState { block: durable.into_inner().get(), bytes, ..SavedState::default() });
                records.commit(&Update { state, ..Update::default() })?;
            }
        }
    }
    std::process::abort();
}

fn start_and_stop(folder: &Path) -> Outcome<Duration> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let began = Instant::now();
        let config = ServiceConfig {
            plant: plant(MACHINES)?,
            plant_text: plant_text(MACHINES),
            data: DataFolder::new(folder),
            broker: Broker {
                // Nobody is there: a start does not wait for the broker.
                address: BrokerAddress::new("127.0.0.1", 1),
                client_id: "restart".to_owned(),
                credentials: None,
                is_embedded: false,
                is_new: false,
            },
            clock: Arc::new(|| Timestamp::from_millis(START + 4_000_000)),
            web: WebConfig::default(),
            keep: Keep::Everything,
            reach: reach::ReachConfig::default(),
            ready: Box::new(|| ()),
        };
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let address = listener.local_addr()?;
        let (stop, stopped) = oneshot::channel::<()>();
        let serving = tokio::spawn(service::serve(config, listener, async {
            let _ = stopped.await;
        }));
        let answered = tokio::task::spawn_blocking(move || first_answer(address)).await??;
        let took = answered - began;
        let _ = stop.send(());
        serving.await??;
        Ok(took)
    })
}

/// The socket is bound before anybody serves on it, so the question waits there until it is answered.
fn first_answer(address: std::net::SocketAddr) -> std::io::Result<Instant> {
    let mut stream = TcpStream::connect(address)?;
    write!(stream, "GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n")?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    let answered = Instant::now();
    assert!(answer.starts_with("HTTP/1.1 "), "{answer}");
    Ok(answered)
}

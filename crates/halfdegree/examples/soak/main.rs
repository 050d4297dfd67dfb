//! A large works for as long as one likes: machines that send three channels at 1 Hz through a real Mosquitto, `halfdegree serve` behind it, and
//! somebody who looks at the pages. `tests/soak/run [MACHINES SECONDS]` builds and runs it.
//!
//! Faults are raised on some machines at known times, and the time is taken until the works page says so. At the end everything is counted
//! in the store. The table that it prints holds measured figures; it judges nothing. `SOAK_MEMORY_MB` puts the service
//! under a limit of the kernel's (cgroup v1 or v2, needs root); `SOAK_PROGRAM` is another program than the one built beside it.

mod course;
mod crowd;
mod finish;
mod http;
mod looker;
mod process;
mod service_run;
mod table;

use std::time::{Duration, Instant};

use testkit::Mosquitto;

use crate::crowd::Crowd;
use crate::looker::Looker;
use crate::process::Usage;
use crate::service_run::ServiceRun;
use crate::table::Table;

pub(crate) type Outcome<T> = Result<T, Box<dyn std::error::Error + Send + Sync>>;

/// The service's own figures are taken so often.
const SAMPLE_EVERY: Duration = Duration::from_secs(5);
/// The watch and the mover come to rest in so long after the last message has come; a broker that is behind may still hold some, and they
/// are not lost.
const REST: Duration = Duration::from_secs(20);

fn main() -> Outcome<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let machines: usize = args.first().map_or(Ok(1_000), |text| text.parse())?;
    let seconds: u64 = args.get(1).map_or(Ok(3_600), |text| text.parse())?;
    let folder = tempfile::tempdir()?;
    let settings = ["max_inflight_messages 1000", "autosave_interval 1800"];
    let broker_folder = folder.path().join("broker");
    std::fs::create_dir(&broker_folder)?;
    let broker = Mosquitto::start_persistent(&broker_folder, &settings);
    let service = ServiceRun::start(folder.path(), &crowd::plant_text(machines, &broker.url()))?;
    service.wait_for_broker();
    let crowd = Crowd::start(&broker.url(), machines, seconds)?;
    let looker = Looker::start(&service.address, crowd.faults(), &crowd::name(machines / 2))?;
    let (began, mut samples) = (Instant::now(), Vec::new());
    let own = Usage::of(std::process::id())?;
    while !crowd.is_done() {
        std::thread::sleep(SAMPLE_EVERY);
        samples.push((began.elapsed(), Usage::of(service.id())?));
    }
    let took = began.elapsed();
    let load = Usage::of(std::process::id())?.cpu_seconds - own.cpu_seconds;
    let published = crowd.join()?;
    service.come_to_rest(REST)?;
    let seen = looker.stop();
    let metrics = service.metrics()?;
    let folders = service.folder_sizes();
    let data = service.stop()?;
    let stored = finish::count(&data, machines)?;
    let table = Table {
        machines,
        took,
        samples: &samples,
        load_cpu_seconds: load,
        published,
        seen: &seen,
        metrics: &metrics,
        folders: &folders,
        stored,
    };
    print!("{}", table.text());
    Ok(())
}

//! What the engine of a large works keeps in memory over whole days.
//!
//! `cargo run -p service --example days [MACHINES HOURS]`. Made-up days, three channels at 1 Hz, go through the engine ten minutes at a time,
//! what has changed is taken as the service takes it, and the state is written out every hour. It prints the resident memory of the process and judges
//! nothing: intake, store and pages come on top, of which `tests/soak/run` tells.

mod large_works;
mod made_up_days;

use std::collections::BTreeMap;
use std::error::Error;
use std::fs;

use engine::Engine;
use frames::Rows;
use model::{Channel, MachineId};

use self::large_works::plant;
use self::made_up_days::{read_at, thousandths};

const CHANNELS: [Channel; 3] = [Channel::Chocolate, Channel::Jacket, Channel::Motor];
/// So many seconds go through at once, and make an hour.
const AT_ONCE: i64 = 600;
const HOUR: i64 = 3600;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let machines: usize = args.first().map_or(Ok(1000), |text| text.parse())?;
    let hours: i64 = args.get(1).map_or(Ok(48), |text| text.parse())?;
    let plant = plant(machines)?;
    let ids: Vec<MachineId> = plant.machines.iter().map(|machine| machine.id.clone()).collect();
    let mut engine = Engine::new(plant);
    for from in (0..hours * HOUR).step_by(AT_ONCE as usize) {
        let read: BTreeMap<MachineId, Rows> =
            (0i64..).zip(&ids).map(|(n, id)| (id.clone(), rows(n, from))).collect();
        engine.apply_rows(&read);
        drop((read, engine.take_changes()));
        let now = from + AT_ONCE;
        if now % HOUR == 0 {
            let (state, pieces) =
                (engine.save()?.len(), engine.pieces().map(|(_, numbers)| numbers.len()).sum::<usize>());
            println!(
                "hour {:3}: resident {:4} MB; state {:4.1} MB and {pieces} pieces of the past",
                now / HOUR,
                resident_kb()? / 1024,
                state as f64 / 1e6
            );
        }
    }
    Ok(())
}

/// Ten minutes of a machine.
fn rows(machine: i64, from: i64) -> Rows {
    let seconds = || from..from + AT_ONCE;
    let mut columns: [Vec<i32>; Channel::ALL.len()] = Default::default();
    for channel in CHANNELS {
        columns[channel.index()] = seconds().map(|second| thousandths(channel, second, machine)).collect();
    }
    let moments = seconds().map(|second| read_at(second, machine)).collect();
    Rows::new(moments, vec![0; AT_ONCE as usize], columns)
        .expect("columns of one length, and moments that rise")
}

fn resident_kb() -> Result<u64, Box<dyn Error>> {
    let status = fs::read_to_string("/proc/self/status")?;
    let line =
        status.lines().find_map(|line| line.strip_prefix("VmRSS:")).ok_or("the kernel tells no VmRSS")?;
    Ok(line.trim().trim_end_matches(" kB").parse()?)
}

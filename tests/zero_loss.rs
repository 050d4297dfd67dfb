//! Zero loss, proven: publishers with sequences of their own, a real Mosquitto, and a service that is killed, cut off, frozen and
//! left without room while messages flow. Every message that the broker has acknowledged to its publisher is there once; a bare
//! number, which has no time that would tell it, is there at least once, and how many are there twice is printed.
//!
//! The judge is outside the service: what was published is counted by the publishers, and what is there is read by `halfdegree
//! export`. Each fault waits until its mark is seen (the signal that ended the service, a cut connection, a refused write) and fails the run where it
//! is not; a wait that takes too long is a stall and fails the run. The counts come from
//! the environment, so that `tests/crash` can ask for more of everything; a shorter form runs with all other tests.

mod disk;
mod faults;
mod publishers;
mod site;
mod small_disk;
mod tally;

use std::time::Instant;

use crate::zero_loss::faults::{Fault, Plan};
use crate::zero_loss::site::Site;
use crate::zero_loss::tally::Tally;

#[test]
fn every_acknowledged_message_is_there_once() {
    let plan = Plan::from_environment();
    let faults = plan.faults();
    let began = Instant::now();
    let mut site = Site::open(plan.seed());
    for (number, fault) in faults.iter().enumerate() {
        if plan.is_told() {
            eprintln!(
                "{:>4} of {}: {fault:?}, {} readings so far",
                number + 1,
                faults.len(),
                site.published()
            );
        }
        match fault {
            Fault::KillService => site.kill_service(),
            Fault::KillAtStart => site.kill_service_at_start(),
            Fault::StopBroker => site.stop_broker(),
            Fault::CutWire => site.cut_wire(),
            Fault::FreezeWire => site.freeze_wire(),
            Fault::FreezeDisk => site.freeze_disk(),
            Fault::KillWhileDiskFrozen => site.kill_while_disk_is_frozen(),
            Fault::FillDisk => site.fill_disk(),
        }
    }
    let outcome = site.close();
    eprintln!("{}\n{outcome}\nin {:.0} s", Tally::of(&faults), began.elapsed().as_secs_f64());
    outcome.assert_nothing_lost_or_doubled();
}

//! Plays made-up days whose truth is known, lets the engine watch them, and says in one table how right it was.
//!
//! ```text
//! cargo run -p engine --example score -- [--days N] [--seeds tuning|held-out] [--first K] [--only SCENARIO] [--worst N] [--threads N]
//! cargo run -p engine --example score -- --one SCENARIO SEED
//! ```
//! What counts as found, late and false stands at the head of `judge.rs`; of phases, batches and measures at the heads of
//! theirs. The held-out seeds are for the last run alone: who tunes on them has nothing left to judge by.

mod args;
mod batches;
mod early;
mod judge;
mod measures;
mod one;
mod phases;
mod play;
mod rank;
mod table;
mod tally;

use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use simulator::scoring::{Case, Scenario};

use crate::args::{Args, Run};
use crate::tally::Tally;

fn main() -> ExitCode {
    match Args::read(std::env::args().skip(1)) {
        Ok(Args::One { scenario, seed }) => one::print(&play::play(Case::new(scenario, seed))),
        Ok(Args::Run(run)) => table::print(&score(&run), run.worst),
        Err(says) => {
            eprintln!("{says}");
            return ExitCode::from(2);
        }
    }
    ExitCode::SUCCESS
}

/// Plays cases until the asked number of machine-days has been watched.
fn score(run: &Run) -> Tally {
    let next = AtomicU64::new(0);
    let total = Mutex::new(Tally::default());
    let began = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..run.threads {
            scope.spawn(|| {
                while let Some(case) = next_case(run, &next, &total) {
                    let played = play::play(case);
                    let tally = Tally::of(&played);
                    let mut total = total.lock().expect("no thread panics while it adds");
                    total.add(tally);
                    if total.cases % 20 == 0 {
                        let seconds = began.elapsed().as_secs_f64();
                        eprintln!("{} cases, {:.0} machine-days, {seconds:.0} s", total.cases, total.days());
                    }
                }
            });
        }
    });
    total.into_inner().expect("no thread panics while it adds")
}

fn next_case(run: &Run, next: &AtomicU64, total: &Mutex<Tally>) -> Option<Case> {
    let nth = next.fetch_add(1, Ordering::Relaxed);
    let seed = run.seeds.start + run.first + nth;
    let enough = total.lock().expect("no thread panics while it adds").days() >= run.days;
    let scenario = run.only.unwrap_or_else(|| Scenario::of_turn(run.first + nth));
    (!enough && run.seeds.contains(&seed)).then(|| Case::new(scenario, seed))
}

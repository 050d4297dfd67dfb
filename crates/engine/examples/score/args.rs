//! What the user asked for.

use std::ops::Range;

use simulator::scoring::{HELD_OUT, Scenario, TUNING};

/// One of the two ways to run.
pub(crate) enum Args {
    /// One case, told in full.
    One { scenario: Scenario, seed: u64 },
    /// Many cases, one table.
    Run(Run),
}

/// A run over many cases.
pub(crate) struct Run {
    pub(crate) days: f64,
    pub(crate) seeds: Range<u64>,
    pub(crate) first: u64,
    pub(crate) only: Option<Scenario>,
    pub(crate) worst: usize,
    pub(crate) threads: usize,
}

impl Args {
    pub(crate) fn read(mut words: impl Iterator<Item = String>) -> Result<Args, String> {
        let mut run = Run { days: 300.0, seeds: TUNING, first: 0, only: None, worst: 25, threads: 2 };
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or(format!("`{word}` wants a value"));
            match word.as_str() {
                "--one" => {
                    let scenario = scenario(&value()?)?;
                    return Ok(Args::One { scenario, seed: number(&value()?)? });
                }
                "--days" => run.days = number(&value()?)?,
                "--first" => run.first = number(&value()?)?,
                "--worst" => run.worst = number(&value()?)?,
                "--threads" => run.threads = number(&value()?)?,
                "--only" => run.only = Some(scenario(&value()?)?),
                "--seeds" => {
                    run.seeds = match value()?.as_str() {
                        "tuning" => TUNING,
                        "held-out" => HELD_OUT,
                        other => {
                            return Err(format!("`{other}` is not a range of seeds; say tuning or held-out"));
                        }
                    }
                }
                other => return Err(format!("`{other}` is not known; the head of main.rs says what is")),
            }
        }
        Ok(Args::Run(run))
    }
}

fn number<T: std::str::FromStr>(text: &str) -> Result<T, String> {
    text.parse().map_err(|_| format!("`{text}` is not a number"))
}

fn scenario(name: &str) -> Result<Scenario, String> {
    Scenario::named(name).ok_or_else(|| {
        let names: Vec<&str> = Scenario::all().into_iter().map(Scenario::as_str).collect();
        format!("`{name}` is not a scenario; the scenarios are {}", names.join(", "))
    })
}

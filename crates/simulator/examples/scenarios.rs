//! Writes every scenario to a folder: plant file, recorded stream and truth, under the scenario's name.
//!
//! `cargo run -p simulator --example scenarios -- FOLDER`

use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("say which folder to write to");
        return ExitCode::from(2);
    };
    for scenario in simulator::scenarios::all() {
        if let Err(error) = scenario.write(&folder) {
            eprintln!("{}: {error}", scenario.name);
            return ExitCode::from(2);
        }
        println!("{}: {}", scenario.name, scenario.about);
    }
    ExitCode::SUCCESS
}

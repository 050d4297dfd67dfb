//! The saved state keeps its shape as long as its version stands: one that was saved by an older commit of this version is read, to the
//! last byte, whatever the engine has learned to say since.
//!
//! `state/good-day.bin` is the state towards the end of the sample stream `good-day`. Where a change of shape makes this test fail, count up
//! `STATE_VERSION` in `src/engine/state.rs`; then `UPDATE_EXPECT=1` writes a new one, and it does so for a new version only.

#![expect(clippy::unwrap_used, reason = "the helpers of a test are test code, too")]

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use engine::{Engine, Piece, StateError};
use model::Timestamp;
use plant::{Plant, parse_plant};
use wire::Decoder;
use wire::recording::Recording;

/// All three have been at work; the wheel has ended a batch and learned from it.
const SAVED_AT: &str = "2026-03-02T16:55:00Z";

fn in_crate(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn good_day() -> Arc<Plant> {
    let text = fs::read_to_string(in_crate("../../sample-streams/good-day.plant.toml")).unwrap();
    Arc::new(parse_plant(&text).unwrap())
}

fn state_of_today(plant: &Arc<Plant>) -> Vec<u8> {
    let until: Timestamp = SAVED_AT.parse().unwrap();
    let (mut engine, mut decoder) = (Engine::new(plant.clone()), Decoder::new(plant));
    let recording = Recording::open(in_crate("../../sample-streams/good-day.ndjson.zst")).unwrap();
    let messages = recording.map(Result::unwrap).take_while(|message| message.arrived < until);
    for message in messages {
        decoder.decode(&message).arrivals.iter().for_each(|arrival| engine.apply(arrival));
    }
    engine.save().unwrap()
}

/// Pieces in which nothing is: what they hold is no part of the state.
fn pieces(plant: &Plant) -> Vec<Piece> {
    let of_machine = |id: &model::MachineId| {
        let id = id.clone();
        (0..1_000).map(move |number| Piece { machine: id.clone(), number, bytes: vec![0; 20] })
    };
    plant.machines.iter().flat_map(|machine| of_machine(&machine.id)).collect()
}

#[test]
fn a_state_of_this_version_has_the_shape_that_it_had() {
    let (plant, path) = (good_day(), in_crate("tests/state/good-day.bin"));
    let today = state_of_today(&plant);
    let is_new_version = fs::read(&path).map_or(true, |saved| saved[0] != today[0]);
    if is_new_version && std::env::var_os("UPDATE_EXPECT").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, &today).unwrap();
    }
    let saved = fs::read(&path).unwrap();
    let engine = Engine::restore(plant.clone(), &saved, pieces(&plant))
        .expect("the state has another shape or version; see the head of this file");
    assert!(engine.save().unwrap() == saved, "the state has another shape; see the head of this file");
}

#[test]
fn a_state_of_another_version_is_refused_in_words() {
    let plant = good_day();
    let mut state = Engine::new(plant.clone()).save().unwrap();
    state[0] -= 1;
    let refused = Engine::restore(plant, &state, []).unwrap_err();
    assert!(matches!(&refused, StateError::Version { found } if *found == u32::from(state[0])));
    assert!(
        refused.to_string().starts_with("the saved state is of another version of this program"),
        "{refused}"
    );
}

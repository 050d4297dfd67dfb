//! Every data folder that a release wrote opens for ever: the fixtures in `formats/` are as that version left them.
//!
//! `data-1` was written by the first version: two machines, two days in parts and a block in the journal, hundredths and
//! thousandths, a `missing` reading, events and a finding in the records. Beside it is what that version exported.

use std::fs;
use std::path::{Path, PathBuf};

use crate::program::{Service, output, root, run, text};

pub(crate) fn copied(name: &str, to: &Path) -> PathBuf {
    fn copy(from: &Path, to: &Path) {
        fs::create_dir(to).unwrap();
        for entry in fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            let place = to.join(entry.file_name());
            if entry.path().is_dir() {
                copy(&entry.path(), &place);
            } else {
                fs::copy(entry.path(), place).unwrap();
            }
        }
    }
    let data = to.join("data");
    copy(&root().join("tests/formats").join(name), &data);
    data
}

fn expected(name: &str) -> String {
    fs::read_to_string(root().join("tests/formats").join(name)).unwrap()
}

fn exported(data: &Path, machine: &str) -> String {
    output(&["export", "--data", data.to_str().unwrap(), "--machine", machine])
}

#[test]
fn a_folder_of_format_1_reads_as_it_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let data = copied("data-1", folder.path());
    for machine in ["alder", "fir"] {
        assert_eq!(exported(&data, machine), expected(&format!("data-1.{machine}.csv")), "{machine}");
    }
}

#[test]
fn a_service_goes_on_in_a_folder_of_format_1() {
    let folder = tempfile::tempdir().unwrap();
    let data = copied("data-1", folder.path());
    let service = Service::start(&root().join("tests/formats/data-1.plant.toml"), &data);
    let findings = service.json("/api/v1/findings?limit=100");
    assert!(
        !findings["findings"].as_array().unwrap().is_empty(),
        "the finding that was on record is still there"
    );
    for page in ["/", "/machines/alder", "/findings", "/setup", "/health", "/api/v1/batches"] {
        assert_eq!(service.get(page).0, 200, "{page}");
    }
    for batch in service.json("/api/v1/batches?limit=100")["batches"].as_array().unwrap() {
        let report = format!("/batches/{}", batch["id"].as_str().unwrap());
        assert_eq!(service.get(&report).0, 200, "{report}");
    }
    service.stop();
    for machine in ["alder", "fir"] {
        assert_eq!(exported(&data, machine), expected(&format!("data-1.{machine}.csv")), "{machine}");
    }
}

#[test]
fn a_part_of_a_later_format_is_refused_in_words_and_left_where_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let data = copied("data-1", folder.path());
    let part = data.join("readings/machine=fir/date=2026-11-25/part-1.parquet");
    let mut bytes = fs::read(&part).unwrap();
    let key = b"halfdegree.part";
    let place = bytes.windows(key.len()).position(|window| window == key).unwrap() + key.len() + 2;
    assert_eq!(bytes[place], b'1');
    bytes[place] = b'9';
    // As a later version would have listed it, by its own length and checksum.
    let journal = rusqlite::Connection::open(data.join("journal.db")).unwrap();
    let listed = journal
        .execute("UPDATE parts SET crc32 = ?1 WHERE machine = 'fir'", [crc32fast::hash(&bytes)])
        .unwrap();
    assert_eq!(listed, 1);
    drop(journal);
    fs::write(&part, &bytes).unwrap();
    let refused = run(&["export", "--data", data.to_str().unwrap(), "--machine", "fir"]);
    assert_eq!(refused.status.code(), Some(2));
    let words = text(&refused.stderr);
    assert!(words.contains("has format 9, and this version reads up to 1; use a newer version"), "{words}");
    assert_eq!(fs::read(&part).unwrap(), bytes);
}

//! The resolver against the packs of RFC 8428 and edge cases after it (`tests/fixtures/senml.toml`).

use serde_json::Value;

use crate::senml::{Record, RecordTime, RecordValue, resolve};

fn cases(kind: &str) -> Vec<toml::Table> {
    let all: toml::Table =
        toml::from_str(include_str!("../../tests/fixtures/senml.toml")).expect("the fixture is TOML");
    let list = all[kind].as_array().expect("the fixture holds lists of cases");
    list.iter().map(|case| case.as_table().expect("a case is a table").clone()).collect()
}

fn text<'c>(case: &'c toml::Table, key: &str) -> &'c str {
    case[key].as_str().expect("the fixture holds texts")
}

fn resolved(case: &toml::Table) -> Vec<Value> {
    let list = case["resolved_json"].as_array().expect("a case without error has records");
    list.iter().map(|json| serde_json::from_str(json.as_str().expect("a text")).expect("JSON")).collect()
}

/// Is `record` what the RFC says? Text and bytes are no readings, and told as such.
fn assert_matches(record: &Result<Record, String>, expected: &Value, name: &str) {
    if expected.get("vs").or(expected.get("vd")).is_some() {
        assert!(record.as_ref().unwrap_err().contains("cannot be a reading"), "{name}: {record:?}");
        return;
    }
    let record = record.as_ref().unwrap_or_else(|says| panic!("{name}: {says}"));
    assert_eq!(Some(record.name.as_str()), expected["n"].as_str(), "{name}");
    assert_eq!(record.unit.as_deref(), expected["u"].as_str(), "{name}");
    let (key, seconds) = match record.time {
        RecordTime::FromArrival(seconds) => ("t_relative", seconds),
        RecordTime::Since1970(seconds) => ("t", seconds),
    };
    // The vectors print milliseconds.
    let expected_seconds = expected[key].as_f64().unwrap_or_else(|| panic!("{name}: {:?}", record.time));
    assert!((seconds - expected_seconds).abs() < 0.0005, "{name}: {seconds} is not {expected_seconds}");
    let value = match (expected["v"].as_f64(), expected["vb"].as_bool()) {
        (Some(number), _) => RecordValue::Number(number),
        (None, Some(on)) => RecordValue::Boolean(on),
        (None, None) => RecordValue::Missing,
    };
    assert_eq!(record.value, value, "{name}");
}

fn assert_all_match(records: &[Result<Record, String>], expected: &[Value], name: &str) {
    assert_eq!(records.len(), expected.len(), "{name}");
    for (record, expected) in records.iter().zip(expected) {
        assert_matches(record, expected, name);
    }
}

#[test]
fn the_examples_of_the_rfc_resolve_as_printed() {
    let examples = cases("example");
    assert_eq!(examples.len(), 11);
    for case in examples {
        let records = resolve(text(&case, "pack_json").as_bytes()).unwrap();
        assert_all_match(&records, &resolved(&case), text(&case, "name"));
    }
}

#[test]
fn edge_cases_resolve_or_are_told() {
    for case in cases("edge") {
        let name = text(&case, "name");
        let records = resolve(text(&case, "pack_json").as_bytes());
        match name {
            // The RFC binds the sender here; a reader may accept it, and this one does.
            "upper_case_exponent" => {
                assert_eq!(records.unwrap()[0].as_ref().unwrap().value, RecordValue::Number(15.0))
            }
            // The RFC lets the base value stand alone; the contract calls a record without a value field missing.
            "base_value_only" => {
                let records = records.unwrap();
                assert_eq!(records[0].as_ref().unwrap().value, RecordValue::Number(30.0));
                assert_eq!(records[1].as_ref().unwrap().value, RecordValue::Missing);
            }
            _ if case.contains_key("expect") => {
                let is_told = records.is_err() || records.unwrap().iter().any(Result::is_err);
                assert!(is_told, "{name}: {}", text(&case, "why"));
            }
            _ => assert_all_match(&records.unwrap(), &resolved(&case), name),
        }
    }
}

/// Section 6 prints the pack of the example `past_seconds` in CBOR.
#[test]
fn the_cbor_of_the_rfc_means_what_its_json_means() {
    let all: toml::Table = toml::from_str(include_str!("../../tests/fixtures/senml.toml")).unwrap();
    let hex = all["cbor"]["hex"].as_str().unwrap();
    let bytes: Vec<u8> = (0..hex.len())
        .step_by(2)
        .map(|place| u8::from_str_radix(&hex[place..place + 2], 16).unwrap())
        .collect();
    assert_eq!(bytes.len(), 195);
    let case = cases("example").into_iter().find(|case| text(case, "name") == "past_seconds").unwrap();
    let from_json = resolve(text(&case, "pack_json").as_bytes()).unwrap();
    assert_eq!(resolve(&bytes).unwrap(), from_json);
    assert_all_match(&from_json, &resolved(&case), "past_seconds");
}

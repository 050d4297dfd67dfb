//! Packs in, records or sentences out, as text; and that JSON and CBOR mean the same.

use expect_test::{Expect, expect};
use proptest::prelude::*;

use super::*;

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check(pack: &str, expected: Expect) {
    let shown = match resolve(pack.as_bytes()) {
        Err(says) => says,
        Ok(records) => records.iter().map(show).collect::<Vec<_>>().join("\n"),
    };
    expected.assert_eq(&shown);
}

fn show(record: &Result<Record, String>) -> String {
    match record {
        Err(says) => says.clone(),
        Ok(Record { name, unit, time, value }) => {
            format!("{name} {} {time:?} {value:?}", unit.as_deref().unwrap_or("-"))
        }
    }
}

#[test]
fn a_broken_record_leaves_the_others_alone() {
    check(
        r#"[{"n":"chocolate","v":31.5},{"n":"room","v":"warm"},{"n":"humidity","v":50,"vs":"x"},{"n":"motor","v":2}]"#,
        expect![[r#"
            chocolate - FromArrival(0.0) Number(31.5)
            record 2: `v` takes a number, not "warm"
            record 3: a record has one value, and here are 2
            motor - FromArrival(0.0) Number(2.0)"#]],
    );
}

#[test]
fn what_is_not_there_or_not_finite_is_missing() {
    check(
        r#"[{"bn":"alder/","bv":30},{"n":"chocolate"},{"n":"jacket","v":null},{"n":"room","v":1e400},{"n":"motor","v":NaN},{"n":"humidity","s":2}]"#,
        expect![[r#"
            alder/chocolate - FromArrival(0.0) Missing
            alder/jacket - FromArrival(0.0) Missing
            alder/room - FromArrival(0.0) Missing
            alder/motor - FromArrival(0.0) Missing
            alder/humidity - FromArrival(0.0) Missing"#]],
    );
}

#[test]
fn what_spoils_a_pack_is_told_once() {
    check(
        "31.2",
        expect![[
            r#"the payload is not a SenML pack; a pack is a list of records, such as [{"n":"chocolate","u":"Cel","v":31.2}]"#
        ]],
    );
    check(
        "[31.2]",
        expect![
            "the payload is not a SenML pack (invalid type: floating point `31.2`, expected a record, which is an object at line 1 column 5)"
        ],
    );
    check(
        "[{\"n\":\"chocolate\",\"v\":31.2}",
        expect!["the payload is not a SenML pack (EOF while parsing a list at line 1 column 27)"],
    );
    check(
        r#"[{"n":"chocolate","v":31.2},{"bt":"now"}]"#,
        expect![[r#"record 2: `bt` takes a number, not "now""#]],
    );
    check(
        r#"[{"bt":1e400,"n":"chocolate","v":31.2}]"#,
        expect!["record 1: the base time `bt` is not a finite number"],
    );
    check(
        r#"[{"n":"chocolate","v":31.2,"v":31.3}]"#,
        expect![
            "the payload is not a SenML pack (the label `v` is there twice in one record at line 1 column 36)"
        ],
    );
    check(
        r#"[{"bver":0.5,"n":"chocolate","v":31.2}]"#,
        expect!["record 1: SenML version 0.5 is not known; versions up to 10 are"],
    );
}

#[test]
fn an_empty_pack_says_nothing() {
    assert_eq!(resolve(b"[]"), Ok(vec![]));
}

/// Bytes of CBOR, written in hexadecimal with spaces.
fn bytes(hex: &str) -> Vec<u8> {
    let digits: String = hex.split_whitespace().collect();
    let byte = |place| u8::from_str_radix(&digits[place..place + 2], 16).expect("hexadecimal");
    (0..digits.len()).step_by(2).map(byte).collect()
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check_cbor(hex: &str, expected: Expect) {
    let shown = match resolve(&bytes(hex)) {
        Err(says) => says,
        Ok(records) => records.iter().map(show).collect::<Vec<_>>().join("\n"),
    };
    expected.assert_eq(&shown);
}

#[test]
fn cbor_says_the_same_in_fewer_bytes() {
    // [{0: "room", 2: 21}, {0: "room", 2: 21.5 (half)}, {0: "room", 2: null}, {0: "room", 2: NaN}, {0: "room", 4: true}]
    check_cbor(
        "85 a2 00 64726f6f6d 02 15  a2 00 64726f6f6d 02 f94d60  a2 00 64726f6f6d 02 f6  a2 00 64726f6f6d 02 f97e00 \
         a2 00 64726f6f6d 04 f5",
        expect![[r#"
            room - FromArrival(0.0) Number(21.0)
            room - FromArrival(0.0) Number(21.5)
            room - FromArrival(0.0) Missing
            room - FromArrival(0.0) Missing
            room - FromArrival(0.0) Boolean(true)"#]],
    );
    // The list, the map and the text of indefinite length, behind the tag "this is CBOR".
    check_cbor(
        "d9d9f7 9f bf 00 7f 62726f 626f6d ff 02 15 ff ff",
        expect!["room - FromArrival(0.0) Number(21.0)"],
    );
}

#[test]
fn decimal_fractions_and_big_numbers_are_numbers() {
    // 4([-2, 3125]) is 31.25 (RFC 8949, section 3.4.4, has 4([-2, 27315]) for 273.15); 2^64 as a big number; a plain tag.
    check_cbor(
        "84 a2 00 6161 02 c4 82 21 19 0c35  a2 00 6162 02 c4 82 21 19 6ab3  a2 00 6163 02 c2 49 010000000000000000 \
         a2 00 6164 02 c1 15",
        expect![[r#"
            a - FromArrival(0.0) Number(31.25)
            b - FromArrival(0.0) Number(273.15)
            c - FromArrival(0.0) Number(1.8446744073709552e19)
            d - FromArrival(0.0) Number(21.0)"#]],
    );
}

#[test]
fn what_is_wrong_in_cbor_is_told() {
    check_cbor("81 a2 00", expect!["the payload is not a SenML pack in CBOR (it breaks off)"]);
    check_cbor(
        "81 15",
        expect!["the payload is not a SenML pack in CBOR (invalid type: integer `21`, expected map)"],
    );
    check_cbor(
        "81 a1 00 6161 00",
        expect!["the payload is not a SenML pack in CBOR (after the pack come 1 bytes more)"],
    );
    check_cbor(
        "81 a2 00 6161 00 6162",
        expect!["the payload is not a SenML pack in CBOR (the label `n` is there twice in one record)"],
    );
    check_cbor("81 a2 00 6161 02 8115", expect!["record 1: `v` takes a number, not a list or a map"]);
    check_cbor("81 a2 00 6161 02 6161", expect![[r#"record 1: `v` takes a number, not "a""#]]);
    check_cbor(
        "81 a2 00 6161 08 4161",
        expect!["record 1: a value of text or bytes (`vd`) cannot be a reading; send a number in `v`"],
    );
    check_cbor(
        "81 a2 00 6161 64 666f6f5f 15",
        expect!["record 1: the label `foo_` has to be understood, and is not known here"],
    );
    check_cbor("81 a2 00 6161 1863 15", expect!["a - FromArrival(0.0) Missing"]);
    let deep = format!("81 a2 00 6161 02 {}15", "81".repeat(50));
    check_cbor(&deep, expect!["the payload is not a SenML pack in CBOR (its values are nested too deeply)"]);
    check_cbor("9b 7fffffffffffffff", expect!["the payload is not a SenML pack in CBOR (it breaks off)"]);
}

#[test]
fn a_small_payload_cannot_be_blown_up() {
    let told = |pack: &str| resolve(pack.as_bytes()).unwrap_err();
    let many = format!("[{}{{}}]", "{},".repeat(100_000));
    assert!(told(&many).contains("more than 100000 records"));
    let mut cbor = vec![0x9f];
    cbor.extend(std::iter::repeat_n(0xa0, 100_001));
    cbor.push(0xff);
    assert!(resolve(&cbor).unwrap_err().contains("more than 100000 records"));
    let labels: Vec<String> = (0..65).map(|n| format!("\"x{n}\":1")).collect();
    assert!(told(&format!("[{{{}}}]", labels.join(","))).contains("more than 64 labels"));
    let long = "a".repeat(257);
    assert!(
        told(&format!(r#"[{{"bn":"{long}","v":1}}]"#)).contains("the base name is longer than 256 bytes")
    );
    assert!(told(&format!(r#"[{{"bu":"{long}","n":"a","v":1}}]"#)).contains("the base unit is longer"));
    let records =
        resolve(format!(r#"[{{"n":"{long}","v":1}},{{"n":"a","u":"{long}","v":1}}]"#).as_bytes()).unwrap();
    assert!(records.iter().all(|record| record.as_ref().unwrap_err().contains("is longer than")));
}

/// A label in both forms, and a value that may fit it or not.
fn label_and_value() -> impl Strategy<Value = (&'static str, i64, serde_json::Value)> {
    let labels = [
        ("bn", -2),
        ("bt", -3),
        ("bu", -4),
        ("bv", -5),
        ("bver", -1),
        ("n", 0),
        ("u", 1),
        ("v", 2),
        ("vs", 3),
        ("vb", 4),
        ("s", 5),
        ("t", 6),
    ];
    let value = prop_oneof![
        4 => prop_oneof![Just("alder/"), Just("room"), Just("Cel"), Just("-x"), Just("é")].prop_map(Into::into),
        4 => any::<f64>().prop_filter("JSON has no others", |number| number.is_finite()).prop_map(Into::into),
        4 => (-5_i64..2_000_000_000).prop_map(Into::into),
        1 => any::<bool>().prop_map(Into::into),
        1 => Just(serde_json::Value::Null),
    ];
    (prop::sample::select(labels.to_vec()), value).prop_map(|((name, number), value)| (name, number, value))
}

fn in_cbor(value: &serde_json::Value) -> ciborium::Value {
    match value {
        serde_json::Value::String(text) => text.as_str().into(),
        serde_json::Value::Bool(on) => (*on).into(),
        serde_json::Value::Number(number) => {
            number.as_i64().map_or_else(|| number.as_f64().unwrap_or_default().into(), Into::into)
        }
        serde_json::Value::Null | serde_json::Value::Array(_) | serde_json::Value::Object(_) => {
            ciborium::Value::Null
        }
    }
}

proptest! {
    #[test]
    fn json_and_cbor_mean_the_same(
        pack in prop::collection::vec(prop::collection::vec(label_and_value(), 0..5), 0..6),
    ) {
        let (mut in_json, mut cbor) = (Vec::new(), Vec::new());
        for labels in &pack {
            let (mut object, mut map) = (serde_json::Map::new(), Vec::new());
            for (name, number, value) in labels {
                // A label that is there twice spoils the pack in both forms; here each is there once.
                if object.insert((*name).to_owned(), value.clone()).is_none() {
                    map.push((ciborium::Value::from(*number), ciborium::Value::Null));
                }
                let key = ciborium::Value::from(*number);
                if let Some(entry) = map.iter_mut().find(|(known, _)| *known == key) {
                    entry.1 = in_cbor(value);
                }
            }
            in_json.push(serde_json::Value::Object(object));
            cbor.push(ciborium::Value::Map(map));
        }
        let json = serde_json::Value::Array(in_json).to_string();
        let mut bytes = Vec::new();
        ciborium::into_writer(&ciborium::Value::Array(cbor), &mut bytes).expect("memory takes bytes");
        prop_assert_eq!(resolve(json.as_bytes()), resolve(&bytes));
    }
}

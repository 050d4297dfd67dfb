//! Wrong arguments are refused before anything starts.

use std::fs;
use std::net::TcpListener;

use expect_test::expect;

use super::{check_args, told_in};

#[test]
fn bad_arguments() {
    let replay = |to, speed| ["replay", "plant.toml", "--to", to, speed];
    check_args(
        &replay("ftp://broker", "--speed=1"),
        expect![[r#"
        exit 2
        halfdegree: `ftp://` is not a way to a broker that we know; write mqtt://host:1883, mqtts://host:8883 for TLS, or embedded
    "#]],
    );
    check_args(
        &replay("mqtts://broker", "--speed=1"),
        expect![[r#"
        exit 2
        halfdegree: for mqtts:// name the plant file, too (`--plant FILE`): it knows whom to trust
    "#]],
    );
    check_args(
        &replay("embedded", "--speed=1"),
        expect![[r#"
        exit 2
        halfdegree: `embedded` starts a broker inside the service; this needs one that runs, such as mqtt://127.0.0.1:1883
    "#]],
    );
    check_args(
        &replay("mqtt://127.0.0.1:1", "--speed=-1"),
        expect![[r#"
        exit 2
        halfdegree: `-1` is not a speed; a number above 0, or 0 for as fast as the broker takes it
    "#]],
    );
    check_args(
        &replay("mqtt://127.0.0.1:1", "--speed=nan"),
        expect![[r#"
        exit 2
        halfdegree: `NaN` is not a speed; a number above 0, or 0 for as fast as the broker takes it
    "#]],
    );
    check_args(
        &["serve", "--plant", "plant.toml", "--data", "data", "--listen", "0.0.0.0:8460"],
        expect![[r#"
        exit 2
        halfdegree: cannot listen on 0.0.0.0:8460: nobody could sign in, because there are no users. Add the first one with `halfdegree user add --data data NAME --role quality`, or listen on 127.0.0.1 for this computer alone
    "#]],
    );
    check_args(
        &["export", "--data", "data", "--machine", "alder"],
        expect![[r#"
        exit 2
        halfdegree: there is no data folder data
    "#]],
    );
    check_args(
        &["export", "--data", ".", "--machine", "al der"],
        expect![[r#"
        exit 2
        error: invalid value 'al der' for '--machine <MACHINE>': the id `al der` holds ` `; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit

        For more information, try '--help'.
    "#]],
    );
    check_args(
        &["export", "--data", ".", "--machine", "alder", "--from", "noon"],
        expect![[r#"
        exit 2
        error: invalid value 'noon' for '--from <FROM>': `noon` is not a time such as 2026-03-02T05:00:00Z

        For more information, try '--help'.
    "#]],
    );
    check_args(
        &["simulate", "--out", "out", "--days", "0"],
        expect![[r#"
        exit 2
        halfdegree: --days is 0; there is nothing to write
    "#]],
    );
    check_args(
        &["demo", "--speed", "0.5"],
        expect![[r#"
        exit 2
        halfdegree: the demo runs 1 to 120 times as fast as real time, not 0.5
    "#]],
    );
}

#[test]
fn what_is_not_there_and_what_is_there_already() {
    check_args(
        &["audit", "verify", "--data", "nodata"],
        expect![[r#"
        exit 2
        halfdegree: there is no nodata/records.db; name the data folder of a service, or a backup
    "#]],
    );
    // A file in the place of the data folder: no address is told of pages that never answer.
    check_args(
        &["serve", "--plant", "plant.toml", "--data", "plant.toml", "--listen", "127.0.0.1:0"],
        expect![[r#"
            exit 2
            halfdegree: cannot make the data folder plant.toml: File exists (os error 17)
        "#]],
    );
    let folder = tempfile::tempdir().unwrap();
    crate::formats::copied("data-1", folder.path());
    let export = ["export", "--data", "data", "--machine", "oak"];
    expect![[r#"
        exit 2
        halfdegree: there is no machine `oak` in data; it has alder, fir
    "#]]
    .assert_eq(&told_in(folder.path(), &export));
    fs::create_dir(folder.path().join("out")).unwrap();
    fs::write(folder.path().join("out/truth.json"), "{}").unwrap();
    expect![[r#"
        exit 2
        halfdegree: cannot simulate into out: out/truth.json is there already; name another folder, or move it away
    "#]].assert_eq(&told_in(folder.path(), &["simulate", "--out", "out"]));
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let told = told_in(folder.path(), &["demo", "--listen", &address]);
    assert!(!told.contains("Playing") && told.contains("is another service running there?"), "{told}");
}

//! The facts and byte vectors in `tests/fixtures/sparkplug_b.toml`, for the tests of this folder.

fn all() -> toml::Table {
    toml::from_str(include_str!("../../tests/fixtures/sparkplug_b.toml")).expect("the fixture is TOML")
}

pub(crate) fn list(kind: &str) -> Vec<toml::Table> {
    let all = all();
    let list = all[kind].as_array().expect("the fixture holds lists of cases");
    list.iter().map(|case| case.as_table().expect("a case is a table").clone()).collect()
}

pub(crate) fn named(name: &str) -> toml::Table {
    list("vector").into_iter().find(|case| text(case, "name") == name).expect("the fixture has this vector")
}

pub(crate) fn text<'c>(case: &'c toml::Table, key: &str) -> &'c str {
    case[key].as_str().expect("the fixture holds texts")
}

pub(crate) fn bytes(case: &toml::Table) -> Vec<u8> {
    let hex = text(case, "hex");
    let byte = |place| u8::from_str_radix(&hex[place..place + 2], 16).expect("the fixture is hexadecimal");
    (0..hex.len()).step_by(2).map(byte).collect()
}

//! What `[mqtt]` means.

use std::net::SocketAddr;

use crate::fault::{At, Faults};
use crate::meaning::words;
use crate::mqtt::USUAL_LISTEN;
use crate::raw::RawMqtt;
use crate::{BrokerUrl, ClientCertificate, Login, Mqtt, NamedFile, PasswordFrom};

/// Where a broker on the same computer listens.
const USUAL_HOST: &str = "127.0.0.1";
const USUAL_PORT: u16 = 1883;
const USUAL_ROOT: &str = "works";
const USUAL_CLIENT_ID: &str = "halfdegree";

/// What every broker takes (MQTT 3.1.1, section 3.1.3.1, asks for 23 at least; all known ones take more).
const LONGEST_CLIENT_ID: usize = 128;

pub(crate) fn mean(raw: &RawMqtt, faults: &mut Faults<'_>) -> Option<Mqtt> {
    let url = mean_url(raw.url.as_ref(), faults);
    let root = mean_root(raw.root.as_ref(), faults);
    let client_id = mean_client_id(raw.client_id.as_ref(), faults);
    let client_certificate = mean_certificate(raw, faults);
    let login = mean_login(raw, faults);
    let listen = mean_listen(raw, faults);
    check_together(raw, url.as_ref(), faults);
    Some(Mqtt {
        url: url?,
        root: root?,
        client_id: client_id?,
        login,
        ca: file(raw.ca_file.as_ref(), "ca_file", faults),
        client_certificate,
        listen: listen?,
    })
}

fn mean_url(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<BrokerUrl> {
    let Some(url) = raw else {
        return Some(BrokerUrl::Tcp { host: USUAL_HOST.into(), port: USUAL_PORT });
    };
    BrokerUrl::parse(&url.value).map_err(|says| faults.add(url.line, says)).ok()
}

fn mean_root(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<String> {
    let Some(root) = raw else { return Some(USUAL_ROOT.into()) };
    let text = root.value.as_str();
    let wrong = if text.is_empty() {
        Some("cannot be empty")
    } else if text.contains(['+', '#', '\0']) {
        Some("cannot hold `+` or `#`")
    } else if text.starts_with('/') || text.ends_with('/') {
        Some("is written without a slash at either end")
    } else if text.starts_with('$') {
        Some("cannot begin with `$`; such topics belong to the broker")
    } else if text.split('/').next() == Some("spBv1.0") {
        Some("cannot be in `spBv1.0`; those topics belong to Sparkplug B")
    } else {
        None
    };
    match wrong {
        Some(wrong) => {
            faults.add(root.line, format!("`root = \"{text}\"`: the root {wrong}"));
            None
        }
        None => Some(text.to_owned()),
    }
}

fn mean_client_id(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<String> {
    let Some(id) = raw else { return Some(USUAL_CLIENT_ID.into()) };
    if LONGEST_CLIENT_ID < id.value.len() {
        faults.add(id.line, format!("`client_id` is longer than {LONGEST_CLIENT_ID} characters"));
        return None;
    }
    words::not_blank(Some(id), "client_id", faults)
}

fn mean_certificate(raw: &RawMqtt, faults: &mut Faults<'_>) -> Option<ClientCertificate> {
    match (&raw.certificate_file, &raw.key_file) {
        (Some(_), Some(_)) => Some(ClientCertificate {
            certificate: file(raw.certificate_file.as_ref(), "certificate_file", faults)?,
            key: file(raw.key_file.as_ref(), "key_file", faults)?,
        }),
        (Some(alone), None) => {
            faults.add_absence(alone.line, "`certificate_file` needs its `key_file` beside it");
            None
        }
        (None, Some(alone)) => {
            faults.add_absence(alone.line, "`key_file` needs its `certificate_file` beside it");
            None
        }
        (None, None) => None,
    }
}

/// A user has a password, and a password a user: an empty one is refused here and not at the broker's door.
fn mean_login(raw: &RawMqtt, faults: &mut Faults<'_>) -> Option<Login> {
    let from_file = file(raw.password_file.as_ref(), "password_file", faults).map(PasswordFrom::File);
    let from_environment =
        variable(raw.password_env.as_ref(), ("password_env", "HALFDEGREE_MQTT_PASSWORD"), faults);
    match (&raw.user, &raw.password_file, &raw.password_env) {
        (_, Some(_), Some(variable)) => {
            let says = "`password_file` and `password_env` are two places for one password; leave one out";
            faults.add(variable.line, says);
            None
        }
        (None, Some(password), None) => {
            faults.add_absence(password.line, "`password_file` needs a `user` beside it");
            None
        }
        (None, None, Some(password)) => {
            faults.add_absence(password.line, "`password_env` needs a `user` beside it");
            None
        }
        (Some(user), None, None) => {
            let says = "`user` needs a password beside it: `password_file`, a file with nothing else in it, or \
                        `password_env`, the name of a variable of the environment";
            faults.add_absence(user.line, says);
            None
        }
        (None, None, None) => None,
        (Some(_), _, _) => Some(Login {
            user: words::not_blank(raw.user.as_ref(), "user", faults)?,
            password: from_file.or(from_environment)?,
        }),
    }
}

/// A variable of the environment that holds a secret; `such` is its key, and a name such as it could have.
pub(super) fn variable(
    raw: Option<&At<String>>,
    (key, such): (&'static str, &str),
    faults: &mut Faults<'_>,
) -> Option<PasswordFrom> {
    let variable = words::not_blank(raw, key, faults)?;
    let line = raw?.line;
    let is_name = variable.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
        && !variable.starts_with(|c: char| c.is_ascii_digit());
    if !is_name {
        // What stands there may be the password itself, so it is not repeated.
        let what = key.trim_end_matches("_env");
        faults.add(
            line,
            format!("`{key}` is the name of a variable, such as {such}, and never the {what} itself"),
        );
        return None;
    }
    Some(PasswordFrom::Environment { key, variable, line })
}

/// Where the broker inside listens: this computer alone, unless the file says otherwise.
fn mean_listen(raw: &RawMqtt, faults: &mut Faults<'_>) -> Option<SocketAddr> {
    let Some(listen) = &raw.listen else { return Some(USUAL_LISTEN) };
    let address = listen.value.parse::<SocketAddr>().ok();
    let Some(address) = address.filter(|address| (1..u16::MAX).contains(&address.port())) else {
        let says = format!(
            "`listen = \"{}\"` is not an address to listen on; write address and port, such as 127.0.0.1:1883 for this \
             computer alone or 0.0.0.0:1883 for everybody who can reach it (clients of MQTT 5.0 use the port after it)",
            listen.value
        );
        faults.add(listen.line, says);
        return None;
    };
    if !address.ip().is_loopback() && raw.user.is_none() {
        let says = format!(
            "`listen = \"{address}\"` lets others than this computer in, so it needs a `user` with `password_file` or \
             `password_env` beside it, which every client then shows"
        );
        faults.add_absence(listen.line, says);
        return None;
    }
    Some(address)
}

/// Keys that make no sense beside each other.
fn check_together(raw: &RawMqtt, url: Option<&BrokerUrl>, faults: &mut Faults<'_>) {
    let for_tls =
        [("ca_file", &raw.ca_file), ("certificate_file", &raw.certificate_file), ("key_file", &raw.key_file)];
    let inside = "is for the broker inside the service; it goes with `url = \"embedded\"`";
    match url {
        None => {}
        Some(BrokerUrl::Tls { .. }) => refuse(("listen", &raw.listen), inside, faults),
        Some(BrokerUrl::Tcp { .. }) => {
            refuse(("listen", &raw.listen), inside, faults);
            for at in for_tls {
                refuse(at, "is for TLS; it goes with a `url` that begins with mqtts://", faults);
            }
        }
        Some(BrokerUrl::Embedded) => {
            for at in for_tls.into_iter().chain([("client_id", &raw.client_id)]) {
                refuse(at, "has no use beside `url = \"embedded\"`; leave it out", faults);
            }
        }
    }
}

fn refuse((key, raw): (&str, &Option<At<String>>), why: &str, faults: &mut Faults<'_>) {
    if let Some(at) = raw {
        faults.add(at.line, format!("`{key}` {why}"));
    }
}

pub(super) fn file(
    raw: Option<&At<String>>,
    key: &'static str,
    faults: &mut Faults<'_>,
) -> Option<NamedFile> {
    let path = words::not_blank(raw, key, faults)?.into();
    Some(NamedFile { key, line: raw?.line, path })
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::meaning::tests::check_with;

    #[test]
    fn a_root_is_a_topic_of_our_own() {
        check_with("[mqtt]\nroot = \"\"\n", expect![[r#"line 13: `root = ""`: the root cannot be empty"#]]);
        check_with(
            "[mqtt]\nroot = \"works/+\"\n",
            expect![[r#"line 13: `root = "works/+"`: the root cannot hold `+` or `#`"#]],
        );
        check_with(
            "[mqtt]\nroot = \"/works\"\n",
            expect![[r#"line 13: `root = "/works"`: the root is written without a slash at either end"#]],
        );
        check_with(
            "[mqtt]\nroot = \"$SYS\"\n",
            expect![[
                r#"line 13: `root = "$SYS"`: the root cannot begin with `$`; such topics belong to the broker"#
            ]],
        );
        check_with(
            "[mqtt]\nroot = \"spBv1.0/works\"\n",
            expect![[
                r#"line 13: `root = "spBv1.0/works"`: the root cannot be in `spBv1.0`; those topics belong to Sparkplug B"#
            ]],
        );
        check_with("[mqtt]\nroot = \"site-2/works\"\n", expect!["no fault"]);
    }

    #[test]
    fn keys_that_need_each_other_stand_together() {
        check_with(
            "[mqtt]\npassword_file = \"p\"\n",
            expect!["line 13: `password_file` needs a `user` beside it"],
        );
        check_with(
            "[mqtt]\nurl = \"mqtts://b\"\nkey_file = \"k\"\n",
            expect!["line 14: `key_file` needs its `certificate_file` beside it"],
        );
        check_with(
            "[mqtt]\nurl = \"mqtts://b\"\ncertificate_file = \"c\"\n",
            expect!["line 14: `certificate_file` needs its `key_file` beside it"],
        );
        check_with(
            "[mqtt]\nurl = \"mqtts://b\"\nuser = \"ana\"\npassword_file = \"p\"\nca_file = \"a\"\n\
             certificate_file = \"c\"\nkey_file = \"k\"\nclient_id = \"office\"\n",
            expect!["no fault"],
        );
    }

    #[test]
    fn keys_that_have_no_use_are_told() {
        check_with(
            "[mqtt]\nurl = \"mqtt://b\"\nca_file = \"a\"\n",
            expect!["line 14: `ca_file` is for TLS; it goes with a `url` that begins with mqtts://"],
        );
        check_with(
            "[mqtt]\nurl = \"embedded\"\nclient_id = \"office\"\n",
            expect![[r#"line 14: `client_id` has no use beside `url = "embedded"`; leave it out"#]],
        );
        check_with(
            "[mqtt]\nusr = \"ana\"\nclient_id = \" \"\n",
            expect![[r#"
                line 13: `usr` is not known in [mqtt]; did you mean `user`? What can stand there: url, root, client_id, user, password_file, password_env, ca_file, certificate_file, key_file and listen
                line 14: `client_id` cannot be empty"#]],
        );
    }

    #[test]
    fn a_login_is_whole() {
        check_with(
            "[mqtt]\nuser = \"ana\"\n",
            expect![
                "line 13: `user` needs a password beside it: `password_file`, a file with nothing else in it, or `password_env`, the name of a variable of the environment"
            ],
        );
        check_with(
            "[mqtt]\npassword_env = \"P\"\n",
            expect!["line 13: `password_env` needs a `user` beside it"],
        );
        check_with(
            "[mqtt]\nuser = \"ana\"\npassword_file = \"p\"\npassword_env = \"P\"\n",
            expect![
                "line 15: `password_file` and `password_env` are two places for one password; leave one out"
            ],
        );
        check_with(
            "[mqtt]\nuser = \"ana\"\npassword_env = \"hush 4!\"\n",
            expect![
                "line 14: `password_env` is the name of a variable, such as HALFDEGREE_MQTT_PASSWORD, and never the password itself"
            ],
        );
        check_with("[mqtt]\nuser = \"ana\"\npassword_env = \"TERN_MQTT\"\n", expect!["no fault"]);
    }

    #[test]
    fn the_broker_inside_listens_to_this_computer_unless_there_is_a_password() {
        let embedded = |more: &str| format!("[mqtt]\nurl = \"embedded\"\n{more}");
        check_with(&embedded("listen = \"127.0.0.1:1999\"\n"), expect!["no fault"]);
        check_with(
            &embedded("listen = \"0.0.0.0:1883\"\n"),
            expect![[
                r#"line 14: `listen = "0.0.0.0:1883"` lets others than this computer in, so it needs a `user` with `password_file` or `password_env` beside it, which every client then shows"#
            ]],
        );
        check_with(
            &embedded("listen = \"0.0.0.0:1883\"\nuser = \"kettles\"\npassword_file = \"p\"\n"),
            expect!["no fault"],
        );
        check_with(
            &embedded("listen = \"everywhere\"\n"),
            expect![[
                r#"line 14: `listen = "everywhere"` is not an address to listen on; write address and port, such as 127.0.0.1:1883 for this computer alone or 0.0.0.0:1883 for everybody who can reach it (clients of MQTT 5.0 use the port after it)"#
            ]],
        );
        check_with(
            "[mqtt]\nurl = \"mqtt://b\"\nlisten = \"127.0.0.1:1883\"\n",
            expect![[
                r#"line 14: `listen` is for the broker inside the service; it goes with `url = "embedded"`"#
            ]],
        );
    }
}

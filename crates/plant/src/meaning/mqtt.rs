//! What `[mqtt]` means.

use std::path::PathBuf;

use crate::fault::{At, Faults};
use crate::meaning::words;
use crate::raw::RawMqtt;
use crate::{BrokerUrl, ClientCertificate, Mqtt};

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
    check_together(raw, url.as_ref(), faults);
    Some(Mqtt {
        url: url?,
        root: root?,
        client_id: client_id?,
        user: words::not_blank(raw.user.as_ref(), "user", faults),
        password_file: file(raw.password_file.as_ref(), "password_file", faults),
        ca_file: file(raw.ca_file.as_ref(), "ca_file", faults),
        client_certificate,
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
            certificate_file: file(raw.certificate_file.as_ref(), "certificate_file", faults)?,
            key_file: file(raw.key_file.as_ref(), "key_file", faults)?,
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

/// Keys that make no sense beside each other.
fn check_together(raw: &RawMqtt, url: Option<&BrokerUrl>, faults: &mut Faults<'_>) {
    if let (Some(password), None) = (&raw.password_file, &raw.user) {
        faults.add_absence(password.line, "`password_file` needs a `user` beside it");
    }
    let for_tls =
        [("ca_file", &raw.ca_file), ("certificate_file", &raw.certificate_file), ("key_file", &raw.key_file)];
    let for_any = [("user", &raw.user), ("password_file", &raw.password_file), ("client_id", &raw.client_id)];
    match url {
        None | Some(BrokerUrl::Tls { .. }) => {}
        Some(BrokerUrl::Tcp { .. }) => {
            for at in for_tls {
                refuse(at, "is for TLS; it goes with a `url` that begins with mqtts://", faults);
            }
        }
        Some(BrokerUrl::Embedded) => {
            for at in for_tls.into_iter().chain(for_any) {
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

fn file(raw: Option<&At<String>>, key: &str, faults: &mut Faults<'_>) -> Option<PathBuf> {
    words::not_blank(raw, key, faults).map(PathBuf::from)
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
            "[mqtt]\nurl = \"embedded\"\nuser = \"ana\"\n",
            expect![[r#"line 14: `user` has no use beside `url = "embedded"`; leave it out"#]],
        );
        check_with(
            "[mqtt]\nusr = \"ana\"\nclient_id = \" \"\n",
            expect![[r#"
            line 13: `usr` is not known in [mqtt]; did you mean `user`? What can stand there: url, root, client_id, user, password_file, ca_file, certificate_file and key_file
            line 14: `client_id` cannot be empty"#]],
        );
    }
}

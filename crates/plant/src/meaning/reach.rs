//! `[mail]`, `[[contact]]` and `[[reach]]`: who is told of alarms.

use model::{ContactId, FindingKind, MachineId, Priority, Span};

use crate::fault::{At, Faults};
use crate::meaning::mqtt::{file, variable};
use crate::meaning::words::{self, Ids};
use crate::raw::{RawContact, RawMail, RawReach, RawRule, RawStep};
use crate::{
    Contact, ContactWay, Login, MailSecurity, MailServer, PasswordFrom, QuietHours, Reach, ReachRule,
    ReachStep,
};

/// Whoever is told after a day is told by the weekly review.
const LONGEST_WAIT_MINUTES: f64 = 1_440.0;

const SERVER_FORMS: &str =
    "write smtps://host:465, smtp+starttls://host:587, or smtp://127.0.0.1:25 for a server on this computer";

pub(crate) fn mean(raw: &RawReach, machines: &Ids, faults: &mut Faults<'_>) -> Option<Reach> {
    let mail = raw.mail.as_ref().map(|raw| mean_mail(raw, faults));
    let mut ids = Ids::of("contact");
    let contacts: Vec<Option<Contact>> = raw
        .contacts
        .iter()
        .map(|contact| mean_contact(contact, raw.mail.is_some(), &mut ids, faults))
        .collect();
    let rules: Vec<Option<ReachRule>> =
        raw.rules.iter().map(|rule| mean_rule(rule, machines, &ids, faults)).collect();
    Some(Reach {
        mail: match mail {
            None => None,
            Some(mail) => Some(mail?),
        },
        contacts: contacts.into_iter().collect::<Option<_>>()?,
        rules: rules.into_iter().collect::<Option<_>>()?,
    })
}

fn mean_mail(raw: &RawMail, faults: &mut Faults<'_>) -> Option<MailServer> {
    let server = mean_server(raw.server.as_ref(), faults);
    let from = mean_address(raw.from.as_ref(), "from", faults);
    let secret = mean_secret(
        [&raw.password_file, &raw.password_env],
        ["password_file", "password_env"],
        "HALFDEGREE_MAIL_PASSWORD",
        faults,
    );
    let user = words::not_blank(raw.user.as_ref(), "user", faults);
    let at = [&raw.user, &raw.password_file, &raw.password_env].into_iter().flatten().map(|at| at.line).max();
    let login = match (user, secret) {
        (Some(user), Some(password)) => Some(Login { user, password }),
        (None, None) => None,
        (Some(_), None) | (None, Some(_)) => {
            let says = "`user` and its password go together: `password_file`, a file with nothing else in it, or \
                        `password_env`, the name of a variable of the environment";
            faults.add_absence(at?, says);
            None
        }
    };
    let (security, host, port) = server?;
    if security == MailSecurity::Clear && !is_this_computer(&host) {
        let says = format!("`server`: mail to {host} would go over the network in the clear; {SERVER_FORMS}");
        faults.add(raw.server.as_ref()?.line, says);
        return None;
    }
    Some(MailServer { security, host, port, from: from?, login })
}

fn is_this_computer(host: &str) -> bool {
    host == "localhost" || host.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn mean_server(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<(MailSecurity, String, u16)> {
    let raw = raw?;
    let ways = [
        ("smtps://", MailSecurity::Tls, 465),
        ("smtp+starttls://", MailSecurity::StartTls, 587),
        ("smtp://", MailSecurity::Clear, 25),
    ];
    let read = ways.into_iter().find_map(|(scheme, security, usual)| {
        let rest = raw.value.strip_prefix(scheme)?;
        let (host, port) = match rest.rsplit_once(':') {
            Some((host, port)) => (host, port.parse().ok().filter(|port| *port != 0)?),
            None => (rest, usual),
        };
        let fits = |c: char| c.is_alphanumeric() || matches!(c, '-' | '.' | '_');
        (!host.is_empty() && host.chars().all(fits)).then(|| (security, host.to_owned(), port))
    });
    if read.is_none() {
        faults.add(raw.line, format!("`server` is not the address of a mail server; {SERVER_FORMS}"));
    }
    read
}

/// An address of mail as people have it; comments, quotes and names beside it are not taken.
fn mean_address(raw: Option<&At<String>>, key: &str, faults: &mut Faults<'_>) -> Option<String> {
    let raw = raw?;
    let fits = |part: &str, more: &str| {
        !part.is_empty() && part.chars().all(|c| c.is_ascii_alphanumeric() || more.contains(c))
    };
    let is_address = raw.value.split_once('@').is_some_and(|(local, domain)| {
        // The characters of an atom (RFC 5321, 4.1.2), and of a host's name.
        fits(local, ".!#$%&'*+-/=?^_`{|}~") && fits(domain, ".-") && raw.value.len() <= 254
    });
    if !is_address {
        faults.add(raw.line, format!("`{key}` is not an address of mail, such as shift@tern.example"));
        return None;
    }
    Some(raw.value.clone())
}

/// Where a secret is: in a file, or in a variable of the environment.
fn mean_secret(
    [from_file, from_env]: [&Option<At<String>>; 2],
    [file_key, env_key]: [&'static str; 2],
    such: &str,
    faults: &mut Faults<'_>,
) -> Option<PasswordFrom> {
    if let (Some(_), Some(second)) = (from_file, from_env) {
        faults.add(
            second.line,
            format!("`{file_key}` and `{env_key}` are two places for one thing; leave one out"),
        );
    }
    let named = file(from_file.as_ref(), file_key, faults).map(PasswordFrom::File);
    named.or_else(|| variable(from_env.as_ref(), (env_key, such), faults))
}

fn mean_contact(raw: &RawContact, has_mail: bool, ids: &mut Ids, faults: &mut Faults<'_>) -> Option<Contact> {
    let id: Option<ContactId> = ids.take(raw.id.as_ref(), faults);
    let name = words::not_blank(raw.name.as_ref(), "name", faults);
    let quiet = raw.quiet_hours.as_ref().map(|raw| mean_quiet(raw, faults));
    let way = mean_way(raw, has_mail, faults);
    let id = id?;
    Some(Contact {
        line: raw.id.as_ref()?.line,
        name: name.unwrap_or_else(|| id.to_string()),
        id,
        way: way?,
        quiet: match quiet {
            None => None,
            Some(quiet) => Some(quiet?),
        },
    })
}

fn mean_way(raw: &RawContact, has_mail: bool, faults: &mut Faults<'_>) -> Option<ContactWay> {
    let secrets = [&raw.secret_file, &raw.secret_env];
    let secret = mean_secret(secrets, ["secret_file", "secret_env"], "HALFDEGREE_SHIFT_SECRET", faults);
    match (&raw.mail, &raw.webhook) {
        (Some(mail), None) => {
            if !has_mail {
                faults.add_absence(mail.line, "`mail` needs a [mail] that says where mail is handed in");
            }
            if let Some(secret) = secrets.into_iter().flatten().next() {
                faults.add(secret.line, "a secret is for a `webhook`; leave it out beside `mail`");
            }
            mean_address(Some(mail), "mail", faults).map(ContactWay::Mail)
        }
        (None, Some(webhook)) => {
            if secret.is_none() && secrets.iter().all(|at| at.is_none()) {
                let says = "`webhook` needs the secret that signs it beside it: `secret_file`, a file with nothing \
                            else in it, or `secret_env`, the name of a variable of the environment";
                faults.add_absence(webhook.line, says);
            }
            let url = mean_url(webhook, faults);
            Some(ContactWay::Webhook { url: url?, secret: secret? })
        }
        (Some(_), Some(webhook)) => {
            faults.add(
                webhook.line,
                "`mail` and `webhook` are two contacts; give each a [[contact]] of its own",
            );
            None
        }
        (None, None) => {
            faults.add_absence(raw.line, "a [[contact]] needs `mail` or `webhook`");
            None
        }
    }
}

fn mean_url(raw: &At<String>, faults: &mut Faults<'_>) -> Option<String> {
    let (host, is_clear) = match (raw.value.strip_prefix("https://"), raw.value.strip_prefix("http://")) {
        (Some(rest), _) => (rest, false),
        (None, Some(rest)) => (rest, true),
        (None, None) => ("", false),
    };
    let host = host.split(['/', '?', '#']).next().unwrap_or_default();
    // An address of IPv6 stands in brackets (RFC 3986, 3.2.2).
    let name = match host.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((address, _)) => address,
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    let is_plain = raw.value.chars().all(|c| c.is_ascii_graphic()) && !host.contains('@');
    if name.is_empty() || !is_plain {
        let says = "`webhook` is not an address that can be called; write https://host/path, without user or password";
        faults.add(raw.line, says);
        return None;
    }
    if is_clear && !is_this_computer(name) {
        faults.add(raw.line, format!("`webhook`: to {name} it would go in the clear; write https://"));
        return None;
    }
    Some(raw.value.clone())
}

/// `22:00-05:30`
fn mean_quiet(raw: &At<String>, faults: &mut Faults<'_>) -> Option<QuietHours> {
    let minute = |text: &str| {
        let (hours, minutes) = text.trim().split_once(':')?;
        let both = (hours.parse::<u16>().ok()?, minutes.parse::<u16>().ok()?);
        (both.0 < 24 && both.1 < 60 && minutes.len() == 2).then_some(both.0 * 60 + both.1)
    };
    let read = raw.value.split_once('-').and_then(|(from, to)| Some((minute(from)?, minute(to)?)));
    match read {
        Some((from, to)) if from != to => Some(QuietHours { from, to }),
        Some(_) | None => {
            let says =
                format!("`quiet_hours = \"{}\"` is no time of the day; write \"22:00-05:30\"", raw.value);
            faults.add(raw.line, says);
            None
        }
    }
}

fn mean_rule(raw: &RawRule, machines: &Ids, contacts: &Ids, faults: &mut Faults<'_>) -> Option<ReachRule> {
    let listed = |raw: &Option<Vec<At<String>>>| raw.clone().unwrap_or_default();
    let machines: Vec<Option<MachineId>> =
        listed(&raw.machines).iter().map(|id| machines.point(Some(id), faults)).collect();
    let kinds: Vec<Option<FindingKind>> = listed(&raw.alarms).iter().map(|word| kind(word, faults)).collect();
    let priority = match raw.priority.as_ref() {
        None => Some(Priority::Medium),
        Some(word) => words::one_of(Some(word), "priority", &Priority::ALL, Priority::as_str, faults),
    };
    let first = mean_contacts(raw.first.as_deref(), ("first", raw.line), contacts, faults);
    let mut steps = vec![first.map(|contacts| ReachStep { after: Span::ZERO, contacts })];
    let mut before = 0.0;
    for step in &raw.next {
        steps.push(mean_step(step, &mut before, contacts, faults));
    }
    Some(ReachRule {
        line: raw.line,
        machines: machines.into_iter().collect::<Option<_>>()?,
        kinds: kinds.into_iter().collect::<Option<_>>()?,
        priority: priority?,
        steps: steps.into_iter().collect::<Option<_>>()?,
    })
}

fn kind(word: &At<String>, faults: &mut Faults<'_>) -> Option<FindingKind> {
    words::one_of(Some(word), "kind of finding", FindingKind::ALL, FindingKind::as_str, faults)
}

fn mean_step(raw: &RawStep, before: &mut f64, contacts: &Ids, faults: &mut Faults<'_>) -> Option<ReachStep> {
    let told = mean_contacts(raw.contacts.as_deref(), ("contacts", raw.line), contacts, faults);
    let Some(after) = &raw.after_minutes else {
        faults.add_absence(raw.line, "`after_minutes` is missing in [[reach.next]]");
        return None;
    };
    if !(*before < after.value && after.value <= LONGEST_WAIT_MINUTES) {
        let says = format!(
            "`after_minutes = {}` cannot be; it must be above {before}, which stands before it, and at most {LONGEST_WAIT_MINUTES}",
            after.value
        );
        faults.add(after.line, says);
        return None;
    }
    *before = after.value;
    Some(ReachStep { after: Span::from_mins_f64(after.value), contacts: told? })
}

fn mean_contacts(
    raw: Option<&[At<String>]>,
    (key, line): (&str, usize),
    contacts: &Ids,
    faults: &mut Faults<'_>,
) -> Option<Vec<ContactId>> {
    let Some(raw) = raw.filter(|raw| !raw.is_empty()) else {
        faults.add_absence(
            line,
            format!("`{key}` names who is told: a list with the id of at least one [[contact]]"),
        );
        return None;
    };
    let found: Vec<Option<ContactId>> = raw.iter().map(|id| contacts.point(Some(id), faults)).collect();
    found.into_iter().collect()
}

#[cfg(test)]
mod tests;

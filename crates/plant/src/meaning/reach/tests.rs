//! Who is told, what is refused, and in which words.

use expect_test::expect;
use model::{FindingKind, Priority, Span};

use crate::meaning::tests::{SMALLEST, check_with};
use crate::{MailSecurity, QuietHours, TimeZone, parse_plant};

const WHOLE: &str = "[mail]\nserver = \"smtps://mail.tern.example\"\nfrom = \"kettles@tern.example\"\nuser = \"kettles\"\n\
     password_file = \"mail-password\"\n[[contact]]\nid = \"shift\"\nmail = \"shift@tern.example\"\n\
     quiet_hours = \"22:00-05:30\"\n[[contact]]\nid = \"lead\"\nname = \"Shift lead\"\n\
     webhook = \"https://hooks.tern.example/alarms\"\nsecret_env = \"TERN_HOOK\"\n[[reach]]\nalarms = [\"scorch\"]\n\
     first = [\"shift\"]\n[[reach.next]]\nafter_minutes = 10\ncontacts = [\"lead\"]\n";

#[test]
fn people_are_told_one_after_the_other() {
    let reach = parse_plant(&format!("{SMALLEST}{WHOLE}")).unwrap().reach;
    let mail = reach.mail.unwrap();
    assert_eq!((mail.security, mail.host.as_str(), mail.port), (MailSecurity::Tls, "mail.tern.example", 465));
    assert_eq!(reach.contacts[0].quiet, Some(QuietHours { from: 22 * 60, to: 5 * 60 + 30 }));
    let rule = &reach.rules[0];
    assert_eq!((&rule.kinds[..], rule.priority), (&[FindingKind::Scorch][..], Priority::Medium));
    assert_eq!(rule.steps[1].after, Span::from_mins(10));
}

#[test]
fn quiet_hours_go_over_midnight_on_the_plants_clock() {
    let zone = TimeZone::named("Europe/Lisbon").unwrap();
    let quiet = QuietHours { from: 22 * 60, to: 5 * 60 + 30 };
    // Summer time in Portugal is UTC+1 (IANA time zone database).
    let at = |clock: &str| quiet.hold(format!("2026-07-01T{clock}:00Z").parse().unwrap(), &zone);
    assert_eq!(["20:59", "21:00", "23:30", "04:29", "04:30"].map(at), [false, true, true, true, false]);
    let noon = QuietHours { from: 12 * 60, to: 13 * 60 };
    assert!(noon.hold("2026-07-01T11:30:00Z".parse().unwrap(), &zone));
}

#[test]
fn a_webhook_in_the_clear_is_for_this_computer_alone() {
    let with = |url: &str| {
        format!(
            "[[contact]]\nid = \"lead\"\nwebhook = \"{url}\"\nsecret_env = \"S\"\n[[reach]]\nfirst = [\"lead\"]\n"
        )
    };
    for own in ["http://localhost:8080/a", "http://127.0.0.1/a", "http://[::1]:8080/a", "http://[::1]"] {
        check_with(&with(own), expect!["no fault"]);
    }
    check_with(
        &with("http://[2001:db8::1]:80/a"),
        expect!["line 14: `webhook`: to 2001:db8::1 it would go in the clear; write https://"],
    );
}

#[test]
fn mistakes_are_told_with_their_lines() {
    check_with(WHOLE, expect!["no fault"]);
    check_with(
        "[mail]\nserver = \"mail.tern.example\"\nfrom = \"kettles\"\nuser = \"k\"\n[[contact]]\nid = \"shift\"\n\
         quiet_hours = \"22-5\"\n[[contact]]\nid = \"shift\"\nmail = \"a@b\"\nsecret_env = \"S\"\n[[contact]]\nid = \"x\"\n\
         webhook = \"http://hooks.tern.example\"\nsecret_env = \"my secret\"\n[[reach]]\nmachines = [\"aldr\"]\n\
         alarms = [\"scorsh\"]\npriority = \"now\"\nfirst = []\n[[reach.next]]\nafter_minutes = 0\ncontacts = [\"boss\"]\n",
        expect![[r#"
            line 13: `server` is not the address of a mail server; write smtps://host:465, smtp+starttls://host:587, or smtp://127.0.0.1:25 for a server on this computer
            line 14: `from` is not an address of mail, such as shift@tern.example
            line 15: `user` and its password go together: `password_file`, a file with nothing else in it, or `password_env`, the name of a variable of the environment
            line 16: a [[contact]] needs `mail` or `webhook`
            line 18: `quiet_hours = "22-5"` is no time of the day; write "22:00-05:30"
            line 20: the contact `shift` is there twice; it first stands in line 17
            line 22: a secret is for a `webhook`; leave it out beside `mail`
            line 25: `webhook`: to hooks.tern.example it would go in the clear; write https://
            line 26: `secret_env` is the name of a variable, such as HALFDEGREE_SHIFT_SECRET, and never the secret itself
            line 27: `first` names who is told: a list with the id of at least one [[contact]]
            line 28: there is no machine `aldr`; a [[machine]] with that id is needed; did you mean `alder`?
            line 29: `scorsh` is not a kind of finding (one of scorch, temper-loss, warm-hold, cold-hold, slow-cooling, undershoot, seed-missed, hold-drift, hunting, thickening, long-hold, solidifying, stirrer-stopped, heater-stuck, probe-stuck, probe-fault, spikes, silent, clock-off, hot-room, damp-room, test-due, probe-drift, cooling-fade and common-cause); did you mean `scorch`?
            line 30: `now` is not a priority (one of low, medium and high); did you mean `low`?
            line 33: `after_minutes = 0` cannot be; it must be above 0, which stands before it, and at most 1440
            line 34: there is no contact `boss`; a [[contact]] with that id is needed"#]],
    );
    check_with(
        "[[contact]]\nid = \"x\"\nmail = \"a@b\"\n",
        expect!["line 14: `mail` needs a [mail] that says where mail is handed in"],
    );
    check_with(
        "[mail]\nserver = \"smtp://mail.tern.example\"\nfrom = \"a@b\"\n[[reach]]\nwho = 1\n",
        expect![[r#"
            line 13: `server`: mail to mail.tern.example would go over the network in the clear; write smtps://host:465, smtp+starttls://host:587, or smtp://127.0.0.1:25 for a server on this computer
            line 15: `first` names who is told: a list with the id of at least one [[contact]]
            line 16: `who` is not known in [[reach]]; what can stand there: machines, alarms, priority, first and next"#]],
    );
}

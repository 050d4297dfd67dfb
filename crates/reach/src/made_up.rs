//! A works of two kettles with people to be told, for the tests of this crate.

use alarms::{Facts, Listing, listing};
use model::{Board, Channel, Finding, FindingId, FindingKind, Lane, Phase, Priority, Timestamp};
use plant::Plant;

/// So many minutes after 2026-03-02T05:00:00Z, which is five in the morning in Lisbon.
pub(crate) fn at(minutes: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000 + 60_000 * minutes)
}

/// `rules` behind a mail server on `port`, the contacts `shift` by mail and `lead` by a webhook on `hook`,
/// as far as a rule names them.
pub(crate) fn plant(port: u16, hook: u16, rules: &str) -> Plant {
    // A contact whom no rule names is refused.
    let contact = |id: &str, more: &str| {
        let is_named = rules.contains(&format!("\"{id}\""));
        if is_named { format!("[[contact]]\nid = \"{id}\"\n{more}") } else { String::new() }
    };
    let text = format!(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
         [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\n\
         [[machine]]\nid = \"birch\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\n\
         [mail]\nserver = \"smtp://127.0.0.1:{port}\"\nfrom = \"kettles@tern.example\"\n\
         {}{}{rules}",
        contact("shift", "mail = \"shift@tern.example\"\nquiet_hours = \"22:00-05:30\"\n"),
        contact("lead", &format!("webhook = \"http://127.0.0.1:{hook}/alarms\"\nsecret_env = \"TERN\"\n")),
    );
    plant::parse_plant(&text).expect("the made-up plant is sound")
}

/// Everything to the shift, and to the lead after ten minutes.
pub(crate) const LADDER: &str =
    "[[reach]]\nfirst = [\"shift\"]\n[[reach.next]]\nafter_minutes = 10\ncontacts = [\"lead\"]\n";

pub(crate) fn finding(machine: &str, kind: FindingKind, priority: Priority, raised: i64) -> Finding {
    Finding {
        id: FindingId::new(machine, kind.as_str(), at(raised)),
        machine: Some(machine.parse().expect("an id")),
        batch: None,
        kind,
        priority,
        from: at(raised),
        to: None,
        raised_at: at(raised),
        says: "The chocolate is at 33.1 °C, above its working range.".to_owned(),
        evidence: Vec::new(),
        advice: "Lower the set-point.".to_owned(),
        superseded_by: None,
    }
}

/// Alder works and birch too, with these open.
pub(crate) fn board(open: &[Finding]) -> Board {
    let lane = |machine: &str| Lane {
        machine: machine.parse().expect("an id"),
        seen_to: Timestamp::default(),
        latest: [None; Channel::ALL.len()],
        slope_c_per_min: None,
        ten_minutes_ago_c: None,
        phase: Phase::Working,
        phase_since: Timestamp::default(),
        batch: None,
        forecast: None,
        open: open
            .iter()
            .filter(|finding| finding.machine.as_ref().is_some_and(|id| id.as_str() == machine))
            .cloned()
            .collect(),
        last_test: None,
        test_due: None,
    };
    Board { lanes: vec![lane("alder"), lane("birch")], ..Board::default() }
}

/// The list with these open.
pub(crate) fn listed(facts: &Facts, open: &[Finding], minutes: i64) -> Listing {
    listing(facts, &board(open), at(minutes))
}

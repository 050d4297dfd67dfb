//! The history of changes of one record: who, when, and what it was before and after, in words.

use records::{Deed, Entry, EntryQuery, Subject, UserName, Way};
use serde::Serialize;
use serde_json::{Map, Value};

use super::{Moment, Scene};

/// Changes shown on a page: more is for a program.
const SHOWN: usize = 100;

/// The history of a record.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct HistoryView {
    /// The newest first.
    changes: Vec<ChangeView>,
    /// There are older ones.
    has_more: bool,
}

/// One change.
#[derive(Debug, Clone, Serialize)]
struct ChangeView {
    number: u64,
    at: Moment,
    who: String,
    /// `by PIN`, `with the key scale`; empty for a password.
    way: String,
    says: String,
}

/// What a page asks for.
pub(crate) fn history_of(subjects: Vec<Subject>) -> EntryQuery {
    EntryQuery { subjects, limit: SHOWN + 1, ..EntryQuery::default() }
}

impl HistoryView {
    pub(crate) fn new(scene: Scene<'_>, entries: &[Entry]) -> HistoryView {
        let change = |entry: &Entry| ChangeView {
            number: entry.number,
            at: scene.moment(entry.at),
            who: who(entry),
            way: way(entry),
            says: scene.sentence(&says(scene, entry)),
        };
        HistoryView {
            changes: entries.iter().take(SHOWN).map(change).collect(),
            has_more: SHOWN < entries.len(),
        }
    }
}

fn who(entry: &Entry) -> String {
    // Where nobody has signed in, the name is what the entry says of itself.
    let named = entry.new["by"].as_str().map_or_else(String::new, |by| format!(", as {by},"));
    match entry.who.as_str() {
        "loopback" => format!("somebody at this computer{named}"),
        "broker" => format!("a sender at the broker{named}"),
        "command line" => "somebody at the command line".to_owned(),
        "nobody" => "somebody".to_owned(),
        name => name.to_owned(),
    }
}

fn way(entry: &Entry) -> String {
    match Way::key_in(&entry.way) {
        Some(key) => format!("with the key {key}"),
        None if entry.way == "PIN" => "by PIN".to_owned(),
        None => String::new(),
    }
}

fn says(scene: Scene<'_>, entry: &Entry) -> String {
    let (old, new) = (&entry.old, &entry.new);
    let word = |value: &Value, key: &str| plain(&value[key]);
    let Ok(deed) = entry.deed.parse::<Deed>() else {
        return format!("{}{}", entry.deed, changed(old, new));
    };
    match deed {
        Deed::EventEntered => event(scene, entry),
        Deed::ReadingEntered => {
            let at =
                entry.about.map_or_else(String::new, |about| format!(" for {}", scene.moment(about).says));
            match new["value"].as_f64() {
                Some(value) => format!("typed a reading{at}: {} {value:.1}", word(new, "channel")),
                None => format!("took a reading{at} back: {}", word(new, "channel")),
            }
        }
        Deed::PhaseCorrected => format!(
            "corrected {}: {} → {}; {}",
            span(scene, new),
            listed(&old["phases"]),
            word(new, "phase"),
            word(new, "reason")
        ),
        Deed::BaselineOrdered => {
            let before = if old.is_null() { "nothing ordered".to_owned() } else { word(old, "order") };
            format!("baseline of {}: {before} → {}", word(new, "couverture"), word(new, "order"))
        }
        Deed::ActionOpened => {
            format!(
                "opened the action {} for {}: {}",
                word(new, "action"),
                word(new, "who"),
                word(new, "what")
            )
        }
        Deed::ActionClosed => {
            let stands = |value: &Value| if value["done"].is_null() { "open" } else { "done" };
            format!("action {}: {} → {}", word(new, "action"), stands(old), stands(new))
        }
        Deed::SmearTaken => "took a smear for a temper test".to_owned(),
        Deed::PhotoKept => {
            let of =
                entry.about.map_or_else(String::new, |about| format!(" of {}", scene.moment(about).says));
            format!("added a photo to the temper test{of}")
        }
        Deed::BatchDecided => {
            let before = if old.is_null() { "nothing decided".to_owned() } else { word(old, "decision") };
            format!("decision: {before} → {}; {}", word(new, "decision"), word(new, "reason"))
        }
        Deed::ProbeChecked => {
            let found =
                format!("as found {} °C beside {} °C", word(new, "as_found_c"), word(new, "reference_c"));
            let left = if new["as_left_c"].is_null() {
                String::new()
            } else {
                format!(", as left {} °C", word(new, "as_left_c"))
            };
            let passed = if new["passed"] == true { "passed" } else { "failed" };
            let machine = machine_name(scene, entry);
            format!("checked the {} probe of {machine}, {passed}: {found}{left}", word(new, "channel"))
        }
        Deed::AlarmAcknowledged => {
            format!("acknowledged the alarm {}{}", word(new, "alarm"), raised(scene, entry))
        }
        Deed::AlarmShelved | Deed::AlarmOutOfService => {
            let way = if deed == Deed::AlarmShelved { "shelved" } else { "took out of service" };
            let what = if new["alarm"].is_null() { "all alarms".to_owned() } else { word(new, "alarm") };
            let until = moment(scene, &new["until"]).unwrap_or_default();
            format!("{way} {what} until {until}: {}", word(new, "reason"))
        }
        Deed::AlarmTakenBack => {
            let what = if new["alarm"].is_null() { "all alarms".to_owned() } else { word(new, "alarm") };
            format!("let {what} ring again, {} before", word(old, "way").replace('-', " "))
        }
        Deed::WeekSigned => format!("signed the week, SHA-256 {}", word(new, "sha256")),
        Deed::UserAdded => format!("added this user as {}", word(new, "role")),
        Deed::RoleChanged => format!("gave another role: {} → {}", word(old, "role"), word(new, "role")),
        Deed::UserEnabled => "let this user in again".to_owned(),
        Deed::UserDisabled => "shut this user out".to_owned(),
        Deed::PasswordChanged => "set another password".to_owned(),
        Deed::PinChanged => "set a PIN".to_owned(),
        Deed::PinRemoved => "took the PIN away".to_owned(),
        Deed::TokenMade => format!("made the key {}", key_of(new)),
        Deed::TokenWithdrawn => format!("withdrew the key {}", key_of(old)),
        Deed::SignedIn => format!("signed in from {}", word(new, "from")),
        Deed::TookOver => format!("took over a device from {}", word(old, "user")),
        Deed::SignedOut => "signed out".to_owned(),
        Deed::SignInFailed if entry.subject.id.parse::<UserName>().is_err() => {
            format!("tried to sign in from {}, under a name that no user has", word(new, "from"))
        }
        Deed::SignInFailed => format!(
            "tried to sign in as {} from {}, with a wrong {}",
            entry.subject.id,
            word(new, "from"),
            word(new, "with")
        ),
    }
}

/// What a key is called; `token` stands there in entries of earlier versions.
fn key_of(value: &Value) -> String {
    plain(value.get("key").unwrap_or(&value["token"]))
}

/// `, raised 09:14`
fn raised(scene: Scene<'_>, entry: &Entry) -> String {
    entry.about.map_or_else(String::new, |at| format!(", raised {}", scene.moment(at).says))
}

/// `entered seed for 07:05: 1.5 kg, lot L2207`
fn event(scene: Scene<'_>, entry: &Entry) -> String {
    let (new, empty) = (&entry.new, Map::new());
    let fields = new.as_object().unwrap_or(&empty);
    let known = ["event", "at", "by", "machine", "bytes", "sha256"];
    let said = fields.iter().filter(|(key, value)| !known.contains(&key.as_str()) && !value.is_null());
    let said: Vec<String> = said.map(|(key, value)| field(key, value)).collect();
    let kind = match plain(&new["event"]).as_str() {
        "seed" => "seed".to_owned(),
        "top-up" => "a top-up".to_owned(),
        "reference" => "a hand thermometer's value".to_owned(),
        "end" => "the end of the charge".to_owned(),
        other => format!("a {}", other.replace('-', " ")),
    };
    // Said at once unless it is about another minute.
    let at = moment(scene, &new["at"]).filter(|at| *at != scene.moment(entry.at).says);
    let at = at.map_or_else(String::new, |at| format!(" for {at}"));
    let colon = if said.is_empty() { "" } else { ": " };
    format!("entered {kind}{at}{colon}{}", said.join(", "))
}

fn field(key: &str, value: &Value) -> String {
    if let ("mass_kg", Some(kg)) = (key, value.as_f64()) {
        return charts::kilograms(kg);
    }
    let value = plain(value);
    match key {
        "text" => format!("“{value}”"),
        "temperature" => format!("{value} °C"),
        "minutes" => format!("set after {value} min"),
        "curve" => "by a sample's cooling curve".to_owned(),
        other => format!("{} {value}", other.replace('_', " ")),
    }
}

/// `: role worker → engineer`, for what has no words of its own.
fn changed(old: &Value, new: &Value) -> String {
    let empty = Map::new();
    let (old, new) = (old.as_object().unwrap_or(&empty), new.as_object().unwrap_or(&empty));
    let added = new.keys().filter(|key| !old.contains_key(*key));
    let keys: Vec<&String> = old.keys().chain(added).collect();
    let one = |key: &String| match (old.get(key), new.get(key)) {
        (Some(old), Some(new)) => format!("{key} {} → {}", plain(old), plain(new)),
        (Some(old), None) => format!("{key} {} → none", plain(old)),
        (None, new) => format!("{key} {}", new.map(plain).unwrap_or_default()),
    };
    if keys.is_empty() {
        String::new()
    } else {
        format!(": {}", keys.into_iter().map(one).collect::<Vec<_>>().join(", "))
    }
}

fn span(scene: Scene<'_>, new: &Value) -> String {
    let from = moment(scene, &new["from"]).unwrap_or_default();
    match moment(scene, &new["to"]) {
        Some(to) => format!("{from} to {to}"),
        None => format!("{from} on"),
    }
}

fn moment(scene: Scene<'_>, value: &Value) -> Option<String> {
    value.as_str()?.parse().ok().map(|at| scene.moment(at).says)
}

fn listed(value: &Value) -> String {
    let words: Vec<String> = value.as_array().into_iter().flatten().map(plain).collect();
    if words.is_empty() { "unknown".to_owned() } else { words.join(", ") }
}

/// The machine that an entry is about, as people call it.
fn machine_name(scene: Scene<'_>, entry: &Entry) -> String {
    let machine = entry.subject.id.parse().ok().and_then(|id| scene.plant.machine(&id));
    machine.map_or_else(|| entry.subject.id.clone(), |machine| machine.name.clone())
}

/// A value without its quotation marks.
fn plain(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::String(text) => text.clone(),
        Value::Bool(_) | Value::Number(_) | Value::Array(_) | Value::Object(_) => value.to_string(),
    }
}

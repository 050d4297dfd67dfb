//! What the fields of the forms are called, and what stands beneath each: what goes in, in which unit, such as what.
//!
//! The one place for these words. Templates ask for them by form and field (`field("seed", "mass_kg")`), and a sentence that refuses a form calls
//! its fields as the form does (`typed`).

use serde::Serialize;

/// The words of one field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub(crate) struct FieldWords {
    /// What stands above it.
    pub label: &'static str,
    /// What stands beneath it.
    pub help: &'static str,
}

/// The words of a field; `None` of one that nobody fills in. Where no form of its own is named, all forms call it so.
pub(crate) fn field_words(form: &str, field: &str) -> Option<FieldWords> {
    let found = of_material(form, field)
        .or_else(|| of_test(form, field))
        .or_else(|| of_people(form, field))
        .or_else(|| of_review(form, field))
        .or_else(|| of_sum(form, field))
        .or_else(|| of_any(field));
    found.map(|(label, help)| FieldWords { label, help })
}

type Words = Option<(&'static str, &'static str)>;

/// What goes into a machine, and what is done with it.
fn of_material(form: &str, field: &str) -> Words {
    Some(match (form, field) {
        ("bowl-fill", "mass_kg") => ("Mass", "What goes into the bowl, weighed, in kilograms, such as 1.2"),
        ("charge", "mass_kg") => ("Mass", "What goes in, weighed, in kilograms, such as 40"),
        ("seed", "mass_kg") => ("Mass", "The seed alone, weighed, in kilograms, such as 1.5"),
        ("top-up", "mass_kg") => ("Mass", "What is added, weighed, in kilograms, such as 5"),
        ("seed", "temperature") => {
            ("Temperature of the seed", "Of the seed before it goes in; the room's if it lay there")
        }
        ("top-up", "temperature") => (
            "Temperature of the top-up",
            "Of what is added, before it goes in; leave it empty if nobody measured",
        ),
        ("charge" | "seed" | "top-up", "lot") => {
            ("Lot", "As it stands on the sack or box, such as L2207; leave it empty if there is none")
        }
        ("charge" | "seed" | "top-up", "couverture") => {
            ("Couverture", "Only if it is another one than the machine's")
        }
        ("charge" | "seed" | "top-up", "source") => {
            ("Where it comes from", "Rework is own product that is melted again; it carries its milk with it")
        }
        ("reference" | "bowl", "temperature" | "value") => {
            ("It shows", "What the hand thermometer shows, to a tenth, such as 31.4")
        }
        ("note", "text") => ("Note", "What somebody should know later: what was seen, done or changed"),
        ("clean", "text") => (
            "How it was cleaned, and what was checked",
            "Dry or wet, with what, and how you looked at the result, such as: scraped, wiped, swab without milk",
        ),
        ("clean", "by") => ("Your name", "Whoever cleaned and looked; without a name it counts for nothing"),
        _ => return None,
    })
}

/// Temper tests, checks of probes, decisions.
fn of_test(form: &str, field: &str) -> Words {
    Some(match (form, field) {
        ("setup", "probe" | "machine" | "channel") => ("Which probe", "The machine, and which of its probes"),
        ("setup", "kind") => ("Against what", "What was held beside the probe"),
        ("setup", "reference_c") => (
            "The reference thermometer shows",
            "Steady, with its own correction, such as 31.52; leave it empty for ice",
        ),
        ("setup", "as_found_c") => (
            "The probe as found",
            "What the probe showed at that moment, before anything was changed, such as 31.8",
        ),
        ("setup", "as_left_c") => (
            "The probe as left",
            "What it shows after it was put right; leave it empty if nothing was changed",
        ),
        ("setup", "reference") => (
            "Mark or certificate of the reference",
            "By which it is found again, such as T-014, certificate 2025-118",
        ),
        ("decision", "decision") => {
            ("What is to become of it", "It goes on record with your name and the time")
        }
        ("decision", "reason") => {
            ("Why", "What speaks for it, such as: passed test at 10:40, kept apart what was made before")
        }
        (_, "gloss") => {
            ("Gloss", "Good: shines evenly. Fair: shines in places. Poor: dull, streaks or spots")
        }
        (_, "contraction") => {
            ("Contraction", "Good: comes away by itself. Fair: with a little help. Poor: sticks")
        }
        (_, "snap") => {
            ("Snap", "Good: breaks clean with a crack. Fair: breaks softly. Poor: bends or crumbles")
        }
        (_, "minutes") if !matches!(form, "shelve" | "out" | "machine-out") => (
            "Set after",
            "Minutes until it was firm to the touch, such as 5; leave it empty if nobody looked",
        ),
        (_, "cooled") => ("Cooled in", "Where the smear lay while it set"),
        (_, "room_c") => ("Room", "How warm it was where the smear lay, such as 20.5"),
        (_, "room_rh") => ("Room", "How damp it was there, in per cent, such as 45"),
        (_, "photo") => (
            "Photo of the smear",
            "JPEG or PNG, at most 5 MB; place, time and names in the file are left out",
        ),
        (_, "table") => ("The table", "A file that ends in .csv, .txt or .tsv, with a line such as 30;29.8"),
        ("channel", "channel") => ("Which channel", "Where the sample's own probe reports"),
        ("channel", "from") => ("From", "When the sample went into the cold; day and time, with seconds"),
        ("channel", "to") => {
            ("To", "When its curve had become flat or steep again; day and time, with seconds")
        }
        _ => return None,
    })
}

/// Users, and who may do what.
fn of_people(form: &str, field: &str) -> Words {
    Some(match (form, field) {
        ("decision" | "setup" | "shelve" | "out" | "machine-out", "by") => {
            ("Name", "Who says so, so that others know whom to ask")
        }
        ("sign-in", "name") => ("Name", "As it stands in the list of users, in small letters"),
        ("sign-in", "password") => ("Password", "Capitals and spaces count"),
        ("users", "name") => ("Name", "Small letters, as it will stand beside entries, such as ana"),
        ("users" | "user-role", "role") => ("May do what", "What each may do stands in the list of users"),
        ("users", "new_password") => (
            "Their password",
            "15 characters or more; a few words in a row. They can have another one set later",
        ),
        ("user-password", "new_password") => {
            ("The new password", "15 characters or more; a few words in a row")
        }
        ("user-pin", "pin") => ("The new PIN", "4 to 8 digits, such as 2718; empty takes it away"),
        ("account-pin", "pin") => ("PIN", "4 to 8 digits, such as 2718; empty takes it away"),
        ("hand-over", "pin") => ("PIN", "Your own, 4 to 8 digits"),
        ("hand-over", "name") => ("Name", "Who works with this device from now on"),
        ("account" | "account-keys", "called") => {
            ("What it is for", "By which you find it again, such as: weekly figures")
        }
        ("account-pin" | "account-keys", "password") => {
            ("Your password", "The one with which you sign in, so that nobody does this for you")
        }
        (_, "password") => ("Your own password", "Yours, not theirs, so that nobody does this in your place"),
        ("display", "degrees") => ("Temperatures", "On this device alone; files and programs stay in °C"),
        ("display", "zone") => {
            ("Time zone", "For times on this device alone; days and weeks stay those of the works")
        }
        _ => return None,
    })
}

/// The weekly review, alarms that are set aside, what is laid over each other.
fn of_review(form: &str, field: &str) -> Words {
    Some(match (form, field) {
        ("week", "what") => (
            "What is to be done",
            "So that it can be seen whether it is done, such as: clean the filter of Birch",
        ),
        ("week", "who") => ("Who does it", "One name; whoever it is knows of it"),
        ("week", "due") => ("Until", "The last day; leave it empty if there is none"),
        ("week", "machine") => ("On which machine", "Leave it at none if it is about the whole works"),
        ("week", "figure") => {
            ("Which figure should it move", "With a machine, later reviews show it before against after")
        }
        ("week-done", "action") => ("Which", "Number and words of what has been done"),
        ("week" | "sign-off", "by") => ("Name", "Whoever answers for quality"),
        ("shelve" | "out" | "machine-out", "minutes" | "days") => {
            ("For how long", "As short as it can be; then it rings again by itself")
        }
        ("shelve" | "out", "why") => ("Why", "Choose one, or write your own beneath"),
        ("shelve" | "out" | "machine-out", "reason") => {
            ("Why", "What whoever comes next should know, such as: valve is being changed, fitter called")
        }
        ("machine-out", "machine") => ("Machine", "All alarms of this machine are silent for that time"),
        ("compare", "batch") => {
            ("Batches, the newest first", "Up to eight; hold Ctrl (or Cmd) to choose several")
        }
        ("compare", "machine") => ("The last four of a machine", "Its newest batches together"),
        ("compare", "lot") => ("The last four of a lot", "The newest batches that it went into"),
        _ => return None,
    })
}

/// Sums before something is added.
fn of_sum(form: &str, field: &str) -> Words {
    Some(match (form, field) {
        ("sum-seed", "mass") => ("Mass", "In kilograms, such as 40"),
        ("sum-seed", "mass_is") => ("This mass is", "With or without the seed that is still to come"),
        ("sum-seed", "melt_t") => ("The melt is at", "Now, stirred, such as 34.0"),
        ("sum-seed", "seed_t") => ("The seed is at", "The room's temperature if it lay there, such as 20"),
        ("sum-seed", "amount") => ("How much seed", "A number; what it means is chosen beneath"),
        ("sum-seed", "amount_is") => {
            ("Which is", "Per cent, kilograms, or the temperature that you want to land at")
        }
        ("sum-top-up", "charge_kg") => ("What is there", "In kilograms, such as 30"),
        ("sum-top-up", "charge_t") | ("sum-remelt", "now_t") => ("It is at", "Now, stirred, such as 31.5"),
        ("sum-top-up", "add_kg") => ("What is added", "In kilograms, such as 5"),
        ("sum-top-up", "add_t") => ("That is at", "Before it goes in, such as 20 or 45"),
        ("sum-top-up", "state") => ("It is added", "Solid pieces cool more than melted couverture does"),
        ("sum-remelt", "mass_kg") => ("Mass", "In kilograms, such as 40"),
        ("sum-remelt", "to_t") => {
            ("Up to, if not the lower end of the melt", "Leave it empty for the lower end of its melt range")
        }
        ("sum-remelt", "heater_w") => (
            "Heater, if known",
            "In watts, from its plate, such as 1500; gives the time that it takes at least",
        ),
        (_, "vessel_kg") => {
            ("Empty vessel, if it counts", "In kilograms, such as 2.5; a heavy bowl takes heat, too")
        }
        (_, "vessel") => ("Vessel of", "What the vessel is made of"),
        _ => return None,
    })
}

/// What several forms call alike.
fn of_any(field: &str) -> Words {
    Some(match field {
        "mass_kg" => ("Mass", "In kilograms, such as 1.5"),
        "temperature" => ("It shows", "To a tenth, such as 31.4"),
        "lot" => ("Lot", "As it stands on the sack or box, such as L2207; leave it empty if there is none"),
        "couverture" => ("Couverture", "What goes in"),
        "method" => ("Method", "How it is to be tempered"),
        "by" => ("Your name or initials", "So that others know whom to ask"),
        "text" => ("Note", "What somebody should know later"),
        "reason" => ("Why", "What whoever comes next should know"),
        "channel" => ("Which channel", "What was measured"),
        "from" => ("From", "Day and time"),
        "to" => ("To", "Day and time"),
        "decision" => ("What is to become of it", "It goes on record"),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dashboards::EMBEDDED;

    /// The openings of fields that somebody fills in; choices stand in a fieldset, which has the line for all of them.
    fn fields_of(template: &str) -> impl Iterator<Item = &str> {
        let opens = ["<input ", "<select ", "<textarea "];
        let starts = opens.into_iter().flat_map(|open| template.match_indices(open));
        let tags = starts
            .map(|(at, _)| &template[at..at + template[at..].find('\n').unwrap_or(template.len() - at)]);
        tags.filter(|tag| {
            !["hidden", "radio", "checkbox"].iter().any(|kind| {
                tag.split('>').next().is_some_and(|own| own.contains(&format!(r#"type="{kind}""#)))
            })
        })
    }

    #[test]
    fn every_field_has_a_line_of_help() {
        let mut seen = 0;
        for (name, template) in EMBEDDED.iter().filter(|(name, _)| name.starts_with("parts/")) {
            for tag in fields_of(template) {
                assert!(tag.contains("{{ described("), "{name}: {tag}");
                seen += 1;
            }
            let legends = template.matches("<fieldset").count();
            let described = template.matches("<fieldset{{ described(").count();
            // The keys of the bowl are no form to be read first.
            assert!(
                legends == described || *name == "parts/bowl_reading.html",
                "{name}: {legends}, {described}"
            );
        }
        assert!(30 < seen, "{seen}");
    }

    #[test]
    fn words_are_short_and_say_something() {
        for (name, template) in EMBEDDED {
            for (at, call) in template.match_indices(r#"{{ field(""#) {
                let mut words = template[at + call.len()..].split('"');
                let (form, field) = (words.next().unwrap(), words.nth(1).unwrap());
                let found = field_words(form, field).unwrap_or_else(|| panic!("{name}: {form}, {field}"));
                assert!(!found.help.ends_with('.') && found.help.len() <= 110, "{}", found.help);
                assert!(!found.label.is_empty() && found.help != found.label, "{}", found.label);
            }
        }
    }
}

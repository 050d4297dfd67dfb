//! What people keep of a batch, as a page says it: the decision, what is in question, what it was made of.

use charts::Degrees;
use history::lots::{Content, Part};
use history::milk::Changeover;
use history::{Concerned, Doubt};
use model::{BatchId, Channel, Decision, Timestamp, Verdict};
use report::{LOT_ASSUMPTIONS, MILK_CAUTION};
use serde::Serialize;

use super::{Chip, Moment, Scene};
use crate::kept::Kept;

/// Everything kept of a batch.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct KeptView {
    /// The decision that holds.
    pub decision: Option<DecisionRow>,
    /// Those before it, the newest first.
    pub earlier: Vec<DecisionRow>,
    pub notices: Vec<Notice>,
    pub contents: Vec<ContentRow>,
    pub assume: &'static str,
    pub carried: bool,
    pub before: Option<Link>,
    /// What can be decided: as programs and as people say it, and whether it is for quality alone.
    pub verdicts: Vec<(&'static str, &'static str, bool)>,
}

/// A decision.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct DecisionRow {
    pub chip: Chip,
    pub reason: String,
    pub by: String,
    pub role: String,
    pub at: Moment,
}

/// Something that a person has to know of the product.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Notice {
    pub class: &'static str,
    pub title: &'static str,
    pub says: String,
    /// The same time span for other clocks, where there is one.
    pub utc: Option<String>,
    pub caution: &'static str,
    pub link: Option<Link>,
}

/// Another page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Link {
    pub href: String,
    pub says: String,
}

/// What a machine held from one addition to the next.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct ContentRow {
    pub from: Moment,
    pub to: Option<Moment>,
    pub parts: Vec<PartRow>,
}

/// One lot in it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct PartRow {
    pub lot: Option<Link>,
    pub share: String,
    pub mass: String,
    pub ways: String,
}

impl KeptView {
    pub(crate) fn new(scene: Scene<'_>, kept: &Kept) -> KeptView {
        let mut decisions: Vec<DecisionRow> =
            kept.decisions.iter().rev().map(|decision| DecisionRow::new(scene, decision)).collect();
        let earlier = decisions.split_off(decisions.len().min(1));
        let content = kept.content.as_ref();
        KeptView {
            decision: decisions.pop(),
            earlier,
            notices: notices(scene, kept),
            contents: content
                .map(|content| content.contents.iter().map(|span| ContentRow::new(scene, span)).collect())
                .unwrap_or_default(),
            assume: LOT_ASSUMPTIONS,
            carried: content.is_some_and(|content| content.is_carried),
            before: content.and_then(|content| content.before.as_ref()).map(|batch| batch_link(scene, batch)),
            verdicts: Verdict::ALL
                .map(|verdict| (verdict.as_str(), verdict_asked(verdict), verdict.is_for_quality()))
                .to_vec(),
        }
    }
}

/// What a person has to know of the product, the gravest first.
pub(crate) fn notices(scene: Scene<'_>, kept: &Kept) -> Vec<Notice> {
    let of_milk = kept.changeover.iter().map(|changeover| Notice::of_changeover(scene, changeover));
    let of_tests = kept.concerned.iter().map(|span| Notice::of_test(scene, span));
    let of_probes = kept.doubts.iter().map(|doubt| Notice::of_probe(scene, doubt));
    let mut notices: Vec<Notice> = of_milk.chain(of_tests).chain(of_probes).collect();
    notices.sort_by_key(|notice| match notice.class {
        "now" => 0,
        "soon" => 1,
        _ => 2,
    });
    notices
}

impl DecisionRow {
    fn new(scene: Scene<'_>, decision: &Decision) -> DecisionRow {
        let Decision { verdict, reason, by, role, at, .. } = decision;
        let (class, word) = match verdict {
            Verdict::Release => ("good", "released"),
            Verdict::Hold => ("soon", "held"),
            Verdict::Retemper => ("soon", "to be tempered anew"),
            Verdict::Reject => ("now", "rejected"),
        };
        DecisionRow {
            chip: Chip { class, word },
            reason: reason.clone(),
            by: by.clone(),
            role: role.clone(),
            at: scene.moment(*at),
        }
    }
}

fn verdict_asked(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Release => "release it",
        Verdict::Hold => "hold it",
        Verdict::Retemper => "temper it anew",
        Verdict::Reject => "reject it",
    }
}

impl Notice {
    fn of_test(scene: Scene<'_>, span: &Concerned) -> Notice {
        let at = |at: Timestamp| scene.local.moment(at, scene.now);
        let from = match span.last_good_at {
            Some(_) => format!("{}, when the last good test was made", at(span.from)),
            None if span.from < span.failed_at => format!("{}, when working began", at(span.from)),
            None => format!("{}, when it was made", at(span.from)),
        };
        let says = match span.to {
            Some(to) => format!(
                "What was made from {from}, to {}, when a test passed or the batch ended, is in question.",
                at(to)
            ),
            None => format!(
                "What was made from {from}, is in question, and so is what is made until a test passes."
            ),
        };
        let second = |at: Timestamp| at.floor(model::Span::from_secs(1));
        let utc = match span.to {
            Some(to) => format!("In UTC: {} to {}", second(span.from), second(to)),
            None => format!("In UTC: {} and on", second(span.from)),
        };
        Notice {
            class: if span.to.is_none() { "now" } else { "soon" },
            title: "Product in question",
            says: format!("The temper test at {} failed. {says}", at(span.failed_at)),
            utc: Some(utc),
            caution: "Keep it apart; what becomes of it is decided by the person in charge of quality.",
            link: None,
        }
    }

    fn of_probe(scene: Scene<'_>, doubt: &Doubt) -> Notice {
        let at = |at: Timestamp| scene.local.moment(at, scene.now);
        let since = match doubt.since {
            Some(since) => format!("since the last good check, {}", at(since)),
            None => "as far back as they go: no good check is on record before".to_owned(),
        };
        let until = match doubt.until {
            Some(until) => format!(", until it was put right, {}", at(until)),
            None => ", and still are".to_owned(),
        };
        let off = error_says(doubt.error_c, scene.degrees);
        Notice {
            class: "soon",
            title: "Measured in doubt",
            says: format!(
                "The {} probe showed {off} when it was checked, {}. Its readings are in doubt {since}{until}.",
                channel_word(doubt.channel),
                at(doubt.failed_at)
            ),
            utc: None,
            caution: "Phases, findings and figures of this batch rest on those readings.",
            link: Some(Link { href: "/setup#checks-title".to_owned(), says: "Checks of probes".to_owned() }),
        }
    }

    pub(crate) fn of_changeover(scene: Scene<'_>, changeover: &Changeover) -> Notice {
        let (class, title, says, link) = match changeover {
            Changeover::MilkBefore { batch } => (
                "now",
                "May hold milk",
                "This machine held couverture with milk, and no signed clean is on record since.".to_owned(),
                Some(batch_link(scene, batch)),
            ),
            Changeover::MilkAdded { at, couverture } => (
                "now",
                "Holds milk",
                format!(
                    "{couverture} was put into it at {}, which brings milk along or is not in the plant file.",
                    scene.local.moment(*at, scene.now)
                ),
                None,
            ),
            Changeover::NoCleanAfterDark { batch } => (
                "later",
                "Changeover not on record",
                "Before this batch the machine held couverture without milk, and no signed clean is on record since."
                    .to_owned(),
                Some(batch_link(scene, batch)),
            ),
        };
        Notice { class, title, says, utc: None, caution: MILK_CAUTION, link }
    }
}

impl Notice {
    /// The same of a charge that has not begun to melt.
    pub(crate) fn of_next_charge(self) -> Notice {
        Notice { says: format!("Of the charge that waits for its melt: {}", self.says), ..self }
    }
}

impl ContentRow {
    fn new(scene: Scene<'_>, content: &Content) -> ContentRow {
        ContentRow {
            from: scene.moment(content.from),
            to: content.to.map(|to| scene.moment(to)),
            parts: content.parts.iter().map(PartRow::new).collect(),
        }
    }
}

impl PartRow {
    fn new(part: &Part) -> PartRow {
        let ways: Vec<&str> = part.ways.iter().map(|way| way.as_str()).collect();
        let rework = if part.is_rework { ", rework" } else { "" };
        PartRow {
            lot: part.lot.as_deref().map(lot_link),
            share: share_says(part.share),
            mass: part.mass_kg.map_or_else(|| "mass not told".to_owned(), crate::words::kilograms),
            ways: format!("{}{rework}", ways.join(", ")),
        }
    }
}

/// `18.2 %`
pub(crate) fn share_says(share: Option<f64>) -> String {
    share.map_or_else(|| "not known".to_owned(), |share| format!("{:.1}\u{a0}%", share * 100.0))
}

/// `0.8 °C too much`
pub(crate) fn error_says(error_c: f64, degrees: Degrees) -> String {
    let size = format!("{:.2}\u{a0}{}", degrees.of_difference(error_c.abs()), degrees.unit());
    if 0.0 <= error_c { format!("{size} too much") } else { format!("{size} too little") }
}

/// A channel within a sentence.
pub(crate) fn channel_word(channel: Channel) -> &'static str {
    match channel {
        Channel::Setpoint => "set-point",
        Channel::Chocolate
        | Channel::Jacket
        | Channel::Room
        | Channel::Humidity
        | Channel::Stirrer
        | Channel::Motor => channel.as_str(),
    }
}

/// The page of a lot; any text can be one.
pub(crate) fn lot_link(lot: &str) -> Link {
    let path: String = form_urlencoded::byte_serialize(lot.as_bytes()).collect();
    Link { href: format!("/lots/{}", path.replace('+', "%20")), says: lot.to_owned() }
}

/// The report of a batch.
pub(crate) fn batch_link(scene: Scene<'_>, batch: &BatchId) -> Link {
    let known = scene.plant.machines.iter().find(|machine| {
        batch
            .as_str()
            .strip_prefix(machine.id.as_str())
            .is_some_and(|rest| rest.starts_with('-') && rest.len() == 17)
    });
    let says = match known {
        Some(machine) => {
            let start = &batch.as_str()[machine.id.as_str().len() + 1..];
            let at = format!("{start}:00Z").parse::<Timestamp>();
            at.map_or_else(
                |_| batch.to_string(),
                |at| format!("{}, {}", machine.name, scene.local.moment(at, scene.now)),
            )
        }
        None => batch.to_string(),
    };
    Link { href: format!("/batches/{batch}"), says }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{moment, with_scene};

    #[test]
    fn what_a_failed_test_puts_in_question_is_said_with_its_times() {
        let span = Concerned {
            from: moment("09:10"),
            to: None,
            failed_at: moment("10:20"),
            last_good_at: Some(moment("09:10")),
        };
        with_scene(moment("12:00"), |scene| {
            let notice = Notice::of_test(scene, &span);
            assert_eq!(
                notice.says,
                "The temper test at 10:20 failed. What was made from 09:10, when the last good test was made, is in question, and so is what is made until a test passes."
            );
            assert_eq!(notice.utc.as_deref(), Some("In UTC: 2026-03-02T09:10:00Z and on"));
            let closed =
                Notice::of_test(scene, &Concerned { to: Some(moment("11:00")), last_good_at: None, ..span });
            assert!(closed.says.contains("from 09:10, when working began, to 11:00"), "{}", closed.says);
        });
    }

    #[test]
    fn a_lot_of_any_name_has_a_page_and_a_batch_its_name() {
        assert_eq!(lot_link("L 22/7").href, "/lots/L%2022%2F7");
        with_scene(moment("12:00"), |scene| {
            let link = batch_link(scene, &BatchId::from_lookup("alder-2026-03-02T09:00"));
            assert_eq!(
                (link.href.as_str(), link.says.as_str()),
                ("/batches/alder-2026-03-02T09:00", "Alder, 09:00")
            );
        });
        assert_eq!(error_says(-0.4, Degrees::Celsius), "0.40\u{a0}°C too little");
    }
}

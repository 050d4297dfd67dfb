//! The bench: the bowls of the site, and one of them as it stands.

use charts::{Degrees, Ruler, Width};
use handwork::{Deed, next_step};
use model::{Lane, Method, Span, Timestamp};
use plant::Family;
use serde::Serialize;

use super::lane::standing_chip;
use super::{Chip, EventRow, Moment, Scene};
use crate::bowl::BowlNow;
use crate::words;

/// The last readings of a bowl: a quarter of an hour of bursts.
const LISTED_READINGS: usize = 12;
/// A reading older than this says little of the next one: nothing is chosen beforehand.
const CHOSEN_BEFORE: Span = Span::from_mins(10);
/// A reading may be taken back for so long: it was typed wrongly, and seen at once.
const TAKEN_BACK: Span = Span::from_mins(5);
/// Keys for whole degrees: from a cool store to a little above the limit, °C.
const COLDEST_KEY_C: f64 = 18.0;
const KEYS_ABOVE_C: f64 = 3.0;

/// A bowl in the list.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BowlRow {
    pub name: String,
    pub href: String,
    pub says: String,
    pub temperature: Option<String>,
    pub standing: Option<Chip>,
}

/// One bowl.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BowlView {
    pub id: String,
    pub name: String,
    pub href: String,
    pub machine_href: String,
    pub filled: Option<FilledView>,
    pub ended: Option<Moment>,
    pub temperature: Option<String>,
    pub unit: &'static str,
    pub age: Option<String>,
    pub ruler: String,
    pub range: String,
    pub limit: String,
    pub limit_word: &'static str,
    /// Degree-minutes above the limit, in words.
    pub above: Option<String>,
    pub is_above: bool,
    pub step: StepView,
    /// What must not be forgotten with this couverture or method.
    pub cautions: Vec<String>,
    pub keys: Keys,
    pub readings: Vec<ReadingRow>,
    pub events: Vec<EventRow>,
    pub is_partial_melt: bool,
    pub takes_seed: bool,
    pub standing: Option<Chip>,
    pub batch_href: Option<String>,
    pub couvertures: Vec<Named>,
    pub methods: Vec<Named>,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct FilledView {
    pub at: Moment,
    pub couverture: String,
    pub method: &'static str,
    pub mass: Option<String>,
    pub lot: Option<String>,
}

/// The next step.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct StepView {
    pub class: &'static str,
    pub word: &'static str,
    pub says: String,
    /// The form that it leads to.
    pub form: &'static str,
}

/// The keys on which a temperature is typed.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Keys {
    pub degrees: &'static str,
    pub unit: &'static str,
    pub whole: Vec<i64>,
    pub chosen: Option<i64>,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct ReadingRow {
    pub at: Moment,
    /// The moment to the millisecond, by which it is taken back.
    pub exact: String,
    pub says: String,
    pub is_above: bool,
    pub can_be_taken_back: bool,
}

/// Something that can be chosen.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Named {
    pub id: String,
    pub name: String,
    pub help: &'static str,
    pub chosen: bool,
}

impl BowlRow {
    pub(crate) fn new(scene: Scene<'_>, bowl: &BowlNow, lane: Option<&Lane>) -> BowlRow {
        let says = match &bowl.filled {
            Some(filled) => format!(
                "{}, {}, filled {}",
                couverture(scene, filled.couverture.as_str()),
                method_word(filled.method),
                scene.moment(filled.at).says
            ),
            None => "Empty: choose couverture and method.".to_owned(),
        };
        let latest = bowl.readings.last().map(|(_, celsius)| scene.temperature(*celsius));
        BowlRow {
            name: bowl.machine.name.clone(),
            href: format!("/bench/{}", bowl.machine.id),
            says,
            temperature: latest,
            standing: bowl.filled.as_ref().and(standing(bowl, lane)),
        }
    }
}

impl BowlView {
    pub(crate) fn new(scene: Scene<'_>, bowl: &BowlNow, lane: Option<&Lane>) -> BowlView {
        let asked = bowl.bowl(scene.now);
        let latest = asked.latest();
        let limit_c = asked.limit_c();
        let range = bowl.limits.working;
        let above = asked.above_limit();
        let limit_word = if limit_c < bowl.limits.scorch { "temper-loss limit" } else { "scorch limit" };
        let unit = scene.degrees.unit();
        let open = lane.and_then(|lane| lane.batch.as_ref());
        let open =
            open.filter(|batch| bowl.filled.as_ref().is_some_and(|filled| is_of(batch.start, filled.at)));
        BowlView {
            id: bowl.machine.id.to_string(),
            name: bowl.machine.name.clone(),
            href: format!("/bench/{}", bowl.machine.id),
            machine_href: format!("/machines/{}", bowl.machine.id),
            filled: bowl.filled.as_ref().map(|filled| FilledView {
                at: scene.moment(filled.at),
                couverture: couverture(scene, filled.couverture.as_str()),
                method: method_word(filled.method),
                mass: filled.mass_kg.map(words::kilograms),
                lot: filled.lot.clone(),
            }),
            ended: bowl.ended_at.map(|at| scene.moment(at)),
            temperature: latest.map(|(_, celsius)| words::bare_temperature(celsius, scene.degrees)),
            unit,
            age: latest.map(|(at, _)| words::ago(scene.now.since(at))),
            ruler: ruler(scene, bowl, latest.map(|(_, celsius)| celsius)),
            range: format!(
                "{}–{}",
                words::bare_temperature(range.low(), scene.degrees),
                scene.temperature(range.high())
            ),
            limit: scene.temperature(limit_c),
            limit_word,
            above: asked.readings.first().filter(|_| limit_c < bowl.limits.scorch).map(|_| {
                let area = scene.degrees.of_difference(above.above_c_min);
                let unknown = match (above.unknown_s / 60.0).round() {
                    0.0 => String::new(),
                    minutes => format!(", {minutes:.0}\u{a0}min unknown"),
                };
                format!("{area:.1}\u{a0}{unit}·min{unknown}")
            }),
            is_above: 0.0 < above.above_c_min,
            step: StepView::new(scene, bowl),
            cautions: cautions(bowl).into_iter().map(|caution| scene.sentence(&caution)).collect(),
            keys: Keys::new(scene, bowl),
            readings: readings(scene, bowl, limit_c),
            events: bowl.events.iter().rev().map(|event| EventRow::new(scene, event)).collect(),
            is_partial_melt: asked.method == Method::PartialMelt,
            takes_seed: matches!(asked.method, Method::Seed | Method::ButterSeed),
            standing: bowl.filled.as_ref().and(standing(bowl, lane)),
            batch_href: open.map(|batch| format!("/batches/{}", batch.id)),
            couvertures: couvertures(scene, bowl),
            methods: methods(bowl),
        }
    }
}

/// The batch of a charge begins at its rise, which may be seen to begin a little before the charge was entered.
fn is_of(start: Timestamp, filled_at: Timestamp) -> bool {
    /// People enter a charge within a quarter of an hour of filling it in (common practice, no source).
    const ENTERED_LATE: Span = Span::from_mins(15);
    filled_at - ENTERED_LATE <= start
}

fn standing(bowl: &BowlNow, lane: Option<&Lane>) -> Option<Chip> {
    let batch = lane?.batch.as_ref()?;
    is_of(batch.start, bowl.filled.as_ref()?.at).then(|| standing_chip(batch.standing))
}

fn couverture(scene: Scene<'_>, id: &str) -> String {
    let known = scene.plant.couvertures.iter().find(|known| known.id.as_str() == id);
    known.map_or_else(|| id.to_owned(), |known| words::tied(known.display_name()))
}

impl StepView {
    pub(crate) fn new(scene: Scene<'_>, bowl: &BowlNow) -> StepView {
        let step = next_step(&bowl.bowl(scene.now));
        let (class, form) = match step.deed {
            Deed::Stop | Deed::Anew => ("now", ""),
            Deed::Measure => ("open", "reading"),
            Deed::WarmOn => ("soon", "timer"),
            Deed::StirOut | Deed::Cool | Deed::Table => ("ready", "reading"),
            Deed::Seed => ("soon", "seed"),
            Deed::Test => ("soon", "test"),
            Deed::Work => ("good", "reading"),
        };
        StepView { class, word: step.deed.word(), says: scene.sentence(&step.says), form }
    }
}

impl Keys {
    fn new(scene: Scene<'_>, bowl: &BowlNow) -> Keys {
        let asked = bowl.bowl(scene.now);
        let top = match asked.method {
            Method::PartialMelt => bowl.limits.temper_loss + KEYS_ABOVE_C,
            Method::Seed | Method::ButterSeed | Method::Tabling | Method::Continuous => {
                bowl.limits.melt.high() + KEYS_ABOVE_C
            }
        };
        let read = |celsius: f64| scene.degrees.of(celsius).floor() as i64;
        let newest = asked.latest().filter(|(at, _)| scene.now.since(*at) <= CHOSEN_BEFORE);
        let whole: Vec<i64> = (read(COLDEST_KEY_C)..=read(top)).collect();
        let chosen = newest.map(|(_, celsius)| shown_whole(celsius, scene.degrees));
        Keys {
            degrees: crate::reader::letter(scene.degrees),
            unit: scene.degrees.unit(),
            chosen: chosen.filter(|chosen| whole.contains(chosen)),
            whole,
        }
    }
}

/// The whole degrees of a temperature as it is shown, to a tenth.
fn shown_whole(celsius: f64, degrees: Degrees) -> i64 {
    (degrees.of(celsius) * 10.0).round().div_euclid(10.0) as i64
}

fn readings(scene: Scene<'_>, bowl: &BowlNow, limit_c: f64) -> Vec<ReadingRow> {
    let newest = bowl.readings.iter().rev().take(LISTED_READINGS).enumerate();
    let row = |(place, (at, celsius)): (usize, &(Timestamp, f64))| ReadingRow {
        at: scene.moment(*at),
        exact: at.to_string(),
        says: scene.temperature(*celsius),
        is_above: limit_c < *celsius,
        can_be_taken_back: place == 0 && scene.now.since(*at) <= TAKEN_BACK,
    };
    newest.map(row).collect()
}

fn ruler(scene: Scene<'_>, bowl: &BowlNow, chocolate_c: Option<f64>) -> String {
    let ago = scene.now - Span::from_mins(10);
    let before = bowl.readings.iter().rev().find(|(at, _)| *at <= ago).map(|(_, celsius)| *celsius);
    Ruler {
        chocolate_c,
        ten_minutes_ago_c: before,
        floor_c: bowl.limits.floor,
        working: bowl.limits.working,
        temper_loss_c: bowl.limits.temper_loss,
        melt: bowl.limits.melt,
        scorch_c: bowl.limits.scorch,
        width: Width::Narrow,
        degrees: scene.degrees,
    }
    .svg()
}

/// Water, steam and heat, and what the couverture in the bowl bears least (common practice, no source).
fn cautions(bowl: &BowlNow) -> Vec<String> {
    let mut cautions = Vec::new();
    match bowl.family {
        Family::White => cautions.push(
            "White couverture loses its temper above 30 to 32 °C and burns first of all: short bursts, much stirring.".to_owned(),
        ),
        Family::Milk => cautions.push("Milk couverture burns sooner than dark: short bursts, much stirring.".to_owned()),
        Family::Dark => {}
    }
    cautions.push(
        "A drop of water or a breath of steam ruins any couverture: dry bowl, dry spatula, the water bath below the rim.".to_owned(),
    );
    cautions.push(
        "Bowl, steam and warm water are hot enough to burn: take a cloth, and lift the bowl away from you."
            .to_owned(),
    );
    cautions
}

fn couvertures(scene: Scene<'_>, bowl: &BowlNow) -> Vec<Named> {
    let before = bowl.filled.as_ref().map(|filled| &filled.couverture);
    let row = |known: &plant::Couverture| Named {
        id: known.id.to_string(),
        name: words::tied(known.display_name()),
        help: known.family.as_str(),
        chosen: before == Some(&known.id),
    };
    scene.plant.couvertures.iter().map(row).collect()
}

fn methods(bowl: &BowlNow) -> Vec<Named> {
    let before = bowl.filled.as_ref().map(|filled| filled.method);
    let row = |(method, help): (Method, &'static str)| Named {
        id: method.to_string(),
        name: capitalised(method_word(method)),
        help,
        chosen: before == Some(method),
    };
    [
        (Method::PartialMelt, "pieces warmed in bursts, never fully melted"),
        (Method::Seed, "melted fully, then tempered pieces stirred in"),
        (Method::ButterSeed, "melted fully, then ready cocoa-butter crystals"),
        (Method::Tabling, "melted fully, then a part cooled on the slab"),
    ]
    .into_iter()
    .map(row)
    .collect()
}

fn capitalised(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// As people say it.
pub(crate) fn method_word(method: Method) -> &'static str {
    match method {
        Method::Seed => "seed",
        Method::ButterSeed => "cocoa-butter seed",
        Method::PartialMelt => "partial melt",
        Method::Tabling => "tabling",
        Method::Continuous => "continuous",
    }
}

//! What people keep of a batch beside the readings, as other programs see it: decisions, what is in question, and what it was made of.

use history::lots::{BatchContent, Content, Part, Use};
use history::milk::Changeover;
use history::{Concerned, Doubt};
use model::Decision;
use serde::Serialize;

use crate::decision::{ConcernedDto, DecisionDto, DoubtDto};

/// What is assumed wherever shares of lots stand.
pub const LOT_ASSUMPTIONS: &str = "Assumed: what is added is mixed in at once and evenly, a charge goes into an empty machine, and nothing is known of what \
     was drawn off. So the share of a later addition is at least what stands here, and that of an earlier one at most.";

/// Said wherever milk is the matter.
pub const MILK_CAUTION: &str = "Follow your own allergen plan. Nothing here releases a changeover, and where nothing is told, milk may be there all the same.";

/// Everything about a batch that people keep.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct KeptDto {
    /// The decision that holds; `null` where none was taken. It does not change `standing`, nor is it changed by it.
    pub decision: Option<DecisionDto>,
    /// All of them, in the order in which they were taken.
    pub decisions: Vec<DecisionDto>,
    /// What failed temper tests put in question.
    pub concerned: Vec<ConcernedDto>,
    /// When and by how much its probes were wrong.
    pub measured_in_doubt: Vec<DoubtDto>,
    /// What it was made of, by lots, from addition to addition.
    pub contents: Vec<ContentDto>,
    /// What is assumed there.
    pub contents_assume: &'static str,
    /// Nobody told a charge: what was left of the batch before is taken to be in it.
    pub contents_carried: bool,
    /// The batch before it in the machine.
    pub batch_before: Option<String>,
    /// Why it may hold milk, or that a changeover is not on record.
    pub changeover: Option<ChangeoverDto>,
}

/// What a machine held from one addition to the next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ContentDto {
    /// From when.
    pub from: String,
    /// `null` while it goes on.
    pub to: Option<String>,
    /// Lots, in the order in which they came.
    pub lots: Vec<PartDto>,
}

/// One lot in a machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartDto {
    /// `null` where nobody told.
    pub lot: Option<String>,
    /// Was it the site's own product, melted again?
    pub rework: bool,
    /// `charge`, `seed`, `top-up`.
    pub ways: Vec<&'static str>,
    /// How much was added; `null` if not told.
    pub mass_kg: Option<f64>,
    /// From 0 to 1; `null` where a mass is not known.
    pub share: Option<f64>,
}

/// Why a batch needs a second look.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChangeoverDto {
    /// `milk-before`, `milk-added` or `no-clean-after-dark`.
    pub kind: &'static str,
    /// The batch before that matters.
    pub batch: Option<String>,
    /// When milk was put in.
    pub at: Option<String>,
    /// What to do.
    pub caution: &'static str,
}

/// Where a lot went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UseDto {
    /// Into which batch.
    pub batch: String,
    /// In which machine.
    pub machine: String,
    /// Product of that time may hold it.
    pub from: String,
    /// `null` while it goes on.
    pub to: Option<String>,
    /// Its largest share in that time.
    pub share: Option<f64>,
    /// How much of it was added.
    pub mass_kg: Option<f64>,
    /// `charge`, `seed`, `top-up`.
    pub ways: Vec<&'static str>,
    /// Was it the site's own product, melted again?
    pub rework: bool,
    /// It is there only as what was left of the batch before.
    pub carried: bool,
}

impl KeptDto {
    /// Gathers what is kept of one batch.
    pub fn new(
        decisions: &[Decision],
        concerned: &[Concerned],
        doubts: &[Doubt],
        content: Option<&BatchContent>,
        changeover: Option<&Changeover>,
    ) -> KeptDto {
        KeptDto {
            decision: decisions.last().map(DecisionDto::from),
            decisions: decisions.iter().map(DecisionDto::from).collect(),
            concerned: concerned.iter().map(ConcernedDto::from).collect(),
            measured_in_doubt: doubts.iter().map(DoubtDto::from).collect(),
            contents: content
                .map(|content| content.contents.iter().map(ContentDto::from).collect())
                .unwrap_or_default(),
            contents_assume: LOT_ASSUMPTIONS,
            contents_carried: content.is_some_and(|content| content.is_carried),
            batch_before: content.and_then(|content| content.before.as_ref()).map(ToString::to_string),
            changeover: changeover.map(ChangeoverDto::from),
        }
    }
}

impl From<&Content> for ContentDto {
    fn from(content: &Content) -> ContentDto {
        ContentDto {
            from: content.from.to_string(),
            to: content.to.map(|to| to.to_string()),
            lots: content.parts.iter().map(PartDto::from).collect(),
        }
    }
}

impl From<&Part> for PartDto {
    fn from(part: &Part) -> PartDto {
        PartDto {
            lot: part.lot.clone(),
            rework: part.is_rework,
            ways: part.ways.iter().map(|way| way.as_str()).collect(),
            mass_kg: part.mass_kg,
            share: part.share.map(rounded),
        }
    }
}

impl From<&Changeover> for ChangeoverDto {
    fn from(changeover: &Changeover) -> ChangeoverDto {
        let (kind, batch, at) = match changeover {
            Changeover::MilkBefore { batch } => ("milk-before", Some(batch), None),
            Changeover::MilkAdded { at, .. } => ("milk-added", None, Some(at)),
            Changeover::NoCleanAfterDark { batch } => ("no-clean-after-dark", Some(batch), None),
        };
        ChangeoverDto {
            kind,
            batch: batch.map(ToString::to_string),
            at: at.map(ToString::to_string),
            caution: MILK_CAUTION,
        }
    }
}

impl From<&Use> for UseDto {
    fn from(used: &Use) -> UseDto {
        UseDto {
            batch: used.batch.to_string(),
            machine: used.machine.to_string(),
            from: used.from.to_string(),
            to: used.to.map(|to| to.to_string()),
            share: used.share.map(rounded),
            mass_kg: used.mass_kg,
            ways: used.ways.iter().map(|way| way.as_str()).collect(),
            rework: used.is_rework,
            carried: used.is_carried,
        }
    }
}

/// To a tenth of a per cent: finer than any scale in a workshop.
fn rounded(share: f64) -> f64 {
    (share * 1e3).round() / 1e3
}

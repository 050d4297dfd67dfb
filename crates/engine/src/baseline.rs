//! What is usual for a machine: medians of its own good batches of the same couverture, divided by mass where mass is known.
//!
//! The newest twenty good batches count, so that a baseline follows the seasons and one odd day does not move it (start value, common practice, no source). A figure
//! counts from three batches on. Until then the length of cooling is the plant file's `cooling_minutes`, as it stands: nobody says for which mass
//! it holds. A charge of known mass is compared with charges of known mass, since in one vessel the time constant is in proportion to the
//! mass (`τ = m·c/(U·A)`, Newton).
//!
//! A person can freeze a baseline, let it learn again, or reset it. A batch is good when it was cooled and worked and nothing was found that spoils
//! its course ([`model::FindingKind::spoils_course`]). Until enough is learned, a slow cooling spoils none that was proved in temper and took less than
//! twice what the plant file says: it is slow by that figure alone, which would otherwise stand for ever if it is too short.

use std::collections::BTreeMap;

use model::{
    Baseline, BaselineDeed, BaselineOrder, BaselineState, Batch, CouvertureId, FindingKind, Phase, Standing,
    Timestamp, Usual,
};
use plant::Machine;
use serde::{Deserialize, Serialize};

use crate::bounded::remember;
use crate::findings::slow_cooling::VERY_SLOW;

/// So many good batches make a usual one.
const ENOUGH: usize = 3;
/// The newest good batches that are remembered.
const REMEMBERED: usize = 20;

/// The baselines of one machine.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Baselines {
    by_couverture: BTreeMap<CouvertureId, Learned>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Learned {
    batches: Vec<Figures>,
    frozen: bool,
    since: Option<Timestamp>,
    by: Option<String>,
}

/// The figures of a good batch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Figures {
    cooling_minutes: f64,
    mass_kg: Option<f64>,
    cooling_tau_min: Option<f64>,
    settled_c: Option<f64>,
    hold_offset_c: Option<f64>,
    seed_dip_c: Option<f64>,
    working_sd_c: Option<f64>,
}

impl Baselines {
    /// Remembers a batch that reached working without trouble; `known` is when its end was known.
    pub(crate) fn learn(&mut self, batch: &Batch, hold_offset_c: Option<f64>, known: Timestamp) {
        let whole = batch.first(Phase::Soak).is_some() && batch.first(Phase::Working).is_some();
        let Some(cooling_minutes) = batch.measures.cooling_minutes.filter(|_| whole) else { return };
        let learned = self.by_couverture.entry(batch.couverture.clone()).or_default();
        if learned.frozen {
            return;
        }
        let figures = Figures {
            cooling_minutes,
            mass_kg: batch.mass_kg,
            cooling_tau_min: batch.measures.cooling_tau_min,
            settled_c: batch.measures.settled_c,
            hold_offset_c,
            seed_dip_c: batch.measures.seed_dip_c,
            working_sd_c: batch.measures.working_sd_c,
        };
        remember(&mut learned.batches, figures, REMEMBERED);
        if learned.batches.len() == ENOUGH {
            learned.since = Some(known);
        }
    }

    /// May the batch, in which this was found, teach what is usual?
    pub(crate) fn learns_from(&self, machine: &Machine, batch: &Batch, found: &[FindingKind]) -> bool {
        let learned = self.by_couverture.get(&batch.couverture).is_some_and(Learned::is_enough);
        let took = batch.measures.cooling_minutes.zip(machine.cooling_minutes);
        let nearly = took.is_some_and(|(took, told)| took < VERY_SLOW * told);
        let by_the_file = !learned && nearly && batch.standing == Standing::InTemper;
        let spoils =
            |kind: &FindingKind| kind.spoils_course() && !(by_the_file && *kind == FindingKind::SlowCooling);
        !found.iter().any(spoils)
    }

    /// Does what a person ordered.
    pub(crate) fn order(&mut self, order: &BaselineOrder) {
        let learned = self.by_couverture.entry(order.couverture.clone()).or_default();
        match order.deed {
            BaselineDeed::Freeze => learned.frozen = true,
            BaselineDeed::Learn => learned.frozen = false,
            BaselineDeed::Reset => *learned = Learned::default(),
        }
        (learned.since, learned.by) = (Some(order.at), order.by.clone());
    }

    /// Usual length of the cooling of such a charge, minutes.
    pub(crate) fn cooling_minutes(
        &self,
        machine: &Machine,
        couverture: &CouvertureId,
        mass_kg: Option<f64>,
    ) -> Option<f64> {
        let learned = self.by_couverture.get(couverture);
        let per_kg = learned.and_then(|learned| learned.usual(Figures::minutes_per_kg));
        if let Some((mass, usual)) = mass_kg.zip(per_kg) {
            return Some(usual.median * mass);
        }
        let learned = learned.and_then(|learned| learned.usual(|figures| Some(figures.cooling_minutes)));
        learned.map(|usual| usual.median).or(machine.cooling_minutes)
    }

    /// All of them, and that of the machine's own couverture even if nothing is known of it.
    pub(crate) fn shown(&self, machine: &Machine) -> Vec<Baseline> {
        let nothing = Learned::default();
        let own = (!self.by_couverture.contains_key(&machine.couverture))
            .then_some((&machine.couverture, &nothing));
        let all = own.into_iter().chain(&self.by_couverture);
        all.map(|(couverture, learned)| Baseline {
            machine: machine.id.clone(),
            couverture: couverture.clone(),
            state: learned.state(),
            batches: learned.batches.len(),
            needed: ENOUGH,
            since: learned.since,
            by: learned.by.clone(),
            used_cooling_minutes: self.cooling_minutes(machine, couverture, None),
            cooling_minutes: learned.usual(|figures| Some(figures.cooling_minutes)),
            cooling_minutes_per_kg: learned.usual(Figures::minutes_per_kg),
            cooling_tau_min: learned.usual(|figures| figures.cooling_tau_min),
            settled_c: learned.usual(|figures| figures.settled_c),
            hold_offset_c: learned.usual(|figures| figures.hold_offset_c),
            seed_dip_c: learned.usual(|figures| figures.seed_dip_c),
            working_sd_c: learned.usual(|figures| figures.working_sd_c),
            mass_kg: learned.usual(|figures| figures.mass_kg),
        })
        .collect()
    }
}

impl Figures {
    fn minutes_per_kg(&self) -> Option<f64> {
        self.mass_kg.filter(|mass| *mass > 0.0).map(|mass| self.cooling_minutes / mass)
    }
}

impl Learned {
    fn is_enough(&self) -> bool {
        ENOUGH <= self.batches.len()
    }

    fn state(&self) -> BaselineState {
        if self.frozen {
            BaselineState::Frozen
        } else if !self.is_enough() {
            BaselineState::Learning
        } else {
            BaselineState::Learned
        }
    }

    fn usual(&self, figure: impl Fn(&Figures) -> Option<f64>) -> Option<Usual> {
        let values: Vec<f64> = self.batches.iter().filter_map(figure).collect();
        let (median, spread) = (maths::statistics::median(&values)?, maths::statistics::mad(&values)?);
        (values.len() >= ENOUGH).then_some(Usual { median, spread, batches: values.len() })
    }
}

#[cfg(test)]
mod tests {
    use model::{BatchId, Confidence, Measures, Method, PhaseSpan};
    use plant::parse_plant;

    use super::*;

    fn at(hour: i64) -> Timestamp {
        Timestamp::from_millis(hour * 3_600_000)
    }

    fn batch(hour: i64, minutes: f64, mass_kg: Option<f64>) -> Batch {
        let span = |phase, from| PhaseSpan { phase, from, to: None, confidence: Confidence::High };
        let machine = "alder".parse().unwrap();
        Batch {
            id: BatchId::new(&machine, at(hour)),
            machine,
            couverture: "dark-64".parse().unwrap(),
            lot: None,
            method: Method::Seed,
            mass_kg,
            start: at(hour),
            end: Some(at(hour + 8)),
            phases: vec![span(Phase::Soak, at(hour)), span(Phase::Working, at(hour + 2))],
            measures: Measures { cooling_minutes: Some(minutes), ..Measures::default() },
            standing: Standing::Unproven,
            reasons: Vec::new(),
        }
    }

    fn machine() -> Machine {
        let text = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n[mqtt]\nurl = \"embedded\"\n\
                    [[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
                    [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\ncooling_minutes = 75\n";
        parse_plant(text).unwrap().machines.remove(0)
    }

    fn order(deed: BaselineDeed, hour: i64) -> BaselineOrder {
        let (machine, couverture) = ("alder".parse().unwrap(), "dark-64".parse().unwrap());
        BaselineOrder { machine, couverture, deed, by: Some("ana".to_owned()), at: at(hour) }
    }

    fn told(baselines: &Baselines) -> String {
        let shown = baselines.shown(&machine());
        let one = |b: &Baseline| {
            format!(
                "{} {} batches, cools in {:.0} min",
                b.state.as_str(),
                b.batches,
                b.used_cooling_minutes.unwrap()
            )
        };
        shown.iter().map(one).collect::<Vec<_>>().join(" | ")
    }

    #[test]
    fn the_plant_file_speaks_until_three_good_batches_do() {
        let mut baselines = Baselines::default();
        assert_eq!(told(&baselines), "learning 0 batches, cools in 75 min");
        for (i, minutes) in [60.0, 64.0].into_iter().enumerate() {
            baselines.learn(&batch(24 * i as i64, minutes, None), None, at(24 * i as i64 + 8));
        }
        assert_eq!(told(&baselines), "learning 2 batches, cools in 75 min");
        baselines.learn(&batch(48, 62.0, None), None, at(56));
        assert_eq!(told(&baselines), "learned 3 batches, cools in 62 min");
        assert_eq!(baselines.shown(&machine())[0].since, Some(at(56)));
    }

    #[test]
    fn a_person_freezes_releases_and_resets() {
        let mut baselines = Baselines::default();
        (0..3).for_each(|i| baselines.learn(&batch(24 * i, 60.0, None), None, at(24 * i)));
        baselines.order(&order(BaselineDeed::Freeze, 80));
        (4..12).for_each(|i| baselines.learn(&batch(24 * i, 90.0, None), None, at(24 * i)));
        assert_eq!(told(&baselines), "frozen 3 batches, cools in 60 min");
        assert_eq!(baselines.shown(&machine())[0].by.as_deref(), Some("ana"));
        baselines.order(&order(BaselineDeed::Learn, 290));
        (13..20).for_each(|i| baselines.learn(&batch(24 * i, 90.0, None), None, at(24 * i)));
        assert_eq!(told(&baselines), "learned 10 batches, cools in 90 min");
        baselines.order(&order(BaselineDeed::Reset, 500));
        assert_eq!(told(&baselines), "learning 0 batches, cools in 75 min");
    }

    #[test]
    fn a_charge_of_known_mass_is_compared_with_such() {
        let mut baselines = Baselines::default();
        (0..4).for_each(|i| baselines.learn(&batch(24 * i, 40.0 + i as f64, Some(20.0)), None, at(24 * i)));
        let usual = |mass| baselines.cooling_minutes(&machine(), &"dark-64".parse().unwrap(), mass).unwrap();
        assert!((usual(Some(40.0)) - 83.0).abs() < 1e-9);
        assert!((usual(None) - 41.5).abs() < 1e-9);
    }

    #[test]
    fn only_the_newest_twenty_count() {
        let mut baselines = Baselines::default();
        (0..40).for_each(|i| {
            baselines.learn(&batch(24 * i, if i < 20 { 60.0 } else { 70.0 }, None), None, at(24 * i))
        });
        assert_eq!(told(&baselines), "learned 20 batches, cools in 70 min");
    }
}

//! Milk where none should be: a batch without milk in a machine that held milk and of which no clean is on record since, or into which milk
//! was put. Milk carried into dark is the usual failure of shared equipment (domain brief 7.1).
//!
//! A clean counts when somebody has signed it, between the milk and the batch. It says what people put on record and nothing more: **nothing
//! here releases a changeover**, and where this finds nothing, milk may be there all the same.

use model::{Batch, BatchId, CouvertureId, MachineId, Phase, Timestamp};

use crate::lots::Addition;

/// A clean that somebody has signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clean {
    /// Of which machine.
    pub machine: MachineId,
    /// When.
    pub at: Timestamp,
    /// By whom.
    pub by: String,
}

/// What a couverture brings along.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Milk {
    /// Dark.
    Without,
    /// Milk and white; and what the plant file does not know, to be careful.
    With,
}

/// Why a batch needs a second look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Changeover {
    /// It may hold milk: the machine held some, and no clean is on record since.
    MilkBefore {
        /// The last batch with milk.
        batch: BatchId,
    },
    /// It holds milk: some was put in.
    MilkAdded {
        /// When.
        at: Timestamp,
        /// Of which couverture.
        couverture: CouvertureId,
    },
    /// Dark was in the machine before, and no clean is on record: no matter of milk, but the changeover is not on record either.
    NoCleanAfterDark {
        /// The batch before.
        batch: BatchId,
    },
}

/// What is to be said of each of these batches of one machine, the oldest first.
pub fn changeovers(
    batches: &[Batch],
    additions: &[Addition],
    cleans: &[Clean],
    milk_of: impl Fn(&CouvertureId) -> Milk,
) -> Vec<(BatchId, Option<Changeover>)> {
    let mut batches: Vec<&Batch> = batches.iter().collect();
    batches.sort_by_key(|batch| batch.start);
    let mut milk: Option<&Batch> = None;
    let mut before: Option<&Batch> = None;
    let mut told = Vec::new();
    for batch in batches {
        let cleaned_since = |earlier: &Batch| {
            let emptied = earlier.first(Phase::Working).map_or(earlier.start, |working| working.from);
            let counts = |clean: &&Clean| {
                clean.machine == batch.machine && emptied < clean.at && clean.at <= batch.start
            };
            cleans.iter().any(|clean| counts(&clean))
        };
        milk = milk.filter(|milk| !cleaned_since(milk));
        // A charge that somebody took out again before it was a batch was in the machine all the same.
        let since = before.map_or(batch.start, |before| before.end.unwrap_or(batch.start));
        let counts = |clean: &&Clean| clean.machine == batch.machine && clean.at <= batch.start;
        let cleaned_at = cleans.iter().filter(counts).map(|clean| clean.at).max();
        let during = |at: Timestamp| {
            since.max(cleaned_at.unwrap_or(since)) <= at && batch.end.is_none_or(|end| at < end)
        };
        let added = additions.iter().find_map(|addition| {
            let couverture = addition.couverture.as_ref()?;
            let is_milk = addition.machine == batch.machine
                && during(addition.at)
                && *couverture != batch.couverture
                && milk_of(couverture) == Milk::With;
            is_milk.then(|| Changeover::MilkAdded { at: addition.at, couverture: couverture.clone() })
        });
        let says = match (milk_of(&batch.couverture), &added) {
            (Milk::Without, Some(added)) => Some(added.clone()),
            (Milk::Without, None) => milk.map(|milk| Changeover::MilkBefore { batch: milk.id.clone() }),
            (Milk::With, _) => before
                .filter(|before| milk_of(&before.couverture) == Milk::Without && !cleaned_since(before))
                .map(|before| Changeover::NoCleanAfterDark { batch: before.id.clone() }),
        };
        if milk_of(&batch.couverture) == Milk::With || added.is_some() {
            milk = Some(batch);
        }
        before = Some(batch);
        told.push((batch.id.clone(), says));
    }
    told
}

#[cfg(test)]
mod tests {
    use model::Span;

    use super::*;
    use crate::lots::Way;
    use crate::usual::tests::batch;

    /// A batch a day of `dark` or `milk`, for ten hours; a clean eight hours before a day; additions by day and hour.
    fn check(couvertures: &[&str], cleaned_before: &[i64], additions: &[(i64, i64, &str)]) -> Vec<String> {
        let day = |(couverture, day): (&&str, i64)| {
            let batch = batch(day, 70.0);
            let end = Some(batch.start + Span::from_hours(10));
            Batch { couverture: couverture.parse().unwrap(), end, ..batch }
        };
        let batches: Vec<Batch> = couvertures.iter().zip(1..).map(day).collect();
        let cleans: Vec<Clean> = cleaned_before
            .iter()
            .map(|day| Clean {
                machine: "alder".parse().unwrap(),
                at: batch(*day, 70.0).start - Span::from_hours(8),
                by: "ana".to_owned(),
            })
            .collect();
        let additions: Vec<Addition> = additions
            .iter()
            .map(|(day, hour, couverture)| Addition {
                machine: "alder".parse().unwrap(),
                at: batch(*day, 70.0).start + Span::from_hours(*hour),
                way: Way::TopUp,
                lot: None,
                mass_kg: None,
                couverture: Some(couverture.parse().unwrap()),
                is_rework: false,
                ended_at: None,
            })
            .collect();
        let milk_of = |id: &CouvertureId| if id.as_str() == "dark" { Milk::Without } else { Milk::With };
        changeovers(&batches, &additions, &cleans, milk_of)
            .into_iter()
            .map(|(_, says)| match says {
                None => "–".to_owned(),
                Some(Changeover::MilkBefore { batch }) => format!("milk of {}", &batch.as_str()[14..16]),
                Some(Changeover::MilkAdded { couverture, .. }) => format!("added {couverture}"),
                Some(Changeover::NoCleanAfterDark { .. }) => "no clean after dark".to_owned(),
            })
            .collect()
    }

    #[test]
    fn milk_stays_until_a_clean_is_on_record() {
        assert_eq!(check(&["dark", "dark"], &[], &[]), ["–", "–"]);
        assert_eq!(check(&["milk", "dark", "dark"], &[], &[]), ["–", "milk of 02", "milk of 02"]);
        assert_eq!(check(&["milk", "dark", "dark"], &[3], &[]), ["–", "milk of 02", "–"]);
        assert_eq!(check(&["milk", "dark"], &[2], &[]), ["–", "–"]);
        assert_eq!(
            check(&["milk", "dark"], &[1], &[]),
            ["–", "milk of 02"],
            "a clean before the milk is none after it"
        );
    }

    #[test]
    fn milk_that_is_put_in_is_told_and_stays() {
        assert_eq!(check(&["dark", "dark"], &[], &[(1, 5, "milk")]), ["added milk", "milk of 02"]);
        assert_eq!(check(&["dark", "dark"], &[], &[(1, 5, "dark")]), ["–", "–"]);
    }

    /// A charge of milk was taken out before it was melted, between two batches of dark.
    #[test]
    fn milk_that_never_was_a_batch_is_told() {
        let charged = [(1, 12, "milk")];
        assert_eq!(check(&["dark", "dark"], &[], &charged), ["–", "added milk"]);
        assert_eq!(check(&["dark", "dark"], &[2], &charged), ["–", "–"], "cleaned since");
        assert_eq!(check(&["dark", "milk"], &[2], &charged), ["–", "–"], "it is that batch's own");
    }

    #[test]
    fn dark_before_milk_is_no_matter_of_milk() {
        assert_eq!(check(&["dark", "milk"], &[], &[]), ["–", "no clean after dark"]);
        assert_eq!(check(&["dark", "milk"], &[2], &[]), ["–", "–"]);
        assert_eq!(check(&["milk", "white"], &[], &[]), ["–", "–"]);
    }
}

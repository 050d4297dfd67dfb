//! Actions, and whether they worked: the figure before against the figure after, with both numbers of batches.
//!
//! Each couverture by itself, and a difference is called one only where chance would seldom make it: both samples are
//! small, so that an exact rank test counts them both (Wilcoxon–Mann–Whitney). Three batches before and three after can
//! never tell.

use std::collections::BTreeSet;

use maths::statistics::{median, rank_sum};
use model::{Batch, CouvertureId, Timestamp};
use records::Action;

use super::{Charted, IsoWeek, View};

/// As many batches before are looked at.
const BEFORE: usize = 20;

/// And as many after: what comes later is the work of other days.
const AFTER: usize = 40;

/// A rank test below this is called a change.
const P: f64 = 0.05;

/// Before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// Which figure.
    pub charted: Charted,
    /// Of which couverture.
    pub couverture: CouvertureId,
    /// Median before, and of how many batches.
    pub before: Option<(f64, usize)>,
    /// Median after, and of how many.
    pub after: Option<(f64, usize)>,
    /// Probability of so different an after by chance; `None` where so few could never tell.
    pub p: Option<f64>,
}

impl Effect {
    fn of(charted: Charted, couverture: CouvertureId, before: &[f64], after: &[f64]) -> Effect {
        let middle = |values: &[f64]| median(values).map(|median| (median, values.len()));
        let p = match rank_sum(after, before) {
            Ok(test) => (test.smallest_p < P).then_some(test.p_two_sided),
            // Nothing is as like as equal values.
            Err(maths::MathsError::Constant) => Some(1.0),
            Err(_) => None,
        };
        Effect { charted, couverture, before: middle(before), after: middle(after), p }
    }

    /// Did the figure change? `None`: too early to tell.
    pub fn changed(&self) -> Option<bool> {
        self.p.map(|p| p < P)
    }
}

/// An action as the review shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct ActionRow {
    /// The action as it stood when the week ended: what was done later is open here.
    pub action: Action,
    /// Done since, after the week.
    pub is_done_since: bool,
    /// Past its due date and not done.
    pub is_overdue: bool,
    /// Before and after, one a couverture, where it names a machine and a figure and is done.
    pub effects: Vec<Effect>,
}

/// Actions opened in the review of this very week, and those opened before the end of the week that were not done when it began, or were opened in it, or were done in it
/// or in the two weeks before: an effect takes batches to show.
pub(super) fn rows(view: &View<'_>, week: IsoWeek, actions: &[Action], batches: &[Batch]) -> Vec<ActionRow> {
    let week = week.to_string();
    let shown_from = view.from - (view.to - view.from) * 2;
    let is_shown = |action: &&Action| {
        let is_carried = action.opened < view.to && action.done.is_none_or(|done| shown_from <= done);
        is_carried || action.week == week
    };
    let mut rows: Vec<ActionRow> = actions
        .iter()
        .filter(is_shown)
        .map(|action| {
            let done = action.done.filter(|done| *done < view.to);
            ActionRow {
                is_overdue: done.is_none() && action.due.is_some_and(|due| due < view.to),
                effects: done.map(|done| effects(action, done, view.to, batches)).unwrap_or_default(),
                is_done_since: done != action.done,
                action: Action { done, ..action.clone() },
            }
        })
        .collect();
    rows.sort_by_key(|row| (row.action.done.is_some(), row.action.opened));
    rows
}

/// One a couverture: dark cools longer than milk, and a plan that changed is no repair that worked.
fn effects(action: &Action, done: Timestamp, to: Timestamp, batches: &[Batch]) -> Vec<Effect> {
    let charted = Charted::ALL.into_iter().find(|charted| Some(charted.key()) == action.figure.as_deref());
    let Some((charted, machine)) = charted.zip(action.machine.as_ref()) else { return Vec::new() };
    let mine: Vec<&Batch> = batches.iter().filter(|batch| batch.machine == *machine).collect();
    let couvertures: BTreeSet<&CouvertureId> = mine.iter().map(|batch| &batch.couverture).collect();
    let of_one = |couverture: &CouvertureId| {
        let values = |is_in: &dyn Fn(Timestamp) -> bool| -> Vec<f64> {
            mine.iter()
                .filter(|batch| batch.couverture == *couverture && is_in(super::anchor(batch)))
                .filter_map(|batch| charted.of(batch))
                .collect()
        };
        let mut before = values(&|at| at < done);
        let before = before.split_off(before.len().saturating_sub(BEFORE));
        let mut after = values(&|at| done <= at && at < to);
        after.truncate(AFTER);
        Effect::of(charted, couverture.clone(), &before, &after)
    };
    let mut effects: Vec<Effect> = couvertures.into_iter().map(of_one).collect();
    // What has not been made since cannot have changed, unless nothing has.
    if effects.iter().any(|effect| effect.after.is_some()) {
        effects.retain(|effect| effect.after.is_some());
    }
    effects
}

#[cfg(test)]
mod tests {
    use super::*;

    fn effect(before: &[f64], after: &[f64]) -> Effect {
        Effect::of(Charted::CoolingMinutes, "dark-64".parse().unwrap(), before, after)
    }

    #[test]
    fn a_change_takes_as_many_batches_as_chance_asks_for() {
        // Two of C(6, 3) = 20 choices are as one-sided as three below three: chance does that once in ten.
        assert_eq!(effect(&[80.0, 81.0, 82.0], &[60.0, 61.0, 62.0]).changed(), None);
        assert_eq!(effect(&[80.0, 81.0, 82.0, 83.0], &[60.0, 61.0, 62.0, 63.0]).changed(), Some(true));
        // A median of three is no known median: five after on one side of it may still be chance.
        assert_eq!(effect(&[70.0, 80.0, 60.0], &[62.0, 64.0, 66.0, 68.0, 69.0]).changed(), Some(false));
        assert_eq!(effect(&[70.0; 9], &[70.0; 9]).changed(), Some(false));
        assert_eq!(effect(&[70.0; 9], &[]).changed(), None);
    }
}

//! Actions, and whether they worked: the figure before against the figure after, with both numbers of batches.
//!
//! A difference is called one only when every value after lies on one side of the median before often enough that chance
//! would seldom do it (sign test). Three batches after a repair can look better by chance one time in eight.

use model::{Batch, Timestamp};
use records::Action;

use super::{Charted, IsoWeek, View};

/// As many batches before are looked at.
const BEFORE: usize = 20;

/// A sign test below this is called a change.
const P: f64 = 0.05;

/// Before and after.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// Which figure.
    pub charted: Charted,
    /// Median before, and of how many batches.
    pub before: Option<(f64, usize)>,
    /// Median after, and of how many.
    pub after: Option<(f64, usize)>,
    /// Probability of so one-sided an after by chance; `None` with too few.
    pub p: Option<f64>,
}

impl Effect {
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
    /// Before and after, where it names a figure and is done.
    pub effect: Option<Effect>,
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
                effect: done.and_then(|done| effect(action, done, view.to, batches)),
                is_done_since: done != action.done,
                action: Action { done, ..action.clone() },
            }
        })
        .collect();
    rows.sort_by_key(|row| (row.action.done.is_some(), row.action.opened));
    rows
}

fn effect(action: &Action, done: Timestamp, to: Timestamp, batches: &[Batch]) -> Option<Effect> {
    let charted = Charted::ALL.into_iter().find(|charted| Some(charted.key()) == action.figure.as_deref())?;
    let machine = action.machine.as_ref()?;
    let values = |is_in: &dyn Fn(Timestamp) -> bool| -> Vec<f64> {
        batches
            .iter()
            .filter(|batch| batch.machine == *machine && is_in(super::anchor(batch)))
            .filter_map(|batch| charted.of(batch))
            .collect()
    };
    let mut before = values(&|at| at < done);
    let before = before.split_off(before.len().saturating_sub(BEFORE));
    let after = values(&|at| done <= at && at < to);
    let middle = |values: &[f64]| maths::statistics::median(values).map(|median| (median, values.len()));
    let p = middle(&before)
        .filter(|(_, n)| crate::FEWEST_BATCHES <= *n)
        .and_then(|(median, _)| sign_test(&after, median));
    Some(Effect { charted, before: middle(&before), after: middle(&after), p })
}

/// Probability of at least so many values on one side of `median` by chance, both sides counted; `None` below five
/// values, where no outcome is rare enough.
fn sign_test(values: &[f64], median: f64) -> Option<f64> {
    let above = values.iter().filter(|value| median < **value).count();
    let below = values.iter().filter(|value| **value < median).count();
    let n = above + below;
    if n < 5 {
        return None;
    }
    let extreme = above.max(below);
    let mut choose = 1.0;
    let mut tail = 0.0;
    for k in 0..=n {
        if extreme <= k {
            tail += choose;
        }
        choose = choose * (n - k) as f64 / (k + 1) as f64;
    }
    Some((2.0 * tail / 2f64.powi(i32::try_from(n).ok()?)).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_of_six_are_no_chance_and_four_are_too_few() {
        // Sign test: two sides of six alike come in 2/64 of all cases.
        assert_eq!(sign_test(&[60.0; 6], 70.0), Some(2.0 / 64.0));
        assert_eq!(sign_test(&[60.0; 4], 70.0), None);
        assert_eq!(sign_test(&[60.0, 80.0, 61.0, 79.0, 70.0, 70.0], 70.0), None, "ties say nothing");
    }
}

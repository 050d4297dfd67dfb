//! When nothing was heard of a machine: what was hidden by it, and whether others fell silent with it.
//!
//! A finding needs a clock that goes on: where the whole works falls silent at once, a recording has none, and only the hole in the courses
//! tells.

use model::{Channel, FindingKind, Phase, Span, Timestamp};

use crate::day::view::{Seen, machines};
use crate::day::{DayRecord, STEP};

/// A hole in the courses from here on is no slow sender (start value, common practice, no source).
const HOLE: Span = Span::from_mins(10);

/// Machines that fell silent together.
pub(super) struct Cut {
    /// When this one did.
    pub(super) from: Timestamp,
    /// How many did.
    pub(super) machines: usize,
}

/// From when to when; `None` where it goes on.
type Silence = (Timestamp, Option<Timestamp>);

/// What was found silent, and holes in the chocolate's course where it usually has none.
pub(super) fn silences(seen: &Seen<'_>) -> Vec<Silence> {
    let silent = seen.record.findings.iter().filter(|finding| finding.kind == FindingKind::Silent);
    let mut all: Vec<Silence> = silent.map(|finding| (finding.from, finding.to)).collect();
    let with_holes = seen.past.iter().filter(|earlier| !holes(earlier).is_empty()).count();
    if 3 * with_holes <= seen.past.len() {
        all.extend(holes(seen.record));
    }
    all
}

fn holes(record: &DayRecord) -> Vec<Silence> {
    let Some((from, to)) = record.in_use() else { return Vec::new() };
    let means = record.courses.between(Channel::Chocolate, from, to);
    let pairs = means.windows(2).filter_map(|pair| {
        let [(before, _), (at, _)] = pair else { return None };
        let since = *before + STEP;
        (HOLE <= *at - since).then_some((since, Some(*at)))
    });
    pairs.collect()
}

/// Was nothing known for a while of the time in which seed goes in?
pub(super) fn hid_the_way_down(seen: &Seen<'_>, (began, over): Silence) -> bool {
    let way_down = seen.record.batch.first(Phase::Cooling).map(|span| span.from);
    let landed = seen.record.batch.first(Phase::Working).map(|span| span.from);
    let began_before = landed.is_none_or(|landed| began < landed);
    let ended_after = way_down.is_none_or(|from| over.is_none_or(|over| from < over));
    began_before && ended_after
}

/// The silence of this batch that other machines shared, if it is none of those that it has every day.
pub(super) fn cut(seen: &Seen<'_>, day: &[Seen<'_>]) -> Option<Cut> {
    let is_usual = seen.record.findings.iter().any(|found| found.kind == FindingKind::Silent)
        && !seen.found(FindingKind::Silent);
    let begins_before = |from: Timestamp, to: Option<Timestamp>| to.is_none_or(|to| from < to);
    let shared = silences(seen).into_iter().find_map(|(from, to)| {
        let shares = |other: &&Seen<'_>| {
            silences(other).iter().any(|other| begins_before(other.0, to) && begins_before(from, other.1))
        };
        let machines = machines(day.iter().filter(shares));
        (2 <= machines).then_some(Cut { from, machines })
    });
    shared.filter(|_| !is_usual)
}

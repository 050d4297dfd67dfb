//! From readings to what can be drawn: runs without gaps, thinned to what a column of pixels can show.
//!
//! A day at one reading a second has more points than the widest screen has pixels. Of each column of four pixels stay
//! its first, last, lowest and highest point: never more points than pixels, and no peak is lost.
//!
//! Never averages, never bridges a gap: where nothing is known, nothing is drawn.

use model::{Span, Timestamp};

/// A gap is at least so long, as for the finding `silent`.
const SHORTEST_GAP: Span = Span::from_secs(60);

/// A gap is at least so many usual intervals, as for the finding `silent`.
const INTERVALS_A_GAP: i64 = 5;

/// A known point: milliseconds since 1970 and value.
pub(crate) type Point = (i64, f64);

/// Readings cut at their gaps.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Runs {
    pub(crate) runs: Vec<Vec<Point>>,
    /// Between two runs.
    pub(crate) gaps: Vec<(Timestamp, Timestamp)>,
    /// Usual time between two readings.
    pub(crate) interval: Span,
}

impl Runs {
    /// From the first to the last known reading.
    pub(crate) fn known(&self) -> Option<(Timestamp, Timestamp)> {
        let first = self.runs.first()?.first()?.0;
        let last = self.runs.last()?.last()?.0;
        Some((Timestamp::from_millis(first), Timestamp::from_millis(last)))
    }

    /// A longer silence is a gap.
    pub(crate) fn longest_silence(&self) -> Span {
        SHORTEST_GAP.max(self.interval * INTERVALS_A_GAP)
    }
}

/// Cuts readings, sorted by time, wherever nothing was known for longer than usual.
pub(crate) fn runs(readings: &[(Timestamp, Option<f64>)]) -> Runs {
    let known: Vec<(Timestamp, f64)> = readings
        .iter()
        .filter_map(|(at, value)| value.filter(|value| value.is_finite()).map(|value| (*at, value)))
        .collect();
    let interval = usual_interval(readings);
    let mut found = Runs { interval, ..Runs::default() };
    let longest = found.longest_silence();
    for (place, (at, value)) in known.iter().enumerate() {
        let before = place.checked_sub(1).map(|before| known[before].0);
        match before {
            Some(before) if *at - before <= longest => {}
            Some(before) => {
                found.gaps.push((before, *at));
                found.runs.push(Vec::new());
            }
            None => found.runs.push(Vec::new()),
        }
        let run = found.runs.last_mut().expect("the first reading opened a run");
        run.push((at.as_millis(), *value));
    }
    found
}

fn usual_interval(readings: &[(Timestamp, Option<f64>)]) -> Span {
    let mut steps: Vec<Span> = readings.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    if steps.is_empty() {
        return Span::ZERO;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable(middle).1
}

/// Of each column the first, last, lowest and highest point, in their order.
pub(crate) fn thin(points: &[Point], column: impl Fn(i64) -> i64) -> Vec<Point> {
    let mut kept = Vec::new();
    for in_column in points.chunk_by(|a, b| column(a.0) == column(b.0)) {
        let places = 0..in_column.len();
        let by_value = |a: &usize, b: &usize| in_column[*a].1.total_cmp(&in_column[*b].1);
        let lowest = places.clone().min_by(by_value).unwrap_or(0);
        let highest = places.clone().max_by(by_value).unwrap_or(0);
        let mut stay = [0, lowest, highest, in_column.len() - 1];
        stay.sort_unstable();
        let mut last = None;
        for place in stay {
            if last != Some(place) {
                kept.push(in_column[place]);
            }
            last = Some(place);
        }
    }
    kept
}

/// The parts of a line that lie between `low` and `high`, cut where it crosses.
pub(crate) fn clip(points: &[Point], low: f64, high: f64) -> Vec<Vec<Point>> {
    if let [lone] = points {
        return if low <= lone.1 && lone.1 <= high { vec![vec![*lone]] } else { Vec::new() };
    }
    let mut parts: Vec<Vec<Point>> = Vec::new();
    for pair in points.windows(2) {
        let Some((start, end)) = visible(pair[0], pair[1], low, high) else { continue };
        match parts.last_mut() {
            Some(open) if open.last() == Some(&start) => open.push(end),
            Some(_) | None => parts.push(vec![start, end]),
        }
    }
    parts
}

/// The part of the line from `a` to `b` that lies between `low` and `high`.
fn visible(a: Point, b: Point, low: f64, high: f64) -> Option<(Point, Point)> {
    let rise = b.1 - a.1;
    if rise == 0.0 {
        return (low <= a.1 && a.1 <= high).then_some((a, b));
    }
    let share_of = |level: f64| (level - a.1) / rise;
    let (enter, leave) = if 0.0 < rise { (low, high) } else { (high, low) };
    if share_of(enter) > 1.0 || share_of(leave) < 0.0 {
        return None;
    }
    let cut = |level: f64| (a.0 + ((b.0 - a.0) as f64 * share_of(level)).round() as i64, level);
    let start = if share_of(enter) <= 0.0 { a } else { cut(enter) };
    let end = if 1.0 <= share_of(leave) { b } else { cut(leave) };
    Some((start, end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    #[test]
    fn a_silence_is_a_gap_and_a_lone_missing_reading_is_not() {
        let mut readings: Vec<_> = (0..100).map(|s| (at(s), Some(31.0))).collect();
        readings[50].1 = None;
        readings.extend((300..400).map(|s| (at(s), Some(31.5))));
        let found = runs(&readings);
        assert_eq!(found.runs.iter().map(Vec::len).collect::<Vec<_>>(), [99, 100]);
        assert_eq!(found.gaps, [(at(99), at(300))]);
        assert_eq!(found.interval, Span::from_secs(1));
    }

    #[test]
    fn a_long_row_of_missing_readings_is_a_gap() {
        let readings: Vec<_> =
            (0..300).map(|s| (at(s), (!(100..200).contains(&s)).then_some(31.0))).collect();
        assert_eq!(runs(&readings).gaps, [(at(99), at(200))]);
    }

    #[test]
    fn a_line_is_cut_at_the_edges() {
        let line = [(0, 0.0), (10, 10.0), (20, 0.0)];
        assert_eq!(clip(&line, 2.0, 8.0), [vec![(2, 2.0), (8, 8.0)], vec![(12, 8.0), (18, 2.0)]]);
        assert_eq!(clip(&line, -1.0, 11.0), [line.to_vec()]);
        assert_eq!(clip(&line, 20.0, 30.0), Vec::<Vec<Point>>::new());
        assert_eq!(clip(&[(0, 5.0), (10, 15.0)], 0.0, 10.0), [vec![(0, 5.0), (5, 10.0)]]);
        assert_eq!(
            clip(&[(0, 15.0), (10, 5.0), (20, 6.0)], 0.0, 10.0),
            [vec![(5, 10.0), (10, 5.0), (20, 6.0)]]
        );
    }

    proptest! {
        /// Thinning to any width loses neither the extremes nor the ends, keeps the order, and asks for at most four
        /// points a column.
        #[test]
        fn thinning_keeps_what_can_be_seen(values in prop::collection::vec(-40.0..120.0_f64, 1..600), width in 1_i64..200) {
            let points: Vec<Point> = (0_i64..).zip(values.iter().copied()).collect();
            let column = |at: i64| at * width / values.len() as i64;
            let kept = thin(&points, column);
            for place in 0..width {
                let whole = points.iter().filter(|p| column(p.0) == place).map(|p| p.1);
                let thinned: Vec<f64> = kept.iter().filter(|p| column(p.0) == place).map(|p| p.1).collect();
                prop_assert!(thinned.len() <= 4);
                prop_assert_eq!(whole.clone().reduce(f64::min), thinned.iter().copied().reduce(f64::min));
                prop_assert_eq!(whole.reduce(f64::max), thinned.iter().copied().reduce(f64::max));
            }
            prop_assert!(kept.is_sorted_by_key(|p| p.0));
            prop_assert_eq!(kept.first(), points.first());
            prop_assert_eq!(kept.last(), points.last());
        }

        /// Whatever the line, no part of it leaves the panel.
        #[test]
        fn nothing_is_drawn_outside(values in prop::collection::vec(0.0..50.0_f64, 1..60)) {
            let points: Vec<Point> = (0_i64..).map(|n| n * 1000).zip(values).collect();
            let parts = clip(&points, 20.0, 30.0);
            prop_assert!(parts.iter().flatten().all(|p| (20.0..=30.0).contains(&p.1)));
            let inside = points.iter().filter(|p| (20.0..=30.0).contains(&p.1)).count();
            let kept = parts.iter().flatten().filter(|p| points.contains(p)).count();
            prop_assert_eq!(inside, kept);
        }
    }
}

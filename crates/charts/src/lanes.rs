//! The lanes above and beneath the curves: findings, events, phases, hours.
//!
//! Findings and events are packed into as few rows as keep their words apart. What finds no room is counted in words,
//! never dropped in silence.
//!
//! Never invents a word: kinds, phases and events are called as the contract calls them.

use jiff::tz::TimeZone;
use model::{Event, EventKind, Finding, Grade, Phase, PhaseSpan, Priority, Timestamp};

use crate::canvas::{Canvas, Hold, Shape};
use crate::degrees::Degrees;
use crate::ink::text_width;
use crate::mass::kilograms;
use crate::palette::Role;
use crate::panel::TimeAxis;
use crate::ticks::{clock_changes, time_ticks};

/// Distance between a shape and its word.
const WORD_GAP: f64 = 8.0;

/// Free pixels between neighbours in a row.
const FLAG_GAP: f64 = 8.0;

/// A shape with its word at a moment, and how long it lasted.
#[derive(Debug, Clone)]
pub(crate) struct Flag {
    pub(crate) at: Timestamp,
    pub(crate) lasts: Option<(Timestamp, Timestamp)>,
    pub(crate) shape: Shape,
    pub(crate) word: String,
    pub(crate) role: Role,
    /// Lower comes first where rows are scarce.
    pub(crate) rank: u8,
}

/// The shape, colour and rank of a priority.
pub(crate) fn priority_mark(priority: Priority) -> (Shape, Role, u8) {
    match priority {
        Priority::High => (Shape::TriangleUp, Role::High, 0),
        Priority::Medium => (Shape::Diamond, Role::Medium, 1),
        Priority::Low => (Shape::Ring, Role::Low, 2),
    }
}

/// A finding as a flag; one that goes on lasts until `seen_to`.
pub(crate) fn finding_flag(finding: &Finding, seen_to: Timestamp) -> Flag {
    let (shape, role, rank) = priority_mark(finding.priority);
    Flag {
        at: finding.raised_at,
        lasts: Some((finding.from, finding.to.unwrap_or(seen_to).max(finding.raised_at))),
        shape,
        word: finding.kind.title().to_owned(),
        role,
        rank,
    }
}

/// An event as a flag.
pub(crate) fn event_flag(event: &Event, degrees: Degrees) -> Flag {
    let kilos = |mass: &Option<f64>| mass.map(|kg| format!(" {}", kilograms(kg))).unwrap_or_default();
    let (shape, word) = match &event.kind {
        EventKind::Charge { mass_kg, .. } => (Shape::TriangleRight, format!("charge{}", kilos(mass_kg))),
        EventKind::Seed { mass_kg, .. } => (Shape::TriangleDown, format!("seed{}", kilos(mass_kg))),
        EventKind::TopUp { mass_kg, .. } => (Shape::Plus, format!("top-up{}", kilos(mass_kg))),
        EventKind::TemperTest(test) => {
            let shape = match test.worst() {
                Grade::Good => Shape::Square,
                Grade::Fair => Shape::Ring,
                Grade::Poor => Shape::Cross,
            };
            (shape, format!("test: {}", test.worst().as_str()))
        }
        EventKind::Reference { temperature } => {
            (Shape::Bar, format!("by hand {:.1} {}", degrees.of(*temperature), degrees.unit()))
        }
        EventKind::Note { .. } => (Shape::Bar, "note".to_owned()),
        EventKind::End => (Shape::Square, "end".to_owned()),
    };
    Flag { at: event.at, lasts: None, shape, word, role: Role::Event, rank: event_rank(&event.kind) }
}

/// Who keeps their room where there is little: a test that did not pass before all, a note after all.
fn event_rank(kind: &EventKind) -> u8 {
    match kind {
        EventKind::TemperTest(test) if test.worst() != Grade::Good => 0,
        EventKind::TemperTest(_) => 1,
        EventKind::Charge { .. } | EventKind::Seed { .. } | EventKind::TopUp { .. } | EventKind::End => 2,
        EventKind::Reference { .. } | EventKind::Note { .. } => 3,
    }
}

/// Where the word of a flag goes.
struct Placed<'f> {
    flag: &'f Flag,
    row: usize,
    word_left: bool,
}

/// Flags in rows.
pub(crate) struct Packed<'f> {
    placed: Vec<Placed<'f>>,
    pub(crate) rows: usize,
    /// Flags that found no row.
    pub(crate) left_out: usize,
}

/// Puts flags into at most `most` rows, by rank and then by time.
pub(crate) fn pack<'f>(flags: &'f [Flag], time: &TimeAxis, letters: f64, most: usize) -> Packed<'f> {
    let mut order: Vec<&Flag> = flags.iter().filter(|flag| is_in_sight(flag, time)).collect();
    order.sort_by_key(|flag| (flag.rank, flag.at));
    let mut rows: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut packed = Packed { placed: Vec::new(), rows: 0, left_out: 0 };
    for flag in order {
        let (word_left, left, right) = extent(flag, time, letters);
        let free =
            |row: &Vec<(f64, f64)>| row.iter().all(|(l, r)| right + FLAG_GAP <= *l || *r + FLAG_GAP <= left);
        let row = match rows.iter().position(free) {
            Some(row) => row,
            None if rows.len() < most => {
                rows.push(Vec::new());
                rows.len() - 1
            }
            None => {
                packed.left_out += 1;
                continue;
            }
        };
        rows[row].push((left, right));
        packed.placed.push(Placed { flag, row, word_left });
    }
    packed.rows = rows.len();
    packed
}

fn is_in_sight(flag: &Flag, time: &TimeAxis) -> bool {
    match flag.lasts {
        Some((from, to)) => from <= time.to && time.from <= to,
        None => time.holds(flag.at),
    }
}

/// Is the word to the left of the shape, and from where to where does the flag need room?
fn extent(flag: &Flag, time: &TimeAxis, letters: f64) -> (bool, f64, f64) {
    let x = time.x(flag.at);
    let word = WORD_GAP + text_width(&flag.word, letters);
    let word_left = time.right + 4.0 < x + word;
    let (mut left, mut right) = (x - 6.0, x + 6.0);
    if word_left {
        left = x - word;
    } else {
        right = x + word;
    }
    if let Some((from, to)) = flag.lasts {
        left = left.min(time.x(from));
        right = right.max(time.x(to));
    }
    (word_left, left, right)
}

impl Packed<'_> {
    /// Draws the rows downwards from `top`, each `row_height` high.
    pub(crate) fn draw(&self, canvas: &Canvas<'_>, time: &TimeAxis, top: f64, row_height: f64, letters: f64) {
        for Placed { flag, row, word_left } in &self.placed {
            let y = top + (*row as f64 + 0.5) * row_height;
            let x = time.x(flag.at);
            if let Some((from, to)) = flag.lasts {
                let bar_y = y + row_height * 0.5 - 2.0;
                canvas.line(
                    (time.x(from), bar_y),
                    (time.x(to).max(time.x(from) + 2.0), bar_y),
                    flag.role,
                    2.0,
                );
            }
            canvas.shape(flag.shape, (x, y - 1.0), 5.0, flag.role);
            let (hold, word_x) =
                if *word_left { (Hold::Right, x - WORD_GAP) } else { (Hold::Left, x + WORD_GAP) };
            canvas.text(&flag.word, word_x, y - 1.0, letters, hold, flag.role);
        }
    }
}

/// The ground of a phase in the strip.
fn phase_ground(phase: Phase) -> Role {
    match phase {
        Phase::Idle => Role::PhaseQuiet,
        Phase::Melting | Phase::Soak => Role::PhaseWarm,
        Phase::Cooling | Phase::Rewarming => Role::PhaseCooling,
        Phase::Settling => Role::Working,
        Phase::Working => Role::PhaseWorking,
    }
}

/// The strip of phases, hatched where nothing was known, as the panels are; a phase whose word finds no room keeps its ground and its
/// borders.
pub(crate) fn draw_phases(
    canvas: &Canvas<'_>,
    phases: &[PhaseSpan],
    gaps: &[(Timestamp, Timestamp)],
    time: &TimeAxis,
    seen_to: Timestamp,
    (top, bottom): (f64, f64),
    letters: f64,
) {
    let gaps: Vec<(f64, f64)> =
        gaps.iter().map(|(from, to)| (time.x(*from), time.x(*to))).filter(|(x0, x1)| 1.0 < x1 - x0).collect();
    for span in phases {
        let to = span.to.unwrap_or(seen_to);
        if to <= time.from || time.to <= span.from {
            continue;
        }
        let (x0, x1) = (time.x(span.from), time.x(to));
        canvas.fill(x0, top, x1, bottom, phase_ground(span.phase));
        canvas.line((x0, top), (x0, bottom), Role::Faint, 1.0);
        let word = span.phase.as_str();
        let (x0, x1) = widest_between((x0, x1), &gaps);
        if text_width(word, letters) + 6.0 <= x1 - x0 {
            canvas.text(word, (x0 + x1) / 2.0, (top + bottom) / 2.0, letters, Hold::Middle, Role::Ink);
        }
    }
    for (x0, x1) in gaps {
        canvas.hatch(x0, top, x1, bottom, Role::Gap);
    }
    canvas.frame(time.left, top, time.right, bottom, Role::Faint);
}

/// The widest part of `(left, right)` outside `gaps`, which are sorted.
fn widest_between((left, right): (f64, f64), gaps: &[(f64, f64)]) -> (f64, f64) {
    let ends = gaps.iter().map(|(x0, _)| *x0).chain([right]);
    let begins = [left].into_iter().chain(gaps.iter().map(|(_, x1)| *x1));
    let parts = begins.zip(ends).map(|(begin, end)| (begin.max(left), end.min(right)));
    parts.max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0))).unwrap_or((left, right))
}

/// The hours beneath everything, the dates beneath them, and clock changes in words.
pub(crate) fn draw_hours(
    canvas: &Canvas<'_>,
    time: &TimeAxis,
    zone: &TimeZone,
    most: usize,
    top: f64,
    letters: f64,
) {
    // Where a text around `x` stands without leaving the sheet, and half its width.
    let held = |text: &str, x: f64, left: f64| {
        let half = text_width(text, letters) / 2.0;
        (x.clamp(left + half, (time.right - half).max(left + half)), half)
    };
    let mut date_free_from = f64::NEG_INFINITY;
    for tick in time_ticks(time.from, time.to, zone, most) {
        let x = time.x(tick.at);
        canvas.line((x, top), (x, top + 4.0), Role::Quiet, 1.0);
        let (place, _) = held(&tick.time, x, 1.0);
        canvas.text(&tick.time, place, top + 12.0, letters, Hold::Middle, Role::Quiet);
        let Some(date) = tick.date else { continue };
        let (place, half) = held(&date, x, 1.0);
        if date_free_from <= place - half {
            canvas.text(&date, place, top + 27.0, letters, Hold::Middle, Role::Ink);
            date_free_from = place + half + FLAG_GAP;
        }
    }
    for change in clock_changes(time.from, time.to, zone) {
        let x = time.x(change.at);
        let (place, _) = held(&change.says, x, time.left);
        canvas.shape(Shape::TriangleUp, (x, top + 28.0), 4.5, Role::Ink);
        canvas.text(&change.says, place, top + 42.0, letters, Hold::Middle, Role::Ink);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time() -> TimeAxis {
        TimeAxis { from: at(0), to: at(1000), left: 0.0, right: 1000.0 }
    }

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    fn flag(seconds: i64, word: &str, rank: u8) -> Flag {
        Flag {
            at: at(seconds),
            lasts: None,
            shape: Shape::Plus,
            word: word.to_owned(),
            role: Role::Event,
            rank,
        }
    }

    #[test]
    fn words_that_would_touch_go_to_another_row() {
        let flags = [flag(100, "seed", 0), flag(110, "top-up", 0), flag(500, "end", 0)];
        let packed = pack(&flags, &time(), 12.0, 3);
        let rows: Vec<usize> = packed.placed.iter().map(|placed| placed.row).collect();
        assert_eq!((rows, packed.left_out), (vec![0, 1, 0], 0));
    }

    #[test]
    fn the_most_urgent_keep_their_row_and_the_rest_is_counted() {
        let flags = [flag(100, "hot room", 2), flag(101, "temper loss", 0), flag(102, "warm hold", 1)];
        let packed = pack(&flags, &time(), 12.0, 1);
        assert_eq!(packed.placed[0].flag.word, "temper loss");
        assert_eq!(packed.left_out, 2);
    }

    #[test]
    fn a_failed_test_has_its_word_however_crowded_it_is() {
        let event = |seconds: i64, kind: EventKind| Event {
            machine: "alder".parse().unwrap(),
            at: at(seconds),
            by: None,
            kind,
            raw: String::new(),
        };
        let note = |seconds| event(seconds, EventKind::Note { text: "lid".to_owned() });
        let poor = model::TemperTest {
            gloss: Grade::Poor,
            contraction: Grade::Poor,
            snap: Grade::Poor,
            minutes: None,
        };
        let events = [note(500), note(502), note(504), note(506), event(508, EventKind::TemperTest(poor))];
        let flags: Vec<Flag> = events.iter().map(|event| event_flag(event, Degrees::Celsius)).collect();
        let packed = pack(&flags, &time(), 12.0, 3);
        assert!(packed.placed.iter().any(|placed| placed.flag.word == "test: poor"));
        assert_eq!(packed.left_out, 2);
    }

    #[test]
    fn a_word_at_the_right_edge_stands_to_the_left() {
        let flags = [flag(990, "temper loss", 0)];
        assert!(pack(&flags, &time(), 12.0, 1).placed[0].word_left);
    }
}

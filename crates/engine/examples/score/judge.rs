//! Findings against conditions: which were found, how late, and which findings nothing explains.
//!
//! - A sure condition is found by a finding of its kind whose time overlaps it, from [`before`] the condition's beginning to
//!   the tolerance behind its end. The earliest one counts. One that was raised before the condition began (it is still
//!   open from the one before) finds it without a delay.
//! - The delay is from the moment at which the definition was met (the contract's on-delay is in it) to `raised_at`. In time
//!   is: not more than [`tolerance`] after it was met by so much that the probe can tell, and not before the condition began less
//!   [`before`].
//! - A finding is false if no condition of its kind, sure or borderline, overlaps it and no cause that was planted and can
//!   lead to it was at work in the two hours before it was raised.
//! - What began before somebody listened is not asked for, and explains all the same.

use model::{Channel, Finding, FindingKind, Phase, Span, Timestamp};
use simulator::scoring::may_raise;
use simulator::{Condition, MachineTruth};

/// Two ticks of the slower grid, and what a reading needs at the most on an ordinary way.
const TICKS: Span = Span::from_secs(10);
/// Findings of a machine that has neither set-point nor events may be held back so long while it rises (contract, section 6).
const HELD_BACK: Span = Span::from_mins(20);
/// A planted cause explains what comes of it for so long.
const AFTERMATH: Span = Span::from_hours(2);
/// How much earlier than the true beginning noise may make it look.
const NOISE: Span = Span::from_mins(2);

/// A sure condition and what became of it.
pub(crate) struct Outcome<'a> {
    pub(crate) condition: &'a Condition,
    pub(crate) found: Option<&'a Finding>,
    /// `raised_at` less due, seconds; `None` where the finding stood already.
    pub(crate) delay_s: Option<f64>,
    pub(crate) in_time: bool,
}

/// How a machine's findings stand to what was true of it.
pub(crate) struct Judgement<'a> {
    pub(crate) outcomes: Vec<Outcome<'a>>,
    pub(crate) falses: Vec<&'a Finding>,
}

pub(crate) fn judge<'a>(
    truth: &MachineTruth,
    heard_from: Timestamp,
    conditions: &'a [Condition],
    findings: &'a [Finding],
) -> Judgement<'a> {
    let outcomes = conditions
        .iter()
        .filter(|c| c.is_sure() && asked_for(truth, heard_from, c))
        .map(|condition| outcome(truth, condition, findings))
        .collect();
    let falses = findings.iter().filter(|f| !explained(truth, conditions, f)).collect();
    Judgement { outcomes, falses }
}

/// What began before somebody listened is not asked for; nor what needs a beginning that nobody heard.
fn asked_for(truth: &MachineTruth, heard_from: Timestamp, condition: &Condition) -> bool {
    let needs_the_batch = match condition.kind {
        FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Thickening
        | FindingKind::LongHold
        | FindingKind::TestDue => true,
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::Hunting
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::HeaterStuck
        | FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade
        | FindingKind::CommonCause => false,
    };
    let batch = truth.batches.iter().rfind(|b| b.start <= condition.from);
    let batch_heard =
        batch.is_none_or(|b| b.phases.iter().all(|p| p.phase != Phase::Working || p.from > heard_from));
    condition.from >= heard_from && (!needs_the_batch || batch_heard)
}

fn outcome<'a>(truth: &MachineTruth, condition: &'a Condition, findings: &'a [Finding]) -> Outcome<'a> {
    let late = tolerance(truth, condition.kind);
    let early = before(truth);
    let fits = |f: &&Finding| {
        f.kind == condition.kind
            && f.raised_at <= condition.to.max(condition.latest) + late
            && f.to.is_none_or(|to| to >= condition.from - early)
            && (f.raised_at >= condition.from - early || f.to.is_none_or(|to| to > condition.from))
    };
    let found = findings.iter().filter(fits).min_by_key(|f| f.raised_at);
    let stood = found.is_some_and(|f| f.raised_at < condition.from - early);
    let delay_s = found.filter(|_| !stood).map(|f| delay(condition, f));
    let in_time_s = (late + condition.latest.since(condition.due)).as_secs_f64();
    let in_time = found.is_some() && delay_s.is_none_or(|d| d <= in_time_s);
    Outcome { condition, found, delay_s, in_time }
}

/// A clock that is wrong shifts the moment at which it is told.
fn delay(condition: &Condition, finding: &Finding) -> f64 {
    let plain = finding.raised_at.since(condition.due).as_secs_f64();
    if condition.kind == FindingKind::ClockOff && (plain - condition.worst).abs() < plain.abs() {
        plain - condition.worst
    } else {
        plain
    }
}

fn explained(truth: &MachineTruth, conditions: &[Condition], finding: &Finding) -> bool {
    let slack = before(truth) + tolerance(truth, finding.kind);
    let shift = |c: &Condition| {
        if c.kind == FindingKind::ClockOff {
            Span::from_millis((c.worst.abs() * 1000.0) as i64)
        } else {
            Span::ZERO
        }
    };
    let by_condition = conditions.iter().any(|c| {
        c.kind == finding.kind
            && finding.raised_at >= c.from - slack - shift(c)
            && finding.from <= c.to + slack + shift(c)
    });
    let by_cause = truth.faults.iter().any(|fault| {
        may_raise(fault.kind).contains(&finding.kind) && fault.was_at_work(finding.raised_at, AFTERMATH)
    });
    by_condition || by_cause
}

fn has(truth: &MachineTruth, channel: Channel) -> bool {
    truth.instruments.channels.contains(&channel)
}

/// How much earlier than true a condition may seem to begin: noise, and one sample.
pub(crate) fn before(truth: &MachineTruth) -> Span {
    NOISE + Span::from_millis((1_000.0 * truth.instruments.sample_s) as i64)
}

/// How much later than its definition a finding may come: two ticks, the probe's own lag, a sample and a half, and for
/// some kinds what the definition itself leaves open.
pub(crate) fn tolerance(truth: &MachineTruth, kind: FindingKind) -> Span {
    let instruments = &truth.instruments;
    let (sample_s, lag_s) = match kind {
        FindingKind::StirrerStopped
        | FindingKind::Thickening
        | FindingKind::HotRoom
        | FindingKind::DampRoom => (instruments.slow_sample_s, 0.0),
        FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff => (instruments.sample_s, 0.0),
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Hunting
        | FindingKind::LongHold
        | FindingKind::Solidifying
        | FindingKind::HeaterStuck
        | FindingKind::TestDue
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade
        | FindingKind::CommonCause => (instruments.sample_s, instruments.lag_s),
    };
    let open = match kind {
        // A hold's own noise needs averaging; CUSUM has to signal as well.
        FindingKind::HoldDrift => Span::from_mins(10),
        // Half a swing may pass until a turn is seen to be one.
        FindingKind::Hunting => Span::from_mins(8),
        // How long "rising" takes to be seen.
        FindingKind::HeaterStuck | FindingKind::Thickening => Span::from_mins(3),
        // They count from the beginning of working, which has two minutes of its own.
        FindingKind::SeedMissed | FindingKind::LongHold | FindingKind::TestDue => Span::from_mins(2),
        // Counted in batches, not in minutes.
        FindingKind::ProbeDrift | FindingKind::CoolingFade => Span::from_hours(100),
        FindingKind::CommonCause => Span::from_mins(5),
        FindingKind::TemperLoss | FindingKind::WarmHold | FindingKind::Scorch if rises_alone(truth) => {
            HELD_BACK
        }
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom => Span::ZERO,
    };
    TICKS + open + Span::from_millis((1000.0 * (lag_s + 1.5 * sample_s)) as i64)
}

fn rises_alone(truth: &MachineTruth) -> bool {
    !has(truth, Channel::Setpoint) && truth.told.is_empty()
}

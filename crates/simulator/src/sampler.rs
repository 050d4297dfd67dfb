//! What a machine says: when it samples, what its recorded probe makes of the charge, and which channels it has.

use model::{Channel, Span, Timestamp};
use wire::Message;

use crate::dice::Dice;
use crate::network::{Line, Network};
use crate::probe::{Around, Probe, rounded};
use crate::reporter::{Reporter, Said};
use crate::spec::{Spec, Wording};
use crate::trouble::{ProbeTrouble, Trouble};

/// Jitter of the sampling clock, milliseconds.
const JITTER_MS: f64 = 20.0;
/// Noise of a jacket's sensor, °C (assumed).
const JACKET_NOISE_C: f64 = 0.03;
/// Motor current a kg of capacity at thickness 1, A; so much of it the empty gear takes (assumed).
const MOTOR_A_PER_KG: f64 = 0.04;
const MOTOR_LEAST_A: f64 = 0.4;
const MOTOR_EMPTY: f64 = 0.45;
/// Current wobbles by ±5 % with the blade's turn (common practice).
const MOTOR_WOBBLE: f64 = 0.02;
/// A stirrer in solid couverture draws at most so much of its usual current before the clutch slips (assumed).
const MOTOR_MOST: f64 = 3.0;
/// A logger that reports on change says something at least this often, seconds.
pub(crate) const HEARTBEAT_S: i64 = 600;
/// Lone jumps: how far, °C, and so many clean samples between two, or they would pass for a step.
const SPIKE_C: (f64, f64) = (3.0, 12.0);
const CLEAN_AFTER_SPIKE: u32 = 4;
/// What the broker kept from some evening before: old, and without a time.
const KEPT: &[u8] = b"29.90";

/// The machine at the moment of a look at the sampling clock.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Instant<'a> {
    pub(crate) now: Timestamp,
    pub(crate) spec: &'a Spec,
    pub(crate) trouble: &'a Trouble,
    pub(crate) setpoint: f64,
    pub(crate) turning: bool,
    pub(crate) wall_c: f64,
    pub(crate) room_c: f64,
    pub(crate) humidity: f64,
    pub(crate) kg: f64,
    pub(crate) thickness: f64,
    pub(crate) heating: bool,
    /// Values are typed by hand.
    pub(crate) by_hand: bool,
}

/// A machine's instruments and its way to the broker.
#[derive(Debug, Clone)]
pub(crate) struct Sampler {
    probe: Probe,
    reporter: Reporter,
    network: Network,
    dice: Dice,
    next_sample: Timestamp,
    next_slow: Timestamp,
    told: (f64, bool),
    reported: Option<(Timestamp, f64)>,
    last_said: f64,
    clean: u32,
}

impl Sampler {
    pub(crate) fn new(
        spec: &Spec,
        root: &str,
        probe: Probe,
        network: Network,
        mut dice: Dice,
        start: Timestamp,
    ) -> Sampler {
        let first_ms = (dice.even() * 1000.0 * spec.instruments.sample_s) as i64;
        let first = start + Span::from_millis(first_ms);
        Sampler {
            last_said: probe.smooth(),
            probe,
            reporter: Reporter::new(root, spec.id.as_str(), &spec.instruments, spec.sends_ohm),
            network,
            dice,
            next_sample: first,
            next_slow: first,
            told: (f64::NAN, false),
            reported: None,
            clean: 0,
        }
    }

    /// A second passes in the charge.
    pub(crate) fn feel(&mut self, seconds: f64, around: &Around) {
        self.probe.step(seconds, around);
    }

    /// Somebody begins to look; the first value is noted at once.
    pub(crate) fn begin_at(&mut self, now: Timestamp) {
        self.next_sample = now;
    }

    /// Sends an event as it is.
    pub(crate) fn send_event(&mut self, line: Line, now: Timestamp, json: String) {
        self.network.send(line, now, self.reporter.event_topic(), json.into_bytes());
    }

    /// Everything that has arrived by `until`.
    pub(crate) fn arrived(&mut self, until: Timestamp, into: &mut Vec<Message>) {
        self.network.arrived(until, into);
    }

    /// The old number that the broker hands to whoever subscribes.
    pub(crate) fn say_what_was_kept(&mut self, spec: &Spec, now: Timestamp) {
        if self.reporter.wording() == Wording::Numbers && !spec.sends_ohm {
            let topic = self.reporter.channel_topic(Channel::Chocolate);
            self.network.send_retained(now, topic, KEPT.to_vec());
        }
    }

    /// Samples and sends, if it is time.
    pub(crate) fn sample(&mut self, here: &Instant<'_>) {
        if here.now < self.next_sample {
            return;
        }
        let mut said = Vec::with_capacity(Channel::ALL.len());
        let value = self.chocolate(here);
        if self.worth_reporting(here, value) {
            said.push(Said { channel: Channel::Chocolate, value });
            if here.spec.has(Channel::Jacket) {
                let value = here.wall_c + JACKET_NOISE_C * self.dice.normal();
                said.push(Said { channel: Channel::Jacket, value: Some(value) });
            }
        }
        let slow = here.now >= self.next_slow;
        if slow || self.told != (here.setpoint, here.turning) {
            self.say_slow_channels(here, slow, &mut said);
        }
        let stamp = self.next_sample + Span::from_millis((JITTER_MS * self.dice.normal()) as i64);
        let clock = stamp + Span::from_millis((here.trouble.clock_s * 1000.0) as i64);
        let sent = stamp.max(here.now - Span::from_secs(1));
        for (topic, payload) in self.reporter.messages(clock, &said) {
            self.network.send(here.trouble.line(), sent, topic, payload);
        }
        self.plan_next_sample(here, slow);
    }

    /// A logger with a deadband keeps to itself what has not moved.
    fn worth_reporting(&mut self, here: &Instant<'_>, value: Option<f64>) -> bool {
        let (Some(deadband), Some(value)) = (here.spec.instruments.deadband_c, value) else { return true };
        let moved = self.reported.is_none_or(|(at, last)| {
            (value - last).abs() >= deadband || here.now.since(at) >= Span::from_secs(HEARTBEAT_S)
        });
        if moved {
            self.reported = Some((here.now, value));
        }
        moved
    }

    fn plan_next_sample(&mut self, here: &Instant<'_>, slow: bool) {
        let instruments = &here.spec.instruments;
        // Typed by hand, whenever there is a hand.
        let pace = if here.by_hand { self.dice.between(0.7, 2.0) } else { 1.0 };
        let next = Span::from_millis((instruments.sample_s * pace * 1000.0) as i64);
        self.next_sample += next;
        if self.next_sample < here.now {
            self.next_sample = here.now + next;
        }
        if slow {
            self.next_slow = here.now + Span::from_millis((instruments.slow_sample_s * 1000.0) as i64);
        }
    }

    /// What the recorded probe says.
    fn chocolate(&mut self, here: &Instant<'_>) -> Option<f64> {
        let heating_c = if here.heating { here.spec.instruments.heating_noise_c } else { 0.0 };
        let healthy = self.probe.read()
            + here.trouble.ageing_c
            + if heating_c > 0.0 { heating_c * self.dice.normal() } else { 0.0 };
        match here.trouble.probe {
            ProbeTrouble::Fine => {
                let value = healthy + self.spike(here);
                self.last_said = rounded(value, here.spec.instruments.resolution_c);
                Some(self.last_said)
            }
            ProbeTrouble::Stuck => Some(self.last_said),
            ProbeTrouble::Reads(value) => Some(value),
            ProbeTrouble::Missing => None,
        }
    }

    /// A lone jump of one sample, now and then.
    fn spike(&mut self, here: &Instant<'_>) -> f64 {
        let share = here.trouble.spikes_per_hour * here.spec.instruments.sample_s / 3600.0;
        if share > 0.0 && self.clean == 0 && self.dice.chance(share) {
            self.clean = CLEAN_AFTER_SPIKE;
            let up = if self.dice.chance(0.5) { 1.0 } else { -1.0 };
            return up * self.dice.between(SPIKE_C.0, SPIKE_C.1);
        }
        self.clean = self.clean.saturating_sub(1);
        0.0
    }

    fn say_slow_channels(&mut self, here: &Instant<'_>, all: bool, said: &mut Vec<Said>) {
        self.told = (here.setpoint, here.turning);
        let values = [
            (Channel::Setpoint, here.setpoint, true),
            (Channel::Stirrer, if here.turning { 1.0 } else { 0.0 }, true),
            (Channel::Motor, self.motor(here), false),
            (Channel::Room, here.room_c, false),
            (Channel::Humidity, here.humidity, false),
        ];
        for (channel, value, on_change) in values {
            if here.spec.has(channel) && (all || on_change) {
                said.push(Said { channel, value: Some(value) });
            }
        }
    }

    fn motor(&mut self, here: &Instant<'_>) -> f64 {
        if !here.turning {
            return 0.0;
        }
        steady_motor_a(here.spec, here.kg, here.thickness) * (1.0 + MOTOR_WOBBLE * self.dice.normal())
    }
}

/// Current of a stirrer that turns, without the wobble.
pub(crate) fn steady_motor_a(spec: &Spec, kg: f64, thickness: f64) -> f64 {
    let usual = MOTOR_LEAST_A + MOTOR_A_PER_KG * spec.capacity_kg;
    let full = kg / spec.usual_kg();
    let load = MOTOR_EMPTY + (1.0 - MOTOR_EMPTY) * thickness * (0.6 + 0.4 * full);
    usual * load.min(MOTOR_MOST)
}

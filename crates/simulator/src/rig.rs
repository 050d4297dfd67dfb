//! One machine at work: vessel, controller, probes, people, faults and the way to the broker, stepped once a second.

use model::{Channel, MachineId, Span, Timestamp};

use crate::bench::BenchHand;
use crate::calendar::Calendar;
use crate::chocolate::SPECIFIC_HEAT;
use crate::controller::{Asked, Controller};
use crate::deeds::{Deed, Mark, Report, Seen};
use crate::dice::Dice;
use crate::faults::{FaultBook, HeaterTrouble, ProbeTrouble, Stage, Trouble};
use crate::message::Message;
use crate::network::{Line, Network};
use crate::people::{OFF_SETPOINT, Person};
use crate::probe::{Around, Probe, ProbeBuild, rounded};
use crate::recorder::Recorder;
use crate::reporter::{Reporter, Said};
use crate::room::Room;
use crate::spec::{COOLANT_C, Spec, Wording};
use crate::vessel::{Drive, Parcel, Vessel};

/// One step of physics.
const STEP_S: f64 = 1.0;
const STEP_MS: i64 = 1_000;
/// People, faults and the room are looked at this often, steps.
const LOOK_EVERY: u64 = 10;
/// Lid off: the open surface loses so many times its usual share (assumed; gives −0.3…−1 °C in minutes on small machines).
const LID_OFF: f64 = 5.0;
/// The controller's sensor sits in the wall of the vessel: lag in seconds, and behind a crust that makes it hunt.
const CONTROL_LAG_S: f64 = 20.0;
const CRUSTED_LAG_S: f64 = 400.0;
/// Motor current a kg of capacity at thickness 1, A; so much of it the empty gear takes (assumed).
const MOTOR_A_PER_KG: f64 = 0.04;
const MOTOR_LEAST_A: f64 = 0.4;
const MOTOR_EMPTY: f64 = 0.45;
/// Current wobbles by ±5 % with the blade's turn (common practice).
const MOTOR_WOBBLE: f64 = 0.02;
/// A stirrer in solid couverture draws at most so much of its usual current before the clutch slips (assumed).
const MOTOR_MOST: f64 = 3.0;
/// Chocolate on the marble falls towards the room with this time constant, minutes, and is scraped up this far below the
/// working range's lower end (4–5 °C below working temperature).
const TABLE_MIN: f64 = 4.0;
const TABLE_BELOW: f64 = 4.3;
/// Jitter of the sampling clock, milliseconds.
const JITTER_MS: f64 = 20.0;

/// Who works here.
#[derive(Debug, Clone)]
enum Worker {
    Person(Box<Person>),
    Bench(Box<BenchHand>),
}

/// How a machine stands when its history begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Begin {
    /// Hot and molten.
    Soak,
    /// Cold and set; the heat goes on after so long.
    Cold(Span),
}

/// One machine of the works.
#[derive(Debug, Clone)]
pub(crate) struct Rig {
    pub(crate) spec: Spec,
    pub(crate) recorder: Recorder,
    pub(crate) faults: FaultBook,
    calendar: Calendar,
    vessel: Vessel,
    table: Option<Parcel>,
    controller: Controller,
    control_probe: Probe,
    probe: Probe,
    room: Room,
    worker: Worker,
    reporter: Reporter,
    network: Network,
    dice: Dice,
    now: Timestamp,
    steps: u64,
    setpoint: f64,
    stirring: bool,
    attended: bool,
    burst: (f64, f64),
    lid_off_until: Timestamp,
    trouble: Trouble,
    reports: Vec<Report>,
    next_sample: Timestamp,
    next_slow: Timestamp,
    told: (f64, bool),
    last_said: f64,
    spike: (f64, u32),
}

/// Streams of chance, one for each part of a machine.
const PEOPLE: u64 = 1;
const PROBE: u64 = 2;
const CONTROL: u64 = 3;
const NETWORK: u64 = 4;
const SAMPLES: u64 = 5;
const STREAMS: u64 = 16;

impl Rig {
    /// The machine at `place` of a works that begins at `start`.
    pub(crate) fn new(
        spec: Spec,
        root: &str,
        calendar: &Calendar,
        seed: u64,
        place: usize,
        start: Timestamp,
        begin: Begin,
        faults: FaultBook,
    ) -> Rig {
        let dice = |part: u64| Dice::new(seed, (place as u64 + 1) * STREAMS + part);
        // Stream 0 belongs to the room, which all machines share.
        let room = Room::new(Dice::new(seed, 0));
        let by_hand = matches!(spec.control, crate::controller::Kind::ByHand);
        let mut worker = if by_hand {
            Worker::Bench(Box::new(BenchHand::new(&spec, calendar.clone(), start, dice(PEOPLE))))
        } else {
            Worker::Person(Box::new(Person::new(&spec, calendar.clone(), start, dice(PEOPLE))))
        };
        let soak_c = spec.limits.melt.low() + 0.8;
        let (mut celsius, mut solid) = if by_hand { (20.5, 1.0) } else { (soak_c, 0.0) };
        if let (Begin::Cold(wait), Worker::Person(person)) = (begin, &mut worker) {
            person.wait_cold(start + wait);
            (celsius, solid) = (21.0, 1.0);
        }
        let setpoint = match &worker {
            Worker::Person(person) => person.first_setpoint(&spec),
            Worker::Bench(_) => OFF_SETPOINT,
        };
        let control_build = ProbeBuild {
            lag_s: CONTROL_LAG_S,
            noise_c: 0.0,
            resolution_c: 0.1,
            offset_c: dice(CONTROL).between(-0.1, 0.1),
            drift_c_per_day: 0.0,
        };
        let first_ms = (dice(SAMPLES).even() * 1000.0 * spec.instruments.sample_s) as i64;
        Rig {
            recorder: Recorder::new(start),
            faults,
            calendar: calendar.clone(),
            vessel: Vessel::new(spec.substance, spec.build, spec.usual_kg(), celsius, solid),
            table: None,
            controller: Controller::new(spec.control, spec.heater_w),
            control_probe: Probe::new(control_build, celsius, dice(CONTROL)),
            probe: Probe::new(spec.probe(), celsius, dice(PROBE)),
            room,
            reporter: Reporter::new(root, spec.id.as_str(), &spec.instruments, spec.sends_ohm),
            network: Network::new(dice(NETWORK)),
            dice: dice(SAMPLES),
            now: start,
            steps: 0,
            setpoint,
            stirring: solid == 0.0 && !by_hand,
            attended: !by_hand,
            worker,
            burst: (0.0, 0.0),
            lid_off_until: start,
            trouble: Trouble::NONE,
            reports: Vec::new(),
            next_sample: start + Span::from_millis(first_ms),
            next_slow: start + Span::from_millis(first_ms),
            told: (f64::NAN, false),
            last_said: celsius,
            spike: (0.0, 0),
            spec,
        }
    }

    pub(crate) fn id(&self) -> &MachineId {
        &self.spec.id
    }

    /// The noiseless temperature of the charge.
    pub(crate) fn true_celsius(&self) -> f64 {
        self.vessel.celsius()
    }

    /// Share of the fat in form V.
    pub(crate) fn true_crystals(&self) -> f64 {
        self.vessel.crystals().stable
    }

    pub(crate) fn stage(&self) -> Stage {
        match &self.worker {
            Worker::Person(person) => person.stage(),
            Worker::Bench(hand) => hand.stage(),
        }
    }

    /// Runs to `until`, and hands over what has arrived by then.
    pub(crate) fn advance(&mut self, until: Timestamp, into: &mut Vec<Message>) {
        let step = Span::from_millis(STEP_MS);
        while self.now + step <= until {
            self.step();
        }
        self.network.arrived(until, into);
    }

    fn step(&mut self) {
        if self.steps == 0 {
            self.faults.enter(self.stage(), self.now);
            self.say_what_was_kept();
        }
        if self.steps.is_multiple_of(LOOK_EVERY) {
            self.look();
        }
        let asked = self.control();
        self.heat_and_stir(asked);
        self.now += Span::from_millis(STEP_MS);
        self.steps += 1;
        self.recorder.note(self.vessel.celsius());
        self.send_reports();
        self.sample();
    }

    fn line(&self) -> Line {
        if self.trouble.silent {
            Line::Down
        } else if self.trouble.held_back {
            Line::HeldBack
        } else {
            Line::Up
        }
    }

    fn look(&mut self) {
        self.trouble = self.faults.trouble(self.now);
        let hour = self.calendar.hour(self.now);
        let (warmer, damper) = (self.trouble.room_warmer_by, self.trouble.room_damper_by);
        self.room.step(LOOK_EVERY as f64 * STEP_S, hour, warmer, damper);
        self.cool_the_table();
        let seen = self.seen();
        let mut deeds = Vec::new();
        match &mut self.worker {
            Worker::Person(person) => person.act(&self.spec, &seen, &mut deeds),
            Worker::Bench(hand) => hand.act(&self.spec, &seen, &mut deeds),
        }
        for deed in deeds {
            self.carry_out(deed);
        }
    }

    fn seen(&self) -> Seen {
        let crystals = self.vessel.crystals();
        Seen {
            now: self.now,
            shown_c: rounded(self.control_probe.smooth() + self.trouble.control_reads_high_by.min(0.0), 0.1),
            kg: self.vessel.kg(),
            lumps_kg: self.vessel.pieces_kg(),
            stable: crystals.stable,
            unstable: crystals.unstable,
            thickness: self.vessel.thickness(),
            seed_trouble: self.trouble.seed,
            filling: self.trouble.filling,
        }
    }

    fn carry_out(&mut self, deed: Deed) {
        match deed {
            Deed::SetPoint(celsius) => self.setpoint = celsius,
            Deed::Stir(on) => self.stirring = on,
            Deed::Pieces { kg, celsius } => self.vessel.add_pieces(kg, celsius),
            Deed::Charge { kg, celsius } => self.vessel.charge(kg, celsius),
            Deed::Pour { kg, celsius } => {
                self.vessel.pour(Parcel::new(self.spec.substance, kg, celsius, 0.0));
            }
            Deed::ButterCrystals { kg, celsius } => self.vessel.add_butter_crystals(kg, celsius),
            Deed::Draw { kg } => {
                self.vessel.draw(kg);
            }
            Deed::Lumps => {
                self.vessel.take_lumps();
            }
            Deed::ToTable { share } => self.table = Some(self.vessel.draw(share * self.vessel.kg())),
            Deed::FromTable => {
                if let Some(parcel) = self.table.take() {
                    self.vessel.pour(parcel);
                }
            }
            Deed::Burst { watts, seconds } => self.burst = (watts, seconds),
            Deed::FreshBowl { kg, celsius } => {
                self.vessel = Vessel::new(self.spec.substance, self.spec.build, kg, celsius, 1.0);
                self.vessel.wall_c = self.room.celsius();
            }
            Deed::LidOff { minutes } => self.lid_off_until = self.now + Span::from_mins_f64(minutes),
            Deed::Attend(on) => {
                self.attended = on;
                self.next_sample = self.now;
            }
            Deed::Enter(stage) => self.faults.enter(stage, self.now),
            Deed::Mark(mark) => self.recorder.mark(self.now, mark),
            Deed::Tell(report) => {
                self.recorder.told(&report);
                self.reports.push(report);
            }
        }
    }

    fn cool_the_table(&mut self) {
        let (room_c, substance) = (self.room.celsius(), self.spec.substance);
        let lowest = self.spec.limits.working.low() - TABLE_BELOW;
        if let Some(parcel) = &mut self.table {
            let minutes = LOOK_EVERY as f64 * STEP_S / 60.0;
            let celsius = parcel.celsius(substance);
            if celsius > lowest {
                parcel.h -= SPECIFIC_HEAT * (celsius - room_c) * minutes / TABLE_MIN;
            }
            parcel.crystals = substance.react(parcel.crystals, celsius, minutes, 1.0, 1.0);
        }
    }

    fn control(&mut self) -> Asked {
        let sensor = self.control_probe.smooth() + self.trouble.control_reads_high_by;
        let wall = if self.trouble.limit_failed { self.vessel.wall_c - 25.0 } else { self.vessel.wall_c };
        let mut asked = self.controller.act(STEP_S, self.setpoint, sensor, wall, self.trouble.overtuned);
        if self.trouble.water > 1.0 {
            asked = Asked { heater_w: 0.0, valve_open: true, fan_on: true };
        }
        match self.trouble.heater {
            HeaterTrouble::Fine => {}
            HeaterTrouble::Stuck => asked.heater_w = self.controller.full_heat(),
            HeaterTrouble::Dead => asked.heater_w = 0.0,
        }
        asked
    }

    fn heat_and_stir(&mut self, asked: Asked) {
        let trouble = &self.trouble;
        let by_hand = matches!(self.worker, Worker::Bench(_));
        let stirred = (self.stirring || by_hand) && !trouble.stirrer_stopped;
        let valve = asked.valve_open && trouble.cooling > 0.0;
        let burst_w = if self.burst.1 > 0.0 { self.burst.0 } else { 0.0 };
        self.burst.1 -= STEP_S;
        let drive = Drive {
            heater_w: asked.heater_w,
            burst_w,
            coolant_c: valve.then_some(COOLANT_C + trouble.coolant_warmer_by),
            coolant_factor: trouble.water,
            fan: if asked.fan_on { self.spec.fan * trouble.cooling } else { 0.0 },
            room_c: self.room.celsius(),
            stirred,
            exchange_factor: trouble.exchange,
            surface_factor: if self.now < self.lid_off_until { LID_OFF } else { 1.0 },
            eager: trouble.eager,
        };
        self.vessel.step(STEP_S, &drive);
        let around = Around {
            bulk_c: self.vessel.celsius(),
            wall_c: self.vessel.wall_c,
            stirred,
            solid: self.vessel.crystals().total(),
            pieces: self.vessel.pieces_share(),
            pieces_colder_by: if self.vessel.pieces_kg() > 0.0 {
                self.vessel.pieces_colder_by()
            } else {
                0.0
            },
        };
        self.probe.step(STEP_S, &around);
        let crusted = trouble.overtuned > 1.0;
        self.control_probe.build.lag_s = if crusted { CRUSTED_LAG_S } else { CONTROL_LAG_S };
        self.control_probe.step(STEP_S, &around);
    }

    fn send_reports(&mut self) {
        if self.reports.is_empty() {
            return;
        }
        let (line, now, topic) = (self.line(), self.now, self.reporter.event_topic());
        for report in self.reports.extract_if(.., |r| r.sent <= now) {
            // People report from a telephone: a dead machine's network does not silence them.
            let line = if line == Line::Down { Line::Up } else { line };
            self.network.send(line, now, topic.clone(), report.to_json().into_bytes());
        }
    }

    /// Numbers that the broker kept from the evening before: old, and without a time.
    fn say_what_was_kept(&mut self) {
        if self.reporter.wording() == Wording::Numbers && self.attended {
            let topic = self.reporter.channel_topic(Channel::Chocolate);
            self.network.send_retained(self.now, topic, b"29.90".to_vec());
        }
    }

    fn sample(&mut self) {
        if !self.attended || self.now < self.next_sample {
            return;
        }
        let mut said = Vec::with_capacity(Channel::ALL.len());
        if let Some(value) = self.chocolate() {
            said.push(Said { channel: Channel::Chocolate, value });
        }
        if self.spec.has(Channel::Jacket) {
            let value = self.vessel.wall_c + 0.03 * self.dice.normal();
            said.push(Said { channel: Channel::Jacket, value: Some(value) });
        }
        let changed = self.told != (self.setpoint, self.stirring);
        let slow = self.now >= self.next_slow;
        if slow || changed {
            self.say_slow_channels(slow, &mut said);
        }
        let stamp = self.next_sample + Span::from_millis((JITTER_MS * self.dice.normal()) as i64);
        let clock = stamp + Span::from_millis((self.trouble.clock_s * 1000.0) as i64);
        let line = self.line();
        let sent = stamp.max(self.now - Span::from_millis(STEP_MS));
        for (topic, payload) in self.reporter.messages(clock, &said) {
            self.network.send(line, sent, topic, payload);
        }
        self.plan_next_sample(slow);
    }

    fn plan_next_sample(&mut self, slow: bool) {
        let mut seconds = self.spec.instruments.sample_s;
        if matches!(self.worker, Worker::Bench(_)) {
            // Typed by hand, whenever there is a hand.
            seconds *= self.dice.between(0.7, 2.0);
        }
        let next = Span::from_millis((seconds * 1000.0) as i64);
        self.next_sample += next;
        if self.next_sample < self.now {
            self.next_sample = self.now + next;
        }
        if slow {
            self.next_slow =
                self.now + Span::from_millis((self.spec.instruments.slow_sample_s * 1000.0) as i64);
        }
    }

    /// What the recorded probe says; the outer `None` is nothing at all.
    fn chocolate(&mut self) -> Option<Option<f64>> {
        let healthy = self.probe.read() + self.trouble.ageing_c;
        let resolution = self.spec.instruments.resolution_c;
        let value = match self.trouble.probe {
            ProbeTrouble::Fine => {
                let value = rounded(healthy + self.spiked(), resolution);
                self.last_said = value;
                Some(value)
            }
            ProbeTrouble::Stuck => Some(self.last_said),
            ProbeTrouble::Reads(value) => Some(value),
            ProbeTrouble::Missing => None,
        };
        Some(value)
    }

    /// A lone jump of one sample, now and then.
    fn spiked(&mut self) -> f64 {
        let share = self.trouble.spikes_per_hour * self.spec.instruments.sample_s / 3600.0;
        if share > 0.0 && self.spike.1 == 0 && self.dice.chance(share) {
            let up = if self.dice.chance(0.5) { 1.0 } else { -1.0 };
            // The samples after a spike are clean: otherwise two would pass for a step.
            self.spike = (up * self.dice.between(3.0, 12.0), 4);
            return self.spike.0;
        }
        self.spike.1 = self.spike.1.saturating_sub(1);
        0.0
    }

    fn say_slow_channels(&mut self, all: bool, said: &mut Vec<Said>) {
        self.told = (self.setpoint, self.stirring);
        let turning = self.stirring && !self.trouble.stirrer_stopped;
        let motor = if turning { self.motor() } else { 0.0 };
        let values = [
            (Channel::Setpoint, self.setpoint, true),
            (Channel::Stirrer, if turning { 1.0 } else { 0.0 }, true),
            (Channel::Motor, motor, false),
            (Channel::Room, self.room.celsius(), false),
            (Channel::Humidity, self.room.humidity(), false),
        ];
        for (channel, value, on_change) in values {
            if self.spec.has(channel) && (all || on_change) {
                said.push(Said { channel, value: Some(value) });
            }
        }
    }

    fn motor(&mut self) -> f64 {
        let usual = MOTOR_LEAST_A + MOTOR_A_PER_KG * self.spec.capacity_kg;
        let full = self.vessel.kg() / self.spec.usual_kg();
        let load = MOTOR_EMPTY + (1.0 - MOTOR_EMPTY) * self.vessel.thickness() * (0.6 + 0.4 * full);
        usual * load.min(MOTOR_MOST) * (1.0 + MOTOR_WOBBLE * self.dice.normal())
    }
}

/// Marks that the history begins with.
pub(crate) fn first_mark(stage: Stage) -> Option<Mark> {
    match stage {
        Stage::Melting => Some(Mark::Heat),
        Stage::Off | Stage::Cooling | Stage::Landing | Stage::Working => None,
    }
}

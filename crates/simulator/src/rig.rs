//! One machine at work: vessel, controller, probes, people, faults and the way to the broker, stepped once a second.

use model::{MachineId, Span, Timestamp};
use wire::Message;

use crate::bench::BenchHand;
use crate::calendar::Calendar;
use crate::controller::{Asked, Controller};
use crate::deeds::{Mark, Report, Seen};
use crate::dice::Dice;
use crate::faults::{FaultBook, Stage};
use crate::network::Network;
use crate::people::{OFF_SETPOINT, Person};
use crate::probe::{Around, Probe, ProbeBuild, rounded};
use crate::recorder::{Recorder, Sight};
use crate::room::Room;
use crate::sampler::{Instant, Sampler, steady_motor_a};
use crate::spec::{COOLANT_C, Spec};
use crate::trouble::{HeaterTrouble, Trouble};
use crate::vessel::{Drive, Parcel, Vessel};

mod hands;

/// One step of physics.
const STEP_S: f64 = 1.0;
const STEP_MS: i64 = 1_000;
/// People, faults and the room are looked at this often, steps.
const LOOK_EVERY: u64 = 10;
/// Lid off: the open surface loses so many times its usual share (assumed; gives −0.3…−1 °C in minutes on small machines).
const LID_OFF: f64 = 5.0;
/// The controller's sensor sits in the wall of the vessel: lag in seconds, and behind a crust that makes it hunt.
const CONTROL_LAG_S: f64 = 20.0;
const CRUSTED_LAG_S: f64 = 220.0;
/// A cut-out of its own, apart from the controller, opens here at the wall, °C (assumed; every heater should have one).
const CUT_OUT_C: f64 = 75.0;
/// A probe that hangs half out of the charge feels so much of it, and the air for the rest (assumed).
const OUT_FEELS: f64 = 0.45;

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
    sampler: Sampler,
    room: Room,
    worker: Worker,
    now: Timestamp,
    steps: u64,
    setpoint: f64,
    stirring: bool,
    attended: bool,
    burst: (f64, f64),
    heating: bool,
    lid_off_until: Timestamp,
    trouble: Trouble,
    reports: Vec<Report>,
    sloppy: Dice,
}

/// Where and when a machine begins.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Origin<'a> {
    /// Of all topics.
    pub(crate) root: &'a str,
    pub(crate) calendar: &'a Calendar,
    pub(crate) seed: u64,
    /// In the plant file.
    pub(crate) place: usize,
    pub(crate) start: Timestamp,
    pub(crate) begin: Begin,
}

/// Streams of chance, one for each part of a machine.
const PEOPLE: u64 = 1;
const PROBE: u64 = 2;
const CONTROL: u64 = 3;
const NETWORK: u64 = 4;
const SAMPLES: u64 = 5;
const SLOPPY: u64 = 6;
const STREAMS: u64 = 16;

impl Rig {
    /// The machine as `origin` has it, with `faults` to come.
    pub(crate) fn new(spec: Spec, origin: &Origin<'_>, faults: FaultBook) -> Rig {
        let Origin { root, calendar, seed, place, start, begin } = *origin;
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
        let probe = Probe::new(spec.probe(), celsius, dice(PROBE));
        let network = Network::new(dice(NETWORK), spec.manner.rough_network);
        let sampler = Sampler::new(&spec, root, probe, network, dice(SAMPLES), start);
        Rig {
            recorder: Recorder::new(start),
            faults,
            calendar: calendar.clone(),
            vessel: Vessel::new(spec.substance, spec.build, spec.usual_kg(), celsius, solid),
            table: None,
            controller: Controller::new(spec.control, spec.heater_w),
            control_probe: Probe::new(control_build, celsius, dice(CONTROL)),
            sampler,
            room,
            now: start,
            steps: 0,
            setpoint,
            stirring: solid == 0.0 && !by_hand,
            attended: !by_hand,
            worker,
            burst: (0.0, 0.0),
            heating: false,
            lid_off_until: start,
            trouble: Trouble::NONE,
            reports: Vec::new(),
            sloppy: dice(SLOPPY),
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

    /// All that is in it, kg.
    #[cfg(test)]
    pub(crate) fn true_kg(&self) -> f64 {
        self.vessel.kg()
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
        self.sampler.arrived(until, into);
    }

    fn step(&mut self) {
        if self.steps == 0 {
            self.faults.enter(self.stage(), self.now);
            if self.attended {
                self.sampler.say_what_was_kept(&self.spec, self.now);
            }
        }
        if self.steps.is_multiple_of(LOOK_EVERY) {
            self.look();
        }
        let asked = self.control();
        self.heat_and_stir(asked);
        self.now += Span::from_millis(STEP_MS);
        self.steps += 1;
        let (vessel, spec, room) = (&self.vessel, &self.spec, &self.room);
        let turning = self.stirring && !self.trouble.stirrer_stopped;
        let unknown_c = spec.instruments.offset_c + self.trouble.ageing_c;
        self.recorder.note(|| Sight {
            chocolate: if self.attended { vessel.celsius() + unknown_c } else { f64::NAN },
            wall: vessel.wall_c,
            setpoint: self.setpoint,
            motor: if turning { steady_motor_a(spec, vessel.kg(), vessel.thickness()) } else { 0.0 },
            room: room.celsius(),
            humidity: room.humidity(),
            turning,
        });
        self.send_reports();
        self.sample();
    }

    fn sample(&mut self) {
        if !self.attended {
            return;
        }
        self.sampler.sample(&Instant {
            now: self.now,
            spec: &self.spec,
            trouble: &self.trouble,
            setpoint: self.setpoint,
            turning: self.stirring && !self.trouble.stirrer_stopped,
            wall_c: self.vessel.wall_c,
            room_c: self.room.celsius(),
            humidity: self.room.humidity(),
            kg: self.vessel.kg(),
            thickness: self.vessel.thickness(),
            heating: self.heating,
            by_hand: matches!(self.worker, Worker::Bench(_)),
        });
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

    fn control(&mut self) -> Asked {
        let sensor = self.control_probe.smooth() + self.trouble.control_reads_high_by;
        let wall = if self.trouble.limit_failed { self.vessel.wall_c - 25.0 } else { self.vessel.wall_c };
        let mut asked = self.controller.act(STEP_S, self.setpoint, sensor, wall, self.trouble.overtuned);
        if self.trouble.cooling_stuck {
            asked = Asked { heater_w: 0.0, valve_open: true, fan_on: true };
        }
        match self.trouble.heater {
            HeaterTrouble::Fine => {}
            HeaterTrouble::Stuck if self.vessel.wall_c > CUT_OUT_C => asked.heater_w = 0.0,
            HeaterTrouble::Stuck => asked.heater_w = self.controller.full_heat(),
            HeaterTrouble::Dead => asked.heater_w = 0.0,
        }
        asked
    }

    fn heat_and_stir(&mut self, asked: Asked) {
        self.heating = asked.heater_w > 0.0;
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
        let at_the_probe = if trouble.probe_out { out_of(&around, self.room.celsius()) } else { around };
        self.sampler.feel(STEP_S, &at_the_probe);
        let crusted = trouble.overtuned > 1.0;
        self.control_probe.build.lag_s = if crusted { CRUSTED_LAG_S } else { CONTROL_LAG_S };
        self.control_probe.step(STEP_S, &around);
    }
}

/// What a probe feels that hangs out of the charge.
fn out_of(around: &Around, room_c: f64) -> Around {
    Around { bulk_c: room_c + OUT_FEELS * (around.bulk_c - room_c), pieces: 0.0, solid: 0.0, ..*around }
}

/// Marks that the history begins with.
pub(crate) fn first_mark(stage: Stage) -> Option<Mark> {
    match stage {
        Stage::Melting => Some(Mark::Heat),
        Stage::Off | Stage::Cooling | Stage::Landing | Stage::Working => None,
    }
}

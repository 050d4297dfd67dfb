//! What becomes of a person's deeds: in the vessel, on the marble, and on the way to the broker.

use model::Span;

use super::{LOOK_EVERY, Rig, STEP_S};
use crate::chocolate::SPECIFIC_HEAT;
use crate::deeds::{Deed, Report};
use crate::network::Line;
use crate::spec::Telling;
use crate::vessel::{Parcel, Vessel};

/// Chocolate on the marble falls towards the room with this time constant, minutes, and is scraped up this far below the
/// working range's lower end (4–5 °C below working temperature).
const TABLE_MIN: f64 = 4.0;
const TABLE_BELOW: f64 = 4.3;
/// Reports of a sloppy shop: mean and most minutes late, and how far they are off about when, minutes (assumed).
const SLOPPY_MIN: f64 = 12.0;
const SLOPPY_MOST_MIN: f64 = 45.0;
const SLOPPY_OFF_MIN: f64 = 2.5;

impl Rig {
    pub(super) fn carry_out(&mut self, deed: Deed) {
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
                self.sampler.begin_at(self.now);
            }
            Deed::Enter(stage) => self.faults.enter(stage, self.now),
            Deed::Mark(mark) => self.recorder.mark(self.now, mark),
            Deed::Tell(mut report) => {
                if !self.telling(&mut report) {
                    return;
                }
                self.recorder.told(&report);
                self.reports.push(report);
            }
        }
    }

    /// What becomes of a report in this shop; false if nobody hears of it.
    fn telling(&mut self, report: &mut Report) -> bool {
        match self.spec.manner.telling {
            Telling::Usual => true,
            Telling::Never => false,
            Telling::Sloppy => {
                let late = self.sloppy.wait(SLOPPY_MIN).min(SLOPPY_MOST_MIN);
                let off = self.sloppy.normal() * SLOPPY_OFF_MIN;
                report.sent += Span::from_mins_f64(late);
                // Nobody writes down what has yet to come.
                report.at = report.at.map(|at| (at + Span::from_mins_f64(off)).min(report.sent));
                true
            }
        }
    }

    pub(super) fn cool_the_table(&mut self) {
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

    pub(super) fn send_reports(&mut self) {
        if self.reports.is_empty() {
            return;
        }
        // People report from a telephone: a dead machine's network does not silence them.
        let line = if self.trouble.held_back { Line::HeldBack } else { Line::Up };
        let now = self.now;
        for report in self.reports.extract_if(.., |r| r.sent <= now) {
            self.sampler.send_event(line, now, report.to_json());
        }
    }
}

//! The working day at one machine: drawing off, topping up, testing, trimming, lunch.

use model::{Span, Timestamp};

use crate::chocolate::Crystals;
use crate::deeds::{Deed, Mark, Report, Seen, written};
use crate::dice::Dice;
use crate::people::STORE_C;
use crate::spec::Spec;

/// Of a charge, so much is used up in a shift before topping up (assumed).
const USED_IN_A_SHIFT: f64 = 0.75;
/// Minutes between two draws, mean (assumed).
const DRAW_EVERY_MIN: f64 = 9.0;
/// Below this share of the usual charge a machine is topped up.
const TOP_UP_BELOW: f64 = 0.62;
/// Size of a top-up, a share of what is in there (common practice: at most 3–5 % of solids, 5–10 % of warm liquid, here with care).
const SOLID_SHARE: (f64, f64) = (0.03, 0.05);
const LIQUID_SHARE: (f64, f64) = (0.04, 0.07);
/// Warm liquid from the melter, °C above the middle of the working range (35–40 for dark).
const LIQUID_ABOVE: f64 = 6.5;
/// Minutes from one smear to the next (trade advice: every 30–60 min), and for a smear to set and be judged.
const TEST_EVERY_MIN: (f64, f64) = (40.0, 75.0);
const JUDGED_AFTER_MIN: f64 = 10.0;
/// A report of a top-up or test is forgotten this often (assumed).
const FORGETS: f64 = 0.12;
/// Lunch: minutes after the start of work, and its length.
const LUNCH_AFTER_MIN: f64 = 210.0;
const LUNCH_MIN: f64 = 40.0;
/// Share of the fat in form V, by smear: order of 1–3 % good, 0.5–5 % seen (from memory); the edges are assumed.
const THIN_POOR: f64 = 0.003;
const THIN_FAIR: f64 = 0.007;
const THICK_FAIR: f64 = 0.06;
const THICK_POOR: f64 = 0.10;
/// Trims that thickening gets: +0.2…+0.5 °C in all (common practice), in steps.
const TRIM_C: f64 = 0.15;
const TRIM_MOST_C: f64 = 0.3;
/// Who fiddles moves the set-point about so often, minutes, by at most so much, °C (assumed).
const FIDDLE_MIN: f64 = 70.0;
const FIDDLE_C: f64 = 0.35;
/// The lid comes off for cleaning or looking, minutes between, mean.
const LID_EVERY_MIN: f64 = 150.0;

/// How a smear turns out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Smear {
    Thin,
    Good,
    Thick,
}

/// A working day under way.
#[derive(Debug, Clone)]
pub(crate) struct Work {
    since: Timestamp,
    ends_at: Timestamp,
    setpoint: f64,
    trimmed: f64,
    thickness_at_start: f64,
    draw_at: Timestamp,
    draw_kg: f64,
    lid_at: Timestamp,
    test_at: Timestamp,
    judge: Option<(Timestamp, Crystals)>,
    top_up_from: Timestamp,
    thin_smears: u32,
    fiddle_at: Timestamp,
}

impl Work {
    pub(crate) fn new(spec: &Spec, seen: &Seen, ends_at: Timestamp, setpoint: f64, dice: &mut Dice) -> Work {
        let minutes = ends_at.since(seen.now).as_mins_f64().max(60.0);
        let draws = minutes / DRAW_EVERY_MIN;
        let after = |minutes: f64| seen.now + Span::from_mins_f64(minutes);
        Work {
            since: seen.now,
            ends_at,
            setpoint,
            trimmed: 0.0,
            thickness_at_start: seen.thickness,
            draw_at: after(dice.between(5.0, 15.0)),
            draw_kg: spec.usual_kg() * USED_IN_A_SHIFT * (minutes / 480.0).min(1.0) / draws,
            lid_at: after(dice.wait(LID_EVERY_MIN)),
            test_at: after(dice.between(3.0, 12.0)),
            judge: None,
            top_up_from: after(40.0),
            thin_smears: 0,
            fiddle_at: if spec.manner.fiddles {
                after(dice.wait(FIDDLE_MIN))
            } else {
                Timestamp::from_millis(i64::MAX)
            },
        }
    }

    pub(crate) fn ends_at(&self) -> Timestamp {
        self.ends_at
    }

    /// One look; true if the charge is given up and has to be melted again.
    pub(crate) fn act(
        &mut self,
        spec: &Spec,
        seen: &Seen,
        by: &'static str,
        dice: &mut Dice,
        out: &mut Vec<Deed>,
    ) -> bool {
        let minutes = seen.now.since(self.since).as_mins_f64();
        let lunch = (LUNCH_AFTER_MIN..LUNCH_AFTER_MIN + LUNCH_MIN).contains(&minutes);
        if let Some((due, smear)) = self.judge
            && seen.now >= due
        {
            self.judge = None;
            if self.answer(spec, seen, smear, by, dice, out) {
                return true;
            }
        }
        if lunch {
            return false;
        }
        if seen.now >= self.draw_at {
            out.push(Deed::Draw { kg: self.draw_kg * dice.between(0.6, 1.4) });
            self.draw_at = seen.now + Span::from_mins_f64(dice.between(0.6, 1.4) * DRAW_EVERY_MIN);
        }
        if seen.now >= self.lid_at {
            out.push(Deed::LidOff { minutes: dice.between(2.0, 6.0) });
            self.lid_at = seen.now + Span::from_mins_f64(dice.wait(LID_EVERY_MIN).max(20.0));
        }
        if seen.now >= self.test_at {
            out.push(Deed::Mark(Mark::Test { stable: seen.stable }));
            let smear = Crystals { stable: seen.stable, unstable: seen.unstable };
            self.judge = Some((seen.now + Span::from_mins_f64(JUDGED_AFTER_MIN), smear));
            let next = dice.between(TEST_EVERY_MIN.0, TEST_EVERY_MIN.1);
            self.test_at = seen.now + Span::from_mins_f64(next);
        }
        if seen.now >= self.fiddle_at {
            out.push(Deed::SetPoint(self.setpoint + self.trimmed + dice.between(-FIDDLE_C, FIDDLE_C)));
            self.fiddle_at = seen.now + Span::from_mins_f64(dice.wait(FIDDLE_MIN));
        }
        let time_left = self.ends_at.since(seen.now) > Span::from_mins(50);
        if seen.now >= self.top_up_from && seen.kg < TOP_UP_BELOW * spec.usual_kg() && time_left {
            self.top_up(spec, seen, dice.chance(0.5), by, dice, out);
        }
        false
    }

    fn top_up(
        &mut self,
        spec: &Spec,
        seen: &Seen,
        solid: bool,
        by: &'static str,
        dice: &mut Dice,
        out: &mut Vec<Deed>,
    ) {
        let (share, celsius) = if solid {
            (dice.between(SOLID_SHARE.0, SOLID_SHARE.1), STORE_C)
        } else {
            (dice.between(LIQUID_SHARE.0, LIQUID_SHARE.1), spec.limits.working.middle() + LIQUID_ABOVE)
        };
        let kg = share * seen.kg;
        out.push(if solid { Deed::Pieces { kg, celsius } } else { Deed::Pour { kg, celsius } });
        out.push(Deed::LidOff { minutes: 1.5 });
        out.push(Deed::Mark(Mark::TopUp { kg }));
        let fields = vec![("mass_kg", written(kg)), ("temperature", written(celsius))];
        tell(seen, "top-up", by, fields, dice, out);
        self.top_up_from = seen.now + Span::from_mins_f64(dice.between(25.0, 50.0));
        self.test_at = self.test_at.min(seen.now + Span::from_mins_f64(dice.between(8.0, 14.0)));
    }

    /// Judges a smear of ten minutes ago, tells it, and does what people do about it.
    fn answer(
        &mut self,
        spec: &Spec,
        seen: &Seen,
        taken: Crystals,
        by: &'static str,
        dice: &mut Dice,
        out: &mut Vec<Deed>,
    ) -> bool {
        // Two people do not judge alike.
        let stable = taken.stable * (0.15 * dice.normal()).exp();
        let (gloss, contraction, snap, minutes, smear) = if stable < THIN_POOR || taken.unstable > 0.02 {
            ("poor", "poor", "poor", dice.between(10.0, 16.0), Smear::Thin)
        } else if stable < THIN_FAIR {
            ("fair", "good", "fair", dice.between(5.5, 8.0), Smear::Good)
        } else if stable < THICK_FAIR {
            ("good", "good", "good", dice.between(3.2, 5.0), Smear::Good)
        } else if stable < THICK_POOR {
            ("fair", "fair", "good", dice.between(2.4, 3.2), Smear::Thick)
        } else {
            ("poor", "fair", "fair", dice.between(1.0, 2.2), Smear::Thick)
        };
        let fields = vec![
            ("gloss", gloss.into()),
            ("contraction", contraction.into()),
            ("snap", snap.into()),
            ("minutes", written((minutes * 2.0_f64).round() / 2.0)),
        ];
        tell(seen, "temper-test", by, fields, dice, out);
        match smear {
            Smear::Good => {
                self.thin_smears = 0;
                let thicker = seen.thickness / self.thickness_at_start > 1.10;
                if thicker {
                    self.trim(out);
                }
                false
            }
            Smear::Thick => {
                self.trim(out);
                if stable >= THICK_POOR {
                    self.top_up(spec, seen, false, by, dice, out);
                }
                false
            }
            Smear::Thin => self.mend_thin(spec, seen, by, dice, out),
        }
    }

    fn trim(&mut self, out: &mut Vec<Deed>) {
        if self.trimmed < TRIM_MOST_C {
            self.trimmed += TRIM_C;
            out.push(Deed::SetPoint(self.setpoint + self.trimmed));
        }
    }

    /// Out of temper on the thin side: a few per cent of seed once it is in the range; melt again if that did not help.
    fn mend_thin(
        &mut self,
        spec: &Spec,
        seen: &Seen,
        by: &'static str,
        dice: &mut Dice,
        out: &mut Vec<Deed>,
    ) -> bool {
        self.test_at = seen.now + Span::from_mins_f64(dice.between(12.0, 20.0));
        if !spec.limits.working.holds(seen.shown_c, 0.6) {
            return false;
        }
        self.thin_smears += 1;
        if self.thin_smears > 2 && self.ends_at.since(seen.now) > Span::from_hours(4) {
            return true;
        }
        let kg = 0.04 * seen.kg;
        out.push(Deed::Pieces { kg, celsius: STORE_C });
        out.push(Deed::Mark(Mark::Seed { kg }));
        let fields = vec![("mass_kg", written(kg)), ("temperature", written(STORE_C))];
        tell(seen, "seed", by, fields, dice, out);
        false
    }
}

fn tell(
    seen: &Seen,
    event: &'static str,
    by: &'static str,
    fields: Vec<(&'static str, serde_json::Value)>,
    dice: &mut Dice,
    out: &mut Vec<Deed>,
) {
    if dice.chance(FORGETS) {
        return;
    }
    let sent = seen.now + Span::from_mins_f64(dice.wait(0.7).min(6.0));
    let at = dice.chance(0.8).then_some(seen.now);
    out.push(Deed::Tell(Report { event, at, sent, by, fields }));
}

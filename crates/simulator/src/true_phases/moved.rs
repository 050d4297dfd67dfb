//! Where what makes a hold is moved by a margin: a charge that stands at the edge of its range, or comes to rest at hardly less than
//! 0.05 °C/min, is `working` or is not by a tenth of a degree, and nobody should be judged by that tenth.

use super::{AROUND_RANGE_C, Course, STEADY_C_PER_MIN, STEADY_S};
use crate::conditions::Ease;

/// However coarse a probe, what makes a hold is not moved by more than this share of it.
const MOST_MOVED: f64 = 0.5;

/// What a charge has to keep to for five minutes (a bowl for two) to be worked with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rest {
    /// So far around the working range, °C.
    pub(crate) around_c: f64,
    /// Flatter than this, °C/min.
    pub(crate) c_per_min: f64,
}

impl Rest {
    /// The contract's.
    pub(crate) const LETTER: Rest = Rest { around_c: AROUND_RANGE_C, c_per_min: STEADY_C_PER_MIN };

    /// The same moved by what a definition may be met or missed by, and by what a probe can tell.
    pub(crate) fn moved(ease: Ease) -> Rest {
        let harder = |limit: f64, celsius: f64| {
            let by = limit * (ease.factor - 1.0) + celsius;
            limit - by.clamp(-MOST_MOVED * limit, MOST_MOVED * limit)
        };
        let slope = ease.celsius / (STEADY_S as f64 / 60.0);
        Rest {
            around_c: harder(Rest::LETTER.around_c, ease.celsius),
            c_per_min: harder(Rest::LETTER.c_per_min, slope),
        }
    }
}

/// The batches of a record, and the same where what makes a hold is moved.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Courses {
    /// By the contract's letter.
    pub(crate) letter: Vec<Course>,
    easier: Vec<Course>,
    harder: Vec<Course>,
    told: Vec<Course>,
}

impl Courses {
    /// Those of a probe that tells the chocolate in steps of `told_to_c`; `at` are the batches by what makes a hold.
    pub(crate) fn of(told_to_c: f64, at: impl Fn(Rest) -> Vec<Course>) -> Courses {
        let letter = at(Rest::LETTER);
        let moved = |ease| {
            let moved = at(Rest::moved(ease));
            assert_eq!(moved.len(), letter.len(), "what makes a hold makes no batch");
            moved
        };
        Courses {
            easier: moved(Ease::by(-1.0, told_to_c, 0.0)),
            harder: moved(Ease::by(1.0, told_to_c, 0.0)),
            told: moved(Ease::told(told_to_c, 0.0)),
            letter,
        }
    }

    /// Those for limits that were moved like this.
    pub(crate) fn by(&self, ease: Ease) -> &[Course] {
        if ease == Ease::NONE {
            &self.letter
        } else if ease.factor < 1.0 {
            &self.easier
        } else if ease.factor > 1.0 {
            &self.harder
        } else {
            &self.told
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fine_probe_moves_them_by_the_margin_and_a_coarse_one_by_half() {
        let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
        // 15 % of 0.5 °C and of 0.05 °C/min, 0.02 °C, and 0.02 °C in five minutes.
        let hard = Rest::moved(Ease::by(1.0, 0.0, 0.0));
        assert!(near(hard.around_c, 0.405) && near(hard.c_per_min, 0.0385), "{hard:?}");
        let easy = Rest::moved(Ease::by(-1.0, 0.0, 0.0));
        assert!(near(easy.around_c, 0.595) && near(easy.c_per_min, 0.0615), "{easy:?}");
        let coarse = Rest::moved(Ease::told(2.0, 0.0));
        assert!(near(coarse.around_c, 0.25) && near(coarse.c_per_min, 0.025), "{coarse:?}");
        assert_eq!(Rest::moved(Ease::NONE), Rest::LETTER);
    }
}

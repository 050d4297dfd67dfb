//! The formulas of the trade and of the control charts: numbers in, numbers with their uncertainty out.
//!
//! Temperatures are °C, times seconds on an axis of the caller's choice, masses kg; a rate says its own unit. Everything is a pure
//! function of its arguments, or a small running state (`insert`, then ask). Nothing here reads a clock or a file, nothing panics,
//! and nothing returns NaN: what cannot be answered is `None` where one reason is possible, and a named
//! [`MathsError`] where there are several.
//!
//! The reader may take the modules as chapters:
//!
//! | chapter | question |
//! | --- | --- |
//! | [`cooling`] | How fast does it cool, and when will it be there? |
//! | [`heat`] | Where does it land with that much seed? |
//! | [`exposure`] | How long was it too warm? |
//! | [`melt_out`] | What may that have cost? (low confidence) |
//! | [`humidity`] | Will it sweat? |
//! | [`curve`] | What does the sample's curve say? |
//! | [`sensors`] | What does the probe say, and how wrong may it be? |
//! | [`statistics`] | Middle, spread, independence |
//! | [`trend`] | Does it drift, and since when? |
//! | [`control`] | Has it moved, and is it good enough? |
//! | [`least_squares`] | The engine under the fits |
//!
//! # How far each routine is checked
//!
//! Digits are those that the tests measure, `−log₁₀` of the relative difference, the fewest over all cases; "printed" means all digits
//! of a printed table. A source marked † was quoted from memory.
//!
//! | routine | compared with | reached |
//! | --- | --- | --- |
//! | [`least_squares::fit_curve`] | NIST StRD Misra1a, BoxBOD, Misra1b, Chwirut2, MGH17, MGH10, both starts | parameters 10.8 digits, deviations 10.4, sum of squares 10.4 (11 are certified) |
//! | [`least_squares::fit_polynomial`] | NIST StRD Norris, Pontius | 12.0 digits |
//! | [`statistics::straight_line`] | NIST StRD Norris | 12.8 digits |
//! | [`cooling::seconds_to`], [`cooling::tau_between`] | OpenStax, seven examples | 12 digits of the full answer; the printed ones, made with rounded rates, to 0.5 % |
//! | [`cooling::follow`] | midpoint rule in steps of 0.05 s | 1e-6 °C |
//! | [`cooling::time_to`] | 2,000 simulated coolings a case, independent noise | covers 95.2 to 95.5 % of 95 %, 80.6 % of 80 %; with a known level 94.4 % |
//! | | noise that resembles its neighbours (0.6 over 10 s) | covers 91.0 % of 95 %: too narrow |
//! | | 0.1 °C display, one spike in fifty | covers 95.2 % of 95 % |
//! | [`heat::mix`], [`heat::Addition`] | OpenStax College Physics, three examples | 12 digits; printed |
//! | | the trade's landing table, 30 entries, and top-up rules | printed (0.1 °C) |
//! | [`exposure`] | triangles and lines by hand | 12 digits |
//! | [`humidity::Magnus`] | WMO, Alduchov & Eskridge, Tetens: 117 dew points, 9 pressures | printed (4 and 2 decimals) |
//! | [`humidity::dew_point`] | ASHRAE equations (psychrolib 2.5.0), over water | 0.020 K |
//! | [`sensors::pt100_ohm`], [`sensors::pt100_celsius`] | IEC 60751 table and its function | printed; 6 decimals; back to 1e-11 °C |
//! | [`sensors::thermocouple_millivolt`] | NIST Monograph 175 † and thermocouples_reference 0.20 | printed; 6 decimals |
//! | [`sensors::thermocouple_celsius`] | published inverse polynomials | within their published bounds; back to 1e-7 °C |
//! | [`statistics::Moments`], [`statistics::autocorrelation`] | NIST StRD Lew, Lottery, Mavro, Michelso | mean 15 digits, deviation 12.1, autocorrelation 13.5 |
//! | | NumAcc3, NumAcc4 | deviation 9.5 and 8.3, which is what the inputs hold |
//! | [`statistics::student_quantile`] and its like | e-Handbook tables † | printed (3 decimals) |
//! | [`statistics::rank_sum()`] | chorioamnion (Hollander & Wolfe 1973, from memory) | printed (4 decimals) |
//! | [`statistics::independence_interval`] | first-order series, 20,000 values | within 10 % of exact |
//! | [`trend::mann_kendall`], [`trend::theil_sen`] | worked example; pymannkendall 1.4.3, scipy 1.17.1 | printed; 10.1 digits |
//! | [`trend::split`], [`trend::pettitt`] | Nile (Cobb 1978), Page's series (Pettitt 1979); ruptures 1.1.10 | same place; 12 digits |
//! | [`control::Individuals`], [`control::Cusum`], [`control::Ewma`], [`control::Capability`] | e-Handbook 6.3.2.2–4, 6.1.6 | printed; 11 digits of the full values |
//! | run lengths of CUSUM and EWMA | Lucas & Crosier, Brook & Evans, Vance, Crowder, Lucas & Saccucci; 160 simulated cases | each within four of its standard errors, mean square of the deviations 0.8 to 1.0 |
//! | intervals of [`control::Capability`] | 4,000 simulated processes of 30 values | Cp covers 94.6 %, Cpk 94.5 % of 95 % |
//! | [`curve::local_parabola`] | Savitzky & Golay's coefficients † | 12 digits |
//! | [`curve::read_curve`] | made-up curves, noise 0.05 °C | class right in 192 to 200 of 200, the rest marked borderline; no inflection invented in 400 featureless curves |
//! | [`melt_out`] | the guide itself | no outside check: low confidence |
//!
//! No measured cooling curve of chocolate was at hand that may be copied, so that [`cooling`] and [`curve`] are checked against
//! textbooks and made-up curves only.
//!
//! No number in this crate proves temper. Hot metal, scrapers and electricity are dealt with where people stand beside them, under
//! local codes and by licensed hands; a formula knows nothing of them.

// Asking for what is wanted, `!(0.0 < x)`, makes NaN fail; the comparison that this lint proposes would let it through.
#![allow(clippy::neg_cmp_op_on_partial_ord)]

pub mod control;
pub mod cooling;
pub mod curve;
mod error;
pub mod exposure;
pub mod heat;
pub mod humidity;
pub mod least_squares;
pub mod melt_out;
pub mod sensors;
pub mod statistics;
pub mod trend;

pub use error::MathsError;

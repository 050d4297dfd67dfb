//! How long a tick is: kettles and tempering lines are slow, a wheel or a bowl moves within seconds.

use model::Span;
use plant::Style;

const SLOW: Span = Span::from_secs(5);
const FAST: Span = Span::from_secs(1);

/// The step of a machine's ticks.
pub(crate) fn step_of(style: Style) -> Span {
    match style {
        Style::Kettle | Style::Continuous => SLOW,
        Style::Wheel | Style::Bench => FAST,
    }
}

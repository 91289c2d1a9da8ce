//! Whether a risk that is over its line is doubt: which fresh readings would bring it under, if any would. Pure.

use super::compare::{Comparison, hypotheses};
use super::risk::risk_path;
use super::{OUT_ABOVE, Seen, Watched};
use crate::units::Time;

/// What a fresh reading of would bring the risk under its lines, if any would: then it is the doubt that is large.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doubt {
    /// The display's reading helps.
    pub display: bool,
    /// The lamp's reading helps.
    pub lamp: bool,
    /// A reading of the lit paper helps.
    pub paper: bool,
}

/// Readings that may be asked for, the fewest first.
const READINGS: [Doubt; 5] = [
    Doubt { display: true, lamp: false, paper: false },
    Doubt { display: false, lamp: true, paper: false },
    Doubt { display: false, lamp: false, paper: true },
    Doubt { display: true, lamp: true, paper: false },
    Doubt { display: true, lamp: true, paper: true },
];

/// The fewest readings that would settle it, if any would: whether it is out now where `out_now` says that it seems so, else
/// whether it will leave its tolerance.
pub(super) fn doubtful(
    seen: &Seen,
    comparison: &Comparison,
    times: &[Time],
    max_risk: f64,
    out_now: bool,
) -> Option<Doubt> {
    let now = *times.first()?;
    let fresh = |device: &Watched| device.state.after_fresh_reading(device.params, now, device.noise, times);
    let (display, lamp) = (fresh(&seen.display), fresh(&seen.lamp));
    let display_now = seen.display.state.forecast(seen.display.params, times);
    let lamp_now = seen.lamp.state.forecast(seen.lamp.params, times);
    // Lit paper is read against the lamp, and both readings scatter.
    let paper_sd = seen.lamp.noise.uv * std::f64::consts::SQRT_2;
    let settled = |read: &Doubt| {
        let comparison = Comparison { paper_read_sd: read.paper.then_some(paper_sd), ..comparison.clone() };
        let display = if read.display { vec![(1.0, &display)] } else { hypotheses(&display_now) };
        let lamp = if read.lamp { vec![(1.0, &lamp)] } else { hypotheses(&lamp_now) };
        let path = risk_path(&comparison.differences(&display, &lamp, times.len()), &seen.limits());
        // Each risk is held against its own line: a match that is only thought to be out is unknown, whatever comes later.
        if out_now {
            path.on.first().is_some_and(|risk| *risk <= OUT_ABOVE)
        } else {
            path.within.last().is_some_and(|risk| *risk <= max_risk)
        }
    };
    let [.., all] = &READINGS;
    if !settled(all) {
        return None;
    }
    READINGS.into_iter().find(settled)
}

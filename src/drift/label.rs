//! What a label says of a device until something is measured.
//!
//! A label is a nominal value with the spread that the trade allows. It stands beside the filters and not in them: whoever asks
//! for the state is answered as if the label were a reading ([`DeviceState::by_its_label`]), and the first measurement simply
//! takes its place. So a label weighs nothing once the device was measured, and no measurement is doubted because of a label.
//! A label that comes after a measurement of the same regime is kept and counts for nothing; one that comes after a
//! replacement speaks of the new thing. What was done since (a dimmer turned, a move) widens it as it would widen a reading.

use super::bank::Number;
use super::device::DeviceState;
use super::observation::{Absorbed, Fate, Observation, Params};
use super::odd::{beliefs_of, numbers_of, part_tint};
use super::priors::{ChannelPrior, DriftPrior, LABEL_LN_SD};
use crate::units::Time;

/// A label that stands in.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Label {
    pub seq: i64,
    pub time: Time,
    pub numbers: [Option<Number>; 3],
    /// Covariance of the errors of u′ and v′.
    pub uv: f64,
}

impl Label {
    /// Adds what an act adds to the level, by channel.
    pub fn widen(&mut self, prior: &DriftPrior, sd: impl Fn(&ChannelPrior) -> f64) {
        for (number, prior) in self.numbers.iter_mut().zip(&prior.channels) {
            if let Some(number) = number {
                number.extra += sd(prior) * sd(prior);
            }
        }
    }
}

impl DeviceState {
    /// Takes a label in, where nothing was measured since the device was last set anew.
    pub(super) fn read_label(&mut self, params: &Params, prior: &DriftPrior, observation: &Observation) -> Absorbed {
        if self.since_reset[0] > 0 {
            return Absorbed { fate: Fate::Outranked, revised: Vec::new(), step: None };
        }
        // What is printed is not cold.
        let warm = Observation { warmup_min: None, ..observation.clone() };
        let (mut numbers, _) = numbers_of(params, prior, &warm);
        if let Some(level) = &mut numbers[2] {
            level.extra += LABEL_LN_SD * LABEL_LN_SD;
        }
        if self.since_reset[2] > 0 {
            numbers[2] = None;
        }
        let revised = self.label_outranked();
        self.label =
            Some(Label { seq: observation.seq, time: observation.time, numbers, uv: observation.extra_cov[1] });
        self.last_read = Some((observation.time, observation.seq));
        self.used += 1;
        Absorbed { fate: Fate::Used, revised, step: None }
    }

    /// A measurement, or another label, takes the label's place.
    pub(super) fn label_outranked(&mut self) -> Vec<(i64, Fate)> {
        let label = self.label.take();
        self.used = self.used.saturating_sub(u64::from(label.is_some()));
        label.map(|label| (label.seq, Fate::Outranked)).into_iter().collect()
    }

    /// Lets go of the belief that a new lamp has the white of its aim, where nothing was measured of it: a word that leaves much
    /// open, a label or a colour temperature alone, would else be bent towards the aim.
    pub(super) fn expect_any_white(&mut self, prior: &DriftPrior) {
        for (c, (bank, prior)) in self.banks.iter_mut().zip(&prior.channels).enumerate().take(2) {
            if self.since_reset.get(c) == Some(&0) {
                bank.widen_level(prior, prior.level_about_aim);
            }
        }
    }

    /// The state if the label were a reading.
    pub(super) fn by_its_label(&self, prior: &DriftPrior) -> Self {
        let mut state = self.clone();
        let Some(label) = state.label.take() else { return state };
        state.carry_to(prior, label.time, None);
        state.expect_any_white(prior);
        let mut numbers = label.numbers;
        part_tint(&mut numbers, &beliefs_of(&state.banks, prior), &Default::default(), label.uv);
        for (c, number) in numbers.iter().enumerate() {
            if let Some(number) = number {
                state.banks[c].take(&prior.channels[c], number);
                state.ever[c] = true;
                state.new_here[c] = false;
            }
        }
        state
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drift::tests::{self, on, reading};
    use crate::drift::{Act, Happening};
    use crate::units::UvPrime;

    fn led() -> Params {
        Params { aim_white: Some(UvPrime { u: 0.2092, v: 0.4881 }), ..tests::led() }
    }

    fn read(day: f64, white: (f64, f64)) -> Observation {
        Observation { white: UvPrime { u: white.0, v: white.1 }, ..reading(day, [0.0; 3]) }
    }

    /// 5000 K as printed: 5029 K, Duv 0.002, with its quadrangle.
    fn label(day: f64) -> Observation {
        let extra_cov = [1.0e-5, 2e-6, 2.0e-5];
        Observation { extra_cov, ln_level: None, label: true, ..read(day, (0.2086, 0.4907)) }
    }

    /// A lamp of 4464 K, u′v′ 0.02 away from what its label says.
    const MEASURED: (f64, f64) = (0.2190, 0.5050);

    fn white(state: &DeviceState, params: &Params, day: f64) -> [(f64, f64); 2] {
        let path = state.forecast(params, &[on(day)]).likely;
        [0, 1].map(|c: usize| {
            let channel = path.channels[c].as_ref().unwrap();
            (channel.mean[0], channel.sd[0])
        })
    }

    #[test]
    fn a_label_stands_in_with_its_own_spread() {
        let params = led();
        let mut state = DeviceState::new(&params);
        let taken = state.absorb(&params, &label(0.0));
        assert_eq!((taken.fate, taken.revised.len()), (Fate::Used, 0));
        let [(u, u_sd), (v, v_sd)] = white(&state, &params, 1.0);
        assert!((u - 0.2086).abs() < 1e-3 && (v - 0.4907).abs() < 1e-3, "{u} {v}");
        assert!((0.002..0.0045).contains(&u_sd) && (0.003..0.006).contains(&v_sd), "{u_sd} {v_sd}");
        assert!(state.forecast(&params, &[on(1.0)]).likely.channels[2].is_none(), "a label tells no level");
        let summary = state.summary(&params);
        assert!(summary.by_label && summary.used == 1);
        let bytes = state.to_bytes();
        assert_eq!(DeviceState::from_bytes(&bytes), Ok(state.clone()));
        // A dimmer that is turned leaves the label less sure.
        state.note(&params, &Happening { time: on(2.0), act: Act::SettingChanged });
        assert!(white(&state, &params, 2.0)[0].1 > 2.0 * u_sd);
        state.note(&params, &Happening { time: on(3.0), act: Act::Replaced });
        assert!(!state.summary(&params).by_label, "another lamp has another label");
    }

    #[test]
    fn the_first_measurement_takes_its_place_whole() {
        let params = led();
        let mut plain = DeviceState::new(&params);
        let mut labelled = DeviceState::new(&params);
        labelled.absorb(&params, &label(0.0));
        let first = labelled.absorb(&params, &read(9.0, MEASURED));
        assert_eq!((first.fate, first.step), (Fate::Used, None), "no step, however far from the label");
        assert_eq!(first.revised, [(0, Fate::Outranked)]);
        plain.absorb(&params, &read(9.0, MEASURED));
        let ahead = |state: &DeviceState| state.forecast(&params, &[on(9.0), on(40.0)]);
        assert!(ahead(&labelled) == ahead(&plain), "as if there had been no label");
        assert_eq!(labelled.summary(&params).used, 1);
        assert_eq!(labelled.absorb(&params, &label(12.0)).fate, Fate::Outranked, "nor does a later one count");
        assert_eq!(labelled.last_read(), Some(on(9.0)));
        labelled.note(&params, &Happening { time: on(20.0), act: Act::Replaced });
        assert_eq!(labelled.absorb(&params, &label(20.0)).fate, Fate::Used, "it speaks of the new lamp");
        assert!((white(&labelled, &params, 21.0)[1].0 - 0.4907).abs() < 0.003);
    }
}

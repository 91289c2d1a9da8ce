//! Odd readings: a gate, and the way back.
//!
//! A reading whose χ² against what was expected passes 1 in 1000 is doubted: it stays out of the mean. It may be a
//! stray or a step, with prior odds `rate of steps × days since the last reading : share of strays`, both by
//! signature: strays mostly move the colour, a bumped dimmer moves the level alone. The next reading decides between
//! the two by the densities that the old state and the state after a step had foretold for it: agree with the old one,
//! and the doubt is dropped; with the new one, and the step is found, dated by the first reading that showed it, slope
//! and weights kept. With neither it is doubted too; a third in a row means that the old state is wrong.
//!
//! After an event the level is gated like any other, since strays do not wait: if a second reading bears the first out, the
//! device was set elsewhere than was thought, which is no unlogged step. Only the first reading of a thing that is new here is
//! believed whatever it says.

use super::bank::{Bank, Belief, Number};
use super::device::{DeviceState, Pending};
use super::dynamics::Span;
use super::observation::{Absorbed, Doubt, Fate, Observation, Params, StepFound};
use super::offset::LEVEL;
use super::priors::{DriftPrior, odd};
use crate::units::Time;

/// With so many odd readings in a row the old state is given up.
const GIVEN_UP_AT: usize = 3;

/// How a reading stands to a state.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Standing {
    /// Sum of squared innovations in units of their variance, and of how many channels.
    chi2: f64,
    channels: usize,
    /// ln density of all channels.
    ln_density: f64,
    /// Innovation in sd, by channel; 0 where not measured or not judged.
    z: [f64; 3],
}

impl Standing {
    fn is_odd(&self) -> bool {
        self.channels > 0 && self.chi2 > odd::GATE[self.channels.min(3) - 1]
    }
}

impl DeviceState {
    /// Takes in a reading that does not look impossible.
    pub(super) fn judge(&mut self, params: &Params, prior: &DriftPrior, observation: &Observation) -> Absorbed {
        let (mut numbers, cold) = numbers_of(params, prior, observation);
        let across = self.is_across(observation);
        numbers.iter_mut().flatten().for_each(|number| number.across = across);
        let span = self.span(observation.time, observation.hours);
        let beliefs = beliefs_of(&self.banks, prior);
        part_tint(&mut numbers, &beliefs, &span, observation.extra_cov[1]);
        let used = if cold { Fate::UsedCold } else { Fate::Used };
        let old = standing(&beliefs, &span, &numbers, &self.new_here);

        if observation.released {
            return self.believe(prior, observation, numbers, &old, used);
        }
        if self.pending.is_empty() {
            if !old.is_odd() {
                self.open_where_off(prior, &beliefs, &span, &numbers);
                self.take(prior, observation, &numbers, used);
                return Absorbed { fate: used, revised: Vec::new(), step: None };
            }
            return self.doubt(observation, numbers, &old);
        }

        let mut stepped = self.clone();
        let waiting = std::mem::take(&mut stepped.pending);
        stepped.step_to(prior, &waiting);
        let after = stepped.span(observation.time, observation.hours);
        let new_beliefs = beliefs_of(&stepped.banks, prior);
        let new = standing(&new_beliefs, &after, &numbers, &stepped.new_here);
        let p = waiting.last().map_or(0.0, |w| w.p);
        let step_odds = libm::log(p / (1.0 - p)) + new.ln_density - old.ln_density;

        if !old.is_odd() && (step_odds < 0.0 || new.is_odd()) {
            let revised = self.dropped();
            self.take(prior, observation, &numbers, used);
            return Absorbed { fate: used, revised, step: None };
        }
        if !new.is_odd() || waiting.len() + 1 >= GIVEN_UP_AT {
            let before = [0, 1, 2].map(|c: usize| beliefs[c].mean(&span));
            let mut seqs: Vec<i64> = waiting.iter().map(|w| w.seq).collect();
            let revised = seqs.iter().map(|seq| (*seq, Fate::Used)).collect();
            seqs.push(observation.seq);
            if new.is_odd() {
                stepped.give_up(prior, &numbers, &new.z);
            }
            stepped.take(prior, observation, &numbers, used);
            stepped.used += waiting.len() as u64;
            stepped.used_since_new += waiting.len() as u64;
            let began = waiting.first().map_or(observation.time, |w| w.time);
            // What was set anew did not step: it was set elsewhere than was thought.
            let missed = waiting.first().is_some_and(|w| w.set_anew);
            let step = (!missed).then(|| stepped.found(prior, began, seqs, before));
            stepped.asked = None;
            *self = stepped;
            return Absorbed { fate: used, revised, step };
        }
        self.doubt(observation, numbers, &old)
    }

    /// A person let the reading count. Where it is odd that means that the device is there now, not half-way.
    fn believe(
        &mut self,
        prior: &DriftPrior,
        observation: &Observation,
        numbers: [Option<Number>; 3],
        old: &Standing,
        used: Fate,
    ) -> Absorbed {
        let revised = self.dropped();
        if !old.is_odd() {
            self.take(prior, observation, &numbers, used);
            return Absorbed { fate: used, revised, step: None };
        }
        let span = self.span(observation.time, observation.hours);
        let before = beliefs_of(&self.banks, prior).map(|belief| belief.mean(&span));
        self.doubt(observation, numbers, old);
        let waiting = std::mem::take(&mut self.pending);
        self.step_to(prior, &waiting);
        let step = self.found(prior, observation.time, vec![observation.seq], before);
        Absorbed { fate: used, revised, step: Some(step) }
    }

    /// Writes down the step that led from `before` to the state as it is now.
    fn found(&mut self, prior: &DriftPrior, began: Time, seqs: Vec<i64>, before: [f64; 3]) -> StepFound {
        let now = beliefs_of(&self.banks, prior).map(|belief| belief.mean(&Span::default()));
        let [delta_u, delta_v, delta_ln] = [0, 1, 2].map(|c: usize| now[c] - before[c]);
        let step = StepFound { after: self.last_used, began, seqs, delta_u, delta_v, delta_ln };
        self.step_before = self.last_step.replace(step.clone());
        self.asked = None;
        step
    }

    /// The state if the device stepped just before the first of `waiting`.
    pub(super) fn step_to(&mut self, prior: &DriftPrior, waiting: &[Pending]) {
        for (place, odd) in waiting.iter().enumerate() {
            self.carry_to(prior, odd.time, odd.hours);
            for c in 0..3 {
                let Some(number) = &odd.numbers[c] else { continue };
                let channel = &prior.channels[c];
                if place == 0 && odd.moved[c] {
                    let sd = channel.level_about_aim;
                    let value = self.banks[c].on_scale(channel, number);
                    self.banks[c].alter(channel, |filter, _| {
                        filter.mean[0] = value - filter.mean[2];
                        filter.cov.0[0] = [sd * sd, 0.0, 0.0];
                        filter.cov.0[1][0] = 0.0;
                        filter.cov.0[2][0] = 0.0;
                    });
                    self.banks[c].sever([LEVEL]);
                    self.since_reset[c] = 0;
                } else if place > 0 && odd.moved[c] {
                    self.banks[c].widen_level(channel, channel.step);
                }
                self.banks[c].take(channel, number);
                self.ever[c] = true;
                self.new_here[c] = false;
                self.since_reset[c] = self.since_reset[c].saturating_add(1);
            }
        }
    }

    /// Takes the numbers in, and holds them against what was foretold where the device was warm.
    fn take(&mut self, prior: &DriftPrior, observation: &Observation, numbers: &[Option<Number>; 3], used: Fate) {
        self.carry_to(prior, observation.time, observation.hours);
        for (c, number) in numbers.iter().enumerate() {
            if let Some(number) = number {
                self.banks[c].take(&prior.channels[c], number);
                self.ever[c] = true;
                self.new_here[c] = false;
                self.since_reset[c] = self.since_reset[c].saturating_add(1);
                self.turned &= c != 2;
            }
        }
        if used == Fate::Used {
            self.verify(prior, numbers);
        }
    }

    /// Where the first reading of a thing is far from the aim, it never stood there: the reading is believed.
    fn open_where_off(
        &mut self,
        prior: &DriftPrior,
        beliefs: &[Belief; 3],
        span: &Span,
        numbers: &[Option<Number>; 3],
    ) {
        for c in 0..3 {
            let Some(number) = &numbers[c] else { continue };
            let (mean, variance) = beliefs[c].foretell(span, number);
            let off = number.value - mean;
            if self.new_here[c] && off * off > odd::GATE[0] * variance {
                let value = self.banks[c].on_scale(&prior.channels[c], number);
                self.banks[c].reset_level(&prior.channels[c], value, prior.channels[c].level_about_aim);
            }
        }
    }

    /// Neither the old state nor any step explains the readings: the levels that are off are known by this one alone.
    fn give_up(&mut self, prior: &DriftPrior, numbers: &[Option<Number>; 3], z: &[f64; 3]) {
        for c in 0..3 {
            let Some(number) = &numbers[c] else { continue };
            if z[c].abs() > odd::MOVED {
                let value = self.banks[c].on_scale(&prior.channels[c], number);
                self.banks[c].reset_level(&prior.channels[c], value, prior.channels[c].level_about_aim);
                self.since_reset[c] = 0;
            }
        }
    }

    fn doubt(&mut self, observation: &Observation, numbers: [Option<Number>; 3], old: &Standing) -> Absorbed {
        let most = old.z.iter().fold(0.0f64, |a, z| a.max(z.abs()));
        let mut moved = old.z.map(|z| z.abs() > odd::MOVED || z.abs() == most);
        if moved[0] || moved[1] {
            moved = [true, true, moved[2]];
        }
        let p = self.chance_of_step(observation, &moved);
        let (seq, time, hours) = (observation.seq, observation.time, observation.hours);
        let set_anew = (0..3).all(|c| !moved[c] || self.since_reset[c] == 0);
        self.pending.push(Pending { seq, time, hours, numbers, moved, p, set_anew });
        Absorbed { fate: Fate::Doubted(Doubt::PossibleStep), revised: Vec::new(), step: None }
    }

    /// Probability that an odd reading with this signature is a step rather than a stray.
    fn chance_of_step(&self, observation: &Observation, moved: &[bool; 3]) -> f64 {
        if !self.pending.is_empty() {
            // Two strays in a row are rare.
            return 0.5;
        }
        if (0..3).all(|c| !moved[c] || self.since_reset[c] <= 1) {
            // Either may be the odd one: this reading, or what it was set to or first read as.
            return odd::SET_ELSEWHERE;
        }
        let gap = self.last_used.map_or(odd::LONGEST_GAP, |last| observation.time.since(last).0);
        let years = gap.clamp(0.0, odd::LONGEST_GAP) / 365.25;
        let level_alone = *moved == [false, false, true];
        let (steps, strays) = if level_alone {
            (odd::LEVEL_STEPS_PER_YEAR, odd::STRAY_SHARE * odd::STRAY_LEVEL_ONLY)
        } else {
            (odd::COLOUR_STEPS_PER_YEAR, odd::STRAY_SHARE * (1.0 - odd::STRAY_LEVEL_ONLY))
        };
        let rate = steps * years;
        (rate / (rate + strays)).clamp(0.05, 0.8)
    }

    /// Waiting readings were strays.
    fn dropped(&mut self) -> Vec<(i64, Fate)> {
        self.pending.drain(..).map(|p| (p.seq, Fate::Doubted(Doubt::NotBorneOut))).collect()
    }
}

pub(super) fn beliefs_of(banks: &[Bank; 3], prior: &DriftPrior) -> [Belief; 3] {
    [0, 1, 2].map(|c: usize| banks[c].belief(&prior.channels[c]))
}

/// The numbers of a reading, by channel, and whether it was cold. Cold adds a variance `c²e^(−6 t/T)` up to the warm-up
/// time `T`, its sd `c` falling to a twentieth.
pub(super) fn numbers_of(
    params: &Params,
    prior: &DriftPrior,
    observation: &Observation,
) -> ([Option<Number>; 3], bool) {
    let cold = observation.warmup_min.filter(|minutes| *minutes < params.warm_up_min);
    let share = cold.map_or(0.0, |minutes| libm::exp(-6.0 * minutes / params.warm_up_min));
    let extra = |c: usize| {
        let channel = &prior.channels[c];
        channel.cold * channel.cold * share
    };
    let [uu, _, vv] = observation.extra_cov;
    let (colour, level) =
        (observation.noise.uv * observation.noise.uv, observation.noise.level * observation.noise.level);
    let finite = observation.white.u.is_finite() && observation.white.v.is_finite();
    let number = |c, value, noise, beside: f64| Number { value, noise, extra: beside + extra(c), across: false };
    let numbers = [
        finite.then(|| number(0, observation.white.u, colour, uu)),
        finite.then(|| number(1, observation.white.v, colour, vv)),
        observation.ln_level.map(|value| number(2, value, level, observation.extra_ln)),
    ];
    (numbers, cold.is_some())
}

/// Errors of u′ and v′ that go together (a colour temperature without tint): each channel is given what its number
/// says once the other's surprise is known. With `S = P + R`, `P` diagonal, the exact marginal of u′ after both
/// numbers is that of the single number `z_u − (R_uv/S_vv)(z_v − m_v)` with noise `R_uu − R_uv²/S_vv`; only the
/// covariance that would arise between the channels is let go.
pub(super) fn part_tint(numbers: &mut [Option<Number>; 3], beliefs: &[Belief; 3], span: &Span, uv: f64) {
    let [Some(u), Some(v), _] = *numbers else { return };
    if uv == 0.0 {
        return;
    }
    let (mean_u, s_u) = beliefs[0].foretell(span, &u);
    let (mean_v, s_v) = beliefs[1].foretell(span, &v);
    let part = |number: &Number, off: f64, s: f64| Number {
        value: number.value - uv / s * off,
        noise: number.noise,
        extra: (number.extra - uv * uv / s).max(0.0),
        across: number.across,
    };
    if s_u > 0.0 && s_v > 0.0 {
        numbers[0] = Some(part(&u, v.value - mean_v, s_v));
        numbers[1] = Some(part(&v, u.value - mean_u, s_u));
    }
}

/// How `numbers` stand to a state; a channel not yet read of the thing that stands here is not judged.
fn standing(beliefs: &[Belief; 3], span: &Span, numbers: &[Option<Number>; 3], new_here: &[bool; 3]) -> Standing {
    let mut out = Standing { chi2: 0.0, channels: 0, ln_density: 0.0, z: [0.0; 3] };
    for c in 0..3 {
        let Some(number) = &numbers[c] else { continue };
        let (mean, variance) = beliefs[c].foretell(span, number);
        let variance = variance.max(1e-18);
        let off = number.value - mean;
        let squared = off * off / variance;
        out.ln_density -= 0.5 * (squared + libm::log(variance));
        if !new_here[c] {
            out.chi2 += squared;
            out.channels += 1;
            out.z[c] = off / libm::sqrt(variance);
        }
    }
    out
}

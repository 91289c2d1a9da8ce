//! How good the state's own forecasts proved on this device, and what follows for their spread.
//!
//! A forecast is put aside after a reading; the first warm reading at least [`AHEAD`] later is held against it, and the next
//! forecast is put aside then. So no two windows overlap and their errors are nearly independent. An event, another
//! setting or a step in between makes the forecast void: it said what would come if nobody touched the device. Readings
//! that the gate doubts do not count either, for the same reason.
//!
//! Of `n` forecasts with squared errors `z²` in units of the foretold variance (each expected to be 1), the spread has
//! proved wrong where `Σz²` is farther from `n` than chance allows ([`PROOF`] times `√(2n)`, the sd of χ² with `n`
//! degrees). Then variances ahead are multiplied by `(W + Σz²)/(W + n)`, `W` forecasts' worth of trust in the model. Below
//! 1 only with [`ENOUGH_TO_NARROW`] forecasts. Full at [`AHEAD`] and beyond, none at the instant of the state, which the
//! readings themselves tell.

use super::bank::{Belief, Number};
use super::device::DeviceState;
use super::dynamics::Span;
use super::odd::beliefs_of;
use super::priors::DriftPrior;

/// Days from a forecast to the reading it is held against, at least.
const AHEAD: f64 = 28.0;
/// Standard deviations of χ² that chance is given: one side, 5 %.
const PROOF: f64 = 1.645;
/// Trust in the model, in forecasts.
const TRUST: f64 = 12.0;
/// Verified forecasts below which no spread is narrowed.
const ENOUGH_TO_NARROW: u32 = 30;
/// No single forecast counts for more than this, so that one odd reading which passed the gate proves nothing.
const MOST: f64 = 12.0;
/// The variance is never multiplied by less nor by more.
const FACTORS: (f64, f64) = (0.5, 9.0);

/// A forecast that waits for its reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Asked {
    /// What was believed.
    pub beliefs: [Belief; 3],
    /// Which channels had been read by then.
    pub known: [bool; 3],
    /// What has passed since.
    pub span: Span,
}

/// The record of one channel's forecasts.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Record {
    /// Forecasts that a reading was held against.
    pub forecasts: u32,
    /// Sum of the squared errors, each in units of the variance foretold.
    pub squares: f64,
}

impl Record {
    /// By what the variance of a forecast is multiplied; 1 unless the spread has proved wrong.
    pub fn factor(&self) -> f64 {
        let n = f64::from(self.forecasts);
        let off = self.squares - n;
        let proved = off.abs() > PROOF * libm::sqrt(2.0 * n);
        let may_narrow = self.forecasts >= ENOUGH_TO_NARROW;
        if !proved || (off < 0.0 && !may_narrow) {
            return 1.0;
        }
        ((TRUST + self.squares) / (TRUST + n)).clamp(FACTORS.0, FACTORS.1)
    }

    /// The same for a forecast `days` ahead.
    pub fn factor_ahead(&self, days: f64) -> f64 {
        1.0 + (self.factor() - 1.0) * (days / AHEAD).clamp(0.0, 1.0)
    }

    fn count(&mut self, off: f64, variance: f64) {
        self.forecasts = self.forecasts.saturating_add(1);
        self.squares += (off * off / variance.max(1e-18)).min(MOST);
    }
}

impl DeviceState {
    /// A warm reading was taken in: holds it against the forecast that waits for it, and puts the next one aside.
    pub(super) fn verify(&mut self, prior: &DriftPrior, numbers: &[Option<Number>; 3]) {
        if let Some(asked) = &self.asked {
            if asked.span.calendar < AHEAD {
                return;
            }
            for (c, number) in numbers.iter().enumerate() {
                if let (Some(number), true) = (number, asked.known[c]) {
                    let (mean, variance) = asked.beliefs[c].foretell(&asked.span, number);
                    self.records[c].count(number.value - mean, variance);
                }
            }
        }
        let beliefs = beliefs_of(&self.banks, prior);
        self.asked = Some(Asked { beliefs, known: self.ever, span: Span::default() });
    }
}

impl Asked {
    /// So much more has passed.
    pub(super) fn goes_on(&mut self, span: &Span) {
        self.span.ageing += span.ageing;
        self.span.calendar += span.calendar;
        self.span.settling += span.settling;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drift::tests::{led, on, reading};
    use crate::drift::{Act, DeviceState, Happening};

    fn record(forecasts: u32, mean_square: f64) -> Record {
        Record { forecasts, squares: f64::from(forecasts) * mean_square }
    }

    #[test]
    fn chance_proves_nothing() {
        assert_eq!(record(0, 1.0).factor(), 1.0);
        assert_eq!(record(1, 3.0).factor(), 1.0, "one forecast");
        assert_eq!(record(12, 1.5).factor(), 1.0, "within 1.645·√24 = 8.06");
        assert_eq!(record(29, 0.2).factor(), 1.0, "too few to narrow");
    }

    #[test]
    fn what_has_proved_wrong_is_mended_by_its_weight() {
        // (12 + 48)/(12 + 12) = 2.5
        assert!((record(12, 4.0).factor() - 2.5).abs() < 1e-12);
        // (12 + 8)/(12 + 40) = 0.3846, not below 0.5
        assert_eq!(record(40, 0.2).factor(), 0.5);
        // (12 + 20)/(12 + 40)
        assert!((record(40, 0.5).factor() - 32.0 / 52.0).abs() < 1e-12);
        let wide = record(12, 4.0);
        assert_eq!((wide.factor_ahead(0.0), wide.factor_ahead(14.0), wide.factor_ahead(90.0)), (1.0, 1.75, 2.5));
        assert_eq!(record(1000, 1000.0).factor(), 9.0);
    }

    /// Read each week; the level swings by 6 % with a season of twenty weeks, which is no movement the model knows.
    fn swinging(readings: u32) -> DeviceState {
        let params = led();
        let mut state = DeviceState::new(&params);
        for k in 0..readings {
            let level = 0.06 * libm::sin(f64::from(k) * 2.0 * std::f64::consts::PI / 20.0);
            let wobble = 1e-4 * (f64::from(k % 3) - 1.0);
            state.absorb(&params, &reading(7.0 * f64::from(k), [wobble, 0.0, level]));
        }
        state
    }

    #[test]
    fn a_device_that_moves_more_than_foretold_is_spread_wider() {
        let params = led();
        let state = swinging(80);
        let records = state.summary(&params).verified;
        assert_eq!(records.map(|record| record.forecasts), [19; 3], "one each four weeks");
        assert!(records[2].factor() > 1.0 && records[0].factor() == 1.0, "{records:?}");
        let mut unproved = state.clone();
        unproved.records = Default::default();
        let sd = |state: &DeviceState, day: f64| {
            state.forecast(&params, &[on(day)]).likely.channels.map(|c| c.unwrap().sd[0])
        };
        let (now, ahead) = (79.0 * 7.0, 79.0 * 7.0 + 60.0);
        assert_eq!(sd(&state, now), sd(&unproved, now), "the present is what the readings say");
        let wider = sd(&state, ahead)[2] / sd(&unproved, ahead)[2];
        assert!((wider * wider / records[2].factor() - 1.0).abs() < 1e-12);
        assert_eq!(sd(&state, ahead)[0], sd(&unproved, ahead)[0]);
    }

    #[test]
    fn what_is_done_in_between_makes_a_forecast_void() {
        let params = led();
        for act in [Act::Cleaned, Act::Replaced, Act::SettingChanged, Act::Recalibrated { target: None }] {
            let mut state = DeviceState::new(&params);
            for week in 0..5 {
                state.note(&params, &Happening { time: on(f64::from(week) * 7.0 + 1.0), act });
                state.absorb(&params, &reading(f64::from(week) * 7.0 + 2.0, [0.0; 3]));
            }
            assert_eq!(state.records, [Record::default(); 3]);
            state.absorb(&params, &reading(50.0, [0.0; 3]));
            state.absorb(&params, &crate::drift::Observation { warmup_min: Some(2.0), ..reading(60.0, [0.0; 3]) });
            assert_eq!(state.records, [Record::default(); 3], "22 days, and then a cold one");
            state.absorb(&params, &reading(61.0, [0.0; 3]));
            assert_eq!(state.records.map(|record| record.forecasts), [1; 3]);
        }
    }
}

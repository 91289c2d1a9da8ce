//! The joint filter against dense arithmetic and least squares.

use proptest::prelude::*;

use super::*;
use crate::drift::Thing;
use crate::drift::priors::drift_prior;

/// A Kalman filter of any size in the plainest form, nothing of it shared with the one under test.
struct Dense {
    mean: Vec<f64>,
    cov: Vec<Vec<f64>>,
    log_likelihood: f64,
}

impl Dense {
    fn map(&mut self, f: &[Vec<f64>]) {
        let n = self.mean.len();
        self.mean = (0..n).map(|i| (0..n).map(|j| f[i][j] * self.mean[j]).sum()).collect();
        let at = |i: usize, j: usize| -> f64 {
            (0..n).flat_map(|k| (0..n).map(move |l| (k, l))).map(|(k, l)| f[i][k] * self.cov[k][l] * f[j][l]).sum()
        };
        self.cov = (0..n).map(|i| (0..n).map(|j| at(i, j)).collect()).collect();
    }

    fn see(&mut self, h: &[f64], r: f64, z: f64) {
        let n = self.mean.len();
        let ph: Vec<f64> = (0..n).map(|i| (0..n).map(|j| self.cov[i][j] * h[j]).sum()).collect();
        let s = r + (0..n).map(|i| h[i] * ph[i]).sum::<f64>();
        let off = z - (0..n).map(|i| h[i] * self.mean[i]).sum::<f64>();
        for i in 0..n {
            self.mean[i] += ph[i] / s * off;
            for j in 0..n {
                self.cov[i][j] -= ph[i] * ph[j] / s;
            }
        }
        self.log_likelihood -= 0.5 * ((std::f64::consts::TAU * s).ln() + off * off / s);
    }

    fn set_apart(&mut self, state: usize, mean: f64, var: f64) {
        for other in 0..self.mean.len() {
            self.cov[state][other] = 0.0;
            self.cov[other][state] = 0.0;
        }
        self.mean[state] = mean;
        self.cov[state][state] = var;
    }
}

#[derive(Debug, Clone)]
enum Step {
    Wait(f64),
    Own(f64),
    Other(f64),
    Reset(f64),
    Widen(f64),
    Turn,
}

fn any_step() -> impl Strategy<Value = Step> {
    let value = || -0.02..0.02f64;
    prop_oneof![
        4 => (0.0..40.0f64).prop_map(Step::Wait),
        3 => value().prop_map(Step::Own),
        3 => value().prop_map(Step::Other),
        1 => value().prop_map(Step::Reset),
        1 => (0.0..0.01f64).prop_map(Step::Widen),
        1 => Just(Step::Turn),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Every setting's four states and its weight are those of a dense joint filter, whatever happens.
    #[test]
    fn the_constant_is_learnt_as_a_dense_joint_filter_would(steps in proptest::collection::vec(any_step(), 1..30)) {
        let prior = drift_prior(Thing::Display).channels[0];
        let mut bank = Bank::new(&prior, 0.2, 0.01);
        bank.begin_constant(0.0, 9e-6);
        let mut dense: Vec<Dense> = (0..GRID)
            .map(|index| {
                let setting = Setting::at(index, &prior);
                let variances = [1e-4, setting.slope_sd * setting.slope_sd, setting.strength.wander, 9e-6];
                let cov = (0..4).map(|i| (0..4).map(|j| if i == j { variances[i] } else { 0.0 }).collect()).collect();
                Dense { mean: vec![0.2, prior.slope, 0.0, 0.0], cov, log_likelihood: setting.weight.ln() }
            })
            .collect();
        // What once fell farther behind than the bank lets it stands higher there for good.
        let mut held_up = false;
        for step in &steps {
            match *step {
                Step::Wait(days) => {
                    let span = Span { ageing: days, calendar: days, settling: 0.0 };
                    bank.carry(&prior, &span);
                    let left = span.wander_left();
                    for (index, dense) in dense.iter_mut().enumerate() {
                        dense.map(&[
                            vec![1.0, days, 0.0, 0.0], vec![0.0, 1.0, 0.0, 0.0],
                            vec![0.0, 0.0, left, 0.0], vec![0.0, 0.0, 0.0, 1.0],
                        ]);
                        let noise = span.noise(&Setting::at(index, &prior).strength, left);
                        for i in 0..3 {
                            for j in 0..3 {
                                dense.cov[i][j] += noise.0[i][j];
                            }
                        }
                    }
                }
                Step::Own(off) | Step::Other(off) => {
                    let across = matches!(step, Step::Other(_));
                    let number = Number { value: 0.2 + off, noise: 4.9e-7, extra: 1e-8, across };
                    bank.take(&prior, &number);
                    for (index, dense) in dense.iter_mut().enumerate() {
                        let factor = Setting::at(index, &prior).noise;
                        let r = number.noise * factor * factor + number.extra;
                        dense.see(&[1.0, 0.0, 1.0, f64::from(u8::from(across))], r, number.value);
                    }
                }
                Step::Reset(off) => {
                    bank.reset_level(&prior, 0.2 + off, 0.0015);
                    for dense in &mut dense {
                        let slope_and_constant = dense.cov[1][3];
                        let slope = (dense.mean[1], dense.cov[1][1]);
                        dense.set_apart(0, 0.2 + off, 0.0015 * 0.0015);
                        dense.set_apart(2, 0.0, 0.0);
                        assert_eq!((dense.mean[1], dense.cov[1][1], dense.cov[1][3]), (slope.0, slope.1, slope_and_constant));
                    }
                }
                Step::Widen(sd) => {
                    bank.widen_level(&prior, sd);
                    dense.iter_mut().for_each(|dense| dense.cov[0][0] += sd * sd);
                }
                Step::Turn => {
                    bank.turn_scale();
                    for dense in &mut dense {
                        dense.map(&[
                            vec![1.0, 0.0, 0.0, 1.0], vec![0.0, 1.0, 0.0, 0.0],
                            vec![0.0, 0.0, 1.0, 0.0], vec![0.0, 0.0, 0.0, -1.0],
                        ]);
                    }
                }
            }
            let best = dense.iter().map(|d| d.log_likelihood).fold(f64::NEG_INFINITY, f64::max);
            held_up |= dense.iter().any(|d| d.log_likelihood - best < -20.0);
        }
        let constants = bank.constants.as_ref().unwrap();
        let near = |a: f64, b: f64, scale: f64| (a - b).abs() <= 1e-8 * scale;
        for (index, dense) in dense.iter().enumerate() {
            let joint = constants[index].joined(&bank.filters[index]);
            for i in 0..4 {
                prop_assert!(near(joint.mean[i], dense.mean[i], 1.0), "mean {i}: {} {}", joint.mean[i], dense.mean[i]);
                for j in 0..4 {
                    let scale = (dense.cov[i][i] * dense.cov[j][j]).sqrt() + 1e-12;
                    prop_assert!(near(joint.cov.0[i][j], dense.cov[i][j], scale), "cov {i} {j} of setting {index}");
                }
            }
        }
        // Weights are relative, and none falls further behind than the bank lets it.
        let best = dense.iter().map(|d| d.log_likelihood).fold(f64::NEG_INFINITY, f64::max);
        if !held_up {
            for (weight, dense) in bank.log_weights.iter().zip(&dense) {
                prop_assert!((weight - (dense.log_likelihood - best)).abs() < 1e-6, "weight");
            }
        }
    }

    /// What is expected of a number across is what taking it in assumes: mean and variance of the mixture.
    #[test]
    fn what_is_foretold_of_the_other_instrument(days in 0.0..60.0f64, offs in proptest::collection::vec(-0.01..0.01f64, 2..8)) {
        let prior = drift_prior(Thing::Display).channels[0];
        let mut bank = Bank::new(&prior, 0.2, 0.01);
        bank.begin_constant(0.001, 9e-6);
        let number = |off, across| Number { value: 0.2 + off, noise: 4.9e-7, extra: 0.0, across };
        for (k, off) in offs.iter().enumerate() {
            bank.take(&prior, &number(*off, k % 2 == 1));
            bank.carry(&prior, &Span { ageing: 5.0, calendar: 5.0, settling: 0.0 });
        }
        let span = Span { ageing: days, calendar: days, settling: 0.0 };
        let (mean, variance) = bank.belief(&prior).foretell(&span, &number(0.0, true));
        bank.carry(&prior, &span);
        let (now_mean, now_variance) = bank.belief(&prior).foretell(&Span::default(), &number(0.0, true));
        prop_assert!((mean - now_mean).abs() < 1e-12 && (variance - now_variance).abs() < 1e-12);
        // By the law of total variance over the settings.
        let constants = bank.constants.as_ref().unwrap();
        let weights: Vec<f64> = bank.log_weights.iter().map(|w| w.exp()).collect();
        let total: f64 = weights.iter().sum();
        let of = |index: usize| {
            let joint = constants[index].joined(&bank.filters[index]);
            let ph = joint.cov.times_column(&BY_OTHER);
            let factor = Setting::at(index, &prior).noise;
            let s = ph[0] + ph[2] + ph[3] + 4.9e-7 * factor * factor;
            (weights[index] / total, joint.mean[0] + joint.mean[2] + joint.mean[3], s)
        };
        let whole: f64 = (0..GRID).map(of).map(|(w, m, _)| w * m).sum();
        let spread: f64 = (0..GRID).map(of).map(|(w, m, s)| w * (s + (m - whole) * (m - whole))).sum();
        prop_assert!((whole - mean).abs() < 1e-12 && (spread / variance - 1.0).abs() < 1e-6, "{spread} {variance}");
    }
}

/// Where nothing moves, level and constant are those of weighted least squares with their priors as observations.
#[test]
fn least_squares_agree() {
    let prior = drift_prior(Thing::Lamp(crate::site::LampKind::Led)).channels[2];
    let mut bank = Bank::new(&prior, 6.0, 0.5);
    bank.begin_constant(0.0, 4e-4);
    let (own, other) = ([6.21, 6.19, 6.205], [6.26, 6.24]);
    for (value, across) in own.map(|x| (x, false)).into_iter().chain(other.map(|x| (x, true))) {
        bank.take(&prior, &Number { value, noise: 1e-4, extra: 0.0, across });
    }
    let constants = bank.constants.as_ref().unwrap();
    for index in 0..GRID {
        let setting = Setting::at(index, &prior);
        let w = 1.0 / (1e-4 * setting.noise * setting.noise);
        let (px, pb) = (1.0 / (0.25 + setting.strength.wander), 1.0 / 4e-4);
        // Normal equations of (light, constant).
        let a = [[px + 5.0 * w, 2.0 * w], [2.0 * w, pb + 2.0 * w]];
        let y = [px * 6.0 + w * (own.iter().sum::<f64>() + other.iter().sum::<f64>()), w * other.iter().sum::<f64>()];
        let det = a[0][0] * a[1][1] - a[0][1] * a[1][0];
        let light = (y[0] * a[1][1] - y[1] * a[0][1]) / det;
        let constant = (a[0][0] * y[1] - a[1][0] * y[0]) / det;
        let filter = &bank.filters[index];
        assert!((filter.mean[0] + filter.mean[2] - light).abs() < 1e-9);
        assert!((constants[index].mean - constant).abs() < 1e-9);
        assert!((constants[index].var - a[0][0] / det).abs() < 1e-12);
        assert!((constants[index].cross[0] + constants[index].cross[2] + a[0][1] / det).abs() < 1e-12);
    }
}

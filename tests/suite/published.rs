//! The filter and the model against what others published: state-space fits, statsmodels, light sources growing old.
//!
//! Series that may not travel with the program are read from the open data, if they are there.

use std::ops::RangeInclusive;

use twinwhite::drift::dynamics::{SEEN, Span, Strength, WANDER_DAYS};
use twinwhite::drift::filter::Filter;
use twinwhite::drift::matrix::Matrix;
use twinwhite::drift::{DeviceState, Observation, Params, Thing};
use twinwhite::site::{LampKind, Noise};
use twinwhite::units::{Days, Time, UvPrime};

use super::colour::open_data;

fn rows(file: &str) -> Option<Vec<Vec<String>>> {
    let text = open_data(file)?;
    let rows = text.lines().skip(1).filter(|line| !line.is_empty());
    Some(rows.map(|line| line.split(',').map(str::to_owned).collect()).collect())
}

fn numbers(rows: &[Vec<String>], column: usize) -> Vec<f64> {
    rows.iter().map(|row| row[column].parse().unwrap()).collect()
}

fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within, "{what}: {got}, expected {want} ± {within}");
}

/// What a filter made of a series.
struct Run<const N: usize> {
    end: Filter<N>,
    likelihood: f64,
    /// Of the last innovation.
    variance: f64,
}

/// Carries `filter` by `f` and `q` to each number of a series read through `h`; the first number is met without a step where
/// `at_first` says that the filter stands at its time.
fn run<const N: usize>(
    mut filter: Filter<N>,
    (f, q): (&Matrix<N, N>, &Matrix<N, N>),
    (h, irregular): (&[f64; N], f64),
    series: &[f64],
    at_first: bool,
) -> Run<N> {
    let (mut likelihood, mut variance) = (0.0, 0.0);
    for (place, z) in series.iter().enumerate() {
        if place > 0 || !at_first {
            filter = filter.predict(f, q);
        }
        let (next, innovation) = filter.update(h, irregular, *z);
        (filter, variance) = (next, innovation.variance);
        likelihood += innovation.log_likelihood;
    }
    Run { end: filter, likelihood, variance }
}

const TREND: Matrix<2, 2> = Matrix([[1.0, 1.0], [0.0, 1.0]]);

/// Level and slope after an exact diffuse start and two numbers: the level is the second number but for its irregular part,
/// the slope their difference but for both irregular parts and both movements (Durbin and Koopman 2012, §5.2, solved for
/// this model). The two numbers have no likelihood of their own.
fn after_two(series: &[f64], irregular: f64, level: f64, slope: f64) -> Filter<2> {
    Filter {
        mean: [series[1], series[1] - series[0]],
        cov: Matrix([[irregular, irregular], [irregular, 2.0 * irregular + level + slope]]),
    }
}

/// Durbin and Koopman 2012, §2: the published variances, and a second implementation's maximum (R package KFAS, quoted in the
/// tests of statsmodels). Likelihoods leave out ln 2π of the first value, as that package has it.
#[test]
fn nile_local_level() {
    let Some(rows) = rows("series/nile.csv") else { return };
    let flow = numbers(&rows, 1);
    assert_eq!(flow.len(), 100);
    let one = Matrix([[1.0]]);
    let start = |irregular, level| Filter { mean: [flow[0]], cov: Matrix([[irregular + level]]) };
    let (irregular, level) = (15099.0, 1469.1);
    let q = Matrix([[level]]);
    let wide = run(Filter { mean: [0.0], cov: Matrix([[1e7]]) }, (&one, &q), (&[1.0], irregular), &flow, true);
    near(wide.likelihood, -641.5856, 5e-5, "log-likelihood with P1 = 1e7");
    near(wide.end.cov.0[0][0], 4032.158, 5e-4, "variance of the last level");
    // Exact diffuse start: the first value is the level, and has no likelihood of its own.
    let diffuse = run(start(irregular, level), (&one, &q), (&[1.0], irregular), &flow[1..], true);
    near(diffuse.likelihood, -632.5456, 5e-5, "exact diffuse log-likelihood");
    near(diffuse.end.mean[0], 798.370, 5e-4, "last level");
    near(diffuse.variance, 4032.158 + level + irregular, 5e-3, "variance of the last innovation");
    near(libm::sqrt(diffuse.end.cov.0[0][0] + level + irregular), 143.528, 5e-4, "sd of the forecast for 1971");
    near(diffuse.end.cov.0[0][0] + level, 5501.258, 5e-4, "variance of the next level");
    near((diffuse.end.cov.0[0][0] + level) / (diffuse.end.cov.0[0][0] + level + irregular), 0.267048, 5e-7, "gain");
    // The maximum, to the digits of a fit of our own (apart from this code).
    let (irregular, level) = (15098.518, 1469.176);
    let best = run(start(irregular, level), (&one, &Matrix([[level]])), (&[1.0], irregular), &flow[1..], true);
    near(best.likelihood, -632.545625, 5e-7, "log-likelihood at the maximum");
    // The data's own table of published fits has the likelihood with the first value's −½ ln 2π.
    let fits = self::rows("series/published-fits.csv").unwrap();
    assert_eq!(fits[0][1], "local level");
    near(diffuse.likelihood - 0.5 * LN_TAU, fits[0][3].parse().unwrap(), 5e-5, "as the table has it");
}

/// ln 2π.
const LN_TAU: f64 = 1.837_877_066_409_345_3;

/// At variances of 15099, 1469.1 and 10: worked out apart from this code, by recursion and by generalised least squares.
#[test]
fn nile_local_linear_trend() {
    let Some(rows) = rows("series/nile.csv") else { return };
    let flow = numbers(&rows, 1);
    let (irregular, level, slope) = (15099.0, 1469.1, 10.0);
    let q = Matrix::diagonal([level, slope]);
    let Run { end, likelihood, .. } =
        run(after_two(&flow, irregular, level, slope), (&TREND, &q), (&[1.0, 0.0], irregular), &flow[2..], false);
    near(likelihood, -631.303671, 5e-7, "exact diffuse log-likelihood");
    near(end.mean[0], 781.21594, 5e-6, "level");
    near(end.mean[1], -6.95224, 5e-6, "slope");
    near(end.cov.0[0][0], 4820.41363, 5e-6, "variance of the level");
    near(end.cov.0[0][1], 320.60243, 5e-6, "covariance");
    near(end.cov.0[1][1], 150.35493, 5e-6, "variance of the slope");
    let ahead = end.predict(&TREND, &q);
    near(ahead.mean[0], 774.26371, 5e-6, "forecast");
    near(ahead.cov.0[0][0], 7081.07341, 5e-6, "its variance");
}

/// Road deaths in Finland 1970 to 2003 (Commandeur and Koopman 2007, ch. 3, as reproduced): a smooth trend, whose level has no
/// variance of its own.
#[test]
fn finnish_road_deaths_smooth_trend() {
    const DEATHS: [f64; 34] = [
        1055.0, 1143.0, 1156.0, 1086.0, 865.0, 910.0, 804.0, 709.0, 610.0, 650.0, 551.0, 555.0, 569.0, 604.0, 541.0,
        541.0, 612.0, 581.0, 653.0, 734.0, 649.0, 632.0, 601.0, 484.0, 480.0, 441.0, 404.0, 438.0, 400.0, 431.0, 396.0,
        433.0, 415.0, 379.0,
    ];
    let (irregular, slope) = (0.003_200_83, 0.001_533_14);
    let series = DEATHS.map(libm::log);
    let q = Matrix::diagonal([0.0, slope]);
    let start = after_two(&series, irregular, 0.0, slope);
    let Run { end, likelihood, .. } = run(start, (&TREND, &q), (&[1.0, 0.0], irregular), &series[2..], false);
    near(likelihood, 26.740135, 5e-7, "exact diffuse log-likelihood");
    near(likelihood / 34.0, 0.786_474_6, 5e-8, "per observation");
    let ahead = end.predict(&TREND, &q);
    near(ahead.mean[0], 5.933248, 5e-7, "forecast");
    near(ahead.mean[1], -0.035604, 5e-7, "slope");
}

/// Quarterly US unemployment: R package KFAS, as kept in the tests of statsmodels. Prior variance of 1e6, the first readings
/// (one for each state) left out of the sum.
#[test]
fn us_unemployment_as_another_package_has_it() {
    let (Some(rows), Some(fits)) = (rows("series/us-unemployment.csv"), rows("series/published-fits.csv")) else {
        return;
    };
    let rate = numbers(&rows, 1);
    let mut seen = 0;
    for fit in fits.iter().filter(|fit| fit[0] == "us-unemployment") {
        let of = |name: &str| {
            let pairs = fit[2].split(';').filter_map(|pair| pair.split_once('='));
            pairs.filter(|(key, _)| *key == name).map(|(_, value)| value.parse::<f64>().unwrap()).next().unwrap_or(0.0)
        };
        let (irregular, level, slope) = (of("var_irregular"), of("var_level"), of("var_trend"));
        let (one, burnt) = (Matrix([[1.0]]), 1 + usize::from(fit[1] != "random walk"));
        let likelihood = match fit[1].as_str() {
            "random walk" => {
                let noise = (&one, &Matrix([[level]]));
                let wide = Filter { mean: [0.0], cov: Matrix([[1e6]]) };
                let burn = run(wide, noise, (&[1.0], irregular), &rate[..burnt], true);
                run(burn.end, noise, (&[1.0], irregular), &rate[burnt..], false).likelihood
            }
            "random walk with drift" | "local linear trend" | "random trend" => {
                let noise = (&TREND, &Matrix::diagonal([level, slope]));
                let wide = Filter { mean: [0.0; 2], cov: Matrix::diagonal([1e6; 2]) };
                let burn = run(wide, noise, (&[1.0, 0.0], irregular), &rate[..burnt], true);
                run(burn.end, noise, (&[1.0, 0.0], irregular), &rate[burnt..], false).likelihood
            }
            other => panic!("a model that is not known: {other}"),
        };
        near(likelihood, fit[3].parse().unwrap(), 2e-5, &fit[1]);
        seen += 1;
    }
    assert_eq!(seen, 4);
}

/// The movement over gaps of any length is what statsmodels finds day by day with missing values.
#[test]
fn movement_against_statsmodels() {
    let strength = Strength { slope_change: 4e-10, wander: 3.6e-5, settling: 0.0 };
    assert_eq!(WANDER_DAYS, 30.0, "the fixture was made with this time constant");
    let mut filter = Filter { mean: [5.1, -1e-4, 0.0], cov: Matrix::diagonal([0.04, 1e-8, 3.6e-5]) };
    let mut before = 0.0;
    let fixture = include_str!("../fixtures/drift/dynamics.csv");
    let rows: Vec<Vec<f64>> =
        fixture.lines().skip(2).map(|line| line.split(',').map(|x| x.parse().unwrap()).collect()).collect();
    assert_eq!(rows.len(), 14);
    for row in rows {
        let span = Span { ageing: row[0] - before, calendar: row[0] - before, settling: 0.0 };
        before = row[0];
        filter = filter.predict(&span.transition(), &span.noise(&strength, span.wander_left()));
        let (next, innovation) = filter.update(&SEEN, 1e-4, row[1]);
        filter = next;
        for (i, want) in row[2..5].iter().enumerate() {
            near(filter.mean[i], *want, 1e-12, &format!("state {i} on day {}", row[0]));
        }
        let cov = &filter.cov.0;
        for (got, want) in [cov[0][0], cov[0][1], cov[0][2], cov[1][1], cov[1][2], cov[2][2]].iter().zip(&row[5..11]) {
            near(*got, *want, 1e-13, &format!("covariance on day {}", row[0]));
        }
        near(innovation.log_likelihood, row[11], 1e-9, "log-likelihood");
    }
}

/// The same over three years under five settings, gaps from six hours to seven months; and again with every gap gone in
/// three steps of unlike length.
#[test]
fn an_irregular_series_against_statsmodels() {
    assert_eq!(WANDER_DAYS, 30.0, "the fixture was made with this time constant");
    let fixture = include_str!("../fixtures/drift/irregular.csv");
    let rows: Vec<Vec<f64>> =
        fixture.lines().skip(2).map(|line| line.split(',').map(|x| x.parse().unwrap()).collect()).collect();
    for pieces in [&[1.0][..], &[0.1, 0.65, 0.25]] {
        let mut settings = 0;
        for rows in rows.chunk_by(|a, b| a[0] == b[0]) {
            assert_eq!(rows.len(), 60);
            settings += 1;
            let [_, slope_change, wander, noise, level_0, slope_0, ..] = rows[0][..] else { panic!("a short row") };
            let strength = Strength { slope_change, wander, settling: 0.0 };
            let mut filter = Filter { mean: [5.0, 0.0, 0.0], cov: Matrix::diagonal([level_0, slope_0, wander]) };
            let mut before = 0.0;
            for row in rows {
                let (day, value) = (row[6], row[7]);
                for piece in pieces {
                    let days = (day - before) * piece;
                    let span = Span { ageing: days, calendar: days, settling: 0.0 };
                    filter = filter.predict(&span.transition(), &span.noise(&strength, span.wander_left()));
                }
                before = day;
                let (next, innovation) = filter.update(&SEEN, noise, value);
                filter = next;
                let place = format!("setting {}, day {day}", row[0]);
                let cov = &filter.cov.0;
                // Each within a billionth of its own scale: a state's sd, a covariance's two sds.
                for i in 0..3 {
                    let scale = libm::sqrt(cov[i][i]).max(row[8 + i].abs());
                    near(filter.mean[i], row[8 + i], 1e-9 * scale, &format!("state {i}, {place}"));
                }
                for ((i, j), want) in [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)].into_iter().zip(&row[11..17]) {
                    let scale = libm::sqrt(cov[i][i] * cov[j][j]);
                    near(cov[i][j], *want, 1e-9 * scale, &format!("covariance {i}{j}, {place}"));
                }
                near(
                    innovation.log_likelihood,
                    row[17],
                    1e-9 * row[17].abs().max(1.0),
                    &format!("likelihood, {place}"),
                );
            }
        }
        assert_eq!(settings, 5);
    }
}

fn level_only(kind: LampKind) -> Params {
    Params { thing: Thing::Lamp(kind), aim_white: None, aim_ln_level: None, warm_up_min: 0.0 }
}

fn level_reading(seq: usize, hours: f64, ln_level: f64, noise: f64) -> Observation {
    Observation {
        seq: seq as i64,
        time: Time::from_micros(1_600_000_000_000_000).plus(Days(hours / 24.0)),
        white: UvPrime { u: f64::NAN, v: f64::NAN },
        extra_cov: [0.0; 3],
        ln_level: Some(ln_level),
        extra_ln: 0.0,
        noise: Noise { uv: 0.0, level: noise },
        warmup_min: None,
        hours: Some(hours),
        setting: None,
        label: false,
        instrument: None,
        apart: None,
        released: false,
    }
}

/// Normal bands and the share of readings they are to hold.
const BANDS: [(f64, f64); 2] = [(0.8, 1.281_552), (0.9, 1.644_854)];

/// Readings held by each of [`BANDS`], and how many there were.
#[derive(Default)]
struct Held {
    inside: [u32; 2],
    all: u32,
}

impl Held {
    fn count(&mut self, off: f64, sd: f64) {
        for (inside, (_, z)) in self.inside.iter_mut().zip(BANDS) {
            *inside += u32::from(off.abs() <= z * sd);
        }
        self.all += 1;
    }

    fn shares(&self) -> [f64; 2] {
        self.inside.map(|inside| f64::from(inside) / f64::from(self.all))
    }

    /// Says the shares and holds them against what is thought honest.
    fn within(&self, what: &str, allowed: [RangeInclusive<f64>; 2]) {
        let shares = self.shares();
        eprintln!("{what}: bands of 80 and 90 % hold {:.3} and {:.3} of {}", shares[0], shares[1], self.all);
        for ((share, allowed), (nominal, _)) in shares.iter().zip(allowed).zip(BANDS) {
            assert!(allowed.contains(share), "{what}: the {nominal} band holds {share:.3}, {allowed:?} is honest");
        }
    }
}

/// One unit's readings: hours, and light as a share.
type Life = Vec<(f64, f64)>;

fn lives(units: &[f64], hours: &[f64], light: impl Fn(usize) -> f64) -> Vec<Life> {
    let mut known = units.to_vec();
    known.sort_by(f64::total_cmp);
    known.dedup();
    let of = |one: &f64| (0..units.len()).filter(|i| units[*i] == *one).map(|i| (hours[i], light(i))).collect();
    known.iter().map(of).collect()
}

/// Reads each unit up to `until` hours and holds the later readings against the forecast made then.
fn foretold(lives: &[Life], until: f64, noise: f64, up_to: f64) -> Held {
    let params = level_only(LampKind::Other);
    let mut held = Held::default();
    for life in lives {
        let mut state = DeviceState::new(&params);
        let (early, late): (Life, Life) = life.iter().partition(|(hours, _)| *hours <= until);
        for (n, (hours, light)) in early.iter().enumerate() {
            state.absorb(&params, &level_reading(n, *hours, light.ln(), noise));
        }
        let late: Life = late.into_iter().filter(|(hours, _)| *hours <= up_to).collect();
        let times: Vec<Time> = late.iter().map(|(hours, _)| level_reading(0, *hours, 0.0, noise).time).collect();
        let path = state.forecast(&params, &times).likely.channels[2].clone().unwrap();
        let scatter = noise * state.summary(&params).noise_factors[2];
        for (place, (_, light)) in late.into_iter().enumerate() {
            held.count(light.ln() - path.mean[place], libm::hypot(path.sd[place], scatter));
        }
    }
    held
}

/// 24 light sources that burned day and night (Meeker and Escobar, by SMRD.data): bands made after 3 000 h hold no less than about
/// their share of later readings. That they may hold more is no virtue; the figures are printed.
#[test]
fn published_ageing_stays_in_the_bands() {
    let Some(rows) = rows("ageing/luminosity.csv") else { return };
    let light = numbers(&rows, 3);
    let lives = lives(&numbers(&rows, 0), &numbers(&rows, 2), |i| light[i]);
    assert_eq!(lives.len(), 24);
    foretold(&lives, 3000.0, 0.02, 1e9).within("24 light sources", [0.70..=0.95, 0.80..=1.0]);
    foretold(&lives, 3000.0, 0.02, 5100.0).within("up to 5 100 h", [0.65..=0.98, 0.75..=1.0]);
}

/// Eight laser diodes at 80 °C, held at constant light by a current that rises (the same source): they wear ten times as fast as
/// the lamps the priors were thought out for, so that the intervals are only asked not to be far off.
#[test]
fn lasers_that_wear_out_are_not_foretold_too_surely() {
    let Some(rows) = rows("ageing/gaas-laser.csv") else { return };
    let more = numbers(&rows, 2);
    let lives = lives(&numbers(&rows, 0), &numbers(&rows, 1), |i| 1.0 / (1.0 + more[i] / 100.0));
    assert_eq!(lives.len(), 8);
    foretold(&lives, 2000.0, 0.003, 1e9).within("8 laser diodes", [0.55..=1.0, 0.65..=1.0]);
    foretold(&lives, 2000.0, 0.003, 2600.0).within("up to 2 500 h", [0.55..=1.0, 0.65..=1.0]);
}

/// A good LED lamp (US Department of Energy): after 7000 h of hardly any movement the forecast up to six times as far, where dates end,
/// neither knows better than it can nor fears what never came.
#[test]
fn a_good_lamp_is_not_feared_for() {
    let Some(rows) = rows("ageing/l-prize.csv") else { return };
    let params = level_only(LampKind::Led);
    let mut state = DeviceState::new(&params);
    let moved: f64 = rows[0][3].parse().unwrap();
    for n in 0..15 {
        let hours = 500.0 * f64::from(n);
        let white = UvPrime { u: 0.25 + moved * hours / 7000.0, v: 0.52 };
        let noise = Noise { uv: 0.0005, level: 0.01 };
        state.absorb(&params, &Observation { white, noise, ..level_reading(n as usize, hours, 0.0, 0.01) });
    }
    let told = |row: &Vec<String>| Some((row[0].parse().ok()?, row[2].parse().ok()?));
    let later: Vec<(f64, f64)> = rows.iter().filter_map(told).filter(|(hours, _)| *hours <= 6.0 * 7000.0).collect();
    assert_eq!(later.len(), 2);
    let times: Vec<Time> = later.iter().map(|(hours, _)| level_reading(0, *hours, 0.0, 0.01).time).collect();
    let [u, _, level] = state.forecast(&params, &times).likely.channels.map(Option::unwrap);
    for (place, (hours, percent)) in later.into_iter().enumerate() {
        let (off, sd) = ((percent / 100.0f64).ln() - level.mean[place], level.sd[place]);
        eprintln!(
            "{hours} h: light {percent} %, foretold {:.1} %, {:.2} sd off; u′ sd {:.4}",
            100.0 * level.mean[place].exp(),
            off / sd,
            u.sd[place]
        );
        assert!(off.abs() < 2.0 * sd, "{hours} h: {off} for a sd of {sd}");
        assert!(sd < 0.5 && u.sd[place] < 0.03, "a spread that says nothing: {sd}, {}", u.sd[place]);
        // The white had moved by 0.002 at most.
        assert!((0.25 - u.mean[place]).abs() < 0.002 + 2.0 * u.sd[place]);
    }
}

/// A series that is no light: quarterly unemployment, random-walk like. One step ahead the bands must still be honest.
#[test]
fn a_general_series_is_foretold_honestly() {
    let Some(rows) = rows("series/us-unemployment.csv") else { return };
    let rate = numbers(&rows, 1);
    let params = level_only(LampKind::Other);
    let mut state = DeviceState::new(&params);
    let mut held = Held::default();
    for (place, value) in rate.iter().enumerate() {
        let reading = level_reading(place, place as f64 * 2190.0, value.ln(), 0.01);
        if place >= 20 {
            let path = state.forecast(&params, &[reading.time]).likely.channels[2].clone().unwrap();
            let scatter = 0.01 * state.summary(&params).noise_factors[2];
            held.count(value.ln() - path.mean[0], libm::hypot(path.sd[0], scatter));
        }
        state.absorb(&params, &reading);
    }
    held.within("quarters of unemployment", [0.6..=0.95, 0.7..=0.98]);
}

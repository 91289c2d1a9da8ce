//! Prints what XYZ, CCT, Duv, Ra and Rf of a 401-point spectrum cost, beside colour-science and luxpy on the same spectra, whether the
//! results agree, and how far we are from what the machine must at least take.
//!
//! `cargo bench --bench rendering`. The packages run in a python that TWINWHITE_BENCH_PYTHON names (see rendering_reference.py for what it
//! needs); without it only our own times are printed. All in one run, one after the other, on one core (luxpy may use more).

mod measure;

use std::hint::black_box;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use twinwhite::clock::SystemClock;
use twinwhite::color::Sampled;
use twinwhite::color::rendering::{Figures, figures, rendering};
use twinwhite::units::{SpectralUnit, Spectrum};

const SOURCES: &str = include_str!("../fixtures/colour/rendering-sources.csv");
const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/rendering_reference.py");
const PYTHON: &str = "TWINWHITE_BENCH_PYTHON";
/// How often each spectrum is done.
const ROUNDS: usize = 301;

/// What is read from tables for one spectrum: reflectances of both standards, the observers, and what references give, bytes.
const TABLE_BYTES: usize = 8 * (25 * 4 * 401 + 4 * 4 * 471 + 3 * (401 + 2 * 471) + 19 * 3 * (100 + 16));
/// Multiply-adds of one spectrum: its sums for both standards and for XYZ, and those of its references.
const MULTIPLY_ADDS: usize = 3 * (25 * 4 * 401 + 4 * 4 * 471 + 471) + 19 * 3 * (100 + 16);
/// Powers and logarithms of one spectrum: six for each of 99 colours under two lights; the floor counts them at the price of `powf`.
const POWERS: usize = 2 * 99 * 6;

/// A result of a package: X, Y, Z, CCT, Duv, Ra, Rf.
type Row = [f64; 7];

fn main() -> Outcome<()> {
    let spectra = spectra()?;
    let ours: Vec<Figures> = spectra.iter().filter_map(|spectrum| figures(&Sampled::of(spectrum))).collect();
    if ours.len() != spectra.len() {
        return Err("a source has no colour temperature".into());
    }
    let clock = SystemClock::new();
    // The least of each spectrum's times, then the mean: what else the machine does meanwhile falls out.
    let each = |work: &dyn Fn(&Spectrum)| -> Outcome<[Duration; 2]> {
        let mut total = [Duration::ZERO; 2];
        for spectrum in &spectra {
            let mut times = (0..ROUNDS)
                .map(|_| {
                    timed(&clock, || {
                        work(spectrum);
                        Ok(())
                    })
                })
                .collect::<Result<Vec<_>, _>>()?;
            let usual = median(&mut times);
            let least = times.first().copied().unwrap_or_default();
            total = [total[0] + least, total[1] + usual];
        }
        Ok(total.map(|total| total / spectra.len() as u32))
    };
    let sampled: Vec<Sampled> = spectra.iter().map(Sampled::of).collect();
    let [onto_grid, _] = each(&|spectrum| {
        black_box(Sampled::of(spectrum));
    })?;
    let [figures_took, usual] = each(&|spectrum| {
        black_box(figures(&Sampled::of(spectrum)));
    })?;
    let [all_took, _] = each(&|spectrum| {
        black_box(rendering(&Sampled::of(spectrum)));
    })?;
    println!("{} spectra of 401 values, least of {ROUNDS} times each", spectra.len());
    println!(
        "XYZ, CCT, Duv, Ra, Rf: {:.2} us a spectrum, median {:.2} us (of it {:.2} us onto the grid)",
        us(figures_took),
        us(usual),
        us(onto_grid)
    );
    println!("all of rendering:      {:.2} us a spectrum", us(all_took));
    floor(&sampled, figures_took);
    match reference(&spectra)? {
        None => println!("colour-science and luxpy: not run; {PYTHON} names no python that has them"),
        Some(text) => compare(&text, &ours, figures_took)?,
    }
    Ok(())
}

fn us(time: Duration) -> f64 {
    1e6 * time.as_secs_f64()
}

/// The sources of the fixture as spectra of 401 values, 380 to 780 nm.
fn spectra() -> Outcome<Vec<Spectrum>> {
    let five: Vec<f64> = (380..=780).step_by(5).map(f64::from).collect();
    let one: Vec<f64> = (380..=780).map(f64::from).collect();
    let mut spectra = Vec::new();
    for line in SOURCES.lines().skip(1) {
        let values = line.split(',').skip(1).map(str::parse).collect::<Result<Vec<f64>, _>>()?;
        let whole = Sampled::of(&Spectrum::new(SpectralUnit::Relative, &five, values, None)?);
        let mut values = whole.values.get(20..421).unwrap_or_default().to_vec();
        let peak = values.iter().copied().fold(0.0, f64::max);
        // Where Sprague swings far below zero beside a line, a spectrum would be refused; a measured one has no such swing.
        values.iter_mut().for_each(|value| *value = value.max(-0.01 * peak));
        spectra.push(Spectrum::new(SpectralUnit::Relative, &one, values, None)?);
    }
    Ok(spectra)
}

/// The least that the machine takes: reading the tables, the multiply-adds, the powers, each measured alone.
fn floor(sampled: &[Sampled], took: Duration) {
    let clock = SystemClock::new();
    let best = |work: &mut dyn FnMut()| {
        let mut least = f64::INFINITY;
        for _ in 0..200 {
            if let Ok(time) = timed(&clock, || {
                work();
                Ok(())
            }) {
                least = least.min(time.as_secs_f64());
            }
        }
        least
    };
    let table = vec![1.0f64; TABLE_BYTES / 8];
    let reading = best(&mut || {
        let mut sums = [0.0; 16];
        for row in black_box(&table).chunks_exact(16) {
            sums.iter_mut().zip(row).for_each(|(sum, value)| *sum += value);
        }
        black_box(sums);
    });
    let adding = best(&mut || {
        let (factor, mut sums) = (black_box([1.0f64; 24]), [0.0f64; 24]);
        for _ in 0..MULTIPLY_ADDS / 24 {
            // Opaque, so that the sums are made one by one.
            let by = black_box(0.999);
            sums.iter_mut().zip(factor).for_each(|(sum, factor)| *sum += by * factor);
        }
        black_box(sums);
    });
    let some: Vec<f64> = sampled.iter().flat_map(|light| light.values).map(f64::abs).take(POWERS).collect();
    let raising = best(&mut || {
        black_box(some.iter().map(|value| value.powf(0.42)).sum::<f64>());
    });
    let least = reading.max(adding) + raising;
    println!(
        "floor: {:.0} kB read {:.2} us ({:.0} GB/s), {:.0} k multiply-adds {:.2} us ({:.1} G/s), {POWERS} powers {:.2} us; together {:.2} us, we take {:.1} times that",
        TABLE_BYTES as f64 / 1e3,
        1e6 * reading,
        TABLE_BYTES as f64 / reading / 1e9,
        MULTIPLY_ADDS as f64 / 1e3,
        1e6 * adding,
        MULTIPLY_ADDS as f64 / adding / 1e9,
        1e6 * raising,
        1e6 * least,
        took.as_secs_f64() / least,
    );
}

/// What the script prints for these spectra; None without a python.
fn reference(spectra: &[Spectrum]) -> Outcome<Option<String>> {
    let Some(python) = std::env::var_os(PYTHON) else { return Ok(None) };
    let mut child = Command::new(python).arg(SCRIPT).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
    let mut text = String::new();
    for spectrum in spectra {
        let values: Vec<String> = spectrum.values().iter().map(f64::to_string).collect();
        text += &values.join(" ");
        text += "\n";
    }
    // Dropped at once, so that the script sees the end.
    child.stdin.take().ok_or("no standard input")?.write_all(text.as_bytes())?;
    let output = child.wait_with_output()?;
    if !output.status.success() {
        return Err(format!("{SCRIPT} ended with {}", output.status).into());
    }
    Ok(Some(String::from_utf8(output.stdout)?))
}

fn compare(text: &str, ours: &[Figures], took: Duration) -> Outcome<()> {
    for (package, wanted) in [("colour-science", 500.0), ("luxpy", 30.0)] {
        let time =
            text.lines().find_map(|line| line.strip_prefix("time ")?.strip_prefix(package)?.trim().parse::<f64>().ok());
        let time = Duration::try_from_secs_f64(time.ok_or("the script gave no time")?)?;
        let ratio = ratio(time, took);
        let verdict = if ratio >= wanted { "met" } else { "MISSED" };
        println!("{package}: {:.1} us a spectrum, {ratio:.0} times ours ({wanted} wanted: {verdict})", us(time));
        let rows: Vec<Row> = text
            .lines()
            .filter_map(|line| {
                line.strip_prefix(package)?.split_whitespace().map(|v| v.parse().ok()).collect::<Option<Vec<f64>>>()
            })
            .filter_map(|row| row.try_into().ok())
            .collect();
        if rows.len() != ours.len() {
            return Err(format!("{package} gave {} results for {} spectra", rows.len(), ours.len()).into());
        }
        agree(package, &rows, ours)?;
    }
    Ok(())
}

/// Prints the largest differences, and fails where they are larger than what the packages' own readings of the standards explain: both cut
/// the observer at 380 or 780 nm and hold the reference's temperature by another method (up to a few K, which can also flip the reference
/// of Ra at 5000 K), and luxpy rounds each R to a whole number. The suite holds ours against them to 0.02 on one reading.
fn agree(package: &str, rows: &[Row], ours: &[Figures]) -> Outcome<()> {
    let mut worst = [0.0f64; 5];
    for ([x, y, z, cct, duv, ra, rf], ours) in rows.iter().zip(ours) {
        let scale = ours.xyz.y / y;
        let xyz = [(x * scale, ours.xyz.x), (z * scale, ours.xyz.z)];
        let of_xyz = xyz.iter().fold(0.0f64, |most, (theirs, ours)| most.max((theirs - ours).abs())) / ours.xyz.y;
        let kelvin = ours.cct_duv.cct_k.get();
        // Beyond 10 000 K and far off the locus a temperature says less: in mired, about K at 5000 K over 25.
        let mired = (1e6 / cct - 1e6 / kelvin).abs();
        // Beyond the coldest line of the method that colour-science takes for Ra, too.
        let elsewhere = (kelvin - 5000.0).abs() < 30.0 || kelvin < 1700.0;
        let differences = [
            of_xyz,
            mired,
            (duv - ours.cct_duv.duv.get()).abs(),
            if elsewhere { 0.0 } else { (ra - ours.ra).abs() },
            (rf - ours.rf).abs(),
        ];
        for (worst, found) in worst.iter_mut().zip(differences) {
            *worst = worst.max(found);
        }
    }
    let [xyz, mired, duv, ra, rf] = worst;
    println!(
        "    largest differences: X, Z {xyz:.1e} of Y, CCT {mired:.3} mired, Duv {duv:.1e}, Ra {ra:.3} (not near 5000 K nor below 1700 K), Rf {rf:.4}"
    );
    let allowed = [1e-3, 0.2, 1e-4, if package == "luxpy" { 0.7 } else { 0.05 }, 0.05];
    if worst.iter().zip(allowed).any(|(worst, allowed)| *worst > allowed) {
        return Err(format!("{package} and we disagree beyond {allowed:?}").into());
    }
    Ok(())
}

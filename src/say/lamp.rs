//! What `inspect` and `compare` say of lamps: fitness, faults, hues, aims, and why one stands before another. Pure.

use super::lighting::unlike;
use super::{direction_word, tint, white};
use crate::color::{CctDuv, Fault, Finding, Fitness, KnownLight, RA_GOOD, SPECIAL_LEAST, WHITE_GOOD, cct_duv, mired};
use crate::site::{LuminanceRule, Station};
use crate::station::candidates::{Basis, Weighed};
use crate::station::screen_aim::{AimDoubt, ScreenAim};
use crate::units::Luminance;

/// Whether to judge prints under it: the first thing that is said of a lamp.
pub fn fitness(fitness: Fitness, findings: &[Finding]) -> &'static str {
    let blind = |fault: &Fault| matches!(fault, Fault::TintUnknown | Fault::RenderingUnknown);
    match fitness {
        Fitness::Fit => "a lamp to judge prints under",
        Fitness::WithCare if findings.iter().all(|finding| blind(&finding.fault)) => {
            "too little is known of it to say whether prints can be judged under it"
        }
        Fitness::WithCare => "a makeshift, for judging prints with care only",
        Fitness::Unfit => "not a lamp to judge prints under",
    }
}

/// One thing that speaks against a light, as half a sentence.
pub fn fault(fault: &Fault) -> String {
    match fault {
        Fault::White { distance, direction } => {
            let word = direction_word(direction.as_ref()).unwrap_or_else(|| "away".to_owned());
            format!("its white is Δu′v′ {distance:.4} {word} than daylight (D50 to D65)")
        }
        Fault::Kelvin { cct_k } if cct_k.get() < 5000.0 => {
            format!("at {:.0} K it is yellower than daylight (5000 to 6500 K)", cct_k.get())
        }
        Fault::Kelvin { cct_k } => format!("at {:.0} K it is bluer than daylight (5000 to 6500 K)", cct_k.get()),
        Fault::Ra { ra } => {
            format!("its colour rendering is {} (Ra {ra:.0}; {RA_GOOD:.0} counts as good)", rendering_word(*ra))
        }
        Fault::Special { number, value } => {
            format!("its R{number} is {value:.0} ({SPECIAL_LEAST:.0} is asked of each of R1 to R8)")
        }
        Fault::Red { r9 } => format!("it renders strong red poorly (R9 {r9:.0})"),
        Fault::TintUnknown => "its tint was not measured: it may be green or magenta".to_owned(),
        Fault::RenderingUnknown => "its colour rendering was not measured".to_owned(),
    }
}

/// The white of a light in words and numbers, as far as it is known.
pub fn white_of(light: &KnownLight) -> String {
    match light.white {
        Some(white) => match cct_duv(white) {
            Ok(t) => format!("{:.0} K ({:.0} mired), {}", t.cct_k.get(), mired(t.cct_k), tint(t.duv.get())),
            Err(_) => "no white: too far from daylight and from a glowing body to have a colour temperature".to_owned(),
        },
        None => match light.cct_k {
            Some(cct_k) => format!("{:.0} K, tint unknown", cct_k.get()),
            None => "not known".to_owned(),
        },
    }
}

/// The aim that meets a lamp, and whether a screen should have it.
pub fn screen_aim(display: &str, weighed: &Weighed) -> String {
    if matches!(weighed.candidate.basis, Basis::Label | Basis::KelvinOnly) {
        return format!("Measure it before you calibrate {display} to it.");
    }
    let aim: &ScreenAim = &weighed.aim;
    let level = aim.luminance.map_or_else(String::new, |l| format!(", {:.0} cd/m²", Luminance::get(l)));
    let sense = match aim.doubts.as_slice() {
        [] if weighed.fitness == Fitness::Unfit => "a sensible aim, but not for this lamp".to_owned(),
        [] => "a sensible aim".to_owned(),
        doubts => {
            let said: Vec<String> = doubts.iter().map(aim_doubt).collect();
            let head = if aim.is_sensible() { "possible, but" } else { "not sensible:" };
            format!("{head} {}", said.join("; "))
        }
    };
    format!("To meet it, calibrate {display} to {}{level}: {sense}.", white(aim.white))
}

fn aim_doubt(doubt: &AimDoubt) -> String {
    match doubt {
        AimDoubt::White { distance, direction, far } => {
            let word = direction_word(direction.as_ref()).unwrap_or_else(|| "away".to_owned());
            let end = if *far { "; whatever else is shown on it would look wrong" } else { "" };
            format!("that white is Δu′v′ {distance:.4} {word} than daylight{end}")
        }
        AimDoubt::TooDark { luminance } => {
            format!(
                "{luminance:.0} cd/m² is darker than a screen beside prints should be (80); more light on the print"
            )
        }
        AimDoubt::TooBright { luminance } => {
            format!(
                "{luminance:.0} cd/m² is brighter than a screen should run (250); less light on the print, or a declared ratio"
            )
        }
    }
}

/// Why a candidate stands where it stands, in one sentence.
pub fn place(weighed: &Weighed, station: &Station) -> String {
    let limit = station.tolerance.delta_uv;
    let settle = match weighed.candidate.basis {
        Basis::Label | Basis::KelvinOnly => {
            let (now, after) = weighed.settles;
            let source = if weighed.candidate.basis == Basis::Label { "by its label only" } else { "without its tint" };
            format!(
                ". It is known {source}, its white to ± {now:.4} in u′v′: {} likely to match; a reading would leave ± {after:.4} \
                 and settle it",
                super::percent(weighed.now.chance)
            )
        }
        Basis::Spectrum | Basis::Coordinates => String::new(),
    };
    let faults: Vec<String> = weighed.findings.iter().map(|finding| fault(&finding.fault)).collect();
    let faults = faults.join("; ");
    let (now, later) = (weighed.now.delta_uv, weighed.later.delta_uv);
    let sentence = if weighed.fitness == Fitness::Unfit {
        format!("Unfit: {faults}")
    } else if weighed.meets() {
        let but = if faults.is_empty() { String::new() } else { format!(", but {faults}") };
        let meets = if settle.is_empty() { "Meets" } else { "May meet" };
        format!("{meets} the screen as it stands (Δu′v′ {now:.4}, forecast {later:.4}, tolerance {limit:.4}){but}")
    } else {
        let word = direction_word(weighed.now.direction.as_ref());
        let word = word.map(|word| format!(", the screen is {word} than paper under it")).unwrap_or_default();
        let but = if faults.is_empty() { String::new() } else { format!("; {faults}") };
        format!("Would need the screen calibrated to it (Δu′v′ {now:.4}{word}){but}")
    };
    format!("{sentence}{settle}{}.", level(weighed.now.ratio, station.luminance))
}

/// How fit a candidate is, as one word of a table.
pub const fn fit_word(fitness: Fitness) -> &'static str {
    match fitness {
        Fitness::Fit => "fit",
        Fitness::WithCare => "with care",
        Fitness::Unfit => "unfit",
    }
}

/// Beyond this ratio of luminances either way a lamp is not only darker or brighter but wrong for its place.
const FAR_OFF: f64 = 2.0;

/// How the print would look beside the screen, where that is worth saying.
fn level(ratio: Option<f64>, rule: LuminanceRule) -> String {
    let than = if rule.agreed() == Some(1.0) { "the screen" } else { "agreed" };
    match ratio {
        Some(ratio) if ratio < 1.0 / FAR_OFF => {
            format!(
                "; at this place the print would be {:.1} times too bright: dim the lamp or move it away",
                1.0 / ratio
            )
        }
        Some(ratio) if ratio > FAR_OFF => {
            format!(
                "; at this place the print would be {ratio:.1} times too dark: bring the lamp nearer, or more light"
            )
        }
        Some(ratio) if !(1.0 / 1.1..=1.1).contains(&ratio) => unlike(ratio.recip())
            .map(|unlike| format!("; the print would look {unlike} than {than}"))
            .unwrap_or_default(),
        _ => String::new(),
    }
}

/// Of two lamps of equal kelvin, what tells them apart.
pub fn told_apart(a: (&str, CctDuv), b: (&str, CctDuv)) -> String {
    let ((a, at), (b, bt)) = (a, b);
    format!(
        "{a} and {b} have nearly the same kelvin ({:.0} and {:.0} K) and do not look alike: {} against {}.",
        at.cct_k.get(),
        bt.cct_k.get(),
        tint(at.duv.get()),
        tint(bt.duv.get())
    )
}

/// A display whose white nobody has read.
pub fn screen_unread(display: &str) -> String {
    format!(
        "{display} was never read: its aim stands in for it, and every chance below is a guess until you read it.\n"
    )
}

/// How near a white is to the daylight that prints are judged under, for one that is right.
pub fn white_is_right(distance: f64) -> String {
    format!("Δu′v′ {distance:.4} from daylight (D50 to D65; up to {WHITE_GOOD:.4} is right)")
}

/// What an Ra is worth, in a word.
pub fn rendering_word(ra: f64) -> &'static str {
    match ra {
        95.0.. => "very good",
        RA_GOOD.. => "good",
        crate::color::RA_LEAST.. => "fair",
        _ => "poor",
    }
}

//! What one will see: which hues a lamp pushes where, compared with the same white rendered honestly.
//!
//! Test colours of CIE 13.3-1995 (and the 2° observer, as prints are measured) stand for what people look at; honest is the reference
//! of CIE 224:2017 at the lamp's own temperature. Each is turned into CIELAB against the white of its own light, as an eye adapted to it
//! sees it, and compared by CIEDE2000. The neutral is not adapted to, or no tint would ever show: paper (or a perfect diffuser) under the lamp
//! against the same paper under the honest light, or against an aim that is given, both at one luminance.
//!
//! What is too little to speak of, and what is slight, are common practice: CIEDE2000 of 1 is about what an attentive eye sees side by
//! side, 3 what print buyers commonly let pass.

use std::fmt;

use super::reference::honest_light;
use super::samples;
use crate::color::reflected::Reflectance;
use crate::color::{Amount, LabColour, Move, Sampled, delta_e_2000, direction, uv_prime_of_xyz, xyz_of_uv_prime};
use crate::units::{ReflectanceCurve, UvPrime, Xyz};

/// Below this CIEDE2000 a hue is as it should be (common practice).
pub const UNSEEN: f64 = 1.0;
/// From this CIEDE2000 on a change is spoken of without "slightly" (common practice).
pub const PLAIN: f64 = 3.0;
/// A part of a change less than this share of its largest part is not spoken of.
const SHARE: f64 = 0.4;
/// A hue nearer than this to the colour's own is not where it goes to, degrees.
const OWN_HUE: f64 = 15.0;

/// A hue that people look for, and the test colour that stands for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// Test colour 13 of CIE 13.3, light yellowish pink: a light complexion.
    Skin,
    /// Test colour 14 of CIE 13.3, olive green: leaves.
    Foliage,
    /// Test colour 6 of CIE 13.3, light blue: 5 PB 6/8.
    Sky,
    /// The paper, or the perfect diffuser.
    Neutral,
    /// Test colour 9 of CIE 13.3, strong red.
    Red,
    /// Test colour 7 of CIE 13.3, light violet: 2.5 P 6/8.
    Purple,
}

impl Named {
    /// All of them, in the order in which they are reported.
    pub const ALL: [Self; 6] = [Self::Skin, Self::Foliage, Self::Sky, Self::Neutral, Self::Red, Self::Purple];

    /// Its name in a sentence.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Skin => "skin",
            Self::Foliage => "foliage",
            Self::Sky => "sky",
            Self::Neutral => "neutral",
            Self::Red => "red",
            Self::Purple => "purple",
        }
    }

    /// The number of its test colour in CIE 13.3-1995; None for the neutral.
    pub const fn test_colour(self) -> Option<usize> {
        match self {
            Self::Skin => Some(13),
            Self::Foliage => Some(14),
            Self::Sky => Some(6),
            Self::Neutral => None,
            Self::Red => Some(9),
            Self::Purple => Some(7),
        }
    }
}

/// Where a hue is turned to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Towards {
    Red,
    Orange,
    Yellow,
    Green,
    Cyan,
    Blue,
    Purple,
    Magenta,
}

impl Towards {
    /// Each with its hue angle in CIELAB, degrees, about; rising.
    const WHEEL: [(f64, Self); 8] = [
        (27.0, Self::Red),
        (62.0, Self::Orange),
        (95.0, Self::Yellow),
        (150.0, Self::Green),
        (205.0, Self::Cyan),
        (265.0, Self::Blue),
        (310.0, Self::Purple),
        (345.0, Self::Magenta),
    ];

    /// The first named hue that a colour of hue `from` (degrees) meets when it is turned up or down.
    fn turned(from: f64, up: bool) -> Self {
        let way = |angle: f64| (if up { angle - from } else { from - angle } - OWN_HUE).rem_euclid(360.0);
        let nearest = Self::WHEEL.into_iter().min_by(|(a, _), (b, _)| way(*a).total_cmp(&way(*b)));
        nearest.map_or(Self::Red, |(_, word)| word)
    }

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Red => "red",
            Self::Orange => "orange",
            Self::Yellow => "yellow",
            Self::Green => "green",
            Self::Cyan => "cyan",
            Self::Blue => "blue",
            Self::Purple => "purple",
            Self::Magenta => "magenta",
        }
    }
}

/// Whether a colour gained or lost chroma.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Vividness {
    Duller,
    MoreVivid,
}

/// Whether a colour gained or lost lightness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Lightness {
    Darker,
    Lighter,
}

/// What a lamp does to one hue: in numbers, and the parts of it that are worth saying.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HueShift {
    /// Which.
    pub hue: Named,
    /// Difference from how it should look, CIEDE2000.
    pub delta_e: f64,
    /// Change of L*, positive when lighter.
    pub delta_l: f64,
    /// Change of C*ab, positive when more vivid.
    pub delta_c: f64,
    /// Change of hue ΔH*ab, positive from red towards yellow, green and blue.
    pub delta_h: f64,
    /// The named hue that it is turned to.
    pub towards: Option<Towards>,
    /// Duller or more vivid.
    pub vividness: Option<Vividness>,
    /// Darker or lighter.
    pub lightness: Option<Lightness>,
    /// For the neutral, in place of the three: where its white lies from what it should be.
    pub tint: Option<Move>,
}

impl HueShift {
    /// Whether and how much it is worth saying.
    pub fn amount(&self) -> Option<Amount> {
        match self.delta_e {
            ..UNSEEN => None,
            ..PLAIN => Some(Amount::Slightly),
            _ => Some(Amount::Plainly),
        }
    }

    fn of(hue: Named, lamp: LabColour, honest: LabColour) -> Self {
        let c0 = honest.chroma();
        let (delta_l, delta_c) = (lamp.l - honest.l, lamp.chroma() - c0);
        let (delta_a, delta_b) = (lamp.a - honest.a, lamp.b - honest.b);
        // ΔH² is what is left of Δa² + Δb² beside ΔC²; its sign is the turn's.
        let rest = delta_a * delta_a + delta_b * delta_b - delta_c * delta_c;
        let delta_h = rest.max(0.0).sqrt().copysign(honest.a * delta_b - honest.b * delta_a);
        let delta_e = delta_e_2000(lamp, honest);
        // The three beside each other as CIEDE2000 weighs them, about: S_C and S_H grow with chroma.
        let parts = [delta_h / (1.0 + 0.015 * c0), delta_c / (1.0 + 0.045 * c0), delta_l];
        let largest = parts.iter().fold(0.0, |most: f64, part| most.max(part.abs()));
        let [turned, vivid, light] =
            parts.map(|part| (delta_e >= UNSEEN && part.abs() >= SHARE * largest).then_some(part > 0.0));
        Self {
            hue,
            delta_e,
            delta_l,
            delta_c,
            delta_h,
            towards: turned.map(|up| Towards::turned(libm::atan2(honest.b, honest.a).to_degrees(), up)),
            vividness: vivid.map(|up| if up { Vividness::MoreVivid } else { Vividness::Duller }),
            lightness: light.map(|up| if up { Lightness::Lighter } else { Lightness::Darker }),
            tint: None,
        }
    }
}

impl fmt::Display for HueShift {
    /// "skin slightly towards red and duller"; "sky as it should be"; "neutral greener".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = self.hue.word();
        let Some(amount) = self.amount() else { return write!(f, "{name} as it should be") };
        if let Some(tint) = self.tint {
            return write!(f, "{name} {tint}");
        }
        let words = [
            self.towards.map(|towards| format!("towards {}", towards.word())),
            self.vividness.map(|way| if way == Vividness::Duller { "duller" } else { "more vivid" }.to_owned()),
            self.lightness.map(|way| if way == Lightness::Darker { "darker" } else { "lighter" }.to_owned()),
        ];
        let slightly = if amount == Amount::Slightly { "slightly " } else { "" };
        write!(f, "{name} {slightly}{}", words.into_iter().flatten().collect::<Vec<_>>().join(" and "))
    }
}

/// What a lamp does to each of the named hues. `paper` is its reflectance, else the perfect diffuser; `aim` is the white that the
/// neutral should have, else that of the paper under the honest light. Empty for a light without a colour temperature, or hotter than
/// 25 000 K.
pub fn hues(lamp: &Sampled, paper: Option<&ReflectanceCurve>, aim: Option<UvPrime>) -> Vec<HueShift> {
    let honest = super::temperature(lamp.tristimulus()).and_then(|at| honest_light(at.cct_k));
    honest.map_or_else(Vec::new, |honest| {
        let (lit, should) = (samples::old(lamp), samples::old(&honest));
        let of = |hue: Named| match hue.test_colour() {
            None => neutral(lamp, &honest, paper, aim),
            Some(number) => {
                let seen = |all: &[[f64; 3]]| LabColour::of(xyz(*all.get(number - 1)?), xyz(*all.last()?));
                Some(HueShift::of(hue, seen(&lit)?, seen(&should)?))
            }
        };
        Named::ALL.into_iter().filter_map(of).collect()
    })
}

/// The neutral under the lamp, as an eye sees it that is adapted to what it should be.
fn neutral(
    lamp: &Sampled,
    honest: &Sampled,
    paper: Option<&ReflectanceCurve>,
    aim: Option<UvPrime>,
) -> Option<HueShift> {
    let paper = paper.map(Reflectance::of);
    let under = |light: &Sampled| paper.as_ref().map_or_else(|| light.tristimulus(), |paper| paper.under(light).1);
    let to = uv_prime_of_xyz(under(lamp)).ok()?;
    let from = aim.or_else(|| uv_prime_of_xyz(under(honest)).ok())?;
    let at = |uv: UvPrime| xyz_of_uv_prime(uv, 1.0).ok();
    let white = at(from)?;
    let shift = HueShift::of(Named::Neutral, LabColour::of(at(to)?, white)?, LabColour::of(white, white)?);
    let tint = Some(direction(from, to)?);
    Some(HueShift { towards: None, vividness: None, lightness: None, tint, ..shift })
}

fn xyz([x, y, z]: [f64; 3]) -> Xyz {
    Xyz { x, y, z }
}

#[cfg(test)]
mod tests {
    use super::super::reference::{black_body, daylight_phase};
    use super::*;
    use crate::color::illuminant::D50_K;
    use crate::units::Kelvin;

    fn honest(kelvin: f64) -> Sampled {
        honest_light(Kelvin::new(kelvin).unwrap()).unwrap()
    }

    /// An honest light with one region made stronger.
    fn pushed(kelvin: f64, nm: std::ops::Range<usize>, by: f64) -> Sampled {
        let mut light = honest(kelvin);
        for value in &mut light.values[nm.start - 360..nm.end - 360] {
            *value *= by;
        }
        light
    }

    #[test]
    fn an_honest_light_leaves_everything_as_it_should_be() {
        for kelvin in [2700.0, 4500.0, 5000.0, 6504.0] {
            let found = hues(&honest(kelvin), None, None);
            assert_eq!(found.len(), 6);
            for shift in found {
                assert!(shift.delta_e < 0.05, "{kelvin}: {shift:?}");
                assert_eq!(shift.to_string(), format!("{} as it should be", shift.hue.word()));
            }
        }
    }

    #[test]
    fn too_little_deep_red_dulls_red() {
        let found = hues(&pushed(5000.0, 630..780, 0.3), None, None);
        let red = found.iter().find(|shift| shift.hue == Named::Red).unwrap();
        assert_eq!(red.amount(), Some(Amount::Plainly), "{red:?}");
        assert!(red.delta_c < -3.0 && red.to_string().contains("duller"), "{red} {red:?}");
        assert!(found.iter().all(|shift| shift.hue == Named::Neutral || shift.delta_e < red.delta_e + 5.0));
    }

    #[test]
    fn a_tint_shows_in_the_neutral_alone_of_all_that_is_adapted() {
        let green = hues(&pushed(5000.0, 530..560, 1.25), None, None);
        let neutral = green.iter().find(|shift| shift.hue == Named::Neutral).unwrap();
        assert_eq!(neutral.to_string(), "neutral greener", "{neutral:?}");
        let magenta = hues(&pushed(5000.0, 530..560, 0.8), None, None);
        let neutral = magenta.iter().find(|shift| shift.hue == Named::Neutral).unwrap();
        assert_eq!(neutral.to_string(), "neutral more magenta", "{neutral:?}");
    }

    #[test]
    fn an_aim_and_a_paper_move_the_neutral_and_nothing_else() {
        let lamp = black_body(Kelvin::new(3000.0).unwrap());
        let d50 = daylight_phase(Kelvin::new(D50_K).unwrap()).unwrap();
        let aim = uv_prime_of_xyz(d50.tristimulus()).unwrap();
        let (plain, aimed) = (hues(&lamp, None, None), hues(&lamp, None, Some(aim)));
        for (plain, aimed) in plain.iter().zip(&aimed).filter(|(plain, _)| plain.hue != Named::Neutral) {
            assert_eq!(plain, aimed);
        }
        assert!(aimed[3].delta_e > 20.0 && aimed[3].to_string() == "neutral yellower", "{:?} {}", aimed[3], aimed[3]);
        // Paper of any colour is the same white under a light that renders honestly.
        let nm: Vec<f64> = (380..=780).step_by(10).map(f64::from).collect();
        let factors = nm.iter().map(|nm| if *nm < 500.0 { 0.95 } else { 0.85 }).collect();
        let bluish = ReflectanceCurve::new(&nm, factors).unwrap();
        let found = hues(&d50, Some(&bluish), None);
        assert!(found[3].delta_e < 0.05, "{:?}", found[3]);
        assert!(hues(&d50, Some(&bluish), Some(aim))[3].delta_e > 2.0);
    }

    #[test]
    fn turns_are_named_by_where_they_lead() {
        for (from, up, word) in [
            (60.0, true, "yellow"),
            (60.0, false, "red"),
            (30.0, true, "orange"),
            (20.0, false, "magenta"),
            (270.0, true, "purple"),
            (270.0, false, "cyan"),
            (350.0, true, "red"),
            (-90.0, true, "purple"),
        ] {
            assert_eq!(Towards::turned(from, up).word(), word, "{from} {up}");
        }
    }

    #[test]
    fn a_light_without_a_temperature_has_no_hues() {
        let mut green = honest(5000.0);
        for (index, value) in green.values.iter_mut().enumerate() {
            *value = if (160..180).contains(&index) { 1.0 } else { 0.0 };
        }
        assert!(hues(&green, None, None).is_empty());
    }
}

//! The direction of a small chromaticity move near white, in words.
//!
//! In CIE 1960 u,v the move is split along the Planckian locus (towards higher temperature: bluer, else yellower) and
//! across it (towards positive Duv: greener, else more magenta), at the point of the locus nearest to the middle of the move.

use std::fmt;

use super::chromaticity::uv_1960;
use super::difference::mired;
use super::temperature::{cct_duv, foot};
use crate::units::UvPrime;

/// A part of a move smaller than this, in CIE 1960 u,v, is not spoken of: below the scatter of matching by eye (0.001 in
/// u′,v′, CIE TN 001).
const SILENT: f64 = 0.0005;
/// A part at least this large, in CIE 1960 u,v, is spoken of without "slightly": about what an attentive eye sees side by side.
const PLAIN: f64 = 0.002;
/// A part less than this share of the other part is not spoken of.
const SHARE: f64 = 0.25;

/// The direction along the Planckian locus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// Towards higher colour temperature.
    Bluer,
    /// Towards lower colour temperature.
    Yellower,
}

/// The direction across the Planckian locus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Across {
    /// Towards positive Duv.
    Greener,
    /// Towards negative Duv.
    MoreMagenta,
}

/// How much is worth saying of a part of a move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Amount {
    /// 0.0005 to 0.002 in CIE 1960 u,v.
    Slightly,
    /// 0.002 and more.
    Plainly,
}

/// A move from one white to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    /// What is worth saying along the locus.
    pub along: Option<(Along, Amount)>,
    /// What is worth saying across the locus.
    pub across: Option<(Across, Amount)>,
    /// Change of reciprocal colour temperature in mired (1e6/K), negative when bluer; None where one end has none.
    pub mired: Option<f64>,
    /// Change of Duv, positive when greener: the part of the move across the locus, CIE 1960 u,v.
    pub duv: f64,
}

/// The direction from one white to another; None when a coordinate is not finite.
pub fn direction(from: UvPrime, to: UvPrime) -> Option<Move> {
    let middle = UvPrime { u: (from.u + to.u) / 2.0, v: (from.v + to.v) / 2.0 };
    let at = foot(middle).ok()?;
    let ((u0, v0), (u1, v1)) = (uv_1960(from), uv_1960(to));
    let (du, dv) = (u1 - u0, v1 - v0);
    let on = |(u, v): (f64, f64)| du * u + dv * v;
    let (along, across) = (on(at.along), on(at.across()));
    let amount = |part: f64, other: f64| {
        let size = part.abs();
        if size < SILENT || size < SHARE * other.abs() {
            None
        } else if size < PLAIN {
            Some(Amount::Slightly)
        } else {
            Some(Amount::Plainly)
        }
    };
    let reciprocal = |uv| cct_duv(uv).ok().map(|t| mired(t.cct_k));
    Some(Move {
        along: amount(along, across).map(|a| (if along > 0.0 { Along::Bluer } else { Along::Yellower }, a)),
        across: amount(across, along).map(|a| (if across > 0.0 { Across::Greener } else { Across::MoreMagenta }, a)),
        mired: reciprocal(to).zip(reciprocal(from)).map(|(to, from)| to - from),
        duv: across,
    })
}

impl fmt::Display for Along {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Bluer => "bluer",
            Self::Yellower => "yellower",
        })
    }
}

impl fmt::Display for Across {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Greener => "greener",
            Self::MoreMagenta => "more magenta",
        })
    }
}

impl fmt::Display for Move {
    /// "bluer and slightly greener", the plainer part first; "of the same white" when nothing is worth saying.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let slightly = |a: Amount| if a == Amount::Slightly { "slightly " } else { "" };
        match (self.along, self.across) {
            (None, None) => f.write_str("of the same white"),
            (Some((word, a)), None) => write!(f, "{}{word}", slightly(a)),
            (None, Some((word, a))) => write!(f, "{}{word}", slightly(a)),
            (Some((blue, Amount::Slightly)), Some((green, Amount::Plainly))) => {
                write!(f, "{green} and slightly {blue}")
            }
            (Some((blue, Amount::Slightly)), Some((green, Amount::Slightly))) => {
                write!(f, "slightly {blue} and {green}")
            }
            (Some((blue, _)), Some((green, b))) => write!(f, "{blue} and {}{green}", slightly(b)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::temperature::{CctDuv, uv_of_cct_duv};
    use super::*;
    use crate::units::{Duv, Kelvin};
    use proptest::prelude::*;

    fn white(cct: f64, duv: f64) -> UvPrime {
        uv_of_cct_duv(CctDuv { cct_k: Kelvin::new(cct).unwrap(), duv: Duv::new(duv).unwrap() }).unwrap()
    }

    #[test]
    fn moves_are_named_as_people_see_them() {
        for (from, to, said) in [
            ((5000.0, 0.0), (5600.0, 0.0), "bluer"),
            ((5600.0, 0.0), (5000.0, 0.0), "yellower"),
            ((5000.0, 0.0), (5060.0, 0.0), "slightly bluer"),
            ((5000.0, 0.0), (5000.0, 0.004), "greener"),
            ((5000.0, 0.003), (5000.0, 0.0), "more magenta"),
            ((5000.0, 0.0), (5300.0, 0.0015), "bluer and slightly greener"),
            ((6500.0, 0.003), (6000.0, 0.0), "yellower and more magenta"),
            ((5000.0, 0.0), (5060.0, 0.001), "slightly bluer and greener"),
            ((5000.0, 0.0), (4930.0, 0.003), "greener and slightly yellower"),
            ((5000.0, 0.0), (5005.0, 0.0001), "of the same white"),
        ] {
            let found = direction(white(from.0, from.1), white(to.0, to.1)).unwrap();
            assert_eq!(found.to_string(), said, "{from:?} to {to:?}: {found:?}");
        }
    }

    #[test]
    fn the_numbers_beside_the_words() {
        let found = direction(white(5000.0, 0.001), white(5300.0, 0.003)).unwrap();
        assert!((found.mired.unwrap() - (1e6 / 5300.0 - 200.0)).abs() < 0.01);
        assert!((found.duv - 0.002).abs() < 5e-5, "{}", found.duv);
        let far = direction(UvPrime { u: 0.1, v: 0.56 }, UvPrime { u: 0.09, v: 0.56 }).unwrap();
        assert_eq!(far.mired, None);
        assert_eq!(direction(UvPrime { u: f64::NAN, v: 0.5 }, white(5000.0, 0.0)), None);
    }

    proptest! {
        #[test]
        fn the_way_back_has_the_opposite_words(
            cct in 2500f64..9000.0, duv in -0.01f64..0.01, du in -0.01f64..0.01, dv in -0.01f64..0.01,
        ) {
            let a = white(cct, duv);
            let b = UvPrime { u: a.u + du, v: a.v + dv };
            let (there, back) = (direction(a, b).unwrap(), direction(b, a).unwrap());
            prop_assert_eq!(there.along.map(|x| x.1), back.along.map(|x| x.1));
            prop_assert!(there.along.zip(back.along).is_none_or(|(x, y)| x.0 != y.0));
            prop_assert!(there.across.zip(back.across).is_none_or(|(x, y)| x.0 != y.0));
            prop_assert!((there.duv + back.duv).abs() < 1e-12);
        }
    }
}

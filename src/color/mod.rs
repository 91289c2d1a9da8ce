//! From received coordinates to the white point, its colour temperature and tint, and the white of paper under a lamp. Pure.
//!
//! All of it is f64, and the CIE 1931 2° observer where nothing else is said; how lamps render colours is in `rendering`. What does not
//! live here: what is compared with what (`station`), and how a white moves (`drift`).

mod bandwidth;
mod brightener;
mod chromaticity;
mod d50;
mod difference;
mod fitness;
mod illuminant;
mod interpolate;
mod label;
mod locus;
mod observer;
mod observer_2deg;
mod observer_10deg;
mod paper;
mod reflected;
pub mod rendering;
mod sampled;
mod temperature;
mod white;
mod words;

pub use brightener::Brightener;
pub use chromaticity::{
    Degenerate, LOCUS_ALLOWANCE, UvSpread, delta_uv, inside_locus, uv_1960, uv_prime, uv_prime_from_1960,
    uv_prime_of_xyz, xy, xy_of_xyz, xyz_of_uv_prime, xyz_of_xy,
};
pub use difference::{LabColour, delta_e_2000, mired};
pub use fitness::{
    Fault, Finding, Fitness, KnownLight, R9_GOOD, RA_GOOD, RA_LEAST, SPECIAL_LEAST, WHITE_BEARABLE, WHITE_GOOD,
    fitness, nearest_daylight,
};
pub use illuminant::{D50_XYZ, Illuminant, daylight};
pub use label::{label_white, white_as_given};
pub use observer::{FIRST_NM, GRID, Observer, matching_functions};
pub use paper::{PaperError, PaperLight, PaperUnderLamp};
pub use sampled::{LUMENS_PER_WATT, Sampled, level_as_given, level_of_spectrum};
pub use temperature::{
    CctDuv, LocusPoint, MAX_TINT, NoTemperature, cct_duv, planckian, planckian_point, uv_of_cct_duv,
};
pub use white::{Colorimetry, Impossible, Tint, UNKNOWN_TINT_SD, WhitePoint, white_point};
pub use words::{Across, Along, Amount, Move, direction};

//! Newtypes for time, light and identity, so that numbers and names of different kinds cannot be mixed.
//!
//! What lives here: values that carry a unit, and the checks that make a bad one impossible to build.
//! What does not: colorimetry (`color`), any clock (`clock`), any zone but UTC (`zone`).

mod ids;
mod light;
mod reflectance;
mod spectrum;
mod time;

pub use ids::{BadId, DeviceId, InstrumentId, OperatorId, SiteId, StationId};
pub use light::{Duv, Illuminance, Kelvin, Luminance, OutOfRange, Probability, UvPrime, Xy, Xyz};
pub use reflectance::{BadCurve, CURVE_BEGINS_NM, CURVE_ENDS_NM, CURVE_STEP_NM, MOST_REFLECTANCE, ReflectanceCurve};
pub use spectrum::{
    BadSpectrum, DARK_NOISE, FEWEST_VALUES, MOST_VALUES, MUST_BEGIN_NM, MUST_END_NM, SpectralUnit, Spectrum,
    WIDEST_GAP_NM,
};
pub use time::{BadDay, BadTime, Day, Days, Hours, Time};

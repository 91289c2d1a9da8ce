//! The rendering limit: what is known of a lamp's Ra, and whether it keeps the station's least. Pure.
//!
//! The limit is held against the index as it stands, without a margin for its uncertainty: simple acceptance (JCGM 106:2012
//! clause 8.2). A limit of an index is a convention set with such readings in mind (ISO 3664 states "Ra of at least 90" and no
//! uncertainty), and the uncertainty of an index is not what one spectrum tells: it lies in the stray light and the wavelengths of
//! an instrument. So a lamp below its limit is out of tolerance with a risk of 1, and one at it or above adds no risk.
//!
//! An index speaks of one lamp at one setting: one from before a replacement or a turned dial says nothing of what burns now. A
//! measurement outranks a label, whichever is newer.

use crate::units::Time;

/// Where an index comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RaSource {
    /// Worked out from a spectrum that is in the ledger.
    Spectrum,
    /// Stated by the meter.
    Given,
    /// Printed on the lamp.
    Label,
}

impl RaSource {
    /// The stable word that scripts see.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Spectrum => "spectrum",
            Self::Given => "given",
            Self::Label => "label",
        }
    }
}

/// An index, and since when it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LampRa {
    /// General colour rendering index Ra (CIE 13.3-1995).
    pub ra: f64,
    /// When it was measured, or entered from the label.
    pub when: Time,
    /// Where it comes from.
    pub source: RaSource,
}

/// What is known of a lamp's index.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum RaKnown {
    /// Nothing.
    #[default]
    Never,
    /// Nothing since the lamp was changed.
    NotSince {
        /// When it was changed.
        changed: Time,
    },
    /// This.
    Known(LampRa),
}

impl RaKnown {
    /// The index, where there is one.
    pub const fn known(&self) -> Option<&LampRa> {
        match self {
            Self::Known(known) => Some(known),
            Self::Never | Self::NotSince { .. } => None,
        }
    }

    /// Whether the index is below `limit`; what is not known breaks nothing.
    pub fn breaks(&self, limit: Option<f64>) -> bool {
        self.known().zip(limit).is_some_and(|(known, limit)| known.ra < limit)
    }
}

//! The names a field may have, the same in CSV, JSON and on the command line, and what to say to a name not among them.
//!
//! What does not live here: what the values mean (`row`), how they are laid out (`table`, `json`).

use super::spectral::{meant_as_wavelength, wavelength};

/// A field that a reading or an event may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Time,
    Device,
    X,
    Y,
    Z,
    ChromaX,
    ChromaY,
    UPrime,
    VPrime,
    CctK,
    Duv,
    Luminance,
    Illuminance,
    Unit,
    BandwidthNm,
    Instrument,
    Operator,
    Hours,
    WarmupMin,
    Setting,
    Source,
    Patch,
    Ra,
    Id,
    Note,
    Event,
    Other,
    Number,
    Issued,
    Until,
    Laboratory,
    Results,
    Firmware,
    Place,
}

/// Which of the two kinds of record a row holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Reading,
    Event,
}

impl Kind {
    /// The word for many of them.
    pub fn plural(self) -> &'static str {
        match self {
            Self::Reading => "readings",
            Self::Event => "events",
        }
    }

    /// The fields it may have, in the order people are shown them.
    pub fn columns(self) -> &'static [Column] {
        use Column::*;
        match self {
            Self::Reading => &[
                Time,
                Device,
                X,
                Y,
                Z,
                ChromaX,
                ChromaY,
                UPrime,
                VPrime,
                CctK,
                Duv,
                Luminance,
                Illuminance,
                Unit,
                BandwidthNm,
                Instrument,
                Operator,
                Hours,
                WarmupMin,
                Setting,
                Source,
                Patch,
                Ra,
                Id,
                Note,
            ],
            Self::Event => &[
                Time, Device, Event, Operator, Note, ChromaX, ChromaY, Luminance, Other, Number, Issued, Until,
                Laboratory, Results, Firmware, Place,
            ],
        }
    }
}

impl Column {
    /// Every field of either kind, at the place of its own number.
    pub const ALL: [Self; 34] = [
        Self::Time,
        Self::Device,
        Self::X,
        Self::Y,
        Self::Z,
        Self::ChromaX,
        Self::ChromaY,
        Self::UPrime,
        Self::VPrime,
        Self::CctK,
        Self::Duv,
        Self::Luminance,
        Self::Illuminance,
        Self::Unit,
        Self::BandwidthNm,
        Self::Instrument,
        Self::Operator,
        Self::Hours,
        Self::WarmupMin,
        Self::Setting,
        Self::Source,
        Self::Patch,
        Self::Ra,
        Self::Id,
        Self::Note,
        Self::Event,
        Self::Other,
        Self::Number,
        Self::Issued,
        Self::Until,
        Self::Laboratory,
        Self::Results,
        Self::Firmware,
        Self::Place,
    ];

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Device => "device",
            Self::X => "X",
            Self::Y => "Y",
            Self::Z => "Z",
            Self::ChromaX => "x",
            Self::ChromaY => "y",
            Self::UPrime => "u_prime",
            Self::VPrime => "v_prime",
            Self::CctK => "cct_k",
            Self::Duv => "duv",
            Self::Luminance => "luminance_cd_m2",
            Self::Illuminance => "illuminance_lx",
            Self::Unit => "unit",
            Self::BandwidthNm => "bandwidth_nm",
            Self::Instrument => "instrument",
            Self::Operator => "operator",
            Self::Hours => "hours",
            Self::WarmupMin => "warmup_min",
            Self::Setting => "setting",
            Self::Source => "source",
            Self::Patch => "patch",
            Self::Ra => "ra",
            Self::Id => "id",
            Self::Note => "note",
            Self::Event => "event",
            Self::Other => "other",
            Self::Number => "number",
            Self::Issued => "issued",
            Self::Until => "until",
            Self::Laboratory => "laboratory",
            Self::Results => "results",
            Self::Firmware => "firmware",
            Self::Place => "place",
        }
    }

    /// The field of this exact name; `X` and `x` are two.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|column| column.name() == name)
    }

    /// Whether a table that was cut within this header cell may have meant a known name.
    pub fn may_begin_with(start: &str) -> bool {
        Self::ALL.into_iter().any(|column| column.name().starts_with(start))
            || wavelength(start).is_some()
            || "nm" == start
    }
}

/// What to expect in place of `name`, which is no field of a `kind`.
pub(super) fn instead_of(name: &str, kind: Kind) -> String {
    let names: Vec<&str> = kind.columns().iter().map(|column| column.name()).collect();
    let mut all = format!("a name that {} have: {}", kind.plural(), names.join(", "));
    if kind == Kind::Reading {
        if let Some(meant) = meant_as_wavelength(name) {
            return format!("'{meant}', if that is meant: a spectral column is named nm and its wavelength");
        }
        all.push_str("; and nm380, nm385, … for a spectrum");
    }
    // A name of the other kind is not misspelt.
    match nearest(name, &names).filter(|_| Column::named(name).is_none()) {
        Some(near) if near.len() > name.len() && near.starts_with(&name.to_lowercase()) => {
            format!("'{near}', if that is meant: the unit belongs in the name")
        }
        Some(near) => format!("'{near}', if that is meant"),
        None => all,
    }
}

/// The one of `words` that is most like `found`, if one is like it at all.
pub(super) fn nearest<'w>(found: &str, words: &[&'w str]) -> Option<&'w str> {
    // A hostile name may be long, and likeness takes the square of its length.
    let found: String = found.chars().take(40).collect::<String>().trim().to_lowercase().replace([' ', '-', '.'], "_");
    if found.is_empty() {
        return None;
    }
    let likeness = |word: &str| strsim::jaro_winkler(&found, &word.to_lowercase());
    // With one or two letters everything is like everything.
    let enough = if found.chars().count() <= 2 { 0.95 } else { 0.8 };
    (words.iter().map(|word| (likeness(word), *word)))
        .filter(|(likeness, _)| *likeness >= enough)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_column_stands_at_its_number() {
        for (place, column) in Column::ALL.into_iter().enumerate() {
            assert_eq!(column as usize, place, "{}", column.name());
            assert_eq!(Column::named(column.name()), Some(column));
        }
    }

    #[test]
    fn an_unknown_name_is_told_its_neighbour() {
        for (found, near) in [
            ("luminance", "'luminance_cd_m2', if that is meant: the unit"),
            ("illuminance", "'illuminance_lx', if that is meant: the unit"),
            ("cct", "'cct_k', if that is meant: the unit"),
            ("warmup", "'warmup_min', if that is meant: the unit"),
            ("Time", "'time'"),
            ("tiem", "'time'"),
            ("u'", "a name that readings have: time, device"),
            ("uprime", "'u_prime'"),
            ("instrumnet", "'instrument'"),
            ("Device ", "'device'"),
            ("380 nm", "'nm380', if that is meant: a spectral"),
            ("NM382,5", "'nm382.5'"),
            ("spec_400", "'nm400'"),
            ("nm3.8.0", "and nm380, nm385, … for a spectrum"),
            ("99", "and nm380"),
            ("units", "'unit'"),
            ("other", "a name that readings have"),
            ("zzz", "a name that readings have: time, device, X"),
        ] {
            let said = instead_of(found, Kind::Reading);
            assert!(said.contains(near), "{found}: {said}");
        }
        assert!(instead_of("hours", Kind::Event).contains("a name that events have: time, device, event"));
    }
}

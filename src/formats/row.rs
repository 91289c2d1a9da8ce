//! From the cells of one row to a reading or an event: the one place that knows what each field may hold.
//!
//! All formats and the command line come through here, so that a value means the same wherever it was written.
//! What does not live here: layout (`table`, `json`), and what needs colorimetry (the spectrum locus) or the site
//! (whether a device exists).

use super::column::{Column, Kind};
use super::defects::Defects;
use super::field::{Cells, Row};
use super::{Context, Need};
use crate::reading::{
    Certificate, Circumstances, ColourSet, Details, Draft, Event, EventKind, Level, OperatorBy, Patch, Record, Source,
};
use crate::units::{Day, DeviceId, Hours, Illuminance, InstrumentId, Kelvin, Luminance, OperatorId, Time};
use crate::units::{UvPrime, Xy, Xyz};
use crate::zone::{self, BadLocalTime};

/// What a row must have beside its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Must {
    /// Device and time, as the ledger needs them.
    HaveBoth,
    /// Neither, and a local time without a zone is left out.
    Nothing,
    /// Neither, because whoever typed it is asked or has a clock; but a time that is given must be readable.
    ReadWhatIsGiven,
}

impl From<Need> for Must {
    fn from(need: Need) -> Self {
        match need {
            Need::Ledger => Self::HaveBoth,
            Need::Look => Self::Nothing,
        }
    }
}

/// Builds the record that `cells` describe, or adds to `defects` and returns nothing.
pub(super) fn record(
    cells: &Cells<'_>,
    kind: Kind,
    line: u64,
    context: &Context,
    defects: &mut Defects,
) -> Option<Record> {
    let mut row = Row { cells, line, context, defects };
    match kind {
        Kind::Reading => row.draft(context.need.into()).map(Record::Reading),
        Kind::Event => row.event().map(Record::Event),
    }
}

/// Builds the reading of which the colour was read already, or could not be; `cells` say everything else of it.
pub(super) fn coloured(
    cells: &Cells<'_>,
    colour: Option<ColourSet>,
    line: u64,
    context: &Context,
    defects: &mut Defects,
) -> Option<Record> {
    Row { cells, line, context, defects }.draft_of(context.need.into(), |_, _| colour).map(Record::Reading)
}

/// Builds a reading that was typed: device and time may come from elsewhere.
pub(super) fn typed(cells: &Cells<'_>, context: &Context, defects: &mut Defects) -> Option<Draft> {
    Row { cells, line: 0, context, defects }.draft(Must::ReadWhatIsGiven)
}

/// Whether a text of a file's header, which may hold a date alone, names an instant; perhaps one that never was.
pub(super) fn has_a_time_of_day(text: &str, context: &Context) -> bool {
    let read = zone::read(text, context.zone);
    !matches!(read, Err(BadLocalTime::NotATime { .. } | BadLocalTime::DateOnly { .. }))
}

/// Noon of the day that a text of a file's header names, where it names a day and nothing more.
pub(super) fn noon_of(text: &str, context: &Context) -> Option<String> {
    let is_a_day = matches!(zone::read(text, context.zone), Err(BadLocalTime::DateOnly { .. }));
    is_a_day.then(|| format!("{} 12:00", text.trim()))
}

impl Row<'_, '_> {
    fn draft(&mut self, must: Must) -> Option<Draft> {
        self.draft_of(must, Self::colour)
    }

    fn draft_of(&mut self, must: Must, colour: impl FnOnce(&mut Self, Patch) -> Option<ColourSet>) -> Option<Draft> {
        let before = self.defects.count();
        let (time, time_given) = self.time(must);
        let device = self.device(must == Must::HaveBoth);
        let circumstances = self.circumstances();
        let level = self.level(circumstances.patch);
        let colour = colour(self, circumstances.patch);
        let colour = colour.filter(|_| self.defects.count() == before)?;
        Some(Draft { device, time, time_given, colour, level, circumstances })
    }

    fn event(&mut self) -> Option<Event> {
        let before = self.defects.count();
        let (time, time_given) = self.time(Must::HaveBoth);
        let device = self.device(true);
        let kind = self.event_kind();
        let operator = self.named(Column::Operator, OperatorId::new);
        let operator_by = operator.as_ref().map(|_| OperatorBy::File);
        let note = self.text(Column::Note);
        let details = self.details(kind);
        let target_white = match (self.number(Column::ChromaX), self.number(Column::ChromaY)) {
            (None, None) => None,
            (x, y) => self.xy(x, y),
        };
        let target_luminance = self.quantity(Column::Luminance, Luminance::new);
        let other = self.named(Column::Other, InstrumentId::new);
        if kind.is_some_and(|kind| kind != EventKind::Recalibrated) {
            for column in [Column::ChromaX, Column::ChromaY, Column::Luminance] {
                self.must_be_empty(column, "nothing: only a recalibration has a target");
            }
        }
        if kind == Some(EventKind::CrossCalibrated) {
            if other.is_none() && self.is_absent(Column::Other) {
                self.blame(Column::Other, "nothing", "the instrument that was compared with");
            }
        } else if kind.is_some() {
            self.must_be_empty(Column::Other, "nothing: only a cross-calibration has another instrument");
        }
        if self.defects.count() != before {
            return None;
        }
        let (device, time, kind) = (device?, time?, kind?);
        Some(Event {
            device,
            time,
            time_given,
            kind,
            operator,
            operator_by,
            note,
            target_white,
            target_luminance,
            other,
            details,
        })
    }

    fn event_kind(&mut self) -> Option<EventKind> {
        let words = EventKind::ALL.map(EventKind::word);
        match self.text(Column::Event) {
            None if !self.is_absent(Column::Event) => None,
            None => {
                self.blame(Column::Event, "nothing", format!("one of {}", words.join(", ")));
                None
            }
            Some(word) => self.one_of(Column::Event, &word, &words).and_then(EventKind::from_word),
        }
    }

    /// What only some kinds of event say.
    fn details(&mut self, kind: Option<EventKind>) -> Details {
        let certificate = match kind {
            Some(EventKind::Certificate) => self.certificate(),
            None => None,
            Some(_) => {
                for column in [Column::Number, Column::Issued, Column::Until, Column::Laboratory, Column::Results] {
                    self.must_be_empty(column, "nothing: it belongs to a certificate");
                }
                None
            }
        };
        let firmware = self.text(Column::Firmware);
        match kind {
            Some(EventKind::Firmware) if self.is_absent(Column::Firmware) => {
                self.blame(Column::Firmware, "nothing", "the version that it has now");
            }
            Some(EventKind::Firmware | EventKind::Serviced | EventKind::Repaired | EventKind::Replaced) | None => {}
            Some(_) => {
                self.must_be_empty(Column::Firmware, "nothing: it belongs to firmware, serviced, repaired or replaced")
            }
        }
        let place = self.text(Column::Place);
        if kind.is_some_and(|kind| kind != EventKind::Moved) {
            self.must_be_empty(Column::Place, "nothing: it belongs to moved");
        }
        Details { certificate, firmware, place, attached: None }
    }

    fn certificate(&mut self) -> Option<Certificate> {
        let (number, laboratory) = (self.text(Column::Number), self.text(Column::Laboratory));
        let results = self.text(Column::Results);
        let (issued, until) = (self.day(Column::Issued), self.day(Column::Until));
        if until.is_none() && self.is_absent(Column::Until) {
            self.blame(Column::Until, "nothing", "the last day on which it is good, like 2027-03-31");
        }
        if let (Some(issued), Some(until)) = (issued, until)
            && until < issued
        {
            self.blame(Column::Until, &until.to_string(), format!("a day from its issue on, {issued}"));
        }
        Some(Certificate { until: until?, number, issued, laboratory, results })
    }

    fn day(&mut self, column: Column) -> Option<Day> {
        let text = self.text(column)?;
        Day::parse(&text).map_err(|_| self.blame(column, &text, "a day as year, month and day, like 2027-03-31")).ok()
    }

    fn circumstances(&mut self) -> Circumstances {
        let instrument = self.named(Column::Instrument, InstrumentId::new);
        let operator = self.named(Column::Operator, OperatorId::new);
        let operator_by = operator.as_ref().map(|_| OperatorBy::File);
        let hours = self.within(Column::Hours, 1e7, "hours of use, from 0 to 10 000 000").map(Hours);
        let warmup_min = self.within(Column::WarmupMin, 1e7, "minutes since it was switched on, from 0 to 10 000 000");
        let source = match self.word(Column::Source, &["measured", "label"]) {
            Some("label") => Source::Label,
            _ => Source::Measured,
        };
        let patch = match self.word(Column::Patch, &["white", "black", "paper", "ambient"]) {
            Some("black") => Patch::Black,
            Some("paper") => Patch::Paper,
            Some("ambient") => Patch::Ambient,
            _ => Patch::White,
        };
        let ra = self.within_both(Column::Ra, -100.0, 100.0, "a colour rendering index Ra, at most 100");
        let setting = self.text(Column::Setting);
        let id = self.text(Column::Id);
        let note = self.text(Column::Note);
        Circumstances { instrument, operator, operator_by, hours, warmup_min, setting, source, patch, ra, id, note }
    }

    fn time(&mut self, must: Must) -> (Option<Time>, Option<String>) {
        let Some(text) = self.text(Column::Time) else {
            if must == Must::HaveBoth && self.is_absent(Column::Time) {
                self.blame(Column::Time, "nothing", "a time, like 2026-03-04T09:30:00Z or 2026-03-04 10:30");
            }
            return (None, None);
        };
        match zone::read(&text, self.context.zone) {
            Ok(time) => {
                let given = (!zone::is_canonical(&text, time)).then_some(text);
                (Some(time), given)
            }
            Err(BadLocalTime::NoZone { .. }) if must == Must::Nothing => (None, Some(text)),
            Err(bad) => {
                self.blame(Column::Time, &text, bad.expected());
                (None, None)
            }
        }
    }

    fn device(&mut self, must: bool) -> Option<DeviceId> {
        if self.is_absent(Column::Device) {
            if must && self.context.folder_device.is_none() {
                self.blame(Column::Device, "nothing", "the device's id, here or as the name of the drop folder");
            }
            return self.context.folder_device.clone();
        }
        self.named(Column::Device, DeviceId::new)
    }

    fn level(&mut self, patch: Patch) -> Option<Level> {
        let luminance = self.quantity(Column::Luminance, Luminance::new);
        let illuminance = self.quantity(Column::Illuminance, Illuminance::new);
        match (luminance, illuminance) {
            (Some(luminance), Some(illuminance)) => {
                let found = format!("luminance_cd_m2 {} and illuminance_lx {}", luminance.get(), illuminance.get());
                self.blame(
                    Column::Illuminance,
                    &found,
                    "one of the two: luminance of a display or paper, or illuminance of a lamp",
                );
                None
            }
            (None, Some(illuminance)) if patch == Patch::Paper => {
                let found = illuminance.get().to_string();
                self.blame(Column::Illuminance, &found, "nothing: lit paper is read in cd/m2, as luminance_cd_m2");
                None
            }
            (luminance, illuminance) => luminance.map(Level::Luminance).or(illuminance.map(Level::Illuminance)),
        }
    }

    fn colour(&mut self, patch: Patch) -> Option<ColourSet> {
        use Column::*;
        const SETS: [&[Column]; 4] = [&[X, Y, Z], &[ChromaX, ChromaY], &[UPrime, VPrime], &[CctK, Duv]];
        let given = |row: &Self, set: &[Column]| set.iter().any(|column| !row.is_absent(*column));
        let present: Vec<&[Column]> = SETS.into_iter().filter(|set| given(self, set)).collect();
        if self.has_spectrum() {
            if present.is_empty() {
                return self.spectrum();
            }
        } else {
            let expected = "nothing: it belongs to spectra; other columns have their unit in the name";
            self.must_be_empty(Unit, expected);
            self.must_be_empty(BandwidthNm, "nothing: only a spectrum has a bandwidth");
        }
        let first = match present.as_slice() {
            [] => {
                self.defects.of_line(self.line, "no colour", COLOUR_SETS);
                return None;
            }
            [one] if !self.has_spectrum() => one.first()?,
            several => {
                let named = |set: &&[Column]| set.iter().map(|column| column.name()).collect::<Vec<_>>().join(",");
                let spectrum = self.has_spectrum().then(|| "a spectrum".to_owned());
                let found: Vec<String> = spectrum.into_iter().chain(several.iter().map(named)).collect();
                self.defects.of_line(
                    self.line,
                    &found.join(" and "),
                    "one colour set in a row: leave the others empty",
                );
                return None;
            }
        };
        match first {
            X => self.xyz(patch).map(ColourSet::Xyz),
            ChromaX => {
                let (x, y) = (self.number(ChromaX), self.number(ChromaY));
                self.xy(x, y).map(ColourSet::Xy)
            }
            UPrime => self.uv_prime().map(ColourSet::UvPrime),
            _ => {
                let cct_k = self.quantity(CctK, Kelvin::new);
                let duv = self.quantity(Duv, crate::units::Duv::new);
                if self.is_absent(CctK) {
                    self.blame(CctK, "nothing", "a colour temperature beside duv: tint alone is no colour");
                    return None;
                }
                match (cct_k?, duv) {
                    (cct_k, Some(duv)) => Some(ColourSet::CctDuv { cct_k, duv }),
                    (cct_k, None) => Some(ColourSet::Cct { cct_k }),
                }
            }
        }
    }

    fn xyz(&mut self, patch: Patch) -> Option<Xyz> {
        let values = [Column::X, Column::Y, Column::Z].map(|column| {
            self.half_a_set(column, "X, Y and Z");
            self.within(column, 1e9, "a tristimulus value, from 0 to 1e9: light is not negative")
        });
        let [Some(x), Some(y), Some(z)] = values else { return None };
        if y == 0.0 && x + z > 0.0 {
            self.blame(Column::Y, "0", "Y above 0 where X or Z is: coloured light has luminance");
            return None;
        }
        if y == 0.0 && !matches!(patch, Patch::Black | Patch::Ambient) {
            self.blame(Column::Y, "0", "Y above 0: no light has no colour (it may be read of patch black or ambient)");
            return None;
        }
        Some(Xyz { x, y, z })
    }

    fn xy(&mut self, x: Option<f64>, y: Option<f64>) -> Option<Xy> {
        self.half_a_set(Column::ChromaX, "x and y");
        self.half_a_set(Column::ChromaY, "x and y");
        let (x, y) = (x?, y?);
        if x < 0.0 {
            self.blame(Column::ChromaX, &x.to_string(), "x of 0 or more: light is not negative");
        } else if y <= 0.0 {
            self.blame(Column::ChromaY, &y.to_string(), "y above 0: a chromaticity of visible light");
        } else if x + y > 1.0 + 1e-9 {
            let found = format!("x {x} and y {y}");
            self.defects.of_line(self.line, &found, "x + y of 1 at most: beyond it Z would be negative light");
        } else {
            return Some(Xy { x, y });
        }
        None
    }

    fn uv_prime(&mut self) -> Option<UvPrime> {
        self.half_a_set(Column::UPrime, "u_prime and v_prime");
        self.half_a_set(Column::VPrime, "u_prime and v_prime");
        let (u, v) = (self.number(Column::UPrime)?, self.number(Column::VPrime)?);
        if !(0.0..1.0).contains(&u) {
            self.blame(Column::UPrime, &u.to_string(), "u_prime from 0 to below 1");
        } else if v <= 0.0 || v >= 1.0 {
            self.blame(Column::VPrime, &v.to_string(), "v_prime above 0 and below 1");
        } else {
            return Some(UvPrime { u, v });
        }
        None
    }
}

/// What counts as a colour, for messages.
pub(super) const COLOUR_SETS: &str =
    "one colour set: X,Y,Z or x,y or u_prime,v_prime or cct_k,duv or cct_k alone, or a spectrum as nm380,nm385,…";

//! ANSI/IES TM-27 spectral XML: one spectrum a file.
//!
//! Edition -14: root `IESTM2714` in the namespace `iestm2714`, version 1.0, with `Header` and one `SpectralDistribution`.
//! Description, DocumentCreator, DocumentCreationDate, SpectralQuantity and data must be there. A root that goes on
//! otherwise after `IESTM27` is read by the same names, with a warning. UniqueIdentifier is our id, Description our note;
//! DocumentCreationDate, or else ReportDate, is the time, a date alone its noon, with a warning. There is
//! no place for a device in the format: the drop folder names it.
//!
//! Of the quantities, irradiance (W/m2/nm) and radiance (W/m2/sr/nm) give colour and level, `relative` colour alone. So
//! do flux, intensity and exitance: they are of the lamp, not of its light on a print. What `other` may be is not
//! guessed, and quantities of materials are no light.
//!
//! What does not live here: taking the XML apart (`xml`), and what the cells of a reading may hold (`row`).

mod xml;

use std::borrow::Cow;

use super::column::Column;
use super::defects::Defects;
use super::field::{Cell, Cells, decimal, put};
use super::warning::{cut, warn};
use super::{Context, Format, Need, Outcome, Warning, refused, row};
use crate::reading::{ColourSet, Row};
use crate::units::{SpectralUnit, Spectrum};
use xml::{Document, Element, Stop};

/// The largest file that is read, in bytes.
const MAX_BYTES: usize = 8 << 20;
/// What is expected of a file that has tags, but not these.
const ELSE: &str = "CSV, JSON, JSON Lines, CGATS.17 / ISO 28178 keyword text, or XML of ANSI/IES TM-27";
const EDITION: &str = "IESTM2714";
const NUMBER: &str = "a number with a decimal point, like 0.0021";

/// Reads a file of XML.
pub(super) fn read(text: &str, context: &Context) -> Outcome {
    if text.len() > MAX_BYTES {
        return refused(0, &format!("{} bytes", text.len()), "spectral XML of 8 MiB at most");
    }
    let is_root = |name: &str| name.get(..7).is_some_and(|start| start.eq_ignore_ascii_case("IESTM27"));
    let document = match xml::document(text, is_root) {
        Ok(document) => document,
        Err(Stop::Unfinished(why)) => return Outcome::Incomplete { why },
        Err(Stop::Refused { line, found, expected }) => return refused(line, &found, &expected),
    };
    let mut defects = Defects::default();
    let mut warnings = Vec::new();
    let value = Reader { document: &document, context, defects: &mut defects, warnings: &mut warnings }.record();
    match value {
        Some(value) if defects.count() == 0 => {
            Outcome::Records(vec![Row { line: document.line, value }], Format::Tm27, warnings)
        }
        _ => Outcome::Refused(defects.into_list()),
    }
}

/// A document while it is read.
struct Reader<'d> {
    document: &'d Document,
    context: &'d Context,
    defects: &'d mut Defects,
    warnings: &'d mut Vec<Row<Warning>>,
}

impl<'d> Reader<'d> {
    fn record(mut self) -> Option<crate::reading::Record> {
        self.edition();
        self.completeness();
        let unit = self.unit();
        let bandwidth = self.bandwidth();
        let (nm, values) = self.points();
        let mut cells = Cells::default();
        let (id, note) = (self.header("UniqueIdentifier"), self.header("Description"));
        for (column, element) in [(Column::Id, id), (Column::Note, note)] {
            if let Some(element) = element.filter(|element| !is_nothing(&element.text)) {
                put(&mut cells, column, Cell::Text(element.text.as_str().into()));
            }
        }
        let (text, time) = self.time().unzip();
        if let Some(text) = text {
            put(&mut cells, Column::Time, Cell::Text(text));
        }
        self.device();
        if self.defects.count() > 0 {
            return None;
        }
        let line = self.document.distributions.first().copied().unwrap_or(self.document.line);
        let spectrum = match Spectrum::new(unit?, &nm, values, bandwidth) {
            Ok(spectrum) => spectrum,
            Err(bad) => {
                self.defects.of_spectrum(line, &bad);
                return None;
            }
        };
        let mut here = Defects::default();
        let colour = ColourSet::Spectrum { spectrum: Box::new(spectrum) };
        let record = row::coloured(&cells, Some(colour), self.document.line, self.context, &mut here);
        for defect in here.into_list() {
            let named = |column: Column| defect.column.as_deref() == Some(column.name());
            let origin = [(Column::Time, time), (Column::Id, id), (Column::Note, note)];
            match origin.into_iter().find(|(column, _)| named(*column)).and_then(|(_, element)| element) {
                Some(element) => self.defects.at(element.line, &element.name, &defect.found, &defect.expected),
                None => {
                    let column = defect.column.as_deref().unwrap_or_default();
                    self.defects.at(defect.line, column, &defect.found, &defect.expected);
                }
            }
        }
        record
    }

    fn header(&self, name: &str) -> Option<&'d Element> {
        self.document.header.iter().find(|element| element.name == name)
    }

    fn distribution(&self, name: &str) -> Option<&'d Element> {
        self.document.distribution.iter().find(|element| element.name == name)
    }

    fn edition(&mut self) {
        let Document { root, namespace, version, line, .. } = self.document;
        let namespace_fits = namespace.as_deref().is_none_or(|namespace| namespace == "iestm2714");
        let version_fits = version.as_deref().is_none_or(|version| version == "1.0");
        if root != EDITION || !namespace_fits || !version_fits {
            let said = |name: &str, value: &Option<String>| {
                value.as_ref().map(|value| format!(" {name}=\"{}\"", cut(value))).unwrap_or_default()
            };
            let found = format!("<{}{}{}>", cut(root), said("xmlns", namespace), said("version", version));
            warn(self.warnings, *line, Warning::OtherEdition { found });
        }
    }

    /// What must be there is there, and nothing twice.
    fn completeness(&mut self) {
        let document = self.document;
        for name in ["Description", "DocumentCreator", "DocumentCreationDate"] {
            if self.header(name).is_none() {
                self.defects.of_line(document.line, &format!("no {name}"), format!("the element {name} in Header"));
            }
        }
        for group in [&document.header, &document.distribution] {
            let mut seen: Vec<&str> = Vec::with_capacity(KNOWN.len());
            for element in group.iter().filter(|element| KNOWN.contains(&element.name.as_str())) {
                if seen.contains(&element.name.as_str()) {
                    self.defects.at(element.line, &element.name, "the same element twice", "it once");
                } else {
                    seen.push(&element.name);
                }
            }
        }
        match document.distributions.as_slice() {
            [] => self.defects.of_line(document.line, "no SpectralDistribution", "one, with the data in it"),
            [_] => {}
            [_, second, ..] => {
                self.defects.of_line(*second, "a second SpectralDistribution", "one spectrum a file: split the file");
            }
        }
        if !document.distributions.is_empty() && document.points.is_empty() {
            let expected = "data, like <SpectralData wavelength=\"380\">0.0021</SpectralData>";
            self.defects.of_line(document.distributions.first().copied().unwrap_or(0), "no SpectralData", expected);
        }
    }

    fn unit(&mut self) -> Option<SpectralUnit> {
        const LIGHT: &str =
            "irradiance, radiance or relative (or flux, intensity or exitance, which give colour and no level)";
        let Some(element) = self.distribution("SpectralQuantity") else {
            if let Some(line) = self.document.distributions.first() {
                let expected = format!("the element SpectralQuantity in SpectralDistribution: {LIGHT}");
                self.defects.of_line(*line, "no SpectralQuantity", expected);
            }
            return None;
        };
        let found = element.text.to_ascii_lowercase();
        let expected = match found.as_str() {
            "irradiance" => return Some(SpectralUnit::Irradiance),
            "radiance" => return Some(SpectralUnit::Radiance),
            "relative" => return Some(SpectralUnit::Relative),
            "flux" | "intensity" | "exitance" => {
                warn(self.warnings, element.line, Warning::ColourOnly { found });
                return Some(SpectralUnit::Relative);
            }
            "other" => format!("{LIGHT}: what else it may be is not guessed"),
            "transmittance" | "reflectance" | "absorptance" | "r-factor" | "t-factor" => {
                format!("{LIGHT}: this is a quantity of a material, and no reading of a display or a lamp")
            }
            _ => LIGHT.to_owned(),
        };
        self.defects.at(element.line, &element.name, &element.text, expected);
        None
    }

    /// The bandwidth, nm, where it is said that its effect is still in the values.
    fn bandwidth(&mut self) -> Option<f64> {
        let width = self.distribution("BandwidthFWHM").filter(|element| !is_nothing(&element.text))?;
        let Some(nm) = decimal(&width.text) else {
            self.defects.at(width.line, &width.name, &width.text, "the full width at half maximum in nm, like 5.0");
            return None;
        };
        let Some(corrected) = self.distribution("BandwidthCorrected") else {
            warn(self.warnings, width.line, Warning::BandwidthUnclear { nm });
            return None;
        };
        match corrected.text.as_str() {
            "true" | "1" => None,
            "false" | "0" => Some(nm),
            found => {
                self.defects.at(corrected.line, &corrected.name, found, "true or false");
                None
            }
        }
    }

    fn points(&mut self) -> (Vec<f64>, Vec<f64>) {
        let document = self.document;
        let (mut wavelengths, mut values) = (Vec::new(), Vec::new());
        for point in &document.points {
            let given = point.wavelength.as_deref();
            let nm = given.and_then(decimal);
            if nm.is_none() {
                let found = given.unwrap_or("nothing");
                self.defects.at(point.line, "wavelength", found, "a wavelength in nm, like 380 or 405.5");
            }
            if let Some((nm, before)) = nm.zip(wavelengths.last().copied())
                && nm <= before
            {
                let expected = "each wavelength once, in rising order";
                self.defects.at(point.line, "wavelength", &format!("{nm} after {before}"), expected);
            }
            let value = decimal(&point.text);
            if value.is_none() {
                let found = if point.text.is_empty() { "nothing" } else { &point.text };
                self.defects.at(point.line, &point.name, found, NUMBER);
            }
            wavelengths.extend(nm);
            values.extend(value);
        }
        (wavelengths, values)
    }

    /// The first of the dates that has a time of day.
    /// The time as text, and the element it is from. A date alone is taken for its noon where a time is needed: the format gives no
    /// other, and a day is near enough for a lamp that drifts over months.
    fn time(&mut self) -> Option<(Cow<'d, str>, &'d Element)> {
        let created = self.header("DocumentCreationDate");
        let dates = || [created, self.header("ReportDate")].into_iter().flatten();
        if let Some(time) = dates().find(|date| row::has_a_time_of_day(&date.text, self.context)) {
            return Some((Cow::Borrowed(time.text.as_str()), time));
        }
        let must = self.context.need == Need::Ledger;
        let day = dates().find_map(|date| Some((row::noon_of(&date.text, self.context)?, date)));
        if let Some((noon, date)) = day.filter(|_| must) {
            let (name, found) = (date.name.clone(), cut(&date.text));
            warn(self.warnings, date.line, Warning::Noon { name, found });
            return Some((Cow::Owned(noon), date));
        }
        let created = created?;
        if must {
            let found = if created.text.is_empty() { "nothing" } else { &created.text };
            let expected = "date and time of day of the reading, here or as ReportDate, like 2026-03-04T09:30:00Z";
            self.defects.at(created.line, &created.name, found, expected);
        } else if !is_nothing(&created.text) {
            let (name, found) = (created.name.clone(), cut(&created.text));
            warn(self.warnings, created.line, Warning::NotTheTime { name, found });
        }
        None
    }

    fn device(&mut self) {
        if self.context.need == Need::Ledger && self.context.folder_device.is_none() {
            let expected = "the device's id as the name of the drop folder: the format has no place for it";
            self.defects.at(0, "device", "nothing", expected);
        }
    }
}

/// The elements that are read, and so may not be there twice.
const KNOWN: [&str; 8] = [
    "Description",
    "DocumentCreator",
    "DocumentCreationDate",
    "ReportDate",
    "UniqueIdentifier",
    "SpectralQuantity",
    "BandwidthFWHM",
    "BandwidthCorrected",
];

/// Whether a text is what people write where they have nothing to write.
fn is_nothing(text: &str) -> bool {
    ["", "n/a", "na"].contains(&text.to_ascii_lowercase().as_str())
}

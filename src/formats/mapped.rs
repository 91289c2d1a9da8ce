//! Reads a table through a mapping: finds the mapping that its header fits, and brings each row into our own fields.
//!
//! A mapping fits a table whose header, on the line where the mapping expects it, has all columns the mapping speaks of. A
//! table whose header is all in our own names is read as ours, unless the mapping speaks of every one of its columns (as
//! one for decimal commas does): so no mapping passes over something of ours in silence. Two that fit are a defect.
//!
//! What does not live here: what a mapping may say (`mapping`), the text of rows (`lines`), and what fields mean (`row`):
//! values go there in our units, and what is said of them comes back under the names that the file has.

use csv::StringRecord;

use super::column::{Column, Kind};
use super::defects::Defects;
use super::field::{Cell, Cells, put};
use super::lines::{Line, Lines, Quotes, after_lines};
use super::mapping::{Constant, Conversion, Decimal, Ignored, Mapping};
use super::row::record;
use super::spectral::{and_more, name_of, why_unfit};
use super::table::{Header, Meaning, is_known, longest, read_rows};
use super::{Context, Need, Outcome, Unfinished, refused};
use crate::reading::{Defect, Record};
use crate::units::Time;

/// Reads a table through the mapping that fits it. Where none does, tells what one lacks that nearly does.
pub(super) fn read(text: &str, context: &Context) -> Result<Outcome, Option<Defect>> {
    let mut nearly = None;
    let mut fitting: Option<(&Mapping, Lines<'_>, Line<'_>)> = None;
    for mapping in &context.mappings {
        let Some(rest) = after_lines(text, mapping.skip_lines) else { continue };
        let mut lines = Lines::new(rest, mapping.separator, mapping.skip_lines as u64 + 1);
        let Some(first) = lines.next_filled() else { continue };
        let names: Vec<&str> = lines.record.iter().map(str::trim).collect();
        let is_whole = first.raw.len() <= longest(true) && first.quotes(mapping.separator) == Quotes::Fine;
        if !is_whole || !mapping.fits(&names) {
            if is_whole && !first.is_ended() && mapping.may_come_to_fit(&names) {
                return Ok(Outcome::Incomplete { why: Unfinished::HeaderOnly });
            }
            nearly = nearly.or_else(|| mapping.lacks(&names, first.number));
            continue;
        }
        if let Some((other, _, line)) = &fitting {
            let found = format!("columns that fit the mappings '{}' and '{}'", other.id, mapping.id);
            let expected = "columns that fit one: narrow the mappings by folder or name, or name more columns in one";
            return Ok(refused(line.number, &found, expected));
        }
        fitting = Some((mapping, lines, first));
    }
    let Some((mapping, lines, first)) = fitting else { return Err(nearly) };
    Ok(match understand(mapping, &first, &lines.record, context) {
        Ok(header) => read_rows(lines, &header, context),
        Err(outcome) => outcome,
    })
}

impl Mapping {
    /// The names it speaks of that a file must have, spectral ones apart.
    fn required(&self) -> impl Iterator<Item = &str> {
        self.time.columns.iter().chain(self.columns.iter().map(|(name, ..)| name)).map(String::as_str)
    }

    fn wavelength(&self, name: &str) -> Option<f64> {
        self.spectral.as_ref().and_then(|spectral| spectral.wavelength(name, self.decimal))
    }

    /// Whether it speaks of this column.
    fn covers(&self, name: &str) -> bool {
        self.required().any(|required| required == name) || self.wavelength(name).is_some()
    }

    fn ignores(&self, name: &str) -> bool {
        match &self.ignored {
            Ignored::Named(names) => names.iter().any(|ignored| ignored == name),
            Ignored::Others => true,
        }
    }

    fn fits(&self, names: &[&str]) -> bool {
        let has_all = self.required().all(|required| names.contains(&required));
        let has_spectrum = self.spectral.is_none() || names.iter().any(|name| self.wavelength(name).is_some());
        let is_ours = names.iter().all(|name| is_known(name));
        has_all && has_spectrum && (!is_ours || names.iter().all(|name| self.covers(name)))
    }

    /// The first column that a header lacks which has at least half of what the mapping speaks of, and is not ours.
    fn lacks(&self, names: &[&str], line: u64) -> Option<Defect> {
        let (there, lacking): (Vec<&str>, Vec<&str>) = self.required().partition(|name| names.contains(name));
        if there.len() < lacking.len() || names.iter().all(|name| is_known(name)) {
            return None;
        }
        let expected = |what: &str| format!("{what}, if this is a table for the mapping '{}'", self.id);
        Some(match lacking.first() {
            Some(name) => Defect::of_line(line, &format!("no column '{name}'"), expected("it")),
            None => Defect::of_line(line, "no spectral columns", expected("columns named as its pattern says")),
        })
    }

    /// Whether a header that breaks off with the last of these names may be one that fits.
    fn may_come_to_fit(&self, names: &[&str]) -> bool {
        let Some((last, whole)) = names.split_last() else { return false };
        let begins = |wanted: &str| !last.is_empty() && wanted.starts_with(last);
        let is_likely = |name: &&str| self.covers(name) || self.ignores(name);
        match whole {
            [] => self.required().any(begins),
            _ => whole.iter().all(is_likely) && whole.iter().any(|name| self.covers(name)),
        }
    }
}

/// What the fields at one place of a table become.
enum Place {
    Ignored,
    /// The nth part of the time.
    Time(usize),
    Text(Column),
    Number(Column, Conversion),
    /// A value of the spectrum.
    Band,
}

/// A mapping, applied to the header of one table.
pub(super) struct Plan<'m> {
    mapping: &'m Mapping,
    names: Vec<String>,
    places: Vec<Place>,
    /// Place and wavelength of the spectral columns, rising.
    bands: Vec<(usize, f64)>,
}

fn understand<'m>(
    mapping: &'m Mapping,
    line: &Line<'_>,
    names: &StringRecord,
    context: &Context,
) -> Result<Header<'m>, Outcome> {
    if !line.is_ended() {
        return Err(Outcome::Incomplete { why: Unfinished::HeaderOnly });
    }
    let mut defects = Defects::default();
    let names: Vec<&str> = names.iter().map(str::trim).collect();
    let mut places = Vec::with_capacity(names.len());
    let mut bands = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    let id = &mapping.id;
    for (at, name) in names.iter().enumerate() {
        let column = mapping.columns.iter().find(|(known, ..)| known == name);
        let place = if let Some(nth) = mapping.time.columns.iter().position(|known| known == name) {
            Place::Time(nth)
        } else if let Some((_, field, conversion)) = column {
            if field.is_number() { Place::Number(field.0, *conversion) } else { Place::Text(field.0) }
        } else if let Some(nm) = mapping.wavelength(name) {
            bands.push((at, nm));
            Place::Band
        } else {
            if !mapping.ignores(name) {
                let expected = format!(
                    "a column that the mapping '{id}' speaks of: add it there under columns or ignore, or set ignore_others = true"
                );
                let shown = if name.is_empty() { format!("column {}", at + 1) } else { (*name).to_owned() };
                defects.at(line.number, &shown, "a column of unknown meaning", expected);
            }
            Place::Ignored
        };
        if matches!(place, Place::Time(_) | Place::Text(_) | Place::Number(..)) {
            if seen.contains(name) {
                defects.at(line.number, name, "the same column twice", "each column once");
            } else {
                seen.push(name);
            }
        }
        places.push(place);
    }
    bands.sort_by(|a, b| a.1.total_cmp(&b.1));
    for pair in bands.windows(2) {
        if let [(_, one), (other, nm)] = pair
            && one == nm
        {
            let name = names.get(*other).copied().unwrap_or_default();
            defects.at(line.number, name, "the same wavelength twice", "each wavelength once");
        }
    }
    if defects.count() == 0 && !bands.is_empty() {
        let wavelengths: Vec<f64> = bands.iter().map(|(_, nm)| *nm).collect();
        if let Some((found, expected)) = why_unfit(&wavelengths) {
            defects.of_line(line.number, &format!("columns that hold no spectrum: {found}"), expected);
        }
    }
    let has_device = mapping.columns.iter().any(|(_, field, _)| field.0 == Column::Device)
        || mapping.constants.iter().any(|(field, _)| field.0 == Column::Device);
    if !has_device && context.need == Need::Ledger && context.folder_device.is_none() {
        let expected =
            format!("a device among the columns or constants of the mapping '{id}', or a drop folder that names it");
        defects.of_line(line.number, "no device", expected);
    }
    if defects.count() > 0 {
        return Err(Outcome::Refused(defects.into_list()));
    }
    let names: Vec<String> = names.into_iter().map(str::to_owned).collect();
    let last = names.last().cloned().unwrap_or_default();
    let width = places.len();
    let plan = Plan { mapping, names, places, bands };
    Ok(Header { kind: Kind::Reading, width, last, meaning: Meaning::Mapped(plan) })
}

impl Plan<'_> {
    /// Whether the table has spectral columns.
    pub fn is_spectral(&self) -> bool {
        !self.bands.is_empty()
    }

    /// Whether the column of this name holds a value of the spectrum.
    pub fn holds_a_band(&self, name: &str) -> bool {
        self.mapping.wavelength(name).is_some()
    }

    /// The record of a row, or nothing where it has defects.
    pub fn record(&self, fields: &StringRecord, line: u64, context: &Context, defects: &mut Defects) -> Option<Record> {
        let mut cells = Cells::default();
        for (field, constant) in &self.mapping.constants {
            put(
                &mut cells,
                field.0,
                match constant {
                    Constant::Text(text) => Cell::Text(text.as_str().into()),
                    Constant::Number(number) => Cell::Number(*number),
                },
            );
        }
        let mut time: Vec<&str> = vec![""; self.mapping.time.columns.len()];
        for ((place, name), text) in self.places.iter().zip(&self.names).zip(fields) {
            match place {
                Place::Ignored | Place::Band => {}
                Place::Time(nth) => {
                    if let Some(part) = time.get_mut(*nth) {
                        *part = text.trim();
                    }
                }
                Place::Text(column) => put(&mut cells, *column, Cell::Text(text.into())),
                Place::Number(column, conversion) => match self.number(text, *conversion) {
                    Ok(cell) => put(&mut cells, *column, cell),
                    Err(()) => defects.at(line, name, text.trim(), self.no_number()),
                },
            }
        }
        self.spectrum(fields, line, &mut cells, defects);
        let time = time.join(" ").trim().to_owned();
        if !time.is_empty() {
            match self.time(&time) {
                Ok(written) => put(&mut cells, Column::Time, Cell::Text(written.into())),
                Err(expected) => defects.at(line, &self.mapping.time.columns.join(" and "), &time, expected),
            }
        }
        // Where a field was not understood, what is missing may be what was meant.
        if defects.count() > 0 {
            return None;
        }
        let mut value = record(&cells, Kind::Reading, line, context, defects);
        defects.rename(|ours| self.theirs(ours));
        if let Some(Record::Reading(draft)) = &mut value
            && self.mapping.time.format.is_some()
        {
            draft.time_given = Some(time).filter(|time| !time.is_empty());
        }
        value
    }

    fn spectrum<'f>(&self, fields: &'f StringRecord, line: u64, cells: &mut Cells<'f>, defects: &mut Defects) {
        let Some(spectral) = &self.mapping.spectral else { return };
        let mut bad: Option<(usize, &str)> = None;
        let mut more = 0;
        let mut is_filled = false;
        for (place, nm) in &self.bands {
            let text = fields.get(*place).unwrap_or_default();
            match self.number(text, spectral.conversion) {
                Ok(cell) => {
                    is_filled |= !matches!(cell, Cell::Absent);
                    cells.add_band(*nm, cell);
                }
                Err(()) if bad.is_none() => bad = Some((*place, text)),
                Err(()) => more += 1,
            }
        }
        if let Some((place, text)) = bad {
            let name = self.names.get(place).map_or("", String::as_str);
            defects.at(line, name, text.trim(), self.no_number() + &and_more(more));
        }
        if is_filled {
            put(cells, Column::Unit, Cell::Text(spectral.unit.word().into()));
        } else {
            // Constants of a spectrum say nothing of a row without one.
            cells.forget(Column::BandwidthNm);
        }
    }

    fn number<'f>(&self, text: &str, conversion: Conversion) -> Result<Cell<'f>, ()> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(Cell::Absent);
        }
        // 0 mired is no colour temperature, and what is written was a number all the same.
        let value = self.mapping.decimal.number(text).map(|value| conversion.apply(value));
        value.filter(|value| value.is_finite()).map(Cell::Number).ok_or(())
    }

    fn no_number(&self) -> String {
        let Mapping { id, decimal, .. } = self.mapping;
        let hint = match decimal {
            Decimal::Point => "",
            Decimal::Comma => ", and no dots between thousands",
        };
        format!("{}, as the mapping '{id}' says{hint}", decimal.expected())
    }

    /// The time as our own tables write it. Where the format does not fit, a whole RFC 3339 time does: a local one that
    /// came twice or never can be written no other way.
    fn time(&self, text: &str) -> Result<String, String> {
        let Some(format) = &self.mapping.time.format else { return Ok(text.to_owned()) };
        if let Some(written) = format.read(text) {
            return Ok(written);
        }
        if Time::parse(text).is_ok() {
            return Ok(text.to_owned());
        }
        let example = format.example();
        Err(format!("a time like {example}, as the mapping '{}' says, or 2026-11-23T21:47:00+01:00", self.mapping.id))
    }

    /// What the file calls one of our columns.
    fn theirs(&self, ours: &str) -> Option<String> {
        if ours == Column::Time.name() {
            return Some(self.mapping.time.columns.join(" and "));
        }
        let column = self.mapping.columns.iter().find(|(_, field, _)| field.name() == ours);
        if let Some((name, ..)) = column {
            return Some(name.clone());
        }
        let band = self.bands.iter().find(|(_, nm)| name_of(*nm) == ours);
        if let Some(name) = band.and_then(|(place, _)| self.names.get(*place)) {
            return Some(name.clone());
        }
        let constant = self.mapping.constants.iter().find(|(field, _)| field.name() == ours);
        constant.map(|_| format!("{ours} (mapping '{}')", self.mapping.id))
    }
}

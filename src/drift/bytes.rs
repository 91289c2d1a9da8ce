//! A device's state as bytes, for the ledger's checkpoints: version, then every field in order, little-endian. Equal
//! states give equal bytes. A layout is never changed under its version number: a checkpoint of another version is
//! simply not used, and the state is replayed.

use super::ageing::Ageing;
use super::bank::{Bank, Belief, GRID, Number};
use super::device::{DeviceState, Pending};
use super::dynamics::{Span, Strength};
use super::filter::Filter;
use super::label::Label;
use super::matrix::Matrix;
use super::observation::{HeldWhy, SlipFactor, StepFound};
use super::offset::Constant;
use super::verified::{Asked, Record};
use crate::units::{InstrumentId, Time};

/// Raised with every change of layout, grid or meaning.
const VERSION: u32 = 6;
/// No list in a state is longer; a count above it is damage.
const LONGEST: u64 = 4096;

/// Why bytes are no state.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadState {
    /// Written by another version of the program.
    #[error("a device state of version {found}, but this program reads version {VERSION}: replay the readings")]
    Version {
        /// The version found.
        found: u32,
    },
    /// Damaged.
    #[error("a device state is damaged at byte {at}: expected {expected}; replay the readings")]
    Damaged {
        /// Where.
        at: usize,
        /// What should have stood there.
        expected: &'static str,
    },
}

impl DeviceState {
    /// The state as bytes, about 10 kB.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut out = Writer(Vec::with_capacity(11_000));
        out.0.extend(VERSION.to_le_bytes());
        for bank in self.banks.iter() {
            for (filter, weight) in bank.filters.iter().zip(&bank.log_weights) {
                out.filter(filter);
                out.number(*weight);
            }
            out.maybe(bank.constants.as_deref(), Writer::constants);
        }
        out.maybe(self.time, Writer::time);
        out.maybe(self.first_read, Writer::time);
        out.maybe(self.last_read, |out, (time, seq)| {
            out.time(time);
            out.whole(seq as u64);
        });
        out.maybe(self.last_used, Writer::time);
        out.whole(self.readings);
        out.whole(self.used);
        out.whole(self.used_since_new);
        self.ever.iter().for_each(|flag| out.flag(*flag));
        self.new_here.iter().for_each(|flag| out.flag(*flag));
        self.since_reset.iter().for_each(|n| out.whole(u64::from(*n)));
        out.maybe(self.label.as_ref(), Writer::label);
        out.flag(self.tint_open);
        out.whole(self.pending.len() as u64);
        self.pending.iter().for_each(|p| out.pending(p));
        out.whole(self.held.len() as u64);
        for (seq, why) in &self.held {
            out.whole(*seq as u64);
            out.why(*why);
        }
        out.whole(self.held_count);
        out.maybe(self.last_step.as_ref(), Writer::step);
        out.maybe(self.step_before.as_ref(), Writer::step);
        out.maybe(self.setting.as_deref(), Writer::text);
        out.flag(self.turned);
        out.maybe(self.ageing.counter, Writer::number);
        out.maybe(self.ageing.last, |out, (time, hours)| {
            out.time(time);
            out.number(hours);
        });
        out.number(self.ageing.seen.0);
        out.number(self.ageing.seen.1);
        out.number(self.ageing.began_at);
        out.maybe(self.settling_until, Writer::time);
        out.whole(self.instruments.len() as u64);
        for (id, count) in &self.instruments {
            out.text(id.as_str());
            out.whole(*count);
        }
        out.maybe(self.other.as_ref().map(InstrumentId::as_str), Writer::text);
        for (precision, sum) in self.predecessors {
            out.number(precision);
            out.number(sum);
        }
        out.maybe(self.asked.as_ref(), Writer::asked);
        for record in self.records {
            out.whole(u64::from(record.forecasts));
            out.number(record.squares);
        }
        out.flag(self.retired);
        out.0
    }

    /// Reads a state back.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, BadState> {
        let mut from = Reader { bytes, at: 0 };
        let found = u32::from_le_bytes(from.take("a version")?);
        if found != VERSION {
            return Err(BadState::Version { found });
        }
        let banks = Box::new([from.bank()?, from.bank()?, from.bank()?]);
        let state = Self {
            banks,
            time: from.maybe(Reader::time)?,
            first_read: from.maybe(Reader::time)?,
            last_read: from.maybe(|from| Ok((from.time()?, from.whole()? as i64)))?,
            last_used: from.maybe(Reader::time)?,
            readings: from.whole()?,
            used: from.whole()?,
            used_since_new: from.whole()?,
            ever: [from.flag()?, from.flag()?, from.flag()?],
            new_here: [from.flag()?, from.flag()?, from.flag()?],
            since_reset: [from.small()?, from.small()?, from.small()?],
            label: from.maybe(Reader::label)?,
            tint_open: from.flag()?,
            pending: from.list(Reader::pending)?,
            held: from.list(|from| Ok((from.whole()? as i64, from.why()?)))?,
            held_count: from.whole()?,
            last_step: from.maybe(Reader::step)?,
            step_before: from.maybe(Reader::step)?,
            setting: from.maybe(Reader::text)?,
            turned: from.flag()?,
            ageing: Ageing {
                counter: from.maybe(Reader::number)?,
                last: from.maybe(|from| Ok((from.time()?, from.number()?)))?,
                seen: (from.number()?, from.number()?),
                began_at: from.number()?,
            },
            settling_until: from.maybe(Reader::time)?,
            instruments: from.list(|from| Ok((from.instrument()?, from.whole()?)))?,
            other: from.maybe(Reader::instrument)?,
            predecessors: [
                (from.number()?, from.number()?),
                (from.number()?, from.number()?),
                (from.number()?, from.number()?),
            ],
            asked: from.maybe(Reader::asked)?,
            records: [from.record()?, from.record()?, from.record()?],
            retired: from.flag()?,
        };
        if from.at == bytes.len() { Ok(state) } else { Err(from.damaged("the end")) }
    }
}

struct Writer(Vec<u8>);

impl Writer {
    fn number(&mut self, x: f64) {
        self.0.extend(x.to_bits().to_le_bytes());
    }

    fn whole(&mut self, n: u64) {
        self.0.extend(n.to_le_bytes());
    }

    fn flag(&mut self, flag: bool) {
        self.0.push(u8::from(flag));
    }

    fn time(&mut self, time: Time) {
        self.whole(time.micros() as u64);
    }

    fn text(&mut self, text: &str) {
        self.whole(text.len() as u64);
        self.0.extend(text.as_bytes());
    }

    fn maybe<T>(&mut self, value: Option<T>, write: impl FnOnce(&mut Self, T)) {
        self.flag(value.is_some());
        if let Some(value) = value {
            write(self, value);
        }
    }

    fn constants(&mut self, constants: &[Constant; GRID]) {
        constants.iter().for_each(|constant| self.constant(constant));
    }

    fn constant(&mut self, constant: &Constant) {
        let Constant { mean, var, cross: [a, b, c] } = *constant;
        [mean, var, a, b, c].into_iter().for_each(|x| self.number(x));
    }

    fn numbers(&mut self, numbers: &[Option<Number>; 3]) {
        for number in numbers {
            self.maybe(*number, |out, number| {
                out.number(number.value);
                out.number(number.noise);
                out.number(number.extra);
                out.flag(number.across);
            });
        }
    }

    fn label(&mut self, label: &Label) {
        self.whole(label.seq as u64);
        self.time(label.time);
        self.numbers(&label.numbers);
        self.number(label.uv);
    }

    fn pending(&mut self, pending: &Pending) {
        self.whole(pending.seq as u64);
        self.time(pending.time);
        self.maybe(pending.hours, Self::number);
        self.numbers(&pending.numbers);
        pending.moved.iter().for_each(|flag| self.flag(*flag));
        self.number(pending.p);
        self.flag(pending.set_anew);
    }

    fn asked(&mut self, asked: &Asked) {
        for Belief { state, strength, noise, constant } in &asked.beliefs {
            self.filter(state);
            [strength.slope_change, strength.wander, strength.settling, *noise]
                .into_iter()
                .for_each(|x| self.number(x));
            self.constant(constant);
        }
        asked.known.iter().for_each(|flag| self.flag(*flag));
        [asked.span.ageing, asked.span.calendar, asked.span.settling].into_iter().for_each(|x| self.number(x));
    }

    fn filter(&mut self, filter: &Filter<3>) {
        filter.mean.iter().for_each(|x| self.number(*x));
        for i in 0..3 {
            (i..3).for_each(|j| self.number(filter.cov.0[i][j]));
        }
    }

    fn why(&mut self, why: HeldWhy) {
        match why {
            HeldWhy::UnitSlip { factor, too_high } => {
                self.0.push(match factor {
                    SlipFactor::Ten => 0,
                    SlipFactor::Thousand => 1,
                    SlipFactor::FootCandles => 2,
                    SlipFactor::FootLamberts => 3,
                });
                self.flag(too_high);
            }
            HeldWhy::HoursBackwards { before, after } => {
                self.0.push(4);
                self.number(before);
                self.number(after);
            }
        }
    }

    fn step(&mut self, step: &StepFound) {
        self.maybe(step.after, Self::time);
        self.time(step.began);
        self.whole(step.seqs.len() as u64);
        step.seqs.iter().for_each(|seq| self.whole(*seq as u64));
        [step.delta_u, step.delta_v, step.delta_ln].into_iter().for_each(|x| self.number(x));
    }
}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Reader<'_> {
    fn damaged(&self, expected: &'static str) -> BadState {
        BadState::Damaged { at: self.at, expected }
    }

    fn take<const N: usize>(&mut self, expected: &'static str) -> Result<[u8; N], BadState> {
        let taken = self.bytes.get(self.at..).and_then(|rest| rest.first_chunk::<N>()).copied();
        let taken = taken.ok_or_else(|| self.damaged(expected))?;
        self.at += N;
        Ok(taken)
    }

    fn number(&mut self) -> Result<f64, BadState> {
        let x = f64::from_le_bytes(self.take("a number")?);
        if x.is_finite() { Ok(x) } else { Err(self.damaged("a finite number")) }
    }

    fn whole(&mut self) -> Result<u64, BadState> {
        Ok(u64::from_le_bytes(self.take("a whole number")?))
    }

    fn small(&mut self) -> Result<u32, BadState> {
        u32::try_from(self.whole()?).map_err(|_| self.damaged("a count"))
    }

    fn flag(&mut self) -> Result<bool, BadState> {
        match self.take("0 or 1")? {
            [0] => Ok(false),
            [1] => Ok(true),
            _ => Err(self.damaged("0 or 1")),
        }
    }

    fn time(&mut self) -> Result<Time, BadState> {
        Ok(Time::from_micros(self.whole()? as i64))
    }

    fn length(&mut self) -> Result<usize, BadState> {
        let length = self.whole()?;
        if length > LONGEST { Err(self.damaged("a length")) } else { Ok(length as usize) }
    }

    fn text(&mut self) -> Result<String, BadState> {
        let length = self.length()?;
        let bytes = self.bytes.get(self.at..self.at + length).ok_or_else(|| self.damaged("a text"))?;
        let text = std::str::from_utf8(bytes).map_err(|_| self.damaged("UTF-8"))?.to_owned();
        self.at += length;
        Ok(text)
    }

    fn maybe<T>(&mut self, read: impl FnOnce(&mut Self) -> Result<T, BadState>) -> Result<Option<T>, BadState> {
        if self.flag()? { read(self).map(Some) } else { Ok(None) }
    }

    fn list<T>(&mut self, mut read: impl FnMut(&mut Self) -> Result<T, BadState>) -> Result<Vec<T>, BadState> {
        (0..self.length()?).map(|_| read(self)).collect()
    }

    fn bank(&mut self) -> Result<Bank, BadState> {
        let mut bank = Bank {
            filters: [Filter { mean: [0.0; 3], cov: Matrix::ZERO }; GRID],
            log_weights: [0.0; GRID],
            constants: None,
        };
        for (filter, weight) in bank.filters.iter_mut().zip(&mut bank.log_weights) {
            *filter = self.filter()?;
            *weight = self.number()?;
        }
        bank.constants = self.maybe(Self::constants)?;
        Ok(bank)
    }

    fn constants(&mut self) -> Result<Box<[Constant; GRID]>, BadState> {
        let mut constants = Box::new([Constant::NONE; GRID]);
        for constant in constants.iter_mut() {
            *constant = self.constant()?;
        }
        Ok(constants)
    }

    fn constant(&mut self) -> Result<Constant, BadState> {
        let (mean, var) = (self.number()?, self.number()?);
        Ok(Constant { mean, var, cross: [self.number()?, self.number()?, self.number()?] })
    }

    fn instrument(&mut self) -> Result<InstrumentId, BadState> {
        let at = self.at;
        InstrumentId::new(&self.text()?).map_err(|_| BadState::Damaged { at, expected: "an instrument's id" })
    }

    fn filter(&mut self) -> Result<Filter<3>, BadState> {
        let mut filter = Filter { mean: [0.0; 3], cov: Matrix::ZERO };
        for x in &mut filter.mean {
            *x = self.number()?;
        }
        for i in 0..3 {
            for j in i..3 {
                let x = self.number()?;
                filter.cov.0[i][j] = x;
                filter.cov.0[j][i] = x;
            }
        }
        Ok(filter)
    }

    fn asked(&mut self) -> Result<Asked, BadState> {
        let beliefs = [self.belief()?, self.belief()?, self.belief()?];
        let known = [self.flag()?, self.flag()?, self.flag()?];
        let span = Span { ageing: self.number()?, calendar: self.number()?, settling: self.number()? };
        Ok(Asked { beliefs, known, span })
    }

    fn belief(&mut self) -> Result<Belief, BadState> {
        let state = self.filter()?;
        let strength = Strength { slope_change: self.number()?, wander: self.number()?, settling: self.number()? };
        Ok(Belief { state, strength, noise: self.number()?, constant: self.constant()? })
    }

    fn record(&mut self) -> Result<Record, BadState> {
        Ok(Record { forecasts: self.small()?, squares: self.number()? })
    }

    fn numbers(&mut self) -> Result<[Option<Number>; 3], BadState> {
        let number = |from: &mut Self| {
            from.maybe(|from| {
                Ok(Number { value: from.number()?, noise: from.number()?, extra: from.number()?, across: from.flag()? })
            })
        };
        Ok([number(self)?, number(self)?, number(self)?])
    }

    fn label(&mut self) -> Result<Label, BadState> {
        let (seq, time) = (self.whole()? as i64, self.time()?);
        Ok(Label { seq, time, numbers: self.numbers()?, uv: self.number()? })
    }

    fn pending(&mut self) -> Result<Pending, BadState> {
        Ok(Pending {
            seq: self.whole()? as i64,
            time: self.time()?,
            hours: self.maybe(Self::number)?,
            numbers: self.numbers()?,
            moved: [self.flag()?, self.flag()?, self.flag()?],
            p: self.number()?,
            set_anew: self.flag()?,
        })
    }

    fn why(&mut self) -> Result<HeldWhy, BadState> {
        let [kind] = self.take("a reason")?;
        let factor = match kind {
            0 => SlipFactor::Ten,
            1 => SlipFactor::Thousand,
            2 => SlipFactor::FootCandles,
            3 => SlipFactor::FootLamberts,
            4 => return Ok(HeldWhy::HoursBackwards { before: self.number()?, after: self.number()? }),
            _ => return Err(self.damaged("a reason")),
        };
        Ok(HeldWhy::UnitSlip { factor, too_high: self.flag()? })
    }

    fn step(&mut self) -> Result<StepFound, BadState> {
        Ok(StepFound {
            after: self.maybe(Self::time)?,
            began: self.time()?,
            seqs: self.list(|from| Ok(from.whole()? as i64))?,
            delta_u: self.number()?,
            delta_v: self.number()?,
            delta_ln: self.number()?,
        })
    }
}

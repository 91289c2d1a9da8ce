//! What a station's judgement rests on, gathered from the ledger: the estimates of its devices, and what stands beside them: its
//! paper under the lamp, the lamp's colour rendering, foreign light.
//!
//! What lives here: finding it. What does not: what follows from it (`station`), and how a device's readings become an estimate
//! (`estimates`). A spectrum is read back only where a station asks for what it tells.

use std::collections::BTreeMap;

use chrono::Timelike;

use crate::aims;
use crate::color::rendering::indices;
use crate::color::{Sampled, UvSpread, uv_prime};
use crate::config::Config;
use crate::drift::Summary;
use crate::estimates::{self, Estimate, Refreshed, just_before, last_change, lit_paper, newest_spectrum, same_setting};
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Seq, Store};
use crate::reading::{Patch, Source};
use crate::site::{AimWhite, Lamp, Station};
use crate::station::ambient::{self, Ambient, Foreign, by_hours};
use crate::station::compare::Light;
use crate::station::{self, Judgement, LampRa, LitPaper, RaKnown, RaSource, Seen, Watched};
use crate::units::{DeviceId, Time, UvPrime};
use crate::zone::LocalZone;

/// The estimates of a site's devices at one instant, read once each.
pub struct Estimates<'a> {
    pub(super) store: &'a Store,
    config: &'a Config,
    pub(super) at: Time,
    known: BTreeMap<DeviceId, Estimate>,
}

impl<'a> Estimates<'a> {
    /// Reads nothing yet.
    pub fn new(store: &'a Store, config: &'a Config, at: Time) -> Self {
        Self { store, config, at, known: BTreeMap::new() }
    }

    /// Takes estimates that are at hand and hold nothing after the instant.
    pub(super) fn take_fresh(&mut self, fresh: Vec<Refreshed>) {
        let at = self.at;
        let fresh = fresh.into_iter().filter(|one| one.upto <= at);
        self.known.extend(fresh.map(|one| (one.device, one.estimate)));
    }

    /// Reads the estimates of these devices.
    pub fn read<'d>(&mut self, devices: impl IntoIterator<Item = &'d DeviceId>) -> Result<(), LedgerError> {
        for device in devices {
            if !self.known.contains_key(device)
                && let Some(estimate) = estimates::at(self.store, &self.config.things, device, self.at)?
            {
                self.known.insert(device.clone(), estimate);
            }
        }
        Ok(())
    }

    /// The estimate of a device that was read.
    pub fn get(&self, device: &DeviceId) -> Option<&Estimate> {
        self.known.get(device)
    }

    /// Everything a station's judgement rests on; its devices must have been read.
    pub fn seen(&self, station: &'a Station) -> Result<Seen<'_>, LedgerError> {
        let things = &self.config.things;
        let incomplete = || LedgerError::Damaged {
            what: format!("station {}: its display, lamp or paper is not configured", station.id),
        };
        let lamp = things.lamp(&station.lamp).ok_or_else(incomplete)?;
        let paper = station.papers.first().and_then(|id| things.paper(id)).ok_or_else(incomplete)?;
        let burning = self.known.get(&station.lamp).ok_or_else(incomplete)?;
        let lit = lit_paper(self.store, things, lamp, paper, &burning.state, self.at)?;
        let watched = |device| self.watched(device, station, Some(&lit))?.ok_or_else(incomplete);
        Ok(Seen {
            station,
            paper,
            adjustable: &lamp.adjustable,
            display: watched(&station.display)?,
            lamp: watched(&station.lamp)?,
            rendering: self.rendering(station, burning)?,
            ambient: self.ambient(station, lamp, burning)?,
            lit,
        })
    }

    /// What is believed of a device, as one of `station`; `lit` is the station's paper where it is at hand.
    pub(super) fn watched(
        &self,
        device: &'a DeviceId,
        station: &Station,
        lit: Option<&LitPaper>,
    ) -> Result<Option<Watched<'_>>, LedgerError> {
        let things = &self.config.things;
        let Some(estimate) = self.known.get(device) else { return Ok(None) };
        let scale = estimate.state.scale_instrument();
        let aim = match things.lamp(device) {
            Some(lamp) => uv_prime(lamp.aim.white).ok().map(|white| (white, Some(lamp.aim.illuminance.get()))),
            None => self.display_aim(device, station, lit),
        };
        let Some((aim, aim_level)) = aim else { return Ok(None) };
        Ok(Some(Watched {
            id: device,
            params: &estimate.params,
            state: &estimate.state,
            aim,
            aim_level,
            bias: things.bias_of(scale),
            noise: things.noise_of(scale),
            tint_unknown: self.tint_unknown(&estimate.state.summary(&estimate.params))?,
        }))
    }

    /// A display's aim; one that follows the paper should be where the paper is now.
    fn display_aim(
        &self,
        device: &DeviceId,
        station: &Station,
        lit: Option<&LitPaper>,
    ) -> Option<(UvPrime, Option<f64>)> {
        let things = &self.config.things;
        let display = things.display(device)?;
        let (fixed, level) = aims::display_aim(things, display);
        let fixed = fixed?;
        let Some(lit) = lit.filter(|_| display.aim.white == AimWhite::Paper) else { return Some((fixed, level)) };
        let Some(lamp) = self.known.get(&station.lamp).filter(|lamp| lamp.state.summary(&lamp.params).used > 0) else {
            return Some((fixed, level));
        };
        let forecast = lamp.state.forecast(&lamp.params, &[self.at]);
        let aim = uv_prime(things.lamp(&station.lamp)?.aim.white).ok()?;
        let light = Light::at(&forecast.likely, 0, aim);
        let Ok(white) = lit.under.under(light.uv(), UvSpread::default()) else { return Some((fixed, level)) };
        let own = display.aim.luminance.map(|level| level.get());
        let lit = light.ln_level.map(|lx| white.luminance(libm::exp(lx.mean)));
        Some((white.uv, own.or(lit).or(level)))
    }

    /// Whether the newest reading of a device told a colour temperature and no tint.
    fn tint_unknown(&self, summary: &Summary) -> Result<bool, LedgerError> {
        let Some(seq) = summary.last_read.and_then(|(_, seq)| Seq::new(seq)) else { return Ok(false) };
        let row = self.store.reading(seq)?;
        Ok(row.is_some_and(|row| row.source == Source::Measured && row.spread.is_some()))
    }

    /// What is known of the colour rendering of the station's lamp, where the station asks for it.
    fn rendering(&self, station: &Station, lamp: &Estimate) -> Result<RaKnown, LedgerError> {
        if station.tolerance.ra_min.is_none() && station.rules.is_empty() {
            return Ok(RaKnown::Never);
        }
        let changed = last_change(self.store, &station.lamp, self.at)?;
        if let Some(known) = self.ra_since(&station.lamp, lamp, just_before(changed))? {
            return Ok(RaKnown::Known(known));
        }
        let before = self.ra_since(&station.lamp, lamp, Time::from_micros(i64::MIN))?;
        Ok(match (changed, before) {
            (Some(changed), Some(_)) => RaKnown::NotSince { changed },
            _ => RaKnown::Never,
        })
    }

    /// The newest index of a lamp after `from`; a measurement outranks a label.
    fn ra_since(&self, device: &DeviceId, lamp: &Estimate, from: Time) -> Result<Option<LampRa>, LedgerError> {
        let spectral = self.spectral_ra(device, lamp, from)?;
        let given = |source| self.store.latest_ra(device, source, from, self.at);
        let stated = |row: ReadingRow, source| row.ra.map(|ra| LampRa { ra, when: row.time, source });
        let measured =
            given(Source::Measured)?.filter(|row| same_setting(row, &lamp.state) && !lamp.state.doubts(row.seq.get()));
        let measured = measured.and_then(|row| stated(row, RaSource::Given));
        let newest = match (spectral, measured) {
            (Some(a), Some(b)) if b.when > a.when => Some(b),
            (a, b) => a.or(b),
        };
        match newest {
            Some(newest) => Ok(Some(newest)),
            None => Ok(given(Source::Label)?.and_then(|row| stated(row, RaSource::Label))),
        }
    }

    /// The index of the newest spectrum.
    fn spectral_ra(&self, device: &DeviceId, lamp: &Estimate, from: Time) -> Result<Option<LampRa>, LedgerError> {
        let newest = newest_spectrum(self.store, device, &lamp.state, from, self.at)?;
        Ok(newest.and_then(|(row, spectrum)| {
            let ra = indices(&Sampled::of(&spectrum))?.ra;
            Some(LampRa { ra, when: row.time, source: RaSource::Spectrum })
        }))
    }

    /// Foreign light on the print and at the screen.
    fn ambient(&self, station: &Station, lamp: &Lamp, burning: &Estimate) -> Result<Ambient, LedgerError> {
        let (print, screen) = (self.foreign(&station.lamp)?, self.foreign(&station.display)?);
        if print.is_empty() && screen.is_empty() {
            return Ok(Ambient::default());
        }
        let light = uv_prime(lamp.aim.white).ok().and_then(|aim| {
            let forecast = burning.state.forecast(&burning.params, &[self.at]);
            let light = Light::at(&forecast.likely, 0, aim);
            Some((libm::exp(light.ln_level?.mean), light.uv()))
        });
        // At the screen the share is of what its face sends back: light that would make as much of it as the screen's own white.
        let glow = self.known.get(&station.display).and_then(|display| {
            let aim = self.config.things.display(&station.display).and_then(|display| match display.aim.white {
                AimWhite::Fixed(white) => uv_prime(white).ok(),
                AimWhite::Paper => uv_prime(lamp.aim.white).ok(),
            })?;
            let light = Light::at(&display.state.forecast(&display.params, &[self.at]).likely, 0, aim);
            let as_lux = libm::exp(light.ln_level?.mean) * std::f64::consts::PI / ambient::SCREEN_REFLECTANCE;
            Some((as_lux, light.uv()))
        });
        Ok(Ambient { print: by_hours(&print, light), screen: by_hours(&screen, glow) })
    }

    /// The newest readings of foreign light that belong to `device`.
    fn foreign(&self, device: &DeviceId) -> Result<Vec<Foreign>, LedgerError> {
        let zone = LocalZone(self.config.site.zone);
        let rows = self.store.last_of_patch(device, Patch::Ambient, self.at, ambient::AT_MOST)?;
        let recent = rows.into_iter().filter(|row| self.at.since(row.time) <= ambient::LOOK_BACK);
        let foreign = recent.filter_map(|row| {
            let local = row.time.to_chrono().with_timezone(&zone.0);
            let minute = u16::try_from(local.hour() * 60 + local.minute()).ok()?;
            let white = row.spread.is_none().then_some(UvPrime { u: row.u, v: row.v });
            Some(Foreign { minute, lx: libm::exp(row.ln_level?), white })
        });
        Ok(foreign.collect())
    }
}

/// Judges one station as of `at` without writing anything.
pub fn judge(store: &Store, config: &Config, station: &Station, at: Time) -> Result<Judgement, LedgerError> {
    let mut estimates = Estimates::new(store, config, at);
    estimates.read([&station.display, &station.lamp])?;
    judge_with(&estimates, station, at)
}

/// Judges one station from estimates that were read.
pub fn judge_with(estimates: &Estimates, station: &Station, at: Time) -> Result<Judgement, LedgerError> {
    Ok(station::judge(&estimates.seen(station)?, at))
}

//! What a station's judgement rests on, gathered from the ledger: the estimates of its devices, and what stands beside them: its
//! paper under the lamp, the lamp's colour rendering, foreign light.
//!
//! What lives here: finding it. What does not: what follows from it (`station`), and how a device's readings become an estimate
//! (`estimates`). A spectrum is read back only where a station asks for what it tells.

use std::collections::BTreeMap;

use chrono::Timelike;

use super::equipment::read_with;
use crate::aims;
use crate::alert::{Kind, Sighting, conditions};
use crate::color::rendering::indices;
use crate::color::{UvSpread, uv_prime};
use crate::config::Config;
use crate::estimates::{self, Estimate, LampLight, Refreshed, just_before, lit_paper, same_setting};
use crate::ledger::store::{AlertRow, ReadingRow};
use crate::ledger::{LedgerError, Store};
use crate::reading::{Patch, Source};
use crate::site::{AimWhite, Station};
use crate::station::ambient::{self, Ambient, Foreign, by_hours};
use crate::station::compare::Light;
use crate::station::{self, Advice, Judgement, LampRa, LitPaper, RaKnown, RaSource, Seen, Watched};
use crate::units::{DeviceId, Time, UvPrime};
use crate::zone::LocalZone;

/// The estimates of a site's devices at one instant, read once each.
pub struct Estimates<'a> {
    pub(super) store: &'a Store,
    config: &'a Config,
    pub(super) at: Time,
    known: BTreeMap<DeviceId, Estimate>,
    lights: BTreeMap<DeviceId, LampLight>,
}

impl<'a> Estimates<'a> {
    /// Reads nothing yet.
    pub fn new(store: &'a Store, config: &'a Config, at: Time) -> Self {
        Self { store, config, at, known: BTreeMap::new(), lights: BTreeMap::new() }
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

    /// Reads all that a station's judgement rests on. A spectrum is read back only where its tolerance or its paper asks.
    pub fn read_station(&mut self, station: &Station) -> Result<(), LedgerError> {
        self.read([&station.display, &station.lamp])?;
        let paper = station.papers.first().and_then(|id| self.config.things.paper(id));
        if station.tolerance.ra_min.is_some() || paper.is_some_and(estimates::asks_for_spectrum) {
            self.read_light(&station.lamp)?;
        }
        Ok(())
    }

    /// Reads what is known of a lamp's light beside its white; its estimate must have been read.
    pub fn read_light(&mut self, lamp: &DeviceId) -> Result<(), LedgerError> {
        if let Some(burning) = self.known.get(lamp).filter(|_| !self.lights.contains_key(lamp)) {
            let light = LampLight::of(self.store, lamp, &burning.state, self.at)?;
            self.lights.insert(lamp.clone(), light);
        }
        Ok(())
    }

    /// What is known of a lamp's light, where that was read.
    pub fn light(&self, lamp: &DeviceId) -> Option<&LampLight> {
        self.lights.get(lamp)
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
        let spectrum = self.light(&station.lamp).and_then(LampLight::sampled);
        let lit = lit_paper(self.store, things, lamp, paper, &burning.state, spectrum, self.at)?;
        let watched = |device| self.watched(device, station, Some(&lit)).ok_or_else(incomplete);
        Ok(Seen {
            station,
            paper,
            adjustable: &lamp.adjustable,
            costs: self.config.costs,
            jumped: [self.jumped(&station.display)?, self.jumped(&station.lamp)?],
            display: watched(&station.display)?,
            lamp: watched(&station.lamp)?,
            rendering: match station.tolerance.ra_min {
                Some(_) => self.rendering(&station.lamp)?,
                None => RaKnown::Never,
            },
            lit,
        })
    }

    /// When a device's light jumped, where that is news, nobody wrote down why, and no instrument is suspect.
    fn jumped(&self, device: &DeviceId) -> Result<Option<Time>, LedgerError> {
        let began = self.known.get(device).and_then(|known| known.state.last_step_began());
        let is_news = |began: &Time| conditions::of_step(Some(*began), false, self.at) == Sighting::Bad;
        let Some(began) = began.filter(is_news) else { return Ok(None) };
        let acted = self.store.events(device, began, self.at)?.iter().any(|event| event.excluded.is_none());
        let suspect = |row: &AlertRow| row.kind == Kind::InstrumentSuspect.word() && row.raised_at <= self.at;
        let suspected = !acted && self.store.standing_alerts()?.iter().any(suspect);
        Ok((!acted && !suspected).then_some(began))
    }

    /// What is to be done first about a jump of a device.
    pub(super) fn look_at_jump(&self, device: &DeviceId, began: Time) -> Advice {
        Advice::LookAtJump { device: device.clone(), lamp: self.config.things.lamp(device).is_some(), began }
    }

    /// Judges a station by what was seen of it. What makes a reason and no verdict, foreign light and the instruments, is looked
    /// up here.
    pub fn judge(&self, seen: &Seen) -> Result<Judgement, LedgerError> {
        let read_with = read_with(self.store, self.config, [&seen.display, &seen.lamp], self.at)?;
        Ok(station::judge(seen, self.ambient(seen)?, read_with, self.at))
    }

    /// What is believed of a device, as one of `station`; `lit` is the station's paper where it is at hand.
    pub(super) fn watched(
        &self,
        device: &'a DeviceId,
        station: &Station,
        lit: Option<&LitPaper>,
    ) -> Option<Watched<'_>> {
        let things = &self.config.things;
        let estimate = self.known.get(device)?;
        let scale = estimate.state.scale_instrument();
        let (aim, aim_level) = match things.lamp(device) {
            Some(lamp) => (uv_prime(lamp.aim.white).ok()?, Some(lamp.aim.illuminance.get())),
            None => self.display_aim(device, station, lit)?,
        };
        Some(Watched {
            id: device,
            params: &estimate.params,
            state: &estimate.state,
            aim,
            aim_level,
            bias: things.bias_of(scale),
            noise: things.noise_of(scale),
        })
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

    /// What is known of the colour rendering of a lamp, whose light must have been read.
    pub fn rendering(&self, lamp: &DeviceId) -> Result<RaKnown, LedgerError> {
        let Some((light, burning)) = self.light(lamp).zip(self.known.get(lamp)) else { return Ok(RaKnown::Never) };
        if let Some(known) = self.ra_since_change(lamp, light, burning)? {
            return Ok(RaKnown::Known(known));
        }
        let Some(changed) = light.changed else { return Ok(RaKnown::Never) };
        let always = Time::from_micros(i64::MIN);
        let before = self.store.latest_spectrum(lamp, always, changed)?.is_some()
            || self.store.latest_ra(lamp, Source::Measured, always, changed)?.is_some()
            || self.store.latest_ra(lamp, Source::Label, always, changed)?.is_some();
        Ok(if before { RaKnown::NotSince { changed } } else { RaKnown::Never })
    }

    /// The newest index of a lamp since it was changed; a measurement outranks a label.
    fn ra_since_change(
        &self,
        lamp: &DeviceId,
        light: &LampLight,
        burning: &Estimate,
    ) -> Result<Option<LampRa>, LedgerError> {
        let spectral = light.spectrum.as_ref().and_then(|(when, sampled)| {
            Some(LampRa { ra: indices(sampled)?.ra, when: *when, source: RaSource::Spectrum })
        });
        let given = |source| self.store.latest_ra(lamp, source, just_before(light.changed), self.at);
        let stated = |row: ReadingRow, source| row.ra.map(|ra| LampRa { ra, when: row.time, source });
        let counts = |row: &ReadingRow| same_setting(row, &burning.state) && !burning.state.doubts(row.seq.get());
        let measured = given(Source::Measured)?.filter(counts).and_then(|row| stated(row, RaSource::Given));
        let newest = match (spectral, measured) {
            (Some(a), Some(b)) if b.when > a.when => Some(b),
            (a, b) => a.or(b),
        };
        match newest {
            Some(newest) => Ok(Some(newest)),
            None => Ok(given(Source::Label)?.and_then(|row| stated(row, RaSource::Label))),
        }
    }

    /// Foreign light on the print and at the screen.
    fn ambient(&self, seen: &Seen) -> Result<Ambient, LedgerError> {
        let (print, screen) = (self.foreign(seen.lamp.id)?, self.foreign(seen.display.id)?);
        if print.is_empty() && screen.is_empty() {
            return Ok(Ambient::default());
        }
        // A device's light as an illuminance; `lux` is what makes one of its level.
        let light = |device: &Watched, lux: f64| {
            let forecast = device.state.forecast(device.params, &[self.at]);
            let light = Light::at(&forecast.likely, 0, device.aim);
            Some((libm::exp(light.ln_level?.mean) * lux, light.uv()))
        };
        // At the screen the share is of what its face sends back: light that would make as much of it as the screen's own white.
        let glow = std::f64::consts::PI / ambient::SCREEN_REFLECTANCE;
        Ok(Ambient {
            print: by_hours(&print, light(&seen.lamp, 1.0)),
            screen: by_hours(&screen, light(&seen.display, glow)),
        })
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

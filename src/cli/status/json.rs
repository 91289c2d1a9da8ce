//! The JSON of `status`.

use schemars::JsonSchema;
use serde::Serialize;

use super::Answer;
use crate::cli::acts::{ActJson, CallJson, HoldsJson, acts, calls};
use crate::cli::answer::{CertifiedJson, LocalDate, MeanSd};
use crate::cli::maintenance::Span;
use crate::cli::messages::ChannelState;
use crate::cli::rules::{RuleSetJson, as_json as rule_sets};
use crate::color::{cct_duv, xy};
use crate::equipment::ReadWith;
use crate::ledger::Seq;
use crate::publish::beat::{Beat, Fails, LastReading};
use crate::say;
use crate::site::Station;
use crate::station::{Ambient, AtHours, EstimatedWhite, LampRa, Verdict, lightness_lost};
use crate::units::{Days, DeviceId, Duv, InstrumentId, Kelvin, Probability, StationId, Time};
use crate::zone::LocalZone;

/// Whether the match holds at each station, since when, why, and what there is to do.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Status {
    /// The instant that the answer speaks of.
    pub as_of: Time,
    /// Each station that was asked for, in the order of the configuration.
    pub stations: Vec<StationStatus>,
    /// The last complete look of the watch; null where there never was one, or where `--as-of` asks for another time.
    pub heartbeat: Option<Heartbeat>,
    /// Every channel and how it does; empty where `--as-of` asks for another time.
    pub channels: Vec<ChannelState>,
    /// Maintenance that stands; empty where `--as-of` asks for another time.
    pub maintenance: Vec<Span>,
}

/// The last complete look of the watch.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Heartbeat {
    /// When that look was done.
    at: Time,
    /// How long ago that is, in seconds; older than 180: nobody watches.
    age_s: f64,
    /// When the watch was ended in good order; null while it watches, or where it was cut off.
    ended_at: Option<Time>,
    /// Whether the inbox cannot be looked through.
    blind: bool,
    /// Files that waited in the inbox, since they were not whole yet.
    files_waiting: usize,
    /// The reading that was taken in last; null where none ever was.
    last_reading: Option<LastReading>,
    /// Alerts that were not over.
    standing_alerts: usize,
    /// Entries of the ledger.
    entries: i64,
    /// Set while the outgoing URL fails.
    url_fails: Option<Fails>,
    /// Set while signed heads cannot be written as files, in the state folder or that of copies.
    heads_fail: Option<Fails>,
    /// The version of the program that looked.
    version: String,
}

impl Heartbeat {
    /// That beat, seen at `now`.
    pub fn of(beat: Beat, now: Time, blind: bool) -> Self {
        let Beat {
            at,
            ended_at,
            version,
            files_waiting,
            last_reading,
            standing_alerts,
            entries,
            url_fails,
            heads_fail,
        } = beat;
        let age_s = now.since(at).0 * 86_400.0;
        Self {
            at,
            age_s,
            ended_at,
            blind,
            files_waiting,
            last_reading,
            standing_alerts,
            entries,
            url_fails,
            heads_fail,
            version,
        }
    }
}

/// One place where prints are judged.
#[derive(Debug, Serialize, JsonSchema)]
pub struct StationStatus {
    /// The station.
    station: StationId,
    /// Whether its match holds; `unknown` is never good.
    #[schemars(extend("enum" = Verdict::ALL.map(Verdict::word)))]
    verdict: &'static str,
    /// Probability that the match is out of tolerance now, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk: f64,
    /// Since when the verdict stands; null where the ledger has not recorded it.
    since: Option<Time>,
    /// The days ahead that `risk_within` looks.
    horizon_days: Days,
    /// Probability that the match is out at any time within the horizon, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    risk_within: f64,
    /// The risk within the horizon from which the station is at risk.
    max_risk: Probability,
    /// The first day on which `risk_within` passes `max_risk`; null where that lies beyond what may be said.
    risk_date: Option<LocalDate>,
    /// Whether that day rests on too little to be more than a guess; null without a day.
    risk_date_is_a_guess: Option<bool>,
    /// Distance of the two mean whites in CIE 1976 u′v′, and the spread along the line between them.
    delta_uv: MeanSd,
    /// Display luminance ÷ paper luminance; null where either level was never read.
    luminance_ratio: Option<MeanSd>,
    /// The white of the usual paper under the lamp.
    paper_white: White,
    /// The white of the display.
    display_white: White,
    /// Standard uncertainty of the comparison that no further reading by the same instruments takes away.
    scale_uncertainty: ScaleUncertainty,
    /// How the print looks beside the screen; null where luminance is not judged or was never read.
    print_to_screen: Option<PrintToScreen>,
    /// The lamp's colour rendering, where the station asks for it and it is known; else null.
    rendering: Option<RenderingJson>,
    /// Foreign light, where it was read of late; else null.
    ambient: Option<AmbientJson>,
    /// What the display and the lamp were read with last; a device that was never measured is not among them.
    instruments: Vec<ReadWithJson>,
    /// Why the verdict is what it is, the weightiest sentence first.
    reasons: Vec<String>,
    /// What to do now, the cheapest sentence that helps first; empty where there is nothing to do.
    advice: Vec<String>,
    /// What is to be done by when, the earliest first.
    calls: Vec<CallJson>,
    /// Until when the match is likely to hold if nobody touches anything.
    holds_until: HoldsJson,
    /// Every act that was weighed, the best first; empty where nothing needs doing.
    acts: Vec<ActJson>,
    /// The rule sets that the station names, point by point; they inform and never make a verdict.
    rules: Vec<RuleSetJson>,
}

/// What a device was read with last.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReadWithJson {
    /// The display or lamp.
    device: DeviceId,
    /// The reading's entry.
    seq: Seq,
    /// When it was read.
    read_at: Time,
    /// The instrument; null where none was named.
    instrument: Option<InstrumentId>,
    /// The certificate that it had then, good or ended; null where none is known.
    certificate: Option<CertifiedJson>,
    /// What speaks against it, which is a reason and no part of the risk; mostly empty.
    doubts: Vec<DoubtWord>,
}

/// What speaks against an instrument as it read something.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("enum" = ["certificate-ended", "instrument-damaged"]))]
struct DoubtWord(&'static str);

/// An estimated white.
#[derive(Debug, Serialize, JsonSchema)]
pub struct White {
    /// CIE 1976 u′.
    u_prime: MeanSd,
    /// CIE 1976 v′.
    v_prime: MeanSd,
    /// CIE 1931 x of the mean, 0 to 1.
    x: Option<f64>,
    /// CIE 1931 y of the mean, 0 to 1.
    y: Option<f64>,
    /// Correlated colour temperature of the mean, K; null where it has none.
    cct_k: Option<Kelvin>,
    /// Signed distance of the mean from the Planckian locus in CIE 1960 u,v, positive when greenish; null where it has none.
    duv: Option<Duv>,
    /// Luminance, cd/m²; null where the level was never read.
    luminance_cd_m2: Option<MeanSd>,
}

/// A standard uncertainty of colour and level.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ScaleUncertainty {
    /// In CIE 1976 u′v′.
    uv: f64,
    /// In the natural logarithm of the luminance ratio, which is about its fraction.
    ln_luminance_ratio: f64,
}

/// How the print looks beside the screen.
#[derive(Debug, Serialize, JsonSchema)]
pub struct PrintToScreen {
    /// Paper luminance ÷ display luminance, over what the station's rule asks for; 1 is as agreed.
    luminance_ratio: f64,
    /// How much darker the dimmer white looks, in CIE 1976 L*, 0 to 100.
    #[schemars(range(min = 0.0, max = 100.0))]
    delta_l: f64,
}

/// A colour rendering index, and whence it is known.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RenderingJson {
    /// General colour rendering index Ra (CIE 13.3-1995), at most 100.
    ra: f64,
    /// When it was measured, or entered from the label.
    measured_at: Time,
    /// Worked out from a `spectrum` in the ledger, `given` by the meter, or copied from a `label`.
    #[schemars(extend("enum" = ["spectrum", "given", "label"]))]
    source: &'static str,
}

/// Foreign light at a station.
#[derive(Debug, Serialize, JsonSchema)]
pub struct AmbientJson {
    /// The largest share of foreign light on the print at any hours, 0 to 1; null where the lamp's level is not known.
    share: Option<f64>,
    /// The share that the station allows, 0 to 1.
    max_share: f64,
    /// The brightest light at the face of the screen, lx; null where none was read there.
    screen_lx: Option<f64>,
    /// On the print, by hours of the day; only hours that were read.
    on_print: Vec<HoursJson>,
    /// At the face of the screen, by hours of the day; only hours that were read.
    at_screen: Vec<HoursJson>,
}

/// Foreign light at some hours of the day.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HoursJson {
    /// The local hour at which these hours begin, 0 to 21.
    from_hour: u16,
    /// The local hour at which they end, up to 24.
    to_hour: u16,
    /// How many readings were made in them.
    readings: usize,
    /// Mean illuminance, lx.
    illuminance_lx: f64,
    /// Share of all light, 0 to 1; null where the lamp's level is not known.
    share: Option<f64>,
    /// How far it pulls the lamp's white, in CIE 1976 u′v′; null where a white is not known.
    pull_delta_uv: Option<f64>,
    /// Where it pulls that white, in words; null where there is nothing to say.
    pull: Option<String>,
}

impl StationStatus {
    pub(super) fn of(answer: &Answer, zone: &LocalZone) -> Self {
        let judgement = &answer.judgement;
        Self {
            station: judgement.station.clone(),
            verdict: judgement.verdict.word(),
            risk: judgement.risk,
            since: answer.since,
            horizon_days: answer.station.horizon,
            risk_within: judgement.risk_within,
            max_risk: answer.station.max_risk,
            risk_date: judgement.risk_date.map(|date| LocalDate::of(date.date, zone)),
            risk_date_is_a_guess: judgement.risk_date.map(|date| date.guess),
            delta_uv: judgement.delta_uv.into(),
            luminance_ratio: judgement.luminance_ratio.map(MeanSd::from),
            paper_white: white(&judgement.paper_white),
            display_white: white(&judgement.display_white),
            scale_uncertainty: ScaleUncertainty {
                uv: judgement.scale_uncertainty.0,
                ln_luminance_ratio: judgement.scale_uncertainty.1,
            },
            print_to_screen: (judgement.print_to_screen)
                .map(|ratio| PrintToScreen { luminance_ratio: ratio, delta_l: lightness_lost(ratio) }),
            rendering: judgement.rendering.map(rendering),
            ambient: ambient(&judgement.ambient, answer.station),
            instruments: judgement.read_with.iter().map(ReadWithJson::of).collect(),
            reasons: judgement.reasons.iter().map(|reason| say::reason(reason, zone)).collect(),
            advice: say::to_do_now(judgement, zone),
            calls: calls(judgement, zone),
            holds_until: HoldsJson::of(&judgement.holds, zone),
            acts: acts(judgement, zone),
            rules: rule_sets(answer.station, &answer.measured),
        }
    }
}

impl ReadWithJson {
    fn of(with: &ReadWith) -> Self {
        Self {
            device: with.device.clone(),
            seq: with.seq,
            read_at: with.read,
            instrument: with.instrument.clone(),
            certificate: with.certificate.as_ref().map(CertifiedJson::of),
            doubts: with.doubts.iter().map(|doubt| DoubtWord(doubt.word())).collect(),
        }
    }
}

fn white(white: &EstimatedWhite) -> White {
    let at = xy(white.uv()).ok();
    let temperature = cct_duv(white.uv()).ok();
    White {
        u_prime: white.u.into(),
        v_prime: white.v.into(),
        x: at.map(|at| at.x),
        y: at.map(|at| at.y),
        cct_k: temperature.map(|t| t.cct_k),
        duv: temperature.map(|t| t.duv),
        luminance_cd_m2: white.luminance.map(MeanSd::from),
    }
}

fn rendering(known: LampRa) -> RenderingJson {
    RenderingJson { ra: known.ra, measured_at: known.when, source: known.source.word() }
}

/// Foreign light, worst share and brightest light first; `None` where it was never read of late.
fn ambient(ambient: &Ambient, station: &Station) -> Option<AmbientJson> {
    if ambient.print.is_empty() && ambient.screen.is_empty() {
        return None;
    }
    Some(AmbientJson {
        share: ambient.worst().and_then(|hours| hours.share),
        max_share: station.ambient_max,
        screen_lx: ambient.brightest().map(|hours| hours.lx),
        on_print: ambient.print.iter().map(hours).collect(),
        at_screen: ambient.screen.iter().map(hours).collect(),
    })
}

fn hours(hours: &AtHours) -> HoursJson {
    HoursJson {
        from_hour: hours.from,
        to_hour: hours.to,
        readings: hours.readings,
        illuminance_lx: hours.lx,
        share: hours.share,
        pull_delta_uv: hours.pull.map(|pull| pull.delta_uv),
        pull: hours.pull.and_then(|pull| pull.direction).map(|direction| direction.to_string()),
    }
}

//! Verdict, reasons and advice of one invented station, from readings to judgement.

use std::f64::consts::PI;

use super::*;
use crate::color::{uv_prime, xy};
use crate::drift::{Observation, Thing};
use crate::site::{Adjustable, Identity, LampKind, LuminanceRule, PaperWhite, Tolerance};
use crate::units::{Probability, StationId, Xy};

const NOISE: Noise = Noise { uv: 0.0004, level: 0.008 };

/// A station whose devices are read as a test wants.
pub(super) struct Bay {
    pub station: Station,
    pub paper: Paper,
    pub adjustable: Vec<Adjustable>,
    pub costs: Costs,
    pub display: Device,
    pub lamp: Device,
}

pub(super) struct Device {
    pub id: DeviceId,
    params: Params,
    state: DeviceState,
    aim: UvPrime,
    level: f64,
    seq: i64,
}

impl Device {
    fn new(id: &str, thing: Thing, aim: UvPrime, level: f64) -> Self {
        let params = Params { thing, aim_white: Some(aim), aim_ln_level: Some(level.ln()), warm_up_min: 30.0 };
        Self { id: DeviceId::new(id).unwrap(), params, state: DeviceState::new(&params), aim, level, seq: 0 }
    }

    /// Reads it so far from its aim.
    pub fn read(&mut self, time: Time, off: (f64, f64), level_ratio: f64) {
        let observation = self.reading(time, off, level_ratio);
        self.state.absorb(&self.params, &observation);
    }

    /// Reads it at its aim but for what `change` does to the reading.
    pub fn meet(&mut self, time: Time, change: impl FnOnce(&mut Observation)) {
        let mut observation = self.reading(time, (0.0, 0.0), 1.0);
        change(&mut observation);
        self.state.absorb(&self.params, &observation);
    }

    pub fn was_read(&self) -> bool {
        self.state.readings() > 0
    }

    fn reading(&mut self, time: Time, off: (f64, f64), level_ratio: f64) -> Observation {
        self.seq += 1;
        Observation {
            seq: self.seq,
            time,
            white: UvPrime { u: self.aim.u + off.0, v: self.aim.v + off.1 },
            extra_cov: [0.0; 3],
            ln_level: Some((self.level * level_ratio).ln()),
            extra_ln: 0.0,
            noise: NOISE,
            warmup_min: None,
            hours: None,
            setting: None,
            label: false,
            instrument: None,
            apart: None,
            released: false,
        }
    }

    fn watched(&self) -> Watched<'_> {
        Watched {
            id: &self.id,
            params: &self.params,
            state: &self.state,
            aim: self.aim,
            aim_level: Some(self.level),
            bias: Bias::default(),
            noise: NOISE,
        }
    }
}

impl Bay {
    pub fn new() -> Self {
        let white = uv_prime(Xy { x: 0.3127, y: 0.3290 }).unwrap();
        let id = |text| DeviceId::new(text).unwrap();
        Self {
            station: Station {
                id: StationId::new("bay").unwrap(),
                display: id("bay-screen"),
                lamp: id("bay-lamp"),
                papers: vec![id("grey")],
                tolerance: Tolerance { delta_uv: 0.005, luminance_ratio: Some(1.2), ra_min: None },
                luminance: LuminanceRule::DisplayToPaper(1.0),
                visual_offset: (0.0, 0.0),
                max_risk: Probability::new(0.2).unwrap(),
                horizon: Days(14.0),
                max_age: Days(45.0),
                ambient_max: 0.1,
                rules: Vec::new(),
            },
            paper: Paper {
                id: id("grey"),
                identity: Identity::default(),
                white: PaperWhite::ReflectanceFactor(0.9),
                condition: None,
                brightened: None,
            },
            adjustable: Vec::new(),
            costs: Costs::default(),
            display: Device::new("bay-screen", Thing::Display, white, 500.0 * 0.9 / PI),
            lamp: Device::new("bay-lamp", Thing::Lamp(LampKind::Led), white, 500.0),
        }
    }

    /// Ten weekly readings of both, the last a day ago: each device as far from its aim as the functions of the week say.
    pub fn read_weekly(
        mut self,
        display: impl Fn(f64) -> f64,
        lamp: impl Fn(f64) -> f64,
        level: impl Fn(f64) -> f64,
    ) -> Self {
        for week in 0..10 {
            let time = now().plus(Days(-64.0 + 7.0 * f64::from(week)));
            self.display.read(time, (0.0, display(f64::from(week))), 1.0);
            self.lamp.read(time, (0.0, lamp(f64::from(week))), level(f64::from(week)));
        }
        self
    }

    pub fn seen(&self) -> Seen<'_> {
        Seen {
            station: &self.station,
            paper: &self.paper,
            lit: LitPaper { under: PaperUnderLamp::new(&self.paper.white).unwrap(), read: None },
            rendering: RaKnown::Never,
            adjustable: &self.adjustable,
            costs: self.costs,
            jumped: [None, None],
            display: self.display.watched(),
            lamp: self.lamp.watched(),
        }
    }

    pub fn judge(&self, at: Time) -> Judgement {
        super::judge(&self.seen(), Ambient::default(), Vec::new(), at)
    }
}

pub(super) fn now() -> Time {
    Time::parse("2026-03-04T09:30:00Z").unwrap()
}

fn has(judgement: &Judgement, word: &str) -> bool {
    judgement.reasons.iter().any(|reason| reason.word() == word)
}

#[test]
fn at_their_aims_they_match() {
    let judgement = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0).judge(now());
    assert_eq!(judgement.verdict, Verdict::Matched, "{judgement:?}");
    assert!(judgement.risk < 0.01 && judgement.risk_within < 0.05);
    assert!(judgement.delta_uv.mean < 3e-4);
    assert!((judgement.luminance_ratio.unwrap().mean - 1.0).abs() < 0.01);
    assert!(judgement.advice.is_empty(), "{:?}", judgement.advice);
    assert!(judgement.calls.iter().all(|call| call.why.is_reading() && call.by > now()), "{:?}", judgement.calls);
}

#[test]
fn nothing_read_is_unknown_and_never_good() {
    let judgement = Bay::new().judge(now());
    assert_eq!(judgement.verdict, Verdict::Unknown);
    assert!(judgement.risk > 0.5, "what was never read is risky: {}", judgement.risk);
    assert!(has(&judgement, "never-read"));
    assert_eq!(judgement.advice.len(), 2, "both are to be read: {:?}", judgement.advice);
}

#[test]
fn old_knowledge_decays_to_unknown() {
    let bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    let late = bay.judge(now().plus(Days(60.0)));
    assert_eq!(late.verdict, Verdict::Unknown);
    assert!(has(&late, "stale"));
    let sooner = bay.judge(now().plus(Days(30.0)));
    assert!(late.risk >= sooner.risk, "doubt grows with age: {} then {}", sooner.risk, late.risk);
    assert!(late.advice.contains(&Advice::Read { device: bay.lamp.id.clone() }));
}

#[test]
fn a_lamp_that_drifted_out_is_named() {
    let judgement = Bay::new().read_weekly(|_| 0.0, |week| 0.0008 * week, |_| 1.0).judge(now());
    assert_eq!(judgement.verdict, Verdict::Out, "{judgement:?}");
    assert!(has(&judgement, "whites-differ"));
    let off = judgement.reasons.iter().find_map(|reason| match reason {
        Reason::OffAim { device, delta_uv, .. } => Some((device.as_str(), *delta_uv)),
        _ => None,
    });
    let (device, delta_uv) = off.expect("the one that moved is named first");
    assert_eq!(device, "bay-lamp");
    assert!((0.006..0.008).contains(&delta_uv), "{delta_uv}");
    // Its colour is not yet beyond two tolerances: the screen can follow the paper.
    let [Advice::RecalibrateToPaper { white, meets, .. }] = judgement.advice.as_slice() else {
        panic!("{:?}", judgement.advice)
    };
    // It goes where the paper will be midway through the time that it should hold: on along the drift, and less than a tolerance.
    let (led, ahead) = (uv_prime(*white).unwrap(), meets.since(now()).0);
    let holds = judgement.acts.iter().find(|act| act.chosen).unwrap().days;
    assert!(ahead > 7.0 && ahead < holds, "{ahead} {holds}");
    let step = led.v - judgement.paper_white.v.mean;
    assert!((step / ahead - 0.0008 / 7.0).abs() < 4e-5, "{step} in {ahead} days");
    assert!(step < 0.005);
}

#[test]
fn a_display_that_drifted_out_goes_back_to_its_aim() {
    let bay = Bay::new().read_weekly(|week| -0.0008 * week, |_| 0.0, |_| 1.0);
    let judgement = bay.judge(now());
    assert_eq!(judgement.verdict, Verdict::Out);
    let [Advice::RecalibrateToAim { display, white, .. }] = judgement.advice.as_slice() else {
        panic!("{:?}", judgement.advice)
    };
    assert_eq!(*display, bay.display.id);
    assert_eq!(*white, xy(bay.display.aim).unwrap());
}

#[test]
fn a_lamp_far_from_its_aim_is_not_followed() {
    let judgement = Bay::new().read_weekly(|_| 0.0, |week| 0.0016 * week, |_| 1.0).judge(now());
    assert!(matches!(judgement.advice.as_slice(), [Advice::ReplaceLamp { why: LampFault::Colour { .. }, .. }]));
    let mut dialled = Bay::new().read_weekly(|_| 0.0, |week| 0.0016 * week, |_| 1.0);
    dialled.adjustable = vec![Adjustable::Cct];
    assert!(matches!(dialled.judge(now()).advice.as_slice(), [Advice::TurnColourDial { .. }]));
}

#[test]
fn a_dim_lamp_is_turned_up_where_it_can_be() {
    let dim = |week: f64| 1.0 - 0.03 * week;
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, dim);
    let fixed = bay.judge(now());
    assert_eq!(fixed.verdict, Verdict::Out);
    assert!(has(&fixed, "luminances-differ"), "{:?}", fixed.reasons);
    assert!(matches!(fixed.advice.as_slice(), [Advice::RecalibrateToPaper { .. }]), "{:?}", fixed.advice);
    bay.adjustable = vec![Adjustable::Level];
    let turned = bay.judge(now());
    let [Advice::TurnDimmer { from, to, .. }] = turned.advice.as_slice() else { panic!("{:?}", turned.advice) };
    assert!((from.get() - 365.0).abs() < 20.0 && to.get() == 500.0, "{from:?} {to:?}");
}

#[test]
fn at_risk_comes_before_out() {
    let bay = Bay::new().read_weekly(|_| 0.0, |week| 0.00045 * week, |_| 1.0);
    let judgement = bay.judge(now());
    assert_eq!(judgement.verdict, Verdict::AtRisk, "{} {}", judgement.risk, judgement.risk_within);
    assert!(judgement.risk < OUT_ABOVE);
    let date = judgement.risk_date.expect("it will leave its tolerance");
    assert!(date.date.since(now()).0 <= 14.0);
    assert_eq!(bay.judge(now().plus(Days(30.0))).verdict, Verdict::Out);
}

#[test]
fn one_odd_reading_makes_it_unknown_not_out() {
    // The longer nobody looked, the likelier the dimmer was bumped.
    let later = now().plus(Days(20.0));
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    bay.lamp.read(later, (0.0, 0.0), 0.6);
    let judgement = bay.judge(later);
    assert!(has(&judgement, "possible-step"), "{:?}", judgement.reasons);
    let risk = (judgement.risk, judgement.risk_within);
    assert_eq!(judgement.verdict, Verdict::Unknown, "a second reading decides: {risk:?}");
    assert!(judgement.advice.contains(&Advice::Read { device: bay.lamp.id.clone() }), "{:?}", judgement.advice);

    let mut next_day = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    next_day.lamp.read(now(), (0.0, 0.0), 0.6);
    let judgement = next_day.judge(now());
    assert!(judgement.risk > 0.04, "it counts in the risk all the same");
    assert_eq!(judgement.advice.first(), Some(&Advice::Read { device: next_day.lamp.id.clone() }));
}

#[test]
fn luminance_that_is_not_judged_does_not_count() {
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 0.5);
    assert_eq!(bay.judge(now()).verdict, Verdict::Out);
    bay.station.luminance = LuminanceRule::NotJudged;
    assert_eq!(bay.judge(now()).verdict, Verdict::Matched);
    bay.station.luminance = LuminanceRule::DisplayToPaper(2.0);
    assert_eq!(bay.judge(now()).verdict, Verdict::Matched, "a declared ratio is what is judged");
}

#[test]
fn dates_are_called_what_they_are() {
    // Two readings in a week: whatever date comes out is a guess.
    let mut bay = Bay::new();
    for day in [-7.0, 0.0] {
        bay.display.read(now().plus(Days(day)), (0.0, 0.0), 1.0);
        bay.lamp.read(now().plus(Days(day)), (0.0, 0.002), 1.0);
    }
    if let Some(date) = bay.judge(now()).risk_date {
        assert!(date.guess || date.date == now());
        assert!(date.date.since(now()).0 <= 42.0 + 1.0, "no further than six times what was seen");
    }
    // Slow drift: the date lies further ahead than the readings reach back.
    let slow = Bay::new().read_weekly(|_| 0.0, |week| 0.0001 * week, |_| 1.0).judge(now());
    let date = slow.risk_date.expect("it drifts");
    assert!(date.guess, "{date:?}");
}

#[test]
fn verdicts_have_an_order() {
    let mut all = [Verdict::AtRisk, Verdict::Out, Verdict::Matched, Verdict::Unknown];
    all.sort();
    assert_eq!(all, [Verdict::Matched, Verdict::AtRisk, Verdict::Unknown, Verdict::Out]);
    assert_eq!(all.map(Verdict::exit_code), [0, 10, 12, 11]);
}

#[test]
fn the_grid_ends_where_it_should() {
    let times = grid(now(), Days(90.0));
    assert_eq!(times.first(), Some(&now()));
    assert_eq!(times.last(), Some(&now().plus(Days(90.0))));
    assert!(times.windows(2).all(|pair| pair[0] < pair[1]));
    assert!((20..40).contains(&times.len()), "{}", times.len());
    assert_eq!(grid(now(), Days(0.0)), [now()]);
}

fn known(ra: f64, source: RaSource) -> RaKnown {
    RaKnown::Known(LampRa { ra, when: now(), source })
}

#[test]
fn a_lamp_below_its_rendering_limit_is_out_for_certain() {
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    bay.station.tolerance.ra_min = Some(90.0);
    let with = |rendering| {
        let seen = Seen { rendering, ..bay.seen() };
        let judgement = super::judge(&seen, Ambient::default(), Vec::new(), now());
        let assessment = assess(&seen, now());
        assert_eq!((assessment.risk, assessment.risk_within), (judgement.risk, judgement.risk_within));
        let times = grid(now(), Days(14.0));
        let along = seen.risk_along(&seen.comparison(), &times);
        assert_eq!(along.on.first(), Some(&judgement.risk), "a forecast says the same as the status");
        assert_eq!(along.within.last(), Some(&judgement.risk_within));
        judgement
    };
    let poor = with(known(89.99, RaSource::Spectrum));
    assert_eq!((poor.verdict, poor.risk, poor.risk_within), (Verdict::Out, 1.0, 1.0));
    assert_eq!(poor.risk_date, Some(RiskDate { date: now(), guess: false }));
    assert!(matches!(poor.reasons.first(), Some(Reason::RenderingPoor { .. })), "{:?}", poor.reasons);
    let [Advice::ReplaceLamp { why: LampFault::Rendering { .. }, .. }] = poor.advice.as_slice() else {
        panic!("{:?}", poor.advice)
    };
    for (rendering, word) in [
        (known(90.0, RaSource::Given), "rendering-holds"),
        (known(95.0, RaSource::Label), "rendering-holds"),
        (RaKnown::NotSince { changed: now() }, "rendering-not-since"),
        (RaKnown::Never, "not-measured"),
    ] {
        let judgement = with(rendering);
        assert_eq!(judgement.verdict, Verdict::Matched, "{rendering:?}");
        assert!(judgement.risk < 0.01, "what holds, or was not measured, adds no risk");
        assert!(has(&judgement, word), "{:?}", judgement.reasons);
    }
    bay.station.tolerance.ra_min = None;
    assert_eq!(bay.judge(now()).verdict, Verdict::Matched);
}

#[test]
fn a_label_alone_is_never_a_match() {
    // At its aim to the digit, with the spread of a quadrangle at 6500 K, and a level that somebody measured at no time.
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    let d65 = bay.lamp.aim;
    bay.lamp = Device::new("bay-lamp", Thing::Lamp(LampKind::Led), d65, 500.0);
    let kelvin = crate::units::Kelvin::new(6500.0).unwrap();
    let label = crate::color::label_white(&crate::reading::ColourSet::Cct { cct_k: kelvin }).unwrap();
    let spread = [label.spread.uu, label.spread.uv, label.spread.vv];
    let read = |bay: &mut Bay, off| {
        let observation = bay.lamp.reading(now().plus(Days(-1.0)), off, 1.0);
        let label = Observation { label: true, extra_cov: spread, ln_level: None, ..observation };
        bay.lamp.state.absorb(&bay.lamp.params, &label);
        bay.judge(now())
    };
    let judgement = read(&mut bay, (0.0, 0.0));
    assert_eq!(judgement.verdict, Verdict::Unknown, "{} {}", judgement.risk, judgement.risk_within);
    assert!(judgement.risk > 0.2, "{}", judgement.risk);
    assert!(has(&judgement, "label-only") && !has(&judgement, "never-read"), "{:?}", judgement.reasons);
    assert!(!has(&judgement, "few-readings") && !has(&judgement, "doubt-not-drift"), "the label says it all");
    assert_eq!(judgement.advice, [Advice::Read { device: bay.lamp.id.clone() }]);
    // A household lamp is out whatever a reading may find; but it is read before it is thrown away.
    let household = read(&mut bay, (0.05, 0.05));
    assert_eq!(household.verdict, Verdict::Out);
    assert_eq!(household.advice, [Advice::Read { device: bay.lamp.id.clone() }]);
    // With a wide tolerance a label suffices.
    bay.station.tolerance.delta_uv = 0.03;
    assert_eq!(read(&mut bay, (0.0, 0.0)).verdict, Verdict::Matched);
}

#[test]
fn paper_that_is_the_doubt_is_to_be_read() {
    let bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    let paper = PaperUnderLamp::new(&bay.paper.white).unwrap();
    let white = paper.under(bay.lamp.aim, Default::default()).unwrap();
    let with = |sd: f64, read| {
        let under = PaperUnderLamp::as_read(&paper, bay.lamp.aim, white.uv, Some(white.reflectance), sd).unwrap();
        super::judge(&Seen { lit: LitPaper { under, read }, ..bay.seen() }, Ambient::default(), Vec::new(), now())
    };
    let unsure = with(0.004, None);
    assert_eq!(unsure.verdict, Verdict::Unknown, "{} {}", unsure.risk, unsure.risk_within);
    let read = Advice::ReadPaper { paper: bay.paper.id.clone(), lamp: bay.lamp.id.clone() };
    assert_eq!(unsure.advice, [read]);
    assert!(has(&unsure, "paper-estimated"));
    let settled = with(0.0006, Some(now()));
    assert_eq!(settled.verdict, Verdict::Matched);
    assert!(has(&settled, "paper-read") && !has(&settled, "paper-estimated"), "{:?}", settled.reasons);
}

#[test]
fn foreign_light_is_a_reason_and_no_risk() {
    let bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    let dark = bay.judge(now());
    let window = ambient::Foreign { minute: 600, lx: 200.0, white: Some(UvPrime { u: 0.18, v: 0.45 }) };
    let lamp = Some((500.0, bay.lamp.aim));
    let light = Ambient { print: ambient::by_hours(&[window], lamp), screen: Vec::new() };
    let judgement = super::judge(&bay.seen(), light, Vec::new(), now());
    let said = judgement.reasons.iter().find_map(|reason| match reason {
        Reason::AmbientLight { share, from_hour, to_hour, pull, .. } => {
            Some((*share, *from_hour, *to_hour, pull.is_some()))
        }
        _ => None,
    });
    let (share, from, to, pulled) = said.expect("more than a tenth");
    assert!((share - 200.0 / 700.0).abs() < 1e-12);
    assert_eq!((from, to, pulled), (9, 12, true));
    assert_eq!((judgement.verdict, judgement.risk, judgement.risk_within), (dark.verdict, dark.risk, dark.risk_within));
}

#[test]
fn the_print_looks_darker_by_what_the_levels_say() {
    let bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |week| 1.0 - 0.02 * week);
    let judgement = bay.judge(now());
    let ratio = judgement.print_to_screen.unwrap();
    assert!((0.78..0.84).contains(&ratio), "{ratio}");
    assert!((judgement.luminance_ratio.unwrap().mean * ratio - 1.0).abs() < 1e-12, "the rule is: equal");
    let mut unjudged = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    unjudged.station.luminance = LuminanceRule::NotJudged;
    assert_eq!(unjudged.judge(now()).print_to_screen, None);
}

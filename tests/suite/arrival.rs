//! Whatever order records come in, and however often: the same is known in the end.

use proptest::prelude::*;
use twinwhite::config::Config;
use twinwhite::evaluate::Estimates;
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::{Ledger, LedgerError};
use twinwhite::pipeline::{Incoming, Taken, take};
use twinwhite::simulate::Chance;

use super::site::{LOFT, day};

const INSTRUMENTS: &str = r#"
[[instrument]]
id = "house"
kind = "spectrometer"
noise = { uv = 0.0005, luminance_pct = 1.0 }
bias = { uv = 0.0015, luminance_pct = 2.0, common = 0.8 }

[[instrument]]
id = "guest"
kind = "colorimeter"
noise = { uv = 0.0008, luminance_pct = 1.5 }
bias = { uv = 0.003, luminance_pct = 3.0, common = 0.5 }
"#;

const HEADER: &str = "time,device,instrument,u_prime,v_prime,luminance_cd_m2,illuminance_lx,hours\n";

/// Half a year of the loft, a record a file: two instruments, strays, a bumped dimmer, and everything that people log.
fn story(seed: u64) -> Vec<String> {
    let mut chance = Chance::new(seed);
    let mut story = Vec::new();
    let (mut on, mut bumped) = (0.0, 1.0);
    for n in 0..13u32 {
        on += chance.between(2.0, 20.0);
        if n == 8 {
            bumped = 0.8;
        }
        let stray = if chance.happens(0.1) { 0.012 } else { 0.0 };
        let by = if chance.happens(0.3) { "guest" } else { "house" };
        let apart = if by == "guest" { 0.002 } else { 0.0 };
        let (u, v) = (0.2092 + apart + 5e-4 * chance.normal(), 0.4881 + stray + 5e-4 * chance.normal());
        let lx = 500.0 * bumped * libm::exp(0.01 * chance.normal());
        story.push(format!("{HEADER}{},loft-lamp,{by},{u:.6},{v:.6},,{lx:.2},{:.1}\n", day(on), 9.0 * on));
        let (u, v) = (0.20904 + apart + 5e-4 * chance.normal(), 0.48608 + 5e-4 * chance.normal());
        story.push(format!("{HEADER}{},loft-screen,{by},{u:.6},{v:.6},{:.2},,\n", day(on + 0.1), 146.0 - 0.1 * on));
    }
    for (share, device, event) in [
        (0.2, "loft-lamp", "moved"),
        (0.35, "loft-screen", "recalibrated"),
        (0.5, "loft-lamp", "cleaned"),
        (0.7, "loft-screen", "recalibrated"),
        (0.9, "loft-lamp", "replaced"),
    ] {
        story.push(format!("time,device,event\n{},{device},{event}\n", day(share * on)));
    }
    story
}

/// What is known on two days after `files` came in.
fn known(config: &Config, files: &[String]) -> Vec<String> {
    let now = day(400.0);
    let mut ledger = Ledger::in_memory(&config.site.id).unwrap();
    ledger.found(now, "test", None).unwrap();
    for (n, text) in files.iter().enumerate() {
        let name = format!("{n}.csv");
        let incoming =
            Incoming { name: &name, bytes: text.as_bytes(), folder_device: None, from: CameBy::Ingest, operator: None };
        let taken = take(&mut ledger, config, &incoming, now).unwrap();
        assert!(matches!(taken, Taken::Accepted(_) | Taken::Known { .. }), "{taken:?}");
    }
    let station = &config.things.stations[0];
    let told = |at| {
        ledger
            .read(|store| {
                let mut estimates = Estimates::new(store, config, at);
                estimates.read_station(station)?;
                let mut judgement = estimates.judge(&estimates.seen(station)?)?;
                // The number of an entry is where it arrived.
                judgement.read_with.iter_mut().for_each(|with| with.seq = twinwhite::ledger::Seq::FIRST);
                let mut told = format!("{judgement:?}");
                for device in [&station.display, &station.lamp] {
                    let one = estimates.get(device).unwrap();
                    let ahead = one.state.forecast(&one.params, &[at, at.plus(twinwhite::units::Days(60.0))]);
                    told += &format!("\n{ahead:?} {:?}", one.state.other_instrument(&one.params));
                }
                Ok::<_, LedgerError>(told)
            })
            .unwrap()
    };
    [60.0, 200.0].map(day).into_iter().map(told).collect()
}

/// The same records in a file of other bytes.
fn again(text: &str) -> String {
    text.replace('\n', "\r\n")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, max_shrink_iters: 64, ..ProptestConfig::default() })]

    /// To the last digit, whatever came first, and whatever came twice.
    #[test]
    fn any_order_and_any_repetition_lead_to_the_same(
        seed in any::<u64>(),
        order in Just((0..31usize).collect::<Vec<_>>()).prop_shuffle(),
        twice in proptest::collection::vec(0..31usize, 0..6),
    ) {
        let config = Config::parse(&format!("{LOFT}{INSTRUMENTS}"), "loft.toml", std::path::Path::new(".")).unwrap();
        let story = story(seed);
        prop_assert_eq!(story.len(), 31);
        let straight = known(&config, &story);
        let mut files: Vec<String> = order.iter().map(|n| story[*n].clone()).collect();
        files.extend(twice.iter().map(|n| again(&story[*n])));
        for (one, other) in straight.iter().zip(known(&config, &files)) {
            prop_assert_eq!(one, &other);
        }
    }
}

//! A simulated site with known truth, for demo, tests and benches. Seeded; no clock.
//!
//! `device` lives one device, `room` draws random stations and lives them in somebody's hands, `tolerance` says when a match is
//! out. `followers` are ways to forecast a device: the product, `oracle`, `simple` and `trend`; `score` says how good those are,
//! `upkeep` how many recalibrations a policy needs. `print_room` is the demo's story, `sheet` its files and `spectra` the lamps in
//! them. What the rooms hold is stated in `room`; no setting of `drift` may be fitted to seeds that are reported on: those below
//! 1 000 000 are for that.

mod chance;
mod device;
mod followers;
mod many;
mod oracle;
mod print_room;
mod room;
mod score;
mod sheet;
mod simple;
mod spectra;
mod tolerance;
mod trend;
mod upkeep;

pub use chance::Chance;
pub use device::{HoursOfUse, Life, Logged, OtherInstrument, Planned, Recipe, SimAct, SimDevice};
pub use followers::{Follower, Guess, Method};
pub use oracle::Oracle;
pub use print_room::{CONFIG, Deed, STORY_DAYS, Scene, first_morning, story};
pub use room::{Conditions, Keeper, ROOM_DAYS, Room, Today, live, room};
pub use score::{HORIZONS, Score, Tally, crps};
pub use sheet::Dropped;
pub use simple::Way;
pub use trend::Trend;
pub use upkeep::{Kept, Policy, keep, laxest, next_interval};

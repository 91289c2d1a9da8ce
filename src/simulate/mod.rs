//! A simulated site with known truth, for demo, tests and benches. Seeded; no clock.
//!
//! `device` lives one device through a recipe, `room` draws random stations, `followers` are ways to forecast them, `score` says
//! how good those are, `print_room` is the demo's story, `sheet` its files and `spectra` the lamps in them. What the rooms hold is stated in `room`; no
//! setting of `drift` may be fitted to seeds that are reported on.

mod chance;
mod device;
mod followers;
mod print_room;
mod room;
mod score;
mod sheet;
mod spectra;

pub use chance::Chance;
pub use device::{Logged, Planned, Recipe, SimAct, SimDevice};
pub use followers::{Follower, Guess, Method, Oracle};
pub use print_room::{CONFIG, Deed, STORY_DAYS, Scene, first_morning, story};
pub use room::{Conditions, ROOM_DAYS, Room, room};
pub use score::{HORIZONS, Score, crps};
pub use sheet::Dropped;

//! Pickup, controls, cable and input as a linear network: what the loads do to the response.
//!
//! A `Coil`, or a `Wiring` of several, is put on a `Load`; both are chains of one-ports and two-ports. All
//! functions take the angular frequency w = 2 pi f in rad/s; responses are output voltage over EMF.

pub mod coil;
pub mod coil_file;
pub mod eddy;
pub mod elements;
pub mod knob;
pub mod load;
mod notation;
pub mod peak;
pub mod predict;
pub mod reach;
pub mod second_order;
pub mod spice;
pub mod spread;
pub mod wiring;
pub mod wirings;

pub use coil::{Coil, Thevenin};
pub use coil_file::CoilFile;
pub use eddy::Eddy;
pub use elements::{OnePort, TwoPort};
pub use knob::{Knob, Tolerances};
pub use load::Load;
pub use second_order::SecondOrder;
pub use wiring::Wiring;

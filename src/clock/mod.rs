//! The two clocks that drive the same core and the same frames: virtual time, an event queue in
//! whole microseconds, and wall time, a thread with a precise timer.

pub mod timer;
pub mod virtual_time;
pub mod wall_time;

//! Modbus RTU as a device sees it: check sum, frame timing, requests and replies.
//!
//! Written from *Modbus over Serial Line V1.02* and the *Modbus Application Protocol V1.1b3*
//! (from memory); it shares no code with the controller's own frames.

pub(crate) mod crc;
pub(crate) mod pdu;
pub(crate) mod receiver;

use arrayvec::ArrayVec;

/// The longest frame on a serial line: address, 253 bytes of protocol data, check sum.
pub const FRAME_LIMIT: usize = 256;

/// The bytes of one frame.
pub type Frame = ArrayVec<u8, FRAME_LIMIT>;

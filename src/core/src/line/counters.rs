//! What happened on a line, counted.

use core::time::Duration;

use serde::Serialize;

/// Counts since the controller was made. They only rise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[non_exhaustive]
pub struct LineCounters {
    /// Requests put on the wire.
    pub requests: u64,
    /// Whole, sound replies to them, exceptions not among them.
    pub replies: u64,
    /// Replies by which a device refused.
    pub exceptions: u64,
    /// Requests that nothing answered.
    pub time_outs: u64,
    /// Requests whose reply began and never ended.
    pub torn: u64,
    /// Replies of the right shape with a wrong CRC.
    pub corrupt: u64,
    /// Bursts of bytes that were no reply to anything asked.
    pub foreign: u64,
    /// Bursts that came while the line was in quarantine: replies too late to be believed.
    pub late: u64,
    /// Quarantines kept.
    pub quarantines: u64,
    /// Times the port came back after the first.
    pub reconnections: u64,
    /// Longest exchange that ended with a reply, from its first byte to the reply's last.
    pub longest_exchange: Duration,
}

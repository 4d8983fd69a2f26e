//! The rig's serial ports as one: what a master must send goes out, what arrives is handed to it,
//! and a port that vanished is opened again.

use std::io;
use std::time::Duration;

use evenpass_core::line::Link;
use evenpass_core::moment::Moment;
use evenpass_core::rig::LineId;
use tracing::{info, warn};

use super::Master;
use crate::port::Port;

/// How often a vanished port is tried again.
const REOPEN_EVERY: Duration = Duration::from_millis(500);
/// Bytes taken from a port at once: more than the longest frame.
const READ_SIZE: usize = 512;

/// Bytes that arrived on a port, or why it failed.
#[derive(Debug)]
pub struct Arrived {
    port: usize,
    read: io::Result<usize>,
}

/// The ports of a rig, in the order of its lines; two at most.
#[derive(Debug)]
pub struct Wires {
    ports: Vec<Port>,
    buffers: [[u8; READ_SIZE]; 2],
    reopen: Moment,
}

impl Wires {
    /// Ports that are not open yet.
    #[must_use]
    pub fn new(ports: Vec<Port>) -> Self {
        Self { ports, buffers: [[0; READ_SIZE]; 2], reopen: Moment::START }
    }

    /// Opens what is closed, not more often than is sensible, and tells the master.
    pub fn reopen(&mut self, now: Moment, master: &mut impl Master) {
        if now < self.reopen || self.ports.iter().all(Port::is_open) {
            return;
        }
        self.reopen = now + REOPEN_EVERY;
        for (index, port) in self.ports.iter_mut().enumerate() {
            if port.is_open() {
                continue;
            }
            match port.open() {
                Ok(()) => {
                    info!("{} is open", port.path());
                    master.handle_link(now, LineId(index), Link::Up);
                }
                Err(trouble) => warn!("{} cannot be opened: {trouble}", port.path()),
            }
        }
    }

    /// When [`reopen`](Self::reopen) has something to do.
    #[must_use]
    pub fn next_wake(&self) -> Moment {
        if self.ports.iter().all(Port::is_open) { Moment::NEVER } else { self.reopen }
    }

    /// Sends everything that is due. A port that does not take a frame is gone.
    pub fn transmit(&mut self, now: Moment, master: &mut impl Master) {
        while let Some(transmit) = master.poll_transmit(now) {
            let index = transmit.line.0;
            let sent = match self.ports.get_mut(index) {
                Some(port) => port.send(transmit.frame.bytes()),
                None => Ok(()),
            };
            if let Err(trouble) = sent {
                self.lose(now, index, &trouble, master);
            }
        }
    }

    /// Waits for bytes on any port. Waiting may be given up at any time without losing any.
    pub async fn receive(&mut self) -> Arrived {
        let [first, second] = &mut self.buffers;
        let middle = self.ports.len().min(1);
        let (left, right) = self.ports.split_at_mut(middle);
        let receive = async |ports: &mut [Port], buffer: &mut [u8]| match ports.first_mut() {
            Some(port) => port.receive(buffer).await,
            None => std::future::pending().await,
        };
        tokio::select! {
            biased;
            read = receive(left, first) => Arrived { port: 0, read },
            read = receive(right, second) => Arrived { port: 1, read },
        }
    }

    /// Hands over what arrived.
    pub fn deliver(&mut self, now: Moment, arrived: Arrived, master: &mut impl Master) {
        let Arrived { port, read } = arrived;
        match read {
            Ok(count) => {
                let buffer = self.buffers.get(port).and_then(|buffer| buffer.get(..count));
                master.handle_bytes(now, LineId(port), buffer.unwrap_or_default());
            }
            Err(trouble) => self.lose(now, port, &trouble, master),
        }
    }

    /// A port that failed is closed; the master hears of it and of its return.
    fn lose(&mut self, now: Moment, index: usize, trouble: &io::Error, master: &mut impl Master) {
        if let Some(port) = self.ports.get_mut(index) {
            warn!("{} is gone: {trouble}", port.path());
            port.close();
        }
        master.handle_link(now, LineId(index), Link::Down);
    }
}

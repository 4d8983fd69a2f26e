//! The only place where the program touches a serial port.

use std::fs;
use std::io;

use evenpass_core::rig::{LineSpec, Parity, StopBits};
use tokio::io::AsyncReadExt;
use tokio_serial::{ClearBuffer, SerialPort as _, SerialPortBuilderExt, SerialStream};
use tracing::debug;

/// Where the system keeps its pseudo-terminals.
const PSEUDO_TERMINALS: &str = "/dev/pts";

/// What is behind a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// A serial line, or what the system takes for one.
    Wire,
    /// A pseudo-terminal: bytes arrive at once, and there is no parity.
    PseudoTerminal,
}

/// A serial port that may vanish and come back.
#[derive(Debug)]
pub struct Port {
    spec: LineSpec,
    path: String,
    stream: Option<SerialStream>,
}

impl Port {
    /// A port that is not open yet.
    #[must_use]
    pub fn new(spec: LineSpec, path: String) -> Self {
        Self { spec, path, stream: None }
    }

    /// Its path, for messages.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Whether there is such a port at all.
    ///
    /// # Errors
    /// One message: which line, which path, what the operating system says, what to do.
    pub fn is_there(&self) -> Result<(), String> {
        fs::metadata(&self.path).map(drop).map_err(|trouble| {
            format!(
                "line \"{}\": {} is no port: {trouble}\nhelp: plug the adapter in, or name its \
                 port with --port {}=PATH\n",
                self.spec.name, self.path, self.spec.name
            )
        })
    }

    /// What it is, as things stand: its path may be a link.
    #[must_use]
    pub fn medium(&self) -> Medium {
        match fs::canonicalize(&self.path) {
            Ok(place) if place.starts_with(PSEUDO_TERMINALS) => Medium::PseudoTerminal,
            _ => Medium::Wire,
        }
    }

    /// The line as this port carries it. A pseudo-terminal has no wire: what is written is there
    /// at once, and a reply may come sooner than a wire could have carried it. Its characters
    /// count as taking no time; the silences and budgets stay.
    #[must_use]
    pub fn carried(&self) -> LineSpec {
        let mut spec = self.spec.clone();
        if self.medium() == Medium::PseudoTerminal {
            spec.baud = u32::MAX;
        }
        spec
    }

    /// Whether it is open.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.stream.is_some()
    }

    /// Opens it, or says why it cannot be opened. What it had heard before is thrown away.
    ///
    /// # Errors
    /// What the operating system answers.
    pub fn open(&mut self) -> io::Result<()> {
        let parity = match (self.medium(), self.spec.parity) {
            (Medium::PseudoTerminal, wanted) => {
                debug!("{} is a pseudo-terminal: parity {wanted:?} is not set", self.path);
                tokio_serial::Parity::None
            }
            (Medium::Wire, Parity::Even) => tokio_serial::Parity::Even,
            (Medium::Wire, Parity::Odd) => tokio_serial::Parity::Odd,
            (Medium::Wire, Parity::None) => tokio_serial::Parity::None,
        };
        let stop_bits = match self.spec.stop_bits {
            StopBits::One => tokio_serial::StopBits::One,
            StopBits::Two => tokio_serial::StopBits::Two,
        };
        let stream = tokio_serial::new(&self.path, self.spec.baud)
            .parity(parity)
            .stop_bits(stop_bits)
            .flow_control(tokio_serial::FlowControl::None)
            .open_native_async()?;
        stream.clear(ClearBuffer::Input)?;
        self.stream = Some(stream);
        Ok(())
    }

    /// Lets it go; it may be opened again.
    pub fn close(&mut self) {
        self.stream = None;
    }

    /// Hands a whole frame to the driver without waiting. Never flushes: draining would block
    /// the thread for the time the frame is on the wire.
    ///
    /// # Errors
    /// The port is gone, or did not take the whole frame at once.
    pub fn send(&mut self, frame: &[u8]) -> io::Result<()> {
        let Some(stream) = self.stream.as_mut() else {
            return Err(io::ErrorKind::NotConnected.into());
        };
        let taken = stream.try_write(frame)?;
        if taken == frame.len() { Ok(()) } else { Err(io::ErrorKind::WriteZero.into()) }
    }

    /// Waits for bytes. A port that is not open waits for ever.
    ///
    /// # Errors
    /// The port is gone.
    pub async fn receive(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self.stream.as_mut() {
            None => std::future::pending().await,
            Some(stream) => match stream.read(buffer).await? {
                0 => Err(io::ErrorKind::UnexpectedEof.into()),
                count => Ok(count),
            },
        }
    }
}

//! Wall time: the controller on a thread of its own, with a precise timer and the serial ports,
//! at real-time priority and with locked memory where the system permits it. Panel, record and
//! terminal live elsewhere and cannot delay it: what they get is the newest snapshot and a
//! channel of entries, what they send is a request.

use std::io;
use std::thread::{Builder, JoinHandle};
use std::time::Duration;

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::scan::Controller;
use thread_priority::{
    RealtimeThreadSchedulePolicy, ThreadPriority, ThreadPriorityValue, ThreadSchedulePolicy,
    set_thread_priority_and_policy, thread_native_id,
};
use tokio::sync::mpsc;
use tracing::{info, warn};

use super::orders::{Order, Publisher, Then, Windows};
use super::timer::Timer;
use super::wires::{Arrived, Wires};
use crate::port::Port;

/// How often the newest snapshot is published.
const PUBLISH_EVERY: Duration = Duration::from_millis(100);
/// Real-time priority of the thread: above ordinary work, below the kernel's own threads, which
/// commonly sit at 50 on a patched kernel (common practice, no source).
const PRIORITY: u8 = 49;

/// The running thread, seen from the program.
#[derive(Debug)]
pub struct WallTime {
    /// Where requests go.
    pub orders: mpsc::UnboundedSender<Order>,
    /// What is to be seen.
    pub windows: Windows,
    thread: JoinHandle<io::Result<()>>,
}

impl WallTime {
    /// Starts the thread. Entries go to `keep`, which must not block.
    ///
    /// # Errors
    /// The thread or its runtime cannot be made.
    pub fn start(
        controller: Controller,
        ports: Vec<Port>,
        keep: impl FnMut(Entry) + Send + 'static,
    ) -> io::Result<Self> {
        let (orders, inbox) = mpsc::unbounded_channel();
        let (publisher, windows) = Publisher::new(&controller);
        let thread = Builder::new().name("scan".to_owned()).spawn(move || {
            harden();
            let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build()?;
            runtime.block_on(async {
                let timer = Timer::new()?;
                Driver { controller, wires: Wires::new(ports), timer, inbox, publisher, keep }
                    .drive()
                    .await
            })
        })?;
        Ok(Self { orders, windows, thread })
    }

    /// Whether the thread has ended by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.thread.is_finished()
    }

    /// Asks the thread to end and waits for it.
    ///
    /// # Errors
    /// What ended the thread before it was asked.
    pub fn quit(self) -> io::Result<()> {
        // A thread that has ended by itself has nobody listening; its own result says why.
        let _ = self.orders.send(Order::Quit);
        self.thread.join().unwrap_or_else(|_| Err(io::Error::other("the scan thread broke down")))
    }
}

/// Gives the calling thread real-time priority and locks the memory, or warns in plain words.
pub fn harden() {
    let flags = rustix::mm::MlockAllFlags::CURRENT | rustix::mm::MlockAllFlags::FUTURE;
    if let Err(trouble) = rustix::mm::mlockall(flags) {
        warn!("memory is not locked ({trouble}): a page fault may delay a scan");
    }
    let priority = ThreadPriorityValue::try_from(PRIORITY).map(ThreadPriority::Crossplatform);
    let set = priority.map_err(|_| "not a priority".to_owned()).and_then(|priority| {
        set_thread_priority_and_policy(
            thread_native_id(),
            priority,
            ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo),
        )
        .map_err(|trouble| format!("{trouble:?}"))
    });
    match set {
        Ok(()) => info!("scan thread runs at real-time priority {PRIORITY}"),
        Err(trouble) => {
            warn!("scan thread runs without real-time priority ({trouble}): scans may be late");
        }
    }
}

/// The thread's inside.
struct Driver<K> {
    controller: Controller,
    wires: Wires,
    timer: Timer,
    inbox: mpsc::UnboundedReceiver<Order>,
    publisher: Publisher,
    keep: K,
}

/// What woke the thread.
enum Woken {
    Time,
    Bytes(Arrived),
    Order(Option<Order>),
}

impl<K: FnMut(Entry)> Driver<K> {
    async fn drive(mut self) -> io::Result<()> {
        let mut published = Moment::START;
        loop {
            let now = self.timer.now();
            self.wires.reopen(now, &mut self.controller);
            self.controller.handle_time(now);
            self.wires.transmit(now, &mut self.controller);
            while let Some(entry) = self.controller.take_entry() {
                (self.keep)(entry);
            }
            if now >= published + PUBLISH_EVERY {
                published = now;
                self.publisher.publish(&self.controller);
            }
            let wake = self.controller.next_wake().min(published + PUBLISH_EVERY);
            self.timer.wake_at(wake.min(self.wires.next_wake()))?;
            match self.wait().await? {
                Woken::Time => {}
                Woken::Bytes(arrived) => {
                    let now = self.timer.now();
                    self.wires.deliver(now, arrived, &mut self.controller);
                }
                Woken::Order(Some(order)) => {
                    let now = self.timer.now();
                    if order.carry_out(now, &mut self.controller) == Then::End {
                        return Ok(());
                    }
                }
                Woken::Order(None) => return Ok(()),
            }
        }
    }

    /// Waits for the first of: time, bytes, an order. Time goes first, so that a chattering line
    /// cannot hold a scan up.
    async fn wait(&mut self) -> io::Result<Woken> {
        tokio::select! {
            biased;
            woken = self.timer.wait() => woken.map(|()| Woken::Time),
            arrived = self.wires.receive() => Ok(Woken::Bytes(arrived)),
            order = self.inbox.recv() => Ok(Woken::Order(order)),
        }
    }
}

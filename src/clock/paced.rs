//! The twin at the pace of life, or a multiple of it: virtual time on a thread of its own, led by
//! wall time. To the rest of the program it is what [`super::wall_time`] is.

use std::io;
use std::thread::{Builder, JoinHandle};
use std::time::{Duration, Instant};

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_hil::Bench;
use tokio::sync::mpsc;

use super::orders::{Order, Publisher, Then, Windows};
use super::virtual_time::{VirtualTime, Witness};

/// How often virtual time is brought up to wall time: a quarter of the bench's scan period.
const STEP: Duration = Duration::from_millis(5);
/// How often the newest snapshot is published, of wall time.
const PUBLISH_EVERY: Duration = Duration::from_millis(100);
/// More than this in one step is a computer that stood still: the twin stands still with it.
const LONGEST_STEP: Duration = Duration::from_millis(250);

/// What somebody does to the bench: its hands, its fate, another part.
pub type AtBench = Box<dyn FnOnce(&mut Bench) + Send>;

/// What the thread is told.
enum Told {
    Order(Order),
    Bench(AtBench),
}

/// Where orders go.
#[derive(Debug, Clone)]
pub struct PacedOrders(mpsc::UnboundedSender<Told>);

impl PacedOrders {
    /// Tells the controller something.
    ///
    /// # Errors
    /// The thread has ended; the order comes back.
    pub fn send(&self, order: Order) -> Result<(), Gone> {
        self.0.send(Told::Order(order)).map_err(|_| Gone)
    }

    /// Does something at the bench.
    ///
    /// # Errors
    /// The thread has ended.
    pub fn at_bench(&self, act: AtBench) -> Result<(), Gone> {
        self.0.send(Told::Bench(act)).map_err(|_| Gone)
    }
}

/// The thread has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the scan has ended")]
pub struct Gone;

/// The running thread, seen from the program.
#[derive(Debug)]
pub struct Paced {
    /// Where orders go.
    pub orders: PacedOrders,
    /// What is to be seen.
    pub windows: Windows,
    thread: JoinHandle<()>,
}

impl Paced {
    /// Starts the thread: `pace` times as fast as life. Entries go to `keep`, which must not block.
    ///
    /// # Errors
    /// The thread cannot be made.
    pub fn start<W: Witness + Send + 'static>(
        mut time: VirtualTime<W>,
        pace: f64,
        mut keep: impl FnMut(Entry) + Send + 'static,
    ) -> io::Result<Self> {
        let (orders, inbox) = mpsc::unbounded_channel();
        let (publisher, windows) = Publisher::new(time.controller());
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
        let thread = Builder::new().name("twin".to_owned()).spawn(move || {
            runtime.block_on(drive(&mut time, pace, inbox, publisher, &mut keep));
        })?;
        Ok(Self { orders: PacedOrders(orders), windows, thread })
    }

    /// Whether the thread has ended by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.thread.is_finished()
    }

    /// Asks the thread to end and waits for it.
    ///
    /// # Errors
    /// The thread broke down.
    pub fn quit(self) -> io::Result<()> {
        // A thread that has ended by itself has nobody listening.
        let _ = self.orders.send(Order::Quit);
        self.thread.join().map_err(|_| io::Error::other("the twin's thread broke down"))
    }
}

async fn drive<W: Witness>(
    time: &mut VirtualTime<W>,
    pace: f64,
    mut inbox: mpsc::UnboundedReceiver<Told>,
    mut publisher: Publisher,
    keep: &mut impl FnMut(Entry),
) {
    let mut at = Instant::now();
    let mut published = at;
    let mut due = time.now();
    loop {
        let told = tokio::time::timeout(STEP, inbox.recv()).await;
        let now = Instant::now();
        due = due + (now - at).min(LONGEST_STEP).mul_f64(pace);
        at = now;
        time.run_until(due);
        match told {
            Ok(Some(Told::Order(order))) => {
                let moment: Moment = time.now();
                if order.carry_out(moment, time.controller()) == Then::End {
                    return;
                }
            }
            Ok(Some(Told::Bench(act))) => act(time.bench()),
            Ok(None) => return,
            Err(_) => {}
        }
        while let Some(entry) = time.controller().take_entry() {
            keep(entry);
        }
        if now - published >= PUBLISH_EVERY {
            published = now;
            publisher.publish(time.controller());
        }
    }
}

//! Plans, which take the processor for seconds, and looks into the records, which take the disk:
//! few at a time, and a few that wait, so that nobody keeps all others from theirs.

use super::app::App;
use super::limits::{Shares, share};
use super::texts;
use super::visitor::Visitor;

/// Plans that are being worked out or wait, in all and for one session; arbitrary.
pub(super) const PLANS: Shares = Shares::new(8, 2);

/// Looks into the records that are under way or wait, in all and for one session; arbitrary.
pub(super) const LOOKS: Shares = Shares::new(16, 4);

/// Looks into the records at once; arbitrary, and few of the threads that may wait for a disk.
pub(super) const LOOKS_AT_ONCE: usize = 2;

impl App {
    /// Works a plan out for somebody, where nobody waits for the processor.
    ///
    /// # Errors
    /// They have enough of them waiting, or working it out broke down.
    pub(super) async fn plan<T: Send + 'static>(
        &self,
        visitor: &Visitor,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, String> {
        let _place =
            share(&self.inside.plans, visitor.number).map_err(|_| texts::TOO_MANY_PLANS)?;
        let _turn = self.inside.planning.acquire().await.map_err(|over| over.to_string())?;
        tokio::task::spawn_blocking(work).await.map_err(|broken| broken.to_string())
    }

    /// Looks into the records for somebody, where nobody waits for the disk.
    ///
    /// # Errors
    /// They look into them often enough already, or the look broke down.
    pub(super) async fn read_records<T: Send + 'static>(
        &self,
        visitor: &Visitor,
        look: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, String> {
        let _place =
            share(&self.inside.looks, visitor.number).map_err(|_| texts::TOO_MANY_LOOKS)?;
        let _turn = self.inside.looking.acquire().await.map_err(|over| over.to_string())?;
        tokio::task::spawn_blocking(look).await.map_err(|broken| broken.to_string())
    }
}

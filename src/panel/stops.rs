//! Stops on their way to the scan.
//!
//! Any number may be asked for at once, by anybody: they go to the scan in batches, one batch in a
//! scan at most, and each asker is answered by a stop that began after they asked. A stop once
//! asked for is carried out, whatever becomes of the connection that it came by.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use evenpass_core::request::Answer;
use tokio::sync::oneshot;

use super::app::{App, locked};
use crate::clock::paced::Gone;

/// Time between two batches: about a scan, which is when a stop takes effect anyway.
const BETWEEN: Duration = Duration::from_millis(20);

/// Somebody who asked for a stop.
struct Waiting {
    name: Arc<str>,
    tell: oneshot::Sender<Result<Answer, Gone>>,
}

/// Who waits for the next batch; `None` while no batch is on its way.
#[derive(Default)]
pub(super) struct Stops(Mutex<Option<Vec<Waiting>>>);

/// Asks for a stop, and waits until the scan has answered.
pub(super) async fn stop(app: &App, name: Arc<str>) -> Result<Answer, Gone> {
    let (tell, told) = oneshot::channel();
    let asked = Waiting { name, tell };
    let first = {
        let mut stops = locked(&app.inside.stops.0);
        match &mut *stops {
            Some(waiting) => {
                waiting.push(asked);
                None
            }
            None => {
                *stops = Some(Vec::new());
                Some(asked)
            }
        }
    };
    if let Some(first) = first {
        tokio::spawn(carry(app.clone(), vec![first]));
    }
    told.await.unwrap_or(Err(Gone))
}

/// Carries batch after batch to the scan until nobody waits.
async fn carry(app: App, mut batch: Vec<Waiting>) {
    loop {
        let name = batch.first().map(|one| one.name.clone());
        let answer = app.station().stop(name).await;
        for one in batch {
            // Who has gone needs no answer.
            let _ = one.tell.send(answer.clone());
        }
        tokio::time::sleep(BETWEEN).await;
        let mut stops = locked(&app.inside.stops.0);
        batch = stops.take().unwrap_or_default();
        if batch.is_empty() {
            return;
        }
        *stops = Some(Vec::new());
    }
}

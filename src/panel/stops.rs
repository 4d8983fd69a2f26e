//! Stops on their way to the scan, and all else that only takes away.
//!
//! Any number may be asked for at once, by anybody: they go to the scan in batches, one batch of a
//! kind in a scan at most, and each asker is answered by a request that began after they asked. No
//! batch waits for the answer to the one before. What was once asked for is carried out, whatever
//! becomes of the connection that it came by, and of whoever carries it.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use evenpass_core::request::{Answer, Request};
use tokio::sync::oneshot;

use super::app::{App, locked};
use crate::clock::paced::Gone;

/// Time between two batches: about a scan, which is when a stop takes effect anyway.
const BETWEEN: Duration = Duration::from_millis(20);

/// Somebody who has asked.
struct Waiting {
    name: Arc<str>,
    tell: oneshot::Sender<Result<Answer, Gone>>,
}

/// What is being carried, with who waits for its next batch.
#[derive(Default)]
pub(super) struct Stops(Mutex<Vec<(Request, Vec<Waiting>)>>);

/// Asks for something that only takes away, and waits until the scan has answered.
pub(super) async fn take_away(app: &App, request: Request, name: Arc<str>) -> Result<Answer, Gone> {
    let station = app.station().clone();
    let send = move |request, name| {
        let station = station.clone();
        async move { station.take_away(request, Some(name)).await }
    };
    asked(&app.inside.stops, request, name, send).await
}

async fn asked<S, A>(
    stops: &Arc<Stops>,
    request: Request,
    name: Arc<str>,
    send: S,
) -> Result<Answer, Gone>
where
    S: Fn(Request, Arc<str>) -> A + Clone + Send + Sync + 'static,
    A: Future<Output = Result<Answer, Gone>> + Send + 'static,
{
    let (tell, told) = oneshot::channel();
    let one = Waiting { name: name.clone(), tell };
    let first = {
        let mut carried = locked(&stops.0);
        match carried.iter_mut().find(|(known, _)| *known == request) {
            Some((_, waiting)) => {
                waiting.push(one);
                None
            }
            None => {
                carried.push((request, Vec::new()));
                Some(one)
            }
        }
    };
    if let Some(first) = first {
        let carrier = Carrier { stops: stops.clone(), request, carries: true };
        tokio::spawn(carrier.carry(vec![first], send.clone()));
    }
    match told.await {
        Ok(answer) => answer,
        // Whoever carried it broke down: it goes by itself.
        Err(_) => send(request, name).await,
    }
}

/// Carries batch after batch of a kind. Who waits for one that breaks down asks by themselves, and
/// whoever asks later finds another.
struct Carrier {
    stops: Arc<Stops>,
    request: Request,
    carries: bool,
}

impl Carrier {
    /// Until nobody waits.
    async fn carry<S, A>(mut self, mut batch: Vec<Waiting>, send: S)
    where
        S: Fn(Request, Arc<str>) -> A + Send,
        A: Future<Output = Result<Answer, Gone>> + Send + 'static,
    {
        while let Some(first) = batch.first() {
            let answering = send(self.request, first.name.clone());
            tokio::spawn(async move {
                let answer = answering.await;
                for one in batch {
                    // Who has gone needs no answer.
                    let _ = one.tell.send(answer.clone());
                }
            });
            tokio::time::sleep(BETWEEN).await;
            batch = self.next();
        }
    }

    /// Who has asked meanwhile; where nobody has, it carries no longer.
    fn next(&mut self) -> Vec<Waiting> {
        let mut carried = locked(&self.stops.0);
        let known = carried.iter_mut().find(|(known, _)| *known == self.request);
        let waiting = known.map(|(_, waiting)| std::mem::take(waiting)).unwrap_or_default();
        if waiting.is_empty() {
            carried.retain(|(known, _)| *known != self.request);
            self.carries = false;
        }
        waiting
    }
}

impl Drop for Carrier {
    fn drop(&mut self) {
        if self.carries {
            locked(&self.stops.0).retain(|(known, _)| *known != self.request);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    /// Asks so many times at once with that `send`, and says how many were answered.
    async fn answered<S, A>(stops: &Arc<Stops>, request: Request, times: usize, send: S) -> usize
    where
        S: Fn(Request, Arc<str>) -> A + Clone + Send + Sync + 'static,
        A: Future<Output = Result<Answer, Gone>> + Send + 'static,
    {
        let asking: Vec<_> = (0..times)
            .map(|_| {
                let (stops, send) = (stops.clone(), send.clone());
                tokio::spawn(async move { asked(&stops, request, "Ann".into(), send).await })
            })
            .collect();
        let mut count = 0;
        for one in asking {
            count += usize::from(one.await.unwrap() == Ok(Answer::Accepted));
        }
        count
    }

    fn on_one_thread(test: impl Future<Output = ()>) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(test);
    }

    #[test]
    fn a_hundred_stops_at_once_are_all_answered_and_are_two_for_the_scan() {
        on_one_thread(async {
            let (stops, sent) = (Arc::<Stops>::default(), Arc::<AtomicUsize>::default());
            let count = sent.clone();
            let send = move |_, _| {
                count.fetch_add(1, Ordering::Relaxed);
                async { Ok(Answer::Accepted) }
            };
            assert_eq!(answered(&stops, Request::Stop, 100, send).await, 100);
            assert_eq!(sent.load(Ordering::Relaxed), 2);
        });
    }

    #[test]
    fn a_carrier_that_breaks_down_keeps_no_stop_from_the_scan() {
        for breaks_when_answering in [false, true] {
            on_one_thread(async move {
                let (stops, sent) = (Arc::<Stops>::default(), Arc::<AtomicUsize>::default());
                let count = sent.clone();
                let send = move |_, _| {
                    let first = count.fetch_add(1, Ordering::Relaxed) == 0;
                    assert!(!first || breaks_when_answering, "the first breaks down");
                    async move {
                        assert!(!first, "the first breaks down");
                        Ok(Answer::Accepted)
                    }
                };
                assert_eq!(answered(&stops, Request::Stop, 3, send.clone()).await, 3);
                assert_eq!(answered(&stops, Request::Stop, 3, send).await, 3, "later ones");
                assert!(locked(&stops.0).len() <= 1);
            });
        }
    }

    #[test]
    fn a_stop_is_sent_while_one_before_it_is_not_answered_and_another_kind_waits_for_none() {
        on_one_thread(async {
            let (stops, sent) = (Arc::<Stops>::default(), Arc::<Mutex<Vec<Request>>>::default());
            let told = sent.clone();
            let send = move |request, _| {
                let mut told = locked(&told);
                told.push(request);
                let first = told.len() == 1;
                async move {
                    if first {
                        std::future::pending::<()>().await;
                    }
                    Ok(Answer::Accepted)
                }
            };
            let (waits, never) = (stops.clone(), send.clone());
            let never =
                tokio::spawn(
                    async move { asked(&waits, Request::Stop, "Ann".into(), never).await },
                );
            tokio::task::yield_now().await;
            assert_eq!(answered(&stops, Request::Hold, 1, send.clone()).await, 1);
            assert_eq!(answered(&stops, Request::Stop, 1, send).await, 1);
            assert_eq!(*locked(&sent), [Request::Stop, Request::Hold, Request::Stop]);
            never.abort();
        });
    }
}

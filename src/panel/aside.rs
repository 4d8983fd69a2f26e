//! Work that waits for the disk or takes the processor, away from where others wait for their pages.

/// Does something there.
///
/// # Errors
/// Its own; or that it broke down.
pub(super) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<T, String> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|broken| Err(broken.to_string()))
}

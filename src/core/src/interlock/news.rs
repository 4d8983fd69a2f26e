//! What is new about causes, for the record: each announced once, repeats counted.

use serde::Serialize;

use super::verdict::Class;
use crate::moment::Moment;

/// News never taken out are kept up to this many; later ones are counted and dropped.
pub(super) const MOST_NEWS: usize = 256;

/// What became of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// It was confirmed.
    Confirmed,
    /// Its condition is gone; trips and holds stay latched.
    Returned,
    /// Somebody has seen it.
    Acknowledged,
    /// It was reset, or a restart cleared it.
    Cleared,
}

/// One piece of news.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct News {
    /// When.
    pub at: Moment,
    /// The row's key.
    pub key: &'static str,
    /// How severe.
    pub class: Class,
    /// What became of it.
    pub change: Change,
    /// How often it had come back unannounced since it was last announced.
    pub repeats: u32,
    /// In words.
    pub message: String,
}

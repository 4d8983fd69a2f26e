//! How many of something there may be at once, in all and for one session, so that nobody takes
//! every place.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use super::app::locked;

/// Places of one kind.
#[derive(Debug)]
pub(super) struct Shares {
    most: usize,
    most_of_one: usize,
    taken: BTreeMap<u64, usize>,
}

/// A place that is given back when this goes.
#[derive(Debug)]
pub(super) struct Share {
    of: Arc<Mutex<Shares>>,
    session: u64,
}

impl Shares {
    /// So many in all, and so many for one session.
    pub(super) const fn new(most: usize, most_of_one: usize) -> Self {
        Self { most, most_of_one, taken: BTreeMap::new() }
    }
}

/// Whose places are all taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Taken {
    /// Those of the session that asks.
    Own,
    /// All there are.
    All,
}

/// A place for a session.
///
/// # Errors
/// Whose places are all taken.
pub(super) fn share(of: &Arc<Mutex<Shares>>, session: u64) -> Result<Share, Taken> {
    let mut shares = locked(of);
    let own = shares.taken.get(&session).copied().unwrap_or_default();
    if own >= shares.most_of_one {
        return Err(Taken::Own);
    }
    if shares.taken.values().sum::<usize>() >= shares.most {
        return Err(Taken::All);
    }
    shares.taken.insert(session, own + 1);
    Ok(Share { of: of.clone(), session })
}

impl Drop for Share {
    fn drop(&mut self) {
        let mut shares = locked(&self.of);
        if let Some(own) = shares.taken.get_mut(&self.session) {
            *own -= 1;
            if *own == 0 {
                shares.taken.remove(&self.session);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_session_cannot_take_all_places_and_a_place_given_back_is_free_again() {
        let shares = Arc::new(Mutex::new(Shares::new(5, 2)));
        let mut held: Vec<_> = (0..4).filter_map(|_| share(&shares, 1).ok()).collect();
        assert_eq!(held.len(), 2);
        assert_eq!(share(&shares, 1).err(), Some(Taken::Own));
        held.extend((2..9).filter_map(|session| share(&shares, session).ok()));
        assert_eq!(held.len(), 5);
        assert_eq!(share(&shares, 9).err(), Some(Taken::All));
        drop(held);
        assert!(share(&shares, 1).is_ok());
        assert!(locked(&shares).taken.is_empty());
    }
}

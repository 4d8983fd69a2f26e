//! A reconnection, a cleared fault, a closed latch start nothing.

/// Whether a demand for motion may be passed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lockout {
    /// Yes.
    Open,
    /// The device came back; what it does is read first.
    Returned,
    /// Not before rest has been demanded once.
    UntilRest,
}

/// What a device that came back was found doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Found {
    /// What it did before it was lost: going on starts nothing.
    AtWork,
    /// Nothing: going on would be a start.
    AtRest,
}

impl Lockout {
    /// The same once rest has been demanded. A device that has come back is read first: motion
    /// that is asked for before that would begin by itself when it answers, however late.
    pub(super) const fn after_rest(self) -> Self {
        match self {
            Self::Returned => Self::Returned,
            Self::Open | Self::UntilRest => Self::Open,
        }
    }

    /// The same once a device that came back has been read.
    pub(super) const fn after_return(self, found: Found) -> Self {
        match (self, found) {
            (Self::Returned, Found::AtWork) => Self::Open,
            (Self::Returned, Found::AtRest) => Self::UntilRest,
            (lockout, _) => lockout,
        }
    }
}

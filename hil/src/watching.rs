//! Which stretch of coat the person at the machine watches while it is fused, by the job card.

/// Where they are on the card.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Watching {
    zone: usize,
    band: usize,
}

impl Watching {
    /// The stretch, mm; whoever has called all of them watches the last one. `None` without a card.
    pub(crate) fn stretch(self, card: &[Vec<(f64, f64)>]) -> Option<(f64, f64)> {
        let zone = card.get(self.zone);
        zone.and_then(|bands| bands.get(self.band)).or(card.last()?.last()).copied()
    }

    /// They have called it wet: the next one is due.
    pub(crate) fn called_wet(&mut self, card: &[Vec<(f64, f64)>]) {
        self.band += 1;
        if card.get(self.zone).is_some_and(|bands| self.band >= bands.len()) {
            *self = Self { zone: self.zone + 1, band: 0 };
        }
    }

    /// After a hold a zone is heated again from its first band on.
    pub(crate) fn starts_again(&mut self) {
        self.band = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_card_is_followed_band_by_band_and_a_hold_begins_the_zone_again() {
        let card = [vec![(0.0, 10.0), (10.0, 20.0)], vec![(50.0, 60.0)]];
        let mut watching = Watching::default();
        assert_eq!(watching.stretch(&[]), None);
        assert_eq!(watching.stretch(&card), Some((0.0, 10.0)));
        watching.called_wet(&card);
        assert_eq!(watching.stretch(&card), Some((10.0, 20.0)));
        watching.starts_again();
        assert_eq!(watching.stretch(&card), Some((0.0, 10.0)));
        watching.called_wet(&card);
        watching.called_wet(&card);
        watching.starts_again();
        for _ in 0..3 {
            assert_eq!(watching.stretch(&card), Some((50.0, 60.0)));
            watching.called_wet(&card);
        }
    }
}

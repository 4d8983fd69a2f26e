//! The carriage: a driven screw, play, the torch, and the switches along the bed.

use super::profile::{Limits, Profile};
use crate::counts::{microseconds, seconds};
use crate::spec::{CarriageSpec, DriveSpec};

/// Nearer than this the flanks touch, mm: far under a pulse, far over the rounding.
const TOUCH_MM: f64 = 1e-9;

/// The carriage and its screw. Positions are true z in mm.
#[derive(Clone, Debug)]
pub(crate) struct Carriage {
    spec: CarriageSpec,
    acceleration_limit_mm_s2: f64,
    speed_limit_mm_s: f64,
    profile: Profile,
    /// Torch without slip, as the play last left it.
    anchor_mm: f64,
    /// What the torch has lost against the screw by slipping.
    slip_mm: f64,
    slips_at_mm: Option<f64>,
    frozen_mm: Option<f64>,
    /// Where the torch was when last looked at.
    seen_mm: f64,
    /// What the switches said when the drive last took note of them.
    noted: Switches,
    /// Whether the drive has taken note of the end of the last motion.
    noted_rest: bool,
}

/// What the switches along the bed say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Switches {
    pub(crate) limit_minus_ok: bool,
    pub(crate) limit_plus_ok: bool,
    pub(crate) home: bool,
    pub(crate) park: bool,
}

impl Carriage {
    pub(crate) fn new(spec: &CarriageSpec, drive: &DriveSpec) -> Self {
        let mut carriage = Self {
            spec: spec.clone(),
            acceleration_limit_mm_s2: drive.acceleration_limit_mm_s2,
            speed_limit_mm_s: drive.speed_limit_mm_s,
            profile: Profile::rest(spec.start_mm),
            anchor_mm: spec.start_mm,
            slip_mm: 0.0,
            slips_at_mm: None,
            frozen_mm: None,
            seen_mm: spec.start_mm,
            noted: Switches { limit_minus_ok: true, limit_plus_ok: true, home: false, park: false },
            noted_rest: true,
        };
        carriage.noted = carriage.switches(0);
        carriage
    }

    /// Play between screw and nut, mm.
    pub(crate) fn play_mm(&self) -> f64 {
        self.spec.backlash_mm
    }

    /// Position and speed of the screw, as the motor turns it.
    pub(crate) fn screw(&self, now_us: u64) -> (f64, f64) {
        self.profile.at(seconds(now_us))
    }

    fn follow(&self, screw_mm: f64) -> f64 {
        let half = self.spec.backlash_mm / 2.0;
        self.anchor_mm.clamp(screw_mm - half, screw_mm + half)
    }

    /// True z of the torch.
    pub(crate) fn torch_mm(&self, now_us: u64) -> f64 {
        if let Some(at) = self.frozen_mm {
            return at;
        }
        let z = self.follow(self.screw(now_us).0) + self.slip_mm;
        let (low, high) = self.spec.travel_mm();
        z.clamp(low, high)
    }

    /// True speed of the torch, mm/s.
    pub(crate) fn torch_mm_s(&self, now_us: u64) -> f64 {
        let (screw_mm, speed) = self.screw(now_us);
        // The screw pushes the torch once it leads by half the play.
        let lead = (screw_mm - self.follow(screw_mm)) * speed.signum();
        let pushes = lead >= self.spec.backlash_mm / 2.0 - TOUCH_MM;
        if self.frozen_mm.is_some() || !pushes { 0.0 } else { speed }
    }

    pub(crate) fn switches(&self, now_us: u64) -> Switches {
        let z = self.torch_mm(now_us);
        Switches {
            limit_minus_ok: z > self.spec.hard_limit_minus_mm,
            limit_plus_ok: z < self.spec.hard_limit_plus_mm,
            home: z <= self.spec.home_switch_mm,
            park: z >= self.spec.park_switch_mm,
        }
    }

    /// Takes up the play as far as the screw has turned, and sees whether the nut slips on the way.
    fn settle(&mut self, now_us: u64) -> (f64, f64) {
        let (screw_mm, speed) = self.screw(now_us);
        self.anchor_mm = self.follow(screw_mm);
        let z = self.torch_mm(now_us);
        if let (Some(mark), None) = (self.slips_at_mm, self.frozen_mm)
            && (self.seen_mm < mark) != (z < mark)
        {
            self.frozen_mm = Some(mark);
        }
        self.seen_mm = z;
        (screw_mm, speed)
    }

    fn limited(&self, limits: Limits) -> Limits {
        let rate = |a: f64| a.clamp(1e-3, self.acceleration_limit_mm_s2);
        Limits {
            speed_mm_s: limits.speed_mm_s.clamp(1e-6, self.speed_limit_mm_s),
            acceleration_mm_s2: rate(limits.acceleration_mm_s2),
            deceleration_mm_s2: rate(limits.deceleration_mm_s2),
        }
    }

    /// Drives the screw to a place.
    pub(crate) fn drive_to(&mut self, now_us: u64, to_mm: f64, limits: Limits) {
        let (from_mm, speed) = self.settle(now_us);
        let limits = self.limited(limits);
        self.profile = Profile::to(seconds(now_us), from_mm, speed, to_mm, limits);
        self.noted_rest = false;
    }

    /// Brings the screw to rest.
    pub(crate) fn stop(&mut self, now_us: u64, deceleration_mm_s2: f64) {
        let (from_mm, speed) = self.settle(now_us);
        let rate = deceleration_mm_s2.clamp(1e-3, self.acceleration_limit_mm_s2);
        self.profile = Profile::stop(seconds(now_us), from_mm, speed, rate);
        self.noted_rest = false;
    }

    /// Friction brings the screw to rest when nothing drives it.
    pub(crate) fn coast(&mut self, now_us: u64, deceleration_mm_s2: f64) {
        let (from_mm, speed) = self.settle(now_us);
        self.profile = Profile::stop(seconds(now_us), from_mm, speed, deceleration_mm_s2);
        self.noted_rest = false;
    }

    /// Somebody moves the torch by hand; the screw turns with it.
    pub(crate) fn place_by_hand(&mut self, to_mm: f64) {
        self.profile = Profile::rest(to_mm - self.slip_mm);
        self.anchor_mm = to_mm - self.slip_mm;
        self.seen_mm = to_mm;
    }

    /// The nut slips from this z on, or holds again where it is.
    pub(crate) fn set_slip(&mut self, now_us: u64, at_mm: Option<f64>) {
        self.settle(now_us);
        if let Some(frozen) = self.frozen_mm.take() {
            self.slip_mm = frozen - self.anchor_mm;
        }
        self.slips_at_mm = at_mm;
    }

    /// Takes note of what has been passed by `now_us`; to be called at each of [`Self::next_us`].
    pub(crate) fn pass(&mut self, now_us: u64) {
        let (_, speed) = self.settle(now_us);
        self.noted = self.switches(now_us);
        self.noted_rest = speed == 0.0;
    }

    /// When the motion next changes its stretch or passes a switch.
    pub(crate) fn next_us(&self, now_us: u64) -> Option<u64> {
        // A switch passed since the last note must not get lost when a new motion is planned.
        let passed = Switches { park: self.noted.park, ..self.switches(now_us) } != self.noted;
        if passed {
            return Some(now_us + 1);
        }
        let now = seconds(now_us);
        let Some(mut next) = self.profile.stretch_end_s(now) else {
            // Nor the end of a motion that fell into the instant of another look.
            return (!self.noted_rest).then_some(now_us + 1);
        };
        let half = self.profile.direction(now) * self.spec.backlash_mm / 2.0;
        let marks = [
            Some(self.spec.home_switch_mm),
            Some(self.spec.hard_limit_minus_mm),
            Some(self.spec.hard_limit_plus_mm),
            self.slips_at_mm,
        ];
        for mark in marks.into_iter().flatten() {
            if let Some(at) = self.profile.passes_after(now, mark - self.slip_mm + half) {
                next = next.min(at);
            }
        }
        // One microsecond further on, so that the rounding has surely passed the mark.
        Some(microseconds(next).max(now_us) + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    const RAPID: Limits =
        Limits { speed_mm_s: 50.0, acceleration_mm_s2: 100.0, deceleration_mm_s2: 100.0 };

    fn carriage(backlash_mm: f64) -> Carriage {
        let mut spec = BenchSpec::default_bench().unwrap();
        spec.carriage.start_mm = 100.0;
        spec.carriage.backlash_mm = backlash_mm;
        Carriage::new(&spec.carriage, &spec.drive)
    }

    fn run_until_rest(carriage: &mut Carriage, mut now_us: u64) -> u64 {
        while let Some(next) = carriage.next_us(now_us) {
            carriage.pass(next);
            now_us = next;
        }
        now_us
    }

    #[test]
    fn the_torch_follows_by_half_the_play_on_each_side() {
        let mut carriage = carriage(0.3);
        carriage.drive_to(0, 150.0, RAPID);
        let now = run_until_rest(&mut carriage, 0);
        assert!((carriage.torch_mm(now) - 149.85).abs() < 1e-9);
        carriage.drive_to(now, 100.0, RAPID);
        let now = run_until_rest(&mut carriage, now);
        assert!((carriage.torch_mm(now) - 100.15).abs() < 1e-9);
    }

    #[test]
    fn the_torch_moves_in_the_very_instant_in_which_its_place_is_noted() {
        let mut carriage = carriage(0.3);
        carriage.drive_to(0, 150.0, RAPID);
        assert_eq!(carriage.torch_mm_s(10_000), 0.0, "in the play");
        carriage.pass(900_000);
        assert_eq!(carriage.torch_mm_s(900_000), 50.0);
    }

    #[test]
    fn the_end_of_a_motion_is_told_even_to_who_looks_in_its_very_instant() {
        let mut carriage = carriage(0.0);
        carriage.drive_to(0, 150.0, RAPID);
        carriage.pass(1_000_000);
        // 50 mm/s at 250 mm/s2 take 0.2 s.
        carriage.stop(1_000_000, 250.0);
        assert_eq!(carriage.next_us(1_200_000), Some(1_200_001));
        carriage.pass(1_200_001);
        assert_eq!(carriage.next_us(1_200_001), None);
    }

    #[test]
    fn a_slipping_nut_leaves_the_torch_where_it_slipped() {
        let mut carriage = carriage(0.0);
        carriage.set_slip(0, Some(170.0));
        carriage.drive_to(0, 200.0, RAPID);
        let now = run_until_rest(&mut carriage, 0);
        assert_eq!(carriage.torch_mm(now), 170.0);
        assert_eq!(carriage.screw(now).0, 200.0);
        carriage.set_slip(now, None);
        carriage.drive_to(now, 180.0, RAPID);
        let now = run_until_rest(&mut carriage, now);
        assert!((carriage.torch_mm(now) - 150.0).abs() < 1e-9);
    }

    #[test]
    fn a_stop_from_rapid_with_the_drives_own_reaction_time_stays_within_fifteen_millimetres() {
        // v t + v2/2a: 50 mm/s, 0.2 s, 250 mm/s2 = 10 + 5 = 15 mm.
        let mut carriage = carriage(0.0);
        carriage.drive_to(0, 800.0, RAPID);
        let cable_pulled = carriage.torch_mm(2_000_000);
        carriage.stop(2_200_000, 250.0);
        let now = run_until_rest(&mut carriage, 2_200_000);
        assert!((carriage.torch_mm(now) - cable_pulled - 15.0).abs() < 1e-6);
    }
}

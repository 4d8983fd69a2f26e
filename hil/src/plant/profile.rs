//! Motion from one state to another in stretches of constant acceleration.
//!
//! Times are seconds on the bench's clock, positions mm, speeds mm/s. Every stretch keeps the sign of
//! its speed, so that play and switches can be worked out in closed form.

use arrayvec::ArrayVec;

/// One stretch of constant acceleration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stretch {
    pub(crate) start_s: f64,
    pub(crate) duration_s: f64,
    pub(crate) from_mm: f64,
    pub(crate) speed_mm_s: f64,
    pub(crate) acceleration_mm_s2: f64,
}

impl Stretch {
    fn at(&self, time_s: f64) -> (f64, f64) {
        let t = (time_s - self.start_s).clamp(0.0, self.duration_s);
        (
            self.from_mm + t * (self.speed_mm_s + 0.5 * self.acceleration_mm_s2 * t),
            self.speed_mm_s + self.acceleration_mm_s2 * t,
        )
    }

    fn end_s(&self) -> f64 {
        self.start_s + self.duration_s
    }

    /// Sign of the speed inside the stretch.
    fn direction(&self) -> f64 {
        let middle = self.speed_mm_s + 0.5 * self.acceleration_mm_s2 * self.duration_s;
        if middle < 0.0 { -1.0 } else { 1.0 }
    }

    /// When the stretch passes `mark_mm`, if it does.
    fn passes(&self, mark_mm: f64) -> Option<f64> {
        let (end_mm, _) = self.at(self.end_s());
        let sign = self.direction();
        let distance = sign * (mark_mm - self.from_mm);
        if distance < 0.0 || distance > sign * (end_mm - self.from_mm) {
            return None;
        }
        let (v, a) = (sign * self.speed_mm_s, sign * self.acceleration_mm_s2);
        let root = (v * v + 2.0 * a * distance).max(0.0).sqrt();
        let t = if v + root > 0.0 { 2.0 * distance / (v + root) } else { 0.0 };
        Some(self.start_s + t.min(self.duration_s))
    }
}

/// Limits of a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Limits {
    pub(crate) speed_mm_s: f64,
    pub(crate) acceleration_mm_s2: f64,
    pub(crate) deceleration_mm_s2: f64,
}

/// A motion and the rest at its end.
#[derive(Clone, Debug)]
pub(crate) struct Profile {
    stretches: ArrayVec<Stretch, 5>,
    rest_mm: f64,
}

impl Profile {
    /// Rest at a place.
    pub(crate) fn rest(at_mm: f64) -> Self {
        Self { stretches: ArrayVec::new(), rest_mm: at_mm }
    }

    /// Position and speed.
    pub(crate) fn at(&self, time_s: f64) -> (f64, f64) {
        match self.stretch(time_s) {
            Some(stretch) => stretch.at(time_s),
            None => (self.rest_mm, 0.0),
        }
    }

    fn stretch(&self, time_s: f64) -> Option<&Stretch> {
        self.stretches.iter().find(|s| time_s < s.end_s())
    }

    /// When the current stretch ends; nothing at rest.
    pub(crate) fn stretch_end_s(&self, time_s: f64) -> Option<f64> {
        self.stretch(time_s).map(Stretch::end_s)
    }

    /// Sign of the current speed; 0 at rest.
    pub(crate) fn direction(&self, time_s: f64) -> f64 {
        self.stretch(time_s).map_or(0.0, Stretch::direction)
    }

    /// When the current stretch passes a mark after `time_s`.
    pub(crate) fn passes_after(&self, time_s: f64, mark_mm: f64) -> Option<f64> {
        self.stretch(time_s).and_then(|s| s.passes(mark_mm)).filter(|&t| t > time_s)
    }

    fn push(
        &mut self,
        duration_s: f64,
        acceleration_mm_s2: f64,
        from: (f64, f64, f64),
    ) -> (f64, f64, f64) {
        let (start_s, from_mm, speed_mm_s) = from;
        if duration_s <= 0.0 {
            return from;
        }
        let stretch = Stretch { start_s, duration_s, from_mm, speed_mm_s, acceleration_mm_s2 };
        let _ = self.stretches.try_push(stretch);
        let (to_mm, to_speed) = stretch.at(stretch.end_s());
        self.rest_mm = to_mm;
        (stretch.end_s(), to_mm, to_speed)
    }

    /// Rest as soon as `deceleration_mm_s2` allows.
    pub(crate) fn stop(
        time_s: f64,
        from_mm: f64,
        speed_mm_s: f64,
        deceleration_mm_s2: f64,
    ) -> Self {
        let mut profile = Self::rest(from_mm);
        profile.push(
            speed_mm_s.abs() / deceleration_mm_s2,
            -speed_mm_s.signum() * deceleration_mm_s2,
            (time_s, from_mm, speed_mm_s),
        );
        profile
    }

    /// Rest at `to_mm`, by the trapezoid that the limits allow; turns back when it cannot stop there.
    pub(crate) fn to(
        time_s: f64,
        from_mm: f64,
        speed_mm_s: f64,
        to_mm: f64,
        limits: Limits,
    ) -> Self {
        let Limits { speed_mm_s: top, acceleration_mm_s2: up, deceleration_mm_s2: down } = limits;
        let mut profile = Self::rest(from_mm);
        let mut state = (time_s, from_mm, speed_mm_s);
        let stop_mm = from_mm + speed_mm_s * speed_mm_s.abs() / (2.0 * down);
        let away = speed_mm_s * (to_mm - from_mm) < 0.0;
        let past = speed_mm_s * (to_mm - stop_mm) < -1e-9;
        if away || past {
            state = profile.push(speed_mm_s.abs() / down, -speed_mm_s.signum() * down, state);
            state.2 = 0.0;
        }
        let sign = if to_mm < state.1 { -1.0 } else { 1.0 };
        let distance = sign * (to_mm - state.1);
        let v = (sign * state.2).max(0.0);
        if v > top {
            let slowing = (v - top) / down;
            let braking = (v * v - top * top) / (2.0 * down);
            state = profile.push(slowing, -sign * down, state);
            let cruise = distance - braking - top * top / (2.0 * down);
            state = profile.push(cruise.max(0.0) / top, 0.0, (state.0, state.1, sign * top));
            profile.push(top / down, -sign * down, state);
        } else {
            let free = 2.0 * up * down / (up + down) * (distance + v * v / (2.0 * up));
            let peak = free.max(0.0).sqrt().clamp(v, top);
            let rise = (peak * peak - v * v) / (2.0 * up);
            let fall = peak * peak / (2.0 * down);
            state = profile.push((peak - v) / up, sign * up, state);
            let cruise = (distance - rise - fall).max(0.0);
            state = profile.push(cruise / peak.max(1e-9), 0.0, (state.0, state.1, sign * peak));
            profile.push(peak / down, -sign * down, state);
        }
        profile.rest_mm = to_mm;
        profile
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FEED: Limits =
        Limits { speed_mm_s: 625.0 / 60.0, acceleration_mm_s2: 100.0, deceleration_mm_s2: 100.0 };

    fn end_s(profile: &Profile) -> f64 {
        profile.stretches.last().map_or(0.0, Stretch::end_s)
    }

    #[test]
    fn a_trapezoid_takes_path_over_speed_plus_speed_over_acceleration() {
        // t = s/v + v/a: 150 mm at 10.41667 mm/s and 100 mm/s2 = 14.50417 s (computed by hand).
        let profile = Profile::to(0.0, 85.0, 0.0, 235.0, FEED);
        assert!((end_s(&profile) - 14.504_17).abs() < 1e-5);
        assert_eq!(profile.at(20.0), (235.0, 0.0));
    }

    #[test]
    fn a_short_move_is_a_triangle() {
        // s 20, v 100, a 200: t = 2 sqrt(s/a) = 0.632456 s, peak 63.2456 mm/s.
        let limits =
            Limits { speed_mm_s: 100.0, acceleration_mm_s2: 200.0, deceleration_mm_s2: 200.0 };
        let profile = Profile::to(1.0, 0.0, 0.0, -20.0, limits);
        assert!((end_s(&profile) - 1.632_456).abs() < 1e-6);
        assert!((profile.at(1.316_228).1 + 63.2456).abs() < 1e-3);
    }

    #[test]
    fn a_new_speed_is_taken_up_on_the_fly_and_the_end_stays() {
        let first = Profile::to(0.0, 0.0, 0.0, 100.0, FEED);
        let (x, v) = first.at(3.0);
        for speed_mm_s in [5.0, 20.0] {
            let second = Profile::to(3.0, x, v, 100.0, Limits { speed_mm_s, ..FEED });
            assert!((second.at(4.0).1 - speed_mm_s).abs() < 1e-9);
            assert_eq!(second.at(60.0), (100.0, 0.0));
            let stretch = second.stretches.last().unwrap();
            assert!((stretch.at(stretch.end_s()).0 - 100.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_target_too_near_to_stop_at_is_passed_and_returned_to() {
        let profile = Profile::to(0.0, 0.0, 50.0, 1.0, FEED);
        assert!((profile.at(0.5).0 - 12.5).abs() < 1e-9);
        assert_eq!(profile.at(30.0), (1.0, 0.0));
    }

    #[test]
    fn marks_are_passed_when_the_motion_says_so() {
        let profile = Profile::to(0.0, 0.0, 0.0, 100.0, FEED);
        let at = profile.passes_after(0.05, 0.25).unwrap();
        assert!((at - (2.0 * 0.25 / 100.0_f64).sqrt()).abs() < 1e-12);
        assert!((profile.at(at).0 - 0.25).abs() < 1e-9);
        assert_eq!(profile.passes_after(0.05, 50.0), None);
    }
}

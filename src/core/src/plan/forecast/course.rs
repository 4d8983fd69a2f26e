//! The part's heat through a job: the bar of the model under a torch that goes where the sequence
//! will send it.

use super::history::{History, TemperaturePoint};
use crate::model::{Bar, Flame, Source};
use crate::plan::material::elongation;
use crate::plan::motion::LegMotion;
use crate::program::{FeedPoint, Pass};
use crate::quantity::{Acceleration, Length, Range, Speed, Temperature, Time};
use crate::recipe::Substrate;
use crate::request::Trim;

/// A flame on its way goes no farther than this in one step, in its standard deviations.
const STRIDE: f64 = 0.5;
/// Longest step with a flame over the part, s.
const LIT_STEP: f64 = 0.5;
/// A wait begins with steps of this, s, each longer than the one before by a share, up to the
/// longest: heat that was given in a peak spreads at once, what follows is slow.
const FIRST_STEP: f64 = 0.25;
const STEP_GROWTH: f64 = 1.15;
const LONGEST_STEP: f64 = 10.0;

/// Where the torch parks, how fast it goes there, and where the part sensor looks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Places {
    pub park: Length,
    pub positioning: Speed,
    pub ramp: Acceleration,
    pub sensor: Length,
}

/// The part so far.
#[derive(Debug)]
pub(super) struct Course {
    bar: Bar,
    places: Places,
    torch: Length,
    now: f64,
    history: History,
    /// Places that are followed, m, with how hot each has been.
    followed: Vec<(f64, f64)>,
    /// How hot the hottest place has been since then.
    peak: f64,
}

/// Fewest and most places followed along a stretch, its ends included.
const FOLLOWED: (f64, f64) = (10.0, 200.0);

/// Rounding of a place, m.
const EDGE: f64 = 1e-9;

impl Course {
    /// A cold part, the torch at the park.
    pub(super) fn new(bar: Bar, places: Places) -> Self {
        let (torch, history) = (places.park, History::default());
        let mut course = Self {
            bar,
            places,
            torch,
            now: 0.0,
            history,
            followed: Vec::new(),
            peak: f64::NEG_INFINITY,
        };
        course.note();
        course
    }

    /// The same part as it stands, to look ahead without it.
    pub(super) fn ahead(&self) -> Self {
        let (bar, places, history) = (self.bar.clone(), self.places, History::default());
        let (torch, now) = (self.torch, self.now);
        Self { bar, places, torch, now, history, followed: self.followed.clone(), peak: self.peak }
    }

    /// Follows from now on how hot each place of a stretch gets, no farther apart than `every`.
    pub(super) fn follow(&mut self, stretch: Range<Length>, every: Length) {
        let length = metres(stretch.high - stretch.low);
        let count = (length / metres(every)).ceil().clamp(FOLLOWED.0, FOLLOWED.1);
        let mut index = 0.0;
        self.followed.clear();
        self.peak = self.bar.hottest();
        while index <= count {
            self.followed.push((metres(stretch.low) + index * length / count, f64::NEG_INFINITY));
            index += 1.0;
        }
    }

    /// How hot the coldest followed place of a stretch has been; the reading where none is followed.
    pub(super) fn wetted(&self, stretch: Range<Length>) -> Temperature {
        // What is followed at the very edge belongs to it, whatever the rounding.
        let (low, high) = (metres(stretch.low) - EDGE, metres(stretch.high) + EDGE);
        let within = self.followed.iter().filter(|(place, _)| low <= *place && *place <= high);
        let coldest = within.map(|(_, peak)| *peak).reduce(f64::min);
        coldest.map_or_else(|| self.read(), Temperature::from_celsius)
    }

    /// The followed place that has got least hot, and how hot it has been.
    pub(super) fn least_hot(&self) -> Option<(Length, Temperature)> {
        let least = self.followed.iter().min_by(|one, other| one.1.total_cmp(&other.1))?;
        Some((Length::from_mm(least.0 * 1000.0), Temperature::from_celsius(least.1)))
    }

    /// Time since the job's start.
    pub(super) const fn now(&self) -> Time {
        Time::from_s(self.now)
    }

    /// Where the torch is.
    pub(super) const fn torch(&self) -> Length {
        self.torch
    }

    /// What the part sensor sees.
    pub(super) fn seen(&self) -> Temperature {
        Temperature::from_celsius(self.bar.at(metres(self.places.sensor)))
    }

    /// What the pyrometer sees: the part at the torch.
    pub(super) fn read(&self) -> Temperature {
        Temperature::from_celsius(self.bar.at(metres(self.torch)))
    }

    /// At the hottest place.
    pub(super) fn hottest(&self) -> Temperature {
        Temperature::from_celsius(self.bar.hottest())
    }

    /// How hot the hottest place has been since a stretch is followed.
    pub(super) fn peak(&self) -> Temperature {
        Temperature::from_celsius(self.peak)
    }

    /// Where a place of the cold part lies now: what lies between it and the part's chuck-side end
    /// has grown.
    pub(super) fn grown(&self, cold: Length, substrate: Substrate) -> Length {
        let grown = self.bar.integral(metres(cold), |celsius| {
            elongation(substrate, Temperature::from_celsius(celsius))
        });
        cold + Length::from_mm(grown * 1000.0)
    }

    /// The told temperatures so far.
    pub(super) fn told(&self) -> Vec<TemperaturePoint> {
        self.history.told()
    }

    /// Along a pass from rest to rest, watched after each step; a watcher that answers `true` has
    /// seen enough, and the torch stays where it is.
    pub(super) fn cross(
        &mut self,
        motion: &LegMotion,
        flame: Option<&Source>,
        mut enough: impl FnMut(&Self) -> bool,
    ) -> bool {
        let total = motion.total();
        let way = (motion.position_at(total) - motion.position_at(Time::ZERO)).abs();
        let stride = flame.map_or(f64::INFINITY, |source| STRIDE * source.sigma_axial);
        let steps = (metres(way) / stride).max(total.s() / LIT_STEP).ceil().max(1.0);
        let mut done = 0.0;
        while done < steps {
            let end = motion.position_at(total * ((done + 1.0) / steps));
            self.step(total.s() / steps, end, flame);
            if enough(self) {
                return true;
            }
            done += 1.0;
        }
        false
    }

    /// Straight to a place at a speed.
    pub(super) fn go(
        &mut self,
        to: Length,
        at: Speed,
        flame: Option<&Source>,
        enough: impl FnMut(&Self) -> bool,
    ) -> bool {
        let feed = vec![FeedPoint { at: to, feed: at }];
        let (powder, trim) = (Vec::new(), Trim::NONE);
        let pass = Pass { from: self.torch, to, feed, powder, trim };
        self.cross(&LegMotion::new(&pass, self.places.ramp), flame, enough)
    }

    /// To the park.
    pub(super) fn park(&mut self, flame: Option<&Source>) {
        self.go(self.places.park, self.places.positioning, flame, |_| false);
    }

    /// To a place, at the positioning speed.
    pub(super) fn approach(&mut self, to: Length, flame: Option<&Source>) {
        self.go(to, self.places.positioning, flame, |_| false);
    }

    /// The torch rests where it is.
    pub(super) fn rest(&mut self, time: Time, flame: Option<&Source>) {
        let steps = (time.s() / LIT_STEP).ceil();
        let mut done = 0.0;
        while done < steps {
            self.step(time.s() / steps, self.torch, flame);
            done += 1.0;
        }
    }

    /// The part cools, the torch away from it, until something is so; whether it came to be within
    /// the time.
    pub(super) fn cool_until(&mut self, so: impl Fn(&Self) -> bool, longest: Time) -> bool {
        let ends = self.now + longest.s();
        let mut step = FIRST_STEP;
        while !so(self) {
            if self.now >= ends {
                return false;
            }
            self.step(step.min(ends - self.now).max(1e-3), self.torch, None);
            step = (step * STEP_GROWTH).min(LONGEST_STEP);
        }
        true
    }

    fn step(&mut self, time: f64, to: Length, flame: Option<&Source>) {
        if time <= 0.0 {
            self.torch = to;
            return;
        }
        let way = (metres(self.torch), metres(to));
        self.bar.step_along(time, flame.map(|source| Flame { source, way }));
        for (place, peak) in &mut self.followed {
            *peak = peak.max(self.bar.at(*place));
        }
        self.torch = to;
        self.now += time;
        self.note();
    }

    fn note(&mut self) {
        let (at, seen, hottest) = (self.now(), self.seen(), self.hottest());
        self.peak = self.peak.max(hottest.celsius());
        self.history.add(TemperaturePoint { at, seen, hottest });
    }
}

fn metres(length: Length) -> f64 {
    length.mm() * 1e-3
}

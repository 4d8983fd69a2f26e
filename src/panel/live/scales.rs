//! A value on a line, beside the window it belongs into: position tells, not colour alone.

use maud::{Markup, html};

use super::super::texts;

/// Width of the drawing, px; height of one line.
const WIDTH: f64 = 300.0;

/// The window a value belongs into, in its base unit; open on a side on which nothing bounds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    low: Option<f64>,
    high: Option<f64>,
}

impl Window {
    /// Bounded on both sides.
    pub(super) const fn between(low: f64, high: f64) -> Self {
        Self { low: Some(low), high: Some(high) }
    }

    /// With these ends; none where both are open.
    pub(super) fn of([low, high]: [Option<f64>; 2]) -> Option<Self> {
        (low.is_some() || high.is_some()).then_some(Self { low, high })
    }

    /// In words, each end as `said`.
    pub(super) fn words(self, said: impl Fn(f64) -> String) -> String {
        match (self.low.map(&said), self.high.map(&said)) {
            (Some(low), Some(high)) => format!("{low} {} {high}", texts::TO),
            (Some(low), None) => format!("{low} {}", texts::OR_MORE),
            (None, Some(high)) => format!("{high} {}", texts::OR_LESS),
            (None, None) => String::new(),
        }
    }
}

/// One value with its window.
pub(super) struct Scale {
    /// What it is.
    pub(super) name: &'static str,
    /// The value, in base units; `None` when it is not known.
    pub(super) value: Option<f64>,
    /// The window it belongs into.
    pub(super) window: Option<Window>,
    /// The ends of the line, in base units.
    pub(super) ends: (f64, f64),
    /// The value in words.
    pub(super) words: String,
    /// The window in words.
    pub(super) window_words: String,
}

/// Where a value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Where {
    Inside,
    Below,
    Above,
    Unknown,
    NoWindow,
}

impl Scale {
    fn place(&self) -> Where {
        match (self.value, self.window) {
            (None, _) => Where::Unknown,
            (Some(_), None) => Where::NoWindow,
            (Some(value), Some(Window { low: Some(low), .. })) if value < low => Where::Below,
            (Some(value), Some(Window { high: Some(high), .. })) if value > high => Where::Above,
            _ => Where::Inside,
        }
    }

    fn x(&self, value: f64) -> f64 {
        let (low, high) = self.ends;
        let share = if high > low { (value - low) / (high - low) } else { 0.0 };
        (share.clamp(0.0, 1.0) * WIDTH * 10.0).round() / 10.0
    }

    /// The line.
    pub(super) fn line(&self) -> Markup {
        let place = self.place();
        let (mark, sign, said) = match place {
            Where::Inside => ("inside", "", ""),
            Where::Below => ("outside", "\u{25bc}", texts::BELOW),
            Where::Above => ("outside", "\u{25b2}", texts::ABOVE),
            Where::Unknown => ("unknown", "?", texts::NOT_KNOWN),
            Where::NoWindow => ("free", "", ""),
        };
        html! {
            div.scale data-mark=(mark) {
                span.what { (self.name) }
                span.value { (self.words) }
                svg viewBox="0 0 300 26" preserveAspectRatio="none" aria-hidden="true" {
                    rect.track x="0" y="11" width="300" height="4" {}
                    @if let Some(Window { low, high }) = self.window {
                        @let (from, to) = (low.unwrap_or(self.ends.0), high.unwrap_or(self.ends.1));
                        rect.window x=(self.x(from)) y="4" width=((self.x(to) - self.x(from)).max(1.0))
                            height="18" {}
                    }
                    @if let Some(value) = self.value {
                        rect.pointer x=((self.x(value) - 2.5).max(0.0)) y="0" width="5" height="26" {}
                    }
                }
                span.window-words { (sign) " " (said) " " (self.window_words) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale_in(window: Window, value: Option<f64>) -> String {
        let scale = Scale {
            name: "fuel",
            value,
            window: Some(window),
            ends: (0.0, 1.0),
            words: "x".into(),
            window_words: window.words(|end| format!("{end:.2} bar")),
        };
        scale.line().into_string()
    }

    fn scale(value: Option<f64>) -> String {
        scale_in(Window::between(0.4, 0.6), value)
    }

    #[test]
    fn a_value_is_never_above_a_window_that_is_open_there_and_its_words_say_so() {
        let window = Window::of([Some(0.4), None]).unwrap();
        let far = scale_in(window, Some(0.9));
        assert!(far.contains("data-mark=\"inside\"") && far.contains("0.40 bar or more"), "{far}");
        assert!(scale_in(window, Some(0.3)).contains("\u{25bc} below"));
        assert!(far.contains("x=\"120\"") && far.contains("width=\"180\""), "to the end: {far}");
        assert_eq!(Window::of([None, None]), None);
    }

    #[test]
    fn a_value_outside_its_window_is_told_by_word_and_sign_and_not_by_colour_alone() {
        assert!(scale(Some(0.5)).contains("data-mark=\"inside\""));
        assert!(scale(Some(0.7)).contains("\u{25b2} above"));
        assert!(scale(Some(0.3)).contains("\u{25bc} below"));
        assert!(scale(None).contains("? not known"));
    }
}

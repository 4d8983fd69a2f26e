//! The fusing of a zone on the page.

use core::fmt;

use super::super::print::{WIDTH, clock, row, shortened};
use super::{BandForecast, FusingForecast};
use crate::quantity::{Length, Range, Time, fixed};
use crate::recipe::End;

impl fmt::Display for FusingForecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let from = match self.starts {
            End::ChuckSide => "chuck side",
            End::TailSide => "tail side",
        };
        let title = format!("Fusing from the {from} on, \"{}\"", self.zone);
        writeln!(f, "{}", shortened(&title, WIDTH))?;
        row(f, "heating up", &format!("oscillates at {}", self.oscillation))?;
        let drawn: Time = self.bands.iter().filter_map(|band| band.drawn).sum();
        if drawn > Time::ZERO {
            row(f, "drawing along", &format!("at {}, {} in all", self.feed, clock(drawn)))?;
        }
        let (fuel, oxygen) = (self.gas.fuel, self.gas.oxygen);
        let flows = format!("{fuel} {}, {oxygen} oxygen", self.fuel_gas);
        row(f, "gas in both", &format!("{flows}; {} net into the part", self.gas.net_power))?;
        let (low, high) = (self.window.low.celsius(), self.window.high);
        row(f, "held", &format!("{low:.0} to {high:.0}, torch away above {:.0}", self.ceiling))?;
        writeln!(
            f,
            "  {:<20}{:<22}{:>11}{:>11}{:>13}{:>15}",
            "coat, mm",
            "flame turns at, mm",
            "wet after",
            "through",
            "reads up to",
            "ceiling after"
        )?;
        for band in &self.bands {
            writeln!(f, "  {}", line(band))?;
        }
        if let (Some(least), Some(through)) = (self.at_least(), self.through()) {
            let both = format!("at least {}, {} heated through", clock(least), clock(through));
            row(f, "in all", &both)?;
            row(f, "", "unmeasured: what the first preheat takes longer, this takes too")?;
        }
        let (at, hot) = (self.least_hot_at.mm(), self.least_hot);
        row(f, "least hot place", &format!("{at:.1} mm gets to {hot:.0}"))?;
        row(f, "hottest place", &format!("gets to {:.0}", self.hottest))
    }
}

/// One band on one line.
fn line(band: &BandForecast) -> String {
    let stretch = |range: Range<Length>| {
        format!("{} to {}", fixed(range.low.mm(), 1), fixed(range.high.mm(), 1))
    };
    let reads = format!("{:.0}", band.reads.celsius());
    format!(
        "{:<20}{:<22}{:>11}{:>11}{:>13}{:>15}",
        stretch(band.band.coat),
        stretch(band.band.travel),
        told(band.at_least, "too cold"),
        told(band.through, "too cold"),
        reads,
        told(band.to_ceiling, "-"),
    )
}

fn told(time: Option<Time>, none: &str) -> String {
    time.map_or_else(|| none.to_owned(), clock)
}

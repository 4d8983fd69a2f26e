//! A taught part as the text of a new recipe.

use super::Taught;
use crate::catalogue::{Catalogue, Powder, Torch, TorchPurpose};
use crate::document::{FieldValue, Problem, Problems, Written, set, with_tables};
use crate::quantity::{Length, MassFlow, Range, Speed, Temperature};
use crate::recipe::{ProfilePoint, Substrate};

// Where a blank recipe begins, held to what the catalogue allows of the torch; all of it common
// practice, no source.

/// Powder of a spray torch, g/min.
const RATE_G_PER_MIN: f64 = 60.0;
/// Surface speed under the spraying torch, m/min.
const SPRAYED_AT_M_PER_MIN: f64 = 20.0;
/// Surface speed under the fusing torch, m/min.
const FUSED_AT_M_PER_MIN: f64 = 15.0;
/// A part of steel that hardens in air is put into lagging this hot, well above where its structure
/// turns hard.
const INTO_LAGGING: &str = "550 degC";

/// What no point says of a new part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Particulars<'a> {
    /// Title of the recipe.
    pub title: &'a str,
    /// What the part is called.
    pub part: &'a str,
    /// What it is made of; `None` leaves what the other recipe says.
    pub substrate: Option<Substrate>,
    /// Diameter of its bore; `None` for a solid part.
    pub bore: Option<Length>,
    /// The finished coat of every zone; `None` leaves what the other recipe says.
    pub finish: Option<Length>,
    /// Names of the zones, from the chuck side; a zone without one gets a number.
    pub zones: &'a [&'a str],
}

/// The text of a recipe with this geometry, made from the text of another: title, part, zones and
/// the first pass's end are set, each zone more than it has repeats its last, revision and note
/// begin anew, and everything else stays, comments included. Read it before it is kept: a
/// torch or a powder may not suit the new part.
///
/// # Errors
/// The question that is still open, and fields of the other text that cannot be set.
pub fn recipe_text(
    taught: &Taught,
    particulars: &Particulars<'_>,
    other: &str,
) -> Result<String, Problems> {
    if let Some(question) = &taught.question {
        let open = Problem::error("spray.starts", question.to_string())
            .accepted("\"chuck_side\" or \"tail_side\"");
        return Err([open].into_iter().collect());
    }
    let with_zones = with_tables(other, "zone", taught.zones.len()).ok_or_else(|| {
        let found = "the other recipe has no [[zone]] table to be repeated";
        Problems::from_iter([Problem::error("zone", found).help("take another recipe")])
    })?;
    let mut fields = Fields::default();
    fields.text("title", particulars.title);
    fields.plain("revision", "1");
    fields.text("part.name", particulars.part);
    if let Some(substrate) = particulars.substrate {
        fields.text("part.substrate", substrate.word());
    }
    if let Some(bore) = particulars.bore {
        fields.text("part.bore", &bore.to_string());
    }
    for (place, zone) in taught.zones.iter().enumerate() {
        let path = |key: &str| format!("zone[{}].{key}", place + 1);
        let named = particulars.zones.get(place).map(|name| (*name).to_owned());
        fields.text(&path("name"), &named.unwrap_or_else(|| format!("zone {}", place + 1)));
        fields.text(&path("from"), &zone.edges.low.to_string());
        fields.text(&path("to"), &zone.edges.high.to_string());
        if let Some(finish) = particulars.finish {
            fields.text(&path("finish"), &finish.to_string());
        }
    }
    if let Some(starts) = taught.starts {
        fields.text("spray.starts", starts.word());
    }
    let text = match with_tables(&with_zones, "part.profile", taught.profile.len()) {
        Some(headed) => {
            for (place, point) in taught.profile.iter().enumerate() {
                let path = |key: &str| format!("part.profile[{}].{key}", place + 1);
                fields.text(&path("at"), &point.at.to_string());
                fields.text(&path("diameter"), &point.diameter.to_string());
            }
            headed
        }
        None => {
            fields.plain("part.profile", &profile(&taught.profile));
            with_zones
        }
    };
    let text = set(&text, &fields.0)?;
    // The note and the bore are the other part's.
    let text = without(text, "note", None);
    Ok(match particulars.bore {
        Some(_) => text,
        None => without(text, "part.bore", Some("0 mm")),
    })
}

/// The text with a field left out; where it stands in one line with others, it is set to what is
/// the same as nothing.
fn without(text: String, path: &str, nothing: Option<&str>) -> String {
    if Written::of(&text).text(path).is_none() {
        return text;
    }
    let with = |value: FieldValue| set(&text, &[(path.to_owned(), value)]).ok();
    let left_out = with(FieldValue::LeftOut);
    let set_to = || nothing.and_then(|nothing| with(FieldValue::Text(nothing.to_owned())));
    left_out.or_else(set_to).unwrap_or(text)
}

/// The first torch of the catalogue that can do this.
fn first_for(catalogue: &Catalogue, purpose: TorchPurpose) -> Option<&Torch> {
    let can = |torch: &&Torch| {
        torch.purpose == purpose || torch.purpose == TorchPurpose::SprayingAndFusing
    };
    catalogue.torches.iter().find(can)
}

/// The torch that sprays in a [`blank`] recipe: what is taught for one is held against it.
#[must_use]
pub fn blank_torch(catalogue: &Catalogue) -> Option<&Torch> {
    first_for(catalogue, TorchPurpose::Spraying)
}

/// The text of a recipe that nobody has filled in: usual figures for the first powder of the
/// catalogue and the first torch that can spray it, fused by the first that can fuse; to be
/// handed to [`recipe_text`]. `None` when the catalogue has no such torch or powder.
#[must_use]
pub fn blank(catalogue: &Catalogue, substrate: Substrate) -> Option<String> {
    let powder = catalogue.powders.first()?;
    let spray = blank_torch(catalogue)?;
    let fuse = first_for(catalogue, TorchPurpose::Fusing)?;
    let mut fields = Fields::default();
    fields.text("zone[1].powder", &powder.key);
    if let Some(rates) = spray.powder_rate {
        fields.text(
            "zone[1].powder_rate",
            &MassFlow::from_g_per_min(RATE_G_PER_MIN).max(rates.low).min(rates.high).to_string(),
        );
    }
    let speed = |metres: f64, torch: &Torch| {
        let Range { low, high } = torch.surface_speed;
        let speed = Speed::from_mm_per_s(metres * 1000.0 / 60.0).max(low).min(high);
        format!("{} m/min", crate::quantity::fixed(speed.mm_per_s() * 60.0 / 1000.0, 1))
    };
    fields.text("zone[1].surface_speed", &speed(SPRAYED_AT_M_PER_MIN, spray));
    fields.text("fuse.surface_speed", &speed(FUSED_AT_M_PER_MIN, fuse));
    fields.text("spray.torch", &spray.key);
    fields.text("fuse.torch", &fuse.key);
    let middle = (spray.standoff.low + spray.standoff.high) / 2.0;
    fields.text("spray.standoff", &middle.to_string());
    temperatures(powder, &mut fields);
    if substrate == Substrate::AirHardeningSteel {
        fields.text("cool.slow", "needed");
        fields.text("cool.turn_until", INTO_LAGGING);
    }
    fields.text("part.substrate", substrate.word());
    set(include_str!("blank.toml"), &fields.0).ok()
}

/// Windows inside those of the powder: preheated a quarter above the lower end and no further than
/// halfway, so that spraying has room (common practice, no source).
fn temperatures(powder: &Powder, fields: &mut Fields) {
    let Range { low, high } = powder.spray_window;
    let share = |of: f64| {
        let celsius = low.celsius() + (high.celsius() - low.celsius()) * of;
        Temperature::from_celsius((celsius / 5.0).round() * 5.0).max(low).min(high).to_string()
    };
    fields.text("spray.window.from", &low.to_string());
    fields.text("spray.window.to", &high.to_string());
    fields.text("spray.resume_below", &share(0.67));
    fields.text("preheat.window.from", &share(0.25));
    fields.text("preheat.window.to", &share(0.5));
    let fusing = powder.fuse_window;
    fields.text("fuse.window.from", &fusing.low.to_string());
    fields.text("fuse.window.to", &fusing.high.to_string());
    // 30 K above the window, as the shipped recipes have it; arbitrary.
    let ceiling = Temperature::from_celsius(fusing.high.celsius() + 30.0);
    fields.text("fuse.ceiling", &ceiling.to_string());
}

fn profile(points: &[ProfilePoint]) -> String {
    let lines: String = points
        .iter()
        .map(|point| {
            format!("    {{ at = \"{}\", diameter = \"{}\" }},\n", point.at, point.diameter)
        })
        .collect();
    format!("[\n{lines}]")
}

/// Fields to be set.
#[derive(Default)]
struct Fields(Vec<(String, FieldValue)>);

impl Fields {
    fn text(&mut self, path: &str, value: &str) {
        self.0.push((path.to_owned(), FieldValue::Text(value.to_owned())));
    }

    fn plain(&mut self, path: &str, value: &str) {
        self.0.push((path.to_owned(), FieldValue::Plain(value.to_owned())));
    }
}

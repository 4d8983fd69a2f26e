//! From the text of a recipe to checked values.

use super::bounds;
use super::check::{self, Draft};
use super::{
    Cool, DyeCheck, End, FeedChoice, Fuse, Inspection, Part, Preheat, ProfilePoint, Recipe,
    SlowCooling, Spray, Substrate, Zone,
};
use crate::catalogue::{Catalogue, bounds as common};
use crate::document::{Document, Problem, Problems, Table};
use crate::quantity::Length;

const SUBSTRATES: &[(&str, Substrate)] = &[
    ("plain_steel", Substrate::PlainSteel),
    ("air_hardening_steel", Substrate::AirHardeningSteel),
    ("stainless_steel", Substrate::StainlessSteel),
    ("cast_iron", Substrate::CastIron),
];

const ENDS: &[(&str, End)] = &[("chuck_side", End::ChuckSide), ("tail_side", End::TailSide)];

const SLOW: &[(&str, SlowCooling)] =
    &[("not_needed", SlowCooling::NotNeeded), ("needed", SlowCooling::Needed)];

const DYE_CHECKS: &[(&str, DyeCheck)] =
    &[("not_needed", DyeCheck::NotNeeded), ("needed", DyeCheck::Needed)];

impl Substrate {
    /// All that a recipe can name.
    pub fn all() -> impl Iterator<Item = Self> {
        SUBSTRATES.iter().map(|(_, substrate)| *substrate)
    }

    /// The one that a recipe writes as `word`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::all().find(|substrate| substrate.word() == word)
    }

    /// How a recipe writes it.
    #[must_use]
    pub fn word(self) -> &'static str {
        word(SUBSTRATES, self)
    }
}

impl End {
    /// How a recipe writes it.
    #[must_use]
    pub fn word(self) -> &'static str {
        word(ENDS, self)
    }
}

fn word<T: PartialEq>(words: &[(&'static str, T)], value: T) -> &'static str {
    words.iter().find(|(_, known)| *known == value).map_or("", |(word, _)| word)
}

impl Recipe {
    /// Reads a recipe and checks it against the catalogue.
    ///
    /// # Errors
    /// [`Problems`] has all that is wrong with it, warnings included, each with its place in
    /// `text`.
    pub fn read(text: &str, catalogue: &Catalogue) -> Result<Self, Problems> {
        let (draft, mut problems) = Document::read(text, "a recipe", |root| draft(root, catalogue));
        let draft = draft.unwrap_or_default();
        problems.append(check::draft(&draft, catalogue).placed(text));
        problems.append(check::units(&draft, text).placed(text));
        if problems.forbid() {
            return Err(problems.placed(text));
        }
        draft.finish().ok_or(problems)
    }

    /// What a person should look at in this recipe, by path; [`Problems::render`] finds the
    /// lines.
    #[must_use]
    pub fn warnings(&self, catalogue: &Catalogue) -> Problems {
        check::draft(&Draft::of(self), catalogue).into_warnings()
    }
}

impl Inspection {
    /// The limits in the text of a recipe that was read before, by whatever catalogue; `None`
    /// where it has none.
    #[must_use]
    pub fn of_text(text: &str) -> Option<Self> {
        let (limits, _) = Document::read(text, "a recipe", |root| {
            root.leave_unread();
            root.optional_table("inspection", inspection)
        });
        limits.flatten()
    }
}

/// Everything of a recipe that could be read; each part is `None` when it was wrong.
fn draft(root: &mut Table<'_>, catalogue: &Catalogue) -> Option<Draft> {
    let powders: Vec<&str> = catalogue.powders.iter().map(|powder| powder.key.as_str()).collect();
    let torches: Vec<&str> = catalogue.torches.iter().map(|torch| torch.key.as_str()).collect();
    Some(Draft {
        title: root.text("title"),
        revision: root.count("revision", 1..=1_000_000, "counted from 1"),
        note: root.optional_text("note"),
        part: root.table("part", part),
        zones: root
            .tables("zone", &(1..=bounds::MOST), |table| zone(table, &powders))
            .unwrap_or_default(),
        preheat: root.table("preheat", preheat),
        spray: root.table("spray", |table| spray(table, &torches)),
        fuse: root.optional_table("fuse", |table| fuse(table, &torches)),
        cool: root.table("cool", cool),
        inspection: root.optional_table("inspection", inspection),
    })
}

fn part(table: &mut Table<'_>) -> Option<Part> {
    let name = table.text("name");
    let substrate = table.choice("substrate", SUBSTRATES);
    let profile = table.tables("profile", &(2..=bounds::MOST), point);
    let bore = table.quantity_or("bore", &bounds::BORE, Length::ZERO);
    Some(Part {
        name: name?,
        substrate: substrate?,
        profile: profile?.into_iter().collect::<Option<Vec<_>>>()?,
        bore: bore?,
    })
}

fn point(table: &mut Table<'_>) -> Option<ProfilePoint> {
    let at = table.quantity("at", &bounds::POSITION);
    let diameter = table.quantity("diameter", &bounds::DIAMETER);
    Some(ProfilePoint { at: at?, diameter: diameter? })
}

fn zone(table: &mut Table<'_>, powders: &[&str]) -> Option<Zone> {
    let name = table.text("name");
    let from = table.quantity("from", &bounds::POSITION);
    let to = table.quantity("to", &bounds::POSITION);
    let finish = table.quantity("finish", &bounds::FINISH);
    let allowance = table.quantity("allowance", &bounds::ALLOWANCE);
    let powder = table.name("powder", "powder", powders);
    let powder_rate = table.quantity("powder_rate", &common::POWDER_RATE);
    let surface_speed = table.quantity("surface_speed", &common::SURFACE_SPEED);
    let feed = feed(table);
    let overrun = table.optional_quantity("overrun", &bounds::OVERRUN);
    let passes = table.optional_count("passes", 1..=bounds::PASSES, "a zone has at least one pass");
    Some(Zone {
        name: name?,
        from: from?,
        to: to?,
        finish: finish?,
        allowance: allowance?,
        powder: powder?,
        powder_rate: powder_rate?,
        surface_speed: surface_speed?,
        feed: feed?,
        overrun: overrun?,
        passes: passes?,
    })
}

/// Exactly one of the three ways to say how fast the torch goes.
fn feed(table: &mut Table<'_>) -> Option<FeedChoice> {
    let pitch = table.optional_quantity("pitch", &bounds::PITCH);
    let feed = table.optional_quantity("feed", &common::FEED);
    let thickness = table.optional_quantity("thickness_per_pass", &bounds::THICKNESS_PER_PASS);
    match (pitch?, feed?, thickness?) {
        (Some(pitch), None, None) => Some(FeedChoice::Pitch(pitch)),
        (None, Some(feed), None) => Some(FeedChoice::Feed(feed)),
        (None, None, Some(thickness)) => Some(FeedChoice::ThicknessPerPass(thickness)),
        (None, None, None) => {
            table.report(
                Problem::error(table.path_of("feed"), "nothing says how fast the torch goes")
                    .accepted("one of `pitch`, `feed` and `thickness_per_pass`")
                    .help("add for instance `pitch = \"5 mm/turn\"`"),
            );
            None
        }
        _ => {
            table.report(
                Problem::error(table.path_of("feed"), "the feed is given in more than one way")
                    .accepted("one of `pitch`, `feed` and `thickness_per_pass`")
                    .help("keep one and delete the others"),
            );
            None
        }
    }
}

fn preheat(table: &mut Table<'_>) -> Option<Preheat> {
    let window = table.range("window", &bounds::PREHEAT);
    let soak = table.quantity("soak", &bounds::SOAK);
    let longest = table.quantity("longest", &bounds::LONGEST);
    let feed = table.quantity("feed", &common::FEED);
    Some(Preheat { window: window?, soak: soak?, longest: longest?, feed: feed? })
}

fn spray(table: &mut Table<'_>, torches: &[&str]) -> Option<Spray> {
    let torch = table.name("torch", "torch", torches);
    let standoff = table.quantity("standoff", &common::STANDOFF);
    let window = table.range("window", &common::SPRAY_TEMPERATURE);
    let resume_below = table.quantity("resume_below", &common::SPRAY_TEMPERATURE);
    let blasted_within = table.quantity("blasted_within", &bounds::BLASTED);
    let dwell = table.quantity("dwell", &bounds::DWELL);
    let starts = table.choice("starts", ENDS);
    Some(Spray {
        torch: torch?,
        standoff: standoff?,
        window: window?,
        resume_below: resume_below?,
        blasted_within: blasted_within?,
        dwell: dwell?,
        starts: starts?,
    })
}

fn fuse(table: &mut Table<'_>, torches: &[&str]) -> Option<Fuse> {
    let torch = table.name("torch", "torch", torches);
    let window = table.range("window", &common::FUSING);
    let ceiling = table.quantity("ceiling", &bounds::CEILING);
    let surface_speed = table.quantity("surface_speed", &common::SURFACE_SPEED);
    let starts = table.choice("starts", ENDS);
    let band = table.optional_quantity("band", &bounds::BAND);
    let overrun = table.optional_quantity("overrun", &bounds::OVERRUN);
    let oscillation = table.quantity("oscillation", &common::FEED);
    let feed = table.quantity("feed", &common::FEED);
    let longest = table.quantity("longest", &bounds::LONGEST);
    Some(Fuse {
        torch: torch?,
        window: window?,
        ceiling: ceiling?,
        surface_speed: surface_speed?,
        starts: starts?,
        band: band?,
        overrun: overrun?,
        oscillation: oscillation?,
        feed: feed?,
        longest: longest?,
    })
}

fn cool(table: &mut Table<'_>) -> Option<Cool> {
    let turn_until = table.quantity("turn_until", &bounds::TURN_UNTIL);
    let at_least = table.quantity("at_least", &bounds::AT_LEAST);
    let longest = table.quantity("longest", &bounds::LONGEST);
    let slow = table.choice("slow", SLOW);
    Some(Cool { turn_until: turn_until?, at_least: at_least?, longest: longest?, slow: slow? })
}

fn inspection(table: &mut Table<'_>) -> Option<Inspection> {
    let hardness = table.optional_hardness_range("hardness");
    let thickness = table.optional_range("thickness", &bounds::FINISH);
    let run_out = table.optional_quantity("run_out", &bounds::RUN_OUT);
    let dye_check = table.choice_or("dye_check", DYE_CHECKS, DyeCheck::NotNeeded);
    Some(Inspection {
        hardness: hardness?,
        thickness: thickness?,
        run_out: run_out?,
        dye_check: dye_check?,
    })
}

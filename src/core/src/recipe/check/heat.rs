//! Whether the temperatures go together: preheating, spraying, fusing and cooling, the powders
//! and the torches.

use super::super::bounds::{BELOW_SOLIDUS, STOPPED_HOT};
use super::super::{Cool, Fuse, Preheat, SlowCooling, Spray, Substrate};
use super::Draft;
use super::zone::{feed_range, speed_window};
use crate::catalogue::{Catalogue, Powder, Torch};
use crate::document::{Problem, Problems, inches};
use crate::quantity::{Temperature, Time};

pub(super) fn check(
    problems: &mut Problems,
    draft: &Draft,
    spray_torch: Option<&Torch>,
    fuse_torch: Option<&Torch>,
    catalogue: &Catalogue,
) {
    let powders: Vec<&Powder> =
        draft.zones().filter_map(|(_, zone)| catalogue.powder(&zone.powder)).collect();
    if let Some(spray) = &draft.spray {
        spraying(problems, spray, &powders, spray_torch);
    }
    if let Some(preheat) = &draft.preheat {
        preheating(problems, preheat, draft.spray.as_ref(), spray_torch);
    }
    let fuse = draft.fuse.as_ref().and_then(Option::as_ref);
    if let Some(fuse) = fuse {
        fusing(problems, fuse, &powders, fuse_torch);
    }
    if let Some(cool) = &draft.cool {
        cooling(problems, cool, fuse, &powders);
        if let Some(part) = &draft.part {
            slowly(problems, cool, part.substrate);
        }
    }
}

fn spraying(problems: &mut Problems, spray: &Spray, powders: &[&Powder], torch: Option<&Torch>) {
    for powder in powders {
        let allowed = powder.spray_window;
        let ends = [("from", spray.window.low), ("to", spray.window.high)];
        for (key, end) in ends.into_iter().filter(|(_, end)| !allowed.contains(*end)) {
            problems.push(
                Problem::error(
                    format!("spray.window.{key}"),
                    format!("{end} is outside the spray window of \"{}\"", powder.key),
                )
                .accepted(format!("{} to {} (sheet of the powder)", allowed.low, allowed.high))
                .help("below it the powder does not bond, above it the surface burns"),
            );
        }
    }
    if spray.resume_below <= spray.window.low || spray.resume_below > spray.window.high {
        problems.push(
            Problem::error(
                "spray.resume_below",
                format!("{} is not inside the spray window", spray.resume_below),
            )
            .accepted(format!("above {} and up to {}", spray.window.low, spray.window.high))
            .help("a pass that waited for the part to cool starts again below this"),
        );
    }
    let Some(torch) = torch else { return };
    if !torch.standoff.contains(spray.standoff) {
        problems.push(
            Problem::error(
                "spray.standoff",
                format!("{} is not a distance for the torch \"{}\"", spray.standoff, torch.key),
            )
            .accepted(format!("{} to {} (torch handbook)", torch.standoff.low, torch.standoff.high))
            .hint(inches(spray.standoff, |found| torch.standoff.contains(found)))
            .help_if_none("change the stand-off, or the torch"),
        );
    }
    dwell(problems, spray.dwell, torch);
}

fn dwell(problems: &mut Problems, dwell: Time, torch: &Torch) {
    if dwell > torch.longest_dwell {
        problems.push(
            Problem::error("spray.dwell", format!("the flame would rest {dwell} at each turn"))
                .accepted(format!(
                    "at most {} for the torch \"{}\"",
                    torch.longest_dwell, torch.key
                ))
                .help("shorten it: the part overheats where the torch turns"),
        );
    }
}

fn preheating(
    problems: &mut Problems,
    preheat: &Preheat,
    spray: Option<&Spray>,
    torch: Option<&Torch>,
) {
    if let Some(spray) = spray {
        let ends = [("from", preheat.window.low), ("to", preheat.window.high)];
        for (key, end) in ends.into_iter().filter(|(_, end)| !spray.window.contains(*end)) {
            problems.push(
                Problem::error(
                    format!("preheat.window.{key}"),
                    format!("{end} is outside the window the part is sprayed in"),
                )
                .accepted(format!(
                    "{} to {}, as spray.window says",
                    spray.window.low, spray.window.high
                ))
                .help("a preheated part must be ready for powder: change one of the two windows"),
            );
        }
    }
    if preheat.soak > preheat.longest {
        problems.push(
            Problem::error(
                "preheat.soak",
                format!("the soak of {} is longer than preheating may last", preheat.soak),
            )
            .accepted(format!("at most {}, as preheat.longest says", preheat.longest))
            .help("shorten the soak or lengthen preheat.longest"),
        );
    }
    if let Some(torch) = torch {
        feed_range(problems, "preheat.feed", preheat.feed, torch, "the feed is");
    }
}

fn fusing(problems: &mut Problems, fuse: &Fuse, powders: &[&Powder], torch: Option<&Torch>) {
    for powder in powders {
        if fuse.window.low < powder.solidus {
            problems.push(
                Problem::error(
                    "fuse.window.from",
                    format!(
                        "fusing begins at {}, below the solidus {} of \"{}\"",
                        fuse.window.low, powder.solidus, powder.key
                    ),
                )
                .accepted(format!(
                    "{} to {} (sheet of the powder)",
                    powder.fuse_window.low, powder.fuse_window.high
                ))
                .help("below the solidus nothing melts and the coat stays porous"),
            );
        }
        let ends = [("from", fuse.window.low), ("to", fuse.window.high)];
        for (key, end) in ends.into_iter().filter(|(_, end)| !powder.fuse_window.contains(*end)) {
            problems.push(
                Problem::warning(
                    format!("fuse.window.{key}"),
                    format!("{end} is outside the fusing window of \"{}\"", powder.key),
                )
                .accepted(format!(
                    "{} to {} (sheet of the powder)",
                    powder.fuse_window.low, powder.fuse_window.high
                ))
                .help("the pyrometer only guides; the person calls the coat wet"),
            );
        }
    }
    if fuse.ceiling <= fuse.window.high {
        problems.push(
            Problem::error(
                "fuse.ceiling",
                format!("the ceiling {} is not above the fusing window", fuse.ceiling),
            )
            .accepted(format!("above {}, where fuse.window ends", fuse.window.high))
            .help("above the ceiling the torch is withdrawn; leave room for the pyrometer"),
        );
    }
    if let Some(torch) = torch {
        speed_window(problems, "fuse.surface_speed", fuse.surface_speed, torch);
        feed_range(
            problems,
            "fuse.oscillation",
            fuse.oscillation,
            torch,
            "the oscillation runs at",
        );
        feed_range(problems, "fuse.feed", fuse.feed, torch, "the feed is");
        if let Some(band) = fuse.band.filter(|band| *band < torch.flame) {
            problems.push(
                Problem::warning(
                    "fuse.band",
                    format!("a band of {band} is narrower than the flame"),
                )
                .accepted(format!(
                    "at least {}: the spread of the flame of \"{}\"",
                    torch.flame, torch.key
                ))
                .help("a narrow band heats its neighbours as well"),
            );
        }
    }
}

fn cooling(problems: &mut Problems, cool: &Cool, fuse: Option<&Fuse>, powders: &[&Powder]) {
    if cool.longest < cool.at_least {
        problems.push(
            Problem::error(
                "cool.longest",
                format!("{} is shorter than the shortest time, {}", cool.longest, cool.at_least),
            )
            .accepted(format!("at least {}, as cool.at_least says", cool.at_least))
            .help("after this time a person is asked"),
        );
    }
    if fuse.is_none() {
        return;
    }
    let solid = powders.iter().map(|powder| powder.solidus).reduce(Temperature::min);
    if let Some(solidus) = solid {
        let limit = solidus - Temperature::from_celsius(BELOW_SOLIDUS);
        if cool.turn_until > limit {
            problems.push(
                Problem::error(
                    "cool.turn_until",
                    format!(
                        "the spindle would stop at {}, with the coat hardly solid",
                        cool.turn_until
                    ),
                )
                .accepted(format!("at most {limit}: 50 K below the solidus {solidus}"))
                .help("a soft coat sags on a part that stands still"),
            );
        } else if cool.turn_until > STOPPED_HOT {
            problems.push(
                Problem::warning(
                    "cool.turn_until",
                    format!(
                        "the spindle stops at {}, with the part still glowing",
                        cool.turn_until
                    ),
                )
                .accepted(format!("{STOPPED_HOT} or less for shafts (common practice, no source)"))
                .help("a long hot part bows when it stands still; a coupon may"),
            );
        }
    }
}

fn slowly(problems: &mut Problems, cool: &Cool, substrate: Substrate) {
    if substrate == Substrate::AirHardeningSteel && cool.slow == SlowCooling::NotNeeded {
        problems.push(
            Problem::error("cool.slow", "a steel that hardens in air would cool in still air")
                .accepted("\"needed\" for air_hardening_steel: the coat cracks otherwise")
                .help("write slow = \"needed\"; the part goes into lagging at cool.turn_until"),
        );
    }
}

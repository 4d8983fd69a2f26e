//! Whether the entries of the catalogue agree with themselves and with each other.

use super::bounds;
use super::{Carrier, Catalogue, FuelGas, Powder, Torch, TorchPurpose};
use crate::document::{Problem, Problems};

/// Shrink by fusing that is usual.
const USUAL_SHRINK: core::ops::RangeInclusive<f64> = 0.10..=0.25;

/// A key is a short lower-case name, and no two are the same.
pub(super) fn key(problems: &mut Problems, path: &str, key: &str, before: &mut Vec<String>) {
    let path = format!("{path}.key");
    let plain = key
        .chars()
        .all(|letter| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '-');
    if !plain || key.len() > 40 {
        problems.push(
            Problem::error(&*path, format!("\"{key}\" is no key"))
                .accepted("at most 40 lower-case letters a to z, digits and `-`")
                .help("the title is for people; the key is what recipes say"),
        );
    }
    if before.iter().any(|known| known == key) {
        problems.push(
            Problem::error(path, format!("the key \"{key}\" is used twice"))
                .accepted("a key of its own for each entry of a kind, over all files")
                .help("rename one of the two"),
        );
    }
    before.push(key.to_owned());
}

pub(super) fn powder(problems: &mut Problems, path: &str, powder: &Powder) {
    if powder.density_fused <= powder.density_as_sprayed {
        problems.push(
            Problem::error(
                format!("{path}.density_fused"),
                format!(
                    "the fused coat is not denser than the sprayed one: {} against {}",
                    powder.density_fused, powder.density_as_sprayed
                ),
            )
            .accepted("a density above that of the coat as sprayed, since fusing closes the pores")
            .help("exchange the two if they are reversed"),
        );
    }
    let shrink = 1.0 - powder.density_as_sprayed / powder.density_fused;
    if shrink > 0.0 && !USUAL_SHRINK.contains(&shrink) {
        problems.push(
            Problem::warning(
                format!("{path}.density_as_sprayed"),
                format!("the two densities mean a shrink by fusing of {:.1} %", shrink * 100.0),
            )
            .accepted("10 to 25 % is usual (common practice, no source)")
            .help("measure a coat before and after fusing"),
        );
    }
    if powder.liquidus <= powder.solidus {
        problems.push(
            Problem::error(
                format!("{path}.liquidus"),
                format!(
                    "the liquidus {} is not above the solidus {}",
                    powder.liquidus, powder.solidus
                ),
            )
            .accepted("a liquidus above the solidus")
            .help("exchange the two if they are reversed"),
        );
    }
    if powder.fuse_window.low < powder.solidus {
        problems.push(
            Problem::error(
                format!("{path}.fuse_window.from"),
                format!(
                    "fusing begins at {}, below the solidus {}",
                    powder.fuse_window.low, powder.solidus
                ),
            )
            .accepted("a window above the solidus: below it nothing melts")
            .help("raise `from`, or correct the solidus"),
        );
    }
}

pub(super) fn torch(problems: &mut Problems, path: &str, torch: &Torch, catalogue: &Catalogue) {
    if torch.purpose == TorchPurpose::Fusing && torch.powder_rate.is_some() {
        problems.push(
            Problem::error(
                format!("{path}.powder_rate"),
                "a torch that only heats carries no powder",
            )
            .accepted("`powder_rate` for torches that spray")
            .help("delete the line, or change `purpose`"),
        );
    }
    if torch.carrier == Carrier::Oxygen && torch.purpose != TorchPurpose::Fusing {
        problems.push(
            Problem::warning(
                format!("{path}.carrier"),
                "the carrier is oxygen: it does not purge after the fuel is shut",
            )
            .accepted("oxygen only where the torch's handbook says so")
            .help("the hose keeps its powder after a stop; clear it by hand before lighting"),
        );
    }
    match catalogue.fuel_gas(&torch.fuel_gas) {
        None => {
            let known: Vec<&str> =
                catalogue.fuel_gases.iter().map(|gas| gas.key.as_str()).collect();
            problems.push(
                Problem::error(
                    format!("{path}.fuel_gas"),
                    format!("no fuel gas is called \"{}\"", torch.fuel_gas),
                )
                .accepted(format!("the keys of the [[fuel_gas]] tables: {}", known.join(", ")))
                .help("add a [[fuel_gas]] table or use one of these"),
            );
        }
        Some(gas) => with_gas(problems, path, torch, gas),
    }
}

fn with_gas(problems: &mut Problems, path: &str, torch: &Torch, gas: &FuelGas) {
    if torch.fuel_pressure > gas.highest_pressure {
        problems.push(
            Problem::error(
                format!("{path}.fuel_pressure"),
                format!("{} is above what {} may be used at", torch.fuel_pressure, gas.title),
            )
            .accepted(format!("at most {}", gas.highest_pressure))
            .help("lower it to the torch handbook's figure"),
        );
    }
    let used = match torch.purpose {
        TorchPurpose::Spraying => [Some(("spraying", torch.spraying)), None],
        TorchPurpose::Fusing => [None, Some(("fusing", torch.fusing))],
        TorchPurpose::SprayingAndFusing => {
            [Some(("spraying", torch.spraying)), Some(("fusing", torch.fusing))]
        }
    };
    for (name, setting) in used.into_iter().flatten() {
        let burnt = setting.heat(gas);
        if setting.net_power >= burnt {
            problems.push(
                Problem::error(
                    format!("{path}.{name}.net_power"),
                    format!(
                        "{} into the part is more than the gas gives, {burnt:.1}",
                        setting.net_power
                    ),
                )
                .accepted("a part of the heat of the fuel; a tenth to a third is usual")
                .help("correct the power or the fuel flow"),
            );
        } else if burnt > bounds::WATCHED_POWER {
            problems.push(
                Problem::warning(
                    format!("{path}.{name}.fuel"),
                    format!("the flame gives {burnt:.1}, more than {}", bounds::WATCHED_POWER),
                )
                .accepted(
                    "up to 70 kW a flame may be watched by its operator (EN 746-2, a guide here)",
                )
                .help("such a flame needs automatic burner control: only a rig with it takes a recipe for it"),
            );
        }
    }
}

pub(super) fn gas(problems: &mut Problems, path: &str, gas: &FuelGas) {
    if gas.key.contains("acetylene") && gas.highest_pressure > bounds::ACETYLENE {
        problems.push(
            Problem::error(
                format!("{path}.highest_pressure"),
                format!(
                    "{} is too high for acetylene, which may decompose by itself",
                    gas.highest_pressure
                ),
            )
            .accepted(format!("at most {} gauge (15 psig)", bounds::ACETYLENE))
            .help("no file can raise this limit"),
        );
    }
}

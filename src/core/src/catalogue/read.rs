//! From the text of the catalogue's files to checked values.

use super::bounds;
use super::check;
use super::{
    Carrier, Catalogue, FuelGas, GasSetting, LightingRules, Powder, ShutOrder, Torch, TorchPurpose,
};
use crate::document::{Document, Problem, Problems, ProblemsByFile, Table};
use crate::quantity::Time;

/// The most entries of one kind in a file.
const MOST: usize = 200;

const PURPOSES: &[(&str, TorchPurpose)] = &[
    ("spraying", TorchPurpose::Spraying),
    ("fusing", TorchPurpose::Fusing),
    ("spraying_and_fusing", TorchPurpose::SprayingAndFusing),
];

const CARRIERS: &[(&str, Carrier)] = &[("air", Carrier::Air), ("oxygen", Carrier::Oxygen)];

const SHUT_ORDERS: &[(&str, ShutOrder)] = &[
    ("together", ShutOrder::Together),
    ("fuel_first", ShutOrder::FuelFirst),
    ("oxygen_first", ShutOrder::OxygenFirst),
];

/// What one file holds, before it is checked against the others.
#[derive(Default)]
struct Entries {
    powders: Vec<Option<Powder>>,
    torches: Vec<Option<Torch>>,
    gases: Vec<Option<FuelGas>>,
}

impl Catalogue {
    /// Reads the catalogue from its files, each given by name and text. Any file may hold
    /// `[[powder]]`, `[[torch]]` and `[[fuel_gas]]` tables.
    ///
    /// # Errors
    /// [`ProblemsByFile`] has all that is wrong, warnings included.
    pub fn read(files: &[(&str, &str)]) -> Result<Self, ProblemsByFile> {
        let (catalogue, problems) = read_all(files);
        if problems.forbid() { Err(problems) } else { Ok(catalogue) }
    }

    /// What a person should look at in files that [`Catalogue::read`] accepts.
    #[must_use]
    pub fn warnings(files: &[(&str, &str)]) -> ProblemsByFile {
        read_all(files).1
    }
}

fn read_all(files: &[(&str, &str)]) -> (Catalogue, ProblemsByFile) {
    let mut problems = ProblemsByFile::default();
    let mut catalogue = Catalogue::default();
    let mut read = Vec::new();
    for (name, text) in files {
        let (entries, found) =
            Document::read(text, "tables [[powder]], [[torch]] and [[fuel_gas]]", entries);
        problems.push(name, found);
        read.push((*name, *text, entries.unwrap_or_default()));
    }
    for (_, _, entries) in &read {
        catalogue.fuel_gases.extend(entries.gases.iter().flatten().cloned());
    }
    for (name, text, entries) in read {
        let found = check_file(&entries, &catalogue);
        problems.push(name, found.placed(text));
        catalogue.powders.extend(entries.powders.into_iter().flatten());
        catalogue.torches.extend(entries.torches.into_iter().flatten());
    }
    (catalogue, problems)
}

/// The entries of one file against each other and against `before`: the fuel gases of all files
/// and the powders and torches of the files in front of it.
fn check_file(entries: &Entries, before: &Catalogue) -> Problems {
    let mut problems = Problems::default();
    let mut keys: Vec<String> = before.powders.iter().map(|powder| powder.key.clone()).collect();
    for (place, powder) in entries.powders.iter().enumerate() {
        let path = format!("powder[{}]", place + 1);
        if let Some(powder) = powder {
            check::key(&mut problems, &path, &powder.key, &mut keys);
            check::powder(&mut problems, &path, powder);
        }
    }
    let mut keys: Vec<String> = before.torches.iter().map(|torch| torch.key.clone()).collect();
    for (place, torch) in entries.torches.iter().enumerate() {
        let path = format!("torch[{}]", place + 1);
        if let Some(torch) = torch {
            check::key(&mut problems, &path, &torch.key, &mut keys);
            check::torch(&mut problems, &path, torch, before);
        }
    }
    let mut keys = Vec::new();
    for (place, gas) in entries.gases.iter().enumerate() {
        let path = format!("fuel_gas[{}]", place + 1);
        if let Some(gas) = gas {
            check::key(&mut problems, &path, &gas.key, &mut keys);
            check::gas(&mut problems, &path, gas);
        }
    }
    problems
}

fn entries(root: &mut Table<'_>) -> Option<Entries> {
    let powders = root.tables("powder", &(0..=MOST), powder);
    let torches = root.tables("torch", &(0..=MOST), torch);
    let gases = root.tables("fuel_gas", &(0..=MOST), gas);
    let entries = Entries { powders: powders?, torches: torches?, gases: gases? };
    if entries.powders.is_empty() && entries.torches.is_empty() && entries.gases.is_empty() {
        root.report(
            Problem::error("", "this file has nothing of a catalogue")
                .accepted("tables [[powder]], [[torch]] and [[fuel_gas]]")
                .help("is it the right file? An empty catalogue file can be deleted"),
        );
    }
    Some(entries)
}

fn powder(table: &mut Table<'_>) -> Option<Powder> {
    let key = table.text("key");
    let title = table.text("title");
    let density_as_sprayed = table.quantity("density_as_sprayed", &bounds::DENSITY_AS_SPRAYED);
    let density_fused = table.quantity("density_fused", &bounds::DENSITY_FUSED);
    let efficiency = table.quantity("efficiency", &bounds::EFFICIENCY);
    let spray_window = table.range("spray_window", &bounds::SPRAY_TEMPERATURE);
    let solidus = table.quantity("solidus", &bounds::MELTING);
    let liquidus = table.quantity("liquidus", &bounds::MELTING);
    let fuse_window = table.range("fuse_window", &bounds::FUSING);
    let thickest = table.quantity("thickest", &bounds::THICKNESS);
    Some(Powder {
        key: key?,
        title: title?,
        density_as_sprayed: density_as_sprayed?,
        density_fused: density_fused?,
        efficiency: efficiency?,
        spray_window: spray_window?,
        solidus: solidus?,
        liquidus: liquidus?,
        fuse_window: fuse_window?,
        thickest: thickest?,
    })
}

fn torch(table: &mut Table<'_>) -> Option<Torch> {
    let key = table.text("key");
    let title = table.text("title");
    let purpose = table.choice("purpose", PURPOSES);
    let plume = table.quantity("plume", &bounds::SPREAD);
    let flame = table.quantity("flame", &bounds::SPREAD);
    let standoff = table.range("standoff", &bounds::STANDOFF);
    let surface_speed = table.range("surface_speed", &bounds::SURFACE_SPEED);
    let powder_rate = if table.has("powder_rate") || purpose.is_some_and(sprays) {
        table.range("powder_rate", &bounds::POWDER_RATE).map(Some)
    } else {
        Some(None)
    };
    let feed = table.range("feed", &bounds::FEED);
    let powder_delay_on = delay(table, "powder_delay_on", purpose);
    let powder_delay_off = delay(table, "powder_delay_off", purpose);
    let powder_rise = delay(table, "powder_rise", purpose);
    let (spraying, fusing) = settings(table, purpose).unzip();
    let fuel_pressure = table.quantity("fuel_pressure", &bounds::GAS_PRESSURE);
    let oxygen_pressure = table.quantity("oxygen_pressure", &bounds::GAS_PRESSURE);
    let carrier_pressure = table.quantity("carrier_pressure", &bounds::GAS_PRESSURE);
    let carrier = table.choice("carrier", CARRIERS);
    let fuel_gas = table.text("fuel_gas");
    let lighting = table.table("lighting", lighting);
    let shut_order = table.choice("shut_order", SHUT_ORDERS);
    let shut_lag = table.quantity("shut_lag", &bounds::SHUT_LAG);
    let purge_after = table.quantity("purge_after", &bounds::PURGE);
    let longest_dwell = table.quantity("longest_dwell", &bounds::DWELL);
    Some(Torch {
        key: key?,
        title: title?,
        purpose: purpose?,
        plume: plume?,
        flame: flame?,
        standoff: standoff?,
        surface_speed: surface_speed?,
        powder_rate: powder_rate?,
        feed: feed?,
        powder_delay_on: powder_delay_on?,
        powder_delay_off: powder_delay_off?,
        powder_rise: powder_rise?,
        spraying: spraying?,
        fusing: fusing?,
        fuel_pressure: fuel_pressure?,
        oxygen_pressure: oxygen_pressure?,
        carrier_pressure: carrier_pressure?,
        carrier: carrier?,
        fuel_gas: fuel_gas?,
        lighting: lighting?,
        shut_order: shut_order?,
        shut_lag: shut_lag?,
        purge_after: purge_after?,
        longest_dwell: longest_dwell?,
    })
}

/// A delay of the powder; a torch that only heats has none.
fn delay(table: &mut Table<'_>, key: &'static str, purpose: Option<TorchPurpose>) -> Option<Time> {
    match purpose {
        Some(TorchPurpose::Fusing) => table.quantity_or(key, &bounds::POWDER_DELAY, Time::ZERO),
        _ => table.quantity(key, &bounds::POWDER_DELAY),
    }
}

/// Whether a torch of this purpose sprays.
fn sprays(purpose: TorchPurpose) -> bool {
    !matches!(purpose, TorchPurpose::Fusing)
}

/// The settings for spraying and for fusing. A torch for one of the two has one setting, which
/// then stands for both: preheating with a fusing torch runs on its only setting.
fn settings(
    table: &mut Table<'_>,
    purpose: Option<TorchPurpose>,
) -> Option<(GasSetting, GasSetting)> {
    let one = |setting: GasSetting| (setting, setting);
    let Some(purpose) = purpose else {
        table.leave_unread();
        return None;
    };
    match purpose {
        TorchPurpose::Spraying => table.table("spraying", setting).map(one),
        TorchPurpose::Fusing => table.table("fusing", setting).map(one),
        TorchPurpose::SprayingAndFusing => {
            let spraying = table.table("spraying", setting);
            let fusing = table.table("fusing", setting);
            Some((spraying?, fusing?))
        }
    }
}

fn setting(table: &mut Table<'_>) -> Option<GasSetting> {
    let fuel = table.quantity("fuel", &bounds::GAS);
    let oxygen = table.quantity("oxygen", &bounds::GAS);
    let net_power = table.quantity("net_power", &bounds::NET_POWER);
    Some(GasSetting { fuel: fuel?, oxygen: oxygen?, net_power: net_power? })
}

fn lighting(table: &mut Table<'_>) -> Option<LightingRules> {
    let purge = table.quantity("purge", &bounds::PURGE);
    let trial = table.quantity("trial", &bounds::TRIAL);
    let wait = table.quantity("wait", &bounds::WAIT);
    let tries = table.count("tries", 1..=3, "three tries, then somebody looks for the reason");
    let proving = table.quantity("proving", &bounds::PROVING);
    Some(LightingRules {
        purge: purge?,
        trial: trial?,
        wait: wait?,
        tries: tries?,
        proving: proving?,
    })
}

fn gas(table: &mut Table<'_>) -> Option<FuelGas> {
    let key = table.text("key");
    let title = table.text("title");
    let highest_pressure = table.quantity("highest_pressure", &bounds::GAS_PRESSURE);
    let kilojoule_per_litre = table.number("kilojoule_per_litre", &bounds::HEATING_VALUE);
    let draw_per_hour = table.optional_quantity("draw_per_hour", &bounds::DRAW);
    Some(FuelGas {
        key: key?,
        title: title?,
        highest_pressure: highest_pressure?,
        kilojoule_per_litre: kilojoule_per_litre?,
        draw_per_hour: draw_per_hour?,
    })
}

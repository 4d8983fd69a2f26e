//! What the devices said, in the words and units of the machine.

use evenpass_core::cia402::PowerState;
use evenpass_core::devices::{DeviceId, Finding, Read, Survey, SurveyItem};
use evenpass_core::image::{Analogue, Coil, Contact, Failure, Inputs, Kind, Level, Referenced};
use evenpass_core::rig::Rig;

use crate::cli::sheet::{Layout, Sheet};

/// One value.
pub(super) struct Value {
    pub(super) device: DeviceId,
    pub(super) name: String,
    pub(super) text: String,
}

/// All values, two side by side.
pub(super) fn sheet(rig: &Rig, survey: &Survey) -> Sheet {
    let columns = [("", Layout::Word), ("", Layout::Word), ("", Layout::Word), ("", Layout::Word)];
    let mut sheet = Sheet::new(0, &columns);
    for pair in values(rig, survey).chunks(2) {
        sheet.row(pair.iter().flat_map(|value| [value.name.clone(), value.text.clone()]));
    }
    sheet
}

/// What answered, as the controller would understand it.
pub(super) fn values(rig: &Rig, survey: &Survey) -> Vec<Value> {
    let inputs = survey.inputs();
    survey
        .items()
        .iter()
        .filter(|item| matches!(item.finding, Finding::Answered { .. }))
        .flat_map(|item| {
            let pairs = match (item.device, item.read) {
                (_, Read::Contacts) => contacts(rig, &inputs),
                (_, Read::Registers) => registers(rig, &inputs),
                (_, Read::Coils) => coils(rig, survey),
                (_, Read::Settings) => vec![settings(item)],
                (DeviceId::Axis, Read::State) => carriage(&inputs),
                (_, Read::State) => spindle_drive(&inputs),
            };
            pairs.into_iter().map(|(name, text)| Value { device: item.device, name, text })
        })
        .collect()
}

type Pair = (String, String);

fn contacts(rig: &Rig, inputs: &Inputs) -> Vec<Pair> {
    let fitted = |tag: &Contact| {
        rig.field.contacts.iter().any(|contact| contact.tag == *tag && contact.input.is_some())
    };
    let text = |tag: &Contact| match inputs.contact(*tag).value {
        Level::On => "on",
        Level::Off => "off",
    };
    Contact::ALL
        .iter()
        .filter(|tag| fitted(tag))
        .map(|tag| (tag.title().to_owned(), text(tag).to_owned()))
        .collect()
}

fn registers(rig: &Rig, inputs: &Inputs) -> Vec<Pair> {
    let fitted = |tag: &Analogue| {
        rig.field.analogues.iter().any(|input| input.tag == *tag && input.register.is_some())
    };
    let mut pairs: Vec<Pair> = Analogue::ALL
        .iter()
        .filter(|tag| fitted(tag))
        .map(|tag| {
            let signal = inputs.analogue(*tag);
            let text = match signal.kind {
                Kind::Failed(why) => failure(why).to_owned(),
                _ => format!("{:.2} {}", signal.value, tag.unit()),
            };
            (tag.title().to_owned(), text)
        })
        .collect();
    let text = match inputs.spindle.kind {
        Kind::Failed(why) => failure(why).to_owned(),
        _ => format!("{:.1}", inputs.spindle.value.measured),
    };
    pairs.push(("spindle, by its tachometer".to_owned(), text));
    pairs
}

fn coils(rig: &Rig, survey: &Survey) -> Vec<Pair> {
    let fitted = |coil: &Coil| {
        rig.field.coils.iter().any(|wired| wired.coil == *coil && wired.output.is_some())
    };
    let energised: Vec<&str> = Coil::ALL
        .iter()
        .filter(|coil| fitted(coil) && survey.coil(**coil) == Some(Level::On))
        .map(|coil| coil.title())
        .collect();
    let text = if energised.is_empty() { "none".to_owned() } else { energised.join(", ") };
    vec![("outputs energised".to_owned(), text)]
}

fn carriage(inputs: &Inputs) -> Vec<Pair> {
    let reading = inputs.axis.value;
    let referenced = match reading.referenced {
        Referenced::Yes => format!("{:.2} from the chuck face", reading.position),
        Referenced::No => "not referenced".to_owned(),
    };
    let mut pairs = vec![
        ("carriage drive".to_owned(), power(reading.power).to_owned()),
        ("carriage".to_owned(), referenced),
    ];
    if reading.fault_code != 0 {
        pairs.push(("carriage fault".to_owned(), format!("code {:#06x}", reading.fault_code)));
    }
    pairs
}

fn spindle_drive(inputs: &Inputs) -> Vec<Pair> {
    let text = match inputs.inverter_ok.value {
        Level::On => "no fault, run latch closed",
        Level::Off => "fault, or run latch open",
    };
    vec![("spindle drive".to_owned(), text.to_owned())]
}

/// What the device does when the controller falls silent: as the rig file wants it, or not.
fn settings(item: &SurveyItem) -> Pair {
    let text = if item.differs() {
        format!("{:?}, NOT {:?} as the rig file", item.values, item.wanted)
    } else {
        "as the rig file".to_owned()
    };
    (format!("{}, loss settings", item.device), text)
}

const fn power(state: PowerState) -> &'static str {
    match state {
        PowerState::NotReadyToSwitchOn => "initialising",
        PowerState::SwitchOnDisabled => "switch on disabled",
        PowerState::ReadyToSwitchOn => "ready to switch on",
        PowerState::SwitchedOn => "switched on",
        PowerState::OperationEnabled => "operation enabled",
        PowerState::QuickStopActive => "quick stop active",
        PowerState::FaultReactionActive => "fault reaction active",
        PowerState::Fault => "fault",
        PowerState::Unknown => "in no known state",
    }
}

const fn failure(why: Failure) -> &'static str {
    match why {
        Failure::NeverRead => "never read",
        Failure::BrokenWire => "broken wire",
        Failure::ShortCircuit => "short circuit",
        Failure::Uncertain => "current out of range",
        Failure::Frozen => "standing still",
        Failure::Refused => "refused",
        Failure::Implausible => "implausible",
    }
}

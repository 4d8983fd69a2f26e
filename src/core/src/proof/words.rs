//! What a proof says: expected, found, and of a failure what is wrong and where to look.

use core::time::Duration;

use super::result::{Effect, Failing};
use crate::image::Coil;
use crate::interlock::matrix::Row;
use crate::interlock::{Class, Occurrence};

/// What must come about.
pub(super) fn expected(row: &Row, effects: &[Effect]) -> String {
    let latched = match row.class {
        Class::Trip => "trip",
        Class::Hold => "hold, powder refused",
        Class::Stop => "stop, powder refused",
        Class::Warn => "warning",
    };
    let rest = effects.iter().filter(|effect| **effect != Effect::Latched).map(|e| effect(*e));
    let all: Vec<String> = core::iter::once(latched.to_owned()).chain(rest).collect();
    all.join(", ")
}

/// One effect.
fn effect(effect: Effect) -> String {
    match effect {
        Effect::Latched => "latched".to_owned(),
        Effect::CoilOff(coil) => format!("{} off", coil.title()),
        Effect::Shut(contact) => format!("{} by its contact", contact.title()),
        Effect::NoTorque => "drive without torque".to_owned(),
        Effect::RelayDropped => "watchdog relay dropped".to_owned(),
    }
}

/// What a proof that passed found: the row's own words.
pub(super) fn passed(occurrence: Option<&Occurrence>, effects: &[Effect]) -> String {
    let words = occurrence.map_or("", |occurrence| occurrence.message.as_str());
    let seen = effects.iter().filter(|effect| **effect != Effect::Latched).map(|e| effect(*e));
    let seen: Vec<String> = seen.collect();
    if seen.is_empty() { words.to_owned() } else { format!("{words}; {}", seen.join(", ")) }
}

/// What is wrong, and where to look.
pub(super) fn failed(
    failing: &Failing,
    row: &Row,
    occurrence: Option<&Occurrence>,
    limit: Duration,
) -> String {
    let title = row.title;
    let s = |span: Duration| format!("{:.2} s", span.as_secs_f64());
    let told =
        occurrence.map_or_else(String::new, |occurrence| format!(" ({})", occurrence.message));
    match failing {
        Failing::NotHealthy => format!(
            "the device did not read healthy before the act, so that nothing could be proved: {}",
            row.advice
        ),
        Failing::LatchedBefore => format!(
            "\"{title}\" was latched before anybody acted{told}, so that nothing could be proved: \
             put its device in order, leave proving, and prove again"
        ),
        Failing::NotOpened(coil) => format!(
            "the {valve} was told to open, and is not seen open: its coil is not acknowledged, or \
             its shut contact still says shut. Look at the {valve}'s coil, wire and contact",
            valve = coil.title()
        ),
        Failing::NoTorque => "the drive was asked for torque and reports none: look at its \
                              supply, its enable and the wired circuit"
            .to_owned(),
        Failing::NotSeen => format!(
            "nothing was seen of the act: the contact or sensor of \"{title}\" is stuck, its wire \
             is bridged or ends elsewhere, or the act was not done. A real one would not be seen \
             either"
        ),
        Failing::SeenLate { after, within } => format!(
            "the act was seen {} after it was done, expected within {}: the contact or sensor of \
             \"{title}\" is slow, or a filter sits in its way",
            s(*after),
            s(*within)
        ),
        Failing::NotLatched => format!(
            "the input was seen and \"{title}\" did not latch: the condition did not last, or the \
             row's figures are wrong"
        ),
        Failing::NoEffect(Effect::Shut(contact)) => {
            let valve = if *contact == crate::image::Contact::FuelShut {
                Coil::Fuel.title()
            } else {
                Coil::Oxygen.title()
            };
            format!(
                "tripped{told}, the {valve}'s coil was switched off, and the valve is not seen \
                 shut: the valve sticks, its coil has current from elsewhere, or its shut contact \
                 is broken. Do not turn gas on before that is mended"
            )
        }
        Failing::NoEffect(missing) => format!(
            "latched{told}, and this did not follow within {}: {}",
            s(limit),
            effect(*missing)
        ),
        Failing::TooSlow(late) => format!(
            "latched{told}, and this came later than {}: {}. Look at what is slow: valve, relay, \
             contact or line",
            s(limit),
            effect(*late)
        ),
        Failing::OtherFirst { key, message } => {
            format!("another cause came first, `{key}`: {message}. Clear it, then prove again")
        }
        Failing::ProvingEnded => "proving ended before there was a result: its time was over, \
                                  gas no longer reads as vented, the key was turned off, or \
                                  somebody left it"
            .to_owned(),
    }
}

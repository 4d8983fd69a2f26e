//! All 65,536 status words of CiA 402 read as another library reads them.
//!
//! Witness: canopen 2.4.1, a general-purpose CAN library from PyPI; `witness/cia402_words.py`
//! prints its reading, kept in `reference/cia402_words.txt`, and CI prints it anew.

use evenpass_core::cia402::{PowerState, StatusWord};

const fn letter(state: PowerState) -> char {
    match state {
        PowerState::NotReadyToSwitchOn => 'n',
        PowerState::SwitchOnDisabled => 'd',
        PowerState::ReadyToSwitchOn => 'r',
        PowerState::SwitchedOn => 's',
        PowerState::OperationEnabled => 'o',
        PowerState::QuickStopActive => 'q',
        PowerState::FaultReactionActive => 'a',
        PowerState::Fault => 'f',
        PowerState::Unknown => '.',
    }
}

#[test]
fn every_status_word_is_read_as_another_library_reads_it() {
    let witness: Vec<char> =
        include_str!("reference/cia402_words.txt").chars().filter(|c| *c != '\n').collect();
    assert_eq!(witness.len(), 0x1_0000);
    let differing: Vec<u16> = (0..=u16::MAX)
        .filter(|word| letter(StatusWord(*word).power()) != witness[usize::from(*word)])
        .collect();
    assert!(differing.is_empty(), "{} words differ: {:04x?}", differing.len(), differing.first());
    let unknown = witness.iter().filter(|letter| **letter == '.').count();
    println!("65,536 words compared, {unknown} of no state");
    assert_eq!(unknown, 53_248, "IEC 61800-7-201 leaves 53,248 words to no state");
}

//! What stands against a start beyond the interlocks' own permissives, in words.

use crate::devices::{Commissioned, DeviceId};

/// The devices that must have the rig file's reaction to a silent controller.
pub(super) const DEVICES: [DeviceId; 3] = [DeviceId::Field, DeviceId::Axis, DeviceId::Spindle];

/// What is said of a device by its settings; `None` for one that has them as the rig file says.
pub(super) const fn missing(device: DeviceId, settings: Commissioned) -> Option<&'static str> {
    match (settings, device) {
        (Commissioned::Agreed, _) => None,
        (Commissioned::Pending, DeviceId::Field) => Some(
            "The field I/O has not confirmed what it does when the controller is silent: check \
             its line with `evenpass rig check`.",
        ),
        (Commissioned::Pending, DeviceId::Axis) => Some(
            "The carriage drive has not confirmed what it does when the controller is silent: \
             check its line with `evenpass rig check`.",
        ),
        (Commissioned::Pending, DeviceId::Spindle) => Some(
            "The spindle drive has not confirmed what it does when the controller is silent: \
             check its line with `evenpass rig check`.",
        ),
        (Commissioned::Disagrees, DeviceId::Field) => Some(
            "The field I/O keeps another reaction to a silent controller than the rig file asks \
             for, though it was written: set it at the module, or correct the rig file.",
        ),
        (Commissioned::Disagrees, DeviceId::Axis) => Some(
            "The carriage drive keeps another reaction to a silent controller than the rig file \
             asks for, though it was written: set it at the drive, or correct the rig file.",
        ),
        (Commissioned::Disagrees, DeviceId::Spindle) => Some(
            "The spindle drive keeps another reaction to a silent controller than the rig file \
             asks for, though it was written: set it at the drive, or correct the rig file.",
        ),
        (Commissioned::Refused, DeviceId::Field) => Some(
            "The field I/O refuses the rig file's reaction to a silent controller: compare the \
             rig file's communication loss and its register with the module's handbook.",
        ),
        (Commissioned::Refused, DeviceId::Axis) => Some(
            "The carriage drive refuses the rig file's reaction to a silent controller: compare \
             the rig file's communication loss and its registers with the drive's handbook.",
        ),
        (Commissioned::Refused, DeviceId::Spindle) => Some(
            "The spindle drive refuses the rig file's reaction to a silent controller: compare \
             the rig file's communication loss and its registers with the drive's handbook.",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_device_without_its_settings_is_named_with_what_became_of_them() {
        let mut said = std::collections::BTreeSet::new();
        for device in DEVICES {
            assert_eq!(missing(device, Commissioned::Agreed), None);
            for (settings, words) in [
                (Commissioned::Pending, "has not confirmed"),
                (Commissioned::Disagrees, "though it was written"),
                (Commissioned::Refused, "refuses"),
            ] {
                let text = missing(device, settings).expect("something is missing");
                assert!(text.contains(words), "{text}");
                said.insert(text);
            }
        }
        assert_eq!(said.len(), 9, "no two say the same");
    }
}

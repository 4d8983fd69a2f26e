//! PINs: what one has to be, and what is kept of it.

use std::fmt;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};

/// Fewest and most digits. From four on, guessing at one name takes weeks by the throttle's longest
/// wait; beyond twelve nobody types one with gloves (common practice, no source).
const DIGITS: std::ops::RangeInclusive<usize> = 4..=12;

/// A PIN that may be used. It is not shown by `{:?}`.
#[derive(Clone, PartialEq, Eq)]
pub struct Pin(String);

impl Pin {
    /// What one has to be, for a prompt and for a message.
    pub const FORM: &str = "4 to 12 digits, not all the same, not a run such as 1234 or 9876";

    /// Takes a PIN for use.
    ///
    /// # Errors
    /// What is wrong with it, as a phrase that does not repeat it.
    pub fn new(text: &str) -> Result<Self, &'static str> {
        if !text.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err("it has something else than the digits 0 to 9");
        }
        if !DIGITS.contains(&text.len()) {
            return Err(if text.len() < *DIGITS.start() {
                "it has fewer than 4 digits"
            } else {
                "it has more than 12 digits"
            });
        }
        for (step, what) in [
            (0, "all its digits are the same"),
            (1, "it counts up"),
            // Nine more is one less, where 9 comes below 0.
            (9, "it counts down"),
        ] {
            let next = |digit: u8| (digit - b'0' + step) % 10 + b'0';
            let digits = text.as_bytes();
            if digits.iter().zip(digits.iter().skip(1)).all(|(one, other)| next(*one) == *other) {
                return Err(what);
            }
        }
        Ok(Self(text.to_owned()))
    }
}

impl fmt::Debug for Pin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Pin(not shown)")
    }
}

/// What is kept of a PIN: argon2id with the crate's recommended cost (19 MiB, two passes) and a
/// random salt, as a PHC string. It is not shown by `{:?}`. Whoever has it can try all PINs of four
/// digits in minutes; what keeps it is the mode of its file.
#[derive(Clone, PartialEq, Eq)]
pub struct PinHash(String);

/// Hashed against where nobody has the name, so that the time it takes tells nothing: of the same
/// cost, and what comes of it is not looked at.
const DECOY: &str = "$argon2id$v=19$m=19456,t=2,p=1$ZGVjb3kgZm9yIG5vYm9keQ$\
                     AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// Longest text that is hashed as a PIN, bytes: what is longer is none (arbitrary).
const LONGEST_TRY: usize = 64;

impl PinHash {
    /// Hashes a PIN with fresh salt. Takes tens of milliseconds, on purpose.
    ///
    /// # Errors
    /// The system has no randomness or no memory to give: what is wrong.
    pub fn of(pin: &Pin) -> Result<Self, String> {
        let hashed = Argon2::default().hash_password(pin.0.as_bytes());
        hashed.map(|hashed| Self(hashed.to_string())).map_err(unhashed)
    }

    /// Reads a stored hash; `None` when it is no argon2id hash with salt and output.
    #[must_use]
    pub(super) fn stored(text: &str) -> Option<Self> {
        let read = PasswordHash::new(text).ok()?;
        let whole = read.algorithm.as_str() == "argon2id"
            && read.salt.is_some()
            && read.hash.is_some()
            && argon2::Params::try_from(&read).is_ok();
        whole.then(|| Self(text.to_owned()))
    }

    /// As it is stored.
    pub(super) fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether it is of this PIN. Takes tens of milliseconds and 19 MiB, on purpose.
    ///
    /// # Errors
    /// It cannot be worked out: what is wrong.
    pub fn is_of(&self, pin: &str) -> Result<bool, String> {
        matches(&self.0, pin)
    }

    /// Takes as long as [`PinHash::is_of`] and comes to nothing.
    pub(super) fn of_nobody(pin: &str) -> Result<(), String> {
        std::hint::black_box(matches(DECOY, pin)).map(|_| ())
    }
}

impl fmt::Debug for PinHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PinHash(not shown)")
    }
}

fn matches(hash: &str, pin: &str) -> Result<bool, String> {
    let pin = if pin.len() > LONGEST_TRY { "" } else { pin };
    match Argon2::default().verify_password(pin.as_bytes(), hash) {
        Ok(()) => Ok(true),
        Err(argon2::password_hash::Error::PasswordInvalid) => Ok(false),
        Err(trouble) => Err(unhashed(trouble)),
    }
}

fn unhashed(trouble: argon2::password_hash::Error) -> String {
    format!("the PIN cannot be hashed: {trouble}")
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(in crate::people) const HARMLESS: &str = "2580";

    /// One hash of [`HARMLESS`] for all tests: they are slow on purpose.
    pub(in crate::people) fn hash() -> PinHash {
        static ONCE: std::sync::OnceLock<PinHash> = std::sync::OnceLock::new();
        let pin = Pin::new(HARMLESS).expect("a PIN");
        ONCE.get_or_init(|| PinHash::of(&pin).expect("hashed")).clone()
    }

    #[test]
    fn a_pin_has_four_to_twelve_digits_and_is_none_that_everybody_tries_first() {
        for (text, wrong) in [
            ("123", "it has fewer than 4 digits"),
            ("", "it has fewer than 4 digits"),
            ("1357924680246", "it has more than 12 digits"),
            ("12a4", "it has something else than the digits 0 to 9"),
            ("２５８０", "it has something else than the digits 0 to 9"),
            ("7777", "all its digits are the same"),
            ("1234", "it counts up"),
            ("7890", "it counts up"),
            ("43210", "it counts down"),
            ("1098", "it counts down"),
        ] {
            assert_eq!(Pin::new(text).expect_err(text), wrong);
        }
        for text in ["1235", "2580", "135792468024"] {
            assert!(Pin::new(text).is_ok(), "{text}");
        }
    }

    #[test]
    fn a_hash_is_of_its_pin_alone_and_never_twice_the_same() {
        let pin = Pin::new(HARMLESS).expect("a PIN");
        let other = PinHash::of(&pin).expect("hashed");
        assert!(other.as_str().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", other.0);
        assert_ne!(hash(), other);
        assert_eq!(other.is_of(HARMLESS), Ok(true));
        assert_eq!(other.is_of("2581"), Ok(false));
        assert_eq!(other.is_of(&"0".repeat(LONGEST_TRY + 1)), Ok(false));
    }

    #[test]
    fn the_decoy_costs_what_a_hash_costs() {
        let cost = |text: &str| argon2::Params::try_from(&PasswordHash::new(text).expect("PHC"));
        let decoy = cost(DECOY).expect("argon2");
        let real = cost(hash().as_str()).expect("argon2");
        assert_eq!(
            (decoy.m_cost(), decoy.t_cost(), decoy.p_cost(), decoy.output_len()),
            (real.m_cost(), real.t_cost(), real.p_cost(), real.output_len())
        );
    }

    #[test]
    fn a_hash_that_cannot_be_worked_out_is_trouble_and_no_wrong_pin() {
        let none = hash().as_str().replacen("m=19456", "m=1", 1);
        let trouble = PinHash(none).is_of(HARMLESS).expect_err("less than the least memory");
        assert!(trouble.starts_with("the PIN cannot be hashed: "), "{trouble}");
    }

    #[test]
    fn only_a_whole_argon2id_hash_is_read() {
        let whole = hash().as_str().to_owned();
        assert_eq!(PinHash::stored(&whole), Some(hash()));
        let (without_output, _) = whole.rsplit_once('$').expect("a PHC string");
        for text in ["", "2580", without_output, &whole.replacen("argon2id", "argon2i", 1)] {
            assert_eq!(PinHash::stored(text), None, "{text}");
        }
    }

    #[test]
    fn neither_pin_nor_hash_gets_into_a_log() {
        let pin = Pin::new(HARMLESS).expect("a PIN");
        assert_eq!(format!("{pin:?} {:?}", hash()), "Pin(not shown) PinHash(not shown)");
    }
}

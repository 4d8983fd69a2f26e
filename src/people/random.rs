//! Randomness of the system, for whoever calls what takes it as an argument.

use std::io;

/// So many bytes that nobody can guess.
///
/// # Errors
/// The system has none to give.
pub fn random<const N: usize>() -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(io::Error::other)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_draws_are_alike() {
        let draw = || random::<64>().expect("the system has some");
        assert_ne!(draw(), draw());
    }
}

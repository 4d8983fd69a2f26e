//! Where a request comes from.

use std::fmt;
use std::net::{IpAddr, Ipv6Addr};
use std::str::FromStr;

/// Where a request comes from. Who decides which it is, is whoever takes the request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Whence {
    /// From the panel at the machine.
    Machine,
    /// From the command line of the machine's computer.
    Terminal,
    /// From somewhere else.
    Away(IpAddr),
}

impl Whence {
    /// What counts as one sender where somebody's number is bounded: machine and terminal are one, and so is all that one
    /// subscriber commonly has of IPv6 addresses, a /64 (RFC 6177, from memory).
    pub(crate) fn sender(self) -> Self {
        match self {
            Self::Machine | Self::Terminal => Self::Machine,
            Self::Away(address) => Self::Away(match address.to_canonical() {
                IpAddr::V4(address) => IpAddr::V4(address),
                IpAddr::V6(address) => {
                    let network = u128::from(address) & !u128::from(u64::MAX);
                    IpAddr::V6(Ipv6Addr::from(network))
                }
            }),
        }
    }
}

/// As it is recorded: `machine`, `terminal`, or the address.
impl fmt::Display for Whence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Machine => f.pad("machine"),
            Self::Terminal => f.pad("terminal"),
            Self::Away(address) => f.pad(&address.to_string()),
        }
    }
}

/// Reads what is recorded.
impl FromStr for Whence {
    type Err = std::net::AddrParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "machine" => Ok(Self::Machine),
            "terminal" => Ok(Self::Terminal),
            address => address.parse().map(Self::Away),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_read_back_as_it_was_recorded() {
        for text in ["machine", "terminal", "192.0.2.7", "2001:db8::7"] {
            let read: Whence = text.parse().expect(text);
            assert_eq!(read.to_string(), text);
        }
        assert!("elsewhere".parse::<Whence>().is_err());
    }

    #[test]
    fn one_sender_is_one_whatever_address_of_its_own_it_uses() {
        let sender = |text: &str| text.parse::<Whence>().expect(text).sender();
        assert_eq!(sender("2001:db8::1"), sender("2001:db8::ffff:1"));
        assert_eq!(sender("::ffff:192.0.2.7"), sender("192.0.2.7"));
        assert_eq!(sender("terminal"), sender("machine"));
        assert_ne!(sender("2001:db8:0:1::1"), sender("2001:db8::1"));
        assert_ne!(sender("192.0.2.7"), sender("192.0.2.8"));
    }
}

//! `--port NAME=PATH`: which serial port each line of the rig is on.

use std::str::FromStr;

use clap::Args;
use evenpass_core::rig::Rig;

use crate::port::Port;

/// The ports a person named; the rig file's own hold for the other lines.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct Ports {
    /// The serial port of a line, such as field=/dev/ttyUSB0; once for each line. The rig file's
    /// own ports when left out.
    #[arg(long = "port", value_name = "LINE=PATH")]
    named: Vec<NamedPort>,
}

/// One line with its port.
#[derive(Debug, Clone, PartialEq, Eq)]
struct NamedPort {
    line: String,
    path: String,
}

impl FromStr for NamedPort {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once('=') {
            Some((line, path)) if !line.is_empty() && !path.is_empty() => {
                Ok(Self { line: line.to_owned(), path: path.to_owned() })
            }
            _ => Err("a port is named LINE=PATH, such as field=/dev/ttyUSB0".to_owned()),
        }
    }
}

impl Ports {
    /// Whether a person named any.
    pub(super) fn are_given(&self) -> bool {
        !self.named.is_empty()
    }

    /// A port for every line of the rig, in the rig's order.
    ///
    /// # Errors
    /// A name that is no line of the rig, or a line without a port: what is accepted.
    pub(super) fn resolve(&self, rig: &Rig) -> Result<Vec<Port>, String> {
        let lines = || {
            let names: Vec<&str> = rig.lines.iter().map(|line| line.name.as_str()).collect();
            names.join(", ")
        };
        for named in &self.named {
            if !rig.lines.iter().any(|line| line.name == named.line) {
                return Err(format!(
                    "--port {}={}: \"{}\" has no line of that name\naccepted: {}\n",
                    named.line,
                    named.path,
                    rig.title,
                    lines()
                ));
            }
        }
        rig.lines
            .iter()
            .map(|line| {
                let named = self.named.iter().rev().find(|named| named.line == line.name);
                let path = named.map(|named| named.path.clone()).or_else(|| line.port.clone());
                path.map(|path| Port::new(line.clone(), path)).ok_or_else(|| {
                    format!(
                        "line \"{}\" of \"{}\" has no port\nhelp: name it with --port {}=PATH, or \
                         in the rig file\n",
                        line.name, rig.title, line.name
                    )
                })
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_is_a_line_and_a_path() {
        let named: NamedPort = "field=/dev/ttyS1".parse().unwrap();
        assert_eq!((named.line.as_str(), named.path.as_str()), ("field", "/dev/ttyS1"));
        assert!("field".parse::<NamedPort>().is_err());
        assert!("=x".parse::<NamedPort>().is_err());
    }
}

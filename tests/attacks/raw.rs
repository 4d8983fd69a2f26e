//! Requests byte by byte.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::Duration;

/// Longest that an answer may take.
const PATIENCE: Duration = Duration::from_secs(20);

/// What came back.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    /// 0 when the connection was shut without an answer.
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: String,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (known, value) = line.split_once(": ")?;
            known.eq_ignore_ascii_case(name).then_some(value)
        })
    }
}

/// A connection.
pub(crate) fn connect(address: &str) -> TcpStream {
    let stream = TcpStream::connect(address).expect("the panel");
    stream.set_read_timeout(Some(PATIENCE)).expect("a limit");
    stream.set_write_timeout(Some(PATIENCE)).expect("a limit");
    stream.set_nodelay(true).expect("small messages");
    stream
}

/// Sends bytes, and reads until the other side shuts.
pub(crate) fn exchange(address: &str, bytes: &[u8]) -> Answer {
    let mut stream = connect(address);
    // Who is refused may find the other side shut already.
    let _ = stream.write_all(bytes);
    let mut read = Vec::new();
    let _ = stream.read_to_end(&mut read);
    understood(&read)
}

fn understood(read: &[u8]) -> Answer {
    let text = String::from_utf8_lossy(read);
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
    Answer { status, head: head.to_owned(), body: body.to_owned() }
}

/// A request with its own headers; `Host` and the end of the connection are put in.
pub(crate) fn request(address: &str, line: &str, headers: &[(&str, &str)], body: &[u8]) -> Vec<u8> {
    let mut head = format!("{line} HTTP/1.1\r\nConnection: close\r\n");
    if !headers.iter().any(|(name, _)| name.eq_ignore_ascii_case("host")) {
        head.push_str(&format!("Host: {address}\r\n"));
    }
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    if !body.is_empty() {
        head.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    head.push_str("\r\n");
    [head.as_bytes(), body].concat()
}

/// A form's fields as its body.
pub(crate) fn form(fields: &[(&str, &str)]) -> String {
    let escaped = |text: &str| {
        text.bytes()
            .map(|byte| match byte {
                b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                    char::from(byte).to_string()
                }
                other => format!("%{other:02x}"),
            })
            .collect::<String>()
    };
    let pairs: Vec<_> =
        fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
    pairs.join("&")
}

pub(crate) const FORM: (&str, &str) = ("Content-Type", "application/x-www-form-urlencoded");

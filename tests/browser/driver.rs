//! The browser's driver: a child process on a port of its own choice, which ends with the test and
//! takes its browsers with it.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::os::unix::process::CommandExt as _;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process_group};
use serde_json::{Value, json};

/// How long the driver may take to listen, and to end.
const PATIENCE: Duration = Duration::from_secs(30);
/// What it says when it listens; the port follows.
const LISTENS: &str = "started successfully on port ";

/// The driver's process.
pub(crate) struct Driver {
    child: Child,
    port: u16,
    _folder: tempfile::TempDir,
}

impl Driver {
    /// Starts it.
    pub(crate) fn start() -> Self {
        // What browsers leave behind goes with the folder.
        let folder = tempfile::tempdir().expect("a folder");
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .env("TMPDIR", folder.path())
            .env("HOME", folder.path())
            .process_group(0)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver: install the packages chromium and chromium-driver");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (tell, told) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let port = line.split_once(LISTENS).map(|(_, port)| port.trim_end_matches('.'));
                if let Some(port) = port.and_then(|port| port.trim().parse::<u16>().ok()) {
                    // Nobody waits for a second one.
                    let _ = tell.send(port);
                }
            }
        });
        let port = told.recv_timeout(PATIENCE);
        let port = port.unwrap_or_else(|_| {
            end(&mut child);
            panic!("chromedriver did not say in {PATIENCE:?} that it listens")
        });
        Self { child, port, _folder: folder }
    }

    /// Its address.
    pub(crate) fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Asks a session's browser for something of its own protocol.
    pub(crate) async fn browser(&self, session: &str, command: &str, parameters: Value) -> Value {
        let to = format!("{}/session/{session}/goog/cdp/execute", self.address());
        let what = json!({ "cmd": command, "params": parameters });
        let asked = command.to_owned();
        let answer = tokio::task::spawn_blocking(move || {
            ureq::post(&to).send_json(&what).and_then(|mut answer| answer.body_mut().read_json())
        });
        let answer: Value = answer.await.expect("a thread").expect("the browser answers");
        assert!(answer.get("value").is_some(), "{asked}: {answer}");
        answer["value"].clone()
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // In order first: then it ends its browsers too.
        if let Ok(mut line) = TcpStream::connect(("127.0.0.1", self.port)) {
            let ask = "GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
            let _ = line.set_read_timeout(Some(Duration::from_secs(5)));
            if line.write_all(ask.as_bytes()).is_ok() {
                let _ = line.read(&mut [0; 512]);
            }
        }
        end(&mut self.child);
    }
}

/// Waits a little, then ends the process and those of its group.
fn end(child: &mut Child) {
    let until = Instant::now() + Duration::from_secs(5);
    while Instant::now() < until && matches!(child.try_wait(), Ok(None)) {
        std::thread::sleep(Duration::from_millis(20));
    }
    if let Some(group) = i32::try_from(child.id()).ok().and_then(Pid::from_raw) {
        // A group that has gone needs no end.
        let _ = kill_process_group(group, Signal::KILL);
    }
    let _ = child.wait();
}

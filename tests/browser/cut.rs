//! A connection that can be cut: between browser and panel, it carries everything until it is told
//! to carry nothing, as a pulled cable does; nobody is told of it.

use std::net::SocketAddr;
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// A cable between browser and panel.
pub(crate) struct Cable {
    pub(crate) at: SocketAddr,
    whole: watch::Sender<bool>,
}

impl Cable {
    /// A whole one.
    pub(crate) async fn to(panel: SocketAddr) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
        let at = listener.local_addr().expect("an address");
        let (whole, is_whole) = watch::channel(true);
        tokio::spawn(async move {
            while let Ok((browser, _)) = listener.accept().await {
                let Ok(panel) = TcpStream::connect(panel).await else { continue };
                for stream in [&browser, &panel] {
                    stream.set_nodelay(true).expect("a socket");
                }
                let (from_browser, to_browser) = browser.into_split();
                let (from_panel, to_panel) = panel.into_split();
                tokio::spawn(carry(from_browser, to_panel, is_whole.clone()));
                tokio::spawn(carry(from_panel, to_browser, is_whole.clone()));
            }
        });
        Self { at, whole }
    }

    /// Carries nothing any more.
    pub(crate) fn cut(&self) {
        self.whole.send_replace(false);
    }

    /// Carries again, what was kept back first.
    pub(crate) fn mend(&self) {
        self.whole.send_replace(true);
    }
}

/// One way of one connection.
async fn carry(mut from: OwnedReadHalf, mut to: OwnedWriteHalf, mut whole: watch::Receiver<bool>) {
    let mut carried = vec![0; 16 * 1024];
    loop {
        let Ok(count @ 1..) = from.read(&mut carried).await else { return };
        // What was under way when it was cut waits, as in a sender's own memory.
        if whole.wait_for(|whole| *whole).await.is_err() {
            return;
        }
        let written =
            tokio::time::timeout(Duration::from_secs(60), to.write_all(&carried[..count]));
        if !matches!(written.await, Ok(Ok(()))) {
            return;
        }
    }
}

//! A service in this process, on a loopback port of its own.

use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;

use deepbend_server::{Config, Neighbours, ServeError, Server, StartError};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use crate::failure::{Exit, Failure};
use crate::output::wrapped_note;

/// Longest wait for others that ask through this service.
const LINGER: Duration = Duration::from_secs(60);
/// Wait of which nothing is said.
const SHORT: Duration = Duration::from_secs(1);

/// A service that runs in this process.
#[derive(Debug)]
pub struct Embedded {
    addr: SocketAddr,
    neighbours: Neighbours,
    stop: oneshot::Sender<()>,
    task: JoinHandle<Result<(), ServeError>>,
}

impl Embedded {
    /// Starts it on a free loopback port, whatever the configuration listens on.
    ///
    /// # Errors
    /// [`Exit::Held`] if another process holds the folder; no port, or a damaged store.
    pub async fn start(config: Config) -> Result<Self, Failure> {
        let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
        let bound = Server::bind(Config { listen, ..config }).await.map_err(not_started)?;
        let (addr, neighbours) = (bound.addr, bound.neighbours());
        let (stop, stopped) = oneshot::channel();
        let task = tokio::spawn(bound.serve(async {
            // A sender that is gone wants the same as one that sends.
            let _ = stopped.await;
        }));
        Ok(Self { addr, neighbours, stop, task })
    }

    /// Where it listens.
    #[must_use]
    pub fn addr(&self) -> SocketAddr {
        self.addr
    }

    /// Ends it, once nobody else asks through it, and waits until its store is closed.
    ///
    /// # Errors
    /// A service that ended badly.
    pub async fn stop(self) -> Result<(), Failure> {
        if tokio::time::timeout(SHORT, self.neighbours.gone()).await.is_err() {
            let text = "another deepbend still asks through this one: it ends when that is done; \
                        ctrl-c ends both";
            wrapped_note("note: ", text);
            // Who stays longer is cut off.
            let _ = tokio::time::timeout(LINGER, self.neighbours.gone()).await;
        }
        // One that has ended already needs no word.
        let _ = self.stop.send(());
        let failed = |what: String| Failure::new(Exit::Failed, format!("the service: {what}"));
        self.task.await.map_err(|e| failed(e.to_string()))?.map_err(|e| failed(e.to_string()))
    }
}

fn not_started(error: StartError) -> Failure {
    let exit = match &error {
        StartError::Locked { .. } => Exit::Held,
        StartError::Data { .. } | StartError::Listen { .. } | StartError::Reflection(_) => {
            Exit::Failed
        }
    };
    let failure = Failure::new(exit, error.to_string());
    match exit {
        Exit::Held => failure.hint("wait until it ends, or name another folder with --data"),
        Exit::Failed
        | Exit::Ok
        | Exit::Usage
        | Exit::NoPlan
        | Exit::BadData
        | Exit::NoInput
        | Exit::Unavailable
        | Exit::Refused
        | Exit::Deadline => failure,
    }
}

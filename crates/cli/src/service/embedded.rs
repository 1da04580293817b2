//! A service in this process, on a loopback port of its own.

use std::net::{Ipv4Addr, SocketAddr};

use deepbend_server::{Config, ServeError, Server, StartError};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use crate::failure::{Exit, Failure};

/// A service that runs in this process.
#[derive(Debug)]
pub struct Embedded {
    addr: SocketAddr,
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
        let addr = bound.addr;
        let (stop, stopped) = oneshot::channel();
        let task = tokio::spawn(bound.serve(async {
            // A sender that is gone wants the same as one that sends.
            let _ = stopped.await;
        }));
        Ok(Self { addr, stop, task })
    }

    /// Where it listens.
    #[must_use]
    pub fn addr(&self) -> SocketAddr {
        self.addr
    }

    /// Ends it and waits until its store is closed.
    ///
    /// # Errors
    /// A service that ended badly.
    pub async fn stop(self) -> Result<(), Failure> {
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

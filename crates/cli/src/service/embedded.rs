//! A service in this process, on a loopback port of its own.

use std::net::SocketAddr;
use std::path::Path;

use crate::failure::{Exit, Failure};

/// A service that runs in this process.
#[derive(Debug)]
pub struct Embedded {
    addr: SocketAddr,
}

impl Embedded {
    /// Starts it, on a data folder or without one.
    ///
    /// # Errors
    /// [`Exit::Held`] if another process holds the folder; no port, or a damaged store.
    pub async fn start(folder: Option<&Path>) -> Result<Self, Failure> {
        let _ = folder;
        Err(Failure::new(Exit::Unavailable, "no service is built in yet"))
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
        Ok(())
    }
}

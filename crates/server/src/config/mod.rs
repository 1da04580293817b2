//! How the service is set up: read whole, and checked whole, before anything is opened or bound.
//!
//! Defaults give way to the file, the file to `DEEPBEND_*` in the environment, and that to the
//! command line. All three say the same keys in the same words; see [`keys`].

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;

use deepbend_contract::limits;
use deepbend_ledger::fold::Founder;
use deepbend_ledger::id::Id;
use deepbend_ledger::time::Date;
use http::HeaderValue;

use crate::gate::token::{PeerToken, Token};

pub mod keys;
mod sources;

pub use sources::{Loaded, load};

/// How log lines are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    #[default]
    Text,
    /// One JSON object a line.
    Json,
}

/// Everything that the service must be told.
#[derive(Clone, Debug)]
pub struct Config {
    /// Address to listen on; port 0 takes any free one.
    pub listen: SocketAddr,
    /// Folder of the inventory; `None`: there is none.
    pub data: Option<PathBuf>,
    /// Name under which this service records events, as devices have one. `None`: the one that it
    /// had before, or else `service`.
    pub device: Option<Id>,
    /// The first device of the fleet and its key; `None`: what the data folder says, and if it says
    /// nothing every device counts.
    pub founder: Option<Founder>,
    /// Services to exchange events with, `http://host:port` each.
    pub peers: Vec<String>,
    /// Token that is shown to them.
    pub peer_token: Option<PeerToken>,
    /// Longest time from one exchange with a peer to the next one, also while it is out of reach.
    pub peer_interval: Duration,
    /// Token that callers over the network must show; `None`: nobody is asked.
    pub token: Option<Token>,
    /// Origins of web pages that may call; empty: web pages may not.
    pub cors_origins: Vec<HeaderValue>,
    /// Greatest message that is taken, bytes.
    pub max_request_bytes: usize,
    /// Greatest message that is sent, bytes.
    pub max_response_bytes: usize,
    /// Calls that are taken at once; more are answered `OVERLOADED`. As many watchers of the
    /// inventory are taken besides.
    pub max_calls: usize,
    /// Threads that judge and plan.
    pub workers: usize,
    /// Greatest time for a call that is no stream, whatever its own deadline.
    pub call_limit: Duration,
    /// Time that running calls have to end when the service is told to.
    pub drain: Duration,
    /// What is logged, in the syntax of `tracing_subscriber::EnvFilter`.
    pub log: String,
    /// How it is written.
    pub log_format: LogFormat,
    /// Day that counts as today; `None`: the present one. For demonstrations and tests.
    pub today: Option<Date>,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from((Ipv4Addr::LOCALHOST, 50_551)),
            data: None,
            device: None,
            founder: None,
            peers: Vec::new(),
            peer_token: None,
            peer_interval: Duration::from_secs(60),
            token: None,
            cors_origins: Vec::new(),
            max_request_bytes: limits::MESSAGE_BYTES,
            max_response_bytes: 16 * 1024 * 1024,
            max_calls: 256,
            workers: std::thread::available_parallelism().map_or(1, usize::from),
            call_limit: Duration::from_secs(60),
            drain: Duration::from_secs(10),
            log: "info,sled=error".to_owned(),
            log_format: LogFormat::Text,
            today: None,
        }
    }
}

/// A setting that cannot be used: one plain sentence that names the key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{key} {wrong} ({origin}); right is {right}")]
pub struct ConfigFault {
    /// The key.
    pub key: String,
    /// Where it was said: a file, a variable or a flag.
    pub origin: String,
    /// What was wrong; continues the key.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

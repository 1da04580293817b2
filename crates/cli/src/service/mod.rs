//! Somebody to ask, always over gRPC.
//!
//! 1. The server that is named; else
//! 2. for what needs no inventory: a service in this process, without a store; else
//! 3. the service that holds the data folder already, through the socket that it left there; else
//! 4. a service in this process on that folder. If another process holds the folder, this one
//!    waits up to 2 s and then ends with exit code 75 and the holder's name. Who asks through it
//!    meanwhile is answered before it ends.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use deepbend_contract::pb;
use deepbend_server::config::keys::PLAIN_HTTP;
use deepbend_server::{Config, Date, Id, kept_device, socket_path};
use pb::inventory_service_client::InventoryServiceClient;
use pb::inventory_service_server::InventoryServiceServer;
use pb::matching_service_client::MatchingServiceClient;
use pb::mechanics_service_client::MechanicsServiceClient;
use pb::sync_service_client::SyncServiceClient;
use pb::trip_service_client::TripServiceClient;
use tonic::codec::CompressionEncoding;
use tonic::metadata::{Ascii, MetadataValue};
use tonic::server::NamedService as _;
use tonic::transport::{Channel, Endpoint};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

mod embedded;

pub use embedded::Embedded;

use crate::args::Global;
use crate::failure::{Exit, Failure};
use crate::output::wrapped_note;

/// Longest wait for a data folder that another process holds.
const HELD_WAIT: Duration = Duration::from_secs(2);
const HELD_PAUSE: Duration = Duration::from_millis(100);
const CONNECT_WAIT: Duration = Duration::from_secs(5);
/// Answers for a whole fleet are larger than the usual 4 MiB.
const MOST_ANSWER_BYTES: usize = 64 * 1024 * 1024;

/// What a command asks about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Only what is in the request.
    Nothing,
    /// The inventory too.
    Inventory,
}

/// A service that can be asked.
#[derive(Debug)]
pub struct Service {
    channel: Channel,
    own: Option<Embedded>,
    deadline: Option<Duration>,
    token: Option<MetadataValue<Ascii>>,
}

impl Service {
    /// Finds somebody to ask.
    ///
    /// # Errors
    /// No such server, or a data folder that cannot be had.
    pub async fn open(global: &Global, needs: Needs) -> Result<Self, Failure> {
        let service = match (&global.server, needs) {
            (Some(server), _) => Self::by_channel(connect(server).await?),
            (None, Needs::Nothing) => Self::embedded(None, None).await?,
            (None, Needs::Inventory) => Self::on_folder(&folder(global)?, device(global)?).await?,
        };
        let token = global.token_file.as_deref().map(token).transpose()?;
        let service = Self { deadline: global.deadline, token, ..service };
        if needs == Needs::Inventory {
            service.tell_trouble().await;
        }
        Ok(service)
    }

    /// Says where the store can only be read: a part of it may be missing from every answer.
    async fn tell_trouble(&self) {
        let service = InventoryServiceServer::<()>::NAME.to_owned();
        let mut health = HealthClient::new(self.channel.clone());
        let asked = health.check(self.request(HealthCheckRequest { service })).await;
        // Who gets no answer here is told so by the question that matters.
        let serves = asked.map_or(true, |s| s.into_inner().status() == ServingStatus::Serving);
        if !serves
            && let Ok(state) =
                self.sync().get_sync_state(self.request(pb::GetSyncStateRequest {})).await
            && let trouble = state.into_inner().store_trouble
            && !trouble.is_empty()
        {
            wrapped_note("warning: ", &format!("the inventory can only be read: {trouble}"));
        }
    }

    fn by_channel(channel: Channel) -> Self {
        Self { channel, own: None, deadline: None, token: None }
    }

    /// Starts a service in this process, on a data folder or without one. `today` is the day that
    /// counts as today; `None`: the present one.
    ///
    /// # Errors
    /// [`Exit::Held`] if another process holds the folder; a service that does not start.
    pub async fn embedded(folder: Option<&Path>, today: Option<Date>) -> Result<Self, Failure> {
        let data = folder.map(Path::to_owned);
        Self::start(Config { data, today, ..Config::default() }).await
    }

    /// A service at an address.
    ///
    /// # Errors
    /// No such service, or a token that cannot be read.
    pub async fn at(address: &str, token_file: Option<&Path>) -> Result<Self, Failure> {
        let token = token_file.map(token).transpose()?;
        Ok(Self { token, ..Self::by_channel(connect(address).await?) })
    }

    /// The service of a boat, on a folder of its own.
    ///
    /// # Errors
    /// A service that does not start.
    pub async fn boat(folder: &Path, device: Id) -> Result<Self, Failure> {
        let (data, device) = (Some(folder.to_owned()), Some(device));
        Self::start(Config { data, device, ..Config::default() }).await
    }

    async fn start(config: Config) -> Result<Self, Failure> {
        let own = Embedded::start(config).await?;
        let channel = connect(&format!("http://{}", own.addr())).await?;
        Ok(Self { own: Some(own), ..Self::by_channel(channel) })
    }

    async fn on_folder(folder: &Path, device: Option<Id>) -> Result<Self, Failure> {
        let started = Instant::now();
        loop {
            let socket = socket_path(folder);
            // A socket that nobody listens on was left by a process that ended in a hurry.
            if socket.exists()
                && let Ok(channel) = connect(&format!("unix:{}", socket.display())).await
            {
                let service = Self::by_channel(channel);
                let mut health = HealthClient::new(service.channel.clone());
                let asked = health.check(HealthCheckRequest::default()).await;
                // One that ends by now takes no call; who was answered is waited for.
                if !asked.is_err_and(|status| status.code() == tonic::Code::Unavailable) {
                    tell_ignored(folder, device.as_ref());
                    return Ok(service);
                }
                if started.elapsed() < HELD_WAIT {
                    tokio::time::sleep(HELD_PAUSE).await;
                    continue;
                }
            }
            let before = kept_device(folder);
            let (data, device) = (Some(folder.to_owned()), device.clone());
            match Self::start(Config { data, device, ..Config::default() }).await {
                Err(failure) if failure.exit == Exit::Held && started.elapsed() < HELD_WAIT => {
                    tokio::time::sleep(HELD_PAUSE).await;
                }
                done => {
                    tell_renamed(before, kept_device(folder));
                    return done;
                }
            }
        }
    }

    /// A request with the deadline and the token of the command line.
    pub fn request<T>(&self, message: T) -> tonic::Request<T> {
        let mut request = tonic::Request::new(message);
        if let Some(deadline) = self.deadline {
            request.set_timeout(deadline);
        }
        if let Some(token) = &self.token {
            request.metadata_mut().insert("authorization", token.clone());
        }
        request
    }

    /// Client for judging.
    #[must_use]
    pub fn matching(&self) -> MatchingServiceClient<Channel> {
        let client = MatchingServiceClient::new(self.channel.clone());
        client.max_decoding_message_size(MOST_ANSWER_BYTES)
    }

    /// Client for the inventory.
    #[must_use]
    pub fn inventory(&self) -> InventoryServiceClient<Channel> {
        let client = InventoryServiceClient::new(self.channel.clone());
        client.max_decoding_message_size(MOST_ANSWER_BYTES)
    }

    /// Client for exchanging events.
    #[must_use]
    pub fn sync(&self) -> SyncServiceClient<Channel> {
        SyncServiceClient::new(self.channel.clone())
            .send_compressed(CompressionEncoding::Gzip)
            .accept_compressed(CompressionEncoding::Gzip)
            .max_decoding_message_size(MOST_ANSWER_BYTES)
    }

    /// Client for bends and casts.
    #[must_use]
    pub fn mechanics(&self) -> MechanicsServiceClient<Channel> {
        let client = MechanicsServiceClient::new(self.channel.clone());
        client.max_decoding_message_size(MOST_ANSWER_BYTES)
    }

    /// Client for trips.
    #[must_use]
    pub fn trips(&self) -> TripServiceClient<Channel> {
        let client = TripServiceClient::new(self.channel.clone());
        client.max_decoding_message_size(MOST_ANSWER_BYTES)
    }

    /// Ends a service of this process; one that runs elsewhere goes on.
    ///
    /// # Errors
    /// A service that ended badly.
    pub async fn close(self) -> Result<(), Failure> {
        drop(self.channel);
        match self.own {
            Some(own) => own.stop().await,
            None => Ok(()),
        }
    }
}

fn token(path: &Path) -> Result<MetadataValue<Ascii>, Failure> {
    let text = std::fs::read_to_string(path).map_err(|error| Failure::file(path, &error))?;
    let token = text.lines().next().unwrap_or_default().trim();
    let value = MetadataValue::try_from(format!("Bearer {token}")).map_err(|_| {
        let what = format!("{}: that is no token", path.display());
        Failure::new(Exit::BadData, what)
    })?;
    Ok(value)
}

async fn connect(address: &str) -> Result<Channel, Failure> {
    // With another scheme the transport would speak plain text all the same.
    if let Some((scheme, _)) = address.split_once("://")
        && !["http", "unix"].iter().any(|known| scheme.eq_ignore_ascii_case(known))
    {
        return Err(Failure::usage(format!("{address}: {PLAIN_HTTP}")));
    }
    let full = if address.contains("://") || address.starts_with("unix:") {
        address.to_owned()
    } else {
        format!("http://{address}")
    };
    let endpoint = Endpoint::from_shared(full).map_err(|error| {
        Failure::usage(format!("{address} is no address of a service: {error}"))
            .hint("write it like http://localhost:50551")
    })?;
    endpoint.connect_timeout(CONNECT_WAIT).connect().await.map_err(|error| {
        let why = cause(&error);
        Failure::new(Exit::Unavailable, format!("{address} does not answer: {why}"))
            .hint("check --server, or leave it out to work on this machine")
    })
}

/// The innermost cause: that is what a person can act on.
fn cause(error: &dyn std::error::Error) -> String {
    let mut inner = error;
    while let Some(next) = inner.source() {
        inner = next;
    }
    inner.to_string()
}

/// Says that the service that holds a folder records under its own name.
fn tell_ignored(folder: &Path, device: Option<&Id>) {
    if let (Some(asked), Some(kept)) = (device, kept_device(folder))
        && *asked != kept
    {
        let text = format!(
            "the name {asked} (--device or DEEPBEND_DEVICE) is ignored: the service that runs on \
             {} records as {kept}",
            folder.display()
        );
        wrapped_note("note: ", &text);
    }
}

/// Says that a folder is recorded in under another name from now on.
fn tell_renamed(before: Option<Id>, after: Option<Id>) {
    if let (Some(before), Some(after)) = (before, after)
        && before != after
    {
        let text = format!(
            "this folder recorded as {before} until now, from now on as {after} (--device or \
             DEEPBEND_DEVICE)"
        );
        wrapped_note("note: ", &text);
    }
}

/// The name under which a service on this machine records.
fn device(global: &Global) -> Result<Option<Id>, Failure> {
    let name = global.device.as_deref().map(Id::new).transpose();
    name.map_err(|error| Failure::usage(format!("--device: {error}")))
}

/// The data folder that is named, or the usual one.
pub(crate) fn folder(global: &Global) -> Result<PathBuf, Failure> {
    if let Some(folder) = &global.data {
        return Ok(folder.clone());
    }
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    // XDG Base Directory Specification: only absolute paths count.
    let data = set("XDG_DATA_HOME").filter(|path| path.is_absolute());
    let data = data.or_else(|| set("HOME").map(|home| home.join(".local/share")));
    data.map(|data| data.join("deepbend")).ok_or_else(|| {
        Failure::usage("no data folder: neither XDG_DATA_HOME nor HOME is set")
            .hint("name one with --data FOLDER")
    })
}

//! From configuration to a service that answers, and down again.

use std::future::Future;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use deepbend_contract::FILE_DESCRIPTOR_SET;
use deepbend_contract::pb::inventory_service_server::InventoryServiceServer;
use deepbend_contract::pb::matching_service_server::MatchingServiceServer;
use deepbend_contract::pb::mechanics_service_server::MechanicsServiceServer;
use deepbend_contract::pb::sync_service_server::SyncServiceServer;
use deepbend_contract::pb::trip_service_server::TripServiceServer;
use deepbend_store::inventory::{Fleet, Inventory, InventoryError};
use deepbend_store::{Condition, SledOptions, SledStore, Store, StoreError, backup};
use http::{HeaderName, Method, header};
use tokio::net::UnixListener;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::UnixListenerStream;
use tokio_util::sync::CancellationToken;
use tonic::codec::CompressionEncoding;
use tonic::service::Routes;
use tonic::transport::server::TcpIncoming;
use tonic_health::server::HealthReporter;
use tower::util::option_layer;
use tower_http::cors::{AllowOrigin, CorsLayer};

use crate::compute::Pool;
use crate::config::Config;
use crate::gate::{Gate, Places};
use crate::health::HealthWatch;
use crate::inventory::{
    Heads, Holding, InventoryApi, PageKey, Requests, forget_old, note_device, note_founder,
    noted_device, noted_founder,
};
use crate::listen::{self, Neighbour, SocketFile};
use crate::matching::Matching;
use crate::mechanics::Mechanics;
use crate::sync::identity::{Identity, Noted, damaged_key};
use crate::sync::{Peers, Side, SyncApi};
use crate::trips::TripServiceImpl;

/// Listings at once.
const STORE_WORKERS: usize = 4;
/// Who records at once: they wait for the disk together, so that they share one sync.
const RECORDERS: usize = 64;
/// Time in which connections that were begun show.
const LAST_COMERS: Duration = Duration::from_millis(20);
/// Connections over the socket that are counted.
const NEIGHBOURS: usize = 1024;
/// Longest wait for the store to be closed.
const CLOSING: Duration = Duration::from_secs(2);
/// Time in which streams that were cut off tell their callers.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// Why the service did not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Another process holds the data folder.
    #[error("the data folder {folder} is in use by {holder}; end it, or name another folder")]
    Locked {
        /// The folder.
        folder: String,
        /// Who holds it.
        holder: String,
    },
    /// The data folder cannot be used.
    #[error("the data folder {} cannot be used: {source}", .folder.display())]
    Data {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: InventoryError,
    },
    /// Nobody can be listened to there.
    #[error("cannot listen on {place}: {source}")]
    Listen {
        /// The address or the socket.
        place: String,
        /// Why.
        source: std::io::Error,
    },
    /// A defect of the build.
    #[error("the service cannot describe itself: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
}

/// Why a running service ended by itself.
#[derive(Debug, thiserror::Error)]
#[error("the transport failed: {0}")]
pub struct ServeError(#[from] tonic::transport::Error);

/// The service.
#[derive(Debug)]
pub struct Server;

impl Server {
    /// Opens the data folder and listens; calls are answered once it serves.
    ///
    /// # Errors
    /// [`StartError`]: the folder is in use or damaged, or the address is taken.
    pub async fn bind(config: Config) -> Result<Bound, StartError> {
        let cut = CancellationToken::new();
        let holding = match config.data.clone() {
            Some(folder) => Some(open(folder, &config, cut.clone()).await?),
            None => None,
        };
        let failed = |place: String| |source| StartError::Listen { place, source };
        let tcp = listen::tcp(config.listen).map_err(failed(config.listen.to_string()))?;
        let addr = tcp.local_addr().map_err(failed(config.listen.to_string()))?;
        let socket = match &config.data {
            Some(folder) => {
                let place = listen::socket_path(folder).display().to_string();
                listen::socket(folder).map_err(failed(place))?
            }
            None => None,
        };
        let (reporter, routes) = routes(&config, holding.as_ref(), cut.clone())?;
        let store = holding.map(|holding| holding.store);
        let health = HealthWatch::begin(reporter, store.as_ref()).await;
        let neighbours = Places::of(NEIGHBOURS);
        Ok(Bound { addr, config, tcp, socket, health, routes, store, cut, neighbours })
    }
}

/// Opens the data folder, on a thread that may block.
async fn open(
    folder: PathBuf,
    config: &Config,
    stop: CancellationToken,
) -> Result<Holding, StartError> {
    let named = folder.clone();
    let (device, founder) = (config.device.clone(), config.founder.clone());
    let opened = tokio::task::spawn_blocking(move || {
        let unsure = SledStore::lacks_note(&folder)?;
        let options = SledOptions::default();
        let bad_key = damaged_key(&folder);
        let bad_key = bad_key.map_err(|error| StoreError::Unavailable(error.to_string()))?;
        let store: Arc<dyn Store> = Arc::new(match bad_key {
            Some(what) => {
                let why = format!("only reading is possible: {what}");
                SledStore::open_to_read(&folder, options, StoreError::Unavailable(why))?
            }
            None => SledStore::open(&folder, options)?,
        });
        let read_only = matches!(store.condition(), Condition::ReadOnly(_));
        if !read_only {
            if unsure {
                tracing::warn!(
                    "the file `acknowledged` is missing: if the power was cut, what was recorded \
                     last may be lost, and an exchange brings back what reached others; this goes \
                     on under new numbers"
                );
                backup::mark_unsure(&*store)?;
            }
            backup::mark_new(&*store)?;
        }
        let noted = noted_device(&*store).and_then(|device| {
            let founder = noted_founder(&*store)?;
            Ok(Noted { device, founder })
        });
        let noted = match noted {
            // Of a damaged store nobody can tell whether there was one.
            Err(_) if read_only => Noted::default(),
            noted => noted?,
        };
        let identity = Identity::open(&folder, device, founder, noted, read_only);
        let identity = identity.map_err(|error| StoreError::Unavailable(error.to_string()))?;
        let Identity { device, founder, key } = identity;
        let noted = founder.clone();
        let inventory = Inventory::open_for(Arc::clone(&store), Fleet { founder, key })?;
        let page_key = PageKey::of(&*store)?;
        let requests = match store.condition() {
            Condition::ReadOnly(why) => {
                tracing::error!(%why, "the store can only be read");
                Requests::default()
            }
            Condition::Sound | Condition::Failed(_) => {
                note_device(&*store, &device)?;
                noted.map_or(Ok(()), |founder| note_founder(&*store, &founder))?;
                forget_old(&*store)?
            }
        };
        let heads = Heads::of(&store, stop);
        Ok::<_, InventoryError>(Holding {
            inventory: Arc::new(inventory),
            store,
            requests: Arc::new(requests),
            page_key,
            device,
            heads,
        })
    });
    let lost = |error: tokio::task::JoinError| {
        InventoryError::Store(StoreError::Unavailable(error.to_string()))
    };
    opened.await.map_err(lost).flatten().map_err(|error| match error {
        InventoryError::Store(StoreError::Locked { folder, holder }) => {
            StartError::Locked { folder, holder }
        }
        source @ (InventoryError::Store(_)
        | InventoryError::Chain(_)
        | InventoryError::Event(_)
        | InventoryError::Rows(_)) => StartError::Data { folder: named, source },
    })
}

fn routes(
    config: &Config,
    holding: Option<&Holding>,
    cut: CancellationToken,
) -> Result<(HealthReporter, Routes), StartError> {
    let (asked, answered) = (config.max_request_bytes, config.max_response_bytes);
    let inventory = holding.map(|holding| Arc::clone(&holding.inventory));
    let pool = Pool::new(config.workers);
    let mechanics = Mechanics { inventory: inventory.clone(), pool: pool.clone() };
    let matching = Matching {
        inventory: inventory.clone(),
        pool,
        max_request_bytes: asked,
        max_response_bytes: answered,
        cut: cut.clone(),
    };
    let items = InventoryApi {
        holding: holding.cloned(),
        pool: Pool::new(STORE_WORKERS),
        recorders: Pool::new(RECORDERS),
        today: config.today,
        cut: cut.clone(),
        watchers: Places::of(config.max_calls),
    };
    let exchanges = Pool::new(STORE_WORKERS);
    let peers = match holding {
        Some(holding) => {
            let side = Side { holding: holding.clone(), pool: exchanges.clone() };
            Peers::begin(config, &side, &cut)
        }
        None => Peers::default(),
    };
    let sync = SyncApi {
        holding: holding.cloned(),
        pool: exchanges,
        peers,
        max_request_bytes: asked,
        folder: config.data.clone().unwrap_or_default(),
        state_hash: Arc::default(),
        cut: cut.clone(),
    };
    let trips = TripServiceImpl::new(inventory).until(cut);
    let (reporter, health) = tonic_health::server::health_reporter();
    let reflection = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let routes = Routes::new(health)
        .add_service(reflection().build_v1()?)
        .add_service(reflection().build_v1alpha()?)
        .add_service(
            MatchingServiceServer::new(matching)
                .max_decoding_message_size(asked)
                .max_encoding_message_size(answered),
        )
        .add_service(
            InventoryServiceServer::new(items)
                .max_decoding_message_size(asked)
                .max_encoding_message_size(answered),
        )
        .add_service(
            SyncServiceServer::new(sync)
                .accept_compressed(CompressionEncoding::Gzip)
                .send_compressed(CompressionEncoding::Gzip)
                .max_decoding_message_size(asked)
                .max_encoding_message_size(answered),
        )
        .add_service(
            TripServiceServer::new(trips)
                .max_decoding_message_size(asked)
                .max_encoding_message_size(answered),
        )
        .add_service(
            MechanicsServiceServer::new(mechanics)
                .max_decoding_message_size(asked)
                .max_encoding_message_size(answered),
        )
        .prepare();
    Ok((reporter, routes))
}

/// Those who ask through the socket in the data folder.
#[derive(Clone, Debug)]
pub struct Neighbours {
    connected: Places,
    socket: Option<PathBuf>,
}

impl Neighbours {
    /// Waits until none of them is connected, and lets none come any more. Whoever came in between
    /// is waited for.
    pub async fn gone(&self) {
        self.connected.all_free().await;
        if let Some(socket) = &self.socket {
            // One that is gone already is as it should be.
            let _ = std::fs::remove_file(socket);
            tokio::time::sleep(LAST_COMERS).await;
            self.connected.all_free().await;
        }
    }
}

/// A service that listens.
pub struct Bound {
    /// The address that it listens on.
    pub addr: SocketAddr,
    config: Config,
    tcp: TcpIncoming,
    socket: Option<(UnixListener, SocketFile)>,
    health: HealthWatch,
    routes: Routes,
    store: Option<Arc<dyn Store>>,
    cut: CancellationToken,
    neighbours: Places,
}

impl std::fmt::Debug for Bound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Bound").field("addr", &self.addr).finish_non_exhaustive()
    }
}

impl Bound {
    /// The socket in the data folder, where there is one.
    #[must_use]
    pub fn socket(&self) -> Option<PathBuf> {
        let folder = self.config.data.as_deref().filter(|_| self.socket.is_some());
        folder.map(|folder: &Path| listen::socket_path(folder))
    }

    /// Those who ask through the socket in the data folder.
    #[must_use]
    pub fn neighbours(&self) -> Neighbours {
        Neighbours { connected: self.neighbours.clone(), socket: self.socket() }
    }

    /// Answers calls until `shutdown`, then lets the running ones end, for as long as `drain`
    /// says. Streams that still run by then are told `SHUTTING_DOWN`.
    ///
    /// # Errors
    /// [`ServeError`] if the transport fails.
    pub async fn serve(self, shutdown: impl Future<Output = ()>) -> Result<(), ServeError> {
        let Self { addr, config, tcp, socket, health, routes, store, cut, neighbours } = self;
        let stop = CancellationToken::new();
        let places = Places::of(config.max_calls);
        let held = store.clone();
        let health = tokio::spawn(health.run(store, stop.clone()));
        let from_web = !config.cors_origins.is_empty();
        let over_tcp = transport(&config)
            .layer(option_layer(from_web.then(|| cors(&config))))
            .layer(option_layer(from_web.then(tonic_web::GrpcWebLayer::new)))
            .layer(Gate::new(&config, places.clone(), stop.clone(), true))
            .add_routes(routes.clone())
            .serve_with_incoming_shutdown(tcp, stop.clone().cancelled_owned());
        let (listener, file) = socket.unzip();
        let over_socket = async {
            let Some(listener) = listener else { return Ok(()) };
            transport(&config)
                .layer(Gate::new(&config, places.clone(), stop.clone(), false))
                .add_routes(routes)
                .serve_with_incoming_shutdown(
                    UnixListenerStream::new(listener).map(|stream| {
                        Ok::<_, std::io::Error>(Neighbour::new(stream?, &neighbours))
                    }),
                    stop.clone().cancelled_owned(),
                )
                .await
        };
        tracing::info!(%addr, "serving");
        let ended = tokio::select! {
            ended = async { tokio::try_join!(over_tcp, over_socket) } => ended.map(drop),
            () = conduct(shutdown, &stop, &cut, &places, &config) => Ok(()),
        };
        stop.cancel();
        // It only sets states; if it ended in a panic nothing is left to be told.
        let _ = health.await;
        drop(file);
        // Work that nobody waits for any more may still hold the store.
        cut.cancel();
        let began = tokio::time::Instant::now();
        while held.as_ref().is_some_and(|store| Arc::strong_count(store) > 1)
            && began.elapsed() < CLOSING
        {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        // Whoever is told that this ended may open the folder: so it is closed before.
        let _ = tokio::task::spawn_blocking(move || drop(held)).await;
        tracing::info!("ended");
        Ok(ended?)
    }
}

/// Waits for `shutdown`, lets the running calls end, and cuts off those that do not in time.
async fn conduct(
    shutdown: impl Future<Output = ()>,
    stop: &CancellationToken,
    cut: &CancellationToken,
    places: &Places,
    config: &Config,
) {
    shutdown.await;
    tracing::info!(grace_seconds = config.drain.as_secs(), "draining");
    stop.cancel();
    // Watchers of items and of health never end: they have no place here, and are cut off.
    if tokio::time::timeout(config.drain, places.all_free()).await.is_err() {
        tracing::warn!("cutting off calls that did not end in time");
    }
    cut.cancel();
    tokio::time::sleep(LAST_WORDS).await;
}

/// HTTP/2 as this service wants it. Browsers speak HTTP/1.1 without TLS, so that is taken only
/// where web pages may call.
fn transport(config: &Config) -> tonic::transport::Server {
    tonic::transport::Server::builder()
        .accept_http1(!config.cors_origins.is_empty())
        .max_concurrent_streams(Some(1024))
        .http2_keepalive_interval(Some(Duration::from_secs(20)))
        .http2_keepalive_timeout(Some(Duration::from_secs(10)))
        .http2_max_header_list_size(Some(16 * 1024))
}

fn cors(config: &Config) -> CorsLayer {
    let name = HeaderName::from_static;
    CorsLayer::new()
        .allow_origin(AllowOrigin::list(config.cors_origins.clone()))
        .allow_methods([Method::POST])
        .allow_headers([
            header::CONTENT_TYPE,
            header::AUTHORIZATION,
            name("x-grpc-web"),
            name("x-user-agent"),
            name("grpc-timeout"),
        ])
        .expose_headers([
            name("grpc-status"),
            name("grpc-message"),
            name("grpc-status-details-bin"),
        ])
        .max_age(Duration::from_secs(7200))
}

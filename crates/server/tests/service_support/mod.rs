//! A real service on a free port, and clients to it.
#![allow(dead_code, unreachable_pub, reason = "each test file uses a part of it")]

use std::path::Path;

use deepbend_contract::pb;
use deepbend_contract::pb::inventory_service_client::InventoryServiceClient;
use deepbend_contract::pb::matching_service_client::MatchingServiceClient;
use deepbend_contract::pb::mechanics_service_client::MechanicsServiceClient;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use deepbend_server::{Config, ServeError, Server};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::transport::Channel;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// A service that runs until it is told to end.
pub struct Running {
    pub channel: Channel,
    pub address: std::net::SocketAddr,
    pub socket: Option<std::path::PathBuf>,
    end: Option<oneshot::Sender<()>>,
    task: JoinHandle<Result<(), ServeError>>,
}

/// Starts a service on a free port of this machine.
pub async fn start(config: Config) -> Running {
    start_on_port(config, "127.0.0.1:0".parse().unwrap()).await
}

/// Starts a service at an address.
pub async fn start_on_port(config: Config, listen: std::net::SocketAddr) -> Running {
    let config = Config { listen, ..config };
    let bound = Server::bind(config).await.unwrap();
    let address = bound.addr;
    let socket = bound.socket();
    let (end, told) = oneshot::channel();
    let task = tokio::spawn(bound.serve(async {
        let _ = told.await;
    }));
    let channel =
        Channel::from_shared(format!("http://{address}")).unwrap().connect().await.unwrap();
    Running { channel, address, socket, end: Some(end), task }
}

/// Starts a service on a data folder.
pub async fn start_on(folder: &Path) -> Running {
    start(Config { data: Some(folder.to_owned()), ..Config::default() }).await
}

impl Running {
    pub fn matching(&self) -> MatchingServiceClient<Channel> {
        MatchingServiceClient::new(self.channel.clone())
    }

    pub fn mechanics(&self) -> MechanicsServiceClient<Channel> {
        MechanicsServiceClient::new(self.channel.clone())
    }

    pub fn sync(&self) -> SyncServiceClient<Channel> {
        SyncServiceClient::new(self.channel.clone())
            .send_compressed(tonic::codec::CompressionEncoding::Gzip)
            .accept_compressed(tonic::codec::CompressionEncoding::Gzip)
    }

    pub fn inventory(&self) -> InventoryServiceClient<Channel> {
        InventoryServiceClient::new(self.channel.clone())
    }

    /// Tells it to end.
    pub fn tell_to_end(&mut self) {
        self.end.take().unwrap().send(()).unwrap();
    }

    /// Waits until it has ended.
    pub async fn ended(self) {
        drop(self.channel);
        self.task.await.unwrap().unwrap();
    }

    pub async fn end(mut self) {
        self.tell_to_end();
        self.ended().await;
    }
}

/// Code, stable reason, and metadata of an error, as `code REASON`.
pub fn reason(status: &Status) -> String {
    let info = status.get_details_error_info();
    let info = info.unwrap_or_else(|| panic!("no ErrorInfo: {status:?}"));
    assert_eq!(info.domain, "deepbend.v1");
    format!("{:?} {}", status.code(), info.reason)
}

/// Fields of the faults, each with its reason.
pub fn faults(status: &Status) -> Vec<(String, String)> {
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    let bad = status.get_details_bad_request().unwrap();
    bad.field_violations.into_iter().map(|fault| (fault.field, fault.reason)).collect()
}

/// The demo's files.
pub fn demo_files() -> Vec<pb::ImportFile> {
    let files = [
        (pb::ImportFileKind::Boats, include_str!("../../../cli/demo/boats.csv")),
        (pb::ImportFileKind::Devices, include_str!("../../../cli/demo/devices.csv")),
        (pb::ImportFileKind::LineStock, include_str!("../../../cli/demo/line_stock.csv")),
        (pb::ImportFileKind::Rods, include_str!("../../../cli/demo/rods.csv")),
        (pb::ImportFileKind::Reels, include_str!("../../../cli/demo/reels.csv")),
        (pb::ImportFileKind::Lures, include_str!("../../../cli/demo/lures.csv")),
    ];
    let file = |(kind, text): (pb::ImportFileKind, &str)| pb::ImportFile {
        kind: kind.into(),
        csv_text: text.to_owned(),
    };
    files.into_iter().map(file).collect()
}

/// An import of some files.
pub fn import_of(files: Vec<pb::ImportFile>) -> pb::ImportItemsRequest {
    let claim = pb::Claim {
        observed_time: Some("2031-09-15T17:00:00Z".parse().unwrap()),
        actor: "shed".to_owned(),
        certainty: pb::Certainty::Seen.into(),
    };
    pb::ImportItemsRequest { files, claim: Some(claim), ..Default::default() }
}

/// Boats, and rods that lie on the first of them.
pub fn small_fleet(rods: &[&str]) -> Vec<pb::ImportFile> {
    let mut text = "rod_id,handle,length_raw,lure_raw,line_raw,place\n".to_owned();
    for id in rods {
        text.push_str(&format!("{id},spinning,2.10 m,5-20 g,6-12 lb,B1\n"));
    }
    let boats = "boat_id,name,home_berth,rod_holders,max_rods_aboard\nB1,Grebe,quay,8,9\n";
    vec![
        pb::ImportFile { kind: pb::ImportFileKind::Boats.into(), csv_text: boats.to_owned() },
        pb::ImportFile { kind: pb::ImportFileKind::Rods.into(), csv_text: text },
    ]
}

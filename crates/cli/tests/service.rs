//! Several programs on one data folder.

#![allow(clippy::unwrap_used, missing_docs, reason = "a test")]

use std::time::Duration;

use deepbend_cli::service::Service;
use deepbend_contract::pb;
use deepbend_contract::pb::sync_service_client::SyncServiceClient;
use deepbend_server::{Id, socket_path};
use tonic::transport::Endpoint;

// Common practice, no source: who holds the folder ends after those that ask through it.
#[tokio::test]
async fn who_asks_through_another_is_answered_before_that_one_ends() {
    let folder = tempfile::tempdir().unwrap();
    let first = Service::boat(folder.path(), Id::new("B1-tablet").unwrap()).await.unwrap();
    let socket = format!("unix:{}", socket_path(folder.path()).display());
    let second = Endpoint::from_shared(socket).unwrap().connect().await.unwrap();
    let mut second = SyncServiceClient::new(second);
    second.get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
    let mut ending = tokio::spawn(first.close());
    tokio::time::timeout(Duration::from_millis(500), &mut ending).await.unwrap_err();
    second.get_sync_state(pb::GetSyncStateRequest {}).await.unwrap();
    drop(second);
    ending.await.unwrap().unwrap();
}

//! Who may call, what the service says of itself, and how it ends.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use std::time::Duration;

use deepbend_contract::pb;
use deepbend_contract::pb::matching_service_client::MatchingServiceClient;
use deepbend_server::{Config, Token};
use service_support::{reason, start, start_on};
use tokio::net::{TcpStream, UnixStream};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::transport::Endpoint;
use tonic::{Code, Request};
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_health::pb::{HealthCheckRequest, HealthCheckResponse};

const SERVICES: [&str; 4] = [
    "deepbend.v1.MatchingService",
    "deepbend.v1.InventoryService",
    "deepbend.v1.TripService",
    "deepbend.v1.MechanicsService",
];

fn health_of(service: &str) -> HealthCheckRequest {
    HealthCheckRequest { service: service.to_owned() }
}

/// Waits until a watched service is in a state.
async fn until(watch: &mut tonic::Streaming<HealthCheckResponse>, status: ServingStatus) {
    while watch.message().await.unwrap().unwrap().status() != status {}
}

// Source: gRPC health checking protocol.
#[tokio::test]
async fn health_tells_the_state_of_each_service() {
    let folder = tempfile::tempdir().unwrap();
    for with_data in [true, false] {
        let data = with_data.then(|| folder.path().to_owned());
        let running = start(Config { data, ..Config::default() }).await;
        let mut client = HealthClient::new(running.channel.clone());
        let mut watch = client.watch(health_of("")).await.unwrap().into_inner();
        until(&mut watch, ServingStatus::Serving).await;
        let mut serving = Vec::new();
        for service in SERVICES {
            let answer = client.check(health_of(service)).await.unwrap().into_inner();
            serving.push(answer.status() == ServingStatus::Serving);
        }
        assert_eq!(serving, [true, with_data, with_data, true]);
        assert_eq!(client.check(health_of("nobody")).await.unwrap_err().code(), Code::NotFound);
        drop((client, watch));
        running.end().await;
    }
}

// Source: gRPC server reflection, v1 and v1alpha.
#[tokio::test]
async fn reflection_lists_the_public_services() {
    use tonic_reflection::pb::{v1, v1alpha};
    let running = start(Config::default()).await;
    let list = v1::ServerReflectionRequest {
        message_request: Some(v1::server_reflection_request::MessageRequest::ListServices(
            String::new(),
        )),
        ..Default::default()
    };
    let mut client =
        v1::server_reflection_client::ServerReflectionClient::new(running.channel.clone());
    let mut answers =
        client.server_reflection_info(tokio_stream::iter([list])).await.unwrap().into_inner();
    let answer = answers.message().await.unwrap().unwrap().message_response.unwrap();
    let v1::server_reflection_response::MessageResponse::ListServicesResponse(list) = answer else {
        panic!("{answer:?}")
    };
    let names: Vec<_> = list.service.iter().map(|service| service.name.as_str()).collect();
    for service in SERVICES {
        assert!(names.contains(&service), "{names:?}");
    }
    let describe = v1alpha::ServerReflectionRequest {
        message_request: Some(
            v1alpha::server_reflection_request::MessageRequest::FileContainingSymbol(
                "deepbend.v1.Judgement".to_owned(),
            ),
        ),
        ..Default::default()
    };
    let mut client =
        v1alpha::server_reflection_client::ServerReflectionClient::new(running.channel.clone());
    let mut answers =
        client.server_reflection_info(tokio_stream::iter([describe])).await.unwrap().into_inner();
    let answer = answers.message().await.unwrap().unwrap().message_response.unwrap();
    assert!(matches!(
        answer,
        v1alpha::server_reflection_response::MessageResponse::FileDescriptorResponse(_)
    ));
    drop((client, answers));
    running.end().await;
}

// Source: RFC 6750 (bearer tokens); the socket of the folder is for whoever may use the folder.
#[tokio::test]
async fn callers_over_the_network_show_the_token() {
    let folder = tempfile::tempdir().unwrap();
    let token = Token::new("correct-horse-battery");
    let running =
        start(Config { data: Some(folder.path().to_owned()), token, ..Config::default() }).await;
    let mut client = running.matching();
    for shown in [None, Some("Bearer correct-horse-batterx"), Some("correct-horse-battery")] {
        let mut request = Request::new(pb::GetModelRequest {});
        if let Some(shown) = shown {
            request.metadata_mut().insert("authorization", shown.parse().unwrap());
        }
        let status = client.get_model(request).await.unwrap_err();
        assert_eq!(reason(&status), "Unauthenticated UNAUTHENTICATED");
    }
    let mut request = Request::new(pb::GetModelRequest {});
    let shown = "Bearer correct-horse-battery";
    request.metadata_mut().insert("authorization", shown.parse().unwrap());
    client.get_model(request).await.unwrap();
    HealthClient::new(running.channel.clone()).check(health_of("")).await.unwrap();

    let path = running.socket.clone().unwrap();
    let socket = path.clone();
    let connector = tower::service_fn(move |_: http::Uri| {
        let path = path.clone();
        async move { UnixStream::connect(path).await.map(hyper_util::rt::TokioIo::new) }
    });
    let endpoint = Endpoint::from_static("http://localhost");
    let channel = endpoint.connect_with_connector(connector).await.unwrap();
    let mut local = MatchingServiceClient::new(channel);
    local.get_model(pb::GetModelRequest {}).await.unwrap();
    drop((client, local));
    running.end().await;
    assert!(!socket.exists());
}

// Common practice, no source: a socket that a killed process left behind is in nobody's way.
#[tokio::test]
async fn a_stale_socket_is_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let stale = deepbend_server::socket_path(folder.path());
    drop(std::os::unix::net::UnixListener::bind(&stale).unwrap());
    assert!(stale.exists());
    let running = start_on(folder.path()).await;
    UnixStream::connect(&stale).await.unwrap();
    running.end().await;
}

// Source: Fetch standard, CORS protocol; gRPC-Web protocol (content type, trailers in the body).
#[tokio::test]
async fn web_pages_of_named_origins_may_call() {
    let origins = vec!["https://tackle.example".parse().unwrap()];
    let running = start(Config { cors_origins: origins, ..Config::default() }).await;
    let ask = |method: &str, origin: &str, more: &str, body: &[u8]| {
        let head = format!(
            "{method} /deepbend.v1.MatchingService/GetModel HTTP/1.1\r\nhost: localhost\r\n\
             origin: {origin}\r\nconnection: close\r\ncontent-length: {}\r\n{more}\r\n",
            body.len()
        );
        ([head.as_bytes(), body].concat(), running.address)
    };
    let call = "content-type: application/grpc-web+proto\r\nx-grpc-web: 1\r\n";
    let answer = http1(ask("POST", "https://tackle.example", call, &[0; 5])).await;
    assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    assert!(answer.contains("access-control-allow-origin: https://tackle.example"));
    assert!(answer.contains("grpc-status:0"), "no trailers in the body");
    let preflight = "access-control-request-method: POST\r\n\
                     access-control-request-headers: content-type,x-grpc-web\r\n";
    let answer = http1(ask("OPTIONS", "https://tackle.example", preflight, &[])).await;
    assert!(answer.contains("access-control-allow-headers: "), "{answer}");
    // Broken frames, 3: INVALID_ARGUMENT: shorter than it says, none, no such flag, no base64.
    let text = "content-type: application/grpc-web-text\r\nx-grpc-web: 1\r\n";
    let broken: [(&str, &[u8]); 4] =
        [(call, &[0, 0, 0, 0, 9, 1]), (call, &[]), (call, &[7, 0, 0, 0, 0]), (text, b"?!")];
    for (kind, body) in broken {
        let answer = http1(ask("POST", "https://tackle.example", kind, body)).await;
        let status = answer.contains("grpc-status: 3") || answer.contains("grpc-status:3");
        assert!(status, "{body:?}: {answer}");
    }
    let answer = http1(ask("POST", "https://elsewhere.example", call, &[0; 5])).await;
    assert!(!answer.contains("access-control-allow-origin"), "{answer}");
    // 7: PERMISSION_DENIED
    assert!(answer.contains("grpc-status: 7") || answer.contains("grpc-status:7"), "{answer}");
    running.end().await;
}

/// Sends bytes and reads the answer to its end.
async fn http1((request, address): (Vec<u8>, std::net::SocketAddr)) -> String {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(&request).await.unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}

// Source: gRPC guide on graceful shutdown: running calls end, health says so at once.
#[tokio::test]
async fn running_calls_end_before_the_service_does() {
    let mut running = start(Config::default()).await;
    let mut watch = HealthClient::new(running.channel.clone())
        .watch(health_of(SERVICES[0]))
        .await
        .unwrap()
        .into_inner();
    until(&mut watch, ServingStatus::Serving).await;
    let (sender, receiver) = mpsc::channel(1);
    sender.send(pb::JudgeBatchRequest::default()).await.unwrap();
    let mut answers =
        running.matching().judge_batch(ReceiverStream::new(receiver)).await.unwrap().into_inner();
    assert!(answers.message().await.unwrap().is_some());

    running.tell_to_end();
    until(&mut watch, ServingStatus::NotServing).await;
    sender.send(pb::JudgeBatchRequest::default()).await.unwrap();
    assert!(answers.message().await.unwrap().is_some());
    drop(sender);
    assert!(answers.message().await.unwrap().is_none());
    running.ended().await;
}

// Source: the contract of WatchItems and reason TOO_LARGE: who only watches takes no call's place.
#[tokio::test]
async fn watchers_leave_room_for_calls() {
    let folder = tempfile::tempdir().unwrap();
    let data = Some(folder.path().to_owned());
    let running = start(Config { data, max_calls: 2, ..Config::default() }).await;
    let mut inventory = running.inventory();
    let watch = pb::WatchItemsRequest::default;
    let mut watchers = Vec::new();
    for _ in 0..2 {
        let mut changes = inventory.watch_items(watch()).await.unwrap().into_inner();
        assert!(changes.message().await.unwrap().is_some());
        watchers.push(changes);
    }
    let status = inventory.watch_items(watch()).await.unwrap_err();
    assert_eq!(reason(&status), "ResourceExhausted TOO_LARGE");
    assert!(status.message().contains("at most 2"), "{status:?}");
    inventory.list_items(pb::ListItemsRequest::default()).await.unwrap();
    drop(watchers.pop());
    // Its place is free as soon as the service hears that it has gone.
    while inventory.watch_items(watch()).await.is_err() {}
    drop((inventory, watchers));
    running.end().await;
}

// Source: the contract, reason SHUTTING_DOWN.
#[tokio::test]
async fn calls_that_do_not_end_are_told_why() {
    let mut running = start(Config { drain: Duration::ZERO, ..Config::default() }).await;
    let (sender, receiver) = mpsc::channel(1);
    sender.send(pb::JudgeBatchRequest::default()).await.unwrap();
    let mut answers =
        running.matching().judge_batch(ReceiverStream::new(receiver)).await.unwrap().into_inner();
    assert!(answers.message().await.unwrap().is_some());
    running.tell_to_end();
    let status = answers.message().await.unwrap_err();
    assert_eq!(reason(&status), "Unavailable SHUTTING_DOWN");
    running.ended().await;
}

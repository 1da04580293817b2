//! What a guide types on two boats that are out of reach of each other.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

mod common;

use std::path::Path;

use common::{Ended, demo, ended, program};

fn on(folder: &Path, device: &str, args: &[&str]) -> Ended {
    let mut command = program(args);
    command.env("DEEPBEND_DATA", folder).env("DEEPBEND_DEVICE", device);
    ended(command.env_remove("DEEPBEND_ACTOR"))
}

// Source: the demo's expected_story.csv, S06 and S08, and issue 4: one short line each.
#[test]
fn two_boats_record_and_settle() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let b1 = |args: &[&str]| on(a.path(), "B1-tablet", args);
    let b2 = |args: &[&str]| on(b.path(), "B2-tablet", args);
    b1(&["gear", "import", demo("").as_str()]).code(0);
    // The other boat's service runs; this boat's program opens its own folder.
    let peer = Peer::start(b.path());
    b1(&["sync", &peer.address]).code(0).says(&["sent "]);
    let there = |args: &[&str]| {
        let args: Vec<_> = args.iter().copied().chain(["--server", &peer.address]).collect();
        b2(&args)
    };
    b1(&["log", "moved", "R17", "B1"]).code(0).quiet().says(&["recorded B1-tablet.1."]);
    there(&["log", "moved", "R17", "B3"]).code(0).says(&["recorded B2-tablet.1.1 R17"]);
    b1(&["log", "lost", "L30", "1", "--seen"]).code(0);
    there(&["log", "counted", "L30", "3"]).code(0);
    b1(&["log", "broke", "R15"]).code(0);
    there(&["log", "respooled", "E08", "PE 2 (40 lb)", "--from", "K04", "--metres", "150"]).code(0);
    b1(&["sync", &peer.address]).code(0).says(&["sent 3, received 3"]);
    b1(&["sync", &peer.address]).code(0).says(&["sent 0, received 0"]);
    let told = b1(&["contested"]).code(0).says(&[
        "R17 rod",
        "deepbend log moved R17 B1 --seen",
        "deepbend log moved R17 B3 --seen",
        "deepbend log counted L30 2",
    ]);
    assert_eq!(there(&["contested"]).code(0).out, told.out);
    b1(&["log", "moved", "R17", "B1", "--seen"]).code(0).quiet();
    b1(&["log", "counted", "L30", "2", "--seen"]).code(0).quiet();
    b1(&["contested"]).code(0).warns(&["nothing is contested"]);
    b1(&["history", "R17"]).code(0).says(&["moved to B3", "B2-tablet.1.1"]);
    b1(&["due", "--on", "2031-09-16"]).code(0).says(&["E03", "E10"]);
    b1(&["stocktake", "B1", "R17", "R17", "R11", "X99"]).code(0).says(&[
        "double tag",
        "misplaced",
        "extra",
        "missing",
    ]);
    b1(&["log", "inspected", "R23", "excellent", "looked"]).code(2);
    b1(&["log", "moved", "R99", "B1"]).code(65).warns(&["R99"]);
}

/// A service of another boat, on a thread of its own.
struct Peer {
    address: String,
    end: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Peer {
    fn start(folder: &Path) -> Self {
        let data = Some(folder.to_owned());
        let device = Some(deepbend_server::Id::new("B2-tablet").unwrap());
        let (tell, told) = std::sync::mpsc::channel();
        let (end, ended) = tokio::sync::oneshot::channel();
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Runtime::new().unwrap();
            runtime.block_on(async {
                let listen = "127.0.0.1:0".parse().unwrap();
                let config = deepbend_server::Config { listen, data, device, ..Default::default() };
                let bound = deepbend_server::Server::bind(config).await.unwrap();
                tell.send(format!("http://{}", bound.addr)).unwrap();
                bound.serve(async { drop(ended.await) }).await.unwrap();
            });
        });
        Self { address: told.recv().unwrap(), end: Some(end), thread: Some(thread) }
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        drop(self.end.take());
        drop(self.thread.take().map(std::thread::JoinHandle::join));
    }
}

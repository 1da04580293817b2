//! `MatchingService` over a real connection.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use std::time::Duration;

use deepbend_contract::pb;
use deepbend_server::Config;
use service_support::{demo_files, faults, import_of, reason, start, start_on};
use tokio_stream::StreamExt as _;
use tonic::{Code, Request};
use tonic_types::StatusExt as _;

fn rod(max_g: f64) -> pb::Outfit {
    let rod = pb::Rod {
        lure_rating_min_g: Some(max_g / 3.0),
        lure_rating_max_g: Some(max_g),
        ..Default::default()
    };
    pb::Outfit { rod: Some(rod), ..Default::default() }
}

fn lure(mass_g: f64) -> pb::Lure {
    pb::Lure { rigged_mass_g: Some(mass_g), ..Default::default() }
}

// Source: the contract, fault.proto: every fault is named, with its field.
#[tokio::test]
async fn nonsense_is_answered_with_every_fault() {
    let running = start(Config::default()).await;
    let status = running
        .matching()
        .judge(pb::JudgeRequest {
            outfit: Some(pb::Outfit {
                rod: Some(pb::Rod {
                    handle: 77,
                    length_m: Some(f64::NAN),
                    lure_rating_min_g: Some(30.0),
                    lure_rating_max_g: Some(10.0),
                    mass_g: Some(-5.0),
                    ..Default::default()
                }),
                drag_kgf: Some(1e300),
                ..Default::default()
            }),
            water: Some(pb::Water { species: "x".repeat(65), ..Default::default() }),
            rod_id: "R 14".to_owned(),
            overrides: [("no.such".to_owned(), 1.0), ("weight.load".to_owned(), 1e9)].into(),
            explanation: -1,
            request_label: "line\nbreak".to_owned(),
            ..Default::default()
        })
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "InvalidArgument INVALID_REQUEST");
    let found = faults(&status);
    let expected = [
        ("rod_id", "MALFORMED"),
        ("outfit.rod.handle", "UNKNOWN_VALUE"),
        ("outfit.rod.length_m", "NOT_FINITE"),
        ("outfit.rod.lure_rating_min_g", "SWAPPED"),
        ("outfit.rod.mass_g", "TOO_SMALL"),
        ("outfit.drag_kgf", "TOO_LARGE"),
        ("lure", "MISSING"),
        ("water.species", "TOO_LONG"),
        ("overrides[\"no.such\"]", "NOT_FOUND"),
        ("overrides[\"weight.load\"]", "TOO_LARGE"),
        ("explanation", "UNKNOWN_VALUE"),
        ("request_label", "MALFORMED"),
    ];
    assert_eq!(found, expected.map(|(field, code)| (field.to_owned(), code.to_owned())));
    let info = status.get_details_error_info().unwrap();
    assert_eq!(info.metadata["fault_count"], "12");
    running.end().await;
}

// Source: the contract: ids bring what the inventory knows, fields of the request replace it.
#[tokio::test]
async fn gear_is_described_or_named_or_both() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let mut client = running.matching();
    let ask = pb::JudgeRequest {
        rod_id: "R14".to_owned(),
        reel_id: "E12".to_owned(),
        lure_id: "L17".to_owned(),
        request_label: "mine".to_owned(),
        ..Default::default()
    };
    let answer = client.judge(ask.clone()).await.unwrap().into_inner();
    assert_eq!(answer.request_label, "mine");
    let judged = answer.judgement.unwrap();
    assert!(!judged.factors.is_empty() && judged.settings.is_some());
    assert!(judged.assumptions.iter().all(|a| a.field != "rod.action" && a.field != "line.test"));

    let slow = pb::Rod { action: pb::Action::ModerateFast.into(), ..Default::default() };
    let outfit = pb::Outfit { rod: Some(slow), ..Default::default() };
    let replaced = client.judge(pb::JudgeRequest { outfit: Some(outfit), ..ask.clone() }).await;
    let replaced = replaced.unwrap().into_inner().judgement.unwrap();
    // Common practice, no source: treble plugs want a rod that yields.
    assert!(replaced.score > judged.score, "{} {}", replaced.score, judged.score);

    let checked = pb::JudgeRequest { validate_only: true, ..ask.clone() };
    assert!(client.judge(checked).await.unwrap().into_inner().judgement.is_none());
    let summary = pb::JudgeRequest { explanation: pb::Explanation::Summary.into(), ..ask };
    let summary = client.judge(summary).await.unwrap().into_inner().judgement.unwrap();
    assert_eq!((summary.score, summary.factors.len()), (judged.score, 0));
    running.end().await;
}

// Source: the contract, reasons ITEM_NOT_FOUND and NO_INVENTORY.
#[tokio::test]
async fn unknown_ids_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    let ask = pb::JudgeRequest {
        rod_id: "R99".to_owned(),
        lure_id: "L99".to_owned(),
        ..Default::default()
    };
    let status = running.matching().judge(ask.clone()).await.unwrap_err();
    assert_eq!(reason(&status), "NotFound ITEM_NOT_FOUND");
    let info = status.get_details_error_info().unwrap();
    assert_eq!((info.metadata["kind"].as_str(), info.metadata["id"].as_str()), ("rod", "R99"));
    assert!(status.message().contains("L99"), "{status}");
    let with_fault = pb::JudgeRequest { explanation: 9, ..ask.clone() };
    let status = running.matching().judge(with_fault).await.unwrap_err();
    let found: Vec<_> = faults(&status).into_iter().map(|(field, _)| field).collect();
    assert_eq!(found, ["explanation", "rod_id", "lure_id"]);
    running.end().await;

    let bare = start(Config::default()).await;
    let status = bare.matching().judge(ask).await.unwrap_err();
    assert_eq!(reason(&status), "FailedPrecondition NO_INVENTORY");
    let status = bare.inventory().list_items(pb::ListItemsRequest::default()).await.unwrap_err();
    assert_eq!(reason(&status), "FailedPrecondition NO_INVENTORY");
    bare.end().await;
}

fn outfits(masses: &[f64]) -> Vec<pb::OutfitCandidate> {
    let outfit = |m: &f64| pb::OutfitCandidate { outfit: Some(rod(*m)), ..Default::default() };
    masses.iter().map(outfit).collect()
}

fn one_lure(mass_g: f64) -> pb::LureCandidate {
    pb::LureCandidate { lure: Some(lure(mass_g)), ..Default::default() }
}

// Source: the contract; which rod fits: facts of the trade, common practice, no source (a rod is
// at home from about half to four fifths of its printed maximum).
#[tokio::test]
async fn rankings_and_comparisons_fit_together() {
    let running = start(Config::default()).await;
    let mut client = running.matching();
    let request = pb::RankRequest {
        outfits: outfits(&[300.0, 21.0, 21.0, 7.0]),
        lures: vec![one_lure(15.0)],
        ..Default::default()
    };
    let ranking = client.rank(request.clone()).await.unwrap().into_inner();
    let places: Vec<_> =
        ranking.choices.iter().map(|c| (c.label.as_str(), c.rank, c.tied)).collect();
    assert_eq!(places[..2], [("2", 1, true), ("3", 1, true)]);
    assert_eq!(ranking.choices[0].score_behind, 0.0);
    assert!(ranking.choices[0].why_not.is_empty());
    let last = ranking.choices.last().unwrap();
    assert!(last.score_behind > 0.1 && !last.why_not.is_empty());
    assert_ne!(last.deciding_factor(), pb::FactorKind::Unspecified);
    assert!(ranking.summary.contains("ties"), "{}", ranking.summary);

    let [first, second] = [&request.outfits[0], &request.outfits[1]].map(Clone::clone);
    let request = pb::CompareRequest {
        first: Some(first),
        second: Some(second),
        lure: Some(one_lure(15.0)),
        ..Default::default()
    };
    let compared = client.compare(request).await.unwrap().into_inner();
    assert_eq!(compared.preferred(), pb::Preference::Second);
    let losses: i64 =
        compared.differences.iter().map(|d| d.second_loss_nano - d.first_loss_nano).sum();
    assert!((losses as f64 / 1e9 - compared.score_difference).abs() < 1e-9);
    assert!(compared.summary.starts_with("2 is "), "{}", compared.summary);

    let both = pb::RankRequest {
        outfits: outfits(&[10.0, 20.0]),
        lures: vec![one_lure(5.0), one_lure(6.0)],
        ..Default::default()
    };
    let status = client.rank(both).await.unwrap_err();
    assert_eq!(faults(&status), [("outfits".to_owned(), "CONFLICT".to_owned())]);
    let status = client.rank(pb::RankRequest::default()).await.unwrap_err();
    assert_eq!(faults(&status).len(), 2);
    running.end().await;
}

// Source: the contract, ReadGear: "what was odd, and what was made of it".
#[tokio::test]
async fn a_line_of_text_becomes_a_rod() {
    let running = start(Config::default()).await;
    let ask = |text: &str, kind: i32| pb::ReadGearRequest { text: text.to_owned(), kind };
    let mut client = running.matching();
    let read = client.read_gear(ask("7'2\" MH 3/8-1 oz 10-20 lb", 1)).await.unwrap().into_inner();
    let Some(pb::read_gear_response::Spec::Rod(rod)) = read.spec else { panic!("{read:?}") };
    // 1 in = 25.4 mm, 1 oz = 28.349523125 g: NIST SP 811, appendix B.
    assert!((rod.length_m.unwrap() - 2.1844).abs() < 1e-9);
    assert!((rod.lure_rating_max_g.unwrap() - 28.349_523_125).abs() < 1e-6);
    assert!(read.power.is_some());
    let status = client.read_gear(ask("", 0)).await.unwrap_err();
    assert_eq!(faults(&status).len(), 2);
    let model = client.get_model(pb::GetModelRequest {}).await.unwrap().into_inner();
    assert_eq!(model.lure_classes.len(), 34);
    assert!(model.parameters.len() > 50 && model.species.len() > 10);
    running.end().await;
}

fn row(id: &str, mass_g: f64) -> pb::JudgeBatchRow {
    pb::JudgeBatchRow {
        id: id.to_owned(),
        outfit: Some(rod(21.0)),
        lure: Some(lure(mass_g)),
        water: None,
    }
}

// Source: the contract: one answer a row, in order; a row with faults ends nothing.
#[tokio::test]
async fn batches_are_answered_in_order() {
    let running = start(Config::default()).await;
    let mut rows: Vec<_> = (0..700).map(|i| row(&i.to_string(), 1.0 + f64::from(i % 30))).collect();
    rows[300].lure = Some(lure(-1.0));
    rows[300].outfit = None;
    let message = |rows| pb::JudgeBatchRequest { rows, ..Default::default() };
    let messages = vec![message(rows.clone()), message(rows[..3].to_vec()), message(Vec::new())];
    let answers = running.matching().judge_batch(tokio_stream::iter(messages)).await.unwrap();
    let answers: Vec<_> = answers.into_inner().map(Result::unwrap).collect().await;
    assert_eq!(answers.iter().map(|a| a.results.len()).collect::<Vec<_>>(), [700, 3, 0]);
    for (index, result) in answers[0].results.iter().enumerate() {
        assert_eq!(result.id, index.to_string());
        let bad = index == 300;
        assert_eq!(
            (result.verdict() == pb::Verdict::Unspecified, result.faults.len()),
            (bad, if bad { 2 } else { 0 })
        );
    }
    let alone =
        pb::JudgeRequest { outfit: Some(rod(21.0)), lure: Some(lure(15.0)), ..Default::default() };
    let alone = running.matching().judge(alone).await.unwrap().into_inner().judgement.unwrap();
    let same = &answers[0].results[14];
    assert_eq!(
        (same.score, same.score_low, same.score_high),
        (alone.score, alone.score_low, alone.score_high)
    );
    assert_eq!(answers[0].model, alone.model);

    let too_many = message(vec![row("a", 5.0); 4097]);
    let mut answers =
        running.matching().judge_batch(tokio_stream::iter([too_many])).await.unwrap().into_inner();
    let status = answers.message().await.unwrap_err();
    assert_eq!(faults(&status), [("rows".to_owned(), "TOO_MANY".to_owned())]);
    running.end().await;
}

// Source: gRPC guide on deadlines; the reason is the contract's.
#[tokio::test]
async fn deadlines_are_answered_as_such() {
    let config = Config { call_limit: Duration::from_millis(1), workers: 1, ..Config::default() };
    let running = start(config).await;
    let request = pb::RankRequest {
        outfits: outfits(&vec![21.0; 1000]),
        lures: vec![one_lure(15.0)],
        ..Default::default()
    };
    let status = running.matching().rank(request).await.unwrap_err();
    assert_eq!(reason(&status), "DeadlineExceeded DEADLINE_EXCEEDED");

    // A stream that says nothing more ends at its deadline.
    let (sender, receiver) = tokio::sync::mpsc::channel(1);
    let mut request = Request::new(tokio_stream::wrappers::ReceiverStream::new(receiver));
    request.set_timeout(Duration::from_millis(300));
    sender.send(pb::JudgeBatchRequest::default()).await.unwrap();
    let mut answers = running.matching().judge_batch(request).await.unwrap().into_inner();
    assert!(answers.message().await.unwrap().is_some());
    let status = answers.message().await.unwrap_err();
    assert_eq!(reason(&status), "DeadlineExceeded DEADLINE_EXCEEDED");
    drop(sender);
    running.end().await;
}

// Source: the contract, reasons TOO_LARGE, INVALID_REQUEST and OVERLOADED.
#[tokio::test]
async fn limits_are_stated_and_kept() {
    let config = Config { max_request_bytes: 65_536, max_calls: 1, ..Config::default() };
    let running = start(config).await;
    let text = "x".repeat(70_000);
    let ask = pb::ReadGearRequest { text, kind: 1 };
    let status = running.matching().read_gear(ask).await.unwrap_err();
    assert_eq!(reason(&status), "ResourceExhausted TOO_LARGE");
    assert_eq!(status.get_details_error_info().unwrap().metadata["limit"], "65536");

    // Bytes that are no message: a label that is no UTF-8.
    let mut raw = tonic::client::Grpc::new(running.channel.clone());
    raw.ready().await.unwrap();
    let path = http::uri::PathAndQuery::from_static("/deepbend.v1.MatchingService/Judge");
    let codec = tonic_prost::ProstCodec::<Bytes, pb::JudgeResponse>::default();
    let status = raw.unary(Request::new(Bytes { label: vec![0xff] }), path, codec).await;
    assert_eq!(reason(&status.unwrap_err()), "InvalidArgument INVALID_REQUEST");

    // A stream keeps its place until its end.
    let (sender, receiver) = tokio::sync::mpsc::channel(1);
    let stream = tokio_stream::wrappers::ReceiverStream::new(receiver);
    sender.send(pb::JudgeBatchRequest::default()).await.unwrap();
    let mut answers = running.matching().judge_batch(stream).await.unwrap().into_inner();
    assert!(answers.message().await.unwrap().is_some());
    let status = running.matching().get_model(pb::GetModelRequest {}).await.unwrap_err();
    assert_eq!(reason(&status), "Unavailable OVERLOADED");
    drop(sender);
    assert!(answers.message().await.unwrap().is_none());
    assert_eq!(status.code(), Code::Unavailable);
    running.end().await;
}

/// A request whose label is bytes.
#[derive(Clone, PartialEq, prost::Message)]
struct Bytes {
    #[prost(bytes = "vec", tag = "10")]
    label: Vec<u8>,
}

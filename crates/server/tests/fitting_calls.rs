//! `Envelope` and `Specify` over a real connection.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod service_support;

use deepbend_contract::pb;
use deepbend_server::Config;
use service_support::{demo_files, faults, import_of, reason, start, start_on};

fn lure(class: pb::LureClass, mass_g: f64) -> pb::Lure {
    pb::Lure { lure_class: class.into(), rigged_mass_g: Some(mass_g), ..Default::default() }
}

fn named(lure: pb::Lure) -> pb::LureCandidate {
    pb::LureCandidate { lure: Some(lure), ..Default::default() }
}

fn judged(class: i32) -> bool {
    [pb::Verdict::Excellent, pb::Verdict::Good].map(i32::from).contains(&class)
}

// Source: the contract: the ends of a span are judged good by Judge itself.
#[tokio::test]
async fn an_envelope_agrees_with_judge() {
    let running = start(Config::default()).await;
    let mut client = running.matching();
    let rod = pb::Rod {
        lure_rating_min_g: Some(7.0),
        lure_rating_max_g: Some(21.0),
        action: pb::Action::Fast.into(),
        ..Default::default()
    };
    let outfit = pb::Outfit { rod: Some(rod), drag_kgf: Some(1.5), ..Default::default() };
    let jig = pb::Lure {
        hook: Some(pb::Hook { wire_mm: Some(0.85), ..Default::default() }),
        punch_n: Some(0.0),
        pull_n: Some(0.8),
        ..lure(pb::LureClass::PaddleTailJig, 12.0)
    };
    let water = pb::Water { species: "zander".to_owned(), ..Default::default() };
    let ask = pb::EnvelopeRequest {
        outfit: Some(outfit.clone()),
        lure: Some(jig.clone()),
        water: Some(water.clone()),
        request_label: "mine".to_owned(),
        ..Default::default()
    };
    let answer = client.envelope(ask.clone()).await.unwrap().into_inner();
    assert_eq!(answer.request_label, "mine");
    assert!(judged(answer.verdict) && answer.model.is_some(), "{}", answer.summary);
    let span = answer.rigged_mass_g.unwrap();
    assert!((span.present - 12.0).abs() < 1e-12 && span.nearest_good.is_none());
    let (least, greatest) = (span.least.unwrap(), span.greatest.unwrap());
    for (mass, good) in [
        (least.value, true),
        (least.value * 0.998, false),
        (greatest.value, true),
        (greatest.value * 1.002, false),
    ] {
        let request = pb::JudgeRequest {
            outfit: Some(outfit.clone()),
            lure: Some(pb::Lure { rigged_mass_g: Some(mass), ..jig.clone() }),
            water: Some(water.clone()),
            ..Default::default()
        };
        let judgement = client.judge(request).await.unwrap().into_inner().judgement.unwrap();
        assert_eq!(judged(judgement.verdict), good, "{mass} g: {}", judgement.summary);
    }
    let checked = pb::EnvelopeRequest { validate_only: true, ..ask };
    let checked = client.envelope(checked).await.unwrap().into_inner();
    assert_eq!((checked.verdict, checked.rigged_mass_g, checked.model), (0, None, None));
    running.end().await;
}

// Source: the contract; crankbaits on a rod that yields: common practice, no source.
#[tokio::test]
async fn a_specification_serves_its_lures() {
    let folder = tempfile::tempdir().unwrap();
    let running = start_on(folder.path()).await;
    running.inventory().import_items(import_of(demo_files())).await.unwrap();
    let mut client = running.matching();
    let lures = vec![
        pb::LureCandidate { lure_id: "L17".to_owned(), ..Default::default() },
        named(lure(pb::LureClass::Crankbait, 16.0)),
    ];
    let ask = pb::SpecifyRequest {
        lures,
        water: Some(pb::Water { species: "largemouth bass".to_owned(), ..Default::default() }),
        ..Default::default()
    };
    let answer = client.specify(ask.clone()).await.unwrap().into_inner();
    let labels: Vec<_> = answer.lures.iter().map(|lure| lure.label.as_str()).collect();
    assert_eq!(labels, ["L17", "2"]);
    assert!(judged(answer.verdict) && answer.obstacle.is_empty(), "{}", answer.summary);
    let (best, window) = (answer.best.unwrap(), answer.window.unwrap());
    assert!(best.actions[0] < i32::from(pb::Action::Fast), "{}", best.text);
    assert!(window.power_class_min <= best.power_class_min);
    assert!(window.lure_rating_max_to_g >= best.lure_rating_max_to_g);

    let far = pb::SpecifyRequest {
        lures: [3.0, 150.0].map(|g| named(lure(pb::LureClass::Minnow, g))).to_vec(),
        ..ask.clone()
    };
    let far = client.specify(far).await.unwrap().into_inner();
    assert!(!judged(far.verdict) && !far.obstacle.is_empty(), "{}", far.summary);
    assert_eq!(far.window, far.best);
    let checked = pb::SpecifyRequest { validate_only: true, ..ask };
    let checked = client.specify(checked).await.unwrap().into_inner();
    assert_eq!((checked.best, checked.lures.len()), (None, 0));
    running.end().await;
}

// Source: the contract, fault.proto: every fault is named, with its field.
#[tokio::test]
async fn nonsense_is_answered_with_every_fault() {
    let running = start(Config::default()).await;
    let mut client = running.matching();
    let expect = |status: &tonic::Status, expected: &[(&str, &str)]| {
        assert_eq!(reason(status), "InvalidArgument INVALID_REQUEST");
        let expected: Vec<_> = expected
            .iter()
            .map(|(field, code)| ((*field).to_owned(), (*code).to_owned()))
            .collect();
        assert_eq!(faults(status), expected);
    };
    let request = pb::EnvelopeRequest {
        lure: Some(lure(pb::LureClass::Minnow, -1.0)),
        overrides: [("envelope.mass_most_g".to_owned(), 1.0)].into(),
        request_label: "x".repeat(201),
        ..Default::default()
    };
    let status = client.envelope(request).await.unwrap_err();
    expect(
        &status,
        &[
            ("outfit", "MISSING"),
            ("lure.rigged_mass_g", "TOO_SMALL"),
            ("overrides[\"envelope.mass_most_g\"]", "TOO_SMALL"),
            ("request_label", "TOO_LONG"),
        ],
    );
    let status = client.specify(pb::SpecifyRequest::default()).await.unwrap_err();
    expect(&status, &[("lures", "MISSING")]);
    let one = named(lure(pb::LureClass::Minnow, 10.0));
    let many = pb::SpecifyRequest { lures: vec![one.clone(); 21], ..Default::default() };
    let status = client.specify(many).await.unwrap_err();
    expect(&status, &[("lures", "TOO_MANY")]);
    let same = pb::LureCandidate { label: "a".to_owned(), ..one };
    let bad = pb::LureCandidate { label: "b".to_owned(), ..Default::default() };
    let request = pb::SpecifyRequest { lures: vec![same.clone(), same, bad], ..Default::default() };
    let status = client.specify(request).await.unwrap_err();
    expect(&status, &[("lures[1].label", "DUPLICATE"), ("lures[2].lure", "MISSING")]);
    running.end().await;
}

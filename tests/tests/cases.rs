//! The case files through the real service, over gRPC.

#![allow(missing_docs, reason = "tests")]

use std::collections::BTreeMap;

use deepbend_cli::service::Service;
use deepbend_contract::{ToWire as _, WireWord as _, pb};
use deepbend_core::judge::Verdict;
use deepbend_tests::{Case, rank_key, read};

const VERDICTS: &str = include_str!("../data/verdicts.csv");
const ORDERINGS: &str = include_str!("../data/orderings.csv");
/// Drawn up apart from the model by two others, wider in water, species and platforms.
const WIDE_VERDICTS: &str = include_str!("../data/wide_verdicts.csv");
const WIDE_ORDERINGS: &str = include_str!("../data/wide_orderings.csv");

/// Of 151 wide cases, so many must be judged as expected, and of 60 wide orderings so many.
/// The others are differences of opinion between the cases' authors and the rules of practice.
const WIDE_VERDICTS_LEAST: usize = 135;
const WIDE_ORDERINGS_LEAST: usize = 57;

struct Answer {
    verdict: Verdict,
    key: (bool, f64),
}

async fn judged(service: &Service, case: &Case) -> Answer {
    let request = pb::JudgeRequest {
        outfit: Some(case.row.outfit.to_wire()),
        lure: Some(case.row.lure.to_wire()),
        water: Some(case.row.water.to_wire()),
        explanation: pb::Explanation::Summary.into(),
        ..pb::JudgeRequest::default()
    };
    let answer = service.matching().judge(service.request(request)).await;
    let answer = answer.unwrap_or_else(|status| panic!("{}: {status}", case.row.id)).into_inner();
    let judgement = answer.judgement.expect("a judgement was asked for");
    let wire = pb::Verdict::try_from(judgement.verdict).expect("a verdict of the contract");
    let verdict = Verdict::from_wire_word(wire).expect("a verdict is always given");
    Answer { verdict, key: rank_key(verdict, judgement.score, judgement.score_without_limits) }
}

/// Ids of the cases whose verdict is not accepted, and of plain `unsafe` ones that were missed.
async fn wrong_verdicts(text: &str) -> (usize, Vec<String>, Vec<String>) {
    let service = Service::embedded(None, None).await.expect("a service without a store starts");
    let (mut wrong, mut missed) = (Vec::new(), Vec::new());
    let cases = read(text);
    for case in &cases {
        let verdict = judged(&service, case).await.verdict;
        if !case.accepted.contains(&verdict) {
            wrong.push(format!("{} is {verdict:?}: {}", case.row.id, case.reason));
            if case.accepted == [Verdict::Unsafe] {
                missed.push(case.row.id.clone());
            }
        }
    }
    service.close().await.expect("the service ends");
    (cases.len(), wrong, missed)
}

async fn wrong_orderings(text: &str) -> (usize, Vec<String>) {
    let service = Service::embedded(None, None).await.expect("a service without a store starts");
    let mut keys = BTreeMap::new();
    for case in read(text) {
        let answer = judged(&service, &case).await;
        keys.insert(case.row.id.clone(), answer.key);
    }
    service.close().await.expect("the service ends");
    let better: Vec<_> = keys.keys().filter_map(|id| id.strip_suffix("_better")).collect();
    let wrong =
        better.iter().filter(|id| keys[&format!("{id}_better")] <= keys[&format!("{id}_worse")]);
    (better.len(), wrong.map(|id| (*id).to_owned()).collect())
}

#[tokio::test]
async fn verdicts_are_those_of_an_experienced_guide() {
    let (cases, wrong, _) = wrong_verdicts(VERDICTS).await;
    assert!(cases >= 33, "{cases} cases");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[tokio::test]
async fn orderings_are_those_of_an_experienced_guide() {
    let (pairs, wrong) = wrong_orderings(ORDERINGS).await;
    assert!(pairs >= 9, "{pairs} pairs");
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[tokio::test]
async fn cases_drawn_up_apart_are_mostly_judged_alike() {
    let (cases, wrong, missed) = wrong_verdicts(WIDE_VERDICTS).await;
    assert!(missed.is_empty(), "plain unsafe missed: {missed:?}");
    assert!(cases - wrong.len() >= WIDE_VERDICTS_LEAST, "of {cases}: {wrong:#?}");
    let (pairs, wrong) = wrong_orderings(WIDE_ORDERINGS).await;
    assert!(pairs - wrong.len() >= WIDE_ORDERINGS_LEAST, "of {pairs}: {wrong:?}");
}

//! Nonsense on the wire: every fault is named with its field, nothing panics.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{At, Faults, FromWire, overrides, pb};
use deepbend_core::gear::{Lure, Outfit};
use deepbend_core::water::Water;
use proptest::prelude::*;
use prost::Message;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

fn faults_of(request: pb::JudgeRequest) -> Faults {
    let mut faults = Faults::new();
    let root = At::ROOT;
    let outfit = request.outfit.unwrap_or_default();
    let _ = Outfit::from_wire(outfit, root.field("outfit"), &mut faults);
    let _ = Lure::from_wire(request.lure.unwrap_or_default(), root.field("lure"), &mut faults);
    let _ = Water::from_wire(request.water.unwrap_or_default(), root.field("water"), &mut faults);
    let _ = overrides(request.overrides, root.field("overrides"), &mut faults);
    faults
}

fn named(faults: &Faults) -> Vec<(&str, FaultCode)> {
    faults.as_slice().iter().map(|f| (f.field.as_str(), f.code)).collect()
}

// Source: the bounds that the contract states.
#[test]
fn all_faults_of_a_request_are_named_at_once() {
    let request = pb::JudgeRequest {
        outfit: Some(pb::Outfit {
            rod: Some(pb::Rod {
                handle: 7,
                length_m: Some(213.0),
                lure_rating_min_g: Some(30.0),
                lure_rating_max_g: Some(10.0),
                line_rating_max_kgf: Some(f64::NAN),
                piece_count: Some(0),
                ..Default::default()
            }),
            reel: Some(pb::Reel { size: "x".repeat(65), ..Default::default() }),
            line: Some(pb::Line { test_kgf: Some(-4.0), ..Default::default() }),
            leader: Some(pb::Leader { test_kgf: Some(0.0), ..Default::default() }),
            drag_kgf: Some(f64::INFINITY),
        }),
        lure: Some(pb::Lure {
            lure_class: -1,
            rigged_mass_g: Some(1e300),
            hook: Some(pb::Hook { hook_count: Some(-2), ..Default::default() }),
            ..Default::default()
        }),
        water: Some(pb::Water {
            toothy_probability: Some(1.01),
            species: "pike\n".into(),
            ..Default::default()
        }),
        overrides: [("load.x".to_owned(), f64::NEG_INFINITY)].into(),
        ..Default::default()
    };
    let faults = faults_of(request);
    assert_eq!(
        named(&faults),
        [
            ("outfit.rod.handle", FaultCode::UnknownValue),
            ("outfit.rod.length_m", FaultCode::TooLarge),
            ("outfit.rod.lure_rating_min_g", FaultCode::Swapped),
            ("outfit.rod.line_rating_max_kgf", FaultCode::NotFinite),
            ("outfit.rod.piece_count", FaultCode::TooSmall),
            ("outfit.reel.size", FaultCode::TooLong),
            ("outfit.line.test_kgf", FaultCode::TooSmall),
            ("outfit.leader.test_kgf", FaultCode::TooSmall),
            ("outfit.drag_kgf", FaultCode::NotFinite),
            ("lure.lure_class", FaultCode::UnknownValue),
            ("lure.rigged_mass_g", FaultCode::TooLarge),
            ("lure.hook.hook_count", FaultCode::TooSmall),
            ("water.species", FaultCode::Malformed),
            ("water.toothy_probability", FaultCode::TooLarge),
            ("overrides[\"load.x\"]", FaultCode::NotFinite),
        ]
    );
    let text = faults.as_slice()[1].to_string();
    assert_eq!(text, "outfit.rod.length_m is 213 m; right is 0.3 to 6 m");
    let text = faults.as_slice()[10].to_string();
    assert_eq!(text, "lure.rigged_mass_g is 1e300 g; right is 0.05 to 1000 g");
    let status = Status::from(faults);
    assert_eq!(status.code(), Code::InvalidArgument);
    let violations = status.get_details_bad_request().unwrap().field_violations;
    assert_eq!(violations.len(), 15);
    let right = "is 7; right is one of HANDLE_SPINNING, HANDLE_CASTING";
    assert_eq!(
        (violations[0].reason.as_str(), violations[0].description.as_str()),
        ("UNKNOWN_VALUE", right)
    );
}

// Source: common practice, no source: a leader file has 0 where there is no leader.
#[test]
fn zero_is_no_fault_where_it_means_none() {
    let leader = |material: pb::LeaderMaterial| pb::JudgeRequest {
        outfit: Some(pb::Outfit {
            leader: Some(pb::Leader {
                material: material.into(),
                test_kgf: Some(0.0),
                diameter_mm: Some(0.0),
                length_m: Some(-0.0),
            }),
            ..Default::default()
        }),
        ..Default::default()
    };
    assert!(faults_of(leader(pb::LeaderMaterial::None)).is_empty());
    assert_eq!(faults_of(leader(pb::LeaderMaterial::Nylon)).as_slice().len(), 3);
}

// Source: the contract: everything may be left out.
#[test]
fn an_empty_request_has_no_fault_of_its_own() {
    assert!(faults_of(pb::JudgeRequest::default()).is_empty());
}

/// Any message whatever: its bytes as they may come from a careless client.
fn any_request() -> impl Strategy<Value = pb::JudgeRequest> {
    let double = || proptest::option::of(any::<f64>());
    let nasty = prop_oneof![Just(f64::NAN), Just(f64::MIN), Just(f64::MIN_POSITIVE), Just(-0.0)];
    let numbers = (double(), double(), double(), double(), proptest::option::of(nasty));
    (numbers, any::<[i32; 4]>(), any::<String>()).prop_map(|(n, i, text)| pb::JudgeRequest {
        outfit: Some(pb::Outfit {
            rod: Some(pb::Rod {
                action: i[0],
                lure_rating_min_g: n.0,
                lure_rating_max_g: n.1,
                line_rating_min_kgf: n.4,
                piece_count: Some(i[1]),
                ..Default::default()
            }),
            reel: Some(pb::Reel { size: text.clone(), gear_ratio: n.2, ..Default::default() }),
            leader: Some(pb::Leader { material: i[2], test_kgf: n.3, ..Default::default() }),
            ..Default::default()
        }),
        lure: Some(pb::Lure {
            lure_class: i[3],
            rigged_mass_g: n.4,
            hook: Some(pb::Hook { wire_mm: n.0, size: text.clone(), ..Default::default() }),
            ..Default::default()
        }),
        water: Some(pb::Water { species: text, depth_m: n.1, ..Default::default() }),
        ..Default::default()
    })
}

proptest! {
    // Source: the contract: a request is refused exactly if something in it is out of bounds.
    #[test]
    fn nothing_panics_and_what_passes_is_sound(request in any_request()) {
        let rod = request.outfit.as_ref().unwrap().rod.unwrap();
        let faults = faults_of(request);
        let sound = |v: Option<f64>| v.is_none_or(|v| (0.05..=1000.0).contains(&v));
        let (min, max) = (rod.lure_rating_min_g, rod.lure_rating_max_g);
        let ordered = min.zip(max).is_none_or(|(min, max)| min <= max);
        let blamed = faults.as_slice().iter().any(|f| f.field.contains("lure_rating"));
        prop_assert_eq!(!blamed, sound(min) && sound(max) && ordered);
        for fault in faults.as_slice() {
            prop_assert!(fault.field.contains('.') && !fault.wrong.is_empty());
            prop_assert!(!fault.right.is_empty() && fault.wrong.len() < 200, "{}", fault);
        }
    }

    // Source: the contract; bytes of any kind are either refused by the decoder or checked.
    #[test]
    fn bytes_of_any_kind_do_no_harm(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        if let Ok(request) = pb::JudgeRequest::decode(bytes.as_slice()) {
            let _ = Status::from(faults_of(request));
        }
    }
}

//! Every field of a plan is falsified, one after the other. Source of what is right: the contract's
//! comments on Plan and CheckCoverageRequest.
#![allow(clippy::wildcard_enum_match_arm, reason = "a plan has few of the kinds of values")]

use std::collections::BTreeMap;

use deepbend_contract::FILE_DESCRIPTOR_SET;
use deepbend_core::model::Model;
use prost::Message as _;
use prost_reflect::{DescriptorPool, DynamicMessage, FieldDescriptor, ReflectMessage as _};
use prost_reflect::{MapKey, Value};
use tokio::sync::watch::Sender;
use tokio_util::sync::CancellationToken;

use super::*;
use crate::trips::ask::Terms;
use crate::trips::fleet_tests::trip_support::{Fleet, demo_trip, plan_on};
use crate::trips::gauge::Gauge;
use crate::trips::{ask, ask_plan};

/// Fields that may say anything, and why.
const FREE: [(&str, &str); 5] = [
    ("reproducible", "whether the clock cut the search: nothing in the plan tells"),
    ("counts.node_count", "only the same search again would tell"),
    ("if_sighted[].difference", "another plan, of another inventory: only a search would tell"),
    ("if_sighted[].outfits", "another plan, of another inventory: only a search would tell"),
    ("if_sighted[].covered_count", "another plan, of another inventory: only a search would tell"),
];

/// A step to a value: a field, then a place in its list.
type Path = Vec<(FieldDescriptor, Option<usize>)>;

fn text(path: &Path, numbered: bool) -> String {
    let step = |(field, at): &(FieldDescriptor, Option<usize>)| match at {
        Some(at) if numbered => format!("{}[{at}]", field.name()),
        Some(_) => format!("{}[]", field.name()),
        None => field.name().to_owned(),
    };
    path.iter().map(step).collect::<Vec<_>>().join(".")
}

/// Every value of a message with other ones that it could have.
fn falsified(plan: &DynamicMessage, within: &Path, ids: &[String], found: &mut Vec<(Path, Value)>) {
    for field in plan.descriptor().fields() {
        if within.is_empty() && field.name() == "basis" {
            continue;
        }
        let path = |at: Option<usize>| {
            let mut path = within.clone();
            path.push((field.clone(), at));
            path
        };
        let value = plan.get_field(&field).into_owned();
        match value {
            Value::List(list) => {
                for (i, value) in list.iter().enumerate() {
                    match value {
                        Value::Message(message) => falsified(message, &path(Some(i)), ids, found),
                        leaf => found.push((path(Some(i)), other(leaf, ids))),
                    }
                }
                let mut fewer = list.clone();
                match fewer.pop() {
                    Some(last) => {
                        found.push((path(None), Value::List(fewer)));
                        let mut more = list.clone();
                        more.push(last);
                        found.push((path(None), Value::List(more)));
                    }
                    None => {
                        let kind = field.kind();
                        let message = kind.as_message().cloned().map(DynamicMessage::new);
                        let text = || Value::String("K01".to_owned());
                        let empty = message.map_or_else(text, Value::Message);
                        found.push((path(None), Value::List(vec![empty])));
                    }
                }
            }
            Value::Message(message) if plan.has_field(&field) => {
                falsified(&message, &path(None), ids, found);
            }
            Value::Message(message) => found.push((path(None), Value::Message(message))),
            Value::Map(mut map) => {
                map.insert(MapKey::String("action.shake_cost".to_owned()), Value::F64(1.0));
                found.push((path(None), Value::Map(map)));
            }
            leaf => found.push((path(None), other(&leaf, ids))),
        }
    }
}

/// Another value of the same kind: another id, if it is one.
fn other(value: &Value, ids: &[String]) -> Value {
    match value {
        Value::String(text) => {
            let alike = |id: &&String| id[..1] == text[..1] && *id != text;
            let known = ids.contains(text).then(|| ids.iter().find(alike)).flatten();
            Value::String(known.cloned().unwrap_or_else(|| format!("{text}x")))
        }
        Value::Bool(yes) => Value::Bool(!yes),
        Value::I32(n) => Value::I32(n + 1),
        Value::I64(n) => Value::I64(n + 1),
        Value::F64(x) => Value::F64(if *x > 0.5 { x * 0.99 } else { x + 0.01 }),
        Value::EnumNumber(n) => Value::EnumNumber(if *n == 1 { 2 } else { 1 }),
        _ => unreachable!("a plan has no such values"),
    }
}

fn set(message: &mut DynamicMessage, path: &[(FieldDescriptor, Option<usize>)], value: Value) {
    let [(field, at), rest @ ..] = path else { return };
    match (at, rest) {
        (None, []) => message.set_field(field, value),
        (None, rest) => set(message.get_field_mut(field).as_message_mut().unwrap(), rest, value),
        (Some(at), rest) => {
            let entry = &mut message.get_field_mut(field).as_list_mut().unwrap()[*at];
            match rest {
                [] => *entry = value,
                rest => set(entry.as_message_mut().unwrap(), rest, value),
            }
        }
    }
}

/// Ids that are strings of a plan: a letter and digits.
fn ids(plan: &DynamicMessage, found: &mut Vec<String>) {
    for (_, value) in plan.fields() {
        let each = |value: &Value, found: &mut Vec<String>| match value {
            Value::String(text) => {
                let digits = text.get(1..).is_some_and(|rest| rest.parse::<u32>().is_ok());
                if digits && !found.contains(text) {
                    found.push(text.clone());
                }
            }
            Value::Message(message) => ids(message, found),
            _ => {}
        };
        match value {
            Value::List(list) => list.iter().for_each(|value| each(value, found)),
            value => each(value, found),
        }
    }
}

#[tokio::test]
async fn every_falsified_field_is_named() {
    let request = demo_trip("T1", &["B2", "B3", "S0"]);
    let service = Fleet::demo().service();
    let plan = plan_on(&service, request).await.unwrap();
    let view = service.inventory.as_ref().unwrap().view();
    let model = Model::builtin();
    let gauge = Gauge::new(None, CancellationToken::new(), Sender::default());
    let desk = Desk::new(&view, model, &Terms::default(), None, &gauge);
    let trip = plan.trip.clone();
    let wire = pb::CheckCoverageRequest { trip, plan: Some(plan.clone()), ..Default::default() };
    let before = ask::check(wire, Some(&view)).unwrap().1.unwrap();
    let asked = &before.asked;
    let reach = |item: &deepbend_ledger::item::Item| pool::in_pool(&view, asked, item);
    let pool = Pool::gather(model, &view, asked, &reach);
    let cases = case::cases(asked, &pool);
    let judge = Judge { model, weights: &desk.weights, asked, pool: &pool, cases: &cases };
    let mut problem = pool.problem(asked);
    (problem.candidates, _) = judge.candidates(&gauge, None).unwrap();
    let faults = |plan: &pb::Plan| -> Vec<String> {
        let mut faults = Faults::new();
        ask_plan::read(plan, Some(&before.asked.trip.wire), Some(&view), At::ROOT, &mut faults);
        if !faults.is_empty() {
            return faults.as_slice().iter().map(|fault| fault.field.clone()).collect();
        }
        let before = Before { plan: plan.clone(), asked: asked.clone() };
        let found = against(&desk, desk.gauge, &before, &judge, problem.clone()).unwrap();
        found.into_iter().map(|difference| difference.field).collect()
    };
    assert_eq!(faults(&plan), Vec::<String>::new());
    let pool = DescriptorPool::decode(FILE_DESCRIPTOR_SET).unwrap();
    let kind = pool.get_message_by_name("deepbend.v1.Plan").unwrap();
    let good = DynamicMessage::decode(kind, &plan.encode_to_vec()[..]).unwrap();
    let (mut known, mut values) = (Vec::new(), Vec::new());
    ids(&good, &mut known);
    falsified(&good, &Vec::new(), &known, &mut values);
    // Of the entries of a list, of which each has the same fields, another one for each field.
    let mut by_field: BTreeMap<String, Vec<(Path, Value)>> = BTreeMap::new();
    for (path, value) in values {
        by_field.entry(text(&path, false)).or_default().push((path, value));
    }
    let mut silent = Vec::new();
    // What a plan decides is falsified in every entry, all else in one of them.
    let chosen = by_field.iter().enumerate().flat_map(|(turn, (field, list))| {
        let all = field.starts_with("outfits");
        let one = move |i: &usize| all || *i == turn % list.len();
        (0..list.len()).filter(one).map(move |i| (field, &list[i]))
    });
    for (field, (path, value)) in chosen {
        let mut bad = good.clone();
        set(&mut bad, path, value.clone());
        let bad = pb::Plan::decode(&bad.encode_to_vec()[..]).unwrap();
        let (found, at) = (faults(&bad), text(path, true));
        let named = found.iter().any(|f| *f == at || f.starts_with(&format!("{at}[")));
        // What deletes an outfit is told of all that it leaves behind.
        let named = named || (at == "outfits" && !found.is_empty());
        let free = FREE.iter().any(|(free, _)| field.starts_with(free));
        if named == free {
            silent.push(format!("{at} = {value}: {found:?}"));
        }
    }
    assert!(silent.is_empty(), "{}", silent.join("\n"));
}

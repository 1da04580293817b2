//! What people do not agree on is planned with at its cautious value, or not at all, and given back
//! "if sighted". Source of the rules: the design of plans (contested status and place are barred,
//! a contested line or leader counts as the weaker, of two counts the lower); the tellings are
//! invented.
#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod trip_support;

use std::collections::BTreeMap;
use std::sync::Arc;

use deepbend_contract::pb;
use deepbend_ledger::body::{Body, Measure};
use deepbend_ledger::event::Certainty;
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{FittedLine, Item, ItemKey, ItemKind, Spec, Status};
use deepbend_ledger::view::View;
use deepbend_server::trips::TripServiceImpl;
use trip_support::{Fleet, plan_on, record, t1, tell};

fn key(kind: ItemKind, id: &str) -> ItemKey {
    ItemKey { kind, id: Id::new(id).unwrap() }
}

fn counted(kind: ItemKind, id: &str, amount: u32) -> Body {
    let measure = Measure::Pieces;
    Body::Counted { item: key(kind, id), measure, place: None, amount }
}

fn edited(kind: ItemKind, id: &str, column: &str, cell: &str) -> Body {
    let columns = BTreeMap::from([(column.to_owned(), Some(cell.to_owned()))]);
    Body::Edited { item: key(kind, id), columns }
}

fn moved(kind: ItemKind, id: &str, to: &str) -> Body {
    Body::Moved { item: key(kind, id), from: None, to: Id::new(to).unwrap(), pieces: None }
}

fn inspected(id: &str, status: Status) -> Body {
    let reason = "looked at under a lamp".to_owned();
    Body::Inspected { item: key(ItemKind::Rod, id), status, condition: None, reason }
}

/// The line of another reel, put on this one.
fn respooled(view: &View, reel: &str, like: &str) -> Body {
    let Spec::Reel(other) = &view.get(&key(ItemKind::Reel, like)).unwrap().item().spec else {
        panic!("{like} is no reel")
    };
    let fitted: Option<Box<FittedLine>> = other.fitted.clone().map(Box::new);
    Body::Respooled { reel: Id::new(reel).unwrap(), fitted, from: None, taken_cm: None }
}

fn worth(plan: &pb::Plan) -> i64 {
    plan.value.unwrap().objective_micros
}

/// Grebe's plan after devices told this, none of which heard of another.
async fn after(told: &[(&str, Certainty, Body)]) -> pb::Plan {
    let inventory = Fleet::demo().inventory();
    tell(&inventory, told.to_vec());
    let plan = plan_on(&TripServiceImpl::new(Some(inventory)), t1()).await.unwrap();
    assert_eq!(plan.status(), pb::PlanStatus::Optimal);
    plan
}

/// What is told by two devices that do not agree, the worse first, and how the better is seen.
struct Contested {
    item: &'static str,
    worse: Body,
    better: Body,
    seen_as: &'static str,
    until: &'static str,
}

fn tellings() -> Vec<Contested> {
    let view = Fleet::demo().inventory().view();
    let one =
        |item, worse, better, seen_as, until| Contested { item, worse, better, seen_as, until };
    let barred = "Until then do not count on it.";
    use ItemKind::{LineStock, Lure, Reel, Rod};
    vec![
        one(
            "R19",
            inspected("R19", Status::Broken),
            inspected("R19", Status::Ready),
            "ready",
            barred,
        ),
        one("E13", moved(Reel, "E13", "B3"), moved(Reel, "E13", "B2"), "", barred),
        one("R17", moved(Rod, "R17", "B3"), moved(Rod, "R17", "B2"), "", barred),
        one(
            "L21",
            counted(Lure, "L21", 0),
            counted(Lure, "L21", 5),
            "5 pieces",
            "Until then 0 pieces counts.",
        ),
        one(
            "K09",
            counted(LineStock, "K09", 0),
            counted(LineStock, "K09", 20),
            "20 pieces",
            "Until then 0 pieces counts.",
        ),
        one(
            "K09",
            edited(LineStock, "K09", "spec_raw", "1 kg, 40 cm x 20"),
            edited(LineStock, "K09", "spec_raw", "9 kg, 40 cm x 20"),
            "titanium of 9 kg (20 lb)",
            "Until then titanium of 1 kg (2.2 lb) counts.",
        ),
        one(
            "E13",
            edited(Reel, "E13", "drag_max_raw", "1 kg"),
            edited(Reel, "E13", "drag_max_raw", "11 kg"),
            "11 kg (24 lb) of drag",
            "Until then 1 kg (2.2 lb) of drag counts.",
        ),
        one(
            "E13",
            respooled(&view, "E13", "E01"),
            respooled(&view, "E13", "E13"),
            "braid of 31 kg (68 lb) and 0.33 mm (0.0130 in)",
            "Until then braid of 2.7 kg (6.0 lb) and 0.33 mm (0.0130 in) counts.",
        ),
    ]
}

#[tokio::test]
async fn what_is_contested_is_planned_with_as_the_worse_and_given_back_if_sighted() {
    for Contested { item, worse, better, seen_as, until } in tellings() {
        // The less certain word is the worse one, and it counts all the same.
        let worse = ("B1-tablet", Certainty::Typed, worse);
        let better = ("B2-tablet", Certainty::Seen, better);
        let worst = after(std::slice::from_ref(&worse)).await;
        let best = after(std::slice::from_ref(&better)).await;
        assert!(worth(&worst) < worth(&best), "{item} matters as {until}");
        let plan = after(&[worse, better]).await;
        // The thicker of two lines casts worse than either story alone.
        let at_most = worth(&plan) <= worth(&worst);
        assert!(at_most && (item == "E13" || worth(&plan) == worth(&worst)), "{item}");
        let seen = plan.if_sighted.iter().find(|s| s.item_id == item && s.seen_as == seen_as);
        let seen = seen.unwrap_or_else(|| panic!("{item} {seen_as}: {:?}", plan.if_sighted));
        // The boat departs at 7; 20 minutes to hand over, then the first job that comes on top and those
        // after it, one after the other.
        let jobs = seen.difference.iter().flat_map(|change| &change.added_jobs);
        let new: Vec<_> = jobs.filter_map(|changed| changed.job.as_ref()).collect();
        let is_new = |job: &pb::Job| new.iter().any(|new| new.text == job.text);
        let ashore = best.jobs.iter().filter(|job| job.segment_id.is_empty());
        let after: Vec<_> = ashore.clone().skip_while(|job| !is_new(job)).collect();
        let minutes = |jobs: &[&pb::Job]| jobs.iter().map(|job| job.duration_minutes).sum::<i32>();
        // And all of them, along with what is done anyhow.
        let all = if after.is_empty() { 0 } else { minutes(&ashore.collect::<Vec<_>>()) };
        let by = (7 * 60 - 20 - minutes(&after)).min(7 * 60 - all);
        // Nor is a line wound on for nothing before.
        let removed = seen.difference.iter().flat_map(|change| &change.removed_jobs);
        let removed = removed.filter_map(|changed| changed.job.as_ref());
        let wound: Vec<_> = removed.filter(|job| job.kind() == pb::JobKind::Respool).collect();
        let before = plan.jobs.iter().filter(|job| job.segment_id.is_empty());
        let is_wound = |job: &pb::Job| wound.iter().any(|wound| wound.text == job.text);
        let before: Vec<_> = before.skip_while(|job| !is_wound(job)).collect();
        let by = if wound.is_empty() { by } else { by.min(7 * 60 - minutes(&before)) };
        assert_eq!(seen.deadline, format!("{:02}:{:02}", by / 60, by % 60), "{item}");
        assert!(seen.text.ends_with(until), "{}", seen.text);
        let gain = seen.difference.as_ref().unwrap().gain_micros;
        assert_eq!(worth(&plan) + gain, worth(&best), "{item}: {}", seen.text);
        assert_eq!(seen.covered_count, best.counts.unwrap().covered_count);
    }
}

// A tag that two things of one kind bear bars reels, lures and leaders as it does rods.
#[tokio::test]
async fn a_tag_on_two_items_bars_every_kind() {
    let snapshot = Fleet::demo().inventory().view();
    let certain = after(&[]).await;
    for (kind, item) in
        [(ItemKind::Reel, "E13"), (ItemKind::Lure, "L21"), (ItemKind::LineStock, "K09")]
    {
        let twin = snapshot.get(&key(kind, item)).unwrap().item().clone();
        let twin = Item { serial: Some("another".to_owned()), ..twin };
        let inventory = Fleet::demo().inventory();
        let twin = Body::Acquired { item: Arc::new(twin) };
        record(&inventory, &View::default(), ("B2-tablet", Certainty::Typed, twin));
        let plan = plan_on(&TripServiceImpl::new(Some(inventory)), t1()).await.unwrap();
        let used = plan
            .outfits
            .iter()
            .flat_map(|o| std::iter::once(&o.reel_id).chain(&o.leader_stock_ids));
        let used = used.chain(plan.assignments.iter().map(|a| &a.lure_id));
        assert!(used.clone().all(|id| id != item), "{item}");
        let seen = plan.if_sighted.iter().find(|s| s.item_id == item).unwrap();
        assert!(seen.difference.as_ref().unwrap().gain_micros > 0);
        assert!(worth(&plan) < worth(&certain));
    }
}

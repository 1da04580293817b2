//! What to buy for a season, and what never leaves the rack.

use std::collections::BTreeSet;

use deepbend_contract::{ToWire as _, WireWord as _, pb};
use deepbend_core::gear::{Lure, Outfit, Word as _, infer_power};
use deepbend_core::judge;
use deepbend_planner::season::{self, Addition, SeasonError};
use deepbend_planner::weights::{Micros, ONE, WORTH_BUYING, in_words};
use tonic::Status;

use super::answer::count;
use super::ask_season::Gaps;
use super::desk::Desk;
use super::season::{Reels, Table, Thing};
use super::specs::{LIKE_CLASSES, Spec};
use super::stopped;

/// Specs that add at least this share of the best one are in its window.
const WINDOW_SHARE: (Micros, Micros) = (9, 10);
/// A second one like a rod that is owned is the answer if it adds at least this share of the best
/// new spec. Common practice, no source: duplicate before diversifying; nobody has to learn it.
const DOUBLE_SHARE: (Micros, Micros) = (3, 5);
/// Gaps that add less than this share of the first one are not named.
const LEAST_SHARE: Micros = 8;
/// Lures that are named for a gap.
const NAMED: usize = 6;

/// Answers what to buy.
pub(super) fn find(desk: &Desk<'_>, asked: &Gaps) -> Result<pb::FindGapsResponse, Status> {
    let owned = |item: &deepbend_ledger::item::Item| {
        let known = |id: &deepbend_ledger::id::Id| asked.places.contains(id.as_str());
        asked.places.is_empty() || item.place.as_ref().is_some_and(known)
    };
    desk.season(&asked.season.trips, &owned, Reels::Any, &asked.prices, &mut |table| {
        answer(desk, asked, table)
    })
}

fn answer(
    desk: &Desk<'_>,
    asked: &Gaps,
    table: &Table<'_>,
) -> Result<pb::FindGapsResponse, Status> {
    let weights = &desk.weights;
    desk.gauge.begin(pb::PlanStage::Searching, 0);
    let none = |error| desk.no_season(error);
    // What is judged is counted, however late it is.
    let wanted = || desk.wanted();
    let additions = season::gaps(&table.season, weights, &wanted).map_err(none)?;
    let rack = season::on_the_rack(&table.season, weights, &wanted).map_err(none)?;
    let (gaps, all_gaps) = gaps(desk, table, &additions, asked.count)?;
    let mut wire = pb::FindGapsResponse {
        gaps,
        rack: rack.iter().map(|addition| rack_rod(table, addition)).collect(),
        full_micros: full(table),
        least_added_micros: least(table),
        owned_micros: owned_worth(desk, table),
        model: Some(desk.model.id().to_wire()),
        unjudged_rod_count: count(table.unjudged),
        abridged: table.unjudged > 0 || !table.is_whole || !all_gaps,
        ..pb::FindGapsResponse::default()
    };
    let in_time = || desk.in_time();
    let bought = asked.budget.map(|budget| {
        let bought = season::purchases(&table.season, weights, budget, least(table), &in_time);
        match (bought, desk.gauge.wanted()) {
            // The time was up, and somebody still waits for the rest of the answer.
            (Err(SeasonError::GivenUp), Ok(())) => Ok(None),
            (bought, _) => bought.map(Some).map_err(none),
        }
    });
    let bought = bought.transpose()?;
    wire.abridged |= bought == Some(None);
    if let Some(bought) = bought.flatten() {
        wire.bound_micros = Some(bought.bound);
        wire.purchases = bought.buys.iter().map(|buy| purchase(table, buy)).collect();
        for one in &wire.purchases {
            match wire.shares.iter_mut().find(|share| share.handle == one.handle) {
                Some(share) => {
                    share.spent_cents += one.price_cents;
                    share.added_micros += one.added_micros;
                }
                None => wire.shares.push(pb::BudgetShare {
                    handle: one.handle,
                    spent_cents: one.price_cents,
                    added_micros: one.added_micros,
                }),
            }
        }
        wire.shares.sort_by_key(|share| share.handle);
    }
    Ok(wire)
}

/// What the needs are worth with what is owned.
fn owned_worth(desk: &Desk<'_>, table: &Table<'_>) -> Micros {
    let owned: Vec<usize> =
        (0..table.things.len()).filter(|o| table.season.outfits[*o].price.is_none()).collect();
    let rows = table.season.needs.iter().zip(&table.season.worth);
    rows.map(|(need, row)| {
        let mut worths: Vec<Micros> = owned.iter().map(|o| row[*o]).collect();
        worths.sort_unstable_by(|a, b| b.cmp(a));
        let shares = desk.weights.shares(need.copies_at_once);
        let sum: Micros = shares.iter().zip(&worths).map(|(share, worth)| share * worth).sum();
        Micros::from(need.weight) * sum / ONE
    })
    .sum()
}

/// Windows of specs, the best first; what lies in an earlier one is not named again. The second
/// part says whether there was time for all.
fn gaps(
    desk: &Desk<'_>,
    table: &Table<'_>,
    additions: &[Addition],
    count: usize,
) -> Result<(Vec<pb::Gap>, bool), Status> {
    let adds = |spec: usize| {
        let of_spec = |a: &&Addition| matches!(table.things[a.outfit], Thing::New(s) if s == spec);
        additions.iter().find(of_spec).map_or(0, |a| a.adds)
    };
    let worth: Vec<Micros> = (0..table.specs.len()).map(adds).collect();
    let mut named: BTreeSet<usize> = BTreeSet::new();
    let mut liked: BTreeSet<String> = BTreeSet::new();
    let mut gaps: Vec<pb::Gap> = Vec::new();
    let mut in_time = true;
    let first = additions.first().map_or(0, |a| a.adds);
    let named_at_all = |a: &&Addition| a.adds >= least(table) && a.adds * LEAST_SHARE >= first;
    for addition in additions.iter().filter(named_at_all) {
        if gaps.len() >= count && told(&gaps).len() >= count {
            break;
        }
        desk.gauge.wanted().map_err(stopped)?;
        if desk.gauge.is_late() {
            in_time = false;
            break;
        }
        match &table.things[addition.outfit] {
            Thing::New(spec) if !named.contains(spec) => {
                // Practice: where a second one adds as much, no new spec is looked for.
                let double = double(table, additions, addition.adds, &liked);
                let near = double.as_ref().and_then(|id| nearest(table, id));
                let own =
                    |named: &BTreeSet<usize>| of_equals(table, addition, &worth, *spec, named);
                let first = near.filter(|at| !named.contains(at)).map(|at| (at, double));
                for (at, double) in first.into_iter().chain([(own(&named), None)]) {
                    if named.contains(spec) || named.contains(&at) {
                        break;
                    }
                    let members = window(table, at, &worth, &named);
                    let like = double.or_else(|| like(table, &members, additions, addition.adds));
                    let best = best_inside(table, additions, &members, like.as_deref());
                    let best = best.unwrap_or(addition);
                    named.extend(&members);
                    // All that add as much and differ little are the same answer.
                    let near = |s: &usize| {
                        let one = &table.specs[*s];
                        let alike = |m: &usize| {
                            let member = &table.specs[*m];
                            member.handle() == one.handle()
                                && (member.class - one.class).abs() < 1.5
                        };
                        members.iter().any(alike)
                            && worth[*s] * WINDOW_SHARE.1 >= worth[at] * WINDOW_SHARE.0
                            && worth[*s] <= best.adds
                    };
                    named.extend((0..table.specs.len()).filter(near));
                    liked.extend(like.clone());
                    gaps.extend(gap(table, best, &members, like));
                }
            }
            // A second one like a rod that is owned is an answer of its own where no new spec
            // adds more.
            Thing::Like(id) if !liked.contains(id) => {
                let Some(spec) = nearest(table, id) else { continue };
                liked.insert(id.clone());
                let best = best_inside(table, additions, &[spec], Some(id)).unwrap_or(addition);
                gaps.extend(gap(table, best, &[spec], Some(id.clone())));
            }
            Thing::New(_) | Thing::Like(_) | Thing::Owned(_) => {}
        }
    }
    let mut gaps: Vec<pb::Gap> = told(&gaps).into_iter().cloned().collect();
    gaps.truncate(count);
    Ok((gaps, in_time))
}

/// What an outfit adds at least to be named, or bought.
fn least(table: &Table<'_>) -> Micros {
    (full(table) / WORTH_BUYING).max(1)
}

/// What all needs would be worth at best.
fn full(table: &Table<'_>) -> Micros {
    table.season.needs.iter().map(|n| Micros::from(n.weight) * ONE).sum()
}

/// Gaps that say more than a better one, the best first.
fn told(gaps: &[pb::Gap]) -> Vec<&pb::Gap> {
    let mut order: Vec<&pb::Gap> = gaps.iter().collect();
    order.sort_by_key(|gap| std::cmp::Reverse(gap.added_micros));
    let mut told: Vec<&pb::Gap> = Vec::new();
    for gap in order {
        if !told.iter().any(|better| says_no_more(gap, better)) {
            told.push(gap);
        }
    }
    told
}

/// Whether a gap is another one with a lesser rod of the same kind, for the same lures.
fn says_no_more(gap: &pb::Gap, better: &pb::Gap) -> bool {
    let kind = |gap: &pb::Gap| gap.window.as_ref().map(|window| window.handle);
    let lures = |gap: &pb::Gap| -> BTreeSet<(String, String, String)> {
        let key = |l: &pb::Lift| (l.trip_id.clone(), l.segment_id.clone(), l.lure_id.clone());
        gap.lifts.iter().map(key).collect()
    };
    gap.like_rod_id.is_empty() && kind(gap) == kind(better) && lures(gap) == lures(better)
}

/// What adds most of all that lies in a window: its specs, and a second one like a rod.
fn best_inside<'s>(
    table: &Table<'_>,
    additions: &'s [Addition],
    members: &[usize],
    like: Option<&str>,
) -> Option<&'s Addition> {
    additions.iter().find(|addition| match &table.things[addition.outfit] {
        Thing::New(spec) => members.contains(spec),
        Thing::Like(id) => like == Some(id.as_str()),
        Thing::Owned(_) => false,
    })
}

/// The place whose outfit scores best with the needs that are lifted, of all that add as much.
fn of_equals(
    table: &Table<'_>,
    addition: &Addition,
    worth: &[Micros],
    first: usize,
    named: &BTreeSet<usize>,
) -> usize {
    let equals = (0..table.specs.len()).filter(|s| worth[*s] == worth[first]);
    let equals = equals.filter(|s| table.is_worth_as_much(*s, first));
    best_scored(table, addition, equals.filter(|s| !named.contains(s)), first)
}

/// Of some places the one whose outfit scores best with the needs that are lifted.
fn best_scored(
    table: &Table<'_>,
    addition: &Addition,
    places: impl Iterator<Item = usize>,
    first: usize,
) -> usize {
    let score = |s: usize| -> f64 {
        let outfit = table.specs[s].outfit();
        let one = |(need, _): &(usize, Micros)| {
            let (t, n) = table.needs[*need];
            let judge = &table.judges[t];
            let weighed = judge.cases[n].weigh(judge.model, judge.weights, &outfit);
            weighed.score * f64::from(table.season.needs[*need].weight)
        };
        addition.lifts.iter().map(one).sum()
    };
    let scored = places.map(|s| (score(s), s));
    let best = scored.reduce(|best, next| if next.0 > best.0 { next } else { best });
    best.map_or(first, |(_, s)| s)
}

/// Specs round the best one: as many choices as can be left open so that every combination of them
/// adds about as much and none is named already.
fn window(table: &Table<'_>, best: usize, worth: &[Micros], named: &BTreeSet<usize>) -> Vec<usize> {
    let (part, whole) = WINDOW_SHARE;
    let near = |s: usize| worth[s] * whole >= worth[best] * part && !named.contains(&s);
    let mut members = vec![best];
    loop {
        let next = (0..table.specs.len()).filter(|s| {
            !members.contains(s)
                && members.iter().any(|m| table.specs[*m].is_next_to(&table.specs[*s]))
        });
        let wider = next.into_iter().find_map(|s| {
            let mut over: Vec<&Spec> = members.iter().map(|m| &table.specs[*m]).collect();
            over.push(&table.specs[s]);
            let all = every_combination(&table.specs, &over);
            all.iter().all(|s| near(*s)).then_some(all)
        });
        match wider {
            Some(all) => members = all,
            None => return members,
        }
    }
}

/// All places whose choices are each one of those given.
fn every_combination(specs: &[Spec], over: &[&Spec]) -> Vec<usize> {
    let open = |spec: &Spec| {
        over.iter().any(|o| o.handle() == spec.handle())
            && over.iter().any(|o| o.class == spec.class)
            && over.iter().any(|o| o.rod.action == spec.rod.action)
            && over.iter().any(|o| o.rod.material == spec.rod.material)
            && over.iter().any(|o| o.line == spec.line)
    };
    (0..specs.len()).filter(|s| open(&specs[*s])).collect()
}

/// A rod whose double adds nearly as much as the best; of several the one that adds most.
fn double(
    table: &Table<'_>,
    additions: &[Addition],
    best: Micros,
    named: &BTreeSet<String>,
) -> Option<String> {
    let (part, whole) = DOUBLE_SHARE;
    additions.iter().filter(|a| a.adds * whole >= best * part).find_map(|a| {
        match &table.things[a.outfit] {
            Thing::Like(id) if !named.contains(id) => Some(id.clone()),
            Thing::Like(_) | Thing::New(_) | Thing::Owned(_) => None,
        }
    })
}

/// A ready rod that lies in a window and whose double adds about as much as the best.
fn like(
    table: &Table<'_>,
    members: &[usize],
    additions: &[Addition],
    best: Micros,
) -> Option<String> {
    additions.iter().filter(|a| a.adds * WINDOW_SHARE.1 >= best * WINDOW_SHARE.0).find_map(|a| {
        let Thing::Like(id) = &table.things[a.outfit] else { return None };
        let rod = table.rod(id)?;
        let class = infer_power(table.judges.first()?.model, rod).class;
        let inside = members.iter().map(|s| &table.specs[*s]).any(|spec| {
            (spec.class - class).abs() <= LIKE_CLASSES
                && spec.rod.action == rod.action
                && spec.handle() == rod.handle.unwrap_or(spec.handle())
                && (rod.material.is_none() || spec.rod.material == rod.material)
        });
        inside.then(|| id.clone())
    })
}

/// The place of the lattice that is nearest to a rod.
fn nearest(table: &Table<'_>, id: &str) -> Option<usize> {
    let rod = table.rod(id)?;
    let class = infer_power(table.judges.first()?.model, rod).class;
    let far = |s: usize| {
        let spec = &table.specs[s];
        let other = u32::from(rod.handle.is_some_and(|h| h != spec.handle())) * 100
            + u32::from(rod.action != spec.rod.action) * 10
            + u32::from(rod.material != spec.rod.material);
        f64::from(other) + (spec.class - class).abs()
    };
    let offered = (0..table.specs.len()).filter(|s| table.offers(*s));
    offered.min_by(|a, b| far(*a).total_cmp(&far(*b)))
}

fn gap(
    table: &Table<'_>,
    addition: &Addition,
    members: &[usize],
    like: Option<String>,
) -> Option<pb::Gap> {
    let window = table.window(members)?;
    let lures = addition.lifts.iter().map(|(n, _)| lifted(table, addition.outfit, *n));
    let mut names: Vec<String> = Vec::new();
    lures.for_each(|lure| {
        if !names.contains(&lure) {
            names.push(lure);
        }
    });
    let more = if names.len() > NAMED { " and others" } else { "" };
    names.truncate(NAMED);
    let second = match &like {
        Some(id) => format!(" Another one like {id} serves."),
        None => String::new(),
    };
    let adds = addition.adds as f64 / ONE as f64;
    let adds = if adds >= 0.05 { format!("{adds:.1}") } else { "next to nothing".to_owned() };
    let detail = detail(table, addition, members, &window);
    Some(pb::Gap {
        text: format!(
            "{} adds {adds}: it lifts {}{more}.{second}",
            upper(&window.text),
            names.join(", ")
        ),
        window: Some(window),
        added_micros: addition.adds,
        added_low_micros: low(table, addition),
        lifts: addition.lifts.iter().map(|(n, gain)| table.lift(*n, *gain)).collect(),
        like_rod_id: like.unwrap_or_default(),
        detail,
    })
}

fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A lure that is lifted; with the verdict where that stays below what is asked for.
fn lifted(table: &Table<'_>, outfit: usize, need: usize) -> String {
    let (t, n) = table.needs[need];
    let lure = lure_id(table, need);
    let wanted = &table.judges[t].asked.trip.needs[n];
    match table.verdict(outfit, need).filter(|verdict| !wanted.met_by(*verdict)) {
        Some(verdict) => format!("{lure} (to {})", verdict.as_word()),
        None => lure.to_owned(),
    }
}

fn lure_id<'t>(table: &'t Table<'_>, need: usize) -> &'t str {
    let (t, n) = table.needs[need];
    &table.judges[t].asked.trip.needs[n].lure
}

/// What an addition is worth at the low end of its judgements: what each need gains shrinks with
/// the worth of the outfit for it.
fn low(table: &Table<'_>, addition: &Addition) -> Micros {
    let part = |(need, gain): &(usize, Micros)| {
        let now = table.season.worth[*need][addition.outfit];
        let low = table.low_worth(addition.outfit, *need);
        let lost = Micros::from(table.season.needs[*need].weight) * (now - low).max(0);
        (gain - lost).max(0)
    };
    addition.lifts.iter().map(part).sum()
}

/// Reel, line, length and drag of a window's rods for the lures that gain most, in the water of the
/// first.
fn detail(
    table: &Table<'_>,
    addition: &Addition,
    members: &[usize],
    window: &pb::SpecWindow,
) -> Option<pb::OutfitSpec> {
    let (first, most) = addition.lifts.first()?;
    let (trip, at) = table.needs[*first];
    let judge = &table.judges[trip];
    let segment = &judge.asked.trip.needs[at].segment;
    let lures: Vec<Lure> = addition
        .lifts
        .iter()
        .filter(|(_, gain)| gain * 4 >= *most)
        .map(|(need, _)| table.needs[*need])
        .filter(|(t, n)| *t == trip && judge.asked.trip.needs[*n].segment == *segment)
        .map(|(_, n)| judge.cases[n].lure.clone())
        .take(judge::MOST_LURES)
        .collect();
    let water = &judge.cases[at].waters()[0].0;
    let of_window = |class: f64, outfit: &Outfit| {
        let same = |spec: &Spec| {
            (spec.rod.handle, spec.rod.action, spec.rod.material, Some(spec.line))
                == (outfit.rod.handle, outfit.rod.action, outfit.rod.material, outfit.line.material)
        };
        let between = (window.power_class_min..=window.power_class_max).contains(&class);
        between && members.iter().any(|s| same(&table.specs[*s]))
    };
    let mut detail = judge::rigging(judge.model, &lures, water, &of_window)?.to_wire();
    detail.lure_rating_min_from_g = window.lure_rating_min_g;
    Some(detail)
}

fn rack_rod(table: &Table<'_>, addition: &Addition) -> pb::RackRod {
    let id = match &table.things[addition.outfit] {
        Thing::Owned(id) | Thing::Like(id) => id.clone(),
        Thing::New(_) => String::new(),
    };
    let text = if addition.adds == 0 {
        format!(
            "{id} adds nothing to the others on these trips: with them, it may stay on the rack."
        )
    } else {
        format!("{id} adds {} to the others.", in_words(addition.adds))
    };
    pb::RackRod { rod_id: id, added_micros: addition.adds, text }
}

fn purchase(table: &Table<'_>, buy: &Addition) -> pb::Purchase {
    let (text, like_rod_id, handle) = match &table.things[buy.outfit] {
        // Of those that are worth as much for each lure the same one is named as for a gap.
        Thing::New(spec) => {
            let equals = (0..table.specs.len()).filter(|s| table.is_worth_as_much(*s, *spec));
            let spec = &table.specs[best_scored(table, buy, equals, *spec)];
            (spec.words(), String::new(), spec.handle())
        }
        Thing::Like(id) | Thing::Owned(id) => {
            (format!("another one like {id}"), id.clone(), table.handle(buy.outfit))
        }
    };
    let price = table.season.outfits[buy.outfit].price.unwrap_or(0);
    pb::Purchase {
        text,
        handle: handle.to_wire_word().into(),
        price_cents: i64::try_from(price).unwrap_or(i64::MAX),
        added_micros: buy.adds,
        like_rod_id,
    }
}

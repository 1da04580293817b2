//! Which few outfits cover a season best: the coverage curve.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::ControlFlow;

use deepbend_contract::{At, Faults};
use deepbend_contract::{ToWire as _, pb};
use deepbend_core::gear::{LureClass, Word as _};
use deepbend_core::quantity::words::{GRAMS, ROD_METRES};
use deepbend_core::quantity::{Length, Mass};
use deepbend_ledger::item::{Item, ItemKind, Status as Readiness};
use deepbend_planner::Status as Proof;
use deepbend_planner::median::Work;
use deepbend_planner::season::{self, SetOutfit, SetPoint, SetProgress};
use deepbend_planner::weights::{Micros, ONE};
use tokio::time::Instant;
use tonic::Status;

use super::answer;
use super::ask_season::Set;
use super::desk::Desk;
use super::gauge::Stopped;
use super::known;
use super::offers::in_parallel;
use super::season::{Reels, Table, Thing};
use super::stopped;
use crate::error::ServiceError;

/// Steps of each point of the curve: some seconds at most.
const STEPS: u64 = 200_000_000;
/// From so many hours to the next shop on, something is taken twice. From memory.
const FAR_HOURS: f64 = 24.0;
/// One spare for so many rods. Common practice, no source.
const RODS_PER_SPARE: usize = 4;
/// Length of a rod that nobody stated, m. From memory.
const USUAL_ROD_M: f64 = 2.1;

/// Answers with the coverage curve.
pub(super) fn design(desk: &Desk<'_>, asked: &Set) -> Result<pb::DesignSetResponse, Status> {
    let kept = |item: &Item| {
        asked.keep.iter().any(|id| id == item.id.as_str()) || item.kind() != ItemKind::Rod
    };
    desk.season(&asked.season.trips, &kept, Reels::Own, &BTreeMap::new(), &mut |table| {
        answer(desk, asked, table)
    })
}

fn answer(
    desk: &Desk<'_>,
    asked: &Set,
    table: &Table<'_>,
) -> Result<pb::DesignSetResponse, Status> {
    let owned = |id: &String| {
        let same = |thing: &Thing| matches!(thing, Thing::Owned(known) if known == id);
        table.things.iter().position(same)
    };
    let mut faults = Faults::new();
    let missing = |id: &&String| table.unjudged == 0 && owned(id).is_none();
    for id in asked.keep.iter().filter(missing) {
        let right = "rods that are ready";
        let at = At::ROOT.field("keep_rod_ids");
        let wrong = format!("name {id}, which is {}", why_not(desk, id));
        faults.push(pb::FaultCode::Conflict, at, wrong, right);
    }
    if let Some(tube) = asked.tube_m {
        for id in asked.keep.iter().filter(|id| packed_m(table, id) > tube) {
            let wrong =
                format!("name {id}, which is {} packed", ROD_METRES.one(packed_m(table, id)));
            let at = At::ROOT.field("keep_rod_ids");
            let right = format!("rods that fit a tube of {}", ROD_METRES.one(tube));
            faults.push(pb::FaultCode::Conflict, at, wrong, right);
        }
    }
    faults.or(()).map_err(ServiceError::from)?;
    let keep: Vec<usize> = asked.keep.iter().filter_map(owned).collect();
    let work = Work { steps: STEPS };
    let first = keep.len().max(1);
    desk.gauge.begin(pb::PlanStage::Searching, asked.most + 1 - first);
    let ask = |now: &SetProgress| {
        desk.gauge.set(now.outfits - first, now);
        // What is found is still to be written.
        let is_over = desk.gauge.enough_alone().is_some_and(|end| Instant::now() >= end);
        if is_over { ControlFlow::Break(()) } else { desk.in_time() }
    };
    let curve = season::design_set(&table.season, &keep, asked.most, work, &ask);
    let curve = curve.map_err(|error| desk.no_season(error))?;
    desk.gauge.wanted().map_err(stopped)?;
    let mut sets: Vec<pb::OutfitSet> = Vec::new();
    for point in &curve {
        if !sets.is_empty() && desk.gauge.is_late() {
            break;
        }
        let mut set = set(asked, table, point).map_err(stopped)?;
        // A smaller set with anything added is one of so many, and covers no less.
        if let Some(smaller) = sets.last() {
            set.worth_low_micros = set.worth_low_micros.max(smaller.worth_low_micros);
        }
        sets.push(set);
    }
    let most = asked.most.min(table.things.len());
    Ok(pb::DesignSetResponse {
        abridged: table.unjudged > 0 || !table.is_whole || first + sets.len() <= most,
        unjudged_rod_count: answer::count(table.unjudged),
        sets,
        spec_count: i32::try_from(table.specs.len()).unwrap_or(i32::MAX),
        model: Some(desk.model.id().to_wire()),
        request_label: String::new(),
    })
}

/// Why a rod cannot be kept.
fn why_not(desk: &Desk<'_>, id: &str) -> String {
    let item = known::item(desk.view, ItemKind::Rod, id);
    let status = item.map(|item| item.status).filter(|status| *status != Readiness::Ready);
    match status {
        Some(status) => status.as_word().replace('_', " "),
        None => "not to be had".to_owned(),
    }
}

fn packed_m(table: &Table<'_>, id: &str) -> f64 {
    table.rod(id).map_or(0.0, |rod| {
        rod.length.map_or(USUAL_ROD_M, Length::m) / f64::from(rod.pieces.unwrap_or(1).max(1))
    })
}

fn set(asked: &Set, table: &Table<'_>, point: &SetPoint) -> Result<pb::OutfitSet, Stopped> {
    let full: Micros = table.season.needs.iter().map(|n| Micros::from(n.weight) * ONE).sum();
    let outfits: Vec<pb::SetOutfit> =
        point.outfits.iter().map(|outfit| one(asked, table, outfit)).collect();
    // Those that the set would miss most.
    let mut spares: Vec<usize> = (0..outfits.len()).collect();
    spares.sort_by_key(|o| (Reverse(point.outfits[*o].adds), *o));
    spares.truncate(outfits.len().div_ceil(RODS_PER_SPARE));
    let spares: Vec<&str> = spares.iter().map(|o| outfits[*o].job.as_str()).collect();
    let spare_text = if asked.resupply_hours >= FAR_HOURS {
        format!("Take twice, or with a spare tip and spool: {}", spares.join("; and "))
    } else {
        String::new()
    };
    // At the low end another outfit of the set may serve a need best.
    let (lows, _) = in_parallel(table.season.needs.len(), None, |need| {
        let low =
            |o: &SetOutfit| table.season.worth[need][o.outfit].min(table.low_worth(o.outfit, need));
        let worth = point.outfits.iter().map(low).max().unwrap_or(0);
        Ok(Micros::from(table.season.needs[need].weight) * worth)
    })?;
    let status = if table.is_whole { point.status } else { Proof::Feasible };
    Ok(pb::OutfitSet {
        outfits,
        coverage: point.worth as f64 / full.max(1) as f64,
        worth_micros: point.worth,
        // What was not judged might do everything.
        bound_micros: if table.is_whole { point.bound } else { full },
        worth_low_micros: lows.into_iter().sum(),
        status: answer::status(status).into(),
        spare_text,
    })
}

fn one(asked: &Set, table: &Table<'_>, outfit: &SetOutfit) -> pb::SetOutfit {
    let (rod_id, spec, name, pieces) = match &table.things[outfit.outfit] {
        Thing::New(s) => {
            let pieces = asked.tube_m.map_or(1, |tube| (USUAL_ROD_M / tube).ceil() as i32);
            let window = table.window(&[*s]);
            let name = window.as_ref().map(|w| w.text.clone()).unwrap_or_default();
            (String::new(), window, name, pieces)
        }
        Thing::Owned(id) | Thing::Like(id) => {
            let pieces = table.rod(id).and_then(|rod| rod.pieces).unwrap_or(1);
            (id.clone(), None, id.clone(), i32::try_from(pieces).unwrap_or(1))
        }
    };
    let reel_id = table.reels.get(&rod_id).cloned().flatten().unwrap_or_default();
    let reel = match table.reels.get(&rod_id) {
        Some(Some(reel)) => format!(" with {reel}"),
        Some(None) => " with a reel that is to be had".to_owned(),
        None => String::new(),
    };
    let gain = |need: usize| {
        Micros::from(table.season.needs[need].weight) * table.season.worth[need][outfit.outfit]
    };
    let needs: Vec<usize> = outfit.job.iter().copied().filter(|need| gain(*need) > 0).collect();
    pb::SetOutfit {
        rod_id,
        spec,
        reel_id,
        job: format!("{name}{reel}: {}", job(table, &needs)),
        needs: needs.iter().map(|need| table.lift(*need, gain(*need))).collect(),
        added_micros: outfit.adds,
        piece_count: pieces,
    }
}

/// What an outfit is for: "crankbait, jerkbait for pike, 18 to 48 g (0.63 to 1.69 oz)".
fn job(table: &Table<'_>, needs: &[usize]) -> String {
    let mut classes: BTreeSet<LureClass> = BTreeSet::new();
    let mut fish: BTreeSet<String> = BTreeSet::new();
    let mut masses: Vec<f64> = Vec::new();
    for need in needs {
        let (t, n) = table.needs[*need];
        let case = &table.judges[t].cases[n];
        classes.extend(case.lure.class);
        fish.extend(case.waters().first().and_then(|(water, _)| water.species.clone()));
        masses.extend(case.lure.rigged_mass.map(Mass::g));
    }
    if needs.is_empty() {
        return "nothing that another one does not do as well".to_owned();
    }
    let classes: Vec<String> = classes.iter().map(|c| c.as_word().replace('_', " ")).collect();
    let fish: Vec<&str> = fish.iter().map(String::as_str).collect();
    let grams =
        match (masses.iter().copied().reduce(f64::min), masses.iter().copied().reduce(f64::max)) {
            (Some(least), Some(most)) if least < most => format!(", {}", GRAMS.two(least, most)),
            (Some(only), _) => format!(", {}", GRAMS.one(only)),
            (None, _) => String::new(),
        };
    let of = if fish.is_empty() { String::new() } else { format!(" for {}", fish.join(", ")) };
    format!("{}{of}{grams}", classes.join(", "))
}

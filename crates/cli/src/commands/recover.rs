//! Plans that are there already: covering again after a loss, and comparing two.

use std::collections::BTreeSet;
use std::path::Path;

use deepbend_contract::pb::watch_plan_request::Work;
use deepbend_contract::pb::watch_plan_response::Part;
use deepbend_contract::{json, pb, plan_difference};

use super::plan::{ending, header, rows};
use super::watched::{other_answer, watched};
use super::{finish, printed_only, text_of};
use crate::args::{CheckArgs, ComparePlansArgs, Global};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service, folder};

/// Where the last plan is kept, beside the inventory.
const LAST: &str = "last-plan.jsonl";

/// Keeps plans, so that `trip check` needs nothing but what was lost. Failing that is no reason to
/// fail the plan.
pub(super) fn keep(global: &Global, trips: &[pb::Trip], plans: &[pb::Plan]) {
    let kept: Vec<pb::CheckCoverageRequest> = trips
        .iter()
        .zip(plans)
        .filter(|(_, plan)| !plan.outfits.is_empty())
        .map(|(trip, plan)| pb::CheckCoverageRequest {
            trip: Some(trip.clone()),
            plan: Some(plan.clone()),
            ..pb::CheckCoverageRequest::default()
        })
        .collect();
    if kept.is_empty() {
        return;
    }
    let write = || -> Result<(), Failure> {
        let folder = folder(global)?;
        let path = folder.join(LAST);
        let failed = |error: std::io::Error| Failure::file(&path, &error);
        std::fs::create_dir_all(&folder).map_err(failed)?;
        let fresh = path.with_extension("new");
        std::fs::write(&fresh, output::json_lines(&kept)?).map_err(failed)?;
        std::fs::rename(&fresh, &path).map_err(failed)
    };
    if let Err(failure) = write() {
        note(&format!("note: the plan is not kept for trip check: {}", failure.lines.join(" ")));
    }
}

fn kept(path: &Path) -> Result<Vec<pb::CheckCoverageRequest>, Failure> {
    let bad = |error: String| {
        Failure::new(Exit::BadData, format!("{}: {error}", path.display()))
            .hint("trip plan and trip fleet write it anew")
    };
    let lines = text_of(path)?;
    let lines = lines.lines().filter(|line| !line.trim().is_empty());
    lines.map(|line| json::from_json(line).map_err(|e| bad(e.to_string()))).collect()
}

/// Covers a trip again from what is aboard.
pub(super) async fn check(global: &Global, args: &CheckArgs) -> Result<(), Failure> {
    let path = match &args.plan {
        Some(path) => path.clone(),
        None => folder(global)?.join(LAST),
    };
    if args.plan.is_none() && !path.exists() {
        return Err(Failure::new(Exit::NoInput, "no plan was made on this machine yet")
            .hint("make one with trip plan or trip fleet, or name one with --plan FILE"));
    }
    let mut request = choose(kept(&path)?, args)?;
    request.lost_item_ids.clone_from(&args.lost);
    request.segment_ids.clone_from(&args.segment);
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = covered(global, &service, request).await?;
        let Some(plan) = &answer.plan else {
            return Err(Failure::new(Exit::Failed, "the answer lacks its plan"));
        };
        put(&match global.output {
            Format::Table => render::recovered(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&header(), &rows(std::slice::from_ref(plan)))?,
        })?;
        // What is left is fished with, though not everybody may fish at once.
        if plan.given_up.is_some() { Ok(()) } else { ending(plan) }
    };
    let done = done.await;
    finish(service, done).await
}

async fn covered(
    global: &Global,
    service: &Service,
    request: pb::CheckCoverageRequest,
) -> Result<pb::CheckCoverageResponse, Failure> {
    let answer = watched(global, service, Work::CheckCoverage(request)).await?;
    let Part::CheckCoverage(answer) = answer else { return Err(other_answer()) };
    Ok(answer)
}

/// The boat that is meant.
fn choose(
    mut plans: Vec<pb::CheckCoverageRequest>,
    args: &CheckArgs,
) -> Result<pb::CheckCoverageRequest, Failure> {
    let boat = |request: &pb::CheckCoverageRequest| {
        request.trip.as_ref().map(|trip| trip.boat_id.clone()).unwrap_or_default()
    };
    let has = |request: &pb::CheckCoverageRequest| {
        let lines = request.plan.iter().flat_map(|plan| &plan.load_list);
        let aboard: BTreeSet<&str> = lines.map(|line| line.item_id.as_str()).collect();
        !args.lost.is_empty() && args.lost.iter().all(|id| aboard.contains(id.as_str()))
    };
    let known: Vec<String> = plans.iter().map(boat).collect();
    let found = match &args.boat {
        Some(id) => plans.iter().position(|request| boat(request) == *id),
        None if plans.len() == 1 => Some(0),
        None => plans.iter().position(has),
    };
    match found {
        Some(at) => Ok(plans.swap_remove(at)),
        None => Err(Failure::usage("which boat?".to_owned())
            .hint(format!("--boat with one of {}", known.join(", ")))),
    }
}

/// Compares two plans.
pub(super) fn compare(global: &Global, args: &ComparePlansArgs) -> Result<(), Failure> {
    let (first, second) = (plans(&args.first)?, plans(&args.second)?);
    let difference = plan_difference(&first, &second);
    put(&match global.output {
        Format::Table => render::plan_difference(&difference, output::width()),
        Format::Json => output::json_text(&difference)?,
        Format::Jsonl => output::json_line(&difference)?,
        Format::Csv => {
            let header = ["trip_id", "segment_id", "lure_id", "before", "after"];
            let row = |n: &pb::NeedChange| {
                vec![
                    n.trip_id.clone(),
                    n.segment_id.clone(),
                    n.lure_id.clone(),
                    render::word!(Verdict, n.before),
                    render::word!(Verdict, n.after),
                ]
            };
            let rows: Vec<_> = difference.needs.iter().map(row).collect();
            output::csv_text(&header, &rows)?
        }
    })
}

/// The plans of an answer, of one trip or of several boats.
fn plans(path: &Path) -> Result<Vec<pb::Plan>, Failure> {
    let text = text_of(path)?;
    if let Ok(answer) = json::from_json::<pb::PlanTripResponse>(&text) {
        return Ok(answer.plan.into_iter().collect());
    }
    match json::from_json::<pb::PlanFleetResponse>(&text) {
        Ok(answer) => Ok(answer.plan.map(|plan| plan.plans).unwrap_or_default()),
        Err(error) => Err(Failure::new(Exit::BadData, format!("{}: {error}", path.display()))
            .hint("an answer of trip plan or trip fleet, written with -o json")),
    }
}

//! One trip's plan.

use std::path::Path;

use deepbend_contract::{json, pb};

use super::{explanation, finish, printed_only, text_of};
use crate::args::{Global, PlanArgs};
use crate::describe;
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service};
use crate::trip_files::{self, TripFiles};

const HEADER: [&str; 9] = [
    "segment_id",
    "lure_id",
    "outfit_id",
    "rod_id",
    "reel_id",
    "leader_stock_id",
    "role",
    "verdict",
    "score",
];

pub(super) async fn run(global: &Global, args: &PlanArgs) -> Result<(), Failure> {
    let mut request = match &args.request {
        Some(path) => json::from_json(&text_of(path)?).map_err(|error| {
            Failure::new(Exit::BadData, format!("{}: {error}", path.display()))
                .hint("proto JSON of deepbend.v1.PlanTripRequest; --print-request shows one")
        })?,
        None => of_files(args)?,
    };
    if global.explain.is_some() {
        request.explanation = explanation(global, pb::Explanation::Full);
    }
    if printed_only(global, &request)? {
        return Ok(());
    }
    if request.pool.is_empty() {
        note("note: only gear that is aboard already; --from PLACE adds the shed and other boats");
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = service.trips().plan_trip(service.request(request)).await?.into_inner();
        print(global, &answer)
    };
    let done = done.await;
    finish(service, done).await
}

fn of_files(args: &PlanArgs) -> Result<pb::PlanTripRequest, Failure> {
    let text = |path: &Option<std::path::PathBuf>| -> Result<(String, String), Failure> {
        let path = path.as_deref().unwrap_or(Path::new(""));
        Ok((path.display().to_string(), text_of(path)?))
    };
    let (trips, segments, needs) = (text(&args.trips)?, text(&args.segments)?, text(&args.needs)?);
    let files = TripFiles { trips, segments, needs };
    let trip = trip_files::trip(&files, args.trip.as_deref(), args.take_turns)?;
    let leave = args.leave.iter().map(|id| pb::Pin {
        rule: pb::PinRule::Leave.into(),
        item_id: id.clone(),
        reel_id: String::new(),
    });
    let mut pins: Vec<_> = leave.collect();
    for text in &args.pair {
        let (item_id, reel_id) = describe::pair(text)
            .ok_or_else(|| Failure::usage(format!("--pair {text}: that is not ROD+REEL")))?;
        pins.push(pb::Pin { rule: pb::PinRule::Pair.into(), item_id, reel_id });
    }
    Ok(pb::PlanTripRequest {
        trip: Some(trip),
        pool: args.pool.iter().map(|text| place(text)).collect::<Result<_, _>>()?,
        pins,
        work_budget_nodes: args.work,
        ..pb::PlanTripRequest::default()
    })
}

fn place(text: &str) -> Result<pb::PoolPlace, Failure> {
    let Some((place_id, cost)) = text.split_once('=') else {
        return Ok(pb::PoolPlace { place_id: text.to_owned(), move_cost_micros: None });
    };
    let cost = cost.trim().parse().map_err(|_| {
        Failure::usage(format!("--from {text}: `{cost}` is no whole number of millionths"))
    })?;
    Ok(pb::PoolPlace { place_id: place_id.to_owned(), move_cost_micros: Some(cost) })
}

fn print(global: &Global, answer: &pb::PlanTripResponse) -> Result<(), Failure> {
    let Some(plan) = &answer.plan else {
        return if global.output == Format::Table {
            put("The request is good; nothing was planned.\n")
        } else {
            put(&output::json_text(answer)?)
        };
    };
    put(&match global.output {
        Format::Table => render::plan(plan, output::width()),
        Format::Json => output::json_text(answer)?,
        Format::Jsonl => output::json_line(answer)?,
        Format::Csv => output::csv_text(&HEADER, &rows(plan))?,
    })?;
    match pb::PlanStatus::try_from(plan.status).unwrap_or_default() {
        pb::PlanStatus::Optimal | pb::PlanStatus::Feasible => Ok(()),
        pb::PlanStatus::Infeasible => {
            let text = plan.clash.as_ref().map_or("", |clash| clash.text.as_str());
            Err(Failure::new(Exit::NoPlan, format!("no plan keeps all limits: {text}")))
        }
        pb::PlanStatus::NotFound | pb::PlanStatus::Unspecified => {
            Err(Failure::new(Exit::NoPlan, "no plan was found within the work budget")
                .hint("raise it with --work"))
        }
    }
}

fn rows(plan: &pb::Plan) -> Vec<Vec<String>> {
    plan.assignments
        .iter()
        .map(|one| {
            let outfit = plan.outfits.iter().find(|outfit| outfit.id == one.outfit_id);
            let id = |get: fn(&pb::PlannedOutfit) -> &String| outfit.map(get).cloned();
            vec![
                one.segment_id.clone(),
                one.lure_id.clone(),
                one.outfit_id.clone(),
                id(|o| &o.rod_id).unwrap_or_default(),
                id(|o| &o.reel_id).unwrap_or_default(),
                one.leader_stock_id.clone(),
                render::word!(AssignmentRole, one.role),
                render::word!(Verdict, one.verdict),
                format!("{:.6}", one.score),
            ]
        })
        .collect()
}

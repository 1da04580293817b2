//! Plans of one trip and of several boats.

use deepbend_contract::pb;
use deepbend_contract::pb::watch_plan_request::Work;
use deepbend_contract::pb::watch_plan_response::Part;

use super::watched::{other_answer, watched};
use super::{explanation, finish, json_of, plan_terms, printed_only, recover};
use crate::args::{FleetArgs, Global, PlanArgs};
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service};
use crate::trip_files;

const HEADER: [&str; 14] = [
    "segment_id",
    "lure_id",
    "outfit_id",
    "rod_id",
    "reel_id",
    "leader_stock_id",
    "role",
    "verdict",
    "score",
    "trip_id",
    "boat_id",
    "skill",
    "angler_ids",
    "change_minutes",
];

/// Plans one trip.
pub(super) async fn trip(global: &Global, args: &PlanArgs) -> Result<(), Failure> {
    let mut request: pb::PlanTripRequest = match &args.terms.request {
        Some(path) => json_of(path).map_err(|failure| {
            failure.hint("proto JSON of deepbend.v1.PlanTripRequest; --print-request shows one")
        })?,
        None => {
            let files = plan_terms::files(&args.terms)?;
            let turns = args.terms.take_turns;
            pb::PlanTripRequest {
                trip: Some(trip_files::trip(&files, args.trip.as_deref(), turns)?),
                pool: plan_terms::pool(&args.terms)?,
                pins: plan_terms::pins(&args.terms)?,
                work_budget_nodes: args.terms.work,
                added_wind_m_s: args.terms.more_wind,
                ..pb::PlanTripRequest::default()
            }
        }
    };
    if global.explain.is_some() {
        request.explanation = explanation(global, pb::Explanation::Full);
    }
    plan_terms::settle_boats(&mut request.pins, request.trip.iter())?;
    if printed_only(global, &request)? {
        return Ok(());
    }
    if request.pool.is_empty() {
        note("note: only gear that is aboard already; --from PLACE adds the shed and other boats");
    }
    let trips: Vec<pb::Trip> = request.trip.iter().cloned().collect();
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = watched(global, &service, Work::PlanTrip(request)).await?;
        let Part::PlanTrip(answer) = answer else { return Err(other_answer()) };
        let Some(plan) = &answer.plan else { return nothing_planned(global, &answer) };
        let plans = std::slice::from_ref(plan);
        recover::keep(global, &trips, plans);
        put(&match global.output {
            Format::Table if args.terms.brief => render::brief(plan, output::width()),
            Format::Table => render::plan(plan, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&HEADER, &rows(plans))?,
        })?;
        ending(global.output, plan)
    };
    let done = done.await;
    finish(service, done).await
}

/// Plans several boats.
pub(super) async fn fleet(global: &Global, args: &FleetArgs) -> Result<(), Failure> {
    let mut request: pb::PlanFleetRequest = match &args.terms.request {
        Some(path) => json_of(path).map_err(|failure| {
            failure.hint("proto JSON of deepbend.v1.PlanFleetRequest; --print-request shows one")
        })?,
        None => {
            let files = plan_terms::files(&args.terms)?;
            let ids = match args.trip_ids.as_slice() {
                [] => trip_files::ids(&files)?,
                some => some.to_vec(),
            };
            let turns = args.terms.take_turns;
            let trips = ids.iter().map(|id| trip_files::trip(&files, Some(id), turns));
            pb::PlanFleetRequest {
                trips: trips.collect::<Result<_, _>>()?,
                pool: plan_terms::pool(&args.terms)?,
                pins: plan_terms::pins(&args.terms)?,
                work_budget_nodes: args.terms.work,
                added_wind_m_s: args.terms.more_wind,
                ..pb::PlanFleetRequest::default()
            }
        }
    };
    if global.explain.is_some() {
        request.explanation = explanation(global, pb::Explanation::Full);
    }
    plan_terms::settle_boats(&mut request.pins, request.trips.iter())?;
    if printed_only(global, &request)? {
        return Ok(());
    }
    let trips = request.trips.clone();
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = watched(global, &service, Work::PlanFleet(request)).await?;
        let Part::PlanFleet(answer) = answer else { return Err(other_answer()) };
        let Some(plan) = &answer.plan else { return nothing_planned(global, &answer) };
        recover::keep(global, &trips, &plan.plans);
        put(&match global.output {
            Format::Table if args.terms.brief => render::brief_fleet(plan, output::width()),
            Format::Table => render::fleet_plan(plan, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&HEADER, &rows(&plan.plans))?,
        })?;
        let why = (plan.clash.as_ref(), plan.given_up.as_ref());
        ended(global.output, plan.status, plan.reproducible, why)
    };
    let done = done.await;
    finish(service, done).await
}

fn nothing_planned<M: prost::Message + prost::Name>(
    global: &Global,
    answer: &M,
) -> Result<(), Failure> {
    if global.output == Format::Table {
        put("The request is good; nothing was planned.\n")
    } else {
        put(&output::json_text(answer)?)
    }
}

/// How a command ends that was to plan one trip.
pub(super) fn ending(output: Format, plan: &pb::Plan) -> Result<(), Failure> {
    let why = (plan.clash.as_ref(), plan.given_up.as_ref());
    ended(output, plan.status, plan.reproducible, why)
}

fn ended(
    output: Format,
    status: i32,
    reproducible: bool,
    (clash, given_up): (Option<&pb::PlanClash>, Option<&pb::GivenUp>),
) -> Result<(), Failure> {
    match pb::PlanStatus::try_from(status).unwrap_or_default() {
        pb::PlanStatus::Optimal | pb::PlanStatus::Feasible => Ok(()),
        // The table has said what clashes and what is left out.
        pb::PlanStatus::Infeasible if output == Format::Table => Err(Failure::silent(Exit::NoPlan)),
        pb::PlanStatus::Infeasible => {
            let given = given_up.map(|given| given.text.as_str());
            let text = given.or(clash.map(|clash| clash.text.as_str())).unwrap_or_default();
            Err(Failure::new(Exit::NoPlan, format!("no plan keeps all limits: {text}")))
        }
        // The clock cut it.
        pb::PlanStatus::NotFound if !reproducible => Err(Failure::new(
            Exit::NoPlan,
            "no plan that keeps all limits was found within the deadline",
        )
        .hint("give more time with --deadline")),
        pb::PlanStatus::NotFound | pb::PlanStatus::Unspecified => Err(Failure::new(
            Exit::NoPlan,
            "no plan that keeps all limits was found within the work budget",
        )
        .hint("raise it with --work")),
    }
}

/// Who fishes what, a row each.
pub(super) fn rows(plans: &[pb::Plan]) -> Vec<Vec<String>> {
    let of = |plan: &pb::Plan| -> Vec<Vec<String>> {
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
                    plan.trip_id.clone(),
                    plan.boat_id.clone(),
                    render::word!(Skill, one.skill),
                    one.angler_ids.join(" "),
                    one.change_minutes.to_string(),
                ]
            })
            .collect()
    };
    plans.iter().flat_map(of).collect()
}

/// Header of [`rows`].
pub(super) const fn header() -> [&'static str; 14] {
    HEADER
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the contract of Assignment.change_minutes.
    #[test]
    fn a_row_says_how_long_another_leader_takes() {
        let one = pb::Assignment { change_minutes: 8, ..pb::Assignment::default() };
        let plan = pb::Plan { assignments: vec![one], ..pb::Plan::default() };
        let row = rows(&[plan]).remove(0);
        assert_eq!(row.len(), header().len());
        let at = header().iter().position(|column| *column == "change_minutes").unwrap();
        assert_eq!(row[at], "8");
    }

    // Common practice, no source: more work helps nobody whose time is up.
    #[test]
    fn what_cut_the_search_is_what_is_to_be_raised() {
        for (reproducible, names) in [(true, "--work"), (false, "--deadline")] {
            let mut plan = pb::Plan { reproducible, ..pb::Plan::default() };
            plan.set_status(pb::PlanStatus::NotFound);
            let output = Format::Table;
            let hint = ending(output, &plan).unwrap_err().hint.unwrap();
            assert!(hint.contains(names), "{hint}");
            let text = render::plan(&plan, 80);
            assert!(text.contains("NOT FOUND") && text.contains(names), "{text}");
        }
    }
}

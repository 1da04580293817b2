//! Plans that are there already: covering again after a loss, and comparing two.

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
use crate::trip_words::Asked;

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

/// Plans with their trips: the last ones, or those of an answer that was written with -o json.
fn kept(path: &Path) -> Result<Vec<pb::CheckCoverageRequest>, Failure> {
    let text = text_of(path)?;
    let lines = text.lines().filter(|line| !line.trim().is_empty());
    let kept: Result<Vec<pb::CheckCoverageRequest>, _> = lines.map(json::from_json).collect();
    if let Ok(kept) = kept.as_ref()
        && kept.iter().any(|request| request.trip.is_some())
    {
        return Ok(kept.clone());
    }
    let request = |plan: pb::Plan| pb::CheckCoverageRequest {
        trip: plan.trip.clone(),
        plan: Some(plan),
        ..pb::CheckCoverageRequest::default()
    };
    let requests: Vec<_> = answered(path, &text)?.into_iter().map(request).collect();
    if requests.iter().any(|request| request.trip.is_none()) {
        let said = format!("{}: the plan does not say for which trip it is", path.display());
        return Err(Failure::new(Exit::BadData, said).hint("make it anew with trip plan -o json"));
    }
    Ok(requests)
}

/// The plans of an answer that was written with -o json, of one trip, of several boats, or of what a
/// loss left.
fn answered(path: &Path, text: &str) -> Result<Vec<pb::Plan>, Failure> {
    let bad = |what: String| {
        Failure::new(Exit::BadData, format!("{}: {what}", path.display()))
            .hint("an answer of trip plan, trip fleet or trip check, written with -o json")
    };
    let fleet = |text: &str| -> Result<Vec<pb::Plan>, json::JsonFault> {
        let answer: pb::PlanFleetResponse = json::from_json(text)?;
        Ok(answer.plan.map(|plan| plan.plans).unwrap_or_default())
    };
    // The answer of trip plan reads as one of trip check.
    let left = |text: &str| -> Result<Vec<pb::Plan>, json::JsonFault> {
        Ok(json::from_json::<pb::CheckCoverageResponse>(text)?.plan.into_iter().collect())
    };
    if !text.trim_start().starts_with('{') {
        return Err(bad("it is not the JSON of a plan".to_owned()));
    }
    let plans = fleet(text).or_else(|_| left(text));
    let plans = plans.map_err(|error| bad(error.to_string()))?;
    if plans.is_empty() {
        return Err(bad("it holds no plan".to_owned()));
    }
    if plans.iter().all(|plan| plan.value.is_none()) {
        let clash = plans.iter().find_map(|plan| plan.clash.as_ref());
        let why = clash.map_or("none was found", |clash| clash.text.as_str());
        return Err(bad(format!("it says that there is no plan: {why}")));
    }
    Ok(plans)
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
    let lost = lost(args)?;
    let mut request = match choose(kept(&path)?, args) {
        Ok(request) => request,
        Err(Unchosen { said, nowhere: None }) => return Err(said),
        Err(Unchosen { said, nowhere: Some(id) }) => {
            return Err(unknown(global, args, id, said).await);
        }
    };
    (request.lost_item_ids, request.lost_pieces) = lost;
    request.segment_ids.clone_from(&args.segment);
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        was_aboard(&service, &request, args).await?;
        let before = request.plan.clone();
        let answer = covered(global, &service, request).await;
        let answer = answer.map_err(|failure| of_lost(failure, args))?;
        let Some(plan) = &answer.plan else {
            return Err(Failure::new(Exit::Failed, "the answer lacks its plan"));
        };
        put(&match global.output {
            Format::Table => render::recovered(&answer, before.as_ref(), output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&header(), &rows(std::slice::from_ref(plan)))?,
        })?;
        if args.plan.is_none() && !args.lost.is_empty() && global.output == Format::Table {
            note(
                "note: held against the plan that the boat went out with: after another loss, name \
                 all that is lost since",
            );
        }
        // What is left is fished with, though not everybody may fish at once.
        if plan.given_up.is_some() { Ok(()) } else { ending(global.output, plan) }
    };
    let done = Box::pin(done).await;
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

/// What is lost altogether, and of what only some pieces are.
fn lost(args: &CheckArgs) -> Result<(Vec<String>, Vec<pb::PieceCount>), Failure> {
    let (mut items, mut pieces) = (Vec::new(), Vec::new());
    for text in &args.lost {
        if text.split('=').next().is_none_or(|id| id.trim().is_empty()) {
            return Err(Failure::usage(format!("--lost {text:?}: it names nothing"))
                .hint("an item, or how many of it: L10=1"));
        }
        let Some((id, count)) = text.split_once('=') else {
            items.push(text.clone());
            continue;
        };
        let quantity = count.parse().map_err(|_| {
            Failure::usage(format!("--lost {text}: {count:?} is no count"))
                .hint("an item, or how many of it: L10=1")
        })?;
        pieces.push(pb::PieceCount { item_id: id.to_owned(), quantity });
    }
    Ok((items, pieces))
}

/// Why no boat is found.
struct Unchosen {
    said: Failure,
    /// What no boat has aboard: it may be nowhere at all.
    nowhere: Option<String>,
}

impl From<Failure> for Unchosen {
    fn from(said: Failure) -> Self {
        Self { said, nowhere: None }
    }
}

/// What is said of something that no boat has aboard: that the inventory does not have it, and what
/// it has instead; else what was said already.
async fn unknown(global: &Global, args: &CheckArgs, id: String, said: Failure) -> Failure {
    let Ok(service) = Service::open(global, Needs::Inventory).await else { return said };
    let request = service.request(pb::GetItemRequest { id, read_mask: None });
    let found = service.inventory().get_item(request).await;
    let told = match found {
        Err(status) if status.code() == tonic::Code::NotFound => {
            of_lost(Asked::default().told(Failure::from(status)), args)
        }
        Ok(_) | Err(_) => said,
    };
    finish(service, Err(told)).await.err().unwrap_or_else(other_answer)
}

/// A failure that says of what --lost names that the inventory does not have it, by that option.
fn of_lost(mut failure: Failure, args: &CheckArgs) -> Failure {
    for line in failure.lines.iter_mut().filter(|line| line.starts_with("not in the inventory")) {
        // What is like it stands in brackets.
        let outside = line.split(" (").enumerate().flat_map(|(at, part)| match at {
            0 => part.split([' ', ',']),
            _ => part.split_once(')').map_or("", |(_, rest)| rest).split([' ', ',']),
        });
        let missing: Vec<&str> = outside.collect();
        let named = args
            .lost
            .iter()
            .filter(|text| text.split('=').next().is_some_and(|id| missing.contains(&id)));
        let named: Vec<_> = named.map(|text| format!("--lost {text}")).collect();
        if !named.is_empty() {
            *line = format!("{}: {line}", named.join(" "));
        }
    }
    failure
}

/// The id that a text behind --lost begins with.
fn id_of(text: &str) -> &str {
    text.split('=').next().unwrap_or_default()
}

/// Whether a plan takes something along, or winds it on.
fn has(request: &pb::CheckCoverageRequest, id: &str) -> bool {
    let plans = || request.plan.iter();
    let went_out = plans().flat_map(|plan| &plan.basis).flat_map(|basis| &basis.aboard);
    let brought = went_out.clone().flat_map(|aboard| &aboard.brought);
    let mut lines = plans().flat_map(|plan| &plan.load_list).chain(brought);
    let mut lures = went_out.clone().flat_map(|aboard| &aboard.lure_ids);
    let mut outfits = plans().flat_map(|p| &p.outfits).chain(went_out.flat_map(|a| &a.outfits));
    lines.any(|line| line.item_id == id)
        || lures.any(|lure| lure == id)
        || outfits.any(|outfit| {
            let parts = [&outfit.rod_id, &outfit.reel_id, &outfit.line_stock_id];
            parts.into_iter().chain(&outfit.leader_stock_ids).any(|part| part == id)
        })
}

/// Refuses what is lost by the command line, but was not aboard: neither does the plan take it along,
/// nor does it lie on the boat, where lures and leaders may. Of what is not in the inventory the
/// service tells.
async fn was_aboard(
    service: &Service,
    request: &pb::CheckCoverageRequest,
    args: &CheckArgs,
) -> Result<(), Failure> {
    let boat = request.trip.as_ref().map_or("", |trip| trip.boat_id.as_str());
    let basis = request.plan.iter().flat_map(|plan| &plan.basis).flat_map(|b| &b.aboard);
    let earlier: Vec<&String> = basis.flat_map(|aboard| &aboard.lost_item_ids).collect();
    for text in &args.lost {
        let id = id_of(text);
        if has(request, id) || earlier.iter().any(|lost| *lost == id) {
            continue;
        }
        let asked = service.request(pb::GetItemRequest { id: id.to_owned(), read_mask: None });
        let Ok(found) = service.inventory().get_item(asked).await else { continue };
        let Some(item) = found.into_inner().item else { continue };
        let mut places: Vec<&str> = item.place_counts.iter().map(|p| p.place_id.as_str()).collect();
        places.push(&item.place_id);
        places.retain(|place| !place.is_empty());
        places.dedup();
        let lies_there = match item.kind() {
            pb::ItemKind::Rod | pb::ItemKind::Reel => false,
            pb::ItemKind::Lure | pb::ItemKind::LineStock => places.contains(&boat),
            pb::ItemKind::Boat | pb::ItemKind::Device | pb::ItemKind::Unspecified => continue,
        };
        if !lies_there {
            let lies = match places.as_slice() {
                [] => "nobody said where it is".to_owned(),
                [only] if *only == boat => "it stays ashore in this plan".to_owned(),
                all => format!("it lies at {}", all.join(" and ")),
            };
            return Err(Failure::usage(format!("--lost {text}: it is not aboard {boat}; {lies}"))
                .hint(format!("what {boat} took along stands on the load list of its plan")));
        }
    }
    Ok(())
}

/// The boat that is meant.
fn choose(
    mut plans: Vec<pb::CheckCoverageRequest>,
    args: &CheckArgs,
) -> Result<pb::CheckCoverageRequest, Unchosen> {
    let boat = |request: &pb::CheckCoverageRequest| {
        request.trip.as_ref().map(|trip| trip.boat_id.clone()).unwrap_or_default()
    };
    let ids: Vec<String> = args.lost.iter().map(|text| id_of(text).to_owned()).collect();
    let known: Vec<String> = plans.iter().map(boat).collect();
    let aboard = |id: &String| -> Vec<String> {
        plans.iter().filter(|request| has(request, id)).map(boat).collect()
    };
    let at = match &args.boat {
        Some(id) => known.iter().position(|boat| boat == id).ok_or_else(|| {
            Failure::usage(format!("--boat {id}: there is no plan of it"))
                .hint(format!("--boat with one of {}", known.join(", ")))
        })?,
        None if plans.len() == 1 => 0,
        None => {
            let hint = format!("--boat with one of {}", known.join(", "));
            let mut meant: Option<(&String, String)> = None;
            for id in &ids {
                let boats = aboard(id);
                let [boat] = &boats[..] else {
                    let said = match boats.is_empty() {
                        true => format!("--lost {id}: no plan has it aboard"),
                        false => format!("--lost {id}: it is aboard {}", boats.join(" and ")),
                    };
                    let nowhere = boats.is_empty().then(|| id.clone());
                    return Err(Unchosen { said: Failure::usage(said).hint(hint), nowhere });
                };
                match &meant {
                    Some((first, other)) if other != boat => {
                        let said = format!("{first} is aboard {other}, but {id} aboard {boat}");
                        return Err(Failure::usage(said).hint("one boat at a time").into());
                    }
                    _ => meant = Some((id, boat.clone())),
                }
            }
            let boat = meant.map(|(_, boat)| boat);
            let at = boat.and_then(|boat| known.iter().position(|known| *known == boat));
            at.ok_or_else(|| Failure::usage("which boat?".to_owned()).hint(hint))?
        }
    };
    for id in ids.iter().filter(|id| !has(&plans[at], id)) {
        let boats = aboard(id);
        if !boats.is_empty() {
            let (boats, at) = (boats.join(" and "), &known[at]);
            let said = format!("--lost {id}: it is aboard {boats}, not {at}");
            let hint = format!("--boat with the boat that lost it, or what {at} lost");
            return Err(Failure::usage(said).hint(hint).into());
        }
    }
    Ok(plans.swap_remove(at))
}

/// Compares two plans.
pub(super) fn compare(global: &Global, args: &ComparePlansArgs) -> Result<(), Failure> {
    let (first, second) = (plans(&args.first)?, plans(&args.second)?);
    let difference = plan_difference(&first, &second);
    let trip = |plan: &pb::Plan| (plan.boat_id.clone(), plan.trip_id.clone());
    let is_common = first.iter().any(|plan| second.iter().any(|other| trip(plan) == trip(other)));
    let winds = other_winds(&first, &second);
    put(&match global.output {
        Format::Table => render::plan_difference(&difference, is_common, &winds, output::width()),
        Format::Json => output::json_text(&difference)?,
        Format::Jsonl => output::json_line(&difference)?,
        Format::Csv => output::csv_text(&CHANGES, &change_rows(&difference))?,
    })
}

/// For each trip of two plans that was judged in another wind, what it is in each.
fn other_winds(first: &[pb::Plan], second: &[pb::Plan]) -> Vec<String> {
    let added = |plan: &pb::Plan| {
        let basis = plan.basis.as_ref();
        basis.and_then(|basis| basis.added_wind_m_s).filter(|wind| *wind > 0.0)
    };
    let stated = |plan: &pb::Plan| -> Vec<(String, Option<f64>)> {
        let segments = plan.trip.iter().flat_map(|trip| &trip.segments);
        let wind = |s: &pb::Segment| s.water.as_ref().and_then(|water| water.wind_speed_m_s);
        segments.map(|segment| (segment.id.clone(), wind(segment))).collect()
    };
    let words = |wind: Option<f64>| match wind {
        Some(wind) => render::speed(wind),
        None => "none".to_owned(),
    };
    let mut told = Vec::new();
    for one in first {
        let same =
            |other: &&pb::Plan| (&other.boat_id, &other.trip_id) == (&one.boat_id, &one.trip_id);
        let Some(other) = second.iter().find(same) else { continue };
        if added(one) != added(other) {
            told.push(format!(
                "The plans of {} were made for another wind: more than the trip states it is {} in \
                 the first, {} in the second.",
                one.boat_id,
                words(added(one)),
                words(added(other))
            ));
        }
        let others = stated(other);
        for (segment, wind) in stated(one) {
            let now = others.iter().find(|(id, _)| *id == segment);
            if let Some((_, now)) = now.filter(|(_, now)| *now != wind) {
                told.push(format!(
                    "The plans of {} were made for another wind in segment {segment}: {} in the \
                     first, {} in the second.",
                    one.boat_id,
                    words(wind),
                    words(*now)
                ));
            }
        }
    }
    told
}

/// Columns of what differs between two plans.
const CHANGES: [&str; 17] = [
    "trip_id",
    "segment_id",
    "lure_id",
    "before",
    "after",
    "what",
    "change",
    "boat_id",
    "rod_id",
    "reel_id",
    "item_id",
    "quantity",
    "from_place_id",
    "to_place_id",
    "deadline",
    "duration_minutes",
    "text",
];

/// Needs, outfits, lines, moves and jobs that differ, a row each; a line has its stock before and
/// after, a move of line its metres, of anything else its pieces.
fn change_rows(difference: &pb::PlanDifference) -> Vec<Vec<String>> {
    let row = |what: &str, change: &str, cells: &[(&str, String)]| -> Vec<String> {
        let cell = |name: &&str| match *name {
            "what" => what.to_owned(),
            "change" => change.to_owned(),
            name => cells.iter().find(|(n, _)| *n == name).map_or("", |(_, v)| v).to_owned(),
        };
        CHANGES.iter().map(cell).collect()
    };
    let of = |outfit: &pb::ChangedOutfit| {
        [
            ("trip_id", outfit.trip_id.clone()),
            ("boat_id", outfit.boat_id.clone()),
            ("rod_id", outfit.rod_id.clone()),
            ("reel_id", outfit.reel_id.clone()),
        ]
    };
    let mut rows = Vec::new();
    for n in &difference.needs {
        let cells = [
            ("trip_id", n.trip_id.clone()),
            ("segment_id", n.segment_id.clone()),
            ("lure_id", n.lure_id.clone()),
            ("before", render::word!(Verdict, n.before)),
            ("after", render::word!(Verdict, n.after)),
        ];
        rows.push(row("need", "changed", &cells));
    }
    for (outfits, change) in [(&difference.added, "added"), (&difference.removed, "removed")] {
        rows.extend(outfits.iter().map(|outfit| row("outfit", change, &of(outfit))));
    }
    for line in &difference.changed_lines {
        let mut cells = of(&line.outfit.clone().unwrap_or_default()).to_vec();
        cells.push(("before", line.stock_before_id.clone()));
        cells.push(("after", line.stock_after_id.clone()));
        rows.push(row("line", "changed", &cells));
    }
    let moves = [(&difference.added_moves, "added"), (&difference.removed_moves, "removed")];
    for (steps, change) in moves {
        let cells = |step: &pb::Move| {
            [
                ("item_id", step.item_id.clone()),
                ("quantity", step.quantity.to_string()),
                ("from_place_id", step.from_place_id.clone()),
                ("to_place_id", step.to_place_id.clone()),
                ("deadline", step.deadline.clone()),
            ]
        };
        rows.extend(steps.iter().map(|step| row("move", change, &cells(step))));
    }
    for (jobs, change) in [(&difference.added_jobs, "added"), (&difference.removed_jobs, "removed")]
    {
        for changed in jobs {
            let job = changed.job.clone().unwrap_or_default();
            let cells = [
                ("trip_id", changed.trip_id.clone()),
                ("boat_id", changed.boat_id.clone()),
                ("segment_id", job.segment_id),
                ("item_id", job.stock_id),
                ("duration_minutes", job.duration_minutes.to_string()),
                ("text", job.text),
            ];
            rows.push(row("job", change, &cells));
        }
    }
    rows
}

/// The plans of a file.
fn plans(path: &Path) -> Result<Vec<pb::Plan>, Failure> {
    answered(path, &text_of(path)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Counted by hand: one row for each thing that differs.
    #[test]
    fn each_change_is_a_row() {
        let outfit = pb::ChangedOutfit { rod_id: "R17".to_owned(), ..pb::ChangedOutfit::default() };
        let step = pb::Move { item_id: "K02".to_owned(), quantity: 150, ..pb::Move::default() };
        let job = pb::Job { duration_minutes: 12, ..pb::Job::default() };
        let difference = pb::PlanDifference {
            needs: vec![pb::NeedChange { lure_id: "L10".to_owned(), ..Default::default() }],
            added: vec![outfit.clone()],
            changed_lines: vec![pb::ChangedLine { outfit: Some(outfit), ..Default::default() }],
            removed_moves: vec![step],
            added_jobs: vec![pb::ChangedJob { job: Some(job), ..Default::default() }],
            ..pb::PlanDifference::default()
        };
        let rows = change_rows(&difference);
        let cell = |row: &[String], name: &str| {
            row[CHANGES.iter().position(|column| *column == name).unwrap()].clone()
        };
        let told: Vec<_> =
            rows.iter().map(|row| cell(row, "what") + " " + &cell(row, "change")).collect();
        let expected =
            ["need changed", "outfit added", "line changed", "move removed", "job added"];
        assert_eq!(told, expected);
        assert_eq!(
            (cell(&rows[3], "item_id"), cell(&rows[3], "quantity")),
            ("K02".into(), "150".into())
        );
        assert_eq!(cell(&rows[4], "duration_minutes"), "12");
    }
}

//! What to buy for a season, and which few outfits cover it best.

use std::collections::BTreeMap;

use deepbend_contract::pb::watch_plan_request::Work;
use deepbend_contract::pb::watch_plan_response::Part;
use deepbend_contract::{limits, pb};

use super::watched::{other_answer, watched};
use super::{finish, json_of, plan_terms, printed_only};
use crate::args::{GapsArgs, Global, SeasonArgs, SetArgs, amount as amount_of};
use crate::failure::Failure;
use crate::output::{self, Format, put, wrapped_note};
use crate::render;
use crate::service::{Needs, Service};
use crate::trip_files;

/// Says what to buy.
pub(super) async fn gaps(global: &Global, args: &GapsArgs) -> Result<(), Failure> {
    let request: pb::FindGapsRequest = match &args.season.request {
        Some(path) => json_of(path)?,
        None => pb::FindGapsRequest {
            trips: trips(&args.season)?,
            place_ids: args.place.clone(),
            gap_count: args.count.unwrap_or_default(),
            budget_cents: args.budget.map(cents),
            prices: args.price.iter().map(|text| price(text)).collect::<Result<_, _>>()?,
            ..pb::FindGapsRequest::default()
        },
    };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = watched(global, &service, Work::FindGaps(request)).await?;
        let Part::FindGaps(answer) = answer else { return Err(other_answer()) };
        let wanted = args.count.and_then(|count| usize::try_from(count).ok()).unwrap_or(0);
        if answer.gaps.len() < wanted && !answer.gaps.is_empty() && !answer.abridged {
            let text = format!(
                "{} of {wanted} gaps: all others add less than an eighth of the first, or say no more",
                answer.gaps.len()
            );
            wrapped_note("note: ", &text);
        }
        put(&match global.output {
            Format::Table => render::gaps(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => {
                let header = ["window", "added_micros", "added_low_micros", "like_rod_id"];
                let row = |gap: &pb::Gap| {
                    vec![
                        gap.window.as_ref().map(|w| w.text.clone()).unwrap_or_default(),
                        gap.added_micros.to_string(),
                        gap.added_low_micros.to_string(),
                        gap.like_rod_id.clone(),
                    ]
                };
                output::csv_text(&header, &answer.gaps.iter().map(row).collect::<Vec<_>>())?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}

/// Says which few outfits cover most.
pub(super) async fn set(global: &Global, args: &SetArgs) -> Result<(), Failure> {
    let request: pb::DesignSetRequest = match &args.season.request {
        Some(path) => json_of(path)?,
        None => pb::DesignSetRequest {
            trips: trips(&args.season)?,
            outfit_count: args.most.unwrap_or_default(),
            keep_rod_ids: args.keep.clone(),
            tube_length_m: args.tube,
            resupply_hours: args.resupply,
            ..pb::DesignSetRequest::default()
        },
    };
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Inventory).await?;
    let done = async {
        let answer = watched(global, &service, Work::DesignSet(request)).await?;
        let Part::DesignSet(answer) = answer else { return Err(other_answer()) };
        put(&match global.output {
            Format::Table => render::outfit_sets(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => {
                let header = ["outfit_count", "coverage", "worth_micros", "bound_micros", "status"];
                let row = |set: &pb::OutfitSet| {
                    vec![
                        set.outfits.len().to_string(),
                        format!("{:.6}", set.coverage),
                        set.worth_micros.to_string(),
                        set.bound_micros.to_string(),
                        render::word!(PlanStatus, set.status),
                    ]
                };
                output::csv_text(&header, &answer.sets.iter().map(row).collect::<Vec<_>>())?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}

fn trips(args: &SeasonArgs) -> Result<Vec<pb::SeasonTrip>, Failure> {
    let files = plan_terms::read([&args.trips, &args.segments, &args.needs])?;
    let mut days: BTreeMap<String, i32> = BTreeMap::new();
    for text in &args.days {
        let wrong =
            || Failure::usage(format!("--days {text}: that is not TRIP=DAYS")).hint("like T1=12");
        let (trip, number) = text.split_once('=').ok_or_else(wrong)?;
        days.insert(trip.to_owned(), number.trim().parse().map_err(|_| wrong())?);
    }
    let ids = trip_files::ids(&files)?;
    if let Some(unknown) = days.keys().find(|id| !ids.contains(id)) {
        return Err(Failure::usage(format!("--days {unknown}: no such trip"))
            .hint(format!("one of {}", ids.join(", "))));
    }
    let season = ids.iter().map(|id| {
        Ok(pb::SeasonTrip {
            trip: Some(trip_files::trip(&files, Some(id), true)?),
            day_count: days.get(id).copied().unwrap_or_default(),
        })
    });
    season.collect()
}

/// An amount of money in hundredths; what is out of range is for the service to refuse.
fn cents(amount: f64) -> i64 {
    (amount * 100.0).round() as i64
}

fn price(text: &str) -> Result<pb::HandlePrice, Failure> {
    let wrong = || {
        Failure::usage(format!("--price {text}: that is not HANDLE=AMOUNT"))
            .hint("like spinning=150 or casting=180")
    };
    let (handle, amount) = text.split_once('=').ok_or_else(wrong)?;
    let handle = match handle.trim() {
        "spinning" => pb::Handle::Spinning,
        "casting" => pb::Handle::Casting,
        _ => return Err(wrong()),
    };
    let right = |right: String| Failure::usage(format!("--price {text}: {right}"));
    let amount = amount_of(amount, limits::PRICE_CENTS).map_err(right)?;
    Ok(pb::HandlePrice { handle: handle.into(), price_cents: cents(amount) })
}

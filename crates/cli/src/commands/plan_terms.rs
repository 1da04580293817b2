//! What the plans of one trip and of several boats have in common on the command line.

use std::path::{Path, PathBuf};

use deepbend_contract::pb;

use super::text_of;
use crate::args::TermsArgs;
use crate::describe;
use crate::failure::Failure;
use crate::output::wrapped_note;
use crate::trip_files::{self, TripFiles};

/// The three files that state trips.
pub(super) fn files(args: &TermsArgs) -> Result<TripFiles, Failure> {
    read([&args.trips, &args.segments, &args.needs])
}

/// The files of trips, segments and needs. Says which rows belong to no trip.
pub(super) fn read(paths: [&Option<PathBuf>; 3]) -> Result<TripFiles, Failure> {
    let text = |path: &Option<PathBuf>| -> Result<(String, String), Failure> {
        let path = path.as_deref().unwrap_or(Path::new(""));
        Ok((path.display().to_string(), text_of(path)?))
    };
    let [trips, segments, needs] = paths;
    let files = TripFiles { trips: text(trips)?, segments: text(segments)?, needs: text(needs)? };
    trip_files::check_columns(&files)?;
    for row in trip_files::of_no_trip(&files)? {
        wrapped_note("note: ", &row);
    }
    Ok(files)
}

/// Places with the cost of a move.
pub(super) fn pool(args: &TermsArgs) -> Result<Vec<pb::PoolPlace>, Failure> {
    args.pool.iter().map(|text| place(text)).collect()
}

fn place(text: &str) -> Result<pb::PoolPlace, Failure> {
    let Some((place_id, cost)) = text.split_once('=') else {
        return Ok(pb::PoolPlace { place_id: text.to_owned(), move_cost_micros: None });
    };
    let cost = cost.trim().parse().map_err(|_| {
        Failure::usage(format!("--from {text}: `{cost}` is no whole number of millionths"))
            .hint("a place alone, or with what a move costs: B2=300000")
    })?;
    Ok(pb::PoolPlace { place_id: place_id.to_owned(), move_cost_micros: Some(cost) })
}

/// Says which boat each pin is about where there is only one, and refuses one that is about none of
/// the boats.
pub(super) fn settle_boats<'t>(
    pins: &mut [pb::Pin],
    trips: impl Iterator<Item = &'t pb::Trip>,
) -> Result<(), Failure> {
    let boats: Vec<&str> = trips.map(|trip| trip.boat_id.as_str()).collect();
    for pin in pins {
        match (pin.boat_id.as_str(), boats.as_slice()) {
            ("", [only]) => pin.boat_id = (*only).to_owned(),
            ("", [first, ..]) if [pb::PinRule::Take, pb::PinRule::Hold].contains(&pin.rule()) => {
                let (option, what) = match pin.segment_id.as_str() {
                    "" => ("--take", pin.item_id.clone()),
                    segment => ("--hold", format!("{segment}/{}", pin.item_id)),
                };
                let said = format!("{option} {what}: which of the boats, {}?", boats.join(", "));
                return Err(Failure::usage(said).hint(format!("{option} {first}:{what}")));
            }
            ("", _) => {}
            (named, boats) if boats.contains(&named) => {}
            (named, boats) => {
                let said = format!("{named}:{}: {named} is none of the boats", pin.item_id);
                let hint = format!("one of {}", boats.join(", "));
                return Err(Failure::usage(said).hint(hint));
            }
        }
    }
    Ok(())
}

/// Decisions that the plan must respect.
pub(super) fn pins(args: &TermsArgs) -> Result<Vec<pb::Pin>, Failure> {
    let of = |rule: pb::PinRule, text: &str| {
        let (boat_id, item_id) = text.split_once(':').unwrap_or(("", text));
        pb::Pin {
            rule: rule.into(),
            item_id: item_id.to_owned(),
            boat_id: boat_id.to_owned(),
            ..pb::Pin::default()
        }
    };
    let mut pins: Vec<pb::Pin> =
        args.leave.iter().map(|text| of(pb::PinRule::Leave, text)).collect();
    pins.extend(args.take.iter().map(|text| of(pb::PinRule::Take, text)));
    for text in &args.pair {
        let (item_id, reel_id) = describe::pair(text)
            .ok_or_else(|| Failure::usage(format!("--pair {text}: that is not ROD+REEL")))
            .map_err(|failure| failure.hint("like R14+E08"))?;
        let rule = pb::PinRule::Pair.into();
        pins.push(pb::Pin { rule, item_id, reel_id, ..pb::Pin::default() });
    }
    for text in &args.hold {
        let pin = of(pb::PinRule::Hold, text);
        let (segment, lure) = pin
            .item_id
            .split_once('/')
            .ok_or_else(|| Failure::usage(format!("--hold {text}: that is not SEGMENT/LURE")))
            .map_err(|failure| failure.hint("like b/L17"))?;
        let (segment_id, item_id) = (segment.to_owned(), lure.to_owned());
        pins.push(pb::Pin { segment_id, item_id, ..pin });
    }
    Ok(pins)
}

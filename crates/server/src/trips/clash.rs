//! Where not all limits can be kept: which clash, and what the plan shown leaves out.

use deepbend_contract::pb;
use deepbend_planner::fleet::{Idle, LeftOut};
use deepbend_planner::plan::{Clash, Constraint};
use deepbend_planner::problem::{Candidate, Pin};

use super::answer::count;

/// The clash as the contract has it.
pub(super) fn write_clash(clash: Clash) -> pb::PlanClash {
    let Clash { constraints, text } = clash;
    let constraints = constraints
        .into_iter()
        .map(|constraint| {
            let (kind, segment) = match constraint {
                Constraint::AnglersAtOnce { boat, segment } => {
                    return pb::ClashingConstraint {
                        constraint: pb::PlanConstraint::AnglersAtOnce.into(),
                        segment_id: segment,
                        pin: None,
                        boat_id: boat,
                    };
                }
                Constraint::RodLimit => (pb::PlanConstraint::RodLimit, String::new()),
                Constraint::Locker => (pb::PlanConstraint::Locker, String::new()),
                Constraint::OneReelPerRod => (pb::PlanConstraint::OneReelPerRod, String::new()),
                Constraint::ReadyItems => (pb::PlanConstraint::ReadyItems, String::new()),
                Constraint::MinVerdict => (pb::PlanConstraint::MinVerdict, String::new()),
                Constraint::NoUnsafe => (pb::PlanConstraint::NoUnsafe, String::new()),
                Constraint::AnglerSuits => (pb::PlanConstraint::AnglerSuits, String::new()),
                Constraint::LureStock => (pb::PlanConstraint::LureStock, String::new()),
                Constraint::LeaderStock => (pb::PlanConstraint::LeaderStock, String::new()),
                Constraint::LineStock => (pb::PlanConstraint::LineStock, String::new()),
                Constraint::Pinned { boat, pin } => {
                    return pb::ClashingConstraint {
                        constraint: pb::PlanConstraint::Pinned.into(),
                        segment_id: String::new(),
                        boat_id: boat.clone(),
                        pin: Some(write_pin(boat, pin)),
                    };
                }
            };
            pb::ClashingConstraint {
                constraint: kind.into(),
                segment_id: segment,
                ..pb::ClashingConstraint::default()
            }
        })
        .collect();
    pb::PlanClash { constraints, text }
}

pub(super) fn write_pin(boat_id: String, pin: Pin) -> pb::Pin {
    let rule = |rule: pb::PinRule, item_id: String| pb::Pin {
        rule: rule.into(),
        item_id,
        ..pb::Pin::default()
    };
    let pin = match pin {
        Pin::Take { id, .. } => rule(pb::PinRule::Take, id),
        Pin::Leave { id, .. } => rule(pb::PinRule::Leave, id),
        Pin::Pair { rod, reel } => pb::Pin { reel_id: reel, ..rule(pb::PinRule::Pair, rod) },
        Pin::Hold { segment, lure } => {
            pb::Pin { segment_id: segment, ..rule(pb::PinRule::Hold, lure) }
        }
    };
    pb::Pin { boat_id, ..pin }
}

/// Things left out that are told in words; the rest is counted.
const TOLD: usize = 6;

/// What is left out, of one trip or of all.
pub(super) fn given_up(left_out: &LeftOut, trip: Option<usize>) -> pb::GivenUp {
    let here = |t: usize| trip.is_none_or(|trip| trip == t);
    let boat = |t: usize| left_out.problem.trips[t].problem.boat.place.clone();
    let several = left_out.problem.trips.len() > 1;
    let mut given = pb::GivenUp { is_least: left_out.is_least, ..pb::GivenUp::default() };
    let mut texts = Vec::new();
    for idle in left_out.idle.iter().filter(|idle| here(idle.trip)) {
        let Idle { trip, segment, anglers, of } = idle;
        let on = if several { format!(" on {}", boat(*trip)) } else { String::new() };
        let seated = of.saturating_sub(anglers.len() as u32);
        let takes = if anglers.len() == 1 { "takes" } else { "take" };
        let hard = too_hard(left_out, *trip, segment, anglers);
        let turns = format!("{} {takes} turns with the others{hard}", anglers.join(", "));
        texts.push(match seated {
            0 => {
                format!("nobody has an outfit and a lure that suit in segment {segment}{on}{hard}")
            }
            _ => format!("in segment {segment}{on} {seated} of {of} fish at once, {turns}"),
        });
        given.short_crews.push(pb::ShortCrew {
            segment_id: segment.clone(),
            angler_count: count(*of),
            seated_count: count(seated),
            idle_angler_ids: anglers.clone(),
        });
    }
    for (t, pin) in left_out.pins.iter().filter(|(t, _)| here(*t)) {
        let boat = boat(*t);
        texts.push(match pin {
            Pin::Take { id, .. } => format!("{boat} does not take {id}"),
            Pin::Leave { id, .. } => format!("{boat} takes {id}"),
            Pin::Pair { rod, reel } => format!("{rod} does not carry {reel} on {boat}"),
            Pin::Hold { segment, lure } => {
                format!("{boat} does not cover {lure} in segment {segment}")
            }
        });
        given.pins.push(write_pin(boat, pin.clone()));
    }
    given.text = match texts.is_empty() {
        true => "This trip keeps all of its limits; another one does not.".to_owned(),
        false => {
            let more = texts.len().saturating_sub(TOLD);
            texts.truncate(TOLD);
            let more = if more > 0 { format!("; and {more} more") } else { String::new() };
            let lead = match left_out.is_least {
                true => "The plan leaves out as little as can be",
                false => "The plan leaves out",
            };
            format!("{lead}: {}{more}.", texts.join("; "))
        }
    };
    given
}

/// Of the outfits that lie free while somebody is idle, those that the angler cannot use, in words.
fn too_hard(left_out: &LeftOut, trip: usize, segment: &str, anglers: &[String]) -> String {
    let (problem, plan) = (&left_out.problem.trips[trip].problem, &left_out.plan.trips[trip]);
    let busy = |at: usize| plan.starts.iter().any(|s| s.segment == segment && s.outfit == at);
    let mut free: Vec<&str> = Vec::new();
    for (at, outfit) in plan.outfits.iter().enumerate().filter(|(at, _)| !busy(*at)) {
        let same = |c: &&Candidate| {
            (&c.rod, &c.reel, &c.line) == (&outfit.rod, &outfit.reel, &outfit.line)
        };
        let barred = problem.candidates.iter().find(same).is_some_and(|candidate| {
            anglers.iter().any(|angler| candidate.not_for.contains(angler))
        });
        if barred {
            free.push(&plan.outfits[at].rod);
        }
    }
    match free.as_slice() {
        [] => String::new(),
        rods => format!(
            " ({} would be free, but asks for more skill or the other hand at the crank)",
            rods.join(" or ")
        ),
    }
}

//! Reel: does it suit lure, drag and line? Practice. What is not known is not judged.

use super::{Case, Scored, scored};
use crate::gear::Handle;
use crate::judge::text::{grams, newtons};
use crate::model::{Presentation, RetrieveSpeed};
use crate::quantity::words::CENTIMETRES;

/// A revolving spool sits on a trigger grip, a fixed spool hangs under a spinning handle.
fn mount(c: &Case<'_>) -> Option<f64> {
    (c.reel.kind? != c.handle).then_some(c.p.reel.wrong_mount)
}

fn light_on_casting(c: &Case<'_>) -> Option<f64> {
    let cast = c.handle == Handle::Casting && !c.is_vertical();
    cast.then(|| c.p.reel.casting_mass.at_log(c.throwable_g()))
}

fn drag_reserve(c: &Case<'_>) -> Option<f64> {
    let p = &c.p.reel;
    c.reel.drag_max_kgf.map(|most| p.reserve.at(most * p.usable_share / c.drag_kgf))
}

/// Line that a turn of the handle should take in for this class of lure, cm.
pub(in crate::judge) fn wanted_retrieve_cm(c: &Case<'_>) -> (f64, f64) {
    let p = &c.p.reel;
    match c.traits.retrieve {
        RetrieveSpeed::Slow => (p.slow_from_cm, p.slow_to_cm),
        RetrieveSpeed::Mid => (p.mid_from_cm, p.mid_to_cm),
        RetrieveSpeed::Quick => (p.quick_from_cm, p.quick_to_cm),
    }
}

/// Line that a turn takes in on reels of the size that goes with the rod, cm: from the lowest gear to
/// the highest.
pub(in crate::judge) fn usual_retrieve_cm(c: &Case<'_>) -> (f64, f64) {
    let p = &c.p.reel;
    let (low, high) = match c.handle {
        Handle::Spinning => (&p.spinning_turn_from_cm, &p.spinning_turn_to_cm),
        Handle::Casting => (&p.casting_turn_from_cm, &p.casting_turn_to_cm),
    };
    // Sizes go by the nearest class.
    let class = c.power.round();
    (low.at(class), high.at(class))
}

/// Of what is wanted what there is, cm: the nearest gear where there is none of it.
pub(in crate::judge) fn within((low, high): (f64, f64), there: (f64, f64)) -> (f64, f64) {
    let nearest = |turn: f64| turn.max(there.0).min(there.1);
    (nearest(low), nearest(high))
}

fn retrieve(c: &Case<'_>) -> Option<f64> {
    let p = &c.p.reel;
    let (low, high) = wanted_retrieve_cm(c);
    let turn = c.reel.retrieve_cm?;
    let outside = (low - turn).max(turn - high).max(0.0);
    Some((1.0 - p.retrieve_loss * outside).max(p.retrieve_least))
}

/// Force at the handle while the lure is wound in, N: work of a turn over the way of the hand.
fn handle_n(c: &Case<'_>) -> Option<f64> {
    let turn_m = c.reel.retrieve_cm? * 1e-2;
    let way_m = 2.0 * core::f64::consts::PI * c.p.reel.handle_arm_m;
    (c.traits.presentation == Presentation::Steady).then(|| c.pull_n * turn_m / way_m)
}

fn winding(c: &Case<'_>) -> Option<f64> {
    handle_n(c).map(|force| c.p.reel.handle_n.at(force))
}

fn start_up(c: &Case<'_>) -> Option<f64> {
    let p = &c.p.reel;
    let ratio = c.reel.start_up?;
    let tender = p.tender_leader.at(c.leader_at_knot_kgf());
    Some(1.0 - (1.0 - p.start_up.at(ratio)) * tender)
}

fn capacity(c: &Case<'_>) -> Option<f64> {
    let run = c.fish.habit.run_m * c.p.reel.run_reserve;
    let asked = run.max(c.p.reel.least_capacity_m);
    c.reel.capacity_m.map(|held| c.p.reel.capacity.at(held / asked))
}

fn body(c: &Case<'_>) -> Option<f64> {
    let p = &c.p.reel;
    let usual = match c.handle {
        Handle::Spinning => p.spinning_mass_g.at(c.power),
        Handle::Casting => p.casting_mass_g.at(c.power),
    };
    c.reel.mass_g.map(|mass| p.body.at(libm::fabs(libm::log(mass / usual))))
}

/// The worst of what is known: lightest lure of a casting reel, drag reserve, line a turn,
/// start-up, capacity, size.
pub(in crate::judge) fn score(c: &Case<'_>) -> Option<Scored> {
    let parts = [
        mount(c),
        light_on_casting(c),
        drag_reserve(c),
        retrieve(c),
        winding(c),
        start_up(c),
        capacity(c),
        body(c),
    ];
    let worst = parts.into_iter().flatten().reduce(f64::min)?;
    Some(scored!(
        worst,
        [
            ("rigged_mass", c.mass_g, "g"),
            ("drag_max", c.reel.drag_max_kgf.unwrap_or(f64::NAN), "kgf"),
            ("retrieve_per_turn", c.reel.retrieve_cm.unwrap_or(f64::NAN), "cm"),
            ("start_up_ratio", c.reel.start_up.unwrap_or(f64::NAN), "1"),
            ("handle_force", handle_n(c).unwrap_or(f64::NAN), "N"),
            ("capacity", c.reel.capacity_m.unwrap_or(f64::NAN), "m"),
        ],
    ))
}

pub(in crate::judge) fn text(c: &Case<'_>, s: &Scored) -> String {
    let worst = s.score + f64::EPSILON;
    let at_fault = |part: Option<f64>| part.is_some_and(|value| value <= worst);
    if worst >= 1.0 {
        "the reel suits lure, drag and line".to_owned()
    } else if at_fault(mount(c)) {
        match c.handle {
            Handle::Spinning => "a casting reel does not mount on a spinning rod".to_owned(),
            Handle::Casting => "a fixed-spool reel does not mount on a casting rod".to_owned(),
        }
    } else if at_fault(light_on_casting(c)) {
        format!("{} is light for a casting reel", grams(c.mass_g))
    } else if at_fault(start_up(c)) {
        "the drag starts stickily: it jerks a light leader".to_owned()
    } else if at_fault(drag_reserve(c)) {
        "the reel's smooth drag leaves little reserve".to_owned()
    } else if at_fault(capacity(c)) {
        format!("the spool holds little line for the runs of {}", c.fish_plain())
    } else if at_fault(winding(c)) {
        let force = newtons(s.get("handle_force"));
        format!("{} takes {force} at the handle at each turn: it tires", c.lure_plain())
    } else if at_fault(retrieve(c)) {
        let (low, high) = wanted_retrieve_cm(c);
        let turn = s.get("retrieve_per_turn");
        let (turn, wanted) = (CENTIMETRES.one(turn), CENTIMETRES.two(low, high));
        format!("{turn} a turn; {} wants {wanted}", c.lure_plain())
    } else {
        "the reel is of another size than the rod".to_owned()
    }
}

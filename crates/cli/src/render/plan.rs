//! One trip's plan: what is taken, what it covers, what stays open.

use std::collections::BTreeSet;

use deepbend_contract::pb;

use super::gear::line_phrase;
use super::judgement::{cautions, findings};
use super::{Page, Table, bar, capital, model_id, plain};
use super::{plan_change, plan_jobs, units};

/// A plan in the order in which a crew needs it.
#[must_use]
pub fn plan(plan: &pb::Plan, width: usize) -> String {
    let mut page = Page::new(width);
    status(&mut page, plan.status, plan.gap, plan.reproducible);
    clash(&mut page, plan.clash.as_ref(), plan.given_up.as_ref());
    body(&mut page, plan);
    plan_change::if_sighted(&mut page, &plan.if_sighted);
    if let Some(model) = &plan.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

/// What plans of several boats are worth together, and what is moved for them.
#[must_use]
pub fn fleet_moves(fleet: &pb::FleetPlan, width: usize) -> String {
    let mut page = Page::new(width);
    fleet_head(&mut page, fleet);
    page.finish()
}

/// Plans of several boats: what is moved first, then boat by boat.
#[must_use]
pub fn fleet_plan(fleet: &pb::FleetPlan, width: usize) -> String {
    let mut page = Page::new(width);
    fleet_head(&mut page, fleet);
    if fleet.value.is_some() {
        for plan in &fleet.plans {
            page.line("");
            page.line(&format!("==== {} {} ====", plan.trip_id, plan.boat_id));
            body(&mut page, plan);
        }
    }
    if let Some(model) = &fleet.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

/// What the quay needs of a plan.
#[must_use]
pub fn brief(plan: &pb::Plan, width: usize) -> String {
    let mut page = Page::new(width);
    status(&mut page, plan.status, plan.gap, plan.reproducible);
    clash(&mut page, plan.clash.as_ref(), plan.given_up.as_ref());
    for_quay(&mut page, plan);
    plan_change::to_look_for(&mut page, &plan.if_sighted);
    page.finish()
}

/// The same of several boats, boat by boat.
#[must_use]
pub fn brief_fleet(fleet: &pb::FleetPlan, width: usize) -> String {
    let mut page = Page::new(width);
    status(&mut page, fleet.status, fleet.gap, fleet.reproducible);
    clash(&mut page, fleet.clash.as_ref(), fleet.given_up.as_ref());
    for plan in fleet.plans.iter().filter(|_| fleet.value.is_some()) {
        page.line("");
        page.line(&format!("==== {} {} ====", plan.trip_id, plan.boat_id));
        for_quay(&mut page, plan);
    }
    plan_change::to_look_for(&mut page, &fleet.if_sighted);
    page.finish()
}

fn for_quay(page: &mut Page, plan: &pb::Plan) {
    added_wind(page, plan);
    if plan.abridged {
        page.paragraph("The deadline left no time for all of it: losses and cures may be missing.");
    }
    plan_jobs::loaded(page, plan);
    plan_jobs::starts(page, plan);
    if !plan.uncovered.is_empty() {
        page.heading("Open");
    }
    for need in &plan.uncovered {
        let reached = match plain!(Verdict, need.reached) {
            none if none.is_empty() => "nothing".to_owned(),
            verdict => verdict,
        };
        let cure = match need.cure.as_str() {
            "" if plan.abridged && need.best_in_pool.is_none() => {
                "there was no time to look for a cure"
            }
            "" => "no cure is known",
            cure => cure,
        };
        let lead = format!("  {} {}  ", need.segment_id, need.lure_id);
        page.hanging(&lead, &format!("{reached}; {cure}"));
    }
    plan_jobs::before_departure(page, plan);
    cautions(page, &plan.cautions);
}

fn fleet_head(page: &mut Page, fleet: &pb::FleetPlan) {
    status(page, fleet.status, fleet.gap, fleet.reproducible);
    clash(page, fleet.clash.as_ref(), fleet.given_up.as_ref());
    if let Some(value) = &fleet.value {
        let worth = value.objective_micros as f64 / 1e6;
        let boats = fleet.plans.len();
        let most = fleet.bound_micros.map_or_else(String::new, |bound| {
            format!("; no plan is worth more than {:.2}", bound as f64 / 1e6)
        });
        page.paragraph(&format!("{boats} boats together are worth {worth:.2}{most}."));
        let steps = fleet.plans.iter().flat_map(|plan| &plan.moves);
        plan_jobs::moves(page, "Tonight's moves", steps);
        fleet.plans.iter().for_each(|plan| plan_jobs::day_before(page, plan));
        plan_change::if_sighted(page, &fleet.if_sighted);
    }
}

fn body(page: &mut Page, plan: &pb::Plan) {
    if plan.abridged {
        page.paragraph(
            "The deadline left no time to write all of it: losses, cures and what happens in more \
             wind may be missing.",
        );
    }
    head(page, plan);
    outfits(page, plan);
    coverage(page, plan);
    uncovered(page, plan);
    plan_jobs::before_departure(page, plan);
    plan_jobs::load_list(page, plan);
    plan_jobs::starts(page, plan);
    plan_jobs::rig_cards(page, plan, plan);
    plan_jobs::what_if(page, plan);
    ashore(page, plan);
    findings(page, &plan.findings);
    cautions(page, &plan.cautions);
    plan_jobs::return_list(page, plan);
}

fn status(page: &mut Page, status: i32, gap: Option<f64>, reproducible: bool) {
    let status = pb::PlanStatus::try_from(status).unwrap_or_default();
    // The gap is a share of the bound. Rounded down: no plan is praised too much.
    let least = ((1.0 - gap.unwrap_or(0.0)) * 1000.0).floor() / 10.0;
    page.paragraph(&match status {
        pb::PlanStatus::Optimal => "OPTIMAL: no plan is better.".to_owned(),
        pb::PlanStatus::Feasible => {
            format!(
                "FEASIBLE: the search was cut off; it is worth {least:.1} % of the best or more."
            )
        }
        pb::PlanStatus::Infeasible => "INFEASIBLE: no plan keeps all limits.".to_owned(),
        pb::PlanStatus::NotFound if !reproducible => {
            "NOT FOUND: the time was up before a plan was found that keeps all limits; give more \
             with --deadline."
                .to_owned()
        }
        pb::PlanStatus::NotFound => {
            "NOT FOUND: the work budget ended before a plan was found that keeps all limits; raise \
             it with --work."
                .to_owned()
        }
        pb::PlanStatus::Unspecified => "No status.".to_owned(),
    });
    let is_made = status != pb::PlanStatus::NotFound;
    if is_made && !reproducible {
        page.paragraph("The clock cut the search: another run may end with another plan.");
    }
}

/// What clashes, and what the plan below leaves out.
pub(super) fn clash(
    page: &mut Page,
    clash: Option<&pb::PlanClash>,
    given_up: Option<&pb::GivenUp>,
) {
    if let Some(clash) = clash {
        page.hanging("  ", &capital(&clash.text));
    }
    if let Some(given_up) = given_up {
        page.paragraph(&given_up.text);
        return;
    }
    let Some(clash) = clash else { return };
    for one in &clash.constraints {
        let segment = if one.segment_id.is_empty() {
            String::new()
        } else {
            format!(" in segment {}", one.segment_id)
        };
        let pin = one.pin.as_ref().map(pin_words).unwrap_or_default();
        page.hanging("  - ", &format!("{}{segment}{pin}", plain!(PlanConstraint, one.constraint)));
    }
}

/// A pin in a few words: ": B1 takes R17".
fn pin_words(pin: &pb::Pin) -> String {
    let (boat, item) = (&pin.boat_id, &pin.item_id);
    match pb::PinRule::try_from(pin.rule).unwrap_or_default() {
        pb::PinRule::Take => format!(": {boat} takes {item}"),
        pb::PinRule::Leave => format!(": {boat} leaves {item}"),
        pb::PinRule::Pair => format!(": {item} carries {}", pin.reel_id),
        pb::PinRule::Hold => format!(": {boat} covers {item} in segment {}", pin.segment_id),
        pb::PinRule::Unspecified => String::new(),
    }
}

/// The wind that a plan was made for, where that is more than the trip states.
pub(super) fn added_wind(page: &mut Page, plan: &pb::Plan) {
    let added = plan.basis.as_ref().and_then(|basis| basis.added_wind_m_s);
    if let Some(wind) = added.filter(|wind| *wind > 0.0) {
        let wind = units::speed(wind);
        page.paragraph(&format!("Judged in {wind} more wind than the trip states."));
    }
}

fn head(page: &mut Page, plan: &pb::Plan) {
    added_wind(page, plan);
    if let Some(counts) = &plan.counts {
        page.paragraph(&format!(
            "{} of {} lures covered with {} ({} at most); {}, {} of jobs before departure{}; \
             {} looked at.",
            counts.covered_count,
            counts.need_count,
            units::counted(counts.outfit_count.into(), "outfit"),
            counts.outfit_limit_count,
            units::counted(counts.move_count.into(), "move"),
            units::counted(plan_jobs::minutes_at_home(plan).into(), "minute"),
            match plan_jobs::minutes_afloat(plan) {
                0 => String::new(),
                later => format!(" and {later} on the water"),
            },
            units::counted(counts.candidate_count.into(), "outfit"),
        ));
    }
}

fn outfits(page: &mut Page, plan: &pb::Plan) {
    if plan.outfits.is_empty() {
        return;
    }
    page.heading("Outfits to take");
    let mut table =
        Table::new().left("").left("rod").left("reel").wrapped("line").wrapped("leaders");
    for outfit in &plan.outfits {
        let line = outfit.line.as_ref().map(line_phrase).unwrap_or_default();
        let from = if outfit.line_stock_id.is_empty() {
            String::new()
        } else {
            format!(", re-spooled from {}", outfit.line_stock_id)
        };
        table.row(vec![
            outfit.id.clone(),
            outfit.rod_id.clone(),
            outfit.reel_id.clone(),
            line + &from,
            outfit.leader_stock_ids.join(" "),
        ]);
    }
    page.table(&table);
}

/// Whether what is said of an outfit and a lure in a segment holds for some who fish there alone.
fn is_for_some(plan: &pb::Plan, one: &pb::Assignment, segment: &str) -> bool {
    let trip = plan.trip.as_ref();
    let part = trip.and_then(|trip| trip.segments.iter().find(|s| s.id == segment));
    let at_once = part.map_or(0, |part| part.angler_ids.len());
    let crew = if at_once > 0 { at_once } else { trip.map_or(0, |trip| trip.anglers.len()) };
    let named = one.angler_ids.len();
    one.segment_id == segment && named > 0 && named < crew
}

pub(super) fn coverage(page: &mut Page, plan: &pb::Plan) {
    let segments: BTreeSet<&str> = plan.assignments.iter().map(|a| a.segment_id.as_str()).collect();
    if !segments.is_empty() {
        page.line("");
        page.paragraph(
            "verdict: in the worst wind direction that blows often; score: mean over all of them",
        );
        if plan.assignments.iter().any(|a| is_for_some(plan, a, &a.segment_id)) {
            page.paragraph(
                "by: those in whose hands it does that well; the others do worse with it",
            );
        }
        let is_shown = |a: &pb::Assignment| a.role() != pb::AssignmentRole::Spare;
        if plan.assignments.iter().any(|a| is_shown(a) && a.change_minutes > 0) {
            page.paragraph(
                "+ min: the outfit carries another leader then; to change it first takes so long",
            );
        }
    }
    for segment in segments {
        page.heading(&format!("Segment {segment}: who fishes what"));
        let differ = plan.assignments.iter().any(|a| is_for_some(plan, a, segment));
        let mut table = Table::new()
            .left("lure")
            .left("outfit")
            .left("leader")
            .left("role")
            .left("verdict")
            .left("score");
        if differ {
            table = table.wrapped("by");
        }
        for one in plan.assignments.iter().filter(|a| a.segment_id == segment) {
            if pb::AssignmentRole::try_from(one.role) == Ok(pb::AssignmentRole::Spare) {
                continue;
            }
            let mut row = vec![
                one.lure_id.clone(),
                one.outfit_id.clone(),
                leader_words(one),
                plain!(AssignmentRole, one.role),
                plain!(Verdict, one.verdict),
                format!("{:.2} {}", one.score, bar(one.score)),
            ];
            if differ {
                row.push(match (is_for_some(plan, one, segment), plain!(Skill, one.skill)) {
                    (true, _) => one.angler_ids.join(" "),
                    (false, skill) if one.angler_ids.is_empty() && !skill.is_empty() => skill,
                    (false, _) => "all".to_owned(),
                });
            }
            table.row(row);
        }
        page.table(&table);
    }
}

/// The leader, and how long it takes to change to it where the outfit carries another one.
fn leader_words(one: &pb::Assignment) -> String {
    match (one.leader_stock_id.as_str(), one.change_minutes) {
        (leader, 0) => leader.to_owned(),
        ("", minutes) => format!("none +{minutes} min"),
        (leader, minutes) => format!("{leader} +{minutes} min"),
    }
}

fn uncovered(page: &mut Page, plan: &pb::Plan) {
    if plan.uncovered.is_empty() {
        return;
    }
    page.heading("Not covered as asked for, the most important first");
    for need in &plan.uncovered {
        let reached = need.reached;
        let reached = match plain!(Verdict, reached) {
            none if none.is_empty() => "nothing".to_owned(),
            verdict => verdict,
        };
        let importance = match need.importance {
            3 => "a must",
            2 => "wanted",
            _ => "nice to have",
        };
        let reached = match need.copy_count {
            0 => format!(", reaches {reached}"),
            // How many of them are covered stands in the text.
            _ => String::new(),
        };
        page.hanging(
            &format!("  {} {}  ", need.segment_id, need.lure_id),
            &format!("{importance}{reached}: {}", need.text),
        );
        // Most reasons name it already, with what limits it.
        let news = |best: &&pb::PoolOffer| !need.text.contains(&best.limiting);
        if let Some(best) = need.best_in_pool.as_ref().filter(news) {
            let text = format!(
                "best in the pool: {} with {}, {} {:.2}; {}",
                best.rod_id,
                best.reel_id,
                plain!(Verdict, best.verdict),
                best.score,
                best.limiting,
            );
            page.hanging("      ", &text);
        }
        if !need.cure.is_empty() {
            page.hanging("      cure: ", &need.cure);
        }
    }
}

fn ashore(page: &mut Page, plan: &pb::Plan) {
    if plan.left_ashore.is_empty() {
        return;
    }
    page.heading("Not taken by this boat");
    let mut table = Table::new().left("  what").left("").wrapped("why");
    for left in &plan.left_ashore {
        table.row(vec![
            format!("  {}", plain!(CargoKind, left.kind)),
            left.item_id.clone(),
            left.text.clone(),
        ]);
    }
    page.table(&table);
}

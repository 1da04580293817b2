//! One trip's plan: what is taken, what it covers, what stays open.

use std::collections::BTreeSet;

use deepbend_contract::pb;

use super::gear::line_phrase;
use super::judgement::{cautions, findings};
use super::plan_jobs;
use super::{Page, Table, bar, capital, model_id, plain};

/// A plan in the order in which a crew needs it.
#[must_use]
pub fn plan(plan: &pb::Plan, width: usize) -> String {
    let mut page = Page::new(width);
    head(&mut page, plan);
    outfits(&mut page, plan);
    coverage(&mut page, plan);
    uncovered(&mut page, plan);
    plan_jobs::before_departure(&mut page, plan);
    plan_jobs::starts(&mut page, plan);
    plan_jobs::rig_cards(&mut page, plan);
    ashore(&mut page, plan);
    findings(&mut page, &plan.findings);
    cautions(&mut page, &plan.cautions);
    if let Some(model) = &plan.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

fn head(page: &mut Page, plan: &pb::Plan) {
    let status = pb::PlanStatus::try_from(plan.status).unwrap_or_default();
    let gap = plan.gap.unwrap_or(0.0) * 100.0;
    page.paragraph(&match status {
        pb::PlanStatus::Optimal => "OPTIMAL: no plan is better.".to_owned(),
        pb::PlanStatus::Feasible => {
            format!("FEASIBLE: the search was cut off; a better plan gains at most {gap:.1} %.")
        }
        pb::PlanStatus::Infeasible => "INFEASIBLE: no plan keeps all limits.".to_owned(),
        pb::PlanStatus::NotFound => {
            "NOT FOUND: the work budget ended before a plan was found; raise it.".to_owned()
        }
        pb::PlanStatus::Unspecified => "No status.".to_owned(),
    });
    if let Some(clash) = &plan.clash {
        page.hanging("  ", &capital(&clash.text));
        for one in &clash.constraints {
            let segment = if one.segment_id.is_empty() {
                String::new()
            } else {
                format!(" in segment {}", one.segment_id)
            };
            page.hanging("  - ", &format!("{}{segment}", plain!(PlanConstraint, one.constraint)));
        }
    }
    if let Some(counts) = &plan.counts {
        page.paragraph(&format!(
            "{} of {} lures covered with {} outfits (room for {}); {} moves, {} minutes of jobs \
             before departure; {} candidates looked at.",
            counts.covered_count,
            counts.need_count,
            counts.outfit_count,
            counts.outfit_limit_count,
            counts.move_count,
            counts.job_minutes,
            counts.candidate_count,
        ));
    }
    if !plan.reproducible {
        page.paragraph("The clock cut the search: another run may end with another plan.");
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

fn coverage(page: &mut Page, plan: &pb::Plan) {
    let segments: BTreeSet<&str> = plan.assignments.iter().map(|a| a.segment_id.as_str()).collect();
    if !segments.is_empty() {
        page.line("");
        page.paragraph(
            "verdict: in the worst wind direction that blows often; score: mean over all of them",
        );
    }
    for segment in segments {
        page.heading(&format!("Segment {segment}: who fishes what"));
        let mut table = Table::new()
            .left("lure")
            .left("outfit")
            .left("leader")
            .left("role")
            .left("verdict")
            .left("score");
        for one in plan.assignments.iter().filter(|a| a.segment_id == segment) {
            if pb::AssignmentRole::try_from(one.role) == Ok(pb::AssignmentRole::Spare) {
                continue;
            }
            table.row(vec![
                one.lure_id.clone(),
                one.outfit_id.clone(),
                one.leader_stock_id.clone(),
                plain!(AssignmentRole, one.role),
                plain!(Verdict, one.verdict),
                format!("{:.2} {}", one.score, bar(one.score)),
            ]);
        }
        page.table(&table);
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
        page.hanging(
            &format!("  {} {}  ", need.segment_id, need.lure_id),
            &format!("{importance}, reaches {reached}: {}", need.text),
        );
        if let Some(best) = &need.best_in_pool {
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
    page.heading("Stays ashore");
    let mut table = Table::new().left("").left("").wrapped("");
    for left in &plan.left_ashore {
        table.row(vec![
            format!("  {}", plain!(CargoKind, left.kind)),
            left.item_id.clone(),
            left.text.clone(),
        ]);
    }
    page.table(&table);
}

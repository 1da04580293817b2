//! Looks a plan over without the search.

use super::{MedianPlan, MedianProblem};
use crate::plan::Status;

/// What is wrong with a plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct MedianFault(pub String);

/// Checks a plan and counts its cost anew.
///
/// # Errors
///
/// The first thing that is wrong with it.
pub fn check_median(problem: &MedianProblem, plan: &MedianPlan) -> Result<u64, MedianFault> {
    let wrong = |text: String| Err(MedianFault(text));
    if let Err(error) = problem.validate() {
        return wrong(error.to_string());
    }
    let sites = problem.costs[0].len();
    let ascending = plan.open.windows(2).all(|pair| pair[0] < pair[1]);
    if !ascending || plan.open.iter().any(|site| *site >= sites) {
        return wrong("the open sites are not known ones in order".into());
    }
    if plan.open.len() != problem.open {
        return wrong(format!("{} sites are open, not {}", plan.open.len(), problem.open));
    }
    if let Some(site) = problem.keep.iter().find(|site| !plan.open.contains(site)) {
        return wrong(format!("site {site} is to be kept and is not open"));
    }
    if plan.serves.len() != problem.costs.len() {
        return wrong("not one site for each client".into());
    }
    let mut cost: u64 = 0;
    for (client, site) in plan.serves.iter().enumerate() {
        if !plan.open.contains(site) {
            return wrong(format!("client {client} is served by {site}, which is not open"));
        }
        cost += problem.costs[client][*site];
    }
    if let Some(capacity) = &problem.capacity {
        for site in &plan.open {
            let clients = (0..plan.serves.len()).filter(|client| plan.serves[*client] == *site);
            let taken: u64 = clients.map(|client| capacity.demand[client]).sum();
            if taken > capacity.room[*site] {
                let room = capacity.room[*site];
                return wrong(format!("site {site} serves {taken} and has room for {room}"));
            }
        }
    }
    if cost != plan.cost {
        return wrong(format!("the plan says {}, counted {cost}", plan.cost));
    }
    if plan.bound > cost || (plan.status == Status::Optimal) != (plan.bound == cost) {
        return wrong(format!("the bound {} does not go with the cost {cost}", plan.bound));
    }
    Ok(cost)
}

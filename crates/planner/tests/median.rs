//! The p-median core. Sources: published optima of the OR-Library (Beasley 1985; Osman and
//! Christofides 1994), and brute force over all choices, written apart from the search.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

mod orlib;

use deepbend_planner::Status;
use deepbend_planner::median::{
    Capacity, MedianAnswer, MedianPlan, MedianProblem, Work, check_median, solve_median,
};
use orlib::{Published, folder, graph, graphs, point_sets, points};
use proptest::prelude::*;

/// Steps for a file of a folder: seconds.
const FILE: Work = Work { steps: 2_000_000_000 };

/// A plan for a published problem: sound, on the right side of the published value, never called
/// optimal at another one.
fn published(list: Vec<Published>) -> usize {
    let mut proven = 0;
    for Published { name, problem, value } in &list {
        let MedianAnswer::Plan(plan) = solve_median(problem, FILE).unwrap() else {
            panic!("{name}: no plan");
        };
        check_median(problem, &plan).unwrap();
        let Some(value) = *value else { continue };
        assert!(plan.bound <= value && value <= plan.cost, "{name}: {plan:?}");
        if plan.status == Status::Optimal {
            assert_eq!(plan.cost, value, "{name}");
            proven += 1;
        }
    }
    proven
}

// Beasley 1985, optima as published with the files.
#[test]
fn graphs_of_the_library() {
    let Some(folder) = folder("DEEPBEND_PMED_DIR", "pmed") else { return };
    let list = graphs(&folder);
    assert!(!list.is_empty(), "no graph in {}", folder.display());
    let small = list.iter().filter(|p| p.problem.costs.len() <= 200).count();
    assert!(published(list) >= small, "graphs of up to 200 nodes are proven");
}

// Osman and Christofides 1994, best values in the files.
#[test]
fn point_sets_of_the_library() {
    let Some(folder) = folder("DEEPBEND_PMEDCAP_DIR", "pmedcap") else { return };
    let list = point_sets(&folder);
    assert!(!list.is_empty(), "no set of points in {}", folder.display());
    let small = list.iter().filter(|p| p.problem.costs.len() <= 50).count();
    assert!(published(list) >= small.min(3), "sets of 50 points are proven");
}

/// A graph larger than those of the library, as one of its files: a tree, so that it hangs
/// together, and as many other edges again.
fn large_graph(nodes: u64, open: u64) -> String {
    let mut state = 2_031_u64;
    let mut dice = |below: u64| {
        // 64-bit linear congruential generator, constants of Knuth's MMIX.
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let mut text = format!("{nodes} {} {open}\n", 2 * nodes - 1);
    for node in 2..=nodes {
        text += &format!("{node} {} {}\n", 1 + dice(node - 1), 1 + dice(100));
    }
    for _ in 0..nodes {
        text += &format!("{} {} {}\n", 1 + dice(nodes), 1 + dice(nodes), 1 + dice(100));
    }
    text
}

// Source: brute force over all choices. Files in the form of the library, so that its way from file
// to optimum is tried also where its files are not.
#[test]
fn small_files_of_the_form_of_the_library() {
    for open in [1, 3, 5] {
        let problem = graph(&large_graph(14, open));
        let plan = optimal(&problem).unwrap();
        assert_eq!((plan.cost, plan.bound), (brute_force(&problem).unwrap(), plan.cost));
    }
    // Six points in a row at 0, 3, 4, 8, 9 and 20 with demands of 4, 4, 4, 4, 4 and 9, room for 12
    // each: 0, 3 and 4 go to 3 for 3 + 1, 8 and 9 to either for 1, and 20 stays alone. By hand.
    let file = "1 5  6 3 12  1 0 0 4  2 3 0 4  3 4 0 4  4 8 0 4  5 9 0 4  6 20 0 9";
    let (problem, value) = points(file);
    let plan = optimal(&problem).unwrap();
    assert_eq!((plan.cost, plan.bound, brute_force(&problem)), (value, value, Some(value)));
}

// Common practice, no source: on more work plan and bound only get better, each bound holds
// against the plan of every budget, and a cut search is never called optimal at another cost.
#[test]
fn a_larger_graph_within_a_budget_is_honest() {
    let problem = graph(&large_graph(300, 12));
    let plans: Vec<MedianPlan> = [100_000, 1_000_000, 10_000_000, 100_000_000]
        .map(|steps| {
            let answer = solve_median(&problem, Work { steps }).unwrap();
            let MedianAnswer::Plan(plan) = answer else { panic!("{answer:?}") };
            check_median(&problem, &plan).unwrap();
            plan
        })
        .into();
    assert_eq!(plans[0].status, Status::Feasible, "too small to be cut");
    assert!(plans[0].gap() > 0.0);
    let (best, bound) = (plans[3].cost, plans[3].bound);
    assert!(plans[3].gap() < 0.02, "{}", plans[3].gap());
    for plan in &plans {
        assert!(plan.bound <= best && bound <= plan.cost, "{plan:?}");
        assert!(plan.status == Status::Feasible || plan.cost == plan.bound);
    }
    for pair in plans.windows(2) {
        assert!(pair[1].cost <= pair[0].cost && pair[1].bound >= pair[0].bound);
    }
}

fn optimal(problem: &MedianProblem) -> Option<MedianPlan> {
    match solve_median(problem, Work::default()).unwrap() {
        MedianAnswer::Plan(plan) => {
            check_median(problem, &plan).unwrap();
            assert_eq!(plan.status, Status::Optimal, "{problem:?}");
            Some(plan)
        }
        MedianAnswer::Infeasible => None,
        MedianAnswer::NotFound { .. } => panic!("the work ended: {problem:?}"),
    }
}

fn plain(costs: Vec<Vec<u64>>, open: usize) -> MedianProblem {
    MedianProblem { costs, open, keep: Vec::new(), capacity: None }
}

// By hand: three places on a line at 0, 1 and 10.
#[test]
fn three_places_on_a_line() {
    let at = [0_u64, 1, 10];
    let costs: Vec<Vec<u64>> =
        at.iter().map(|a| at.iter().map(|b| a.abs_diff(*b)).collect()).collect();
    for (open, cost) in [(1, 10), (2, 1), (3, 0)] {
        assert_eq!(optimal(&plain(costs.clone(), open)).unwrap().cost, cost);
    }
    assert_eq!(optimal(&plain(costs, 1)).unwrap().open, [1]);
}

// OR-Library: the file format's rule for edges that stand twice.
#[test]
fn of_two_edges_the_last_counts() {
    let problem = graph("3 4 1  1 2 5  2 3 1  1 2 9  2 3 4");
    assert_eq!(problem.costs, [[0, 9, 13], [9, 0, 4], [13, 4, 0]]);
}

/// The least cost over all choices of sites and, with room, all ways to serve.
fn brute_force(problem: &MedianProblem) -> Option<u64> {
    let sites = problem.costs[0].len();
    (0..1_u32 << sites)
        .filter(|set| set.count_ones() as usize == problem.open)
        .filter(|set| problem.keep.iter().all(|j| set >> j & 1 == 1))
        .filter_map(|set| {
            let open: Vec<_> = (0..sites).filter(|j| set >> j & 1 == 1).collect();
            let mut left = match &problem.capacity {
                Some(capacity) => capacity.room.clone(),
                None => vec![u64::MAX; sites],
            };
            serve(problem, &open, 0, &mut left)
        })
        .min()
}

fn serve(problem: &MedianProblem, open: &[usize], i: usize, left: &mut [u64]) -> Option<u64> {
    let Some(row) = problem.costs.get(i) else { return Some(0) };
    let demand = problem.capacity.as_ref().map_or(0, |c| c.demand[i]);
    let mut best: Option<u64> = None;
    for &j in open.iter().filter(|j| problem.capacity.is_some() || row[**j] == nearest(row, open)) {
        if left[j] < demand {
            continue;
        }
        left[j] -= demand;
        if let Some(rest) = serve(problem, open, i + 1, left) {
            best = Some(best.map_or(rest + row[j], |b| b.min(rest + row[j])));
        }
        left[j] += demand;
        if problem.capacity.is_none() {
            break;
        }
    }
    best
}

fn nearest(row: &[u64], open: &[usize]) -> u64 {
    open.iter().map(|j| row[*j]).min().unwrap()
}

fn table(clients: usize, sites: usize, most: u64) -> impl Strategy<Value = Vec<Vec<u64>>> {
    proptest::collection::vec(proptest::collection::vec(0..most, sites), clients)
}

prop_compose! {
    fn random()(
        clients in 1_usize..9,
        sites in 1_usize..9,
        most in prop_oneof![Just(4_u64), Just(1_000)],
    )(
        costs in table(clients, sites, most),
        open in 1..=sites,
        keep in proptest::option::of(0..sites),
    )
        -> MedianProblem
    {
        MedianProblem { costs, open, keep: keep.into_iter().collect(), capacity: None }
    }
}

prop_compose! {
    fn with_room()(clients in 1_usize..7, sites in 1_usize..6)
        (costs in table(clients, sites, 50), open in 1..=sites,
         demand in proptest::collection::vec(0_u64..10, clients),
         room in proptest::collection::vec(0_u64..30, sites), large in any::<bool>())
        -> MedianProblem
    {
        // Large numbers are counted in coarser parts: the answer must not suffer.
        let by = if large { 997 } else { 1 };
        let capacity = Capacity {
            demand: demand
                .iter()
                .enumerate()
                .map(|(i, d)| d * by + u64::from(large && i == 0))
                .collect(),
            room: room.iter().map(|r| r * by).collect(),
        };
        MedianProblem { costs, open, keep: Vec::new(), capacity: Some(capacity) }
    }
}

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases(600))]

    #[test]
    fn equals_brute_force(problem in random()) {
        prop_assert_eq!(optimal(&problem).map(|p| p.cost), brute_force(&problem));
    }

    #[test]
    fn equals_brute_force_with_room(problem in with_room()) {
        prop_assert_eq!(optimal(&problem).map(|p| p.cost), brute_force(&problem));
    }

    // Common practice, no source: a work budget of nothing is still honest.
    #[test]
    fn a_search_that_is_cut_off_is_honest(
        problem in prop_oneof![random(), with_room()],
        steps in 0_u64..3_000,
    ) {
        let best = brute_force(&problem);
        match solve_median(&problem, Work { steps }).unwrap() {
            MedianAnswer::Plan(plan) => {
                check_median(&problem, &plan).unwrap();
                prop_assert!(plan.bound <= best.unwrap() && best.unwrap() <= plan.cost);
            }
            MedianAnswer::Infeasible => prop_assert_eq!(best, None),
            MedianAnswer::NotFound { bound, .. } => prop_assert!(best.is_none_or(|b| bound <= b)),
        }
    }
}

proptest! {
    #![proptest_config(cases(150))]

    // Common practice, no source.
    #[test]
    fn one_more_site_never_costs_more(costs in table(20, 12, 1_000), open in 1_usize..6) {
        let fewer: Vec<Vec<u64>> = costs.iter().map(|row| row[..11].to_vec()).collect();
        let cost = |costs, open| optimal(&plain(costs, open)).unwrap().cost;
        prop_assert!(cost(costs.clone(), open) <= cost(fewer, open));
        prop_assert!(cost(costs.clone(), open + 1) <= cost(costs, open));
    }

    // Common practice, no source.
    #[test]
    fn order_changes_no_cost(costs in table(20, 12, 1_000), open in 1_usize..6) {
        let mut turned = costs.clone();
        turned.reverse();
        turned.iter_mut().for_each(|row| row.reverse());
        let cost = |costs| optimal(&plain(costs, open)).unwrap().cost;
        prop_assert_eq!(cost(costs), cost(turned));
    }

    // Common practice, no source.
    #[test]
    fn twice_the_weight_changes_no_choice(costs in table(20, 12, 1_000), open in 1_usize..6) {
        let mut twice = costs.clone();
        twice.iter_mut().flatten().for_each(|cost| *cost *= 2);
        let one = optimal(&plain(costs, open)).unwrap();
        let two = optimal(&plain(twice, open)).unwrap();
        prop_assert_eq!((one.open, one.serves, one.cost * 2), (two.open, two.serves, two.cost));
    }
}

#[test]
fn faults_are_named() {
    let fault = |problem: MedianProblem| problem.validate().unwrap_err().field;
    assert_eq!(fault(plain(Vec::new(), 1)), "costs");
    assert_eq!(fault(plain(vec![Vec::new()], 1)), "costs[0]");
    assert_eq!(fault(plain(vec![vec![1, 2], vec![1]], 1)), "costs[1]");
    assert_eq!(fault(plain(vec![vec![u64::MAX], vec![1]], 1)), "costs");
    assert_eq!(fault(plain(vec![vec![1, 2]], 3)), "open");
    let mut kept = plain(vec![vec![1, 2]], 1);
    kept.keep = vec![0, 0];
    assert_eq!(fault(kept), "keep[1]");
    let mut roomy = plain(vec![vec![1, 2]], 1);
    roomy.capacity = Some(Capacity { demand: vec![1], room: vec![1] });
    assert_eq!(fault(roomy), "capacity.room");
}

// Common practice, no source: the checker finds what is wrong.
#[test]
fn the_checker_is_not_fooled() {
    let mut problem = plain(vec![vec![0, 5, 9], vec![5, 0, 4], vec![9, 4, 0]], 2);
    problem.capacity = Some(Capacity { demand: vec![1; 3], room: vec![2; 3] });
    let plan = optimal(&problem).unwrap();
    let spoilt: [fn(&mut MedianPlan); 6] = [
        |p| p.cost += 1,
        |p| p.bound -= 1,
        |p| p.open.reverse(),
        |p| p.open.truncate(1),
        |p| p.serves = vec![p.open[0]; 3],
        |p| p.serves[0] = (0..3).find(|j| !p.open.contains(j)).unwrap(),
    ];
    for spoil in spoilt {
        let mut wrong = plan.clone();
        spoil(&mut wrong);
        assert!(check_median(&problem, &wrong).is_err(), "{wrong:?}");
    }
}

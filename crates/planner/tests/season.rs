//! Seasons: gaps, purchases, the rack, the set to own. Sources: cases of the trade, from memory,
//! named beside each test, and brute force.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use std::cell::{Cell, RefCell};
use std::ops::ControlFlow;

use deepbend_planner::median::Work;
use deepbend_planner::season::{
    Season, SeasonError, SeasonNeed, SeasonOutfit, SetProgress, design_set, gaps, on_the_rack,
    purchases,
};
use deepbend_planner::{ProblemFaults, Status, Weights};
use proptest::prelude::*;

fn on() -> ControlFlow<()> {
    ControlFlow::Continue(())
}

const EXCELLENT: i64 = 1_000_000;
const GOOD: i64 = 850_000;
const WORKABLE: i64 = 500_000;

/// Outfits with prices; 0: it is there. Needs with weight and copies, and their row.
fn season(outfits: &[(&str, u64)], needs: &[(&str, u32, u32, &[i64])]) -> Season {
    Season {
        needs: needs
            .iter()
            .map(|(id, weight, copies, _)| SeasonNeed {
                id: (*id).into(),
                weight: *weight,
                copies_at_once: *copies,
            })
            .collect(),
        outfits: outfits
            .iter()
            .map(|(id, price)| SeasonOutfit {
                id: (*id).into(),
                price: (*price > 0).then_some(*price),
            })
            .collect(),
        worth: needs.iter().map(|(.., row)| row.to_vec()).collect(),
    }
}

fn first_gap(season: &Season) -> &str {
    let list = gaps(season, &Weights::default(), &on).unwrap();
    &season.outfits[list[0].outfit].id
}

// B03x: two outfits, three clients on zander: a third identical one beats a new class.
#[test]
fn a_duplicate_may_add_most() {
    let outfits =
        [("M fast", 0), ("M fast 2", 0), ("third M fast", 170), ("H fast, new class", 190)];
    let zander = [EXCELLENT, EXCELLENT, EXCELLENT, 0];
    let shad = [0, 0, 0, GOOD];
    let season = season(&outfits, &[("zander shad", 90, 3, &zander), ("big shad", 5, 1, &shad)]);
    assert_eq!(first_gap(&season), "third M fast");
}

// B05x: all bought by lure rating, none by action: one moderate outfit adds more than a fast one.
#[test]
fn a_moderate_outfit_lifts_the_plugs() {
    let outfits = [("MH fast", 0), ("another MH fast", 150), ("MH moderate", 150)];
    let plug = [0, 0, EXCELLENT];
    let jig = [EXCELLENT, EXCELLENT, WORKABLE];
    let needs: [(&str, u32, u32, &[i64]); 2] = [("plug", 30, 1, &plug), ("jig", 30, 1, &jig)];
    let season = season(&outfits, &needs);
    assert_eq!(first_gap(&season), "MH moderate");
    let list = gaps(&season, &Weights::default(), &on).unwrap();
    assert_eq!(list[0].lifts[0], (0, 27_600_000), "30 x 0.92 x 1, by hand");
}

// B06x: one rod covers 70 % of the days: duplicate before diversifying.
#[test]
fn a_single_point_of_failure_is_doubled() {
    let outfits = [("all-rounder", 0), ("its twin", 100), ("special", 100)];
    let days = [GOOD, GOOD, 0];
    let rare = [0, 0, EXCELLENT];
    let season = season(&outfits, &[("daily", 140, 1, &days), ("rare", 2, 1, &rare)]);
    assert_eq!(first_gap(&season), "its twin");
}

// Common practice, no source: only the proportions of the weights count, not what is left of them
// when it is rounded to millionths: as a backup the better one adds 0.08 millionths more, or 0.8.
#[test]
fn doubled_weights_change_no_order() {
    let row = [EXCELLENT, WORKABLE + 1, WORKABLE];
    for weight in [1, 2, 4, 10] {
        let needs: [(&str, u32, u32, &[i64]); 1] = [("lure", weight, 1, &row)];
        let shop = season(&[("A", 0), ("better", 200), ("cheaper", 100)], &needs);
        assert_eq!(first_gap(&shop), "better");
        let owned = season(&[("A", 0), ("better", 0), ("worse", 0)], &needs);
        let rack = on_the_rack(&owned, &Weights::default(), &on).unwrap();
        assert_eq!(owned.outfits[rack[0].outfit].id, "worse");
    }
}

#[test]
fn what_adds_nothing_stays_on_the_rack() {
    let outfits = [("A", 0), ("B", 0), ("worse than both", 0)];
    let row = [EXCELLENT, GOOD, WORKABLE];
    let season = season(&outfits, &[("lure", 3, 1, &row)]);
    let rack = on_the_rack(&season, &Weights::default(), &on).unwrap();
    let adds: Vec<_> = rack.iter().map(|a| (a.outfit, a.adds)).collect();
    // By hand: A: 3 x (0.92 x 0.15 + 0.08 x 0.35); B: 3 x 0.08 x 0.35.
    assert_eq!(adds, [(2, 0), (1, 84_000), (0, 498_000)]);
}

#[test]
fn faults_of_a_season_are_named() {
    let mut wrong = season(&[("A", 0)], &[("lure", 0, 0, &[1, 2])]);
    wrong.worth.push(vec![-1]);
    let faults = gaps(&wrong, &Weights::default(), &on).unwrap_err();
    let SeasonError::Faults(ProblemFaults(faults)) = faults else { panic!("{faults:?}") };
    let fields: Vec<_> = faults.iter().map(|f| f.field.as_str()).collect();
    let expected = ["needs[0].weight", "needs[0].copies_at_once", "worth", "worth[0]", "worth[1]"];
    assert_eq!(fields, expected);
    let right = season(&[("A", 0)], &[("lure", 1, 1, &[GOOD])]);
    let field = |keep: &[usize], most| {
        let wrong = design_set(&right, keep, most, Work::default(), &|_| on()).unwrap_err();
        let SeasonError::Faults(ProblemFaults(faults)) = wrong else { panic!("{wrong:?}") };
        faults[0].field.clone()
    };
    assert_eq!((field(&[], 0), field(&[4], 1)), ("most".into(), "keep[0]".into()));
}

prop_compose! {
    fn random()(
        worth in proptest::collection::vec(proptest::collection::vec(0..=EXCELLENT, 7), 6),
        needs in proptest::collection::vec((1_u32..50, 1_u32..4), 6),
        prices in proptest::collection::vec(proptest::option::of(1_u64..100), 7),
    ) -> Season {
        Season {
            needs: needs
                .into_iter()
                .map(|(weight, copies_at_once)| {
                    SeasonNeed { id: String::new(), weight, copies_at_once }
                })
                .collect(),
            outfits: prices
                .into_iter()
                .map(|price| SeasonOutfit { id: String::new(), price })
                .collect(),
            worth,
        }
    }
}

/// What a set of outfits is worth to a season; written apart from the planner.
fn worth(season: &Season, set: u32, shares: impl Fn(u32) -> Vec<f64>) -> f64 {
    let mut total = 0.0;
    for (need, row) in season.needs.iter().zip(&season.worth) {
        let mut worths: Vec<i64> =
            (0..row.len()).filter(|o| set >> o & 1 == 1).map(|o| row[o]).collect();
        worths.sort_unstable_by_key(|w| -w);
        for (share, worth) in shares(need.copies_at_once).iter().zip(worths) {
            total += f64::from(need.weight) * share * worth as f64;
        }
    }
    total
}

fn with_backup(copies: u32) -> Vec<f64> {
    match copies {
        1 => vec![0.92, 0.08],
        2 => vec![0.6, 0.4],
        _ => vec![0.6, 0.2, 0.2],
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    // One outfit more covers no less, so what bounds the larger set bounds the smaller one.
    #[test]
    fn no_set_is_bounded_above_a_larger_one(season in random(), steps in 1_u64..600) {
        let curve = design_set(&season, &[], 7, Work { steps }, &|_| on()).unwrap();
        for pair in curve.windows(2) {
            prop_assert!(pair[0].bound <= pair[1].bound, "{curve:?}");
        }
        for point in &curve {
            prop_assert!(point.worth <= point.bound);
            prop_assert_eq!(point.status == Status::Optimal, point.worth == point.bound);
        }
    }

    #[test]
    fn the_curve_equals_brute_force(season in random(), keep in proptest::option::of(0_usize..7)) {
        let keep: Vec<_> = keep.into_iter().collect();
        let curve = design_set(&season, &keep, 7, Work::default(), &|_| on()).unwrap();
        prop_assert_eq!(curve.len(), 7);
        for (k, point) in curve.iter().enumerate() {
            let best = (0..1_u32 << 7)
                .filter(|set| set.count_ones() as usize == k + 1)
                .filter(|set| keep.iter().all(|o| set >> o & 1 == 1))
                .map(|set| worth(&season, set, |_| vec![1.0]))
                .fold(0.0, f64::max);
            prop_assert_eq!((point.worth as f64, point.status), (best, Status::Optimal));
            let jobs: usize = point.outfits.iter().map(|o| o.job.len()).sum();
            prop_assert_eq!(jobs, season.needs.len());
        }
        // One more outfit never covers less.
        prop_assert!(curve.windows(2).all(|pair| pair[0].worth <= pair[1].worth));
    }

    #[test]
    fn purchases_are_within_their_bound(season in random(), budget in 0_u64..300) {
        let bought = purchases(&season, &Weights::default(), budget, 0, &on).unwrap();
        let there = (0..7).filter(|o| season.outfits[*o].price.is_none());
        let there: u32 = there.map(|o| 1 << o).sum();
        let price = |set: u32| -> u64 {
            (0..7).filter(|o| set >> o & 1 == 1).filter_map(|o| season.outfits[o].price).sum()
        };
        let before = worth(&season, there, with_backup);
        let best = (0..1_u32 << 7)
            .filter(|set| set & there == there && price(*set) <= budget)
            .map(|set| worth(&season, set, with_backup) - before)
            .fold(0.0, f64::max);
        prop_assert!(bought.cost <= budget);
        prop_assert!(bought.adds as f64 <= best + 1.0);
        prop_assert!(bought.bound as f64 >= best - 1.0);
        let sum: i64 = bought.buys.iter().map(|b| b.adds).sum();
        prop_assert!((sum - bought.adds).abs() <= 7);
        // What adds less than the least stays in the shop, and all else is bought as before.
        let least = bought.buys.get(1).map_or(1, |second| second.adds + 1);
        let fewer = purchases(&season, &Weights::default(), budget, least, &on).unwrap();
        let worth_it = bought.buys.iter().take_while(|buy| buy.adds >= least);
        prop_assert_eq!(fewer.buys, worth_it.cloned().collect::<Vec<_>>());
        prop_assert!(fewer.adds >= 0 && fewer.cost <= bought.cost && fewer.bound == bought.bound);
    }
}

/// A season of a size at which every search has something to do.
fn large() -> Season {
    let mut state = 7_u64;
    let mut dice = |below: u64| {
        // 64-bit linear congruential generator, constants of Knuth's MMIX.
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    Season {
        needs: (0..60)
            .map(|_| SeasonNeed {
                id: String::new(),
                weight: 1 + dice(30) as u32,
                copies_at_once: 1 + dice(2) as u32,
            })
            .collect(),
        outfits: (0..50)
            .map(|o| SeasonOutfit { id: String::new(), price: (o > 9).then(|| 1 + dice(90)) })
            .collect(),
        worth: (0..60).map(|_| (0..50).map(|_| dice(1_000_001) as i64).collect()).collect(),
    }
}

// Common practice, no source: whoever gives up is not asked again, and nothing is made up for him.
#[test]
fn whoever_gives_up_gets_no_half_answer() {
    let season = large();
    let weights = Weights::default();
    type Call<'a> = &'a dyn Fn(&dyn Fn() -> ControlFlow<()>) -> Option<SeasonError>;
    let calls: [Call<'_>; 3] = [
        &|go_on| gaps(&season, &weights, go_on).err(),
        &|go_on| on_the_rack(&season, &weights, go_on).err(),
        &|go_on| purchases(&season, &weights, 400, 0, go_on).err(),
    ];
    for call in calls {
        let asked = Cell::new(0);
        let patience = Cell::new(usize::MAX);
        let go_on = || {
            asked.set(asked.get() + 1);
            if asked.get() > patience.get() { ControlFlow::Break(()) } else { on() }
        };
        assert_eq!(call(&go_on), None);
        let all = asked.replace(0);
        assert!(all >= 10, "asked {all} times only");
        for left in [0, 1, all / 2, all - 1] {
            patience.set(left);
            assert_eq!(call(&go_on), Some(SeasonError::GivenUp));
            assert_eq!(asked.replace(0), left + 1, "asked on after it was told to end");
        }
    }
}

// Common practice, no source: progress only gets better, and its bounds hold.
#[test]
fn a_curve_tells_how_it_stands_and_ends_when_told() {
    let season = large();
    let told: RefCell<Vec<SetProgress>> = RefCell::default();
    let ask = |now: &SetProgress| {
        told.borrow_mut().push(*now);
        on()
    };
    let curve = design_set(&season, &[], 8, Work::default(), &ask).unwrap();
    let told = told.into_inner();
    assert!(told.iter().any(|now| now.nodes > 0), "too easy to test the tree");
    for pair in told.windows(2).filter(|pair| pair[0].outfits == pair[1].outfits) {
        assert!(pair[0].worth <= pair[1].worth && pair[0].bound >= pair[1].bound);
    }
    for now in &told {
        let best = curve[now.outfits - 1].worth;
        assert!(now.bound >= best && now.worth.is_none_or(|worth| worth <= best), "{now:?}");
    }
    for left in [0, told.len() / 2, told.len() - 1] {
        let asked = Cell::new(0);
        let ask = |_: &SetProgress| {
            asked.set(asked.get() + 1);
            if asked.get() > left { ControlFlow::Break(()) } else { on() }
        };
        let part = design_set(&season, &[], 8, Work::default(), &ask).unwrap();
        assert_eq!(asked.get(), left + 1, "asked on after it was told to end");
        assert!(part.len() <= curve.len());
        for (cut, whole) in part.iter().zip(&curve) {
            assert!(cut.worth <= whole.worth && whole.worth <= cut.bound);
            assert!(cut.status == Status::Feasible || cut.worth == whole.worth);
        }
    }
}

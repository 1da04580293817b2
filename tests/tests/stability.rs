//! No rule knows a case: small changes of a case change its answer a little.

#![allow(missing_docs, reason = "tests")]

use deepbend_core::judge::{Score, score};
use deepbend_core::model::Model;
use deepbend_tests::{place, read, with_cells};

const FILES: [&str; 4] = [
    include_str!("../data/verdicts.csv"),
    include_str!("../data/orderings.csv"),
    include_str!("../data/wide_verdicts.csv"),
    include_str!("../data/wide_orderings.csv"),
];

const NUMBERS: [&str; 20] = [
    "rod_length_m",
    "lure_rating_min_g",
    "lure_rating_max_g",
    "line_rating_max_kg",
    "line_test_kg",
    "line_diameter_mm",
    "leader_test_kg",
    "leader_diameter_mm",
    "drag_kg",
    "lure_rigged_g",
    "lure_length_mm",
    "hook_wire_mm",
    "punch_n",
    "pull_n",
    "wind_speed_m_s",
    "fish_mass_kg",
    "current_m_s",
    "depth_m",
    "cover_distance_m",
    "line_out_m",
];

/// Classes that a guide would call nearest neighbours.
const SIBLINGS: [(&str, &str); 22] = [
    ("paddle_tail_jig", "tube"),
    ("paddle_tail_jig", "bucktail_jig"),
    ("shrimp_imitation", "bucktail_jig"),
    ("finesse_jig", "drop_shot"),
    ("finesse_jig", "wacky_rig"),
    ("inline_spinner", "minnow"),
    ("inline_spinner", "tail_spinner"),
    ("minnow", "wobbling_spoon"),
    ("wobbling_spoon", "coast_spoon"),
    ("crankbait", "lipless_crankbait"),
    ("jerkbait", "walking_topwater"),
    ("walking_topwater", "popper"),
    ("popper", "prop_bait"),
    ("glide_bait", "jointed_swimbait"),
    ("jointed_swimbait", "large_soft_shad"),
    ("spinnerbait", "bladed_jig"),
    ("spinnerbait", "buzzbait"),
    ("texas_rig", "weedless_soft_jerkbait"),
    ("texas_rig", "skirted_jig"),
    ("texas_rig", "carolina_rig"),
    ("hollow_frog", "weedless_soft_jerkbait"),
    ("metal_jig", "blade_bait"),
];

fn judged(row: &deepbend_cli::cases::CaseRow) -> Score {
    score(Model::builtin(), &row.outfit, &row.lure, &row.water)
}

#[test]
fn three_percent_moves_a_verdict_by_one_at_most() {
    let mut moved = 0;
    for case in FILES.iter().flat_map(|file| read(file)) {
        let before = judged(&case.row);
        for column in NUMBERS {
            let Some(value) = case.cells.get(column).and_then(|c| c.parse::<f64>().ok()) else {
                continue;
            };
            for by in [0.97, 1.03] {
                let after = judged(&with_cells(&case, &[(column, &(value * by).to_string())]));
                let steps = place(after.verdict).abs_diff(place(before.verdict));
                moved += usize::from(steps > 0);
                assert!(steps <= 1, "{} {column} x{by}: {before:?} to {after:?}", case.row.id);
            }
        }
    }
    assert!(moved > 0, "a check that never sees a verdict move checks nothing");
}

#[test]
fn a_sibling_class_moves_the_score_little() {
    let mut swaps = 0;
    for case in FILES.iter().flat_map(|file| read(file)) {
        let Some(class) = case.cells.get("lure_class") else { continue };
        for (a, b) in SIBLINGS {
            let other = match class.as_str() {
                c if c == a => b,
                c if c == b => a,
                _ => continue,
            };
            let before = judged(&case.row).score_without_limits;
            let after = judged(&with_cells(&case, &[("lure_class", other)])).score_without_limits;
            swaps += 1;
            let moved = (after - before).abs();
            assert!(moved < 0.1, "{}: {class} to {other} moves {before} to {after}", case.row.id);
        }
    }
    assert!(swaps > 100, "{swaps} swaps");
}

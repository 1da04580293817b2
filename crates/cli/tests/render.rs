//! Text for people: every line within its width, everything in both unit systems.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

use deepbend_cli::cases;
use deepbend_cli::render;
use deepbend_contract::{ToWire as _, pb};
use deepbend_core::judge;
use deepbend_core::model::Model;

const CASES: &str = include_str!("data/cases.csv");

fn judgements() -> Vec<pb::Judgement> {
    let model = Model::builtin();
    cases::read(CASES.as_bytes())
        .unwrap()
        .into_iter()
        .map(|row| {
            let row = row.unwrap();
            judge::judge(model, &row.outfit, &row.lure, &row.water).to_wire()
        })
        .collect()
}

fn keeps_to(width: usize, text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= width, "wider than {width}: {line}");
        assert_eq!(line, line.trim_end());
    }
}

// Common practice, no source: 80 columns; both unit systems by NIST SP 811.
#[test]
fn a_judgement_reads_well_in_eighty_columns() {
    for judgement in judgements() {
        for width in [72, 80, 100] {
            keeps_to(width, &render::judgement(&judgement, width));
        }
        let text = render::judgement(&judgement, 80);
        let settings = judgement.settings.as_ref().unwrap();
        let drag = format!("{} kg ({} lb)", short(settings.drag_kgf), short(settings.drag_lbf));
        for part in ["Factors", "Settings", &drag, " oz)", " ft)", "Model deepbend"] {
            assert!(text.contains(part), "{part} not in\n{text}");
        }
        let verdict = pb::Verdict::try_from(judgement.verdict).unwrap();
        let word = verdict.as_str_name().trim_start_matches("VERDICT_");
        assert!(text.starts_with(word), "{text}");
        assert_eq!(text.contains("BROKEN"), verdict == pb::Verdict::Unsafe);
        for fix in &judgement.fixes {
            assert!(text.contains(fix.text.split(' ').next().unwrap()));
        }
        assert_eq!(text.contains("Fixes"), !judgement.fixes.is_empty());
        println!("{text}");
    }
}

fn short(value: f64) -> String {
    render::units::short(value)
}

// Common practice, no source: whoever tells a thing a hundred times does not hide the rest.
#[test]
fn a_cloned_store_does_not_flood_what_is_contested() {
    let claim = |n: usize, quarantined| pb::FieldClaim {
        event_id: format!("B1-tablet.1.{n}"),
        value: Some(pb::FieldValue {
            value: Some(pb::field_value::Value::PlaceId(format!("B{}", n % 3))),
        }),
        quarantined,
        ..Default::default()
    };
    let claims = std::iter::once(claim(1, false)).chain((2..61).map(|n| claim(n, true)));
    let field = pb::ItemField {
        name: "place".to_owned(),
        contested: true,
        claims: claims.collect(),
        ..Default::default()
    };
    let dispute =
        pb::Dispute { what: "place".to_owned(), field: Some(field), ..Default::default() };
    let item = pb::ContestedItem {
        item_id: "R17".to_owned(),
        disputes: vec![dispute],
        ..Default::default()
    };
    let answer = pb::ListContestedResponse { items: vec![item], ..Default::default() };
    let text = render::contested(&answer, 80);
    assert!(text.lines().count() < 30, "{text}");
    assert!(text.contains("and 54 more: deepbend history R17"), "{text}");
    assert_eq!(text.matches("log moved R17").count(), 3, "{text}");
    assert_eq!(text.matches("from a cloned store").count(), 5, "{text}");
    keeps_to(80, &text);
}

// Common practice, no source: a command is offered where it settles something.
#[test]
fn nothing_takes_back_what_a_cloned_store_said() {
    let contested = |quarantined| {
        let claim = pb::FieldClaim {
            event_id: "B1-tablet.1.7".to_owned(),
            quarantined,
            ..Default::default()
        };
        let field = pb::ItemField {
            name: "rig".to_owned(),
            contested: true,
            claims: vec![claim],
            ..Default::default()
        };
        let cure = "look what is rigged, and record it".to_owned();
        let dispute =
            pb::Dispute { what: "rig".to_owned(), field: Some(field), cure, ..Default::default() };
        let item = pb::ContestedItem {
            item_id: "R05".to_owned(),
            disputes: vec![dispute],
            ..Default::default()
        };
        let answer = pb::ListContestedResponse { items: vec![item], ..Default::default() };
        render::contested(&answer, 80)
    };
    let text = contested(true);
    assert!(!text.contains("deepbend log"), "{text}");
    assert!(text.contains("record it\n"), "{text}");
    assert!(contested(false).contains("deepbend log wrong B1-tablet.1.7"));
}

// Source: rounding by hand.
#[test]
fn what_rounds_to_nothing_is_no_number() {
    let gap = |added_micros, added_low_micros| pb::Gap {
        added_micros,
        added_low_micros,
        ..Default::default()
    };
    let rod = |n: usize, added_micros| pb::RackRod {
        rod_id: format!("R{n}"),
        added_micros,
        ..Default::default()
    };
    let answer = pb::FindGapsResponse {
        gaps: vec![gap(740_000, 0), gap(50_000, 49_999)],
        rack: (1..=14).map(|n| rod(n, 0)).chain([rod(15, 49_999), rod(16, 50_000)]).collect(),
        purchases: vec![pb::Purchase { added_micros: 1, ..Default::default() }],
        ..Default::default()
    };
    let text = render::gaps(&answer, 80);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "1. adds 0.7 (next to nothing at least if",
        "2. adds 0.1 (next to nothing at least if",
        "for 0.00: adds next to nothing",
        "R16 0.1 R15 next to nothing",
        // Fourteen stay ashore; twelve are named.
        "R11, R12 and 2 more.",
    ] {
        assert!(flat.contains(part), "no `{part}`: {text}");
    }
    keeps_to(80, &text);
    let compared = |gain_micros| {
        let difference = pb::PlanDifference { gain_micros, ..Default::default() };
        render::plan_difference(&difference, true, &[], 80)
    };
    for (gain, said) in [
        (4_999, "is worth as much."),
        (-4_999, "is worth as much."),
        (5_000, "is worth 0.01 more."),
        (-5_000, "is worth 0.01 less."),
    ] {
        assert!(compared(gain).contains(said), "{gain}: {}", compared(gain));
    }
}

// Source: the contract of CheckCoverageResponse.abridged.
#[test]
fn an_answer_in_haste_says_so_and_compares_nothing() {
    let said = |abridged| {
        let answer = pb::CheckCoverageResponse {
            plan: Some(pb::Plan::default()),
            difference: Some(pb::PlanDifference::default()),
            abridged,
            ..Default::default()
        };
        let text = render::recovered(&answer, None, 80);
        keeps_to(80, &text);
        (text.contains("The deadline left no time"), text.contains("worth as much"))
    };
    assert_eq!([true, false].map(said), [(true, false), (false, true)]);
}

// By hand: plans of two boats have no trip in common.
#[test]
fn plans_without_a_common_trip_are_not_said_to_be_worth_as_much() {
    let trip = |boat: &str| pb::ChangedTrip { boat_id: boat.to_owned(), ..Default::default() };
    let difference = pb::PlanDifference {
        removed_trips: vec![trip("B1")],
        added_trips: vec![trip("B3")],
        ..pb::PlanDifference::default()
    };
    let text = render::plan_difference(&difference, false, &[], 80);
    assert!(text.contains("No trip is in both") && !text.contains("worth"), "{text}");
    assert!(text.contains("B1") && text.contains("B3"), "{text}");
    let text = render::plan_difference(&pb::PlanDifference::default(), true, &[], 80);
    assert!(text.contains("worth as much"), "{text}");
}

// By hand: 3 m/s are 5.8 knots.
#[test]
fn a_plan_for_more_wind_says_so() {
    let of = |added_wind_m_s: Option<f64>| {
        let basis = Some(pb::PlanBasis { added_wind_m_s, ..Default::default() });
        let counts = Some(pb::PlanCounts::default());
        let plan = pb::Plan { basis, counts, ..Default::default() };
        let left = pb::CheckCoverageResponse { plan: Some(plan.clone()), ..Default::default() };
        [render::plan(&plan, 80), render::recovered(&left, None, 80)]
    };
    for text in of(Some(3.0)) {
        assert!(
            text.contains("Judged in 3 m/s (5.8 kn) more wind than the trip states."),
            "{text}"
        );
    }
    for text in of(None).into_iter().chain(of(Some(0.0))) {
        assert!(!text.contains("more wind"), "{text}");
    }
}

// By hand: what is to be begun before midnight, for a boat that departs soon after it.
#[test]
fn times_before_midnight_are_of_the_day_before() {
    let part = |start: &str| pb::Segment { start: start.to_owned(), ..pb::Segment::default() };
    let of = |start: &str| {
        let job = pb::Job { begin_by: "23:25".to_owned(), ..pb::Job::default() };
        let trip = Some(pb::Trip { segments: vec![part(start)], ..pb::Trip::default() });
        let plan = pb::Plan { jobs: vec![job], trip, ..pb::Plan::default() };
        render::plan(&plan, 80).contains("times after that are of the day before")
    };
    assert!(of("00:10") && !of("23:40"));
}

fn line_move() -> pb::Move {
    pb::Move {
        kind: pb::CargoKind::Line.into(),
        item_id: "K02".to_owned(),
        quantity: 150,
        from_place_id: "S0".to_owned(),
        to_place_id: "B1".to_owned(),
        deadline: "06:40".to_owned(),
        ..pb::Move::default()
    }
}

fn respool() -> pb::ChangedJob {
    let job = pb::Job {
        stock_id: "K02".to_owned(),
        text: "Wind 150 m (164 yd) of K02 onto E14.".to_owned(),
        duration_minutes: 12,
        ..pb::Job::default()
    };
    pb::ChangedJob { boat_id: "B1".to_owned(), job: Some(job), ..pb::ChangedJob::default() }
}

// Common practice, no source: who moves line asks how much, and who winds it how long it takes.
#[test]
fn a_comparison_says_how_much_and_how_long() {
    let need = pb::NeedChange {
        segment_id: "b".to_owned(),
        lure_id: "L10".to_owned(),
        before: pb::Verdict::Good.into(),
        after: pb::Verdict::Good.into(),
        covered_before: true,
        copy_count: 2,
        copy_before_count: 2,
        copy_after_count: 1,
        ..pb::NeedChange::default()
    };
    let difference = pb::PlanDifference {
        added_moves: vec![line_move()],
        added_jobs: vec![respool()],
        needs: vec![need],
        ..pb::PlanDifference::default()
    };
    let text = render::plan_difference(&difference, true, &[], 80);
    keeps_to(80, &text);
    for part in [
        "+ move line K02, 150 m (164 yd) from S0 to B1, by 06:40",
        "+ on B1: Wind 150 m (164 yd) of K02 onto E14. (12 min)",
        "b L10  good -> good, 2 of 2 copies -> 1 of 2, no longer covered",
    ] {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
}

// Common practice, no source: advice that says to take something says with what and what it asks for.
#[test]
fn contested_gear_shows_what_it_takes() {
    let line = pb::Line {
        material: pb::LineMaterial::Nylon.into(),
        test_kgf: Some(7.3),
        ..pb::Line::default()
    };
    let outfit = pb::ChangedOutfit {
        rod_id: "R17".to_owned(),
        reel_id: "E14".to_owned(),
        line: Some(line),
        line_stock_id: "K02".to_owned(),
        ..pb::ChangedOutfit::default()
    };
    let difference = pb::PlanDifference {
        added_moves: vec![line_move()],
        added_jobs: vec![respool()],
        ..pb::PlanDifference::default()
    };
    let sighted = pb::IfSighted {
        text: "If R17 is seen at B1 by 06:20, a plan with it is worth 1.00 more.".to_owned(),
        outfits: vec![outfit],
        difference: Some(difference),
        ..pb::IfSighted::default()
    };
    let plan = pb::Plan { if_sighted: vec![sighted], ..pb::Plan::default() };
    let text = render::plan(&plan, 80);
    keeps_to(80, &text);
    for part in ["R17", "nylon 7.3 kg (16.1 lb) from K02", "150 m (164 yd)", "(12 min)"] {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
}

// By hand: where nothing is said of it there is no column for it.
#[test]
fn a_move_without_words_for_its_loss_has_no_empty_column() {
    let moved = |if_missing: &str| {
        let step = pb::Move {
            item_id: "R16".to_owned(),
            from_place_id: "B3".to_owned(),
            to_place_id: "B1".to_owned(),
            deadline: "05:10".to_owned(),
            if_missing: if_missing.to_owned(),
            ..Default::default()
        };
        let text = render::plan(&pb::Plan { moves: vec![step], ..Default::default() }, 80);
        assert!(text.contains("R16") && text.contains("05:10"), "{text}");
        keeps_to(80, &text);
        text.contains("if it does not arrive")
    };
    assert_eq!(["", "L17 stays open."].map(moved), [false, true]);
}

// By hand, from the contract: what is loaded stands in the order of the rack, an outfit in one line.
#[test]
fn a_brief_plan_loads_outfits_whole() {
    let line = |id: &str, outfit: &str| pb::LoadLine {
        item_id: id.to_owned(),
        outfit_id: outfit.to_owned(),
        ..Default::default()
    };
    let outfit = |id: &str, rod: &str, reel: &str| pb::PlannedOutfit {
        id: id.to_owned(),
        rod_id: rod.to_owned(),
        reel_id: reel.to_owned(),
        ..Default::default()
    };
    let open = pb::Uncovered {
        segment_id: "b".to_owned(),
        lure_id: "L30".to_owned(),
        ..Default::default()
    };
    let plan = pb::Plan {
        outfits: vec![outfit("O1", "R01", "E01"), outfit("O2", "R09", "E08")],
        load_list: vec![
            line("R01", "O1"),
            line("E01", "O1"),
            line("R09", "O2"),
            line("E08", "O2"),
            line("L17", ""),
        ],
        uncovered: vec![open],
        ..Default::default()
    };
    let text = render::brief(&plan, 80);
    let loaded: Vec<&str> = text.lines().filter(|line| line.contains("[ ]")).collect();
    assert_eq!(loaded.len(), 3, "{text}");
    assert!(loaded[0].contains("R01 with E01") && loaded[1].contains("R09 with E08"), "{text}");
    assert!(text.contains("b L30  nothing; no cure is known"), "{text}");
    keeps_to(80, &text);
    // What a deadline cut says what it lacks.
    let mut cut = pb::Plan { abridged: true, ..plan.clone() };
    let text = render::brief(&cut, 80);
    assert!(text.contains("b L30  nothing; there was no time to look for a cure"), "{text}");
    keeps_to(80, &text);
    // A cure was looked for where the best that is left is known.
    cut.uncovered[0].best_in_pool = Some(pb::PoolOffer::default());
    let text = render::brief(&cut, 80);
    assert!(text.contains("b L30  nothing; no cure is known"), "{text}");
    // Contested gear in one line, of one boat and of several.
    let said = "If R17 is seen at B1 by 06:37, a plan with it is worth 0.40 more.";
    let sighted = pb::IfSighted { text: said.to_owned(), ..Default::default() };
    let value = Some(pb::PlanValue::default());
    let fleet = pb::FleetPlan {
        plans: vec![plan.clone()],
        value,
        if_sighted: vec![sighted.clone()],
        ..Default::default()
    };
    let one = pb::Plan { if_sighted: vec![sighted], ..plan };
    for text in [render::brief(&one, 80), render::brief_fleet(&fleet, 80)] {
        assert!(flat(&text).contains(said), "{text}");
        keeps_to(80, &text);
    }
}

/// Words as they follow each other, wherever lines break.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

// Source: the contract of Loss: what opens nothing may end something, or ask for work.
#[test]
fn a_loss_that_opens_nothing_is_told_for_what_it_ends() {
    let loss = |rod: &str, text: &str| pb::Loss {
        rod_id: rod.to_owned(),
        text: text.to_owned(),
        ..pb::Loss::default()
    };
    let unfished = pb::Loss {
        unfished_lure_ids: vec!["L05".to_owned()],
        ..loss("R05", "Without R05 with E10: nothing fishes L05 any more.")
    };
    let changed = pb::Loss {
        change_minutes: 3,
        ..loss(
            "R16",
            "Without R16 with E14: nothing new opens, with K12 tied to R06 first (3 min).",
        )
    };
    let losses = vec![unfished, changed, loss("R17", "Without R17: nothing new opens.")];
    let told = flat(&render::plan(&pb::Plan { losses, ..pb::Plan::default() }, 80));
    for part in ["L05 any more", "tied to R06 first (3 min)", "The loss of R17 opens nothing."] {
        assert!(told.contains(part), "{part}: {told}");
    }
}

// Source: the contract of Assignment.change_minutes.
#[test]
fn who_backs_up_with_another_leader_says_how_long_it_takes() {
    let one = |leader: &str, change_minutes: i32| pb::Assignment {
        segment_id: "a".to_owned(),
        leader_stock_id: leader.to_owned(),
        role: pb::AssignmentRole::Backup.into(),
        change_minutes,
        ..pb::Assignment::default()
    };
    let told = |list: &[pb::Assignment]| {
        let plan = pb::Plan { assignments: list.to_vec(), ..pb::Plan::default() };
        flat(&render::plan(&plan, 80))
    };
    let as_it_is = told(&[one("K09", 0)]);
    assert!(as_it_is.contains("K09 backup") && !as_it_is.contains("+ min"), "{as_it_is}");
    let changed = told(&[one("K09", 8), one("", 3)]);
    for part in ["K09 +8 min backup", "none +3 min backup", "+ min: the outfit carries another"] {
        assert!(changed.contains(part), "{part}: {changed}");
    }
}

// Source: the contract of CheckCoverageRequest.segment_ids.
#[test]
fn an_answer_for_a_part_of_the_day_says_what_counts_as_changed() {
    let part = |id: &str| pb::Segment { id: id.to_owned(), ..pb::Segment::default() };
    let answer = |segments: &[&str]| pb::CheckCoverageResponse {
        plan: Some(pb::Plan {
            trip: Some(pb::Trip { segments: vec![part("a"), part("b")], ..pb::Trip::default() }),
            basis: Some(pb::PlanBasis {
                aboard: Some(pb::AboardBasis {
                    segment_ids: segments.iter().map(|id| (*id).to_owned()).collect(),
                    ..pb::AboardBasis::default()
                }),
                ..pb::PlanBasis::default()
            }),
            ..pb::Plan::default()
        }),
        ..pb::CheckCoverageResponse::default()
    };
    let before = |segment: &str, is_if_needed: bool| pb::Plan {
        jobs: vec![pb::Job { segment_id: segment.to_owned(), is_if_needed, ..pb::Job::default() }],
        ..pb::Plan::default()
    };
    let says = |segments: &[&str], before: &pb::Plan| {
        let told = flat(&render::recovered(&answer(segments), Some(before), 80));
        told.contains("changes for the beginning of segment b counts as changed")
    };
    assert!(says(&["b"], &before("b", false)));
    assert!(!says(&[], &before("b", false)), "the day begins with a");
    assert!(!says(&["b"], &before("b", true)), "what is kept ready is not tied");
    assert!(!says(&["b"], &before("", false)));
}

// Source: the contract of AboardBasis.lost_leader_outfit_ids.
#[test]
fn a_piece_that_counts_as_lost_from_a_line_is_told() {
    let outfit = |id: &str, rod: &str| pb::PlannedOutfit {
        id: id.to_owned(),
        rod_id: rod.to_owned(),
        ..Default::default()
    };
    let rig = |id: &str| pb::Rig {
        outfit_id: id.to_owned(),
        leader_stock_id: "K09".to_owned(),
        ..Default::default()
    };
    let told = |lost: &[&str]| {
        let lost_pieces = pb::LoadLine { item_id: "K09".to_owned(), ..Default::default() };
        let aboard = pb::AboardBasis {
            outfits: vec![outfit("O1", "R01"), outfit("O2", "R04"), outfit("O3", "R05")],
            carried: vec![rig("O1"), rig("O2"), rig("O3")],
            lost_pieces: vec![lost_pieces],
            lost_leader_outfit_ids: lost.iter().map(|id| (*id).to_owned()).collect(),
            ..Default::default()
        };
        let basis = Some(pb::PlanBasis { aboard: Some(aboard), ..Default::default() });
        let plan = Some(pb::Plan { basis, ..Default::default() });
        let left = pb::CheckCoverageResponse { plan, ..Default::default() };
        flat(&render::recovered(&left, None, 80))
    };
    let first = "Of K09 what is tied counts as lost first: ";
    assert!(!told(&[]).contains(first));
    let one = told(&["O2"]);
    assert!(one.contains(&format!("{first}R04 has none on the line.")), "{one}");
    let two = told(&["O1", "O3"]);
    assert!(two.contains(&format!("{first}R01 and R05 have none on the line.")), "{two}");
}

// By hand, from the contract: leaders for several outfits stand with all of them.
#[test]
fn a_load_list_names_all_outfits_of_a_leader() {
    let outfit = |id: &str| pb::PlannedOutfit {
        id: id.to_owned(),
        leader_stock_ids: vec!["K09".to_owned()],
        ..Default::default()
    };
    let line = pb::LoadLine {
        kind: pb::CargoKind::Leader.into(),
        item_id: "K09".to_owned(),
        quantity: 3,
        place_id: "B1".to_owned(),
        outfit_id: String::new(),
    };
    let plan = pb::Plan {
        outfits: vec![outfit("O1"), outfit("O2")],
        load_list: vec![line.clone()],
        return_list: vec![line],
        ..Default::default()
    };
    let text = flat(&render::plan(&plan, 80));
    assert_eq!(text.matches("leader K09, 3 O1 O2 B1").count(), 2, "{text}");
}

// Source: the contract of AboardBasis.planned_assignments and of left_bare.
#[test]
fn what_was_planned_all_along_is_no_change() {
    let one = |lure: &str| pb::Assignment {
        segment_id: "b".to_owned(),
        lure_id: lure.to_owned(),
        outfit_id: "O4".to_owned(),
        role: pb::AssignmentRole::Fishes.into(),
        ..Default::default()
    };
    let outfit = pb::PlannedOutfit {
        id: "O4".to_owned(),
        rod_id: "R13".to_owned(),
        reel_id: "E06".to_owned(),
        ..Default::default()
    };
    let planned = pb::AboardBasis {
        outfits: vec![outfit.clone()],
        planned_assignments: vec![one("L16")],
        ..Default::default()
    };
    let basis = pb::PlanBasis { aboard: Some(planned), ..Default::default() };
    let before = pb::Plan { basis: Some(basis), ..Default::default() };
    let assignments = vec![one("L16"), one("L23")];
    let plan = pb::Plan { outfits: vec![outfit], assignments, ..Default::default() };
    let bare = pb::BareOutfit { text: "R01 is left bare.".to_owned(), ..Default::default() };
    let (plan, left_bare) = (Some(plan), vec![bare]);
    let left = pb::CheckCoverageResponse { plan, left_bare, ..Default::default() };
    let told = flat(&render::recovered(&left, Some(&before), 80));
    assert!(told.contains("L23") && !told.contains("L16"), "{told}");
    assert!(told.contains("R01 is left bare."), "{told}");
}

// By hand, from the contract: what a plan leaves out counts for nothing in its worth.
#[test]
fn what_is_left_is_worth_less_though_not_all_fish_at_once() {
    let told = |given_up: Option<pb::GivenUp>, gain_micros: i64| {
        let plan = Some(pb::Plan { given_up, ..pb::Plan::default() });
        let difference = Some(pb::PlanDifference { gain_micros, ..Default::default() });
        let left = pb::CheckCoverageResponse { plan, difference, ..Default::default() };
        flat(&render::recovered(&left, None, 80))
    };
    let given_up =
        || Some(pb::GivenUp { text: "A3 takes turns.".to_owned(), ..Default::default() });
    let but = ", not counting what it leaves out.";
    for (gain, worth) in [(-3_200_000, "3.20 less"), (0, "as much"), (400_000, "0.40 more")] {
        let short = told(given_up(), gain);
        assert!(short.contains(&format!("What is left is worth {worth}{but}")), "{short}");
        let whole = told(None, gain);
        assert!(whole.contains(&format!("What is left is worth {worth}.")), "{whole}");
    }
}

// By hand, from the contract: what lies on the boat is aboard, whether it was on the load list or not.
#[test]
fn what_is_left_counts_all_that_is_aboard() {
    let left_pieces = vec![pb::PieceCount { item_id: "L10".to_owned(), quantity: 9 }];
    let plan = Some(pb::Plan::default());
    let left = pb::CheckCoverageResponse { plan, left_pieces, ..Default::default() };
    let text = flat(&render::recovered(&left, None, 80));
    assert!(
        text.contains("9 of L10 are left aboard, all that lies on the boat counted."),
        "{text}"
    );
}

// By hand, from the contract: a cure that still works is told on the water too.
#[test]
fn what_is_open_on_the_water_has_its_cure() {
    let open = pb::Uncovered {
        segment_id: "b".to_owned(),
        lure_id: "L30".to_owned(),
        text: "The best left is workable, not good.".to_owned(),
        cure: "On R09 with E08: hang inline singles (6 min), then good.".to_owned(),
        ..Default::default()
    };
    let plan = pb::Plan { uncovered: vec![open], ..Default::default() };
    let left = pb::CheckCoverageResponse { plan: Some(plan), ..Default::default() };
    let text = render::recovered(&left, None, 80);
    assert!(flat(&text).contains("cure: On R09 with E08: hang inline singles (6 min)"), "{text}");
    keeps_to(80, &text);
}

// By hand, from the contract: a card says in whose hands, with the names of those who are meant.
#[test]
fn a_card_names_the_hands_that_it_is_for() {
    use pb::Skill::{Expert, Novice};
    let angler = |id: &str, skill: pb::Skill| pb::Angler {
        id: id.to_owned(),
        skill: skill.into(),
        ..Default::default()
    };
    let trip = pb::Trip {
        anglers: vec![angler("A1", Novice), angler("A2", Expert), angler("A3", Expert)],
        segments: ["a", "b"]
            .map(|id| pb::Segment { id: id.to_owned(), ..Default::default() })
            .into(),
        ..Default::default()
    };
    let use_of = |segment: &str, lure: &str, ids: &[&str]| pb::Assignment {
        segment_id: segment.to_owned(),
        lure_id: lure.to_owned(),
        outfit_id: "O1".to_owned(),
        role: pb::AssignmentRole::Fishes.into(),
        skill: Expert.into(),
        angler_ids: ids.iter().map(|id| (*id).to_owned()).collect(),
        ..Default::default()
    };
    let card = |segment: &str, lure: &str, skill: pb::Skill| pb::RigCard {
        segment_id: segment.to_owned(),
        lure_id: lure.to_owned(),
        outfit_id: "O1".to_owned(),
        skill: skill.into(),
        summary: "good".to_owned(),
        ..Default::default()
    };
    let start = |segment: &str, angler: &str, lure: &str, second: &str| pb::Start {
        segment_id: segment.to_owned(),
        angler_id: angler.to_owned(),
        outfit_id: "O1".to_owned(),
        lure_id: lure.to_owned(),
        second_outfit_id: "O1".to_owned(),
        second_lure_id: second.to_owned(),
        ..Default::default()
    };
    let plan = pb::Plan {
        trip: Some(trip),
        outfits: vec![pb::PlannedOutfit { id: "O1".to_owned(), ..Default::default() }],
        assignments: vec![
            use_of("a", "L10", &["A2", "A3"]),
            use_of("a", "L17", &["A2"]),
            use_of("b", "L10", &["A2", "A3"]),
            use_of("b", "L30", &[]),
        ],
        rig_cards: vec![
            card("a", "L10", Novice),
            card("a", "L17", Expert),
            card("b", "L10", Expert),
            card("b", "L30", Expert),
        ],
        starts: vec![
            start("a", "A1", "L10", ""),
            start("b", "A1", "L10", ""),
            start("b", "A3", "L17", "L10"),
        ],
        ..Default::default()
    };
    let in_segment = |text: &str, segment: &str, said: &str| {
        let cards = text.split(&format!("Rig card O1, segment {segment}")).nth(1).unwrap();
        let own = cards.split("Rig card").next().unwrap();
        assert!(own.contains(said), "{segment}: {said} not in\n{text}");
    };
    let text = render::plan(&plan, 80);
    in_segment(&text, "a", "L10  In novice hands (A1): good");
    in_segment(&text, "a", "L17  In expert hands (A2): good");
    // A beginner starts with it, but the card is for whoever has it ready as the second.
    in_segment(&text, "b", "L10  In expert hands (A3): good");
    in_segment(&text, "b", "L30  In expert hands: good");
    let fished = text.split("Rig card").next().unwrap();
    let alone = fished.lines().find(|line| line.contains("L30")).unwrap();
    assert!(alone.contains("expert") && !alone.contains("all"), "{alone}");
    // By hand: where only what lies ready as the second changes, that row is told, and no other.
    let mut before = plan.clone();
    before.starts[2].second_lure_id = "L30".to_owned();
    let left = pb::CheckCoverageResponse { plan: Some(plan.clone()), ..Default::default() };
    let text = render::recovered(&left, Some(&before), 80);
    let rows: Vec<&str> =
        text.lines().filter(|l| l.contains(" A1 ") || l.contains("A3 ")).collect();
    assert_eq!(rows.len(), 1, "{text}");
    assert!(rows[0].contains("L17") && rows[0].contains("L10"), "{text}");
    assert!(text.contains("Rig card O1, segment b") && !text.contains("segment a"), "{text}");
    // And so is one where nothing lies ready any more.
    let mut after = plan.clone();
    after.starts[2].second_lure_id.clear();
    after.starts[2].second_outfit_id.clear();
    let left = pb::CheckCoverageResponse { plan: Some(after), ..Default::default() };
    let text = render::recovered(&left, Some(&plan), 80);
    assert!(text.lines().any(|line| line.contains("b        A3")), "{text}");
    // Where only what changes is told, all who are meant are named.
    let mut before = plan.clone();
    before.assignments.remove(0);
    let left = pb::CheckCoverageResponse { plan: Some(plan), ..Default::default() };
    let text = render::recovered(&left, Some(&before), 80);
    in_segment(&text, "a", "L10  In novice hands (A1): good");
}

//! What to buy for a season, and which few outfits cover it best.

use deepbend_contract::pb;

use super::{Page, Table, capital, model_id, plain, units};

/// Rods that are named as never leaving the rack.
const IDLE: usize = 12;

fn worth(micros: i64) -> String {
    format!("{:.1}", micros as f64 / 1e6)
}

/// What something adds; where that would read 0.0 in words.
fn adds(micros: i64) -> String {
    if micros < 50_000 { "next to nothing".to_owned() } else { worth(micros) }
}

/// The same of what nothing exceeds: rounded up.
fn adds_at_most(micros: i64) -> String {
    if micros < 50_000 {
        adds(micros)
    } else {
        worth(micros.saturating_add(99_999) / 100_000 * 100_000)
    }
}

/// A share in percent, rounded down.
fn percent(share: f64) -> String {
    format!("{:.1} %", (1000.0 * share + 1e-9).floor() / 10.0)
}

/// The same of what nothing exceeds, rounded up.
fn percent_at_most(share: f64) -> String {
    format!("{:.1} %", (1000.0 * share - 1e-9).ceil() / 10.0)
}

/// Ids, of a long list the first, and how many more there are.
fn listed(ids: &[&str]) -> String {
    let shown = ids[..ids.len().min(IDLE)].join(", ");
    match ids.len().saturating_sub(IDLE) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn money(cents: i64) -> String {
    format!("{:.2}", cents as f64 / 100.0)
}

/// What the deadline left no time for.
fn haste(page: &mut Page, abridged: bool, unjudged: i32) {
    if unjudged > 0 {
        page.paragraph(&format!(
            "The deadline left no time to judge all: {} count as if they were not there, and nothing \
             like them is advised; give more with --deadline.",
            units::counted(unjudged.into(), "rod")
        ));
    } else if abridged {
        page.paragraph("The deadline left no time for all of it; give more with --deadline.");
    }
}

/// What to buy, and what never leaves the rack.
#[must_use]
pub fn gaps(answer: &pb::FindGapsResponse, width: usize) -> String {
    let mut page = Page::new(width);
    let share = 100.0 * answer.owned_micros as f64 / answer.full_micros.max(1) as f64;
    page.paragraph(&format!(
        "What is owned is worth {} of {} at best on these trips ({share:.0} %), with every rod on \
         the reel that suits it.",
        worth(answer.owned_micros),
        worth(answer.full_micros)
    ));
    haste(&mut page, answer.abridged, answer.unjudged_rod_count);
    for (number, gap) in answer.gaps.iter().enumerate() {
        page.heading(&format!(
            "{}. adds {} ({} at least if the judgements are too kind)",
            number + 1,
            adds(gap.added_micros),
            adds(gap.added_low_micros)
        ));
        page.hanging("  ", &gap.text);
        if let Some(detail) = &gap.detail {
            page.hanging("  with it, for what gains most: ", &detail.text);
        }
    }
    match (answer.least_added_micros, answer.gaps.is_empty()) {
        (_, true) if answer.abridged => {}
        (0, true) => page.paragraph("No outfit would add anything."),
        (least, true) => {
            let least = (least as f64 / 1e4).ceil() / 100.0;
            page.paragraph(&format!("No outfit would add {least:.2}."));
        }
        (0, false) => {}
        (least, false) => {
            let least = (least as f64 / 1e4).floor() / 100.0;
            page.paragraph(&format!("What would add less than {least:.2} is not named."));
        }
    }
    if answer.purchases.is_empty() && answer.bound_micros.is_some() {
        page.heading("What the budget buys");
        page.hanging("  ", "Nothing: no outfit that adds enough to be named costs so little.");
    }
    if !answer.purchases.is_empty() {
        page.heading("What the budget buys");
        if let Some(bound) = answer.bound_micros {
            let all = answer.purchases.iter().map(|buy| buy.added_micros).sum();
            page.hanging(
                "  ",
                &format!(
                    "Together it adds {}; nothing that it could buy adds more than {}. What adds most \
                     together need not be what fills the gaps above, each of which is counted alone.",
                    adds(all),
                    adds_at_most(bound)
                ),
            );
        }
        for buy in &answer.purchases {
            let text = format!(
                "{} for {}: adds {}",
                capital(&buy.text),
                money(buy.price_cents),
                adds(buy.added_micros)
            );
            page.hanging("  - ", &text);
        }
        for share in &answer.shares {
            let text = format!(
                "{} for {}, which adds {}",
                money(share.spent_cents),
                plain!(Handle, share.handle),
                adds(share.added_micros)
            );
            page.hanging("  of it ", &text);
        }
    }
    let idle: Vec<&pb::RackRod> = answer.rack.iter().filter(|r| r.added_micros <= 0).collect();
    if !answer.rack.is_empty() {
        page.heading("On the rack");
    }
    if !idle.is_empty() {
        let ids: Vec<&str> = idle.iter().map(|rod| rod.rod_id.as_str()).collect();
        let text = match ids.as_slice() {
            [only] => format!("{only} adds nothing to the others."),
            all => format!(
                "Each of these alone adds nothing to all the others, for others do its work, perhaps \
                 another of these: {}.",
                listed(all)
            ),
        };
        page.hanging("  ", &text);
    }
    let mut table = Table::new().left("  rod").left("adds to the others");
    for rod in answer.rack.iter().rev().filter(|rod| rod.added_micros > 0) {
        table.row(vec![format!("  {}", rod.rod_id), adds(rod.added_micros)]);
    }
    page.table(&table);
    if let Some(model) = &answer.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

/// Among what the sets of a curve are the best.
fn of_what(kinds: i32) -> String {
    format!(
        "Of {kinds} kinds of rod, each with a usual reel, line and leader, and of the rods that \
         are kept: optimal is a set if none of as many covers more, at most is what none can exceed, \
         and at least is what so many cover, these or fewer with any added, if all judgements are \
         too kind. A rod of your own may suit better than any kind: --keep it to see."
    )
}

/// The coverage curve, and the jobs of each set.
#[must_use]
pub fn outfit_sets(answer: &pb::DesignSetResponse, width: usize) -> String {
    let mut page = Page::new(width);
    let mut curve =
        Table::new().left("outfits").left("covers").left("at least").left("at most").left("");
    for set in &answer.sets {
        let full = set.worth_micros as f64 / set.coverage.max(f64::MIN_POSITIVE);
        // Of what is optimal both are the same.
        let most = match set.status() {
            pb::PlanStatus::Optimal => String::new(),
            pb::PlanStatus::Feasible
            | pb::PlanStatus::Infeasible
            | pb::PlanStatus::NotFound
            | pb::PlanStatus::Unspecified => {
                percent_at_most(set.bound_micros as f64 / full.max(1.0))
            }
        };
        curve.row(vec![
            set.outfits.len().to_string(),
            format!("{} {}", percent(set.coverage), super::bar(set.coverage)),
            percent(set.worth_low_micros as f64 / full.max(1.0)),
            most,
            plain!(PlanStatus, set.status),
        ]);
    }
    page.table(&curve);
    if answer.spec_count > 0 {
        page.line("");
        page.paragraph(&of_what(answer.spec_count));
    }
    haste(&mut page, answer.abridged, answer.unjudged_rod_count);
    for set in &answer.sets {
        let outfits = i64::try_from(set.outfits.len()).unwrap_or(i64::MAX);
        page.heading(&units::counted(outfits, "outfit"));
        for outfit in &set.outfits {
            let kept = if outfit.rod_id.is_empty() { "" } else { "kept: " };
            let pieces = match outfit.piece_count {
                ..=1 => String::new(),
                count => format!(" In {count} pieces."),
            };
            page.hanging("  - ", &format!("{kept}{}.{pieces}", outfit.job));
        }
        if !set.spare_text.is_empty() {
            page.hanging("  ", &format!("{}.", set.spare_text));
        }
    }
    if let Some(model) = &answer.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the contract of FindGapsResponse.abridged and DesignSetResponse.abridged.
    #[test]
    fn what_the_deadline_left_out_is_said() {
        let mut found = pb::FindGapsResponse::default();
        assert!(!gaps(&found, 80).contains("--deadline"));
        (found.abridged, found.unjudged_rod_count) = (true, 7);
        let text = gaps(&found, 80);
        assert!(text.contains("7 rods") && text.contains("--deadline"), "{text}");
        assert!(!text.contains("No outfit would add anything"), "{text}");
        let sets = pb::DesignSetResponse { abridged: true, ..Default::default() };
        assert!(outfit_sets(&sets, 80).contains("--deadline"));
    }

    // Source: arithmetic.
    #[test]
    fn no_set_reads_as_if_it_covered_more_than_any_can() {
        let set = pb::OutfitSet {
            coverage: 0.455_6,
            worth_micros: 4_556,
            bound_micros: 4_556,
            worth_low_micros: 4_009,
            ..Default::default()
        };
        let proven = pb::OutfitSet { status: pb::PlanStatus::Optimal.into(), ..set.clone() };
        let sets = pb::DesignSetResponse { sets: vec![set], ..Default::default() };
        let text = outfit_sets(&sets, 80);
        let shown = ["45.5 %", "40.0 %", "45.6 %"].map(|percent| text.find(percent));
        assert!(shown.iter().all(Option::is_some) && shown.is_sorted(), "{text}");
        let sets = pb::DesignSetResponse { sets: vec![proven], ..Default::default() };
        let text = outfit_sets(&sets, 80);
        assert!(text.contains("45.5 %") && !text.contains("45.6 %"), "{text}");
        assert_eq!((percent(0.5), percent_at_most(0.5)), ("50.0 %".into(), "50.0 %".into()));
    }

    // Source: the contract of FindGapsResponse.bound_micros: set where a budget was asked about.
    #[test]
    fn a_budget_is_answered_with_what_it_can_add_at_most() {
        let mut found = pb::FindGapsResponse::default();
        assert!(!gaps(&found, 80).contains("budget") && !gaps(&found, 80).contains("On the rack"));
        found.bound_micros = Some(0);
        assert!(gaps(&found, 80).contains("costs so little"), "{}", gaps(&found, 80));
        found.bound_micros = Some(1_210_000);
        found.purchases = vec![pb::Purchase { added_micros: 1_150_000, ..Default::default() }];
        let text = gaps(&found, 80);
        assert!(text.contains("more than 1.3"), "{text}");
    }
}

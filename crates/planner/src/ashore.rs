//! Why each rod and reel left ashore was left.

use std::collections::BTreeSet;

use deepbend_core::quantity::words::ROD_METRES;

use crate::exchange::Exchanges;
use crate::grid::{Cand, Grid};
use crate::plan::{Ashore, AshoreReason, ItemKind};
use crate::prune::{self, Parts};
use crate::weights::{Micros, SHOWN, in_words};
use crate::worth::{self, Selection};

/// Outfits of a rod, or of a reel, of which it is counted in full what they would add; of more, those
/// that are reckoned to add most. So that the writing takes no longer than the search.
const COUNTED: usize = 24;

/// The same for all rods and reels together.
const COUNTED_IN_ALL: usize = 5_000;

/// Everything that stays ashore, rods first.
pub(crate) fn list(grid: &Grid<'_>, selection: &Selection) -> Vec<Ashore> {
    let kept = prune::kept(grid);
    let exchanges = Exchanges::among(grid, &kept);
    let parts = grid.problem.rods.len() + grid.problem.reels.len();
    let counted = (COUNTED_IN_ALL / parts.max(1)).clamp(1, COUNTED);
    let sides = [Side::of(grid, &kept, ItemKind::Rod), Side::of(grid, &kept, ItemKind::Reel)];
    let rods = grid.problem.rods.iter().map(|r| (ItemKind::Rod, r.id.as_str(), r.ready));
    let reels = grid.problem.reels.iter().map(|r| (ItemKind::Reel, r.id.as_str(), r.ready));
    let mut list: Vec<_> = rods
        .chain(reels)
        .filter(|(kind, id, _)| {
            !selection.outfits.iter().any(|c| part(grid, &grid.cands[*c], *kind) == *id)
        })
        .map(|(kind, id, ready)| {
            let side = &sides[usize::from(kind != ItemKind::Rod)];
            let most = (&exchanges, counted);
            let (reason, text) = explain(grid, selection, (kind, id, ready), side, most);
            Ashore { kind, id: id.to_owned(), reason, text }
        })
        .collect();
    list.sort_by(|a, b| (a.kind, &a.id).cmp(&(b.kind, &b.id)));
    list
}

/// Rods, or reels, with what can be put together of each.
struct Side<'g> {
    parts: Parts<'g>,
    /// By part, positions of candidates.
    cands: Vec<Vec<usize>>,
}

impl<'g> Side<'g> {
    fn of(grid: &'g Grid<'_>, kept: &[usize], kind: ItemKind) -> Self {
        let is_rod = kind == ItemKind::Rod;
        let count = if is_rod { grid.rods.len() } else { grid.reels.len() };
        let mut cands = vec![Vec::new(); count];
        // One that another of the same rod and reel covers adds no more than that one.
        for c in kept {
            let cand = &grid.cands[*c];
            cands[if is_rod { cand.rod } else { cand.reel }].push(*c);
        }
        Self { parts: Parts::of(grid, kept, is_rod), cands }
    }
}

fn part<'a>(grid: &Grid<'a>, cand: &Cand, kind: ItemKind) -> &'a str {
    if kind == ItemKind::Rod { grid.rods[cand.rod] } else { grid.reels[cand.reel] }
}

fn explain(
    grid: &Grid<'_>,
    selection: &Selection,
    (kind, id, ready): (ItemKind, &str, bool),
    side: &Side<'_>,
    (exchanges, counted): (&Exchanges<'_, '_>, usize),
) -> (AshoreReason, String) {
    use AshoreReason as R;
    if !ready {
        return (R::NotReady, "It is not ready to be issued.".into());
    }
    if let Some(boat) = grid.elsewhere.get(&(kind, id)) {
        return (R::OtherBoat, format!("It goes out on {boat}."));
    }
    if kind == ItemKind::Rod
        && let Some(text) = too_long(grid, id)
    {
        return (R::Locker, text);
    }
    let names = if kind == ItemKind::Rod { &grid.rods } else { &grid.reels };
    let at = names.binary_search(&id).ok();
    let own = at.map(|at| side.cands[at].as_slice()).unwrap_or_default();
    let useful: Vec<usize> =
        own.iter().copied().filter(|c| !grid.cands[*c].offers.is_empty()).collect();
    if useful.is_empty() {
        return (R::CoversNothing, "It covers none of the lures of this trip.".into());
    }
    let taken = selection.outfits.iter().map(|c| &grid.cands[*c]);
    let taken: BTreeSet<usize> =
        taken.map(|c| if kind == ItemKind::Rod { c.rod } else { c.reel }).collect();
    let better = taken.into_iter().find(|b| at.is_some_and(|at| side.parts.is_order(at, *b)));
    let better = better.map(|better| names[better]);
    let free: Vec<_> = useful
        .iter()
        .copied()
        .filter(|c| grid.gone(&grid.cands[*c]).is_none())
        .filter(|c| !selection.outfits.iter().any(|o| grid.exclusive(*o, *c)))
        .collect();
    let now = worth::value(grid, selection).objective();
    let counted = exchanges.most_adding(&selection.outfits, &free, counted);
    let gain = counted.iter().filter_map(|c| gain(grid, selection, *c, now)).max();
    match (gain, better) {
        (Some(gain), _) if gain > 0 && selection.outfits.len() >= grid.limit() => {
            let adds = in_words(gain);
            let limit = grid.limit();
            let full = match grid.problem.boat.trip_binds() {
                true => format!("the trip may take {limit} and no more"),
                false => format!("all {limit} places are in use"),
            };
            let text = format!("It would add {adds}, less than each of those taken; {full}.");
            (R::NoHolder, text)
        }
        (_, Some(better)) => {
            (R::Dominated, format!("{better} does all that it does, at no higher cost."))
        }
        (None, None) if free.is_empty() => {
            let other = if kind == ItemKind::Rod { "reels" } else { "rods" };
            (R::PartnerUsed, format!("All {other} that it would go with are in use."))
        }
        (gain, None) => {
            let lost = gain.map_or(0, |g| -g).max(0);
            let text = match lost < SHOWN {
                true => "It adds no more to the plan's worth than it costs.".to_owned(),
                false => format!(
                    "What it adds to the plan's worth, all else as it is, is {} less than it costs.",
                    in_words(lost)
                ),
            };
            (R::AddsTooLittle, text)
        }
    }
}

/// What one more outfit adds when the number of rods does not matter.
fn gain(grid: &Grid<'_>, selection: &Selection, cand: usize, now: Micros) -> Option<Micros> {
    let mut outfits = selection.outfits.clone();
    outfits.insert(outfits.partition_point(|o| *o < cand), cand);
    if !worth::line_suffices(grid, &outfits) {
        return None;
    }
    let mut more = selection.clone();
    more.outfits = outfits;
    for offer in &grid.cands[cand].offers {
        if let Some(l) = offer.leader {
            let tied = more.leaders.iter().filter(|(_, k)| *k == l).count();
            if tied < grid.leaders[l].quantity as usize {
                more.leaders.insert((cand, l));
            }
        }
    }
    let fitted: Vec<_> = more.leaders.iter().copied().filter(|(c, _)| *c == cand).collect();
    let mut best = worth::value(grid, &more).objective();
    for pair in fitted {
        more.leaders.remove(&pair);
        let without = worth::value(grid, &more).objective();
        if without >= best {
            best = without;
        } else {
            more.leaders.insert(pair);
        }
    }
    worth::take_lures(grid, &mut more);
    Some(worth::value(grid, &more).objective().max(best) - now)
}

fn too_long(grid: &Grid<'_>, id: &str) -> Option<String> {
    let locker = grid.problem.boat.locker_length_m?;
    let rod = grid.problem.rods.iter().find(|r| r.id == id)?;
    let packed = rod.packed_length_m();
    let [is, takes] = [packed, locker].map(|m| ROD_METRES.one(m));
    (packed > locker).then(|| format!("Packed it is {is} long; the locker takes {takes}."))
}

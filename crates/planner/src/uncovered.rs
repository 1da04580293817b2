//! Why a need stays below its verdict.

use std::collections::BTreeSet;

use deepbend_core::gear::Word;
use deepbend_core::judge::Verdict;

use crate::grid::{Cand, Grid, Off};
use crate::plan::{NotReady, PoolOffer, Uncovered, UncoveredReason};
use crate::problem::{Barred, Candidate, Offer};
use crate::worth::{self, Selection};

/// Needs below their verdict, the most important first.
pub(crate) fn list(grid: &Grid<'_>, selection: &Selection) -> Vec<Uncovered> {
    let barred = barred(grid);
    let mut list: Vec<_> = (0..grid.needs.len())
        .filter(|need| !worth::held(grid, selection, *need))
        .map(|need| explain(grid, selection, &barred, need))
        .collect();
    list.sort_by(|a, b| {
        b.importance.cmp(&a.importance).then((&a.segment, &a.lure).cmp(&(&b.segment, &b.lure)))
    });
    list
}

fn explain(
    grid: &Grid<'_>,
    selection: &Selection,
    barred: &[&Candidate],
    need: usize,
) -> Uncovered {
    let source = &grid.problem.needs[grid.needs[need].source];
    let services = worth::services(grid, selection, need);
    let best = best_offer(grid, selection, need);
    let (reason, text) = reason(grid, selection, need, best);
    let meeting = services.iter().filter(|s| s.meets).count();
    // Each outfit fishes a lure of its own.
    let there = grid.lures[grid.needs[need].lure].quantity;
    Uncovered {
        copies: source.copies_at_once,
        met: u32::try_from(meeting).unwrap_or(u32::MAX).min(there),
        segment: source.segment.clone(),
        lure: source.lure.clone(),
        importance: source.importance,
        reached: services.iter().map(|s| s.verdict).min(),
        reason,
        text,
        best_in_pool: best.map(|(c, offer)| pool_offer(grid, &grid.cands[c], offer)),
        not_ready: not_ready(grid, barred, need),
    }
}

/// Outfits that the boat could take, were their parts ready.
fn barred<'g>(grid: &'g Grid<'_>) -> Vec<&'g Candidate> {
    let p = grid.problem;
    let rods: BTreeSet<&str> = p.rods.iter().filter(|r| !r.ready).map(|r| r.id.as_str()).collect();
    let reels: BTreeSet<&str> =
        p.reels.iter().filter(|r| !r.ready).map(|r| r.id.as_str()).collect();
    let unready = |c: &&Candidate| {
        (rods.contains(c.rod.as_str()) || reels.contains(c.reel.as_str()))
            && matches!(p.barred(c), Some(Barred::NotReady(_)))
    };
    grid.candidates.iter().filter(unready).collect()
}

/// The best outfit that would reach the verdict, had its parts been ready.
fn not_ready(grid: &Grid<'_>, barred: &[&Candidate], need: usize) -> Option<NotReady> {
    let (p, need) = (grid.problem, grid.needs[need].source);
    let unready = |c: &Candidate| -> Vec<&str> {
        let rod = p.rods.iter().find(|r| r.id == c.rod && !r.ready).map(|r| r.id.as_str());
        let reel = p.reels.iter().find(|r| r.id == c.reel && !r.ready).map(|r| r.id.as_str());
        rod.into_iter().chain(reel).collect()
    };
    let (candidate, offer, parts) = barred
        .iter()
        .flat_map(|c| c.offers.iter().map(move |o| (*c, o)))
        .filter(|(_, o)| o.need == need && p.needs[need].met_by(o.verdict))
        .map(|(c, o)| (c, o, unready(c)))
        .min_by(|(c, o, n), (d, q, m)| {
            (n.len(), o.verdict)
                .cmp(&(m.len(), q.verdict))
                .then(q.score.total_cmp(&o.score))
                .then((&c.rod, &c.reel, &c.line).cmp(&(&d.rod, &d.reel, &d.line)))
                .then(o.leader.cmp(&q.leader))
        })?;
    let text = format!(
        "{} with {} would be {}, but {} not ready.",
        candidate.rod,
        candidate.reel,
        offer.verdict.as_word(),
        match parts[..] {
            [part] => format!("{part} is"),
            _ => "both are".to_owned(),
        }
    );
    let offer = PoolOffer {
        rod: candidate.rod.clone(),
        reel: candidate.reel.clone(),
        line: candidate.line.clone(),
        leader: offer.leader.clone(),
        verdict: offer.verdict,
        score: offer.score,
        skill: offer.counts_for(),
        limiting: offer.limiting.to_string(),
    };
    Some(NotReady { offer, text })
}

/// The best offer for a need: those that meet its verdict come first, then those in nobody's way, then
/// the better ones. Outfits that already serve it at its verdict are left out when more copies are
/// missing.
fn best_offer<'g>(
    grid: &'g Grid<'_>,
    selection: &Selection,
    need: usize,
) -> Option<(usize, &'g Off)> {
    let serving: Vec<_> = worth::services(grid, selection, need)
        .iter()
        .filter(|s| s.meets)
        .map(|s| grid.cands[s.cand].rod)
        .collect();
    let blocked = |c: usize| {
        grid.gone(&grid.cands[c]).is_some()
            || selection.outfits.iter().any(|o| *o != c && grid.exclusive(*o, c))
    };
    let offers = grid
        .cands
        .iter()
        .enumerate()
        .filter(|(_, cand)| !serving.contains(&cand.rod))
        .flat_map(|(c, cand)| cand.offers.iter().map(move |o| (c, o)))
        .filter(|(_, offer)| offer.need == need);
    offers.min_by(|(a, x), (b, y)| {
        y.meets
            .cmp(&x.meets)
            .then_with(|| blocked(*a).cmp(&blocked(*b)))
            .then(x.verdict.cmp(&y.verdict))
            .then(y.worth.cmp(&x.worth))
            .then(y.score.total_cmp(&x.score))
            .then(a.cmp(b))
    })
}

fn pool_offer(grid: &Grid<'_>, cand: &Cand, offer: &Off) -> PoolOffer {
    let source = &grid.candidates[cand.source];
    PoolOffer {
        rod: source.rod.clone(),
        reel: source.reel.clone(),
        line: source.line.clone(),
        leader: offer.leader.map(|l| grid.leader_ids[l].to_owned()),
        verdict: offer.verdict,
        score: offer.score,
        skill: source.offers[offer.source].counts_for(),
        limiting: source.offers[offer.source].limiting.to_string(),
    }
}

fn reason(
    grid: &Grid<'_>,
    selection: &Selection,
    need: usize,
    best: Option<(usize, &Off)>,
) -> (UncoveredReason, String) {
    use UncoveredReason as R;
    let demand = &grid.needs[need];
    let lure = grid.lure_ids[demand.lure];
    if !demand.holdable {
        let text = format!(
            "{} of {lure} asked for at once, {} there.",
            demand.copies, grid.lures[demand.lure].quantity
        );
        return (R::LureMissing, text);
    }
    let minimum = grid.problem.needs[demand.source].min_verdict.as_word();
    let Some((c, offer)) = best else {
        if worth::services(grid, selection, need).iter().any(|s| s.meets) {
            let text = format!("Fewer than {} outfits for {lure} in the pool.", demand.copies);
            return (R::TooFewCopies, text);
        }
        return (R::NoOffer, no_offer(grid, need, lure));
    };
    let cand = &grid.cands[c];
    let source = &grid.candidates[cand.source];
    let name = format!("{} with {}", source.rod, source.reel);
    if !offer.meets {
        let limiting = &source.offers[offer.source].limiting;
        let which = match selection.outfits.contains(&c) {
            true => "The best of the pool, which is taken,",
            false => "The best left in the pool,",
        };
        let text =
            format!("{which} {name}, is {}, not {minimum}: {limiting}", offer.verdict.as_word());
        let some = worth::services(grid, selection, need).iter().any(|s| s.meets);
        return (if some { R::TooFewCopies } else { R::BelowMinimum }, text);
    }
    if let Some((part, boat)) = grid.gone(cand) {
        let shared = if part == source.rod { R::RodShared } else { R::ReelShared };
        return (shared, format!("{name} would do, but {part} goes out on {boat}."));
    }
    let clash = selection.outfits.iter().find(|o| **o != c && grid.exclusive(**o, c));
    if let Some(other) = clash {
        let other = &grid.candidates[grid.cands[*other].source];
        return if other.rod == source.rod {
            let text = match other.reel == source.reel {
                true => format!(
                    "{name} and {} would do, but it carries {}.",
                    line_words(grid, source),
                    line_words(grid, other)
                ),
                false => format!("{name} would do, but {} goes with {}.", other.rod, other.reel),
            };
            (R::RodShared, text)
        } else {
            let text = format!("{name} would do, but {} goes on {}.", other.reel, other.rod);
            (R::ReelShared, text)
        };
    }
    let taken = selection.outfits.contains(&c);
    let mut more = selection.outfits.clone();
    if !taken {
        more.insert(more.partition_point(|o| *o < c), c);
    }
    let used_up = offer.leader.is_some_and(|l| {
        let tied = selection.leaders.iter().filter(|(_, k)| *k == l).count();
        tied >= grid.leaders[l].quantity as usize
    });
    if used_up || !worth::line_suffices(grid, &more) {
        return (R::StockUsedUp, format!("{name} would do, but leader or line is used up."));
    }
    if !taken && selection.outfits.len() >= grid.limit() {
        let rods = match grid.problem.boat.trip_binds() {
            true => "rods that this trip may take",
            false => "rods that fit aboard",
        };
        let text = format!("{name} would do, but the {} {rods} bring more.", grid.limit());
        return (R::NoHolder, text);
    }
    (R::NotWorthIt, format!("{name} would do, but moves and jobs cost more than it brings."))
}

/// The line of a candidate: what is on the reel, or what is wound onto it.
fn line_words(grid: &Grid<'_>, candidate: &Candidate) -> String {
    let reel = grid.problem.reels.iter().find(|reel| reel.id == candidate.reel);
    let lines = reel.into_iter().flat_map(|reel| &reel.lines);
    let stock = lines.filter(|line| line.id == candidate.line).find_map(|l| l.stock.as_ref());
    stock.map_or_else(|| "the line on it".to_owned(), |stock| format!("line {}", stock.stock))
}

/// Nothing usable: names what comes closest, or what would have done and why it cannot come along.
fn no_offer(grid: &Grid<'_>, need: usize, lure: &str) -> String {
    let (p, need) = (grid.problem, grid.needs[need].source);
    let offers = || {
        let all = grid.candidates.iter().flat_map(|c| c.offers.iter().map(move |o| (c, o)));
        all.filter(|(_, o)| o.need == need)
    };
    let order = |(c, o): &(&Candidate, &Offer), (d, p): &(&Candidate, &Offer)| {
        o.verdict
            .cmp(&p.verdict)
            .then(p.score.total_cmp(&o.score))
            .then_with(|| (&c.rod, &c.reel, &c.line).cmp(&(&d.rod, &d.reel, &d.line)))
            .then_with(|| o.leader.cmp(&p.leader))
    };
    if let Some((c, o)) = offers().min_by(order).filter(|(_, o)| o.verdict <= Verdict::Workable) {
        let leader = || format!("leader {} is used up", o.leader.as_deref().unwrap_or_default());
        return format!(
            "Nothing that may be taken fishes {lure}; {} with {} would be {}, but {}.",
            c.rod,
            c.reel,
            o.verdict.as_word(),
            p.barred(c).map_or_else(leader, |barred| barred.words()),
        );
    }
    match offers().filter(|(c, _)| p.barred(c).is_none()).min_by(order) {
        Some((c, o)) if o.verdict == Verdict::Poor => format!(
            "Nothing in the pool fishes {lure}; {} with {} comes closest and is poor: {}",
            c.rod, c.reel, o.limiting
        ),
        Some((c, o)) => format!(
            "Nothing in the pool fishes {lure} safely; {} with {}: {}",
            c.rod, c.reel, o.limiting
        ),
        None => format!("Nothing in the pool fishes {lure}."),
    }
}

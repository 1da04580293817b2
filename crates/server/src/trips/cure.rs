//! Needs that stay below their verdict, and the cheapest cure of each.

use std::sync::OnceLock;

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::Word as _;
use deepbend_core::judge::{FixCode, Judgement, Verdict, judge, score};
use deepbend_ledger::item::{Item, ItemKind, Status};
use deepbend_ledger::view::View;
use deepbend_planner::TripProblem;
use deepbend_planner::plan::{PlannedOutfit, PoolOffer, TripPlan, Uncovered, UncoveredReason};
use deepbend_planner::problem::Candidate;

use super::answer::{several, uncovered_reason};
use super::ask::Aboard;
use super::buy;
use super::case::{Case, Weighed};
use super::known::item;
use super::lines::{FITTED, short};
use super::offers::{Judge, outfit, rings_allow};
use super::pool::{self, Pool, PoolReel, PoolRod};

/// Writes what is uncovered.
#[derive(Debug)]
pub(super) struct Cures<'a, 'v> {
    judge: &'a Judge<'a, 'v>,
    view: &'v View,
    problem: &'a TripProblem,
    plan: &'a TripPlan,
    /// What the other boats of the fleet leave of what they take some of.
    shares: &'a [pb::LoadLine],
    /// What lies anywhere, gathered when it is asked for.
    all: OnceLock<Pool<'v>>,
    /// What the boat can take, looked up when it is asked for.
    takeable: OnceLock<Vec<&'a Candidate>>,
}

/// A change that takes longer than this is dearer than bringing an item. From memory: 0.25 for a
/// move, 0.03 for a minute.
const QUICK_MINUTES: f64 = 8.0;

/// Writes what is uncovered as the planner has it, without a cure.
pub(super) fn brief(uncovered: &Uncovered) -> pb::Uncovered {
    pb::Uncovered {
        segment_id: uncovered.segment.clone(),
        lure_id: uncovered.lure.clone(),
        importance: i32::try_from(uncovered.importance).unwrap_or(i32::MAX),
        reached: uncovered.reached.map_or(0, |v| v.to_wire_word().into()),
        reason: uncovered_reason(uncovered.reason).into(),
        text: of_copies(uncovered, uncovered.text.clone()),
        copy_count: several(uncovered.copies, uncovered.copies),
        met_count: several(uncovered.copies, uncovered.met),
        ..pb::Uncovered::default()
    }
}

impl<'a, 'v> Cures<'a, 'v> {
    /// Cures for what a plan leaves open.
    pub(super) fn new(
        judge: &'a Judge<'a, 'v>,
        view: &'v View,
        problem: &'a TripProblem,
        plan: &'a TripPlan,
        shares: &'a [pb::LoadLine],
    ) -> Self {
        let (all, takeable) = (OnceLock::new(), OnceLock::new());
        Self { judge, view, problem, plan, shares, all, takeable }
    }

    /// Writes one of them.
    pub(super) fn write(&self, uncovered: &Uncovered) -> pb::Uncovered {
        let need = self.judge.need(&uncovered.segment, &uncovered.lure);
        // What is poor or unsafe is never in the plan's own list, but it says why and what to do.
        let closest = need.filter(|_| uncovered.best_in_pool.is_none());
        let closest = closest.and_then(|need| self.closest(need));
        let offer = uncovered.best_in_pool.as_ref().or(closest.as_ref());
        let judged = need.zip(offer).and_then(|(need, offer)| self.judged(need, offer));
        let limiting = judged.as_ref().map(limiting_text);
        let best_in_pool = offer.map(|offer| pb::PoolOffer {
            rod_id: offer.rod.clone(),
            reel_id: offer.reel.clone(),
            line_stock_id: if offer.line == FITTED { String::new() } else { offer.line.clone() },
            leader_stock_id: offer.leader.clone().unwrap_or_default(),
            verdict: offer.verdict.to_wire_word().into(),
            score: offer.score,
            skill: offer.skill.map_or(0, |skill| skill.to_wire_word().into()),
            limiting: limiting.clone().unwrap_or_else(|| offer.limiting.to_string()),
        });
        pb::Uncovered {
            text: {
                let mut text = self.text(need, uncovered, offer, limiting.as_deref());
                if let Some(barred) = &uncovered.not_ready {
                    text = format!("{text} {}", barred.text);
                }
                of_copies(uncovered, text)
            },
            best_in_pool,
            cure: match need {
                Some(need) if self.is_afloat() => self.cure_afloat(need, uncovered, offer),
                Some(need) => self.cure(need, uncovered, offer),
                None => String::new(),
            },
            ..brief(uncovered)
        }
    }

    /// What the boat can take of all that can be put together.
    fn takeable(&self) -> &[&'a Candidate] {
        let candidates = self.problem.candidates.iter();
        let may = |c: &&Candidate| self.problem.barred(c).is_none();
        self.takeable.get_or_init(|| candidates.filter(may).collect())
    }

    /// The best of all candidates for a need that the boat can take, however bad.
    fn closest(&self, need: usize) -> Option<PoolOffer> {
        let candidates = self.takeable().iter().copied();
        let offers = candidates
            .flat_map(|c| c.offers.iter().filter(|o| o.need == need).map(move |o| (c, o)));
        let ranked = offers.map(|(c, o)| {
            // Unsafe ones all score 0: what they would be without the limit tells them apart.
            let outfit = (o.verdict == Verdict::Unsafe)
                .then(|| self.judge.assembled(&c.rod, &c.reel, &c.line, o.leader.as_deref()));
            let case = &self.judge.cases[need];
            let spare = outfit.flatten().map_or(o.score, |outfit| {
                score(self.judge.model, &outfit, case.lure, &case.waters()[0].0)
                    .score_without_limits
            });
            (c, o, spare)
        });
        let (candidate, offer, _) =
            ranked.min_by(|(_, a, x), (_, b, y)| a.verdict.cmp(&b.verdict).then(y.total_cmp(x)))?;
        Some(PoolOffer {
            rod: candidate.rod.clone(),
            reel: candidate.reel.clone(),
            line: candidate.line.clone(),
            leader: offer.leader.clone(),
            verdict: offer.verdict,
            score: offer.score,
            skill: offer.counts_for(),
            limiting: offer.limiting.to_string(),
        })
    }

    fn judged(&self, need: usize, offer: &PoolOffer) -> Option<Judgement> {
        let leader = offer.leader.as_deref();
        self.judgement(need, &offer.rod, &offer.reel, &offer.line, leader)
    }

    fn judgement(
        &self,
        need: usize,
        rod: &str,
        reel: &str,
        line: &str,
        leader: Option<&str>,
    ) -> Option<Judgement> {
        let outfit = self.judge.assembled(rod, reel, line, leader)?;
        let case = &self.judge.cases[need];
        let water = case.deciding(self.judge.model, self.judge.weights, &outfit);
        Some(judge(self.judge.model, &outfit, case.lure, water))
    }

    /// The planner's sentence, with what limits the best offer in full.
    fn text(
        &self,
        need: Option<usize>,
        uncovered: &Uncovered,
        offer: Option<&PoolOffer>,
        limiting: Option<&str>,
    ) -> String {
        if let (Some(need), Some(offer), Some(limiting)) = (need, offer, limiting)
            && uncovered.reason != UncoveredReason::LureMissing
            && !self.judge.asked.trip.needs[need].met_by(offer.verdict)
        {
            let taken = |o: &PlannedOutfit| (&o.rod, &o.reel) == (&offer.rod, &offer.reel);
            let which = match (self.plan.outfits.iter().any(taken), self.is_afloat()) {
                (true, false) => "The best of the pool, which is taken,",
                (true, true) => "The best aboard, which is taken,",
                (false, false) => "The best left in the pool,",
                (false, true) => "The best left aboard,",
            };
            return format!(
                "{which} {} with {}, is {}, not {}: {limiting}",
                offer.rod,
                offer.reel,
                offer.verdict.as_word(),
                self.judge.asked.trip.needs[need].min_verdict.as_word(),
            );
        }
        uncovered.text.clone()
    }

    /// Whether the boat is out: then nothing can be fetched or bought.
    fn is_afloat(&self) -> bool {
        self.judge.asked.aboard.is_some()
    }

    /// What helps with what is aboard; else that nothing does, and what would on another day.
    fn cure_afloat(&self, need: usize, uncovered: &Uncovered, offer: Option<&PoolOffer>) -> String {
        let change = || self.change(need, offer).map(|(_, text)| text);
        let aboard = match uncovered.reason {
            UncoveredReason::NoOffer
            | UncoveredReason::BelowMinimum
            | UncoveredReason::TooFewCopies => change(),
            UncoveredReason::NotWorthIt => {
                offer.map(|o| format!("Fish it on {} with {} all the same.", o.rod, o.reel))
            }
            UncoveredReason::LureMissing
            | UncoveredReason::ReelShared
            | UncoveredReason::RodShared
            | UncoveredReason::NoHolder
            | UncoveredReason::StockUsedUp => None,
        };
        aboard.unwrap_or_else(|| {
            let (nothing, later) = match uncovered.reason {
                UncoveredReason::NoOffer
                | UncoveredReason::BelowMinimum
                | UncoveredReason::TooFewCopies => {
                    let more =
                        self.bring(need).or_else(|| buy::advice(self.judge, need, self.plan));
                    let missing = uncovered.copies.saturating_sub(uncovered.met);
                    let later = match more {
                        Some(more) => format!("For another day: {}", of_missing(more, missing)),
                        None => self.nothing_helps(need, missing),
                    };
                    ("Nothing aboard helps.", later)
                }
                UncoveredReason::NotWorthIt
                | UncoveredReason::LureMissing
                | UncoveredReason::ReelShared
                | UncoveredReason::RodShared
                | UncoveredReason::NoHolder
                | UncoveredReason::StockUsedUp => {
                    let later = match self.cure(need, uncovered, offer) {
                        none if none.is_empty() => none,
                        more => format!("For another day: {more}"),
                    };
                    // What its text names is aboard, but taken.
                    ("Nothing else aboard helps.", later)
                }
            };
            format!("{nothing} {later}").trim_end().to_owned()
        })
    }

    fn cure(&self, need: usize, uncovered: &Uncovered, offer: Option<&PoolOffer>) -> String {
        let lure = &uncovered.lure;
        let missing = uncovered.copies.saturating_sub(uncovered.met);
        let one_of = |cure: String| of_missing(cure, missing);
        let name = offer.map(|o| format!("{} with {}", o.rod, o.reel)).unwrap_or_default();
        match uncovered.reason {
            UncoveredReason::LureMissing => {
                let more = self.more_of(lure, uncovered.copies);
                // More of a lure that nothing suits help nobody.
                match self.is_suited(need) {
                    true => more,
                    false => match self.change_move_or_buy(need, offer) {
                        Some(first) => format!("{first} {more}"),
                        None => self.nothing_helps(need, missing),
                    },
                }
            }
            UncoveredReason::ReelShared => one_of(match offer {
                Some(o) => format!("A second reel like {} for {}.", o.reel, o.rod),
                None => return String::new(),
            }),
            UncoveredReason::RodShared => one_of(format!("A second outfit like {name}.")),
            UncoveredReason::NoHolder => one_of(match self.problem.boat.trip_binds() {
                true => format!("Let the trip take one rod more: {name}."),
                false => format!("One more rod holder, for {name}."),
            }),
            UncoveredReason::StockUsedUp => one_of(format!("More line or leader for {name}.")),
            UncoveredReason::NotWorthIt => {
                one_of(format!("Take {name} all the same: pin it, or give the jobs more time."))
            }
            UncoveredReason::NoOffer
            | UncoveredReason::BelowMinimum
            | UncoveredReason::TooFewCopies => {
                let first = self.change_move_or_buy(need, offer).map(one_of);
                first.unwrap_or_else(|| self.nothing_helps(need, missing))
            }
        }
    }

    /// Where more pieces of a lure come from, and how many of them are missing.
    fn more_of(&self, lure: &str, copies: u32) -> String {
        if let Some(aboard) = &self.judge.asked.aboard {
            if let Some(more) = self.more_ashore(aboard, lure) {
                return more;
            }
        } else if let Some((place, there)) = self.judge.pool.lures_elsewhere.get(lure) {
            let of = match *there {
                few if few < copies => format!(" ({few} of the {copies} that are fished at once)"),
                _ => String::new(),
            };
            return format!("Bring {lure} from {place}{of}: add that place to the pool.");
        }
        let held = self.problem.lures.iter().find(|held| held.id == lure);
        let of_lure = |s: &&pb::LoadLine| s.kind() == pb::CargoKind::Lure && s.item_id == lure;
        let share = self.shares.iter().find(of_lure);
        let share = share.map_or(u32::MAX, |share| u32::try_from(share.quantity).unwrap_or(0));
        match copies.saturating_sub(held.map_or(0, |held| held.quantity).min(share)) {
            0 => format!("Get more of {lure}."),
            1 => format!("Get more of {lure}: 1 is missing."),
            missing => format!("Get more of {lure}: {missing} are missing."),
        }
    }

    /// On the water: where more pieces of a lure lie than the boat took along, and that no other boat
    /// took.
    fn more_ashore(&self, aboard: &Aboard, lure: &str) -> Option<String> {
        let item = item(self.view, ItemKind::Lure, lure)?;
        let place = pool::lies(self.view, item)?;
        if place == self.judge.asked.trip.boat || item.status != Status::Ready {
            return None;
        }
        let share = aboard.shares.get(lure).copied().unwrap_or(u32::MAX);
        let there = item.quantity.unwrap_or(1).min(share);
        let Some(taken) = aboard.items.get(lure) else {
            return (there > 0).then(|| format!("Bring {lure} from {place}."));
        };
        let lie = match there.saturating_sub(taken.unwrap_or(0)) {
            0 => return None,
            1 => "1 more lies".to_owned(),
            more => format!("{more} more lie"),
        };
        Some(format!("Load more of {lure}: {lie} at {place}, out of reach on the water."))
    }

    /// Whether anything that the boat can take suits a lure as well as it is asked for.
    fn is_suited(&self, need: usize) -> bool {
        let wanted = &self.judge.asked.trip.needs[need];
        let mut offers = self.takeable().iter().flat_map(|c| &c.offers);
        offers.any(|offer| offer.need == need && wanted.met_by(offer.verdict))
    }

    /// `None`: none of these would do.
    fn change_move_or_buy(&self, need: usize, offer: Option<&PoolOffer>) -> Option<String> {
        let change = self.change(need, offer);
        if let Some((minutes, text)) = &change
            && *minutes <= QUICK_MINUTES
        {
            return Some(text.clone());
        }
        self.bring(need)
            .or(change.map(|(_, text)| text))
            .or_else(|| buy::advice(self.judge, need, self.plan))
    }

    /// What no other outfit covers: whether one would in a calm, or what holds the best of them
    /// down.
    fn nothing_helps(&self, need: usize, missing: u32) -> String {
        if self.is_suited(need) {
            let lure = &self.judge.asked.trip.needs[need].lure;
            let later = if self.is_afloat() { "For another day: " } else { "" };
            return match missing {
                0 | 1 => format!("{later}One more outfit like one that covers {lure}."),
                more => format!("{later}{more} more outfits like one that covers {lure}."),
            };
        }
        let (by, lure) = (self.judge, &self.judge.asked.trip.needs[need].lure);
        let calm = by.cases[need].in_wind(|_| 0.0);
        let owned = self.best_taken(need, &calm);
        let owned = owned.or_else(|| self.best_of(need, &calm, &|_| true).map(|found| found.is));
        if let Some(would) = owned.or_else(|| buy::in_wind(by, need, &calm)) {
            return format!(
                "Leave {lure} for a calmer day: nothing covers it in this wind; in a calm {would}."
            );
        }
        let limit = buy::closest(by, need).map(|outfit| {
            let case = &by.cases[need];
            let water = case.deciding(by.model, by.weights, &outfit);
            limiting_text(&judge(by.model, &outfit, case.lure, water))
        });
        format!(
            "Nothing that may come along covers {lure}, and no rod that is to be had would. The \
             best of those: {}",
            limit.unwrap_or_default()
        )
    }

    /// The best of the outfits that are taken, as they are rigged, if it reaches the verdict of a need in
    /// this case.
    fn best_taken(&self, need: usize, case: &Case<'_>) -> Option<String> {
        let (by, wanted) = (self.judge, &self.judge.asked.trip.needs[need]);
        let rigged = self.plan.outfits.iter().flat_map(|o| {
            let leaders = o.leaders.iter().map(|id| Some(id.as_str())).chain([None]);
            leaders.map(move |leader| (o, leader))
        });
        let weighed = rigged.filter_map(|(o, leader)| {
            let outfit = by.assembled(&o.rod, &o.reel, &o.line, leader)?;
            Some((o, case.weigh(by.model, by.weights, &outfit)))
        });
        let met = weighed.filter(|(_, weighed)| wanted.met_by(weighed.verdict));
        let (o, weighed) = met.reduce(|top, next| {
            let order = next.1.verdict.cmp(&top.1.verdict);
            if order.then(top.1.score.total_cmp(&next.1.score)).is_lt() { next } else { top }
        })?;
        Some(format!("{} with {} is {}", o.rod, o.reel, weighed.verdict.as_word()))
    }

    /// The quickest change to the lure or an outfit that is taken, or is the best of the pool.
    fn change(&self, need: usize, offer: Option<&PoolOffer>) -> Option<(f64, String)> {
        let wanted = &self.judge.asked.trip.needs[need];
        let cover = self
            .plan
            .coverage
            .iter()
            .find(|c| c.segment == wanted.segment && c.lure == wanted.lure)?;
        let taken = cover.uses.iter().filter(|used| !wanted.met_by(used.verdict)).map(|used| {
            let o = &self.plan.outfits[used.outfit];
            (o.rod.as_str(), o.reel.as_str(), o.line.as_str(), used.leader.as_deref())
        });
        let best =
            offer.map(|o| (o.rod.as_str(), o.reel.as_str(), o.line.as_str(), o.leader.as_deref()));
        let mut quickest: Option<(f64, String)> = None;
        for (rod, reel, line, leader) in taken.chain(best) {
            let Some(judged) = self.judgement(need, rod, reel, line, leader) else { continue };
            let may = |code: FixCode| match code {
                // Another mass is another lure.
                FixCode::Mass => false,
                FixCode::Drag | FixCode::HookPoint | FixCode::Hookset => true,
                // What that takes may not be aboard.
                FixCode::HookStyle | FixCode::Leader | FixCode::Line | FixCode::Combined => {
                    !self.is_afloat()
                }
            };
            let fixes = judged.fixes.iter().filter(|f| wanted.met_by(f.verdict) && may(f.code));
            for fix in fixes {
                if quickest.as_ref().is_none_or(|(minutes, _)| fix.minutes < *minutes) {
                    let (minutes, verdict) = (short(fix.minutes), fix.verdict.as_word());
                    let text = format!(
                        "On {rod} with {reel}: {} ({minutes} min), then {verdict}.",
                        fix.text
                    );
                    quickest = Some((fix.minutes, text));
                }
            }
        }
        quickest
    }

    /// A ready outfit of which at least one part lies at a place that the pool does not have.
    fn bring(&self, need: usize) -> Option<String> {
        let found = self.best_of(need, &self.judge.cases[need], &|far| far > 0)?;
        Some(format!("Bring {}: {}.", found.far.join(" and "), found.is))
    }

    /// Of all that the boat could take, wherever it lies, the outfit that reaches the verdict of a
    /// need in this case with as few parts as can be from places that the pool does not have, of
    /// the most promising rods and reels. `may` is asked for the count of such parts.
    fn best_of(&self, need: usize, case: &Case<'_>, may: &dyn Fn(usize) -> bool) -> Option<Known> {
        let here = self.judge;
        let anywhere = |item: &Item| match &here.asked.aboard {
            Some(aboard) if aboard.lost.contains(item.id.as_str()) => None,
            Some(aboard) => {
                pool::aboard(here.asked, aboard, item).or_else(|| pool::lies(self.view, item))
            }
            None => pool::lies(self.view, item),
        };
        let all = self.all.get_or_init(|| {
            let all = Pool::gather(here.model, self.view, here.asked, &anywhere);
            // A leader from elsewhere would be one more thing to bring.
            Pool { leaders: here.pool.leaders.clone(), ..all }
        });
        let wide = Judge { pool: all, ..*here };
        let wanted = &here.asked.trip.needs[need];
        let is_near = |place: &str| here.pool.places.iter().any(|p| p.id == place);
        let weigh = |rod: &PoolRod<'_>, reel: &PoolReel<'_>| -> Option<Weighed> {
            let line = reel.lines.iter().rfind(|line| rings_allow(rod.rod, line))?;
            let mut outfit = outfit(rod.rod, reel.reel, line);
            Some(wide.with_best_leader(case, &mut outfit).1)
        };
        let rods: Vec<_> = all.rods.iter().filter(|rod| all.takes(rod)).collect();
        let reels: Vec<_> = all.reels.iter().filter(|reel| reel.ready).collect();
        // Each rod is tried with one reel, then each reel with the best rod of its kind.
        let mut first: Vec<_> = reels.clone();
        first.sort_by_key(|reel| !is_near(&reel.place));
        let with_first = |rod: &PoolRod<'_>| {
            let reel = first.iter().find(|reel| wide.may_pair(rod, reel))?;
            weigh(rod, reel)
        };
        let rods = promising(rods, &with_first, &|rod| is_near(&rod.place));
        let with_best = |reel: &PoolReel<'_>| {
            let rod = rods.iter().find(|rod| wide.may_pair(rod, reel))?;
            weigh(rod, reel)
        };
        let reels = promising(reels, &with_best, &|reel| is_near(&reel.place));
        let mut best: Option<(Weighed, Known)> = None;
        for rod in &rods {
            for reel in reels.iter().filter(|reel| wide.may_pair(rod, reel)) {
                let parts = [(rod.item, &rod.place), (reel.item, &reel.place)];
                let far: Vec<_> = parts
                    .iter()
                    .filter(|(_, place)| !is_near(place))
                    .map(|(item, place)| format!("{} from {place}", item.id))
                    .collect();
                let known = best.as_ref().map_or(usize::MAX, |(_, known)| known.far.len());
                if !may(far.len()) || far.len() > known {
                    continue;
                }
                let Some(weighed) = weigh(rod, reel) else { continue };
                let better = best.as_ref().is_none_or(|(old, known)| {
                    let (new, old) = ((&weighed, far.len()), (old, known.far.len()));
                    (new.1, new.0.verdict) < (old.1, old.0.verdict)
                        || ((new.1, new.0.verdict) == (old.1, old.0.verdict)
                            && new.0.score > old.0.score)
                });
                if wanted.met_by(weighed.verdict) && better {
                    let is = format!(
                        "{} with {} is {}",
                        rod.item.id,
                        reel.item.id,
                        weighed.verdict.as_word()
                    );
                    best = Some((weighed, Known { far, is }));
                }
            }
        }
        best.map(|(_, known)| known)
    }
}

/// A cure that is one more outfit, for one copy of those that are missing.
fn of_missing(cure: String, missing: u32) -> String {
    match missing {
        0 | 1 => cure,
        missing => format!("{cure} That is for 1 of the {missing} copies that are missing."),
    }
}

/// What is uncovered of a lure that is fished several times at once.
fn of_copies(uncovered: &Uncovered, text: String) -> String {
    match (uncovered.met, uncovered.copies) {
        (_, 0..=1) => text,
        (met, copies) => format!("{met} of {copies} copies covered. {text}"),
    }
}

/// An outfit of which parts may have to be brought.
struct Known {
    /// Its parts from places that the pool does not have, each with its place.
    far: Vec<String>,
    /// What it is, in words: "R20 with E14 is good".
    is: String,
}

/// Rods, or reels, that are looked at closely: so many of those that are near, and of those that
/// are not.
const PROMISING: usize = 12;

/// The best, near and far.
fn promising<'p, P>(
    parts: Vec<&'p P>,
    weigh: &dyn Fn(&P) -> Option<Weighed>,
    is_near: &dyn Fn(&P) -> bool,
) -> Vec<&'p P> {
    let weighed = parts.into_iter().filter_map(|part| Some((weigh(part)?, part)));
    let mut ranked: Vec<_> = weighed.collect();
    ranked.sort_by(|(a, _), (b, _)| a.verdict.cmp(&b.verdict).then(b.score.total_cmp(&a.score)));
    let (mut near, mut far) = (0, 0);
    let kept = ranked.into_iter().filter(|(_, part)| {
        let count = if is_near(part) { &mut near } else { &mut far };
        *count += 1;
        *count <= PROMISING
    });
    kept.map(|(_, part)| part).collect()
}

/// What holds a judgement down: a broken limit, else its limiting factor.
fn limiting_text(judgement: &Judgement) -> String {
    let limit = judgement.limits.iter().find(|limit| limit.broken).map(|limit| &limit.text);
    let factor = || {
        let kind = judgement.limiting_factor;
        judgement.factors.iter().find(|factor| factor.kind == kind).map(|factor| &factor.text)
    };
    let mut text = limit.or_else(factor).cloned().unwrap_or_default();
    if !text.ends_with('.') {
        text.push('.');
    }
    text
}

//! Problems for tests, and a count of all plans that shares no code with the planner.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]
#![allow(dead_code, reason = "each test binary uses its part")]

use std::collections::BTreeSet;

use deepbend_core::gear::Handle;
use deepbend_core::judge::Verdict;
use deepbend_core::water::Skill;
use deepbend_planner::hands::judged_for;
use deepbend_planner::plan::{Answer, TripPlan};
use deepbend_planner::problem::{
    Angler, Boat, Candidate, Hand, LeaderStock, LineOption, LineStock, LureStock, Need, Offer, Pin,
    Place, Reel, Rod, Segment, StockUse, TripProblem,
};
use deepbend_planner::{Budget, Weights, check, plan_trip};

/// Numbers that look random and are the same everywhere (64-bit linear congruential generator,
/// constants of Knuth's MMIX).
#[derive(Clone)]
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn roll(&mut self, below: u64) -> u64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }

    pub(crate) fn one_in(&mut self, n: u64) -> bool {
        self.roll(n) == 0
    }
}

pub(crate) fn place(id: &str, move_cost: i64) -> Place {
    Place { id: id.into(), move_cost }
}

pub(crate) fn rod(id: &str, place: &str) -> Rod {
    Rod {
        id: id.into(),
        place: place.into(),
        pieces: 2,
        length_m: 2.2,
        handle: Handle::Spinning,
        ready: true,
    }
}

pub(crate) fn reel(id: &str, place: &str) -> Reel {
    Reel {
        id: id.into(),
        place: place.into(),
        kind: Handle::Spinning,
        ready: true,
        lines: vec![LineOption { id: "fitted".into(), stock: None, minutes: 0 }],
    }
}

pub(crate) fn lure(id: &str, quantity: u32) -> LureStock {
    LureStock { id: id.into(), place: "B1".into(), quantity }
}

pub(crate) fn need(segment: &str, lure: &str, importance: u32) -> Need {
    Need {
        segment: segment.into(),
        lure: lure.into(),
        importance,
        copies_at_once: 1,
        min_verdict: Verdict::Good,
    }
}

pub(crate) fn offer(need: usize, verdict: Verdict) -> Offer {
    Offer {
        need,
        leader: None,
        verdict,
        worth: Weights::default().of(verdict),
        preferred: false,
        score: match verdict {
            Verdict::Excellent => 0.9,
            Verdict::Good => 0.7,
            Verdict::Workable => 0.5,
            Verdict::Poor => 0.2,
            Verdict::Unsafe => 0.0,
        },
        limiting: "the load limits it".into(),
        skill: None,
        hands: Vec::new(),
    }
}

pub(crate) fn candidate(rod: &str, reel: &str, offers: Vec<Offer>) -> Candidate {
    Candidate {
        rod: rod.into(),
        reel: reel.into(),
        line: "fitted".into(),
        not_for: Vec::new(),
        habit: false,
        offers,
    }
}

pub(crate) fn empty(holders: u32) -> TripProblem {
    TripProblem {
        boat: Boat {
            place: "B1".into(),
            rod_holders: holders,
            rod_limit: None,
            max_rods_aboard: holders + 1,
            locker_length_m: Some(2.5),
        },
        places: vec![place("B1", 0), place("B2", 250_000), place("S0", 100_000)],
        rods: Vec::new(),
        reels: Vec::new(),
        leaders: Vec::new(),
        line_stock: Vec::new(),
        lures: Vec::new(),
        anglers: Vec::new(),
        segments: vec![Segment { id: "a".into(), anglers: Vec::new(), turns: Vec::new() }],
        needs: Vec::new(),
        candidates: Vec::new(),
        job_minutes_budget: 60,
        pins: Vec::new(),
    }
}

pub(crate) fn solve(problem: &TripProblem) -> Answer {
    plan_trip(problem, &Weights::default(), &Budget::default()).unwrap()
}

/// A plan that the checker has found sound.
pub(crate) fn sound(problem: &TripProblem, answer: Answer) -> TripPlan {
    let Answer::Plan(plan) = answer else { panic!("no plan: {answer:?}") };
    if let Err(wrong) = check(problem, &Weights::default(), &plan) {
        panic!("{wrong:?}\n{plan:?}");
    }
    *plan
}

/// How large a random problem is.
pub(crate) struct Size {
    pub(crate) rods: u64,
    pub(crate) reels: u64,
    pub(crate) lures: u64,
    pub(crate) anglers: u64,
}

/// A random problem of which nothing is impossible in itself.
pub(crate) fn random(seed: u64, size: &Size) -> TripProblem {
    let mut d = Dice(seed);
    let places = ["B1", "B1", "B2", "S0"];
    let any_place = |d: &mut Dice| places[d.roll(4) as usize].to_owned();
    let mut p = empty(1 + d.roll(4) as u32);
    if d.one_in(3) {
        p.boat.max_rods_aboard = 1 + d.roll(3) as u32;
    }
    p.job_minutes_budget = 5 * d.roll(3) as u32;
    for l in 0..2 {
        p.leaders.push(LeaderStock {
            id: format!("T{l}"),
            place: any_place(&mut d),
            quantity: d.roll(3) as u32,
            minutes: d.roll(2) as u32 * 4,
            is_ample: false,
        });
    }
    p.line_stock.push(LineStock { id: "K1".into(), place: any_place(&mut d), metres: 200 });
    for r in 0..1 + d.roll(size.rods) {
        let mut rod = rod(&format!("R{r}"), &any_place(&mut d));
        rod.ready = !d.one_in(8);
        rod.length_m = if d.one_in(8) { 5.2 } else { 2.2 };
        p.rods.push(rod);
    }
    for e in 0..1 + d.roll(size.reels) {
        let mut reel = reel(&format!("E{e}"), &any_place(&mut d));
        reel.ready = !d.one_in(8);
        if d.one_in(2) {
            let stock = Some(StockUse { stock: "K1".into(), metres: 120 });
            reel.lines.push(LineOption { id: "K1".into(), stock, minutes: 8 });
        }
        p.reels.push(reel);
    }
    for a in 0..d.roll(size.anglers + 1) {
        let skill = [Skill::Novice, Skill::Intermediate][d.roll(2) as usize];
        p.anglers.push(Angler { id: format!("A{a}"), skill });
    }
    p.segments.push(Segment { id: "b".into(), anglers: Vec::new(), turns: Vec::new() });
    for s in 0..2 {
        if d.one_in(2) {
            p.segments[s].anglers = p.anglers.iter().map(|a| a.id.clone()).collect();
        }
    }
    for l in 0..1 + d.roll(size.lures) {
        let mut stock = lure(&format!("L{l}"), d.roll(4) as u32);
        stock.place = any_place(&mut d);
        p.lures.push(stock);
        let segment = ["a", "b"][d.roll(2) as usize];
        let mut need = need(segment, &format!("L{l}"), 1 + d.roll(3) as u32);
        need.copies_at_once = 1 + d.roll(2) as u32 * d.roll(3) as u32;
        need.min_verdict = [Verdict::Good, Verdict::Workable][d.roll(2) as usize];
        p.needs.push(need);
    }
    let verdicts =
        [Verdict::Excellent, Verdict::Good, Verdict::Workable, Verdict::Poor, Verdict::Unsafe];
    for r in &p.rods {
        for e in &p.reels {
            for line in &e.lines {
                if d.one_in(5) {
                    continue;
                }
                let mut c = candidate(&r.id, &e.id, Vec::new());
                c.line = line.id.clone();
                if !p.anglers.is_empty() && d.one_in(5) {
                    c.not_for.push(p.anglers[0].id.clone());
                }
                for n in 0..p.needs.len() {
                    for leader in [None, Some("T0"), Some("T1")] {
                        if d.one_in(3) {
                            let verdict = verdicts[d.roll(5) as usize];
                            let mut o = offer(n, verdict);
                            o.leader = leader.map(str::to_owned);
                            if verdict < Verdict::Poor && d.one_in(4) {
                                o.worth -= 10_000 * d.roll(30) as i64;
                            }
                            c.offers.push(o);
                        }
                    }
                }
                p.candidates.push(c);
            }
        }
    }
    p
}

/// A random problem with four kinds of leaders, of some of which there are enough for all outfits, and
/// of which one often does what another one does.
pub(crate) fn with_leaders(seed: u64, size: &Size) -> TripProblem {
    let mut p = random(seed, size);
    let mut d = Dice(seed ^ 0x1ead);
    p.boat.rod_holders = p.boat.rod_holders.min(2);
    for l in 2..4 {
        let id = format!("T{l}");
        let place = ["B1", "B2", "S0"][d.roll(3) as usize].to_owned();
        let minutes = d.roll(2) as u32 * 4;
        p.leaders.push(LeaderStock { id, place, quantity: 0, minutes, is_ample: false });
    }
    p.leaders.iter_mut().for_each(|leader| leader.quantity = d.roll(4) as u32);
    let are_twins = d.one_in(2);
    for candidate in &mut p.candidates {
        for offer in candidate.offers.clone() {
            for l in 0..4 {
                let leader = Some(format!("T{l}"));
                let twin = Offer { leader, preferred: d.one_in(3), ..offer.clone() };
                let same = |o: &Offer| (o.need, &o.leader) == (twin.need, &twin.leader);
                if d.one_in(2) && !candidate.offers.iter().any(same) {
                    candidate.offers.push(twin);
                }
            }
        }
        if are_twins {
            candidate.offers.retain(|o| o.leader.as_deref() != Some("T3"));
            let of_twin = candidate.offers.iter().filter(|o| o.leader.as_deref() == Some("T2"));
            let offers: Vec<Offer> =
                of_twin.map(|o| Offer { leader: Some("T3".into()), ..o.clone() }).collect();
            candidate.offers.extend(offers);
        }
    }
    p
}

/// A random problem with a crew of several skills, in whose hands the outfits differ. Lures are few,
/// so that who starts with what matters.
pub(crate) fn mixed(seed: u64, size: &Size) -> TripProblem {
    let mut p = random(seed, size);
    let mut d = Dice(seed ^ 0xc4e3);
    let skills = [Skill::Novice, Skill::Intermediate, Skill::Expert];
    for angler in &mut p.anglers {
        angler.skill = skills[d.roll(3) as usize];
    }
    for segment in &mut p.segments {
        if !d.one_in(3) {
            segment.anglers = p.anglers.iter().map(|a| a.id.clone()).collect();
        }
    }
    for lure in &mut p.lures {
        lure.quantity = lure.quantity.min(1 + d.roll(2) as u32);
    }
    let verdicts =
        [Verdict::Excellent, Verdict::Good, Verdict::Workable, Verdict::Poor, Verdict::Unsafe];
    for offer in p.candidates.iter_mut().flat_map(|c| &mut c.offers) {
        let own = skills[d.roll(3) as usize];
        offer.skill = Some(own);
        for skill in skills.into_iter().filter(|skill| *skill != own) {
            let verdict = verdicts[d.roll(5) as usize];
            offer.hands.push(Hand { skill, verdict, score: common_score(verdict) });
        }
    }
    p
}

/// A random problem in a world in which each outfit is for each skill what it is, never worse in
/// more practised hands; planned for a crew.
pub(crate) fn in_the_hands_of(
    seed: u64,
    size: &Size,
    crew: &[(Skill, bool)],
    at_once: bool,
    most_copies: u32,
) -> TripProblem {
    let mut p = random(seed, &Size { anglers: 0, ..*size });
    p.needs.iter_mut().for_each(|n| n.copies_at_once = n.copies_at_once.min(most_copies));
    let mut d = Dice(seed ^ 0x4a2d);
    let id = |a: usize| format!("A{a}");
    p.anglers = (0..crew.len()).map(|a| Angler { id: id(a), skill: crew[a].0 }).collect();
    for segment in &mut p.segments {
        let anglers = (0..crew.len()).filter(|_| at_once).map(id);
        segment.anglers = anglers.collect();
    }
    let skills = [Skill::Novice, Skill::Intermediate, Skill::Expert];
    let verdicts =
        [Verdict::Excellent, Verdict::Good, Verdict::Workable, Verdict::Poor, Verdict::Unsafe];
    for candidate in &mut p.candidates {
        // Every other angler cranks on the other side.
        let one_side = d.one_in(4);
        let suits = |a: usize| !one_side || crew[a].1;
        candidate.not_for = (0..crew.len()).filter(|a| !suits(*a)).map(id).collect();
        for offer in &mut candidate.offers {
            let mut worst: Vec<usize> = (0..3).map(|_| d.roll(5) as usize).collect();
            worst.sort_unstable_by(|a, b| b.cmp(a));
            let verdict = |skill: Skill| verdicts[worst[skill as usize]];
            let hands: Vec<_> = (0..crew.len()).map(|a| (crew[a].0, suits(a))).collect();
            let copies = p.needs[offer.need].copies_at_once;
            let rank = |skill: Skill| std::cmp::Reverse(verdict(skill));
            let skill = judged_for(&hands, copies, rank);
            let own = skill.map_or(Verdict::Unsafe, verdict);
            (offer.skill, offer.verdict, offer.score) = (skill, own, common_score(own));
            offer.worth = Weights::default().of(own);
            let others = skills.into_iter().filter(|s| Some(*s) != skill);
            let hand = |skill| {
                let verdict = verdict(skill);
                Hand { skill, verdict, score: common_score(verdict) }
            };
            offer.hands = others.map(hand).collect();
        }
    }
    p
}

fn common_score(verdict: Verdict) -> f64 {
    offer(0, verdict).score
}

/// A random problem in which each second rod, reel and line is nearly the twin of the one before,
/// so that one often does all that another does.
pub(crate) fn twins(seed: u64, size: &Size) -> TripProblem {
    let mut p = random(seed, size);
    let mut d = Dice(seed ^ 0x5eed);
    let before = |id: &str| match id[1..].parse::<u32>() {
        Ok(number) => format!("{}{}", &id[..1], number - number % 2),
        Err(_) => id.to_owned(),
    };
    let models = p.candidates.clone();
    for candidate in &mut p.candidates {
        let (rod, reel) = (before(&candidate.rod), before(&candidate.reel));
        let model = models.iter().find(|m| (&m.rod, &m.reel) == (&rod, &reel));
        if let Some(model) = model {
            candidate.offers = model.offers.clone();
            candidate.offers.retain(|_| !d.one_in(12));
            for offer in &mut candidate.offers {
                if d.one_in(12) && !model.offers.iter().any(|o| o.need == offer.need && o != offer)
                {
                    offer.leader =
                        [None, Some("T0".into()), Some("T1".into())][d.roll(3) as usize].clone();
                }
            }
        }
    }
    p
}

/// A fleet in which rods, reels and lures have a strength, and verdicts fall with the distance.
/// Part of the reels can be re-spooled; the heavier lures need a leader. Invented.
pub(crate) fn fleet(seed: u64, rods: u64, reels: u64, lures: u64) -> TripProblem {
    let mut d = Dice(seed);
    let places = ["B1", "B1", "B2", "B2", "S0"];
    let mut p = empty(8);
    p.job_minutes_budget = 40;
    p.leaders = ["T1", "T2", "T3"]
        .map(|id| LeaderStock {
            id: id.into(),
            place: "B1".into(),
            quantity: 20,
            minutes: 4,
            is_ample: false,
        })
        .into();
    p.line_stock.push(LineStock { id: "K1".into(), place: "S0".into(), metres: 300 });
    p.anglers =
        ["A1", "A2", "A3"].map(|id| Angler { id: id.into(), skill: Skill::Intermediate }).into();
    p.segments.push(Segment { id: "b".into(), anglers: Vec::new(), turns: Vec::new() });
    for segment in &mut p.segments {
        segment.anglers = p.anglers.iter().map(|a| a.id.clone()).collect();
    }
    let mut power = Vec::new();
    for r in 0..rods {
        let mut rod = rod(&format!("R{r:03}"), places[d.roll(5) as usize]);
        power.push((r * 100 / rods) as i64);
        if r * 2 > rods {
            rod.handle = Handle::Casting;
        }
        p.rods.push(rod);
    }
    let mut line = Vec::new();
    for e in 0..reels {
        let mut reel = reel(&format!("E{e:03}"), places[d.roll(5) as usize]);
        line.push((e * 100 / reels) as i64);
        if e * 3 > reels * 2 {
            reel.kind = Handle::Casting;
        }
        if d.one_in(3) {
            let stock = Some(StockUse { stock: "K1".into(), metres: 150 });
            reel.lines.push(LineOption { id: "K1".into(), stock, minutes: 10 });
        }
        p.reels.push(reel);
    }
    let mut wants = Vec::new();
    for l in 0..lures {
        let mut stock = lure(&format!("L{l:03}"), 4);
        stock.place = places[d.roll(5) as usize].into();
        p.lures.push(stock);
        let segment = if l < lures / 3 { "a" } else { "b" };
        let mut need = need(segment, &format!("L{l:03}"), 1 + d.roll(3) as u32);
        need.copies_at_once = if d.one_in(5) { 2 } else { 1 };
        p.needs.push(need);
        wants.push(((l * 100 / lures) as i64, d.roll(30) as i64));
    }
    for (r, rod) in p.rods.iter().enumerate() {
        for (e, reel) in p.reels.iter().enumerate().filter(|(_, e)| e.kind == rod.handle) {
            for option in &reel.lines {
                let strength = if option.stock.is_some() { 50 } else { line[e] };
                let mut c = candidate(&rod.id, &reel.id, Vec::new());
                c.line = option.id.clone();
                for (n, (mass, style)) in wants.iter().enumerate() {
                    let off = (power[r] - mass).abs() * 2
                        + (strength - mass).abs()
                        + (r as i64 * 7 % 30 - style).abs();
                    let verdict = match off {
                        ..20 => Verdict::Excellent,
                        20..45 => Verdict::Good,
                        45..70 => Verdict::Workable,
                        70..100 => Verdict::Poor,
                        _ => Verdict::Unsafe,
                    };
                    let mut o = offer(n, verdict);
                    o.score = (1.0 - off as f64 / 200.0).clamp(0.0, 1.0);
                    o.leader = (*mass > 30).then(|| format!("T{}", 1 + mass / 35));
                    if verdict < Verdict::Poor && off % 3 == 0 {
                        o.worth -= 25_000 * (off % 5);
                    }
                    c.offers.push(o);
                }
                p.candidates.push(c);
            }
        }
    }
    p
}

/// What a plan takes from the pool.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Used {
    pub(crate) parts: BTreeSet<String>,
    pub(crate) leaders: Vec<u32>,
    pub(crate) metres: u32,
    /// By lure, whether it is there.
    pub(crate) lures: Vec<bool>,
}

type Visit<'v> = &'v mut dyn FnMut(Used, i64);

/// The best objective over all plans, counted one by one; none if no plan keeps the limits.
pub(crate) fn brute_force(p: &TripProblem) -> Option<i64> {
    let mut best = None;
    let away: Vec<_> = (0..p.lures.len()).filter(|l| p.lures[*l].place != "B1").collect();
    every_plan(p, &away, &mut |_, worth| best = best.max(Some(worth)));
    best
}

/// Shows every plan; the lures of `away` may be there or not.
pub(crate) fn every_plan(p: &TripProblem, away: &[usize], visit: Visit<'_>) {
    let room = p.boat.rod_holders.min(p.boat.max_rods_aboard) as usize;
    choose(p, 0, room, &mut Vec::new(), away, visit);
}

fn choose<'a>(
    p: &'a TripProblem,
    from: usize,
    room: usize,
    chosen: &mut Vec<&'a Candidate>,
    away: &[usize],
    visit: Visit<'_>,
) {
    leaders(p, chosen, away, visit);
    if chosen.len() == room {
        return;
    }
    for i in from..p.candidates.len() {
        let c = &p.candidates[i];
        let rod = p.rods.iter().find(|r| r.id == c.rod).unwrap();
        let reel = p.reels.iter().find(|r| r.id == c.reel).unwrap();
        let fits = rod.length_m / f64::from(rod.pieces) <= p.boat.locker_length_m.unwrap();
        let free = chosen.iter().all(|o| o.rod != c.rod && o.reel != c.reel);
        if rod.ready && reel.ready && fits && free {
            chosen.push(c);
            choose(p, i + 1, room, chosen, away, visit);
            chosen.pop();
        }
    }
}

fn leaders(p: &TripProblem, chosen: &[&Candidate], away: &[usize], visit: Visit<'_>) {
    let line = |c: &Candidate| {
        let reel = p.reels.iter().find(|r| r.id == c.reel).unwrap();
        reel.lines.iter().find(|l| l.id == c.line).unwrap().clone()
    };
    let metres: u32 = chosen.iter().filter_map(|c| line(c).stock).map(|s| s.metres).sum();
    if metres > p.line_stock.iter().map(|s| s.metres).sum() {
        return;
    }
    let pairs: Vec<_> =
        (0..chosen.len()).flat_map(|c| (0..p.leaders.len()).map(move |l| (c, l))).collect();
    for tied in 0..1_u32 << pairs.len() {
        let tied: BTreeSet<_> =
            (0..pairs.len()).filter(|i| tied >> i & 1 == 1).map(|i| pairs[i]).collect();
        let count = |l: usize| tied.iter().filter(|t| t.1 == l).count() as u32;
        if !(0..p.leaders.len()).all(|l| count(l) <= p.leaders[l].quantity) {
            continue;
        }
        for brought in 0..1_u32 << away.len() {
            let there =
                |l: usize| away.iter().position(|a| *a == l).is_none_or(|i| brought >> i & 1 == 1);
            let minutes: u32 = chosen.iter().map(|c| line(c).minutes).sum::<u32>()
                + tied.iter().map(|t| p.leaders[t.1].minutes).sum::<u32>();
            if let Some(worth) = worth(p, chosen, &tied, &there, minutes) {
                let parts = chosen.iter().flat_map(|c| [c.rod.clone(), c.reel.clone()]);
                let used = Used {
                    parts: parts.collect(),
                    leaders: (0..p.leaders.len()).map(count).collect(),
                    metres,
                    lures: (0..p.lures.len()).map(there).collect(),
                };
                visit(used, worth);
            }
        }
    }
}

fn cost(p: &TripProblem, place: &str) -> i64 {
    p.places.iter().find(|x| x.id == place).unwrap().move_cost
}

fn worth(
    p: &TripProblem,
    chosen: &[&Candidate],
    tied: &BTreeSet<(usize, usize)>,
    there: &dyn Fn(usize) -> bool,
    minutes: u32,
) -> Option<i64> {
    let mut total = 0;
    let pinned = |need: &Need| {
        let hold = Pin::Hold { segment: need.segment.clone(), lure: need.lure.clone() };
        p.pins.contains(&hold)
    };
    let usable = |c: usize, o: &Offer| {
        let lure = p.lures.iter().position(|l| l.id == p.needs[o.need].lure).unwrap();
        let leader =
            o.leader.as_ref().map(|id| p.leaders.iter().position(|l| l.id == *id).unwrap());
        o.verdict != Verdict::Unsafe
            && p.lures[lure].quantity > 0
            && there(lure)
            && leader.is_none_or(|l| tied.contains(&(c, l)))
    };
    for (n, need) in p.needs.iter().enumerate() {
        let quantity = p.lures.iter().find(|l| l.id == need.lure).unwrap().quantity;
        let mut worths = Vec::new();
        let mut meeting = 0;
        for (c, candidate) in chosen.iter().enumerate() {
            let offers = || candidate.offers.iter().filter(|o| o.need == n && usable(c, o));
            worths.extend(offers().map(|o| o.worth).max());
            meeting += u32::from(offers().any(|o| o.verdict <= need.min_verdict));
        }
        worths.sort_unstable_by(|a, b| b.cmp(a));
        let shares: Vec<f64> = match need.copies_at_once {
            1 => vec![0.92, 0.08],
            2 => vec![0.6, 0.4],
            k => [vec![0.6], vec![0.4 / f64::from(k - 1); k as usize - 1]].concat(),
        };
        let most = if quantity < need.copies_at_once { quantity as usize } else { shares.len() };
        for (share, worth) in shares.iter().zip(&worths).take(most) {
            total += (f64::from(need.importance) * share * *worth as f64).round() as i64;
        }
        let held = quantity >= need.copies_at_once && meeting >= need.copies_at_once;
        if pinned(need) && !held {
            return None;
        }
        if need.importance == 3 && !held {
            total -= 1_500_000;
        }
    }
    let mut moves = Vec::new();
    for c in chosen {
        moves.push((cost(p, &p.rods.iter().find(|r| r.id == c.rod).unwrap().place), 1));
        moves.push((cost(p, &p.reels.iter().find(|r| r.id == c.reel).unwrap().place), 1));
    }
    let respooled = chosen.iter().any(|c| c.line != "fitted");
    moves.extend(respooled.then(|| (cost(p, &p.line_stock[0].place), 10)));
    let leaders: BTreeSet<_> = tied.iter().map(|t| t.1).collect();
    moves.extend(leaders.iter().map(|l| (cost(p, &p.leaders[*l].place), 10)));
    let lures = p.lures.iter().enumerate().filter(|(l, _)| there(*l));
    moves.extend(lures.map(|(_, l)| (cost(p, &l.place), 10)));
    for (cost, part) in moves.into_iter().filter(|m| m.0 > 0) {
        total -= cost / part + 50;
    }
    total -= 30_000 * i64::from(minutes.saturating_sub(p.job_minutes_budget));
    total -= 1_000 * chosen.len() as i64;
    let everybody = p.segments.iter().all(|segment| {
        let options = |c: usize, angler: &str| -> Vec<usize> {
            let may = !chosen[c].not_for.iter().any(|a| a == angler);
            let skill = p.anglers.iter().find(|a| a.id == angler).unwrap().skill;
            let in_hands = |o: &Offer| {
                let own = o.hands.iter().find(|hand| hand.skill == skill);
                own.map_or(o.verdict, |hand| hand.verdict)
            };
            chosen[c]
                .offers
                .iter()
                .filter(|o| {
                    may && usable(c, o)
                        && p.needs[o.need].segment == segment.id
                        && (o.worth > 0 || o.verdict <= p.needs[o.need].min_verdict)
                        && in_hands(o) <= p.needs[o.need].min_verdict
                })
                .map(|o| o.need)
                .collect()
        };
        seats(p, &segment.anglers, chosen.len(), &options, &mut Vec::new())
    });
    everybody.then_some(total)
}

fn seats(
    p: &TripProblem,
    anglers: &[String],
    outfits: usize,
    options: &dyn Fn(usize, &str) -> Vec<usize>,
    taken: &mut Vec<(usize, usize)>,
) -> bool {
    let Some((angler, rest)) = anglers.split_first() else { return true };
    for c in (0..outfits).filter(|c| taken.iter().all(|t| t.0 != *c)).collect::<Vec<_>>() {
        for need in options(c, angler) {
            let fished = taken.iter().filter(|t| t.1 == need).count() as u32;
            let quantity = p.lures.iter().find(|l| l.id == p.needs[need].lure).unwrap().quantity;
            if fished < quantity {
                taken.push((c, need));
                let fine = seats(p, rest, outfits, options, taken);
                taken.pop();
                if fine {
                    return true;
                }
            }
        }
    }
    false
}

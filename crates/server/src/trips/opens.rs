//! What is said of a loss: what it opens, and which leaders have to be changed first on what steps in.

use deepbend_contract::{WireWord as _, pb};
use deepbend_core::gear::Word as _;
use deepbend_core::judge::Verdict;
use deepbend_planner::plan::{NeedCover, Role, Use};
use deepbend_planner::problem::{MUST, Offer};
use deepbend_planner::weights::{Micros, SHOWN, in_words};

use super::answer::count;
use super::hands::{Hands, Tally, Unfished};
use super::jobs::Rigged;

/// A leader that has to be changed on an outfit before it can step in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Change<'p> {
    outfit: usize,
    leader: Option<&'p str>,
    /// What is on it then.
    off: Option<&'p str>,
}

impl Hands<'_, '_> {
    /// Leaders that have to be changed first on what steps in for lost uses, in words, and the minutes
    /// that it takes. What does as well with a leader that it carries then needs no change.
    pub(super) fn changes(
        &self,
        rigged: &Rigged<'_>,
        lost: &dyn Fn(&NeedCover, &Use) -> bool,
    ) -> (String, i32) {
        let mut list: Vec<(Change<'_>, Vec<&str>)> = Vec::new();
        let mut minutes = 0;
        for cover in &self.plan.coverage {
            let Some(at) = self.judge.need(&cover.segment, &cover.lure) else { continue };
            let fished = cover.uses.iter().filter(|used| used.role == Role::Fishes);
            let steps_in = match fished.clone().any(|used| lost(cover, used)) {
                true => fished.count(),
                false => 0,
            };
            for used in cover.uses.iter().filter(|used| !lost(cover, used)).take(steps_in) {
                let leader = used.leader.as_deref();
                let takes = rigged.change_minutes(used.outfit, &cover.segment, leader);
                let carried = rigged.carried(used.outfit, &cover.segment);
                let does_as_well = |offer: &Offer| {
                    offer.need == at
                        && offer.verdict <= used.verdict
                        && carried.contains(&offer.leader.as_deref())
                };
                let offers = self.candidate(used.outfit).into_iter().flat_map(|c| &c.offers);
                if takes == 0 || offers.into_iter().any(does_as_well) {
                    continue;
                }
                let change =
                    Change { outfit: used.outfit, leader, off: carried.first().copied().flatten() };
                let segment = cover.segment.as_str();
                match list.iter_mut().find(|(known, _)| *known == change) {
                    Some((_, segments)) if segments.contains(&segment) => continue,
                    Some((_, segments)) => segments.push(segment),
                    None => list.push((change, vec![segment])),
                }
                minutes += takes;
            }
        }
        if list.is_empty() {
            return (String::new(), 0);
        }
        let one = |(change, segments): &(Change<'_>, Vec<&str>)| {
            let rod = &self.plan.outfits[change.outfit].rod;
            let what = match (change.leader, change.off) {
                (Some(leader), _) => format!("{leader} tied to {rod}"),
                (None, off) => format!("{} taken off {rod}", off.unwrap_or("the leader")),
            };
            what + &self.in_segments(segments)
        };
        let what: Vec<String> = list.iter().map(one).collect();
        (format!(", with {} first ({minutes} min)", what.join(" and ")), minutes)
    }

    /// " in segment a and b", if the trip has more than one.
    fn in_segments(&self, segments: &[&str]) -> String {
        match self.problem.segments.len() {
            ..=1 => String::new(),
            _ => format!(" in segment {}", segments.join(" and ")),
        }
    }

    /// Anglers who are left without an outfit, needs that open and lures that are fished no more, in
    /// words, each segment named once for what is the same in it.
    pub(super) fn opens_text(&self, tally: &Tally, short: &[pb::ShortCrew], none: &str) -> String {
        let opens = tally.opens.iter().map(|c| (opened_text(c), c.segment_id.as_str()));
        let unfished = tally.unfished.iter().map(|u| (unfished_text(u), u.segment.as_str()));
        // By text, then by the segments in which it holds.
        let mut texts: Vec<(String, Vec<&str>)> = Vec::new();
        for (text, segment) in opens.chain(unfished) {
            match texts.iter_mut().find(|(known, _)| *known == text) {
                Some((_, segments)) => segments.push(segment),
                None => texts.push((text, vec![segment])),
            }
        }
        let order = |id: &&str| self.problem.segments.iter().position(|part| part.id == **id);
        let mut parts: Vec<(Vec<&str>, Vec<String>)> = Vec::new();
        for (text, mut segments) in texts {
            segments.sort_by_key(order);
            segments.dedup();
            match parts.iter_mut().find(|(known, _)| *known == segments) {
                Some((_, texts)) => texts.push(text),
                None => parts.push((segments, vec![text])),
            }
        }
        let part = |(segments, texts): &(Vec<&str>, Vec<String>)| {
            texts.join(", ") + &self.in_segments(segments)
        };
        let all: Vec<String> =
            short_texts(short).into_iter().chain(parts.iter().map(part)).collect();
        if all.is_empty() { none.to_owned() } else { all.join("; ") }
    }
}

/// Where no lure opens: what the plan loses.
pub(super) fn worth_less(cost: Micros) -> String {
    match cost < SHOWN {
        true => "no lure opens, and the plan is worth no less".to_owned(),
        false => format!("no lure opens, but the plan is worth {} less", in_words(cost)),
    }
}

/// Anglers who are left without an outfit, in words: crews that are short of as many together.
fn short_texts(short: &[pb::ShortCrew]) -> Vec<String> {
    let mut crews: Vec<((i32, i32), Vec<&str>)> = Vec::new();
    for crew in short {
        let counts = (crew.angler_count, crew.seated_count);
        match crews.iter_mut().find(|(known, _)| *known == counts) {
            Some((_, segments)) => segments.push(&crew.segment_id),
            None => crews.push((counts, vec![&crew.segment_id])),
        }
    }
    let text = |((all, seated), segments): &((i32, i32), Vec<&str>)| {
        let seated = match seated {
            0 => "none".to_owned(),
            some => format!("only {some}"),
        };
        match all {
            1 => {
                let segments = segments.join(" and of segment ");
                format!("the angler of segment {segments} has no outfit")
            }
            _ => {
                let segments = segments.join(" and in segment ");
                format!("{seated} of {all} anglers can fish at once in segment {segments}")
            }
        }
    };
    crews.iter().map(text).collect()
}

fn must(importance: i32) -> &'static str {
    if importance == count(MUST) { " (a must)" } else { "" }
}

/// What opens, in words.
fn opened_text(change: &pb::NeedChange) -> String {
    let (lure, must) = (&change.lure_id, must(change.importance));
    let verdict = pb::Verdict::try_from(change.after).unwrap_or_default();
    let now = Verdict::from_wire_word(verdict).map_or("nothing", |v| v.as_word());
    match (change.copy_after_count, change.copy_count) {
        (_, 0) if change.after == 0 => format!("nothing fishes {lure}{must}"),
        (_, 0) => format!("{lure}{must} falls to {now}"),
        (left, of) => format!("{lure}{must}: {left} of {of} copies left"),
    }
}

fn unfished_text(unfished: &Unfished) -> String {
    format!("nothing fishes {} any more{}", unfished.lure, must(count(unfished.importance)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: rounding by hand.
    #[test]
    fn a_loss_that_rounds_to_nothing_is_no_number() {
        assert!(worth_less(4_999).ends_with("is worth no less"));
        assert!(worth_less(5_000).ends_with("is worth 0.01 less"));
    }
}

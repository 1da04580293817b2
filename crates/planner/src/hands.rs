//! In whose hands an outfit counts for a need.
//!
//! In a guided boat the rod goes to whoever can use it. A need for so many copies at once is worth
//! what the outfit does in the hands of as many anglers who do best with it: it counts as in those
//! of the last of them. Whoever joins the crew, or gets better, moves that place up and never down,
//! as long as there are as many anglers as copies; with fewer the one who does worst with it counts.

use deepbend_core::water::Skill;

/// The skill in whose hands an outfit counts, of a crew given by skill and whether the outfit suits
/// at all. A larger rank is a better result; of equal ones the more practised hand comes first.
///
/// Where it suits none of those who do best with it, it counts as for the best whom it suits.
/// `None`: it suits nobody.
#[must_use]
pub fn judged_for<K: Ord>(
    crew: &[(Skill, bool)],
    copies: u32,
    rank: impl Fn(Skill) -> K,
) -> Option<Skill> {
    let mut best: Vec<_> =
        crew.iter().map(|(skill, suits)| (rank(*skill), *skill, *suits)).collect();
    best.sort_by(|a, b| (&b.0, b.1, b.2).cmp(&(&a.0, a.1, a.2)));
    let last = (copies.max(1) as usize).min(best.len()).checked_sub(1)?;
    let first = best.iter().position(|(.., suits)| *suits)?;
    Some(best[last.max(first)].1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Skill::{Expert, Intermediate, Novice};

    fn of(crew: &[Skill], copies: u32) -> Option<Skill> {
        let crew: Vec<_> = crew.iter().map(|skill| (*skill, true)).collect();
        judged_for(&crew, copies, |skill| skill)
    }

    // Source: counted by hand.
    #[test]
    fn as_many_copies_as_there_are_good_hands() {
        assert_eq!(of(&[Novice, Expert], 1), Some(Expert));
        assert_eq!(of(&[Novice, Expert], 2), Some(Novice));
        assert_eq!(of(&[Novice, Expert, Intermediate, Expert], 2), Some(Expert));
        assert_eq!(of(&[Novice, Expert, Intermediate], 2), Some(Intermediate));
        assert_eq!(of(&[Intermediate], 3), Some(Intermediate));
        assert_eq!(of(&[], 1), None);
    }

    // Source: counted by hand.
    #[test]
    fn an_outfit_that_suits_few_counts_as_for_them() {
        let one = |crew: &[(Skill, bool)]| judged_for(crew, 1, |skill| skill);
        assert_eq!(one(&[(Novice, true), (Expert, false)]), Some(Novice));
        assert_eq!(one(&[(Novice, false), (Expert, false)]), None);
        assert_eq!(one(&[(Expert, true), (Expert, false)]), Some(Expert));
        // Two who do best, and it suits one of them.
        let crew = [(Novice, true), (Intermediate, true), (Expert, false)];
        assert_eq!(judged_for(&crew, 2, |skill| skill), Some(Intermediate));
    }

    // Source: the rule itself, over all crews of up to four and all results in three hands.
    #[test]
    fn whoever_joins_or_gets_better_takes_nothing_away() {
        let skills = [Novice, Intermediate, Expert];
        let mut crews: Vec<Vec<(Skill, bool)>> = vec![Vec::new()];
        let all: Vec<_> = skills.iter().flat_map(|s| [(*s, true), (*s, false)]).collect();
        for at in 0.. {
            let Some(crew) = crews.get(at).filter(|crew| crew.len() < 3).cloned() else { break };
            crews.extend(all.iter().map(|one| [&crew[..], &[*one]].concat()));
        }
        for code in 0..27_u32 {
            let result = |skill: Skill| code / 3_u32.pow(skill as u32) % 3;
            for (crew, copies) in crews.iter().flat_map(|c| (1..=3).map(move |k| (c, k))) {
                let worth = |crew: &[(Skill, bool)]| {
                    judged_for(crew, copies, result).map_or(0, |skill| result(skill) + 1)
                };
                if crew.len() < copies as usize {
                    continue;
                }
                for joins in &all {
                    let more = [&crew[..], &[*joins]].concat();
                    assert!(worth(&more) >= worth(crew), "{code} {copies} {crew:?} {joins:?}");
                }
                for (at, one) in crew.iter().enumerate() {
                    let better = all.iter().filter(|b| b.1 == one.1 && result(b.0) > result(one.0));
                    for practised in better {
                        let mut more = crew.clone();
                        more[at] = *practised;
                        assert!(worth(&more) >= worth(crew), "{code} {copies} {crew:?}");
                    }
                }
            }
        }
    }
}

//! Every number of the plan's objective, in one place, in millionths of value.
//!
//! One value is what an excellent outfit for a lure of importance 1 is worth, backup included.

use deepbend_core::judge::Verdict;

/// Millionths of value.
pub type Micros = i64;

/// One value in millionths.
pub const ONE: Micros = 1_000_000;

/// Less than this would read 0.00.
pub const SHOWN: Micros = 5_000;

/// What is bought for a season is worth naming if it adds one part in so many of what the season could
/// be worth at best. From memory: a rod that lifts one lure in two hundred stays in the shop.
pub const WORTH_BUYING: Micros = 200;

/// What something adds, in words: "0.25", or "next to nothing".
#[must_use]
pub fn in_words(amount: Micros) -> String {
    match amount < SHOWN {
        true => "next to nothing".to_owned(),
        false => format!("{:.2}", amount as f64 / ONE as f64),
    }
}

/// The numbers of the objective. Source of all of them, unless stated: from memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weights {
    /// Worth of an excellent outfit.
    pub excellent: Micros,
    /// Worth of a good outfit.
    pub good: Micros,
    /// Worth of a workable outfit; poor and unsafe ones are worth nothing.
    pub workable: Micros,
    /// Share of the second-best outfit where one copy of a lure is fished: a rod breaks on about
    /// one day in a hundred, and a lure that is lost to a snag takes its leader along.
    pub backup_share: Micros,
    /// Share of all outfits but the best where several copies are fished at once.
    pub copies_share: Micros,
    /// Loss for each must below its verdict, to be multiplied by the importance.
    pub shortfall: Micros,
    /// Loss for each minute of jobs over the budget.
    pub job_minute: Micros,
    /// What it takes to move a lure, a leader or a spool, as a share of moving a rod or a reel.
    pub small_item_share: Micros,
    /// What an outfit must at least bring; settles ties for fewer outfits. Common practice, no
    /// source: what does not earn its place stays ashore.
    pub outfit_tie: Micros,
    /// What a move must at least bring; settles ties for fewer moves.
    pub move_tie: Micros,
    /// Pieces of each leader and each lure that travel beyond those in use, if there are any.
    pub spares: u32,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            excellent: ONE,
            good: 850_000,
            workable: 500_000,
            backup_share: 80_000,
            copies_share: 400_000,
            shortfall: 500_000,
            job_minute: 30_000,
            small_item_share: 100_000,
            outfit_tie: 1_000,
            move_tie: 50,
            spares: 1,
        }
    }
}

impl Weights {
    /// Worth of a verdict.
    #[must_use]
    pub fn of(&self, verdict: Verdict) -> Micros {
        match verdict {
            Verdict::Excellent => self.excellent,
            Verdict::Good => self.good,
            Verdict::Workable => self.workable,
            Verdict::Poor | Verdict::Unsafe => 0,
        }
    }

    /// Worth of verdicts that hold for shares of the time, for example with the wind from ahead,
    /// abeam and astern. The shares are taken in proportion to their sum; shares that are not
    /// finite or not above 0 are left out.
    #[must_use]
    pub fn mean(&self, parts: &[(f64, Verdict)]) -> Micros {
        let parts: Vec<_> = parts.iter().filter(|(s, _)| s.is_finite() && *s > 0.0).collect();
        let total: f64 = parts.iter().map(|(share, _)| share).sum();
        if total <= 0.0 {
            return 0;
        }
        let sum: f64 = parts.iter().map(|(share, v)| share * self.of(*v) as f64).sum();
        (sum / total).round() as Micros
    }

    /// Shares of the best, second-best, ... distinct outfit of a need, best first.
    #[must_use]
    pub fn shares(&self, copies_at_once: u32) -> Vec<Micros> {
        if copies_at_once <= 1 {
            return vec![ONE - self.backup_share, self.backup_share];
        }
        let others = Micros::from(copies_at_once - 1);
        let mut shares = vec![ONE - self.copies_share];
        shares.extend((0..others).map(|_| self.copies_share / others));
        shares
    }

    /// What the outfit at a rank brings: importance times share times its worth.
    #[must_use]
    pub fn term(&self, importance: u32, share: Micros, worth: Micros) -> Micros {
        (Micros::from(importance) * share * worth + ONE / 2) / ONE
    }

    /// Cost of moving a lure, a leader or a spool from a place that costs `place`.
    #[must_use]
    pub fn small_item(&self, place: Micros) -> Micros {
        place * self.small_item_share / ONE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Trip planning rules of the project: backup share 0.08, 0.4 when two are fished at once.
    #[test]
    fn shares_add_up_and_fall() {
        let w = Weights::default();
        assert_eq!(w.shares(1), [920_000, 80_000]);
        assert_eq!(w.shares(2), [600_000, 400_000]);
        for copies in 1..8 {
            let shares = w.shares(copies);
            assert!(shares.windows(2).all(|p| p[0] >= p[1]));
            assert!((ONE - shares.iter().sum::<Micros>()).abs() < 8);
        }
    }

    // Source: rounding by hand.
    #[test]
    fn what_rounds_to_nothing_is_said_in_words() {
        assert_eq!([0, 4_999].map(in_words), ["next to nothing"; 2]);
        assert_eq!([5_000, 250_000, 1_400_000].map(in_words), ["0.01", "0.25", "1.40"]);
    }

    #[test]
    fn mean_over_wind_directions() {
        let w = Weights::default();
        let parts =
            [(0.5, Verdict::Excellent), (0.5, Verdict::Workable), (f64::NAN, Verdict::Poor)];
        assert_eq!(w.mean(&parts), 750_000);
        assert_eq!(w.mean(&[]), 0);
    }
}

//! What a plan is made from: the pool, the boat, the lures to be covered, the judged options.

use deepbend_core::gear::Handle;
use deepbend_core::judge::Verdict;
use deepbend_core::quantity::words::ROD_METRES;
use deepbend_core::water::Skill;
use std::borrow::Cow;

use crate::plan::ItemKind;
use crate::weights::Micros;

/// One trip of one boat, with everything that may be taken. The order of the lists does not
/// matter.
#[derive(Clone, Debug, PartialEq)]
pub struct TripProblem {
    /// The boat that goes out.
    pub boat: Boat,
    /// Where gear of the pool lies, the boat's own place included.
    pub places: Vec<Place>,
    /// Rods of the pool.
    pub rods: Vec<Rod>,
    /// Reels of the pool.
    pub reels: Vec<Reel>,
    /// Leaders that can be tied on.
    pub leaders: Vec<LeaderStock>,
    /// Line for re-spooling.
    pub line_stock: Vec<LineStock>,
    /// Lures of the pool.
    pub lures: Vec<LureStock>,
    /// People who fish.
    pub anglers: Vec<Angler>,
    /// Parts of the day.
    pub segments: Vec<Segment>,
    /// What is to be fished.
    pub needs: Vec<Need>,
    /// Outfits that can be put together, with what each offers.
    pub candidates: Vec<Candidate>,
    /// Minutes of jobs that cost nothing: all re-spooling and all leaders, also those that are tied
    /// at a change of segment only.
    pub job_minutes_budget: u32,
    /// What is settled beforehand.
    pub pins: Vec<Pin>,
}

/// Something that is settled before the plan is made, by name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pin {
    /// This boat has to take the item.
    Take {
        /// Rod or reel.
        kind: ItemKind,
        /// Its id.
        id: String,
    },
    /// This boat may not take the item.
    Leave {
        /// Rod or reel.
        kind: ItemKind,
        /// Its id.
        id: String,
    },
    /// If either is taken, the reel is on the rod.
    Pair {
        /// Id of the rod.
        rod: String,
        /// Id of the reel.
        reel: String,
    },
    /// The need has to reach its verdict in all copies, for example since the boat is not to be
    /// stripped of it by another one.
    Hold {
        /// The segment.
        segment: String,
        /// The lure.
        lure: String,
    },
}

impl Pin {
    /// Whether the pin lets a rod and a reel go together aboard.
    #[must_use]
    pub fn allows(&self, rod: &str, reel: &str) -> bool {
        match self {
            Self::Leave { kind, id } => {
                let part = if *kind == ItemKind::Rod { rod } else { reel };
                part != id
            }
            Self::Pair { rod: r, reel: e } => (rod == r) == (reel == e),
            Self::Take { .. } | Self::Hold { .. } => true,
        }
    }
}

/// Why an outfit cannot come along at all.
#[derive(Clone, Debug, PartialEq)]
pub enum Barred {
    /// This rod or reel is not ready to be issued.
    NotReady(String),
    /// The rod is longer than the locker: its name, its packed length and the locker's, in metres.
    TooLong(String, f64, f64),
    /// This rod or reel is to stay ashore, by a pin.
    Ashore(String),
    /// A rod that a pin puts together with this reel and no other, or the other way round.
    Paired(String, String),
    /// There is too little of the line that goes onto the reel.
    TooLittleLine(String),
}

impl Barred {
    /// In words, to follow "but": "R17 is not ready".
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::NotReady(part) => format!("{part} is not ready"),
            Self::TooLong(rod, packed, locker) => {
                let [is, takes] = [packed, locker].map(|m| ROD_METRES.one(*m));
                format!("{rod} packed is {is} long and the locker takes {takes}")
            }
            Self::Ashore(part) => format!("{part} is to stay ashore"),
            Self::Paired(rod, reel) => format!("{rod} is to carry {reel} and nothing else"),
            Self::TooLittleLine(stock) => format!("there is too little line of {stock}"),
        }
    }
}

impl TripProblem {
    /// The same without its candidates.
    pub(crate) fn bare(&self) -> Self {
        Self {
            boat: self.boat.clone(),
            places: self.places.clone(),
            rods: self.rods.clone(),
            reels: self.reels.clone(),
            leaders: self.leaders.clone(),
            line_stock: self.line_stock.clone(),
            lures: self.lures.clone(),
            anglers: self.anglers.clone(),
            segments: self.segments.clone(),
            needs: self.needs.clone(),
            candidates: Vec::new(),
            job_minutes_budget: self.job_minutes_budget,
            pins: self.pins.clone(),
        }
    }

    /// Why an outfit cannot come along, whatever else does; `None`: it can, or it is none of this
    /// problem.
    #[must_use]
    pub fn barred(&self, candidate: &Candidate) -> Option<Barred> {
        let rod = self.rods.iter().find(|rod| rod.id == candidate.rod)?;
        let reel = self.reels.iter().find(|reel| reel.id == candidate.reel)?;
        if let Some(locker) = self.boat.locker_length_m.filter(|m| rod.packed_length_m() > *m) {
            return Some(Barred::TooLong(rod.id.clone(), rod.packed_length_m(), locker));
        }
        let pin = self.pins.iter().find(|pin| !pin.allows(&rod.id, &reel.id));
        if let Some(pin) = pin {
            return match pin {
                Pin::Leave { id, .. } => Some(Barred::Ashore(id.clone())),
                Pin::Pair { rod, reel } => Some(Barred::Paired(rod.clone(), reel.clone())),
                Pin::Take { .. } | Pin::Hold { .. } => None,
            };
        }
        let parts = [(&rod.id, rod.ready), (&reel.id, reel.ready)];
        if let Some((part, _)) = parts.into_iter().find(|(_, ready)| !ready) {
            return Some(Barred::NotReady(part.clone()));
        }
        let line = reel.lines.iter().find(|line| line.id == candidate.line)?;
        let needed = line.stock.as_ref()?;
        let held = self.line_stock.iter().find(|stock| stock.id == needed.stock);
        let enough = held.is_some_and(|stock| stock.metres >= needed.metres);
        (!enough).then(|| Barred::TooLittleLine(needed.stock.clone()))
    }
}

/// Limits of a boat.
#[derive(Clone, Debug, PartialEq)]
pub struct Boat {
    /// Its place in [`TripProblem::places`].
    pub place: String,
    /// Rod holders.
    pub rod_holders: u32,
    /// Rods that may be aboard at all.
    pub max_rods_aboard: u32,
    /// Rods that the trip allows, whatever else would fit; none: it does not say.
    pub rod_limit: Option<u32>,
    /// Length of the rod locker in metres; none: no rod is too long.
    pub locker_length_m: Option<f64>,
}

impl Boat {
    /// Rods that have room aboard.
    fn room(&self) -> u32 {
        self.rod_holders.min(self.max_rods_aboard)
    }

    /// Rods that a plan may take.
    #[must_use]
    pub fn most_rods(&self) -> u32 {
        self.rod_limit.map_or(self.room(), |limit| limit.min(self.room()))
    }

    /// Whether it is the trip, not the boat, that allows no more.
    #[must_use]
    pub fn trip_binds(&self) -> bool {
        self.most_rods() < self.room()
    }
}

/// A place where gear lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Its id.
    pub id: String,
    /// Cost of bringing one rod or reel from there: about 250 000 from another boat, 100 000 from
    /// a shed, 0 from the boat itself (from memory).
    pub move_cost: Micros,
}

/// A rod.
#[derive(Clone, Debug, PartialEq)]
pub struct Rod {
    /// Its id.
    pub id: String,
    /// Where it lies.
    pub place: String,
    /// Pieces it comes apart into, 1 or more.
    pub pieces: u32,
    /// Length when put together, in metres.
    pub length_m: f64,
    /// Kind of reel that it takes.
    pub handle: Handle,
    /// Whether it may be issued.
    pub ready: bool,
}

impl Rod {
    /// Length of its longest piece, pieces being equal, in metres.
    #[must_use]
    pub fn packed_length_m(&self) -> f64 {
        self.length_m / f64::from(self.pieces.max(1))
    }
}

/// A reel.
#[derive(Clone, Debug, PartialEq)]
pub struct Reel {
    /// Its id.
    pub id: String,
    /// Where it lies.
    pub place: String,
    /// Kind of rod that takes it.
    pub kind: Handle,
    /// Whether it may be issued.
    pub ready: bool,
    /// Lines that it can carry; it carries one of them.
    pub lines: Vec<LineOption>,
}

/// A line on a reel, or one that can be put on before departure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineOption {
    /// Its id, unique for the reel, for example `fitted` or the id of the stock.
    pub id: String,
    /// The stock it is taken from; none for the line on the reel.
    pub stock: Option<StockUse>,
    /// Minutes of work.
    pub minutes: u32,
}

/// What a re-spool takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockUse {
    /// Id of the line stock.
    pub stock: String,
    /// Metres that go onto the reel.
    pub metres: u32,
}

/// Line for re-spooling.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineStock {
    /// Its id.
    pub id: String,
    /// Where it lies.
    pub place: String,
    /// Metres left.
    pub metres: u32,
}

/// Leaders of one kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeaderStock {
    /// Its id.
    pub id: String,
    /// Where they lie.
    pub place: String,
    /// Leaders that are there or can be cut.
    pub quantity: u32,
    /// Minutes to tie one on.
    pub minutes: u32,
    /// Whether there are enough of them for all outfits of the boat: then the offers may leave out what
    /// another leader does no better. Where several boats together want more than there are, the bound
    /// counts as if there were enough.
    pub is_ample: bool,
}

/// Lures of one kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LureStock {
    /// Its id.
    pub id: String,
    /// Where they lie.
    pub place: String,
    /// How many there are.
    pub quantity: u32,
}

/// Somebody who fishes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Angler {
    /// A name that is unique for the trip.
    pub id: String,
    /// How skilled; the least skilled chooses first.
    pub skill: Skill,
}

/// A part of the day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segment {
    /// Its id.
    pub id: String,
    /// Ids of the anglers who fish at once: each must have an outfit and a lure of this segment.
    pub anglers: Vec<String>,
    /// Ids of those who take turns with them: what they do well with counts, but nothing has to be
    /// there for them.
    pub turns: Vec<String>,
}

/// A lure to be fished in a segment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Need {
    /// The segment.
    pub segment: String,
    /// The lure.
    pub lure: String,
    /// 1 nice, 2 wanted, 3 a must.
    pub importance: u32,
    /// Copies fished at the same time, each on its own outfit.
    pub copies_at_once: u32,
    /// An outfit below this does not cover the lure. Workable or better.
    pub min_verdict: Verdict,
}

/// The importance of a must.
pub const MUST: u32 = 3;

impl Need {
    /// Whether an offer of this verdict covers the lure.
    #[must_use]
    pub fn met_by(&self, verdict: Verdict) -> bool {
        verdict <= self.min_verdict
    }
}

/// A rod, a reel and a line that fit together, judged by the caller.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Id of the rod.
    pub rod: String,
    /// Id of the reel.
    pub reel: String,
    /// Id of the line option of that reel.
    pub line: String,
    /// Ids of the anglers who cannot use it whatever they fish: the crank is on the wrong side.
    pub not_for: Vec<String>,
    /// Whether the reel is on the rod by habit: it was rigged so last. Settles ties.
    pub habit: bool,
    /// What it offers; a need that is absent cannot be fished with it.
    pub offers: Vec<Offer>,
}

/// How an outfit with a leader suits a need.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// Position in [`TripProblem::needs`].
    pub need: usize,
    /// Id of the leader; none: the main line is tied to the lure. Several offers of one outfit
    /// for one need differ in the leader.
    pub leader: Option<String>,
    /// The skill of those in whose hands it counts, by [`judged_for`](crate::hands::judged_for);
    /// verdict, worth and score are theirs. `None`: nobody said who fishes.
    pub skill: Option<Skill>,
    /// What it is in the hands of others who fish in the segment, each skill once; whoever is not
    /// named has the verdict of the offer.
    pub hands: Vec<Hand>,
    /// The verdict; an unsafe offer is never used.
    pub verdict: Verdict,
    /// What it is worth, 0 to 1 000 000: [`crate::Weights::of`] the verdict, or
    /// [`crate::Weights::mean`] over wind directions.
    pub worth: Micros,
    /// Whether it is the one that is used where other leaders on the outfit are worth the same for the
    /// need.
    pub preferred: bool,
    /// The score, 0 to 1; orders offers of equal worth.
    pub score: f64,
    /// What limits it, one plain sentence.
    pub limiting: Cow<'static, str>,
}

impl Offer {
    /// The skill in whose hands it counts, where others do not do the same with it.
    #[must_use]
    pub fn counts_for(&self) -> Option<Skill> {
        self.skill.filter(|_| !self.hands.is_empty())
    }

    /// Verdict and score in the hands of somebody as practised as this.
    #[must_use]
    pub fn in_hands(&self, skill: Skill) -> (Verdict, f64) {
        let own = self.hands.iter().find(|hand| hand.skill == skill);
        own.map_or((self.verdict, self.score), |hand| (hand.verdict, hand.score))
    }
}

/// What an outfit is for a need in the hands of somebody more or less practised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// How practised.
    pub skill: Skill,
    /// The verdict.
    pub verdict: Verdict,
    /// The score, 0 to 1.
    pub score: f64,
}

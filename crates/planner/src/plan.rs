//! What a caller gets: one plan, whole.

use deepbend_core::judge::Verdict;
use deepbend_core::water::Skill;

use crate::problem::Pin;
use crate::watch;
use crate::weights::Micros;

/// How good the plan is known to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// No plan is better.
    Optimal,
    /// The work budget ended first; the bound says how much better a plan could be.
    Feasible,
}

/// What the solver answers.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// A plan.
    Plan(Box<TripPlan>),
    /// No plan keeps all limits.
    Infeasible(Clash),
    /// The work budget ended before a plan that keeps all limits was found.
    NotFound {
        /// No plan is worth more than this, in millionths.
        bound: Micros,
        /// Whether the clock or the caller ended the search; another run may end elsewhere.
        cut: bool,
    },
}

/// A limit that can make a trip impossible.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Constraint {
    /// Each angler of the segment fishes at once.
    AnglersAtOnce {
        /// The boat, by its place.
        boat: String,
        /// The segment.
        segment: String,
    },
    /// Rods in holders and aboard.
    RodLimit,
    /// Rods must fit the locker.
    Locker,
    /// One rod carries one reel and one reel is on one rod.
    OneReelPerRod,
    /// Only ready items may be taken.
    ReadyItems,
    /// An offer must reach the verdict that the need asks for.
    MinVerdict,
    /// An offer with a broken limit is never used.
    NoUnsafe,
    /// Each outfit suits the angler who uses it.
    AnglerSuits,
    /// There are only so many lures.
    LureStock,
    /// There are only so many leaders.
    LeaderStock,
    /// There is only so much line.
    LineStock,
    /// What was settled beforehand.
    Pinned {
        /// The boat, by its place.
        boat: String,
        /// The pin.
        pin: Pin,
    },
}

/// A small set of limits that cannot be kept together, whatever else is lifted; without any one
/// of them there is a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The limits.
    pub constraints: Vec<Constraint>,
    /// One plain sentence.
    pub text: String,
}

/// The worth of a plan and its parts, in millionths; costs are counted as positive numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Value {
    /// Worth of all lures covered.
    pub coverage: Micros,
    /// Musts below their verdict.
    pub shortfall: Micros,
    /// Moves.
    pub moves: Micros,
    /// Minutes of jobs over the budget.
    pub overtime: Micros,
    /// What settles ties: a little for each outfit and each move.
    pub ties: Micros,
}

impl Value {
    /// What the solver makes as large as possible.
    #[must_use]
    pub fn objective(&self) -> Micros {
        self.coverage - self.shortfall - self.moves - self.overtime - self.ties
    }
}

/// Counts for a first look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Needs that are covered at their verdict in all copies.
    pub covered: u32,
    /// All needs.
    pub needs: u32,
    /// Outfits taken.
    pub outfits: u32,
    /// Outfits that fit on the boat.
    pub outfit_limit: u32,
    /// Items and stocks to be moved.
    pub moves: u32,
    /// Minutes of all jobs.
    pub job_minutes: u32,
    /// Candidates that were considered.
    pub candidates: u32,
    /// Nodes of the search tree.
    pub nodes: u64,
}

/// An outfit that is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedOutfit {
    /// The rod.
    pub rod: String,
    /// The reel.
    pub reel: String,
    /// The line option of the reel.
    pub line: String,
    /// Leaders that are tied for it.
    pub leaders: Vec<String>,
}

/// What an outfit does for a need.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// It fishes a copy.
    Fishes,
    /// It takes over when the first one breaks.
    Backup,
    /// It could do it too.
    Spare,
}

/// An outfit that can fish a need.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// Position in [`TripPlan::outfits`].
    pub outfit: usize,
    /// Leader for it.
    pub leader: Option<String>,
    /// Verdict.
    pub verdict: Verdict,
    /// Score, 0 to 1.
    pub score: f64,
    /// What it does.
    pub role: Role,
    /// The skill of those in whose hands verdict and score count; `None`: all who fish do as well
    /// with it, or nobody said who fishes.
    pub skill: Option<Skill>,
    /// Anglers of the segment, those who take turns included, in whose hands it reaches that
    /// verdict. Empty where that says nothing.
    pub anglers: Vec<String>,
}

/// How a need is served.
#[derive(Clone, Debug, PartialEq)]
pub struct NeedCover {
    /// The segment.
    pub segment: String,
    /// The lure.
    pub lure: String,
    /// Whether every copy has an outfit at the verdict asked for.
    pub covered: bool,
    /// Outfits that can fish it, best first.
    pub uses: Vec<Use>,
}

/// What an angler starts a segment with.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// The segment.
    pub segment: String,
    /// The angler.
    pub angler: String,
    /// Position in [`TripPlan::outfits`].
    pub outfit: usize,
    /// The lure.
    pub lure: String,
    /// The leader on it.
    pub leader: Option<String>,
    /// The verdict in the hands of this angler.
    pub verdict: Verdict,
    /// The score in these hands, 0 to 1.
    pub score: f64,
}

/// Why a need stays below its verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum UncoveredReason {
    /// The lure itself is not there in the number asked for.
    LureMissing,
    /// Nothing in the pool can fish it.
    NoOffer,
    /// The best in the pool does not reach the verdict.
    BelowMinimum,
    /// One outfit reaches it, more are asked for at once.
    TooFewCopies,
    /// The reel that it needs is on another rod, or on another boat.
    ReelShared,
    /// The rod that it needs carries another reel or line, or is on another boat.
    RodShared,
    /// No holder is left for it.
    NoHolder,
    /// The leader or the line that it needs is used up.
    StockUsedUp,
    /// It would cost more than it brings.
    NotWorthIt,
}

/// An offer of the pool.
#[derive(Clone, Debug, PartialEq)]
pub struct PoolOffer {
    /// The rod.
    pub rod: String,
    /// The reel.
    pub reel: String,
    /// The line option of the reel.
    pub line: String,
    /// The leader.
    pub leader: Option<String>,
    /// Verdict.
    pub verdict: Verdict,
    /// Score, 0 to 1.
    pub score: f64,
    /// As in [`Use::skill`].
    pub skill: Option<Skill>,
    /// What limits it.
    pub limiting: String,
}

/// A need that stays below its verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncovered {
    /// The segment.
    pub segment: String,
    /// The lure.
    pub lure: String,
    /// 1 nice, 2 wanted, 3 a must.
    pub importance: u32,
    /// The best verdict among the outfits taken.
    pub reached: Option<Verdict>,
    /// Copies that are asked for at once.
    pub copies: u32,
    /// Copies of these that reach the verdict.
    pub met: u32,
    /// Why.
    pub reason: UncoveredReason,
    /// One plain sentence.
    pub text: String,
    /// The best that the pool has for it, taken or not.
    pub best_in_pool: Option<PoolOffer>,
    /// The best that would reach the verdict, were its rod and reel ready to be issued.
    pub not_ready: Option<NotReady>,
}

/// An outfit that would do, of which a part is not ready.
#[derive(Clone, Debug, PartialEq)]
pub struct NotReady {
    /// What it offers.
    pub offer: PoolOffer,
    /// One plain sentence, with the parts that are not ready.
    pub text: String,
}

/// Kinds of things that are moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ItemKind {
    /// A rod.
    Rod,
    /// A reel, with its line.
    Reel,
    /// Line for re-spooling, in metres.
    Line,
    /// Leaders.
    Leader,
    /// Lures.
    Lure,
}

/// Something that is aboard when the boat departs: what is in use, with the spares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Load {
    /// What kind of thing.
    pub kind: ItemKind,
    /// Its id.
    pub id: String,
    /// Pieces, or metres of line.
    pub quantity: u32,
}

/// Something to be brought to the boat.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Move {
    /// What kind of thing.
    pub kind: ItemKind,
    /// Its id.
    pub id: String,
    /// Pieces, or metres of line.
    pub quantity: u32,
    /// From where.
    pub from: String,
    /// To where.
    pub to: String,
}

/// Kinds of jobs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum JobKind {
    /// Put another line on a reel.
    Respool,
    /// Tie a leader.
    Leader,
}

/// Work on an outfit; what of it waits for a change of segment the caller knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// What is to be done.
    pub kind: JobKind,
    /// Position in [`TripPlan::outfits`].
    pub outfit: usize,
    /// The line option or the leader.
    pub with: String,
    /// Minutes.
    pub minutes: u32,
}

/// Why an item stays ashore.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum AshoreReason {
    /// It may not be issued.
    NotReady,
    /// It does not fit the locker.
    Locker,
    /// It covers none of the lures.
    CoversNothing,
    /// All reels (or rods) that would go with it are used elsewhere.
    PartnerUsed,
    /// Another one does all that it does.
    Dominated,
    /// It would bring something, but no holder is left.
    NoHolder,
    /// What it adds is worth less than it costs.
    AddsTooLittle,
    /// It goes out on another boat.
    OtherBoat,
}

/// A rod or a reel that stays ashore.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ashore {
    /// Rod or reel.
    pub kind: ItemKind,
    /// Its id.
    pub id: String,
    /// Why.
    pub reason: AshoreReason,
    /// One plain sentence.
    pub text: String,
}

/// One trip's plan.
#[derive(Clone, Debug, PartialEq)]
pub struct TripPlan {
    /// How good it is known to be.
    pub status: Status,
    /// Its worth.
    pub value: Value,
    /// No plan has a larger [`Value::objective`] than this.
    pub bound: Micros,
    /// Whether the clock or the caller ended the search; another run may end elsewhere.
    pub cut: bool,
    /// Counts.
    pub counts: Counts,
    /// Outfits taken, by rod id.
    pub outfits: Vec<PlannedOutfit>,
    /// All needs, in the order of the problem.
    pub coverage: Vec<NeedCover>,
    /// Who starts with what, by segment.
    pub starts: Vec<Start>,
    /// Needs below their verdict, the most important first.
    pub uncovered: Vec<Uncovered>,
    /// What is aboard at departure, each once, by kind and id. Of a lure as many as are fished at
    /// once, of a leader as many as are tied, and the spares, as far as there are so many.
    pub loads: Vec<Load>,
    /// What of it must be brought to the boat.
    pub moves: Vec<Move>,
    /// What must be done.
    pub jobs: Vec<Job>,
    /// What stays ashore.
    pub ashore: Vec<Ashore>,
}

impl TripPlan {
    /// Distance to the bound as a share of the bound, 0 or more.
    #[must_use]
    pub fn gap(&self) -> f64 {
        watch::gap(self.value.objective(), self.bound)
    }
}

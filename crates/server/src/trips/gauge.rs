//! How the work on a request stands, and when it is to end.

use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

use deepbend_contract::pb;
use deepbend_planner::Progress;
use deepbend_planner::season::SetProgress;
use deepbend_planner::weights::Micros;
use tokio::sync::watch;
use tokio::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Why work ended early.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stopped {
    /// The deadline passed.
    Deadline,
    /// The caller gave up.
    Cancelled,
}

/// Told by the work how it stands; asked by it whether it is to go on.
#[derive(Debug)]
pub(super) struct Gauge {
    deadline: Option<Instant>,
    /// From here on what is judged is enough to plan with.
    enough: Option<Instant>,
    /// From here on only what an answer cannot be without is looked for.
    late: Option<Instant>,
    /// From here on nothing more is written but what a plan cannot be without.
    last: Option<Instant>,
    given_up: CancellationToken,
    now: watch::Sender<pb::PlanProgress>,
    /// Whether not all was judged: then a bound of the search is none of all plans.
    in_part: AtomicBool,
    /// What no plan is worth more than that takes what was not judged, if that is known.
    rest: AtomicI64,
}

/// Time that is enough to end what is begun and to send it, on a busy machine too.
const LAST: Duration = Duration::from_millis(1_200);

impl Gauge {
    pub(super) fn new(
        deadline: Option<Instant>,
        given_up: CancellationToken,
        now: watch::Sender<pb::PlanProgress>,
    ) -> Self {
        // Two fifths of the time are for judging, as much for the search or for other looks.
        let left = |deadline: Instant| deadline.saturating_duration_since(Instant::now());
        let before = |share: f64, most: Duration| {
            let share = |deadline: Instant| left(deadline).mul_f64(share).min(most);
            deadline.and_then(|deadline| deadline.checked_sub(share(deadline)))
        };
        let (in_part, rest) = (AtomicBool::new(false), AtomicI64::new(Micros::MAX));
        Self {
            deadline,
            enough: before(0.6, Duration::MAX),
            late: before(0.15, Duration::MAX),
            last: before(0.15, LAST),
            given_up,
            now,
            in_part,
            rest,
        }
    }

    /// The same, with nothing judged but what is begun.
    #[cfg(test)]
    pub(super) fn hurried(self) -> Self {
        Self { enough: Some(Instant::now()), ..self }
    }

    /// The same when nothing more is to be written than what a plan cannot be without.
    #[cfg(test)]
    pub(super) fn at_last(self) -> Self {
        Self { last: Some(Instant::now()), ..self }
    }

    /// When what is judged must do for the first of so many boats, each of which gets as much time.
    pub(super) fn enough(&self, boats: usize) -> Option<Instant> {
        let now = Instant::now();
        let share = |enough: Instant| {
            let left = enough.saturating_duration_since(now).as_secs_f64();
            now + Duration::from_secs_f64(left / boats.max(1) as f64)
        };
        self.enough.map(share)
    }

    /// When what is judged must do where little comes after it: at two thirds of the time.
    pub(super) fn enough_alone(&self) -> Option<Instant> {
        let more = |(enough, late): (Instant, Instant)| {
            enough + late.saturating_duration_since(enough).mul_f64(0.6)
        };
        self.enough.zip(self.late).map(more).or(self.enough)
    }

    /// The end of a share of the time that is left until the deadline.
    pub(super) fn share(&self, share: f64) -> Option<Instant> {
        let now = Instant::now();
        let left = |deadline: Instant| deadline.saturating_duration_since(now).mul_f64(share);
        self.deadline.map(|deadline| now + left(deadline))
    }

    /// Goes on although it is late, unless nobody waits any more: a plan that is known is written.
    ///
    /// # Errors
    /// [`Stopped`] if it is given up.
    pub(super) fn wanted(&self) -> Result<(), Stopped> {
        let gone = self.given_up.is_cancelled();
        if gone { Err(Stopped::Cancelled) } else { Ok(()) }
    }

    /// The same for work that is never abridged.
    pub(super) fn unhurried(&self) -> Self {
        let (given_up, now) = (self.given_up.clone(), watch::Sender::default());
        let (in_part, rest) = (AtomicBool::new(false), AtomicI64::new(Micros::MAX));
        Self {
            deadline: self.deadline,
            enough: None,
            late: None,
            last: None,
            given_up,
            now,
            in_part,
            rest,
        }
    }

    /// The same for work that other work can do without: it may take half of the time for judging.
    pub(super) fn for_half(&self) -> Self {
        let half = self.enough(2);
        Self { deadline: half.or(self.deadline), ..self.unhurried() }
    }

    /// When the answer must be there.
    pub(super) fn deadline(&self) -> Option<Instant> {
        self.deadline
    }

    /// When nothing more is to be written of a plan than what it cannot be without.
    pub(super) fn last(&self) -> Option<Instant> {
        self.last
    }

    /// Whether there is no time left for more than what an answer cannot be without.
    pub(super) fn is_late(&self) -> bool {
        self.late.is_some_and(|late| Instant::now() >= late)
    }

    /// Why the work is to end, if it is.
    pub(super) fn stopped(&self) -> Option<Stopped> {
        if self.given_up.is_cancelled() {
            return Some(Stopped::Cancelled);
        }
        let late = self.deadline.is_some_and(|deadline| Instant::now() >= deadline);
        late.then_some(Stopped::Deadline)
    }

    /// Goes on, unless the work is to end.
    ///
    /// # Errors
    /// [`Stopped`] if it is.
    pub(super) fn go_on(&self) -> Result<(), Stopped> {
        self.stopped().map_or(Ok(()), Err)
    }

    /// Goes on with work of which a part is enough, however late it is; other work ends at its
    /// deadline.
    ///
    /// # Errors
    /// [`Stopped`] if it is to end.
    pub(super) fn go_on_in_part(&self) -> Result<(), Stopped> {
        if self.enough.is_some() { self.wanted() } else { self.go_on() }
    }

    /// Begins a stage of so many steps. What lies behind a later stage is no stage of its own.
    pub(super) fn begin(&self, stage: pb::PlanStage, steps: usize) {
        self.now.send_if_modified(|now| {
            let ahead = now.stage < i32::from(stage);
            if ahead {
                now.stage = stage.into();
                now.done_count = 0;
                now.step_count = i64::try_from(steps).unwrap_or(i64::MAX);
            }
            ahead
        });
    }

    /// One more step of a stage is done.
    pub(super) fn step(&self, stage: pb::PlanStage) {
        self.in_stage(stage, |now| now.done_count += 1);
    }

    /// Not all was judged that can be put together; no plan with the rest of it is worth more than
    /// this, if that is known.
    pub(super) fn judged_in_part(&self, rest: Option<Micros>) {
        self.rest.store(rest.unwrap_or(Micros::MAX), Ordering::Relaxed);
        self.in_part.store(true, Ordering::Relaxed);
    }

    /// How the search for a plan stands.
    pub(super) fn search(&self, progress: &Progress) {
        let bound = match self.in_part.load(Ordering::Relaxed) {
            true => {
                let rest = self.rest.load(Ordering::Relaxed);
                progress.bound.map(|bound| bound.max(rest)).filter(|_| rest < Micros::MAX)
            }
            false => progress.bound,
        };
        self.in_stage(pb::PlanStage::Searching, |now| {
            // Another search begins anew; what was known before it still is.
            let reached = progress.reached.max(now.incumbent_micros);
            let known =
                now.bound_micros.map_or(bound, |known| Some(bound.unwrap_or(known).min(known)));
            let bound = known.map(|known| known.max(reached.unwrap_or(known)));
            stand(now, reached, bound, progress.nodes);
        });
    }

    /// How the search for a set stands, of which so many sizes are done.
    pub(super) fn set(&self, done: usize, progress: &SetProgress) {
        self.in_stage(pb::PlanStage::Searching, |now| {
            now.done_count = i64::try_from(done).unwrap_or(i64::MAX);
            stand(now, progress.worth, Some(progress.bound), progress.nodes);
        });
    }

    fn in_stage(&self, stage: pb::PlanStage, change: impl FnOnce(&mut pb::PlanProgress)) {
        self.now.send_if_modified(|now| {
            let is_now = now.stage() == stage;
            if is_now {
                change(now);
            }
            is_now
        });
    }
}

fn stand(now: &mut pb::PlanProgress, incumbent: Option<Micros>, bound: Option<Micros>, nodes: u64) {
    let progress = Progress { reached: incumbent, bound, nodes };
    now.incumbent_micros = progress.reached;
    now.bound_micros = progress.bound;
    now.gap = progress.gap();
    now.node_count = i64::try_from(progress.nodes).unwrap_or(i64::MAX);
}

#[cfg(test)]
mod tests {
    use deepbend_contract::pb;
    use deepbend_planner::Progress;
    use tokio::sync::watch;
    use tokio_util::sync::CancellationToken;

    use super::Gauge;

    // Source: common practice, no source: a best so far never gets worse.
    #[test]
    fn another_search_forgets_nothing() {
        let (now, told) = watch::channel(pb::PlanProgress::default());
        let gauge = Gauge::new(None, CancellationToken::new(), now);
        gauge.begin(pb::PlanStage::Searching, 0);
        gauge.search(&Progress { reached: Some(5), bound: Some(9), nodes: 3 });
        gauge.search(&Progress { reached: None, bound: Some(12), nodes: 0 });
        let told = told.borrow();
        assert_eq!((told.incumbent_micros, told.bound_micros), (Some(5), Some(9)));
    }
}

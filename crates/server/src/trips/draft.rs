//! Plans of several boats while they are written: first what no boat can be without, for all of them;
//! then what there is time for, each kind for all boats before the next.

use deepbend_contract::pb;
use deepbend_planner::TripProblem;
use deepbend_planner::plan::TripPlan;
use tokio::time::Instant;

use super::answer::{Gathered, Writer};
use super::cards::Cards;
use super::cure::Cures;
use super::gauge::{Gauge, Stopped};
use super::hands::{self, Hands};
use super::jobs::Rigged;
use super::offers::in_parallel;

/// Writes the plans of all boats, each by its writer.
///
/// # Errors
/// [`Stopped`] if nobody waits for them any more; never because it is late.
pub(super) fn plans(
    writers: &[Writer<'_, '_>],
    plans: &[TripPlan],
    reproducible: bool,
    gauge: &Gauge,
) -> Result<Vec<pb::Plan>, Stopped> {
    let pairs = || writers.iter().zip(plans);
    let owned: Vec<TripProblem> = pairs().map(|(w, plan)| hands::own(w.problem, plan)).collect();
    let drafts = pairs().zip(&owned).map(|((writer, plan), own)| {
        let hands = Hands { judge: writer.judge, problem: own, plan };
        let rigged = writer.rigged(plan);
        let wire = writer.bare(&hands, &rigged, reproducible);
        let cures =
            Cures::new(writer.judge, writer.view, writer.problem, plan, &writer.basis.shares);
        Draft { writer, hands, rigged, cures, wire }
    });
    let mut drafts: Vec<Draft<'_, '_>> = drafts.collect();
    gauge.begin(pb::PlanStage::Writing, STAGES * drafts.len());
    cards(&mut drafts, gauge)?;
    let late = gauge.last();
    losses(&mut drafts, late, gauge)?;
    windier(&mut drafts, late, gauge)?;
    cures(&mut drafts, late, gauge)?;
    missing(&mut drafts, late, gauge)?;
    Ok(drafts.into_iter().map(|draft| draft.wire).collect())
}

/// Kinds of work that are written one after the other.
const STAGES: usize = 5;

struct Draft<'w, 'v> {
    writer: &'w Writer<'w, 'v>,
    hands: Hands<'w, 'v>,
    rigged: Rigged<'w>,
    cures: Cures<'w, 'v>,
    wire: pb::Plan,
}

/// Does pieces of the work of each boat, the first of all boats before the second of any, until it is
/// late, and has what comes of them kept.
fn each<'w, 'v, T: Send>(
    drafts: &mut [Draft<'w, 'v>],
    late: Option<Instant>,
    gauge: &Gauge,
    pieces: impl Fn(&Draft<'w, 'v>) -> usize,
    work: impl Fn(&Draft<'w, 'v>, usize) -> T + Sync,
    keep: impl Fn(&mut pb::Plan, usize, T),
) -> Result<(), Stopped> {
    let mut order: Vec<(usize, usize)> = (drafts.iter().enumerate())
        .flat_map(|(at, draft)| (0..pieces(draft)).map(move |piece| (piece, at)))
        .collect();
    order.sort_unstable();
    let mut open: Vec<usize> = drafts.iter().map(&pieces).collect();
    let is_late = || late.is_some_and(|late| Instant::now() >= late);
    if !is_late() {
        let known = &*drafts;
        let (done, _) = in_parallel(order.len(), late, |turn| {
            gauge.wanted()?;
            let (piece, at) = order[turn];
            Ok(work(&known[at], piece))
        })?;
        for ((piece, at), done) in order.into_iter().zip(done) {
            keep(&mut drafts[at].wire, piece, done);
            open[at] -= 1;
        }
    }
    for (draft, open) in drafts.iter_mut().zip(open) {
        draft.wire.abridged |= open > 0;
        gauge.step(pb::PlanStage::Writing);
    }
    Ok(())
}

/// Rig cards and cautions. They are written however late it is: a boat does not go out without.
fn cards(drafts: &mut [Draft<'_, '_>], gauge: &Gauge) -> Result<(), Stopped> {
    let covers = |draft: &Draft<'_, '_>| draft.hands.plan.coverage.len();
    let write = |draft: &Draft<'_, '_>, cover: usize| {
        let (judge, plan) = (draft.writer.judge, draft.hands.plan);
        Cards { judge, plan, starts: &draft.wire.starts }.write(&plan.coverage[cover])
    };
    each(drafts, None, gauge, covers, write, |wire, _, cards| wire.rig_cards.extend(cards))?;
    for draft in drafts {
        let mut gathered = Gathered::default();
        for card in &draft.wire.rig_cards {
            card.cautions.iter().for_each(|caution| gathered.add(card, caution));
        }
        draft.wire.cautions = gathered.finish();
        if draft.writer.is_summary() {
            draft.wire.rig_cards.clear();
        }
    }
    Ok(())
}

fn losses(
    drafts: &mut [Draft<'_, '_>],
    late: Option<Instant>,
    gauge: &Gauge,
) -> Result<(), Stopped> {
    let summary = drafts.iter().any(|draft| draft.writer.is_summary());
    let shown = if summary { 1 } else { usize::MAX };
    let write = |draft: &Draft<'_, '_>, _| draft.hands.losses(&draft.rigged);
    each(
        drafts,
        late,
        gauge,
        |_| 1,
        write,
        |wire, _, mut losses| {
            losses.truncate(shown);
            wire.losses = losses;
        },
    )
}

fn windier(
    drafts: &mut [Draft<'_, '_>],
    late: Option<Instant>,
    gauge: &Gauge,
) -> Result<(), Stopped> {
    let write = |draft: &Draft<'_, '_>, _| draft.hands.windier();
    each(drafts, late, gauge, |_| 1, write, |wire, _, windier| wire.windier = Some(windier))
}

fn cures(
    drafts: &mut [Draft<'_, '_>],
    late: Option<Instant>,
    gauge: &Gauge,
) -> Result<(), Stopped> {
    let open = |draft: &Draft<'_, '_>| draft.hands.plan.uncovered.len();
    let write =
        |draft: &Draft<'_, '_>, at: usize| draft.cures.write(&draft.hands.plan.uncovered[at]);
    each(drafts, late, gauge, open, write, |wire, at, uncovered| wire.uncovered[at] = uncovered)
}

/// What happens if something does not arrive.
fn missing(
    drafts: &mut [Draft<'_, '_>],
    late: Option<Instant>,
    gauge: &Gauge,
) -> Result<(), Stopped> {
    let moves = |draft: &Draft<'_, '_>| match draft.writer.is_summary() {
        true => 0,
        false => draft.hands.plan.moves.len(),
    };
    let write = |draft: &Draft<'_, '_>, at: usize| {
        draft.hands.if_missing(&draft.hands.plan.moves[at], &draft.rigged)
    };
    each(drafts, late, gauge, moves, write, |wire, at, text| wire.moves[at].if_missing = text)
}

//! Rig cards: how to rig and set each outfit for each lure that it fishes.

use deepbend_contract::{ToWire as _, WireWord as _, pb};
use deepbend_core::gear::{HookStyle, LeaderMaterial, LineMaterial, Outfit};
use deepbend_core::judge::{Caution, CautionCode, cautions, has_snap, judge, lure_knot, main_knot};
use deepbend_core::water::Skill;
use deepbend_planner::plan::{NeedCover, Role, TripPlan, Use};

use super::offers::{Judge, no_leader, outfit};

/// Writes rig cards.
#[derive(Debug)]
pub(super) struct Cards<'a, 'v> {
    pub(super) judge: &'a Judge<'a, 'v>,
    pub(super) plan: &'a TripPlan,
    pub(super) starts: &'a [pb::Start],
}

impl Judge<'_, '_> {
    /// An outfit of a plan or an offer, put together; `None` if it names nothing of the pool.
    pub(super) fn assembled(
        &self,
        rod: &str,
        reel: &str,
        line: &str,
        leader: Option<&str>,
    ) -> Option<Outfit> {
        let pool = self.pool;
        let line = self.spooled(reel, line)?;
        let mut outfit = outfit(pool.rod(rod)?.rod, pool.reel(reel)?.reel, line);
        outfit.leader = match leader {
            Some(id) => pool.leader(id)?.leader.clone(),
            None => no_leader(),
        };
        Some(outfit)
    }
}

impl Cards<'_, '_> {
    /// Cards of a need, of what fishes it and of what people start with.
    pub(super) fn write(&self, cover: &NeedCover) -> Vec<pb::RigCard> {
        let Some(need) = self.judge.need(&cover.segment, &cover.lure) else { return Vec::new() };
        let lies = |used: &&Use| used.role == Role::Fishes || self.lies_ready(cover, used);
        cover.uses.iter().filter(lies).filter_map(|used| self.card(need, cover, used)).collect()
    }

    /// Whether somebody starts with it, or has it ready as the second.
    fn lies_ready(&self, cover: &NeedCover, used: &Use) -> bool {
        let id = self.judge.outfit_id(self.plan, used.outfit);
        self.starts.iter().filter(|start| start.segment_id == cover.segment).any(|start| {
            (&start.outfit_id, &start.lure_id) == (&id, &cover.lure)
                || (&start.second_outfit_id, &start.second_lure_id) == (&id, &cover.lure)
        })
    }

    /// How practised whoever begins with it is, or has it ready as the second; else those in whose
    /// hands it counts. The leader is what is on it then.
    fn whose<'p>(&'p self, cover: &NeedCover, used: &'p Use) -> (Option<Skill>, Option<&'p str>) {
        let id = self.judge.outfit_id(self.plan, used.outfit);
        let trip = &self.judge.asked.trip;
        let skill = |angler: &str| trip.anglers.iter().find(|a| a.id == angler).map(|a| a.skill);
        let begun = self.plan.starts.iter().find(|start| {
            (&start.segment, &start.lure, start.outfit)
                == (&cover.segment, &cover.lure, used.outfit)
        });
        if let Some(start) = begun {
            return (skill(&start.angler), start.leader.as_deref());
        }
        let ready = self.starts.iter().find(|start| {
            (&start.segment_id, &start.second_lure_id, &start.second_outfit_id)
                == (&cover.segment, &cover.lure, &id)
        });
        let Some(ready) = ready else { return (used.skill, used.leader.as_deref()) };
        let leader = Some(ready.second_leader_stock_id.as_str()).filter(|id| !id.is_empty());
        (skill(&ready.angler_id).or(used.skill), leader)
    }

    fn card(&self, need: usize, cover: &NeedCover, used: &Use) -> Option<pb::RigCard> {
        let (by, planned) = (self.judge, &self.plan.outfits[used.outfit]);
        let (skill, leader) = self.whose(cover, used);
        let outfit = by.assembled(&planned.rod, &planned.reel, &planned.line, leader)?;
        let case = &by.cases[need];
        let water = case.deciding_for(by.model, &outfit, skill);
        let judgement = judge(by.model, &outfit, case.lure, water);
        let mut judged = judgement.cautions;
        // Whoever holds it, a beginner may stand beside the hooks, or be handed the rod.
        if let Some(least) = case.least_practised().filter(|least| Some(*least) != water.skill) {
            let beside = case.deciding_for(by.model, &outfit, Some(least));
            let more = cautions(by.model, &outfit, case.lure, beside);
            let mut anglers = by.asked.trip.anglers.iter().filter(|a| used.anglers.contains(&a.id));
            let may_hold = anglers.any(|angler| angler.skill == least);
            let new = |c: &Caution| {
                (may_hold || c.code == CautionCode::Hooks)
                    && judged.iter().all(|known| known.code != c.code)
            };
            judged.extend(more.into_iter().filter(new).collect::<Vec<_>>());
            judged.sort_by_key(|caution| caution.code);
        }
        let mut settings = judgement.settings.to_wire();
        tied(&mut settings, &outfit, judgement.settings.hook_style);
        let wanted = &by.asked.trip.needs[need];
        Some(pb::RigCard {
            segment_id: wanted.segment.clone(),
            lure_id: wanted.lure.clone(),
            outfit_id: by.outfit_id(self.plan, used.outfit),
            skill: (water.skill.filter(|_| used.skill.is_some()))
                .map_or(0, |skill| skill.to_wire_word().into()),
            settings: Some(settings),
            summary: judgement.summary,
            cautions: judged.iter().map(|caution| caution.to_wire()).collect(),
        })
    }
}

/// Puts the leader that is really tied in place of the one that would be usual.
fn tied(settings: &mut pb::Settings, outfit: &Outfit, hook: HookStyle) {
    let leader = outfit.leader.to_wire();
    let material = outfit.leader.material.unwrap_or(LeaderMaterial::None);
    let none = material == LeaderMaterial::None;
    settings.leader_material = material.to_wire_word().into();
    settings.lure_knot = lure_knot(hook, material).to_owned();
    settings.has_snap = has_snap(hook, material);
    let test = outfit.leader.test.filter(|_| !none);
    settings.leader_test_kgf = test.map_or(0.0, |t| t.kgf());
    settings.leader_test_lbf = test.map_or(0.0, |t| t.lbf());
    // What is cut from a spool is as long as the judge recommends; a trace is as long as it is.
    let wire = matches!(material, LeaderMaterial::SteelWire | LeaderMaterial::Titanium);
    if wire || none {
        settings.leader_length_m = leader.length_m.filter(|_| !none).unwrap_or(0.0);
    } else if settings.leader_length_m <= 0.0 {
        settings.leader_length_m = leader.length_m.unwrap_or(0.0);
    }
    let line = outfit.line.material.unwrap_or(LineMaterial::Braid);
    settings.main_knot = main_knot(line, material, hook).to_owned();
}

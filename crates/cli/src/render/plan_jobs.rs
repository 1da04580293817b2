//! The part of a plan that is done with the hands: moves, jobs, rig cards.

use deepbend_contract::pb;

use super::judgement::settings;
use super::{Page, Table, capital, plain, units, within};

/// What must be moved and done before departure.
pub(super) fn before_departure(page: &mut Page, plan: &pb::Plan) {
    moves(page, "Bring to the boat", plan.moves.iter());
    day_before(page, plan);
    let (kept, jobs): (Vec<_>, Vec<_>) = plan.jobs.iter().partition(|job| job.is_if_needed);
    let mut segments: Vec<&str> = jobs.iter().map(|job| job.segment_id.as_str()).collect();
    segments.dedup();
    for segment in segments {
        let jobs: Vec<_> = jobs.iter().filter(|job| job.segment_id == segment).collect();
        let minutes: i32 = jobs.iter().map(|job| job.duration_minutes).sum();
        page.heading(&match segment {
            "" if jobs.iter().any(|job| !job.begin_by.is_empty()) => {
                format!("Do before departure, {minutes} min in all; begin each by its time")
            }
            "" => format!("Do before departure, {minutes} min in all"),
            _ => format!("Change on the water in segment {segment}, {minutes} min in all"),
        });
        jobs.into_iter().for_each(|job| one(page, job));
    }
    if !kept.is_empty() {
        page.heading("Keep ready");
        kept.into_iter().for_each(|job| one(page, job));
    }
}

/// Says of what is due before midnight that it is.
pub(super) fn day_before(page: &mut Page, plan: &pb::Plan) {
    let starts = plan.trip.iter().flat_map(|trip| &trip.segments).map(|part| part.start.as_str());
    let Some(departs) = starts.filter(|start| !start.is_empty()).min() else { return };
    let jobs = plan.jobs.iter().map(|job| job.begin_by.as_str());
    let mut times = jobs.chain(plan.moves.iter().map(|step| step.deadline.as_str()));
    if times.any(|time| time > departs) {
        let boat = &plan.boat_id;
        page.paragraph(&format!(
            "{boat} departs at {departs}: times after that are of the day before."
        ));
    }
}

fn one(page: &mut Page, job: &pb::Job) {
    let text = format!("{} ({} min)", job.text, job.duration_minutes);
    let begin = match job.begin_by.as_str() {
        "" => String::new(),
        time => format!("{time}  "),
    };
    page.hanging(&format!("  {begin}{}  ", job.outfit_id), &text);
}

/// Minutes of the jobs on the water, without those of what is only kept ready.
pub(super) fn minutes_afloat(plan: &pb::Plan) -> i32 {
    let afloat = plan.jobs.iter().filter(|job| !job.segment_id.is_empty() && !job.is_if_needed);
    afloat.map(|job| job.duration_minutes).sum()
}

/// Minutes of the jobs before departure.
pub(super) fn minutes_at_home(plan: &pb::Plan) -> i32 {
    let at_home = plan.jobs.iter().filter(|job| job.segment_id.is_empty());
    at_home.map(|job| job.duration_minutes).sum()
}

/// Moves with from, to, by when, and what happens without each.
pub(super) fn moves<'p>(page: &mut Page, heading: &str, steps: impl Iterator<Item = &'p pb::Move>) {
    let steps: Vec<&pb::Move> = steps.collect();
    if steps.is_empty() {
        return;
    }
    page.heading(heading);
    // A short deadline leaves no time to say what would happen.
    let is_told = steps.iter().any(|step| !step.if_missing.is_empty());
    let mut table = Table::new().left("  what").left("from").left("to").left("by");
    if is_told {
        table = table.wrapped("if it does not arrive");
    }
    for step in steps {
        let mut row = vec![
            format!("  {}", quantity(step.kind, &step.item_id, step.quantity)),
            step.from_place_id.clone(),
            step.to_place_id.clone(),
            step.deadline.clone(),
        ];
        row.extend(is_told.then(|| step.if_missing.clone()));
        table.row(row);
    }
    page.table(&table);
}

/// "lure L17, 3", "line K02, 150 m (164 yd)", "rod R16".
pub(super) fn quantity(kind: i32, item: &str, quantity: i32) -> String {
    let name = format!("{} {item}", plain!(CargoKind, kind));
    match pb::CargoKind::try_from(kind).unwrap_or_default() {
        pb::CargoKind::Line => format!("{name}, {}", units::line_length(quantity.into())),
        pb::CargoKind::Leader | pb::CargoKind::Lure => format!("{name}, {quantity}"),
        pb::CargoKind::Rod | pb::CargoKind::Reel | pb::CargoKind::Unspecified => name,
    }
}

/// Everything to load, in the order of the rack.
pub(super) fn load_list(page: &mut Page, plan: &pb::Plan) {
    if plan.load_list.is_empty() {
        return;
    }
    page.heading("Load list, the lightest rod first");
    list(page, plan, &plan.load_list, "lies at");
}

/// What to load, in the order of the rack, the outfits with rod and reel in one line.
pub(super) fn loaded(page: &mut Page, plan: &pb::Plan) {
    if plan.load_list.is_empty() {
        return;
    }
    page.heading("Load, the lightest rod first");
    let mut done: Vec<&str> = Vec::new();
    for line in &plan.load_list {
        let outfit = plan.outfits.iter().find(|outfit| {
            outfit.id == line.outfit_id
                && [&outfit.rod_id, &outfit.reel_id].contains(&&line.item_id)
        });
        let text = match outfit {
            Some(outfit) if done.contains(&outfit.id.as_str()) => continue,
            Some(outfit) => {
                done.push(&outfit.id);
                format!("{}  {} with {}", outfit.id, outfit.rod_id, outfit.reel_id)
            }
            None => quantity(line.kind, &line.item_id, line.quantity),
        };
        page.hanging("  [ ] ", &text);
    }
}

/// The same for the way back.
pub(super) fn return_list(page: &mut Page, plan: &pb::Plan) {
    if plan.return_list.is_empty() {
        return;
    }
    page.heading("Return check-list");
    list(page, plan, &plan.return_list, "goes to");
}

fn list(page: &mut Page, plan: &pb::Plan, lines: &[pb::LoadLine], place: &str) {
    let outfits = |line: &pb::LoadLine| -> String {
        if !line.outfit_id.is_empty() {
            return line.outfit_id.clone();
        }
        // Leaders for several outfits.
        let tied = plan.outfits.iter().filter(|o| o.leader_stock_ids.contains(&line.item_id));
        tied.map(|outfit| outfit.id.as_str()).collect::<Vec<_>>().join(" ")
    };
    let mut table = Table::new().left("      what").left("outfit").left(place);
    for line in lines {
        table.row(vec![
            format!("  [ ] {}", quantity(line.kind, &line.item_id, line.quantity)),
            outfits(line),
            line.place_id.clone(),
        ]);
    }
    page.table(&table);
}

/// Whether a loss opens something, ends something or asks for work.
pub(super) fn has_effect(loss: &pb::Loss) -> bool {
    !(loss.opens.is_empty() && loss.short_crews.is_empty() && loss.unfished_lure_ids.is_empty())
        || loss.change_minutes > 0
}

/// What a loss or more wind would open.
pub(super) fn what_if(page: &mut Page, plan: &pb::Plan) {
    if plan.losses.is_empty() && plan.windier.is_none() {
        return;
    }
    page.heading("What if");
    let (opening, rest): (Vec<_>, Vec<_>) = plan.losses.iter().partition(|loss| has_effect(loss));
    for (number, loss) in opening.iter().enumerate() {
        page.hanging(
            "  - ",
            &match number {
                0 => format!("the worst single loss: {}", within(&loss.text)),
                _ => loss.text.clone(),
            },
        );
    }
    if !rest.is_empty() {
        let rods: Vec<&str> = rest.iter().map(|loss| loss.rod_id.as_str()).collect();
        let which = match rods.as_slice() {
            [only] => (*only).to_owned(),
            all => format!("one of {}", all.join(", ")),
        };
        page.hanging("  - ", &format!("The loss of {which} opens nothing."));
    }
    if let Some(windier) = &plan.windier {
        page.hanging("  - ", &windier.text);
    }
}

/// Who starts with what, and what lies ready.
pub(super) fn starts(page: &mut Page, plan: &pb::Plan) {
    if plan.starts.is_empty() {
        return;
    }
    page.heading("Starts with");
    let mut table = Table::new()
        .left("  segment")
        .left("angler")
        .left("outfit")
        .left("lure")
        .left("second outfit")
        .left("lure");
    let rod = |id: &str| {
        let outfit = plan.outfits.iter().find(|outfit| outfit.id == id);
        outfit
            .map(|outfit| format!("{id} {}+{}", outfit.rod_id, outfit.reel_id))
            .unwrap_or_default()
    };
    // What it is in the hands of whoever gets it.
    let lure = |id: &str, verdict: i32| match plain!(Verdict, verdict) {
        none if none.is_empty() => id.to_owned(),
        verdict => format!("{id} {verdict}"),
    };
    for start in &plan.starts {
        table.row(vec![
            format!("  {}", start.segment_id),
            start.angler_id.clone(),
            rod(&start.outfit_id),
            lure(&start.lure_id, start.verdict),
            rod(&start.second_outfit_id),
            lure(&start.second_lure_id, start.second_verdict),
        ]);
    }
    page.table(&table);
}

/// Whether a caution is about this outfit; weather, water and law stand at the end of the plan.
fn of_gear(caution: &pb::Caution) -> bool {
    use pb::CautionCode as Code;
    match Code::try_from(caution.code) {
        Ok(
            Code::Hooks
            | Code::CastOverload
            | Code::SnapOff
            | Code::HighDrag
            | Code::BraidOnHand
            | Code::CheckGear
            | Code::BiteOff
            | Code::DeadLift,
        ) => true,
        Ok(
            Code::Unspecified
            | Code::PowerLine
            | Code::Lightning
            | Code::StrongWind
            | Code::ColdWater
            | Code::WarmWaterFish
            | Code::Barotrauma
            | Code::LocalRules
            | Code::Uncertain
            | Code::Wading
            | Code::LifeJacket,
        )
        | Err(_) => false,
    }
}

/// One card for each outfit in each segment: what holds for all its lures once, what differs beside
/// the lure. `whole` is the plan that the cards are of.
pub(super) fn rig_cards(page: &mut Page, plan: &pb::Plan, whole: &pb::Plan) {
    let mut segments: Vec<&str> = plan.rig_cards.iter().map(|c| c.segment_id.as_str()).collect();
    segments.sort_unstable();
    segments.dedup();
    let pairs = plan.outfits.iter().flat_map(|o| segments.iter().map(move |s| (o, *s)));
    for (outfit, segment) in pairs {
        let here = |card: &&pb::RigCard| card.outfit_id == outfit.id && card.segment_id == segment;
        let cards: Vec<&pb::RigCard> = plan.rig_cards.iter().filter(here).collect();
        let Some(first) = cards.first() else { continue };
        let (rod, reel) = (&outfit.rod_id, &outfit.reel_id);
        page.heading(&format!("Rig card {}, segment {segment}: {rod} with {reel}", outfit.id));
        let set = |card: &pb::RigCard| card.settings.as_ref().map(settings).unwrap_or_default();
        // The reel and the line are those of the outfit.
        let mut common = set(first);
        common.retain(|(name, _)| name != "reel" && name != "holds for");
        common.retain(|pair| cards.iter().all(|card| set(card).contains(pair)));
        page.pairs(&common);
        for card in &cards {
            page.hanging(&format!("  {}  ", card.lure_id), &own(whole, card, &common));
        }
        let mut cautions: Vec<&pb::Caution> = Vec::new();
        for caution in cards.iter().flat_map(|card| &card.cautions).filter(|c| of_gear(c)) {
            if !cautions.iter().any(|known| known.text == caution.text) {
                cautions.push(caution);
            }
        }
        for caution in cautions {
            page.hanging("  ! ", &capital(&caution.text));
        }
    }
}

/// Those of a card's skill who are meant by it: who starts with it, else who has it ready as the
/// second, else all whom the plan names for it.
fn held_by<'p>(plan: &'p pb::Plan, card: &pb::RigCard) -> Vec<&'p str> {
    let of = (&card.lure_id, &card.outfit_id);
    let anglers = plan.trip.iter().flat_map(|trip| &trip.anglers);
    let alike: Vec<&str> =
        anglers.filter(|angler| angler.skill == card.skill).map(|a| a.id.as_str()).collect();
    let here = |segment: &String| *segment == card.segment_id;
    let starts = || plan.starts.iter().filter(|start| here(&start.segment_id));
    let begins = starts().filter(|s| (&s.lure_id, &s.outfit_id) == of);
    let ready = starts().filter(|s| (&s.second_lure_id, &s.second_outfit_id) == of);
    let named = plan.assignments.iter().filter(|a| here(&a.segment_id));
    let named = named.filter(|a| (&a.lure_id, &a.outfit_id) == of).flat_map(|a| &a.angler_ids);
    let lists: [Vec<&String>; 3] = [
        begins.map(|start| &start.angler_id).collect(),
        ready.map(|start| &start.angler_id).collect(),
        named.collect(),
    ];
    let meant = |list: Vec<&'p String>| -> Vec<&'p str> {
        list.into_iter().map(String::as_str).filter(|id| alike.contains(id)).collect()
    };
    lists.into_iter().map(meant).find(|list| !list.is_empty()).unwrap_or_default()
}

/// What a card says beyond its outfit's common settings.
fn own(plan: &pb::Plan, card: &pb::RigCard, common: &[(String, String)]) -> String {
    let mut pairs = card.settings.as_ref().map(settings).unwrap_or_default();
    pairs.retain(|(name, _)| name != "reel" && name != "holds for");
    pairs.retain(|pair| !common.contains(pair));
    let own = pairs.iter().map(|(name, value)| format!(" {}: {value}.", capital(name)));
    let hands = match plain!(Skill, card.skill) {
        none if none.is_empty() => String::new(),
        skill => match held_by(plan, card).as_slice() {
            [] => format!("In {skill} hands: "),
            names => format!("In {skill} hands ({}): ", names.join(", ")),
        },
    };
    let summary = capital(&card.summary);
    let summary = if hands.is_empty() { summary } else { hands + &within(&summary) };
    format!("{summary}.{}", own.collect::<String>())
}

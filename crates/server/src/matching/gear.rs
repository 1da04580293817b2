//! Outfits and lures of a request: described, named by an id of the inventory, or both.

use std::sync::Arc;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{Faults, FromWire, Reader, ToWire as _, limits, overlay, pb};
use deepbend_core::gear::{Lure, Outfit, Rod};
use deepbend_core::judge::{Caution, CautionCode, Judgement};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{Item, ItemKey, ItemKind, Spec, Status};
use deepbend_ledger::view::View;

use crate::error::{Missing, ServiceError};

/// What an outfit says at least.
pub(super) const LEAST_OUTFIT: &str = "at least one of the rod's ratings, power or action";
/// What a lure says at least.
pub(super) const LEAST_LURE: &str = "at least class or rigged mass";

/// Gear, with the name that answers give it back under.
#[derive(Clone, Debug, Default)]
pub(crate) struct Named<G> {
    /// Label of the request, or else the inventory id; empty where neither is given.
    pub(crate) label: String,
    /// The gear.
    pub(crate) gear: G,
    /// What the inventory says against its use, for the head of the cautions.
    pub(crate) cautions: Vec<Caution>,
}

/// Looks up the ids of one request, all in the same state of the inventory.
pub(crate) struct Lookup {
    view: Option<Arc<View>>,
    asked: bool,
    missing: Vec<Missing>,
}

impl Lookup {
    pub(crate) fn new(view: Option<Arc<View>>) -> Self {
        Self { view, asked: false, missing: Vec::new() }
    }

    /// An outfit of the message that `reader` reads.
    pub(crate) fn outfit(
        &mut self,
        reader: &mut Reader<'_>,
        given: Option<pb::Outfit>,
        rod_id: String,
        reel_id: String,
    ) -> Named<Outfit> {
        let before = self.wrong(reader);
        if given.is_none() && rod_id.is_empty() {
            let right = "an outfit, or an inventory id in rod_id";
            reader.fault("outfit", FaultCode::Missing, "is missing", right);
        }
        let rod_id = reader.id("rod_id", rod_id);
        let reel_id = reader.id("reel_id", reel_id);
        let mut known = pb::Outfit::default();
        let mut cautions = Vec::new();
        let rod = self.find(reader, "rod_id", ItemKind::Rod, rod_id.as_ref(), &mut cautions);
        if let Some(Spec::Rod(rod)) = rod {
            known.rod = Some(rod.to_wire());
        }
        let reel = self.find(reader, "reel_id", ItemKind::Reel, reel_id.as_ref(), &mut cautions);
        if let Some(Spec::Reel(rigged)) = reel {
            known.reel = Some(rigged.reel.to_wire());
            known.line = rigged.fitted.map(|fitted| fitted.line.to_wire());
        }
        let gear = whole(reader, "outfit", known, given);
        let unread = self.view.is_none() && (rod_id.is_some() || reel_id.is_some());
        if self.wrong(reader) == before && !unread {
            reader.says_something("outfit", &gear, LEAST_OUTFIT);
        }
        Named { label: rod_id.unwrap_or_default(), gear, cautions }
    }

    /// A lure of the message that `reader` reads.
    pub(crate) fn lure(
        &mut self,
        reader: &mut Reader<'_>,
        given: Option<pb::Lure>,
        lure_id: String,
    ) -> Named<Lure> {
        let before = self.wrong(reader);
        if given.is_none() && lure_id.is_empty() {
            let right = "a lure, or an inventory id in lure_id";
            reader.fault("lure", FaultCode::Missing, "is missing", right);
        }
        let lure_id = reader.id("lure_id", lure_id);
        let mut cautions = Vec::new();
        let found = self.find(reader, "lure_id", ItemKind::Lure, lure_id.as_ref(), &mut cautions);
        let known = match found {
            Some(Spec::Lure(lure)) => lure.to_wire(),
            _ => pb::Lure::default(),
        };
        let gear = whole(reader, "lure", known, given);
        let unread = self.view.is_none() && lure_id.is_some();
        if self.wrong(reader) == before && !unread {
            reader.says_something("lure", &gear, LEAST_LURE);
        }
        Named { label: lure_id.unwrap_or_default(), gear, cautions }
    }

    /// A rod of the message that `reader` reads; all of it unknown where it is not given.
    pub(crate) fn rod(
        &mut self,
        reader: &mut Reader<'_>,
        given: Option<pb::Rod>,
        rod_id: String,
    ) -> Rod {
        let rod_id = reader.id("rod_id", rod_id);
        // What is only bent and traced may be lost or broken.
        let mut cautions = Vec::new();
        let found = self.find(reader, "rod_id", ItemKind::Rod, rod_id.as_ref(), &mut cautions);
        let known = match found {
            Some(Spec::Rod(rod)) => rod.to_wire(),
            _ => pb::Rod::default(),
        };
        whole(reader, "rod", known, given)
    }

    /// An outfit that takes part in a ranking or a comparison.
    pub(crate) fn outfit_candidate(
        &mut self,
        reader: &mut Reader<'_>,
        candidate: pb::OutfitCandidate,
    ) -> Named<Outfit> {
        let pb::OutfitCandidate { label, outfit, rod_id, reel_id } = candidate;
        let label = reader.text("label", label, limits::NAME_LENGTH);
        let named = self.outfit(reader, outfit, rod_id, reel_id);
        Named { label: label.unwrap_or(named.label), ..named }
    }

    /// A lure that takes part in a ranking or a comparison.
    pub(crate) fn lure_candidate(
        &mut self,
        reader: &mut Reader<'_>,
        candidate: pb::LureCandidate,
    ) -> Named<Lure> {
        let pb::LureCandidate { label, lure, lure_id } = candidate;
        let label = reader.text("label", label, limits::NAME_LENGTH);
        let named = self.lure(reader, lure, lure_id);
        Named { label: label.unwrap_or(named.label), ..named }
    }

    /// How much is wrong so far, unknown ids included.
    fn wrong(&self, reader: &Reader<'_>) -> usize {
        reader.fault_count() + self.missing.len()
    }

    fn find(
        &mut self,
        reader: &mut Reader<'_>,
        field: &str,
        kind: ItemKind,
        id: Option<&String>,
        cautions: &mut Vec<Caution>,
    ) -> Option<Spec> {
        let id = id?;
        self.asked = true;
        // Checked by the reader, which has the same rule.
        let key = ItemKey { kind, id: Id::new(id.as_str()).ok()? };
        let view = self.view.as_ref()?;
        if let Some(entry) = view.get(&key) {
            cautions.extend(not_ready(entry.item()));
            return Some(entry.item().spec.clone());
        }
        let field = reader.within(field, |at, _| at.to_string());
        self.missing.push(Missing::new(field, Some(kind), id, view));
        None
    }

    /// Whether everything was right and found. Unknown ids are an error of their own where
    /// nothing else is wrong; else they stand among the faults.
    pub(crate) fn finish(self, mut faults: Faults) -> Result<(), ServiceError> {
        if faults.is_empty() {
            if self.asked && self.view.is_none() {
                return Err(ServiceError::NoInventory);
            }
            return match self.missing {
                missing if missing.is_empty() => Ok(()),
                missing => Err(ServiceError::NotFound(missing)),
            };
        }
        for missing in self.missing {
            let at = deepbend_contract::At::ROOT;
            let wrong = format!("is {:?}, which is not in the inventory", missing.id);
            let near = missing.near();
            let right = if near.is_empty() { "the id of an item".to_owned() } else { near };
            faults.push(FaultCode::NotFound, at.field(&missing.field), wrong, right);
        }
        Err(faults.into())
    }
}

/// The caution about an item that is not to be used as things stand.
fn not_ready(item: &Item) -> Option<Caution> {
    let (act, state) = match item.status {
        Status::Ready => return None,
        Status::OnLoan => ("ask first", "on loan"),
        Status::InService => ("do not fish it", "in service"),
        Status::Broken => ("do not fish it", "broken"),
        Status::Lost => ("do not fish it", "lost"),
        Status::Retired => ("do not fish it", "retired"),
    };
    let mut because = "its status in the inventory".to_owned();
    if let Some(note) = item.note.as_ref().filter(|note| !note.is_empty()) {
        because.push_str("; its note: ");
        because.push_str(note);
    }
    Some(Caution {
        code: CautionCode::CheckGear,
        text: format!("{act}: {} is {state}", item.id),
        because,
    })
}

/// Puts what the inventory says at the head of the cautions of a judgement.
pub(super) fn caution_first(judged: &mut Judgement, cautions: impl IntoIterator<Item = Caution>) {
    judged.cautions.splice(0..0, cautions);
}

/// What is known, with every field replaced that is given, read at `name`.
fn whole<G: FromWire>(
    reader: &mut Reader<'_>,
    name: &str,
    known: G::Wire,
    given: Option<G::Wire>,
) -> G
where
    G::Wire: prost::Message + Clone,
{
    let merged = match given {
        None => known,
        Some(given) => overlay(known, &given).unwrap_or(given),
    };
    reader.within(name, |at, faults| G::from_wire(merged, at, faults))
}

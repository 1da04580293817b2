//! Outfits and lures of a request: described, named by an id of the inventory, or both.

use std::sync::Arc;

use deepbend_contract::pb::FaultCode;
use deepbend_contract::{Faults, FromWire, Reader, ToWire as _, limits, overlay, pb};
use deepbend_core::gear::{Lure, Outfit, Rod};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind, Spec};
use deepbend_ledger::view::View;

use crate::error::{Missing, ServiceError};

/// Gear, with the name that answers give it back under.
#[derive(Clone, Debug, Default)]
pub(crate) struct Named<G> {
    /// Label of the request, or else the inventory id; empty where neither is given.
    pub(crate) label: String,
    /// The gear.
    pub(crate) gear: G,
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
        if given.is_none() && rod_id.is_empty() {
            let right = "an outfit, or an inventory id in rod_id";
            reader.fault("outfit", FaultCode::Missing, "is missing", right);
        }
        let rod_id = reader.id("rod_id", rod_id);
        let reel_id = reader.id("reel_id", reel_id);
        let mut known = pb::Outfit::default();
        if let Some(Spec::Rod(rod)) = self.find(reader, "rod_id", ItemKind::Rod, rod_id.as_ref()) {
            known.rod = Some(rod.to_wire());
        }
        let reel = self.find(reader, "reel_id", ItemKind::Reel, reel_id.as_ref());
        if let Some(Spec::Reel(rigged)) = reel {
            known.reel = Some(rigged.reel.to_wire());
            known.line = rigged.fitted.map(|fitted| fitted.line.to_wire());
        }
        let gear = whole(reader, "outfit", known, given);
        Named { label: rod_id.unwrap_or_default(), gear }
    }

    /// A lure of the message that `reader` reads.
    pub(crate) fn lure(
        &mut self,
        reader: &mut Reader<'_>,
        given: Option<pb::Lure>,
        lure_id: String,
    ) -> Named<Lure> {
        if given.is_none() && lure_id.is_empty() {
            let right = "a lure, or an inventory id in lure_id";
            reader.fault("lure", FaultCode::Missing, "is missing", right);
        }
        let lure_id = reader.id("lure_id", lure_id);
        let found = self.find(reader, "lure_id", ItemKind::Lure, lure_id.as_ref());
        let known = match found {
            Some(Spec::Lure(lure)) => lure.to_wire(),
            _ => pb::Lure::default(),
        };
        let gear = whole(reader, "lure", known, given);
        Named { label: lure_id.unwrap_or_default(), gear }
    }

    /// A rod of the message that `reader` reads; all of it unknown where it is not given.
    pub(crate) fn rod(
        &mut self,
        reader: &mut Reader<'_>,
        given: Option<pb::Rod>,
        rod_id: String,
    ) -> Rod {
        let rod_id = reader.id("rod_id", rod_id);
        let known = match self.find(reader, "rod_id", ItemKind::Rod, rod_id.as_ref()) {
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

    fn find(
        &mut self,
        reader: &mut Reader<'_>,
        field: &str,
        kind: ItemKind,
        id: Option<&String>,
    ) -> Option<Spec> {
        let id = id?;
        self.asked = true;
        // Checked by the reader, which has the same rule.
        let key = ItemKey { kind, id: Id::new(id.as_str()).ok()? };
        if let Some(entry) = self.view.as_ref()?.get(&key) {
            return Some(entry.item().spec.clone());
        }
        let field = reader.within(field, |at, _| at.to_string());
        self.missing.push(Missing { field, kind: Some(kind), id: id.clone() });
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
        for Missing { field, kind: _, id } in self.missing {
            let at = deepbend_contract::At::ROOT;
            let wrong = format!("is {id:?}, which is not in the inventory");
            faults.push(FaultCode::NotFound, at.field(&field), wrong, "the id of an item");
        }
        Err(faults.into())
    }
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

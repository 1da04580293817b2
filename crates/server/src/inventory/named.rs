//! Ids that an event names beside its item: places, gear and events that must be known here,
//! unless the caller accepts others.

use std::collections::{BTreeMap, BTreeSet};

use deepbend_contract::At;
use deepbend_ledger::body::Body;
use deepbend_ledger::event::{Remark, Sealed};
use deepbend_ledger::id::Id;
use deepbend_ledger::item::{ItemKey, ItemKind};
use deepbend_ledger::view::View;

use crate::error::Missing;

/// What the events of a request are read against.
pub(super) struct Known {
    /// What is recorded, and earlier events of the same request as far as they were needed.
    pub(super) view: View,
    /// Earlier events of the same request that are not in the view.
    waiting: Vec<Sealed>,
    /// Items that those tell of.
    told: BTreeSet<ItemKey>,
    /// Items that earlier events of the same request acquire.
    acquired: BTreeMap<Id, ItemKind>,
    /// Whether ids may name nothing.
    pub(super) accept_unknown: bool,
    /// Ids that name nothing, if they may not.
    pub(super) missing: Vec<Missing>,
}

impl Known {
    /// What is known before the first event is read.
    pub(super) fn new(view: View, accept_unknown: bool) -> Self {
        let (waiting, told, acquired) = (Vec::new(), BTreeSet::new(), BTreeMap::new());
        Self { view, waiting, told, acquired, accept_unknown, missing: Vec::new() }
    }

    /// What would be known once an event was told as well.
    pub(super) fn after(&self, event: &Sealed) -> Self {
        let mut view = self.view.clone();
        view.extend(self.waiting.iter().chain([event]));
        Self { acquired: self.acquired.clone(), ..Self::new(view, self.accept_unknown) }
    }

    /// An event of the request was written.
    pub(super) fn tell(&mut self, event: &Sealed) {
        let body = &event.event().body;
        if let Some(item) = body.acquired() {
            self.acquired.insert(item.id.clone(), item.kind());
        }
        self.told.extend(body.about());
        self.waiting.push(event.clone());
        // What these change is more than what they are about.
        if body.target().is_some() || body.is_about_devices() {
            self.catch_up();
        }
    }

    /// Lets the view hold what earlier events of the request tell of these items: an item is
    /// folded again only where it is asked for.
    pub(super) fn look_at(&mut self, items: &[ItemKey]) {
        if items.iter().any(|item| self.told.contains(item)) {
            self.catch_up();
        }
    }

    /// Everything, with all that was told.
    pub(super) fn whole(mut self) -> View {
        self.catch_up();
        self.view
    }

    fn catch_up(&mut self) {
        self.view.extend(&self.waiting);
        self.waiting.clear();
        self.told.clear();
    }

    /// The kind of the item that an id means, if it is known.
    pub(super) fn kind(&self, id: &Id) -> Option<ItemKind> {
        let found = || Some(self.view.find(id).first()?.item().kind());
        self.acquired.get(id).copied().or_else(found)
    }

    /// Whether there is such an item.
    pub(super) fn has(&self, kind: ItemKind, id: &Id) -> bool {
        self.acquired.get(id) == Some(&kind)
            || self.view.find(id).iter().any(|entry| entry.item().kind() == kind)
    }
}

/// Notes every id that names nothing.
pub(super) fn check(at: &At<'_>, remark: &Remark, body: &Body, known: &mut Known) {
    if known.accept_unknown {
        return;
    }
    let mut names = named(body, "body");
    names.extend(remark.seen_at.iter().map(|id| ("seen_at_id".to_owned(), ItemKind::Boat, id)));
    for (field, kind, id) in names {
        if !known.has(kind, id) {
            let field = at.field(&field).to_string();
            known.missing.push(Missing::new(field, Some(kind), id.as_str(), &known.view));
        }
    }
    if let Some(target) = body.target()
        && known.view.find_event(target).is_none()
    {
        let field = at.field("body.correction.event_id").to_string();
        known.missing.push(Missing::event(field, target.to_string()));
    }
}

/// Path, kind and id of each. People are not among them: nobody keeps a list of them.
fn named<'b>(body: &'b Body, at: &str) -> Vec<(String, ItemKind, &'b Id)> {
    use ItemKind::{Boat, LineStock, Reel};
    let names: &[(&str, ItemKind, Option<&'b Id>)] = match body {
        Body::Moved { item: _, from, to, pieces: _ } => {
            &[("moved.from_id", Boat, from.as_ref()), ("moved.to_id", Boat, Some(to))]
        }
        Body::Returned { item: _, to } => &[("returned.to_id", Boat, to.as_ref())],
        Body::Counted { place, .. } => &[("counted.place_id", Boat, place.as_ref())],
        Body::Adjusted { place, .. } => &[("adjusted.place_id", Boat, place.as_ref())],
        Body::Found { item: _, at } => &[("found.at_id", Boat, at.as_ref())],
        Body::Rigged { rod: _, reel, leader } => &[
            ("rigged.reel_id", Reel, Some(reel)),
            ("rigged.leader_id", LineStock, leader.as_ref()),
        ],
        Body::Unrigged { rod: _, reel } => &[("unrigged.reel_id", Reel, Some(reel))],
        Body::Respooled { from, .. } => &[("respooled.from_id", LineStock, from.as_ref())],
        Body::Correction { instead, .. } => {
            let instead = instead.as_deref();
            return instead
                .map(|body| named(body, &format!("{at}.correction.instead")))
                .unwrap_or_default();
        }
        Body::Acquired { .. }
        | Body::Lent { .. }
        | Body::Reversed { .. }
        | Body::CutBack { .. }
        | Body::Used { .. }
        | Body::Broke { .. }
        | Body::FoundDefect { .. }
        | Body::Inspected { .. }
        | Body::SentToService { .. }
        | Body::Serviced { .. }
        | Body::Lost { .. }
        | Body::Retired { .. }
        | Body::StatusSet { .. }
        | Body::Cost { .. }
        | Body::Note { .. }
        | Body::Edited { .. }
        | Body::Enrolled { .. }
        | Body::Revoked { .. } => &[],
    };
    let given = names.iter().filter_map(|(field, kind, id)| Some((field, kind, (*id)?)));
    given.map(|(field, kind, id)| (format!("{at}.{field}"), *kind, id)).collect()
}

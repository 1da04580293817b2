//! Candidates of a ranking or comparison: from the inventory, or from the rows of a case file.

use deepbend_contract::{ToWire as _, pb};

use super::judge_cases;
use crate::cases::CaseRow;
use crate::failure::{Exit, Failure};
use crate::output::note;
use crate::service::Service;

/// Candidates with the one water that they share.
pub(super) struct Candidates {
    pub(super) outfits: Vec<pb::OutfitCandidate>,
    pub(super) lures: Vec<pb::LureCandidate>,
    pub(super) water: Option<pb::Water>,
}

const PAGE: i32 = 1000;

/// All items of a kind, page by page.
pub(super) async fn items(
    service: &Service,
    filter: pb::ItemFilter,
) -> Result<Vec<pb::Item>, Failure> {
    let mut items = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = pb::ListItemsRequest {
            page_size: PAGE,
            page_token,
            filter: Some(filter.clone()),
            read_mask: None,
        };
        let page = service.inventory().list_items(service.request(request)).await?.into_inner();
        items.extend(page.items);
        if page.next_page_token.is_empty() {
            return Ok(items);
        }
        page_token = page.next_page_token;
    }
}

fn ready(kind: pb::ItemKind, places: &[String]) -> pb::ItemFilter {
    pb::ItemFilter {
        kinds: vec![kind.into()],
        place_ids: places.to_vec(),
        statuses: vec![pb::ItemStatus::Ready.into()],
        ..pb::ItemFilter::default()
    }
}

/// Every rod that is ready with every reel that is ready and of its kind. `shared` is what all
/// outfits have besides.
pub(super) async fn outfits_of_inventory(
    service: &Service,
    places: &[String],
    shared: &pb::OutfitCandidate,
) -> Result<Vec<pb::OutfitCandidate>, Failure> {
    let rods = items(service, ready(pb::ItemKind::Rod, places)).await?;
    let reels = items(service, ready(pb::ItemKind::Reel, places)).await?;
    let mut outfits = Vec::new();
    for rod in &rods {
        let handle = match &rod.spec {
            Some(pb::item::Spec::Rod(spec)) => spec.handle,
            Some(_) | None => 0,
        };
        let fits = reels.iter().filter(|reel| {
            let kind = match &reel.spec {
                Some(pb::item::Spec::Reel(spec)) => spec.reel.as_ref().map_or(0, |r| r.kind),
                Some(_) | None => 0,
            };
            let named = shared.reel_id.is_empty() || reel.id == shared.reel_id;
            named && (kind == handle || kind == 0 || handle == 0)
        });
        for reel in fits {
            outfits.push(pb::OutfitCandidate {
                label: format!("{}+{}", rod.id, reel.id),
                outfit: shared.outfit.clone(),
                rod_id: rod.id.clone(),
                reel_id: reel.id.clone(),
            });
        }
    }
    Ok(outfits)
}

/// Every lure that is ready and there.
pub(super) async fn lures_of_inventory(
    service: &Service,
    places: &[String],
) -> Result<Vec<pb::LureCandidate>, Failure> {
    let lures = items(service, ready(pb::ItemKind::Lure, places)).await?;
    let there = lures.into_iter().filter(|lure| lure.quantity != Some(0));
    Ok(there.map(|lure| pb::LureCandidate { lure_id: lure.id, ..Default::default() }).collect())
}

/// The rows of a case file as candidates.
pub(super) fn of_cases(path: &std::path::Path, only: &[&str]) -> Result<Candidates, Failure> {
    let mut rows = Vec::new();
    for row in judge_cases::read(path)? {
        match row {
            Ok(row) if only.is_empty() || only.contains(&row.id.as_str()) => rows.push(row),
            Ok(_) => {}
            Err((id, faults)) if only.is_empty() || only.contains(&id.as_str()) => {
                let lines = faults.iter().map(ToString::to_string).collect();
                return Err(Failure { lines, ..Failure::silent(Exit::BadData) });
            }
            Err(_) => {}
        }
    }
    let Some(first) = rows.first().cloned() else {
        return Err(Failure::new(Exit::BadData, format!("{}: no such row", path.display())));
    };
    if rows.iter().any(|row| row.water != first.water) {
        return Err(differ(path, "water"));
    }
    for finding in rows.iter().flat_map(|row| &row.findings) {
        note(&format!("note: {finding}"));
    }
    let water = Some(first.water.to_wire());
    if rows.iter().all(|row| row.lure == first.lure) {
        let outfits = rows.iter().map(outfit).collect();
        return Ok(Candidates { outfits, lures: vec![lure(&first, "lure")], water });
    }
    if rows.iter().all(|row| row.outfit == first.outfit) {
        let lures = rows.iter().map(|row| lure(row, &row.id)).collect();
        return Ok(Candidates { outfits: vec![outfit(&first)], lures, water });
    }
    Err(differ(path, "both outfit and lure"))
}

fn differ(path: &std::path::Path, what: &str) -> Failure {
    Failure::new(Exit::BadData, format!("{}: the rows differ in {what}", path.display()))
        .hint("candidates share the water, and either the lure or the outfit")
}

fn outfit(row: &CaseRow) -> pb::OutfitCandidate {
    pb::OutfitCandidate {
        label: row.id.clone(),
        outfit: Some(row.outfit.to_wire()),
        ..Default::default()
    }
}

fn lure(row: &CaseRow, label: &str) -> pb::LureCandidate {
    pb::LureCandidate {
        label: label.to_owned(),
        lure: Some(row.lure.to_wire()),
        ..Default::default()
    }
}

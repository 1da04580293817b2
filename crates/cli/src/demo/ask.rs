//! Questions to the service, as short as the story needs them.

use deepbend_contract::pb;

use super::Fleet;
use crate::failure::{Exit, Failure};
use crate::service::Service;

/// When the snapshot of the fleet was taken: 2031-09-15 17:00 UTC.
const SNAPSHOT: prost_types::Timestamp = prost_types::Timestamp { seconds: 1947258000, nanos: 0 };
/// Importing twice would do no harm: the second time is the same request.
const REQUEST_ID: &str = "6f2c1c0e-8a57-4d0e-9a35-0b6d4a1f7c11";

/// Asks the service.
pub(super) struct Ask<'a> {
    service: &'a Service,
}

/// An outfit of the inventory by its ids, with a leader and, for once, another hook on the lure.
#[derive(Clone, Debug, Default)]
pub(super) struct Outfit {
    pub(super) rod: &'static str,
    pub(super) reel: &'static str,
    pub(super) leader: Option<pb::Leader>,
}

impl Outfit {
    pub(super) fn new(rod: &'static str, reel: &'static str) -> Self {
        Self { rod, reel, leader: None }
    }

    pub(super) fn name(&self) -> String {
        format!("{}+{}", self.rod, self.reel)
    }

    /// With a steel trace of this strength.
    pub(super) fn wired(mut self, test_kgf: f64) -> Self {
        self.leader = Some(pb::Leader {
            material: pb::LeaderMaterial::SteelWire.into(),
            test_kgf: Some(test_kgf),
            ..pb::Leader::default()
        });
        self
    }

    fn given(&self) -> Option<pb::Outfit> {
        let leader = self.leader?;
        Some(pb::Outfit { leader: Some(leader), ..pb::Outfit::default() })
    }

    pub(super) fn candidate(&self) -> pb::OutfitCandidate {
        pb::OutfitCandidate {
            label: self.name(),
            outfit: self.given(),
            rod_id: self.rod.to_owned(),
            reel_id: self.reel.to_owned(),
        }
    }
}

fn missing(what: &str) -> Failure {
    Failure::new(Exit::Failed, format!("the answer lacks its {what}"))
}

impl<'a> Ask<'a> {
    pub(super) fn new(service: &'a Service) -> Self {
        Self { service }
    }

    pub(super) async fn import(&self, fleet: &Fleet) -> Result<pb::ImportItemsResponse, Failure> {
        let file = |(kind, text): &(pb::ImportFileKind, String)| pb::ImportFile {
            kind: (*kind).into(),
            csv_text: text.clone(),
        };
        let request = pb::ImportItemsRequest {
            request_id: REQUEST_ID.to_owned(),
            files: fleet.items.iter().map(file).collect(),
            claim: Some(pb::Claim {
                observed_time: Some(SNAPSHOT),
                actor: "shed".to_owned(),
                certainty: pb::Certainty::Seen.into(),
            }),
            validate_only: false,
        };
        let answer = self.service.inventory().import_items(self.service.request(request)).await?;
        Ok(answer.into_inner())
    }

    pub(super) async fn model(&self) -> Result<pb::GetModelResponse, Failure> {
        let request = self.service.request(pb::GetModelRequest {});
        Ok(self.service.matching().get_model(request).await?.into_inner())
    }

    pub(super) async fn item(&self, id: &str) -> Result<pb::Item, Failure> {
        let request = pb::GetItemRequest { id: id.to_owned(), read_mask: None };
        let answer = self.service.inventory().get_item(self.service.request(request)).await?;
        answer.into_inner().item.ok_or_else(|| missing("item"))
    }

    pub(super) async fn items(&self, filter: pb::ItemFilter) -> Result<Vec<pb::Item>, Failure> {
        let mut all = Vec::new();
        let mut request = pb::ListItemsRequest { filter: Some(filter), ..Default::default() };
        loop {
            let asked = self.service.request(request.clone());
            let page = self.service.inventory().list_items(asked).await?.into_inner();
            all.extend(page.items);
            if page.next_page_token.is_empty() {
                return Ok(all);
            }
            request.page_token = page.next_page_token;
        }
    }

    pub(super) async fn judge(
        &self,
        outfit: &Outfit,
        lure_id: &str,
        change: Option<pb::Lure>,
        water: pb::Water,
    ) -> Result<pb::Judgement, Failure> {
        self.judge_request(pb::JudgeRequest {
            outfit: outfit.given(),
            rod_id: outfit.rod.to_owned(),
            reel_id: outfit.reel.to_owned(),
            lure_id: lure_id.to_owned(),
            lure: change,
            water: Some(water),
            ..pb::JudgeRequest::default()
        })
        .await
    }

    pub(super) async fn judge_request(
        &self,
        request: pb::JudgeRequest,
    ) -> Result<pb::Judgement, Failure> {
        let answer = self.service.matching().judge(self.service.request(request)).await?;
        answer.into_inner().judgement.ok_or_else(|| missing("judgement"))
    }

    pub(super) async fn rank(
        &self,
        outfits: &[Outfit],
        lure_id: &str,
        water: pb::Water,
    ) -> Result<pb::RankResponse, Failure> {
        let request = pb::RankRequest {
            outfits: outfits.iter().map(Outfit::candidate).collect(),
            lures: vec![lure(lure_id)],
            water: Some(water),
            ..pb::RankRequest::default()
        };
        Ok(self.service.matching().rank(self.service.request(request)).await?.into_inner())
    }

    pub(super) async fn compare(
        &self,
        first: &Outfit,
        second: &Outfit,
        lure_id: &str,
        water: pb::Water,
    ) -> Result<pb::CompareResponse, Failure> {
        let request = pb::CompareRequest {
            first: Some(first.candidate()),
            second: Some(second.candidate()),
            lure: Some(lure(lure_id)),
            water: Some(water),
            ..pb::CompareRequest::default()
        };
        Ok(self.service.matching().compare(self.service.request(request)).await?.into_inner())
    }

    pub(super) async fn read_rod(&self, text: &str) -> Result<pb::Rod, Failure> {
        let request = pb::ReadGearRequest { text: text.to_owned(), kind: pb::GearKind::Rod.into() };
        let answer = self.service.matching().read_gear(self.service.request(request)).await?;
        match answer.into_inner().spec {
            Some(pb::read_gear_response::Spec::Rod(rod)) => Ok(rod),
            _ => Err(missing("rod")),
        }
    }

    pub(super) async fn plan(&self, request: pb::PlanTripRequest) -> Result<pb::Plan, Failure> {
        let answer = self.service.trips().plan_trip(self.service.request(request)).await?;
        answer.into_inner().plan.ok_or_else(|| missing("plan"))
    }

    pub(super) async fn fleet(
        &self,
        request: pb::PlanFleetRequest,
    ) -> Result<pb::FleetPlan, Failure> {
        let answer = self.service.trips().plan_fleet(self.service.request(request)).await?;
        answer.into_inner().plan.ok_or_else(|| missing("plan"))
    }

    pub(super) async fn recover(
        &self,
        request: pb::CheckCoverageRequest,
    ) -> Result<pb::CheckCoverageResponse, Failure> {
        let answer = self.service.trips().check_coverage(self.service.request(request)).await?;
        Ok(answer.into_inner())
    }
}

fn lure(id: &str) -> pb::LureCandidate {
    pb::LureCandidate { label: id.to_owned(), lure: None, lure_id: id.to_owned() }
}

//! One judgement.

use deepbend_contract::pb;

use super::{explanation, finish, printed_only};
use crate::args::{Explain, Global, JudgeArgs};
use crate::describe;
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, put};
use crate::render;
use crate::service::{Needs, Service};

/// Header of the rows that `judge` prints as comma-separated values.
pub(super) const HEADER: [&str; 7] =
    ["id", "verdict", "score", "score_low", "score_high", "limiting_factor", "model"];

pub(super) async fn run(global: &Global, args: &JudgeArgs) -> Result<(), Failure> {
    let (Some(rod), Some(lure)) = (args.rod.as_deref(), args.lure.as_deref()) else {
        return Err(Failure::usage("judge needs --rod and --lure, or --cases FILE")
            .hint("deepbend judge --rod R14 --reel E08 --lure L17 --wind \"9 m/s into\""));
    };
    let texts = [Some(rod), Some(lure), args.outfit.reel.as_deref()];
    let needs = if describe::names_an_item(texts.into_iter().flatten()) {
        Needs::Inventory
    } else {
        Needs::Nothing
    };
    let water = describe::water(&args.water)?;
    let overrides = describe::overrides(&args.overrides)?;
    let service = Service::open(global, needs).await?;
    let done = async {
        let outfit = describe::outfit(&service, Some(rod), &args.outfit).await?;
        let lure = describe::lure(&service, lure).await?;
        let request = pb::JudgeRequest {
            outfit: outfit.outfit,
            lure: lure.lure,
            water: Some(water),
            rod_id: outfit.rod_id,
            reel_id: outfit.reel_id,
            lure_id: lure.lure_id,
            overrides,
            explanation: explanation(global, pb::Explanation::Full),
            ..pb::JudgeRequest::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.matching().judge(service.request(request)).await?.into_inner();
        print(global, &answer)
    };
    let done = done.await;
    finish(service, done).await
}

fn print(global: &Global, answer: &pb::JudgeResponse) -> Result<(), Failure> {
    let Some(judgement) = &answer.judgement else {
        return Err(Failure::new(Exit::Failed, "the service answered without a judgement"));
    };
    if matches!(
        (global.output, global.explain),
        (Format::Csv, _) | (Format::Table, Some(Explain::None))
    ) {
        for caution in render::leading([judgement]) {
            output::note(&format!("caution: {}", render::caution_text(caution)));
        }
    }
    put(&match (global.output, global.explain) {
        (Format::Table, Some(Explain::None)) => {
            format!("{}\n", render::verdict_line(judgement))
        }
        (Format::Table, None | Some(Explain::Summary | Explain::Full)) => {
            render::judgement(judgement, output::width())
        }
        (Format::Json, _) => output::json_text(answer)?,
        (Format::Jsonl, _) => output::json_line(answer)?,
        (Format::Csv, _) => output::csv_text(&HEADER, &[row("1", judgement)])?,
    })
}

/// A judgement as a row under [`HEADER`].
pub(super) fn row(id: &str, judgement: &pb::Judgement) -> Vec<String> {
    vec![
        id.to_owned(),
        render::word!(Verdict, judgement.verdict),
        format!("{:.6}", judgement.score),
        format!("{:.6}", judgement.score_low),
        format!("{:.6}", judgement.score_high),
        render::word!(FactorKind, judgement.limiting_factor),
        judgement.model.as_ref().map(render::model_id).unwrap_or_default(),
    ]
}

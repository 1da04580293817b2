//! Two outfits side by side.

use deepbend_contract::pb;

use super::candidates;
use super::{explanation, finish, printed_only};
use crate::args::{CompareArgs, Global};
use crate::describe;
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, put};
use crate::render;
use crate::service::{Needs, Service};

const LONGEST_LABEL: usize = 14;
const HEADER: [&str; 5] = ["factor", "first_loss", "second_loss", "first_text", "second_text"];

pub(super) async fn run(global: &Global, args: &CompareArgs) -> Result<(), Failure> {
    let overrides = describe::overrides(&args.overrides)?;
    let water = describe::water(&args.water)?;
    let texts =
        [Some(&args.first), Some(&args.second), args.lure.as_ref(), { args.outfit.reel.as_ref() }];
    let named = describe::names_an_item(texts.into_iter().flatten().map(String::as_str));
    let needs = if args.cases.is_none() && named { Needs::Inventory } else { Needs::Nothing };
    let service = Service::open(global, needs).await?;
    let done = async {
        let mut request = match &args.cases {
            Some(path) => of_cases(args, path)?,
            None => of_words(&service, args, water).await?,
        };
        request.overrides = overrides;
        request.explanation = explanation(global, pb::Explanation::Summary);
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.matching().compare(service.request(request)).await?.into_inner();
        print(global, args, &answer)
    };
    let done = done.await;
    finish(service, done).await
}

async fn of_words(
    service: &Service,
    args: &CompareArgs,
    water: pb::Water,
) -> Result<pb::CompareRequest, Failure> {
    let lure = args.lure.as_deref().unwrap_or_default();
    let first = describe::outfit(service, Some(&args.first), &args.outfit).await?;
    let second = describe::outfit(service, Some(&args.second), &args.outfit).await?;
    let labels = labels(args);
    Ok(pb::CompareRequest {
        first: Some(pb::OutfitCandidate { label: labels.0, ..first }),
        second: Some(pb::OutfitCandidate { label: labels.1, ..second }),
        lure: Some(describe::lure(service, lure).await?),
        water: Some(water),
        ..pb::CompareRequest::default()
    })
}

/// What the caller wrote, where that is short enough for the head of a column and tells them apart.
fn labels(args: &CompareArgs) -> (String, String) {
    let short = |text: &str| text.chars().count() <= LONGEST_LABEL;
    if short(&args.first) && short(&args.second) && args.first != args.second {
        (args.first.clone(), args.second.clone())
    } else {
        ("first".to_owned(), "second".to_owned())
    }
}

fn of_cases(args: &CompareArgs, path: &std::path::Path) -> Result<pb::CompareRequest, Failure> {
    let rows = candidates::of_cases(path, &[&args.first, &args.second])?;
    let find = |id: &str| {
        let found = rows.outfits.iter().find(|outfit| outfit.label == id).cloned();
        found.ok_or_else(|| {
            let what = format!("{}: no row `{id}` with the same lure", path.display());
            Failure::new(Exit::BadData, what)
        })
    };
    Ok(pb::CompareRequest {
        first: Some(find(&args.first)?),
        second: Some(find(&args.second)?),
        lure: rows.lures.first().cloned(),
        water: rows.water,
        ..pb::CompareRequest::default()
    })
}

fn print(global: &Global, args: &CompareArgs, answer: &pb::CompareResponse) -> Result<(), Failure> {
    put(&match global.output {
        Format::Table => {
            let (first, second) = labels(args);
            render::comparison(answer, &first, &second, output::width())
        }
        Format::Json => output::json_text(answer)?,
        Format::Jsonl => output::json_line(answer)?,
        Format::Csv => {
            let rows: Vec<_> = answer.differences.iter().map(row).collect();
            output::csv_text(&HEADER, &rows)?
        }
    })
}

fn row(difference: &pb::FactorDifference) -> Vec<String> {
    let loss = |nano: i64| format!("{:.9}", nano as f64 * 1e-9);
    vec![
        render::word!(FactorKind, difference.kind),
        loss(difference.first_loss_nano),
        loss(difference.second_loss_nano),
        difference.first_text.clone(),
        difference.second_text.clone(),
    ]
}

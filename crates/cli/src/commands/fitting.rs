//! How far an outfit may be stretched, and which outfit would be right.

use std::collections::BTreeMap;

use deepbend_contract::pb;

use super::{finish, printed_only};
use crate::args::{EnvelopeArgs, Global, SpecifyArgs};
use crate::describe;
use crate::failure::{Exit, Failure};
use crate::output::{self, Format, put};
use crate::render::{self, units::trimmed};
use crate::service::{Needs, Service};

const ENVELOPE_HEADER: [&str; 9] = [
    "quantity",
    "present",
    "verdict",
    "least",
    "least_open",
    "greatest",
    "greatest_open",
    "nearest_good",
    "model",
];
const SPECIFY_HEADER: [&str; 5] = ["what", "best", "from", "to", "model"];

fn needs<'a>(texts: impl IntoIterator<Item = &'a str>) -> Needs {
    if describe::names_an_item(texts) { Needs::Inventory } else { Needs::Nothing }
}

pub(super) async fn envelope(global: &Global, args: &EnvelopeArgs) -> Result<(), Failure> {
    let texts = [Some(args.rod.as_str()), Some(&args.lure), args.outfit.reel.as_deref()];
    let water = describe::water(&args.water)?;
    let overrides = describe::overrides(&args.overrides)?;
    let service = Service::open(global, needs(texts.into_iter().flatten())).await?;
    let done = async {
        let outfit = describe::outfit(&service, Some(&args.rod), &args.outfit).await?;
        let lure = describe::lure(&service, &args.lure).await?;
        let request = pb::EnvelopeRequest {
            outfit: outfit.outfit,
            lure: lure.lure,
            water: Some(water),
            rod_id: outfit.rod_id,
            reel_id: outfit.reel_id,
            lure_id: lure.lure_id,
            overrides,
            ..pb::EnvelopeRequest::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.matching().envelope(service.request(request)).await?.into_inner();
        put(&match global.output {
            Format::Table => render::envelope(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&ENVELOPE_HEADER, &envelope_rows(&answer))?,
        })
    };
    let done = done.await;
    finish(service, done).await
}

fn envelope_rows(answer: &pb::EnvelopeResponse) -> Vec<Vec<String>> {
    let model = answer.model.as_ref().map(render::model_id).unwrap_or_default();
    let end = |end: &Option<pb::EnvelopeEnd>| match end {
        Some(end) => [trimmed(end.value), end.open.to_string()],
        None => [String::new(), String::new()],
    };
    let row = |(name, span): (&str, &pb::EnvelopeSpan)| {
        let ([least, least_open], [greatest, greatest_open]) =
            (end(&span.least), end(&span.greatest));
        vec![
            name.to_owned(),
            trimmed(span.present),
            render::word!(Verdict, span.verdict),
            least,
            least_open,
            greatest,
            greatest_open,
            span.nearest_good.map(trimmed).unwrap_or_default(),
            model.clone(),
        ]
    };
    render::spans(answer).into_iter().map(|quantity| row((quantity.name, quantity.span))).collect()
}

pub(super) async fn specify(global: &Global, args: &SpecifyArgs) -> Result<(), Failure> {
    let water = describe::water(&args.water)?;
    let overrides = describe::overrides(&args.overrides)?;
    let service = Service::open(global, needs(args.lures.iter().map(String::as_str))).await?;
    let done = async {
        let request = pb::SpecifyRequest {
            lures: lures(&service, &args.lures).await?,
            water: Some(water),
            overrides,
            ..pb::SpecifyRequest::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.matching().specify(service.request(request)).await?.into_inner();
        put(&match global.output {
            Format::Table => render::specification(&answer, output::width()),
            Format::Json => output::json_text(&answer)?,
            Format::Jsonl => output::json_line(&answer)?,
            Format::Csv => output::csv_text(&SPECIFY_HEADER, &specify_rows(&answer)?)?,
        })
    };
    let done = done.await;
    finish(service, done).await
}

/// The lures, each under what the caller wrote; a lure that is named again is counted.
async fn lures(service: &Service, texts: &[String]) -> Result<Vec<pb::LureCandidate>, Failure> {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut lures = Vec::with_capacity(texts.len());
    for text in texts {
        let count = seen.entry(text).or_default();
        *count += 1;
        let times = if *count > 1 { format!(" ({count})") } else { String::new() };
        let label: String = text.chars().take(48).collect();
        let lure = describe::lure(service, text).await?;
        lures.push(pb::LureCandidate { label: format!("{label}{times}"), ..lure });
    }
    Ok(lures)
}

fn specify_rows(answer: &pb::SpecifyResponse) -> Result<Vec<Vec<String>>, Failure> {
    let (Some(best), Some(window)) = (&answer.best, &answer.window) else {
        return Err(Failure::new(Exit::Failed, "the service answered without a specification"));
    };
    let model = answer.model.as_ref().map(render::model_id).unwrap_or_default();
    let row = |what: String, best: String, from: String, to: String| {
        vec![what, best, from, to, model.clone()]
    };
    let mut rows = Vec::new();
    for (what, of) in render::NUMBERS {
        let (from, to) = of(window);
        rows.push(row((*what).to_owned(), trimmed(of(best).0), trimmed(from), trimmed(to)));
    }
    for (what, of) in render::WORDS {
        let (best, window) = (of(best), of(window));
        let first = window.first().cloned().unwrap_or_default();
        let last = window.last().cloned().unwrap_or_default();
        rows.push(row((*what).to_owned(), best.join(" "), first, last));
    }
    for (i, lure) in answer.lures.iter().enumerate() {
        let score = format!("{:.6}", lure.score);
        let what = format!("score of lure {}", i + 1);
        rows.push(row(what, score.clone(), score.clone(), score));
    }
    Ok(rows)
}

//! Many outfits for one lure, or many lures for one outfit.

use std::collections::BTreeSet;

use deepbend_contract::pb;

use super::candidates::{self, Candidates};
use super::{explanation, finish, printed_only};
use crate::args::{Global, RankArgs};
use crate::describe;
use crate::failure::Failure;
use crate::output::{self, Format, note, put};
use crate::render;
use crate::service::{Needs, Service};

/// Most candidates that the contract allows.
const MOST_CANDIDATES: usize = 1000;
const HEADER: [&str; 9] = [
    "rank",
    "tied",
    "label",
    "verdict",
    "score",
    "score_low",
    "score_high",
    "deciding_factor",
    "model",
];

pub(super) async fn run(global: &Global, args: &RankArgs) -> Result<(), Failure> {
    if args.cases.is_none() && args.rods.is_empty() && args.lures.is_empty() {
        return Err(Failure::usage("rank needs --lure, --rod or --cases")
            .hint("deepbend rank --lure L17 --wind \"9 m/s into\""));
    }
    let overrides = describe::overrides(&args.overrides)?;
    let water = describe::water(&args.water)?;
    let texts = args.rods.iter().chain(&args.lures).map(String::as_str);
    let from_inventory = args.rods.is_empty() || args.lures.is_empty();
    let named = describe::names_an_item(texts.chain(args.outfit.reel.as_deref()));
    let needs = if args.cases.is_none() && (from_inventory || named) {
        Needs::Inventory
    } else {
        Needs::Nothing
    };
    let service = Service::open(global, needs).await?;
    let done = async {
        let candidates = match &args.cases {
            Some(path) => candidates::of_cases(path, &[])?,
            None => candidates(&service, args, water).await?,
        };
        let mut request = pb::RankRequest {
            outfits: candidates.outfits,
            lures: candidates.lures,
            water: candidates.water,
            overrides,
            explanation: explanation(global, pb::Explanation::Summary),
            ..pb::RankRequest::default()
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let each_rod_once = args.cases.is_none() && args.rods.is_empty() && !args.pairs;
        if each_rod_once {
            keep_best_of_each_rod(&service, &mut request).await?;
        }
        let answer = service.matching().rank(service.request(request)).await?.into_inner();
        print(global, answer, args.top)
    };
    let done = done.await;
    finish(service, done).await
}

async fn candidates(
    service: &Service,
    args: &RankArgs,
    water: pb::Water,
) -> Result<Candidates, Failure> {
    let outfits = if args.rods.is_empty() {
        let shared = describe::outfit(service, None, &args.outfit).await?;
        candidates::outfits_of_inventory(service, &args.places, &shared).await?
    } else {
        let mut outfits = Vec::new();
        for rod in &args.rods {
            let candidate = describe::outfit(service, Some(rod), &args.outfit).await?;
            let label = label(rod, outfits.len(), args.rods.iter().filter(|r| *r == rod).count());
            outfits.push(pb::OutfitCandidate { label, ..candidate });
        }
        outfits
    };
    let lures = if args.lures.is_empty() {
        candidates::lures_of_inventory(service, &args.places).await?
    } else {
        let mut lures = Vec::new();
        for text in &args.lures {
            let candidate = describe::lure(service, text).await?;
            let label = label(text, lures.len(), args.lures.iter().filter(|l| *l == text).count());
            lures.push(pb::LureCandidate { label, ..candidate });
        }
        lures
    };
    if outfits.is_empty() || lures.is_empty() {
        let what = if outfits.is_empty() { "rod with a reel that fits" } else { "lure" };
        return Err(Failure::new(crate::failure::Exit::BadData, format!("no {what} is ready"))
            .hint("`deepbend gear list` shows what there is; --place narrows it"));
    }
    if outfits.len() > 1 && lures.len() > 1 {
        return Err(Failure::usage("several outfits and several lures at once")
            .hint("name one lure, or one outfit"));
    }
    if outfits.len().max(lures.len()) > MOST_CANDIDATES {
        let what = format!("{} candidates; at most {MOST_CANDIDATES}", outfits.len());
        return Err(Failure::usage(what).hint("narrow them with --place or --reel"));
    }
    Ok(Candidates { outfits, lures, water: Some(water) })
}

/// What the caller wrote, short enough for a label; its position where that would not tell.
fn label(text: &str, index: usize, times: usize) -> String {
    let short = text.trim();
    if times == 1 && !short.is_empty() && short.chars().count() <= 32 {
        short.to_owned()
    } else {
        (index + 1).to_string()
    }
}

/// Leaves each rod the reel with which it does best, so that the ranking is one of rods.
async fn keep_best_of_each_rod(
    service: &Service,
    request: &mut pb::RankRequest,
) -> Result<(), Failure> {
    let all = pb::RankRequest { explanation: pb::Explanation::Summary.into(), ..request.clone() };
    let answer = service.matching().rank(service.request(all)).await?.into_inner();
    let mut rods = BTreeSet::new();
    let mut best = Vec::new();
    for choice in &answer.choices {
        let index = usize::try_from(choice.candidate_index).unwrap_or(usize::MAX);
        if let Some(candidate) = request.outfits.get(index)
            && rods.insert(candidate.rod_id.clone())
        {
            best.push(candidate.clone());
        }
    }
    note(&format!(
        "note: {} rods with {} pairs of rod and reel; each rod with its best reel (--pairs: all)",
        best.len(),
        request.outfits.len(),
    ));
    request.outfits = best;
    Ok(())
}

fn print(global: &Global, mut answer: pb::RankResponse, top: usize) -> Result<(), Failure> {
    if answer.choices.len() > top {
        note(&format!("note: {} more; --top prints a longer list", answer.choices.len() - top));
        answer.choices.truncate(top);
    }
    put(&match global.output {
        Format::Table => render::ranking(&answer, output::width()),
        Format::Json => output::json_text(&answer)?,
        Format::Jsonl => output::json_lines(&answer.choices)?,
        Format::Csv => {
            let rows: Vec<_> = answer.choices.iter().map(row).collect();
            output::csv_text(&HEADER, &rows)?
        }
    })
}

fn row(choice: &pb::RankedChoice) -> Vec<String> {
    let judgement = choice.judgement.clone().unwrap_or_default();
    let [_, verdict, score, low, high, _, model] =
        <[String; 7]>::try_from(super::judge::row("", &judgement)).unwrap_or_default();
    let deciding = choice.deciding_factor;
    vec![
        choice.rank.to_string(),
        if choice.tied { "yes" } else { "no" }.to_owned(),
        choice.label.clone(),
        verdict,
        score,
        low,
        high,
        render::word!(FactorKind, deciding),
        model,
    ]
}

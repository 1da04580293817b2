//! A ranking.

use deepbend_contract::pb;

use super::judgement::{caution_text, leading};
use super::{Page, Table, bar, capital, plain};

/// A ranking, best first; `=` marks a tie.
#[must_use]
pub fn ranking(response: &pb::RankResponse, width: usize) -> String {
    let mut page = Page::new(width);
    for caution in leading(response.choices.iter().filter_map(|choice| choice.judgement.as_ref())) {
        page.hanging("! ", &caution_text(caution));
    }
    page.paragraph(&format!("{}.", capital(response.summary.trim_end_matches('.'))));
    page.heading("Ranking (= marks a tie)");
    let mut table = Table::new()
        .right("rank")
        .left("")
        .left("verdict")
        .left("score")
        .wrapped("why not, or why");
    for choice in &response.choices {
        let Some(judgement) = &choice.judgement else { continue };
        let tie = if choice.tied { "=" } else { "" };
        let why = if choice.why_not.is_empty() { &judgement.summary } else { &choice.why_not };
        table.row(vec![
            format!("{tie}{}", choice.rank),
            choice.label.clone(),
            plain!(Verdict, judgement.verdict),
            format!("{:.2} {}", judgement.score, bar(judgement.score)),
            why.clone(),
        ]);
    }
    page.table(&table);
    page.finish()
}

//! Two outfits side by side.

use deepbend_contract::pb;

use super::judgement::{caution_text, leading};
use super::{Page, Table, bar, capital, plain};

/// Billionths of the score that are shown as 0.01.
const SHOWN_NANO: i64 = 5_000_000;

/// A comparison, largest difference first; `first` and `second` name the outfits.
#[must_use]
pub fn comparison(
    response: &pb::CompareResponse,
    first: &str,
    second: &str,
    width: usize,
) -> String {
    let mut page = Page::new(width);
    for caution in leading(response.first.iter().chain(&response.second)) {
        page.hanging("! ", &caution_text(caution));
    }
    page.paragraph(&format!("{}.", capital(response.summary.trim_end_matches('.'))));
    page.heading("Scores");
    let mut scores = Table::new().left("").left("verdict").left("score").wrapped("why");
    for (name, judgement) in [(first, &response.first), (second, &response.second)] {
        let Some(judgement) = judgement else { continue };
        scores.row(vec![
            name.to_owned(),
            plain!(Verdict, judgement.verdict),
            format!("{:.2} {}", judgement.score, bar(judgement.score)),
            judgement.summary.clone(),
        ]);
    }
    page.table(&scores);
    page.heading("Factor by factor, largest difference first");
    let mut table = Table::new()
        .left("")
        .right("for")
        .right("by")
        .wrapped(&format!("takes from {first}"))
        .wrapped(&format!("takes from {second}"));
    let mut alike = Vec::new();
    for difference in &response.differences {
        let nano = difference.second_loss_nano - difference.first_loss_nano;
        if nano.abs() < SHOWN_NANO {
            alike.push(plain!(FactorKind, difference.kind));
            continue;
        }
        let side = if nano > 0 { first } else { second };
        let cell = |loss: i64, text: &str| {
            if text.is_empty() {
                "does not apply".to_owned()
            } else {
                format!("{:.2}: {text}", loss as f64 * 1e-9)
            }
        };
        table.row(vec![
            plain!(FactorKind, difference.kind),
            side.to_owned(),
            format!("{:.2}", nano.unsigned_abs() as f64 * 1e-9),
            cell(difference.first_loss_nano, &difference.first_text),
            cell(difference.second_loss_nano, &difference.second_text),
        ]);
    }
    if !table.is_empty() {
        page.table(&table);
    }
    if !alike.is_empty() {
        page.hanging("about the same: ", &alike.join(", "));
    }
    page.finish()
}

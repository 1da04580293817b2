//! One judgement.

use deepbend_contract::pb;

use super::units::{self, short};
use super::{Page, Table, bar, capital, model_id, plain};

const NANO: f64 = 1e-9;
/// Shown as 1.00: then nothing limits it.
const NEARLY_PERFECT: f64 = 0.995;

/// One judgement: verdict and reason first, then everything behind it.
#[must_use]
pub fn judgement(judgement: &pb::Judgement, width: usize) -> String {
    let mut page = Page::new(width);
    let (gear, others): (Vec<_>, Vec<_>) = judgement.cautions.iter().cloned().partition(is_of_gear);
    head(&mut page, judgement, &gear);
    factors(&mut page, judgement);
    limits(&mut page, "Limits", &judgement.limits);
    limits(&mut page, "Cannot be ruled out (hangs on a value that was assumed)", {
        &judgement.cannot_rule_out
    });
    fixes(&mut page, &judgement.fixes);
    if let Some(found) = &judgement.settings {
        page.heading("Settings");
        page.pairs(&settings(found));
    }
    assumed(&mut page, &judgement.assumptions);
    narrowing(&mut page, &judgement.narrowing_field);
    findings(&mut page, &judgement.findings);
    cautions(&mut page, &others);
    if let Some(model) = &judgement.model {
        page.heading(&format!("Model {}", model_id(model)));
    }
    page.finish()
}

/// Verdict, score and interval on one line.
#[must_use]
pub fn verdict_line(judgement: &pb::Judgement) -> String {
    let limited = if judgement.score < NEARLY_PERFECT {
        format!("  limited by {}", plain!(FactorKind, judgement.limiting_factor))
    } else {
        String::new()
    };
    format!(
        "{}  {:.2} {}  (likely {:.2} to {:.2}){limited}",
        plain!(Verdict, judgement.verdict).to_uppercase(),
        judgement.score,
        bar(judgement.score),
        judgement.score_low,
        judgement.score_high,
    )
}

fn head(page: &mut Page, judgement: &pb::Judgement, gear: &[pb::Caution]) {
    gear.iter().for_each(|caution| page.hanging("! ", &caution_text(caution)));
    page.line(&verdict_line(judgement));
    page.paragraph(&format!("{}.", capital(&judgement.summary)));
    if judgement.limits.iter().any(|limit| limit.broken) {
        page.paragraph(&format!(
            "Without the broken limit the score would be {:.2}.",
            judgement.score_without_limits
        ));
    }
}

fn factors(page: &mut Page, judgement: &pb::Judgement) {
    if judgement.factors.is_empty() {
        return;
    }
    page.heading("Factors, by what each takes from a perfect 1.00 (* limits)");
    let mut table = Table::new().left("").left("score").right("takes").wrapped("why");
    let mut by_loss: Vec<_> = judgement.factors.iter().collect();
    // Stable: what takes nothing keeps the order in which a guide thinks.
    by_loss.sort_by_key(|factor| std::cmp::Reverse(factor.loss_nano));
    for factor in by_loss {
        let limiting = factor.kind == judgement.limiting_factor
            && judgement.score_without_limits < NEARLY_PERFECT;
        let mark = if limiting { "*" } else { " " };
        table.row(vec![
            format!("{mark} {}", plain!(FactorKind, factor.kind)),
            format!("{:.2} {}", factor.score, bar(factor.score)),
            format!("{:.2}", factor.loss_nano as f64 * NANO),
            factor.text.clone(),
        ]);
    }
    page.table(&table);
}

fn limits(page: &mut Page, heading: &str, limits: &[pb::Limit]) {
    if limits.is_empty() {
        return;
    }
    page.heading(heading);
    for limit in limits {
        let state = if limit.broken { "BROKEN" } else { "near" };
        let held = limit.quantity.as_ref().map_or_else(String::new, |quantity| {
            let name = quantity.name.replace('_', " ");
            let (value, bound) = units::apart(quantity.value, limit.bound, &quantity.unit);
            format!(" ({name} {value} against {bound})")
        });
        let text = format!(
            "{}, protects the {}: {}{held}",
            plain!(LimitCode, limit.code),
            plain!(Protects, limit.protects),
            limit.text,
        );
        page.hanging(&format!("  {state:6}  "), &text);
    }
}

fn fixes(page: &mut Page, fixes: &[pb::Fix]) {
    if fixes.is_empty() {
        return;
    }
    page.heading("Fixes, cheapest first, each judged again");
    let mut table = Table::new().wrapped("").left("verdict").left("score").right("minutes");
    for fix in fixes {
        table.row(vec![
            format!("- {}", fix.text),
            plain!(Verdict, fix.verdict),
            format!("{:.2} {}", fix.score, bar(fix.score)),
            short(fix.duration_minutes),
        ]);
    }
    page.table(&table);
}

/// How to rig and set, in both unit systems.
pub(super) fn settings(settings: &pb::Settings) -> Vec<(String, String)> {
    let pair = |name: &str, value: String| (name.to_owned(), value);
    let none =
        pb::LeaderMaterial::try_from(settings.leader_material) == Ok(pb::LeaderMaterial::None);
    let leader = if none {
        "none".to_owned()
    } else {
        format!(
            "{}, {}, {} long",
            plain!(LeaderMaterial, settings.leader_material),
            units::kilograms(settings.leader_test_kgf),
            units::metres(settings.leader_length_m),
        )
    };
    let snap = || pair("snap", format!("{} or stronger", units::kilograms(settings.snap_test_kgf)));
    let mut rows = vec![
        pair(
            "drag",
            format!(
                "{}, by scale through the rod tip, with {} of line out",
                units::kilograms(settings.drag_kgf),
                units::metres(settings.line_out_m),
            ),
        ),
        pair("leader", leader),
        pair("line knot", settings.main_knot.clone()),
        pair("lure knot", settings.lure_knot.clone()),
    ];
    rows.extend(settings.has_snap.then(snap));
    rows.extend([
        pair("cast limit", cast_limit(settings)),
        pair("reel", settings.reel.clone()),
        pair(
            "holds for",
            format!(
                "{} hooks on {} line",
                plain!(HookStyle, settings.hook_style),
                plain!(LineMaterial, settings.line_material),
            ),
        ),
    ]);
    rows
}

/// The greatest full cast, and what bears no more.
fn cast_limit(settings: &pb::Settings) -> String {
    let link = match settings.cast_link() {
        pb::CastLink::Rod => "the rod",
        pb::CastLink::Line => "the line",
        pb::CastLink::Leader => "the leader",
        pb::CastLink::Unspecified => "it",
    };
    if settings.cast_limit_g <= 0.0 {
        return format!("no full cast: {link} bears none");
    }
    format!("{} with full force; {link} bears no more", units::grams(settings.cast_limit_g))
}

/// What was assumed since it was not given.
pub(super) fn assumed(page: &mut Page, assumptions: &[pb::Assumption]) {
    if assumptions.is_empty() {
        return;
    }
    page.heading("Assumed, since not given");
    let row = |a: &pb::Assumption| (a.field.clone(), format!("{}: {}", a.value, a.reason));
    page.pairs(&assumptions.iter().map(row).collect::<Vec<_>>());
}

fn narrowing(page: &mut Page, field: &str) {
    if !field.is_empty() {
        let text = format!("Measuring {field} better would narrow the interval most.");
        page.hanging("  ", &text);
    }
}

/// What is odd about a description.
pub(super) fn findings(page: &mut Page, findings: &[pb::Finding]) {
    if findings.is_empty() {
        return;
    }
    page.heading("Findings");
    for finding in findings {
        let code = plain!(FindingCode, finding.code);
        let field = finding.field.replace(['.', '_'], " ");
        page.hanging("  - ", &format!("{field}: {} ({code})", finding.text));
    }
}

/// What to be careful about.
pub(super) fn cautions(page: &mut Page, cautions: &[pb::Caution]) {
    if cautions.is_empty() {
        return;
    }
    page.heading("Cautions");
    for caution in cautions {
        page.hanging("  ! ", &caution_text(caution));
    }
}

/// A caution in one sentence.
pub(crate) fn caution_text(caution: &pb::Caution) -> String {
    format!("{} (because: {})", capital(&caution.text), caution.because)
}

/// Whether a caution is about gear that is to be looked at, or left, before it is fished.
fn is_of_gear(caution: &pb::Caution) -> bool {
    caution.code == i32::from(pb::CautionCode::CheckGear)
}

/// Cautions about gear that lead those of the judgements, each once.
pub(crate) fn leading<'j>(
    judgements: impl IntoIterator<Item = &'j pb::Judgement>,
) -> Vec<&'j pb::Caution> {
    let mut leading: Vec<&pb::Caution> = Vec::new();
    for judgement in judgements {
        for caution in judgement.cautions.iter().take_while(|caution| is_of_gear(caution)) {
            if leading.iter().all(|known| known.text != caution.text) {
                leading.push(caution);
            }
        }
    }
    leading
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the contract's comments on the limit and on what bears no more.
    #[test]
    fn a_cast_limit_says_what_of() {
        let said = |cast_limit_g, link: pb::CastLink| {
            cast_limit(&pb::Settings { cast_limit_g, cast_link: link.into(), ..Default::default() })
        };
        assert_eq!(
            said(20.0, pb::CastLink::Leader),
            "20 g (0.71 oz) with full force; the leader bears no more"
        );
        assert_eq!(said(0.0, pb::CastLink::Line), "no full cast: the line bears none");
    }

    // By hand: what is knotted on needs no snap.
    #[test]
    fn a_snap_is_asked_for_where_there_is_one() {
        for has_snap in [true, false] {
            let rows = super::settings(&pb::Settings { has_snap, ..Default::default() });
            assert_eq!(rows.iter().any(|(name, _)| name == "snap"), has_snap);
        }
    }
}

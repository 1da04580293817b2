//! Envelopes and specifications.

use deepbend_contract::pb;

use super::{Page, Table, assumed, bar, capital, cautions, plain, units, word};

/// A quantity of an envelope.
pub(crate) struct Quantity<'a> {
    /// Field of the answer.
    pub(crate) name: &'static str,
    said: &'static str,
    unit: &'static str,
    pub(crate) span: &'a pb::EnvelopeSpan,
}

/// The quantities of an envelope.
pub(crate) fn spans(answer: &pb::EnvelopeResponse) -> Vec<Quantity<'_>> {
    let all = [
        ("rigged_mass_g", "rigged mass", "g", &answer.rigged_mass_g),
        ("hook_wire_mm", "hook wire", "mm", &answer.hook_wire_mm),
        ("guard_force_n", "guard force", "N", &answer.guard_force_n),
        ("wind_into_m_s", "wind into", "m/s", &answer.wind_into_m_s),
        ("wind_across_m_s", "wind across", "m/s", &answer.wind_across_m_s),
        ("fish_mass_kg", "fish", "kg", &answer.fish_mass_kg),
        ("current_m_s", "current", "m/s", &answer.current_m_s),
    ];
    let known = all
        .into_iter()
        .filter_map(|(name, said, unit, span)| Some((name, said, unit, span.as_ref()?)));
    known.map(|(name, said, unit, span)| Quantity { name, said, unit, span }).collect()
}

/// An envelope.
#[must_use]
pub fn envelope(answer: &pb::EnvelopeResponse, width: usize) -> String {
    let mut page = Page::new(width);
    let verdict = plain!(Verdict, answer.verdict).to_uppercase();
    page.line(&format!("{verdict}  {:.2} {}", answer.score, bar(answer.score)));
    page.paragraph(&format!("{}.", capital(&answer.summary)));
    page.heading("Good from and to, the others held (+ no end was found)");
    let mut table = Table::new().left("").left("now").left("good").wrapped("what ends it");
    for Quantity { said, unit, span, .. } in spans(answer) {
        let (good, why) = match (&span.least, &span.greatest, span.nearest_good) {
            (Some(least), Some(greatest), _) => {
                let marks = [least, greatest].map(|end| if end.open { "+" } else { "" });
                let why = ended([beyond(least), beyond(greatest)]);
                (units::interval([least.value, greatest.value], marks, unit), why)
            }
            (_, _, near) => {
                let word = plain!(Verdict, span.verdict);
                let near = near.map_or_else(
                    || "no value is good".to_owned(),
                    |near| format!("good at {}", units::quantity(near, unit)),
                );
                (String::new(), format!("{word}; {near}"))
            }
        };
        table.row(vec![
            said.to_owned(),
            format!("{} {unit}", units::short(span.present)),
            good,
            why,
        ]);
    }
    page.table(&table);
    assumed(&mut page, &answer.assumptions);
    cautions(&mut page, &answer.cautions);
    page.finish()
}

/// What ends the good values, said once where both sides end by it.
fn ended([below, above]: [Option<String>; 2]) -> String {
    match (below, above) {
        (Some(below), Some(above)) if below == above => format!("{below} on both sides"),
        (Some(below), Some(above)) => format!("below {below}, above {above}"),
        (Some(below), None) => format!("below {below}"),
        (None, Some(above)) => format!("above {above}"),
        (None, None) => String::new(),
    }
}

fn beyond(end: &pb::EnvelopeEnd) -> Option<String> {
    let factor = plain!(FactorKind, end.limiting_factor);
    let why = if end.beyond() == pb::Verdict::Workable {
        factor
    } else {
        format!("{} by {factor}", plain!(Verdict, end.beyond))
    };
    (!end.open).then_some(why)
}

type Number = (&'static str, fn(&pb::OutfitSpec) -> (f64, f64));
type Words = (&'static str, fn(&pb::OutfitSpec) -> Vec<String>);

/// The numbers of a specification, least and greatest.
pub(crate) const NUMBERS: &[Number] = &[
    ("power_class", |s| (s.power_class_min, s.power_class_max)),
    ("length_m", |s| (s.length_min_m, s.length_max_m)),
    ("lure_rating_min_g", |s| (s.lure_rating_min_from_g, s.lure_rating_min_to_g)),
    ("lure_rating_max_g", |s| (s.lure_rating_max_from_g, s.lure_rating_max_to_g)),
    ("line_rating_max_kgf", |s| (s.line_rating_max_from_kgf, s.line_rating_max_to_kgf)),
    ("drag_kgf", |s| (s.drag_min_kgf, s.drag_max_kgf)),
    ("retrieve_cm", |s| (s.retrieve_min_cm, s.retrieve_max_cm)),
];

/// The words of a specification.
pub(crate) const WORDS: &[Words] = &[
    ("action", |s| s.actions.iter().map(|w| word!(Action, *w)).collect()),
    ("material", |s| s.materials.iter().map(|w| word!(RodMaterial, *w)).collect()),
    ("handle", |s| s.handles.iter().map(|w| word!(Handle, *w)).collect()),
    ("line", |s| s.lines.iter().map(|l| word!(LineMaterial, l.material)).collect()),
    ("leader", |s| s.leaders.iter().map(|l| word!(LeaderMaterial, l.material)).collect()),
    ("reel", |s| s.reels.clone()),
];

/// A specification.
#[must_use]
pub fn specification(answer: &pb::SpecifyResponse, width: usize) -> String {
    let mut page = Page::new(width);
    let verdict = plain!(Verdict, answer.verdict).to_uppercase();
    page.line(&format!("{verdict}  {:.2} {}", answer.score, bar(answer.score)));
    if !answer.obstacle.is_empty() {
        let text = format!("No outfit is good with every lure; in the way is {}.", answer.obstacle);
        page.paragraph(&text);
    }
    if let Some(best) = &answer.best {
        page.heading("Best");
        page.paragraph(&format!("{}.", capital(&best.text)));
    }
    if let (Some(window), true) = (&answer.window, answer.obstacle.is_empty()) {
        page.heading("What may vary round it with every lure good (not every combination)");
        page.paragraph(&format!("{}.", capital(&window.text)));
    }
    page.heading("Lures with the best outfit");
    let mut table = Table::new().wrapped("lure").left("verdict").left("score").left("limited by");
    for lure in &answer.lures {
        table.row(vec![
            lure.label.clone(),
            plain!(Verdict, lure.verdict),
            format!("{:.2} {}", lure.score, bar(lure.score)),
            plain!(FactorKind, lure.limiting_factor),
        ]);
    }
    page.table(&table);
    cautions(&mut page, &answer.cautions);
    page.finish()
}

//! Text for people: every line within its width, everything in both unit systems.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, missing_docs, reason = "a test")]

use deepbend_cli::cases;
use deepbend_cli::render;
use deepbend_contract::{ToWire as _, pb};
use deepbend_core::judge;
use deepbend_core::model::Model;

const CASES: &str = include_str!("data/cases.csv");

fn judgements() -> Vec<pb::Judgement> {
    let model = Model::builtin();
    cases::read(CASES.as_bytes())
        .unwrap()
        .into_iter()
        .map(|row| {
            let row = row.unwrap();
            judge::judge(model, &row.outfit, &row.lure, &row.water).to_wire()
        })
        .collect()
}

fn keeps_to(width: usize, text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= width, "wider than {width}: {line}");
        assert_eq!(line, line.trim_end());
    }
}

// Common practice, no source: 80 columns; both unit systems by NIST SP 811.
#[test]
fn a_judgement_reads_well_in_eighty_columns() {
    for judgement in judgements() {
        for width in [72, 80, 100] {
            keeps_to(width, &render::judgement(&judgement, width));
        }
        let text = render::judgement(&judgement, 80);
        let settings = judgement.settings.as_ref().unwrap();
        let drag = format!("{} kg ({} lb)", short(settings.drag_kgf), short(settings.drag_lbf));
        for part in ["Factors", "Settings", &drag, " oz)", " ft)", "Model deepbend"] {
            assert!(text.contains(part), "{part} not in\n{text}");
        }
        let verdict = pb::Verdict::try_from(judgement.verdict).unwrap();
        let word = verdict.as_str_name().trim_start_matches("VERDICT_");
        assert!(text.starts_with(word), "{text}");
        assert_eq!(text.contains("BROKEN"), verdict == pb::Verdict::Unsafe);
        for fix in &judgement.fixes {
            assert!(text.contains(fix.text.split(' ').next().unwrap()));
        }
        assert_eq!(text.contains("Fixes"), !judgement.fixes.is_empty());
        println!("{text}");
    }
}

fn short(value: f64) -> String {
    render::units::short(value)
}

//! Gear as people write it.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::gear::read::columns::{
    LureColumns, ReelColumns, RodColumns, StockColumns, StockItem,
};
use deepbend_core::gear::read::{
    WireClass, hook_wire, read_leader, read_line, read_lure, read_reel, read_rod,
};
use deepbend_core::gear::{
    Action, Finding, FindingCode, Handle, HookStyle, LeaderMaterial, LineBasis, LineMaterial,
    LureClass, Power, RetrieveSide, RodMaterial,
};
use deepbend_core::quantity::{Force, Length, Mass};
use proptest::prelude::*;

fn codes(findings: &[Finding]) -> Vec<FindingCode> {
    findings.iter().map(|f| f.code).collect()
}

fn g(mass: Option<Mass>) -> f64 {
    (mass.unwrap().g() * 10.0).round() / 10.0
}

fn kg(force: Option<Force>) -> f64 {
    (force.unwrap().kgf() * 100.0).round() / 100.0
}

fn mm(length: Option<Length>) -> f64 {
    (length.unwrap().mm() * 1000.0).round() / 1000.0
}

/// Common practice, no source; units by NIST SP 811.
#[test]
fn a_rod_in_one_line() {
    let (rod, findings) =
        read_rod("7'2\" MH fast casting graphite 3/8-1 oz 12-20 lb, 2-piece, 138 g");
    assert_eq!(findings, vec![]);
    assert_eq!(mm(rod.length), 2184.4);
    assert_eq!(rod.power_label, Some(Power::MediumHeavy));
    assert_eq!(rod.action, Some(Action::Fast));
    assert_eq!(rod.handle, Some(Handle::Casting));
    assert_eq!(rod.material, Some(RodMaterial::Graphite));
    assert_eq!((g(rod.lure_rating.min), g(rod.lure_rating.max)), (10.6, 28.3));
    assert_eq!((kg(rod.line_rating.min), kg(rod.line_rating.max)), (5.44, 9.07));
    assert_eq!(rod.pieces, Some(2));
    assert_eq!(g(rod.mass), 138.0);
    assert_eq!(rod.line_rating_basis, None);
}

#[test]
fn rods_in_other_words() {
    let (rod, findings) = read_rod("spinning 2.20 m ML moderate fast 4-14 g 6-10 lb");
    assert_eq!(findings, vec![]);
    assert_eq!(rod.action, Some(Action::ModerateFast));
    assert_eq!(rod.power_label, Some(Power::MediumLight));
    assert_eq!((g(rod.lure_rating.min), g(rod.lure_rating.max)), (4.0, 14.0));
    let (rod, findings) = read_rod("Casting, 2.45 m, XH, x-fast, lure 40–120 g, line PE 3-5");
    assert_eq!(codes(&findings), vec![FindingCode::LineNumberConverted]);
    assert_eq!(rod.action, Some(Action::ExtraFast));
    assert_eq!(rod.power_label, Some(Power::ExtraHeavy));
    assert_eq!((kg(rod.line_rating.min), kg(rod.line_rating.max)), (13.5, 22.5));
    assert_eq!(rod.line_rating_basis, Some(LineBasis::Nylon));
    let (rod, findings) = read_rod("medium heavy fast rod, 7 ft, 1/4-3/4 oz (7-21 g)");
    assert_eq!(findings, vec![]);
    assert_eq!(rod.power_label, Some(Power::MediumHeavy));
    assert_eq!(rod.action, Some(Action::Fast));
    assert_eq!(mm(rod.length), 2133.6);
    let (rod, findings) = read_rod("7 ft medium fast 10-30 g regular");
    assert_eq!((rod.power_label, rod.action), (Some(Power::Medium), Some(Action::Fast)));
    assert!(codes(&findings).contains(&FindingCode::NearestWord));
}

/// Trap U08: a line rating without unit beside ounces.
#[test]
fn a_rating_without_unit_is_taken_as_pounds() {
    for text in ["6-10, 1/4-1 1/2 oz", "1/4-1 1/2 oz line 6-10"] {
        let (rod, findings) = read_rod(text);
        assert_eq!(kg(rod.line_rating.max), 4.54);
        assert_eq!(g(rod.lure_rating.max), 42.5);
        assert!(codes(&findings).contains(&FindingCode::UnitAssumed));
    }
}

#[test]
fn what_is_not_understood_is_named() {
    let (rod, findings) = read_rod("wonderful 7'2\" rod with turquoise wraps, 10-21 g");
    assert_eq!(mm(rod.length), 2184.4);
    assert_eq!(rod.lure_rating.max, Some(Mass::from_g(21.0)));
    let (rod, more) = read_rod("lure 1/4-1/2 g");
    assert_eq!(rod.lure_rating.max, None);
    assert_eq!(codes(&more), vec![FindingCode::UnitSuspect]);
    let ignored = findings.iter().find(|f| f.code == FindingCode::TextIgnored);
    let text = &ignored.unwrap().text;
    assert!(text.contains("wonderful") && text.contains("turquoise"), "{text}");
    assert!(!text.contains("rod"), "{text}");
}

/// Common practice, no source.
#[test]
fn a_reel_in_one_line() {
    let (reel, findings) = read_reel("3000 spinning 5.2:1 78 cm 7 kg 0.26/170 240 g left hand");
    assert_eq!(findings, vec![]);
    assert_eq!(reel.size.as_deref(), Some("3000"));
    assert_eq!(reel.kind, Some(Handle::Spinning));
    assert_eq!(reel.gear_ratio, Some(5.2));
    assert_eq!(mm(reel.retrieve), 780.0);
    assert_eq!(kg(reel.drag_max), 7.0);
    assert_eq!(mm(reel.capacity_diameter), 0.26);
    assert_eq!(mm(reel.capacity_length), 170_000.0);
    assert_eq!(g(reel.mass), 240.0);
    assert_eq!(reel.retrieve_side, Some(RetrieveSide::Left));
    let (reel, findings) = read_reel("fixed-spool 2500HG max drag 9 lb, 29 in, 0.22 mm/150 m");
    assert_eq!(findings, vec![]);
    assert_eq!(reel.size.as_deref(), Some("2500HG"));
    assert_eq!(kg(reel.drag_max), 4.08);
    assert_eq!(mm(reel.retrieve), 736.6);
    assert_eq!(mm(reel.capacity_length), 150_000.0);
}

/// Trap U06.
#[test]
fn a_bare_drag_is_asked_about() {
    let (reel, findings) = read_reel("1000 spinning drag 300");
    assert_eq!(reel.drag_max, None);
    assert_eq!(codes(&findings), vec![FindingCode::UnitSuspect]);
    assert!(findings[0].text.contains("300 g"));
    let (reel, findings) = read_reel("1000 spinning drag 300 g");
    assert_eq!((kg(reel.drag_max), findings), (0.3, vec![]));
}

/// Strengths and diameters from memory; No. 3 by JAFS 2010.
#[test]
fn lines() {
    let (line, findings) = read_line("braid PE 1.5 (13 kg) 8-strand 150 m");
    assert_eq!(codes(&findings), vec![FindingCode::LineNumberConverted]);
    assert_eq!(line.material, Some(LineMaterial::Braid));
    assert_eq!((kg(line.test), mm(line.diameter)), (13.0, 0.202));
    assert_eq!(mm(line.length), 150_000.0);
    let (line, findings) = read_line("nylon 0.33 mm 16 lb");
    assert_eq!(findings, vec![]);
    assert_eq!((kg(line.test), mm(line.diameter)), (7.26, 0.33));
    let (line, _) = read_line("mono No. 3");
    assert_eq!((line.material, mm(line.diameter)), (Some(LineMaterial::Nylon), 0.285));
    let (_, findings) = read_line("nylon 0.20 mm 9 kg");
    assert_eq!(codes(&findings), vec![FindingCode::DiameterSuspect]);
    let (line, findings) = read_line("1.5 lb");
    assert_eq!((kg(line.test), codes(&findings)), (0.68, vec![FindingCode::UnitSuspect]));
    let (line, findings) = read_line("PE 40");
    assert_eq!(line.test, None);
    assert_eq!(codes(&findings), vec![FindingCode::UnitSuspect]);
}

#[test]
fn leaders() {
    let (leader, findings) = read_leader("fluorocarbon 0.90 mm 40 kg 60 cm");
    assert_eq!(findings, vec![]);
    assert_eq!(leader.material, Some(LeaderMaterial::Fluorocarbon));
    assert_eq!((kg(leader.test), mm(leader.diameter), mm(leader.length)), (40.0, 0.9, 600.0));
    let (leader, findings) = read_leader("7x7 steel wire 14 kg (31 lb) 45 cm");
    assert_eq!(findings, vec![]);
    assert_eq!(leader.material, Some(LeaderMaterial::SteelWire));
    assert_eq!((kg(leader.test), mm(leader.length)), (14.0, 450.0));
    assert_eq!(read_leader("none").0.material, Some(LeaderMaterial::None));
    assert_eq!(read_leader("no leader").0.material, Some(LeaderMaterial::None));
}

/// Common practice, no source.
#[test]
fn lures() {
    let (lure, findings) = read_lure("crankbait 18 g 2 trebles size 4 0.8 mm");
    assert_eq!(findings, vec![]);
    assert_eq!(lure.class, Some(LureClass::Crankbait));
    assert_eq!(g(lure.rigged_mass), 18.0);
    assert_eq!(lure.hook.style, Some(HookStyle::Treble));
    assert_eq!(lure.hook.count, Some(2));
    assert_eq!(lure.hook.size.as_deref(), Some("4"));
    assert_eq!(mm(lure.hook.wire), 0.8);
    let (lure, findings) =
        read_lure("Texas rig 1/2 oz, weedless 5/0 heavy wire, barbless, punch 4 N, 110 mm");
    assert_eq!(findings, vec![]);
    assert_eq!(lure.class, Some(LureClass::TexasRig));
    assert_eq!(lure.hook.size.as_deref(), Some("5/0"));
    assert_eq!(mm(lure.hook.wire), 1.45);
    assert_eq!(lure.hook.barbed, Some(false));
    assert_eq!(lure.punch, Some(Force::from_n(4.0)));
    assert_eq!(mm(lure.length), 110.0);
    let (lure, findings) = read_lure("walker 3/4 oz treble 4");
    assert_eq!(lure.class, Some(LureClass::WalkingTopwater));
    assert_eq!(lure.hook.size.as_deref(), Some("4"));
    assert_eq!(codes(&findings), vec![FindingCode::NearestWord]);
    // The size stays apart from the fraction after it.
    let (lure, _) = read_lure("spinnerbait single size 4 1/2 oz");
    assert_eq!((g(lure.rigged_mass), lure.hook.size.as_deref()), (14.2, Some("4")));
}

/// Trap U07: head 14 g and trailer 9 g are 23 g.
#[test]
fn head_and_trailer_are_added() {
    for text in [
        "paddle tail jig 14 g head 9 g tail",
        "paddle tail jig head 14 g trailer 9 g",
        "paddle tail jig 14 g + 9 g trailer",
    ] {
        let (lure, findings) = read_lure(text);
        assert_eq!(codes(&findings), vec![FindingCode::RiggedMassComputed], "{text}");
        assert_eq!((g(lure.head_mass), g(lure.trailer_mass)), (14.0, 9.0), "{text}");
        assert_eq!(g(lure.rigged_mass), 23.0);
    }
    let row = LureColumns { mass: "14 g", trailer_g: "9", rigged_g: "14", ..Default::default() };
    let (lure, findings) = row.read().unwrap();
    assert_eq!(g(lure.rigged_mass), 23.0);
    assert_eq!(codes(&findings), vec![FindingCode::RiggedMassComputed]);
    let (lure, findings) = LureColumns { rigged_g: "23", ..row }.read().unwrap();
    assert_eq!((g(lure.rigged_mass), findings), (23.0, vec![]));
}

/// From memory: the wire of hooks is no standard.
#[test]
fn wire_by_size() {
    for (size, class, wire) in [
        ("10", WireClass::Fine, 0.45),
        ("4", WireClass::Medium, 0.80),
        ("#1", WireClass::Heavy, 1.05),
        ("1/0", WireClass::Fine, 0.78),
        ("4/0", WireClass::Medium, 1.15),
        ("5/0", WireClass::Heavy, 1.45),
        ("6/0", WireClass::Heavy, 1.55),
        ("7/0", WireClass::Heavy, 1.65),
        ("8/0", WireClass::Heavy, 1.80),
        ("9/0", WireClass::Heavy, 1.90),
        ("10/0", WireClass::Heavy, 2.00),
    ] {
        assert_eq!(mm(hook_wire(size, class)), wire, "{size}");
    }
    for (size, class) in [
        ("6/0", WireClass::Fine),
        ("12", WireClass::Heavy),
        ("11/0", WireClass::Heavy),
        ("0/0", WireClass::Heavy),
        ("3/1", WireClass::Fine),
        ("", WireClass::Fine),
        ("big", WireClass::Medium),
    ] {
        assert_eq!(hook_wire(size, class), None, "{size}");
    }
}

/// Rows in the manner of the demo.
#[test]
fn rows_of_rods_and_reels() {
    let row = RodColumns {
        handle: "spinning",
        length: "6 ft 10 in",
        power_label: "L",
        action: "extra fast",
        material: "graphite",
        lure: "2-9 g",
        line: "PE 0.3-0.8",
        line_basis: "PE",
        pieces: "2",
        guides: "ceramic",
        mass_g: "98",
        third_drop_g: "",
        third_drop_angle_deg: "",
    };
    let (rod, findings) = row.read().unwrap();
    assert_eq!(codes(&findings), vec![FindingCode::LineNumberConverted]);
    assert_eq!(kg(rod.line_rating.max), 3.6);
    assert_eq!(rod.line_rating_basis, Some(LineBasis::Nylon));
    assert_eq!(RodColumns { line: "0.3-0.8", ..row }.read().unwrap().0, rod);
    let row = RodColumns { length: "7'14\"", action: "wobbly", pieces: "-1", lure: "1/4 g", ..row };
    let columns: Vec<_> = row.read().unwrap_err().iter().map(|f| f.column).collect();
    assert_eq!(columns, vec!["length_raw", "action", "lure_raw", "pieces"]);
    let row = ReelColumns {
        kind: "fixed-spool",
        size: "4000",
        gear_ratio: "5.3:1",
        retrieve: "86 cm",
        drag_max: "24 lb",
        capacity: "0.30 mm/200 m",
        mass_g: "290",
        retrieve_side: "reversible",
        note: "start-up sticky; washers due",
        line_type: "PE",
        line_test: "PE 0.8 (7 kg)",
        line_dia_mm: "0.148",
        line_length_m: "200",
    };
    let ((reel, line), findings) = row.read().unwrap();
    assert_eq!(codes(&findings), vec![FindingCode::NearestWord]);
    assert_eq!((kg(reel.drag_max), reel.start_up_ratio), (10.89, Some(1.5)));
    assert_eq!(line.material, Some(LineMaterial::Braid));
    assert_eq!((kg(line.test), mm(line.diameter)), (7.0, 0.148));
    let empty = ReelColumns::default().read().unwrap();
    assert_eq!(empty, (Default::default(), vec![]));
}

#[test]
fn rows_of_stock() {
    let row = |kind, spec, dia_mm, length_m| {
        let (stock, findings) = StockColumns { kind, spec, dia_mm, length_m }.read().unwrap();
        assert_eq!(findings, vec![], "{kind}");
        stock
    };
    let braid = row("PE 8-strand", "PE 2 (40 lb)", "0.233", "300");
    let StockItem::Line(line) = braid.item else { panic!("a line") };
    assert_eq!((line.material, mm(line.diameter)), (Some(LineMaterial::Braid), 0.233));
    assert_eq!(braid.length, Some(Length::from_m(300.0)));
    let nylon = row("nylon", "16 lb", "0.33", "300");
    let StockItem::Line(line) = nylon.item else { panic!("a line") };
    assert_eq!((line.material, kg(line.test)), (Some(LineMaterial::Nylon), 7.26));
    let bulk = row("fluorocarbon leader", "0.30 mm / 14 lb", "0.3", "50");
    let StockItem::Leader(leader) = bulk.item else { panic!("a leader") };
    assert_eq!(leader.material, Some(LeaderMaterial::Fluorocarbon));
    assert_eq!((kg(leader.test), leader.length), (6.35, None));
    let made = row("titanium single strand", "9 kg, 40 cm x 20", "0.30", "8");
    assert_eq!(made.pieces, Some(20));
    let StockItem::Leader(leader) = made.item else { panic!("a leader") };
    assert_eq!(leader.material, Some(LeaderMaterial::Titanium));
    assert_eq!((kg(leader.test), mm(leader.length)), (9.0, 400.0));
    let wire = row("7x7 steel wire", "14 kg, 45 cm x 15", "0.40", "7");
    let StockItem::Leader(leader) = wire.item else { panic!("a leader") };
    assert_eq!(leader.material, Some(LeaderMaterial::SteelWire));
    assert!(StockColumns { kind: "string", spec: "9 kg", ..Default::default() }.read().is_err());
}

fn everything(text: &str) {
    let _ = (read_rod(text), read_reel(text), read_line(text), read_leader(text));
    let _ = read_lure(text);
    let _ = hook_wire(text, WireClass::Heavy);
    let rod =
        RodColumns { length: text, action: text, lure: text, line: text, ..Default::default() };
    let _ = RodColumns { pieces: text, mass_g: text, line_basis: "PE", ..rod }.read();
    let _ = LureColumns { class: text, mass: text, trailer_g: text, ..Default::default() }.read();
    let _ = StockColumns { kind: text, spec: text, dia_mm: text, length_m: text }.read();
}

proptest! {
    #[test]
    fn no_text_panics(text in any::<String>()) {
        everything(&text);
    }

    #[test]
    fn no_text_of_the_trade_panics(
        words in proptest::collection::vec("[0-9]{1,4}|[.,/'\"#:+x½-]|PE|g|oz|lb|kg|mm|m|ft|in|N|max|size|treble|head|tail|drag|fast|MH|x|strand|No|line", 0..16),
        gap in " ?",
    ) {
        everything(&words.join(&gap));
    }

    #[test]
    fn a_printed_rod_is_read_back(
        cm in 150_u32..320, low in 1_u32..40, more in 1_u32..80, lb in 4_u32..60,
        power in 0_usize..8,
    ) {
        use deepbend_core::gear::Word;
        let power = Power::ALL[power];
        let high = low + more;
        let text =
            format!("spinning {cm} cm {} fast {low}-{high} g {lb}-{} lb", power.short(), lb + 4);
        let (rod, findings) = read_rod(&text);
        prop_assert_eq!(&findings, &vec![]);
        prop_assert_eq!(rod.power_label, Some(power));
        prop_assert!((rod.length.unwrap().cm() - f64::from(cm)).abs() < 1e-9);
        prop_assert_eq!(rod.lure_rating.max, Some(Mass::from_g(f64::from(high))));
        prop_assert_eq!(rod.line_rating.max, Some(Force::from_lbf(f64::from(lb + 4))));
    }
}

/// Lines that were once misread.
#[test]
fn words_beside_numbers() {
    let (rod, findings) = read_rod("6'6 M XF 1/4-5/8oz 8-14lb 1pc, 1.98 m");
    assert_eq!(findings, vec![]);
    assert_eq!((mm(rod.length), rod.power_label), (1981.2, Some(Power::Medium)));
    assert_eq!(rod.pieces, Some(1));
    let (rod, findings) = read_rod("7' - 2.13 m - 5-20 g");
    assert_eq!((mm(rod.length), findings), (2133.6, vec![]));
    let (reel, findings) = read_reel("3000 8.5 oz drag 20 lb max, 71 cm/turn");
    assert_eq!(findings, vec![]);
    assert_eq!((g(reel.mass), kg(reel.drag_max)), (241.0, 9.07));
    let (line, findings) = read_line("8x braid 20 lb 150m");
    assert_eq!((kg(line.test), findings), (9.07, vec![]));
    let (lure, _) = read_lure("inline spinner no.2 5 g");
    assert_eq!((lure.class, lure.hook.style), (Some(LureClass::InlineSpinner), None));
    assert_eq!(lure.hook.size, None);
    let (lure, findings) = read_lure("glide bait 3 oz two trebles 1/0");
    assert_eq!((lure.hook.count, findings), (Some(2), vec![]));
}

// Source: common practice, no source: a dash between words or numbers is no minus sign.
#[test]
fn a_minus_sign_is_noted_and_a_dash_is_not() {
    let noted = |text: &str| read_lure(text).1.iter().any(|f| f.text.contains("negative"));
    assert!(noted("crankbait -14 g") && noted("jig -1/2 oz"));
    for plain in ["crankbait - 14 g", "minnow 10-14 g", "minnow 10 -14 g", "minnow 10 g -14 g"] {
        assert!(!noted(plain), "{plain}");
    }
    assert_eq!(read_lure("crankbait -14 g").0, read_lure("crankbait 14 g").0);
}

// Source: the contract: a bench test is no lure rating.
#[test]
fn a_bench_test_is_read_from_words() {
    let (rod, findings) = read_rod("7'2\" casting third drop 420 g at 68 degrees 10-30 g");
    assert_eq!(rod.third_drop_mass, Some(Mass::from_g(420.0)));
    assert_eq!(rod.third_drop_angle_deg, Some(68.0));
    assert_eq!(rod.lure_rating.max, Some(Mass::from_g(30.0)));
    assert!(findings.is_empty(), "{findings:?}");
    let (rod, findings) = read_rod("third-drop 15 oz at 120°");
    assert_eq!(rod.third_drop_mass, Some(Mass::from_oz(15.0)));
    assert_eq!((rod.third_drop_angle_deg, findings.len()), (None, 1));
}

// Common practice, no source: what is not known to be bite-proof is not.
#[test]
fn a_leader_of_unread_material_is_not_bite_proof() {
    for text in ["flouro 20 lb", "same as line", "20 lb", "braid 20 kg"] {
        let (leader, findings) = read_leader(text);
        assert_eq!(leader.material, Some(LeaderMaterial::Fluorocarbon), "{text}");
        assert!(findings.iter().any(|f| f.field == "leader.material"), "{text}");
    }
    assert_eq!(read_leader("titanium 12 kg").0.material, Some(LeaderMaterial::Titanium));
    assert_eq!(read_leader("").0.material, None);
}

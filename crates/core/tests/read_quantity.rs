//! Quantities as people write them.

#![allow(clippy::unwrap_used, reason = "a test may stop at once")]

use deepbend_core::gear::{Finding, FindingCode, LineBasis};
use deepbend_core::quantity::read::{
    self, LineNumber, ReadError, Reading, nylon_diameter, pe_diameter, pe_test,
};
use deepbend_core::quantity::{Mass, Range};
use deepbend_core::water::WindDirection;
use proptest::prelude::*;

fn codes(findings: &[Finding]) -> Vec<FindingCode> {
    findings.iter().map(|f| f.code).collect()
}

/// Value without findings.
fn clean<T>(reading: Reading<T>) -> T {
    let (value, findings) = reading.unwrap();
    assert!(findings.is_empty(), "{findings:?}");
    value
}

/// Value with exactly these findings.
fn odd<T>(reading: Reading<T>, expected: &[FindingCode]) -> T {
    let (value, findings) = reading.unwrap();
    assert_eq!(codes(&findings), expected, "{findings:?}");
    assert!(findings.iter().all(|f| f.field == "f" && !f.text.is_empty()));
    value
}

fn refused<T: std::fmt::Debug>(reading: Reading<T>) -> ReadError {
    reading.unwrap_err()
}

fn near(a: f64, b: f64) {
    assert!((a - b).abs() <= 1e-6 * b.abs().max(1e-3), "{a} is not {b}");
}

/// Ounces in grams: NIST SP 811, appendix B.8 (1 oz = 28.349 523 125 g), fractions computed.
#[test]
fn ounces_are_those_of_nist() {
    for (text, grams) in [
        ("1/64 oz", 0.442_961),
        ("1/32 oz", 0.885_923),
        ("1/16 oz", 1.771_845),
        ("1/8 oz", 3.543_690),
        ("3/16 oz", 5.315_536),
        ("1/4 oz", 7.087_381),
        ("5/16 oz", 8.859_226),
        ("3/8 oz", 10.631_071),
        ("1/2 oz", 14.174_762),
        ("½ oz", 14.174_762),
        ("5/8oz", 17.718_452),
        ("¾ ounce", 21.262_142),
        ("1 oz.", 28.349_523),
        ("2 ounces", 56.699_046),
        ("8 oz", 226.796_185),
    ] {
        near(clean(read::lure_mass(text, "f")).g(), grams);
    }
    for text in ["1 1/2 oz", "1½ oz", "1-1/2 oz", "1 and 1/2 oz", "1 ½ OZ"] {
        near(odd(read::lure_mass(text, "f"), &[FindingCode::MixedNumber]).g(), 42.524_285);
    }
}

/// Common practice, no source.
#[test]
fn grams_and_decimal_commas() {
    near(clean(read::lure_mass("14g", "f")).g(), 14.0);
    near(clean(read::lure_mass(" 10 g ", "f")).g(), 10.0);
    near(odd(read::lure_mass("7,5 g", "f"), &[FindingCode::DecimalComma]).g(), 7.5);
    near(odd(read::lure_mass("0,5 oz", "f"), &[FindingCode::DecimalComma]).g(), 14.174_762);
    near(clean(read::mass("0.215 kg", "f")).g(), 215.0);
    near(odd(read::lure_mass("14", "f"), &[FindingCode::UnitAssumed]).g(), 14.0);
    near(odd(read::lure_mass("3/8", "f"), &[FindingCode::UnitAssumed]).g(), 10.631_071);
    assert!(refused(read::lure_mass("1.5", "f")).to_string().contains("1.5 oz"));
    assert!(refused(read::mass("1,234 g", "f")).to_string().contains("1234"));
    near(odd(read::mass("0,165 kg", "f"), &[FindingCode::DecimalComma]).g(), 165.0);
}

/// Trap U03: half an ounce, 1.2 oz and half a gram are three things. Common practice, no source.
#[test]
fn half_an_ounce_is_neither_1_2_oz_nor_half_a_gram() {
    near(clean(read::lure_mass("1/2 oz", "f")).g(), 14.174_762);
    near(odd(read::lure_mass("1.2 oz", "f"), &[FindingCode::UnitSuspect]).g(), 34.019_428);
    let error = refused(read::lure_mass("1/2 g", "f"));
    assert_eq!(error.code(), FindingCode::UnitSuspect);
    assert!(error.to_string().contains("1/2 oz"), "{error}");
    near(clean(read::lure_mass("0.5 g", "f")).g(), 0.5);
    // An ordinary 1.5 oz is no trap, and 14 oz looks like 14 g.
    near(clean(read::lure_mass("1.5 oz", "f")).g(), 42.524_285);
    odd(read::lure_mass("14 oz", "f"), &[FindingCode::UnitSuspect]);
}

fn grams(range: Range<Mass>) -> (Option<f64>, Option<f64>) {
    let g = |m: Mass| (m.g() * 10.0).round() / 10.0;
    (range.min.map(g), range.max.map(g))
}

/// Common practice, no source.
#[test]
fn ranges_of_mass() {
    for (text, low, high) in [
        ("10-30 g", Some(10.0), Some(30.0)),
        ("7 - 21 g", Some(7.0), Some(21.0)),
        ("7–21 g", Some(7.0), Some(21.0)),
        ("7 to 21g", Some(7.0), Some(21.0)),
        ("7g-21g", Some(7.0), Some(21.0)),
        ("7..21 g", Some(7.0), Some(21.0)),
        ("1/8-1/2 oz", Some(3.5), Some(14.2)),
        ("⅛–½ oz", Some(3.5), Some(14.2)),
        ("3/8-1 oz", Some(10.6), Some(28.3)),
        ("2-5 oz", Some(56.7), Some(141.7)),
        ("max 80 g", None, Some(80.0)),
        ("80 g max", None, Some(80.0)),
        ("max. 80g", None, Some(80.0)),
        ("up to 2 oz", None, Some(56.7)),
        ("≤ 80 g", None, Some(80.0)),
        ("80 g", None, Some(80.0)),
        ("0-80 g", None, Some(80.0)),
        ("min 10 g", Some(10.0), None),
        ("40 g+", Some(40.0), None),
        ("7-21 g (1/4-3/4 oz)", Some(7.0), Some(21.0)),
        ("1/4-3/4 oz / 7-21 g", Some(7.1), Some(21.3)),
        ("7 g - 1 oz", Some(7.0), Some(28.3)),
    ] {
        assert_eq!(grams(clean(read::mass_range(text, "f"))), (low, high), "{text}");
    }
    let mixed = odd(read::mass_range("1/4-1 1/2 oz", "f"), &[FindingCode::MixedNumber]);
    assert_eq!(grams(mixed), (Some(7.1), Some(42.5)));
    let swapped = odd(read::mass_range("30-10 g", "f"), &[FindingCode::BoundsSwapped]);
    assert_eq!(grams(swapped), (Some(10.0), Some(30.0)));
    let bare = odd(read::mass_range("10-30", "f"), &[FindingCode::UnitAssumed]);
    assert_eq!(grams(bare), (Some(10.0), Some(30.0)));
    odd(read::mass_range("7-21 g (1-3 oz)", "f"), &[FindingCode::UnitSuspect]);
    // A range whose hyphen got lost.
    assert!(refused(read::mass_range("1-4000 g", "f")).to_string().contains("no lure"));
    let lost = odd(read::mass_range("1040 g", "f"), &[FindingCode::UnitSuspect]);
    assert_eq!(lost.max, Some(Mass::from_g(1040.0)));
    assert!(read::mass_range("1-3", "f").is_err());
}

/// Feet and inches: NIST SP 811, appendix B.8 (0.3048 m, 0.0254 m).
#[test]
fn lengths_of_rods() {
    for (text, metres) in [
        ("7'2\"", 2.1844),
        ("7’2”", 2.1844),
        ("7′ 2″", 2.1844),
        ("7'2''", 2.1844),
        ("7 ft 2 in", 2.1844),
        ("7 ft. 2 in.", 2.1844),
        ("7ft2", 2.1844),
        ("7'2", 2.1844),
        ("86 in", 2.1844),
        ("7 foot", 2.1336),
        ("7-foot", 2.1336),
        ("6 ft 10 in", 2.0828),
        ("9 ft 0 in", 2.7432),
        ("7'2 1/2\"", 2.1971),
        ("2.13 m", 2.13),
        ("213 cm", 2.13),
        ("2130mm", 2.13),
        ("2.13 m (7'0\")", 2.13),
    ] {
        near(clean(read::rod_length(text, "f")).m(), metres);
    }
    near(odd(read::rod_length("2,13 m", "f"), &[FindingCode::DecimalComma]).m(), 2.13);
    near(odd(read::rod_length("2.13", "f"), &[FindingCode::UnitAssumed]).m(), 2.13);
    near(odd(read::rod_length("213", "f"), &[FindingCode::UnitAssumed]).m(), 2.13);
    near(odd(read::length("7.2 ft", "f"), &[FindingCode::UnitSuspect]).m(), 2.194_56);
    for text in ["7", "7'14\"", "213 m", "7 oz", "-2 m", "0 m", "", "long"] {
        assert!(read::rod_length(text, "f").is_err(), "{text}");
    }
    odd(read::rod_length("2.13 m (8 ft)", "f"), &[FindingCode::UnitSuspect]);
}

/// Common practice, no source.
#[test]
fn diameters() {
    near(clean(read::diameter("0.30 mm", "f")).mm(), 0.30);
    near(clean(read::diameter("Ø 0.30mm", "f")).mm(), 0.30);
    near(clean(read::diameter(".012 in", "f")).mm(), 0.3048);
    near(odd(read::diameter(".30", "f"), &[FindingCode::UnitAssumed]).mm(), 0.30);
    near(odd(read::diameter("0,30 mm", "f"), &[FindingCode::DecimalComma]).mm(), 0.30);
    for text in ["30", "30 mm"] {
        assert!(refused(read::diameter(text, "f")).to_string().contains("0.30 mm"));
    }
}

/// IGFA line classes, kilograms and exact pounds (kg / 0.453 592 37).
#[test]
fn igfa_classes_agree_in_both_units() {
    for (kg, lb) in [
        (1.0, 2.204_623),
        (2.0, 4.409_245),
        (3.0, 6.613_868),
        (4.0, 8.818_490),
        (6.0, 13.227_736),
        (8.0, 17.636_981),
        (10.0, 22.046_226),
        (15.0, 33.069_339),
        (24.0, 52.910_943),
        (37.0, 81.571_037),
        (60.0, 132.277_357),
    ] {
        let metric = clean(read::line_label(&format!("{kg} kg"), "f")).test.unwrap();
        let pounds = read::line_label(&format!("{lb} lb"), "f").unwrap().0.test.unwrap();
        near(metric.lbf(), lb);
        assert!((pounds.kgf() - kg).abs() < 1e-5);
        // Standard gravity: NIST SP 811.
        near(metric.n(), kg * 9.806_65);
    }
    // 20 lb printed is not class 10 kg.
    near(clean(read::line_label("20 lb", "f")).test.unwrap().kgf(), 9.071_847_4);
}

/// Trap U05: PE 1.5 is 13 kg and 0.202 mm, 1.5 lb is 0.68 kg. From memory.
#[test]
fn pe_numbers_are_no_pounds() {
    let pe = odd(read::line_label("PE 1.5", "f"), &[FindingCode::LineNumberConverted]);
    near(pe.test.unwrap().kgf(), 13.0);
    near(pe.diameter.unwrap().mm(), 0.202);
    assert_eq!(pe.number, Some(LineNumber::Pe(1.5)));
    let lb = odd(read::line_label("1.5 lb", "f"), &[FindingCode::UnitSuspect]);
    near(lb.test.unwrap().kgf(), 0.680_388_6);
    assert_eq!(lb.diameter, None);
    assert!(pe.test.unwrap().kgf() / lb.test.unwrap().kgf() > 19.0);
    // A strength written with PE before it is a strength.
    let braid = clean(read::line_label("PE 20 lb", "f"));
    near(braid.test.unwrap().lbf(), 20.0);
    assert_eq!(braid.number, None);
    assert!(refused(read::line_label("PE 20", "f")).to_string().contains("20 lb"));
}

/// Labels of the demo, and variants. Diameters and strengths from memory.
#[test]
fn line_labels() {
    let converted = &[FindingCode::LineNumberConverted];
    for (text, kg, mm) in [
        ("PE 1.5 (13 kg)", 13.0, 0.202),
        ("PE1.5(13kg)", 13.0, 0.202),
        ("PE #1.5 / 13 kg", 13.0, 0.202),
        ("braid PE 2 (40 lb)", 18.143_694_8, 0.233),
        ("PE 0.6 (11 lb)", 4.989_516_07, 0.128),
        ("PE 1.0 (9 kg / 20 lb)", 9.0, 0.165),
    ] {
        let label = odd(read::line_label(text, "f"), converted);
        near(label.test.unwrap().kgf(), kg);
        near(label.diameter.unwrap().mm(), mm);
    }
    let both = clean(read::line_label("0.25 mm / 4.5 kg", "f"));
    near(both.test.unwrap().kgf(), 4.5);
    near(both.diameter.unwrap().mm(), 0.25);
    let comma = odd(
        read::line_label("PE 1,5", "f"),
        &[FindingCode::DecimalComma, FindingCode::LineNumberConverted],
    );
    near(comma.test.unwrap().kgf(), 13.0);
    odd(
        read::line_label("PE 1.5 (13 lb)", "f"),
        &[FindingCode::UnitSuspect, FindingCode::LineNumberConverted],
    );
    let nylon = odd(read::line_label("No. 3", "f"), converted);
    // JAFS 2010: No. 3 is 0.285 mm.
    near(nylon.diameter.unwrap().mm(), 0.285);
    assert_eq!(nylon.number, Some(LineNumber::Nylon(3.0)));
    for text in ["20", "10-20 lb", "9 kg, 40 cm", "PE 99", "No. 0", "strong", "", "-9 kg"] {
        assert!(read::line_label(text, "f").is_err(), "{text}");
    }
}

/// Source: JAFS 2010 standard diameters, as reproduced by a secondary page.
#[test]
fn nylon_numbers_are_those_of_the_standard() {
    for (number, mm) in [
        (0.1, 0.053),
        (0.4, 0.104),
        (0.8, 0.148),
        (1.0, 0.165),
        (1.2, 0.185),
        (2.0, 0.235),
        (4.0, 0.330),
        (8.0, 0.470),
        (12.0, 0.570),
    ] {
        near(nylon_diameter(number).unwrap().mm(), mm);
        // The rule of thumb 0.165 mm times the root misses the table by less than 3 %.
        let rule = 0.165 * f64::sqrt(number);
        assert!((rule / mm - 1.0).abs() < 0.03);
    }
    assert_eq!(nylon_diameter(0.0), None);
    assert_eq!(nylon_diameter(13.0), None);
    assert_eq!(nylon_diameter(f64::NAN), None);
}

/// From memory: the table of braid, and that it rises between and beyond its rows.
#[test]
fn pe_scale_rises() {
    near(pe_test(1.0).unwrap().kgf(), 9.0);
    near(pe_diameter(4.0).unwrap().mm(), 0.330);
    let mut last = (0.0, 0.0);
    for step in 1..=150 {
        let number = f64::from(step) / 10.0;
        let next = (pe_test(number).unwrap().kgf(), pe_diameter(number).unwrap().mm());
        assert!(next.0 > last.0 && next.1 > last.1, "{number}");
        last = next;
    }
    assert_eq!(pe_test(15.1), None);
}

/// Trap U08 among them. PE 1 is a rod of the 10 lb class: from memory.
#[test]
fn line_ratings_of_rods() {
    let ends = |text: &str| {
        let (rating, findings) = read::line_rating(text, "f").unwrap();
        let kg = |f: deepbend_core::quantity::Force| (f.kgf() * 100.0).round() / 100.0;
        (rating.range.min.map(kg), rating.range.max.map(kg), rating.basis, codes(&findings))
    };
    assert_eq!(ends("10-20 lb"), (Some(4.54), Some(9.07), None, vec![]));
    assert_eq!(ends("4.5-9 kg"), (Some(4.5), Some(9.0), None, vec![]));
    assert_eq!(ends("max 20 lb"), (None, Some(9.07), None, vec![]));
    let nylon = Some(LineBasis::Nylon);
    let pe = vec![FindingCode::LineNumberConverted];
    assert_eq!(ends("PE 3-5"), (Some(13.5), Some(22.5), nylon, pe.clone()));
    assert_eq!(ends("PE 0.3-PE 0.8"), (Some(1.35), Some(3.6), nylon, pe));
    assert_eq!(ends("8-14 lb / PE 0.8-1.2"), (Some(3.63), Some(6.35), None, vec![]));
    assert_eq!(ends("PE 0.8-1.2 (8-14 lb)"), (Some(3.63), Some(6.35), None, vec![]));
    assert_eq!(ends("braid 20-40 lb").2, Some(LineBasis::Braid));
    let (low, high, _, found) = ends("6-10");
    assert_eq!((low, high), (Some(2.72), Some(4.54)));
    assert!(!found.is_empty() && found.iter().all(|c| *c == FindingCode::UnitAssumed));
    assert_eq!(ends("20-10 lb").3, vec![FindingCode::BoundsSwapped]);
    assert!(refused(read::line_rating("0.8-1.2", "f")).to_string().contains("PE"));
    assert!(read::line_rating("PE 20-40", "f").is_err());
}

/// Trap U06: a bare 300 on a small reel is asked about, and 300 kg never believed. Common
/// practice, no source.
#[test]
fn drags() {
    near(clean(read::drag("5 kg", "f", Some("2500"))).kgf(), 5.0);
    near(clean(read::drag("24 lb", "f", Some("4000"))).kgf(), 10.886_216_88);
    near(clean(read::drag("300 g", "f", Some("1000"))).kgf(), 0.3);
    near(clean(read::drag("12 N", "f", None)).n(), 12.0);
    for text in ["300", "300 kg"] {
        let error = refused(read::drag(text, "f", Some("1000")));
        assert_eq!(error.code(), FindingCode::UnitSuspect);
        assert!(error.to_string().contains("300 g"), "{error}");
        assert!(read::drag(text, "f", None).is_err());
    }
    assert!(refused(read::drag("5", "f", Some("2500"))).to_string().contains("5 lb"));
    assert!(refused(read::drag("15 kg", "f", Some("1000"))).to_string().contains("15 lb"));
}

/// Knots and miles an hour: NIST SP 811, appendix B.8.
#[test]
fn winds() {
    let into = clean(read::wind("9 m/s into", "f"));
    near(into.speed.m_s(), 9.0);
    assert_eq!(into.direction, Some(WindDirection::Into));
    near(clean(read::speed("36 km/h", "f")).m_s(), 10.0);
    near(clean(read::speed("10 kn", "f")).m_s(), 5.144_444);
    near(clean(read::speed("20mph", "f")).m_s(), 8.9408);
    near(clean(read::speed("0 m/s", "f")).m_s(), 0.0);
    for (text, direction) in [
        ("8 m/s across", WindDirection::Across),
        ("8 m/s cross", WindDirection::Across),
        ("headwind 8 m/s", WindDirection::Into),
        ("8 m/s, down", WindDirection::Down),
        ("calm", WindDirection::Calm),
    ] {
        assert_eq!(clean(read::wind(text, "f")).direction, Some(direction), "{text}");
    }
    assert_eq!(clean(read::wind("5 m/s", "f")).direction, None);
    for text in ["9", "5 Bft", "9 m/s SW", "into", "900 m/s", "-3 m/s"] {
        assert!(read::wind(text, "f").is_err(), "{text}");
    }
}

/// Common practice, no source.
#[test]
fn reels() {
    for text in ["0.22 mm/150 m", "0.22/150", "150 m / 0.22 mm", "0.22-150", "0.22 mm x 150 m"] {
        let capacity = clean(read::capacity(text, "f"));
        near(capacity.diameter.mm(), 0.22);
        near(capacity.length.m(), 150.0);
    }
    let pe = odd(read::capacity("PE 1.5-200 m", "f"), &[FindingCode::LineNumberConverted]);
    near(pe.diameter.mm(), 0.202);
    near(pe.length.m(), 200.0);
    near(clean(read::capacity("0.30/150 yd", "f")).length.m(), 137.16);
    assert!(read::capacity("8/140", "f").is_err());
    assert!(read::capacity("150 m", "f").is_err());
    for text in ["5.3:1", "5.3", "5.3 to 1"] {
        near(clean(read::ratio(text, "f")), 5.3);
    }
    for text in ["53:1", "5.3:2", "", "0:1"] {
        assert!(read::ratio(text, "f").is_err(), "{text}");
    }
    near(clean(read::retrieve("68 cm", "f")).cm(), 68.0);
    near(clean(read::retrieve("29 in", "f")).cm(), 73.66);
    near(clean(read::retrieve("75 cm/turn", "f")).cm(), 75.0);
    near(odd(read::retrieve("75", "f"), &[FindingCode::UnitAssumed]).cm(), 75.0);
    assert!(read::retrieve("75 m", "f").is_err());
}

#[test]
fn an_endless_text_is_refused_in_few_words() {
    let text = "9".repeat(100_000);
    for error in [
        refused(read::mass(&text, "f")),
        refused(read::line_label(&text, "f")),
        refused(read::mass(&text[..399], "f")),
        refused(read::mass(&format!("{} g", &text[..390]), "f")),
    ] {
        assert!(error.to_string().len() < 1500, "{error}");
    }
}

fn everything(text: &str) {
    let _ = read::mass(text, "f");
    let _ = read::lure_mass(text, "f");
    let _ = read::mass_range(text, "f");
    let _ = read::length(text, "f");
    let _ = read::rod_length(text, "f");
    let _ = read::diameter(text, "f");
    let _ = read::line_label(text, "f");
    let _ = read::line_rating(text, "f");
    let _ = read::drag(text, "f", Some(text));
    let _ = read::speed(text, "f");
    let _ = read::wind(text, "f");
    let _ = read::capacity(text, "f");
    let _ = read::ratio(text, "f");
    let _ = read::retrieve(text, "f");
}

proptest! {
    #[test]
    fn no_text_panics(text in any::<String>()) {
        everything(&text);
    }

    #[test]
    fn no_text_of_the_trade_panics(text in "([0-9]{1,3}|[.,/'\"#:x½-]| |PE|g|oz|lb|kg|mm|m|ft|in|max|to|No){0,14}") {
        everything(&text);
        for value in [read::mass(&text, "f").map(|r| r.0.g()),
            read::length(&text, "f").map(|r| r.0.m()),
            read::line_label(&text, "f").map(|r| r.0.test.map_or(1.0, |t| t.n()))]
            .into_iter().flatten()
        {
            prop_assert!(value.is_finite() && value > 0.0);
        }
        if let Ok((Range { min: Some(min), max: Some(max) }, _)) = read::mass_range(&text, "f") {
            prop_assert!(min <= max);
        }
    }

    #[test]
    fn printed_values_are_read_back(value in 0.3_f64..300.0) {
        let same = |got: f64| (got - value).abs() <= 1e-9 * value;
        let texts = [format!("{value} g"), format!("{value}oz"), format!("{value} cm")];
        prop_assert!(same(read::mass(&texts[0], "f").unwrap().0.g()));
        prop_assert!(same(read::mass(&texts[1], "f").unwrap().0.oz()));
        prop_assert!(same(read::length(&texts[2], "f").unwrap().0.cm()));
        let test = read::line_label(&format!("{value} lb"), "f").unwrap().0.test.unwrap();
        prop_assert!(same(test.lbf()));
        let comma = format!("{value:.2}").replace('.', ",");
        let (mass, findings) = read::mass(&format!("{comma} g"), "f").unwrap();
        prop_assert!((mass.g() - value).abs() <= 0.005_001);
        prop_assert_eq!(codes(&findings), vec![FindingCode::DecimalComma]);
    }

    #[test]
    fn printed_ranges_are_read_back(low in 1_u32..200, more in 1_u32..200) {
        let high = low + more;
        let g = |r: Reading<Range<Mass>>| grams(r.unwrap().0);
        let wanted = (Some(f64::from(low)), Some(f64::from(high)));
        prop_assert_eq!(g(read::mass_range(&format!("{low}-{high} g"), "f")), wanted);
        prop_assert_eq!(g(read::mass_range(&format!("{low} g to {high} g"), "f")), wanted);
        prop_assert_eq!(g(read::mass_range(&format!("{high}-{low} g"), "f")), wanted);
    }

    #[test]
    fn feet_and_inches_are_read_back(feet in 2_u32..19, inches in 0_u32..12) {
        let metres = f64::from(feet * 12 + inches) * 0.0254;
        for text in [format!("{feet}'{inches}\""), format!("{feet} ft {inches} in"),
            format!("{feet}ft{inches}")]
        {
            let got = read::rod_length(&text, "f").unwrap().0.m();
            prop_assert!((got - metres).abs() < 1e-9, "{} {}", text, got);
        }
    }
}

//! Quantities in both unit systems, as people read them off a scale.

const G_PER_OZ: f64 = 28.349_523_125;
const KG_PER_LB: f64 = 0.453_592_37;
const M_PER_FT: f64 = 0.3048;
const M_PER_YD: f64 = 0.9144;
const M_S_PER_KN: f64 = 1852.0 / 3600.0;
const MM_PER_IN: f64 = 25.4;

/// A number as short as it can be said: 14.2, 0.3, 20.
#[must_use]
pub fn short(value: f64) -> String {
    let digits = match value.abs() {
        v if v < 1.0 => 2,
        v if v < 99.95 => 1,
        _ => 0,
    };
    let text = format!("{value:.digits$}");
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A mass, g: `21 g (0.74 oz)`.
#[must_use]
pub fn grams(g: f64) -> String {
    format!("{} g ({:.2} oz)", short(g), g / G_PER_OZ)
}

/// A range of masses, g.
#[must_use]
pub fn grams_range(min: Option<f64>, max: Option<f64>) -> Option<String> {
    range(min, max, "g", "oz", G_PER_OZ, |oz| format!("{oz:.2}"))
}

/// A mass of fish, kg: `4 kg (8.8 lb)`.
#[must_use]
pub fn kilograms(kg: f64) -> String {
    format!("{} kg ({} lb)", short(kg), short(kg / KG_PER_LB))
}

/// A range of forces, kgf.
#[must_use]
pub fn kilograms_range(min: Option<f64>, max: Option<f64>) -> Option<String> {
    range(min, max, "kg", "lb", KG_PER_LB, short)
}

fn range(
    min: Option<f64>,
    max: Option<f64>,
    unit: &str,
    other: &str,
    factor: f64,
    write: impl Fn(f64) -> String,
) -> Option<String> {
    let far = |value: f64| write(value / factor);
    match (min, max) {
        (Some(a), Some(b)) => {
            Some(format!("{}-{} {unit} ({}-{} {other})", short(a), short(b), far(a), far(b)))
        }
        (None, Some(b)) => Some(format!("up to {} {unit} ({} {other})", short(b), far(b))),
        (Some(a), None) => Some(format!("from {} {unit} ({} {other})", short(a), far(a))),
        (None, None) => None,
    }
}

/// A length of line or depth, m: `20 m (66 ft)`.
#[must_use]
pub fn metres(m: f64) -> String {
    format!("{} m ({} ft)", short(m), short(m / M_PER_FT))
}

/// A length of line, m: `45 m (49 yd)`; less than a metre as `50 cm (20 in)`.
#[must_use]
pub fn line_length(m: f64) -> String {
    if m != 0.0 && m.abs() < 1.0 {
        return format!("{} cm ({} in)", short(m * 100.0), short(m * 1000.0 / MM_PER_IN));
    }
    format!("{} m ({} yd)", trimmed(m), short(m / M_PER_YD))
}

/// A length of line, whole centimetres.
#[must_use]
pub fn line_centimetres(cm: i32) -> String {
    line_length(f64::from(cm) / 100.0)
}

/// A number with its noun: `1 piece`, `3 pieces`.
#[must_use]
pub fn counted(count: i64, noun: &str) -> String {
    let plural = if count.abs() == 1 { "" } else { "s" };
    format!("{count} {noun}{plural}")
}

/// A rod's length, m: `2.13 m (7'0")`.
#[must_use]
pub fn rod_length(m: f64) -> String {
    let inches = (m / M_PER_FT * 12.0).round();
    format!("{m:.2} m ({:.0}'{:.0}\")", (inches / 12.0).floor(), inches % 12.0)
}

/// A diameter, mm: `0.202 mm (0.0080 in)`.
#[must_use]
pub fn diameter(mm: f64) -> String {
    format!("{} mm ({:.4} in)", trimmed(mm), mm / MM_PER_IN)
}

/// Millimetres of body or line length: `90 mm (3.5 in)`.
#[must_use]
pub fn millimetres(mm: f64) -> String {
    format!("{} mm ({} in)", short(mm), short(mm / MM_PER_IN))
}

/// Line taken in, cm: `90 cm (35.4 in)`.
#[must_use]
pub fn centimetres(cm: f64) -> String {
    format!("{} cm ({} in)", short(cm), short(cm * 10.0 / MM_PER_IN))
}

/// A time, h: `1 h 30 min`; to the minute.
#[must_use]
pub fn hours(hours: f64) -> String {
    const MINUTES: f64 = 60.0;
    let minutes = (hours * MINUTES).round();
    match ((minutes / MINUTES).floor(), minutes % MINUTES) {
        (0.0, minutes) => format!("{minutes} min"),
        (hours, 0.0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// Three decimals at most.
#[must_use]
pub fn trimmed(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A speed, m/s: `9 m/s (17.5 kn)`.
#[must_use]
pub fn speed(m_s: f64) -> String {
    format!("{} m/s ({} kn)", short(m_s), short(m_s / M_S_PER_KN))
}

/// A quantity of the contract with the unit that it names; both systems where people use both.
#[must_use]
pub fn quantity(value: f64, unit: &str) -> String {
    match unit {
        "g" => grams(value),
        "kgf" | "kg" => kilograms(value),
        "m" => metres(value),
        "mm" => diameter(value),
        "m/s" => speed(value),
        "1" => short(value),
        other => format!("{} {other}", short(value)),
    }
}

/// Two values of a quantity, in as many digits as tell them apart.
#[must_use]
pub fn apart(value: f64, bound: f64, unit: &str) -> (String, String) {
    let said = (quantity(value, unit), quantity(bound, unit));
    if said.0 == said.1 { (trimmed(value), quantity(bound, unit)) } else { said }
}

/// An interval of a quantity, its ends marked as they are: `9 to 19 g (0.32 to 0.67 oz)`.
#[must_use]
pub fn interval(ends: [f64; 2], marks: [&str; 2], unit: &str) -> String {
    let both = |write: &dyn Fn(f64) -> String| {
        let [from, to] = [0, 1].map(|i| format!("{}{}", write(ends[i]), marks[i]));
        format!("{from} to {to}")
    };
    let own = format!("{} {unit}", both(&short));
    let far = match unit {
        "g" => format!("{} oz", both(&|g| format!("{:.2}", g / G_PER_OZ))),
        "kg" => format!("{} lb", both(&|kg| short(kg / KG_PER_LB))),
        "m/s" => format!("{} kn", both(&|m_s| short(m_s / M_S_PER_KN))),
        "mm" => format!("{} in", both(&|mm| format!("{:.3}", mm / MM_PER_IN))),
        _ => return own,
    };
    format!("{own} ({far})")
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: NIST SP 811, appendix B (ounce 28.349523 g, pound 0.45359237 kg, foot 0.3048 m, yard 0.9144 m,
    // knot 0.5144444 m/s), rounded by hand.
    #[test]
    fn both_systems_agree_with_the_published_factors() {
        assert_eq!(grams(28.35), "28.4 g (1.00 oz)");
        assert_eq!(kilograms(4.536), "4.5 kg (10 lb)");
        assert_eq!(metres(3.048), "3 m (10 ft)");
        assert_eq!(rod_length(2.1844), "2.18 m (7'2\")");
        assert_eq!(centimetres(101.6), "102 cm (40 in)");
        assert_eq!(line_centimetres(13_716), "137.16 m (150 yd)");
        assert_eq!(line_centimetres(51), "51 cm (20.1 in)");
        assert_eq!(line_centimetres(0), "0 m (0 yd)");
        assert_eq!([counted(1, "piece"), counted(-2, "piece")], ["1 piece", "-2 pieces"]);
        assert_eq!(speed(9.0), "9 m/s (17.5 kn)");
        assert_eq!(
            [1.5, 0.25, 2.0, 1.9999, 0.0].map(hours),
            ["1 h 30 min", "15 min", "2 h", "2 h", "0 min"]
        );
        assert_eq!(grams_range(Some(10.0), Some(30.0)).as_deref(), Some("10-30 g (0.35-1.06 oz)"));
        assert_eq!(kilograms_range(None, None), None);
        assert_eq!(interval([9.0, 28.35], ["", "+"], "g"), "9 to 28.4+ g (0.32 to 1.00+ oz)");
        assert_eq!(interval([0.0, 5.0], ["", ""], "N"), "0 to 5 N");
        assert_eq!(apart(0.747, 0.75, "1"), ("0.747".to_owned(), "0.75".to_owned()));
        assert_eq!(apart(0.2, 0.75, "1").0, "0.2");
    }
}

//! Words, numbers and signs of a line of text, and the amounts they spell.

use crate::quantity::{Force, Length, Mass, Speed};

/// Longest text that is looked at, in characters; a label is far shorter.
pub(crate) const LONGEST: usize = 400;

/// How a number was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shape {
    Integer,
    Decimal,
    Fraction,
}

/// A number as written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Num {
    pub(crate) value: f64,
    pub(crate) shape: Shape,
    /// The decimal sign was a comma.
    pub(crate) comma: bool,
    /// Whole number and fraction ("1 1/2").
    pub(crate) mixed: bool,
    pub(crate) text: String,
}

impl Num {
    /// "1,234": thousands or a decimal comma, nobody can tell.
    pub(crate) fn thousands(&self) -> bool {
        self.comma
            && self
                .text
                .split_once(',')
                .is_some_and(|(whole, part)| part.len() == 3 && whole.starts_with(|c| c != '0'))
    }
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Kind {
    Number(Num),
    Word,
    Sign(char),
}

/// One word, number or sign.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Token {
    pub(crate) text: String,
    pub(crate) kind: Kind,
    /// No space before it.
    pub(crate) glued: bool,
}

/// Mass units, which people also use for forces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weight {
    G,
    Kg,
    Oz,
    Lb,
}

impl Weight {
    pub(crate) fn mass(self, value: f64) -> Mass {
        match self {
            Self::G => Mass::from_g(value),
            Self::Kg => Mass::from_kg(value),
            Self::Oz => Mass::from_oz(value),
            Self::Lb => Mass::from_lb(value),
        }
    }

    pub(crate) fn force(self, value: f64) -> Force {
        match self {
            Self::G => Force::from_kgf(value / 1000.0),
            Self::Kg => Force::from_kgf(value),
            Self::Oz => Force::from_lbf(value / 16.0),
            Self::Lb => Force::from_lbf(value),
        }
    }
}

/// Units of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Span {
    M,
    Cm,
    Mm,
    Ft,
    In,
    Yd,
}

impl Span {
    pub(crate) fn length(self, value: f64) -> Length {
        match self {
            Self::M => Length::from_m(value),
            Self::Cm => Length::from_cm(value),
            Self::Mm => Length::from_mm(value),
            Self::Ft => Length::from_ft(value),
            Self::In => Length::from_in(value),
            // Exact: NIST SP 811, B.8.
            Self::Yd => Length::from_ft(value * 3.0),
        }
    }
}

/// Units of speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pace {
    MetreSecond,
    KilometreHour,
    Knot,
    MileHour,
}

impl Pace {
    pub(crate) fn speed(self, value: f64) -> Speed {
        match self {
            Self::MetreSecond => Speed::from_m_s(value),
            Self::KilometreHour => Speed::from_km_h(value),
            Self::Knot => Speed::from_kn(value),
            Self::MileHour => Speed::from_mph(value),
        }
    }
}

/// A unit as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    Weight(Weight),
    Newton,
    Span(Span),
    Pace(Pace),
}

/// A number with its unit, or a number of the PE scale.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Term {
    pub(crate) number: Num,
    pub(crate) unit: Option<Unit>,
    /// The letters PE stood before it.
    pub(crate) pe: bool,
    /// Feet and inches, the inches 12 or more.
    pub(crate) inches_over: bool,
}

/// One value, a range, or one end of a range.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Amount {
    One(Term),
    AtMost(Term),
    AtLeast(Term),
    Between(Term, Term),
}

impl Amount {
    /// A term that tells the unit.
    pub(crate) fn term(&self) -> &Term {
        match self {
            Self::One(t) | Self::AtMost(t) | Self::AtLeast(t) | Self::Between(t, _) => t,
        }
    }
}

/// A place in a line of text.
#[derive(Clone, Debug)]
pub(crate) struct Cursor {
    tokens: Vec<Token>,
    at: usize,
}

fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars().take(LONGEST) {
        let fraction = match c {
            '½' => "1/2",
            '⅓' => "1/3",
            '⅔' => "2/3",
            '¼' => "1/4",
            '¾' => "3/4",
            '⅛' => "1/8",
            '⅜' => "3/8",
            '⅝' => "5/8",
            '⅞' => "7/8",
            _ => "",
        };
        if !fraction.is_empty() {
            if out.ends_with(|c: char| c.is_ascii_digit()) {
                out.push(' ');
            }
            out.push_str(fraction);
            continue;
        }
        match c {
            '’' | '‘' | '′' | 'ʼ' | '´' | '`' => out.push('\''),
            '”' | '“' | '″' | '„' => out.push('"'),
            '–' | '—' | '−' | '‐' | '‑' | '‒' | '―' => out.push('-'),
            '⁄' | '∕' => out.push('/'),
            '×' => out.push('x'),
            '∶' | '：' => out.push(':'),
            '～' | '〜' => out.push('~'),
            '≤' => out.push('<'),
            '≥' => out.push('>'),
            'ø' | 'Ø' | '⌀' => out.push(' '),
            c if c.is_whitespace() => out.push(' '),
            c => out.extend(c.to_lowercase()),
        }
    }
    out.replace("''", "\"")
}

fn is_digit(c: Option<&char>) -> bool {
    c.is_some_and(char::is_ascii_digit)
}

fn digits(chars: &[char], mut at: usize) -> usize {
    while is_digit(chars.get(at)) {
        at += 1;
    }
    at
}

/// The number that starts at `at`, with the place after it.
fn number_at(chars: &[char], at: usize) -> Option<(Num, usize)> {
    // A point right after a letter, digit or point ("ft.2", "7..21") starts no number.
    let before = at.checked_sub(1).and_then(|i| chars.get(i));
    let bound = before.is_some_and(|c| c.is_alphanumeric() || *c == '.');
    let whole = digits(chars, at);
    let mark = chars.get(whole).copied();
    let end = match mark {
        Some('.' | ',') if is_digit(chars.get(whole + 1)) && !(whole == at && bound) => {
            digits(chars, whole + 1)
        }
        _ => whole,
    };
    if end == at {
        return None;
    }
    let text: String = chars.get(at..end)?.iter().collect();
    let value = text.replace(',', ".").parse().ok()?;
    if end > whole {
        let comma = mark == Some(',');
        return Some((Num { value, shape: Shape::Decimal, comma, mixed: false, text }, end));
    }
    if mark == Some('/') {
        let stop = digits(chars, end + 1);
        let below: String = chars.get(end + 1..stop)?.iter().collect();
        // Only the parts of an ounce or inch that are printed; "4/0" and "0.26/170" are not.
        if text.len() <= 2 && ["2", "3", "4", "5", "8", "10", "16", "32", "64"].contains(&&*below) {
            let parts: f64 = below.parse().ok()?;
            let text = format!("{text}/{below}");
            let shape = Shape::Fraction;
            return Some((
                Num { value: value / parts, shape, comma: false, mixed: false, text },
                stop,
            ));
        }
    }
    Some((Num { value, shape: Shape::Integer, comma: false, mixed: false, text }, end))
}

impl Cursor {
    /// The start of a text.
    pub(crate) fn new(text: &str) -> Self {
        let chars: Vec<char> = plain(text).chars().collect();
        let mut tokens = Vec::new();
        let (mut at, mut glued) = (0, false);
        while let Some(&c) = chars.get(at) {
            if c == ' ' {
                (at, glued) = (at + 1, false);
                continue;
            }
            if let Some((number, end)) = number_at(&chars, at) {
                tokens.push(Token { text: number.text.clone(), kind: Kind::Number(number), glued });
                at = end;
            } else if c.is_alphabetic() {
                let word: String =
                    chars.iter().skip(at).take_while(|c| c.is_alphabetic()).collect();
                at += word.chars().count();
                tokens.push(Token { text: word, kind: Kind::Word, glued });
            } else {
                tokens.push(Token { text: c.to_string(), kind: Kind::Sign(c), glued });
                at += 1;
            }
            glued = true;
        }
        Self { tokens, at: 0 }
    }

    /// The first number that a minus sign stands right before, which is neither a dash between words
    /// nor part of a range.
    pub(crate) fn signed(&self) -> Option<&str> {
        self.tokens.windows(2).enumerate().find_map(|(i, pair)| {
            let dash = pair[0].kind == Kind::Sign('-') && !pair[0].glued && pair[1].glued;
            let number = matches!(pair[1].kind, Kind::Number(_));
            let before = &self.tokens[i.saturating_sub(2)..i];
            let range = before.iter().any(|token| matches!(token.kind, Kind::Number(_)));
            (dash && number && !range).then_some(pair[1].text.as_str())
        })
    }

    pub(crate) fn done(&self) -> bool {
        self.at >= self.tokens.len()
    }

    pub(crate) fn peek(&self, ahead: usize) -> Option<&Token> {
        self.tokens.get(self.at + ahead)
    }

    pub(crate) fn skip(&mut self, count: usize) {
        self.at = (self.at + count).min(self.tokens.len());
    }

    /// The next token, moving past it.
    pub(crate) fn next_token(&mut self) -> Option<Token> {
        let token = self.tokens.get(self.at).cloned();
        self.skip(1);
        token
    }

    pub(crate) fn sign_at(&self, ahead: usize) -> Option<char> {
        match self.peek(ahead)?.kind {
            Kind::Sign(c) => Some(c),
            Kind::Number(_) | Kind::Word => None,
        }
    }

    pub(crate) fn word_at(&self, ahead: usize) -> Option<&str> {
        let token = self.peek(ahead)?;
        (token.kind == Kind::Word).then_some(token.text.as_str())
    }

    pub(crate) fn num_at(&self, ahead: usize) -> Option<&Num> {
        match &self.peek(ahead)?.kind {
            Kind::Number(number) => Some(number),
            Kind::Word | Kind::Sign(_) => None,
        }
    }

    pub(crate) fn glued_at(&self, ahead: usize) -> bool {
        self.peek(ahead).is_some_and(|t| t.glued)
    }

    pub(crate) fn eat_sign(&mut self, signs: &[char]) -> bool {
        let found = self.sign_at(0).is_some_and(|c| signs.contains(&c));
        self.skip(usize::from(found));
        found
    }

    pub(crate) fn eat_word(&mut self, words: &[&str]) -> bool {
        let found = self.word_at(0).is_some_and(|w| words.contains(&w));
        self.skip(usize::from(found));
        found
    }

    /// What has not been read yet, for messages.
    pub(crate) fn rest(&self) -> String {
        let mut out = String::new();
        for token in self.tokens.iter().skip(self.at) {
            if !token.glued && !out.is_empty() {
                out.push(' ');
            }
            out.push_str(&token.text);
        }
        out
    }

    /// A number; `mixed` allows "1 1/2" and "1-1/2".
    fn number(&mut self, mixed: bool) -> Option<Num> {
        let number = self.num_at(0)?.clone();
        self.skip(1);
        if !mixed || number.shape != Shape::Integer || number.value >= 100.0 {
            return Some(number);
        }
        let hyphen = self.sign_at(0) == Some('-') && self.glued_at(0) && self.glued_at(1);
        let and = self.word_at(0) == Some("and");
        let ahead = usize::from(hyphen || and);
        if let Some(part) = self.num_at(ahead)
            && part.shape == Shape::Fraction
            && part.value < 1.0
        {
            let text = format!("{} {}", number.text, part.text);
            let value = number.value + part.value;
            self.skip(ahead + 1);
            return Some(Num { value, mixed: true, text, ..number });
        }
        Some(number)
    }

    fn unit_here(&self) -> Option<(Unit, usize)> {
        let one = |unit| Some((unit, 1));
        match self.sign_at(0) {
            Some('"') => return one(Unit::Span(Span::In)),
            Some('\'') => return one(Unit::Span(Span::Ft)),
            Some('#') if self.glued_at(0) && self.num_at(1).is_none() => {
                return one(Unit::Weight(Weight::Lb));
            }
            // "7-foot", "50-lb"
            Some('-') if self.glued_at(0) && self.glued_at(1) => {
                return unit_word(self.word_at(1)?).map(|unit| (unit, 2));
            }
            Some(_) => return None,
            None => {}
        }
        let word = self.word_at(0)?;
        let per = (self.sign_at(1) == Some('/')).then(|| self.word_at(2)).flatten();
        match (word, per) {
            ("m", Some("s" | "sec")) => return Some((Unit::Pace(Pace::MetreSecond), 3)),
            ("km", Some("h" | "hr")) => return Some((Unit::Pace(Pace::KilometreHour), 3)),
            _ => {}
        }
        unit_word(word).and_then(one)
    }

    pub(crate) fn unit(&mut self) -> Option<Unit> {
        let (unit, length) = self.unit_here()?;
        self.skip(length);
        if self.sign_at(0) == Some('.') && self.glued_at(0) && self.sign_at(1) != Some('.') {
            self.skip(1);
        }
        Some(unit)
    }

    /// Inches after feet: with a mark, glued on, or last in the text.
    fn inches(&mut self) -> Option<Num> {
        let start = self.at;
        let glued = self.glued_at(0);
        if let Some(number) = self.number(true)
            && self.unit() == Some(Unit::Span(Span::In))
        {
            return Some(number);
        }
        self.at = start;
        let number = self.number(false)?;
        // "6'6 M" is a length and a power, "7'10-30 g" is not ten inches.
        let free = self.unit_here().is_none() || (self.word_at(0).is_some() && !self.glued_at(0));
        let range = self.sign_at(0) == Some('-') && self.num_at(1).is_some();
        if number.shape == Shape::Integer && (glued || self.done()) && free && !range {
            return Some(number);
        }
        self.at = start;
        None
    }

    fn term(&mut self) -> Option<Term> {
        let start = self.at;
        let pe = self.eat_word(&["pe"]);
        if pe && !self.eat_sign(&['#', '-']) && self.eat_word(&["no", "nr"]) {
            self.eat_sign(&['.']);
        }
        let Some(mut number) = self.number(true) else {
            self.at = start;
            return None;
        };
        let mut unit = self.unit();
        let mut inches_over = false;
        if unit == Some(Unit::Span(Span::Ft))
            && number.shape == Shape::Integer
            && let Some(inches) = self.inches()
        {
            inches_over = inches.value >= 12.0;
            let text = format!("{} ft {} in", number.text, inches.text);
            number = Num { value: number.value * 12.0 + inches.value, text, ..number };
            unit = Some(Unit::Span(Span::In));
        }
        Some(Term { number, unit, pe, inches_over })
    }

    fn range_sign(&mut self) -> bool {
        if self.sign_at(0) == Some('.') && self.sign_at(1) == Some('.') {
            self.skip(2);
            self.eat_sign(&['.']);
            return true;
        }
        self.eat_sign(&['-', '~', '…']) || self.eat_word(&["to"])
    }

    /// An amount at this place, moving past it; otherwise stays.
    pub(crate) fn amount(&mut self) -> Option<Amount> {
        let start = self.at;
        let most =
            self.eat_sign(&['<']) || self.eat_word(&["max", "maximum", "upto", "under"]) || {
                let up_to = self.word_at(0) == Some("up") && self.word_at(1) == Some("to");
                self.skip(2 * usize::from(up_to));
                up_to
            };
        let least = !most && (self.eat_sign(&['>']) || self.eat_word(&["min", "minimum", "from"]));
        if most || least {
            self.eat_sign(&['=', '.', ':']);
        }
        let Some(first) = self.term() else {
            self.at = start;
            return None;
        };
        if let Some(second) = self.other_end(&first) {
            let (mut low, mut high) = (first, second);
            low.unit = low.unit.or(high.unit);
            high.unit = high.unit.or(low.unit);
            high.pe |= low.pe;
            low.pe = high.pe;
            return Some(Amount::Between(low, high));
        }
        if most {
            return Some(Amount::AtMost(first));
        }
        let plus = self.sign_at(0) == Some('+') && self.num_at(1).is_none();
        if least || plus {
            self.skip(usize::from(plus));
            return Some(Amount::AtLeast(first));
        }
        if self.eat_word(&["max", "maximum"]) {
            self.eat_sign(&['.']);
            return Some(Amount::AtMost(first));
        }
        Some(Amount::One(first))
    }

    fn other_end(&mut self, first: &Term) -> Option<Term> {
        let start = self.at;
        if self.range_sign()
            && let Some(second) = self.term()
            && alike(first, &second)
            // "2.13 m - 5-20 g": the five begins a range of its own.
            && !(second.unit.is_none() && self.sign_at(0) == Some('-') && self.num_at(1).is_some())
        {
            return Some(second);
        }
        self.at = start;
        None
    }
}

/// Whether two terms can be the ends of one range.
fn alike(a: &Term, b: &Term) -> bool {
    let units = match (a.unit, b.unit) {
        (Some(Unit::Span(x)), Some(Unit::Span(y))) => x == y,
        (Some(x), Some(y)) => std::mem::discriminant(&x) == std::mem::discriminant(&y),
        _ => true,
    };
    // "PE 1.5-200 m" is a line number and a length.
    let numbers = !(a.pe && !b.pe && a.unit.is_none() && b.unit.is_some());
    units && numbers
}

fn unit_word(word: &str) -> Option<Unit> {
    Some(match word {
        "g" | "gr" | "gram" | "grams" | "gramme" | "grammes" => Unit::Weight(Weight::G),
        "kg" | "kgs" | "kgf" | "kilo" | "kilos" => Unit::Weight(Weight::Kg),
        "oz" | "ozs" | "ounce" | "ounces" => Unit::Weight(Weight::Oz),
        "lb" | "lbs" | "lbf" | "pound" | "pounds" => Unit::Weight(Weight::Lb),
        "n" | "newton" | "newtons" => Unit::Newton,
        "m" | "metre" | "metres" | "meter" | "meters" => Unit::Span(Span::M),
        "cm" | "cms" => Unit::Span(Span::Cm),
        "mm" => Unit::Span(Span::Mm),
        "ft" | "foot" | "feet" => Unit::Span(Span::Ft),
        "in" | "inch" | "inches" => Unit::Span(Span::In),
        "yd" | "yds" | "yard" | "yards" => Unit::Span(Span::Yd),
        "mps" => Unit::Pace(Pace::MetreSecond),
        "kmh" | "kph" => Unit::Pace(Pace::KilometreHour),
        "kn" | "kt" | "kts" | "knot" | "knots" => Unit::Pace(Pace::Knot),
        "mph" => Unit::Pace(Pace::MileHour),
        _ => return None,
    })
}

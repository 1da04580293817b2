//! Words into lines.

/// Columns of a line that a person reads.
pub const WIDTH: usize = 80;

/// Breaks a text into lines of at most `width` characters; a word that is longer is cut.
#[must_use]
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    lines(text, width, |word| pieces(word, width.max(1)))
}

fn lines(text: &str, width: usize, parts: impl Fn(&str) -> Vec<String>) -> Vec<String> {
    let width = width.max(1);
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut length = 0;
    let text = with_units_kept(text);
    // Not split_whitespace: that would part a number from its unit again.
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        for piece in parts(word) {
            let size = piece.chars().count();
            if length > 0 && length + 1 + size > width {
                lines.push(std::mem::take(&mut line));
                length = 0;
            }
            if length > 0 {
                line.push(' ');
                length += 1;
            }
            line.push_str(&piece);
            length += size;
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines.iter().map(|line| line.replace(TIE, " ")).collect()
}

const TIE: char = '\u{a0}';
const UNITS: [&str; 17] = [
    "g", "kg", "oz", "lb", "mm", "cm", "m", "in", "ft", "yd", "N", "%", "m/s", "kn", "min", "h",
    "kgf",
];

/// One space between words, but a tie between a number and its unit.
fn with_units_kept(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut after_number = false;
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches([',', '.', ';', ':', ')']);
        if !out.is_empty() {
            out.push(if after_number && UNITS.contains(&bare) { TIE } else { ' ' });
        }
        out.push_str(word);
        after_number = word.ends_with(|c: char| c.is_ascii_digit());
    }
    out
}

fn pieces(word: &str, width: usize) -> Vec<String> {
    let letters: Vec<char> = word.chars().collect();
    letters.chunks(width).map(|piece| piece.iter().collect()).collect()
}

/// A text behind a lead, in lines of at most `width` characters; the lines that follow stand below
/// the text, not the lead. A longer word, a path or a token, stays whole: it is there to be copied.
#[must_use]
pub fn hanging(lead: &str, text: &str, width: usize) -> Vec<String> {
    let indent = lead.chars().count();
    let lines = lines(text, width.saturating_sub(indent), |word| vec![word.to_owned()]);
    let lines = lines.into_iter().enumerate().map(|(i, line)| match i {
        0 => format!("{lead}{line}"),
        _ => format!("{:indent$}{line}", ""),
    });
    lines.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: a number is not parted from its unit.
    #[test]
    fn lines_break_between_words_but_not_before_units() {
        assert_eq!(wrap("takes about 14 g, or so", 14), ["takes about", "14 g, or so"]);
        assert_eq!(wrap("abcdefgh ij", 4), ["abcd", "efgh", "ij"]);
        assert_eq!(wrap("", 4), [""]);
        assert_eq!(wrap("x", 0), ["x"]);
        assert_eq!(hanging("e: ", "no abcdefghijkl", 10), ["e: no", "   abcdefghijkl"]);
    }
}

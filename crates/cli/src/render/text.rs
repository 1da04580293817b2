//! Words into lines: wrapping, hanging indents, sections.

/// Breaks a text into lines of at most `width` characters; a word that is longer is cut.
#[must_use]
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut length = 0;
    let text = with_units_kept(text);
    // Not split_whitespace: that would part a number from its unit again.
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        for piece in pieces(word, width) {
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

/// A text that grows section by section, no line wider than its width.
#[derive(Clone, Debug)]
pub struct Page {
    text: String,
    width: usize,
}

/// Least width that still holds a table.
pub const LEAST_WIDTH: usize = 72;

impl Page {
    /// An empty page, `width` characters wide, at least [`LEAST_WIDTH`].
    #[must_use]
    pub fn new(width: usize) -> Self {
        Self { text: String::new(), width: width.max(LEAST_WIDTH) }
    }

    /// Its width in characters.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Adds a line as it is.
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// Adds a text, wrapped.
    pub fn paragraph(&mut self, text: &str) {
        self.hanging("", text);
    }

    /// Adds an empty line and a heading.
    pub fn heading(&mut self, heading: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        self.line(heading);
    }

    /// Adds a text behind a lead; the lines that follow stand below the text, not the lead.
    pub fn hanging(&mut self, lead: &str, text: &str) {
        let indent = lead.chars().count();
        for (i, line) in wrap(text, self.width.saturating_sub(indent)).iter().enumerate() {
            if i == 0 {
                self.line(&format!("{lead}{line}"));
            } else {
                self.line(&format!("{:indent$}{line}", ""));
            }
        }
    }

    /// Adds names and values, the values below each other.
    pub fn pairs(&mut self, rows: &[(String, String)]) {
        let widest = rows.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(0);
        for (name, value) in rows {
            self.hanging(&format!("  {name:widest$}  "), value);
        }
    }

    /// Adds a table.
    pub fn table(&mut self, table: &super::Table) {
        self.text.push_str(&table.render(self.width));
    }

    /// The text.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
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
    }
}

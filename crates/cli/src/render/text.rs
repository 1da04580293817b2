//! Lines into pages: hanging indents, sections, names and values.

use deepbend_server::text::hanging;

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
        hanging(lead, text, self.width).iter().for_each(|line| self.line(line));
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

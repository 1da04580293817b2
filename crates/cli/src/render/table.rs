//! Tables for people: columns as wide as their cells, one or more that wrap.

use super::wrap;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shape {
    Left,
    Right,
    Wrapped,
}

/// A table with a title above each column.
#[derive(Clone, Debug, Default)]
pub struct Table {
    columns: Vec<(String, Shape)>,
    rows: Vec<Vec<String>>,
}

const GAP: usize = 2;
const LEAST_WRAPPED: usize = 12;
/// A longer word is cut.
const LONGEST_WORD: usize = 24;
/// What is left at least of an id or a hash for which there is no room: `abcdef12…`.
const LEAST_LEFT: usize = 9;

impl Table {
    /// A table without columns.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a column of words.
    #[must_use]
    pub fn left(mut self, title: &str) -> Self {
        self.columns.push((title.to_owned(), Shape::Left));
        self
    }

    /// Adds a column of numbers.
    #[must_use]
    pub fn right(mut self, title: &str) -> Self {
        self.columns.push((title.to_owned(), Shape::Right));
        self
    }

    /// Adds a column of text; such columns share the width that the others leave.
    #[must_use]
    pub fn wrapped(mut self, title: &str) -> Self {
        self.columns.push((title.to_owned(), Shape::Wrapped));
        self
    }

    /// Adds a row; cells that are missing stay empty.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// Whether it has no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table, at most `width` characters wide where that is possible.
    #[must_use]
    pub fn render(&self, width: usize) -> String {
        let widths = self.widths(width);
        let titles = self.columns.iter().map(|(title, _)| title.clone()).collect::<Vec<_>>();
        let mut out = String::new();
        self.put(&mut out, &titles, &widths);
        for row in &self.rows {
            self.put(&mut out, row, &widths);
        }
        out
    }

    /// Takes from the widest columns of words what the others lack.
    fn make_room(&self, natural: &mut [usize], width: usize) {
        let least = |(i, n): (usize, &usize)| match self.columns[i].1 {
            Shape::Wrapped => (*n).min(LEAST_WRAPPED),
            Shape::Left | Shape::Right => *n,
        };
        let gaps = GAP * natural.len().saturating_sub(1);
        while natural.iter().enumerate().map(least).sum::<usize>() + gaps > width {
            let left = |i: &usize| self.columns[*i].1 == Shape::Left;
            let widest = (0..natural.len()).filter(left).max_by_key(|i| natural[*i]);
            let Some(widest) = widest.filter(|i| natural[*i] > LEAST_LEFT) else { return };
            natural[widest] -= 1;
        }
    }

    fn widths(&self, width: usize) -> Vec<usize> {
        let cell = |row: &Vec<String>, i: usize| row.get(i).map_or(0, |c| c.chars().count());
        let mut natural: Vec<usize> = self
            .columns
            .iter()
            .enumerate()
            .map(|(i, (title, _))| {
                let cells = self.rows.iter().map(|row| cell(row, i)).max().unwrap_or(0);
                cells.max(title.chars().count())
            })
            .collect();
        self.make_room(&mut natural, width);
        let shapes = || self.columns.iter().map(|(_, shape)| *shape).zip(&natural);
        let gaps = GAP * self.columns.len().saturating_sub(1);
        let fixed: usize = shapes().filter(|(s, _)| *s != Shape::Wrapped).map(|(_, n)| n).sum();
        let wrapping = shapes().filter(|(s, _)| *s == Shape::Wrapped).count().max(1);
        let room = (width.saturating_sub(fixed + gaps) / wrapping).max(LEAST_WRAPPED);
        // What one wrapping column does not need, the others get.
        let spare: usize = shapes()
            .filter(|(s, _)| *s == Shape::Wrapped)
            .map(|(_, n)| room.saturating_sub(*n))
            .sum();
        let mut widths: Vec<usize> = shapes()
            .map(|(shape, natural)| match shape {
                Shape::Left | Shape::Right => *natural,
                Shape::Wrapped if *natural <= room => *natural,
                Shape::Wrapped => (*natural).min(room + spare / wrapping),
            })
            .collect();
        self.keep_words_whole(&mut widths);
        widths
    }

    /// Moves room between the wrapping columns, so that words are cut only where it has to be.
    fn keep_words_whole(&self, widths: &mut [usize]) {
        let word = |i: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(i)).map(String::as_str);
            let words = cells.chain([self.columns[i].0.as_str()]).flat_map(str::split_whitespace);
            words.map(|word| word.chars().count()).max().unwrap_or(0).min(LONGEST_WORD)
        };
        let wrapping = (0..widths.len()).filter(|i| self.columns[*i].1 == Shape::Wrapped);
        let needs: Vec<(usize, usize)> = wrapping.map(|i| (i, word(i))).collect();
        while let Some((short, _)) = needs.iter().find(|(i, need)| widths[*i] < *need) {
            let spare = |(i, need): &&(usize, usize)| widths[*i].saturating_sub(*need);
            let Some(giver) = needs.iter().max_by_key(spare).filter(|pair| spare(pair) > 0) else {
                return;
            };
            let giver = giver.0;
            widths[giver] -= 1;
            widths[*short] += 1;
        }
    }

    fn put(&self, out: &mut String, cells: &[String], widths: &[usize]) {
        let empty = String::new();
        let wrapped: Vec<Vec<String>> = self
            .columns
            .iter()
            .enumerate()
            .map(|(i, (_, shape))| {
                let cell = cells.get(i).unwrap_or(&empty);
                match shape {
                    Shape::Wrapped => wrap(cell, widths[i]),
                    Shape::Left | Shape::Right => vec![shortened(cell, widths[i])],
                }
            })
            .collect();
        let height = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for line in 0..height {
            let mut text = String::new();
            for (i, (_, shape)) in self.columns.iter().enumerate() {
                let cell = wrapped[i].get(line).unwrap_or(&empty);
                let width = widths[i];
                if i > 0 {
                    text.push_str("  ");
                }
                match shape {
                    Shape::Right => text.push_str(&format!("{cell:>width$}")),
                    Shape::Left | Shape::Wrapped => text.push_str(&format!("{cell:width$}")),
                }
            }
            out.push_str(text.trim_end());
            out.push('\n');
        }
    }
}

/// The beginning of a word for which there is no room.
fn shortened(word: &str, width: usize) -> String {
    if word.chars().count() <= width {
        return word.to_owned();
    }
    let kept: String = word.chars().take(width.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: 80 columns.
    #[test]
    fn a_table_keeps_to_its_width() {
        let mut table = Table::new().left("factor").right("score").wrapped("why").wrapped("more");
        table.row(vec!["load".into(), "0.50".into(), "word ".repeat(60), "short".into()]);
        table.row(vec!["action".into(), "1.00".into(), "x".repeat(200), "y ".repeat(90)]);
        for width in [60, 80, 120] {
            let text = table.render(width);
            assert!(text.lines().all(|line| line.chars().count() <= width), "{width}:\n{text}");
        }
        assert!(table.render(80).starts_with("factor  score  why"));
    }

    // Common practice, no source: 80 columns, and enough of each id to find it in the JSON.
    #[test]
    fn ids_are_shortened_where_there_is_no_room() {
        let id = |letter: &str| letter.repeat(64);
        let mut table = Table::new().left("event").left("when").left("who").wrapped("what");
        table.row(vec![id("a"), "2031-09-15T18:00:00Z".into(), id("b"), "word ".repeat(9)]);
        table.row(vec!["B1.1.2".into(), "2031-09-15T18:00:00Z".into(), "anna".into(), "x".into()]);
        let text = table.render(80);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(text.contains("aaaaaaaa") && text.contains('…') && text.contains("anna"), "{text}");
        assert!(text.contains("2031-09-15T18:00:00Z"), "{text}");
    }

    // Common practice, no source: a name is found again only where it is whole.
    #[test]
    fn words_are_kept_whole_where_there_is_room() {
        let mut table = Table::new().left("name").wrapped("a").wrapped("b");
        table.row(vec!["n".repeat(30), "word ".repeat(20), "an_other_name_of_24_chars".into()]);
        table.row(vec![String::new(), String::new(), "b ".repeat(40) + "sea_run_brown_trout_"]);
        let text = table.render(72);
        assert!(text.contains("sea_run_brown_trout_"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 72), "{text}");
    }
}

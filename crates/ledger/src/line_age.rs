//! When the line on a reel is due: hours fished and seasons on the spool.
//!
//! Common practice, no source: braid is turned round after about 100 h or a season and replaced
//! after 200 to 250 h; nylon is replaced after 60 to 80 h or a season; fluorocarbon after two
//! seasons. A braid that is past both its hours and its season is replaced: no end of it is
//! fresh any more. From memory: a braid that was turned round once is counted from that day, and
//! replaced when it would be turned again.

use deepbend_core::gear::LineMaterial;
use serde::{Deserialize, Serialize};

use crate::id::Id;
use crate::item::{FittedLine, ItemKind, Spec, Status, words};
use crate::time::Date;
use crate::view::View;

/// Hours after which a braid is turned round.
pub const BRAID_REVERSE_H: f64 = 100.0;
/// Hours after which a braid is replaced, whatever its age.
pub const BRAID_REPLACE_H: f64 = 200.0;
/// Hours after which nylon is replaced; fluorocarbon is taken alike.
pub const SINGLE_FILAMENT_REPLACE_H: f64 = 60.0;
/// Months of one season, from spooling to the same day a year later.
pub const SEASON_MONTHS: i32 = 12;
/// Months after which fluorocarbon is replaced.
pub const FLUOROCARBON_REPLACE_MONTHS: i32 = 24;

words! {
    /// What to do with the line, the lesser first.
    LineWork {
        /// Turn it round, so that the unused end comes first.
        Reverse = "reverse",
        /// Put on new line.
        Replace = "replace",
    }
}

/// Why a line is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DueReason {
    /// Fished as long as the limit, or longer.
    Hours {
        /// Hours fished.
        hours: f64,
        /// The limit.
        limit: f64,
    },
    /// Fished as long as the limit, or longer, since it was turned round.
    SinceTurned {
        /// Hours fished since then.
        hours: f64,
        /// The limit.
        limit: f64,
    },
    /// On the spool, that end out, as long as the limit, or longer.
    Age {
        /// When it was put on or turned round.
        spooled_on: Date,
        /// Whole months since then.
        months: i32,
        /// The limit in months.
        limit: i32,
    },
}

impl std::fmt::Display for DueReason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Hours { hours, limit } => write!(f, "{hours:.0} h fished, limit {limit:.0} h"),
            Self::SinceTurned { hours, limit } => {
                write!(f, "{hours:.0} h fished since it was turned, limit {limit:.0} h")
            }
            Self::Age { spooled_on, months, limit } => {
                write!(f, "on since {spooled_on}, {months} months, limit {limit}")
            }
        }
    }
}

/// A line that wants work.
#[derive(Clone, Debug, PartialEq)]
pub struct LineDue {
    /// What to do.
    pub work: LineWork,
    /// Why, at least one reason.
    pub reasons: Vec<DueReason>,
}

impl std::fmt::Display for LineDue {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} the line", self.work)?;
        for (i, reason) in self.reasons.iter().enumerate() {
            write!(f, "{}{reason}", if i == 0 { ": " } else { "; " })?;
        }
        Ok(())
    }
}

/// Whether a line is due on `today`; on a day that nobody knows by its hours alone. What is not known
/// does not count against it; a line of unknown material is taken as braid.
#[must_use]
pub fn line_due(fitted: &FittedLine, today: Option<Date>) -> Option<LineDue> {
    let hours = fitted.hours.unwrap_or(0.0);
    let age = |on: Option<Date>| on.zip(today).map(|(on, today)| (on, today.months_since(on)));
    let older = |on: Option<Date>, limit: i32| match age(on) {
        Some((spooled_on, months)) if months >= limit => {
            Some(DueReason::Age { spooled_on, months, limit })
        }
        Some(_) | None => None,
    };
    let old = |limit: i32| older(fitted.spooled_on, limit);
    let worn = |limit: f64| (hours >= limit).then_some(DueReason::Hours { hours, limit });
    let (work, reasons) = match fitted.line.material {
        Some(LineMaterial::Nylon) => {
            (LineWork::Replace, [worn(SINGLE_FILAMENT_REPLACE_H), old(SEASON_MONTHS)])
        }
        Some(LineMaterial::Fluorocarbon) => {
            (LineWork::Replace, [worn(SINGLE_FILAMENT_REPLACE_H), old(FLUOROCARBON_REPLACE_MONTHS)])
        }
        Some(LineMaterial::Braid) | None if fitted.turned.is_some() => {
            let turned = fitted.turned.as_ref();
            let since = turned.map_or(0.0, |turned| hours - turned.hours);
            let spent = (since >= BRAID_REVERSE_H)
                .then_some(DueReason::SinceTurned { hours: since, limit: BRAID_REVERSE_H });
            let on = turned.map(|turned| turned.on);
            let spent = worn(BRAID_REPLACE_H).or(spent);
            (LineWork::Replace, [spent, older(on, SEASON_MONTHS)])
        }
        Some(LineMaterial::Braid) | None => {
            let season = old(SEASON_MONTHS);
            match (worn(BRAID_REPLACE_H), worn(BRAID_REVERSE_H)) {
                (Some(spent), _) => (LineWork::Replace, [Some(spent), season]),
                (None, Some(half)) if season.is_some() => (LineWork::Replace, [Some(half), season]),
                (None, half) => (LineWork::Reverse, [half, season]),
            }
        }
    };
    let reasons: Vec<_> = reasons.into_iter().flatten().collect();
    (!reasons.is_empty()).then_some(LineDue { work, reasons })
}

/// The reels whose line is due on `today`, by id. Reels that are lost or retired are left out.
#[must_use]
pub fn lines_due(view: &View, today: Date) -> Vec<(Id, LineDue)> {
    let mut due = Vec::new();
    for entry in view.of_kind(ItemKind::Reel) {
        let item = entry.item();
        let Spec::Reel(reel) = &item.spec else { continue };
        if item.status >= Status::Lost {
            continue;
        }
        let line = reel.fitted.as_ref().and_then(|fitted| line_due(fitted, Some(today)));
        due.extend(line.map(|line| (item.id.clone(), line)));
    }
    due
}

#[cfg(test)]
mod tests {
    use deepbend_core::gear::Line;

    use super::*;
    use crate::item::Turned;

    fn due(material: LineMaterial, hours: f64, on: &str, today: &str) -> Option<LineWork> {
        let line = Line { material: Some(material), ..Line::default() };
        let spooled_on = Some(Date::read(on).unwrap());
        let fitted = FittedLine { line, hours: Some(hours), spooled_on, ..Default::default() };
        line_due(&fitted, Some(Date::read(today).unwrap())).map(|due| due.work)
    }

    // Common practice, no source: braid 100 h or a season, 200 to 250 h; nylon 60 to 80 h.
    #[test]
    fn lines_wear_by_hours_and_by_seasons() {
        use LineMaterial::{Braid, Fluorocarbon, Nylon};
        use LineWork::{Replace, Reverse};
        let today = "2031-09-15";
        assert_eq!(due(Braid, 99.0, "2031-03-30", today), None);
        assert_eq!(due(Braid, 100.0, "2031-03-30", today), Some(Reverse));
        assert_eq!(due(Braid, 10.0, "2030-09-16", today), None);
        assert_eq!(due(Braid, 10.0, "2030-09-15", today), Some(Reverse));
        assert_eq!(due(Braid, 148.0, "2030-08-11", today), Some(Replace));
        assert_eq!(due(Braid, 212.0, "2031-06-19", today), Some(Replace));
        assert_eq!(due(Nylon, 40.0, "2031-05-15", today), None);
        assert_eq!(due(Nylon, 70.0, "2031-05-15", today), Some(Replace));
        assert_eq!(due(Nylon, 5.0, "2030-05-15", today), Some(Replace));
        assert_eq!(due(Fluorocarbon, 5.0, "2030-05-15", today), None);
        assert_eq!(due(Fluorocarbon, 5.0, "2029-05-15", today), Some(Replace));
    }

    // From memory: a turned line has no fresh end left.
    #[test]
    fn a_line_is_turned_once() {
        let date = |text| Date::read(text).unwrap();
        let today = date("2031-09-15");
        let fitted = |hours, turned_h, turned_on| FittedLine {
            hours: Some(hours),
            spooled_on: Some(date("2029-05-01")),
            turned: Some(Turned { on: date(turned_on), hours: turned_h }),
            ..Default::default()
        };
        let work = |fitted| line_due(&fitted, Some(today)).map(|due| due.work);
        assert_eq!(work(fitted(110.0, 90.0, "2031-05-01")), None);
        assert_eq!(work(fitted(190.0, 90.0, "2031-05-01")), Some(LineWork::Replace));
        assert_eq!(work(fitted(110.0, 90.0, "2030-05-01")), Some(LineWork::Replace));
        assert_eq!(work(fitted(200.0, 190.0, "2031-05-01")), Some(LineWork::Replace));
    }

    // From memory: what is not written down cannot be held against a line.
    #[test]
    fn the_unknown_is_not_due() {
        assert_eq!(line_due(&FittedLine::default(), Date::new(2031, 9, 15)), None);
    }

    // Common practice, no source: worn is worn on any day.
    #[test]
    fn hours_count_without_a_date() {
        let on = Date::new(2020, 8, 11).unwrap();
        let fitted = |hours| FittedLine {
            hours: Some(hours),
            spooled_on: Some(on),
            ..FittedLine::default()
        };
        let due = line_due(&fitted(212.0), None).unwrap();
        assert_eq!(due.to_string(), "replace the line: 212 h fished, limit 200 h");
        assert_eq!(line_due(&fitted(99.0), None), None);
    }

    #[test]
    fn says_why() {
        let on = Date::new(2030, 8, 11).unwrap();
        let fitted = FittedLine { hours: Some(148.0), spooled_on: Some(on), ..Default::default() };
        let due = line_due(&fitted, Date::new(2031, 9, 15)).unwrap();
        assert_eq!(
            due.to_string(),
            "replace the line: 148 h fished, limit 100 h; \
             on since 2030-08-11, 13 months, limit 12"
        );
    }
}

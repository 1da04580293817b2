//! What is due on a day: line work, service, loans and bench work that should be over. A pure
//! function of the state and the day; it follows from events only and changes none.

use crate::fold::{Bench, Field, Loan, Value, Wear};
use crate::item::{ItemKey, ItemKind, Spec, Status};
use crate::line_age::{LineDue, line_due};
use crate::time::Date;
use crate::view::View;

/// Hours fished after which a reel is serviced. From memory.
pub const SERVICE_H: f64 = 100.0;
/// Months after which a reel is serviced again. From memory: once a season.
pub const SERVICE_MONTHS: i32 = 12;

/// Something that is due.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// The item.
    pub item: ItemKey,
    /// What is due, and why.
    pub work: Work,
}

/// What is due, and why.
#[derive(Clone, Debug, PartialEq)]
pub enum Work {
    /// Line work. If the line is contested, that of its cautious value.
    Line(LineDue),
    /// A reel wants service after so many hours.
    ServiceByHours {
        /// Hours fished since its last service, as far as events tell.
        hours: f64,
    },
    /// A reel wants service after so long.
    ServiceByAge {
        /// Its last service.
        last: Date,
        /// Whole months since then.
        months: i32,
    },
    /// It should be back from a loan.
    Return(Loan),
    /// It should be back from the bench.
    Bench(Bench),
}

impl std::fmt::Display for Work {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Line(line) => line.fmt(f),
            Self::ServiceByHours { hours } => {
                write!(f, "service it: {hours:.0} h fished, limit {SERVICE_H:.0} h")
            }
            Self::ServiceByAge { last, months } => {
                let limit = SERVICE_MONTHS;
                write!(f, "service it: last on {last}, {months} months, limit {limit}")
            }
            Self::Return(Loan { to, until: Some(day) }) => {
                write!(f, "ask {to} for it: due back on {day}")
            }
            Self::Return(Loan { to, until: None }) => write!(f, "ask {to} for it"),
            Self::Bench(Bench { to, back_by }) => {
                f.write_str("ask")?;
                to.iter().try_for_each(|to| write!(f, " {to}"))?;
                f.write_str(" whether the work is done")?;
                back_by.iter().try_for_each(|day| write!(f, ": due back on {day}"))
            }
        }
    }
}

/// Everything that is due on a day, by kind and id of the item. Lost and retired items are left
/// out.
#[must_use]
pub fn due(view: &View, as_of: Date) -> Vec<Due> {
    let mut all = Vec::new();
    for entry in view.entries() {
        let item = entry.item();
        let key = || item.key();
        match item.status {
            Status::Lost | Status::Retired => continue,
            Status::OnLoan | Status::InService => {
                let work = overdue(view, &key(), as_of);
                all.extend(work.map(|work| Due { item: key(), work }));
            }
            Status::Ready | Status::Broken => {}
        }
        if let Spec::Reel(reel) = &item.spec {
            let line = reel.fitted.as_ref().and_then(|fitted| line_due(fitted, Some(as_of)));
            all.extend(line.map(|line| Due { item: key(), work: Work::Line(line) }));
        }
        if item.kind() == ItemKind::Reel {
            let work = service(entry.wear(), as_of);
            all.extend(work.map(|work| Due { item: key(), work }));
        }
    }
    all
}

fn service(wear: &Wear, as_of: Date) -> Option<Work> {
    let hours = wear.minutes_since_service as f64 / 60.0;
    if hours >= SERVICE_H {
        return Some(Work::ServiceByHours { hours });
    }
    let last = wear.serviced_on?;
    let months = as_of.months_since(last);
    (months >= SERVICE_MONTHS).then_some(Work::ServiceByAge { last, months })
}

/// A loan or a stay at the bench that should be over: after its day, by any of its claims.
fn overdue(view: &View, key: &ItemKey, as_of: Date) -> Option<Work> {
    let story = view.tell(key)?;
    let status = story.item.as_ref()?.status;
    let field = if status == Status::OnLoan { Field::Loan } else { Field::Bench };
    let claims = story.fields.get(&field).into_iter().flat_map(|held| &held.claims);
    let late = |day: Option<Date>| day.is_some_and(|day| day < as_of);
    claims
        .filter_map(|claim| match &claim.value {
            Value::Loan(Some(loan)) if late(loan.until) => Some(Work::Return(loan.clone())),
            Value::Bench(Some(bench)) if late(bench.back_by) => Some(Work::Bench(bench.clone())),
            Value::Loan(_)
            | Value::Bench(_)
            | Value::Place(_)
            | Value::Status(_)
            | Value::Condition(_)
            | Value::Line(_)
            | Value::Rig(_)
            | Value::Column(_) => None,
        })
        .next()
}

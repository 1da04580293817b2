//! Who may make a broken or retired item usable again: only who inspected it, or who knows of an
//! inspection that knew of the breakage.

use std::collections::BTreeMap;

use super::deed::{Deed, Field, Value};
use super::log::Log;
use super::story::Line;
use crate::item::Status;

/// An event that may not make its item usable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Judged {
    /// The worst that its device knew the item to be.
    pub(super) was: Status,
}

fn is_usable(status: Status) -> bool {
    match status {
        Status::Ready | Status::OnLoan => true,
        Status::InService | Status::Broken | Status::Lost | Status::Retired => false,
    }
}

fn is_unsound(status: Status) -> bool {
    match status {
        Status::Broken | Status::Retired => true,
        Status::Ready | Status::OnLoan | Status::InService | Status::Lost => false,
    }
}

/// The status that an event gives the item.
fn given(line: &Line<'_>) -> Option<Status> {
    line.deeds.iter().find_map(|deed| {
        if let Deed::Status(status, _)
        | Deed::Inspect(status, true)
        | Deed::Put(Field::Status, Value::Status(status)) = deed
        {
            Some(*status)
        } else {
            None
        }
    })
}

/// The events, by index, that would make the item usable and may not.
pub(super) fn judge(log: &Log, lines: &[Line<'_>]) -> BTreeMap<usize, Judged> {
    let heard = || lines.iter().filter(|line| line.is_heard());
    let unsound: Vec<_> = heard()
        .filter_map(|line| given(line).filter(|s| is_unsound(*s)).map(|status| (line, status)))
        .collect();
    if unsound.is_empty() {
        return BTreeMap::new();
    }
    let sound = |deed: &Deed<'_>| matches!(deed, Deed::Inspect(s, true) if is_usable(*s));
    let inspections: Vec<_> =
        heard().filter(|line| line.acts() && line.deeds.iter().any(sound)).collect();
    let wants = |line: &Line<'_>| {
        line.deeds.iter().any(|deed| matches!(deed, Deed::Status(s, _) if is_usable(*s)))
    };
    let mut judged = BTreeMap::new();
    for (index, line) in lines.iter().enumerate().filter(|(_, line)| line.is_heard()) {
        if !wants(line) {
            continue;
        }
        let open = unsound.iter().filter(|(worse, _)| {
            line.knew(log, worse)
                && !inspections.iter().any(|i| i.knew(log, worse) && line.knew(log, i))
        });
        if let Some(was) = open.map(|(_, status)| *status).max() {
            judged.insert(index, Judged { was });
        }
    }
    judged
}

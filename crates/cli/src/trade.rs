//! What a service says of the fields of an event, in the words of the command line that told it.

use crate::failure::Failure;

/// Fields of an event and what the command line calls them, the longest first where one ends in
/// the other.
const FIELDS: &[(&str, &str)] = &[
    ("item_id", "the item"),
    ("item_kind", "--kind"),
    ("seen_at_id", "--at"),
    ("claim.actor", "--by"),
    ("claim.observed_time", "--time"),
    ("body.moved.to_id", "the place"),
    ("body.moved.from_id", "--from"),
    ("body.moved.piece_count", "--pieces"),
    ("body.lent.to_id", "to whom"),
    ("body.lent.until_date", "--until"),
    ("body.lent", "this"),
    ("body.returned.to_id", "the place"),
    ("place_id", "--place"),
    ("counted.amount", "the amount"),
    ("counted.measure", "the amount"),
    ("adjusted.change", "the amount"),
    ("adjusted.measure", "the amount"),
    ("body.found.at_id", "the place"),
    ("reel_id", "the reel"),
    ("body.respooled.from_id", "--from"),
    ("body.respooled.taken_cm", "--length"),
    ("body.respooled", "the line"),
    ("body.reversed", "this"),
    ("body.cut_back.cut_cm", "the length"),
    ("body.used.minutes", "the minutes"),
    ("body.broke.what", "what broke"),
    ("body.broke", "this"),
    ("body.lost", "this"),
    ("body.found_defect.usable", "--usable"),
    ("body.found_defect.what", "the defect"),
    ("body.found_defect", "this"),
    ("body.found", "this"),
    ("body.rigged", "this"),
    ("body.inspected.reason", "the reason"),
    ("body.inspected.condition", "--condition"),
    ("body.sent_to_service.back_by_date", "--until"),
    ("body.edited.columns", "COLUMN=TEXT"),
    ("body.correction.event_id", "the event"),
    ("body.enrolled.key", "the key"),
    ("body.serviced.what", "what was done"),
    ("body.note.text", "the remark"),
    ("device_id", "the device"),
    ("reason", "the reason"),
    ("text", "--text"),
];

/// Words of the contract and what the command line has for them.
const WORDS: &[(&str, &str)] = &[
    ("accept_unknown_ids", "--unknown-ok"),
    ("another from_id", "another --from"),
    ("another place_id", "another place"),
    ("how many turned up: adjusted, with reason FOUND", "how many turned up, with --pieces"),
    ("that it turned up there: found", "`deepbend log found`: it turned up there"),
    ("inspected or found", "`deepbend log inspected` or `found`"),
    (": unrigged ", ": deepbend log unrigged "),
    ("more once it is counted", "more once `deepbend log counted` says so"),
    (
        "how many are thrown away: adjusted, with reason DISCARDED",
        "`deepbend log broke`, with --pieces",
    ),
    ("how many broke: adjusted, with reason DISCARDED", "how many broke, with --pieces"),
    ("how many are lost: adjusted, with reason LOST", "how many are lost, as a number behind it"),
    ("false; if it was looked at", "to leave it out; if it was looked at"),
    ("is true, but", "says that it can be fished, but"),
    ("or from_the_start", "or --from-the-start"),
    ("inspected, with the reason", "`deepbend log inspected`, with the reason"),
    ("cut_back", "cut"),
    ("an event that tells", "`deepbend log` with what tells"),
    (": acquired, and this one retired", ": import it, and retire this one"),
];

/// Where the fields of an event begin, before its number.
const EVENT: &str = "events[";

/// A failure to record events, as a person who typed them reads it.
pub(crate) fn typed(failure: Failure) -> Failure {
    let lines = failure.lines.iter().map(|line| in_words(line)).collect();
    Failure { lines, ..failure }
}

fn in_words(line: &str) -> String {
    let mut out = String::new();
    let mut rest = line;
    while let Some((before, found)) = rest.find(EVENT).map(|start| rest.split_at(start)) {
        let path = found.split([' ', ';', ')', ':']).next().unwrap_or_default();
        rest = found.strip_prefix(path).unwrap_or_default();
        let field = path.split_once("].").map_or("this", |(_, field)| field);
        // An id that names nothing is named already: its field stands behind it in brackets.
        if let Some(before) = before.strip_suffix(" (") {
            out.push_str(before);
            if let Some(after) = rest.strip_prefix("; ") {
                out.push_str(" (");
                rest = after;
            } else {
                rest = rest.strip_prefix(')').unwrap_or(rest);
            }
        } else {
            let called =
                |(wire, _): &&(&str, &str)| field.ends_with(wire) || field.starts_with(wire);
            out.push_str(before);
            match FIELDS.iter().find(called) {
                Some((_, words)) => out.push_str(words),
                None => {
                    let last = field.rsplit('.').next().unwrap_or_default();
                    out.push_str(&last.replace('_', " "));
                }
            }
        }
    }
    out.push_str(rest);
    WORDS.iter().fold(out, |text, (wire, word)| text.replace(wire, word))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: a person is told of what he typed.
    #[test]
    fn fields_are_named_as_they_were_typed() {
        for (wire, words) in [
            (
                "events[0].body.moved.to_id is S0, the item itself",
                "the place is S0, the item itself",
            ),
            ("events[0].item_kind is missing", "--kind is missing"),
            ("events[0].body.serviced.what is missing", "what was done is missing"),
            ("events[0].body.found_defect.what is missing", "the defect is missing"),
            ("events[0].body.cost.paid_to is missing", "paid to is missing"),
            ("events[0].body.counted.amount is -1; right is 0", "the amount is -1; right is 0"),
            (
                "events[0].body.correction.instead.counted.measure is missing",
                "the amount is missing",
            ),
            (
                "not in the inventory: rod R9 (events[0].item_id; there are R09, R19)",
                "not in the inventory: rod R9 (there are R09, R19)",
            ),
            (
                "not in the inventory: place B9 (events[0].body.moved.to_id), event b.1.2 \
                 (events[0].body.correction.event_id)",
                "not in the inventory: place B9, event b.1.2",
            ),
            (
                "etag goes with several; or accept_unknown_ids",
                "etag goes with several; or --unknown-ok",
            ),
        ] {
            assert_eq!(in_words(wire), words);
        }
    }
}

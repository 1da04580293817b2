//! Wind and current.

use super::text::{Term, Unit};
use super::{ReadError, Reading, amount, number_findings, one, within};
use crate::gear::Finding;
use crate::quantity::Speed;
use crate::water::WindDirection;

const EXAMPLE: &str = "9 m/s, 18 kn, 32 km/h or 20 mph";
const WIND_EXAMPLE: &str = "9 m/s into, 12 kn across, 5 m/s down or calm";

/// A wind, as seen along the cast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wind {
    /// Speed.
    pub speed: Speed,
    /// Direction, where it is given.
    pub direction: Option<WindDirection>,
}

/// Reads a speed of wind or water: `9 m/s`, `32 km/h`, `18 kn`, `20 mph`.
///
/// # Errors
/// No number, no unit or one that is no speed, more than 100 m/s.
pub fn speed(text: &str, field: &str) -> Reading<Speed> {
    let mut findings = Vec::new();
    let amount = amount(text, EXAMPLE)?;
    let speed = speed_of(one(&amount)?, field, &mut findings)?;
    Ok((speed, findings))
}

fn speed_of(term: &Term, field: &str, findings: &mut Vec<Finding>) -> Result<Speed, ReadError> {
    let written = &term.number.text;
    let Some(Unit::Pace(unit)) = term.unit else {
        return Err(ReadError::unread(format!(
            "`{written}` has no unit of speed: write for example {EXAMPLE}"
        )));
    };
    number_findings(&term.number, field, findings)?;
    let speed = unit.speed(term.number.value);
    within(speed.m_s(), 0.0, 100.0, &format!("`{written}`, as a speed in m/s,"))?;
    Ok(speed)
}

/// Reads a wind with its direction along the cast: `9 m/s into`, `12 kn across`, `calm`.
///
/// # Errors
/// As [`speed`]; besides, a direction by compass: only the angler knows where he casts.
pub fn wind(text: &str, field: &str) -> Reading<Wind> {
    let mut findings = Vec::new();
    let mut cursor = super::start(text, WIND_EXAMPLE)?;
    let (mut speed, mut direction) = (None, None);
    while !cursor.done() {
        if speed.is_none()
            && let Some(amount) = cursor.amount()
        {
            speed = Some(speed_of(one(&amount)?, field, &mut findings)?);
        } else if let Some(word) = cursor.word_at(0)
            && direction.is_none()
            && let Some(found) = along_cast(word)
        {
            direction = Some(found);
            cursor.skip(1);
        } else if !cursor.eat_word(&["wind", "the"]) && !cursor.eat_sign(&[',', '-']) {
            super::finish(&cursor, text, WIND_EXAMPLE)?;
        }
    }
    match (speed, direction) {
        (Some(speed), direction) => Ok((Wind { speed, direction }, findings)),
        (None, Some(WindDirection::Calm)) => {
            Ok((Wind { speed: Speed::from_m_s(0.0), direction }, findings))
        }
        (None, _) => Err(super::no_number(text, WIND_EXAMPLE)),
    }
}

fn along_cast(word: &str) -> Option<WindDirection> {
    Some(match word {
        "into" | "head" | "headwind" | "against" | "upwind" => WindDirection::Into,
        "across" | "cross" | "crosswind" | "side" | "sidewind" => WindDirection::Across,
        "down" | "downwind" | "tail" | "tailwind" | "behind" => WindDirection::Down,
        "calm" | "none" => WindDirection::Calm,
        _ => return None,
    })
}

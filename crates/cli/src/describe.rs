//! Words of the command line as messages of the contract.

use std::collections::BTreeMap;

use deepbend_contract::{ToWire as _, pb};
use deepbend_core::gear::{Finding, LureClass, Word};
use deepbend_core::quantity::{Temperature, read};
use deepbend_core::water::{Cover, Hookset, Platform, Skill, Water};

use crate::args::{OutfitArgs, WaterArgs};
use crate::failure::{Exit, Failure};
use crate::output::note;
use crate::service::Service;

/// What a text names: an item of the inventory, or gear in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Named {
    /// An inventory id.
    Id(String),
    /// A description.
    Words(String),
}

impl Named {
    /// Ids are letters with digits, `_` or `-`; a class of lure and a bare number are words.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let text = text.trim();
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        let id = (1..=64).contains(&text.len())
            && text.chars().all(plain)
            && text.chars().any(|c| c.is_ascii_alphabetic())
            && LureClass::from_word_or_nearest(text).is_none();
        if id { Self::Id(text.to_owned()) } else { Self::Words(text.to_owned()) }
    }
}

/// Whether any of the texts is an inventory id.
pub fn names_an_item<'a>(texts: impl IntoIterator<Item = &'a str>) -> bool {
    texts.into_iter().any(|text| match pair(text) {
        Some(_) => true,
        None => matches!(Named::new(text), Named::Id(_)),
    })
}

/// Takes `R14+E08` apart.
#[must_use]
pub fn pair(text: &str) -> Option<(String, String)> {
    let (rod, reel) = text.split_once('+')?;
    match (Named::new(rod), Named::new(reel)) {
        (Named::Id(rod), Named::Id(reel)) => Some((rod, reel)),
        (Named::Id(_) | Named::Words(_), Named::Id(_) | Named::Words(_)) => None,
    }
}

/// An outfit as the command line has it: `rod` is an id, a pair of ids or words.
///
/// # Errors
/// A service that does not answer, or a drag that cannot be read.
pub async fn outfit(
    service: &Service,
    rod: Option<&str>,
    parts: &OutfitArgs,
) -> Result<pb::OutfitCandidate, Failure> {
    let mut candidate = pb::OutfitCandidate::default();
    let mut outfit = pb::Outfit::default();
    if let Some(rod) = rod {
        if let Some((rod_id, reel_id)) = pair(rod) {
            candidate = pb::OutfitCandidate { rod_id, reel_id, ..candidate };
        } else {
            match Named::new(rod) {
                Named::Id(id) => candidate.rod_id = id,
                Named::Words(words) => outfit.rod = Some(rod_in_words(service, &words).await?),
            }
        }
    }
    if let Some(reel) = &parts.reel {
        match Named::new(reel) {
            Named::Id(id) => candidate.reel_id = id,
            Named::Words(words) => outfit.reel = Some(reel_in_words(service, &words).await?),
        }
    }
    if let Some(line) = &parts.line {
        outfit.line = Some(line_in_words(service, line).await?);
    }
    if let Some(leader) = &parts.leader {
        outfit.leader = Some(leader_in_words(service, leader).await?);
    }
    if let Some(drag) = &parts.drag {
        outfit.drag_kgf = Some(quantity("--drag", read::drag(drag, "drag", None))?.kgf());
    }
    let described = outfit != pb::Outfit::default();
    candidate.outfit = (described || candidate.rod_id.is_empty()).then_some(outfit);
    Ok(candidate)
}

/// A rod as the command line has it: an inventory id, or a description.
///
/// # Errors
/// A service that does not answer.
pub async fn rod(service: &Service, text: &str) -> Result<(String, Option<pb::Rod>), Failure> {
    match Named::new(text) {
        Named::Id(id) => Ok((id, None)),
        Named::Words(words) => Ok((String::new(), Some(rod_in_words(service, &words).await?))),
    }
}

/// A lure as the command line has it.
///
/// # Errors
/// A service that does not answer.
pub async fn lure(service: &Service, text: &str) -> Result<pb::LureCandidate, Failure> {
    let mut candidate = pb::LureCandidate::default();
    match Named::new(text) {
        Named::Id(id) => candidate.lure_id = id,
        Named::Words(words) => candidate.lure = Some(lure_in_words(service, &words).await?),
    }
    Ok(candidate)
}

macro_rules! in_words {
    ($($name:ident $kind:ident $option:literal)*) => {
        $(async fn $name(service: &Service, text: &str) -> Result<pb::$kind, Failure> {
            let answer = read_gear(service, text, pb::GearKind::$kind, $option).await?;
            match answer.spec {
                Some(pb::read_gear_response::Spec::$kind(spec)) => Ok(spec),
                Some(_) | None => {
                    let what = concat!($option, ": the service answered another kind of gear");
                    Err(Failure::new(Exit::Failed, what))
                }
            }
        })*
    };
}

in_words! {
    rod_in_words Rod "--rod"
    reel_in_words Reel "--reel"
    line_in_words Line "--line"
    leader_in_words Leader "--leader"
    lure_in_words Lure "--lure"
}

async fn read_gear(
    service: &Service,
    text: &str,
    kind: pb::GearKind,
    option: &str,
) -> Result<pb::ReadGearResponse, Failure> {
    let request = pb::ReadGearRequest { text: text.to_owned(), kind: kind.into() };
    let answer = service.matching().read_gear(service.request(request)).await;
    let answer = answer.map_err(|status| named(option, Failure::from(status)))?.into_inner();
    for finding in &answer.findings {
        note(&format!("note: {option}: {}: {}", finding.field, finding.text));
    }
    Ok(answer)
}

fn named(option: &str, failure: Failure) -> Failure {
    let lines = failure.lines.iter().map(|line| format!("{option}: {line}")).collect();
    Failure { lines, ..failure }
}

/// A quantity, its findings shown.
fn quantity<T>(
    option: &str,
    read: Result<(T, Vec<Finding>), read::ReadError>,
) -> Result<T, Failure> {
    let (value, findings) =
        read.map_err(|error| Failure::new(Exit::BadData, format!("{option}: {error}")))?;
    for finding in findings {
        note(&format!("note: {option}: {}", finding.text));
    }
    Ok(value)
}

fn word<W: Word>(option: &str, text: &str, found: Option<W>) -> Result<W, Failure> {
    found.ok_or_else(|| {
        let known: Vec<_> = W::ALL.iter().map(|word| word.as_word()).collect();
        Failure::new(Exit::BadData, format!("{option}: `{text}` is none of {}", known.join(", ")))
    })
}

/// A failure that lists words, with another name for the last of them.
fn also(mut failure: Failure, name: &str) -> Failure {
    failure.lines.last_mut().into_iter().for_each(|line| line.push_str(&format!(" ({name})")));
    failure
}

/// The water as the command line has it.
///
/// # Errors
/// The first option that cannot be read.
pub fn water(args: &WaterArgs) -> Result<pb::Water, Failure> {
    let mut water = Water { species: args.species.clone(), ..Water::default() };
    if let Some(text) = &args.wind {
        let wind = quantity("--wind", read::wind(text, "water.wind"))?;
        water.wind_speed = Some(wind.speed);
        water.wind_direction = wind.direction;
    }
    if let Some(text) = &args.platform {
        water.platform = Some(word("--platform", text, Platform::from_word(text))?);
    }
    if let Some(text) = &args.cover {
        water.cover = Some(word("--cover", text, Cover::from_word(text))?);
    }
    if let Some(text) = &args.skill {
        let found = word("--skill", text, Skill::from_word_or_nearest(text));
        water.skill = Some(found.map_err(|failure| also(failure, "advanced"))?);
    }
    if let Some(text) = &args.hookset {
        water.hookset = Some(word("--hookset", text, Hookset::from_word(text))?);
    }
    if let Some(text) = &args.toothy {
        water.toothy_probability = Some(chance(text)?);
    }
    if let Some(text) = &args.fish {
        water.fish_mass = Some(quantity("--fish", read::mass(text, "water.fish_mass"))?);
    }
    if let Some(text) = &args.current {
        water.current = Some(quantity("--current", read::speed(text, "water.current"))?);
    }
    let length = |option: &str, text: &Option<String>| {
        let read = text.as_deref().map(|text| read::length(text, option));
        read.map(|read| quantity(option, read)).transpose()
    };
    water.depth = length("--depth", &args.depth)?;
    water.line_out = length("--line-out", &args.line_out)?;
    water.cover_distance = length("--cover-distance", &args.cover_distance)?;
    water.temperature = args.temperature.map(Temperature::from_c);
    Ok(water.to_wire())
}

fn chance(text: &str) -> Result<f64, Failure> {
    match text {
        "yes" => Ok(1.0),
        "no" => Ok(0.0),
        _ => text.parse().map_err(|_| {
            Failure::new(Exit::BadData, format!("--toothy: `{text}` is no chance"))
                .hint("write yes, no, or a number from 0 to 1")
        }),
    }
}

/// Overrides as the command line has them.
///
/// # Errors
/// An entry that is not `KEY=NUMBER`.
pub fn overrides(entries: &[String]) -> Result<BTreeMap<String, f64>, Failure> {
    entries
        .iter()
        .map(|entry| {
            let read = entry
                .split_once('=')
                .and_then(|(key, value)| Some((key.trim().to_owned(), value.trim().parse().ok()?)));
            read.ok_or_else(|| {
                Failure::usage(format!("--set {entry}: that is not KEY=NUMBER"))
                    .hint("`deepbend model parameters` lists the keys")
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source: ids as on the stickers of the demo fleet.
    #[test]
    fn ids_and_words_are_told_apart() {
        for id in ["R14", "E08", "L17", "main-rod", "K_3"] {
            assert_eq!(Named::new(id), Named::Id(id.to_owned()), "{id}");
        }
        for words in ["7'2\" MH", "crankbait", "3000", "PE 1.5 (13 kg)", "", "14 g"] {
            assert!(matches!(Named::new(words), Named::Words(_)), "{words}");
        }
        assert_eq!(pair("R14+E08"), Some(("R14".to_owned(), "E08".to_owned())));
        assert_eq!(pair("7'2\" + reel"), None);
        assert!(names_an_item(["14 g jig", "R1+E2"]));
        assert!(!names_an_item(["14 g jig", "7 ft rod"]));
    }

    // Common practice, no source.
    #[test]
    fn water_is_read_or_refused_with_its_option() {
        let args = WaterArgs {
            wind: Some("9 m/s into".into()),
            skill: Some("advanced".into()),
            toothy: Some("yes".into()),
            depth: Some("10 ft".into()),
            ..WaterArgs::default()
        };
        let found = water(&args).unwrap();
        assert_eq!(found.wind_speed_m_s, Some(9.0));
        assert_eq!(found.wind_direction, i32::from(pb::WindDirection::Into));
        assert_eq!(found.skill, i32::from(pb::Skill::Expert));
        assert_eq!(found.toothy_probability, Some(1.0));
        assert!((found.depth_m.unwrap() - 3.048).abs() < 1e-9);
        let bad = WaterArgs { cover: Some("lava".into()), ..WaterArgs::default() };
        let failure = water(&bad).unwrap_err();
        assert_eq!(failure.exit, Exit::BadData);
        assert!(failure.lines[0].starts_with("--cover: `lava` is none of open, weed"));
        let bad = WaterArgs { skill: Some("master".into()), ..WaterArgs::default() };
        let failure = water(&bad).unwrap_err();
        let said = "--skill: `master` is none of novice, intermediate, expert (advanced)";
        assert_eq!(failure.lines, [said]);
    }
}

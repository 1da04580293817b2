//! The columns of a case file: name, field of the request that it fills, and how it is read.

use deepbend_core::gear::{
    Action, AirClass, Finding, FindingCode, GuideCondition, Handle, HookPoint, HookStyle,
    LeaderMaterial, LineBasis, LineMaterial, Lure, LureClass, Outfit, RodMaterial, Word,
};
use deepbend_core::quantity::{Force, Length, Mass, Speed, Temperature};
use deepbend_core::water::{Cover, Hookset, Platform, Skill, Water, WindDirection};

/// One row as far as it could be read.
#[derive(Clone, Debug, Default)]
pub struct CaseRow {
    /// Printed back.
    pub id: String,
    /// The outfit.
    pub outfit: Outfit,
    /// The lure as rigged.
    pub lure: Lure,
    /// The conditions.
    pub water: Water,
    /// Words that were read as their nearest neighbour.
    pub findings: Vec<Finding>,
}

/// A column that is read.
#[derive(Debug)]
pub struct Column {
    /// Name in the header line.
    pub name: &'static str,
    /// Field of the judge request that it fills, as faults name it.
    pub field: &'static str,
    /// Reads a cell that is not empty.
    pub read: fn(&mut CaseRow, &str) -> Result<(), String>,
}

fn number(cell: &str) -> Result<f64, String> {
    let value: f64 =
        cell.parse().map_err(|_| format!("`{cell}` is no number; write it like 12.5"))?;
    if value.is_finite() { Ok(value) } else { Err(format!("`{cell}` is no finite number")) }
}

fn count(cell: &str) -> Result<u32, String> {
    let value = number(cell)?;
    let whole = value.fract() == 0.0 && (0.0..=100.0).contains(&value);
    if whole { Ok(value as u32) } else { Err(format!("`{cell}` is no count from 0 to 100")) }
}

fn yes(cell: &str) -> Result<bool, String> {
    match cell.to_lowercase().as_str() {
        "yes" | "true" | "1" => Ok(true),
        "no" | "false" | "0" => Ok(false),
        _ => Err(format!("`{cell}` is neither yes nor no")),
    }
}

fn word<W: Word>(cell: &str) -> Result<W, String> {
    W::from_word(cell).ok_or_else(|| unknown::<W>(cell))
}

fn unknown<W: Word>(cell: &str) -> String {
    let known: Vec<_> = W::ALL.iter().map(|w| w.as_word()).collect();
    format!("`{cell}` is none of {}", known.join(", "))
}

fn lure_class(row: &mut CaseRow, cell: &str) -> Result<(), String> {
    let (class, near) =
        LureClass::from_word_or_nearest(cell).ok_or_else(|| unknown::<LureClass>(cell))?;
    if near {
        let text = format!("`{cell}` judged as {}", class.as_word());
        row.findings.push(Finding::new(FindingCode::NearestWord, "lure.lure_class", text));
    }
    row.lure.class = Some(class);
    Ok(())
}

macro_rules! columns {
    ($($name:literal $field:literal |$row:ident, $cell:ident| $read:expr;)*) => {
        /// All columns, in the order of the file format's page.
        pub const COLUMNS: &[Column] = &[
            $(Column {
                name: $name,
                field: $field,
                read: |$row: &mut CaseRow, $cell: &str| { $read; Ok(()) },
            },)*
        ];
    };
}

columns! {
    "id" "id" |r, c| r.id = c.to_owned();
    "handle" "outfit.rod.handle" |r, c| r.outfit.rod.handle = Some(word::<Handle>(c)?);
    "rod_length_m" "outfit.rod.length_m" |r, c| r.outfit.rod.length = Some(Length::from_m(number(c)?));
    "lure_rating_min_g" "outfit.rod.lure_rating_min_g" |r, c| r.outfit.rod.lure_rating.min = Some(Mass::from_g(number(c)?));
    "lure_rating_max_g" "outfit.rod.lure_rating_max_g" |r, c| r.outfit.rod.lure_rating.max = Some(Mass::from_g(number(c)?));
    "line_rating_max_kg" "outfit.rod.line_rating_max_kgf" |r, c| r.outfit.rod.line_rating.max = Some(Force::from_kgf(number(c)?));
    "line_rating_basis" "outfit.rod.line_rating_basis" |r, c| r.outfit.rod.line_rating_basis = Some(word::<LineBasis>(c)?);
    "rod_material" "outfit.rod.material" |r, c| r.outfit.rod.material = Some(word::<RodMaterial>(c)?);
    "rod_action" "outfit.rod.action" |r, c| r.outfit.rod.action = Some(word::<Action>(c)?);
    "third_drop_mass_g" "outfit.rod.third_drop_mass_g" |r, c| r.outfit.rod.third_drop_mass = Some(Mass::from_g(number(c)?));
    "third_drop_angle_deg" "outfit.rod.third_drop_angle_deg" |r, c| r.outfit.rod.third_drop_angle_deg = Some(number(c)?);
    "guide_condition" "outfit.rod.guides" |r, c| r.outfit.rod.guides = Some(word::<GuideCondition>(c)?);
    "reel_size" "outfit.reel.size" |r, c| r.outfit.reel.size = Some(c.to_owned());
    "reel_mass_g" "outfit.reel.mass_g" |r, c| r.outfit.reel.mass = Some(Mass::from_g(number(c)?));
    "reel_drag_max_kg" "outfit.reel.drag_max_kgf" |r, c| r.outfit.reel.drag_max = Some(Force::from_kgf(number(c)?));
    "retrieve_cm" "outfit.reel.retrieve_cm" |r, c| r.outfit.reel.retrieve = Some(Length::from_cm(number(c)?));
    "line_material" "outfit.line.material" |r, c| r.outfit.line.material = Some(word::<LineMaterial>(c)?);
    "line_test_kg" "outfit.line.test_kgf" |r, c| r.outfit.line.test = Some(Force::from_kgf(number(c)?));
    "line_diameter_mm" "outfit.line.diameter_mm" |r, c| r.outfit.line.diameter = Some(Length::from_mm(number(c)?));
    "leader_material" "outfit.leader.material" |r, c| r.outfit.leader.material = Some(word::<LeaderMaterial>(c)?);
    "leader_test_kg" "outfit.leader.test_kgf" |r, c| r.outfit.leader.test = Some(Force::from_kgf(number(c)?));
    "leader_diameter_mm" "outfit.leader.diameter_mm" |r, c| r.outfit.leader.diameter = Some(Length::from_mm(number(c)?));
    "drag_kg" "outfit.drag_kgf" |r, c| r.outfit.drag = Some(Force::from_kgf(number(c)?));
    "lure_class" "lure.lure_class" |r, c| lure_class(r, c)?;
    "lure_rigged_g" "lure.rigged_mass_g" |r, c| r.lure.rigged_mass = Some(Mass::from_g(number(c)?));
    "lure_length_mm" "lure.length_mm" |r, c| r.lure.length = Some(Length::from_mm(number(c)?));
    "hook_style" "lure.hook.style" |r, c| r.lure.hook.style = Some(word::<HookStyle>(c)?);
    "hook_size" "lure.hook.size" |r, c| r.lure.hook.size = Some(c.to_owned());
    "hook_wire_mm" "lure.hook.wire_mm" |r, c| r.lure.hook.wire = Some(Length::from_mm(number(c)?));
    "hook_count" "lure.hook.hook_count" |r, c| r.lure.hook.count = Some(count(c)?);
    "hook_point" "lure.hook.point" |r, c| r.lure.hook.point = Some(word::<HookPoint>(c)?);
    "barbed" "lure.hook.barbed" |r, c| r.lure.hook.barbed = Some(yes(c)?);
    "punch_n" "lure.punch_n" |r, c| r.lure.punch = Some(Force::from_n(number(c)?));
    "pull_n" "lure.pull_n" |r, c| r.lure.pull = Some(Force::from_n(number(c)?));
    "air_class" "lure.air_class" |r, c| r.lure.air = Some(word::<AirClass>(c)?);
    "species" "water.species" |r, c| r.water.species = Some(c.to_owned());
    "toothy_fish_present" "water.toothy_probability" |r, c| r.water.toothy_probability = Some(f64::from(u8::from(yes(c)?)));
    "fish_mass_kg" "water.fish_mass_kg" |r, c| r.water.fish_mass = Some(Mass::from_kg(number(c)?));
    "wind_speed_m_s" "water.wind_speed_m_s" |r, c| r.water.wind_speed = Some(Speed::from_m_s(number(c)?));
    "wind_direction" "water.wind_direction" |r, c| r.water.wind_direction = Some(WindDirection::from_word_or_nearest(c).ok_or_else(|| unknown::<WindDirection>(c))?);
    "platform" "water.platform" |r, c| r.water.platform = Some(word::<Platform>(c)?);
    "cover" "water.cover" |r, c| r.water.cover = Some(word::<Cover>(c)?);
    "cover_distance_m" "water.cover_distance_m" |r, c| r.water.cover_distance = Some(Length::from_m(number(c)?));
    "skill" "water.skill" |r, c| r.water.skill = Some(Skill::from_word_or_nearest(c).ok_or_else(|| unknown::<Skill>(c))?);
    "current_m_s" "water.current_m_s" |r, c| r.water.current = Some(Speed::from_m_s(number(c)?));
    "depth_m" "water.depth_m" |r, c| r.water.depth = Some(Length::from_m(number(c)?));
    "water_temperature_c" "water.water_temperature_c" |r, c| r.water.temperature = Some(Temperature::from_c(number(c)?));
    "line_out_m" "water.line_out_m" |r, c| r.water.line_out = Some(Length::from_m(number(c)?));
    "hookset" "water.hookset" |r, c| r.water.hookset = Some(word::<Hookset>(c)?);
}

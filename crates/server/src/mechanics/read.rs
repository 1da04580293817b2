//! What gear promises: the blank behind a rod's print, and how it launches a lure.

use std::f64::consts::FRAC_PI_2;

use deepbend_contract::{At, Faults, ToWire as _, mechanics, pb};
use deepbend_core::gear::{Lure, Outfit, Rod, RodMaterial, Word as _};
use deepbend_core::judge::case::Resolved;
use deepbend_core::judge::resolve::resolve;
use deepbend_core::mechanics::blank::{BendError, Blank};
use deepbend_core::mechanics::carry::Tumbling;
use deepbend_core::mechanics::domain::OutsideDomain;
use deepbend_core::mechanics::infer::along;
use deepbend_core::mechanics::infer::family::{BlankFamily, FamilyBlank};
use deepbend_core::mechanics::infer::label::{BlankLabel, LabelInference, from_label};
use deepbend_core::mechanics::launch::launch;
use deepbend_core::mechanics::payout::PaidLine;
use deepbend_core::mechanics::vibration::{MassAlong, effective_mass_kg};
use deepbend_core::model::Model;
use deepbend_core::water::Water;

use crate::error::ServiceError;

/// A rod as the model reads it.
pub(super) struct ReadRod {
    /// What its print promises.
    pub(super) label: LabelInference,
    material: RodMaterial,
    /// What was assumed since it was not given.
    pub(super) assumptions: Vec<pb::Assumption>,
}

/// A lure as the model reads it.
pub(super) struct ReadLure {
    /// Mass, kg.
    pub(super) mass_kg: f64,
    /// Drag area over mass of the steady lure, cm²/g.
    bulk_cm2_per_g: f64,
    tumbling: Tumbling,
    /// What was assumed since it was not given.
    pub(super) assumptions: Vec<pb::Assumption>,
}

/// How a lure leaves a rod, and with which drag area it flies.
pub(super) struct Release {
    /// How it leaves.
    pub(super) launch: pb::Launch,
    /// Drag area, m².
    pub(super) drag_area_m2: f64,
    /// Drag area over mass of the steady lure, cm²/g.
    pub(super) bulk_cm2_per_g: f64,
}

/// The model that reads gear.
pub(super) fn model_id() -> pb::ModelId {
    Model::builtin().id().to_wire()
}

/// An assumption of this service.
pub(super) fn assumed(field: &str, value: String, reason: &str) -> pb::Assumption {
    pb::Assumption { field: field.to_owned(), value, reason: reason.to_owned() }
}

/// The resolver's assumptions that count for a trace.
fn kept(resolved: &Resolved<'_>, fields: &[&str]) -> Vec<pb::Assumption> {
    let assumptions = resolved.assumptions.iter().filter(|a| fields.contains(&a.field));
    assumptions.map(|assumption| assumption.told().to_wire()).collect()
}

/// Reads a rod; its length is replaced where it was measured.
pub(super) fn rod(
    family: &BlankFamily,
    rod: &Rod,
    length_m: Option<f64>,
) -> Result<ReadRod, OutsideDomain> {
    let outfit = Outfit { rod: rod.clone(), ..Outfit::default() };
    let resolved = resolve(Model::builtin(), &outfit, &Lure::default(), &Water::default());
    let case = &resolved.case;
    let power_class = case.power.clamp(1.0, 8.0);
    let length = length_m.unwrap_or(case.rod_length_m);
    let label = BlankLabel { power_class, action: case.action, length_m: length };
    let label = from_label(family, &label, &Model::builtin().label_model())?;
    let mut assumptions = match length_m {
        Some(_) => kept(&resolved, &["rod.action", "rod.material"]),
        None => kept(&resolved, &["rod.length", "rod.action", "rod.material"]),
    };
    let rated = resolved.power.by_window.or(resolved.power.by_line).is_some();
    let by = match (rated, rod.power_label) {
        (true, _) => "by its ratings",
        (false, Some(_)) => "as marked",
        (false, None) => "middle of the ladder, since neither rating nor power is given",
    };
    assumptions.push(assumed(
        "blank",
        format!(
            "a load of {:.2} N drops the tip by a third, bend depth {:.2}",
            label.third_drop_load_n, label.depth
        ),
        &format!("usual for power {power_class:.2} of 8 ({by}) and {} action", {
            case.action_word.as_word().replace('_', "-")
        }),
    ));
    Ok(ReadRod { label, material: case.material, assumptions })
}

/// Reads a lure.
pub(super) fn lure(lure: &Lure) -> ReadLure {
    let resolved = resolve(Model::builtin(), &Outfit::default(), lure, &Water::default());
    let case = &resolved.case;
    ReadLure {
        mass_kg: case.mass_g * 1e-3,
        bulk_cm2_per_g: case.bulk_cm2_per_g(case.mass_g),
        tumbling: Model::builtin().tumbling(case.loose_tail),
        assumptions: kept(&resolved, &["lure.class", "lure.rigged_mass", "lure.air"]),
    }
}

/// Reads the main line of an outfit that a lure pays out.
pub(super) fn line(outfit: &Outfit) -> Result<(PaidLine, Vec<pb::Assumption>), OutsideDomain> {
    let resolved = resolve(Model::builtin(), outfit, &Lure::default(), &Water::default());
    let case = &resolved.case;
    let mut assumptions = match outfit.line.diameter {
        Some(_) => kept(&resolved, &["line.material"]),
        None => kept(&resolved, &["line.material", "line.test", "line.diameter"]),
    };
    let line = PaidLine::of(case.line, case.line_mm * 1e-3)?;
    assumptions.push(assumed(
        "line",
        format!("{:.1} mg/m", line.kg_per_m * 1e6),
        &format!("usual for {} of {:.3} mm", case.line.as_word(), case.line_mm),
    ));
    Ok((line, assumptions))
}

/// Why a release cannot be told.
pub(super) enum NoRelease {
    /// An input is outside the domain of a law.
    Outside(OutsideDomain),
    /// A bend was not found.
    Bend(BendError),
}

impl From<OutsideDomain> for NoRelease {
    fn from(error: OutsideDomain) -> Self {
        Self::Outside(error)
    }
}

impl From<BendError> for NoRelease {
    fn from(error: BendError) -> Self {
        Self::Bend(error)
    }
}

/// How a lure of a mass leaves the rod of an ordinary angler.
pub(super) fn release(
    family: &BlankFamily,
    rod: &ReadRod,
    lure: &ReadLure,
    mass_kg: f64,
) -> Result<Release, NoRelease> {
    let blank = solved(&rod.label.blank)?;
    let along = MassAlong::assumed(&blank, rod.material);
    let tip = effective_mass_kg(&blank, &along, rod.label.third_drop_load_n, FRAC_PI_2)?;
    let left = launch(family, &rod.label.blank, tip, mass_kg, &Model::builtin().angler())?;
    let (bulk, tumbling) = (lure.bulk_cm2_per_g, &lure.tumbling);
    Ok(Release {
        launch: pb::Launch {
            speed_m_s: left.speed_m_s,
            peak_load_n: left.peak_load_n,
            load_ratio: left.load_ratio,
            tumbling_chance: tumbling.chance(bulk, left.load_ratio)?,
        },
        drag_area_m2: tumbling.drag_area_m2(mass_kg, bulk, left.load_ratio)?,
        bulk_cm2_per_g: bulk,
    })
}

/// A blank of the family with its stations.
pub(super) fn solved(blank: &FamilyBlank) -> Result<Blank, BendError> {
    // The family gives a sound blank for every taper that it has.
    blank.to_blank().map_err(|_| BendError::NotFound)
}

/// Writes the blank that a rod's print promises.
pub(super) fn inferred(
    family: &BlankFamily,
    label: &LabelInference,
) -> Result<pb::InferredBlank, NoRelease> {
    let spreads = along::of_label(family, label)?;
    Ok(pb::InferredBlank {
        blank: Some(mechanics::blank_to_wire(&solved(&label.blank)?, &spreads)),
        third_drop_load_n: label.third_drop_load_n,
        third_drop_load_spread: label.load_spread,
        bend_depth: label.depth,
        bend_depth_spread: label.depth_spread,
        misfit: None,
    })
}

/// The error of a call whose input, standing at `at`, is outside the domain of a law.
pub(super) fn outside(error: OutsideDomain, at: At<'_>) -> ServiceError {
    let mut faults = Faults::new();
    mechanics::outside(error, at, &mut faults);
    faults.into()
}

/// The error of a call whose bend cannot be told.
pub(super) fn no_bend(error: BendError, at: At<'_>) -> ServiceError {
    let mut faults = Faults::new();
    if mechanics::no_bend(error, at, &mut faults) {
        return faults.into();
    }
    tracing::error!(%error, "a bend was not found");
    ServiceError::Internal
}

/// The error of a call whose release cannot be told; inputs stand at `at`.
pub(super) fn no_release(error: NoRelease, at: At<'_>) -> ServiceError {
    match error {
        NoRelease::Outside(error) => outside(error, at),
        NoRelease::Bend(error) => no_bend(error, at),
    }
}

//! Every number of the model: value, unit, plausible range, kind and source, in three data files
//! (`model/parameters.toml`, `model/lure_classes.toml`, `model/species.toml`) under one hash.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::OnceLock;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::gear::LureClass;
use crate::mechanics::carry::Tumbling;
use crate::mechanics::infer::label::LabelModel;
use crate::mechanics::launch::Angler;
use crate::water::SpeciesTable;

mod classes;
mod ladder;
mod parameters;
mod register;

pub use classes::{ClassTable, ClassTraits, Presentation, RetrieveSpeed};
pub use ladder::Ladder;
pub use parameters::Parameters;
pub use register::{OverrideFault, ParameterRow};

const PARAMETERS: &str = include_str!("../../model/parameters.toml");
const CLASSES: &str = include_str!("../../model/lure_classes.toml");
const SPECIES: &str = include_str!("../../model/species.toml");

/// Name of the model.
pub const NAME: &str = "deepbend";
/// Version of the model's equations; the numbers are told apart by the hash.
pub const VERSION: &str = "1";

/// Names one model: equations by version, numbers by hash.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ModelId {
    /// Name of the model.
    pub name: String,
    /// Version of its equations.
    pub version: String,
    /// SHA-256 of its numbers (files and overrides), first 16 hexadecimal digits.
    pub hash: String,
    /// Parameters that are replaced, by key.
    pub overrides: BTreeMap<String, f64>,
}

impl fmt::Display for ModelId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}+{}", self.name, self.version, self.hash)
    }
}

/// The equations' numbers, ready for use.
#[derive(Clone, Debug)]
pub struct Model {
    id: ModelId,
    p: Parameters,
    classes: ClassTable,
    species: SpeciesTable,
    rows: Vec<ParameterRow>,
}

impl Model {
    /// The model as shipped.
    ///
    /// # Panics
    /// Never on shipped data: `tests/model.rs` loads the same files.
    #[must_use]
    pub fn builtin() -> &'static Self {
        static BUILTIN: OnceLock<Model> = OnceLock::new();
        BUILTIN.get_or_init(|| match Self::load(BTreeMap::new()) {
            Ok(model) => model,
            Err(fault) => panic!("the model files do not fit together: {fault}"),
        })
    }

    /// The same model with some parameters replaced, each by its key (`load.sweet_low`).
    ///
    /// # Errors
    /// One fault for each unknown key and each value outside the parameter's range.
    pub fn with_overrides(
        &self,
        overrides: &BTreeMap<String, f64>,
    ) -> Result<Self, Vec<OverrideFault>> {
        let faults = register::override_faults(&self.rows, overrides);
        if !faults.is_empty() {
            return Err(faults);
        }
        // A value that is in force already replaces nothing.
        let in_force = |key: &str, value: f64| {
            self.rows.iter().any(|row| row.key == key && row.value == Some(value))
        };
        let mut all = self.id.overrides.clone();
        let news = overrides.iter().filter(|(key, value)| !in_force(key, **value));
        all.extend(news.map(|(key, value)| (key.clone(), *value)));
        Self::load(all).map_err(|text| vec![OverrideFault { key: String::new(), text }])
    }

    fn load(overrides: BTreeMap<String, f64>) -> Result<Self, String> {
        let (p, rows) = register::read(PARAMETERS, &overrides)?;
        let classes = ClassTable::parse(CLASSES)?;
        let species = SpeciesTable::parse(SPECIES)?;
        let mut hasher = Sha256::new();
        for file in [PARAMETERS, CLASSES, SPECIES] {
            hasher.update((file.len() as u64).to_be_bytes());
            hasher.update(file.as_bytes());
        }
        for (key, value) in &overrides {
            hasher.update(key.as_bytes());
            hasher.update(value.to_bits().to_be_bytes());
        }
        let hash = hasher.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        let (name, version) = (NAME.to_owned(), VERSION.to_owned());
        let id = ModelId { name, version, hash, overrides };
        Ok(Self { id, p, classes, species, rows })
    }

    /// Id and hash.
    #[must_use]
    pub fn id(&self) -> &ModelId {
        &self.id
    }

    /// The parameters' values.
    #[must_use]
    pub fn parameters(&self) -> &Parameters {
        &self.p
    }

    /// The numbers by which the label of a rod is read.
    #[must_use]
    pub fn label_model(&self) -> LabelModel {
        let p = &self.p.blank;
        LabelModel {
            third_drop_g: std::array::from_fn(|i| p.third_drop_g.at((i + 1) as f64)),
            reference_length_m: p.reference_length_m,
            length_exponent: p.length_exponent,
            depths: std::array::from_fn(|i| p.depth_by_action.at(0.25 * i as f64)),
            class_spread: p.class_spread,
            ladder_spread: p.ladder_spread,
            depth_spread: p.depth_spread,
        }
    }

    /// The angler who casts.
    #[must_use]
    pub fn angler(&self) -> Angler {
        self.p.angler()
    }

    /// When lures tumble in flight; `loose_tail` how far the lure is a long soft tail on a light
    /// head, 0 to 1.
    #[must_use]
    pub fn tumbling(&self, loose_tail: f64) -> Tumbling {
        self.p.tumbling(loose_tail)
    }

    /// The parameters with unit, range, kind and source, in the order of their keys.
    #[must_use]
    pub fn rows(&self) -> &[ParameterRow] {
        &self.rows
    }

    /// Traits of a lure class.
    #[must_use]
    pub fn class(&self, class: LureClass) -> &ClassTraits {
        self.classes.get(class)
    }

    /// The species table.
    #[must_use]
    pub fn species(&self) -> &SpeciesTable {
        &self.species
    }
}

//! The model that answers.

use deepbend_contract::{ToWire as _, WireWord as _, pb};
use deepbend_core::gear::{LureClass, Word as _};
use deepbend_core::model::Model;

/// The model, with every number in it.
pub(super) fn get_model() -> pb::GetModelResponse {
    let model = Model::builtin();
    pb::GetModelResponse {
        model: Some(model.id().to_wire()),
        parameters: model.rows().iter().map(|row| row.to_wire()).collect(),
        species: model.species().rows().iter().map(|species| species.to_wire()).collect(),
        lure_classes: LureClass::ALL.iter().map(|class| class.to_wire_word().into()).collect(),
    }
}

//! A line of free text, read into a description.

use deepbend_contract::pb::FaultCode;
use deepbend_contract::pb::read_gear_response::Spec;
use deepbend_contract::{At, Faults, Reader, ToWire as _, limits, pb};
use deepbend_core::gear::{self, Finding, read};
use deepbend_core::model::Model;
use deepbend_core::quantity;

/// Reads the text. It is short, so this is no work worth another thread.
pub(super) fn read_gear(request: pb::ReadGearRequest) -> Result<pb::ReadGearResponse, Faults> {
    let pb::ReadGearRequest { text, kind } = request;
    let mut faults = Faults::new();
    let mut reader = Reader::new(At::ROOT, &mut faults);
    let missing = text.is_empty();
    let text = reader.text("text", text, limits::GEAR_TEXT_LENGTH).unwrap_or_default();
    if missing {
        reader.required("text", None::<()>, "1 to 500 characters");
    }
    let kind = reader.required_choice("kind", kind, "GearKind").unwrap_or_default();
    faults.or(())?;
    let model = Model::builtin();
    let mut power = None;
    let (spec, findings) = match kind {
        pb::GearKind::Unspecified => (None, Vec::new()),
        pb::GearKind::Rod => {
            let (rod, mut findings) = read::read_rod(&text);
            findings.extend(gear::findings(model, &rod));
            power = Some(gear::infer_power(model, &rod).to_wire());
            (Some(Spec::Rod(rod.to_wire())), findings)
        }
        pb::GearKind::Reel => wired(read::read_reel(&text), |reel| Spec::Reel(reel.to_wire())),
        pb::GearKind::Line => wired(read::read_line(&text), |line| Spec::Line(line.to_wire())),
        pb::GearKind::Leader => {
            wired(read::read_leader(&text), |leader| Spec::Leader(leader.to_wire()))
        }
        pb::GearKind::Lure => wired(read::read_lure(&text), |lure| Spec::Lure(lure.to_wire())),
        pb::GearKind::LineLength => match quantity::read::length(&text, "text") {
            Ok((length, findings)) => (Some(Spec::LineLengthM(length.m())), findings),
            Err(error) => {
                let wrong = format!("is no length: {error}");
                let right = "for example 45 m, 150 yd or 30 ft";
                let mut faults = Faults::new();
                faults.push(FaultCode::Malformed, At::ROOT.field("text"), wrong, right);
                return Err(faults);
            }
        },
    };
    let findings = findings.iter().map(|finding| finding.to_wire()).collect();
    Ok(pb::ReadGearResponse { spec, findings, power })
}

fn wired<G>(
    (gear, findings): (G, Vec<Finding>),
    write: impl Fn(&G) -> Spec,
) -> (Option<Spec>, Vec<Finding>) {
    (Some(write(&gear)), findings)
}

//! The model that answers.

use deepbend_contract::pb;

use super::{finish, printed_only};
use crate::args::{Global, ModelArgs, ModelPart};
use crate::failure::Failure;
use crate::output::{self, Format, put};
use crate::render::{self, Table, units};
use crate::service::{Needs, Service};

pub(super) async fn run(global: &Global, args: &ModelArgs) -> Result<(), Failure> {
    let request = pb::GetModelRequest {};
    if printed_only(global, &request)? {
        return Ok(());
    }
    let service = Service::open(global, Needs::Nothing).await?;
    let done = async {
        let answer = service.matching().get_model(service.request(request)).await?.into_inner();
        print(global, args, answer)
    };
    let done = done.await;
    finish(service, done).await
}

fn print(global: &Global, args: &ModelArgs, answer: pb::GetModelResponse) -> Result<(), Failure> {
    let part = only(args, answer);
    let (header, rows) = rows(args.part, &part);
    put(&match global.output {
        Format::Json => output::json_text(&part)?,
        Format::Jsonl => match args.part {
            ModelPart::Id | ModelPart::Classes => output::json_line(&part)?,
            ModelPart::Parameters => output::json_lines(&part.parameters)?,
            ModelPart::Species => output::json_lines(&part.species)?,
        },
        Format::Csv => output::csv_text(&header, &rows)?,
        Format::Table => {
            let mut table;
            if args.part == ModelPart::Parameters {
                table = Table::new().left("key").wrapped("value, range").wrapped("kind: source");
                part.parameters.iter().for_each(|one| table.row(short_parameter(one)));
            } else {
                table = Table::new().left(header[0]);
                for title in &header[1..] {
                    table = table.wrapped(title);
                }
                rows.into_iter().for_each(|row| table.row(row));
            }
            table.render(output::width())
        }
    })
}

/// The part that is asked for, with the id of the model.
fn only(args: &ModelArgs, answer: pb::GetModelResponse) -> pb::GetModelResponse {
    let wanted = args.find.as_deref().unwrap_or_default().to_lowercase().replace(' ', "_");
    let has = |text: &str| text.to_lowercase().replace(' ', "_").contains(&wanted);
    let mut part = pb::GetModelResponse { model: answer.model, ..Default::default() };
    match args.part {
        ModelPart::Id => {}
        ModelPart::Parameters => {
            part.parameters = answer.parameters.into_iter().filter(|p| has(&p.key)).collect();
        }
        ModelPart::Species => {
            let found = answer.species.into_iter();
            part.species = found
                .filter(|s| has(&s.name) || s.other_names.iter().any(|name| has(name)))
                .collect();
        }
        ModelPart::Classes => {
            let found = answer.lure_classes.into_iter();
            part.lure_classes =
                found.filter(|class| has(&render::word!(LureClass, *class))).collect();
        }
    }
    part
}

fn rows(part: ModelPart, answer: &pb::GetModelResponse) -> (Vec<&'static str>, Vec<Vec<String>>) {
    match part {
        ModelPart::Id => {
            let model = answer.model.clone().unwrap_or_default();
            (vec!["name", "version", "hash"], vec![vec![model.name, model.version, model.hash]])
        }
        ModelPart::Parameters => (
            vec!["key", "value", "unit", "least", "most", "kind", "source"],
            answer.parameters.iter().map(|one| parameter(one).to_vec()).collect(),
        ),
        ModelPart::Species => (
            vec!["name", "scientific name", "waters", "other names"],
            answer.species.iter().map(species).collect(),
        ),
        ModelPart::Classes => (
            vec!["class"],
            answer
                .lure_classes
                .iter()
                .map(|class| vec![render::word!(LureClass, *class)])
                .collect(),
        ),
    }
}

fn parameter(parameter: &pb::Parameter) -> [String; 7] {
    let number = |value: Option<f64>| value.map(units::trimmed).unwrap_or_default();
    let value = match parameter.value {
        Some(value) => units::trimmed(value),
        None => {
            let point =
                |p: &pb::CurvePoint| format!("{}:{}", units::trimmed(p.x), units::trimmed(p.y));
            parameter.points.iter().map(point).collect::<Vec<_>>().join(" ")
        }
    };
    [
        parameter.key.clone(),
        value,
        parameter.unit.clone(),
        number(parameter.range_min),
        number(parameter.range_max),
        render::word!(RuleKind, parameter.kind),
        parameter.source.clone(),
    ]
}

/// A parameter in three cells, for the width of a screen.
fn short_parameter(one: &pb::Parameter) -> Vec<String> {
    let [key, value, unit, least, most, kind, source] = parameter(one);
    let unit = if unit == "1" { String::new() } else { format!(" {unit}") };
    let range = if least.is_empty() { least } else { format!(", {least} to {most}") };
    vec![key, format!("{value}{unit}{range}"), format!("{kind}: {source}")]
}

fn species(species: &pb::Species) -> Vec<String> {
    let waters: Vec<_> =
        species.waters.iter().map(|water| render::word!(WaterKind, *water)).collect();
    vec![
        species.name.clone(),
        species.scientific_name.clone(),
        waters.join(" "),
        species.other_names.join(", "),
    ]
}

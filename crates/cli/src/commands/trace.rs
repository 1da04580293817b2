//! Bends and casts.

use deepbend_contract::pb;

use super::{finish, json_of, printed_only};
use crate::args::{BendArgs, CastArgs, Global, OutfitArgs};
use crate::describe;
use crate::failure::Failure;
use crate::output::{self, Format, put};
use crate::render;
use crate::service::{Needs, Service};

/// Whether the inventory is needed for what the texts name.
pub(super) fn needs<'a>(texts: impl IntoIterator<Item = &'a Option<String>>) -> Needs {
    if describe::names_an_item(texts.into_iter().flatten().map(String::as_str)) {
        Needs::Inventory
    } else {
        Needs::Nothing
    }
}

pub(super) async fn bend(global: &Global, args: &BendArgs) -> Result<(), Failure> {
    let blank = args.blank.as_deref().map(json_of::<pb::Blank>).transpose()?;
    let service = Service::open(global, needs([&args.rod])).await?;
    let done = async {
        let (rod_id, rod) = match &args.rod {
            Some(rod) => describe::rod(&service, rod).await?,
            None => (String::new(), None),
        };
        let request = pb::TraceBendRequest {
            blank,
            rod,
            rod_id,
            load_n: Some(args.load_n),
            angle_deg: Some(args.angle_deg),
            point_count: Some(args.points),
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.mechanics().trace_bend(service.request(request)).await?.into_inner();
        put(&match global.output {
            Format::Table => render::bend(&answer, output::width()),
            Format::Json => output::json_with_proto_names(&answer, true)?,
            Format::Jsonl => output::json_with_proto_names(&answer, false)?,
            Format::Csv => {
                let header = ["s_m", "x_m", "y_m", "angle_rad", "moment_n_m"];
                let row = |p: &pb::BendPoint| row([p.s_m, p.x_m, p.y_m, p.angle_rad, p.moment_n_m]);
                output::csv_text(&header, &answer.points.iter().map(row).collect::<Vec<_>>())?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}

pub(super) async fn cast(global: &Global, args: &CastArgs) -> Result<(), Failure> {
    let service = Service::open(global, needs([&args.rod, &args.reel, &args.lure])).await?;
    let done = async {
        let mut request = pb::TraceCastRequest {
            cast: Some(pb::Cast {
                speed_m_s: args.speed_m_s,
                angle_deg: args.angle_deg,
                height_m: args.height_m,
                mass_g: args.mass_g,
                drag_area_cm2: args.drag_area_cm2,
                wind_along_m_s: args.wind_along_m_s,
                wind_across_m_s: args.wind_across_m_s,
                air_density_kg_m3: args.air_density_kg_m3,
            }),
            point_count: Some(args.points),
            ..pb::TraceCastRequest::default()
        };
        // The command line has either both or none.
        if let (Some(rod), Some(lure)) = (&args.rod, &args.lure) {
            let parts = OutfitArgs {
                reel: args.reel.clone(),
                line: args.line.clone(),
                ..OutfitArgs::default()
            };
            let outfit = describe::outfit(&service, Some(rod), &parts).await?;
            let lure = describe::lure(&service, lure).await?;
            request = pb::TraceCastRequest {
                outfit: outfit.outfit,
                lure: lure.lure,
                rod_id: outfit.rod_id,
                reel_id: outfit.reel_id,
                lure_id: lure.lure_id,
                ..request
            };
        }
        if printed_only(global, &request)? {
            return Ok(());
        }
        let answer = service.mechanics().trace_cast(service.request(request)).await?.into_inner();
        put(&match global.output {
            Format::Table => render::cast(&answer, output::width()),
            Format::Json => output::json_with_proto_names(&answer, true)?,
            Format::Jsonl => output::json_with_proto_names(&answer, false)?,
            Format::Csv => {
                let header = ["t_s", "along_m", "across_m", "height_m", "speed_m_s"];
                let row = |p: &pb::FlightPoint| {
                    row([p.t_s, p.along_m, p.across_m, p.height_m, p.speed_m_s])
                };
                output::csv_text(&header, &answer.points.iter().map(row).collect::<Vec<_>>())?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}

/// Numbers in the fewest digits that are read back as the same.
fn row<const N: usize>(numbers: [f64; N]) -> Vec<String> {
    numbers.iter().map(ToString::to_string).collect()
}

//! A blank from a bench test.

use deepbend_contract::pb;
use deepbend_core::quantity::N_PER_KGF;

use super::{finish, json_of, printed_only, trace};
use crate::args::{Global, MeasureArgs};
use crate::describe;
use crate::failure::Failure;
use crate::output::{self, Format, put};
use crate::render;
use crate::service::Service;

pub(super) async fn run(global: &Global, args: &MeasureArgs) -> Result<(), Failure> {
    let shape = args.shape.as_deref().map(json_of::<pb::SeenShape>).transpose()?;
    let depth = args.bend_depth.is_some() || args.bend_depth_load_n.is_some();
    let service = Service::open(global, trace::needs([&args.rod])).await?;
    let done = async {
        let (rod_id, rod) = match &args.rod {
            Some(rod) => describe::rod(&service, rod).await?,
            None => (String::new(), None),
        };
        let request = pb::MeasureBlankRequest {
            length_m: args.length_m,
            third_drop_load_n: args
                .third_drop_mass_g
                .map(|grams| grams * 1e-3 * N_PER_KGF)
                .or(args.third_drop_load_n),
            third_drop_tip_angle_deg: args.third_drop_tip_angle_deg,
            depth: depth.then_some(pb::SeenDepth {
                bend_depth: args.bend_depth,
                load_n: args.bend_depth_load_n,
            }),
            shape,
            rod,
            rod_id,
        };
        if printed_only(global, &request)? {
            return Ok(());
        }
        let request = service.request(request);
        let answer = service.mechanics().measure_blank(request).await?.into_inner();
        put(&match global.output {
            Format::Table => render::measured(&answer, output::width()),
            Format::Json => output::json_with_proto_names(&answer, true)?,
            Format::Jsonl => output::json_with_proto_names(&answer, false)?,
            Format::Csv => {
                let blank = answer.inferred.and_then(|inferred| inferred.blank);
                let row = |station: &pb::BlankStation| {
                    let cells = [station.s_m, station.ei_n_m2, station.ei_spread];
                    cells.map(|c| c.map_or_else(String::new, |c| c.to_string())).to_vec()
                };
                let rows: Vec<_> = blank.iter().flat_map(|b| &b.stations).map(row).collect();
                output::csv_text(&["s_m", "ei_n_m2", "ei_spread"], &rows)?
            }
        })
    };
    let done = done.await;
    finish(service, done).await
}

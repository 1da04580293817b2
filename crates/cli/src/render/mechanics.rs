//! Bends, casts and blanks.

use deepbend_contract::pb;

use super::units::{grams, kilograms, metres, rod_length, short, speed};
use super::{Page, Table, assumed, cautions, model_id};

/// Rows that a table of points has at most; the other formats have all points.
const ROWS: usize = 11;

/// A bend as numbers and points.
#[must_use]
pub fn bend(answer: &pb::TraceBendResponse, width: usize) -> String {
    let mut page = Page::new(width);
    page.line("Bend");
    let degrees = answer.tip_angle_rad.to_degrees();
    let mut rows = vec![
        pair("tip across", metres(answer.tip_deflection_m)),
        pair("tip back", metres(answer.tip_shortening_m)),
        pair("tip angle", format!("{degrees:.1} degrees from the unbent axis")),
        pair("moment at the butt", format!("{} N m", short(answer.root_moment_n_m))),
        pair("stiffness along the load", format!("{} N/m", short(answer.stiffness_n_per_m))),
    ];
    rows.extend(answer.bend_depth.map(|depth| {
        pair(
            "bend depth",
            format!(
                "the last {:.0} % of the blank hold 80 % of the bend at its \
                                    third-drop load",
                depth * 100.0
            ),
        )
    }));
    page.pairs(&rows);
    page.heading("Points");
    let columns = ["along blank m", "x m", "y m", "angle deg", "moment N m"];
    let point = |p: &pb::BendPoint| {
        let places = [p.s_m, p.x_m, p.y_m].map(|metres| format!("{metres:.3}"));
        let [s, x, y] = places;
        vec![s, x, y, format!("{:.1}", p.angle_rad.to_degrees()), format!("{:.3}", p.moment_n_m)]
    };
    page.table(&table(&columns, &answer.points, point));
    inferred(&mut page, answer.inferred.as_ref());
    assumed(&mut page, &answer.assumptions);
    model(&mut page, answer.model.as_ref());
    page.finish()
}

/// A flight as numbers and points.
#[must_use]
pub fn cast(answer: &pb::TraceCastResponse, width: usize) -> String {
    let mut page = Page::new(width);
    page.line("Cast");
    let mut rows = vec![
        pair("distance", metres(answer.range_m)),
        pair("drift", metres(answer.drift_m)),
        pair("time", format!("{:.2} s", answer.time_s)),
        pair("speed on landing", speed(answer.impact_speed_m_s)),
    ];
    if let Some(flown) = &answer.cast {
        let angle = flown.angle_deg.unwrap_or_default();
        let from = format!("{} at {angle:.1} degrees", speed(flown.speed_m_s.unwrap_or_default()));
        rows.push(pair("release", from));
        let mass = grams(flown.mass_g.unwrap_or_default());
        let area = short(flown.drag_area_cm2.unwrap_or_default());
        rows.push(pair("lure", format!("{mass}, drag area {area} cm^2")));
    }
    if let Some(launch) = &answer.launch {
        let chance = launch.tumbling_chance;
        rows.push(pair("rod", {
            format!(
                "peak load {} N, {:.1} times what drops the tip by a third",
                short(launch.peak_load_n),
                launch.load_ratio
            )
        }));
        rows.push(pair("tumbles", format!("with a chance of {chance:.2}")));
    }
    page.pairs(&rows);
    carries(&mut page, &answer.carries, answer.cast.as_ref());
    page.heading("Points");
    let columns = ["time s", "along m", "across m", "height m", "speed m/s"];
    let point = |p: &pb::FlightPoint| {
        [p.t_s, p.along_m, p.across_m, p.height_m, p.speed_m_s].map(|x| format!("{x:.2}")).to_vec()
    };
    page.table(&table(&columns, &answer.points, point));
    inferred(&mut page, answer.inferred.as_ref());
    assumed(&mut page, &answer.assumptions);
    cautions(&mut page, &answer.cautions);
    model(&mut page, answer.model.as_ref());
    page.finish()
}

/// The farthest casts, a row for each wind with and without line.
fn carries(page: &mut Page, carries: &[pb::WindCarry], flown: Option<&pb::Cast>) {
    if carries.is_empty() {
        return;
    }
    let along = flown.and_then(|cast| cast.wind_along_m_s).unwrap_or_default();
    let across = flown.and_then(|cast| cast.wind_across_m_s).unwrap_or_default();
    let wind = along.hypot(across);
    page.heading(&if wind > 0.0 {
        format!("Farthest casts, each at its best angle, in {}", speed(wind))
    } else {
        "Farthest casts, each at its best angle".to_owned()
    });
    let mut table = Table::new().left("wind").left("line").left("distance").left("drift");
    for column in ["time s", "angle deg"] {
        table = table.right(column);
    }
    for carry in carries {
        let wind = match carry.wind_direction() {
            pb::WindDirection::Into => "into",
            pb::WindDirection::Across => "across",
            pb::WindDirection::Down => "down",
            pb::WindDirection::Calm | pb::WindDirection::Unspecified => "still air",
        };
        for (line, carry) in [("none", &carry.without_line), ("paid out", &carry.with_line)] {
            let Some(c) = carry else { continue };
            let mut row = vec![wind.to_owned(), line.to_owned()];
            row.extend([c.range_m, c.drift_m].map(metres));
            row.push(format!("{:.2}", c.time_s));
            row.push(format!("{:.0}", c.angle_deg));
            table.row(row);
        }
    }
    page.table(&table);
}

/// A blank that was measured.
#[must_use]
pub fn measured(answer: &pb::MeasureBlankResponse, width: usize) -> String {
    let mut page = Page::new(width);
    inferred(&mut page, answer.inferred.as_ref());
    assumed(&mut page, &answer.assumptions);
    model(&mut page, answer.model.as_ref());
    page.finish()
}

fn pair(name: &str, value: String) -> (String, String) {
    (name.to_owned(), value)
}

/// Some of the points, first and last among them.
fn table<P>(columns: &[&str], points: &[P], cells: impl Fn(&P) -> Vec<String>) -> Table {
    let mut table = columns.iter().fold(Table::new(), |table, column| table.right(column));
    let last = points.len().saturating_sub(1);
    let rows = points.len().min(ROWS);
    for row in 0..rows {
        let index = row * last / rows.saturating_sub(1).max(1);
        table.row(points.get(index).map(&cells).unwrap_or_default());
    }
    table
}

fn inferred(page: &mut Page, blank: Option<&pb::InferredBlank>) {
    let Some(found) = blank else { return };
    page.heading("Blank, inferred (one standard deviation)");
    let share = |share: f64| format!("{:.0} %", share * 100.0);
    let blank = found.blank.clone().unwrap_or_default();
    let third = format!(
        "{} N, {}, give or take {}",
        short(found.third_drop_load_n),
        kilograms(found.third_drop_load_n / deepbend_core::quantity::N_PER_KGF),
        share(found.third_drop_load_spread)
    );
    let depth = format!(
        "the last {} of the length, give or take {}",
        share(found.bend_depth),
        share(found.bend_depth_spread)
    );
    let mut rows = vec![
        pair("length", rod_length(blank.length_m.unwrap_or_default())),
        pair("drops by a third under", third),
        pair("bend depth", depth),
    ];
    rows.extend(found.misfit.map(|misfit| {
        pair("misfit", format!("{misfit:.2} standard deviations (about 1 or less is good)"))
    }));
    page.pairs(&rows);
    let columns = ["along blank m", "EI N m^2", "spread %"];
    let station = |station: &pb::BlankStation| {
        vec![
            format!("{:.3}", station.s_m.unwrap_or_default()),
            format!("{:.3}", station.ei_n_m2.unwrap_or_default()),
            station.ei_spread.map_or_else(String::new, |s| format!("{:.0}", s * 100.0)),
        ]
    };
    page.table(&table(&columns, &blank.stations, station));
}

fn model(page: &mut Page, model: Option<&pb::ModelId>) {
    if let Some(model) = model {
        page.heading(&format!("Model {}", model_id(model)));
    }
}

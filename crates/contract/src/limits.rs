//! Every bound that the contract states. What lies outside is a slip of unit or finger.
//!
//! Source of all bounds: from memory, set wide of anything that is fished with rod and reel.

use deepbend_core::gear;

/// A number must lie between two ends, both allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Whether 0 is allowed besides: it means that there is none.
    pub or_zero: bool,
    /// Unit; empty for a plain number.
    pub unit: &'static str,
}

impl Bounds {
    const fn new(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, or_zero: false, unit }
    }

    /// The same bounds, or 0.
    #[must_use]
    pub const fn or_zero(self) -> Self {
        Self { or_zero: true, ..self }
    }
}

impl std::fmt::Display for Bounds {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let zero = if self.or_zero { "0, or " } else { "" };
        write!(f, "{zero}{} to {}", self.low, self.high)?;
        if self.unit.is_empty() { Ok(()) } else { write!(f, " {}", self.unit) }
    }
}

/// Length of a rod.
pub const ROD_LENGTH_M: Bounds = Bounds::new(0.3, 6.0, "m");
/// Pieces of a rod.
pub const ROD_PIECES: Bounds = Bounds::new(1.0, 12.0, "");
/// Mass of a rod or a reel.
pub const TACKLE_MASS_G: Bounds = Bounds::new(10.0, 3000.0, "g");
/// Mass that drops a rod's tip by a third of its length.
pub const THIRD_DROP_G: Bounds = Bounds::new(5.0, 20_000.0, "g");
/// Mass of a lure, its parts, and what a rod is rated for; 0 for a trailer: none.
pub const LURE_MASS_G: Bounds = Bounds::new(0.05, 1000.0, "g");
/// Breaking force of a line or leader, and what a rod is rated for.
pub const TEST_KGF: Bounds = Bounds::new(0.05, 200.0, "kgf");
/// Drag, advertised or set.
pub const DRAG_KGF: Bounds = Bounds::new(0.01, 50.0, "kgf");
/// Gear ratio of a reel.
pub const GEAR_RATIO: Bounds = Bounds::new(0.5, 20.0, "");
/// Line taken in by a turn of the handle.
pub const RETRIEVE_CM: Bounds = Bounds::new(1.0, 300.0, "cm");
/// Breakaway drag over running drag.
pub const START_UP_RATIO: Bounds = Bounds::new(1.0, 10.0, "");
/// Diameter of line or leader.
pub const DIAMETER_MM: Bounds = Bounds::new(0.01, 3.0, "mm");
/// Length of line.
pub const LINE_LENGTH_M: Bounds = Bounds::new(0.1, 5000.0, "m");
/// Length of a leader.
pub const LEADER_LENGTH_M: Bounds = Bounds::new(0.01, 100.0, "m");
/// Diameter of hook wire.
pub const HOOK_WIRE_MM: Bounds = Bounds::new(0.05, 5.0, "mm");
/// Hooks of a lure.
pub const HOOK_COUNT: Bounds = Bounds::new(1.0, 30.0, "");
/// Length of a lure.
pub const LURE_LENGTH_MM: Bounds = Bounds::new(1.0, 1000.0, "mm");
/// Force of a lure: pull and punch.
pub const LURE_FORCE_N: Bounds = Bounds::new(0.0, 200.0, "N");
/// Wind speed.
pub const WIND_M_S: Bounds = Bounds::new(0.0, 60.0, "m/s");
/// Distance to cover.
pub const COVER_DISTANCE_M: Bounds = Bounds::new(0.0, 1000.0, "m");
/// A probability or a share.
pub const SHARE: Bounds = Bounds::new(0.0, 1.0, "");
/// Mass of a fish.
pub const FISH_MASS_KG: Bounds = Bounds::new(0.001, 500.0, "kg");
/// Speed of the current.
pub const CURRENT_M_S: Bounds = Bounds::new(0.0, 10.0, "m/s");
/// Depth of water.
pub const DEPTH_M: Bounds = Bounds::new(0.0, 1000.0, "m");
/// Temperature of water.
pub const WATER_TEMPERATURE_C: Bounds = Bounds::new(-3.0, 45.0, "degrees Celsius");
/// Line between rod tip and lure.
pub const LINE_OUT_M: Bounds = Bounds::new(0.1, 1000.0, "m");

/// Characters of a name, a size or an id.
pub const NAME_LENGTH: usize = 64;
/// Characters of a request label.
pub const LABEL_LENGTH: usize = 200;
/// Characters of a text that is to be read.
pub const GEAR_TEXT_LENGTH: usize = 500;
/// Characters of the words to be searched for.
pub const SEARCH_LENGTH: usize = 200;
/// Overrides a request.
pub const OVERRIDES: usize = 100;
/// Outfits, and lures, of a ranking.
pub const CANDIDATES: usize = 1000;
/// Lures that one specification serves.
pub const SPECIFIED_LURES: usize = deepbend_core::judge::MOST_LURES;
/// Rows of one message of a batch.
pub const BATCH_ROWS: usize = 4096;
/// Bytes of one message.
pub const MESSAGE_BYTES: usize = 4 * 1024 * 1024;
/// Bytes of one imported file.
pub const FILE_BYTES: usize = 1024 * 1024;
/// Items of a page when none are asked for.
pub const PAGE_DEFAULT: usize = 100;
/// Items of a page at most.
pub const PAGE_MAX: usize = 1000;
/// Places of a filter or of a pool.
pub const PLACES: usize = 100;
/// Anglers, and segments, of a trip.
pub const ANGLERS: usize = 12;
/// Needs of a trip.
pub const NEEDS: usize = 200;
/// Importance of a need.
pub const IMPORTANCE: Bounds = Bounds::new(1.0, 3.0, "");
/// Copies of a lure that are fished at once; 0 means one.
pub const COPIES: Bounds = Bounds::new(0.0, 10.0, "");
/// Rods that a trip may take.
pub const ROD_LIMIT: Bounds = Bounds::new(1.0, 100.0, "");
/// Time for jobs before departure.
pub const JOB_BUDGET_MINUTES: Bounds = Bounds::new(0.0, 1440.0, "minutes");
/// Cost of a move.
pub const MOVE_COST_MICROS: Bounds = Bounds::new(0.0, 10_000_000.0, "micros");
/// Nodes of the search tree.
pub const WORK_BUDGET_NODES: Bounds = Bounds::new(1.0, 1_000_000.0, "nodes");
/// Wind that is added to a plan's.
pub const ADDED_WIND_M_S: Bounds = Bounds::new(0.0, 30.0, "m/s");
/// Trips that are planned together.
pub const TRIPS: usize = 20;
/// Items that are lost.
pub const LOST_ITEMS: usize = 1000;
/// Trips of a season.
pub const SEASON_TRIPS: usize = 50;
/// Needs of a season.
pub const SEASON_NEEDS: usize = 1000;
/// Days on which a trip is made; 0 means one.
pub const DAYS: Bounds = Bounds::new(0.0, 366.0, "days");
/// Gaps that are named, and outfits of a set.
pub const WANTED: Bounds = Bounds::new(1.0, 20.0, "");
/// Rods that a set keeps.
pub const SET_OUTFITS: usize = 20;
/// What may be spent.
pub const BUDGET_CENTS: Bounds = Bounds::new(1.0, 1_000_000_000.0, "cents");
/// What an outfit costs.
pub const PRICE_CENTS: Bounds = Bounds::new(1.0, 100_000_000.0, "cents");
/// The longest thing that travels.
pub const TUBE_LENGTH_M: Bounds = Bounds::new(0.2, 6.0, "m");
/// Time until something that broke can be replaced.
pub const RESUPPLY_HOURS: Bounds = Bounds::new(0.0, 1000.0, "hours");
/// Pins of a plan.
pub const PINS: usize = 1000;
/// Length of a blank that is bent.
pub const BLANK_LENGTH_M: Bounds = Bounds::new(0.001, 1000.0, "m");
/// Bending stiffness of a blank.
pub const STIFFNESS_N_M2: Bounds = Bounds::new(1e-9, 1e9, "N m^2");
/// Stations of a blank.
pub const STATIONS: usize = 10_000;
/// Load at the tip of a blank.
pub const BEND_LOAD_N: Bounds = Bounds::new(0.0, 1e9, "N");
/// Angle of the load from the unbent axis.
pub const BEND_ANGLE_DEG: Bounds = Bounds::new(5.0, 170.0, "degrees");
/// Points of a bend or a flight.
pub const POINTS: Bounds = Bounds::new(2.0, 10_001.0, "");
/// Points of a bend or a flight when no number is asked for.
pub const POINTS_DEFAULT: usize = 41;
/// Release speed of a cast.
pub const CAST_SPEED_M_S: Bounds = Bounds::new(0.0, 300.0, "m/s");
/// Angle of release above the level.
pub const CAST_ANGLE_DEG: Bounds = Bounds::new(-90.0, 90.0, "degrees");
/// Height of release above the water.
pub const CAST_HEIGHT_M: Bounds = Bounds::new(0.0, 1000.0, "m");
/// Mass that is flown.
pub const CAST_MASS_G: Bounds = Bounds::new(0.001, 100_000.0, "g");
/// Drag coefficient times frontal area.
pub const DRAG_AREA_CM2: Bounds = Bounds::new(0.0, 100_000.0, "cm^2");
/// Wind along or across a cast.
pub const CAST_WIND_M_S: Bounds = Bounds::new(-100.0, 100.0, "m/s");
/// Density of the air.
pub const AIR_DENSITY_KG_M3: Bounds = Bounds::new(0.0, 10.0, "kg/m^3");
/// Length of a blank that is measured.
pub const MEASURED_LENGTH_M: Bounds = Bounds::new(0.1, 20.0, "m");
/// Load with which a blank is measured.
pub const MEASURED_LOAD_N: Bounds = Bounds::new(0.001, 10_000.0, "N");
/// Angle of the tip that has dropped by a third of the length.
pub const THIRD_DROP_ANGLE_DEG: Bounds =
    Bounds::new(gear::THIRD_DROP_ANGLE_DEG.0, gear::THIRD_DROP_ANGLE_DEG.1, "degrees");
/// A bend depth that is seen.
pub const SEEN_DEPTH: Bounds = Bounds::new(0.02, 0.98, "");
/// A coordinate of a point that is seen.
pub const SEEN_POINT_M: Bounds = Bounds::new(-20.0, 20.0, "m");
/// Points that are seen.
pub const SEEN_POINTS: usize = 1000;
/// A count, a length, a time or a number of pieces that an event tells.
pub const EVENT_AMOUNT: Bounds = Bounds::new(0.0, 1_000_000.0, "");
/// A change of a count.
pub const EVENT_CHANGE: Bounds = Bounds::new(-1_000_000.0, 1_000_000.0, "");
/// Strands of a braid.
pub const STRANDS: Bounds = Bounds::new(1.0, 100.0, "");
/// Time that a line was fished.
pub const FISHED_HOURS: Bounds = Bounds::new(0.0, 100_000.0, "hours");
/// A price.
pub const COST_CENTS: Bounds = Bounds::new(0.0, 1_000_000_000.0, "");
/// Characters of a text of an event.
pub const EVENT_TEXT_LENGTH: usize = 500;
/// Events of one call.
pub const EVENTS: usize = 500;
/// Columns of a description.
pub const COLUMNS: usize = 100;
/// Events of one chunk of an exchange.
pub const CHUNK_EVENTS: usize = 500;
/// Ends of chains that a side of an exchange tells.
pub const TIPS: usize = 100_000;
/// Bytes of fault details that go into the trailers of a call; some clients refuse trailers of
/// more than 8 KiB, and Base64 adds a third.
pub const DETAIL_BYTES: usize = 4 * 1024;

#[cfg(test)]
mod tests {
    use super::*;

    const GEAR: &str = include_str!("../../../proto/deepbend/v1/gear.proto");
    const WATER: &str = include_str!("../../../proto/deepbend/v1/water.proto");
    const TRIP: &str = include_str!("../../../proto/deepbend/v1/trip.proto");
    const MECHANICS: &str = include_str!("../../../proto/deepbend/v1/mechanics_service.proto");
    const LEDGER: &str = include_str!("../../../proto/deepbend/v1/ledger.proto");
    const INVENTORY: &str = include_str!("../../../proto/deepbend/v1/inventory.proto");
    const SEASON: &str = include_str!("../../../proto/deepbend/v1/season.proto");
    const PLAN: &str = include_str!("../../../proto/deepbend/v1/trip_service.proto");

    /// The comment above a field.
    fn comment(file: &str, message: &str, field: &str) -> String {
        let (_, body) = file.split_once(&format!("\nmessage {message} {{\n")).unwrap();
        let (above, _) = body.split_once(&format!(" {field} = ")).unwrap();
        let lines: Vec<&str> = above.lines().rev().skip(1).collect();
        let comment = lines.iter().map_while(|line| line.trim().strip_prefix("// "));
        let mut lines: Vec<&str> = comment.collect();
        lines.reverse();
        lines.join(" ")
    }

    // Source: the contract; its comments and these constants must say the same.
    #[test]
    fn the_contract_states_the_same_bounds() {
        let rows = [
            (GEAR, "Rod", "length_m", ROD_LENGTH_M),
            (GEAR, "Rod", "lure_rating_min_g", LURE_MASS_G),
            (GEAR, "Rod", "lure_rating_max_g", LURE_MASS_G),
            (GEAR, "Rod", "line_rating_min_kgf", TEST_KGF),
            (GEAR, "Rod", "line_rating_max_kgf", TEST_KGF),
            (GEAR, "Rod", "piece_count", ROD_PIECES),
            (GEAR, "Rod", "mass_g", TACKLE_MASS_G),
            (GEAR, "Rod", "third_drop_mass_g", THIRD_DROP_G),
            (GEAR, "Rod", "third_drop_angle_deg", THIRD_DROP_ANGLE_DEG),
            (GEAR, "Reel", "mass_g", TACKLE_MASS_G),
            (GEAR, "Reel", "drag_max_kgf", DRAG_KGF),
            (GEAR, "Reel", "gear_ratio", GEAR_RATIO),
            (GEAR, "Reel", "retrieve_cm", RETRIEVE_CM),
            (GEAR, "Reel", "capacity_diameter_mm", DIAMETER_MM),
            (GEAR, "Reel", "capacity_length_m", LINE_LENGTH_M),
            (GEAR, "Line", "test_kgf", TEST_KGF),
            (GEAR, "Line", "diameter_mm", DIAMETER_MM),
            (GEAR, "Line", "length_m", LINE_LENGTH_M),
            (GEAR, "Leader", "test_kgf", TEST_KGF),
            (GEAR, "Leader", "diameter_mm", DIAMETER_MM),
            (GEAR, "Leader", "length_m", LEADER_LENGTH_M),
            (GEAR, "Hook", "wire_mm", HOOK_WIRE_MM),
            (GEAR, "Hook", "hook_count", HOOK_COUNT),
            (GEAR, "Lure", "rigged_mass_g", LURE_MASS_G),
            (GEAR, "Lure", "head_mass_g", LURE_MASS_G),
            (GEAR, "Lure", "trailer_mass_g", LURE_MASS_G),
            (GEAR, "Lure", "length_mm", LURE_LENGTH_MM),
            (GEAR, "Lure", "punch_n", LURE_FORCE_N),
            (GEAR, "Lure", "pull_n", LURE_FORCE_N),
            (GEAR, "Outfit", "drag_kgf", DRAG_KGF),
            (WATER, "Water", "wind_speed_m_s", WIND_M_S),
            (WATER, "Water", "cover_distance_m", COVER_DISTANCE_M),
            (WATER, "Water", "fish_mass_kg", FISH_MASS_KG),
            (WATER, "Water", "current_m_s", CURRENT_M_S),
            (WATER, "Water", "depth_m", DEPTH_M),
            (WATER, "Water", "water_temperature_c", WATER_TEMPERATURE_C),
            (WATER, "Water", "line_out_m", LINE_OUT_M),
            (TRIP, "Need", "copy_count", Bounds { low: 1.0, ..COPIES }),
            (TRIP, "Trip", "rod_limit", ROD_LIMIT),
            (TRIP, "Trip", "job_budget_minutes", JOB_BUDGET_MINUTES),
            (TRIP, "PoolPlace", "move_cost_micros", MOVE_COST_MICROS),
            (MECHANICS, "BlankStation", "ei_n_m2", STIFFNESS_N_M2),
            (MECHANICS, "Blank", "length_m", BLANK_LENGTH_M),
            (MECHANICS, "TraceBendRequest", "load_n", BEND_LOAD_N),
            (MECHANICS, "TraceBendRequest", "angle_deg", BEND_ANGLE_DEG),
            (MECHANICS, "TraceBendRequest", "point_count", POINTS),
            (MECHANICS, "Cast", "speed_m_s", CAST_SPEED_M_S),
            (MECHANICS, "Cast", "angle_deg", CAST_ANGLE_DEG),
            (MECHANICS, "Cast", "height_m", CAST_HEIGHT_M),
            (MECHANICS, "Cast", "mass_g", CAST_MASS_G),
            (MECHANICS, "Cast", "drag_area_cm2", DRAG_AREA_CM2),
            (MECHANICS, "Cast", "wind_along_m_s", CAST_WIND_M_S),
            (MECHANICS, "Cast", "wind_across_m_s", CAST_WIND_M_S),
            (MECHANICS, "Cast", "air_density_kg_m3", AIR_DENSITY_KG_M3),
            (MECHANICS, "TraceCastRequest", "point_count", POINTS),
            (MECHANICS, "SeenDepth", "bend_depth", SEEN_DEPTH),
            (MECHANICS, "SeenDepth", "load_n", MEASURED_LOAD_N),
            (MECHANICS, "SeenPoint", "x_m", SEEN_POINT_M),
            (MECHANICS, "SeenPoint", "y_m", SEEN_POINT_M),
            (MECHANICS, "SeenShape", "load_n", MEASURED_LOAD_N),
            (MECHANICS, "SeenShape", "angle_deg", BEND_ANGLE_DEG),
            (MECHANICS, "MeasureBlankRequest", "length_m", MEASURED_LENGTH_M),
            (MECHANICS, "MeasureBlankRequest", "third_drop_load_n", MEASURED_LOAD_N),
            (MECHANICS, "MeasureBlankRequest", "third_drop_tip_angle_deg", THIRD_DROP_ANGLE_DEG),
            (INVENTORY, "FittedLine", "strand_count", STRANDS),
            (INVENTORY, "FittedLine", "fished_hours", FISHED_HOURS),
            (INVENTORY, "Cost", "amount_cents", COST_CENTS),
            (LEDGER, "Moved", "piece_count", Bounds { low: 1.0, ..EVENT_AMOUNT }),
            (LEDGER, "Counted", "amount", EVENT_AMOUNT),
            (LEDGER, "Adjusted", "change", EVENT_CHANGE),
            (LEDGER, "Respooled", "taken_cm", EVENT_AMOUNT),
            (LEDGER, "CutBack", "cut_cm", EVENT_AMOUNT),
            (LEDGER, "Used", "minutes", EVENT_AMOUNT),
            (PLAN, "PlanTripRequest", "work_budget_nodes", WORK_BUDGET_NODES),
            (PLAN, "PlanTripRequest", "added_wind_m_s", ADDED_WIND_M_S),
            (PLAN, "PlanFleetRequest", "work_budget_nodes", WORK_BUDGET_NODES),
            (PLAN, "PlanFleetRequest", "added_wind_m_s", ADDED_WIND_M_S),
            (SEASON, "SeasonTrip", "day_count", Bounds { low: 1.0, ..DAYS }),
            (SEASON, "FindGapsRequest", "gap_count", WANTED),
            (SEASON, "FindGapsRequest", "budget_cents", BUDGET_CENTS),
            (SEASON, "HandlePrice", "price_cents", PRICE_CENTS),
            (SEASON, "DesignSetRequest", "outfit_count", WANTED),
            (SEASON, "DesignSetRequest", "tube_length_m", TUBE_LENGTH_M),
            (SEASON, "DesignSetRequest", "resupply_hours", RESUPPLY_HOURS),
        ];
        for (file, message, field, bounds) in rows {
            let stated = comment(file, message, field);
            let meant = format!("{} to {}", bounds.low, bounds.high);
            assert!(stated.contains(&meant), "{message}.{field}: {meant:?} is not in {stated:?}");
        }
    }
}

//! Gear as names and values.

use deepbend_contract::pb;

use super::judgement::findings;
use super::units;
use super::{Page, plain};

/// Names and values of a description.
pub(super) type Pairs = Vec<(String, String)>;

/// What was read of a text, and what is odd about it.
#[must_use]
pub fn read_gear(response: &pb::ReadGearResponse, width: usize) -> String {
    let mut page = Page::new(width);
    page.line("Read as");
    page.pairs(&read_pairs(response));
    findings(&mut page, &response.findings);
    page.finish()
}

/// What was read of a text, as names and values.
#[must_use]
pub fn read_pairs(response: &pb::ReadGearResponse) -> Vec<(String, String)> {
    use pb::read_gear_response::Spec;
    let mut pairs = match &response.spec {
        Some(Spec::Rod(it)) => rod(it),
        Some(Spec::Reel(it)) => reel(it),
        Some(Spec::Line(it)) => line(it),
        Some(Spec::Leader(it)) => leader(it),
        Some(Spec::Lure(it)) => lure(it),
        Some(Spec::LineLengthM(m)) => vec![("length".to_owned(), units::line_length(*m))],
        None => Pairs::new(),
    };
    pairs.extend(response.power.as_ref().map(power));
    pairs
}

struct Rows(Pairs);

impl Rows {
    fn put(&mut self, name: &str, value: Option<String>) {
        if let Some(value) = value.filter(|value| !value.is_empty()) {
            self.0.push((name.to_owned(), value));
        }
    }
}

pub(super) fn rod(rod: &pb::Rod) -> Pairs {
    let mut rows = Rows(Pairs::new());
    rows.put("handle", Some(plain!(Handle, rod.handle)));
    rows.put("length", rod.length_m.map(units::rod_length));
    rows.put("printed power", Some(plain!(Power, rod.power_label)));
    rows.put("action", Some(plain!(Action, rod.action)));
    rows.put("material", Some(plain!(RodMaterial, rod.material)));
    rows.put("lure rating", units::grams_range(rod.lure_rating_min_g, rod.lure_rating_max_g));
    let basis = plain!(LineBasis, rod.line_rating_basis);
    let lines = units::kilograms_range(rod.line_rating_min_kgf, rod.line_rating_max_kgf);
    rows.put("line rating", lines.map(|text| [text, basis].join(" ").trim().to_owned()));
    rows.put("rings", Some(plain!(GuideCondition, rod.guides)));
    rows.put("pieces", rod.piece_count.map(|n| n.to_string()));
    rows.put("mass", rod.mass_g.map(units::grams));
    rows.put("third drop at", rod.third_drop_mass_g.map(units::grams));
    rows.put("tip angle there", rod.third_drop_angle_deg.map(|deg| format!("{deg:.0} deg")));
    rows.0
}

/// The power that the ratings imply.
pub(super) fn power(power: &pb::InferredPower) -> (String, String) {
    let text = format!(
        "{}, class {:.2} ({:.1} to {:.1}) of 1 to 8",
        plain!(Power, power.word),
        power.class_index,
        power.low,
        power.high,
    );
    ("implied power".to_owned(), text)
}

pub(super) fn reel(reel: &pb::Reel) -> Pairs {
    let mut rows = Rows(Pairs::new());
    rows.put("kind", Some(plain!(Handle, reel.kind)));
    rows.put("size", Some(reel.size.clone()));
    rows.put("mass", reel.mass_g.map(units::grams));
    rows.put("greatest drag", reel.drag_max_kgf.map(units::kilograms));
    rows.put("gear ratio", reel.gear_ratio.map(|ratio| format!("{}:1", units::short(ratio))));
    let turn = reel.retrieve_cm.map(|cm| format!("{} a turn", units::centimetres(cm)));
    rows.put("line taken in", turn);
    rows.put(
        "capacity",
        reel.capacity_length_m.map(|m| match reel.capacity_diameter_mm {
            Some(mm) => format!("{} of {}", units::metres(m), units::diameter(mm)),
            None => units::metres(m),
        }),
    );
    rows.put("start-up", reel.start_up_ratio.map(|r| format!("{} of the drag", units::short(r))));
    rows.put("crank", Some(plain!(RetrieveSide, reel.retrieve_side)));
    rows.put("sealed for salt", reel.salt_rated.map(|yes| if yes { "yes" } else { "no" }.into()));
    rows.0
}

pub(super) fn line(line: &pb::Line) -> Pairs {
    let mut rows = Rows(Pairs::new());
    rows.put("material", Some(plain!(LineMaterial, line.material)));
    rows.put("test", line.test_kgf.map(units::kilograms));
    rows.put("diameter", line.diameter_mm.map(units::diameter));
    rows.put("length", line.length_m.map(units::metres));
    rows.0
}

pub(super) fn leader(leader: &pb::Leader) -> Pairs {
    let mut rows = Rows(Pairs::new());
    rows.put("material", Some(plain!(LeaderMaterial, leader.material)));
    rows.put("test", leader.test_kgf.map(units::kilograms));
    rows.put("diameter", leader.diameter_mm.map(units::diameter));
    rows.put("length", leader.length_m.map(units::metres));
    rows.0
}

/// A line in one phrase: `braid 13 kg (28.7 lb) 0.202 mm (0.0080 in)`.
pub(super) fn line_phrase(line: &pb::Line) -> String {
    let mut words = vec![plain!(LineMaterial, line.material)];
    words.extend(line.test_kgf.map(units::kilograms));
    words.extend(line.diameter_mm.map(units::diameter));
    words.retain(|word| !word.is_empty());
    words.join(" ")
}

pub(super) fn lure(lure: &pb::Lure) -> Pairs {
    let mut rows = Rows(Pairs::new());
    rows.put("class", Some(plain!(LureClass, lure.lure_class)));
    rows.put("as rigged", lure.rigged_mass_g.map(units::grams));
    rows.put("head", lure.head_mass_g.map(units::grams));
    rows.put("trailer", lure.trailer_mass_g.filter(|g| *g > 0.0).map(units::grams));
    rows.put("length", lure.length_mm.map(units::millimetres));
    rows.put("hooks", lure.hook.as_ref().map(hook));
    rows.put("to free the point", lure.punch_n.map(|n| format!("{} N", units::short(n))));
    rows.put("pull", lure.pull_n.map(|n| format!("{} N", units::short(n))));
    rows.put("flight", Some(plain!(AirClass, lure.air_class)));
    rows.0
}

fn hook(hook: &pb::Hook) -> String {
    let mut words = Vec::new();
    words.extend(hook.hook_count.map(|n| format!("{n} x")));
    words.push(plain!(HookStyle, hook.style));
    if !hook.size.is_empty() {
        words.push(format!("size {}", hook.size));
    }
    words.extend(hook.wire_mm.map(|mm| format!("wire {}", units::diameter(mm))));
    words.extend(hook.barbed.map(|yes| if yes { "barbed" } else { "barbless" }.to_owned()));
    words.push(plain!(HookPoint, hook.point));
    words.retain(|word| !word.is_empty());
    words.join(" ")
}

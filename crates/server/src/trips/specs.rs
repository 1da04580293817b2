//! A lattice of specs: rods that could be bought, each with a usual reel and one main line.

use deepbend_core::gear::{
    Action, Handle, Leader, Line, LineMaterial, Outfit, Power, Reel, Rod, RodMaterial, Word as _,
};
use deepbend_core::model::Model;
use deepbend_core::quantity::words::{GRAMS, KILOGRAMS};
use deepbend_core::quantity::{Force, Mass, Range};

/// How far a rod's power may be off a place of the lattice and still be like it, classes. From memory.
pub(super) const LIKE_CLASSES: f64 = 0.5;

/// One place of the lattice.
#[derive(Clone, Debug)]
pub(super) struct Spec {
    pub(super) rod: Rod,
    pub(super) line: LineMaterial,
    /// Power class, 1 to 8.
    pub(super) class: f64,
}

/// All of them, by handle, then action, material, power and line.
pub(super) fn lattice(model: &Model) -> Vec<Spec> {
    let p = &model.parameters().rod;
    let mut specs = Vec::new();
    for &handle in Handle::ALL {
        for &action in Action::ALL {
            for material in [RodMaterial::Graphite, RodMaterial::Composite] {
                for &power in Power::ALL {
                    let class = power.class();
                    let max = p.window_max_g.at(class);
                    let rod = Rod {
                        handle: Some(handle),
                        action: Some(action),
                        material: Some(material),
                        lure_rating: Range {
                            min: Some(Mass::from_g(max / p.window_of_single_number)),
                            max: Some(Mass::from_g(max)),
                        },
                        line_rating: Range {
                            min: None,
                            max: Some(Force::from_kgf(p.line_max_kgf.at(class))),
                        },
                        ..Rod::default()
                    };
                    for line in [LineMaterial::Braid, LineMaterial::Nylon] {
                        specs.push(Spec { rod: rod.clone(), line, class });
                    }
                }
            }
        }
    }
    specs
}

/// Whether two rods, each with its power class, are of one kind as far as they say.
pub(super) fn are_alike((one, class): (&Rod, f64), (other, near): (&Rod, f64)) -> bool {
    fn same<T: PartialEq>(one: Option<T>, other: Option<T>) -> bool {
        one.is_none() || other.is_none() || one == other
    }
    (class - near).abs() <= LIKE_CLASSES
        && same(one.handle, other.handle)
        && same(one.action, other.action)
        && same(one.material, other.material)
}

impl Spec {
    /// The spec put together with a usual reel and leader.
    pub(super) fn outfit(&self) -> Outfit {
        Outfit {
            rod: self.rod.clone(),
            reel: Reel { kind: self.rod.handle, ..Reel::default() },
            line: Line { material: Some(self.line), ..Line::default() },
            leader: Leader::default(),
            drag: None,
        }
    }

    /// Spinning or casting.
    pub(super) fn handle(&self) -> Handle {
        self.rod.handle.unwrap_or(Handle::Spinning)
    }

    /// Whether they differ in one choice, and in power by one class at most.
    pub(super) fn is_next_to(&self, other: &Self) -> bool {
        let differ = u32::from(self.rod.action != other.rod.action)
            + u32::from(self.rod.material != other.rod.material)
            + u32::from(self.line != other.line)
            + u32::from(self.class != other.class);
        differ == 1 && (self.class - other.class).abs() < 1.5 && self.handle() == other.handle()
    }

    /// Whether a rod of some power class is one of this kind, as far as it says.
    pub(super) fn is_like(&self, rod: &Rod, class: f64) -> bool {
        are_alike((&self.rod, self.class), (rod, class))
    }

    /// In words: "a heavy moderate-fast composite casting rod of about 17 to 60 g (0.60 to 2.12 oz)
    /// and ...".
    pub(super) fn words(&self) -> String {
        let action = self.rod.action.map_or("", |a| a.as_word()).replace('_', "-");
        let material = self.rod.material.map_or("", |m| m.as_word());
        let grams = |mass: Option<Mass>| mass.map_or(0.0, Mass::g);
        let rating = self.rod.lure_rating;
        let class = Power::nearest(self.class).plain();
        let article = if class.starts_with(['e', 'u']) { "an" } else { "a" };
        format!(
            "{article} {class} {action} {material} {} rod of about {} and {} nylon, fished \
             with {}",
            self.handle().as_word(),
            GRAMS.two(grams(rating.min), grams(rating.max)),
            KILOGRAMS.one(self.rod.line_rating.max.map_or(0.0, Force::kgf)),
            self.line.as_word(),
        )
    }
}

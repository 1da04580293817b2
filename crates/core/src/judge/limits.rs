//! Hard limits. No score, however good, outweighs a broken one.

use super::case::{Case, Resolved};
use super::factors::{drag, leader, line};
use super::judgement::{Limit, LimitCode, Protects, Quantity};
use super::text::{grams, kilograms};
use crate::gear::{GuideCondition, LeaderMaterial, LineMaterial};

/// A limit held against a case.
struct Check {
    code: LimitCode,
    protects: Protects,
    /// Name, value and unit of the quantity.
    quantity: (&'static str, f64, &'static str),
    bound: f64,
    /// Whether a larger value is safer.
    larger_is_safer: bool,
    /// Fields without which the limit cannot be said to be broken.
    fields: &'static [&'static str],
    text: fn(&Case<'_>) -> String,
}

impl Check {
    fn slack(&self) -> f64 {
        let gap = self.bound - self.quantity.1;
        if self.larger_is_safer { -gap } else { gap }
    }

    fn broken(&self) -> bool {
        if self.larger_is_safer {
            self.quantity.1 < self.bound
        } else {
            self.quantity.1 > self.bound
        }
    }

    /// Whether it hangs on a value that nobody gave. Of leaders, strength and diameter tell each
    /// other.
    fn guessed(&self, r: &Resolved<'_>) -> bool {
        self.fields.iter().any(|field| match *field {
            "leader.diameter" | "leader.test" => {
                r.assumed("leader.diameter") && r.assumed("leader.test")
            }
            field => r.assumed(field),
        })
    }

    /// Within a tenth of the bound.
    fn near(&self) -> bool {
        self.slack() <= 0.1 * self.bound.abs()
    }
}

fn checks(c: &Case<'_>) -> [Option<Check>; 6] {
    [
        Some(overload(c)),
        cracked_ring(c),
        bite_off(c),
        Some(drag_near_break(c)),
        snap_off(c),
        rod_weakest(c),
    ]
}

fn overload(c: &Case<'_>) -> Check {
    let (bound, text): (f64, fn(&Case<'_>) -> String) = if c.is_vertical() {
        (c.p.load.limit_vertical, |c| {
            let (mass, most) = (grams(c.mass_g), grams(c.lure_max_g));
            format!("{mass} is far over {most}, even straight down")
        })
    } else {
        (c.p.load.limit_cast, |c| {
            let over = c.mass_g / c.lure_max_g;
            format!(
                "{} is {over:.1} times the maximum of {}: a full cast can break the tip",
                grams(c.mass_g),
                grams(c.lure_max_g)
            )
        })
    };
    Check {
        code: LimitCode::RodOverload,
        protects: Protects::Person,
        quantity: ("mass_over_maximum", c.mass_g / c.lure_max_g, "1"),
        bound,
        larger_is_safer: false,
        fields: &["lure.rigged_mass", "rod.lure_rating.max"],
        text,
    }
}

fn cracked_ring(c: &Case<'_>) -> Option<Check> {
    (c.guides == GuideCondition::Cracked && c.line == LineMaterial::Braid).then_some(Check {
        code: LimitCode::CrackedRing,
        protects: Protects::Gear,
        quantity: ("cracked_rings", 1.0, "1"),
        bound: 0.0,
        larger_is_safer: false,
        fields: &["rod.guides", "line.material"],
        text: |_| "a cracked ring cuts braid under load: take the rod out of service".to_owned(),
    })
}

fn bite_off(c: &Case<'_>) -> Option<Check> {
    let risk = leader::cutting_probability(c);
    (risk >= c.p.leader.limit_risk).then(|| bites(c))
}

fn bites(c: &Case<'_>) -> Check {
    Check {
        code: LimitCode::BiteOff,
        protects: Protects::Fish,
        quantity: ("bite_ratio", leader::bite_ratio(c), "1"),
        bound: c.p.leader.limit_bite,
        larger_is_safer: true,
        fields: &["leader.material", "leader.diameter"],
        text: |c| match c.leader {
            LeaderMaterial::None => {
                "without a bite-proof leader the line is bitten through: hooks stay in a fish"
                    .into()
            }
            LeaderMaterial::Nylon
            | LeaderMaterial::Fluorocarbon
            | LeaderMaterial::SteelWire
            | LeaderMaterial::Titanium => {
                format!("{} will be bitten through and leave hooks in a fish", c.leader_plain())
            }
        },
    }
}

fn drag_near_break(c: &Case<'_>) -> Check {
    Check {
        code: LimitCode::DragNearBreak,
        protects: Protects::Fish,
        quantity: ("drag_over_weakest_link", drag::share_of_weakest(c), "1"),
        bound: c.p.drag.limit_share,
        larger_is_safer: false,
        fields: if c.line_at_knot_kgf() <= c.leader_at_knot_kgf() {
            &["drag", "line.test"]
        } else {
            &["drag", "leader.test"]
        },
        text: |c| {
            format!(
                "{} of drag against {} at the weakest knot: it breaks at the strike",
                kilograms(c.drag_kgf),
                kilograms(c.weakest_kgf())
            )
        },
    }
}

fn snap_off(c: &Case<'_>) -> Option<Check> {
    (!c.is_vertical()).then(|| Check {
        code: LimitCode::SnapOff,
        protects: Protects::Person,
        quantity: (
            "strength_over_test_for_cast",
            line::cast_strength_kgf(c) / c.work.cast_need_kgf,
            "1",
        ),
        bound: c.p.line.limit_cast,
        larger_is_safer: true,
        fields: if c.line_kgf <= line::cast_strength_kgf(c) {
            &["lure.rigged_mass", "line.test"]
        } else {
            &["lure.rigged_mass", "leader.test"]
        },
        text: |c| {
            format!(
                "{} of line or leader with {}: it parts in the cast and the lure flies on",
                kilograms(line::cast_strength_kgf(c)),
                grams(c.mass_g)
            )
        },
    })
}

fn rod_weakest(c: &Case<'_>) -> Option<Check> {
    let braid = c.line == LineMaterial::Braid;
    let chain = line::outlasts(c) > c.p.line.limit_chain;
    (braid && chain).then(|| Check {
        code: LimitCode::RodWeakest,
        protects: Protects::Gear,
        quantity: ("drag_over_rod_line", line::drag_share_of_rod(c), "1"),
        bound: c.p.line.limit_drag,
        larger_is_safer: false,
        fields: &["drag", "line.test", "leader.test", "rod.line_rating.max"],
        text: |c| {
            format!(
                "line, leader and {} of drag all outlast a rod made for {} nylon",
                kilograms(c.drag_kgf),
                kilograms(c.rod_line_kgf)
            )
        },
    })
}

/// Whether a limit is broken, assumptions or not.
pub(super) fn any_broken(c: &Case<'_>) -> bool {
    checks(c).iter().flatten().any(Check::broken)
}

/// Limits that are broken or nearly so, and limits that only an assumption breaks.
pub(super) fn limits(r: &Resolved<'_>) -> (Vec<Limit>, Vec<Limit>) {
    let (mut held, mut open) = (Vec::new(), Vec::new());
    for check in checks(&r.case).into_iter().flatten().filter(|check| check.near()) {
        let guessed = check.guessed(r);
        let (name, value, unit) = check.quantity;
        let limit = Limit {
            code: check.code,
            protects: check.protects,
            quantity: Quantity { name, value, unit },
            bound: check.bound,
            slack: check.slack(),
            broken: check.broken(),
            text: (check.text)(&r.case),
        };
        if guessed && limit.broken {
            open.push(Limit { broken: false, ..limit });
        } else {
            held.push(limit);
        }
    }
    // Nobody said what fish it is: it may have teeth.
    let c = &r.case;
    if r.assumed("water.species") && leader::cutting_probability(c) < c.p.leader.limit_risk {
        let check = bites(c);
        if check.broken() {
            let (name, value, unit) = check.quantity;
            open.push(Limit {
                code: check.code,
                protects: check.protects,
                quantity: Quantity { name, value, unit },
                bound: check.bound,
                slack: check.slack(),
                broken: false,
                text: format!("if the fish has cutting teeth: {}", (check.text)(c)),
            });
        }
    }
    (held, open)
}

/// Whether a limit is broken that no assumption excuses.
pub(super) fn any_broken_for_sure(r: &Resolved<'_>) -> bool {
    checks(&r.case).iter().flatten().any(|check| check.broken() && !check.guessed(r))
}

//! The parameters as a typed record: one field a key, checked when the file is loaded.

use serde::Deserialize;

use super::Ladder;
use crate::mechanics::carry::Tumbling;
use crate::mechanics::launch::Angler;

macro_rules! groups {
    ($($group:ident $name:ident { $($field:ident: $type:ty,)* })*) => {
        /// All parameters, by group; what each number means stands beside it in the file.
        #[derive(Clone, Debug, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        #[allow(missing_docs, reason = "each parameter is documented where its value stands")]
        pub struct Parameters { $(pub $group: $name,)* }
        $(
            #[doc = concat!("Group `", stringify!($group), "`.")]
            #[derive(Clone, Debug, PartialEq, Deserialize)]
            #[serde(deny_unknown_fields)]
            #[allow(missing_docs, reason = "each parameter is documented where its value stands")]
            pub struct $name { $(pub $field: $type,)* }
        )*
    };
}

groups! {
    weight WeightNumbers {
        load: f64,
        action: f64,
        hook_set: f64,
        hold: f64,
        pull: f64,
        line: f64,
        leader: f64,
        drag: f64,
        cover: f64,
        reel: f64,
        length: f64,
        wind: f64,
        contact: f64,
        skill: f64,
    }
    compose ComposeNumbers {
        score_floor: f64,
        cap: Ladder,
        excellent: f64,
        good: f64,
        workable: f64,
        mean_share_of_cap: f64,
        tie: f64,
    }
    rod RodNumbers {
        class_by_window_g: Ladder,
        class_by_maximum_g: Ladder,
        class_by_line_kgf: Ladder,
        window_share: f64,
        window_max_g: Ladder,
        line_max_kgf: Ladder,
        widest_window: f64,
        narrowest_window: f64,
        window_of_single_number: f64,
        unknown_class: f64,
        label_alarm: f64,
        label_alarm_long: f64,
        long_from_m: f64,
        long_note_from: f64,
        ratings_disagree: f64,
        braid_rating_share: f64,
        action_slow: f64,
        action_moderate: f64,
        action_moderate_fast: f64,
        action_fast: f64,
        action_extra_fast: f64,
        composite_shift: f64,
        glass_shift: f64,
        cold_shift: f64,
        cold_below_c: f64,
        reserve: f64,
    }
    blank BlankNumbers {
        third_drop_g: Ladder,
        reference_length_m: f64,
        length_exponent: f64,
        depth_by_action: Ladder,
        action_by_angle: Ladder,
        class_spread: f64,
        ladder_spread: f64,
        depth_spread: f64,
        pull_ratio: f64,
    }
    cast CastNumbers {
        tip_speed_m_s: f64,
        gain_per_m: f64,
        path_m: f64,
        carried_ratio: f64,
        spring_share: f64,
        held_mass_g: f64,
        tip_mass_share: f64,
        height_m: f64,
        air_density_kg_m3: f64,
    }
    shake ShakeNumbers {
        amplitude_m: f64,
        slow_hz: f64,
        quick_hz: f64,
    }
    load LoadNumbers {
        wind_gain: f64,
        under: Ladder,
        window: Ladder,
        over: Ladder,
        vertical_over: Ladder,
        vertical_under: Ladder,
        credit_to: f64,
        novice_share: f64,
        expert_tolerance: f64,
        limit_cast: f64,
        limit_vertical: f64,
        warn_cast: f64,
    }
    action ActionNumbers {
        single_shift_low: f64,
        single_shift_high: f64,
        single_relief: f64,
        swing: Ladder,
        slack_line_most: f64,
        wire_reference_mm: f64,
        wire_scale_least: f64,
        wire_scale_most: f64,
        tear_reference_n: f64,
        mouth_least: f64,
        mouth_most: f64,
        lever_reference_g: f64,
        lever_exponent: f64,
        mouth_shift: f64,
        shake_cost: f64,
        cover_relief: f64,
        swing_cost: f64,
        least: f64,
    }
    line LineNumbers {
        strain_share: f64,
        strain_braid: f64,
        strain_nylon: f64,
        strain_fluorocarbon: f64,
        break_braid: f64,
        break_nylon: f64,
        break_fluorocarbon: f64,
        stretch_reference_m: f64,
        vertical_out_m: f64,
        knot_braid: f64,
        knot_nylon: f64,
        knot_leader: f64,
        cast_weights: f64,
        run_spinning_m: f64,
        run_casting_m: f64,
        cast_floor_braid: f64,
        cast_floor_nylon: f64,
        braid_allowance: f64,
        cast: Ladder,
        limit_cast: f64,
        over_rod_fused: Ladder,
        over_rod_in_weed: Ladder,
        over_rod_bare: Ladder,
        below_rod: Ladder,
        leader_fuse: Ladder,
        drag_fuse: Ladder,
        limit_chain: f64,
        limit_drag: f64,
        thickness_base_mm: f64,
        thickness_gain_mm: f64,
        thickness_relief_in_cover: f64,
        thickness: Ladder,
        rings_plated_braid: f64,
        rings_cracked_braid: f64,
        rings_cracked_nylon: f64,
        braid_kgf: Ladder,
        braid_mm: Ladder,
        nylon_mm: Ladder,
        fluorocarbon_mm: Ladder,
        wire_mm: Ladder,
    }
    hook HookNumbers {
        seat_sharp: f64,
        seat_used: f64,
        seat_dull: f64,
        seat_unspecified: f64,
        barb: f64,
        double_points: f64,
        self_hooking: f64,
        cold_punch: Ladder,
        sweep_m: f64,
        way_sweep: f64,
        way_snap: f64,
        way_reel: f64,
        way_strip: f64,
        tip_base: f64,
        tip_gain: f64,
        start_up: f64,
        rod_turn_rad: f64,
        set: Ladder,
    }
    hold HoldNumbers {
        opening: f64,
        jerk: f64,
        over: Ladder,
    }
    pull PullNumbers {
        share: Ladder,
        current_gain: f64,
    }
    leader LeaderNumbers {
        steel_full_g: f64,
        bystander_kgf: f64,
        thickness_base_mm: f64,
        thickness_gain_mm: f64,
        thickness: Ladder,
        wire_ratio: f64,
        bystander_mm: f64,
        nylon_share: f64,
        bite: Ladder,
        limit_bite: f64,
        limit_risk: f64,
        edge_oyster_mm: f64,
        edge_mangrove_mm: f64,
        edge_dock_mm: f64,
        edge_rock_mm: f64,
        edge_timber_mm: f64,
        edge_fish_exponent: f64,
        edge_fish_least: f64,
        edge_fish_most: f64,
        braid_abrasion_share: f64,
        abrasion: Ladder,
        wire_against_edges: f64,
        weak: Ladder,
        stout: Ladder,
        least_kgf: f64,
        steel_light_lure: Ladder,
        titanium_light_lure: Ladder,
        wire_on_small_teeth: f64,
        wire_uncalled: f64,
        none_in_weed: f64,
        none_on_braid: f64,
    }
    drag DragNumbers {
        usable_share: f64,
        share: Ladder,
        limit_share: f64,
        warn_share: f64,
        soft_cover_gain: f64,
        hard_cover_gain: f64,
        too_low: Ladder,
        too_high: Ladder,
        ring_friction: f64,
        low_spool: f64,
        lift_share: f64,
        lift: Ladder,
        recommended_share: f64,
        novice_share: f64,
    }
    cover CoverNumbers {
        line_by_distance: Ladder,
        weed: f64,
        heavy: f64,
        oyster: f64,
        mangrove: f64,
        dock: f64,
        rock: f64,
        timber: f64,
        distance_weed_m: f64,
        distance_heavy_m: f64,
        distance_oyster_m: f64,
        distance_mangrove_m: f64,
        distance_dock_m: f64,
        distance_rock_m: f64,
        distance_timber_m: f64,
        current_gain: f64,
        dive_gain: f64,
        fish_reference_kg: f64,
        large_fish_exponent: f64,
        fish_exponent: f64,
        fish_least: f64,
        fish_most: f64,
        nylon_worth: f64,
        fluorocarbon_worth: f64,
        line: Ladder,
        rod_share: f64,
        pull_share: f64,
        pull: Ladder,
    }
    reel ReelNumbers {
        wrong_mount: f64,
        casting_mass: Ladder,
        handle_arm_m: f64,
        handle_n: Ladder,
        usable_share: f64,
        reserve: Ladder,
        slow_from_cm: f64,
        slow_to_cm: f64,
        mid_from_cm: f64,
        mid_to_cm: f64,
        quick_from_cm: f64,
        quick_to_cm: f64,
        retrieve_loss: f64,
        retrieve_least: f64,
        start_up: Ladder,
        tender_leader: Ladder,
        run_reserve: f64,
        least_capacity_m: f64,
        capacity: Ladder,
        spinning_mass_g: Ladder,
        casting_mass_g: Ladder,
        spinning_turn_from_cm: Ladder,
        spinning_turn_to_cm: Ladder,
        casting_turn_from_cm: Ladder,
        casting_turn_to_cm: Ladder,
        body: Ladder,
    }
    length LengthNumbers {
        boat_min: f64,
        boat_max: f64,
        kayak_min: f64,
        kayak_max: f64,
        bank_min: f64,
        bank_max: f64,
        coast_min: f64,
        coast_max: f64,
        wading_min: f64,
        wading_max: f64,
        overhung_min: f64,
        overhung_max: f64,
        vertical_min: f64,
        vertical_max: f64,
        bridge_min: f64,
        bridge_max: f64,
        loss: f64,
        branch_loss: f64,
        least: f64,
        cap_relief: f64,
    }
    wind WindNumbers {
        air_compact: f64,
        air_steady: f64,
        air_wobbling: f64,
        air_tumbling: f64,
        share_down: f64,
        share_across: f64,
        bulk_cm2_per_g: Ladder,
        carry: Ladder,
        even_bulk_cm2_per_g: f64,
        even_load: f64,
        load_exponent: f64,
        tumble_growth: f64,
        least: f64,
        cap_relief: f64,
        like_least: f64,
        like_most: f64,
        soft_tail_bulk_cm2_per_g: f64,
        soft_tail_growth: f64,
        soft_tail_from_mm: f64,
        soft_tail_to_mm: f64,
        soft_tail_head_share: f64,
        soft_tail_head_ramp: f64,
    }
    contact ContactNumbers {
        full_from_m_s: f64,
        reference_g: f64,
        reference_m_s: f64,
        step_m_s: f64,
        reference_depth_m: f64,
        least_depth_m: f64,
        step_gain: f64,
        ratio: Ladder,
    }
    skill SkillNumbers {
        novice_casting_mass: Ladder,
        novice_casting_wind: Ladder,
        light_in_wind: Ladder,
        casting_wind: Ladder,
        novice_mass: Ladder,
        novice_trebles: Ladder,
    }
    fish FishNumbers {
        mass_exponent: f64,
        scale_least: f64,
        scale_most: f64,
    }
    lift LiftNumbers {
        share: f64,
        peak: f64,
    }
    interval IntervalNumbers {
        step: f64,
        least_width_to_name: f64,
        mass_given: f64,
        mass_assumed: f64,
        window_given: f64,
        window_assumed: f64,
        rod_line_given: f64,
        rod_line_assumed: f64,
        action_given: f64,
        action_measured: f64,
        action_assumed: f64,
        power_given: f64,
        power_measured: f64,
        power_assumed: f64,
        test_given: f64,
        test_assumed: f64,
        diameter_given: f64,
        diameter_assumed: f64,
        drag_given: f64,
        drag_assumed: f64,
        wire_given: f64,
        wire_assumed: f64,
        punch_given: f64,
        punch_assumed: f64,
        pull_given: f64,
        pull_assumed: f64,
        air_given: f64,
        air_assumed: f64,
        wind_given: f64,
        cover_assumed: f64,
        cover_given: f64,
        fish_assumed: f64,
        fish_given: f64,
        unknown_fish_tissue: f64,
        unknown_fish_mouth: f64,
        unknown_fish_mass: f64,
        rod_force: f64,
        rod_force_measured: f64,
        seat_force: f64,
        action_slope: f64,
        wind_loss: f64,
        hold: f64,
        knot: f64,
    }
    lure LureNumbers {
        tail_g_per_mm3: f64,
        tail_share_of_head: f64,
        rigged_tolerance: f64,
    }
    setting SettingNumbers {
        snap_reserve: f64,
        leader_pike_m: f64,
        leader_open_m: f64,
        leader_cover_m: f64,
    }
    text TextNumbers {
        right: f64,
        fine: f64,
        fair: f64,
    }
    caution CautionNumbers {
        wind_strong_m_s: f64,
        wind_very_strong_m_s: f64,
        cold_water_c: f64,
        current_fast_m_s: f64,
        current_wading_m_s: f64,
        power_line_rod_m: f64,
        hooks_mass_g: f64,
        sticky_ratio: f64,
        braid_hand_kgf: f64,
        uncertain_width: f64,
    }
    fix FixNumbers {
        mass_min: f64,
        drag_min: f64,
        leader_min: f64,
        hook_min: f64,
        line_min: f64,
        sharpen_min: f64,
        mass_change_most: f64,
        least_gain: f64,
        sweet_from: f64,
        sweet_to: f64,
        nylon_share: f64,
    }
    rerig RerigNumbers {
        snap_min: f64,
        trace_min: f64,
        leader_min: f64,
        reel_min: f64,
        respool_min: f64,
    }
    envelope EnvelopeNumbers {
        mass_least_g: f64,
        mass_most_g: f64,
        wire_least_mm: f64,
        wire_most_mm: f64,
        guard_most_n: f64,
        wind_most_m_s: f64,
        fish_least_kg: f64,
        fish_most_kg: f64,
        current_most_m_s: f64,
        ratio_step: f64,
        ratio_tolerance: f64,
        linear_step: f64,
        linear_tolerance: f64,
    }
    specify SpecifyNumbers {
        power_least: f64,
        power_most: f64,
        power_step: f64,
    }
}

impl Parameters {
    /// The angler who casts.
    pub(crate) fn angler(&self) -> Angler {
        let p = &self.cast;
        Angler {
            tip_speed_m_s: p.tip_speed_m_s,
            reference_length_m: self.blank.reference_length_m,
            gain_per_m: p.gain_per_m,
            path_m: p.path_m,
            carried_ratio: p.carried_ratio,
            spring_share: p.spring_share,
            drag_mass_kg: p.held_mass_g * 1e-3,
        }
    }

    /// When lures tumble in flight; a long soft tail on a light head does so sooner, the more it is
    /// one (`loose_tail`, 0 to 1).
    pub(crate) fn tumbling(&self, loose_tail: f64) -> Tumbling {
        let p = &self.wind;
        let between = |firm: f64, loose: f64| firm + (loose - firm) * loose_tail;
        let even_bulk_cm2_per_g = between(p.even_bulk_cm2_per_g, p.soft_tail_bulk_cm2_per_g);
        let growth = between(p.tumble_growth, p.soft_tail_growth);
        Tumbling {
            even_bulk_cm2_per_g,
            even_load: p.even_load,
            load_exponent: p.load_exponent,
            growth,
        }
    }
}

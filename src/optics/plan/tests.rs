//! The plan against published values, and what it says of odd set-ups.

use super::*;
use crate::optics::angle::tests::ANGLES;

fn setup(focal: f64, open: f64, near: f64) -> Setup {
    Setup::new(
        Millimetres::new(focal).expect("in range"),
        FNumber::new(open).expect("in range"),
        Metres::new(near).expect("in range"),
    )
    .expect("36 × 24 mm is in range")
}

#[test]
fn field_of_view_at_the_targets() {
    let mut asked = setup(50.0, 1.8, 0.45);
    asked.target_distance = Metres::new(2.0).ok();
    let plan = ShootingPlan::for_setup(&asked);
    // 36 mm · (2000 − 50)/50 and 24 mm · the same.
    assert!((plan.field_width_m - 1.404).abs() < 1e-9);
    assert!((plan.field_height_m - 0.936).abs() < 1e-9);
    assert!((plan.f_number - 3.6).abs() < 1e-9);
}

/// The field at the targets is what the published angles take in, from the lens on.
#[test]
fn fields_are_those_of_the_published_angles() {
    for (focal, horizontal, vertical, diagonal) in ANGLES {
        let mut asked = setup(focal, 2.8, 0.5);
        asked.target_distance = Metres::new(4.0).ok();
        let plan = ShootingPlan::for_setup(&asked);
        let throw = 4.0 - focal / 1000.0;
        let (width, height) = (plan.field_width_m, plan.field_height_m);
        for (field, angle) in [
            (width, horizontal),
            (height, vertical),
            (width.hypot(height), diagonal),
        ] {
            let seen = (2.0 * (field / (2.0 * throw)).atan()).to_degrees();
            // The table has six decimals.
            assert!((seen - angle).abs() < 1e-6, "{focal} mm: {seen} {angle}");
        }
    }
}

/// Focal length, f-number, focus and target from the lens, blur, mm; two published forms agreeing (Jacobson, Photographic
/// Lenses Tutorial, part 4).
const BLURS: [(f64, f64, f64, f64, f64); 5] = [
    (50.0, 4.0, 450.0, 2000.0, 1.210_938),
    (50.0, 4.0, 1000.0, 2000.0, 0.328_947),
    (50.0, 4.0, f64::INFINITY, 2000.0, 0.312_500),
    (105.0, 4.0, 1000.0, 3000.0, 2.053_073),
    (24.0, 4.0, 250.0, 1000.0, 0.477_876),
];

/// Blur at both ends is the published one, in px of 36 mm on 1920 px, where the plan is told to be ready for the growth
/// that the published thin lens has.
#[test]
fn blurs_are_the_published_ones() {
    for (focal, n, focus, target, blur) in BLURS {
        let mut asked = setup(focal, n / 2.0, 0.5);
        asked.target_distance = Metres::new((target + focal) / 1000.0).ok();
        asked.f_number = FNumber::new(n).ok();
        if focus.is_finite() {
            asked.closest_focus = Metres::new((focus + focal) / 1000.0).expect("in range");
            asked.expected_shift_pct = 100.0 * focal / (focus - focal);
        }
        let plan = ShootingPlan::for_setup(&asked);
        let found = if focus.is_finite() {
            plan.blur_near_px
        } else {
            plan.blur_far_px
        };
        let published = blur * 1920.0 / 36.0;
        // The table has six decimals.
        assert!(
            (found - published).abs() < 1e-6 * 1920.0 / 36.0,
            "{focal} mm at {focus}: {found} {published}"
        );
    }
}

/// Focal length, object to sensor, magnification: m = [(u/f−2) − √((u/f−2)²−4)]/2 (Jacobson, Photographic Lenses Tutorial).
const MAGNIFICATIONS: [(f64, f64, f64); 11] = [
    (24.0, 250.0, 0.120_538),
    (24.0, 1000.0, 0.025_226),
    (35.0, 300.0, 0.155_871),
    (50.0, 450.0, 0.145_898),
    (50.0, 500.0, 0.127_017),
    (50.0, 1000.0, 0.055_728),
    (50.0, 2000.0, 0.026_334),
    (50.0, 5000.0, 0.010_205),
    (85.0, 800.0, 0.137_470),
    (105.0, 1000.0, 0.135_346),
    (105.0, 5000.0, 0.021_931),
];

/// What the moving pupil may add is f·m/D with the published magnifications.
#[test]
fn perspective_bounds_follow_the_published_magnifications() {
    for (focal, object, m) in MAGNIFICATIONS {
        let mut asked = setup(focal, 2.8, object / 1000.0);
        asked.target_distance = Metres::new(2.0).ok();
        let bound = ShootingPlan::for_setup(&asked).perspective_bound_pct;
        // Half a unit of the last digit of m.
        let slack = 0.6e-6 * 100.0 * focal / 2000.0;
        let published = 100.0 * focal * m / 2000.0;
        assert!(
            (bound - published).abs() < slack,
            "{focal} mm: {bound} {published}"
        );
    }
}

#[test]
fn targets_stay_in_the_frame_at_the_expected_breathing() {
    for (focal, open, near) in [
        (14.0, 2.8, 0.2),
        (24.0, 1.4, 0.25),
        (50.0, 1.2, 0.4),
        (135.0, 1.8, 0.7),
        (600.0, 4.0, 4.5),
        (100.0, 2.8, 0.3),
    ] {
        let plan = ShootingPlan::for_setup(&setup(focal, open, near));
        assert!(
            plan.leaves_frame_at_pct
                .is_some_and(|pct| pct > READY_FOR_PCT)
                || plan
                    .notes
                    .iter()
                    .any(|note| matches!(note, PlanNote::WideBlur { .. })),
            "{focal} mm: {plan:?}"
        );
        assert!(plan.f_number >= 2.0 * open - 1e-9 && (24..=100).contains(&plan.frames));
        assert!(
            plan.expected_u_pct > 0.0 && plan.expected_u_pct < 0.1,
            "{focal}: {}",
            plan.expected_u_pct
        );
    }
}

#[test]
fn notes_say_what_is_wrong() {
    let mut asked = setup(85.0, 1.4, 0.8);
    asked.f_number = FNumber::new(1.4).ok();
    asked.target_distance = Metres::new(0.7).ok();
    let plan = ShootingPlan::for_setup(&asked);
    assert!(plan.notes.contains(&PlanNote::NeverSharp));
    assert!(plan.notes.contains(&PlanNote::NotStoppedDown {
        two_stops_down: 2.8
    }));
    let good = ShootingPlan::for_setup(&setup(85.0, 1.8, 0.8));
    assert_eq!(good.notes, []);
}

/// A long lens is advised a hall rather than a blur as wide as the frame; whoever has no hall is told what to aim for.
#[test]
fn blur_is_alike_at_both_ends_where_the_distance_is_advised() {
    for (focal, open, near) in [
        (600.0, 4.0, 4.5),
        (135.0, 1.8, 0.9),
        (85.0, 1.8, 0.85),
        (400.0, 2.8, 2.5),
    ] {
        let plan = ShootingPlan::for_setup(&setup(focal, open, near));
        // Up to the pupil's place, the lens's growth and the 20 focal lengths that count first.
        let ratio = plan.blur_near_px / plan.blur_far_px;
        assert!(
            (0.5..2.0).contains(&ratio) || plan.target_distance_m > 2.1 * near,
            "{focal} mm: {ratio}"
        );
    }
    let mut asked = setup(600.0, 4.0, 4.5);
    asked.target_distance = Metres::new(4.8).ok();
    let notes = ShootingPlan::for_setup(&asked).notes;
    let said = notes.iter().map(ToString::to_string).collect::<String>();
    assert!(said.contains("targets at about 9.0 m"), "{said}");
}

/// No set-up that the quantities allow may end in a number that is none.
#[test]
fn absurd_setups_stay_finite() {
    for (focal, open, near) in [(1e-3, 0.3, 1e5), (1e5, 256.0, 1e-3), (50.0, 256.0, 1e-3)] {
        let plan = ShootingPlan::for_setup(&setup(focal, open, near));
        for value in [
            plan.field_width_m,
            plan.target_spacing_m,
            plan.tape_mm,
            plan.blur_near_px,
            plan.blur_far_px,
            plan.expected_u_pct,
            plan.perspective_bound_pct,
            plan.leaves_frame_at_pct.unwrap_or(0.0),
            plan.faintest_share,
        ] {
            assert!(value.is_finite(), "{focal} {open} {near}: {plan:?}");
        }
    }
}

/// A zoom's closest focus at its wide end, asked at its long one: the plan goes from what is possible, and says so.
#[test]
fn a_closest_focus_of_another_setting_is_told() {
    let plan = ShootingPlan::for_setup(&setup(200.0, 2.8, 0.19));
    let planned = |note: &PlanNote| matches!(note, PlanNote::CloserThanTheLens { planned_m } if (planned_m - 0.24).abs() < 1e-9);
    assert!(plan.notes.iter().any(planned), "{:?}", plan.notes);
    assert!(
        !ShootingPlan::for_setup(&setup(85.0, 1.8, 0.8))
            .notes
            .iter()
            .any(|note| matches!(note, PlanNote::CloserThanTheLens { .. } | PlanNote::NoRoom))
    );
}

/// A blur wider than the frame leaves no shift to plan for.
#[test]
fn a_blur_wider_than_the_frame_has_no_room() {
    let plan = ShootingPlan::for_setup(&setup(600.0, 2.8, 0.72));
    assert!(plan.blur_near_px > 1920.0, "{plan:?}");
    assert_eq!(plan.leaves_frame_at_pct, None);
    assert!(plan.notes.contains(&PlanNote::NoRoom));
}

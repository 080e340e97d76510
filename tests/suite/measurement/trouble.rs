//! What must not win, what must be named, and what must not panic.

use breathmark::measure::{Flag, Plane, Samples, Target, Unmeasurable, candidates, target_near};
use proptest::prelude::*;

use super::accuracy::near;
use super::render::{Patch, Pupil, Scene};

const TRUTH: [(f64, f64); 2] = [(150.4, 300.2), (810.7, 306.9)];

fn two(scene: Scene, side: f64, light: f64, blur: f64) -> Scene {
    let tape = [Patch::square(side, light)];
    let pupil = Pupil::Disc(blur);
    scene
        .add(TRUTH[0], &tape, &pupil, 0.7)
        .add(TRUTH[1], &tape, &pupil, 0.7)
}

/// Both targets among the candidates; the worse rank of the two and the targets themselves, left first.
fn found(plane: &Plane) -> (usize, [Target; 2]) {
    let all = candidates(plane);
    let at = |(x, y): (f64, f64)| {
        all.iter()
            .position(|c| (c.x_px.value - x).hypot(c.y_px.value - y) < 4.0)
            .unwrap_or_else(|| panic!("no candidate near {x}, {y}: {all:#?}"))
    };
    let (left, right) = (at(TRUTH[0]), at(TRUTH[1]));
    (left.max(right), [all[left].clone(), all[right].clone()])
}

fn within_five_sigma(targets: &[Target; 2], most: f64) {
    for (target, truth) in targets.iter().zip(TRUTH) {
        near(target, truth, (5.0 * target.x_px.std_error).min(most));
    }
}

/// Glints, a strip of lettering and hot pixels, all brighter than the blurred targets.
fn cluttered(mut scene: Scene) -> Scene {
    for (i, x) in [120.0, 333.0, 480.5, 700.2, 901.0].into_iter().enumerate() {
        let glint = [Patch::square(2.0 + 2.0 * i as f64, 0.9)];
        scene = scene.add(
            (x, if i % 2 == 0 { 40.0 } else { 590.0 }),
            &glint,
            &Pupil::Disc(3.0),
            0.7,
        );
    }
    for letter in (0..16).filter(|letter| letter % 5 != 4) {
        let stem = [Patch {
            x: 0.0,
            y: 0.0,
            width: 5.0,
            height: 13.0,
            light: 0.6,
        }];
        scene = scene.add(
            (380.0 + 13.0 * f64::from(letter), 560.0),
            &stem,
            &Pupil::Disc(3.0),
            0.7,
        );
    }
    for i in 0..120 {
        scene = scene.spot(i * 7919 % 960, i * 104_729 % 640, 0.9);
    }
    scene
}

#[test]
fn clutter_and_hot_pixels_do_not_win() {
    for blur in [2.0, 40.0, 160.0] {
        let scene = cluttered(two(
            Scene::new(960, 640, 0.004, (0.0, 0.0)),
            36.0,
            0.8,
            blur,
        ));
        let (rank, targets) = found(&scene.noisy(0.0005, 2e-5, 1).jpeg(85));
        assert!(rank < 2, "blur {blur}: rank {rank}");
        // A hot pixel of 0.9 at a lever of 60 px would move the centre by 0.05 px for each left in.
        within_five_sigma(&targets, 0.06);
    }
}

#[test]
fn a_sloping_background_does_not_pull() {
    for blur in [2.0, 40.0, 160.0] {
        let scene = two(Scene::new(960, 640, 0.03, (4e-5, 2e-5)), 36.0, 0.8, blur);
        let (rank, targets) = found(&scene.noisy(0.0005, 2e-5, 2).jpeg(85));
        assert!(rank < 2, "blur {blur}: rank {rank}");
        within_five_sigma(&targets, 0.12);
    }
}

#[test]
fn dim_noisy_targets_are_found_and_known_to_be_uncertain() {
    for blur in [2.0, 40.0, 100.0] {
        let scene = two(Scene::new(960, 640, 0.004, (0.0, 0.0)), 36.0, 0.15, blur);
        let (rank, targets) = found(&scene.noisy(0.002, 2e-4, 3).jpeg(80));
        assert!(rank < 2, "blur {blur}: rank {rank}");
        within_five_sigma(&targets, 0.4);
    }
}

#[test]
fn burnt_out_targets_keep_their_centre_and_are_named() {
    for blur in [2.0, 20.0, 60.0] {
        let scene = two(Scene::new(960, 640, 0.004, (0.0, 0.0)), 36.0, 6.0, blur);
        let (rank, targets) = found(&scene.noisy(0.0005, 2e-5, 4).jpeg(90));
        assert!(rank < 2, "blur {blur}: rank {rank}");
        for target in &targets {
            assert!(
                target.flags.contains(&Flag::Saturated),
                "blur {blur}: {:?}",
                target.flags
            );
        }
        // A square clipped three stops down shows its edges to a part of a pixel only.
        within_five_sigma(&targets, 0.15);
    }
}

#[test]
fn a_reflection_is_only_one_more_candidate() {
    let window = [Patch {
        x: 0.0,
        y: 0.0,
        width: 160.0,
        height: 90.0,
        light: 0.08,
    }];
    let scene = two(Scene::new(960, 640, 0.004, (0.0, 0.0)), 36.0, 0.8, 60.0).add(
        (480.0, 90.0),
        &window,
        &Pupil::Disc(40.0),
        0.7,
    );
    let (rank, targets) = found(&scene.noisy(0.0005, 2e-5, 5).jpeg(85));
    assert!(rank < 2, "rank {rank}");
    within_five_sigma(&targets, 0.06);
}

#[test]
fn a_target_over_the_edge_is_called_clipped_and_others_are_not() {
    let plane = Scene::new(400, 240, 0.002, (0.0, 0.0))
        .add(
            (22.0, 120.0),
            &[Patch::square(24.0, 0.8)],
            &Pupil::Disc(60.0),
            0.7,
        )
        .add(
            (330.0, 120.0),
            &[Patch::square(24.0, 0.8)],
            &Pupil::Disc(60.0),
            0.7,
        )
        .noisy(0.0005, 2e-5, 6)
        .jpeg(90);
    let all = candidates(&plane);
    assert_eq!(all.len(), 2, "{all:#?}");
    for target in all {
        let over = target.x_px.value < 200.0;
        assert_eq!(target.flags.contains(&Flag::Clipped), over, "{target:#?}");
    }
}

#[test]
fn a_glint_upon_a_target_is_taken_out_and_named() {
    let plane = Scene::new(300, 300, 0.002, (0.0, 0.0))
        .add(
            (150.3, 149.8),
            &[Patch::square(24.0, 0.8)],
            &Pupil::Disc(100.0),
            0.7,
        )
        .add(
            (175.0, 140.0),
            &[Patch::square(4.0, 0.8)],
            &Pupil::Disc(2.0),
            0.6,
        )
        .noisy(0.0003, 1e-5, 7)
        .eight_bit();
    let target = target_near(&plane, (150.0, 150.0), 650.0).expect("still a target");
    assert!(target.flags.contains(&Flag::Crowded), "{:?}", target.flags);
    // Left in, the glint would pull by 16/576 of 25 px: 0.7 px.
    near(&target, (150.3, 149.8), 0.05);
}

/// A coma-like blur, heavier on one side, leans; mirrored, it leans the other way by as much.
#[test]
fn lopsided_blurs_lean_and_mirrored_ones_lean_back() {
    let lean = |side: f64| {
        let plane = Scene::new(300, 300, 0.001, (0.0, 0.0))
            .add(
                (150.0, 150.0),
                &[Patch::square(24.0, 0.4)],
                &Pupil::Disc(100.0),
                0.7,
            )
            .add(
                (150.0 + side * 20.0, 150.0),
                &[Patch::square(24.0, 0.4)],
                &Pupil::Disc(60.0),
                0.7,
            )
            .noisy(0.0003, 1e-5, 8)
            .eight_bit();
        target_near(&plane, (150.0, 150.0), 500.0)
            .expect("a target")
            .skewness()
    };
    let (left, right) = (lean(-1.0), lean(1.0));
    assert!((left + right).abs() < 0.01, "{left} {right}");
    assert!(right < -0.05, "{left} {right}");
}

/// The card ends and the wall beside it is lit, ten times dimmer than the tape and as high as the picture: its middle is as
/// near to a target as its own light is wide, and it is another thing all the same.
#[test]
fn a_lit_wall_beside_the_card_is_no_target() {
    for blur in [2.0, 40.0] {
        let mut scene = Scene::new(900, 640, 0.004, (0.0, 0.0));
        let truth = [(200.2, 320.4), (700.6, 321.1)];
        for at in truth {
            scene = scene.add(at, &[Patch::square(30.0, 0.6)], &Pupil::Disc(blur), 0.7);
        }
        for x in [20.0, 880.0] {
            let wall = Patch {
                width: 70.0,
                height: 900.0,
                ..Patch::square(0.0, 0.06)
            };
            scene = scene.add((x, 320.0), &[wall], &Pupil::Disc(blur), 0.7);
        }
        let found = candidates(&scene.noisy(0.0005, 1e-4, 3).jpeg(90));
        for (x, y) in truth {
            let is_here = |t: &Target| (t.x_px.value - x).hypot(t.y_px.value - y) < 0.1;
            assert!(found.iter().any(is_here), "blur {blur}, {x}: {found:?}");
        }
    }
}

/// A cat's eye is a lens shape: it leans nowhere, but is narrower along the cut, the more the wider the blur.
#[test]
fn a_cats_eye_is_narrow_along_its_cut() {
    let elongation = |blur: f64, cut: f64| {
        let plane = Scene::new(300, 300, 0.001, (0.0, 0.0))
            .add(
                (150.0, 150.0),
                &[Patch::square(24.0, 0.8)],
                &Pupil::CatsEye(blur, cut * blur),
                0.7,
            )
            .noisy(0.0003, 1e-5, 8)
            .eight_bit();
        target_near(&plane, (150.0, 150.0), 300.0)
            .expect("a target")
            .elongation
    };
    assert!(elongation(100.0, 0.0).abs() < 0.005);
    let (little, much) = (elongation(24.0, 0.25), elongation(100.0, 0.25));
    assert!(much < -0.1 && much < 2.0 * little, "{little} {much}");
}

#[test]
fn nothing_there_is_said_plainly() {
    let black = Plane::new(320, 200, Samples::Eight(vec![3; 64_000])).expect("right count");
    assert_eq!(candidates(&black), []);
    assert_eq!(
        target_near(&black, (100.0, 100.0), 50.0),
        Err(Unmeasurable::NoTargets)
    );
    let noise = Scene::new(320, 200, 0.004, (0.0, 0.0))
        .noisy(0.002, 1e-4, 9)
        .eight_bit();
    assert_eq!(candidates(&noise), []);
    assert!(target_near(&noise, (100.0, 100.0), 50.0).is_err());
}

#[test]
fn following_does_not_jump_to_a_neighbour() {
    let plane = Scene::new(500, 200, 0.002, (0.0, 0.0))
        .add(
            (300.0, 100.0),
            &[Patch::square(20.0, 0.8)],
            &Pupil::Disc(10.0),
            0.7,
        )
        .eight_bit();
    assert!(target_near(&plane, (120.0, 100.0), 40.0).is_err());
    assert!(target_near(&plane, (310.0, 92.0), 40.0).is_ok());
    for absurd in [f64::NAN, f64::INFINITY, -1e300, 1e300] {
        assert!(target_near(&plane, (absurd, 100.0), 40.0).is_err());
        assert!(target_near(&plane, (100.0, absurd), 40.0).is_err());
        let _ = target_near(&plane, (300.0, 100.0), absurd);
    }
}

fn any_plane() -> impl Strategy<Value = Plane> {
    let size = prop_oneof![
        (1_u32..4, 1_u32..200),
        (1_u32..200, 1_u32..4),
        (1_u32..70, 1_u32..70)
    ];
    (size, 0..6_u8, any::<u64>(), any::<bool>()).prop_map(|((width, height), kind, seed, deep)| {
        let count = u64::from(width) * u64::from(height);
        let code = |i: u64| -> u16 {
            let random = (i ^ seed)
                .wrapping_mul(0x9E37_79B9_7F4A_7C15)
                .rotate_left(31)
                .wrapping_mul(0xBF58_476D_1CE4_E5B9);
            match kind {
                0 => 0,
                1 => u16::MAX,
                2 => (random >> 40) as u16,
                3 => {
                    if random.is_multiple_of(97) {
                        u16::MAX
                    } else {
                        0
                    }
                }
                4 => {
                    if i % u64::from(width) > u64::from(width) / 2 {
                        60_000
                    } else {
                        2_000
                    }
                }
                _ => (i * 65_535 / count) as u16,
            }
        };
        let samples = if deep {
            Samples::Sixteen((0..count).map(code).collect())
        } else {
            Samples::Eight((0..count).map(|i| (code(i) >> 8) as u8).collect())
        };
        Plane::new(width, height, samples).expect("right count")
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any picture at all gives targets of finite numbers or a reason, never a panic.
    #[test]
    fn any_picture_is_measured_or_refused(plane in any_plane(), x in -10.0..210.0_f64, y in -10.0..210.0_f64, variance in 0.0..1e5_f64) {
        let mut all = candidates(&plane);
        prop_assert!(all.len() <= 12);
        all.extend(target_near(&plane, (x, y), variance).ok());
        for target in all {
            let numbers = [
                target.x_px.value, target.y_px.value, target.variance_px2.value, target.x_px.std_error,
                target.y_px.std_error, target.variance_px2.std_error, target.flux, target.peak, target.lean.third_px3.value,
                target.lean.third_px3.std_error, target.lean.fourth_px4, target.lean.tilt_px2, target.elongation,
                target.window_change_px, target.tone_change_px,
            ];
            prop_assert!(numbers.iter().all(|n| n.is_finite()), "{target:?}");
            prop_assert!(target.window.right < plane.width() && target.window.bottom < plane.height());
        }
    }
}

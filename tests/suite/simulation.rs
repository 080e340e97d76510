//! Tests of simulation: the renderer's truth against independent facts, its files against other readers.

use breathmark::measure::{Plane, Samples};
use breathmark::simulate::{Breathing, Bump, ClockJump, Clutter, SweepScript};

fn codes(plane: &Plane) -> &[u8] {
    match plane.samples() {
        Samples::Eight(codes) => codes,
        Samples::Sixteen(_) => panic!("frames are rendered with 8 bits"),
    }
}

/// A small sweep that renders fast.
fn small(frames: usize) -> SweepScript {
    let mut script = SweepScript::plain(85.0, 2.05, frames);
    script.scene = breathmark::simulate::Scene::two_targets(480, 320);
    script
}

#[test]
fn same_script_gives_the_same_bytes_in_any_order() {
    let script = small(4);
    let forwards: Vec<_> = (0..4).map(|i| script.jpeg(i).expect("renders")).collect();
    let backwards: Vec<_> = (0..4)
        .rev()
        .map(|i| script.jpeg(i).expect("renders"))
        .collect();
    assert!(forwards.iter().eq(backwards.iter().rev()));
    let other = SweepScript { seed: 2, ..script };
    assert_ne!(forwards[0], other.jpeg(0).expect("renders"));
}

/// Light above the background, weighted by place, lies where the truth says and is as wide: no noise, no rounding, no
/// JPEG. Torn tape, too, has its centre of light at the truth.
#[test]
fn light_lies_where_the_truth_says() {
    let mut script = small(5);
    script.scene.targets[0].ragged_px = 1.5;
    script.picture.roll_deg = 0.7;
    script.picture.bump = Some(Bump {
        frame: 3,
        x_px: 2.3,
        y_px: -1.1,
        roll_deg: 0.2,
    });
    let level = script.scene.background.level;
    for (frame, truth) in script.truth().iter().enumerate() {
        let light = script.light(frame);
        for (half, target) in truth.targets.iter().enumerate() {
            let (mut sum, mut x, mut y, mut xx) = (0.0, 0.0, 0.0, 0.0);
            for (i, value) in light.iter().enumerate() {
                let (column, row) = ((i % 480) as f64, (i / 480) as f64);
                if (column > 240.0) == (half == 1) {
                    let above = f64::from(*value) - level;
                    sum += above;
                    x += above * column;
                    y += above * row;
                    xx += above * column * column;
                }
            }
            // f32 light over 77 000 pixels: 1e-3 px.
            assert!(
                (x / sum - target.x_px).abs() < 1e-3,
                "{} {}",
                x / sum,
                target.x_px
            );
            assert!(
                (y / sum - target.y_px).abs() < 1e-3,
                "{} {}",
                y / sum,
                target.y_px
            );
            if half == 1 {
                // Variances add: width²/12 of the patch, 1/12 of the pixel, softness², c²/16 of a round pupil.
                let width = script.scene.targets[1].width_px * (1.0 + truth.shift_pct / 100.0);
                let rest = width * width / 12.0 + 1.0 / 12.0 + script.lens.softness_px.powi(2);
                let blur = 4.0 * (xx / sum - (x / sum).powi(2) - rest).max(0.0).sqrt();
                // 1e-4 of the disc's second moment, and f32 light: 0.05 px of 10 to 14 px.
                assert!(
                    (blur - target.blur_px).abs() < 0.05,
                    "{blur} {}",
                    target.blur_px
                );
            }
        }
    }
}

#[test]
fn shift_is_the_lens_curve_whatever_the_tripod_does() {
    let mut script = small(9);
    script.lens.breathing = Breathing::turning(-0.6, 0.9, script.closest_focus_m);
    script.picture.bump = Some(Bump {
        frame: 4,
        x_px: 5.0,
        y_px: 3.0,
        roll_deg: 1.0,
    });
    script.picture.sway_px = 2.0;
    let truth = script.truth();
    for frame in &truth {
        let told = script
            .lens
            .breathing
            .shift_pct(frame.focus_dioptres, 85.0, 2.0);
        assert!(
            (frame.shift_pct - told).abs() < 1e-9,
            "{} {told}",
            frame.shift_pct
        );
    }
    assert!((truth[0].shift_pct - 0.9).abs() < 1e-9);
    assert!(truth[8].focus_distance_m.is_none() && truth[8].shift_pct.abs() < 1e-12);
}

/// Blur of a thin lens at the sensor, published forms agreeing (Jacobson, Photographic Lenses Tutorial, part 4):
/// c = A·|u−D|/D·m with distances from the lens, 50 mm f/4, target at 2000 mm.
#[test]
fn blur_matches_the_published_thin_lens() {
    let mut lens = breathmark::simulate::LensModel::still(50.0);
    lens.f_number = 4.0;
    lens.pupil_distance_mm = 0.0;
    for (focus_mm, blur_mm) in [(450.0, 1.210_938), (1000.0, 0.328_947)] {
        // The lens is moved out: it frames like v = f·(1+m), m = f/(u−f).
        let shift_pct = 100.0 * 50.0 / (focus_mm - 50.0);
        let got = lens.signed_blur_px(1000.0 / focus_mm, shift_pct, 2.0, 1.0);
        assert!((got.abs() - blur_mm).abs() < 1e-6, "{got}");
        assert!(
            got < 0.0,
            "focus nearer than the target turns the blur upside down"
        );
    }
    assert!((lens.signed_blur_px(0.0, 0.0, 2.0, 1.0) - 0.3125).abs() < 1e-9);
}

#[test]
fn orientation_turns_the_file_and_not_the_truth() {
    let mut script = small(3);
    script.picture.orientation = 6;
    let jpeg = script.jpeg(0).expect("renders");
    let stored = image::load_from_memory(&jpeg).expect("a JPEG").to_luma8();
    assert_eq!(stored.dimensions(), (320, 480));
    let plane = script.plane(0);
    // Orientation 6 is turned 90° clockwise to be upright: upright (x, y) was stored at (y, width − 1 − x).
    let target = &script.truth()[0].targets[0];
    let (x, y) = (target.x_px.round() as u32, target.y_px.round() as u32);
    let upright = codes(&plane)[(y * 480 + x) as usize];
    let in_file = stored.get_pixel(y, 479 - x).0[0];
    assert!(upright.abs_diff(in_file) < 8, "{upright} {in_file}");
    assert!(upright > 60);
}

#[test]
fn files_are_written_with_their_truth() {
    let folder = tempfile::tempdir().expect("a folder");
    let script = small(6);
    let heard = std::sync::atomic::AtomicUsize::new(0);
    script
        .write_to(folder.path(), &|_| {
            heard.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        })
        .expect("written");
    assert_eq!(heard.into_inner(), 6);
    let truth = std::fs::read(folder.path().join("truth.json")).expect("truth");
    let truth: serde_json::Value = serde_json::from_slice(&truth).expect("JSON");
    assert_eq!(truth["frames"][0]["file"], "SWP_0001.JPG");
    assert!((truth["worst_shift_pct"].as_f64().expect("a number") - 2.05).abs() < 1e-9);
    assert!(folder.path().join("SWP_0006.JPG").exists());
}

#[test]
fn a_picture_that_jpeg_cannot_hold_is_refused() {
    let mut script = small(2);
    script.scene.width_px = 70_000;
    script.scene.height_px = 1;
    assert!(script.jpeg(0).is_err());
    script.scene.width_px = 0;
    assert!(script.jpeg(0).is_err());
}

/// Every nuisance shows in the picture as it is named.
#[test]
fn nuisances_show_where_they_are_put() {
    let clean = small(3);
    let mut script = clean.clone();
    script.scene.background.clutter = vec![
        Clutter::HotPixel {
            x_px: 100,
            y_px: 20,
            level: 0.5,
        },
        Clutter::Glint {
            x_px: 240.0,
            y_px: 40.0,
            diameter_px: 4.0,
            level: 2.0,
        },
        Clutter::Label {
            x_px: 200.0,
            y_px: 280.0,
            width_px: 30.0,
            height_px: 10.0,
            level: 0.3,
        },
        Clutter::Reflection {
            x_px: 300.0,
            y_px: 200.0,
            width_px: 60.0,
            height_px: 40.0,
            level: 0.05,
        },
    ];
    script.scene.background.slope_x = 0.004;
    let (before, after) = (clean.light(1), script.light(1));
    let more = |x: usize, y: usize| f64::from(after[y * 480 + x] - before[y * 480 + x]);
    let slope = |x: f64| 0.004 * ((x + 0.5) / 480.0 - 0.5);
    assert!((more(100, 20) - 0.5 - slope(100.0)).abs() < 1e-4);
    assert!(more(240, 40) > 0.1, "glint {}", more(240, 40));
    assert!(
        (more(200, 280) - 0.3).abs() < 0.05,
        "label {}",
        more(200, 280)
    );
    assert!((more(300, 200) - 0.05 - slope(300.0)).abs() < 1e-4);
    assert!((more(470, 10) - slope(470.0)).abs() < 1e-5);
    script.scene.exposure = 4.0;
    let codes_now = script.plane(1);
    let target = &script.truth()[1].targets[1];
    let burnt =
        codes(&codes_now)[target.y_px.round() as usize * 480 + target.x_px.round() as usize];
    assert_eq!(burnt, 255, "four times the light burns the target out");
}

#[test]
fn names_numbers_and_clocks_are_as_told() {
    let mut script = small(5);
    script.capture.name = "QL_###.jpg".to_owned();
    script.capture.first_number = 9998;
    assert_eq!(script.file_name(0), "QL_9998.jpg");
    assert_eq!(
        script.file_name(2),
        "QL_001.jpg",
        "numbers run on from 9999"
    );
    script.capture.shuffled_names = true;
    let names = |script: &SweepScript| (0..5).map(|i| script.file_name(i)).collect::<Vec<_>>();
    let shuffled = names(&script);
    let mut sorted = shuffled.clone();
    sorted.sort();
    script.capture.shuffled_names = false;
    let mut plain = names(&script);
    assert_ne!(shuffled, plain);
    plain.sort();
    assert_eq!(sorted, plain, "the same names in another order");
    script.capture.clock_jump = Some(ClockJump {
        frame: 3,
        seconds: -3600.0,
    });
    assert_eq!(
        script.captured_at(2),
        time::macros::datetime!(2026-04-03 10:00:01.6)
    );
    assert_eq!(
        script.captured_at(3),
        time::macros::datetime!(2026-04-03 09:00:02.4)
    );
}

//! Tests of simulation: the renderer's truth against independent facts, its files against other readers.

use breathmark::measure::{Plane, Samples};
use breathmark::simulate::{Breathing, Bump, SweepScript};

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

/// Light above the background, weighted by place, lies where the truth says: no noise, no rounding, no JPEG.
#[test]
fn light_lies_where_the_truth_says() {
    let mut script = small(5);
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
            let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
            for (i, value) in light.iter().enumerate() {
                let (column, row) = ((i % 480) as f64, (i / 480) as f64);
                if (column > 240.0) == (half == 1) {
                    let above = f64::from(*value) - level;
                    sum += above;
                    x += above * column;
                    y += above * row;
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

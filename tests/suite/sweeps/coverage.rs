//! Whether the stated uncertainty holds the truth as often as it says; `cargo bench --bench coverage` asks it of many more sweeps.

use breathmark::sweep::SweepSettings;

use super::rig::{Files, errors, small};

/// Small sweeps of mixed conditions: a 95 % interval should hold the truth in 95 of 100 frames. Frames of one sweep share
/// their reference, so that 20 sweeps count for some 60 independent frames: a binomial spread of 3 %, two of it either side
/// makes 89 to 100 %; too wide intervals show in the mean square of the normalised errors, 1 if they are right.
#[test]
fn intervals_hold_the_truth() {
    let (mut held, mut all, mut square) = (0, 0, 0.0);
    for seed in 0..20_u64 {
        let level = seed as f64 / 19.0;
        let mut script = small(60.0 + 50.0 * level, -3.0 + 6.0 * level);
        script.scene = breathmark::simulate::Scene::two_targets(384, 256);
        script.seed = seed + 1;
        script.lens.f_number = 2.8 + 4.0 * level;
        script.picture.jpeg_quality = [80, 88, 92, 95][seed as usize % 4];
        script.picture.noise.read = [0.0002, 0.001, 0.003][seed as usize % 3];
        script.scene.exposure = [1.0, 0.5][seed as usize % 2];
        let measured = Files::of(&script).measure(&SweepSettings::default());
        for (frame, error) in measured.frames.iter().zip(errors(&script, &measured)) {
            let u = frame.shift_pct.expect("measured").std_error;
            if frame.travel < 1.0 {
                all += 1;
                held += i32::from(error.abs() < 1.96 * u);
                square += (error / u).powi(2);
            }
        }
    }
    let share = f64::from(held) / f64::from(all);
    let ratio = (square / f64::from(all)).sqrt();
    assert!(share > 0.89, "{share} {ratio}");
    assert!((0.75..1.3).contains(&ratio), "{share} {ratio}");
}

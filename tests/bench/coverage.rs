//! Accuracy and coverage over many simulated sweeps at full size: `cargo bench --bench coverage -- [sweeps] [name…]`.
//!
//! First each scenario of the accuracy table, with the root mean square error of shift and dioptres; then sweeps of mixed
//! conditions, with how often 68 %, 95 % and 99 % intervals hold the truth.

#[path = "../suite/sweeps/rig.rs"]
#[allow(dead_code)]
mod rig;

use breathmark::simulate::{
    Breathing, Bump, Clutter, Noise, Patch, Scene, Subsampling, SweepScript, ToneCurve,
};
use breathmark::sweep::{DEFAULT_TOLERANCE_PCT, SweepMeasurement, SweepSettings};
use breathmark::units::{FocusDistance, Metres};
use rayon::prelude::*;
use rig::{Files, errors, rms, set_up};

type Change = fn(&mut SweepScript);

/// Name, whether closest focus and target distance are given, what differs from a plain 85 mm sweep of 36 frames.
const SCENARIOS: &[(&str, bool, Change)] = &[
    ("plain", false, |_| {}),
    ("wide open, blur 240 px", false, |s| s.lens.f_number = 1.3),
    ("dim, noisy, quality 80", false, |s| {
        s.scene.exposure = 0.08;
        s.picture.noise = Noise {
            read: 0.001,
            shot: 0.006,
        };
        s.picture.jpeg_quality = 80;
    }),
    ("slope", false, |s| {
        s.scene.background.level = 0.02;
        s.scene.background.slope_x = 0.03;
    }),
    ("slope, blur 300 px, quality 85", false, |s| {
        s.scene.background.level = 0.02;
        s.scene.background.slope_x = 0.03;
        s.scene.background.slope_y = -0.02;
        s.lens.f_number = 1.05;
        s.picture.jpeg_quality = 85;
    }),
    ("burnt out", false, |s| s.scene.exposure = 5.0),
    ("clutter", false, |s| {
        s.scene.background.clutter = vec![
            Clutter::Glint {
                x_px: 400.0,
                y_px: 300.0,
                diameter_px: 8.0,
                level: 3.0,
            },
            Clutter::Label {
                x_px: 960.0,
                y_px: 1100.0,
                width_px: 80.0,
                height_px: 30.0,
                level: 0.6,
            },
            Clutter::HotPixel {
                x_px: 700,
                y_px: 200,
                level: 1.0,
            },
            Clutter::HotPixel {
                x_px: 250,
                y_px: 640,
                level: 0.8,
            },
            Clutter::Reflection {
                x_px: 1300.0,
                y_px: 300.0,
                width_px: 300.0,
                height_px: 200.0,
                level: 0.05,
            },
        ];
    }),
    ("bumped", false, |s| {
        s.picture.bump = Some(Bump {
            frame: 15,
            x_px: 9.0,
            y_px: -5.0,
            roll_deg: 0.2,
        });
    }),
    ("shuffled", false, |s| {
        s.capture.shuffled_names = true;
        s.capture.write_metadata = false;
    }),
    ("six blades", false, |s| s.lens.pupil.blades = Some(6)),
    ("five blades, wide open", false, |s| {
        s.lens.pupil.blades = Some(5);
        s.lens.f_number = 1.8;
    }),
    ("film-like tone", false, |s| {
        s.picture.tone = ToneCurve::Contrast(0.2);
    }),
    ("cut blur", false, |s| {
        s.lens.pupil.vignetting = 0.5;
        s.lens.pupil.barrel = 1.2;
    }),
    ("cut blur, rim as the pupil", false, |s| {
        s.lens.pupil.vignetting = 0.5;
        s.lens.pupil.barrel = 1.0;
    }),
    ("four targets", false, |s| {
        s.scene.targets.push(Patch::new(960.0, 300.0, 50.0, 50.0));
        s.scene.targets.push(Patch::new(960.5, 1000.0, 50.0, 50.0));
    }),
    ("wider, then tighter", false, |s| {
        s.lens.breathing = Breathing::turning(-2.6, 1.0, 0.85);
    }),
    ("thin lens", false, |s| {
        s.lens.breathing = Breathing::ThinLens
    }),
    ("distances from blur", true, |s| {
        s.capture.write_distances = false;
    }),
    ("distances from blur, 50 mm", true, |s| {
        *s = SweepScript {
            scene: s.scene.clone(),
            ..SweepScript::plain(50.0, 2.6, s.frames)
        };
        s.capture.write_distances = false;
    }),
    ("distances from blur, 105 mm", true, |s| {
        *s = SweepScript {
            scene: s.scene.clone(),
            ..SweepScript::plain(105.0, 2.6, s.frames)
        };
        s.capture.write_distances = false;
    }),
    ("ends at 3 m", true, |s| {
        s.capture.write_distances = false;
        s.last = FocusDistance::At(Metres::new(3.0).expect("in range"));
    }),
    ("24 megapixel", false, |s| {
        s.scene = Scene::two_targets(6000, 4000);
        s.frames = 12;
    }),
];

fn main() {
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"))
        .collect();
    let sweeps = wanted.iter().find_map(|w| w.parse().ok());
    for (name, given, change) in SCENARIOS {
        if wanted.is_empty() || wanted.iter().any(|w| name.contains(w.as_str())) {
            let mut script = SweepScript::plain(85.0, 2.6, 36);
            change(&mut script);
            report(name, &script, *given);
        }
    }
    if let Some(sweeps) = sweeps.or(wanted.is_empty().then_some(300)) {
        coverage(sweeps);
    }
}

fn report(name: &str, script: &SweepScript, given: bool) {
    let settings = if given {
        set_up(script)
    } else {
        SweepSettings::default()
    };
    let measured = Files::of(script).measure(&settings);
    let off = errors(script, &measured);
    let z = normalised(script, &measured);
    println!(
        "{name:26} {}/{} frames, shift rms {:.5} worst {:.5} points, rms of error/u {:.2}{}",
        measured.measured_count(),
        script.frames,
        rms(&off),
        off.iter().fold(0.0_f64, |most, e| most.max(e.abs())),
        rms(&z),
        distances(script, &measured),
    );
    if let Some(summary) = &measured.summary {
        let outcome = summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT);
        println!("{:26} worst {:?}, {outcome:?}", "", summary.worst_shift_pct);
    }
    for finding in &measured.findings {
        println!("{:26} {}: {}", "", finding.code.code(), finding.message);
    }
}

fn distances(script: &SweepScript, measured: &SweepMeasurement) -> String {
    let range = script.dioptres(0) - script.dioptres(script.frames - 1);
    let off: Vec<f64> = measured
        .frames
        .iter()
        .zip(script.truth())
        .filter_map(|(frame, truth)| Some(frame.focus_dioptres?.value - truth.focus_dioptres))
        .collect();
    if off.is_empty() {
        return String::new();
    }
    format!(
        ", dioptres ({}) rms {:.2} % of the range",
        measured.distance_source.code(),
        100.0 * rms(&off) / range
    )
}

/// Errors over their stated uncertainties, of all frames but the reference.
fn normalised(script: &SweepScript, measured: &SweepMeasurement) -> Vec<f64> {
    errors(script, measured)
        .into_iter()
        .zip(
            measured
                .frames
                .iter()
                .filter_map(|frame| frame.shift_pct.map(|s| (frame.travel, s))),
        )
        .filter(|(_, (travel, _))| *travel < 1.0)
        .map(|(error, (_, shift))| error / shift.std_error)
        .collect()
}

/// Sweep number `k` of mixed conditions: width, blur, exposure, noise, slope of background, tone curve, JPEG quality and
/// sampling, blades and shift, each drawn by a simple even sequence so that any number of sweeps covers the whole range.
fn mixed(k: usize) -> SweepScript {
    // Fractions of k times irrational numbers fill [0, 1) evenly (additive recurrence; from memory).
    let part = |factor: f64| (k as f64 * factor).fract();
    let mut script = SweepScript::plain(
        50.0 + 60.0 * part(0.754_877),
        -4.0 + 8.0 * part(0.569_840),
        14,
    );
    let width = [640, 960, 1440, 1920][k % 4];
    script.scene = Scene::two_targets(width, width * 2 / 3);
    script.seed = k as u64 + 1;
    // Even in blur, not in f-numbers.
    script.lens.f_number = 1.2 / (0.18 + 0.82 * part(0.819_172));
    script.lens.pupil.blades = [None, Some(7), Some(9)][k % 3];
    script.picture.jpeg_quality = 60 + (36.0 * part(0.671_043)) as u8;
    script.picture.subsampling = [Subsampling::S420, Subsampling::S422, Subsampling::S444][k % 3];
    script.picture.noise.read = 0.0002 + 0.003 * part(0.549_700).powi(2);
    script.picture.tone = match k % 5 {
        0 => ToneCurve::Gamma(2.2),
        1 => ToneCurve::Contrast(0.2 * part(0.236_068)),
        _ => ToneCurve::Srgb,
    };
    script.scene.exposure = 0.3 + 0.9 * part(0.450_359);
    script.scene.background.slope_x = 0.01 * part(0.368_910);
    script
}

fn coverage(sweeps: usize) {
    let judged: Vec<_> = (0..sweeps)
        .into_par_iter()
        .map(|k| {
            let script = mixed(k);
            let measured = Files::of(&script).measure(&SweepSettings::default());
            let worst = measured.summary.as_ref().and_then(|summary| {
                let truth = &script.truth()[summary.worst];
                let shift = summary.worst_shift_pct;
                (summary.worst != summary.reference)
                    .then(|| (shift.value - truth.shift_to_last_pct) / shift.std_error)
            });
            (normalised(&script, &measured), worst)
        })
        .collect();
    let frames: Vec<f64> = judged
        .iter()
        .flat_map(|(frames, _)| frames.clone())
        .collect();
    let worst: Vec<f64> = judged.iter().filter_map(|(_, worst)| *worst).collect();
    for (what, z) in [("frames", frames), ("worst shifts", worst)] {
        let within = |k: f64| {
            100.0 * z.iter().filter(|z| z.abs() < k).count() as f64 / z.len().max(1) as f64
        };
        println!(
            "{sweeps} mixed sweeps, {} {what}: 68 % intervals hold {:.1} %, 95 % {:.1} %, 99 % {:.1} %; rms of error/u {:.2}",
            z.len(),
            within(1.0),
            within(1.96),
            within(2.576),
            rms(&z)
        );
    }
}

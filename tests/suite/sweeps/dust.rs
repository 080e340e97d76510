//! Dust on the sensor and reflected copies of the targets: what they do to the shift is taken out or stated, and named.

use breathmark::simulate::{Dust, Ghost, Pupil, Scene, SweepScript};
use breathmark::sweep::{Code, Part, SweepMeasurement, SweepSettings};

use super::rig::{Files, codes, errors, line, message, worst_pull};

/// A sweep at 1000 px whose blur grows to 110 px, as wide open: wide enough that dust has room in it.
fn wide() -> SweepScript {
    let mut script = SweepScript {
        scene: Scene::two_targets(1000, 667),
        ..SweepScript::plain(85.0, 2.0, 11)
    };
    script.lens.f_number = 1.6;
    script.scene.background.level = 0.005;
    script
}

/// Dust so far right of and below a target's place, of a size, px, and depth.
fn grain(script: &SweepScript, target: usize, off: (f64, f64), size_px: f64, depth: f64) -> Dust {
    let patch = &script.scene.targets[target];
    Dust {
        x_px: patch.x_px + off.0,
        y_px: patch.y_px + off.1,
        size_px,
        depth,
    }
}

fn measured(script: &SweepScript) -> SweepMeasurement {
    Files::of(script).measure(&SweepSettings::default())
}

fn largest(errors: &[f64]) -> f64 {
    errors.iter().copied().map(f64::abs).fold(0.0, f64::max)
}

/// Grains of 2 to 5 px on targets of 26 px, a tenth to a third deep: each moves a shift by up to 0.03 points. Three standard
/// uncertainties hold what is left, and the finding says where they are.
#[test]
fn dust_is_taken_out_and_named() {
    for (k, (off, size, depth)) in [
        ((-24.0, 8.0), 5.0, 0.2),
        ((20.0, -18.0), 4.0, 0.3),
        ((-14.0, -20.0), 5.0, 0.1),
    ]
    .into_iter()
    .enumerate()
    {
        let mut script = wide();
        script.seed = 7 + k as u64;
        let dust = grain(&script, k % 2, off, size, depth);
        script.picture.dust = vec![dust];
        let measured = measured(&script);
        let said = message(&measured, Code::SensorDust);
        let number = |mark: &str| -> f64 {
            let after = said.split(mark).nth(1).expect("a place");
            let digits = after.split(|c: char| !c.is_ascii_digit()).next();
            digits
                .and_then(|digits| digits.parse().ok())
                .expect("a number")
        };
        // Within the spot's own size.
        let off = (number(": x ") - dust.x_px).hypot(number(", y ") - dust.y_px);
        assert!(off < size, "{said} {dust:?}");
        assert!(line(&measured, Part::SensorDust).expect("a line") > 0.0);
        let pull = worst_pull(&script, &measured);
        assert!(pull < 3.0, "{pull} {dust:?} {said}");
    }
}

/// Two grains in one blur, and one in each: what was wrong by many standard uncertainties is less by half at least.
#[test]
fn several_grains_are_each_found() {
    let mut script = wide();
    script.picture.dust = vec![
        grain(&script, 0, (-26.0, 4.0), 4.0, 0.3),
        grain(&script, 0, (6.0, 26.0), 4.0, 0.25),
        grain(&script, 1, (-22.0, -10.0), 5.0, 0.2),
    ];
    let measured = measured(&script);
    assert!(message(&measured, Code::SensorDust).contains(';'));
    let pull = worst_pull(&script, &measured);
    assert!(
        pull < 3.0,
        "{pull} {}",
        largest(&errors(&script, &measured))
    );
}

/// A copy near the other target, at one part in fifty to one in two hundred of its light: named, and the uncertainty holds it.
#[test]
fn reflected_copies_are_named() {
    for (light, offset_px) in [(0.02, (0.0, 0.0)), (0.03, (6.0, 12.0)), (0.008, (0.0, 3.0))] {
        let mut script = wide();
        script.picture.ghost = Some(Ghost {
            light,
            scale: -0.95,
            offset_px,
            blur: (0.6, 14.0),
        });
        let measured = measured(&script);
        let pull = worst_pull(&script, &measured);
        assert!(pull < 3.0, "{light} {pull} {:?}", codes(&measured));
        if light > 0.01 {
            let said = message(&measured, Code::OtherLight);
            assert!(said.contains("reflection"), "{said}");
            assert!(line(&measured, Part::OtherLight).expect("a line") > 0.0);
        }
    }
}

/// Clean sensors and lenses raise neither, be the pupil a pentagon, the tape torn, the picture noisy or compressed, and neither
/// does dust that no blur reaches.
#[test]
fn clean_sweeps_raise_nothing() {
    let mut cases = vec![wide()];
    let mut bladed = wide();
    bladed.lens.pupil = Pupil {
        blades: Some(5),
        rotation_deg: 11.0,
        ..bladed.lens.pupil
    };
    cases.push(bladed);
    let mut torn = wide();
    for target in &mut torn.scene.targets {
        target.ragged_px = 1.5;
    }
    cases.push(torn);
    let mut noisy = wide();
    noisy.picture.noise.read = 0.003;
    noisy.picture.jpeg_quality = 70;
    cases.push(noisy);
    let mut beyond = wide();
    beyond.picture.dust = vec![grain(&beyond, 0, (120.0, 90.0), 6.0, 0.4)];
    cases.push(beyond);
    for (k, script) in cases.iter().enumerate() {
        let measured = measured(script);
        let raised = |code: Code| measured.findings.iter().any(|f| f.code == code);
        assert!(
            !raised(Code::SensorDust) && !raised(Code::OtherLight),
            "{k} {:?}",
            measured.findings
        );
        let u = line(&measured, Part::SensorDust).expect("a line");
        assert!(u < 1e-12, "{k} {u}");
    }
}

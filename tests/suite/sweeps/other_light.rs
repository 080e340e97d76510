//! Reflections and labels beside, on and behind targets: named or harmless, never a wrong number without a word.

use breathmark::simulate::{Clutter, Scene, SweepScript};
use breathmark::sweep::{Code, Part, SweepMeasurement, SweepSettings};

use super::rig::{Files, codes, message, small, worst_pull};

/// A window mirrored at an offset from the left target, px, of a size, px, and a light.
fn reflection(offset: (f64, f64), size: (f64, f64), level: f64) -> SweepScript {
    let mut script = small(85.0, 2.0);
    let target = script.scene.targets[0].clone();
    script.scene.background.clutter = vec![Clutter::Reflection {
        x_px: target.x_px + offset.0,
        y_px: target.y_px + offset.1,
        width_px: size.0,
        height_px: size.1,
        level,
    }];
    script
}

/// The same of a label, which moves and blurs with the target.
fn label(offset: (f64, f64), size: (f64, f64), level: f64) -> SweepScript {
    let mut script = small(85.0, 2.0);
    let target = script.scene.targets[0].clone();
    script.scene.background.clutter = vec![Clutter::Label {
        x_px: target.x_px + offset.0,
        y_px: target.y_px + offset.1,
        width_px: size.0,
        height_px: size.1,
        level,
    }];
    script
}

/// Over offsets, sizes and brightness: whatever is wrong by more than four times its uncertainty is named, and what is named
/// is wrong by no more than that.
#[test]
fn light_at_a_target_is_named_or_harmless() {
    let (mut named, mut silent) = (0, Vec::new());
    for (k, level) in [0.03, 0.1, 0.4, 0.7].into_iter().enumerate() {
        for (x, y) in [(14.0, 0.0), (-22.0, 9.0), (34.0, -12.0), (3.0, 20.0)] {
            let sizes = [(8.0, 20.0), (30.0, 12.0)];
            for script in [
                reflection((x, y), sizes[k % 2], level),
                label((x, y), sizes[(k + 1) % 2], level),
            ] {
                let measured = Files::of(&script).measure(&SweepSettings::default());
                let told = measured.findings.iter().any(|f| f.code == Code::OtherLight);
                let pull = worst_pull(&script, &measured);
                if pull >= 4.0 {
                    silent.push((told, pull, script.scene.background.clutter));
                }
                named += usize::from(told);
            }
        }
    }
    println!("{named} of 32 named");
    assert!(silent.is_empty(), "{silent:?}");
    assert!(named >= 8, "{named}");
}

#[test]
fn the_finding_says_what_was_seen_and_widens_the_uncertainty() {
    let plain = Files::of(&small(85.0, 2.0)).measure(&SweepSettings::default());
    let lopsided = Files::of(&reflection((16.0, 0.0), (9.0, 20.0), 0.3));
    let lopsided = lopsided.measure(&SweepSettings::default());
    let said = message(&lopsided, Code::OtherLight);
    assert!(said.contains("lopsided"), "{said}");
    // Nearly all of the light is the reflection's, evenly around the target: lopsided it is not, unlike the other it is.
    let drowned = Files::of(&reflection((-1.0, 3.0), (36.0, 30.0), 0.4));
    let drowned = drowned.measure(&SweepSettings::default());
    let said = message(&drowned, Code::OtherLight);
    assert!(said.contains("times the light of the other"), "{said}");
    let u = |measured: &SweepMeasurement| {
        let summary = measured.summary.as_ref().expect("a result");
        let line = summary
            .budget
            .random
            .iter()
            .find(|line| line.part == Part::OtherLight);
        line.expect("a line of the budget").pct
    };
    assert!(u(&plain).abs() < 1e-12);
    for measured in [&lopsided, &drowned] {
        assert!(u(measured) > 0.02, "{}", u(measured));
    }
}

/// What lies well away from the targets is none of their business.
#[test]
fn light_elsewhere_raises_nothing() {
    for (x, y) in [(250.0, 0.0), (300.0, -100.0), (170.0, 110.0)] {
        for script in [
            reflection((x, y), (40.0, 30.0), 0.05),
            label((x, y), (12.0, 6.0), 0.5),
        ] {
            let measured = Files::of(&script).measure(&SweepSettings::default());
            assert_eq!(codes(&measured), [], "{:?}", measured.findings);
            let pull = worst_pull(&script, &measured);
            assert!(pull < 4.0, "{pull}");
        }
    }
}

/// Dark print on one side of each tape: its own shape, the same in every frame, moves nothing.
#[test]
fn print_on_the_tape_is_no_other_light() {
    let mut script = SweepScript {
        scene: Scene::two_targets(1000, 667),
        ..SweepScript::plain(85.0, 2.0, 11)
    };
    let print = |k: usize, side: f64| {
        let target = &script.scene.targets[k];
        Clutter::Label {
            x_px: target.x_px + side,
            y_px: target.y_px,
            width_px: 0.24 * target.width_px,
            height_px: 0.6 * target.height_px,
            level: -0.6 * target.level,
        }
    };
    script.scene.background.clutter = vec![print(0, -6.5), print(1, 5.2)];
    let measured = Files::of(&script).measure(&SweepSettings::default());
    assert!(
        !measured.findings.iter().any(|f| f.code == Code::OtherLight),
        "{:?}",
        measured.findings
    );
    let pull = worst_pull(&script, &measured);
    assert!(pull < 4.0, "{pull}");
}

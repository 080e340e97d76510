//! Backgrounds that are not quite black: folds of cloth, dim edges of cards. Harmless, or in the uncertainty and named.

use breathmark::measure::Unmeasurable;
use breathmark::simulate::{Clutter, Scene, SweepScript};
use breathmark::sweep::{Code, FrameState, Part, SweepSettings};

use super::rig::{Files, codes, line, message, worst_pull};

/// A sweep at 1000 px with blur discs of up to 80 px and things behind the targets.
fn before(clutter: Vec<Clutter>) -> SweepScript {
    let mut script = SweepScript {
        scene: Scene::two_targets(1000, 667),
        ..SweepScript::plain(85.0, 2.0, 9)
    };
    script.lens.f_number = 2.0;
    script.scene.background.level = 0.01;
    script.scene.background.clutter = clutter;
    script
}

/// The wall beside the card: its edge stands so many px outside each target and is this light.
fn wall(outside: f64, level: f64) -> Vec<Clutter> {
    const WIDE: f64 = 300.0;
    let scene = Scene::two_targets(1000, 667);
    let beside = |target: usize, side: f64| Clutter::Label {
        x_px: scene.targets[target].x_px + side * (outside + WIDE / 2.0),
        y_px: 333.0,
        width_px: WIDE,
        height_px: 3000.0,
        level,
    };
    vec![beside(0, -1.0), beside(1, 1.0)]
}

/// Folds: soft lighter patches of a size, in a pattern that has no period.
fn cloth(size: f64, level: f64) -> Vec<Clutter> {
    let fold = |k: u32| Clutter::Reflection {
        x_px: f64::from(k * 619 % 1000),
        y_px: f64::from(k * 277 % 667),
        width_px: size,
        height_px: size * (0.6 + f64::from(k % 5) / 5.0),
        level: level * (0.4 + f64::from(k * 7 % 10) / 10.0),
    };
    (0..60).map(fold).collect()
}

/// 0.003 to 0.006 of light on targets of 0.8, and none of it in sight: the shift may be wrong by it, but its uncertainty says
/// so. Three standard uncertainties, as a handful of places stand for what one can't see.
#[test]
fn what_the_background_does_is_in_the_uncertainty() {
    let mut named = 0;
    for clutter in [
        wall(15.0, 0.004),
        wall(25.0, 0.006),
        wall(40.0, 0.006),
        cloth(30.0, 0.003),
        cloth(50.0, 0.003),
        cloth(80.0, 0.005),
    ] {
        let script = before(clutter);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let pull = worst_pull(&script, &measured);
        assert!(
            pull < 3.0,
            "{pull} {:?}",
            script.scene.background.clutter[0]
        );
        named += usize::from(
            measured
                .findings
                .iter()
                .any(|f| f.code == Code::UnevenBackground),
        );
    }
    assert!(named >= 3, "{named} of 6 named");
}

#[test]
fn a_background_that_weighs_is_named() {
    let script = before(cloth(50.0, 0.003));
    let measured = Files::of(&script).measure(&SweepSettings::default());
    let said = message(&measured, Code::UnevenBackground);
    assert!(said.contains("largest part of the uncertainty"), "{said}");
    assert!(line(&measured, Part::Background).expect("a line") > 0.01);
}

/// A plain background, one that slopes, and a bright wall that stands clear of every window add nothing.
#[test]
fn what_the_windows_do_not_hold_adds_nothing() {
    let mut sloped = before(Vec::new());
    (
        sloped.scene.background.slope_x,
        sloped.scene.background.slope_y,
    ) = (0.008, 0.004);
    for script in [before(Vec::new()), sloped, before(wall(98.0, 0.1))] {
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert!(
            !codes(&measured)
                .iter()
                .any(|code| code.0 == "uneven_background")
        );
        let u = line(&measured, Part::Background).expect("a line");
        assert!(u < 0.0005, "{u}");
    }
}

/// Labels and glints on the cloth above and below the targets, of which no target's window holds any: where the targets are sharp
/// that is seen, so what the empty places find is not laid to the targets. Nor are the steps of JPEG at quality 64.
#[test]
fn labels_elsewhere_are_no_uneven_background() {
    let label = |x_px: f64, y_px: f64, level: f64| Clutter::Label {
        x_px,
        y_px,
        width_px: 40.0,
        height_px: 14.0,
        level,
    };
    let mut clutter = Vec::new();
    for target in Scene::two_targets(1000, 667).targets {
        for (dx, dy, level) in [
            (-22.0, -170.0, 0.2),
            (25.0, -235.0, 0.15),
            (-30.0, 165.0, 0.15),
            (20.0, 240.0, 0.2),
        ] {
            clutter.push(label(target.x_px + dx, target.y_px + dy, level));
        }
    }
    let mut coarse = before(Vec::new());
    coarse.picture.jpeg_quality = 64;
    coarse.scene.background.level = 0.025;
    for script in [before(clutter), coarse] {
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let named = codes(&measured);
        assert!(
            !named.iter().any(|code| code.0 == "uneven_background"),
            "{named:?}"
        );
        let u = line(&measured, Part::Background).expect("a line");
        assert!(u < 0.0005, "{u}");
        let pull = worst_pull(&script, &measured);
        assert!(pull < 3.0, "{pull}");
    }
}

/// A card that ends so many px outside the targets, and a wall of this light beyond.
fn walled(outside: f64, level: f64) -> SweepScript {
    const WIDE: f64 = 400.0;
    let mut script = SweepScript {
        scene: Scene::two_targets(1000, 667),
        ..SweepScript::plain(85.0, 2.0, 11)
    };
    script.lens.f_number = 2.0;
    let [left, right] = [0, 1].map(|k| script.scene.targets[k].x_px);
    let wall = |x_px: f64| Clutter::Label {
        x_px,
        y_px: 333.0,
        width_px: WIDE,
        height_px: 3000.0,
        level,
    };
    script.scene.background.clutter = vec![
        wall(left - outside - WIDE / 2.0),
        wall(right + outside + WIDE / 2.0),
    ];
    script
}

/// Two walls are as good a pair as two targets but for the frame's edge. What the wall's blur runs into is not used and
/// said so: the targets themselves lie 100 px from the edge, and their blur reaches 55. In four frames at the least it reaches
/// no farther than 30.
#[test]
fn walls_are_no_targets_and_no_target_is_cut_by_the_edge() {
    for (outside, level) in [(70.0, 0.05), (80.0, 0.08)] {
        let script = walled(outside, level);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let cut = |state: &FrameState| *state == FrameState::Failed(Unmeasurable::Clipped);
        assert!(
            !measured.frames.iter().any(|frame| cut(&frame.state)),
            "{outside} {level}"
        );
        let used = measured
            .frames
            .iter()
            .filter(|frame| frame.state == FrameState::Measured);
        assert!(used.count() >= 4, "{outside} {level}");
        let lost = FrameState::Failed(Unmeasurable::RunTogether);
        if measured.frames.iter().any(|frame| frame.state == lost) {
            let said = message(&measured, Code::OtherLight);
            assert!(said.contains("larger black"), "{said}");
        }
        let pull = worst_pull(&script, &measured);
        assert!(pull < 4.0, "{outside} {level}: {pull}");
    }
}

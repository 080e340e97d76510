//! Targets that hang one above the other.

use breathmark::simulate::{Patch, Peel, Scene};
use breathmark::sweep::{self, Code, FrameState, SweepSettings};

use super::HARD_PCT;
use super::rig::{Files, errors, message, rms, set_up, small};

/// A camera that stood upright: the targets hang one above the other, along a tall picture or across a wide one. A lens that breathes by 6 % moves them farther than they are wide.
#[test]
fn targets_one_above_the_other_are_followed_too() {
    for (size, x, ys) in [
        ((427, 640), 213.0, [75.0, 560.0]),
        ((640, 427), 330.0, [70.0, 350.0]),
    ] {
        let mut script = small(85.0, 6.0);
        script.scene = Scene::two_targets(size.0, size.1);
        script.scene.targets = vec![
            Patch::new(x, ys[0], 16.6, 17.0),
            Patch::new(x + 0.5, ys[1], 16.6, 17.0),
        ];
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let states = measured.frames.iter().map(|frame| &frame.state);
        assert!(states.clone().all(|state| *state == FrameState::Measured));
        assert!(rms(&errors(&script, &measured)) < HARD_PCT, "{size:?}");
    }
}

/// Whatever pulls centres is looked for along the line of the targets, however the camera stood: the same pictures with rows for columns
/// give the same numbers, to the last bit, whether the blur is cut, the light falls to the sides or a target moves.
#[test]
fn the_same_pictures_with_rows_for_columns_give_the_same_numbers() {
    let mut cut = small(85.0, 2.0);
    cut.lens.f_number = 2.8;
    cut.lens.pupil.vignetting = 0.5;
    cut.lens.pupil.barrel = 1.2;
    let mut moving = small(85.0, 2.0);
    moving.picture.peel = Some(Peel {
        target: 0,
        frame: 6,
        over: 1,
        by_px: (1.2, 0.0),
    });
    for (script, code) in [(cut, Code::BlurVignetted), (moving, Code::CameraMoved)] {
        let files = Files::of(&script);
        let mut lying = files.measure(&set_up(&script));
        let hanging = sweep::measure(
            "sweep",
            &files.infos,
            &|frame| Ok(files.load(frame)?.transposed()),
            &set_up(&script),
            &|_, _| {},
        );
        message(&lying, code);
        let (width, height) = lying.picture_size_px.expect("a size");
        lying.picture_size_px = Some((height, width));
        for target in lying.frames.iter_mut().flat_map(|frame| &mut frame.targets) {
            target.swap_axes();
        }
        for finding in &mut lying.findings {
            let named = finding.message.replace("left target", "upper target");
            finding.message = named.replace("right one", "lower one");
        }
        assert_eq!(hanging, lying);
    }
}

//! Something in front of a target in some frames: those frames are failed with that reason, all others stay right, and
//! nobody blames the tripod.

use breathmark::measure::Unmeasurable;
use breathmark::simulate::{Cover, Scene, SweepScript};
use breathmark::sweep::{FrameState, SweepSettings};

use super::rig::{Files, codes, errors, rms, small};

#[test]
fn a_partly_covered_target_fails_its_frame_and_no_other() {
    for (target, share, frame, frames, f_number) in [
        (1, 0.5, 6, 3, 5.6),
        (0, -0.5, 0, 2, 2.8),
        (1, 0.05, 4, 3, 5.6),
        (0, 0.9, 8, 3, 2.8),
        (1, 0.3, 12, 2, 5.6),
        (0, 1.0, 5, 2, 5.6),
    ] {
        let cover = Cover {
            target,
            share,
            frame,
            frames,
        };
        let mut script = small(85.0, 2.0);
        script.frames = 16;
        script.lens.f_number = f_number;
        script.picture.cover = Some(cover);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        let hidden = share.abs() >= 1.0;
        let reason = if hidden {
            Unmeasurable::OneTarget
        } else {
            Unmeasurable::PartlyCovered
        };
        for (at, seen) in measured.frames.iter().enumerate() {
            let expected = if (frame..frame + frames).contains(&at) {
                FrameState::Failed(reason.clone())
            } else {
                FrameState::Measured
            };
            assert_eq!(seen.state, expected, "{cover:?}: frame {at}");
        }
        let off = rms(&errors(&script, &measured));
        assert!(off < super::ORDINARY_PCT, "{cover:?}: {off}");
        let blamed: Vec<&str> = codes(&measured).iter().map(|(code, _)| *code).collect();
        assert_eq!(blamed, ["frames_not_measured"], "{cover:?}");
    }
}

/// Half a target has another centre and width: what was measured of it says nothing of where the frames stand. A hole of two such
/// frames was taken for a longer one, and the step that this made in the scale for a slipped zoom ring.
#[test]
fn a_hole_of_covered_frames_is_no_slipped_ring() {
    for (worst, target, share, frame) in [
        (3.5, 0, -0.5, 6),
        (3.5, 0, 0.5, 6),
        (3.5, 1, 0.5, 6),
        (-5.0, 0, 0.4, 8),
    ] {
        let mut script = SweepScript::plain(85.0, worst, 20);
        script.scene = Scene::two_targets(1200, 800);
        script.picture.cover = Some(Cover {
            target,
            share,
            frame,
            frames: 2,
        });
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert_eq!(
            codes(&measured),
            [("frames_not_measured", "note")],
            "{worst} {share}"
        );
        let off = rms(&errors(&script, &measured));
        assert!(off < super::ORDINARY_PCT, "{worst} {share}: {off}");
    }
}

/// Evenly dimmer light, and light that flickers, cover nothing.
#[test]
fn changing_light_is_no_cover() {
    for flicker in [0.05, 0.3] {
        let mut script = small(85.0, 2.0);
        script.picture.flicker = flicker;
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert_eq!(measured.measured_count(), script.frames, "{flicker}");
    }
}

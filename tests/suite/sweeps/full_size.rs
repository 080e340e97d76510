//! What is promised of pictures of full size, at full size.

use breathmark::simulate::{Scene, SweepScript};
use breathmark::sweep::SweepSettings;

use super::rig::{Files, codes, errors, rms};

/// Root mean square error of shift that was promised, percentage points. The sweeps are short: what a picture's size
/// decides is in every frame.
#[test]
fn shifts_are_as_true_as_promised() {
    type Change = fn(&mut SweepScript);
    let cases: [(&str, f64, Change); 4] = [
        ("1920 × 1280", 0.003, |_| {}),
        ("blur of 240 px, quality 85", 0.003, |s| {
            s.lens.f_number = 1.3;
            s.picture.jpeg_quality = 85;
        }),
        ("five blades", 0.01, |s| {
            s.lens.pupil.blades = Some(5);
            s.lens.f_number = 1.8;
        }),
        ("24 megapixel", 0.002, |s| {
            s.scene = Scene::two_targets(6000, 4000);
            s.frames = 7;
        }),
    ];
    for (name, promised, change) in cases {
        let mut script = SweepScript::plain(85.0, 2.6, 12);
        change(&mut script);
        let measured = Files::of(&script).measure(&SweepSettings::default());
        assert_eq!(measured.measured_count(), script.frames, "{name}");
        let rms = rms(&errors(&script, &measured));
        assert!(rms < promised, "{name}: {rms} {:?}", codes(&measured));
    }
}

//! Tape of any shape: its centre of mass is its place, sharp or blurred, and what lies beside it is not tape.

use breathmark::measure::{Flag, target_near};

use super::accuracy::near;
use super::render::{Patch, Pupil, Scene};

/// Tape cut into rows of 1 px, from where each row begins and ends, px from a common origin; its middle first.
fn rows(count: usize, row: impl Fn(f64) -> (f64, f64)) -> ((f64, f64), Vec<Patch>) {
    let patch = |k: usize| {
        let y = k as f64 + 0.5 - count as f64 / 2.0;
        let (left, right) = row(y);
        Patch {
            x: (left + right) / 2.0,
            y,
            width: right - left,
            height: 1.0,
            light: 0.6,
        }
    };
    let tape: Vec<Patch> = (0..count).map(patch).collect();
    let area: f64 = tape.iter().map(|p| p.width).sum();
    let middle = |of: fn(&Patch) -> f64| tape.iter().map(|p| p.width * of(p)).sum::<f64>() / area;
    ((middle(|p| p.x), middle(|p| p.y)), tape)
}

/// Tape that a half turn does not leave as it is: a trapezoid, a right triangle, a torn end, a tall strip hung askew.
fn shapes() -> Vec<(&'static str, (f64, f64), Vec<Patch>)> {
    let named = |name, (middle, tape)| (name, middle, tape);
    let torn = [1.0, -3.0, 2.5, 4.0, -1.0, -4.0, 0.5, 3.0];
    vec![
        named(
            "trapezoid",
            rows(40, |y| (-18.0 - 0.25 * y, 14.0 + 0.3 * y)),
        ),
        named("triangle", rows(40, |y| (-12.0, -8.0 + 0.8 * (20.0 - y)))),
        named(
            "torn",
            rows(40, |y| {
                (-14.0, 14.0 + torn[(y + 20.0) as usize / 5 % torn.len()])
            }),
        ),
        named("strip", rows(200, |y| (-5.0 + 0.07 * y, 5.0 + 0.07 * y))),
    ]
}

#[test]
fn corners_of_irregular_tape_are_tape() {
    for (name, middle, tape) in shapes() {
        for blur in [0.0, 4.0, 9.0, 30.0] {
            let place = (149.8 - middle.0, 150.3 - middle.1);
            let plane = Scene::new(300, 300, 0.004, (0.0, 0.0))
                .add(place, &tape, &Pupil::Disc(f64::max(blur, 0.5)), 0.7)
                .noisy(0.0004, 1e-5, 21)
                .jpeg(90);
            let target = target_near(&plane, (150.0, 150.0), 200.0).expect("a target");
            assert!(
                !target.flags.contains(&Flag::Crowded),
                "{name}, blur {blur}: {:?}",
                target.flags
            );
            // Corners that are taken for something else move the centre by 0.1 to 5 px.
            near(
                &target,
                (149.8, 150.3),
                (5.0 * target.x_px.std_error).max(0.01),
            );
        }
    }
}

/// As bright as the tape and 5 px from its corner: no light leads there.
#[test]
fn a_patch_beside_irregular_tape_is_no_tape() {
    let (middle, tape) = rows(40, |y| (-18.0 - 0.25 * y, 14.0 + 0.3 * y));
    let place = (149.8 - middle.0, 150.3 - middle.1);
    let plane = |beside: bool| {
        let scene =
            Scene::new(300, 300, 0.004, (0.0, 0.0)).add(place, &tape, &Pupil::Disc(3.0), 0.7);
        let corner = (place.0 + 20.0 + 8.0, place.1 + 14.0);
        let scene = if beside {
            scene.add(corner, &[Patch::square(5.0, 0.6)], &Pupil::Disc(3.0), 0.7)
        } else {
            scene
        };
        scene.noisy(0.0004, 1e-5, 22).jpeg(90)
    };
    let [alone, beside] = [false, true]
        .map(|beside| target_near(&plane(beside), (150.0, 150.0), 200.0).expect("a target"));
    assert!(beside.flags.contains(&Flag::Crowded), "{:?}", beside.flags);
    // Left in, 25 px² at 30 px would pull the 1300 px² by 0.6 px.
    assert!((alone.x_px.value - beside.x_px.value).abs() < 0.06);
}

/// Wide tape that is blurred by about its own width is a pyramid of light, whose corners are dim and reach far: wherever the
/// search begins, they are neither cut off nor taken for noise.
#[test]
fn corners_of_a_pyramid_of_light_are_kept() {
    for blur in [90.0, 105.0, 125.0] {
        let plane = Scene::new(620, 620, 0.004, (0.0, 0.0))
            .add(
                (310.3, 309.6),
                &[Patch::square(105.0, 0.5)],
                &Pupil::Disc(blur),
                0.8,
            )
            .noisy(0.0004, 1e-5, 8)
            .jpeg(90);
        let truth = 105.0 * 105.0 / 12.0 + blur * blur / 16.0;
        for percent in (10..=300).step_by(10) {
            let guess = truth * f64::from(percent) / 100.0;
            let target = target_near(&plane, (310.0, 310.0), guess).expect("a target");
            // Cut corners move the centre by 0.1 px and take 5 % of the second moment; JPEG takes 0.3 %.
            near(&target, (310.3, 309.6), 0.02);
            let wide = target.variance_px2.value / truth - 1.0;
            assert!(wide.abs() < 0.01, "{blur} from {percent} %: {wide}");
        }
    }
}

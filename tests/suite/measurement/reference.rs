//! The program's centres beside those of general-purpose libraries, on the same crops.
//!
//! `tests/reference/compare_centres.py` computes the libraries' values; those recorded here are its output with the
//! versions of `tests/reference/requirements.txt`. The live comparison runs where `BREATHMARK_REFERENCE_PYTHON` names a
//! Python that has them.

use std::path::Path;
use std::process::Command;

use breathmark::measure::{Plane, Samples, Target, target_near};

use super::accuracy::fixture;
use super::render::{Patch, Pupil, Scene};

/// A crop and what the libraries say of it.
struct Crop {
    name: &'static str,
    plane: Plane,
    /// Rough second moment to start from, px².
    variance: f64,
    /// Centre of mass by scipy, scikit-image, OpenCV and photutils alike, px.
    mass: (f64, f64),
    /// Centre of a fitted Gaussian by photutils, px: another kind of estimate.
    gaussian: (f64, f64),
    /// Second moment by OpenCV, px².
    second_moment: f64,
    /// How far apart the estimates of mass may be, px: their windows hold different noise.
    tolerance: f64,
}

fn crops() -> [Crop; 3] {
    let wide = Scene::new(200, 200, 0.004, (4e-6, 0.0))
        .add(
            (99.6, 100.7),
            &[Patch::square(24.0, 0.8)],
            &Pupil::Disc(60.0),
            0.7,
        )
        .noisy(0.0003, 1e-5, 11)
        .eight_bit();
    let blades = Scene::new(160, 160, 0.001, (0.0, 0.0))
        .add(
            (80.2, 79.1),
            &[Patch::square(20.0, 0.8)],
            &Pupil::Polygon(5, 48.0, 0.3),
            0.7,
        )
        .sixteen_bit();
    [
        Crop {
            name: "square_disc_12",
            plane: fixture().sixteen_bit(),
            variance: 40.0,
            mass: (47.8, 47.3),
            gaussian: (47.8, 47.3),
            second_moment: 42.907,
            tolerance: 0.0005,
        },
        Crop {
            name: "wide_noisy",
            plane: wide,
            variance: 270.0,
            mass: RECORDED_WIDE.0,
            gaussian: RECORDED_WIDE.1,
            second_moment: RECORDED_WIDE.2,
            tolerance: 0.04,
        },
        Crop {
            name: "five_blades",
            plane: blades,
            variance: 130.0,
            mass: RECORDED_BLADES.0,
            gaussian: RECORDED_BLADES.1,
            second_moment: RECORDED_BLADES.2,
            tolerance: 0.0005,
        },
    ]
}

type Recorded = ((f64, f64), (f64, f64), f64);
const RECORDED_WIDE: Recorded = ((99.61822, 100.69129), (99.59560, 100.70108), 271.8800);
const RECORDED_BLADES: Recorded = ((80.20248, 79.09624), (80.20171, 79.09849), 144.7081);

fn measured(crop: &Crop) -> Target {
    let middle = (
        f64::from(crop.plane.width()) / 2.0,
        f64::from(crop.plane.height()) / 2.0,
    );
    target_near(&crop.plane, middle, crop.variance).expect("a target")
}

fn apart(target: &Target, (x, y): (f64, f64)) -> f64 {
    (target.x_px.value - x).hypot(target.y_px.value - y)
}

#[test]
fn centres_agree_with_recorded_ones_of_other_libraries() {
    for crop in crops() {
        let target = measured(&crop);
        assert!(
            apart(&target, crop.mass) < crop.tolerance,
            "{}: {target:?}",
            crop.name
        );
        // A Gaussian fitted to a square or a pentagon is another question: a tenth of a pixel is agreement.
        assert!(
            apart(&target, crop.gaussian) < 0.1,
            "{}: {target:?}",
            crop.name
        );
        let width = target.variance_px2.value / crop.second_moment - 1.0;
        // The libraries' window is the whole crop, with all of its noise at the longest lever.
        assert!(
            width.abs() < if crop.tolerance > 0.01 { 0.02 } else { 1e-3 },
            "{}: {width}",
            crop.name
        );
    }
}

fn write_pgm(path: &Path, plane: &Plane) {
    let (top, bytes): (u32, Vec<u8>) = match plane.samples() {
        Samples::Eight(codes) => (255, codes.clone()),
        Samples::Sixteen(codes) => (
            65_535,
            codes.iter().flat_map(|code| code.to_be_bytes()).collect(),
        ),
    };
    let mut file = format!("P5\n{} {}\n{top}\n", plane.width(), plane.height()).into_bytes();
    file.extend(bytes);
    std::fs::write(path, file).expect("a file in a temporary folder");
}

#[test]
#[ignore = "asks libraries that .ci/install fetches; tests/run runs it"]
fn centres_agree_with_other_libraries_run_live() {
    let python = std::env::var_os("BREATHMARK_REFERENCE_PYTHON");
    let python = python
        .expect("BREATHMARK_REFERENCE_PYTHON is a Python with tests/reference/requirements.txt");
    let folder = tempfile::tempdir().expect("a temporary folder");
    for crop in crops() {
        write_pgm(
            &folder.path().join(crop.name).with_extension("pgm"),
            &crop.plane,
        );
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/compare_centres.py");
    let output = Command::new(python)
        .arg(script)
        .arg(folder.path())
        .output()
        .expect("the Python that was named");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    println!("{}", String::from_utf8_lossy(&output.stdout));
    let answer: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    for crop in crops() {
        let target = measured(&crop);
        let said = &answer["crops"][crop.name];
        let place = |by: &str| {
            let number = |i: usize| said[by][i].as_f64().expect("a number");
            (number(0), number(1))
        };
        for by in ["scipy", "scikit-image", "opencv", "photutils"] {
            let (x, y) = place(by);
            // OpenCV takes 32-bit light.
            assert!(
                (x - crop.mass.0).hypot(y - crop.mass.1) < 2e-3,
                "{} by {by} is not as recorded: {x}, {y}",
                crop.name
            );
            assert!(
                apart(&target, (x, y)) < crop.tolerance,
                "{} by {by}: {x}, {y}",
                crop.name
            );
        }
        assert!(
            apart(&target, place("photutils-2dg")) < 0.1,
            "{}",
            crop.name
        );
    }
}

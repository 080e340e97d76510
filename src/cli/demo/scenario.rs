//! The invented scenario of the demo, read from `seed-data/`, as scripts for the simulator.

use serde::Deserialize;
use time::macros::datetime;

use crate::simulate::{Breathing, Bump, LensModel, Scene, SweepScript};
use crate::store::{Conditions, Kind, LensDraft, Switch};
use crate::units::{FocusDistance, Metres};

const QUAYSIDE: &str = include_str!("../../../seed-data/quayside.json");

/// Everything that the demo shoots and publishes.
#[derive(Debug, Deserialize)]
pub(super) struct Scenario {
    /// Who measures.
    pub(super) reviewer: String,
    camera: String,
    /// The lenses, in the order they are measured.
    pub(super) lenses: Vec<DemoLens>,
}

/// A lens with its shoots.
#[derive(Debug, Deserialize)]
pub(super) struct DemoLens {
    maker: String,
    model: String,
    mount: String,
    kind: String,
    focal_min_mm: f64,
    focal_max_mm: f64,
    max_aperture: f64,
    closest_focus_m: f64,
    /// Its shoots, each an upload of its own.
    pub(super) shoots: Vec<Shoot>,
}

/// Sweeps of one lens under the same conditions.
#[derive(Debug, Deserialize)]
pub(super) struct Shoot {
    distortion_correction: String,
    breathing_compensation: String,
    stabilisation: String,
    target_distance_m: f64,
    /// Whether its sweeps are published once they are measured.
    pub(super) publish: bool,
    /// Its sweeps, in the order they were shot.
    pub(super) sweeps: Vec<DemoSweep>,
}

/// One sweep.
#[derive(Debug, Deserialize)]
pub(super) struct DemoSweep {
    focal_mm: f64,
    f_number: f64,
    curve: Vec<(f64, f64)>,
    #[serde(default = "yes")]
    distances: bool,
    bumped_at_frame: Option<usize>,
    ends_at_m: Option<f64>,
    #[serde(default)]
    one_target: bool,
}

const fn yes() -> bool {
    true
}

/// Frames of a demo sweep.
const FRAMES: usize = 24;

impl Scenario {
    /// The scenario that the program carries.
    pub(super) fn quayside() -> anyhow::Result<Self> {
        Ok(serde_json::from_str(QUAYSIDE)?)
    }

    /// The scripts of a shoot's sweeps, with file numbers and clock running on from sweep to sweep.
    pub(super) fn scripts(&self, lens: usize, shoot: usize) -> Vec<SweepScript> {
        let about = &self.lenses[lens];
        about.shoots[shoot]
            .sweeps
            .iter()
            .enumerate()
            .map(|(index, sweep)| self.script(lens, shoot, index, sweep))
            .collect()
    }

    fn script(&self, lens: usize, shoot: usize, index: usize, sweep: &DemoSweep) -> SweepScript {
        let about = &self.lenses[lens];
        let near_per_m = 1.0 / about.closest_focus_m;
        let mut script = SweepScript::plain(sweep.focal_mm, 0.0, FRAMES);
        let mut scene = Scene::two_targets(1920, 1280);
        scene.target_distance_m = about.shoots[shoot].target_distance_m;
        if sweep.one_target {
            scene.targets.truncate(1);
        }
        script.scene = scene;
        script.lens = LensModel {
            maker: about.maker.clone(),
            // Metadata is ASCII, so the dash of a zoom range is a hyphen there.
            model: format!("{} {}", about.maker, about.model.replace('–', "-")),
            f_number: sweep.f_number,
            breathing: Breathing::Points(
                sweep
                    .curve
                    .iter()
                    .map(|(share, pct)| (share * near_per_m, *pct))
                    .collect(),
            ),
            ..LensModel::still(sweep.focal_mm)
        };
        script.closest_focus_m = about.closest_focus_m;
        script.last = sweep
            .ends_at_m
            .and_then(|m| Metres::new(m).ok())
            .map_or(FocusDistance::Infinity, FocusDistance::At);
        script.capture.camera_maker.clone_from(&self.camera);
        script.capture.camera_model.clone_from(&self.camera);
        script.capture.first_number = 1 + (index * (FRAMES + 3)) as u32;
        script.capture.start = datetime!(2026-04-03 10:00:00)
            + time::Duration::days(lens as i64)
            + time::Duration::hours(shoot as i64)
            + time::Duration::minutes(6 * index as i64);
        script.capture.write_distances = sweep.distances;
        script.picture.bump = sweep.bumped_at_frame.map(|frame| Bump {
            frame,
            x_px: 11.0,
            y_px: -7.0,
            roll_deg: 0.3,
        });
        script.seed = (lens * 100 + shoot * 10 + index) as u64 + 1;
        script
    }
}

impl DemoLens {
    /// The lens as a reviewer would enter it.
    pub(super) fn draft(&self) -> anyhow::Result<LensDraft> {
        Ok(LensDraft {
            maker: self.maker.clone(),
            model: self.model.clone(),
            mount: self.mount.clone(),
            kind: Kind::from_code(&self.kind)
                .ok_or_else(|| anyhow::anyhow!("{} is no kind of lens", self.kind))?,
            focal_min_mm: self.focal_min_mm,
            focal_max_mm: self.focal_max_mm,
            max_aperture: self.max_aperture,
            closest_focus_m: Some(self.closest_focus_m),
        })
    }
}

impl Shoot {
    /// The conditions as a reviewer would enter them.
    pub(super) fn conditions(&self) -> Conditions {
        let switch = |code: &str| Switch::from_code(code).unwrap_or_default();
        Conditions {
            distortion_correction: switch(&self.distortion_correction),
            breathing_compensation: switch(&self.breathing_compensation),
            stabilisation: switch(&self.stabilisation),
            target_distance: Metres::new(self.target_distance_m).ok(),
            closest_focus: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scenario_covers_what_a_reader_may_meet() {
        let scenario = Scenario::quayside().expect("the scenario reads");
        assert!(scenario.lenses.len() >= 12);
        let sweeps = || {
            scenario
                .lenses
                .iter()
                .flat_map(|lens| &lens.shoots)
                .flat_map(|s| &s.sweeps)
        };
        let worst = |sweep: &DemoSweep| sweep.curve.last().map_or(0.0, |(_, pct)| *pct);
        assert!(sweeps().any(|sweep| worst(sweep) < -2.0), "wider");
        assert!(sweeps().any(|sweep| worst(sweep) > 2.0), "tighter");
        assert!(
            sweeps().any(|sweep| worst(sweep).abs() < 0.5),
            "never beyond tolerance"
        );
        assert!(
            sweeps().any(|sweep| worst(sweep).abs() > 10.0),
            "far beyond it"
        );
        assert!(sweeps().any(|sweep| sweep.one_target), "one that fails");
        assert!(
            sweeps().any(|sweep| sweep.bumped_at_frame.is_some()),
            "one with a warning"
        );
        assert!(
            scenario.lenses.iter().any(|lens| lens.kind == "macro"),
            "a macro"
        );
        assert!(
            scenario
                .lenses
                .iter()
                .any(|lens| lens.kind.starts_with("cine")),
            "cine lenses"
        );
        assert!(
            scenario
                .lenses
                .iter()
                .flat_map(|lens| &lens.shoots)
                .any(|shoot| !shoot.publish),
            "one that waits for review"
        );
        for lens in &scenario.lenses {
            assert!(lens.draft().is_ok(), "{}", lens.model);
        }
    }
}

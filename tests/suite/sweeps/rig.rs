//! Simulated sweeps through the real readers: rendered, written as JPEG, inspected, decoded, measured.

use std::collections::BTreeMap;

use breathmark::intake::{self, Limits};
use breathmark::measure::{Plane, Unmeasurable};
use breathmark::simulate::{Scene, SweepScript};
use breathmark::sweep::{self, Code, FrameInfo, Part, SweepMeasurement, SweepSettings};
use breathmark::units::Metres;

/// A sweep as files: what each says of itself, and its bytes.
pub(crate) struct Files {
    /// What the files say.
    pub(crate) infos: Vec<FrameInfo>,
    /// Their bytes.
    pub(crate) bytes: Vec<Vec<u8>>,
}

impl Files {
    /// Renders every frame of a script.
    pub(crate) fn of(script: &SweepScript) -> Self {
        let mut files = Self {
            infos: Vec::new(),
            bytes: Vec::new(),
        };
        for frame in 0..script.frames {
            let bytes = script.jpeg(frame).expect("the scene fits JPEG");
            let info = intake::inspect(&bytes, &script.file_name(frame), &Limits::default())
                .expect("a file of our own is readable");
            files.infos.push(info);
            files.bytes.push(bytes);
        }
        files
    }

    /// The picture of a frame.
    pub(crate) fn load(&self, frame: usize) -> Result<Plane, Unmeasurable> {
        intake::decode_plane(&self.bytes[frame], &Limits::default())
            .map_err(|why| Unmeasurable::Undecodable(why.to_string()))
    }

    /// Measures them as one sweep.
    pub(crate) fn measure(&self, settings: &SweepSettings) -> SweepMeasurement {
        self.measure_runs(settings).0
    }

    /// The same with the runs through the focus that are found.
    pub(crate) fn measure_runs(
        &self,
        settings: &SweepSettings,
    ) -> (SweepMeasurement, Vec<Vec<usize>>) {
        sweep::measure_runs(
            "sweep",
            &self.infos,
            &|frame| self.load(frame),
            settings,
            &|_, _| {},
        )
    }
}

/// An ordinary good sweep in a small picture: 640 × 427 px, 13 frames.
pub(crate) fn small(focal_mm: f64, worst_shift_pct: f64) -> SweepScript {
    SweepScript {
        scene: Scene::two_targets(640, 427),
        ..SweepScript::plain(focal_mm, worst_shift_pct, 13)
    }
}

/// Closest focus and target distance of a script, as a reviewer would give them.
pub(crate) fn set_up(script: &SweepScript) -> SweepSettings {
    SweepSettings {
        closest_focus: Metres::new(script.closest_focus_m).ok(),
        target_distance: Metres::new(script.scene.target_distance_m).ok(),
        ..SweepSettings::default()
    }
}

/// File names in the order that the frames were put in.
pub(crate) fn order(measured: &SweepMeasurement) -> Vec<&str> {
    let files = measured.frames.iter().map(|frame| &frame.info.file);
    files.map(String::as_str).collect()
}

/// File names in the order that the frames were taken in.
pub(crate) fn taken(script: &SweepScript) -> Vec<String> {
    (0..script.frames).map(|i| script.file_name(i)).collect()
}

/// Codes of what was found, with their severities.
pub(crate) fn codes(measurement: &SweepMeasurement) -> Vec<(&'static str, &'static str)> {
    measurement
        .findings
        .iter()
        .map(|finding| (finding.code.code(), finding.severity.code()))
        .collect()
}

/// The message of a finding; fails where it was not raised, or says too little: figures, effect and remedy take a few words.
pub(crate) fn message(measurement: &SweepMeasurement, code: Code) -> &str {
    let found = measurement
        .findings
        .iter()
        .find(|finding| finding.code == code)
        .unwrap_or_else(|| panic!("{code} was not raised, only {:?}", codes(measurement)));
    assert!(found.message.len() > 80, "{}", found.message);
    &found.message
}

/// Error of shift, percentage points, of every measured frame against the truth relative to the last frame.
pub(crate) fn errors(script: &SweepScript, measurement: &SweepMeasurement) -> Vec<f64> {
    let truth: BTreeMap<String, f64> = script
        .truth()
        .into_iter()
        .map(|frame| (frame.file, frame.shift_to_last_pct))
        .collect();
    measurement
        .frames
        .iter()
        .filter_map(|frame| Some(frame.shift_pct?.value - truth[&frame.info.file]))
        .collect()
}

/// Root mean square.
pub(crate) fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

/// Largest error of a shift over its stated uncertainty, the reference left out.
pub(crate) fn worst_pull(script: &SweepScript, measured: &SweepMeasurement) -> f64 {
    let stated = measured.frames.iter().filter_map(|frame| frame.shift_pct);
    errors(script, measured)
        .iter()
        .zip(stated)
        .map(|(error, shift)| error.abs() / shift.std_error.max(1e-4))
        .fold(0.0, f64::max)
}

/// A line of the budget of the worst shift, percentage points.
pub(crate) fn line(measured: &SweepMeasurement, part: Part) -> Option<f64> {
    let budget = &measured.summary.as_ref().expect("a result").budget;
    let mut lines = budget.random.iter().chain(&budget.systematic);
    Some(lines.find(|line| line.part == part)?.pct)
}

//! `breathmark measure`: frames in, report out, with no server and no database.

use std::collections::BTreeMap;
use std::io::IsTerminal;
use std::path::PathBuf;

use anyhow::{Context, bail};
use indicatif::{ProgressBar, ProgressStyle};

use super::sources::{self, Source};
use super::{Ending, complain, options, say};
use crate::intake::{self, Limits};
use crate::measure::Unmeasurable;
use crate::report::{ReportDocument, frames_csv, sweep_table};
use crate::sweep::{self, FrameInfo, FrameOrder, SweepMeasurement, SweepSettings};
use crate::units::{FNumber, FocusDistance, Metres, Millimetres};

/// How the report is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For a person.
    Table,
    /// One object with everything.
    Json,
    /// One row a frame.
    Csv,
}

#[derive(Debug, clap::Args)]
pub(super) struct Measure {
    /// Folders, zip files or pictures; a folder that holds several sweeps is split
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// How the report is printed
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
    /// Magnitude of shift that a viewer does not mind, per cent
    #[arg(long, default_value = "2", value_name = "PCT", value_parser = options::tolerance, allow_negative_numbers = true)]
    tolerance_pct: f64,
    /// Focus distance of the first frame from the sensor plane, m
    #[arg(long, value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    closest_focus_m: Option<Metres>,
    /// Distance from the sensor plane to the targets, m
    #[arg(long, value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    target_distance_m: Option<Metres>,
    /// Marked focal length, mm
    #[arg(long, value_name = "MM", value_parser = options::millimetres, allow_negative_numbers = true)]
    focal_length_mm: Option<Millimetres>,
    /// f-number
    #[arg(long, value_name = "N", value_parser = options::f_number, allow_negative_numbers = true)]
    f_number: Option<FNumber>,
    /// Width of the picture area on the sensor, mm
    #[arg(long, value_name = "MM", value_parser = options::millimetres, allow_negative_numbers = true)]
    sensor_width_mm: Option<Millimetres>,
    /// CSV file with the columns file and distance_m, one row a frame; `inf` is infinity
    #[arg(long, value_name = "FILE")]
    distances: Option<PathBuf>,
    /// Order of the frames, near to far: auto, name, time or reverse
    #[arg(long, default_value = "auto", value_parser = options::order)]
    order: FrameOrder,
    /// The last frame is not at infinity
    #[arg(long)]
    last_not_infinity: bool,
}

impl Measure {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let limits = Limits::default();
        let settings = self.settings()?;
        let sources = sources::read(&self.paths, &limits)?;
        let skipped: Vec<_> = sources
            .iter()
            .flat_map(|source| source.skipped.clone())
            .collect();
        for file in &skipped {
            complain(&format!("{} passed over: {}", file.file, file.reason));
        }
        let frames: usize = sources.iter().map(|source| source.frames.len()).sum();
        if frames == 0 {
            bail!("there is no picture to measure; give a folder of the camera's JPEG files");
        }
        for complaint in strangers(&settings, &sources) {
            complain(&complaint);
        }
        let progress = progress_bar("measuring", frames as u64);
        let sweeps: Vec<SweepMeasurement> = sources
            .iter()
            .flat_map(|source| measure_source(source, &settings, &limits, &progress))
            .collect();
        progress.finish_and_clear();
        let report = ReportDocument::new(&sweeps, skipped, self.tolerance_pct);
        say(&self.printed(&sweeps, &report)?)?;
        let failed = sweeps.iter().any(|sweep| sweep.summary.is_none());
        Ok(if failed {
            Ending::SomethingFailed
        } else {
            Ending::Done
        })
    }

    fn printed(
        &self,
        sweeps: &[SweepMeasurement],
        report: &ReportDocument,
    ) -> anyhow::Result<String> {
        Ok(match self.format {
            Format::Json => serde_json::to_string_pretty(report)? + "\n",
            Format::Csv => frames_csv(&report.sweeps)?,
            Format::Table => {
                let tables: Vec<String> = sweeps
                    .iter()
                    .map(|sweep| sweep_table(sweep, self.tolerance_pct))
                    .collect();
                tables.join("\n")
            }
        })
    }

    fn settings(&self) -> anyhow::Result<SweepSettings> {
        Ok(SweepSettings {
            target_distance: self.target_distance_m,
            closest_focus: self.closest_focus_m,
            focal_length: self.focal_length_mm,
            f_number: self.f_number,
            sensor_width: self.sensor_width_mm,
            distances: self.distances()?,
            order: self.order,
            last_not_at_infinity: self.last_not_infinity,
            ..SweepSettings::default()
        })
    }

    fn distances(&self) -> anyhow::Result<BTreeMap<String, FocusDistance>> {
        let Some(path) = &self.distances else {
            return Ok(BTreeMap::new());
        };
        let bytes = std::fs::read(path)
            .with_context(|| format!("{} can't be read; check the path", path.display()))?;
        intake::distances::read(&bytes).with_context(|| path.display().to_string())
    }
}

/// What is to be said of given distances that belong to no frame, or to more than one.
fn strangers(settings: &SweepSettings, sources: &[Source]) -> Vec<String> {
    let named = |file: &String| {
        let frames = sources.iter().flat_map(|source| &source.frames);
        frames.filter(|(info, _)| info.file == *file).count()
    };
    let (none, several): (Vec<&String>, Vec<&String>) = settings
        .distances
        .keys()
        .filter(|file| named(file) != 1)
        .partition(|file| named(file) == 0);
    let told = |files: &[&String]| {
        let first: Vec<&str> = files.iter().take(3).map(|file| file.as_str()).collect();
        let more = files.len() - first.len();
        let first = first.join(", ");
        match more {
            0 => first,
            more => format!("{first} and {more} more"),
        }
    };
    let mut complaints = Vec::new();
    if !none.is_empty() {
        complaints.push(format!(
            "the list of distances names {}, and no frame is called so; write the names as they are, with ending and capitals",
            told(&none)
        ));
    }
    if !several.is_empty() {
        complaints.push(format!(
            "the list of distances names {}, and several frames are called so: all of them get that distance; measure their \
             folders one by one if they differ",
            told(&several)
        ));
    }
    complaints
}

fn measure_source(
    source: &Source,
    settings: &SweepSettings,
    limits: &Limits,
    progress: &ProgressBar,
) -> Vec<SweepMeasurement> {
    let infos: Vec<FrameInfo> = source.frames.iter().map(|(info, _)| info.clone()).collect();
    sweep::split(&infos, &source.name)
        .into_iter()
        .map(|group| {
            let before = progress.position();
            let frames: Vec<FrameInfo> = group
                .frames
                .iter()
                .map(|index| infos[*index].clone())
                .collect();
            let load = |index: usize| {
                let path = &source.frames[group.frames[index]].1;
                sources::bytes(path, limits)
                    .and_then(|bytes| intake::decode_plane(&bytes, limits))
                    .map_err(|error| Unmeasurable::Undecodable(error.to_string()))
            };
            sweep::measure(&group.name, &frames, &load, settings, &|done, _| {
                progress.set_position(before + done as u64);
            })
        })
        .collect()
}

/// A bar on standard error where that is a terminal.
pub(super) fn progress_bar(doing: &str, frames: u64) -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(frames);
    if let Ok(style) = ProgressStyle::with_template(&format!(
        "{doing} {{wide_bar}} {{pos}} of {{len}} frames, {{eta}} left"
    )) {
        bar.set_style(style);
    }
    bar
}

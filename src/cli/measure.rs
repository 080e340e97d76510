//! `breathmark measure`: frames in, report out, with no server and no database.

use std::collections::{BTreeMap, HashSet};
use std::io::{IsTerminal as _, Read as _};
use std::path::PathBuf;

use anyhow::{Context, bail};
use indicatif::{ProgressBar, ProgressStyle};

use super::sources::{self, Source};
use super::{Ending, complain, options, say};
use crate::intake::{self, Limits};
use crate::measure::Unmeasurable;
use crate::report::{ReportDocument, frames_csv, repeats_table, sweep_table, words};
use crate::sweep::{
    self, FrameInfo, FrameOrder, RepeatGroup, SweepGroup, SweepMeasurement, SweepSettings,
};
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

/// Most files that are named one by one as passed over.
const MOST_TOLD: usize = 12;

/// What stands below the options in the help.
const EXAMPLES: &str = "\
Examples:
  breathmark measure /media/card/DCIM
  breathmark measure 85mm.zip --closest-focus-m 0.8 --target-distance-m 2
  breathmark measure 85mm --distances distances.csv --format csv > frames.csv

Exit code: 0 done; 1 a sweep has no result, its findings say why; 2 wrong usage, or no picture to measure.";

#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
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
    #[arg(long, value_name = "MM", value_parser = options::focal_length, allow_negative_numbers = true)]
    focal_length_mm: Option<Millimetres>,
    /// f-number
    #[arg(long, value_name = "N", value_parser = options::f_number, allow_negative_numbers = true)]
    f_number: Option<FNumber>,
    /// Width of the picture area on the sensor, mm
    #[arg(long, value_name = "MM", value_parser = options::sensor_side, allow_negative_numbers = true)]
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
        for file in skipped.iter().take(MOST_TOLD) {
            complain(&format!("{} passed over: {}", file.file, file.reason));
        }
        if skipped.len() > MOST_TOLD {
            complain(&format!(
                "{} more passed over; --format json lists them all with the reasons",
                words::count(skipped.len() - MOST_TOLD, "file")
            ));
        }
        let frames: usize = sources.iter().map(|source| source.frames.len()).sum();
        if frames == 0 {
            bail!("there is no picture to measure; give a folder of the camera's JPEG files");
        }
        for complaint in strangers(&settings, &sources) {
            complain(&complaint);
        }
        let progress = progress_bar("measuring", frames as u64);
        let (mut sweeps, mut pictures) = (Vec::new(), Vec::new());
        for source in &sources {
            for (sweep, marks) in measure_source(source, &settings, &limits, &progress) {
                sweeps.push(sweep);
                pictures.push(marks);
            }
        }
        progress.finish_and_clear();
        tell_apart(&mut sweeps);
        let share_pictures =
            |one: usize, other: usize| !HashSet::is_disjoint(&pictures[one], &pictures[other]);
        let repeats = sweep::repeat_groups(&sweeps, &share_pictures);
        let report = ReportDocument::new(&sweeps, &repeats, skipped, self.tolerance_pct);
        say(&self.printed(&sweeps, &repeats, &report)?)?;
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
        repeats: &[RepeatGroup],
        report: &ReportDocument,
    ) -> anyhow::Result<String> {
        Ok(match self.format {
            Format::Json => serde_json::to_string_pretty(report)? + "\n",
            Format::Csv => frames_csv(&report.sweeps, &report.repeats)?,
            Format::Table => {
                let alone = sweeps
                    .iter()
                    .map(|sweep| sweep_table(sweep, self.tolerance_pct));
                let together = repeats
                    .iter()
                    .map(|group| repeats_table(sweeps, group, self.tolerance_pct));
                alone.chain(together).collect::<Vec<_>>().join("\n")
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
        // A list may come through a pipe, so it may also have no end.
        let mut bytes = Vec::new();
        std::fs::File::open(path)
            .and_then(|file| {
                file.take(intake::distances::LARGEST + 1)
                    .read_to_end(&mut bytes)
            })
            .with_context(|| format!("{} can't be read; check the path", path.display()))?;
        intake::distances::read(&bytes).with_context(|| path.display().to_string())
    }
}

/// What is to be said of given distances that belong to no frame, or to more than one.
fn strangers(settings: &SweepSettings, sources: &[Source]) -> Vec<String> {
    let named = |file: &String| {
        let frames = sources.iter().flat_map(|source| &source.frames);
        frames.filter(|frame| frame.info.file == *file).count()
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

/// Numbers sweeps of different sources that are called alike.
fn tell_apart(sweeps: &mut [SweepMeasurement]) {
    let mut taken: HashSet<String> = HashSet::new();
    for sweep in sweeps {
        let name = (1..)
            .map(|number| match number {
                1 => sweep.name.clone(),
                number => format!("{} ({number})", sweep.name),
            })
            .find(|name| !taken.contains(name));
        if let Some(name) = name {
            taken.insert(name.clone());
            sweep.name = name;
        }
    }
}

/// The sweeps of a source, each with the marks of its pictures.
fn measure_source(
    source: &Source,
    settings: &SweepSettings,
    limits: &Limits,
    progress: &ProgressBar,
) -> Vec<(SweepMeasurement, HashSet<String>)> {
    let frames = || source.frames.iter();
    let infos: Vec<FrameInfo> = frames().map(|frame| frame.info.clone()).collect();
    let load = |index: usize| {
        sources::bytes(&source.frames[index].path, limits)
            .and_then(|bytes| intake::decode_plane(&bytes, limits))
            .map_err(|error| Unmeasurable::Undecodable(error.to_string()))
    };
    let measured = |name: &str, group: &[usize]| {
        let before = progress.position();
        let frames: Vec<FrameInfo> = group.iter().map(|&index| infos[index].clone()).collect();
        let load = |at: usize| load(group[at]);
        sweep::measure_runs(name, &frames, &load, settings, &|done, _| {
            progress.set_position(before + done as u64);
        })
    };
    let with_pictures = |measured: SweepMeasurement, group: &[usize]| {
        let pictures = group.iter().map(|&index| {
            let frame = &source.frames[index];
            format!("{} {:?}", frame.mark, frame.info.captured_at)
        });
        (measured, pictures.collect())
    };
    let mut sweeps = Vec::new();
    for SweepGroup { name, frames } in sweep::split_looking(&infos, &source.name, &load) {
        let (whole, runs) = measured(&name, &frames);
        if runs.len() < 2 {
            sweeps.push(with_pictures(whole, &frames));
            continue;
        }
        // Only measuring shows that a bracket was begun anew without a pause.
        progress.inc_length(frames.len() as u64);
        for run in runs {
            let run: Vec<usize> = run.into_iter().map(|at| frames[at]).collect();
            let (alone, _) = measured(&name, &run);
            sweeps.push(with_pictures(alone, &run));
        }
    }
    sweeps
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

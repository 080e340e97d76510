//! `breathmark simulate`: a sweep with a known shift curve, and the truth beside it.

use std::path::PathBuf;

use anyhow::{Context, bail};

use super::{Ending, complain, options, say};
use crate::optics::Setup;
use crate::report::words;
use crate::simulate::{Breathing, LensModel, Scene, SweepScript};
use crate::units::{FNumber, FocusDistance, Metres, Millimetres};

#[derive(Debug, clap::Args)]
pub(super) struct Simulate {
    /// Folder for the frames and truth.json; made where it is missing, and must be empty
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Marked focal length, mm
    #[arg(long, default_value = "85", value_name = "MM", value_parser = options::focal_length, allow_negative_numbers = true)]
    focal_length_mm: Millimetres,
    /// Shift at closest focus, per cent; positive is tighter, negative wider
    #[arg(long, default_value = "2.05", value_name = "PCT", value_parser = options::shift, allow_negative_numbers = true)]
    worst_shift_pct: f64,
    /// Frames, 1 to 200
    #[arg(long, default_value_t = 24, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=200))]
    frames: u16,
    /// f-number
    #[arg(long, default_value = "5.6", value_name = "N", value_parser = options::f_number, allow_negative_numbers = true)]
    f_number: FNumber,
    /// Focus distance of the first frame from the sensor plane, m
    #[arg(long, default_value = "0.8", value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    closest_focus_m: Metres,
    /// Focus distance of the last frame, m; infinity where it is not given
    #[arg(long, value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    farthest_focus_m: Option<Metres>,
    /// Distance from the sensor plane to the targets, m
    #[arg(long, default_value = "2", value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    target_distance_m: Metres,
    /// Columns of the frames, 320 to 8192 px; rows are two thirds of it
    #[arg(long, default_value_t = 1920, value_name = "PX", value_parser = clap::value_parser!(u32).range(320..=8192))]
    width_px: u32,
    /// JPEG quality, 30 to 100
    #[arg(long, default_value_t = 90, value_name = "QUALITY", value_parser = clap::value_parser!(u8).range(30..=100))]
    quality: u8,
    /// Leave the focus distances out of the files
    #[arg(long)]
    no_distances: bool,
    /// Seed of the noise; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

impl Simulate {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let closest_focus_m = self.closest_focus_m.m();
        if self
            .farthest_focus_m
            .is_some_and(|farthest| farthest.m() <= closest_focus_m)
        {
            bail!("--farthest-focus-m must be beyond --closest-focus-m");
        }
        let mut setup = Setup::new(self.focal_length_mm, self.f_number, self.closest_focus_m)?;
        setup.target_distance = Some(self.target_distance_m);
        if let Err(impossible) = setup.check() {
            let option = impossible.parameter().replace('_', "-");
            bail!("--{option}: {impossible}");
        }
        self.make_folder()?;
        let script = self.script();
        let frames = script.frames as u64;
        let bar = super::measure::progress_bar("rendering", frames);
        script
            .write_to(&self.folder, &|done| bar.set_position(done as u64))
            .with_context(|| format!("{} can't be written", self.folder.display()))?;
        bar.finish_and_clear();
        complain(&format!(
            "{} and truth.json in {}",
            words::count(script.frames, "frame"),
            self.folder.display()
        ));
        say(&format!("{}\n", self.folder.display()))?;
        Ok(Ending::Done)
    }

    fn script(&self) -> SweepScript {
        let focal_mm = self.focal_length_mm.mm();
        let closest_focus_m = self.closest_focus_m.m();
        let mut script =
            SweepScript::plain(focal_mm, self.worst_shift_pct, usize::from(self.frames));
        script.scene = Scene {
            target_distance_m: self.target_distance_m.m(),
            ..Scene::two_targets(self.width_px, self.width_px * 2 / 3)
        };
        script.lens = LensModel {
            f_number: self.f_number.n(),
            breathing: Breathing::reaching(self.worst_shift_pct, closest_focus_m),
            ..LensModel::still(focal_mm)
        };
        script.closest_focus_m = closest_focus_m;
        script.last = self
            .farthest_focus_m
            .map_or(FocusDistance::Infinity, FocusDistance::At);
        script.capture.write_distances = !self.no_distances;
        script.picture.jpeg_quality = self.quality;
        script.seed = self.seed;
        script
    }

    fn make_folder(&self) -> anyhow::Result<()> {
        let folder = &self.folder;
        std::fs::create_dir_all(folder)
            .with_context(|| format!("{} can't be made", folder.display()))?;
        let mut entries = std::fs::read_dir(folder)
            .with_context(|| format!("{} can't be listed", folder.display()))?;
        if entries.next().is_some() {
            bail!("{} is not empty; name a new folder", folder.display());
        }
        Ok(())
    }
}

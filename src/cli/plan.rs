//! `breathmark plan`: where to put the targets, how large, which aperture, how many frames.

use std::fmt::Write;

use anyhow::anyhow;

use super::{Ending, options, say};
use crate::optics::{Setup, ShootingPlan};
use crate::report::words;
use crate::units::{FNumber, Metres, Millimetres};

#[derive(Debug, clap::Args)]
pub(super) struct Plan {
    /// Marked focal lengths to shoot, mm, with blanks between them
    #[arg(long, required = true, num_args = 1.., value_name = "MM", value_parser = options::one_of_several_focal_lengths, allow_negative_numbers = true)]
    focal_length_mm: Vec<Millimetres>,
    /// Largest opening of the lens, as an f-number
    #[arg(long, default_value = "2.8", value_name = "N", value_parser = options::f_number, allow_negative_numbers = true)]
    maximum_aperture: FNumber,
    /// Closest focus from the sensor plane, m
    #[arg(long, default_value = "0.5", value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    closest_focus_m: Metres,
    /// Distance from the sensor plane to the targets, m; advised where it is not given
    #[arg(long, value_name = "M", value_parser = options::metres, allow_negative_numbers = true)]
    target_distance_m: Option<Metres>,
    /// f-number to shoot at; advised where it is not given
    #[arg(long, value_name = "N", value_parser = options::f_number, allow_negative_numbers = true)]
    f_number: Option<FNumber>,
    /// Width of the picture area on the sensor, mm
    #[arg(long, default_value = "36", value_name = "MM", value_parser = options::sensor_side, allow_negative_numbers = true)]
    sensor_width_mm: Millimetres,
    /// Height of the picture area on the sensor, mm
    #[arg(long, default_value = "24", value_name = "MM", value_parser = options::sensor_side, allow_negative_numbers = true)]
    sensor_height_mm: Millimetres,
    /// Columns of the pictures, 320 to 32768 px
    #[arg(long, default_value_t = 1920, value_name = "PX", value_parser = clap::value_parser!(u32).range(320..=32768))]
    picture_width_px: u32,
    /// Shift to be ready for in either direction, per cent
    #[arg(long, default_value = "6", value_name = "PCT", value_parser = options::shift, allow_negative_numbers = true)]
    expected_shift_pct: f64,
}

impl Plan {
    pub(super) fn run(self) -> anyhow::Result<Ending> {
        let planned = |focal_length: &Millimetres| {
            let setup = self.setup(*focal_length);
            if let Err(impossible) = setup.check() {
                let option = impossible.parameter().replace('_', "-");
                return Err(anyhow!("--{option}: {impossible}"));
            }
            Ok(sheet(*focal_length, &ShootingPlan::for_setup(&setup)))
        };
        let sheets: Vec<String> = self
            .focal_length_mm
            .iter()
            .map(planned)
            .collect::<anyhow::Result<_>>()?;
        say(&sheets.join("\n"))?;
        Ok(Ending::Done)
    }

    fn setup(&self, focal_length: Millimetres) -> Setup {
        Setup {
            focal_length,
            maximum_aperture: self.maximum_aperture,
            closest_focus: self.closest_focus_m,
            target_distance: self.target_distance_m,
            f_number: self.f_number,
            sensor_width: self.sensor_width_mm,
            sensor_height: self.sensor_height_mm,
            picture_width_px: self.picture_width_px,
            expected_shift_pct: self.expected_shift_pct.abs(),
        }
    }
}

/// The plan for one focal length as lines of text.
fn sheet(focal_length: Millimetres, plan: &ShootingPlan) -> String {
    let title = words::focal_length(focal_length.mm());
    let mut text = format!("{title}\n{}\n", "─".repeat(title.chars().count().max(8)));
    let mut line = |label: &str, value: String| {
        // Writing into a string can't fail.
        let _ = writeln!(text, "  {label:<22}{value}");
    };
    line(
        "targets at",
        format!(
            "{} from the sensor plane",
            words::distance(plan.target_distance_m)
        ),
    );
    line(
        "field there",
        format!(
            "{} × {}",
            words::metres(plan.field_width_m),
            words::metres(plan.field_height_m)
        ),
    );
    line(
        "between the targets",
        format!(
            "{} ({:.0} px)",
            words::metres(plan.target_spacing_m),
            plan.target_spacing_px
        ),
    );
    line(
        "tape",
        format!("{:.0} mm square ({:.0} px)", plan.tape_mm, plan.tape_px),
    );
    line(
        "moved in",
        format!(
            "{} from each edge",
            words::metres((plan.field_width_m - plan.target_spacing_m) / 2.0)
        ),
    );
    line("aperture", words::f_number(plan.f_number));
    line(
        "blur",
        format!(
            "{:.0} px at closest focus, {:.0} px at infinity",
            plan.blur_near_px, plan.blur_far_px
        ),
    );
    line("frames", plan.frames.to_string());
    line(
        "uncertainty",
        format!(
            "± {} percentage points (k = 2), and up to {:.2} to one side from the moving entrance pupil",
            words::expanded(plan.expected_u_pct),
            plan.perspective_bound_pct
        ),
    );
    line(
        "leaves the frame at",
        plan.leaves_frame_at_pct
            .map_or_else(|| "any shift, and at none".to_owned(), words::signed_pct),
    );
    for note in &plan.notes {
        let _ = writeln!(text, "  mind: {note}");
    }
    text
}

//! Frames: what a file says, what was measured in it.

use serde::{Deserialize, Serialize};
use time::format_description::BorrowedFormatItem;
use time::macros::format_description;
use time::{PrimitiveDateTime, UtcOffset};

use super::number::{Number, Pair, measured, pair};
use super::target::TargetDoc;
use crate::measure::Unmeasurable;
use crate::store::StoreError;
use crate::sweep::{CaptureTime, FrameInfo, FrameResult, FrameState};
use crate::units::{FNumber, FocusDistance, Metres, Millimetres};

const EXACT_TIME: &[BorrowedFormatItem<'static>] =
    format_description!("[year]-[month]-[day]T[hour]:[minute]:[second].[subsecond digits:9]");

#[derive(Serialize, Deserialize)]
pub(super) struct CaptureTimeDoc {
    local: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    offset_s: Option<i32>,
}

impl CaptureTimeDoc {
    pub(super) fn of(time: CaptureTime) -> Option<Self> {
        let CaptureTime { local, offset } = time;
        Some(Self {
            local: local.format(EXACT_TIME).ok()?,
            offset_s: offset.map(UtcOffset::whole_seconds),
        })
    }

    pub(super) fn read(self) -> Result<CaptureTime, StoreError> {
        let damaged = || StoreError::Damaged(format!("\"{}\" is no time", self.local));
        Ok(CaptureTime {
            local: PrimitiveDateTime::parse(&self.local, EXACT_TIME).map_err(|_| damaged())?,
            offset: self
                .offset_s
                .map(UtcOffset::from_whole_seconds)
                .transpose()
                .map_err(|_| damaged())?,
        })
    }
}

/// Where a lens is focused: metres, or infinity.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum FocusDoc {
    Infinity,
    AtM(Number),
}

impl FocusDoc {
    pub(super) const fn of(distance: FocusDistance) -> Self {
        match distance {
            FocusDistance::Infinity => Self::Infinity,
            FocusDistance::At(metres) => Self::AtM(Number(metres.m())),
        }
    }

    pub(super) fn read(self) -> Result<FocusDistance, StoreError> {
        Ok(match self {
            Self::Infinity => FocusDistance::Infinity,
            Self::AtM(metres) => FocusDistance::At(Metres::new(metres.0)?),
        })
    }
}

/// What a file says of itself.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct FrameInfoDoc {
    file: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    folder: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    captured_at: Option<CaptureTimeDoc>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focal_length_mm: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focal_length_35mm_mm: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    f_number: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lens: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    camera: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focus_distance: Option<FocusDoc>,
}

impl FrameInfoDoc {
    pub(in crate::store) fn of(info: &FrameInfo) -> Self {
        let FrameInfo {
            file,
            folder,
            captured_at,
            focal_length,
            focal_length_35mm,
            f_number,
            lens,
            camera,
            focus_distance,
        } = info;
        Self {
            file: file.clone(),
            folder: folder.clone(),
            captured_at: captured_at.and_then(CaptureTimeDoc::of),
            focal_length_mm: focal_length.map(|length| Number(length.mm())),
            focal_length_35mm_mm: focal_length_35mm.map(|length| Number(length.mm())),
            f_number: f_number.map(|number| Number(number.n())),
            lens: lens.clone(),
            camera: camera.clone(),
            focus_distance: focus_distance.map(FocusDoc::of),
        }
    }

    pub(in crate::store) fn read(self) -> Result<FrameInfo, StoreError> {
        Ok(FrameInfo {
            file: self.file,
            folder: self.folder,
            captured_at: self.captured_at.map(CaptureTimeDoc::read).transpose()?,
            focal_length: millimetres(self.focal_length_mm)?,
            focal_length_35mm: millimetres(self.focal_length_35mm_mm)?,
            f_number: f_number(self.f_number)?,
            lens: self.lens,
            camera: self.camera,
            focus_distance: self.focus_distance.map(FocusDoc::read).transpose()?,
        })
    }
}

pub(super) fn millimetres(number: Option<Number>) -> Result<Option<Millimetres>, StoreError> {
    Ok(number.map(|n| Millimetres::new(n.0)).transpose()?)
}

pub(super) fn metres(number: Option<Number>) -> Result<Option<Metres>, StoreError> {
    Ok(number.map(|n| Metres::new(n.0)).transpose()?)
}

pub(super) fn f_number(number: Option<Number>) -> Result<Option<FNumber>, StoreError> {
    Ok(number.map(|n| FNumber::new(n.0)).transpose()?)
}

/// `Unmeasurable`, variant by variant.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ReasonDoc {
    Undecodable(String),
    NoTargets,
    OneTarget,
    Clipped,
    Overlapping,
    TooFaint,
    PartlyCovered,
    RunTogether,
    DisagreesWithNeighbours,
    OtherSize {
        found: (u32, u32),
        sweep: (u32, u32),
    },
    Fault(String),
}

impl ReasonDoc {
    fn of(reason: &Unmeasurable) -> Self {
        match reason {
            Unmeasurable::Undecodable(text) => Self::Undecodable(text.clone()),
            Unmeasurable::NoTargets => Self::NoTargets,
            Unmeasurable::OneTarget => Self::OneTarget,
            Unmeasurable::Clipped => Self::Clipped,
            Unmeasurable::Overlapping => Self::Overlapping,
            Unmeasurable::TooFaint => Self::TooFaint,
            Unmeasurable::PartlyCovered => Self::PartlyCovered,
            Unmeasurable::RunTogether => Self::RunTogether,
            Unmeasurable::DisagreesWithNeighbours => Self::DisagreesWithNeighbours,
            Unmeasurable::OtherSize {
                found_width,
                found_height,
                width,
                height,
            } => Self::OtherSize {
                found: (*found_width, *found_height),
                sweep: (*width, *height),
            },
            Unmeasurable::Fault(text) => Self::Fault(text.clone()),
        }
    }

    fn read(self) -> Unmeasurable {
        match self {
            Self::Undecodable(text) => Unmeasurable::Undecodable(text),
            Self::NoTargets => Unmeasurable::NoTargets,
            Self::OneTarget => Unmeasurable::OneTarget,
            Self::Clipped => Unmeasurable::Clipped,
            Self::Overlapping => Unmeasurable::Overlapping,
            Self::TooFaint => Unmeasurable::TooFaint,
            Self::PartlyCovered => Unmeasurable::PartlyCovered,
            Self::RunTogether => Unmeasurable::RunTogether,
            Self::DisagreesWithNeighbours => Unmeasurable::DisagreesWithNeighbours,
            Self::OtherSize { found, sweep } => Unmeasurable::OtherSize {
                found_width: found.0,
                found_height: found.1,
                width: sweep.0,
                height: sweep.1,
            },
            Self::Fault(text) => Unmeasurable::Fault(text),
        }
    }
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum StateDoc {
    Measured,
    LeftOut(String),
    Failed(ReasonDoc),
}

/// One frame of a measured sweep.
#[derive(Serialize, Deserialize)]
pub(super) struct FrameResultDoc {
    info: FrameInfoDoc,
    state: StateDoc,
    travel: Number,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focus_dioptres: Option<Pair>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    targets: Vec<TargetDoc>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    separation_px: Option<Pair>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shift_pct: Option<Pair>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    blur_px: Vec<Option<Number>>,
}

impl FrameResultDoc {
    pub(super) fn of(frame: &FrameResult) -> Self {
        let FrameResult {
            info,
            state,
            travel,
            focus_dioptres,
            targets,
            separation_px,
            shift_pct,
            blur_px,
        } = frame;
        Self {
            info: FrameInfoDoc::of(info),
            state: match state {
                FrameState::Measured => StateDoc::Measured,
                FrameState::LeftOut(reason) => StateDoc::LeftOut(reason.clone()),
                FrameState::Failed(why) => StateDoc::Failed(ReasonDoc::of(why)),
            },
            travel: Number(*travel),
            focus_dioptres: focus_dioptres.map(pair),
            targets: targets.iter().map(TargetDoc::of).collect(),
            separation_px: separation_px.map(pair),
            shift_pct: shift_pct.map(pair),
            blur_px: blur_px.iter().map(|blur| blur.map(Number)).collect(),
        }
    }

    pub(super) fn read(self) -> Result<FrameResult, StoreError> {
        Ok(FrameResult {
            info: self.info.read()?,
            state: match self.state {
                StateDoc::Measured => FrameState::Measured,
                StateDoc::LeftOut(reason) => FrameState::LeftOut(reason),
                StateDoc::Failed(why) => FrameState::Failed(why.read()),
            },
            travel: self.travel.0,
            focus_dioptres: self.focus_dioptres.map(measured),
            targets: self
                .targets
                .into_iter()
                .map(TargetDoc::read)
                .collect::<Result<_, _>>()?,
            separation_px: self.separation_px.map(measured),
            shift_pct: self.shift_pct.map(measured),
            blur_px: self
                .blur_px
                .into_iter()
                .map(|blur| blur.map(|n| n.0))
                .collect(),
        })
    }
}

//! `PATCH /api/v1/sweeps/{id}`, `POST …/publish`, `POST …/withdraw`.

use std::collections::BTreeMap;

use axum::Json;
use axum::extract::{Extension, State};
use axum::response::IntoResponse;
use serde::{Deserialize, Serialize};

use super::Document;
use crate::app::App;
use crate::store::{Sweep, SweepId};
use crate::sweep::{FrameOrder, SweepSettings};
use crate::units::{FNumber, FocusDistance};
use crate::web::WebError;
use crate::web::desk::changes::change;
use crate::web::desk::own_sweep;
use crate::web::desk::publishing::{publish_sweep, withdraw_sweep, withdrawal_reason};
use crate::web::inputs::{
    Check, DISTANCE_M, F_NUMBER, FOCAL_MM, NOTE_CHARACTERS, SENSOR_MM, metres, millimetres,
};
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// A field that may be left alone (absent), taken back (`null`) or given.
#[derive(Debug, Default)]
enum Given<T> {
    #[default]
    Absent,
    TakenBack,
    Value(T),
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Given<T> {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Option::deserialize(deserializer)?.map_or(Self::TakenBack, Self::Value))
    }
}

impl<T> Given<T> {
    /// The new value of a setting: the old one where the field is absent.
    fn or_keep<U>(self, kept: Option<U>, read: impl FnOnce(T) -> Option<U>) -> Option<U> {
        match self {
            Self::Absent => kept,
            Self::TakenBack => None,
            Self::Value(value) => read(value),
        }
    }
}

/// A focus distance: metres, or `"infinity"`.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum DistanceInput {
    Metres(f64),
    Word(String),
}

/// What to change of a sweep; absent fields stay, `null` takes back.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(in crate::web) struct Changes {
    target_distance_m: Given<f64>,
    closest_focus_m: Given<f64>,
    focal_length_mm: Given<f64>,
    f_number: Given<f64>,
    sensor_width_mm: Given<f64>,
    /// `auto`, `name`, `time` or `reverse`.
    order: Given<String>,
    last_not_at_infinity: Option<bool>,
    /// Focus distance by file name; replaces all that were given before.
    distances: Given<BTreeMap<String, DistanceInput>>,
    /// Reason by file name of each frame left out; replaces all.
    left_out: Given<BTreeMap<String, String>>,
    notes: Given<String>,
}

impl Changes {
    fn apply(self, sweep: &Sweep, check: &mut Check) -> (SweepSettings, String) {
        let kept = sweep.settings.clone();
        let settings = SweepSettings {
            target_distance: self.target_distance_m.or_keep(kept.target_distance, |m| {
                metres("target_distance_m", Some(m), check)
            }),
            closest_focus: self.closest_focus_m.or_keep(kept.closest_focus, |m| {
                metres("closest_focus_m", Some(m), check)
            }),
            focal_length: self.focal_length_mm.or_keep(kept.focal_length, |mm| {
                millimetres("focal_length_mm", Some(mm), &FOCAL_MM, check)
            }),
            f_number: self.f_number.or_keep(kept.f_number, |n| {
                let n = check.within("f_number", Some(n), &F_NUMBER, "")?;
                FNumber::new(n).ok()
            }),
            sensor_width: self.sensor_width_mm.or_keep(kept.sensor_width, |mm| {
                millimetres("sensor_width_mm", Some(mm), &SENSOR_MM, check)
            }),
            order: match self.order {
                Given::Absent => kept.order,
                Given::TakenBack => FrameOrder::default(),
                Given::Value(code) => {
                    let order = FrameOrder::ALL
                        .into_iter()
                        .find(|order| order.code() == code);
                    check
                        .required("order", order, "auto, name, time or reverse")
                        .unwrap_or_default()
                }
            },
            last_not_at_infinity: self
                .last_not_at_infinity
                .unwrap_or(kept.last_not_at_infinity),
            distances: match self.distances {
                Given::Absent => kept.distances,
                Given::TakenBack => BTreeMap::new(),
                Given::Value(given) => distances(given, sweep, check),
            },
            left_out: match self.left_out {
                Given::Absent => kept.left_out,
                Given::TakenBack => BTreeMap::new(),
                Given::Value(given) => left_out(given, sweep, check),
            },
            pointed_at: kept.pointed_at,
        };
        let notes = match self.notes {
            Given::Absent => sweep.notes.clone(),
            Given::TakenBack => String::new(),
            Given::Value(text) => check
                .text("notes", &text, NOTE_CHARACTERS)
                .unwrap_or_default(),
        };
        (settings, notes)
    }
}

fn check_frame(field: &str, file: &str, sweep: &Sweep, check: &mut Check) -> bool {
    let known = sweep.files.iter().any(|(known, _)| known == file);
    if !known {
        let shown: String = file.chars().take(60).collect();
        check.refuse(field, format!("the sweep has no frame “{shown}”"));
    }
    known
}

fn distances(
    given: BTreeMap<String, DistanceInput>,
    sweep: &Sweep,
    check: &mut Check,
) -> BTreeMap<String, FocusDistance> {
    given
        .into_iter()
        .filter_map(|(file, distance)| {
            if !check_frame("distances", &file, sweep, check) {
                return None;
            }
            let distance = match distance {
                DistanceInput::Metres(m) => {
                    let m = check.within("distances", Some(m), &DISTANCE_M, "m, or “infinity”")?;
                    FocusDistance::At(metres("distances", Some(m), check)?)
                }
                DistanceInput::Word(word) if word == "infinity" => FocusDistance::Infinity,
                DistanceInput::Word(_) => {
                    check.refuse("distances", "give metres as a number, or “infinity”");
                    return None;
                }
            };
            Some((file, distance))
        })
        .collect()
}

fn left_out(
    given: BTreeMap<String, String>,
    sweep: &Sweep,
    check: &mut Check,
) -> BTreeMap<String, String> {
    given
        .into_iter()
        .filter_map(|(file, reason)| {
            if !check_frame("left_out", &file, sweep, check) {
                return None;
            }
            let reason = check.line("left_out", &reason, NOTE_CHARACTERS);
            let reason = check.required("left_out", reason, "a reason for each frame")?;
            Some((file, reason))
        })
        .collect()
}

/// Where a sweep stands after a change.
#[derive(Serialize)]
struct ChangedDocument {
    id: SweepId,
    job: Option<&'static str>,
}

/// Changes what is said of a sweep and queues a new measurement.
pub(in crate::web) async fn patch(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    Document(changes): Document<Changes>,
) -> Result<impl IntoResponse, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let mut check = Check::default();
    let changed = changes.apply(&sweep, &mut check);
    let (settings, notes) = check.finish(Some(changed))?;
    change(&app, id, &settings, &notes).await?;
    let sweep = own_sweep(&app.store, &account, id).await?;
    Ok(Json(ChangedDocument {
        id,
        job: sweep.job.map(|job| job.state.code()),
    }))
}

#[derive(Serialize)]
struct PublishedDocument {
    id: SweepId,
    version: u32,
}

/// Makes the newest result public.
pub(in crate::web) async fn publish(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
) -> Result<impl IntoResponse, WebError> {
    let version = publish_sweep(&app, &account, id, &request).await?;
    Ok(Json(PublishedDocument { id, version }))
}

/// Why something is withdrawn.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Withdrawal {
    #[serde(default)]
    reason: String,
}

#[derive(Serialize)]
struct WithdrawnDocument {
    id: SweepId,
    reason: String,
}

/// Takes the public version back.
pub(in crate::web) async fn withdraw(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
    Document(withdrawal): Document<Withdrawal>,
) -> Result<impl IntoResponse, WebError> {
    let mut check = Check::default();
    let reason = withdrawal_reason(&withdrawal.reason, "reason", &mut check);
    let reason = check.finish(reason)?;
    withdraw_sweep(&app, &account, id, &reason, &request).await?;
    Ok(Json(WithdrawnDocument { id, reason }))
}

//! `PATCH /api/v1/sweeps/{id}`, `POST …/publish`, `POST …/withdraw`.

use std::collections::BTreeMap;

use axum::Json;
use axum::extract::{Extension, State};
use axum::response::IntoResponse;
use serde::{Deserialize, Serialize};

use super::Document;
use crate::app::App;
use crate::store::{Said, Sweep, SweepId};
use crate::sweep::FrameOrder;
use crate::units::{
    F_NUMBERS, FNumber, FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, FocusDistance, SENSOR_SIDES_MM,
};
use crate::web::WebError;
use crate::web::desk::changes::change;
use crate::web::desk::filing::move_sweep;
use crate::web::desk::pointing::{UNMEASURED, picture_size};
use crate::web::desk::publishing::{publish_sweep, withdraw_sweep, withdrawal_reason};
use crate::web::desk::{own_sweep, sweep_to_change};
use crate::web::inputs::{
    CAMERA_CHARACTERS, Check, NOTE_CHARACTERS, metres, millimetres, switch, target_places,
};
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// A field that may be left alone (absent), taken back (`null`) or given.
#[derive(Debug, Default, Clone, Copy)]
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
    /// The same with the value read.
    fn map<U>(self, read: impl FnOnce(T) -> U) -> Given<U> {
        match self {
            Self::Absent => Given::Absent,
            Self::TakenBack => Given::TakenBack,
            Self::Value(value) => Given::Value(read(value)),
        }
    }
}

impl<T: Default> Given<T> {
    /// Puts it in the place of what was said.
    fn put(self, said: &mut T) {
        match self {
            Self::Absent => {}
            Self::TakenBack => *said = T::default(),
            Self::Value(value) => *said = value,
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
    /// `on`, `off` or `unknown`; the same for the next two.
    distortion_correction: Given<String>,
    breathing_compensation: Given<String>,
    stabilisation: Given<String>,
    target_distance_m: Given<f64>,
    closest_focus_m: Given<f64>,
    focal_length_mm: Given<f64>,
    f_number: Given<f64>,
    sensor_width_mm: Given<f64>,
    /// Camera, where the files don't state it.
    camera: Given<String>,
    /// `auto`, `name`, `time` or `reverse`.
    order: Given<String>,
    last_not_at_infinity: Option<bool>,
    /// Focus distance by file name; replaces all that were given before.
    distances: Given<BTreeMap<String, DistanceInput>>,
    /// Reason by file name of each frame left out; replaces all.
    left_out: Given<BTreeMap<String, String>>,
    /// Places of the targets by file name, each as x and y in px; replaces all.
    target_places: Given<BTreeMap<String, Vec<(f64, f64)>>>,
    notes: Given<String>,
    /// Slug of the lens to file it under instead; not while it is public.
    lens: Option<String>,
}

impl Changes {
    /// What they do to what is said of a sweep; complaints go to `check`.
    fn checked(self, sweep: &Sweep, check: &mut Check) -> impl FnOnce(&mut Said) + Send + use<> {
        let mut position = |field: &str, given: Given<String>| {
            given.map(|code: String| switch(field, &code, check))
        };
        let correction = position("distortion_correction", self.distortion_correction);
        let compensation = position("breathing_compensation", self.breathing_compensation);
        let stabilisation = position("stabilisation", self.stabilisation);
        let mut distance =
            |field: &str, given: Given<f64>| given.map(|m| metres(field, Some(m), check));
        let target_distance = distance("target_distance_m", self.target_distance_m);
        let closest_focus = distance("closest_focus_m", self.closest_focus_m);
        let focal_length = self
            .focal_length_mm
            .map(|mm| millimetres("focal_length_mm", Some(mm), &FOCAL_LENGTHS_MM, check));
        let f_number = self.f_number.map(|n| {
            let n = check.within("f_number", Some(n), &F_NUMBERS, "")?;
            FNumber::new(n).ok()
        });
        let camera = self
            .camera
            .map(|name| check.line("camera", &name, CAMERA_CHARACTERS));
        let sensor_width = self
            .sensor_width_mm
            .map(|mm| millimetres("sensor_width_mm", Some(mm), &SENSOR_SIDES_MM, check));
        let order = self.order.map(|code| order(&code, check));
        let distances = self.distances.map(|given| distances(given, sweep, check));
        let left_out = self.left_out.map(|given| left_out(given, sweep, check));
        let pointed_at = self
            .target_places
            .map(|given| pointed_at(&given, sweep, check));
        let notes = self.notes.map(|text| {
            check
                .text("notes", &text, NOTE_CHARACTERS)
                .unwrap_or_default()
        });
        let last_not_at_infinity = self.last_not_at_infinity;
        move |said| {
            let (shoot, own) = (&mut said.conditions, &mut said.settings);
            correction.put(&mut shoot.distortion_correction);
            compensation.put(&mut shoot.breathing_compensation);
            stabilisation.put(&mut shoot.stabilisation);
            // Both speak of these, and the sweep's own word goes first.
            target_distance.put(&mut shoot.target_distance);
            target_distance.put(&mut own.target_distance);
            closest_focus.put(&mut shoot.closest_focus);
            closest_focus.put(&mut own.closest_focus);
            focal_length.put(&mut own.focal_length);
            f_number.put(&mut own.f_number);
            camera.put(&mut own.camera);
            sensor_width.put(&mut own.sensor_width);
            order.put(&mut own.order);
            own.last_not_at_infinity = last_not_at_infinity.unwrap_or(own.last_not_at_infinity);
            distances.put(&mut own.distances);
            left_out.put(&mut own.left_out);
            pointed_at.put(&mut own.pointed_at);
            notes.put(&mut said.notes);
        }
    }
}

fn order(code: &str, check: &mut Check) -> FrameOrder {
    check
        .required(
            "order",
            FrameOrder::from_code(code),
            "auto, name, time or reverse",
        )
        .unwrap_or_default()
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
                    let m = check.within(
                        "distances",
                        Some(m),
                        &FOCUS_DISTANCES_M,
                        "m, or “infinity”",
                    )?;
                    FocusDistance::At(metres("distances", Some(m), check)?)
                }
                DistanceInput::Word(word) if matches!(word.as_str(), "infinity" | "inf") => {
                    FocusDistance::Infinity
                }
                DistanceInput::Word(_) => {
                    check.refuse(
                        "distances",
                        format!("{file}: give metres as a number, or “infinity”"),
                    );
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

fn pointed_at(
    given: &BTreeMap<String, Vec<(f64, f64)>>,
    sweep: &Sweep,
    check: &mut Check,
) -> BTreeMap<String, Vec<(f64, f64)>> {
    let Some(size) = picture_size(sweep) else {
        check.refuse("target_places", UNMEASURED);
        return BTreeMap::new();
    };
    given
        .iter()
        .filter_map(|(file, places)| {
            if !check_frame("target_places", file, sweep, check) {
                return None;
            }
            let places = target_places("target_places", places, size, check)?;
            Some((file.clone(), places))
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
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
    Document(changes): Document<Changes>,
) -> Result<impl IntoResponse, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let mut check = Check::default();
    let into = match &changes.lens {
        Some(slug) => {
            let lens = app.store.lens_by_slug(slug).await?;
            check.required("lens", lens, "the slug of a lens that is there")
        }
        None => None,
    };
    let changed = changes.checked(&sweep, &mut check);
    let changed = check.finish(Some(changed))?;
    match into.filter(|into| into.id != sweep.lens.id) {
        Some(into) => move_sweep(&app, &account, id, &into, changed, &request).await?,
        None => change(&app, id, changed).await?,
    }
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

//! What is asked of a counter-scale table: whose framing is held, and where the rows stand.

use super::query::Params;
use crate::report::{self, Held, Place};
use crate::sweep::ShiftCurve;
use crate::units::{FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, distance_m};
use crate::web::WebError;

/// Steps in distance that can be asked for, m.
const STEPS_M: std::ops::RangeInclusive<f64> = 0.01..=100.0;
/// Steps in travel that can be asked for.
pub(super) const STEPS_TRAVEL: std::ops::RangeInclusive<f64> = 0.005..=1.0;
/// Most rows of a table.
const MOST_ROWS: f64 = 500.0;
/// Step where none is asked for, m.
const USUAL_STEP_M: f64 = 0.25;
/// Where the steps end, before infinity, m.
const USUAL_FAR_M: f64 = 10.0;
/// Step in travel where no distance is known.
const USUAL_STEP_TRAVEL: f64 = 0.05;

/// How the rows run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::web) enum Steps {
    /// Even steps in distance, then infinity.
    Distance {
        /// Step, m.
        step_m: f64,
        /// Last of them, m.
        far_m: f64,
        /// The step was given in feet, so distances are told in feet first.
        in_feet: bool,
    },
    /// Even steps in travel, from closest focus to the last frame.
    Travel {
        /// Step.
        step: f64,
    },
}

impl Steps {
    /// The step, m, where the rows run along distance.
    pub(super) fn metres(self) -> Option<f64> {
        match self {
            Self::Distance { step_m, .. } => Some(step_m),
            Self::Travel { .. } => None,
        }
    }

    /// The step where the rows run along travel.
    pub(super) fn travel(self) -> Option<f64> {
        match self {
            Self::Travel { step } => Some(step),
            Self::Distance { .. } => None,
        }
    }

    /// The places of the rows, closest focus first.
    pub(super) fn places(self, curves: &[&ShiftCurve]) -> Vec<Place> {
        match self {
            Self::Distance {
                step_m,
                far_m,
                in_feet,
            } => report::distance_places(curves, step_m, far_m, in_feet)
                .into_iter()
                .map(Place::Dioptres)
                .collect(),
            Self::Travel { step } => {
                let whole = (1.0 / step + 1e-9).floor() as u32;
                // Steps have at most so many decimals as people type; what is beyond is noise of the arithmetic.
                let noiseless = |travel: f64| (travel * 1e9).round() / 1e9;
                let steps = (0..=whole).map(|n| noiseless(f64::from(n) * step));
                let mut travels: Vec<f64> = steps.collect();
                match travels.last_mut() {
                    Some(last) if 1.0 - *last < 1e-9 => *last = 1.0,
                    _ => travels.push(1.0),
                }
                travels.into_iter().map(Place::Travel).collect()
            }
        }
    }
}

/// The question.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::web) struct ScaleQuestion {
    /// Focal length, mm; every one where not given.
    pub(super) focal_mm: Option<f64>,
    /// The framing that is held.
    pub(super) held: Held,
    /// Whether the distance whose framing is held was given in feet or inches.
    pub(super) held_in_feet: bool,
    /// How the rows run; `None` where the reader leaves it open.
    steps: Option<Steps>,
    /// Conditions as their code names them; those of most results where not given.
    pub(super) conditions: Option<String>,
}

impl ScaleQuestion {
    /// The question in a query.
    pub(in crate::web) fn read(params: &Params) -> Result<Self, WebError> {
        Ok(Self {
            focal_mm: params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?,
            held: held(params)?,
            held_in_feet: params.is_in_feet("hold_m"),
            steps: steps(params)?,
            conditions: params.text("conditions").map(str::to_owned),
        })
    }

    /// How the rows run for these curves: as asked, else by distance, or by travel where no distance is known.
    pub(super) fn steps_for(&self, curves: &[&ShiftCurve]) -> Steps {
        let known = curves.is_empty() || curves.iter().any(|c| c.range_dioptres().is_some());
        self.steps.unwrap_or(if known {
            Steps::Distance {
                step_m: USUAL_STEP_M,
                far_m: USUAL_FAR_M,
                in_feet: false,
            }
        } else {
            Steps::Travel {
                step: USUAL_STEP_TRAVEL,
            }
        })
    }

    /// The word for the framing that is held, and its distance, m.
    pub(super) fn hold_codes(&self) -> (&'static str, Option<f64>) {
        match self.held {
            Held::Farthest => ("farthest", None),
            Held::Tightest => ("tightest", None),
            Held::At(dioptres) => ("distance", distance_m(dioptres)),
        }
    }
}

fn held(params: &Params) -> Result<Held, WebError> {
    match params.text("hold_m") {
        None => Ok(Held::Farthest),
        Some("tightest") => Ok(Held::Tightest),
        Some(_) => Ok(params
            .focus_dioptres("hold_m")?
            .map_or(Held::Farthest, Held::At)),
    }
}

fn steps(params: &Params) -> Result<Option<Steps>, WebError> {
    let step = params.length("step_m", STEPS_M)?;
    let far = params.length("far_m", FOCUS_DISTANCES_M)?;
    let travel = params.number("step_travel", STEPS_TRAVEL, "of the travel")?;
    if let Some(travel) = travel {
        if step.is_some() || far.is_some() {
            return Err(WebError::field(
                "step_travel",
                "give a step in distance or in travel, not both",
            ));
        }
        return Ok(Some(Steps::Travel { step: travel }));
    }
    if step.is_none() && far.is_none() {
        return Ok(None);
    }
    let (step_m, in_feet) = step.map_or((USUAL_STEP_M, false), |step| (step.m, step.in_feet));
    let far_m = far.map_or(USUAL_FAR_M.max(step_m), |far| far.m);
    if far_m / step_m > MOST_ROWS {
        return Err(WebError::field(
            "step_m",
            format!(
                "that are more than {MOST_ROWS} rows; give a larger step, or a nearer end as far_m"
            ),
        ));
    }
    Ok(Some(Steps::Distance {
        step_m,
        far_m,
        in_feet,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_in_metres_feet_and_travel() {
        let read =
            |pairs: &[(&str, &str)]| ScaleQuestion::read(&Params::of(pairs)).map(|q| q.steps);
        assert_eq!(read(&[]).expect("usable"), None);
        let feet = read(&[("step_m", "1 ft"), ("far_m", "30ft")]).expect("usable");
        assert_eq!(
            feet,
            Some(Steps::Distance {
                step_m: 0.3048,
                far_m: 30.0 * 0.3048,
                in_feet: true
            })
        );
        let travel = read(&[("step_travel", "0.3")]).expect("usable");
        let places = travel.expect("there").places(&[]);
        // The last frame is always a row.
        let expected = [0.0, 0.3, 0.6, 0.9, 1.0];
        assert_eq!(places.len(), expected.len());
        for (place, at) in places.iter().zip(expected) {
            assert!(
                matches!(place, Place::Travel(t) if (*t - at).abs() < 1e-15),
                "{place:?}"
            );
        }
        for absurd in [
            &[("step_m", "0")][..],
            &[("step_m", "-1 ft")],
            &[("step_m", "NaN")],
            &[("step_m", "0.01"), ("far_m", "100")],
            &[("step_m", "1"), ("step_travel", "0.1")],
            &[("step_travel", "0")],
            &[("hold_m", "loose")],
        ] {
            assert!(read(absurd).is_err(), "{absurd:?}");
        }
    }
}

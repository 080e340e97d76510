//! JSON columns: private row types, so that the core types stay free of storage and every number comes back to the last bit.
//!
//! A field that a core type gains has to be added here too: both directions name every field.

mod focal_result;
mod frame;
mod measurement;
mod number;
#[cfg(test)]
mod round_trip;
mod settings;
mod target;

pub(super) use focal_result::{
    PublicationDoc, PublicationHead, decode_focal_result, encode_focal_result,
};
pub(super) use frame::FrameInfoDoc;
pub(super) use measurement::MeasurementDoc;
pub(super) use settings::{ConditionsDoc, SettingsDoc};

use serde::{Deserialize, Serialize};

use super::StoreError;

/// A row type as JSON text.
///
/// # Errors
/// `Damaged` when a number in it is not finite: JSON has no word for that, and no result should hold one.
pub(super) fn encode<T: Serialize>(document: &T) -> Result<String, StoreError> {
    serde_json::to_string(document).map_err(|error| StoreError::Damaged(error.to_string()))
}

/// A row type from JSON text.
///
/// # Errors
/// `Damaged` when the text is not such a document.
pub(super) fn decode<'text, T: Deserialize<'text>>(text: &'text str) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|error| StoreError::Damaged(error.to_string()))
}

/// What a stored code stands for. # Errors: `Damaged` where that is nothing known.
pub(super) fn known<T>(
    what: &str,
    code: &str,
    from_code: impl FnOnce(&str) -> Option<T>,
) -> Result<T, StoreError> {
    from_code(code).ok_or_else(|| StoreError::Damaged(format!("there is no {what} \"{code}\"")))
}

impl From<crate::units::OutOfRange> for StoreError {
    fn from(error: crate::units::OutOfRange) -> Self {
        Self::Damaged(error.to_string())
    }
}
